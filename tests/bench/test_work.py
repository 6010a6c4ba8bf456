"""One file on the bench: text, ladder, undo, journal and disk never disagree."""

from __future__ import annotations

import shutil
import tempfile
from pathlib import Path

import pytest
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from rungs.bench.work import Work, open_work, work_of
from rungs.desk.disk import Refused, Saved
from rungs.desk.journal import read_journal
from rungs.edit.contacts import insert_contact, invert_contact
from rungs.edit.statements import delete_rung
from rungs.files import FileError
from rungs.findings import Finding
from rungs.program.check import check
from tests.bench.panels import SHED

SMALL = "input a at I1\ninput b at I2\noutput o at R1\n# é\nrung a -> o\n"


@pytest.fixture(autouse=True)
def own_state(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))


def opened(path: Path) -> Work:
    work = open_work(path)
    assert isinstance(work, Work), work
    return work


def test_a_text_is_checked_when_it_is_asked_for_and_the_last_good_program_stays() -> None:
    work = work_of(SMALL)
    good = work.program
    assert work.typed(SMALL + "rung (", 0)
    assert (work.is_checked, work.stale) == (False, False)
    work.recheck()
    assert (work.is_checked, work.stale) == (True, True)
    assert work.program is good
    assert not work.typed(SMALL + "rung (", 3)


def test_what_the_calendar_says_of_clocks_is_among_the_findings() -> None:
    text = (
        'site "North" zone "Europe/Oslo" latitude 80 longitude 15\noutput o at R1\n'
        "clock dark from sunset to sunrise\nrung dark -> o\n"
    )
    found = work_of(text).checked.findings
    assert {f.code for f in found} - {f.code for f in check(work_of(text).document.source).findings}


def test_an_edit_of_the_ladder_that_is_refused_changes_nothing() -> None:
    work = work_of(SMALL)
    change = insert_contact(work.checked, 1, 0, "nobody", "after")
    assert isinstance(change, Finding)
    assert work.change(change) is change
    assert work.text == SMALL
    assert not work.document.can_undo


@pytest.mark.parametrize(
    ("text", "between"), [("", ""), ("# x", "\n\n"), ("# x\n", "\n"), ("  \n", "")]
)
def test_what_is_appended_is_set_off_from_what_stands_there(text: str, between: str) -> None:
    work = work_of(text)
    span = work.append("relay r\n")
    assert work.text == text + between + "relay r\n"
    assert work.text[span.start : span.end] == "relay r\n"
    work.undo()
    assert work.text == text


def test_a_file_that_is_not_there_yet_begins_empty_and_is_not_made_by_opening(
    tmp_path: Path,
) -> None:
    path = tmp_path / "new.rungs"
    work = opened(path)
    assert work.text == ""
    assert not work.dirty
    assert not path.exists()
    work.typed(SMALL, 0)
    assert isinstance(work.save(), Saved)
    assert path.read_text(encoding="utf-8") == SMALL


def test_bytes_that_are_no_text_are_not_opened_and_not_touched(tmp_path: Path) -> None:
    path = tmp_path / "odd.rungs"
    path.write_bytes(b"\xff\xfe\x00")
    found = open_work(path)
    assert isinstance(found, tuple)
    assert [f.code for f in found] == ["not-text"]
    with pytest.raises(FileError):
        open_work(tmp_path)


def test_a_closed_file_leaves_nothing_and_a_kept_one_its_journal(tmp_path: Path) -> None:
    path = tmp_path / "shed.rungs"
    for keep in (False, True):
        path.write_text(SHED, encoding="utf-8")
        work = opened(path)
        assert work.keeps
        work.typed(SHED + "# more\n", 0)
        work.close(keep)
        left = list((tmp_path / "state" / "journals").glob("*.journal"))
        assert len(left) == keep
    assert not list((tmp_path / "state" / "locks").iterdir())


def test_trouble_with_the_journal_is_told_once_and_typing_goes_on(tmp_path: Path) -> None:
    (tmp_path / "state").write_text("not a folder", encoding="utf-8")
    path = tmp_path / "shed.rungs"
    path.write_text(SHED, encoding="utf-8")
    work = opened(path)
    work.typed(SHED + "#", 0)
    work.typed(SHED + "##", 0)
    told = work.troubles()
    assert any("cannot be kept" in trouble.message for trouble in told)
    assert work.troubles() == ()
    assert not work.keeps
    assert isinstance(work.save(), Saved)
    assert path.read_text(encoding="utf-8") == SHED + "##"


