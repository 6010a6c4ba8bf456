"""From the core to a switching table: what each event does to each relay, or why no table can say.

A row holds one act for each relay, so it can be written only where one act serves in every
situation that the event is met in. Where none does, the two shortest ways that ask for different
things are shown, since a bare refusal would not tell what to change.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations, product
from typing import Final, Literal

from rungs.core.nodes import Core
from rungs.findings import Finding
from rungs.program.nodes import Program, Rung, leaves
from rungs.source import NOWHERE
from rungs.table.model import Act, SwitchingRow
from rungs.table.switching_lanes import (
    BUDGET,
    BudgetError,
    Event,
    Meter,
    MisfitError,
    Settled,
    shifted,
)
from rungs.table.switching_power import Columns, PowerUp, acted
from rungs.table.switching_search import Place, RefusedError, Search, best_act, explored

ASTRAY: Final = (
    "the program can come to a situation that no single events lead to, and what it does from "
    "there was not looked at"
)


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two situations in which one event must do different things to one relay.

    `before` is the relay in both. After `to_on` the event must leave it on, after `to_off` off;
    both are shortest sequences of events from power-up, in words.
    """

    relay: str
    event: str
    before: bool
    to_on: tuple[str, ...]
    to_off: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class SwitchingResult:
    """A switching table, or findings that say why there is none.

    `power_differences`  what the board does differently after power returns, in words
    `together`           pairs of events for which the program, seeing both in one scan, does
                         something else than the table, which acts on one after the other
    `passing`            events at which a relay of the program moves and comes straight back
    `situations`         settled situations that were looked at
    `conflicts`          what the findings of code "switching-memory" rest on
    `unsettled`          the events after which the program does not settle, if it does not
    """

    rows: tuple[SwitchingRow, ...] | None
    findings: tuple[Finding, ...] = ()
    power_differences: tuple[str, ...] = ()
    together: tuple[str, ...] = ()
    passing: tuple[str, ...] = ()
    situations: int = 0
    conflicts: tuple[Conflict, ...] = ()
    unsettled: tuple[str, ...] = ()


def switching_table(
    program: Program,
    core: Core,
    delays: bool = False,
    power_up: PowerUp = "off",
    budget: int = BUDGET,
) -> SwitchingResult:
    """The switching table of `core = reduce(lower(program), names of its outputs)`.

    `delays` tells that rows can carry a delay, `power_up` how the board's relays stand when power
    comes back. `budget` is in steps: one operation on one column of up to 2,048 lanes. Acts stand
    in the order of the core's outputs; rows are in order of the program's inputs and then its
    clocks, after the power-up row. A delay counts from the event or, where the input is so already,
    from power-up.
    """
    meter = Meter(budget)
    try:
        search = explored(program, core, delays, meter)
        found = _conflicts(search)
        if found:
            findings = tuple(_memory_finding(program, c, more) for c, more in found)
            conflicts = tuple(conflict for conflict, _ in found)
            return SwitchingResult(
                None, findings, situations=search.situations, conflicts=conflicts
            )
        acts = _acts(search)
        cases = search.power_cases(power_up, acts)
        best = cases.best_acts()
        together = _together(search, acts)
        words = cases.words(best)
    except RefusedError as refused:
        return SwitchingResult(
            None, (refused.finding,), situations=refused.situations, unsettled=refused.events
        )
    except BudgetError:
        return SwitchingResult(None, (_budget_finding(meter),), situations=meter.situations)
    rows = _rows(program, search, acts, best)
    passing = tuple(
        f"when {search.events[e].words(core)}: {core.outputs[r].name} moves and comes straight back"
        for e, r in sorted(search.passing)
    )
    return SwitchingResult(rows, (), words, together, passing, search.situations)


# --- why there is no table --------------------------------------------------------------------


def _budget_finding(meter: Meter) -> Finding:
    return Finding(
        "table-size",
        f"the program has more situations than {meter.limit:,} steps of work can look at",
        NOWHERE,
        f"{meter.situations:,} situations were looked at and more were left; no table is written "
        "that was not worked out to the end",
        "split the panel into programs that share no inputs, or take relays, counters and latches "
        "out of it",
    )


