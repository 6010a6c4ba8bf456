"""What all controls share: the bench they belong to, and the way to say and to ask something."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import TYPE_CHECKING, TypeVar

from rungs.bench.dialogs import Choice, Menu, Page, Prompt, paragraphs
from rungs.bench.keys import by_id
from rungs.edit.changes import Change
from rungs.findings import Finding
from rungs.program.nodes import leaves

if TYPE_CHECKING:
    from rungs.bench.app import BenchApp

T = TypeVar("T")
Command = Callable[[], object]


def counted(number: int, word: str) -> str:
    """A number and its word: 1 error, 2 errors."""
    return f"{number} {word}" if number == 1 else f"{number} {word}s"


class Control:
    """Some commands of the bench."""

    def __init__(self, app: BenchApp) -> None:
        self.app = app

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        raise NotImplementedError

    def after_typing(self, command: Command) -> Command:
        """A command that first lets the document have all that the editor holds: keys can come
        faster than the editor tells of what they typed."""

        def run() -> object:
            self.app.typed()
            return command()

        return run

    @property
    def takes_back(self) -> str:
        """What people call the key that takes back a change, where the keyboard is now."""
        in_text = self.app.bench.pane() == "text"
        return by_id("text.undo" if in_text else "edit.undo", self.app.keys).shown

    def keep_choice(self) -> None:
        """Let the chosen place of the ladder be one that is there, after the text has changed."""
        app = self.app
        rungs = app.shown_program.rungs
        if not rungs:
            return
        index = max(0, min(app.rung_index, len(rungs) - 1))
        last = len(leaves(rungs[index].circuit)) + len(rungs[index].actions) - 1
        element = max(0, min(app.element, last))
        if (index, element) != (app.rung_index, app.element):
            app.choose_element(index, element)

    # --- saying and asking

    def say(self, text: str, keep: bool = False) -> None:
        """Show a sentence above the keys."""
        self.app.say(text, keep)

    def say_finding(self, finding: Finding) -> None:
        """Say what is wrong and what to do."""
        self.app.say(f"{finding.message}; {finding.fix}" if finding.fix else finding.message, True)

    def choose(
        self, title: str, choices: Sequence[Choice[T]], then: Callable[[T], object], at: int = 0
    ) -> None:
        """Ask for one of several answers; nothing happens if there is none."""

        def answered(value: T | None) -> None:
            if value is not None:
                then(value)

        self.app.push_screen(Menu(title, choices, self.app.signs, at), answered)

    def fill_in(
        self,
        title: str,
        then: Callable[[str], object],
        value: str = "",
        hint: str = "",
        check: Callable[[str], str | None] = lambda text: None,
    ) -> None:
        """Ask for a line of text."""

        def answered(text: str | None) -> None:
            if text is not None:
                then(text)

        self.app.push_screen(Prompt(title, self.app.signs, value, hint, check), answered)

    def fill_in_change(
        self,
        title: str,
        make: Callable[[str], Change | Finding],
        then: Callable[[Change], object],
        value: str = "",
        hint: str = "",
    ) -> None:
        """Ask for words until they make a change of the file."""
        last: list[Change] = []

        def check(text: str) -> str | None:
            change = make(text.strip())
            if isinstance(change, Finding):
                return f"{change.message}; {change.fix}"
            last[:] = [change]
            return None

        self.fill_in(title, lambda text: then(last[0]), value, hint, check)

    def read(self, text: str, then: Command = lambda: None) -> None:
        """Show a page of text, and go on when it is closed."""

        def closed(_: None) -> None:
            then()

        page = Page(paragraphs(text, self.app.signs), self.app.signs)
        self.app.push_screen(page, closed)

    def in_present(self, then: Command) -> None:
        """Do something to the panel; in the past, ask first, for it forgets what came after."""
        app = self.app
        if app.stopped_by_trial():
            return
        if not app.session.in_past:
            then()
            return
        choices = [
            Choice("a", "act here: what came after this moment is forgotten", True),
            Choice("l", "show the latest moment instead", False),
        ]

        def answered(here: bool) -> None:
            if here:
                app.session.branch()
                then()
            else:
                app.session.to_present()
                self.say("the present: nothing was done")

        self.choose(
            "This moment is past. A switch that moves here begins another future.",
            choices,
            answered,
        )
