"""The answer for each demo and each shipped board, pinned; and the verbs that give it.

What is pinned is ours (COMPUTED): a change in it is a change of what a user's board is given, and
is to be looked at before the number here is changed.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
from functools import cache
from pathlib import Path

import pytest

from rungs.cli.common import check_file
from rungs.cli.main import main
from rungs.shipped import shipped
from rungs.source import source_from_text
from rungs.table.board import Board, load_board, shipped_boards
from rungs.table.compile import KINDS, Compiler
from rungs.table.formats import table_csv
from rungs.table.model import CLAIM, TableFile
from rungs.table.reading import read_table
from tests.helpers import program_of

DEMOS = sorted(path.stem for path in shipped("demos").glob("*.rungs"))

# states (0 for tables without) and rows, or the codes of what stands in the way
Answer = tuple[int, int] | tuple[str, ...]
ANSWERS: dict[tuple[str, str, str], Answer] = {
    ("airlock", "", "truth"): ("not-combinational",),
    ("airlock", "", "switching"): ("switching-timer",),
    ("airlock", "", "transition"): (21, 272),
    ("airlock", "relay-events", "switching"): ("switching-timer",),
    ("airlock", "timed-states", "transition"): (21, 269),
    ("boathouse", "", "truth"): ("not-combinational",),
    ("boathouse", "", "switching"): ("switching-timer",),
    ("boathouse", "", "transition"): (30, 4004),
    ("boathouse", "timed-states", "transition"): ("board-sun",),
    ("greenhouse", "", "transition"): ("table-size",),
    ("hall_lights_three", "", "switching"): ("switching-timer",),
    ("hall_lights_three", "", "transition"): (44, 774),
    ("hall_lights_three", "timed-states", "transition"): (44, 767),
    ("hall_lights_two", "", "truth"): (0, 4),
    ("hall_lights_two", "", "switching"): (0, 5),
    ("hall_lights_two", "", "transition"): (1, 4),
    ("hall_lights_two", "bare-io", "truth"): ("board-kind",),
    ("hall_lights_two", "plain-truth", "truth"): (0, 4),
    ("hall_lights_two", "relay-events", "switching"): (0, 5),
    ("hall_lights_two", "timed-states", "truth"): (0, 3),
    ("sliding_gate", "", "switching"): ("switching-timer",),
    ("sliding_gate", "timed-states", "transition"): ("board-rows",),
    ("start_stop", "", "truth"): ("not-combinational",),
    ("start_stop", "", "transition"): (26, 375),
    ("start_stop", "timed-states", "transition"): (26, 356),
    ("two_pumps", "", "transition"): (56, 1738),
    ("two_pumps", "timed-states", "transition"): (56, 1200),
    ("yard_lights", "", "truth"): ("not-combinational",),
    ("yard_lights", "", "switching"): (0, 11),
    ("yard_lights", "", "transition"): (24, 768),
    ("yard_lights", "relay-events", "switching"): (0, 11),
    ("yard_lights", "timed-states", "transition"): (24, 672),
}


@cache
def compiler(demo: str) -> Compiler:
    program = check_file(str(shipped("demos") / f"{demo}.rungs")).program
    assert program is not None
    return Compiler(program)


def board(name: str) -> Board:
    found = load_board(name).board
    assert found is not None
    return found


def answer(demo: str, board_name: str, kind: str) -> tuple[TableFile | None, tuple[str, ...]]:
    asked = next(known for known in KINDS if known == kind)
    if not board_name:
        table, findings = compiler(demo).table(asked)
    else:
        outcome = compiler(demo).for_board(asked, board(board_name), None, 2026)
        table, findings = outcome.table, outcome.findings
    codes = [f.code for f in findings if f.severity == "error"]
    return table, tuple(dict.fromkeys(codes))


@pytest.mark.parametrize("demo, board_name, kind", ANSWERS)
def test_a_demo_has_its_answer_for_a_board(demo: str, board_name: str, kind: str) -> None:
    table, codes = answer(demo, board_name, kind)
    if table is None:
        assert codes == ANSWERS[demo, board_name, kind]
    else:
        assert (len(table.states), table.row_count) == ANSWERS[demo, board_name, kind]
        assert table.proof is not None
        assert table.proof.claim == CLAIM
        assert table.board == board_name


@pytest.mark.parametrize("demo", DEMOS)
def test_no_demo_goes_onto_the_board_that_holds_no_table(demo: str) -> None:
    table, codes = answer(demo, "bare-io", "truth")
    assert table is None
    assert codes == ("board-kind",)


@pytest.mark.parametrize("demo", [demo for demo in DEMOS if demo != "hall_lights_two"])
def test_no_demo_that_remembers_goes_onto_the_board_for_truth_tables(demo: str) -> None:
    table, codes = answer(demo, "plain-truth", "truth")
    assert table is None
    assert codes == ("not-combinational",)


def test_every_demo_and_every_board_has_been_asked() -> None:
    assert {demo for demo, _, _ in ANSWERS} == set(DEMOS)
    assert {name for _, name, _ in ANSWERS if name} == set(shipped_boards())


# --- the verbs ----------------------------------------------------------------------------------


def demo_path(name: str) -> str:
    return str(shipped("demos") / f"{name}.rungs")


def test_compile_without_a_board_answers_for_kinds_and_boards(
    capsys: pytest.CaptureFixture[str],
) -> None:
    assert main(["compile", demo_path("yard_lights")]) == 0
    shown = capsys.readouterr().out
    assert "switching      yes  11 rows, proved" in shown
    assert "truth          no   'yard_light' has no truth table" in shown
    assert "relay-events   yes  switching: 11 rows, proved" in shown
    assert "bare-io        no" in shown


def test_compile_prints_an_object_and_writes_each_file(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    files = [str(tmp_path / f"table{suffix}") for suffix in (".json", ".csv", ".md", ".kiss2")]
    options = [word for name in files for word in ("-o", name)]
    assert main(["compile", demo_path("airlock"), "--kind", "transition", "--json", *options]) == 0
    printed = json.loads(capsys.readouterr().out)
    assert printed["kind"] == "transition"
    assert (printed["states"], printed["rows"]) == (21, 272)
    assert printed["proof"]["verdict"] == "proved"
    assert printed["files"] == files
    one, _ = read_table(source_from_text(Path(files[0]).read_text(encoding="utf-8"), "t.json"))
    two, _ = read_table(source_from_text(Path(files[1]).read_text(encoding="utf-8"), "t.csv"))
    assert one is not None
    assert one == two == TableFile.model_validate(printed["table"])


def test_compile_refuses_before_it_works_where_a_suffix_says_nothing(
    capsys: pytest.CaptureFixture[str],
) -> None:
    run = subprocess.run(
        [sys.executable, "-m", "rungs", "compile", demo_path("airlock"), "-o", "table.xyz"],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 2
    assert "the suffix says what is written" in run.stderr
    assert "Traceback" not in run.stderr


def test_what_does_not_fit_writes_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "t.json"
    call = ["compile", demo_path("boathouse"), "--board", "timed-states", "-o", str(out)]
    assert main(call) == 1
    shown = capsys.readouterr()
    assert "board-sun" in shown.err
    assert "--sun-by month" in shown.err
    assert not out.exists()


def test_the_same_table_has_the_same_bytes_under_any_hash_seed(tmp_path: Path) -> None:
    made = set()
    for seed in ("0", "1", "4242"):
        out = tmp_path / f"{seed}.csv"
        subprocess.run(
            [
                *(sys.executable, "-m", "rungs", "compile", demo_path("start_stop")),
                *("--board", "timed-states", "-o", str(out)),
            ],
            check=True,
            capture_output=True,
            env={**os.environ, "PYTHONHASHSEED": seed},
        )
        made.add(out.read_bytes())
    assert len(made) == 1


def test_compare_says_same_of_a_table_that_a_spreadsheet_saved_and_differs_of_a_changed_one(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "found.csv"
    call = ["compile", demo_path("airlock"), "--board", "timed-states", "-o", str(out)]
    assert main(call) == 0
    text = out.read_text(encoding="utf-8")
    saved = "\ufeff" + text.replace("\n", "\r\n")
    out.write_bytes(saved.encode("utf-8"))
    capsys.readouterr()
    assert main(["compare", demo_path("airlock"), str(out)]) == 0
    assert "same - proved, 21 states, 269 rows" in capsys.readouterr().out
    assert main(["compare", demo_path("start_stop"), str(out)]) == 1
    assert "differs" in capsys.readouterr().out
    assert main(["compare", demo_path("airlock"), str(out), "--json"]) == 0
    assert json.loads(capsys.readouterr().out)["verdict"] == "same"


def test_a_table_gives_the_trace_of_its_program(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The columns of the outputs are the program's; the stimulus may name what no row reads."""
    table, stimulus = tmp_path / "t.json", tmp_path / "s.csv"
    assert main(["compile", demo_path("start_stop"), "--kind", "transition", "-o", str(table)]) == 0
    stimulus.write_text(
        "t_ms,start_button,stop_button,overload,pulled_in,power\n"
        "0,0,1,1,0,1\n100,1,1,1,0,1\n200,1,1,1,1,1\n400,0,1,1,1,1\n900,0,0,1,1,1\n"
        "960,0,1,1,0,1\n1500,1,1,1,0,1\n4000,0,1,1,0,0\n4100,0,1,1,0,1\n6000,0,1,1,0,1\n",
        encoding="utf-8",
    )
    capsys.readouterr()
    assert main(["trace", str(table), str(stimulus)]) == 0
    ours = capsys.readouterr().out.splitlines()
    assert main(["trace", demo_path("start_stop"), str(stimulus)]) == 0
    theirs = capsys.readouterr().out.splitlines()
    names = theirs[0].split(",")
    kept = [names.index(name) for name in ours[0].split(",")]
    assert len(ours) == len(theirs) > 500
    assert ours == [",".join(row.split(",")[i] for i in kept) for row in theirs]
    assert len({row.split(",", 1)[1] for row in ours}) > 3


