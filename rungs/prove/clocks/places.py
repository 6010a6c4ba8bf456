"""Where in the calendar a sequence of clock contacts can be."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from functools import lru_cache
from typing import Final

from rungs.prove.clocks.shown import Pieces, followers, shown_first, shown_later
from rungs.prove.clocks.timeline import Timeline, Vector
from rungs.prove.zones import FAR
from rungs.scan.wall import DEFAULT_DAY
from rungs.scan.zone import DAY, HOUR, MINUTE

Between = tuple[int, int]  # two instants, both included

# so often at most a place in the calendar passes over changes that no scan shows
_SPLITS: Final = 16


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
            for other in followers(self._later, place, period):
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
