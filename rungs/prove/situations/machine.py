"""The core in lanes: one scan of thousands of states together, and what they come to at rest.

A whole number holds one bit of many states. Due flags are free under what the running timers allow,
so nothing that can happen is missed.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from copy import copy
from dataclasses import dataclass

from rungs.core.nodes import Core
from rungs.core.reduce import reduce
from rungs.core.watch import Ask, watch
from rungs.program.nodes import Contact, Program, leaves
from rungs.prove.situations.lanes import Columns
from rungs.prove.states import Key
from rungs.scan.generate import ScanOnce, scan_once, scan_wide

LONGEST = 100  # scans that settling may take: a second at 10 ms
HOLDS = -1  # among the signals that are given to lanes: where the clocks can stand still


@dataclass(frozen=True, slots=True)
class Scanned:
    """One scan of all lanes: the state after it, the outputs, the due flags, and the lanes in which
    an assumption about the plant was kept."""

    after: Columns
    outputs: tuple[int, ...]
    dues: Columns
    kept: int


@dataclass(frozen=True, slots=True)
class Rest:
    """What lanes come to while nothing but the program acts: the state and outputs of the last
    scan, the lanes that settled with all assumptions kept, those that never will (`restless`), and
    of these, for each output, those in which it goes on changing."""

    state: Columns
    outputs: tuple[int, ...]
    settled: int
    restless: int
    changing: tuple[int, ...]


class Machine:
    """The core in lanes. A state is its bits, the timers that ran, those whose time is over, and,
    where the calendar orders the clocks (`ordered`), what they showed; as a number (a word) it has
    them from bit 0 on in this order, and above them the mark of a first scan.

    `assumed` are the outputs of the core that are on where the plant does what is assumed never to
    happen. Timers are numbered as in the core, inputs and clocks as in `inputs` and `clocks`.
    """

    def __init__(self, program: Program, core: Core, assumed: Iterable[str], ordered: bool) -> None:
        self.program = program
        self.core = core
        self.scan = scan_wide(core)
        self.once: ScanOnce = scan_once(core)
        self.bits = len(core.state)
        self.sure = [timer.preset <= core.period for timer in core.timers]
        self.counts = [i for i, sure in enumerate(self.sure) if not sure]
        self.full_at = {t: self.bits + len(core.timers) + n for n, t in enumerate(self.counts)}
        self.inputs = [i for i, s in enumerate(core.signals) if s.kind == "input"]
        self.clocks = [i for i, s in enumerate(core.signals) if s.kind == "clock"]
        self.ordered = ordered
        self.showed_at = self.bits + len(core.timers) + len(self.counts)
        self.width = self.showed_at + len(self.clocks) * ordered
        self.first_word = 1 << self.width
        self.events = [core.signals[i].one_scan for i in self.clocks]
        self.first_at = [i for i, s in enumerate(core.signals) if s.kind == "first_scan"]
        self.seen = [n for n, o in enumerate(core.outputs) if o.kind in ("output", "relay")]
        names = set(assumed)
        self.assumed = [n for n, o in enumerate(core.outputs) if o.name in names]
        self.retained = sum(bit.retained << i for i, bit in enumerate(core.state))
        for number, at in self.full_at.items():
            self.retained |= core.timers[number].retained << at
        self.before = _surely_before(core)

    def faulty(self, name: str) -> Machine:
        """The same with a wire that lies: what is assumed of the contact of this input no longer
        says anything about the plant. The machine itself if nothing is assumed of it."""
        assumed = []
        for n in self.assumed:
            item = self.program.properties[int(self.core.outputs[n].name.split()[1])]
            if all(leaf.name != name for leaf in leaves(item.circuit)):
                assumed.append(n)
        if assumed == self.assumed:
            return self
        made = copy(self)
        made.assumed = assumed
        return made

    def running(self, word: int) -> int:
        """The timers that ran, bit i for timer i."""
        return word >> self.bits & ((1 << len(self.core.timers)) - 1)

    def waiting(self, word: int) -> int:
        """The timers whose time may be over in the next scan, and need not be."""
        running = self.running(word)
        return sum(
            1 << t for t in self.counts if running >> t & 1 and not word >> self.full_at[t] & 1
        )

    def key(self, word: int) -> Key:
        """A state in the form of the timing."""
        return Key(word & ((1 << self.bits) - 1), self.running(word), bool(word & self.first_word))

    def step(
        self, ones: int, state: Columns, given: dict[int, int], free: dict[int, int], first: int
    ) -> Scanned:
        """One scan. `given` has the lanes of each input and clock by signal, `free` those in which
        a timer's time ends now, by timer, and `first` those that scan for the first time."""
        core = self.core
        signals = [given.get(i, 0) for i in range(len(core.signals))]
        for i in self.first_at:
            signals[i] = first
        dues, kept = [], ones
        for number, timer in enumerate(core.timers):
            due = state[self.bits + number]
            if not self.sure[number]:
                due &= state[self.full_at[number]] | free.get(number, 0)
            dues.append(due)
            signals[timer.due] = due
        for short, long in self.before:
            kept &= dues[short] | (ones ^ dues[long])
        after, outputs, runs = self.scan(ones, tuple(state[: self.bits]), tuple(signals))
        full = []
        for number in self.counts:
            run, clears, cleared = runs[3 * number : 3 * number + 3]
            if core.timers[number].kind == "on-delay":
                full.append(run & dues[number])
                continue
            ran, was = state[self.bits + number], state[self.full_at[number]]
            full.append((was | (run & ran & dues[number])) & (ones ^ (clears | cleared)))
        for number in self.assumed:
            kept &= ones ^ outputs[number]
        shown = [given[i] for i in self.clocks] if self.ordered else []
        return Scanned([*after, *runs[::3], *full, *shown], outputs, dues, kept)

    def rest(self, ones: int, scanned: Scanned, given: dict[int, int]) -> Rest:
        """Scan on with the same inputs and clock windows until every lane has settled or is
        seen to come back to an earlier state for ever. Events are over and no timer's time ends,
        but for those of a single scan. `given` may say under HOLDS in which lanes the clocks
        can stand still for so long."""
        held = {i: mask for i, mask in given.items() if i != HOLDS}
        held.update((i, 0) for i, e in zip(self.clocks, self.events, strict=True) if e)
        state, outputs, live = scanned.after, scanned.outputs, scanned.kept
        saved, moved = state, [0] * len(outputs)
        restless, changing = 0, [0] * len(outputs)
        settled, fresh = 0, True
        # a timer of a single scan ends and starts again by itself: what that moves is its doing
        short = [n for n, sure in enumerate(self.sure) if sure]
        timers, dues = 0, scanned.dues
        live &= given.get(HOLDS, ones)
        for number in range(LONGEST):
            now = self.step(ones, state, held, {}, 0)
            live &= now.kept
            moves = differ(state, now.after)
            settled = live & (ones ^ moves)
            if settled == live:
                return Rest(now.after, now.outputs, settled, 0, tuple(changing))
            # what the scan before the saved state showed need not be part of the round
            if not fresh:
                moved = [m | (a ^ b) for m, a, b in zip(moved, outputs, now.outputs, strict=True)]
                for n in short:
                    timers |= dues[n] ^ now.dues[n]
            dues = now.dues
            state, outputs, fresh = now.after, now.outputs, False
            back = live & ~settled & ~restless & (ones ^ differ(state, saved))
            if back:
                restless |= back
                alone = back & ~timers
                changing = [c | m & alone for c, m in zip(changing, moved, strict=True)]
            if not live & ~settled & ~restless:
                return Rest(state, outputs, settled, restless & live, tuple(changing))
            if number & (number + 1) == 0 and number >= 3:
                saved, moved, fresh, timers = state, [0] * len(outputs), True, 0
        late = live & ~settled & ~restless & ~timers
        changing = [c | m & late for c, m in zip(changing, moved, strict=True)]
        return Rest(state, outputs, settled, live & ~settled, tuple(changing))

    def settle(
        self,
        ones: int,
        state: Columns,
        given: dict[int, int],
        free: dict[int, int] | None = None,
        first: int = 0,
    ) -> Rest:
        """One scan with what is new, and then to rest."""
        return self.rest(ones, self.step(ones, state, given, free or {}, first), given)


