"""The table of findings: each code is shown by a case or made here, and each message reads well."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from rungs.cli.common import check_file
from rungs.files import decode
from rungs.findings import CODES, MAX_FINDINGS, Finding, in_order
from rungs.language.hints import HINTS, Hint
from rungs.language.parse import MAX_BYTES, MAX_LINES, parse
from rungs.program.build import MAX_DEVICES
from rungs.program.check import check
from rungs.scan.trace import read_stimulus
from rungs.shipped import shipped
from rungs.source import Span, source_from_text
from rungs.table.compile import Compiler
from rungs.table.reading import read_table
from rungs.table.truth import MAX_SIGNALS, truth_table
from tests.helpers import program_of
from tests.test_cases import CASES, expected, told
from tests.test_table_boards import MADE

Findings = tuple[Finding, ...]


def of_text(text: str) -> Findings:
    return check(source_from_text(text)).findings


def of_stimulus(text: str) -> Findings:
    program = program_of("input a at I1\noutput b at R1\nrung a -> b")
    return read_stimulus(source_from_text(text), program)[1]


def of_table(text: str) -> Findings:
    return truth_table(program_of(text))[1]


def _wide(signals: int) -> str:
    inputs = "".join(f"input i{n} at I{n}\n" for n in range(signals))
    circuit = " or ".join(f"i{n}" for n in range(signals))
    return f"{inputs}output lamp at R1\nrung {circuit} -> lamp"


def switching_findings() -> Findings:
    """Three programs that no switching table can hold, each for a reason of its own."""
    head = "input a at I1\ninput b at I2\noutput o at R1\nrelay r\n"
    texts = (
        head + "rung a -> latch r\nrung b and r -> o",
        head + "timer t on-delay 1s\nrung a and b -> t\nrung t -> o",
        head + "rung a and not o -> r\nrung r -> o",
    )
    return tuple(f for t in texts for f in Compiler(program_of(t)).table("switching")[1])


# codes that no panel file in the cases can raise: too large to keep, or of another file
DIRECT: dict[str, Callable[[], Findings]] = {
    "not-text": lambda: decode(b"input a at I1\n\xff\xfe", "panel.rungs")[1],
    "too-large": lambda: of_text("#" * (MAX_BYTES + 1)),
    "too-many": lambda: of_text("".join(f"relay r{n} " for n in range(MAX_DEVICES + 1))),
    "stimulus": lambda: of_stimulus("t_ms,a\n0,2\n"),
    "not-combinational": lambda: of_table("input a at I1\noutput b at R1\nrung a or b -> b"),
    "table-size": lambda: of_table(_wide(MAX_SIGNALS + 1)),
    **MADE,
    "table-file": lambda: read_table(source_from_text("{}", "t.json"))[1],
    **dict.fromkeys(
        ("switching-memory", "switching-timer", "switching-unsettled"), lambda: switching_findings()
    ),
    "no-outputs": lambda: Compiler(program_of("input a at I1")).table("truth")[1],
}


@pytest.fixture(scope="module")
def shown() -> dict[str, list[Finding]]:
    """Every finding of the cases and of DIRECT, by code."""
    found: dict[str, list[Finding]] = {}
    for path in CASES:
        for finding in _of_case(path):
            found.setdefault(finding.code, []).append(finding)
    for make in DIRECT.values():
        for finding in make():
            found.setdefault(finding.code, []).append(finding)
    return found


def _of_case(path: Path) -> Findings:
    return check_file(str(path)).findings


@pytest.mark.parametrize("code", CODES)
def test_a_code_has_a_case_of_its_name_or_is_made_here(code: str) -> None:
    if code in DIRECT:
        assert code in [finding.code for finding in DIRECT[code]()]
        return
    path = Path(__file__).parent / "cases" / f"{code}.rungs"
    assert path in CASES
    assert code in [case_code for case_code, _, _ in expected(path.read_text(encoding="utf-8"))]


def test_nothing_is_raised_that_the_table_does_not_list(shown: dict[str, list[Finding]]) -> None:
    assert set(shown) <= set(CODES)


def test_messages_are_plain_sentences(shown: dict[str, list[Finding]]) -> None:
    for finding in (f for found in shown.values() for f in found):
        message = finding.message
        # numbers and the words NO and NC are written as they stand in the file
        assert re.match(r"[a-z'\"0-9-]|NO and NC ", message), message
        assert not message.endswith("."), message
        assert "\n" not in message, message
        assert finding.effect == finding.effect.strip()
        assert finding.fix == finding.fix.strip()


def test_no_terminal_of_the_grammar_shows_in_a_message(shown: dict[str, list[Finding]]) -> None:
    grammar = (shipped("grammar") / "rungs.lark").read_text(encoding="utf-8")
    terminals = set(re.findall(r"^(_?[A-Z][A-Z_]+)(?:\.[0-9])?:", grammar, re.MULTILINE))
    assert {"ON_DELAY", "_ARROW", "NAME", "STRING"} <= terminals
    # NO and NC are words of the language; a fix may show a form in which a name has a place
    in_message = terminals - {"NO", "NC"}
    in_fix = in_message - {"NAME", "SUPPLY", "OUTPUT"}
    hinted = [Finding(h.code, h.message, Span(0, 0), fix=h.fix) for h in HINTS]
    for finding in [f for found in shown.values() for f in found] + hinted:
        said = set(re.findall(r"\w+", f"{finding.message} {finding.effect}"))
        assert not said & in_message, finding
        assert not set(re.findall(r"\w+", finding.fix)) & in_fix, finding


def test_every_error_says_what_it_does_or_what_to_write(shown: dict[str, list[Finding]]) -> None:
    for finding in (f for found in shown.values() for f in found):
        if finding.severity == "error":
            assert finding.effect or finding.fix, finding


def test_every_place_lies_in_the_text_and_has_a_width() -> None:
    for path in CASES:
        length = len(path.read_text(encoding="utf-8"))
        for finding in _of_case(path):
            for span in (finding.span, *(place for place, _ in finding.related)):
                assert 0 <= span.start < span.end <= length, (path.name, finding)


@pytest.mark.parametrize("code", CODES)
def test_a_code_is_explained(code: str) -> None:
    entry = CODES[code]
    assert re.fullmatch(r"[a-z]+(?:-[a-z]+)*", code)
    assert entry.title[0].islower()
    assert not entry.title.endswith(".")
    assert entry.text.endswith(".")
    assert bool(entry.example) == bool(entry.better)


EXAMPLES = [(hint, example) for hint in HINTS for example in hint.examples]


@pytest.mark.parametrize("hint, example", EXAMPLES, ids=[example for _, example in EXAMPLES])
def test_a_hint_is_reached_by_its_example(hint: Hint, example: str) -> None:
    findings = parse(source_from_text(example)).findings
    assert [f.message for f in findings[:1]] == [hint.message]


# the names of the examples, each with one that stands in no example
_OTHER = {
    "a": "float_1",
    "b": "valve_7",
    "c": "siren",
    "t": "pause",
    "h": "easter",
    "x": "Other",
    "lamp": "beacon",
    "late": "early",
    "door": "gate",
    "main": "panel",
    "2nd": "3rd",
    "I1": "X7",
    "R1": "K2",
}
_NAMES = re.compile(r"\b(?:" + "|".join(_OTHER) + r")\b(?!-delay)")


@pytest.mark.parametrize("hint, example", EXAMPLES, ids=[example for _, example in EXAMPLES])
def test_a_hint_does_not_hang_on_the_names_of_its_example(hint: Hint, example: str) -> None:
    renamed = _NAMES.sub(lambda match: _OTHER[match[0]], example)
    assert renamed != example or not _NAMES.search(example)
    findings = parse(source_from_text(renamed)).findings
    assert [f.message for f in findings[:1]] == [hint.message]


def test_a_file_with_too_many_lines_is_not_read() -> None:
    assert [f.code for f in of_text("\n" * MAX_LINES)] == ["too-large"]
    assert of_text("\n" * (MAX_LINES - 1)) == ()


def test_as_many_devices_as_the_limit_are_taken() -> None:
    found = of_text("".join(f"relay r{n} " for n in range(MAX_DEVICES)))
    assert "too-many" not in {finding.code for finding in found}


def test_bytes_that_are_no_text_are_told_by_their_offset() -> None:
    source, findings = decode(b"input a at I1\n\xff", "panel.rungs")
    assert source.text == ""
    assert [f.message for f in findings] == ["byte 14 of the file is no UTF-8 text"]


@pytest.mark.parametrize(
    "text, message",
    [
        ("", "the stimulus is empty"),
        ("t_ms,a\n", "the stimulus has no rows"),
        ("time,a\n0,1\n", "the first column is 'time', not 't_ms'"),
        ("t_ms,b\n0,1\n", "the column 'b' is not an input"),
        ("t_ms,aa\n0,1\n", "the column 'aa' is not declared"),
        ("t_ms,a,a\n0,1,1\n", "the column 'a' stands twice"),
        ("t_ms,a\n0\n", "the row has 1 cells and the header 2"),
        ("t_ms,a\n1.5,0\n", "'1.5' is not a time in whole ms"),
        ("t_ms,a\n0,on\n", "'on' in column 'a' is neither 0 nor 1"),
        ("t_ms,a\n20,0\n10,1\n", "the time runs back from 20 to 10 ms"),
    ],
)
def test_a_stimulus_that_cannot_be_played_says_why(text: str, message: str) -> None:
    findings = of_stimulus(text)
    assert [(f.code, f.message) for f in findings] == [("stimulus", message)]


@pytest.mark.parametrize(
    "rungs, reason",
    [
        ("rung a or lamp -> lamp", "on a contact of its own coil, which holds it in (seal-in)"),
        ("rung rising a -> lamp", "through 'a' on a rising edge, which compares two scans"),
        ("rung first_scan -> lamp", "through the power-up on the first scan"),
        ("rung a -> latch lamp rung not a -> unlatch lamp", "on a latch, which remembers"),
        ("timer t on-delay 1s rung a -> t rung t -> lamp", "through 't' on a timer or counter"),
    ],
)
def test_an_output_without_a_truth_table_says_why(rungs: str, reason: str) -> None:
    (finding,) = of_table(f"input a at I1 output lamp at R1 {rungs}")
    assert finding.code == "not-combinational"
    assert finding.message.startswith(f"'lamp' has no truth table: it depends {reason}")


def test_the_first_hundred_findings_are_kept_and_errors_before_warnings() -> None:
    text = "".join(f"input i{n} at I{n}\n" for n in range(150)) + "rung nobody -> nothing\n"
    findings = of_text(text)
    assert [f.code for f in findings] == ["unknown-name", "unknown-name"]
    notes = [Finding("unused-input", f"nothing reads 'i{n}'", Span(n, n + 1)) for n in range(150)]
    error = Finding("unknown-name", "'x' is not declared", Span(500, 501))
    kept = in_order([*notes, *notes, error])
    assert len(kept) == MAX_FINDINGS
    assert kept[-1] == error
    assert list(kept[:-1]) == notes[: MAX_FINDINGS - 1]


def test_a_name_that_was_damaged_by_its_own_error_is_not_unknown() -> None:
    text = "input door at I1 debounce 30\noutput lamp at R1\nrung door -> lamp\n"
    checked = check(source_from_text(text))
    assert told(checked.findings, checked.source) == [
        ("missing-unit", "a length of time needs its unit", 1)
    ]


def test_reading_stops_at_the_first_hundred_findings() -> None:
    source = source_from_text("rung a ->\n" * 2_000)
    assert len(parse(source).findings) == MAX_FINDINGS
    assert [f.span.start for f in check(source).findings] == sorted(
        f.span.start for f in parse(source).findings
    )


@pytest.mark.parametrize("word", ["down", "reset", "latch", "impulse"])
def test_an_action_word_is_a_good_name_for_a_device_before_an_assumption(word: str) -> None:
    text = f"input a at I1\noutput b at R1\noutput {word} at R2\nrung a -> b\nrung a -> {word}\n"
    checked = check(source_from_text(text + "assume never b\n"))
    assert checked.program is not None
    assert [action.verb for rung in checked.program.rungs for action in rung.actions] == [
        "coil",
        "coil",
    ]
    assert [item.kind for item in checked.program.properties] == ["assume"]
