"""The set of situations for one device: its own cone of the logic, searched to the end.

Each device is looked at through what it depends on alone, because a panel has as many situations
as its parts have between them, multiplied, while most sentences need a handful.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass, field
from typing import Any

from rungs.core.nodes import PERIOD, Core
from rungs.core.patterns import TooLargeError
from rungs.core.reduce import cone, reduce
from rungs.core.watch import Ask, watch
from rungs.narrate.data import Aspect, Fact, FactKind
from rungs.program.nodes import (
    Circuit,
    Clock,
    Compare,
    Contact,
    Counter,
    Device,
    Input,
    Output,
    Parallel,
    Program,
    Property,
    Relay,
    Timer,
    leaves,
)
from rungs.prove.budget import Budget
from rungs.prove.clocks.dated import Dates, clock_names
from rungs.prove.situations.found import Situations, collected
from rungs.prove.situations.machine import Machine
from rungs.prove.situations.pushes import clocks_of
from rungs.prove.situations.search import MOST_STATES, Search

MOST_INPUTS = 16
MOST_CLOCKS = 12
MOST_COUNTS = 12  # values of a counter that conditions may speak of


@dataclass(frozen=True, slots=True)
class Target:
    """What is told of: an aspect of a device."""

    device: str
    aspect: Aspect


@dataclass(frozen=True, slots=True)
class Variable:
    """Something that a condition may name, and the situations (as lanes) in which it holds."""

    fact: Fact
    lanes: int


@dataclass(frozen=True, slots=True, eq=False)
class Room:
    """The situations of one target: `shows` is its place among the core's outputs (of a counter,
    its thresholds, lowest first), `variables` what conditions can see. `reason` tells why there may
    be other situations; it is empty if there are none. `shared` is for what is worked out once for
    all targets that depend on the same signals and the same state."""

    target: Target
    found: Situations
    shows: tuple[int, ...]
    variables: tuple[Variable, ...]
    reason: str
    shared: dict[str, Any]


def targets_of(device: Device) -> tuple[Target, ...]:
    """What is told of a device that rungs drive."""
    match device:
        case Timer(kind="off-delay"):
            return Target(device.name, "contact"), Target(device.name, "timing")
        case Timer(kind="pulse"):
            return (Target(device.name, "contact"),)
        case Timer(kind="flasher" | "accumulating"):
            return (Target(device.name, "timing"),)
        case Timer():
            return (Target(device.name, "coil"),)
        case Counter():
            return (Target(device.name, "count"),)
        case Output() | Relay():
            return (Target(device.name, "contact"),)
        case Input() | Clock():
            return ()


@dataclass(frozen=True, slots=True, eq=False)
class _Group:
    """The situations of some targets, and the place of each output of their core."""

    found: Situations
    place: dict[str, int]
    reason: str
    shared: dict[str, Any] = field(default_factory=dict)


class Rooms:
    """Makes the rooms of one program; what they share is worked out once."""

    def __init__(self, program: Program, period: int = PERIOD) -> None:
        self.program = program
        self.dates = Dates(program, period)
        self.counts = {c.name: _thresholds(program, c) for c in program.counters}
        self.assumed = tuple(
            (f"assume {n}", item)
            for n, item in enumerate(program.properties)
            if item.kind == "assume" and not _names_wires(item)
        )
        asks = [Ask(name, (item.circuit,)) for name, item in self.assumed]
        for timer in program.timers:
            timing, closed = Contact("timing", timer.name), Contact("closed", timer.name)
            asks.append(Ask(f"timing {timer.name}", (timing,)))
            asks.append(Ask(f"coil {timer.name}", (Parallel((closed, timing)),)))
        for counter in program.counters:
            for number in self.counts[counter.name]:
                asks.append(Ask(f"{counter.name} {number}", (Compare(counter.name, ">=", number),)))
        self.core = watch(program, asks, period)
        self.reads = _reads(program)
        self._leaves = {o.name: _leaves_of(cone(self.core, [o.name])) for o in self.core.outputs}
        self._groups: dict[frozenset[str], _Group] = {}

    def room(self, target: Target, budget: Budget, most: int = MOST_STATES) -> Room:
        """The room of a target. Raises TooLargeError where there is no hope."""
        shown = self._names(target)
        assumed = self._bearing(shown)
        whole = frozenset(_leaves_of(cone(self.core, [*shown, *assumed])))
        group = self._groups.get(whole)
        if group is None:
            group = self._group(whole, budget, most)
            if not group.reason:
                self._groups[whole] = group
        found, place = group.found, group.place
        return Room(
            target,
            found,
            tuple(place[name] for name in shown),
            tuple(self._variables(found, place, shown)),
            group.reason,
            group.shared,
        )

    def _group(self, whole: frozenset[str], budget: Budget, most: int) -> _Group:
        """The situations as far as these signals and state bits tell them apart, with everything
        that needs no others."""
        keep = [o.name for o in self.core.outputs if self._leaves[o.name] <= whole]
        core = reduce(self.core, keep)
        assumed = [name for name, _ in self.assumed if name in keep]
        machine = Machine(self.program, core, assumed, bool(clock_names(core)))
        if len(machine.clocks) > MOST_CLOCKS or len(machine.inputs) > MOST_INPUTS:
            raise TooLargeError(
                f"{len(machine.inputs)} inputs and {len(machine.clocks)} clocks take part"
            )
        dates = self.dates if machine.clocks else None
        clocks = clocks_of(machine, dates)
        # what the calendar took is not taken from the search
        fresh = Budget(budget.seconds, budget.megabytes, budget.cancelled)
        search = Search(machine, clocks, fresh, most)
        search.run()
        found = collected(search, dates, real=False)
        place = {output.name: n for n, output in enumerate(core.outputs)}
        return _Group(found, place, search.reason)

    def _names(self, target: Target) -> tuple[str, ...]:
        """The outputs of the core that show a target."""
        match target.aspect:
            case "contact":
                return (target.device,)
            case "coil" | "timing":
                return (f"{target.aspect} {target.device}",)
            case "count":
                return tuple(f"{target.device} {n}" for n in self.counts[target.device])

    def _bearing(self, shown: Sequence[str]) -> list[str]:
        """The names of the assumptions that bear on a target."""
        read = {signal.device for signal in cone(self.core, shown).signals}
        return [name for name, item in self.assumed if self._under(item.circuit) & read]

    def _near(self, shown: Sequence[str]) -> set[str]:
        """The devices that a target reads, straight or through others."""
        names = [name for text in shown for name in text.split() if name in self.program.by_name]
        return _closure(self.reads, names)

    def _under(self, circuit: Circuit) -> set[str]:
        return _closure(self.reads, [leaf.name for leaf in leaves(circuit) if leaf.name])

    def _variables(
        self, found: Situations, place: dict[str, int], shown: Sequence[str]
    ) -> Iterable[Variable]:
        """What can be seen of the devices that the target reads."""
        core, by_name = found.core, self.program.by_name
        near = self._near(shown)
        for index, lanes in found.given.items():
            signal = core.signals[index]
            if not signal.one_scan:
                kind: FactKind = "input" if signal.kind == "input" else "clock"
                yield Variable(Fact(signal.name, kind, True), lanes)
        for name, n in place.items():
            words = name.split()
            about = words[0] if words[-1].isdigit() else words[-1]
            if about not in near or (name in shown and len(shown) == 1):
                continue
            lanes = found.outputs[n]
            device = by_name.get(name)
            if isinstance(device, Output):
                yield Variable(Fact(name, "output", True), lanes)
            elif isinstance(device, Relay):
                yield Variable(Fact(name, "relay", True), lanes)
            elif isinstance(device, Timer):
                yield Variable(Fact(name, "timer", True), lanes)
            elif words[0] == "timing":
                yield Variable(Fact(words[1], "timing", True), lanes)
            elif words[-1].isdigit():
                yield Variable(Fact(words[0], "count", True, int(words[1])), lanes)


def _leaves_of(core: Core) -> set[str]:
    return {s.name for s in core.signals} | {b.name for b in core.state}


def _names_wires(item: Property) -> bool:
    contacts = [leaf for leaf in leaves(item.circuit) if isinstance(leaf, Contact)]
    return any(leaf.kind in ("broken", "shorted") for leaf in contacts)


def _thresholds(program: Program, counter: Counter) -> tuple[int, ...]:
    """Counts worth telling apart: all of them if they are few, else those that a contact tells
    apart and their neighbours."""
    told = {1, counter.preset}
    for rung in program.rungs:
        for leaf in leaves(rung.circuit):
            if isinstance(leaf, Compare) and leaf.name == counter.name:
                told |= {leaf.number, leaf.number + 1}
    if max(told) <= MOST_COUNTS:
        return tuple(range(1, max(told) + 1))
    return tuple(sorted(n for t in told for n in (t - 1, t) if n > 0))


def _reads(program: Program) -> dict[str, set[str]]:
    """For each device the devices that the rungs driving it read."""
    reads: dict[str, set[str]] = {}
    for rung in program.rungs:
        names = {leaf.name for leaf in leaves(rung.circuit) if leaf.name}
        for action in rung.actions:
            reads.setdefault(action.name, set()).update(names)
    return reads


def _closure(reads: dict[str, set[str]], names: Collection[str]) -> set[str]:
    found: set[str] = set()
    left = list(names)
    while left:
        name = left.pop()
        if name not in found:
            found.add(name)
            left += reads.get(name, ())
    return found
