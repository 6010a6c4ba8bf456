"""A recorder that follows a panel and keeps the scans from which anything in it can be explained.

Only scans in which something changed are kept, and the first one after them that changed nothing:
every later scan up to the next change reads the same, so that a week of rest costs nothing.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Mapping
from dataclasses import replace
from functools import cached_property
from typing import Literal, TypeVar

from rungs.core.nodes import PERIOD
from rungs.program.nodes import Clock, Input, Program
from rungs.prove.why.scans import Record, Shown, Worked, begun, show, work
from rungs.scan.calendar import Calendar
from rungs.scan.forces import forced_scan, work_held
from rungs.scan.reference import State, powered_down, same
from rungs.scan.runner import Panel, WireFault
from rungs.scan.trace import Stimulus, played_scans
from rungs.scan.wall import WallClock

Moved = Literal["contact", "coil", "count"]
AnyPanel = TypeVar("AnyPanel", bound=Panel)
REPLAYS = 256  # scans of which it is remembered what each rung did


class History:
    """The scans of one panel, in order of time. All times are ms of the run, but for wall times.

    `limit` bounds how many scans are kept; what lies before them is then unknown.
    """

    def __init__(
        self, program: Program, period: int, calendar: Calendar, limit: int | None = None
    ) -> None:
        self.program = program
        self.period = period
        self.calendar = calendar
        self.limit = limit
        self._records: list[Record] = []
        self._times: list[int] = []
        self._power_ups: list[int] = []
        self._moves: dict[tuple[Moved, str], list[int]] = {}
        # when each device was forced, forced otherwise, or let go of
        self._forced: dict[str, list[int]] = {}
        self._latest: Record | None = None
        self._quiet = False  # the last scan made changed nothing
        self._midway = False  # the first scan taken down was not the first under its power
        self._replays: dict[int, tuple[Worked, ...]] = {}

    # --- following a panel

    def note(self, panel: Panel) -> None:
        """Take down the scan that the panel has just made, or that its power has gone.

        To be called after every scan made, before switches are moved again. A power cut that is
        not told of is found out at the next first scan.
        """
        last = self._latest
        if last is not None and last.after is panel.state:
            return
        if not panel.powered:
            if last is None or last.after.powered:
                self._outage(panel, panel.state, panel.now)
            return
        if panel.state.first and last is not None and last.after.powered:
            self._outage(panel, panel.before, last.t + 1)
        record = self._record(panel, panel.before, panel.state, panel.state.t)
        quiet = not panel.state.first and same(self.program, panel.before, panel.state)
        kept = self._records[-1] if self._records else None
        if quiet and self._quiet and kept is not None and _stands_as(kept, record):
            self._latest = record
            return
        self._quiet = quiet
        self._keep(record)

    def _outage(self, panel: Panel, after: State, at: int) -> None:
        last = self._latest
        before = powered_down(self.program) if last is None else last.after
        t = max(at, 0 if last is None else last.t + 1)
        self._quiet = False
        self._keep(self._record(panel, before, after, t))

    def _record(self, panel: Panel, before: State, after: State, t: int) -> Record:
        circuits, wires = dict(panel.circuits), dict(panel.wires)
        operated = {
            d.name: circuits[d.name] != (d.side == "NC")
            if wires[d.name] == "sound"
            else panel.operated[d.name]
            for d in self.program.inputs
        }
        given: tuple[Mapping[str, bool], Mapping[str, bool], Mapping[str, WireFault]]
        given = circuits, operated, wires
        last = self._latest
        if last is not None and given == (last.circuits, last.operated, last.wires):
            # one set of mappings for a thousand scans
            given = last.circuits, last.operated, last.wires
        forces = dict(panel.held)
        if last is not None and forces == last.forces:
            return Record(t, before, after, *given, panel.wall.at(t), last.forces)
        return Record(t, before, after, *given, panel.wall.at(t), forces)

    def _keep(self, record: Record) -> None:
        if not self._records:
            self._midway = record.after.powered and not record.after.first
        self._note_forces(record)
        self._latest = record
        self._records.append(record)
        self._times.append(record.t)
        if record.after.first:
            self._power_ups.append(record.t)
        for moved in self._moved_in(record):
            self._moves.setdefault(moved, []).append(record.t)
        # trimmed by halves, so that a full record does not shift at every scan
        if self.limit is not None and len(self._records) >= 2 * max(self.limit, 1):
            self._forget_before(len(self._records) - max(self.limit, 1))

    def _note_forces(self, record: Record) -> None:
        """Note whose force is another than in the scan kept last."""
        was = self._records[-1].forces if self._records else {}
        if was is record.forces:
            return
        for name in {**was, **record.forces}:
            if was.get(name) != record.forces.get(name):
                times = self._forced.setdefault(name, [])
                # a record that begins part-way does not know since when its forces stand
                if self._records or record.after.first:
                    times.append(record.t)

    def _moved_in(self, record: Record) -> Iterator[tuple[Moved, str]]:
        before, after = record.before, record.after
        for name, contact in after.contacts.items():
            if before.contacts.get(name, False) != contact:
                yield "contact", name
        for timer in self.program.timers:
            if before.coils.get(timer.name, False) != after.coils.get(timer.name, False):
                yield "coil", timer.name
        for counter in self.program.counters:
            if before.counts.get(counter.name, 0) != after.counts.get(counter.name, 0):
                yield "count", counter.name

    def _forget_before(self, index: int) -> None:
        del self._records[:index]
        del self._times[:index]
        begins = self._times[0]
        for times in (self._power_ups, *self._moves.values(), *self._forced.values()):
            del times[: bisect_right(times, begins - 1)]
        self._replays.clear()

    def forget_after(self, t: int) -> None:
        """Drop what came after time t, for a panel that takes another way from there."""
        if not self or t >= self.latest.t:
            return
        latest = self.record(t)
        index = bisect_right(self._times, t)
        del self._records[index:]
        del self._times[index:]
        for times in (self._power_ups, *self._moves.values(), *self._forced.values()):
            del times[bisect_right(times, t) :]
        self._latest = latest if self._records else None
        self._quiet = False  # the next scan is kept in any case
        self._replays.clear()

    # --- asking

    def __bool__(self) -> bool:
        return self._latest is not None

    def __len__(self) -> int:
        return len(self._records)

    @property
    def latest(self) -> Record:
        """The last scan made, or the outage after it. Raises LookupError if there is none."""
        if self._latest is None:
            raise LookupError("no scan has been recorded")
        return self._latest

    @property
    def begins(self) -> int:
        """The time of the first scan that is known, ms."""
        return self._times[0] if self._times else 0

    def scan_at(self, t: int) -> int:
        """The time of the last scan (or outage) at or before t, kept inside what is known."""
        t = max(self.begins, min(t, self.latest.t))
        base = self.base(t)
        return max(base.t, t // self.period * self.period)

    def base(self, t: int) -> Record:
        """The kept scan that reads as the one at time t does; it may be earlier."""
        return self._records[max(0, bisect_right(self._times, t) - 1)]

    def previous(self, t: int) -> int:
        """The time of the scan before the one at t."""
        base = self.base(t)
        return base.before.t if base.t == t else t - self.period

    def record(self, t: int) -> Record:
        """The scan at time t (of a scan), exact to the ms also where it was not kept."""
        base = self.base(t)
        if base.t == t or not base.after.powered:
            return base
        if t == self.latest.t:
            return self.latest
        counts = dict(base.after.counts)
        for timer in self.program.timers:
            # as in a jump: a timer that the last scan moved goes on
            name = timer.name
            if timer.kind == "accumulating" and counts[name] > base.before.counts[name]:
                counts[name] = min(counts[name] + t - self.period - base.t, timer.preset)
        before = replace(base.after, t=t - self.period, counts=counts)
        clocks = {c.name: base.after.contacts[c.name] for c in self.program.clocks}
        after = forced_scan(self.program, before, base.circuits, clocks, t, base.forces)
        return replace(base, t=t, before=before, after=after, wall=base.wall + t - base.t)

    def wall(self, t: int) -> int:
        """The wall time of the scan at t, ms UTC."""
        base = self.base(t)
        return base.wall + t - base.t

    def power_up(self, t: int) -> int | None:
        """The time of the first scan of the stretch under power in which t lies; None if that is
        not known."""
        index = bisect_right(self._power_ups, t)
        return self._power_ups[index - 1] if index else None

    def took_over(self, t: int) -> bool:
        """Whether the panel was under power already when its record began, and has been up to t:
        what moved its devices before that may not be known."""
        return self._midway and self.power_up(t) is None

    def moved(self, kind: Moved, name: str, t: int) -> int | None:
        """The last scan at or before t after which the device stood otherwise than before it."""
        times = self._moves.get((kind, name), [])
        index = bisect_right(times, t)
        return times[index - 1] if index else None

    def force(self, name: str, t: int) -> bool | None:
        """How a device's contact was held in the scan at t, under power; None if it was not."""
        base = self.base(t)
        return base.forces.get(name) if base.after.powered else None

    def forced_since(self, name: str, t: int) -> int | None:
        """The scan from which on a device that is forced in the one at t has been held so, or
        without power the outage; None if that is not known."""
        times = self._forced.get(name, [])
        index = bisect_right(times, t)
        return times[index - 1] if index else None

    def forced_until(self, name: str, t: int) -> int | None:
        """The last scan before the one at t, of the same stretch under power, in which a device
        was held that is not any more; None if there is none that is known."""
        times = self._forced.get(name, [])
        index = bisect_right(times, t)
        if not index:
            return None
        # the last thing noted is that it was let go of
        base = self.base(times[index - 1])
        start = self.power_up(t)
        if base.after.first or base.t <= self.begins or (start is not None and base.t < start):
            return None
        return base.before.t

    def ever_forced(self, name: str) -> bool:
        """Whether a device was held in any scan that was taken down, known still or not."""
        return name in self._forced

    def last_powered(self, t: int) -> int | None:
        """The last scan under power before time t."""
        for index in range(bisect_right(self._times, t - 1) - 1, -1, -1):
            if self._records[index].after.powered:
                following = self._times[index + 1] if index + 1 < len(self._times) else t
                at = self._times[index]
                return max(at, (following - 1) // self.period * self.period)
        return None

    def changes_among(self, name: str, t: int, scans: int) -> int:
        """In how many of the last `scans` scans up to t the device's contact changed although no
        input and no clock moved."""
        low = t - scans * self.period
        given = [d.name for d in self.program.devices if isinstance(d, Input | Clock)]
        touched = {at for other in given for at in self._moved_within(other, low, t)}
        return sum(at not in touched for at in self._moved_within(name, low, t))

    def _moved_within(self, name: str, low: int, t: int) -> list[int]:
        times = self._moves.get(("contact", name), [])
        return times[bisect_right(times, low) : bisect_right(times, t)]

    # --- one scan, rung by rung

    def worked(self, t: int) -> tuple[Worked, ...]:
        """What each rung did in the scan at t, in scan order; empty without power."""
        base = self.base(t)
        found = self._replays.get(base.t)
        if found is None:
            if len(self._replays) > REPLAYS:
                self._replays.clear()
            found = self._replays[base.t] = tuple(work(self.program, base))
        return found

    def part_way(self, t: int, upto: int) -> State:
        """The state in the scan at t after rung `upto`; the state is the caller's."""
        base = self.base(t)
        now = begun(self.program, base)
        for rung in self.program.rungs[:upto]:
            work_held(self.program, base.before, now, rung, base.forces)
        return now

    def shown(self, name: str, t: int, upto: int) -> Shown:
        """What a device showed in the scan at t after rung `upto`; of the scans that are not known,
        only how the last of them left it."""
        base = self.base(t)
        if t < base.t:
            return show(self.program, base.before, name)
        device = self.program.by_name[name]
        if isinstance(device, Input | Clock) or not base.after.powered:
            return show(self.program, base.after, name)
        if name in base.forces and not any(n <= upto for n in self.drivers.get(name, ())):
            return show(self.program, begun(self.program, base), name)
        worked = self.worked(t)
        for number in reversed(self.drivers.get(name, ())):
            if number <= upto:
                return worked[number - 1].after[name]
        return show(self.program, base.before, name)

    @cached_property
    def drivers(self) -> dict[str, tuple[int, ...]]:
        """The numbers of the rungs that act on each device."""
        found: dict[str, list[int]] = {}
        for rung in self.program.rungs:
            for name in dict.fromkeys(action.name for action in rung.actions):
                found.setdefault(name, []).append(rung.number)
        return {name: tuple(numbers) for name, numbers in found.items()}

    # --- playing on

    def panel_at(self, t: int, make: type[AnyPanel]) -> AnyPanel:
        """A panel of its own, of class `make`, that stands as this one did after the scan at t.

        Switches stand where the circuits say, and forces are held. An event clock that was set
        back over an event of this run may show it again.
        """
        record = self.record(t)
        panel = make(
            self.program, record.wall - record.t, self.period, jump=True, calendar=self.calendar
        )
        panel.wall = WallClock(self.program.clocks, self.calendar, record.wall - record.t)
        for device in self.program.inputs:
            panel.operate(device.name, record.operated[device.name])
            panel.fault(device.name, record.wires[device.name])
        for name, closed in record.forces.items():
            panel.force(name, closed)
        panel.before, panel.state = record.before, record.after
        panel.powered = record.after.powered
        panel.now = record.t
        if panel.powered:
            panel.wall.saw(record.t)
        return panel


def _stands_as(kept: Record, record: Record) -> bool:
    """Whether the hands (forces are of them) and the wall clock have been left alone since a
    record."""
    return (
        kept.circuits == record.circuits
        and kept.operated == record.operated
        and kept.wires == record.wires
        and kept.forces == record.forces
        and kept.wall - kept.t == record.wall - record.t
    )


class RecordedPanel(Panel):
    """A panel that takes down its own history, whoever plays it."""

    def __init__(
        self,
        program: Program,
        start: int | None = None,
        period: int = PERIOD,
        jump: bool = True,
        calendar: Calendar | None = None,
        limit: int | None = None,
    ) -> None:
        super().__init__(program, start, period, jump, calendar)
        self.history = History(program, period, self.calendar, limit)

    def make_scan(self, t: int | None = None) -> State:
        """Make the next scan, and take it down."""
        after = super().make_scan(t)
        self.history.note(self)
        return after

    def switch_power(self, on: bool) -> None:
        """Switch the supply, and take down that it went."""
        super().switch_power(on)
        if not on:
            self.history.note(self)


def play_stimulus(panel: Panel, stimulus: Stimulus) -> None:
    """Play circuit states as a trace does: each row holds until just before the next one, and the
    last row's time is the end of the run."""
    for _ in played_scans(panel, stimulus):
        pass
