"""The ladder with live current: one widget that draws only the rungs that can be seen.

Where the power goes is asked of the session for those rungs alone, and a rung is painted again only
when its contacts differ from what stands on the screen, so that the cost does not grow with the
program.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Collection

from textual import events
from textual.geometry import Size
from textual.strip import Strip

from rungs.bench.drawing import lines_of
from rungs.bench.pages import Line, Signs
from rungs.bench.session.session import Session
from rungs.bench.widgets.lines import Lines
from rungs.draw.layout import Picture, picture_of

# what a painted rung depends on: whether the rails are live, its contacts, what glows in it
Shown = tuple[bool, tuple[bool, ...], frozenset[str]]


class Ladder(Lines):
    """Every rung of the session's program, one below the other."""

    def __init__(self, session: Session, signs: Signs, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._session = session
        self._signs = signs
        self._rungs = session.program.rungs
        self._pictures: list[Picture] = []
        self._tops: list[int] = []  # the line on which each rung begins
        self._width = 0
        self._glow: Collection[str] = frozenset()
        self._painted: dict[int, tuple[Shown, list[Line]]] = {}  # by position in the program

    def on_resize(self, event: events.Resize) -> None:
        """Place the rungs anew for another width, and keep the rung on top of the pane there."""
        # the bar's column is kept free also while there is no bar
        width = self.outer_size.width - self.styles.scrollbar_size_vertical
        if width == self._width or width < 1:
            return
        first = self._at(self.scroll_offset.y)[0] if self._tops else 0
        self._width = width
        self._pictures = [picture_of(rung, self._session.program, width) for rung in self._rungs]
        self._tops = []
        total = 0
        for picture in self._pictures:
            self._tops.append(total)
            total += picture.height
        self._painted = {}
        # a rung that cannot be folded makes the whole wider than the pane
        widest = max([width, *(picture.width for picture in self._pictures)])
        self.virtual_size = Size(widest, total)
        if first:
            self.call_after_refresh(self.scroll_to, y=self._tops[first], animate=False)
        self.refresh()

    def _at(self, line: int) -> tuple[int, int]:
        """The position of the rung that stands on a line, and the line within it."""
        index = max(0, bisect_right(self._tops, line) - 1)
        return index, line - self._tops[index]

    def follow(self, glow: Collection[str]) -> None:
        """Paint the rungs in view that changed since they were painted."""
        self._glow = glow
        if not self._tops or self.size.height < 1:
            return
        top = self.scroll_offset.y
        first, last = self._at(top)[0], self._at(top + self.size.height - 1)[0]
        for index in range(first, last + 1):
            painted = self._painted.get(index)
            if painted is None or painted[0] != self._shown(index):
                self.refresh_lines(self._tops[index], self._pictures[index].height)

    def _shown(self, index: int) -> Shown:
        picture = self._pictures[index]
        live = self._session.live()
        reading = self._session.reading(self._rungs[index])
        return live, reading, picture.names.intersection(self._glow)

    def _rung_lines(self, index: int) -> list[Line]:
        shown = self._shown(index)
        painted = self._painted.get(index)
        if painted is None or painted[0] != shown:
            lines = lines_of(self._pictures[index], *shown, self._signs)
            painted = self._painted[index] = (shown, lines)
        return painted[1]

    def render_line(self, y: int) -> Strip:
        """Paint one line of the pane."""
        line = y + self.scroll_offset.y
        if not self._tops or line >= self.virtual_size.height:
            if y == 0 and not self._rungs:
                return self.strip_of((("no rungs in this panel", "quiet"),))
            return self.strip_of(())
        index, within = self._at(line)
        line_of_rung = self._rung_lines(index)[within]
        start = self.scroll_offset.x
        if start or self.virtual_size.width > self._width:
            style = self.tone_style("")
            return self.strip_of(line_of_rung).crop_extend(start, start + self.size.width, style)
        return self.strip_of(line_of_rung)

    def go_to(self, number: int) -> None:
        """Bring a rung to the top of the pane."""
        if self._tops:
            self.scroll_to(y=self._tops[number - 1], animate=False)
