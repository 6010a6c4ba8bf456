"""Papers as text for a terminal.

Tables keep their columns where the screen is wide enough, and are told row by row where it is not,
so that no cell is ever cut.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final, assert_never

from rungs.cells import columns, fold, safe
from rungs.papers.blocks import (
    Block,
    Caution,
    Heading,
    Paper,
    Paragraph,
    Picture,
    Points,
    Table,
    Verbatim,
    counted,
)

LEAST_WIDTH: Final = 40
_GAP: Final = 2
_NARROW: Final = 8  # no column is folded to less than this


def paper_text(paper: Paper, width: int = 80) -> str:
    """Title and blocks in lines of at most `width` columns (verbatim text may be wider)."""
    width = max(width, LEAST_WIDTH)
    lines = list(fold(safe(paper.title), width))
    parts = ["\n".join([*lines, "=" * max(map(columns, lines))])]
    return "\n\n".join([*parts, blocks_text(paper.blocks, width)])


def blocks_text(blocks: Sequence[Block], width: int = 80) -> str:
    """Blocks in lines of at most `width` columns, an empty line between two."""
    return "\n\n".join("\n".join(_block(block, width)) for block in blocks) + "\n"


def _block(block: Block, width: int) -> list[str]:
    match block:
        case Heading():
            lines = list(fold(safe(block.text), width))
            sign = "-" if block.level <= 2 else "."
            return [*lines, sign * max(map(columns, lines))]
        case Paragraph():
            return list(fold(safe(block.text), width))
        case Caution():
            return [f"! {line}" for line in fold(safe(block.text), width - 2)]
        case Points():
            return [
                line
                for n, item in enumerate(block.items, 1)
                for line in _point(block, n, item, width)
            ]
        case Table():
            return table_lines(block, width)
        case Picture():
            return [f"[{line}]" for line in fold(f"picture: {safe(block.words)}", width - 2)]
        case Verbatim():
            return [safe(line) for line in block.text.split("\n")]
        case _:
            assert_never(block)


def _point(block: Points, number: int, item: str, width: int) -> list[str]:
    sign = f"{number}. " if block.numbered else "- "
    first, *rest = fold(safe(item), width - len(sign))
    return [sign + first, *(" " * len(sign) + line for line in rest)]


def table_lines(table: Table, width: int = 80) -> list[str]:
    """A table in lines of at most `width` columns, its caption and the number of its rows last."""
    rows = [tuple(safe(cell) for cell in row) for row in table.rows]
    end = [counted(len(rows), "row")]
    if table.caption:
        end = list(fold(f"{safe(table.caption)} ({end[0]})", width))
    if not rows:
        return [safe(table.none)]
    widths = _widths(table, rows, width)
    if widths is None:
        return [*_told(table, rows, width), *end]
    lines = _row(table.columns, widths, ())
    lines.append((" " * _GAP).join("-" * wide for wide in widths))
    for row in rows:
        lines += _row(row, widths, table.numbers)
    return [*lines, *end]


def _widths(table: Table, rows: list[tuple[str, ...]], width: int) -> list[int] | None:
    """How wide each column is; None if they cannot stand side by side."""
    wanted = [
        max([columns(name), *(columns(row[i]) for row in rows), 1])
        for i, name in enumerate(table.columns)
    ]
    least = [min(wide, max(_NARROW, columns(table.columns[i]))) for i, wide in enumerate(wanted)]
    room = width - _GAP * (len(wanted) - 1)
    if sum(least) > room:
        return None
    widths = list(wanted)
    for _ in range(sum(wanted) - room):
        # the widest of those that can gives way
        widths[max(range(len(widths)), key=lambda i: (widths[i] > least[i], widths[i]))] -= 1
    return widths


def _row(cells: tuple[str, ...], widths: list[int], numbers: tuple[int, ...]) -> list[str]:
    folded = [fold(cell, wide) if cell else ("",) for cell, wide in zip(cells, widths, strict=True)]
    lines = []
    for n in range(max(map(len, folded))):
        parts = []
        for i, (pieces, wide) in enumerate(zip(folded, widths, strict=True)):
            piece = pieces[n] if n < len(pieces) else ""
            blank = " " * (wide - columns(piece))
            parts.append(blank + piece if i in numbers else piece + blank)
        lines.append((" " * _GAP).join(parts).rstrip())
    return lines


def _told(table: Table, rows: list[tuple[str, ...]], width: int) -> list[str]:
    lines: list[str] = []
    for row in rows:
        for index, (name, cell) in enumerate(zip(table.columns, row, strict=True)):
            indent = "" if index == 0 else "  "
            if index == 0 or cell:
                shown = fold(f"{name}: {cell}", width - len(indent) - 2)
                lines += [indent + shown[0], *(f"{indent}  {more}" for more in shown[1:])]
    return lines
