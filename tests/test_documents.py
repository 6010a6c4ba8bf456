"""What the documents say is true: their programs check, and their tables name what exists."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

import rungs.language
from rungs.cli.main import VERBS
from rungs.language.words import FORMS, STATEMENTS
from rungs.program.check import check
from rungs.scan.scenario import play
from rungs.source import source_from_text
from tests.helpers import program_of

ROOT = Path(__file__).resolve().parents[1]
REFERENCE = Path(rungs.language.__file__).parent / "reference.md"


def blocks(path: Path, kind: str) -> list[str]:
    text = path.read_text(encoding="utf-8").replace("\n   ", "\n")
    return re.findall(rf"```{kind}\n(.*?)```", text, re.DOTALL)


@pytest.mark.parametrize(
    ("path", "kind"), [(ROOT / "README.md", "rungs"), (REFERENCE, "")], ids=["README", "reference"]
)
def test_each_program_in_a_document_is_without_findings_and_its_scenarios_pass(
    path: Path, kind: str
) -> None:
    found = blocks(path, kind)
    assert found
    for text in found:
        checked = check(source_from_text(text))
        assert checked.findings == ()
        program = program_of(text)
        assert program.scenarios
        for scenario in program.scenarios:
            assert play(program, scenario).passed


def test_readme_begins_with_the_job_and_its_two_commands() -> None:
    text = (ROOT / "README.md").read_text(encoding="utf-8")
    commands = re.findall(r"^```\n(.*?)\n```", text, re.DOTALL | re.MULTILINE)
    assert commands[0].endswith("rungs demo")
    assert commands[1] == ".venv/bin/python -m pytest"
    # the continuous-integration script runs the second one as it stands
    assert commands[1] in (ROOT / ".ci" / "run").read_text(encoding="utf-8")


def test_every_statement_has_a_form_and_every_verb_an_explanation_in_a_document() -> None:
    assert set(FORMS) == set(STATEMENTS)
    reference = REFERENCE.read_text(encoding="utf-8")
    for word in STATEMENTS:
        assert f"`{word}" in reference
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    for verb in (
        *("narrate", "week", "panel", "wiring", "checkout", "pack", "restore"),
        "check",
        "test",
        "draw",
        "trace",
        "compile",
        "compare",
        "prove",
        "why",
        "boards",
        "explain",
        "demo",
    ):
        assert verb in VERBS
        assert f"rungs {verb}" in readme


@pytest.mark.parametrize("statement", [s for s in STATEMENTS if s != "scenario"])
def test_each_form_that_help_prints_can_be_written(statement: str) -> None:
    form = re.sub(r"\(.*?\)$", "", FORMS[statement])
    form = form.replace("SUPPLY", "main").replace("NAME", "thing")
    others = 'supply main 24 V 4 A\nsite zone "UTC" latitude 1 longitude 1\n'
    head = others if statement not in ("supply", "site") else ""
    text = head + "\n".join(f"input {name} at X{name}" for name in ("a", "b", "c"))
    text += f"\noutput lamp at R8\nrelay alarm\n{form}\n"
    if statement in ("timer", "counter", "relay"):
        text += "rung thing -> lamp\nrung a -> thing\n"
    checked = check(source_from_text(text))
    assert [f for f in checked.findings if f.severity == "error"] == []


def test_the_top_of_the_checkout_holds_what_belongs_there() -> None:
    if not (ROOT / ".git").exists():
        pytest.skip("not a checkout")
    allowed = {"README.md", "DEVELOPERS.md", "pyproject.toml", "rungs", "grammar", "tests", "demos"}
    shown = {path.name for path in ROOT.iterdir() if not path.name.startswith(".")}
    assert shown - {"__pycache__", "dist", "build"} == allowed


def test_the_words_of_a_comment_are_no_name_to_act_upon() -> None:
    # a device may be called like a word of the language, and a comment may stand behind it
    text = (
        "input rising at I1\noutput o at R1\nrung rising -> o\n"
        'scenario "pressed"\n    expect not rising  # the press is over\n    expect not o\n'
    )
    assert check(source_from_text(text)).findings == ()
