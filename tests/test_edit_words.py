"""Completion and colouring: what may stand at a caret, and what the words of a line are."""

from __future__ import annotations

import re
import time
from pathlib import Path

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.edit import vocabulary
from rungs.edit.complete import Candidate, complete
from rungs.edit.highlight import highlight
from rungs.edit.names import uses
from rungs.language.words import LOAD_KINDS, OPTION_ORDER, STATEMENTS, STEPS, WEEKDAYS
from rungs.program.check import Checked
from tests.test_edit_contacts import DEMOS, checked_of

PANEL = """supply main 24 V 4 A
supply field 12 V 1 A
input door at I1 "The door"
input key at I2 momentary
output lamp at R1
relay away
timer late off-delay 5s
timer total accumulating 1h
counter crates to 3
clock dark from 20:00 to 06:00
rung door -> lamp
"""
CHECKED = checked_of(PANEL)
READABLE = ["door", "key", "lamp", "away", "late", "total", "crates", "dark"]
CIRCUIT = [*READABLE, "not", "rising", "falling", "first_scan"]
OUTSIDE = [*CIRCUIT, "broken", "shorted"]


def offered(typed: str, behind: str = "") -> list[str]:
    text = PANEL + typed + behind
    return [c.text for c in complete(text, len(PANEL) + len(typed), CHECKED).candidates]


@pytest.mark.parametrize(
    ("typed", "wanted"),
    [
        ("ru", ["rung"]),
        ("design ", ["drop", "reserve", "conductors"]),
        ("design drop 3 % ", ["reserve", "conductors"]),
        ("design drop ", []),
        ("output o at R9 wire 4 m 18 AWG s", ["stranded", "solid"]),
        ("re", ["relay", "require"]),
        ("rung ", CIRCUIT),
        ("rung d", ["door", "dark"]),
        ("rung D", ["door", "dark"]),
        ('rung "Label" ', CIRCUIT),
        ("rung door and ", CIRCUIT),
        ("rung not (door or ", CIRCUIT),
        ("rung door or rising ", READABLE),
        ("rung door ", ["and", "or", "->"]),
        ("rung (door) ", ["and", "or", "->"]),
        ("rung late.", ["timing"]),
        ("rung lamp.", []),
        ("rung crates ", ["and", "or", "->", *vocabulary.COMPARISONS]),
        ("rung crates >= ", []),
        ("rung door -> ", ["lamp", "away", "late", "total", "crates", *vocabulary.VERBS]),
        ("rung door -> lamp, ", ["lamp", "away", "late", "total", "crates", *vocabulary.VERBS]),
        ("rung door -> latch ", ["lamp", "away"]),
        ("rung door -> lamp, reset ", ["total", "crates"]),
        ("rung door -> down ", ["crates"]),
        ("never ", OUTSIDE),
        ("never broken ", ["door", "key"]),
        ("never lamp.", ["load"]),
        ("always door ", ["and", "or"]),
        ("require ", ["when"]),
        ('require "x" when ', OUTSIDE),
        ("require when door ", ["and", "or", "then"]),
        ("require when door then lamp ", ["and", "or", "within"]),
        ("require when door then lamp within ", []),
        ("assume ", ["never"]),
        ("assume never ", OUTSIDE),
        ('scenario "x"\n    op', ["operate"]),
        ('scenario "x" operate ', ["door", "key"]),
        ('scenario "x"\n    wait 5s\n    tap ', ["door", "key"]),
        ('scenario "x"\n    tap door ', ["for"]),
        ('scenario "x"\n    tap door for ', []),
        ('scenario "x"\n    break ', ["door", "key"]),
        ('scenario "x"\n    power ', ["off", "on"]),
        ('scenario "x"\n    set ', ["clock"]),
        ('scenario "x"\n    begin ', [*WEEKDAYS]),
        ('scenario "x"\n    expect ', ["steady", *OUTSIDE]),
        ('scenario "x"\n    expect steady lamp ', ["and", "or", "for"]),
        ('scenario "x"\n    expect lamp ', ["and", "or", "within"]),
        ("input ", []),
        ("input x ", ["at", "maintained", "momentary", "NO", "NC", "debounce", "wire"]),
        ("input x at ", ["I3"]),
        ("input x at I3 NC ", ["maintained", "momentary", "debounce", "wire"]),
        ("input x debounce ", []),
        ("output x at ", ["R2"]),
        ("output x at R2 from ", ["main", "field"]),
        ("output x at R2 load 24 V 1 A ", [*LOAD_KINDS]),
        ("timer x o", ["on-delay", "off-delay"]),
        ("timer x off-d", ["off-delay"]),
        ("timer x flasher 1s ", ["on"]),
        ("timer x flasher 1s on 1s ", ["off"]),
        ("counter x ", ["to", "retained"]),
        ("clock x from ", ["sunrise", "sunset"]),
        ("clock x from 10:00 ", ["to"]),
        ("clock x at 10:00 on ", [*WEEKDAYS]),
        ("clock x at 10:00 on Mon-", [*WEEKDAYS]),
        ("clock x at 10:00 on Mon, ", [*WEEKDAYS]),
        ("clock x at 10:00 except ", ["holidays"]),
        ("clock x at 10:00 daily ", ["between", "except", "catch"]),
        ("site ", ["zone", "latitude", "holidays"]),
        ("holiday x ", ["on", "to"]),
        ("# ru", []),
        ("rung door # and lam", []),
        ('rung "doo', []),
        ('rung "', []),
        ("title ", []),
    ],
)
def test_what_is_offered_follows_from_the_words_before_the_caret(
    typed: str, wanted: list[str]
) -> None:
    assert offered(typed) == wanted
    # what stands behind the caret changes nothing
    assert offered(typed, "\n)) -> nonsense (\nrung") == wanted


