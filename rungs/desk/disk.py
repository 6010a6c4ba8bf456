"""Opening a file for editing, telling whether another program has changed it, and saving it.

A save never overwrites a text that nobody here has seen: the file is read again when everything is
ready, and a refusal carries what it found, so that even overwriting is asked for one seen text.
"""

from __future__ import annotations

import errno
import os
import re
import stat
import time
from contextlib import suppress
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Literal

from rungs.desk.document import Change, Document, digest_of
from rungs.files import (
    READ_LIMIT,
    TEMPORARY_END,
    FileError,
    TornError,
    decode,
    read_file,
    temporary_start,
    write_atomic,
)
from rungs.findings import Finding
from rungs.source import NOWHERE, source_from_text

Look = Literal["unchanged", "changed", "gone", "appeared"]
Reason = Literal["changed", "appeared", "protected", "full", "folder", "failed"]

STALE = 300  # seconds after which an unfinished file of ours belongs to a save that was killed

# Disks note times in steps, the coarsest of two seconds (FAT, from memory). A file that was written
# so shortly before it was read could be written once more without its times showing it.
_STEP_NS = 2_000_000_000
_COMPARE_LIMIT = 64_000_000  # bytes; a larger file is never one of ours


@dataclass(frozen=True, slots=True)
class OnDisk:
    """A file as it was seen: the hash of its bytes, what the system says of it, and when."""

    digest: str
    size: int
    mtime_ns: int
    ctime_ns: int
    inode: int
    device: int
    seen_ns: int


@dataclass(frozen=True, slots=True)
class Loaded:
    """A file that was opened. Without a document the findings say why; `disk` is None if there is
    no file yet."""

    document: Document | None
    findings: tuple[Finding, ...]
    disk: OnDisk | None


@dataclass(frozen=True, slots=True)
class Saved:
    """The text is on disk; `disk` is to be expected at the next save."""

    disk: OnDisk


@dataclass(frozen=True, slots=True)
class Refused:
    """The text is not saved and the document stays dirty.

    For "changed" and "appeared" nothing was written and `disk` is what stands there now: saving
    with it as the expectation overwrites just that. For every other reason it is None.
    """

    reason: Reason
    message: str
    effect: str
    fix: str
    disk: OnDisk | None = None


def load(path: Path) -> Loaded:
    """Open a file. Raises FileError if there is none, or it is a folder, a pipe or unreadable.

    A file that is too large or no UTF-8 text gives a finding and no document, so that it cannot be
    saved over.
    """
    data, state = read_file(path, READ_LIMIT + 1)
    disk = _on_disk(data, state)
    if len(data) > READ_LIMIT:
        size = max(state.st_size, len(data))
        finding = Finding(
            "too-large",
            f"the file holds {size:,} bytes, and {READ_LIMIT:,} is the most that can be opened",
            NOWHERE,
            "nothing of it was read, and it is left as it is",
            "split it into several panels",
        )
        return Loaded(None, (finding,), disk)
    source, findings = decode(data, str(path))
    return Loaded(None if findings else Document(source, data), findings, disk)


def begin(path: Path, text: str = "") -> Loaded:
    """A document for a file that is not there yet, beginning with `text`."""
    return Loaded(Document(source_from_text(text, str(path))), (), None)


def seen(path: Path) -> OnDisk | None:
    """The file as it is now, None if there is none. Raises FileError if it cannot be read."""
    try:
        data, state = read_file(path, _COMPARE_LIMIT)
    except FileError as error:
        if error.code == errno.ENOENT:
            return None
        raise
    return _on_disk(data, state)


def look(path: Path, disk: OnDisk | None) -> tuple[Look, OnDisk | None]:
    """Whether a file is still what it was, and it as it is now, for the next look.

    The file is read only if its times, size or place have moved, or it was written so shortly
    before it was seen that they may not tell. What cannot be read any more counts as changed, and
    comes back as it was seen before.
    """
    try:
        state = os.stat(path)
    except FileNotFoundError:
        return ("unchanged" if disk is None else "gone"), None
    except OSError:
        return ("appeared" if disk is None else "changed"), disk
    if disk is not None and _same_state(disk, state):
        return "unchanged", disk
    try:
        now = seen(path)
    except FileError:
        return ("appeared" if disk is None else "changed"), disk
    if now is None:
        return ("unchanged" if disk is None else "gone"), None
    if disk is None:
        return "appeared", now
    return ("unchanged" if now.digest == disk.digest else "changed"), now


