"""The ready questions that ask about coils, change-overs and fights; runs saved; answers kept."""

from __future__ import annotations

import json
import sys
from dataclasses import replace
from pathlib import Path

import pytest

from rungs.program.nodes import Program
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.reach import Found, Never, Prover, Undecided
from rungs.prove.ready import Fight, Fights, Stuck, Swap, fights, stuck_coils, swaps
from rungs.prove.saved import appended, saved_scenario
from rungs.prove.store import Store, record_of_run, run_of_record
from rungs.prove.verdict import Judge, stated
from rungs.prove.whole import prove
from rungs.prove.witness import Act, Witness, broken_at, played
from rungs.scan.runner import Panel
from rungs.scan.scenario import play
from tests.helpers import program_of

TWO_WAYS = """
input a at I1
input b at I2
output left  at R1
output right at R2
rung a and not b -> left
rung b and not a -> right
never "both" left and right
"""


def coils(text: str) -> dict[str, tuple[str, bool]]:
    return {s.device.name: (s.never, s.known) for s in stuck_coils(program_of(text), Budget(30))}


# --- coils ------------------------------------------------------------------------------------


def test_a_coil_behind_two_contacts_that_exclude_each_other_never_comes_on() -> None:
    text = """
    input a at I1
    output lamp at R1
    output dead at R2
    relay r
    rung a -> r
    rung r -> lamp
    rung a and not r -> dead
    """
    # r follows a in the same scan, above the rung of the dead coil
    assert coils(text) == {"dead": ("on", True)}


def test_a_latch_that_nothing_lets_go_of_never_goes_off() -> None:
    text = """
    input a at I1
    input b at I2
    output lamp at R1
    relay r
    rung a -> latch lamp
    rung b and not b -> unlatch lamp
    rung b -> r
    """
    assert coils(text)["lamp"] == ("off", True)


def test_a_coil_that_a_long_timer_and_a_count_bring_on_is_not_called_stuck() -> None:
    text = """
    input a at I1 debounce 50ms
    output lamp at R1
    counter c to 7
    timer t on-delay 3h
    rung a -> t
    rung t -> c
    rung c -> lamp
    rung not a and lamp -> reset c
    """
    assert coils(text) == {}


def test_what_the_assumptions_rule_out_never_comes_on() -> None:
    text = """
    input top at I1
    input bottom at I2
    output alarm at R1
    output lamp at R2
    assume never top and bottom
    rung top and bottom -> alarm
    rung top or bottom -> lamp
    """
    assert coils(text) == {"alarm": ("on", True)}


# --- change-over ------------------------------------------------------------------------------


def ends(program: Program, witness: Witness) -> tuple[dict[str, bool], dict[str, bool]]:
    """The contacts after the last scan of a run, and after the one before."""
    panel = Panel(program, witness.start)
    for _ in played(witness, panel):
        pass
    return panel.before.contacts, panel.state.contacts


def test_outputs_that_change_over_in_one_scan_are_told_with_a_run_that_shows_it() -> None:
    program = program_of(TWO_WAYS)
    found = swaps(program, Budget(30))
    assert {(s.leaves, s.comes) for s in found} == {("left", "right"), ("right", "left")}
    for swap in found:
        before, after = ends(program, swap.witness)
        assert (before[swap.leaves], before[swap.comes]) == (True, False)
        assert (after[swap.leaves], after[swap.comes]) == (False, True)


def test_a_pause_between_two_outputs_is_enough() -> None:
    text = TWO_WAYS.replace(
        "rung a and not b -> left",
        "timer rest off-delay 500ms\n"
        "timer pause off-delay 500ms\nrung a and not b and not rest -> left, pause",
    ).replace("rung b and not a -> right", "rung b and not a and not pause -> right, rest")
    assert swaps(program_of(text), Budget(30)) == ()


