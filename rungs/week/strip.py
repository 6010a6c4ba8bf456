"""The week as a picture in characters: at a glance, and day by day with the times beside it.

A cell is a stretch of the day as the hands show it, so that a mark under 06 is six o'clock on the
day of a change too; a cell whose hour is left out says so, one whose hour comes twice holds both.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

from rungs.cells import columns, cut, fold, safe
from rungs.language.words import WEEKDAYS
from rungs.scan.zone import DAY, HOUR, Zone
from rungs.week.data import Row, Span, Week, WeekDay, day_text, day_times, pieces

LEAST_WIDTH: Final = 72
_NAME: Final = 18


@dataclass(frozen=True, slots=True)
class Signs:
    """The characters of a picture: closed, its first and second half, in part, an event, open, a
    time that is left out."""

    closed: str
    first: str
    second: str
    part: str
    event: str
    open: str
    missing: str


BLOCKS: Final = Signs("█", "▌", "▐", "▒", "◆", "·", "┊")
ASCII: Final = Signs("#", "(", ")", "+", "!", ".", "x")


def cells(row: Row, day: WeekDay, count: int, zone: Zone, signs: Signs) -> str:
    """One date of a row in `count` cells of equal stretches of the clock's face."""
    spans = pieces(row, day)
    size = DAY // count
    found = []
    for place in range(count):
        stretches = _stretches(day, place * size, (place + 1) * size, zone)
        found.append(_cell(row, spans, stretches, signs))
    return "".join(found)


def _stretches(day: WeekDay, low: int, high: int, zone: Zone) -> list[tuple[int, int]]:
    """The instants of a date at which the hands are between two wall times, in order; two
    stretches where those come twice, none where they are left out."""
    if day.end - day.begin == DAY and zone.offset(day.begin) == zone.offset(day.end - 1):
        return [(day.begin + low, day.begin + high)]
    midnight = zone.instant(day.day, 0) + zone.offset(zone.instant(day.day, 0))
    offsets = dict.fromkeys((zone.offset(day.begin), zone.offset(day.end - 1)))
    found = []
    change = _change(day, zone)
    for number, offset in enumerate(offsets):
        # before the change the first offset holds, after it the second
        begin, end = (day.begin, change) if number == 0 else (change, day.end)
        a, b = max(midnight + low - offset, begin), min(midnight + high - offset, end)
        if a < b:
            found.append((a, b))
    return found


def _change(day: WeekDay, zone: Zone) -> int:
    """The instant on a date from which the last offset holds; the end of a date without one."""
    old, low, high = zone.offset(day.begin), day.begin, day.end
    if zone.offset(high - 1) == old:
        return high
    while high - low > 1:
        middle = (low + high) // 2
        low, high = (middle, high) if zone.offset(middle) == old else (low, middle)
    return high


def _cell(
    row: Row, spans: Sequence[Span], stretches: Sequence[tuple[int, int]], signs: Signs
) -> str:
    if not stretches:
        return signs.missing
    if row.event:
        hit = any(a <= span.begin < b for span in spans for a, b in stretches)
        return signs.event if hit else signs.open
    parts = [
        (max(span.begin, a), min(span.end, b), a, b)
        for a, b in stretches
        for span in spans
        if min(span.end, b) > max(span.begin, a)
    ]
    if not parts:
        return signs.open
    if sum(end - begin for begin, end, _, _ in parts) == sum(b - a for a, b in stretches):
        return signs.closed
    if len(parts) > 1 or len(stretches) > 1:
        return signs.part
    # one edge in the cell: rounded to halves of it, and never to nothing
    begin, end, a, b = parts[0]
    halves = max(round(2 * (end - begin) / (b - a)), 1 if _whole(spans, a, b) else 0)
    if begin > a and end < b:
        return signs.closed if halves == 2 else signs.part
    return (signs.open, signs.first if begin == a else signs.second, signs.closed)[halves]


def _whole(spans: Sequence[Span], a: int, b: int) -> bool:
    """Whether a closure lies within one cell, and so would be lost if it were rounded away."""
    return any(a <= span.begin and span.end <= b for span in spans)


# --- pictures ------------------------------------------------------------------------------------


