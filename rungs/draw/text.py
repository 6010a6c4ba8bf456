"""The ladder as text: each rung's picture in characters, with or without current.

The same placement serves the live bench, so that a page on paper and the screen show one ladder.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import assert_never

from rungs.cells import fold, safe
from rungs.draw.crossref import References, cross_reference
from rungs.draw.flow import Flow, conducting_wiring
from rungs.draw.layout import (
    NONE,
    Arrow,
    Bar,
    Cell,
    Mark,
    Picture,
    StopRoom,
    Wire,
    picture_of,
)
from rungs.draw.signs import wire_sign
from rungs.draw.words import COIL_LEGEND, CONTACT_LEGEND, coil_letter, contact_letters, is_edge
from rungs.program.nodes import Leaf, Program, Rung, leaves

LEAST_WIDTH = 40

Closed = Callable[[Leaf], bool]


def draw_rung(
    rung: Rung,
    program: Program,
    width: int = 80,
    ascii_only: bool = False,
    closed: Closed | None = None,
) -> list[str]:
    """The lines of one rung, its number and label first; no line ends in a space.

    With `closed`, which says whether current can cross a contact, wire that carries current is
    heavy, wire that does not is light and broken, and `^` or `▲` marks what stops it.
    """
    picture = picture_of(rung, program, max(width, LEAST_WIDTH))
    flow = None if closed is None else conducting_wiring(picture.wiring, closed)
    painter = _Painter(picture, flow, ascii_only)
    head = f"{rung.number:>3}  "
    label = fold(safe(rung.label, ascii_only), max(width, LEAST_WIDTH) - len(head))
    lines = [head + label[0], *(" " * len(head) + more for more in label[1:])]
    lines += [painter.line(y) for y in range(picture.height - 1)]
    return [line.rstrip() for line in lines]


def draw_program(
    program: Program,
    width: int = 80,
    ascii_only: bool = False,
    closed: Closed | None = None,
    references: bool = False,
) -> str:
    """Title, every rung in scan order, and a legend of the signs that need one.

    `references` adds to each rung the rungs in which its devices are read. The same program always
    gives the same text; it ends with a line feed.
    """
    width = max(width, LEAST_WIDTH)
    parts: list[str] = []
    if program.title:
        parts.append("\n".join(fold(safe(program.title, ascii_only), width)))
    crossed = cross_reference(program) if references else {}
    for rung in program.rungs:
        lines = draw_rung(rung, program, width, ascii_only, closed)
        if references:
            lines += _references(rung, crossed, width)
        parts.append("\n".join(lines))
    legend = _legend(program)
    if legend:
        parts.append("\n".join(line for entry in legend for line in fold(entry, width)))
    return "\n\n".join(parts) + "\n"


def _references(rung: Rung, crossed: dict[str, References], width: int) -> list[str]:
    lines: list[str] = []
    for name in dict.fromkeys(action.name for action in rung.actions):
        read = crossed[name].read_by
        where = "rung " if len(read) == 1 else "rungs "
        text = f"{name}: read in {where}{', '.join(map(str, read))}" if read else f"{name}: no rung"
        lines += ["     " + line for line in fold(text if read else f"{text} reads it", width - 5)]
    return lines


def _legend(program: Program) -> list[str]:
    """What the letters in the drawing mean, those that it uses."""
    found = {
        coil_letter(action, program.by_name.get(action.name))
        for rung in program.rungs
        for action in rung.actions
    }
    edges = {
        contact_letters(leaf)
        for rung in program.rungs
        for leaf in leaves(rung.circuit)
        if is_edge(leaf)
    }
    coils = [f"({letter}) {words}" for letter, words in COIL_LEGEND.items() if letter in found]
    contacts = [
        f"|{letter}| {words}" for letter, words in CONTACT_LEGEND.items() if letter in edges
    ]
    return [*coils, *contacts]


@dataclass(frozen=True, slots=True)
class _Painter:
    """Turns the cells of one picture into characters; no flow means that no current is shown."""

    picture: Picture
    flow: Flow | None
    ascii_only: bool

    def line(self, y: int) -> str:
        """One line below the label."""
        cells = self.picture.cells
        return "".join(
            " " if (cell := cells.get((y, x))) is None else self._sign(cell)
            for x in range(self.picture.width)
        )

    def _weight(self, conductor: int) -> int:
        if conductor == NONE:
            return 0
        return 2 if self.flow is not None and self.flow.live[conductor] else 1

    def _wire(self, up: int, down: int, left: int, right: int) -> str:
        return wire_sign(up, down, left, right, self.ascii_only, self.flow is not None)

    def _sign(self, cell: Cell) -> str:
        match cell:
            case Wire():
                arms = (self._weight(c) for c in (cell.up, cell.down, cell.left, cell.right))
                return self._wire(*arms)
            case Bar():
                if self.ascii_only:
                    return "|"
                flow = self.flow
                passes = None if flow is None else flow.passed if cell.right else flow.reached
                upright = 2 if passes is not None and passes[cell.leaf] else 1
                arm = self._weight(cell.conductor)
                sides = (0, arm) if cell.right else (arm, 0)
                return self._wire(upright, upright, *sides)
            case Arrow() | Mark():
                return cell.character
            case StopRoom():
                stops = self.flow is not None and cell.leaf in self.flow.stops
                return ("^" if self.ascii_only else "▲") if stops else " "
            case _:
                assert_never(cell)
