"""Which days carry all that a program's clocks can do, so that a proof need look at no others."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import date
from functools import cache, lru_cache
from itertools import pairwise
from typing import Final

from rungs.program.nodes import Clock, Days, SunTime
from rungs.scan.calendar import Calendar
from rungs.scan.daysoff import in_span
from rungs.scan.zone import DAY, Zone

FIRST: Final = date(2026, 1, 1)  # fixed, so that a proof is the same on every day it is run
YEAR_DAYS: Final = 400
WEEKS_DAYS: Final = 29

# days of week and year fall together in the same way again after 28 years (until 2100)
_CYCLE: Final = 28
# days that are looked at together: a week, and a day before and after it
_GRAM: Final = 9


def goes_by_sun(clock: Clock) -> bool:
    """Whether sunrise or sunset moves a clock."""
    return isinstance(clock.begin, SunTime) or isinstance(clock.end, SunTime)


def horizon(clocks: tuple[Clock, ...], calendar: Calendar) -> tuple[tuple[date, int], ...]:
    """Spans (first date, number of dates) that carry all that the clocks can do.

    Some weeks where every week is the same, else 400 days; and those days of other years whose
    pattern of listed days and changes of the clocks is not among these. Sun times are those of the
    days that are taken: from year to year they differ by up to a day's change.
    """
    kinds = tuple(dict.fromkeys(clock.days for clock in clocks))
    varied = any(days.season is not None or days.except_holidays for days in kinds)
    shifts = _shifts(calendar.zone, _CYCLE if varied else 3)
    if not varied and not shifts and not any(map(goes_by_sun, clocks)):
        return ((FIRST, WEEKS_DAYS),)
    return ((FIRST, YEAR_DAYS), *(_variants(kinds, calendar, shifts) if varied else ()))


@lru_cache(maxsize=8)
def _shifts(zone: Zone, years: int) -> dict[int, int]:
    """How far the clocks are moved, by the ordinal of the UTC date that ends with the new offset.

    Looked for from week to week, since no zone moves its clocks twice within one.
    """
    found = {}
    start = FIRST.toordinal()
    midnight = [zone.instant(FIRST, 0) + n * 7 * DAY for n in range(years * 53 + 2)]
    offsets = [zone.offset(at) for at in midnight]
    for n, (old, new) in enumerate(pairwise(offsets)):
        if old != new:
            at = midnight[n]
            days = next(d for d in range(1, 8) if zone.offset(at + d * DAY) != old)
            found[start + n * 7 + days - 1] = new - old
    return found


def _variants(
    kinds: tuple[Days, ...], calendar: Calendar, shifts: dict[int, int]
) -> Iterator[tuple[date, int]]:
    """The spans of dates outside the 400 days that show something of their own."""
    start = FIRST.toordinal()
    spans = [(start, start + _CYCLE * 366)]
    if any(days.except_holidays for days in kinds):
        for holiday in calendar.holidays:
            for end in (holiday.first, holiday.last):
                if isinstance(end, date) and not spans[0][0] <= end.toordinal() < spans[0][1]:
                    near = max(end.toordinal() - _GRAM, 1), end.toordinal() + _GRAM + 1
                    spans.append((near[0], min(near[1], date.max.toordinal())))
    listed = _listing(kinds, calendar)
    numbers: dict[object, int] = {}
    seen: set[tuple[int, ...]] = set()
    wanted: list[int] = []
    for low, high in spans:
        lists = [listed(date.fromordinal(ordinal)) for ordinal in range(low, high)]
        keys = [
            numbers.setdefault((each, shifts.get(low + n, 0)), len(numbers))
            for n, each in enumerate(lists)
        ]
        idle = 0  # days gone by of which no clock lists any
        for n in range(len(keys) - _GRAM + 1):
            idle = 0 if any(lists[n]) else idle + 1
            gram = tuple(keys[n : n + _GRAM])
            if idle >= _GRAM and any(lists[n + 1]):
                gram = (-idle, *gram)  # how long the contacts stood still matters as well
            if gram not in seen:
                seen.add(gram)
                # those of the first stretch are known, and it is whole
                if not start <= low + n <= start + YEAR_DAYS - _GRAM:
                    wanted.append(low + n)
    yield from _joined(wanted)


def _listing(kinds: tuple[Days, ...], calendar: Calendar) -> Callable[[date], tuple[bool, ...]]:
    """Which of these kinds of days list a date; quick, for it is asked for many years.

    The kinds are parted by what decides: the weekday, month and day of month, and days off.
    """
    leap = date(2028, 1, 1).toordinal()
    year = [date.fromordinal(leap + n) for n in range(366)]
    season = {
        (day.month, day.day): tuple(d.season is None or in_span(day, *d.season) for d in kinds)
        for day in year
    }
    week = [tuple(n in days.weekdays for days in kinds) for n in range(7)]
    off = any(days.except_holidays for days in kinds)

    @cache
    def both(one: tuple[bool, ...], two: tuple[bool, ...], free: bool) -> tuple[bool, ...]:
        return tuple(
            a and b and not (free and days.except_holidays)
            for a, b, days in zip(one, two, kinds, strict=True)
        )

    def listed(day: date) -> tuple[bool, ...]:
        free = off and calendar.holiday(day) is not None
        return both(week[day.weekday()], season[day.month, day.day], free)

    return listed


def _joined(wanted: list[int]) -> Iterator[tuple[date, int]]:
    """Spans of nine dates from each of these ordinals on; those that touch are one."""
    begin = end = None
    for ordinal in sorted(wanted):
        if begin is not None and end is not None and ordinal > end:
            yield date.fromordinal(begin), end - begin
            begin = None
        begin = ordinal if begin is None else begin
        end = ordinal + _GRAM
    if begin is not None and end is not None:
        yield date.fromordinal(begin), end - begin
