"""A panel's wiring as one piece of frozen data, which the lists, the drawing and the JSON all read.

What the file does not say is kept as unknown and told with what to write, since a wiring plan that
guesses is worse than none.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rungs.panel.protection import ELV_AC
from rungs.program.nodes import Input, Output, Program, Supply
from rungs.wiring.io_list import IoRow, io_rows
from rungs.wiring.parts import Part, is_inductive, parts_of
from rungs.wiring.terminals import Strip, fuse_of, lay_strip, supplies_of
from rungs.wiring.wires import Conductor, InputCircuit, OutputCircuit, figure, schedule

ISOLATE: Final = "Isolate the supply before work; local codes and licensed practice decide."


@dataclass(frozen=True, slots=True)
class Wiring:
    """All that is known of a panel's wiring.

    `refusal` says why it must not be drawn; empty if it may. `unknown` are sentences on what the
    file leaves open and what to write.
    """

    title: str
    supplies: tuple[Supply, ...]
    rows: tuple[IoRow, ...]
    strip: Strip
    wires: tuple[Conductor, ...]
    inputs: tuple[InputCircuit, ...]
    outputs: tuple[OutputCircuit, ...]
    parts: tuple[Part, ...]
    refusal: str
    cautions: tuple[str, ...]
    unknown: tuple[str, ...]


def wiring(program: Program) -> Wiring:
    """Plan the wiring of a panel; the same plan for the same program."""
    strip = lay_strip(program)
    plan = schedule(program, strip)
    refusal = refusal_of(program)
    return Wiring(
        program.title,
        program.supplies,
        io_rows(program),
        strip,
        plan.wires,
        plan.inputs,
        plan.outputs,
        parts_of(program, strip, plan),
        refusal,
        (*([refusal] if refusal else []), *_cautions(program)),
        tuple(_unknown(program)),
    )


def refusal_of(program: Program) -> str:
    """Why this panel must not be drawn as one; empty if it may be.

    The file does not tell ac from dc, so the lower limit counts (50 V ac: IEC 61140, IEC 60364-4-41
    clause 414). More than that does not belong beside extra-low voltage (SELV) on one strip, board
    or cable. The board's inputs and relay coils are extra-low voltage in every panel.
    """
    high = [
        f"supply '{s.name}' ({figure(s.volts)} V)" for s in program.supplies if s.volts > ELV_AC
    ]
    high += [
        f"the load of '{o.name}' ({figure(o.load.volts)} V)"
        for o in program.outputs
        if o.load is not None and o.load.volts > ELV_AC
    ]
    if not high:
        return ""
    return (
        f"Above 50 V: {', '.join(high)}. The board and its inputs are extra-low voltage, and the "
        "two must not share a strip, a board or a cable, so no wiring is drawn. Have licensed "
        "hands put the higher voltage in a panel of its own or behind a partition, switched by "
        "contactors whose coils take at most 50 V, and write those coils as the loads. The lists "
        "are for planning only; nothing is to be wired from them."
    )


def _cautions(program: Program) -> Iterator[str]:
    known = supplies_of(program)
    yield ISOLATE
    yield (
        "A program is never the only safety function: emergency stops and guards are hard-wired, "
        "and outputs that must never be on together need an interlock of contacts as well."
    )
    if program.inputs:
        yield (
            "Input contacts are dry: their common comes from the board alone. Which pole it is, "
            "and whether it may be joined with a supply, the board's own papers say."
        )
    if any(is_inductive(output.load) for output in program.outputs):
        yield (
            "Windings need a suppression part. A plain diode makes a dc relay or contactor release "
            "several times slower: a pause between opposite movements must be longer than that."
        )
    for output in program.outputs:
        supply, rating = known.get(output.name), fuse_of(output)
        if supply is not None and rating is not None and rating > supply.amps:
            yield (
                f"The fuse of '{output.name}' ({figure(rating)} A) is larger than what supply "
                f"'{supply.name}' gives ({figure(supply.amps)} A): it may not blow at a short."
            )


def _unknown(program: Program) -> Iterator[str]:
    known = supplies_of(program)
    yield (
        "The file does not say how the board itself is supplied; the spare terminals have room for "
        "it. Sizes of the wires inside the panel are for whoever builds it to choose, for 125 % of "
        "the load or more."
    )
    devices: tuple[Input | Output, ...] = (*program.inputs, *program.outputs)
    blank = [device.name for device in devices if device.wire is None]
    if blank:
        yield f"Wire unknown: {_names(blank)}. Write: wire 6 m 0.75 mm2"
    blank = [o.name for o in program.outputs if o.load is None]
    if blank:
        yield (
            f"Load unknown: {_names(blank)}. The contact ends on a free terminal, without a fuse, "
            "and the cable beyond it is in no list. Write: load 24 V 0.5 A led"
        )
    blank = [o.name for o in program.outputs if o.name not in known]
    if blank:
        yield f"Supply unknown: {_names(blank)}. {_which(program, blank)}"
    odd = [o.name for o in program.outputs if _differs(o, known.get(o.name))]
    if odd:
        yield f"Volts of load and supply differ: {_names(odd)}. Correct one of them."


def _which(program: Program, blank: list[str]) -> str:
    ending = "Feed and return are free terminals. "
    if not program.supplies:
        return f"{ending}Write: supply main 24 V 4 A"
    return f"{ending}Write behind {blank[0]}: from {program.supplies[0].name}"


def _differs(output: Output, supply: Supply | None) -> bool:
    if supply is None or output.load is None:
        return False
    return abs(supply.volts - output.load.volts) > 1e-9


def _names(names: list[str]) -> str:
    return ", ".join(f"'{name}'" for name in names)