def _memory_finding(program: Program, conflict: Conflict, more: tuple[str, ...]) -> Finding:
    relay = conflict.relay
    said = {True: "on", False: "off"}

    def must(after: bool) -> str:
        if after == conflict.before:
            return f"{relay} must stay {said[after]}"
        return f"{relay} must go {said[after]}"

    also = f"; the same holds when {', when '.join(more)}" if more else ""
    return Finding(
        "switching-memory",
        f"no one act serves '{relay}' when {conflict.event}",
        program.by_name[relay].name_span,
        f"after [{'; '.join(conflict.to_on)}], when {conflict.event}, {must(True)}; "
        f"after [{'; '.join(conflict.to_off)}], when {conflict.event}, {must(False)}{also}",
        "take a board that holds a transition table, or let the program remember nothing but "
        "whether its outputs are on",
    )


# --- from what was seen to rows ---------------------------------------------------------------


def _acts(search: Search) -> dict[int, tuple[Act, ...]]:
    """The acts of each event, when there is one for every relay."""
    rows: dict[int, tuple[Act, ...]] = {}
    for number in range(len(search.events)):
        found = [
            best_act(search.effects[number, relay]) for relay in range(len(search.core.outputs))
        ]
        rows[number] = tuple(act for act in found if act is not None)
        assert len(rows[number]) == len(found)
    return rows


def _conflicts(search: Search) -> list[tuple[Conflict, tuple[str, ...]]]:
    """For each relay without a row, the shortest pair of ways, and the other events concerned."""
    found = []
    for relay, output in enumerate(search.core.outputs):
        pairs: list[tuple[int, int, int, Place, Place]] = []
        for number in range(len(search.events)):
            seen = search.effects[number, relay]
            for before in (0, 1):
                off, on = seen[2 * before], seen[2 * before + 1]
                if off is not None and on is not None:
                    pairs.append((off[0] + on[0], number, before, on, off))
        if not pairs:
            continue
        _, number, before, on, off = min(pairs, key=lambda pair: pair[:3])
        event = search.events[number].words(search.core)
        more = [search.events[n].words(search.core) for _, n, *_ in pairs if n != number]
        conflict = Conflict(output.name, event, bool(before), search.path(on), search.path(off))
        found.append((conflict, tuple(dict.fromkeys(more))))
    return found


def _rows(
    program: Program, search: Search, acts: dict[int, tuple[Act, ...]], power: tuple[Act, ...]
) -> tuple[SwitchingRow, ...]:
    """The power-up row, and one row for each event of every input and clock of the program."""
    core = search.core
    drivers = [_drivers(program, output.name) for output in core.outputs]

    def rungs(number: int, moves: tuple[Act, ...]) -> tuple[int, ...]:
        matter = set().union(*(d for d, act in zip(drivers, moves, strict=True) if act != "leave"))
        seen = search.rungs.get(number, 0)
        had = {p.number for place, p in enumerate(core.powers) if seen >> place & 1}
        return tuple(sorted(had & matter))

    rows = [SwitchingRow(event="power-up", acts=power, rungs=rungs(-1, power))]
    idle: tuple[Act, ...] = tuple("leave" for _ in core.outputs)
    moments = {clock.name for clock in program.clocks if clock.end is None}
    by_device: dict[str, list[int]] = {}
    for number, event in enumerate(search.events):
        by_device.setdefault(core.signals[event.signal].name, []).append(number)
    for name in [d.name for d in program.inputs] + [d.name for d in program.clocks]:
        for number in by_device.get(name, ()):
            kind, delay, moves = (
                search.events[number].event,
                search.events[number].delay_ms,
                acts[number],
            )
            rows.append(
                SwitchingRow(
                    event=kind, device=name, delay_ms=delay, acts=moves, rungs=rungs(number, moves)
                )
            )
        if name not in by_device:
            kinds: tuple[Literal["closes", "opens", "at"], ...] = ("closes", "opens")
            for kind in ("at",) if name in moments else kinds:
                rows.append(SwitchingRow(event=kind, device=name, acts=idle))
    return tuple(rows)


