"""What the emulator does with tables made by hand, scan by scan.

Timers follow the on-delay (TON) of IEC 61131-3, FROM MEMORY: the contact closes in the first scan
in which the coil has been on for the preset. Expected rows are COMPUTED by hand from the rules of
the table file unless another source stands beside them.
"""

from __future__ import annotations

import subprocess
import sys
from collections.abc import Mapping, Sequence
from itertools import product
from typing import get_args

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.scan.trace import StimulusRow, read_stimulus, trace
from rungs.source import source_from_text
from rungs.table.emulator import (
    Emulator,
    TableFault,
    clock_program,
    run_table,
    run_table_changes,
    stimulus_program,
    table_columns,
)
from rungs.table.model import (
    Act,
    SwitchingRow,
    TableClock,
    TableFile,
    TableOutput,
    TableSignal,
    TableState,
    TableTimer,
    TransitionRow,
    TruthRow,
)
from tests.helpers import program_of

SECOND, MINUTE, HOUR, DAY = 1_000, 60_000, 3_600_000, 86_400_000
MONDAY = 1_767_571_200_000  # 2026-01-05T00:00Z, COMPUTED: 20,458 days of 86,400,000 ms


def signal(name: str, debounce: int = 0, at_rest: bool = False) -> TableSignal:
    return TableSignal(name=name, kind="input", debounce_ms=debounce, at_rest=at_rest)


def outputs(*names: str) -> tuple[TableOutput, ...]:
    return tuple(TableOutput(name=name) for name in names)


def states(**after: str) -> tuple[TableState, ...]:
    return tuple(TableState(name=name, after_power_cut=cut) for name, cut in after.items())


def moves(*lines: str) -> tuple[TransitionRow, ...]:
    """Rows as `state pattern next outputs run clear_before clear_after`; `.` stands for none."""
    rows = []
    for line in lines:
        state, pattern, target, outs, *told = line.replace(".", "").split(" ")
        run, before, after = [*told, "", "", ""][:3]
        rows.append(
            TransitionRow(
                state=state,
                pattern=pattern,
                next=target,
                outputs=outs,
                run=run,
                clear_before=before,
                clear_after=after,
            )
        )
    return tuple(rows)


def rows_of(
    table: TableFile,
    stimulus: Sequence[tuple[int, Mapping[str, int]]],
    start: int | None = None,
    period: int | None = None,
) -> dict[int, str]:
    """The outputs after each scan, by time; jumps or none must show the same."""
    given = stimulus_rows(stimulus)
    jumped = list(run_table(table, given, start, period))
    assert jumped == list(run_table(table, given, start, period, jump=False))
    return {t: "".join("01"[on] for on in values) for t, values in jumped}


def stimulus_rows(
    rows: Sequence[tuple[int, Mapping[str, int]]],
) -> tuple[StimulusRow, ...]:
    return tuple(
        StimulusRow(
            t,
            {name: bool(value) for name, value in values.items() if name != "power"},
            bool(values.get("power", 1)),
        )
        for t, values in rows
    )


def scans(table: TableFile, *lines: tuple[int, str]) -> list[str]:
    """The outputs of scans at given times with given bits of the inputs, from left to right."""
    board = Emulator(table)
    names = [s.name for s in table.signals if s.kind == "input"]
    shown = []
    for t, bits in lines:
        circuits = {name: bit == "1" for name, bit in zip(names, bits, strict=True)}
        shown.append("".join("01"[on] for on in board.scan(circuits, {}, t)))
    return shown


BOTH = TableFile(
    kind="truth",
    signals=(signal("a"), signal("b")),
    outputs=outputs("both", "either"),
    truth=(
        TruthRow(pattern="00", outputs="00"),
        TruthRow(pattern="11", outputs="11"),
        TruthRow(pattern="01", outputs="01"),
        TruthRow(pattern="10", outputs="01"),
    ),
)

# start or on, and stop (wired NC): the three-wire control of any textbook on relay logic
SEAL_IN = TableFile(
    kind="transition",
    signals=(signal("start"), signal("stop", at_rest=True)),
    outputs=outputs("motor"),
    start="off",
    states=states(off="off", on="off"),
    transitions=moves(
        "off 11 on 1",
        "off 0- off 0",
        "off 10 off 0",
        "on -1 on 1",
        "on -0 off 0",
    ),
)


