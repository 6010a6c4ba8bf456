"""Small things that several tests need: programs from text, traces as columns, the reference
files."""

from __future__ import annotations

import csv
from collections.abc import Iterable, Mapping
from pathlib import Path

import pytest

from rungs.program.check import check
from rungs.program.nodes import Program
from rungs.scan.trace import StimulusRow, columns, trace
from rungs.source import source_from_text

REFERENCE = Path(__file__).resolve().parents[2] / "shared" / "reference"


def program_of(text: str) -> Program:
    """The program of a text that has no errors."""
    checked = check(source_from_text(text))
    assert checked.program is not None, checked.findings
    return checked.program


def reference_rows(name: str) -> list[dict[str, str]]:
    """The rows of a reference file; the test is skipped where the file is not at hand."""
    path = REFERENCE / name
    if not path.is_file():
        pytest.skip(f"{name} is not at hand")
    with path.open(encoding="utf-8", newline="") as stream:
        return list(csv.DictReader(stream))


def assignments(text: str) -> dict[str, int]:
    """`A=0 B=1` as a mapping."""
    return {name: int(value) for name, value in (part.split("=") for part in text.split())}


def run_rows(
    program: Program,
    rows: Iterable[tuple[int, Mapping[str, int]]],
    period: int = 10,
    start: int | None = None,
) -> dict[int, dict[str, bool]]:
    """The contacts after each scan, by time, of circuits given as (t, {name: 0 or 1})."""
    stimulus = tuple(
        StimulusRow(
            t,
            {name: bool(value) for name, value in values.items() if name != "power"},
            bool(values.get("power", 1)),
        )
        for t, values in rows
    )
    names = columns(program)
    return {
        t: dict(zip(names, values, strict=True))
        for t, values in trace(program, stimulus, start, period)
    }
