"""What was found at a checkout, as blocks of a paper: how it stands, and every answer.

A record is for machines; whoever takes a panel over wants to read it behind the steps themselves.
"""

from __future__ import annotations

from rungs.checkout.merged import merge, stale_words
from rungs.checkout.plan import Plan
from rungs.checkout.record import Record
from rungs.checkout.walk import Walk, found_text
from rungs.papers.blocks import Block, Caution, Heading, Paragraph, Points, Table

_RESULT = {"pass": "passed", "fail": "FAILED", "skipped": "skipped", "note": "note"}


def found_blocks(plan: Plan, record: Record) -> tuple[Block, ...]:
    """A part of a paper: the result so far, and every answer that counts in the order of the steps,
    retries one below the other."""
    merged = merge(plan, record)
    blocks: list[Block] = [Heading("As found")]
    begun = f"Begun {_when(record.started)}, last answer {_when(record.updated)}"
    board = f"; board: {record.board}" if record.board else ""
    blocks.append(Paragraph(f"{begun}{board}."))
    blocks.append(Points(Walk(plan, record).summary().lines()))
    blocks += [Caution(f"{line}.") for line in stale_words(merged.stale)]
    rows = tuple(
        (
            str(state.number),
            _RESULT[entry.result],
            "; ".join(found_text(each) for each in entry.as_found),
            entry.note,
            entry.who,
            _when(entry.at),
        )
        for state in merged.steps
        for entry in state.entries
    )
    if rows:
        columns = ("step", "result", "as found", "note", "who", "when")
        blocks.append(Table("as-found", columns, rows))
    return tuple(blocks)


def _when(at: str) -> str:
    return at[:16].replace("T", " ")
