"""Reading a file again after an edit, at the cost of what was edited.

Owns what is remembered of the text read last: its pieces, each with the statements that it gives by
itself. A piece whose text is still there is not read again, only moved; this must never show in the
result, so every rule of the whole-file reader that looks beyond one piece is asked again each time.
"""

from __future__ import annotations

import re
from bisect import bisect_left
from collections.abc import Callable
from dataclasses import dataclass, fields, is_dataclass
from types import NoneType, UnionType
from typing import Any, Literal, Union, get_args, get_origin, get_type_hints

from rungs.findings import MAX_FINDINGS, Finding
from rungs.language.parse import (
    MAX_DEPTH,
    Parsed,
    Reader,
    comments_of,
    declared,
    heads_of,
    machine,
    refusals,
)
from rungs.language.tree import File, Statement, Word
from rungs.language.words import STATEMENTS, STEPS
from rungs.source import Source, Span

# --- moving ------------------------------------------------------------------------------------

Move = Callable[[Any, int, int], Any]


class _Moves(dict[type, Move]):
    """For each class of node what makes a copy that stands `by` characters further on.

    The copier of a class is written out from its fields, as the constructor of a dataclass is. A
    frozen dataclass spends most of the time of its construction on passing its own lock, so a copy
    is filled in as an object of an open twin class with the same slots and then given its class.
    """

    def __missing__(self, kind: type) -> Move:
        found = _copier(kind) if is_dataclass(kind) else _keep
        self[kind] = found
        return found


def _keep(value: Any, by: int, edges: int) -> Any:
    return value


def _each(values: tuple[Any, ...], by: int, edges: int) -> tuple[Any, ...]:
    return tuple([MOVES[type(value)](value, by, edges) for value in values])


# of (node, by, edges): `by` is added to every offset, `edges` to the number of every edge contact
MOVES = _Moves({tuple: _each})

# a node and its only word often share one span; so do their copies
_SPAN = """    if {place} is not span:
        span = {place}
        moved = SpanTwin()
        moved.start = span.start + by
        moved.end = span.end + by
        moved.__class__ = Span
"""
_WORD = """    word = node.{name}
    new_word = WordTwin()
    new_word.text = word.text
{span}    new_word.span = moved
    new_word.__class__ = Word
    new.{name} = new_word
"""
_EACH = "    new.{name} = tuple([MOVES[type(part)](part, by, edges) for part in node.{name}])\n"
_PART = """    part = node.{name}
    new.{name} = None if part is None else MOVES[type(part)](part, by, edges)
"""


def _copier(kind: type) -> Move:
    if kind is Span:
        return _move_span
    hints = get_type_hints(kind)
    lines = "def copy(node, by, edges):\n    span = None\n    new = Twin()\n"
    for field in fields(kind):
        name, hint = field.name, hints[field.name]
        if hint is Span:
            lines += _SPAN.format(place=f"node.{name}") + f"    new.{name} = moved\n"
        elif hint is Word:
            lines += _WORD.format(name=name, span=_SPAN.format(place="word.span"))
        elif name == "memory":
            lines += "    new.memory = node.memory + edges if node.memory >= 0 else -1\n"
        elif _is_plain(hint):
            lines += f"    new.{name} = node.{name}\n"
        elif get_origin(hint) is tuple:
            lines += _EACH.format(name=name)
        else:
            lines += _PART.format(name=name)
    lines += "    new.__class__ = Kind\n    return new\n"
    names: dict[str, Any] = {"MOVES": MOVES, "Span": Span, "SpanTwin": _twin(Span)}
    names |= {"Word": Word, "WordTwin": _twin(Word), "Kind": kind, "Twin": _twin(kind)}
    exec(lines, names)
    copy: Move = names["copy"]
    return copy


def _move_span(span: Span, by: int, edges: int) -> Span:
    return Span(span.start + by, span.end + by)


def _twin(kind: type) -> type:
    """A class with the same slots whose objects may still be filled in."""
    return type(kind.__name__, (), {"__slots__": tuple(field.name for field in fields(kind))})


def _is_plain(hint: Any) -> bool:
    """Whether values of this type hold no place in the text."""
    if hint is Ellipsis or hint in (str, int, float, bool, NoneType):
        return True
    if get_origin(hint) in (Union, UnionType, tuple):
        return all(_is_plain(part) for part in get_args(hint))
    return get_origin(hint) is Literal


