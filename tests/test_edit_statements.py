"""Edits of actions, labels, whole rungs and declarations: what changes, and what stays."""

from __future__ import annotations

import re
from collections import Counter
from pathlib import Path
from random import Random

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.edit.actions import add_action, change_action, delete_action, set_label
from rungs.edit.changes import Change
from rungs.edit.devices import declare, next_terminal
from rungs.edit.places import (
    action_at,
    block_of,
    leaf_at,
    rungs_of,
    span_of_action,
    span_of_leaf,
    statement_at,
)
from rungs.edit.statements import delete_rung, move_rung, new_rung
from rungs.findings import CODES, Finding
from rungs.program.check import Checked
from rungs.program.nodes import Action, Program, Verb, leaves
from rungs.program.words import circuit_text
from rungs.source import applied
from tests.test_edit_contacts import DEMOS, checked_of, seeds, sprinkled, texts

HEAD = """input a at I1
input b at I2
output o at R1
output p at R2
relay r
"""


def program_in(checked: Checked) -> Program:
    assert checked.program is not None, checked.findings
    return checked.program


def done(change: Change | Finding) -> str:
    """The new text, after a look at what every change must keep to."""
    assert isinstance(change, Change), change
    assert change.says
    text = change.checked.source.text
    assert 0 <= change.caret <= len(text)
    assert change.checked.program is not None
    return text


def rung_texts(program: Program) -> list[tuple[str, str, tuple[Action, ...]]]:
    return [(rung.label, circuit_text(rung.circuit), rung.actions) for rung in program.rungs]


def comments(text: str) -> list[str]:
    return re.findall("#.*", text)


def demo(path: Path) -> Checked:
    return checked_of(sprinkled(path.read_text(encoding="utf-8"), Random(path.stem)))


# --- actions and labels -----------------------------------------------------------------------


@given(texts(), seeds)
@settings(max_examples=40)
def test_actions_change_in_their_rung_alone(text: str, seed: int) -> None:
    checked = checked_of(text)
    program = program_in(checked)
    rng = Random(seed)
    number = rng.randrange(len(program.rungs)) + 1
    rung = program.rungs[number - 1]
    index = rng.randrange(len(rung.actions))
    verb: Verb = rng.choice(("coil", "latch", "unlatch", "impulse", "down", "reset"))
    name = rng.choice(program.devices).name
    new = Action(verb, name)
    cut = delete_action(checked, number, index)
    if len(rung.actions) == 1:
        assert isinstance(cut, Finding)
        assert cut.code == "incomplete"
    for change, wanted in (
        (change_action(checked, number, index, verb, name), [new]),
        (change_action(checked, number, index, verb), [Action(verb, rung.actions[index].name)]),
        (
            change_action(checked, number, index, None, name),
            [Action(rung.actions[index].verb, name)],
        ),
        (cut, []),
        (add_action(checked, number, verb, name), None),
    ):
        if isinstance(change, Finding):
            assert CODES[change.code].severity == "error"
            assert change.fix
            continue
        actions = list(rung.actions)
        if wanted is None:
            actions.append(new)
        else:
            actions[index : index + 1] = wanted
        expected = rung_texts(program)
        expected[number - 1] = (rung.label, circuit_text(rung.circuit), tuple(actions))
        after = done(change)
        assert rung_texts(program_in(checked_of(after))) == expected
        assert comments(after) == comments(text)
        assert all(
            rung.span.start <= edit.span.start
            and edit.span.end <= text.index("\n", rung.span.end) + 1
            for edit in change.edits
        )


def of_rung(actions: str) -> Checked:
    return checked_of(f"{HEAD}rung a -> {actions}\nrung r -> p\n")


@pytest.mark.parametrize(
    ("actions", "index", "verb", "name", "wanted"),
    [
        ("o, r", 0, "latch", None, "latch o, r"),
        ("latch o, r", 0, "coil", None, "o, r"),
        ("latch # why\n o, r", 0, "unlatch", None, "unlatch # why\n o, r"),
        ("o, latch r", 1, "impulse", None, "o, impulse r"),
        ("o,r", 1, "latch", "r", "o,latch r"),
        ("latch r", 0, "coil", "r", "r"),
        ("latch r, o", 1, None, "o", "latch r, o"),
    ],
)
def test_verb_and_name_of_an_action_are_changed_by_themselves(
    actions: str, index: int, verb: Verb | None, name: str | None, wanted: str
) -> None:
    after = done(change_action(of_rung(actions), 1, index, verb, name))
    assert after == f"{HEAD}rung a -> {wanted}\nrung r -> p\n"


