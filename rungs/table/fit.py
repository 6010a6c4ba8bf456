"""Whether a compiled table fits a board: every limit as a finding, every duty as a sentence.

Terminals, timers and clock slots are given out here, once, so that what the table says and what the
findings say cannot differ. Nothing is cut or rounded to make it fit: a number that a board cannot
hold is refused with both numbers and a way out, and what the board's firmware has to do beside the
table is said in the table's head.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, timedelta
from typing import Final, Literal, assert_never

from rungs.findings import Finding, has_errors, in_order
from rungs.language.words import DURATION_UNITS, LOAD_KINDS, WEEKDAYS
from rungs.program.nodes import (
    EVERY_DAY,
    Clock,
    Days,
    Input,
    Load,
    Moment,
    MonthDay,
    Output,
    Program,
    SunTime,
    TimeOfDay,
)
from rungs.source import NOWHERE, Span
from rungs.table.board import (
    Board,
    BoardClock,
    BoardDelays,
    BoardTimers,
    TableKind,
)
from rungs.table.board import duration_text as _time
from rungs.table.sunfix import FixedSlot, SlotLength, SunFix, fixed_times

# loads whose current goes through a coil of wire, by the words of the language and of the trade
INDUCTIVE: Final = frozenset({"coil", "motor", "valve", "solenoid", "contactor", "relay", "pump"})
# loads that draw many times their current while they switch on, which no amps of a board file tell
SURGING: Final = frozenset({"lamp", "led", "electronic"})

# --- what a table needs and what it gets ------------------------------------------------------


@dataclass(frozen=True, slots=True)
class TimerNeed:
    """One timer of a transition table. `device` is the program's timer; `preset` is in ms."""

    name: str
    device: str
    kind: Literal["on-delay", "accumulating"]
    preset: int
    retained: bool = False


@dataclass(frozen=True, slots=True)
class Need:
    """What a compiled table asks of a board.

    `inputs`, `outputs` and `clocks` are names of devices in the order of the table's columns.
    `states` is 1 for tables without states. `first_match` says that `rows` were counted for a board
    on which the first row that matches wins. `retains` names the devices whose state must live
    through a power cut. `delays` are (device, ms) of switching rows that wait.
    """

    kind: TableKind
    inputs: tuple[str, ...] = ()
    outputs: tuple[str, ...] = ()
    clocks: tuple[str, ...] = ()
    states: int = 1
    rows: int = 0
    first_match: bool = False
    timers: tuple[TimerNeed, ...] = ()
    retains: tuple[str, ...] = ()
    delays: tuple[tuple[str, int], ...] = ()


@dataclass(frozen=True, slots=True)
class TimerSetting:
    """Timer `slot` of the board (from 1), set to `value` steps of `unit` ms."""

    slot: int
    value: int
    unit: int


@dataclass(frozen=True, slots=True)
class ClockSlot:
    """Clock slot `number` of the board (from 1): a window, or a moment.

    A window that a board can hold only as two moments has the roles `begin` and `end`.
    """

    number: int
    role: Literal["window", "event", "begin", "end"]
    at: Moment
    until: Moment | None
    days: Days
    catch_up: int = 0  # ms


@dataclass(frozen=True, slots=True)
class Fit:
    """How a table goes onto a board. Without errors every name of the need has its place.

    `terminals` maps inputs and outputs to terminals of the board, `timers` the timers of the need,
    `delays` devices to steps of the board's delay resolution, `clocks` each clock to its slots.
    `duties` are sentences for the table's head: what the board and its firmware must do.
    """

    findings: tuple[Finding, ...]
    terminals: Mapping[str, str]
    timers: Mapping[str, TimerSetting]
    delays: Mapping[str, int]
    clocks: Mapping[str, tuple[ClockSlot, ...]]
    sun: tuple[SunFix, ...]
    duties: tuple[str, ...]

    @property
    def fits(self) -> bool:
        """True if no finding is an error."""
        return not has_errors(self.findings)


