"""The list of relays, timers, counters and clocks, each with its state and its time."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import assert_never, overload

from rungs.bench.pages.words import KEPT, Line, Piece, Signs, fit, time_text, toned, when_text
from rungs.bench.views import ClockView, CounterView, RelayView, TimerView, WallTime
from rungs.cells import columns


@dataclass(frozen=True, slots=True)
class Devices:
    """All that the list on the right shows."""

    relays: tuple[RelayView, ...]
    timers: tuple[TimerView, ...]
    counters: tuple[CounterView, ...]
    clocks: tuple[ClockView, ...]
    now: WallTime


def device_lines(
    devices: Devices,
    glow: Collection[str],
    size: tuple[int, int],
    signs: Signs,
    chosen: str | None = None,
) -> Sequence[Line]:
    """The list of devices for a pane of `size` columns and lines: roomy if that fits. A line is
    made when it is asked for, since a pane shows forty of what may be thousands."""
    return _DeviceList(devices, glow, size, signs, chosen)


View = RelayView | TimerView | CounterView | ClockView


class _DeviceList(Sequence[Line]):
    """The lines by their numbers."""

    def __init__(
        self,
        devices: Devices,
        glow: Collection[str],
        size: tuple[int, int],
        signs: Signs,
        chosen: str | None,
    ) -> None:
        self._devices, self._glow, self._signs, self._chosen = devices, glow, signs, chosen
        self._width = size[0]
        self._roomy = _is_roomy(devices, size[1])
        self._tab = _tab(tuple(view.terminal for view in devices.relays), size[0])
        # heading, views, lines of each, the number of the heading's line
        self._groups: list[tuple[str, Sequence[View], int, int]] = []
        total = 0
        for heading, views, lines in _groups(devices, self._roomy):
            total += bool(self._groups) and self._roomy
            self._groups.append((heading, views, lines, total))
            total += 1 + lines * len(views)
        self._total = total

    def __len__(self) -> int:
        return self._total

    @overload
    def __getitem__(self, index: int) -> Line: ...
    @overload
    def __getitem__(self, index: slice) -> list[Line]: ...
    def __getitem__(self, index: int | slice) -> Line | list[Line]:
        if isinstance(index, slice):
            return [self[number] for number in range(*index.indices(self._total))]
        if not 0 <= index < self._total:
            raise IndexError(index)
        for heading, views, lines, first in reversed(self._groups):
            if index == first:
                return ((heading, "title"),)
            if index > first:
                number, part = divmod(index - first - 1, lines)
                return self._row(views[number], part) if number < len(views) else ()
        return ()

    def _row(self, view: View, part: int) -> Line:
        line = self._line(view, part)
        if part == 0 and view.name == self._chosen:
            return tuple((text, f"{tone} pick") for text, tone in line)
        return line

    def _line(self, view: View, part: int) -> Line:
        glow, width, signs = self._glow, self._width, self._signs
        match view:
            case RelayView():
                return _relay(view, view.name in glow, self._tab, width, signs)
            case TimerView():
                return _timer(view, glow, width, self._roomy, signs)[part]
            case CounterView():
                return _counter(view, glow, width, signs)
            case ClockView():
                return _clock(view, self._devices.now, glow, width, signs)
            case _:
                assert_never(view)


def _groups(devices: Devices, roomy: bool) -> Iterator[tuple[str, Sequence[View], int]]:
    """Heading, views, and lines of each, of the groups that are not empty."""
    groups: tuple[tuple[str, Sequence[View], int], ...] = (
        ("RELAYS", devices.relays, 1),
        ("TIMERS", devices.timers, 2 if roomy else 1),
        ("COUNTERS", devices.counters, 1),
        ("CLOCKS", devices.clocks, 1),
    )
    return (group for group in groups if group[1])


@lru_cache(maxsize=16)
def _tab(terminals: tuple[str, ...], width: int) -> int:
    """The columns of the terminals, which stand by themselves where the names keep their room."""
    tab = min(max(map(columns, terminals), default=0), 6) + 1
    return 0 if width < 34 and tab > 4 else tab


def device_rows(devices: Devices, size: tuple[int, int]) -> list[str | None]:
    """The device whose state begins on each line of the list, None for headings and the rest."""
    roomy = _is_roomy(devices, size[1])
    rows: list[str | None] = []
    for _, group, lines in _groups(devices, roomy):
        rows += [None] if not rows or not roomy else [None, None]
        for view in group:
            rows += [view.name, *[None] * (lines - 1)]
    return rows


def _is_roomy(devices: Devices, height: int) -> bool:
    """Whether there is room for a bar below each timer and a line between the groups."""
    groups = [devices.relays, devices.timers, devices.counters, devices.clocks]
    needed = sum(len(group) + 2 for group in groups if group) - 1 + len(devices.timers)
    return needed <= height


def _state(on: bool, signs: Signs) -> Piece:
    return (signs.on, "live") if on else (signs.off, "quiet")


def _name(
    name: str, on: bool, glow: bool, width: int, signs: Signs, forced: bool | None = None
) -> Piece:
    if forced is not None:
        return fit(f"!{name}", width, signs), "forced"
    tone = toned("live" if on else "plain", "glow" if glow else "")
    return fit(name, width, signs), tone


@lru_cache(maxsize=KEPT)
def _relay(view: RelayView, glow: bool, tab: int, width: int, signs: Signs) -> Line:
    wordy = width >= 28
    state_width = 16 if wordy else 4
    line: list[Piece] = [
        (fit(view.terminal, tab - 1, signs) + " ", "quiet") if tab else ("", "plain"),
        _name(view.name, view.coil, glow, width - tab - state_width, signs, view.forced),
        (" ", "plain"),
        _state(view.coil, signs),
    ]
    if wordy:
        line.append((" on " if view.coil else " off", "live" if view.coil else "quiet"))
        if view.waits:
            line.append(("  waits   ", "stop"))
        elif view.load is not None:
            word = "load on " if view.load else "load off"
            line.append(("  " + word, "live" if view.load else "quiet"))
    elif view.waits:
        # the load is still as the scan before left it
        line += [(" ", "plain"), (signs.on if view.load else signs.off, "stop")]
    elif view.side == "NC":
        line += [(" ", "plain"), _state(bool(view.load), signs)]
    return tuple(line)


def bar(fraction: float, width: int, signs: Signs) -> str:
    """A bar of `width` columns; it is full only when the time is over."""
    full = int(fraction * width)
    return signs.full * full + signs.empty * (width - full)


def _timer(
    view: TimerView, glow: Collection[str], width: int, roomy: bool, signs: Signs
) -> list[Line]:
    running = view.timing or 0 < view.elapsed < view.length
    shown = view.elapsed if running or (roomy and width >= 30) else view.length
    time = f"{time_text(shown):>7} "
    tone = "live" if view.timing else "quiet"
    name: Line = (_state(view.closed, signs), (" ", "plain"))
    if not roomy:
        return [
            (
                *name,
                _name(
                    view.name,
                    view.closed,
                    view.name in glow,
                    width - 2 - len(time),
                    signs,
                    view.forced,
                ),
                (time, tone),
            )
        ]
    kind = f" {view.kind:13}" if width >= 30 else ""
    of = f" of {time_text(view.length):>6}" if width >= 30 else ""
    below = bar(view.fraction, max(1, width - 3 - len(time) - len(of)), signs)
    return [
        (
            *name,
            _name(
                view.name, view.closed, view.name in glow, width - 2 - len(kind), signs, view.forced
            ),
            (kind, "quiet"),
        ),
        (("  ", "plain"), (below, tone), (time.rstrip(), tone), (of, "quiet")),
    ]


def _counter(view: CounterView, glow: Collection[str], width: int, signs: Signs) -> Line:
    count = f"{view.count:>6}/{view.preset} "
    return (
        _state(view.closed, signs),
        (" ", "plain"),
        _name(
            view.name, view.closed, view.name in glow, width - 2 - len(count), signs, view.forced
        ),
        (count, "live" if view.closed else "quiet"),
    )


def _clock(view: ClockView, now: WallTime, glow: Collection[str], width: int, signs: Signs) -> Line:
    if view.changes is None:
        when = "never"
    else:
        when = when_text(view.changes, now)
        if width >= 28:
            word = "at" if view.is_event else "from" if view.will_close else "until"
            when = f"{word:5} {when:>9}"
    when = f"{when:>6} "
    return (
        _state(view.closed, signs),
        (" ", "plain"),
        _name(view.name, view.closed, view.name in glow, width - 2 - len(when), signs, view.forced),
        (when, "quiet"),
    )
