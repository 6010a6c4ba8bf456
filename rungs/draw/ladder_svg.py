"""The ladder as pictures: whole sheets to print, and single rungs to show.

What the text drawing shows in characters is shown here in lines; the two share the numbered wiring
of a rung and the words beside its signs, so that they cannot show different circuits.
"""

from __future__ import annotations

from typing import Final

from rungs.draw.flow import conducting_wiring
from rungs.draw.ladder_blocks import BRANCH_GAP, CELL, lay_out
from rungs.draw.ladder_pages import label_height, label_of, sheets, span_words
from rungs.draw.ladder_paint import Painter, strips_of
from rungs.draw.ladder_symbols import LABEL, LIVE, NUMBER, PITCH, RAIL_STROKE
from rungs.draw.text import Closed
from rungs.papers.blocks import Picture
from rungs.program.nodes import Program, Rung
from rungs.svg import PAPER, PaperSize, box, document, number, path, words

_LEAST: Final = 100.0  # between the rails of a single rung, in mm
_MOST: Final = 171.0
_BESIDE: Final = 12.0  # the number, left of the rail


def ladder_pictures(program: Program, paper: PaperSize = "A4") -> tuple[Picture, ...]:
    """The sheets of a program in order, at least one, named `1`, `2` ...; sizes are in mm.

    A4 stands and A3 lies. Each contact says where its coil is, or its terminal or times; each coil
    where its contacts are. The last sheet has the legend. The same program gives the same bytes.
    """
    made = sheets(program, paper)
    pictures: list[Picture] = []
    for index, sheet in enumerate(made, 1):
        said = f"Ladder, sheet {index} of {len(made)}: {span_words(sheet.rungs)}"
        pictures.append(Picture(str(index), sheet.svg, said))
    return tuple(pictures)


def rung_svg(rung: Rung, program: Program, closed: Closed | None = None) -> str:
    """One rung as a small SVG document, 124 to 195 mm wide.

    With `closed`, which says whether current can cross a contact, wire that carries current is
    heavy, wire that does not is light and broken, and a mark stands under what stops it.
    """
    layout = lay_out(rung, program, None, _MOST)
    row = layout.rows[0]
    only = len(layout.rows) == 1 and not layout.apart
    if only:
        width = max(_LEAST, row.width + CELL / 2)
        layout = lay_out(rung, program, None, min(width, _MOST))
    flow = None if closed is None else conducting_wiring(layout.wiring, closed)
    painter = Painter(layout, program, flow)
    x, y = _BESIDE, 2.0
    lines = label_of(rung, layout.width - 5)
    body: list[str] = []
    base = y + 0.9 * LABEL
    y += label_height(len(lines)) + 1
    top = y
    strips = strips_of(layout)
    first = y + strips[0].up
    body.append(
        words(
            x - 2.4,
            base if lines else first + 0.36 * NUMBER,
            str(rung.number),
            NUMBER,
            weight="bold",
            anchor="end",
        )
    )
    for line in lines:
        body.append(words(x + 2.5, base, line, LABEL))
        base += LABEL * PITCH
    for strip in strips:
        body += painter.paint(strip, x, y + strip.up)
        y += strip.up + strip.down + BRANCH_GAP
    right = x + layout.width
    rails = [(x, flow is not None), (right, False)]
    for at, live in rails:
        weight = LIVE + 0.4 if live else RAIL_STROKE
        body.append(path(f"M{number(at)} {number(top)}V{number(y)}", weight))
    said = f"Rung {rung.number}"
    if flow is not None:
        said += ": it has power" if flow.powered else ": it has no power"
    wide, high = right + 3, y + 2
    body.insert(0, box(0, 0, wide, high, "paper", PAPER))
    return document(wide, high, f"Rung {rung.number}", said, body, (wide, high))