def fit(
    program: Program,
    need: Need,
    board: Board,
    sun_by: SlotLength | None = None,
    *,
    year: int,
) -> Fit:
    """Hold a need against a board. `sun_by` allows fixed times in place of sun clocks, worked out
    for `year`. The devices that the need names must be the program's."""
    work = _Work(program, need, board, sun_by, year)
    if not board.kinds:
        _no_tables(work)
    else:
        if need.kind in board.kinds:
            _size(work)
            _timers(work)
            _delays(work)
            _retained(work)
        else:
            _wrong_kind(work)
        _inputs(work)
        _relays(work)
        _power_up(work)
        _clocks(work)
    return Fit(
        in_order(work.findings),
        work.terminals,
        work.timers,
        work.delays,
        work.clocks,
        tuple(work.sun),
        tuple(work.duties),
    )


@dataclass(slots=True)
class _Work:
    """One fit in the making."""

    program: Program
    need: Need
    board: Board
    sun_by: SlotLength | None
    year: int
    findings: list[Finding] = field(default_factory=list)
    terminals: dict[str, str] = field(default_factory=dict)
    timers: dict[str, TimerSetting] = field(default_factory=dict)
    delays: dict[str, int] = field(default_factory=dict)
    clocks: dict[str, tuple[ClockSlot, ...]] = field(default_factory=dict)
    sun: list[SunFix] = field(default_factory=list)
    duties: list[str] = field(default_factory=list)

    def refuse(self, code: str, message: str, span: Span, effect: str, fix: str) -> None:
        self.findings.append(Finding(code, message, span, effect, fix))

    def span(self, name: str) -> Span:
        return self.program.by_name[name].name_span

    @property
    def whole(self) -> Span:
        """A place for what is about the whole panel: its first rung, or its first device."""
        for part in (*self.program.rungs, *self.program.devices):
            return part.span
        return NOWHERE

    @property
    def name(self) -> str:
        return f"'{self.board.name}'"


# --- kinds and sizes --------------------------------------------------------------------------


def _no_tables(work: _Work) -> None:
    work.refuse(
        "board-kind",
        f"the board {work.name} holds no table: it only reads inputs and switches relays",
        work.whole,
        "nothing would run the panel on it, so nothing is compiled",
        "let something else run the panel and talk to the board, or choose a board that holds a "
        f"{work.need.kind} table",
    )


def _wrong_kind(work: _Work) -> None:
    kinds = " and ".join(work.board.kinds)
    work.refuse(
        "board-kind",
        f"the board {work.name} holds {kinds} tables, and this panel needs a "
        f"{work.need.kind} table",
        work.whole,
        "the board could not read the table",
        f"choose a board that holds {work.need.kind} tables",
    )


def _size(work: _Work) -> None:
    need, board = work.need, work.board
    states = board.states.most if board.states is not None else 1
    if need.states > states:
        work.refuse(
            "board-states",
            f"the table needs {need.states:,} states and the board {work.name} has {states:,}",
            work.whole,
            "the panel would forget what it has seen",
            "take out latches, edges or counters, split the panel, or choose a larger board",
        )
    if board.rows is None:
        return  # the model of a board that holds tables always has rows
    if need.rows > board.rows.most:
        work.refuse(
            "board-rows",
            f"the table needs {need.rows:,} rows and the board {work.name} has {board.rows.most:,}",
            work.whole,
            "some situations would have no row",
            "take out rungs, split the panel, or choose a larger board",
        )
    if need.first_match and not board.rows.first_match:
        work.refuse(
            "board-rows",
            f"the rows are made for a board that takes the first one that matches, which "
            f"{work.name} does not",
            work.whole,
            "two rows could act at once",
            "compile for rows that do not overlap",
        )


# --- terminals --------------------------------------------------------------------------------


def _inputs(work: _Work) -> None:
    inputs = work.board.inputs
    _place(work, "input", work.need.inputs, work.program.inputs, inputs.terminals)
    for name in work.need.inputs:
        device = work.program.by_name[name]
        if isinstance(device, Input):
            _debounce(work, device)
    if inputs.active_low and work.need.inputs:
        work.duties.append(
            "The inputs are active-low: the board reads 0 while a circuit is closed. It turns "
            "every input round once, before the table, where 1 always means a closed circuit."
        )


