"""The text of one file while it is edited: changes, undo and redo, and whether it is saved.

Whether a text is saved is asked of its bytes and never of the place in the undo history: undoing
past a save, or another program's change, would make the history lie.
"""

from __future__ import annotations

import hashlib
import re
import sys
from collections import deque
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from rungs.source import Edit, Source, Span, applied

MOST_STEPS = 10_000
MOST_BYTES = 10_000_000  # of the texts in undo steps, as Python holds them
PAUSE = 1_500  # ms without typing after which the next character begins a new undo step
_STEP_BYTES = 200  # what a step takes beside its texts
_SURROGATES = re.compile("[\ud800-\udfff]")


@dataclass(frozen=True, slots=True)
class Change:
    """What undo or redo did: `old` in the text before became `text`; the caret goes to `caret`."""

    old: Span
    text: str
    caret: int


@dataclass(slots=True)
class _Step:
    start: int
    old: str
    new: str
    kind: Literal["insert", "delete", "other"]

    @property
    def size(self) -> int:
        return sys.getsizeof(self.old) + sys.getsizeof(self.new) + _STEP_BYTES


def digest_of(data: bytes) -> str:
    """The hash by which bytes on disk and in memory are compared (SHA-256, hex)."""
    return hashlib.sha256(data).hexdigest()


def stretch(old: str, new: str, caret: int | None = None) -> Edit | None:
    """The small stretch in which two texts differ, as an edit of `old`; None if they are equal.

    It is what is left between the longest common start and the longest common end. Where several
    stretches would do (one more of the same letter), the one that ends at `caret`, a place in
    `new`, is taken if it is given.
    """
    if old == new:
        return None
    tail = 0
    if caret is not None and 0 <= caret <= len(new):
        after = len(new) - caret
        if after <= len(old) and old.endswith(new[caret:]):
            tail = after
    head = _same(old, new, min(len(old), len(new)) - tail, False)
    tail = _same(old, new, min(len(old), len(new)) - head, True)
    return Edit(Span(head, len(old) - tail), new[head : len(new) - tail])


