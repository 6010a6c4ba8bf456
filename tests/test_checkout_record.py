"""The record of a checkout: nothing that was acknowledged is ever lost, and nothing counts that was
seen of another panel."""

from __future__ import annotations

import errno
import json
import os
from dataclasses import replace
from pathlib import Path
from tempfile import TemporaryDirectory

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, invariant, precondition, rule

from rungs.checkout.merged import merge, stale_words
from rungs.checkout.plan import Plan, Sight, Step
from rungs.checkout.record import (
    LARGEST,
    AsFound,
    Entry,
    Record,
    new_record,
    places,
    plan_in,
    with_plan,
    words_of,
)
from rungs.checkout.record_file import RecordError, RecordFile, beside, read_record, record_bytes
from rungs.checkout.walk import Walk

AT = "2026-11-25T22:45:00+01:00"
DIGEST = "0f" * 32


def sights(*on: str) -> tuple[Sight, ...]:
    """Three relays, of which some are on; the third has its load on the NC contact, and the first
    none."""
    return (
        Sight("lamp", "R1", "lamp" in on, None),
        Sight("pump", "R2", "pump" in on, "pump" in on),
        Sight("flap", "R3", "flap" in on, "flap" not in on),
    )


def plan_of(*tour: tuple[str, tuple[str, ...]], digest: str = DIGEST) -> Plan:
    """A plan with an input, a relay, and a tour of what is done and which relays are then on."""
    steps = (
        Step("inputs", ("operate lamp_switch", "release it"), (), terminals=("I1",)),
        Step("relays", ("force lamp on",), sights("lamp"), rungs=(1,), terminals=("R1",)),
        *(Step("functions", (do,), sights(*on), rungs=(2,)) for do, on in tour),
    )
    return Plan("Shed", digest, steps, len(tour), len(tour), 4, 4, 0)


TOUR = (
    ("power on", ()),
    ("tap start", ("pump",)),
    ("tap stop", ()),
    ("tap start", ("pump",)),
)
PLAN = plan_of(*TOUR)


def walked(plan: Plan, *results: str) -> Record:
    """A record in which the first steps have these results."""
    walk = Walk(plan, new_record(plan, "shed.rungs", AT))
    for number, result in enumerate(results, 1):
        walk.go_to(number)
        walk.answer(result, "Ann", AT)  # type: ignore[arg-type]
    return walk.record


# --- what was acknowledged is on disk