def on_delay(preset: int, debounce: int = 0) -> TableFile:
    """A lamp behind an on-delay that an input drives."""
    return TableFile(
        kind="transition",
        signals=(signal("a", debounce), TableSignal(name="t.due", kind="due")),
        outputs=outputs("lamp"),
        timers=(TableTimer(name="t", kind="on-delay", preset_ms=preset),),
        start="rest",
        states=states(rest="rest"),
        transitions=moves("rest 0- rest 0 0", "rest 10 rest 0 1", "rest 11 rest 1 1"),
    )


def accumulating(preset: int, retained: bool = False) -> TableFile:
    """A lamp while the timer is due; `a` runs it, `b` clears before, `c` clears after."""
    rows = []
    for a, b, c, due in product("01", repeat=4):
        rows.append(f"s {a}{b}{c}{due} s {due} {a} {b} {c}")
    return TableFile(
        kind="transition",
        signals=(
            *(signal("a"), signal("b"), signal("c")),
            TableSignal(name="t.due", kind="due"),
        ),
        outputs=outputs("lamp"),
        timers=(TableTimer(name="t", kind="accumulating", preset_ms=preset, retained=retained),),
        start="s",
        states=states(s="s"),
        transitions=moves(*rows),
    )


# --- rows -----------------------------------------------------------------------------------------


def test_a_truth_table_gives_the_outputs_of_the_pattern() -> None:
    assert scans(BOTH, (0, "00"), (10, "01"), (20, "11"), (30, "10")) == ["00", "01", "11", "01"]


def test_a_transition_table_remembers_by_its_state() -> None:
    pressed = ["01", "11", "01", "00", "01", "10"]
    shown = scans(SEAL_IN, *((10 * i, bits) for i, bits in enumerate(pressed)))
    assert shown == ["0", "1", "1", "0", "0", "0"]


def test_the_first_of_two_matching_rows_counts_where_the_table_says_so() -> None:
    table = BOTH.model_copy(
        update={
            "first_match": True,
            "truth": (TruthRow(pattern="11", outputs="11"), TruthRow(pattern="--", outputs="00")),
        }
    )
    assert scans(table, (0, "11"), (10, "01")) == ["11", "00"]
    turned = table.model_copy(update={"truth": table.truth[::-1]})
    assert scans(turned, (0, "11"), (10, "01")) == ["00", "00"]


def test_two_matching_rows_are_a_fault_where_all_rows_must_be_apart() -> None:
    table = BOTH.model_copy(update={"truth": (*BOTH.truth, TruthRow(pattern="1-", outputs="00"))})
    board = Emulator(table)
    board.scan({"a": False, "b": True}, {}, 0)
    with pytest.raises(TableFault, match=r"2 rows match for the pattern 10 \(a 1, b 0\)"):
        board.scan({"a": True, "b": False}, {}, 10)


def test_a_pattern_without_a_row_is_a_fault_that_names_the_state() -> None:
    table = SEAL_IN.model_copy(update={"transitions": SEAL_IN.transitions[:-1]})
    with pytest.raises(TableFault, match="no row matches in state 'on' for the pattern 00"):
        scans(table, (0, "01"), (10, "11"), (20, "00"))


def test_a_next_state_that_is_not_listed_is_a_fault() -> None:
    table = SEAL_IN.model_copy(update={"states": SEAL_IN.states[:1]})
    with pytest.raises(TableFault, match="a state 'on' that is not listed"):
        Emulator(table)
    lost = SEAL_IN.model_copy(update={"transitions": moves("off -- away 1")})
    with pytest.raises(TableFault, match="the state 'away' is not listed"):
        scans(lost, (0, "01"), (10, "01"))
    board = Emulator(lost)
    board.scan({}, {}, 0)
    with pytest.raises(TableFault, match="the state 'away' is not listed"):
        board.power(False)


@pytest.mark.parametrize(
    ("table", "message"),
    [
        (BOTH.model_copy(update={"outputs": outputs("one")}), "outputs of row 1 has 2 places"),
        (SEAL_IN.model_copy(update={"signals": (signal("a"),)}), "pattern of row 1 has 2 places"),
        (on_delay(10).model_copy(update={"timers": ()}), "timers of row 1 has 1 places"),
    ],
)
def test_rows_of_a_wrong_length_are_a_fault(table: TableFile, message: str) -> None:
    with pytest.raises(TableFault, match=message):
        Emulator(table)


