"""Walking a checkout: steps, summary, where a failed step points, and the walk through pipes."""

from __future__ import annotations

import io
import json
import signal
import subprocess
import sys
from dataclasses import replace
from hashlib import sha256
from pathlib import Path
from types import ModuleType

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.checkout.found import found_blocks
from rungs.checkout.merged import merge
from rungs.checkout.plan import Plan, Step
from rungs.checkout.pointer import Pointer, pointer
from rungs.checkout.record import AsFound, new_record
from rungs.checkout.record_file import RecordFile
from rungs.checkout.walk import Walk, number_list, otherwise, step_rows
from rungs.cli.main import main
from rungs.papers.blocks import Paper, Table
from rungs.papers.text import paper_text
from rungs.program.nodes import Program
from rungs.report.checkout_model import checkout_model
from tests.bench.panels import SHED
from tests.helpers import program_of
from tests.test_checkout_record import AT, PLAN, TOUR, plan_of, sights, walked

PROGRAM = program_of(SHED)


def walk_of(plan: Plan = PLAN, *results: str) -> Walk:
    """A walk that goes on from these results of the first steps."""
    return Walk(plan, walked(plan, *results))


# --- the walk itself


def test_a_walk_begins_with_the_first_step_that_was_not_answered() -> None:
    assert walk_of().index == 0
    assert walk_of(PLAN, "pass", "fail").index == 2
    assert walk_of(PLAN, "pass", "skipped", "pass").index == 3


def test_what_failed_or_was_skipped_comes_again_at_the_end_and_once() -> None:
    walk = walk_of(PLAN, "fail", "skipped", "pass", "pass", "pass")
    seen = []
    while not walk.over:
        seen.append(walk.index + 1)
        walk.answer("fail", "Ann", AT)
        walk.next_undone()
    assert seen == [6, 1, 2]
    assert walk.next_undone() is False
    assert walk_of(PLAN, *["pass"] * 6).over


def test_back_and_on_stop_at_the_ends() -> None:
    walk = walk_of()
    assert not walk.back()
    assert walk.on()
    assert walk.index == 1
    assert not walk.go_to(0)
    assert not walk.go_to(7)
    assert walk.go_to(6)
    assert not walk.on()


def test_the_summary_counts_what_was_done() -> None:
    summary = walk_of(PLAN, "pass", "fail", "skipped", "pass").summary()
    assert (summary.done, summary.whole) == (3, False)
    assert summary.lines() == (
        "3 of 6 steps done: 2 passed, 1 failed",
        "failed: 2",
        "skipped, and so not done: 3",
        "not answered yet: 5-6",
    )
    assert walk_of(PLAN, *["pass"] * 6).summary().lines()[-1] == "Every step has passed."


def test_a_plan_without_steps_is_over_and_not_whole() -> None:
    walk = walk_of(replace(PLAN, steps=()))
    assert walk.over
    assert not walk.summary().whole
    assert not walk.next_undone()


def test_a_step_out_of_order_in_the_tour_asks_how_the_panel_stands() -> None:
    walk = walk_of(PLAN, "pass", "pass", "pass")
    assert walk.caution.startswith("The panel must stand as step 3 left it.")
    walk.answer("pass", "Ann", AT)
    walk.next_undone()
    assert walk.caution == ""
    walk.back()
    assert walk.caution
    walk.go_to(3)
    assert walk.caution == ""


def test_what_changes_is_told_first_and_what_stays_together() -> None:
    walk = walk_of()
    walk.go_to(4)
    rows = [(row.kind, row.text) for row in step_rows(walk)]
    assert ("see", "R2 pump ON, load on") in rows
    assert ("same", "as before: R1 lamp off; R3 flap off, load on") in rows
    walk.go_to(3)
    assert [row.kind for row in step_rows(walk)].count("see") == 3
    # without a relay to look at, the notes say what to see
    lamp = replace(PLAN.steps[0], notes=("I1 shows ON", "after its debounce"))
    rows = [(row.kind, row.lead) for row in step_rows(walk_of(replace(PLAN, steps=(lamp,))))]
    assert rows[2:] == [("see", "see"), ("see", "")]
    # after a loss of power everything is looked at anew
    cut = replace(PLAN, steps=(*PLAN.steps, Step("functions", ("Cut the power",), sights())))
    walk = walk_of(cut)
    walk.go_to(7)
    assert walk.changes() == sights()


