"""Windows of one output that cover each other or leave a pause, and rungs that pull both ways.

Two clocks count as in parallel where one of them can carry the output without the other: on two
branches of a rung, in two rungs that latch it, or behind relays and timers in its path.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from datetime import date
from itertools import combinations, pairwise
from typing import Final

from rungs.program.nodes import (
    Circuit,
    Clock,
    Contact,
    Output,
    Parallel,
    Program,
    Relay,
    Rung,
    Series,
    Timer,
)
from rungs.scan.zone import HOUR, Zone
from rungs.week.data import Gap, Overlap, Span
from rungs.week.spans import both, clipped, union

GAP_MOST: Final = 4 * HOUR  # a longer pause is taken as meant
_MOST_WAYS: Final = 64

Way = frozenset[str]  # the clocks of one way through the rungs
Spans = Mapping[str, Sequence[Span]]


def ways(program: Program, output: str) -> tuple[Way, ...]:
    """The ways by which an output can be driven on, as the clocks whose closed contacts they need.

    Contacts of relays, timers and other outputs in the path are followed to the rungs that drive
    them; an open contact of a clock, an edge and a count say nothing here. At most 64 ways.
    """
    drivers: dict[str, list[Rung]] = {}
    for rung in program.rungs:
        for action in rung.actions:
            if action.verb in ("coil", "latch", "impulse"):
                drivers.setdefault(action.name, []).append(rung)
    return _device_ways(program, drivers, output, frozenset())


def _device_ways(
    program: Program, drivers: Mapping[str, list[Rung]], name: str, seen: frozenset[str]
) -> tuple[Way, ...]:
    found: dict[Way, None] = {}
    for rung in drivers.get(name, ()):
        for way in _circuit_ways(program, drivers, rung.circuit, seen | {name}):
            found[way] = None
    return tuple(found)[:_MOST_WAYS]


def _circuit_ways(
    program: Program, drivers: Mapping[str, list[Rung]], circuit: Circuit, seen: frozenset[str]
) -> tuple[Way, ...]:
    match circuit:
        case Parallel():
            every = [w for p in circuit.parts for w in _circuit_ways(program, drivers, p, seen)]
            return tuple(dict.fromkeys(every))[:_MOST_WAYS]
        case Series():
            found: tuple[Way, ...] = (frozenset(),)
            for part in circuit.parts:
                more = _circuit_ways(program, drivers, part, seen)
                found = tuple(dict.fromkeys(a | b for a in found for b in more))[:_MOST_WAYS]
            return found
        case Contact(kind="closed" | "timing" | "rising", negated=False):
            device = program.by_name[circuit.name]
            if isinstance(device, Clock):
                return (frozenset({device.name}),)
            if isinstance(device, Output | Relay | Timer):
                if device.name in seen:
                    return ()  # a seal-in keeps what another way has made
                return _device_ways(program, drivers, device.name, seen) or (frozenset(),)
            return (frozenset(),)
        case _:
            return (frozenset(),)


def parallel_windows(program: Program, output: str) -> tuple[tuple[str, str], ...]:
    """The pairs of window clocks that are in parallel for an output, in file order."""
    found = ways(program, output)
    names = [c.name for c in program.clocks if c.end is not None]
    return tuple(
        (one, other)
        for one, other in combinations(names, 2)
        if any(one in way and other not in way for way in found)
        and any(other in way and one not in way for way in found)
    )


def overlaps(program: Program, zone: Zone, year: Spans, low: int, high: int) -> tuple[Overlap, ...]:
    """The pairs of windows in parallel that are closed at once within the twelve months of `year`
    (closed times by clock); `low` and `high` are the ends of the week."""
    found = []
    for output in program.outputs:
        for one, other in parallel_windows(program, output.name):
            shared = both(year[one], year[other])
            if not shared:
                continue
            lasted = [sum(s.end - s.begin for s in spans) for spans in (year[one], year[other])]
            together = sum(s.end - s.begin for s in shared)
            # where both are always closed together, the later one is told
            inside = other if together == lasted[1] else one if together == lasted[0] else ""
            days = {zone.local(span.begin)[0] for span in shared}
            longest = max(span.end - span.begin for span in shared)
            week = clipped(shared, low, high)
            found.append(Overlap(output.name, one, other, week, len(days), longest, inside))
    return tuple(found)


def gaps(program: Program, zone: Zone, year: Spans, low: int, high: int) -> tuple[Gap, ...]:
    """Pauses of at most GAP_MOST from the end of one window to the begin of another one, where
    none of the windows in parallel for an output is closed."""
    found = []
    for output in program.outputs:
        names = dict.fromkeys(
            name for pair in parallel_windows(program, output.name) for name in pair
        )
        pauses: dict[tuple[str, str], list[Span]] = {}
        for pause, after, before in _pauses({name: year[name] for name in names}):
            pauses.setdefault((after, before), []).append(pause)
        for (after, before), spans in pauses.items():
            longest = max(spans, key=lambda s: s.end - s.begin)
            week = clipped(spans, low, high)
            day: date = zone.local(longest.begin)[0]
            size = longest.end - longest.begin
            found.append(Gap(output.name, after, before, week, len(spans), size, day))
    return tuple(found)


def _pauses(windows: Spans) -> Iterator[tuple[Span, str, str]]:
    """Each short pause, and the windows that end and begin it, if they are not the same."""
    ends = {s.end: name for name, spans in windows.items() for s in spans if not s.after}
    begins = {s.begin: name for name, spans in windows.items() for s in spans if not s.before}
    for one, other in pairwise(union(windows.values())):
        after, before = ends.get(one.end), begins.get(other.begin)
        if after and before and after != before and other.begin - one.end <= GAP_MOST:
            yield Span(one.end, other.begin), after, before
