"""The week of a panel as data: when each clock is closed, and what is odd about the year ahead.

All instants are whole ms since 1970 in UTC, because the local hour of an autumn night comes twice;
whoever shows them turns them into local time by the week's zone, and only there.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Final, Literal

from rungs.language.words import WEEKDAYS, clock_text, duration_text
from rungs.program.nodes import Site
from rungs.prove.ready import Fight
from rungs.scan.zone import MINUTE, SECOND, Zone

MONTHS: Final = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Span:
    """Closed from `begin` up to but not including `end`, cut off at the ends of what was looked at.

    An event has both ends equal. `before` says that it was closed already before that, `after` that
    it stays closed.
    """

    begin: int
    end: int
    before: bool = False
    after: bool = False


Kind = Literal["clock", "decided", "at rest"]


@dataclass(frozen=True, slots=True)
class Row:
    """One line of the picture: a clock, or the coil of an output.

    `decided` outputs follow the clocks whatever the inputs do; a row `at rest` is only right while
    no input moves. `words` say how a clock is written or which clocks an output depends on.
    """

    name: str
    kind: Kind
    words: str
    event: bool
    spans: tuple[Span, ...]
    label: str = ""


@dataclass(frozen=True, slots=True)
class WeekDay:
    """A date of the week, the instants at which it begins and ends, and its holiday if it is one.

    It is 24 h long but for the days on which the clocks are changed.
    """

    day: date
    begin: int
    end: int
    holiday: str = ""


Decides = Literal["clocks", "inputs", "start", "busy", "nothing"]


@dataclass(frozen=True, slots=True)
class Decision:
    """What decides an output: the clocks alone; inputs too; when power came or what was kept; more
    changes than are worked out; or nothing that ever moves. `clocks` and `inputs` are names."""

    output: str
    by: Decides
    clocks: tuple[str, ...]
    inputs: tuple[str, ...]
    text: str


@dataclass(frozen=True, slots=True)
class Overlap:
    """Two windows in parallel of one output that are closed at once.

    `spans` are those of the week. Over twelve months they overlap on `days` dates, at most
    `longest` ms at a time. `inside` names the one that is never closed without the other, or is
    empty; its contact adds nothing.
    """

    output: str
    one: str
    other: str
    spans: tuple[Span, ...]
    days: int
    longest: int
    inside: str


@dataclass(frozen=True, slots=True)
class Gap:
    """Pauses of at most GAP_MOST between the window `after` and the window `before` of one output,
    in which none of the windows in parallel for it is closed.

    `spans` are those of the week; over twelve months there are `count`, at most `longest` ms long,
    the first of that length on `longest_on`.
    """

    output: str
    after: str
    before: str
    spans: tuple[Span, ...]
    count: int
    longest: int
    longest_on: date


NightKind = Literal[
    "as written", "longer", "shorter", "moved", "once", "empty", "by the sun", "not that night"
]


@dataclass(frozen=True, slots=True)
class Night:
    """What one clock does when the hands are moved. `real` is how long its window is closed, and
    `usual` how long it is on other days, or, where the sun has a part in it, how long it looks by
    the clock's face; in ms, both 0 for an event."""

    clock: str
    kind: NightKind
    real: int
    usual: int
    text: str


@dataclass(frozen=True, slots=True)
class Change:
    """A change of the clocks: at the instant `at` the offset from UTC (ms) goes from `before` to
    `after`. The wall times from `first` up to `last`, ms of the date `day`, are left out or come
    twice."""

    at: int
    day: date
    before: int
    after: int
    first: int
    last: int
    nights: tuple[Night, ...]

    @property
    def missing(self) -> bool:
        """Whether wall times are left out; else they come twice."""
        return self.after > self.before


OddKind = Literal[
    "holiday",
    "season begins",
    "season ends",
    "no sun event",
    "empty window",
    "runs on",
    "unlisted day",
    "stands still",
]


@dataclass(frozen=True, slots=True)
class Note:
    """Something out of the ordinary in the twelve months, on the dates from `first` to `last`.

    `clock` is empty for what concerns the whole panel.
    """

    kind: OddKind
    clock: str
    first: date
    last: date
    text: str


