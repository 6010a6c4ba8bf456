"""Forces: a held contact against a program in which it is a constant, and panels that are put back.

What is held is compared scan for scan, on random programs, with random hands at the panel.
"""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC
from random import Random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.program.nodes import Circuit, Compare, Contact, Input, Parallel, Program, Series, leaves
from rungs.scan.reference import State
from rungs.scan.runner import Panel
from tests.helpers import program_of
from tests.strategies import NOON, random_program

START = int(NOON.replace(tzinfo=UTC).timestamp() * 1_000)

# --- random hands -----------------------------------------------------------------------------

Hand = tuple[int, str, str, bool | int | None]  # ms to wait before it, kind, device, value


def random_hands(dice: Random, program: Program, count: int, forces: bool = True) -> list[Hand]:
    """What somebody does at the panel, with short and long waits between."""
    kinds = ["operate"] * 5 + ["fault"] * 2 + ["power", "clock"] + ["force"] * (4 * forces)
    names = [device.name for device in program.devices]
    inputs = [device.name for device in program.inputs]
    hands: list[Hand] = []
    for _ in range(count):
        wait = dice.choice((0, 0, 3, 10, 10, 20, 30, 47, 120, 1_500))
        kind = dice.choice(kinds)
        match kind:
            case "operate":
                hands.append((wait, kind, dice.choice(inputs), dice.random() < 0.5))
            case "fault":
                hands.append((wait, kind, dice.choice(inputs), dice.randrange(3)))
            case "power":
                hands.append((wait, kind, "", dice.random() < 0.6))
            case "clock":
                hands.append((wait, kind, "", dice.choice((-7_000, -1_000, -20, 50, 3_000))))
            case _:
                hands.append((wait, kind, dice.choice(names), dice.choice((True, False, None))))
    return hands


def do(panel: Panel, hand: Hand) -> None:
    """Wait, and then do it."""
    wait, kind, name, value = hand
    panel.run(panel.now + wait)
    match kind:
        case "operate":
            panel.operate(name, bool(value))
        case "fault":
            assert value is not None
            panel.fault(name, (("sound", "broken", "shorted"))[value])
        case "power":
            panel.switch_power(bool(value))
        case "clock":
            assert value is not None
            panel.set_clock(panel.wall.at(panel.now) + value)
        case _:
            panel.force(name, None if value is None else bool(value))


def states_of(panel: Panel) -> list[State]:
    """The states after all scans to come, in a list that grows."""
    states: list[State] = []
    panel.watchers.append(lambda before, after, wires: states.append(after))
    return states


# --- a force is a constant --------------------------------------------------------------------


def constant(closed: bool) -> Circuit:
    parts = (Contact("first_scan", ""), Contact("first_scan", "", negated=True))
    return Parallel(parts) if closed else Series(parts)


def with_constant(circuit: Circuit, name: str, closed: bool) -> Circuit:
    """The circuit with every contact of a device as a wire, or left out."""
    match circuit:
        case Series() | Parallel():
            return replace(
                circuit, parts=tuple(with_constant(p, name, closed) for p in circuit.parts)
            )
        case Contact(kind="closed", name=other) if other == name:
            return constant(closed != circuit.negated)
        case Contact(kind="rising" | "falling", name=other) if other == name:
            return constant(circuit.negated)  # it never moves
        case _:
            return circuit


def reads_timing(program: Program, name: str) -> bool:
    return any(
        isinstance(leaf, Contact) and (leaf.kind, leaf.name) == ("timing", name)
        for rung in program.rungs
        for leaf in leaves(rung.circuit)
    )


def without(state: State, name: str, given: bool, memories: set[int]) -> State:
    """A state but for what a force itself shows: the contact, and the bounce of a held input."""
    return replace(
        state,
        contacts={n: on for n, on in state.contacts.items() if n != name},
        since={n: t for n, t in state.since.items() if not (given and n == name)},
        edges={n: on for n, on in state.edges.items() if n not in memories},
        moved_by={n: by for n, by in state.moved_by.items() if n != name},
    )


