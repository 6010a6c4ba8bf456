"""The commands as a user calls them: results, exit codes, standard input, and what goes where."""

from __future__ import annotations

import csv
import io
import json
import os
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest

from rungs.cli.exits import CliError
from rungs.cli.main import VERBS, main
from rungs.report.model import DOCUMENTS

LAMP = """\
input door at I1 "Switch inside the door"
output lamp at R1
timer linger off-delay 5s
rung door -> linger
rung linger -> lamp
scenario "the lamp lingers"
    operate door
    expect lamp
    release door
    expect steady lamp for 4s
    expect not lamp within 2s
"""


@pytest.fixture
def panel(tmp_path: Path) -> Path:
    path = tmp_path / "panel.rungs"
    path.write_text(LAMP, encoding="utf-8")
    return path


def rungs(*words: str, stdin: str = "", **environment: str) -> subprocess.CompletedProcess[str]:
    """The command in a process of its own."""
    return subprocess.run(
        [sys.executable, "-m", "rungs", *words],
        input=stdin,
        capture_output=True,
        text=True,
        encoding="utf-8",
        env={**os.environ, "PYTHONIOENCODING": "utf-8", **environment},
        timeout=60,
        check=False,
    )


def test_help_names_every_verb_with_an_example_and_no_verb_gives_it_too() -> None:
    shown = rungs("--help")
    assert shown.returncode == 0
    for name, verb in VERBS.items():
        assert f"  {name}" in shown.stdout
        assert verb.example in shown.stdout
    assert rungs().returncode == 2


