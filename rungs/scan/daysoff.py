"""Which days a clock acts on: weekdays, seasons and holidays.

Days are plain local dates here, because a window belongs to the day on which it starts whatever the
clocks did that night.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date
from typing import Final

from rungs.program.nodes import Days, Holiday, MonthDay

# ISO 3166-1 alpha-2, and ISO 3166-2 where there is a subdivision
_CODE: Final = re.compile(r"([A-Z]{2})(?:-([A-Z0-9]{1,3}))?")

Lookup = Callable[[date], str | None]


@dataclass(frozen=True, slots=True)
class Missing:
    """There is no calendar of public holidays, and why, in plain words."""

    reason: str


def public_holidays(code: str) -> Lookup | Missing:
    """The names of public holidays by date, for a country or subdivision code such as `DE-BY`.

    From the optional `holidays` package. Years that its calendar does not cover have no holidays.
    """
    matched = _CODE.fullmatch(code)
    if matched is None:
        return Missing(
            f'the holiday calendar \'{code}\' is not an ISO 3166 code such as "NO" or "DE-BY"'
        )
    try:
        # imported here because it is an optional extra, and slow to load
        import holidays
    except ImportError:
        return Missing(
            f"the holiday calendar '{code}' cannot be looked up: "
            "the optional package 'holidays' is not installed"
        )
    country, subdivision = matched.groups()
    try:
        calendar = holidays.country_holidays(country, subdiv=subdivision)
    except NotImplementedError:
        return Missing(f"the package 'holidays' has no calendar '{code}'")

    def name(day: date) -> str | None:
        found = calendar.get(day)
        return None if found is None else str(found)

    return name


def in_span(day: date, first: date | MonthDay, last: date | MonthDay) -> bool:
    """Whether a date lies in a span with both ends included.

    A yearly span compares months and days, and runs over the new year if it ends before it begins;
    so a span to 02-29 ends with February in every year.
    """
    if isinstance(first, date) and isinstance(last, date):
        return first <= day <= last
    here, begin, end = _month_day(day), _month_day(first), _month_day(last)
    return begin <= here <= end if begin <= end else here >= begin or here <= end


def _month_day(day: date | MonthDay) -> MonthDay:
    return (day.month, day.day) if isinstance(day, date) else day


def declared_holiday(holidays: Iterable[Holiday], day: date) -> str | None:
    """The name of the first of these holidays that holds a date."""
    return next((h.name for h in holidays if in_span(day, h.first, h.last)), None)


def is_listed(days: Days, day: date, holiday: Lookup) -> bool:
    """Whether a clock with these days acts on a date."""
    return (
        day.weekday() in days.weekdays
        and (days.season is None or in_span(day, *days.season))
        and not (days.except_holidays and holiday(day) is not None)
    )