def test_a_forced_device_is_a_constant_to_all_others_scan_for_scan() -> None:
    compared = 0
    for seed in range(90):
        dice = Random(seed)
        program = random_program(dice)
        device = dice.choice(program.devices)
        name, closed = device.name, dice.random() < 0.5
        if reads_timing(program, name):
            continue  # a timer's own contact has a say in what it says of its time
        memories = {edge.memory for edge in program.edges if edge.name == name}
        fixed = replace(
            program,
            rungs=tuple(
                replace(rung, circuit=with_constant(rung.circuit, name, closed))
                for rung in program.rungs
            ),
        )
        hands = random_hands(dice, program, 15, forces=False)
        held, free = (Panel(each, START, jump=False) for each in (program, fixed))
        held.force(name, closed)
        runs = states_of(held), states_of(free)
        for hand in hands:
            do(held, hand)
            do(free, hand)
        given = isinstance(device, Input)
        for one, other in zip(*runs, strict=True):
            assert one.contacts[name] == closed
            assert without(one, name, given, memories) == without(other, name, given, memories)
            compared += 1
    assert compared > 2_000


def untimed(state: State) -> tuple[State, dict[str, int]]:
    """A state, and which rung moved each device last. When it did is left out: in a panel that
    rests, one rung may move a device that another moves back, and a jump passes over that."""
    return replace(state, moved_by={}), {n: rung for n, (rung, _) in state.moved_by.items()}


@settings(max_examples=40)
@given(st.integers(0, 1 << 32))
def test_with_forces_too_jumping_makes_the_same_states_as_every_scan_one_by_one(seed: int) -> None:
    dice = Random(seed)
    program = random_program(dice)
    hands = random_hands(dice, program, 15)
    quick, slow = Panel(program, START), Panel(program, START, jump=False)
    jumped, every = states_of(quick), states_of(slow)
    for hand in hands:
        do(quick, hand)
        do(slow, hand)
        assert untimed(quick.state) == untimed(slow.state)
        assert (quick.now, quick.held) == (slow.now, slow.held)
    # one state may come twice at one time: a power cut lets the first scan be made anew
    made = {(state.t, state.first): untimed(state) for state in every}
    assert all(made[state.t, state.first] == untimed(state) for state in jumped)


# --- letting go -------------------------------------------------------------------------------

LETTING_GO = """
input  a at I1
input  slow at I2 debounce 50ms
input  off at I3
relay  follows
relay  kept
timer  t on-delay 1s
timer  sum accumulating 1s
counter c to 2
output lamp at R1
rung a -> follows, t, c, sum
rung a and off -> latch kept
rung off -> unlatch kept, reset sum
rung slow or follows or t or c or sum or kept -> lamp
"""


def panel() -> Panel:
    made = Panel(program_of(LETTING_GO))
    made.make_scan()
    return made


def test_a_coil_that_is_let_go_of_follows_its_rung_in_the_next_scan() -> None:
    made = panel()
    made.force("follows", True)
    made.force("lamp", False)
    state = made.make_scan()
    assert (state.contacts["follows"], state.contacts["lamp"]) == (True, False)
    assert state.powers[4]
    made.force("lamp", None)
    assert made.make_scan().contacts["lamp"] is True
    made.force("follows", None)
    state = made.make_scan()
    assert (state.contacts["follows"], state.contacts["lamp"]) == (False, False)
    assert made.forces == {}


def test_a_latch_stays_as_it_was_forced_until_a_rung_moves_it() -> None:
    made = panel()
    made.force("kept", True)
    made.run(100)
    made.force("kept", None)
    assert made.run(60_000).contacts["kept"] is True
    assert "kept" not in made.state.moved_by
    made.operate("off", True)
    state = made.make_scan()
    assert state.contacts["kept"] is False
    assert state.moved_by["kept"] == (3, state.t)