def _place(
    work: _Work,
    noun: Literal["input", "output"],
    names: tuple[str, ...],
    devices: Sequence[Input | Output],
    terminals: tuple[str, ...],
) -> None:
    """Give each named device a terminal: its own where the board has it, else the next free one.

    Devices that the table does not need keep their own terminals too, since they are wired there.
    """
    code = "board-inputs" if noun == "input" else "board-relays"
    known = {terminal.casefold(): terminal for terminal in terminals}
    taken: dict[str, str] = {}
    homeless: list[Input | Output] = []
    for device in devices:
        own = known.get(device.terminal.casefold())
        if own is None:
            homeless += [device] if device.name in names else []
        elif own in taken:
            work.refuse(
                code,
                f"'{device.name}' and '{taken[own]}' are both at terminal {own} of {work.name}",
                device.name_span,
                "one wire would move both" if noun == "input" else "one relay would feed both",
                "give each its own terminal",
            )
        else:
            taken[own] = device.name
            if device.name in names:
                work.terminals[device.name] = own
    wanted = len(taken) + len(homeless)
    free = [terminal for terminal in terminals if terminal not in taken]
    for device, terminal in zip(homeless, free, strict=False):
        work.terminals[device.name] = terminal
        own = f"'{device.terminal}' is no {noun} terminal of the board"
        work.duties.append(
            f"{noun.capitalize()} '{device.name}' is wired to {terminal}, since {own}."
        )
    left = homeless[len(free) :]
    if left:
        what = "inputs" if noun == "input" else "relays"
        names_left = _listed(device.name for device in left)
        work.refuse(
            code,
            f"the panel needs {wanted} {what} and the board {work.name} has {len(terminals)}",
            left[0].name_span,
            f"{names_left} would have no terminal",
            "take out devices that nothing uses, or choose a larger board",
        )


def _debounce(work: _Work, device: Input) -> None:
    debounce, wanted = work.board.inputs.debounce, device.debounce
    has = fix = ""
    match debounce.kind:
        case "none":
            if wanted:
                has, fix = "does not debounce", "leave debounce out"
        case "fixed":
            if wanted != debounce.time:
                has = f"debounces every input for {_time(debounce.time)}"
                fix = f"write: debounce {_time(debounce.time)}"
        case "settable":
            if wanted > debounce.longest:
                has = f"can debounce for {_time(debounce.longest)} at most"
                fix = f"write: debounce {_time(debounce.longest)} or less"
            elif wanted % debounce.resolution:
                has = f"debounces in steps of {_time(debounce.resolution)}"
                fix = f"write: debounce {_nearest(wanted, debounce.resolution)}"
        case _:
            assert_never(debounce.kind)
    if has:
        asks = f"{_time(wanted)} of debounce" if wanted else "no debounce"
        work.refuse(
            "board-debounce",
            f"'{device.name}' has {asks} and the board {work.name} {has}",
            device.name_span,
            "the input would act at another time than the program's",
            f"{fix}, or choose another board",
        )
    elif wanted:
        work.duties.append(
            f"Input '{device.name}' is debounced for {_time(wanted)} by the board: its column "
            "changes once the circuit has read differently for that long."
        )


# --- relays -----------------------------------------------------------------------------------


def _relays(work: _Work) -> None:
    relays = work.board.relays
    _place(work, "output", work.need.outputs, work.program.outputs, relays.terminals)
    for name in work.need.outputs:
        device = work.program.by_name[name]
        if not isinstance(device, Output):
            continue
        if device.side not in relays.contacts:
            has = " and ".join(relays.contacts)
            work.refuse(
                "board-contact",
                f"'{name}' needs an {device.side} contact and the board {work.name} has {has}",
                device.name_span,
                "the load would be on when it should be off",
                f"write {has} and turn the rung of '{name}' round, or choose another board",
            )
        for what, has, fix in _overload(work, device.load):
            work.refuse(
                "board-load",
                f"the load of '{name}' {what} and the board {work.name} {has}",
                device.load.span if device.load is not None else device.name_span,
                "the relay's contact would burn or weld",
                fix,
            )
        work.duties.append(_contact_duty(work, device))


def _overload(work: _Work, load: Load | None) -> Iterator[tuple[str, str, str]]:
    """(what the load does, what the board allows, the way out) for each rating it is above."""
    if load is None:
        return
    relays = work.board.relays
    way_out = "switch the load with a contactor of its own, or choose another board"
    if load.volts > relays.volts:
        yield f"has {load.volts:g} V", f"switches {relays.volts:g} V at most", way_out
    kind, rating = _rating(work, load)
    if load.amps > rating:
        yield f"draws {load.amps:g} A", f"switches {rating:g} A of {kind} load at most", way_out


