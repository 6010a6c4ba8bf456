"""Whether a compiled table fits a board: every limit as a finding, every duty as a sentence.

Terminals and timers are given out here, and clock slots next door, once, so that what the table
says and what the findings say cannot differ. Nothing is cut or rounded to make it fit: a number
that a board cannot hold is refused with both numbers and a way out, and what the board's firmware
has to do beside the table is said in the table's head.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from typing import Final, Literal, assert_never

from rungs.findings import in_order
from rungs.language.words import LOAD_KINDS
from rungs.language.words import duration_text as _time
from rungs.program.nodes import Input, Load, Output, Program
from rungs.table.board import Board, BoardDelays, BoardTimers
from rungs.table.needs import Fit, Need, TimerNeed, TimerSetting, Work, listed, nearest
from rungs.table.slots import clock_slots
from rungs.table.sunfix import SlotLength

# loads whose current goes through a coil of wire, by the words of the language and of the trade
INDUCTIVE: Final = frozenset({"coil", "motor", "valve", "solenoid", "contactor", "relay", "pump"})
# loads that draw many times their current while they switch on, which no amps of a board file tell
SURGING: Final = frozenset({"lamp", "led", "electronic"})


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
    work = Work(program, need, board, sun_by, year)
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
        clock_slots(work)
    return Fit(
        in_order(work.findings),
        work.terminals,
        work.timers,
        work.delays,
        work.clocks,
        tuple(work.sun),
        tuple(work.duties),
    )


# --- kinds and sizes --------------------------------------------------------------------------


def _no_tables(work: Work) -> None:
    work.refuse(
        "board-kind",
        f"the board {work.name} holds no table: it only reads inputs and switches relays",
        work.whole,
        "nothing would run the panel on it, so nothing is compiled",
        "let something else run the panel and talk to the board, or choose a board that holds a "
        f"{work.need.kind} table",
    )


def _wrong_kind(work: Work) -> None:
    kinds = " and ".join(work.board.kinds)
    work.refuse(
        "board-kind",
        f"the board {work.name} holds {kinds} tables, and this panel needs a "
        f"{work.need.kind} table",
        work.whole,
        "the board could not read the table",
        f"choose a board that holds {work.need.kind} tables",
    )


def _size(work: Work) -> None:
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


def _inputs(work: Work) -> None:
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
    work: Work,
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
        names_left = listed(device.name for device in left)
        work.refuse(
            code,
            f"the panel needs {wanted} {what} and the board {work.name} has {len(terminals)}",
            left[0].name_span,
            f"{names_left} would have no terminal",
            "take out devices that nothing uses, or choose a larger board",
        )


def _debounce(work: Work, device: Input) -> None:
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
                fix = f"write: debounce {nearest(wanted, debounce.resolution)}"
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


def _relays(work: Work) -> None:
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


def _overload(work: Work, load: Load | None) -> Iterator[tuple[str, str, str]]:
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


def _rating(work: Work, load: Load) -> tuple[str, float]:
    relays = work.board.relays
    if load.kind in INDUCTIVE:
        return "inductive", relays.inductive_amps
    if load.kind in LOAD_KINDS:
        return "resistive", relays.resistive_amps
    # a load of a kind nobody knows may be either
    return "unknown", min(relays.inductive_amps, relays.resistive_amps)


def _contact_duty(work: Work, output: Output) -> str:
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


def _retained(work: Work) -> None:
    if work.need.retains and work.board.relays.retained:
        kept = listed(work.need.retains)
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


def _power_up(work: Work) -> None:
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
        f"{listed(loose)} may be on where the program has them off",
        "see that this does no harm, or choose a board whose relays are off at power-up",
    )
    work.duties.append(
        f"From power-up until {first} the relays {how}; the program wants {listed(loose)} off."
    )


# --- timers -----------------------------------------------------------------------------------


def _timers(work: Work) -> None:
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
            f"nothing would measure the time of {listed(need.device for need in over)}",
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
            f"write {nearest(ms, board.resolution)}, or choose another board",
        )


def _delays(work: Work) -> None:
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
