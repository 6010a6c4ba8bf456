"""From the core to a switching table: what each event does to each relay, or why no table can say.

A lane is one pattern of all levels, and a column holds one bit of every lane, so that a scan is
worked for all patterns at once. State bits that follow the levels once the panel is settled need no
telling apart; situations are grouped by the bits that do remember, which on a panel that fits are
hardly more than its relays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Final, Literal

from rungs.core.nodes import Core
from rungs.findings import Finding
from rungs.program.nodes import Program, Rung, leaves
from rungs.scan.generate import scan_wide
from rungs.source import NOWHERE
from rungs.table.board import duration_text
from rungs.table.model import Act, SwitchingRow
from rungs.table.switching_power import (
    MAX_VARIABLES,
    PowerCases,
    PowerUp,
    acted,
    column,
    event_words,
    power_up_words,
)

MAX_SIGNALS: Final = 20  # levels and delays together; each doubles the lanes
BUDGET: Final = 100_000_000  # steps; see _Meter
MAX_LATE: Final = 6  # clock events that may be caught up at power-up; each doubles the power-ups

ASTRAY: Final = (
    "the program can come to a situation that no single events lead to, and what it does from "
    "there was not looked at"
)

# what an act makes of a relay that was off, and of one that was on; the first that serves is taken
ACTS: Final[tuple[tuple[Act, bool, bool], ...]] = (
    ("leave", False, True),
    ("off", False, False),
    ("on", True, True),
    ("flip", True, False),
)

Columns = tuple[int, ...]
Key = tuple[int, ...]  # the bits that remember, 0 or 1 each
Pulses = frozenset[int]
Begins = frozenset[tuple[int, bool]]  # inputs by signal, and the levels they have just come to
Place = tuple[int, Key, int]  # depth, key and lane of one situation


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two situations in which one event must do different things to one relay.

    `before` is the relay in both. After `to_on` the event must leave it on, after `to_off` off;
    both are shortest sequences of events from power-up, in words.
    """

    relay: str
    event: str
    before: bool
    to_on: tuple[str, ...]
    to_off: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SwitchingResult:
    """A switching table, or findings that say why there is none.

    `power_differences`  what the board does differently after power returns, in words
    `together`           pairs of events for which the program, seeing both in one scan, does
                         something else than the table, which acts on one after the other
    `passing`            events at which a relay of the program moves and comes straight back
    `situations`         settled situations that were looked at
    `conflicts`          what the findings of code "switching-memory" rest on
    `unsettled`          the events after which the program does not settle, if it does not
    """

    rows: tuple[SwitchingRow, ...] | None
    findings: tuple[Finding, ...] = ()
    power_differences: tuple[str, ...] = ()
    together: tuple[str, ...] = ()
    passing: tuple[str, ...] = ()
    situations: int = 0
    conflicts: tuple[Conflict, ...] = ()
    unsettled: tuple[str, ...] = ()


def switching_table(
    program: Program,
    core: Core,
    delays: bool = False,
    power_up: PowerUp = "off",
    budget: int = BUDGET,
) -> SwitchingResult:
    """The switching table of `core = reduce(lower(program), names of its outputs)`.

    `delays` tells that rows can carry a delay, `power_up` how the board's relays stand when power
    comes back. `budget` is in steps: one operation on one column of up to 2,048 lanes. Acts stand
    in the order of the core's outputs; rows are in order of the program's inputs and then its
    clocks, after the power-up row. A delay counts from the event or, where the input is so already,
    from power-up.
    """
    meter = _Meter(budget)
    try:
        search = _explored(program, core, delays, meter)
        found = _conflicts(search)
        if found:
            findings = tuple(_memory_finding(program, c, more) for c, more in found)
            conflicts = tuple(conflict for conflict, _ in found)
            return SwitchingResult(
                None, findings, situations=search.situations, conflicts=conflicts
            )
        acts = _acts(search)
        cases = search.power_cases(power_up, acts)
        best = cases.best_acts()
        together = _together(search, acts)
        words = cases.words(best)
    except _RefusedError as refused:
        return SwitchingResult(
            None, (refused.finding,), situations=refused.situations, unsettled=refused.events
        )
    except _BudgetError:
        return SwitchingResult(None, (_budget_finding(meter),), situations=meter.situations)
    rows = _rows(program, search, acts, best)
    passing = tuple(
        f"when {search.events[e].words(core)}: {core.outputs[r].name} moves and comes straight back"
        for e, r in sorted(search.passing)
    )
    return SwitchingResult(rows, (), words, together, passing, search.situations)


# --- limits and refusals ----------------------------------------------------------------------


class _BudgetError(Exception):
    pass


class _RefusedError(Exception):
    """A finding that ends the work; `events` is the sequence that shows it."""

    def __init__(self, finding: Finding, situations: int = 0, events: tuple[str, ...] = ()) -> None:
        super().__init__(finding.message)
        self.finding = finding
        self.situations = situations
        self.events = events


@dataclass(slots=True)
class _Meter:
    """Counts steps of work, which are the same on every machine, where time is not."""

    limit: int
    used: int = 0
    situations: int = 0

    def charge(self, operations: int, lanes: int) -> None:
        self.used += operations * (1 + (lanes >> 11))
        if self.used > self.limit:
            raise _BudgetError