class Document:
    """The text of one file being edited.

    `source` is the text as it was read; `data` are the bytes on disk that it was read from, None
    for a file that is not on disk. `saved` is the hash of the file on disk as last read or written,
    None without one. `tried` are hashes of what was written without the disk saying that it stays.
    """

    def __init__(self, source: Source, data: bytes | None = None) -> None:
        self.name = source.name
        self.newline = source.newline
        self.marked = source.marked
        self.text = source.text
        self.revision = 0
        self.forgotten = 0  # undo steps that were dropped because there were too many
        self.saved: str | None = None if data is None else digest_of(data)
        self.tried: set[str] = set()
        # Texts whose bytes do not follow from the text, as with two kinds of line endings in one
        # file. The first text always has the first bytes, so undoing everything undoes all.
        first = source.encode(source.text) if data is None else data
        self._first = (source.text, first)
        self._read = self._first
        self._start = digest_of(first)
        self._undo: deque[_Step] = deque()
        self._redo: list[_Step] = []
        self._size = 0
        self._open = False  # the newest step may still grow
        self._typed_at: int | None = None
        self._known: tuple[int, str] | None = None  # revision and hash of its bytes

    # --- what it is

    @property
    def source(self) -> Source:
        """The text as the checker takes it."""
        return Source(self.name, self.text, self.newline, self.marked)

    def encoded(self) -> bytes:
        """The bytes that saving writes: line endings and byte-order mark as the file had them."""
        for text, data in (self._read, self._first):
            if self.text == text:
                return data
        return self.source.encode(self.text)

    @property
    def digest(self) -> str:
        """The hash of `encoded()`."""
        if self._known is None or self._known[0] != self.revision:
            self._known = (self.revision, digest_of(self.encoded()))
        return self._known[1]

    @property
    def dirty(self) -> bool:
        """True if closing the document now would lose something.

        The bytes differ from those on disk, or, for a file that was never on disk, from the bytes
        it began with.
        """
        return self.digest != (self._start if self.saved is None else self.saved)

    @property
    def can_undo(self) -> bool:
        """True if there is a step to undo."""
        return bool(self._undo)

    @property
    def can_redo(self) -> bool:
        """True if there is a step to redo."""
        return bool(self._redo)

    # --- changing it

    def replace(self, span: Span, text: str, now: int | None = None) -> None:
        """Replace the characters of `span`. `now` is a time in ms, for telling pauses in typing.

        Any line ending in `text` becomes a line feed, and half characters that cannot be stored
        become U+FFFD. Raises ValueError for a span outside the text.
        """
        if not 0 <= span.start <= span.end <= len(self.text):
            raise ValueError(f"no stretch of the text: {span}")
        text = _clean(text)
        old = self.text[span.start : span.end]
        if old == text:
            return
        self._do(_Step(span.start, old, text, _kind(old, text)), now)

    def apply(self, edits: Sequence[Edit], now: int | None = None) -> None:
        """Make several edits as one undo step; all spans are places in the text as it is now.

        Raises ValueError if a span is outside the text or two of them overlap; nothing is then
        changed.
        """
        ordered = sorted(edits, key=lambda edit: (edit.span.start, edit.span.end))
        at = 0
        for edit in ordered:
            if not at <= edit.span.start <= edit.span.end <= len(self.text):
                raise ValueError(f"edits overlap or leave the text: {edit.span}")
            at = edit.span.end
        clean = (Edit(edit.span, _clean(edit.text)) for edit in ordered)
        difference = stretch(self.text, applied(self.text, clean))
        if difference is not None:
            span = difference.span
            old = self.text[span.start : span.end]
            self._do(_Step(span.start, old, difference.text, "other"), now)

    def set_text(self, new: str, now: int | None = None, caret: int | None = None) -> None:
        """Make `new` the text by replacing the small stretch that differs.

        `caret`, the place of the caret in `new`, says which stretch was meant where several would
        do; typing the same letter again then stays one run. As with `replace`, line endings become
        line feeds, unless the text had them otherwise already.
        """
        edit = stretch(self.text, new, caret)
        if edit is not None:
            self.replace(edit.span, edit.text, now)

    def mark(self) -> None:
        """End the present run of typing: what is typed next is undone apart from it."""
        self._open = False

    def undo(self) -> Change | None:
        """Take back the newest step; None if there is none."""
        if not self._undo:
            return None
        step = self._undo.pop()
        self._redo.append(step)
        return self._swap(step.start, step.new, step.old)

    def redo(self) -> Change | None:
        """Make the step again that was taken back last; None if there is none."""
        if not self._redo:
            return None
        step = self._redo.pop()
        self._undo.append(step)
        return self._swap(step.start, step.old, step.new)

    # --- where it is kept

    def now_on_disk(self, name: str, digest: str) -> None:
        """The file `name` holds bytes with this hash, written by us."""
        self.name = name
        self.saved = digest
        self.tried.clear()
        self.mark()

    def gone_from_disk(self) -> None:
        """The file has been taken away, so that the text is nowhere but here: it is dirty."""
        self.saved = None
        self._start = ""

    def take_from_disk(self, source: Source, data: bytes) -> Change | None:
        """Go over to what another program has written; undo gives the former text back.

        Returns the stretch that changed, None if the text is the same.
        """
        self.newline, self.marked = source.newline, source.marked
        self.saved = digest_of(data)
        self.tried.clear()
        self._read = (source.text, data)
        self._known = None
        self.mark()
        edit = stretch(self.text, source.text)
        if edit is None:
            return None
        old = self.text[edit.span.start : edit.span.end]
        self._do(_Step(edit.span.start, old, edit.text, "other"), None)
        return Change(edit.span, edit.text, edit.span.start)

    # --- steps

    def _do(self, step: _Step, now: int | None) -> None:
        self._swap(step.start, step.old, step.new, self._open)
        if self._redo:
            self._size -= sum(undone.size for undone in self._redo)
            self._redo.clear()
        if not self._grow(step, now):
            self._undo.append(step)
            self._size += step.size
        self._open = step.kind != "other"
        self._typed_at = now
        # the newest step stays whatever its size, so that a large paste can be undone
        while len(self._undo) > 1 and (len(self._undo) > MOST_STEPS or self._size > MOST_BYTES):
            self._size -= self._undo.popleft().size
            self.forgotten += 1

    def _grow(self, step: _Step, now: int | None) -> bool:
        """Add a typed character to the run that it continues."""
        if not self._open or step.kind == "other" or not self._undo:
            return False
        if now is not None and self._typed_at is not None and now - self._typed_at > PAUSE:
            return False
        run = self._undo[-1]
        if run.kind != step.kind:
            return False
        before = run.size
        if step.kind == "insert":
            if step.start != run.start + len(run.new):
                return False
            run.new += step.new
        elif step.start + 1 == run.start:
            run.start, run.old = step.start, step.old + run.old
        elif step.start == run.start:
            run.old += step.old
        else:
            return False
        self._size += run.size - before
        return True

    def _swap(self, start: int, old: str, new: str, still_open: bool = False) -> Change:
        end = start + len(old)
        self.text = self.text[:start] + new + self.text[end:]
        self.revision += 1
        self._open = still_open
        return Change(Span(start, end), new, start + len(new))


def _kind(old: str, new: str) -> Literal["insert", "delete", "other"]:
    """Whether a change is one typed character; a line ending is a step of its own."""
    if len(old) + len(new) != 1 or "\n" in (old, new):
        return "other"
    return "insert" if new else "delete"


def _clean(text: str) -> str:
    if "\r" in text:
        text = text.replace("\r\n", "\n").replace("\r", "\n")
    return _SURROGATES.sub("\ufffd", text)


def _same(a: str, b: str, most: int, at_end: bool) -> int:
    """How many characters two texts have in common at the start or the end, at most `most`.

    Slices are compared and not characters, so that a large text costs no more than a look.
    """

    def part(text: str, low: int, high: int) -> str:
        return text[len(text) - high : len(text) - low] if at_end else text[low:high]

    low, high, size = 0, 0, 64
    while low < most:
        high = min(low + size, most)
        if part(a, low, high) != part(b, low, high):
            break
        low, size = high, size * 2
    else:
        return max(0, most)
    while high - low > 1:
        middle = (low + high) // 2
        if part(a, low, middle) == part(b, low, middle):
            low = middle
        else:
            high = middle
    return low
