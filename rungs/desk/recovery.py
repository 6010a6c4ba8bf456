"""Unsaved texts that a process has left behind, offered and never forced on anybody.

The text on disk is what the user last agreed to, so it stays until they take the other one; and a
journal goes away only when its text is on disk, in another journal, or thrown away on purpose.
"""

from __future__ import annotations

import os
import time
from contextlib import suppress
from dataclasses import dataclass
from difflib import SequenceMatcher
from pathlib import Path

from rungs.desk.document import Document, digest_of, stretch
from rungs.desk.journal import END, FOLDER, Journal, Kept, read_journal
from rungs.desk.state import key_of, life_of, state_folder
from rungs.files import FileError, decode, read_bytes

_DAY = 86_400
_STALE = 300  # seconds after which an unfinished journal belongs to a process that was killed
_KEEP_UNREADABLE = 30 * _DAY
_LIMIT = 256_000_000  # bytes; a journal is some times its text
_COMPARED = 1_000_000  # pairs of lines; what is larger is shown as one stretch
_AROUND = 3  # lines shown around a difference


@dataclass(frozen=True, slots=True)
class Offer:
    """An unsaved text of a process that has ended.

    `time` is that of its last change (ms since the epoch). `on_disk` is the text of the file now,
    None if there is none that can be read. `changed` is True if the file is not what the text was
    an edit of; `newer` if it was last written after the text was: taking the offer may then bring
    back something older.
    """

    file: Path
    path: Path
    text: str
    time: int
    on_disk: str | None
    changed: bool
    newer: bool

    def diff(self) -> tuple[str, ...]:
        """What taking the offer would change in the text on disk, as lines of a unified diff."""
        return unified(self.on_disk or "", self.text)


def offers(path: Path | None = None) -> tuple[Offer, ...]:
    """The unsaved texts that are left of one file, or of any, newest first.

    Journals of processes that still run are left alone. Those whose text is that on disk, or that
    say the same as a newer one, are dropped silently. Without a state folder there are none.
    """
    found: list[tuple[Path, Kept]] = []
    try:
        folder = state_folder(FOLDER)
        names = sorted(os.listdir(folder))
    except OSError:
        return ()
    start = "" if path is None else f"{key_of(path)}-"
    for name in names:
        if name.endswith(".tmp"):
            _drop_if_older(folder / name, _STALE)
        elif name.startswith(start) and name.endswith(END):
            kept = _left_behind(folder / name)
            if kept is not None:
                found.append((folder / name, kept))
    found.sort(key=lambda item: item[1].time, reverse=True)
    result: list[Offer] = []
    told: set[tuple[Path, str]] = set()
    for file, kept in found:
        offer = _offer(file, kept)
        if offer.text == offer.on_disk or (kept.path, kept.text) in told:
            discard(offer)
        else:
            told.add((kept.path, kept.text))
            result.append(offer)
    return tuple(result)


def take(offer: Offer, document: Document, journal: Journal) -> None:
    """Make the offered text that of the document, as a step that undo takes back.

    The offer goes away once the text stands in the document's own journal, or needs none.
    """
    edit = stretch(document.text, offer.text)
    if edit is not None:
        document.apply((edit,))
    journal.note(document)
    journal.flush()
    if not journal.in_trouble:
        discard(offer)


def discard(offer: Offer) -> None:
    """Throw the offered text away for good. Never fails."""
    with suppress(OSError):
        offer.file.unlink(missing_ok=True)


def _left_behind(file: Path) -> Kept | None:
    """What a journal holds, if nobody goes on writing it."""
    try:
        kept = read_journal(read_bytes(file, _LIMIT))
    except FileError:
        return None
    if kept is None:
        _drop_if_older(file, _KEEP_UNREADABLE)
        return None
    match life_of(kept.owner):
        case "alive":
            return None
        case "unknown" if time.time() * 1000 - kept.time < _DAY * 1000:
            # it may be open on another machine, and throwing it away would harm that one
            return None
        case _:
            return kept