def _drivers(program: Program, relay: str) -> set[int]:
    """The rungs that drive a relay, directly or through what its rungs read."""
    open_ends, known, found = [relay], {relay}, set[int]()
    by_target: dict[str, list[Rung]] = {}
    for rung in program.rungs:
        for action in rung.actions:
            by_target.setdefault(action.name, []).append(rung)
    while open_ends:
        for rung in by_target.get(open_ends.pop(), ()):
            found.add(rung.number)
            for leaf in leaves(rung.circuit):
                if leaf.name and leaf.name not in known:
                    known.add(leaf.name)
                    open_ends.append(leaf.name)
    return found


# --- two events in one scan -------------------------------------------------------------------


def _together(search: Search, acts: dict[int, tuple[Act, ...]]) -> tuple[str, ...]:
    """Pairs of events that the program, seeing both in one scan, answers differently than the two
    rows do one after the other. Where no bit that remembers is moved by both, order is nothing."""
    touched = [search.touched(event) for event in search.events]
    # a board acts on levels first, then on delays that are up, then on clock events
    order = sorted(range(len(touched)), key=lambda n: (search.events[n].turn, n))
    pairs = [
        (a, b)
        for a, b in combinations(order, 2)
        if search.events[a].signal != search.events[b].signal and touched[a] & touched[b]
    ]
    found: dict[tuple[int, int], set[str]] = {}
    if pairs:
        for key, mask in search.reached.items():
            before = search.standing(search.wide, mask, key)
            for pair in pairs:
                found.setdefault(pair, set()).update(_pair(search, acts, mask, before, pair))
    core = search.core
    return tuple(
        f"when {search.events[a].words(core)} and {search.events[b].words(core)} in the same scan: "
        + "; ".join(sorted(found[a, b]))
        for a, b in pairs
        if found.get((a, b))
    )


def _pair(
    search: Search,
    acts: dict[int, tuple[Act, ...]],
    mask: int,
    before: Settled,
    pair: tuple[int, int],
) -> set[str]:
    """What differs, in words, when a pair of events comes in the lanes of `mask`."""
    one, two = (search.events[number] for number in pair)
    found: set[str] = set()
    for (lanes, by), (more, further) in product(one.parts, two.parts):
        old, moves = mask & lanes & more, by + further
        new = shifted(old, moves)
        start = tuple(shifted(bits & old, moves) for bits in before.state)
        after = None
        while new:
            after, lost, words = _both(search, start, new, one, two)
            if not lost:
                break
            found.add(words)
            new &= ~lost
        if not new or after is None:
            continue
        for relay, output in enumerate(search.core.outputs):
            table = shifted(before.outputs[relay] & old, moves)
            for number in pair:
                table = acted(acts[number][relay], table, new)
            shown = after.outputs[relay]
            if new & shown & ~table:
                found.add(f"{output.name} can be on in the program and off on the board")
            if new & table & ~shown:
                found.add(f"{output.name} can be off in the program and on on the board")
        for key, met in search.keys(after.state, new, search.keepers):
            if met & ~search.reached.get(key, 0):
                found.add(ASTRAY)
    return found


def _both(
    search: Search, start: Columns, new: int, one: Event, two: Event
) -> tuple[Settled | None, int, str]:
    """The panel settled after two events in one scan, or lanes to leave out and the reason."""
    holds = [list(some) for some in search.holds]
    try:
        after = search.settle(
            search.wide, start, new, one.pulses | two.pulses, begins=one.begins | two.begins
        )
    except MisfitError as misfit:
        search.holds = holds
        name = search.core.timers[misfit.timer].device
        return None, misfit.lanes, f"{name} can run otherwise than a delay of the board"
    return after, after.restless, "the program can fail to settle"