def test_a_due_signal_without_its_timer_is_a_fault() -> None:
    table = BOTH.model_copy(
        update={"signals": (signal("a"), TableSignal(name="t.due", kind="due"))}
    )
    with pytest.raises(TableFault, match=r"'t.due' is of a timer that is not listed"):
        Emulator(table)


def test_scans_run_forward_and_only_under_power() -> None:
    board = Emulator(BOTH)
    board.scan({}, {}, 10)
    with pytest.raises(ValueError, match="later"):
        board.scan({}, {}, 10)
    board.power(False)
    with pytest.raises(ValueError, match="power"):
        board.scan({}, {}, 20)


# --- inputs ---------------------------------------------------------------------------------------


def test_an_input_is_at_rest_until_its_circuit_is_given() -> None:
    assert rows_of(SEAL_IN, [(0, {"start": 1}), (10, {})]) == {0: "1", 10: "1"}


def test_the_image_follows_after_the_circuit_has_differed_for_the_debounce_time() -> None:
    table = TableFile(
        kind="truth",
        signals=(signal("a", debounce=25),),
        outputs=outputs("lamp"),
        truth=(TruthRow(pattern="0", outputs="0"), TruthRow(pattern="1", outputs="1")),
    )
    # a bounce at 30 begins the time anew: closed from 40 on, 25 ms are over in the scan at 70
    shown = rows_of(
        table, [(0, {"a": 0}), (10, {"a": 1}), (30, {"a": 0}), (40, {"a": 1}), (90, {})]
    )
    assert [t for t, bit in shown.items() if bit == "1"] == [70, 80, 90]


def test_the_first_image_after_power_up_is_the_circuit() -> None:
    table = on_delay(10, debounce=1_000)
    shown = rows_of(table, [(0, {"a": 1}), (20, {"power": 0}), (40, {"power": 1}), (60, {})])
    assert shown == {0: "0", 10: "1", 40: "0", 50: "1", 60: "1"}


# --- timers ---------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("preset", "closes"), [(1, 30), (10, 30), (11, 40), (25, 50), (30, 50), (31, 60)]
)
def test_an_on_delay_is_due_in_the_first_scan_with_its_preset_elapsed(
    preset: int, closes: int
) -> None:
    shown = rows_of(on_delay(preset), [(0, {}), (20, {"a": 1}), (100, {"a": 0}), (120, {})])
    assert [t for t, bit in shown.items() if bit == "1"] == list(range(closes, 100, 10))


def test_an_on_delay_that_was_let_go_begins_anew() -> None:
    table = on_delay(30)
    shown = rows_of(table, [(0, {"a": 1}), (30, {"a": 0}), (40, {"a": 1}), (80, {})])
    # one scan before it was due the coil dropped; from 40 on it takes the whole preset again
    assert [t for t, bit in shown.items() if bit == "1"] == [70, 80]


def test_an_on_delay_holds_for_days() -> None:
    changes = run_table_changes(
        on_delay(30 * DAY), stimulus_rows([(0, {}), (HOUR, {"a": 1}), (366 * DAY, {})])
    )
    assert list(changes) == [
        (0, (False,)),
        (HOUR + 30 * DAY, (True,)),
        (366 * DAY, (True,)),
    ]


def test_an_accumulating_timer_adds_up_its_stretches() -> None:
    # runs 0..30 (30 ms held), rests, and runs from 60 on: 90 brings 60
    shown = rows_of(
        accumulating(60),
        [(0, {"a": 1}), (40, {"a": 0}), (60, {"a": 1}), (120, {"a": 0}), (130, {})],
    )
    # the stretch up to a scan counts if the coil was on in both: 30 + 30 at 90
    assert [t for t, bit in shown.items() if bit == "1"] == [90, 100, 110, 120]


def test_an_accumulating_timer_holds_no_more_than_its_preset() -> None:
    table = accumulating(20)
    board = Emulator(table)
    lit = []
    for t, a, c in [(0, 1, 0), (10, 1, 0), (500, 1, 0), (510, 0, 1), (520, 1, 0), (530, 1, 0)]:
        lit.append(board.scan({"a": bool(a), "c": bool(c)}, {}, t)[0])
    assert lit == [False, False, True, True, False, False]
    assert board.scan({"a": True}, {}, 540) == (True,)


