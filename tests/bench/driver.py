"""A person of no patience at the bench: random keys, clicks, sizes, edits and walks, by a seed.

`python -m tests.bench.driver FRAMES [SEED] [calm]` lets that many frames pass, twenty to a second
of the bench's own clock, and tells the memory at each tenth: a bench is left open for days, so it
must not grow. Leaving is the only thing the person cannot do; a calm one also never begins anew, so
that all of it is one run.
"""

from __future__ import annotations

import asyncio
import gc
import os
import resource
import sys
import tempfile
import time
from collections import Counter
from pathlib import Path
from random import Random

from textual.app import App
from textual.driver import Driver as Terminal
from textual.events import Key, MouseDown, MouseEvent, MouseUp, Resize
from textual.geometry import Size

from rungs.bench.app import BenchApp
from rungs.bench.keys import KEYS, works_in
from rungs.bench.screen import BenchScreen
from rungs.bench.session.session import Session
from rungs.bench.work import Work, open_work
from rungs.scan.recorder import Recorder, carry_out
from rungs.scan.runner import Panel
from tests.bench.panels import SHED, START, Hands

FRAME_MS = 50
TALKED = (
    '\nscenario "a press"\n    operate start\n    wait 1s\n    expect pump and warm.timing\n'
    "    release start\n    operate stop\n    expect not pump\n    release stop\n"
)
TEXT = SHED.lstrip() + TALKED
TYPED = (
    "rung start and not stop -> lamp\n",
    "relay more\n",
    "\n",
    "and not lamp",
    "rung (",
    ")",
    'rung "odd" lamp -> more\n',
    "timer slow on-delay 3s\n",
    "# a remark\n",
    "é",
    "not ",
    "-> ready",
)
WORDS = ("lamp", "start", "stop and not lamp", "10s", "22:46", "+1min", "more", "12", "")
SIZES = ((80, 24), (80, 24), (140, 45), (100, 30), (62, 17), (200, 60), (79, 40), (20, 5), (1, 1))
IN_TEXT = ("left", "right", "up", "down", "home", "end", "backspace", "delete", "enter", "pagedown")
CALM = ("switch", "wire", "time", "rung", "device", "chart", "view", "ask", "force", "edit")
IN_DIALOGS = ("enter", "enter", "escape", "escape", "down", "up", "space", "tab", "pagedown", "a")


class Driven(BenchApp):
    """A bench that cannot be left."""

    left_times = 0

    def leave(self, keep: bool) -> None:
        """Only count."""
        self.left_times += 1


def work_at(folder: Path, text: str = TEXT) -> Work:
    """A file in a folder, opened."""
    path = folder / "panel.rungs"
    path.write_text(text, encoding="utf-8")
    work = open_work(path)
    assert isinstance(work, Work)
    return work


class Driver:
    """Acts on one app by a seed; `done` counts what it did.

    What a terminal would send is sent by hand: the library's pilot waits after every key until the
    machine has nothing to do, which takes longer than all the rest.
    """

    def __init__(self, app: Driven, hands: Hands, seed: int, calm: bool = False) -> None:
        self.app = app
        self.calm = calm
        self.hands = hands
        self.chance = Random(seed)
        self.done: Counter[str] = Counter()

    async def frame(self) -> None:
        """A frame's time passes."""
        self.hands.wait(FRAME_MS)
        self.app.frame()
        await settle(3)

    async def act(self) -> None:
        """One thing at random."""
        chance = self.chance
        if not isinstance(self.app.screen, BenchScreen):
            await self._answer()
        elif chance.random() < 0.06:
            await self._click()
        elif chance.random() < 0.03:
            await self._resize()
        elif self.app.bench.pane() == "text" and chance.random() < 0.7:
            await self._write()
        else:
            await self._command()

    async def _press(self, *keys: str) -> None:
        for key in keys:
            terminal(self.app).send_message(Key(key, key if len(key) == 1 else None))
            await settle()

    async def _command(self) -> None:
        """A key of the table that works where the keyboard is; hands and time oftener."""
        pane = self.app.bench.pane()
        keys = [key for key in KEYS if works_in(key, pane)]
        liked = [key for key in keys if key.id.split(".")[0] in ("switch", "time", "rung")]
        if self.calm:
            keys = [key for key in keys if key.id.split(".")[0] in CALM]
        key = self.chance.choice(liked if liked and self.chance.random() < 0.4 else keys)
        self.done[key.id] += 1
        await self._press(self.chance.choice(key.keys.split(",")))

    async def _write(self) -> None:
        """Type, or move in the text."""
        if len(self.app.work.text) > 3 * len(TEXT):
            # back to a small file, in which most edits are read without errors again
            self.done["write anew"] += 1
            self.app.bench.text.text = TEXT
            await settle()
        elif self.chance.random() < 0.5:
            self.done["move"] += 1
            await self._press(self.chance.choice(IN_TEXT))
        else:
            self.done["write"] += 1
            self.app.bench.text.insert(self.chance.choice(TYPED))
            await settle()

    async def _answer(self) -> None:
        """Something to a dialog, a page or the list of commands."""
        name = type(self.app.screen).__name__
        self.done[name] += 1
        # a list of all commands is soon left
        few = name == "Find" and self.chance.random() < 0.5
        if few:
            await self._press("escape")
        elif self.chance.random() < 0.3:
            await self._press(self.chance.choice("abcdefiklnorstvwxz"))
        elif self.chance.random() < 0.1:
            await self._press(*self.chance.choice(WORDS))
        else:
            await self._press(self.chance.choice(IN_DIALOGS))

    async def _click(self) -> None:
        self.done["click"] += 1
        width, height = self.app.size
        x, y = self.chance.randrange(width), self.chance.randrange(height)
        for kind in (MouseDown, MouseUp):
            terminal(self.app).send_message(_mouse(kind, x, y))
        await settle()

    async def _resize(self) -> None:
        self.done["resize"] += 1
        size = Size(*self.chance.choice(SIZES))
        terminal(self.app)._size = size
        self.app.post_message(Resize(size, size))
        await settle()

    # --- what must hold

    def check(self) -> None:
        """Text and document are one, and the moment shown is what the record plays to."""
        app = self.app
        app.typed()
        assert app.bench.text.text == app.work.text, "the text pane and the document differ"
        assert app.rung_index >= 0
        session = app.session
        shown = session.standing
        fresh = replayed(session, self.chance)
        assert fresh.state == shown.state, (session.at, fresh.state, shown.state)
        assert fresh.before.contacts == shown.before.contacts
        assert fresh.operated == shown.operated
        assert fresh.wires == shown.wires
        assert fresh.forces == shown.forces
        assert fresh.powered == shown.powered


