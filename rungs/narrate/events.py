"""What each single event does in every situation of a room, all situations at once.

Each event is scanned to rest with everything else held, and it is remembered which outputs moved on
the way: what comes on and goes off again within some scans leaves no trace in the end.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from rungs.narrate.data import Event, EventKind, Fact, FactKind
from rungs.narrate.situations import Room, Variable
from rungs.prove.situations.lanes import columns_of
from rungs.prove.situations.machine import HOLDS, LONGEST, Machine, Scanned, differ

MOST_POWER_UPS = 1 << 14  # lanes


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """An event in the lanes of `can`: those in which it can happen, and after which the panel
    settles with what is assumed of the plant. `before` and `after` are the outputs, `moved` the
    lanes in which an output was not as before in some scan on the way. `restless` are the lanes in
    which the panel does not settle, and `changing` those of them in which an output goes on moving.
    """

    event: Event
    can: int
    before: tuple[int, ...]
    after: tuple[int, ...]
    moved: tuple[int, ...]
    restless: int
    changing: tuple[int, ...]
    variables: tuple[Variable, ...]


@dataclass(frozen=True, slots=True)
class Edge:
    """One clock that moves, by its place among the clocks of the machine, and how."""

    place: int
    kind: EventKind


def outcomes(room: Room) -> Iterator[Outcome]:
    """Every event that can happen in some situation of the room, but for power."""
    if "outcomes" not in room.shared:
        room.shared["outcomes"] = list(_outcomes(room))
    for outcome in room.shared["outcomes"]:
        yield replace(outcome, variables=_still(room, outcome.event))


def _outcomes(room: Room) -> Iterator[Outcome]:
    machine = room.found.machine
    core = machine.core
    for place, index in enumerate(machine.inputs):
        name = core.signals[index].name
        for closed in (True, False):
            if outcome := _moved(room, Event("closes" if closed else "opens", name), place, closed):
                yield outcome
    yield from _clock_outcomes(room)
    for number in machine.counts:
        if outcome := _run_out(room, number):
            yield outcome


def _still(room: Room, event: Event) -> tuple[Variable, ...]:
    """What conditions of an event can speak of: all but what the event itself moves."""
    hidden: set[tuple[str, str]] = {(event.device, "input"), (event.device, "clock")}
    hidden |= {(name, "clock") for name, _ in event.also}
    if event.kind in ("runs out", "goes dark", "lights up"):
        hidden |= {(event.device, "timing")}
    if event.kind in ("goes dark", "lights up"):
        hidden |= {(event.device, "timer")}
    return tuple(v for v in room.variables if (v.fact.name, v.fact.kind) not in hidden)


def _settled(
    room: Room,
    event: Event,
    lanes: int,
    scanned: Scanned,
    given: dict[int, int],
    before: tuple[int, ...],
    variables: tuple[Variable, ...] = (),
) -> Outcome | None:
    """Scan on to rest. `lanes` are those in which the event can happen."""
    machine = room.found.machine
    ones = scanned.kept | lanes | max(before, default=0)
    ones = (1 << max(ones.bit_length(), 1)) - 1
    held = {i: mask for i, mask in given.items() if i != HOLDS}
    held.update((i, 0) for i, e in zip(machine.clocks, machine.events, strict=True) if e)
    live = lanes & scanned.kept & given.get(HOLDS, ones)
    moved = [a ^ b for a, b in zip(scanned.outputs, before, strict=True)]
    last, moves = scanned, live
    late = [0] * len(before)
    for number in range(LONGEST):
        now = machine.step(ones, last.after, held, {}, 0)
        live &= now.kept
        moves = live & differ(last.after, now.after)
        moved = [m | (a ^ b) for m, a, b in zip(moved, now.outputs, before, strict=True)]
        if number >= LONGEST // 2:
            pairs = zip(late, last.outputs, now.outputs, strict=True)
            late = [m | (a ^ b) for m, a, b in pairs]
        last = now
        if not moves:
            break
    can = live & ~moves
    if not can and not moves:
        return None
    return Outcome(
        event,
        can,
        before,
        last.outputs,
        tuple(m & can for m in moved),
        moves,
        tuple(m & moves for m in late),
        variables,
    )


def _moved(room: Room, event: Event, place: int, closed: bool) -> Outcome | None:
    """One input's circuit closes or opens."""
    found = room.found
    machine = found.machine
    index = machine.inputs[place]
    was = found.given[index]
    lanes = found.ones & ~was if closed else was
    if not lanes:
        return None
    given = dict(found.given)
    given[index] = found.ones if closed else 0
    given[HOLDS] = _holding(room)
    scanned = machine.step(found.ones, found.state, given, {}, 0)
    return _settled(room, event, lanes, scanned, given, found.outputs)