@pytest.mark.parametrize(
    ("actions", "index", "wanted"),
    [
        ("r, o", 0, None),  # nothing would drive the relay that rung 2 reads
        ("o, r", 0, "r"),
        ("r, latch o, unlatch o", 1, "r, unlatch o"),
        ("r, # first\n o", 1, "r # first"),
        ("r,o", 1, "r"),
    ],
)
def test_a_deleted_action_takes_its_comma_along(
    actions: str, index: int, wanted: str | None
) -> None:
    outcome = delete_action(of_rung(actions), 1, index)
    if wanted is None:
        assert isinstance(outcome, Finding)
        assert outcome.code == "never-driven"
    else:
        assert done(outcome) == f"{HEAD}rung a -> {wanted}\nrung r -> p\n"


def test_an_action_that_would_be_an_error_is_refused_with_that_error() -> None:
    checked = of_rung("r, o")
    for outcome, code in (
        (add_action(checked, 1, "coil", "p"), "second-coil"),
        (add_action(checked, 1, "latch", "p"), "coil-and-latch"),
        (add_action(checked, 1, "coil", "a"), "driven-input"),
        (add_action(checked, 1, "reset", "o"), "wrong-kind"),
        (add_action(checked, 1, "coil", "lost"), "unknown-name"),
        (change_action(checked, 1, 0, None, "2 x"), "name-form"),
        (add_action(checked, 1, "coil", "p\nrung a -> o"), "name-form"),
        (change_action(checked, 1, 2, "latch"), "unknown-name"),
        (add_action(checked, 9, "coil", "o"), "unknown-name"),
    ):
        assert isinstance(outcome, Finding)
        assert outcome.code == code
        assert 0 <= outcome.span.start <= outcome.span.end <= len(checked.source.text)


@pytest.mark.parametrize(
    ("rung", "label", "wanted"),
    [
        ("rung a -> o", "New one", 'rung "New one" a -> o'),
        ("rung(a) -> o", "x", 'rung "x"(a) -> o'),
        ('rung "Old"  # note\n  a -> o', "New", 'rung "New"  # note\n  a -> o'),
        ('rung "Old"  # note\n  a -> o', "", "rung  # note\n  a -> o"),
        ('rung "Old" a -> o', "", "rung a -> o"),
        ('rung "Old"(a) -> o', "", "rung (a) -> o"),
        ("rung a -> o", "", "rung a -> o"),
    ],
)
def test_a_label_is_given_changed_and_taken_away(rung: str, label: str, wanted: str) -> None:
    assert done(set_label(checked_of(f"{HEAD}{rung}\n"), 1, label)) == f"{HEAD}{wanted}\n"


@pytest.mark.parametrize("label", ['a "b"', "two\nlines", "\x07", "\u202eback"])
def test_a_label_that_could_not_be_read_back_is_refused(label: str) -> None:
    outcome = set_label(of_rung("o, r"), 1, label)
    assert isinstance(outcome, Finding)
    assert outcome.code == "bad-label"


@given(st.text(max_size=20))
@settings(max_examples=60)
def test_any_label_is_either_read_back_or_refused(label: str) -> None:
    outcome = set_label(of_rung("o, r"), 1, label)
    if isinstance(outcome, Change):
        assert program_in(checked_of(done(outcome))).rungs[0].label == label
    else:
        assert outcome.code in ("bad-label", "bad-character")


# --- whole rungs ------------------------------------------------------------------------------


def check_moves(checked: Checked) -> None:
    text = checked.source.text
    program = program_in(checked)
    others = [s for s in checked.file.statements if s not in rungs_of(checked)]
    for number in range(2, len(program.rungs) + 1):
        up = move_rung(checked, number, "up")
        after = done(up)
        assert isinstance(up, Change)
        expected = rung_texts(program)
        expected[number - 2 : number] = reversed(expected[number - 2 : number])
        assert rung_texts(program_in(up.checked)) == expected
        rungs = rungs_of(up.checked)
        assert [s for s in up.checked.file.statements if s not in rungs] == others
        assert Counter(comments(after)) == Counter(comments(text))
        assert after[up.caret :].startswith("rung")
        assert statement_at(up.checked, up.caret).rung == number - 1  # type: ignore[union-attr]
        assert done(move_rung(up.checked, number - 1, "down")) == text
        assert done(move_rung(checked, number - 1, "down")) == after


