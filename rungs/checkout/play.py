"""Times for a run of scans, and the run itself on the emulator and on the reference interpreter.

A plan promises what will be seen. So every plan is played before it leaves here, on two machines
that share no code, and a step that cannot be played or that shows something else is not promised.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from rungs.checkout.board import BoardTable
from rungs.checkout.graph import Scan
from rungs.program.nodes import Program
from rungs.scan.reference import State, powered_down
from rungs.scan.reference import scan as reference_scan
from rungs.table.emulator import Emulator

_ROUNDS = 150
Bound = tuple[int, int, int]  # the time of the second is at least that of the first plus the number


def schedule(board: BoardTable, scans: Sequence[Scan], hand: int = 1) -> tuple[int, ...] | None:
    """The earliest time (ms) of each scan of a run from power-up, or None if there is none.

    On-delays give difference constraints (Bellman-Ford); sums are met one after the other. `hand`
    is the least number of periods from a settled panel to the next deed.
    """
    bounds = list(_bounds(board, scans, hand))
    while True:
        times = _solved(len(scans), bounds)
        if times is None:
            return None
        more = _sums(board, scans, times) if board.sums else []
        if not more:
            return tuple(time * board.period for time in times)
        bounds += more


def _bounds(board: BoardTable, scans: Sequence[Scan], hand: int) -> Iterator[Bound]:
    started: dict[int, int] = {}
    moved = dict.fromkeys(board.input_weights, 0)
    for k, scan in enumerate(scans):
        if scan.cut:
            started.clear()
            moved = dict.fromkeys(board.input_weights, k)
        if k:
            ended = scan.dues & ~scans[k - 1].dues and not scan.cut
            quick = 1 if ended or not scan.held else hand
            yield k - 1, k, max(scan.least, quick)
            if not scan.held and not scan.cut:
                yield k, k - 1, -1
            for place, weight in enumerate(board.input_weights):
                if (scan.image ^ scans[k - 1].image) & weight and not scan.cut:
                    yield moved[weight], k, board.lags[place]
                    moved[weight] = k
        row = board.rows[scan.row]
        for timer, need in board.needs.items():
            begun = started.get(timer)
            if begun is not None:
                if scan.dues >> timer & 1:
                    yield begun, k, need
                    if k and not scans[k - 1].dues >> timer & 1:
                        yield k, begun, -need  # every scan before it found the timer running
                else:
                    yield k, begun, -(need - 1)
            if not row.run >> timer & 1:
                started.pop(timer, None)
            elif begun is None:
                started[timer] = k


def _solved(count: int, bounds: Sequence[Bound]) -> list[int] | None:
    """The least times from 0 that keep all bounds, or None."""
    times = [0] * count
    for _ in range(_ROUNDS):
        changed = False
        for one, other, least in bounds:
            if times[other] < times[one] + least:
                times[other] = times[one] + least
                changed = True
        if not changed:
            return times
    return None


def _sums(board: BoardTable, scans: Sequence[Scan], times: Sequence[int]) -> list[Bound]:
    """The bound that the first sum needs which is not reached when it should be."""
    names = [i for i in range(len(board.table.timers)) if board.sums >> i & 1]
    held = dict.fromkeys(names, 0)
    ran = dict.fromkeys(names, False)
    stretch = dict.fromkeys(names, (0, 0))  # where the stretch began, and what was held then
    for k, scan in enumerate(scans):
        gone = times[k] - times[k - 1] if k else 0
        row = board.rows[scan.row]
        for i in names:
            need = -(-board.table.timers[i].preset_ms // board.period)
            if scan.cut:
                ran[i] = False
                held[i] = held[i] if board.kept_sums >> i & 1 else 0
            due = ran[i] and held[i] + gone >= need
            if scan.dues >> i & 1 and not due:
                begun, had = stretch[i]
                return [(begun, k, need - had), (k, begun, had - need)]
            run = bool(row.run >> i & 1)
            emptied = (row.before | row.after) >> i & 1
            if run and ran[i]:
                held[i] = min(held[i] + gone, need)
            if emptied:
                held[i] = 0
            if run and (not ran[i] or emptied):
                stretch[i] = (k, held[i])
            ran[i] = run
    return []


@dataclass(frozen=True, slots=True)
class Played:
    """The state of the reference after each scan of a run, up to the scan `wrong` in which it, or
    the emulator, shows something else than the table says (None: to the end)."""

    states: tuple[State, ...]
    wrong: int | None = None


def circuit_changes(
    board: BoardTable, scans: Sequence[Scan], times: Sequence[int]
) -> list[tuple[int, str, bool]]:
    """(ms, input, closed): when each circuit has to change for the images of a run. Those of the
    scans after a power cut are not among them: there the image is the circuit."""
    found = []
    for k in range(1, len(scans)):
        changed = scans[k].image ^ scans[k - 1].image
        if not changed or scans[k].cut:
            continue
        for place, weight in enumerate(board.input_weights):
            if changed & weight:
                at = times[k] - (board.lags[place] - 1) * board.period
                found.append((at, board.inputs[place].name, bool(scans[k].image & weight)))
    return sorted(found)


def play(
    board: BoardTable, program: Program, scans: Sequence[Scan], times: Sequence[int]
) -> Played:
    """Play a run with exact times on the emulator, which has only the table, and on the reference
    interpreter, which has only the program."""
    emulator = Emulator(board.table)
    names = [output.name for output in board.table.outputs]
    state = powered_down(program)
    shown = {clock.name: False for clock in program.clocks}
    circuits = {d.name: d.side == "NC" for d in program.inputs}
    circuits |= {s.name: s.at_rest for s in board.inputs}
    changes = circuit_changes(board, scans, times)
    done = 0
    states: list[State] = []
    for k, (step, t) in enumerate(zip(scans, times, strict=True)):
        # a debounced contact is moved, and scanned, before its image follows
        while done < len(changes) and changes[done][0] <= t:
            at = changes[done][0]
            while done < len(changes) and changes[done][0] == at:
                circuits[changes[done][1]] = changes[done][2]
                done += 1
            if at < t:
                emulator.scan(circuits, shown, at)
                state = reference_scan(program, state, circuits, shown, at)
        if step.cut:
            # nothing scans meanwhile, so the switches may stand differently afterwards
            pairs = zip(board.inputs, board.input_weights, strict=True)
            circuits |= {signal.name: bool(step.image & weight) for signal, weight in pairs}
        if step.cut and k:
            emulator.power(False)
            emulator.power(True)
            state = powered_down(program, state)
        shown.update(zip(board.clocks, step.vector, strict=True))
        outputs = emulator.scan(circuits, shown, t)
        state = reference_scan(program, state, circuits, shown, t)
        row = board.rows[step.row]
        seen = tuple(state.contacts[name] for name in names)
        after = board.table.transitions[step.row].next
        if seen != outputs or outputs != row.outputs or emulator.state != after:
            return Played(tuple(states), k)
        states.append(state)
    return Played(tuple(states))
