"""What each pane of the bench is given to show, frame after frame.

Looks at session and file, and gives the panes frozen data; nothing is made anew that is as it was.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import TYPE_CHECKING

from rungs.bench.drawing import RungLook
from rungs.bench.keys import Pane
from rungs.bench.pages.chart import chart_lines
from rungs.bench.pages.devices import Devices, device_lines, device_rows
from rungs.bench.pages.status import footer_line, status_line
from rungs.bench.pages.switches import switch_detail, switch_lines
from rungs.bench.pages.words import fit
from rungs.cells import fold, safe
from rungs.program.nodes import Program, Rung, leaves, unnumbered

if TYPE_CHECKING:
    from rungs.bench.app import BenchApp

GLOW_MS = 600


def pairs(shown: Sequence[Rung], runs: Sequence[Rung]) -> Iterator[Rung | None]:
    """For each rung that is shown, one that runs and does the same; each of them once.

    An edit leaves most rungs at the beginning and the end as they were, and those are found by
    looking at them once.
    """
    head = tail = 0
    least = min(len(shown), len(runs))
    while head < least and _alike(shown[head], runs[head]):
        head += 1
    while tail < least - head and _alike(shown[-1 - tail], runs[-1 - tail]):
        tail += 1
    yield from runs[:head]
    waiting: dict[object, list[Rung]] = {}
    for rung in reversed(runs[head : len(runs) - tail]):
        waiting.setdefault((unnumbered(rung.circuit), rung.actions), []).append(rung)
    for rung in shown[head : len(shown) - tail]:
        found = waiting.get((unnumbered(rung.circuit), rung.actions))
        yield found.pop() if found else None
    yield from runs[len(runs) - tail :]


def _alike(one: Rung, other: Rung) -> bool:
    return one is other or (one.circuit == other.circuit and one.actions == other.actions)


class Painting:
    """Paints the panes of one bench."""

    def __init__(self, app: BenchApp) -> None:
        self.app = app
        self.chart_names = 20
        self.chart_rulers = 1
        self._pair: tuple[Program, Program] | None = None
        self._running: list[Rung | None] = []  # of each shown rung, the one that runs
        self._places: dict[int, int] = {}  # of each running rung, by number, where it is shown
        self._glow: frozenset[str] = frozenset()
        self._forced: frozenset[str] = frozenset()
        self._devices: Devices | None = None
        self.pane: Pane = "switches"  # that had the keyboard in the last frame
        self._chart: tuple[object, ...] = ()

    def paint(self) -> None:
        """Give every pane what there is to see."""
        app = self.app
        bench, session, signs = app.bench, app.session, app.signs
        self._pair_up()
        self._glow = glow = session.recent(GLOW_MS)
        self._forced = frozenset(session.standing.forces)
        status = session.status()
        width = bench.size.width
        pane = self.pane = bench.pane()

        file = ("* " if app.work.dirty else "") + ("+ " if app.pending else "")
        keeping = app.scenarios.scribe is not None
        bench.top.show([status_line(status, width, signs, file, keeping, app.work.errors)])

        views, chosen = session.switches(), app.chosen_switch
        focused = pane == "switches"
        bench.switches.fill(
            (views, chosen, glow, focused),
            lambda size: switch_lines(views, chosen, glow, size, signs, focused),
        )

        # coming moments are told to the minute
        minute = (status.wall[0], status.wall[1] // 60_000 * 60_000)
        shown = Devices(
            session.relays(), session.timers(), session.counters(), session.clocks(), minute
        )
        device = app.viewing.chosen_device if pane == "devices" else None
        bench.device_list.fill(
            (shown, glow, device), lambda size: device_lines(shown, glow, size, signs, device)
        )
        self._devices = shown

        bench.ladder.show_program(app.shown_program, self.look)
        bench.ladder.follow()
        self._paint_chart(pane)
        if bench.split.display:
            bench.split.show([((("-" if signs.ascii_only else "─") * width, "quiet"),)])
        tone = "plain" if app.current_message() else "quiet"
        lines = 2 if app.text_open else 1
        bench.detail.show([((line, tone),) for line in self._detail(width, pane, lines)])
        bench.bottom.show([footer_line(width, pane, app.keys)])

    # --- the ladder

    def _pair_up(self) -> None:
        """Find for each rung that is shown the one that runs."""
        shown, runs = self.app.shown_program, self.app.session.program
        if self._pair is not None and self._pair[0] is shown and self._pair[1] is runs:
            return
        self._pair = (shown, runs)
        if shown is runs or shown.rungs == runs.rungs:
            self._running = list(runs.rungs)
        else:
            self._running = list(pairs(shown.rungs, runs.rungs))
        self._places = {
            rung.number: index for index, rung in enumerate(self._running) if rung is not None
        }

    def place_of(self, rung: Rung) -> int | None:
        """Where a rung of the running program is shown."""
        self._pair_up()
        return self._places.get(rung.number)

    def look(self, index: int) -> RungLook:
        """How the rung at an index of the shown program looks."""
        app, session = self.app, self.app.session
        rung, stale = self._running[index], app.work.stale
        chosen = app.element if index == app.rung_index else None
        if rung is None:
            # of the program that the ladder has placed: the text may be a frame ahead of it
            assert self._pair is not None
            shown = self._pair[0].rungs[index]
            dead = (False,) * len(leaves(shown.circuit))
            return RungLook(shown.number, False, dead, chosen=chosen, turn="new", stale=stale)
        upto = session.upto
        names = {leaf.name for leaf in leaves(rung.circuit)} | {a.name for a in rung.actions}
        return RungLook(
            app.shown_program.rungs[index].number,
            session.live(),
            session.reading(rung),
            self._glow & names if self._glow else self._glow,
            self._forced & names if self._forced else self._forced,
            chosen,
            ""
            if upto is None
            else "worked"
            if rung.number == upto
            else "waits"
            if rung.number > upto
            else "",
            stale,
        )

    # --- the lists

    def line_of_device(self, name: str | None) -> int:
        """The line of the list of devices on which a device stands."""
        lines = self._device_lines()
        return lines.index(name) if name in lines else 0

    def _device_lines(self) -> list[str | None]:
        if self._devices is None:
            return []
        return device_rows(self._devices, self.app.bench.device_list.outer_size)

    def device_on_line(self, line: int) -> str | None:
        """The device that stands on a line of the list."""
        lines = self._device_lines()
        return lines[line] if line < len(lines) else None

    # --- the chart

    def _paint_chart(self, pane: Pane) -> None:
        app = self.app
        bench = app.bench
        height = bench.shares.chart
        if not height:
            return
        width = bench.size.width
        self.chart_names = names = 16 if width < 100 else 24
        self.chart_rulers = rulers = 2 if height >= 5 else 1 if height >= 2 else 0
        charting, session = app.charting, app.session
        chosen = charting.chosen if pane == "chart" else None
        state = (
            session.at,
            session.recorder.ends,
            session.standing.state,
            charting.zoom,
            charting.first,
            charting.names,
            chosen,
            width,
            height,
        )
        if state == self._chart:
            return
        rows = charting.rows(max(4, width - names), names - 4, height - rulers)
        low = charting.low(height - rulers)
        at = None if chosen is None else chosen - low
        bench.chart.show(chart_lines(rows, names, at, rulers, charting.scale_name, app.signs))
        self._chart = (*state[:4], charting.first, *state[5:])

    # --- the line above the keys

    def _detail(self, width: int, pane: Pane, count: int) -> list[str]:
        app = self.app
        text = app.current_message() or self._chosen_words(pane)
        folded = list(fold(safe(text, app.signs.ascii_only), width - 2)) if text else [""]
        lines = folded[: count - 1]
        lines.append(" ".join(folded[count - 1 :]))
        lines += [""] * (count - len(lines))
        return [" " + fit(line, width - 1, app.signs) for line in lines]

    def _chosen_words(self, pane: Pane) -> str:
        """About what is chosen, in one line."""
        app = self.app
        session = app.session
        forces = session.forces()
        if forces and pane != "switches":
            held = ", ".join(f"{name} {'on' if on else 'off'}" for name, on, _ in forces)
            return f"forced: {held} - F lets go of all"
        if pane == "switches":
            name = app.chosen_switch
            return "" if name is None else switch_detail(session.switch(name))
        subject = app.subject
        if subject is None:
            return ""
        device = app.shown_program.by_name.get(subject)
        label = "" if device is None or not device.label else f" - {device.label}"
        if pane == "text":
            return f"{subject}{label}: F6 goes to its rungs, F7 renames it"
        return f"{subject}{label}: w says why, g goes to its rungs, f forces it"
