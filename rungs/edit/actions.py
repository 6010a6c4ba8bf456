"""Changes to what a rung does, and to its label.

Verb and name are separate words of the text, so each is changed by itself and a comment between
them stays.
"""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace

from rungs.edit.changes import Change, Mark, finish, refusal, removed, words_in
from rungs.edit.pieces import read_label, read_name
from rungs.edit.places import find_rung, no_action
from rungs.findings import Finding
from rungs.language.tree import ActionTree, File, RungTree, Word
from rungs.program.check import Checked
from rungs.program.nodes import Verb
from rungs.source import Edit, Span

_COMMA = re.compile(r"#[^\n]*|,")


def change_action(
    checked: Checked,
    rung: int,
    action: int,
    verb: Verb | None = None,
    name: str | None = None,
) -> Change | Finding:
    """Give an action (counted from 0) another verb, another device, or both; None leaves one be.

    The verb `coil` is a plain coil, which has no word in the text.
    """
    found = _find(checked, rung, action)
    if isinstance(found, Finding):
        return found
    old = found.actions[action]
    if name is not None:
        bad = read_name(name, old.span, "device")
        if bad is not None:
            return bad
    new = _action(old, verb, name)
    edits: list[Edit] = []
    if new.name.text != old.name.text:
        edits.append(Edit(old.name.span, new.name.text))
    had, has = _verb(old), _verb(new)
    if has and not had:
        edits.append(Edit(Span(old.name.span.start, old.name.span.start), f"{has} "))
    elif had and not has and old.verb is not None:
        edits += removed(checked.source.text, [old.verb.span])
    elif had != has and old.verb is not None:
        edits.append(Edit(old.verb.span, has))
    says = f"rung {rung}: '{action_words(new)}' in the place of '{action_words(old)}'"
    actions = (*found.actions[:action], new, *found.actions[action + 1 :])
    start = old.name.span.start if had and not has else old.span.start
    meant = _only(checked, found, replace(found, actions=actions))
    return finish(checked, edits, says, Mark(start), meant)


def add_action(checked: Checked, rung: int, verb: Verb, name: str) -> Change | Finding:
    """Put an action behind the last one of a rung."""
    found = find_rung(checked, rung)
    if isinstance(found, Finding):
        return found
    last = found.actions[-1]
    bad = read_name(name, last.span, "device")
    if bad is not None:
        return bad
    new = _action(last, verb, name)
    end = last.span.end
    edits = [Edit(Span(end, end), f", {action_words(new)}")]
    says = f"rung {rung}: added '{action_words(new)}'"
    meant = _only(checked, found, replace(found, actions=(*found.actions, new)))
    return finish(checked, edits, says, Mark(end, 2), meant)


def delete_action(checked: Checked, rung: int, action: int) -> Change | Finding:
    """Take an action (counted from 0) out of a rung that has others."""
    found = _find(checked, rung, action)
    if isinstance(found, Finding):
        return found
    old = found.actions[action]
    if len(found.actions) == 1:
        return refusal(
            "incomplete",
            f"'{action_words(old)}' is all that rung {rung} does",
            old.span,
            "a rung that does nothing is none",
            "delete the rung, or let it do something else",
        )
    text = checked.source.text
    before, behind = (action - 1, action) if action else (action, action + 1)
    gap = Span(found.actions[before].span.end, found.actions[behind].span.start)
    comma = next(m for m in _COMMA.finditer(text, gap.start, gap.end) if m.group() == ",")
    gone = [Span(comma.start(), comma.end()), *words_in(text, old.span)]
    kept = (*found.actions[:action], *found.actions[action + 1 :])
    mark = Mark(kept[max(0, action - 1)].span.start)
    says = f"rung {rung}: took out '{action_words(old)}'"
    meant = _only(checked, found, replace(found, actions=kept))
    return finish(checked, removed(text, gone), says, mark, meant)


def set_label(checked: Checked, rung: int, label: str) -> Change | Finding:
    """Give a rung a label, change it, or take it away with an empty one."""
    found = find_rung(checked, rung)
    if isinstance(found, Finding):
        return found
    head = Span(found.span.start, found.span.start + len("rung"))
    bad = read_label(label, head if found.label is None else found.label.span)
    if bad is not None:
        return bad
    text = checked.source.text
    edits: list[Edit] = []
    says = f'rung {rung}: the label is now "{label}"' if label else f"rung {rung}: no label"
    new = Word(label) if label else None
    if found.label is None and label:
        edits = [Edit(Span(head.end, head.end), f' "{label}"')]
    elif found.label is not None and not label:
        edits = removed(text, [found.label.span])
    elif found.label is not None and found.label.text != label:
        edits = [Edit(found.label.span, f'"{label}"')]
    mark = Mark(head.end, 1) if found.label is None else Mark(found.label.span.start)
    if not label:
        mark = Mark(head.start)
    return finish(checked, edits, says, mark, _only(checked, found, replace(found, label=new)))


def action_words(action: ActionTree) -> str:
    """An action as text."""
    return f"{_verb(action)} {action.name.text}".strip()


def _find(checked: Checked, rung: int, action: int) -> RungTree | Finding:
    found = find_rung(checked, rung)
    if isinstance(found, Finding):
        return found
    return no_action(rung, found, action) or found


def _verb(action: ActionTree) -> str:
    return "" if action.verb is None else action.verb.text


def _action(old: ActionTree, verb: Verb | None, name: str | None) -> ActionTree:
    new_name = old.name if name is None else Word(name)
    if verb is None:
        return ActionTree(old.verb, new_name)
    return ActionTree(None if verb == "coil" else Word(verb), new_name)


def _only(checked: Checked, old: RungTree, new: RungTree) -> Callable[[File], bool]:
    """Whether a tree has `new` in the place of `old`, and all else as before."""
    wanted = tuple(new if s is old else s for s in checked.file.statements)
    return lambda file: file.statements == wanted
