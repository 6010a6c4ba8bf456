"""Mistakes planted in panels that are proved: each is found, by a run that breaks the property.

They are mistakes that people make: a contact left out, a latch for an unlatch, a timer a scan
short, NC for NO, `and` for `or`, a rung in the wrong place.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path

import pytest

from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.verdict import Judge, Verdict, names_of
from rungs.shipped import shipped
from tests.helpers import program_of
from tests.proof_suite import SUITES
from tests.properties import replayed

SECONDS = 60.0
SUITE = {suite.name: suite for suite in SUITES}


@dataclass(frozen=True, slots=True)
class Plant:
    """A mistake in a demo or a suite's program: texts with what stands for each in the planted one,
    and the property that finds it, by its label or by the name of its entry."""

    kind: str
    where: str
    property: str
    changes: tuple[tuple[str, str], ...]


def plant(kind: str, where: str, found_by: str, *changes: str) -> Plant:
    return Plant(kind, where, found_by, tuple(zip(changes[::2], changes[1::2], strict=True)))


def moved(kind: str, where: str, found_by: str, rung: str, after: str) -> Plant:
    return Plant(kind, where, found_by, ((rung + "\n", ""), (after, f"{after}\n{rung}")))


LOST = "a contact is left out"
LATCH = "a latch for an unlatch"
SHORT = "a time is a scan off"
SIDE = "NC is read as NO, or wired so"
JOINT = "an and that became an or"
MOVED = "a rung in the wrong place"

PLANTS = (
    # --- demos
    plant(
        LOST,
        "airlock",
        "no way in before the air is clean",
        "inner_turn and outer_shut and not purge and not free_outer",
        "inner_turn and outer_shut and not free_outer",
    ),
    plant(
        LOST,
        "airlock",
        "an open inner door locks the outer one",
        "outer_turn and inner_shut and not free_inner",
        "outer_turn and not free_inner",
    ),
    plant(
        SIDE,
        "airlock",
        "a broken inner wire locks the outer one",
        "outer_turn and inner_shut and not free_inner",
        "outer_turn and not inner_shut and not free_inner",
    ),
    plant(
        LOST,
        "airlock",
        "one magnet holds",
        "outer_shut and not purge and not outer_turn -> inner_turn",
        "outer_shut and not purge -> inner_turn",
        "inner_turn and outer_shut and not purge and not free_outer",
        "inner_turn and outer_shut and not purge",
    ),
    plant(
        LOST,
        "boathouse",
        "both contactors in",
        "winch_in and stop_button and not winch_out and not pull_out",
        "winch_in and stop_button",
        "winch_out and stop_button and not winch_in and not pull_in and not rest_in",
        "winch_out and stop_button",
    ),
    plant(
        LOST,
        "boathouse",
        "stop means stop",
        "winch_in and stop_button and not winch_out",
        "winch_in and not winch_out",
    ),
    plant(
        SIDE,
        "boathouse",
        "a broken stop wire stops it",
        "input  stop_button at I4 momentary  NC",
        "input  stop_button at I4 momentary  NO",
        "winch_out and stop_button and",
        "winch_out and not stop_button and",
    ),
    plant(
        JOINT,
        "boathouse",
        "a call gives light",
        "(linger and dark) or (evening and not away)",
        "(linger and dark) and (evening or not away)",
    ),
    plant(
        LATCH,
        "greenhouse",
        "water from an empty tank",
        "portion or too_long or not tank -> unlatch watering",
        "portion or too_long or not tank -> latch watering",
    ),
    plant(
        LOST,
        "greenhouse",
        "water ends",
        "portion or too_long or not tank -> unlatch watering",
        "portion or not tank -> unlatch watering",
    ),
    plant(
        SHORT,
        "greenhouse",
        "frost is told",
        "flasher 500ms on 1s500ms off",
        "flasher 500ms on 2s10ms off",
    ),
    moved(
        MOVED,
        "greenhouse",
        "water from an empty tank",
        "rung\n    watering -> valve",
        "rung\n    too_long -> latch dry_run",
    ),
    plant(
        LATCH,
        "hall_lights_three",
        "the light does not burn for ever",
        "rising long_press or burning -> unlatch stair_light",
        "rising long_press or burning -> latch stair_light",
    ),
    plant(
        LOST,
        "hall_lights_three",
        "the light does not burn for ever",
        "rising long_press or burning -> unlatch",
        "rising long_press -> unlatch",
    ),
    plant(
        JOINT,
        "hall_lights_two",
        "light with both switches alike",
        "(switch_door and not switch_stairs) or",
        "(switch_door or not switch_stairs) or",
    ),
    plant(
        SIDE,
        "hall_lights_two",
        "one switch alone lights it",
        "(switch_door and not switch_stairs)",
        "(switch_door and switch_stairs)",
    ),
    plant(
        LOST,
        "sliding_gate",
        "both contactors in",
        "open_limit and not rising close_button and not blocked",
        "open_limit and not blocked",
        "and not open_button and not want_open and not blocked",
        "and not blocked",
        "want_close and not drive_open and not rest_open",
        "want_close",
    ),
    plant(
        LOST,
        "sliding_gate",
        "turns round without a rest, 2",
        "want_close and not drive_open and not rest_open",
        "want_close and not drive_open",
    ),
    plant(
        LOST,
        "sliding_gate",
        "the beam stops it",
        "    and beam and not open_button",
        "    and not open_button",
    ),
    plant(
        SHORT,
        "sliding_gate",
        "no drive runs for ever",
        "travel     on-delay 40s",
        "travel     on-delay 41s10ms",
    ),
    plant(
        LATCH,
        "sliding_gate",
        "no drive runs for ever",
        "    travel -> latch blocked",
        "    travel -> unlatch blocked",
    ),
    plant(
        SIDE,
        "sliding_gate",
        "a broken edge wire stops it",
        "input  safety_edge  at I6 momentary  NC",
        "input  safety_edge  at I6 momentary  NO",
        "and closed_limit and safety_edge",
        "and closed_limit and not safety_edge",
    ),
    plant(
        LOST,
        "start_stop",
        "running with a fault",
        "and overload and not fault -> contactor",
        "and overload -> contactor",
    ),
    plant(
        SHORT,
        "start_stop",
        "a contactor that stays out is told",
        "slow_in  on-delay 500ms",
        "slow_in  on-delay 610ms",
    ),
    plant(
        SIDE,
        "start_stop",
        "a broken stop wire stops it",
        "(rising start_button or contactor) and stop_button",
        "(rising start_button or contactor) and not stop_button",
    ),
    plant(
        JOINT,
        "start_stop",
        "stop means stop",
        "(rising start_button or contactor) and stop_button and overload and not fault",
        "(rising start_button or contactor) and (stop_button or overload) and not fault",
    ),
    moved(
        MOVED,
        "start_stop",
        "running with a fault",
        "rung \"A fault is kept\"\n    not overload or slow_in or slow_out -> latch fault",
        "rung\n    flash -> fault_lamp",
    ),
    plant(
        LOST,
        "two_pumps",
        "a pump runs dry",
        "(start_float or high_float or wanted) and low_float",
        "start_float or high_float or wanted",
    ),
    plant(
        SHORT,
        "two_pumps",
        "a flood is told",
        "waves    on-delay 2s",
        "waves    on-delay 3s10ms",
    ),
    plant(
        JOINT,
        "two_pumps",
        "a tripped pump stands still",
        "wanted and overload_1 and (not second_leads",
        "(wanted or overload_1) and (not second_leads",
    ),
    plant(
        LOST,
        "two_pumps",
        "both pumps start together",
        "helped and (pump_1 or pump_2) -> stagger",
        "low_float -> stagger",
    ),
    moved(
        MOVED,
        "two_pumps",
        "a pump runs dry",
        'rung "Pumping is wanted from the start level down to the low level"\n'
        "    (start_float or high_float or wanted) and low_float -> wanted, long_run",
        "    wanted and overload_2 and (second_leads or stagger or not overload_1) -> pump_2",
    ),
    plant(
        LATCH,
        "yard_lights",
        "the black button wins",
        "rising yard_off or lights_out -> unlatch yard_light",
        "rising yard_off or lights_out -> latch yard_light",
    ),
    plant(
        SIDE,
        "yard_lights",
        "a broken wire at the shed gives light",
        "    not shed_door -> shed_light",
        "    shed_door -> shed_light",
    ),
    moved(
        MOVED,
        "yard_lights",
        "the black button wins",
        'rung "A button or the night switches it off"\n'
        "    rising yard_off or lights_out -> unlatch yard_light",
        'title  "Yard lights"',
    ),
    # --- the suite
    plant(
        LOST,
        "ring_16_8",
        "no two neighbours at once",
        "latch step_9, unlatch step_8",
        "latch step_9",
    ),
    plant(
        LATCH,
        "ring_16_8",
        "some step at any time",
        "-> latch step_12, unlatch step_11",
        "-> unlatch step_12, unlatch step_11",
    ),
    plant(
        LATCH,
        "ring_52_1",
        "no two neighbours at once",
        "latch step_30, unlatch step_29",
        "latch step_30, latch step_29",
    ),
    plant(
        LOST,
        "twins_6",
        "the last cells agree",
        "rung pulse and not data -> unlatch cell_0",
        "rung pulse -> unlatch cell_0",
    ),
    plant(
        JOINT,
        "twins_24",
        "the last cells agree",
        "(pulse and twin_10) or (not pulse and twin_11)",
        "(pulse or twin_10) and (not pulse or twin_11)",
    ),
    plant(
        LOST,
        "packer_120",
        "no more parts than a box holds",
        "rung counting and not full_kept -> parts",
        "rung counting -> parts",
    ),
    moved(
        MOVED,
        "packer_12",
        "a full box is kept",
        "rung parts -> latch full_kept",
        "rung jam -> latch jammed",
    ),
    plant(LOST, "drives_14", "one drive at a time", "healthy and not other_12 ->", "healthy ->"),
    plant(JOINT, "drives_8", "stop means stop", "rung stop and trip", "rung stop or trip"),
    plant(LATCH, "lift_4", "one position", "latch was_3, unlatch was_0, unlatch was_1",
          "latch was_3, unlatch was_0, latch was_1"),
    plant(SHORT, "batch", "stirring comes to an end", "on-delay 20min", "on-delay 20min10ms"),
    moved(
        MOVED,
        "batch",
        "stirring comes to an end",
        "rung filled -> stirred",
        "relay done",
    ),
    plant(LOST, "reversing", "a pause before back", " and not rest_ahead -> back", " -> back"),
    plant(SHORT, "reversing", "never waits longer", "rest_ahead off-delay 3s",
          "rest_ahead off-delay 3s10ms"),
    plant(SHORT, "star_delta", "delta comes in time", "pause off-delay 60ms",
          "pause off-delay 70ms"),
    plant(SHORT, "flashing", "an alarm shows within half a second", "500ms off", "510ms off"),
    plant(SHORT, "flashing", "a flood is told", "waves on-delay 2s", "waves on-delay 2s10ms"),
    plant(SHORT, "window_as_long", "a timer of the same length", "on-delay 2h",
          "on-delay 1h59min59s990ms"),
    plant(SHORT, "daily_event", "kept from day to day", "23h59min59s990ms", "23h59min59s980ms"),
    plant(SHORT, "two_orders", "the short one first", "short on-delay 90s",
          "short on-delay 2min10ms"),
    plant(SHORT, "debounced_60", "the pulse has ended", "debounce 50ms", "debounce 40ms"),
    plant(LATCH, "retained", "armed with the motor", "unlatch motor, unlatch armed",
          "latch motor, unlatch armed"),
    plant(SIDE, "wired", "a broken overload wire is told", "not overload -> latch fault",
          "overload -> latch fault"),
    plant(SIDE, "wired", "an open door locks off", "lock_coil at R2 NC", "lock_coil at R2 NO"),
    plant(LOST, "hours", "no oil while it runs", "oil_due and not running", "oil_due"),
)  # fmt: skip

# slips that break nothing: another part of the panel sees to it. COMPUTED with ABC on the counted
# core of tests/test_prove_suite.py, times cut down; so a proof is right, and not a mistake missed.
HARMLESS = (
    moved(
        MOVED,
        "two_pumps",
        "a pump that can run does run",
        'rung "After each turn the other pump leads"\n    falling wanted -> impulse second_leads',
        "    wanted and overload_2 and (second_leads or stagger or not overload_1) -> pump_2",
    ),
    plant(
        JOINT,
        "airlock",
        "one magnet holds",
        "outer_turn and inner_shut and not free_inner",
        "outer_turn and (inner_shut or not free_inner)",
        "inner_turn and outer_shut and not purge and not free_outer",
        "inner_turn and (outer_shut or not purge)",
    ),
    plant(
        LOST,
        "boathouse",
        "both contactors in",
        "winch_out and stop_button and not winch_in and not pull_in and not rest_in",
        "winch_out and stop_button",
    ),
    plant(
        LATCH,
        "greenhouse",
        "water from an empty tank",
        "portion or too_long or not tank -> unlatch watering",
        "portion or too_long or tank -> unlatch watering",
    ),
    plant(
        LOST,
        "sliding_gate",
        "both contactors in",
        "want_close and not drive_open and not rest_open",
        "want_close",
    ),
    plant(
        JOINT,
        "start_stop",
        "a tripped overload stops it",
        "(rising start_button or contactor) and stop_button and overload and not fault",
        "(rising start_button or contactor) and stop_button and (overload or not fault)",
    ),
    plant(
        LOST,
        "twins_6",
        "the last cells agree",
        "rung pulse and data -> latch cell_0",
        "rung pulse -> latch cell_0",
    ),
)


def text_of(where: str) -> str:
    if where in SUITE:
        return replace(SUITE[where], scenarios="").whole
    return (shipped("demos") / f"{where}.rungs").read_text(encoding="utf-8")


def planted_text(plant: Plant) -> str:
    """The program with the mistake in it."""
    text = text_of(plant.where)
    for old, new in plant.changes:
        assert old in text, old
        text = text.replace(old, new, 1)
    return text


def place_of(plant: Plant, program: Program) -> int:
    """The number of the property that finds it."""
    if plant.where in SUITE:
        return [entry.name for entry in SUITE[plant.where].entries].index(plant.property)
    return names_of(program).index(plant.property)


@cache
def unplanted(where: str) -> Judge:
    return Judge(program_of(text_of(where)))


def verdict(judge: Judge, number: int) -> Verdict:
    return judge.verdict(number, Budget(SECONDS), judge.assumptions(Budget(SECONDS)))


@cache
def verdict_unplanted(where: str, number: int) -> Verdict:
    return verdict(unplanted(where), number)


@pytest.mark.parametrize(
    "planted", PLANTS, ids=lambda p: f"{p.where}-{p.property}".replace(" ", "_")
)
def test_a_planted_mistake_is_found_and_without_it_there_is_a_proof(planted: Plant) -> None:
    number = place_of(planted, unplanted(planted.where).program)
    assert verdict_unplanted(planted.where, number).verdict == "proved"
    judge = Judge(program_of(planted_text(planted)))
    found = verdict(judge, number)
    assert found.verdict == "fails"
    assert found.witness is not None
    assert replayed(judge.program, found.item, found.witness) == [found.witness.end]
    # the sound panel stands the same run
    sound = unplanted(planted.where)
    assert replayed(sound.program, sound.stated[number], found.witness) == []


@pytest.mark.parametrize(
    "planted", HARMLESS, ids=lambda p: f"{p.where}-{p.property}".replace(" ", "_")
)
def test_a_slip_that_another_contact_makes_good_is_no_failure(planted: Plant) -> None:
    judge = Judge(program_of(planted_text(planted)))
    assert verdict(judge, place_of(planted, judge.program)).verdict == "proved"


def test_all_kinds_of_mistakes_are_planted() -> None:
    assert len(PLANTS) >= 30
    for kind in (LOST, LATCH, SHORT, SIDE, JOINT, MOVED):
        assert sum(plant.kind == kind for plant in PLANTS) >= 4, kind


@pytest.mark.parametrize("path", sorted(shipped("demos").glob("*.rungs")), ids=lambda p: p.stem)
def test_every_property_of_a_demo_is_proved_and_put_to_the_test(path: Path) -> None:
    where = path.stem
    for number in range(len(unplanted(where).stated)):
        found = verdict_unplanted(where, number)
        assert found.verdict == "proved", found.name
        assert found.exercised, found.name