def test_a_new_line_offers_statements_and_in_a_scenario_steps() -> None:
    assert offered("") == [*STATEMENTS]
    assert offered('scenario "x"\n    ') == [*STEPS, *STATEMENTS]
    assert offered("rung door and\n    ") == [*CIRCUIT, *STATEMENTS]


def test_every_word_of_the_language_is_on_offer_somewhere() -> None:
    assert tuple(vocabulary.STATEMENTS) == STATEMENTS
    assert tuple(vocabulary.STEPS) == STEPS
    assert tuple(vocabulary.WEEKDAYS) == WEEKDAYS
    assert set(vocabulary.LOADS) == set(LOAD_KINDS)
    options = {word for options in vocabulary.OPTIONS.values() for word, _, _ in options}
    parts = {"window": "from", "event": "at", "except holidays": "except", "catch up": "catch"}
    assert {parts.get(option, option) for option in OPTION_ORDER if option != "label"} == options


def test_a_candidate_says_what_it_is_and_replaces_the_whole_word() -> None:
    text = PANEL + "rung doxx -> lamp\n"
    at = len(PANEL) + len("rung do")
    completion = complete(text, at, CHECKED)
    assert text[completion.span.start : completion.span.end] == "doxx"
    assert completion.candidates == (Candidate("door", "input: The door"),)


def test_the_text_may_be_newer_than_the_check_and_need_not_be_readable() -> None:
    broken = "rung ((\nrung door and lamp\nnever ->\n" + PANEL + "\nrung door -> un"
    assert [c.text for c in complete(broken, len(broken), CHECKED).candidates] == ["unlatch"]


PIECES = [*'abd ."#\n(),->=3', "rung ", "clock ", "expect ", "latch ", 'scenario "x"', "on Mon"]


@given(st.lists(st.sampled_from(PIECES), max_size=20).map("".join), st.data())
@settings(max_examples=60)
def test_completion_answers_at_any_place_of_any_text(text: str, data: st.DataObject) -> None:
    offset = data.draw(st.integers(-3, len(text) + 3))
    completion = complete(text, offset, CHECKED)
    inside = max(0, min(offset, len(text)))
    assert completion.span.start <= inside <= completion.span.end
    typed = text[completion.span.start : inside].casefold()
    assert all(c.text.casefold().startswith(typed) and c.says for c in completion.candidates)
    assert len({c.text for c in completion.candidates}) == len(completion.candidates)


def large() -> Checked:
    lines = [f'input in_{i} at I{i} "input {i}"' for i in range(1, 251)]
    lines += [f"output out_{i} at R{i}" for i in range(1, 501)]
    lines += [f"rung in_{i % 250 + 1} and not out_{i % 500 + 1} -> out_{i}" for i in range(1, 501)]
    return checked_of("\n".join(lines) + "\n")


