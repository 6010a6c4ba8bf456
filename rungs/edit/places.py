"""Places of a file: its rungs, what a statement owns of the text, and where contacts stand in it.

The ladder counts rungs and contacts, an editor counts characters; this module turns the one into
the other. It works on the tree, so that it also serves a file with errors.
"""

from __future__ import annotations

from dataclasses import dataclass

from rungs.edit.changes import line_end, line_start, refusal
from rungs.edit.circuits import Leaf, leaves_of, written_circuit
from rungs.findings import Finding
from rungs.language.tree import RungTree, Statement
from rungs.program.check import Checked
from rungs.source import Span


@dataclass(frozen=True, slots=True)
class StatementAt:
    """The statement at a place: its keyword, its number if it is a rung, and its place."""

    kind: str
    rung: int | None
    span: Span


@dataclass(frozen=True, slots=True)
class Block:
    """What belongs to a statement: with `whole`, its lines and the comment lines right above them.

    Otherwise the statement shares a line with another one, and only its own words belong to it.
    The span does not hold the line feed at its end.
    """

    span: Span
    whole: bool


def rungs_of(checked: Checked) -> list[RungTree]:
    """The rungs that could be read, in file order: rung n is at index n - 1."""
    return [s for s in checked.file.statements if isinstance(s, RungTree)]


def find_rung(checked: Checked, number: int) -> RungTree | Finding:
    """The rung with a number from 1 on, or a finding that there is none."""
    rungs = rungs_of(checked)
    if 1 <= number <= len(rungs):
        return rungs[number - 1]
    count = f"the last one is rung {len(rungs)}" if rungs else "the file has none yet"
    return refusal(
        "unknown-name",
        f"there is no rung {number}",
        Span(0, 0),
        "there is nothing to change",
        f"choose another rung; {count}",
    )


def find_leaf(checked: Checked, number: int, leaf: int) -> tuple[RungTree, Leaf] | Finding:
    """A rung and one of its contacts, counted from 0 in reading order."""
    rung = find_rung(checked, number)
    if isinstance(rung, Finding):
        return rung
    found = leaves_of(written_circuit(checked.source.text, rung))
    if 0 <= leaf < len(found):
        return rung, found[leaf]
    return refusal(
        "unknown-name",
        f"rung {number} has no contact {leaf + 1}",
        rung.span,
        "there is nothing to change",
        f"choose another contact; it has {len(found)}",
    )


def no_action(number: int, rung: RungTree, action: int) -> Finding | None:
    """A finding if a rung has no action of this index, counted from 0."""
    if 0 <= action < len(rung.actions):
        return None
    return refusal(
        "unknown-name",
        f"rung {number} has no action {action + 1}",
        rung.span,
        "there is nothing to change",
        f"choose another action; it has {len(rung.actions)}",
    )


def span_of_leaf(checked: Checked, rung: int, leaf: int) -> Span | None:
    """The place of a contact with the `not`s that are for it alone; None if there is none."""
    found = find_leaf(checked, rung, leaf)
    return None if isinstance(found, Finding) else found[1].whole.span


def span_of_action(checked: Checked, rung: int, action: int) -> Span | None:
    """The place of an action, verb and name; None if there is none."""
    found = find_rung(checked, rung)
    if isinstance(found, Finding) or no_action(rung, found, action):
        return None
    return found.actions[action].span


def statement_at(checked: Checked, offset: int) -> StatementAt | None:
    """The statement that holds an offset, or else the one whose line the offset is on.

    Comment lines above a rung are nobody's: a caret on them has no statement.
    """
    nearest: Statement | None = None
    rung = nearest_rung = 0
    for statement in checked.file.statements:
        rung += isinstance(statement, RungTree)
        if statement.span.start <= offset <= statement.span.end:
            return _statement_at(statement, rung)
        text = checked.source.text
        on_line = line_start(text, statement.span.start) <= offset
        if on_line and offset <= line_end(text, statement.span.end):
            nearest, nearest_rung = statement, rung
    return None if nearest is None else _statement_at(nearest, nearest_rung)


def leaf_at(checked: Checked, offset: int) -> tuple[int, int] | None:
    """The rung and the contact at an offset, for a ladder that follows the caret of an editor."""
    place = statement_at(checked, offset)
    if place is None or place.rung is None:
        return None
    rung = rungs_of(checked)[place.rung - 1]
    for index, leaf in enumerate(leaves_of(written_circuit(checked.source.text, rung))):
        if leaf.whole.span.start <= offset <= leaf.whole.span.end:
            return place.rung, index
    return None


def action_at(checked: Checked, offset: int) -> tuple[int, int] | None:
    """The rung and the action at an offset."""
    place = statement_at(checked, offset)
    if place is None or place.rung is None:
        return None
    for index, action in enumerate(rungs_of(checked)[place.rung - 1].actions):
        if action.span.start <= offset <= action.span.end:
            return place.rung, index
    return None


def block_of(text: str, statement: Statement) -> Block:
    """What belongs to a statement, to be moved or deleted with it."""
    start = line_start(text, statement.span.start)
    end = line_end(text, statement.span.end)
    rest = text[statement.span.end : end].strip()
    if text[start : statement.span.start].strip() or (rest and not rest.startswith("#")):
        return Block(statement.span, whole=False)
    while start:
        above = line_start(text, start - 1)
        if not text[above:start].lstrip().startswith("#"):
            break
        start = above
    return Block(Span(start, end), whole=True)


def _statement_at(statement: Statement, rung: int) -> StatementAt:
    match statement:
        case RungTree():
            return StatementAt("rung", rung, statement.span)
        case _ if hasattr(statement, "kind"):
            return StatementAt(statement.kind, None, statement.span)
        case _:
            return StatementAt("scenario", None, statement.span)