def test_outputs_that_no_property_keeps_apart_may_change_over() -> None:
    assert swaps(program_of(TWO_WAYS.replace('never "both" left and right', "")), Budget(30)) == ()


# --- fights -----------------------------------------------------------------------------------

CLOCKS = """
site zone "Europe/Lisbon"
input hand at I1
output lamp at R1
clock evening at 19:00 daily
clock night at 23:00 on Mon-Fri
rung evening -> latch lamp
rung night or hand -> unlatch lamp
"""


def test_a_clock_and_a_switch_that_pull_one_output_both_ways_are_told_with_the_moment() -> None:
    (fight,) = fights(program_of(CLOCKS), Budget(30)).found
    assert (fight.device, fight.latch.number, fight.unlatch.number) == ("lamp", 1, 2)
    assert fight.wins.number == 2
    assert fight.when == ("every day at 19:00",)
    assert fight.sets == ("evening",)
    assert fight.clears == ("hand", "night")


def test_two_schedules_that_meet_in_one_minute_fight_for_the_lamp() -> None:
    text = CLOCKS.replace("night or hand", "night and hand").replace("at 23:00", "at 19:00")
    (fight,) = fights(program_of(text), Budget(30)).found
    assert fight.when == ("Mon-Fri at 19:00",)


def test_clocks_that_never_meet_do_not_fight() -> None:
    text = CLOCKS.replace("night or hand", "night")
    assert fights(program_of(text), Budget(30)) == Fights(())


def test_a_fight_that_was_not_looked_for_long_enough_is_no_peace() -> None:
    told = fights(program_of(CLOCKS), Budget(0.0))
    assert told.found == ()
    assert all("rung" in words and "stopped after" in words for words in told.unknown)
    assert len(told.unknown) == 1


# --- saved runs -------------------------------------------------------------------------------

STOP = """title "Stop wired wrong"

input  start at I1 momentary NO
input  stop  at I2 momentary NO   # should be NC

output motor at R1

rung "Seal in"
    (start or motor) and not stop -> motor

require "a broken stop wire stops it" when broken stop then not motor
"""


def saved(text: str) -> tuple[Program, str, str]:
    program = program_of(text)
    judge = Judge(program)
    verdict = judge.verdict(0, Budget(30))
    assert verdict.verdict == "fails"
    assert verdict.witness is not None
    found = saved_scenario(program, verdict.item, verdict.name, verdict.witness)
    assert found is not None
    return program, found.label, found.text


def test_a_saved_run_breaks_the_property_when_its_scenario_is_played() -> None:
    program, label, text = saved(STOP)
    again = program_of(appended(program.source.text, text))
    (scenario,) = [s for s in again.scenarios if s.label == label]
    result = play(again, scenario)
    assert not result.passed
    assert [b.property.label for b in result.broken] == ["a broken stop wire stops it"]


def test_a_saved_run_leaves_the_rest_of_the_file_alone_and_passes_when_the_fault_is_mended() -> (
    None
):
    program, label, text = saved(STOP)
    whole = appended(program.source.text, text)
    assert whole.startswith(program.source.text)
    mended = program_of(
        whole.replace("momentary NO   # should be NC", "momentary NC").replace(
            "and not stop ->", "and stop ->"
        )
    )
    (scenario,) = [s for s in mended.scenarios if s.label == label]
    assert play(mended, scenario).passed


def test_two_runs_of_one_name_get_two_labels() -> None:
    program, label, text = saved(STOP)
    again, second, _ = saved(appended(program.source.text, text))
    assert label != second
    assert len(again.scenarios) == 1


