"""Written tables on the emulator do what their programs do, scan for scan or settled."""

from __future__ import annotations

from random import Random

import pytest
from hypothesis import given, settings

from rungs.program.nodes import Program
from rungs.scan.fast import FastPanel
from rungs.source import source_from_text
from rungs.table.compare import compare
from rungs.table.compile import KINDS, Compiler
from rungs.table.emulator import Emulator
from rungs.table.formats import table_csv
from rungs.table.reading import read_table
from tests.engines import ENGINES, GivenClocks, play_table
from tests.helpers import program_of
from tests.property.test_engines import played
from tests.strategies import (
    Stimulus,
    cases,
    clock_functions,
    random_program,
    random_stimulus,
)


def outputs_of(program: Program, stimulus: Stimulus) -> list[tuple[int, dict[str, bool]]]:
    """What the second reading shows of the outputs alone."""
    names = [output.name for output in program.outputs]
    scans = played(ENGINES["second reading"], program, stimulus)
    return [(t, {name: shown[name] for name in names}) for t, shown in scans]


def table_of(
    program: Program, stimulus: Stimulus, first_match: bool
) -> list[tuple[int, dict[str, bool]]] | None:
    closed, events = clock_functions(program, stimulus.start)
    return play_table(
        program, stimulus.rows, stimulus.period, closed, events, first_match=first_match, most=150
    )


@settings(max_examples=40)
@given(cases())
def test_a_table_that_was_read_back_gives_the_outputs_of_the_second_reading(
    case: tuple[Program, Stimulus],
) -> None:
    got = table_of(*case, first_match=False)
    assert got is None or got == outputs_of(*case)


@pytest.mark.parametrize("first_match", [False, True])
def test_seeded_programs_agree_with_their_tables(first_match: bool) -> None:
    """All timer kinds, counters, edges, latches, clocks and power cuts; few are too large."""
    played_ones = 0
    for seed in range(150):
        rng = Random(seed)
        program = random_program(rng, rng.randint(1, 10))
        stimulus = random_stimulus(rng, program, rng.choice((20, 40)))
        got = table_of(program, stimulus, first_match)
        if got is not None:
            played_ones += 1
            assert got == outputs_of(program, stimulus), seed
    assert played_ones > 120


def test_a_switching_table_with_delays_comes_to_rest_as_its_program_does() -> None:
    """One input at a time, and long enough between for every timer: the relays are then those of
    the program; at power-up they are, but for what the file lists."""
    program = program_of(
        """
        input door at I1
        input wall at I2
        output lamp at R1
        output fan at R2
        timer linger off-delay 3s
        timer slow on-delay 2s
        rung door -> linger
        rung linger -> lamp
        rung wall -> slow
        rung slow -> fan
        """
    )
    table, findings = Compiler(program).table("switching")
    assert table is not None, findings
    assert {row.delay_ms for row in table.switching if row.delay_ms} == {2_000, 3_000}
    for seed in range(20):
        rng = Random(seed)
        board = Emulator(table)
        panel = FastPanel(program, 0, calendar=GivenClocks(program, None, {}, 0), jump=False)
        circuits = {"door": False, "wall": rng.random() < 0.5}
        for t in range(0, 60_000, 10):
            if t % 2_500 == 2_490:
                name = rng.choice(("door", "wall"))
                circuits = {**circuits, name: not circuits[name]}
            panel.give_circuits(circuits)
            shown = panel.make_scan(t).contacts
            outputs = board.scan(circuits, {}, t)
            if t % 2_500 in (2_480, 500):
                assert outputs == (shown["lamp"], shown["fan"]), (seed, t)


def test_every_table_that_is_written_reads_back_and_compares_as_the_same() -> None:
    """All three kinds, for random programs with inputs and clocks that nothing reads among them."""
    made = {"truth": 0, "transition": 0, "switching": 0}
    for seed in range(120):
        rng = Random(7_000_000 + seed)
        program = random_program(rng, rng.randint(1, 4))
        if not program.outputs:
            continue
        compiler = Compiler(program)
        for kind in KINDS:
            table, _ = compiler.table(kind)
            if table is None or table.row_count > 400:
                continue
            read, findings = read_table(source_from_text(table_csv(table), "t.csv"))
            assert read == table, (seed, kind, findings)
            assert compare(program, read).verdict == "same", (seed, kind)
            made[kind] += 1
    assert min(made.values()) > 10, made