def _budget_finding(meter: _Meter) -> Finding:
    return Finding(
        "table-size",
        f"the program has more situations than {meter.limit:,} steps of work can look at",
        NOWHERE,
        f"{meter.situations:,} situations were looked at and more were left; no table is written "
        "that was not worked out to the end",
        "split the panel into programs that share no inputs, or take relays, counters and latches "
        "out of it",
    )


def _memory_finding(program: Program, conflict: Conflict, more: tuple[str, ...]) -> Finding:
    relay = conflict.relay
    said = {True: "on", False: "off"}

    def must(after: bool) -> str:
        if after == conflict.before:
            return f"{relay} must stay {said[after]}"
        return f"{relay} must go {said[after]}"

    also = f"; the same holds when {', when '.join(more)}" if more else ""
    return Finding(
        "switching-memory",
        f"no one act serves '{relay}' when {conflict.event}",
        program.by_name[relay].name_span,
        f"after [{'; '.join(conflict.to_on)}], when {conflict.event}, {must(True)}; "
        f"after [{'; '.join(conflict.to_off)}], when {conflict.event}, {must(False)}{also}",
        "take a board that holds a transition table, or let the program remember nothing but "
        "whether its outputs are on",
    )


def _timer_finding(program: Program, device: str, effect: str, message: str = "") -> Finding:
    return Finding(
        "switching-timer",
        message or f"timer '{device}' is not the delay of one input",
        program.by_name[device].name_span,
        effect,
        "take a board that holds a transition table, or let one input alone start and hold the "
        "timer",
    )


# --- lanes ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Delay:
    """An input (its signal) that has stayed at `level` for `preset` ms."""

    signal: int
    level: bool
    preset: int


@dataclass(frozen=True, slots=True)
class _Event:
    """One event. `parts` are the lanes it can come to, each with how far it moves them; `pulses`
    are the signals that show for one scan, `begins` the input and the level it comes to."""

    event: Literal["closes", "opens", "at"]
    signal: int
    delay_ms: int
    parts: tuple[tuple[int, int], ...]
    pulses: Pulses = frozenset()
    begins: Begins = frozenset()

    @property
    def turn(self) -> int:
        """When a board acts on it, of all events of one scan."""
        return 2 if self.event == "at" else int(self.delay_ms > 0)

    def words(self, core: Core) -> str:
        signal = core.signals[self.signal]
        return event_words(self.event, signal.name, signal.kind == "clock", self.delay_ms)


@dataclass(frozen=True, slots=True)
class _Lanes:
    """What every lane stands for: the columns of levels, and of delays that have passed."""

    ones: int
    levels: Columns


@dataclass(frozen=True, slots=True)
class _Settled:
    """A settled panel, lane by lane. `high` and `low` are the lanes in which an output was on, and
    off, in any scan on the way; `had` those in which a rung had power. `restless` lanes never
    settle, and the rest is then worth nothing."""

    state: Columns
    outputs: Columns
    powers: Columns
    high: Columns
    low: Columns
    had: Columns
    restless: int


class _MisfitError(Exception):
    """A timer that no input is left for; `lane` is where, `why` what it did there."""

    def __init__(self, timer: int, why: str, lanes: int) -> None:
        super().__init__(why)
        self.timer = timer
        self.why = why
        self.lanes = lanes


def _lowest(mask: int) -> int:
    return (mask & -mask).bit_length() - 1


def _shifted(column_: int, by: int) -> int:
    return column_ << by if by >= 0 else column_ >> -by


