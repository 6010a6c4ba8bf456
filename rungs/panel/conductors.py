"""Copper conductors: sizes, resistance by size and temperature, voltage drop of a run of wire.

Every figure carries where it comes from, since a wire that is sized by a number nobody can check is
sized by nobody. Lengths are one way and in metres; current flows out and back, so it meets twice
the length.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import pi
from typing import Final, Literal

from rungs.program.nodes import Wire

# Annealed copper of 100 % IACS at 20 C, in ohm mm2 per m, and its temperature coefficient per C
# (IEC 60028).
RHO_20: Final = 0.017241
ALPHA_20: Final = 0.00393

# IEC 60228 tables 1 to 3, plain copper at 20 C, ohm per km by mm2: class 2 (stranded; class 1,
# solid, has the same values up to 10 mm2) and class 5 (flexible).
CLASS_2: Final = {
    0.5: 36.0,
    0.75: 24.5,
    1.0: 18.1,
    1.5: 12.1,
    2.5: 7.41,
    4.0: 4.61,
    6.0: 3.08,
    10.0: 1.83,
}
CLASS_5: Final = {
    0.5: 39.0,
    0.75: 26.0,
    1.0: 19.5,
    1.5: 13.3,
    2.5: 7.98,
    4.0: 4.95,
    6.0: 3.3,
    10.0: 1.91,
}

# NEC chapter 9 table 8, uncoated copper at 75 C, ohm per 1000 ft by AWG: (solid, stranded).
TABLE_8: Final = {
    18: (7.77, 7.95),
    16: (4.89, 4.99),
    14: (3.07, 3.14),
    12: (1.93, 1.98),
    10: (1.21, 1.24),
}
METRES_PER_KFT: Final = 304.8

# What stranding adds, at the worst: to AWG sizes of table 8, and to sizes of IEC 60228.
STRANDED_AWG: Final = max(stranded / solid for solid, stranded in TABLE_8.values())
CLASS_2_OVER_IDEAL: Final = max(r * size / (RHO_20 * 1_000) for size, r in CLASS_2.items())
CLASS_5_OVER_IDEAL: Final = max(r * size / (RHO_20 * 1_000) for size, r in CLASS_5.items())

# The sizes that are bought, from thin to thick.
SIZES_MM2: Final = tuple(CLASS_5)
SIZES_AWG: Final = (26, 24, 22, 20, 18, 16, 14, 12, 10)

Basis = Literal["IEC 60228", "NEC table 8", "formula", "estimate"]


@dataclass(frozen=True, slots=True)
class Conductor:
    """The resistance of one conductor at 20 C in ohm per km, what it rests on, and the same in
    words. An `estimate` is for a size that stands in no table, with the worst ratio of those that
    do."""

    ohm_per_km: float
    basis: Basis
    words: str


@dataclass(frozen=True, slots=True)
class Drop:
    """What a run of wire takes: the resistance out and back in ohm, and the volts lost, in percent
    of the supply's, and left for the load. The current is taken as it is at full volts."""

    loop_ohms: float
    volts: float
    percent: float
    load_volts: float


def awg_diameter_mm(gauge: float) -> float:
    """The diameter of a gauge in mm: d = 0.127 mm x 92^((36-n)/39) (ASTM B258).

    1/0 to 4/0 are 0, -1, -2 and -3. Raises ValueError beyond -3 to 56.
    """
    if not -3 <= gauge <= 56:
        raise ValueError(f"there is no AWG {gauge:g}")
    return float(0.127 * 92 ** ((36 - gauge) / 39))


def area_mm2(wire: Wire) -> float:
    """The cross-section of a wire in mm2. Raises ValueError for a gauge that there is not."""
    if wire.unit == "mm2":
        return wire.size
    return pi / 4 * awg_diameter_mm(wire.size) ** 2


def conductor(wire: Wire) -> Conductor:
    """The resistance of the wire's copper at 20 C. Raises ValueError as `area_mm2` does.

    Stranded mm2 sizes are taken as class 5, the flexible wire of panels and their fields, which has
    more resistance than class 2; solid ones by class 2, whose values class 1 shares.
    """
    area = area_mm2(wire)
    ideal = RHO_20 * 1_000 / area
    if wire.unit == "mm2":
        table, name, worst = (
            (CLASS_5, "class 5", CLASS_5_OVER_IDEAL)
            if wire.stranded
            else (CLASS_2, "class 1 and 2", CLASS_2_OVER_IDEAL)
        )
        if wire.size in table:
            return Conductor(table[wire.size], "IEC 60228", f"IEC 60228 {name}, plain copper")
        words = f"no size of our table: copper, and {worst:.3f} as the worst ratio of {name}"
        return Conductor(ideal * worst, "estimate", words)
    whole = wire.size == int(wire.size)
    if not wire.stranded:
        basis: Basis = "formula" if whole else "estimate"
        return Conductor(ideal, basis, "ASTM B258 diameter, solid copper")
    if wire.size in TABLE_8:
        stranded = TABLE_8[int(wire.size)][1]
        r20 = stranded * 1_000 / METRES_PER_KFT / temperature_factor(75)
        return Conductor(r20, "NEC table 8", "NEC chapter 9 table 8, stranded, from 75 C")
    words = f"ASTM B258 diameter, and {STRANDED_AWG:.3f} for stranding, the worst of NEC table 8"
    return Conductor(ideal * STRANDED_AWG, "estimate", words)


def temperature_factor(celsius: float) -> float:
    """By how much copper has more resistance than at 20 C: 1 + 0.00393 (T - 20)."""
    return 1 + ALPHA_20 * (celsius - 20)


def ohm_per_km(wire: Wire, celsius: float) -> float:
    """The resistance of one conductor of the wire at a temperature."""
    return conductor(wire).ohm_per_km * temperature_factor(celsius)


def loop_ohms(wire: Wire, celsius: float) -> float:
    """The resistance out and back of a whole run of wire."""
    return 2 * wire.length_m / 1_000 * ohm_per_km(wire, celsius)


def drop(volts: float, amps: float, length_m: float, wire: Wire, celsius: float) -> Drop:
    """The voltage drop of a two-wire run: 2 x one-way length x r x I, at dc or power factor 1."""
    loop = loop_ohms(replace(wire, length_m=length_m), celsius)
    lost = loop * amps
    return Drop(loop, lost, 100 * lost / volts, volts - lost)


def longest_m(volts: float, amps: float, wire: Wire, celsius: float, percent: float) -> float:
    """The longest one-way run in metres that keeps to a limit in percent."""
    return 1_000 * volts * percent / 100 / (2 * amps * ohm_per_km(wire, celsius))


def standard_sizes(wire: Wire) -> Iterator[Wire]:
    """The same run in each standard size of the same unit and make, from thin to thick."""
    sizes: tuple[float, ...] = SIZES_MM2 if wire.unit == "mm2" else SIZES_AWG
    for size in sizes:
        yield replace(wire, size=float(size))


def smallest_that_passes(
    volts: float, amps: float, wire: Wire, celsius: float, percent: float
) -> Wire | None:
    """The thinnest standard size of the same unit and make with which the run keeps to a limit in
    percent; None if the thickest that is known does not. It says nothing of heat or strength."""
    for other in standard_sizes(wire):
        if drop(volts, amps, wire.length_m, other, celsius).percent <= percent:
            return other
    return None


def size_words(wire: Wire) -> str:
    """`1.5 mm2 stranded`, `18 AWG solid`."""
    return f"{wire.size:g} {wire.unit} {'stranded' if wire.stranded else 'solid'}"
