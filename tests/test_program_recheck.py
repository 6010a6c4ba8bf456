"""Checking again after an edit gives what a fresh check gives, down to the last offset.

Sequences of edits run over demos, faulty demos, case files and random programs. Offsets take no
part in comparisons of nodes, so outcomes are compared by their whole text, offsets included.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator
from dataclasses import fields, is_dataclass, replace
from pathlib import Path
from random import Random
from typing import Any

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings
from lark.exceptions import UnexpectedInput
from lark.utils import TextSlice

from rungs.findings import Finding
from rungs.language import parse as reading
from rungs.language.parse import MAX_BYTES, MAX_DEPTH, MAX_LINES, heads_of, machine, parse
from rungs.language.reparse import MOVES, Rereader
from rungs.language.tree import Declaration, Plain, RungTree, Word
from rungs.language.words import STATEMENTS
from rungs.program.check import Checked, check
from rungs.program.recheck import Rechecker
from rungs.program.rules import Facts
from rungs.program.worlds import possible
from rungs.source import Span, source_from_text
from tests.benchmarks.measure import ladder_text
from tests.helpers import program_of
from tests.strategies import program_text, random_program

ROOT = Path(__file__).resolve().parents[1]
FILES = [
    *sorted((ROOT / "demos").glob("*.rungs")),
    *sorted((ROOT / "demos" / "faulty").glob("*.rungs")),
    *sorted((ROOT / "tests" / "cases").glob("*.rungs")),
]

# Names that are words of the language, statements that go on behind a line that could begin one,
# words whose meaning hangs on what follows, and what no file may hold.
FRAGMENTS = (
    *("\n", " ", "\t", "(", ")", '"', "->", ",", "#", ".", "=", ">= 3", " and ", " or ", " not "),
    *("\nrung a -> b\n", "\nrung a ->\n", "\nrung a or\n", "\nrung\n", "\ninput", "\ntimer\n"),
    *("\nrung a -> latch\n", "\nrung a -> latch\ntimer", "latch input\n", " latch\n# x\n\n"),
    *("\nrung rising\n-> b\n", " rising ", "\nnever rising\n", "\nrung broken and\nrelay -> b"),
    *("\nassume\nnever a\n", "\nrung a -> latch assume\nnever b\n", "\nassume never", " reset"),
    *('\nscenario "x"\n  expect steady\n', '\nscenario "y"\n  expect steady for\n for 5s\n'),
    *('\nscenario "z"\n  begin 10:00\n  wiat 5s\n  wait 5s\n', "\n  expect a within 5\n"),
    *(
        "\ninput a at I1\n",
        "\noutput b at R1 # lamp\n",
        "\nrelay latch\nrelay rising\nrelay timer\n",
    ),
    *("\ninput door switch at I7\n", "\nrelay A\n", "\ncounter a to 3\n", "\nrelay " + "n" * 61),
    *("\nclock a from 10:00 to 10:00\n", '\nsite zone "Nowhere"\n', "\ntimer a on-delay 0s"),
    *("ü", "☃", "\u202e", "\x0c", "\x07", "\u00a0", "\ud800", "“x”", "# latch", '# ( " ('),
    *("(" * 40, ")" * 40, "(" * 70, "not (" * 30 + "a" + ")" * 30),
)
_WORDS = re.compile(r'"[^"\n]*"|#[^\n]*|->|\w+|[^\w\s]')
_SWAPS = (
    "and",
    "or",
    "not",
    "rung",
    "timer",
    "latch",
    "rising",
    "a",
    "->",
    "never",
    "5s",
    "expect",
)

Edit = Callable[[Random, str], str]


def _stretch(rng: Random, text: str, longest: int = 60) -> tuple[int, int]:
    start = rng.randint(0, len(text))
    return start, min(len(text), start + rng.randint(0, longest))


def _insert(rng: Random, text: str) -> str:
    at = rng.randint(0, len(text))
    return text[:at] + rng.choice(FRAGMENTS) + text[at:]


def _insert_line(rng: Random, text: str) -> str:
    at = text.find("\n", rng.randint(0, len(text))) + 1
    return text[:at] + rng.choice(FRAGMENTS) + text[at:]


def _delete(rng: Random, text: str) -> str:
    start, end = _stretch(rng, text)
    return text[:start] + text[end:]


def _delete_one(rng: Random, text: str) -> str:
    start, end = _stretch(rng, text, 1)
    return text[:start] + text[end:]


def _replace(rng: Random, text: str) -> str:
    start, end = _stretch(rng, text)
    return text[:start] + rng.choice(FRAGMENTS) + text[end:]


def _move(rng: Random, text: str) -> str:
    start, end = _stretch(rng, text, 200)
    rest = text[:start] + text[end:]
    at = rng.randint(0, len(rest))
    return rest[:at] + text[start:end] + rest[at:]


def _swap_word(rng: Random, text: str) -> str:
    words = list(_WORDS.finditer(text))
    if not words:
        return text
    word = rng.choice(words)
    return text[: word.start()] + rng.choice(("", "", *_SWAPS)) + text[word.end() :]


def _drop_sign(rng: Random, text: str) -> str:
    signs = list(re.finditer(r'[()",]|->', text))
    if not signs:
        return text
    sign = rng.choice(signs)
    return text[: sign.start()] + text[sign.end() :]


def _rename(rng: Random, text: str) -> str:
    """Another name for a device where it is declared, or where it is used too."""
    names = re.findall(
        r"^\s*(?:input|output|relay|timer|counter|clock)\s+(\w+)", text, re.MULTILINE
    )
    if not names:
        return text
    name = rng.choice(names)
    other = rng.choice((name + "x", name[:-1], name.upper(), "latch", "timer", rng.choice(names)))
    return re.sub(rf"\b{name}\b", other, text, count=rng.choice((0, 1, 1, 1)))


def _statements(text: str) -> list[tuple[int, int]]:
    heads = heads_of(text, 0, len(text))
    return list(zip(heads, [*heads[1:], len(text)], strict=True))


def _double(rng: Random, text: str) -> str:
    start, end = rng.choice(_statements(text))
    _, at = rng.choice(_statements(text))
    return text[:at] + text[start:end] + text[at:]


def _cut_in_half(rng: Random, text: str) -> str:
    start, end = rng.choice(_statements(text))
    middle = rng.randint(start, end)
    return text[:middle] + rng.choice(("", "\n")) + text[end:]


def _drop_statement(rng: Random, text: str) -> str:
    start, end = rng.choice(_statements(text))
    return text[:start] + text[end:]


def _order(rng: Random, text: str) -> str:
    parts = [text[start:end] for start, end in _statements(text)]
    one, other = rng.randrange(len(parts)), rng.randrange(len(parts))
    parts[one], parts[other] = parts[other], parts[one]
    return "".join(parts)


EDITS: tuple[Edit, ...] = (
    *(_insert, _insert_line, _delete, _delete_one, _replace, _move, _swap_word, _drop_sign),
    *(_rename, _double, _cut_in_half, _drop_statement, _order),
)


def typed(rng: Random, text: str) -> Iterator[str]:
    """A statement written character by character at the start of some line."""
    start, end = rng.choice(_statements(text))
    _, at = rng.choice(_statements(text))
    for length in range(1, min(end - start, 60) + 1):
        yield text[:at] + text[start : start + length] + text[at:]


def sequence(rng: Random, text: str, steps: int) -> Iterator[str]:
    """Texts that follow from each other; now and then one is undone, or starts afresh."""
    first, before = text, text
    for _ in range(steps):
        if rng.random() < 0.12:
            text, before = before, text
        elif rng.random() < 0.06:
            before, text = text, first
        else:
            before, text = text, rng.choice(EDITS)(rng, text)
            if len(text) > 3 * len(first) + 2_000:
                text = first
        yield text


def printed(checked: Checked) -> str:
    # a dataclass prints all its fields, those too that take no part in comparisons; a set has no
    # order of its own
    return repr(replace(checked, file=replace(checked.file, damaged=frozenset())))


def assert_same(again: Checked, fresh: Checked) -> None:
    assert printed(again) == printed(fresh)
    assert again == fresh


def follow(texts: Iterator[str]) -> int:
    """Check the texts one after the other, each also afresh; how many there were."""
    rechecker = Rechecker()
    count = 0
    for text in texts:
        source = source_from_text(text)
        assert_same(rechecker.check(source), check(source))
        reader = rechecker._reader
        if reader._text == text:  # it remembers no text that is refused
            assert reader._heads == heads_of(text, 0, len(text))
        count += 1
    return count


def text_of(path: Path) -> str:
    return path.read_text(encoding="utf-8")


@pytest.mark.parametrize("seed", range(4))
def test_edits_of_the_files_at_hand_give_what_a_fresh_check_gives(seed: int) -> None:
    rng = Random(seed)
    for path in rng.sample(FILES, 12):
        assert follow(sequence(rng, text_of(path), 8)) == 8


@pytest.mark.parametrize("seed", range(3))
def test_edits_of_random_programs_give_what_a_fresh_check_gives(seed: int) -> None:
    rng = Random(seed)
    text = program_text(random_program(rng, 8))
    assert follow(sequence(rng, text, 40)) == 40


@pytest.mark.parametrize("seed", range(3))
def test_statements_typed_character_by_character_give_what_a_fresh_check_gives(seed: int) -> None:
    rng = Random(100 + seed)
    text = text_of(rng.choice(FILES[:8]))
    assert follow(typed(rng, text)) > 0


@given(st.randoms(use_true_random=False), st.sampled_from(FILES), st.integers(1, 6))
@settings(max_examples=40)
def test_any_sequence_of_edits_gives_what_a_fresh_check_gives(
    rng: Random, path: Path, steps: int
) -> None:
    follow(sequence(rng, text_of(path), steps))


@given(st.lists(st.lists(st.sampled_from((*FRAGMENTS, *_SWAPS)), max_size=8), max_size=6))
@settings(max_examples=60)
def test_texts_that_have_nothing_in_common_give_what_a_fresh_check_gives(
    texts: list[list[str]],
) -> None:
    follow(" ".join(words) for words in texts)


def test_one_rechecker_may_be_given_one_file_after_the_other() -> None:
    assert follow(text_of(path) for path in FILES) == len(FILES)


LOGIC = "input a at I1\ninput b at I2\noutput c at R1\n"
JOINED = LOGIC + f"relay timer\nrung {'(' * 40}a or\ntimer and {'(' * 40}a{')' * 80} -> c\n"


@pytest.mark.parametrize(
    "texts",
    [
        # the whole file reads `latch` as a verb here, a piece by itself as a name
        (LOGIC + "rung a -> latch\ntimer", LOGIC + "rung a -> latch\ntimer t on-delay 5s"),
        (LOGIC + "rung a -> latch\ntimer", LOGIC + "runk\nrung a -> latch\ntimer"),
        (LOGIC + "relay timer\nrung a or\ntimer -> c", LOGIC + "relay timer\nrung a or\ntimer ->"),
        (LOGIC + "relay timer\nrung a or\ntimer -> c", LOGIC + "relay timr\nrung a or\ntimer -> c"),
        (LOGIC + "rung rising a -> c\n", LOGIC + "rung rising b -> c\nrung rising a -> c\n"),
        (LOGIC + "rung (a) -> c\n", LOGIC + "rung " + "(" * 65 + "a" + ")" * 65 + " -> c\n"),
        (LOGIC + "rung a -> c\n", "", LOGIC + "rung a -> c\n", "\n", "rung a -> c"),
        (LOGIC + "rung a -> c\n", LOGIC + "rung a\f -> c\n", LOGIC + "rung b -> c\n"),
        (LOGIC + "rung a -> c\n", LOGIC.replace("I2", 'I2 "ü\t"') + "rung a -> c\n"),
        ("input a\ninput a at I1\nrung a -> b", "input a at I1\ninput a\nrung a -> b"),
        (LOGIC + "rung a -> c", LOGIC + "rung a -> c\n" + "x" * MAX_BYTES, LOGIC + "rung b -> c"),
        (LOGIC + "rung a -> c", LOGIC + "rung a -> c" + "\n" * MAX_LINES, LOGIC + "rung b -> c"),
        (LOGIC, LOGIC + "rung not\n" * 120, LOGIC + "rung not\n" * 90),
        (
            "clock k from 10:00 to 11:00\noutput c at R1\nrung k -> c",
            "clock k from 10:00 to 10:00\noutput c at R1\nrung k -> c",
        ),
        (
            LOGIC + "counter k to 3\nrung a -> k\nrung k >= 2 and not k -> c",
            LOGIC + "counter k to 2\nrung a -> k\nrung k >= 2 and not k -> c",
        ),
        (
            LOGIC + "timer t pulse 5s\nrung a -> t\nrung t and t.timing -> c",
            LOGIC + "timer t on-delay 5s\nrung a -> t\nrung t and t.timing -> c",
        ),
        # a piece that cannot be read by itself hangs on those that it looks into
        (
            LOGIC + "relay timer\nrung -> c\nrung a or\n",
            LOGIC + "relay timer\nrung -> c\nrung a or\ntimer -> c\n",
            LOGIC + "relay timer\nrung -> c\nrung a or\ntimer -> b\n",
        ),
        # what is too deep is asked of joined pieces only if one of the file is too deep
        (
            JOINED + "rung -> c\n",
            JOINED + "rung -> c\nnever " + "(" * 66 + "a" + ")" * 66,
        ),
        ("rung -> c\n" * 120 + "relay z\n", "rung -> c\n" * 90 + "relay z\n"),
        (
            LOGIC + "relay latch\nrelay assume\nrung a -> latch assume\nnever b\n",
            LOGIC + "relay latch\nrelay assume\nrung a -> latch assume\nrung b -> c\n",
        ),
        (
            LOGIC + 'never a and b\nscenario "x"\n  expect not a and a\n',
            LOGIC + 'never a and not a\nscenario "x"\n  expect a\n',
        ),
        (
            LOGIC + "counter k to 3\nrung a -> k\nrung k >= 0 -> c\nnever first_scan",
            LOGIC + "counter k to 3\nrung a -> k\nrung k >= 4 -> c\nnever first_scan",
        ),
        ("  rung a -> c\n" + LOGIC, LOGIC, "never a\n" + LOGIC, "a\n" + LOGIC),
    ],
)
def test_what_hangs_on_more_than_one_statement_is_asked_again(texts: tuple[str, ...]) -> None:
    assert follow(iter((*texts, *reversed(texts), texts[0]))) == 2 * len(texts) + 1


@pytest.mark.parametrize("seed", range(40))
def test_what_a_circuit_can_do_is_told_as_the_question_itself_tells_it(seed: int) -> None:
    rng = Random(seed)
    program = random_program(rng, 10)
    facts = Facts(program)
    assert facts.rungs
    for known in (*facts.rungs, *facts.others):
        assert facts.able(known) == possible(known.circuit, program)


def test_every_kind_of_contact_by_itself_can_close_and_open_but_for_an_empty_window() -> None:
    kinds = ("on-delay 5s", "off-delay 5s", "pulse 5s", "accumulating 5s", "flasher 1s on 1s off")
    text = LOGIC + "clock k from 10:00 to 10:00\ncounter n to 1\nrung a -> n\n"
    contacts = ["not k and a", "n", "rising n", "a", "first_scan", "falling b", "n >= 0", "k"]
    for number, kind in enumerate(kinds):
        text += f"timer t{number} {kind}\nrung a -> t{number}\n"
        contacts += [f"t{number}.timing", f"t{number}"]
    text += "".join(f"always {contact}\n" for contact in contacts)
    text += "never broken a\nnever shorted b\nalways c.load\n"
    program = program_of(text)
    facts = Facts(program)
    told = [facts.able(known) for known in facts.others]
    assert told == [possible(item.circuit, program) for item in program.properties]
    assert told.count((True, True)) == len(told) - 2
    assert (told[6], told[7]) == ((True, False), (False, True))


def test_line_endings_and_marks_of_the_file_are_those_of_the_text_checked() -> None:
    rechecker = Rechecker()
    text = LOGIC + 'never "both" a and b\nrung a -> c\n'
    for stored in (text, "\ufeff" + text.replace("\n", "\r\n"), text.replace("\n", "\r\n", 2)):
        source = source_from_text(stored)
        assert_same(rechecker.check(source), check(source))


def _nodes(value: object) -> Iterator[object]:
    if isinstance(value, tuple):
        for part in value:
            yield from _nodes(part)
    elif is_dataclass(value) and not isinstance(value, type):
        yield value
        for field in fields(value):
            yield from _nodes(getattr(value, field.name))


def test_what_was_handed_out_before_stays_as_it_was() -> None:
    rechecker = Rechecker()
    text = text_of(ROOT / "demos" / "boathouse.rungs")
    first = rechecker.check(source_from_text(text))
    before = printed(first)
    for change in ("# a new head\n", "input extra at I99\n", "rung extra -> \n"):
        rechecker.check(source_from_text(change + text))
    assert printed(first) == before


def test_moved_nodes_are_as_frozen_as_those_that_were_built() -> None:
    rechecker = Rechecker()
    text = text_of(ROOT / "demos" / "boathouse.rungs")
    rechecker.check(source_from_text(text))
    moved = rechecker.check(source_from_text("\n" + text))
    assert moved.program is not None
    seen = set()
    for node in (*_nodes(moved.file.statements), *_nodes(moved.program.rungs)):
        seen.add(type(node))
        name = fields(node)[0].name  # type: ignore[arg-type]  # a dataclass
        with pytest.raises(AttributeError):
            setattr(node, name, None)
    assert {Span, Word, Plain, RungTree, Declaration} <= seen


def test_statements_that_were_not_edited_are_not_made_again() -> None:
    text = ladder_text(20)
    head, tail = text.rsplit("rung", 1)
    rechecker = Rechecker()
    before = rechecker.check(source_from_text(text))
    after = rechecker.check(source_from_text(head + "rung # edited" + tail))
    assert before.program is not None
    assert after.program is not None
    # the piece above the edited line is found again by its text
    same = [a is b for a, b in zip(before.program.rungs, after.program.rungs, strict=True)]
    assert same == [True] * 19 + [False]
    same = [a is b for a, b in zip(before.file.statements, after.file.statements, strict=True)]
    assert same.count(False) == 1


def test_only_one_text_is_remembered() -> None:
    reader = Rereader()
    for number in range(20):
        reader.read(source_from_text("".join(f"rung a{number} ->\n" for _ in range(number + 1))))
    assert sum(len(piece.text) for piece in reader._pieces) == len(reader._text)
    # what was looked at may be held by what looked, and holds nothing further
    reader.read(source_from_text("rung a or\ntimer ->\nrung ->\n"))
    reader.read(source_from_text("rung a or\ntimer -> c\n"))
    held = [piece.broken for piece in reader._pieces if piece.broken is not None]
    gone = [piece for broken in held for piece in broken.seen if piece not in reader._pieces]
    assert gone
    assert all(piece.broken is None for piece in gone)


def test_a_move_shifts_every_span_and_nothing_else() -> None:
    finding = Finding("syntax", "m", Span(3, 5), "e", "f", ((Span(0, 1), "x"), (Span(7, 9), "y")))
    moved = MOVES[Finding](finding, 10, 0)
    related = ((Span(10, 11), "x"), (Span(17, 19), "y"))
    assert moved == Finding("syntax", "m", Span(13, 15), "e", "f", related)
    assert MOVES[Span](Span(1, 2), -1, 0) == Span(0, 1)


# --- the loop over Lark's tables ---------------------------------------------------------------


def _by_lark(text: str) -> Any:
    # Lark's stubs know text only as str
    return reading._parser().parse(TextSlice(text, 0, len(text)))


@pytest.mark.parametrize("path", FILES, ids=lambda path: path.stem)
def test_the_machine_reads_what_lark_reads(path: Path) -> None:
    text = text_of(path)
    run = machine().run(text, 0, len(text))
    if run is None:
        with pytest.raises(UnexpectedInput):
            _by_lark(text)
    else:
        assert repr(run.statements) == repr(_by_lark(text))


@given(st.lists(st.sampled_from((*FRAGMENTS, *_SWAPS)), max_size=10))
@settings(max_examples=60)
def test_the_machine_refuses_exactly_what_lark_refuses(words: list[str]) -> None:
    text = "rung " + " ".join(words)
    run = machine().run(text, 0, len(text))
    try:
        tree = _by_lark(text)
    except UnexpectedInput:
        assert run is None
    else:
        assert run is not None
        assert repr(run.statements) == repr(tree)


def test_a_run_stops_before_the_statement_that_it_was_told_to_stop_at() -> None:
    text = "rung a -> b rung c -> d\n  rung e -> f\nrung g -> h"
    second, third = text.index("  rung e"), text.index("rung g")
    run = machine().run(text, 0, len(text), 1)
    assert run is not None
    assert (len(run.statements), run.stop) == (2, second)
    run = machine().run(text, 0, len(text), second + 3)
    assert run is not None
    assert (len(run.statements), run.stop) == (3, third)


def test_where_a_statement_may_end_the_next_keyword_ends_it_as_the_end_of_the_text_does() -> None:
    # this is why a piece that can be read by itself is read alike within the file
    grammar = machine()
    kinds = [word.upper() for word in STATEMENTS]
    ends = [state for state, (_, _, acts) in grammar.states.items() if "$END" in acts]
    assert len(ends) > 20
    boundaries = 0
    for state in ends:
        match, names, acts = grammar.states[state]
        if all(isinstance(acts.get(kind), int) for kind in kinds):
            boundaries += 1  # a statement begins here
        else:
            assert state == grammar.last or all(acts.get(k) == acts["$END"] for k in kinds), state
        for word in STATEMENTS if state != grammar.last else ():
            found = match(word + "\n", 0, len(word) + 1)
            assert found is not None
            assert (names[found.lastindex or 0], found[found.lastindex or 0]) == (
                word.upper(),
                word,
            )
    assert boundaries == 2


@pytest.mark.parametrize("depth", [MAX_DEPTH, MAX_DEPTH + 1])
def test_depth_is_limited_alike_after_an_edit(depth: int) -> None:
    rechecker = Rechecker()
    rechecker.check(source_from_text(LOGIC + "rung a -> c\nrung b -> c"))
    text = LOGIC + "rung " + "(" * depth + "a" + ")" * depth + " -> c\nrung b ->\n"
    source = source_from_text(text)
    again = rechecker.check(source)
    assert_same(again, check(source))
    assert ("too-deep" in {f.code for f in again.findings}) == (depth > MAX_DEPTH)


def test_a_text_read_again_has_the_tree_that_a_fresh_reading_has() -> None:
    reader = Rereader()
    for text in (LOGIC + "rung a -> c # x\n", "# y\n" + LOGIC + "rung a ->\n# z\n", LOGIC):
        source = source_from_text(text)
        parsed, parts = reader.read(source)
        fresh = parse(source)
        assert repr(parsed.file.statements) == repr(fresh.file.statements)
        assert repr(parsed.file.comments) == repr(fresh.file.comments)
        assert (parsed.file.damaged, parsed.findings) == (fresh.file.damaged, fresh.findings)
        assert [s for part in parts for s in part.statements] == list(parsed.file.statements)
