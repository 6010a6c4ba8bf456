"""Questions that every program is asked without anybody writing them.

Can each coil come on, and go off again; do two outputs change over in one scan that a property
keeps apart; do two rungs pull one device both ways at once, and when of the week. What starts from
situations (chatter, races, power cuts, wire faults) is asked in rooms of its own.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import combinations, permutations, product
from random import Random
from typing import Literal

from rungs.core.nodes import PERIOD, Core
from rungs.core.watch import watch
from rungs.program.nodes import (
    Action,
    Circuit,
    Clock,
    Contact,
    Device,
    Input,
    Output,
    Program,
    Property,
    Relay,
    Rung,
    Series,
    leaves,
)
from rungs.prove.budget import Budget
from rungs.prove.clocks.moments import moments
from rungs.prove.reach import Found, Never, Prover, ask_of
from rungs.prove.store import Store
from rungs.prove.witness import AtOnce, Witness
from rungs.scan.fast import FastPanel, FastState

PLAYED_SCANS = 1_500
PLAYED_ACTS = 400  # of one run


# --- coils that never move --------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Stuck:
    """A coil that can never come on, or, once it is on, never goes off while there is power.

    `known` is False where that could neither be shown nor ruled out.
    """

    device: Output | Relay
    never: Literal["on", "off"]
    known: bool = True


def stuck_coils(
    program: Program, budget: Budget, period: int = PERIOD, store: Store | None = None
) -> tuple[Stuck, ...]:
    """Every output and relay that never comes on, or never goes off again once it is on."""
    coils = [d for d in program.devices if isinstance(d, Output | Relay)]
    came, went = _seen_by_play(program, [d.name for d in coils], budget, period)
    doubts: list[tuple[Output | Relay, Literal["on", "off"]]] = []
    for device in coils:
        if device.name not in came:
            doubts.append((device, "on"))
        elif device.name not in went:
            doubts.append((device, "off"))
    items = [
        Property("never", "", Contact("closed" if never == "on" else "falling", device.name))
        for device, never in doubts
    ]
    prover = Prover(program, items, period, store, range(len(items)))
    found = []
    for number, (device, never) in enumerate(doubts):
        answer = prover.answer(number, budget)
        if not isinstance(answer, Found):
            found.append(Stuck(device, never, isinstance(answer, Never)))
    return tuple(found)


def _seen_by_play(
    program: Program, names: Sequence[str], budget: Budget, period: int
) -> tuple[set[str], set[str]]:
    """Which of the devices were seen to come on, and to go off, while somebody played with the
    switches and kept to the assumptions; whatever is seen needs no proof."""
    assumed = [each for each in program.properties if each.kind == "assume"]
    asks = [ask_of(item, f"assume.{n}") for n, item in enumerate(assumed)]
    core = watch(program, asks, period)
    rng = Random(0)
    came: set[str] = set()
    went: set[str] = set()
    left = PLAYED_SCANS
    while left > 0 and (len(came) < len(names) or len(went) < len(names)):
        left -= 1
        was = dict.fromkeys(names, False)
        for state in _play(program, core, rng, budget):
            left -= 1
            if left <= 0 or any(state.contacts[ask.name] for ask in asks):
                break
            for name in names:
                on = state.contacts[name]
                if on != was[name]:
                    (came if on else went).add(name)
                    was[name] = on
    return came, went


def _play(program: Program, core: Core, rng: Random, budget: Budget) -> Iterator[FastState]:
    """Every scan of one run in which somebody moves one switch or two and waits a while."""
    panel = FastPanel(program, period=core.period, core=core)
    inputs = [device.name for device in program.inputs]
    for _ in range(PLAYED_ACTS):
        budget.check()
        if inputs:
            few = rng.sample(inputs, rng.randint(1, min(2, len(inputs))))
            panel.give_circuits({name: not panel.circuits[name] for name in few})
        wait = rng.choice((10, 10, 50, 200, 3_000, 60_000, 3_600_000, 20_000_000))
        yield from panel.advance(panel.now + wait)


# --- change over in one scan ------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Swap:
    """Two outputs of which one goes off in the very scan in which the other comes on, although
    `item` keeps them apart: real relays overlap for their release time."""

    item: Property
    leaves: str
    comes: str
    witness: Witness


def swaps(
    program: Program, budget: Budget, period: int = PERIOD, store: Store | None = None
) -> tuple[Swap, ...]:
    """Every such pair of outputs that a `never` of the file names."""
    asked: list[tuple[Property, str, str]] = []
    for item in program.properties:
        if item.kind != "never" or not isinstance(item.circuit, Series):
            continue
        on = [
            part.name
            for part in item.circuit.parts
            if isinstance(part, Contact)
            and part.kind == "closed"
            and not part.negated
            and isinstance(program.by_name[part.name], Output)
        ]
        asked += [(item, a, b) for a, b in permutations(on, 2)]
    items = [
        Property("never", "", Series((Contact("falling", a), Contact("rising", b))))
        for _, a, b in asked
    ]
    prover = Prover(program, items, period, store)
    prover.prepare(budget)
    found = []
    for number, (item, goes, comes) in enumerate(asked):
        answer = prover.answer(number, budget)
        if isinstance(answer, Found):
            found.append(Swap(item, goes, comes, answer.witness))
    return tuple(found)


# --- rungs that pull both ways ----------------------------------------------------------------


Row = tuple[tuple[str, bool], ...]


@dataclass(frozen=True, slots=True)
class Fight:
    """Two rungs that latch and unlatch one device in the same scan; `wins` is the later one.

    `sets` and `clears` name the switches and clocks that each depends on. `clocks` are the clock
    contacts under which it happens, a row of (name, closed) for each combination, and `when` says
    in words at which moments that is.
    """

    device: str
    latch: Rung
    unlatch: Rung
    wins: Rung
    sets: tuple[str, ...]
    clears: tuple[str, ...]
    clocks: tuple[Row, ...]
    when: tuple[str, ...]
    witness: Witness

    @property
    def moments(self) -> str:
        """`when` in one piece; empty where no clock takes part."""
        return "at any time" if self.when == ("always",) else "; ".join(self.when)


@dataclass(frozen=True, slots=True)
class Fights:
    """The fights that were found, and the pairs of rungs of which it was not found out, with the
    reason, in words."""

    found: tuple[Fight, ...]
    unknown: tuple[str, ...] = ()


def fights(
    program: Program, budget: Budget, period: int = PERIOD, store: Store | None = None
) -> Fights:
    """Every device that something with its own will, a clock or a switch, latches while another
    unlatches it."""
    pairs = list(_pulling(program))
    clocks_of = [
        [
            name
            for name in sorted({*sources(program, a), *sources(program, b)})
            if _clock(program, name)
        ]
        for _, a, b in pairs
    ]
    items: list[AtOnce] = []
    places: list[list[tuple[int, Row]]] = []
    for (_, a, b), clocks in zip(pairs, clocks_of, strict=True):
        rows = []
        for values in product((False, True), repeat=len(clocks)):
            row = tuple(zip(clocks, values, strict=True))
            rows.append((len(items), row))
            items.append(AtOnce((a.number, b.number), _showing(row)))
        places.append(rows)
    prover = Prover(program, items, period, store)
    prover.prepare(budget)
    found = []
    unknown = []
    for (device, a, b), rows in zip(pairs, places, strict=True):
        when = []
        witness = None
        doubt = ""
        for place, row in rows:
            answer = prover.answer(place, budget)
            if isinstance(answer, Found):
                when.append(row)
                witness = witness or answer.witness
            elif not isinstance(answer, Never):
                doubt = answer.reason
        if doubt:
            unknown.append(f"{device}: rung {a.number} against rung {b.number} ({doubt})")
        if witness is not None:
            wins = a if a.number > b.number else b
            found.append(
                Fight(
                    device,
                    a,
                    b,
                    wins,
                    tuple(sorted(sources(program, a))),
                    tuple(sorted(sources(program, b))),
                    tuple(when),
                    _moments(prover, tuple(when)),
                    witness,
                )
            )
    return Fights(tuple(found), tuple(unknown))


def _moments(prover: Prover, rows: tuple[Row, ...]) -> tuple[str, ...]:
    """When the clocks show one of these rows."""
    names = tuple(name for name, _ in rows[0])
    if not names:
        return ()
    wanted = [dict(row) for row in rows]
    line = prover.dates.line(names)
    return moments(line, lambda shown: any(shown == row for row in wanted))


def _pulling(program: Program) -> Iterator[tuple[str, Rung, Rung]]:
    """Device, latch rung and unlatch rung, where a clock takes part and the two do not depend on
    just the same things."""
    actions: list[tuple[Rung, Action]] = [(r, a) for r in program.rungs for a in r.actions]
    for (one, first), (two, second) in combinations(actions, 2):
        if first.name != second.name or {first.verb, second.verb} != {"latch", "unlatch"}:
            continue
        ours, theirs = sources(program, one), sources(program, two)
        if ours == theirs or not any(_clock(program, name) for name in ours | theirs):
            continue
        latch, unlatch = (one, two) if first.verb == "latch" else (two, one)
        yield first.name, latch, unlatch


def _clock(program: Program, name: str) -> bool:
    return isinstance(program.by_name[name], Clock)


def _showing(row: Sequence[tuple[str, bool]]) -> Circuit:
    parts = tuple(Contact("closed", name, not on) for name, on in row)
    if len(parts) == 1:
        return parts[0]
    return Series(parts)


def sources(program: Program, rung: Rung) -> frozenset[str]:
    """The switches and clocks on which the power of a rung depends in the same scan or at once
    through other rungs; what latches remember is not followed."""
    drivers: dict[str, list[Rung]] = {}
    for each in program.rungs:
        for action in each.actions:
            if action.verb == "coil":
                drivers.setdefault(action.name, []).append(each)
    found: set[str] = set()
    seen = {rung.number}
    left = [rung]
    while left:
        for leaf in leaves(left.pop().circuit):
            device: Device | None = program.by_name.get(leaf.name)
            if isinstance(device, Input | Clock):
                found.add(leaf.name)
            for each in drivers.get(leaf.name, ()):
                if each.number not in seen:
                    seen.add(each.number)
                    left.append(each)
    return frozenset(found)
