"""Every row of the published event and state tables that the language can express.

The files hold rows of IEC 61131-3 blocks (FROM MEMORY) and of classic relay circuits (idea READ in
Kuphaldt, Lessons in Electric Circuits IV ch. 6; tables COMPUTED). `test_scan_engines.py` holds the
same kind of rows written down, for where the files are not at hand.
"""

from __future__ import annotations

from collections import defaultdict

import pytest

from rungs.program.nodes import Program
from rungs.scan.runner import Panel
from tests.helpers import assignments, program_of, reference_rows, run_rows

TIMERS = {"TON": "on-delay", "TOF": "off-delay", "TP": "pulse"}


def cases(name: str) -> dict[tuple[str, str], list[dict[str, str]]]:
    found: dict[tuple[str, str], list[dict[str, str]]] = defaultdict(list)
    for row in reference_rows(name):
        found[row["block"], row["case"]].append(row)
    return found


def test_timers_close_and_open_as_every_published_row_says() -> None:
    played = 0
    for (block, case), rows in cases("timers.csv").items():
        preset = int(rows[0]["PT_ms"])
        if preset == 0 or len({row["PT_ms"] for row in rows}) > 1:
            continue  # a preset of zero is an error, and none can change
        if "preset changed" in case:
            continue
        program = program_of(
            f"input IN at I1\noutput Q at R1\ntimer T {TIMERS[block]} {preset}ms\n"
            "rung IN -> T\nrung T -> Q"
        )
        # a scan at rest comes first, since power that is there in the first scan starts no pulse
        stimulus = [(0, {"IN": 0})] + [(int(r["t_ms"]) + 1, {"IN": int(r["IN"])}) for r in rows]
        shown = run_rows(program, stimulus, period=1)
        for row in rows:
            assert shown[int(row["t_ms"]) + 1]["Q"] == bool(int(row["Q"])), (block, case, row)
            played += 1
    assert played > 70


BLOCKS = {
    "CTU": "counter C to {PV}\nrung CU -> C\nrung R -> reset C\nrung C -> Q",
    "CTUD": "counter C to {PV}\nrung CU -> C\nrung CD -> down C\nrung R -> reset C\nrung C -> Q",
    "R_TRIG": "rung rising CLK -> Q",
    "F_TRIG": "rung falling CLK -> Q",
    "SR": "rung R -> unlatch Q\nrung S1 -> latch Q",
    "RS": "rung S -> latch Q\nrung R1 -> unlatch Q",
}


def panel_for(block: str, preset: int) -> Panel:
    inputs = ("CU", "CD", "R", "CLK", "S1", "S", "R1", "Qprev", "LD", "PV")
    text = "".join(f"input {name} at I{n}\n" for n, name in enumerate(inputs))
    return Panel(program_of(text + "output Q at R1\n" + BLOCKS[block].format(PV=preset)), period=10)


def test_counters_edges_and_bistables_follow_every_published_row() -> None:
    played = 0
    for (block, case), rows in cases("counters_edges_bistables.csv").items():
        first = assignments(rows[0]["inputs"])
        if block not in BLOCKS or first.get("PV") == 0:
            continue  # loading a count has no counterpart, and a preset of zero is an error
        if "saturates" in case or "priority R over LD" in case:
            continue  # other limits; loading again
        if "first scan" in case:
            continue  # differs on purpose, see below
        panel = panel_for(block, first.get("PV", 1))
        panel.make_scan()
        for row in rows:
            inputs = assignments(row["inputs"])
            if "Qprev" in inputs:  # each row of a truth table starts from its own state
                panel.state.contacts["Q"] = bool(inputs["Qprev"])
            panel.give_circuits({k: bool(v) for k, v in inputs.items() if k != "PV"})
            panel.make_scan()
            outputs = assignments(row["outputs"])
            wanted = outputs.get("Q", outputs.get("QU", outputs.get("Q1")))
            assert panel.state.contacts["Q"] == bool(wanted), (block, case, row)
            if "CV" in outputs:
                assert panel.state.counts["C"] == outputs["CV"], (block, case, row)
            played += 1
    assert played > 40