@given(texts())
@settings(max_examples=20)
def test_a_rung_that_is_moved_up_and_down_leaves_the_first_bytes(text: str) -> None:
    check_moves(checked_of(text))


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_rungs_of_the_demos_move_and_come_back(path: Path) -> None:
    check_moves(demo(path))


def test_the_first_and_the_last_rung_go_no_further() -> None:
    checked = of_rung("o, r")
    for outcome in (move_rung(checked, 1, "up"), move_rung(checked, 2, "down")):
        assert isinstance(outcome, Finding)


ROWS = f"""{HEAD}
# of one
rung a -> o  # behind one

never o and p  # between
# loose

# of two
# and more
rung b
    # inside
    -> r
rung r -> p
"""


def test_comments_above_and_behind_a_rung_go_where_it_goes() -> None:
    after = done(move_rung(checked_of(ROWS), 2, "up"))
    assert (
        after
        == f"""{HEAD}
# of two
# and more
rung b
    # inside
    -> r

never o and p  # between
# loose

# of one
rung a -> o  # behind one
rung r -> p
"""
    )


def test_a_deleted_rung_leaves_one_empty_line_where_there_were_two() -> None:
    after = done(delete_rung(checked_of(ROWS), 1))
    assert after == ROWS.replace("# of one\nrung a -> o  # behind one\n\n", "")
    last = done(delete_rung(checked_of(ROWS), 3))
    assert last == ROWS.replace("rung r -> p\n", "")
    assert done(delete_rung(checked_of(f"{HEAD}\nrung a -> o"), 1)) == HEAD


def test_a_rung_that_moves_what_is_read_elsewhere_is_not_deleted() -> None:
    outcome = delete_rung(checked_of(ROWS), 2)
    assert isinstance(outcome, Finding)
    assert outcome.code == "never-driven"
    # the contact of the relay, where it stands in the old text
    assert ROWS[outcome.span.start : outcome.span.end] == "r"
    assert ROWS[outcome.span.start :].startswith("r -> p")


@given(texts(), seeds)
@settings(max_examples=30)
def test_a_deleted_rung_takes_nothing_else_along(text: str, seed: int) -> None:
    checked = checked_of(text)
    program = program_in(checked)
    number = Random(seed).randrange(len(program.rungs)) + 1
    outcome = delete_rung(checked, number)
    block = block_of(text, rungs_of(checked)[number - 1])
    without = text[: block.span.start] + text[block.span.end :]
    if isinstance(outcome, Finding):
        assert checked_of(without).program is None
        return
    after = done(outcome)
    assert after.replace("\n", "") == without.replace("\n", "")
    expected = rung_texts(program)
    del expected[number - 1]
    assert rung_texts(program_in(checked_of(after))) == expected


def test_rungs_that_share_a_line_are_parted_by_their_words() -> None:
    text = f"{HEAD}rung a -> o rung b -> latch r # both\nrung r -> p\n"
    checked = checked_of(text)
    swapped = move_rung(checked, 2, "up")
    assert done(swapped) == f"{HEAD}rung b -> latch r rung a -> o # both\nrung r -> p\n"
    assert isinstance(swapped, Change)
    assert done(move_rung(swapped.checked, 1, "down")) == text
    assert done(delete_rung(checked, 1)) == f"{HEAD}rung b -> latch r # both\nrung r -> p\n"
    between = "rung a -> o\nrung\n    not b -> unlatch r\nrung b -> latch r # both\n"
    assert done(new_rung(checked, 1, "not b", "unlatch r")) == f"{HEAD}{between}rung r -> p\n"
    behind = "rung a -> o rung b -> latch r # both\nrung\n    not b -> unlatch r\n"
    assert done(new_rung(checked, 2, "not b", "unlatch r")) == f"{HEAD}{behind}rung r -> p\n"


NEW = 'rung "Wake"\n    not a and (b or r) -> unlatch r, o\n'


