"""The reachable states of a core, with all patterns of its signals looked at together, and the
smallest machine that does the same.

A due flag is looked at only in states in which its timer ran in the scan before, since it is 0 in
all others (and 1 at once where the preset is a single period); so the timers that run belong to the
state.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field

from rungs.core.nodes import Core
from rungs.scan.generate import scan_wide
from rungs.table.cover import variable_masks

MAX_SIGNALS = 20
MAX_STATES = 20_000
MAX_WORK = 1 << 31  # states times patterns: about a minute
MAX_MOVES = 1_000_000  # different outcomes of all states together
MAX_BITS = 1 << 30  # of all outcomes of one state together, a bit for each pattern


@dataclass(frozen=True, slots=True)
class Key:
    """A state of the core between two scans: its bits (bit i for state bit i), the timers that ran
    in the last scan (bit i for timer i), and whether the next scan is the first."""

    bits: int
    running: int
    first: bool


@dataclass(frozen=True, slots=True)
class Move:
    """What a state does for the patterns of `mask`: bit i of a word for output i, timer bit i."""

    mask: int
    target: int
    outputs: int
    runs: int


@dataclass(frozen=True, slots=True)
class Node:
    """A state with all its moves. `space` are the signals (by index in the core) that it looks at,
    the first being the most significant bit of a pattern's number."""

    space: tuple[int, ...]
    moves: tuple[Move, ...]
    after_cut: int


@dataclass(frozen=True, slots=True)
class Machine:
    """States 0, 1, ...; state 0 is the one at power-up. `keys` are the core's states in each."""

    core: Core
    nodes: tuple[Node, ...]
    keys: tuple[tuple[Key, ...], ...] = field(repr=False)


class TooLargeError(Exception):
    """The machine has more signals or states than a table can have; the text gives numbers."""


def signal_space(core: Core, running: int) -> tuple[int, ...]:
    """The signals that can be 0 or 1 while the timers of `running` run, by index.

    Not among them are first_scan and the due flags that are sure (`sure_dues`).
    """
    sure = sure_dues(core, running)
    dues = {timer.due for i, timer in enumerate(core.timers) if running >> i & 1} - set(sure)
    return tuple(
        index
        for index, signal in enumerate(core.signals)
        if signal.kind in ("input", "clock") or (signal.kind == "due" and index in dues)
    )


def sure_dues(core: Core, running: int) -> tuple[int, ...]:
    """The due flags that are 1 because a single period is enough, by index: an on-delay that ran
    in the scan before has then run for its preset."""
    return tuple(
        timer.due
        for i, timer in enumerate(core.timers)
        if running >> i & 1 and timer.preset <= core.period
    )