def test_a_damaged_table_gives_findings_and_no_trace(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    table, stimulus = tmp_path / "t.csv", tmp_path / "s.csv"
    table.write_text("document,table\nkind,none\n", encoding="utf-8")
    stimulus.write_text("t_ms\n0\n", encoding="utf-8")
    run = subprocess.run(
        [sys.executable, "-m", "rungs", "trace", str(table), str(stimulus)],
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 1
    assert "table-file" in run.stderr
    assert run.stdout == ""


def test_a_sun_clock_goes_onto_a_board_without_sun_as_fixed_times_by_month(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """The emulator then runs the fixed times, as the board will; the error stands in the duties."""
    out, stimulus = tmp_path / "t.json", tmp_path / "s.csv"
    options = ["--board", "timed-states", "--sun-by", "month", "--year", "2026", "-o", str(out)]
    assert main(["compile", demo_path("boathouse"), *options]) == 0
    table, _ = read_table(source_from_text(out.read_text(encoding="utf-8"), "t.json"))
    assert table is not None
    fixed = [clock for clock in table.clocks if clock.closes == "dark"]
    assert len(fixed) == 12
    assert any("75 min off in 2026" in duty for duty in table.duties)
    assert fixed[10].statement == (
        "clock dark_11 from 15:50 to 08:41 daily between 11-01 and 11-30"
    )
    # a call at 15:49 finds it light, one at 15:50 dark
    call = "t_ms,call_button\n0,0\n{0},1\n{1},0\n{1},0\n"
    lit = []
    for minute in (15 * 60 + 48, 15 * 60 + 50):
        at = minute * 60_000
        stimulus.write_text(call.format(at, at + 1_000), encoding="utf-8")
        capsys.readouterr()
        start = ["--start", "2026-11-25T00:00:00", "--changes"]
        assert main(["trace", str(out), str(stimulus), *start]) == 0
        rows = capsys.readouterr().out.splitlines()
        walkway = rows[0].split(",").index("walkway")
        lit.append(rows[-1].split(",")[walkway])
    assert lit == ["0", "1"]
    assert main(["compare", demo_path("boathouse"), str(out)]) == 0
    assert "goes by fixed times" in capsys.readouterr().out


def test_a_truth_table_whose_rows_cannot_be_merged_is_refused_with_a_way_out() -> None:
    """Thirty outputs of twenty signals have too many outcomes to hold together in memory."""
    names = [f"a{n}" for n in range(20)]
    text = "".join(f"input {name} at I{n}\n" for n, name in enumerate(names))
    for n in range(20):
        text += f"output o{n} at R{n}\nrung a{n} or a{(n + 1) % 20} -> o{n}\n"
    table, findings = Compiler(program_of(text)).table("truth")
    assert table is None
    assert [finding.code for finding in findings] == ["table-size"]
    assert "--every-row" in findings[0].fix
    # one output of them is a small table all the same
    table, _ = Compiler(program_of(text), ("o3",)).table("truth")
    assert table is not None
    assert table.row_count == 3


def test_a_switching_table_has_rows_for_inputs_and_clocks_that_move_nothing(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    """Whoever wires the board finds every input in it, and the file reads back."""
    panel, out = tmp_path / "panel.rungs", tmp_path / "t.csv"
    panel.write_text(
        'site zone "UTC"\ninput a at I1\ninput b at I2\noutput o at R1\n'
        "clock gong at 12:00 daily\nclock day from 08:00 to 16:00\nrung a -> o\n",
        encoding="utf-8",
    )
    assert main(["compile", str(panel), "--kind", "switching", "-o", str(out)]) == 0
    table, findings = read_table(source_from_text(out.read_text(encoding="utf-8"), "t.csv"))
    assert table is not None, findings
    idle = [
        (row.event, row.device) for row in table.switching if row.device in ("b", "gong", "day")
    ]
    assert idle == [
        ("closes", "b"),
        ("opens", "b"),
        ("at", "gong"),
        ("closes", "day"),
        ("opens", "day"),
    ]
    assert main(["compare", str(panel), str(out)]) == 0
    at = next(i for i, row in enumerate(table.switching) if row.device == "b")
    rows = list(table.switching)
    rows[at] = rows[at].model_copy(update={"acts": ("on",)})
    out.write_text(table_csv(table.model_copy(update={"switching": tuple(rows)})), encoding="utf-8")
    assert main(["compare", str(panel), str(out)]) == 1
    assert "o is off in the program and on in the table" in capsys.readouterr().out


def test_a_table_larger_than_a_panel_file_can_be_is_read_whole(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    out = tmp_path / "t.json"
    assert main(["compile", demo_path("airlock"), "--kind", "transition", "-o", str(out)]) == 0
    padded = out.read_text(encoding="utf-8") + " " * 5_000_000
    out.write_text(padded, encoding="utf-8")
    assert main(["compare", demo_path("airlock"), str(out)]) == 0
    # what stands behind the first four million bytes counts too
    out.write_text(padded + "x", encoding="utf-8")
    assert main(["compare", demo_path("airlock"), str(out)]) == 1
    assert "table-file" in capsys.readouterr().err