@pytest.mark.parametrize(
    ("text", "after", "wanted"),
    [
        (f"{HEAD}rung a -> latch r\n", 0, f"{HEAD}NEWrung a -> latch r\n"),
        (f"{HEAD}rung a -> latch r # x\n", 1, f"{HEAD}rung a -> latch r # x\nNEW"),
        (f"{HEAD}rung a -> latch r\n", None, f"{HEAD}rung a -> latch r\nNEW"),
        (f"{HEAD}\n# x\nrung a -> latch r\n", 0, f"{HEAD}\nNEW\n# x\nrung a -> latch r\n"),
        (f"{HEAD}\n# x\nrung a -> latch r\n", 1, f"{HEAD}\n# x\nrung a -> latch r\n\nNEW"),
        (f"{HEAD}rung a -> latch r\nnever b\n", 1, f"{HEAD}rung a -> latch r\nNEWnever b\n"),
    ],
)
def test_a_new_rung_stands_where_it_is_asked_for(text: str, after: int | None, wanted: str) -> None:
    circuit, actions = "not  a and (b or r)", "unlatch r , o"
    change = new_rung(checked_of(text), after, circuit, actions, "Wake")
    assert done(change) == wanted.replace("NEW", NEW)
    assert isinstance(change, Change)
    assert wanted.replace("NEW", NEW)[change.caret :].startswith('rung "Wake"')


def test_the_first_rung_goes_behind_the_declarations() -> None:
    assert done(new_rung(checked_of(f"{HEAD}never a\n"), None, "a", "o")) == (
        f"{HEAD}\nrung\n    a -> o\nnever a\n"
    )
    refused = new_rung(checked_of(""), None, "a", "o")
    assert isinstance(refused, Finding)
    assert refused.code == "unknown-name"


@pytest.mark.parametrize(
    ("circuit", "actions", "label", "code"),
    [
        ("", "o", "", "incomplete"),
        ("a", " ", "", "incomplete"),
        ("a -> o rung b", "p", "", "syntax"),
        ("a", "o rung b -> p", "", "syntax"),
        ("a", "o\nrelay x", "", "syntax"),
        ('"x" a', "o", "", "syntax"),
        ("a", "o # x", "", "syntax"),
        ("a", "o", 'x"', "bad-label"),
        ("lost", "o", "", "unknown-name"),
        ("a", "p", "", "second-coil"),
    ],
)
def test_a_rung_that_cannot_stand_is_refused(
    circuit: str, actions: str, label: str, code: str
) -> None:
    outcome = new_rung(of_rung("o, r"), 1, circuit, actions, label)
    assert isinstance(outcome, Finding)
    assert outcome.code == code


@given(st.text(max_size=15), st.text(max_size=15))
@settings(max_examples=60)
def test_no_text_of_a_new_rung_raises_or_brings_more_than_a_rung(
    circuit: str, actions: str
) -> None:
    outcome = new_rung(of_rung("o, r"), 1, circuit, actions)
    if isinstance(outcome, Change):
        assert len(program_in(checked_of(done(outcome))).rungs) == 3


# --- declarations -----------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("have", "wanted"),
    [
        (["I1", "I2"], "I3"),
        (["I1", "I3"], "I2"),
        (["I101", "I102"], "I103"),
        (["X01", "X09"], "X02"),
        (["X08", "X09"], "X10"),
        (["A1", "7/1.3"], "7/1.4"),
        (["left"], "I1"),
        ([], "I1"),
        (["R2"], "R3"),
    ],
)
def test_the_next_terminal_follows_those_of_the_file(have: list[str], wanted: str) -> None:
    text = "".join(f"input i{n} at {t}\n" for n, t in enumerate(have)) + "output o at R4\n"
    checked = checked_of(text)
    assert program_in(checked)
    assert next_terminal(checked, "input") == wanted


def test_one_terminal_is_not_given_to_an_input_and_an_output() -> None:
    checked = checked_of("input a at T1\noutput o at t2\ninput b at T3\n")
    assert next_terminal(checked, "input") == "T4"
    assert next_terminal(checked, "output") == "t4"


TABLE = """input  door   at I1 maintained NO                "Door"  # first
input  button at I2 momentary  NC debounce 30ms "Button"

output lamp at R1 NO
timer late off-delay 5s
rung door and button -> late
rung late -> lamp
"""