def test_clearing_before_leaves_the_stretch_of_this_scan() -> None:
    # 0..40 would hold 40; the scan at 40 clears before, adds 10: due again with 40 at 70
    shown = rows_of(accumulating(40), [(0, {"a": 1}), (40, {"b": 1}), (50, {"b": 0}), (90, {})])
    assert [t for t, bit in shown.items() if bit == "1"] == [40, 70, 80, 90]


def test_clearing_after_leaves_nothing() -> None:
    shown = rows_of(accumulating(40), [(0, {"a": 1}), (40, {"c": 1}), (50, {"c": 0}), (90, {})])
    assert [t for t, bit in shown.items() if bit == "1"] == [40, 80, 90]


def test_a_timer_that_is_cleared_in_every_scan_never_adds_up() -> None:
    shown = rows_of(accumulating(20), [(0, {"a": 1, "c": 1}), (100, {})])
    assert set(shown.values()) == {"0"}
    # cleared before the stretch, it holds one period, and the next makes two
    shown = rows_of(accumulating(20), [(0, {"a": 1, "b": 1}), (40, {})])
    assert shown == {0: "0", 10: "0", 20: "1", 30: "1", 40: "1"}


@pytest.mark.parametrize(("retained", "lit"), [(True, [80, 90]), (False, [])])
def test_a_power_cut_empties_a_timer_that_is_not_retained(retained: bool, lit: list[int]) -> None:
    table = accumulating(50, retained)
    # 30 held at the cut; on again at 60: 20 more by 80, for the first scan adds nothing
    shown = rows_of(
        table, [(0, {"a": 1}), (35, {"power": 0}), (55, {"power": 1}), (90, {"power": 1})]
    )
    assert [t for t, bit in shown.items() if bit == "1"] == lit
    assert list(shown) == [0, 10, 20, 30, 60, 70, 80, 90]


# --- power ----------------------------------------------------------------------------------------


def test_a_board_begins_in_its_start_and_goes_on_where_the_cut_leaves_it() -> None:
    table = TableFile(
        kind="transition",
        signals=(signal("a"),),
        outputs=outputs("x", "y"),
        start="one",
        states=states(one="one", two="three", three="three"),
        transitions=moves("one - two 10", "two - two 00", "three - three 01"),
    )
    shown = rows_of(table, [(0, {}), (20, {"power": 0}), (30, {"power": 1}), (40, {})])
    assert shown == {0: "10", 10: "00", 30: "01", 40: "01"}


def test_power_lost_between_two_scans_is_a_cut() -> None:
    lost = [(0, {"start": 1}), (10, {"start": 0}), (21, {"power": 0}), (22, {"power": 1}), (30, {})]
    assert rows_of(SEAL_IN, lost) == {0: "1", 10: "1", 20: "1", 30: "0"}
    kept = [(0, {"start": 1}), (10, {"start": 0}), (30, {})]
    assert rows_of(SEAL_IN, kept)[30] == "1"


def test_no_coil_is_on_before_the_first_scan_or_without_power() -> None:
    board = Emulator(SEAL_IN)
    assert board.outputs == (False,)
    assert board.scan({"start": True}, {}, 0) == (True,)
    board.power(False)
    assert board.outputs == (False,)
    board.power(True)
    assert board.outputs == (False,)


def test_a_run_that_begins_without_power_has_no_rows_until_it_comes() -> None:
    shown = rows_of(SEAL_IN, [(0, {"power": 0, "start": 1}), (25, {"power": 1}), (40, {})])
    assert shown == {30: "1", 40: "1"}


def test_the_last_row_is_scanned_and_ends_the_run() -> None:
    assert list(rows_of(BOTH, [(25, {}), (40, {"a": 1})])) == [0, 10, 20, 30, 40]
    assert rows_of(BOTH, [(0, {}), (40, {"a": 1})])[40] == "01"
    assert list(rows_of(BOTH, [(0, {}), (44, {"a": 1})])) == [0, 10, 20, 30, 40]
    assert rows_of(BOTH, []) == {}
    assert list(rows_of(BOTH, [(0, {}), (50, {})], period=20)) == [0, 20, 40]


# --- clocks ---------------------------------------------------------------------------------------