class _Machine:
    """The core with its running timers as state, and with passed delays in place of due flags."""

    def __init__(
        self, program: Program, core: Core, timed: dict[int, _Delay], meter: _Meter
    ) -> None:
        self.core = core
        self.meter = meter
        moments = {clock.name for clock in program.clocks if clock.end is None}
        late = {clock.name for clock in program.clocks if clock.catch_up}
        kinds = [(i, s) for i, s in enumerate(core.signals) if s.kind in ("input", "clock")]
        self.leveled = tuple(i for i, s in kinds if s.name not in moments)
        self.moments = tuple(i for i, s in kinds if s.name in moments)
        self.late = tuple(i for i in self.moments if core.signals[i].name in late)
        self.delays = tuple(sorted(set(timed.values()), key=lambda d: (d.signal, d.preset)))
        self.passed = {t: len(self.leveled) + self.delays.index(d) for t, d in timed.items()}
        self.wide = _Lanes(
            (1 << (1 << self.dimensions)) - 1,
            tuple(column(i, self.dimensions) for i in range(self.dimensions)),
        )
        self.patterns = (1 << (1 << len(self.leveled))) - 1  # the lanes with no delay passed
        self.scan = scan_wide(core, [power.lit for power in core.powers])
        self.place = {signal: place for place, signal in enumerate(self.leveled)}
        self.cost = len(core.gates) + 2 * len(core.state) + len(core.outputs) + len(core.powers) + 8
        self.slowest = 0  # the most scans after the first that any event took
        inputs = tuple(i for i in self.leveled if core.signals[i].kind == "input")
        every = [(i, level) for i in inputs for level in (False, True)]
        self.holds = [
            [(timed[t].signal, timed[t].level)] if t in timed else list(every)
            for t in range(len(core.timers))
        ]
        self.watching = True
        self.reads = self._reads()
        self.keepers = self._keepers()
        self.retained = tuple(i for i, bit in enumerate(core.state) if bit.retained)
        self.events = tuple(self._events())

    @property
    def dimensions(self) -> int:
        """The number of levels and delays."""
        return len(self.leveled) + len(self.delays)

    # --- what reads what

    def _reads(self) -> tuple[frozenset[int], ...]:
        """For each state bit, and then each timer, the leaves that decide what it becomes."""
        core = self.core
        cones: list[frozenset[int]] = [frozenset((n,)) for n in range(core.first_gate)]
        cones[0] = frozenset()
        for gate in core.gates:
            cones.append(frozenset().union(*(cones[lit >> 1] for lit in gate)))
        wanted = [bit.next for bit in core.state] + [timer.run for timer in core.timers]
        timer_bits = {
            1 + timer.due: core.first_gate + n for n, timer in enumerate(core.timers)
        }  # a due flag reads whether its timer ran
        found = []
        for lit in wanted:
            cone = cones[lit >> 1]
            found.append(cone | {timer_bits[node] for node in cone if node in timer_bits})
        return tuple(found)

    def _bit_node(self, bit: int) -> int:
        core = self.core
        return (
            core.first_state if bit < len(core.state) else core.first_gate - len(core.state)
        ) + bit

    def _keepers(self) -> tuple[int, ...]:
        """The bits that the levels alone do not decide once the panel is settled."""
        followers: set[int] = set()
        bits = range(len(self.reads))
        node_of = {self._bit_node(bit): bit for bit in bits}
        while True:
            more = {
                bit
                for bit in bits
                if bit not in followers
                and all(node_of[n] in followers for n in self.reads[bit] if n in node_of)
            }
            if not more:
                return tuple(bit for bit in bits if bit not in followers)
            followers |= more

    def touched(self, event: _Event) -> frozenset[int]:
        """The keepers that an event can move, at once or by way of other bits."""
        nodes = {1 + event.signal}
        for timer, place in self.passed.items():
            if self.delays[place - len(self.leveled)].signal == event.signal:
                nodes.add(1 + self.core.timers[timer].due)
        moved: set[int] = set()
        while True:
            more = {b for b, reads in enumerate(self.reads) if b not in moved and reads & nodes}
            if not more:
                return frozenset(moved & set(self.keepers))
            moved |= more
            nodes |= {self._bit_node(bit) for bit in more}

    # --- events

    def _events(self) -> Iterator[_Event]:
        """All events, in the order of the rows of a table."""
        for signal in sorted((*self.leveled, *self.moments)):
            if signal in self.moments:
                here = ((self.wide.ones, 0),)
                yield _Event("at", signal, 0, here, frozenset((signal,)))
                continue
            for level in (True, False):
                kind: Literal["closes", "opens"] = "closes" if level else "opens"
                yield _Event(
                    kind,
                    signal,
                    0,
                    tuple(self._turns(signal, level)),
                    begins=frozenset(((signal, level),)),
                )
                for number, delay in enumerate(self.delays):
                    if (delay.signal, delay.level) == (signal, level):
                        yield _Event(kind, signal, delay.preset, (self._passing(number),))

    def _level(self, lanes: _Lanes, signal: int, level: bool) -> int:
        at = lanes.levels[self.place[signal]]
        return at if level else lanes.ones ^ at

    def _turns(self, signal: int, level: bool) -> Iterator[tuple[int, int]]:
        """The lanes from which a signal comes to a level; its passed delays are then past."""
        step = 1 << self.place[signal]
        mine = [len(self.leveled) + n for n, d in enumerate(self.delays) if d.signal == signal]
        for passed in product((False, True), repeat=len(mine)):
            lanes, moves = self._level(self.wide, signal, not level), step if level else -step
            for place, on in zip(mine, passed, strict=True):
                at = self.wide.levels[place]
                lanes &= at if on else ~at
                moves -= on << place
            yield lanes, moves

    def _passing(self, number: int) -> tuple[int, int]:
        """The lanes in which a delay can pass next: no shorter one of its input still runs."""
        delay, place = self.delays[number], len(self.leveled) + number
        lanes = self._level(self.wide, delay.signal, delay.level) & ~self.wide.levels[place]
        for other, shorter in enumerate(self.delays):
            same = (shorter.signal, shorter.level) == (delay.signal, delay.level)
            if same and shorter.preset < delay.preset:
                lanes &= self.wide.levels[len(self.leveled) + other]
        return lanes, 1 << place

    # --- scanning

    def narrow(self, lane: int) -> _Lanes:
        """One lane alone."""
        return _Lanes(1, tuple(lane >> i & 1 for i in range(self.dimensions)))

    def due(self, lanes: _Lanes, state: Columns) -> Columns:
        """Each timer's due flag in the next scan."""
        first = len(self.core.state)
        return tuple(
            state[first + t] & lanes.levels[self.passed[t]] if t in self.passed else 0
            for t in range(len(self.core.timers))
        )

    def scan_once(
        self, lanes: _Lanes, state: Columns, pulses: Pulses = frozenset(), first: bool = False
    ) -> tuple[Columns, Columns, Columns]:
        """(next state and running timers, outputs, powers) of one scan in every lane."""
        core = self.core
        self.meter.charge(self.cost, lanes.ones.bit_length())
        signals = [0] * len(core.signals)
        for place, signal in enumerate(self.leveled):
            signals[signal] = lanes.levels[place]
        for signal in pulses:
            signals[signal] = lanes.ones
        for timer, flag in zip(core.timers, self.due(lanes, state), strict=True):
            signals[timer.due] = flag
        for number, signal_ in enumerate(core.signals):
            if signal_.kind == "first_scan" and first:
                signals[number] = lanes.ones
        after, outputs, rest = self.scan(lanes.ones, state[: len(core.state)], tuple(signals))
        split = 3 * len(core.timers)
        return (*after, *rest[:split:3]), outputs, rest[split:]

    def settle(
        self,
        lanes: _Lanes,
        state: Columns,
        mask: int,
        pulses: Pulses = frozenset(),
        first: bool = False,
        begins: Begins = frozenset(),
    ) -> _Settled:
        """Scan until the lanes of `mask` repeat themselves.

        A lane that meets itself again without standing still never settles; it is held against
        itself of the scans 0, 1, 3, 7 ... (the finding of cycles after Brent, FROM MEMORY).
        Raises _MisfitError where a timer does what no delay of an input does.
        """
        high = [0] * len(self.core.outputs)
        low, had = list(high), [0] * len(self.core.powers)
        saved: Columns = ()
        number = 0
        while True:
            once = number == 0
            after, outputs, powers = self.scan_once(
                lanes, state, pulses if once else frozenset(), first and once
            )
            self._watch(lanes, state, after, mask, first, begins, once)
            for place, shown in enumerate(outputs):
                high[place] |= shown
                low[place] |= ~shown
            for place, power in enumerate(powers):
                had[place] |= power
            moving = _differing(after, state) & mask
            steady = not once or not (pulses or first)
            restless = moving & ~_differing(after, saved) if steady and saved else 0
            if restless or (steady and not moving):
                self.slowest = max(self.slowest, number)
                return _Settled(
                    after, outputs, powers, tuple(high), tuple(low), tuple(had), restless
                )
            if number & (number + 1) == 0:
                saved = after
            state = after
            number += 1

    def _watch(
        self,
        lanes: _Lanes,
        state: Columns,
        after: Columns,
        mask: int,
        first: bool,
        begins: Begins,
        once: bool,
    ) -> None:
        """Strike out the inputs that do not hold a timer which this scan found running."""
        core, base = self.core, len(self.core.state)
        if not self.watching:
            return
        for number, due in enumerate(self.due(lanes, state)):
            ran, run = state[base + number], after[base + number]
            for signal, level in tuple(self.holds[number]):
                at = self._level(lanes, signal, level)
                name = core.signals[signal].name
                is_so = "closed" if level else "open"
                why = f"it runs while {name} is {'open' if level else 'closed'}"
                bad = run & ~at & mask
                if not bad and not (once and (first or (signal, level) in begins)):
                    why = f"it starts, and {name} has not just become {is_so}"
                    bad = run & ~ran & mask
                if not bad:
                    why = f"it stops before its time, and {name} is still {is_so}"
                    bad = ran & ~run & ~due & at & mask
                if bad:
                    self.holds[number].remove((signal, level))
                    if not self.holds[number]:
                        raise _MisfitError(number, why, bad)
            if not self.holds[number] and run & mask:
                raise _MisfitError(number, "it runs, and there is no input to hold it", run & mask)

    def powered_up(
        self, lanes: _Lanes, mask: int, retained: Key, pulses: Pulses = frozenset()
    ) -> _Settled:
        """The panel after power-up with these retained bits."""
        state = [0] * len(self.reads)
        for bit, on in zip(self.retained, retained, strict=True):
            state[bit] = lanes.ones if on else 0
        return self.settle(lanes, tuple(state), mask, pulses, first=True)

    def standing(self, lanes: _Lanes, mask: int, key: Key) -> _Settled:
        """The settled panel with these keepers: the bits that follow are worked out anew."""
        state = [0] * len(self.reads)
        for bit, on in zip(self.keepers, key, strict=True):
            state[bit] = lanes.ones if on else 0
        kept = set(self.keepers)
        while True:
            after, outputs, powers = self.scan_once(lanes, tuple(state))
            fresh = [old if b in kept else after[b] for b, old in enumerate(state)]
            if not _differing(fresh, state) & mask:
                assert not _differing(after, state) & mask, "a settled situation moves"
                return _Settled(after, outputs, powers, (), (), (), 0)
            state = fresh

    def keys(self, state: Columns, mask: int, bits: Sequence[int]) -> Iterator[tuple[Key, int]]:
        """The lanes of `mask`, split by what these bits are."""
        groups: list[tuple[Key, int]] = [((), mask)] if mask else []
        for bit in bits:
            split = []
            for key, lanes in groups:
                for on, part in ((0, lanes & ~state[bit]), (1, lanes & state[bit])):
                    if part:
                        split.append(((*key, on), part))
            groups = split
        self.meter.charge(2 * len(bits) * max(1, len(groups)), mask.bit_length())
        yield from groups

    def late_pulses(self) -> Iterator[Pulses]:
        """Each set of clock events that may be caught up in the first scan."""
        for count in range(len(self.late) + 1):
            yield from (frozenset(some) for some in combinations(self.late, count))


