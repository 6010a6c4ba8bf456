"""A chart as an SVG picture, to be printed, kept with the papers of a panel, or shown in a page.

Closed is heavy and open is light, so that it reads without colour.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from textwrap import wrap
from typing import Final

from rungs.cells import columns as width
from rungs.cells import cut, safe
from rungs.chart.axis import corner, ticks
from rungs.chart.data import Chart, Trace, count_at, is_off, stretches, wall_of
from rungs.language.words import duration_text
from rungs.svg import (
    EDGE,
    GRID,
    LETTER,
    PAPER,
    SHADE,
    box,
    document,
    number,
    path,
    solid,
    tag,
    words,
)

# Lengths are units of the picture: 1000 for the run from begin to end.
PLOT: Final = 1000
_MARGIN: Final = 20
_RIGHT: Final = 40  # room for the text of a mark near the end
_ROW: Final = 32
_HIGH: Final = 7  # from the top of a row down to the line of a closed contact
_LOW: Final = 24
_NAME_LETTERS: Final = 36
_CLOSEST: Final = 0.1  # changes closer than this are drawn as one block
_LEAST_BLOCK: Final = 1.6  # wide enough to be seen
_MOST_MARKS: Final = 20_000  # edges and blocks of a picture


def svg_text(chart: Chart) -> str:
    """The chart as one SVG document (SVG 1.1), the same for the same chart.

    Names, kinds and labels stand on the left, round times above and, under more than a few traces,
    below. Changes closer than a tenth of a unit (a thousandth of the run is one) become one solid
    block of visible width, and so do changes that lie farther apart where there are too many to
    draw: a picture stays under a megabyte and hides no change. Stretches without power are grey
    bands without lines. Title, extent and notes stand above.
    """
    plan = _Plan(chart)
    body = [
        *_backdrop(plan),
        *_head(plan),
        *_axis(plan),
        *_dark(plan),
        *_traces(plan),
        *_foot(plan),
    ]
    said = [safe(chart.title) or "Timing chart", _extent(chart)]
    count = len(chart.traces)
    said.append(f"{count} trace{'s' * (count != 1)}")
    said += [safe(note) for note in chart.notes]
    return document(plan.width, plan.height, said[0], "; ".join(said), body)


# --- where things go


class _Plan:
    """Places in the picture of one chart."""

    def __init__(self, chart: Chart) -> None:
        self.chart = chart
        names = [width(safe(trace.name)) * 12 * LETTER for trace in chart.traces]
        labels = [width(_under(trace)) * 9 * LETTER for trace in chart.traces]
        widest = _NAME_LETTERS * 12 * LETTER
        self.left = _MARGIN + min(max([*names, *labels, 90]), widest) + 14
        self.width = self.left + PLOT + _RIGHT
        letters = (self.width - 2 * _MARGIN) / LETTER
        self.title = _folded(chart.title or "Timing chart", int(letters / 17))
        notes = [_extent(chart), *chart.notes]
        self.notes = [line for note in notes for line in _folded(note, int(letters / 11))]
        self.top = 38 + 22 * (len(self.title) - 1) + 16 * len(self.notes) + 26
        self.bottom = self.top + _ROW * len(chart.traces)
        self.twice = len(chart.traces) > 8  # the axis stands below as well
        self.height = self.bottom + (50 if self.twice else 34)
        # the state after the last scan lasts as long as any
        self._span = chart.end - chart.begin + chart.period

    def x(self, t: int) -> float:
        """The place of a time."""
        return self.left + min(max((t - self.chart.begin) / self._span, 0), 1) * PLOT

    @property
    def ms_per_letter(self) -> float:
        """The time that passes in the width of a letter of the axis."""
        return self._span / PLOT * 10 * LETTER


def _extent(chart: Chart) -> str:
    wall = wall_of(chart)
    since = duration_text(chart.begin) if chart.begin else "0s"
    run = f"{since} to {duration_text(chart.end)} of the run"
    if wall is None:
        return run
    return f"{wall.text(chart.begin)} to {wall.text(chart.end)}, {safe(chart.zone)} ({run})"


def _under(trace: Trace) -> str:
    """What stands under the name of a trace."""
    label = safe(trace.label)
    return f"{trace.kind}: {label}" if label else trace.kind


def _folded(text: str, letters: int) -> list[str]:
    shown = safe(text)
    wide = width(shown) > len(shown)
    return wrap(shown, max(letters // (2 if wide else 1), 10)) or [""]


# --- the parts


def _backdrop(plan: _Plan) -> Iterator[str]:
    yield box(0, 0, plan.width, plan.height, "paper", PAPER)


def _head(plan: _Plan) -> Iterator[str]:
    y = 34.0
    for line in plan.title:
        yield words(_MARGIN, y, line, 17, weight="bold")
        y += 22
    y -= 2
    for line in plan.notes:
        yield words(_MARGIN, y, line, 11, soft=True)
        y += 16


def _axis(plan: _Plan) -> Iterator[str]:
    chart = plan.chart
    wall = wall_of(chart)
    found = ticks(wall, chart.begin, chart.end, plan.ms_per_letter)
    rows = [plan.top + _ROW * n for n in range(len(chart.traces) + 1)]
    lines = "".join(f"M{number(_MARGIN)} {number(y)}H{number(plan.left + PLOT)}" for y in rows)
    below = plan.bottom + (5 if plan.twice else 0)
    lines += "".join(
        f"M{number(plan.x(tick.t))} {number(plan.top - 5)}V{number(below)}" for tick in found
    )
    yield path(lines, 1, "grid", GRID)
    for y in (plan.top - 9, *([plan.bottom + 15] if plan.twice else [])):
        yield words(_MARGIN, y, corner(wall, chart.begin), 10, soft=True)
        for tick in found:
            at, reach = plan.x(tick.t), len(tick.text) * 10 * LETTER / 2
            at = min(at, plan.width - 4 - reach)
            yield words(at, y, tick.text, 10, soft=True, anchor="middle")


def _dark(plan: _Plan) -> Iterator[str]:
    """The stretches without power."""
    height = number(plan.bottom - plan.top)
    bands: list[tuple[float, float]] = []
    for since, to in plan.chart.off:
        a, b = _widened(plan.x(since), plan.x(to), plan)
        if bands and a - bands[-1][1] < _CLOSEST:
            bands[-1] = bands[-1][0], max(b, bands[-1][1])
        else:
            bands.append((a, b))
    if bands:
        text = "".join(
            f"M{number(a)} {number(plan.top)}h{number(b - a)}v{height}h{number(a - b)}z"
            for a, b in bands
        )
        yield path(text, 0.75, "dark", EDGE, SHADE)


def _widened(a: float, b: float, plan: _Plan) -> tuple[float, float]:
    """A stretch that is wide enough to be seen, inside the plot."""
    short = _LEAST_BLOCK - (b - a)
    if short <= 0:
        return a, b
    a = min(max(a - short / 2, plan.left), plan.left + PLOT - _LEAST_BLOCK)
    return a, a + _LEAST_BLOCK


@dataclass(frozen=True, slots=True)
class _Drawn:
    """One trace in pieces: level lines with their states, edges, and blocks."""

    lines: tuple[tuple[float, float, bool], ...]
    edges: tuple[float, ...]
    blocks: tuple[tuple[float, float], ...]


def _traces(plan: _Plan) -> Iterator[str]:
    every = [
        [(plan.x(t), state) for t, state in stretches(plan.chart, trace)]
        for trace in plan.chart.traces
    ]
    closest = _CLOSEST
    drawn = [_draw(states, plan, closest) for states in every]
    while sum(len(d.edges) + len(d.blocks) for d in drawn) > _MOST_MARKS:
        closest *= 2
        drawn = [_draw(states, plan, closest) for states in every]
    for index, (trace, pieces) in enumerate(zip(plan.chart.traces, drawn, strict=True)):
        yield from _trace(plan, plan.top + _ROW * index, trace, pieces)


def _draw(states: list[tuple[float, bool | None]], plan: _Plan, closest: float) -> _Drawn:
    lines: list[tuple[float, float, bool]] = []
    edges: list[float] = []
    blocks: list[tuple[float, float]] = []
    since, now = states[0]
    at = 1
    while at < len(states):
        last = at
        while last + 1 < len(states) and states[last + 1][0] - states[last][0] < closest:
            last += 1
        if now is not None:
            lines.append((since, states[at][0], now))
        if last > at:
            blocks.append(_widened(states[at][0], states[last][0], plan))
        elif now is not None and states[at][1] is not None:
            edges.append(states[at][0])
        since, now = states[last]
        at = last + 1
    if now is not None:
        lines.append((since, plan.left + PLOT, now))
    return _Drawn(tuple(lines), tuple(edges), tuple(blocks))


def _trace(plan: _Plan, y: float, trace: Trace, pieces: _Drawn) -> Iterator[str]:
    high, low = number(y + _HIGH), number(y + _LOW)
    yield "<g>"
    name = safe(trace.name)
    yield tag("title", f"{name} ({_under(trace)})")
    room = plan.left - _MARGIN - 14
    yield words(_MARGIN, y + 14, cut(name, int(room / 12 / LETTER + 0.01)), 12)
    under = cut(_under(trace), int(room / 9 / LETTER + 0.01), tail=0)
    yield words(_MARGIN, y + 26, under, 9, soft=True)
    light = "".join(f"M{number(a)} {low}H{number(b)}" for a, b, on in pieces.lines if not on)
    heavy = "".join(f"M{number(a)} {high}H{number(b)}" for a, b, on in pieces.lines if on)
    light += "".join(f"M{number(x)} {low}V{high}" for x in pieces.edges)
    block = "".join(
        f"M{number(a)} {number(y + _HIGH - 1.75)}H{number(b)}V{low}H{number(a)}z"
        for a, b in pieces.blocks
    )
    if light:
        yield path(light, 1)
    if heavy:
        yield path(heavy, 3.5)
    if block:
        yield solid(block)
    yield from _counts(plan, y, trace, pieces)
    yield "</g>"


def _counts(plan: _Plan, y: float, trace: Trace, pieces: _Drawn) -> Iterator[str]:
    """The count wherever it is new, or power is back, and nothing else is drawn in its place."""
    if not trace.counts:
        return
    off = [t for stretch in plan.chart.off for t in stretch if t <= plan.chart.end]
    times = sorted({*(t for t, _ in trace.counts), *off})
    busy = sorted([*pieces.edges, *(a for a, _ in pieces.blocks), *map(plan.x, times)])
    busy.append(plan.left + PLOT)
    for t in times:
        text, at = str(count_at(trace, t)), plan.x(t)
        free = busy[bisect_right(busy, at)] if at < busy[-1] else at
        if free - at >= len(text) * 9 * LETTER + 6 and not is_off(plan.chart, t):
            yield words(at + 3, y + 20, text, 9, soft=True)


def _foot(plan: _Plan) -> Iterator[str]:
    said = ["heavy: closed", "light: open", "solid: changes too close to tell apart"]
    said += ["grey: no power"] if plan.chart.off else []
    yield words(_MARGIN, plan.height - 12, " \u00b7 ".join(said), 10, soft=True)
