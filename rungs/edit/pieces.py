"""What a user types into a ladder: a contact, a circuit, actions, a name, a label.

Each is read by the parser of the language inside a rung of its own before it comes near the file,
so that no text can bring along more than it is asked for.
"""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from rungs.edit.changes import refusal
from rungs.edit.circuits import contact_words, leaves_of, written_circuit
from rungs.findings import Finding
from rungs.language.parse import parse
from rungs.language.tree import ContactTree, RungTree
from rungs.program.build import MAX_NAME
from rungs.source import Source, Span

_NAME = re.compile(r"[A-Za-z][A-Za-z0-9_]*")
RESERVED = frozenset(("and", "or", "not", "first_scan"))
_BIDI = frozenset("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069")


@dataclass(frozen=True, slots=True)
class NewContact:
    """One contact that was typed, with whether a `not` stands before it."""

    contact: ContactTree
    negated: bool

    def words(self, turned: bool = False) -> str:
        """The contact as text; `turned` inverts it, for a place inside `not ( ... )`."""
        return contact_words(self.contact, self.negated != turned)


def read_contact(text: str, place: Span) -> NewContact | Finding:
    """A single contact such as `lamp`, `not lamp`, `rising start` or `runs >= 3`."""
    rung = _read(text, "lamp", "contact", place)
    if isinstance(rung, Finding):
        return rung
    found = leaves_of(written_circuit(f"rung {_one_line(text)} -> lamp", rung))
    if len(found) != 1:
        return refusal(
            "syntax",
            f"'{_one_line(text)}' is more than one contact",
            place,
            "a place of the ladder holds one",
            "add them one after the other",
        )
    leaf = found[0]
    return NewContact(leaf.contact, leaf.inverted)


def read_rung(circuit: str, actions: str, place: Span) -> RungTree | Finding:
    """The rung that a circuit and its actions, separated by commas, make."""
    rung = _read(circuit, "lamp", "circuit", place)
    if isinstance(rung, Finding):
        return rung
    return _read(circuit, actions, "action", place)


def read_name(text: str, place: Span, what: str = "name") -> Finding | None:
    """A finding if the text cannot be a name, wherever it stands."""
    if not _NAME.fullmatch(text) or text in RESERVED:
        return refusal(
            "name-form",
            f"'{_one_line(text)}' cannot be a {what}",
            place,
            "no rung could name it",
            "use letters a to z, digits and _, beginning with a letter, and none of "
            "and, or, not, first_scan",
        )
    if len(text) > MAX_NAME:
        return refusal(
            "name-length",
            f"the name has {len(text)} characters, and {MAX_NAME} is the limit",
            place,
            "it fits no screen and no sheet",
            "shorten it and put the wording into the label",
        )
    return None


def read_label(text: str, place: Span) -> Finding | None:
    """A finding if the text cannot stand between quotes."""
    if '"' not in text and (text.isascii() or not _BIDI & set(text)) and text.isprintable():
        return None
    return refusal(
        "bad-label",
        "a label holds quotes, line ends or characters that cannot be printed",
        place,
        "nobody could tell where it ends or how it reads",
        "write it on one line without double quotes",
    )


def _read(circuit: str, actions: str, what: str, place: Span) -> RungTree | Finding:
    typed = actions if what == "action" else circuit
    if not typed.strip():
        return refusal(
            "incomplete",
            f"there is no {what} to put in",
            place,
            "the rung would stay as it is",
            f"type {'an' if what == 'action' else 'a'} {what}",
        )
    for sign, name in (("#", "a comment"), ('"', "a label"), ("\n", "a line end")):
        if sign in typed.strip():
            return refusal(
                "syntax",
                f"{name} does not belong into the {what}",
                place,
                "it could hide what stands behind it",
                "take it out, or write the text by hand",
            )
    text = f"rung {_one_line(circuit)} -> {_one_line(actions)}"
    parsed = parse(Source("", text))
    if parsed.findings:
        return replace(parsed.findings[0], span=place, related=())
    match parsed.file.statements:
        case (RungTree(label=None) as rung,) if what == "action" or len(rung.actions) == 1:
            return rung
    return refusal(
        "syntax",
        f"'{_one_line(typed)}' is more than a {what}",
        place,
        "it would change other parts of the file",
        "put in one thing at a time",
    )


def _one_line(text: str) -> str:
    return " ".join(text.split())
