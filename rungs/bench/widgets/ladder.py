"""The ladder with live current: one widget that draws only the rungs that can be seen.

Where the power goes is asked for those rungs alone, and a rung is painted again only when what it
hangs on differs from what stands on the screen, so that the cost does not grow with the program.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Callable, Sequence

from textual import events
from textual.geometry import Size
from textual.message import Message
from textual.strip import Strip

from rungs.bench.drawing import RungLook, element_at, lines_of, place_of
from rungs.bench.pages.words import Line, Signs
from rungs.bench.widgets.lines import Lines
from rungs.bench.widgets.pane import bindings_of
from rungs.draw.layout import Picture, picture_of
from rungs.program.nodes import Program, Rung

SLICE = 200  # rungs that are placed at a time, so that no key has to wait for thousands
PAUSE = 0.01  # s between two slices

Look = Callable[[int], RungLook]  # of the rung at an index


def _still_is(picture: Picture, rung: Rung, program: Program, width: int) -> bool:
    """Whether a picture shows a rung as well; its number takes no part in the picture."""
    of, was = picture.rung, picture.program.by_name
    return (
        picture.asked == width
        # the rungs above an edit are the very same ones
        and (
            of is rung
            or (
                of.label == rung.label and of.circuit == rung.circuit and of.actions == rung.actions
            )
        )
        # a coil's letter says of what kind its device is
        and all(was.get(a.name) == program.by_name.get(a.name) for a in rung.actions)
    )


class Ladder(Lines, can_focus=True, inherit_bindings=False):
    """Every rung of a program, one below the other.

    `look` says how the rung at an index looks now; it is asked of the rungs in view alone.
    """

    BINDINGS = bindings_of("rungs")

    class Chosen(Message):
        """A contact, a coil, or the rung (None) was clicked."""

        def __init__(self, index: int, element: int | None) -> None:
            super().__init__()
            self.index = index
            self.element = element

    def __init__(self, signs: Signs, *, id: str | None = None) -> None:
        super().__init__(id=id)
        self._signs = signs
        self._program: Program | None = None
        self._pictures: list[Picture] = []
        self._tops: list[int] = []  # the line on which each rung begins
        self._old: list[Picture] = []  # before the rungs were placed anew
        self._other: list[Picture] = []  # of the width before
        self._total = self._widest = 0  # lines and columns of what is placed
        self._width = 0
        self._look: Look | None = None
        self._painted: dict[int, tuple[RungLook, list[Line]]] = {}  # by position in the program

    def on_resize(self, event: events.Resize) -> None:
        """Place the rungs anew for another width, and keep the rung on top of the pane there."""
        # the bar's column is kept free also while there is no bar
        width = self.outer_size.width - self.styles.scrollbar_size_vertical
        if width != self._width and width >= 1:
            # opening and closing the text goes to and fro between two widths
            before, self._other = self._other, self._pictures
            self._width = width
            self._place(before)

    def show_program(self, program: Program, look: Look) -> None:
        """Show the rungs of a program; those that were there before are not placed again."""
        self._look = look
        if program is not self._program:
            self._program = program
            if self._width:
                self._place()

    def _place(self, known: list[Picture] | None = None) -> None:
        """Place the rungs; pictures among `known`, or among those that are shown, serve again."""
        program = self._program
        if program is None:
            return
        first = self._at(self.scroll_offset.y)[0] if self._tops else 0
        self._old = self._pictures if known is None else known
        self._pictures, self._tops = [], []
        self._painted = {}
        self._total, self._widest = 0, self._width
        self._extend(first + SLICE)
        if first and first < len(self._tops):
            self.call_after_refresh(self.scroll_to, y=self._tops[first], animate=False)
        self.refresh()
        if len(self._tops) < len(program.rungs):
            self.set_timer(PAUSE, self._more)

    def _more(self) -> None:
        """Place some more of the rungs, if any are left."""
        program = self._program
        if program is not None and len(self._tops) < len(program.rungs):
            # each slice lays out the screen anew, so there are few of them
            self._extend(2 * len(self._tops))
            self.set_timer(PAUSE, self._more)

    def _extend(self, count: int) -> None:
        """Place the rungs up to `count` of them."""
        program = self._program
        assert program is not None
        old = self._old
        shift = len(program.rungs) - len(old)
        for index in range(len(self._tops), min(count, len(program.rungs))):
            rung = program.rungs[index]
            picture: Picture | None = None
            # an edit leaves the rungs above it where they were, and shifts those below it
            for at in (index, index - shift):
                if 0 <= at < len(old) and _still_is(old[at], rung, program, self._width):
                    # an old program must not live on for one rung of it
                    picture = old[at]
                    picture.program, picture.rung = program, rung
                    break
            if picture is None:
                picture = picture_of(rung, program, self._width)
            self._pictures.append(picture)
            self._tops.append(self._total)
            self._total += picture.height
            # a rung that cannot be folded makes the whole wider than the pane
            self._widest = max(self._widest, picture.width)
        if len(self._tops) == len(program.rungs):
            self._old = []
        self.virtual_size = Size(self._widest, self._total)

    def _at(self, line: int) -> tuple[int, int]:
        """The position of the rung that stands on a line, and the line within it."""
        index = max(0, bisect_right(self._tops, line) - 1)
        return index, line - self._tops[index]

    def in_view(self) -> range:
        """The positions of the rungs that can be seen."""
        if not self._tops or self.size.height < 1:
            return range(0)
        top = self.scroll_offset.y
        return range(self._at(top)[0], self._at(top + self.size.height - 1)[0] + 1)

    def follow(self) -> None:
        """Paint the rungs in view that look otherwise than they were painted."""
        look = self._look
        if look is None:
            return
        for index in self.in_view():
            painted = self._painted.get(index)
            if painted is None or painted[0] != look(index):
                self.refresh_lines(self._tops[index], self._pictures[index].height)

    def _rung_lines(self, index: int) -> Sequence[Line]:
        assert self._look is not None
        look = self._look(index)
        painted = self._painted.get(index)
        if painted is None or painted[0] != look:
            lines = lines_of(self._pictures[index], look, self._signs)
            painted = self._painted[index] = (look, lines)
        return painted[1]

    def render_line(self, y: int) -> Strip:
        """Paint one line of the pane."""
        line = y + self.scroll_offset.y
        if not self._tops or line >= self.virtual_size.height:
            if y == 0 and not self._tops:
                return self.strip_of((("no rungs in this panel", "quiet"),))
            return self.strip_of(())
        index, within = self._at(line)
        line_of_rung = self._rung_lines(index)[within]
        start = self.scroll_offset.x
        if start or self.virtual_size.width > self._width:
            style = self.tone_style("")
            return self.strip_of(line_of_rung).crop_extend(start, start + self.size.width, style)
        return self.strip_of(line_of_rung)

    def go_to(self, index: int, element: int | None = None) -> None:
        """Bring a rung into view whole if it fits, and a contact or coil of it in any case."""
        program = self._program
        if program is None or not 0 <= index < len(program.rungs) or not self._width:
            return
        if index >= len(self._tops):
            self._extend(index + SLICE)
        top, picture = self._tops[index], self._pictures[index]
        height = self.size.height
        y = self.scroll_offset.y
        if element is not None and picture.height > height:
            line, _ = place_of(picture, element)
            top, bottom = top + max(0, line - 1), top + line + 2
        else:
            bottom = top + picture.height
        if top < y or picture.height > height:
            y = top
        elif bottom > y + height:
            y = bottom - height
        self.scroll_to(y=y, animate=False)
        if element is not None and picture.width > self.size.width:
            _, column = place_of(picture, element)
            x = self.scroll_offset.x
            if not x + 4 <= column < x + self.size.width - 12:
                self.scroll_to(x=max(0, column - self.size.width // 2), animate=False)

    def on_click(self, event: events.Click) -> None:
        """Say which contact or coil was meant."""
        offset = event.get_content_offset(self)
        if offset is None or not self._tops:
            return
        line = offset.y + self.scroll_offset.y
        if line < self.virtual_size.height:
            index, within = self._at(line)
            column = offset.x + self.scroll_offset.x
            self.post_message(self.Chosen(index, element_at(self._pictures[index], within, column)))
