"""Scenario steps: what each does to the panel, and what an expectation reports."""

from __future__ import annotations

import pytest

from rungs.scan.scenario import ScenarioResult, play
from tests.helpers import program_of

PANEL = """
site zone "Europe/Oslo" latitude 60.39 longitude 5.32
input  door at I1 maintained NO
input  stop at I2 momentary NC
input  bell at I3 momentary NO debounce 50ms
input  slow at I4 maintained NO debounce 5s
output lamp at R1 NO
output sign at R2 NC
relay  kept retained
relay  shown
relay  slowly
timer  rest on-delay 5s
counter rings to 3
clock  evening from 19:00 to 22:00
clock  gong at 12:00 daily
relay  struck
rung door and stop -> lamp, rest
rung not lamp -> sign
rung rest -> latch kept
rung bell -> rings
rung slow -> slowly
rung gong -> latch struck
rung first_scan -> unlatch struck
rung rings or kept or evening or slowly or struck -> shown
"""


def played(*steps: str) -> ScenarioResult:
    text = PANEL + 'scenario "s"\n' + "\n".join(steps)
    program = program_of(text)
    result = play(program, program.scenarios[0])
    if result.steps and result.steps[-1].t < 30_000:
        slowly = play(program, program.scenarios[0], jump=False)
        assert [s.passed for s in slowly.steps] == [s.passed for s in result.steps]
        assert [s.t for s in slowly.steps] == [s.t for s in result.steps]
    return result


def assert_passes(*steps: str) -> None:
    for step in played(*steps).steps:
        assert step.passed is not False, (step.text, step.seen)


def test_operating_closes_an_open_contact_and_opens_a_closed_one() -> None:
    assert_passes(
        "expect not door and stop",
        "operate door",
        "expect door and lamp",
        "operate stop",
        "expect not stop and not lamp",
        "release stop",
        "expect stop and lamp",
        "release door",
        "expect not lamp",
    )


def test_an_output_wired_nc_lights_its_load_while_the_coil_is_off() -> None:
    assert_passes(
        "expect sign and not sign.load and not lamp.load",
        "operate door",
        "expect not sign and sign.load and lamp.load",
        "power off",
        "expect not sign.load and not lamp.load",
    )


def test_a_broken_wire_opens_and_a_shorted_one_closes_whatever_the_switch_does() -> None:
    assert_passes(
        "operate door",
        "break stop",
        "expect broken stop and not stop and not lamp",
        "short stop",
        "operate stop",
        "expect shorted stop and not broken stop and lamp",
        "mend stop",
        "expect not stop and not shorted stop",
    )


def test_a_bouncing_input_is_waited_for_but_not_longer_than_a_second() -> None:
    assert_passes("operate bell", "expect bell", "release bell", "expect not bell")
    result = played(
        "operate slow",
        "expect not slow",
        "wait 3990ms",
        "expect not slow",
        "wait 20ms",
        "expect slow",
    )
    assert [step.passed for step in result.steps if step.passed is not None] == [True] * 3
    assert not result.steps[0].settled


def test_a_tap_holds_for_its_time_and_200_ms_without_one() -> None:
    assert_passes("tap bell", "expect not bell and rings >= 1")
    # 40 ms are shorter than the debounce of 50 ms
    assert_passes("tap bell for 40ms", "expect rings == 0")
    assert_passes("tap bell for 80ms", "expect rings == 1")
    long, short = played("tap door for 900ms"), played("tap door")
    assert long.steps[0].t - short.steps[0].t == 700


def test_waiting_makes_the_scan_at_the_very_end_of_the_wait() -> None:
    # the scan after the operation starts the timer; the wait ends exactly at its preset
    assert_passes("operate door", "wait 4990ms", "expect not rest", "wait 10ms", "expect rest")
    assert_passes("operate door", "wait 5s", "expect rest")


def test_expect_within_waits_no_longer_than_it_must() -> None:
    result = played("operate door", "expect rest within 10s", "expect steady rest for 1s")
    assert result.passed
    assert result.steps[1].t - result.steps[0].t == 5_000
    assert not played("operate door", "expect rest within 4s").passed


def test_expect_steady_fails_at_the_scan_that_breaks_it() -> None:
    result = played("operate door", "expect steady not rest for 10s")
    assert not result.passed
    assert result.steps[1].t - result.steps[0].t == 5_000


