"""The wires of the field: voltage drop of each load's run, loop resistance of each input's.

A drop is judged by the file's `design`, or else by what IEC 60364-5-52 annex G advises, with the
copper as hot as usual insulation may be.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rungs.panel.conductors import (
    SIZES_AWG,
    SIZES_MM2,
    Drop,
    conductor,
    drop,
    longest_m,
    loop_ohms,
    size_words,
    smallest_that_passes,
)
from rungs.panel.verdict import Verdict
from rungs.program.nodes import Design, Input, Output, Program

# IEC 60364-5-52:2009 annex G, table G.52.1: 3 % for lighting, 5 % for other uses.
DROP_LIGHTING: Final = 3.0
DROP_OTHER: Final = 5.0
LIGHTING: Final = ("led", "lamp")
RESERVE: Final = 20.0  # percent of a supply; common practice, no source
# The most that usual PVC insulation may have. A cooler wire has less resistance, so what passes at
# this temperature passes at any below it.
CONDUCTORS: Final = 70.0
# Coils of class 1 operate from 80 % of their rated volts (IEC 61810-1).
PULL_IN: Final = 80.0
PULLING: Final = ("coil", "valve")


@dataclass(frozen=True, slots=True)
class Limits:
    """What the sums go by, and for each whether the file says so."""

    drop: float | None
    lighting: float
    other: float
    reserve: float
    reserve_given: bool
    conductors: float
    conductors_given: bool

    def drop_of(self, kind: str) -> float:
        """The most drop in percent for a kind of load."""
        return self.lighting if kind in LIGHTING else self.other


def limits(design: Design) -> Limits:
    """The limits of a file, with the usual ones for those that it does not give."""
    return Limits(
        design.drop,
        DROP_LIGHTING if design.drop is None else design.drop,
        DROP_OTHER if design.drop is None else design.drop,
        RESERVE if design.reserve is None else design.reserve,
        design.reserve is not None,
        CONDUCTORS if design.conductors is None else design.conductors,
        design.conductors is not None,
    )


@dataclass(frozen=True, slots=True)
class LoadWire:
    """The run to one load. What is not known is None, and `why` says what to write.

    `amps`, `volts`: of the load. `ohm_per_km` at the conductor temperature, and its `basis` in
    words. `smallest` is the thinnest standard size of the same make that passes, or that none does.
    `longest_m` is how far the size given would do.
    """

    output: str
    length_m: float | None
    size: str
    ohm_per_km: float | None
    basis: str
    volts: float | None
    amps: float | None
    kind: str
    loop_ohms: float | None
    drop_volts: float | None
    drop_percent: float | None
    load_volts: float | None
    limit_percent: float | None
    longest_m: float | None
    smallest: str
    verdict: Verdict
    why: str


@dataclass(frozen=True, slots=True)
class InputWire:
    """The run to one dry contact: out and back in ohm, None where the wire is not given."""

    input: str
    length_m: float | None
    size: str
    loop_ohms: float | None
    why: str


def load_wires(program: Program) -> tuple[LoadWire, ...]:
    """The runs of all outputs in file order."""
    chosen = limits(program.design)
    return tuple(_load_wire(output, chosen) for output in program.outputs)


def _load_wire(output: Output, chosen: Limits) -> LoadWire:
    load, wire = output.load, output.wire
    missing = []
    if wire is None:
        missing.append("wire 14 m 1.5 mm2")
    if load is None:
        missing.append("load 24 V 1.2 A led")
    why = f"write what it has, such as: {' '.join(missing)}" if missing else ""
    ohms = basis = found = None
    longest, smallest = None, "unknown"
    verdict: Verdict = "unknown"
    limit = None if load is None else chosen.drop_of(load.kind)
    if wire is not None:
        made = conductor(wire)
        basis = made.words
        ohms = loop_ohms(wire, chosen.conductors)
    if wire is not None and load is not None and limit is not None:
        celsius = chosen.conductors
        found = drop(load.volts, load.amps, wire.length_m, wire, celsius)
        verdict = "pass" if found.percent <= limit + 1e-9 else "fail"
        longest = longest_m(load.volts, load.amps, wire, celsius, limit)
        thin = smallest_that_passes(load.volts, load.amps, wire, celsius, limit)
        top = f"{SIZES_MM2[-1]:g} mm2" if wire.unit == "mm2" else f"{SIZES_AWG[-1]} AWG"
        smallest = f"none up to {top}" if thin is None else f"{thin.size:g} {thin.unit}"
        why = _drop_words(found, limit, load.kind, smallest) if verdict == "fail" else ""
    return LoadWire(
        output.name,
        None if wire is None else wire.length_m,
        "unknown" if wire is None else size_words(wire),
        None if wire is None or ohms is None else ohms / (2 * wire.length_m / 1_000),
        basis or "",
        None if load is None else load.volts,
        None if load is None else load.amps,
        "unknown" if load is None else load.kind,
        ohms,
        None if found is None else found.volts,
        None if found is None else found.percent,
        None if found is None else found.load_volts,
        limit,
        longest,
        smallest,
        verdict,
        why,
    )


def _drop_words(found: Drop, limit: float, kind: str, smallest: str) -> str:
    """What is wrong with a drop that is too much, and what would do."""
    if found.load_volts <= 0:
        return f"it cannot carry that current at all; size that would do: {smallest}"
    words = f"{found.percent:.2f} % is lost, {limit:g} % is the limit"
    if kind in PULLING and 100 - found.percent < PULL_IN:
        words += f", and below {PULL_IN:g} % of its volts a coil may not pull in"
    return f"{words}; size that would do: {smallest}"


def input_wires(program: Program) -> tuple[InputWire, ...]:
    """The runs of all inputs in file order, at the conductor temperature of the file."""
    return tuple(_input_wire(device, limits(program.design)) for device in program.inputs)


def _input_wire(device: Input, chosen: Limits) -> InputWire:
    wire = device.wire
    if wire is None:
        why = "write what it has, such as: wire 14 m 0.75 mm2"
        return InputWire(device.name, None, "unknown", None, why)
    ohms = loop_ohms(wire, chosen.conductors)
    return InputWire(device.name, wire.length_m, size_words(wire), ohms, "")