def _differing(one: Sequence[int], other: Sequence[int]) -> int:
    lanes = 0
    for a, b in zip(one, other, strict=True):
        lanes |= a ^ b
    return lanes


# --- the search -------------------------------------------------------------------------------


class _Search(_Machine):
    """Breadth-first over the settled situations: what every event does in each of them."""

    def __init__(
        self, program: Program, core: Core, timed: dict[int, _Delay], meter: _Meter
    ) -> None:
        super().__init__(program, core, timed, meter)
        self.program = program
        self.reached: dict[Key, int] = {}
        self.layers: list[dict[Key, int]] = []
        # the retained bits that power can come back with: where it was cut, and the outputs after
        self.returns: dict[Key, Place | None] = {}
        self.shown: dict[tuple[Key, Pulses], Columns] = {}
        self.contexts: list[set[tuple[int, Key]]] = [set() for _ in core.outputs]
        # by event and output: the first situation in which it goes off-off, off-on, on-off, on-on
        self.effects: dict[tuple[int, int], list[Place | None]] = {
            (e, r): [None] * 4 for e in range(len(self.events)) for r in range(len(core.outputs))
        }
        self.passing: set[tuple[int, int]] = set()
        self.rungs: dict[int, int] = {}  # by event (-1: power-up), a bit for each of core.powers
        self.situations = 0

    def run(self) -> None:
        """Look at everything that can be reached. Raises _RefusedError or _BudgetError."""
        nothing = tuple(0 for _ in self.retained)
        self._power_up(nothing, None, 0)
        for known in self.contexts:
            known.add((0, nothing))
        depth = 0
        while depth < len(self.layers):
            for key, mask in self.layers[depth].items():
                before = self.standing(self.wide, mask, key)
                self._cut(depth, key, mask, before)
                for number in range(len(self.events)):
                    self._event(depth, key, mask, before, number)
            depth += 1

    def _land(self, depth: int, state: Columns, mask: int) -> None:
        for key, lanes in self.keys(state, mask, self.keepers):
            fresh = lanes & ~self.reached.get(key, 0)
            if fresh:
                self.reached[key] = self.reached.get(key, 0) | fresh
                while len(self.layers) <= depth:
                    self.layers.append({})
                self.layers[depth][key] = self.layers[depth].get(key, 0) | fresh
                self.situations += fresh.bit_count()
                self.meter.situations = self.situations

    def _power_up(self, retained: Key, source: Place | None, depth: int) -> None:
        self.returns[retained] = source
        for pulses in self.late_pulses():
            try:
                after = self.powered_up(self.wide, self.patterns, retained, pulses)
            except _MisfitError as misfit:
                lane = _lowest(misfit.lanes)
                raise self._timer_refusal(
                    misfit, (*self.path(source), self._power_words(source, lane, pulses))
                ) from None
            if after.restless:
                lane = _lowest(after.restless)
                raise self._unsettled(
                    (*self.path(source), self._power_words(source, lane, pulses)), after, lane
                )
            self.shown[retained, pulses] = after.outputs
            self._note_rungs(-1, after, (), self.patterns)
            self._land(depth, after.state, self.patterns)

    def _cut(self, depth: int, key: Key, mask: int, before: _Settled) -> None:
        for retained, lanes in self.keys(before.state, mask, self.retained):
            for known, shown in zip(self.contexts, before.outputs, strict=True):
                if lanes & shown:
                    known.add((1, retained))
                if lanes & ~shown:
                    known.add((0, retained))
            if retained not in self.returns:
                self._power_up(retained, (depth, key, _lowest(lanes)), depth + 1)

    def _event(self, depth: int, key: Key, mask: int, before: _Settled, number: int) -> None:
        event = self.events[number]
        for lanes, by in event.parts:
            old = mask & lanes
            if not old:
                continue
            new = _shifted(old, by)
            start = tuple(_shifted(bits & old, by) for bits in before.state)
            try:
                after = self.settle(self.wide, start, new, event.pulses, begins=event.begins)
            except _MisfitError as misfit:
                place = (depth, key, _lowest(misfit.lanes) - by)
                raise self._timer_refusal(
                    misfit, (*self.path(place), event.words(self.core))
                ) from None
            if after.restless:
                lane = _lowest(after.restless)
                path = self.path((depth, key, lane - by))
                raise self._unsettled((*path, event.words(self.core)), after, lane)
            self._note_effects(depth, key, number, new, by, before, after)
            was = tuple(_shifted(bits & old, by) for bits in before.powers)
            self._note_rungs(number, after, was, new)
            self._land(depth + 1, after.state, new)

    def _note_effects(
        self,
        depth: int,
        key: Key,
        number: int,
        new: int,
        by: int,
        before: _Settled,
        after: _Settled,
    ) -> None:
        for relay, shown in enumerate(after.outputs):
            was = _shifted(before.outputs[relay], by)
            seen = self.effects[number, relay]
            for which, lanes in enumerate(
                (new & ~was & ~shown, new & ~was & shown, new & was & ~shown, new & was & shown)
            ):
                if lanes and seen[which] is None:
                    seen[which] = (depth, key, _lowest(lanes) - by)
            stays = new & ~(was ^ shown)
            if stays & (shown & after.low[relay] | ~shown & after.high[relay]):
                self.passing.add((number, relay))

    def _note_rungs(self, number: int, after: _Settled, was: Columns, mask: int) -> None:
        found = self.rungs.get(number, 0)
        for place, had in enumerate(after.had):
            lost = was[place] & ~after.powers[place] if was else 0
            if (had | lost) & mask:
                found |= 1 << place
        self.rungs[number] = found

    # --- words of a way

    def path(self, place: Place | None) -> tuple[str, ...]:
        """A shortest way from power-up to a situation, each event in words."""
        words: list[str] = []
        watching, self.watching = self.watching, False
        while place is not None:
            step, place = self._step(place)
            words.append(step)
        self.watching = watching
        return tuple(reversed(words))

    def _power_words(self, source: Place | None, lane: int, pulses: Pulses) -> str:
        names = [
            (self.core.signals[s].name, bool(lane >> p & 1)) for p, s in enumerate(self.leveled)
        ]
        late = [self.core.signals[s].name for s in sorted(pulses)]
        return power_up_words(source is None, names, late)

    def _step(self, place: Place) -> tuple[str, Place | None]:
        """The last event on the way to a situation, and the situation before it."""
        depth, key, lane = place
        lanes = self.narrow(lane)
        for retained, source in self.returns.items():
            if depth != (0 if source is None else source[0] + 1) or not self.patterns >> lane & 1:
                continue
            for pulses in self.late_pulses():
                after = self.powered_up(lanes, 1, retained, pulses)
                if self._key(after) == key:
                    return self._power_words(source, lane, pulses), source
        for old_key, mask in self.layers[depth - 1].items():
            for event in self.events:
                for filters, by in event.parts:
                    old = lane - by
                    if old < 0 or not (mask & filters) >> old & 1:
                        continue
                    state = self.standing(self.narrow(old), 1, old_key).state
                    after = self.settle(lanes, state, 1, event.pulses, begins=event.begins)
                    if not after.restless and self._key(after) == key:
                        return event.words(self.core), (depth - 1, old_key, old)
        raise AssertionError("a situation that was reached has a way to it")

    def _key(self, settled: _Settled) -> Key:
        return tuple(settled.state[bit] for bit in self.keepers)

    def _unsettled(self, events: tuple[str, ...], after: _Settled, lane: int) -> _RefusedError:
        """The refusal of a program that goes round and round in a lane from `after` on."""
        lanes = self.narrow(lane)
        start = tuple(bits >> lane & 1 for bits in after.state)
        state, rows = start, list[Columns]()
        while not rows or state != start:
            state, outputs, _ = self.scan_once(lanes, state)
            rows.append(outputs)
        moving = [
            output.name
            for output, shown in zip(self.core.outputs, zip(*rows, strict=True), strict=True)
            if len(set(shown)) > 1
        ]
        what = f"{', '.join(moving)} would chatter" if moving else "no output moves"
        finding = Finding(
            "switching-unsettled",
            "the program does not settle",
            self.program.by_name[moving[0]].name_span if moving else NOWHERE,
            f"after [{'; '.join(events)}] it never comes to rest, though nothing else changes: "
            f"every {len(rows)} scans it begins anew, and {what}",
            "break the ring of rungs that drive each other, for instance with a contact of an "
            "input",
        )
        return _RefusedError(finding, self.situations, events)

    def _timer_refusal(self, misfit: _MisfitError, events: tuple[str, ...]) -> _RefusedError:
        timer = self.core.timers[misfit.timer]
        effect = f"after [{'; '.join(events)}] {misfit.why}"
        return _RefusedError(
            _timer_finding(self.program, timer.device, effect), self.situations, events
        )

    # --- power

    def power_cases(self, power_up: PowerUp, acts: dict[int, tuple[Act, ...]]) -> PowerCases:
        """All that can be met when power comes back, with what the program then does."""
        core = self.core
        late = tuple(self.late)
        at = {self.events[e].signal: acts[e] for e in acts if self.events[e].event == "at"}
        order = list(self.late_pulses())
        self.meter.charge(
            len(core.outputs) * len(self.returns) * len(order) * 4,
            1 << min(len(self.leveled) + len(late) + len(self.retained) + 1, MAX_VARIABLES),
        )
        return PowerCases(
            relays=tuple(output.name for output in core.outputs),
            signals=tuple(core.signals[s].name for s in self.leveled),
            late=tuple(core.signals[s].name for s in late),
            late_acts=tuple(at[s] for s in late),
            retained=tuple(core.state[bit] for bit in self.retained),
            contexts=tuple(
                frozenset(((0, kept) for _, kept in known) if power_up == "off" else known)
                for known in self.contexts
            ),
            keeps=power_up == "last",
            shown={
                (kept, tuple(int(s in pulses) for s in late)): outputs
                for (kept, pulses), outputs in self.shown.items()
            },
        )


