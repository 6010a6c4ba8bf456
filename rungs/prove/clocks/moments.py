"""When a condition over the clock contacts holds, in words that a technician reads.

A list of dates and hours would be exact and unreadable. So spans that begin and end by the same
times, or by the same sun, are told as one, with the days on which they begin; what days they are is
told only if the days are exactly those, else they are counted.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import date, timedelta
from itertools import product
from typing import Final

from rungs.language.words import WEEKDAYS, clock_text
from rungs.program.nodes import Clock, SunTime
from rungs.program.times import weekdays_text
from rungs.prove.clocks.timeline import Timeline, Vector
from rungs.scan.daysoff import in_span
from rungs.scan.zone import DAY, HOUR, MINUTE, SECOND

MOST: Final = 6  # phrases

_MONTH: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
YEAR: Final = 365
_FAR: Final = 7  # a span of this many days is told by its dates

Condition = Callable[[dict[str, bool]], bool]


@dataclass(frozen=True, slots=True)
class _Mark:
    """An end of a span: a local date and time of day, and the sun event that it goes by."""

    day: date
    ms: int
    sun: str = ""

    @property
    def word(self) -> str:
        """What ends of one kind have in common."""
        return self.sun or _time(self.ms)


@dataclass(frozen=True, slots=True)
class _Span:
    begin: _Mark
    end: _Mark | None  # None for an event


def moments(line: Timeline, condition: Condition) -> tuple[str, ...]:
    """When `condition` holds of the contacts (by name), in local time: at most six phrases and how
    many more there are.

    Days are looked at for a year (four weeks where all weeks are alike) from the timeline's first
    date. Windows are told from the instant at which they hold up to the one at which they do not;
    events are told as points, and that a window opens for the scan of an event is not told.
    """
    spans, held = _spans(line, condition)
    if not spans:
        return ("always" if held else "never",)
    groups: dict[tuple[str, str, int], list[_Span]] = {}
    for span in spans:
        end = span.end
        key = (
            (span.begin.word, "", 0)
            if end is None
            else (span.begin.word, end.word, (end.day - span.begin.day).days)
        )
        groups.setdefault(key, []).append(span)
    days = _days(line)
    found = [_phrase(line, group, days) for group in _merged(groups, days)]
    found.sort(key=lambda each: (-each[0], each[1]))
    phrases = tuple(text for _, text in found)
    if len(phrases) > MOST:
        return (*phrases[:MOST], f"and {len(phrases) - MOST} more")
    return phrases


def _days(line: Timeline) -> list[date]:
    """The days on which spans are told that begin: whole weeks, or a whole year."""
    count = line.days if line.days >= YEAR else line.days // 7 * 7 or line.days
    return [line.first + timedelta(n) for n in range(min(count, YEAR))]


# --- spans --------------------------------------------------------------------------------------


def _spans(line: Timeline, condition: Condition) -> tuple[list[_Span], bool]:
    """The spans that begin on the days looked at, and whether the condition holds at the end."""

    def holds(vector: Vector) -> bool:
        return condition(dict(zip(line.names, vector, strict=True)))

    days = _days(line)
    first, last = days[0], days[-1]
    found: list[_Span] = []
    begun: _Mark | None = None
    state = known = False
    before: Vector | None = None
    for segment in line.stretches[0].segments:
        now = holds(segment.vector)
        day, ms = line.zone.local(segment.start)
        if segment.instant:
            still = tuple(
                bit and clock.end is not None
                for bit, clock in zip(segment.vector, line.clocks, strict=True)
            )
            if now and not holds(still) and first <= day <= last:
                found.append(_Span(_Mark(day, ms, _event_sun(line, segment.vector)), None))
            continue
        if not known or now != state:
            mark = _Mark(day, ms, _edge_sun(line, before, segment.vector))
            if now:
                begun = mark if known else None
            elif begun is not None and first <= begun.day <= last:
                found.append(_Span(begun, mark))
                begun = None
        state, known, before = now, True, segment.vector
    return found, state


def _edge_sun(line: Timeline, before: Vector | None, after: Vector) -> str:
    """The sun event by which the contacts moved, if there is one and no other clock moved."""
    words = set()
    for clock, old, new in zip(line.clocks, before or after, after, strict=True):
        if old != new:
            words.add(_sun(clock, new))
    return words.pop() if len(words) == 1 else ""


def _event_sun(line: Timeline, vector: Vector) -> str:
    events = zip(line.clocks, vector, strict=True)
    words = {_sun(clock, True) for clock, bit in events if bit and clock.end is None}
    return words.pop() if len(words) == 1 else ""


def _sun(clock: Clock, closed: bool) -> str:
    moment = clock.begin if closed or clock.end is None else clock.end
    return _sun_words(moment) if isinstance(moment, SunTime) else ""


def _sun_words(moment: SunTime) -> str:
    """`sunset`, or `20 min before sunset`."""
    if not moment.offset:
        return moment.event
    size = abs(moment.offset)
    parts = [
        f"{size // unit % most} {word}"
        for unit, most, word in (
            (HOUR, 1 << 30, "h"),
            (MINUTE, 60, "min"),
            (SECOND, 60, "s"),
            (1, 1000, "ms"),
        )
        if size // unit % most
    ]
    return f"{' '.join(parts)} {'before' if moment.offset < 0 else 'after'} {moment.event}"


def _merged(
    groups: dict[tuple[str, str, int], list[_Span]], days: list[date]
) -> Iterable[list[_Span]]:
    """Groups whose spans only now and then end on another date, because the sun or the clocks'
    change carries them past midnight, made one with those that have the same words."""
    joined: dict[tuple[str, str, object], list[_Span]] = {}
    for (begin, end, nights), spans in groups.items():
        sun = any(s.begin.sun or (s.end is not None and s.end.sun) for s in spans)
        near = nights <= 1 and sun and len(days) > 1
        joined.setdefault((begin, end, "near" if near else nights), []).extend(spans)
    return joined.values()


# --- words --------------------------------------------------------------------------------------


def _phrase(line: Timeline, spans: list[_Span], days: list[date]) -> tuple[int, str]:
    """How many days a group of spans begins on, and the phrase for it."""
    begins = {span.begin.day for span in spans}
    lone = _lone(spans)
    if lone:
        return len(begins), lone
    begin = _ends([span.begin for span in spans])
    finishes = [span.end for span in spans if span.end is not None]
    which, when = _which(line, begins, days)
    if not finishes:
        return len(begins), f"{which} at {begin}{when}"
    end = _ends(finishes)
    nights = {(span.end.day - span.begin.day).days for span in spans if span.end is not None}
    sun = any(span.begin.sun for span in spans) or any(mark.sun for mark in finishes)
    if max(nights) > 1 or (nights == {1} and finishes[0].ms >= spans[0].begin.ms and not sun):
        return len(begins), _over_days(which, begin, end, max(nights), begins, when)
    times = f"between {begin} and {end}" if sun else f"{begin} to {end}"
    return len(begins), f"{which} {times}{when}"


def _lone(spans: list[_Span]) -> str:
    """The phrase for a single long span, told by its dates."""
    [span, *others] = spans
    if others or span.end is None or (span.end.day - span.begin.day).days < _FAR:
        return ""
    begin, end = (
        f"{_date(mark.day)} {clock_text(mark.ms) if mark.sun else _time(mark.ms)}"
        for mark in (span.begin, span.end)
    )
    return f"from {begin} to {end}"


def _over_days(which: str, begin: str, end: str, nights: int, begins: set[date], when: str) -> str:
    weekdays = {day.weekday() for day in begins}
    if len(weekdays) == 1:
        last = WEEKDAYS[(weekdays.pop() + nights) % 7]
        return f"{which} {begin} to {last} {end}{when}"
    later = "the next day" if nights == 1 else f"{nights} days later"
    return f"{which} {begin} to {end} {later}{when}"


def _ends(marks: list[_Mark]) -> str:
    """A time of day, or the sun event with the earliest and the latest time it comes at."""
    if not marks[0].sun:
        return _time(marks[0].ms)
    times = [mark.ms for mark in marks]
    early, late = _range(times)
    return f"{marks[0].sun} ({early})" if early == late else f"{marks[0].sun} ({early} to {late})"


def _range(times: list[int]) -> tuple[str, str]:
    """The shortest stretch of the day that holds these times; it may run over midnight."""
    ordered = sorted(set(times))
    gaps = [
        ((after - before) % DAY or DAY, after, before)
        for before, after in zip(ordered, [*ordered[1:], ordered[0]], strict=True)
    ]
    _, first, last = max(gaps)
    return clock_text(first), clock_text(last)


def _which(line: Timeline, begins: set[date], days: list[date]) -> tuple[str, str]:
    """What days these are, as (`Mon-Fri except holidays`, `, from 1 May to 30 Sep`)."""
    weekdays = {day.weekday() for day in begins}
    possible = [day for day in days if day.weekday() in weekdays]
    holiday = line.calendar.holiday
    seasons = [None, *dict.fromkeys(c.days.season for c in line.clocks if c.days.season)]
    for season, off in product(seasons, (False, True)):
        wanted = {
            day
            for day in possible
            if (season is None or in_span(day, *season)) and not (off and holiday(day))
        }
        if wanted == begins:
            when = ""
            if season is not None:
                first, last = (f"{day} {_MONTH[month - 1]}" for month, day in season)
                when = f", from {first} to {last}"
            return _weekdays(weekdays) + (" except holidays" if off else ""), when
    if len(begins) == 1:
        return f"on {_date(next(iter(begins)))}", ""
    missing = sorted(set(possible) - begins)
    if len(missing) <= 3 and len(begins) > 5 * len(missing):
        return _weekdays(weekdays) + f" except {', '.join(map(_date, missing))}", ""
    runs = _runs(begins, possible)
    if len(runs) <= 2 and len(runs) * 3 <= len(begins):
        when = " and ".join(f"from {_date(a)} to {_date(b)}" for a, b in runs)
        return _weekdays(weekdays), f", {when}"
    return f"on {len(begins)} days from {_date(min(begins))} to {_date(max(begins))}", ""


def _runs(begins: set[date], possible: list[date]) -> list[tuple[date, date]]:
    """Stretches of the possible days without a gap; one over the turn of the year is one."""
    runs: list[tuple[date, date]] = []
    open_run = False
    for day in possible:
        if day in begins:
            runs[-1:] = [(runs[-1][0], day)] if open_run else [*runs[-1:], (day, day)]
        open_run = day in begins
    year = len(possible) > 1 and (possible[-1] - possible[0]).days > 357
    if len(runs) > 1 and year and runs[0][0] == possible[0] and runs[-1][1] == possible[-1]:
        runs = [(runs[-1][0], runs[0][1]), *runs[1:-1]]
    return runs


def _weekdays(weekdays: set[int]) -> str:
    return "every day" if len(weekdays) == 7 else weekdays_text(weekdays)


def _date(day: date) -> str:
    return f"{day.day} {_MONTH[day.month - 1]}"


def _time(ms: int) -> str:
    """`22:30`, with seconds only where there are any."""
    return clock_text(ms, seconds=bool(ms // SECOND % 60))
