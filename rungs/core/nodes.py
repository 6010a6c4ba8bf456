"""The core as frozen data: what fast engines, tables and proofs read in place of the program.

A literal is twice the number of a node, plus one if it is taken inverted. Node 0 is the constant
false, so literal 0 is false and literal 1 is true. The signals come next, then the state bits, then
the gates; a gate is the And of its literals, all of them of smaller nodes. With inversion for
nothing, an Or is an inverted And of inverted literals, and one kind of gate serves every reader.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from rungs.source import NOWHERE, Span

Lit = int
FALSE: Lit = 0
TRUE: Lit = 1

PERIOD = 10  # ms from scan to scan, unless told otherwise

SignalKind = Literal["first_scan", "input", "clock", "due", "fault"]
OutputKind = Literal["output", "relay", "timer", "counter", "asked"]
StateKind = Literal["contact", "coil", "timing", "phase", "count", "edge", "power"]


@dataclass(frozen=True, slots=True)
class Signal:
    """One bit that a scan reads from outside: an input's image, a clock's contact, a core timer's
    due flag, that this is the first scan after power-up, or a wire fault that somebody asks about.
    `device` names what it comes from. `one_scan` marks a clock that closes for one scan at a
    time."""

    name: str
    kind: SignalKind
    device: str
    one_scan: bool = False
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class StateBit:
    """One bit that is carried from scan to scan; `next` is what it becomes.

    Every bit is 0 when the panel first gets power. A power cut makes it 0 again unless `retained`.
    `words` says what it means when it is 1.
    """

    name: str
    kind: StateKind
    device: str
    words: str
    next: Lit
    retained: bool = False
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class CoreTimer:
    """An on-delay, or an accumulating timer, outside the logic.

    While `run` is 1 it times. Its due flag (`due`, the index of a signal) is 1 in a scan if it ran
    in the scan before and will have run for `preset` ms if it runs in this scan too. An
    accumulating timer adds up what it ran; `clear_before` empties it before the stretch up to this
    scan is added, `clear_after` when that has been done.
    """

    name: str
    device: str
    kind: Literal["on-delay", "accumulating"]
    preset: int
    due: int
    run: Lit
    clear_before: Lit = FALSE
    clear_after: Lit = FALSE
    retained: bool = False
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class CoreOutput:
    """What can be seen after a scan: the contact of an output, relay, timer or counter, or a
    circuit that was asked about."""

    name: str
    kind: OutputKind
    lit: Lit
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Number:
    """A counter's count: the indices of its state bits, lowest first, and the most it can hold."""

    name: str
    bits: tuple[int, ...]
    most: int


@dataclass(frozen=True, slots=True)
class RungPower:
    """The power of one rung in the scan."""

    number: int
    label: str
    lit: Lit
    drives: tuple[str, ...]
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Core:
    """The whole machine. Node numbers: 0, then `signals`, then `state`, then `gates`, in order."""

    title: str
    period: int
    signals: tuple[Signal, ...]
    state: tuple[StateBit, ...]
    gates: tuple[tuple[Lit, ...], ...]
    outputs: tuple[CoreOutput, ...]
    timers: tuple[CoreTimer, ...]
    numbers: tuple[Number, ...]
    powers: tuple[RungPower, ...]

    @property
    def first_state(self) -> int:
        """The node of state bit 0."""
        return 1 + len(self.signals)

    @property
    def first_gate(self) -> int:
        """The node of gate 0."""
        return 1 + len(self.signals) + len(self.state)


class Gates:
    """Builds gates, each only once. Constants, repeats and contradictions never become a gate."""

    def __init__(self, leaves: int) -> None:
        self.first = 1 + leaves
        self.made: list[tuple[Lit, ...]] = []
        self._known: dict[tuple[Lit, ...], Lit] = {}

    def conj(self, *parts: Lit) -> Lit:
        """The And of literals."""
        if FALSE in parts:
            return FALSE
        wanted = {part for part in parts if part != TRUE}
        if len(wanted) < 2:
            return wanted.pop() if wanted else TRUE
        for lit in wanted:
            if lit ^ 1 in wanted:
                return FALSE
        key = tuple(sorted(wanted))
        found = self._known.get(key)
        if found is None:
            found = (self.first + len(self.made)) * 2
            self._known[key] = found
            self.made.append(key)
        return found

    def disj(self, *parts: Lit) -> Lit:
        """The Or of literals."""
        return self.conj(*(part ^ 1 for part in parts)) ^ 1

    def choose(self, which: Lit, yes: Lit, no: Lit) -> Lit:
        """`yes` where `which` is 1, else `no`."""
        if yes == no:
            return yes
        return self.disj(self.conj(which, yes), self.conj(which ^ 1, no))

    def differ(self, one: Lit, other: Lit) -> Lit:
        """The exclusive Or of two literals."""
        return self.choose(one, other ^ 1, other)


def images(core: Core, leaf: Mapping[int, Lit], gates: Gates) -> list[Lit]:
    """What each node of a core becomes in `gates` when its leaves are put for what `leaf` says
    (literals there, by node; 0 where it says nothing)."""
    lits = [FALSE] * (core.first_gate + len(core.gates))
    for node, lit in leaf.items():
        lits[node] = lit
    for number, gate in enumerate(core.gates, core.first_gate):
        lits[number] = gates.conj(*[lits[lit >> 1] ^ (lit & 1) for lit in gate])
    return lits
