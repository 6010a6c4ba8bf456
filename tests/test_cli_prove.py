"""`rungs prove` as a user calls it: the page, JSON, JUnit, saved runs, certificates, exit codes."""

from __future__ import annotations

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from threading import Timer
from typing import Any
from xml.etree import ElementTree

import pytest

from rungs.cli.exits import CliError
from rungs.cli.main import main
from rungs.prove.whole import Report, prove
from rungs.report.proof_model import ProofModel
from rungs.report.proofs import CAUTION
from rungs.shipped import shipped
from tests.test_cli import rungs

STOP = """title "Stop wired wrong"

input  start at I1 momentary NO   # a comment that stays
input  stop  at I2 momentary NO
output motor at R1

rung "Seal in"
    (start or motor) and not stop -> motor

require "a broken stop wire stops it" when broken stop then not motor
never   "motor and stop"              motor and stop
"""


@pytest.fixture
def panel(tmp_path: Path) -> Path:
    path = tmp_path / "panel.rungs"
    path.write_bytes(STOP.encode())
    return path


def shown(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    code = main(["prove", *words])
    out = capsys.readouterr()
    return code, out.out, out.err


def test_a_failure_is_told_with_what_to_do_and_how_it_then_stands(
    panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = shown(capsys, str(panel))
    assert code == 1
    lines = out.splitlines()
    at = next(n for n, line in enumerate(lines) if line.startswith("FAILS"))
    assert lines[at] == 'FAILS   "a broken stop wire stops it" (line 10)'
    run = "\n".join(lines[at + 1 : at + 6])
    assert "operate start" in run
    assert "break the wire of stop" in run
    assert "stop is open (wire broken), motor is on" in run
    assert 'proved  "motor and stop"' in out
    assert "1 fail, 1 proved" in err
    # the worst comes first
    assert out.index("FAILS") < out.index("proved")
    assert "power cuts at any scan" in out
    assert " ".join(out.split()).endswith(CAUTION)


def test_a_sound_panel_ends_with_0_and_still_says_what_it_is_not(
    panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    panel.write_text(
        STOP.replace("stop  at I2 momentary NO", "stop  at I2 momentary NC")
        .replace("and not stop ->", "and stop ->")
        .replace("motor and stop\n", "motor and not stop\n"),
        encoding="utf-8",
    )
    code, out, _ = shown(capsys, str(panel))
    assert code == 0
    assert "no safety certification" in " ".join(out.split())


def test_a_run_that_put_a_proof_to_the_test_is_shown_when_asked_for(
    panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    _, short, _ = shown(capsys, str(panel))
    _, full, _ = shown(capsys, str(panel), "--verbose")
    assert "put to the test" not in short
    proof = full[full.index('proved  "motor and stop"') :]
    run = proof[: proof.index("put to the test")]
    assert "power on" in run
    assert "operate start" in run or "operate stop" in run


def test_json_has_a_verdict_for_each_property(
    panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = shown(capsys, str(panel), "--json")
    assert code == 1
    data = json.loads(out)
    ProofModel.model_validate(data)
    by_name = {item["name"]: item for item in data["properties"]}
    failed, held = by_name["a broken stop wire stops it"], by_name["motor and stop"]
    assert (failed["verdict"], failed["exercised"]) == ("fails", True)
    assert (held["verdict"], held["exercised"]) == ("proved", True)
    acts = failed["run"]["acts"]
    assert any(act["operate"].get("start") for act in acts)
    assert any(act["wires"].get("stop") == "broken" for act in acts)
    assert failed["run"]["end_ms"] >= max(act["t_ms"] for act in acts)
    assert held["run"] is None
    assert data["caution"] == CAUTION


def test_json_of_a_file_with_errors_is_that_of_check(
    panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    panel.write_text("rung nobody -> motor\n", encoding="utf-8")
    with pytest.raises(CliError) as stop:
        main(["prove", str(panel), "--json"])
    assert stop.value.code == 1
    assert json.loads(capsys.readouterr().out)["kind"] == "check"


def test_junit_counts_what_failed(
    panel: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    target = tmp_path / "proofs.xml"
    shown(capsys, str(panel), "--junit", str(target))
    (suite,) = ElementTree.parse(target).getroot()
    assert (suite.get("tests"), suite.get("failures"), suite.get("errors")) == ("2", "1", "0")
    failure = suite.find("testcase/failure")
    assert failure is not None
    assert "break the wire of stop" in (failure.text or "")
    assert CAUTION in (suite.findtext("system-out") or "")


@pytest.mark.parametrize("newline", ["\n", "\r\n"])
def test_saving_adds_a_scenario_and_touches_nothing_else(
    panel: Path, newline: str, capsys: pytest.CaptureFixture[str]
) -> None:
    before = STOP.replace("\n", newline).encode()
    panel.write_bytes(before)
    code, _, err = shown(capsys, str(panel), "--save")
    assert code == 1
    assert 'saved as scenario "Breaks: a broken stop wire stops it"' in err
    after = panel.read_bytes()
    assert after.startswith(before)
    added = after[len(before) :].decode()
    assert added.count(newline) == added.count("\n")
    assert "break stop" in added
    # the scenario fails as the property did, and the file is in canonical layout as far as it goes
    assert main(["test", str(panel)]) == 1
    assert "broken" in capsys.readouterr().out
    assert main(["check", str(panel)]) == 1  # the stop wired NO was warned of before


def test_saving_needs_a_file() -> None:
    result = rungs("prove", "-", "--save", stdin=STOP)
    assert result.returncode == 2
    assert "--save needs a file" in result.stderr


def test_standard_input_can_be_proved() -> None:
    result = rungs("prove", "-", "--no-questions", stdin=STOP)
    assert result.returncode == 1
    assert "FAILS" in result.stdout


def test_certificates_pass_the_checker_in_a_process_that_knows_no_prover(
    panel: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    folder = tmp_path / "proofs"
    _, _, err = shown(capsys, str(panel), "--certificates", str(folder))
    assert "1 certificate" in err
    (path,) = folder.glob("*.json")

    def checked() -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "rungs.prove.checker", str(path)],
            capture_output=True,
            text=True,
            timeout=60,
            check=False,
        )

    assert checked().returncode == 0
    data = bytearray(path.read_bytes())
    data[len(data) // 2] ^= 1
    path.write_bytes(bytes(data))
    result = checked()
    assert result.returncode == 1
    assert "rejected" in result.stdout + result.stderr


def test_only_looks_at_some_and_says_so_when_there_is_none(
    panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = shown(capsys, str(panel), "--only", "motor and")
    assert code == 0
    assert "broken stop" not in out
    with pytest.raises(CliError, match="no property's name"):
        main(["prove", str(panel), "--only", "nothing like it"])


@pytest.mark.parametrize("words", [["--seconds", "0"], ["--seconds", "soon"], ["--seconds", "nan"]])
def test_a_time_that_is_none_is_a_wrong_call(panel: Path, words: list[str]) -> None:
    with pytest.raises(SystemExit) as stop:
        main(["prove", str(panel), *words])
    assert stop.value.code == 2


def test_no_time_at_all_decides_nothing_and_is_not_called_proved(
    panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, err = shown(capsys, str(panel), "--fresh", "--seconds", "0.000001")
    assert code == 1
    assert "UNKNOWN" in out
    assert "stopped after" in out
    assert "proved" not in err


def test_labels_cannot_reach_the_terminal(panel: Path, capsys: pytest.CaptureFixture[str]) -> None:
    text = STOP.replace("motor and stop", "[b]motor[/b] & <stop>", 1)
    panel.write_text(text, encoding="utf-8")
    _, out, _ = shown(capsys, str(panel))
    assert '"[b]motor[/b] & <stop>"' in out
    assert "\x1b" not in out


def test_a_second_run_gives_the_same_page_from_what_was_kept(
    panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    pages = [shown(capsys, str(panel))[1].splitlines() for _ in range(2)]
    # but for the seconds in the second line
    assert [p for p in pages[0] if " s" not in p[-3:]] == [
        p for p in pages[1] if " s" not in p[-3:]
    ]


@pytest.mark.parametrize(
    "path", sorted(shipped("demos").glob("*.rungs")), ids=lambda path: path.stem
)
def test_every_property_of_every_demo_is_proved_and_exercised(
    path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, out, _ = shown(capsys, str(path), "--json", "--no-questions")
    assert code == 0
    data = json.loads(out)
    assert data["properties"]
    assert {(item["verdict"], item["exercised"]) for item in data["properties"]} == {
        ("proved", True)
    }


@pytest.mark.skipif(sys.platform == "win32", reason="needs signals between processes")
def test_an_interrupted_proof_shows_what_it_had(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    # twenty counters of their own: more states than anybody can look at in a minute
    lines = ["output lamp at R1", "relay all"]
    for number in range(20):
        lines += [f"input b{number} at I{number}", f"counter c{number} to 90"]
        lines += [f"rung b{number} -> c{number}"]
    lines.append("rung " + " and ".join(f"c{n}" for n in range(20)) + " -> all")
    lines += ["rung all -> lamp", 'never "all at once" lamp and c0 == 90 and c7 == 3']
    path = tmp_path / "many.rungs"
    path.write_text("\n".join(lines) + "\n", encoding="utf-8")

    def interrupted(*args: Any, **options: Any) -> Report:
        # from here on the first Ctrl-C only asks to stop
        Timer(1.0, os.kill, (os.getpid(), signal.SIGINT)).start()
        return prove(*args, **options)

    monkeypatch.setattr("rungs.cli.prove.prove", interrupted)
    code, out, _ = shown(capsys, str(path), "--seconds", "300", "--fresh")
    assert code == 130
    assert '"all at once"' in out
    assert "cancelled" in out
    assert "no safety certification" in " ".join(out.split())


# --- what is asked without being written ------------------------------------------------------

BUZZ = """input go at I1
output hum at R1
relay flip
rung go and not flip -> flip
rung flip -> hum
"""

AGAIN = """input start at I1 momentary NO
input stop at I2 momentary NO
output pump at R1
output lamp at R2
relay memory retained
rung start -> latch memory
rung stop -> unlatch memory
rung memory and not first_scan -> pump
rung (start or lamp) and not stop -> lamp
"""


def page(tmp_path: Path, capsys: pytest.CaptureFixture[str], text: str) -> str:
    path = tmp_path / "panel.rungs"
    path.write_text(text, encoding="utf-8")
    return shown(capsys, str(path))[1]


def test_chatter_is_told_with_its_round(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = page(tmp_path, capsys, BUZZ)
    assert "chatter flip, hum never come to rest" in out or "chatter hum, flip never" in out
    assert "operate go" in out


def test_a_stop_that_a_broken_wire_disarms_is_told_and_what_every_wire_does(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = page(tmp_path, capsys, AGAIN)
    assert "a broken wire does not stop" in out
    assert "stop (a stop) broken: pump comes on" in " ".join(out.split())


def test_what_a_power_cut_leaves_off_is_told(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = " ".join(page(tmp_path, capsys, AGAIN).split())
    assert "these may stay off that were on: lamp" in out


def test_json_has_the_answers_to_the_ready_questions(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    path = tmp_path / "panel.rungs"
    path.write_text(AGAIN, encoding="utf-8")
    _, out, _ = shown(capsys, str(path), "--json")
    data = json.loads(out)
    ProofModel.model_validate(data)
    assert data["every_situation"] is True
    wires = {(w["input"], w["fault"], w["output"]): w for w in data["wires"]}
    assert len(wires) == 2 * 2 * 2
    assert wires["stop", "shorted", "pump"]["danger"] == "goes off"
    assert {c["device"]: c["goes_off"] > 0 for c in data["cuts"]}["lamp"]
    assert [s["not_when_broken"] for s in data["stops"]] == [["pump", "lamp"]]
    assert {o["answer"] for o in data["orders"]} <= {"same", "late", "differs", "unknown"}
