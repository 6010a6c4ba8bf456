"""The bench under test: an app on a screen of any size, with a clock that only the test moves.

What stands on the screen is read as text, so that a test says what a person would read there.
"""

from __future__ import annotations

from collections.abc import AsyncIterator, Callable
from contextlib import asynccontextmanager
from pathlib import Path
from unittest.mock import patch

from textual import events
from textual.geometry import Size
from textual.keys import _character_to_key, key_to_character
from textual.pilot import Pilot
from textual.widgets import Input

from rungs.bench.app import CHECK_MS, BenchApp
from rungs.bench.keys import KEYS, Key
from rungs.bench.pages.words import Line
from rungs.bench.session.session import Session
from rungs.bench.widgets.ladder import Ladder
from rungs.bench.widgets.lines import Lines
from rungs.bench.work import Work, open_work, work_of
from tests.bench.panels import SHED, START, Hands


def plain(line: Line) -> str:
    """A line without its tones."""
    return "".join(text for text, _ in line)


class Bench:
    """An app under test: its session, its clock, and what stands on its screen."""

    def __init__(self, app: BenchApp, pilot: Pilot[None], hands: Hands) -> None:
        self.app = app
        self.pilot = pilot
        self.hands = hands

    @property
    def session(self) -> Session:
        """The session on the bench."""
        return self.app.session

    @property
    def ladder(self) -> Ladder:
        """The ladder."""
        return self.app.bench.ladder

    async def press(self, *keys: str) -> None:
        """Press keys, one after the other, without letting time pass."""
        driver = self.app._driver
        assert driver is not None
        for key in keys:
            # what a terminal sends, without the waits of the pilot for an idle machine
            name = _character_to_key(key) if len(key) == 1 else key
            event = events.Key(name, key if len(key) == 1 else key_to_character(key))
            event.set_sender(self.app)
            driver.send_message(event)
            await self.settle()
        await self.look()

    async def settle(self) -> None:
        """Let every message be dealt with, and those that it leads to."""
        for _ in range(3):
            if not self.app.is_running:
                return
            await self.pilot._wait_for_screen()
            for screen in self.app.screen_stack:  # what is below a dialog is seen as well
                screen._on_timer_update()

    async def type(self, text: str) -> None:
        """Type text, character by character."""
        names = {" ": "space", "\n": "enter"}
        await self.press(*(names.get(character, character) for character in text))

    async def fill_in(self, text: str) -> None:
        """Put text into the line of a question, in place of what stands there, and answer."""
        self.app.screen.query_one(Input).value = text
        await self.press("enter")

    async def paste(self, text: str) -> None:
        """What a terminal sends for a paste, in brackets."""
        driver = self.app._driver
        assert driver is not None
        event = events.Paste(text)
        event.set_sender(self.app)
        driver.send_message(event)
        await self.look()

    async def wait(self, ms: int) -> None:
        """Let real time pass."""
        self.hands.wait(ms)
        await self.look()

    async def check(self) -> None:
        """Let the check of typed text fall due."""
        await self.wait(CHECK_MS + 1)

    async def look(self) -> None:
        """Let the screen follow."""
        self.app.frame()
        await self.settle()

    async def resize(self, width: int, height: int) -> None:
        """Give the terminal another size."""
        driver = self.app._driver
        assert driver is not None
        size = Size(width, height)
        driver._size = (width, height)
        driver.send_message(events.Resize(size, size))
        for _ in range(3):
            # sharing out, laying out, and who has the keyboard then follow one after the other
            await self.settle()
        await self.look()

    async def click(self, pane: str, x: int, y: int) -> None:
        """Click into a pane."""
        await self.pilot.click(pane, offset=(x, y))
        await self.look()

    async def click_on(self, pane: str, words: str) -> None:
        """Click on the first letter of words that can be seen in a pane of the bench."""
        region = self.app.bench.query_one(pane).region
        for y, row in enumerate(self.text.split("\n")):
            x = row.find(words, region.x, region.right)
            if region.y <= y < region.bottom and x >= 0:
                await self.pilot.click(offset=(x, y))
                await self.look()
                return
        raise AssertionError(f"{words!r} cannot be seen in {pane}")

    async def to(self, pane: str) -> None:
        """Walk by tab to a pane of an id."""
        for _ in range(6):
            focused = self.app.bench.focused
            if focused is not None and focused.id == pane:
                return
            await self.press("tab")
        raise AssertionError(f"tab does not lead to {pane}")

    @property
    def text(self) -> str:
        """What stands on the screen."""
        strips = self.app.screen._compositor.render_strips()
        return "\n".join(strip.text.rstrip() for strip in strips)

    def past(self) -> bool:
        """Whether a moment of the past is shown."""
        return self.session.status().past

    @property
    def focused(self) -> str:
        """The id of the pane with the keyboard, empty if none has it."""
        pane = self.app.bench.focused
        return "" if pane is None else str(pane.id)

    @property
    def says(self) -> str:
        """The sentence above the keys."""
        return self.app.current_message()

    def lines(self, pane: str) -> str:
        """What a pane was given to show, its hidden lines as well."""
        held = self.app.screen.query_one(pane, Lines)._lines
        return "\n".join(plain(line).rstrip() for line in held)

    def bench_lines(self, pane: str) -> str:
        """The same of a pane of the bench, also below a dialog."""
        held = self.app.bench.query_one(pane, Lines)._lines
        return "\n".join(plain(line).rstrip() for line in held)

    def tones(self, pane: str) -> set[str]:
        """The tones that a pane shows."""
        held = self.app.bench.query_one(pane, Lines)._lines
        return {tone for line in held for text, tone in line if text.strip()}

    def toned(self, pane: str, words: str) -> str:
        """The tone of the first piece of a pane in which words stand."""
        held = self.app.bench.query_one(pane, Lines)._lines
        return next(tone for line in held for text, tone in line if words in text)

    @property
    def dialogs(self) -> int:
        """How many dialogs and pages are open."""
        return len(self.app.screen_stack) - 1

    def on(self) -> set[str]:
        """The devices that are on at the moment that is shown."""
        return {name for name, contact in self.session.standing.state.contacts.items() if contact}


def _work(text: str, path: Path | None) -> Work:
    if path is None:
        return work_of(text)
    path.write_text(text, encoding="utf-8")
    work = open_work(path)
    assert isinstance(work, Work), work
    return work


@asynccontextmanager
async def bench(
    text: str = SHED,
    size: tuple[int, int] = (80, 24),
    ascii_only: bool = False,
    path: Path | None = None,
    keys: tuple[Key, ...] = KEYS,
    change: Callable[[BenchApp], object] = lambda app: None,
) -> AsyncIterator[Bench]:
    """A bench for a panel text; with `path` it is a file there. `change` sees the app first."""
    hands = Hands()
    work = _work(text, path)
    assert work.program is not None, work.checked.findings
    app = BenchApp(Session(work.program, START), work, ascii_only, hands, keys)
    change(app)
    # frames come by hand, so that none comes between two steps of a test
    with patch("rungs.bench.app.FRAMES", 0.05):
        async with app.run_test(size=size) as pilot:
            app.animation_level = "none"
            made = Bench(app, pilot, hands)
            await pilot.pause()
            await made.look()
            yield made
