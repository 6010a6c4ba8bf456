"""What is said of the order of two rungs, against brute force over the reference interpreter."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations, product
from random import Random

import pytest

from rungs.program.nodes import Clock, Program, leaves
from rungs.prove.budget import Budget
from rungs.prove.order import Order, moved_above, orders
from rungs.prove.witness import played
from rungs.scan.reference import State, powered_down, same, scan
from rungs.scan.runner import Panel
from tests.helpers import program_of
from tests.properties import capped, state_key
from tests.strategies import random_program

PERIOD = 10
MOST = 500  # states of both programs together that brute force looks at


# --- brute force ------------------------------------------------------------------------------


def _outputs(program: Program, state: State) -> list[bool]:
    return [state.contacts[output.name] for output in program.outputs]


def brute_force(one: Program, other: Program, most: int = MOST) -> tuple[bool, bool, bool]:
    """Whether the outputs can differ after a scan, whether they can with both at rest, and whether
    everything has been looked at."""
    names = [device.name for device in one.inputs]
    worlds = [
        dict(zip(names, row, strict=True)) for row in product((False, True), repeat=len(names))
    ]
    layer = [(powered_down(one), powered_down(other))]
    seen = {tuple(map(state_key, layer[0]))}
    differs = rests = False
    while layer:
        following = []
        for pair in layer:
            for a, b in _befores(one, other, pair):
                for circuits in worlds:
                    after = scan(one, a, circuits, {}, a.t + PERIOD)
                    moved = scan(other, b, circuits, {}, b.t + PERIOD)
                    if _outputs(one, after) != _outputs(other, moved):
                        differs = True
                        rests = rests or (
                            _stays(one, after, circuits) and _stays(other, moved, circuits)
                        )
                    states = (capped(one, after), capped(other, moved))
                    key = tuple(map(state_key, states))
                    if key not in seen:
                        seen.add(key)
                        following.append(states)
                        if len(seen) > most:
                            return differs, rests, False
        layer = following
    return differs, rests, True


def _befores(
    one: Program, other: Program, pair: tuple[State, State]
) -> Iterator[tuple[State, State]]:
    """The states that the next scan begins with: as they are, or after a power cut."""
    yield pair
    if pair[0].powered:
        a, b = powered_down(one, pair[0]), powered_down(other, pair[1])
        yield replace(a, t=0), replace(b, t=0)


def _stays(program: Program, state: State, circuits: dict[str, bool]) -> bool:
    return same(program, state, scan(program, state, circuits, {}, state.t + PERIOD))


# --- playing ----------------------------------------------------------------------------------


def assert_shown(program: Program, order: Order, calm: bool = False) -> None:
    """A witness shows on the reference interpreter, scan by scan, what the order tells.

    With `calm`, and all rungs taking part, every change comes when both programs are at rest."""
    assert order.witness is not None
    rungs = program.rungs
    other = moved_above(program, rungs.index(order.above), rungs.index(order.below))
    panels = []
    for each in (program, other):
        panel = Panel(each, order.witness.start, PERIOD, jump=order.witness.end > 10_000)
        for number, _ in enumerate(played(order.witness, panel)):
            if order.answer == "differs" and calm and number < len(order.witness.acts):
                assert not panel.state.powered or same(each, panel.before, panel.state)
        assert panel.state.t == order.witness.end
        panels.append(panel)
    contacts = [panel.state.contacts for panel in panels]
    assert order.outputs
    assert all(contacts[0][name] != contacts[1][name] for name in order.outputs)
    if order.answer == "differs":
        for panel in panels:
            before = panel.state
            assert same(panel.program, before, panel.make_scan())


def told(text: str, thorough: bool = False) -> dict[tuple[int, int], Order]:
    """What is said of each pair of a program's rungs, every witness of it having been played."""
    program = program_of(text)
    found = orders(program, Budget(), thorough=thorough)
    assert not found.reason
    for order in found.pairs:
        if order.witness is not None:
            assert_shown(program, order, not order.hasty)
    return {(order.above.number, order.below.number): order for order in found.pairs}


INPUTS = "input a at I1\ninput b at I2\ninput c at I3\n"


# --- planted ----------------------------------------------------------------------------------


