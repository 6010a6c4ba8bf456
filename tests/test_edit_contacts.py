"""Edits of contacts: what the ladder shows afterwards, and what of the text stays as it was.

Texts are written in a layout of their own here, with `not ( ... )`, idle parentheses, line breaks
and comments wherever they may stand, from programs that are known to be right.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product
from pathlib import Path
from random import Random

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.edit.changes import Change
from rungs.edit.contacts import (
    Where,
    delete_contact,
    insert_at_rung,
    insert_contact,
    invert_contact,
    replace_contact,
)
from rungs.edit.places import rungs_of
from rungs.findings import Finding
from rungs.language.format import format_file
from rungs.language.parse import MAX_DEPTH
from rungs.program.check import Checked, check
from rungs.program.nodes import (
    Circuit,
    Compare,
    Contact,
    Leaf,
    Parallel,
    Program,
    Rung,
    Series,
    leaves,
    opposite,
)
from rungs.program.words import circuit_text
from rungs.shipped import shipped
from rungs.source import applied, source_from_text
from tests.helpers import program_of
from tests.strategies import OPPOSITE, program_text, programs

# --- texts ------------------------------------------------------------------------------------


def checked_of(text: str) -> Checked:
    return check(source_from_text(text))


class Writer:
    """Writes programs in random layout; comments are numbered in the order of the text."""

    def __init__(self, rng: Random) -> None:
        self.rng = rng
        self.comments = 0

    def _comment(self) -> str:
        self.comments += 1
        return f"# c{self.comments} and not -> ( rung\n"

    def text(self, program: Program) -> str:
        pieces = [program_text(replace(program, rungs=()))]
        for rung in program.rungs:
            if self.rng.random() < 0.3:
                pieces.append("\n")
            while self.rng.random() < 0.3:
                pieces.append(self._comment())
            pieces.append(self._rung(rung))
            if self.rng.random() < 0.2:
                pieces.append(f"never {rung.actions[0].name} and not {rung.actions[0].name}\n")
        return "".join(pieces)

    def _rung(self, rung: Rung) -> str:
        label = [f'"{rung.label}"'] if rung.label else []
        words = ["rung", *label, *self._circuit(rung.circuit, False), "->"]
        for number, action in enumerate(rung.actions):
            words += [","] if number else []
            words += [action.name] if action.verb == "coil" else [action.verb, action.name]
        text = words[0]
        for word in words[1:]:
            glued = word == "," or "(" in (word, text[-1]) or ")" in (word, text[-1])
            text += ("" if glued and self.rng.random() < 0.7 else self._gap()) + word
        return text + (f"  {self._comment()}" if self.rng.random() < 0.3 else "\n")

    def _gap(self) -> str:
        luck = self.rng.random()
        if luck < 0.75:
            return " " if luck < 0.7 else "   "
        return f"  {self._comment()}    " if luck < 0.85 else "\n    "

    def _circuit(self, circuit: Circuit, turned: bool) -> list[str]:
        """The words of a circuit, or inside `not ( ... )` of what is there the circuit turned."""
        luck = self.rng.random()
        if luck < 0.15:
            return ["not", "(", *self._circuit(circuit, not turned), ")"]
        if luck < 0.2:
            return ["(", *self._circuit(circuit, turned), ")"]
        if isinstance(circuit, Series | Parallel):
            joint = "and" if isinstance(circuit, Series) != turned else "or"
            words: list[str] = []
            for part in circuit.parts:
                inner = self._circuit(part, turned)
                loose = joint == "and" or self.rng.random() < 0.5
                if isinstance(part, Series | Parallel) and inner[0] != "not" and loose:
                    inner = ["(", *inner, ")"]
                words += [joint] if words else []
                words += inner
            return words
        return self._leaf(circuit, turned)

    def _leaf(self, leaf: Leaf, turned: bool) -> list[str]:
        if isinstance(leaf, Compare):
            away = self.rng.random() < 0.3
            op = OPPOSITE[leaf.op] if turned != away else leaf.op
            return [*(["not"] if away else []), leaf.name, op, str(leaf.number)]
        words = [leaf.name]
        if leaf.kind == "first_scan":
            words = ["first_scan"]
        elif leaf.kind == "timing":
            words = (
                [leaf.name, ".", "timing"] if self.rng.random() < 0.2 else [f"{leaf.name}.timing"]
            )
        elif leaf.kind != "closed":
            words = [leaf.kind, leaf.name]
        return ["not", *words] if leaf.negated != turned else words


@st.composite
def texts(draw: st.DrawFn) -> str:
    """Texts without errors, in a random layout."""
    program = draw(programs(size=4))
    return Writer(Random(draw(st.integers(0, 2**32)))).text(program)


DEMOS = sorted((shipped("demos")).glob("*.rungs"))


def sprinkled(text: str, rng: Random) -> str:
    """A text with comments put behind some of its words, and some lines."""
    lines = []
    for number, line in enumerate(text.splitlines()):
        code = '"' not in line and "#" not in line
        if code and rng.random() < 0.3:
            line = re.sub(r" (and|or|->) ", rf" \1 # s{number}\n    ", line, count=1)
        lines.append(line)
    return "\n".join(lines) + "\n"


# --- what an edit means -----------------------------------------------------------------------

Values = dict[tuple[str, str], int]


def conducts(circuit: Circuit, values: Values) -> bool:
    match circuit:
        case Series():
            return all(conducts(part, values) for part in circuit.parts)
        case Parallel():
            return any(conducts(part, values) for part in circuit.parts)
        case Compare():
            return circuit.holds(values["count", circuit.name])
    return bool(values[circuit.kind, circuit.name]) != circuit.negated


def situations(*circuits: Circuit) -> Iterator[Values]:
    """Every state of all contacts, or 100 drawn ones where there are too many."""
    ranges: dict[tuple[str, str], set[int]] = {}
    for leaf in (leaf for circuit in circuits for leaf in leaves(circuit)):
        if isinstance(leaf, Compare):
            near = {max(0, leaf.number - 1), leaf.number, leaf.number + 1}
            ranges.setdefault(("count", leaf.name), set()).update(near)
        else:
            ranges[leaf.kind, leaf.name] = {0, 1}
    size = 1
    for found in ranges.values():
        size *= len(found)
    if size <= 128:
        for row in product(*ranges.values()):
            yield dict(zip(ranges, row, strict=True))
        return
    rng = Random(1)
    options = {key: sorted(found) for key, found in ranges.items()}
    for _ in range(100):
        yield {key: rng.choice(found) for key, found in options.items()}


def changed_leaf(
    circuit: Circuit, index: int, make: Callable[[Leaf], Circuit | None]
) -> Circuit | None:
    """The circuit with something else in the place of a leaf, or nothing."""
    if not isinstance(circuit, Series | Parallel):
        return make(circuit)
    parts: list[Circuit] = []
    for part in circuit.parts:
        count = len(leaves(part))
        new = changed_leaf(part, index, make) if 0 <= index < count else part
        parts += [] if new is None else [new]
        index -= count
    return replace(circuit, parts=tuple(parts)) if parts else None


def shown(circuit: Circuit) -> list[str]:
    return [circuit_text(leaf) for leaf in leaves(circuit)]


def assert_means(checked: Checked, rung: int, change: Change | Finding, wanted: Circuit) -> None:
    """The change is one of this rung alone, and its circuit is then the wanted one."""
    assert isinstance(change, Change), change
    assert checked.program is not None
    old = checked.source.text
    text = applied(old, change.edits)
    after = change.checked
    assert after.program is not None, after.findings
    assert after.source.text == text
    assert 0 <= change.caret <= len(text)
    assert_elsewhere_as_before(checked, rung, change)
    got = after.program.rungs[rung - 1]
    assert shown(got.circuit) == shown(wanted)
    assert got.actions == checked.program.rungs[rung - 1].actions
    for values in situations(got.circuit, wanted):
        assert conducts(got.circuit, values) == conducts(wanted, values), values


def assert_elsewhere_as_before(checked: Checked, rung: int, change: Change) -> None:
    """Edits keep to the lines of the rung, comments stay, other rungs say what they said."""
    old = checked.source.text
    tree = rungs_of(checked)[rung - 1]
    text = applied(old, change.edits)
    for edit in change.edits:
        assert tree.span.start - 20 <= edit.span.start
        assert edit.span.end <= old.index("\n", tree.span.end) + 1
        assert "#" not in edit.text + old[edit.span.start : edit.span.end]
    assert re.findall("#.*", text) == re.findall("#.*", old)
    assert checked.program is not None
    after = change.checked.program
    assert after is not None
    before_rungs = [(circuit_text(r.circuit), r.actions, r.label) for r in checked.program.rungs]
    after_rungs = [(circuit_text(r.circuit), r.actions, r.label) for r in after.rungs]
    del before_rungs[rung - 1], after_rungs[rung - 1]
    assert after_rungs == before_rungs
    assert after.devices == checked.program.devices
    assert after.properties == checked.program.properties
    assert after.scenarios == checked.program.scenarios


def new_contact(program: Program, rng: Random) -> Leaf:
    """A contact that may stand in any rung: of an input, since an undriven relay is an error."""
    name = rng.choice(program.inputs).name
    return Contact(rng.choice(("closed", "closed", "rising", "falling")), name, rng.random() < 0.5)


def picked(text: str, seed: int) -> tuple[Checked, Program, Random, int, int]:
    """A checked text, and a rung and a contact of it."""
    checked = checked_of(text)
    assert checked.program is not None, checked.findings
    rng = Random(seed)
    rung = rng.randrange(len(checked.program.rungs)) + 1
    leaf = rng.randrange(len(leaves(checked.program.rungs[rung - 1].circuit)))
    return checked, checked.program, rng, rung, leaf


def join(where: Where, old: Circuit, new: Circuit) -> Circuit:
    if where == "beside":
        return Parallel((old, new))
    return Series((new, old) if where == "before" else (old, new))


seeds = st.integers(0, 2**32)
places: st.SearchStrategy[Where] = st.sampled_from(("before", "after", "beside"))


def check_every_edit(text: str, seed: int, where: Where) -> None:
    checked, program, rng, rung, leaf = picked(text, seed)
    circuit = program.rungs[rung - 1].circuit
    new = new_contact(program, rng)
    words = circuit_text(new)

    def expect(change: Change | Finding, make: Callable[[Leaf], Circuit | None]) -> None:
        wanted = changed_leaf(circuit, leaf, make)
        if wanted is None:
            assert isinstance(change, Finding)
            assert change.code == "incomplete"
        else:
            assert_means(checked, rung, change, wanted)

    inserted = insert_contact(checked, rung, leaf, words, where)
    expect(inserted, lambda old: join(where, old, new))
    expect(invert_contact(checked, rung, leaf), opposite)
    expect(replace_contact(checked, rung, leaf, words), lambda old: new)
    expect(delete_contact(checked, rung, leaf), lambda old: None)
    whole = insert_at_rung(checked, rung, words, where)
    assert_means(checked, rung, whole, join(where, circuit, new))


@given(texts(), seeds, places)
@settings(max_examples=60)
def test_an_edit_does_what_the_ladder_shows_and_nothing_else(
    text: str, seed: int, where: Where
) -> None:
    check_every_edit(text, seed, where)


@pytest.mark.parametrize("path", DEMOS, ids=lambda path: path.stem)
def test_edits_of_the_demos_keep_comments_and_everything_else(path: Path) -> None:
    text = sprinkled(path.read_text(encoding="utf-8"), Random(path.stem))
    wheres: tuple[Where, ...] = ("before", "after", "beside")
    for seed, where in enumerate(wheres):
        check_every_edit(text, seed, where)


def formatted(text: str) -> Checked:
    """The text in canonical layout, which holds no idle parentheses."""
    checked = checked_of(text)
    return checked_of(format_file(checked.file, checked.source))


@given(texts(), seeds, places)
@settings(max_examples=25)
def test_what_is_inserted_and_deleted_again_leaves_the_first_bytes(
    text: str, seed: int, where: Where
) -> None:
    checked, program, rng, rung, leaf = picked(formatted(text).source.text, seed)
    words = circuit_text(new_contact(program, rng))
    last = len(leaves(program.rungs[rung - 1].circuit))
    for change, index in (
        (insert_contact(checked, rung, leaf, words, where), leaf + (where != "before")),
        (insert_at_rung(checked, rung, words, where), 0 if where == "before" else last),
    ):
        assert isinstance(change, Change)
        assert change.checked.source.text != checked.source.text
        back = delete_contact(change.checked, rung, index)
        assert isinstance(back, Change)
        assert back.checked.source.text == checked.source.text


@given(texts(), seeds)
@settings(max_examples=25)
def test_a_contact_inverted_twice_leaves_the_first_bytes(text: str, seed: int) -> None:
    checked, _, _, rung, leaf = picked(formatted(text).source.text, seed)
    # a double `not` goes the first time
    once = invert_contact(checked, rung, leaf)
    assert isinstance(once, Change)
    checked = once.checked
    first = invert_contact(checked, rung, leaf)
    assert isinstance(first, Change)
    assert first.checked.source.text != checked.source.text
    second = invert_contact(first.checked, rung, leaf)
    assert isinstance(second, Change)
    assert second.checked.source.text == checked.source.text


# --- by example -------------------------------------------------------------------------------

HEAD = """input a at I1
input b at I2
input c at I3
output o at R1
counter n to 3
rung a -> n
"""


def edited(circuit: str, edit: Callable[[Checked], Change | Finding]) -> str:
    """The circuit of rung 2 as text after an edit."""
    change = edit(checked_of(f"{HEAD}rung {circuit} -> o\n"))
    assert isinstance(change, Change), change
    text = change.checked.source.text
    assert text.startswith(HEAD)
    assert text.endswith(" -> o\n")
    return text[len(HEAD) + len("rung ") : -len(" -> o\n")]


@pytest.mark.parametrize(
    ("circuit", "leaf", "where", "wanted"),
    [
        ("a", 0, "before", "c and a"),
        ("a", 0, "beside", "a or c"),
        ("a or b", 1, "after", "a or b and c"),
        ("a and b", 1, "beside", "a and (b or c)"),
        ("a and (b)", 1, "beside", "a and (b or c)"),
        ("not a and b", 0, "beside", "(not a or c) and b"),
        ("not (a)", 0, "before", "c and not (a)"),
        ("not (a and b)", 0, "after", "not ((a or not c) and b)"),
        ("not (a and b)", 1, "beside", "not (a and b and not c)"),
        ("not (a or b)", 0, "before", "not (not c or a or b)"),
        ("not (a or not (a or b))", 1, "beside", "not (a or not (a or c or b))"),
    ],
)
def test_parentheses_are_added_where_precedence_needs_them_alone(
    circuit: str, leaf: int, where: Where, wanted: str
) -> None:
    assert edited(circuit, lambda c: insert_contact(c, 2, leaf, "c", where)) == wanted


@pytest.mark.parametrize(
    ("circuit", "where", "wanted"),
    [
        ("a or b", "before", "c and (a or b)"),
        ("a or b", "after", "(a or b) and c"),
        ("(a or b)", "after", "(a or b) and c"),
        ("a and b", "after", "a and b and c"),
        ("a and b", "beside", "a and b or c"),
    ],
)
def test_a_contact_joins_the_whole_circuit(circuit: str, where: Where, wanted: str) -> None:
    assert edited(circuit, lambda c: insert_at_rung(c, 2, "c", where)) == wanted


@pytest.mark.parametrize(
    ("circuit", "leaf", "wanted"),
    [
        ("a", 0, "not a"),
        ("not a", 0, "a"),
        ("not (a)", 0, "a"),
        ("not (not (a))", 0, "not a"),
        ("not (not (not a))", 0, "a"),
        ("n >= 3", 0, "n < 3"),
        ("not n >= 3", 0, "n >= 3"),
        ("n != 2", 0, "n == 2"),
        ("not (a and n > 1)", 1, "not (a and n <= 1)"),
        ("not (a and b)", 1, "not (a and not b)"),
        ("rising a", 0, "not rising a"),
    ],
)
def test_a_contact_is_inverted_in_place(circuit: str, leaf: int, wanted: str) -> None:
    assert edited(circuit, lambda c: invert_contact(c, 2, leaf)) == wanted


@pytest.mark.parametrize(
    ("circuit", "leaf", "wanted"),
    [
        ("(a or b) and c", 0, "b and c"),
        ("(a or b)and c", 0, "b and c"),
        ("(a or b) and c", 2, "a or b"),
        ("not (a or b)", 1, "not a"),
        ("not (a or not b)", 0, "b"),
        ("not ((a or b) and c)", 2, "not (a or b)"),
        ("a and (b or a and c)", 1, "a and a and c"),
        ("(a and (b))or c", 0, "b or c"),
    ],
)
def test_a_deleted_contact_takes_its_idle_parentheses_along(
    circuit: str, leaf: int, wanted: str
) -> None:
    assert edited(circuit, lambda c: delete_contact(c, 2, leaf)) == wanted


@pytest.mark.parametrize(
    ("circuit", "leaf", "text", "wanted"),
    [
        ("not a", 0, "not b", "not b"),
        ("not a", 0, "b", "b"),
        ("not (a and b)", 0, "c", "not (not c and b)"),
        ("not (a and b)", 0, "not n >= 2", "not (n >= 2 and b)"),
        ("not (a and not b)", 1, "c", "not (a and not c)"),
        ("rising # here\n a", 0, "falling b", "falling b # here\n"),
    ],
)
def test_the_ladder_shows_what_is_put_in_the_place_of_a_contact(
    circuit: str, leaf: int, text: str, wanted: str
) -> None:
    got = edited(circuit, lambda c: replace_contact(c, 2, leaf, text))
    assert got.rstrip() == wanted.rstrip()


def test_comments_stay_on_their_lines() -> None:
    circuit = "a and  # first\n    b  # second\n    and c  # third\n   "
    assert (
        edited(circuit, lambda c: delete_contact(c, 2, 1))
        == "a  # first\n    # second\n    and c  # third\n   "
    )
    assert (
        edited(circuit, lambda c: delete_contact(c, 2, 2))
        == "a and  # first\n    b  # second\n    # third\n   "
    )


def test_a_line_that_is_left_empty_goes() -> None:
    circuit = "a\n    and b\n    and c\n   "
    assert edited(circuit, lambda c: delete_contact(c, 2, 1)) == "a\n    and c\n   "
    circuit = "a and\n    b and\n    c"
    assert edited(circuit, lambda c: delete_contact(c, 2, 1)) == "a and\n    c"


@pytest.mark.parametrize("where", ["before", "after", "beside"])
@pytest.mark.parametrize("circuit", ["a", "not (a or b)", "a and b"])
def test_the_caret_stands_at_what_was_put_in(circuit: str, where: Where) -> None:
    checked = checked_of(f"{HEAD}rung {circuit} -> o\n")
    for change in (
        insert_contact(checked, 2, 0, "rising c", where),
        insert_at_rung(checked, 2, "rising c", where),
    ):
        assert isinstance(change, Change)
        assert (
            change.checked.source.text[change.caret :].removeprefix("not ").startswith("rising c")
        )


# --- what is refused --------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("text", "code"),
    [
        ("", "incomplete"),
        ("b and c", "syntax"),
        ("b -> o rung c", "syntax"),
        ("b # and", "syntax"),
        ('"label" b', "syntax"),
        ("b\nc", "syntax"),
        ("lamp", "unknown-name"),
        ("o >= 3", "wrong-kind"),
        ("broken b", "not-here"),
        ("(", "syntax"),
        ("b &&", "symbol-for-word"),
        ("\x00", "bad-character"),
        ("(" * (MAX_DEPTH + 1) + "b" + ")" * (MAX_DEPTH + 1), "too-deep"),
    ],
)
def test_text_that_is_no_contact_is_refused_with_the_place(text: str, code: str) -> None:
    checked = checked_of(f"{HEAD}rung a -> o\n")
    for outcome in (
        insert_contact(checked, 2, 0, text, "after"),
        replace_contact(checked, 2, 0, text),
        insert_at_rung(checked, 2, text, "beside"),
    ):
        assert isinstance(outcome, Finding)
        assert outcome.code == code
        assert outcome.fix
        assert len(HEAD) < outcome.span.start <= outcome.span.end <= len(checked.source.text)


@given(st.text(max_size=30))
@settings(max_examples=50)
def test_no_text_makes_an_edit_raise_or_leave_errors(text: str) -> None:
    checked = checked_of(f"{HEAD}rung a and not (b or c) -> o\n")
    for outcome in (
        insert_contact(checked, 2, 1, text, "beside"),
        replace_contact(checked, 2, 1, text),
    ):
        if isinstance(outcome, Change):
            assert outcome.checked.program is not None
            assert len(outcome.checked.program.rungs) == 2


def test_places_that_are_not_there_are_refused() -> None:
    checked = checked_of(f"{HEAD}rung a -> o\n")
    for rung, leaf in ((0, 0), (3, 0), (-1, 0), (2, 1), (2, -1)):
        for outcome in (invert_contact(checked, rung, leaf), delete_contact(checked, rung, leaf)):
            assert isinstance(outcome, Finding)
            assert outcome.code == "unknown-name"


def test_a_file_with_errors_can_be_edited_as_long_as_none_is_added() -> None:
    broken = checked_of(f"{HEAD}relay r\nrung a and r and lost -> o\nrung b ->\n")
    assert broken.program is None
    mended = delete_contact(broken, 2, 2)
    assert isinstance(mended, Change)
    assert "lost" not in mended.checked.source.text
    worse = insert_contact(broken, 2, 0, "gone", "after")
    assert isinstance(worse, Finding)
    assert "'gone'" in worse.message
    # another contact of the relay that nothing drives: that error is there already
    assert isinstance(insert_contact(broken, 2, 0, "not r", "after"), Change)


def test_the_program_of_the_texts_is_read_as_written() -> None:
    assert circuit_text(program_of(f"{HEAD}rung not (a or b) -> o").rungs[1].circuit) == (
        "not a and not b"
    )
