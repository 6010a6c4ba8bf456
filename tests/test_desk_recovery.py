"""The journal of what is typed, and what can be had back from it."""

from __future__ import annotations

import errno
import json
import os
import random
import signal
import struct
import subprocess
import sys
import time
from collections.abc import Callable
from difflib import unified_diff
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rungs.desk import disk, journal, recovery
from rungs.desk.document import Document
from rungs.desk.journal import EDIT, Journal, read_journal
from rungs.desk.recovery import Offer, discard, offers, take, unified
from rungs.desk.signals import exit_code, on_signals
from rungs.desk.state import key_of
from rungs.source import source_from_text


@pytest.fixture(autouse=True)
def state(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv("RUNGS_STATE", str(tmp_path / "state"))
    return tmp_path / "state"


@pytest.fixture(scope="module")
def gone() -> int:
    """The number of a process that has ended."""
    process = subprocess.Popen([sys.executable, "-c", ""])
    process.wait(timeout=20)
    return process.pid


class Clock:
    """Wall time in ms and a beat in seconds, that stand until they are moved."""

    def __init__(self) -> None:
        self.now = float(time.time_ns() // 1_000_000_000)

    def wall(self) -> int:
        return int(self.now * 1000)

    def beat(self) -> float:
        return self.now


def begun(path: Path, data: bytes | None = b"old\n") -> tuple[Document, Journal, Clock]:
    clock = Clock()
    log = Journal(path, clock.wall, clock.beat)
    if data is None:
        document = disk.begin(path).document
    else:
        path.write_bytes(data)
        document = disk.load(path).document
    assert document is not None
    return document, log, clock


def die(log: Journal, gone: int) -> Path:
    """Leave the journal as a killed process would, and make it look as if its process has ended."""
    assert log.file is not None
    data = log.file.read_bytes()
    length = struct.unpack_from("<I", data)[0]
    record = json.loads(data[13 : 13 + length])
    record["owner"]["pid"] = gone
    record["owner"]["started"] = ""
    kept, number = read_journal(data), struct.unpack_from("<I", data, 8)[0]
    base = journal._record(0, number, json.dumps(record).encode())
    log.file.write_bytes(base + data[13 + length :])
    again = read_journal(log.file.read_bytes())
    assert kept is not None
    assert again is not None
    assert kept.text == again.text
    return log.file


# --- what is offered


def test_what_was_typed_and_not_saved_is_offered_with_all_there_is_to_know(
    tmp_path: Path, gone: int
) -> None:
    path = tmp_path / "a"
    document, log, clock = begun(path)
    for text in ("old\nn", "old\nne", "old\nnew"):
        clock.now += 0.25
        document.set_text(text)
        assert log.note(document) is None
    assert offers(path) == ()  # this process still runs
    file = die(log, gone)
    os.utime(path, (clock.now - 60, clock.now - 60))
    (tmp_path / "link").symlink_to("a")
    assert offers(tmp_path / "b") == ()
    assert offers() == offers(tmp_path / "link") == offers(path)
    (offer,) = offers(path)
    assert offer == Offer(
        file, path, "old\nnew", int(clock.now * 1000), "old\n", changed=False, newer=False
    )
    assert offer.diff() == ("@@ -1,2 +1,2 @@", " old", "-", "+new")
    assert path.read_bytes() == b"old\n"
    assert file.stat().st_mode & 0o777 == 0o600
    assert file.parent.stat().st_mode & 0o777 == 0o700


@pytest.mark.parametrize(
    ("data", "age", "changed", "newer"),
    [
        (b"old\n", 60, False, False),
        (b"old\n", -60, False, True),
        (b"foreign\n", 60, True, False),
        (b"foreign\n", -60, True, True),
        (None, 0, True, False),
        (b"\xff", 60, True, False),
    ],
)
def test_a_file_that_has_changed_since_is_told(
    data: bytes | None, age: float, changed: bool, newer: bool, tmp_path: Path, gone: int
) -> None:
    path = tmp_path / "a"
    document, log, clock = begun(path)
    document.set_text("mine\n")
    log.note(document)
    die(log, gone)
    path.unlink()
    if data is not None:
        path.write_bytes(data)
        os.utime(path, (clock.now - age, clock.now - age))
    (offer,) = offers(path)
    assert (offer.changed, offer.newer, offer.text) == (changed, newer, "mine\n")
    assert offer.on_disk == (None if data in (None, b"\xff") else (data or b"").decode())


def test_a_new_file_without_anything_on_disk_is_kept_too(tmp_path: Path, gone: int) -> None:
    document, log, _ = begun(tmp_path / "none" / "a", None)
    document.set_text("first words\n")
    log.note(document)
    die(log, gone)
    (offer,) = offers(tmp_path / "none" / "a")
    assert (offer.text, offer.on_disk, offer.changed) == ("first words\n", None, False)


@pytest.mark.parametrize("data", [b"old\n", b"old\r\n", b"\xef\xbb\xbfold\n"])
def test_a_journal_that_says_what_the_disk_says_is_dropped_silently(
    data: bytes, tmp_path: Path, gone: int
) -> None:
    path = tmp_path / "a"
    document, log, _ = begun(path, data)
    document.set_text("new\n")
    log.note(document)
    document.undo()
    log.note(document)
    file = die(log, gone)
    assert offers(path) == ()
    assert not file.exists()


def test_offers_are_newest_first_and_no_text_twice(tmp_path: Path, gone: int) -> None:
    path = tmp_path / "a"
    logs = []
    for later, text in ((50, "one"), (90, "two"), (70, "one"), (80, "three")):
        document, log, clock = begun(path)
        clock.now += later
        document.set_text(text)
        log.note(document)
        logs.append(die(log, gone))
    found = offers(path)
    assert [offer.text for offer in found] == ["two", "three", "one"]
    assert [file.exists() for file in logs] == [False, True, True, True]
    discard(found[1])
    assert [offer.text for offer in offers(path)] == ["two", "one"]


def test_journals_of_other_machines_are_left_alone_for_a_day(
    tmp_path: Path, gone: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    document, log, _ = begun(path)
    document.set_text("new")
    log.note(document)
    die(log, gone)
    monkeypatch.setattr(recovery, "life_of", lambda _: "unknown")
    assert offers(path) == ()
    late = time.time() + 90_000
    monkeypatch.setattr(time, "time", lambda: late)
    assert [offer.text for offer in offers(path)] == ["new"]


def test_taking_an_offer_is_a_step_that_undo_takes_back(tmp_path: Path, gone: int) -> None:
    path = tmp_path / "a"
    document, log, _ = begun(path)
    document.set_text("new\n")
    log.note(document)
    file = die(log, gone)
    (offer,) = offers(path)
    fresh, own, _ = begun(path)
    take(offer, fresh, own)
    assert (fresh.text, fresh.dirty, file.exists()) == ("new\n", True, False)
    assert own.file is not None
    kept = read_journal(own.file.read_bytes())
    assert kept is not None
    assert kept.text == "new\n"
    fresh.undo()
    assert (fresh.text, fresh.dirty) == ("old\n", False)


def test_an_offer_that_cannot_be_kept_anew_is_not_thrown_away(
    tmp_path: Path, gone: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "a"
    document, log, _ = begun(path)
    document.set_text("new\n")
    log.note(document)
    file = die(log, gone)
    (offer,) = offers(path)
    fresh, own, _ = begun(path)
    monkeypatch.setattr(os, "write", full)
    take(offer, fresh, own)
    assert (fresh.text, file.exists(), own.in_trouble) == ("new\n", True, True)


def full(*_: Any) -> int:
    raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))


# --- when a journal is there


def test_there_is_a_journal_only_while_something_could_be_lost(tmp_path: Path, state: Path) -> None:
    path = tmp_path / "a"
    document, log, _ = begun(path)
    seen = disk.seen(path)

    def journals() -> int:
        return len(list(state.glob("journals/*")))

    log.note(document)
    assert journals() == 0
    document.set_text("new\n")
    log.note(document)
    assert journals() == 1
    assert isinstance(disk.save(document, path, seen), disk.Saved)
    log.note(document)
    assert journals() == 0
    document.undo()
    log.note(document)
    assert (journals(), document.dirty) == (1, True)
    log.clear()
    log.clear()
    assert journals() == 0


def test_after_save_as_the_journal_is_that_of_the_other_file(tmp_path: Path, gone: int) -> None:
    document, log, _ = begun(tmp_path / "a")
    document.set_text("1")
    log.note(document)
    assert isinstance(disk.save(document, tmp_path / "b", None), disk.Saved)
    log.move(tmp_path / "b")
    document.set_text("2")
    log.note(document)
    die(log, gone)
    assert offers(tmp_path / "a") == ()
    (offer,) = offers(tmp_path / "b")
    assert (offer.text, offer.on_disk, offer.changed) == ("2", "1", False)


def test_a_text_saved_over_keeps_its_journal_in_step_with_the_disk(
    tmp_path: Path, gone: int
) -> None:
    path = tmp_path / "a"
    document, log, _ = begun(path)
    document.set_text("1")
    log.note(document)
    assert isinstance(disk.save(document, path, disk.seen(path)), disk.Saved)
    document.set_text("2")
    log.note(document)  # nobody told the journal of the save
    die(log, gone)
    (offer,) = offers(path)
    assert (offer.text, offer.changed) == ("2", False)


# --- damage


def fifty(tmp_path: Path) -> tuple[bytes, list[int], list[str]]:
    """A journal of 50 records, where each ends, and the text after each."""
    chance = random.Random(1)
    document, log, _ = begun(tmp_path / "a", "déjà vu \U0001f600\n".encode())
    ends, texts = [], []
    for number in range(50):
        text = document.text
        at = chance.randrange(len(text) + 1)
        cut = min(len(text), at + chance.randrange(3))
        new = chance.choice(["", "\u00e9", "\U0001f600", "x\n", f"{number}"])
        document.set_text(text[:at] + new + text[cut:] + "." * (text[at:cut] == new))
        log.note(document)
        assert log.file is not None
        ends.append(log.file.stat().st_size)
        texts.append(document.text)
    assert log.file is not None
    return log.file.read_bytes(), ends, texts


def expected(ends: list[int], texts: list[str], good: int) -> tuple[str, int] | None:
    """The text of the longest row of records that lie wholly before a place, and how many."""
    count = sum(end <= good for end in ends)
    return (texts[count - 1], count) if count else None


def got(data: bytes) -> tuple[str, int] | None:
    kept = read_journal(data)
    return None if kept is None else (kept.text, kept.records)


def test_a_journal_cut_at_any_byte_gives_all_that_is_whole_before(tmp_path: Path) -> None:
    data, ends, texts = fifty(tmp_path)
    assert len(ends) == len(set(ends)) == 50
    for cut in range(len(data) + 1):
        assert got(data[:cut]) == expected(ends, texts, cut), cut
    whole = read_journal(data)
    assert whole is not None
    assert whole.whole
    assert not getattr(read_journal(data[:-1]), "whole", True)


@pytest.mark.parametrize("flip", [0xFF, 0x01, 0x80])
def test_a_journal_damaged_at_any_byte_gives_all_that_is_sound_before(
    flip: int, tmp_path: Path
) -> None:
    data, ends, texts = fifty(tmp_path)
    for at in range(len(data)):
        damaged = bytearray(data)
        damaged[at] ^= flip
        # the record that holds the byte is lost, and all behind it
        assert got(bytes(damaged)) == expected(ends, texts, at), at


def test_records_that_are_sound_but_out_of_place_end_the_reading(tmp_path: Path) -> None:
    data, ends, texts = fifty(tmp_path)
    records = [data[a:b] for a, b in zip([0, *ends], ends, strict=False)]
    assert got(b"".join(records[:10] + records[11:])) == (texts[9], 10)
    assert got(b"".join(records[:10] + records[9:])) == (texts[9], 10)
    beyond = journal._record(EDIT, 51, struct.pack("<IIQ", 0, 9_999, 0))
    assert got(data + beyond) == (texts[49], 50)
    no_text = journal._record(EDIT, 51, struct.pack("<IIQ", 0, 0, 0) + b"\xff")
    assert got(data + no_text) == (texts[49], 50)
    assert got(data + b"\0" * 4_096) == (texts[49], 50)
    assert got(records[1]) is None
    for payload in (b"", b"[]", b"{}", b"\xff", b"[" * 50_000):
        assert got(journal._record(0, 1, payload)) is None


@given(st.binary(max_size=200))
def test_any_bytes_are_read_without_an_error(data: bytes) -> None:
    assert read_journal(data) is None


def test_what_cannot_be_read_is_kept_for_a_month(
    tmp_path: Path, state: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    begun_at = time.time()
    (state / "journals").mkdir(parents=True)
    broken = state / "journals" / f"{key_of(tmp_path / 'a')}-1-0.journal"
    unfinished = state / "journals" / "x-1-0.journal.tmp"
    broken.write_bytes(b"?")
    unfinished.write_bytes(b"?")
    for age, left in ((0, 2), (400, 1), (29 * 86_400, 1), (31 * 86_400, 0)):
        with monkeypatch.context() as patch:
            patch.setattr(time, "time", lambda age=age: begun_at + age)
            assert offers(tmp_path / "a") == ()
        assert broken.exists() + unfinished.exists() == left


# --- cost


def counted(monkeypatch: pytest.MonkeyPatch) -> list[int]:
    """The size of each file as it is synced."""
    real: Callable[[int], None] = os.fsync
    calls: list[int] = []

    def instead(handle: int) -> None:
        real(handle)
        calls.append(os.fstat(handle).st_size)

    monkeypatch.setattr(os, "fsync", instead)
    monkeypatch.setattr(journal, "sync_folder", lambda _: None)
    return calls


def test_typing_is_on_disk_at_once_and_synced_once_a_second(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    document, log, clock = begun(tmp_path / "a")
    syncs = counted(monkeypatch)
    for number in range(1, 101):
        clock.now += 0.0625
        document.set_text("x" * number)
        log.note(document)
        assert log.file is not None
        kept = read_journal(log.file.read_bytes())
        assert kept is not None
        assert kept.text == document.text
    assert len(syncs) == 7  # of 6.25 s, and the base
    log.flush()
    log.flush()
    assert len(syncs) == 8
    assert log.file is not None
    assert syncs[-1] == log.file.stat().st_size


@pytest.mark.parametrize("size", [1, 200])
def test_a_journal_does_not_grow_without_end(
    size: int, tmp_path: Path, gone: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    document, log, clock = begun(tmp_path / "a")
    monkeypatch.setattr(os, "fsync", lambda _: None)
    sizes, counts = [], []
    for number in range(4_500):
        clock.now += 1
        document.set_text("abc"[number % 3] * size)
        log.note(document)
        if number % 50 == 0 and log.file is not None:
            sizes.append(log.file.stat().st_size)
            counts.append(getattr(read_journal(log.file.read_bytes()), "records", 0))
    # many small edits are too many before they are too long, and large ones the other way round
    if size == 1:
        assert journal.MOST_EDITS - 50 < max(counts) <= journal.MOST_EDITS
        assert max(sizes) < journal.SLACK
    else:
        assert journal.SLACK < max(sizes) < journal.SLACK + 5 * 1_000
        assert max(counts) < 500
    assert log.file is not None
    assert os.listdir(log.file.parent) == [log.file.name]
    die(log, gone)
    assert [offer.text for offer in offers(tmp_path / "a")] == [document.text]


def test_what_could_not_be_synced_is_written_anew(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    document, log, clock = begun(tmp_path / "a")
    document.set_text("1")
    log.note(document)
    assert log.file is not None
    first = log.file.stat().st_ino
    document.set_text("2")
    assert log.note(document) is None
    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        assert log.flush() is not None
    clock.now += journal.RETRY_GAP
    syncs = counted(monkeypatch)
    document.set_text("3")
    assert log.note(document) is None
    assert log.file.stat().st_ino != first
    assert syncs == [log.file.stat().st_size]


# --- places that cannot be written to


@pytest.mark.parametrize("call", ["write", "open", "fsync"])
def test_trouble_is_said_once_and_what_comes_after_is_kept_again(
    call: str, tmp_path: Path, gone: int
) -> None:
    document, log, clock = begun(tmp_path / "a")
    real: Callable[..., Any] = getattr(os, call)
    told = []
    for number in range(60):
        clock.now += 0.5
        document.set_text(f"{number} " * 3)
        with pytest.MonkeyPatch.context() as patch:
            if 10 <= number < 25:
                patch.setattr(os, call, full)
            if call == "open" and number == 10:
                log.clear()  # so that it has to be begun
            told.append(log.note(document))
    assert getattr(os, call) is real
    said = [trouble for trouble in told if trouble is not None]
    assert len(said) == 1
    assert "no space left" in said[0].message
    assert said[0].effect
    assert said[0].fix
    assert not log.in_trouble
    die(log, gone)
    assert [offer.text for offer in offers(tmp_path / "a")] == [document.text]


def test_a_record_that_was_cut_short_is_taken_away_before_the_next(
    tmp_path: Path, gone: int
) -> None:
    for truncates in (True, False):
        document, log, clock = begun(tmp_path / "a")
        document.set_text("1\n")
        log.note(document)
        write = os.write
        with pytest.MonkeyPatch.context() as patch:

            def half(handle: int, data: Any, write: Callable[..., int] = write) -> int:
                if len(data) > 10:
                    return write(handle, data[:10])
                return full()

            patch.setattr(os, "write", half)
            if not truncates:
                patch.setattr(os, "ftruncate", full)
            document.set_text("1\n2\n")
            assert log.note(document) is not None
        clock.now += journal.RETRY_GAP
        document.set_text("1\n2\n3\n")
        assert log.note(document) is None
        die(log, gone)
        assert [offer.text for offer in offers(tmp_path / "a")] == ["1\n2\n3\n"]
        discard(offers(tmp_path / "a")[0])


def test_a_state_folder_that_cannot_be_made_is_said_once(tmp_path: Path, state: Path) -> None:
    state.write_text("in the way")
    document, log, _ = begun(tmp_path / "a")
    told = []
    for number in range(3):
        document.set_text(f"{number}")
        told.append(log.note(document))
    assert [trouble is None for trouble in told] == [False, True, True]
    assert offers(tmp_path / "a") == ()
    assert isinstance(disk.save(document, tmp_path / "a", disk.seen(tmp_path / "a")), disk.Saved)
    log.note(document)
    assert not log.in_trouble


# --- the diff


LINES = st.lists(st.sampled_from(["a", "b", "c", ""]), max_size=25).map("\n".join)


@given(LINES, LINES)
def test_a_diff_rebuilds_the_new_text_from_the_old(old: str, new: str) -> None:
    lines, at, result = old.split("\n"), 0, []
    for line in unified(old, new):
        if line.startswith("@@"):
            first, _, count = line.split()[1][1:].partition(",")
            start = int(first) - (0 if count == "0" else 1)
            result += lines[at:start]
            at = start
        elif line[0] == "+":
            result.append(line[1:])
        else:
            assert lines[at] == line[1:]
            result += [line[1:]] if line[0] == " " else []
            at += 1
    assert "\n".join(result + lines[at:]) == new


def test_a_diff_is_that_of_the_standard_library_where_both_must_be_the_same() -> None:
    # COMPUTED by difflib, on texts in which no line is there twice
    old = [f"line {n}" for n in range(60)]
    new = [*old[:10], "x", *old[11:14], *old[15:30], "y", "z", *old[30:55]]
    ours = unified("\n".join(old), "\n".join(new))
    assert list(ours) == list(unified_diff(old, new, lineterm=""))[2:]
    assert unified("a\nb", "a\nb") == ()


def test_large_texts_that_differ_everywhere_are_shown_as_one_stretch() -> None:
    chance = random.Random(2)
    old, new = (["same", *chance.choices("ab", k=1_500), end] for end in "cd")
    lines = unified("\n".join(old), "\n".join(new))
    assert lines[0] == "@@ -1,1502 +1,1502 @@"
    rest = [line[0] for line in lines[1:]]
    assert (rest[0], rest.count("-")) == (" ", rest.count("+"))
    assert "".join(rest[1:]).lstrip(" ").strip("-").strip("+") == ""


# --- signals


@pytest.mark.parametrize("name", ["SIGHUP", "SIGTERM"])
def test_a_signal_keeps_the_text_once_and_then_ends(name: str) -> None:
    number = signal.Signals[name]
    before = signal.getsignal(number)
    done: list[object] = []
    restore = on_signals(lambda: done.append("kept"), done.append)
    try:
        os.kill(os.getpid(), number)
        os.kill(os.getpid(), number)
        assert done == ["kept", number]
        assert exit_code(number) == {"SIGHUP": 129, "SIGTERM": 143}[name]
    finally:
        restore()
    assert signal.getsignal(number) == before


def test_keeping_that_fails_still_ends_the_process() -> None:
    done: list[int] = []

    def keep() -> None:
        raise OSError("no room")

    restore = on_signals(keep, done.append)
    try:
        with pytest.raises(OSError, match="no room"):
            os.kill(os.getpid(), signal.SIGTERM)
        assert done == [signal.SIGTERM]
    finally:
        restore()


def test_a_hang_up_that_was_ignored_stays_ignored() -> None:
    before = signal.signal(signal.SIGHUP, signal.SIG_IGN)
    try:
        restore = on_signals(lambda: None, lambda _: None)
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
        restore()
        assert signal.getsignal(signal.SIGHUP) is signal.SIG_IGN
    finally:
        signal.signal(signal.SIGHUP, before)


def test_the_text_of_a_source_is_what_the_journal_keeps(tmp_path: Path, gone: int) -> None:
    path = tmp_path / "a"
    document, log, _ = begun(path, b"\xef\xbb\xbfold\r\n")
    document.set_text("new\n")
    log.note(document)
    assert log.file is not None
    kept = read_journal(log.file.read_bytes())
    assert kept is not None
    assert (kept.newline, kept.marked) == ("\r\n", True)
    assert source_from_text("\ufeffnew\r\n").text == kept.text
