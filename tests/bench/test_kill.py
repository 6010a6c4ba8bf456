"""The real bench on real terminals, killed while somebody types and saves.

`python -m tests.bench.test_kill [TIMES]` kills two hundred of them.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import tempfile
import time
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from random import Random
from threading import Lock

import pytest

from rungs.desk.recovery import offers

pytest.importorskip("termios", reason="needs terminals of the Unix kind")

from tests.bench.terminals import F2, F3, Terminal, gone

ROOT = Path(__file__).parent.parent.parent
KILLS = 16
AT_ONCE = 8
SHOWN = 1.0  # seconds for which a text has stood in the pane when it must be safe
BASE = "input stop at I1\noutput lamp at R1\n"
LETTERS = "abcdefghijklmnopqrstuvwxyz ABC0123456789#\n\n"


class Server:
    """The process that forks benches."""

    def __init__(self, state: Path) -> None:
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.bench.terminals"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            cwd=ROOT,
            env={**os.environ, "RUNGS_STATE": str(state), "TERM": "xterm-256color"},
        )
        self._one = Lock()

    def start(self, *words: object) -> int:
        """A bench; its process number."""
        assert self.process.stdin is not None
        assert self.process.stdout is not None
        with self._one:
            self.process.stdin.write(("\t".join(map(str, words)) + "\n").encode())
            self.process.stdin.flush()
            return int(self.process.stdout.readline())


@contextmanager
def server(state: Path) -> Iterator[Server]:
    """A server for a while."""
    made = Server(state)
    assert made.process.stdin is not None
    assert made.process.stdout is not None
    try:
        yield made
    finally:
        made.process.stdin.close()
        assert made.process.wait(timeout=30) == 0
        made.process.stdout.close()


@dataclass(frozen=True, slots=True)
class Killed:
    """What was typed, and what the bench said until the kill: kind, when, characters in the pane,
    characters in the document."""

    path: Path
    typed: str
    at: float
    said: tuple[tuple[str, float, int, int], ...]


def kill_one(server: Server, path: Path, seed: int) -> Killed:
    """Type and save on a bench, and kill it somewhere in between."""
    chance = Random(seed)
    path.write_text(BASE, encoding="utf-8")
    notes = path.with_suffix(".notes")
    terminal = Terminal()
    typed: list[str] = []
    pid = server.start(terminal.name, path, notes)
    try:
        _wait_for(b"f ", notes, terminal)
        terminal.send(F3)
        _wait_for(b"\nt ", notes, terminal)
        end = time.monotonic() + chance.uniform(0, 2.2)
        while time.monotonic() < end:
            if chance.random() < 0.12:
                terminal.send(F2)
            else:
                letters = [chance.choice(LETTERS) for _ in range(chance.choice((1, 1, 2, 6)))]
                typed += letters
                terminal.send("".join(letters).replace("\n", "\r").encode())
            terminal.listen(min(chance.choice((0.0, 0.01, 0.05, 0.2)), end - time.monotonic()))
    finally:
        at = time.monotonic()
        try:
            os.kill(pid, signal.SIGKILL)
        except ProcessLookupError:
            raise AssertionError(bytes(terminal.seen[-3_000:])) from None
    assert gone(pid)
    terminal.close()
    said = []
    for line in notes.read_text(encoding="ascii").splitlines():
        kind, when, pane, document = line.split()
        said.append((kind, float(when), int(pane) - len(BASE), int(document) - len(BASE)))
    return Killed(path, "".join(typed), at, tuple(said))


def _wait_for(sign: bytes, notes: Path, terminal: Terminal) -> None:
    end = time.monotonic() + 60
    while not notes.exists() or sign not in notes.read_bytes():
        assert time.monotonic() < end, bytes(terminal.seen[-1_000:])
        terminal.listen(0.02)


def looked_at(killed: Killed) -> tuple[int, bool]:
    """How many characters are on disk, and whether an unsaved text is offered; asserts that both
    are what they must be."""
    on_disk = _typed_in(killed.path.read_text(encoding="utf-8"), killed)
    begun = {document for kind, _, _, document in killed.said if kind == "b"}
    assert on_disk in begun | {0}, "a text that was not the document at any save"
    saved = max((document for kind, _, _, document in killed.said if kind == "s"), default=0)
    assert on_disk >= saved, "a save that was told to have gone well is lost"
    taken = max((document for *_, document in killed.said), default=0)
    shown = max((pane for _, at, pane, _ in killed.said if at < killed.at - SHOWN), default=0)
    left = offers(killed.path)
    newest = max([on_disk, *(_typed_in(offer.text, killed) for offer in left)])
    assert newest >= taken, "what the document had taken is lost"
    assert newest >= shown, "what stood in the pane is lost"
    return on_disk, bool(left)


def _typed_in(text: str, killed: Killed) -> int:
    """How many of the characters typed are in a text, checked to the last one."""
    count = len(text) - len(BASE)
    assert text == killed.typed[:count] + BASE, ("a text that never was", killed.said[-3:])
    return count


def kill_many(times: int, folder: Path) -> tuple[int, int, int]:
    """Kill so many; how many had typed, had saved, and left something to offer."""
    before = os.environ.get("RUNGS_STATE")
    os.environ["RUNGS_STATE"] = str(folder / "state")
    try:
        with server(folder / "state") as serving, ThreadPoolExecutor(AT_ONCE) as pool:
            trials = [
                pool.submit(kill_one, serving, folder / f"panel{seed}.rungs", seed)
                for seed in range(times)
            ]
            ended = [trial.result() for trial in trials]
        looks = [looked_at(killed) for killed in ended]
    finally:
        if before is None:
            del os.environ["RUNGS_STATE"]
        else:
            os.environ["RUNGS_STATE"] = before
    typed = sum(bool(killed.said and killed.said[-1][3] > 0) for killed in ended)
    return typed, sum(on_disk > 0 for on_disk, _ in looks), sum(left for _, left in looks)


@pytest.mark.slow
def test_benches_that_are_killed_leave_a_whole_file_and_offer_the_rest(tmp_path: Path) -> None:
    typed, saved, offered = kill_many(KILLS, tmp_path)
    # kills that meet nobody at work would show nothing
    assert typed > KILLS * 0.4
    assert saved > KILLS * 0.2
    assert offered > KILLS * 0.2


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        began = time.monotonic()
        times = int(sys.argv[1]) if len(sys.argv) > 1 else 200
        found = kill_many(times, Path(name))
        print(f"{times} killed: {found[0]} had typed, {found[1]} had saved, {found[2]} left a text")
        print(f"{time.monotonic() - began:.0f} s")
