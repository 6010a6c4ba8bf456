"""The reference interpreter: what one scan does, written to be read beside the language reference.

It is the executable specification. Nothing here is fast on purpose; every other engine is tested
against it. A scan is pure: the same program, state, circuits, clocks and time give the same result.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import assert_never

from rungs.program.nodes import (
    MAX_COUNT,
    Action,
    Circuit,
    Compare,
    Contact,
    Counter,
    Input,
    Output,
    Parallel,
    Program,
    Relay,
    Rung,
    Series,
    Timer,
)


@dataclass(slots=True)
class State:
    """The panel at the end of one scan. Treat it as frozen: a scan copies it and returns another.

    contacts  every device's contact, closed or not (for an input: its image, after debounce)
    coils     each timer's coil
    counts    each counter's count, and the ms that each accumulating timer holds
    since     when each running timer started, and when each bouncing input began to differ (ms)
    edges     what each edge contact saw, by its memory number
    powers    the power of each rung, by its number
    moved_by  the rung that last moved each device, and the time of that scan (for explanations)
    """

    t: int = -1
    first: bool = False
    powered: bool = False
    contacts: dict[str, bool] = field(default_factory=dict)
    coils: dict[str, bool] = field(default_factory=dict)
    counts: dict[str, int] = field(default_factory=dict)
    since: dict[str, int] = field(default_factory=dict)
    edges: dict[int, bool] = field(default_factory=dict)
    powers: dict[int, bool] = field(default_factory=dict)
    moved_by: dict[str, tuple[int, int]] = field(default_factory=dict)


def powered_down(program: Program, before: State | None = None) -> State:
    """The state without power, before the next first scan: only retained devices keep theirs."""
    old = before or State()
    off = State(t=old.t)
    for device in program.devices:
        kept = isinstance(device, Output | Relay | Timer | Counter) and device.retained
        off.contacts[device.name] = kept and old.contacts.get(device.name, False)
        if isinstance(device, Counter | Timer):
            off.counts[device.name] = old.counts.get(device.name, 0) if kept else 0
    return off


def scan(
    program: Program,
    before: State,
    circuits: Mapping[str, bool],
    clocks: Mapping[str, bool],
    t: int,
) -> State:
    """One scan at time t (ms): the state that follows `before`.

    `circuits` says of every input whether its circuit is closed, `clocks` of every clock whether
    its contact is. A `before` without power makes this the first scan.
    """
    now = begin_scan(program, before, circuits, clocks, t)
    for rung in program.rungs:
        work_rung(program, before, now, rung)
    return now


def begin_scan(
    program: Program,
    before: State,
    circuits: Mapping[str, bool],
    clocks: Mapping[str, bool],
    t: int,
) -> State:
    """Read all inputs and clocks into the image; the rungs are still to be worked."""
    now = State(
        t,
        not before.powered,
        True,
        dict(before.contacts),
        dict(before.coils),
        dict(before.counts),
        dict(before.since),
        dict(before.edges),
        dict(before.powers),
        dict(before.moved_by),
    )
    for device in program.inputs:
        _read_input(now, device, circuits[device.name])
    for clock in program.clocks:
        now.contacts[clock.name] = clocks[clock.name]
    return now


def _read_input(now: State, device: Input, circuit: bool) -> None:
    name = device.name
    if now.first or circuit == now.contacts[name]:
        now.since.pop(name, None)
        now.contacts[name] = circuit
    elif now.t - now.since.setdefault(name, now.t) >= device.debounce:
        del now.since[name]
        now.contacts[name] = circuit


def work_rung(program: Program, before: State, now: State, rung: Rung) -> None:
    """Work one rung of the scan that is under way in `now`; each action takes effect at once."""
    power = closed(program, before, now, rung.circuit)
    gained = power and not now.first and not before.powers[rung.number]
    now.powers[rung.number] = power
    for action in rung.actions:
        name = action.name
        was = now.contacts[name]
        now.contacts[name] = _act(program, before, now, action, power, gained)
        if now.contacts[name] != was:
            now.moved_by[name] = (rung.number, now.t)


def closed(program: Program, before: State, now: State, circuit: Circuit) -> bool:
    """Whether a circuit conducts at this point of the scan. Every contact is looked at, always:
    an edge contact that was skipped would remember an old state."""
    match circuit:
        case Series():
            return all([closed(program, before, now, part) for part in circuit.parts])
        case Parallel():
            return any([closed(program, before, now, part) for part in circuit.parts])
        case Compare():
            return circuit.holds(now.counts[circuit.name])
        case Contact():
            return _contact(program, before, now, circuit) != circuit.negated
        case _:
            assert_never(circuit)


def _contact(program: Program, before: State, now: State, leaf: Contact) -> bool:
    match leaf.kind:
        case "closed":
            return now.contacts[leaf.name]
        case "first_scan":
            return now.first
        case "timing":
            return is_timing(program, now, leaf.name)
        case "rising" | "falling":
            sees = now.contacts[leaf.name]
            now.edges[leaf.memory] = sees
            saw = before.edges.get(leaf.memory, sees)  # nothing seen before: no edge
            return sees != saw and sees == (leaf.kind == "rising")
        case "broken" | "shorted" | "load":
            raise AssertionError("the checker keeps wire faults and loads out of rungs")
        case _:
            assert_never(leaf.kind)


def is_timing(program: Program, now: State, name: str) -> bool:
    """Whether a timer is timing: its coil is on and it has not timed out, or, for off-delay and
    pulse, its time is running."""
    timer = program.by_name[name]
    assert isinstance(timer, Timer)
    match timer.kind:
        case "off-delay" | "pulse":
            return name in now.since
        case "flasher":
            return now.coils.get(name, False)
        case "on-delay" | "accumulating":
            return now.coils.get(name, False) and not now.contacts[name]
        case _:
            assert_never(timer.kind)


def _act(
    program: Program, before: State, now: State, action: Action, power: bool, gained: bool
) -> bool:
    """Carry out one action; what the device's contact then shows."""
    name = action.name
    device = program.by_name[name]
    contact = now.contacts[name]
    match action.verb:
        case "coil":
            if isinstance(device, Timer):
                return _drive_timer(before, now, device, power, gained)
            if isinstance(device, Counter):
                now.counts[name] = min(now.counts[name] + gained, MAX_COUNT)
                return now.counts[name] >= device.preset
            return power
        case "latch":
            return contact or power
        case "unlatch":
            return contact and not power
        case "impulse":
            return contact != gained
        case "down":
            assert isinstance(device, Counter)
            now.counts[name] = max(now.counts[name] - gained, 0)
            return now.counts[name] >= device.preset
        case "reset":
            if power:
                now.counts[name] = 0
            return contact and not power
        case _:
            assert_never(action.verb)