def test_edges_in_expectations_compare_the_ends_of_two_scans() -> None:
    assert_passes("operate door", "expect rising lamp", "wait 10ms", "expect not rising lamp")
    assert_passes("operate door", "release door", "expect falling lamp")


def test_a_power_cut_forgets_all_but_retained_devices() -> None:
    assert_passes(
        "operate door",
        "wait 6s",
        "expect kept and rest",
        "tap bell",
        "expect rings == 1",
        "power off for 5s",
        "expect kept and not rest and rings == 0 and lamp",
    )


def test_without_power_nothing_runs_and_time_goes_on() -> None:
    assert_passes(
        "begin 18:59",
        "operate door",
        "expect not evening",
        "power off",
        "wait 2min",
        "expect not lamp and not rest and not evening and not door",
        "power on",
        "expect lamp and evening",
    )


def test_until_runs_to_the_next_time_of_that_name() -> None:
    assert_passes(
        "begin 18:00",
        "until 19:00",
        "expect evening",
        "until 19:00",
        "expect evening",
        "until 21:59:59",
        "expect evening",
        "until 22:00",
        "expect not evening",
    )
    result = played("begin 18:00", "until 19:00", "until 19:00")
    assert result.steps[2].t - result.steps[1].t == 86_400_000


def test_begin_takes_a_weekday_a_date_or_both() -> None:
    days = [
        played(step).steps[0].wall[0].isoformat()
        for step in ("begin 12:00", "begin Wed 12:00", "begin 2026-03-29 12:00", "wait 10ms")
    ]
    assert days == ["2026-01-05", "2026-01-07", "2026-03-29", "2026-01-05"]


def test_setting_the_clock_moves_windows_and_leaves_timers_alone() -> None:
    assert_passes(
        "begin 12:30",
        "operate door",
        "set clock 20:00",
        "expect evening and not rest",
        "wait 4s",
        "expect not rest",
        "wait 1s",
        "expect rest",
        "set clock 2026-02-01 12:30",
        "expect not evening and rest",
    )


def test_an_event_passed_by_setting_the_clock_forward_is_shown_once() -> None:
    assert_passes("begin 11:00", "set clock 12:30", "expect struck")


def test_a_clock_set_back_does_not_repeat_an_event_that_was_shown() -> None:
    counted = PANEL.replace("gong -> latch struck", "gong -> latch struck, gongs").replace(
        "relay  struck", "relay  struck\ncounter gongs to 9"
    )
    text = (
        counted + "rung gongs -> down gongs\n"
        'scenario "s"\nbegin 11:59\nwait 2min\nexpect gongs == 1\nset clock 11:59\nwait 2min\n'
        "expect gongs == 1\nset clock 2026-01-06 11:59\nwait 2min\nexpect gongs == 2"
    )
    program = program_of(text)
    result = play(program, program.scenarios[0])
    assert result.passed, [s for s in result.steps if s.passed is False]


def test_a_clock_set_back_before_an_event_that_was_not_shown_lets_it_come() -> None:
    assert_passes(
        "begin 13:00", "set clock 11:59", "expect not struck", "wait 2min", "expect struck"
    )


def test_a_failed_expectation_names_contacts_actuators_and_the_rung_and_scan() -> None:
    result = played("operate door", "wait 1s", "break stop", "expect lamp or rings >= 2 or stop")
    seen = result.steps[-1].seen
    assert [s.state for s in seen] == [
        "lamp is off",
        "rings counts 0",
        "stop is open (released, wire broken)",
    ]
    assert seen[0].rung == 1
    assert seen[0].scan == result.steps[-2].scan
    assert (seen[2].rung, seen[2].scan) == (None, None)


def test_a_panel_that_never_settles_is_said_not_to_have_settled() -> None:
    program = program_of(
        'input a at I1\noutput o at R1\nrung a and not o -> o\nscenario "s"\noperate a\nwait 1s'
    )
    result = play(program, program.scenarios[0])
    assert [step.settled for step in result.steps] == [False, True]
    assert result.steps[0].t <= 1_020


@pytest.mark.parametrize("steps", [(), ("begin 10:00",)])
def test_a_scenario_without_expectations_passes_and_counts_none(steps: tuple[str, ...]) -> None:
    result = played(*steps)
    assert result.passed
    assert result.expectations == 0