def save(document: Document, path: Path, expect: OnDisk | None) -> Saved | Refused:
    """Put the text on disk, unless that would overwrite a text that nobody here has seen.

    `expect` is the file as last loaded, saved or shown; None if there should be none. A file that
    is gone is written again. A `path` that differs from before is "save as": the document then
    belongs to that file. Nothing is raised, whatever the disk does.
    """
    data, digest = document.encoded(), document.digest
    ours = {digest, *document.tried}
    if expect is not None:
        ours.add(expect.digest)

    def check(target: Path) -> None:
        now = seen(target)
        if now is not None and now.digest not in ours:
            raise _UnseenError(now)

    # If the write fails at its very end, these bytes are on disk all the same, and they are ours.
    document.tried.add(digest)
    try:
        write_atomic(path, data, check)
    except _UnseenError as unseen:
        return _unseen(path, expect, unseen.disk)
    except FileError as error:
        if isinstance(error, TornError):
            # what is left of the file is of our making, and no reason to refuse the next save
            with suppress(FileError):
                torn = seen(path)
                document.tried |= {torn.digest} if torn is not None else set()
        return _failed(path, error)
    clear_stale(path)
    document.now_on_disk(str(path), digest)
    return Saved(_as_written(path, digest, len(data)))


def reload(document: Document, path: Path) -> tuple[Change | None, OnDisk]:
    """Go over to the text on disk, as a step that undo takes back.

    Returns the stretch that changed, and the file as seen. Raises FileError, also for a file that
    is too large or no text any more; the document is then as it was.
    """
    loaded = load(path)
    if loaded.document is None or loaded.disk is None:
        raise FileError(f"cannot read '{path}': {loaded.findings[0].message}")
    fresh = loaded.document
    return document.take_from_disk(fresh.source, fresh.encoded()), loaded.disk


def clear_stale(path: Path, age: float = STALE) -> int:
    """Take away what killed saves of this file have left beside it; returns how many there were.

    Only plain files that are named as ours are, belong to this user and were last written more than
    `age` seconds ago. Beside a file with several names nothing is taken: it is written in place, so
    what a killed save left may be the only whole text.
    """
    target = Path(os.path.realpath(path))
    ours = re.compile(re.escape(temporary_start(target)) + "[a-z0-9_]{8}" + TEMPORARY_END)
    count = 0
    with suppress(OSError):
        if os.stat(target).st_nlink > 1:
            return 0
        with os.scandir(target.parent) as entries:
            for entry in entries:
                if ours.fullmatch(entry.name) and _is_stale(entry.stat(follow_symlinks=False), age):
                    os.unlink(entry.path)
                    count += 1
    return count


class _UnseenError(Exception):
    def __init__(self, disk: OnDisk) -> None:
        super().__init__("the file holds a text that nobody here has seen")
        self.disk = disk


def _is_stale(state: os.stat_result, age: float) -> bool:
    mine = not hasattr(os, "getuid") or state.st_uid == os.getuid()
    return stat.S_ISREG(state.st_mode) and mine and time.time() - state.st_mtime > age


def _on_disk(data: bytes, state: os.stat_result) -> OnDisk:
    return OnDisk(
        digest_of(data),
        state.st_size,
        state.st_mtime_ns,
        state.st_ctime_ns,
        state.st_ino,
        state.st_dev,
        time.time_ns(),
    )


def _same_state(disk: OnDisk, state: os.stat_result) -> bool:
    now = (state.st_size, state.st_mtime_ns, state.st_ctime_ns, state.st_ino, state.st_dev)
    then = (disk.size, disk.mtime_ns, disk.ctime_ns, disk.inode, disk.device)
    return now == then and disk.seen_ns - max(disk.mtime_ns, disk.ctime_ns) > _STEP_NS


def _as_written(path: Path, digest: str, size: int) -> OnDisk:
    """The file just saved. If another program was quicker, the next look must tell it."""
    with suppress(FileError):
        now = seen(path)
        if now is not None:
            return now if now.digest == digest else replace(now, digest=digest, seen_ns=0)
    return OnDisk(digest, size, 0, 0, 0, 0, 0)


def _unseen(path: Path, expect: OnDisk | None, disk: OnDisk) -> Refused:
    kept = "nothing was written; your text is still here, unsaved"
    if expect is None:
        told = f"there is already a file '{path}', which has not been opened here"
        return Refused("appeared", told, kept, "overwrite it, or save under another name", disk)
    told = f"another program has changed '{path}' since it was read here"
    fix = "overwrite it, load it again, or save under another name"
    return Refused("changed", told, kept, fix, disk)


def _failed(path: Path, error: FileError) -> Refused:
    kept = "your text is still here, unsaved"
    told = str(error)
    match error.code:
        case errno.ENOSPC | errno.EDQUOT | errno.EFBIG:
            return Refused("full", told, kept, "make room and save again, or save elsewhere")
        case errno.EACCES | errno.EPERM | errno.EROFS:
            return Refused("protected", told, kept, "allow writing to it, or save elsewhere")
        case errno.ENOENT | errno.ENOTDIR:
            fix = f"make the folder '{Path(os.path.realpath(path)).parent}', or save elsewhere"
            return Refused("folder", told, kept, fix)
        case errno.ENAMETOOLONG:
            return Refused("failed", told, kept, "save under a shorter name")
        case _:
            return Refused("failed", told, kept, "save again, or save elsewhere")
