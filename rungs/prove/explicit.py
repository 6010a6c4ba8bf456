"""Search of all states of a circuit, breadth first, with every pattern of its signals at once.

Below some thousand states nothing is faster, and what it finds is a shortest run; the states that
it has seen are an invariant of themselves.
"""

from __future__ import annotations

from dataclasses import dataclass

from rungs.core.patterns import variable_masks
from rungs.prove.budget import Budget
from rungs.prove.question import Question
from rungs.scan.generate import ScanWide, scan_wide

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


class Explorer:
    """The states of one question, each looked at once."""

    def __init__(self, asked: Question, scan: ScanWide | None = None) -> None:
        self.asked = asked
        self.circuit = asked.circuit
        self.scan = scan or scan_wide(self.circuit)
        self.every = range(len(self.circuit.signals))

    def space(self, state: int) -> tuple[int, ...]:
        """The signals that can change anything in a state."""
        matters = self.asked.matters
        return tuple(i for i in self.every if i not in matters or state >> matters[i] & 1)

    def look(self, state: int, space: tuple[int, ...]) -> tuple[int, list[tuple[int, int]]]:
        """The patterns that are bad, and (patterns, next state) for each next state."""
        ones = (1 << (1 << len(space))) - 1
        signals = [0] * len(self.every)
        for index, mask in zip(space, variable_masks(len(space)), strict=True):
            signals[index] = mask
        words = tuple(ones if state >> i & 1 else 0 for i in range(len(self.circuit.state)))
        after, outputs, _ = self.scan(ones, words, tuple(signals))
        live = ones if self.asked.over is None else ones & ~after[self.asked.over]
        return outputs[0], _parts(live, after)


def _parts(live: int, after: tuple[int, ...]) -> list[tuple[int, int]]:
    parts = [(live, 0)] if live else []
    for place, column in enumerate(after):
        if not column:
            continue
        fresh = []
        for mask, word in parts:
            on = mask & column
            if on:
                fresh.append((on, word | 1 << place))
                if on != mask:
                    fresh.append((mask ^ on, word))
            else:
                fresh.append((mask, word))
        parts = fresh
    return parts


def explore(
    asked: Question, budget: Budget, most: int = MOST_STATES, patterns: int = 1 << 26
) -> Seen | Reached | TooMany:
    """Whether bad can be reached: all states, or a shortest run, or why neither was found.

    `patterns` is the most states times patterns that are looked at. Raises OutOfBudget.
    """
    explorer = Explorer(asked)
    parents: dict[int, tuple[int, tuple[bool, ...]] | None] = {0: None}
    layer, depth, work = [0], 0, 0
    while layer:
        budget.check()
        following: list[int] = []
        for number, state in enumerate(layer):
            space = explorer.space(state)
            if len(space) > MOST_SIGNALS:
                return TooMany(depth, f"{len(space)} signals matter at once")
            work += 1 << len(space)
            if len(parents) > most or work > patterns:
                return TooMany(depth, f"more than {len(parents):,} states")
            if not number & 63:
                budget.check()
            bad, parts = explorer.look(state, space)
            if bad:
                last = _signals(explorer, space, bad)
                return Reached((*_path(parents, state), last))
            for mask, target in parts:
                if target not in parents:
                    parents[target] = (state, _signals(explorer, space, mask))
                    following.append(target)
        layer = following
        depth += 1
    return Seen(tuple(sorted(parents)))


def _signals(explorer: Explorer, space: tuple[int, ...], mask: int) -> tuple[bool, ...]:
    """The signals of the lowest pattern of a mask: as few of them on as that gives."""
    pattern = (mask & -mask).bit_length() - 1
    on = [False] * len(explorer.every)
    for place, index in enumerate(reversed(space)):
        on[index] = bool(pattern >> place & 1)
    return tuple(on)


def _path(
    parents: dict[int, tuple[int, tuple[bool, ...]] | None], state: int
) -> tuple[tuple[bool, ...], ...]:
    steps = []
    at = state
    while (parent := parents[at]) is not None:
        at, signals = parent
        steps.append(signals)
    return tuple(reversed(steps))