def test_what_the_emulator_alone_can_do_is_asked_of_nobody() -> None:
    steps = (*PLAN.steps[:3], replace(PLAN.steps[3], by_hand=False), *PLAN.steps[4:])
    walk = walk_of(replace(PLAN, steps=steps))
    assert walk.count == 5
    assert not walk.go_to(4)
    seen = []
    while not walk.over:
        seen.append(walk.answer("pass", "Ann", AT).number)
        walk.next_undone()
    assert seen == [1, 2, 3, 5, 6]
    assert walk.summary().whole
    model = checkout_model(PROGRAM, walk.plan, walk.record)
    assert [step.result for step in model.steps] == ["pass", "pass", "pass", None, "pass", "pass"]


@settings(max_examples=40)
@given(st.lists(st.integers(1, 60), unique=True).map(sorted))
def test_number_lists_name_every_number_and_no_other(numbers: list[int]) -> None:
    found: list[int] = []
    for part in filter(None, number_list(numbers).split(", ")):
        first, _, last = part.partition("-")
        found += range(int(first), int(last or first) + 1)
    assert found == numbers


# --- what relays showed instead


def test_relays_are_named_by_terminal_or_name_with_relay_load_or_nothing() -> None:
    step = Step("functions", ("tap start",), sights("pump"))
    both = AsFound(output="pump", terminal="R2", coil=False, load=False)
    load = AsFound(output="flap", terminal="R3", load=False)
    lamp = AsFound(output="lamp", terminal="R1", coil=True)
    assert otherwise(step, "R2") == ((both,), "")
    assert otherwise(step, "PUMP load; pump relay") == ((both,), "")
    assert otherwise(step, " r3 load, lamp") == ((load, lamp), "")
    assert otherwise(step, "") == ((), "")
    assert "there are: R1, R2, R3" in otherwise(step, "R9")[1]
    assert "no load" in otherwise(step, "R1 load")[1]
    assert "'relay', 'load' or nothing" in otherwise(step, "R2 lamp")[1]


@settings(max_examples=50)
@given(
    st.text(max_size=40)
    | st.lists(st.sampled_from(["R1", "R2", "load", ",", "pump"])).map(" ".join)
)
def test_any_words_give_relays_or_say_what_is_wrong(words: str) -> None:
    step = Step("functions", ("tap start",), sights("pump"))
    found, wrong = otherwise(step, words)
    assert not (found and wrong)
    assert wrong.isprintable()
    for each in found:
        sight = next(s for s in step.sights if s.output == each.output)
        assert each.coil in (None, not sight.coil)
        assert each.load is None or each.load != sight.load


# --- where a failed step points


def told(step: Step, *found: AsFound, program: Program = PROGRAM) -> Pointer:
    return pointer(step, program, found)


TAP = Step("functions", ("tap start",), sights("pump"), rungs=(2,), terminals=("I3", "R2"))


def test_a_failed_step_points_to_its_rungs_with_their_lines_and_to_the_terminals() -> None:
    found = told(TAP, AsFound(output="pump", terminal="R2", coil=False, load=False))
    assert [(r.number, r.label, r.line) for r in found.rungs] == [
        (2, "The pump runs until it is stopped", SHED.split("\n").index(
            'rung "The pump runs until it is stopped"') + 1)
    ]  # fmt: skip
    assert found.terminals == ("R2", "I3", "I2")
    words = "\n".join(found.lines())
    assert 'I2 stop, "Red button" (read by these rungs): NC, circuit closed at rest' in words
    assert "the relay at R2 stays off: look at the inputs" in words
    assert "read after 30ms" in words
    assert "rest is a timer (off-delay 2s)" in words


def test_a_rung_that_drives_what_was_seen_otherwise_comes_first() -> None:
    found = told(TAP, AsFound(output="lamp", terminal="R1", coil=True))
    assert [rung.number for rung in found.rungs] == [1, 2]
    # through the timer and the clock that drive it, to the switches behind them
    flap = Step("functions", ("wait 5s",), sights("flap"), rungs=(4,))
    assert {"I2", "I3"} <= set(told(flap).terminals)


def test_a_right_relay_with_a_wrong_load_points_to_contact_supply_and_wire_alone() -> None:
    found = told(TAP, AsFound(output="pump", terminal="R2", load=False))
    words = "\n".join(found.causes)
    assert "may be wired to the NC contact in place of the NO contact" in words
    assert "supply, its fuse, a broken wire" in words
    assert "I3" not in words
    assert "timer" not in words
    on = "\n".join(told(TAP, AsFound(output="flap", terminal="R3", load=True)).causes)
    assert "NO contact in place of the NC contact" in on
    assert "a contact that sticks" in on


