"""Whole rungs: delete one, move one past its neighbour, write a new one.

The comment lines right above a rung and the comment behind it speak of that rung, so they go where
it goes; everything else keeps its order.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from rungs.edit.actions import action_words
from rungs.edit.changes import (
    Change,
    Mark,
    finish,
    line_end,
    line_start,
    refusal,
    removed,
)
from rungs.edit.pieces import read_label, read_rung
from rungs.edit.places import block_of, find_rung, rungs_of
from rungs.findings import Finding
from rungs.language.format import INDENT
from rungs.language.tree import Declaration, RungTree, Statement, Word
from rungs.program.check import Checked
from rungs.source import Edit, Span


def delete_rung(checked: Checked, rung: int) -> Change | Finding:
    """Take a rung out, with the comments that speak of it."""
    found = find_rung(checked, rung)
    if isinstance(found, Finding):
        return found
    text = checked.source.text
    block = block_of(text, found)
    if block.whole:
        span = _with_gap(text, block.span)
        edits = [Edit(span, "")]
    else:
        span = block.span
        edits = removed(text, [span])
    kept = tuple(s for s in checked.file.statements if s is not found)
    rungs = [s for s in kept if isinstance(s, RungTree)]
    mark = Mark(rungs[min(rung, len(rungs)) - 1].span.start) if rungs else Mark(span.start)
    says = f"took out rung {rung}"
    return finish(checked, edits, says, mark, lambda file: file.statements == kept)


def move_rung(checked: Checked, rung: int, way: Literal["up", "down"]) -> Change | Finding:
    """Let a rung change places with the rung above or below it; what stands between stays there."""
    found = find_rung(checked, rung)
    if isinstance(found, Finding):
        return found
    other = rung - 1 if way == "up" else rung + 1
    rungs = rungs_of(checked)
    if not 1 <= other <= len(rungs):
        return refusal(
            "unknown-name",
            f"rung {rung} is the {'first' if way == 'up' else 'last'} one",
            found.span,
            f"there is no rung to move it {way} past",
            "move another rung",
        )
    upper, lower = sorted((found, rungs[other - 1]), key=lambda r: r.span.start)
    text = checked.source.text
    above, below = block_of(text, upper), block_of(text, lower)
    whole = above.whole and below.whole
    first, second = (above.span, below.span) if whole else (upper.span, lower.span)
    moved_up, moved_down = text[second.start : second.end], text[first.start : first.end]
    edits = [Edit(first, moved_up), Edit(second, moved_down)]
    wanted = tuple(_swapped(s, upper, lower) for s in checked.file.statements)
    if way == "up":
        mark = Mark(first.start, found.span.start - second.start)
    else:
        mark = Mark(second.start, found.span.start - first.start)
    says = f"rung {rung} is now rung {other}"
    return finish(checked, edits, says, mark, lambda file: file.statements == wanted)


def new_rung(
    checked: Checked, after: int | None, circuit: str, actions: str, label: str = ""
) -> Change | Finding:
    """Write a rung behind rung `after`, or behind the last one if that is None; 0 is above all.

    `circuit` and `actions` are text such as `start and not stop` and `lamp, latch away`.
    """
    rungs = rungs_of(checked)
    neighbour: RungTree | Finding | None = rungs[0] if rungs else None
    if after != 0 and (rungs or after is not None):
        neighbour = find_rung(checked, len(rungs) if after is None else after)
    if isinstance(neighbour, Finding):
        return neighbour
    place = Span(0, 0) if neighbour is None else neighbour.span
    bad = read_label(label, place)
    new = bad or read_rung(circuit, actions, place)
    if isinstance(new, Finding):
        return new
    new = RungTree(Word(label) if label else None, new.circuit, new.actions)
    drives = ", ".join(action_words(action) for action in new.actions)
    head = f'rung "{label}"' if label else "rung"
    lines = f"{head}\n{INDENT}{' '.join(circuit.split())} -> {drives}"
    old = checked.file.statements
    index = _index(old, neighbour, after == 0)
    above = index == 0 or (after == 0 and neighbour is not None)
    source = checked.source.text
    gap = neighbour is None or _apart(source, neighbour)
    edit, into = placed_lines(source, old, index, lines, gap, above)
    wanted = (*old[:index], new, *old[index:])
    number = sum(isinstance(s, RungTree) for s in wanted[: index + 1])
    says = f"wrote rung {number}"
    mark = Mark(edit.span.start, into)
    return finish(checked, [edit], says, mark, lambda file: file.statements == wanted)


def placed_lines(
    text: str, statements: Sequence[Statement], index: int, lines: str, gap: bool, above: bool
) -> tuple[Edit, int]:
    """An edit that writes lines as the statement of an index, and how far into it they begin.

    They go right below the statement before that index, or with `above` right above the one that
    has it now; `gap` asks for an empty line between.
    """
    if not statements:
        lead = "" if not text or text.endswith("\n\n") else "\n" if text.endswith("\n") else "\n\n"
        return Edit(Span(len(text), len(text)), f"{lead}{lines}\n"), len(lead)
    neighbour = statements[index if above else index - 1]
    block = block_of(text, neighbour)
    if not block.whole:
        return _among_words(text, neighbour, lines, above)
    start, end = block.span.start, block.span.end
    lead = "\n\n" if gap else "\n"
    if above:
        return Edit(Span(start, start), f"{lines}{lead}"), 0
    return Edit(Span(end, end), f"{lead}{lines}"), len(lead)


def _apart(text: str, statement: Statement) -> bool:
    """Whether an empty line, or nothing at all, stands above what belongs to a statement."""
    start = block_of(text, statement).span.start
    return not text[:start].strip() or text[:start].endswith("\n\n")


def _among_words(text: str, neighbour: Statement, lines: str, above: bool) -> tuple[Edit, int]:
    """The edit where statements share a line: it is broken where the new one is to stand."""
    start, end = neighbour.span.start, neighbour.span.end
    if above:
        lead = "\n" if text[line_start(text, start) : start].strip() else ""
        return Edit(Span(start, start), f"{lead}{lines}\n"), len(lead)
    rest = text[end : line_end(text, end)]
    if not rest.strip() or rest.lstrip().startswith("#"):
        at = line_end(text, end)
        return Edit(Span(at, at), f"\n{lines}"), 1
    at = end + len(rest) - len(rest.lstrip())
    return Edit(Span(end, at), f"\n{lines}\n"), 1


def _index(statements: Sequence[Statement], neighbour: RungTree | None, above: bool) -> int:
    """Where a new rung goes among the statements; without rungs, behind the declarations."""
    if neighbour is not None:
        index = next(i for i, s in enumerate(statements) if s is neighbour)
        return index if above else index + 1
    last = [i for i, s in enumerate(statements) if isinstance(s, Declaration)]
    return last[-1] + 1 if last else 0


def _swapped(statement: Statement, one: RungTree, other: RungTree) -> Statement:
    if statement is one:
        return other
    return one if statement is other else statement


def _with_gap(text: str, span: Span) -> Span:
    """Lines with their line feed, and with one of two empty lines that would meet."""
    start, end = span.start, min(span.end + 1, len(text))
    above = start == 0 or text[line_start(text, start - 1) : start].isspace()
    below = end == len(text) or not text[end : line_end(text, end)].strip()
    if above and below:
        if end < len(text):
            end = min(line_end(text, end) + 1, len(text))
        elif start:
            start = line_start(text, start - 1)
    return Span(start, end)
