"""What an explanation is made of: facts, moments, kinds of reason, causes; and what would alter it.

Frozen data only, so that the text, the JSON and the check all read the very same explanation.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Literal, assert_never

from rungs.program.nodes import Leaf, Side, TimerKind, Verb
from rungs.scan.runner import WireFault
from rungs.source import Span

Kind = Literal["contact", "coil", "load", "timing", "count", "rising", "falling", "first_scan"]
Mode = Literal[
    "free",  # a loop may be followed into the scan before
    "grounded",  # that was done; the next step back goes to where a state began
    "was",  # told and not followed
]
Hand = Literal["operate", "release", "tap", "again", "mend", "power", "unforce"]


@dataclass(frozen=True, slots=True)
class Fact:
    """What a device showed in the scan at `t` (ms), after rung `upto` of it.

    `memory` is that of the edge contact for `rising` and `falling`, and else -1.
    """

    name: str
    kind: Kind
    t: int
    upto: int
    memory: int = -1


@dataclass(frozen=True, slots=True)
class Moment:
    """A scan: its time (ms of the run), its number, and its wall time (ms UTC)."""

    t: int
    scan: int
    wall: int


@dataclass(frozen=True, slots=True)
class Switch:
    """An input: the actuator, its wire, its circuit now, and for how long (ms) a circuit that
    differs from the image must still stay before it counts."""

    operated: bool
    side: Side
    wire: WireFault
    circuit: bool
    bouncing: int | None


@dataclass(frozen=True, slots=True)
class Window:
    """A clock window: since and until when it is as it is, ms UTC, as far as the calendar tells."""

    since: int | None
    until: int | None


@dataclass(frozen=True, slots=True)
class Event:
    """A clock of events: the last one before this scan that is known of, and the next, ms UTC."""

    last: int | None
    next: int | None


@dataclass(frozen=True, slots=True)
class FirstScan:
    """Whether the scan is the first one since power came on."""


@dataclass(frozen=True, slots=True)
class NoPower:
    """The panel has no power."""


@dataclass(frozen=True, slots=True)
class PowerUp:
    """As it was when power came on, since nothing has moved it: off, or kept over the power cut."""

    kept: bool


@dataclass(frozen=True, slots=True)
class Driven:
    """A coil: it takes the power of its rung in every scan."""


@dataclass(frozen=True, slots=True)
class Held:
    """Put there by an action of a rung in an earlier or this scan; nothing has moved it since."""

    verb: Verb


Phase = Literal[
    "off",  # the coil is off: not started, or dropped out
    "timing",  # the time runs
    "done",  # on-delay: timed out and still held; accumulating: full
    "held",  # off-delay: held on by its coil
    "ended",  # off-delay, pulse: the time has run out
    "spent",  # pulse: over, and the rung has not lost its power yet
    "holding",  # accumulating: coil off, what was gathered is kept
    "reset",  # accumulating: a rung holds it at nothing
    "bright",  # flasher, closed
    "dark",  # flasher, open
]


@dataclass(frozen=True, slots=True)
class Timed:
    """A timer. `elapsed` and `left` in ms, where its time runs or holds something; `since` is the
    time at which it began to run, `ended` the one at which it last ran out or dropped out.

    The reason that goes with it is why its rung has power or not: in the phases `timing` of an
    on-delay, `done` of an accumulating timer and `spent`, the contact is as it is for want of time
    and not for that.
    """

    kind: TimerKind
    phase: Phase
    elapsed: int | None = None
    left: int | None = None
    since: int | None = None
    ended: int | None = None


@dataclass(frozen=True, slots=True)
class Counted:
    """A counter: its count and preset, and what last changed the count (None: nothing has)."""

    count: int
    preset: int
    verb: Verb | None


@dataclass(frozen=True, slots=True)
class Edge:
    """An edge contact: what it sees, and what it saw in its scan before."""

    sees: bool
    saw: bool


@dataclass(frozen=True, slots=True)
class OnLoad:
    """A load: on with the coil on (NO), or with the coil off (NC)."""

    side: Side


@dataclass(frozen=True, slots=True)
class Forced:
    """Somebody holds, or held, the contact closed or open against the program.

    `since` is the scan (ms) in which that began, as far as known. `until` is None while it is held;
    else it is the last scan (ms) in which it was, and no rung has moved the device after that.
    """

    closed: bool
    since: int | None = None
    until: int | None = None


@dataclass(frozen=True, slots=True)
class Was:
    """Stood so before; how that came about is a story of its own."""


@dataclass(frozen=True, slots=True)
class Unrecorded:
    """It came about before the scans that are known."""


How = (
    Switch
    | Window
    | Event
    | FirstScan
    | NoPower
    | PowerUp
    | Driven
    | Held
    | Timed
    | Counted
    | Edge
    | OnLoad
    | Forced
    | Was
    | Unrecorded
)


@dataclass(frozen=True, slots=True)
class Context:
    """The way on which a fact was come to; a fact has one explanation for each.

    `jumps` counts how often the way went back to where a held state began, `steps` (which make no
    other context) how many facts lie between it and what was asked about.
    """

    mode: Mode = "free"
    jumps: int = 0
    steps: int = field(default=0, compare=False)

    def as_(self, mode: Mode) -> Context:
        """The same way in another mode."""
        return Context(mode, self.jumps, self.steps)

    def back(self) -> Context:
        """One jump further back, free again."""
        return Context("free", self.jumps + 1, self.steps)

    def deeper(self) -> Context:
        """One fact further on."""
        return Context(self.mode, self.jumps, self.steps + 1)


@dataclass(frozen=True, slots=True)
class Cause:
    """One thing that an explanation rests on.

    In a rung it is a contact: `leaf` as written, its `index` in reading order, and whether it
    `conducts`. `held` says that the device has stood so since the (earlier) scan of `fact`, which
    is when it came about. `why` is None until it is opened.
    """

    fact: Fact
    conducts: bool
    leaf: Leaf | None = None
    index: int = -1
    held: bool = False
    why: Explanation | None = None
    context: Context = field(default=Context(), compare=False, repr=False)


@dataclass(frozen=True, slots=True)
class Together:
    """All of these at once make the circuit what it is; any one of them less turns it over."""

    parts: tuple[Reason, ...]


@dataclass(frozen=True, slots=True)
class Either:
    """Each of these alone makes the circuit what it is. `parts` are told; `others` would do as
    well, and stand in the way just the same."""

    parts: tuple[Reason, ...]
    others: tuple[Reason, ...] = ()


Reason = Cause | Together | Either


@dataclass(frozen=True, slots=True)
class RungRef:
    """A rung: its number, its label or else the last one above it, and its place."""

    number: int
    label: str
    span: Span = field(compare=False)


@dataclass(frozen=True, slots=True)
class Explanation:
    """Why a device shows `value` at a moment.

    `since` is the scan in which it took the value, as far as known. `rung` is the one that decided,
    in the scan `decided`, and `reason` what that rung's circuit rested on; for a load, an edge, or
    a state kept over a power cut, the one cause without a rung.
    """

    fact: Fact
    value: bool | int
    at: Moment
    since: Moment | None
    how: How
    rung: RungRef | None = None
    decided: Moment | None = None
    reason: Reason | None = None
    cut: bool = False  # the chain is longer and was not followed


def causes(reason: Reason | None) -> Iterator[Cause]:
    """The causes that are told, in reading order."""
    match reason:
        case None:
            return
        case Cause():
            yield reason
        case Together() | Either():
            for part in reason.parts:
                yield from causes(part)
        case _:
            assert_never(reason)


def others(reason: Reason | None) -> Iterator[Cause]:
    """The causes that stand in the way as well and are not told."""
    if isinstance(reason, Together | Either):
        for part in reason.parts:
            yield from others(part)
    if isinstance(reason, Either):
        for part in reason.others:
            yield from causes(part)
            yield from others(part)


def unopened(explanation: Explanation) -> Iterator[Cause]:
    """The causes that are told and were not opened, below the explanation."""
    for each in walk(explanation):
        for cause in causes(each.reason):
            if cause.why is None:
                yield cause


def walk(explanation: Explanation) -> Iterator[Explanation]:
    """The explanation and all that is opened below it."""
    yield explanation
    for cause in causes(explanation.reason):
        if cause.why is not None:
            yield from walk(cause.why)


@dataclass(frozen=True, slots=True)
class Change:
    """One thing that a person can do.

    Operate or release a switch and leave it so, `tap` it (operate it and let go), work it `again`
    (let go and operate it), mend a wire, switch the power on, or let go of a force (`unforce`,
    `name` being the device that is held). `lasting` says that the device
    then settles at another value, and does not only pass through one.
    """

    hand: Hand
    name: str
    lasting: bool


@dataclass(frozen=True, slots=True)
class Passing:
    """Left alone, the device changes at this moment, when these timers, clocks or inputs (bounce
    over) come to their time."""

    at: Moment
    names: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Alterations:
    """What would alter a device now, each found by playing it to where the panel settles.

    `changes`: every single thing to do. `pair`: the first pair of switches and forces that does
    where none does alone. `passing`: when it changes by itself. `restless`: it does not stand still
    without being touched, so that nothing was tried.
    """

    changes: tuple[Change, ...] = ()
    pair: tuple[Change, Change] | None = None
    passing: Passing | None = None
    restless: bool = False
    tried: bool = True  # there are switches or forces on which the device can depend
