"""The gates of a circuit as clauses: one step of what a question depends on, or many in a row.

A clause is a list of signed variables, as every SAT solver reads them. Only the cone of a question
is written; the chain of steps begins in the state that is all 0, so constants fold away as far as
they reach, which on ladders is most of the first steps.
"""

from __future__ import annotations

import importlib
import signal
from collections.abc import Callable, Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Any

from rungs.core.nodes import Core, Lit

Clause = list[int]

MISSING = (
    "the search library (python-sat) is not installed; `pip install python-sat` lets proofs run"
)


class SolverFailed(Exception):  # noqa: N818 - says what a search ended by, as OutOfBudget does
    """A solver gave no plain answer, or is not there; the text says which."""


def bad_of(core: Core) -> Lit:
    """The literal that must never be 1. ValueError if the core is no question."""
    if core.timers:
        raise ValueError("a question has no timers: they must be signals and state bits by now")
    if not core.outputs:
        raise ValueError("a question needs an output that says what is bad")
    return core.outputs[0].lit


def new_solver(name: str) -> Any:
    """An empty solver of the library by that name, which is only loaded here.

    Raises SolverFailed if the library or this solver of it is missing.
    """
    try:
        # proofs alone need it, and `rungs --help` must not load it
        solvers = importlib.import_module("pysat.solvers")
        # the classes themselves cost one call less than the wrapper round all of them
        return getattr(solvers, name)()
    except ImportError:
        raise SolverFailed(MISSING) from None
    except Exception as error:
        raise SolverFailed(f"the solver {name} did not start: {error}") from error


def broken_off(error: Exception) -> SolverFailed:
    """What to raise for an error of the solver library. While a solver runs the library takes
    Ctrl-C for itself and makes an error of it; it is handed on, so that whoever waits for it hears
    of it."""
    if "keyboard interrupt" in str(error).lower():
        signal.raise_signal(signal.SIGINT)
    return SolverFailed(f"a solver broke off: {error}")


