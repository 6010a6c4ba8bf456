"""The reachable states of a core, with all patterns of its signals looked at together, and the
smallest machine that does the same.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field

from rungs.core.nodes import Core
from rungs.core.patterns import TooLargeError
from rungs.prove.states import Key, Stepper, signal_space

MAX_SIGNALS = 20
MAX_STATES = 20_000
MAX_WORK = 1 << 31  # states times patterns: about a minute
MAX_MOVES = 1_000_000  # different outcomes of all states together


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
