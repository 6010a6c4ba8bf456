"""The bench on a terminal: panes around a session, the keys, and the passing of real time.

The app owns no state of the panel. It lets the session's time follow the machine's and, at most
twenty times a second, gives every pane what the session shows; the panes paint what differs.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable

from textual import events, on
from textual.app import App, ComposeResult, SystemCommand
from textual.binding import Binding
from textual.containers import Horizontal, Vertical
from textual.screen import Screen
from textual.widgets import Static

from rungs.bench.help_screen import HelpScreen
from rungs.bench.keys import KEYS, NOT_COMMANDS
from rungs.bench.pages import (
    ASCII_SIGNS,
    SIGNS,
    Devices,
    Signs,
    day_text,
    device_lines,
    fit,
    footer_hits,
    footer_line,
    passed_text,
    status_line,
    switch_at,
    switch_detail,
    switch_lines,
    switch_rows,
    time_text,
)
from rungs.bench.session.session import Session
from rungs.bench.views import Walk
from rungs.bench.widgets.ladder import Ladder
from rungs.bench.widgets.lines import Lines
from rungs.draw.crossref import cross_reference
from rungs.program.nodes import Input
from rungs.scan.runner import WireFault

FRAMES = 20  # a second, at most
LEAST = (60, 16)  # columns and lines
GAP_MS = 2_000  # real time that passed unseen: the machine slept
GLOW_MS = 600
MESSAGE_MS = 6_000

STACKED = 78  # columns below which the lists share one pane


def real_clock() -> int:
    """A clock in ns that nobody sets and that also runs while the machine sleeps, where there is
    one: Python's monotonic clock stands still in a suspended Linux machine."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic_ns() if boot is None else time.clock_gettime_ns(boot)


def pane_widths(width: int) -> tuple[int, int]:
    """Columns of the left and the right pane; the ladder has the rest. Right 0: lists stacked."""
    if width < STACKED:
        return 19, 0
    extra = max(0, width - 80) // 4
    return min(18 + extra, 34), min(19 + extra, 38)


class BenchScreen(Screen[None], inherit_bindings=False):
    """The panes. The screen library's own keys are left out: its Tab would walk between widgets."""

    DEFAULT_CSS = """
    BenchScreen { background: $background; overflow: hidden; }
    BenchScreen #top { height: 1; background: $panel; }
    BenchScreen #middle { height: 1fr; }
    BenchScreen #left { width: 18; }
    BenchScreen #switches { height: 1fr; }
    BenchScreen #devices_below { height: 1fr; }
    BenchScreen #ladder { width: 1fr; height: 1fr; margin: 0 1; }
    BenchScreen #devices { width: 19; height: 1fr; }
    BenchScreen #detail { height: 1; }
    BenchScreen #bottom { height: 1; background: $panel; }
    BenchScreen #small { display: none; height: 1fr; }
    BenchScreen.-small > * { display: none; }
    BenchScreen.-small #small { display: block; }
    """

    def __init__(self, session: Session, signs: Signs) -> None:
        super().__init__()
        # kept by hand: a frame may come while the screen is being put up or taken down
        self.small = Static("", id="small", markup=False)
        self.top = Lines(id="top")
        self.left = Vertical(id="left")
        self.switches = Lines(id="switches")
        self.devices_below = Lines(id="devices_below")
        self.ladder = Ladder(session, signs, id="ladder")
        self.devices = Lines(id="devices")
        self.detail = Lines(id="detail")
        self.bottom = Lines(id="bottom")
        self._plain_bars = signs.ascii_only

    def compose(self) -> ComposeResult:
        """The panes from top to bottom."""
        yield self.small
        yield self.top
        with Horizontal(id="middle"):
            with self.left:
                yield self.switches
                yield self.devices_below
            yield self.ladder
            yield self.devices
        yield self.detail
        yield self.bottom

    def on_mount(self) -> None:
        """The bars beside lists have no plain signs: without them they take no column."""
        self.query(Lines).set_class(self._plain_bars, "-plain-bars")

    def on_resize(self, event: events.Resize) -> None:
        """Share out the columns."""
        app = self.app
        assert isinstance(app, BenchApp)
        app.arrange(event.size.width, event.size.height)


