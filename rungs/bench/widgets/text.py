"""The text of the file: an editor that shows words in their colours and findings in their places.

The document is elsewhere; what is typed here goes to it, and what changes there comes here as the
small stretch that differs, so that the caret stays where it is.
"""

from __future__ import annotations

from collections.abc import Sequence

from rich.style import Style
from rich.text import Text
from textual import events
from textual.document._wrapped_document import WrappedDocument
from textual.widgets import TextArea

from rungs.bench.keys import KEYS, Key
from rungs.cells import safe
from rungs.edit.highlight import highlight
from rungs.findings import Finding
from rungs.source import Source, Span

# what the editor of the screen library does by itself; its other keys are left to the table
_OWN = (
    ("up", "cursor_up"),
    ("down", "cursor_down"),
    ("left", "cursor_left"),
    ("right", "cursor_right"),
    ("ctrl+left", "cursor_word_left"),
    ("ctrl+right", "cursor_word_right"),
    ("home", "cursor_line_start"),
    ("end", "cursor_line_end"),
    ("pageup", "cursor_page_up"),
    ("pagedown", "cursor_page_down"),
    ("shift+up", "cursor_up(True)"),
    ("shift+down", "cursor_down(True)"),
    ("shift+left", "cursor_left(True)"),
    ("shift+right", "cursor_right(True)"),
    ("shift+home", "cursor_line_start(True)"),
    ("shift+end", "cursor_line_end(True)"),
    ("ctrl+a", "select_all"),
    ("backspace", "delete_left"),
    ("delete", "delete_right"),
    ("ctrl+w", "delete_word_left"),
    ("ctrl+k", "delete_to_end_of_line"),
    ("ctrl+x", "cut"),
    ("ctrl+c", "copy"),
    ("ctrl+v", "paste"),
)

# The editor of the screen library ends a line at each of these, which the file does not, so that it
# holds private characters in their stead: as many, in the same places.
_BREAKS = "\x0b\x0c\r\x1c\x1d\x1e\x85\u2028\u2029"
_PRIVATE = range(0x10F000, 0x10FF00, len(_BREAKS))


def _stand_ins(text: str) -> str:
    """As many private characters as there are breaks, none of which the text has."""
    used = set(text)
    for start in _PRIVATE:
        chars = "".join(map(chr, range(start, start + len(_BREAKS))))
        if not used & set(chars):
            break
    return chars


class _Unwrapped(WrappedDocument):
    """Lines that are never folded. The screen library counts all lines of the file anew for every
    line that it paints, which in a long file takes longer than the painting."""

    @property
    def height(self) -> int:
        """The number of lines."""
        return self.document.line_count


