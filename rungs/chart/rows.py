"""A chart as rows of characters, for a screen and for paper.

One column stands for as many ms as is asked for, and nothing that happened in them is left out: a
contact that moved more than once within a column shows a sign of its own. Only what the columns
show is looked up, so that a long record costs no more to look at than a short one.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from typing import Final, Literal

from rungs.cells import columns as width
from rungs.cells import cut, safe
from rungs.chart.axis import Tick, corner, ticks
from rungs.chart.data import (
    Chart,
    Trace,
    count_at,
    level_at,
    next_change,
    off_after,
    state_at,
    wall_of,
)
from rungs.scan.zone import DAY, HOUR, MINUTE, SECOND

CellKind = Literal["low", "high", "change", "busy", "off", "outside", "axis", "cursor"]


@dataclass(frozen=True, slots=True)
class Cell:
    """One character, and what it stands for, so that a face can tone it.

    `outside` is beyond the ends of the chart, `off` without power.
    """

    sign: str
    kind: CellKind


@dataclass(frozen=True, slots=True)
class Row:
    """A name (cut, not padded), the value at the cursor, and a cell for each column."""

    name: str
    value: str
    cells: tuple[Cell, ...]


@dataclass(frozen=True, slots=True)
class ChartRows:
    """The axis in two rows, texts above marks, and a row for each trace.

    `cursor` is the column of the cursor, None where it is not in sight; its mark stands among the
    axis marks alone, and a face may tone the whole column.
    """

    axis: tuple[Row, Row]
    traces: tuple[Row, ...]
    cursor: int | None


@dataclass(frozen=True, slots=True)
class Zoom:
    """A scale: how many ms a column stands for, and what to call it."""

    ms: int
    name: str


ZOOMS: Final = tuple(
    Zoom(count * unit, f"{count} {name}")
    for unit, name, counts in (
        (1, "ms", (10, 20, 50, 100, 200, 500)),
        (SECOND, "s", (1, 2, 5, 10, 30)),
        (MINUTE, "min", (1, 2, 5, 10, 30)),
        (HOUR, "h", (1, 2, 6, 12)),
        (DAY, "day", (1,)),
    )
    for count in counts
)


def zoom_for(chart: Chart, columns: int) -> Zoom:
    """The closest scale at which the whole chart fits in so many columns, or else the widest."""
    length = chart.end - chart.begin + 1
    return next((zoom for zoom in ZOOMS if zoom.ms * columns >= length), ZOOMS[-1])


@dataclass(frozen=True, slots=True)
class _Signs:
    low: Cell
    high: Cell
    rise: Cell
    fall: Cell
    busy: Cell
    line: Cell
    tick: Cell
    cursor: Cell


def _signs(signs: str) -> _Signs:
    """The cells of these characters, in the order of the fields."""
    kinds: tuple[CellKind, ...] = (
        "low",
        "high",
        "change",
        "change",
        "busy",
        "axis",
        "axis",
        "cursor",
    )
    return _Signs(*map(Cell, signs, kinds))


# blocks an eighth high at the foot and the head of the letter, diagonals, a shade
_DRAWN: Final = _signs("\u2581\u2594\u2571\u2572\u2592─┬▼")
_ASCII: Final = _signs("_#/\\X-+v")
_OFF: Final = Cell(" ", "off")
_OUTSIDE: Final = Cell(" ", "outside")
_BLANK: Final = Cell(" ", "axis")


@dataclass(frozen=True, slots=True)
class _Column:
    """The part of the chart in one column: `base` is the time before its first change could be,
    `before` the end of it, and `dark` whether power fails anywhere in between."""

    base: int
    before: int
    dark: bool


def chart_rows(
    chart: Chart,
    first: int,
    ms_per_column: int,
    columns: int,
    cursor: int | None = None,
    ascii_only: bool = False,
    name_columns: int = 24,
) -> ChartRows:
    """The chart from time `first` on (ms; it may lie outside), `ms_per_column` to each column.

    Column k holds the times from first + k * ms_per_column up to the next column's. A change in its
    first ms is a change in that column. Names take at most `name_columns` columns. Costs
    O(columns * log(changes)) for a trace. Raises ValueError for sizes under 1.
    """
    if ms_per_column < 1 or columns < 1 or name_columns < 1:
        raise ValueError("columns, the ms in each and the width of names are at least 1")
    signs = _ASCII if ascii_only else _DRAWN
    spans = [
        _column(chart, first + k * ms_per_column, first + (k + 1) * ms_per_column)
        for k in range(columns)
    ]
    at = None if cursor is None else (cursor - first) // ms_per_column
    seen = at if at is not None and 0 <= at < columns else None
    return ChartRows(
        _axis(chart, first, ms_per_column, spans, seen, signs, name_columns),
        tuple(
            Row(
                cut(safe(trace.name, ascii_only), name_columns, ascii_only),
                "" if cursor is None else _value(chart, trace, cursor),
                tuple(_cells(chart, trace, spans, signs)),
            )
            for trace in chart.traces
        ),
        seen,
    )


def _column(chart: Chart, first: int, before: int) -> _Column | None:
    """The column of the times from `first` up to `before`; None outside the chart."""
    low, high = max(first, chart.begin), min(before, chart.end + 1)
    if low >= high:
        return None
    base = max(low - 1, chart.begin)
    off = off_after(chart, base)
    return _Column(base, high, off is not None and off[0] < high)


def _cells(chart: Chart, trace: Trace, spans: list[_Column | None], signs: _Signs) -> list[Cell]:
    cells: list[Cell] = []
    at = 0  # flips up to the base of the column
    for span in spans:
        if span is None:
            cells.append(_OUTSIDE)
            continue
        if span.dark:
            cells.append(_dark_cell(chart, trace, span, signs))
            continue
        at = bisect_right(trace.changes, span.base, at)
        flips = bisect_left(trace.changes, span.before, at) - at
        closed = trace.starts ^ bool(at & 1)
        match flips:
            case 0:
                cells.append(signs.high if closed else signs.low)
            case 1:
                cells.append(signs.fall if closed else signs.rise)
            case _:
                cells.append(signs.busy)
    return cells


def _dark_cell(chart: Chart, trace: Trace, span: _Column, signs: _Signs) -> Cell:
    """A column in which power fails, is missing, or comes back.

    Blank from the column in which it failed; the contact from the column in which it came back; and
    busy if there is more than that to tell.
    """
    was = state_at(chart, trace, span.base)
    then = next_change(chart, trace, span.base)
    if then is not None and then < span.before:
        more = next_change(chart, trace, then)
        if more is not None and more < span.before:
            return signs.busy
        now = state_at(chart, trace, then)
        if was is not None and now is not None:
            return signs.rise if now else signs.fall
        was = now
    if was is None:
        return _OFF
    return signs.high if was else signs.low


def _value(chart: Chart, trace: Trace, t: int) -> str:
    if not chart.begin <= t <= chart.end or state_at(chart, trace, t) is None:
        return ""
    count = count_at(trace, t)
    return str(int(level_at(trace, t)) if count is None else count)


def _axis(
    chart: Chart,
    first: int,
    ms: int,
    spans: list[_Column | None],
    cursor: int | None,
    signs: _Signs,
    name_columns: int,
) -> tuple[Row, Row]:
    wall = wall_of(chart)
    since = max(first, chart.begin)
    until = min(first + ms * len(spans) - 1, chart.end)
    found = ticks(wall, since, until, ms) if since <= until else ()
    line = [_OUTSIDE if span is None else signs.line for span in spans]
    for tick in found:
        line[(tick.t - first) // ms] = signs.tick
    if cursor is not None:
        line[cursor] = signs.cursor
    corner_text = cut(corner(wall, max(since, 0)), name_columns, True)
    return (
        Row(corner_text, "", tuple(_texts(found, first, ms, len(spans)))),
        Row("", "", tuple(line)),
    )


def _texts(found: tuple[Tick, ...], first: int, ms: int, columns: int) -> list[Cell]:
    cells = [_BLANK] * columns
    free = 0
    for tick in found:
        at = (tick.t - first) // ms
        if at >= free and at + len(tick.text) <= columns:
            cells[at : at + len(tick.text)] = [Cell(letter, "axis") for letter in tick.text]
            free = at + len(tick.text) + 1
    return cells


def plain_text(rows: ChartRows) -> str:
    """The rows as text, each line ended by a line feed and without blanks at its end."""
    every = (*rows.axis, *rows.traces)
    names = max(width(row.name) for row in every)
    values = max(len(row.value) for row in every)
    lines = []
    for row in every:
        head = row.name + " " * (names - width(row.name) + 1)
        if values:
            head += f"{row.value:>{values}} "
        lines.append((head + "".join(cell.sign for cell in row.cells)).rstrip())
    return "\n".join(lines) + "\n"
