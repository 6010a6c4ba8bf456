"""A record on disk: read whatever its bytes, and written so that no answer is ever lost."""

from __future__ import annotations

import errno
import json
from collections import Counter
from collections.abc import Callable
from datetime import datetime
from hashlib import sha256
from pathlib import Path

from pydantic import ValidationError

from rungs.cells import safe
from rungs.checkout.record import LARGEST, VERSION, Record
from rungs.files import FileError, read_bytes, write_atomic


class RecordError(Exception):
    """A record could not be read or written; the message says why, and what to do."""


def beside(panel: Path) -> Path:
    """Where the record of a panel file stands: `NAME.checkout.json` in the same folder."""
    return panel.with_name(f"{panel.stem}.checkout.json")


def read_record(data: bytes) -> tuple[Record | None, str]:
    """The record in a file's bytes, or None and the words that say what is wrong with it.

    Never raises, whatever the bytes.
    """
    if len(data) > LARGEST:
        return None, f"it is larger than {LARGEST:,} bytes, so it is no record of ours"
    try:
        content = json.loads(data.decode("utf-8"), object_pairs_hook=_once)
    except UnicodeDecodeError as error:
        return None, f"byte {error.start:,} of it is no UTF-8 text"
    except _DoubledError as error:
        return None, f"'{safe(str(error))[:60]}' stands in it twice"
    except json.JSONDecodeError as error:
        return None, f"line {error.lineno}, column {error.colno}: it is no JSON ({error.msg})"
    except (ValueError, RecursionError):
        return None, "it is no JSON that a record can be"
    if not isinstance(content, dict) or content.get("document") != "checkout":
        return None, "it is no record of a checkout"
    version = content.get("schema_version")
    if type(version) is int and version > VERSION:
        return None, (
            f"it has version {str(version)[:20]}, and this program reads up to {VERSION}; "
            "a newer program wrote it"
        )
    try:
        return Record.model_validate_json(data), ""
    except ValidationError as error:
        return None, _first_of(error)
    except (ValueError, RecursionError):
        return None, "it is no record of a checkout"


class _DoubledError(ValueError):
    pass


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found: dict[str, object] = {}
    for name, value in pairs:
        if name in found:
            raise _DoubledError(name)
        found[name] = value
    return found


def _first_of(error: ValidationError) -> str:
    """The first thing that is wrong, with its place."""
    first = error.errors(include_url=False, include_context=False, include_input=False)[0]
    loc = first["loc"]
    where = " ".join(str(part + 1) if isinstance(part, int) else str(part) for part in loc[:6])
    more = error.error_count() - 1
    rest = f", and {more} more things are wrong" if more else ""
    return safe(f"at '{where[:80]}': {first['msg'][:200]}{rest}")


def record_bytes(record: Record) -> bytes:
    """A record as the bytes of its file. Raises RecordError for one that would be too large."""
    data = (record.model_dump_json(indent=1) + "\n").encode("utf-8")
    if len(data) > LARGEST:
        raise RecordError(
            f"the record is full: it would be larger than {LARGEST:,} bytes; begin another one "
            "under another name"
        )
    return data


class RecordFile:
    """The file of one record, as it was last read or written here.

    Two people may walk one panel at once, on the bench and on the command line: what the other
    has added is taken in when ours is saved, so that neither loses an answer.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._known: set[str] = set()

    def load(self) -> Record | None:
        """The record on disk, None if there is no file yet. Raises RecordError."""
        try:
            data = read_bytes(self.path, LARGEST + 1)
        except FileError as error:
            if error.code == errno.ENOENT and self.path.parent.is_dir():
                return None
            raise RecordError(str(error)) from error
        record = self._taken(data)
        self._known = {sha256(data).hexdigest()}
        return record

    def save(self, record: Record) -> Record:
        """Put a record on disk, wholly or not at all; returns it as it stands there, with what
        another program has added meanwhile. Raises RecordError; nothing is then lost on disk."""
        for _ in range(20):
            data = record_bytes(record)
            digest = sha256(data).hexdigest()
            before = frozenset(self._known)
            try:
                # if the write fails at its very end, these bytes are there all the same
                self._known.add(digest)
                write_atomic(self.path, data, self._check(before | {digest}))
            except _UnseenError as unseen:
                self._known = set(before)
                record = united(record, self._taken(unseen.data))
                self._known.add(sha256(unseen.data).hexdigest())
            except FileError as error:
                raise RecordError(str(error)) from error
            else:
                self._known = {digest}
                return record
        raise RecordError(f"'{self.path}' is being changed by another program all the time")

    def _taken(self, data: bytes) -> Record:
        record, wrong = read_record(data)
        if record is None:
            raise RecordError(
                f"'{self.path}' was not read and is left as it is: {wrong}; move it away, or name "
                "another file for the record"
            )
        return record

    def _check(self, known: frozenset[str]) -> Callable[[Path], None]:
        def check(target: Path) -> None:
            if not target.exists():
                return
            data = read_bytes(target, LARGEST + 1)
            if sha256(data).hexdigest() not in known:
                raise _UnseenError(data)

        return check


class _UnseenError(Exception):
    def __init__(self, data: bytes) -> None:
        super().__init__("the file holds a record that nobody here has seen")
        self.data = data


def united(ours: Record, theirs: Record) -> Record:
    """Our record with the entries of another one that it does not have, by the time of the
    answers; of alike entries there are as many as the record with most of them has."""
    missing = Counter(theirs.entries) - Counter(ours.entries)
    if not missing:
        return ours
    every = sorted(
        (*ours.entries, *missing.elements()), key=lambda entry: datetime.fromisoformat(entry.at)
    )
    return ours.model_copy(
        update={
            "entries": tuple(every),
            "started": min(ours.started, theirs.started, key=datetime.fromisoformat),
            "updated": max(ours.updated, theirs.updated, key=datetime.fromisoformat),
        }
    )
