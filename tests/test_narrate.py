"""The sequence of operation says what the reference interpreter does: no more, no less.

Sentences are played. Whenever an event happens in a settled panel, each device told of does what
its sentences say, whether they say something or nothing; and each contact of a condition is needed,
which a played run shows.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import replace
from random import Random

import pytest

from rungs.narrate.build import narrate
from rungs.narrate.data import Event, EventKind, Fact, Narration, Sentence
from rungs.narrate.effects import sentences
from rungs.narrate.events import Outcome, outcomes
from rungs.narrate.situations import Room, Rooms, Target
from rungs.program.nodes import Input, Output, Program, Relay, Timer
from rungs.prove.budget import Budget
from rungs.prove.situations.lanes import lanes_of
from rungs.scan.reference import State, is_timing, next_expiry
from rungs.scan.runner import Panel
from tests.strategies import random_program

SETTLING = 1_000  # ms
QUIET = 1_300  # ms before the next timer, so that nothing runs out while the panel settles
NOON = 1_795_608_000_000  # 2026-11-25 12:00 UTC, round which the clocks of these programs move
Told = dict[tuple[Event, str, str], list[Sentence]]


def slow(program: Program) -> Program:
    """The program without debounce, and with times so long and different that the panel settles
    between any two ends."""
    devices = []
    for number, device in enumerate(program.devices):
        if isinstance(device, Timer):
            off = 3_100 + 190 * number if device.off else 0
            device = replace(device, preset=2_000 + 170 * number, off=off)
        elif isinstance(device, Input):
            device = replace(device, debounce=0)
        devices.append(device)
    return replace(program, devices=tuple(devices))


def panels(seed: int, count: int, kind: str = "plain") -> Iterator[Program]:
    """Random programs of inputs and relays alone (`plain`), and with `timers` or `clocks`.

    Nothing in them counts down, for then each count is a state of its own.
    """
    rng = Random(seed)
    while count:
        program = random_program(rng, 9)
        down = any(action.verb == "down" for rung in program.rungs for action in rung.actions)
        clocks, timers = bool(program.clocks), bool(program.timers)
        found = "clocks" if clocks else "timers" if timers else "plain"
        if not down and found == kind:
            count -= 1
            yield slow(program)


# --- what the reference interpreter shows -----------------------------------------------------


def aspect(program: Program, state: State, target: Target) -> int:
    """How an aspect of a device stands."""
    match target.aspect:
        case "contact":
            return state.contacts[target.device]
        case "coil":
            return state.coils[target.device]
        case "timing":
            return is_timing(program, state, target.device)
        case "count":
            return state.counts[target.device]


def fact_holds(program: Program, state: State, fact: Fact) -> bool:
    """Whether a contact stands as a condition says."""
    assert fact.kind not in ("bit", "late"), "a condition on what nobody can see"
    if fact.kind == "timing":
        return is_timing(program, state, fact.name) == fact.value
    if fact.kind == "count":
        return (state.counts[fact.name] >= fact.number) == fact.value
    return state.contacts[fact.name] == fact.value


def holds(program: Program, state: State, sentence: Sentence) -> bool:
    """Whether the condition of a sentence is true before its event."""
    terms = sentence.condition
    return terms is None or any(all(fact_holds(program, state, f) for f in t) for t in terms)


def watching(seen: list[State]) -> Callable[..., None]:
    """Puts each scan that is made into a list."""
    return lambda before, after, wires: seen.append(after)


def endings(program: Program, panel: Panel) -> dict[str, int]:
    """For each timer that runs the scan in which its time is over."""
    times = {}
    for timer in program.timers:
        at = next_expiry(replace(program, devices=(timer,)), panel.state)
        if timer.kind == "accumulating":
            gathered = panel.state.counts[timer.name] > panel.before.counts[timer.name]
            at = at if gathered else None  # it is held at nought
        if at is not None:
            times[timer.name] = -(-at // panel.period) * panel.period
    return times


def ending(program: Program, panel: Panel) -> tuple[int | None, list[Timer]]:
    """The scan in which the next times are over, and the timers whose they are."""
    times = endings(program, panel)
    soonest = min(times.values(), default=None)
    return soonest, [t for t in program.timers if times.get(t.name) == soonest]


def happen(program: Program, panel: Panel, rng: Random) -> tuple[Event | None, State]:
    """Let one thing happen to a settled panel, up to the scan before it shows; the event (None for
    two at once) and the state before it."""
    soonest, ends = ending(program, panel)
    edge = panel.wall.next_change(panel.state.t) if program.clocks else None
    if edge is not None:
        edge = -(-edge // panel.period) * panel.period
    first = min((t for t in (soonest, edge) if t is not None), default=None)
    if first is not None and (first - panel.now < QUIET or rng.random() < 0.4):
        panel.run(first - panel.period)
        before = panel.state
        if first == edge:
            return (None if first == soonest else clock_event(program, panel)), before
        kind: EventKind = "runs out"
        if ends[0].kind == "flasher":
            kind = "goes dark" if before.contacts[ends[0].name] else "lights up"
        return (Event(kind, ends[0].name) if len(ends) == 1 else None), before
    before = panel.state
    if rng.random() < 0.06 and not any(clock.catch_up for clock in program.clocks):
        panel.switch_power(False)
        panel.switch_power(True)
        return Event("power cut"), before
    device = rng.choice(program.inputs)
    closed = not panel.circuits[device.name]
    panel.give_circuits({device.name: closed})
    return Event("closes" if closed else "opens", device.name), before


def clock_event(program: Program, panel: Panel) -> Event | None:
    """The one clock that moves in the next scan; None if several do."""
    now = panel.wall.peek(panel.next_scan_at())
    moved = [c for c in program.clocks if now[c.name] != panel.state.contacts[c.name]]
    if len(moved) != 1:
        return None
    clock = moved[0]
    kind: EventKind = "begins" if now[clock.name] else "ends"
    return Event("comes" if clock.end is None else kind, clock.name)


def targets_told(n: Narration, event: Event) -> Iterator[Target]:
    """The aspects of devices of which a narration tells all."""
    unknown = {each.device for each in n.unworked}
    for name in (*n.outputs, *n.helpers):
        device = n.program.by_name[name]
        if name in unknown or name == event.device:
            continue
        if isinstance(device, Output | Relay):
            yield Target(name, "contact")
        elif event.kind == "power cut":
            continue
        elif isinstance(device, Timer):
            kinds = {"off-delay": ("contact", "timing"), "pulse": ("contact",)}
            more = {"on-delay": ("coil",), "accumulating": ("timing",), "flasher": ("timing",)}
            for word in {**kinds, **more}[device.kind]:
                yield Target(name, word)  # type: ignore[arg-type]
        else:
            yield Target(name, "count")


def compare(n: Narration, told: Told, event: Event, before: State, seen: list[State]) -> int:
    """Hold what was seen against the sentences; how many changes there were."""
    program, changes = n.program, 0
    tops = Rooms(program).counts if program.counters else {}
    for target in targets_told(n, event):
        some = told.get((event, target.device, target.aspect), [])
        said = {s.becomes for s in some if s.exact and holds(program, before, s)}
        doubt = {s.becomes for s in some if not s.exact and holds(program, before, s)}
        was, now = aspect(program, before, target), aspect(program, seen[-1], target)
        moved = any(aspect(program, state, target) != was for state in seen)
        changes += was != now
        where = (target, event, was, now, some)
        if target.aspect == "count":
            # no contact tells larger counts apart, and nothing is said of them
            top = tops[target.device][-1]
            was, now = min(was, top), min(now, top)
            if was != now:
                does = {"counts up"} if now > was else {"counts down", "goes to nought"}
                assert said & does, where
            elif was < top:
                assert not said - ({"counts down", "goes to nought"} if not was else set()), where
            continue
        if not was:
            assert bool(now) == bool(said & {"comes on", "flips"}) or "comes on" in doubt, where
            pulse = moved and not now
            assert pulse == bool(not now and "pulses on" in said) or "pulses on" in doubt, where
        else:
            assert bool(now) != bool(said & {"goes off", "flips"}) or "goes off" in doubt, where
            pulse = moved and bool(now)
            assert pulse == bool(now and "pulses off" in said) or "pulses off" in doubt, where
    return changes


def by_event(n: Narration) -> Told:
    """The sentences by what they are about."""
    told: Told = {}
    for each in n.sentences:
        told.setdefault((each.event, each.device, each.aspect), []).append(each)
    return told


def play(n: Narration, rng: Random, events: int) -> int:
    """Play a random run against a narration; how many changes it saw."""
    program, told, changes = n.program, by_event(n), 0
    panel = Panel(program, NOON)
    panel.give_circuits({d.name: rng.random() < 0.5 for d in program.inputs})
    seen: list[State] = []
    panel.watchers.append(watching(seen))
    if not panel.settle(SETTLING):
        return 0
    for _ in range(events):
        event, before = happen(program, panel, rng)
        seen.clear()
        times = endings(program, panel)
        if not panel.settle(SETTLING):
            break
        edge = panel.wall.next_change(before.t + panel.period) if program.clocks else None
        by_itself = [t for t in (edge, *times.values()) if t and t > before.t + panel.period]
        if event is None or min(by_itself, default=panel.now + 1) <= panel.now:
            continue
        changes += compare(n, told, event, before, seen)
    return changes


@pytest.mark.parametrize(("kind", "count"), [("plain", 45), ("timers", 32), ("clocks", 18)])
def test_every_change_in_a_random_run_is_told_and_nothing_else(kind: str, count: int) -> None:
    rng = Random(5)
    changes = told = 0
    for program in panels(11, count, kind):
        n = narrate(program, Budget(60), beside=False)
        assert not n.unworked
        told += len(n.sentences)
        changes += sum(play(n, rng, 20) for _ in range(2))
    assert changes > 2 * count  # the runs were not idle
    assert told > 3 * count


# --- each contact of a condition is needed ----------------------------------------------------


def weaker(sentence: Sentence) -> Iterator[Sentence]:
    """The sentence with one contact, or one term, left out of its condition."""
    assert sentence.condition is not None
    for place, term in enumerate(sentence.condition):
        others = sentence.condition[:place] + sentence.condition[place + 1 :]
        if others:
            yield replace(sentence, condition=others)
        for gone in range(len(term)):
            less = term[:gone] + term[gone + 1 :]
            yield replace(sentence, condition=(*others, less) if less else None)


def lane_holds(outcome: Outcome, lane: int, sentence: Sentence) -> bool:
    """The condition of a sentence in one situation, told from its columns."""
    if sentence.condition is None:
        return True
    columns = {v.fact: v.lanes for v in outcome.variables}
    return any(
        all(bool(columns[replace(f, value=True)] >> lane & 1) == f.value for f in term)
        for term in sentence.condition
    )


def played_wrong(
    room: Room, outcome: Outcome, original: Sentence, changed: Sentence
) -> bool | None:
    """Whether a changed sentence is wrong in some situation, shown by a run of the reference
    interpreter in which the device does not do what the sentence says. None if another part of
    the panel never comes to rest in any of them."""
    program = room.found.program
    n, restless = room.shows[0], False
    off = original.becomes in ("comes on", "pulses on")
    can = outcome.can & (~outcome.before[n] if off else outcome.before[n])
    if original.becomes == "flips":
        can = outcome.can
    for lane in lanes_of(can):
        if lane_holds(outcome, lane, changed) == lane_holds(outcome, lane, original):
            continue
        run = room.found.run(lane)
        if run is None:
            continue
        panel = run.again()
        before = panel.state
        for fact in (f for term in original.condition or () for f in term):
            stands = fact_holds(program, before, fact)
            assert stands == lane_holds(outcome, lane, replace(original, condition=((fact,),)))
        panel.give_circuits({outcome.event.device: outcome.event.kind == "closes"})
        seen: list[State] = []
        panel.watchers.append(watching(seen))
        if not panel.settle(SETTLING):
            restless = True
            continue
        was, now = (aspect(program, s, room.target) for s in (before, seen[-1]))
        moved = any(aspect(program, s, room.target) != was for s in seen)
        does = moved and was == now if "pulses" in original.becomes else was != now
        assert does == holds(program, before, original)
        return does != holds(program, before, changed)
    return None if restless else False


def test_no_contact_and_no_term_of_a_condition_can_be_left_out() -> None:
    checked = 0
    for program in panels(23, 60):
        rooms = Rooms(program)
        for output in program.outputs:
            room = rooms.room(Target(output.name, "contact"), Budget(60))
            for outcome in outcomes(room):
                for sentence in sentences(room, outcome):
                    if sentence.condition is None or not sentence.exact:
                        continue
                    if sentence.becomes == "never rests":
                        continue
                    for changed in weaker(sentence):
                        wrong = played_wrong(room, outcome, sentence, changed)
                        assert wrong is not False, (sentence, changed)
                        checked += wrong is True
    assert checked > 60


def test_what_is_not_worked_out_is_named_and_not_told() -> None:
    program = next(panels(3, 1, "timers"))
    n = narrate(program, Budget(60), beside=False, most=1)
    names = {each.device for each in n.unworked}
    assert names
    assert names <= {*n.outputs, *n.helpers}
    assert not [each for each in n.sentences if each.device in names]
    assert not n.fine
