"""Search of all states of a circuit, breadth first, with every pattern of its signals at once.

Below some thousand states nothing is faster, and what it finds is a shortest run; the states that
it has seen are an invariant of themselves.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rungs.core.nodes import TRUE, Core, Gates, images
from rungs.core.patterns import split, variable_masks
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.question import CUT, Question
from rungs.scan.generate import scan_wide

MOST_SIGNALS = 17  # 128 Ki patterns a state
MOST_STATES = 20_000


@dataclass(frozen=True, slots=True)
class Seen:
    """All states that can be reached, as numbers with bit i for state bit i; none is bad."""

    states: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Reached:
    """The signals of each step from power-up to the first bad one."""

    steps: tuple[tuple[bool, ...], ...]


@dataclass(frozen=True, slots=True)
class TooMany:
    """There are more states or patterns than this search is meant for; `steps` of every run have
    been looked at."""

    steps: int
    reason: str


@dataclass(frozen=True, slots=True)
class Explored:
    """What one search found for several bad outputs: a shortest run to each of `runs`, by index,
    and all `states`, or None and the `reason` why not all of them were looked at."""

    states: tuple[int, ...] | None
    runs: dict[int, tuple[Signals, ...]]
    steps: int
    reason: str = ""


Signals = tuple[bool, ...]
_Parents = dict[int, tuple[int, Signals] | None]


class _Explorer:
    """The states of one question, each looked at once.

    After a power cut hardly anything of the state is left, so cuts are looked at once for all
    states that leave the same.
    """

    def __init__(self, asked: Question, bads: int) -> None:
        self.asked = asked
        self.circuit = circuit = asked.circuit
        self.bads = bads
        self.scan = scan_wide(circuit)
        self.every = range(len(circuit.signals))
        names = [signal.name for signal in circuit.signals]
        self.cut = names.index(CUT) if CUT in names else None
        self.left = 0 if self.cut is None else _left_after(circuit, self.cut)
        self.cuts: set[int] = set()

    def spaces(self, state: int) -> Iterator[tuple[tuple[int, ...], bool]]:
        """The signals that can change anything in a state, without a power cut and with one."""
        matters = self.asked.matters
        free = tuple(
            i for i in self.every if i != self.cut and (i not in matters or state >> matters[i] & 1)
        )
        yield free, False
        if self.cut is not None and state & self.left not in self.cuts:
            self.cuts.add(state & self.left)
            yield tuple(i for i in free if i not in matters), True

    def look(
        self, state: int, space: tuple[int, ...], cut: bool
    ) -> tuple[tuple[int, ...], list[tuple[int, int]]]:
        """The patterns that are bad for each output, and (patterns, next state) for each next
        state."""
        ones = (1 << (1 << len(space))) - 1
        signals = [0] * len(self.every)
        for index, mask in zip(space, variable_masks(len(space)), strict=True):
            signals[index] = mask
        if cut:
            assert self.cut is not None
            signals[self.cut] = ones
        words = tuple(ones if state >> i & 1 else 0 for i in range(len(self.circuit.state)))
        after, outputs, _ = self.scan(ones, words, tuple(signals))
        live = ones if self.asked.over is None else ones & ~after[self.asked.over]
        return outputs[: self.bads], split(live, after) if live else []

    def signals(self, space: tuple[int, ...], mask: int, cut: bool) -> Signals:
        """The signals of the lowest pattern of a mask: as few of them on as that gives."""
        pattern = (mask & -mask).bit_length() - 1
        on = [False] * len(self.every)
        for place, index in enumerate(reversed(space)):
            on[index] = bool(pattern >> place & 1)
        if cut:
            assert self.cut is not None
            on[self.cut] = True
        return tuple(on)


def _left_after(circuit: Core, cut: int) -> int:
    """The state bits (as a mask) that still matter to a step that begins with a power cut."""
    gates = Gates(len(circuit.signals) + len(circuit.state))
    leaf = {node: node * 2 for node in range(1, circuit.first_gate)} | {1 + cut: TRUE}
    lits = images(circuit, leaf, gates)
    wanted = [bit.next for bit in circuit.state] + [output.lit for output in circuit.outputs]
    seen: set[int] = set()
    open_ends = [lits[lit >> 1] >> 1 for lit in wanted]
    while open_ends:
        node = open_ends.pop()
        if node in seen:
            continue
        seen.add(node)
        if node >= circuit.first_gate:
            open_ends += [lit >> 1 for lit in gates.made[node - circuit.first_gate]]
    first = circuit.first_state
    return sum(1 << node - first for node in seen if first <= node < circuit.first_gate)


def explore_all(
    asked: Question,
    bads: int,
    budget: Budget,
    most: int = MOST_STATES,
    patterns: int = 1 << 26,
) -> Explored:
    """Which of the first `bads` outputs can be 1, and all states, if there are not too many.

    `patterns` is the most states times patterns that are looked at. The search ends early when
    every bad output has been reached, or when the budget is used up.
    """
    explorer = _Explorer(asked, bads)
    parents: _Parents = {0: None}
    runs: dict[int, tuple[Signals, ...]] = {}
    layer, depth, work = [0], 0, 0
    try:
        while layer:
            budget.check()
            following: list[int] = []
            for number, state in enumerate(layer):
                if not number & 63:
                    budget.check()
                for space, cut in explorer.spaces(state):
                    if len(space) > MOST_SIGNALS:
                        return Explored(None, runs, depth, f"{len(space)} signals matter at once")
                    work += 1 << len(space)
                    if len(parents) > most or work > patterns:
                        return Explored(None, runs, depth, f"more than {len(parents):,} states")
                    found, parts = explorer.look(state, space, cut)
                    for index, mask in enumerate(found):
                        if mask and index not in runs:
                            last = explorer.signals(space, mask, cut)
                            runs[index] = (*_path(parents, state), last)
                    for mask, target in parts:
                        if target not in parents:
                            parents[target] = (state, explorer.signals(space, mask, cut))
                            following.append(target)
                    if len(runs) == bads:
                        return Explored(None, runs, depth, "all were reached")
            layer = following
            depth += 1
    except OutOfBudget as stop:
        return Explored(None, runs, depth, str(stop))
    return Explored(tuple(sorted(parents)), runs, depth)


def explore(
    asked: Question, budget: Budget, most: int = MOST_STATES, patterns: int = 1 << 26
) -> Seen | Reached | TooMany:
    """Whether bad can be reached: all states, or a shortest run, or why neither was found."""
    found = explore_all(asked, 1, budget, most, patterns)
    if 0 in found.runs:
        return Reached(found.runs[0])
    if found.states is None:
        return TooMany(found.steps, found.reason)
    return Seen(found.states)


def _path(parents: _Parents, state: int) -> tuple[Signals, ...]:
    steps = []
    at = state
    while (parent := parents[at]) is not None:
        at, signals = parent
        steps.append(signals)
    return tuple(reversed(steps))