BY_CLOCK = TableFile(
    kind="truth",
    site='site zone "UTC"',
    holidays=("holiday closed on 01-06",),
    signals=(
        TableSignal(name="office", kind="clock"),
        TableSignal(name="bell", kind="clock"),
    ),
    outputs=outputs("light", "horn"),
    clocks=(
        TableClock(name="office", statement="clock office from 08:00 to 17:00 except holidays"),
        TableClock(name="bell", statement="clock bell at 12:00 catch up 1min"),
    ),
    truth=tuple(TruthRow(pattern=p, outputs=p) for p in ("00", "01", "10", "11")),
)


def test_windows_events_and_holidays_move_the_clock_signals() -> None:
    changes = list(
        run_table_changes(BY_CLOCK, stimulus_rows([(0, {}), (3 * DAY, {})]), start=MONDAY)
    )
    noons = [
        (12 * HOUR + day * DAY + late, (day != 1, late == 0))
        for day in range(3)
        for late in (0, 10)
    ]
    edges = [(hour * HOUR + day * DAY, (hour == 8, False)) for day in (0, 2) for hour in (8, 17)]
    assert changes == [(0, (False, False)), *sorted(noons + edges), (3 * DAY, (False, False))]


def test_an_event_is_caught_up_after_a_short_outage_alone() -> None:
    noon = 12 * HOUR
    for back, late in [(noon + 60_000, "1"), (noon + 60_010, "0")]:
        shown = rows_of(
            BY_CLOCK,
            [(0, {}), (20, {"power": 0}), (30, {"power": 1}), (60, {})],
            start=MONDAY + back - 30,
        )
        # bell is the second output; the first scan after the cut is at 30
        assert [shown[t][1] for t in (0, 30, 40)] == [
            "1",
            late,
            "0",
        ]


def test_a_year_of_clocks_costs_its_events() -> None:
    changes = list(
        run_table_changes(BY_CLOCK, stimulus_rows([(0, {}), (365 * DAY, {})]), start=MONDAY)
    )
    # two edges a day but for one holiday, and a horn on and off each day, between first and last
    assert len(changes) == 2 + 364 * 2 + 365 * 2


def test_statements_that_are_no_clocks_are_not_run() -> None:
    for statement in (
        "clock office from 08:00",
        "clock other from 08:00 to 17:00",
        "clock office from 08:00 to 17:00 clock more at 10:00",
        "clock office from 08:00 to 17:00 output lamp at R1",
        "clock office from 08:00 to 17:00\n",
        "output office at R1",
        "",
    ):
        clocks = (TableClock(name="office", statement=statement), BY_CLOCK.clocks[1])
        table = BY_CLOCK.model_copy(update={"clocks": clocks})
        assert [where for where, _ in clock_program(table)[1]] == [("clocks", 0, "statement")]
        with pytest.raises(TableFault, match="the clocks cannot be used"):
            list(run_table(table, stimulus_rows([(0, {})])))


# --- switching tables -----------------------------------------------------------------------------


def switching(*rows: SwitchingRow, retains: bool = False, relays: int = 2) -> TableFile:
    return TableFile(
        kind="switching",
        retains=retains,
        site='site zone "UTC"',
        signals=(
            *(signal("a"), signal("b")),
            TableSignal(name="bell", kind="clock"),
            TableSignal(name="office", kind="clock"),
        ),
        outputs=outputs(*(f"k{i}" for i in range(1, relays + 1))),
        clocks=(
            TableClock(name="bell", statement="clock bell at 00:00:01"),
            TableClock(name="office", statement="clock office from 00:00:01 to 00:00:02"),
        ),
        switching=rows,
    )


def act(event: str, device: str, *acts: Act, delay: int = 0) -> SwitchingRow:
    return SwitchingRow.model_validate(
        {"event": event, "device": device, "acts": acts, "delay_ms": delay}
    )


def test_power_up_sets_the_relays_and_inputs_move_them_when_they_change() -> None:
    table = switching(
        act("power-up", "", "on", "leave"),
        act("closes", "a", "flip", "leave"),
        act("opens", "a", "leave", "on"),
        act("closes", "b", "off", "off"),
    )
    shown = rows_of(
        table, [(0, {"a": 1}), (10, {"a": 0}), (20, {"a": 1}), (30, {"a": 0, "b": 1}), (40, {})]
    )
    # at 30 opens a (second on) and then closes b (both off), in the order of the signals
    assert shown == {0: "10", 10: "11", 20: "01", 30: "00", 40: "00"}


def test_a_relay_that_no_row_sets_begins_off() -> None:
    assert rows_of(switching(), [(0, {"a": 1}), (10, {})]) == {0: "00", 10: "00"}


