"""From a program to the plan of its checkout.

The functional test is made from the transition table, since a row is the smallest thing that a
board can have wrong: a walk that takes every row has seen everything the table says.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rungs.checkout.board import BoardTable, clock_lore
from rungs.checkout.graph import Move, Scan, Situations
from rungs.checkout.parts import parts_of
from rungs.checkout.plan import Plan, Step
from rungs.checkout.play import play, schedule
from rungs.checkout.points import input_steps, relay_steps
from rungs.checkout.rest import Rest, all_the_rest
from rungs.checkout.stories import story_steps
from rungs.checkout.tour import MOST, Arc, Effort, Leg, quick_tour, shortest_tour
from rungs.checkout.words import Teller, flashing, listed, sight
from rungs.core.lower import lower
from rungs.core.reduce import reduce
from rungs.language.words import duration_text
from rungs.papers.blocks import counted
from rungs.program.nodes import Output, Program
from rungs.prove.zones import FAR
from rungs.scan.reference import State
from rungs.table.head import sha256
from rungs.table.model import TableFile
from rungs.table.transition import compiled, transition_table

LARGEST: Final = 2_000  # rows of a table that is walked unasked
_SMALL: Final = 128  # rows of a table that is tried as one, even where it falls into parts
_SITUATIONS: Final = 8_000  # of a graph that is looked at as a whole
_REPAIRS: Final = 3
_MOST_REST: Final = 4_000  # scans after the tour
_NO_TIME: Final = "hands cannot keep to the times that the rest of it needs."
_LONG: Final = 2_000  # ms: a pause that has to be told


@dataclass(frozen=True, slots=True)
class _Walk:
    """The tour as moves, with the bound; `whole` tells that all was looked at and all is covered
    that can be."""

    moves: tuple[Move, ...]
    bound: int
    whole: bool
    why: str = ""


@dataclass(frozen=True, slots=True)
class _Functions:
    """The functional test of one table: its steps by hand and then those of the emulator, and what
    `Plan` says of it."""

    steps: tuple[Step, ...] = ()
    tour: int = 0
    bound: int = 0
    rows: int = 0
    covered: int = 0
    together: int = 0
    left_out: tuple[str, ...] = ()


def checkout_plan(program: Program, seconds: float = 5.0, whole: bool = False) -> Plan:
    """The plan of a checkout: inputs, relays, and a tour of the functions, with the fewest steps
    that were found in about `seconds` (what it takes to make the table comes on top).

    A panel with parts that act beside each other is tried part by part, unless its whole table is
    small or is asked for with `whole`. Every step of the tour has been played on the emulator,
    which runs only the table, and on the reference interpreter, which runs only the program;
    `sights` are what both showed.
    """
    tables = _Tables(program)
    names = tuple(output.name for output in program.outputs)
    parts = (names,) if whole else tables.parts()
    if len(parts) > 1:
        return _part_by_part(tables, parts, seconds)
    made = _functions(tables, names, seconds, whole)
    if isinstance(made, str):
        why = f"The functions are those of the scenarios, and not all rows of a table: {made}"
        return _plan(program, _Functions(tuple(story_steps(program)), left_out=(why,)))
    return _plan(program, made)


class _Tables:
    """The transition tables of some outputs of one program, each made once."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self._made: dict[tuple[str, ...], TableFile | str] = {}
        self._clocks: dict[str, set[str]] | None = None  # on which each output depends

    def of(self, outputs: tuple[str, ...]) -> TableFile | str:
        """The table of some outputs, or why there is none."""
        if not outputs:
            return "the file has no outputs"
        if outputs not in self._made:
            work, findings = compiled(self.program, outputs)
            made = findings[0].message if work is None else transition_table(work)
            self._made[outputs] = made
        return self._made[outputs]

    def small_enough(self, outputs: tuple[str, ...]) -> TableFile | str:
        """The table, if somebody could walk it."""
        table = self.of(outputs)
        if isinstance(table, str) or len(table.transitions) <= LARGEST:
            return table
        return (
            f"its table has {len(table.transitions):,} rows, more than anybody walks "
            "('rungs checkout --whole' makes a tour all the same)"
        )

    def rows(self, outputs: tuple[str, ...]) -> int:
        """How many rows that table has; more than any if there is none."""
        table = self.of(outputs)
        return FAR if isinstance(table, str) else len(table.transitions)

    def seen_with(self, clocks: Sequence[str]) -> tuple[Output, ...]:
        """The outputs that no other clock than these can move, so that what they show is known."""
        if self._clocks is None:
            core = lower(self.program)
            self._clocks = {
                output.name: {
                    s.name for s in reduce(core, (output.name,)).signals if s.kind == "clock"
                }
                for output in self.program.outputs
            }
        return tuple(o for o in self.program.outputs if self._clocks[o.name] <= set(clocks))

    def parts(self) -> tuple[tuple[str, ...], ...]:
        """The outputs as they are tried: all in one where that table is small, else in parts that
        share no memory, and these one by one where that makes fewer rows."""
        names = tuple(output.name for output in self.program.outputs)
        found: list[tuple[str, ...]] = []
        for part in parts_of(self.program):
            single = tuple((name,) for name in part)
            rows = self.rows(part)
            apart = rows > LARGEST or sum(map(self.rows, single)) < rows
            found += single if apart else (part,)
        states = 1
        for part in found:
            table = self.of(part)
            states *= _SMALL if isinstance(table, str) else len(table.states)
        if len(found) == 1 or (states < _SMALL and self.rows(names) <= _SMALL):
            return (names,)
        return tuple(found)