def _explored(program: Program, core: Core, delays: bool, meter: _Meter) -> _Search:
    """The search with each timer as the delay of an input, where the board has delays."""
    signals = [s for s in core.signals if s.kind in ("input", "clock")]
    if len(signals) > MAX_SIGNALS:
        raise _RefusedError(_size_finding(program, core, len(signals), "signals"))
    caught_up = [c.name for c in program.clocks if c.catch_up]
    if sum(s.name in caught_up for s in signals) > MAX_LATE:
        raise _RefusedError(
            _size_finding(program, core, len(caught_up), "clock events to catch up")
        )
    for timer in core.timers:
        if timer.kind == "accumulating":
            effect = "a delay of a row begins anew each time, and does not add up"
            raise _RefusedError(_timer_finding(program, timer.device, effect))
        if not delays:
            message = f"timer '{timer.device}' needs rows with a delay, and this board has none"
            effect = "the board would never act when the time is up"
            raise _RefusedError(_timer_finding(program, timer.device, effect, message))
    search = _Search(program, core, {}, meter)
    if not core.timers:
        search.run()
        return search
    # as long as no time has run out, the inputs that can hold each timer show themselves
    search.run()
    return _with_delays(program, core, search.holds, meter)


def _with_delays(
    program: Program, core: Core, holds: list[list[tuple[int, bool]]], meter: _Meter
) -> _Search:
    """The first choice of inputs for the timers that fits, else what stands in the way."""
    refused: _RefusedError | None = None
    clashing: _Search | None = None
    # a timer that never ran, in a program without inputs, has nothing to choose from
    numbers = [number for number, some in enumerate(holds) if some]
    for choice in product(*(holds[number] for number in numbers)):
        timed = {
            n: _Delay(signal, level, core.timers[n].preset)
            for n, (signal, level) in zip(numbers, choice, strict=True)
        }
        levels = sum(s.kind in ("input", "clock") for s in core.signals) + len(set(timed.values()))
        if levels > MAX_SIGNALS:
            raise _RefusedError(_size_finding(program, core, levels, "signals and delays"))
        search = _Search(program, core, timed, meter)
        try:
            search.run()
            _long_enough(program, search)
        except _RefusedError as why:
            # the input that lasted longest tells most about the timer
            if refused is None or len(why.events) >= len(refused.events):
                refused = why
            continue
        if not any(_best_act(seen) is None for seen in search.effects.values()):
            return search
        clashing = clashing or search
    if clashing is not None:
        return clashing
    assert refused is not None
    raise refused


