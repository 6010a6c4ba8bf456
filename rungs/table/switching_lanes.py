"""A panel scanned in every lane at once: its levels, its delays, and how it comes to rest.

A lane is one pattern of all levels, and a column holds one bit of every lane, so that a scan is
worked for all patterns at once. State bits that follow the levels once the panel is settled need no
telling apart; the bits that do remember, here called keepers, are on a panel that fits hardly more
than its relays.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, product
from typing import Final, Literal

from rungs.core.nodes import Core
from rungs.program.nodes import Program
from rungs.scan.generate import scan_wide
from rungs.table.switching_power import Columns, column, event_words

BUDGET: Final = 100_000_000  # steps; see Meter

Key = tuple[int, ...]  # the bits that remember, 0 or 1 each
Pulses = frozenset[int]
Begins = frozenset[tuple[int, bool]]  # inputs by signal, and the levels they have just come to

# --- how much is looked at --------------------------------------------------------------------


class BudgetError(Exception):
    """More work than the meter allows."""


@dataclass(slots=True)
class Meter:
    """Counts steps of work, which are the same on every machine, where time is not."""

    limit: int
    used: int = 0
    situations: int = 0

    def charge(self, operations: int, lanes: int) -> None:
        """Count operations on columns of so many lanes. Raises BudgetError beyond the limit."""
        self.used += operations * (1 + (lanes >> 11))
        if self.used > self.limit:
            raise BudgetError


# --- lanes ------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Delay:
    """An input (its signal) that has stayed at `level` for `preset` ms."""

    signal: int
    level: bool
    preset: int


@dataclass(frozen=True, slots=True)
class Event:
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
        """The event as a person would tell it."""
        signal = core.signals[self.signal]
        return event_words(self.event, signal.name, signal.kind == "clock", self.delay_ms)


@dataclass(frozen=True, slots=True)
class Lanes:
    """What every lane stands for: the columns of levels, and of delays that have passed."""

    ones: int
    levels: Columns


@dataclass(frozen=True, slots=True)
class Settled:
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


class MisfitError(Exception):
    """A timer that no input is left for; `lane` is where, `why` what it did there."""

    def __init__(self, timer: int, why: str, lanes: int) -> None:
        super().__init__(why)
        self.timer = timer
        self.why = why
        self.lanes = lanes


def lowest(mask: int) -> int:
    """The lowest lane of a mask that has one."""
    return (mask & -mask).bit_length() - 1


def shifted(column_: int, by: int) -> int:
    """A column with every lane moved up by `by`, or down where it is negative."""
    return column_ << by if by >= 0 else column_ >> -by


class Machine:
    """The core with its running timers as state, and with passed delays in place of due flags."""

    def __init__(self, program: Program, core: Core, timed: dict[int, Delay], meter: Meter) -> None:
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
        self.wide = Lanes(
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

    def touched(self, event: Event) -> frozenset[int]:
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

    def _events(self) -> Iterator[Event]:
        """All events, in the order of the rows of a table."""
        for signal in sorted((*self.leveled, *self.moments)):
            if signal in self.moments:
                here = ((self.wide.ones, 0),)
                yield Event("at", signal, 0, here, frozenset((signal,)))
                continue
            for level in (True, False):
                kind: Literal["closes", "opens"] = "closes" if level else "opens"
                yield Event(
                    kind,
                    signal,
                    0,
                    tuple(self._turns(signal, level)),
                    begins=frozenset(((signal, level),)),
                )
                for number, delay in enumerate(self.delays):
                    if (delay.signal, delay.level) == (signal, level):
                        yield Event(kind, signal, delay.preset, (self._passing(number),))

    def _level(self, lanes: Lanes, signal: int, level: bool) -> int:
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

    def narrow(self, lane: int) -> Lanes:
        """One lane alone."""
        return Lanes(1, tuple(lane >> i & 1 for i in range(self.dimensions)))

    def due(self, lanes: Lanes, state: Columns) -> Columns:
        """Each timer's due flag in the next scan."""
        first = len(self.core.state)
        return tuple(
            state[first + t] & lanes.levels[self.passed[t]] if t in self.passed else 0
            for t in range(len(self.core.timers))
        )

    def scan_once(
        self, lanes: Lanes, state: Columns, pulses: Pulses = frozenset(), first: bool = False
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
        lanes: Lanes,
        state: Columns,
        mask: int,
        pulses: Pulses = frozenset(),
        first: bool = False,
        begins: Begins = frozenset(),
    ) -> Settled:
        """Scan until the lanes of `mask` repeat themselves.

        A lane that meets itself again without standing still never settles; it is held against
        itself of the scans 0, 1, 3, 7 ... (the finding of cycles after Brent, FROM MEMORY).
        Raises MisfitError where a timer does what no delay of an input does.
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
                return Settled(
                    after, outputs, powers, tuple(high), tuple(low), tuple(had), restless
                )
            if number & (number + 1) == 0:
                saved = after
            state = after
            number += 1

    def _watch(
        self,
        lanes: Lanes,
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
                        raise MisfitError(number, why, bad)
            if not self.holds[number] and run & mask:
                raise MisfitError(number, "it runs, and there is no input to hold it", run & mask)

    def powered_up(
        self, lanes: Lanes, mask: int, retained: Key, pulses: Pulses = frozenset()
    ) -> Settled:
        """The panel after power-up with these retained bits."""
        state = [0] * len(self.reads)
        for bit, on in zip(self.retained, retained, strict=True):
            state[bit] = lanes.ones if on else 0
        return self.settle(lanes, tuple(state), mask, pulses, first=True)

    def standing(self, lanes: Lanes, mask: int, key: Key) -> Settled:
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
                return Settled(after, outputs, powers, (), (), (), 0)
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
