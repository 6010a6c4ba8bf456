"""The panes of the bench, and how they share the terminal.

Current runs from the switches on the left through the rungs to the relays on the right, and time
along the bottom. Where there is little room the lists shrink to names and states, and the ladder
keeps the width.
"""

from __future__ import annotations

from dataclasses import dataclass

from textual import events
from textual.app import ComposeResult
from textual.containers import Container, Horizontal, Vertical
from textual.message import Message
from textual.screen import Screen
from textual.widgets import Static

from rungs.bench.keys import KEYS, Key, Pane
from rungs.bench.pages.words import Signs
from rungs.bench.widgets.ladder import Ladder
from rungs.bench.widgets.lines import Lines
from rungs.bench.widgets.pane import Chart, Devices, Switches
from rungs.bench.widgets.text import TextPane

LEAST = (60, 16)  # columns and lines
STACKED = 78  # columns below which the lists share one pane
SIDE_BY_SIDE = 120  # columns from which text and ladder stand beside each other
NARROW_TEXT = 100  # columns below which the lists make room for the text


@dataclass(frozen=True, slots=True)
class Shares:
    """Columns of the lists and lines of the chart; 0 is not shown.

    `stacked`: both lists share the left pane. `above`: the text stands above the ladder.
    """

    left: int
    right: int
    text: int
    chart: int
    stacked: bool
    above: bool