def test_two_loads_the_wrong_way_about_may_be_changed_over() -> None:
    pump = AsFound(output="pump", terminal="R2", load=False)
    flap = AsFound(output="flap", terminal="R3", load=True)
    assert "the loads at R2 and R3 may be changed over" in told(TAP, pump, flap).causes
    lamp = AsFound(output="lamp", terminal="R1", coil=True)
    coil = AsFound(output="pump", terminal="R2", coil=False, load=False)
    causes = told(TAP, coil, lamp).causes
    assert "the relays at R2 and R1 may be changed over" in causes
    assert not any("loads at" in cause for cause in causes)


def test_no_relay_at_all_points_to_the_supply_of_the_board() -> None:
    step = replace(TAP, sights=sights("pump", "lamp"))
    gone = [AsFound(output=n, terminal=t, coil=False) for n, t in (("pump", "R2"), ("lamp", "R1"))]
    assert any("supply of the board" in cause for cause in told(step, *gone).causes)
    assert not any("supply of the board" in cause for cause in told(step, gone[0]).causes)


@pytest.mark.parametrize(("terminal", "never"), [("I1", "never closes"), ("I2", "always open")])
def test_an_input_that_fails_points_to_its_contact_and_wire(terminal: str, never: str) -> None:
    step = Step("inputs", ("operate it",), (), terminals=(terminal,))
    assert told(step).terminals == (terminal,)
    words = "\n".join(told(step).causes)
    assert f"the input at {terminal} {'is ' if terminal == 'I2' else ''}{never}" in words
    assert ("has an NC contact" in words) == (terminal == "I1")


SUPPLIED = program_of(
    "supply main 24 V 4 A\ninput a at I1\n"
    "output x at R1 load 24 V 1 A led from main\n"
    "output y at R2 retained load 24 V 1 A led from main\n"
    "rung a -> x\nrung a -> latch y\nrung not a -> unlatch y"
)


def test_loads_of_one_supply_that_are_off_together_point_to_it() -> None:
    off = [AsFound(output=n, terminal=t, load=False) for n, t in (("x", "R1"), ("y", "R2"))]
    causes = told(TAP, *off, program=SUPPLIED).causes
    assert "2 loads of supply main are off together: the supply or its fuse" in causes
    kept = told(replace(TAP, rungs=(2,), terminals=()), program=SUPPLIED)
    assert "y keeps its state through a loss of power" in kept.causes


# --- papers and JSON with what was found


def test_the_paper_and_the_json_say_what_was_found() -> None:
    walk = walk_of(PLAN, "fail")
    walk.go_to(2)
    found = (AsFound(output="lamp", terminal="R1", coil=False),)
    walk.answer("fail", "Ann", AT, "=the lamp is dark", found)
    blocks = found_blocks(PLAN, walk.record)
    table = next(block for block in blocks if isinstance(block, Table))
    assert table.rows[1] == (
        "2", "FAILED", "R1 lamp: relay off", "=the lamp is dark", "Ann", "2026-11-25 22:45"
    )  # fmt: skip
    text = paper_text(Paper("checkout", "Checkout", blocks))
    assert "2 of 6 steps done: 0 passed, 2 failed" in text
    model = checkout_model(PROGRAM, PLAN, walk.record)
    assert [step.result for step in model.steps] == ["fail", "fail", None, None, None, None]
    assert model.steps[1].answers[0].as_found == list(found)
    assert checkout_model(PROGRAM, PLAN, None).recorded is False


# --- in the terminal


