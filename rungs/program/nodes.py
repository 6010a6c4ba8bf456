"""The checked program: frozen data that every later stage reads and none changes.

Names are resolved, kinds and units are checked, times are whole milliseconds, and `not ( ... )` has
been turned into its De Morgan form, so that a reader of these nodes meets no case that cannot run.
Each node keeps the span of the text it came from; spans take no part in comparisons.
"""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from datetime import date
from functools import cached_property
from typing import Literal, assert_never

from rungs.source import NOWHERE, Source, Span

MAX_COUNT = 999_999

# --- circuits ---------------------------------------------------------------------------------

ContactKind = Literal[
    "closed", "rising", "falling", "timing", "first_scan", "broken", "shorted", "load"
]
CompareOp = Literal[">=", ">", "<=", "<", "==", "!="]


@dataclass(frozen=True, slots=True)
class Contact:
    """One contact. `negated` makes it normally closed: current flows while the rest is false.

    `kind` says what it looks at: the device's contact (`closed`), its edges (`rising`, `falling`),
    a timer that is timing, the first scan after power-up (`name` is then empty), an input's wire
    (`broken`, `shorted`), or the load of an output by its contact side (`load`).
    `memory` numbers the edge contacts of the rungs from 0 in file order, since each remembers for
    itself; it is -1 for every other kind, and for edges in properties and scenarios, which compare
    the ends of two scans.
    """

    kind: ContactKind
    name: str
    negated: bool = False
    memory: int = -1
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Compare:
    """A counter's count held against a whole number."""

    name: str
    op: CompareOp
    number: int
    span: Span = field(default=NOWHERE, compare=False)

    def holds(self, count: int) -> bool:
        """Whether a count stands in the relation that the comparison asks for."""
        match self.op:
            case ">=":
                return count >= self.number
            case ">":
                return count > self.number
            case "<=":
                return count <= self.number
            case "<":
                return count < self.number
            case "==":
                return count == self.number
            case "!=":
                return count != self.number
            case _:
                assert_never(self.op)


@dataclass(frozen=True, slots=True)
class Series:
    """Circuits in series (`and`); at least two parts, none of them a Series."""

    parts: tuple[Circuit, ...]
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Parallel:
    """Circuits in parallel (`or`); at least two parts, none of them a Parallel."""

    parts: tuple[Circuit, ...]
    span: Span = field(default=NOWHERE, compare=False)


Circuit = Contact | Compare | Series | Parallel
Leaf = Contact | Compare

# --- devices ----------------------------------------------------------------------------------

Side = Literal["NO", "NC"]
Actuator = Literal["maintained", "momentary"]
TimerKind = Literal["on-delay", "off-delay", "pulse", "accumulating", "flasher"]


@dataclass(frozen=True, slots=True)
class Wire:
    """A run of cable: one-way length in metres, and the conductor as it was written.

    `size` is in mm2 for unit `mm2`, or the gauge number for unit `AWG`. Wires are `stranded` unless
    the file says `solid`.
    """

    length_m: float
    size: float
    unit: Literal["mm2", "AWG"]
    span: Span = field(default=NOWHERE, compare=False)
    stranded: bool = True


@dataclass(frozen=True, slots=True)
class Load:
    """What an output switches: volts, amps, and the kind of load as a word."""

    volts: float
    amps: float
    kind: str
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Supply:
    """A power supply: rated volts and amps."""

    name: str
    volts: float
    amps: float
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Input:
    """A dry contact in the field. `side` NC means its circuit is closed at rest."""

    name: str
    terminal: str
    actuator: Actuator = "maintained"
    side: Side = "NO"
    debounce: int = 0  # ms
    wire: Wire | None = None
    label: str = ""
    span: Span = field(default=NOWHERE, compare=False)
    name_span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Output:
    """A relay that leaves the panel. `side` NC means the load is on while the coil is off."""

    name: str
    terminal: str
    side: Side = "NO"
    retained: bool = False
    load: Load | None = None
    supply: str | None = None
    wire: Wire | None = None
    label: str = ""
    span: Span = field(default=NOWHERE, compare=False)
    name_span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Relay:
    """A control relay that exists only in the program."""

    name: str
    retained: bool = False
    label: str = ""
    span: Span = field(default=NOWHERE, compare=False)
    name_span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Timer:
    """A time relay. `preset` in ms; for a flasher it is the on time and `off` the off time."""

    name: str
    kind: TimerKind
    preset: int
    off: int = 0
    retained: bool = False  # accumulating only
    label: str = ""
    span: Span = field(default=NOWHERE, compare=False)
    name_span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Counter:
    """Counts how often its rung gains power; its contact is closed while count >= preset."""

    name: str
    preset: int
    retained: bool = False
    label: str = ""
    span: Span = field(default=NOWHERE, compare=False)
    name_span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class TimeOfDay:
    """A local time of day, in ms since midnight (0 to 86,399,999)."""

    ms: int


