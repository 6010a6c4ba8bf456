"""A panel under power: switches, wires, supply and clock around an engine that makes the scans.

The engine knows one scan; the runner knows when scans happen. Between scans that would change
nothing it may jump, which makes a week of a clock-driven panel cost its events and not its scans.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Literal

from rungs.core.nodes import PERIOD
from rungs.program.nodes import Program
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.forces import forced_scan
from rungs.scan.reference import State, next_expiry, powered_down, same
from rungs.scan.wall import WallClock, WallMemory, default_start

WireFault = Literal["sound", "broken", "shorted"]


@dataclass(frozen=True, slots=True)
class Snapshot:
    """All that a panel's future hangs on, but for what hands and power will do to it."""

    before: State
    state: State
    now: int
    powered: bool
    operated: Mapping[str, bool]
    wires: Mapping[str, WireFault]
    given: Mapping[str, bool]
    forces: Mapping[str, bool]
    held: Mapping[str, bool]
    wall: WallMemory
    undisturbed: bool


Deed = Literal["operate", "fault", "power", "clock", "force"]
DeedValue = bool | int | WireFault | None

# told of what hands are about to do: what, to which device, and how
Hear = Callable[[Deed, str, DeedValue], object]

# shown each scan that is made: the state it began with, the state after it, the faults of the wires
See = Callable[[State, State, Mapping[str, WireFault]], object]


