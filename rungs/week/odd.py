"""Nights on which the hands are moved, and the odd days of the twelve months ahead.

A clock that has run well for months fails its owner on one day: the night of the change, the first
of the season, the evening on which the sun sets after the window should have ended. Those are found
here beforehand.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from datetime import date, timedelta
from itertools import groupby
from typing import Final, Literal

from rungs.language.words import WEEKDAYS
from rungs.program.nodes import Clock, Moment, Program, SunTime, TimeOfDay
from rungs.scan.calendar import Calendar
from rungs.scan.daysoff import in_span, is_listed
from rungs.scan.sun import SunDay, sun_events
from rungs.scan.zone import DAY, HOUR, MINUTE, Zone
from rungs.week.data import (
    Change,
    Night,
    NightKind,
    Note,
    Span,
    SunRange,
    day_text,
    length_text,
    time_text,
)
from rungs.week.spans import OneDay

CHANGES: Final = 2
_LOOK: Final = 800  # days; a zone that changes its clocks does so within them

# --- nights of the change ------------------------------------------------------------------------


def zone_changes(zone: Zone, low: int, count: int = CHANGES) -> tuple[tuple[int, int, int], ...]:
    """The next `count` changes of the clocks from an instant on, as (instant, offset before, offset
    after); fewer where the zone makes none within two years."""
    found: list[tuple[int, int, int]] = []
    at = low
    while at < low + _LOOK * DAY and len(found) < count:
        old, new = zone.offset(at), zone.offset(at + DAY)
        if old != new:
            early, late = at, at + DAY
            while late - early > 1:
                middle = (early + late) // 2
                early, late = (early, middle) if zone.offset(middle) != old else (middle, late)
            found.append((late, old, zone.offset(late)))
        at += DAY
    return tuple(found)


def changes(program: Program, calendar: Calendar, low: int) -> tuple[Change, ...]:
    """The next two changes of the clocks, with what each clock does that night."""
    zone = calendar.zone
    found = []
    for at, before, after in zone_changes(zone, low):
        # the wall times that are left out or come twice, counted on the date before it
        day, last_ms = zone.local(at - 1)
        here = last_ms + 1
        edge = here + after - before
        first, last = min(here, edge), max(here, edge)
        if first >= DAY:
            day, first, last = day + timedelta(1), first - DAY, last - DAY
        nights = tuple(_night(calendar, c, day, at, before, after) for c in program.clocks)
        found.append(Change(at, day, before, after, first, last, nights))
    return tuple(found)


def _night(calendar: Calendar, clock: Clock, day: date, at: int, before: int, after: int) -> Night:
    if clock.end is None:
        return _event_night(calendar, clock, day, at, before, after)
    return _window_night(calendar, clock, day, at, before, after)


def _event_night(
    calendar: Calendar, clock: Clock, day: date, at: int, before: int, after: int
) -> Night:
    zone, size = calendar.zone, abs(after - before)
    if isinstance(clock.begin, SunTime):
        return Night(clock.name, "by the sun", 0, 0, "it follows the sun, not the hands")
    written = clock.begin.ms
    event = zone.instant(day, written)
    if is_listed(clock.days, day, calendar.holiday):
        shown = zone.local(event)[1]
        if shown != written:
            text = f"{time_text(written)} is left out; it comes at {time_text(shown)}"
            return Night(clock.name, "moved", 0, 0, text)
        if after < before and at - size <= event < at:
            text = f"{time_text(written)} comes twice; it acts once, the first time"
            return Night(clock.name, "once", 0, 0, text)
        return Night(clock.name, "as written", 0, 0, f"at {time_text(written)}, as always")
    return Night(clock.name, "not that night", 0, 0, "it does not act on this date")


def _window_night(
    calendar: Calendar, clock: Clock, day: date, at: int, before: int, after: int
) -> Night:
    """The window that runs through the change or touches the hour in question, if there is one."""
    zone, size = calendar.zone, abs(after - before)
    near = (at - size, at + size)
    one_day = OneDay(calendar, at - 2 * DAY, at + 2 * DAY)
    # a window of the day before may run into the night
    listed = [
        each
        for each in (day - timedelta(1), day, day + timedelta(1))
        if is_listed(clock.days, each, calendar.holiday)
    ]
    for each in listed:
        windows = one_day.windows(clock, each)
        if not windows and _faces_window(zone, clock, each, near):
            text = "its begin and its end fall together; it does not close at all"
            return Night(clock.name, "empty", 0, 0, text)
        for span in windows:
            if span.begin < near[1] and span.end >= near[0]:
                night = _touched(zone, clock, span, at, before, after)
                if night is not None:
                    return night
    if isinstance(clock.begin, SunTime) and isinstance(clock.end, SunTime):
        return Night(clock.name, "by the sun", 0, 0, "it follows the sun, not the hands")
    if day not in listed:
        return Night(clock.name, "not that night", 0, 0, "it does not act on this date")
    return Night(clock.name, "as written", 0, 0, "it is not closed in that hour; as always")


def _faces_window(zone: Zone, clock: Clock, day: date, near: tuple[int, int]) -> bool:
    """Whether a window of two times of day would be closed round the change by the hands alone."""
    if not isinstance(clock.begin, TimeOfDay) or not isinstance(clock.end, TimeOfDay):
        return False
    start = zone.instant(day, clock.begin.ms)
    return near[0] <= start <= near[1]


def _touched(
    zone: Zone, clock: Clock, span: Span, at: int, before: int, after: int
) -> Night | None:
    """What became of a window near the change; None if nothing did."""
    real = span.end - span.begin
    usual, than = real + zone.offset(span.end) - zone.offset(span.begin), "the hands show"
    if isinstance(clock.begin, TimeOfDay) and isinstance(clock.end, TimeOfDay):
        usual, than = (clock.end.ms - clock.begin.ms) % DAY, "usual"
    parts = []
    kind: NightKind = "as written"
    size = abs(after - before)
    for moment, instant, word in (
        (clock.begin, span.begin, "begins"),
        (clock.end, span.end, "ends"),
    ):
        if not isinstance(moment, TimeOfDay):
            continue
        shown = zone.local(instant)[1]
        if shown != moment.ms and at <= instant < at + size:
            kind = "moved"
            parts.append(f"{word} at {time_text(shown)}, for {time_text(moment.ms)} is left out")
        elif after < before and at - size <= instant < at:
            kind = "once"
            parts.append(f"{word} when {time_text(moment.ms)} comes the first time")
    if real != usual:
        kind = "longer" if real > usual else "shorter"
        by = f"{length_text(abs(real - usual))} {kind} than {than}"
        parts.append(f"closed for {length_text(real)}, {by}")
    if not parts:
        return None
    if isinstance(clock.begin, SunTime) and isinstance(clock.end, SunTime):
        return Night(clock.name, "by the sun", real, usual, f"by the sun: {parts[0]}")
    return Night(clock.name, kind, real, usual, "; ".join(parts))


# --- odd days ------------------------------------------------------------------------------------


class Year:
    """The dates from `first` up to `until`, and what the clocks of a program do on them."""

    def __init__(self, program: Program, calendar: Calendar, first: date, until: date) -> None:
        self.clocks = program.clocks
        self.calendar = calendar
        self.zone = calendar.zone
        self.days = [first + timedelta(n) for n in range((until - first).days)]
        self._one_day = OneDay(
            calendar, self.zone.day_bounds(first)[0], self.zone.day_bounds(until)[1]
        )

    def listed(self, clock: Clock, day: date) -> bool:
        """Whether a clock acts on a date."""
        return is_listed(clock.days, day, self.calendar.holiday)

    def windows(self, clock: Clock, day: date) -> tuple[Span, ...]:
        """What a clock starts on a date if it is listed."""
        return self._one_day.windows(clock, day)

    def sun(self, day: date) -> SunDay | None:
        """The sun on a date; None for a site without a place."""
        site = self.calendar.site
        if site.latitude is None or site.longitude is None:
            return None
        return sun_events(site.latitude, site.longitude, self.zone, day)


def odd_days(year: Year) -> tuple[Note, ...]:
    """Everything odd within the twelve months, by date."""
    found: list[Note] = []
    for clock in year.clocks:
        found += _holidays(year, clock)
        found += _seasons(year, clock)
        found += _over_midnight(year, clock)
        if clock.end is not None:
            found += _empty(year, clock)
            found += _runs_on(year, clock)
        if not any(year.listed(clock, day) for day in year.days):
            text = "it does not act on any date of the twelve months"
            found.append(Note("stands still", clock.name, year.days[0], year.days[-1], text))
    found += _sunless(year)
    order = {clock.name: place for place, clock in enumerate(year.clocks)}
    return tuple(sorted(found, key=lambda n: (n.first, n.last, order.get(n.clock, -1), n.kind)))


def _holidays(year: Year, clock: Clock) -> Iterator[Note]:
    days = clock.days
    if not days.except_holidays:
        return
    for day in year.days:
        name = year.calendar.holiday(day)
        wanted = days.season is None or in_span(day, *days.season)
        if name is not None and wanted and day.weekday() in days.weekdays:
            yield Note("holiday", clock.name, day, day, f"left out: {name}")


def _seasons(year: Year, clock: Clock) -> Iterator[Note]:
    season = clock.days.season
    if season is None:
        return
    for day in year.days:
        before, now = in_span(day - timedelta(1), *season), in_span(day, *season)
        if now and not before:
            yield Note("season begins", clock.name, day, day, "first day of its season")
        if now and not in_span(day + timedelta(1), *season):
            yield Note("season ends", clock.name, day, day, "last day of its season")


def _over_midnight(year: Year, clock: Clock) -> Iterator[Note]:
    """Windows that run on into a date that is not listed; told once for the weekdays."""
    if clock.end is None or not _limited(clock):
        return
    weekly: dict[int, list[tuple[date, int]]] = {}
    for day in year.days:
        if not year.listed(clock, day) or year.listed(clock, day + timedelta(1)):
            continue
        ends = [s.end for s in year.windows(clock, day)]
        if not ends:
            continue
        on, ms = year.zone.local(max(ends) - 1)
        if on <= day:
            continue
        ms = year.zone.local(max(ends))[1]
        following = day + timedelta(1)
        if following.weekday() not in clock.days.weekdays:
            weekly.setdefault(day.weekday(), []).append((day, ms))
            continue
        why = year.calendar.holiday(following) or "its season is over"
        text = f"its window runs on to {time_text(ms // MINUTE * MINUTE)} the next day ({why})"
        yield Note("unlisted day", clock.name, day, day, text)
    for weekday, days in weekly.items():
        name, other = WEEKDAYS[weekday], WEEKDAYS[(weekday + 1) % 7]
        times = sorted({ms // MINUTE * MINUTE for _, ms in days})
        to = (
            f"{time_text(times[0])}"
            if len(times) == 1
            else (f"between {time_text(times[0])} and {time_text(times[-1])}")
        )
        text = f"every {name} its window runs on into {other}, which is not listed, to {to}"
        yield Note("unlisted day", clock.name, days[0][0], days[-1][0], text)


def _limited(clock: Clock) -> bool:
    days = clock.days
    return len(days.weekdays) < 7 or days.season is not None or days.except_holidays


def _empty(year: Year, clock: Clock) -> Iterator[Note]:
    days = [d for d in year.days if year.listed(clock, d) and not year.windows(clock, d)]
    for first, last in _runs(days):
        yield Note("empty window", clock.name, first, last, "listed, and it does not close at all")


def _runs_on(year: Year, clock: Clock) -> Iterator[Note]:
    """Days on which a window begins after it should have ended, and so runs until the next end.

    Told where it is so on some days and not on others, which only the sun can bring about.
    """
    if not (isinstance(clock.begin, SunTime) or isinstance(clock.end, SunTime)):
        return
    late: list[tuple[date, Span]] = []
    early: list[tuple[date, Span]] = []
    for day in year.days:
        if not year.listed(clock, day):
            continue
        for span in year.windows(clock, day)[:1]:
            here = year.zone.local(span.begin)[0]
            (late if year.zone.local(span.end - 1)[0] > here else early).append((day, span))
    if not late or not early:
        return
    # a sun event that slides over midnight ends a night window soon after it, which is no oddity
    long = [(day, span) for day, span in late if span.end - span.begin > 16 * HOUR]
    for first, last in _runs([day for day, _ in long]):
        spans = [span for day, span in long if first <= day <= last]
        most = max(span.end - span.begin for span in spans)
        text = (
            "it begins after the time at which it should end, and runs on to the next day "
            f"(up to {length_text(most)})"
        )
        yield Note("runs on", clock.name, first, last, text)


def _sunless(year: Year) -> Iterator[Note]:
    """Dates without a sunrise or a sunset, where a clock goes by the sun."""
    if not any(isinstance(m, SunTime) for c in year.clocks for m in (c.begin, c.end)):
        return
    words: dict[date, str] = {}
    for day in year.days:
        sun = year.sun(day)
        if sun is None:
            return
        if sun.always_up:
            words[day] = "the sun does not set; a window from sunset to sunrise is empty"
        elif sun.never_up:
            words[day] = "the sun does not rise; a window from sunset to sunrise is closed all day"
        elif not sun.rises or not sun.sets:
            words[day] = f"no {'sunrise' if not sun.rises else 'sunset'} on this date"
    for text in dict.fromkeys(words.values()):
        for first, last in _runs([day for day, word in words.items() if word == text]):
            yield Note("no sun event", "", first, last, text)


def _runs(days: Sequence[date]) -> list[tuple[date, date]]:
    """Dates in stretches without a gap."""
    runs = []
    for _, group in groupby(enumerate(days), key=lambda pair: pair[1].toordinal() - pair[0]):
        stretch = [day for _, day in group]
        runs.append((stretch[0], stretch[-1]))
    return runs


# --- the sun's range -----------------------------------------------------------------------------


def sun_ranges(year: Year) -> tuple[SunRange, ...]:
    """Earliest and latest time of each begin and end that goes by the sun, on the dates listed."""
    found = []
    for clock in year.clocks:
        listed = [day for day in year.days if year.listed(clock, day)]
        ends: tuple[tuple[Literal["begins", "ends", "comes"], Moment | None], ...]
        ends = (("begins", clock.begin), ("ends", clock.end))
        if clock.end is None:
            ends = (("comes", clock.begin),)
        for word, moment in ends:
            if not isinstance(moment, SunTime):
                continue
            times: list[tuple[int, date]] = []
            for day in listed:
                for span in year.windows(clock, day):
                    at = span.end if word == "ends" else span.begin
                    shown, ms = year.zone.local(at)
                    if _real(year, moment, at, shown):
                        times.append((ms, shown))
            if times:
                early, late = _range(times)
                words = moment_words(moment)
                found.append(SunRange(clock.name, word, words, early, late))
    return tuple(found)


def _real(year: Year, moment: SunTime, at: int, shown: date) -> bool:
    """Whether an end of a window is the sun's event, and not the start of a date without one."""
    for day in (shown - timedelta(1), shown, shown + timedelta(1)):
        sun = year.sun(day)
        if sun is not None and at - moment.offset in sun.of(moment.event):
            return True
    return False


def _range(times: list[tuple[int, date]]) -> tuple[tuple[int, date], tuple[int, date]]:
    """The ends of the shortest stretch of the day that holds all times; it may go over midnight."""
    ordered = sorted({ms for ms, _ in times})
    gaps = [
        ((after - before) % DAY or DAY, after, before)
        for before, after in zip(ordered, [*ordered[1:], ordered[0]], strict=True)
    ]
    _, first, last = max(gaps)
    when = dict(reversed(times))
    return (first, when[first]), (last, when[last])


def moment_words(moment: SunTime) -> str:
    """`sunset`, `20min before sunset`."""
    if not moment.offset:
        return moment.event
    side = "before" if moment.offset < 0 else "after"
    return f"{length_text(abs(moment.offset))} {side} {moment.event}"


def note_dates(note: Note) -> str:
    """`Fri 1 May 2026`, or `1 May to 3 Aug 2026`."""
    if note.first == note.last:
        return day_text(note.first, year=True)
    return f"{day_text(note.first, year=True)} to {day_text(note.last, year=True)}"
