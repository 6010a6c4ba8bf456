"""The timing chart along the bottom: the run as traces, with the moment that is shown marked."""

from __future__ import annotations

from dataclasses import replace

from rungs.bench.pages.words import Line, Piece, Signs, fit
from rungs.chart.rows import CellKind, ChartRows, Row

_TONES: dict[CellKind, str] = {
    "low": "quiet",
    "high": "live",
    "change": "live",
    "busy": "live",
    "off": "quiet",
    "outside": "quiet",
    "axis": "quiet",
    "cursor": "stop",
}


def chart_lines(
    rows: ChartRows,
    names: int,
    chosen: int | None,
    rulers: int,
    scale: str,
    signs: Signs,
) -> list[Line]:
    """As many lines of the ruler as are asked for, and the traces, of which one is chosen; names
    take `names` columns. `scale` is how much time a column is."""
    lines: list[Line] = []
    if rulers > 1:
        lines.append(_line(rows.axis[0], names, None, False, signs))
    if rulers:
        ruler = replace(rows.axis[1], name=f"1 col {scale}")
        lines.append(_line(ruler, names, None, False, signs, "quiet"))
    for index, row in enumerate(rows.traces):
        lines.append(_line(row, names, rows.cursor, index == chosen, signs))
    return lines


def _line(
    row: Row, names: int, cursor: int | None, chosen: bool, signs: Signs, tone: str = "plain"
) -> Line:
    mark = signs.cursor if chosen else " "
    value = fit(row.value, 2, signs) if row.value else "  "
    pieces: list[Piece] = [
        (mark, "title"),
        (fit(row.name, names - 4, signs), "title pick" if chosen else tone),
        (" " + value, "quiet"),
    ]
    text, tone = "", ""
    for column, cell in enumerate(row.cells):
        cell_tone = _TONES[cell.kind]
        if column == cursor:
            cell_tone += " pick"
        if cell_tone != tone and text:
            pieces.append((text, tone))
            text = ""
        text, tone = text + cell.sign, cell_tone
    pieces.append((text, tone))
    return tuple(pieces)