@pytest.mark.parametrize(
    ("block", "inputs"), [("CTU", {"CU": True}), ("R_TRIG", {"CLK": True}), ("F_TRIG", {})]
)
def test_the_first_scan_counts_nothing_and_shows_no_edge_unlike_the_standards_blocks(
    block: str, inputs: dict[str, bool]
) -> None:
    # the literal bodies of IEC 61131-3 (FROM MEMORY) act here: memory starts at 0
    panel = panel_for(block, 2)
    panel.give_circuits(inputs)
    for _ in range(3):
        panel.make_scan()
        assert not panel.state.contacts["Q"]
        assert panel.state.counts.get("C", 0) == 0


SEAL_IN = """
input START at I1
input STOP_CLOSED at I2
output M at R1
rung (START or M) and STOP_CLOSED -> M
"""
FORWARD_REVERSE = """
input FWD at I1
input REV at I2
input STOP_CLOSED at I3
output F at R1
output R at R2
rung (FWD or F) and STOP_CLOSED and not R -> F
rung (REV or R) and STOP_CLOSED and not F -> R
"""
SEQUENTIAL = """
input RUN at I1
output M1 at R1
output M2 at R2
output M3 at R3
timer T1 on-delay 5s
timer T2 on-delay 5s
rung RUN -> M1, T1
rung T1 -> M2, T2
rung T2 -> M3
"""
LIGHT = "input S1 at I1\ninput S2 at I2\ninput S3 at I3\noutput LAMP at R1\n"
TWO = LIGHT + "rung (S1 and not S2) or (S2 and not S1) -> LAMP"
THREE = LIGHT + (
    "rung S1 and not S2 and not S3 or not S1 and S2 and not S3 or not S1 and not S2 and S3 "
    "or S1 and S2 and S3 -> LAMP"
)
CIRCUITS = {
    "start_stop_seal_in": SEAL_IN,
    "forward_reverse_interlock": FORWARD_REVERSE,
    "2_switch_lighting": TWO,
    "3_switch_lighting": THREE,
}


def after_one_scan(
    program: Program, state: dict[str, int], inputs: dict[str, int]
) -> dict[str, bool]:
    panel = Panel(program)
    panel.make_scan()
    for name, value in state.items():
        panel.state.contacts[name] = bool(value)
    panel.give_circuits({name: bool(value) for name, value in inputs.items()})
    return panel.make_scan().contacts


def test_classic_circuits_take_every_published_state_to_the_published_next_one() -> None:
    played = 0
    for row in reference_rows("classic_relay_problems.csv"):
        if row["problem"] not in CIRCUITS or row["kind"] not in ("next state", "truth table"):
            continue
        program = program_of(CIRCUITS[row["problem"]])
        given = assignments(row["inputs"])
        outputs = {output.name for output in program.outputs}
        state = {name: value for name, value in given.items() if name in outputs}
        inputs = {name: value for name, value in given.items() if name not in outputs}
        shown = after_one_scan(program, state, inputs)
        for name, value in assignments(row["expected_outputs"].replace("_next", "")).items():
            assert shown[name] == bool(value), row
        played += 1
    assert played >= 40


def test_classic_circuits_follow_every_published_sequence() -> None:
    played = 0
    panels: dict[str, Panel] = {}
    for row in reference_rows("classic_relay_problems.csv"):
        problem = row["problem"]
        if problem not in CIRCUITS or row["kind"] != "sequence":
            continue
        panel = panels.setdefault(problem, Panel(program_of(CIRCUITS[problem])))
        panel.give_circuits({k: bool(v) for k, v in assignments(row["inputs"]).items()})
        panel.settle()
        for name, value in assignments(row["expected_outputs"]).items():
            assert panel.state.contacts[name] == bool(value), row
        played += 1
    assert played >= 15


def test_three_motors_start_one_after_the_other_as_published() -> None:
    rows = [
        row
        for row in reference_rows("classic_relay_problems.csv")
        if row["problem"] == "sequential_start_three_motors"
    ]
    at = [int(row["step"].removeprefix("t=").removesuffix(" ms")) for row in rows]
    stimulus = [(t, assignments(row["inputs"])) for t, row in zip(at, rows, strict=True)]
    shown = run_rows(program_of(SEQUENTIAL), stimulus, period=1)
    for t, row in zip(at, rows, strict=True):
        for name, value in assignments(row["expected_outputs"]).items():
            assert shown[t][name] == bool(value), row
