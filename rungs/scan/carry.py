"""Taking an edited program into the panel that is running, with everything that can go on.

What an edit does to a live panel has to be foreseeable: a device that is the same device goes on as
it stood, nothing new starts because the program was changed, and whatever does not go on is told.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Callable, Hashable, Iterator, Mapping
from dataclasses import dataclass, replace
from difflib import SequenceMatcher
from functools import cached_property
from typing import TypeVar, assert_never, overload

from rungs.language.words import clock_text, duration_text
from rungs.program.nodes import (
    Clock,
    Contact,
    Counter,
    Device,
    Input,
    Output,
    Program,
    Relay,
    Rung,
    Timer,
    leaves,
    unnumbered,
)
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.reference import State, powered_down
from rungs.scan.runner import Panel, Snapshot
from rungs.scan.wall import WallMemory

AnyPanel = TypeVar("AnyPanel", bound=Panel)
Told = tuple[str, str]  # a device, or "" for the whole panel, and what there is to say of it


@dataclass(frozen=True, slots=True)
class Carried:
    """What became of the devices when another program was taken in.

    `kept` counts the devices that go on as they stood; `reset` names those that begin anew although
    something of theirs was there before, with the reason; `new` and `gone` are devices of one of
    the two programs alone. `forces` are those that were let go of, their devices being reset or
    gone. `told` is what will differ for devices that go on, such as a timer whose time has changed;
    the name is empty for what concerns the whole panel.
    """

    kept: int
    reset: tuple[Told, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]
    forces: tuple[str, ...]
    told: tuple[Told, ...]


@overload
def carried(panel: Panel, program: Program) -> tuple[Panel, Carried]: ...


@overload
def carried(
    panel: Panel,
    program: Program,
    make: Callable[[Program, int, int, bool, Calendar], AnyPanel],
) -> tuple[AnyPanel, Carried]: ...


def carried(
    panel: Panel,
    program: Program,
    make: Callable[[Program, int, int, bool, Calendar], Panel] = Panel,
) -> tuple[Panel, Carried]:
    """A panel of `program` that goes on from where `panel` stands, and what became of its devices.

    The old panel is left alone. Time, power and the wall clock go on, and the next scan is no first
    scan (unless it would have been one anyway). By name and kind, devices keep all that they
    remember; timers keep the time that has run, whatever their preset is now. An edge contact keeps
    what it saw, and a rung its power, in a rung whose circuit still stands in the program. A rung
    that is new, or has another circuit, or reads a device that is reset, takes power that is there
    in the next scan as not gained, and its edge contacts have seen nothing yet: as after power-up,
    nothing counts, flips or pulses because the program was changed. Coils follow their new
    circuits in the next scan, as they must. A device that no rung acts on any more is off.

    `make` makes the panel from program, start (wall time at t = 0, ms UTC), period (ms), jump and
    calendar. Watchers stay with the old panel; a record that the new one keeps of itself begins
    with its next scan.
    """
    carry = _Carry(panel, program)
    fresh = make(program, panel.wall.at(0), panel.period, panel.jump, carry.calendar)
    fresh.restore(carry.snapshot(fresh))
    return fresh, carry.report()


class _Carry:
    """The carrying over of one panel."""

    def __init__(self, panel: Panel, program: Program) -> None:
        self.old = panel.program
        self.new = program
        self.panel = panel
        self.was = panel.snapshot()
        self.calendar = build_calendar(program)
        self.rungs = matched(self.old.rungs, program.rungs)
        self.back = {new: old for old, new in self.rungs.items()}
        self.reset = dict(self._resets())
        # a device that is called otherwise now is not among them: it begins anew
        self.kept = [d.name for d in program.devices if self._goes_on(d)]
        self._on = frozenset(self.kept)

    def _goes_on(self, device: Device) -> bool:
        return device.name in self.old.by_name and device.name not in self.reset

    # --- which devices go on

    def _resets(self) -> Iterator[Told]:
        acted, acted_before = _acted(self.new), _acted(self.old)
        for device in self.new.devices:
            name = device.name
            old = self.old.by_name.get(name)
            if old is None:
                before = self._called_before(device)
                if before is not None:
                    yield name, f"it was called {before}, and a new name begins anew"
            elif _kind(old) != _kind(device):
                yield name, f"it was {_kind(old)} and is {_kind(device)} now"
            elif name in acted_before and name not in acted:
                yield name, "no rung drives it any more, so that it is off"

    def _called_before(self, device: Device) -> str | None:
        """The device of the old program that is the same but for its name, if there is just one."""
        found = [
            other.name
            for other in self.old.devices
            if other.name not in self.new.by_name
            and type(other) is type(device)
            and replace(other, name=device.name, label=device.label) == device
        ]
        return found[0] if len(found) == 1 else None

    def report(self) -> Carried:
        """What became of the devices."""
        renamed = {self._called_before(self.new.by_name[name]) for name in self.reset}
        return Carried(
            len(self.kept),
            tuple(self.reset.items()),
            tuple(
                d.name
                for d in self.new.devices
                if d.name not in self.old.by_name and d.name not in self.reset
            ),
            tuple(
                d.name
                for d in self.old.devices
                if d.name not in self.new.by_name and d.name not in renamed
            ),
            tuple(name for name in self.was.forces if name not in self._on),
            tuple(_Words(self).all()),
        )

    # --- the panel as it goes on

    def snapshot(self, fresh: Panel) -> Snapshot:
        """How the panel of the new program stands; `fresh` is such a panel at rest."""
        was = self.was
        forces = {name: on for name, on in was.forces.items() if name in self._on}
        return Snapshot(
            self._state(was.before, fresh),
            self._state(was.state, fresh),
            was.now,
            was.powered,
            {**fresh.operated, **_of(was.operated, self._on, self.new)},
            {**fresh.wires, **_of(was.wires, self._on, self.new)},
            _of(was.given, self._on, self.new),
            forces,
            {name: on for name, on in was.held.items() if name in self._on},
            self._wall(was.wall),
            was.undisturbed and self.unchanged,
        )

    @cached_property
    def unchanged(self) -> bool:
        """Whether the two programs scan alike, so that a panel that rests goes on resting."""
        return (
            self.old.devices == self.new.devices
            and self.old.rungs == self.new.rungs
            and self.old.site == self.new.site
            and self.old.holidays == self.new.holidays
        )

    def _wall(self, memory: WallMemory) -> WallMemory:
        """The wall clock goes on; events that were shown are those of clocks that are the same."""
        same_days = self.old.site == self.new.site and self.old.holidays == self.new.holidays
        shown = {
            name: event
            for name, event in memory.shown.items()
            if same_days and _same_times(self.old.by_name[name], self.new.by_name.get(name))
        }
        return WallMemory(memory.offset, memory.seen, shown)

    def _state(self, old: State, fresh: Panel) -> State:
        on = self._on
        contacts = {
            d.name: old.contacts[d.name] if d.name in on else self._begins(d, old, fresh)
            for d in self.new.devices
        }
        counts = {d.name: 0 for d in self.new.devices if isinstance(d, Counter | Timer)}
        counts.update((name, count) for name, count in old.counts.items() if name in on)
        for timer in self.new.timers:
            if timer.kind == "accumulating":
                counts[timer.name] = min(counts[timer.name], timer.preset)
        if not old.powered:
            # what is not retained in the new program has nothing to hold it
            return powered_down(self.new, State(old.t, contacts=contacts, counts=counts))
        return State(
            old.t,
            old.first,
            old.powered,
            contacts,
            {name: coil for name, coil in old.coils.items() if name in on},
            counts,
            {name: t for name, t in old.since.items() if name in on},
            self._edges(old),
            self._powers(old),
            {
                name: (self.rungs[number], t)
                for name, (number, t) in old.moved_by.items()
                if name in on and self._still_moves(number, name)
            },
        )

    def _still_moves(self, number: int, name: str) -> bool:
        """Whether an old rung stands in the new program and acts on a device there."""
        rung = self.rungs.get(number)
        actions = () if rung is None else self.new.rungs[rung - 1].actions
        return any(action.name == name for action in actions)

    def _begins(self, device: Device, old: State, fresh: Panel) -> bool:
        """What a device shows that does not go on: as in a panel where it has been at rest."""
        match device:
            case Input():
                return fresh.circuits[device.name]
            case Clock():
                return self.calendar.is_closed(device, self.panel.wall.at(old.t))
            case Output() | Relay() | Timer() | Counter():
                return False
            case _:
                assert_never(device)

    def _edges(self, old: State) -> dict[int, bool]:
        found: dict[int, bool] = {}
        for rung in self.new.rungs:
            number = self.back.get(rung.number)
            if number is None:
                continue
            pairs = zip(
                leaves(self.old.rungs[number - 1].circuit), leaves(rung.circuit), strict=True
            )
            for before, after in pairs:
                if (
                    isinstance(before, Contact)
                    and isinstance(after, Contact)
                    and before.memory in old.edges
                    and after.name in self._on
                ):
                    found[after.memory] = old.edges[before.memory]
        return found

    def _powers(self, old: State) -> dict[int, bool]:
        return {
            # power that was there before cannot be gained
            rung.number: old.powers[self.back[rung.number]] if self._same_reading(rung) else True
            for rung in self.new.rungs
        }

    def _same_reading(self, rung: Rung) -> bool:
        """Whether a rung stood in the old program and reads the devices that it read."""
        read = (leaf.name for leaf in leaves(rung.circuit) if leaf.name)
        return rung.number in self.back and all(name in self._on for name in read)


def matched(old: tuple[Rung, ...], new: tuple[Rung, ...]) -> dict[int, int]:
    """The numbers of old rungs, with those of the new rungs that have the same circuit.

    First come rungs that are the same altogether and stand in the same order, then those that were
    moved, then those of the same circuit with another label or other actions; of rungs that are
    alike, the first is matched with the first.
    """
    found: dict[int, int] = {}
    taken: set[int] = set()
    circuits = {id(rung): unnumbered(rung.circuit) for rung in (*old, *new)}

    def whole(rung: Rung) -> Hashable:
        return circuits[id(rung)], rung.label, rung.actions

    def circuit(rung: Rung) -> Hashable:
        return circuits[id(rung)]

    numbers: dict[Hashable, int] = {}
    left, right = (
        [numbers.setdefault(whole(rung), len(numbers)) for rung in rungs] for rungs in (old, new)
    )
    for block in SequenceMatcher(None, left, right, autojunk=False).get_matching_blocks():
        for step in range(block.size):
            number = new[block.b + step].number
            found[old[block.a + step].number] = number
            taken.add(number)
    for key in (whole, circuit):
        waiting: dict[Hashable, list[int]] = defaultdict(list)
        for rung in reversed(new):
            if rung.number not in taken:
                waiting[key(rung)].append(rung.number)
        for rung in old:
            if rung.number not in found and waiting[key(rung)]:
                found[rung.number] = waiting[key(rung)].pop()
                taken.add(found[rung.number])
    return found


def _acted(program: Program) -> set[str]:
    return {action.name for rung in program.rungs for action in rung.actions}


Value = TypeVar("Value")


def _of(values: Mapping[str, Value], names: frozenset[str], program: Program) -> dict[str, Value]:
    """What is said of inputs that go on."""
    return {d.name: values[d.name] for d in program.inputs if d.name in names & values.keys()}


def _kind(device: Device) -> str:
    match device:
        case Input():
            return "an input"
        case Output():
            return "an output"
        case Relay():
            return "a relay"
        case Counter():
            return "a counter"
        case Clock():
            return "a clock"
        case Timer():
            article = "a" if device.kind in ("pulse", "flasher") else "an"
            what = "" if device.kind == "flasher" else " timer"
            return f"{article} {device.kind}{what}"
        case _:
            assert_never(device)


def _same_times(old: Device, new: Device | None) -> bool:
    """Whether two clocks close at the same times."""
    if not isinstance(old, Clock) or not isinstance(new, Clock):
        return False
    return (old.begin, old.end, old.days, old.catch_up) == (
        new.begin,
        new.end,
        new.days,
        new.catch_up,
    )


class _Words:
    """What there is to say of devices that go on although something of theirs has changed."""

    def __init__(self, carry: _Carry) -> None:
        self.carry = carry
        self.panel = carry.panel
        self.state = carry.was.state

    def all(self) -> Iterator[Told]:
        """Everything, the whole panel first and then in file order."""
        old, new = self.carry.old, self.carry.new
        if old.site.zone != new.site.zone:
            wall = self.panel.wall.at(self.panel.now)
            times = [
                clock_text(calendar.zone.local(wall)[1], seconds=True)
                for calendar in (self.panel.calendar, self.carry.calendar)
            ]
            text = f"the zone is {new.site.zone} now: the clock shows {times[1]}, not {times[0]}"
            yield "", text
        for name in self.carry.kept:
            for words in self._of(old.by_name[name], new.by_name[name]):
                yield name, words

    def _of(self, old: Device, new: Device) -> Iterator[str]:
        powered = self.state.powered
        match old, new:
            case Input(), Input():
                yield from self._input(old, new)
            case Clock(), Clock():
                yield from self._clock(old, new)
            case Timer(), Timer():
                if (old.preset, old.off) != (new.preset, new.off):
                    then = self._timer(new) if powered else None
                    yield f"its time is {_time(new)} instead of {_time(old)}" + _then(then)
            case Counter(), Counter():
                if old.preset != new.preset:
                    then = self._counter(new) if powered else None
                    yield f"it closes at {new.preset} instead of {old.preset}" + _then(then)
            case (Output(), Output()) | (Relay(), Relay()):
                if isinstance(old, Output) and isinstance(new, Output) and old.side != new.side:
                    lit = powered and self.state.contacts[new.name] != (new.side == "NC")
                    on = "on" if lit else "off"
                    yield f"its load hangs on the {new.side} contact now, and is {on}"
                stays = self.state.contacts[new.name] and powered
                if stays and self._now_holds(new.name):
                    yield "it followed a coil rung, and stays on now until a rung turns it off"
            case _:
                return

    def _input(self, old: Input, new: Input) -> Iterator[str]:
        name = new.name
        if old.side != new.side and name not in self.carry.was.given:
            moved = self.carry.was.operated[name]
            closed = "closed" if moved != (new.side == "NC") else "open"
            stands = "operated" if moved else "released"
            yield f"it is wired {new.side} now: while {stands}, its circuit is {closed}"
        start = self.state.since.get(name)
        if old.debounce != new.debounce and start is not None:
            left = start + new.debounce - self.panel.now
            rest = f"{duration_text(left)} of it to go" if left > 0 else "which is over"
            yield f"its debounce is {_length(new.debounce)} now, {rest}"

    def _clock(self, old: Clock, new: Clock) -> Iterator[str]:
        changed = not _same_times(old, new)
        words = "its times have changed"
        if new.end is None:
            if changed:
                yield f"{words}; an event that is past does not come late"
            return
        now = self.panel.wall.at(self.panel.now)
        was = self.panel.calendar.is_closed(old, now)
        closed = self.carry.calendar.is_closed(new, now)
        if changed or closed != was:
            yield f"{words}: it {_turns(was, closed)} now"

    def _now_holds(self, name: str) -> bool:
        """Whether a coil rung drove a device that now keeps what it was last given."""
        coils = [
            {a.verb for r in program.rungs for a in r.actions if a.name == name}
            for program in (self.carry.old, self.carry.new)
        ]
        return "coil" in coils[0] and bool(coils[1]) and "coil" not in coils[1]

    def _timer(self, timer: Timer) -> str | None:
        """What a timer that runs or holds something will do."""
        name, state = timer.name, self.state
        shut, start = state.contacts[name], state.since.get(name)
        if timer.kind == "accumulating":
            held = min(state.counts[name], timer.preset)
            short = duration_text(timer.preset - held)
            if held == timer.preset:
                return "its time is full" + ("" if shut else ", and it closes in the next scan")
            if shut:
                return f"it opens in the next scan, {short} short"
            return f"it holds {duration_text(held)}, {short} short" if held else None
        if start is None:
            return None
        gone = state.t - start
        ran = f"it has run for {duration_text(gone)}"
        left = duration_text(max(timer.preset - gone, 0))
        match timer.kind:
            case "on-delay":
                if gone >= timer.preset:
                    return None if shut else f"{ran} and times out in the next scan"
                return f"{ran}, {left} left" + (", so that it opens again first" if shut else "")
            case "off-delay" | "pulse":
                return f"{ran}, {left} left" if gone < timer.preset else f"{ran} and ends now"
            case "flasher":
                bright = gone % (timer.preset + timer.off) < timer.preset
                return f"{ran}, and is in its {'on' if bright else 'off'} time"
            case _:
                assert_never(timer.kind)

    def _counter(self, counter: Counter) -> str | None:
        count, shut = self.state.counts[counter.name], self.state.contacts[counter.name]
        if shut == (count >= counter.preset):
            return None
        return f"at {count} it {'opens' if shut else 'closes'} in the next scan"


def _time(timer: Timer) -> str:
    on = duration_text(timer.preset)
    return f"{on} on {duration_text(timer.off)} off" if timer.kind == "flasher" else on


def _then(words: str | None) -> str:
    return "" if words is None else f"; {words}"


def _turns(was: bool, closed: bool) -> str:
    if was == closed:
        return "stays as it is"
    return "closes" if closed else "opens"


def _length(ms: int) -> str:
    return duration_text(ms) if ms else "none"