class Stepper:
    """All successors of a core's state at once."""

    def __init__(self, core: Core, more: Sequence[int] = ()) -> None:
        self.core = core
        self.scan = scan_wide(core, more)
        self.retained = sum(bit.retained << i for i, bit in enumerate(core.state))
        self.first_at = [i for i, s in enumerate(core.signals) if s.kind == "first_scan"]

    def words(self, key: Key, space: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
        """The next state bits, outputs and runs of a state, a bit for each pattern of `space`."""
        return self.words_over(
            key, dict(zip(space, variable_masks(len(space)), strict=True)), space
        )

    def words_over(
        self, key: Key, masks: Mapping[int, int], space: Sequence[object]
    ) -> tuple[tuple[int, ...], ...]:
        """The same for patterns of anything (`space`), with the mask of each signal by index."""
        ones = (1 << (1 << len(space))) - 1
        signals = [masks.get(index, 0) for index in range(len(self.core.signals))]
        for index in sure_dues(self.core, key.running):
            signals[index] = ones
        for index in self.first_at:
            signals[index] = ones if key.first else 0
        state = tuple(ones if key.bits >> i & 1 else 0 for i in range(len(self.core.state)))
        return self.scan(ones, state, tuple(signals))

    def moves(self, key: Key, space: tuple[int, ...]) -> list[tuple[int, Key, int, int]]:
        """(mask, successor, outputs, runs) for each different outcome, in a fixed order."""
        after, outputs, runs = self.words(key, space)
        timers = len(self.core.timers)
        runs = runs[: 3 * timers]
        columns = (*after, *outputs, *runs)
        found = []
        low, high = len(after), len(after) + len(outputs)
        for mask, word in split((1 << (1 << len(space))) - 1, columns):
            run_word = word >> high
            running = sum((run_word >> 3 * i & 1) << i for i in range(timers))
            target = Key(word & ((1 << low) - 1), running, False)
            found.append((mask, target, word >> low & ((1 << (high - low)) - 1), run_word))
        return found

    def after_cut(self, key: Key) -> Key:
        """The state in which power comes back."""
        return Key(key.bits & self.retained, 0, True)


def split(ones: int, columns: Sequence[int]) -> list[tuple[int, int]]:
    """The patterns by what the columns show: (mask, word), bit i of the word for column i.

    Sorted by word. No two parts share a pattern or a word, and together they are `ones`.
    Raises TooLargeError where the parts would take more than MAX_BITS.
    """
    most = max(MAX_BITS // ones.bit_length(), 1)
    parts = [(ones, 0)]
    for place, column in enumerate(columns):
        if column == 0:
            continue
        if column == ones:
            parts = [(mask, word | 1 << place) for mask, word in parts]
            continue
        fresh = []
        for mask, word in parts:
            closed = mask & column
            if closed:
                fresh.append((closed, word | 1 << place))
                if closed != mask:
                    fresh.append((mask ^ closed, word))
            else:
                fresh.append((mask, word))
        parts = fresh
        if len(parts) > most:
            raise TooLargeError(f"more than {most:,} different outcomes of the patterns")
    parts.sort(key=lambda part: part[1])
    return parts


def explore(core: Core, most: int = MAX_STATES) -> Machine:
    """Every state that the core can come to from power-up, with power cuts after any scan.

    Raises TooLargeError where there are more than `most` states, more than MAX_SIGNALS signals in
    one of them, more than MAX_WORK states times patterns, or more than MAX_MOVES outcomes.
    """
    stepper = Stepper(core)
    start = Key(0, 0, True)
    index_of = {start: 0}
    order = [start]
    nodes: list[Node] = []
    work = outcomes = 0
    while len(nodes) < len(order):
        key = order[len(nodes)]
        space = signal_space(core, key.running)
        if len(space) > MAX_SIGNALS:
            raise TooLargeError(
                f"{len(space)} signals matter at once, and {MAX_SIGNALS} are the limit"
            )
        work += 1 << len(space)
        if len(order) > most or work > MAX_WORK:
            raise TooLargeError(
                f"more than {len(nodes):,} states with {1 << len(space):,} patterns each"
            )

        def place(target: Key) -> int:
            found = index_of.setdefault(target, len(order))
            if found == len(order):
                order.append(target)
            return found

        moves = tuple(
            Move(mask, place(target), outputs, runs)
            for mask, target, outputs, runs in stepper.moves(key, space)
        )
        nodes.append(Node(space, moves, place(stepper.after_cut(key))))
        outcomes += len(moves)
        if outcomes > MAX_MOVES:
            raise TooLargeError(f"more than {MAX_MOVES:,} rows")
    return Machine(core, tuple(nodes), tuple((key,) for key in order))


def minimise(machine: Machine) -> Machine:
    """The machine with the fewest states that does the same: no two of its states have the same
    timers running and show the same outputs and timers for ever, power cuts included.

    Partition refinement. A part that splits keeps its number for the largest piece, so that only
    the states that lead into the smaller pieces are looked at again.
    """
    nodes = machine.nodes
    sources: list[list[int]] = [[] for _ in nodes]
    for index, node in enumerate(nodes):
        for target in {move.target for move in node.moves} | {node.after_cut}:
            sources[target].append(index)
    part_of = [0] * len(nodes)
    parts: list[list[int]] = []
    first: dict[object, list[int]] = {}
    for index, node in enumerate(nodes):
        first.setdefault((node.space, _signature(node, None)), []).append(index)
    for members in first.values():
        for index in members:
            part_of[index] = len(parts)
        parts.append(members)
    dirty = {number: set(members) for number, members in enumerate(parts)}
    while dirty:
        number, changed = dirty.popitem()
        members = parts[number]
        if len(members) == 1:
            continue
        pieces: dict[object, list[int]] = {}
        calm = len(members) - len(changed)
        if calm:
            one = next(index for index in members if index not in changed)
            pieces[_signature(nodes[one], part_of)] = [i for i in members if i not in changed]
        for index in members if not calm else [i for i in members if i in changed]:
            pieces.setdefault(_signature(nodes[index], part_of), []).append(index)
        if len(pieces) == 1:
            continue
        # the largest piece keeps the number
        ordered = sorted(pieces.values(), key=len, reverse=True)
        parts[number] = ordered[0]
        for piece in ordered[1:]:
            for index in piece:
                part_of[index] = len(parts)
            parts.append(piece)
        for piece in ordered[1:]:
            for source in {source for index in piece for source in sources[index]}:
                dirty.setdefault(part_of[source], set()).add(source)
    return _quotient(machine, part_of)


def _signature(node: Node, part_of: list[int] | None) -> object:
    """What a state does, with parts in place of states; without parts, what it shows."""
    merged: dict[tuple[int, int, int], int] = {}
    for move in node.moves:
        part = -1 if part_of is None else part_of[move.target]
        key = (part, move.outputs, move.runs)
        merged[key] = merged.get(key, 0) | move.mask
    return -1 if part_of is None else part_of[node.after_cut], frozenset(merged.items())


def _quotient(machine: Machine, part_of: list[int]) -> Machine:
    """One state a part, numbered in the order in which they are first met from power-up."""
    number_of: dict[int, int] = {}
    leaders: list[int] = []

    def number(state: int) -> int:
        part = part_of[state]
        if part not in number_of:
            number_of[part] = len(leaders)
            leaders.append(state)
        return number_of[part]

    number(0)
    nodes: list[Node] = []
    while len(nodes) < len(leaders):
        node = machine.nodes[leaders[len(nodes)]]
        merged: dict[tuple[int, int, int], int] = {}
        for move in node.moves:
            key = (number(move.target), move.outputs, move.runs)
            merged[key] = merged.get(key, 0) | move.mask
        moves = tuple(Move(mask, *key) for key, mask in merged.items())
        nodes.append(Node(node.space, moves, number(node.after_cut)))
    keys: list[list[Key]] = [[] for _ in leaders]
    for state, part in enumerate(part_of):
        keys[number_of[part]] += machine.keys[state]
    return Machine(machine.core, tuple(nodes), tuple(tuple(found) for found in keys))


def runs_of(word: int, timers: int) -> Iterator[tuple[bool, bool, bool]]:
    """For each timer whether it runs, is cleared before and cleared after, from a move's runs."""
    for index in range(timers):
        bits = word >> 3 * index
        yield bool(bits & 1), bool(bits & 2), bool(bits & 4)
