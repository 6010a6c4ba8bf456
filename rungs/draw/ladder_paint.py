"""The strips of one rung as SVG elements, with or without current.

A strip is painted where its sheet wants it; wires are drawn in straight pieces that end exactly at
the signs, so that what is joined on paper is joined in the numbers too.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise
from typing import assert_never

from rungs.draw.conductors import RAIL
from rungs.draw.flow import Flow
from rungs.draw.ladder_blocks import (
    ABOVE,
    BAR,
    BELOW,
    COIL,
    TAG_LEAD,
    Block,
    CoilBlock,
    ContactBlock,
    FanBlock,
    FoldBlock,
    JumpBlock,
    Layout,
    Row,
    Words,
)
from rungs.draw.ladder_symbols import (
    COIL_HALF,
    DASH,
    DEAD,
    LIVE,
    NAME,
    NOTE,
    PITCH,
    SIGN,
    WIRE,
    coil,
    contact,
    half_width,
    joint,
    number_tag,
    stop,
)
from rungs.draw.words import coil_letter, contact_letters
from rungs.program.nodes import Program
from rungs.program.words import circuit_text
from rungs.svg import number, path, solid, words


@dataclass(frozen=True, slots=True)
class Strip:
    """One strip of a rung: `up` above its wire, `down` below it.

    `apart` is the part it belongs to, or -1; `index` its place among the rows of that part or of
    the rung; for coils that found no room in the last row the block is in `coils`.
    """

    up: float
    down: float
    apart: int
    index: int
    row: Row | None
    coils: CoilBlock | None = None


def strips_of(layout: Layout) -> tuple[Strip, ...]:
    """All strips, from top to bottom."""
    found = [Strip(r.up, r.down, -1, n, r) for n, r in enumerate(layout.rows)]
    found += [Strip(c.up, c.down, -1, -1, None, c) for c in layout.coils]
    for which, rows in enumerate(layout.apart):
        found += [Strip(r.up, r.down, which, n, r) for n, r in enumerate(rows)]
    return tuple(found)


class Painter:
    """Paints the strips of one rung, which must come in order since they count their tags."""

    def __init__(self, layout: Layout, program: Program, flow: Flow | None = None) -> None:
        self.layout = layout
        self.program = program
        self.flow = flow
        self._count = 0  # of tags
        self._open = 0, RAIL  # the tag that the next strip begins with, and its conductor
        self._jumps: dict[int, tuple[int, int, int]] = {}  # tags and conductor of a part apart
        self._wires: dict[bool, list[str]] = {}
        self._joints: dict[bool, list[str]] = {}
        self._signs: list[str] = []
        self._texts: list[str] = []

    def paint(self, strip: Strip, x: float, y: float) -> list[str]:
        """The elements of a strip whose wire leaves the left rail, or begins, at (x, y)."""
        self._wires, self._joints = {}, {}
        self._signs, self._texts = [], []
        right = x + self.layout.width
        if strip.coils is not None:
            at = self._begin(x, y, *self._open)
            self._coils(strip.coils, at, right, y, self._open[1])
        elif strip.row is not None:
            self._row(strip, strip.row, x, right, y)
        return [*self._drawn(), *self._signs, *self._texts]

    def _drawn(self) -> list[str]:
        made: list[str] = []
        for live in (False, True):
            wires = self._wires.get(live)
            if wires and self.flow is None:
                made.append(path("".join(wires), WIRE))
            elif wires:
                made.append(path("".join(wires), LIVE if live else DEAD, dash="" if live else DASH))
            if live in self._joints:
                made.append(solid("".join(self._joints[live])))
        return made

    # --- wires

    def _live(self, conductor: int) -> bool:
        return self.flow is not None and self.flow.live[conductor]

    def _across(self, a: float, b: float, y: float, conductor: int) -> None:
        if b - a > 0.001:
            wires = self._wires.setdefault(self._live(conductor), [])
            wires.append(f"M{number(a)} {number(y)}H{number(b)}")

    def _upright(self, x: float, a: float, b: float, conductor: int) -> None:
        wires = self._wires.setdefault(self._live(conductor), [])
        wires.append(f"M{number(x)} {number(a)}V{number(b)}")

    def _joint(self, x: float, y: float, conductor: int) -> None:
        live = self._live(conductor)
        self._joints.setdefault(live, []).append(joint(x, y, 0.95 if live else 0.65))

    def _next(self) -> int:
        self._count += 1
        return self._count

    def _begin(self, x: float, y: float, count: int, conductor: int) -> float:
        """A tag at which a wire begins; returns where the wire goes on."""
        wide = self.layout.tag - 2 * TAG_LEAD
        self._signs.append(number_tag(x + TAG_LEAD, y, wide, count, begins=True))
        self._across(x + TAG_LEAD + wide, x + self.layout.tag, y, conductor)
        return x + self.layout.tag

    def _end(self, x: float, y: float, count: int, conductor: int) -> float:
        """A tag at which a wire ends."""
        wide = self.layout.tag - 2 * TAG_LEAD
        self._across(x, x + TAG_LEAD, y, conductor)
        self._signs.append(number_tag(x + TAG_LEAD, y, wide, count, begins=False))
        return x + self.layout.tag

    # --- rows and blocks

    def _row(self, strip: Strip, row: Row, x: float, right: float, y: float) -> None:
        at = x
        count, conductor = self._open
        rows = self.layout.rows
        leaves_by = 0
        if strip.apart >= 0:
            rows = self.layout.apart[strip.apart]
            into, leaves_by, entered = self._jumps[strip.apart]
            if strip.index == 0:
                count, conductor = into, entered
        if strip.index or strip.apart >= 0:
            at = self._begin(x, y, count, conductor)
        for block in row.blocks:
            if isinstance(block, CoilBlock):
                self._coils(block, at, right, y, conductor)
                return
            conductor = self._place(block, at, y, conductor)
            at += block.width
        if strip.index < len(rows) - 1:
            self._open = self._next(), conductor
            self._across(at, right - self.layout.tag, y, conductor)
            self._end(right - self.layout.tag, y, *self._open)
        else:
            self._end(at, y, leaves_by, conductor)

    def _place(self, block: Block, x: float, y: float, conductor: int) -> int:
        """Paint a block that is entered at (x, y); returns the conductor at its right."""
        match block:
            case ContactBlock():
                return self._contact(block, x, y, conductor)
            case FanBlock():
                return self._fan(block, x, y, conductor)
            case FoldBlock():
                return self._fold(block, x, y, conductor)
            case JumpBlock():
                into, back = self._next(), self._next()
                self._jumps[block.strip] = into, back, conductor
                self._end(x, y, into, conductor)
                self._begin(x + block.width - self.layout.tag, y, back, block.part.out)
                return block.part.out
            case CoilBlock():
                raise AssertionError("coils stand at the end of the rung")
            case _:
                assert_never(block)

    def _contact(self, block: ContactBlock, x: float, y: float, conductor: int) -> int:
        spot = block.spot
        letters = contact_letters(spot.leaf)
        middle, half = x + block.width / 2, half_width(letters)
        self._across(x, middle - half, y, conductor)
        self._across(middle + half, x + block.width, y, spot.out)
        power = None
        flow = self.flow
        if flow is not None:
            power = flow.reached[spot.index], flow.passed[spot.index]
            if spot.index in flow.stops:
                self._signs.append(stop(middle, y + SIGN + 0.7))
        said = circuit_text(spot.leaf)
        self._signs.append(contact(middle, y, letters, said, power))
        self._words(block.words, middle, y)
        return spot.out

    def _words(self, around: Words, x: float, y: float) -> None:
        base = y - ABOVE - 0.25 * NAME
        for line in reversed(around.name):
            self._texts.append(words(x, base, line, NAME, anchor="middle"))
            base -= NAME * PITCH
        base = y + BELOW + 0.95 * NOTE
        for index, line in enumerate((*around.notes, *around.label)):
            soft = index >= len(around.notes)
            self._texts.append(words(x, base, line, NOTE, soft, anchor="middle"))
            base += NOTE * PITCH

    def _fan(self, block: FanBlock, x: float, y: float, conductor: int) -> int:
        fan = block.fan
        left, right = x + BAR / 2, x + block.width - BAR / 2
        entries = [y + place for place in block.places]
        exits = [at + inner.exit for at, inner in zip(entries, block.branches, strict=True)]
        last = len(entries) - 1
        self._across(x, left, y, conductor)
        for above, below in pairwise(entries):
            self._upright(left, above, below, conductor)
        for index, (inner, at) in enumerate(zip(block.branches, entries, strict=True)):
            self._across(left, x + BAR, at, conductor)
            out = self._place(inner, x + BAR, at, conductor)
            self._across(x + BAR + inner.width, right, exits[index], out)
            if index < last:
                self._joint(left, at, conductor)
        if exits[0] > y:
            self._upright(right, y, exits[0], fan.out)
        for bar, (above, below) in zip(fan.bars, pairwise(exits), strict=True):
            self._upright(right, above, below, bar)
        for index, at in enumerate(exits[:last]):
            # where three wires meet
            self._joint(right, at, fan.out if index == 0 else fan.bars[index - 1])
        self._across(right, x + block.width, y, fan.out)
        return fan.out

    def _fold(self, block: FoldBlock, x: float, y: float, conductor: int) -> int:
        count = 0
        final = len(block.rows) - 1
        for index, (row, place) in enumerate(zip(block.rows, block.places, strict=True)):
            line = y + place
            at = self._begin(x, line, count, conductor) if index else x
            for inner in row.blocks:
                conductor = self._place(inner, at, line, conductor)
                at += inner.width
            if index < final:
                count = self._next()
                end = x + block.width - self.layout.tag
                self._across(at, end, line, conductor)
                self._end(end, line, count, conductor)
            else:
                self._across(at, x + block.width, line, conductor)
        return conductor

    def _coils(self, block: CoilBlock, at: float, right: float, y: float, conductor: int) -> None:
        power = self._live(conductor)
        start = right - COIL
        middle = right - COIL / 2
        bar = start - BAR / 2
        several = len(block.places) > 1
        self._across(at, bar if several else start, y, conductor)
        places = [y + place for place in block.places]
        for above, below in pairwise(places):
            self._upright(bar, above, below, conductor)
        for line in places[:-1]:
            self._joint(bar, line, conductor)
        for index, (around, line) in enumerate(zip(block.coils, places, strict=False)):
            action = self.layout.rung.actions[block.first + index]
            self._across(bar if several else start, middle - COIL_HALF, line, conductor)
            self._across(middle + COIL_HALF, right, line, conductor)
            letter = coil_letter(action, self.program.by_name.get(action.name))
            said = action.name if action.verb == "coil" else f"{action.verb} {action.name}"
            self._signs.append(coil(middle, line, letter, said, power))
            self._words(around, middle, line)
        if block.more:
            self._open = self._next(), conductor
            self._across(bar, start, places[-1], conductor)
            self._end(start, places[-1], *self._open)
