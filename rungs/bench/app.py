"""The bench on a terminal: panes around a session and a file, the keys, and passing real time.

The app owns no state of the panel and none of the file. It lets the session's time follow the
machine's and, at most twenty times a second, gives every pane what there is to see; the panes paint
what differs. What the keys do is with the controls.
"""

from __future__ import annotations

import time
from collections.abc import Callable

from textual import events, on
from textual.app import App
from textual.binding import Binding
from textual.screen import Screen
from textual.widgets import TextArea

from rungs.bench.controls.asking import Asking
from rungs.bench.controls.base import Command
from rungs.bench.controls.charting import Charting
from rungs.bench.controls.checking import Checking
from rungs.bench.controls.filing import Filing
from rungs.bench.controls.hands import Hands
from rungs.bench.controls.ladder import LadderControl
from rungs.bench.controls.scenarios import Scenarios
from rungs.bench.controls.viewing import Viewing
from rungs.bench.controls.walking import Walking
from rungs.bench.controls.writing import Writing
from rungs.bench.dialogs import Find, Page, paragraphs
from rungs.bench.help_text import help_lines
from rungs.bench.keys import KEYS, NOT_COMMANDS, PANES, Key, by_id
from rungs.bench.pages.status import footer_hits
from rungs.bench.pages.switches import switch_at
from rungs.bench.pages.words import ASCII_SIGNS, SIGNS, time_text
from rungs.bench.painting import Painting
from rungs.bench.screen import BenchScreen
from rungs.bench.session.session import Session
from rungs.bench.themes import THEMES
from rungs.bench.widgets.ladder import Ladder
from rungs.bench.widgets.lines import Lines
from rungs.bench.work import Work
from rungs.desk.document import stretch
from rungs.program.nodes import Program, leaves
from rungs.report.scenarios import violation_text
from rungs.scan.recorder import Recorder

FRAMES = 20  # a second, at most
GAP_MS = 2_000  # real time that passed unseen: the machine slept
MESSAGE_MS = 6_000
CHECK_MS = 60  # of rest after a key before the text is checked
WATCH_MS = 1_000  # between two looks at the file on disk


def real_clock() -> int:
    """A clock in ns that nobody sets and that also runs while the machine sleeps, where there is
    one: Python's monotonic clock stands still in a suspended Linux machine."""
    boot = getattr(time, "CLOCK_BOOTTIME", None)
    return time.monotonic_ns() if boot is None else time.clock_gettime_ns(boot)