def test_a_large_file_keeps_nobody_waiting() -> None:
    checked = large()
    for typed in ("rung in_1 and ", "rung in_1 -> out", "input x at "):
        text = checked.source.text + typed
        times = []
        for _ in range(15):
            start = time.process_time()
            complete(text, len(text), checked)
            times.append(time.process_time() - start)
        assert min(times) < 0.005


# --- colours ----------------------------------------------------------------------------------


def kinds(line: str) -> list[tuple[str, str]]:
    return [(line[start:end], kind) for start, end, kind in highlight(line)]


@pytest.mark.parametrize(
    ("line", "wanted"),
    [
        (
            'input door at I1.2 NC debounce 30ms wire 3 m 0.75 mm2 "Door"  # note "x"',
            "input:keyword door:name at:keyword I1.2:terminal NC:keyword debounce:keyword 30:number"
            ' ms:unit wire:keyword 3:number m:unit 0.75:number mm2:unit "Door":string',
        ),
        (
            "    (rising a or not b) and c.timing -> latch d",
            "(:operator rising:keyword a:name or:keyword not:keyword b:name ):operator and:keyword"
            " c:name .:operator timing:keyword ->:operator latch:keyword d:name",
        ),
        (
            "rung rising and wait -> latch",
            "rung:keyword rising:name and:keyword wait:name ->:operator latch:name",
        ),
        ("    n >= 12", "n:name >=:operator 12:number"),
        (
            "timer input on-delay 1h30min",
            "timer:keyword input:name on-delay:keyword 1:number h:unit 30:number min:unit",
        ),
        (
            "clock on from sunset -20min to 06:00 on Mon-Fri",
            "clock:keyword on:name from:keyword sunset:value -:operator 20:number min:unit"
            " to:keyword 06:00:time on:keyword Mon:value -:operator Fri:value",
        ),
        ("    begin Wed 2026-11-25 22:45", "begin:keyword Wed:value 2026-11-25:time 22:45:time"),
        (
            "    expect steady lamp for 10s",
            "expect:keyword steady:keyword lamp:name for:keyword 10:number s:unit",
        ),
        ("    wait and lamp", "wait:name and:keyword lamp:name"),
        ("    wait 5s", "wait:keyword 5:number s:unit"),
        ('rung "not closed', 'rung:keyword "not closed:string'),
    ],
)
def test_words_of_a_line_have_their_kinds(line: str, wanted: str) -> None:
    code = [(text, kind) for text, kind in kinds(line) if kind != "comment"]
    assert [":".join(pair) for pair in code] == re.findall(r'"[^"]*"?:string|\S+', wanted)


def test_a_comment_runs_to_the_end_and_a_sign_in_a_label_begins_none() -> None:
    assert kinds('rung "a # b" # c "d"')[-2:] == [('"a # b"', "string"), ('# c "d"', "comment")]


@given(st.text(max_size=80))
@settings(max_examples=80)
def test_any_line_is_coloured_from_left_to_right(line: str) -> None:
    end = 0
    for start, stop, _ in highlight(line):
        assert end <= start < stop <= len(line)
        end = stop


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_devices_of_the_demos_are_coloured_as_names(path: Path) -> None:
    checked = checked_of(path.read_text(encoding="utf-8"))
    assert checked.program is not None
    source = checked.source
    colours = {
        (number, start): (line[start:end], kind)
        for number, line in enumerate(source.text.splitlines(), 1)
        for start, end, kind in highlight(line)
    }
    for device in checked.program.devices:
        place = source.position(device.name_span.start)
        assert colours[place.line, place.column - 1] == (device.name, "name")
    names = {use.name for use in uses(checked.file)}
    assert {word for word, kind in colours.values() if kind == "name"} <= names


def test_a_line_is_coloured_in_no_time() -> None:
    lines = [line for path in DEMOS for line in path.read_text(encoding="utf-8").splitlines()]
    times = []
    for _ in range(5):
        start = time.process_time()
        for line in lines:
            highlight(line)
        times.append((time.process_time() - start) / len(lines))
    assert min(times) < 0.0001