async def settle(turns: int = 30) -> None:
    """Let the messages that are under way arrive."""
    for _ in range(turns):
        await asyncio.sleep(0)


def terminal(app: App[None]) -> Terminal:
    """What stands for the terminal of an app under test."""
    assert app._driver is not None
    return app._driver


def _mouse(kind: type[MouseEvent], x: int, y: int) -> MouseEvent:
    return kind(None, x, y, 0, 0, 1, False, False, False, screen_x=x, screen_y=y)


def replayed(session: Session, chance: Random) -> Panel:
    """A panel of its own, played to the moment that is shown from one of the panels that are kept,
    with what hands did since; from the first, where that is not long ago."""
    recorder: Recorder = session.recorder
    t = session.at
    kept = [k for k in recorder._kept if k.panel.state.t <= t]
    # a panel kept before the hands of its own moment were over does not know of the rest
    kept = [k for k in kept if k.acts == 0 or recorder.acts[k.acts - 1].scan <= t]
    start = chance.choice(kept[:1] if recorder._work < 3_000 else kept[-3:])
    panel = Panel(session.panel.program, 0, session.period, True, session.panel.calendar)
    panel.restore(start.panel)
    for act in recorder.acts[start.acts :]:
        if act.scan > t and session.in_past:
            break
        panel.run(min(act.t, act.scan - 1, t))
        panel.pass_to(act.t)
        carry_out(panel, act)
    if panel.powered:
        panel.run(t)
    return panel


def memory() -> float:
    """What the process holds in memory now, MB; on systems that do not tell, the most it held."""
    try:
        pages = int(Path("/proc/self/statm").read_text(encoding="ascii").split()[1])
    except OSError:
        return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    return pages * resource.getpagesize() / 1e6


def sizes(app: BenchApp) -> str:
    """How much is kept where, for finding what grows."""
    session, document = app.session, app.work.document
    recorder = session.recorder
    flips = sum(len(flips) for flips in recorder._flips.values())
    return (
        f"acts {len(recorder.acts):,} kept {len(recorder._kept):,} near {len(recorder._near):,} "
        f"changes {len(recorder._changes):,} flips {flips:,} "
        f"history {len(session.panel.history._records):,} undo {len(document._undo):,} "
        f"objects {len(gc.get_objects()):,}"
    )


async def drive(frames: int, seed: int, folder: Path, calm: bool) -> None:
    """Let frames pass with an action every eighth, and tell the memory at each tenth."""
    hands = Hands()
    work = work_at(folder)
    assert work.program is not None
    app = Driven(Session(work.program, START), work, clock=hands)
    async with app.run_test(size=(80, 24)) as pilot:
        app.animation_level = "none"
        await pilot.pause()
        driver = Driver(app, hands, seed, calm)
        began = time.process_time()
        for frame in range(frames + 1):
            if frame % max(1, frames // 10) == 0:
                gc.collect()
                spent = time.process_time() - began
                print(
                    f"{frame:>8,} frames {memory():8.1f} MB {spent:8.0f} s CPU  {sizes(app)}",
                    flush=True,
                )
            await driver.frame()
            if frame % 8 == 0:
                await driver.act()
            if frame % 400 == 0:
                driver.check()
        print(f"actions: {sum(driver.done.values()):,}; {driver.done.most_common(12)}")


if __name__ == "__main__":
    with tempfile.TemporaryDirectory() as name:
        os.environ["RUNGS_STATE"] = str(Path(name) / "state")
        # files that are asked for by name land there
        os.chdir(name)
        asyncio.run(
            drive(
                int(sys.argv[1]) if len(sys.argv) > 1 else 7_200,
                int(sys.argv[2]) if len(sys.argv) > 2 else 1,
                Path(name),
                "calm" in sys.argv,
            )
        )
