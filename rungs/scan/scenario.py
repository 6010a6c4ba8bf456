"""Plays the scenarios of a file against a panel, and says for each step what was seen.

The properties of the file are watched in every scan that a scenario makes: what must never happen
must not happen in the examples either, whether or not a step looks for it.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date, timedelta
from typing import assert_never

from rungs.core.nodes import PERIOD
from rungs.program.nodes import (
    Begin,
    Circuit,
    Compare,
    Contact,
    Expect,
    ExpectSteady,
    Fault,
    Input,
    Operate,
    Power,
    Program,
    Scenario,
    SetClock,
    Step,
    Tap,
    Timer,
    Until,
    Wait,
    leaves,
)
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.observe import conducts, holds
from rungs.scan.reference import State, is_timing
from rungs.scan.runner import Panel, WireFault
from rungs.scan.wall import DEFAULT_DAY
from rungs.scan.watch import Violation, Watcher, circuits_of

DAY_MS = 86_400_000


@dataclass(frozen=True, slots=True)
class Seen:
    """One contact of an expectation or a property as it stood: its text, whether it conducted, and
    the rung that last moved its device (None for inputs, clocks, and what has not moved) with the
    scan it did."""

    contact: str
    conducts: bool
    state: str
    rung: int | None = None
    scan: int | None = None


@dataclass(frozen=True, slots=True)
class StepResult:
    """What one step did. `passed` is None for steps that expect nothing.

    `t` and `scan` are those of the scan that decided the expectation, or the last one made;
    `wall` is local date and ms since midnight.
    """

    step: Step
    text: str
    passed: bool | None
    t: int
    scan: int
    wall: tuple[date, int]
    seen: tuple[Seen, ...] = ()
    settled: bool = True


@dataclass(frozen=True, slots=True)
class Broken(Violation):
    """A property that broke, or an assumption that was contradicted, while a scenario was played.

    `wall` is the local date and ms since midnight of its scan, `seen` each contact of its circuits
    as that scan left it, and `during` the step that was being carried out (None at power-up).
    """

    wall: tuple[date, int]
    seen: tuple[Seen, ...]
    during: Step | None


@dataclass(frozen=True, slots=True)
class ScenarioResult:
    """A scenario that was played to its end.

    `broken` holds the first violation of each property that broke, in the order in which they
    came, up to the scan that contradicted an assumption of the file, if one did.
    """

    scenario: Scenario
    steps: tuple[StepResult, ...]
    broken: tuple[Broken, ...] = ()
    contradicted: Broken | None = None

    @property
    def passed(self) -> bool:
        """True if no expectation failed and no property broke."""
        return not self.broken and all(step.passed is not False for step in self.steps)

    @property
    def expectations(self) -> int:
        """How many steps expected something."""
        return sum(step.passed is not None for step in self.steps)


def play(
    program: Program, scenario: Scenario, period: int = PERIOD, jump: bool = True
) -> ScenarioResult:
    """Play one scenario on a panel of its own, from power-up, to its last step."""
    calendar = build_calendar(program)
    first = scenario.steps[0] if scenario.steps else None
    start = begin_at(first, calendar) if isinstance(first, Begin) else None
    panel = Panel(program, start, period, jump, calendar)
    player = ScenarioPlayer(panel)
    if start is None:
        panel.settle()
    steps = tuple(player.play(step) for step in scenario.steps)
    return ScenarioResult(scenario, steps, tuple(player.broken), player.contradicted)


def begin_at(step: Begin, calendar: Calendar) -> int:
    """The wall time at which a scenario begins, ms UTC."""
    day = step.date
    if day is None:
        ahead = 0 if step.weekday is None else (step.weekday - DEFAULT_DAY.weekday()) % 7
        day = DEFAULT_DAY + timedelta(days=ahead)
    return calendar.zone.instant(day, step.time)


class ScenarioPlayer:
    """Carries out steps, one by one, on a panel, and watches the properties of its program."""

    def __init__(self, panel: Panel) -> None:
        self.panel = panel
        self.broken: list[Broken] = []
        self.contradicted: Broken | None = None
        self._step: Step | None = None
        self._watcher = Watcher(panel.program, panel.period)
        panel.watchers.append(self._see)

    def play(self, step: Step) -> StepResult:
        """Carry out one step; simulated time passes as the step asks for."""
        panel = self.panel
        self._step = step
        passed: bool | None = None
        settled = True
        seen: tuple[Seen, ...] = ()
        match step:
            case Begin():
                settled = panel.settle()
            case Operate():
                panel.operate(step.name, step.operated)
                settled = self._settle()
            case Tap():
                panel.operate(step.name, True)
                panel.run(panel.now + step.ms)
                panel.operate(step.name, False)
                settled = self._settle()
            case Fault():
                panel.fault(step.name, step.fault)
                settled = self._settle()
            case Power():
                settled = self._power(step)
            case Wait():
                panel.run(panel.now + step.ms)
            case Until():
                self._until(step)
            case SetClock():
                settled = self._set_clock(step)
            case Expect():
                passed = self._expect(step)
                seen = self._describe(panel.before, panel.state, step.circuit)
            case ExpectSteady():
                passed = self._steady(step)
                seen = self._describe(panel.before, panel.state, step.circuit)
            case _:
                assert_never(step)
        text = " ".join(panel.program.source.text[step.span.start : step.span.end].split())
        return StepResult(
            step, text, passed, panel.now, panel.scan_number, panel.local(), seen, settled
        )

    def _settle(self) -> bool:
        return self.panel.settle() if self.panel.powered else True

    def _power(self, step: Power) -> bool:
        panel = self.panel
        panel.switch_power(step.on)
        if not step.on:
            if step.ms is None:
                return True
            panel.run(panel.now + step.ms)
            panel.switch_power(True)
        return self._settle()

    def _until(self, step: Until) -> None:
        """To the first scan at or after the next time the wall clock shows the time of day."""
        panel = self.panel
        wall = panel.wall.at(panel.now)
        day, _ = panel.calendar.zone.local(wall)
        target = wall
        for ahead in range(-1, 4):
            target = panel.calendar.zone.instant(day + timedelta(days=ahead), step.time)
            if target > wall:
                break
        t = panel.now + target - wall
        panel.run(-(-t // panel.period) * panel.period)

    def _set_clock(self, step: SetClock) -> bool:
        panel = self.panel
        day = step.date or panel.local()[0]
        panel.set_clock(panel.calendar.zone.instant(day, step.time))
        return self._settle()

    def _closed(self, circuit: Circuit) -> bool:
        panel = self.panel
        return holds(panel.program, panel.before, panel.state, panel.wires, circuit)

    def _expect(self, step: Expect) -> bool:
        if self._closed(step.circuit):
            return True
        if step.within:
            for _ in self.panel.advance(self.panel.now + step.within):
                if self._closed(step.circuit):
                    return True
        return False

    def _steady(self, step: ExpectSteady) -> bool:
        if not self._closed(step.circuit):
            return False
        panel = self.panel
        until = panel.now + step.ms
        return all(self._closed(step.circuit) for _ in panel.advance(until))

    def _see(self, before: State, after: State, wires: Mapping[str, WireFault]) -> None:
        """Note what the watcher finds in a scan, with the panel as it stands."""
        panel = self.panel
        for item in self._watcher.see(before, after, wires):
            # a scan that was passed over left the panel as `before` has it, without an edge
            was, now = (before, after) if item.t == after.t else (before, before)
            broken = Broken(
                item.property,
                item.t,
                item.scan,
                panel.calendar.zone.local(panel.wall.at(item.t)),
                self._describe(was, now, *circuits_of(item.property)),
                self._step,
            )
            if item.property.kind == "assume":
                self.contradicted = broken
            else:
                self.broken.append(broken)

    def _describe(self, before: State, after: State, *circuits: Circuit) -> tuple[Seen, ...]:
        """Each contact of the circuits once, as it stands after a scan."""
        panel = self.panel
        program = panel.program
        found: dict[str, Seen] = {}
        for leaf in (leaf for circuit in circuits for leaf in leaves(circuit)):
            text = program.source.text[leaf.span.start : leaf.span.end] or leaf.name
            moved = after.moved_by.get(leaf.name)
            rung, scan = (None, None) if moved is None else (moved[0], moved[1] // panel.period)
            closed = conducts(program, before, after, panel.wires, leaf)
            found.setdefault(text, Seen(text, closed, self._state_of(after, leaf), rung, scan))
        return tuple(found.values())

    def _state_of(self, state: State, leaf: Contact | Compare) -> str:
        """How the device of a contact stands, in words."""
        panel = self.panel
        if isinstance(leaf, Compare):
            return f"{leaf.name} counts {state.counts[leaf.name]}"
        if not leaf.name:
            return "first scan" if state.first else "not the first scan"
        device = panel.program.by_name[leaf.name]
        contact = state.contacts[leaf.name]
        if isinstance(device, Input):
            actuator = "operated" if panel.operated[leaf.name] else "released"
            fault = panel.wires[leaf.name]
            wire = "" if fault == "sound" else f", wire {fault}"
            return f"{leaf.name} is {'closed' if contact else 'open'} ({actuator}{wire})"
        if isinstance(device, Timer):
            timing = is_timing(panel.program, state, leaf.name)
            return f"{leaf.name} is {'closed' if contact else 'open'}{', timing' * timing}"
        return f"{leaf.name} is {'on' if contact else 'off'}"