@pytest.mark.parametrize(("retains", "after"), [(True, "01"), (False, "00")])
def test_relays_keep_their_state_over_a_cut_only_where_the_board_retains(
    retains: bool, after: str
) -> None:
    table = switching(
        act("power-up", "", "off", "leave"), act("closes", "a", "on", "on"), retains=retains
    )
    shown = rows_of(table, [(0, {}), (10, {"a": 1}), (20, {"power": 0}), (30, {"power": 1})])
    # the input is closed at power-up, which is no event
    assert shown == {0: "00", 10: "11", 30: after}


def test_a_delayed_row_acts_once_after_the_input_has_stayed() -> None:
    table = switching(
        act("closes", "a", "on", "leave"), act("opens", "a", "flip", "leave", delay=25)
    )
    shown = rows_of(
        table,
        [(0, {}), (10, {"a": 1}), (20, {"a": 0}), (40, {"a": 1}), (50, {"a": 0}), (120, {})],
    )
    # open for two scans only, then from 50 on: 25 ms are over at 80, once
    assert {t: bits[0] for t, bits in shown.items() if t >= 40} == {
        **dict.fromkeys((40, 50, 60, 70), "1"),
        **dict.fromkeys((80, 90, 100, 110, 120), "0"),
    }


def test_a_power_cut_begins_a_delay_anew() -> None:
    table = switching(act("closes", "a", "on", "leave", delay=30), retains=True)
    cut = [(0, {}), (10, {"a": 1}), (25, {"power": 0}), (26, {"power": 1}), (100, {})]
    shown = rows_of(table, cut)
    assert {shown[t] for t in (30, 40, 50)} == {"00"}
    assert shown[60] == "10"
    cut[3] = (26, {"power": 1, "a": 0})
    assert set(rows_of(table, cut).values()) == {"00"}
    assert rows_of(table, [(0, {}), (10, {"a": 1}), (100, {})])[40] == "10"


def test_what_stands_so_at_power_up_is_no_event_but_for_delays() -> None:
    table = switching(act("opens", "b", "on", "on"), act("opens", "a", "leave", "on", delay=20))
    assert rows_of(table, [(0, {}), (30, {})]) == {0: "00", 10: "00", 20: "01", 30: "01"}


def test_delays_of_one_scan_act_in_the_order_of_their_times() -> None:
    table = switching(
        act("closes", "a", "on", "on", delay=15), act("closes", "a", "off", "leave", delay=11)
    )
    assert rows_of(table, [(0, {}), (10, {"a": 1}), (30, {})])[30] == "11"


def test_a_clock_event_acts_after_inputs_and_delays_of_the_scan() -> None:
    table = switching(
        act("at", "bell", "off", "leave"),
        act("closes", "a", "on", "leave"),
        act("closes", "b", "leave", "flip", delay=10),
        act("closes", "office", "leave", "on"),
        act("opens", "office", "leave", "off"),
    )
    shown = rows_of(table, [(0, {}), (990, {"b": 1}), (1_000, {"a": 1}), (2_010, {})], start=MONDAY)
    # at 1,000: a closes (k1 on), the window closes (k2 on), b has stayed (k2 flips), bell (k1 off)
    assert shown[990] == "00"
    assert {shown[t] for t in range(1_000, 2_011, 10)} == {"00"}
    without_bell = table.model_copy(update={"switching": table.switching[1:]})
    shown = rows_of(without_bell, [(0, {}), (980, {"a": 1, "b": 1}), (2_010, {})], start=MONDAY)
    # now b's delay is over at 990 and flips k2 on, the window finds it on and takes it off again
    assert [shown[t] for t in (970, 980, 990, 1_000, 1_990, 2_000)] == [
        *("00", "10", "11", "11", "11", "10"),
    ]


def test_a_row_for_more_relays_than_there_are_is_a_fault() -> None:
    with pytest.raises(TableFault, match="row 1 has 3 acts for 2 relays"):
        Emulator(switching(act("power-up", "", "on", "on", "on")))


# --- runs -----------------------------------------------------------------------------------------


