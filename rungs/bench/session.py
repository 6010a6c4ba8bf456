"""One panel on the bench: a program, a panel under power, and the person's hands on it.

All that a face may do or know goes through here, without a screen, so that everything on the screen
can be tested, or said in another way, without one.
"""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import replace
from typing import Literal, assert_never

from rungs.bench.views import (
    ClockView,
    CounterView,
    RelayView,
    Status,
    SwitchView,
    TimerView,
    Walk,
    WallTime,
)
from rungs.core.nodes import PERIOD
from rungs.program.nodes import Clock, Input, Program, Relay, Rung, Timer, leaves
from rungs.scan.calendar import build_calendar
from rungs.scan.reference import State, closed, is_timing, next_expiry, same, work_rung
from rungs.scan.runner import Panel, WireFault

SPEEDS = (1, 10, 60, 3_600)
TAP = 200  # ms, as `tap` in a scenario

# Rungs and devices that may be worked in one tick, and in one walk. A count, not a time limit: the
# same presses then give the same states on every machine.
TICK_WORK = 10_000
WALK_WORK = 100_000

LOOK_AGAIN = 86_400_000  # ms after which a clock that had no next change is asked again


class Session:
    """The panel of `program`, powered and running since its first scan.

    `start` is the wall time of that scan, ms since the epoch in UTC; the machine's time if None.
    """

    def __init__(self, program: Program, start: int | None = None, period: int = PERIOD) -> None:
        self.program = program
        self.start = time.time_ns() // 1_000_000 if start is None else start
        self.period = period
        self.running = True
        self.speed = SPEEDS[0]
        self._calendar = build_calendar(program)
        size = len(program.rungs) + len(program.devices) + 1
        self._tick_scans = max(4, TICK_WORK // size)
        self._walk_scans = max(100, WALK_WORK // size)
        self._real = 0  # ms of ticks, running or not
        self._begin()

    def _begin(self) -> None:
        self.panel = Panel(self.program, self.start, self.period, calendar=self._calendar)
        self._releases: dict[str, int] = {}  # simulated time at which a tap lets go
        self._lagging = False
        self._moved: dict[str, int] = {}  # real ms at which each device last moved
        self._changes: dict[str, tuple[int, int | None]] = {}  # clock: asked again at, next change
        self._read_of: State | None = None
        self._readings: dict[int, tuple[bool, ...]] = {}
        self._scratch: State | None = None
        self.panel.make_scan()
        self._note_changes()
        self._moved.clear()  # a screen that opens does not glow

    # --- hands

    def operate(self, name: str, operated: bool) -> None:
        """Move a switch and leave it there."""
        self._releases.pop(name, None)
        self.panel.operate(name, operated)

    def press(self, name: str) -> None:
        """Operate a switch and hold it."""
        self.operate(name, True)

    def release(self, name: str) -> None:
        """Let a switch go."""
        self.operate(name, False)

    def toggle(self, name: str) -> None:
        """Move a switch to its other position."""
        self.operate(name, not self.panel.operated[name])

    def tap(self, name: str, ms: int = TAP) -> None:
        """Operate a switch now and let it go after `ms` of simulated time."""
        self.panel.operate(name, True)
        self._releases[name] = self.panel.now + ms

    def touch(self, name: str) -> None:
        """What a finger does: throws a maintained switch, taps a momentary one, and lets go of one
        that is held."""
        device = self.program.by_name[name]
        assert isinstance(device, Input)
        held = self.panel.operated[name] and name not in self._releases
        if device.actuator == "maintained" or held:
            self.toggle(name)
        else:
            self.tap(name)

    def hold(self, name: str) -> None:
        """Keep a switch operated, also one that is being tapped; let go of one that is kept."""
        if name in self._releases:
            self.press(name)
        else:
            self.toggle(name)

    def fault(self, name: str, fault: WireFault) -> None:
        """Break or short the wire of an input, or mend it."""
        self.panel.fault(name, fault)

    def switch_power(self, on: bool) -> None:
        """Switch the panel's supply; off drops all that is not retained."""
        before = self.panel.state.contacts
        self.panel.switch_power(on)
        for name, contact in self.panel.state.contacts.items():
            if contact != before[name]:
                self._moved[name] = self._real

    def restart(self) -> None:
        """A new panel at the first moment: released switches, sound wires, nothing retained."""
        self._begin()

    # --- time

    def run(self) -> None:
        """Let time run."""
        self.running = True

    def pause(self) -> None:
        """Stop time."""
        self.running = False
        self._lagging = False

    def faster(self) -> None:
        """The next higher speed, if there is one."""
        self.speed = next((speed for speed in SPEEDS if speed > self.speed), self.speed)

    def slower(self) -> None:
        """The next lower speed, if there is one."""
        self.speed = next((speed for speed in reversed(SPEEDS) if speed < self.speed), self.speed)

    def tick(self, real_ms: int) -> None:
        """Let `real_ms` of real time pass; simulated time moves by that times the speed.

        A panel that would need too many scans for it is cut short, and shown as lagging: the time
        that is lost is not made up for.
        """
        self._real += real_ms
        if self.running and real_ms > 0:
            until = self.panel.now + real_ms * self.speed
            self._lagging = self._pass(until, self._tick_scans)[0] == "work"

    def one_scan(self) -> Walk:
        """Pause, and make the next scan."""
        return self._walk(lambda: True)

    def to_next_change(self) -> Walk:
        """Pause, and run to the scan in which the next device moves."""
        return self._walk(lambda: bool(self.changed))

    def to_next_event(self) -> Walk:
        """Pause, and run to the scan in which a timer runs out or a clock moves."""
        due = self._next_event()

        def reached() -> bool:
            nonlocal due
            there = due is not None and self.panel.state.t >= due
            due = self._next_event()
            return there

        return self._walk(reached)

    def _walk(self, wanted: Callable[[], bool]) -> Walk:
        """Scan until `wanted()` after a scan."""
        panel = self.panel
        self.pause()
        if not panel.powered:
            return Walk("no power", 0, ())
        began = panel.now
        left = self._walk_scans
        while left > 0:
            # a single scan shows whether the panel is at rest
            ended, left = self._pass(panel.next_scan_at(), left, wanted)
            if ended != "found" and same(self.program, panel.before, panel.state):
                target = self._next_thing()
                if target is None:
                    return Walk("nothing", panel.now - began, self.changes())
                ended, left = self._pass(target, left, wanted)
            if ended == "found":
                return Walk("found", panel.now - began, self.changes())
        return Walk("unsettled", panel.now - began, self.changes())

    def _pass(
        self, until: int, scans: int, wanted: Callable[[], bool] | None = None
    ) -> tuple[Literal["found", "work", "time"], int]:
        """Advance to `until`, letting go of what was tapped on the way.

        Ends early when `wanted()` holds after a scan, or when `scans` scans were not enough. Also
        returns how many scans are left.
        """
        panel = self.panel
        while True:
            for name in [n for n, at in self._releases.items() if at <= panel.now]:
                self.release(name)
            if panel.now >= until and not (panel.powered and panel.next_scan_at() <= until):
                return "time", scans
            stretch = min([until, *self._releases.values()])
            for _ in panel.advance(stretch):
                self._note_changes()
                scans -= 1
                if wanted is not None and wanted():
                    return "found", scans
                if scans <= 0 and panel.next_scan_at() <= until:
                    return "work", 0

    def _next_event(self) -> int | None:
        """When the next timer runs out or the next clock moves; debounce is neither."""
        state = self.panel.state
        timers = {t.name for t in self.program.timers}
        since = {name: t for name, t in state.since.items() if name in timers}
        times = (
            next_expiry(self.program, replace(state, since=since)),
            self.panel.wall.next_change(state.t),
        )
        return min((t for t in times if t is not None), default=None)

    def _next_thing(self) -> int | None:
        """The scan before which a panel at rest stays at rest."""
        state = self.panel.state
        times = (
            next_expiry(self.program, state),
            self.panel.wall.next_change(state.t),
            *self._releases.values(),
        )
        soonest = min((t for t in times if t is not None), default=None)
        if soonest is None:
            return None
        return max(self.panel.next_scan_at(), -(-soonest // self.period) * self.period)

    # --- what there is to see

    def _note_changes(self) -> None:
        before, after = self.panel.before.contacts, self.panel.state.contacts
        if before != after:
            for name, contact in after.items():
                if before[name] != contact:
                    self._moved[name] = self._real

    @property
    def changed(self) -> frozenset[str]:
        """The devices whose contact moved in the last scan."""
        before, after = self.panel.before.contacts, self.panel.state.contacts
        if before == after:
            return frozenset()
        return frozenset(name for name, contact in after.items() if before[name] != contact)

    def changes(self) -> tuple[tuple[str, bool], ...]:
        """What the last scan moved, in file order, and whether each contact is now closed."""
        contacts, changed = self.panel.state.contacts, self.changed
        return tuple((name, contacts[name]) for name in contacts if name in changed)

    def recent(self, real_ms: int) -> frozenset[str]:
        """The devices that moved within the last `real_ms` of real time, or, in a panel that is
        paused, in the last scan."""
        since = self._real - real_ms
        recent = frozenset(name for name, at in self._moved.items() if at >= since)
        return recent if self.running else recent | self.changed

    def status(self) -> Status:
        """The line on top."""
        panel = self.panel
        return Status(
            self.program.title or self.program.source.name,
            panel.local(),
            panel.now,
            panel.scan_number if panel.state.powered else None,
            self.running,
            self.running and self._lagging,
            self.speed,
            panel.powered,
            sum(fault != "sound" for fault in panel.wires.values()),
        )

    def switches(self) -> tuple[SwitchView, ...]:
        """Every input, in file order."""
        return tuple(self._switch(device) for device in self.program.inputs)

    def switch(self, name: str) -> SwitchView:
        """One input."""
        device = self.program.by_name[name]
        assert isinstance(device, Input)
        return self._switch(device)

    def _switch(self, device: Input) -> SwitchView:
        panel, name = self.panel, device.name
        release = self._releases.get(name)
        return SwitchView(
            name,
            device.terminal,
            device.label,
            device.actuator,
            device.side,
            device.debounce,
            panel.operated[name],
            panel.circuits[name],
            panel.state.contacts[name],
            panel.wires[name],
            None if release is None else max(0, release - panel.now),
        )

    def relays(self) -> tuple[RelayView, ...]:
        """Every output, then every control relay, in file order."""
        contacts = self.panel.state.contacts
        powered = self.panel.state.powered
        outputs = [
            RelayView(
                d.name,
                d.terminal,
                d.label,
                contacts[d.name],
                d.side,
                # the supply feeds the loads as well
                powered and contacts[d.name] != (d.side == "NC"),
                d.retained,
            )
            for d in self.program.outputs
        ]
        inner = [
            RelayView(d.name, "", d.label, contacts[d.name], None, None, d.retained)
            for d in self.program.devices
            if isinstance(d, Relay)
        ]
        return (*outputs, *inner)

    def timers(self) -> tuple[TimerView, ...]:
        """Every timer, in file order."""
        return tuple(self._timer(device) for device in self.program.timers)

    def _timer(self, device: Timer) -> TimerView:
        state, name = self.panel.state, device.name
        elapsed, length = 0, device.preset
        match device.kind:
            case "accumulating":
                elapsed = state.counts[name]
            case "flasher":
                if name in state.since:
                    elapsed = (state.t - state.since[name]) % (device.preset + device.off)
                    if elapsed >= device.preset:
                        elapsed, length = elapsed - device.preset, device.off
            case "on-delay" | "off-delay" | "pulse":
                if name in state.since:
                    elapsed = state.t - state.since[name]
            case _:
                assert_never(device.kind)
        return TimerView(
            name,
            device.label,
            device.kind,
            state.coils.get(name, False),
            state.contacts[name],
            is_timing(self.program, state, name),
            min(elapsed, length),
            length,
        )

    def counters(self) -> tuple[CounterView, ...]:
        """Every counter, in file order."""
        state = self.panel.state
        return tuple(
            CounterView(d.name, d.label, state.counts[d.name], d.preset, state.contacts[d.name])
            for d in self.program.counters
        )

    def clocks(self) -> tuple[ClockView, ...]:
        """Every clock, in file order."""
        panel = self.panel
        now = panel.wall.at(panel.state.t if panel.state.powered else panel.now)
        return tuple(
            ClockView(
                d.name,
                d.label,
                panel.state.contacts[d.name],
                d.end is None,
                not self._calendar.is_closed(d, now),
                self._changes_at(d, now),
            )
            for d in self.program.clocks
        )

    def _changes_at(self, clock: Clock, now: int) -> WallTime | None:
        """The local time of the clock's next change; asked of the calendar once a change."""
        asked = self._changes.get(clock.name)
        if asked is None or now >= asked[0]:
            find = (
                self._calendar.occurrence_after if clock.end is None else self._calendar.next_edge
            )
            change = find(clock, now)
            asked = (now + LOOK_AGAIN if change is None else change, change)
            self._changes[clock.name] = asked
        return None if asked[1] is None else self._calendar.zone.local(asked[1])

    # --- the live ladder

    def reading(self, rung: Rung) -> tuple[bool, ...]:
        """Whether each contact of a rung, in reading order, conducted when the rung was worked.

        A contact above the rung that drives it shows what that rung read, not what came after, so
        that power in the drawing always agrees with what the coils did.
        """
        panel = self.panel
        if self._read_of is not panel.state:
            self._read_of = panel.state
            moved = panel.state.powered and panel.before.contacts != panel.state.contacts
            counted = panel.before.counts != panel.state.counts
            self._readings = self._replay() if moved or counted else {}
            # asking an edge contact lets it remember, and the panel's memory is not ours
            self._scratch = replace(panel.state, edges=dict(panel.state.edges))
        found = self._readings.get(rung.number)
        if found is None:
            assert self._scratch is not None
            found = tuple(
                closed(self.program, panel.before, self._scratch, leaf)
                for leaf in leaves(rung.circuit)
            )
            self._readings[rung.number] = found
        return found

    def _replay(self) -> dict[int, tuple[bool, ...]]:
        """Work the last scan once more on a copy, and note what every contact did in its turn."""
        program, before, after = self.program, self.panel.before, self.panel.state
        given = {d.name for d in program.devices if isinstance(d, Input | Clock)}
        now = replace(
            after,
            contacts={
                name: after.contacts[name] if name in given else contact
                for name, contact in before.contacts.items()
            },
            coils=dict(before.coils),
            counts=dict(before.counts),
            since={n: t for n, t in before.since.items() if n not in given},
            edges=dict(before.edges),
            powers=dict(before.powers),
            moved_by={},
        )
        readings: dict[int, tuple[bool, ...]] = {}
        for rung in program.rungs:
            readings[rung.number] = tuple(
                closed(program, before, now, leaf) for leaf in leaves(rung.circuit)
            )
            work_rung(program, before, now, rung)
        return readings

    def live(self) -> bool:
        """Whether the rails carry power, that is, a scan was made since the power came."""
        return self.panel.powered and self.panel.state.powered
