"""Questions over the bench: a menu, a line to fill in, a list to tick, and a page to read.

All of them close with escape, which never does anything; time runs on below.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Generic, TypeVar

from textual import events, on
from textual.app import ComposeResult
from textual.binding import Binding
from textual.containers import Vertical
from textual.screen import ModalScreen
from textual.widgets import Input

from rungs.bench.pages.words import Line, Signs, fit
from rungs.bench.widgets.lines import Lines
from rungs.cells import columns, fold, safe

T = TypeVar("T")


@dataclass(frozen=True, slots=True)
class Choice(Generic[T]):
    """One way to answer: the letter that takes it, its words, and what it means."""

    letter: str
    text: str
    value: T


class Dialog(ModalScreen[T], Generic[T]):
    """What all dialogs share: a box at the foot of the bench, where the eyes and the ladder are
    left alone."""

    DEFAULT_CSS = """
    Dialog { align: center bottom; background: $background 0%; }
    Dialog > Vertical {
        width: 100%; max-width: 84; height: auto; max-height: 90%;
        background: $panel; padding: 0 1; margin: 0 0 1 0;
        border: round $foreground;
    }
    Dialog Lines { height: auto; max-height: 20; background: $panel; }
    Dialog Input { border: none; background: $surface; height: 1; padding: 0; }
    """

    def __init__(self, title: str, signs: Signs) -> None:
        super().__init__()
        self._title = title
        self.signs = signs

    def head(self, width: int) -> list[Line]:
        """The title, folded."""
        folded = fold(safe(self._title, self.signs.ascii_only), max(10, width))
        return [((part, "title"),) for part in folded]

    @property
    def room(self) -> int:
        """The columns for text."""
        return max(20, min(84, self.app.size.width) - 5)

    def on_mount(self) -> None:
        """Plain signs need a plain frame."""
        if self.signs.ascii_only:
            self.query_one(Vertical).styles.border = ("ascii", "white")

    def show_head(self, more: Sequence[Line] = ()) -> int:
        """Show the title, and more lines below it; how many there are."""
        head = [*self.head(self.room), *more]
        pane = self.query_one("#head", Lines)
        pane.styles.height = len(head)
        pane.show(head)
        return len(head)

    def action_close(self) -> None:
        """Answer nothing."""
        self.dismiss(None)


@dataclass(frozen=True, slots=True)
class Row:
    """One line of a list: what stands first (a letter, a box, a name), and the words behind it."""

    lead: str
    text: str
    tone: str = "plain"


class Listing(Dialog[T], Generic[T], inherit_bindings=False):
    """A list in which one line is chosen, with arrows or with the mouse."""

    AROUND = 5  # lines of the terminal that are not the list's: its frame, and the keys
    MOST = 1_000
    HINT = ""

    chosen = 0

    def compose(self) -> ComposeResult:
        """The title above the list."""
        with Vertical():
            yield Lines(id="head")
            pane = Lines(id="items")
            pane.set_class(self.signs.ascii_only, "-plain-bars")
            yield pane

    def on_mount(self) -> None:
        """Be whole in the first frame."""
        super().on_mount()
        self.show_rows()

    def on_resize(self, event: events.Resize) -> None:
        """Fold the words to the width."""
        self.show_rows()

    def rows(self) -> Sequence[Row]:
        """The lines of the list."""
        raise NotImplementedError

    def pressed(self, index: int) -> None:
        """A line was clicked."""
        raise NotImplementedError

    def show_rows(self) -> None:
        """Show the list, the chosen line in sight."""
        head = self.show_head([((self.HINT, "quiet"),)] if self.HINT else [])
        rows = self.rows()
        self.chosen = max(0, min(self.chosen, len(rows) - 1))
        lines = [self._line(row, index == self.chosen) for index, row in enumerate(rows)]
        room = max(3, min(self.MOST, self.app.size.height - head - self.AROUND))
        pane = self.query_one("#items", Lines)
        pane.styles.max_height = room
        pane.styles.height = self.height(room, len(lines))
        pane.show(lines or [(("nothing has these words", "quiet"),)])
        top = pane.scroll_offset.y
        if self.chosen < top or self.chosen >= top + room:
            pane.scroll_to(y=max(0, self.chosen - room // 2), animate=False)

    def height(self, room: int, count: int) -> int:
        """The lines of the list on the screen."""
        return min(room, max(1, count))

    def _line(self, row: Row, here: bool) -> Line:
        mark = self.signs.cursor if here else " "
        pick = " pick" if here else ""
        text = fit(row.text, self.room - columns(row.lead) - 3, self.signs)
        return ((f"{mark} {row.lead} ", f"title{pick}"), (text, row.tone + pick))

    def action_move(self, step: int) -> None:
        """Choose another line; after the last comes the first."""
        count = len(self.rows())
        if count:
            self.chosen = (self.chosen + step) % count
            self.show_rows()

    @on(Lines.Pressed, "#items")
    def _clicked(self, event: Lines.Pressed) -> None:
        if event.line < len(self.rows()):
            self.pressed(event.line)


class Menu(Listing[T], Generic[T], inherit_bindings=False):
    """One of several choices, by its letter, with arrows and enter, or with the mouse."""

    BINDINGS = [  # noqa: RUF012 - the screen library declares it so
        Binding("escape,ctrl+c", "close", "close"),
        Binding("down,tab", "move(1)", "down"),
        Binding("up,shift+tab", "move(-1)", "up"),
        Binding("enter,space", "take", "take"),
    ]

    def __init__(
        self, title: str, choices: Sequence[Choice[T]], signs: Signs, chosen: int = 0
    ) -> None:
        super().__init__(title, signs)
        self.choices = tuple(choices)
        self.chosen = chosen

    def rows(self) -> Sequence[Row]:
        """A letter and its words."""
        return [Row(choice.letter or " ", f" {choice.text}") for choice in self.choices]

    def on_key(self, event: events.Key) -> None:
        """A letter takes its choice at once."""
        for choice in self.choices:
            if choice.letter and event.character == choice.letter:
                event.stop()
                self.dismiss(choice.value)
                return

    def action_take(self) -> None:
        """Answer with the chosen line."""
        self.pressed(self.chosen)

    def pressed(self, index: int) -> None:
        """Answer with a line."""
        self.dismiss(self.choices[index].value)


class Prompt(Dialog[str], inherit_bindings=False):
    """A line to fill in. `check` gives the words that say what is wrong with it, or None."""

    BINDINGS = [Binding("escape,ctrl+c", "close", "close", priority=True)]  # noqa: RUF012

    def __init__(
        self,
        title: str,
        signs: Signs,
        value: str = "",
        hint: str = "",
        check: Callable[[str], str | None] = lambda text: None,
    ) -> None:
        super().__init__(title, signs)
        self._value = value
        self._said = (hint, "quiet")
        self._check = check

    def compose(self) -> ComposeResult:
        """The question, the line, and what is wrong with it."""
        with Vertical():
            yield Lines(id="head")
            line = Input(self._value, select_on_focus=False, compact=True)
            line.cursor_blink = False
            yield line
            yield Lines(id="wrong")

    def on_mount(self) -> None:
        """Put the caret behind what stands there already."""
        super().on_mount()
        self.set_focus(self.query_one(Input))

    def on_resize(self, event: events.Resize) -> None:
        """Fold the words to the width."""
        self.show_head()
        self._say(*self._said)

    def _say(self, text: str, tone: str) -> None:
        self._said = (text, tone)
        pane = self.query_one("#wrong", Lines)
        lines = fold(safe(text, self.signs.ascii_only), self.room) if text else [""]
        pane.styles.height = len(lines)
        pane.show([((line, tone),) for line in lines])

    @on(Input.Submitted)
    def _submitted(self, event: Input.Submitted) -> None:
        wrong = self._check(event.value)
        if wrong is None:
            self.dismiss(event.value)
        else:
            self._say(wrong, "wrong")


class Find(Listing[str], inherit_bindings=False):
    """A list that gets shorter with every letter typed: an item stays if it has all the words.
    Items are a value, what it is called, and what it means; answers with the value."""

    BINDINGS = [  # noqa: RUF012 - the screen library declares it so
        Binding("escape,ctrl+c", "close", "close", priority=True),
        Binding("down", "move(1)", "down", priority=True),
        Binding("up", "move(-1)", "up", priority=True),
        Binding("pagedown", "move(10)", "on", priority=True),
        Binding("pageup", "move(-10)", "back", priority=True),
    ]
    AROUND = 7  # the line to type in as well
    MOST = 12

    def __init__(self, title: str, items: Sequence[tuple[str, str, str]], signs: Signs) -> None:
        super().__init__(title, signs)
        self._items = tuple(items)

    def compose(self) -> ComposeResult:
        """The line to type in, above the list."""
        with Vertical():
            yield Lines(id="head")
            line = Input("", select_on_focus=False, compact=True)
            line.cursor_blink = False
            yield line
            yield Lines(id="items")

    def on_mount(self) -> None:
        """Show the whole list first."""
        super().on_mount()
        self.set_focus(self.query_one(Input))

    def found(self) -> tuple[tuple[str, str, str], ...]:
        """The items that have every word that is typed."""
        words = self.query_one(Input).value.casefold().split()
        return tuple(
            item
            for item in self._items
            if all(word in f"{item[1]} {item[2]}".casefold() for word in words)
        )

    def rows(self) -> Sequence[Row]:
        """What each is called, and what it means."""
        width = min(26, self.room // 3)
        return [Row(fit(name, width, self.signs), means) for _, name, means in self.found()]

    def height(self, room: int, count: int) -> int:
        """The same for a list that gets shorter: nothing jumps while one types."""
        return room

    @on(Input.Changed)
    def _typed(self) -> None:
        self.chosen = 0
        self.show_rows()

    @on(Input.Submitted)
    def _taken(self) -> None:
        if self.found():
            self.pressed(self.chosen)

    def pressed(self, index: int) -> None:
        """Answer with a line."""
        self.dismiss(self.found()[index][0])


class Tick(Listing[tuple[str, ...]], inherit_bindings=False):
    """A list of which any number may be ticked; answers with the ticked values in list order."""

    BINDINGS = [  # noqa: RUF012 - the screen library declares it so
        Binding("escape,ctrl+c", "close", "close"),
        Binding("down,tab", "move(1)", "down"),
        Binding("up,shift+tab", "move(-1)", "up"),
        Binding("pagedown", "move(10)", "on"),
        Binding("pageup", "move(-10)", "back"),
        Binding("space", "tick", "tick"),
        Binding("a", "all", "all or none"),
        Binding("enter", "take", "take"),
    ]
    HINT = "space ticks, a all or none, enter takes, esc leaves"

    def __init__(
        self,
        title: str,
        items: Sequence[tuple[str, str]],
        ticked: Sequence[str],
        signs: Signs,
    ) -> None:
        super().__init__(title, signs)
        self._items = tuple(items)
        self._ticked = set(ticked)

    def rows(self) -> Sequence[Row]:
        """A box and its words."""
        return [
            Row("[x]", text, "live") if value in self._ticked else Row("[ ]", text)
            for value, text in self._items
        ]

    def action_tick(self) -> None:
        """Tick the chosen line, or take its tick away."""
        if self._items:
            self._ticked ^= {self._items[self.chosen][0]}
            self.show_rows()

    def action_all(self) -> None:
        """Tick every line, or none if every one is."""
        every = {value for value, _ in self._items}
        self._ticked = set() if self._ticked >= every else every
        self.show_rows()

    def action_take(self) -> None:
        """Answer with what is ticked."""
        self.dismiss(tuple(value for value, _ in self._items if value in self._ticked))

    def pressed(self, index: int) -> None:
        """Tick the line that was clicked."""
        self.chosen = index
        self.action_tick()


class Page(ModalScreen[None], inherit_bindings=False):
    """Something to read, over the whole bench; `make` gives its lines for a width."""

    DEFAULT_CSS = """
    Page { align: center middle; background: $background; }
    Page > #page { width: 100%; max-width: 104; height: 100%; padding: 0 1; }
    """
    BINDINGS = [  # noqa: RUF012 - the screen library declares it so
        Binding("escape,q,question_mark,f1,enter,ctrl+c", "dismiss", "close"),
        Binding("down", "scroll(1)", "down"),
        Binding("up", "scroll(-1)", "up"),
        Binding("pagedown,space", "page(1)", "on"),
        Binding("pageup", "page(-1)", "back"),
    ]

    def __init__(self, make: Callable[[int], list[Line]], signs: Signs) -> None:
        super().__init__()
        self._make = make
        self._signs = signs

    def compose(self) -> ComposeResult:
        """One list of lines."""
        pane = Lines(id="page")
        pane.set_class(self._signs.ascii_only, "-plain-bars")
        yield pane

    def on_resize(self, event: events.Resize) -> None:
        """Fold the text to the width."""
        lines: list[Line] = [(("esc closes this, page down shows more", "quiet"),)]
        width = min(104, event.size.width) - 4
        self.query_one("#page", Lines).show([*lines, *self._make(width)])

    def action_scroll(self, step: int) -> None:
        """Move by a line."""
        self.query_one("#page", Lines).scroll_relative(y=step, animate=False)

    def action_page(self, step: int) -> None:
        """Move by a pane."""
        pane = self.query_one("#page", Lines)
        pane.scroll_relative(y=step * max(1, pane.size.height - 2), animate=False)


def paragraphs(text: str, signs: Signs, tone: str = "plain") -> Callable[[int], list[Line]]:
    """The lines of a page from text, which is folded where it is too wide; indents are kept."""

    def make(width: int) -> list[Line]:
        lines: list[Line] = []
        for line in text.split("\n"):
            body = line.lstrip(" ")
            indent = " " * min(len(line) - len(body), max(0, width - 20))
            parts = fold(safe(body, signs.ascii_only), max(10, width - len(indent))) or [""]
            lines += [((indent + part, tone),) for part in parts]
        return lines

    return make
