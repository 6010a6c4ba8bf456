"""A clock that goes by the sun as fixed local times, for boards that do not know the sun.

The year is cut into months or into stretches of seven days, and each slot gets the times that keep
the largest error over its days as small as it can be. The error is worked out day by day and
stated, since a fixed time in place of sunset is another panel by that much.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from typing import Final, Literal

from rungs.findings import Finding
from rungs.program.nodes import Clock, Moment, MonthDay, Program, SunTime, TimeOfDay
from rungs.scan.daysoff import in_span
from rungs.scan.sun import sun_events
from rungs.scan.zone import DAY, MINUTE, Zone, load_zone, utc

SlotLength = Literal["month", "week"]

_LEAP: Final = (2, 29)


@dataclass(frozen=True, slots=True)
class FixedSlot:
    """Fixed times for the days from `first` to `last` of every year, both included.

    Times are ms since midnight of the day on which the window or event is; an `end` of a day or
    more is on the next day. `error` is the largest error over the slot's days, in ms.
    """

    first: MonthDay
    last: MonthDay
    begin: int
    end: int | None
    error: int

    @property
    def overnight(self) -> bool:
        """Whether the window ends on the day after it begins."""
        return self.end is not None and self.end >= DAY


@dataclass(frozen=True, slots=True)
class SunFix:
    """A sun clock as fixed times. With findings there are no slots to use.

    `error` is the largest error over the year in ms. `without` are spans of days, both ends
    included, on which the sun does not do what the clock waits for; they count in no error.
    """

    clock: str
    by: SlotLength
    year: int
    slots: tuple[FixedSlot, ...] = ()
    error: int = 0
    without: tuple[tuple[date, date], ...] = ()
    findings: tuple[Finding, ...] = ()

    @property
    def error_minutes(self) -> int:
        """The largest error in whole minutes, rounded up."""
        return -(-self.error // MINUTE)


@dataclass(frozen=True, slots=True)
class _Day:
    """When a clock really acts on a date, in ms of wall time since that date's midnight."""

    day: date
    begins: tuple[int, ...]
    ends: tuple[int, ...]


def fixed_times(
    program: Program, clock: Clock, by: SlotLength, year: int, resolution: int = MINUTE
) -> SunFix:
    """A clock's moments as fixed local times, month by month or by stretches of seven days.

    Stretches are counted from 1 January, so they are the same dates in every year; the last one of
    a year is short, and 29 February goes with the 28th. Only days of the clock's season count;
    weekdays and holidays differ from year to year and are left to the board. Times are multiples
    of `resolution` ms, and of whole minutes where it is finer. The fixed time of a slot is the
    multiple nearest to the middle between its earliest and latest real time, which makes the
    largest error smallest.
    Times of day that the clock gives itself stay as they are.

    A finding, and no slots, where a slot has no sun event at all; where a beginning would fall on
    another day than the clock's; or where a window ends the same day on some days of a slot and the
    next day on others, so that a time between them would be right on none.
    """
    fix = SunFix(clock.name, by, year)
    if program.site.latitude is None or program.site.longitude is None:
        return _refused(fix, clock, "the site has no latitude and longitude", "add them to site")
    step = MINUTE if MINUTE % resolution == 0 else resolution
    slots: list[FixedSlot] = []
    without: list[date] = []
    for first, last, days in _runs(clock, by, year):
        found = [_on_day(program, clock, day) for day in days]
        whole = [each for each in found if each.begins and (clock.end is None or each.ends)]
        without += [each.day for each in found if each not in whole]
        if not whole:
            what = f"there is no sunrise or sunset for it from {_day_text(first, last)}"
            return replace(
                _refused(fix, clock, what, "leave these days out of the clock with between"),
                without=_spans(without),
            )
        slot = _slot(clock, first, last, whole, step)
        if slot is None:
            what = f"from {_day_text(first, last)} no fixed time is near on all days"
            return _refused(fix, clock, what, "use a smaller offset, or a clock of fixed times")
        slots.append(slot)
    worst = max((slot.error for slot in slots), default=0)
    return replace(fix, slots=tuple(slots), error=worst, without=_spans(without))


def _refused(fix: SunFix, clock: Clock, what: str, way_out: str) -> SunFix:
    finding = Finding(
        "board-sun",
        f"'{clock.name}' cannot be turned into fixed times: {what}",
        clock.name_span,
        "the board would not know when to act",
        way_out,
    )
    return replace(fix, findings=(finding,))


# --- slots ------------------------------------------------------------------------------------


def _runs(
    clock: Clock, by: SlotLength, year: int
) -> Iterator[tuple[MonthDay, MonthDay, list[date]]]:
    """Unbroken runs of the season's days that lie in one slot, with their dates in the year.

    A run may have one date fewer than days: 29 February belongs to a slot in every year, since the
    board keeps the slot for years to come.
    """
    run: list[MonthDay] = []
    key: tuple[int, ...] = ()
    for month_day in (*_month_days(), None):
        here = () if month_day is None else _key(clock, by, month_day)
        if run and here != key:
            yield run[0], run[-1], _dates(run, year)
            run = []
        key = here
        if month_day is not None and here:
            run.append(month_day)


