"""What the faces of the bench are given: frozen pictures of the panel after its last scan.

Faces get copies and never the panel itself, so that what is drawn cannot change between two lines.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from typing import Literal

from rungs.program.nodes import Actuator, Side, TimerKind
from rungs.scan.runner import WireFault

WallTime = tuple[date, int]  # local date, ms since midnight


@dataclass(frozen=True, slots=True)
class SwitchView:
    """One input: what the hand does (`operated`), what the wire carries (`circuit`), and what the
    last scan read (`image`). `release_in` is the simulated ms until a tap lets go."""

    name: str
    terminal: str
    label: str
    actuator: Actuator
    side: Side
    debounce: int
    operated: bool
    circuit: bool
    image: bool
    fault: WireFault
    release_in: int | None = None


@dataclass(frozen=True, slots=True)
class RelayView:
    """An output or a control relay; a control relay has no terminal, no contact side, no load."""

    name: str
    terminal: str
    label: str
    coil: bool
    side: Side | None
    load: bool | None
    retained: bool


@dataclass(frozen=True, slots=True)
class TimerView:
    """A timer. `elapsed` and `length` are ms of the time that runs now; for a flasher, of the half
    of its cycle that it is in. `fraction` is elapsed over length, from 0 to 1."""

    name: str
    label: str
    kind: TimerKind
    coil: bool
    closed: bool
    timing: bool
    elapsed: int
    length: int

    @property
    def fraction(self) -> float:
        """How much of the time is over."""
        return min(1.0, self.elapsed / self.length)


@dataclass(frozen=True, slots=True)
class CounterView:
    """A counter: its count, and whether it has reached its preset."""

    name: str
    label: str
    count: int
    preset: int
    closed: bool


@dataclass(frozen=True, slots=True)
class ClockView:
    """A clock contact. `changes` is the local time at which it will next move, if it ever does, and
    `will_close` whether it will then close; without power the contact is open all the same."""

    name: str
    label: str
    closed: bool
    is_event: bool
    will_close: bool
    changes: WallTime | None


@dataclass(frozen=True, slots=True)
class Status:
    """The line on top. `t` is ms of simulated time; `scan` is None while no scan is made."""

    title: str
    wall: WallTime
    t: int
    scan: int | None
    running: bool
    lagging: bool
    speed: int
    powered: bool
    faults: int


Reason = Literal["found", "nothing", "unsettled", "no power"]


@dataclass(frozen=True, slots=True)
class Walk:
    """A walk through time: why it ended, how much time it took (ms), and what its last scan moved
    (name, and whether the contact is now closed).

    `unsettled`: the panel kept moving and the walk was given up; `nothing`: it is at rest and
    nothing will move of itself.
    """

    reason: Reason
    passed: int
    changed: tuple[tuple[str, bool], ...]
