"""The wall clock of a run: which clock contacts are closed in a scan, and when the next one moves.

Timers run on a clock that never steps; this one may be set. It remembers which events it has shown,
so that a clock that is set back a little does not run an event twice.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import date

from rungs.program.nodes import Clock
from rungs.scan.calendar import HORIZON, Calendar

# a Monday far from any change of the clocks, for runs to which the date does not matter
DEFAULT_DAY = date(2026, 1, 5)


def default_start(calendar: Calendar) -> int:
    """The wall time of a run that was given none: midnight of a fixed day, ms UTC."""
    return calendar.zone.instant(DEFAULT_DAY, 0)


@dataclass(frozen=True, slots=True)
class WallMemory:
    """What a wall clock remembers: wall time minus run time (ms), the wall time of the last scan
    since power-up, and the last event that each clock has shown since."""

    offset: int
    seen: int | None
    shown: Mapping[str, int]


class WallClock:
    """Wall time as a function of run time t, and the clock contacts of each scan."""

    def __init__(self, clocks: tuple[Clock, ...], calendar: Calendar, start: int) -> None:
        self._clocks = clocks
        self._calendar = calendar
        self._offset = start  # wall time minus run time
        self._seen: int | None = None  # wall time of the last scan since power-up
        self._shown: dict[str, int] = {}  # last event shown by each clock since power-up

    def memory(self) -> WallMemory:
        """What it remembers, to be given to `recall` later."""
        return WallMemory(self._offset, self._seen, dict(self._shown))

    def recall(self, memory: WallMemory) -> None:
        """Remember what was remembered then."""
        self._offset, self._seen = memory.offset, memory.seen
        self._shown = dict(memory.shown)

    def at(self, t: int) -> int:
        """The wall time at run time t, ms UTC."""
        return self._offset + t

    def set(self, t: int, instant: int) -> None:
        """Let the wall clock show `instant` at run time t."""
        self._offset = instant - t

    def forget(self) -> None:
        """The power went: no scan has been made since power-up."""
        self._seen = None
        self._shown.clear()

    def saw(self, t: int) -> None:
        """A scan at t was passed over in which no clock moved."""
        self._seen = self.at(t)

    def contacts(self, t: int) -> dict[str, bool]:
        """Every clock's contact in the scan at t, which is now made."""
        closed, events = self._look(t)
        self._seen = self.at(t)
        self._shown.update(events)
        return closed

    def peek(self, t: int) -> dict[str, bool]:
        """Every clock's contact in a scan at t, if it were made."""
        return self._look(t)[0]

    def _look(self, t: int) -> tuple[dict[str, bool], dict[str, int]]:
        now = self.at(t)
        closed: dict[str, bool] = {}
        events: dict[str, int] = {}
        for clock in self._clocks:
            if clock.end is not None:
                closed[clock.name] = self._calendar.is_closed(clock, now)
                continue
            event = self._event(clock, now)
            closed[clock.name] = event is not None
            if event is not None:
                events[clock.name] = event
        return closed, events

    def _event(self, clock: Clock, now: int) -> int | None:
        """The event that the scan at wall time `now` shows, if it shows one."""
        if self._seen is None:  # the first scan after power-up
            if not clock.catch_up:
                return None
            # both ends belong to it: at most that long before the first scan
            return self._calendar.occurrence_between(clock, now - clock.catch_up - 1, now)
        after = max(self._seen, self._shown.get(clock.name, self._seen))
        return self._calendar.occurrence_between(clock, after, now) if now > after else None

    def next_change(self, t: int) -> int | None:
        """The first run time after t at which a clock contact can move, if one ever does."""
        instant = self._calendar.next_change(self.at(t))
        if instant is None:
            # the calendar looks no farther ahead than this
            return t + HORIZON if self._clocks else None
        return instant - self._offset