def differ(one: Sequence[int], other: Sequence[int]) -> int:
    """The lanes in which two states differ."""
    found = 0
    for a, b in zip(one, other, strict=True):
        found |= a ^ b
    return found


def _surely_before(core: Core) -> list[tuple[int, int]]:
    """Pairs of on-delays that always start together, the one that is due first in front."""
    return [
        (i, j)
        for i, short in enumerate(core.timers)
        for j, long in enumerate(core.timers)
        if i != j
        and short.kind == long.kind == "on-delay"
        and short.run == long.run
        and short.preset < long.preset
    ]


def core_of(program: Program, period: int) -> tuple[Core, list[str]]:
    """The core of a program that is scanned every `period` ms, cut down to what the outputs and
    relays depend on, and the names of further outputs that are on where the plant does what is
    assumed never to happen. Raises LowerError as `lower` does."""
    asks = []
    for number, item in enumerate(program.properties):
        kinds = {leaf.kind for leaf in leaves(item.circuit) if isinstance(leaf, Contact)}
        # where wires are named, a run that contradicts is thrown away when it is played
        if item.kind == "assume" and not kinds & {"broken", "shorted"}:
            asks.append(Ask(f"assume {number}", (item.circuit,)))
    core = watch(program, asks, period)
    asked = [ask.name for ask in asks]
    seen = [o.name for o in core.outputs if o.kind in ("output", "relay")]
    return reduce(core, [*seen, *asked]), asked
