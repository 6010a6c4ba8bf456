"""The week of a program, put together.

The date is an argument: what a panel does in a week must not hang on the day on which somebody
asks, and only the command line knows what day it is.
"""

from __future__ import annotations

from datetime import date, timedelta
from typing import Final

from rungs.program.nodes import Program
from rungs.program.times import clock_words
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.ready import Fights, fights
from rungs.scan.calendar import build_calendar
from rungs.week.data import Row, Week, WeekDay, year_after
from rungs.week.decided import Outputs
from rungs.week.odd import Year, changes, odd_days, sun_ranges
from rungs.week.overlaps import gaps, overlaps
from rungs.week.spans import clock_spans

FIGHT_SECONDS: Final = 20.0


def monday(day: date) -> date:
    """The Monday of the week of a date (ISO 8601)."""
    return day - timedelta(day.weekday())


def week(
    program: Program, first: date, budget: Budget | None = None, fought: Fights | None = None
) -> Week:
    """The seven dates from `first` on, and what is odd in the twelve months from then.

    `budget` bounds the search for rungs that pull both ways; 20 s if None. `fought` is what such a
    search has found before. Years 1970 to 2199 are
    meant, as everywhere; no date raises there.
    """
    calendar = build_calendar(program)
    zone = calendar.zone
    days = tuple(
        WeekDay(day, *zone.day_bounds(day), calendar.holiday(day) or "")
        for day in (first + timedelta(n) for n in range(7))
    )
    low, high, until = days[0].begin, days[-1].end, year_after(first)
    rows = [
        Row(
            clock.name,
            "clock",
            clock_words(clock),
            clock.end is None,
            clock_spans(calendar, clock, low, high),
            clock.label,
        )
        for clock in program.clocks
    ]
    looked = list(Outputs(program, calendar, low, high).look())
    found = [row for _, row in looked if row is not None]
    rows += [row for row in found if row.kind == "decided"]
    rows += [row for row in found if row.kind == "at rest"]
    lasting = {
        clock.name: clock_spans(calendar, clock, low, zone.day_bounds(until)[0])
        for clock in program.clocks
        if clock.end is not None
    }
    if fought is None:
        fought = _fought(program, budget or Budget(FIGHT_SECONDS))
    year = Year(program, calendar, first, until)
    return Week(
        program.title,
        program.site,
        zone,
        days,
        until,
        tuple(rows),
        tuple(decision for decision, _ in looked),
        overlaps(program, zone, lasting, low, high),
        gaps(program, zone, lasting, low, high),
        fought.found,
        changes(program, calendar, low) if program.clocks else (),
        odd_days(year),
        sun_ranges(year),
        calendar.problems,
        "; ".join(fought.unknown),
    )


def _fought(program: Program, budget: Budget) -> Fights:
    """Every device that one rung latches while another unlatches it, as the proof finds them."""
    if not program.clocks:
        return Fights(())
    try:
        return fights(program, budget)
    except OutOfBudget as stop:
        return Fights((), (str(stop),))