def _long_enough(program: Program, search: _Search) -> None:
    """A time that can be up before the panel has settled would act in the midst of an event."""
    for timer in search.core.timers:
        if timer.preset <= search.slowest * search.core.period:
            scans = f"{search.slowest + 1} scans of {search.core.period} ms"
            message = f"timer '{timer.device}' is too short for a delay of a row"
            effect = (
                f"its {duration_text(timer.preset)} can be up before the program has settled, "
                f"which takes up to {scans}"
            )
            raise _RefusedError(
                _timer_finding(program, timer.device, effect, message), search.situations
            )


def _size_finding(program: Program, core: Core, count: int, what: str) -> Finding:
    limit = MAX_LATE if what.startswith("clock") else MAX_SIGNALS
    span = program.by_name[core.outputs[0].name].name_span if core.outputs else NOWHERE
    return Finding(
        "table-size",
        f"the outputs depend on {count} {what}, and {limit} are the limit",
        span,
        f"their levels alone would make {1 << count:,} situations",
        "split the panel into programs that share no inputs",
    )


# --- from what was seen to rows ---------------------------------------------------------------


def _best_act(seen: Sequence[Place | None]) -> Act | None:
    """The first act that does what was seen (off-off, off-on, on-off, on-on), if one does."""
    for act, from_off, from_on in ACTS:
        if seen[0 if from_off else 1] is None and seen[2 if from_on else 3] is None:
            return act
    return None


