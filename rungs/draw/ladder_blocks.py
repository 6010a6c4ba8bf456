"""One rung as blocks with sizes in millimetres, cut into strips that fit between the rails.

Series runs to the right, parallel downwards, as in the text drawing, but every contact takes the
same room, so that the contacts of a sheet stand in columns. What is too wide goes on in the strip
below, at the tag with the same number. A branch that is too wide or too tall even so is drawn as a
strip of its own, and two tags stand in its place: letters are never made smaller to fit.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Final, assert_never

from rungs.draw.conductors import Chain, Fan, Part, Spot, Wiring, wire_up
from rungs.draw.ladder_symbols import NAME, NOTE, PITCH, SIGN, tag_width
from rungs.draw.ladder_words import (
    Places,
    coil_notes,
    contact_notes,
    label_lines,
    name_lines,
)
from rungs.draw.words import contact_caption
from rungs.program.nodes import Action, Clock, Input, Program, Rung
from rungs.svg import LETTER

CELL: Final = 23.5  # the room of a contact
CELLS: Final = (CELL, 21.5, 19.5)  # narrower ones are taken where a rung then needs one row
COIL: Final = 30.0
BAR: Final = 4.0  # the room of an upright where branches meet
TAG_LEAD: Final = 1.0  # wire before and behind a tag
BRANCH_GAP: Final = 1.6  # between what hangs under a branch and the next one
ABOVE: Final = SIGN + 1.2  # from the wire to the last line of the name
BELOW: Final = SIGN + 0.9  # from the wire to the first line under it
STOP_ROOM: Final = 2.4
_LABEL_LINES: Final = 3
_COIL_NAME: Final = int((COIL - 2.6) / LETTER / NAME)
_COIL_NOTE: Final = int((COIL - 2.6) / LETTER / NOTE)


@dataclass(frozen=True, slots=True)
class Words:
    """What stands round a sign: its name above, notes and then its label below."""

    name: tuple[str, ...]
    notes: tuple[str, ...]
    label: tuple[str, ...]

    @property
    def up(self) -> float:
        """The height above the wire."""
        return ABOVE + len(self.name) * NAME * PITCH

    @property
    def down(self) -> float:
        """The height below it."""
        return BELOW + (len(self.notes) + len(self.label)) * NOTE * PITCH


# Every block: `up` and `down` are measured from the wire on which it is entered; it is left `exit`
# below that wire.


@dataclass(frozen=True, slots=True)
class ContactBlock:
    """One contact."""

    spot: Spot
    words: Words
    up: float
    down: float
    width: float
    exit: float = 0


@dataclass(frozen=True, slots=True)
class CoilBlock:
    """Coils one below the other, the first `first` actions before left out.

    `more` if further ones follow in the next strip, behind a tag below the last.
    """

    first: int
    coils: tuple[Words, ...]
    places: tuple[float, ...]  # of each coil, and of the tag if there is one
    more: bool
    width: float
    up: float
    down: float
    exit: float = 0


@dataclass(frozen=True, slots=True)
class FanBlock:
    """Branches in parallel; `places` are the heights at which they are entered."""

    fan: Fan
    branches: tuple[Block, ...]
    places: tuple[float, ...]
    width: float
    up: float
    down: float
    exit: float = 0


@dataclass(frozen=True, slots=True)
class FoldBlock:
    """Parts in series on one row or more."""

    rows: tuple[Row, ...]
    places: tuple[float, ...]
    width: float
    up: float
    down: float
    exit: float


@dataclass(frozen=True, slots=True)
class JumpBlock:
    """Two tags, in place of a part that is drawn as strip number `strip` of those apart."""

    part: Part
    strip: int
    width: float
    up: float
    down: float
    exit: float = 0


Block = ContactBlock | CoilBlock | FanBlock | FoldBlock | JumpBlock


@dataclass(frozen=True, slots=True)
class Row:
    """Blocks in series on one line."""

    blocks: tuple[Block, ...]
    width: float
    up: float
    down: float


@dataclass(frozen=True, slots=True)
class Layout:
    """A rung in strips. `rows` follow one another, the last with the first coils; `coils` are the
    strips with those that found no room there; `apart` are the parts that jumps stand for, each on
    rows of its own.
    """

    rung: Rung
    rows: tuple[Row, ...]
    coils: tuple[CoilBlock, ...]
    apart: tuple[tuple[Row, ...], ...]
    tag: float
    width: float  # between the rails
    wiring: Wiring


def lay_out(
    rung: Rung,
    program: Program,
    places: dict[str, Places] | None,
    width: float,
    tall: float = float("inf"),
) -> Layout:
    """Place a rung between rails `width` apart, no strip much taller than `tall`; both in mm.

    Without `places` no notes stand under the signs. The least width is 100 mm.
    """
    wiring = wire_up(rung.circuit)
    for cell in (*CELLS, CELL):
        sizer = _Sizer(rung, program, places, len(wiring.leaves), tall, cell)
        coils = sizer.coils()
        if sizer.natural(wiring.root) + coils[0].width <= width:
            break
    rows = sizer.rows(_parts(wiring.root), width, coils[0])
    apart: list[tuple[Row, ...]] = []
    while len(apart) < len(sizer.jumps):
        part = sizer.jumps[len(apart)]
        apart.append(sizer.rows(_parts(part), width - 2 * sizer.tag, None))
    return Layout(
        rung,
        rows,
        coils[1:],
        tuple(apart),
        sizer.tag,
        width,
        wiring,
    )


def _parts(part: Part) -> tuple[Part, ...]:
    return part.parts if isinstance(part, Chain) else (part,)


class _Sizer:
    """Measures the parts of one rung; collects those that are drawn apart in `jumps`."""

    def __init__(
        self,
        rung: Rung,
        program: Program,
        places: dict[str, Places] | None,
        many: int,
        tall: float,
        cell: float,
    ) -> None:
        self.rung = rung
        self.program = program
        self.places = places
        self.tall = tall
        self.cell = cell
        self.name_columns = int((cell - 1.2) / LETTER / NAME)
        self.note_columns = int((cell - 1.2) / LETTER / NOTE)
        self.jumps: list[Part] = []
        # no contact or coil takes more than two tags
        self.tag = tag_width(2 * (many + len(rung.actions))) + 2 * TAG_LEAD
        self._natural: dict[int, tuple[Part, float]] = {}  # held, so that no id comes again

    # --- widths of parts that are not folded

    def natural(self, part: Part) -> float:
        known = self._natural.get(id(part))
        if known is not None:
            return known[1]
        match part:
            case Spot():
                width = self.cell
            case Chain():
                width = sum(self.natural(inner) for inner in part.parts)
            case Fan():
                width = 2 * BAR + max(self.natural(branch) for branch in part.branches)
            case _:
                assert_never(part)
        self._natural[id(part)] = part, width
        return width

    # --- blocks

    def block(self, part: Part, room: float) -> Block:
        """A part in at most `room` mm, which are at least a cell."""
        match part:
            case Spot():
                return self._contact(part)
            case Chain():
                fits = self.natural(part) <= room
                if not fits and room < 2 * (self.tag + self.cell):
                    return self._jump(part)
                mark = len(self.jumps)
                block = _fold_block(self.rows(part.parts, room, None), self.tag)
                if block.width > room + 0.01 or (len(block.rows) > 1 and block.down > self.tall):
                    del self.jumps[mark:]
                    return self._jump(part)
                return block
            case Fan():
                return self._fan(part, room) if room - 2 * BAR >= self.cell else self._jump(part)
            case _:
                assert_never(part)

    def _contact(self, spot: Spot) -> ContactBlock:
        notes: list[str] = []
        label: list[str] = []
        if self.places is not None:
            notes = contact_notes(spot.leaf, self.program, self.places, self.note_columns)
            device = self.program.by_name.get(spot.leaf.name)
            if isinstance(device, Input | Clock):  # what has a coil has its label there
                label = label_lines(device.label, self.note_columns, _LABEL_LINES)
        caption = name_lines(contact_caption(spot.leaf), self.name_columns)
        words = Words(caption, tuple(notes), tuple(label))
        extra = STOP_ROOM if self.places is None else 0
        return ContactBlock(spot, words, words.up, words.down + extra, self.cell)

    def _jump(self, part: Part) -> JumpBlock:
        self.jumps.append(part)
        return JumpBlock(part, len(self.jumps) - 1, 2 * self.tag + 2, 3, 3)

    def _fan(self, fan: Fan, room: float) -> FanBlock:
        """Branches one below the other, as many as the sheet is tall; the rest apart."""
        blocks: list[Block] = []
        places: list[float] = []
        last = len(fan.branches) - 1
        for index, branch in enumerate(fan.branches):
            mark = len(self.jumps)
            block = self.block(branch, room - 2 * BAR)
            at = _below(blocks, places, block)
            reserve = 6 + BRANCH_GAP if index < last else 0
            if at + block.down + reserve > self.tall:
                del self.jumps[mark:]
                rest = branch
                if 0 < index < last:
                    rest = Fan(fan.branches[index:], fan.bars[index:], fan.bars[index - 1])
                block = self._jump(rest)
                at = _below(blocks, places, block)
                if index:
                    blocks.append(block)
                    places.append(at)
                    break
            blocks.append(block)
            places.append(at)
        # where the rest stands apart as one branch, its bars are there too
        kept = replace(
            fan,
            branches=fan.branches[: len(blocks)],
            bars=fan.bars[: len(blocks) - 1],
        )
        width = 2 * BAR + max(block.width for block in blocks)
        return FanBlock(
            kept, tuple(blocks), tuple(places), width, blocks[0].up, places[-1] + blocks[-1].down
        )

    def coils(self) -> tuple[CoilBlock, ...]:
        """The coils in stacks that are no taller than a sheet; a bar leads down where they are
        several."""
        stacks: list[list[tuple[Words, float]]] = [[]]
        first = [0]
        for index, action in enumerate(self.rung.actions):
            words = self._coil(action)
            at = 0.0
            if stacks[-1]:
                above, place = stacks[-1][-1]
                at = place + above.down + BRANCH_GAP + words.up
                if at + words.down + 6 + BRANCH_GAP > self.tall:
                    stacks.append([])
                    first.append(index)
                    at = 0.0
            stacks[-1].append((words, at))
        made: list[CoilBlock] = []
        for number, (start, stack) in enumerate(zip(first, stacks, strict=True)):
            more = number < len(stacks) - 1
            places = [at for _, at in stack]
            down = places[-1] + stack[-1][0].down
            if more:
                places.append(down + BRANCH_GAP + 3)
                down = places[-1] + 3
            coils = tuple(coil for coil, _ in stack)
            width = COIL + (BAR if len(places) > 1 else 0)
            made.append(CoilBlock(start, coils, tuple(places), more, width, coils[0].up, down))
        return tuple(made)

    def _coil(self, action: Action) -> Words:
        notes: list[str] = []
        label: list[str] = []
        if self.places is not None:
            notes = coil_notes(action, self.rung.number, self.program, self.places, _COIL_NOTE)
            device = self.program.by_name.get(action.name)
            label = label_lines(device.label if device else "", _COIL_NOTE, _LABEL_LINES)
        return Words(name_lines(action.name, _COIL_NAME), tuple(notes), tuple(label))

    # --- rows

    def rows(self, parts: Sequence[Part], room: float, tail: CoilBlock | None) -> tuple[Row, ...]:
        """Parts in series on as few rows as `room` takes, the coils at the end of the last."""
        end: tuple[Block, ...] = () if tail is None else (tail,)
        naturals = [self.natural(part) for part in parts]
        if sum(naturals) + sum(block.width for block in end) <= room:
            blocks = [self.block(p, wide) for p, wide in zip(parts, naturals, strict=True)]
            return (_row([*blocks, *end]),)
        # a row of several begins with a tag, and all but the last end with one
        capacity = room - 2 * self.tag
        blocks = [self.block(part, capacity) for part in parts]
        found: list[list[Block]] = [[]]
        used = 0.0
        for index, block in enumerate([*blocks, *end]):
            last = index == len(blocks) + len(end) - 1
            needed = block.width + (0 if last else self.tag)
            if found[-1] and used + needed > room:
                found.append([])
                used = self.tag
            found[-1].append(block)
            used += block.width
        return tuple(map(_row, found))


def _below(blocks: Sequence[Block], places: Sequence[float], block: Block) -> float:
    """Where a branch is entered under those before it."""
    return places[-1] + blocks[-1].down + BRANCH_GAP + block.up if blocks else 0.0


def _row(blocks: Sequence[Block]) -> Row:
    return Row(
        tuple(blocks),
        sum(block.width for block in blocks),
        max(block.up for block in blocks),
        max(block.down for block in blocks),
    )


def _fold_block(rows: tuple[Row, ...], tag: float) -> FoldBlock:
    places = [0.0]
    for above, below in pairwise(rows):
        places.append(places[-1] + above.down + BRANCH_GAP + below.up)
    final = len(rows) - 1
    width = max(
        row.width + (tag if index else 0) + (tag if index < final else 0)
        for index, row in enumerate(rows)
    )
    return FoldBlock(rows, tuple(places), width, rows[0].up, places[-1] + rows[-1].down, places[-1])
