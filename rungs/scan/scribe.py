"""Writes down what a person did at the switches as a scenario of the language.

A scenario lets the panel settle after each step and tells time in round figures, so that it is not
the run that it was taken from; a shadow panel therefore plays every step as it is written, and what
the scenario says of lamps and relays is what that panel shows.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import assert_never

from rungs.core.nodes import PERIOD
from rungs.findings import Finding
from rungs.language.format import format_file
from rungs.language.words import WEEKDAYS, clock_text, duration_text
from rungs.program.ask import circuit_of
from rungs.program.check import check
from rungs.program.nodes import (
    Begin,
    Circuit,
    Contact,
    Expect,
    ExpectSteady,
    Fault,
    Operate,
    Output,
    Power,
    Program,
    Relay,
    Series,
    SetClock,
    Step,
    Tap,
    Timer,
    Until,
    Wait,
    leaves,
)
from rungs.program.words import circuit_text
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.observe import conducts, holds
from rungs.scan.reference import State, same
from rungs.scan.runner import Panel, WireFault
from rungs.scan.scenario import ScenarioPlayer, begin_at
from rungs.scan.watch import circuits_of
from rungs.source import Source

TAP = 200  # ms, of a tap that does not say for how long
ROUND_FROM = 1_000  # ms; waits that are longer are written in whole tenths of a second
ROUND = 100  # ms
LONGEST = 366 * 86_400_000  # ms, of one wait


@dataclass(frozen=True, slots=True)
class Written:
    """A scenario as text in canonical layout, without the file it belongs to.

    `notes` say in plain words where it differs from the run, and what it could not say; `findings`
    are those that the file gets from it, their places being in the file with the text behind it.
    """

    label: str
    text: str
    notes: tuple[str, ...]
    findings: tuple[Finding, ...] = ()


@dataclass(frozen=True, slots=True)
class _Tap:
    """A tap that is not written yet: a tap, if nothing else is done until it ends."""

    t: int
    name: str
    ms: int


class Scribe:
    """Takes down what is done at a panel, from its power-up at t = 0 on, or `midway` from now on.

    `start` is the wall time at t = 0, ms UTC. All times are ms of the run of that panel; what is
    told has to come in their order, and none of them may lie before the last one (ValueError).
    Names are those of the program (KeyError). The waits of the scenario are as short as they can be
    said: in whole scans, and above a second in whole tenths of one where the panel stands the same
    then. They are counted from the beginning, so that what is cut off never adds up.
    """

    def __init__(
        self,
        program: Program,
        start: int,
        period: int = PERIOD,
        calendar: Calendar | None = None,
    ) -> None:
        self._take(program, period, calendar or build_calendar(program))
        begin = self._begin(start, dated=bool(program.clocks))
        self._play_from((begin,))
        behind = start - self._shadow.wall.at(0)
        if program.clocks:
            self._behind = behind

    def _take(self, program: Program, period: int, calendar: Calendar) -> None:
        self.program = program
        self.period = period
        self.calendar = calendar
        self._notes: list[str] = []
        self._behind = 0  # ms, of the clock of the scenario
        self._shift = 0  # the time of the shadow panel less that of the run
        self._t = 0  # when something was told last
        self._tap: _Tap | None = None
        self._ends: dict[str, int] = {}  # when switches that are being tapped are let go
        self._forced: set[str] = set()
        self._scout = Panel(program, 0, period, calendar=calendar)  # looks ahead

    @classmethod
    def midway(cls, panel: Panel, ends: Mapping[str, int] | None = None) -> Scribe:
        """Begin with a panel as it stands now.

        The scenario begins a moment earlier, with the switches and wires moved to where they are,
        in the way (with or without power) that comes nearest to the panel. What cannot be brought
        about like this, such as latches, counts and timers, is among the notes. The panel is left
        alone. `ends` says when switches that are being tapped will be let go.
        """
        scribe = cls.__new__(cls)
        scribe._take(panel.program, panel.period, panel.calendar)
        scribe._set_up(panel)
        scribe._ends.update(ends or {})
        return scribe

    # --- beginning

    def _begin(self, instant: int, dated: bool) -> Begin:
        """The step that begins at an instant (ms UTC), or up to a second before."""
        day, ms = self.calendar.zone.local(instant)
        return Begin(ms // 1_000 * 1_000, day if dated else None)

    def _play_from(self, steps: Sequence[Step]) -> None:
        """A new shadow panel, which plays these steps, the first one being `begin`."""
        first = steps[0]
        assert isinstance(first, Begin)
        start = begin_at(first, self.calendar)
        self._shadow = Panel(self.program, start, self.period, calendar=self.calendar)
        self._player = ScenarioPlayer(self._shadow)
        self._steps: list[Step] = []
        for step in steps:
            self._play(step)

    def _set_up(self, panel: Panel) -> None:
        program, now = self.program, panel.now
        wall = panel.wall.at(now)
        moves = list(_moves(panel))
        ways: list[list[Step]] = [moves]
        if not panel.powered:
            ways = [[Power(False), *moves]]
        elif moves:
            ways.append([Power(False), *moves, Power(True)])

        def far(way: list[Step]) -> int:
            self._play_from((self._begin(wall, True), *way))
            return len(list(differences(program, panel.state, self._shadow.state)))

        best = min(ways, key=far)
        far(best)
        # so much earlier that the panel has been set up by now
        self._play_from((self._begin(wall - self._shadow.now, True), *best))
        self._t = now
        self._shift = self._shadow.now - now
        if program.clocks:
            ahead = wall - self._shadow.wall.at(self._shadow.now)
            if 0 <= ahead < 2_000:
                self._shift += ahead
            else:
                self._behind = ahead
        for name, closed in panel.forces.items():
            self.forced(now, name, closed)
        scout = self._look(max(self._shadow.now, self._now(now)))
        self._notes += [f"at the beginning {words}" for words in self._unlike(panel, scout)]

    def _unlike(self, panel: Panel, shadow: Panel) -> Iterator[str]:
        return differences(self.program, panel.state, shadow.state)

    def _clock_off(self) -> Iterator[str]:
        """That the wall clock of the scenario is not that of the run."""
        if self._behind:
            words = "behind" if self._behind > 0 else "ahead of"
            yield (
                f"its clock is {duration_text(abs(self._behind))} {words} that of the panel, for a"
                " scenario tells whole seconds, and of an hour that comes twice the first"
            )

    # --- what is done

    def operated(self, t: int, name: str, on: bool) -> None:
        """A switch was operated, or let go, and left so."""
        self._pass(t)
        self._ends.pop(name, None)
        if self._shadow.operated[name] != on:
            self._do(t, Operate(name, on))

    def tapped(self, t: int, name: str, ms: int = TAP) -> None:
        """A switch was operated, to be let go after `ms`. Raises ValueError if that is not above
        zero."""
        if ms <= 0:
            raise ValueError("a tap has to last")
        self._pass(t)
        if self._shadow.operated[name]:
            self._ends[name] = t + ms
        else:
            self._tap = _Tap(t, name, ms)

    def fault(self, t: int, name: str, fault: WireFault) -> None:
        """The wire of an input was broken, shorted or mended."""
        self._pass(t)
        if self._shadow.wires[name] != fault:
            self._do(t, Fault(name, fault))

    def power(self, t: int, on: bool) -> None:
        """The supply was switched."""
        self._pass(t)
        if self._shadow.powered != on:
            self._do(t, Power(on))

    def set_clock(self, t: int, instant: int) -> None:
        """The wall clock was set to an instant (ms UTC)."""
        self._pass(t)
        day, ms = self.calendar.zone.local(instant)
        step = SetClock(ms // 1_000 * 1_000, day)
        self._do(t, step)
        behind = instant - self.calendar.zone.instant(day, step.time)
        if self.program.clocks:
            self._behind = behind

    def forced(self, t: int, name: str, closed: bool | None) -> None:
        """A contact was forced, or let go of (None). No step does that, so it is a note."""
        self._pass(t)
        if closed is not None and name not in self._forced:
            self._forced.add(name)
            held = self._word(name, closed)
            self._notes.append(
                f"{name} was held {held} by a force at {_seconds(t)}; a scenario has no forces"
            )

    def expected(self, t: int, wanted: str | Sequence[tuple[str, bool]]) -> bool:
        """Somebody confirmed how the panel stands: the contacts of devices, or a circuit as text.

        Written is what holds in the scenario as well; the rest is told. Returns whether all of it
        was written. A text that is no circuit is told too.
        """
        self._pass(t)
        if isinstance(wanted, str):
            circuit = circuit_of(self.program, wanted)
            if isinstance(circuit, Finding):
                text = " ".join(wanted.split())
                self._notes.append(f"'{text}' was not written: {circuit.message}")
                return False
            parts: list[Circuit] = [circuit]
        else:
            parts = [Contact("closed", self._name(name), not on) for name, on in wanted]
        if not parts:
            return True
        whole = parts[0] if len(parts) == 1 else Series(tuple(parts))
        self._come_to(t, whole, "what was confirmed")
        held = [part for part in parts if self._holds(self._shadow, part)]
        if held:
            self._play(Expect(held[0] if len(held) == 1 else Series(tuple(held))))
        for part in parts:
            if part not in held:
                self._notes.append(self._unmet(t, part))
        return len(held) == len(parts)

    # --- putting it in order

    def _pass(self, t: int) -> None:
        """Write down what was still under way and is over by t."""
        if t < self._t:
            raise ValueError(f"{t} ms is before {self._t} ms")
        self._t = t
        tap, self._tap = self._tap, None
        if tap is not None:
            end = tap.t + tap.ms
            if end <= t and all(other > end for other in self._ends.values()):
                self._do(tap.t, Tap(tap.name, tap.ms))
            else:
                self._do(tap.t, Operate(tap.name, True))
                self._ends[tap.name] = end
        for name, end in sorted(self._ends.items(), key=lambda item: item[1]):
            if end <= t:
                del self._ends[name]
                self._do(end, Operate(name, False))

    def _now(self, t: int) -> int:
        """The last scan of the shadow panel that goes with a time of the run."""
        return (t + self._shift) // self.period * self.period

    def _do(self, t: int, step: Step) -> None:
        self._come_to(t, None, f"'{step_text(step)}'")
        self._play(step)

    def _play(self, step: Step) -> None:
        self._steps.append(step)
        self._player.play(step)

    def _come_to(self, t: int, wanted: Circuit | None, what: str) -> None:
        """Wait, if there is something to wait for, until the time t of the run."""
        began = self._shadow.now
        ms = self._now(t) - began
        if ms <= 0:
            late = began - t - self._shift
            if late > ROUND:
                self._notes.append(
                    f"{what}, {_seconds(t)} into the run, comes {duration_text(late)} later, for a"
                    " scenario lets the panel settle before each step"
                )
            return
        if ms > ROUND_FROM:
            short = ms // ROUND * ROUND
            self._shadow.run(began + short)
            ms = self._rounded(began, short, ms, wanted)
        # in two goes or in one: the scans are the same
        self._shadow.run(began + ms)
        while ms:
            self._steps.append(Wait(min(ms, LONGEST)))
            ms -= min(ms, LONGEST)

    def _rounded(self, began: int, short: int, exact: int, wanted: Circuit | None) -> int:
        """How long to wait (ms): rounded, where the panel stands as it does at the exact time.

        What is expected comes before that: it may hold at one of the times alone.
        """
        stands: list[tuple[int, State, bool]] = []
        for ms in sorted({short, exact, short + ROUND}):
            scout = self._look(began + ms, stands == [])
            stands.append((ms, scout.state, wanted is None or self._holds(scout, wanted)))
        at_exact = next(state for ms, state, _ in stands if ms == exact)
        ways = [
            (not met, not same(self.program, state, at_exact), ms == exact != short, ms)
            for ms, state, met in stands
        ]
        return min(ways)[-1]

    def _look(self, until: int, afresh: bool = True) -> Panel:
        """A panel that has gone on from the shadow panel (or from where it looked before) to a
        time of that one."""
        if afresh:
            self._scout.restore(self._shadow.snapshot())
        self._scout.run(until)
        return self._scout

    # --- words

    def _name(self, name: str) -> str:
        return self.program.by_name[name].name

    def _holds(self, panel: Panel, circuit: Circuit) -> bool:
        return holds(self.program, panel.before, panel.state, panel.wires, circuit)

    def _unmet(self, t: int, circuit: Circuit) -> str:
        """What differs, for an expectation that does not hold in the scenario."""
        if isinstance(circuit, Contact) and circuit.kind == "closed":
            one = self._word(circuit.name, not circuit.negated)
            other = self._word(circuit.name, circuit.negated)
            return (
                f"{circuit.name} is {one} in the panel {_seconds(t)} into the run, and {other} in"
                " the scenario"
            )
        shadow = self._shadow
        seen = [
            f"'{circuit_text(leaf)}' is "
            + _open(conducts(self.program, shadow.before, shadow.state, shadow.wires, leaf))
            for leaf in leaves(circuit)
        ]
        return (
            f"'{circuit_text(circuit)}' was confirmed {_seconds(t)} into the run and does not hold"
            f" in the scenario: {', '.join(dict.fromkeys(seen))}"
        )

    def _word(self, name: str, contact: bool) -> str:
        return _word(self.program, name, contact)

    # --- the outcome

    @property
    def steps(self) -> tuple[Step, ...]:
        """The steps written so far."""
        return tuple(self._steps)

    def written(self, label: str) -> Written:
        """The scenario, with a label of which the file has none yet. To be asked for at the end:
        taps that are under way are written to theirs."""
        self._pass(max((self._t, *self._ends.values(), self._tap_end())))
        label = free_label(self.program, label)
        lines = [f'scenario "{label}"', *(step_text(step) for step in self._steps)]
        text = canonical("\n".join(lines) + "\n")
        before = self.program.source.text
        whole = appended(before, text)
        checked = check(Source(self.program.source.name, whole))
        findings = tuple(f for f in checked.findings if f.span.start >= len(before))
        return Written(label, text, (*self._clock_off(), *self._notes, *self._breaks()), findings)

    def _tap_end(self) -> int:
        return 0 if self._tap is None else self._tap.t + self._tap.ms

    def _breaks(self) -> Iterator[str]:
        """Properties of the file that the scenario breaks, so that it does not play green."""
        stop = self._player.contradicted
        for item in (*self._player.broken, *(() if stop is None else (stop,))):
            asked = item.property
            texts = [circuit_text(circuit) for circuit in circuits_of(asked)]
            name = asked.label or " / ".join(texts)
            at = _seconds(item.t - self._shift)
            yield f"'{asked.kind} {name}' is not kept in it, {at} into the run"


def _moves(panel: Panel) -> Iterator[Step]:
    """The switches and wires of a panel that are not as at rest."""
    for device in panel.program.inputs:
        name = device.name
        fault = panel.wires[name]
        moved = panel.operated[name]
        if fault == "sound":
            moved = panel.circuits[name] != (device.side == "NC")
        if moved:
            yield Operate(name, True)
        if fault != "sound":
            yield Fault(name, fault)


def differences(program: Program, panel: State, scenario: State) -> Iterator[str]:
    """In plain words, what stands otherwise in a panel than in the panel of a scenario: contacts,
    counts, and times that run and differ by more than a tenth of a second."""
    for device in program.devices:
        name = device.name
        one, other = panel.contacts[name], scenario.contacts[name]
        if one != other:
            words = [_word(program, name, contact) for contact in (one, other)]
            yield f"{name} is {words[0]} in the panel and {words[1]} in the scenario"
        elif isinstance(device, Timer):
            times = [_ran(device, state) for state in (panel, scenario)]
            if times[0] != times[1] and abs((times[0] or 0) - (times[1] or 0)) > ROUND:
                one_said, other_said = (
                    "not at all" if ms is None else f"for {_seconds(ms)}" for ms in times
                )
                yield f"{name} has run {one_said} in the panel and {other_said} in the scenario"
    for counter in program.counters:
        counts = panel.counts[counter.name], scenario.counts[counter.name]
        if counts[0] != counts[1]:
            yield f"{counter.name} counts {counts[0]} in the panel and {counts[1]} in the scenario"


def _ran(timer: Timer, state: State) -> int | None:
    """The time of a timer that still matters, ms; None if none runs and none is held."""
    if timer.kind == "accumulating":
        return state.counts[timer.name] or None
    start = state.since.get(timer.name)
    if start is None:
        return None
    if timer.kind == "flasher":
        return (state.t - start) % (timer.preset + timer.off)
    return min(state.t - start, timer.preset)


def _word(program: Program, name: str, contact: bool) -> str:
    if isinstance(program.by_name[name], Output | Relay):
        return "on" if contact else "off"
    return _open(contact)


def _open(closed: bool) -> str:
    return "closed" if closed else "open"


def _seconds(ms: int) -> str:
    return f"{ms / 1_000:g} s"


# --- scenarios as text


def step_text(step: Step) -> str:
    """A step as it can be written in a file, on one line; times of day to the second."""
    match step:
        case Begin():
            weekday = None if step.weekday is None else WEEKDAYS[step.weekday]
            return " ".join(filter(None, ("begin", weekday, _when(step.date, step.time))))
        case Operate():
            return f"{'operate' if step.operated else 'release'} {step.name}"
        case Tap():
            length = "" if step.ms == TAP else f" for {duration_text(step.ms)}"
            return f"tap {step.name}{length}"
        case Fault():
            verb = {"broken": "break", "shorted": "short", "sound": "mend"}[step.fault]
            return f"{verb} {step.name}"
        case Power():
            length = "" if step.ms is None else f" for {duration_text(step.ms)}"
            return f"power {'on' if step.on else 'off'}{length}"
        case Wait():
            return f"wait {duration_text(step.ms)}"
        case Until():
            return f"until {_when(None, step.time)}"
        case SetClock():
            return f"set clock {_when(step.date, step.time)}"
        case Expect():
            length = f" within {duration_text(step.within)}" if step.within else ""
            return f"expect {circuit_text(step.circuit)}{length}"
        case ExpectSteady():
            return f"expect steady {circuit_text(step.circuit)} for {duration_text(step.ms)}"
        case _:
            assert_never(step)


def _when(day: date | None, ms: int) -> str:
    clock = clock_text(ms, seconds=bool(ms // 1_000 % 60))
    return clock if day is None else f"{day.isoformat()} {clock}"


def free_label(program: Program, label: str) -> str:
    """The label as a file may hold it, and with a number where a scenario has it already."""
    taken = {scenario.label for scenario in program.scenarios}
    printable = (
        " " if unicodedata.category(char) in ("Cc", "Cf", "Cs", "Zl", "Zp") else char
        for char in label.replace('"', "'")
    )
    label = " ".join("".join(printable).split()) or "Recorded"
    free, number = label, 1
    while free in taken:
        number += 1
        free = f"{label} ({number})"
    return free


def canonical(scenario: str) -> str:
    """The text of a scenario in canonical layout."""
    source = Source("scenario", scenario)
    return format_file(check(source).file, source)


def appended(text: str, scenario: str) -> str:
    """The text of a file with a scenario behind it; nothing else is touched."""
    if text and not text.endswith("\n"):
        text += "\n"
    return f"{text}\n{scenario}" if text.strip() else scenario