# --- pieces ------------------------------------------------------------------------------------


@dataclass(slots=True)
class Part:
    """Statements that stand together, and where; `lowered` is for the reader of the statements.

    `at` is the offset that their spans belong to, and moves with them.
    """

    at: int
    statements: tuple[Statement, ...]
    findings: tuple[Finding, ...] = ()
    lowered: Any = None

    def move(self, at: int) -> Part:
        """The part as it stands at that offset."""
        by = at - self.at
        if by:
            self.statements = _each(self.statements, by, 0)
            self.findings = _each(self.findings, by, 0)
            self.at = at
        return self


@dataclass(slots=True)
class _Broken:
    """What reading from a piece gave that cannot be read by itself, and what it depended on."""

    seen: list[_Piece]
    at_end: bool
    deep: bool
    part: Part
    named: frozenset[str]
    taken: int


@dataclass(slots=True, eq=False)
class _Piece:
    """The text from one head to the next, and what was found in it so far."""

    text: str
    at: int  # where the comments stand
    comments: tuple[Word, ...]
    deep: bool
    known: bool = False
    alone: Part | None = None  # None where it cannot be read by itself
    closed: bool = False  # nothing that follows can change how it is read
    broken: _Broken | None = None


class Rereader:
    """Reads texts one after the other; each costs what differs from the one before."""

    def __init__(self) -> None:
        self._text = ""
        self._heads: list[int] = []
        self._pieces: list[_Piece] = []

    def read(self, source: Source) -> tuple[Parsed, list[Part]]:
        """What `parse` gives for the source, and its statements in parts that may be known from
        before. Never raises for any text."""
        refused = refusals(source)
        if refused:
            return Parsed(File(()), tuple(refused)), []
        self._follow(source.text)
        damaged: set[str] = set()
        deep = any(piece.deep for piece in self._pieces)
        parts = None if deep else self._whole()
        if parts is None:
            parts = self._by_pieces(deep, damaged)
        statements: list[Statement] = []
        findings: list[Finding] = []
        for part in parts:
            statements += part.statements
            if part.findings:
                findings += part.findings
        file = File(tuple(statements), self._comments(), frozenset(damaged))
        return Parsed(file, tuple(findings)), parts

    def _comments(self) -> tuple[Word, ...]:
        found: list[Word] = []
        for piece, at in zip(self._pieces, self._heads, strict=True):
            if piece.comments:
                if piece.at != at:
                    piece.comments = _each(piece.comments, at - piece.at, 0)
                    piece.at = at
                found += piece.comments
        return tuple(found)

    # --- which pieces are still there

    def _follow(self, text: str) -> None:
        """Cut the text into its pieces, with those of the text before wherever they are the same.

        Heads and pieces hang on whole lines alone, so they are sought from the head above the line
        of the first difference to the first head below the line of the last.
        """
        old, heads = self._text, self._heads
        if not heads:
            kept, rest, first, end, by = 0, 0, 0, len(text), 0
        else:
            same = _same_start(old, text)
            tail = _same_end(old, text, min(len(old), len(text)) - same)
            line = text.rfind("\n", 0, same) + 1
            kept = max(0, bisect_left(heads, line) - 1)
            first = heads[kept]
            by = len(text) - len(old)
            below = text.find("\n", len(text) - tail) + 1
            rest = bisect_left(heads, below - by) if below else len(heads)
            end = heads[rest] + by if rest < len(heads) else len(text)
        middle = heads_of(text, first, end)
        gone = self._pieces[kept:rest]
        known: dict[str, _Piece] = {piece.text: piece for piece in gone}
        pieces = []
        for start, stop in zip(middle, [*middle[1:], end], strict=True):
            words = text[start:stop]
            pieces.append(known.pop(words) if words in known else _piece(text, start, stop))
        here = {id(piece) for piece in pieces}
        for piece in gone:
            if id(piece) not in here:
                piece.broken = None  # else what is gone could be held by what is gone
        self._text = text
        self._pieces[kept:rest] = pieces
        tail_heads = [head + by for head in heads[rest:]] if by else heads[rest:]
        self._heads = heads[:kept] + middle + tail_heads

    # --- the two ways of reading

    def _whole(self) -> list[Part] | None:
        """The statements as they are read in one go; None if they cannot be."""
        text, heads, pieces = self._text, self._heads, self._pieces
        parts: list[Part] = []
        index, count = 0, len(heads)
        while index < count:
            at = heads[index]
            piece = pieces[index]
            if not piece.known:
                self._read_alone(index)
            alone = piece.alone
            index += 1
            if alone is not None and (piece.closed or index == count):
                parts.append(alone if alone.at == at else alone.move(at))
                continue
            run = machine().run(text, at, len(text), heads[index]) if index < count else None
            if run is None:
                return None
            parts.append(Part(at, tuple(run.statements)))
            index = count if run.stop is None else bisect_left(heads, run.stop)
        return parts

    def _by_pieces(self, deep: bool, damaged: set[str]) -> list[Part]:
        """The statements as they are read piece by piece, and the names damaged on the way."""
        heads, pieces = self._heads, self._pieces
        reader: Reader | None = None
        parts: list[Part] = []
        names: set[str] = set()
        named = 0  # parts whose names are in `names`
        index = told = 0
        while index < len(heads) and told < MAX_FINDINGS:
            piece = pieces[index]
            if not piece.known:
                self._read_alone(index)
            if piece.alone is not None:
                parts.append(piece.alone.move(heads[index]))
                index += 1
                continue
            broken = piece.broken
            if broken is None or not self._same_again(broken, index, deep):
                reader = reader or Reader(self._text, heads)
                broken = piece.broken = self._read_broken(reader, index)
            parts.append(broken.part.move(heads[index]))
            told += len(broken.part.findings)
            if broken.named:
                for part in parts[named:]:
                    names |= declared(part.statements)
                named = len(parts)
                damaged |= broken.named - names
            index += broken.taken
        return parts

    def _read_alone(self, index: int) -> None:
        piece = self._pieces[index]
        at = self._heads[index]
        end = at + len(piece.text)
        piece.known = True
        run = None if piece.deep else machine().run(self._text, at, end)
        if run is not None:
            piece.alone = Part(at, tuple(run.statements))
            piece.closed = not _is_open(piece.text)

    def _same_again(self, broken: _Broken, index: int, deep: bool) -> bool:
        end = index + len(broken.seen)
        return (
            broken.deep == deep
            and broken.at_end == (end == len(self._pieces))
            and self._pieces[index:end] == broken.seen
        )

    def _read_broken(self, reader: Reader, index: int) -> _Broken:
        reading = reader.read_from(index)
        end = index + reading.seen
        part = Part(self._heads[index], tuple(reading.statements), tuple(reading.findings))
        return _Broken(
            self._pieces[index:end],
            end == len(self._pieces),
            reader.deep,
            part,
            reading.named,
            reading.following - index,
        )