@dataclass(frozen=True, slots=True)
class SunRange:
    """Between which times of day, by the clock's face, a sun clock begins or ends over the twelve
    months: (ms of the day, first date of it), the earliest and the latest. A time that slides over
    midnight counts round it."""

    clock: str
    end: Literal["begins", "ends", "comes"]
    words: str
    earliest: tuple[int, date]
    latest: tuple[int, date]


@dataclass(frozen=True, slots=True)
class Week:
    """Everything the week view shows. `until` is the first date after the twelve months.

    There may be more `clashes` where `unknown` says that the search was cut off, and by what.
    """

    title: str
    site: Site
    zone: Zone
    days: tuple[WeekDay, ...]
    until: date
    rows: tuple[Row, ...]
    decisions: tuple[Decision, ...]
    overlaps: tuple[Overlap, ...]
    gaps: tuple[Gap, ...]
    clashes: tuple[Fight, ...]
    changes: tuple[Change, ...]
    notes: tuple[Note, ...]
    sun: tuple[SunRange, ...]
    problems: tuple[str, ...]
    unknown: str = ""

    @property
    def begin(self) -> int:
        """The instant at which the first date begins."""
        return self.days[0].begin

    @property
    def end(self) -> int:
        """The instant at which the last date ends."""
        return self.days[-1].end


# --- words that several papers use ---------------------------------------------------------------


def day_text(day: date, year: bool = False) -> str:
    """`Mon 23 Nov`, or `Mon 23 Nov 2026`."""
    text = f"{WEEKDAYS[day.weekday()]} {day.day} {MONTHS[day.month - 1]}"
    return f"{text} {day.year}" if year else text


def time_text(ms: int) -> str:
    """`22:30`, with seconds only where there are any."""
    return clock_text(ms, seconds=bool(ms // SECOND % 60), thousandths=bool(ms % SECOND))


def at_text(week: Week, instant: int) -> str:
    """The local time of an instant, to the minute (cut off)."""
    return clock_text(week.zone.local(instant)[1])


def until_text(week: Week, instant: int, day: WeekDay) -> str:
    """The same for the end of a span that is shown under `day`: its last moment is `24:00`."""
    return "24:00" if instant >= day.end else at_text(week, instant)


def length_text(ms: int) -> str:
    """A length to the minute, `17h32min`; below a minute as it is."""
    return duration_text(ms // MINUTE * MINUTE if ms >= MINUTE else ms)


def pieces(row: Row, day: WeekDay) -> tuple[Span, ...]:
    """The parts of a row's spans that lie on one date; an event on its instant."""
    found = []
    for span in row.spans:
        if row.event:
            if day.begin <= span.begin < day.end:
                found.append(span)
            continue
        begin, end = max(span.begin, day.begin), min(span.end, day.end)
        if begin < end:
            before = span.before if span.begin >= day.begin else True
            after = span.after if span.end <= day.end else True
            found.append(Span(begin, end, before, after))
    return tuple(found)


def day_times(week: Week, row: Row, day: WeekDay) -> str:
    """When a row is closed on one date: `to 08:41, 15:09 on`, `19:00-22:30`, `all day`, or empty.

    Times are cut off to the minute; a closure of less than a minute is told as its moment.
    """
    texts = []
    for span in pieces(row, day):
        if span.end - span.begin < MINUTE:
            texts.append(at_text(week, span.begin))
        elif span.begin == day.begin and span.end == day.end and span.before and span.after:
            texts.append("all day")
        elif span.begin == day.begin and span.before:
            texts.append(f"to {until_text(week, span.end, day)}")
        elif span.end == day.end and span.after:
            texts.append(f"{at_text(week, span.begin)} on")
        else:
            texts.append(f"{at_text(week, span.begin)}-{until_text(week, span.end, day)}")
    return ", ".join(texts)


def year_after(first: date) -> date:
    """The same date a year later; 28 February for 29 February."""
    if (first.month, first.day) == (2, 29):
        return date(first.year + 1, 2, 28)
    return first.replace(year=first.year + 1)
