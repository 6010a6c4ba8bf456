"""A proof as a file that anyone can check without us: the circuit, the invariant, what is claimed.

The form of the file belongs to the checker, which must not depend on anything else here; this side
only fills it in, and asks the checker about invariants that a search has just found.
"""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from typing import Any

from rungs.core.nodes import TRUE, Core, Lit
from rungs.prove import checker
from rungs.prove.cnf import bad_of
from rungs.prove.results import Invariant, InvariantGates


def certificate(core: Core, invariant: Invariant | InvariantGates, meta: Mapping[str, str]) -> str:
    """The text of a proof file: canonical JSON in ASCII, sealed by a SHA-256 over all of it.

    `meta` are names and texts (program file, its SHA-256, the property's label, tool version,
    period ...), written in the order of the names. Raises ValueError if the core is no question.
    """
    found: dict[str, Any]
    match invariant:
        case Invariant(clauses):
            found = {"clauses": clauses}
        case InvariantGates(gates, root):
            found = {"gates": gates, "root": root}
    return checker.text_of(
        {
            "format": checker.FORMAT,
            "claim": checker.CLAIM,
            "meta": {name: meta[name] for name in sorted(meta)},
            "signals": [signal.name for signal in core.signals],
            "state": [[bit.name, bit.next] for bit in core.state],
            "gates": core.gates,
            "bad": bad_of(core),
            "invariant": found,
        }
    )


def with_meta(text: str, meta: Mapping[str, str]) -> str:
    """The text of a proof file with other names and texts about it, sealed anew."""
    parts = json.loads(text)
    del parts["sha256"]
    return checker.text_of({**parts, "meta": {name: meta[name] for name in sorted(meta)}})


def recheck(core: Core, invariant: Invariant | InvariantGates) -> bool:
    """Whether the checker accepts the invariant, without a file; False too if it cannot tell."""
    match invariant:
        case Invariant(clauses):
            gates, root = as_gates(core, clauses)
        case InvariantGates(gates, root):
            pass
    if not _plain(core, gates, root):
        return False
    claim = checker.Claim(
        len(core.signals),
        tuple(bit.next for bit in core.state),
        core.gates,
        bad_of(core),
        gates,
        root,
    )
    try:
        checker.check(claim)
    except checker.Rejected:
        return False
    return True


def as_gates(
    core: Core, clauses: Sequence[Sequence[Lit]]
) -> tuple[tuple[tuple[Lit, ...], ...], Lit]:
    """Clauses as the gates and the root of the general form."""
    if not clauses:
        return (), TRUE
    first = core.first_gate
    gates = [tuple(lit ^ 1 for lit in clause) for clause in clauses]
    gates.append(tuple((first + number) * 2 + 1 for number in range(len(clauses))))
    return tuple(gates), (first + len(clauses)) * 2


def _plain(core: Core, gates: Sequence[Sequence[Lit]], root: Lit) -> bool:
    """Whether an invariant reads nothing but state bits, constants and its own gates before."""

    def may(lit: Lit, end: int) -> bool:
        node = lit >> 1
        return node == 0 or core.first_state <= node < end

    return may(root, core.first_gate + len(gates)) and all(
        may(lit, node) for node, gate in enumerate(gates, core.first_gate) for lit in gate
    )
