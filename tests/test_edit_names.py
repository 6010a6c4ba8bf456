"""Names: where they stand, and what a rename changes and leaves alone."""

from __future__ import annotations

import re
from pathlib import Path
from random import Random

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.edit.changes import Change
from rungs.edit.names import (
    coil_spans,
    contact_spans,
    declared_span,
    name_at,
    occurrences,
    rename,
    uses,
)
from rungs.findings import Finding
from rungs.language.words import STATEMENTS, STEPS
from rungs.program.check import Checked
from rungs.program.rules import drivers, readers
from rungs.source import Span
from tests.test_edit_contacts import DEMOS, checked_of, seeds, sprinkled, texts

PANEL = """supply main 24 V 4 A
input door at I1 "the door"  # door
output lamp at R1 load 24 V 1 A led from main
relay away retained
holiday main_days on 12-24
rung "door lights lamp"
    rising door or door and not away -> latch lamp
rung not door -> unlatch lamp, away
never lamp.load and broken door
require when door then lamp within 1s
scenario "door"
    tap door
    expect lamp
"""


def words_at(text: str, spans: tuple[Span, ...]) -> list[str]:
    return [text[span.start : span.end] for span in spans]


def demo(path: Path) -> Checked:
    return checked_of(sprinkled(path.read_text(encoding="utf-8"), Random(path.stem)))


def test_a_device_is_found_wherever_it_is_named_and_not_in_comments_or_labels() -> None:
    checked = checked_of(PANEL)
    assert checked.program is not None
    code = re.sub(r'"[^"]*"|#.*', lambda m: " " * len(m.group()), PANEL)
    for name in ("door", "lamp", "away", "main", "main_days"):
        found = occurrences(checked, name)
        assert [s.start for s in found] == [m.start() for m in re.finditer(rf"\b{name}\b", code)]
        assert declared_span(checked, name) == found[0]
    assert occurrences(checked, "R1") == ()


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_coils_and_contacts_are_those_of_the_program(path: Path) -> None:
    checked = demo(path)
    assert checked.program is not None
    text = checked.source.text
    driven, read = drivers(checked.program), readers(checked.program)
    for device in checked.program.devices:
        coils = coil_spans(checked, device.name)
        contacts = contact_spans(checked, device.name)
        assert set(words_at(text, coils + contacts)) <= {device.name}
        assert [a.span.end for _, a in driven.get(device.name, [])] == [s.end for s in coils]
        leaves = sorted(leaf.span.start for leaf in read.get(device.name, []))
        assert len(leaves) == len(contacts)
        starts = sorted(span.start for span in contacts)
        assert all(leaf <= start for leaf, start in zip(leaves, starts, strict=True))
        assert declared_span(checked, device.name) == device.name_span


def test_a_name_is_found_from_its_first_letter_to_right_behind_its_last() -> None:
    checked = checked_of(PANEL)
    at = PANEL.index("unlatch lamp") + len("unlatch ")
    assert [name_at(checked, at + n) for n in range(5)] == ["lamp"] * 5
    assert name_at(checked, at - 2) is None
    assert name_at(checked, PANEL.index("# door") + 3) is None
    assert name_at(checked, PANEL.index("main\n")) == "main"
    assert name_at(checked, -5) is None
    assert name_at(checked, 10**6) is None


def test_coils_and_contacts_are_found_in_a_file_with_errors() -> None:
    text = "input a at I1\noutput o at R1\nrung a and -> o\nrung a and lost -> o\n"
    checked = checked_of(text)
    assert checked.program is None
    assert words_at(text, contact_spans(checked, "a")) == ["a"]
    assert words_at(text, coil_spans(checked, "o")) == ["o"]
    assert words_at(text, occurrences(checked, "lost")) == ["lost"]
    assert [use.rung for use in uses(checked.file) if use.role == "coil"] == [1]


# --- rename -----------------------------------------------------------------------------------


def renamed(checked: Checked, old: str, new: str) -> Change:
    change = rename(checked, old, new)
    assert isinstance(change, Change), change
    return change


def check_rename(checked: Checked, old: str, new: str) -> None:
    text = checked.source.text
    there = renamed(checked, old, new)
    after = there.checked.source.text
    assert [e.span for e in there.edits] == list(occurrences(checked, old))
    assert {e.text for e in there.edits} == {new}
    assert len(after) == len(text) + len(there.edits) * (len(new) - len(old))
    assert after[there.caret :].startswith(new)
    assert occurrences(there.checked, old) == ()
    assert there.checked.program is not None
    assert new in {use.name for use in uses(there.checked.file)}
    assert renamed(there.checked, new, old).checked.source.text == text


