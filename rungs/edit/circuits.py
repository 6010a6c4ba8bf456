"""A rung's circuit as it is written: every contact, word and parenthesis with its place.

The syntax tree drops parentheses that change nothing, but an edit has to know where they stand; so
the gaps between the contacts of the tree are read once more, which needs no grammar, for nothing
stands in them but `and`, `or`, `not`, parentheses and comments.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal, assert_never

from rungs.language.tree import (
    CircuitTree,
    Comparison,
    ContactTree,
    Edge,
    Field,
    FirstScan,
    Negation,
    ParallelTree,
    Plain,
    RungTree,
    SeriesTree,
)
from rungs.source import Span

PartKind = Literal["contact", "not", "group", "and", "or"]

OPPOSITE = {">=": "<", "<": ">=", ">": "<=", "<=": ">", "==": "!=", "!=": "=="}

_GAP = re.compile(r"#[^\n]*|->|[()]|\w+")


@dataclass(frozen=True, slots=True)
class Part:
    """A piece of a written circuit.

    `words` are the places of its own words: `not`, the two parentheses of a group, or the `and`s
    and `or`s between its parts. A `not` and a group have one part, a contact has none.
    """

    kind: PartKind
    span: Span
    parts: tuple[Part, ...] = ()
    words: tuple[Span, ...] = ()
    contact: ContactTree | None = None

    @property
    def words_join(self) -> bool:
        """True for a series or parallel connection, whose words stand between its parts."""
        return self.kind in ("and", "or")


@dataclass(frozen=True, slots=True)
class Leaf:
    """A contact in its place: the parts from the whole circuit down to it.

    `unit` is the index in `path` of the contact with every `not` that is for it alone: the piece
    that the ladder shows as one contact.
    """

    path: tuple[Part, ...]
    unit: int

    @property
    def whole(self) -> Part:
        """The contact together with the `not`s that are for it alone."""
        return self.path[self.unit]

    @property
    def contact(self) -> ContactTree:
        """The contact itself."""
        contact = self.path[-1].contact
        assert contact is not None
        return contact

    @property
    def around(self) -> PartKind | None:
        """What the unit stands directly in."""
        return self.path[self.unit - 1].kind if self.unit else None

    @property
    def turned(self) -> bool:
        """True inside `not ( ... )`: the ladder shows series for `or`, and contacts inverted."""
        return _odd(self.path[: self.unit])

    @property
    def inverted(self) -> bool:
        """True if the ladder shows the contact the other way round from its bare name."""
        return _odd(self.path)

    @property
    def shown(self) -> str:
        """The contact as the ladder shows it, as text."""
        return contact_words(self.contact, self.inverted)


def written_circuit(text: str, rung: RungTree) -> Part:
    """The circuit of a rung with the places of all its words; `text` is that of the whole file."""
    start = rung.span.start + len("rung") if rung.label is None else rung.label.span.end
    words = list(_words(text, start, rung.circuit))
    part, _ = _parallel(words, 0)
    return part


def leaves_of(circuit: Part) -> list[Leaf]:
    """The contacts of a written circuit in reading order."""
    return [Leaf(path, _unit(path)) for path in _paths(circuit, ())]


def contact_words(contact: ContactTree, negated: bool) -> str:
    """A contact as canonical text, inverted if asked for."""
    match contact:
        case Plain():
            words = contact.name.text
        case Edge():
            words = f"{contact.word.text} {contact.name.text}"
        case Field():
            words = f"{contact.name.text}.{contact.which.text}"
        case Comparison():
            op = OPPOSITE[contact.op.text] if negated else contact.op.text
            return f"{contact.name.text} {op} {contact.number.text}"
        case FirstScan():
            words = "first_scan"
        case _:
            assert_never(contact)
    return f"not {words}" if negated else words


def contacts(tree: CircuitTree) -> Iterator[ContactTree]:
    """The contacts of a circuit of the tree in reading order."""
    match tree:
        case Negation():
            yield from contacts(tree.part)
        case SeriesTree() | ParallelTree():
            for part in tree.parts:
                yield from contacts(part)
        case _:
            yield tree


def shown_contacts(tree: CircuitTree, negated: bool = False) -> Iterator[str]:
    """The contacts of a circuit in reading order, as the ladder shows them, as text."""
    match tree:
        case Negation():
            yield from shown_contacts(tree.part, not negated)
        case SeriesTree() | ParallelTree():
            for part in tree.parts:
                yield from shown_contacts(part, negated)
        case _:
            yield contact_words(tree, negated)


_Word = tuple[str, Span, ContactTree | None]


def _words(text: str, start: int, tree: CircuitTree) -> Iterator[_Word]:
    for contact in contacts(tree):
        yield from _gap(text, start, contact.span.start)
        yield "contact", contact.span, contact
        start = contact.span.end
    yield from _gap(text, start, len(text))


def _gap(text: str, start: int, end: int) -> Iterator[_Word]:
    for match in _GAP.finditer(text, start, end):
        if match.group() == "->":
            return
        if not match.group().startswith("#"):
            yield match.group(), Span(match.start(), match.end()), None


def _parallel(words: list[_Word], at: int) -> tuple[Part, int]:
    return _chain(words, at, "or")


def _chain(words: list[_Word], at: int, joint: Literal["and", "or"]) -> tuple[Part, int]:
    """Parts with a joint between them; a single part stands for itself."""
    deeper = _factor if joint == "and" else _series
    part, at = deeper(words, at)
    parts, joints = [part], []
    while at < len(words) and words[at][0] == joint:
        joints.append(words[at][1])
        part, at = deeper(words, at + 1)
        parts.append(part)
    if not joints:
        return part, at
    return Part(joint, parts[0].span.to(parts[-1].span), tuple(parts), tuple(joints)), at


def _series(words: list[_Word], at: int) -> tuple[Part, int]:
    return _chain(words, at, "and")


def _factor(words: list[_Word], at: int) -> tuple[Part, int]:
    kind, span, contact = words[at]
    if kind == "contact":
        return Part("contact", span, contact=contact), at + 1
    if kind == "not":
        part, at = _factor(words, at + 1)
        return Part("not", span.to(part.span), (part,), (span,)), at
    part, at = _parallel(words, at + 1)
    close = words[at][1]
    return Part("group", span.to(close), (part,), (span, close)), at + 1


def _paths(part: Part, above: tuple[Part, ...]) -> Iterator[tuple[Part, ...]]:
    path = (*above, part)
    if part.kind == "contact":
        yield path
    for inner in part.parts:
        yield from _paths(inner, path)


def _unit(path: tuple[Part, ...]) -> int:
    best = len(path) - 1
    for index in range(best, -1, -1):
        kind = path[index].kind
        if kind == "not":
            best = index
        elif kind not in ("group", "contact"):
            break
    return best


def _odd(path: tuple[Part, ...]) -> bool:
    return sum(part.kind == "not" for part in path) % 2 == 1
