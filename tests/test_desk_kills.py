"""Real processes, really killed: what is on disk afterwards, and what can be had back."""

from __future__ import annotations

import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Iterator
from pathlib import Path
from typing import IO

import pytest

from rungs.desk.disk import clear_stale, load
from rungs.desk.recovery import offers
from tests import kills

ROOT = Path(__file__).parent.parent
SCRIPT = [sys.executable, str(ROOT / "tests" / "kills.py")]

pytestmark = pytest.mark.skipif(not hasattr(os, "fork"), reason="needs processes that can fork")


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    monkeypatch.setenv("PYTHONPATH", str(ROOT))


class Server:
    """The process that forks workers, and what they say."""

    def __init__(self) -> None:
        self.process = subprocess.Popen(
            [*SCRIPT, "serve"], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
        )

    @property
    def said(self) -> IO[str]:
        assert self.process.stdout is not None
        return self.process.stdout

    def start(self, *words: object) -> None:
        assert self.process.stdin is not None
        self.process.stdin.write(" ".join(map(str, words)) + "\n")
        self.process.stdin.flush()

    def until(self, word: str) -> list[list[str]]:
        """All lines up to the one that begins with a word."""
        lines: list[list[str]] = []
        while not lines or lines[-1][0] != word:
            line = self.said.readline()
            assert line, "the process that forks workers has ended"
            lines.append(line.split())
        return lines


@pytest.fixture
def server(state: None) -> Iterator[Server]:
    server = Server()
    yield server
    assert server.process.stdin is not None
    server.process.stdin.close()
    assert server.process.wait(timeout=30) == 0
    server.said.close()


def number_in(text: str) -> int:
    """Which edit a text is, checked to the last character."""
    number = int(text.partition("\n")[0])
    assert text == kills.text_of(number)
    return number


@pytest.mark.slow
def test_200_kills_leave_a_whole_file_and_the_last_edit(server: Server, tmp_path: Path) -> None:
    chance = random.Random(20_260)
    edits = saves = offered = 0
    for trial in range(200):
        path = tmp_path / f"panel{trial}.rungs"
        path.write_bytes(kills.text_of(0).encode())
        server.start("work", path)
        said = server.until("p")
        pid = int(said[-1][1])
        # so many words and then a little time: as far into the work on a slow machine as on a fast
        said += [server.said.readline().split() for _ in range(chance.randrange(25))]
        time.sleep(chance.uniform(0, 0.003))
        os.kill(pid, signal.SIGKILL)
        said += server.until("d")
        assert said[-1][1] == str(-signal.SIGKILL), said
        edited = max((int(line[1]) for line in said if line[0] == "e"), default=0)
        saved = max((int(line[1]) for line in said if line[0] == "s"), default=0)

        on_disk = number_in(path.read_text(encoding="utf-8"))
        assert on_disk % kills.SAVE_EVERY == 0
        assert saved <= on_disk <= edited
        left = offers(path)
        if left:
            assert edited <= number_in(left[0].text) <= edited + 1
            assert not left[0].newer or on_disk > saved
        else:
            assert on_disk == edited
        edits, saves, offered = edits + edited, saves + saved, offered + bool(left)
    # the kills must have met work in progress, or nothing was shown
    # how far a worker gets before it is killed hangs on the machine
    assert edits > 500
    assert saves > 200
    assert offered > 20


@pytest.mark.parametrize("links", [1, 2])
def test_ending_before_any_call_of_a_save_leaves_one_of_the_two_texts(
    links: int, server: Server, tmp_path: Path
) -> None:
    ended = []
    for k in range(1, 40):
        path = tmp_path / f"panel{k}.rungs"
        path.write_bytes(b"old\n" * 500)
        if links == 2:
            os.link(path, tmp_path / f"other{k}.rungs")
        server.start("die", path, k)
        code = int(server.until("d")[-1][1])
        data, new = path.read_bytes(), kills.text_of(1).encode()
        left = offers(path)
        whole = data in (b"old\n" * 500, new)
        # a file with several names is written in place, and may be cut short then alone
        assert whole or links == 2
        assert data == new or [offer.text for offer in left] == [kills.text_of(1)]
        assert clear_stale(path, age=-1) == (0 if links == 2 or code == 0 or data == new else 1)
        if code == 0:
            break
        assert code == kills.DIED
        ended.append(data == new)
    else:
        raise AssertionError("the save never came to its end")
    assert len(ended) >= 5
    assert ended[0] is False
    assert ended[-1] is True


def test_a_terminal_that_hangs_up_leaves_the_last_edit(tmp_path: Path) -> None:
    path, notes = tmp_path / "panel.rungs", tmp_path / "notes"
    path.write_bytes(b"old\n")
    master, slave = os.openpty()
    name = os.ttyname(slave)
    process = subprocess.Popen(
        [*SCRIPT, "hup", str(path), name, str(notes)],
        stdin=subprocess.DEVNULL,
        stdout=subprocess.PIPE,
        text=True,
        start_new_session=True,
    )
    assert process.stdout is not None
    assert process.stdout.readline() == "ready\n"
    assert offers(path) == ()  # it still runs
    os.close(slave)
    os.close(master)
    assert process.wait(timeout=20) == 129
    process.stdout.close()
    assert notes.read_text() == f"signal {signal.SIGHUP.value}\n"
    (offer,) = offers(path)
    assert offer.text == "noted\nand typed last\n"
    assert not offer.changed
    assert path.read_bytes() == b"old\n"


def test_two_processes_that_save_one_file_lose_no_line(tmp_path: Path) -> None:
    path, rounds = tmp_path / "panel.rungs", 150
    path.write_bytes(b"")
    both = [
        subprocess.Popen(
            [*SCRIPT, "turns", str(path), name, str(rounds)], stdout=subprocess.PIPE, text=True
        )
        for name in "ab"
    ]
    refused = [process.communicate(timeout=60)[0].split() for process in both]
    assert [process.returncode for process in both] == [0, 0], refused
    loaded = load(path)
    assert loaded.document is not None
    lines = loaded.document.text.splitlines()
    assert len(lines) == 2 * rounds
    for name in "ab":
        assert [line for line in lines if line[0] == name] == [f"{name} {n}" for n in range(rounds)]
    # without any clash the test would show nothing
    assert sum(int(words[-1]) for words in refused) > 0