def _part_by_part(tables: _Tables, parts: tuple[tuple[str, ...], ...], seconds: float) -> Plan:
    """The parts in order, each from power-up; those without a table by the scenarios."""
    program = tables.program
    total = _Functions()
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
        total = _Functions(
            (*total.steps, *(_shifted(step, shift) for step in steps)),
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
    return replace(_plan(program, total), parts=parts)


def _again(program: Program) -> str:
    kept = any(getattr(device, "retained", False) for device in program.devices)
    return "cut the power and clear what is retained" if kept else "cut the power"


def _shifted(step: Step, by: int) -> Step:
    return replace(step, rows=tuple(row + by for row in step.rows))


def _functions(
    tables: _Tables, outputs: tuple[str, ...], seconds: float, whole: bool = False
) -> _Functions | str:
    """The test of the table of some outputs, or why there is none; with `whole` however large."""
    table = tables.of(outputs) if whole else tables.small_enough(outputs)
    if isinstance(table, str):
        return table
    program, board = tables.program, BoardTable(table)
    lore = clock_lore(program, board.clocks)
    seek = Situations(board, lore)
    walk, times, states = _tour(program, seek, seconds)
    scans = [scan for move in walk.moves for scan in move.scans]
    covered = {scan.row for scan in scans}
    begin = seek.found[walk.moves[-1].target] if walk.moves else None
    mask = sum(1 << row for row in covered)
    rest = all_the_rest(seek, begin, mask, _MOST_REST, Effort(seconds / 4))
    seen = tables.seen_with(board.clocks)
    hand = tuple(_hand_steps(program, seen, seek, walk.moves, times, states))
    free, rest = _free_steps(program, seen, seek, scans, rest)
    together = {scan.row for scan in rest.scans} - covered
    left = tuple(_left_out(board, walk, rest, len(board.rows) - len(covered), seek))
    return _Functions(
        (*hand, *free),
        len(walk.moves),
        walk.bound,
        len(board.rows),
        len(covered),
        len(together),
        left,
    )


def _plan(program: Program, functions: _Functions) -> Plan:
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


# --- the tour -----------------------------------------------------------------------------------


def _tour(
    program: Program, seek: Situations, seconds: float
) -> tuple[_Walk, tuple[int, ...], tuple[State, ...]]:
    """A tour that has been played, the time of each scan, and the state after each."""
    board = seek.board
    whole = seek.explored(_SITUATIONS, Effort(seconds))
    walk = _Walk((), 0, False)
    for repair in range(_REPAIRS):
        # a repair is for what a hurried walk would get wrong as well
        legs, walk = _searched(seek, whole, seconds / (2 << repair))
        times, good = _timed(seek, walk.moves)
        if good < len(walk.moves):
            # hands and timers cannot keep to this step's time where the walk comes by
            if repair + 1 < _REPAIRS:
                _bar(seek, legs[good])
                continue
            cut = walk.moves[:good]
            walk = replace(walk, moves=cut, whole=False, why="The tour is cut short: " + _NO_TIME)
            times, _ = _timed(seek, cut)
        scans = [scan for move in walk.moves for scan in move.scans]
        if repair:
            # the bound of a graph with arcs taken out says nothing of the whole one
            taken = sum(1 << row for row in {scan.row for scan in scans})
            walk = replace(walk, bound=min(_conflicting(board, taken), len(walk.moves)))
        played = play(board, program, scans, times)
        if played.wrong is None:
            return walk, times, played.states
        raise AssertionError(f"scan {played.wrong} of a tour shows something else than the table")
    raise AssertionError("a tour is always given back by the last repair")


def _bar(seek: Situations, leg: Leg) -> None:
    """Take an arc out of the graph."""
    arcs = list(seek[leg[0]])
    arcs[leg[1]] = Arc(leg[0], 0)
    seek.replace(leg[0], tuple(arcs))


def _searched(seek: Situations, whole: bool, seconds: float) -> tuple[Sequence[Leg], _Walk]:
    if whole:
        tour = shortest_tour(seek, 0, seconds)
        why = "" if tour.whole else f"The tour ends at {MOST:,} steps."
        return tour.walk, _Walk(_moves(seek, tour.walk), tour.bound, tour.whole, why)
    rows = (1 << len(seek.board.rows)) - 1
    seek.effort = Effort(seconds)
    legs, covered = quick_tour(seek, 0, rows, seek.effort)
    bound = _conflicting(seek.board, covered)
    why = "The panel can stand in too many ways to look at all; more time may find more."
    return legs, _Walk(_moves(seek, legs), min(bound, len(legs)), False, why)


def _moves(seek: Situations, legs: Sequence[Leg]) -> tuple[Move, ...]:
    return tuple(seek.moves(node)[place] for node, place in legs)


def _conflicting(board: BoardTable, covered: int) -> int:
    """Rows of which no two can be taken in one step, for no switch moves within a step."""
    chosen: list[tuple[int, int]] = []
    for row in board.rows:
        mask, value = row.mask & board.input_mask, row.value & board.input_mask
        if covered >> row.number & 1 and all(
            (value ^ other) & mask & also for also, other in chosen
        ):
            chosen.append((mask, value))
    return len(chosen)


def _timed(seek: Situations, moves: Sequence[Move]) -> tuple[tuple[int, ...], int]:
    """Times for the scans of the longest part of a walk that has any, and how many moves it has."""
    board = seek.board

    def tried(count: int) -> tuple[int, ...] | None:
        scans = [scan for move in moves[:count] for scan in move.scans]
        for hand in (seek.times.hand, 1) if count == len(moves) else (1,):
            times = schedule(board, scans, hand)
            if times is not None:
                return times
        return None

    found = tried(len(moves))
    if found is not None:
        return found, len(moves)
    low, high = 0, len(moves)
    while high - low > 1:
        middle = (low + high) // 2
        if tried(middle) is None:
            high = middle
        else:
            low = middle
    return tried(low) or (), low


# --- steps --------------------------------------------------------------------------------------


def _hand_steps(
    program: Program,
    seen: tuple[Output, ...],
    seek: Situations,
    moves: Sequence[Move],
    times: Sequence[int],
    states: Sequence[State],
) -> Iterator[Step]:
    board = seek.board
    teller = Teller(program, board, seek.lore)
    taken: set[int] = set()
    started: dict[int, int] = {}  # timer: the step that started it
    at = 0
    for number, move in enumerate(moves, 1):
        first, last = at, at + len(move.scans) - 1
        at = last + 1
        here = seek.found[move.target]
        assert here is not None
        pause = times[first] - times[first - 1] if first else 0
        do = teller.deed(move.deed, here.image)
        if move.deed.kind not in ("wait", "power") and pause > _LONG:
            do = (f"Let {duration_text(pause)} pass after the step before", *do)
        rows = dict.fromkeys(scan.row for scan in move.scans)
        notes = list(_hurry(board, move, started, number))
        notes += flashing(program, board, here.runs)
        for timer in range(len(board.table.timers)):
            if not here.runs >> timer & 1:
                started.pop(timer, None)
            elif timer not in started or move.deed.kind == "cut":
                started[timer] = number
        yield _step(
            program,
            seen,
            board,
            do,
            states[last],
            states[first - 1] if first else None,
            rows,
            taken,
            notes,
            move,
        )
        taken |= rows.keys()


def _hurry(board: BoardTable, move: Move, started: dict[int, int], number: int) -> Iterator[str]:
    """Which step the time of a timer counts from, where it matters."""
    for timer, begun in started.items():
        name = board.table.timers[timer].name
        preset = duration_text(board.table.timers[timer].preset_ms)
        back = number - begun
        since = "the step before" if back == 1 else f"{back} steps before"
        if move.deed.kind == "wait" and move.deed.which >> timer & 1:
            yield f"{name} has run since {since}"
        elif not move.scans[0].dues >> timer & 1 and move.deed.kind != "cut":
            yield f"while {name} runs ({preset} from {since})"


def _step(
    program: Program,
    seen: tuple[Output, ...],
    board: BoardTable,
    do: tuple[str, ...],
    state: State,
    before: State | None,
    rows: dict[int, None],
    taken: set[int],
    notes: Sequence[str],
    move: Move | None,
) -> Step:
    terminals = []
    rungs = {rung for row in rows for rung in board.table.transitions[row].rungs}
    if move is not None and move.deed.kind == "move":
        terminals.append(board.inputs[move.deed.which].terminal)
    for device in seen:
        if before is None or before.contacts[device.name] != state.contacts[device.name]:
            terminals.append(device.terminal)
            # a rung that has lost its power decides as well
            rungs |= {
                rung.number
                for rung in program.rungs
                if any(action.name == device.name for action in rung.actions)
            }
    fresh = tuple(row + 1 for row in rows if row not in taken)
    return Step(
        "functions",
        do,
        tuple(sight(device, state.contacts[device.name]) for device in seen),
        fresh,
        tuple(sorted(rungs)),
        tuple(dict.fromkeys(terminals)),
        move is not None,
        tuple(notes),
    )


def _free_steps(
    program: Program, seen: tuple[Output, ...], seek: Situations, scans: list[Scan], rest: Rest
) -> tuple[tuple[Step, ...], Rest]:
    """The scans after the tour as steps, as far as they can be given times and played."""
    board = seek.board
    made = list(rest.scans)
    times = schedule(board, [*scans, *made]) if made else ()
    if times is None:
        lost = frozenset(scan.row for scan in made)
        known = {scan.row for scan in scans}
        return (), replace(rest, scans=(), unsought=rest.unsought | (lost - known))
    run = [*scans, *made]
    played = play(board, program, run, times) if made else None
    if played is not None and played.wrong is not None:
        raise AssertionError(f"scan {played.wrong} of a run shows something else than the table")
    teller = Teller(program, board, seek.lore)
    steps = []
    taken = {scan.row for scan in scans}
    for k in range(len(scans), len(run)):
        assert played is not None
        before = run[k - 1] if k else None
        do = teller.scan(run[k], before)
        pause = times[k] - times[k - 1] if k else 0
        if run[k].held and pause > _LONG and not run[k].cut:
            do = (f"Let {duration_text(pause)} pass", *do)
        rows = {run[k].row: None}
        last = played.states[k - 1] if k else None
        note = ("only on the emulator: no hand is so exact",)
        steps.append(
            _step(program, seen, board, do, played.states[k], last, rows, taken, note, None)
        )
        taken |= rows.keys()
    return tuple(steps), rest


def _left_out(
    board: BoardTable, walk: _Walk, rest: Rest, missing: int, seek: Situations
) -> Iterator[str]:
    if walk.why and missing:
        yield walk.why
    if seek.restless:
        yield "Some steps lead to a panel that never settles; the tour leaves them out."
    if rest.undated:
        yield (
            f"{counted(len(rest.undated), 'row')} cannot be taken: the calendar never shows its "
            "clocks so."
        )
    if rest.never:
        yield (
            f"{counted(len(rest.never), 'row')}: no run was found in which timers end in that "
            "order and contacts keep to their debounce."
        )
    if rest.unsought:
        yield (
            f"{counted(len(rest.unsought), 'row')} were not looked for to the end: more time may "
            "find a run, or that there is none."
        )