def shares(width: int, height: int, text: bool, chart: int, traces: int) -> Shares:
    """How a screen is shared out; `chart` is its size from 0 to 3, for so many `traces`."""
    stacked = width < STACKED
    extra = max(0, width - 80) // 4
    left = 19 if stacked else min(18 + extra, 34)
    right = 0 if stacked else min(19 + extra, 38)
    above = width < SIDE_BY_SIDE
    columns = 0
    if text and above and width < NARROW_TEXT:
        left = right = 0
    elif text and above:
        right = 0
    elif text:
        left, right = min(left, 22), min(right, 24)
        columns = (width - left - right) // 2
    lines = (0, 4 if height < 36 else 7, max(8, height // 5), max(9, height // 3))[chart]
    if text and above and height < 34:
        lines = 0
    # no more than it has to show, and never at the cost of the rungs
    lines = min(lines, traces + 2, max(0, height - 14)) if traces else 0
    return Shares(left, right, columns, lines if lines >= 2 else 0, stacked, above)


class BenchScreen(Screen[None], inherit_bindings=False):
    """The panes. The screen library's own keys are left out."""

    DEFAULT_CSS = """
    BenchScreen { background: $background; overflow: hidden; }
    BenchScreen #top { height: 1; background: $panel; }
    BenchScreen #middle { height: 1fr; }
    BenchScreen #left { width: 18; }
    BenchScreen #switches { height: 1fr; }
    BenchScreen #devices_below { height: 1fr; }
    BenchScreen #work { width: 1fr; height: 1fr; margin: 0 1; layout: horizontal; }
    BenchScreen #work.-above { layout: vertical; }
    BenchScreen #text { width: 1fr; height: 1fr; display: none; margin: 0 1 0 0; }
    BenchScreen #work.-above #text { margin: 0 0 0 0; }
    BenchScreen #split { display: none; height: 1; }
    BenchScreen #ladder { width: 1fr; height: 1fr; }
    BenchScreen #devices { width: 19; height: 1fr; }
    BenchScreen #chart { height: 4; }
    BenchScreen #detail { height: 1; }
    BenchScreen #bottom { height: 1; background: $panel; }
    BenchScreen #small { display: none; height: 1fr; }
    BenchScreen.-small > * { display: none; }
    BenchScreen.-small #small { display: block; }
    """

    class Resized(Message):
        """The terminal has another size."""

    def __init__(self, signs: Signs, text: str, keys: tuple[Key, ...] = KEYS) -> None:
        super().__init__()
        # kept by hand: a frame may come while the screen is being put up or taken down
        self.small = Static("", id="small", markup=False)
        self.top = Lines(id="top")
        self.left = Vertical(id="left")
        self.switches = Switches(id="switches")
        self.devices_below = Devices(id="devices_below")
        self.work = Container(id="work")
        self.text = TextPane(text, keys, id="text")
        self.split = Lines(id="split")
        self.ladder = Ladder(signs, id="ladder")
        self.devices = Devices(id="devices")
        self.chart = Chart(id="chart")
        self.detail = Lines(id="detail")
        self.bottom = Lines(id="bottom")
        self.shares = shares(80, 24, False, 1, 1)
        self._plain_bars = signs.ascii_only
        self._had_keyboard: Lines | TextPane = self.switches

    def compose(self) -> ComposeResult:
        """The panes from top to bottom."""
        yield self.small
        yield self.top
        with Horizontal(id="middle"):
            with self.left:
                yield self.switches
                yield self.devices_below
            with self.work:
                yield self.text
                yield self.split
                yield self.ladder
            yield self.devices
        yield self.chart
        yield self.detail
        yield self.bottom

    def on_mount(self) -> None:
        """The bars beside lists have no plain signs: without them they take no column."""
        self.query(Lines).set_class(self._plain_bars, "-plain-bars")
        if self._plain_bars:
            self.text.styles.scrollbar_size_vertical = 0
        if self.focused is None:
            # a key may have come before the screen
            self.set_focus(self.switches)

    def on_resize(self, event: events.Resize) -> None:
        """Let the app share out the columns."""
        self.post_message(self.Resized())

    def is_small(self) -> bool:
        """Whether there is too little room to show anything."""
        return self.size.width < LEAST[0] or self.size.height < LEAST[1]

    def share_out(self, text: bool, chart: int, traces: int) -> None:
        """Share out the screen."""
        width, height = self.size
        focused = self.focused
        if isinstance(focused, Lines | TextPane):
            self._had_keyboard = focused
        self.set_class(self.is_small(), "-small")
        if self.is_small():
            # given up here, for the screen library would hand it to a pane of its own choice
            self.set_focus(None)
            self.chart.display = False
            need = f"The bench needs {LEAST[0]} x {LEAST[1]}, this is {width} x {height}."
            self.small.update(need)
            return
        self.shares = shared = shares(width, height, text, chart, traces)
        self.left.display = shared.left > 0
        if shared.left:
            self.left.styles.width = shared.left
        stacked = shared.stacked and shared.left > 0
        self.devices.display = shared.right > 0
        if shared.right:
            self.devices.styles.width = shared.right
        self.devices_below.display = stacked
        self.text.display = text
        self.work.set_class(shared.above, "-above")
        self.split.display = text and shared.above
        if shared.text:
            self.text.styles.width = shared.text
        else:
            self.text.styles.width = "1fr"
        self.chart.display = shared.chart > 0
        if shared.chart:
            self.chart.styles.height = shared.chart
        # findings are long, and are read while the text is written
        self.detail.styles.height = 2 if text else 1
        self._keep_keyboard()
        # panes that come back can have it only after they are laid out
        self.call_after_refresh(self._keep_keyboard)

    def _keep_keyboard(self) -> None:
        """Leave the keyboard with the pane that had it, or with the ladder if that is hidden: keys
        that go nowhere would seem broken."""
        panes = self.panes()
        if self.is_small() or self.focused in panes:
            return
        had = self._had_keyboard
        if had is self.devices or had is self.devices_below:
            had = self.device_list
        self.set_focus(had if had in panes else self.ladder)

    @property
    def device_list(self) -> Devices:
        """The list of devices that is shown, or would be."""
        return self.devices_below if self.shares.stacked else self.devices

    def pane(self) -> Pane:
        """The pane that has the keyboard."""
        focused = self.focused
        if focused is self.text:
            return "text"
        if focused is self.ladder:
            return "rungs"
        if focused is self.chart:
            return "chart"
        if focused is self.devices or focused is self.devices_below:
            return "devices"
        return "switches"

    def panes(self) -> list[Lines | TextPane]:
        """The panes that can have the keyboard now, in the order of walking through them."""
        every: list[Lines | TextPane] = [
            self.switches,
            self.text,
            self.ladder,
            self.device_list,
            self.chart,
        ]
        shown = {
            self.switches: self.left.display,
            self.text: self.text.display,
            self.ladder: True,
            self.device_list: self.device_list.display,
            self.chart: self.chart.display,
        }
        return [pane for pane in every if shown[pane]]
