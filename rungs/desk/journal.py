"""The journal of one file being edited: what was typed, on disk while it is being typed.

Nothing that runs when a process ends can be trusted to run, so the text must already be there. A
record is added by one write; whatever is cut or damaged later, all before it still counts.

A journal is a row of records: length of the payload, CRC-32 of all else, number, kind (little
endian, 4 + 4 + 4 + 1 bytes), payload. A base holds the whole text, an edit one stretch of it.
"""

from __future__ import annotations

import json
import os
import secrets
import struct
import time
import zlib
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from rungs.desk.document import Document, stretch
from rungs.desk.state import Owner, Trouble, key_of, owner_of, real_path, state_folder, this_process
from rungs.files import sync_folder, write_all

FOLDER = "journals"
END = ".journal"
BASE, EDIT = 0, 1
_HEAD = struct.Struct("<IIIB")
_EDIT = struct.Struct("<IIQ")  # start and end of the stretch, time in ms; the new text follows
_FORM = 1  # of the base; another form is not read

SYNC_GAP = 1.0  # seconds between two syncs of typing
RETRY_GAP = 5.0  # seconds until a folder that could not be written to is tried again
GROWTH = 4  # a journal this many times its base is begun anew,
SLACK = 65_536  # and this many bytes more
MOST_EDITS = 2_000  # so that reading one is quick whatever the size of the text


@dataclass(frozen=True, slots=True)
class Kept:
    """What a journal holds: the newest text that can be read, and where it belongs.

    `digest` is the hash of the file on disk that the text was an edit of, None without a file.
    `time` is that of the last change, ms since the epoch. `whole` is False if something behind it
    was cut or damaged.
    """

    path: Path
    owner: Owner
    digest: str | None
    newline: str
    marked: bool
    text: str
    time: int
    records: int
    whole: bool


class Journal:
    """The journal of one file in this process. Nothing is on disk until there is a dirty text.

    `wall` gives ms since the epoch and `beat` seconds that never run backwards.
    """

    def __init__(
        self,
        path: Path,
        wall: Callable[[], int] = lambda: time.time_ns() // 1_000_000,
        beat: Callable[[], float] = time.monotonic,
    ) -> None:
        self.path = real_path(path)
        self.file: Path | None = None  # while there is one
        self._wall, self._beat = wall, beat
        self._handle = -1
        self._text = ""  # the text that the records add up to
        self._saved: str | None = None  # the hash of the disk that the base speaks of
        self._count = self._edits = self._size = self._limit = 0
        self._synced_at = self._tried_at = -1e9
        self._waiting = False  # something is written and not synced
        self._broken = False  # nothing may be added behind what is written
        self._failed = self._told = False

    @property
    def in_trouble(self) -> bool:
        """True while what is typed cannot be kept."""
        return self._failed

    def note(self, document: Document) -> Trouble | None:
        """Put the newest change on disk; call it after every change. Syncs once a second at most.

        Trouble is told once, and goes on being tried.
        """
        if not document.dirty and (self._handle < 0 or document.saved != self._saved):
            self.clear()
            return None
        known = self._handle >= 0 and not self._broken and document.saved == self._saved
        if known and document.text == self._text:
            return None
        if not known and self._failed and self._beat() - self._tried_at < RETRY_GAP:
            return None
        try:
            if known:
                self._add(document)
            else:
                self._begin(document)
        except OSError as error:
            return self._trouble(error)
        self._failed = False
        if self._may_sync():
            return self.flush()
        return None

    def flush(self) -> Trouble | None:
        """Sync what is written. Cheap if nothing is new; for timers and signal handlers."""
        if not self._waiting or self._handle < 0:
            return None
        self._synced_at = self._beat()
        try:
            os.fsync(self._handle)
        except OSError as error:
            # a system may forget what it could not put on disk, so all of it is written again
            self._broken = True
            return self._trouble(error)
        self._waiting = False
        return None

    def clear(self) -> None:
        """Take the journal away: the text is saved, or is to be thrown away. Never fails."""
        if self._handle >= 0:
            with suppress(OSError):
                os.close(self._handle)
        if self.file is not None:
            with suppress(OSError):
                self.file.unlink(missing_ok=True)
        self._handle, self.file = -1, None
        self._waiting = self._broken = self._failed = False

    def move(self, path: Path) -> None:
        """The text is now saved as another file, and further changes are changes of that."""
        self.clear()
        self.path = real_path(path)

    # --- writing

    def _begin(self, document: Document) -> None:
        """A new base, which takes the place of the journal so far only when it is whole."""
        self._tried_at = self._beat()
        folder = state_folder(FOLDER)
        file = self.file
        if file is None:
            name = f"{key_of(self.path)}-{os.getpid()}-{secrets.token_hex(4)}{END}"
            file = folder / name
        data = _record(BASE, self._count + 1, _base(self.path, document, self._wall()))
        temporary = file.with_name(file.name + ".tmp")
        flags = os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND | getattr(os, "O_NOFOLLOW", 0)
        temporary.unlink(missing_ok=True)
        handle = os.open(temporary, flags, 0o600)
        try:
            write_all(handle, data)
            synced = self._may_sync()
            if synced:
                os.fsync(handle)
            temporary.replace(file)
        except BaseException:
            os.close(handle)
            with suppress(OSError):
                temporary.unlink(missing_ok=True)
            raise
        if self._handle >= 0:
            with suppress(OSError):
                os.close(self._handle)
        self.file, self._handle = file, handle
        self._text, self._saved = document.text, document.saved
        self._count, self._edits, self._size = self._count + 1, 0, len(data)
        self._limit = GROWTH * len(data) + SLACK
        self._waiting, self._broken = not synced, False
        if synced:
            with suppress(OSError):  # the journal itself is on disk; only its name might get lost
                sync_folder(folder)
            self._synced_at = self._beat()

    def _add(self, document: Document) -> None:
        edit = stretch(self._text, document.text)
        assert edit is not None
        head = _EDIT.pack(edit.span.start, edit.span.end, self._wall())
        data = _record(EDIT, self._count + 1, head + edit.text.encode("utf-8"))
        try:
            write_all(self._handle, data)
        except OSError:
            # behind a record that is cut short nothing could be read any more
            try:
                os.ftruncate(self._handle, self._size)
            except OSError:
                self._broken = True
            raise
        self._text = document.text
        self._count, self._edits = self._count + 1, self._edits + 1
        self._size += len(data)
        self._waiting = True
        if (self._size > self._limit or self._edits >= MOST_EDITS) and self._may_sync():
            try:
                self._begin(document)
            except OSError:
                # the journal so far is whole, only long
                self._limit, self._edits = 2 * self._size, 0

    def _may_sync(self) -> bool:
        return self._beat() - self._synced_at >= SYNC_GAP

    def _trouble(self, error: OSError) -> Trouble | None:
        self._failed = True
        if self._told:
            return None
        self._told = True
        reason = (error.strerror or str(error)).lower()
        return Trouble(
            f"what you type cannot be kept beside the file: {reason}",
            "it would be lost if this program or the machine stopped before you save",
            "save often, and make room or set RUNGS_STATE to a folder that can be written to",
        )


