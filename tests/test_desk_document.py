"""The text being edited: undo, redo, runs of typing, and what counts as saved."""

from __future__ import annotations

import os
import subprocess
import sys
import tempfile
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from rungs.desk import disk, document
from rungs.desk.document import PAUSE, Change, Document, digest_of, stretch
from rungs.source import Edit, Span, source_from_text

TEXTS = st.text(alphabet="ab\n \u00e9\U0001f600", max_size=30)
BYTES = st.sampled_from(
    [b"", b"a\nb\n", b"a\r\nb\r\n", b"\xef\xbb\xbfa\nb", b"a\r\nb\nc\n", b"a\rb\n", b"a\r\r\nb\r"]
)


def opened(data: bytes) -> Document:
    return Document(source_from_text(data.decode("utf-8"), "x"), data)


def typed(doc: Document, text: str, at: int, now: int | None = None) -> None:
    for offset, letter in enumerate(text):
        doc.replace(Span(at + offset, at + offset), letter, now)


# --- the differing stretch


@given(TEXTS, TEXTS)
def test_a_stretch_makes_one_text_of_the_other_and_is_as_small_as_can_be(
    old: str, new: str
) -> None:
    edit = stretch(old, new)
    if edit is None:
        assert old == new
        return
    start, end = edit.span.start, edit.span.end
    assert old[:start] + edit.text + old[end:] == new
    gone = old[start:end]
    assert not (gone and edit.text) or (gone[0] != edit.text[0] and gone[-1] != edit.text[-1])


@given(st.integers(0, 3_000), st.integers(0, 3_000), st.sampled_from(["", "x", "yy"]))
def test_one_change_in_a_long_text_is_found_where_it_is(at: int, end: int, text: str) -> None:
    old = "".join(chr(0x4E00 + n) for n in range(3_000))  # no two letters alike
    at, end = min(at, end), max(at, end)
    edit = stretch(old, old[:at] + text + old[end:])
    assert edit == (Edit(Span(at, end), text) if text or at < end else None)


def test_the_caret_says_which_of_equal_letters_was_typed() -> None:
    assert stretch("xaa", "xaaa") == Edit(Span(3, 3), "a")
    assert stretch("xaa", "xaaa", caret=2) == Edit(Span(1, 1), "a")
    assert stretch("xaa", "xaaa", caret=1) == Edit(Span(3, 3), "a")  # it fits none


# --- runs of typing


def test_a_typed_word_is_one_step_and_its_undo_says_where_to_go() -> None:
    doc = opened(b"ab")
    typed(doc, "xyz", 1)
    assert doc.undo() == Change(Span(1, 4), "", 1)
    assert (doc.text, doc.undo()) == ("ab", None)
    assert doc.redo() == Change(Span(1, 1), "xyz", 4)
    assert (doc.text, doc.redo()) == ("axyzb", None)


def test_backspaces_and_deletes_are_one_step_each() -> None:
    doc = opened(b"abcdef")
    for at in (2, 1, 0):
        doc.replace(Span(at, at + 1), "")
    doc.mark()
    for _ in range(2):
        doc.replace(Span(0, 1), "")
    assert doc.text == "f"
    assert doc.undo() == Change(Span(0, 0), "de", 2)
    assert doc.undo() == Change(Span(0, 0), "abc", 3)


def after(doc: Document, how: str) -> None:
    match how:
        case "newline":
            doc.replace(Span(2, 2), "\n")
        case "mark":
            doc.mark()
        case "elsewhere":
            doc.replace(Span(0, 0), "k")
        case "paste":
            doc.replace(Span(2, 2), "lm")
        case "delete":
            doc.replace(Span(1, 2), "")
        case "edits":
            doc.apply((Edit(Span(2, 2), "k"),))


@pytest.mark.parametrize("how", ["newline", "mark", "elsewhere", "paste", "delete", "edits"])
def test_a_run_of_typing_ends_with(how: str) -> None:
    doc = opened(b"")
    typed(doc, "xy", 0)
    after(doc, how)
    before = doc.text
    typed(doc, "z", len(before))
    doc.undo()
    assert doc.text == before
    if how != "mark":
        doc.undo()
    assert doc.text == "xy"


