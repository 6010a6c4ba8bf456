"""One panel on the bench: a program, a panel under power, and the person's hands on it.

All that a face may do or know of the panel goes through here, without a screen, so that everything
on the screen can be tested, or said in another way, without one.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Mapping
from typing import Literal

from rungs.bench.looks import (
    ClockLooks,
    Moment,
    counter_views,
    relay_views,
    switch_view,
    timer_views,
)
from rungs.bench.session.reading import Readings, part_way
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
from rungs.program.nodes import Circuit, Input, Program, Rung
from rungs.prove.why.history import RecordedPanel
from rungs.scan.calendar import build_calendar
from rungs.scan.observe import holds
from rungs.scan.recorder import Recorder
from rungs.scan.reference import State, next_expiry, same
from rungs.scan.runner import Panel, WireFault
from rungs.scan.watch import Violation, Watcher

SPEEDS = (1, 10, 60, 3_600)
TAP = 200  # ms, as `tap` in a scenario

# Rungs and devices that may be worked in one tick, and in one walk. A count, not a time limit: the
# same presses then give the same states on every machine.
TICK_WORK = 10_000
WALK_WORK = 100_000
HISTORY_WORK = 400_000  # rungs and devices of all scans that are kept for explanations

FORCE_MS = 600_000  # real time after which a force lets go by itself
MOST_BROKEN = 100


class Session:
    """The panel of `program`, powered and running since its first scan.

    `start` is the wall time of that scan, ms since the epoch in UTC; the machine's time if None.

    The session shows one moment of the run: the present, or one of the past, or one part-way
    through a scan. Hands act in the present; in the past they begin another future there, and what
    came after is forgotten, so faces ask before they act while `in_past`.
    """

    def __init__(self, program: Program, start: int | None = None, period: int = PERIOD) -> None:
        self.program = program
        self.start = time.time_ns() // 1_000_000 if start is None else start
        self.period = period
        self.running = True
        self.speed = SPEEDS[0]
        self._real = 0  # ms of ticks, running or not
        self._begin(program, None)

    def _begin(self, program: Program, panel: RecordedPanel | None) -> None:
        """Stand at the first moment of a new panel, or go on with one that was carried over."""
        self.program = program
        size = len(program.rungs) + len(program.devices) + 1
        self._tick_scans = max(4, TICK_WORK // size)
        self._walk_scans = max(100, WALK_WORK // size)
        limit = max(16, HISTORY_WORK // size)
        if panel is None:
            calendar = build_calendar(program)
            made = RecordedPanel(program, self.start, self.period, calendar=calendar, limit=limit)
        else:
            made = panel
            made.history.limit = limit
        self.panel = made
        self.recorder = Recorder(made)
        self._clocks = ClockLooks(made.calendar)
        self._readings = Readings(program)
        self._releases: dict[str, int] = {}  # simulated time at which a tap lets go
        self._force_ends: dict[str, int] = {}  # real ms
        self._past: Panel | None = None
        self._upto: int | None = None
        self._moment: Moment | None = None
        self._lagging = False
        self._moved: dict[str, int] = {}  # real ms at which each device last moved
        self.broken: list[Violation] = []
        self._watcher = Watcher(program, self.period)
        made.watchers.append(self._watch)
        if panel is None:
            made.make_scan()
            self._note_changes(made)
            self._moved.clear()  # a screen that opens does not glow

    def _watch(self, before: State, after: State, wires: Mapping[str, WireFault]) -> None:
        self._moment = None
        for item in self._watcher.see(before, after, wires):
            if len(self.broken) < MOST_BROKEN:
                self.broken.append(item)

    # --- hands

    def _act(
        self,
        kind: Literal["operate", "fault", "power", "clock", "force"],
        name: str = "",
        value: bool | int | WireFault | None = None,
        tap: int = 0,
    ) -> None:
        self.branch()
        self.recorder.act(kind, name, value, tap)
        self._moment = None

    def operate(self, name: str, operated: bool) -> None:
        """Move a switch and leave it there."""
        self.branch()
        self._releases.pop(name, None)
        self._act("operate", name, operated)

    def press(self, name: str) -> None:
        """Operate a switch and hold it."""
        self.operate(name, True)

    def release(self, name: str) -> None:
        """Let a switch go."""
        self.operate(name, False)

    def toggle(self, name: str) -> None:
        """Move a switch to its other position."""
        self.branch()
        self.operate(name, not self.panel.operated[name])

    def tap(self, name: str, ms: int = TAP) -> None:
        """Operate a switch now and let it go after `ms` of simulated time."""
        self._act("operate", name, True, ms)
        self._releases[name] = self.panel.now + ms

    def touch(self, name: str) -> None:
        """What a finger does: throws a maintained switch, taps a momentary one, and lets go of one
        that is held."""
        self.branch()
        device = self.program.by_name[name]
        assert isinstance(device, Input)
        held = self.panel.operated[name] and name not in self._releases
        if device.actuator == "maintained" or held:
            self.toggle(name)
        else:
            self.tap(name)

    def hold(self, name: str) -> None:
        """Keep a switch operated, also one that is being tapped; let go of one that is kept."""
        self.branch()
        if name in self._releases:
            self.press(name)
        else:
            self.toggle(name)

    def fault(self, name: str, fault: WireFault) -> None:
        """Break or short the wire of an input, or mend it."""
        self._act("fault", name, fault)

    def switch_power(self, on: bool) -> None:
        """Switch the panel's supply; off drops all that is not retained."""
        self.branch()
        before = self.panel.state.contacts
        self._act("power", value=on)
        for name, contact in self.panel.state.contacts.items():
            if contact != before[name]:
                self._moved[name] = self._real

    def set_clock(self, instant: int) -> None:
        """Let the wall clock show `instant`, ms UTC; timers are left alone."""
        self._act("clock", value=instant)

    def restart(self) -> None:
        """A new panel at the first moment: released switches, sound wires, no forces, nothing
        retained, and nothing recorded."""
        self._begin(self.program, None)

    # --- forces

    def force(self, name: str, closed: bool | None) -> None:
        """Hold a device's contact closed or open against the program, or let go of it (None). A
        force lets go by itself after ten minutes of real time."""
        self._act("force", name, closed)
        if closed is None:
            self._force_ends.pop(name, None)
        else:
            self._force_ends[name] = self._real + FORCE_MS

    def release_forces(self) -> tuple[str, ...]:
        """Let go of every force together; their names."""
        self.branch()
        names = tuple(self.panel.forces)
        for name in names:
            self.force(name, None)
        return names

    def forces(self) -> tuple[tuple[str, bool, int], ...]:
        """Every force of the moment shown: the device, whether it is held closed, and the real ms
        until it lets go by itself."""
        ends = self._force_ends
        return tuple(
            (name, closed, max(0, ends.get(name, self._real) - self._real))
            for name, closed in self.standing.forces.items()
        )

    def _expire_forces(self) -> None:
        for name in [n for n, at in self._force_ends.items() if at <= self._real]:
            del self._force_ends[name]
            if self.panel.forces.get(name) is not None:
                # in the present, whatever moment is shown
                self.recorder.act("force", name, None)
                self._moment = None

    # --- the moment that is shown

    @property
    def standing(self) -> Panel:
        """The panel of the moment that is shown. Not to be touched."""
        return self.panel if self._past is None else self._past

    @property
    def in_past(self) -> bool:
        """Whether a moment is shown after which more was recorded."""
        return self._past is not None

    @property
    def upto(self) -> int | None:
        """How many rungs of the scan shown are worked; None when it is over."""
        return self._upto

    @property
    def at(self) -> int:
        """The time of the moment that is shown, ms of the run."""
        return self.recorder.ends if self._past is None else self._past.now

    def moment(self) -> Moment:
        """What is shown, as long as nothing moves."""
        if self._moment is None:
            panel = self.standing
            image = panel.state
            if self._upto is not None:
                image = part_way(panel, self._upto)
            taps = self._releases
            if self._past is not None:
                taps = self.recorder.taps_at(self._past.now)
            self._moment = Moment(panel, panel.before, image, self._upto, taps)
        return self._moment

    def branch(self) -> None:
        """In the past: forget what came after the moment that is shown, and go on from there."""
        if self._past is None:
            return
        at = self._past.now
        self._past = None
        self._upto = None
        self._moment = None
        self._releases = self.recorder.taps_at(at)
        self.recorder.branch(at)
        self.panel.history.forget_after(at)
        self.broken = [item for item in self.broken if item.t <= at]
        self._watcher = Watcher(self.program, self.period)
        ends = self._force_ends
        self._force_ends = {n: ends.get(n, self._real + FORCE_MS) for n in self.panel.forces}

    def seek(self, t: int) -> None:
        """Show the moment t of the run, kept inside what is recorded, and pause."""
        self.pause()
        self._upto = None
        self._moment = None
        if t >= self.recorder.ends:
            self._past = None
        else:
            self._past = self.recorder.at(t)

    def to_present(self) -> None:
        """Show the present."""
        self.seek(self.recorder.ends)

    # --- time

    def run(self) -> None:
        """Let time run; in the past, what was recorded is played."""
        self.running = True
        self._upto = None
        self._moment = None

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
        that is lost is not made up for. A replay ends, paused, in the present.
        """
        self._real += real_ms
        self._expire_forces()
        if not self.running or real_ms <= 0:
            return
        ms = real_ms * self.speed
        if self._past is not None:
            self._replay(self._past, ms)
        else:
            self._moment = None
            self._lagging = self._pass(self.panel.now + ms, self._tick_scans)[0] == "work"

    def _replay(self, past: Panel, ms: int) -> None:
        until = past.now + ms
        self._moment = None
        scans = self._tick_scans
        for _ in self.recorder.replay(past, past.now, until):
            self._note_changes(past)
            scans -= 1
            if scans <= 0:
                break
        if past.now >= self.recorder.ends:
            self.to_present()

    # --- walking on

    def one_scan(self) -> Walk:
        """Pause, and show the next scan; one that is part-way is finished."""
        self.pause()
        if self._upto is not None:
            self._upto = None
            self._moment = None
            return Walk("found", 0, self.changes())
        if self._past is not None:
            return self._step_to(self._scan_after(self._past))
        return self._walk(lambda: True)

    def one_rung(self) -> Walk:
        """Pause, and work one rung: first the inputs are read, then rung after rung is worked, and
        at last the outputs are written."""
        if self._upto is None:
            walk = self.one_scan()
            if walk.reason in ("found", "ends") and self.standing.powered:
                self._upto = 0
                self._moment = None
            return Walk(walk.reason, walk.passed, self.changes())
        self.pause()
        self._upto = self._upto + 1 if self._upto < len(self.program.rungs) else None
        self._moment = None
        return Walk("found", 0, self.changes())

    def to_next_change(self) -> Walk:
        """Pause, and run to the scan in which the next device moves."""
        if self._past is not None:
            target = self.recorder.changes_after(self.at)
            if target is not None:
                return self._step_to(target)
            self.to_present()
        return self._walk(lambda: bool(self.changed))

    def to_next_event(self) -> Walk:
        """Pause, and run to the scan in which a timer runs out or a clock moves."""
        if self._past is not None:
            target = self.recorder.events_after(self.at)
            if target is not None:
                return self._step_to(target)
            self.to_present()
        due = self.recorder.due

        def reached() -> bool:
            nonlocal due
            there = due is not None and self.panel.state.t >= due
            due = self.recorder.due
            return there

        return self._walk(reached)

    def to_time(self, t: int) -> Walk:
        """Pause, and show the moment t of the run, past or to come."""
        began = self.at
        if t <= self.recorder.ends:
            self.seek(t)
            return Walk("found", self.at - began, self.changes())
        self.to_present()
        if not self.panel.powered:
            self._pass(t, self._walk_scans)
            return Walk("found", self.panel.now - began, ())
        ended, _ = self._pass(t, 20 * self._walk_scans)
        reason: Literal["found", "unsettled"] = "unsettled" if ended == "work" else "found"
        return Walk(reason, self.at - began, self.changes())

    def until(self, circuit: Circuit) -> Walk:
        """Pause, and run to the next scan after which a circuit is closed, as properties read it;
        in the past, what was recorded is looked through first."""

        def closes(panel: Panel) -> bool:
            return holds(self.program, panel.before, panel.state, panel.wires, circuit)

        began = self.at
        self.pause()
        if self._past is not None:
            past = self._past
            for _ in self.recorder.replay(past, past.now, self.recorder.ends):
                if closes(past):
                    self._upto = None
                    self._moment = None
                    past.now = past.state.t
                    if past.now >= self.recorder.ends:
                        self.to_present()
                    return Walk("found", self.at - began, self.changes())
            self.to_present()
        walk = self._walk(lambda: closes(self.panel), 20)
        return Walk(walk.reason, self.at - began, walk.changed)

    def _walk(self, wanted: Callable[[], bool], patience: int = 1) -> Walk:
        """Scan in the present until `wanted()` after a scan."""
        panel = self.panel
        self.pause()
        self._upto = None
        self._moment = None
        if not panel.powered:
            return Walk("no power", 0, ())
        began = panel.now
        left = self._walk_scans * patience
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
        """Advance the present to `until`, letting go of what was tapped on the way.

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
                self._note_changes(panel)
                scans -= 1
                if wanted is not None and wanted():
                    return "found", scans
                if scans <= 0 and panel.next_scan_at() <= until:
                    return "work", 0

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

    # --- walking back

    def back_one_scan(self) -> Walk:
        """Pause, and show the scan before; one that is part-way is taken back to its beginning."""
        self.pause()
        if self._upto is not None:
            self._upto = None
        return self._step_to(self._scan_before())

    def back_one_rung(self) -> Walk:
        """Pause, and take back one rung, the writing of the outputs, or the reading of inputs."""
        self.pause()
        if self._upto is None:
            if not self.standing.state.powered:
                return self.back_one_scan()
            self._upto = len(self.program.rungs)
        elif self._upto == 0:
            return self.back_one_scan()
        else:
            self._upto -= 1
        self._moment = None
        return Walk("found", 0, self.changes())

    def back_to_change(self) -> Walk:
        """Pause, and show the last scan before this one in which a device moved."""
        return self._step_to(self.recorder.changes_before(self.at))

    def back_to_event(self) -> Walk:
        """Pause, and show the last scan before this one in which a timer ran out or a clock
        moved."""
        return self._step_to(self.recorder.events_before(self.at))

    def _scan_before(self) -> int | None:
        panel = self.standing
        if not panel.powered and not panel.state.powered:
            return self.recorder.changes_before(self.at)
        t = panel.state.t - self.period
        return t if t >= self.recorder.begins else None

    def _scan_after(self, past: Panel) -> int:
        if past.powered:
            return past.now - past.now % self.period + self.period
        ended = next(
            (end for began, end in self.recorder.outages() if end and end > past.now), None
        )
        return self.recorder.ends if ended is None else ended

    def _step_to(self, t: int | None) -> Walk:
        """Show the moment t; None: there is none."""
        began = self.at
        target = self.recorder.begins if t is None else t
        back = target < began
        self.seek(target)
        if t is None:
            return Walk("begins", self.at - began, self.changes())
        if not back and self._past is None:
            return Walk("ends", self.at - began, self.changes())
        return Walk("found", self.at - began, self.changes())

    # --- what there is to see

    def _note_changes(self, panel: Panel) -> None:
        before, after = panel.before.contacts, panel.state.contacts
        if before != after:
            for name, contact in after.items():
                if before[name] != contact:
                    self._moved[name] = self._real

    @property
    def changed(self) -> frozenset[str]:
        """The devices whose contact moved in the scan that is shown, up to the rung shown."""
        moment = self.moment()
        before, after = moment.before.contacts, moment.image.contacts
        if before == after:
            return frozenset()
        return frozenset(name for name, contact in after.items() if before[name] != contact)

    def changes(self) -> tuple[tuple[str, bool], ...]:
        """What the scan that is shown has moved, in file order, and whether each contact is now
        closed."""
        contacts, changed = self.moment().image.contacts, self.changed
        return tuple((name, contacts[name]) for name in contacts if name in changed)

    def recent(self, real_ms: int) -> frozenset[str]:
        """The devices that moved within the last `real_ms` of real time, or, in a panel that is
        paused, in the scan that is shown."""
        if not self.running:
            return self.changed
        since = self._real - real_ms
        return frozenset(name for name, at in self._moved.items() if at >= since)

    def status(self) -> Status:
        """The line on top."""
        panel = self.standing
        return Status(
            self.program.title or self.program.source.name,
            self.wall_time(panel.now),
            panel.now,
            panel.scan_number if panel.state.powered else None,
            self.running,
            self.running and self._lagging,
            self.speed,
            panel.powered,
            sum(fault != "sound" for fault in panel.wires.values()),
            len(panel.forces),
            self._past is not None,
            self._upto,
            len(self.broken),
        )

    def wall_time(self, t: int) -> WallTime:
        """The local time of a moment of the run, by the wall clock of the moment shown."""
        panel = self.standing
        return panel.calendar.zone.local(panel.wall.at(t))

    def switches(self) -> tuple[SwitchView, ...]:
        """Every input, in file order."""
        moment = self.moment()
        return tuple(switch_view(moment, device) for device in self.program.inputs)

    def switch(self, name: str) -> SwitchView:
        """One input."""
        device = self.program.by_name[name]
        assert isinstance(device, Input)
        return switch_view(self.moment(), device)

    def relays(self) -> tuple[RelayView, ...]:
        """Every output, then every control relay, in file order."""
        return relay_views(self.moment())

    def timers(self) -> tuple[TimerView, ...]:
        """Every timer, in file order."""
        return timer_views(self.moment())

    def counters(self) -> tuple[CounterView, ...]:
        """Every counter, in file order."""
        return counter_views(self.moment())

    def clocks(self) -> tuple[ClockView, ...]:
        """Every clock, in file order."""
        return self._clocks.views(self.moment())

    def reading(self, rung: Rung) -> tuple[bool, ...]:
        """Whether each contact of a rung, in reading order, conducted when the rung was worked."""
        return self._readings.of(self.moment(), rung)

    def live(self) -> bool:
        """Whether the rails carry power, that is, a scan was made since the power came."""
        panel = self.standing
        return panel.powered and panel.state.powered
