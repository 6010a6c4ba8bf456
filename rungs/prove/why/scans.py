"""One scan taken down: the record of it, what its rungs did, and what a device shows in a state.

Explanations, and the check of them, look at single scans through this file alone, so that both mean
the same by a device that is on.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field, replace
from typing import assert_never

from rungs.program.nodes import (
    Action,
    Circuit,
    Contact,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    Timer,
    leaves,
)
from rungs.prove.why.nodes import Kind
from rungs.scan.forces import Forces, hold, work_held
from rungs.scan.reference import State, begin_scan, closed, is_timing
from rungs.scan.runner import WireFault


@dataclass(frozen=True, slots=True)
class Record:
    """One scan, or the moment at which the power went (`after` is then without power).

    `before` and `after` are the states around it; `circuits`, `operated` and `wires` are those of
    each input, the actuator being what the circuit says where the wire is sound; `wall` is the wall
    time of the scan, ms UTC. `forces` are the contacts that were held against the program in it.
    """

    t: int
    before: State
    after: State
    circuits: Mapping[str, bool]
    operated: Mapping[str, bool]
    wires: Mapping[str, WireFault]
    wall: int
    forces: Forces = field(default_factory=dict)


@dataclass(frozen=True, slots=True)
class Shown:
    """What a device showed at one point of a scan."""

    contact: bool
    coil: bool
    timing: bool
    count: int

    def of(self, kind: Kind) -> bool | int:
        """What is asked about of it. No device shows the other kinds by itself."""
        match kind:
            case "contact":
                return self.contact
            case "coil":
                return self.coil
            case "timing":
                return self.timing
            case "count":
                return self.count
            case "load" | "rising" | "falling" | "first_scan":
                raise AssertionError("no device shows this by itself")
            case _:
                assert_never(kind)


@dataclass(frozen=True, slots=True)
class Worked:
    """What one rung did in one scan: its power, whether each contact (in reading order) conducted,
    and what each device it acts on showed before and after."""

    power: bool
    conducts: tuple[bool, ...]
    before: Mapping[str, Shown]
    after: Mapping[str, Shown]


def show(program: Program, state: State, name: str) -> Shown:
    """What a device shows in a state."""
    device = program.by_name[name]
    timing = isinstance(device, Timer) and is_timing(program, state, name)
    return Shown(
        state.contacts.get(name, False),
        state.coils.get(name, False),
        timing,
        state.counts.get(name, 0),
    )


def load_is_on(output: Output, state: State) -> bool:
    """Whether the load of an output has its supply: on an NC contact, while the coil is off."""
    return state.powered and state.contacts[output.name] != (output.side == "NC")


def begun(program: Program, record: Record) -> State:
    """A scan with inputs and clocks read, forced contacts held, and no rung worked yet; the state
    is the caller's."""
    clocks = {c.name: record.after.contacts[c.name] for c in program.clocks}
    now = begin_scan(program, record.before, record.circuits, clocks, record.t)
    hold(now, record.forces)
    return now


def work(program: Program, record: Record) -> Iterator[Worked]:
    """What each rung did in a scan, in scan order; nothing without power."""
    if not record.after.powered:
        return
    before, now = record.before, begun(program, record)
    for rung in program.rungs:
        conducts = tuple(closed(program, before, now, leaf) for leaf in leaves(rung.circuit))
        names = dict.fromkeys(action.name for action in rung.actions)
        was = {name: show(program, now, name) for name in names}
        work_held(program, before, now, rung, record.forces)
        after = {name: show(program, now, name) for name in names}
        yield Worked(now.powers[rung.number], conducts, was, after)


def forced(rung: Rung, conducts: Mapping[int, bool], first: bool) -> Rung:
    """The rung with some of its contacts (numbered in reading order) held closed or open.

    `first` says whether the scan is a first one: a contact of `first_scan`, negated or not, is the
    constant that a held contact becomes.
    """
    number = -1

    def held(circuit: Circuit) -> Circuit:
        nonlocal number
        if isinstance(circuit, Series | Parallel):
            return replace(circuit, parts=tuple(held(part) for part in circuit.parts))
        number += 1
        if number not in conducts:
            return circuit
        return Contact("first_scan", "", negated=first != conducts[number])

    return replace(rung, circuit=held(rung.circuit))


def acts_on(rung: Rung, name: str) -> Action:
    """The last action of a rung on a device, which is the one that decides."""
    return next(action for action in reversed(rung.actions) if action.name == name)


def drives(rung: Rung, name: str) -> bool:
    """Whether the rung is the one with the coil of a device."""
    return any(action.name == name and action.verb == "coil" for action in rung.actions)
