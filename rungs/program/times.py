"""Times of clocks as they are written: moments of a day, weekdays, seasons."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from itertools import groupby

from rungs.language.words import WEEKDAYS, clock_text, duration_text
from rungs.program.nodes import EVERY_DAY, Clock, Days, Moment, TimeOfDay


def moment_text(moment: Moment) -> str:
    """A time of day with seconds only where there are any, or a sun event: `sunset -20min`."""
    if isinstance(moment, TimeOfDay):
        seconds = bool(moment.ms // 1_000 % 60)
        return clock_text(moment.ms, seconds, thousandths=bool(moment.ms % 1_000))
    if not moment.offset:
        return moment.event
    return f"{moment.event} {'-' if moment.offset < 0 else '+'}{duration_text(abs(moment.offset))}"


def weekdays_text(weekdays: Iterable[int]) -> str:
    """`Mon-Fri`, `Sat, Sun`, `Mon, Wed`; Monday is 0."""
    runs = groupby(enumerate(sorted(weekdays)), lambda pair: pair[1] - pair[0])
    return ", ".join(_run([day for _, day in run]) for _, run in runs)


def _run(days: Sequence[int]) -> str:
    """Days that follow each other; a pair is no range."""
    if len(days) > 2:
        return f"{WEEKDAYS[days[0]]}-{WEEKDAYS[days[-1]]}"
    return ", ".join(WEEKDAYS[day] for day in days)


def season_text(days: Days) -> str:
    """` between 05-01 and 09-30 except holidays`, or what of it there is."""
    text = ""
    if days.season is not None:
        first, last = (f"{month:02}-{day:02}" for month, day in days.season)
        text = f" between {first} and {last}"
    return text + (" except holidays" if days.except_holidays else "")


def days_text(days: Days) -> str:
    """` on Mon-Fri between 05-01 and 09-30 except holidays`; ` daily` where nothing is said."""
    daily = days.weekdays == EVERY_DAY
    return (" daily" if daily else f" on {weekdays_text(days.weekdays)}") + season_text(days)


def clock_words(clock: Clock) -> str:
    """When a clock is closed: `from sunset -20min to sunrise daily`, `at 06:30 on Mon-Fri`."""
    text = f"at {moment_text(clock.begin)}"
    if clock.end is not None:
        text = f"from {moment_text(clock.begin)} to {moment_text(clock.end)}"
    late = f" catch up {duration_text(clock.catch_up)}" if clock.catch_up else ""
    return text + days_text(clock.days) + late
