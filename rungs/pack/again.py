"""Whether a handed-over table comes out of its panel again."""

from __future__ import annotations

from dataclasses import dataclass

from rungs.pack.restore import Restore
from rungs.program.check import check
from rungs.source import Source, source_from_text
from rungs.table.board import Board, read_board
from rungs.table.compare import compare
from rungs.table.compile import Compiler
from rungs.table.formats import table_json
from rungs.table.model import TableFile


@dataclass(frozen=True, slots=True)
class Again:
    """Whether the table is the `same`, and in words how that is known."""

    same: bool
    words: str


def table_again(restore: Restore) -> Again:
    """Compile the panel anew and hold the table against it, byte for byte, or by proof where
    another version writes it otherwise. The restore file must have a table."""
    table = restore.table
    assert table is not None
    program = check(source_from_text(restore.text, restore.file)).program
    if program is None:
        return Again(False, "this version finds errors in the panel: rungs check says which")
    made = _made(Compiler(program), restore, table)
    if made is not None and table_json(made) == table_json(table):
        return Again(True, "the table comes out of the panel again, byte for byte")
    found = compare(program, table)
    if found.verdict == "same":
        return Again(True, "this version writes the table otherwise, and proved it to do the same")
    if found.verdict == "differs":
        return Again(False, f"the table does not do what the panel does: {found.what}")
    return Again(False, f"whether the table does what the panel does is not decided: {found.what}")


def _made(compiler: Compiler, restore: Restore, table: TableFile) -> TableFile | None:
    board = _board(restore)
    if board is None:
        return compiler.table(table.kind, table.first_match)[0]
    return compiler.for_board(table.kind, board, restore.sun_by, restore.year).table


def _board(restore: Restore) -> Board | None:
    if restore.board is None:
        return None
    return read_board(Source(restore.board.name, restore.board.text))[0]
