"""The run of one panel, and the moment of it that is shown: the present, one of the past, or one
part-way through a scan.

What there is to see is always that of the moment shown, so that no face can mix two moments.
"""

from __future__ import annotations

import time
from collections.abc import Mapping

from rungs.bench.looks import (
    ClockLooks,
    Moment,
    counter_views,
    relay_view,
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
    WallTime,
)
from rungs.core.nodes import PERIOD
from rungs.program.nodes import Input, Program, Rung
from rungs.prove.why.history import History, RecordedPanel
from rungs.scan.calendar import build_calendar
from rungs.scan.carry import Carried, carried
from rungs.scan.recorder import Recorder
from rungs.scan.reference import State
from rungs.scan.runner import Panel, WireFault
from rungs.scan.wall import default_start
from rungs.scan.watch import Violation, Watcher

SPEEDS = (1, 10, 60, 3_600)

# Rungs and devices that may be worked in one tick, and in one walk. A count, not a time limit: the
# same presses then give the same states on every machine.
TICK_WORK = 10_000
WALK_WORK = 100_000
HISTORY_WORK = 400_000  # rungs and devices of all scans that are kept for explanations

FORCE_MS = 600_000  # real time after which a force lets go by itself
MOST_BROKEN = 100


class Run:
    """The panel of `program`, powered and running since its first scan.

    `start` is the wall time of that scan, ms since the epoch in UTC; the machine's time if None.
    """

    def __init__(self, program: Program, start: int | None = None, period: int = PERIOD) -> None:
        self.program = program
        # on a whole second, which is as fine as a scenario can tell when it begins
        self.start = time.time_ns() // 1_000_000_000 * 1_000 if start is None else start
        self.period = period
        self.running = True
        self.speed = SPEEDS[0]
        self._real = 0  # ms of ticks, running or not
        self._begin(program, None)

    def _begin(self, program: Program, panel: RecordedPanel | None, scan: bool = True) -> None:
        """Stand at the first moment of a new panel, or go on with one that was carried over;
        `scan` False leaves its first scan to whoever plays it."""
        self.program = program
        size = len(program.rungs) + len(program.devices) + 1
        self._tick_scans = max(1, TICK_WORK // size)
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
        self.let_go: list[str] = []  # forces that ended by themselves and were not told yet
        self._relays: (
            tuple[Mapping[str, bool], Mapping[str, bool], object, tuple[RelayView, ...]] | None
        ) = None
        self._places: dict[str, int] = {}
        self._past: Panel | None = None
        self._upto: int | None = None
        self._moment: Moment | None = None
        self._lagging = False
        self._moved: dict[str, int] = {}  # real ms at which each device last moved
        self.broken: list[Violation] = []
        self._watcher = Watcher(program, self.period)
        made.watchers.append(self._watch)
        if panel is None and scan:
            made.make_scan()
            self._note_changes(made)
            self._moved.clear()  # a screen that opens does not glow

    def _watch(self, before: State, after: State, wires: Mapping[str, WireFault]) -> None:
        self._moment = None
        for item in self._watcher.see(before, after, wires):
            if len(self.broken) < MOST_BROKEN:
                self.broken.append(item)

    # --- another panel

    def restart(self) -> None:
        """A new panel at the first moment: released switches, sound wires, no forces, nothing
        retained, and nothing recorded."""
        self._begin(self.program, None)

    def play_from(self, start: int | None) -> RecordedPanel:
        """A new panel at a wall time (ms UTC; None: the usual one of scenarios), paused, whose
        first scan is left to whoever plays it. What that does is recorded as hands are."""
        self.pause()
        calendar = self.panel.calendar
        self.start = default_start(calendar) if start is None else start
        self._begin(self.program, None, scan=False)
        return self.panel

    def played(self) -> None:
        """Show what another has played on the panel."""
        self._moment = None
        self._upto = None
        self._past = None

    def take(self, program: Program) -> Carried:
        """Take an edited program into the running panel; devices go on by name. The run before it
        cannot be gone back to any more."""
        self.branch()
        panel, report = carried(self.panel, program, RecordedPanel)
        releases, ends = self._releases, self._force_ends
        self._begin(program, panel)
        inputs = {d.name for d in program.inputs}
        self._releases = {n: at for n, at in releases.items() if n in inputs}
        self._force_ends = {n: at for n, at in ends.items() if n in panel.forces}
        return report

    def program_with_scenarios(self, program: Program) -> None:
        """Go on with a program that differs in its scenarios and its text alone; the run stays."""
        self.program = program
        self.panel.program = program

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

    def run(self) -> None:
        """Let time run; in the past, what was recorded is played."""
        self.running = True
        self._upto = None
        self._moment = None

    def pause(self) -> None:
        """Stop time."""
        self.running = False
        self._lagging = False

    def history(self) -> History | None:
        """The scans from which the moment shown can be explained; where they are not kept any
        more, they are made anew from the record. None if there are none yet."""
        kept = self.panel.history
        behind = not kept or kept.latest.t < self.at
        if self._past is None and self.panel.powered and behind:
            # scans at rest were passed over, or a program was taken in and is still to be scanned
            for _ in self.panel.advance(self.panel.next_scan_at()):
                self._note_changes(self.panel)
            self._moment = None
        if kept and kept.begins <= self.at:
            return kept
        panel = RecordedPanel(self.program, self.start, self.period, calendar=self.panel.calendar)
        self.recorder.at(self.at, panel)
        return panel.history or kept or None

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
        """Every output, then every control relay, in file order; only what has moved is made
        anew, for there may be thousands."""
        moment = self.moment()
        image, written = moment.image.contacts, moment.written.contacts
        rest = (moment.written.powered, moment.part_way, dict(moment.panel.forces))
        if self._relays is None or self._relays[2] != rest:
            views = relay_views(moment)
            self._places = {view.name: place for place, view in enumerate(views)}
        else:
            was, old, _, views = self._relays
            moved = [name for name in self._places if was[name] != image[name]]
            if moment.part_way:
                moved += [name for name in self._places if old[name] != written[name]]
            if moved:
                made = list(views)
                for name in moved:
                    made[self._places[name]] = relay_view(moment, name)
                views = tuple(made)
        self._relays = (image, written, rest, views)
        return views

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