def _rating(work: _Work, load: Load) -> tuple[str, float]:
    relays = work.board.relays
    if load.kind in INDUCTIVE:
        return "inductive", relays.inductive_amps
    if load.kind in LOAD_KINDS:
        return "resistive", relays.resistive_amps
    # a load of a kind nobody knows may be either
    return "unknown", min(relays.inductive_amps, relays.resistive_amps)


def _contact_duty(work: _Work, output: Output) -> str:
    relays = work.board.relays
    at = f" at {work.terminals[output.name]}" if output.name in work.terminals else ""
    head = f"Output '{output.name}'{at} uses the {output.side} contact; "
    if output.load is None:
        return (
            f"{head}no load is given for it, so nothing was checked: at most {relays.volts:g} V, "
            f"{relays.resistive_amps:g} A resistive, {relays.inductive_amps:g} A inductive."
        )
    load = output.load
    kind, rating = _rating(work, load)
    surge = " Its surge at switching on was not checked." if load.kind in SURGING else ""
    return (
        f"{head}its load of {load.volts:g} V {load.amps:g} A {load.kind} counts as {kind} load, "
        f"rated {relays.volts:g} V {rating:g} A.{surge}"
    )


def _retained(work: _Work) -> None:
    if work.need.retains and work.board.relays.retained:
        kept = _listed(work.need.retains)
        work.duties.append(f"Kept through a power cut by the board: {kept}.")
    elif work.need.kind == "transition" and work.board.relays.retained:
        work.duties.append(
            "Nothing is kept through a power cut: at power-up the table begins in its first state."
        )
    for name in () if work.board.relays.retained else work.need.retains:
        work.refuse(
            "board-retained",
            f"'{name}' must be kept through a power cut and the board {work.name} keeps nothing",
            work.span(name),
            "it would be off when power comes back",
            "take 'retained' out, or choose a board that keeps its states",
        )


def _power_up(work: _Work) -> None:
    """Relays before the first row acts: the program wants all of them off."""
    state = work.board.relays.at_power_up
    loose = [n for n in work.need.outputs if state != "last" or n not in work.need.retains]
    if state == "off" or not loose:
        if work.need.outputs:
            how = "are off" if state == "off" else "stay as they were"
            work.duties.append(f"From power-up until the first row acts the relays {how}.")
        return
    how = {
        "on": "are on",
        "last": "are as they were before the power cut",
        "unknown": "may be on or off",
    }[state]
    first = "an event comes" if work.need.kind == "switching" else "the first row acts"
    work.refuse(
        "board-power",
        f"at power-up the relays of {work.name} {how} until {first}",
        work.span(loose[0]),
        f"{_listed(loose)} may be on where the program has them off",
        "see that this does no harm, or choose a board whose relays are off at power-up",
    )
    work.duties.append(
        f"From power-up until {first} the relays {how}; the program wants {_listed(loose)} off."
    )


# --- timers -----------------------------------------------------------------------------------


def _timers(work: _Work) -> None:
    # only the rows of a transition table start timers
    board = work.board.timers if work.need.kind == "transition" else None
    for slot, need in enumerate(work.need.timers, 1):
        if board is None:
            work.refuse(
                "board-timer",
                f"'{need.device}' needs a timer and the board {work.name} has none for "
                f"{work.need.kind} tables",
                work.span(need.device),
                "nothing would measure its time",
                "take the timer out, or choose a board with timers",
            )
            continue
        for what, fix in _timer_problems(need, board):
            work.refuse(
                "board-timer",
                f"'{need.device}' {what} on the board {work.name}",
                work.span(need.device),
                "it would not end when the program says",
                fix,
            )
        work.timers[need.name] = TimerSetting(
            slot, need.preset // board.resolution, board.resolution
        )
        of = f" of '{need.device}'" if need.name != need.device else ""
        work.duties.append(
            f"Timer '{need.name}'{of} is slot {slot}: {need.kind}, {_time(need.preset)} = "
            f"{need.preset // board.resolution:,} x {_time(board.resolution)}"
            + (", kept through a power cut." if need.retained else ".")
        )
    if board is not None and len(work.need.timers) > board.most:
        over = work.need.timers[board.most :]
        work.refuse(
            "board-timer",
            f"the table needs {len(work.need.timers)} timers and the board {work.name} has "
            f"{board.most}",
            work.span(over[0].device),
            f"nothing would measure the time of {_listed(need.device for need in over)}",
            "take out timers (a flasher needs two), or choose a board with more",
        )


