"""The text of one panel file, and places in it.

Every later stage speaks of places as offsets into this text; only this module turns an offset into
the line and column that an editor shows, so that all findings count lines the same way.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterable
from dataclasses import dataclass, field
from functools import cached_property


@dataclass(frozen=True, slots=True)
class Span:
    """A stretch of the text, from offset `start` up to but not including `end`, in characters."""

    start: int
    end: int

    def to(self, other: Span) -> Span:
        """The stretch from the start of this span to the end of `other`."""
        return Span(self.start, other.end)


NOWHERE = Span(0, 0)


@dataclass(frozen=True, slots=True)
class Edit:
    """A stretch of a text is replaced by `text`; an empty stretch means an insertion, an empty
    `text` a removal."""

    span: Span
    text: str


def applied(text: str, edits: Iterable[Edit]) -> str:
    """The text after edits that stand by place and do not overlap."""
    pieces: list[str] = []
    done = 0
    for edit in edits:
        pieces += (text[done : edit.span.start], edit.text)
        done = edit.span.end
    return "".join((*pieces, text[done:]))


@dataclass(frozen=True, slots=True)
class Position:
    """A place as editors count it: line and column both begin at 1, columns in characters."""

    line: int
    column: int


@dataclass(frozen=True)
class Source:
    """The text of a file with every line ending as a line feed, and how it was stored on disk."""

    name: str
    text: str
    newline: str = field(default="\n", compare=False)
    marked: bool = field(default=False, compare=False)  # the file began with a byte-order mark

    @cached_property
    def _starts(self) -> list[int]:
        # str.splitlines() also splits at form feeds and other characters that editors do not count
        starts = [0]
        at = self.text.find("\n")
        while at >= 0:
            starts.append(at + 1)
            at = self.text.find("\n", at + 1)
        return starts

    @property
    def line_count(self) -> int:
        """The number of lines an editor would show."""
        return len(self._starts)

    def position(self, offset: int) -> Position:
        """The line and column of an offset; an offset past the end means the end."""
        offset = max(0, min(offset, len(self.text)))
        line = bisect_right(self._starts, offset)
        return Position(line, offset - self._starts[line - 1] + 1)

    def offset(self, line: int, column: int) -> int:
        """The offset of a line and column (both from 1), kept inside the text."""
        start = self._starts[max(0, min(line - 1, len(self._starts) - 1))]
        return min(start + column - 1, start + len(self.line(line)))

    def line(self, number: int) -> str:
        """The text of one line, counted from 1, without its line ending."""
        if not 1 <= number <= len(self._starts):
            return ""
        start = self._starts[number - 1]
        end = self.text.find("\n", start)
        return self.text[start:] if end < 0 else self.text[start:end]

    def encode(self, text: str) -> bytes:
        """`text` as bytes in the way this file was stored (byte-order mark and line endings)."""
        data = text.replace("\n", self.newline).encode("utf-8")
        return b"\xef\xbb\xbf" + data if self.marked else data


def source_from_text(text: str, name: str = "<text>") -> Source:
    """A source from text in memory; carriage returns before line feeds are folded."""
    marked = text.startswith("\ufeff")
    body = text[1:] if marked else text
    newline = "\r\n" if "\r\n" in body else "\n"
    return Source(name, body.replace("\r\n", "\n"), newline, marked)
