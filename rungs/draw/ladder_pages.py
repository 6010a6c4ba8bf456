"""The sheets of a ladder: which rungs stand on which, and the head, foot and legend round them.

A rung stays whole on one sheet with its label, so that nobody has to hold two sheets side by side
to read it; only one that is taller than a sheet is spread, at its tags.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field
from hashlib import sha256
from pathlib import PurePath
from typing import Final, Literal

from rungs.cells import cut, fold
from rungs.draw.ladder_blocks import ABOVE, BRANCH_GAP, Layout, lay_out
from rungs.draw.ladder_paint import Painter, Strip, strips_of
from rungs.draw.ladder_symbols import (
    LABEL,
    NAME,
    NOTE,
    NUMBER,
    PITCH,
    RAIL_STROKE,
    coil,
    contact,
    joint,
    number_tag,
    tag_width,
)
from rungs.draw.ladder_words import Places, label_lines, places_of, tame
from rungs.draw.words import (
    COIL_LEGEND,
    CONTACT_LEGEND,
    coil_letter,
    contact_caption,
    contact_letters,
)
from rungs.program.nodes import Program, Rung, leaves
from rungs.svg import (
    GRID,
    LETTER,
    PAPER,
    SHEETS,
    PaperSize,
    box,
    document,
    element,
    number,
    path,
    solid,
    tag,
    words,
)

CAUTION: Final = "A program is never the only safety function."
LEFT: Final = 28.0  # the left rail: 16 mm to bind, and room for the number
RIGHT: Final = 11.0
EDGE: Final = 16.0  # where the head and the foot begin
TITLE: Final = 4.4
_TOP: Final = 29.0
_BOTTOM: Final = 19.0
_GAP: Final = 5.0  # between rungs
_LABEL_LINES: Final = 3
_LABEL_GAP: Final = 1.4


@dataclass(frozen=True, slots=True)
class Placed:
    """A strip and the height of its wire on the sheet; `first` of the rung, with its label."""

    strip: Strip
    y: float
    first: bool


@dataclass(slots=True)
class _Sheet:
    """What stands on a sheet: rungs with their strips, and where the last one ends."""

    rungs: list[tuple[int, list[Placed]]] = field(default_factory=list)
    bottom: float = _TOP


@dataclass(frozen=True, slots=True)
class SheetPicture:
    """One sheet as an SVG document, and the numbers of the first and last rung on it."""

    svg: str
    rungs: tuple[int, int] | None


def label_of(rung: Rung, width: float) -> list[str]:
    """The lines of a rung's label in `width` mm."""
    return label_lines(rung.label, int(width / LETTER / LABEL), _LABEL_LINES)


def label_height(lines: int) -> float:
    """The height of a label over its rung."""
    return lines * LABEL * PITCH + _LABEL_GAP if lines else 0.0


def sheets(program: Program, paper: PaperSize) -> tuple[SheetPicture, ...]:
    """All sheets of a program, at least one."""
    wide, high = SHEETS[paper]
    if paper == "A4":  # stands upright, and A3 lies on its side
        wide, high = high, wide
    width = wide - LEFT - RIGHT
    end = high - _BOTTOM
    places = places_of(program)
    tall = end - _TOP - _spare(program)
    layouts = [lay_out(rung, program, places, width, tall) for rung in program.rungs]
    made = _paginate(program, layouts, width, end)
    legend = _Legend(program, layouts, places, width)
    if made[-1].bottom + _GAP + legend.height > end:
        made.append(_Sheet())
    painters = [Painter(layout, program) for layout in layouts]
    head = _Head(program, wide, high, len(made))
    pictures: list[SheetPicture] = []
    for index, sheet in enumerate(made):
        span = (sheet.rungs[0][0] + 1, sheet.rungs[-1][0] + 1) if sheet.rungs else None
        body = [box(0, 0, wide, high, "paper", PAPER), *head.lines(index + 1, span)]
        body += _rungs(program, sheet, painters, width)
        if index == len(made) - 1:
            body += legend.lines(end - legend.height)
        title = f"{head.title}, sheet {index + 1} of {len(made)}"
        text = document(wide, high, title, head.said(span), body, (wide, high))
        pictures.append(SheetPicture(text, span))
    return tuple(pictures)


