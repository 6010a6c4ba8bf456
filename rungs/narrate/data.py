"""What a narration holds, as frozen data: events, and for each what it does to each device.

A situation is a settled state that the panel can be in, together with its signals: reached from
power-up by any inputs, any power cuts and any ends of running timers (timers started by one coil
keep their order), with the clocks as the calendar orders them, and with what the file assumes of
the plant. An event is one circuit closing or opening, one edge of a clock, one timer's time running
out, or a short power cut; all else is held, no other timer's time ends, and the panel scans until
it is settled. Inputs are their images, so debounce lies before the event.

For an event and a device let B be the situations in which the event can happen while the device is
off, and T those of them after which it is on. A sentence says "comes on" always if T = B, else "if
C", where C looks at contacts as they stand before the event, and is true in all of T and false in
all the rest of B. No term and no contact of C can be left out. Likewise for going off, and for a
pulse inside the settling. Because a narration is only as good as its weakest line, what was not
worked out to the end is named and not told.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rungs.program.nodes import Program
from rungs.prove.ready import Fight

EventKind = Literal[
    "closes", "opens", "begins", "ends", "comes", "runs out", "goes dark", "lights up",
    "power-up", "power cut",
]  # fmt: skip
Aspect = Literal["contact", "coil", "timing", "count"]
FactKind = Literal["input", "clock", "late", "output", "relay", "timer", "timing", "count", "bit"]
Becomes = Literal[
    "comes on", "goes off", "flips", "pulses on", "pulses off", "is on", "never rests",
    "counts up", "counts down", "goes to nought",
]  # fmt: skip


@dataclass(frozen=True, slots=True)
class Event:
    """One thing that happens. `device` is an input, a clock or a timer; `also` are other clocks
    that move in the same scan whenever this one does."""

    kind: EventKind
    device: str = ""
    also: tuple[tuple[str, EventKind], ...] = ()


@dataclass(frozen=True, slots=True)
class Fact:
    """One contact as it stands before the event: closed, on or timing if `value`; for a count
    whether it is `number` or more. Kind `late` is a clock event that is made good at power-up, and
    `bit` something that only the program remembers, told by its name."""

    name: str
    kind: FactKind
    value: bool
    number: int = 0


Condition = tuple[tuple[Fact, ...], ...]  # one of these terms, each of facts that all hold


@dataclass(frozen=True, slots=True)
class Sentence:
    """What an event does to a device. Without a `condition` it always does it. Where `exact` is
    False the event may do it, only under the condition, and what decides shows at no contact.

    `aspect` is what of a device moves: of an on-delay, accumulating or flasher timer its coil, of
    an off-delay its contact or its timing, of a counter its count.
    """

    event: Event
    device: str
    aspect: Aspect
    becomes: Becomes
    condition: Condition | None = None
    exact: bool = True


@dataclass(frozen=True, slots=True)
class Follower:
    """A device that is on in every situation just while an input's circuit or a clock is closed,
    or, with `inverse`, just while it is open."""

    source: str
    device: str
    inverse: bool


@dataclass(frozen=True, slots=True)
class Part:
    """The sentences of one input, clock or timer, or of power, in the order of the events."""

    device: str
    sentences: tuple[Sentence, ...]
    followers: tuple[Follower, ...] = ()


@dataclass(frozen=True, slots=True)
class Constant:
    """An output or relay that never comes on, or that is on in every situation."""

    device: str
    on: bool


@dataclass(frozen=True, slots=True)
class Unworked:
    """A device whose sentences were not worked out, and why."""

    device: str
    reason: str


@dataclass(frozen=True, slots=True)
class Stated:
    """A property of the file with its verdict. `note` tells how, or where it fails."""

    kind: str
    label: str
    text: str
    line: int
    verdict: Literal["proved", "fails", "holds", "unknown", "not asked"]
    note: str


@dataclass(frozen=True, slots=True)
class Played:
    """A scenario of the file as it was played. `failed` are its steps that were not met."""

    label: str
    line: int
    passed: bool
    expectations: int
    failed: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Beside:
    """What the file itself states, with verdicts. `unfinished` tells what there was no time for."""

    properties: tuple[Stated, ...] = ()
    scenarios: tuple[Played, ...] = ()
    conflicts: tuple[Fight, ...] = ()
    unfinished: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Narration:
    """The whole sequence of operation. `outputs` and `helpers` are the devices that sentences tell
    of, helpers being relays, timers and counters; `situations` counts those of the largest part.
    """

    program: Program
    inputs: tuple[Part, ...]
    clocks: tuple[Part, ...]
    timers: tuple[Part, ...]
    power_up: Part
    power_cut: Part
    constants: tuple[Constant, ...]
    unworked: tuple[Unworked, ...]
    outputs: tuple[str, ...]
    helpers: tuple[str, ...]
    situations: int
    beside: Beside = Beside()

    @property
    def sentences(self) -> tuple[Sentence, ...]:
        """Every sentence, in the order of the paper."""
        parts = (self.power_up, *self.inputs, *self.clocks, *self.timers, self.power_cut)
        return tuple(sentence for part in parts for sentence in part.sentences)

    @property
    def fine(self) -> bool:
        """Whether all was worked out, and the logic does what the file states: no property fails
        or is undecided, and every scenario goes as expected."""
        beside = self.beside
        stated = [p.verdict for p in beside.properties if p.kind != "assume"]
        return (
            not self.unworked
            and not beside.unfinished
            and all(verdict in ("proved", "holds") for verdict in stated)
            and all(scenario.passed for scenario in beside.scenarios)
        )
