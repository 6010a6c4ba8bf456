"""Which rungs drive a device and which read it.

Data rather than text, because a drawing, a screen and a printed list each show it in another shape.
"""

from __future__ import annotations

from dataclasses import dataclass

from rungs.program.nodes import Program, Verb, leaves


@dataclass(frozen=True, slots=True)
class Driver:
    """A rung that acts on a device, and how."""

    rung: int
    verb: Verb


@dataclass(frozen=True, slots=True)
class References:
    """Where one device stands in the rungs: all in rung order, each rung once a verb or reading."""

    name: str
    driven_by: tuple[Driver, ...] = ()
    read_by: tuple[int, ...] = ()


def cross_reference(program: Program) -> dict[str, References]:
    """The references of every device of `program` by name, in file order.

    Only rungs count, not properties or scenarios. A device that no rung names has an entry with two
    empty tuples.
    """
    driven: dict[str, dict[Driver, None]] = {device.name: {} for device in program.devices}
    read: dict[str, dict[int, None]] = {}
    for rung in program.rungs:
        for leaf in leaves(rung.circuit):
            if leaf.name:  # first_scan looks at no device
                read.setdefault(leaf.name, {})[rung.number] = None
        for action in rung.actions:
            driven.setdefault(action.name, {})[Driver(rung.number, action.verb)] = None
    return {
        name: References(name, tuple(driven.get(name, ())), tuple(read.get(name, ())))
        for name in dict.fromkeys((*driven, *read))
    }
