"""Circuits and properties of the checked program as text of the language."""

from __future__ import annotations

from typing import assert_never

from rungs.language.words import duration_text
from rungs.program.nodes import Circuit, Compare, Contact, Parallel, Property, Series


def circuit_text(circuit: Circuit) -> str:
    """A circuit as it can be written in a file, on one line."""
    match circuit:
        case Series():
            return " and ".join(
                f"({circuit_text(part)})" if isinstance(part, Parallel) else circuit_text(part)
                for part in circuit.parts
            )
        case Parallel():
            return " or ".join(circuit_text(part) for part in circuit.parts)
        case Compare():
            return f"{circuit.name} {circuit.op} {circuit.number}"
        case Contact():
            return contact_text(circuit)
        case _:
            assert_never(circuit)


def property_text(item: Property) -> str:
    """A property without its label, as it can be written."""
    circuit = circuit_text(item.circuit)
    match item.kind:
        case "require":
            assert item.when is not None
            within = f" within {duration_text(item.within)}" if item.within else ""
            return f"when {circuit_text(item.when)} then {circuit}{within}"
        case "assume":
            return f"never {circuit}"
        case "never" | "always":
            return f"{item.kind} {circuit}"


def contact_text(leaf: Contact) -> str:
    """One contact as it can be written in a file."""
    match leaf.kind:
        case "closed":
            words = leaf.name
        case "first_scan":
            words = "first_scan"
        case "timing" | "load":
            words = f"{leaf.name}.{leaf.kind}"
        case "rising" | "falling" | "broken" | "shorted":
            words = f"{leaf.kind} {leaf.name}"
        case _:
            assert_never(leaf.kind)
    return f"not {words}" if leaf.negated else words
