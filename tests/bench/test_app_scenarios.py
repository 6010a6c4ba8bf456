"""Keeping what the hands do as a scenario, and playing one on the bench."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual import _wait

from rungs.bench import app
from rungs.bench.dialogs import Menu, Page, Prompt, Tick
from rungs.scan.scenario import play
from tests.bench.harness import Bench, bench
from tests.bench.panels import SHED
from tests.helpers import program_of

FAILING = (
    SHED
    + """
scenario "A press"
    begin Wed 2026-11-25 22:45
    tap start
    expect pump
    wait 1s
    expect not pump
    operate stop
    expect not pump

scenario "The switch"
    operate lamp_switch
    expect lamp
"""
)


@pytest.fixture(autouse=True)
def own_state(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    # the tests call for frames themselves, and their screens come to rest quickly
    monkeypatch.setattr(app, "FRAMES", 0.01)
    monkeypatch.setattr(_wait, "SLEEP_GRANULARITY", 0.005)
    monkeypatch.setattr(_wait, "SLEEP_IDLE", 0.0025)


async def keep(b: Bench, *keys: str) -> None:
    """Ask what is to become of the scenario that is kept, and answer."""
    await b.press("k")
    assert isinstance(b.app.screen, Menu)
    await b.press(*keys)


async def write(b: Bench, label: str) -> None:
    """Write the scenario that is kept, and close what is told of it."""
    await keep(b, "w")
    assert isinstance(b.app.screen, Prompt)
    await b.fill_in(label)
    if isinstance(b.app.screen, Page):
        await b.press("escape")
    assert b.dialogs == 0


# --- keeping


async def test_what_the_hands_do_becomes_a_scenario_that_plays_green(tmp_path: Path) -> None:
    file = tmp_path / "shed.rungs"
    async with bench(path=file) as b:
        await b.press("k")
        assert "what the hands do is kept" in b.says
        assert "keeping" in b.lines("#top")
        await b.press("space")
        await b.wait(1_000)
        await b.press("down", "down", "space")
        await b.wait(500)
        await keep(b, "c")
        await b.fill_in("lamp and pump and nobody")
        assert "nobody" in b.lines("#wrong")
        await b.fill_in("lamp and pump")
        assert "expected" in b.says
        await write(b, "Hands at work")
        assert 'scenario "Hands at work" written' in b.says
        assert "keeping" not in b.lines("#top")
        text = b.app.work.text
        assert text.startswith(SHED)
        assert b.app.bench.text.text == text
        assert b.app.work.dirty
        program = program_of(text)
        (scenario,) = program.scenarios
        assert scenario.label == "Hands at work"
        assert "expect lamp and pump" in text.replace("\n", " ")
        played = play(program, scenario)
        assert played.passed
        assert not b.app.pending
        assert b.session.program.scenarios == program.scenarios
        assert b.session.panel.now == 1_500
        await b.press("z")
        assert b.app.work.text == SHED
    assert file.read_text(encoding="utf-8") == SHED


async def test_devices_are_expected_by_ticking_them() -> None:
    async with bench() as b:
        await b.press("k", "space")
        await b.wait(300)
        await keep(b, "e")
        screen = b.app.screen
        assert isinstance(screen, Tick)
        ticked = [line for line in b.lines("#items").split("\n") if "[x]" in line]
        assert [line.split()[-1] for line in ticked] == ["lamp"]
        row = next(n for n, line in enumerate(b.lines("#items").split("\n")) if "not pump" in line)
        await b.press(*["down"] * row, "space", "enter")
        await write(b, "Ticked")
        program = program_of(b.app.work.text)
        assert "expect lamp and not pump" in b.app.work.text
        assert play(program, program.scenarios[0]).passed


async def test_nothing_ticked_expects_nothing() -> None:
    async with bench() as b:
        await b.press("k", "space")
        await b.wait(300)
        await keep(b, "e", "a", "a", "enter")
        await write(b, "No more")
        assert "expect" not in b.app.work.text


async def test_a_circuit_that_is_open_is_not_written_and_told() -> None:
    async with bench() as b:
        await b.press("k")
        await keep(b, "c")
        await b.fill_in("lamp")
        assert "left out" in b.says
        await keep(b, "w")
        await b.fill_in("Odd")
        assert isinstance(b.app.screen, Page)
        assert "It differs from what was done" in b.lines("#page").replace("\n", " ")
        assert "expect lamp" not in b.app.work.text


async def test_a_scenario_can_be_dropped() -> None:
    async with bench() as b:
        await b.press("k", "space")
        await keep(b, "d")
        assert b.says == "the scenario was dropped"
        assert b.app.scenarios.scribe is None
        assert b.app.work.text == SHED
        assert b.session.recorder.hearers == []


async def test_a_scenario_that_is_kept_ends_when_the_hands_go_back_before_it() -> None:
    async with bench() as b:
        await b.wait(500)
        await b.press("k")
        await b.wait(500)
        await b.press("space")
        await b.wait(500)
        await b.press("N", "O", "O", "O")
        # a look into the past alone drops nothing, and the present is still kept
        await b.press("l")
        assert "keeping" in b.lines("#top")
        await b.press("N", "O", "O", "O", "down", "down", "space", "a")
        assert "keeping" not in b.lines("#top")
        assert b.app.work.text == SHED


async def test_the_past_cannot_be_expected() -> None:
    async with bench() as b:
        await b.press("k", "space")
        await b.wait(500)
        await b.press("O")
        for letter in ("e", "c"):
            await keep(b, letter)
            assert b.dialogs == 0
            assert "this moment is past" in b.says
        await b.press("l")
        await keep(b, "e")
        assert isinstance(b.app.screen, Tick)


async def test_a_branch_without_hands_before_what_is_kept_drops_it_when_it_is_expected() -> None:
    async with bench() as b:
        await b.wait(500)
        await b.press("k", "space")
        await b.wait(500)
        await b.press("N", "O", "O", "F", "a")
        assert not b.session.in_past
        await keep(b, "c")
        await b.fill_in("not pump")
        assert "dropped" in b.says
        assert b.app.scenarios.scribe is None


async def test_what_no_scenario_can_begin_with_is_said_before_anything_is_kept() -> None:
    async with bench() as b:
        await b.press("k")
        assert "begin" not in b.app.message
        await b.press("k", "d", "down", "down", "space")  # the pump runs
        await b.wait(500)
        await b.press("k")
        assert "as no scenario can begin" in b.app.message
        await b.press("k", "w")
        await b.press("enter")
        await b.press("escape")
        assert "it expects nothing yet" in b.says


async def test_starting_again_while_keeping_drops_the_scenario() -> None:
    async with bench() as b:
        await b.press("k", "space", "a")
        assert b.app.scenarios.scribe is None
        assert "dropped" in b.says


async def test_a_scenario_that_is_kept_is_not_lost_by_playing_another() -> None:
    async with bench(FAILING) as b:
        await b.press("k", "space", "v")
        assert b.dialogs == 0
        assert "k writes it or drops it" in b.says
        assert b.app.scenarios.scribe is not None


async def test_leaving_asks_about_a_scenario_that_is_kept() -> None:
    async with bench() as b:
        await b.press("k", "q")
        assert "A scenario is being kept" in b.lines("#head")
        await b.press("b")
        assert b.app.is_running
        await b.press("q", "k", "d", "q")
        assert b.app.left


# --- playing


async def test_a_scenario_is_played_step_by_step_to_its_failing_line() -> None:
    async with bench(FAILING) as b:
        await b.press("v")
        assert "A press" in b.lines("#items")
        await b.press("a")
        assert not b.session.running
        assert '"A press", 7 steps' in b.says
        await b.press("v", "v")
        line = FAILING.split("\n").index("    tap start") + 1
        assert b.says.startswith(f"line {line}, step 2 of 7: tap start")
        await b.press("V")
        assert b.says.startswith(f"line {line + 3}, step 5 of 7: expect not pump: FAILS - ")
        assert "pump" in b.says.partition(" - ")[2]
        assert b.app.scenarios.trial is not None
        assert b.session.panel.now > 1_000


async def test_at_a_failing_step_one_can_ask_why_and_walk_back() -> None:
    async with bench(FAILING) as b:
        await b.press("v", "a", "V")
        now = b.session.at
        assert "pump" in b.on()
        await b.to("ladder")
        b.app.choose_element(1, 4)
        assert b.app.subject == "pump"
        await b.press("w")
        assert isinstance(b.app.screen, Page)
        assert "pump is on" in b.lines("#page")
        await b.press("escape", "N")
        assert b.session.at < now
        await b.press("O", "I", "i")
        assert b.session.in_past
        await b.press("l")
        assert b.session.at == now
        # time goes on by the steps of the scenario alone
        for key in ("o", "n", "e", "i", "r"):
            await b.press(key)
            assert "a scenario is being played" in b.says
            assert b.session.at == now
        # nor past what is recorded, from a moment of the past
        await b.press("O", "n", "e")
        assert b.session.recorder.ends == now
        await b.press("V")
        assert b.says.startswith('scenario "A press" is over: it fails.')
        assert b.app.scenarios.trial is None


async def test_hands_keep_off_while_a_scenario_is_played() -> None:
    async with bench(FAILING) as b:
        await b.press("v", "a", "v", "space")
        assert not b.session.switch("lamp_switch").operated
        assert "a scenario is being played" in b.says
        await b.press("escape")
        assert "left after 1 step;" in b.says
        await b.press("space")
        assert b.session.switch("lamp_switch").operated


async def test_a_scenario_that_passes_says_so_and_is_that_of_the_command_line() -> None:
    async with bench(FAILING) as b:
        await b.press("v", "b", "V")
        assert b.says.startswith('scenario "The switch" is over: it passes.')
        program = b.session.program
        assert [play(program, s).passed for s in program.scenarios] == [False, True]


async def test_an_edited_scenario_is_played_as_edited_without_taking_anything_in() -> None:
    async with bench(FAILING) as b:
        await b.press("v", "a", "V", "escape", "f3")
        pane = b.app.bench.text
        at = b.app.work.text.index("    expect not pump\n    operate stop")
        pane.selection = type(pane.selection)(pane.location_of(at + 11), pane.location_of(at + 15))
        await b.press("delete", "escape", "v", "a", "V")
        assert b.says.startswith('scenario "A press" is over: it passes.')


async def test_a_scenario_of_another_program_waits_for_it_to_be_taken_in() -> None:
    async with bench(FAILING) as b:
        await b.to("ladder")
        await b.press("enter", "c", "v")
        assert b.dialogs == 0
        assert "F4 takes the edited one in first" in b.says


async def test_a_file_without_scenarios_says_how_to_get_one() -> None:
    async with bench() as b:
        await b.press("v")
        assert "no scenarios; k keeps" in b.says


async def test_the_text_follows_the_step_that_is_played() -> None:
    async with bench(FAILING) as b:
        await b.press("f3", "escape", "v", "a", "v", "v")
        row, _ = b.app.bench.text.cursor_location
        assert b.app.bench.text.document.get_line(row) == "    tap start"