class BenchApp(App[None], inherit_bindings=False):
    """The bench for one session. `clock` gives real time in ns."""

    TITLE = "rungs"
    ALLOW_SELECT = False
    BINDINGS = [  # noqa: RUF012 - the screen library declares it so
        Binding(key.keys, key.action, key.text, tooltip=key.tooltip, id=key.id, show=bool(key.rank))
        for key in KEYS
    ]

    def __init__(
        self,
        session: Session,
        ascii_only: bool = False,
        clock: Callable[[], int] = real_clock,
    ) -> None:
        super().__init__()
        self.session = session
        self.signs = ASCII_SIGNS if ascii_only else SIGNS
        self.bench = BenchScreen(session, self.signs)
        self.chosen = 0
        self.message = ""
        self._message_ends: int | None = None  # ns; None: it stays until the next one
        self._clock = clock
        self._last = clock()
        self._names = [device.name for device in session.program.inputs]
        self._references = cross_reference(session.program)
        self._found: tuple[str, int] = ("", -1)
        self._stacked = False
        self._small = False

    def get_default_screen(self) -> Screen[None]:
        """The screen of the bench."""
        return self.bench

    def on_mount(self) -> None:
        """Let time begin."""
        self._last = self._clock()
        self.set_interval(1 / FRAMES, self.frame)

    def get_system_commands(self, screen: Screen[object]) -> Iterable[SystemCommand]:
        """Every key's command, and the choice of colours."""
        for key in KEYS:
            if key.id not in NOT_COMMANDS:
                title = f"{key.text} ({key.shown})"
                yield SystemCommand(title, key.tooltip, self._command(key.action))
        yield SystemCommand("theme", "choose other colours", self.action_change_theme)

    def _command(self, action: str) -> Callable[[], object]:
        def run() -> object:
            return self.call_later(self.run_action, action)

        return run

    # --- time and paint

    def frame(self) -> None:
        """Let the session's time follow the machine's, and paint."""
        ms = (self._clock() - self._last) // 1_000_000
        self._last += ms * 1_000_000
        if ms > GAP_MS and self.session.running:
            self.session.pause()
            self.say(f"{time_text(ms)} passed while the machine slept: paused; r runs on", True)
        else:
            self.session.tick(ms)
        self.paint()

    def paint(self) -> None:
        """Give every pane what the session shows."""
        screen = self.bench
        if self._small or not screen.is_mounted:
            return
        session, signs = self.session, self.signs
        glow = session.recent(GLOW_MS)
        status = session.status()
        width = screen.size.width

        screen.top.show([status_line(status, width, signs)])

        views, chosen = session.switches(), self.chosen_name
        screen.switches.fill(
            (views, chosen, glow), lambda size: switch_lines(views, chosen, glow, size, signs)
        )

        # coming moments are told to the minute
        minute = (status.wall[0], status.wall[1] // 60_000 * 60_000)
        shown = Devices(
            session.relays(), session.timers(), session.counters(), session.clocks(), minute
        )
        self._device_pane().fill((shown, glow), lambda size: device_lines(shown, glow, size, signs))

        screen.ladder.follow(glow)
        screen.detail.show([((self._detail(width), self._detail_tone()),)])

    def _device_pane(self) -> Lines:
        return self.bench.devices_below if self._stacked else self.bench.devices

    def _detail(self, width: int) -> str:
        if self._message_ends is not None and self._clock() > self._message_ends:
            self.message = ""
        text = self.message
        if not text and self.chosen_name is not None:
            text = switch_detail(self.session.switch(self.chosen_name))
        return " " + fit(text, width - 1, self.signs)

    def _detail_tone(self) -> str:
        return "plain" if self.message else "quiet"

    def say(self, text: str, keep: bool = False) -> None:
        """Show a sentence above the keys for a while, or until there is another."""
        self.message = text
        self._message_ends = None if keep else self._clock() + MESSAGE_MS * 1_000_000

    def arrange(self, width: int, height: int) -> None:
        """Share out a screen of `width` columns and `height` lines."""
        screen = self.bench
        self._small = width < LEAST[0] or height < LEAST[1]
        screen.set_class(self._small, "-small")
        if self._small:
            need = f"The bench needs {LEAST[0]} x {LEAST[1]}, this is {width} x {height}."
            screen.small.update(need)
            return
        left, right = pane_widths(width)
        self._stacked = right == 0
        screen.left.styles.width = left
        screen.devices.styles.width = right
        screen.devices.display = not self._stacked
        screen.devices_below.display = self._stacked
        screen.bottom.show([footer_line(width)])
        self.call_after_refresh(self.paint)

    # --- the chosen switch

    @property
    def chosen_name(self) -> str | None:
        """The switch that the keys act on; None in a panel without switches."""
        return self._names[self.chosen] if self._names else None

    def _chosen_switch(self) -> str | None:
        if self.chosen_name is None:
            self.say("this panel has no switches")
        return self.chosen_name

    def _choose(self, index: int) -> None:
        self.chosen = index
        self.say("")
        pane = self.bench.switches
        height = pane.outer_size.height
        rows = switch_rows(len(self._names), pane.size.width, height)
        top = 1 + index * rows
        if index == 0:
            pane.scroll_to(y=0, animate=False)
        elif top < pane.scroll_offset.y:
            pane.scroll_to(y=top, animate=False)
        elif top + rows > pane.scroll_offset.y + height:
            pane.scroll_to(y=top + rows - height, animate=False)

    def action_move(self, step: int) -> None:
        """Choose another switch; after the last comes the first."""
        if self._chosen_switch() is not None:
            self._choose((self.chosen + step) % len(self._names))

    def action_operate(self) -> None:
        """Do what a finger does."""
        name = self._chosen_switch()
        if name is not None:
            self.session.touch(name)
            self._acted()

    def action_hold(self) -> None:
        """Keep the switch operated, or let it go."""
        name = self._chosen_switch()
        if name is not None:
            self.session.hold(name)
            self._acted()

    def action_fault(self, fault: WireFault) -> None:
        """Break, short or mend the wire."""
        name = self._chosen_switch()
        if name is not None:
            self.session.fault(name, fault)
            self._acted()

    def _acted(self) -> None:
        """Say why nothing follows, where nothing can."""
        if not self.session.panel.powered:
            self.say("the panel has no power: p switches it on")
        elif not self.session.running:
            self.say("time stands still: r lets it run, o makes one scan")
        else:
            self.say("")

    def action_find(self) -> None:
        """Show the next rung that reads the switch."""
        name = self._chosen_switch()
        if name is None:
            return
        rungs = self._references[name].read_by
        if not rungs:
            self.say(f"no rung reads {name}")
            return
        turn = (self._found[1] + 1) % len(rungs) if self._found[0] == name else 0
        self._found = (name, turn)
        self.bench.ladder.go_to(rungs[turn])
        self.say(f"{name} is read by rung {', '.join(map(str, rungs))}: here {rungs[turn]}")

    # --- power and time

    def action_power(self) -> None:
        """Switch the supply."""
        self.session.switch_power(not self.session.panel.powered)
        if self.session.panel.powered:
            self.say("power on: the next scan is the first")
        else:
            self.say("power off: all that is not retained has dropped")

    def action_run_or_pause(self) -> None:
        """Let time run, or stop it."""
        if self.session.running:
            self.session.pause()
            self.say("paused")
        else:
            self.session.run()
            self.say("")

    def action_one_scan(self) -> None:
        """One scan."""
        walk = self.session.one_scan()
        self._tell(walk, "one scan")

    def action_next_change(self) -> None:
        """To the next change."""
        self._tell(self.session.to_next_change(), "next change")

    def action_next_event(self) -> None:
        """To the next timer or clock."""
        self._tell(self.session.to_next_event(), "next event")

    def _tell(self, walk: Walk, what: str) -> None:
        after = f"after {passed_text(walk.passed)}"
        match walk.reason:
            case "no power":
                self.say("the panel has no power: p switches it on")
            case "nothing":
                self.say("at rest: nothing will move of itself", True)
            case "unsettled":
                self.say(f"{what}: none {after}, and the panel does not come to rest", True)
            case _:
                moved = ", ".join(self._moved(name, contact) for name, contact in walk.changed)
                self.say(f"{what} {after}: {moved or 'nothing moved'}", True)

    def _moved(self, name: str, contact: bool) -> str:
        device = self.session.program.by_name[name]
        if isinstance(device, Input):
            return f"{name} {'closed' if contact else 'open'}"
        return f"{name} {'on' if contact else 'off'}"

    def action_faster(self) -> None:
        """The next speed."""
        self.session.faster()
        self.say(f"one second is {time_text(self.session.speed * 1000)}")

    def action_slower(self) -> None:
        """The speed before."""
        self.session.slower()
        self.say(f"one second is {time_text(self.session.speed * 1000)}")

    def action_again(self) -> None:
        """A new panel at the first moment."""
        self.session.restart()
        self.say(f"at the start again, {day_text(self.session.status().wall[0])}")

    # --- what is shown

    def action_page(self, step: int) -> None:
        """Turn the rungs by a pane."""
        ladder = self.bench.ladder
        ladder.scroll_relative(y=step * max(1, ladder.size.height - 2), animate=False)

    def action_shift(self, step: int) -> None:
        """Move along rungs that are wider than their pane."""
        ladder = self.bench.ladder
        ladder.scroll_relative(x=step * 10, animate=False)

    def action_first(self) -> None:
        """The first rung."""
        self.bench.ladder.scroll_home(animate=False)

    def action_last(self) -> None:
        """The last rung."""
        self.bench.ladder.scroll_end(animate=False)

    def action_list_on(self) -> None:
        """The rest of the devices; after the end comes the beginning."""
        pane = self._device_pane()
        if pane.max_scroll_y == 0:
            self.say("the whole list is on the screen")
        elif pane.scroll_offset.y >= pane.max_scroll_y:
            pane.scroll_home(animate=False)
        else:
            pane.scroll_relative(y=max(1, pane.size.height - 1), animate=False)

    def action_help(self) -> None:
        """The help."""
        self.push_screen(HelpScreen(self.signs))

    # --- mouse

    @on(Lines.Pressed, "#switches")
    def _switch_pressed(self, event: Lines.Pressed) -> None:
        pane = event.lines
        index = switch_at(event.line, len(self._names), pane.size.width, pane.outer_size.height)
        if index is not None:
            self._choose(index)
            self.action_operate()

    @on(Lines.Pressed, "#bottom")
    async def _word_pressed(self, event: Lines.Pressed) -> None:
        for start, end, action in footer_hits(self.size.width):
            if start <= event.column < end:
                await self.run_action(action)
