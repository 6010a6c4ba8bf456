"""Random programs and random stimuli, from one model with two sources of choices.

Every choice is a whole number between two bounds, taken either from `random.Random` (fast, for
volume) or from hypothesis (slower, but it shrinks what fails). Sizes are drawn first and names by
index into what exists, and edge contacts are numbered at the end, so that a shrunk program is still
one the checker lets through. The mix leans towards what hides mistakes: presets of one to three
scans and off the grid, held inputs, power cuts, seal-ins, near-twins and latch pairs.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import date, datetime, timedelta
from functools import cache, partial
from random import Random
from typing import Literal, Protocol, TypeVar

import hypothesis.strategies as st

from rungs.program.nodes import (
    EVERY_DAY,
    Action,
    Circuit,
    Clock,
    Compare,
    CompareOp,
    Contact,
    Counter,
    Days,
    Design,
    Device,
    Input,
    Moment,
    MonthDay,
    Output,
    Parallel,
    Program,
    Relay,
    Rung,
    Series,
    Site,
    TimeOfDay,
    Timer,
    TimerKind,
    Verb,
    leaves,
)
from tests.second_reading import ClockClosed, Row

T = TypeVar("T")

SECOND = 1000
DAY = 24 * 60 * 60 * SECOND
NOON = datetime(2026, 11, 25, 12)  # a Wednesday; clocks are drawn round it, in UTC

DEBOUNCES = (0, 0, 0, 0, 10, 20, 15, 5, 30)
PRESETS = (10, 20, 30, 15, 5, 1, 25, 40, 100)
TIMER_KINDS: tuple[TimerKind, ...] = ("on-delay", "off-delay", "pulse", "accumulating", "flasher")
OPPOSITE: dict[CompareOp, CompareOp] = {
    ">=": "<",
    "<": ">=",
    "<=": ">",
    ">": "<=",
    "==": "!=",
    "!=": "==",
}
MOMENTS = tuple((NOON.hour * 3600 + s) * SECOND for s in (0, 1, 2, -1, 4, 3600, -12 * 3600))
SEASONS: tuple[tuple[MonthDay, MonthDay] | None, ...] = (
    *(None, None, None, None),
    ((11, 25), (2, 28)),
    ((4, 1), (11, 25)),
    ((5, 1), (9, 30)),
)
WEEKDAYS = (EVERY_DAY, EVERY_DAY, EVERY_DAY, (2,), (0, 1, 2, 3, 4), (1,), (2, 5), (5, 6))
CATCH_UPS = (0, 0, 0, 10, 15, 50, 1 * SECOND, 60 * SECOND)
HOLDS = (1, 2, 1, 1, 3, 2, 1, 5, 2, 4, 8, 15)  # in scans; roughly geometric
PERIODS = (10, 10, 10, 10, 10, 10, 5, 20, 7)
SLOW_PERIODS = (10, 10, 100, 250)  # only these bring several clock edges into one short run


class Dice(Protocol):
    """A source of choices. The low end should be the plain choice, for shrinking goes there."""

    def whole(self, low: int, high: int) -> int:
        """A whole number from `low` to `high`, both included."""
        ...

    def part(self, make: Callable[[Dice], T]) -> T:
        """What `make` makes, marked as a part that can be left out as one when shrinking."""
        ...


class RandomDice:
    """Choices from a seeded generator."""

    def __init__(self, rng: Random) -> None:
        self.random = rng.random

    def whole(self, low: int, high: int) -> int:
        """A whole number from `low` to `high`, evenly spread."""
        return low + int(self.random() * (high - low + 1))

    def part(self, make: Callable[[Dice], T]) -> T:
        """What `make` makes."""
        return make(self)


@cache
def _integers(low: int, high: int) -> st.SearchStrategy[int]:
    return st.integers(low, high)


class DrawnDice:
    """Choices that hypothesis makes, records and shrinks."""

    def __init__(self, draw: st.DrawFn) -> None:
        self.draw = draw

    def whole(self, low: int, high: int) -> int:
        """A whole number from `low` to `high`, as hypothesis likes."""
        return self.draw(_integers(low, high)) if low < high else low

    def part(self, make: Callable[[Dice], T]) -> T:
        """What `make` makes, drawn as a strategy of its own so that hypothesis sees its bounds."""
        return self.draw(_part(make))


@st.composite
def _part(draw: st.DrawFn, make: Callable[[Dice], T]) -> T:
    return make(DrawnDice(draw))


def pick(dice: Dice, options: Sequence[T]) -> T:
    """One of the options; the first is the plain one."""
    return options[dice.whole(0, len(options) - 1)]


def chance(dice: Dice, percent: int) -> bool:
    """True in about `percent` of a hundred cases; False is the plain choice."""
    return dice.whole(0, 99) >= 100 - percent


def shuffled(dice: Dice, items: Sequence[T]) -> list[T]:
    """The items in a drawn order; the order they came in is the plain one."""
    left = list(items)
    return [left.pop(dice.whole(0, len(left) - 1)) for _ in items]


# --- devices ----------------------------------------------------------------------------------


def _input(number: int, dice: Dice) -> Input:
    return Input(
        name=f"switch_{number}",
        terminal=f"I{number}",
        side=pick(dice, ("NO", "NC")),
        actuator=pick(dice, ("maintained", "momentary")),
        debounce=pick(dice, DEBOUNCES),
    )


def _output(number: int, dice: Dice) -> Output:
    retained = chance(dice, 20)
    return Output(f"lamp_{number}", f"R{number}", pick(dice, ("NO", "NC")), retained)


def _relay(number: int, dice: Dice) -> Relay:
    label = pick(dice, ("", "", "", f"Helper {number}, with - and + in its label"))
    return Relay(f"aux_{number}", chance(dice, 30), label)


def _timer(number: int, dice: Dice) -> Timer:
    kind = pick(dice, TIMER_KINDS)
    preset = pick(dice, PRESETS)
    off = pick(dice, PRESETS) if kind == "flasher" else 0
    retained = kind == "accumulating" and chance(dice, 40)
    return Timer(f"delay_{number}", kind, preset, off, retained)


def _counter(number: int, dice: Dice) -> Counter:
    return Counter(f"count_{number}", pick(dice, (1, 1, 2, 2, 3, 4)), chance(dice, 35))


def _clock(number: int, dice: Dice) -> Clock:
    days = Days(pick(dice, WEEKDAYS), pick(dice, SEASONS))
    begin = pick(dice, (0, 0, 0, *range(len(MOMENTS))))
    name = f"hours_{number}"
    if chance(dice, 50):
        return Clock(name, TimeOfDay(MOMENTS[begin]), None, days, pick(dice, CATCH_UPS))
    # a step of at least one round the ring of moments: begin and end are never the same
    end = (begin + dice.whole(1, len(MOMENTS) - 1)) % len(MOMENTS)
    return Clock(name, TimeOfDay(MOMENTS[begin]), TimeOfDay(MOMENTS[end]), days)


DRIVEN: tuple[Callable[[int, Dice], Device], ...] = (
    *(_output, _relay, _timer),
    *(_timer, _counter, _relay),
)


COUNTING: tuple[Verb, ...] = ("coil", "down", "down")
RESETS: tuple[Verb, ...] = ("reset", "reset")


def _verbs(device: Device, dice: Dice) -> list[Verb]:
    """All that rungs do to one device: one coil, or latches; and what counts down and clears."""
    match device:
        case Output() | Relay() if chance(dice, 45):
            more = pick(dice, (1, 2, 0, 3))
            bistable: list[Verb] = [pick(dice, ("latch", "impulse"))]
            return bistable + [pick(dice, ("unlatch", "latch", "impulse")) for _ in range(more)]
        case Counter():
            return [
                *COUNTING[: pick(dice, (1, 2, 1, 1, 3))],
                *RESETS[: pick(dice, (0, 1, 0, 1, 2))],
            ]
        case Timer(kind="accumulating"):
            return ["coil", *RESETS[: pick(dice, (0, 1, 0, 1, 2))]]
        case _:
            return ["coil"]


# --- circuits, first with numbers for names ----------------------------------------------------

Slot = Literal["input", "device", "timer", "counter"]
LEAF_KINDS = (
    *["input"] * 6,
    *["device"] * 5,
    *["edge"] * 3,
    *["timing"] * 2,
    *["count"] * 2,
    "first_scan",
)


def _slot(slot: Slot, dice: Dice) -> str:
    """A stand-in for a name: which one of its kind, counted round and round."""
    return f"{slot} {dice.whole(0, 11)}"


def _leaf(dice: Dice) -> Circuit:
    match pick(dice, LEAF_KINDS):
        case "input":
            return Contact("closed", _slot("input", dice), chance(dice, 35))
        case "device":
            return Contact("closed", _slot("device", dice), chance(dice, 35))
        case "edge":
            return _edge(dice, chance(dice, 15))
        case "timing":
            return Contact("timing", _slot("timer", dice), chance(dice, 30))
        case "count":
            return Compare(_slot("counter", dice), pick(dice, tuple(OPPOSITE)), dice.whole(0, 5))
        case _:
            return Contact("first_scan", "", chance(dice, 30))


def _edge(dice: Dice, negated: bool) -> Contact:
    slot: Slot = pick(dice, ("input", "device"))
    return Contact(pick(dice, ("rising", "falling")), _slot(slot, dice), negated)


def _tree(depth: int, inside: type[Series | Parallel] | None, dice: Dice) -> Circuit:
    """A circuit of at most `depth` joints above a leaf; no joint stands in one of its own kind."""
    if depth == 0 or not chance(dice, 55):
        return _leaf(dice)
    series = pick(dice, (True, False)) if inside is None else inside is Parallel
    joint = Series if series else Parallel
    branch = partial(_tree, depth - 1, joint)
    return joint(tuple(dice.part(branch) for _ in range(pick(dice, (2, 2, 2, 3, 4)))))


def _flipped(circuit: Circuit, at: int) -> Circuit:
    """The same circuit with its leaf number `at` turned into its opposite."""
    match circuit:
        case Contact():
            return replace(circuit, negated=not circuit.negated)
        case Compare():
            return replace(circuit, op=OPPOSITE[circuit.op])
    parts = list(circuit.parts)
    for number, part in enumerate(parts):
        width = len(leaves(part))
        if 0 <= at < width:
            parts[number] = _flipped(part, at)
        at -= width
    return replace(circuit, parts=tuple(parts))


SHAPES = ("input", "tree", "tree", "tree", "seal", "lock", "edge", "twin", "pump")


def _circuit(own: str, above: Sequence[Circuit], dice: Dice) -> Circuit:
    """A circuit for a rung that drives `own`, often one of the shapes that panels are made of."""
    match pick(dice, SHAPES):
        case "input":
            return Contact("closed", _slot("input", dice), chance(dice, 30))
        case "seal":
            start = Parallel((_tree(1, Parallel, dice), Contact("closed", own)))
            return Series((start, Contact("closed", _slot("input", dice), chance(dice, 50))))
        case "lock":
            rest = Contact("closed", _slot("device", dice), negated=True)
            return Series((Contact("closed", _slot("input", dice)), rest))
        case "edge":
            return _edge(dice, negated=False)
        case "pump":
            # power that comes and goes by itself: what counts or flips gets much to do
            slot: Slot = pick(dice, ("timer", "device"))
            pump = Contact("closed", _slot(slot, dice), negated=True)
            return Series((pump, Contact(pick(dice, ("closed", "timing")), own, True)))
        case "twin" if above:
            twin = above[dice.whole(0, 11) % len(above)]
            return _flipped(twin, dice.whole(0, 11) % len(leaves(twin)))
        case _:
            return _tree(3, None, dice)


class World:
    """What circuits may read: the names behind the stand-ins, and the edge contacts so far."""

    def __init__(self, devices: Sequence[Device]) -> None:
        self.names: dict[str, list[str]] = {
            "input": [d.name for d in devices if isinstance(d, Input)],
            "device": [d.name for d in devices],
            "timer": [d.name for d in devices if isinstance(d, Timer)],
            "counter": [d.name for d in devices if isinstance(d, Counter)],
        }
        self.edges: list[Contact] = []

    def _name(self, stand_in: str) -> str:
        slot, _, number = stand_in.partition(" ")
        if not number:
            return stand_in
        names = self.names[slot] or self.names["device"]
        return names[int(number) % len(names)]

    def settled(self, circuit: Circuit) -> Circuit:
        """The circuit with real names, and its edge contacts numbered on and entered.

        Where there is no timer or counter to read, a plain contact stands in its place.
        """
        match circuit:
            case Series() | Parallel():
                return replace(circuit, parts=tuple(self.settled(part) for part in circuit.parts))
            case Compare():
                name = self._name(circuit.name)
                if not self.names["counter"]:
                    return Contact("closed", name, circuit.op in ("<", "<=", "!="))
                return replace(circuit, name=name)
        contact = replace(circuit, name=self._name(circuit.name))
        match contact.kind:
            case "timing" if contact.name not in self.names["timer"]:
                return replace(contact, kind="closed")
            case "rising" | "falling":
                contact = replace(contact, memory=len(self.edges))
                self.edges.append(contact)
        return contact


# --- programs ---------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Job:
    """One action with the circuit its rung has, if it does not `join` the rung before."""

    action: Action
    label: str
    circuit: Circuit
    join: bool


def _driven(number: int, above: list[Circuit], dice: Dice) -> tuple[Device, list[_Job]]:
    """A device that rungs drive, with everything about it in one part; adds to `above`."""
    device = _output(1, dice) if number == 1 else pick(dice, DRIVEN)(number, dice)
    jobs: list[_Job] = []
    for verb in _verbs(device, dice):
        label = pick(dice, ("", "", f"Rung for {device.name}"))
        circuit = dice.part(partial(_circuit, device.name, above))
        above.append(circuit)
        jobs.append(_Job(Action(verb, device.name), label, circuit, chance(dice, 20)))
    return device, jobs


def _program(dice: Dice, size: int) -> Program:
    inputs = pick(dice, (1, 2, 1, 3, 2, 4, 5))
    clocks = pick(dice, (0, 0, 0, 1, 2))
    moved = dice.whole(1, max(1, size))
    devices: list[Device] = [dice.part(partial(_input, n)) for n in range(1, inputs + 1)]
    devices += [dice.part(partial(_clock, n)) for n in range(1, clocks + 1)]
    above: list[Circuit] = []
    driven = [dice.part(partial(_driven, n, above)) for n in range(1, moved + 1)]
    devices += [device for device, _ in driven]
    jobs = [job for _, some in driven for job in some]
    if chance(dice, 30):
        devices = shuffled(dice, devices)
    if chance(dice, 70):
        jobs = shuffled(dice, jobs)
    world = World(devices)
    rungs: list[Rung] = []
    for job in jobs:
        # no rung says the same thing twice, but it may well say opposite things
        if job.join and rungs and job.action not in rungs[-1].actions:
            rungs[-1] = replace(rungs[-1], actions=(*rungs[-1].actions, job.action))
        else:
            circuit = world.settled(job.circuit)
            rungs.append(Rung(len(rungs) + 1, job.label, circuit, (job.action,)))
    return Program(devices=tuple(devices), rungs=tuple(rungs), edges=tuple(world.edges))


def random_program(rng: Random, size: int = 6) -> Program:
    """A program of up to `size` driven devices, one to three times as many rungs; same seed, same
    program.
    """
    return _program(RandomDice(rng), size)


@st.composite
def programs(draw: st.DrawFn, size: int = 6) -> Program:
    """Hypothesis strategy: programs of up to `size` driven devices."""
    return _program(DrawnDice(draw), size)


# --- stimuli ----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stimulus:
    """What happens to a panel from outside: rows as `play` takes them, and the wall time at t = 0
    (UTC, without a zone). Row times rise; the last row is the end of the run.
    """

    rows: tuple[Row, ...]
    period: int
    start: datetime


@dataclass(frozen=True, slots=True)
class _Event:
    """One change: how many scans after the last, how far off the grid, what it turns over, and,
    if it is a blip, after how many ms everything is as before.
    """

    hold: int
    shift: int
    cut: bool
    flips: tuple[str, ...]
    blip: int


def _event(period: int, names: list[str], cuts: bool, dice: Dice) -> _Event:
    count = pick(dice, (1, 1, 2, 1, 3, 0)) if names else 0
    return _Event(
        hold=pick(dice, HOLDS),
        shift=dice.whole(0, period - 1) if chance(dice, 35) else 0,
        cut=cuts and chance(dice, 20),
        flips=tuple(pick(dice, names) for _ in range(count)),
        blip=dice.whole(1, period + 1) if chance(dice, 25) else 0,
    )


def _stimulus(dice: Dice, program: Program, scans: int) -> Stimulus:
    period = pick(dice, SLOW_PERIODS if program.clocks else PERIODS)
    events = dice.whole(0, max(1, scans // 2))
    end = period * (scans if chance(dice, 50) else dice.whole(1, scans))
    if chance(dice, 15):
        end += dice.whole(0, period - 1)
    cuts = chance(dice, 50)
    start = NOON - timedelta(milliseconds=dice.whole(0, end)) if program.clocks else NOON
    # an input without a column stays at rest
    state = {d.name: (d.side == "NC") ^ chance(dice, 25) for d in program.inputs}
    names = [name for name in state if not chance(dice, 6)]
    state = {name: state[name] for name in names}
    if cuts:
        state["power"] = not chance(dice, 8)
    rows: list[Row] = [(0, state)]
    now = 0
    for _ in range(events):
        event = dice.part(partial(_event, period, names, cuts))
        now = (now // period + event.hold) * period + event.shift
        if now >= end:
            break
        before, state = state, dict(state)
        for name in event.flips:
            state[name] = not state[name]
        if event.cut or not state.get("power", True):
            state["power"] = not state["power"]
        rows.append((now, state))
        if event.blip and now + event.blip < end:
            now += event.blip
            state = before
            rows.append((now, state))
    rows.append((end, state))
    return Stimulus(tuple(rows), period, start)


def random_stimulus(rng: Random, program: Program, scans: int = 40) -> Stimulus:
    """A run of at most `scans` scans for this program."""
    return _stimulus(RandomDice(rng), program, scans)


@st.composite
def stimuli(draw: st.DrawFn, program: Program, scans: int = 40) -> Stimulus:
    """Hypothesis strategy: runs of at most `scans` scans for this program."""
    return _stimulus(DrawnDice(draw), program, scans)


@st.composite
def cases(draw: st.DrawFn, size: int = 6, scans: int = 40) -> tuple[Program, Stimulus]:
    """Hypothesis strategy: a program and a run for it."""
    dice = DrawnDice(draw)
    program = _program(dice, size)
    return program, _stimulus(dice, program, scans)


# --- clocks without a calendar ----------------------------------------------------------------


def _acts_on(days: Days, day: date) -> bool:
    if day.weekday() not in days.weekdays:
        return False
    if days.season is None:
        return True
    first, last = days.season
    today = (day.month, day.day)
    return first <= today <= last if first <= last else today >= first or today <= last


def clock_functions(program: Program, start: datetime) -> tuple[ClockClosed, dict[str, list[int]]]:
    """`clock_closed` and `events` for `play`, for the clocks this module draws and a short run.

    They are right for local times in UTC (no sun, no holidays) from two days before the day of
    `start` to two days after it: a window runs from its day's begin until the next end.
    """
    midnight = start.replace(hour=0, minute=0, second=0, microsecond=0)
    origin = (start - midnight) // timedelta(milliseconds=1)
    events: dict[str, list[int]] = {}
    windows: dict[str, list[tuple[int, int]]] = {}
    for clock in program.clocks:
        moments = (clock.begin, clock.end or clock.begin)
        if clock.days.except_holidays or not all(isinstance(m, TimeOfDay) for m in moments):
            raise ValueError(f"{clock.name} needs a calendar")
        begin, end = (m.ms for m in moments if isinstance(m, TimeOfDay))
        opened = [
            number * DAY + begin - origin
            for number in range(-2, 3)
            if _acts_on(clock.days, (midnight + timedelta(days=number)).date())
        ]
        if clock.end is None:
            events[clock.name] = opened
        else:
            windows[clock.name] = [(at, at + (end - begin) % DAY) for at in opened]

    def clock_closed(clock: Clock, t: int) -> bool:
        return any(begin <= t < end for begin, end in windows[clock.name])

    return clock_closed, events


# --- source text ------------------------------------------------------------------------------

WEEKDAY_NAMES = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


def program_text(program: Program) -> str:
    """The program as source text: statements in the order of devices and rungs, times in ms.

    It prints what this module draws; a program that holds more (loads, wires, a site, properties,
    scenarios, sun times, labels with quotes) raises ValueError rather than losing it.
    """
    rest = (program.supplies, program.holidays, program.properties, program.scenarios)
    if any(rest) or program.title or (program.site, program.design) != (Site(), Design()):
        raise ValueError("only devices and rungs can be printed")
    statements = ['site zone "UTC"'] if program.clocks else []
    statements += [_device_text(device) for device in program.devices]
    for rung in program.rungs:
        actions = ", ".join(
            a.name if a.verb == "coil" else f"{a.verb} {a.name}" for a in rung.actions
        )
        statements.append(
            f"rung{_label(rung.label)}\n    {_circuit_text(rung.circuit)} -> {actions}"
        )
    return "\n".join(statements) + "\n"


def _label(label: str) -> str:
    if '"' in label or "\\" in label:
        raise ValueError(f"cannot print the label {label!r}")
    return f' "{label}"' if label else ""


def _device_text(device: Device) -> str:
    kept = " retained" if not isinstance(device, Input | Clock) and device.retained else ""
    match device:
        case Input(wire=None):
            bounce = f" debounce {device.debounce}ms" if device.debounce else ""
            text = (
                f"input {device.name} at {device.terminal} {device.actuator} {device.side}{bounce}"
            )
        case Output(load=None, supply=None, wire=None):
            text = f"output {device.name} at {device.terminal} {device.side}{kept}"
        case Relay():
            text = f"relay {device.name}{kept}"
        case Timer(kind="flasher"):
            text = f"timer {device.name} flasher {device.preset}ms on {device.off}ms off"
        case Timer():
            text = f"timer {device.name} {device.kind} {device.preset}ms{kept}"
        case Counter():
            text = f"counter {device.name} to {device.preset}{kept}"
        case Clock(end=None):
            late = f" catch up {device.catch_up}ms" if device.catch_up else ""
            text = f"clock {device.name} at {_time(device.begin)}{_days(device.days)}{late}"
        case Clock(begin=begin, end=end) if end is not None:
            text = f"clock {device.name} from {_time(begin)} to {_time(end)}{_days(device.days)}"
        case _:
            raise ValueError(f"cannot print all of {device.name}")
    return text + _label(device.label)


def _time(moment: Moment) -> str:
    if not isinstance(moment, TimeOfDay) or moment.ms % SECOND:
        raise ValueError(f"cannot print the time {moment}")
    minutes, seconds = divmod(moment.ms // SECOND, 60)
    return f"{minutes // 60:02}:{minutes % 60:02}:{seconds:02}"


def _days(days: Days) -> str:
    if days.except_holidays:
        raise ValueError("cannot print holidays")
    names = ", ".join(WEEKDAY_NAMES[number] for number in days.weekdays)
    text = " daily" if days.weekdays == EVERY_DAY else f" on {names}"
    if days.season is not None:
        (month, day), (last_month, last_day) = days.season
        text += f" between {month:02}-{day:02} and {last_month:02}-{last_day:02}"
    return text


def _circuit_text(circuit: Circuit) -> str:
    match circuit:
        case Series():
            return " and ".join(
                f"({_circuit_text(p)})" if isinstance(p, Parallel) else _circuit_text(p)
                for p in circuit.parts
            )
        case Parallel():
            return " or ".join(_circuit_text(part) for part in circuit.parts)
        case Compare():
            return f"{circuit.name} {circuit.op} {circuit.number}"
        case Contact(kind="closed"):
            return f"not {circuit.name}" if circuit.negated else circuit.name
        case Contact(kind="first_scan"):
            text = "first_scan"
        case Contact(kind="timing"):
            text = f"{circuit.name}.timing"
        case Contact(kind="rising" | "falling"):
            text = f"{circuit.kind} {circuit.name}"
        case _:
            raise ValueError(f"{circuit.kind} does not stand in a rung")
    return f"not ({text})" if circuit.negated else text