def _month_days() -> Iterator[MonthDay]:
    day = date(2000, 1, 1)  # a leap year
    while day.year == 2000:
        yield day.month, day.day
        day += timedelta(1)


def _key(clock: Clock, by: SlotLength, month_day: MonthDay) -> tuple[int, ...]:
    """Which slot a day is in; empty outside the season."""
    season = clock.days.season
    day = date(2000, *month_day)
    if season is not None and not in_span(day, *season):
        return ()
    if by == "month":
        return (month_day[0],)
    # 29 February shares the stretch of the 28th, so that dates keep their stretch in every year
    same = (2, 28) if month_day == _LEAP else month_day
    return ((date(2001, *same) - date(2001, 1, 1)).days // 7,)


def _dates(run: list[MonthDay], year: int) -> list[date]:
    leap = year % 4 == 0 and (year % 100 != 0 or year % 400 == 0)
    days = [date(year, *month_day) for month_day in run if leap or month_day != _LEAP]
    return days or [date(year, 2, 28)]  # a season of 29 February alone


def _slot(
    clock: Clock, first: MonthDay, last: MonthDay, days: list[_Day], step: int
) -> FixedSlot | None:
    """The slot of some days; None if no fixed time could stand for all of them."""
    begin = _fixed(clock.begin, [t for each in days for t in each.begins], step)
    if begin is None or not 0 <= begin[0] < DAY:
        return None
    if clock.end is None:
        return FixedSlot(first, last, begin[0], None, begin[1])
    end = _fixed(clock.end, [t for each in days for t in each.ends], step)
    # the end must be the first moment of its name after the begin
    if end is None or not begin[0] < end[0] < begin[0] + DAY:
        return None
    return FixedSlot(first, last, begin[0], end[0], max(begin[1], end[1]))


def _fixed(moment: Moment, times: list[int], step: int) -> tuple[int, int] | None:
    """The time that stands for all of these, and its largest error; None if they lie half a day
    or more apart, since the one between them would be right on no day."""
    if isinstance(moment, TimeOfDay):
        # the board makes the same of a time that a change of the clocks skips
        overnight = {time >= DAY for time in times}
        return (moment.ms + DAY * overnight.pop(), 0) if len(overnight) == 1 else None
    return None if max(times) - min(times) >= DAY // 2 else _middle(times, step)


def _middle(times: list[int], step: int) -> tuple[int, int]:
    """The multiple of `step` whose largest distance from any of the times is least, and that
    distance. Of two that are equally good the earlier one."""
    low, high = min(times), max(times)
    below = (low + high) // (2 * step) * step
    distances = [(max(high - t, t - low), t) for t in (below, below + step)]
    error, best = min(distances)
    return best, error


# --- days -------------------------------------------------------------------------------------


def _on_day(program: Program, clock: Clock, day: date) -> _Day:
    """The moments of a clock on a date; an end is the first one at or after its beginning."""
    zone = load_zone(program.site.zone) or utc()
    begins, ends = [], []
    for begin in _moments(program, zone, clock.begin, day):
        begins.append(_wall(zone, begin, day))
        if clock.end is None:
            continue
        later = (
            end
            for date_of_end in (day, day + timedelta(1))
            for end in _moments(program, zone, clock.end, date_of_end)
            if end >= begin
        )
        end = next(later, None)
        ends += [] if end is None else [_wall(zone, end, day)]
    return _Day(day, tuple(begins), tuple(ends))


def _moments(program: Program, zone: Zone, moment: Moment, day: date) -> Iterator[int]:
    """The instants at which a moment comes on a date."""
    match moment:
        case TimeOfDay(ms):
            yield zone.instant(day, ms)
        case SunTime(event, offset):
            latitude, longitude = program.site.latitude, program.site.longitude
            if latitude is not None and longitude is not None:
                for instant in sun_events(latitude, longitude, zone, day).of(event):
                    yield instant + offset


def _wall(zone: Zone, instant: int, day: date) -> int:
    """What the wall clock shows, as ms since midnight of `day`: a day later counts 24 h more."""
    local, ms = zone.local(instant)
    return (local - day).days * DAY + ms


def _spans(days: list[date]) -> tuple[tuple[date, date], ...]:
    """Dates in order as spans."""
    spans: list[tuple[date, date]] = []
    for day in days:
        if spans and spans[-1][1] + timedelta(1) == day:
            spans[-1] = (spans[-1][0], day)
        else:
            spans.append((day, day))
    return tuple(spans)


def _day_text(first: MonthDay, last: MonthDay) -> str:
    """A stretch of days as the language writes them."""
    return f"{first[0]:02}-{first[1]:02} to {last[0]:02}-{last[1]:02}"
