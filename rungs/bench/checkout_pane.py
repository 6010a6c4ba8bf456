"""The pane in which a checkout is walked: the step, what to see, the answers, and where to look.

It stands at the foot of the bench as every question does, always at the same height, so that the
eye finds the next step where the last one was. Every answer is on disk before the next is shown.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from time import monotonic
from typing import TYPE_CHECKING

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical

from rungs.bench.dialogs import Choice, Dialog, Menu, Prompt, Tick
from rungs.bench.pages.words import Line, Piece, Signs
from rungs.bench.widgets.lines import Lines
from rungs.cells import fold, safe
from rungs.checkout.merged import stale_words
from rungs.checkout.pointer import Pointer, pointer
from rungs.checkout.record import (
    LONGEST_NAME,
    LONGEST_NOTE,
    AsFound,
    Record,
    Result,
    new_record,
    now_text,
    words_of,
)
from rungs.checkout.record_file import RecordError, RecordFile
from rungs.checkout.walk import PARTS, Kind, Summary, Walk, found_at, step_rows

if TYPE_CHECKING:
    from rungs.bench.controls.checking import Making

SHARE = 0.9  # of the lines of the terminal are the pane's at most, its frame of two with them
MOST = 14
BAR = 20
POLL = 0.1  # seconds between two looks whether the plan is made
Shown = tuple[str, str, str]  # what stands first, text that is folded behind it, and its tone

TONES: dict[Kind, str] = {
    "caution": "stop",
    "do": "plain",
    "see": "title",
    "same": "quiet",
    "note": "plain",
    "was": "quiet",
}
KEYS = (
    ("p", "pass"),
    ("f", "fail"),
    ("n", "note"),
    ("s", "skip"),
    ("b", "back"),
    ("o", "on"),
    ("t", "to a step"),
    ("g", "to its rung"),
    ("w", "name"),
    ("q", "quit"),
)
KEYS_FAILED = (("enter", "next step"), *KEYS)
KEYS_OVER = (("b", "back to the steps"), ("w", "name"), ("q", "quit"))
KEYS_WAITING = (("esc", "leaves: the plan is made all the same"),)
KEYS_NONE = (("q", "quit"),)
MORE = ("space", "more")


class CheckoutPane(Dialog[int], inherit_bindings=False):
    """Answers with the number of a rung that is to be shown, or nothing. `at` is the number of the
    step to begin with; 0 is the first that was not answered."""

    DEFAULT_CSS = """
    CheckoutPane > Vertical { max-width: 100; max-height: 100%; }
    """
    BINDINGS = [  # noqa: RUF012 - the screen library declares it so
        Binding("escape,q,ctrl+c", "leave", "leave"),
        Binding("p", "answer('pass')", "pass"),
        Binding("s", "answer('skipped')", "skip"),
        Binding("f", "fail", "fail"),
        Binding("n", "note", "note"),
        Binding("b,left", "move(-1)", "back"),
        Binding("o,right", "move(1)", "on"),
        Binding("enter", "next", "next step"),
        Binding("t", "to_step", "to a step"),
        Binding("g", "rung", "go to rung"),
        Binding("w", "name", "name"),
        Binding("down", "scroll(1)", "down"),
        Binding("up", "scroll(-1)", "up"),
        Binding("pagedown,space", "page(1)", "on"),
        Binding("pageup", "page(-1)", "back"),
    ]

    def __init__(
        self,
        making: Making,
        book: RecordFile,
        record: Record | None,
        file: str,
        signs: Signs,
        at: int = 0,
        now: Callable[[], str] = now_text,
    ) -> None:
        super().__init__("Checkout", signs)
        self.making = making
        self.book = book
        self.walk: Walk | None = None
        self.unsaved = ""
        self._record = record
        self._file = file
        self._at = at
        self._now = now
        self._who: str | None = record.who if record is not None and record.who else None
        self._over = False  # nothing is left, and the summary is shown

    def compose(self) -> ComposeResult:
        """The title and how far it is, the step, and the keys."""
        with Vertical():
            yield Lines(id="head")
            body = Lines(id="body")
            body.set_class(self.signs.ascii_only, "-plain-bars")
            yield body
            yield Lines(id="foot")

    @property
    def room(self) -> int:
        """The columns for text."""
        return max(20, min(100, self.app.size.width) - 5)

    def on_mount(self) -> None:
        """Show the first step, or wait for the plan."""
        super().on_mount()
        self._timer = self.set_interval(POLL, self.poll)
        self.poll()

    def on_resize(self, event: events.Resize) -> None:
        """Fold the words to the width."""
        self.show_step()

    def poll(self) -> None:
        """Begin when the plan is made."""
        if self.walk is not None or self.making.wrong:
            self._timer.stop()
            self.show_step(top=False)
            return
        plan = self.making.plan
        if plan is not None:
            record = self._record or new_record(plan, self._file, self._now())
            self.walk = Walk(plan, record)
            went = self.walk.go_to(self._at)
            self._over = self.walk.over and not went
        self.show_step()

    # --- what is shown

    def show_step(self, top: bool = True) -> None:
        """Show the step with all that belongs to it, from its first line."""
        if not self.is_mounted:
            return
        width = self.room
        head = self.show_head(list(self._state(width)))
        lines = [
            ((part, tone),)
            for lead, text, tone in self._body()
            for part in _folded(lead, safe(text, self.signs.ascii_only), width)
        ]
        foot = _keys_lines(self._keys(), width)
        room = int(self.app.size.height * SHARE) - 2 - head - len(foot)
        if len(lines) > min(MOST, room):
            foot = _keys_lines((*self._keys(), MORE), width)
            room = int(self.app.size.height * SHARE) - 2 - head - len(foot)
        room = max(3, min(MOST, room))
        for name, shown in (("#body", lines), ("#foot", foot)):
            pane = self.query_one(name, Lines)
            pane.styles.max_height = pane.styles.height = room if name == "#body" else len(foot)
            pane.show(shown)
        if top:
            self.query_one("#body", Lines).scroll_to(y=0, animate=False)

    def head(self, width: int) -> list[Line]:
        """What is checked out."""
        title = self.making.program.title or self._file
        text = fold(safe(f"Checkout: {title}", self.signs.ascii_only), width)
        return [((text[0], "title"),)]

    def _state(self, width: int) -> Iterator[Line]:
        """How far it is, and what is wrong with the record."""
        if self.walk is None:
            return
        summary = self.walk.summary()
        words = tuple(_results(summary))
        length = max(4, min(BAR, width - sum(len(text) for text, _ in words)))
        full = length * summary.done // max(1, summary.count)
        bar = self.signs.full * full + self.signs.empty * (length - full)
        yield ((bar, "live"), *words)
        if self.unsaved:
            for part in fold(safe(f"NOT SAVED: {self.unsaved}", self.signs.ascii_only), width):
                yield ((part, "wrong"),)

    def _keys(self) -> tuple[tuple[str, str], ...]:
        if self.walk is None:
            return KEYS_NONE if self.making.wrong else KEYS_WAITING
        if not self.walk.count:
            return KEYS_NONE
        if self._over:
            return KEYS_OVER
        return KEYS_FAILED if self.walk.state.result == "fail" else KEYS

    def _body(self) -> Iterator[Shown]:
        walk = self.walk
        if walk is None:
            yield from self._waiting()
        elif not walk.count:
            yield "", "The plan has no steps.", "stop"
            for line in walk.plan.left_out:
                yield "", line, "plain"
        elif self._over:
            yield "", "Nothing is left to be asked.", "title"
            for line in walk.summary().lines():
                yield "  ", line, "plain"
            yield "  ", f"record: {self.book.path.name}", "quiet"
            yield from self._stale(walk)
        else:
            yield from self._step(walk)
            yield from self._stale(walk)

    def _waiting(self) -> Iterator[Shown]:
        if self.making.wrong:
            yield "", self.making.wrong, "wrong"
        else:
            seconds = int(monotonic() - self.making.began)
            yield "", "making the plan ..." + (f" {seconds} s" if seconds else ""), "stop"

    def _stale(self, walk: Walk) -> Iterator[Shown]:
        for line in stale_words(walk.merged.stale):
            yield "! ", line, "quiet"

    def _step(self, walk: Walk) -> Iterator[Shown]:
        yield "", f"step {walk.state.number} of {walk.count}, {PARTS[walk.step.part]}", "title"
        rows = tuple(step_rows(walk, 5))
        for row in rows:
            if row.kind != "was":
                yield f"{row.lead:5}", row.text, TONES[row.kind]
        if walk.state.result == "fail":
            yield "", "FAILED. Where to look:", "wrong"
            for line in self._pointer().lines():
                yield "  -> ", line, "plain"
        for row in rows:
            if row.kind == "was":
                yield f"{row.lead:5}", row.text, TONES[row.kind]

    def _pointer(self) -> Pointer:
        """Where to look, by what was seen when the step failed last."""
        assert self.walk is not None
        failed = [e for e in self.walk.state.entries if e.result == "fail"]
        return pointer(self.walk.step, self.making.program, failed[-1].as_found if failed else ())

    # --- answers

    @property
    def _walking(self) -> bool:
        """Whether a step is shown that can be answered."""
        return self.walk is not None and self.walk.count > 0 and not self._over

    def action_answer(self, result: Result) -> None:
        """Answer the step, and go on."""
        if self._walking:
            self._named(lambda: self._answered(result))

    def action_fail(self) -> None:
        """Ask what was otherwise, and for a note; the step stays, with where to look."""
        if self._walking:
            self._named(self._ask_found)

    def action_note(self) -> None:
        """Write a remark to the step."""
        if self._walking:
            self._named(lambda: self._ask_note("Note", lambda note: self._noted(note)))

    def _noted(self, note: str) -> None:
        if note:
            self._answered("note", note)

    def _ask_found(self) -> None:
        assert self.walk is not None
        step = self.walk.step
        items: list[tuple[str, str]] = []
        for sight in step.sights:
            for part, value in (("relay", sight.coil), ("load", sight.load)):
                if value is not None:
                    seen, wanted = ("off", "on") if value else ("on", "off")
                    words = f"{sight.terminal} {sight.output}: {part} {seen}, not {wanted}"
                    items.append((f"{part} {sight.output}", words))

        def ticked(values: tuple[str, ...] | None) -> None:
            if values is None:
                return
            chosen = set(values)
            found = tuple(
                found_at(s, f"relay {s.output}" in chosen, f"load {s.output}" in chosen)
                for s in step.sights
                if {f"relay {s.output}", f"load {s.output}"} & chosen
            )
            self._ask_note(
                "It fails. A note, if there is something to say",
                lambda note: self._answered("fail", note, found),
            )

        if not items:
            ticked(())
            return
        title = "It fails. What was seen that should not be? Tick nothing if it is something else."
        self.app.push_screen(Tick(title, items, (), self.signs), ticked)

    def _ask_note(self, title: str, then: Callable[[str], object]) -> None:
        def check(text: str) -> str | None:
            long = len(text) > LONGEST_NOTE
            return f"at most {LONGEST_NOTE:,} characters can be kept" if long else None

        def filled(text: str | None) -> None:
            if text is not None:
                then(words_of(text))

        self.app.push_screen(Prompt(title, self.signs, check=check), filled)

    def _named(self, then: Callable[[], object]) -> None:
        """Ask for a name before the first answer; the record remembers it."""
        if self._who is not None:
            then()
            return
        self._ask_name(then)

    def _ask_name(self, then: Callable[[], object]) -> None:
        def filled(text: str | None) -> None:
            if text is not None:
                self._who = words_of(text, LONGEST_NAME)
                then()

        title = "Your name, for the record; empty for none"
        self.app.push_screen(Prompt(title, self.signs, self._who or ""), filled)

    def action_to_step(self) -> None:
        """Go to a step by its number."""
        walk = self.walk
        if walk is None:
            return

        def check(text: str) -> str | None:
            fine = text.isascii() and text.isdigit() and 1 <= int(text[:9]) <= walk.count
            return None if fine else f"a step is a number from 1 to {walk.count}"

        def filled(text: str | None) -> None:
            if text:
                walk.go_to(int(text[:9]))
                self.show_step()

        title = f"Which step? 1 to {walk.count}"
        self.app.push_screen(Prompt(title, self.signs, check=check), filled)

    def action_name(self) -> None:
        """Somebody else goes on."""
        if self.walk is not None:
            self._ask_name(self.show_step)

    def _answered(self, result: Result, note: str = "", found: tuple[AsFound, ...] = ()) -> None:
        walk = self.walk
        assert walk is not None
        walk.answer(result, self._who or "", self._now(), note, found)
        self._save()
        if result in ("pass", "skipped"):
            self._over = not walk.next_undone()
        self.show_step()

    def _save(self) -> None:
        assert self.walk is not None
        try:
            self.walk.take(self.book.save(self.walk.record))
        except RecordError as error:
            self.unsaved = f"{error}; it is tried again with the next answer"
        else:
            self.unsaved = ""

    # --- moving

    def action_move(self, step: int) -> None:
        """Show the step before or behind, whatever was answered to it."""
        walk = self.walk
        if walk is None or not walk.count:
            return
        if self._over:
            self._over = False
        elif step < 0:
            walk.back()
        else:
            walk.on()
        self.show_step()

    def action_next(self) -> None:
        """Go on from a step that has an answer to the next one that has none; no step is passed by
        without a word."""
        if self._walking and self.walk is not None and self.walk.state.result is not None:
            self._over = not self.walk.next_undone() and self.walk.over
            self.show_step()

    def action_rung(self) -> None:
        """Show a rung that decides what is seen; several are asked for."""
        if not self._walking:
            return
        rungs = self._pointer().rungs
        if len(rungs) == 1:
            self._leave(rungs[0].number)
        elif rungs:
            letters = "abcdefhijklmnoprstuvwxyz"
            choices = [
                Choice(
                    letters[n] if n < len(letters) else "", f"rung {r.number} {r.label}", r.number
                )
                for n, r in enumerate(rungs)
            ]

            def chosen(number: int | None) -> None:
                if number is not None:
                    self._leave(number)

            self.app.push_screen(Menu("Show which rung?", choices, self.signs), chosen)

    def action_scroll(self, step: int) -> None:
        """Move the step by a line."""
        self.query_one("#body", Lines).scroll_relative(y=step, animate=False)

    def action_page(self, step: int) -> None:
        """Move the step by a pane."""
        pane = self.query_one("#body", Lines)
        pane.scroll_relative(y=step * max(1, pane.size.height - 1), animate=False)

    def action_leave(self) -> None:
        """Leave; every answer is on disk, or somebody has decided to lose it."""
        self._leave(None)

    def _leave(self, rung: int | None) -> None:
        if self.unsaved:
            self._save()
        if not self.unsaved:
            self.dismiss(rung)
            return
        self.show_step(top=False)
        choices = [
            Choice("t", "back to the checkout, to try again", False),
            Choice("x", "leave, and lose the answers that are not on disk", True),
        ]

        def answered(lose: bool | None) -> None:
            if lose:
                self.dismiss(rung)

        title = f"The last answers are not on disk. {self.unsaved}"
        self.app.push_screen(Menu(title, choices, self.signs), answered)


def _keys_lines(keys: Sequence[tuple[str, str]], width: int) -> list[Line]:
    """Keys and their words, in as many lines as they need."""
    lines: list[list[Piece]] = [[]]
    left = width
    for key, word in keys:
        left -= len(key) + len(word) + 3
        if left < -2 and lines[-1]:
            lines.append([])
            left = width - len(key) - len(word) - 3
        lines[-1] += [(key, "title"), (f" {word}  ", "quiet")]
    return [tuple(line) for line in lines]


def _results(summary: Summary) -> Iterator[Piece]:
    yield f" {summary.done} of {summary.count} done", "plain"
    yield f", {len(summary.passed)} passed", "plain"
    if summary.failed:
        yield f", {len(summary.failed)} FAILED", "wrong"
    if summary.skipped:
        yield f", {len(summary.skipped)} skipped", "stop"


def _folded(lead: str, text: str, width: int) -> Iterator[str]:
    """Text in lines of the width, one below the other behind what stands first."""
    for line in fold(text, max(20, width - len(lead))):
        yield lead + line
        lead = " " * len(lead)
