"""Changes to the contacts of a rung: insert, replace, invert, delete.

An edit means what the ladder shows. Inside `not ( ... )` the ladder shows the De Morgan form, so
there a series connection is written with `or` and every contact the other way round; since that
can always be said in place, such a group is never written anew.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Literal

from rungs.edit.changes import (
    Change,
    Mark,
    finish,
    line_start,
    refusal,
    removed,
    replaced,
    words_in,
)
from rungs.edit.circuits import (
    OPPOSITE,
    Part,
    PartKind,
    contact_words,
    leaves_of,
    shown_contacts,
    written_circuit,
)
from rungs.edit.pieces import read_contact
from rungs.edit.places import find_leaf, find_rung
from rungs.findings import Finding
from rungs.language.tree import Comparison, File, RungTree
from rungs.program.check import Checked
from rungs.source import Edit, Span

Where = Literal["before", "after", "beside"]
_PLACES = {
    "before": "in series before",
    "after": "in series after",
    "beside": "in parallel with",
}


def insert_contact(
    checked: Checked, rung: int, leaf: int, text: str, where: Where
) -> Change | Finding:
    """Put a contact in series `before` or `after` a contact, or in parallel (`beside` it).

    `rung` counts from 1, `leaf` from 0 in reading order; `text` is one contact, as the ladder is to
    show it.
    """
    found = find_leaf(checked, rung, leaf)
    if isinstance(found, Finding):
        return found
    tree, old = found
    new = read_contact(text, old.whole.span)
    if isinstance(new, Finding):
        return new
    series = where != "beside"
    joint: PartKind = "and" if series != old.turned else "or"
    group = joint == "or" and old.around == "and"
    words = new.words(old.turned)
    edits, mark = _beside(old.whole.span, words, joint, group, where == "before")
    says = f"rung {rung}: put '{new.words()}' {_PLACES[where]} '{old.shown}'"
    shown = list(shown_contacts(tree.circuit))
    shown.insert(leaf + (where != "before"), new.words())
    return finish(checked, edits, says, mark, _only(checked, tree, shown))


def insert_at_rung(checked: Checked, rung: int, text: str, where: Where) -> Change | Finding:
    """Put a contact in series `before` or `after` the whole circuit of a rung, or `beside` it."""
    tree = find_rung(checked, rung)
    if isinstance(tree, Finding):
        return tree
    circuit = written_circuit(checked.source.text, tree)
    new = read_contact(text, circuit.span)
    if isinstance(new, Finding):
        return new
    joint: PartKind = "or" if where == "beside" else "and"
    group = joint == "and" and circuit.kind == "or"
    edits, mark = _beside(circuit.span, new.words(), joint, group, where == "before", circuit)
    says = f"rung {rung}: put '{new.words()}' {_PLACES[where]} the whole circuit"
    shown = list(shown_contacts(tree.circuit))
    shown.insert(0 if where == "before" else len(shown), new.words())
    return finish(checked, edits, says, mark, _only(checked, tree, shown))


def invert_contact(checked: Checked, rung: int, leaf: int) -> Change | Finding:
    """Switch a contact between normally open and normally closed, or a comparison to its opposite:
    `x` and `not x`, `n >= 3` and `n < 3`."""
    found = find_leaf(checked, rung, leaf)
    if isinstance(found, Finding):
        return found
    tree, old = found
    contact = old.contact
    wanted = contact_words(contact, not old.inverted)
    nots = [part.words[0] for part in old.path[old.unit :] if part.kind == "not"]
    start = contact.span.start
    if nots:
        # one `not` is left or none, and parentheses round a single contact say nothing
        gone = nots if len(nots) % 2 else nots[:-1]
        gone += [word for p in old.path[old.unit :] if p.kind == "group" for word in p.words]
        edits = removed(checked.source.text, gone)
    elif isinstance(contact, Comparison):
        edits = [Edit(contact.op.span, OPPOSITE[contact.op.text])]
    else:
        edits = [Edit(Span(start, start), "not ")]
    says = f"rung {rung}: '{old.shown}' is now '{wanted}'"
    shown = list(shown_contacts(tree.circuit))
    shown[leaf] = wanted
    return finish(checked, edits, says, Mark(start), _only(checked, tree, shown))


def replace_contact(checked: Checked, rung: int, leaf: int, text: str) -> Change | Finding:
    """Put another contact in the place of one; `text` is what the ladder is to show there."""
    found = find_leaf(checked, rung, leaf)
    if isinstance(found, Finding):
        return found
    tree, old = found
    new = read_contact(text, old.whole.span)
    if isinstance(new, Finding):
        return new
    says = f"rung {rung}: '{new.words()}' in the place of '{old.shown}'"
    words = new.words(old.turned)
    source, contact = checked.source.text, old.contact.span
    own = old.path[old.unit : -1]
    edits: list[Edit] = []
    if new.words() == old.shown:
        pass
    elif [part.kind for part in own] == ["not"] and words.startswith("not "):
        edits = replaced(source, contact, words.removeprefix("not "))
    elif not own or words != contact_words(old.contact, False):
        edits = [*replaced(source, contact, words), *removed(source, _words_of(own))]
    else:
        edits = removed(source, _words_of(own))
    shown = list(shown_contacts(tree.circuit))
    shown[leaf] = new.words()
    return finish(checked, edits, says, Mark(contact.start), _only(checked, tree, shown))


def delete_contact(checked: Checked, rung: int, leaf: int) -> Change | Finding:
    """Take a contact out; parentheses that its branch leaves idle go with it."""
    found = find_leaf(checked, rung, leaf)
    if isinstance(found, Finding):
        return found
    tree, old = found
    source = checked.source.text
    chain = next((i for i in range(old.unit - 1, -1, -1) if old.path[i].words_join), None)
    if chain is None:
        return refusal(
            "incomplete",
            f"'{old.shown}' is the only contact of rung {rung}",
            old.whole.span,
            "a rung without a contact says nothing",
            "delete the rung, or put another contact in its place",
        )
    branch, gone_part = old.path[chain], old.path[chain + 1]
    index = next(i for i, part in enumerate(branch.parts) if part is gone_part)
    gone = [_joint_beside(source, branch, index)]
    gone += words_in(source, gone_part.span)
    if len(branch.parts) == 2:
        rest = branch.parts[1 - index]
        gone += _idle_parentheses(old.path[:chain], rest)
    says = f"rung {rung}: took out '{old.shown}'"
    shown = list(shown_contacts(tree.circuit))
    del shown[leaf]
    others = leaves_of(written_circuit(source, tree))
    neighbour = others[leaf + 1] if leaf + 1 < len(others) else others[leaf - 1]
    mark = Mark(neighbour.whole.span.start)
    return finish(checked, removed(source, gone), says, mark, _only(checked, tree, shown))


def _beside(
    span: Span, words: str, joint: str, group: bool, before: bool, whole: Part | None = None
) -> tuple[list[Edit], Mark]:
    """Edits that put words before or behind a stretch, in parentheses if asked for.

    With `whole` the parentheses go round the old circuit alone, else round both.
    """
    opening, closing = ("(", ")") if group else ("", "")
    at_start, at_end = Span(span.start, span.start), Span(span.end, span.end)
    if before:
        head = f"{words} {joint} {opening}" if whole else f"{opening}{words} {joint} "
        into = 0 if whole else len(opening)
        edits = [Edit(at_start, head), Edit(at_end, closing)]
        return [edit for edit in edits if edit.text], Mark(span.start, into)
    tail = f"{closing} {joint} {words}" if whole else f" {joint} {words}{closing}"
    into = len(tail) - len(words) - (0 if whole else len(closing))
    edits = [Edit(at_start, opening), Edit(at_end, tail)]
    return [edit for edit in edits if edit.text], Mark(span.end, into)


def _words_of(parts: tuple[Part, ...]) -> list[Span]:
    return [word for part in parts for word in part.words]


def _joint_beside(text: str, branch: Part, index: int) -> Span:
    """The `and` or `or` that goes with a part: the one on its line, else the one before it."""
    if index == 0:
        return branch.words[0]
    before = branch.words[index - 1]
    if index == len(branch.words):
        return before
    part, behind = branch.parts[index].span, branch.words[index]
    same_before = line_start(text, before.start) == line_start(text, part.start)
    same_behind = line_start(text, behind.start) == line_start(text, part.end)
    return behind if same_behind and not same_before else before


def _idle_parentheses(above: tuple[Part, ...], rest: Part) -> list[Span]:
    """Parentheses that say nothing once `rest` alone is left inside the parts `above` it.

    Two `not`s with nothing but parentheses between them go as well.
    """
    gone: list[Span] = []
    outer = list(above)
    match outer:
        case [*_, Part(kind="not"), Part(kind="group")] if rest.kind == "not":
            gone += [*outer.pop().words, *outer.pop().words, *rest.words]
            rest = rest.parts[0]
    while outer and outer[-1].kind == "group" and _stands_in(outer[-2:-1], rest):
        gone += outer.pop().words
    while rest.kind == "group" and _stands_in(outer[-1:], rest.parts[0]):
        gone += rest.words
        rest = rest.parts[0]
    return gone


def _stands_in(around: list[Part], part: Part) -> bool:
    """Whether a part may stand without parentheses in what is around it."""
    match around:
        case [Part(kind="not")]:
            return part.kind in ("contact", "group")
        case [Part(kind="and")]:
            return part.kind != "or"
    return True


def _only(checked: Checked, tree: RungTree, shown: list[str]) -> Callable[[File], bool]:
    """Whether a new tree differs in the contacts of one rung alone, which are as `shown`."""
    old = checked.file.statements
    index = next(i for i, statement in enumerate(old) if statement is tree)

    def meant(file: File) -> bool:
        new = file.statements
        rung = new[index] if len(new) == len(old) else None
        return (
            isinstance(rung, RungTree)
            and new[:index] == old[:index]
            and new[index + 1 :] == old[index + 1 :]
            and (rung.label, rung.actions) == (tree.label, tree.actions)
            and list(shown_contacts(rung.circuit)) == shown
        )

    return meant