@pytest.fixture
def panel(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A panel file, for which a plan of six steps is made."""
    made = ModuleType("rungs.checkout.build")
    made.checkout_plan = lambda program, seconds, whole=False: PLAN  # type: ignore[attr-defined]
    monkeypatch.setitem(sys.modules, "rungs.checkout.build", made)
    path = tmp_path / "shed.rungs"
    path.write_text(SHED, encoding="utf-8")
    return path


class Pipe(io.TextIOWrapper):
    """Answers that come through a pipe; where they end, `then` may raise."""

    def __init__(self, data: bytes, then: type[BaseException] | None = None) -> None:
        super().__init__(io.BytesIO(data), encoding="utf-8")
        self.then = then

    def readline(self, size: int = -1, /) -> str:  # type: ignore[override]
        line = super().readline(size)
        if not line and self.then is not None:
            raise self.then
        return line


def walk_in(
    monkeypatch: pytest.MonkeyPatch,
    panel: Path,
    answers: str | bytes,
    *options: str,
    then: type[BaseException] | None = None,
) -> int:
    """Walk with these answers; the exit code."""
    data = answers if isinstance(answers, bytes) else answers.encode()
    monkeypatch.setattr(sys, "stdin", Pipe(data, then))
    return main(["checkout", str(panel), "--walk", *options])


def results(panel: Path) -> list[tuple[int, str, str]]:
    record = RecordFile(panel.with_name("shed.checkout.json")).load()
    return [] if record is None else [(e.number, e.result, e.note) for e in record.entries]


def test_a_whole_walk_ends_with_nothing_wrong(
    monkeypatch: pytest.MonkeyPatch, panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    assert walk_in(monkeypatch, panel, "Ann\n" + "pass\np\n" * 3) == 0
    out = capsys.readouterr().out
    assert "step 6 of 6, functions [################....] 5 done" in out
    assert "6 of 6 steps done: 6 passed" in out
    assert results(panel) == [(n, "pass", "") for n in range(1, 7)]
    data = panel.with_name("shed.checkout.json").read_bytes()
    assert str(panel.parent).encode() not in data
    assert walk_in(monkeypatch, panel, "") == 0
    assert "Nothing is left to do." in capsys.readouterr().out


def test_every_answer_and_the_end_of_the_answers(
    monkeypatch: pytest.MonkeyPatch, panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    answers = (
        "Ann\nhelp\nyes\nno\n\nn it hums\nnote\nthe door is off\nskip no ladder\n"
        "fail\nR7\nR1\nloose wire\nback\npass\n99\n4\nf\nR2 load\n"
    )
    assert walk_in(monkeypatch, panel, answers) == 1
    out = capsys.readouterr().out
    assert "answer with one of: pass, fail, note" in out
    assert "no relay 'r7' is looked at here" in out
    assert 'rung 1 "The lamp follows the switch", line' in out
    assert "there are steps 1 to 6" in out
    assert "was  failed" in out
    # the answers ended within the questions of a failed step, which counts all the same
    assert results(panel) == [
        (1, "note", "it hums"),
        (1, "note", "the door is off"),
        (1, "skipped", "no ladder"),
        (2, "fail", "loose wire"),
        (2, "pass", ""),
        (4, "fail", ""),
    ]
    assert "2 of 6 steps done: 1 passed, 1 failed" in out
    record = RecordFile(panel.with_name("shed.checkout.json")).load()
    assert record is not None
    assert record.entries[-1].as_found == (AsFound(output="pump", terminal="R2", load=False),)
    assert {entry.who for entry in record.entries} == {"Ann"}


def test_the_plan_of_the_record_is_walked_on_until_the_file_changes(
    monkeypatch: pytest.MonkeyPatch, panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    made: list[Program] = []

    def plan(program: Program, seconds: float, whole: bool) -> Plan:
        made.append(program)
        return replace(PLAN, digest=sha256(program.source.text.encode()).hexdigest())

    monkeypatch.setattr(sys.modules["rungs.checkout.build"], "checkout_plan", plan)
    walk_in(monkeypatch, panel, "Ann\np\n")
    walk_in(monkeypatch, panel, "p\n")
    assert len(made) == 1
    walk_in(monkeypatch, panel, "p\n", "--fresh")
    assert len(made) == 2
    panel.write_text(SHED + "# a remark\n", encoding="utf-8")
    walk_in(monkeypatch, panel, "p\n")
    assert len(made) == 3
    assert [number for number, _, _ in results(panel)] == [1, 2, 3, 4]
    assert "before the panel file was last changed" in capsys.readouterr().out
    assert main(["checkout", str(panel), "--json"]) == 0
    shown = json.loads(capsys.readouterr().out)
    assert [step["older"] for step in shown["steps"]] == [True, True, True, False, False, False]
    assert len(made) == 3


def test_an_interrupt_keeps_what_was_answered(
    monkeypatch: pytest.MonkeyPatch, panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code = walk_in(monkeypatch, panel, "Ann\np\nf\n", then=KeyboardInterrupt)
    assert code == 130
    assert results(panel) == [(1, "pass", ""), (2, "fail", "")]
    assert "2 of 6 steps done" in capsys.readouterr().out


def test_the_name_is_asked_once_and_can_be_changed(
    monkeypatch: pytest.MonkeyPatch, panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    walk_in(monkeypatch, panel, "Ann\np\n", "--board", "bench 3")
    walk_in(monkeypatch, panel, "p\n")
    walk_in(monkeypatch, panel, "p\n", "--name", "Ben")
    assert capsys.readouterr().out.count("Your name") == 1
    record = RecordFile(panel.with_name("shed.checkout.json")).load()
    assert record is not None
    assert [entry.who for entry in record.entries] == ["Ann", "Ann", "Ben"]
    assert (record.who, record.board) == ("Ben", "bench 3")


@settings(max_examples=12, deadline=None)
@given(
    st.lists(st.sampled_from("pfnsbq") | st.text(max_size=6), max_size=12), st.binary(max_size=9)
)
def test_any_bytes_at_the_prompt_leave_a_whole_record(
    tmp_path_factory: pytest.TempPathFactory, lines: list[str], rest: bytes
) -> None:
    panel = tmp_path_factory.mktemp("walk") / "shed.rungs"
    panel.write_text(SHED, encoding="utf-8")
    made = ModuleType("rungs.checkout.build")
    made.checkout_plan = lambda program, seconds, whole=False: PLAN  # type: ignore[attr-defined]
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(sys.modules, "rungs.checkout.build", made)
        patch.setattr(sys, "stdout", io.StringIO())
        patch.setattr(sys, "stderr", io.StringIO())
        data = "\n".join(lines).encode("utf-8", "surrogatepass") + rest
        assert walk_in(patch, panel, data) in (0, 1)
    record = RecordFile(panel.with_name("shed.checkout.json")).load()
    if record is not None:
        assert len(merge(PLAN, record).stale) == 0


def test_a_disk_that_fails_is_told_and_tried_again(
    monkeypatch: pytest.MonkeyPatch, panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    saves: list[int] = []
    save = RecordFile.save

    def failing(book: RecordFile, record: object) -> object:
        saves.append(1)
        if len(saves) == 1:
            (book.path.parent / "blocked").mkdir()
            real, book.path = book.path, book.path.parent / "blocked"
            try:
                return save(book, record)  # type: ignore[arg-type]
            finally:
                book.path = real
        return save(book, record)  # type: ignore[arg-type]

    monkeypatch.setattr(RecordFile, "save", failing)
    walk_in(monkeypatch, panel, "Ann\np\np\n")
    assert "NOT SAVED" in capsys.readouterr().out
    assert [number for number, _, _ in results(panel)] == [1, 2]


def test_calls_that_make_no_sense_are_refused(
    monkeypatch: pytest.MonkeyPatch, panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    from rungs.cli.exits import CliError

    for options in (["--walk", "--json"], ["--walk", "-o", "x.md"], ["--name", "Ann"]):
        with pytest.raises(CliError):
            main(["checkout", str(panel), *options])
    with pytest.raises(CliError, match="there is no record"):
        main(["checkout", str(panel), "--record", str(panel.parent / "none.json")])
    panel.with_name("shed.checkout.json").write_bytes(b"{")
    with pytest.raises(CliError, match="left as it is"):
        walk_in(monkeypatch, panel, "p\n")
    assert panel.with_name("shed.checkout.json").read_bytes() == b"{"


def test_a_record_of_another_panel_or_text_is_told(
    monkeypatch: pytest.MonkeyPatch, panel: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    other = plan_of(("power on", ("flap",)), *TOUR[1:], digest="2f" * 32)
    walk = Walk(other, new_record(other, "boat.rungs", AT))
    walk.go_to(3)
    walk.answer("pass", "Ann", AT)
    book = RecordFile(panel.parent / "boat.json")
    book.save(walk.record)
    assert walk_in(monkeypatch, panel, "q\n", "--record", str(book.path)) == 1
    out = capsys.readouterr().out
    assert "begun for the file 'boat.rungs', not for 'shed.rungs'" in out
    assert "1 answer does not count any more" in out


def test_a_killed_walk_has_every_answer_that_it_acknowledged(tmp_path: Path) -> None:
    panel = tmp_path / "shed.rungs"
    panel.write_text(SHED, encoding="utf-8")
    code = (
        "import sys; from types import ModuleType as M;"
        "from tests.test_checkout_record import PLAN;"
        "m = M('rungs.checkout.build'); m.checkout_plan = lambda p, s, w: PLAN;"
        "sys.modules[m.__name__] = m; from rungs.cli.main import main;"
        f"main(['checkout', {str(panel)!r}, '--walk', '--name', 'Ann'])"
    )
    with subprocess.Popen(
        [sys.executable, "-c", code], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True
    ) as walk:
        assert walk.stdin is not None
        assert walk.stdout is not None
        walk.stdin.write("p\nskip\n")
        walk.stdin.flush()
        for line in walk.stdout:
            if line.startswith("step 3"):
                walk.send_signal(signal.SIGKILL)
                break
        walk.wait(30)
    assert results(panel) == [(1, "pass", ""), (2, "skipped", "")]
    assert json.loads(panel.with_name("shed.checkout.json").read_bytes())["who"] == "Ann"