def _record(kind: int, number: int, payload: bytes) -> bytes:
    return _HEAD.pack(len(payload), _sum(kind, number, payload), number, kind) + payload


def _sum(kind: int, number: int, payload: bytes) -> int:
    return zlib.crc32(payload, zlib.crc32(struct.pack("<IIB", len(payload), number, kind)))


def _base(path: Path, document: Document, now: int) -> bytes:
    record = {
        "form": _FORM,
        "path": os.fsencode(path).hex(),  # a path need not be text
        "owner": this_process().record(),
        "digest": document.saved,
        "newline": document.newline,
        "marked": document.marked,
        "time": now,
        "text": document.text,
    }
    return json.dumps(record, ensure_ascii=False).encode("utf-8")


def read_journal(data: bytes) -> Kept | None:
    """The text that the longest sound beginning of a journal adds up to.

    None if not even its base is sound.
    """
    kept: Kept | None = None
    text, when, number, at, count = "", 0, 0, 0, 0
    while at + _HEAD.size <= len(data):
        length, total, this, kind = _HEAD.unpack_from(data, at)
        payload = data[at + _HEAD.size : at + _HEAD.size + length]
        if len(payload) < length or _sum(kind, this, payload) != total:
            break
        if kind == BASE and kept is None:
            kept = _read_base(payload)
            if kept is None:
                break
            text, when = kept.text, kept.time
        elif kind == EDIT and kept is not None and this == number + 1 and length >= _EDIT.size:
            start, end, when_now = _EDIT.unpack_from(payload)
            if not start <= end <= len(text):
                break
            try:
                text = text[:start] + payload[_EDIT.size :].decode("utf-8") + text[end:]
            except UnicodeDecodeError:
                break
            when = when_now
        else:
            break
        number, at, count = this, at + _HEAD.size + length, count + 1
    if kept is None:
        return None
    return Kept(
        kept.path,
        kept.owner,
        kept.digest,
        kept.newline,
        kept.marked,
        text,
        when,
        count,
        at == len(data),
    )


def _read_base(payload: bytes) -> Kept | None:
    try:
        record = json.loads(payload)
        if record["form"] != _FORM:
            return None
        digest, text, newline = record["digest"], record["text"], record["newline"]
        if not isinstance(text, str) or newline not in ("\n", "\r\n"):
            return None
        return Kept(
            Path(os.fsdecode(bytes.fromhex(record["path"]))),
            owner_of(record["owner"]),
            None if digest is None else str(digest),
            newline,
            bool(record["marked"]),
            text,
            int(record["time"]),
            1,
            True,
        )
    except (ValueError, KeyError, TypeError, RecursionError):
        return None
