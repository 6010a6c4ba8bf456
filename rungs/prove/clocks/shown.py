"""What a scan shows of the clocks, as a function of its wall time.

All of it rests on one fact about the wall clock of a run, as long as nobody sets it: what a scan at
wall time w shows is a function of w. A scan that is not the first after power-up shows an event T
if T lies in (w - period, w], so an event acts as a window [T, T + period), in which every grid has
exactly one scan; events closer together than a period overlap, and a grid meets them together or
apart just as its phase has it. The first scan shows an event that is caught up if T lies in
[w - D, w], so there it acts as a window [T, T + D]. Everything below reads these two step
functions of time, and nothing asks the calendar scan by scan.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

from rungs.prove.clocks.timeline import Stretch, Timeline, Vector


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


def followers(pieces: Pieces, place: int, period: int) -> Iterator[int]:
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


def all_vectors(line: Timeline, period: int) -> frozenset[Vector]:
    """Every vector that a scan of `period` ms can show."""
    return frozenset(
        vector
        for stretch in line.stretches
        for pieces in (shown_later(line, stretch, period), shown_first(line, stretch))
        for vector in pieces.vectors
    )