def _timer_problems(need: TimerNeed, board: BoardTimers) -> Iterator[tuple[str, str]]:
    if need.kind not in board.kinds:
        yield f"needs an {need.kind} timer, and there is none", "choose another board"
    if need.retained and not board.retained:
        yield (
            "keeps its time through a power cut, which no timer does",
            "take 'retained' out, or choose another board",
        )
    yield from _time_problems(need.preset, board)


def _time_problems(ms: int, board: BoardTimers | BoardDelays) -> Iterator[tuple[str, str]]:
    if ms > board.longest:
        yield (
            f"takes {_time(ms)}, and {_time(board.longest)} is the longest",
            f"write {_time(board.longest)} or less, or choose another board",
        )
    if ms % board.resolution:
        yield (
            f"takes {_time(ms)}, and times are whole steps of {_time(board.resolution)}",
            f"write {_nearest(ms, board.resolution)}, or choose another board",
        )


def _delays(work: _Work) -> None:
    board = work.board.delays if work.need.kind == "switching" else None
    for name, ms in dict.fromkeys(work.need.delays):
        problems = [("needs a row that waits, and rows act at once", "choose another board")]
        if board is not None:
            problems = list(_time_problems(ms, board))
            work.delays[name] = ms // board.resolution
            work.duties.append(f"Rows of '{name}' wait for {_time(ms)} before they act.")
        for what, fix in problems:
            work.refuse(
                "board-timer",
                f"'{name}' {what} on the board {work.name}",
                work.span(name),
                "it would not act when the program says",
                fix,
            )


# --- clocks -----------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Stretch:
    """A clock, or one fixed slot of a sun clock. `overnight` is None where the sun decides."""

    begin: Moment
    end: Moment | None
    days: Days
    overnight: bool | None


def _clocks(work: _Work) -> None:
    board = work.board.clock
    used = 0
    full: list[str] = []
    for name in work.need.clocks:
        clock = work.program.by_name[name]
        if not isinstance(clock, Clock):
            continue
        if board is None:
            _no(work, clock, "needs a clock and the board {} has none", "choose another board")
            continue
        slots = []
        for stretch in _stretches(work, clock, board):
            for slot in _slots(work, clock, board, stretch):
                used += 1
                slots.append(replace(slot, number=used))
        work.clocks[name] = tuple(slots)
        work.duties += [_slot_duty(clock, slot) for slot in slots]
        full += [name] if used > board.slots else []
    if board is not None and full:
        work.refuse(
            "board-clock",
            f"the clocks need {used} slots and the board {work.name} has {board.slots}",
            work.span(full[0]),
            f"{_listed(full)} would not act",
            "take out clocks, use longer slots in place of the sun, or choose another board",
        )
    if work.clocks:
        _clock_duties(work)


def _no(work: _Work, clock: Clock, what: str, fix: str, code: str = "board-clock") -> None:
    message = f"'{clock.name}' {what.format(work.name)}"
    work.refuse(code, message, clock.name_span, "it would act at another time, or never", fix)


def _goes_by_sun(clock: Clock) -> bool:
    return isinstance(clock.begin, SunTime) or isinstance(clock.end, SunTime)


def _stretches(work: _Work, clock: Clock, board: BoardClock) -> list[_Stretch]:
    """What the slots of a clock hold; fixed times where the board does not know the sun."""
    if clock.begin == clock.end:
        _no(
            work,
            clock,
            "is a window of zero length, of which the board {} may make all day or nothing",
            "write two different times",
        )
        return []
    if not _goes_by_sun(clock) or board.sun:
        overnight = None
        if isinstance(clock.begin, TimeOfDay) and isinstance(clock.end, TimeOfDay):
            overnight = clock.end.ms < clock.begin.ms
        return [_Stretch(clock.begin, clock.end, clock.days, overnight)]
    if not board.seasons:
        what = "goes by the sun, which the board {} does not know, nor the parts of the year"
        _no(work, clock, what, "write fixed times, or choose another board", "board-sun")
        return []
    if work.sun_by is None:
        what = "goes by the sun, which the board {} does not know"
        _no(work, clock, what, _sun_way_out(work, clock, board), "board-sun")
        return []
    fix = fixed_times(work.program, clock, work.sun_by, work.year, board.resolution)
    work.findings += fix.findings
    if fix.slots:
        work.sun.append(fix)
        work.duties += _sun_duties(fix)
    return [_fixed_stretch(clock, slot) for slot in fix.slots]


