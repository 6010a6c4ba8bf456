"""One rung as lines for the screen: its picture with power, glow and the mark of what stops it."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from typing import assert_never

from rungs.bench.pages import Line, Piece, Signs, fit
from rungs.draw.flow import Flow, conducting_wiring
from rungs.draw.layout import NONE, Arrow, Bar, Cell, Mark, Picture, StopRoom, Wire
from rungs.draw.signs import wire_sign
from rungs.draw.words import columns, safe


def lines_of(
    picture: Picture,
    live: bool,
    reading: Sequence[bool],
    glow: Collection[str],
    signs: Signs,
) -> list[Line]:
    """The lines of a rung as its contacts stand; `live` says whether the rails carry power."""
    left = iter(reading)
    flow = conducting_wiring(picture.wiring, lambda leaf: next(left))
    show = _Shower(picture, flow, live, tuple(reading), glow, signs)
    number = f"{picture.rung.number:>2} "
    label = safe(picture.rung.label, signs.ascii_only)
    heading: Line = (
        (number, "title"),
        (fit(label, min(columns(label), picture.width - len(number)), signs), "quiet"),
    )
    return [heading, *(show.line(y) for y in range(picture.height - 1))]


@dataclass
class _Shower:
    """Turns cells into characters and tones."""

    picture: Picture
    flow: Flow
    live: bool
    reading: tuple[bool, ...]
    glow: Collection[str]
    signs: Signs

    def line(self, y: int) -> Line:
        """One line, in as few pieces as its tones allow."""
        pieces: list[Piece] = []
        text, tone = "", ""
        for x in range(self.picture.width):
            cell = self.picture.cells.get((y, x))
            character, cell_tone = (" ", tone) if cell is None else self._cell(cell)
            if cell_tone != tone or (cell is None and "glow" in tone):
                if text:
                    pieces.append((text, tone))
                text, tone = "", "quiet" if cell is None else cell_tone
            text += character
        pieces.append((text, tone))
        return tuple(pieces)

    def _heavy(self, conductor: int) -> int:
        """The weight of an arm: 0 none, 1 light, 2 heavy."""
        if conductor == NONE:
            return 0
        return 2 if self.live and self.flow.live[conductor] else 1

    def _cell(self, cell: Cell) -> Piece:
        match cell:
            case Wire():
                arms = [self._heavy(c) for c in (cell.up, cell.down, cell.left, cell.right)]
                return wire_sign(*arms, self.signs.ascii_only), _power_tone(2 in arms)
            case Bar():
                return self._bar(cell)
            case Arrow():
                return cell.character, _power_tone(self._heavy(cell.conductor) == 2)
            case StopRoom():
                stopped = self._stops(cell.leaf)
                return (self.signs.stop if stopped else " "), "stop" if stopped else "quiet"
            case Mark():
                return cell.character, self._mark_tone(cell)
            case _:
                assert_never(cell)

    def _bar(self, cell: Bar) -> Piece:
        flow = self.flow.passed if cell.right else self.flow.reached
        upright = 2 if self.live and flow[cell.leaf] else 1
        if self.signs.ascii_only:
            return "|", _power_tone(upright == 2)
        arm = self._heavy(cell.conductor)
        arms = (upright, upright, 0, arm) if cell.right else (upright, upright, arm, 0)
        return wire_sign(*arms, False), _power_tone(upright == 2)

    def _stops(self, leaf: int) -> bool:
        """Whether this is the first open contact that stops the power."""
        return self.live and self.flow.stops[:1] == (leaf,)

    def _mark_tone(self, cell: Mark) -> str:
        if cell.action != NONE:
            name = self.picture.rung.actions[cell.action].name
            tone = "live" if self.live and self.flow.powered else "plain"
        else:
            name = self.picture.wiring.leaves[cell.leaf].name
            if self._stops(cell.leaf):
                tone = "stop"
            elif self.reading[cell.leaf]:
                tone = "live" if self.live and self.flow.passed[cell.leaf] else "title"
            else:
                tone = "quiet"
        return f"{tone} glow" if cell.caption and name in self.glow else tone


def _power_tone(heavy: bool) -> str:
    return "live" if heavy else "quiet"