def ask(solver: Any, assumptions: Sequence[int]) -> bool:
    """Whether the clauses can be satisfied under the assumptions.

    Nothing but a plain True or False counts: a solver that gives up, or breaks, must never look
    like one that found nothing. Raises SolverFailed then.
    """
    try:
        answer = solver.solve(assumptions)
    except Exception as error:
        raise broken_off(error) from error
    if answer is True:
        return True
    if answer is False:
        return False
    raise SolverFailed(f"a solver gave no answer ({answer!r})")


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the cone of a question. Variables 1 to `top`: a constant (1, which is true), the
    signals, the state bits, then the gates.

    `signals` and `state` are indices in the core, in the order of their variables; `stuck` are the
    nodes of state bits, in the cone or not, that are taken as the constant 0; `after` is the
    literal of what each state bit becomes. `inputs[v]` are the literals that gate `v` is the And
    of, empty for all else.
    """

    core: Core
    signals: tuple[int, ...]
    state: tuple[int, ...]
    stuck: frozenset[int]
    after: tuple[int, ...]
    bad: int
    inputs: tuple[tuple[int, ...], ...]
    top: int

    @property
    def first_state(self) -> int:
        """The variable of the first state bit."""
        return 2 + len(self.signals)

    @property
    def first_gate(self) -> int:
        """The variable of the first gate."""
        return 2 + len(self.signals) + len(self.state)

    def clauses(self) -> list[Clause]:
        """The gates as clauses, and the constant."""
        # the first says nothing, but lets the solver know of all variables: not all are in gates
        made: list[Clause] = [[1, self.top], [1]]
        for gate in range(self.first_gate, self.top + 1):
            made += and_clauses(gate, self.inputs[gate])
        return made

    def lit_of(self, literal: int) -> Lit:
        """A signed variable of a state bit as a literal of the core."""
        node = self.core.first_state + self.state[abs(literal) - self.first_state]
        return node * 2 + (literal < 0)

    def signed(self, lit: Lit) -> int:
        """A literal of a state bit of the core as a signed variable; ValueError if it is not in the
        cone."""
        variable = self.first_state + self.state.index((lit >> 1) - self.core.first_state)
        return -variable if lit & 1 else variable


def and_clauses(gate: int, inputs: Sequence[int]) -> list[Clause]:
    """`gate` is 1 exactly if all inputs are."""
    return [*([-gate, lit] for lit in inputs), [gate, *(-lit for lit in inputs)]]


def cone(core: Core, wanted: Iterable[Lit], ends: Collection[int] = ()) -> bytearray:
    """1 for each node on which the wanted literals depend over any number of steps; the search
    does not go on behind the state bits in `ends`."""
    first_state, first_gate = core.first_state, core.first_gate
    needed = bytearray(first_gate + len(core.gates))
    stack = [lit >> 1 for lit in wanted]
    while stack:
        node = stack.pop()
        if needed[node]:
            continue
        needed[node] = 1
        if node >= first_gate:
            stack += [lit >> 1 for lit in core.gates[node - first_gate]]
        elif node >= first_state and node not in ends:
            stack.append(core.state[node - first_state].next >> 1)
    return needed


def step_of(core: Core, fold: bool = True) -> Step:
    """The cone of the question, over any number of steps.

    With `fold`, state bits that can never leave 0, as far as that shows without knowing any signal,
    are taken as the constant. Raises ValueError if the core is no question.
    """
    bad = bad_of(core)
    stuck = stuck_bits(core) if fold else frozenset()
    first_state, first_gate = core.first_state, core.first_gate
    needed = cone(core, [bad], stuck)
    # signed variable of every node; variable 1 is true
    image = [0] * len(needed)
    image[0] = -1
    signals = [n for n in range(first_state - 1) if needed[1 + n]]
    state = [
        n
        for n in range(len(core.state))
        if needed[first_state + n] and first_state + n not in stuck
    ]
    for node in stuck:
        image[node] = -1
    for variable, number in enumerate(signals, 2):
        image[1 + number] = variable
    for variable, number in enumerate(state, 2 + len(signals)):
        image[first_state + number] = variable
    inputs: list[tuple[int, ...]] = [()] * (2 + len(signals) + len(state))
    known: dict[tuple[int, ...], int] = {}
    for number, gate in enumerate(core.gates):
        if needed[first_gate + number]:
            image[first_gate + number] = _gate(
                [-image[lit >> 1] if lit & 1 else image[lit >> 1] for lit in gate], inputs, known
            )

    def signed(lit: Lit) -> int:
        return -image[lit >> 1] if lit & 1 else image[lit >> 1]

    return Step(
        core,
        tuple(signals),
        tuple(state),
        stuck,
        tuple(signed(core.state[n].next) for n in state),
        signed(bad),
        tuple(inputs),
        len(inputs) - 1,
    )


def _gate(
    parts: list[int], inputs: list[tuple[int, ...]], known: dict[tuple[int, ...], int]
) -> int:
    """The signed variable of an And, made if it is new; constants, repeats and opposites fold."""
    wanted = sorted({part for part in parts if part != 1})
    if not wanted:
        return 1
    if wanted[0] == -1 or -1 in wanted:
        return -1
    if len(wanted) == 1:
        return wanted[0]
    whole = set(wanted)
    if any(-part in whole for part in wanted):
        return -1
    key = tuple(wanted)
    found = known.get(key)
    if found is None:
        found = known[key] = len(inputs)
        inputs.append(key)
    return found


def stuck_bits(core: Core) -> frozenset[int]:
    """The nodes of state bits that are 0 in every step whatever the signals are.

    Three values: a bit that may have become 1 is unknown from then on, until nothing changes.
    """
    # 0, 1, or 2 for unknown
    values = [0] + [2] * len(core.signals) + [0] * len(core.state) + [2] * len(core.gates)
    first_state, first_gate = core.first_state, core.first_gate
    while True:
        for node, gate in enumerate(core.gates, first_gate):
            value = 1
            for lit in gate:
                part = values[lit >> 1]
                if part == 2:
                    value = 2
                elif part == lit & 1:
                    value = 0
                    break
            values[node] = value
        changed = False
        for number, bit in enumerate(core.state):
            if values[first_state + number] == 0:
                part = values[bit.next >> 1]
                if part == 2 or part != bit.next & 1:
                    values[first_state + number] = 2
                    changed = True
        if not changed:
            return frozenset(n for n in range(first_state, first_gate) if values[n] == 0)


class Unrolled:
    """Any literal of the core at any step from the all-0 state, written to a solver when it is
    first asked for. Signed variable 1 is true."""

    def __init__(self, core: Core, add: Callable[[Clause], object]) -> None:
        self.core = core
        self.add = add
        self.top = 1
        self._images: list[list[int]] = []
        self._known: dict[tuple[int, ...], int] = {}
        add([1])

    def at(self, step: int, lit: Lit) -> int:
        """The signed variable of a literal of the core at a step, counted from 0."""
        while len(self._images) <= step:
            image = [0] * (self.core.first_gate + len(self.core.gates))
            image[0] = -1
            self._images.append(image)
        found = self._images[step][lit >> 1] or self._made(step, lit >> 1)
        return -found if lit & 1 else found

    def seen(self, step: int, node: int) -> int:
        """The signed variable of a node at a step if it has been written, else 0."""
        return self._images[step][node] if step < len(self._images) else 0

    def _made(self, step: int, node: int) -> int:
        core, images = self.core, self._images
        first_state, first_gate, gates = core.first_state, core.first_gate, core.gates
        stack = [(step, node)]
        while stack:
            step, node = stack[-1]
            image = images[step]
            if image[node]:
                stack.pop()
            elif node >= first_gate:
                gate = gates[node - first_gate]
                missing = [(step, lit >> 1) for lit in gate if not image[lit >> 1]]
                if missing:
                    stack += missing
                else:
                    image[node] = self._conj(
                        [-image[lit >> 1] if lit & 1 else image[lit >> 1] for lit in gate]
                    )
                    stack.pop()
            elif node < first_state:
                self.top += 1
                image[node] = self.top
                stack.pop()
            elif step == 0:
                image[node] = -1
                stack.pop()
            else:
                before = core.state[node - first_state].next
                found = images[step - 1][before >> 1]
                if found:
                    image[node] = -found if before & 1 else found
                    stack.pop()
                else:
                    stack.append((step - 1, before >> 1))
        return image[node]

    def _conj(self, parts: list[int]) -> int:
        wanted = {part for part in parts if part != 1}
        if -1 in wanted:
            return -1
        if len(wanted) < 2:
            return wanted.pop() if wanted else 1
        for part in wanted:
            if -part in wanted:
                return -1
        key = tuple(sorted(wanted))
        found = self._known.get(key)
        if found is None:
            self.top += 1
            found = self._known[key] = self.top
            add = self.add
            for part in key:
                add([-found, part])
            add([found, *(-part for part in key)])
        return found


def steps_of(core: Core, run: Sequence[Sequence[bool]]) -> list[list[int]]:
    """The value (0 or 1) of every node in every step of a run from the all-0 state."""
    return list(_played(core, run, list(enumerate(core.gates, core.first_gate))))


def shows_bad(core: Core, run: Sequence[Sequence[bool]]) -> bool:
    """Whether a run ends in a step that shows bad, and has no such step before."""
    return bool(run) and first_bad(core, run) == len(run) - 1


def first_bad(core: Core, run: Sequence[Sequence[bool]]) -> int | None:
    """The first step of a run from the all-0 state that shows bad, counted from 0."""
    bad = bad_of(core)
    needed = cone(core, [bad])
    gates = [pair for pair in enumerate(core.gates, core.first_gate) if needed[pair[0]]]
    for step, values in enumerate(_played(core, run, gates)):
        if values[bad >> 1] != bad & 1:
            return step
    return None


def _played(
    core: Core, run: Sequence[Sequence[bool]], gates: Sequence[tuple[int, tuple[Lit, ...]]]
) -> Iterator[list[int]]:
    """The values of the nodes in each step, worked out plainly for the given gates."""
    state = [0] * len(core.state)
    for signals in run:
        values = [0, *map(int, signals), *state]
        values += [0] * len(core.gates)
        for node, gate in gates:
            value = 1
            for lit in gate:
                if values[lit >> 1] == lit & 1:
                    value = 0
                    break
            values[node] = value
        yield values
        state = [values[bit.next >> 1] ^ (bit.next & 1) for bit in core.state]
