"""Ferrules of stranded conductors, with the colours that tell their size.

A ferrule is chosen by what the conductor measures and never smaller, since strands that were cut
off to make them fit carry no current.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from rungs.panel.conductors import area_mm2
from rungs.program.nodes import Wire

# DIN 46228-4, by mm2
COLOURS: Final = {
    0.5: "white",
    0.75: "grey",
    1.0: "red",
    1.5: "black",
    2.5: "blue",
    4.0: "grey",
    6.0: "yellow",
    10.0: "red",
    16.0: "blue",
}


@dataclass(frozen=True, slots=True)
class Ferrule:
    """An insulated ferrule by its size in mm2 and its colour by DIN 46228-4."""

    mm2: float
    colour: str


def ferrule_for(wire: Wire) -> Ferrule | None:
    """The smallest ferrule that takes the conductor; None for solid ones, which need none, and for
    those over 16 mm2, which the colours do not cover."""
    if not wire.stranded:
        return None
    area = area_mm2(wire)
    return next((Ferrule(mm2, c) for mm2, c in COLOURS.items() if mm2 >= area), None)
