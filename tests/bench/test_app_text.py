"""The text beside the ladder: what is typed, what is said of it, and taking it into the panel."""

from __future__ import annotations

from pathlib import Path

import pytest
from textual import _wait

from rungs.bench import app
from rungs.bench.app import CHECK_MS, BenchApp
from rungs.bench.dialogs import Page, Prompt
from rungs.bench.session.session import Session
from rungs.bench.work import Work, open_work
from rungs.program.nodes import Program
from rungs.source import Span
from tests.bench.harness import Bench, bench
from tests.bench.panels import SHED, START, Hands


@pytest.fixture(autouse=True)
def own_state(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    # the tests call for frames themselves, and their screens come to rest quickly
    monkeypatch.setattr(app, "FRAMES", 0.01)
    monkeypatch.setattr(_wait, "SLEEP_GRANULARITY", 0.005)
    monkeypatch.setattr(_wait, "SLEEP_IDLE", 0.0025)


async def open_at(b: Bench, words: str, into: int | None = None) -> None:
    """Open the text with the caret in the first place that has these words, or behind them."""
    if not b.app.text_open:
        await b.press("f3")
    pane = b.app.bench.text
    at = pane.text.index(words) + (len(words) if into is None else into)
    pane.move_cursor(pane.location_of(at))
    await b.look()
    assert b.app.bench.pane() == "text"


async def put(b: Bench, text: str) -> None:
    """Put text where the caret is, as a paste does, and let the check fall due."""
    await b.paste(text)
    await b.check()


# --- typing


async def test_what_is_typed_stands_in_the_document_at_once() -> None:
    async with bench() as b:
        await open_at(b, "-> lamp")
        await b.type(", ready")
        assert "lamp_switch -> lamp, ready" in b.app.work.text
        assert b.app.work.text == b.app.bench.text.text
        assert b.app.work.dirty
        assert b.lines("#top").startswith(" * ")


async def test_the_text_is_checked_once_typing_rests() -> None:
    async with bench() as b:
        await open_at(b, "-> lamp")
        await b.type("x")
        await b.wait(CHECK_MS - 1)
        assert (b.app.work.is_checked, b.app.work.stale) == (False, False)
        await b.wait(1)
        assert (b.app.work.is_checked, b.app.work.stale) == (True, True)


async def test_a_finding_is_underlined_in_its_place_and_told_in_words() -> None:
    async with bench() as b:
        await open_at(b, "-> lamp")
        await b.type("x")
        await b.check()
        pane = b.app.bench.text
        row, _ = pane.cursor_location
        assert pane._marks[row] == [(19, 24, "wrong")]
        assert pane.get_line(row).plain == "    lamp_switch -> lampx"
        assert any(span.start == 19 for span in pane.get_line(row).spans)
        assert "'lampx' is not declared" in b.says
        await b.press("backspace")
        await b.check()
        assert row not in pane._marks
        assert "declared" not in b.says


async def test_the_ladder_shows_the_last_good_program_dimmed_while_there_are_errors() -> None:
    async with bench() as b:
        good = b.app.shown_program
        await open_at(b, "-> lamp")
        await put(b, " (")
        assert b.app.shown_program is good
        assert all(b.app.painting.look(n).stale for n in range(len(good.rungs)))
        assert "1 error" in b.lines("#top")
        await b.press("backspace", "backspace")
        await b.check()
        assert not b.app.painting.look(0).stale
        assert "error" not in b.lines("#top")


async def test_a_new_rung_has_a_plus_and_no_current() -> None:
    async with bench(size=(100, 40)) as b:
        b.session.toggle("lamp_switch")
        await b.wait(100)
        await open_at(b, "-> lamp")
        await put(b, "\nrung lamp_switch -> latch ready")
        await b.look()
        look = b.app.painting.look(1)
        assert (look.turn, look.live) == ("new", False)
        assert b.app.painting.look(0).live
        assert "  2+" in b.text
        assert "+ " in b.lines("#top")


async def test_characters_that_the_editor_holds_for_line_ends_stay_as_they_are() -> None:
    text = SHED.lstrip() + "# one\u2028more\u2029and\u0085this\x0c\x1b[2J\n"
    async with bench(SHED) as b:
        b.app.work.document.set_text(text)
        b.app.work.recheck()
        b.app.text_changed(None)
        await b.look()
        pane = b.app.bench.text
        assert pane.text == text
        assert len(pane.document.lines) == text.count("\n") + 1
        assert pane.get_line(len(pane.document.lines) - 2).plain == "# one?more?and?this??[2J"
        await open_at(b, "-> lamp")
        await b.type(" ")
        assert b.app.work.text == text.replace("-> lamp\n", "-> lamp \n", 1)
        await b.press("ctrl+z")
        assert pane.text == b.app.work.text == text


async def test_a_click_of_keys_in_the_text_is_text_and_no_command() -> None:
    async with bench() as b:
        await open_at(b, "-> lamp")
        now = b.session.running
        await b.type("qrpkvz?+")
        assert "-> lampqrpkvz?+" in b.app.work.text
        assert b.dialogs == 0
        assert b.session.running == now


# --- completion


async def test_tab_completes_a_word_and_again_takes_the_next() -> None:
    async with bench() as b:
        await open_at(b, "-> lamp")
        await b.type("\nrung la")
        await b.press("tab")
        first = b.app.work.text.partition("-> lamp\nrung ")[2].split("\n")[0]
        assert first in ("lamp", "lamp_switch")
        assert "tab: " in b.says
        assert f"▸{first}" in b.says
        await b.press("tab")
        second = b.app.work.text.partition("-> lamp\nrung ")[2].split("\n")[0]
        assert {first, second} == {"lamp", "lamp_switch"}
        await b.press("tab")
        assert f"-> lamp\nrung {first}\n" in b.app.work.text
        await b.type("x")
        assert f"rung {first}x" in b.app.work.text


async def test_a_completion_is_undone_like_what_is_typed() -> None:
    async with bench() as b:
        before = b.app.work.text
        await open_at(b, "-> lamp")
        await b.type(", re")
        await b.press("tab")
        assert b.app.work.text != before
        for _ in range(8):
            await b.press("ctrl+z")
        assert b.app.work.text == before == b.app.bench.text.text


async def test_tab_where_nothing_is_known_says_so() -> None:
    async with bench() as b:
        await open_at(b, 'title "Shed')
        before = b.app.work.text
        await b.press("tab")
        assert b.says == "nothing known could stand here"
        assert b.app.work.text == before


# --- names and findings


async def test_f6_walks_from_the_coil_to_the_contacts_and_the_declaration() -> None:
    async with bench() as b:
        await open_at(b, "not rest -> pump", into=5)
        seen = []
        for _ in range(4):
            await b.press("f6")
            row, _ = b.app.bench.text.cursor_location
            seen.append(b.app.bench.text.document.get_line(row).split()[0])
            assert b.says.startswith("rest is ")
            assert b.says.endswith(" of 3)")
        # from the contact: the coil, then on to the declaration, and round again
        assert seen == ["rung", "(start", "timer", "rung"]


async def test_f6_off_a_name_says_what_to_do() -> None:
    async with bench() as b:
        await open_at(b, "debounce")
        await b.press("f6")
        assert b.says == "put the caret on a name first"


@pytest.mark.parametrize("where", ["text", "ladder"])
async def test_a_device_is_renamed_everywhere(where: str) -> None:
    async with bench() as b:
        before = b.app.work.text
        if where == "text":
            await open_at(b, "lamp_switch ->", into=3)
            await b.press("f7")
        else:
            await b.to("ladder")
            await b.press("R")
        assert isinstance(b.app.screen, Prompt)
        await b.fill_in("pump")
        assert b.dialogs == 1
        assert "pump" in b.lines("#wrong")
        await b.fill_in("gate")
        assert b.dialogs == 0
        assert "lamp_switch" not in b.app.work.text
        assert b.app.work.text.count("gate") == before.count("lamp_switch")
        assert b.app.bench.text.text == b.app.work.text
        key = "ctrl z" if where == "text" else "z"
        assert f"; {key} takes it back" in b.says
        await b.press("ctrl+z" if where == "text" else "z")
        assert b.app.work.text == before


async def test_f8_goes_from_finding_to_finding() -> None:
    async with bench() as b:
        await open_at(b, "-> lamp")
        await put(b, "x\nrung nobody -> flap")
        findings = b.app.work.checked.findings
        assert len(findings) >= 2
        seen = []
        for _ in (*findings, None):
            await b.press("f8")
            seen.append(b.app.bench.text.caret)
            assert b.says.startswith("line ")
        assert seen[:-1] == [finding.span.start for finding in findings]
        assert seen[-1] == seen[0]


async def test_f8_in_a_file_without_findings_says_so() -> None:
    async with bench("input a at I1\noutput o at R1\nrung a -> o\n") as b:
        await b.press("f8")
        assert b.says == "no findings"
        assert not b.app.text_open


# --- undo


async def test_undo_across_text_and_ladder_gives_the_first_bytes_back(tmp_path: Path) -> None:
    file = tmp_path / "shed.rungs"
    async with bench(SHED.replace("\n", "\r\n"), path=file) as b:
        first = b.app.work.document.encoded()
        await open_at(b, "-> lamp")
        await b.type(" # odd é")
        await b.press("escape", "home", "enter", "c")
        assert "not lamp_switch -> lamp # odd é" in b.app.work.text
        await b.press("f3")
        await b.type("# more\n")
        await b.press("backspace", "escape")
        assert b.app.work.document.encoded() != first
        redone = b.app.work.text
        steps = 0
        while b.app.work.document.can_undo:
            await b.press("z")
            steps += 1
            assert b.app.bench.text.text == b.app.work.text
        assert steps >= 2
        assert b.app.work.document.encoded() == first
        assert not b.app.work.dirty
        assert b.says == "as the file on disk"
        await b.press("z")
        assert b.says == "nothing to undo"
        for _ in range(steps):
            await b.press("Z")
        assert b.app.work.text == redone == b.app.bench.text.text
        await b.press("Z")
        assert b.says == "nothing to redo"


async def test_an_undo_right_behind_a_letter_takes_back_that_letter_alone() -> None:
    async with bench() as b:
        await open_at(b, "-> lamp")
        await b.type("x")
        before = b.app.work.text
        pane = b.app.bench.text
        pane.insert("\n")
        # the editor has not told of it yet
        b.app.table["text.undo"]()
        await b.look()
        assert b.app.work.text == pane.text == before
        b.app.table["text.redo"]()
        await b.look()
        assert b.app.work.text == pane.text == before.replace("lampx\n", "lampx\n\n", 1)


async def test_undo_shows_the_rung_that_it_changed() -> None:
    async with bench() as b:
        await b.to("ladder")
        await b.press("end", "right", "enter", "a", "c")
        await b.fill_in("ready")
        await b.press("escape", "end", "enter", "c", "home")
        assert b.app.rung_index == 0
        await b.press("z")
        assert b.app.rung_index == len(b.app.shown_program.rungs) - 1


# --- taking an edit in


async def test_an_edit_is_taken_into_the_running_panel_and_devices_keep_their_state() -> None:
    async with bench() as b:
        b.session.tap("start")
        await b.wait(500)
        assert {"pump", "ready"} <= b.on()
        await open_at(b, "-> lamp")
        await put(b, "\nrung lamp -> latch ready")
        now = b.session.panel.now
        await b.press("f4")
        assert b.says.startswith("taken in: ")
        assert not b.app.pending
        assert b.session.panel.now == now
        assert {"pump", "ready"} <= b.on()
        await b.press("f4")
        assert b.says == "the panel runs this program already"


async def test_what_an_edit_resets_is_told() -> None:
    async with bench() as b:
        b.session.tap("start")
        await b.wait(500)
        await open_at(b, "counter runs")
        b.app.bench.text.change(span_of(b, "counter runs to 3"), "timer runs accumulating 5s", None)
        await b.check()
        await b.press("f4")
        assert isinstance(b.app.screen, Page)
        assert "runs begins anew: " in b.lines("#page")
        await b.press("escape")
        assert "1 reset" in b.says


def span_of(b: Bench, words: str) -> Span:
    at = b.app.work.text.index(words)
    return Span(at, at + len(words))


async def test_a_text_with_errors_is_not_taken_in() -> None:
    async with bench() as b:
        runs = b.session.program
        await open_at(b, "-> lamp")
        await b.type("x")
        await b.press("f4")
        assert b.says == "1 error: the panel keeps its program; F8 goes there"
        assert b.session.program is runs
        await b.press("f8")
        assert "'lampx'" in b.says


async def test_taking_in_asks_first_in_the_past() -> None:
    async with bench() as b:
        await b.wait(500)
        await open_at(b, "-> lamp")
        await put(b, "\nrung lamp -> latch ready")
        await b.press("escape", "O", "f4")
        assert "This moment is past" in b.lines("#head")
        await b.press("escape")
        assert (b.session.in_past, b.app.pending) == (True, True)
        await b.press("f4", "a")
        assert (b.session.in_past, b.app.pending) == (False, False)


# --- a file that is still to be written


async def test_a_file_without_a_program_gets_one_while_it_is_typed(tmp_path: Path) -> None:
    work = open_work(tmp_path / "new.rungs")
    assert isinstance(work, Work)
    hands = Hands()
    assert work.program is not None
    made = BenchApp(Session(work.program, START), work, False, hands)
    async with made.run_test(size=(80, 24)) as pilot:
        b = Bench(made, pilot, hands)
        await pilot.pause()
        await b.look()
        assert made.bench.pane() == "text"
        await b.type('title "New"')
        await b.check()
        await put(b, "\ninput a at I1\noutput o at R1\n")
        await put(b, "rung a -> o\n")
        assert [r.number for r in b.session.program.rungs] == [1]
        assert not made.pending
        b.session.run()
        b.session.toggle("a")
        await b.wait(50)
        assert "o" in b.on()
        await put(b, "# the panel runs, and is not begun anew by what is typed\n")
        assert "o" in b.on()


async def test_a_file_with_errors_opens_in_its_text(tmp_path: Path) -> None:
    file = tmp_path / "wrong.rungs"
    file.write_text("input a at I1\noutput o at R1\nrung a -> \n", encoding="utf-8")
    work = open_work(file)
    assert isinstance(work, Work)
    assert work.program is None
    hands = Hands()
    made = BenchApp(Session(Program(), START), work, False, hands)
    async with made.run_test(size=(80, 24)) as pilot:
        b = Bench(made, pilot, hands)
        await pilot.pause()
        await b.look()
        assert made.bench.pane() == "text"
        await b.press("f8")
        assert b.says.startswith("line 3")
        made.bench.text.move_cursor((2, 10))
        await b.type("o")
        await b.check()
        assert [r.number for r in b.session.program.rungs] == [1]