def _fixed_stretch(clock: Clock, slot: FixedSlot) -> _Stretch:
    days = replace(clock.days, season=(slot.first, slot.last))
    end = None if slot.end is None else TimeOfDay(slot.end % DURATION_UNITS["d"])
    return _Stretch(TimeOfDay(slot.begin), end, days, slot.overnight)


def _sun_way_out(work: _Work, clock: Clock, board: BoardClock) -> str:
    ways: list[str] = []
    lengths: tuple[SlotLength, ...] = ("month", "week")
    for by in lengths:
        fix = fixed_times(work.program, clock, by, work.year, board.resolution)
        if not fix.findings:
            ways.append(
                f"--sun-by {by} (fixed times in {len(fix.slots)} slots, at most "
                f"{fix.error_minutes} min off in {work.year})"
            )
    return " or ".join([*ways, "choose another board"])


def _slots(work: _Work, clock: Clock, board: BoardClock, stretch: _Stretch) -> Iterator[ClockSlot]:
    """The board's slots of one stretch, not yet numbered."""
    _check_days(work, clock, board, stretch.days)
    for moment in (stretch.begin, stretch.end):
        if moment is not None:
            _check_moment(work, clock, board, moment)
    if clock.catch_up and not board.catch_up:
        _no(
            work,
            clock,
            "may fire late after a power cut, which the board {} cannot do",
            "leave 'catch up' out, or choose another board",
        )
    begin, end, days = stretch.begin, stretch.end, stretch.days
    if end is None:
        if not board.events:
            _no(
                work,
                clock,
                "is a single moment and the board {} has windows alone",
                "write a window, or choose another board",
            )
        yield ClockSlot(0, "event", begin, None, days, clock.catch_up)
    elif board.windows:
        yield ClockSlot(0, "window", begin, end, days)
    elif work.need.kind == "switching":
        # a switching table acts when a window begins and when it ends, and needs no more of it
        yield ClockSlot(0, "begin", begin, None, days)
        ending = _end_days(days, stretch.overnight)
        if ending is None:
            _no(
                work,
                clock,
                "ends on a day of which the board {}, without windows, cannot know "
                "whether it is the right one",
                "let it act on all days, or choose another board",
            )
        else:
            yield ClockSlot(0, "end", end, None, ending)
    else:
        _no(
            work,
            clock,
            "is a window and the board {} has single moments alone",
            "write two clocks with 'at' that latch and unlatch a relay, or choose another board",
        )


def _check_days(work: _Work, clock: Clock, board: BoardClock, days: Days) -> None:
    has = []
    if days.weekdays != EVERY_DAY and not board.weekdays:
        has.append(("weekdays", "let it act daily"))
    if days.season is not None and not board.seasons:
        has.append(("parts of the year", "leave 'between' out"))
    if days.except_holidays and not board.holidays:
        has.append(("days off", "leave 'except holidays' out"))
    for what, fix in has:
        _no(
            work,
            clock,
            f"is kept to {what}, which the board {{}} does not know",
            f"{fix}, or choose another board",
        )


def _check_moment(work: _Work, clock: Clock, board: BoardClock, moment: Moment) -> None:
    ms = moment.offset if isinstance(moment, SunTime) else moment.ms
    if ms % board.resolution:
        step = _time(board.resolution)
        what = f"has the time {moment_text(moment)}, and the board {{}} has steps of {step}"
        _no(work, clock, what, f"write a time in whole steps of {step}, or choose another board")


