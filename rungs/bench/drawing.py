"""One rung as lines for the screen: its picture with power, glow and the mark of what stops it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, assert_never

from rungs.bench.pages.words import Line, Piece, Signs, fit
from rungs.cells import columns, safe
from rungs.draw.flow import Flow, conducting_wiring
from rungs.draw.layout import NONE, Arrow, Bar, Cell, Mark, Picture, StopRoom, Wire
from rungs.draw.signs import wire_sign

Turn = Literal["", "worked", "waits", "new"]


@dataclass(frozen=True, slots=True)
class RungLook:
    """All that the lines of a rung hang on.

    `number` is shown before its label: the picture itself is the same wherever the rung stands.
    `live`: the rails carry power. `reading`: whether each contact conducts. `glow` and `forced`:
    devices that moved just now, or are held. `chosen`: the contact, or, counted on from there, the
    coil that the keys act on. `turn`: in a scan that is part-way, whether this rung was worked last
    or waits for its turn; `new`: it is not in the panel yet. `stale`: the text has errors, and this
    is what it said before.
    """

    number: int
    live: bool
    reading: tuple[bool, ...]
    glow: frozenset[str] = frozenset()
    forced: frozenset[str] = frozenset()
    chosen: int | None = None
    turn: Turn = ""
    stale: bool = False


def lines_of(picture: Picture, look: RungLook, signs: Signs) -> list[Line]:
    """The lines of a rung as its contacts stand."""
    left = iter(look.reading)
    flow = conducting_wiring(picture.wiring, lambda leaf: next(left))
    show = _Shower(picture, flow, look, signs)
    sign = {"": " ", "worked": signs.cursor, "waits": signs.free, "new": "+"}[look.turn]
    number = f"{look.number:>2}{sign}"
    label = safe(picture.rung.label, signs.ascii_only)
    tone = "title" if look.turn != "worked" else "title pick"
    heading: Line = (
        (number, tone),
        (fit(label, min(columns(label), picture.width - len(number)), signs), "quiet"),
    )
    lines = [heading, *(show.line(y) for y in range(picture.height - 1))]
    return [_stale(line) for line in lines] if look.stale else lines


def _stale(line: Line) -> Line:
    """A line in quiet tones; what is chosen stays so."""
    return tuple((text, "quiet pick" if "pick" in tone else "quiet") for text, tone in line)


def element_at(picture: Picture, y: int, x: int) -> int | None:
    """The contact or coil that stands in a cell of a rung, numbered as `RungLook.chosen`; `y` 0 is
    the line of the label."""
    cell = picture.cells.get((y - 1, x))
    if isinstance(cell, Bar | StopRoom):
        return cell.leaf
    if isinstance(cell, Mark):
        leaves = len(picture.wiring.leaves)
        return cell.leaf if cell.action == NONE else leaves + cell.action
    return None


def place_of(picture: Picture, element: int) -> tuple[int, int]:
    """The first cell of a contact or coil: line (0 is that of the label) and column."""
    found = (
        (y + 1, x) for (y, x) in sorted(picture.cells) if element_at(picture, y + 1, x) == element
    )
    return next(found, (0, 0))


@dataclass
class _Shower:
    """Turns cells into characters and tones."""

    picture: Picture
    flow: Flow
    look: RungLook
    signs: Signs

    def line(self, y: int) -> Line:
        """One line, in as few pieces as its tones allow."""
        pieces: list[Piece] = []
        text, tone = "", ""
        for x in range(self.picture.width):
            cell = self.picture.cells.get((y, x))
            character, cell_tone = (" ", tone) if cell is None else self._cell(cell)
            if cell_tone != tone or (cell is None and " " in tone):
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
        return 2 if self.look.live and self.flow.live[conductor] else 1

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
                if self._stops(cell.leaf):
                    return self.signs.stop, "stop"
                if self.picture.wiring.leaves[cell.leaf].name in self.look.forced:
                    return "!", "forced"
                return " ", "quiet"
            case Mark():
                return cell.character, self._picked(self._mark_tone(cell), cell)
            case _:
                assert_never(cell)

    def _bar(self, cell: Bar) -> Piece:
        flow = self.flow.passed if cell.right else self.flow.reached
        upright = 2 if self.look.live and flow[cell.leaf] else 1
        if self.signs.ascii_only:
            return "|", _power_tone(upright == 2)
        arm = self._heavy(cell.conductor)
        arms = (upright, upright, 0, arm) if cell.right else (upright, upright, arm, 0)
        return wire_sign(*arms, False), _power_tone(upright == 2)

    def _stops(self, leaf: int) -> bool:
        """Whether this is the first open contact that stops the power."""
        return self.look.live and self.flow.stops[:1] == (leaf,)

    def _mark_tone(self, cell: Mark) -> str:
        if cell.action != NONE:
            name = self.picture.rung.actions[cell.action].name
            tone = "live" if self.look.live and self.flow.powered else "plain"
        else:
            name = self.picture.wiring.leaves[cell.leaf].name
            if self._stops(cell.leaf):
                tone = "stop"
            elif self.look.reading[cell.leaf]:
                tone = "live" if self.look.live and self.flow.passed[cell.leaf] else "title"
            else:
                tone = "quiet"
        if name in self.look.forced and cell.caption:
            return "forced"
        return f"{tone} glow" if cell.caption and name in self.look.glow else tone

    def _picked(self, tone: str, cell: Mark) -> str:
        """The tone of a mark, which shows if the keys act on what it belongs to."""
        leaves = len(self.picture.wiring.leaves)
        element = cell.leaf if cell.action == NONE else leaves + cell.action
        return f"{tone} pick" if element == self.look.chosen else tone


def _power_tone(heavy: bool) -> str:
    return "live" if heavy else "quiet"
