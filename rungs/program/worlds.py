"""Can a circuit close, and can it open? Decided over everything its contacts could show together.

The contacts of a circuit are taken as free, but for what always holds of them: an edge goes with
its contact, a counter has one count, an on-delay that is timing has not timed out. So what is said
here to be impossible is impossible on the panel as well; what is possible here may still never
happen.
"""

from __future__ import annotations

from rungs.program.nodes import (
    Circuit,
    Clock,
    Compare,
    Contact,
    Counter,
    Leaf,
    Program,
    Timer,
    leaves,
)
from rungs.program.nodes import Parallel as ParallelNode

MAX_WORLDS = 1 << 18

# a device's joint states, each as the set of kinds of contact that are then true
_State = frozenset[str]
_PLAIN: tuple[_State, ...] = (frozenset(), frozenset({"closed"}))
_EDGES: tuple[_State, ...] = (
    frozenset(),
    frozenset({"closed"}),
    frozenset({"closed", "rising"}),
    frozenset({"falling"}),
)


def possible(circuit: Circuit, program: Program) -> tuple[bool, bool]:
    """Whether the circuit can close, and whether it can open; (True, True) if it is too wide to
    say.

    Works on all joint states at once: bit i of a mask stands for joint state i.
    """
    if isinstance(circuit, Contact) and circuit.kind == "closed":
        device = program.by_name.get(circuit.name)
        if not (isinstance(device, Clock) and device.begin == device.end):
            return True, True  # a single contact, the commonest circuit of all
    grouped: dict[str, list[Leaf]] = {}
    for leaf in leaves(circuit):
        grouped.setdefault(_group(leaf), []).append(leaf)
    domains = {key: _domain(found, program) for key, found in grouped.items()}
    total = 1
    for domain in domains.values():
        total *= len(domain)
        if total > MAX_WORLDS:
            return True, True
    full = (1 << total) - 1
    masks: dict[Leaf, int] = {}
    stride = 1
    for key, domain in domains.items():
        for leaf in grouped[key]:
            masks[leaf] = _mask([leaf_true(leaf, state) for state in domain], stride, total)
        stride *= len(domain)
    closed = _evaluate(circuit, masks, full)
    return closed != 0, closed != full


def leaf_true(leaf: Leaf, state: _State) -> bool:
    """Whether a contact conducts in one joint state of its device."""
    if isinstance(leaf, Compare):
        return f"{leaf.op}{leaf.number}" in state
    return (leaf.kind in state) != leaf.negated


def _group(leaf: Leaf) -> str:
    # wire faults and loads are told apart from the contact: a fault shows only after debounce
    if isinstance(leaf, Contact) and leaf.kind in ("broken", "shorted", "load"):
        return f"{leaf.kind} {leaf.name}"
    return leaf.name or "first scan"


def _domain(found: list[Leaf], program: Program) -> tuple[_State, ...]:
    kinds = {leaf.kind for leaf in found if isinstance(leaf, Contact)}
    device = program.by_name.get(found[0].name)
    if isinstance(device, Counter):
        return _counter_states(found, device, bool(kinds & {"rising", "falling"}))
    states: tuple[_State, ...]
    if kinds & {"broken", "shorted", "load", "first_scan"}:
        kind = next(iter(kinds))
        states = (frozenset(), frozenset({kind}))
    elif kinds & {"rising", "falling"}:
        states = _EDGES
    else:
        states = _PLAIN
    if isinstance(device, Timer) and "timing" in kinds:
        states = tuple(_with_timing(states, device))
    if isinstance(device, Clock) and device.end is not None and device.begin == device.end:
        states = (frozenset(),)
    return states


def _with_timing(states: tuple[_State, ...], timer: Timer) -> list[_State]:
    joint = []
    for state in states:
        closed = "closed" in state
        match timer.kind:
            case "on-delay" | "accumulating":
                timing = (False,) if closed else (False, True)
            case "pulse":
                timing = (closed,)
            case "off-delay":
                timing = (False, True) if closed else (False,)
            case "flasher":
                timing = (True,) if closed else (False, True)
        joint += [state | {"timing"} if on else state for on in timing]
    return joint


def _counter_states(found: list[Leaf], counter: Counter, edges: bool) -> tuple[_State, ...]:
    compares = [leaf for leaf in found if isinstance(leaf, Compare)]
    limits = {counter.preset} | {leaf.number for leaf in compares}
    counts = sorted({0} | {c for n in limits for c in (n - 1, n, n + 1) if c >= 0})
    states: list[_State] = []
    for count in counts:
        true = {f"{leaf.op}{leaf.number}" for leaf in compares if leaf.holds(count)}
        closed = count >= counter.preset
        state = frozenset(true | {"closed"} if closed else true)
        states.append(state)
        if edges:
            states.append(state | {"rising" if closed else "falling"})
    return tuple(states)


def _mask(values: list[bool], stride: int, total: int) -> int:
    """The bits of all joint states in which a device with these values by state conducts."""
    block = 0
    for index, value in enumerate(values):
        if value:
            block |= ((1 << stride) - 1) << (index * stride)
    period = stride * len(values)
    repeated = block
    while period < total:
        repeated |= repeated << period
        period *= 2
    return repeated & ((1 << total) - 1)


def _evaluate(circuit: Circuit, masks: dict[Leaf, int], full: int) -> int:
    if isinstance(circuit, Contact | Compare):
        return masks[circuit]
    if isinstance(circuit, ParallelNode):
        closed = 0
        for part in circuit.parts:
            closed |= _evaluate(part, masks, full)
        return closed
    closed = full
    for part in circuit.parts:
        closed &= _evaluate(part, masks, full)
    return closed