@pytest.mark.parametrize(
    ("kind", "name", "label", "options", "line"),
    [
        ("input", "c", "Call", "", 'input  c      at I3 maintained NO               "Call"'),
        ("input", "c", "", "at I9 NC", "input  c      at I9            NC"),
        ("input", "a_long_name", "", "", "input  a_long_name at I3 maintained NO"),
        ("output", "x", "", "", "output x    at R2 NO"),
        ("timer", "x", "", "", "timer x    on-delay 1s"),
        ("timer", "x", "", "pulse 2s", "timer x    pulse 2s"),
        ("counter", "x", "", "to 5 retained", "counter x to 5 retained"),
        ("clock", "x", "", "", "clock x from 08:00 to 16:00"),
        ("relay", "x", "Kept", "retained", 'relay x retained "Kept"'),
    ],
)
def test_a_device_is_declared_below_its_kind_and_in_line_with_it(
    kind: str, name: str, label: str, options: str, line: str
) -> None:
    change = declare(checked_of(TABLE), kind, name, label, options)  # type: ignore[arg-type]
    after = done(change)
    assert isinstance(change, Change)
    lines = after.splitlines()
    assert line in lines
    kept = list(lines)
    kept.remove(line)
    assert [text for text in kept if text] == [text for text in TABLE.splitlines() if text]
    assert after[change.caret :].startswith(line)
    above = lines[lines.index(line) - 1]
    assert above == "" if kind in ("counter", "clock", "relay") else above.startswith(kind)
    same = [text.split()[0] for text in lines if text and text.split()[0] in ("input", kind)]
    assert same == sorted(same, key=("input", kind).index)


def test_a_device_in_an_empty_file_is_its_first_line() -> None:
    assert done(declare(checked_of(""), "input", "a")) == "input a at I1 maintained NO\n"
    assert done(declare(checked_of("# note"), "relay", "a")) == "# note\n\nrelay a\n"


@pytest.mark.parametrize(
    ("name", "label", "options", "code"),
    [
        ("2x", "", "", "name-form"),
        ("not", "", "", "name-form"),
        ("x" * 61, "", "", "name-length"),
        ("door", "", "", "doubled-name"),
        ("Door", "", "", "lookalike-name"),
        ("x", 'a"', "", "bad-label"),
        ("x", "", "at I1", "shared-terminal"),
        ("x", "", "at I9 rung door -> lamp", "syntax"),
        ("x", "", "at I9 # note", "syntax"),
        ("x", "", "maintained", "missing-option"),
    ],
)
def test_a_declaration_that_cannot_stand_is_refused(
    name: str, label: str, options: str, code: str
) -> None:
    outcome = declare(checked_of(TABLE), "input", name, label, options)
    assert isinstance(outcome, Finding)
    assert outcome.code == code


# --- places -----------------------------------------------------------------------------------


@given(texts())
@settings(max_examples=30)
def test_places_of_the_ladder_and_of_the_text_lead_to_each_other(text: str) -> None:
    checked = checked_of(text)
    for rung in program_in(checked).rungs:
        found = statement_at(checked, rung.span.start + 2)
        assert found is not None
        assert (found.kind, found.rung, found.span) == ("rung", rung.number, rung.span)
        for index, leaf in enumerate(leaves(rung.circuit)):
            span = span_of_leaf(checked, rung.number, index)
            assert span is not None
            assert span.start <= leaf.span.start
            assert leaf.span.end <= span.end
            assert leaf_at(checked, leaf.span.start) == (rung.number, index)
        assert span_of_leaf(checked, rung.number, len(leaves(rung.circuit))) is None
        for index, action in enumerate(rung.actions):
            assert span_of_action(checked, rung.number, index) == action.span
            assert action_at(checked, action.span.end) == (rung.number, index)
        assert span_of_action(checked, rung.number, len(rung.actions)) is None


def test_the_statement_of_a_caret_is_the_one_on_its_line() -> None:
    text = f'{HEAD}\n# loose\nrung a -> o   # behind\nnever a\nscenario "x"\n  tap a\n'
    checked = checked_of(text)

    def kind_at(words: str) -> str | None:
        found = statement_at(checked, text.index(words))
        return None if found is None else found.kind

    assert [kind_at(w) for w in ("relay", "# loose", "# behind", "never", "  tap")] == [
        "relay",
        None,
        "rung",
        "never",
        "scenario",
    ]


def test_edits_hand_back_the_check_of_the_text_that_they_make() -> None:
    checked = of_rung("o, r")
    change = set_label(checked, 1, "New")
    assert isinstance(change, Change)
    assert change.checked == checked_of(applied(checked.source.text, change.edits))