def test_a_run_with_two_switches_in_one_scan_is_not_said_to_be_saved() -> None:
    text = """
    input a at I1
    input b at I2
    output lamp at R1
    relay late
    rung a and b and not late -> lamp
    rung a or b -> late
    never lamp
    """
    program = program_of(text)
    verdict = Judge(program).verdict(0, Budget(30))
    assert verdict.verdict == "fails"
    assert verdict.witness is not None
    run = verdict.witness
    # both switches are closed when power comes on, or they close in one scan
    found = saved_scenario(program, verdict.item, "lamp", run)
    if found is None:
        assert any(len(act.circuits) == 2 for act in run.acts)
    else:
        assert "power off" in found.text


# --- answers that are kept --------------------------------------------------------------------


def answers(program: Program, store: Store) -> list[object]:
    prover = Prover(program, stated(program), store=store)
    return [prover.answer(n, Budget(30)) for n in range(len(prover.items))]


def test_the_same_question_is_answered_from_what_was_kept(tmp_path: Path) -> None:
    program = program_of(
        STOP
        + TWO_WAYS.replace("input a at I1", "input a at I3")
        .replace("input b at I2", "input b at I4")
        .replace("R1", "R3")
        .replace("R2", "R4")
    )
    first = answers(program, store := Store(tmp_path))
    assert store.met == 0
    second = answers(program, again := Store(tmp_path))
    assert again.met == 2
    assert first == second
    assert isinstance(first[0], Found)
    assert isinstance(first[1], Never)


def test_an_edit_proves_again_only_what_it_touches(tmp_path: Path) -> None:
    text = STOP + "input a at I3\noutput lamp at R3\nrung a -> lamp\nnever lamp and not a\n"
    answers(program_of(text), Store(tmp_path))
    answers(
        program_of(text.replace("rung a -> lamp", "rung a and a -> lamp")), same := Store(tmp_path)
    )
    assert same.met == 2  # the logic is the same
    edited = text.replace("rung a -> lamp", "rung a and not motor -> lamp")
    answers(program_of(edited), store := Store(tmp_path))
    assert store.met == 1


@pytest.mark.parametrize("spoiled", ["", "{}", "[]", "null", '{"record": 1, "seal": "x"}', "\x00"])
def test_a_spoiled_record_is_no_record(tmp_path: Path, spoiled: str) -> None:
    program = program_of(STOP)
    first = answers(program, Store(tmp_path))
    for path in tmp_path.glob("*.json"):
        path.write_text(spoiled, encoding="utf-8")
    assert answers(program, store := Store(tmp_path)) == first
    assert store.met == 0


def test_a_record_of_another_question_is_not_taken(tmp_path: Path) -> None:
    program = program_of(STOP)
    answers(program, Store(tmp_path))
    (path,) = tmp_path.glob("*.json")
    kept = json.loads(path.read_text(encoding="ascii"))
    store = Store(tmp_path)
    store.put("0" * 64, kept["record"])
    path.write_text((tmp_path / f"{'0' * 64}.json").read_text(encoding="ascii"), encoding="ascii")
    assert store.get(path.stem) is None


def test_a_kept_run_that_no_longer_shows_it_is_looked_for_again(tmp_path: Path) -> None:
    program = program_of(STOP)
    first = answers(program, Store(tmp_path))
    (path,) = tmp_path.glob("*.json")
    empty = record_of_run(Witness((), 10))
    Store(tmp_path).put(path.stem, empty)
    assert answers(program, Store(tmp_path)) == first


def test_a_run_survives_being_written_and_read() -> None:
    acts = (
        Act(0, (("a", True), ("b", False))),
        Act(30, (), (("a", "broken"),)),
        Act(90, back=5_000),
    )
    run = Witness(acts, 6_000, 1_767_564_000_000)
    assert run_of_record(json.loads(json.dumps(record_of_run(run)))) == run
    assert run_of_record({"kind": "found", "acts": [[1]]}) is None


def test_a_folder_that_cannot_be_written_to_stops_nobody(tmp_path: Path) -> None:
    blocked = tmp_path / "file"
    blocked.write_text("", encoding="ascii")
    found = answers(program_of(STOP), Store(blocked / "proofs"))
    assert isinstance(found[0], Found)


