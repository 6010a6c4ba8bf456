"""Where the file names a device, and giving it another name everywhere.

Works on the tree alone, so that coils and contacts are also found in a file with errors; only a
rename needs the whole text read, since it must not leave a name behind.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, fields, is_dataclass
from typing import Any, Literal, assert_never

from rungs.edit.changes import Change, Mark, finish, refusal
from rungs.edit.circuits import contacts
from rungs.edit.pieces import read_name
from rungs.findings import Finding
from rungs.language.parse import parse
from rungs.language.tree import (
    CircuitTree,
    Declaration,
    File,
    FirstScan,
    PropertyTree,
    RungTree,
    ScenarioTree,
    Statement,
    Word,
)
from rungs.program.check import Checked
from rungs.source import Edit, Span

Role = Literal["declared", "contact", "coil", "moved", "fed from"]


@dataclass(frozen=True, slots=True)
class Use:
    """A place that names something: as what, and in which rung if it is in one (from 1)."""

    name: str
    span: Span
    role: Role
    rung: int | None = None


def uses(file: File) -> Iterator[Use]:
    """Every place of the tree that names a device, a supply or a holiday, in file order."""
    number = 0
    for statement in file.statements:
        rung = None
        if isinstance(statement, RungTree):
            number += 1
            rung = number
        for word, role in _words(statement):
            yield Use(word.text, word.span, role, rung)


def name_at(checked: Checked, offset: int) -> str | None:
    """The name at an offset, also right behind its last letter; None if there is none."""
    for statement in checked.file.statements:
        if statement.span.start <= offset <= statement.span.end:
            for word, _ in _words(statement):
                if word.span.start <= offset <= word.span.end:
                    return word.text
    return None


def occurrences(checked: Checked, name: str) -> tuple[Span, ...]:
    """Every place that names it: declaration, rungs, properties, scenarios, `from` of outputs."""
    return tuple(use.span for use in uses(checked.file) if use.name == name)


def declared_span(checked: Checked, name: str) -> Span | None:
    """Where the name is declared."""
    found = (u.span for u in uses(checked.file) if u.name == name and u.role == "declared")
    return next(found, None)


def coil_spans(checked: Checked, name: str) -> tuple[Span, ...]:
    """Where rungs drive it, be it a coil, a latch or another verb."""
    return tuple(u.span for u in uses(checked.file) if u.name == name and u.role == "coil")


def contact_spans(checked: Checked, name: str) -> tuple[Span, ...]:
    """Where rungs, properties and expectations read it."""
    return tuple(u.span for u in uses(checked.file) if u.name == name and u.role == "contact")


def rename(checked: Checked, old: str, new: str) -> Change | Finding:
    """Give a thing another name throughout the file; comments and labels are left alone."""
    spans = occurrences(checked, old)
    if not spans:
        return refusal(
            "unknown-name",
            f"nothing is called '{old}'",
            Span(0, 0),
            "there is nothing to rename",
            "choose one of the names of the file",
        )
    bad = read_name(new, spans[0]) or _unread(checked) or _taken(checked, old, new, spans[0])
    if bad is not None:
        return bad
    edits = [Edit(span, new) for span in spans] if new != old else []
    places = "place" if len(spans) == 1 else "places"
    says = f"'{old}' is now '{new}', in {len(spans)} {places}"
    statements = checked.file.statements
    wanted = tuple(_renamed(statement, frozenset(spans), new) for statement in statements)
    changed = finish(
        checked,
        edits,
        says,
        Mark(spans[0].start),
        lambda file: tuple(_renamed(s, frozenset(), new) for s in file.statements) == wanted,
        (old, new),
    )
    if isinstance(changed, Change) or changed.code not in _READING:
        return changed
    return refusal(
        "name-form",
        f"'{new}' would be read as a word of the language here",
        changed.span,
        f"the statement could no longer be read as it is meant with '{old}'",
        "choose a name that is no word of the language",
    )


# findings of text that reads otherwise than it is meant
_READING = ("syntax", "incomplete", "unknown-statement", "symbol-for-word", "missing-unit")


def _words(statement: Statement) -> Iterator[tuple[Word, Role]]:
    match statement:
        case Declaration():
            if statement.name is not None:
                yield statement.name, "declared"
            for option in statement.options:
                if option.keyword == "from":
                    for value in option.values:
                        if isinstance(value, Word):
                            yield value, "fed from"
        case RungTree():
            yield from _read(statement.circuit)
            for action in statement.actions:
                yield action.name, "coil"
        case PropertyTree():
            if statement.when is not None:
                yield from _read(statement.when)
            yield from _read(statement.circuit)
        case ScenarioTree():
            for step in statement.steps:
                if step.name is not None:
                    yield step.name, "moved"
                if step.circuit is not None:
                    yield from _read(step.circuit)
        case _:
            assert_never(statement)


def _read(circuit: CircuitTree) -> Iterator[tuple[Word, Role]]:
    for contact in contacts(circuit):
        if not isinstance(contact, FirstScan):
            yield contact.name, "contact"


def _unread(checked: Checked) -> Finding | None:
    """A finding if some of the text could not be read, where the name may stand unseen."""
    if checked.program is not None:
        return None
    found = parse(checked.source).findings
    if not found:
        return None
    line = checked.source.position(found[0].span.start).line
    return refusal(
        found[0].code,
        f"line {line} cannot be read: {found[0].message}",
        found[0].span,
        "the name may stand there and would be left behind",
        "mend that line first",
    )


def _taken(checked: Checked, old: str, new: str, place: Span) -> Finding | None:
    """A finding if another thing has this name, or one that differs only in capital letters."""
    for use in uses(checked.file):
        if use.name != old and use.name.casefold() == new.casefold():
            same = use.name == new
            return Finding(
                "doubled-name" if same else "lookalike-name",
                f"'{new}' is in use already"
                if same
                else f"'{new}' and '{use.name}' would differ only in capital letters",
                place,
                "no rung could tell the two apart" if same else "people would read them as one",
                "choose another name",
                ((use.span, "the other one"),),
            )
    return None


def _renamed(node: Any, spans: frozenset[Span], new: str) -> Any:
    """A piece of the tree as plain tuples, with the words at these places replaced."""
    if isinstance(node, Word):
        return new if node.span in spans else node.text
    if isinstance(node, tuple):
        return tuple(_renamed(item, spans, new) for item in node)
    if is_dataclass(node):
        parts = (getattr(node, f.name) for f in fields(node) if f.name != "span")
        return (type(node).__name__, *(_renamed(part, spans, new) for part in parts))
    return node