class Panel:
    """One panel in simulated time: t in ms since the start, scans at whole multiples of `period`.

    `start` is the wall time at t = 0 as ms since the epoch in UTC.
    `jump` False makes every scan one by one; the states are the same.
    Each function in `watchers` is shown every scan as soon as it is made, and each in `hearers` is
    told of what hands do, just before it is done.
    """

    def __init__(
        self,
        program: Program,
        start: int | None = None,
        period: int = PERIOD,
        jump: bool = True,
        calendar: Calendar | None = None,
    ) -> None:
        self.program = program
        self.period = period
        self.jump = jump
        self.calendar = calendar or build_calendar(program)
        self.wall = WallClock(
            program.clocks,
            self.calendar,
            default_start(self.calendar) if start is None else start,
        )
        self.operated: dict[str, bool] = {d.name: False for d in program.inputs}
        self.wires: dict[str, WireFault] = {d.name: "sound" for d in program.inputs}
        self._given: dict[str, bool] = {}
        self.circuits: dict[str, bool] = {}
        self.forces: dict[str, bool] = {}
        self.held: Mapping[str, bool] = {}  # the forces of the last scan
        self.powered = True
        self.state = powered_down(program)
        self.before = self.state
        self.now = 0  # no scan may be made before this time
        self.watchers: list[See] = []
        self.hearers: list[Hear] = []
        self._undisturbed = False
        self._update_circuits()

    # --- what a person does

    def operate(self, name: str, operated: bool) -> None:
        """Move an input's actuator."""
        self._tell("operate", name, operated)
        self.operated[name] = operated
        self._given.pop(name, None)
        self._update_circuits()

    def fault(self, name: str, fault: WireFault) -> None:
        """Break or short an input's wire, or mend it."""
        self._tell("fault", name, fault)
        self.wires[name] = fault
        self._update_circuits()

    def give_circuits(self, circuits: dict[str, bool]) -> None:
        """Set circuits directly, whatever the actuators do."""
        self._given.update(circuits)
        self._update_circuits()

    def force(self, name: str, closed: bool | None) -> None:
        """Hold a device's contact closed or open against the program from the next scan on; None
        lets go of it."""
        self._tell("force", name, closed)
        if closed is None:
            self.forces.pop(name, None)
        else:
            self.forces[name] = closed
        self._undisturbed = False

    def _tell(self, deed: Deed, name: str, value: DeedValue) -> None:
        for hear in self.hearers:
            hear(deed, name, value)

    def _update_circuits(self) -> None:
        for device in self.program.inputs:
            name = device.name
            circuit = self._given.get(name, self.operated[name] != (device.side == "NC"))
            fault = self.wires[name]
            self.circuits[name] = circuit if fault == "sound" else fault == "shorted"
        self._undisturbed = False

    def switch_power(self, on: bool) -> None:
        """Switch the panel's supply off or on; off forgets what is not retained."""
        if on == self.powered:
            return
        self._tell("power", "", on)
        self.powered = on
        self._undisturbed = False
        if not on:
            self.state = self.before = powered_down(self.program, self.state)
            self.wall.forget()

    def set_clock(self, instant: int) -> None:
        """Move the wall clock to an instant (ms UTC); timers are left alone."""
        self._tell("clock", "", instant)
        self.wall.set(self.now, instant)
        self._undisturbed = False

    # --- going back

    def snapshot(self) -> Snapshot:
        """How the panel stands, to be given to `restore` later."""
        return Snapshot(
            self.before,
            self.state,
            self.now,
            self.powered,
            dict(self.operated),
            dict(self.wires),
            dict(self._given),
            dict(self.forces),
            self.held,
            self.wall.memory(),
            self._undisturbed,
        )

    def restore(self, kept: Snapshot) -> None:
        """Stand as a panel of the same program did when the snapshot was taken."""
        self.operated, self.wires = dict(kept.operated), dict(kept.wires)
        self._given, self.forces = dict(kept.given), dict(kept.forces)
        self.held = kept.held
        self._update_circuits()
        self.before, self.state = kept.before, kept.state
        self.now, self.powered = kept.now, kept.powered
        self.wall.recall(kept.wall)
        self._undisturbed = kept.undisturbed

    # --- time

    @property
    def scan_number(self) -> int:
        """The number of the last scan, the one at t = 0 being 0."""
        return self.state.t // self.period

    def next_scan_at(self) -> int:
        """The time of the next scan that is made one by one."""
        least = max(self.now, self.state.t + 1, 0)
        return -(-least // self.period) * self.period

    def make_scan(self, t: int | None = None) -> State:
        """Make the next scan, or the one at grid time t, and return the state after it."""
        at = self.next_scan_at() if t is None else t
        clocks = self.wall.contacts(at)
        after = forced_scan(self.program, self.state, self.circuits, clocks, at, self.forces)
        self.before, self.state = self.state, after
        self.held = dict(self.forces) if self.forces else {}
        self._undisturbed = (
            self.before.powered
            and same(self.program, self.before, after)
            # an event that shows in this scan is gone in the next
            and not any(clocks[c.name] for c in self.program.clocks if c.end is None)
        )
        self.now = at
        for see in self.watchers:
            see(self.before, after, self.wires)
        return after

    def advance(self, until: int) -> Iterator[State]:
        """Make all scans up to and including time `until`, jumping where nothing can happen.

        Yields the state after each scan made. States that were jumped over equal the one before
        them but for elapsed times. The last scan of the stretch is always made.
        """
        last = until // self.period * self.period
        while self.powered and (at := self.next_scan_at()) <= last:
            if self.jump and self._undisturbed:
                target = min(self._next_thing(), last)
                if target > at:
                    self._skip_to(target - self.period)
                    at = target
            yield self.make_scan(at)
        self.now = max(self.now, until)

    def pass_to(self, t: int) -> None:
        """No further scan before time t; for a moment at which something changed between scans."""
        self.now = max(self.now, t)

    def run(self, until: int) -> State:
        """Advance and return the last state."""
        for _ in self.advance(until):
            pass
        return self.state

    def _next_thing(self) -> int:
        """The grid time of the scan in which the next thing can happen of itself."""
        times = [next_expiry(self.program, self.state), self.wall.next_change(self.state.t)]
        soonest = min((time for time in times if time is not None), default=1 << 62)
        return -(-soonest // self.period) * self.period

    def coast(self, until: int) -> bool:
        """Pass over all scans up to and including time `until`, without making the last one, if
        nothing can happen in them; whether that was so. Watchers are not shown such scans."""
        last = until // self.period * self.period
        if not (self.jump and self.powered and self._undisturbed) or self._next_thing() <= last:
            return False
        if last > self.state.t:
            if last - self.period > self.state.t:
                self._skip_to(last - self.period)
            at_rest = self.state
            self._skip_to(last)
            self.before = at_rest
        self.now = max(self.now, until)
        return True

    def _skip_to(self, t: int) -> None:
        """Pass over scans that change nothing but elapsed times, up to the one at time t."""
        counts = dict(self.state.counts)
        for timer in self.program.timers:
            # a timer that is held at reset stands still although its coil is on
            if timer.kind == "accumulating" and counts[timer.name] > self.before.counts[timer.name]:
                gone = counts[timer.name] + t - self.state.t
                counts[timer.name] = min(gone, timer.preset)
        self.state = replace(self.state, t=t, counts=counts)
        self.wall.saw(t)

    def settle(self, longest: int = 1_000) -> bool:
        """Scan until a further scan would change nothing and no input is bouncing, at most
        `longest` ms; whether it settled. At least one scan is made."""
        deadline = self.next_scan_at() + longest
        while True:
            self.make_scan()
            bouncing = any(device.name in self.state.since for device in self.program.inputs)
            if not bouncing and self._would_stay():
                return True
            if self.next_scan_at() > deadline:
                return False

    def _would_stay(self) -> bool:
        """Whether the next scan would change nothing but elapsed times; the panel is left alone."""
        at = self.next_scan_at()
        clocks = self.wall.peek(at)
        after = forced_scan(self.program, self.state, self.circuits, clocks, at, self.forces)
        return same(self.program, self.state, after)

    def local(self) -> tuple[date, int]:
        """The wall time at the panel: local date, and ms since midnight as a clock shows it."""
        return self.calendar.zone.local(self.wall.at(self.now))
