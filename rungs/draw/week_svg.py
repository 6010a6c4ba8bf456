"""The week of the clocks on sheets of A4, seven days across.

One line a clock, the whole week in it: so it is seen at a glance what is closed when, whether two
windows meet, and which day is unlike the others. Time runs evenly, so that a day on which the
clocks are changed is drawn as long as it is. Lengths are millimetres.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import zip_longest
from typing import Final

from rungs.cells import columns, cut, fold, safe
from rungs.papers.blocks import Picture
from rungs.scan.zone import HOUR, MINUTE
from rungs.svg import (
    EDGE,
    GRID,
    INK,
    LETTER,
    PAPER,
    SHADE,
    SHEETS,
    box,
    document,
    number,
    path,
    solid,
    words,
)
from rungs.week.data import Row, Span, Week, WeekDay, at_text, day_text
from rungs.week.paper import reminders

WIDE, HIGH = SHEETS["A4"]
MARGIN: Final = 12
LEFT: Final = 56  # where the first day begins
RIGHT: Final = WIDE - MARGIN
SMALL: Final = 3.1  # capitals of such letters are 2.2 mm high
NAME: Final = 3.6
BAR: Final = 5.2
_TOP: Final = 43  # where the rows begin
_BOTTOM: Final = HIGH - MARGIN - 9  # where the rows end at the latest; the signs are below
_TALL: Final = 10  # no bar is higher
_LINE: Final = 4.0  # from one line of small letters to the next
_PAD: Final = 1.6  # above and below what stands in a row
_MOST_LINES: Final = 4  # of times under a bar
_THIN: Final = 0.6  # a closure is never drawn narrower
_GROUP: Final = 7
_REST: Final = "#f1f3f5"  # behind Saturdays, Sundays and holidays

_HEADS: Final = {
    "clock": "Clocks",
    "decided": "Outputs that the clocks alone decide",
    "at rest": "Outputs while every input is at rest",
}


@dataclass(frozen=True, slots=True)
class Mark:
    """A closure or an event of a row as it is drawn: from x to x + wide (an event has no width)."""

    x: float
    wide: float
    event: bool


@dataclass(frozen=True, slots=True)
class Label:
    """A text of a row: left end, width, and the line under the bar, from 0."""

    x: float
    wide: float
    line: int
    text: str


@dataclass(frozen=True, slots=True)
class Lane:
    """A row in its place on a sheet: from `y` on, `high` high, its bar `bar` high. `hidden` times
    found no room."""

    row: Row
    y: float
    high: float
    bar: float
    head: str
    under: tuple[str, ...]
    marks: tuple[Mark, ...]
    labels: tuple[Label, ...]
    hidden: int


def week_pictures(week: Week) -> tuple[Picture, ...]:
    """The sheets, A4 landscape in millimetres; none for a panel without clocks."""
    sheets = week_sheets(week)
    return tuple(
        Picture(
            f"week-{n}" if len(sheets) > 1 else "week",
            _sheet(week, lanes, n, len(sheets)),
            _told(week, lanes),
        )
        for n, lanes in enumerate(sheets, 1)
    )


def week_sheets(week: Week) -> tuple[tuple[Lane, ...], ...]:
    """The rows laid out, sheet by sheet. Where one sheet has room to spare, the bars grow."""
    if not any(row.kind == "clock" for row in week.rows):
        return ()
    sheets = _laid(week, BAR)
    if len(sheets) > 1:
        return sheets
    last = sheets[0][-1]
    notes = _LINE * len(_reminders(week)) + 2 * _LINE
    spare = (_BOTTOM - last.y - last.high - notes) / len(sheets[0])
    return _laid(week, min(BAR + max(spare, 0), _TALL))


def _laid(week: Week, bar: float) -> tuple[tuple[Lane, ...], ...]:
    sheets: list[list[Lane]] = [[]]
    y: float = _TOP
    kind = ""
    for row in week.rows:
        made = _lane(week, row, bar)
        head = _HEADS[row.kind] if row.kind != kind else ""
        room = made.high + (_GROUP if head else 0)
        if sheets[-1] and y + room > _BOTTOM:
            sheets.append([])
            y, head = _TOP, _HEADS[row.kind]
        y += _GROUP if head else 0
        sheets[-1].append(replace(made, y=y, head=head))
        y += made.high
        kind = row.kind
    return tuple(tuple(sheet) for sheet in sheets)


def place(week: Week, instant: int) -> float:
    """Where an instant of the week is drawn, in mm from the left edge."""
    part = (instant - week.begin) / (week.end - week.begin)
    return LEFT + min(max(part, 0), 1) * (RIGHT - LEFT)


def instant_at(week: Week, x: float) -> float:
    """The instant that is drawn at a place."""
    return week.begin + (x - LEFT) / (RIGHT - LEFT) * (week.end - week.begin)


# --- one row -------------------------------------------------------------------------------------


def _lane(week: Week, row: Row, bar: float) -> Lane:
    marks = tuple(_mark(week, row, span) for span in row.spans)
    labels, hidden = _labels(week, row)
    letters = int((LEFT - MARGIN - 2) / (SMALL * LETTER))
    under = fold(safe(row.words), letters)
    if len(under) > 3:
        under = (*under[:2], cut(" ".join(under[2:]), letters, tail=0))
    lines = max((label.line + 1 for label in labels), default=1) + bool(hidden)
    high = 2 * _PAD + max(bar + lines * _LINE, 4.6 + len(under) * _LINE)
    return Lane(row, 0, high, bar, "", under, marks, labels, hidden)


def _mark(week: Week, row: Row, span: Span) -> Mark:
    x = place(week, span.begin)
    if row.event:
        return Mark(x, 0, True)
    wide = place(week, span.end) - x
    if wide < _THIN:
        return Mark(min(x, RIGHT - _THIN), _THIN, False)
    return Mark(x, wide, False)


def _labels(week: Week, row: Row) -> tuple[tuple[Label, ...], int]:
    """The times under the bars, each on the first line on which it touches no other, and how many
    found no room. A bar that is long enough has its times at its two ends."""
    found: list[Label] = []
    hidden = 0
    for text, low, high, side in _wanted(week, row):
        wide = columns(text) * SMALL * LETTER
        middle = {"begin": low + wide / 2, "end": high - wide / 2}.get(side, (low + high) / 2)
        least, most = _within(week, low, high, wide)
        x = min(max(middle - wide / 2, least), most)
        for line in range(_MOST_LINES):
            near = [each for each in found if each.line == line]
            if all(x >= e.x + e.wide + 1 or x + wide + 1 <= e.x for e in near):
                found.append(Label(x, wide, line, text))
                break
        else:
            hidden += 1
    return tuple(found), hidden


def _within(week: Week, low: float, high: float, wide: float) -> tuple[float, float]:
    """Between which left ends a text may stand: in the day of its bar, if that lies in one day."""
    for day in week.days:
        begin, end = place(week, day.begin), place(week, day.end)
        if begin <= low < end and high <= end + 0.01 and wide + 0.8 <= end - begin:
            return begin + 0.4, end - wide - 0.4
    return LEFT + 0.4, RIGHT - wide - 0.4


def _wanted(week: Week, row: Row) -> Iterator[tuple[str, float, float, str]]:
    """The texts of a row in order, with the bar that each is for, and at which end it stands."""
    for span in row.spans:
        low, high = place(week, span.begin), place(week, span.end)
        begins, ends = at_text(week, span.begin), at_text(week, span.end)
        if span.end - span.begin < MINUTE:
            yield begins, low, high, "middle"
            continue
        if span.before and span.after:
            yield "closed all week", low, high, "middle"
            continue
        pair = f"{begins}\u2013{ends}"
        wide = columns(pair) * SMALL * LETTER
        if not span.before and not span.after and high - low < wide + 2:
            yield pair, low, high, "middle"
            continue
        if not span.before:
            yield begins, low, high, "begin"
        if not span.after:
            yield ends, low, high, "end"


# --- one sheet -----------------------------------------------------------------------------------


def _sheet(week: Week, lanes: Sequence[Lane], sheet: int, sheets: int) -> str:
    body = [
        box(0, 0, WIDE, HIGH, "paper", PAPER),
        *_head(week, sheet, sheets),
        *_days(week, lanes),
    ]
    for lane in lanes:
        body += _drawn(lane)
    if sheet == sheets:
        body += _minded(week, lanes)
    body += _foot(lanes)
    title = f"{safe(week.title) or 'Panel'}: week from {day_text(week.days[0].day, True)}"
    return document(WIDE, HIGH, title, _told(week, lanes), body, (WIDE, HIGH))


def _told(week: Week, lanes: Sequence[Lane]) -> str:
    names = ", ".join(safe(lane.row.name) for lane in lanes)
    first, last = day_text(week.days[0].day, True), day_text(week.days[-1].day, True)
    return f"When these are closed from {first} to {last}: {names}"


def _head(week: Week, sheet: int, sheets: int) -> Iterator[str]:
    first, last = week.days[0].day, week.days[-1].day
    title = safe(week.title) or "Week of the clocks"
    room = int((RIGHT - MARGIN - 92) / (6 * LETTER))
    yield words(MARGIN, MARGIN + 5.4, cut(title, room, tail=0), 6, weight="bold")
    dates = f"{day_text(first)} to {day_text(last, True)}"
    yield words(RIGHT, MARGIN + 5.4, dates, 5, weight="bold", anchor="end")
    place_text = f"{safe(week.site.label)}, " if week.site.label else ""
    told = f"{place_text}zone {week.zone.key}, local times"
    if sheets > 1:
        told += f"; sheet {sheet} of {sheets}"
    letters = int((RIGHT - MARGIN) / (SMALL * LETTER))
    yield words(MARGIN, MARGIN + 11, cut(told, letters, tail=0), SMALL, soft=True)


def _days(week: Week, lanes: Sequence[Lane]) -> Iterator[str]:
    """The heads of the days, the hours, and the lines down the sheet."""
    bottom = lanes[-1].y + lanes[-1].high
    top = _TOP - 16
    for day in week.days:
        if day.day.weekday() >= 5 or day.holiday:
            a, b = place(week, day.begin), place(week, day.end)
            yield box(a, top, b - a, bottom - top, "dark", _REST)
    # the lines run through the bars and leave the times alone
    stretches = "".join(
        f"V{number(lane.y + _PAD + lane.bar)}M{{x}} {number(lane.y + lane.high)}"
        if following is None
        else f"V{number(lane.y + _PAD + lane.bar)}M{{x}} {number(following.y)}"
        for lane, following in zip_longest(lanes, lanes[1:])
    )
    first = f"M{{x}} {number(lanes[0].y)}{stretches}"
    light, heavy = [], []
    for day in week.days:
        x = place(week, day.begin)
        heavy.append(f"M{number(x)} {number(top)}V{number(_TOP - 2.5)}" + first.format(x=number(x)))
        yield words(x + 1.2, top + 4.4, day_text(day.day), 4, weight="bold")
        if day.holiday:
            letters = int((place(week, day.end) - x - 2) / (SMALL * LETTER))
            yield words(x + 1.2, top + 8.6, cut(safe(day.holiday), letters, tail=0), SMALL)
        for hour in (6, 12, 18):
            at = week.zone.instant(day.day, hour * HOUR)
            tick = number(place(week, at))
            light.append(first.format(x=tick))
            yield words(place(week, at), _TOP - 3.8, str(hour), SMALL, soft=True, anchor="middle")
    x = RIGHT
    heavy.append(f"M{number(x)} {number(top)}V{number(_TOP - 2.5)}" + first.format(x=number(x)))
    yield path("".join(light), 0.15, "grid", GRID)
    yield path("".join(heavy), 0.3, "line", EDGE)
    for day in week.days:
        yield from _change(week, day, top, first)


def _change(week: Week, day: WeekDay, top: float, through: str) -> Iterator[str]:
    """A broken line where the hands are moved."""
    old = week.zone.offset(day.begin)
    if week.zone.offset(day.end - 1) == old:
        return
    low, high = day.begin, day.end
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if week.zone.offset(middle) == old else (low, middle)
    x = place(week, high)
    line = f"M{number(x)} {number(top + 9)}V{number(_TOP - 2.5)}" + through.format(x=number(x))
    yield path(line, 0.5, "line", INK, dash="1.2 0.8")
    from_to = f"{_wall(week, high - 1)}\u2192{at_text(week, high)}"
    yield words(x + 0.8, top + 8.6, from_to, SMALL, weight="bold")


def _wall(week: Week, last: int) -> str:
    """What the hands would show one ms later if they were not moved."""
    _, ms = week.zone.local(last)
    minutes = (ms + 1) // MINUTE % (24 * 60)
    return f"{minutes // 60:02}:{minutes % 60:02}"


def _drawn(lane: Lane) -> Iterator[str]:
    y = lane.y
    if lane.head:
        yield words(MARGIN, y - 1.8, lane.head, NAME, weight="bold")
    yield path(f"M{number(MARGIN)} {number(y)}H{number(RIGHT)}", 0.2, "line", EDGE)
    letters = int((LEFT - MARGIN - 2) / (NAME * LETTER))
    yield words(MARGIN, y + _PAD + 3.2, cut(safe(lane.row.name), letters), NAME, weight="bold")
    for n, text in enumerate(lane.under):
        yield words(MARGIN, y + _PAD + 3.2 + (n + 1) * _LINE, text, SMALL, soft=True)
    top, bottom = y + _PAD, y + _PAD + lane.bar
    yield path(f"M{number(LEFT)} {number(bottom)}H{number(RIGHT)}", 0.2, "line", EDGE)
    for mark in lane.marks:
        yield from _sign(mark, lane.row.kind, top, lane.bar)
    for label in lane.labels:
        yield words(label.x, bottom + (label.line + 1) * _LINE - 0.9, label.text, SMALL)
    if lane.hidden:
        lines = max(label.line + 1 for label in lane.labels)
        text = f"{lane.hidden} more times: see the list"
        yield words(LEFT + 1, bottom + (lines + 1) * _LINE - 0.9, text, SMALL, soft=True)
    if not lane.marks:
        text = "does not close in this week"
        yield words(LEFT + 1.2, bottom + _LINE - 0.9, text, SMALL, soft=True)


def _sign(mark: Mark, kind: str, y: float, high: float) -> Iterator[str]:
    """A closure: of a clock shaded, of an output solid, or hatched where inputs take part. An event
    is a stroke with a head."""
    x, wide = number(mark.x), number(mark.wide)
    outline = f"M{x} {number(y)}h{wide}v{number(high)}h-{wide}z"
    if mark.event:
        yield path(f"M{x} {number(y)}V{number(y + high)}", 0.5)
        yield solid(f"M{number(mark.x - 1.3)} {number(y)}h2.6L{x} {number(y + 2.4)}z")
    elif kind == "clock":
        yield path(outline, 0.4, "dark line", INK, SHADE)
    elif kind == "decided":
        yield box(mark.x, y, mark.wide, high, "ink", INK)
    else:
        yield path(outline, 0.4, "paper line", INK, PAPER)
        yield path(_hatch(mark, y, high), 0.35, "line", INK)


def _hatch(mark: Mark, y: float, high: float) -> str:
    """Slanting strokes inside a bar."""
    d = []
    at = mark.x - high
    while at < mark.x + mark.wide:
        # from the lower edge up to the right, cut off at the ends of the bar
        a, b = max(at, mark.x), min(at + high, mark.x + mark.wide)
        if b - a > 0.05:
            low, top = number(y + high - (a - at)), number(y + high - (b - at))
            d.append(f"M{number(a)} {low}L{number(b)} {top}")
        at += 1.6
    return "".join(d)


def _reminders(week: Week) -> tuple[str, ...]:
    """The lines below the rows, each short enough for the sheet."""
    letters = int((RIGHT - MARGIN - 4) / (SMALL * LETTER))
    return tuple(cut(safe(text), letters, tail=0) for text in reminders(week))


def _minded(week: Week, lanes: Sequence[Lane]) -> Iterator[str]:
    """What to mind, as far as there is room below the rows."""
    y = lanes[-1].y + lanes[-1].high + 2.4 * _LINE
    room = int((_BOTTOM - y) / _LINE)
    lines = _reminders(week)
    if room < 1 or not lines:
        return
    if len(lines) > room:
        lines = (*lines[: room - 1], f"and {len(lines) - room + 1} more: see the list")
    yield words(MARGIN, y, "To mind", NAME, weight="bold")
    for n, line in enumerate(lines, 1):
        yield words(MARGIN, y + n * _LINE + 0.6, line, SMALL)


def _foot(lanes: Sequence[Lane]) -> Iterator[str]:
    y = HIGH - MARGIN - 1
    kinds = {lane.row.kind for lane in lanes}
    parts: list[tuple[str, str]] = []
    if "clock" in kinds:
        parts.append(("clock", "clock closed"))
        if any(mark.event for lane in lanes for mark in lane.marks):
            parts.append(("event", "event, one scan"))
    if "decided" in kinds:
        parts.append(("decided", "output on, by the clocks alone"))
    if "at rest" in kinds:
        parts.append(("at rest", "output on while nobody touches a switch"))
    x: float = MARGIN
    for kind, text in parts:
        event = kind == "event"
        yield from _sign(Mark(x + 4 if event else x, 0 if event else 8, event), kind, y - 4.2, BAR)
        yield words(x + 10, y - 0.6, text, SMALL)
        x += 10 + columns(text) * SMALL * LETTER + 6