def test_stimulus_files_are_read_by_the_inputs_of_the_table() -> None:
    program = stimulus_program(SEAL_IN)
    assert [(d.name, d.side) for d in program.inputs] == [("start", "NO"), ("stop", "NC")]
    text = "t_ms,start,power\n0,1,1\n20,0,1\n30,0,1\n"
    stimulus, findings = read_stimulus(source_from_text(text), program)
    assert not findings
    assert [values for _, values in run_table(SEAL_IN, stimulus)] == [(True,)] * 4
    assert table_columns(SEAL_IN) == ("motor",)
    _, findings = read_stimulus(source_from_text("t_ms,strat\n0,1\n"), program)
    assert [(f.code, f.fix) for f in findings] == [("stimulus", "did you mean 'start'?")]


def test_changes_are_the_rows_that_differ_with_first_and_last() -> None:
    given = stimulus_rows([(0, {}), (20, {"a": 1}), (90, {})])
    every = list(run_table(on_delay(30), given))
    differing = [row for row, before in zip(every[1:], every, strict=False) if row[1] != before[1]]
    assert list(run_table_changes(on_delay(30), given)) == [every[0], *differing, every[-1]]


def test_the_emulator_loads_no_engine() -> None:
    probe = "import sys, rungs.table.emulator\nprint(*sorted(sys.modules))"
    shown = subprocess.run(
        [sys.executable, "-c", probe], capture_output=True, text=True, check=True, timeout=60
    )
    loaded = set(shown.stdout.split())
    assert "rungs.scan.wall" in loaded
    engines = {f"rungs.scan.{name}" for name in ("reference", "runner", "fast", "wide", "trace")}
    assert not [m for m in loaded if m in engines or m.startswith("rungs.core")]


# --- against other readings -----------------------------------------------------------------------

NAMES = ("a", "b")


@st.composite
def stimuli(draw: st.DrawFn) -> tuple[StimulusRow, ...]:
    t, rows = 0, []
    for _ in range(draw(st.integers(1, 12))):
        circuits = {name: draw(st.booleans()) for name in NAMES}
        rows.append(StimulusRow(t, circuits, draw(st.integers(0, 7)) > 0))
        t += draw(st.sampled_from((10, 20, 10, 5, 30, 7, 100, 300, 0)))
    return (*rows, StimulusRow(t + 200, {}, draw(st.integers(0, 7)) > 0))


@st.composite
def any_machines(draw: st.DrawFn) -> TableFile:
    """Tables that leave nothing out, with every flag drawn: what rows say need make no sense."""
    count = draw(st.integers(1, 3))
    names = [f"s{i}" for i in range(count)]
    signals = (
        signal("a", draw(st.sampled_from((0, 15, 20)))),
        signal("b"),
        TableSignal(name="t.due", kind="due"),
        TableSignal(name="u.due", kind="due"),
        TableSignal(name=draw(st.sampled_from(("bell", "office"))), kind="clock"),
    )
    bits = draw(st.randoms(use_true_random=False))
    rows = []
    sticky = draw(st.booleans())  # machines that stay where they are let more scans be jumped
    for state in names:
        for pattern in product("01", repeat=5):
            told = ["".join(bits.choice("01") for _ in range(2)) for _ in range(2)]
            clears = ["0" + bits.choice("0001") for _ in range(2)]
            target = state if sticky and bits.random() < 0.8 else bits.choice(names)
            outs, run = told[0], "11" if sticky and bits.random() < 0.8 else told[1]
            rows.append(f"{state} {''.join(pattern)} {target} {outs} {run} {clears[0]} {clears[1]}")
    preset = st.sampled_from((1, 10, 15, 30, 45, 200))
    return TableFile(
        kind="transition",
        site='site zone "UTC"',
        signals=signals,
        outputs=outputs("x", "y"),
        timers=(
            TableTimer(name="t", kind="on-delay", preset_ms=draw(preset)),
            TableTimer(
                name="u", kind="accumulating", preset_ms=draw(preset), retained=draw(st.booleans())
            ),
        ),
        clocks=(
            TableClock(name="bell", statement="clock bell at 00:00:00 catch up 50ms"),
            TableClock(name="office", statement="clock office from 00:00 to 00:00:01"),
        ),
        start=draw(st.sampled_from(names)),
        states=tuple(
            TableState(name=name, after_power_cut=draw(st.sampled_from(names))) for name in names
        ),
        transitions=moves(*rows),
    )


