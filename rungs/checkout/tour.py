"""The shortest walk that covers every row: a pure graph search that knows nothing of panels.

Each arc of the graph covers a set of rows. A walk is wanted that begins at one node and covers all
rows that walks can cover, with as few arcs as can be. With every row on one arc alone this is the
open route-inspection problem (the mail carrier's round, in a directed graph), which a min-cost flow
solves; in general it is as hard as the travelling salesman's, so a walk and a proved bound are
given, which are equal where the walk is the shortest.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from random import Random
from typing import Final, Protocol

MOST: Final = 2_000
_FAR: Final = 1 << 30
_MATCHED: Final = 130  # rows in the largest assignment that is solved for a bound
_SEARCHED: Final = 64  # rows in the largest graph that is searched exactly
_KEPT: Final = 400_000  # nodes of an exact search that are kept


class Effort:
    """A budget of work: about so many seconds of it, but counted and not timed, so that the same
    question has the same answer on every machine and every day."""

    RATE: Final = 2_000_000  # looks at an arc in a second, roughly

    def __init__(self, seconds: float) -> None:
        self.left = int(seconds * self.RATE)

    @property
    def over(self) -> bool:
        """Whether it is used up."""
        return self.left <= 0

    def share(self, part: float) -> Effort:
        """A part of what is left as a budget of its own; it is taken off here."""
        taken = Effort(max(self.left, 0) * part / self.RATE)
        self.left -= taken.left
        return taken


@dataclass(frozen=True, slots=True)
class Arc:
    """A way to `target` that covers `rows` (bit r for row r)."""

    target: int
    rows: int


class Graph(Protocol):
    """The arcs that leave each node, by its number; it may make them when it is asked."""

    def __getitem__(self, node: int, /) -> Sequence[Arc]: ...


Leg = tuple[int, int]  # a node and the place of an arc that leaves it


@dataclass(frozen=True, slots=True)
class Tour:
    """A walk as legs, the rows it covers, and a number of legs that no walk which covers all of
    `wanted` can be shorter than. `whole` says whether it does."""

    walk: tuple[Leg, ...]
    covered: int
    wanted: int
    bound: int

    @property
    def whole(self) -> bool:
        """Whether all is covered that a walk can cover."""
        return self.covered == self.wanted


def shortest_tour(graph: Graph, start: int, seconds: float = 5.0, most: int = MOST) -> Tour:
    """A short walk from `start` over all rows that can be reached, of at most `most` legs, and a
    lower bound. The search takes about `seconds` of work, or less where the two are equal."""
    work = _Work(graph, start, Effort(seconds))
    best = work.greedy(None)
    if len(best) > most:
        best = best[:most]
        covered = work.rows(best)
        return Tour(tuple(best), covered, work.wanted, min(work.bound(covered), most))
    best = min(work.shortened(best), work.postman(best), key=len)
    bound = work.bound()
    if bound < len(best):
        best = work.improved(best, bound)
    if bound < len(best):
        found = work.exact(best, bound)
        best, bound = found
    return Tour(tuple(best), work.rows(best), work.wanted, min(bound, len(best)))


def quick_tour(
    graph: Graph, start: int, rows: int, effort: Effort, most: int = MOST
) -> tuple[tuple[Leg, ...], int]:
    """A walk over as many of `rows` as the effort finds, always on to the nearest, and what it
    covers. The graph is looked at only where the walk comes by, so it may be far too large to be
    looked at as a whole."""
    walk = _nearest(graph, start, rows, None, effort, most)
    covered = 0
    for node, place in walk:
        covered |= graph[node][place].rows
    return tuple(walk), covered


class _Work:
    """One search. Nodes that cannot be reached are left out of everything."""

    def __init__(self, graph: Graph, start: int, effort: Effort) -> None:
        self.graph = graph
        self.start = start
        self.effort = effort
        self.reached = self._reached()
        self.wanted = 0
        for node in self.reached:
            for arc in graph[node]:
                self.wanted |= arc.rows
        self._steps: dict[int, dict[int, Leg | None]] = {}

    def _reached(self) -> list[int]:
        seen = {self.start: None}
        open_ends = deque(seen)
        while open_ends:
            for arc in self.graph[open_ends.popleft()]:
                if arc.target not in seen:
                    seen[arc.target] = None
                    open_ends.append(arc.target)
        return list(seen)

    def rows(self, walk: Sequence[Leg]) -> int:
        found = 0
        for node, place in walk:
            found |= self.graph[node][place].rows
        return found

    def target(self, leg: Leg) -> int:
        return self.graph[leg[0]][leg[1]].target

    # --- ways

    def way(self, one: int, other: int, most: int) -> list[Leg] | None:
        """The shortest walk between two nodes, or None if it has `most` legs or more."""
        before: dict[int, Leg | None] = {one: None}
        layer = [one]
        while layer and other not in before and most > 1:
            most -= 1
            following = []
            for node in layer:
                self.effort.left -= len(self.graph[node])
                for place, arc in enumerate(self.graph[node]):
                    if arc.target not in before:
                        before[arc.target] = (node, place)
                        following.append(arc.target)
            layer = following
        return _traced(before, other) if other in before else None

    # --- a first walk

    def greedy(self, dice: Random | None) -> list[Leg]:
        """Always to the nearest arc that covers something new; of several the one that covers
        most, or one at random."""
        return _nearest(self.graph, self.start, self.wanted, dice, self.effort, _FAR, True)

    # --- shorter walks

    def shortened(self, walk: list[Leg]) -> list[Leg]:
        """Without stretches that cover nothing of their own, as far as a shorter way leads past."""
        changed = True
        while changed and not self.effort.over:
            changed = False
            count: dict[int, int] = {}
            sets = [list(_bits(self.graph[n][p].rows)) for n, p in walk]
            for rows in sets:
                for row in rows:
                    count[row] = count.get(row, 0) + 1
            low = 0
            while low < len(walk) and not self.effort.over:
                high = low
                while high < len(walk) and all(count[row] > 1 for row in sets[high]):
                    for row in sets[high]:
                        count[row] -= 1
                    high += 1
                if high > low:
                    past: list[Leg] | None = []
                    if high < len(walk):
                        past = self.way(walk[low][0], walk[high][0], high - low)
                    if past is not None and len(past) < high - low:
                        walk = walk[:low] + past + walk[high:]
                        changed = True
                        break
                    for rows in sets[low:high]:
                        for row in rows:
                            count[row] += 1
                low += 1
        return walk

    def improved(self, best: list[Leg], bound: int) -> list[Leg]:
        """The best of many walks with chance in them, with half of the effort that is left."""
        dice = Random(len(self.reached))
        rest, self.effort = self.effort, self.effort.share(0.5)
        idle = 0
        while not self.effort.over and len(best) > bound and idle < 400:
            walk = self.greedy(dice)
            if self.rows(walk) != self.wanted:
                idle += 1
                continue
            walk = self.shortened(walk)
            if len(walk) >= len(best) and dice.random() < 0.3:
                walk = self.postman(walk)
            idle = 0 if len(walk) < len(best) else idle + 1
            best = walk if len(walk) < len(best) else best
        rest.left += max(self.effort.left, 0)
        self.effort = rest
        return best

    def postman(self, walk: list[Leg]) -> list[Leg]:
        """The arcs of a walk that cover something for the first time, joined up by the fewest
        others (min-cost flow) and walked as one; the same walk where that does not hang together or
        is no shorter."""
        left = self.wanted
        needed = []
        for leg in walk:
            rows = self.graph[leg[0]][leg[1]].rows
            if rows & left:
                needed.append(leg)
                left &= ~rows
        flow = _Flow(self.graph, self.reached, self.start, needed)
        if not flow.solve(self.effort):
            return walk
        legs = [*needed, *flow.extra()]
        if len(legs) >= len(walk):
            return walk
        found = _euler(self.graph, self.start, legs)
        return walk if found is None else found

    # --- bounds

    def bound(self, rows: int | None = None) -> int:
        """A number of legs that no walk over all of `rows` (all that are wanted, if none are given)
        can be shorter than."""
        wanted = self.wanted if rows is None else rows
        alone = self._alone(wanted)
        best = 0
        flow = _Flow(self.graph, self.reached, self.start, alone)
        if flow.solve(self.effort):
            best = len(alone) + flow.cost
        groups = self._apart(wanted)
        best = max(best, len(groups))
        if 0 < len(groups) <= _MATCHED:
            self.effort.left -= len(groups) ** 3 // 4
            best = max(best, self._assigned(groups))
        return best

    def _alone(self, wanted: int) -> list[Leg]:
        """Arcs that alone cover some row, so that every walk takes them."""
        only: dict[int, Leg | None] = {}
        for node in self.reached:
            for place, arc in enumerate(self.graph[node]):
                for row in _bits(arc.rows & wanted):
                    only[row] = None if row in only else (node, place)
        return list(dict.fromkeys(leg for leg in only.values() if leg is not None))

    def _groups(self, wanted: int) -> dict[int, list[Leg]]:
        groups: dict[int, list[Leg]] = {}
        for node in self.reached:
            for place, arc in enumerate(self.graph[node]):
                for row in _bits(arc.rows & wanted):
                    groups.setdefault(row, []).append((node, place))
        return groups

    def _apart(self, wanted: int) -> list[list[Leg]]:
        """For some rows, of which no arc covers two, the arcs that cover each."""
        groups = self._groups(wanted)
        taken = 0
        chosen = []
        together = {
            row: len({r for n, p in legs for r in _bits(self.graph[n][p].rows & wanted)})
            for row, legs in groups.items()
        }
        for row in sorted(groups, key=lambda row: (together[row], len(groups[row]), row)):
            if taken >> row & 1:
                continue
            chosen.append(groups[row])
            for node, place in groups[row]:
                taken |= self.graph[node][place].rows
        return chosen

    def costs_between(self, groups: list[list[Leg]]) -> list[list[int]]:
        """For each group (row `len(groups)` is the start) the fewest legs from the end of one of
        its arcs to the end of an arc of each other."""
        tails: list[dict[int, None]] = [dict.fromkeys(leg[0] for leg in legs) for legs in groups]
        holds: dict[int, list[int]] = {}
        for number, nodes in enumerate(tails):
            for node in nodes:
                holds.setdefault(node, []).append(number)
        costs = []
        for sources in [*([self.target(leg) for leg in legs] for legs in groups), [self.start]]:
            row = [_FAR] * len(groups)
            seen = dict.fromkeys(sources)
            layer, steps, missing = list(seen), 1, len(groups)
            while layer and missing:
                following = []
                for node in layer:
                    for number in holds.get(node, ()):
                        if row[number] == _FAR:
                            row[number] = steps
                            missing -= 1
                    for arc in self.graph[node]:
                        if arc.target not in seen:
                            seen[arc.target] = None
                            following.append(arc.target)
                layer, steps = following, steps + 1
            costs.append(row)
        return costs

    def _assigned(self, groups: list[list[Leg]]) -> int:
        """Every group is first met after another, or after the start, and no two after the same:
        the least cost of such an assignment bounds the walk."""
        costs = self.costs_between(groups)
        for number in range(len(groups)):
            costs[number][number] = _FAR
        # groups to be met, each after one of the others or the start
        table = [
            [costs[before][row] for before in range(len(groups) + 1)] for row in range(len(groups))
        ]
        return _assignment(table)

    # --- exact

    def exact(self, best: list[Leg], bound: int) -> tuple[list[Leg], int]:
        """A shortest walk by A* over nodes and rows that are left, or the best known and a bound
        that the search has raised."""
        groups = self._groups(self.wanted)
        if len(groups) > _SEARCHED:
            return best, bound
        order = sorted(groups)
        place_of = {row: place for place, row in enumerate(order)}
        masks = {
            node: [sum(1 << place_of[r] for r in _bits(arc.rows)) for arc in self.graph[node]]
            for node in self.reached
        }
        guess = _Guess(self, [groups[row] for row in order], masks)
        all_rows = (1 << len(order)) - 1
        first = (self.start, all_rows)
        came: dict[tuple[int, int], tuple[tuple[int, int], Leg] | None] = {first: None}
        length = {first: 0}
        open_ends = [(guess(*first), 0, 0, first)]
        made = 0
        while open_ends:
            least, depth, _, here = heappop(open_ends)
            bound = max(bound, least)
            if bound >= len(best):
                return best, len(best)
            if not here[1]:
                return _walked(came, here), least
            if made > _KEPT or self.effort.over:
                return best, bound
            if -depth > length[here]:
                continue
            node, left = here
            self.effort.left -= 20 * len(self.graph[node])
            for place, arc in enumerate(self.graph[node]):
                there = (arc.target, left & ~masks[node][place])
                steps = length[here] + 1
                if steps < length.get(there, _FAR):
                    length[there] = steps
                    came[there] = (here, (node, place))
                    total = max(steps + guess(*there), least)
                    if total < len(best):
                        made += 1
                        heappush(open_ends, (total, -steps, made, there))
        return best, len(best)


class _Guess:
    """For a node and the rows that are left, a number of legs that cannot do."""

    def __init__(self, work: _Work, groups: list[list[Leg]], masks: dict[int, list[int]]) -> None:
        self.costs = work.costs_between(groups)
        self.count = len(groups)
        self.from_node: dict[int, list[int]] = {}
        self.work, self.groups = work, groups
        self.with_row = [0] * self.count  # the rows that share an arc with each
        for node in masks:
            for mask in masks[node]:
                for row in _bits(mask):
                    self.with_row[row] |= mask
        self.order = sorted(range(self.count), key=lambda r: self.with_row[r].bit_count())
        self.known: dict[tuple[int, int], int] = {}

    def _reach(self, node: int) -> list[int]:
        found = self.from_node.get(node)
        if found is None:
            found = [_FAR] * self.count
            holds: dict[int, list[int]] = {}
            for number, legs in enumerate(self.groups):
                for leg in legs:
                    holds.setdefault(leg[0], []).append(number)
            seen = {node: 1}
            open_ends = deque(seen)
            while open_ends:
                here = open_ends.popleft()
                for number in holds.get(here, ()):
                    found[number] = min(found[number], seen[here])
                for arc in self.work.graph[here]:
                    if arc.target not in seen:
                        seen[arc.target] = seen[here] + 1
                        open_ends.append(arc.target)
            self.from_node[node] = found
        return found

    def __call__(self, node: int, left: int) -> int:
        if not left:
            return 0
        key = (node, left)
        known = self.known.get(key)
        if known is not None:
            return known
        reach = self._reach(node)
        apart = []
        taken = 0
        for row in self.order:
            if left >> row & 1 and not taken >> row & 1:
                apart.append(row)
                taken |= self.with_row[row]
        # each of these is met after another of them, or first of all
        self.work.effort.left -= len(apart) * (len(apart) + 4)
        first = min(reach[row] for row in _bits(left))
        entered = 0
        for row in apart:
            entered += min(reach[row], *(self.costs[r][row] for r in apart if r != row), _FAR)
        farthest = max(reach[row] for row in apart)
        found = max(first - 1 + len(apart), entered, farthest)
        self.known[key] = found
        return found


def _nearest(
    graph: Graph,
    start: int,
    rows: int,
    dice: Random | None,
    effort: Effort,
    most: int,
    at_any_price: bool = False,
) -> list[Leg]:
    walk: list[Leg] = []
    left, node = rows, start
    while left and len(walk) < most:
        before: dict[int, Leg | None] = {node: None}
        layer = [node]
        found: list[tuple[int, Leg]] = []
        while layer and not found:
            following = []
            for here in layer:
                arcs = graph[here]  # which may take effort to be made
                effort.left -= len(arcs)
                if effort.over and not at_any_price:
                    return walk
                for place, arc in enumerate(arcs):
                    gain = (arc.rows & left).bit_count()
                    if gain:
                        found.append((gain, (here, place)))
                    if arc.target not in before:
                        before[arc.target] = (here, place)
                        following.append(arc.target)
            layer = following
        if not found:
            return walk  # nothing more, or a place without a way back
        if dice is None or dice.random() < 0.6:
            gains = max(gain for gain, _ in found)
            found = [each for each in found if each[0] == gains]
        leg = found[0 if dice is None else dice.randrange(len(found))][1]
        for step in (*_traced(before, leg[0]), leg):
            walk.append(step)
            left &= ~graph[step[0]][step[1]].rows
        node = graph[leg[0]][leg[1]].target
    return walk[:most]


# --- flows and matchings ------------------------------------------------------------------------


class _Flow:
    """The fewest arcs that make a set of arcs walkable from the start, each once: as many ways into
    a node as out of it, but for the start and the end, which may be anywhere.

    Min-cost flow by successive shortest paths (Edmonds and Karp 1972); whether the arcs hang
    together is another matter, so the cost is a lower bound.
    """

    def __init__(
        self, graph: Graph, reached: Sequence[int], start: int, needed: Sequence[Leg]
    ) -> None:
        self.graph = graph
        self.reached = reached
        self.cost = 0
        self.flow: dict[Leg, int] = {}
        self.surplus: dict[int, int] = {start: 1}
        for node, place in needed:
            target = graph[node][place].target
            self.surplus[target] = self.surplus.get(target, 0) + 1
            self.surplus[node] = self.surplus.get(node, 0) - 1
        self._into: dict[int, dict[Leg, None]] = {}  # arcs with flow, by their target

    def solve(self, effort: Effort) -> bool:
        """Whether every node that lacks a way in was given one before the effort was over. One unit
        of the surplus is left: where it is, the walk ends."""
        while any(count < 0 for count in self.surplus.values()):
            if effort.over or not self._augment(effort):
                return False
        return True

    def _augment(self, effort: Effort) -> bool:
        """Send one unit along a cheapest way of the residual graph."""
        sources = [node for node, count in self.surplus.items() if count > 0]
        cost: dict[int, int] = dict.fromkeys(sources, 0)
        came: dict[int, tuple[int, Leg, int]] = {}  # node before, the arc, +1 or -1 of its flow
        open_ends = deque(sources)
        waiting = set(sources)
        while open_ends:
            node = open_ends.popleft()
            waiting.discard(node)
            here = cost[node]
            effort.left -= 2 * len(self.graph[node])
            ways = [(a.target, (node, place), 1) for place, a in enumerate(self.graph[node])]
            ways += [(leg[0], leg, -1) for leg in self._into.get(node, ())]
            for target, leg, sign in ways:
                if here + sign < cost.get(target, _FAR):
                    cost[target] = here + sign
                    came[target] = (node, leg, sign)
                    if target not in waiting:
                        waiting.add(target)
                        open_ends.append(target)
        lacking = [(cost[n], n) for n, count in self.surplus.items() if count < 0 and n in cost]
        if not lacking:
            return False
        least, node = min(lacking)
        self.cost += least
        self.surplus[node] += 1
        while node in came:
            node, used, sign = came[node]
            self.flow[used] = self.flow.get(used, 0) + sign
            into = self._into.setdefault(self.graph[used[0]][used[1]].target, {})
            if self.flow[used]:
                into[used] = None
            else:
                into.pop(used)
        self.surplus[node] -= 1
        return True

    def extra(self) -> Iterator[Leg]:
        """The arcs to be added, each as often as it is taken."""
        for leg, count in self.flow.items():
            yield from [leg] * count


def _euler(graph: Graph, start: int, legs: Sequence[Leg]) -> list[Leg] | None:
    """The legs as one walk from the start (Hierholzer 1873), or None if they do not hang
    together."""
    leaving: dict[int, list[Leg]] = {}
    for each in legs:
        leaving.setdefault(each[0], []).append(each)
    stack: list[tuple[int, Leg | None]] = [(start, None)]
    walk: list[Leg] = []
    while stack:
        node, leg = stack[-1]
        if leaving.get(node):
            onward = leaving[node].pop()
            stack.append((graph[onward[0]][onward[1]].target, onward))
        else:
            stack.pop()
            if leg is not None:
                walk.append(leg)
    walk.reverse()
    node = start
    for source, place in walk:
        if source != node:
            return None
        node = graph[source][place].target
    return walk if len(walk) == len(legs) else None


def _assignment(costs: Sequence[Sequence[int]]) -> int:
    """The least cost of giving each row a column of its own (Kuhn 1955, with potentials)."""
    rows, columns = len(costs), len(costs[0])
    up, down = [0] * (rows + 1), [0] * (columns + 1)
    holds = [0] * (columns + 1)
    for row in range(1, rows + 1):
        holds[0] = row
        column = 0
        least = [_FAR * 4] * (columns + 1)
        before = [0] * (columns + 1)
        used = [False] * (columns + 1)
        while True:
            used[column] = True
            here, delta, best = holds[column], _FAR * 4, 0
            line = costs[here - 1]
            for j in range(1, columns + 1):
                if used[j]:
                    continue
                spare = line[j - 1] - up[here] - down[j]
                if spare < least[j]:
                    least[j], before[j] = spare, column
                if least[j] < delta:
                    delta, best = least[j], j
            for j in range(columns + 1):
                if used[j]:
                    up[holds[j]] += delta
                    down[j] -= delta
                else:
                    least[j] -= delta
            column = best
            if not holds[column]:
                break
        while column:
            holds[column] = holds[before[column]]
            column = before[column]
    return sum(costs[holds[j] - 1][j - 1] for j in range(1, columns + 1) if holds[j])


# --- small things -------------------------------------------------------------------------------


def _bits(word: int) -> Iterator[int]:
    while word:
        low = word & -word
        yield low.bit_length() - 1
        word ^= low


def _traced(before: dict[int, Leg | None], node: int) -> list[Leg]:
    walk: list[Leg] = []
    leg = before[node]
    while leg is not None:
        walk.append(leg)
        leg = before[leg[0]]
    walk.reverse()
    return walk


def _walked(
    came: dict[tuple[int, int], tuple[tuple[int, int], Leg] | None], here: tuple[int, int]
) -> list[Leg]:
    walk: list[Leg] = []
    step = came[here]
    while step is not None:
        walk.append(step[1])
        step = came[step[0]]
    walk.reverse()
    return walk
