"""One rung as cells that know which conductor or contact they show, and these cells with power.

Placing a rung is slow and depends on the width alone; showing it is quick and depends on the power
alone. They are kept apart so that a change of state never moves anything on the screen.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass, field
from functools import cache
from typing import assert_never

from rungs.bench.pages import Line, Piece, Signs, fit
from rungs.draw.flow import Flow, conducting_wiring
from rungs.draw.wiring import RAIL, Chain, Fan, Part, Spot, Wiring, wire_up
from rungs.draw.words import (
    caption_lines,
    coil_letter,
    columns,
    contact_caption,
    contact_letters,
    safe,
)
from rungs.program.nodes import Program, Rung

NONE = -1
CAPTION_LINES = 3
CAPTION_WIDTHS = (24, 14, 11, 8, 5)  # the widest that fits is taken
ONE_ROW = (24, 14, 11)  # those with which a single row is worth having


@dataclass(frozen=True, slots=True)
class Wire:
    """A piece of wire in one cell: the conductor of each arm, NONE where there is no arm."""

    up: int = NONE
    down: int = NONE
    left: int = NONE
    right: int = NONE


@dataclass(frozen=True, slots=True)
class Bar:
    """One of the two bars of a contact, and the conductor on its outer side."""

    leaf: int
    right: bool
    conductor: int


@dataclass(frozen=True, slots=True)
class Mark:
    """A character of a contact (`leaf`), or of a coil (`action`)."""

    character: str
    leaf: int = NONE
    action: int = NONE
    caption: bool = False


@dataclass(frozen=True, slots=True)
class Arrow:
    """Where a rung goes on in the next row of the drawing."""

    conductor: int


@dataclass(frozen=True, slots=True)
class StopRoom:
    """The cell in which a contact is marked that stops the power."""

    leaf: int


Cell = Wire | Bar | Mark | Arrow | StopRoom
Cells = dict[tuple[int, int], Cell]  # by line and column


@dataclass
class Picture:
    """One rung placed in `width` columns; `height` counts its label line as well."""

    rung: Rung
    program: Program
    width: int
    height: int
    wiring: Wiring
    plan: _Plan
    names: frozenset[str]
    _cells: Cells | None = field(default=None, repr=False)

    @property
    def cells(self) -> Cells:
        """The cells below the label line; made when the rung is first seen."""
        if self._cells is None:
            self._cells = _Placer(self).place()
        return self._cells


@dataclass(frozen=True, slots=True)
class _Plan:
    caption: int  # columns of a caption
    rows: tuple[tuple[Part, ...], ...]
    heights: tuple[int, ...]
    coil_width: int
    inner: int  # columns between the rails


def _caption(spot: Spot, width: int) -> tuple[str, ...]:
    return caption_lines(contact_caption(spot.leaf), width, CAPTION_LINES)


def _size(part: Part, caption: int) -> tuple[int, int]:
    """Columns and lines of a part."""
    match part:
        case Spot():
            lines = _caption(part, caption)
            symbol = len(contact_letters(part.leaf)) + 2
            return max(symbol, *map(len, lines)) + 2, 1 + len(lines)
        case Chain():
            sizes = [_size(inner, caption) for inner in part.parts]
            return sum(w for w, _ in sizes), max(h for _, h in sizes)
        case Fan():
            sizes = [_size(branch, caption) for branch in part.branches]
            return 2 + max(w for w, _ in sizes), sum(h for _, h in sizes)
        case _:
            assert_never(part)


def _rows(parts: Sequence[Part], caption: int, room: int, coil: int) -> list[list[Part]] | None:
    """The parts shared out on rows; None if one of them fits on no row."""
    rows: list[list[Part]] = [[]]
    used = 0
    for index, part in enumerate(parts):
        width = _size(part, caption)[0]
        tail = coil if index == len(parts) - 1 else 2  # the coils, or the arrow
        if rows[-1] and used + width + tail > room:
            rows.append([])
            used = 2  # the arrow
        if used + width + tail > room:
            return None
        rows[-1].append(part)
        used += width
    return rows


def picture_of(rung: Rung, program: Program, width: int, signs: Signs) -> Picture:
    """Place a rung in `width` columns; one that cannot be folded so far becomes wider."""
    wiring = wire_up(rung.circuit)
    parts = wiring.root.parts if isinstance(wiring.root, Chain) else (wiring.root,)
    coil = max(3, *(len(action.name) for action in rung.actions)) + 2
    room = width - 2
    found: tuple[int, list[list[Part]]] | None = None
    for caption in ONE_ROW:
        rows = _rows(parts, caption, room, coil)
        if rows is not None and len(rows) == 1:
            found = caption, rows
            break
    if found is None:
        fitting = ((c, _rows(parts, c, room, coil)) for c in CAPTION_WIDTHS)
        found = next(((c, rows) for c, rows in fitting if rows is not None), None)
    if found is None:
        caption = CAPTION_WIDTHS[-1]
        room = max(_size(part, caption)[0] for part in parts) + coil + 4
        rows = _rows(parts, caption, room, coil)
        assert rows is not None
        found = caption, rows
    caption, rows = found
    heights = [max(_size(part, caption)[1] for part in row) for row in rows]
    heights[-1] = max(heights[-1], 2 * len(rung.actions))
    plan = _Plan(caption, tuple(tuple(row) for row in rows), tuple(heights), coil, room)
    names = {leaf.name for leaf in wiring.leaves} | {action.name for action in rung.actions}
    return Picture(rung, program, room + 2, 1 + sum(heights), wiring, plan, frozenset(names))


class _Placer:
    """Puts the parts of one rung into cells."""

    def __init__(self, picture: Picture) -> None:
        self.picture = picture
        self.plan = picture.plan
        self.cells: Cells = {}

    def place(self) -> Cells:
        """All cells; line 0 is the first below the label."""
        plan = self.plan
        line = 0
        conductor = RAIL
        right = plan.inner + 1
        for index, (row, height) in enumerate(zip(plan.rows, plan.heights, strict=True)):
            for y in range(line, line + height):
                self.cells[y, 0] = self.cells[y, right] = Wire(up=RAIL, down=RAIL)
            column = 1
            if index:
                self.cells[line, 1] = Arrow(conductor)
                self._wire(line, 2, 3, conductor)
                column = 3
            for part in row:
                column += self._part(part, line, column, conductor)
                conductor = part.out
            if index < len(plan.rows) - 1:
                self._wire(line, column, right - 1, conductor)
                self.cells[line, right - 1] = Arrow(conductor)
            else:
                self._coils(line, column, conductor)
            line += height
        return self.cells

    def _wire(self, line: int, start: int, end: int, conductor: int) -> None:
        for column in range(start, end):
            self.cells[line, column] = Wire(left=conductor, right=conductor)

    def _part(self, part: Part, line: int, column: int, conductor: int) -> int:
        """Place a part whose left side is `conductor`; returns its columns."""
        match part:
            case Spot():
                return self._spot(part, line, column, conductor)
            case Chain():
                start = column
                for inner in part.parts:
                    column += self._part(inner, line, column, conductor)
                    conductor = inner.out
                return column - start
            case Fan():
                return self._fan(part, line, column, conductor)
            case _:
                assert_never(part)

    def _spot(self, spot: Spot, line: int, column: int, conductor: int) -> int:
        width = _size(spot, self.plan.caption)[0]
        letters = contact_letters(spot.leaf)
        self._wire(line, column, column + 1, conductor)
        self.cells[line, column + 1] = Bar(spot.index, False, conductor)
        for offset, letter in enumerate(letters):
            self.cells[line, column + 2 + offset] = Mark(letter, leaf=spot.index)
        end = column + 2 + len(letters)
        self.cells[line, end] = Bar(spot.index, True, spot.out)
        self._wire(line, end + 1, column + width, spot.out)
        for below, text in enumerate(_caption(spot, self.plan.caption), 1):
            for offset, character in enumerate(text):
                mark = Mark(character, leaf=spot.index, caption=True)
                self.cells[line + below, column + 1 + offset] = mark
        self.cells[line + 1, column] = StopRoom(spot.index)
        return width

    def _fan(self, fan: Fan, line: int, column: int, conductor: int) -> int:
        width = _size(fan, self.plan.caption)[0]
        end = column + width - 1
        heights = [_size(branch, self.plan.caption)[1] for branch in fan.branches]
        last = len(fan.branches) - 1
        at = line
        for index, (branch, height) in enumerate(zip(fan.branches, heights, strict=True)):
            below = index < last
            bar_above = fan.bars[index - 1] if index else NONE
            bar_below = fan.bars[index] if below else NONE
            self.cells[at, column] = Wire(
                up=conductor if index else NONE,
                down=conductor if below else NONE,
                left=NONE if index else conductor,
                right=conductor,
            )
            used = self._part(branch, at, column + 1, conductor)
            self._wire(at, column + 1 + used, end, branch.out)
            self.cells[at, end] = Wire(
                up=bar_above,
                down=bar_below,
                left=branch.out,
                right=NONE if index else fan.out,
            )
            if below:
                for y in range(at + 1, at + height):
                    self.cells[y, column] = Wire(up=conductor, down=conductor)
                    self.cells[y, end] = Wire(up=bar_below, down=bar_below)
            at += height
        return width

    def _coils(self, line: int, column: int, conductor: int) -> None:
        plan, rung = self.plan, self.picture.rung
        end = plan.inner  # the last column before the right rail
        start = end - plan.coil_width + 1
        self._wire(line, column, start, conductor)
        many = len(rung.actions)
        for index, action in enumerate(rung.actions):
            at = line + 2 * index
            self._wire(at, start, end + 1, conductor)
            if many > 1:
                below = conductor if index < many - 1 else NONE
                self.cells[at, start] = Wire(
                    up=conductor if index else NONE,
                    down=below,
                    left=NONE if index else conductor,
                    right=conductor,
                )
                if below != NONE:
                    self.cells[at + 1, start] = Wire(up=conductor, down=conductor)
            letter = coil_letter(action, self.picture.program.by_name.get(action.name))
            for offset, character in enumerate(f"({letter})"):
                self.cells[at, end - 3 + offset] = Mark(character, action=index)
            for offset, character in enumerate(action.name):
                mark = Mark(character, action=index, caption=True)
                self.cells[at + 1, end - len(action.name) + offset] = mark


# --- with power -------------------------------------------------------------------------------


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
                return ">", _power_tone(self._heavy(cell.conductor) == 2)
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


@cache
def wire_sign(up: int, down: int, left: int, right: int, ascii_only: bool) -> str:
    """The character with these arms; each is 0 none, 1 light, 2 heavy.

    Straight dead wire is broken, so that it differs from live wire where weights cannot be told.
    """
    arms = (up, down, left, right)
    heavy = max(arms) == 2
    if not (up or down):
        return ("=" if heavy else "-") if ascii_only else ("━" if heavy else "╌")
    if not (left or right):
        return ("|" if heavy else ":") if ascii_only else ("┃" if heavy else "╎")
    return "+" if ascii_only else _boxes()[arms]


@cache
def _boxes() -> dict[tuple[int, ...], str]:
    """Every box-drawing character with plain light or heavy arms, by its arms.

    The characters are found by their names in the Unicode character database.
    """
    found: dict[tuple[int, ...], str] = {}
    for code in range(0x2500, 0x2580):
        words = unicodedata.name(chr(code)).split()[2:]
        if not {"DASH", "DOUBLE", "SINGLE", "ARC", "DIAGONAL"} & set(words):
            found.setdefault(tuple(_arms(words)), chr(code))
    return found


def _arms(words: Sequence[str]) -> Iterator[int]:
    """The weights of the arms (up, down, left, right) in a name such as `DOWN HEAVY AND LEFT LIGHT`
    or `LIGHT DOWN AND LEFT`."""
    weights = {"LIGHT": 1, "HEAVY": 2}
    reach = {"VERTICAL": ("UP", "DOWN"), "HORIZONTAL": ("LEFT", "RIGHT")}
    arms = dict.fromkeys(("UP", "DOWN", "LEFT", "RIGHT"), 0)
    before = words[0] in weights  # the weight stands before what it is the weight of
    weight = 0
    waiting: list[str] = []
    for word in words:
        if word in weights:
            weight = weights[word]
            for arm in waiting:
                arms[arm] = weight
            waiting = []
        elif word != "AND":
            for arm in reach.get(word, (word,)):
                if before:
                    arms[arm] = weight
                else:
                    waiting.append(arm)
    yield from arms.values()
