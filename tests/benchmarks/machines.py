"""Tables: truth tables, reachable states with all patterns at once, and minimisation."""

from __future__ import annotations

from itertools import product
from random import Random

from rungs.core.lower import lower
from rungs.core.nodes import Core
from rungs.core.reduce import reduce
from rungs.program.nodes import Circuit, Parallel, Program, Series
from rungs.scan.generate import scan_once
from rungs.table.machine import Machine, Move, Node, explore, minimise
from rungs.table.truth import truth_table
from tests.benchmarks.compiled_c import c_scan_us
from tests.benchmarks.measure import rows_text, show, timed
from tests.helpers import program_of


def truth_tables() -> None:
    """Goals at 30 rungs and 20 signals: at most 6 times C, 180 times faster than a loop."""
    for signals in (8, 16, 20):
        _truth_table_of(signals)


def _truth_table_of(signals: int) -> None:
    program = program_of(rows_text(signals, 30))
    ours = timed(lambda: truth_table(program), 5)
    height = 1 << signals
    rows = min(2_000, height)
    loop = timed(lambda: _loop(program, signals, rows), 3) * height / rows
    core = reduce(lower(program), [output.name for output in program.outputs])
    c_us = c_scan_us(core, 1 << 20)
    peer = "no gcc here" if c_us is None else f"{ours / (c_us * height / 1000):.1f} x C"
    ratio = f"{peer}; 1/{loop / ours:,.0f} of a loop"
    show(f"truth table, 30 rungs, {signals} signals", ours, "ms", ratio)


def _loop(program: Program, signals: int, rows: int) -> int:
    names = [f"a{n}" for n in range(signals)]
    count = 0
    for number, pattern in enumerate(product((False, True), repeat=signals)):
        if number == rows:
            break
        at = dict(zip(names, pattern, strict=True))
        count += sum(_plain(rung.circuit, at) for rung in program.rungs)
    return count


def _plain(circuit: Circuit, at: dict[str, bool]) -> bool:
    if isinstance(circuit, Series):
        return all(_plain(part, at) for part in circuit.parts)
    if isinstance(circuit, Parallel):
        return any(_plain(part, at) for part in circuit.parts)
    return at[circuit.name] != getattr(circuit, "negated", False)


def _latches(latches: int, inputs: int) -> Core:
    """Latches that inputs set and clear: every combination of them can be reached."""
    text = "".join(f"input a{n} at I{n}\n" for n in range(inputs))
    for n in range(latches):
        one, two, three = n % inputs, (n * 5 + 3) % inputs, (n * 7 + 1) % inputs
        text += f"output o{n} at R{n}\n"
        text += (
            f"rung a{one} and not a{two} -> latch o{n}\nrung a{two} and a{three} -> unlatch o{n}\n"
        )
    program = program_of(text)
    return reduce(lower(program), [output.name for output in program.outputs])


def reachable() -> None:
    """All patterns of 12 inputs at once: the goal is 300 times faster than a plain loop."""
    for steps in (16, 64, 256):
        _reachable_of("a sequence", _sequence(steps, 12))
    # where every latch can move at any time there are hundreds of outcomes a state to tell apart
    for latches in (4, 8):
        _reachable_of("free latches", _latches(latches, 12))


def _sequence(steps: int, inputs: int) -> Core:
    """Steps that follow one another when their inputs are closed, and may go back."""
    text = "".join(f"input a{n} at I{n}\n" for n in range(inputs)) + "output o at R1\n"
    text += "".join(f"relay s{n}\n" for n in range(steps))
    for n in range(steps):
        on, off = n % inputs, (n * 5 + 3) % inputs
        before = f"s{n - 1}" if n else "first_scan"
        text += f"rung {before} and a{on} and not a{off} -> latch s{n}, unlatch s{max(n - 1, 0)}\n"
    text += f"rung s{steps - 1} or a0 and s0 -> o\n"
    text = text.replace("latch s0, unlatch s0", "latch s0")
    return reduce(lower(program_of(text)), ["o"])


def _reachable_of(what: str, core: Core) -> None:
    ours = timed(lambda: explore(core), 3)
    states = len(explore(core).nodes)
    part = timed(lambda: _plain_search(core, 2), 1) / 2
    ratio = f"1/{part * states / ours:,.0f} of a plain loop (from 2 states of it)"
    show(f"reachable: {what}, {states:,} states", ours, "ms", ratio)


def _plain_search(core: Core, most: int) -> int:
    """Breadth first, pattern by pattern, for a number of states."""
    step = scan_once(core)
    free = [i for i, signal in enumerate(core.signals) if signal.kind != "first_scan"]
    seen = {(False,) * len(core.state)}
    order = list(seen)
    for state in order[:most]:
        for pattern in product((False, True), repeat=len(free)):
            signals = [False] * len(core.signals)
            for index, bit in zip(free, pattern, strict=True):
                signals[index] = bit
            after = step(state, tuple(signals))[0]
            if after not in seen:
                seen.add(after)
                order.append(after)
    return len(seen)


def minimisation() -> None:
    """Random machines over 8 inputs, half of whose states repeat another: the goal is 2 s at 10,000
    states. The peer is plain refinement by rows of all patterns."""
    for states in (100, 1_000, 10_000):
        _minimisation_of(states)


def _minimisation_of(states: int) -> None:
    machine = _random_machine(states, 8)
    ours = timed(lambda: minimise(machine), 1)
    left = len(minimise(machine).nodes)
    peer = "" if states > 1_000 else f"1/{timed(lambda: _refined(machine), 1) / ours:.1f} of it"
    show(f"minimise {states:,} states to {left:,}", ours, "ms", peer)


def _random_machine(states: int, inputs: int) -> Machine:
    rng = Random(states)
    half = states // 2
    nodes: list[Node] = []
    for index in range(states):
        if index >= half:
            # the same moves as an earlier state, but to any of each pair of twins
            moves = tuple(
                Move(m.mask, m.target % half + rng.choice((0, half)), m.outputs, m.runs)
                for m in nodes[index - half].moves
            )
        else:
            masks = [0] * rng.randint(2, 24)
            for pattern in range(1 << inputs):
                masks[rng.randrange(len(masks))] |= 1 << pattern
            moves = tuple(
                Move(mask, rng.randrange(states), rng.randrange(4), 0) for mask in masks if mask
            )
        nodes.append(Node(tuple(range(inputs)), moves, 0))
    core = _latches(1, inputs)
    return Machine(core, tuple(nodes), tuple(() for _ in nodes))


def _refined(machine: Machine) -> int:
    """Parts of states by their outputs, split by the parts of their successors until none does."""
    tables = []
    for node in machine.nodes:
        row = [(0, 0)] * 256
        for move in node.moves:
            for pattern in range(256):
                if move.mask >> pattern & 1:
                    row[pattern] = (move.target, move.outputs)
        tables.append(row)
    part = [0] * len(tables)
    while True:
        keys: dict[object, int] = {}
        fresh = [
            keys.setdefault(tuple((part[target], shown) for target, shown in row), len(keys))
            for row in tables
        ]
        if len(keys) == len(set(part)):
            return len(keys)
        part = fresh