class Checkouts(RuleBasedStateMachine):
    """Walks by any keys, killed at any moment, with another program at the same file; the model is
    a plain list of what was acknowledged."""

    def __init__(self) -> None:
        super().__init__()
        self.folder = TemporaryDirectory()
        self.path = Path(self.folder.name) / "shed.checkout.json"
        self.minutes = 0
        self.model: list[tuple[int, str, str, str]] = []
        self.theirs = 0
        self.start()

    def start(self) -> None:
        self.book = RecordFile(self.path)
        record = self.book.load()
        assert (record is None) == (not self.model)
        self.walk = Walk(PLAN, record or new_record(PLAN, "shed.rungs", AT))

    def now(self) -> str:
        self.minutes += 1
        hours, minutes = divmod(self.minutes, 60)
        return f"2026-11-25T{hours:02}:{minutes:02}:00+01:00"

    def keep(self, result: str, note: str, found: tuple[AsFound, ...] = ()) -> None:
        at = self.now()
        number = self.walk.index + 1
        self.walk.answer(result, "Ann", at, note, found)  # type: ignore[arg-type]
        self.walk.take(self.book.save(self.walk.record))
        self.model.append((number, result, words_of(note), at))

    @rule(result=st.sampled_from(["pass", "skipped"]), note=st.text(max_size=20))
    def answer(self, result: str, note: str) -> None:
        self.keep(result, note)
        self.walk.next_undone()

    @rule(note=st.text(max_size=20), coil=st.none() | st.booleans())
    def fail(self, note: str, coil: bool | None) -> None:
        self.keep("fail", note, (AsFound(output="lamp", terminal="R1", coil=coil),))

    @rule(note=st.text(min_size=1, max_size=20))
    def note(self, note: str) -> None:
        self.keep("note", note)

    @rule(back=st.booleans())
    def move(self, back: bool) -> None:
        before = self.walk.index
        moved = self.walk.back() if back else self.walk.on()
        assert self.walk.index == before + (0 if not moved else -1 if back else 1)

    @rule()
    def next_undone(self) -> None:
        before = self.walk.merged.remaining
        went = self.walk.next_undone()
        if before:
            # round and round, but never past a step that nobody answered
            assert went
            assert self.walk.index + 1 in before
        elif went:
            assert self.walk.state.result in ("fail", "skipped")

    @rule()
    def killed_and_begun_again(self) -> None:
        self.start()

    @rule(number=st.integers(1, len(PLAN.steps)))
    @precondition(lambda self: self.model)
    def another_program_answers(self, number: int) -> None:
        book = RecordFile(self.path)
        record = book.load()
        assert record is not None
        walk = Walk(PLAN, record)
        walk.go_to(number)
        at = self.now()
        walk.answer("pass", "Ben", at)
        book.save(walk.record)
        self.model.append((number, "pass", "", at))

    @invariant()
    def what_was_acknowledged_is_on_disk(self) -> None:
        record = RecordFile(self.path).load()
        if record is None:
            assert not self.model
            return
        assert [(e.number, e.result, e.note, e.at) for e in record.entries] == self.model
        last: dict[int, str] = {}
        for number, result, _, _ in self.model:
            if result != "note":
                last[number] = result
        merged = merge(PLAN, record)
        assert merged.stale == ()
        found = {s.number: s.result for s in merged.steps if s.result is not None}
        assert found == last
        summary = Walk(PLAN, record).summary()
        assert summary.done == sum(r in ("pass", "fail") for r in last.values())
        assert set(summary.remaining) == {s.number for s in merged.steps} - set(last)

    def teardown(self) -> None:
        self.folder.cleanup()


TestCheckouts = Checkouts.TestCase
TestCheckouts.settings = settings(max_examples=12, stateful_step_count=12, deadline=None)


def test_two_programs_that_answer_in_turn_lose_nothing(tmp_path: Path) -> None:
    path = tmp_path / "shed.checkout.json"
    one, other = RecordFile(path), RecordFile(path)
    assert one.load() is None
    assert other.load() is None
    walks = [Walk(PLAN, new_record(PLAN, "shed.rungs", AT)) for _ in range(2)]
    for turn in range(4):
        book, walk = (one, other)[turn % 2], walks[turn % 2]
        walk.go_to(turn + 1)
        walk.answer("pass", f"person {turn % 2}", AT)
        walk.take(book.save(walk.record))
    record = RecordFile(path).load()
    assert record is not None
    assert sorted(entry.number for entry in record.entries) == [1, 2, 3, 4]


def test_a_disk_that_fails_keeps_the_old_record_whole(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    book = RecordFile(tmp_path / "shed.checkout.json")
    walk = Walk(PLAN, new_record(PLAN, "shed.rungs", AT))
    walk.answer("pass", "Ann", AT)
    book.save(walk.record)
    before = book.path.read_bytes()
    walk.on()
    walk.answer("fail", "Ann", AT)

    def full(handle: int) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    with monkeypatch.context() as patch:
        patch.setattr(os, "fsync", full)
        with pytest.raises(RecordError, match="no space left"):
            book.save(walk.record)
    assert book.path.read_bytes() == before
    assert [p.name for p in tmp_path.iterdir()] == [book.path.name]
    book.save(walk.record)
    saved = RecordFile(book.path).load()
    assert saved is not None
    assert [entry.result for entry in saved.entries] == ["pass", "fail"]


# --- reading whatever stands there

VALID = record_bytes(walked(PLAN, "pass", "fail", "skipped"))
ODD = st.sampled_from(
    [b'"', b"{", b"}", b"[", b"null", b"1e999", b"NaN", b"\\ud800", b"\xff", b"-1", b"\0", b"true"]
)


@st.composite
def mutated(draw: st.DrawFn) -> bytes:
    """A record with a few bytes changed, lost, doubled or put in."""
    data = VALID
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(data)))
        length = draw(st.integers(0, 40))
        data = data[:at] + draw(ODD | st.binary(max_size=4)) + data[at + length :]
    return data