@pytest.mark.parametrize(("pause", "steps"), [(PAUSE, 1), (PAUSE + 1, 2)])
def test_a_pause_ends_a_run(pause: int, steps: int) -> None:
    doc = opened(b"")
    typed(doc, "x", 0, 1_000)
    typed(doc, "y", 1, 1_000 + pause)
    count = 0
    while doc.undo():
        count += 1
    assert count == steps


def test_an_undone_run_does_not_go_on() -> None:
    doc = opened(b"")
    typed(doc, "xy", 0)
    doc.undo()
    doc.redo()
    typed(doc, "z", 2)
    doc.undo()
    assert doc.text == "xy"


# --- edges


def test_overlapping_edits_and_places_outside_change_nothing() -> None:
    doc = opened(b"abc")
    for edits in ([Edit(Span(0, 2), ""), Edit(Span(1, 3), "")], [Edit(Span(2, 4), "x")]):
        with pytest.raises(ValueError, match="edits overlap or leave"):
            doc.apply(edits)
    with pytest.raises(ValueError, match="no stretch"):
        doc.replace(Span(2, 1), "x")
    assert (doc.text, doc.revision, doc.can_undo) == ("abc", 0, False)


def test_pasted_line_endings_and_halves_of_characters_can_be_stored() -> None:
    doc = opened(b"")
    doc.replace(Span(0, 0), "a\r\nb\rc\ud800")
    assert doc.text == "a\nb\nc\ufffd"
    assert doc.encoded() == "a\nb\nc\ufffd".encode()


