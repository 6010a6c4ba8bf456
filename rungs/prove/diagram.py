"""A set of states as a few gates: a decision diagram of all that an explicit search has seen.

Written like this, the states are an invariant that can be checked without searching again.
"""

from __future__ import annotations

from collections.abc import Sequence

from rungs.core.nodes import FALSE, TRUE, Core, Gates, Lit
from rungs.prove.results import InvariantGates


def diagram(circuit: Core, states: Sequence[int], over: int | None = None) -> InvariantGates:
    """The states (bit i for state bit i) as gates over the state bits of a circuit.

    States in which bit `over` is 1 belong to it as well, since nothing follows from them.
    """
    gates = Gates(len(circuit.signals) + len(circuit.state))
    first = circuit.first_state

    def part(some: list[int], place: int) -> Lit:
        if not some:
            return FALSE
        if place == len(circuit.state):
            return TRUE
        on = [state for state in some if state >> place & 1]
        off = [state for state in some if not state >> place & 1]
        return gates.choose((first + place) * 2, part(on, place + 1), part(off, place + 1))

    root = part(list(states), 0)
    if over is not None:
        root = gates.disj(root, (first + over) * 2)
    return InvariantGates(tuple(gates.made), root)
