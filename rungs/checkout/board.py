"""A transition table as a walk reads it: rows by state, the time of its timers as zones, and what
its clocks can be made to show.

Everything here comes from the table file and the calendar, so that a plan tests what a board was
given and not what somebody meant to give it.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rungs.program.nodes import Program
from rungs.prove.clocks.timeline import Timeline, Vector, timeline
from rungs.prove.zones import (
    FAR,
    NOTHING,
    Zone,
    aged,
    later,
    rounded,
    running,
    waiting,
    with_dues,
)
from rungs.table.model import TableFile, TransitionRow

HAND: Final = 250  # ms: no hand moves two switches faster than this
SHORT: Final = 1_000  # ms: timers up to this count how long hands take
LEAD: Final = 10_000  # ms: so long before its edge a clock is set
_OCCURRENCES: Final = 40  # dates that are kept for each edge
_MOST_PLACES: Final = 60  # of the calendar that a walk keeps to
_AHEAD: Final = 3  # places that follow each other in an order which was not there before
_ROOM: Final = 3_600_000  # ms: a clock is set into windows of at least this length, if it can be


@dataclass(frozen=True, slots=True)
class Row:
    """A row, numbered from 0: where it matches, and what it does. Timers as bits of a word."""

    number: int
    mask: int
    value: int
    next: int
    outputs: tuple[bool, ...]
    run: int
    before: int
    after: int


@dataclass(frozen=True, slots=True)
class ClockEdge:
    """The contacts go from `source` over `shown` (the scan of an event, if there is one) to
    `target`, at each of the instants `at` (ms UTC)."""

    source: Vector
    shown: Vector | None
    target: Vector
    at: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Place:
    """A place of the calendar where the contacts pass an `edge`, at the instant `at`; `before` is
    an instant well before it and after what came last. No event lies between places of a `run`."""

    edge: ClockEdge
    at: int
    before: int
    run: int


@dataclass(frozen=True, slots=True)
class ClockLore:
    """What the clocks of a table can show: the edges, and for each vector of windows instants in
    the midst of it.

    A clock that is set past an event shows it, so with events among the clocks a walk has to keep
    to the calendar: `places` then are those of some days in their order, and after each comes the
    next. `late` tells that an event may be caught up after a power cut.
    """

    names: tuple[str, ...]
    edges: tuple[ClockEdge, ...]
    inside: dict[Vector, tuple[int, ...]]
    line: Timeline | None = None
    places: tuple[Place, ...] = ()
    late: bool = False

    @property
    def vectors(self) -> tuple[Vector, ...]:
        """All that the contacts can show, those of windows alone first."""
        shown = [edge.shown for edge in self.edges if edge.shown is not None]
        return tuple(dict.fromkeys([*self.inside, *shown]))


def clock_lore(program: Program, names: tuple[str, ...]) -> ClockLore:
    """What the named clocks can show, by the calendar."""
    if not names:
        return ClockLore((), (), {(): ()})
    line = timeline(program, names)
    edges: dict[tuple[Vector, Vector | None, Vector], list[int]] = {}
    inside: dict[Vector, list[tuple[int, int]]] = {}
    for stretch in line.stretches:
        now: Vector | None = None
        begun = last = stretch.begin
        shown: Vector | None = None
        for segment in stretch.segments:
            if segment.instant:
                shown = segment.vector
                continue
            at = segment.start
            # a change that follows another at once is not waited for
            if now is not None and (shown is not None or segment.vector != now):
                if at - last > LEAD:
                    edges.setdefault((now, shown, segment.vector), []).append(at)
                if at > last:
                    inside.setdefault(now, []).append((begun, at))
                begun = at
            last, now, shown = at, segment.vector, None
        if now is not None:
            inside.setdefault(now, []).append((begun, begun + _ROOM))
    found = tuple(ClockEdge(*key, tuple(at[:_OCCURRENCES])) for key, at in edges.items())
    return ClockLore(
        names,
        found,
        {vector: _midst(spans) for vector, spans in inside.items()},
        line,
        _places(found) if any(clock.end is None for clock in line.clocks) else (),
        any(clock.catch_up for clock in line.clocks),
    )


def _places(edges: tuple[ClockEdge, ...]) -> tuple[Place, ...]:
    """The edges in the order of the calendar, as long as something new comes."""
    dated = sorted(((at, edge) for edge in edges for at in edge.at), key=lambda pair: pair[0])
    known: set[tuple[ClockEdge, ...]] = set()
    last = run = 0
    found: list[Place] = []
    since = dated[0][0] - _ROOM if dated else 0
    for number, (at, edge) in enumerate(dated[:_MOST_PLACES]):
        ahead = tuple(other for _, other in dated[number : number + _AHEAD])
        if ahead not in known:
            known.add(ahead)
            last = number + 1
        found.append(Place(edge, at, max((since + at) // 2, at - _ROOM), run))
        run += edge.shown is not None
        since = at
    return tuple(found[: last + 1])


def _midst(spans: list[tuple[int, int]]) -> tuple[int, ...]:
    """Whole minutes in the midst of the long ones, or of all if none is long."""
    long = [span for span in spans if span[1] - span[0] >= _ROOM] or spans
    return tuple((low + high) // 2 // 60_000 * 60_000 for low, high in long[:_OCCURRENCES])


class Times:
    """Zones of the running timers by number, with every answer kept.

    Ages are counted in periods. Lower bounds are rounded down as coarsely as the timer is long,
    which keeps the zones few; what that lets through is found out when a walk is given its times.
    """

    def __init__(self, needs: dict[int, int], period: int) -> None:
        self.needs = needs
        self.hand = -(-HAND // period)
        self.short = SHORT // period
        self.zones: list[Zone] = [NOTHING]
        self._numbers: dict[Zone, int] = {NOTHING: 0}
        self._hands: dict[int, int | None] = {}
        self._ends: dict[int, tuple[tuple[int, int], ...]] = {}
        self._ticks: dict[int, tuple[tuple[int, int], ...]] = {}
        self._any: dict[int, tuple[tuple[int, int], ...]] = {}
        self._kept: dict[tuple[int, int], int] = {}

    def _number(self, zone: Zone) -> int:
        found = self._numbers.setdefault(zone, len(self.zones))
        if found == len(self.zones):
            self.zones.append(zone)
        return found

    def by_hand(self, number: int) -> int | None:
        """Any time later in which a hand can act, and still no timer has ended."""
        if number not in self._hands:
            zone = waiting(_moved(self.zones[number], self.hand))
            part = with_dues(zone, dict.fromkeys(zone.timers, False), self.needs)
            self._hands[number] = None if part is None else self._number(part)
        return self._hands[number]

    def ends(self, number: int) -> tuple[tuple[int, int], ...]:
        """(timers, zone): which can be the first to end, all together if they must."""
        if number not in self._ends:
            zone = waiting(later(self.zones[number]))
            ended = (part for part in self._parts(zone, exact=True) if part[0])
            self._ends[number] = _least(ended)
        return self._ends[number]

    def tick(self, number: int) -> tuple[tuple[int, int], ...]:
        """(timers, zone): one period later, with as few timers ended as must be."""
        if number not in self._ticks:
            self._ticks[number] = _least(self._parts(later(self.zones[number]), exact=False))
        return self._ticks[number]

    def every(self, number: int, long: bool) -> tuple[tuple[int, int], ...]:
        """(timers, zone): one period later, or any number, with any timers that can just end."""
        key = number * 2 + long
        if key not in self._any:
            zone = later(self.zones[number])
            self._any[key] = tuple(self._parts(waiting(zone) if long else zone, exact=long))
        return self._any[key]

    def _parts(self, zone: Zone, exact: bool) -> Iterator[tuple[int, int]]:
        """Every set of timers that ends in this scan and not before it, as bits."""
        for chosen in range(1 << len(zone.timers)):
            part: Zone | None = zone
            dues = {t: bool(chosen >> place & 1) for place, t in enumerate(zone.timers)}
            if exact:
                for timer, due in dues.items():
                    if due and part is not None:
                        part = aged(part, timer, self.needs[timer], self.needs[timer])
            if part is not None:
                part = with_dues(part, dues, self.needs)
            if part is not None:
                yield sum(due << timer for timer, due in dues.items()), self._number(part)

    def kept(self, number: int, timers: int) -> int:
        """The zone after a scan that lets these timers run that have not ended."""
        key = (number, timers)
        if key not in self._kept:
            names = tuple(timer for timer in self.needs if timers >> timer & 1)
            self._kept[key] = self._number(self._coarse(running(self.zones[number], names)))
        return self._kept[key]

    def _coarse(self, zone: Zone) -> Zone:
        zone = rounded(zone, self.needs)
        grains = [1]
        for timer in zone.timers:
            need = self.needs[timer]
            grains.append(self.hand if need <= self.short else max(100, need // 8))
        rows = tuple(
            tuple(
                -(-bound // grains[j] * grains[j]) if i != j and -FAR < bound < 0 else bound
                for j, bound in enumerate(line)
            )
            for i, line in enumerate(zone.bounds)
        )
        return Zone(zone.timers, rows)


def _moved(zone: Zone, periods: int) -> Zone:
    """So many periods later."""
    if not zone.timers:
        return zone
    rows = [list(row) for row in zone.bounds]
    for i in range(1, len(rows)):
        rows[i][0] = min(rows[i][0] + periods, FAR)
        rows[0][i] -= periods
    return Zone(zone.timers, tuple(map(tuple, rows)))


def _least(parts: Iterator[tuple[int, int]]) -> tuple[tuple[int, int], ...]:
    """The parts whose timers are not more than those of another."""
    found = list(parts)
    return tuple(
        (one, zone)
        for one, zone in found
        if not any(other != one and other & one == other for other, _ in found)
    )


class BoardTable:
    """A transition table with numbers for names. Pattern bits stand as in the rows: the first
    signal weighs most."""

    def __init__(self, table: TableFile) -> None:
        self.table = table
        self.period = table.period_ms
        self.inputs = tuple(s for s in table.signals if s.kind == "input")
        self.clocks = tuple(s.name for s in table.signals if s.kind == "clock")
        width = len(table.signals)
        weight = {s.name: 1 << (width - 1 - i) for i, s in enumerate(table.signals)}
        self.input_weights = tuple(weight[s.name] for s in self.inputs)
        self.clock_weights = tuple(weight[name] for name in self.clocks)
        self.due_weights = tuple(weight.get(f"{t.name}.due", 0) for t in table.timers)
        self.input_mask = sum(self.input_weights)
        self.clock_mask = sum(self.clock_weights)
        self.due_mask = sum(self.due_weights)
        self.rest = sum(
            w for w, s in zip(self.input_weights, self.inputs, strict=True) if s.at_rest
        )
        self.sums = sum(
            1 << i for i, timer in enumerate(table.timers) if timer.kind == "accumulating"
        )
        self.kept_sums = sum(
            1 << i for i, t in enumerate(table.timers) if t.kind == "accumulating" and t.retained
        )
        self.needs = {
            i: -(-timer.preset_ms // self.period)
            for i, timer in enumerate(table.timers)
            if timer.kind == "on-delay"
        }
        self.lags = tuple(1 + -(-s.debounce_ms // self.period) for s in self.inputs)
        states = {state.name: i for i, state in enumerate(table.states)}
        self.start = states[table.start]
        self.after_cut = tuple(states[state.after_power_cut] for state in table.states)
        self.rows: list[Row] = []
        self.of_state: list[list[Row]] = [[] for _ in states]
        for number, row in enumerate(table.transitions):
            made = self._row(number, row, states)
            self.rows.append(made)
            self.of_state[states[row.state]].append(made)
        self._found: dict[tuple[int, int], Row] = {}
        self._clock_bits: dict[Vector, int] = {}
        self._due_bits: dict[int, int] = {}

    def _row(self, number: int, row: TransitionRow, states: dict[str, int]) -> Row:
        return Row(
            number,
            int("0" + "".join("0" if c == "-" else "1" for c in row.pattern), 2),
            int("0" + row.pattern.replace("-", "0"), 2),
            states[row.next],
            tuple(flag == "1" for flag in row.outputs),
            _word(row.run),
            _word(row.clear_before),
            _word(row.clear_after),
        )

    def find(self, state: int, pattern: int) -> Row:
        """The row that a state takes for a pattern."""
        key = (state, pattern)
        row = self._found.get(key)
        if row is None:
            row = next(r for r in self.of_state[state] if pattern & r.mask == r.value)
            self._found[key] = row
        return row

    def clock_bits(self, vector: Vector) -> int:
        """A vector of the clocks as part of a pattern."""
        found = self._clock_bits.get(vector)
        if found is None:
            pairs = zip(self.clock_weights, vector, strict=True)
            found = self._clock_bits[vector] = sum(weight for weight, bit in pairs if bit)
        return found

    def due_bits(self, dues: int) -> int:
        """A word of timers as part of a pattern."""
        found = self._due_bits.get(dues)
        if found is None:
            found = sum(w for i, w in enumerate(self.due_weights) if dues >> i & 1)
            self._due_bits[dues] = found
        return found

    def run_after(self, row: Row, dues: int, full: int) -> tuple[int, int]:
        """Which timers are due in the next scan if no other ends, and which sums are full."""
        full = (full | dues & row.run & self.sums) & ~(row.before | row.after)
        return (dues & row.run & ~self.sums) | (full & row.run), full


def _word(flags: str) -> int:
    return sum((flag == "1") << i for i, flag in enumerate(flags))
