"""What is shown: panes, pages of rungs, the list of devices, help and commands."""

from __future__ import annotations

from rungs.bench.controls.base import Command, Control
from rungs.bench.themes import THEMES


class Viewing(Control):
    """Walks through panes and lists; the panel is left alone."""

    def commands(self) -> dict[str, Command]:
        """The commands by the ids of their keys."""
        app = self.app
        return {
            "view.down": lambda: self.page(1),
            "view.up": lambda: self.page(-1),
            "view.right": lambda: self.shift(1),
            "view.left": lambda: self.shift(-1),
            "view.next": lambda: self.next_pane(1),
            "view.previous": lambda: self.next_pane(-1),
            "text.back": lambda: self.next_pane(-1),
            "device.next": lambda: self.choose_device(1),
            "device.previous": lambda: self.choose_device(-1),
            "device.find": lambda: app.action_do("ask.find"),
            "bench.commands": app.find_command,
            "bench.commands_text": app.find_command,
            "view.colours": self.colours,
            "bench.help": app.help,
            "bench.help_text": app.help,
        }

    def colours(self) -> None:
        """Light for a bright room, dark for a dim one."""
        names = [theme.name for theme in THEMES]
        self.app.theme = names[(names.index(self.app.theme) + 1) % len(names)]
        self.say(f"colours: {self.app.theme.removeprefix('bench-')}")

    def page(self, step: int) -> None:
        """Turn the rungs by a pane."""
        ladder = self.app.bench.ladder
        ladder.scroll_relative(y=step * max(1, ladder.size.height - 2), animate=False)

    def shift(self, step: int) -> None:
        """Move along rungs that are wider than their pane."""
        self.app.bench.ladder.scroll_relative(x=step * 10, animate=False)

    def next_pane(self, step: int) -> None:
        """Give the keyboard to another pane."""
        bench = self.app.bench
        panes = bench.panes()
        now = bench.focused
        index = next((n for n, pane in enumerate(panes) if pane is now), 0)
        bench.set_focus(panes[(index + step) % len(panes)])
        self.app.say("")

    # --- the list of devices

    @property
    def names(self) -> list[str]:
        """The devices in the order of their list."""
        session = self.app.session
        groups = (session.relays(), session.timers(), session.counters(), session.clocks())
        return [view.name for group in groups for view in group]

    @property
    def chosen_device(self) -> str | None:
        """The device that is chosen in the list."""
        names = self.names
        return names[min(self.app.device_index, len(names) - 1)] if names else None

    def choose_device(self, step: int) -> None:
        """Choose another device; after the last comes the first."""
        names = self.names
        if not names:
            self.say("this panel has no devices but its switches")
            return
        self.app.device_index = (self.app.device_index + step) % len(names)
        self._show()

    def _show(self) -> None:
        app = self.app
        pane = app.bench.device_list
        line = app.painting.line_of_device(self.chosen_device)
        top, height = pane.scroll_offset.y, pane.outer_size.height
        if line < top + 1:
            pane.scroll_to(y=max(0, line - 1), animate=False)
        elif line >= top + height - 1:
            pane.scroll_to(y=line - height + 2, animate=False)

    def choose_line(self, line: int) -> None:
        """Choose the device on a line of the list."""
        name = self.app.painting.device_on_line(line)
        if name is not None:
            self.app.device_index = self.names.index(name)

    def chart_pressed(self, line: int, column: int) -> None:
        """Show the moment of a column of the chart, or choose a trace by its name."""
        app = self.app
        names = app.painting.chart_names
        rulers = app.painting.chart_rulers
        if column >= names:
            app.charting.go_to_column(column - names)
        elif line >= rulers:
            app.charting.chosen = app.charting.low(app.bench.shares.chart - rulers) + line - rulers
