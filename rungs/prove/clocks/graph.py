"""What the clocks can show after what, and for how many scans: more than they do, never less."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from rungs.language.words import WEEKDAYS, clock_text
from rungs.program.nodes import EVERY_DAY, SunTime
from rungs.prove.clocks.shown import Pieces, followers, shown_first, shown_later
from rungs.prove.clocks.timeline import Timeline, Vector
from rungs.prove.zones import FAR
from rungs.scan.daysoff import is_listed

# a run of equal scans that may pass over more changes than this is taken as endless
_HOPS: Final = 64

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
    many of those, or where they lead over the end of the pieces, no end is told (None).
    """
    vector, first = pieces.vectors[place], place
    for _ in range(_HOPS):
        stop = pieces.stop(place)
        same = None
        for other in followers(pieces, place, period):
            if pieces.vectors[other] != vector:
                yield stop, other
            elif same is None:
                same = other
        if place != first and stop + period > pieces.end:
            break
        if same is None:
            return
        place = same
    for other, shown in enumerate(pieces.vectors):
        if shown != vector:
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
        kinds = {clock.days for clock in line.clocks}
        # The stretches have every pattern of listed days, but not on every day of the week. Where a
        # clock minds the weekday the pattern tells it; where none does a label must not, or a
        # holiday on a Monday would be taken for impossible because this year's is on a Friday.
        varied = any(days.season or days.except_holidays for days in kinds)
        self._weekdays = not varied or any(days.weekdays != EVERY_DAY for days in kinds)

    def of(self, pieces: Pieces, place: int) -> str:
        day, ms = self._line.zone.local(pieces.starts[place])
        label = self._days.get(day)
        if label is None:
            label = self._days[day] = self._day(day)
        words = [WEEKDAYS[day.weekday()]] if self._weekdays else []
        if place and not self._by_sun(pieces.vectors[place - 1], pieces.vectors[place]):
            words.append(clock_text(ms))
        return " ".join(words) + label

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
