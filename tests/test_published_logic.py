"""Truth tables of the `compile` command against published and defined tables, bit for bit.

c17: netlist and table of the ISCAS-85 benchmark, READ (c17.bench) and COMPUTED. Decoder, adder and
parity: definitions.
"""

from __future__ import annotations

import json
from itertools import product
from pathlib import Path
from random import Random

import pytest

from rungs.cli.main import main
from rungs.table.truth import truth_table
from tests.helpers import assignments, program_of, reference_rows

C17 = """
input N1 at I1
input N2 at I2
input N3 at I3
input N6 at I6
input N7 at I7
output N22 at R1
output N23 at R2
relay N10
relay N11
relay N16
relay N19
rung not (N1 and N3) -> N10
rung not (N3 and N6) -> N11
rung not (N2 and N11) -> N16
rung not (N11 and N7) -> N19
rung not (N10 and N16) -> N22
rung not (N16 and N19) -> N23
"""

ADDER = """
input A at I1
input B at I2
input Cin at I3
output S at R1
output Cout at R2
relay half
rung (A and not B) or (not A and B) -> half
rung (half and not Cin) or (not half and Cin) -> S
rung (A and B) or (half and Cin) -> Cout
"""

DECODER = "input EN at I1\ninput A2 at I2\ninput A1 at I3\ninput A0 at I4\n" + "\n".join(
    f"output Y{n} at R{n + 1}\nrung EN and "
    + " and ".join(("" if n >> bit & 1 else "not ") + f"A{bit}" for bit in (2, 1, 0))
    + f" -> Y{n}"
    for n in range(8)
)

TWO_PLACES = """
input S1 at I1
input S2 at I2
output LAMP at R1
rung (S1 and not S2) or (not S1 and S2) -> LAMP
"""

THREE_PLACES = """
input S1 at I1
input S2 at I2
input S3 at I3
output LAMP at R1
rung (S1 and not S2 and not S3) or (not S1 and S2 and not S3)
  or (not S1 and not S2 and S3) or (S1 and S2 and S3) -> LAMP
"""


def compiled(text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> list[dict[str, int]]:
    """The rows of the table that the command prints."""
    path = tmp_path / "panel.rungs"
    path.write_text(text, encoding="utf-8")
    assert main(["compile", str(path), "--every-row", "--json"]) == 0
    table = json.loads(capsys.readouterr().out)
    assert table["schema_version"] == 1
    names = [*table["signals"], *table["outputs"]]
    return [dict(zip(names, row, strict=True)) for row in table["rows"]]


def test_c17_gives_the_table_of_its_nand_gates(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = compiled(C17, tmp_path, capsys)
    assert len(rows) == 32
    for row in rows:
        n1, n2, n3, n6, n7 = (row[name] for name in ("N1", "N2", "N3", "N6", "N7"))
        n11 = 1 - n3 * n6
        n16, n10, n19 = 1 - n2 * n11, 1 - n1 * n3, 1 - n11 * n7
        assert (row["N22"], row["N23"]) == (1 - n10 * n16, 1 - n16 * n19)
    # each output is 1 in 18 of the 32 rows (COMPUTED from the netlist and by an SMT solver)
    assert [sum(row[name] for row in rows) for name in ("N22", "N23")] == [18, 18]


def test_a_full_adder_adds(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rows = compiled(ADDER, tmp_path, capsys)
    assert [(r["A"], r["B"], r["Cin"]) for r in rows] == list(product((0, 1), repeat=3))
    for row in rows:
        assert row["S"] + 2 * row["Cout"] == row["A"] + row["B"] + row["Cin"]


def test_a_decoder_closes_the_one_output_of_its_number(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = compiled(DECODER, tmp_path, capsys)
    assert len(rows) == 16
    for row in rows:
        number = 4 * row["A2"] + 2 * row["A1"] + row["A0"]
        closed = [n for n in range(8) if row[f"Y{n}"]]
        assert closed == ([number] if row["EN"] else [])


@pytest.mark.parametrize(("text", "places"), [(TWO_PLACES, 2), (THREE_PLACES, 3)])
def test_lights_from_several_places_follow_the_parity_of_the_switches(
    text: str, places: int, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rows = compiled(text, tmp_path, capsys)
    assert len(rows) == 2**places
    for row in rows:
        assert row["LAMP"] == sum(row[f"S{n}"] for n in range(1, places + 1)) % 2


@pytest.mark.parametrize(
    ("table", "text"),
    [
        ("ISCAS85_c17", C17),
        ("full_adder", ADDER),
        ("decoder_3to8_active_high", DECODER),
        ("two_way_light_XOR", TWO_PLACES),
        ("three_switch_light_XOR3", THREE_PLACES),
    ],
)
def test_every_published_row_comes_out_bit_for_bit(
    table: str, text: str, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    published = [row for row in reference_rows("logic_tables.csv") if row["table"] == table]
    assert published
    rows = compiled(text, tmp_path, capsys)
    for row in published:
        inputs = assignments(row["inputs"].replace("_intermediate", ""))
        outputs = assignments(row["outputs"])
        matching = [r for r in rows if all(r[k] == v for k, v in inputs.items())]
        assert len(matching) == 1, inputs
        assert {k: matching[0][k] for k in outputs} == outputs


def test_columns_of_twenty_signals_are_right_at_random_rows() -> None:
    names = [f"a{n}" for n in range(20)]
    text = "".join(f"input {name} at I{n}\n" for n, name in enumerate(names))
    text += "output odd at R1\noutput most at R2\nrelay c\n"
    text += "rung (a0 and not a19) or (not a0 and a19) -> c\n"
    text += "rung (c and not a7) or (not c and a7) -> odd\n"
    text += "rung " + " or ".join(names) + " -> most\n"
    table, findings = truth_table(program_of(text))
    assert findings == ()
    assert table is not None
    assert table.height == 2**20
    rng = Random(7)
    for _ in range(200):
        pattern = rng.randrange(table.height)
        bits = [pattern >> (19 - n) & 1 for n in range(20)]
        odd, most = (column >> pattern & 1 for column in table.columns)
        assert odd == (bits[0] + bits[19] + bits[7]) % 2
        assert most == any(bits)