@given(texts(), seeds)
@settings(max_examples=25)
def test_a_rename_there_and_back_leaves_the_first_bytes(text: str, seed: int) -> None:
    checked = checked_of(text)
    assert checked.program is not None
    device = Random(seed).choice(checked.program.devices)
    for new in ("x", device.name.upper(), f"{device.name}_2"):
        check_rename(checked, device.name, new)


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_every_second_name_of_a_demo_can_be_changed(path: Path) -> None:
    checked = demo(path)
    for name in sorted({use.name for use in uses(checked.file)})[::4]:
        check_rename(checked, name, "quite_new")


def test_comments_and_labels_keep_the_old_name() -> None:
    change = renamed(checked_of(PANEL), "door", "gate")
    after = change.checked.source.text
    assert re.findall('#.*|"[^"]*"', after) == re.findall('#.*|"[^"]*"', PANEL)
    assert "rising gate or gate and not away" in after
    assert "broken gate" in after
    assert "tap gate" in after
    assert "from supply_24" in renamed(checked_of(PANEL), "main", "supply_24").checked.source.text


@pytest.mark.parametrize(
    ("new", "code"),
    [
        ("", "name-form"),
        ("2nd", "name-form"),
        ("døor", "name-form"),
        ("a b", "name-form"),
        ("not", "name-form"),
        ("first_scan", "name-form"),
        ("x" * 61, "name-length"),
        ("lamp", "doubled-name"),
        ("Lamp", "lookalike-name"),
        ("MAIN", "lookalike-name"),
    ],
)
def test_a_name_that_is_none_or_taken_is_refused(new: str, code: str) -> None:
    outcome = rename(checked_of(PANEL), "door", new)
    assert isinstance(outcome, Finding)
    assert outcome.code == code
    assert outcome.fix


@pytest.mark.parametrize("word", ["lamp", "wait", "daily", "latch", "on", "input", "rung", "led"])
def test_words_of_the_language_are_names_where_the_parser_takes_them(word: str) -> None:
    text = "input a at I1\noutput o at R1\nrung a -> o\n"
    check_rename(checked_of(text), "a", word)


def test_a_word_that_would_be_read_otherwise_is_refused() -> None:
    # `latch rung` would be read as a verb and the device of that name
    head = "input b at I1\ninput rung at I2\nrelay a\noutput x at R1\n"
    text = f"{head}rung b -> a rung rung -> x\n"
    outcome = rename(checked_of(text), "a", "latch")
    assert isinstance(outcome, Finding)
    assert outcome.code == "name-form"
    assert "'latch'" in outcome.message
    check_rename(checked_of(text.replace("rung rung", "rung b")), "a", "latch")


@given(
    st.sampled_from((*STATEMENTS, *STEPS, "rising", "latch", "within", "then", "steady", "never"))
)
@settings(max_examples=40)
def test_a_rename_to_any_word_reads_the_same_or_is_refused(word: str) -> None:
    checked = checked_of(PANEL)
    for old in ("door", "lamp", "away"):
        outcome = rename(checked, old, word)
        if isinstance(outcome, Change):
            check_rename(checked, old, word)
        else:
            assert outcome.code == "name-form"
            assert PANEL[outcome.span.start : outcome.span.end].strip()


def test_a_name_is_not_changed_while_some_of_the_text_cannot_be_read() -> None:
    text = PANEL + "rung door ->\n"
    outcome = rename(checked_of(text), "door", "gate")
    assert isinstance(outcome, Finding)
    assert "line 14" in outcome.message


def test_a_name_with_an_error_about_it_can_still_be_changed() -> None:
    text = "input a at I1\nrelay r\noutput o at R1\nrung a and r -> o\n"
    checked = checked_of(text)
    assert [f.code for f in checked.findings] == ["never-driven"]
    change = renamed(checked, "r", "kept")
    assert change.checked.source.text == text.replace("relay r", "relay kept").replace(
        "and r", "and kept"
    )


def test_an_unknown_name_has_nothing_to_rename() -> None:
    outcome = rename(checked_of(PANEL), "ghost", "x")
    assert isinstance(outcome, Finding)
    assert outcome.code == "unknown-name"
