"""The clock slots of a board: which hold a program's clocks, and what its clock has to know.

A window that a board can hold only as two moments, and a sun clock that it can hold only as fixed
times, are turned into slots here and nowhere else, so that the table and its duties cannot differ.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta

from rungs.language.words import DURATION_UNITS, WEEKDAYS
from rungs.language.words import duration_text as _time
from rungs.program.nodes import EVERY_DAY, Clock, Days, Moment, MonthDay, SunTime, TimeOfDay
from rungs.program.times import moment_text, season_text
from rungs.table.board import BoardClock
from rungs.table.needs import ClockSlot, Work, listed
from rungs.table.sunfix import FixedSlot, SlotLength, SunFix, fixed_times

# --- clocks -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A clock, or one fixed slot of a sun clock. `overnight` is None where the sun decides."""

    begin: Moment
    end: Moment | None
    days: Days
    overnight: bool | None


def clock_slots(work: Work) -> None:
    """Give each clock of the need its slots, with the findings and duties that come of it."""
    board = work.board.clock
    used = 0
    full: list[str] = []
    for name in work.need.clocks:
        clock = work.program.by_name[name]
        if not isinstance(clock, Clock):
            continue
        if board is None:
            _no(work, clock, "needs a clock and the board {} has none", "choose another board")
            continue
        slots = []
        for stretch in _stretches(work, clock, board):
            for slot in _slots(work, clock, board, stretch):
                used += 1
                slots.append(replace(slot, number=used))
        work.clocks[name] = tuple(slots)
        work.duties += [_slot_duty(clock, slot) for slot in slots]
        full += [name] if used > board.slots else []
    if board is not None and full:
        work.refuse(
            "board-clock",
            f"the clocks need {used} slots and the board {work.name} has {board.slots}",
            work.span(full[0]),
            f"{listed(full)} would not act",
            "take out clocks, use longer slots in place of the sun, or choose another board",
        )
    if work.clocks:
        _clock_duties(work)


def _no(work: Work, clock: Clock, what: str, fix: str, code: str = "board-clock") -> None:
    message = f"'{clock.name}' {what.format(work.name)}"
    work.refuse(code, message, clock.name_span, "it would act at another time, or never", fix)


def _goes_by_sun(clock: Clock) -> bool:
    return isinstance(clock.begin, SunTime) or isinstance(clock.end, SunTime)


def _stretches(work: Work, clock: Clock, board: BoardClock) -> list[_Stretch]:
    """What the slots of a clock hold; fixed times where the board does not know the sun."""
    if clock.begin == clock.end:
        _no(
            work,
            clock,
            "is a window of zero length, of which the board {} may make all day or nothing",
            "write two different times",
        )
        return []
    if not _goes_by_sun(clock) or board.sun:
        overnight = None
        if isinstance(clock.begin, TimeOfDay) and isinstance(clock.end, TimeOfDay):
            overnight = clock.end.ms < clock.begin.ms
        return [_Stretch(clock.begin, clock.end, clock.days, overnight)]
    if not board.seasons:
        what = "goes by the sun, which the board {} does not know, nor the parts of the year"
        _no(work, clock, what, "write fixed times, or choose another board", "board-sun")
        return []
    if work.sun_by is None:
        what = "goes by the sun, which the board {} does not know"
        _no(work, clock, what, _sun_way_out(work, clock, board), "board-sun")
        return []
    fix = fixed_times(work.program, clock, work.sun_by, work.year, board.resolution)
    work.findings += fix.findings
    if fix.slots:
        work.sun.append(fix)
        work.duties += _sun_duties(fix)
    return [_fixed_stretch(clock, slot) for slot in fix.slots]


def _fixed_stretch(clock: Clock, slot: FixedSlot) -> _Stretch:
    days = replace(clock.days, season=(slot.first, slot.last))
    end = None if slot.end is None else TimeOfDay(slot.end % DURATION_UNITS["d"])
    return _Stretch(TimeOfDay(slot.begin), end, days, slot.overnight)


def _sun_way_out(work: Work, clock: Clock, board: BoardClock) -> str:
    ways: list[str] = []
    lengths: tuple[SlotLength, ...] = ("month", "week")
    for by in lengths:
        fix = fixed_times(work.program, clock, by, work.year, board.resolution)
        if not fix.findings:
            ways.append(
                f"--sun-by {by} (fixed times in {len(fix.slots)} slots, at most "
                f"{fix.error_minutes} min off in {work.year})"
            )
    return " or ".join([*ways, "choose another board"])