def strip_text(week: Week, width: int = 80, ascii_only: bool = False) -> str:
    """The whole picture in lines of at most `width` columns (at least 72): first the week at a
    glance, a line for each clock and output; then the days of each, with their times."""
    width = max(width, LEAST_WIDTH)
    signs = ASCII if ascii_only else BLOCKS
    parts = ["\n".join(_glance(week, width, signs, ascii_only))]
    for row in week.rows:
        parts.append("\n".join(_by_day(week, row, width, signs, ascii_only)))
    parts.append("\n".join(_legend(week, width, signs)))
    return "\n\n".join(parts)


def _name_room(week: Week) -> int:
    return min(max([columns(safe(row.name)) for row in week.rows] + [6]), _NAME)


def _glance(week: Week, width: int, signs: Signs, ascii_only: bool) -> list[str]:
    room = _name_room(week)
    count = _cell_count((width - room - 1) // 7 - 1)
    heads = [WEEKDAYS[day.day.weekday()] + f" {day.day.day}" for day in week.days]
    line = " " * (room + 1)
    lines = [line + "".join(("|" + head).ljust(count + 1)[: count + 1] for head in heads) + "|"]
    if count >= 24:
        ruler = "".join(" " + _ruler(count) for _ in week.days)
        lines.append(line + ruler.rstrip())
    kind = ""
    for row in week.rows:
        if row.kind != kind:
            kind = row.kind
            if kind != "clock":
                lines.append(_HEADS[kind])
        name = cut(safe(row.name, ascii_only), room, ascii_only)
        name += " " * (room - columns(name))
        days = (cells(row, day, count, week.zone, signs) for day in week.days)
        lines.append(f"{name} |{'|'.join(days)}|")
    return lines


_HEADS: Final = {
    "clock": "clocks",
    "decided": "outputs that the clocks alone decide",
    "at rest": "outputs while every input is at rest",
}


def _cell_count(room: int) -> int:
    """The most cells for a day that are whole parts of it: of an hour, or whole hours."""
    return max(n for n in (4, 6, 8, 12, 24, 48, 96) if n <= max(room, 4))


def _ruler(count: int) -> str:
    """`0`, `6`, `12` and `18` over the cells of a day."""
    text = ""
    for hour in range(0, 24, 6 if count < 48 else 3):
        text = text.ljust(hour * count // 24) + str(hour)
    return text.ljust(count)


def _by_day(week: Week, row: Row, width: int, signs: Signs, ascii_only: bool) -> list[str]:
    count = 96 if width >= 136 else 48
    head = f"{safe(row.name, ascii_only)}  {safe(row.words, ascii_only)}"
    if row.kind == "at rest":
        head += "; while every input is at rest"
    lines = [cut(head, width, ascii_only, tail=0)]
    if not row.spans:
        return [*lines, "       does not close in this week"]
    lines.append(" " * 8 + _ruler(count).rstrip())
    shown: list[tuple[list[WeekDay], str, str]] = []
    for day in week.days:
        drawn = cells(row, day, count, week.zone, signs)
        times = day_times(week, row, day)
        usual = day.end - day.begin == DAY
        if shown and usual and shown[-1][1:] == (drawn, times):
            shown[-1][0].append(day)
        else:
            shown.append(([day], drawn, times))
    for days, drawn, times in shown:
        first, last = (WEEKDAYS[day.day.weekday()] for day in (days[0], days[-1]))
        label = first
        if len(days) > 1:
            label += ("-" if len(days) > 2 else ",") + last
        line = f"{label:<7}|{drawn}|"
        told, *more = fold(times, width - len(line) - 1)
        lines.append(f"{line} {told}".rstrip())
        lines += [" " * (len(line) + 1) + each for each in more]
    return lines


def _legend(week: Week, width: int, signs: Signs) -> list[str]:
    words = [
        f"{signs.closed} closed",
        f"{signs.first} {signs.second} half of the cell",
        f"{signs.part} part of it",
        f"{signs.event} event, for one scan",
        f"{signs.open} open",
    ]
    notes = []
    for day in week.days:
        long = day.end - day.begin
        if long != DAY:
            told = "some times are left out" if long < DAY else "some times come twice"
            hours = f"the day has {long / HOUR:g} h"
            notes.append(f"{day_text(day.day)}: the clocks are changed, {hours}; {told}")
            if long < DAY:
                words.append(f"{signs.missing} left out")
        if day.holiday:
            notes.append(f"{day_text(day.day)}: {safe(day.holiday)}")
    lines: list[str] = []
    for word in words:
        if lines and columns(lines[-1]) + 3 + columns(word) <= width:
            lines[-1] += "   " + word
        else:
            lines.append(word)
    return [*lines, *(line for note in notes for line in fold(note, width))]
