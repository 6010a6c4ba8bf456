"""Processes for the tests that kill: run as `python tests/kills.py MODE ...`, never collected.

`serve` forks a worker for each line on its input, so that hundreds of kills need but one start of
Python.
What a worker says goes out by single writes and stays in the pipe when the worker is gone.
"""

from __future__ import annotations

import os
import sys
import time
from collections.abc import Callable
from pathlib import Path

from rungs.desk import disk
from rungs.desk.journal import Journal
from rungs.desk.lock import take
from rungs.desk.signals import exit_code, on_signals

SAVE_EVERY = 7
DIED = 9  # exit code of a worker that was stopped before a chosen call


def text_of(number: int) -> str:
    """The text after edit `number`: its first line is the number, the rest some kilobytes."""
    lines = [f"line {k} {'x' * (k * 37 % 199)}" for k in range(max(0, number - 40), number)]
    return "\n".join((str(number), *lines, ""))


def say(*words: object) -> None:
    """One line in one write, which a kill cannot cut."""
    os.write(1, (" ".join(map(str, words)) + "\n").encode("ascii"))


def work(path: Path) -> None:
    """Edit and save for ever; `e N` after edit N is noted, `s N` after it is saved."""
    loaded = disk.load(path)
    document, seen = loaded.document, loaded.disk
    assert document is not None
    journal = Journal(path)
    number = 0
    while True:
        number += 1
        document.set_text(text_of(number))
        journal.note(document)
        say("e", number)
        if number % SAVE_EVERY == 0:
            saved = disk.save(document, path, seen)
            if not isinstance(saved, disk.Saved):
                say("refused", saved.message)
                os._exit(2)
            seen = saved.disk
            say("s", number)
            journal.clear()


def die(path: Path, k: int) -> None:
    """Note one edit and save it, but end without any cleaning up before the k-th call of the save
    that changes anything on disk; `done` if there are fewer."""
    loaded = disk.load(path)
    document = loaded.document
    assert document is not None
    journal = Journal(path)
    document.set_text(text_of(1))
    journal.note(document)
    count = 0

    def counted(call: Callable[..., object]) -> Callable[..., object]:
        def instead(*args: object, **options: object) -> object:
            nonlocal count
            count += 1
            if count == k:
                os._exit(DIED)
            return call(*args, **options)

        return instead

    for name in ("write", "fsync", "ftruncate", "fchmod", "unlink"):
        setattr(os, name, counted(getattr(os, name)))
    Path.replace = counted(Path.replace)  # type: ignore[assignment,method-assign]
    saved = disk.save(document, path, loaded.disk)
    os._exit(0 if isinstance(saved, disk.Saved) else 2)


def take_turns(path: Path, name: str, rounds: int) -> None:
    """Add a line of our own to a file again and again, reloading where another was quicker."""
    loaded = disk.load(path)
    document, seen = loaded.document, loaded.disk
    assert document is not None
    refused = 0
    for number in range(rounds):
        document.set_text(f"{document.text}{name} {number}\n")
        while True:
            saved = disk.save(document, path, seen)
            if isinstance(saved, disk.Saved):
                seen = saved.disk
                break
            if saved.reason != "changed":
                say("failed", saved.message)
                os._exit(2)
            refused += 1
            _, seen = disk.reload(document, path)
            document.set_text(f"{document.text}{name} {number}\n")
    say("refused", refused)
    os._exit(0)


def serve() -> None:
    """For each line `WORK PATH [ARGUMENT]`: `p PID`, what it says, `d CODE` at its end."""
    for line in sys.stdin:
        mode, name, *rest = line.split()
        pid = os.fork()
        if pid == 0:
            try:
                if mode == "work":
                    work(Path(name))
                else:
                    die(Path(name), int(rest[0]))
            finally:
                os._exit(3)
        say("p", pid)
        _, status = os.waitpid(pid, 0)
        say("d", os.waitstatus_to_exitcode(status))


def hang_up(path: Path, terminal: str, notes: Path) -> None:
    """Edit on a terminal of our own, and keep the last edit only if the terminal hangs up."""
    # the first terminal that the leader of a session opens becomes the one that can hang it up
    os.open(terminal, os.O_RDWR)
    loaded = disk.load(path)
    document = loaded.document
    assert document is not None
    journal = Journal(path)
    document.set_text("noted\n")
    journal.note(document)

    def keep() -> None:
        journal.note(document)
        journal.flush()

    def end(number: int) -> None:
        notes.write_text(f"signal {number}\n")
        os._exit(exit_code(number))

    on_signals(keep, end)
    document.set_text("noted\nand typed last\n")
    say("ready")
    while True:
        time.sleep(60)


def hold(path: Path) -> None:
    """Hold the notice that a file is open until the input ends."""
    lock = take(path)
    say("held" if lock.held else "not")
    sys.stdin.read()
    lock.release()


if __name__ == "__main__":
    match sys.argv[1:]:
        case ["serve"]:
            serve()
        case ["hup", path, terminal, notes]:
            hang_up(Path(path), terminal, Path(notes))
        case ["hold", path]:
            hold(Path(path))
        case ["turns", path, name, rounds]:
            take_turns(Path(path), name, int(rounds))
        case _:
            sys.exit("no such mode")