def test_a_forced_timer_and_a_forced_counter_go_on_behind_their_contacts() -> None:
    made = panel()
    for name in ("t", "sum", "c"):
        made.force(name, False)
    made.operate("a", True)
    state = made.run(1_500)
    assert not any(state.contacts[name] for name in ("t", "sum", "c"))
    assert state.coils["t"]
    assert state.since["t"] == 10
    # the scan that finds the coil on first counts no time
    assert state.counts == {"t": 0, "sum": 1_000, "c": 1}
    for name in ("t", "sum", "c"):
        made.force(name, None)
    state = made.make_scan()
    assert (state.contacts["t"], state.contacts["sum"], state.contacts["c"]) == (True, True, False)


def test_a_forced_input_goes_back_to_its_circuit_after_its_debounce() -> None:
    made = panel()
    made.force("slow", True)
    assert made.run(200).contacts["slow"] is True
    made.force("slow", None)
    at = made.now
    changed = [s.t for s in made.advance(at + 100) if not s.contacts["slow"]]
    # COMPUTED: the bounce may have been under way, and lasts 50 ms at most
    assert at < changed[0] <= at + 60
    assert made.state.contacts["slow"] is False


def test_a_force_outlasts_a_power_cut_and_shows_nothing_without_power() -> None:
    made = panel()
    made.force("lamp", True)
    assert made.make_scan().contacts["lamp"] is True
    made.switch_power(False)
    assert made.state.contacts["lamp"] is False
    made.switch_power(True)
    assert made.make_scan().contacts["lamp"] is True


# --- putting panels back ----------------------------------------------------------------------


@settings(max_examples=40)
@given(st.integers(0, 1 << 32), st.booleans())
def test_a_panel_that_is_put_back_and_played_again_makes_the_same_states(
    seed: int, jump: bool
) -> None:
    dice = Random(seed)
    program = random_program(dice)
    hands = random_hands(dice, program, 24)
    middle = dice.randrange(len(hands))
    made = Panel(program, START, jump=jump)
    for hand in hands[:middle]:
        do(made, hand)
    kept = made.snapshot()
    copy = made.snapshot()
    states = states_of(made)
    for hand in hands[middle:]:
        do(made, hand)
    first, ended = list(states), made.snapshot()
    assert kept == copy  # playing on has not touched it
    states.clear()
    made.restore(kept)
    assert made.snapshot() == kept
    for hand in hands[middle:]:
        do(made, hand)
    assert states == first
    assert made.snapshot() == ended
    other = Panel(program, 0, jump=jump)
    also = states_of(other)
    other.restore(kept)
    for hand in hands[middle:]:
        do(other, hand)
    assert also == first
    assert other.snapshot() == ended


@pytest.mark.parametrize("at", [0, 30, 40, 50, 60, 200])
def test_a_panel_put_back_knows_the_event_that_it_showed_and_the_bounce_under_way(at: int) -> None:
    program = program_of(
        "input a at I1 debounce 30ms\nclock gong at 12:00 daily\ncounter c to 9\noutput o at R1\n"
        "rung gong or a -> c\nrung c -> o"
    )
    made = Panel(program, START - 20)
    made.run(20)
    assert made.state.contacts["gong"] is True
    made.operate("a", True)
    made.run(at)
    # the clock is set back over an event that was shown: it does not come again
    made.set_clock(START - 10)
    kept = made.snapshot()
    ends = []
    for _ in range(2):
        made.restore(kept)
        made.run(1_000)
        ends.append(made.snapshot())
    assert ends[0] == ends[1]
    # the gong counts at 20 ms; the switch, which joins it while it is closed, 30 ms after 30 ms
    assert ends[0].state.counts["c"] == 2


def test_comparisons_of_a_forced_counter_read_the_count_and_not_the_contact() -> None:
    program = program_of(
        "input a at I1\ncounter c to 1\noutput o at R1\noutput p at R2\nrung a -> c\n"
        "rung c >= 1 -> o\nrung c -> p"
    )
    assert isinstance(program.rungs[1].circuit, Compare)
    made = Panel(program)
    made.make_scan()
    made.force("c", True)
    state = made.make_scan()
    assert (state.contacts["o"], state.contacts["p"]) == (False, True)
