"""Telling another bench that a file is open here.

It is a notice and never a barrier: what keeps a text from being overwritten is the check at saving,
and a notice that a crash has left behind must not keep anybody from work.
"""

from __future__ import annotations

import json
import os
import secrets
import time
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from rungs.desk.state import (
    Life,
    Owner,
    Trouble,
    key_of,
    life_of,
    owner_of,
    state_folder,
    this_process,
)
from rungs.files import FileError, alone_in, read_bytes, write_atomic

_LIMIT = 100_000  # bytes; a notice has some hundred


@dataclass(frozen=True, slots=True)
class Holder:
    """Who else has a file open: the process, since when (ms since the epoch), and if it is sure
    that it still runs ("unknown": it is on another machine or in another container)."""

    owner: Owner
    since: int
    life: Life

    def words(self) -> str:
        """Who and since when, in the time of this machine, for putting after 'open in'."""
        at = time.strftime("%Y-%m-%d %H:%M", time.localtime(self.since / 1000))
        here = this_process()
        if self.owner == here:
            return f"this bench since {at}"
        where = "" if self.owner.machine == here.machine else f" on {self.owner.host}"
        return f"another bench{where} (process {self.owner.pid}) since {at}"


@dataclass(frozen=True, slots=True)
class Lock:
    """What became of asking for a file: ours if `token`, else another's, or there was trouble."""

    path: Path
    token: str = ""
    holder: Holder | None = None
    trouble: Trouble | None = None

    @property
    def held(self) -> bool:
        """True if others are now told that the file is open here."""
        return bool(self.token)

    def release(self) -> None:
        """Take our notice away, if it is still ours; never fails."""
        if not self.token:
            return
        with suppress(OSError):
            file = _file(self.path)
            with alone_in(file.parent):
                found = _read(file)
                if found is not None and found[1] == self.token:
                    file.unlink(missing_ok=True)


def take(path: Path, over: bool = False) -> Lock:
    """Tell others that a file is open here, unless another that still runs has told so.

    Notices of processes that have ended, of a former boot, or of a process whose number another one
    has now, are taken over; with `over` any notice is. Nothing is raised: without a folder to write
    in there is no notice, and `trouble` says so.
    """
    try:
        file = _file(path)
        with alone_in(file.parent):
            found = None if over else _read(file)
            if found is not None and found[0].life != "dead":
                return Lock(path, holder=found[0])
            token = secrets.token_hex(8)
            record = {
                "owner": this_process().record(),
                "since": time.time_ns() // 1_000_000,
                "token": token,
            }
            write_atomic(file, json.dumps(record).encode("ascii"))
            with suppress(OSError):
                file.chmod(0o600)
        return Lock(path, token)
    except (OSError, FileError) as error:
        trouble = Trouble(
            f"cannot note that '{path}' is open here: {error}",
            "another bench will not be told of it; a save still sees what others have changed",
            "make room or allow writing there, or set RUNGS_STATE to another folder",
        )
        return Lock(path, trouble=trouble)


def holder_of(path: Path) -> Holder | None:
    """Who has a file open, None if nobody that may still run."""
    try:
        found = _read(_file(path))
    except OSError:
        return None
    return None if found is None or found[0].life == "dead" else found[0]


def _file(path: Path) -> Path:
    return state_folder("locks") / f"{key_of(path)}.json"


def _read(file: Path) -> tuple[Holder, str] | None:
    """A notice and its token; None if there is none, or none that can be read."""
    try:
        record = json.loads(os.fsdecode(read_bytes(file, _LIMIT)))
        owner, since, token = owner_of(record["owner"]), record["since"], record["token"]
    except (FileError, ValueError, KeyError, TypeError, RecursionError):
        return None
    if not isinstance(since, int) or not isinstance(token, str):
        return None
    return Holder(owner, since, life_of(owner)), token