def _offer(file: Path, kept: Kept) -> Offer:
    on_disk: str | None = None
    digest: str | None = None
    newer = False
    with suppress(FileError, OSError):
        data = read_bytes(kept.path)
        digest = digest_of(data)
        newer = os.stat(kept.path).st_mtime_ns // 1_000_000 > kept.time
        source, unreadable = decode(data, str(kept.path))
        on_disk = None if unreadable else source.text
    return Offer(file, kept.path, kept.text, kept.time, on_disk, digest != kept.digest, newer)


def _drop_if_older(file: Path, age: float) -> None:
    with suppress(OSError):
        if time.time() - file.stat().st_mtime > age:
            file.unlink()


def unified(old: str, new: str) -> tuple[str, ...]:
    """Two texts as a unified diff without the lines that name files; empty if they are equal.

    Equal lines at both ends are set aside first, and a large rest is shown as one stretch, so that
    no pair of texts takes long.
    """
    a, b = old.split("\n"), new.split("\n")
    head = 0
    while head < min(len(a), len(b)) and a[head] == b[head]:
        head += 1
    tail = 0
    while tail < min(len(a), len(b)) - head and a[-1 - tail] == b[-1 - tail]:
        tail += 1
    lines: list[str] = []
    for hunk in _hunks(_steps(a, b, head, tail)):
        first, last = hunk[0], hunk[-1]
        was, now = _range(first.start, last.end), _range(first.new_start, last.new_end)
        lines.append(f"@@ -{was} +{now} @@")
        for step in hunk:
            if step.equal:
                lines += (f" {line}" for line in a[step.start : step.end])
            else:
                lines += (f"-{line}" for line in a[step.start : step.end])
                lines += (f"+{line}" for line in b[step.new_start : step.new_end])
    return tuple(lines)


@dataclass(frozen=True, slots=True)
class _Step:
    """Lines of the old text, and the lines of the new one that stand in their place."""

    equal: bool
    start: int
    end: int
    new_start: int
    new_end: int


def _steps(a: list[str], b: list[str], head: int, tail: int) -> list[_Step]:
    """From the first line to the last, equal and unequal steps in turn."""
    old, new = a[head : len(a) - tail], b[head : len(b) - tail]
    steps = [_Step(True, 0, head, 0, head)]
    if len(old) * len(new) > _COMPARED:
        steps.append(_Step(False, head, head + len(old), head, head + len(new)))
    else:
        for tag, i1, i2, j1, j2 in SequenceMatcher(None, old, new).get_opcodes():
            steps.append(_Step(tag == "equal", head + i1, head + i2, head + j1, head + j2))
    steps.append(_Step(True, len(a) - tail, len(a), len(b) - tail, len(b)))
    return steps


def _hunks(steps: list[_Step]) -> list[list[_Step]]:
    """The unequal steps with some equal lines around them, near ones together."""
    hunks: list[list[_Step]] = []
    for before, step, after in zip(steps, steps[1:], steps[2:], strict=False):
        if step.equal:
            continue
        if hunks and before.end - before.start <= 2 * _AROUND:
            hunks[-1].pop()
            hunks[-1].append(before)
        else:
            lead = min(_AROUND, before.end - before.start)
            hunks.append(
                [_Step(True, before.end - lead, before.end, before.new_end - lead, before.new_end)]
            )
        trail = min(_AROUND, after.end - after.start)
        rest = _Step(
            True, after.start, after.start + trail, after.new_start, after.new_start + trail
        )
        hunks[-1] += (step, rest)
    return hunks


def _range(start: int, end: int) -> str:
    """A row of lines as unified diffs write it: the first, counted from 1, and how many."""
    count = end - start
    if count == 1:
        return f"{start + 1}"
    return f"{start + 1 if count else start},{count}"