def test_old_steps_are_dropped_and_counted(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(document, "MOST_STEPS", 5)
    doc = opened(b"")
    for number in range(8):
        doc.set_text(f"{number}{number}")
    while doc.undo():
        pass
    assert (doc.text, doc.forgotten) == ("22", 3)


def test_large_steps_are_dropped_but_never_the_newest() -> None:
    doc = opened(b"")
    for number in range(30):
        doc.set_text(f"{number:02}" + "x" * 1_000_000)
        doc.set_text("")
    assert doc.forgotten > 40
    kept = 0
    while doc.undo():
        kept += 1
    assert kept <= 10
    doc.set_text("y" * (document.MOST_BYTES + 1))
    assert doc.undo() is not None


def test_a_long_run_of_typing_counts_as_much_as_it_holds(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(document, "MOST_BYTES", 5_000)
    doc = opened(b"")
    for number in range(4):
        typed(doc, "x" * 2_000, 2_000 * number)
        doc.mark()
    assert doc.forgotten == 2


def test_steps_that_can_no_longer_be_redone_take_no_room(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(document, "MOST_BYTES", 5_000)
    doc = opened(b"")
    doc.set_text("first")
    doc.set_text("second")
    for number in range(20):
        doc.set_text(f"{number:02}" + "x" * 2_000)
        doc.undo()
    assert doc.forgotten == 0


@pytest.mark.parametrize(
    ("first", "other"),
    [(b"a\r\nb", b"a\nb"), (b"a\nb\r\n", b"a\r\nb\n"), (b"a", b"\xef\xbb\xbfa")],
)
def test_other_line_endings_on_disk_are_taken_over(first: bytes, other: bytes) -> None:
    doc = opened(first)
    assert not doc.dirty
    assert doc.take_from_disk(opened(other).source, other) is None
    assert (doc.encoded(), doc.dirty) == (other, False)


def test_undoing_a_reload_gives_the_first_bytes() -> None:
    doc = opened(b"a\r\nb\n")
    doc.take_from_disk(opened(b"c\n").source, b"c\n")
    doc.undo()
    assert (doc.encoded(), doc.dirty) == (b"a\r\nb\n", True)


@given(BYTES, st.lists(TEXTS, max_size=4))
def test_undoing_everything_gives_the_first_bytes(data: bytes, texts: list[str]) -> None:
    doc = opened(data)
    assert (doc.encoded(), doc.dirty) == (data, False)
    for text in texts:
        doc.set_text(text)
    while doc.undo():
        pass
    assert (doc.encoded(), doc.dirty) == (data, False)


@pytest.mark.parametrize(
    ("data", "new"), [(b"a\r\nb", b"a\r\nbc"), (b"\xef\xbb\xbfa", b"\xef\xbb\xbfac")]
)
def test_line_endings_and_the_mark_of_a_file_stay(data: bytes, new: bytes) -> None:
    doc = opened(data)
    doc.replace(Span(len(doc.text), len(doc.text)), "c")
    assert doc.encoded() == new


def test_a_new_file_is_dirty_once_it_is_edited_and_a_lost_one_at_once() -> None:
    new = disk.begin(Path("x"), "title\n").document
    assert new is not None
    told = [new.dirty]
    new.set_text("")
    told.append(new.dirty)
    assert told == [False, True]
    lost = opened(b"a")
    lost.gone_from_disk()
    assert lost.dirty


# --- everything in any order, against a list of texts


class Editing(RuleBasedStateMachine):
    """A document and its file, beside a list of texts and the bytes that were put on disk.

    The model decides by itself where a run of typing ends, in the plainest way that can be said:
    the text, place and time of what was typed last.
    """

    def __init__(self) -> None:
        super().__init__()
        self.folder = tempfile.TemporaryDirectory()
        self.patch = pytest.MonkeyPatch()
        self.patch.setattr(os, "fsync", lambda _: None)  # nothing here is about power
        self.path = Path(self.folder.name) / "panel.rungs"
        self.now = 0
        self.others = 0

    def teardown(self) -> None:
        self.patch.undo()
        self.folder.cleanup()

    @initialize(data=BYTES)
    def open(self, data: bytes) -> None:
        self.path.write_bytes(data)
        loaded = disk.load(self.path)
        assert loaded.document is not None
        self.doc, self.seen = loaded.document, loaded.disk
        self.first = self.known = data
        self.real: bytes | None = data
        self.texts, self.at = [self.doc.text], 0
        self.run: tuple[str, int, int] | None = None  # kind, next place, time

    def changed(self, text: str, run: tuple[str, int, int] | None, goes_on: bool) -> None:
        """The text that must be now; if it goes on a run it takes the place of the newest."""
        if text == self.texts[self.at]:
            return
        del self.texts[self.at + 1 :]
        if goes_on:
            self.texts[-1] = text
        else:
            self.texts.append(text)
        self.at = len(self.texts) - 1
        self.run = run

    @rule(
        letter=st.sampled_from("ab\n\u00e9"),
        place=st.integers(0, 99),
        wait=st.integers(0, 2 * PAUSE),
    )
    def type(self, letter: str, place: int, wait: int) -> None:
        text = self.doc.text
        # mostly where the last one was, as people type
        at = self.run[1] if self.run and place > 30 else place % (len(text) + 1)
        at = min(at, len(text))
        self.now += wait
        goes_on = (
            letter != "\n" and self.run is not None and self.run[:2] == ("insert", at)
        ) and self.now - self.run[2] <= PAUSE
        self.doc.replace(Span(at, at), letter, self.now)
        run = None if letter == "\n" else ("insert", at + 1, self.now)
        self.changed(text[:at] + letter + text[at:], run, goes_on)

    @precondition(lambda self: self.doc.text)
    @rule(place=st.integers(0, 99), back=st.booleans(), wait=st.integers(0, 2 * PAUSE))
    def delete(self, place: int, back: bool, wait: int) -> None:
        text = self.doc.text
        at = place % len(text)
        if self.run and place > 30:
            at = max(0, min(self.run[1] - back, len(text) - 1))
        self.now += wait
        new = text[:at] + text[at + 1 :]
        letter = text[at]
        goes_on = (
            letter != "\n"
            and self.run is not None
            and self.run[0] == "delete"
            and self.run[1] in (at, at + 1)
            and self.now - self.run[2] <= PAUSE
        )
        self.doc.replace(Span(at, at + 1), "", self.now)
        self.changed(new, None if letter == "\n" else ("delete", at, self.now), goes_on)

    @rule(edits=st.lists(st.tuples(st.integers(0, 99), TEXTS), max_size=3))
    def several(self, edits: list[tuple[int, str]]) -> None:
        text = self.doc.text
        places = {at % (len(text) + 1): new for at, new in edits}
        self.doc.apply([Edit(Span(at, at), new) for at, new in places.items()], self.now)
        for at in sorted(places, reverse=True):
            text = text[:at] + places[at] + text[at:]
        self.changed(text, None, False)

    @rule(text=st.text(alphabet="ab\n", min_size=2, max_size=9), cut=st.integers(2, 20))
    def paste_over(self, text: str, cut: int) -> None:
        old = self.doc.text
        if len(old) >= cut:
            self.doc.replace(Span(0, cut), text, self.now)
            self.changed(text + old[cut:], None, False)

    @rule()
    def mark(self) -> None:
        self.doc.mark()
        self.run = None

    @rule(times=st.integers(1, 4))
    def undo(self, times: int) -> None:
        for _ in range(times):
            before = self.doc.text
            change = self.doc.undo()
            assert (change is None) == (self.at == 0)
            if change is not None:
                self.at -= 1
                self.run = None
                assert_fits(before, change, self.texts[self.at])

    @rule(times=st.integers(1, 4))
    def redo(self, times: int) -> None:
        for _ in range(times):
            before = self.doc.text
            change = self.doc.redo()
            assert (change is None) == (self.at == len(self.texts) - 1)
            if change is not None:
                self.at += 1
                self.run = None
                assert_fits(before, change, self.texts[self.at])

    @rule()
    def save(self) -> None:
        ours = self.doc.encoded()
        result = disk.save(self.doc, self.path, self.seen)
        if self.real in (self.known, ours, None):
            assert isinstance(result, disk.Saved)
            self.seen = result.disk
            self.known = self.real = ours
            self.run = None
        else:
            assert isinstance(result, disk.Refused)
            assert result.reason == "changed"
        self.look()

    @rule()
    def reload(self) -> None:
        if self.real is None:
            return
        change, self.seen = disk.reload(self.doc, self.path)
        text = source_from_text(self.real.decode("utf-8")).text
        assert (change is None) == (text == self.texts[self.at])
        self.known = self.real
        self.run = None
        self.changed(text, None, False)
        assert self.doc.encoded() == self.real

    @rule(data=BYTES)
    def changed_by_another(self, data: bytes) -> None:
        self.others += 1
        self.real = data + b"%d" % self.others
        self.path.write_bytes(self.real)
        self.look()

    @rule()
    def taken_away_by_another(self) -> None:
        self.path.unlink(missing_ok=True)
        self.real = None
        self.look()

    def look(self) -> None:
        what, _ = disk.look(self.path, self.seen)
        if self.real is None:
            assert what == "gone"
        else:
            assert what == ("unchanged" if self.real == self.known else "changed")

    @invariant()
    def all_is_as_in_the_model(self) -> None:
        if not hasattr(self, "doc"):
            return
        assert self.doc.text == self.texts[self.at]
        assert self.doc.dirty == (self.doc.encoded() != self.known)
        assert (self.path.read_bytes() if self.path.exists() else None) == self.real
        if self.doc.text == self.texts[0] and self.known == self.first:
            assert self.doc.encoded() == self.first
        assert self.doc.saved == digest_of(self.known)


def assert_fits(before: str, change: Change, now: str) -> None:
    assert before[: change.old.start] + change.text + before[change.old.end :] == now
    assert 0 <= change.caret <= len(now)


Editing.TestCase.settings = settings(
    max_examples=60,
    stateful_step_count=40,
    deadline=None,
    suppress_health_check=[HealthCheck.too_slow],
)
TestEditing = Editing.TestCase


def test_no_screen_and_no_parser_is_loaded() -> None:
    names = ("document", "disk", "lock", "journal", "recovery", "signals")
    code = "; ".join(f"import rungs.desk.{name}" for name in names)
    shown = subprocess.run(
        [sys.executable, "-c", f"{code}; import sys; print(*sys.modules)"],
        capture_output=True,
        text=True,
        check=True,
        timeout=60,
    ).stdout.split()
    assert "rungs.desk.recovery" in shown
    assert {"textual", "rich", "lark", "pydantic"}.isdisjoint(shown)
    ours = {name for name in shown if name.startswith("rungs.") and "desk" not in name}
    assert ours == {"rungs.files", "rungs.findings", "rungs.source"}


def test_the_hash_is_that_of_the_bytes_that_a_save_writes(tmp_path: Path) -> None:
    path = tmp_path / "a"
    path.write_bytes(b"a\r\n")
    loaded = disk.load(path)
    assert loaded.document is not None
    loaded.document.set_text("b\n")
    disk.save(loaded.document, path, loaded.disk)
    assert digest_of(path.read_bytes()) == loaded.document.digest == loaded.document.saved
    assert os.listdir(tmp_path) == ["a"]
