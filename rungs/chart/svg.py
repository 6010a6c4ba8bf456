"""A chart as an SVG picture, to be printed, kept with the papers of a panel, or shown in a page.

Written by hand and not through a drawing library, so that a picture holds nothing but the elements
and attributes listed here: no script, no font and no address. Closed is heavy and open is light, so
that it reads without colour.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator
from dataclasses import dataclass
from html import escape
from textwrap import wrap
from typing import Final

from rungs.chart.axis import corner, ticks
from rungs.chart.data import Chart, Trace, count_at, is_off, stretches, wall_of
from rungs.chart.words import cut, one_line, width
from rungs.language.words import duration_text

ELEMENTS: Final = frozenset({"svg", "title", "desc", "style", "g", "rect", "path", "text"})
ATTRIBUTES: Final = frozenset(
    {"class", "d", "fill", "font-family", "font-size", "font-weight", "height", "role", "stroke"}
    | {"stroke-width", "text-anchor", "viewBox", "width", "x", "y"}
)

# Lengths are units of the picture: 1000 for the run from begin to end.
PLOT: Final = 1000
_MARGIN: Final = 20
_RIGHT: Final = 40  # room for the text of a mark near the end
_ROW: Final = 32
_HIGH: Final = 7  # from the top of a row down to the line of a closed contact
_LOW: Final = 24
_LETTER: Final = 0.61  # width of a letter of the common fixed-width fonts, in heights
_NAME_LETTERS: Final = 36
_CLOSEST: Final = 0.1  # changes closer than this are drawn as one block
_LEAST_BLOCK: Final = 1.6  # wide enough to be seen
_MOST_MARKS: Final = 20_000  # edges and blocks of a picture

_INK: Final = "#16191d"
_SOFT: Final = "#5a626b"
_GRID: Final = "#d5d9de"
_DARK: Final = "#e1e4e8"
_EDGE: Final = "#9aa3ad"  # so that a narrow band is seen
_PAPER: Final = "#ffffff"

# a viewer that knows nothing of colour schemes, and every printer, takes the attributes instead
_STYLE: Final = (
    "@media screen and (prefers-color-scheme:dark){"
    ".paper{fill:#14171b}.ink{fill:#eceff2}.soft{fill:#a3abb5}.dark{fill:#2e343c;stroke:#6b7580}"
    ".line{stroke:#eceff2}.grid{stroke:#3a414a}}"
)

_Value = str | int | float


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
    words = [one_line(chart.title) or "Timing chart", _extent(chart)]
    number = len(chart.traces)
    words.append(f"{number} trace{'s' * (number != 1)}")
    words += [one_line(note) for note in chart.notes]
    opening = _open(
        "svg",
        viewBox=f"0 0 {_number(plan.width)} {_number(plan.height)}",
        role="img",
        font_family="ui-monospace, monospace",
    ).replace("<svg", '<svg xmlns="http://www.w3.org/2000/svg"', 1)
    head = [
        '<?xml version="1.0" encoding="UTF-8"?>',
        opening,
        _tag("title", words[0]),
        _tag("desc", "; ".join(words)),
        f"<style>{_STYLE}</style>",
    ]
    return "\n".join([*head, *body, "</svg>"]) + "\n"


# --- where things go


class _Plan:
    """Places in the picture of one chart."""

    def __init__(self, chart: Chart) -> None:
        self.chart = chart
        names = [width(one_line(trace.name)) * 12 * _LETTER for trace in chart.traces]
        labels = [width(_under(trace)) * 9 * _LETTER for trace in chart.traces]
        widest = _NAME_LETTERS * 12 * _LETTER
        self.left = _MARGIN + min(max([*names, *labels, 90]), widest) + 14
        self.width = self.left + PLOT + _RIGHT
        letters = (self.width - 2 * _MARGIN) / _LETTER
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
        return self._span / PLOT * 10 * _LETTER


def _extent(chart: Chart) -> str:
    wall = wall_of(chart)
    since = duration_text(chart.begin) if chart.begin else "0s"
    run = f"{since} to {duration_text(chart.end)} of the run"
    if wall is None:
        return run
    return f"{wall.text(chart.begin)} to {wall.text(chart.end)}, {one_line(chart.zone)} ({run})"


def _under(trace: Trace) -> str:
    """What stands under the name of a trace."""
    label = one_line(trace.label)
    return f"{trace.kind}: {label}" if label else trace.kind


def _folded(text: str, letters: int) -> list[str]:
    shown = one_line(text)
    wide = width(shown) > len(shown)
    return wrap(shown, max(letters // (2 if wide else 1), 10)) or [""]


# --- the parts


def _backdrop(plan: _Plan) -> Iterator[str]:
    yield _shape(0, 0, plan.width, plan.height, "paper", _PAPER)


def _head(plan: _Plan) -> Iterator[str]:
    y = 34.0
    for line in plan.title:
        yield _words(_MARGIN, y, line, 17, weight="bold")
        y += 22
    y -= 2
    for line in plan.notes:
        yield _words(_MARGIN, y, line, 11, soft=True)
        y += 16


def _axis(plan: _Plan) -> Iterator[str]:
    chart = plan.chart
    wall = wall_of(chart)
    found = ticks(wall, chart.begin, chart.end, plan.ms_per_letter)
    rows = [plan.top + _ROW * n for n in range(len(chart.traces) + 1)]
    lines = "".join(f"M{_number(_MARGIN)} {_number(y)}H{_number(plan.left + PLOT)}" for y in rows)
    below = plan.bottom + (5 if plan.twice else 0)
    lines += "".join(
        f"M{_number(plan.x(tick.t))} {_number(plan.top - 5)}V{_number(below)}" for tick in found
    )
    yield _path(lines, "grid", _GRID, 1)
    for y in (plan.top - 9, *([plan.bottom + 15] if plan.twice else [])):
        yield _words(_MARGIN, y, corner(wall, chart.begin), 10, soft=True)
        for tick in found:
            at, reach = plan.x(tick.t), len(tick.text) * 10 * _LETTER / 2
            at = min(at, plan.width - 4 - reach)
            yield _words(at, y, tick.text, 10, soft=True, anchor="middle")


def _dark(plan: _Plan) -> Iterator[str]:
    """The stretches without power."""
    height = _number(plan.bottom - plan.top)
    bands: list[tuple[float, float]] = []
    for since, to in plan.chart.off:
        a, b = _widened(plan.x(since), plan.x(to), plan)
        if bands and a - bands[-1][1] < _CLOSEST:
            bands[-1] = bands[-1][0], max(b, bands[-1][1])
        else:
            bands.append((a, b))
    if bands:
        text = "".join(
            f"M{_number(a)} {_number(plan.top)}h{_number(b - a)}v{height}h{_number(a - b)}z"
            for a, b in bands
        )
        yield _path(text, "dark", _EDGE, 0.75, _DARK)


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
    high, low = _number(y + _HIGH), _number(y + _LOW)
    yield "<g>"
    name = one_line(trace.name)
    yield _tag("title", f"{name} ({_under(trace)})")
    room = plan.left - _MARGIN - 14
    yield _words(_MARGIN, y + 14, cut(name, int(room / 12 / _LETTER + 0.01)), 12)
    under = cut(_under(trace), int(room / 9 / _LETTER + 0.01), tail=0)
    yield _words(_MARGIN, y + 26, under, 9, soft=True)
    light = "".join(f"M{_number(a)} {low}H{_number(b)}" for a, b, on in pieces.lines if not on)
    heavy = "".join(f"M{_number(a)} {high}H{_number(b)}" for a, b, on in pieces.lines if on)
    light += "".join(f"M{_number(x)} {low}V{high}" for x in pieces.edges)
    solid = "".join(
        f"M{_number(a)} {_number(y + _HIGH - 1.75)}H{_number(b)}V{low}H{_number(a)}z"
        for a, b in pieces.blocks
    )
    if light:
        yield _path(light, "line", _INK, 1)
    if heavy:
        yield _path(heavy, "line", _INK, 3.5)
    if solid:
        yield _fill(solid, "ink", _INK)
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
        if free - at >= len(text) * 9 * _LETTER + 6 and not is_off(plan.chart, t):
            yield _words(at + 3, y + 20, text, 9, soft=True)


def _foot(plan: _Plan) -> Iterator[str]:
    words = ["heavy: closed", "light: open", "solid: changes too close to tell apart"]
    words += ["grey: no power"] if plan.chart.off else []
    yield _words(_MARGIN, plan.height - 12, " \u00b7 ".join(words), 10, soft=True)


# --- elements


def _number(value: float) -> str:
    text = f"{value:.2f}"
    return text.rstrip("0").rstrip(".")


def _open(name: str, **attributes: _Value) -> str:
    parts = [name]
    for key, value in attributes.items():
        text = value if isinstance(value, str) else _number(value)
        parts.append(f'{key.rstrip("_").replace("_", "-")}="{escape(text)}"')
    return f"<{' '.join(parts)}>"


def _tag(name: str, text: str, **attributes: _Value) -> str:
    return f"{_open(name, **attributes)}{escape(text)}</{name}>"


def _empty(name: str, **attributes: _Value) -> str:
    return _open(name, **attributes)[:-1] + "/>"


def _shape(x: float, y: float, wide: float, high: float, kind: str, fill: str) -> str:
    return _empty("rect", class_=kind, x=x, y=y, width=wide, height=high, fill=fill)


def _path(d: str, kind: str, stroke: str, weight: float, fill: str = "none") -> str:
    return _empty("path", class_=kind, d=d, fill=fill, stroke=stroke, stroke_width=weight)


def _fill(d: str, kind: str, fill: str) -> str:
    return _empty("path", class_=kind, d=d, fill=fill)


def _words(
    x: float,
    y: float,
    text: str,
    size: int,
    soft: bool = False,
    weight: str = "",
    anchor: str = "",
) -> str:
    more: dict[str, _Value] = {}
    if weight:
        more["font_weight"] = weight
    if anchor:
        more["text_anchor"] = anchor
    kind, fill = ("soft", _SOFT) if soft else ("ink", _INK)
    return _tag("text", text, class_=kind, x=x, y=y, font_size=size, fill=fill, **more)