@dataclass(frozen=True, slots=True)
class SunTime:
    """Sunrise or sunset at the site, moved by `offset` ms (may be negative)."""

    event: Literal["sunrise", "sunset"]
    offset: int = 0


Moment = TimeOfDay | SunTime
MonthDay = tuple[int, int]

EVERY_DAY = (0, 1, 2, 3, 4, 5, 6)


@dataclass(frozen=True, slots=True)
class Days:
    """The days on which a clock acts: weekdays (Monday is 0), a season, and holidays left out.

    A `season` holds both its first and its last day and may run over the new year.
    """

    weekdays: tuple[int, ...] = EVERY_DAY
    season: tuple[MonthDay, MonthDay] | None = None
    except_holidays: bool = False


@dataclass(frozen=True, slots=True)
class Clock:
    """A weekly window (`end` given: closed from begin to end) or a one-scan event (`end` None)."""

    name: str
    begin: Moment
    end: Moment | None = None
    days: Days = Days()
    catch_up: int = 0  # ms; events only
    label: str = ""
    span: Span = field(default=NOWHERE, compare=False)
    name_span: Span = field(default=NOWHERE, compare=False)


Device = Input | Output | Relay | Timer | Counter | Clock


@dataclass(frozen=True, slots=True)
class Holiday:
    """A span of days off, both ends included: full dates, or (month, day) of every year."""

    name: str
    first: date | MonthDay
    last: date | MonthDay
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Site:
    """Where the panel stands: IANA zone, degrees north and east, and a public-holiday calendar.

    `holidays` is an ISO 3166 country code, with a subdivision after a hyphen where there is one.
    """

    label: str = ""
    zone: str = "UTC"
    latitude: float | None = None
    longitude: float | None = None
    holidays: str | None = None
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Design:
    """The limits that the panel is sized for, None where the file leaves one to common practice.

    `drop` is the most voltage drop of a load's wire, in percent of its volts; `reserve` the share
    of each supply that stays free, in percent; `conductors` the temperature of the copper in C.
    """

    drop: float | None = None
    reserve: float | None = None
    conductors: float | None = None
    span: Span = field(default=NOWHERE, compare=False)


# --- logic ------------------------------------------------------------------------------------

Verb = Literal["coil", "latch", "unlatch", "impulse", "down", "reset"]


@dataclass(frozen=True, slots=True)
class Action:
    """What a rung does to one device while, or when, it has power."""

    verb: Verb
    name: str
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Rung:
    """One rung; `number` counts from 1 in file order."""

    number: int
    label: str
    circuit: Circuit
    actions: tuple[Action, ...]
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Property:
    """What must hold after every scan. For `require`, `when` is the condition and `circuit` what
    must then be closed, at once or `within` ms. `assume` means: the plant never closes `circuit`.
    """

    kind: Literal["never", "always", "require", "assume"]
    label: str
    circuit: Circuit
    when: Circuit | None = None
    within: int = 0  # ms
    span: Span = field(default=NOWHERE, compare=False)


# --- scenarios --------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Begin:
    """Power up at this wall time; a date left out is found from the weekday, or is a fixed one."""

    time: int  # ms since midnight
    date: date | None = None
    weekday: int | None = None
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Operate:
    """Move an input's actuator and keep it there; `operated` False lets it go."""

    name: str
    operated: bool
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Tap:
    """Operate an input for `ms` and let it go."""

    name: str
    ms: int
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Fault:
    """Break or short an input's wire, or mend it."""

    name: str
    fault: Literal["broken", "shorted", "sound"]
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Power:
    """Switch the panel's supply; `ms` given with off means that power comes back after it."""

    on: bool
    ms: int | None = None
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Wait:
    """Let `ms` pass."""

    ms: int
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Until:
    """Run to the next time the wall clock shows this time of day (ms since midnight)."""

    time: int
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class SetClock:
    """Move the wall clock; timers are left alone. Without a date the day stays."""

    time: int
    date: date | None = None
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class Expect:
    """The circuit is closed now, or at the end of some scan within `within` ms."""

    circuit: Circuit
    within: int = 0
    span: Span = field(default=NOWHERE, compare=False)


