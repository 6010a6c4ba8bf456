"""The bench: from a key to the painted screen, its first picture, its memory, and typing.

Each size of program has a process of its own, `python -m tests.benchmarks.bench RUNGS`, so that
none pays for the memory of another.
"""

from __future__ import annotations

import asyncio
import os
import subprocess
import sys
import tempfile
from collections.abc import Awaitable, Callable
from functools import partial
from pathlib import Path
from statistics import median
from time import perf_counter, process_time

from rungs.bench.app import BenchApp
from rungs.bench.session.session import Session
from rungs.bench.work import Work, open_work
from tests.bench.driver import memory, settle, terminal
from tests.bench.panels import START, Hands
from tests.benchmarks.measure import ladder_text, show

SIZES = (50, 500, 2_000)
LARGE = 5_000
FRAME_MS = 50
KEYS = 24
PAINTED = 0.04  # seconds; the screen library paints what has changed 60 times a second


def bench() -> None:
    """Every size in a process of its own; the goals are 30 ms from a key to the painted frame and
    100 ms from typing to the findings at 500 rungs, and no dependence on the size."""
    for rungs in (*SIZES, LARGE):
        _in_process(str(rungs))


def bench_start() -> None:
    """Wall time from the start of the process until the first screen stands on a terminal."""
    # only where there are such terminals
    from tests.bench.terminals import Terminal

    with tempfile.TemporaryDirectory() as name:
        os.environ["RUNGS_STATE"] = str(Path(name) / "state")
        for rungs in SIZES:
            path = Path(name) / f"of{rungs}.rungs"
            path.write_text(ladder_text(rungs), encoding="utf-8")
            found = []
            for _ in range(5):
                screen = Terminal((140, 45))
                began = perf_counter()
                code = (
                    "import sys; from tests.bench.terminals import take_terminal; "
                    "take_terminal(sys.argv.pop(1)); from rungs.cli.main import run; run()"
                )
                process = subprocess.Popen(
                    [sys.executable, "-c", code, screen.name, "open", str(path)],
                    env={**os.environ, "TERM": "xterm-256color"},
                )
                screen.until(b"quit", 60)
                found.append((perf_counter() - began) * 1000)
                process.kill()
                process.wait()
                screen.close()
            show(f"start to first screen, {rungs:,} rungs", median(found), "ms", "wall time")


def _in_process(rungs: str) -> None:
    with tempfile.TemporaryDirectory() as name:
        subprocess.run(
            [sys.executable, "-m", "tests.benchmarks.bench", rungs, name],
            check=True,
            env={**os.environ, "RUNGS_STATE": str(Path(name) / "state")},
        )


class Measured:
    """One app of so many rungs, running at 60 times the speed of time."""

    def __init__(self, rungs: int, folder: Path) -> None:
        self.rungs = rungs
        path = folder / f"of{rungs}.rungs"
        path.write_text(ladder_text(rungs), encoding="utf-8")
        self.began = process_time()
        work = open_work(path)
        assert isinstance(work, Work)
        assert work.program is not None
        self.hands = Hands()
        self.app = BenchApp(Session(work.program, START), work, clock=self.hands)
        self.app.session.speed = 60

    def show(self, what: str, value: float, unit: str = "ms", ratio: str = "") -> None:
        """One line of the result."""
        show(f"{what}, {self.rungs:,} rungs", value, unit, ratio)

    async def frame(self) -> None:
        """A frame of time, until it is painted."""
        self.hands.wait(FRAME_MS)
        await settle(10)
        self.app.frame()
        await settle(10)
        await asyncio.sleep(PAINTED)

    async def press(self, key: str) -> float:
        """CPU ms from a key until a frame shows what it did, the frame that came anyway left in."""
        from textual.events import Key

        began = process_time()
        terminal(self.app).send_message(Key(key, key if len(key) == 1 else None))
        await self.frame()
        return (process_time() - began) * 1000

    async def measure(self) -> None:
        """Everything, line by line."""
        async with self.app.run_test(size=(140, 45)) as pilot:
            self.app.animation_level = "none"
            await pilot.pause()
            await self.frame()
            self.show("first screen", (process_time() - self.began) * 1000, ratio="CPU")
            for _ in range(10):
                await self.frame()
            rest = await self._median(partial(self.press, "f12"))  # a key that does nothing
            self.show("frame", rest, ratio="CPU, running at 60 x")
            for what, key in (("operate", "space"), ("next switch", "down"), ("pause", "r")):
                value = await self._median(partial(self.press, key))
                self.show(f"{what}, key to frame", value, ratio="CPU, goal 30")
            self.show("paint after a change", self._paint(), ratio="CPU, goal 1.5 x that of 50")
            await self._write()
            self.show("memory", memory(), "MB")

    async def _median(self, work: Callable[[], Awaitable[float]]) -> float:
        return median([await work() for _ in range(KEYS)])

    def _paint(self) -> float:
        """CPU ms of giving the panes what there is to see after each change of a switch."""
        session = self.app.session
        session.pause()
        found = []
        for number in range(KEYS):
            session.toggle(f"i{number % 4}")
            session.one_scan()
            began = process_time()
            self.app.paint()
            found.append((process_time() - began) * 1000)
        return median(found)

    async def _write(self) -> None:
        """Typing in the middle of the file: the key itself, and the check that follows."""
        app = self.app
        await self.press("f3")
        pane = app.bench.text
        pane.move_cursor((len(app.work.text.splitlines()) * 3 // 4 // 2 * 2, 4))
        await self.frame()
        keys, checks = [], []
        for number in range(KEYS):
            keys.append(await self.press("x" if number % 2 == 0 else "backspace"))
            app.typed()
            began = process_time()
            app.check()
            checks.append((process_time() - began) * 1000)
        self.show("typing, key to frame", median(keys), ratio="CPU, goal 30")
        self.show("findings after typing", median(checks), ratio="CPU, goal 100 at 500 rungs")


if __name__ == "__main__":
    if len(sys.argv) > 2:
        asyncio.run(Measured(int(sys.argv[1]), Path(sys.argv[2])).measure())
    else:
        bench()
        bench_start()