def _holding(room: Room) -> int:
    """The situations in which the clocks can stand still."""
    found = room.found
    if not found.machine.clocks:
        return found.ones
    held = [int(found.clocks.holds[vector]) for vector in found.vectors]
    return columns_of(held, 1)[0]


def _run_out(room: Room, number: int) -> Outcome | None:
    """The time of one running timer is over."""
    found = room.found
    machine = found.machine
    timer = machine.core.timers[number]
    lanes = found.state[machine.bits + number] & ~found.state[machine.full_at[number]]
    if timer.kind == "accumulating":
        lanes &= ~_held_at_nought(room, number)
    if not lanes:
        return None
    kind: EventKind = "runs out"
    if timer.name.startswith(f"{timer.device}."):
        kind = "goes dark" if ".on" in timer.name else "lights up"
    given = dict(found.given)
    given[HOLDS] = _holding(room)
    scanned = machine.step(found.ones, found.state, given, {number: lanes}, 0)
    event = Event(kind, timer.device)
    return _settled(room, event, lanes, scanned, given, found.outputs)


def _held_at_nought(room: Room, number: int) -> int:
    """The situations in which an accumulating timer is reset in every scan, and never gets full."""
    found = room.found
    machine = found.machine
    signals = [found.given.get(i, 0) for i in range(len(machine.core.signals))]
    for t, timer in enumerate(machine.core.timers):
        full = found.state[machine.full_at[t]] if t in machine.full_at else found.ones
        signals[timer.due] = found.state[machine.bits + t] & full
    _, _, runs = machine.scan(found.ones, tuple(found.state[: machine.bits]), tuple(signals))
    return runs[3 * number + 1] | runs[3 * number + 2]


# --- clocks -----------------------------------------------------------------------------------


def _clock_outcomes(room: Room) -> Iterator[Outcome]:
    """Each edge of one clock; and edges of several that the calendar never lets come alone."""
    found = room.found
    if not found.machine.clocks:
        return
    steps: dict[tuple[Edge, ...], list[tuple[int, int]]] = {}
    for vector in dict.fromkeys(found.vectors):
        for target in found.clocks.follows[vector]:
            edges = _edges(room, vector, target)
            if edges:
                steps.setdefault(edges, []).append((vector, target))
    told = {edges[0] for edges in steps if len(edges) == 1}
    for edges in sorted(steps, key=lambda e: (len(e), [(each.place, each.kind) for each in e])):
        if len(edges) > 1 and all(edge in told for edge in edges):
            continue
        told |= set(edges)
        if outcome := _clocked(room, edges, dict(steps[edges])):
            yield outcome


def _edges(room: Room, vector: int, target: int) -> tuple[Edge, ...]:
    machine, shows = room.found.machine, room.found.clocks.shows
    found = []
    for place, (was, now) in enumerate(zip(shows[vector], shows[target], strict=True)):
        if machine.events[place]:
            if now:
                found.append(Edge(place, "comes"))
        elif was != now:
            found.append(Edge(place, "begins" if now else "ends"))
    return tuple(found)