def test_a_latch_above_its_unlatch_differs_with_both_closed() -> None:
    found = told(INPUTS + "output lamp at R1\nrung a -> latch lamp\nrung b -> unlatch lamp\n")
    order = found[1, 2]
    assert (order.answer, order.outputs, order.hasty) == ("differs", ("lamp",), False)


def test_an_unlatch_above_its_latch_differs_too() -> None:
    found = told(INPUTS + "output lamp at R1\nrung b -> unlatch lamp\nrung a -> latch lamp\n")
    assert found[1, 2].answer == "differs"


def test_a_latch_and_an_unlatch_that_never_meet_are_the_same() -> None:
    text = (
        INPUTS + "output lamp at R1\nrung a and b -> latch lamp\nrung a and not b -> unlatch lamp\n"
    )
    order = told(text)[1, 2]
    assert (order.answer, order.proved) == ("same", True)


def test_an_interlock_of_two_coils_is_decided_by_who_comes_first() -> None:
    text = (
        "output one at R1\noutput two at R2\nrung a and not two -> one\nrung b and not one -> two\n"
    )
    order = told(INPUTS + text)[1, 2]
    assert order.answer == "differs"
    assert set(order.outputs) == {"one", "two"}


def test_an_interlock_that_is_read_before_its_coil_is_late() -> None:
    text = "output one at R1\noutput two at R2\nrung a and not two -> one\nrung b -> two\n"
    order = told(INPUTS + text)[1, 2]
    assert (order.answer, order.outputs, order.proved) == ("late", ("one",), True)


def test_a_seal_in_that_can_miss_its_start_differs() -> None:
    # the relay of the start button shows one scan later; by then the stop may be open
    text = (
        "relay go\noutput motor at R1\n"
        "rung a -> go\nrung (go and not b) or (motor and not c) -> motor\n"
    )
    assert told(INPUTS + text)[1, 2].answer == "differs"


def test_a_chain_of_relays_is_late() -> None:
    text = (
        "relay x\nrelay y\noutput lamp at R1\n"
        "rung a or b -> x\nrung x and not c -> y\nrung y -> lamp\n"
    )
    found = told(INPUTS + text)
    assert {pair: order.answer for pair, order in found.items()} == {
        (1, 2): "late",
        (2, 3): "late",
    }
    assert all(order.proved for order in found.values())


def test_a_chain_that_ends_in_a_timer_is_late() -> None:
    text = (
        "relay x\ntimer t on-delay 30s\noutput lamp at R1\n"
        "rung a -> x\nrung x -> t\nrung t -> lamp\n"
    )
    found = told("input a at I1\n" + text)
    assert [found[pair].answer for pair in ((1, 2), (2, 3))] == ["late", "late"]
    assert found[2, 3].proved


def test_rungs_about_relays_that_reach_no_output_are_the_same() -> None:
    text = "relay x\nrelay y\noutput lamp at R1\nrung a -> x\nrung x -> y\nrung b -> lamp\n"
    order = told(INPUTS + text)[1, 2]
    assert (order.answer, order.proved, order.witness) == ("same", True, None)


def test_what_the_plant_never_does_makes_no_difference() -> None:
    text = "output lamp at R1\nrung a -> latch lamp\nrung b -> unlatch lamp\n"
    assert told(INPUTS + text)[1, 2].answer == "differs"
    found = told(INPUTS + text + "assume never a and b\n")
    assert found[1, 2].answer == "same"


def test_a_clock_takes_part_with_a_real_date() -> None:
    text = (
        'site zone "Europe/Oslo"\nclock night from 22:00 to 06:00\n'
        "output lamp at R1\nrung night -> latch lamp\nrung a -> unlatch lamp\n"
    )
    order = told("input a at I1\n" + text)[1, 2]
    assert order.answer == "differs"
    assert order.witness is not None
    assert order.witness.start is not None


def test_a_debounced_button_is_played_with_its_debounce() -> None:
    text = "input a at I1 debounce 30ms\ninput b at I2 debounce 20ms\noutput lamp at R1\n"
    order = told(text + "rung a -> latch lamp\nrung b -> unlatch lamp\n")[1, 2]
    assert order.answer == "differs"


# --- the whole --------------------------------------------------------------------------------


