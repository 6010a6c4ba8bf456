"""Errors of the program as a whole: who drives what, what shares a terminal, what feeds which load.

These need every rung and every declaration at once, so they run on the built program.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from difflib import get_close_matches
from functools import cached_property
from itertools import islice

from rungs.findings import Finding
from rungs.program.nodes import (
    Action,
    Circuit,
    Contact,
    Counter,
    Device,
    Expect,
    ExpectSteady,
    Input,
    Leaf,
    Output,
    Program,
    Relay,
    SunTime,
    Supply,
    Timer,
    leaves,
)
from rungs.program.worlds import possible

_WORDS = {Relay: "relay", Timer: "timer", Counter: "counter"}


class Known:
    """One circuit, and what was found out about it alone: the names that it reads, leaf by leaf,
    and whether it can close and can open, once that was asked."""

    __slots__ = ("able", "circuit", "reads")

    def __init__(self, circuit: Circuit) -> None:
        self.circuit = circuit
        self.reads: tuple[str, ...] = tuple([leaf.name for leaf in leaves(circuit)])
        self.able: tuple[bool, bool] | None = None


class Facts:
    """What several checks ask of one program, found out once.

    `rungs` are the circuits of the rungs in scan order; `others` those of properties (the condition
    first) and expectations, in file order by kind.
    """

    def __init__(
        self, program: Program, rungs: list[Known] | None = None, others: list[Known] | None = None
    ) -> None:
        self.program = program
        self.rungs = [Known(r.circuit) for r in program.rungs] if rungs is None else rungs
        if others is None:
            some = islice(circuits(program), len(program.rungs), None)
            others = [Known(circuit) for circuit in some]
        self.others = others

    @cached_property
    def driven(self) -> dict[str, list[tuple[int, Action]]]:
        """As `drivers` tells it."""
        return drivers(self.program)

    @cached_property
    def read(self) -> set[str]:
        """The names of all devices that are read anywhere."""
        found: set[str] = set()
        for known in self.rungs:
            found.update(known.reads)
        for known in self.others:
            found.update(known.reads)
        return found

    def first_reader(self, name: str) -> Leaf:
        """The first contact that reads a device that is read."""
        for known in (*self.rungs, *self.others):
            if name in known.reads:
                return leaves(known.circuit)[known.reads.index(name)]
        raise KeyError(name)

    @cached_property
    def _never(self) -> frozenset[str]:
        """The clock windows without length."""
        return frozenset(c.name for c in self.program.clocks if c.begin == c.end)

    def able(self, known: Known) -> tuple[bool, bool]:
        """Whether a circuit of the program can close, and whether it can open."""
        if known.able is None:
            reads = set(known.reads)
            # contacts of different devices that move show any pattern, so the circuit shows both
            if len(reads) == len(known.reads) and reads.isdisjoint(self._never):
                simple = all(isinstance(leaf, Contact) for leaf in leaves(known.circuit))
                known.able = (True, True) if simple else None
            known.able = known.able or possible(known.circuit, self.program)
        return known.able


def check_rules(program: Program, facts: Facts | None = None) -> tuple[Finding, ...]:
    """Every error that the whole program shows."""
    facts = facts or Facts(program)
    return (
        *_coils(facts),
        *_undriven(facts),
        *_terminals(program),
        *_supplies(program),
        *_sun(program),
    )


def drivers(program: Program) -> dict[str, list[tuple[int, Action]]]:
    """For each driven device its actions, each with the number of its rung, in scan order."""
    found: dict[str, list[tuple[int, Action]]] = defaultdict(list)
    for rung in program.rungs:
        for action in rung.actions:
            found[action.name].append((rung.number, action))
    return found


def circuits(program: Program) -> Iterator[Circuit]:
    """Every circuit of the file: of rungs, properties and expectations, in file order by kind."""
    for rung in program.rungs:
        yield rung.circuit
    for item in program.properties:
        if item.when is not None:
            yield item.when
        yield item.circuit
    for scenario in program.scenarios:
        for step in scenario.steps:
            if isinstance(step, Expect | ExpectSteady):
                yield step.circuit


def readers(program: Program) -> dict[str, list[Leaf]]:
    """For each device that is read anywhere, the contacts that read it."""
    found: dict[str, list[Leaf]] = defaultdict(list)
    for circuit in circuits(program):
        for leaf in leaves(circuit):
            if leaf.name:
                found[leaf.name].append(leaf)
    return found


def _coils(facts: Facts) -> Iterator[Finding]:
    for name, actions in facts.driven.items():
        if len(actions) == 1:
            continue
        coils = [(n, a) for n, a in actions if a.verb == "coil"]
        latches = [(n, a) for n, a in actions if a.verb in ("latch", "unlatch", "impulse")]
        for number, action in coils[1:]:
            first_number, first = coils[0]
            if number == first_number:
                yield Finding(
                    "second-coil",
                    f"rung {number} drives '{name}' twice",
                    action.span,
                    "the second time changes nothing",
                    "leave one of them out",
                    ((first.span, "the first one"),),
                )
                continue
            yield Finding(
                "second-coil",
                f"'{name}' has a coil in rung {first_number} and another in rung {number}",
                action.span,
                f"rung {number} would decide alone, and rung {first_number} would do nothing",
                "join the two circuits with 'or' in one rung",
                ((first.span, "the first coil"),),
            )
        if coils and latches:
            number, action = latches[0]
            yield Finding(
                "coil-and-latch",
                f"'{name}' has a coil in rung {coils[0][0]} and is also moved by '{action.verb}'",
                action.span,
                f"the coil sets '{name}' in every scan and undoes what '{action.verb}' does",
                "use latch and unlatch throughout, or one coil",
                ((coils[0][1].span, "the coil"),),
            )


def _undriven(facts: Facts) -> Iterator[Finding]:
    driven, read = facts.driven, facts.read
    for device in facts.program.devices:
        if isinstance(device, Relay):
            moved = device.name in driven
        elif isinstance(device, Timer | Counter):
            moved = any(action.verb == "coil" for _, action in driven.get(device.name, ()))
        else:
            continue
        if not moved and device.name in read:
            yield Finding(
                "never-driven",
                f"the {_WORDS[type(device)]} '{device.name}' is read and no rung drives it",
                facts.first_reader(device.name).span,
                "its contact never moves",
                f"drive it with a rung: rung ... -> {device.name}",
                ((device.name_span, "declared here"),),
            )


def _terminals(program: Program) -> Iterator[Finding]:
    taken: dict[str, Device] = {}
    for device in program.devices:
        if not isinstance(device, Input | Output) or not device.terminal:
            continue
        first = taken.setdefault(device.terminal.casefold(), device)
        if first is not device:
            yield Finding(
                "shared-terminal",
                f"'{device.name}' and '{first.name}' are both at terminal {device.terminal}",
                device.name_span,
                "one wire would move both, or one relay would feed both",
                "give each its own terminal",
                ((first.name_span, "the other one"),),
            )


def _supplies(program: Program) -> Iterator[Finding]:
    supplies = {supply.name: supply for supply in program.supplies}
    for output in program.outputs:
        fed: tuple[Supply, ...] = program.supplies
        if output.supply is not None:
            named = supplies.get(output.supply)
            if named is None:
                close = get_close_matches(output.supply, list(supplies), n=1)
                known = ", ".join(supplies) or "none is declared"
                guess = f"did you mean '{close[0]}'?" if close else f"name a supply ({known})"
                yield Finding(
                    "unknown-name",
                    f"there is no supply '{output.supply}'",
                    output.span,
                    f"nothing would feed '{output.name}'",
                    guess,
                )
                continue
            fed = (named,)
        if output.load is None or not fed:
            continue
        if all(abs(supply.volts - output.load.volts) > 1e-9 for supply in fed):
            volts = " or ".join(f"{supply.volts:g} V" for supply in fed)
            yield Finding(
                "supply-mismatch",
                f"the load of '{output.name}' takes {output.load.volts:g} V and is fed {volts}",
                output.load.span,
                "the load would stay dark, or burn",
                "name the right supply with 'from', or correct the volts",
                tuple((supply.span, f"supply '{supply.name}'") for supply in fed),
            )


def _sun(program: Program) -> Iterator[Finding]:
    if program.site.latitude is not None:
        return
    for clock in program.clocks:
        if isinstance(clock.begin, SunTime) or isinstance(clock.end, SunTime):
            yield Finding(
                "no-place",
                f"'{clock.name}' goes by the sun, and the site has no latitude and longitude",
                clock.span,
                "nobody could say when it closes",
                'write: site zone "Europe/Oslo" latitude 60.39 longitude 5.32',
            )
