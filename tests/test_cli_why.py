"""`rungs why`: sentences and JSON, what can be asked, and how a wrong question is answered."""

from __future__ import annotations

import json
from argparse import ArgumentParser
from dataclasses import replace
from pathlib import Path

import pytest

from rungs.cli import why
from rungs.cli.exits import FINDINGS, FINE, WRONG_CALL, CliError
from rungs.prove.why.alter import alterations
from rungs.prove.why.explain import Explainer
from rungs.prove.why.history import RecordedPanel
from rungs.prove.why.nodes import Alterations
from rungs.report.why import why_text
from rungs.report.why_model import WhyModel, why_model
from tests.helpers import program_of
from tests.test_imports import loaded_by

DEMOS = Path(__file__).resolve().parents[1] / "demos"
BOATHOUSE = str(DEMOS / "boathouse.rungs")
START_STOP = str(DEMOS / "start_stop.rungs")


def ask(*words: str) -> int:
    """The verb as the command line calls it."""
    parser = ArgumentParser()
    why.configure(parser)
    return why.run(parser.parse_intermixed_args(words))


def answer(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    """What it says, on one line, without the line that tells the moment."""
    assert ask(*words) == FINE
    moment, text = capsys.readouterr().out.split("\n", 1)
    assert moment.startswith("[")
    return " ".join(text.split())


def test_an_output_that_is_off_names_its_rung_its_timer_its_clock_and_the_way_on(
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = answer(capsys, BOATHOUSE, "walkway", "--scenario", "A late call")
    assert said == (
        "walkway is off since 22:46:30. Rung 4 'A call lights the walkway in the dark' is open: "
        "linger timed out 1 s ago (call_button was released at 22:45:00), and evening is open "
        "until Thu 19:00. It would come on if call_button were operated."
    )


def test_an_output_that_is_on_says_when_it_goes_off_by_itself(
    capsys: pytest.CaptureFixture[str],
) -> None:
    said = answer(capsys, BOATHOUSE, "walkway", "--scenario", "A late call", "--at", "60s")
    assert "linger is timing, 30.24 s left" in said
    assert "No switch would make it go off now." in said
    assert "Left alone it goes off in 30.24 s, when linger times out." in said


def test_a_scenario_can_be_stopped_at_a_line(capsys: pytest.CaptureFixture[str]) -> None:
    source = Path(START_STOP).read_text(encoding="utf-8").splitlines()
    line = 1 + next(n for n, text in enumerate(source) if "operate stop_button" in text)
    said = answer(capsys, START_STOP, "contactor", "--scenario", "Start, run", "--line", str(line))
    assert "contactor is off since 07:00:10" in said
    assert "stop_button is open (operated at 07:00:10). Also open in it: rising" in said


def test_a_seal_in_is_told_by_how_it_began(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    stimulus = tmp_path / "s.csv"
    stimulus.write_text(
        "t_ms,start_button,pulled_in\n0,0,0\n1000,1,0\n1050,1,1\n1200,0,1\n30000,0,1\n",
        encoding="utf-8",
    )
    assert ask(START_STOP, "contactor", "--stimulus", str(stimulus)) == FINE
    lines = capsys.readouterr().out.splitlines()
    said = " ".join(" ".join(lines).split())
    assert "it holds itself since 1.02 s" in said
    assert "contactor came on at 1.02 s" in said
    assert "start_button rose (operated at 1.02 s)" in said
    assert "stop_button operated" in said
    assert any(line.startswith("  contactor came on") for line in lines)


def test_at_rest_nothing_is_played(capsys: pytest.CaptureFixture[str]) -> None:
    said = answer(capsys, START_STOP, "contactor")
    assert "start_button is open (released)" in said
    assert said.endswith("It would come on if start_button were operated.")


def test_a_load_on_a_break_contact_and_a_timer_that_is_timing_can_be_asked_about(
    capsys: pytest.CaptureFixture[str],
) -> None:
    airlock = str(DEMOS / "airlock.rungs")
    said = answer(capsys, airlock, "free_outer", "--load")
    assert said.startswith("the load of free_outer is on since power came on: the coil is off")
    said = answer(capsys, BOATHOUSE, "linger", "--timing", "--scenario", "A late call", "--at=60s")
    assert said.startswith("linger is timing, 30.24 s left. Rung 3")
    said = answer(capsys, BOATHOUSE, "linger", "--coil", "--scenario", "A late call", "--at=60s")
    assert said.startswith("the coil of linger is off since 22:45:00.")


@pytest.mark.parametrize("demo", sorted(DEMOS.glob("*.rungs")), ids=lambda path: path.stem)
def test_every_device_of_every_demo_is_explained_within_the_width(
    demo: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    program = program_of(demo.read_text(encoding="utf-8"))
    scenario = program.scenarios[0].label
    for device in program.devices:
        assert ask(str(demo), device.name, "--scenario", scenario) == FINE
        shown = capsys.readouterr()
        assert "failed its own check" not in shown.err
        _, first, *rest = shown.out.splitlines()
        assert first.startswith(f"{device.name} ")
        assert rest or first.endswith(".")
        assert max(map(len, shown.out.splitlines())) <= 80


def test_the_json_follows_its_model_and_holds_the_same_sentences(
    capsys: pytest.CaptureFixture[str],
) -> None:
    words = (BOATHOUSE, "walkway", "--scenario", "A late call")
    assert ask(*words, "--json") == FINE
    shown = json.loads(capsys.readouterr().out)
    model = WhyModel.model_validate(shown)
    assert (model.kind, model.device, model.value, model.checked) == ("why", "walkway", False, True)
    rung = model.explanation.rung
    assert rung is not None
    assert (rung.number, [c.contact for c in model.explanation.causes if c.told]) == (
        4,
        ["linger", "evening"],
    )
    assert [(c.hand, c.name) for c in model.changes] == [("operate", "call_button")]
    assert ask(*words) == FINE
    assert capsys.readouterr().out.split("\n", 1)[1] == model.text + "\n"


def test_a_label_cannot_move_the_cursor_of_the_terminal(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    # the checker lets no such label through, so one is put behind it

    program = program_of('input a at I1\noutput o at R1\nrung "x" a -> o')
    rung = replace(program.rungs[0], label="\x1b[2J[bold]red[/]\u202e")
    panel = RecordedPanel(replace(program, rungs=(rung,)))
    panel.settle()
    found = Explainer(panel.history).explain("o")
    text = why_text(panel.history, found, Alterations())
    assert "\x1b" not in text
    assert "\u202e" not in text
    assert "[bold]red[/]" in text


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("walkwy",), "did you mean 'walkway'"),
        (("zzz",), "there are door_switch"),
        (("linger", "--load"), "is no output"),
        (("walkway", "--timing"), "is no timer"),
        (("dark", "--coil"), "has no coil"),
        (("walkway", "--scenario", "nowhere"), "no scenario's name has 'nowhere'"),
        (("walkway", "--scenario", "The"), None),
        (("walkway", "--scenario", "e"), "is in the name of 2 scenarios"),
        (("walkway", "--scenario", "A late", "--line", "3"), "and not on 3"),
        (("walkway", "--line", "3"), "--line goes with --scenario"),
        (("walkway", "--at", "soon"), "is no time of the run"),
        (("walkway", "--start", "noon"), "is no date and time"),
        (("walkway", "--stimulus", "missing.csv"), "missing.csv"),
    ],
)
def test_a_wrong_question_gets_a_plain_sentence(
    words: tuple[str, ...], message: str | None, capsys: pytest.CaptureFixture[str]
) -> None:
    if message is None:
        assert ask(BOATHOUSE, *words) == FINE
        return
    with pytest.raises(CliError, match=message) as ended:
        ask(BOATHOUSE, *words)
    assert ended.value.code == WRONG_CALL


def test_sentences_are_made_without_loading_what_only_json_needs() -> None:
    assert loaded_by("import rungs.cli.why, rungs.report.why") == {"lark"}


def test_a_panel_with_errors_shows_them_and_is_not_played(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    path = tmp_path / "bad.rungs"
    path.write_text("output o at R1\nrung nothing -> o\n", encoding="utf-8")
    with pytest.raises(CliError) as ended:
        ask(str(path), "o")
    assert ended.value.code == FINDINGS
    assert "nothing" in capsys.readouterr().err
    with pytest.raises(CliError):
        ask(str(path), "o", "--json")
    assert json.loads(capsys.readouterr().out)["kind"] == "check"


def test_a_stimulus_with_errors_shows_them(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    stimulus = tmp_path / "s.csv"
    stimulus.write_text("t_ms,call_buton\n0,1\n", encoding="utf-8")
    assert ask(BOATHOUSE, "walkway", "--stimulus", str(stimulus)) == FINDINGS
    assert "did you mean 'call_button'" in capsys.readouterr().err


def test_the_wall_time_of_the_start_is_used(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    stimulus = tmp_path / "s.csv"
    stimulus.write_text("t_ms,call_button\n0,0\n5000,0\n", encoding="utf-8")
    said = answer(
        capsys,
        BOATHOUSE,
        "walkway",
        "--stimulus",
        str(stimulus),
        "--start",
        "2026-11-27T20:00",
        "--at",
        "2h",
    )
    # a Friday evening; the clock closes at 22:30
    assert "walkway is on since power came on." in said
    assert "evening is closed until 22:30" in said
    assert "Left alone it goes off in 30 min, when evening opens." in said


def test_an_answer_without_power_says_so(
    capsys: pytest.CaptureFixture[str], tmp_path: Path
) -> None:
    stimulus = tmp_path / "s.csv"
    stimulus.write_text("t_ms,call_button,power\n0,1,1\n1000,1,0\n2000,1,0\n", encoding="utf-8")
    said = answer(
        capsys, BOATHOUSE, "walkway", "--stimulus", str(stimulus), "--start", "2026-11-27T20:00"
    )
    assert said.startswith("walkway is off: the panel has no power.")
    assert said.endswith("Power coming back would make it come on.")


def told(panel: RecordedPanel, name: str, wall: bool = False) -> str:
    """The sentences about a device of a panel as it stands, on one line."""
    found = Explainer(panel.history).explain(name)
    return " ".join(why_text(panel.history, found, alterations(panel.history, name), wall).split())


FORCED = """
input a at I1
input b at I2
relay kept
output lamp at R1
output sign at R2 NC
rung "Keep" a -> latch kept
rung b -> unlatch kept
rung "Light" a or b -> lamp
rung lamp and kept -> sign
"""


def test_a_forced_device_is_said_to_be_held_by_a_force_and_what_letting_go_would_do() -> None:
    panel = RecordedPanel(program_of(FORCED))
    panel.make_scan()
    panel.force("lamp", True)
    panel.force("sign", True)
    panel.run(5_000)
    assert told(panel, "lamp") == (
        "lamp is held on by a force since 0.01 s. It would go off if the force on lamp were"
        " released."
    )
    assert told(panel, "sign").startswith(
        "sign is held on by a force since 0.01 s, and its load off (it hangs on the NC contact)."
    )
    panel.force("sign", None)
    panel.operate("a", True)
    panel.run(6_000)
    said = told(panel, "sign")
    assert "Rung 4 'Light' is closed: lamp is held on by a force since 0.01 s, and" in said
    assert "It would go off if the force on lamp were released" not in said
    panel.force("lamp", False)
    panel.run(7_000)
    said = told(panel, "sign")
    assert "lamp is held off by a force since 6.01 s" in said
    assert said.endswith("It would come on if the force on lamp were released.")


def test_a_latch_that_a_force_left_on_says_when_the_force_went() -> None:
    panel = RecordedPanel(program_of(FORCED))
    panel.make_scan()
    panel.force("kept", True)
    panel.run(5_000)
    panel.force("kept", None)
    panel.run(9_000)
    assert told(panel, "kept") == (
        "kept is on since 0.01 s: it was held on by a force until 5 s, and nothing has moved it"
        " since. It would go off if b were operated."
    )


def test_a_force_and_a_switch_that_hold_a_lamp_off_together_are_both_named() -> None:
    panel = RecordedPanel(program_of("input a at I1\noutput o at R1\nrung a -> o"))
    panel.make_scan()
    panel.force("o", False)
    panel.run(100)
    assert told(panel, "o") == (
        "o is held off by a force since 0.01 s. No single thing would make it come on; it would if"
        " the force on o were released and a were operated."
    )


def test_the_json_of_a_forced_device_names_the_force() -> None:
    panel = RecordedPanel(program_of(FORCED))
    panel.make_scan()
    panel.force("lamp", True)
    panel.run(100)
    history = panel.history
    found = alterations(history, "lamp")
    model = why_model(history, Explainer(history).explain("lamp"), found, True, False)
    assert model.explanation.how == "forced"
    assert model.explanation.detail == {"closed": True, "since": 10, "until": None}
    assert [(c.hand, c.name, c.lasting) for c in model.changes] == [("unforce", "lamp", True)]
    assert WhyModel.model_validate_json(model.model_dump_json()) == model
