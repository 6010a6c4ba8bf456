"""All engines agree, scan for scan, on random programs under random stimuli.

The second reading was written from the language reference alone, in another style and by other
hands than the reference interpreter.
"""

from __future__ import annotations

from datetime import UTC
from random import Random

import pytest
from hypothesis import given, settings

from rungs.program.check import check
from rungs.program.nodes import Program
from rungs.scan.trace import StimulusRow, columns, trace, trace_changes
from rungs.source import source_from_text
from tests.engines import ENGINES, Play
from tests.second_reading import Scan
from tests.strategies import (
    Stimulus,
    cases,
    clock_functions,
    program_text,
    random_program,
    random_stimulus,
)

OTHERS = [name for name in ENGINES if name != "second reading"]


def played(play: Play, program: Program, stimulus: Stimulus) -> list[Scan]:
    closed, events = clock_functions(program, stimulus.start)
    return play(program, stimulus.rows, stimulus.period, closed, events)


@pytest.mark.parametrize("name", OTHERS)
def test_an_engine_gives_the_trace_of_the_second_reading(name: str) -> None:
    # those that compile every program anew take much longer over each
    @settings(max_examples=20 if "generated" in name or "parallel" in name else 60)
    @given(cases())
    def agree(case: tuple[Program, Stimulus]) -> None:
        assert played(ENGINES[name], *case) == played(ENGINES["second reading"], *case)

    agree()


def test_seeded_programs_agree_in_all_engines() -> None:
    for seed in range(150):
        rng = Random(seed)
        program = random_program(rng, rng.randint(1, 12))
        stimulus = random_stimulus(rng, program, rng.choice((20, 40, 80)))
        wanted = played(ENGINES["second reading"], program, stimulus)
        for name in OTHERS:
            assert played(ENGINES[name], program, stimulus) == wanted, (seed, name)


def test_programs_from_text_with_the_real_calendar_give_the_trace_of_the_second_reading() -> None:
    """Text, parser, checker, calendar (in UTC) and trace together."""
    for seed in range(150):
        rng = Random(1_000_000 + seed)
        program = random_program(rng, rng.randint(1, 10))
        stimulus = random_stimulus(rng, program, 40)
        wanted = played(ENGINES["second reading"], program, stimulus)
        checked = check(source_from_text(program_text(program)))
        assert checked.program is not None, checked.findings
        start = int(stimulus.start.replace(tzinfo=UTC).timestamp() * 1000)
        rows = tuple(
            StimulusRow(
                t,
                {d.name: bool(row.get(d.name, d.side == "NC")) for d in program.inputs},
                bool(row.get("power", True)),
            )
            for t, row in stimulus.rows
        )
        names = columns(checked.program)
        got = [
            (t, dict(zip(names, values, strict=True)))
            for t, values in trace(checked.program, rows, start, stimulus.period)
        ]
        assert got == wanted, seed
        changed = [
            (t, dict(zip(names, values, strict=True)))
            for t, values in trace_changes(checked.program, rows, start, stimulus.period)
        ]
        kept = [
            scan
            for index, scan in enumerate(wanted)
            if index in (0, len(wanted) - 1) or scan[1] != wanted[index - 1][1]
        ]
        assert changed == kept, seed
