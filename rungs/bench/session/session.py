"""One panel on the bench: a program, a panel under power, and the person's hands on it.

All that a face may do or know of the panel goes through here, without a screen, so that everything
on the screen can be tested, or said in another way, without one.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from rungs.bench.session.hands import Hands
from rungs.bench.session.run import SPEEDS
from rungs.bench.views import (
    Walk,
)
from rungs.program.nodes import Circuit
from rungs.scan.observe import holds
from rungs.scan.reference import next_expiry, same
from rungs.scan.runner import Panel


class Session(Hands):
    """A run that time passes in: let it run, walk on, and walk back."""

    # --- time

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
            until = self.panel.now + ms
            # nothing that is being tapped may be overslept
            resting = not self._releases and self.panel.coast(until)
            self._lagging = not resting and self._pass(until, self._tick_scans)[0] == "work"

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
                del self._releases[name]
                self.recorder.end_tap(name)
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
