"""What the calendar lets a program's clock contacts do: as a sequence, as a graph, and as places.

All of it rests on one fact about the wall clock of a run, as long as nobody sets it: what a scan at
wall time w shows is a function of w. A scan that is not the first after power-up shows an event T
if T lies in (w - period, w], so an event acts as a window [T, T + period), in which every grid has
exactly one scan; events closer together than a period overlap, and a grid meets them together or
apart just as its phase has it. The first scan shows an event that is caught up if T lies in
[w - D, w], so there it acts as a window [T, T + D]. Everything below reads these two step
functions of time, and nothing asks the calendar scan by scan.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from datetime import date
from functools import cache, lru_cache
from itertools import pairwise
from typing import Final, Literal

from rungs.program.nodes import Clock, Days, Program, SunTime
from rungs.prove.zones import FAR
from rungs.scan.calendar import HORIZON, Calendar, build_calendar
from rungs.scan.daysoff import in_span, is_listed
from rungs.scan.wall import DEFAULT_DAY
from rungs.scan.zone import DAY, HOUR, MINUTE, Zone

Vector = tuple[bool, ...]
Between = tuple[int, int]  # two instants, both included

FIRST: Final = date(2026, 1, 1)  # fixed, so that a proof is the same on every day it is run
YEAR_DAYS: Final = 400
WEEKS_DAYS: Final = 29

# days of week and year fall together in the same way again after 28 years (until 2100)
_CYCLE: Final = 28
# days that are looked at together: a week, and a day before and after it
_GRAM: Final = 9
# how far a contact that stands still is followed to find when it moves: past two leap days
_REACH: Final = (2, 16, 128, 1024, 3000)
# a run of equal scans that may pass over more changes than this is taken as endless
_HOPS: Final = 64
# so often at most a place in the calendar passes over changes that no scan shows
_SPLITS: Final = 16


# --- the sequence -------------------------------------------------------------------------------


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
        return any(map(_goes_by_sun, self.clocks))


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


def _goes_by_sun(clock: Clock) -> bool:
    return isinstance(clock.begin, SunTime) or isinstance(clock.end, SunTime)


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


# --- which days ---------------------------------------------------------------------------------


def horizon(clocks: tuple[Clock, ...], calendar: Calendar) -> tuple[tuple[date, int], ...]:
    """Spans (first date, number of dates) that carry all that the clocks can do.

    Some weeks where every week is the same, else 400 days; and those days of other years whose
    pattern of listed days and changes of the clocks is not among these. Sun times are those of the
    days that are taken: from year to year they differ by up to a day's change.
    """
    kinds = tuple(dict.fromkeys(clock.days for clock in clocks))
    varied = any(days.season is not None or days.except_holidays for days in kinds)
    shifts = _shifts(calendar.zone, _CYCLE if varied else 3)
    if not varied and not shifts and not any(map(_goes_by_sun, clocks)):
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


# --- what scans show ----------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Pieces:
    """A step function of time: `vectors[i]` from `starts[i]` up to `starts[i + 1]`, or `end`."""

    starts: tuple[int, ...]
    vectors: tuple[Vector, ...]
    end: int

    def stop(self, place: int) -> int:
        """The instant at which a piece is over."""
        return self.starts[place + 1] if place + 1 < len(self.starts) else self.end

    def at(self, instant: int) -> int:
        """The place of the piece that holds an instant."""
        return max(bisect_right(self.starts, instant) - 1, 0)


def shown_later(line: Timeline, stretch: Stretch, period: int) -> Pieces:
    """What a scan that is not the first since power-up shows, by its wall time."""
    return _pieces(stretch, tuple(period if c.end is None else 0 for c in line.clocks))


def shown_first(line: Timeline, stretch: Stretch) -> Pieces:
    """What the first scan after power-up shows, by its wall time."""
    return _pieces(stretch, tuple(c.catch_up + 1 if c.catch_up else 0 for c in line.clocks))


def _pieces(stretch: Stretch, lengths: tuple[int, ...]) -> Pieces:
    """The contacts if each event at place p were a window of `lengths[p]` ms; 0 leaves it out."""
    windows = [segment for segment in stretch.segments if not segment.instant]
    events = list(stretch.earlier)
    base = windows[0].vector
    for before, segment in pairwise(stretch.segments):
        if before.instant:  # the segment after an event is the windows at the same instant
            gained = zip(before.vector, segment.vector, strict=True)
            events += [(before.start, p) for p, (one, two) in enumerate(gained) if one != two]
    # closed from `at` on, or open from `at` on, for each event bit
    moves: dict[int, dict[int, bool]] = {}
    until: dict[int, int] = {}
    for at, place in sorted(events):
        if not lengths[place]:
            continue
        if at <= until.get(place, at - 1):
            # the window before goes on: it does not open where it would have
            moves[until[place]].pop(place, None)
        else:
            moves.setdefault(at, {})[place] = True
        until[place] = at + lengths[place]
        moves.setdefault(until[place], {})[place] = False
    edges = {segment.start: segment.vector for segment in windows}
    closed: dict[int, bool] = {}
    starts: list[int] = []
    vectors: list[Vector] = []
    for at in sorted(edges.keys() | moves.keys()):
        closed.update(moves.get(at, {}))
        base = edges.get(at, base)
        if at >= stretch.end:
            break
        vector = tuple(bit or closed.get(place, False) for place, bit in enumerate(base))
        if at <= stretch.begin:
            starts, vectors = [stretch.begin], [vector]
        elif vector != vectors[-1]:
            starts.append(at)
            vectors.append(vector)
    return Pieces(tuple(starts), tuple(vectors), stretch.end)


def _followers(pieces: Pieces, place: int, period: int) -> Iterator[int]:
    """The pieces in which the scan after the last scan of a piece can be.

    Those in which an instant of the piece is, a period later: the next one, others too if all that
    is passed over is shorter than a period, but none that is over within a period.
    """
    start, stop = pieces.starts[place], pieces.stop(place)
    for other in range(place + 1, len(pieces.starts)):
        if pieces.starts[other] - stop >= period:
            return
        if pieces.stop(other) - start > period:
            yield other


# --- the graph ----------------------------------------------------------------------------------


Begin = Literal["change", "first", "second"]


@dataclass(frozen=True, slots=True)
class Node:
    """A vector that a run of equal scans shows, in one place of the calendar.

    `begin` says how the run begins: with a `change`; with the `first` scan after power-up; or with
    the `second`, in the midst of things, because the first showed an event that was caught up.
    `endless` says that the contacts may stay so for as long as anybody looked. `label`
    says when it begins, as `Fri 22:30`, and is empty if the graph does not tell.
    """

    vector: Vector
    begin: Begin
    endless: bool = False
    label: str = ""


@dataclass(frozen=True, slots=True)
class Edge:
    """From the first scan that shows `source` to the first that shows `target` (places among the
    nodes) it takes `least` to `most` periods, both included; `most` is FAR without a bound."""

    source: int
    target: int
    least: int
    most: int


@dataclass(frozen=True, slots=True)
class ClockGraph:
    """Every run of a real calendar from power-up is a path from one of `starts`.

    Equal scans are one node, so that no edge leads to a node with the same vector. Power may go in
    any scan, after which any of `starts` may follow. Edges stand in the order of their sources.
    """

    names: tuple[str, ...]
    period: int
    nodes: tuple[Node, ...]
    starts: tuple[int, ...]
    edges: tuple[Edge, ...]

    def leaving(self, node: int) -> tuple[Edge, ...]:
        """The edges that leave a node."""
        low = bisect_left(self.edges, node, key=lambda edge: edge.source)
        return self.edges[low : bisect_right(self.edges, node, key=lambda edge: edge.source)]


_Place = tuple[Vector, Begin, str]  # vector, begin, label


def clock_graph(
    line: Timeline, period: int, split: Literal["vector", "week"] = "vector"
) -> ClockGraph:
    """The graph of what the clocks can show, in scans of `period` ms on a grid of any phase.

    With split `vector` there is one node for a vector and a way of beginning; with `week` the
    nodes also tell the weekday, the minute unless the sun decides it, and which clocks with a
    season or days off list the day. The bounds of an edge hold over all its places in the calendar.
    """
    bounds: dict[tuple[_Place, _Place], tuple[int, int]] = {}
    places: dict[_Place, bool] = {}  # whether it is endless

    def join(source: _Place, target: _Place, least: int, most: int) -> None:
        low, high = bounds.get((source, target), (least, most))
        bounds[source, target] = min(low, least), max(high, most)

    labels = _Labels(line) if split == "week" else None
    for stretch in line.stretches:
        later, first = shown_later(line, stretch, period), shown_first(line, stretch)
        nodes = _places(later, "change", labels)
        starts = _places(first, "first", labels)
        for node in (*nodes, *starts):
            places.setdefault(node, False)
        for place, node in enumerate(nodes):
            begin = None if place == 0 and not stretch.whole else later.starts[place]
            for stop, target in _exits(later, place, period):
                span = FAR if begin is None or stop is None else stop - begin
                least = 1 if stop is None or begin is None else max(span // period, 1)
                join(node, nodes[target], least, min(-(-span // period), FAR) if stop else FAR)
        for place, node in enumerate(starts):
            reach = (first.starts[place] + period, first.stop(place) + period)
            if reach[0] >= later.end and not stretch.endless:
                continue  # what the second scan shows is not known there
            for other in range(later.at(reach[0]), len(nodes)):
                start = later.starts[other]
                if start >= reach[1]:
                    break
                inside = node
                begin = max(reach[0], start) - period
                if later.vectors[other] != node[0]:
                    if begin < start:  # the first scan of the piece, as after any change
                        join(node, nodes[other], 1, 1)
                    if min(reach[1], later.stop(other)) <= start + period:
                        continue
                    inside = (nodes[other][0], "second", nodes[other][2])
                    places.setdefault(inside, False)
                    join(node, inside, 1, 1)
                    begin = max(reach[0], start + period)
                if place == 0 and not stretch.whole:
                    begin = -FAR
                # the last instant at which the second scan can be in this piece
                latest = min(reach[1], later.stop(other)) - 1
                for stop, target in _exits(later, other, period):
                    most = FAR if stop is None else min(-(-(stop - begin) // period), FAR)
                    least = 1 if stop is None else max(-(-(stop - latest) // period), 1)
                    join(inside, nodes[target], least + (inside == node), most)
                places[inside] |= stretch.endless and other == len(nodes) - 1
        places[nodes[-1]] |= stretch.endless
    numbers = {place: number for number, place in enumerate(places)}
    edges = [Edge(numbers[a], numbers[b], least, most) for (a, b), (least, most) in bounds.items()]
    return ClockGraph(
        line.names,
        period,
        tuple(Node(*place[:2], endless, place[2]) for place, endless in places.items()),
        tuple(number for place, number in numbers.items() if place[1] == "first"),
        tuple(sorted(edges, key=lambda edge: (edge.source, edge.target))),
    )


def _exits(pieces: Pieces, place: int, period: int) -> Iterator[tuple[int | None, int]]:
    """Where a run of equal scans that is in a piece can end, and which piece the next scan is in.

    A change that is taken back within a period may show in no scan; then the run goes on. After
    many of those no end is told (None).
    """
    vector = pieces.vectors[place]
    for _ in range(_HOPS):
        stop = pieces.stop(place)
        same = None
        for other in _followers(pieces, place, period):
            if pieces.vectors[other] != vector:
                yield stop, other
            elif same is None:
                same = other
        if same is None:
            return
        place = same
    for other in range(place, len(pieces.starts)):
        if pieces.vectors[other] != vector:
            yield None, other


def _places(pieces: Pieces, begin: Begin, labels: _Labels | None) -> list[_Place]:
    return [
        (vector, begin, "" if labels is None else labels.of(pieces, place))
        for place, vector in enumerate(pieces.vectors)
    ]


class _Labels:
    """Says when in the week a piece begins, and on what kind of day."""

    def __init__(self, line: Timeline) -> None:
        self._line = line
        self._days: dict[date, str] = {}

    def of(self, pieces: Pieces, place: int) -> str:
        day, ms = self._line.zone.local(pieces.starts[place])
        label = self._days.get(day)
        if label is None:
            label = self._days[day] = self._day(day)
        if place and not self._by_sun(pieces.vectors[place - 1], pieces.vectors[place]):
            return f"{WEEKDAY[day.weekday()]} {clock_text(ms)}{label}"
        return f"{WEEKDAY[day.weekday()]}{label}"

    def _by_sun(self, before: Vector, after: Vector) -> bool:
        for clock, old, new in zip(self._line.clocks, before, after, strict=True):
            moment = clock.begin if new or clock.end is None else clock.end
            if old != new and isinstance(moment, SunTime):
                return True
        return False

    def _day(self, day: date) -> str:
        """The clocks that have a season or leave out days off, and list the day."""
        holiday = self._line.calendar.holiday
        varied = [c for c in self._line.clocks if c.days.season or c.days.except_holidays]
        listed = [clock.name for clock in varied if is_listed(clock.days, day, holiday)]
        return f" ({', '.join(listed) or 'none'})" if varied else ""


WEEKDAY: Final = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def clock_text(ms: int) -> str:
    """A time of day as `22:30`; parts of a minute are cut off."""
    return f"{ms // HOUR:02}:{ms // MINUTE % 60:02}"


# --- places -------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stay:
    """Where in the calendar scans show one vector: bounds on the first and the last of them.

    `show` is the place of the vector in the sequence. `most` is the most scans there may be; FAR if
    the bounds alone say it. Scans follow by whole periods, and the first scan of a stay comes one
    period after the last of the stay before it.
    """

    show: int
    first: Between
    last: Between
    most: int = FAR


@dataclass(frozen=True, slots=True)
class Placement:
    """A place of a sequence of vectors in the calendar: any scans on the grid that keep all bounds
    show it.

    There is a stay for each vector, in order; two in a row have the same `show` where a change that
    is too short for a scan is passed over in between.
    """

    stays: tuple[Stay, ...]


def placements(
    line: Timeline, shows: tuple[Vector, ...], period: int, first_scan: bool = True
) -> Iterator[Placement]:
    """All places in the timeline where scans of `period` ms show the vectors `shows` in this order.

    Equal vectors in a row are given once. With `first_scan` the first vector is that of the first
    scan after power-up, in which events show only as far as they are caught up; without, that scan
    came earlier. Left out are places in which changes that are shorter than a period, and that no
    scan shows, are passed over more than 16 times.

    Places that differ most in how long the contacts stay come first, and among those alike an
    ordinary date of the first stretch before a change of the clocks, a day off, or a date of
    another year.
    """
    if not shows:
        return
    special = _Special(line)
    found: list[tuple[tuple[bool, bool, int], Placement]] = []
    for number in range(len(line.stretches)):
        later, first = _functions(line, number, period)
        finder = _Finder(later, first, shows, period)
        for placement in finder.from_power_up() if first_scan else finder.within():
            begin, end = placement.stays[0].first[0], placement.stays[-1].last[0]
            odd = special.day(begin // DAY) or special.day(end // DAY)
            found.append(((number > 0, odd, begin), placement))
    found.sort(key=lambda each: each[0])
    yield from _spread([placement for _, placement in found])


@lru_cache(maxsize=64)
def _functions(line: Timeline, number: int, period: int) -> tuple[Pieces, Pieces]:
    stretch = line.stretches[number]
    return shown_later(line, stretch, period), shown_first(line, stretch)


class _Special:
    """Which UTC days are out of the ordinary: before an ordinary Monday, beside a change of the
    clocks, or days off."""

    def __init__(self, line: Timeline) -> None:
        self._line = line
        self._begin = line.zone.instant(DEFAULT_DAY, 0) // DAY
        self._known: dict[int, bool] = {}

    def day(self, number: int) -> bool:
        known = self._known.get(number)
        if known is None:
            zone, at = self._line.zone, number * DAY
            known = self._known[number] = (
                number < self._begin
                or zone.offset(at - DAY) != zone.offset(at + 2 * DAY)
                or self._line.calendar.holiday(zone.local(at + DAY // 2)[0]) is not None
            )
        return known


class _Finder:
    """Follows a sequence of vectors through the pieces of one stretch."""

    def __init__(
        self, later: Pieces, first: Pieces, shows: tuple[Vector, ...], period: int
    ) -> None:
        self._later = later
        self._first = first
        self._shows = shows
        self._period = period

    def within(self) -> Iterator[Placement]:
        """The places of a sequence that begins in a scan that is not the first."""
        later = self._later
        for place, vector in enumerate(later.vectors):
            if vector == self._shows[0]:
                inside = later.starts[place], later.stop(place) - 1
                yield from self._follow(place, (Stay(0, inside, inside),), self._narrow(inside))

    def from_power_up(self) -> Iterator[Placement]:
        """The places of a sequence that begins in the first scan after power-up."""
        first, later, period = self._first, self._later, self._period
        for place, vector in enumerate(first.vectors):
            if vector != self._shows[0]:
                continue
            low, high = first.starts[place], first.stop(place)
            # a piece of the later scans that goes on with the vector may begin a period later
            for other in range(later.at(low), len(later.starts)):
                start, stop = later.starts[other], later.stop(other)
                if start >= high + period:
                    break
                if later.vectors[other] == vector:
                    inside = max(low, start - period), min(high, stop) - 1
                    if inside[0] <= inside[1]:
                        stay = Stay(0, inside, (max(start, inside[0]), stop - 1))
                        yield from self._follow(other, (stay,), self._narrow(inside))
                elif max(low, start) < min(high, stop):
                    yield from self._alone((max(low, start), min(high, stop) - 1), vector)

    def _alone(self, inside: Between, vector: Vector) -> Iterator[Placement]:
        """The first scan shows what a later scan at that time would not: it is the only one to show
        it, unless the second scan shows it by itself."""
        later, period = self._later, self._period
        if len(self._shows) == 1:
            yield Placement((Stay(0, inside, inside, 1),))
            return
        for other in range(later.at(inside[0] + period), len(later.starts)):
            low = max(later.starts[other] - period, inside[0])
            high = min(later.stop(other) - 1 - period, inside[1])
            if later.starts[other] > inside[1] + period:
                break
            if later.vectors[other] != self._shows[1] or low > high:
                continue
            stay = Stay(0, (low, high), (low, high), 1)
            begun = Stay(1, (low + period, high + period), self._inside(other, low + period))
            yield from self._follow(other, (stay, begun), self._narrow((low, high)))

    def _narrow(self, inside: Between) -> list[Between] | None:
        """What an interval says of the grid: nothing if it has room for a whole period."""
        return [inside] if inside[1] - inside[0] + 1 < self._period else None

    def _inside(self, place: int, low: int) -> Between:
        return max(self._later.starts[place], low), self._later.stop(place) - 1

    def _follow(
        self, place: int, stays: tuple[Stay, ...], phases: list[Between] | None
    ) -> Iterator[Placement]:
        """Every way on from a piece in which the last of `stays` is.

        `phases` are the instants that a scan on the grid may have, moved by whole periods to the
        first change; None while any may.
        """
        # as a stack, since sequences may be long
        open_ends = [(place, stays, phases)]
        period = self._period
        while open_ends:
            place, stays, phases = open_ends.pop()
            here = stays[-1]
            if here.show == len(self._shows) - 1:
                yield Placement(stays)
            ways = []
            for other in _followers(self._later, place, period):
                vector = self._later.vectors[other]
                show = here.show + (vector != self._shows[here.show])
                if show >= len(self._shows) or vector != self._shows[show]:
                    continue
                if show == here.show and len(stays) - show > _SPLITS:
                    continue
                low = max(here.last[0], self._later.starts[other] - period)
                high = min(here.last[1], self._later.stop(other) - 1 - period)
                met = _meet(phases, low, high, period) if low <= high else []
                if met != []:
                    ended = Stay(here.show, here.first, (low, high), here.most)
                    begun = Stay(
                        show, (low + period, high + period), self._inside(other, low + period)
                    )
                    ways.append((other, (*stays[:-1], ended, begun), met))
            open_ends.extend(reversed(ways))


def _meet(phases: list[Between] | None, low: int, high: int, period: int) -> list[Between] | None:
    """The part of `phases` from which whole periods lead to an instant from low to high.

    None stands for all phases, so an interval with room for a whole period takes nothing away.
    """
    if high - low + 1 >= period:
        return phases
    if phases is None:
        return [(low, high)]
    return [
        (max(begin, low - n * period), min(end, high - n * period))
        for begin, end in phases
        for n in range(-(-(low - end) // period), (high - begin) // period + 1)
    ]


def _spread(ordered: list[Placement]) -> Iterator[Placement]:
    """First those that differ in hours, then the extremes, then finer and finer, then the rest."""
    lengths = [tuple(stay.last[1] - stay.first[0] for stay in p.stays) for p in ordered]
    left = dict.fromkeys(range(len(ordered)))
    for grain in (4 * HOUR, 0, HOUR, 10 * MINUTE, 1):
        picked = _extremes(lengths) if grain == 0 else _unlike(left, lengths, grain)
        for number in picked:
            if number in left:
                del left[number]
                yield ordered[number]
    for number in left:
        yield ordered[number]


def _unlike(left: Iterable[int], lengths: list[tuple[int, ...]], grain: int) -> list[int]:
    """The first of each kind, by how often the grain goes into the lengths of its stays."""
    kinds: dict[tuple[int, ...], int] = {}
    for number in left:
        kinds.setdefault(tuple(length // grain for length in lengths[number]), number)
    return list(kinds.values())


def _extremes(lengths: list[tuple[int, ...]]) -> list[int]:
    """Those in which one of the stays is shortest, or longest."""
    found = []
    for size in sorted({len(each) for each in lengths}):
        alike = [number for number, each in enumerate(lengths) if len(each) == size]
        for place in range(size):
            column = [lengths[number][place] for number in alike]
            found += [alike[column.index(bound(column))] for bound in (min, max)]
    return found


def all_vectors(line: Timeline, period: int) -> frozenset[Vector]:
    """Every vector that a scan of `period` ms can show."""
    return frozenset(
        vector
        for stretch in line.stretches
        for pieces in (shown_later(line, stretch, period), shown_first(line, stretch))
        for vector in pieces.vectors
    )
