"""Published state machines, as programs, compile to their published numbers of states.

The counts are those of `fsm_minimal_states.csv` (COMPUTED there by exact methods: SAT closed cover
and partition refinement; for bbara, s27, lion9 and train11 also published, FROM MEMORY). The KISS2
files themselves are read where the reference folder stands beside the checkout.
"""

from __future__ import annotations

import csv
from collections.abc import Iterator
from pathlib import Path
from random import Random

import pytest

from rungs.program.nodes import Program
from rungs.source import source_from_text
from rungs.table.compile import Compiler
from rungs.table.emulator import Emulator
from rungs.table.formats import table_json
from rungs.table.model import TableFile
from rungs.table.reading import read_table
from tests.helpers import program_of
from tests.kiss_machines import Kiss, kiss_program, read_kiss

REFERENCE = Path(__file__).parents[2] / "shared" / "reference"
needs_reference = pytest.mark.skipif(not REFERENCE.exists(), reason="no reference folder here")

COMPLETE = (
    *("bbara", "bbtas", "dk14", "dk15", "dk27", "mc"),
    *("modulo12", "s1", "s27", "s386", "shiftreg", "tav"),
)


def listed() -> dict[str, dict[str, str]]:
    with (REFERENCE / "fsm_minimal_states.csv").open(encoding="utf-8") as file:
        return {row["name"]: row for row in csv.DictReader(file)}


def compiled_table(program: Program) -> tuple[TableFile, int]:
    compiler = Compiler(program)
    table, findings = compiler.table("transition")
    assert table is not None, findings
    assert table.proof is not None
    read, wrong = read_table(source_from_text(table_json(table), "table.json"))
    assert read == table, wrong
    return table, compiler.reachable


def follow(kiss: Kiss, table: TableFile, seed: int) -> Iterator[tuple[str, str]]:
    """Outputs of the file's rows and of the emulator, under random inputs."""
    board = Emulator(table)
    rng = Random(seed)
    state = kiss.reset
    for t in range(0, 4_000, 10):
        given = "".join(rng.choice("01") for _ in range(kiss.inputs))
        state, shown = kiss.step(state, given)
        circuits = {f"x{i}": bit == "1" for i, bit in enumerate(given)}
        outputs = board.scan(circuits, {}, t)
        yield shown, "".join("1" if on else "0" for on in outputs)


@needs_reference
@pytest.mark.parametrize("one_latch_a_state", [False, True])
@pytest.mark.parametrize("name", COMPLETE)
def test_a_completely_specified_machine_has_its_published_number_of_states(
    name: str, one_latch_a_state: bool
) -> None:
    row = listed()[name]
    assert row["specification"] == "completely specified"
    kiss = read_kiss(REFERENCE / "kiss2" / f"{name}.kiss2")
    assert (kiss.inputs, kiss.outputs) == (int(row["inputs"]), int(row["outputs"]))
    table, _ = compiled_table(program_of(kiss_program(kiss, one_latch_a_state)))
    assert len(table.states) == int(row["min_states_reachable_only"])


@needs_reference
@pytest.mark.parametrize("name", COMPLETE)
def test_the_emulator_follows_the_rows_of_the_file(name: str) -> None:
    kiss = read_kiss(REFERENCE / "kiss2" / f"{name}.kiss2")
    table, _ = compiled_table(program_of(kiss_program(kiss)))
    scans = 0
    for wanted, got in follow(kiss, table, 1):
        scans += 1
        # a place with - is left to the maker of the machine; the program leaves it off
        assert all(w in ("-", g) for w, g in zip(wanted, got, strict=True)), scans
    assert scans == 400


# ISCAS-89 s27: three flip-flops and ten gates (netlist FROM MEMORY; its count of six reachable and
# five distinct states is in the reference table). Next states are worked before any of them moves.
S27 = """
input G0 at I0
input G1 at I1
input G2 at I2
input G3 at I3
output G17 at R1
relay G5
relay G6
relay G7
relay G8
relay G9
relay G11
relay G12
relay G13
relay G15
relay G16
relay G10
relay next6
rung not G1 and not G7 -> G12
rung G6 and not G0 -> G8
rung G12 or G8 -> G15
rung G3 or G8 -> G16
rung not (G16 and G15) -> G9
rung not G5 and not G9 -> G11
rung not G11 -> G17
rung not (not G0 or G11) -> G10
rung not G2 and not G12 -> G13
rung G11 -> next6
rung G10 -> G5
rung next6 -> G6
rung G13 -> G7
"""


def test_s27_has_five_states_of_six_reachable() -> None:
    table, reachable = compiled_table(program_of(S27))
    assert len(table.states) == 5
    assert reachable == 6


def shift_register(length: int) -> str:
    """A register that passes an input on: 2 ** length states, none alike."""
    lines = ["input a at I1", "output last at R1"]
    lines += [f"relay s{n}" for n in range(length)]
    lines.append(f"rung s{length - 1} -> last")
    lines += [f"rung s{n - 1} -> s{n}" for n in range(length - 1, 0, -1)]
    return "\n".join([*lines, "rung a -> s0"])


@pytest.mark.parametrize("length", [1, 3, 6])
def test_a_shift_register_has_a_state_for_each_of_its_contents(length: int) -> None:
    """Common practice, no source: n bits that all come out at last are 2 ** n states."""
    table, _ = compiled_table(program_of(shift_register(length)))
    assert len(table.states) == 2**length


def modulo(count: int) -> str:
    """A counter that lights its lamp at every `count`th press and begins anew."""
    return f"""
    input press at I1
    output lamp at R1
    counter presses to {count}
    rung press -> presses
    rung presses -> lamp, reset presses
    """


@pytest.mark.parametrize("count", [2, 3, 7])
def test_a_modulo_counter_has_two_states_a_count(count: int) -> None:
    """For each count the button is up or down; at power-up a button that is held does not count,
    and the held count of nought is a state of its own."""
    table, _ = compiled_table(program_of(modulo(count)))
    assert len(table.states) == 2 * count