# --- the whole report -------------------------------------------------------------------------


def test_a_budget_that_is_used_up_says_what_it_had() -> None:
    program = program_of(STOP)
    report = prove(program, Budget(0.0))
    assert [v.verdict for v in report.verdicts] == ["unknown"]
    assert report.unfinished
    assert all("stopped" in why for _, why in report.unfinished)


def test_a_cancelled_proof_stops() -> None:
    budget = Budget(cancelled=lambda: True)
    with pytest.raises(OutOfBudget, match="cancelled"):
        budget.check()
    report = prove(program_of(STOP), budget)
    assert [v.verdict for v in report.verdicts] == ["unknown"]


def test_more_memory_than_allowed_stops_a_search() -> None:
    budget = Budget(megabytes=1)
    budget._looked = 0.0
    with pytest.raises(OutOfBudget, match="MB"):
        budget.check()


def test_progress_names_each_step_once() -> None:
    told: list[tuple[str, int, int]] = []
    program = program_of(STOP)
    prove(
        program, Budget(30), progress=lambda words, done, steps: told.append((words, done, steps))
    )
    assert [done for _, done, _ in told] == list(range(len(told)))
    assert {steps for _, _, steps in told} == {len(told)}
    assert told[0][0] == "a broken stop wire stops it"


def test_contradictory_assumptions_are_told_and_prove_nothing() -> None:
    text = STOP + "assume never start\nassume never not start\n"
    report = prove(program_of(text), Budget(30), questions=False)
    assert "first scan" in report.wrong
    assert [v.verdict for v in report.verdicts] == ["unknown"]
    text = STOP + "assume never not first_scan\n"
    assert "second scan" in prove(program_of(text), Budget(30), questions=False).wrong


def test_an_idle_property_is_proved_but_not_exercised() -> None:
    text = """
    input a at I1
    output lamp at R1
    output horn at R2
    rung a -> lamp
    rung a and not lamp -> horn
    never "horn without lamp" horn and not lamp
    """
    (verdict,) = prove(program_of(text), Budget(30), questions=False).verdicts
    assert verdict.verdict == "proved"
    assert not verdict.exercised
    assert len(verdict.exercise.idle) == 1


def test_found_things_are_what_they_say(tmp_path: Path) -> None:
    report = prove(program_of(CLOCKS + "relay dead\nrung dead and hand -> dead\n"), Budget(30))
    assert all(isinstance(each, Stuck) for each in report.stuck)
    assert [s.device.name for s in report.stuck] == ["dead"]
    assert all(isinstance(each, Fight) for each in report.fights)
    assert all(isinstance(each, Swap) for each in report.swaps)
    for fight in report.fights:
        program = report.program
        panel = Panel(program, fight.witness.start)
        for _ in played(fight.witness, panel):
            pass
        assert panel.state.powers[fight.latch.number]
        assert panel.state.powers[fight.unlatch.number]


def test_a_witness_is_as_short_as_it_says() -> None:
    program = program_of(STOP)
    verdict = Judge(program).verdict(0, Budget(30))
    run = verdict.witness
    assert run is not None
    assert broken_at(program, verdict.item, run, 10) == run.end
    for index in range(len(run.acts)):
        less = replace(run, acts=run.acts[:index] + run.acts[index + 1 :])
        assert broken_at(program, verdict.item, less, 10) is None


def test_without_the_search_library_nothing_is_called_proved(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # what the import machinery does for a package that is not there
    monkeypatch.setitem(sys.modules, "pysat.solvers", None)
    text = "input a at I1\noutput lamp at R1\nrung a -> lamp\nnever lamp and not a\n"
    verdict = Judge(program_of(text)).verdict(0, Budget(30))
    assert verdict.verdict == "unknown"
    assert isinstance(verdict.answer, Undecided)
    assert "python-sat" in verdict.answer.reason
