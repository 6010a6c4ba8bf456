"""A scenario on the session's own panel runs as the command line plays it, and can be looked at."""

from __future__ import annotations

import pytest

from rungs.bench.session.trial import Trial
from rungs.scan.scenario import play
from tests.bench.panels import SHED, session_of

SCENARIOS = (
    SHED
    + """
never "both at once" lamp and pump

scenario "begins by itself"
    begin Wed 2026-11-25 22:59
    expect not night
    wait 2min
    expect night and flap
scenario "begins at rest"
    operate start
    wait 1s
    release start
    expect pump
    expect lamp
    expect pump
scenario "breaks"
    tap start
    operate lamp_switch
    wait 1s
    expect lamp
scenario "power"
    tap start
    power off for 1s
    expect not pump and ready
"""
)


@pytest.mark.parametrize("number", range(4))
def test_a_trial_gives_the_outcome_of_the_command_line(number: int) -> None:
    session = session_of(SCENARIOS)
    scenario = session.program.scenarios[number]
    trial = Trial(session, scenario)
    while not trial.over:
        trial.step()
    played = play(session.program, scenario)
    assert [(s.text, s.passed, s.seen) for s in trial.steps] == [
        (s.text, s.passed, s.seen) for s in played.steps
    ]
    assert trial.failed == (not played.passed)
    assert [b.property.label for b in trial.broken] == [b.property.label for b in played.broken]
    assert trial.step() is None
    assert not session.running


def test_the_rest_stops_at_the_first_step_that_fails_and_then_goes_on() -> None:
    session = session_of(SCENARIOS)
    trial = Trial(session, session.program.scenarios[1])
    trial.rest()
    assert [s.passed for s in trial.steps] == [None, None, None, True, False]
    trial.rest()
    assert len(trial.steps) == 6
    assert trial.over
    assert trial.failed


def test_the_rest_stops_where_a_property_breaks() -> None:
    session = session_of(SCENARIOS)
    trial = Trial(session, session.program.scenarios[2])
    trial.rest()
    assert trial.steps[-1].text == "operate lamp_switch"
    assert [b.property.label for b in trial.broken] == ["both at once"]
    assert not trial.over


def test_a_look_into_the_past_does_not_change_what_the_next_step_does() -> None:
    looked, straight = session_of(SCENARIOS), session_of(SCENARIOS)
    one = Trial(looked, looked.program.scenarios[1])
    other = Trial(straight, straight.program.scenarios[1])
    while not one.over:
        one.step()
        other.step()
        looked.back_to_change()
        looked.back_one_rung()
    looked.to_present()
    assert one.steps == other.steps
    assert looked.panel.state == straight.panel.state
    assert looked.panel.now == straight.panel.now


def test_what_the_steps_do_is_recorded_as_hands_are() -> None:
    session = session_of(SCENARIOS)
    trial = Trial(session, session.program.scenarios[1])
    trial.rest()
    state, at = session.panel.state, session.at
    session.to_time(0)
    assert "pump" not in {n for n, on in session.moment().image.contacts.items() if on}
    session.to_time(at)
    assert session.standing.state == state
    assert [act.deed for act in session.recorder.acts] == ["operate", "operate"]