def _acts(search: _Search) -> dict[int, tuple[Act, ...]]:
    """The acts of each event, when there is one for every relay."""
    rows: dict[int, tuple[Act, ...]] = {}
    for number in range(len(search.events)):
        found = [
            _best_act(search.effects[number, relay]) for relay in range(len(search.core.outputs))
        ]
        rows[number] = tuple(act for act in found if act is not None)
        assert len(rows[number]) == len(found)
    return rows


def _conflicts(search: _Search) -> list[tuple[Conflict, tuple[str, ...]]]:
    """For each relay without a row, the shortest pair of ways, and the other events concerned."""
    found = []
    for relay, output in enumerate(search.core.outputs):
        pairs: list[tuple[int, int, int, Place, Place]] = []
        for number in range(len(search.events)):
            seen = search.effects[number, relay]
            for before in (0, 1):
                off, on = seen[2 * before], seen[2 * before + 1]
                if off is not None and on is not None:
                    pairs.append((off[0] + on[0], number, before, on, off))
        if not pairs:
            continue
        _, number, before, on, off = min(pairs, key=lambda pair: pair[:3])
        event = search.events[number].words(search.core)
        more = [search.events[n].words(search.core) for _, n, *_ in pairs if n != number]
        conflict = Conflict(output.name, event, bool(before), search.path(on), search.path(off))
        found.append((conflict, tuple(dict.fromkeys(more))))
    return found