def test_saving_elsewhere_moves_the_file_its_journal_and_its_lock(tmp_path: Path) -> None:
    path, other = tmp_path / "one.rungs", tmp_path / "two.rungs"
    path.write_text(SMALL, encoding="utf-8")
    work = opened(path)
    work.typed(SMALL + "# more\n", 0)
    assert isinstance(work.save(other), Saved)
    assert (path.read_text(encoding="utf-8"), work.path) == (SMALL, other)
    assert not work.dirty
    assert list((tmp_path / "state" / "journals").glob("*.journal")) == []
    work.typed(SMALL, 0)
    kept = read_journal(next((tmp_path / "state" / "journals").glob("*.journal")).read_bytes())
    assert kept is not None
    assert (kept.path, kept.text) == (other, SMALL)
    assert opened(path).holder is None
    assert opened(other).holder is not None


# --- any order of all of it

PIECES = ("rung b -> latch o\n", "#", "é", "\u2028", "x", "\n", "(", "not ", "and b")


class FileMachine(RuleBasedStateMachine):
    """One person at text and ladder, another one at the disk."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = Path(tempfile.mkdtemp())
        self.patch = pytest.MonkeyPatch()
        self.patch.setenv("RUNGS_STATE", str(self.folder / "state"))
        self.path = self.folder / "panel.rungs"
        self.work: Work

    @initialize(newline=st.sampled_from(["\n", "\r\n"]), mark=st.sampled_from(["", "\ufeff"]))
    def open(self, newline: str, mark: str) -> None:
        self.first = (mark + SMALL).replace("\n", newline).encode("utf-8")
        self.path.write_bytes(self.first)
        self.work = opened(self.path)
        self.pane = self.work.text  # what an editor would hold
        self.others = 0

    def follow(self) -> None:
        """What the editor does after a change made elsewhere."""
        self.pane = self.work.text

    @rule(at=st.integers(0, 200), cut=st.integers(0, 6), piece=st.sampled_from(("", *PIECES)))
    def type(self, at: int, cut: int, piece: str) -> None:
        at = min(at, len(self.pane))
        new = self.pane[:at] + piece + self.pane[at + cut :]
        assert self.work.typed(new, at + len(piece)) == (new != self.pane)
        self.pane = new

    @rule(which=st.sampled_from(["invert", "insert", "delete"]))
    def change_ladder(self, which: str) -> None:
        checked = self.work.recheck()
        match which:
            case "invert":
                change = invert_contact(checked, 1, 0)
            case "insert":
                change = insert_contact(checked, 1, 0, "b", "beside")
            case _:
                change = delete_rung(checked, 1)
        before = self.work.text
        if self.work.change(change) is not None:
            assert self.work.text == before
        self.follow()

    @rule()
    def undo(self) -> None:
        could = self.work.document.can_undo
        assert (self.work.undo() is not None) == could
        self.follow()

    @rule()
    def redo(self) -> None:
        could = self.work.document.can_redo
        assert (self.work.redo() is not None) == could
        self.follow()

    @rule()
    def another_writes(self) -> None:
        self.others += 1
        text = f"{SMALL}# written by another, {self.others}\n"
        self.path.write_text(text, encoding="utf-8")

    @rule()
    def save(self) -> None:
        there = self.path.read_bytes()
        seen = self.work.look()
        outcome = self.work.save()
        if seen == "changed" and there != self.work.document.encoded():
            assert isinstance(outcome, Refused)
            assert outcome.reason == "changed"
            assert self.path.read_bytes() == there
        else:
            assert isinstance(outcome, Saved)
            assert self.path.read_bytes() == self.work.document.encoded()
            assert not self.work.dirty

    @precondition(lambda self: self.work.look() == "changed")
    @rule(take=st.booleans())
    def answer(self, take: bool) -> None:
        if take:
            self.work.reload()
            assert self.work.document.encoded() == self.path.read_bytes()
            self.follow()
        else:
            self.work.leave_disk()
        assert self.work.look() == "unchanged"

    @invariant()
    def pane_document_and_check_agree(self) -> None:
        if hasattr(self, "pane"):
            assert self.pane == self.work.text
            if self.work.is_checked:
                assert self.work.checked.source.text == self.work.text

    @invariant()
    def an_unsaved_text_is_in_the_journal(self) -> None:
        if not hasattr(self, "pane"):
            return
        found = sorted((self.folder / "state" / "journals").glob("*.journal"))
        if self.work.dirty:
            assert len(found) == 1
        for file in found:
            kept = read_journal(file.read_bytes())
            assert kept is not None
            assert kept.whole
            assert kept.text == self.work.text
        assert self.work.troubles() == ()

    def teardown(self) -> None:
        if hasattr(self, "pane"):
            while self.work.undo() is not None:
                pass
            assert self.work.document.text == SMALL
            assert self.work.document.encoded() == self.first
            self.work.close()
        self.patch.undo()
        shutil.rmtree(self.folder, ignore_errors=True)


TestFile = FileMachine.TestCase
TestFile.settings = settings(max_examples=50, stateful_step_count=25, deadline=None)
