"""The folder for what must outlive a process, and which process a file in it belongs to.

A process number alone says nothing: numbers are used again, and after a restart of the machine all
of them mean others. So a file remembers its machine, the boot, and when its process began.
"""

from __future__ import annotations

import hashlib
import os
import socket
import sys
from dataclasses import asdict, dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from platformdirs import user_state_path

Life = Literal["alive", "dead", "unknown"]


@dataclass(frozen=True, slots=True)
class Trouble:
    """Something that does not stop the work and that the user should know: what, effect, remedy."""

    message: str
    effect: str
    fix: str


@dataclass(frozen=True, slots=True)
class Owner:
    """A process, told apart from every other one that has had or will have its number.

    `machine` is a hash of the machine's id, `boot` the id of its present run, `space` the set of
    process numbers (each container has its own), `started` the start in ticks since the boot. What
    a system does not tell is empty.
    """

    host: str
    machine: str
    boot: str
    space: str
    pid: int
    started: str

    def record(self) -> dict[str, Any]:
        """For JSON; `owner_of` reads it again."""
        return asdict(self)


def owner_of(record: object) -> Owner:
    """The process of a record. Raises ValueError, KeyError or TypeError for what is none."""
    if not isinstance(record, dict):
        raise TypeError("no record of a process")
    texts = [record[name] for name in ("host", "machine", "boot", "space", "started")]
    pid = record["pid"]
    if not all(isinstance(text, str) for text in texts) or not isinstance(pid, int) or pid <= 0:
        raise ValueError("no record of a process")
    host, machine, boot, space, started = texts
    return Owner(host, machine, boot, space, pid, started)


def state_folder(part: str) -> Path:
    """The folder for one kind of such files: in `RUNGS_STATE`, or where the system has its place.

    It is made if need be, for this user alone. Raises OSError.
    """
    given = os.environ.get("RUNGS_STATE")
    base = Path(given) if given else user_state_path("rungs", appauthor=False)
    folder = base / part
    folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    return folder


def real_path(path: Path) -> Path:
    """The file behind all links, also if it does not exist yet."""
    return Path(os.path.realpath(path))


def key_of(path: Path) -> str:
    """The name under which things about a file are kept: the same for every way of writing it."""
    return hashlib.sha256(os.fsencode(os.path.normcase(real_path(path)))).hexdigest()[:32]


def this_process() -> Owner:
    """The process that runs this."""
    host, machine, boot, space = _machine()
    pid = os.getpid()
    return Owner(host, machine, boot, space, pid, _process(pid)[1])


def life_of(owner: Owner) -> Life:
    """Whether a process still runs; "unknown" if it is on another machine or cannot be seen."""
    here = this_process()
    if owner.machine != here.machine:
        return "unknown"
    if owner.boot != here.boot:
        return "dead"
    if owner.space != here.space or sys.platform == "win32":
        return "unknown"
    state, started = _process(owner.pid)
    if state == "dead" or (started and owner.started and started != owner.started):
        return "dead"
    return state


def _process(pid: int) -> tuple[Life, str]:
    """Whether a process number is in use, and when that process began, if the system says so.

    From /proc/PID/stat: the state is the 3rd field and the start the 22nd, and the 2nd may hold
    spaces and brackets (proc(5), from memory). A zombie has ended: it holds no text any more.
    """
    try:
        fields = Path(f"/proc/{pid}/stat").read_bytes().rpartition(b")")[2].split()
        return ("dead" if fields[0] in (b"Z", b"X") else "alive"), fields[19].decode("ascii")
    except (OSError, IndexError, UnicodeDecodeError):
        pass
    if sys.platform == "win32":  # signal 0 would not be harmless there
        return "unknown", ""
    try:
        os.kill(pid, 0)
    except ProcessLookupError:
        return "dead", ""
    except OverflowError:
        return "dead", ""
    except OSError:
        return "alive", ""
    return "alive", ""


@cache
def _machine() -> tuple[str, str, str, str]:
    host = socket.gethostname()
    # names of machines change as they change networks; the id does not, and is kept as a hash only
    told = _text("/etc/machine-id") or host
    machine = hashlib.sha256(f"rungs {told}".encode()).hexdigest()[:16]
    try:
        space = os.readlink("/proc/self/ns/pid")
    except OSError:
        space = ""
    return host, machine, _text("/proc/sys/kernel/random/boot_id"), space


def _text(path: str) -> str:
    try:
        return Path(path).read_text("ascii").strip()
    except (OSError, ValueError):
        return ""