@pytest.mark.parametrize("verb", VERBS)
def test_each_verb_explains_itself_with_an_example(
    verb: str, capsys: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(SystemExit) as ended:
        main([verb, "--help"])
    assert ended.value.code == 0
    assert "example: rungs" in capsys.readouterr().out


def test_a_clean_panel_checks_with_code_0_and_talk_on_standard_error(panel: Path) -> None:
    shown = rungs("check", str(panel))
    assert (shown.returncode, shown.stdout) == (0, "")
    assert "no findings" in shown.stderr


def test_errors_and_warnings_end_with_code_1_and_notes_with_0(tmp_path: Path) -> None:
    path = tmp_path / "p.rungs"
    for text, code in (
        ("rung a -> b", 1),
        ("input stop at I1\noutput o at R1\nrung stop -> o", 1),
        ("input a at I1", 0),
    ):
        path.write_text(text, encoding="utf-8")
        shown = rungs("check", str(path))
        assert shown.returncode == code, text
        assert f"{path}:1:" in shown.stdout


def test_a_finding_shows_its_line_with_a_caret_under_the_place(tmp_path: Path) -> None:
    path = tmp_path / "p.rungs"
    path.write_text("input door at I1\noutput lamp at R1\nrung dor -> lamp\n", encoding="utf-8")
    shown = rungs("check", str(path)).stdout
    assert f"{path}:3:6: error [unknown-name] 'dor' is not declared" in shown
    line = next(t for t in shown.splitlines() if "rung dor -> lamp" in t)
    caret = next(t for t in shown.splitlines() if "^" in t)
    assert caret.index("^") == line.index("dor")
    assert caret.count("^") == 3
    assert "did you mean 'door'?" in shown


def test_check_as_json_carries_places_and_a_schema_version(tmp_path: Path) -> None:
    path = tmp_path / "p.rungs"
    path.write_text("input a at I1\nrung a -> c\n", encoding="utf-8")
    shown = rungs("check", str(path), "--json")
    document = json.loads(shown.stdout)
    assert shown.returncode == 1
    assert document["schema_version"] == 1
    assert document["ok"] is False
    (finding,) = document["findings"]
    assert (finding["code"], finding["line"], finding["column"]) == ("unknown-name", 2, 11)
    assert (finding["end_line"], finding["end_column"]) == (2, 12)


@pytest.mark.parametrize(
    "words",
    [
        ("check", "nowhere.rungs"),
        ("check", "."),
        ("check",),
        ("chekc", "x"),
        ("--nonsense",),
        ("explain", "no-such-code"),
        ("schema", "no-such-kind"),
        ("demo", "no-such-demo"),
        ("trace", "-", "-"),
    ],
)
def test_wrong_calls_and_unreadable_files_end_with_code_2_and_one_line(
    words: tuple[str, ...],
) -> None:
    shown = rungs(*words)
    assert shown.returncode == 2
    assert shown.stdout == ""
    assert "Traceback" not in shown.stderr


def test_a_pipe_given_as_a_file_is_refused_at_once(tmp_path: Path) -> None:
    pipe = tmp_path / "pipe"
    os.mkfifo(pipe)
    shown = rungs("check", str(pipe))
    assert shown.returncode == 2
    assert "not a plain file" in shown.stderr


def test_bytes_that_are_no_text_are_a_finding_and_the_file_is_left_alone(tmp_path: Path) -> None:
    path = tmp_path / "p.rungs"
    path.write_bytes(b"rung a -> b\n\xff\xfe")
    for verb in ("check", "fmt", "test", "draw", "compile"):
        shown = rungs(verb, str(path))
        assert shown.returncode == 1
        assert "not-text" in shown.stdout + shown.stderr
        assert "byte 12" in shown.stdout + shown.stderr
    assert path.read_bytes() == b"rung a -> b\n\xff\xfe"


def test_scenarios_pass_with_code_0_and_say_what_was_played(panel: Path) -> None:
    shown = rungs("test", str(panel), "-v")
    assert shown.returncode == 0
    assert "pass  the lamp lingers  (3 expectations)" in shown.stdout
    assert "1 of 1 scenarios pass" in shown.stderr


def test_a_failed_expectation_tells_what_was_seen_on_which_scan_and_by_which_rung(
    panel: Path, tmp_path: Path
) -> None:
    panel.write_text(LAMP.replace("linger off-delay 5s", "linger off-delay 3s"), encoding="utf-8")
    results = tmp_path / "results.xml"
    shown = rungs("test", str(panel), "--junit", str(results))
    assert shown.returncode == 1
    assert "FAIL  the lamp lingers" in shown.stdout
    assert "line 10: expect steady lamp for 4s" in shown.stdout
    # released at scan 1, seen at scan 2, timed out 300 scans later
    assert "seen: lamp is off, last moved by rung 2 on scan 302" in shown.stdout
    suite = ElementTree.parse(results).getroot().find("testsuite")
    assert suite is not None
    assert (suite.get("tests"), suite.get("failures")) == ("1", "1")
    failure = suite.find("testcase/failure")
    assert failure is not None
    assert "expect steady lamp for 4s" in (failure.get("message") or "")


def test_results_of_scenarios_as_json(panel: Path) -> None:
    document = json.loads(rungs("test", str(panel), "--json").stdout)
    assert document["schema_version"] == 1
    assert document["passed"] is True
    (scenario,) = document["scenarios"]
    assert [step["passed"] for step in scenario["steps"]] == [None, True, None, True, True]
    assert scenario["steps"][1]["seen"][0]["conducts"] is True


WATCHED = LAMP.replace(
    'scenario "the lamp lingers"',
    'never "door and lamp" lamp and door\nassume "it is there" never broken door\n'
    'require when linger then not lamp within 3005ms\nscenario "the lamp lingers"',
)


def test_a_property_that_breaks_fails_the_scenario_and_tells_where_and_how_it_stood(
    panel: Path, tmp_path: Path
) -> None:
    panel.write_text(WATCHED, encoding="utf-8")
    results = tmp_path / "results.xml"
    shown = rungs("test", str(panel), "--junit", str(results))
    assert shown.returncode == 1
    assert shown.stderr.endswith("0 of 1 scenarios pass\n")
    # operated at scan 1; 3005 ms later is no scan, 3010 ms later is
    assert shown.stdout.splitlines() == [
        "FAIL  the lamp lingers  (3 expectations, 2 broken properties)",
        '  NOT line 6: broken: never "door and lamp"   '
        "[00:00:00.010, scan 1, 0.010 s from the start]",
        "           during line 10: operate door",
        "           seen: lamp is on, last moved by rung 2 on scan 1",
        "           seen: door is closed (operated)",
        "  NOT line 8: not met in time: require when linger then not lamp within 3005ms   "
        "[00:00:03.020, scan 302, 3.020 s from the start]",
        "           during line 13: expect steady lamp for 4s",
        "           seen: linger is closed, timing, last moved by rung 1 on scan 1",
        "           seen: lamp is on, last moved by rung 2 on scan 1",
    ]
    suite = ElementTree.parse(results).getroot().find("testsuite")
    assert suite is not None
    assert (suite.get("tests"), suite.get("failures")) == ("1", "1")
    failures = suite.findall("testcase/failure")
    assert [failure.get("type") for failure in failures] == ["property", "property"]
    assert failures[0].get("message") == 'line 6, 00:00:00.010: broken: never "door and lamp"'
    assert "seen: door is closed (operated)" in (failures[0].text or "")


def test_a_contradicted_assumption_is_noted_and_the_scenario_passes(panel: Path) -> None:
    panel.write_text(
        WATCHED.replace("    operate door\n    expect lamp\n", "    break door\n    tap door\n")
        .replace("expect steady lamp", "expect steady not lamp")
        .replace("never broken door", "never broken door or linger"),
        encoding="utf-8",
    )
    shown = rungs("test", str(panel))
    assert shown.returncode == 0
    assert shown.stdout.splitlines()[:3] == [
        "pass  the lamp lingers  (2 expectations)",
        ' note line 7: contradicted: assume "it is there"   '
        "[00:00:00.010, scan 1, 0.010 s from the start]",
        "           during line 10: break door",
    ]
    assert shown.stdout.endswith("properties were not watched from this scan on\n")
    (scenario,) = json.loads(rungs("test", str(panel), "--json").stdout)["scenarios"]
    assert (scenario["passed"], scenario["broken"]) == (True, [])
    assert scenario["contradicted"]["line"] == 7


def test_broken_properties_as_json_and_none_where_all_hold(panel: Path) -> None:
    (scenario,) = json.loads(rungs("test", str(panel), "--json").stdout)["scenarios"]
    assert (scenario["broken"], scenario["contradicted"]) == ([], None)
    panel.write_text(WATCHED, encoding="utf-8")
    document = json.loads(rungs("test", str(panel), "--json").stdout)
    assert (document["schema_version"], document["passed"]) == (1, False)
    first, second = document["scenarios"][0]["broken"]
    assert first == {
        "line": 6,
        "property": "never",
        "label": "door and lamp",
        "t_ms": 10,
        "scan": 1,
        "wall": "2026-01-05T00:00:00.010",
        "during_line": 10,
        "seen": [
            {
                "contact": "lamp",
                "conducts": True,
                "state": "lamp is on",
                "rung": 2,
                "scan": 1,
            },
            {
                "contact": "door",
                "conducts": True,
                "state": "door is closed (operated)",
                "rung": None,
                "scan": None,
            },
        ],
    }
    assert (second["line"], second["scan"], second["during_line"]) == (8, 302, 13)


def test_documents_of_scenarios_without_properties_are_still_read(panel: Path) -> None:
    document = json.loads(rungs("test", str(panel), "--json").stdout)
    for scenario in document["scenarios"]:
        del scenario["broken"], scenario["contradicted"]
    read = DOCUMENTS["test"].model_validate(document)
    assert read.model_dump()["scenarios"][0]["broken"] == []


def stimulus(tmp_path: Path, text: str) -> str:
    path = tmp_path / "stimulus.csv"
    path.write_text(text, encoding="utf-8")
    return str(path)


def test_a_trace_has_one_row_a_scan_in_file_order(panel: Path, tmp_path: Path) -> None:
    rows = "t_ms,door\n0,0\n20,1\n30,0\n60,0\n"
    shown = rungs("trace", str(panel), stimulus(tmp_path, rows))
    assert shown.returncode == 0
    assert shown.stdout.splitlines() == [
        "t_ms,lamp,linger",
        "0,0,0",
        "10,0,0",
        "20,1,1",
        "30,1,1",
        "40,1,1",
        "50,1,1",
        "60,1,1",
    ]


def test_a_trace_of_changes_has_the_first_and_last_scan_and_every_change(
    panel: Path, tmp_path: Path
) -> None:
    path = stimulus(tmp_path, "t_ms,door\n0,0\n20,1\n30,0\n7000,0\n")
    out = tmp_path / "out.csv"
    shown = rungs("trace", str(panel), path, "--changes", "-o", str(out))
    assert (shown.returncode, shown.stdout) == (0, "")
    table = list(csv.reader(io.StringIO(out.read_text(encoding="utf-8"))))
    assert table == [
        ["t_ms", "lamp", "linger"],
        ["0", "0", "0"],
        ["20", "1", "1"],
        ["5030", "0", "0"],
        ["7000", "0", "0"],
    ]


def test_no_row_is_written_without_power_and_the_period_can_be_set(
    panel: Path, tmp_path: Path
) -> None:
    path = stimulus(tmp_path, "t_ms,door,power\n0,1,1\n100,1,0\n200,1,1\n250,1,1\n")
    shown = rungs("trace", str(panel), path, "--period", "50ms", "--json")
    document = json.loads(shown.stdout)
    assert document["columns"] == ["t_ms", "lamp", "linger"]
    assert [row[0] for row in document["rows"]] == [0, 50, 200, 250]


@pytest.mark.parametrize(
    ("rows", "words"),
    [
        ("", "the stimulus is empty"),
        ("time,door\n0,1\n", "the first column is 'time', not 't_ms'"),
        ("t_ms,dor\n0,1\n", "the column 'dor' is not declared"),
        ("t_ms,lamp\n0,1\n", "the column 'lamp' is not an input"),
        ("t_ms,door,door\n0,1,1\n", "the column 'door' stands twice"),
        ("t_ms,door\n0,2\n", "'2' in column 'door' is neither 0 nor 1"),
        ("t_ms,door\n0\n", "the row has 1 cells and the header 2"),
        ("t_ms,door\n1.5,1\n", "'1.5' is not a time in whole ms"),
        ("t_ms,door\n10,1\n0,1\n", "the time runs back from 10 to 0 ms"),
        ("t_ms,door\n" + "9" * 15 + ",1\n", "more than a hundred years"),
        ("t_ms,door\n", "the stimulus has no rows"),
    ],
)
def test_a_wrong_stimulus_is_a_finding(rows: str, words: str, panel: Path, tmp_path: Path) -> None:
    shown = rungs("trace", str(panel), stimulus(tmp_path, rows))
    assert shown.returncode == 1
    assert words in shown.stderr
    assert shown.stdout == ""


def test_semicolons_of_a_spreadsheet_are_read(panel: Path, tmp_path: Path) -> None:
    shown = rungs("trace", str(panel), stimulus(tmp_path, "t_ms;door\n0;1\n10;1\n"))
    assert shown.stdout.splitlines()[1:] == ["0,1,1", "10,1,1"]


def test_standard_input_serves_as_the_panel() -> None:
    assert rungs("check", "-", stdin=LAMP).returncode == 0
    assert rungs("test", "-", stdin=LAMP).returncode == 0
    assert rungs("fmt", "-", stdin="relay    a\n").stdout == "relay  a\n"
    assert "linger" in rungs("draw", "-", stdin=LAMP).stdout


def test_fmt_rewrites_in_place_and_check_only_tells(panel: Path) -> None:
    before = panel.read_bytes()
    told = rungs("fmt", "--check", str(panel))
    assert told.returncode == 1
    assert panel.read_bytes() == before
    assert rungs("fmt", str(panel)).returncode == 0
    assert panel.read_bytes() != before
    assert rungs("fmt", "--check", str(panel)).returncode == 0


def test_fmt_keeps_line_endings_byte_order_mark_links_and_permissions(tmp_path: Path) -> None:
    real = tmp_path / "real.rungs"
    real.write_bytes(b"\xef\xbb\xbfrelay   a\r\n# done\r\n")
    real.chmod(0o640)
    link = tmp_path / "link.rungs"
    link.symlink_to(real)
    assert rungs("fmt", str(link)).returncode == 0
    assert real.read_bytes() == b"\xef\xbb\xbfrelay  a\r\n# done\r\n"
    assert link.is_symlink()
    assert real.stat().st_mode & 0o777 == 0o640
    assert [p.name for p in tmp_path.iterdir() if p.name.endswith(".tmp")] == []


def test_fmt_leaves_a_file_with_errors_and_a_protected_file_alone(tmp_path: Path) -> None:
    path = tmp_path / "p.rungs"
    path.write_text("relay   a\nrung ->\n", encoding="utf-8")
    assert rungs("fmt", str(path)).returncode == 1
    assert path.read_text(encoding="utf-8") == "relay   a\nrung ->\n"
    path.write_text("relay   a\n", encoding="utf-8")
    path.chmod(0o444)
    shown = rungs("fmt", str(path))
    assert shown.returncode == 3
    assert "write-protected" in shown.stderr
    assert path.read_text(encoding="utf-8") == "relay   a\n"


def test_a_table_that_cannot_be_written_ends_with_code_3(tmp_path: Path) -> None:
    path = tmp_path / "p.rungs"
    path.write_text("input a at I1\noutput o at R1\nrung a -> o\n", encoding="utf-8")
    shown = rungs("compile", str(path), "-o", str(tmp_path / "none" / "t.csv"))
    assert shown.returncode == 3


def test_compile_refuses_what_remembers_and_names_the_reason(panel: Path) -> None:
    shown = rungs("compile", str(panel), "--every-row")
    assert shown.returncode == 1
    assert "not-combinational" in shown.stderr
    assert "'lamp' has no truth table: it depends through 'linger' on a timer" in shown.stderr


@pytest.mark.parametrize(
    ("rung", "reason"),
    [
        ("rung a or o -> o", "seal-in"),
        ("rung rising a -> o", "a rising edge"),
        ("rung a and first_scan -> o", "the first scan"),
        ("rung a -> latch o\nrung not a -> unlatch o", "a latch"),
        ("relay r\nrung r -> o\nrung a -> r", "above its coil"),
        ("counter c to 2\nrung a -> c\nrung c >= 1 -> o", "a count"),
        ("timer t on-delay 1s\nrung a -> t\nrung t.timing -> o", "a timer that is timing"),
    ],
)
def test_each_kind_of_memory_is_refused_by_name(rung: str, reason: str) -> None:
    text = f"input a at I1\noutput o at R1\n{rung}\n"
    shown = rungs("compile", "-", "--every-row", stdin=text)
    assert shown.returncode == 1
    assert reason in shown.stderr


def test_clocks_and_relays_take_part_in_a_table_and_single_outputs_can_be_asked_for() -> None:
    text = (
        'site zone "UTC"\ninput a at I1\nclock c from 10:00 to 11:00\nrelay r\noutput o at R1\n'
        "output p at R2\ntimer t on-delay 1s\nrung a and c -> r\nrung not r -> o\nrung a -> t\n"
        "rung t -> p\n"
    )
    shown = rungs("compile", "-", "o", "r", "--every-row", "--csv", stdin=text)
    assert shown.returncode == 0
    assert shown.stdout.splitlines() == ["a,c,o,r", "0,0,1,0", "0,1,1,0", "1,0,1,0", "1,1,0,1"]


def test_more_than_twenty_signals_are_refused_with_a_way_out() -> None:
    names = [f"a{n}" for n in range(21)]
    text = "".join(f"input {name} at I{name}\n" for name in names)
    text += "output o at R1\nrung " + " and ".join(names) + " -> o\n"
    shown = rungs("compile", "-", "--every-row", stdin=text)
    assert shown.returncode == 1
    assert "table-size" in shown.stderr


def test_a_panel_with_errors_runs_in_no_verb(tmp_path: Path) -> None:
    path = tmp_path / "p.rungs"
    path.write_text("input a at I1\nrung a -> b\n", encoding="utf-8")
    for verb in ("test", "draw", "compile", "why"):
        shown = rungs(verb, str(path), *(["a"] if verb == "why" else []))
        assert (shown.returncode, shown.stdout) == (1, "")
        assert "a panel with errors cannot run" in shown.stderr


def test_the_bench_says_that_it_needs_a_terminal() -> None:
    shown = rungs("open", "panel.rungs", stdin="")
    assert shown.returncode == 2
    assert "needs a terminal" in shown.stderr


def test_the_keys_of_the_bench_are_explained_without_it() -> None:
    shown = rungs("explain", "keys")
    assert shown.returncode == 0
    assert "run/pause: let time run, or stop it" in shown.stdout


def test_warnings_are_mentioned_and_do_not_stop_a_run() -> None:
    text = "input stop at I1\noutput o at R1\nrung stop -> o\n"
    shown = rungs("draw", "-", stdin=text)
    assert shown.returncode == 0
    assert "1 warning; see: rungs check" in shown.stderr


def test_no_colour_reaches_a_pipe_and_no_text_of_a_file_reaches_the_terminal_raw(
    tmp_path: Path,
) -> None:
    path = tmp_path / "p.rungs"
    path.write_text('relay a "\x1b[31mred"\n# \x1b]0;title\x07\n', encoding="utf-8")
    shown = rungs("check", str(path))
    assert "bad-character" in shown.stdout
    assert "\x1b" not in shown.stdout + shown.stderr
    assert "\x07" not in shown.stdout


def test_explain_knows_every_code_and_the_language(capsys: pytest.CaptureFixture[str]) -> None:
    from rungs.findings import CODES

    for code, entry in CODES.items():
        assert main(["explain", code]) == 0
        shown = capsys.readouterr().out
        assert entry.title in shown
    assert main(["explain", "language"]) == 0
    assert "# The language and what a scan does" in capsys.readouterr().out
    assert main(["explain", "clock"]) == 0
    assert "from 19:00" in capsys.readouterr().out
    with pytest.raises(CliError, match="second-coil"):
        main(["explain", "second-coli"])


def test_each_schema_describes_its_document(capsys: pytest.CaptureFixture[str]) -> None:
    for name in DOCUMENTS:
        assert main(["schema", name]) == 0
        schema = json.loads(capsys.readouterr().out)
        assert "schema_version" in schema["properties"]


def test_the_demo_shows_check_scenarios_ladder_and_table(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["demo"]) == 0
    shown = capsys.readouterr().out
    parts = ("no findings", "A late call", "bench_lights", "Truth table", "Where to go next")
    for part in (*parts, "hatch_lamp is on while it is operated (its NC circuit is open)"):
        assert part in shown


def test_a_demo_can_be_copied_once_and_is_never_overwritten(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    copy = tmp_path / "mine.rungs"
    assert main(["demo", "--copy", str(copy)]) == 0
    assert copy.read_text(encoding="utf-8").startswith("title")
    copy.write_text("mine", encoding="utf-8")
    with pytest.raises(CliError, match="is there already"):
        main(["demo", "--copy", str(copy)])
    assert copy.read_text(encoding="utf-8") == "mine"


def test_an_interrupt_ends_with_code_130(tmp_path: Path) -> None:
    code = (
        "import sys, rungs.cli.main as m\n"
        "def stop(argv): raise KeyboardInterrupt\n"
        "m.main = stop\nm.run()\n"
    )
    ended = subprocess.run([sys.executable, "-c", code], check=False, timeout=60)
    assert ended.returncode == 130


def test_the_bench_asks_for_a_terminal(panel: Path) -> None:
    shown = rungs("open", str(panel))
    assert shown.returncode == 2
    assert "needs a terminal" in shown.stderr
    assert rungs(str(panel)).returncode == 2
    assert rungs("open", "-", stdin=LAMP).returncode == 2