@settings(max_examples=70, deadline=None)
@given(mutated() | st.binary(max_size=60))
def test_any_bytes_give_a_record_or_words(data: bytes) -> None:
    record, wrong = read_record(data)
    assert (record is None) == bool(wrong)
    assert wrong.isprintable()
    if record is not None:
        merged = merge(PLAN, record)
        counted = sum(len(state.entries) for state in merged.steps)
        assert counted + len(merged.stale) == len(record.entries)
        again, _ = read_record(record_bytes(record))
        assert again == record


@pytest.mark.parametrize(
    ("change", "words"),
    [
        ({"schema_version": 2}, "has version 2, and this program reads up to 1; a newer program"),
        ({"schema_version": "1"}, "schema_version"),
        ({"document": "table"}, "no record of a checkout"),
        ({"more": 1}, "more"),
        ({"updated": "2026-11-25T22:45:00"}, "updated"),
        ({"updated": "2026-13-25T22:45:00+01:00"}, "updated"),
        ({"file": "/home/somebody/shed.rungs"}, "file"),
        ({"program_sha256": "short"}, "program_sha256"),
    ],
)
def test_a_record_that_cannot_be_read_is_told_and_left_as_it_is(
    tmp_path: Path, change: dict[str, object], words: str
) -> None:
    path = tmp_path / "shed.checkout.json"
    path.write_text(json.dumps({**json.loads(VALID), **change}))
    before = path.read_bytes()
    with pytest.raises(RecordError, match="left as it is") as raised:
        RecordFile(path).load()
    assert words in str(raised.value)
    fresh = RecordFile(path)
    with pytest.raises(RecordError, match="left as it is"):
        fresh.save(walked(PLAN, "pass"))
    assert path.read_bytes() == before


def test_deep_doubled_and_endless_files_are_told() -> None:
    assert read_record(b"[" * 100_000)[1]
    assert "twice" in read_record(VALID.replace(b'"title"', b'"board"', 1))[1]
    assert "larger than" in read_record(b" " * (LARGEST + 1))[1]
    assert read_record(b'{"schema_version": ' + b"9" * 5_000 + b"}")[1]


def test_a_record_too_large_to_be_read_again_is_not_written() -> None:
    record = walked(PLAN, "pass")
    entry = record.entries[0].model_copy(update={"note": "x" * LARGEST})
    with pytest.raises(RecordError, match="full"):
        record_bytes(record.model_copy(update={"entries": (entry,)}))


def test_a_folder_that_is_not_there_is_told_at_once(tmp_path: Path) -> None:
    with pytest.raises(RecordError, match="cannot read"):
        RecordFile(tmp_path / "none" / "shed.checkout.json").load()
    with pytest.raises(RecordError, match="folder"):
        RecordFile(tmp_path).load()


def test_no_folder_and_no_home_comes_into_a_record() -> None:
    for name in ("/home/somebody/panels/shed.rungs", "..\\panels\\shed.rungs", "shed.rungs"):
        data = record_bytes(new_record(PLAN, name, AT, "Ann"))
        assert json.loads(data)["file"] == "shed.rungs"
        assert b"somebody" not in data
    assert beside(Path("a/shed.rungs")) == Path("a/shed.checkout.json")


@settings(max_examples=40)
@given(st.text(max_size=30))
def test_what_is_typed_can_always_be_kept(text: str) -> None:
    walk = Walk(PLAN, new_record(PLAN, text, AT, text, text))
    walk.answer("note", text, AT, text)
    record, wrong = read_record(record_bytes(walk.record))
    assert record == walk.record, wrong


