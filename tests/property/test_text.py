"""Whatever the text, there are findings and never an exception; formatting loses nothing."""

from __future__ import annotations

from pathlib import Path

from hypothesis import example, given, settings
from hypothesis import strategies as st
from hypothesis.extra.lark import from_lark
from lark import Lark

from rungs.findings import MAX_FINDINGS
from rungs.language.format import format_file
from rungs.language.parse import parse
from rungs.language.words import STATEMENTS, STEPS
from rungs.program.check import check
from rungs.shipped import shipped
from rungs.source import source_from_text
from tests.strategies import program_text, programs

BOATHOUSE = (shipped("demos") / "boathouse.rungs").read_text(encoding="utf-8")
CASES = Path(__file__).resolve().parents[1] / "cases"
# every statement, option and step of the language stands in one of these
PANELS = [
    path.read_text(encoding="utf-8")
    for path in (*sorted(shipped("demos").glob("*.rungs")), *sorted(CASES.glob("clean_*.rungs")))
]
WORDS = (
    *STATEMENTS,
    *STEPS,
    *[
        "and",
        "or",
        "not",
        "first_scan",
        "rising",
        "falling",
        "broken",
        "shorted",
        "steady",
        "latch",
        "unlatch",
        "impulse",
        "down",
    ],
    *[
        "reset",
        "at",
        "NO",
        "NC",
        "maintained",
        "momentary",
        "debounce",
        "wire",
        "load",
        "from",
        "to",
        "retained",
        "on-delay",
        "off",
    ],
    *[
        "on",
        "pulse",
        "flasher",
        "accumulating",
        "sunrise",
        "sunset",
        "daily",
        "between",
        "except",
        "holidays",
        "catch",
        "up",
    ],
    *[
        "when",
        "then",
        "within",
        "for",
        "->",
        "(",
        ")",
        ",",
        ".",
        "-",
        ">=",
        "5",
        "5s",
        "24",
        "V",
        "A",
        "19:00",
        "2026-11-25",
        "05-01",
        "Mon-Fri",
    ],
    *["a", "b", "lamp", "door", '"label"', '"open', "#", "\n", "\t", "é", "\u202e", "\x00"],
)


def assert_found_not_raised(text: str) -> None:
    """The findings of any text lie inside it, carry words, and stop a run if they must."""
    source = source_from_text(text)
    checked = check(source)
    assert len(checked.findings) <= MAX_FINDINGS
    for finding in checked.findings:
        assert 0 <= finding.span.start <= finding.span.end <= len(source.text) + 1
        assert finding.message
        place = source.position(finding.span.start)
        assert 1 <= place.line <= source.line_count
    errors = any(f.severity == "error" for f in checked.findings)
    assert errors == (checked.program is None)


@given(st.text(max_size=300))
@example("rung" + "(" * 100_000)
@example("rung " + "not (" * 300 + "a" + ")" * 300 + " -> b")
@example("rung " + " or ".join(["a"] * 3_000) + " -> b")
@example("timer t on-delay " + "9" * 5_000 + "s")
@example("counter c to " + "9" * 5_000)
@example("supply s " + "9" * 400 + " V 1 A")
@example("rung a -> \u0661")
@example('"')
@example("rung a -> b #")
@example("\ufeff\ufeffrelay a")
@example("relay a\rrelay b")
@example("\ud800")
def test_any_text_gives_findings_and_no_exception(text: str) -> None:
    assert_found_not_raised(text)


@given(st.lists(st.sampled_from(WORDS), max_size=60).map(" ".join))
def test_any_run_of_the_languages_own_words_gives_findings_and_no_exception(text: str) -> None:
    assert_found_not_raised(text)


@given(st.data())
def test_a_real_panel_with_a_stretch_cut_or_pasted_gives_findings_and_no_exception(
    data: st.DataObject,
) -> None:
    text = data.draw(st.sampled_from(PANELS))
    start = data.draw(st.integers(0, len(text)))
    end = data.draw(st.integers(start, min(len(text), start + 200)))
    pasted = data.draw(st.sampled_from(WORDS) | st.text(max_size=10))
    assert_found_not_raised(text[:start] + pasted + text[end:])


GRAMMAR = Lark((shipped("grammar") / "rungs.lark").read_text(encoding="utf-8"), parser="lalr")


@settings(max_examples=60)
@given(from_lark(GRAMMAR, start="statement"))
def test_text_drawn_from_the_grammar_gives_findings_and_no_exception(text: str) -> None:
    assert_found_not_raised(text)


@given(programs())
def test_programs_survive_printing_checking_formatting_and_checking_again(program: object) -> None:
    text = program_text(program)  # type: ignore[arg-type]  # a Program
    source = source_from_text(text)
    first = check(source)
    assert first.program is not None, first.findings
    assert first.program.devices == program.devices  # type: ignore[attr-defined]
    assert first.program.rungs == program.rungs  # type: ignore[attr-defined]
    formatted = source_from_text(format_file(first.file, source))
    second = check(formatted)
    assert second.file.statements == first.file.statements
    assert second.program == first.program
    assert format_file(second.file, formatted) == formatted.text


COMMENTS = st.text(
    st.characters(min_codepoint=32, max_codepoint=0x24F, exclude_categories=["Cc", "Cf"]),
    max_size=20,
)


@given(st.data())
def test_comments_anywhere_are_kept_in_order_and_formatting_is_idempotent(
    data: st.DataObject,
) -> None:
    lines = BOATHOUSE.split("\n")
    for number in data.draw(st.lists(st.integers(0, len(lines) - 1), unique=True, max_size=12)):
        comment = "#" + data.draw(COMMENTS)
        if data.draw(st.booleans()):
            lines[number] = lines[number] + data.draw(st.sampled_from(["", "  "])) + comment
        else:
            lines[number] = comment + "\n" * data.draw(st.integers(1, 3)) + lines[number]
    source = source_from_text("\n".join(lines))
    parsed = parse(source)
    assert parsed.findings == ()
    formatted = source_from_text(format_file(parsed.file, source))
    again = parse(formatted)
    assert again.file.statements == parsed.file.statements
    kept = [word.text for word in again.file.comments]
    assert kept == [word.text for word in parsed.file.comments]
    assert format_file(again.file, formatted) == formatted.text
