"""Circuits seen from outside: what properties and expectations say of the panel after a scan.

They may speak of broken wires and lit loads, which no rung can see, and their edges compare the
ends of two scans.
"""

from __future__ import annotations

from collections.abc import Mapping
from typing import assert_never

from rungs.program.nodes import Circuit, Compare, Contact, Leaf, Output, Parallel, Program, Series
from rungs.scan.reference import State, is_timing


def holds(
    program: Program, before: State, after: State, wires: Mapping[str, str], circuit: Circuit
) -> bool:
    """Whether a circuit is closed after a scan; `wires` tells each input's wire fault."""
    match circuit:
        case Series():
            return all(holds(program, before, after, wires, part) for part in circuit.parts)
        case Parallel():
            return any(holds(program, before, after, wires, part) for part in circuit.parts)
        case Contact() | Compare():
            return conducts(program, before, after, wires, circuit)
        case _:
            assert_never(circuit)


def conducts(
    program: Program, before: State, after: State, wires: Mapping[str, str], leaf: Leaf
) -> bool:
    """Whether one contact is closed after a scan."""
    if isinstance(leaf, Compare):
        return leaf.holds(after.counts[leaf.name])
    return _seen(program, before, after, wires, leaf) != leaf.negated


def _seen(
    program: Program, before: State, after: State, wires: Mapping[str, str], leaf: Contact
) -> bool:
    name = leaf.name
    match leaf.kind:
        case "closed":
            return after.contacts[name]
        case "first_scan":
            return after.first
        case "timing":
            return is_timing(program, after, name)
        case "rising" | "falling":
            if after.first or not after.powered:
                return False
            changed = before.contacts[name] != after.contacts[name]
            return changed and after.contacts[name] == (leaf.kind == "rising")
        case "broken" | "shorted":
            return wires.get(name, "sound") == leaf.kind
        case "load":
            output = program.by_name[name]
            assert isinstance(output, Output)
            return after.powered and after.contacts[name] != (output.side == "NC")
        case _:
            assert_never(leaf.kind)
