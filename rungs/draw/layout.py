"""One rung placed on a grid of characters: cells that know which conductor or contact they show.

Placing a rung is slow and depends on the width alone; showing it is quick and depends on the power
alone. They are kept apart so that a change of state never moves anything on a screen.

Series runs to the right, parallel downwards. What is too wide for its room is folded: a row ends in
a numbered arrow and goes on below at the arrow with the same number, inside its branch if need be.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import assert_never

from rungs.cells import columns, safe
from rungs.draw.conductors import RAIL, Chain, Fan, Part, Spot, Wiring, wire_up
from rungs.draw.words import caption_lines, coil_letter, contact_caption, contact_letters
from rungs.program.nodes import Program, Rung

NONE = -1
CAPTION_LINES = 3
CAPTION_WIDTHS = (24, 14, 11, 8, 5)  # the widest that fits is taken
ONE_ROW = (40, 24, 14, 11)  # those with which a single row is worth having
ARROW = 3  # columns of a numbered arrow


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
    """A character of the sign that says where a row goes on."""

    character: str
    conductor: int


@dataclass(frozen=True, slots=True)
class StopRoom:
    """The cell in which a contact is marked that stops the power."""

    leaf: int


Cell = Wire | Bar | Mark | Arrow | StopRoom
Cells = dict[tuple[int, int], Cell]  # by line and column


@dataclass
class Picture:
    """One rung placed in `width` columns, where `asked` were asked for; `height` counts its label
    line as well."""

    rung: Rung
    program: Program
    asked: int
    width: int
    height: int
    wiring: Wiring
    names: frozenset[str]
    root: _Fold
    _cells: Cells | None = field(default=None, repr=False)

    @property
    def cells(self) -> Cells:
        """The cells below the label line; made when the rung is first seen."""
        if self._cells is None:
            self._cells = _Placer(self).place()
        return self._cells


# --- sizes: blocks of the grid, before they have a place


@dataclass(frozen=True, slots=True)
class _Contact:
    spot: Spot
    caption: tuple[str, ...]
    width: int
    height: int
    exit: int = 0


@dataclass(frozen=True, slots=True)
class _Coils:
    """The coils of the rung, one below the other."""

    width: int
    height: int
    exit: int = 0


@dataclass(frozen=True, slots=True)
class _Branches:
    fan: Fan
    branches: tuple[_Block, ...]
    width: int
    height: int
    exit: int = 0


@dataclass(frozen=True, slots=True)
class _Fold:
    """Blocks in series on one row or more; it is entered on its first line and left on `exit`."""

    rows: tuple[tuple[_Block, ...], ...]
    heights: tuple[int, ...]
    width: int
    height: int
    exit: int = 0


_Block = _Contact | _Coils | _Branches | _Fold


def picture_of(rung: Rung, program: Program, width: int) -> Picture:
    """Place a rung in `width` columns; one that cannot be folded so far becomes wider."""
    wiring = wire_up(rung.circuit)
    coil = max(3, *(columns(safe(action.name)) for action in rung.actions)) + 2
    coils = _Coils(coil, 2 * len(rung.actions))
    room = width - 2
    root: _Fold | None = None
    for caption in ONE_ROW:
        tried = _fold(_parts(wiring.root), caption, 1 << 30, (coils,))
        if tried.width <= room:
            root = tried
            break
    for caption in CAPTION_WIDTHS if root is None else ():
        root = _fold(_parts(wiring.root), caption, room, (coils,))
        if root.width <= room:
            break
    assert root is not None
    names = {leaf.name for leaf in wiring.leaves} | {action.name for action in rung.actions}
    return Picture(
        rung,
        program,
        width,
        max(width, root.width + 2),
        1 + root.height,
        wiring,
        frozenset(names),
        root,
    )


def _parts(part: Part) -> tuple[Part, ...]:
    return part.parts if isinstance(part, Chain) else (part,)


def _block(part: Part, caption: int, room: int) -> _Block:
    """A part in at most `room` columns if it can be folded so far."""
    match part:
        case Spot():
            lines = caption_lines(contact_caption(part.leaf), caption, CAPTION_LINES)
            symbol = len(contact_letters(part.leaf)) + 2
            return _Contact(part, lines, max(symbol, *map(len, lines)) + 2, 1 + len(lines))
        case Chain():
            return _fold(part.parts, caption, room)
        case Fan():
            blocks = tuple(_block(branch, caption, room - 2) for branch in part.branches)
            width = 2 + max(block.width for block in blocks)
            return _Branches(part, blocks, width, sum(block.height for block in blocks))
        case _:
            assert_never(part)


def _fold(parts: Sequence[Part], caption: int, room: int, tail: tuple[_Coils, ...] = ()) -> _Fold:
    """Parts in series on as few rows as `room` columns take."""
    whole = [_block(part, caption, 1 << 30) for part in parts]
    if sum(block.width for block in (*whole, *tail)) <= room:
        return _fold_of([[*whole, *tail]])
    # a row of several begins with an arrow, and all but the last end with one
    capacity = room - 2 * ARROW
    blocks: list[_Block] = [
        block if block.width <= capacity else _block(part, caption, capacity)
        for part, block in zip(parts, whole, strict=True)
    ]
    rows: list[list[_Block]] = [[]]
    used = 0
    for index, block in enumerate([*blocks, *tail]):
        last = index == len(blocks) + len(tail) - 1
        needed = block.width + (0 if last else ARROW)
        if rows[-1] and used + needed > room:
            rows.append([])
            used = ARROW
        rows[-1].append(block)
        used += block.width
    return _fold_of(rows)


def _fold_of(rows: list[list[_Block]]) -> _Fold:
    heights = tuple(max(block.height for block in row) for row in rows)
    widths = [sum(block.width for block in row) for row in rows]
    final = len(rows) - 1
    width = max(
        used + (ARROW if index else 0) + (ARROW if index < final else 0)
        for index, used in enumerate(widths)
    )
    return _Fold(tuple(tuple(row) for row in rows), heights, width, sum(heights), sum(heights[:-1]))


# --- places


class _Placer:
    """Puts the blocks of one rung into cells."""

    def __init__(self, picture: Picture) -> None:
        self.picture = picture
        self.cells: Cells = {}
        self.arrows = 0

    def place(self) -> Cells:
        """All cells; line 0 is the first below the label."""
        picture = self.picture
        right = picture.width - 1
        for y in range(picture.height - 1):
            self.cells[y, 0] = self.cells[y, right] = Wire(up=RAIL, down=RAIL)
        self._rows(picture.root, 0, 1, RAIL, right)
        return self.cells

    def _wire(self, line: int, start: int, end: int, conductor: int) -> None:
        for column in range(start, end):
            self.cells[line, column] = Wire(left=conductor, right=conductor)

    def _rows(self, fold: _Fold, line: int, column: int, conductor: int, end: int) -> int:
        """Place rows that begin at `column` and whose last one is led on to `end`; returns the
        conductor that leaves them."""
        top = line
        number = 0
        for index, (row, height) in enumerate(zip(fold.rows, fold.heights, strict=True)):
            at = column
            if index:
                at = self._arrow(line, column, number, conductor, begins=True)
            for block in row:
                if isinstance(block, _Coils):
                    self._coils(line, at, end, block.width, conductor)
                    return conductor
                conductor = self._place(block, line, at, conductor)
                at += block.width
            if index < len(fold.rows) - 1:
                self.arrows += 1
                number = self.arrows
                stop = end if fold is self.picture.root else column + fold.width
                self._wire(line, at, stop - ARROW, conductor)
                self._arrow(line, stop - ARROW, number, conductor, begins=False)
                line += height
            else:
                self._wire(line, at, end, conductor)
        assert line == top + fold.exit
        return conductor

    def _arrow(self, line: int, column: int, number: int, conductor: int, begins: bool) -> int:
        """An arrow with its number; returns the column behind it."""
        text = f"{number}>".ljust(ARROW) if begins else f"{number}>".rjust(ARROW)
        for offset, character in enumerate(text):
            cell: Cell = Arrow(character, conductor)
            if character == " ":
                cell = Wire(left=conductor, right=conductor)
            self.cells[line, column + offset] = cell
        return column + ARROW

    def _place(self, block: _Block, line: int, column: int, conductor: int) -> int:
        """Place a block whose left side is `conductor`; returns the conductor at its right."""
        match block:
            case _Contact():
                return self._contact(block, line, column, conductor)
            case _Branches():
                return self._branches(block, line, column, conductor)
            case _Fold():
                return self._rows(block, line, column, conductor, column + block.width)
            case _Coils():
                raise AssertionError("coils stand at the end of the rung")
            case _:
                assert_never(block)

    def _contact(self, block: _Contact, line: int, column: int, conductor: int) -> int:
        spot = block.spot
        letters = contact_letters(spot.leaf)
        self._wire(line, column, column + 1, conductor)
        self.cells[line, column + 1] = Bar(spot.index, False, conductor)
        for offset, letter in enumerate(letters):
            self.cells[line, column + 2 + offset] = Mark(letter, leaf=spot.index)
        end = column + 2 + len(letters)
        self.cells[line, end] = Bar(spot.index, True, spot.out)
        self._wire(line, end + 1, column + block.width, spot.out)
        for below, text in enumerate(block.caption, 1):
            for offset, character in enumerate(text):
                mark = Mark(character, leaf=spot.index, caption=True)
                self.cells[line + below, column + 1 + offset] = mark
        self.cells[line + 1, column] = StopRoom(spot.index)
        return spot.out

    def _branches(self, block: _Branches, line: int, column: int, conductor: int) -> int:
        fan = block.fan
        end = column + block.width - 1
        entries = list(_running(line, block.branches))
        exits = [at + branch.exit for at, branch in zip(entries, block.branches, strict=True)]
        last = len(entries) - 1
        for y in range(line, entries[last] + 1):
            self.cells[y, column] = Wire(up=conductor, down=conductor)
        for y in range(line, exits[0]):
            self.cells[y, end] = Wire(up=fan.out, down=fan.out)
        for bar, (above, below) in zip(fan.bars, pairwise(exits), strict=True):
            for y in range(above, below):
                self.cells[y, end] = Wire(up=bar, down=bar)
        for index, (branch, at) in enumerate(zip(block.branches, entries, strict=True)):
            self.cells[at, column] = Wire(
                up=conductor if index else NONE,
                down=conductor if index < last else NONE,
                left=NONE if index else conductor,
                right=conductor,
            )
            out = self._place(branch, at, column + 1, conductor)
            self._wire(exits[index], column + 1 + branch.width, end, out)
            above = fan.bars[index - 1] if index else fan.out if exits[0] > line else NONE
            self.cells[exits[index], end] = Wire(
                up=above,
                down=fan.bars[index] if index < last else NONE,
                left=out,
                right=fan.out if exits[index] == line else NONE,
            )
        if exits[0] > line:
            self.cells[line, end] = Wire(down=fan.out, right=fan.out)
        return fan.out

    def _coils(self, line: int, column: int, end: int, width: int, conductor: int) -> None:
        rung = self.picture.rung
        start = end - width
        many = len(rung.actions)
        if many > 1 and start - column == 1:
            # two uprights with one space between them would read as a contact
            start = column
        self._wire(line, column, start, conductor)
        for index, action in enumerate(rung.actions):
            at = line + 2 * index
            self._wire(at, start, end, conductor)
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
                self.cells[at, end - 4 + offset] = Mark(character, action=index)
            for offset, character in enumerate(action.name):
                mark = Mark(character, action=index, caption=True)
                self.cells[at + 1, end - 1 - len(action.name) + offset] = mark


def _running(line: int, blocks: Sequence[_Block]) -> Iterator[int]:
    for block in blocks:
        yield line
        line += block.height