def _spare(program: Program) -> float:
    """Room that the tallest label and name take above a wire."""
    captions = [contact_caption(leaf) for rung in program.rungs for leaf in leaves(rung.circuit)]
    captions += [action.name for rung in program.rungs for action in rung.actions]
    # a line is at least half full, or a word of its own
    lines = max((len(text) // 5 + 2 for text in captions), default=0)
    return label_height(_LABEL_LINES) + ABOVE + lines * NAME * PITCH


def _paginate(
    program: Program, layouts: Sequence[Layout], width: float, end: float
) -> list[_Sheet]:
    found = [_Sheet()]
    for index, (rung, layout) in enumerate(zip(program.rungs, layouts, strict=True)):
        label = label_height(len(label_of(rung, width)))
        strips = strips_of(layout)
        height = label + sum(s.up + s.down for s in strips) + BRANCH_GAP * (len(strips) - 1)
        gap = _GAP if found[-1].rungs else 0.0
        if found[-1].rungs and found[-1].bottom + gap + height > end:
            found.append(_Sheet())
            gap = 0.0
        at = found[-1].bottom + gap + label
        placed: list[Placed] = []
        found[-1].rungs.append((index, placed))
        for order, strip in enumerate(strips):
            if at + strip.up + strip.down > end and placed:
                found.append(_Sheet())
                placed = []
                found[-1].rungs.append((index, placed))
                at = _TOP + label_height(1)
            placed.append(Placed(strip, at + strip.up, order == 0))
            at += strip.up + strip.down
            found[-1].bottom = at
            at += BRANCH_GAP
    return found


def _rungs(
    program: Program, sheet: _Sheet, painters: Sequence[Painter], width: float
) -> Iterator[str]:
    if not program.rungs:
        yield words(LEFT, _TOP + LABEL, "The panel has no rungs.", LABEL)
    if not sheet.rungs:
        return
    bottom = number(sheet.bottom + 1)
    rails = f"M{number(LEFT)} {number(_TOP - 1)}V{bottom}"
    rails += f"M{number(LEFT + width)} {number(_TOP - 1)}V{bottom}"
    yield element("g", class_="rails") + path(rails, RAIL_STROKE) + "</g>"
    for index, placed in sheet.rungs:
        rung = program.rungs[index]
        yield element("g", class_="rung") + tag("title", f"Rung {rung.number}")
        first = placed[0]
        lines = label_of(rung, width - 5) if first.first else []
        over = first.y - first.strip.up
        if not first.first:
            lines = ["goes on from the sheet before"]
        base = over - label_height(len(lines)) + 0.8 * LABEL
        y = base if lines else first.y + 0.36 * NUMBER
        yield words(LEFT - 2.4, y, str(rung.number), NUMBER, weight="bold", anchor="end")
        for line in lines:
            yield words(LEFT + 2.5, base, line, LABEL, soft=not first.first)
            base += LABEL * PITCH
        for each in placed:
            yield from painters[index].paint(each.strip, LEFT, each.y)
        yield "</g>"


class _Head:
    """The words round a sheet."""

    def __init__(self, program: Program, wide: float, high: float, sheets: int) -> None:
        self.title = tame(program.title) or "Ladder"
        self.site = tame(program.site.label)
        self.wide, self.high, self.sheets = wide, high, sheets
        name = PurePath(program.source.name.replace("\\", "/")).name
        digest = sha256(program.source.text.encode("utf-8", "surrogatepass")).hexdigest()[:12]
        room = wide - EDGE - RIGHT
        caution = (len(CAUTION) + 2) * LETTER * NOTE
        mark = f"sha256 {digest}"
        letters = int((room - caution) / LETTER / NOTE) - len(mark) - 2
        self.file = f"{cut(tame(name), letters)}, {mark}" if name else mark

    def said(self, span: tuple[int, int] | None) -> str:
        """What is on the sheet, in words."""
        return f"Ladder, {span_words(span)}"

    def lines(self, sheet: int, span: tuple[int, int] | None) -> Iterator[str]:
        """Head and foot."""
        right = self.wide - RIGHT
        room = right - EDGE
        count = f"sheet {sheet} of {self.sheets}"
        letters = int((room - (len(count) + 2) * LETTER * NAME) / LETTER / TITLE)
        yield words(EDGE, 16, cut(self.title, letters, tail=0), TITLE, weight="bold")
        yield words(right, 16, count, NAME, anchor="end")
        below = span_words(span)
        letters = int(room / LETTER / NOTE) - len(below) - 2
        if self.site:
            yield words(EDGE, 20.8, cut(self.site, letters, tail=0), NOTE, soft=True)
        if below:
            yield words(right, 20.8, below, NOTE, soft=True, anchor="end")
        foot = self.high - 14
        rules = (
            f"M{number(EDGE)} 23.2H{number(right)}M{number(EDGE)} {number(foot)}H{number(right)}"
        )
        yield element("g", class_="frame") + path(rules, 0.3, "grid", GRID) + "</g>"
        yield words(EDGE, foot + 4.4, self.file, NOTE, soft=True)
        yield words(right, foot + 4.4, CAUTION, NOTE, anchor="end")


def span_words(span: tuple[int, int] | None) -> str:
    """What stands on a sheet, in words."""
    if span is None:
        return "no rungs"
    first, last = span
    return f"rung {first}" if first == last else f"rungs {first} to {last}"


# --- the legend


@dataclass(frozen=True, slots=True)
class _Entry:
    """A sign, as `(what, letters)`, and what it means."""

    what: Literal["contact", "coil", "tag", "joint", "words"]
    letters: str
    lines: tuple[str, ...]


class _Legend:
    """The signs that a program's sheets use, in columns."""

    SIGN_ROOM: Final = 19.0
    ROW: Final = 6.2

    def __init__(
        self, program: Program, layouts: Sequence[Layout], places: dict[str, Places], width: float
    ) -> None:
        self.columns = 2 if width < 250 else 3
        self.wide = (width - 4) / self.columns
        room = int((self.wide - self.SIGN_ROOM - 4) / LETTER / NOTE)
        entries = [
            _Entry(what, letters, fold(text, room))
            for what, letters, text in (_used(program, layouts, places) if layouts else ())
        ]
        per = -(-len(entries) // self.columns)
        self.parts = [entries[n : n + per] for n in range(0, len(entries), per or 1)]
        heights = [sum(map(self._high, part)) for part in self.parts]
        self.height = max(heights, default=-10) + 10

    def _high(self, entry: _Entry) -> float:
        return max(self.ROW, (len(entry.lines) - 1) * NOTE * PITCH + self.ROW)

    def lines(self, top: float) -> Iterator[str]:
        """The legend from `top` down."""
        if not self.parts:
            return
        yield element("g", class_="legend") + tag("title", "Signs")
        right = LEFT + self.columns * self.wide + 4
        yield path(f"M{number(LEFT)} {number(top + 1)}H{number(right)}", 0.3, "grid", GRID)
        yield words(LEFT, top + 5.4, "Signs", NAME, weight="bold")
        for column, part in enumerate(self.parts):
            x = LEFT + column * (self.wide + 4 / max(self.columns - 1, 1))
            y = top + 7
            for entry in part:
                yield from self._entry(entry, x, y + self.ROW / 2)
                y += self._high(entry)
        yield "</g>"

    def _entry(self, entry: _Entry, x: float, y: float) -> Iterator[str]:
        middle = x + self.SIGN_ROOM / 2 - 1.5
        said = " ".join(entry.lines)
        match entry.what:
            case "contact":
                yield contact(middle, y, entry.letters, said)
            case "coil":
                yield coil(middle, y, entry.letters, said)
            case "tag":
                wide = tag_width(9)
                yield number_tag(middle - wide / 2, y, wide, 1, begins=False)
            case "joint":
                yield path(
                    f"M{number(middle - 3)} {number(y)}h6M{number(middle)} {number(y)}v2.2", 0.35
                )
                yield solid(joint(middle, y))
            case "words":
                yield words(middle, y + 0.36 * NOTE, entry.letters, NOTE, anchor="middle")
        base = y + 0.36 * NOTE
        for line in entry.lines:
            yield words(x + self.SIGN_ROOM, base, line, NOTE)
            base += NOTE * PITCH


def _used(
    program: Program, layouts: Sequence[Layout], places: dict[str, Places]
) -> Iterator[tuple[Literal["contact", "coil", "tag", "joint", "words"], str, str]]:
    contacts = {contact_letters(leaf) for layout in layouts for leaf in layout.wiring.leaves}
    coils = {
        coil_letter(action, program.by_name.get(action.name))
        for rung in program.rungs
        for action in rung.actions
    }
    if " " in contacts:
        yield "contact", " ", "NO contact: closed while what it names is on"
    if "/" in contacts:
        yield "contact", "/", "NC contact: open while what it names is on"
    for letters, text in CONTACT_LEGEND.items():
        if letters in contacts:
            yield "contact", letters, text
    if " " in coils:
        yield "coil", " ", "coil: on while the rung has power"
    for letters, text in COIL_LEGEND.items():
        if letters in coils:
            yield "coil", letters, text
    if any(len(layout.rows) + len(layout.coils) + len(layout.apart) > 1 for layout in layouts):
        yield "tag", "", "goes on at the sign with the same number"
    if program.inputs or program.outputs:
        yield "words", (program.inputs or program.outputs)[0].terminal[:6], "terminal"
    if any(place.no or place.nc for name, place in places.items() if place.driven):
        yield "words", "coil 2", "under a contact: its coil is in rung 2"
        yield "words", "NO 3", "under a coil: NO contacts in rung 3"
        yield "words", "NC 4", "under a coil: NC contacts in rung 4"
    if any(len(place.rungs) > 1 for place in places.values()):
        yield "words", "also 5", "under a coil: rung 5 acts on it too"
