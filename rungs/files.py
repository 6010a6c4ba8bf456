"""Reading and writing a user's files without ever losing one.

A write goes to a new file beside the old one and takes its place only when it is whole and on disk;
links, permissions and line endings stay as they were.
"""

from __future__ import annotations

import os
import stat
import tempfile
from pathlib import Path

from rungs.findings import Finding
from rungs.source import Source, Span, source_from_text

# enough to tell that a file is too large without reading all of it
READ_LIMIT = 4_000_000


class FileError(Exception):
    """A file could not be read or written; the message says why in plain words."""


def read_bytes(path: Path, limit: int = READ_LIMIT) -> bytes:
    """The first bytes of a regular file, at most `limit`. Raises FileError."""
    try:
        # a pipe or a device could block for ever, so it is opened without waiting and refused
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except OSError as error:
        raise FileError(f"cannot read '{path}': {_reason(error)}") from error
    try:
        kind = os.fstat(handle).st_mode
        if stat.S_ISDIR(kind):
            raise FileError(f"'{path}' is a folder; name a file in it")
        if not stat.S_ISREG(kind):
            raise FileError(f"'{path}' is not a plain file")
        with os.fdopen(handle, "rb", closefd=False) as stream:
            return stream.read(limit)
    except OSError as error:
        raise FileError(f"cannot read '{path}': {_reason(error)}") from error
    finally:
        os.close(handle)


def decode(data: bytes, name: str) -> tuple[Source, tuple[Finding, ...]]:
    """The text of a file; if it is not UTF-8, an empty source and the finding that says where."""
    try:
        text = data.decode("utf-8")
    except UnicodeDecodeError as error:
        finding = Finding(
            "not-text",
            f"byte {error.start:,} of the file is no UTF-8 text",
            Span(0, 0),
            "nothing of it was read, and it is left as it is",
            "save it as UTF-8 text in your editor",
        )
        return Source(name, ""), (finding,)
    return source_from_text(text, name), ()


def write_atomic(path: Path, data: bytes) -> None:
    """Put `data` into a file, wholly or not at all. Raises FileError; the old file is then whole.

    A symbolic link is followed, permissions are kept, a file without write permission is refused,
    and a file with several names (hard links) keeps them.
    """
    try:
        target = Path(os.path.realpath(path))
        old = os.stat(target) if target.exists() else None
        if old is not None and not stat.S_ISREG(old.st_mode):
            raise FileError(f"'{path}' is not a plain file")
        if old is not None and not old.st_mode & stat.S_IWUSR:
            raise FileError(f"'{path}' is write-protected")
        handle, name = tempfile.mkstemp(prefix=f".{target.name}.", suffix=".tmp", dir=target.parent)
    except OSError as error:
        raise FileError(f"cannot write '{path}': {_reason(error)}") from error
    temporary = Path(name)
    try:
        with os.fdopen(handle, "wb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        if old is not None and old.st_nlink > 1:
            _write_in_place(target, temporary, data)
        else:
            temporary.chmod(stat.S_IMODE(old.st_mode) if old is not None else _usual_mode())
            temporary.replace(target)
        _sync_folder(target.parent)
    except OSError as error:
        temporary.unlink(missing_ok=True)
        raise FileError(f"cannot write '{path}': {_reason(error)}") from error


def _write_in_place(target: Path, temporary: Path, data: bytes) -> None:
    """Another name must go on showing the same file, so the copy beside it is the safety net."""
    with target.open("r+b") as stream:
        stream.write(data)
        stream.truncate()
        stream.flush()
        os.fsync(stream.fileno())
    temporary.unlink()


def _usual_mode() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _sync_folder(folder: Path) -> None:
    # some systems cannot open a folder; the rename is then as safe as they make it
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError:
        pass
    finally:
        os.close(handle)


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
