"""What the calendar says of a program's clocks: days without a sun, holiday lists that are
missing."""

from __future__ import annotations

from collections.abc import Iterator

from rungs.findings import Finding
from rungs.program.nodes import Clock, Program, SunTime
from rungs.scan.calendar import build_calendar, polar_days

YEAR = 2026  # the sun's year hardly differs from one to the next
POLAR_CIRCLE = 65.0  # degrees; nearer to the equator the sun rises every day

_STATE = {"up": "does not set", "down": "does not rise"}


def almanac_findings(program: Program) -> tuple[Finding, ...]:
    """Findings about clocks that need the calendar; nothing is computed for programs without."""
    return (*_calendars(program), *_polar(program))


def _goes_by_sun(clock: Clock) -> bool:
    return isinstance(clock.begin, SunTime) or isinstance(clock.end, SunTime)


def _calendars(program: Program) -> Iterator[Finding]:
    if program.site.holidays is None or not any(c.days.except_holidays for c in program.clocks):
        return
    for problem in build_calendar(program).problems:
        yield Finding(
            "bad-calendar",
            problem,
            program.site.span,
            "clocks with 'except holidays' would run on holidays",
            "correct the code, install the extra, or list the days with holiday statements",
        )


def _polar(program: Program) -> Iterator[Finding]:
    latitude = program.site.latitude
    if latitude is None or abs(latitude) < POLAR_CIRCLE:
        return
    clock = next((c for c in program.clocks if _goes_by_sun(c)), None)
    if clock is None:
        return
    spans = [
        f"{_STATE[state]} from {first:%d %b} to {last:%d %b}"
        for first, last, state in polar_days(program.site, YEAR)
    ]
    if spans:
        yield Finding(
            "polar-days",
            "at this site the sun " + " and ".join(spans),
            clock.span,
            "while the sun is up all day a window from sunset to sunrise is empty; "
            "while it is down all day the window is closed throughout",
            "check that this is what the panel should do on such days",
        )