def test_the_plan_is_kept_and_taken_only_for_its_text_and_whole() -> None:
    steps = (*PLAN.steps, replace(PLAN.steps[3], by_hand=False, rows=(7,), notes=("hums",)))
    plan = replace(PLAN, steps=steps, left_out=("a row",))
    data = record_bytes(new_record(plan, "shed.rungs", AT))
    record, _ = read_record(data)
    assert plan_in(record, DIGEST) == plan
    assert plan_in(record, "1f" * 32) is None
    assert plan_in(None, DIGEST) is None
    content = json.loads(data)
    content["plan"]["steps"][3]["expected"][1]["coil"] = False
    altered_plan, _ = read_record(json.dumps(content).encode())
    assert altered_plan is not None
    assert plan_in(altered_plan, DIGEST) is None
    other = replace(plan, digest="1f" * 32)
    assert record is not None
    assert plan_in(with_plan(record, other), "1f" * 32) == other
    assert with_plan(record, plan) is record


# --- what counts


def test_a_retry_keeps_both_answers_and_the_last_counts() -> None:
    walk = Walk(PLAN, walked(PLAN, "fail"))
    walk.go_to(1)
    walk.answer("pass", "Ann", AT)
    walk.answer("note", "Ann", AT, "the wire was loose")
    state = merge(PLAN, walk.record).steps[0]
    assert [entry.result for entry in state.entries] == ["fail", "pass", "note"]
    assert state.result == "pass"


def test_alike_steps_of_a_tour_are_answered_one_by_one() -> None:
    assert PLAN.steps[3].key == PLAN.steps[5].key
    assert len(set(places(PLAN))) == len(PLAN.steps)
    walk = Walk(PLAN, new_record(PLAN, "shed.rungs", AT))
    walk.go_to(6)
    walk.answer("pass", "Ann", AT)
    assert merge(PLAN, walk.record).numbers("pass") == (6,)


def test_doubled_steps_outside_the_tour_are_told_apart_too() -> None:
    doubled = replace(PLAN, steps=(PLAN.steps[0], PLAN.steps[0]))
    assert len(set(places(doubled))) == 2


def test_a_changed_step_and_all_that_builds_on_it_are_stale() -> None:
    record = walked(PLAN, *["pass"] * 6)
    changed = plan_of(*TOUR[:2], ("tap stop", ("flap",)), TOUR[3], digest="1f" * 32)
    merged = merge(changed, record)
    assert merged.numbers("pass") == (1, 2, 3, 4)
    assert merged.remaining == (5, 6)
    assert all(state.older for state in merged.steps[:4])
    assert [each.entry.number for each in merged.stale] == [5, 6]
    told = stale_words(merged.stale)
    assert told == (
        "1 answer does not count any more: the panel file has changed: there is no such step now",
        "1 answer does not count any more: a step before it, on which it builds, has changed",
    )


def test_a_comment_in_the_file_makes_nothing_stale_and_is_told() -> None:
    record = walked(PLAN, *["pass"] * 6)
    merged = merge(replace(PLAN, digest="1f" * 32), record)
    assert merged.stale == ()
    summary = Walk(replace(PLAN, digest="1f" * 32), record).summary()
    assert summary.whole
    assert summary.older == (1, 2, 3, 4, 5, 6)
    assert any("before the panel file was last changed" in line for line in summary.lines())


def altered(entry: Entry, **change: object) -> Entry:
    """An entry that somebody has altered in the file."""
    return Entry.model_validate_json(json.dumps({**json.loads(entry.model_dump_json()), **change}))


@pytest.mark.parametrize(
    "change",
    [{"do": ["something else"]}, {"expected": []}, {"part": "inputs"}, {"step": "0" * 16}],
)
def test_an_entry_altered_by_hand_counts_for_nothing(change: dict[str, object]) -> None:
    record = walked(PLAN, "pass", "pass")
    entry = altered(record.entries[1], **change)
    merged = merge(PLAN, record.model_copy(update={"entries": (record.entries[0], entry)}))
    assert merged.numbers("pass") == (1,)
    assert "altered by hand" in merged.stale[0].why


def test_an_entry_moved_to_the_place_of_another_step_counts_for_nothing() -> None:
    record = walked(PLAN, "pass", "pass")
    entry = altered(record.entries[0], place=record.entries[1].place)
    merged = merge(PLAN, record.model_copy(update={"entries": (entry,)}))
    assert merged.numbers("pass") == ()
    assert len(merged.stale) == 1
