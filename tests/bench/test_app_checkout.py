"""Walking a checkout on the bench: the plan made beside it, answers by keys, and going to rungs."""

from __future__ import annotations

from pathlib import Path
from threading import Event

import pytest
from textual import _wait

from rungs.bench import app
from rungs.bench.checkout_pane import CheckoutPane
from rungs.bench.controls import checking
from rungs.bench.dialogs import Menu, Prompt, Tick
from rungs.checkout.plan import Plan
from rungs.checkout.record import AsFound, Record
from rungs.checkout.record_file import RecordError, RecordFile, beside
from rungs.program.nodes import Program
from tests.bench.harness import Bench, bench
from tests.bench.panels import SHED
from tests.test_checkout_record import PLAN, TOUR, plan_of, walked


class Planner:
    """Makes the plan of six steps when it may."""

    def __init__(self) -> None:
        self.may = Event()
        self.may.set()
        self.made = 0

    def __call__(self, program: Program, seconds: float) -> Plan:
        assert self.may.wait(30)
        self.made += 1
        return PLAN


@pytest.fixture(autouse=True)
def planner(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> Planner:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    # the tests call for frames themselves, and their screens come to rest quickly
    monkeypatch.setattr(app, "FRAMES", 0.01)
    monkeypatch.setattr(_wait, "SLEEP_GRANULARITY", 0.005)
    monkeypatch.setattr(_wait, "SLEEP_IDLE", 0.0025)
    made = Planner()
    monkeypatch.setattr(checking, "plan_of", made)
    return made


async def open_pane(b: Bench, step: int = 0) -> CheckoutPane:
    """The pane, once its plan is made, at a step."""
    await b.press("T")
    pane = b.app.screen
    assert isinstance(pane, CheckoutPane)
    pane.making.thread.join(30)
    pane.poll()
    if pane.walk is not None and pane.walk.go_to(step):
        pane.show_step()
    await b.look()
    return pane


async def name(b: Bench, text: str = "Ann") -> None:
    """Answer the question for a name."""
    assert isinstance(b.app.screen, Prompt)
    await b.fill_in(text)


def record(file: Path) -> Record:
    found = RecordFile(beside(file)).load()
    assert found is not None
    return found


def results(file: Path) -> list[tuple[int, str, str]]:
    return [(e.number, e.result, e.note) for e in record(file).entries]


async def test_a_checkout_is_walked_by_single_keys(tmp_path: Path) -> None:
    file = tmp_path / "shed.rungs"
    async with bench(path=file) as b:
        await open_pane(b)
        assert "step 1 of 6, inputs one by one" in b.text
        assert "operate lamp_switch" in b.text
        assert "0 of 6 done" in b.text
        assert "p pass" in b.text
        await b.press("enter")  # passes no step by
        assert "step 1 of 6" in b.text
        await b.press("t")
        await b.fill_in("7")
        assert "a step is a number from 1 to 6" in b.lines("#wrong")
        await b.fill_in("3")
        assert "step 3 of 6" in b.text
        await b.press("b", "b")
        assert "step 1 of 6" in b.text
        await b.press("p")
        await name(b)
        assert results(file) == [(1, "pass", "")]
        await b.press("s")
        assert results(file)[-1] == (2, "skipped", "")
        await b.press("n")
        await b.fill_in("x" * 1_001)
        assert "at most 1,000 characters" in b.lines("#wrong")
        await b.fill_in("it hums")
        await b.press("p")
        assert results(file)[-2:] == [(3, "note", "it hums"), (3, "pass", "")]
        await b.press("p", "p", "p")
        # what was skipped is not asked for twice in one walk
        assert "Nothing is left to be asked." in b.text
        assert "5 of 6 steps done: 5 passed" in b.lines("#body")
        assert {entry.who for entry in record(file).entries} == {"Ann"}
        await b.press("q", "T")
        assert "step 2 of 6" in b.text


async def test_a_failed_step_tells_where_to_look_and_goes_to_the_rung(tmp_path: Path) -> None:
    file = tmp_path / "shed.rungs"
    async with bench(path=file) as b:
        await open_pane(b, 4)
        await b.press("f")
        await name(b)
        assert isinstance(b.app.screen, Tick)
        assert "R2 pump: load off, not on" in b.lines("#items")
        await b.press("space", "down", "down", "space", "enter")
        await b.fill_in("loose")
        entry = record(file).entries[-1]
        assert (entry.number, entry.result, entry.note) == (4, "fail", "loose")
        assert entry.as_found == (
            AsFound(output="lamp", terminal="R1", coil=True),
            AsFound(output="pump", terminal="R2", load=False),
        )
        pane = b.lines("#body")
        assert "FAILED. Where to look:" in pane
        assert 'rung 2 "The pump runs until it is stopped"' in pane
        assert "NC contact in place of the NO contact" in " ".join(pane.split())
        await b.press("g")
        assert isinstance(b.app.screen, Menu)
        assert "rung 1 The lamp follows the switch" in b.lines("#items")
        await b.press("b")
        assert b.dialogs == 0
        assert b.focused == "ladder"
        assert b.app.rung_index == 1
        assert "T goes back to the checkout" in b.says
        # the step that was left for its rung is there again
        await open_pane(b)
        assert "step 4 of 6" in b.text
        await b.press("p")
        assert results(file)[-1] == (4, "pass", "")
        assert "step 5 of 6" in b.text
        await b.press("b")
        assert "was  failed" in b.lines("#body")
        assert "was  passed" in b.lines("#body")


async def test_the_bench_goes_on_while_the_plan_is_made(tmp_path: Path, planner: Planner) -> None:
    planner.may.clear()
    async with bench(path=tmp_path / "shed.rungs") as b:
        b.session.run()
        await b.press("T")
        assert "making the plan ..." in b.text
        scans = b.session.panel.scan_number
        await b.wait(500)
        assert b.session.panel.scan_number > scans
        await b.press("p", "f", "g", "enter", "escape")
        assert b.dialogs == 0
        planner.may.set()
        await open_pane(b)
        assert "step 1 of 6" in b.text
        assert planner.made == 1
        await b.press("q")
        await open_pane(b)
        # until the program is another one, the plan is as it was
        assert planner.made == 1
        assert not beside(tmp_path / "shed.rungs").exists()


async def test_a_plan_that_cannot_be_made_is_told(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    def fails(program: Program, seconds: float) -> Plan:
        raise MemoryError("too much")

    monkeypatch.setattr(checking, "plan_of", fails)
    async with bench(path=tmp_path / "shed.rungs") as b:
        await open_pane(b)
        assert "no plan could be made: MemoryError: too much" in b.text
        await b.press("p", "q")
        assert b.dialogs == 0


async def test_a_checkout_is_of_a_saved_file_without_errors(tmp_path: Path) -> None:
    file = tmp_path / "shed.rungs"
    async with bench(path=file) as b:
        b.app.work.append("rung lamp_switch -> nobody")
        b.app.text_changed(None)
        await b.press("T")
        assert "the text has errors" in b.says
        b.app.work.undo()
        b.app.work.append("relay spare rung lamp_switch -> spare")
        b.app.text_changed(None)
        await b.press("T")
        assert "save the file first" in b.says
        b.app.work.undo()
        b.app.text_changed(None)
        beside(file).write_bytes(b"{")
        await b.press("T")
        assert b.dialogs == 0
        assert "left as it is" in b.says
        beside(file).unlink()
        await b.press("T")
        # what is undone is saved
        assert isinstance(b.app.screen, CheckoutPane)


async def test_answers_that_cannot_be_saved_are_told_and_not_lost_unasked(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file = tmp_path / "shed.rungs"
    save = RecordFile.save

    def full(book: RecordFile, record: Record) -> Record:
        raise RecordError("no space left on device")

    async with bench(path=file) as b:
        await open_pane(b)
        monkeypatch.setattr(RecordFile, "save", full)
        await b.press("p")
        await name(b, "")
        assert "NOT SAVED: no space left on device" in " ".join(b.lines("#head").split())
        await b.press("q")
        assert isinstance(b.app.screen, Menu)
        await b.press("t")
        assert isinstance(b.app.screen, CheckoutPane)
        monkeypatch.setattr(RecordFile, "save", save)
        await b.press("s")
        assert "NOT SAVED" not in b.text
        assert results(file) == [(1, "pass", ""), (2, "skipped", "")]
        monkeypatch.setattr(RecordFile, "save", full)
        await b.press("p", "q", "x")
        assert b.dialogs == 0
    assert len(record(file).entries) == 2


async def test_stale_answers_and_an_earlier_name_are_there_at_the_next_opening(
    tmp_path: Path,
) -> None:
    file = tmp_path / "shed.rungs"
    old = plan_of(*TOUR[:1], ("tap start", ("lamp",)), digest="1f" * 32)
    RecordFile(beside(file)).save(walked(old, *["pass"] * 4))
    async with bench(path=file) as b:
        await open_pane(b)
        assert "step 4 of 6" in b.text
        assert "1 answer does not count any more" in b.lines("#body")
        await b.press("p")
        assert isinstance(b.app.screen, CheckoutPane)
        assert record(file).entries[-1].who == "Ann"
        await b.press("w")
        await name(b, "Ben")
        await b.press("p")
        assert record(file).entries[-1].who == "Ben"


async def test_plain_signs_and_labels_of_any_kind_stay_plain(tmp_path: Path) -> None:
    text = SHED.replace("The pump runs until it is stopped", "[bold]pump[/] \\[é] 泵")
    async with bench(text, path=tmp_path / "shed.rungs", size=(60, 16), ascii_only=True) as b:
        await open_pane(b, 4)
        await b.press("f")
        await name(b, "[red]Ann[/]")
        await b.press("enter", "enter")
        assert "[bold]pump[/]" in b.lines("#body")
        assert "[red]Ann[/]" in b.lines("#body")
        # the pane stands in its own frame, with no line of it cut off
        assert b.text.isascii()
        assert "q quit" in b.text
        # a longer step can be read to its end
        await b.press("space", "space", "space", "space", "space")
        assert "by [red]Ann[/]" in b.text
