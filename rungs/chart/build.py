"""Charts of runs: who was closed after each scan that was made.

Scans come one by one and only what changed is kept, so that a long run needs no memory of its own.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import assert_never

from rungs.chart.data import Chart, Kind, Stretch, Trace
from rungs.program.nodes import Clock, Counter, Device, Input, Output, Program, Relay, Timer
from rungs.scan.trace import Stimulus
from rungs.scan.zone import load_zone, utc

MOST_CHANGES = 2_000_000  # of all traces together


class TooLongError(ValueError):
    """A run has more changes than a chart holds."""


def kind_of(device: Device) -> Kind:
    """The kind of a device as a chart has it."""
    match device:
        case Input():
            return "input"
        case Output():
            return "output"
        case Relay():
            return "relay"
        case Timer():
            return "timer"
        case Counter():
            return "counter"
        case Clock():
            return "clock"
        case _:
            assert_never(device)


def chart_of(
    program: Program,
    scans: Iterable[tuple[int, Mapping[str, bool]]],
    names: Sequence[str] | None = None,
    *,
    period: int,
    begin: int | None = None,
    end: int | None = None,
    off: Iterable[Stretch] = (),
    counts: Callable[[], Mapping[str, int]] | None = None,
    start: int | None = None,
    notes: Sequence[str] = (),
    most: int = MOST_CHANGES,
) -> Chart:
    """The chart of a run, of the devices in `names` (all of them, in file order, if None).

    `scans` are time (ms, rising) and contacts after each scan that was made; scans that are left
    out are taken to equal the one before. `begin` and `end` (ms) are those of the first and the
    last scan if None; a scan before `begin` says how the chart starts, one after `end` nothing.
    What lies before the first scan shows no power. `off` are stretches without power; each lasts
    until the first scan after it, which is at the next multiple of `period` (ms).
    `counts` is asked for the counts of counters right after each scan. `start` is the wall time at
    t = 0, ms UTC.

    Raises ValueError for a name that is not declared and for times that do not rise, and
    TooLongError for more than `most` changes.
    """
    if names is None:
        names = tuple(device.name for device in program.devices)
    for name in names:
        if name not in program.by_name:
            raise ValueError(f"'{name}' is not declared")
    record = _Record(program, names, begin, most)
    last: int | None = None
    for t, contacts in scans:
        if last is not None and t <= last:
            raise ValueError(f"the scan at {t} ms does not come after the one at {last} ms")
        if end is not None and t > end:
            break
        last = t
        record.take(t, contacts, counts() if counts is not None else {})
    first = record.first if record.first is not None else (begin or 0)
    since = first if begin is None else begin
    until = end if end is not None else max(last or 0, since)
    unknown = [(since, first if record.first is not None else until + 1)]
    zone = load_zone(program.site.zone) or utc()
    return Chart(
        program.title,
        since,
        until,
        period,
        None if start is None else zone.local(start + since),
        zone.key,
        record.traces(since),
        tuple(notes),
        _apart([*unknown, *off], since, until, period, first),
    )


class _Record:
    """What has changed so far. `begin` is where the chart will begin, if that is known already."""

    def __init__(
        self, program: Program, names: Sequence[str], begin: int | None, most: int
    ) -> None:
        self._devices = [program.by_name[name] for name in names]
        self._names = names
        self._counters = [d.name for d in self._devices if isinstance(d, Counter)]
        self._begin = begin
        self._room = most
        self.first: int | None = None
        self._starts: list[bool] = []
        self._levels: list[bool] = []
        self._changes: list[list[int]] = [[] for _ in names]
        self._counts: dict[str, list[tuple[int, int]]] = {name: [] for name in self._counters}

    def take(self, t: int, contacts: Mapping[str, bool], counts: Mapping[str, int]) -> None:
        """One scan."""
        levels = [contacts[name] for name in self._names]
        early = self._begin is not None and t <= self._begin
        if self.first is None or early:
            self.first = t
            self._starts = levels
            for name in self._counters:
                self._counts[name] = [(t, counts[name])] if name in counts else []
        else:
            if levels != self._levels:
                self._compare(t, levels)
            for name in self._counters:
                known = self._counts[name]
                if known and name in counts and counts[name] != known[-1][1]:
                    known.append((t, counts[name]))
                    self._spend()
        self._levels = levels

    def _compare(self, t: int, levels: list[bool]) -> None:
        for flips, was, now in zip(self._changes, self._levels, levels, strict=True):
            if was != now:
                flips.append(t)
                self._spend()

    def _spend(self) -> None:
        self._room -= 1
        if self._room < 0:
            raise TooLongError("the run has more changes than a chart holds; shorten it")

    def traces(self, begin: int) -> tuple[Trace, ...]:
        """The traces of a chart that begins at `begin`."""
        starts = self._starts or [False] * len(self._names)
        return tuple(
            Trace(
                device.name,
                kind_of(device),
                device.label,
                closed,
                tuple(changes),
                self._from(begin, self._counts.get(device.name, [])),
            )
            for device, closed, changes in zip(self._devices, starts, self._changes, strict=True)
        )

    @staticmethod
    def _from(begin: int, counts: list[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
        return ((begin, counts[0][1]), *counts[1:]) if counts else ()


def _apart(
    off: Iterable[Stretch], begin: int, end: int, period: int, first: int
) -> tuple[Stretch, ...]:
    """Stretches without power that last until a scan, within the chart, joined where they touch."""
    joined: list[Stretch] = []
    for since, to in sorted(off):
        # the first scan need not stand on the grid of a chart that was cut out of a run
        scan = to if to == first else -(-to // period) * period
        since, to = max(since, begin), min(scan, end + 1)
        if since >= to:
            continue
        if joined and since <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(joined[-1][1], to))
        else:
            joined.append((since, to))
    return tuple(joined)


def outages(stimulus: Stimulus) -> tuple[Stretch, ...]:
    """The stretches in which a stimulus leaves the panel without power, ms; one that lasts to the
    end of the run goes one ms beyond it."""
    found: list[Stretch] = []
    since: int | None = None
    for row in stimulus:
        if not row.power and since is None:
            since = row.t
        elif row.power and since is not None:
            found.append((since, row.t))
            since = None
    if since is not None:
        found.append((since, stimulus[-1].t + 1))
    return tuple(found)
