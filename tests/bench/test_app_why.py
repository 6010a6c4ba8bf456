"""Asking why on the bench, and holding devices against the program."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual import _wait
from textual.widgets import Input

from rungs.bench import app
from rungs.bench.dialogs import Menu, Page
from rungs.bench.session.run import FORCE_MS
from rungs.cli.main import main
from rungs.prove.why.explain import Explainer
from rungs.prove.why.verify import verified
from tests.bench.harness import Bench, bench
from tests.bench.panels import SHED

PLAYED = (
    SHED
    + """
scenario "A press"
    begin Wed 2026-11-25 22:45
    operate start
    wait 1s
    release start
    expect pump
"""
)


@pytest.fixture(autouse=True)
def own_state(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    # the tests call for frames themselves, and their screens come to rest quickly
    monkeypatch.setattr(app, "FRAMES", 0.01)
    monkeypatch.setattr(_wait, "SLEEP_GRANULARITY", 0.005)
    monkeypatch.setattr(_wait, "SLEEP_IDLE", 0.0025)


def words(text: str) -> str:
    """Text without where its lines end."""
    return " ".join(text.split())


def page(b: Bench) -> str:
    """The words of the page that is open."""
    assert isinstance(b.app.screen, Page)
    return words(b.lines("#page").partition("\n")[2])


async def ask_at(b: Bench, rung: int, element: int) -> str:
    """What `w` says of a contact or coil of the ladder, once it was checked again."""
    await b.to("ladder")
    b.app.choose_element(rung - 1, element)
    await b.look()
    name = b.app.subject
    assert name is not None
    history = b.session.history()
    assert history is not None
    at = history.scan_at(b.session.at)
    assert verified(history, Explainer(history).explain(name, "contact", at)) == ()
    await b.press("w")
    found = page(b)
    assert "failed its own check" not in found
    await b.press("escape")
    assert b.dialogs == 0
    return found


async def test_why_a_contact_is_open() -> None:
    async with bench() as b:
        said = await ask_at(b, 1, 0)
        assert said.startswith("lamp_switch is open: released; it is wired NO")
        assert "It would close if lamp_switch were operated." in said


async def test_why_a_coil_is_off_and_then_on() -> None:
    async with bench() as b:
        said = await ask_at(b, 1, 1)
        assert said.startswith("lamp is off")
        assert "Rung 1 'The lamp follows the switch' is open" in said
        b.session.toggle("lamp_switch")
        b.session.run()
        await b.wait(100)
        said = await ask_at(b, 1, 1)
        assert said.startswith("lamp is on")
        assert "lamp_switch" in said


async def test_why_of_an_output_with_a_closed_contact_speaks_of_its_load() -> None:
    async with bench() as b:
        said = await ask_at(b, 4, 2)
        assert said.startswith("flap is off")
        assert "load" in said


async def test_why_of_a_moment_of_the_past_speaks_of_that_moment() -> None:
    async with bench() as b:
        b.session.toggle("lamp_switch")
        await b.wait(500)
        await b.to("ladder")
        await b.press("N", "O")
        assert b.session.in_past
        assert (await ask_at(b, 1, 1)).startswith("lamp is off")
        assert b.session.in_past
        await b.press("l")
        assert (await ask_at(b, 1, 1)).startswith("lamp is on")


async def test_why_stops_time_so_that_the_answer_stays_true() -> None:
    async with bench() as b:
        await b.press("w")
        assert not b.session.running


@pytest.mark.parametrize("device", ["pump", "warm", "runs", "ready", "lamp", "start"])
async def test_why_says_what_the_command_line_says(
    device: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    file = tmp_path / "shed.rungs"
    async with bench(PLAYED, path=file) as b:
        await b.press("v", "a", "V")
        assert "passes" in b.says
        rungs = b.session.program.rungs
        place = next(
            (rung, element)
            for rung in rungs
            for element, name in enumerate(names_of(b, rung.number))
            if name == device
        )
        said = await ask_at(b, place[0].number, place[1])
    assert main(["why", str(file), device, "--scenario", "A press"]) == 0
    told = capsys.readouterr().out.partition("\n")[2]
    assert words(told) == said


def names_of(b: Bench, number: int) -> list[str]:
    """The devices of a rung's contacts and coils, in the order in which arrows walk them."""
    found = []
    for element in range(12):
        b.app.rung_index, b.app.element = number - 1, element
        found.append(b.app.chosen_in_ladder or "")
    return found


# --- forces


async def hold(b: Bench, letter: str) -> None:
    """Force the chosen device: n on, f off, l let go."""
    await b.press("f")
    assert isinstance(b.app.screen, Menu)
    await b.press(letter)


