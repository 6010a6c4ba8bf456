"""Reading and writing a user's files without ever losing one.

A write goes to a new file beside the old one and takes its place only when it is whole and on disk;
links, owners, permissions and line endings stay as they were.
"""

from __future__ import annotations

import errno
import os
import stat
import sys
import tempfile
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path

from rungs.findings import Finding
from rungs.source import Source, Span, source_from_text

if sys.platform != "win32":
    import fcntl

# enough to tell that a file is too large without reading all of it
READ_LIMIT = 4_000_000

# Names of files that a write in progress has: .NAME.rungs-XXXXXXXX.tmp. Longer names than this many
# bytes are cut, so that a file with the longest name a folder takes can still be written.
_NAME_BYTES = 230
TEMPORARY_END = ".tmp"
_NO_SYNC = (errno.EINVAL, errno.ENOTSUP, errno.EBADF)


class FileError(Exception):
    """A file could not be read or written; the message says why in plain words.

    `code` is the errno of the system's refusal, or None where the refusal is ours.
    """

    def __init__(self, message: str, code: int | None = None) -> None:
        super().__init__(message)
        self.code = code


class TornError(FileError):
    """A file with several names was cut short while it was written in place, and could not be put
    back; the whole new text is in the file `kept` beside it."""

    def __init__(self, message: str, code: int | None, kept: Path) -> None:
        super().__init__(message, code)
        self.kept = kept


def read_bytes(path: Path, limit: int = READ_LIMIT) -> bytes:
    """The first bytes of a regular file, at most `limit`. Raises FileError."""
    return read_file(path, limit)[0]


def read_file(path: Path, limit: int = READ_LIMIT) -> tuple[bytes, os.stat_result]:
    """The first bytes of a regular file, at most `limit`, and its state just before they were read.

    Raises FileError.
    """
    try:
        # a pipe or a device could block for ever, so it is opened without waiting and refused
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except OSError as error:
        raise FileError(f"cannot read '{path}': {_reason(error)}", error.errno) from error
    except ValueError as error:
        raise FileError(f"{str(path)!r} is no name that a file can have: {error}") from error
    try:
        state = os.fstat(handle)
        if stat.S_ISDIR(state.st_mode):
            raise FileError(f"'{path}' is a folder; name a file in it", errno.EISDIR)
        if not stat.S_ISREG(state.st_mode):
            raise FileError(f"'{path}' is not a plain file")
        with os.fdopen(handle, "rb", closefd=False) as stream:
            return stream.read(limit), state
    except OSError as error:
        raise FileError(f"cannot read '{path}': {_reason(error)}", error.errno) from error
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


def write_atomic(path: Path, data: bytes, check: Callable[[Path], None] | None = None) -> None:
    """Put `data` into a file, wholly or not at all. Raises FileError; the old file is then whole.

    A symbolic link is followed, owner and permissions are kept, a file without write permission is
    refused, and a file with several names (hard links) keeps them. An error of the last step,
    syncing the folder, is raised although the new text has already taken its place.

    `check` gets the file behind all links when everything is ready, right before the new text takes
    its place; what it raises ends the write with the old file untouched. Writers with a check take
    turns in a folder, so that none of them can slip in between the check and the rename.
    """
    try:
        target = Path(os.path.realpath(path))
        old = _state(path)
        if old is not None and not stat.S_ISREG(old.st_mode):
            raise FileError(f"'{path}' is not a plain file")
        if old is not None and not (old.st_mode & stat.S_IWUSR and os.access(target, os.W_OK)):
            raise FileError(f"'{path}' is write-protected", errno.EACCES)
        prefix = temporary_start(target)
        handle, name = tempfile.mkstemp(prefix=prefix, suffix=TEMPORARY_END, dir=target.parent)
    except OSError as error:
        raise FileError(f"cannot write '{path}': {_reason(error)}", error.errno) from error
    except ValueError as error:
        raise FileError(f"{str(path)!r} is no name that a file can have: {error}") from error
    temporary = Path(name)
    keep = False
    try:
        _fill(handle, data, old)
        if check is None:
            _put(temporary, target, data, old)
        else:
            with alone_in(target.parent):
                check(target)
                _put(temporary, target, data, old)
        sync_folder(target.parent)
    except _NotPutBackError as error:
        keep = True
        told = f"'{path}' was cut short while it was written; the whole new text is in '{name}'"
        raise TornError(told, error.errno, temporary) from error
    except OSError as error:
        raise FileError(f"cannot write '{path}': {_reason(error)}", error.errno) from error
    finally:
        if not keep:
            with suppress(OSError):
                temporary.unlink(missing_ok=True)


