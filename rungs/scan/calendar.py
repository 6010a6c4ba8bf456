"""When a program's clocks close: windows, events, and the instants at which they change.

Occurrences are worked out for stretches of some days and kept, so that asking costs a search in a
short list: engines ask at every scan, and jump from change to change.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from functools import cached_property
from typing import Final, Literal

from rungs.program.nodes import Clock, Holiday, Moment, Program, Site, SunTime, TimeOfDay
from rungs.scan.daysoff import Lookup, Missing, declared_holiday, is_listed, public_holidays
from rungs.scan.sun import SunEvent, sun_events, sun_is_up
from rungs.scan.zone import DAY, HOUR, Zone, load_zone, utc

# How far ahead a change is looked for. Who jumps to the next change may jump no farther than this.
HORIZON: Final = 370 * DAY

_STRETCH: Final = 16 * DAY
_KEPT: Final = HORIZON // _STRETCH + 8  # stretches kept for each clock
_LONGEST: Final = 4 * DAY  # no window is longer, with three dates of up to 26 h

PolarSpan = tuple[date, date, Literal["up", "down"]]


@dataclass(frozen=True, slots=True)
class _Begin:
    """One beginning of a window; `real` False if it is the start of a date without sun events."""

    at: int
    real: bool = True
    raw: int | None = None  # the sun event, before the offset


@dataclass(frozen=True, slots=True)
class _Stretch:
    """What a clock does from one multiple of the stretch length up to the next.

    `times` are its events, or the instants at which it opens or closes; `closed` is its contact
    just before the stretch begins.
    """

    times: tuple[int, ...]
    closed: bool = False


class Calendar:
    """The clocks of one program at its site. All instants are ms since the Unix epoch in UTC.

    An unknown zone counts as UTC, and sun clocks of a site without a place never close; `problems`
    tells of it. Nothing here raises, whatever the dates.
    """

    def __init__(
        self, site: Site, holidays: tuple[Holiday, ...], clocks: tuple[Clock, ...]
    ) -> None:
        self.site = site
        self.holidays = holidays
        self.clocks = clocks
        self.zone: Zone = load_zone(site.zone) or utc()
        self._tracks: dict[str, tuple[Clock, dict[int, _Stretch]]] = {}

    # --- days

    @cached_property
    def _public(self) -> Lookup | Missing | None:
        return None if self.site.holidays is None else public_holidays(self.site.holidays)

    @cached_property
    def problems(self) -> tuple[str, ...]:
        """What keeps the clocks from running as written, one plain sentence each."""
        found = []
        if load_zone(self.site.zone) is None:
            found.append(f"'{self.site.zone}' is not a time zone; the clocks run on UTC")
        if self._place is None and any(map(_goes_by_sun, self.clocks)):
            found.append("the site has no latitude and longitude; clocks that go by the sun stop")
        if isinstance(self._public, Missing):
            found.append(self._public.reason)
        return tuple(found)

    def holiday(self, day: date) -> str | None:
        """The name of the holiday on a date: one of the file's, else a public one."""
        declared = declared_holiday(self.holidays, day)
        if declared is not None or self._public is None or isinstance(self._public, Missing):
            return declared
        return self._public(day)

    # --- what the engines ask

    def is_closed(self, clock: Clock, now: int) -> bool:
        """Whether the contact of a window clock is closed; False for a clock of events."""
        if clock.end is None:
            return False
        stretch = self._stretch(clock, now // _STRETCH)
        return stretch.closed ^ bool(bisect_right(stretch.times, now) & 1)

    def next_edge(self, clock: Clock, now: int) -> int | None:
        """The first instant after now at which a window clock opens or closes.

        Windows that overlap or touch are one closure, without an edge between them. None if there
        is no edge within 370 days (HORIZON), and for a clock of events.
        """
        return None if clock.end is None else self._next(clock, now)

    def occurrence_after(self, clock: Clock, now: int) -> int | None:
        """The first event of an `at` clock after now; None if none is within 370 days (HORIZON)."""
        return self._next(clock, now) if clock.end is None else None

    def occurrence_between(self, clock: Clock, after: int, upto: int) -> int | None:
        """The last event T of an `at` clock with after < T <= upto."""
        if clock.end is not None or upto <= after:
            return None
        for index in range(upto // _STRETCH, after // _STRETCH - 1, -1):
            times = self._stretch(clock, index).times
            found = bisect_right(times, upto)
            if found:
                return times[found - 1] if times[found - 1] > after else None
        return None

    def next_change(self, now: int) -> int | None:
        """The first instant after now at which any clock has an edge or an event.

        None if none is within 370 days (HORIZON): a jump must not be longer than that.
        """
        times = (self._next(clock, now) for clock in self.clocks)
        return min((t for t in times if t is not None), default=None)

    # --- stretches

    def _next(self, clock: Clock, now: int) -> int | None:
        first = now // _STRETCH
        for index in range(first, (now + HORIZON) // _STRETCH + 1):
            times = self._stretch(clock, index).times
            at = bisect_right(times, now) if index == first else 0
            if at < len(times):
                return times[at] if times[at] - now <= HORIZON else None
        return None

    def _stretch(self, clock: Clock, index: int) -> _Stretch:
        track = self._tracks.get(clock.name)
        if track is None or (track[0] is not clock and track[0] != clock):
            track = self._tracks[clock.name] = (clock, {})
        kept = track[1]
        stretch = kept.get(index)
        if stretch is None:
            while len(kept) >= _KEPT:
                del kept[next(iter(kept))]  # the oldest made
            stretch = kept[index] = self._make(clock, index * _STRETCH, (index + 1) * _STRETCH)
        return stretch

    def _make(self, clock: Clock, low: int, high: int) -> _Stretch:
        end = clock.end
        if end is None:
            days = self._days(clock, low, high)
            times = {begin.at for day in days for begin in self._events(clock.begin, day)}
            return _Stretch(tuple(sorted(t for t in times if low <= t < high)))
        windows = sorted(
            window
            for day in self._days(clock, low - _LONGEST, high)
            for window in self._windows(clock.begin, end, day)
        )
        closed, edges = False, []
        for start, stop in _merged(windows):
            closed = closed or start < low <= stop
            edges += [edge for edge in (start, stop) if low <= edge < high]
        return _Stretch(tuple(edges), closed)

    def _days(self, clock: Clock, low: int, high: int) -> Iterator[date]:
        """The listed days of which an A can lie from `low` up to `high`."""
        offset = clock.begin.offset if isinstance(clock.begin, SunTime) else 0
        first, _ = self.zone.local(low - max(offset, 0))
        last, _ = self.zone.local(high - min(offset, 0))
        for day in _dates(first.toordinal(), last.toordinal()):
            if is_listed(clock.days, day, self.holiday):
                yield day

    # --- one day

    @cached_property
    def _place(self) -> tuple[float, float] | None:
        if self.site.latitude is None or self.site.longitude is None:
            return None
        return self.site.latitude, self.site.longitude

    def _events(self, moment: Moment, day: date) -> Iterator[_Begin]:
        """When a moment comes on a date: once, but for the sun near the poles."""
        match moment:
            case TimeOfDay(ms):
                yield _Begin(self.zone.instant(day, ms))
            case SunTime(event, offset):
                if self._place is not None:
                    for raw in sun_events(*self._place, self.zone, day).of(event):
                        yield _Begin(raw + offset, raw=raw)

    def _begins(self, moment: Moment, day: date) -> Iterator[_Begin]:
        """When windows begin on a date: as `_events`, or with the date itself.

        While the sun is up all day it has risen before the day began, and while it is down all day
        it has set before.
        """
        yield from self._events(moment, day)
        if isinstance(moment, SunTime) and self._place is not None:
            sun = sun_events(*self._place, self.zone, day)
            if sun.always_up if moment.event == "sunrise" else sun.never_up:
                yield _Begin(self.zone.day_bounds(day)[0], real=False)

    def _windows(self, begin: Moment, end: Moment, day: date) -> Iterator[tuple[int, int]]:
        """The windows that start on a date, as (start, end) with start < end."""
        if isinstance(begin, TimeOfDay) and isinstance(end, TimeOfDay):
            if begin.ms == end.ms:
                return
            start = self.zone.instant(day, begin.ms)
            stop = self.zone.instant(day, end.ms + (DAY if end.ms < begin.ms else 0))
            if start < stop:
                yield start, stop
            return
        for each in self._begins(begin, day):
            stop = self._stop(each, end, day)
            if each.at < stop:
                yield each.at, stop

    def _stop(self, begin: _Begin, end: Moment, day: date) -> int:
        """The first B at or after a beginning, or what ends the window where there is none."""
        offset = end.offset if isinstance(end, SunTime) else 0
        here = self.zone.local(begin.at)[0].toordinal()
        first = self.zone.local(begin.at - offset)[0].toordinal()
        last = max(first, here) + 1
        for each in _dates(first, last + 1):
            for event in self._events(end, each):
                # a sun event that slides past midnight from day to day leaves out one date
                near = each.toordinal() <= last or event.at - begin.at <= 26 * HOUR
                if event.at >= begin.at and near:
                    return event.at
        if not isinstance(end, SunTime) or self._place is None:
            return begin.at
        return self._polar_stop(begin, end.event, max(here, day.toordinal()))

    def _polar_stop(self, begin: _Begin, event: SunEvent, here: int) -> int:
        """Where a window ends that waits for a sun event which does not come.

        Nowhere if the event has been: the sun is already up, or down. Otherwise with the date for
        a window that began with the date, since the next date goes on, and else a date later.
        """
        assert self._place is not None, "only a site with a place has sun events"
        # a window may begin before the event it is named after; what counts is the sun after that
        known = begin.at if begin.raw is None else max(begin.at, begin.raw)
        if sun_is_up(*self._place, known) == (event == "sunrise"):
            return begin.at
        last = min(here + 1 if begin.real else here, date.max.toordinal())
        return self.zone.day_bounds(date.fromordinal(last))[1]


def build_calendar(program: Program) -> Calendar:
    """The calendar of a program's site, holidays and clocks."""
    return Calendar(program.site, program.holidays, program.clocks)


def polar_days(site: Site, year: int) -> tuple[PolarSpan, ...]:
    """Spans (first, last, state) of a year's dates on which the sun is up, or down, all day.

    Empty for a site without a place. Spans end with the year.
    """
    if site.latitude is None or site.longitude is None:
        return ()
    zone = load_zone(site.zone) or utc()
    spans: list[PolarSpan] = []
    for day in _dates(date(year, 1, 1).toordinal(), date(year, 12, 31).toordinal()):
        sun = sun_events(site.latitude, site.longitude, zone, day)
        if not (sun.always_up or sun.never_up):
            continue
        state: Literal["up", "down"] = "up" if sun.always_up else "down"
        if spans and spans[-1][2] == state and spans[-1][1] + timedelta(1) == day:
            spans[-1] = (spans[-1][0], day, state)
        else:
            spans.append((day, day, state))
    return tuple(spans)


def _goes_by_sun(clock: Clock) -> bool:
    return isinstance(clock.begin, SunTime) or isinstance(clock.end, SunTime)


def _dates(first: int, last: int) -> Iterator[date]:
    """The dates from one ordinal to another, both included, as far as there are dates."""
    for ordinal in range(max(first, 1), min(last, date.max.toordinal()) + 1):
        yield date.fromordinal(ordinal)


def _merged(windows: list[tuple[int, int]]) -> Iterator[tuple[int, int]]:
    """Sorted windows with those that overlap or touch made one."""
    current: tuple[int, int] | None = None
    for start, stop in windows:
        if current is not None and start <= current[1]:
            current = (current[0], max(current[1], stop))
            continue
        if current is not None:
            yield current
        current = (start, stop)
    if current is not None:
        yield current