def _drive_timer(before: State, now: State, timer: Timer, power: bool, gained: bool) -> bool:
    name, t, since = timer.name, now.t, now.since
    was_on = before.coils.get(name, False)
    now.coils[name] = power
    match timer.kind:
        case "on-delay":
            if not power:
                since.pop(name, None)
                return False
            return t - since.setdefault(name, t) >= timer.preset
        case "off-delay":
            if power:
                since.pop(name, None)
                return True
            if was_on:
                since[name] = t
            if name in since and t - since[name] >= timer.preset:
                del since[name]
            return name in since
        case "pulse":
            if name in since:
                if t - since[name] >= timer.preset:
                    del since[name]
            elif gained:
                since[name] = t
            return name in since
        case "accumulating":
            if power and was_on:
                now.counts[name] = min(now.counts[name] + t - before.t, timer.preset)
            return now.counts[name] >= timer.preset
        case "flasher":
            if not power:
                since.pop(name, None)
                return False
            return (t - since.setdefault(name, t)) % (timer.preset + timer.off) < timer.preset
        case _:
            assert_never(timer.kind)


def same(program: Program, one: State, other: State) -> bool:
    """Whether two states differ in nothing but elapsed times. If a scan changed nothing, further
    scans with the same circuits and clocks change nothing, until a time runs out."""
    return (
        one.powered == other.powered
        and one.contacts == other.contacts
        and one.coils == other.coils
        and one.since == other.since
        and one.edges == other.edges
        and one.powers == other.powers
        and all(one.counts[c.name] == other.counts[c.name] for c in program.counters)
    )


def next_expiry(program: Program, now: State) -> int | None:
    """The first time after this scan (ms) at which a timer or a debounce runs out, if one runs."""
    times = [
        now.since[device.name] + device.debounce
        for device in program.inputs
        if device.name in now.since
    ]
    for timer in program.timers:
        name = timer.name
        start = now.since.get(name)
        if timer.kind == "accumulating":
            if now.coils.get(name, False) and now.counts[name] < timer.preset:
                times.append(now.t + timer.preset - now.counts[name])
        elif start is None:
            continue
        elif timer.kind == "flasher":
            cycle = timer.preset + timer.off
            phase = (now.t - start) % cycle
            times.append(now.t - phase + (timer.preset if phase < timer.preset else cycle))
        else:
            times.append(start + timer.preset)
    return min((time for time in times if time > now.t), default=None)
