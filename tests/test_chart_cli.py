"""`rungs trace` with charts: files by the ending of their names, chosen devices, and refusals."""

from __future__ import annotations

import csv
import re
from pathlib import Path
from xml.etree import ElementTree

import pytest

from rungs.cli.exits import CliError
from rungs.cli.main import main
from tests.test_chart_exports import SVG, read_vcd

PANEL = """\
title "Porch"
site zone "Europe/Berlin"
input door at I1 "Reed contact"
input mute at I2
output lamp at R1
counter visits to 2
timer linger off-delay 5s
rung door -> linger, visits
rung linger and not mute -> lamp
rung mute -> reset visits
"""
STIMULUS = "t_ms,door,power\n0,0,1\n20,1,1\n30,0,1\n7000,0,0\n7500,0,1\n9000,0,1\n"


@pytest.fixture
def files(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    (tmp_path / "porch.rungs").write_text(PANEL, encoding="utf-8")
    (tmp_path / "run.csv").write_text(STIMULUS, encoding="utf-8")
    monkeypatch.chdir(tmp_path)
    return tmp_path


def trace(*words: str) -> int:
    return main(["trace", "porch.rungs", "run.csv", *words])


def test_one_run_is_written_as_chart_dump_and_rows(
    files: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert trace("--changes") == 0
    rows = capsys.readouterr().out
    assert trace("--changes", "-o", "a.svg", "-o", "a.VCD", "-o", "a.csv") == 0
    assert capsys.readouterr().out == ""
    assert (files / "a.csv").read_text(encoding="utf-8") == rows
    root = ElementTree.fromstring((files / "a.svg").read_text(encoding="utf-8"))
    titles = [group[0].text or "" for group in root.findall(f"{SVG}g")]
    assert [title.split()[0] for title in titles] == ["door", "mute", "lamp", "visits", "linger"]
    dump = read_vcd((files / "a.VCD").read_text(encoding="utf-8"))
    code = {name: code for code, name in dump.names.items()}
    assert dump.values[code["Porch.door"]] == [
        (0, "0"),
        (20, "1"),
        (30, "0"),
        (7000, "x"),
        (7500, "0"),
    ]
    assert dump.values[code["Porch.visits_count"]] == [
        (0, "0"),
        (20, "1"),
        (7000, "x"),
        (7500, "0"),
    ]
    assert dump.times[-1] == 9000
    # the rows are from another engine
    table = list(csv.DictReader(rows.splitlines()))
    for row in table:
        assert dump.at(code["Porch.lamp"], int(row["t_ms"])) == row["lamp"]


def test_a_chart_says_what_was_played_and_no_folder(files: Path) -> None:
    assert main(["trace", str(files / "porch.rungs"), str(files / "run.csv"), "-o", "a.vcd"]) == 0
    text = (files / "a.vcd").read_text(encoding="utf-8")
    assert re.search(r"\$comment panel porch\.rungs, sha256 [0-9a-f]{64} \$end", text)
    assert re.search(r"\$comment stimulus run\.csv, sha256 [0-9a-f]{64} \$end", text)
    assert str(files) not in text
    assert "local time" not in text


def test_wall_time_is_shown_if_it_was_asked_for(files: Path) -> None:
    assert trace("--start", "2026-11-25T22:45:00", "-o", "a.svg", "-o", "a.vcd") == 0
    assert "2026-11-25T22:45:00.000+01:00" in (files / "a.vcd").read_text(encoding="utf-8")
    assert ">22:45:00<" in (files / "a.svg").read_text(encoding="utf-8")


def test_only_chooses_devices_and_their_order(files: Path) -> None:
    assert trace("-o", "a.vcd", "--only", "linger, door,linger", "--only", "lamp") == 0
    dump = read_vcd((files / "a.vcd").read_text(encoding="utf-8"))
    assert list(dump.names.values()) == ["Porch.linger", "Porch.door", "Porch.lamp"]


@pytest.mark.parametrize(
    ("words", "message"),
    [
        (("-o", "a.svg", "--only", "lmap"), "'lmap' is not declared; did you mean 'lamp'?"),
        (("-o", "a.svg", "--only", ","), "--only names no device"),
        (("-o", "a.csv", "--only", "lamp"), "--only chooses what charts show"),
        (("--only", "lamp"), "--only chooses what charts show"),
        (("-o", "a.svg", "-o", "a.png"), "'a.png': a trace is written as .csv, .svg or .vcd"),
        (("-o", "a"), "'a': a trace is written as"),
    ],
)
def test_wrong_names_and_endings_are_refused_before_anything_is_written(
    words: tuple[str, ...], message: str, files: Path
) -> None:
    with pytest.raises(CliError, match=re.escape(message)) as refused:
        trace(*words)
    assert refused.value.code == 2
    assert sorted(path.name for path in files.iterdir()) == ["porch.rungs", "run.csv"]


def test_json_goes_to_any_name_beside_a_chart(files: Path) -> None:
    assert trace("--json", "-o", "rows.txt", "-o", "a.svg") == 0
    assert (files / "rows.txt").read_text(encoding="utf-8").startswith('{"schema_version"')
    assert (files / "a.svg").read_text(encoding="utf-8").startswith("<?xml")


def test_a_chart_that_cannot_be_written_ends_with_code_3(files: Path) -> None:
    with pytest.raises(CliError, match="cannot write") as failed:
        trace("-o", str(files / "nowhere" / "a.svg"))
    assert failed.value.code == 3


def test_a_table_is_charted_by_its_outputs(files: Path, capsys: pytest.CaptureFixture[str]) -> None:
    plain = 'input door at I1\noutput lamp at R1 "Porch lamp"\nrung door -> lamp\n'
    (files / "plain.rungs").write_text(plain, encoding="utf-8")
    compile_words = ["compile", "plain.rungs", "--board", "timed-states", "-o", "table.json"]
    assert main(compile_words) == 0
    assert main(["trace", "table.json", "run.csv", "-o", "a.vcd"]) == 0
    capsys.readouterr()
    dump = read_vcd((files / "a.vcd").read_text(encoding="utf-8"))
    ((code, name),) = dump.names.items()
    assert name.endswith(".lamp")
    assert dump.values[code] == [(0, "0"), (20, "1"), (30, "0"), (7000, "x"), (7500, "0")]
    with pytest.raises(CliError, match="'door' is not an output of the table"):
        main(["trace", "table.json", "run.csv", "-o", "a.svg", "--only", "door"])


def test_help_tells_of_charts_with_an_example(capsys: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(SystemExit):
        main(["trace", "--help"])
    shown = capsys.readouterr().out
    assert "rungs trace panel.rungs stimulus.csv -o run.svg -o run.vcd --only door,lamp" in shown
    assert "IEEE 1364" in shown
