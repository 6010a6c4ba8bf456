"""What a program's clock contacts do, as a sequence of segments in real time."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final

from rungs.program.nodes import Clock, Program
from rungs.prove.clocks.horizon import FIRST, YEAR_DAYS, goes_by_sun, horizon
from rungs.scan.calendar import HORIZON, Calendar, build_calendar
from rungs.scan.zone import DAY, Zone

Vector = tuple[bool, ...]

# how far a contact that stands still is followed to find when it moves: past two leap days
_REACH: Final = (2, 16, 128, 1024, 3000)


@dataclass(frozen=True, slots=True)
class Segment:
    """The contacts from `start` (ms UTC) until the next segment starts.

    An `instant` is an event: it has no length, its vector has the bits of the events at `start` on
    top of the windows' bits, and the segment after it starts at the same time.
    """

    start: int
    vector: Vector
    instant: bool = False


@dataclass(frozen=True, slots=True)
class Stretch:
    """The contacts from `begin` up to `end`, ms UTC.

    It begins with a change if it is `whole`; if not, none was found for years before it. If it is
    `endless`, none was found for years after its last segment. `earlier` has for each event clock
    the last event before the beginning, as (instant, place in the vector).
    """

    begin: int
    end: int
    whole: bool
    endless: bool
    segments: tuple[Segment, ...]
    earlier: tuple[tuple[int, int], ...]


@dataclass(frozen=True, slots=True, eq=False)
class Timeline:
    """What the clocks of `names` do, in stretches of time that carry all there is to be seen.

    The first stretch is the plain one; the others lie in other years, where days off, seasons and
    changes of the clocks fall together in ways that the first does not show. `first` and `days` are
    the dates of the first stretch before it was made to begin and end with a change.
    """

    names: tuple[str, ...]
    clocks: tuple[Clock, ...]
    calendar: Calendar
    first: date
    days: int
    stretches: tuple[Stretch, ...]

    @property
    def zone(self) -> Zone:
        """The zone of the site."""
        return self.calendar.zone

    @property
    def by_sun(self) -> bool:
        """Whether a clock goes by the sun, whose times are then those of the stretches' years."""
        return any(map(goes_by_sun, self.clocks))


def timeline(
    program: Program, names: tuple[str, ...], first: date | None = None, days: int | None = None
) -> Timeline:
    """What the clocks of `names` do on `days` dates from `first` on.

    Left out, the dates are those of `horizon`. Raises KeyError for a name that is not a clock's.
    """
    by_name = {clock.name: clock for clock in program.clocks}
    clocks = tuple(by_name[name] for name in names)
    calendar = build_calendar(program)
    spans: tuple[tuple[date, int], ...] = ((first or FIRST, days or YEAR_DAYS),)
    if first is None and days is None:
        spans = horizon(clocks, calendar)
    zone = calendar.zone
    return Timeline(
        names,
        clocks,
        calendar,
        *spans[0],
        tuple(
            _stretch(calendar, clocks, zone.instant(day, 0), zone.instant(day, count * DAY))
            for day, count in spans
        ),
    )


def _stretch(calendar: Calendar, clocks: tuple[Clock, ...], low: int, high: int) -> Stretch:
    """The stretch round two instants, drawn out so that it begins and ends with a change."""
    before = _change_before(calendar, clocks, low)
    begin = low if before is None else before
    # two changes on, so that it is known what follows the segment at the end
    last = _change_after(calendar, clocks, high)
    after = None if last is None else _change_after(calendar, clocks, last)
    end = after or ((last or high) + DAY)
    changes: dict[int, tuple[list[int], list[int]]] = {}
    for place, clock in enumerate(clocks):
        kind = 0 if clock.end is not None else 1
        for at in _changes(calendar, clock, begin - 1, end - 1):
            changes.setdefault(at, ([], []))[kind].append(place)
    now = [calendar.is_closed(clock, begin) for clock in clocks]
    segments = []
    if begin not in changes:
        segments.append(Segment(begin, tuple(now)))
    for at, (edges, events) in sorted(changes.items()):
        for place in edges if at > begin else ():
            now[place] = not now[place]
        if events:
            vector = tuple(bit or place in events for place, bit in enumerate(now))
            segments.append(Segment(at, vector, instant=True))
        segments.append(Segment(at, tuple(now)))
    earlier = tuple(
        (at, place)
        for place, clock in enumerate(clocks)
        if clock.end is None
        for at in [
            calendar.occurrence_between(clock, begin - max(clock.catch_up, DAY) - 1, begin - 1)
        ]
        if at is not None
    )
    return Stretch(begin, end, before is not None, after is None, tuple(segments), earlier)


def _changes(calendar: Calendar, clock: Clock, low: int, high: int) -> Iterator[int]:
    """The instants t with low < t <= high at which a clock has an edge or an event."""
    following = calendar.occurrence_after if clock.end is None else calendar.next_edge
    now = low
    while now < high:
        at = following(clock, now)
        if at is not None and at > high:
            return
        if at is not None:
            yield at
        now = now + HORIZON if at is None else at


def _change_before(calendar: Calendar, clocks: tuple[Clock, ...], at: int) -> int | None:
    """The last change at or before an instant, as far as is looked."""
    for days in _REACH:
        found = [t for c in clocks for t in _changes(calendar, c, at - days * DAY, at)]
        if found:
            return max(found)
    return None


def _change_after(calendar: Calendar, clocks: tuple[Clock, ...], at: int) -> int | None:
    """The first change after an instant, as far as is looked."""
    far = at + _REACH[-1] * DAY
    found = [next(_changes(calendar, clock, at, far), None) for clock in clocks]
    return min((t for t in found if t is not None), default=None)
