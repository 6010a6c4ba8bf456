"""The demos: clean, in canonical layout, true to what they show and demand, and able to fail.

A scenario that no mistake can break shows nothing, so some mistakes are made here on purpose.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.cli.common import check_file
from rungs.language.format import format_file
from rungs.program.check import check
from rungs.program.nodes import Program
from rungs.report.scenarios import scenario_text
from rungs.report.text import Ink
from rungs.scan.runner import Panel
from rungs.scan.scenario import play
from rungs.scan.watch import Watcher
from rungs.shipped import shipped
from rungs.source import source_from_text
from tests.helpers import program_of
from tests.test_cases import EXPECTED

DEMOS = sorted(shipped("demos").glob("*.rungs"))
FAULTY = sorted((shipped("demos") / "faulty").glob("*.rungs"))

each_demo = pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
each_faulty = pytest.mark.parametrize("path", FAULTY, ids=lambda path: path.stem)


def text_of(name: str) -> str:
    return (shipped("demos") / f"{name}.rungs").read_text(encoding="utf-8")


def failures(program: Program) -> list[str]:
    """The report of each scenario that does not pass."""
    results = [play(program, scenario) for scenario in program.scenarios]
    return [scenario_text(program, r, Ink(), every_step=False) for r in results if not r.passed]


@each_demo
def test_a_demo_has_nothing_wrong_with_it(path: Path) -> None:
    assert check_file(str(path)).findings == ()


@each_demo
def test_a_demo_is_in_canonical_layout(path: Path) -> None:
    source = source_from_text(path.read_text(encoding="utf-8"))
    assert format_file(check(source).file, source) == source.text


@each_demo
def test_a_demo_has_a_title_and_shows_its_sequence(path: Path) -> None:
    program = program_of(path.read_text(encoding="utf-8"))
    assert program.title
    assert program.properties
    assert len(program.scenarios) >= 2
    assert all(output.load is not None for output in program.outputs)


@each_demo
def test_every_scenario_of_a_demo_passes_with_all_its_properties_watched(path: Path) -> None:
    program = program_of(path.read_text(encoding="utf-8"))
    assert failures(program) == []
    # a scenario that contradicts an assumption says nothing of the properties
    free = [play(program, s).contradicted is None for s in program.scenarios]
    assert sum(free) >= 2


@each_demo
def test_jumping_over_quiet_time_changes_nothing_in_a_scenario(path: Path) -> None:
    program = program_of(path.read_text(encoding="utf-8"))
    quick = [play(program, scenario) for scenario in program.scenarios]
    # hours of single scans would only be slow
    short = [result for result in quick if result.steps[-1].t <= 100_000]
    assert short
    for result in short:
        assert play(program, result.scenario, jump=False) == result


_MOVES = st.lists(
    st.tuples(
        st.integers(0, 30),
        st.sampled_from(
            ("operate", "release", "operate", "release", "broken", "shorted", "sound", "power")
        ),
        st.sampled_from((0, 10, 40, 300, 1_000, 6_000, 45_000)),
    ),
    max_size=25,
)


@each_demo
@settings(max_examples=60, deadline=None)
@given(moves=_MOVES)
def test_the_properties_of_a_demo_hold_whatever_is_done_to_it(
    path: Path, moves: list[tuple[int, str, int]]
) -> None:
    program = program_of(path.read_text(encoding="utf-8"))
    panel = Panel(program)
    watcher = Watcher(program, panel.period)
    panel.watchers.append(watcher.see)
    panel.make_scan()
    for number, move, ms in moves:
        name = program.inputs[number % len(program.inputs)].name
        match move:
            case "operate" | "release":
                panel.operate(name, move == "operate")
            case "broken" | "shorted" | "sound":
                panel.fault(name, move)
            case _:
                panel.switch_power(False)
                panel.switch_power(True)
        panel.run(panel.now + ms)
    assert watcher.violations == ()


PLANTED = {
    "a drive without its locks": (
        "sliding_gate",
        "and not drive_close and not rest_close -> drive_open",
        "-> drive_open",
        "turns round without a rest",
    ),
    "a way without an end": (
        "sliding_gate",
        "    travel -> latch blocked",
        "    travel and not beam -> latch blocked",
        "no drive runs for ever",
    ),
    "a drive without the other's rest": (
        "sliding_gate",
        "and not drive_open and not rest_open",
        "and not drive_open",
        "turns round without a rest, 2",
    ),
    "a gate that does not stop": (
        "sliding_gate",
        " and stop_button and open_limit and",
        " and open_limit and",
        "stop means stop",
    ),
    "a winch that does not stop": (
        "boathouse",
        "winch_out and stop_button and not winch_in",
        "winch_out and not winch_in",
        "stop means stop",
    ),
    "a door that does not look at the other": (
        "airlock",
        "outer_turn and inner_shut and",
        "outer_turn and",
        "an open inner door locks the outer one",
    ),
    "pumps without a float": (
        "two_pumps",
        "(start_float or high_float or wanted) and low_float",
        "start_float or wanted",
        "a pump runs dry",
    ),
}


@pytest.mark.parametrize("name, old, new, label", PLANTED.values(), ids=PLANTED)
def test_a_contact_left_out_breaks_the_property_that_it_was_there_for(
    name: str, old: str, new: str, label: str
) -> None:
    text = text_of(name)
    assert old in text
    program = program_of(text.replace(old, new, 1))
    broken = {b.property.label for s in program.scenarios for b in play(program, s).broken}
    assert label in broken


def test_a_scenario_whose_expectations_are_met_fails_for_a_property_that_breaks_in_it() -> None:
    text = text_of("sliding_gate")
    old = "not drive_close and not rest_close -> drive_open"
    assert old in text
    program = program_of(text.replace(old, "not drive_close -> drive_open", 1))
    results = [play(program, scenario) for scenario in program.scenarios]
    quiet = [r for r in results if r.broken and all(s.passed is not False for s in r.steps)]
    assert quiet
    assert not any(result.passed for result in quiet)


# one change each that somebody could make by mistake
MUTATIONS = {
    "a light that takes any switch": (
        "hall_lights_two",
        "(switch_door and not switch_stairs) or (switch_stairs and not switch_door)",
        "switch_door or switch_stairs",
    ),
    "a stuck button that keeps the stair dark": (
        "hall_lights_three",
        "rising long_press or burning",
        "long_press or burning",
    ),
    "a stop button wired the wrong way": (
        "start_stop",
        "stop_button  at I2 momentary  NC",
        "stop_button  at I2 momentary  NO",
    ),
    "a stop contact left out": (
        "start_stop",
        "(rising start_button or contactor) and stop_button and",
        "(rising start_button or contactor) and",
    ),
    "a jammed start button that starts again": (
        "start_stop",
        "(rising start_button or contactor)",
        "(start_button or contactor)",
    ),
    "a seal-in left out": (
        "start_stop",
        "(rising start_button or contactor)",
        "rising start_button",
    ),
    "pumps that run dry": (
        "two_pumps",
        "(start_float or high_float or wanted) and low_float",
        "start_float or high_float",
    ),
    "pumps that do not take turns": (
        "two_pumps",
        "falling wanted -> impulse second_leads",
        "falling wanted -> unlatch second_leads",
    ),
    "an alarm float wired the wrong way": (
        "two_pumps",
        "alarm_float at I4 maintained NC",
        "alarm_float at I4 maintained NO",
    ),
    "a gate that turns round without a rest": (
        "sliding_gate",
        "want_close and not drive_open and not rest_open",
        "want_close and not drive_open",
    ),
    "a gate that ignores its edge": (
        "sliding_gate",
        "drive_close and (not safety_edge or not beam)",
        "drive_close and not beam",
    ),
    "a safety edge wired the wrong way": (
        "sliding_gate",
        "safety_edge  at I6 momentary  NC",
        "safety_edge  at I6 momentary  NO",
    ),
    "a valve that stays open on an empty tank": (
        "greenhouse",
        "portion or too_long or not tank",
        "portion or too_long",
    ),
    "a fan before the vent": ("greenhouse", "cool and vent_first -> fan", "cool -> fan"),
    "an outer door that does not look at the inner one": (
        "airlock",
        "outer_turn and inner_shut and not free_inner",
        "outer_turn and not free_inner",
    ),
    "a magnet on the wrong contact": (
        "airlock",
        "free_outer at R1 NC",
        "free_outer at R1 NO",
    ),
    "a winch that reverses without a rest": (
        "boathouse",
        "and not pull_in and not rest_in",
        "and not pull_in",
    ),
}


@pytest.mark.parametrize("name, old, new", MUTATIONS.values(), ids=MUTATIONS)
def test_a_mistake_in_a_demo_makes_a_scenario_fail(name: str, old: str, new: str) -> None:
    text = text_of(name)
    assert old in text
    program = program_of(text.replace(old, new, 1))
    # by what it expects, not only by a property that breaks meanwhile
    steps = [step for scenario in program.scenarios for step in play(program, scenario).steps]
    assert any(step.passed is False for step in steps)


@each_faulty
def test_a_faulty_panel_raises_exactly_the_findings_it_lists(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    listed = []
    for line in text.split("\n"):
        match = EXPECTED.match(line)
        if match is None:
            break
        listed.append((match[1], match[2]))
    assert listed
    assert [(f.code, f.message) for f in check_file(str(path)).findings] == listed


def test_there_are_faulty_panels_of_many_kinds() -> None:
    assert len(FAULTY) >= 15
    codes = {f.code for path in FAULTY for f in check_file(str(path)).findings}
    assert len(codes) >= 15