def _end_days(days: Days, overnight: bool | None) -> Days | None:
    """The days on which windows end that begin on `days`; None if no list of days says it."""
    if days == Days() or overnight is False:
        return days
    if overnight is None or days.except_holidays:
        return None
    season = days.season
    if season is not None:
        # the day after 28 February is not the same in every year
        if season[1] == (2, 28) or season[0] == (2, 29):
            return None
        season = (_next_day(season[0]), _next_day(season[1]))
    return Days(tuple(sorted((day + 1) % 7 for day in days.weekdays)), season)


def _next_day(day: MonthDay) -> MonthDay:
    after = date(2000, *day) + timedelta(1)  # a leap year, so 29 February is a day
    return after.month, after.day


# --- duties of the clock ----------------------------------------------------------------------


def _clock_duties(work: _Work) -> None:
    site = work.program.site
    clocks = [clock for clock in work.program.clocks if work.clocks.get(clock.name)]
    work.duties.append(
        f"The board's clock keeps the local time of {site.zone}, summer time included where there "
        "is one. A time that the change of the clocks skips uses the offset before it; one that "
        "comes twice means the first. A window belongs to the day on which it begins."
    )
    if any(_goes_by_sun(clock) for clock in clocks if clock.name not in _fixed_names(work)):
        work.duties.append(
            f"The board works out sunrise and sunset for latitude {site.latitude}, longitude "
            f"{site.longitude}, with the sun's centre 50 arc minutes below the horizon."
        )
    if any(clock.days.except_holidays for clock in clocks):
        days = [holiday.name for holiday in work.program.holidays]
        days += [f"the public holidays of '{site.holidays}'"] if site.holidays else []
        listed = ", ".join(days) or "none, as the panel names none"
        work.duties.append(f"The board's list of days off holds: {listed}.")


def _fixed_names(work: _Work) -> set[str]:
    return {fix.clock for fix in work.sun}


def _sun_duties(fix: SunFix) -> Iterator[str]:
    yield (
        f"Clock '{fix.clock}' has fixed times by {fix.by} in place of the sun, at most "
        f"{fix.error_minutes} min off in {fix.year}."
    )
    if fix.without:
        spans = ", ".join(f"{first} to {last}" for first, last in fix.without)
        yield (
            f"On these days there is no sunrise or sunset for '{fix.clock}', and its fixed times "
            f"act all the same: {spans}."
        )


def _slot_duty(clock: Clock, slot: ClockSlot) -> str:
    what = {
        "window": "is closed",
        "event": "closes for one scan",
        "begin": "begins",
        "end": "ends",
    }[slot.role]
    if slot.until is None:
        times = f"at {moment_text(slot.at)}"
    else:
        times = f"from {moment_text(slot.at)} to {moment_text(slot.until)}"
    late = f", up to {_time(slot.catch_up)} late after a power cut" if slot.catch_up else ""
    return f"Clock slot {slot.number}: '{clock.name}' {what} {times}{days_text(slot.days)}{late}."


def moment_text(moment: Moment) -> str:
    """A moment as the language writes it."""
    match moment:
        case TimeOfDay(ms):
            minutes, rest = divmod(ms, 60_000)
            seconds = f":{rest / 1_000:02g}" if rest else ""
            return f"{minutes // 60:02}:{minutes % 60:02}{seconds}"
        case SunTime(event, offset):
            return event + (f" {'-' if offset < 0 else '+'}{_time(abs(offset))}" if offset else "")
        case _:
            assert_never(moment)


def days_text(days: Days) -> str:
    """The days of a clock as the language writes them, with a space before; daily is nothing."""
    text = ""
    if days.weekdays != EVERY_DAY:
        text += " on " + ", ".join(WEEKDAYS[day] for day in days.weekdays)
    if days.season is not None:
        first, last = (f"{month:02}-{day:02}" for month, day in days.season)
        text += f" between {first} and {last}"
    return text + (" except holidays" if days.except_holidays else "")


# --- words ------------------------------------------------------------------------------------


def _nearest(ms: int, step: int) -> str:
    """The times on both sides of one that is no multiple of a step."""
    below = ms // step * step
    return " or ".join(_time(time) for time in (below, below + step) if time)


def _listed(names: Iterable[str]) -> str:
    """Names in quotes, the first ten of them."""
    quoted = [f"'{name}'" for name in dict.fromkeys(names)]
    more = f" and {len(quoted) - 10} more" if len(quoted) > 10 else ""
    return ", ".join(quoted[:10]) + more