class TextPane(TextArea, inherit_bindings=False):
    """The editor. The text, its undo and its place on disk are those of the document.

    `actions` are what its keys do: its own ones, and those of the table for text.
    """

    COMPONENT_CLASSES = TextArea.COMPONENT_CLASSES | {
        f"text--{kind}"
        for kind in ("keyword", "number", "string", "comment", "operator", "wrong", "warned")
    }
    DEFAULT_CSS = """
    TextPane {
        border: none;
        padding: 0;
        scrollbar-size-vertical: 1;
        scrollbar-size-horizontal: 0;
        background: $background;
        &:focus { border: none; }
        & .text-area--cursor-line { background: $surface; }
        & .text-area--gutter { color: $text-muted; }
        & .text--keyword { text-style: bold; }
        & .text--number { color: $text-accent; }
        & .text--string { color: $text-primary; }
        & .text--comment { color: $text-muted; text-style: italic; }
        & .text--operator { color: $text-muted; }
        & .text--wrong { color: $text-error; text-style: bold underline; }
        & .text--warned { color: $text-warning; text-style: underline; }
    }
    """

    def __init__(self, text: str, keys: tuple[Key, ...] = KEYS, *, id: str | None = None) -> None:
        stands = _stand_ins(text)
        self._held = str.maketrans(_BREAKS, stands)
        self._meant = str.maketrans(stands, _BREAKS)
        super().__init__(
            text.translate(self._held),
            theme="css",
            soft_wrap=False,
            show_line_numbers=True,
            tab_behavior="focus",
            id=id,
        )
        self.cursor_blink = False
        self.actions = dict(_OWN)
        for key in keys:
            if key.where in ("text", "always"):
                action = f"app.do_in_text('{key.id}')"
                self.actions.update((name, action) for name in key.keys.split(","))
        self._marks: dict[int, list[tuple[int, int, str]]] = {}
        self._tones: dict[str, Style] = {}

    @property
    def wrapped_document(self) -> WrappedDocument:
        """The lines as they are shown."""
        return self._unwrapped

    @wrapped_document.setter
    def wrapped_document(self, made: WrappedDocument) -> None:
        self._unwrapped = _Unwrapped(made.document)

    async def _on_key(self, event: events.Key) -> None:
        """Work keys and letters one after the other. Over a slow line they come in bursts, and the
        screen library would let letters overtake the keys that move and delete."""
        action = self.actions.get(event.key)
        if action is None:
            await super()._on_key(event)
            return
        event.stop()
        event.prevent_default()
        await self.run_action(action)

    @property
    def text(self) -> str:
        """The text as it stands in the file."""
        return self.document.text.translate(self._meant)

    @text.setter
    def text(self, value: str) -> None:
        self.load_text(value.translate(self._held))

    def show_findings(self, findings: Sequence[Finding], source: Source) -> None:
        """Underline the places of findings."""
        marks: dict[int, list[tuple[int, int, str]]] = {}
        for finding in findings:
            kind = "wrong" if finding.severity == "error" else "warned"
            start = source.position(finding.span.start)
            end = source.position(max(finding.span.end, finding.span.start + 1))
            last = end.column - 1 if end.line == start.line else len(source.line(start.line))
            span = (start.column - 1, max(last, start.column), kind)
            marks.setdefault(start.line - 1, []).append(span)
        if marks != self._marks:
            self._marks = marks
            self.notify_style_update()
            self.refresh()

    def notify_style_update(self) -> None:
        """Another theme: the colours are read again, and the lines made anew."""
        self._tones = {}
        super().notify_style_update()

    def _tone(self, kind: str) -> Style:
        style = self._tones.get(kind)
        if style is None:
            name = f"text--{kind}"
            known = name in self.COMPONENT_CLASSES
            style = self.get_component_rich_style(name, partial=True) if known else Style.null()
            self._tones[kind] = style
        return style

    def get_line(self, line_index: int) -> Text:
        """One line in its colours. The screen library asks for each line that it shows.

        What would do something to a terminal is shown as a question mark.
        """
        line = self.document.get_line(line_index)
        if not line.isprintable():
            line = "".join(c if c == "\t" or c.isprintable() else safe(c) for c in line)
        text = Text(line, end="", no_wrap=True)
        for start, end, kind in highlight(line):
            text.stylize(self._tone(kind), start, end)
        for start, end, mark in self._marks.get(line_index, ()):
            text.stylize(self._tone(mark), start, end)
        return text

    # --- places, as offsets into the text

    @property
    def caret(self) -> int:
        """The offset of the caret."""
        return self.offset_of(self.cursor_location)

    def offset_of(self, location: tuple[int, int]) -> int:
        """The offset of a place in lines and columns."""
        row, column = location
        lines = self.document.lines
        return sum(len(line) + 1 for line in lines[:row]) + column

    def location_of(self, offset: int) -> tuple[int, int]:
        """The place of an offset in lines and columns."""
        row = 0
        lines = self.document.lines
        while row < len(lines) - 1 and offset > len(lines[row]):
            offset -= len(lines[row]) + 1
            row += 1
        return row, min(offset, len(lines[row]))

    def go_to(self, span: Span) -> None:
        """Put the caret at a place, and show it in the middle."""
        self.move_cursor(self.location_of(span.start), center=True)

    def change(self, span: Span, text: str, caret: int | None = None) -> None:
        """Replace a stretch, for a change that was made elsewhere."""
        start, end = self.location_of(span.start), self.location_of(span.end)
        here = self.caret
        self.replace(text.translate(self._held), start, end, maintain_selection_offset=True)
        if caret is not None:
            self.move_cursor(self.location_of(caret))
        elif here <= span.start:
            self.move_cursor(self.location_of(here))
