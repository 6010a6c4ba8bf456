"""From a program to the plan of its checkout.

The functional test is made from transition tables, since a row is the smallest thing that a board
can have wrong: a walk that takes every row has seen everything the table says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

from rungs.checkout.board import BoardTable
from rungs.checkout.functions import Functions, functions_of
from rungs.checkout.parts import Tables
from rungs.checkout.plan import Plan, Step
from rungs.checkout.points import input_steps, relay_steps
from rungs.checkout.stories import story_steps
from rungs.checkout.words import listed
from rungs.program.nodes import Program
from rungs.prove.zones import FAR
from rungs.table.head import sha256


def checkout_plan(program: Program, seconds: float = 5.0, whole: bool = False) -> Plan:
    """The plan of a checkout: inputs, relays, and a tour of the functions, with the fewest steps
    that were found in about `seconds` (what it takes to make the table comes on top).

    A panel with parts that act beside each other is tried part by part, unless its whole table is
    small or is asked for with `whole`. Every step of the tour has been played on the emulator,
    which runs only the table, and on the reference interpreter, which runs only the program;
    `sights` are what both showed.
    """
    tables = Tables(program)
    names = tuple(output.name for output in program.outputs)
    parts = (names,) if whole else tables.parts()
    if len(parts) > 1:
        return _part_by_part(tables, parts, seconds)
    made = _functions(tables, names, seconds, whole)
    if isinstance(made, str):
        why = f"The functions are those of the scenarios, and not all rows of a table: {made}"
        return _plan(program, Functions(tuple(story_steps(program)), left_out=(why,)))
    return _plan(program, made)


def _part_by_part(tables: Tables, parts: tuple[tuple[str, ...], ...], seconds: float) -> Plan:
    """The parts in order, each from power-up; those without a table by the scenarios."""
    program = tables.program
    total = Functions()
    bare: list[str] = []
    for number, part in enumerate(parts, 1):
        made = _functions(tables, part, seconds / len(parts))
        named = f"part {number} ({', '.join(part)})"
        if isinstance(made, str):
            bare.append(f"{named} is not tried row by row: {made}")
            continue
        first = made.steps[0]
        begin = (f"{named.capitalize()}: {_again(program)}", *first.do)
        known = {one.output for one in first.sights}
        free = [output.name for output in program.outputs if output.name not in known]
        also = f"{listed(free)} may move by the clock: not looked at in this part"
        notes = (*first.notes, also) if free else first.notes
        steps = (replace(first, do=begin, notes=notes), *made.steps[1:])
        shift = total.rows
        total = Functions(
            (*total.steps, *(_shifted(step, shift) for step in _begun(steps, named))),
            total.tour + made.tour,
            total.bound + made.bound,
            total.rows + made.rows,
            total.covered + made.covered,
            total.together + made.together,
            (*total.left_out, *(f"{named}: {words}" for words in made.left_out)),
        )
    if bare:
        told = (*bare, "the functions of these are those of the scenarios, which come last")
        steps = (*total.steps, *story_steps(program))
        total = replace(total, steps=steps, left_out=(*total.left_out, *told))
    # what hands do comes first, so that their steps are numbered without a gap
    steps = tuple(sorted(total.steps, key=lambda step: not step.by_hand))
    return replace(_plan(program, replace(total, steps=steps)), parts=parts)


def _begun(steps: Sequence[Step], named: str) -> Iterator[Step]:
    """The steps with a word at the first of those that no hand makes, which stand apart."""
    said = False
    for step in steps:
        if not step.by_hand and not said:
            said = True
            step = replace(step, notes=(*step.notes, f"after the last step by hand of {named}"))
        yield step


def _again(program: Program) -> str:
    kept = any(getattr(device, "retained", False) for device in program.devices)
    return "cut the power and clear what is retained" if kept else "cut the power"


def _shifted(step: Step, by: int) -> Step:
    return replace(step, rows=tuple(row + by for row in step.rows))


def _functions(
    tables: Tables, outputs: tuple[str, ...], seconds: float, whole: bool = False
) -> Functions | str:
    """The test of the table of some outputs, or why there is none; with `whole` however large."""
    table = tables.of(outputs, FAR) if whole else tables.of(outputs)
    if isinstance(table, str):
        return table
    board = BoardTable(table)
    return functions_of(tables.program, board, tables.seen_with(board.clocks), seconds)


def _plan(program: Program, functions: Functions) -> Plan:
    inputs = tuple(input_steps(program))
    before = len(inputs) + 2 * len(program.outputs)
    relays = tuple(relay_steps(program, _switched(functions.steps, before)))
    return Plan(
        program.title,
        sha256(program),
        (*inputs, *relays, *functions.steps),
        functions.tour,
        functions.bound,
        functions.rows,
        functions.covered,
        functions.together,
        functions.left_out,
    )


def _switched(functions: Sequence[Step], before: int) -> dict[str, tuple[int | None, int | None]]:
    """The numbers of the steps in which each relay is first switched on and then off, from 1."""
    found: dict[str, tuple[int | None, int | None]] = {}
    for number, step in enumerate(functions, before + 1):
        if not step.by_hand:
            continue
        for one in step.sights:
            on, off = found.get(one.output, (None, None))
            if one.coil and on is None:
                found[one.output] = (number, off)
            elif not one.coil and on is not None and off is None:
                found[one.output] = (on, number)
    return found