def _piece(text: str, start: int, stop: int) -> _Piece:
    words = text[start:stop]
    comments = comments_of(text, start, stop) if "#" in words else ()
    return _Piece(words, start, comments, words.count("(") > MAX_DEPTH)


# The words that the grammar takes as keywords only after a look at what follows them.
_LOOKING = (
    *("rising", "falling", "broken", "shorted", "steady"),
    *("latch", "unlatch", "impulse", "down", "reset"),
)
_LOOKED_FOR = (*STATEMENTS, *STEPS, "and", "or", "then", "within", "for")
_GAP = r"(?:\s|\#[^\n]*+)*+"
_OPEN = re.compile(
    rf"(?<!\w)(?:{'|'.join(_LOOKING)})(?!\w){_GAP}(?:(?:{'|'.join(_LOOKED_FOR)})(?!\w){_GAP})?\Z"
)


def _is_open(text: str) -> bool:
    """Whether the end of a piece may be read in another way for what follows the piece.

    Only the words of EDGE, STEADY and VERB look further than the line that they stand in, and only
    past a word that could go on with the circuit, the scenario or the file.
    """
    return any(word in text for word in _LOOKING) and _OPEN.search(text) is not None


def _same_start(one: str, other: str) -> int:
    """How many characters the two begin with alike."""
    low, high = 0, min(len(one), len(other))
    while low < high:
        middle = (low + high + 1) // 2
        if one[low:middle] == other[low:middle]:
            low = middle
        else:
            high = middle - 1
    return low


def _same_end(one: str, other: str, most: int) -> int:
    """How many characters the two end with alike, `most` at most."""
    low, high = 0, most
    while low < high:
        middle = (low + high + 1) // 2
        if one[len(one) - middle : len(one) - low] == other[len(other) - middle : len(other) - low]:
            low = middle
        else:
            high = middle - 1
    return low
