"""A timing chart as data: who was closed when, and when there was no power.

Times are whole ms of the run. A chart keeps flips and not levels, so that a day of a panel costs
what happened in it; every face of a chart (rows, CSV, SVG, VCD) reads these nodes alone.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from itertools import groupby
from operator import itemgetter, lt
from typing import Literal

from rungs.language.words import clock_text
from rungs.scan.zone import Zone, load_zone

Kind = Literal["input", "output", "relay", "timer", "counter", "clock"]
Stretch = tuple[int, int]  # from, and up to but not including


@dataclass(frozen=True, slots=True)
class Trace:
    """The contact of one device: closed at first if `starts`, and flipped at each of `changes`.

    A contact shows its new state from the ms of the change on. `counts` are a counter's counts,
    each from its ms on; empty where they are not known. Raises ValueError for times out of order.
    """

    name: str
    kind: Kind
    label: str = ""
    starts: bool = False
    changes: tuple[int, ...] = ()
    counts: tuple[tuple[int, int], ...] = ()

    def __post_init__(self) -> None:
        if not _rising(self.changes):
            raise ValueError(f"the changes of '{self.name}' are not in order of time")
        if self.counts and not _rising([t for t, _ in self.counts]):
            raise ValueError(f"the counts of '{self.name}' are not in order of time")


@dataclass(frozen=True, slots=True)
class Chart:
    """Traces side by side, from the scan at `begin` to the scan at `end`, both included.

    `period` is from scan to scan. `wall_at_begin` is the local date and ms since midnight in `zone`
    (an IANA key) at `begin`; later wall times follow from it, so they are right as long as nobody
    set the clock. `notes` stand in the head of every export. `off` are the stretches without power,
    in order and apart; what a trace says within them counts for nothing.

    Raises ValueError where that does not hold, or two traces have one name.
    """

    title: str
    begin: int
    end: int
    period: int
    wall_at_begin: tuple[date, int] | None = None
    zone: str = "UTC"
    traces: tuple[Trace, ...] = ()
    notes: tuple[str, ...] = ()
    off: tuple[Stretch, ...] = ()

    def __post_init__(self) -> None:
        if not 0 <= self.begin <= self.end or self.period < 1:
            raise ValueError("a chart begins at 0 or later, ends no earlier, and has a period")
        if self.wall_at_begin is not None and load_zone(self.zone) is None:
            raise ValueError(f"there is no zone '{self.zone}'")
        if len({trace.name for trace in self.traces}) < len(self.traces):
            raise ValueError("two traces have one name")
        for trace in self.traces:
            inside = not trace.changes or (
                self.begin < trace.changes[0] and trace.changes[-1] <= self.end
            )
            if trace.counts:
                inside &= trace.counts[0][0] == self.begin and trace.counts[-1][0] <= self.end
            if not inside:
                raise ValueError(f"'{trace.name}' has changes outside the chart")
        bounds = [self.begin - 1, *(t for stretch in self.off for t in stretch), self.end + 2]
        if not _rising(bounds):
            raise ValueError("stretches without power overlap, touch, or lie outside the chart")


def _rising(times: Sequence[int]) -> bool:
    return all(map(lt, times, times[1:]))


def level_at(trace: Trace, t: int) -> bool:
    """Whether the contact is closed at time t; before the first change it is as it starts."""
    return trace.starts ^ bool(bisect_right(trace.changes, t) & 1)


def count_at(trace: Trace, t: int) -> int | None:
    """The count at time t; None where it is not known."""
    at = bisect_right(trace.counts, t, key=itemgetter(0))
    return trace.counts[at - 1][1] if at else None


def off_after(chart: Chart, t: int) -> Stretch | None:
    """The first stretch without power that ends after time t, whether it has begun or not."""
    at = bisect_right(chart.off, t, key=itemgetter(1))
    return chart.off[at] if at < len(chart.off) else None


def is_off(chart: Chart, t: int) -> bool:
    """Whether there is no power at time t."""
    stretch = off_after(chart, t)
    return stretch is not None and stretch[0] <= t


def state_at(chart: Chart, trace: Trace, t: int) -> bool | None:
    """Whether the contact is closed at time t; None without power."""
    return None if is_off(chart, t) else level_at(trace, t)


def next_change(chart: Chart, trace: Trace, t: int) -> int | None:
    """The first time after t, and within the chart, at which `state_at` differs from what it is at
    t."""
    stretch = off_after(chart, t)
    if stretch is not None and stretch[0] <= t:
        return stretch[1] if stretch[1] <= chart.end else None
    at = bisect_right(trace.changes, t)
    flip = trace.changes[at] if at < len(trace.changes) else None
    if stretch is None:
        return flip
    return stretch[0] if flip is None else min(flip, stretch[0])


def stretches(chart: Chart, trace: Trace) -> Iterator[tuple[int, bool | None]]:
    """When the contact took each of its states, in order; None stands for no power."""
    t: int | None = chart.begin
    while t is not None:
        yield t, state_at(chart, trace, t)
        t = next_change(chart, trace, t)


def cut_out(chart: Chart, first: int, last: int) -> Chart:
    """The part of a chart from time `first` to `last`, as a chart; both are moved into it.

    Raises ValueError if `last` is before `first`.
    """
    since = min(max(first, chart.begin), chart.end)
    until = max(min(last, chart.end), chart.begin)
    if last < first:
        raise ValueError("a part of a chart ends no earlier than it begins")
    wall = wall_of(chart)
    clipped = ((max(a, since), min(b, until + 1)) for a, b in chart.off)
    return replace(
        chart,
        begin=since,
        end=until,
        wall_at_begin=None if wall is None else wall.local(since),
        traces=tuple(_part(trace, since, until) for trace in chart.traces),
        off=tuple((a, b) for a, b in clipped if a < b),
    )


def _part(trace: Trace, since: int, until: int) -> Trace:
    inside = slice(bisect_right(trace.changes, since), bisect_right(trace.changes, until))
    count = count_at(trace, since)
    later = slice(
        bisect_right(trace.counts, since, key=itemgetter(0)),
        bisect_right(trace.counts, until, key=itemgetter(0)),
    )
    return replace(
        trace,
        starts=level_at(trace, since),
        changes=trace.changes[inside],
        counts=() if count is None else ((since, count), *trace.counts[later]),
    )


# --- all traces at once


@dataclass(frozen=True, slots=True)
class Moment:
    """What changes at one time: traces that flip and new counts, by the index of the trace, and
    whether there is power from now on."""

    t: int
    powered: bool
    flips: tuple[int, ...]
    counts: tuple[tuple[int, int], ...]


def moments(chart: Chart) -> Iterator[Moment]:
    """Every time at which anything changes, in order; `begin` is always the first.

    The flips at `begin` are the traces that start closed, so that a reader begins with all open.
    """
    events: list[tuple[int, int, int, int]] = [(chart.begin, 0, 0, 0)]
    for index, trace in enumerate(chart.traces):
        events += [(chart.begin, 1, index, 0)] if trace.starts else []
        events += [(t, 1, index, 0) for t in trace.changes]
        events += [(t, 2, index, count) for t, count in trace.counts]
    events += [(t, 0, 0, 0) for stretch in chart.off for t in stretch if t <= chart.end]
    events.sort()
    for t, group in groupby(events, itemgetter(0)):
        here = list(group)
        yield Moment(
            t,
            not is_off(chart, t),
            tuple(index for _, what, index, _ in here if what == 1),
            tuple((index, count) for _, what, index, count in here if what == 2),
        )


# --- wall time


@dataclass(frozen=True, slots=True)
class Wall:
    """Wall time along a chart; `start` is the instant at t = 0, ms UTC."""

    zone: Zone
    start: int

    def local(self, t: int) -> tuple[date, int]:
        """The local date and the ms since midnight at time t."""
        return self.zone.local(self.start + t)

    def count(self, t: int) -> int:
        """Local ms since the epoch: a whole number of hours whenever the clock shows a full one."""
        instant = self.start + t
        return instant + self.zone.offset(instant)

    def text(self, t: int) -> str:
        """The local time as ISO 8601 has it, with ms and offset: two readings of one wall time
        differ."""
        day, ms = self.local(t)
        offset = self.zone.offset_text(self.start + t)
        return f"{day}T{clock_text(ms, thousandths=True)}{offset}"


def wall_of(chart: Chart) -> Wall | None:
    """Wall time along the chart, or None where it is not known."""
    zone = load_zone(chart.zone)
    if chart.wall_at_begin is None or zone is None:
        return None
    return Wall(zone, zone.instant(*chart.wall_at_begin) - chart.begin)
