"""Sets of ages of running timers, as difference bounds: what can be due before what.

A zone says for each pair of timers how far their ages can lie apart, and for each timer how old it
can be, in whole periods. Ages are whole numbers, every bound is inclusive, and a due flag compares
an age with a whole number, so the discrete and the dense reading of the bounds agree. Cutting
bounds beyond the largest number that an age is ever compared with keeps zones finite in number
(the usual extrapolation for timed automata whose conditions compare no two clocks).
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass

FAR = 1 << 60  # no bound

Bounds = tuple[tuple[int, ...], ...]


@dataclass(frozen=True, slots=True)
class Zone:
    """`bounds[i][j]` is the most by which the age of timer i exceeds that of timer j, where i and j
    are places in `timers` plus one; place 0 is an age of 0."""

    timers: tuple[int, ...]
    bounds: Bounds

    def holds(self, other: Zone) -> bool:
        """Whether every combination of ages in the other zone is in this one."""
        return self.timers == other.timers and all(
            theirs <= ours
            for row, other_row in zip(self.bounds, other.bounds, strict=True)
            for ours, theirs in zip(row, other_row, strict=True)
        )


NOTHING = Zone((), ((0,),))


def later(zone: Zone) -> Zone:
    """One period later."""
    rows = [list(row) for row in zone.bounds]
    for i in range(1, len(rows)):
        rows[i][0] = min(rows[i][0] + 1, FAR)
        rows[0][i] -= 1
    return Zone(zone.timers, _frozen(rows))


def waiting(zone: Zone) -> Zone:
    """This, or any number of periods later."""
    rows = [list(row) for row in zone.bounds]
    for i in range(1, len(rows)):
        rows[i][0] = FAR
    return Zone(zone.timers, _frozen(rows))


def with_dues(zone: Zone, dues: Mapping[int, bool], needs: Mapping[int, int]) -> Zone | None:
    """The part in which the timers of `dues` have (True) or have not yet (False) run for the
    periods that `needs` gives them; None if there is none."""
    rows = [list(row) for row in zone.bounds]
    for place, timer in enumerate(zone.timers, 1):
        if timer in dues:
            if dues[timer]:
                rows[0][place] = min(rows[0][place], -needs[timer])
            else:
                rows[place][0] = min(rows[place][0], needs[timer] - 1)
    return _closed(zone.timers, rows)


def due_parts(zone: Zone, needs: Mapping[int, int]) -> Iterator[tuple[dict[int, bool], Zone]]:
    """The zone, parted by which of its timers that `needs` names are due."""
    parts: list[tuple[dict[int, bool], Zone]] = [({}, zone)]
    for timer in zone.timers:
        if timer not in needs:
            continue
        fresh = []
        for dues, part in parts:
            for due in (False, True):
                smaller = with_dues(part, {timer: due}, needs)
                if smaller is not None:
                    fresh.append(({**dues, timer: due}, smaller))
        parts = fresh
    yield from parts


def aged(zone: Zone, timer: int, low: int, high: int) -> Zone | None:
    """The part in which a timer is between `low` and `high` periods old; None if there is none."""
    rows = [list(row) for row in zone.bounds]
    place = zone.timers.index(timer) + 1
    rows[0][place] = min(rows[0][place], -low)
    rows[place][0] = min(rows[place][0], high)
    return _closed(zone.timers, rows)


def running(zone: Zone, timers: tuple[int, ...]) -> Zone:
    """The zone after a scan that lets `timers` run: those that ran keep their ages, new ones begin
    at 0, all others are forgotten."""
    place_of = {timer: place for place, timer in enumerate(zone.timers, 1)}
    places = [0, *(place_of.get(timer, 0) for timer in timers)]
    return Zone(timers, tuple(tuple(zone.bounds[i][j] for j in places) for i in places))


def rounded(zone: Zone, needs: Mapping[int, int]) -> Zone:
    """The zone with bounds beyond any that matter taken away."""
    most = [0, *(needs[timer] for timer in zone.timers)]
    rows = [list(row) for row in zone.bounds]
    for i in range(len(rows)):
        for j in range(len(rows)):
            if i != j and rows[i][j] > most[i] and i:
                rows[i][j] = FAR
            elif rows[i][j] < -most[j]:
                rows[i][j] = -most[j]
    return Zone(zone.timers, _frozen(rows))


def _frozen(rows: list[list[int]]) -> Bounds:
    return tuple(tuple(row) for row in rows)


def _closed(timers: tuple[int, ...], rows: list[list[int]]) -> Zone | None:
    """The tightest bounds (shortest paths), or None where they contradict each other."""
    size = range(len(rows))
    for k in size:
        for i in size:
            through = rows[i][k]
            if through >= FAR:
                continue
            for j in size:
                if rows[k][j] < FAR and through + rows[k][j] < rows[i][j]:
                    rows[i][j] = through + rows[k][j]
    if any(rows[i][i] < 0 for i in size):
        return None
    return Zone(timers, _frozen(rows))