def _slots(work: Work, clock: Clock, board: BoardClock, stretch: _Stretch) -> Iterator[ClockSlot]:
    """The board's slots of one stretch, not yet numbered."""
    _check_days(work, clock, board, stretch.days)
    for moment in (stretch.begin, stretch.end):
        if moment is not None:
            _check_moment(work, clock, board, moment)
    if clock.catch_up and not board.catch_up:
        _no(
            work,
            clock,
            "may fire late after a power cut, which the board {} cannot do",
            "leave 'catch up' out, or choose another board",
        )
    begin, end, days = stretch.begin, stretch.end, stretch.days
    if end is None:
        if not board.events:
            _no(
                work,
                clock,
                "is a single moment and the board {} has windows alone",
                "write a window, or choose another board",
            )
        yield ClockSlot(0, "event", begin, None, days, clock.catch_up)
    elif board.windows:
        yield ClockSlot(0, "window", begin, end, days)
    elif work.need.kind == "switching":
        # a switching table acts when a window begins and when it ends, and needs no more of it
        yield ClockSlot(0, "begin", begin, None, days)
        ending = _end_days(days, stretch.overnight)
        if ending is None:
            _no(
                work,
                clock,
                "ends on a day of which the board {}, without windows, cannot know "
                "whether it is the right one",
                "let it act on all days, or choose another board",
            )
        else:
            yield ClockSlot(0, "end", end, None, ending)
    else:
        _no(
            work,
            clock,
            "is a window and the board {} has single moments alone",
            "write two clocks with 'at' that latch and unlatch a relay, or choose another board",
        )


def _check_days(work: Work, clock: Clock, board: BoardClock, days: Days) -> None:
    has = []
    if days.weekdays != EVERY_DAY and not board.weekdays:
        has.append(("weekdays", "let it act daily"))
    if days.season is not None and not board.seasons:
        has.append(("parts of the year", "leave 'between' out"))
    if days.except_holidays and not board.holidays:
        has.append(("days off", "leave 'except holidays' out"))
    for what, fix in has:
        _no(
            work,
            clock,
            f"is kept to {what}, which the board {{}} does not know",
            f"{fix}, or choose another board",
        )


def _check_moment(work: Work, clock: Clock, board: BoardClock, moment: Moment) -> None:
    ms = moment.offset if isinstance(moment, SunTime) else moment.ms
    if ms % board.resolution:
        step = _time(board.resolution)
        what = f"has the time {moment_text(moment)}, and the board {{}} has steps of {step}"
        _no(work, clock, what, f"write a time in whole steps of {step}, or choose another board")


def _end_days(days: Days, overnight: bool | None) -> Days | None:
    """The days on which windows end that begin on `days`; None if no list of days says it."""
    if days == Days() or overnight is False:
        return days
    if overnight is None or days.except_holidays:
        return None
    season = days.season
    if season is not None:
        # the day after 28 February is not the same in every year
        if season[1] == (2, 28) or season[0] == (2, 29):
            return None
        season = (_next_day(season[0]), _next_day(season[1]))
    return Days(tuple(sorted((day + 1) % 7 for day in days.weekdays)), season)


def _next_day(day: MonthDay) -> MonthDay:
    after = date(2000, *day) + timedelta(1)  # a leap year, so 29 February is a day
    return after.month, after.day


# --- duties of the clock ----------------------------------------------------------------------


def _clock_duties(work: Work) -> None:
    site = work.program.site
    clocks = [clock for clock in work.program.clocks if work.clocks.get(clock.name)]
    work.duties.append(
        f"The board's clock keeps the local time of {site.zone}, summer time included where there "
        "is one. A time that the change of the clocks skips uses the offset before it; one that "
        "comes twice means the first. A window belongs to the day on which it begins."
    )
    if any(_goes_by_sun(clock) for clock in clocks if clock.name not in _fixed_names(work)):
        work.duties.append(
            f"The board works out sunrise and sunset for latitude {site.latitude}, longitude "
            f"{site.longitude}, with the sun's centre 50 arc minutes below the horizon."
        )
    if any(clock.days.except_holidays for clock in clocks):
        days = [holiday.name for holiday in work.program.holidays]
        days += [f"the public holidays of '{site.holidays}'"] if site.holidays else []
        listed = ", ".join(days) or "none, as the panel names none"
        work.duties.append(f"The board's list of days off holds: {listed}.")


def _fixed_names(work: Work) -> set[str]:
    return {fix.clock for fix in work.sun}


def _sun_duties(fix: SunFix) -> Iterator[str]:
    yield (
        f"Clock '{fix.clock}' has fixed times by {fix.by} in place of the sun, at most "
        f"{fix.error_minutes} min off in {fix.year}."
    )
    if fix.without:
        spans = ", ".join(f"{first} to {last}" for first, last in fix.without)
        yield (
            f"On these days there is no sunrise or sunset for '{fix.clock}', and its fixed times "
            f"act all the same: {spans}."
        )


def _slot_duty(clock: Clock, slot: ClockSlot) -> str:
    what = {
        "window": "is closed",
        "event": "closes for one scan",
        "begin": "begins",
        "end": "ends",
    }[slot.role]
    if slot.until is None:
        times = f"at {moment_text(slot.at)}"
    else:
        times = f"from {moment_text(slot.at)} to {moment_text(slot.until)}"
    late = f", up to {_time(slot.catch_up)} late after a power cut" if slot.catch_up else ""
    return f"Clock slot {slot.number}: '{clock.name}' {what} {times}{days_text(slot.days)}{late}."


def days_text(days: Days) -> str:
    """The days of a clock as the language writes them, with a space before; daily is nothing."""
    text = ""
    if days.weekdays != EVERY_DAY:
        text += " on " + ", ".join(WEEKDAYS[day] for day in days.weekdays)
    return text + season_text(days)