def _rows(
    program: Program, search: _Search, acts: dict[int, tuple[Act, ...]], power: tuple[Act, ...]
) -> tuple[SwitchingRow, ...]:
    """The power-up row, and one row for each event of every input and clock of the program."""
    core = search.core
    drivers = [_drivers(program, output.name) for output in core.outputs]

    def rungs(number: int, moves: tuple[Act, ...]) -> tuple[int, ...]:
        matter = set().union(*(d for d, act in zip(drivers, moves, strict=True) if act != "leave"))
        seen = search.rungs.get(number, 0)
        had = {p.number for place, p in enumerate(core.powers) if seen >> place & 1}
        return tuple(sorted(had & matter))

    rows = [SwitchingRow(event="power-up", acts=power, rungs=rungs(-1, power))]
    idle: tuple[Act, ...] = tuple("leave" for _ in core.outputs)
    moments = {clock.name for clock in program.clocks if clock.end is None}
    by_device: dict[str, list[int]] = {}
    for number, event in enumerate(search.events):
        by_device.setdefault(core.signals[event.signal].name, []).append(number)
    for name in [d.name for d in program.inputs] + [d.name for d in program.clocks]:
        for number in by_device.get(name, ()):
            kind, delay, moves = (
                search.events[number].event,
                search.events[number].delay_ms,
                acts[number],
            )
            rows.append(
                SwitchingRow(
                    event=kind, device=name, delay_ms=delay, acts=moves, rungs=rungs(number, moves)
                )
            )
        if name not in by_device:
            kinds: tuple[Literal["closes", "opens", "at"], ...] = ("closes", "opens")
            for kind in ("at",) if name in moments else kinds:
                rows.append(SwitchingRow(event=kind, device=name, acts=idle))
    return tuple(rows)


def _drivers(program: Program, relay: str) -> set[int]:
    """The rungs that drive a relay, directly or through what its rungs read."""
    open_ends, known, found = [relay], {relay}, set[int]()
    by_target: dict[str, list[Rung]] = {}
    for rung in program.rungs:
        for action in rung.actions:
            by_target.setdefault(action.name, []).append(rung)
    while open_ends:
        for rung in by_target.get(open_ends.pop(), ()):
            found.add(rung.number)
            for leaf in leaves(rung.circuit):
                if leaf.name and leaf.name not in known:
                    known.add(leaf.name)
                    open_ends.append(leaf.name)
    return found


# --- two events in one scan -------------------------------------------------------------------


def _together(search: _Search, acts: dict[int, tuple[Act, ...]]) -> tuple[str, ...]:
    """Pairs of events that the program, seeing both in one scan, answers differently than the two
    rows do one after the other. Where no bit that remembers is moved by both, order is nothing."""
    touched = [search.touched(event) for event in search.events]
    # a board acts on levels first, then on delays that are up, then on clock events
    order = sorted(range(len(touched)), key=lambda n: (search.events[n].turn, n))
    pairs = [
        (a, b)
        for a, b in combinations(order, 2)
        if search.events[a].signal != search.events[b].signal and touched[a] & touched[b]
    ]
    found: dict[tuple[int, int], set[str]] = {}
    if pairs:
        for key, mask in search.reached.items():
            before = search.standing(search.wide, mask, key)
            for pair in pairs:
                found.setdefault(pair, set()).update(_pair(search, acts, mask, before, pair))
    core = search.core
    return tuple(
        f"when {search.events[a].words(core)} and {search.events[b].words(core)} in the same scan: "
        + "; ".join(sorted(found[a, b]))
        for a, b in pairs
        if found.get((a, b))
    )


def _pair(
    search: _Search,
    acts: dict[int, tuple[Act, ...]],
    mask: int,
    before: _Settled,
    pair: tuple[int, int],
) -> set[str]:
    """What differs, in words, when a pair of events comes in the lanes of `mask`."""
    one, two = (search.events[number] for number in pair)
    found: set[str] = set()
    for (lanes, by), (more, further) in product(one.parts, two.parts):
        old, moves = mask & lanes & more, by + further
        new = _shifted(old, moves)
        start = tuple(_shifted(bits & old, moves) for bits in before.state)
        after = None
        while new:
            after, lost, words = _both(search, start, new, one, two)
            if not lost:
                break
            found.add(words)
            new &= ~lost
        if not new or after is None:
            continue
        for relay, output in enumerate(search.core.outputs):
            table = _shifted(before.outputs[relay] & old, moves)
            for number in pair:
                table = acted(acts[number][relay], table, new)
            shown = after.outputs[relay]
            if new & shown & ~table:
                found.add(f"{output.name} can be on in the program and off on the board")
            if new & table & ~shown:
                found.add(f"{output.name} can be off in the program and on on the board")
        for key, met in search.keys(after.state, new, search.keepers):
            if met & ~search.reached.get(key, 0):
                found.add(ASTRAY)
    return found


def _both(
    search: _Search, start: Columns, new: int, one: _Event, two: _Event
) -> tuple[_Settled | None, int, str]:
    """The panel settled after two events in one scan, or lanes to leave out and the reason."""
    holds = [list(some) for some in search.holds]
    try:
        after = search.settle(
            search.wide, start, new, one.pulses | two.pulses, begins=one.begins | two.begins
        )
    except _MisfitError as misfit:
        search.holds = holds
        name = search.core.timers[misfit.timer].device
        return None, misfit.lanes, f"{name} can run otherwise than a delay of the board"
    return after, after.restless, "the program can fail to settle"
