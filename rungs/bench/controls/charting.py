"""The chart along the bottom: its window, its traces, and writing it to a file."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from rungs.bench.controls.base import Command, Control
from rungs.bench.dialogs import Choice, Tick
from rungs.bench.session.charting import chart_of_session
from rungs.chart.csvfile import csv_text
from rungs.chart.data import Chart
from rungs.chart.rows import ZOOMS, ChartRows, chart_rows
from rungs.chart.svg import svg_text
from rungs.chart.vcd import vcd_text
from rungs.files import FileError, write_atomic
from rungs.program.nodes import Output, Program

if TYPE_CHECKING:
    from rungs.bench.app import BenchApp

WRITERS = {".csv": csv_text, ".svg": svg_text, ".vcd": vcd_text}
START_ZOOM = 5  # half a second to a column


class Charting(Control):
    """Owns the window of the chart; the moment it marks is the session's."""

    def __init__(self, app: BenchApp) -> None:
        super().__init__(app)
        self.zoom = START_ZOOM
        self.first = 0
        self.chosen = 0
        self.traces: tuple[str, ...] | None = None  # None: every device
        self._names: tuple[Program, tuple[str, ...] | None, tuple[str, ...]] | None = None

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        session = self.app.session
        return {
            "chart.back": lambda: self.move(-1),
            "chart.on": lambda: self.move(1),
            "chart.closer": lambda: self.scale(-1),
            "chart.wider": lambda: self.scale(1),
            "chart.choose": self.choose_traces,
            "chart.begin": lambda: session.seek(session.recorder.begins),
            "chart.end": session.to_present,
            "chart.down": lambda: self.pick(1),
            "chart.up": lambda: self.pick(-1),
            "chart.export": self.export,
            "view.taller": self.app.next_chart_size,
        }

    @property
    def names(self) -> tuple[str, ...]:
        """The devices that are shown, in their order."""
        program = self.app.session.program
        if self._names is None or self._names[0] is not program or self._names[1] != self.traces:
            # outputs first: what they do over time is what a small chart is looked at for
            first = [device.name for device in program.outputs]
            rest = [d.name for d in program.devices if not isinstance(d, Output)]
            every = (*first, *rest)
            if self.traces is not None:
                every = tuple(name for name in every if name in self.traces)
            self._names = (program, self.traces, every)
        return self._names[2]

    @property
    def chosen_name(self) -> str | None:
        """The device whose trace is chosen."""
        names = self.names
        return names[min(self.chosen, len(names) - 1)] if names else None

    @property
    def scale_name(self) -> str:
        """How much time a column is, in words."""
        return ZOOMS[self.zoom].name

    def rows(self, columns: int, names: int, height: int) -> ChartRows:
        """The window around the moment shown: the present at its right, or a moment of the past
        wherever it was when the window was last moved."""
        session = self.app.session
        ms = ZOOMS[self.zoom].ms
        at = session.at
        latest = (at // ms - columns + 2) * ms
        if not session.in_past:
            self.first = latest
        elif not self.first <= at < self.first + columns * ms:
            self.first = (at // ms - columns // 2) * ms
        # no more traces are looked up than there is room for
        low = self.low(height)
        shown = self.names[low : low + max(1, height)]
        chart = chart_of_session(session, shown, self.first, self.first + columns * ms)
        return chart_rows(chart, self.first, ms, columns, at, self.app.signs.ascii_only, names)

    def low(self, height: int) -> int:
        """The index of the first trace that `rows` shows."""
        room = max(1, height)
        return max(0, min(self.chosen - room + 1, len(self.names) - room))

    def move(self, columns: int) -> None:
        """Walk by columns of the chart."""
        if self.app.stopped_by_trial():
            return
        session = self.app.session
        session.seek(session.at + columns * ZOOMS[self.zoom].ms)
        moved = ", ".join(f"{name} {'on' if on else 'off'}" for name, on in session.changes())
        self.say(moved or "nothing moves in this scan", True)

    def go_to_column(self, column: int) -> None:
        """Show the moment of a column, for the mouse."""
        if not self.app.stopped_by_trial():
            self.app.session.seek(self.first + column * ZOOMS[self.zoom].ms)

    def scale(self, step: int) -> None:
        """More or less time in a column."""
        self.zoom = max(0, min(self.zoom + step, len(ZOOMS) - 1))
        self.first = -1 << 62  # the window is placed anew around the moment shown
        self.say(f"a column is {ZOOMS[self.zoom].name}")

    def pick(self, step: int) -> None:
        """Choose another trace."""
        if self.names:
            self.chosen = (self.chosen + step) % len(self.names)

    def choose_traces(self) -> None:
        """Ask which devices are shown."""
        program = self.app.session.program
        items = [(d.name, f"{d.name}  {d.label}") for d in program.devices]

        def answered(names: tuple[str, ...] | None) -> None:
            if names:
                self.traces = names
                self.chosen = 0
                self.app.arrange()

        self.app.push_screen(
            Tick("The traces of the chart", items, self.names, self.app.signs), answered
        )

    # --- to a file

    def export(self) -> None:
        """Ask for a file, and write the whole recorded run to it."""
        stem = self.app.work.path.stem if self.app.work.path else "run"
        self.fill_in(
            "Write the chart of the whole run to which file? .csv, .svg or .vcd",
            self._write,
            value=f"{stem}_run.svg",
            check=lambda text: (
                None
                if Path(text.strip()).suffix.lower() in WRITERS
                else "the name ends in .csv, .svg or .vcd"
            ),
        )

    def _write(self, text: str) -> None:
        path = Path(text.strip())
        if path.exists():
            choices = [Choice("o", f"write over '{path}'", True), Choice("n", "leave it", False)]
            self.choose(
                f"'{path}' is there already.",
                choices,
                lambda over: self._put(path) if over else self.say("nothing was written"),
            )
        else:
            self._put(path)

    def _put(self, path: Path) -> None:
        writer = WRITERS[path.suffix.lower()]
        try:
            write_atomic(path, writer(self.chart()).encode("utf-8"))
        except FileError as error:
            self.say(str(error), True)
            return
        self.say(f"wrote {path}", True)

    def chart(self) -> Chart:
        """The whole run, with notes on what it was made with."""
        return chart_of_session(self.app.session, self.names, notes=self.app.notes())