def test_only_pairs_that_have_to_do_with_one_another_are_told() -> None:
    text = (
        "relay x\noutput one at R1\noutput two at R2\n"
        "rung a -> one\nrung b and one -> two\nrung c -> latch x\n"
    )
    assert set(told(INPUTS + text)) == {(1, 2)}


def test_the_same_question_gives_the_same_answer() -> None:
    rng = Random(5)
    for _ in range(5):
        program = random_program(rng, 3)
        assert orders(program, Budget()) == orders(program, Budget())


def test_what_the_budget_does_not_reach_is_unknown_and_says_so() -> None:
    text = "relay x\noutput lamp at R1\nrung a -> x\nrung x -> lamp\n"
    found = orders(program_of(INPUTS + text), Budget(cancelled=lambda: True))
    assert found.reason == "cancelled"
    assert [(order.answer, order.reason) for order in found.pairs] == [("unknown", "cancelled")]


def test_a_moved_rung_keeps_its_number_and_all_else_its_place() -> None:
    text = "output o at R1\nrelay x\nrelay y\nrung a -> x\nrung b -> y\nrung x and y -> o\n"
    program = program_of(INPUTS + text)
    assert [rung.number for rung in moved_above(program, 0, 2).rungs] == [3, 1, 2]
    assert [rung.number for rung in moved_above(program, 1, 2).rungs] == [1, 3, 2]


def _one_output(program: Program) -> Program:
    """The part of a program on which its first output depends: an oscillator beside it would keep
    the whole from ever coming to rest."""
    kept = {program.outputs[0].name}
    while True:
        rungs = tuple(
            replace(rung, actions=tuple(a for a in rung.actions if a.name in kept))
            for rung in program.rungs
        )
        rungs = tuple(rung for rung in rungs if rung.actions)
        more = kept | {leaf.name for rung in rungs for leaf in leaves(rung.circuit)}
        if more == kept:
            devices = tuple(device for device in program.devices if device.name in kept)
            return replace(program, devices=devices, rungs=rungs)
        kept = more


def _random_programs(seed: int, count: int) -> Iterator[Program]:
    rng = Random(seed)
    while count:
        program = random_program(rng, 4)
        if not program.outputs:
            continue
        program = _one_output(program)
        small = len(program.inputs) <= 2 and len(program.rungs) > 1
        if small and not any(isinstance(device, Clock) for device in program.devices):
            count -= 1
            yield program


def _judged(program: Program, most: int) -> tuple[int, int, int]:
    """Plays every witness and compares the first pairs with brute force: how many pairs could be
    looked at as a whole, in how many of these the order matters, and in how many it does at rest.
    """
    places = {rung.number: place for place, rung in enumerate(program.rungs)}
    found = orders(program, Budget())
    for order in found.pairs:
        if order.witness is not None:
            assert_shown(program, order)
    whole = met = resting = 0
    for order in found.pairs[:2]:
        other = moved_above(program, places[order.above.number], places[order.below.number])
        differs, rests, complete = brute_force(program, other, most)
        if order.answer == "same":
            assert order.proved
            assert not differs
        if order.answer == "late" and order.proved:
            assert not rests
        if complete:
            whole, met, resting = whole + 1, met + differs, resting + rests
            assert differs or order.answer in ("same", "unknown")
            assert rests or order.answer != "differs"
    return whole, met, resting


@pytest.mark.parametrize("seed", range(1))
def test_brute_force_never_says_otherwise(seed: int) -> None:
    counts = [_judged(program, 250) for program in _random_programs(seed, 14)]
    whole, met, resting = (sum(column) for column in zip(*counts, strict=True))
    assert whole > 5
    assert met > 1
    assert resting <= met


def test_rungs_that_are_not_told_never_matter() -> None:
    checked = 0
    for program in _random_programs(9, 12):
        told_of = {(o.above.number, o.below.number) for o in orders(program, Budget()).pairs}
        for upper, lower in combinations(range(len(program.rungs)), 2):
            numbers = (program.rungs[upper].number, program.rungs[lower].number)
            # where what stands between has to do with either, it is not this pair that matters
            if lower != upper + 1 or numbers in told_of:
                continue
            checked += 1
            assert brute_force(program, moved_above(program, upper, lower))[0] is False
    assert checked > 3
