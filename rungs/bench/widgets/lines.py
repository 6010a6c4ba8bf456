"""A widget that shows lines of toned text and paints only those that changed.

One widget for a whole list, whatever its length: the screen library costs by the widget, and a
panel may have hundreds of devices.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from typing import ClassVar

from rich.segment import Segment
from rich.style import Style
from textual import events
from textual.geometry import Size
from textual.message import Message
from textual.scroll_view import ScrollView
from textual.strip import Strip

from rungs.bench.pages.words import TONES, Line


class Lines(ScrollView, can_focus=False, inherit_bindings=False):
    """Shows what `show` was given last."""

    COMPONENT_CLASSES: ClassVar[set[str]] = {f"lines--{tone}" for tone in TONES}
    DEFAULT_CSS = """
    Lines {
        background: $background;
        color: $foreground;
        scrollbar-size-vertical: 1;
        scrollbar-size-horizontal: 0;
        scrollbar-color: $surface-lighten-2;
        scrollbar-color-hover: $surface-lighten-3;
        scrollbar-background: $background;
        scrollbar-background-hover: $background;
        & > .lines--plain { color: $foreground; }
        & > .lines--quiet { color: $text-muted; }
        & > .lines--live { color: $text-accent; text-style: bold; }
        & > .lines--wrong { color: $text-error; text-style: bold; }
        & > .lines--stop { color: $text-primary; text-style: bold; }
        & > .lines--forced { color: $text-warning; text-style: bold reverse; }
        & > .lines--title { color: $foreground; text-style: bold; }
        & > .lines--pick { background: $surface-lighten-1; }
        & > .lines--glow { text-style: underline; }
        &.-plain-bars { scrollbar-size-vertical: 0; }
    }
    """

    class Pressed(Message):
        """A mouse button was clicked on a line; `line` counts from 0 on the first, seen or not."""

        def __init__(self, lines: Lines, line: int, column: int) -> None:
            super().__init__()
            self.lines = lines
            self.line = line
            self.column = column

        @property
        def control(self) -> Lines:
            """The widget it happened on."""
            return self.lines

    def __init__(self, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._lines: Sequence[Line] = []
        self._styles: dict[str, Style] = {}
        self._filled: tuple[object, int, int] | None = None

    def show(self, lines: Sequence[Line]) -> None:
        """Show other lines; those that are as before are not painted again."""
        old, self._lines = self._lines, lines
        if len(old) != len(self._lines):
            self.virtual_size = Size(self.size.width, len(self._lines))
            self.refresh()
            return
        # what is out of sight is painted when it comes into sight
        top = self.scroll_offset.y
        for y in range(top, min(top + self.size.height, len(old))):
            if old[y] != self._lines[y]:
                self.refresh_line(y)

    def fill(self, data: object, page: Callable[[tuple[int, int]], Sequence[Line]]) -> None:
        """Show what `page` makes of columns and lines; a list that is too long for the pane gets
        a column less, for the bar beside it. Nothing is made anew while `data` and size stay."""
        width, height = self.outer_size
        if (data, width, height) == self._filled:
            return
        self._filled = (data, width, height)
        lines = page((width, height))
        if len(lines) > height:
            lines = page((width - self.styles.scrollbar_size_vertical, height))
        self.show(lines)

    def tone_style(self, tone: str) -> Style:
        """The style of a tone; never None, which a screen without colours cannot paint."""
        style = self._styles.get(tone)
        if style is None:
            first, *more = tone.split() or ["plain"]
            # whole, so that a see-through colour is mixed with what is behind it
            style = self.get_component_rich_style(f"lines--{first}")
            for part in more:
                style += self.get_component_rich_style(f"lines--{part}", partial=True)
            self._styles[tone] = style
        return style

    def notify_style_update(self) -> None:
        """Another theme, or another pseudo-class: the styles are read again."""
        self._styles = {}
        super().notify_style_update()

    def render_line(self, y: int) -> Strip:
        """Paint one line of the pane."""
        at = y + self.scroll_offset.y
        strip = self.strip_of(self._lines[at] if at < len(self._lines) else ())
        return strip.crop_extend(0, self.size.width, self.tone_style(""))

    def strip_of(self, line: Line) -> Strip:
        """A line in the width of the pane."""
        segments = []
        for text, tone in line:
            shown = text.rstrip(" ")
            if shown:
                segments.append(Segment(shown, self.tone_style(tone)))
            if len(shown) < len(text):
                # the spaces that fill a column do not glow
                blank = self.tone_style(tone.replace(" glow", "").replace("forced", "quiet"))
                segments.append(Segment(text[len(shown) :], blank))
        width = max(self.size.width, self.virtual_size.width)
        return Strip(segments).adjust_cell_length(width, self.tone_style("")).simplify()

    def on_click(self, event: events.Click) -> None:
        """Say which line was meant."""
        offset = event.get_content_offset(self)
        if offset is not None:
            line = offset.y + self.scroll_offset.y
            self.post_message(self.Pressed(self, line, offset.x))
