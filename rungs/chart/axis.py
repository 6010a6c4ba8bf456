"""Round times for the axis of a chart.

Steps go 1, 2, 5 as far as the next unit is a whole number of them, and are counted on the wall
clock where there is one: a mark at 06:00 means six o'clock on the day the clocks change, too.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Final

from rungs.chart.data import Wall
from rungs.language.words import clock_text, duration_text
from rungs.scan.zone import DAY, HOUR, MINUTE, SECOND

_UNDER_A_SECOND: Final = (10, 20, 50, 100, 200, 500)
_SIXTIETHS: Final = (1, 2, 5, 10, 20, 30)
_HOURS: Final = (1, 2, 6, 12)
_DAYS: Final = tuple(n * 10**k for k in range(5) for n in (1, 2, 5))

STEPS: Final = (
    1,
    2,
    5,
    *_UNDER_A_SECOND,
    *(n * SECOND for n in _SIXTIETHS),
    *(n * MINUTE for n in _SIXTIETHS),
    *(n * HOUR for n in _HOURS),
    *(n * DAY for n in _DAYS),
)


@dataclass(frozen=True, slots=True)
class Tick:
    """A round time on the axis, and what stands beside it."""

    t: int
    text: str


def ticks(wall: Wall | None, first: int, last: int, ms_per_letter: float) -> tuple[Tick, ...]:
    """Round times from `first` to `last` (ms), as close as their texts can stand beside each other.

    `ms_per_letter` is the time that passes in the width of a letter; two blanks are left free.
    """
    for step in STEPS:
        if (last - first) / step > (last - first) / ms_per_letter / 3:
            continue  # not even the shortest texts would fit
        found = tuple(Tick(t, _text(wall, t, step)) for t in _round_times(wall, first, last, step))
        if all(b.t - a.t >= (len(a.text) + 2) * ms_per_letter for a, b in pairwise(found)):
            return found
    return ()


def _round_times(wall: Wall | None, first: int, last: int, step: int) -> Iterator[int]:
    """The times at which the clock shows a multiple of `step`, in order."""

    def beyond(t: int) -> int:
        """How far the clock is past a multiple."""
        return (t if wall is None else wall.count(t)) % step

    t = first
    before = first - 1
    while t <= last:
        past = beyond(t)
        if past:
            # clocks that were put forward may have passed a multiple early
            early = t - past
            t = early if early > before and not beyond(early) else t + step - past
            before = max(before, t - 1)
            continue
        yield t
        before = t
        t += step


def _text(wall: Wall | None, t: int, step: int) -> str:
    if wall is None:
        return duration_text(t) if t else "0s"
    day, ms = wall.local(t)
    if step >= DAY:
        return day.isoformat()
    if ms == 0:
        return f"{day.month:02}-{day.day:02}"
    return clock_text(ms, seconds=step < MINUTE, thousandths=step < SECOND)


def corner(wall: Wall | None, t: int) -> str:
    """What the axis counts from: the local date at time t, or that it is the time of the run."""
    return "time of run" if wall is None else wall.local(t)[0].isoformat()