def temporary_start(target: Path) -> str:
    """How the names of the unfinished files of writes to `target` begin; each has eight more
    characters and TEMPORARY_END, and stands in the same folder."""
    stem = os.fsencode(target.name)[:_NAME_BYTES].decode("utf-8", "ignore")
    return f".{stem}.rungs-"


@contextmanager
def alone_in(folder: Path, wait: float = 2.0) -> Iterator[None]:
    """Take turns with every other process of ours that does something in this folder.

    After `wait` seconds, or where a folder cannot be locked, it goes on all the same: a turn makes
    a check surer, and is never a reason for not saving.
    """
    if sys.platform == "win32":
        yield
        return
    handle = -1
    try:
        with suppress(OSError):
            handle = os.open(folder, os.O_RDONLY)
            until = time.monotonic() + wait
            while time.monotonic() < until:
                try:
                    fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
                    break
                except BlockingIOError:
                    time.sleep(0.002)
        yield
    finally:
        if handle >= 0:
            os.close(handle)


def write_all(handle: int, data: bytes) -> None:
    """Write all of `data` to an open file; the system may take it in parts. Raises OSError."""
    rest = memoryview(data)
    while rest:
        rest = rest[os.write(handle, rest) :]


def sync_folder(folder: Path) -> None:
    """Put the names in a folder on disk. Raises OSError if the disk fails.

    Some systems cannot open or sync a folder; a rename is then as safe as they make it.
    """
    try:
        handle = os.open(folder, os.O_RDONLY)
    except OSError:
        return
    try:
        os.fsync(handle)
    except OSError as error:
        if error.errno not in _NO_SYNC:
            raise
    finally:
        os.close(handle)


class _NotPutBackError(OSError):
    """A file with several names is neither the old one nor the new one."""


def _state(path: Path) -> os.stat_result | None:
    """None if there is no file, also behind a link to nothing; a loop of links raises OSError."""
    try:
        return os.stat(path)
    except FileNotFoundError:
        return None


def _fill(handle: int, data: bytes, old: os.stat_result | None) -> None:
    """Write the new file, make it look as the old one did, and close it only when it is on disk."""
    try:
        write_all(handle, data)
        if sys.platform != "win32":
            if old is not None:
                _keep_owner(handle, old)
            os.fchmod(handle, stat.S_IMODE(old.st_mode) if old is not None else _usual_mode())
        os.fsync(handle)
    finally:
        os.close(handle)


def _keep_owner(handle: int, old: os.stat_result) -> None:
    new = os.fstat(handle)
    if (new.st_uid, new.st_gid) == (old.st_uid, old.st_gid):
        return
    # only some may give files away; the group alone is the next best
    for owner in (old.st_uid, -1):
        with suppress(OSError):
            os.fchown(handle, owner, old.st_gid)
            return


def _put(temporary: Path, target: Path, data: bytes, old: os.stat_result | None) -> None:
    if old is not None and old.st_nlink > 1:
        _write_in_place(target, data)
    else:
        temporary.replace(target)


def _write_in_place(target: Path, data: bytes) -> None:
    """Another name must go on showing the same file, so the copy beside it is the safety net."""
    before = target.read_bytes()
    handle = os.open(target, os.O_RDWR)
    try:
        try:
            _overwrite(handle, data)
            os.fsync(handle)
        except BaseException:
            # the old text goes back into the room it had
            try:
                _overwrite(handle, before)
            except OSError as error:
                if target.read_bytes() != before:
                    raise _NotPutBackError(error.errno, error.strerror) from error
            with suppress(OSError):
                os.fsync(handle)
            raise
    finally:
        os.close(handle)


def _overwrite(handle: int, data: bytes) -> None:
    os.lseek(handle, 0, os.SEEK_SET)
    write_all(handle, data)
    os.ftruncate(handle, len(data))


def _usual_mode() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return 0o666 & ~mask


def _reason(error: OSError) -> str:
    return (error.strerror or str(error)).lower()