def _clocked(room: Room, edges: tuple[Edge, ...], steps: dict[int, int]) -> Outcome | None:
    """Some clocks move in one scan, from each vector of `steps` to another."""
    found = room.found
    machine = found.machine
    names = [machine.core.signals[machine.clocks[edge.place]].name for edge in edges]
    kinds: list[EventKind] = [edge.kind for edge in edges]
    lanes = columns_of([int(vector in steps) for vector in found.vectors], 1)[0]
    if not lanes:
        return None
    given = dict(found.given)
    for edge in edges:
        given[machine.clocks[edge.place]] = 0 if edge.kind == "ends" else found.ones
    still = [int(vector in steps and found.clocks.holds[steps[vector]]) for vector in found.vectors]
    given[HOLDS] = columns_of(still, 1)[0]
    scanned = machine.step(found.ones, found.state, given, {}, 0)
    event = Event(kinds[0], names[0], tuple(zip(names[1:], kinds[1:], strict=True)))
    return _settled(room, event, lanes, scanned, given, found.outputs)


# --- power ------------------------------------------------------------------------------------


def after_cut(room: Room) -> Outcome | None:
    """Power goes and comes back while switches and clocks stay as they are."""
    found = room.found
    machine = found.machine
    state = [column if machine.retained >> i & 1 else 0 for i, column in enumerate(found.state)]
    given = dict(found.given)
    given[HOLDS] = _holding(room)
    scanned = machine.step(found.ones, state, given, {}, found.ones)
    can_first = found.ones
    if machine.clocks:
        can_first = columns_of([int(v in found.clocks.first) for v in found.vectors], 1)[0]
    event = Event("power cut")
    return _settled(room, event, can_first, scanned, given, found.outputs, room.variables)


def power_up(room: Room) -> Outcome | None:
    """Power comes while every switch is at rest: after the very first power-up, and after every
    cut, with all that a cut can leave behind. None where that is too much to look at."""
    found = room.found
    machine, clocks = found.machine, found.clocks
    sides = {device.name: device.side == "NC" for device in found.program.inputs}
    words = [word for word in found.origins if word & machine.first_word]
    firsts = list(clocks.first) if machine.clocks else [0]
    pairs = [(word, vector) for word in words for vector in firsts]
    if not pairs or len(pairs) > MOST_POWER_UPS:
        return None
    ones = (1 << len(pairs)) - 1
    state = columns_of([word for word, _ in pairs], machine.width)
    given = {i: ones * sides[machine.core.signals[i].name] for i in machine.inputs}
    seen: list[Variable] = []
    if machine.clocks:
        shown = clocks.columns([vector for _, vector in pairs])
        given.update(zip((*machine.clocks, HOLDS), shown, strict=True))
        for index, lanes in zip(machine.clocks, shown, strict=False):
            signal = machine.core.signals[index]
            seen.append(
                Variable(Fact(signal.name, "late" if signal.one_scan else "clock", True), lanes)
            )
    seen += _kept(room, state)
    scanned = machine.step(ones, state, given, {}, ones)
    before = tuple(0 for _ in machine.core.outputs)
    return _settled(room, Event("power-up"), ones, scanned, given, before, tuple(seen))


def _kept(room: Room, state: list[int]) -> Iterator[Variable]:
    """What retained devices bring over a power cut."""
    core = room.found.core
    by_name = room.found.program.by_name
    for index, bit in enumerate(core.state):
        if not bit.retained:
            continue
        if bit.kind == "contact":
            kind = type(by_name[bit.device]).__name__.lower()
            yield Variable(Fact(bit.device, _RETAINED[kind], True), state[index])
        elif bit.kind != "count":
            yield Variable(Fact(bit.words, "bit", True), state[index])
    for number in core.numbers:
        if not any(core.state[i].retained for i in number.bits):
            continue
        bits = [state[i] for i in number.bits]
        for least in range(1, min(number.most, 12) + 1):
            yield Variable(Fact(number.name, "count", True, least), _at_least(bits, least))
    machine: Machine = room.found.machine
    for t, at in machine.full_at.items():
        if core.timers[t].retained:
            yield Variable(
                Fact(f"the full time of {core.timers[t].device}", "bit", True), state[at]
            )


_RETAINED: dict[str, FactKind] = {"output": "output", "relay": "relay", "timer": "timer"}


def _at_least(bits: list[int], number: int) -> int:
    """The lanes in which a count (bits lowest first) is `number` or more."""
    found = -1
    for place, bit in enumerate(bits):
        found = bit & found if number >> place & 1 else bit | found
    return found if not number >> len(bits) else 0
