"""The I/O list: what is on each terminal of the board, in the words of the trade.

It says for every input how its circuit stands at rest, because a technician with a meter meets the
circuit and not the button.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rungs.program.nodes import Load, Program, Wire
from rungs.wiring.terminals import supplies_of
from rungs.wiring.wires import UNKNOWN, figure, size_text


@dataclass(frozen=True, slots=True)
class IoRow:
    """One input or output. `device` is the kind of contact or load, `rest` how the circuit of an
    input stands with its actuator released, or an output's load with its coil off."""

    terminal: str
    name: str
    direction: Literal["input", "output"]
    device: str
    contact: str
    rest: str
    supply: str
    wire: str
    label: str


def io_rows(program: Program) -> tuple[IoRow, ...]:
    """All inputs and then all outputs, in file order."""
    rows = [
        IoRow(
            device.terminal,
            device.name,
            "input",
            f"dry contact, {device.actuator}",
            device.side,
            "open" if device.side == "NO" else "closed",
            "",
            wire_text(device.wire),
            device.label,
        )
        for device in program.inputs
    ]
    known = supplies_of(program)
    for output in program.outputs:
        supply = known.get(output.name)
        rows.append(
            IoRow(
                output.terminal,
                output.name,
                "output",
                load_text(output.load),
                output.side,
                "off" if output.side == "NO" else "on",
                UNKNOWN if supply is None else supply.name,
                wire_text(output.wire),
                output.label,
            )
        )
    return tuple(rows)


def load_text(load: Load | None) -> str:
    """`led 24 V 1.2 A`, or that the load is unknown."""
    if load is None:
        return f"load {UNKNOWN}"
    return f"{load.kind} {figure(load.volts)} V {figure(load.amps)} A"


def wire_text(wire: Wire | None) -> str:
    """`14 m 1.5 mm2`, or that the wire is unknown."""
    return UNKNOWN if wire is None else f"{figure(wire.length_m)} m {size_text(wire)}"
