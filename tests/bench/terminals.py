"""Pseudo-terminals with a bench on them, for the tests that end it in unfriendly ways.

`python -m tests.bench.terminals` forks a bench for each line `SLAVE FILE NOTES` on its input, on
the terminal of that name, so that hundreds of benches need but one start of Python; it answers with
the process number. Such a bench notes how much text its pane and its document hold: `f` at every
frame, `t` where the text has the keyboard, `b` where a save begins, `s` where it has gone well. A
file of notes outlives the process whatever ends it.
"""

from __future__ import annotations

import fcntl
import os
import select
import signal
import struct
import sys
import termios
import time
from pathlib import Path

from rungs.bench.app import BenchApp
from rungs.bench.start import bench_of, run_on_terminal
from rungs.desk.disk import Saved

F2, F3 = b"\x1bOQ", b"\x1bOR"


class Terminal:
    """Our end of a pseudo-terminal; `seen` is all that was written on it."""

    def __init__(self, size: tuple[int, int] = (80, 24)) -> None:
        self.ours, self.theirs = os.openpty()
        columns, lines = size
        room = struct.pack("HHHH", lines, columns, 0, 0)
        fcntl.ioctl(self.theirs, termios.TIOCSWINSZ, room)
        self.name = os.ttyname(self.theirs)
        self.seen = bytearray()

    def listen(self, seconds: float) -> None:
        """Take what is written there for a while; a terminal that nobody reads from stops its
        writer."""
        end = time.monotonic() + seconds
        while (left := end - time.monotonic()) > 0:
            if not select.select([self.ours], [], [], left)[0]:
                return
            try:
                data = os.read(self.ours, 65_536)
            except OSError:  # nobody holds the other end any more
                time.sleep(left)
                return
            self.seen += data

    def until(self, sign: bytes, seconds: float = 20) -> None:
        """Listen until a sign was written."""
        end = time.monotonic() + seconds
        while sign not in self.seen:
            assert time.monotonic() < end, (sign, bytes(self.seen[-2_000:]))
            self.listen(0.02)

    def send(self, data: bytes) -> None:
        """Type."""
        os.write(self.ours, data)

    def attributes(self) -> list[object]:
        """How the terminal is set."""
        return list(termios.tcgetattr(self.theirs))

    def close(self) -> None:
        """Hang up."""
        for end in (self.theirs, self.ours):
            if end >= 0:
                os.close(end)
        self.ours = self.theirs = -1


def gone(pid: int, seconds: float = 20) -> bool:
    """Wait until a process that is not our child has ended; whether it has."""
    end = time.monotonic() + seconds
    while time.monotonic() < end:
        try:
            os.kill(pid, 0)
        except ProcessLookupError:
            return True
        time.sleep(0.002)
    return False


def take_terminal(name: str) -> None:
    """Let the terminal of a name be that of this process, which leads a session of its own."""
    os.setsid()
    # the first terminal that the leader of a session opens becomes the one that can hang it up
    terminal = os.open(name, os.O_RDWR)
    for number in range(3):
        os.dup2(terminal, number)


def note_everything(app: BenchApp, notes: Path) -> None:
    """Let a bench write down what it holds, beside all that it does anyway."""
    file = os.open(notes, os.O_WRONLY | os.O_CREAT | os.O_APPEND)
    frame, save = app.frame, app.work.save

    def noted_frame() -> None:
        frame()
        now = time.monotonic()
        kind = "t" if app.bench.pane() == "text" else "f"
        os.write(file, f"{kind} {now} {len(app.bench.text.text)} {len(app.work.text)}\n".encode())

    def noted_save(*args: object) -> object:
        length = len(app.work.text)
        os.write(file, f"b {time.monotonic()} {length} {length}\n".encode())
        outcome = save(*args)  # type: ignore[arg-type]
        if isinstance(outcome, Saved):
            os.write(file, f"s {time.monotonic()} {length} {length}\n".encode())
        return outcome

    setattr(app, "frame", noted_frame)  # noqa: B010 - a method cannot be assigned to
    setattr(app.work, "save", noted_save)  # noqa: B010


def serve() -> None:
    """Fork a bench for each line of the input."""
    signal.signal(signal.SIGCHLD, signal.SIG_IGN)  # those that have ended go away by themselves
    waiting = b""
    # read by hand: what is read ahead would be read again by every child
    while data := os.read(0, 65_536):
        *lines, waiting = (waiting + data).split(b"\n")
        for line in lines:
            terminal, file, notes = line.decode().split("\t")
            pid = os.fork()
            if pid == 0:
                code = 99
                try:
                    signal.signal(signal.SIGCHLD, signal.SIG_DFL)
                    take_terminal(terminal)
                    app = bench_of(Path(file))
                    assert isinstance(app, BenchApp)
                    note_everything(app, Path(notes))
                    code = run_on_terminal(app)
                finally:
                    os._exit(code)
            os.write(1, f"{pid}\n".encode())


if __name__ == "__main__":
    if not sys.argv[1:]:
        serve()