class BenchApp(App[None], inherit_bindings=False):
    """The bench for one session and one file. `clock` gives real time in ns, `keymap` other keys
    by the ids of the table."""

    TITLE = "rungs"
    ALLOW_SELECT = False
    ENABLE_COMMAND_PALETTE = False  # the commands are a list of the bench's own
    BINDINGS = [  # noqa: RUF012 - the screen library declares it so
        Binding(
            key.keys,
            f"do('{key.id}')",
            key.text,
            tooltip=key.tooltip,
            id=key.id,
            # at once, so that no key overtakes another; `check_action` says when none of them
            priority=True,
        )
        for key in KEYS
        if key.where in ("panel", "always")
    ]

    def __init__(
        self,
        session: Session,
        work: Work,
        ascii_only: bool = False,
        clock: Callable[[], int] = real_clock,
        keys: tuple[Key, ...] = KEYS,
    ) -> None:
        super().__init__()
        self.session = session
        self.work = work
        self.keys = keys
        self.signs = ASCII_SIGNS if ascii_only else SIGNS
        self.left = False  # by the person, who was asked about unsaved work
        self.message = ""
        self._message_ends: int | None = None  # ns; None: it stays until the next one
        self._clock = clock
        self._last = clock()
        self._typed_at: int | None = None  # ns; a check is due
        self._broken = 0  # properties that were told to have broken
        self._watched_at = self._last
        # what the keys act on
        self.switch_index = 0
        self.device_index = 0
        self.rung_index = 0
        self.element = 0
        # how the screen is shared
        self.text_open = work.program is None or not work.text.strip()
        self.chart_size = 1
        self.kept_of: Recorder | None = None
        self.bench = BenchScreen(self.signs, work.text, keys)
        self.hands = Hands(self)
        self.writing = Writing(self)
        self.filing = Filing(self)
        self.charting = Charting(self)
        self.scenarios = Scenarios(self)
        self.viewing = Viewing(self)
        self.painting = Painting(self)
        controls = (
            self.hands,
            Walking(self),
            Asking(self),
            LadderControl(self),
            self.writing,
            self.filing,
            self.charting,
            self.scenarios,
            Checking(self),
            self.viewing,
        )
        self._pressed = ""  # the key that was pressed last
        self._own = {
            pane: {name for key in keys if key.where == pane for name in key.keys.split(",")}
            for pane in PANES
        }
        self.table: dict[str, Command] = {}
        for control in controls:
            self.table.update(control.commands())
        for theme in THEMES:
            self.register_theme(theme)
        # before anything is styled, so that nothing is styled twice
        self.theme = THEMES[0].name

    def get_default_screen(self) -> Screen[None]:
        """The screen of the bench."""
        return self.bench

    def on_mount(self) -> None:
        """Let time begin."""
        self.set_keymap({key.id: key.keys for key in self.keys})
        self._last = self._clock()
        self.set_interval(1 / FRAMES, self.frame)
        self.call_after_refresh(self._begin)

    def _begin(self) -> None:
        self.arrange()
        if self.text_open:
            self.bench.set_focus(self.bench.text)
        self.show_findings()
        self.filing.offer()

    # --- keys and commands

    async def on_event(self, event: events.Event) -> None:
        """Remember which key a binding is looked for."""
        if isinstance(event, events.Key):
            self._pressed = event.key
        await super().on_event(event)

    def check_action(self, action: str, parameters: tuple[object, ...]) -> bool | None:
        """Whether a key of the table may act: not under a dialog, and not while text is typed,
        where the text pane works all keys in their order."""
        if action != "do":
            return True
        pane = self.bench.pane()
        if not isinstance(self.screen, BenchScreen) or pane == "text":
            return False
        key = by_id(str(parameters[0]), self.keys)
        # a pane's own key wins over one that works everywhere
        return key.where == pane or self._pressed not in self._own[pane]

    def action_do_in_text(self, key_id: str) -> None:
        """Carry out the command of a key that was pressed in the text."""
        self.action_do(key_id)

    def action_do(self, key_id: str) -> None:
        """Carry out the command of a key."""
        if isinstance(self.screen, BenchScreen) and not self.bench.is_small():
            self.table[key_id]()

    def find_command(self) -> None:
        """Ask for a command by words, and carry it out."""
        items = [
            (key.id, f"{key.text} ({key.shown})", key.tooltip)
            for key in self.keys
            if key.id not in NOT_COMMANDS
        ]

        def answered(key_id: str | None) -> None:
            if key_id is not None:
                self.action_do(key_id)

        self.push_screen(Find("Find a command by a word", items, self.signs), answered)

    # --- time and paint

    def frame(self) -> None:
        """Let the session's time follow the machine's, and paint."""
        now = self._clock()
        ms = (now - self._last) // 1_000_000
        self._last += ms * 1_000_000
        if ms > GAP_MS and self.session.running:
            self.session.pause()
            self.say(f"{time_text(ms)} passed while the machine slept: paused; r runs on", True)
        # forces count real time, also that of a sleep
        self.session.tick(ms)
        self._tell_broken()
        if self.session.let_go:
            names, self.session.let_go = ", ".join(self.session.let_go), []
            self.say(f"{names}: the force has let go after ten minutes", True)
        if self._typed_at is not None and now - self._typed_at >= CHECK_MS * 1_000_000:
            self.check()
        if now - self._watched_at >= WATCH_MS * 1_000_000:
            self._watched_at = now
            self._look_round()
        self.paint()

    def _tell_broken(self) -> None:
        """Say which property broke, when one does."""
        broken = self.session.broken
        if len(broken) > self._broken:
            new = broken[self._broken]
            text = violation_text(self.session.program, new)
            self.say(f"{text}; N goes back to the change before", True)
        self._broken = len(broken)

    def _look_round(self) -> None:
        """What is looked at once a second."""
        self.work.flush()
        for trouble in self.work.troubles():
            self.say(f"{trouble.message}; {trouble.fix}", True)
        if isinstance(self.screen, BenchScreen):
            self.filing.watch()

    def paint(self) -> None:
        """Give every pane what there is to see."""
        if self.bench.is_mounted and not self.bench.is_small():
            self.painting.paint()

    def say(self, text: str, keep: bool = False) -> None:
        """Show a sentence above the keys for a while, or until there is another."""
        self.message = text
        self._message_ends = None if keep else self._clock() + MESSAGE_MS * 1_000_000

    def current_message(self) -> str:
        """The sentence, as long as it is shown."""
        if self._message_ends is not None and self._clock() > self._message_ends:
            self.message = ""
        return self.message

    def arrange(self) -> None:
        """Share out the screen."""
        if self.bench.is_mounted:
            self.bench.share_out(self.text_open, self.chart_size, len(self.charting.names))
            self.call_after_refresh(self.paint)

    @on(BenchScreen.Resized)
    def _resized(self) -> None:
        self.arrange()

    def next_chart_size(self) -> None:
        """A taller chart; after the tallest none."""
        self.chart_size = (self.chart_size + 1) % 4
        self.arrange()
        if self.chart_size and not self.bench.shares.chart:
            self.say("there is no room for the chart beside the text")

    # --- the program that is shown, and the one that runs

    @property
    def shown_program(self) -> Program:
        """The program of the text, or the last one that it had without errors."""
        return self.work.program if self.work.program is not None else self.session.program

    @property
    def pending(self) -> bool:
        """Whether the text holds a program that the panel does not run."""
        program = self.work.program
        return program is not None and program != self.session.program

    def only_scenarios_differ(self) -> bool:
        """Whether the text's program would run like that of the panel."""
        one, other = self.work.program, self.session.program
        return one is not None and (
            (one.devices, one.rungs, one.site, one.holidays, one.properties)
            == (other.devices, other.rungs, other.site, other.holidays, other.properties)
        )

    def run_changed(self) -> None:
        """The session has another panel, or another program."""
        count = len(self.session.program.inputs)
        self.switch_index = min(self.switch_index, max(0, count - 1))
        if self.scenarios.scribe is not None and self.kept_of is not self.session.recorder:
            self.scenarios.stop("the scenario was dropped: the panel began anew")
        self.arrange()

    # --- what is chosen

    @property
    def chosen_switch(self) -> str | None:
        """The switch that the keys act on; None in a panel without switches."""
        inputs = self.session.program.inputs
        return inputs[min(self.switch_index, len(inputs) - 1)].name if inputs else None

    @property
    def chosen_in_ladder(self) -> str | None:
        """The device of the chosen contact or coil."""
        rungs = self.shown_program.rungs
        if not 0 <= self.rung_index < len(rungs):
            return None
        rung = rungs[self.rung_index]
        contacts = leaves(rung.circuit)
        if self.element < len(contacts):
            return contacts[self.element].name or None
        index = self.element - len(contacts)
        return rung.actions[index].name if index < len(rung.actions) else None

    @property
    def subject(self) -> str | None:
        """The device that is chosen in the pane with the keyboard."""
        match self.bench.pane():
            case "rungs" | "text":
                return self.chosen_in_ladder
            case "devices":
                return self.viewing.chosen_device
            case "chart":
                return self.charting.chosen_name
            case _:
                return self.chosen_switch

    def choose_element(self, index: int, element: int) -> None:
        """Let the keys act on a contact or coil of a rung, and show it."""
        self.rung_index, self.element = index, element
        self.bench.ladder.go_to(index, element)

    def show_rung(self, index: int, name: str | None = None) -> None:
        """Show a rung of the running program, and choose it, or what it has of a device."""
        rung = self.session.program.rungs[index]
        place = self.painting.place_of(rung)
        if place is None:
            return
        element = 0
        if name is not None:
            contacts = leaves(rung.circuit)
            drives = [len(contacts) + n for n, a in enumerate(rung.actions) if a.name == name]
            reads = [n for n, leaf in enumerate(contacts) if leaf.name == name]
            element = next(iter(drives + reads), 0)
        self.choose_element(place, element)

    # --- the text

    def open_text(self) -> None:
        """Show the text beside the ladder, and go there."""
        self.text_open = True
        # first: a list that goes away with the keyboard takes it from whoever has it then
        self.bench.set_focus(self.bench.text)
        self.arrange()

    def close_text(self) -> None:
        """Give the room of the text back."""
        self.text_open = False
        self.bench.set_focus(self.bench.ladder)
        self.arrange()

    @on(TextArea.Changed, "#text")
    def _text_typed(self) -> None:
        self.typed()

    def typed(self) -> None:
        """The editor may hold another text than the document."""
        pane = self.bench.text
        if self.work.typed(pane.text, pane.caret):
            self._typed_at = self._clock()
            self.writing.typed()
            self.writing.hint()

    @on(TextArea.SelectionChanged, "#text")
    def _caret_moved(self) -> None:
        if self._typed_at is None:
            self.writing.caret_moved()

    def check(self) -> None:
        """Check what was typed."""
        self._typed_at = None
        self.work.recheck()
        self.show_findings()
        self.writing.caret_moved()
        if self.bench.pane() == "text":
            self.writing.hint_again()
        if self.pending and not self.session.program.rungs and self.work.program is not None:
            # a panel without a rung does nothing that could be lost
            self.session.take(self.work.program)
            self.session.restart()
            self.run_changed()

    def text_changed(self, caret: int | None) -> None:
        """The document was changed elsewhere than in the editor."""
        pane = self.bench.text
        edit = stretch(pane.text, self.work.text)
        if edit is not None:
            pane.change(edit.span, edit.text, caret)
        self.show_findings()

    def show_findings(self) -> None:
        """Mark the findings of the text."""
        self.bench.text.show_findings(self.work.checked.findings, self.work.checked.source)

    # --- scenarios under way

    def stopped_by_trial(self) -> bool:
        """Whether a scenario is being played, in which hands and time are its own; says so."""
        if self.scenarios.trial is None:
            return False
        self.say("a scenario is being played: v plays its next step, V all, esc ends it")
        return True

    def end_trial(self) -> None:
        """Leave a scenario that is being played."""
        self.scenarios.end()

    # --- leaving, and what it was

    def notes(self) -> tuple[str, ...]:
        """What a written file is told of how it came about."""
        found = [f"file {self.work.document.digest[:12]}"]
        if self.work.dirty:
            found.append("unsaved changes")
        if self.pending:
            found.append("the panel ran an older text")
        forces = self.session.forces()
        if forces:
            names = ", ".join(f"{name} {'on' if on else 'off'}" for name, on, _ in forces)
            found.append(f"{len(forces)} forced: {names}")
        found.append("a simulation: no switch, relay or load was read or moved")
        return tuple(found)

    def page(self, text: str) -> Page:
        """A page of text."""
        return Page(paragraphs(text, self.signs), self.signs)

    def help(self) -> None:
        """The help."""
        pane = self.bench.pane()
        self.push_screen(
            Page(lambda width: help_lines(width, self.signs, pane, self.keys), self.signs)
        )

    def leave(self, keep: bool) -> None:
        """End the bench; `keep` leaves the unsaved text for the next start."""
        self.work.close(keep)
        self.left = True
        self.exit()

    # --- mouse

    @on(Lines.Pressed, "#switches")
    def _switch_pressed(self, event: Lines.Pressed) -> None:
        pane = event.lines
        count = len(self.session.program.inputs)
        index = switch_at(event.line, count, pane.size.width, pane.outer_size.height)
        if index is not None:
            self.hands.choose_switch(index)
            self.hands.operate()

    @on(Ladder.Chosen)
    def _element_chosen(self, event: Ladder.Chosen) -> None:
        was_here = self.painting.pane == "rungs"
        again = was_here and (self.rung_index, self.element) == (event.index, event.element)
        self.choose_element(event.index, event.element or 0)
        if again:
            self.hands.operate_contact()

    @on(Lines.Pressed, "#devices")
    @on(Lines.Pressed, "#devices_below")
    def _device_pressed(self, event: Lines.Pressed) -> None:
        self.viewing.choose_line(event.line)

    @on(Lines.Pressed, "#chart")
    def _chart_pressed(self, event: Lines.Pressed) -> None:
        self.viewing.chart_pressed(event.line, event.column)

    @on(Lines.Pressed, "#bottom")
    def _word_pressed(self, event: Lines.Pressed) -> None:
        for start, end, key_id in footer_hits(self.size.width, self.bench.pane(), self.keys):
            if start <= event.column < end:
                self.action_do(key_id)

    def on_app_focus(self, event: events.AppFocus) -> None:
        """Somebody comes back to this terminal: others may have changed the file."""
        self._watched_at = 0
