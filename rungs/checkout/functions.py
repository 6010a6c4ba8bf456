"""The functional test of one table: the tour as steps that somebody does and sees.

Each step of it was played on two machines that share no code before it is told.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from rungs.checkout.board import BoardTable, clock_lore
from rungs.checkout.graph import Move, Scan, Situations
from rungs.checkout.plan import Step
from rungs.checkout.play import play, schedule
from rungs.checkout.rest import Rest, all_the_rest
from rungs.checkout.tour import MOST, Arc, Effort, Leg, quick_tour, shortest_tour
from rungs.checkout.words import Teller, flashing, sight
from rungs.language.words import duration_text
from rungs.papers.blocks import counted
from rungs.program.nodes import Output, Program
from rungs.scan.reference import State

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
class Functions:
    """The functional test of one table: its steps by hand and then those of the emulator, and what
    `Plan` says of it."""

    steps: tuple[Step, ...] = ()
    tour: int = 0
    bound: int = 0
    rows: int = 0
    covered: int = 0
    together: int = 0
    left_out: tuple[str, ...] = ()


def functions_of(
    program: Program, board: BoardTable, seen: tuple[Output, ...], seconds: float
) -> Functions:
    """The tour of a table with the fewest steps that were found in about `seconds`, and the scans
    that only the emulator can make. `seen` are the outputs that the steps tell of."""
    lore = clock_lore(program, board.clocks)
    seek = Situations(board, lore)
    walk, times, states = _tour(program, seek, seconds)
    scans = [scan for move in walk.moves for scan in move.scans]
    covered = {scan.row for scan in scans}
    begin = seek.found[walk.moves[-1].target] if walk.moves else None
    mask = sum(1 << row for row in covered)
    rest = all_the_rest(seek, begin, mask, _MOST_REST, Effort(seconds / 4))
    hand = tuple(_hand_steps(program, seen, seek, walk.moves, times, states))
    free, rest = _free_steps(program, seen, seek, scans, rest)
    together = {scan.row for scan in rest.scans} - covered
    left = tuple(_left_out(board, walk, rest, len(board.rows) - len(covered), seek))
    return Functions(
        (*hand, *free),
        len(walk.moves),
        walk.bound,
        len(board.rows),
        len(covered),
        len(together),
        left,
    )


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
        if move.deed.kind not in ("wait", "power", "dark") and pause > _LONG:
            do = (f"Let {duration_text(pause)} pass after the step before", *do)
        rows = dict.fromkeys(scan.row for scan in move.scans)
        notes = list(_hurry(board, move, started, number))
        notes += flashing(program, board, here.runs)
        for timer in range(len(board.table.timers)):
            if not here.runs >> timer & 1:
                started.pop(timer, None)
            elif timer not in started or move.deed.kind in ("cut", "dark"):
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
        elif not move.scans[0].dues >> timer & 1 and move.deed.kind not in ("cut", "dark"):
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
