"""Closed times of clocks, and how they lie to one another.

They are read off the calendar that the engines ask, and nothing is worked out a second time: what
is drawn is what a run would do.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, timedelta

from rungs.program.nodes import EVERY_DAY, Clock, Days, SunTime
from rungs.scan.calendar import HORIZON, Calendar
from rungs.scan.zone import DAY
from rungs.week.data import Span


def clock_spans(calendar: Calendar, clock: Clock, low: int, high: int) -> tuple[Span, ...]:
    """The closures of a window clock, or the events of an event clock, from `low` up to `high`.

    Windows that overlap or touch are one closure, as the contact is.
    """
    found = []
    if clock.end is None:
        now = low - 1
        while (event := _following(calendar, clock, now, high)) is not None:
            found.append(Span(event, event))
            now = event
        return tuple(found)
    begin = low if calendar.is_closed(clock, low) else None
    before = begin is not None and calendar.is_closed(clock, low - 1)
    now = low
    while (edge := _following(calendar, clock, now, high)) is not None:
        if begin is None:
            begin = edge
        else:
            found.append(Span(begin, edge, before))
            begin, before = None, False
        now = edge
    if begin is not None:
        found.append(Span(begin, high, before, calendar.is_closed(clock, high)))
    return tuple(found)


def _following(calendar: Calendar, clock: Clock, now: int, high: int) -> int | None:
    """The next edge or event before `high`, however far ahead that is."""
    ask = calendar.occurrence_after if clock.end is None else calendar.next_edge
    while now < high:
        at = ask(clock, now)
        if at is not None:
            return at if at < high else None
        now += HORIZON
    return None


class OneDay:
    """The windows that a clock starts on single dates, each by itself, whether listed or not.

    The calendar makes one closure of windows that touch; so it is asked for a clock of each weekday
    alone, since no window is as long as a week. Events are windows of no length. The dates are
    those of which a window can begin from the instant `low` up to `high`.
    """

    def __init__(self, calendar: Calendar, low: int, high: int) -> None:
        self._zone = calendar.zone
        # of its own, for it keeps what it finds under the names of the clocks
        self._calendar = Calendar(calendar.site, (), ())
        self._low, self._high = low - 4 * DAY, high + 4 * DAY
        self._found: dict[str, dict[date, list[Span]]] = {}

    def windows(self, clock: Clock, day: date) -> tuple[Span, ...]:
        """The windows that would start on a date if it is listed, in order."""
        found = self._found.get(clock.name)
        if found is None:
            found = self._found[clock.name] = self._look(clock)
        return tuple(found.get(day, ()))

    def _look(self, clock: Clock) -> dict[date, list[Span]]:
        offset = clock.begin.offset if isinstance(clock.begin, SunTime) else 0
        found: dict[date, list[Span]] = {}
        for weekday in EVERY_DAY:
            alone = replace(clock, days=Days((weekday,)))
            for span in clock_spans(self._calendar, alone, self._low, self._high):
                if span.before or span.after:
                    continue  # cut off, and so of a date that nobody asks for
                day = self._zone.local(span.begin - offset)[0]
                # a window may begin a little outside its date; the next such weekday is far
                day += timedelta((weekday - day.weekday() + 3) % 7 - 3)
                found.setdefault(day, []).append(span)
        return found


def union(many: Iterable[Sequence[Span]]) -> tuple[Span, ...]:
    """The times in which at least one of several is closed."""
    found: list[Span] = []
    for span in sorted((s for spans in many for s in spans), key=lambda s: (s.begin, s.end)):
        if found and span.begin <= found[-1].end:
            last = found[-1]
            if span.end > last.end:
                found[-1] = Span(last.begin, span.end, last.before, span.after)
        else:
            found.append(span)
    return tuple(found)


def both(one: Sequence[Span], other: Sequence[Span]) -> tuple[Span, ...]:
    """The times in which two are closed at once; both in order of time."""
    found = []
    i = j = 0
    while i < len(one) and j < len(other):
        a, b = one[i], other[j]
        begin, end = max(a.begin, b.begin), min(a.end, b.end)
        if begin < end:
            before = all(s.before for s in (a, b) if s.begin == begin)
            after = all(s.after for s in (a, b) if s.end == end)
            found.append(Span(begin, end, before, after))
        if a.end <= b.end:
            i += 1
        else:
            j += 1
    return tuple(found)


def clipped(spans: Iterable[Span], low: int, high: int) -> tuple[Span, ...]:
    """The parts of spans that lie between two instants."""
    found = []
    for span in spans:
        begin, end = max(span.begin, low), min(span.end, high)
        if begin < end:
            found.append(
                Span(
                    begin,
                    end,
                    span.before if span.begin >= low else True,
                    span.after if span.end <= high else True,
                )
            )
    return tuple(found)
