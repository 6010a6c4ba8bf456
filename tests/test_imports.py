"""Layers, and what starting a command may load."""

from __future__ import annotations

import subprocess
import sys

import pytest

HEAVY = {
    "lark",
    "textual",
    "rich",
    "pydantic",
    "ephem",
    "holidays",
    "hypothesis",
    "jinja2",
    "pysat",
}


def loaded_by(code: str) -> set[str]:
    """The heavy packages that a fresh process holds after running the code."""
    probe = f"import sys\n{code}\nprint(*sorted(m for m in sys.modules if '.' not in m))"
    shown = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True, timeout=60
    )
    return set(shown.stdout.split()[-500:]) & HEAVY


def test_help_loads_nothing_heavy() -> None:
    assert loaded_by("from rungs.cli.main import overview; overview()") == set()


@pytest.mark.parametrize(
    ("module", "may"),
    [
        ("rungs.language.parse", {"lark"}),
        ("rungs.program.check", {"lark"}),
        ("rungs.scan.trace", set()),
        ("rungs.table.truth", set()),
        ("rungs.draw.text", set()),
        ("rungs.cli.check", {"lark"}),
        ("rungs.cli.test", {"lark"}),
        ("rungs.cli.draw", {"lark"}),
        ("rungs.cli.open_bench", {"lark"}),
        ("rungs.bench.session.session", set()),
        ("rungs.bench.help_text", set()),
        ("rungs.bench.work", {"lark"}),
        ("rungs.chart.svg", set()),
        ("rungs.draw.ladder_svg", set()),
        ("rungs.papers.markdown", set()),
        ("rungs.desk.recovery", set()),
        ("rungs.edit.highlight", set()),
    ],
)
def test_a_module_loads_no_more_than_it_needs(module: str, may: set[str]) -> None:
    assert loaded_by(f"import {module}") <= may


def test_sun_and_holidays_are_loaded_by_programs_that_need_them_alone() -> None:
    run = (
        "from rungs.source import source_from_text\n"
        "from rungs.program.check import check\n"
        "from rungs.scan.runner import Panel\n"
        "Panel(check(source_from_text({text!r})).program).run(100)"
    )
    plain = 'site zone "UTC"\nclock c from 10:00 to 11:00\noutput o at R1\nrung c -> o'
    sunny = plain.replace('"UTC"', '"UTC" latitude 50 longitude 8').replace("10:00", "sunrise")
    assert loaded_by(run.format(text=plain)) == {"lark"}
    assert loaded_by(run.format(text=sunny)) == {"lark", "ephem"}
