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
    last scan read (`image`). `release_in` is the simulated ms until a tap lets go; `forced`, here
    and below, is what the contact is held at against the program, if it is."""

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
    forced: bool | None = None


@dataclass(frozen=True, slots=True)
class RelayView:
    """An output or a control relay; a control relay has no terminal, no contact side, no load.
    `waits`: the coil has moved in a scan that has not written its outputs yet."""

    name: str
    terminal: str
    label: str
    coil: bool
    side: Side | None
    load: bool | None
    retained: bool
    forced: bool | None = None
    waits: bool = False


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
    forced: bool | None = None

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
    forced: bool | None = None


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
    forced: bool | None = None


@dataclass(frozen=True, slots=True)
class Status:
    """The line on top. `t` is ms of simulated time; `scan` is None while no scan is made; `past`:
    a moment of the run is shown that is over; `rung`: the rung that was worked last, 0 when only
    the inputs are read, None after the scan; `broken` counts properties that broke."""

    title: str
    wall: WallTime
    t: int
    scan: int | None
    running: bool
    lagging: bool
    speed: int
    powered: bool
    faults: int
    forced: int = 0
    past: bool = False
    rung: int | None = None
    broken: int = 0


Reason = Literal["found", "nothing", "unsettled", "no power", "begins", "ends"]


@dataclass(frozen=True, slots=True)
class Walk:
    """A walk through time: why it ended, how much time it took (ms), and what its last scan moved
    (name, and whether the contact is now closed).

    `unsettled`: the panel kept moving and the walk was given up; `nothing`: it is at rest and
    nothing will move of itself; `begins`: no more is known of what was before; `ends`: the record
    ended, and the panel stands in the present. `passed` is negative for a walk back.
    """

    reason: Reason
    passed: int
    changed: tuple[tuple[str, bool], ...]
