"""Papers as Markdown (CommonMark, with the tables of GitHub's dialect).

Text of the user's is escaped, so that a label shows as it was written and makes no link, no
heading and no HTML.
"""

from __future__ import annotations

import re
from typing import Final, assert_never

from rungs.cells import safe
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

_SPECIAL: Final = re.compile(r"[\\`*<>\[\]|~#&$]|(?<![^\W_])_|_(?![^\W_])")
# what makes a list, a heading or a rule of a line when it stands first
_LEADING: Final = re.compile(r"^([0-9]*)([-+=.)])")


def escaped(text: str) -> str:
    """Text that shows as it is inside a line."""
    return _SPECIAL.sub(lambda found: "\\" + found[0], safe(text)).replace("://", ":\\//")


def _line(text: str) -> str:
    """Text that shows as it is on a line of its own."""
    return _LEADING.sub(r"\1\\\2", escaped(safe(text).strip()))


def paper_markdown(paper: Paper) -> str:
    """The paper, its title as the only heading of the first level."""
    parts = [f"# {_line(paper.title)}", *("\n".join(_block(block)) for block in paper.blocks)]
    return "\n\n".join(parts) + "\n"


def _block(block: Block) -> list[str]:
    match block:
        case Heading():
            return [f"{'#' * block.level} {_line(block.text)}"]
        case Paragraph():
            return [_line(block.text)]
        case Caution():
            return [f"> **Caution.** {_line(block.text)}"]
        case Points():
            signs = [f"{n}." if block.numbered else "-" for n in range(1, len(block.items) + 1)]
            return [f"{s} {_line(item)}" for s, item in zip(signs, block.items, strict=True)]
        case Table():
            return _table(block)
        case Picture():
            return [f"*Picture: {escaped(block.words)}*"]
        case Verbatim():
            # a fence that is longer than any in the text
            longest = max([2, *map(len, re.findall(r"`+", block.text))])
            fence = "`" * (longest + 1)
            return [fence + "text", *(safe(line) for line in block.text.split("\n")), fence]
        case _:
            assert_never(block)


def _table(table: Table) -> list[str]:
    if not table.rows:
        return [_line(table.none)]
    sides = ["---:" if i in table.numbers else "---" for i in range(len(table.columns))]
    lines = [_row(table.columns), f"| {' | '.join(sides)} |", *map(_row, table.rows)]
    rows = counted(len(table.rows), "row")
    return [*lines, "", f"{_line(table.caption)} ({rows})" if table.caption else rows]


def _row(cells: tuple[str, ...]) -> str:
    return f"| {' | '.join(escaped(cell) for cell in cells)} |"