async def test_a_force_is_asked_for_and_shown_everywhere() -> None:
    async with bench(size=(120, 34)) as b:
        await b.to("ladder")
        await b.press("right")
        await hold(b, "n")
        await b.wait(100)
        assert "lamp is held on" in b.says
        assert "lamp" in b.on()
        assert "!1 forced" in b.lines("#top")
        assert "forced" in b.tones("#top")
        assert "forced" in " ".join(b.tones("#devices"))
        look = b.app.painting.look(0)
        assert look.forced == {"lamp"}
        b.app.say("")
        await b.look()
        assert "forced: lamp on - F lets go of all" in b.lines("#detail")


async def test_an_input_is_held_closed_or_open() -> None:
    async with bench() as b:
        await b.press("f")
        assert "hold lamp_switch closed" in b.lines("#items")
        await b.press("n")
        await b.wait(100)
        assert "lamp" in b.on()
        assert "forced" in " ".join(b.tones("#switches"))


async def test_a_force_that_is_there_can_be_let_go_alone() -> None:
    async with bench() as b:
        await b.press("f")
        assert "let go" not in b.lines("#items")
        await b.press("n")
        await hold(b, "l")
        assert b.session.forces() == ()
        assert "free again" in b.says


async def test_forces_are_let_go_together() -> None:
    async with bench() as b:
        await hold(b, "n")
        await b.press("down")
        await hold(b, "f")
        assert "!2 forced" in b.lines("#top")
        await b.press("F")
        assert b.session.forces() == ()
        assert "let go of lamp_switch, stop" in b.says
        assert "forced" not in b.lines("#top")
        await b.press("F")
        assert "nothing is forced" in b.says


async def test_escape_forces_nothing() -> None:
    async with bench() as b:
        await hold(b, "escape")
        assert b.session.forces() == ()


async def test_a_force_lets_go_after_ten_minutes_of_real_time() -> None:
    async with bench() as b:
        await hold(b, "n")
        assert b.session.forces() == (("lamp_switch", True, FORCE_MS),)
        await b.press("r")  # a sleep of the machine is nothing to a panel that is paused
        await b.wait(FORCE_MS - 1)
        assert [name for name, _, _ in b.session.forces()] == ["lamp_switch"]
        await b.wait(1)
        assert b.session.forces() == ()
        assert "forced" not in b.lines("#top")


async def test_a_force_does_not_outlive_a_sleep_of_the_machine() -> None:
    async with bench() as b:
        await hold(b, "n")
        assert b.session.running
        await b.wait(FORCE_MS)
        assert b.session.forces() == ()


async def test_a_force_survives_a_walk_into_the_past_and_back() -> None:
    async with bench() as b:
        await b.wait(500)
        await hold(b, "n")
        await b.wait(500)
        await b.to("ladder")
        await b.press("N", "O")
        assert b.session.forces() == ()
        assert b.session.panel.forces == {"lamp_switch": True}
        await b.press("l")
        assert [name for name, _, _ in b.session.forces()] == ["lamp_switch"]
        assert "!1 forced" in b.lines("#top")


async def test_a_force_in_the_past_asks_before_another_future_begins() -> None:
    async with bench() as b:
        await b.wait(500)
        await b.press("O")
        ends = b.session.recorder.ends
        await hold(b, "n")
        assert "This moment is past" in b.lines("#head")
        await b.press("escape")
        assert (b.session.in_past, b.session.recorder.ends) == (True, ends)
        await hold(b, "n")
        await b.press("a")
        assert not b.session.in_past
        assert b.session.panel.forces == {"lamp_switch": True}


async def test_forces_never_come_into_the_file(tmp_path: Path) -> None:
    file = tmp_path / "shed.rungs"
    async with bench(path=file) as b:
        before = file.read_bytes()
        await hold(b, "n")
        assert not b.app.work.dirty
        await b.press("f2")
        assert "the 1 force" not in b.says
        assert "; 1 force is not part of it" in b.says
        assert file.read_bytes() == before
        await b.press("a")
        assert b.session.forces() == ()


async def test_a_device_of_the_text_alone_cannot_be_asked_or_held_yet() -> None:
    async with bench() as b:
        await b.to("ladder")
        await b.press("enter", "w", "r")
        assert isinstance(b.app.screen.focused, Input)
        await b.fill_in("spare")
        await b.press("right", "enter", "o")
        await b.fill_in("spare")
        assert b.app.subject == "spare"
        for key in ("w", "f"):
            await b.press(key)
            assert b.says == "spare is not in the panel yet: F4 takes the edited program in"
            assert b.dialogs == 0
