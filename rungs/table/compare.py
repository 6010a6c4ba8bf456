"""A table that was read back, held against a program: same, or differs, and where.

The head is compared field by field, the rows by a proof over everything the two can do together; a
run on which they part is told as a person would try it at the bench.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Literal

from rungs.core.lower import LowerError, lower
from rungs.core.nodes import Core
from rungs.core.patterns import TooLargeError
from rungs.core.reduce import reduce
from rungs.language.words import duration_text
from rungs.program.nodes import Clock, Input, Output, Program
from rungs.table.digest import head_digest
from rungs.table.head import clock_statement, holiday_statement, sha256, site_statement
from rungs.table.model import Proof, TableFile
from rungs.table.prove import Difference, Doubt, prove_rows
from rungs.table.switching_file import Unproved, prove_switching_file
from rungs.table.switching_proof import Difference as SwitchDifference

Verdict = Literal["same", "differs", "undecided"]


@dataclass(frozen=True, slots=True)
class Comparison:
    """The answer. `head` are differences outside the rows, `story` the run on which the two part,
    line by line, `rows` the rows of the table concerned (from 1), `notes` what is no difference."""

    verdict: Verdict
    head: tuple[str, ...] = ()
    story: tuple[str, ...] = ()
    what: str = ""
    rows: tuple[int, ...] = ()
    notes: tuple[str, ...] = ()
    proof: Proof | None = None


def compare(program: Program, table: TableFile, outputs: tuple[str, ...] = ()) -> Comparison:
    """Whether a table does what a program does. `outputs` names the relays that it should have,
    where that is not every output of the program."""
    wanted = outputs or tuple(output.name for output in program.outputs)
    notes = []
    if table.program_sha256 and table.program_sha256 != sha256(program):
        notes.append("the table was made from another text of the program")
    fixed = dict.fromkeys(clock.closes for clock in table.clocks if clock.closes)
    for name in fixed:
        notes.append(
            f"'{name}' goes by fixed times in the table and by the sun in the program: what is said"
            " here holds while the two agree, and the duties say how far they lie apart"
        )
    try:
        core = core_for(program, table)
    except LowerError as error:
        return Comparison("undecided", what=str(error), notes=tuple(notes))
    head = tuple(_head_differences(program, table, core, wanted))
    try:
        found = prove_against(program, table)
    except TooLargeError as error:
        verdict: Verdict = "differs" if head else "undecided"
        return Comparison(verdict, head, what=f"there are {error}", notes=tuple(notes))
    if isinstance(found, Proof):
        return Comparison("differs" if head else "same", head, notes=tuple(notes), proof=found)
    if isinstance(found, SwitchDifference):
        sides = ("on" if found.program else "off", "on" if found.table else "off")
        what = f"{found.relay} is {sides[0]} in the program and {sides[1]} in the table"
        lines = (*found.events, f"then {what}")
        return Comparison("differs", head, lines, what, found.rows, tuple(notes))
    if isinstance(found, Unproved):
        return Comparison(
            "differs" if head else "undecided", head, what=found.why, notes=tuple(notes)
        )
    if isinstance(found, Doubt):
        notes.append(
            "each difference met needs timers to run out in an order that was not shown possible"
        )
        example = found.example
        lines = tuple(story(core, example))
        verdict = "differs" if head else "undecided"
        return Comparison(verdict, head, lines, example.what, example.rows, tuple(notes))
    lines = tuple(story(core, found))
    return Comparison("differs", head, lines, found.what, found.rows, tuple(notes))


def core_for(program: Program, table: TableFile) -> Core:
    """The program's core as seen through the relays of a table, at the table's period."""
    names = {output.name for output in table.outputs}
    return reduce(lower(program, table.period_ms), names)


def prove_against(
    program: Program, table: TableFile
) -> Proof | Difference | Doubt | SwitchDifference | Unproved:
    """Proof that the rows do what the program does, or what is against it.

    Raises TooLargeError where there is too much to look at.
    """
    if table.kind == "switching":
        return prove_switching_file(program, core_for(program, table), table)
    return prove_rows(core_for(program, table), table)


# --- the head ---------------------------------------------------------------------------------


def _head_differences(
    program: Program, table: TableFile, core: Core, wanted: tuple[str, ...]
) -> Iterator[str]:
    shown = {output.name for output in table.outputs}
    for name in wanted:
        if name not in shown:
            yield f"the table has no relay '{name}'"
    for output in table.outputs:
        device = program.by_name.get(output.name)
        if device is None or output.name not in {o.name for o in core.outputs}:
            yield f"the program has no output '{output.name}'"
        elif isinstance(device, Output):
            if output.side != device.side:
                yield f"'{output.name}': {output.side} in the table, {device.side} in the program"
            if not table.board and output.terminal != device.terminal:
                yield f"'{output.name}' at {output.terminal}, in the program at {device.terminal}"
    for signal in table.signals:
        if signal.kind == "input":
            yield from _input_differences(program, table, signal.name)
    yield from _timer_differences(table, core)
    yield from _clock_differences(program, table)
    if table.kind == "transition":
        retains = len({s.after_power_cut for s in table.states}) > 1
        if table.retains != (retains or any(timer.retained for timer in table.timers)):
            yield "'retains' does not say what the states and timers say of a power cut"
    if table.head_sha256 and table.head_sha256 != head_digest(table):
        yield "the head of the table was changed after it was written"


def _input_differences(program: Program, table: TableFile, name: str) -> Iterator[str]:
    signal = next(s for s in table.signals if s.name == name)
    device = program.by_name.get(name)
    if not isinstance(device, Input):
        yield f"the program has no input '{name}'"
        return
    if signal.at_rest != (device.side == "NC"):
        side = "NC" if signal.at_rest else "NO"
        yield f"'{name}' is {side} in the table, {device.side} in the program"
    if signal.debounce_ms != device.debounce:
        yield f"'{name}' is debounced {signal.debounce_ms} ms, in the program {device.debounce} ms"
    if not table.board and signal.terminal != device.terminal:
        yield f"'{name}' is at {signal.terminal}, in the program at {device.terminal}"


def _timer_differences(table: TableFile, core: Core) -> Iterator[str]:
    ours = {timer.name: timer for timer in core.timers}
    for timer in table.timers:
        mine = ours.get(timer.name)
        if mine is None:
            yield f"the program has no use for a timer '{timer.name}'"
            continue
        if timer.preset_ms != mine.preset:
            theirs, ours_is = duration_text(timer.preset_ms), duration_text(mine.preset)
            yield f"timer '{timer.name}' is {theirs} in the table, {ours_is} in the program"
        if timer.kind != mine.kind:
            yield f"timer '{timer.name}' is {timer.kind} in the table, {mine.kind} in the program"
        if timer.retained != mine.retained:
            yield f"timer '{timer.name}' keeps its time through a power cut in one of the two alone"


def _clock_differences(program: Program, table: TableFile) -> Iterator[str]:
    for clock in table.clocks:
        device = program.by_name.get(clock.signal)
        if not isinstance(device, Clock):
            yield f"the program has no clock '{clock.signal}'"
        elif clock.closes:
            continue  # fixed times in place of the sun; see the notes
        elif " ".join(clock.statement.split()) != clock_statement(device):
            yield f"'{clock.statement}' in the table, '{clock_statement(device)}' in the program"
    named = {clock.signal for clock in table.clocks}
    for signal in table.signals:
        if signal.kind == "clock" and signal.name not in named:
            yield f"the table does not say when the clock '{signal.name}' is closed"
    if table.clocks:
        if table.site != site_statement(program.site):
            yield f"'{table.site}' in the table, '{site_statement(program.site)}' in the program"
        holidays = tuple(holiday_statement(day) for day in program.holidays)
        if table.holidays != holidays:
            yield "the holidays are not those of the program"


# --- the story of a difference ------------------------------------------------------------------


def story(core: Core, difference: Difference) -> Iterator[str]:
    """A run in words: what is done when, from power-up to the scan that shows the difference."""
    before: dict[str, bool] = {}
    fresh = True
    timed = {core.signals[timer.due].name: timer.name for timer in core.timers}
    events = {signal.name for signal in core.signals if signal.one_scan}
    for index, step in enumerate(difference.steps):
        at = difference.times[index] if difference.times else None
        when = "" if at is None else f"at {at / 1000:g} s: "
        if step.cut:
            yield f"{when}power goes and comes back"
            fresh, before = True, {}
            continue
        words = list(_changes(before, step.signals, fresh, timed, events))
        if fresh or words:
            yield (
                when
                + ("power up: " if fresh and not index else "")
                + ", ".join(words or ["nothing closed"])
            )
        fresh = False
        before = {name: on for name, on in step.signals.items() if name not in events}
    last = difference.times[-1] if difference.times else None
    yield ("" if last is None else f"at {last / 1000:g} s: ") + f"then {difference.what}"


def _changes(
    before: dict[str, bool],
    now: dict[str, bool],
    fresh: bool,
    timed: dict[str, str],
    events: set[str],
) -> Iterator[str]:
    for name, on in now.items():
        if name in timed:
            if on and not before.get(name, False):
                yield f"timer {timed[name]} has run out"
        elif name in events:
            if on:
                yield f"{name} comes"
        elif fresh:
            if on:
                yield f"{name} closed"
        elif on != before.get(name, False):
            yield f"{name} {'closes' if on else 'opens'}"