@settings(deadline=None, max_examples=60)
@given(any_machines(), stimuli(), st.sampled_from((10, 10, 5, 20, 7)), st.integers(-400, 100))
def test_jumping_shows_what_single_scans_show(
    table: TableFile, stimulus: tuple[StimulusRow, ...], period: int, offset: int
) -> None:
    start = MONDAY + offset
    every = list(run_table(table, stimulus, start, period, jump=False))
    assert list(run_table(table, stimulus, start, period)) == every
    changes = [
        row for i, row in enumerate(every) if i in (0, len(every) - 1) or row[1] != every[i - 1][1]
    ]
    assert list(run_table_changes(table, stimulus, start, period)) == changes


@st.composite
def any_switching(draw: st.DrawFn) -> TableFile:
    keys = [("power-up", "", 0), ("at", "bell", 0)]
    keys += [
        (event, device, delay)
        for event in ("closes", "opens")
        for device in ("a", "b", "office")
        for delay in (0, 15, 200)
    ]
    acts: st.SearchStrategy[Act] = st.sampled_from(get_args(Act))
    chosen = draw(st.lists(st.sampled_from(keys), unique=True))
    rows = [act(e, d, draw(acts), draw(acts), delay=ms) for e, d, ms in chosen]
    return switching(*rows, retains=draw(st.booleans()))


@settings(deadline=None, max_examples=80)
@given(any_switching(), stimuli(), st.integers(-400, 1_100))
def test_jumping_shows_what_single_scans_show_of_switching_tables(
    table: TableFile, stimulus: tuple[StimulusRow, ...], offset: int
) -> None:
    every = list(run_table(table, stimulus, MONDAY + offset, jump=False))
    assert list(run_table(table, stimulus, MONDAY + offset)) == every


SEALED_PROGRAM = """
input a at I1 NO debounce 15ms
input b at I2 NC
output lamp at R1
rung (a or lamp) and b -> lamp
"""
DELAYED_PROGRAM = """
input a at I1 NO debounce 20ms
input b at I2 NO
timer t on-delay 45ms
output lamp at R1
rung a and not b -> t
rung t -> lamp
"""
LINGERING_PROGRAM = """
input a at I1 NO
input b at I2 NO
timer t off-delay 45ms
output lamp at R1
rung a -> t
rung t or b -> lamp
"""

# each lowered by hand: an off-delay is an on-delay that runs while its contact outlives its coil
LOWERED = {
    SEALED_PROGRAM: TableFile(
        kind="transition",
        signals=(signal("a", 15), signal("b", at_rest=True)),
        outputs=outputs("lamp"),
        start="off",
        states=states(off="off", on="off"),
        transitions=moves(
            *("off 11 on 1", "off 01 off 0", "off -0 off 0", "on -1 on 1", "on -0 off 0")
        ),
    ),
    DELAYED_PROGRAM: TableFile(
        kind="transition",
        signals=(signal("a", 20), signal("b"), TableSignal(name="t.due", kind="due")),
        outputs=outputs("lamp"),
        timers=(TableTimer(name="t", kind="on-delay", preset_ms=45),),
        start="s",
        states=states(s="s"),
        transitions=moves(
            *("s 0-- s 0 0", "s 11- s 0 0", "s 100 s 0 1", "s 101 s 1 1"),
        ),
    ),
    LINGERING_PROGRAM: TableFile(
        kind="transition",
        first_match=True,
        signals=(signal("a"), signal("b"), TableSignal(name="t.due", kind="due")),
        outputs=outputs("lamp"),
        timers=(TableTimer(name="t", kind="on-delay", preset_ms=45),),
        start="rest",
        states=states(rest="rest", held="rest"),
        transitions=moves(
            *("rest 1-- held 1 0", "rest 01- rest 1 0", "rest --- rest 0 0"),
            *("held 1-- held 1 0", "held 011 rest 1 1", "held 001 rest 0 1", "held 0-0 held 1 1"),
        ),
    ),
}


@settings(deadline=None, max_examples=60)
@given(st.sampled_from(sorted(LOWERED)), stimuli(), st.sampled_from((10, 5, 20)))
def test_tables_lowered_by_hand_do_what_the_interpreter_does(
    text: str, stimulus: tuple[StimulusRow, ...], period: int
) -> None:
    program = program_of(text)
    lamp = [d.name for d in program.devices if d.name not in NAMES].index("lamp")
    expected = [(t, (row[lamp],)) for t, row in trace(program, stimulus, period=period)]
    assert list(run_table(LOWERED[text], stimulus, period=period)) == expected
