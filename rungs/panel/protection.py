"""Fuses, extra-low voltage, and what coils do to contacts: the parts of a panel that protect.

All of it is help with sizing from what the file says. What a fuse must protect is the wire, and
what a wire may carry hangs on how it is laid, which no file of ours knows.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import combinations
from typing import Final

from rungs.panel.contacts import INDUCTIVE
from rungs.panel.loads import NANO
from rungs.panel.verdict import Verdict
from rungs.program.nodes import (
    Circuit,
    Contact,
    Output,
    Parallel,
    Program,
    Property,
    Series,
    opposite,
)

# Rated currents of fuse links in A: IEC 60127 up to 10 A, IEC 60269 above (from memory).
FUSES: Final = (
    *(0.032, 0.04, 0.05, 0.063, 0.08, 0.1, 0.125, 0.16, 0.2, 0.25, 0.315, 0.4, 0.5, 0.63, 0.8),
    *(1.0, 1.25, 1.6, 2.0, 2.5, 3.15, 4.0, 5.0, 6.3, 8.0, 10.0, 16.0, 20.0, 25.0, 32.0, 40.0),
    *(50.0, 63.0),
)
CONTINUOUS: Final = 125  # percent: NEC 210.20(A), a load of three hours or more

# IEC 61140 and IEC 60364-4-41, clause 414: extra-low voltage, and where bare parts may be touched.
ELV_AC, ELV_DC = 50.0, 120.0
DRY_AC, DRY_DC = 25.0, 60.0
WET_AC, WET_DC = 12.0, 30.0
CLASS_2_VOLTS, CLASS_2_VA = 30.0, 100.0  # NEC 725 and chapter 9 table 11

MOST_TERMS: Final = 64  # of one property


@dataclass(frozen=True, slots=True)
class Fuse:
    """The fuse that 125 % of a current asks for: the least amps, and the next standard size, None
    where there is none in the series. `what` is the name of an output or a supply."""

    what: str
    of: str
    amps: float
    least_amps: float
    fuse_amps: float | None


def fuse_for(what: str, of: str, nanoamps: int) -> Fuse:
    """The fuse for a current, taken as continuous."""
    least = nanoamps * CONTINUOUS
    fits = (size for size in FUSES if round(size * NANO) * 100 >= least)
    return Fuse(what, of, nanoamps / NANO, least / 100 / NANO, next(fits, None))


# --- extra-low voltage ------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Voltage:
    """One voltage of the panel, who has it, and what it counts as. The file does not say whether
    volts are ac or dc, so each is judged as ac, the more careful of the two."""

    volts: float
    names: tuple[str, ...]
    words: str
    verdict: Verdict


def voltages(program: Program) -> tuple[Voltage, ...]:
    """Every voltage of supplies and loads, the lowest first."""
    found: dict[float, list[str]] = {}
    for supply in program.supplies:
        found.setdefault(supply.volts, []).append(supply.name)
    for output in program.outputs:
        if output.load is not None:
            found.setdefault(output.load.volts, []).append(output.name)
    return tuple(
        Voltage(volts, tuple(names), *_voltage_words(volts))
        for volts, names in sorted(found.items())
    )


def _voltage_words(volts: float) -> tuple[str, Verdict]:
    if volts <= WET_AC:
        return "extra-low, ac or dc", "pass"
    if volts <= DRY_AC:
        note = " and wet" if volts <= WET_DC else ""
        return (
            f"extra-low; bare parts may be touched in dry places as ac, in dry{note} ones as dc, "
            "from a SELV or PELV source",
            "pass",
        )
    if volts <= ELV_AC:
        places = "dry and wet" if volts <= WET_DC else "dry"
        return (
            f"extra-low; as ac its parts need cover, as dc it may be touched in {places} places, "
            "from a SELV or PELV source",
            "pass",
        )
    if volts <= ELV_DC:
        touch = "" if volts <= DRY_DC else ", and its parts then need cover everywhere"
        return (
            f"above extra-low voltage as ac (50 V); only as ripple-free dc within it (120 V){touch}"
            "; the file does not say which, so it counts as above",
            "fail",
        )
    return "above extra-low voltage, ac or dc", "fail"


@dataclass(frozen=True, slots=True)
class Mix:
    """A load above extra-low voltage on a board that has extra-low voltage beside it."""

    output: str
    volts: float
    beside: tuple[str, ...]


def mixed(program: Program) -> tuple[Mix, ...]:
    """Every load above extra-low voltage, with what is extra-low beside it: loads of no more than
    50 V, and the circuits of all inputs."""
    low = [o.name for o in program.outputs if o.load is not None and o.load.volts <= ELV_AC]
    low += [device.name for device in program.inputs]
    return tuple(
        Mix(output.name, output.load.volts, tuple(low))
        for output in program.outputs
        if output.load is not None and output.load.volts > ELV_AC and low
    )


@dataclass(frozen=True, slots=True)
class Class2:
    """Whether the rating of a supply lies within Class 2: at most 30 V and 100 VA. Whether it is a
    listed Class 2 source stands on its label, not in the file."""

    supply: str
    volt_amps: float
    within: bool


def class_2(program: Program) -> tuple[Class2, ...]:
    """All supplies by the limits of Class 2."""
    return tuple(
        Class2(
            supply.name,
            supply.volts * supply.amps,
            supply.volts <= CLASS_2_VOLTS and round(supply.volts * supply.amps, 6) <= CLASS_2_VA,
        )
        for supply in program.supplies
    )


# --- coils ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Apart:
    """Two outputs that a property keeps apart, at least one of them with an inductive load or one
    of unknown kind: its slow release can close the gap between them. `by` is the property."""

    first: str
    second: str
    by: str


def inductive(program: Program) -> tuple[str, ...]:
    """The outputs whose loads need a suppressor."""
    return tuple(o.name for o in program.outputs if o.load and o.load.kind in INDUCTIVE)


def kept_apart(program: Program) -> tuple[Apart, ...]:
    """The pairs of outputs that the properties keep apart, each once, in file order."""
    found: dict[tuple[str, str], Apart] = {}
    place = {output.name: number for number, output in enumerate(program.outputs)}
    for item in program.properties:
        for names in _terms(_forbidden(item), place):
            for pair in combinations(sorted(names, key=place.__getitem__), 2):
                # three outputs that are never all on may still be on two at a time
                if len(names) == 2 and any(_may_release_late(program, name) for name in pair):
                    found.setdefault(pair, Apart(*pair, item.label))
    return tuple(sorted(found.values(), key=lambda each: (place[each.first], place[each.second])))


def _may_release_late(program: Program, name: str) -> bool:
    output = program.by_name[name]
    assert isinstance(output, Output)
    return output.load is None or output.load.kind not in ("led", "lamp", "resistive", "electronic")


def _forbidden(item: Property) -> Circuit | None:
    """The circuit that a property keeps open for ever; None where it says less."""
    match item.kind:
        case "never":
            return item.circuit
        case "always":
            return opposite(item.circuit)
        case "require" if item.within == 0 and item.when is not None:
            return Series((item.when, opposite(item.circuit)))
    return None


def _terms(circuit: Circuit | None, outputs: Iterable[str]) -> set[frozenset[str]]:
    """The outputs that are on together in each way in which a circuit can close."""
    match circuit:
        case Series():
            terms = {frozenset[str]()}
            for part in circuit.parts:
                terms = {a | b for a in terms for b in _terms(part, outputs)}
                if len(terms) > MOST_TERMS:
                    return set()
            return terms
        case Parallel():
            return {term for part in circuit.parts for term in _terms(part, outputs)}
        case Contact(kind="closed" | "load", negated=False) if circuit.name in outputs:
            return {frozenset((circuit.name,))}
    return {frozenset()}
