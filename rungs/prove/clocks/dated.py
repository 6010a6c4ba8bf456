"""Real dates for a run in which clocks take part.

The search knows in which order the clocks can move; here the run is laid into the calendar, so that
each scan falls where its clock contacts are what the run needs.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import islice, product
from typing import Literal

from rungs.core.nodes import PERIOD, Core
from rungs.program.nodes import Program
from rungs.prove.clocks.graph import ClockGraph, clock_graph
from rungs.prove.clocks.places import Placement, placements
from rungs.prove.clocks.timeline import Timeline, Vector, timeline
from rungs.prove.question import ClockOrder
from rungs.prove.timing import Edge, Step

MOST_PLACES = 60  # places of one stretch of power that are tried
MOST_TRIED = 240  # places of a whole run that are tried

Split = Literal["vector", "week"]


@dataclass(frozen=True, slots=True)
class Group:
    """Steps of a run, by index, that show one vector one after the other."""

    vector: Vector
    first: int
    last: int


class Dates:
    """The calendar of one program, as far as it has been asked for. `names` are clocks."""

    def __init__(self, program: Program, period: int = PERIOD) -> None:
        self.program = program
        self.period = period
        self._lines: dict[tuple[str, ...], Timeline] = {}
        self._graphs: dict[tuple[tuple[str, ...], Split], ClockGraph] = {}
        self._places: dict[tuple[tuple[str, ...], tuple[Vector, ...]], tuple[Placement, ...]] = {}

    def line(self, names: tuple[str, ...]) -> Timeline:
        """What these clocks do in real time."""
        found = self._lines.get(names)
        if found is None:
            found = self._lines[names] = timeline(self.program, names)
        return found

    def graph(self, names: tuple[str, ...], split: Split = "vector") -> ClockGraph:
        """What they can show after what, and for how long."""
        found = self._graphs.get((names, split))
        if found is None:
            found = clock_graph(self.line(names), self.period, split)
            self._graphs[names, split] = found
        return found

    def order(self, names: tuple[str, ...]) -> ClockOrder:
        """What they can show after what, without times."""
        graph = self.graph(names)
        nodes = graph.nodes
        first = {nodes[start].vector: None for start in graph.starts}
        follows: dict[tuple[Vector, Vector], None] = {}
        for number, node in enumerate(nodes):
            leaving = graph.leaving(number)
            if not leaving or node.endless or any(edge.most > 1 for edge in leaving):
                follows[node.vector, node.vector] = None
            for edge in leaving:
                follows[node.vector, nodes[edge.target].vector] = None
        return ClockOrder(names, tuple(first), tuple(follows))

    def ways(self, core: Core, steps: Sequence[Step]) -> Iterator[tuple[int, tuple[Edge, ...]]]:
        """Ways to lay a run into the calendar: wall time 0 in periods, and bounds on the times of
        its steps, in which one more time (numbered behind them) is what wall time 0 is moved by.

        Nothing is given where no clock of the core stands in a step.
        """
        names = clock_names(core)
        parts = list(_powered(steps, names))
        choices = [self._placed(names, tuple(group.vector for group in part)) for part in parts]
        for chosen in islice(product(*choices), MOST_TRIED):
            zero = chosen[0].stays[0].first[0] // self.period
            edges: list[Edge] = []
            for part, placement in zip(parts, chosen, strict=True):
                edges += self._bounds(part, placement, len(steps), zero)
            yield zero, tuple(edges)

    def _placed(self, names: tuple[str, ...], vectors: tuple[Vector, ...]) -> tuple[Placement, ...]:
        """Where one stretch of power can lie in which these clocks show one vector after another;
        kept, because runs that are asked for often show the same."""
        found = self._places.get((names, vectors))
        if found is None:
            every = placements(self.line(names), vectors, self.period)
            found = self._places[names, vectors] = tuple(islice(every, MOST_PLACES))
        return found

    def _bounds(
        self, groups: Sequence[Group], placement: Placement, origin: int, zero: int
    ) -> Iterator[Edge]:
        """The bounds that a placement sets to the steps of one stretch of power."""
        period = self.period
        for number, group in enumerate(groups):
            stays = [stay for stay in placement.stays if stay.show == number]
            low, high = -(-stays[0].first[0] // period) - zero, stays[0].first[1] // period - zero
            yield origin, group.first, high
            yield group.first, origin, -low
            low, high = -(-stays[-1].last[0] // period) - zero, stays[-1].last[1] // period - zero
            if number + 1 < len(groups):
                # the last scan that shows it is the one before the next group
                following = groups[number + 1].first
                yield origin, following, high + 1
                yield following, origin, -(low + 1)
                if all(stay.most < 1 << 40 for stay in stays):
                    yield group.first, following, sum(stay.most for stay in stays)
            else:
                yield origin, group.last, high


def clock_names(core: Core) -> tuple[str, ...]:
    """The clocks that a core reads."""
    return tuple(signal.name for signal in core.signals if signal.kind == "clock")


def _powered(steps: Sequence[Step], names: tuple[str, ...]) -> Iterator[list[Group]]:
    """The steps from one power-up to the next, in groups that show the same."""
    groups: list[Group] = []
    for index, step in enumerate(steps):
        if step.cut:
            if groups:
                yield groups
            groups = []
            continue
        vector = tuple(step.signals[name] for name in names)
        if groups and groups[-1].vector == vector:
            groups[-1] = Group(vector, groups[-1].first, index)
        else:
            groups.append(Group(vector, index, index))
    if groups:
        yield groups
