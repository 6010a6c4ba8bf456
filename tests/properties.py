"""Random properties, and what is true of them by trying everything.

The second is brute force over the reference interpreter: every state, every pattern of switches and
wires, a power cut before every scan, one scan at a time. It knows no core and no proof.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import product
from random import Random

from rungs.program.nodes import (
    Circuit,
    Clock,
    Compare,
    CompareOp,
    Contact,
    Counter,
    Input,
    Output,
    Parallel,
    Program,
    Property,
    Series,
    Timer,
    leaves,
)
from rungs.prove.witness import Witness
from rungs.scan.observe import holds
from rungs.scan.reference import State, powered_down, scan
from rungs.scan.runner import Panel
from rungs.scan.watch import Watcher

OPS: tuple[CompareOp, ...] = (">=", "<", "==", "!=", ">", "<=")


def random_leaf(rng: Random, program: Program) -> Circuit:
    """A contact or comparison such as only a property may have."""
    device = rng.choice(program.devices)
    negated = rng.random() < 0.4
    roll = rng.random()
    if isinstance(device, Counter) and roll < 0.6:
        return Compare(device.name, rng.choice(OPS), rng.randint(0, 4))
    if isinstance(device, Timer) and roll < 0.3:
        return Contact("timing", device.name, negated)
    if isinstance(device, Output) and roll < 0.25:
        return Contact("load", device.name, negated)
    if isinstance(device, Input) and roll < 0.3:
        return Contact(rng.choice(("broken", "shorted")), device.name, negated)
    if roll > 0.85:
        return Contact(rng.choice(("rising", "falling")), device.name, negated)
    if roll > 0.82:
        return Contact("first_scan", "", negated)
    return Contact("closed", device.name, negated)


def random_circuit(rng: Random, program: Program, size: int) -> Circuit:
    """A circuit of up to `size` leaves."""
    parts = tuple(random_leaf(rng, program) for _ in range(rng.randint(1, size)))
    if len(parts) == 1:
        return parts[0]
    return Series(parts) if rng.random() < 0.65 else Parallel(parts)


def random_property(rng: Random, program: Program, within: Sequence[int] = (0, 10, 30)) -> Property:
    """A never, an always, or a requirement, at once or within some ms."""
    kind = rng.choice(("never", "never", "always", "require", "require"))
    if kind == "require":
        when, then = (random_circuit(rng, program, 2) for _ in range(2))
        return Property("require", "", then, when, rng.choice(within))
    if kind == "always":
        parts = tuple(random_leaf(rng, program) for _ in range(3))
        return Property("always", "", Parallel(parts))
    return Property("never", "", random_circuit(rng, program, 3))


class TooManyError(Exception):
    """More states than trying everything is good for."""


def capped(program: Program, state: State) -> State:
    """The same state as if its scan had been at 0, with ages no larger than any that matters."""
    since = {}
    for name, start in state.since.items():
        device = program.by_name[name]
        age = state.t - start
        if isinstance(device, Input):
            age = min(age, device.debounce)
        elif isinstance(device, Timer) and device.kind == "flasher":
            age %= device.preset + device.off
        elif isinstance(device, Timer):
            age = min(age, device.preset)
        since[name] = -age
    return replace(state, t=0, since=since, moved_by={})


def state_key(state: State) -> tuple[object, ...]:
    """What tells one capped state from another."""
    return (
        state.powered,
        tuple(sorted(state.contacts.items())),
        tuple(sorted(state.coils.items())),
        tuple(sorted(state.counts.items())),
        tuple(sorted(state.since.items())),
        tuple(sorted(state.edges.items())),
        tuple(sorted(state.powers.items())),
    )


def _worlds(
    program: Program, items: Sequence[Property]
) -> list[tuple[dict[str, bool], dict[str, str]]]:
    """Every pattern of circuits, with the wires that make them where a property names wires."""
    named = {
        leaf.name
        for item in items
        for circuit in ([item.circuit] if item.when is None else [item.circuit, item.when])
        for leaf in leaves(circuit)
        if isinstance(leaf, Contact) and leaf.kind in ("broken", "shorted")
    }
    choices: list[list[tuple[str, bool, str]]] = []
    for device in program.inputs:
        some = [(device.name, on, "sound") for on in (False, True)]
        if device.name in named:
            some += [(device.name, False, "broken"), (device.name, True, "shorted")]
        choices.append(some)
    return [
        ({name: on for name, on, _ in each}, {name: wire for name, _, wire in each})
        for each in product(*choices)
    ]


def scans_to_break(program: Program, item: Property, period: int, most: int = 2_000) -> int | None:
    """After how many scans the property can be broken at the earliest, or None if it never can.

    The program has no clocks. Raises TooManyError above `most` states.
    """
    assert not any(isinstance(device, Clock) for device in program.devices)
    assumed = [each for each in program.properties if each.kind == "assume"]
    worlds = _worlds(program, [item, *assumed])
    start = powered_down(program)
    layer: list[tuple[State, int | None]] = [(start, None)]
    seen: set[tuple[object, int | None]] = {(state_key(start), None)}
    depth = 0
    while layer:
        depth += 1
        following: list[tuple[State, int | None]] = []
        for state, unmet in layer:
            for before, running in _befores(program, state, unmet):
                for circuits, wires in worlds:
                    after = scan(program, before, circuits, {}, before.t + period)
                    if any(holds(program, before, after, wires, a.circuit) for a in assumed):
                        continue
                    broken, left = _judged(program, item, before, after, wires, running, period)
                    if broken:
                        return depth
                    settled = capped(program, after)
                    key = (state_key(settled), left)
                    if key not in seen:
                        seen.add(key)
                        following.append((settled, left))
                        if len(seen) > most:
                            raise TooManyError
        layer = following
    return None


def _befores(
    program: Program, state: State, unmet: int | None
) -> Iterator[tuple[State, int | None]]:
    """The state that the next scan begins with: as it is, or after a power cut."""
    yield state, unmet
    if state.powered:
        off = powered_down(program, state)
        yield replace(off, t=0), None


def _judged(
    program: Program,
    item: Property,
    before: State,
    after: State,
    wires: dict[str, str],
    unmet: int | None,
    period: int,
) -> tuple[bool, int | None]:
    """Whether the property is broken after this scan, and for how long a requirement has not been
    met (ms), if it is not."""
    closed = holds(program, before, after, wires, item.circuit)
    if item.when is None:
        return closed == (item.kind == "never"), None
    if closed or not holds(program, before, after, wires, item.when):
        return False, None
    age = 0 if unmet is None else unmet + period
    return age >= item.within, age


def replayed(program: Program, item: Property, witness: Witness) -> list[int]:
    """The times (ms) of the scans that break a property when somebody does what a run says, on the
    reference interpreter; the assumptions of the program have to be kept meanwhile."""
    assumed = tuple(each for each in program.properties if each.kind == "assume")
    watcher = Watcher(replace(program, properties=(item, *assumed)))
    panel = Panel(program, witness.start)
    panel.watchers.append(watcher.see)
    for act in witness.acts:
        panel.run(act.t - 1)
        if act.back is not None:
            panel.switch_power(False)
            panel.pass_to(act.back)
            panel.switch_power(True)
        for name, wire in act.wires:
            panel.fault(name, wire)
        panel.give_circuits(dict(act.circuits))
    panel.run(witness.end)
    assert watcher.contradicted is None
    return [violation.t for violation in watcher.violations]
