"""The help, over the bench."""

from __future__ import annotations

from textual import events
from textual.app import ComposeResult
from textual.binding import Binding
from textual.screen import ModalScreen

from rungs.bench.help_text import help_lines
from rungs.bench.pages import Signs
from rungs.bench.widgets.lines import Lines


class HelpScreen(ModalScreen[None], inherit_bindings=False):
    """Shows the help until a key closes it; time runs on below."""

    DEFAULT_CSS = """
    HelpScreen { align: center middle; background: $background; }
    HelpScreen > #help { width: 100%; max-width: 84; height: 100%; padding: 0 1; }
    """
    BINDINGS = [  # noqa: RUF012 - the screen library declares it so
        Binding("escape,q,question_mark,f1,enter,ctrl+c", "dismiss", "close"),
        Binding("down", "scroll(1)", "down"),
        Binding("up", "scroll(-1)", "up"),
        Binding("pagedown,space", "page(1)", "on"),
        Binding("pageup", "page(-1)", "back"),
    ]

    def __init__(self, signs: Signs) -> None:
        super().__init__()
        self._signs = signs

    def compose(self) -> ComposeResult:
        """One list of lines."""
        pane = Lines(id="help")
        pane.set_class(self._signs.ascii_only, "-plain-bars")
        yield pane

    def on_resize(self, event: events.Resize) -> None:
        """Fold the text to the width."""
        lines = [(("esc closes the help, page down shows more", "quiet"),)]
        width = min(84, event.size.width) - 4
        self.query_one("#help", Lines).show([*lines, *help_lines(width, self._signs)])

    def action_scroll(self, step: int) -> None:
        """Move by a line."""
        self.query_one("#help", Lines).scroll_relative(y=step, animate=False)

    def action_page(self, step: int) -> None:
        """Move by a pane."""
        pane = self.query_one("#help", Lines)
        pane.scroll_relative(y=step * max(1, pane.size.height - 2), animate=False)
