"""The case files: what the checker says of a text, and that the text survives the formatter.

Each expected finding stands as `# finding: [code] "message"` on the line above the place that it
points at, so that a case reads as a panel with the checker's remarks written into it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import fields, is_dataclass
from pathlib import Path

import pytest

from rungs.cli.common import check_file
from rungs.findings import Finding
from rungs.language.format import format_file
from rungs.language.parse import MAX_DEPTH, parse
from rungs.program.check import check
from rungs.program.nodes import Contact, Parallel, Program, Series, leaves
from rungs.source import NOWHERE, Source, Span, source_from_text
from tests.helpers import program_of

CASES = sorted((Path(__file__).parent / "cases").glob("*.rungs"))
EXPECTED = re.compile(r'\s*# finding: \[([a-z-]+)\] "(.*)"$')

Told = tuple[str, str, int]  # code, message, line


def source_of(path: Path) -> Source:
    return source_from_text(path.read_text(encoding="utf-8"))


def each(paths: list[Path]) -> pytest.MarkDecorator:
    assert paths
    return pytest.mark.parametrize("path", paths, ids=lambda path: path.stem)


each_case = each(CASES)
each_readable_case = each([path for path in CASES if not parse(source_of(path)).findings])
each_running_case = each([path for path in CASES if check(source_of(path)).program is not None])


def expected(text: str) -> list[Told]:
    """The findings that a case announces, each with the line that it points at."""
    waiting: list[tuple[str, str]] = []
    found: list[Told] = []
    for number, line in enumerate(text.split("\n"), 1):
        match = EXPECTED.match(line)
        if match:
            waiting.append((match[1], match[2]))
        else:
            found += [(code, message, number) for code, message in waiting]
            waiting = []
    return found


def told(findings: tuple[Finding, ...], source: Source) -> list[Told]:
    return [(f.code, f.message, source.position(f.span.start).line) for f in findings]


@each_case
def test_a_case_raises_exactly_the_findings_written_into_it(path: Path) -> None:
    checked = check_file(str(path))
    assert told(checked.findings, checked.source) == expected(path.read_text(encoding="utf-8"))


@each_case
def test_a_case_says_the_same_with_other_line_endings_and_a_byte_order_mark(path: Path) -> None:
    text = path.read_text(encoding="utf-8")
    plain = check(source_from_text(text))
    windows = check(source_from_text("\ufeff" + text.replace("\n", "\r\n")))
    assert told(windows.findings, windows.source) == told(plain.findings, plain.source)
    assert windows.file == plain.file
    assert windows.program == plain.program
    stored = windows.source.encode(windows.source.text)
    assert stored == b"\xef\xbb\xbf" + text.replace("\n", "\r\n").encode()


@each_readable_case
def test_a_case_keeps_its_tree_and_its_comments_when_it_is_formatted(path: Path) -> None:
    source = source_of(path)
    parsed = parse(source)
    once = source_from_text(format_file(parsed.file, source))
    again = parse(once)
    assert again.findings == ()
    assert again.file.statements == parsed.file.statements
    assert [c.text for c in again.file.comments] == [c.text for c in parsed.file.comments]
    assert format_file(again.file, once) == once.text


@each_running_case
def test_a_case_means_the_same_when_it_is_formatted(path: Path) -> None:
    source = source_of(path)
    before = check(source)
    assert before.program is not None
    after = check(source_from_text(format_file(before.file, source)))
    assert after.program is not None
    # a property without a label is called by its own text, whose layout may change
    assert _unlabelled(after.program) == _unlabelled(before.program)
    assert [f.message for f in after.findings] == [f.message for f in before.findings]


def _unlabelled(program: Program) -> list[object]:
    properties = [(p.kind, p.circuit, p.when, p.within) for p in program.properties]
    rest = (program.devices, program.rungs, program.scenarios, program.holidays, program.supplies)
    return [properties, program.site, program.title, program.edges, *rest]


@each_running_case
def test_every_node_of_a_case_knows_its_place(path: Path) -> None:
    program = check(source_of(path)).program
    assert program is not None
    length = len(program.source.text)
    parts = (program.devices, program.rungs, program.properties, program.scenarios)
    spans = list(_spans(parts))
    assert spans or not any(parts)
    for node, span in spans:
        assert span != NOWHERE, node
        assert 0 <= span.start < span.end <= length, node


def _spans(node: object) -> Iterator[tuple[object, Span]]:
    if isinstance(node, tuple):
        for part in node:
            yield from _spans(part)
    elif is_dataclass(node):
        for field in fields(node):
            value = getattr(node, field.name)
            if isinstance(value, Span):
                yield node, value
            else:
                yield from _spans(value)


def test_a_label_keeps_its_text_whatever_alphabet_it_is_in() -> None:
    program = program_of('input a at I1 "Tür / дверь / ☃"\noutput b at R1\nrung a -> b\n')
    assert program.inputs[0].label == "Tür / дверь / ☃"


def test_parentheses_may_nest_to_the_limit_and_no_deeper() -> None:
    declared = "input a at I1\noutput b at R1\nrung "
    deepest = declared + "(" * MAX_DEPTH + "a" + ")" * MAX_DEPTH + " -> b"
    assert program_of(deepest).rungs[0].circuit == Contact("closed", "a")
    for depth in (MAX_DEPTH + 1, 1_000, 100_000):
        text = declared + "not (" * depth + "a" + ")" * depth + " -> b"
        assert [f.code for f in check(source_from_text(text)).findings] == ["too-deep"]


def test_a_long_chain_is_not_a_deep_one() -> None:
    text = "input a at I1\noutput b at R1\nrung " + " or ".join(["a"] * 5_000) + " -> b"
    assert len(leaves(program_of(text).rungs[0].circuit)) == 5_000


def test_not_before_a_parenthesis_is_carried_to_the_contacts() -> None:
    text = "input a at I1\ninput b at I2\noutput c at R1\nrung not (a and not b) -> c"
    parts = (Contact("closed", "a", negated=True), Contact("closed", "b"))
    assert program_of(text).rungs[0].circuit == Parallel(parts)


def test_and_binds_tighter_than_or() -> None:
    text = "input a at I1\ninput b at I2\noutput c at R1\nrung a or b and not a -> c"
    a, b = Contact("closed", "a"), Contact("closed", "b")
    series = Series((b, Contact("closed", "a", negated=True)))
    assert program_of(text).rungs[0].circuit == Parallel((a, series))


def test_durations_are_whole_milliseconds() -> None:
    path = Path(__file__).parent / "cases" / "clean_durations.rungs"
    program = program_of(path.read_text(encoding="utf-8"))
    day, hour, minute = 86_400_000, 3_600_000, 60_000
    assert [timer.preset for timer in program.timers] == [
        250,
        30_000,
        5 * minute,
        2 * hour,
        7 * day,
        hour + 30 * minute,
        day + 2 * hour + 3 * minute + 4_005,
        366 * day,
        366 * day,
        90_000,
    ]
    assert program.timers[-1].off == 500


def test_every_file_of_the_cases_is_read() -> None:
    # a case that announces findings in another spelling would expect none
    for path in CASES:
        text = path.read_text(encoding="utf-8")
        announced = sum("# finding" in line for line in text.split("\n"))
        assert announced == len(expected(text)), path.name
        assert (announced == 0) == path.stem.startswith("clean_"), path.name
