"""The file on disk under the bench: nothing is overwritten unseen, and nothing is lost unasked."""

from __future__ import annotations

import errno
import os
import subprocess
import sys
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path

import pytest
from textual import _wait

from rungs.bench import app
from rungs.bench.app import WATCH_MS, BenchApp
from rungs.bench.dialogs import Menu, Page, Prompt
from rungs.bench.session.session import Session
from rungs.bench.work import open_work
from rungs.desk import lock
from rungs.desk.recovery import offers
from tests.bench.harness import Bench, bench
from tests.bench.panels import SHED, START, Hands

OTHER = SHED.replace("Shed light and pump", "Changed by another")


@pytest.fixture(autouse=True)
def own_state(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    # the tests call for frames themselves, and their screens come to rest quickly
    monkeypatch.setattr(app, "FRAMES", 0.01)
    monkeypatch.setattr(_wait, "SLEEP_GRANULARITY", 0.005)
    monkeypatch.setattr(_wait, "SLEEP_IDLE", 0.0025)


@pytest.fixture
def file(tmp_path: Path) -> Path:
    return tmp_path / "shed.rungs"


def journals(tmp_path: Path) -> list[Path]:
    """What is kept of unsaved texts."""
    return sorted((tmp_path / "state" / "journals").glob("*.journal"))


@asynccontextmanager
async def opened(file: Path) -> AsyncIterator[Bench]:
    """The bench for a file as it stands."""
    hands = Hands()
    work = open_work(file)
    assert not isinstance(work, tuple)
    assert work.program is not None
    made = BenchApp(Session(work.program, START), work, False, hands)
    async with made.run_test(size=(80, 24)) as pilot:
        b = Bench(made, pilot, hands)
        await pilot.pause()
        await b.look()
        yield b


async def edit(b: Bench) -> str:
    """Change the text; returns it."""
    await b.to("ladder")
    await b.press("home", "enter", "c")
    assert b.app.work.dirty
    return b.app.work.text


def letters(b: Bench) -> str:
    """The letters of the menu that is open."""
    assert isinstance(b.app.screen, Menu)
    return "".join(choice.letter for choice in b.app.screen.choices)


# --- saving


async def test_saving_writes_the_text_and_the_journal_goes(file: Path, tmp_path: Path) -> None:
    async with bench(path=file) as b:
        assert journals(tmp_path) == []
        text = await edit(b)
        assert len(journals(tmp_path)) == 1
        assert file.read_text(encoding="utf-8") == SHED
        await b.press("f2")
        assert b.says == "saved shed.rungs"
        assert file.read_text(encoding="utf-8") == text
        assert journals(tmp_path) == []
        assert "* " not in b.lines("#top")


async def test_saving_a_text_with_errors_says_that_it_has_some(file: Path) -> None:
    async with bench(path=file) as b:
        await b.press("f3", "ctrl+a", "delete")
        await b.type("rung (")
        await b.press("f2")
        assert b.says == "saved shed.rungs; it has 1 error"
        assert file.read_text(encoding="utf-8") == "rung ("


async def test_a_letter_that_the_editor_has_not_told_of_is_saved_too(file: Path) -> None:
    async with bench(path=file) as b:
        await b.press("f3")
        b.app.bench.text.insert("#")
        b.app.table["text.save"]()
        assert b.app.bench.text.text == file.read_text(encoding="utf-8")
        assert not b.app.work.dirty


async def test_a_text_without_a_place_is_saved_under_a_name(tmp_path: Path) -> None:
    async with bench() as b:
        await edit(b)
        await b.press("f2")
        assert isinstance(b.app.screen, Prompt)
        await b.fill_in("")
        assert "write a name" in b.lines("#wrong")
        await b.fill_in(str(tmp_path / "n.rungs"))
        assert b.says == "saved n.rungs"
        assert (tmp_path / "n.rungs").read_text(encoding="utf-8") == b.app.work.text
        assert not b.app.work.dirty


async def test_saving_over_a_file_that_was_never_opened_is_asked_for(tmp_path: Path) -> None:
    there = tmp_path / "n.rungs"
    there.write_text(OTHER, encoding="utf-8")
    async with bench() as b:
        await edit(b)
        await b.press("f2")
        await b.fill_in(str(there))
        assert "there is already a file" in " ".join(b.lines("#head").split())
        # what stands there is another file, and no older text of this one
        assert letters(b) == "dosl"
        await b.press("d")
        assert isinstance(b.app.screen, Page)
        assert "Changed by another" in b.lines("#page")
        await b.press("escape")
        assert letters(b) == "dosl"
        assert there.read_text(encoding="utf-8") == OTHER
        await b.press("o")
        assert there.read_text(encoding="utf-8") == b.app.work.text
        assert b.app.work.path == there


@pytest.mark.parametrize("way", ["full", "protected"])
async def test_a_refused_save_keeps_everything_and_can_be_tried_again(
    way: str, file: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    async with bench(path=file) as b:
        text = await edit(b)
        code = errno.ENOSPC if way == "full" else errno.EROFS

        def refuse(*args: object, **kwargs: object) -> None:
            raise OSError(code, os.strerror(code))

        with monkeypatch.context() as patch:
            patch.setattr("rungs.files.write_all", refuse)
            await b.press("f2")
            assert "Not saved: " in b.lines("#head")
            assert letters(b) == "tsl"
            assert file.read_text(encoding="utf-8") == SHED
            await b.press("t")
            assert letters(b) == "tsl"
            await b.press("l")
            assert b.says == "not saved"
            assert b.app.work.dirty
            assert b.app.work.text == text
            assert len(journals(tmp_path)) == 1
            await b.press("f2", "s")
            assert isinstance(b.app.screen, Prompt)
            await b.press("escape")
        await b.press("f2")
        assert b.says == "saved shed.rungs"
        assert file.read_text(encoding="utf-8") == text


async def test_a_write_protected_file_is_not_replaced(file: Path) -> None:
    async with bench(path=file) as b:
        await edit(b)
        file.chmod(0o444)
        await b.press("f2")
        assert "write-protected" in b.lines("#head")
        assert file.read_text(encoding="utf-8") == SHED
        await b.press("s")
        other = file.with_name("other.rungs")
        await b.fill_in(str(other))
        assert other.read_text(encoding="utf-8") == b.app.work.text
        assert file.read_text(encoding="utf-8") == SHED
        assert b.app.work.path == other


# --- what others do


async def test_a_change_on_disk_is_noticed_within_a_second(file: Path) -> None:
    async with bench(path=file) as b:
        await b.wait(WATCH_MS)
        file.write_text(OTHER, encoding="utf-8")
        await b.wait(WATCH_MS - 1)
        assert b.dialogs == 0
        await b.wait(1)
        assert "Another program has changed the file." in b.lines("#head")
        assert letters(b) == "rdk"


async def test_the_text_on_disk_is_taken_and_can_be_taken_back(file: Path) -> None:
    async with bench(path=file) as b:
        mine = await edit(b)
        file.write_text(OTHER, encoding="utf-8")
        await b.wait(WATCH_MS)
        assert "and so have you" in b.lines("#head")
        assert letters(b) == "kdr"
        await b.press("d")
        assert isinstance(b.app.screen, Page)
        await b.press("escape")
        assert letters(b) == "kdr"
        await b.press("r")
        assert b.app.work.text == OTHER == b.app.bench.text.text
        assert b.app.work.document.digest == b.app.work.document.saved
        assert "z brings back the one before" in b.says
        await b.press("z")
        assert b.app.work.text == mine == b.app.bench.text.text
        assert b.app.work.dirty
        assert file.read_text(encoding="utf-8") == OTHER


async def test_the_text_here_is_kept_and_saving_then_writes_over_the_other(file: Path) -> None:
    async with bench(path=file) as b:
        mine = await edit(b)
        file.write_text(OTHER, encoding="utf-8")
        await b.wait(WATCH_MS)
        await b.press("k")
        await b.wait(WATCH_MS)
        assert b.dialogs == 0
        assert file.read_text(encoding="utf-8") == OTHER
        await b.press("f2")
        assert b.dialogs == 0
        assert file.read_text(encoding="utf-8") == mine


async def test_a_question_left_open_does_not_come_back_by_itself(file: Path) -> None:
    async with bench(path=file) as b:
        await edit(b)
        file.write_text(OTHER, encoding="utf-8")
        await b.wait(WATCH_MS)
        await b.press("escape")
        await b.wait(WATCH_MS)
        assert b.dialogs == 0
        # saving does not overwrite what nobody has decided on
        await b.press("f2")
        assert letters(b) == "dorsl"
        assert file.read_text(encoding="utf-8") == OTHER
        await b.press("l")
        file.write_text(OTHER + "# again\n", encoding="utf-8")
        await b.wait(WATCH_MS)
        assert letters(b) == "kdr"


@pytest.mark.parametrize("letter", ["o", "r", "l"])
async def test_a_save_before_the_change_was_noticed_asks_as_well(letter: str, file: Path) -> None:
    async with bench(path=file) as b:
        mine = await edit(b)
        file.write_text(OTHER, encoding="utf-8")
        await b.press("f2")
        assert "another program has changed" in " ".join(b.lines("#head").split())
        assert file.read_text(encoding="utf-8") == OTHER
        await b.press(letter)
        there = mine if letter == "o" else OTHER
        assert file.read_text(encoding="utf-8") == there
        assert b.app.work.text == (OTHER if letter == "r" else mine)
        assert b.app.work.dirty == (letter == "l")


async def test_a_deleted_file_is_told_and_written_again_by_saving(file: Path) -> None:
    async with bench(path=file) as b:
        file.unlink()
        await b.wait(WATCH_MS)
        assert "deleted by another program" in b.says
        assert b.app.work.dirty
        await b.wait(WATCH_MS)
        assert b.dialogs == 0
        await b.press("f2")
        assert file.read_text(encoding="utf-8") == SHED
        assert not b.app.work.dirty


async def test_another_bench_with_the_file_is_told_of(
    file: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    file.write_text(SHED, encoding="utf-8")
    held = lock.take(file)
    assert held.held
    async with opened(file) as b:
        assert "take care who saves" in b.says
        assert "the file is open in " in b.says


# --- leaving


async def test_leaving_a_saved_text_asks_nothing(file: Path) -> None:
    async with bench(path=file) as b:
        await b.press("q")
        assert b.app.left


@pytest.mark.parametrize(
    ("letter", "left", "saved", "kept"),
    [
        ("s", True, True, False),
        ("k", True, False, True),
        ("x", True, False, False),
        ("b", False, False, True),
        ("escape", False, False, True),
    ],
)
async def test_leaving_with_an_unsaved_text_asks(
    letter: str, left: bool, saved: bool, kept: bool, file: Path, tmp_path: Path
) -> None:
    async with bench(path=file) as b:
        text = await edit(b)
        await b.press("q")
        assert "There is unsaved text." in b.lines("#head")
        assert letters(b) == "skdxb"
        await b.press("d")
        assert isinstance(b.app.screen, Page)
        await b.press("escape")
        assert letters(b) == "skdxb"
        await b.press(letter)
        assert b.app.left == left
        assert (file.read_text(encoding="utf-8") == text) == saved
        assert bool(journals(tmp_path)) == kept


async def test_a_text_without_a_place_is_not_said_to_be_kept() -> None:
    async with bench() as b:
        await edit(b)
        await b.press("q")
        assert letters(b) == "sdxb"
        await b.press("d")
        assert isinstance(b.app.screen, Page)
        assert "not lamp_switch" in b.lines("#page")
        await b.press("escape", "b")
        assert b.app.is_running


async def test_a_save_that_fails_on_leaving_does_not_leave(file: Path) -> None:
    async with bench(path=file) as b:
        await edit(b)
        file.write_text(OTHER, encoding="utf-8")
        await b.press("q", "s")
        assert letters(b) == "dorsl"
        await b.press("l")
        assert b.app.is_running
        assert not b.app.left


# --- what a bench that was killed left behind


def killed(file: Path, text: str) -> None:
    """Another process types a text and is gone without a word."""
    code = (
        "import os, sys; from pathlib import Path; from rungs.bench.work import open_work\n"
        "work = open_work(Path(sys.argv[1])); work.typed(sys.stdin.read(), 0); os._exit(9)\n"
    )
    done = subprocess.run(
        [sys.executable, "-c", code, str(file)], input=text, text=True, check=False
    )
    assert done.returncode == 9


TYPED = SHED.replace("Shed light", "Unsaved light")


@pytest.mark.parametrize("letter", ["k", "t", "x", "escape"])
async def test_an_unsaved_text_is_offered_and_the_file_is_the_default(
    letter: str, file: Path
) -> None:
    file.write_text(SHED, encoding="utf-8")
    killed(file, TYPED)
    async with opened(file) as b:
        assert "without saving" in " ".join(b.lines("#head").split())
        assert letters(b) == "kdtx"
        await b.press("d")
        assert isinstance(b.app.screen, Page)
        assert '-title "Shed light and pump"' in b.lines("#page")
        assert '+title "Unsaved light and pump"' in b.lines("#page")
        await b.press("escape")
        assert b.app.work.text == SHED
        assert isinstance(b.app.screen, Menu)
        assert b.app.screen.choices[b.app.screen.chosen].letter == "k"
        await b.press(letter)
        assert b.app.work.text == (TYPED if letter == "t" else SHED) == b.app.bench.text.text
        assert bool(offers(file)) == (letter in ("k", "escape"))
        if letter == "t":
            assert "ctrl z goes back to the file" in b.says
            await b.press("ctrl+z")
            assert b.app.work.text == SHED == b.app.bench.text.text
    assert file.read_text(encoding="utf-8") == SHED


async def test_an_offer_older_than_the_file_says_so(file: Path) -> None:
    file.write_text(SHED, encoding="utf-8")
    killed(file, TYPED)
    later = file.stat().st_mtime + 60
    file.write_text(OTHER, encoding="utf-8")
    os.utime(file, (later, later))
    async with opened(file) as b:
        assert "saved after that" in " ".join(b.lines("#head").split())


async def test_a_file_with_strange_bytes_comes_back_as_it_was(file: Path) -> None:
    first = ("\ufeff" + SHED + "# a\u2028b").replace("\n", "\r\n").encode("utf-8")
    file.write_bytes(first)
    async with opened(file) as b:
        await edit(b)
        await b.press("f2")
        assert file.read_bytes() != first
        assert file.read_bytes().startswith(b"\xef\xbb\xbf\r\ntitle")
        await b.press("z", "f2")
        assert file.read_bytes() == first


# --- as text


async def test_the_bench_is_written_as_plain_text(tmp_path: Path) -> None:
    async with bench() as b:
        await b.press("P")
        await b.fill_in(str(tmp_path / "bench.txt"))
        assert b.says == f"wrote {tmp_path / 'bench.txt'}"
        text = (tmp_path / "bench.txt").read_text(encoding="utf-8")
        assert "The lamp follows the switch" in text
        await b.press("P")
        await b.fill_in(str(tmp_path / "bench.txt"))
        assert isinstance(b.app.screen, Prompt)
        assert "is there already" in " ".join(b.lines("#wrong").split())
        assert (tmp_path / "bench.txt").read_text(encoding="utf-8") == text
        await b.fill_in(str(tmp_path / "nowhere" / "bench.txt"))
        assert "cannot write" in b.says