@dataclass(frozen=True, slots=True)
class ExpectSteady:
    """The circuit is closed now and after every scan of the next `ms`."""

    circuit: Circuit
    ms: int
    span: Span = field(default=NOWHERE, compare=False)


Step = Begin | Operate | Tap | Fault | Power | Wait | Until | SetClock | Expect | ExpectSteady


@dataclass(frozen=True, slots=True)
class Scenario:
    """A named sequence of steps that shows what the panel should do."""

    label: str
    steps: tuple[Step, ...]
    span: Span = field(default=NOWHERE, compare=False)


# --- the whole --------------------------------------------------------------------------------


@dataclass(frozen=True)
class Program:
    """One panel, checked. Devices stand in file order; rungs are in scan order.

    `edges` holds every edge contact of the rungs, indexed by its `memory`.
    """

    title: str = ""
    site: Site = Site()
    supplies: tuple[Supply, ...] = ()
    devices: tuple[Device, ...] = ()
    holidays: tuple[Holiday, ...] = ()
    rungs: tuple[Rung, ...] = ()
    properties: tuple[Property, ...] = ()
    scenarios: tuple[Scenario, ...] = ()
    edges: tuple[Contact, ...] = ()
    source: Source = field(default=Source("", ""), compare=False)
    design: Design = Design()

    @cached_property
    def by_name(self) -> dict[str, Device]:
        """Every device under its name."""
        return {device.name: device for device in self.devices}

    @cached_property
    def inputs(self) -> tuple[Input, ...]:
        """The inputs in file order."""
        return tuple(d for d in self.devices if isinstance(d, Input))

    @cached_property
    def outputs(self) -> tuple[Output, ...]:
        """The outputs in file order."""
        return tuple(d for d in self.devices if isinstance(d, Output))

    @cached_property
    def clocks(self) -> tuple[Clock, ...]:
        """The clocks in file order."""
        return tuple(d for d in self.devices if isinstance(d, Clock))

    @cached_property
    def timers(self) -> tuple[Timer, ...]:
        """The timers in file order."""
        return tuple(d for d in self.devices if isinstance(d, Timer))

    @cached_property
    def counters(self) -> tuple[Counter, ...]:
        """The counters in file order."""
        return tuple(d for d in self.devices if isinstance(d, Counter))


def leaves(circuit: Circuit) -> tuple[Leaf, ...]:
    """Every contact and comparison of a circuit, from left to right and top to bottom."""
    if isinstance(circuit, Series | Parallel):
        return tuple(leaf for part in circuit.parts for leaf in leaves(part))
    return (circuit,)


def unnumbered(circuit: Circuit) -> Circuit:
    """The circuit without the memory numbers of its edge contacts, which shift when others come or
    go above it."""
    if isinstance(circuit, Series | Parallel):
        return replace(circuit, parts=tuple(unnumbered(part) for part in circuit.parts))
    return replace(circuit, memory=-1) if isinstance(circuit, Contact) else circuit


_OPPOSITE: dict[CompareOp, CompareOp] = {
    ">=": "<",
    "<": ">=",
    ">": "<=",
    "<=": ">",
    "==": "!=",
    "!=": "==",
}


def opposite(circuit: Circuit) -> Circuit:
    """The circuit that is closed when this one is open, by De Morgan's laws."""
    match circuit:
        case Series():
            return Parallel(tuple(opposite(part) for part in circuit.parts), circuit.span)
        case Parallel():
            return Series(tuple(opposite(part) for part in circuit.parts), circuit.span)
        case Compare():
            return replace(circuit, op=_OPPOSITE[circuit.op])
        case Contact():
            return replace(circuit, negated=not circuit.negated)
        case _:
            assert_never(circuit)
