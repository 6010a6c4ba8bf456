"""Every engine held against published event tables and hand-worked traces, one test body for all.

Two engines that agree prove nothing while both could be wrong in the same way, so each is shown the
same evidence. Tables marked "IEC 61131-3, FROM MEMORY" were written down from the standard's timing
diagrams and block bodies without the text at hand; rows with a preset of zero, with a preset
changed while timing, or with an edge in the first scan are left out, since the language excludes
them or differs there on purpose.
"""

from __future__ import annotations

import pytest

from rungs.program import nodes
from rungs.program.nodes import (
    Clock,
    Compare,
    Contact,
    Counter,
    Device,
    Input,
    Output,
    Parallel,
    Program,
    Relay,
    Series,
    TimeOfDay,
    Timer,
    TimerKind,
)
from tests.by_hand import (
    LAMP,
    MARK,
    START,
    STOP,
    at,
    changes,
    falling,
    numbers,
    off,
    on,
    panel,
    rising,
    shown,
    steps,
)
from tests.engines import ENGINES
from tests.second_reading import Power, Row, UpDownCounter, play


@pytest.fixture(params=ENGINES, autouse=True)
def engine(request: pytest.FixtureRequest, monkeypatch: pytest.MonkeyPatch) -> None:
    """Let `play` be each engine in turn, for every test of this module."""
    monkeypatch.setitem(globals(), "play", ENGINES[request.param])


# --- timers, event by event: IEC 61131-3, FROM MEMORY -----------------------------------------

# rows of t_ms, IN, Q, ET_ms with PT = 500 ms
IEC_TIMERS: list[tuple[str, TimerKind, str]] = [
    (
        "TON basic on-delay",
        "on-delay",
        "0 0 0 0, 100 1 0 0, 350 1 0 250, 599 1 0 499, 600 1 1 500, 900 1 1 500, 1000 0 0 0, "
        "1200 0 0 0",
    ),
    (
        "TON input drops before preset",
        "on-delay",
        "0 0 0 0, 100 1 0 0, 400 1 0 300, 401 0 0 0, 600 0 0 0, 700 1 0 0, 1199 1 0 499, "
        "1200 1 1 500",
    ),
    (
        "TON one-ms drop-out restarts",
        "on-delay",
        "0 1 0 0, 499 1 0 499, 500 0 0 0, 501 1 0 0, 1000 1 0 499, 1001 1 1 500",
    ),
    ("TON IN true at first evaluation", "on-delay", "0 1 0 0, 500 1 1 500"),
    (
        "TOF basic off-delay",
        "off-delay",
        "0 0 0 0, 100 1 1 0, 400 1 1 0, 500 0 1 0, 750 0 1 250, 999 0 1 499, 1000 0 0 500, "
        "1300 0 0 500, 1400 1 1 0",
    ),
    (
        "TOF re-energised while timing",
        "off-delay",
        "0 1 1 0, 100 0 1 0, 400 0 1 300, 500 1 1 0, 700 1 1 0, 800 0 1 0, 1299 0 1 499, "
        "1300 0 0 500",
    ),
    ("TOF never energised", "off-delay", "0 0 0 0, 2000 0 0 0"),
    (
        "TP basic pulse, IN shorter than PT",
        "pulse",
        "0 0 0 0, 100 1 1 0, 200 1 1 100, 250 0 1 150, 599 0 1 499, 600 0 0 0, 800 0 0 0",
    ),
    (
        "TP IN longer than PT",
        "pulse",
        "0 0 0 0, 100 1 1 0, 599 1 1 499, 600 1 0 500, 900 1 0 500, 950 0 0 0",
    ),
    (
        "TP re-trigger while timing is ignored",
        "pulse",
        "0 1 1 0, 100 0 1 100, 200 1 1 200, 250 0 1 250, 300 1 1 300, 350 0 1 350, "
        "499 0 1 499, 500 0 0 0, 600 0 0 0",
    ),
    (
        "TP IN high again when pulse ends: no second pulse",
        "pulse",
        "0 1 1 0, 100 0 1 100, 400 1 1 400, 500 1 0 500, 800 1 0 500, 900 0 0 0, 1000 1 1 0, "
        "1500 1 0 500",
    ),
]


@pytest.mark.parametrize(("case", "kind", "table"), IEC_TIMERS, ids=[t[0] for t in IEC_TIMERS])
def test_timer_contacts_follow_the_published_event_table(
    case: str, kind: TimerKind, table: str
) -> None:
    events = numbers(table)
    # a pulse must not start in a first scan here, so tables that begin with IN = 1 come 1 ms late
    late = 1 if kind == "pulse" and events[0][1] else 0
    program = panel(
        [START, Timer("delay", kind, 500), MARK],
        (on("start"), "delay"),
        (Contact("timing", "delay"), "mark"),
    )
    rows: list[Row] = [(0, {})] if late else []
    rows += [(t + late, {"start": bool(state)}) for t, state, _, _ in events]
    scans = play(program, rows, period=1)
    for t, state, closed, elapsed in events:
        after = at(scans, t + late)
        assert after["delay"] == bool(closed), f"{case}: Q at {t}"
        busy = {
            "on-delay": state and elapsed < 500,
            "off-delay": not state and closed,
            "pulse": closed,
        }[str(kind)]
        assert after["mark"] == bool(busy), f"{case}: timing at {t}"


# --- timers, worked by hand from the language page: COMPUTED ----------------------------------


@pytest.mark.parametrize(
    ("kind", "preset", "states", "expected"),
    [
        # 15 ms on a 10 ms grid: the first scan with elapsed >= 15 is the second after the start
        ("on-delay", 15, "0111110", "0001110"),
        ("on-delay", 10, "01100", "00100"),
        ("off-delay", 15, "0110000", "0111100"),
        ("off-delay", 10, "010100", "011110"),
        ("pulse", 15, "0111111", "0110000"),
        # power gained in the very scan in which the pulse ends starts no new one
        ("pulse", 20, "01010110", "01100110"),
        ("pulse", 10, "0101010", "0101010"),
        # one scan on adds nothing; 15 ms are reached after two periods spent on
        ("accumulating", 15, "010110100110", "000000000011"),
        ("accumulating", 10, "0110", "0011"),
    ],
)
def test_timers_off_the_grid_act_at_the_first_scan_that_has_reached_the_preset(
    kind: TimerKind, preset: int, states: str, expected: str
) -> None:
    program = panel([START, Timer("delay", kind, preset)], (on("start"), "delay"))
    scans = play(program, steps("start", states))
    assert shown(scans, "delay") == expected


def test_an_accumulating_timer_keeps_its_sum_until_reset_and_order_decides_within_a_scan() -> None:
    clear = Input("clear", "I2")
    timer = Timer("hours", "accumulating", 21)
    above = panel([START, clear, timer], (on("clear"), "reset hours"), (on("start"), "hours"))
    below = panel([START, clear, timer], (on("start"), "hours"), (on("clear"), "reset hours"))
    rows: list[Row] = [
        (0, {"start": True}),
        (50, {"start": False}),
        (60, {"start": True, "clear": True}),
        (80, {"start": True}),
        (120, {"start": True}),
    ]
    # above: from nothing 10 ms at 70, 21 at 90. below: cleared at 70 as well, so all 10 ms later
    assert changes(play(above, rows), "hours") == [(0, False), (30, True), (60, False), (90, True)]
    assert changes(play(below, rows), "hours") == [(0, False), (30, True), (60, False), (100, True)]


def test_an_accumulating_timer_is_timing_while_on_and_short_of_its_preset() -> None:
    program = panel(
        [START, Timer("hours", "accumulating", 20), MARK],
        (on("start"), "hours"),
        (Contact("timing", "hours"), "mark"),
    )
    assert shown(play(program, steps("start", "0110111")), "mark") == "0110100"


def test_only_a_retained_sum_outlives_an_outage_and_the_outage_is_not_counted() -> None:
    def run(retained: bool, preset: int = 30) -> str:
        timer = Timer("hours", "accumulating", preset, retained=retained)
        program = panel([START, timer], (on("start"), "hours"))
        return shown(play(program, steps("start", "111!!11111")), "hours")

    # 20 ms before the outage; the first scan after it has no scan to count from
    assert run(retained=True) == "00001111"
    assert run(retained=True, preset=31) == "00000111"  # nothing on the sum at delivery
    assert run(retained=False) == "00000011"
    assert run(retained=False, preset=21) == "00000011"


def test_a_flasher_begins_closed_and_keeps_to_its_own_rhythm() -> None:
    blink = Timer("blink", "flasher", 15, off=10)
    program = panel(
        [START, blink, MARK], (on("start"), "blink"), (Contact("timing", "blink"), "mark")
    )
    scans = play(program, steps("start", "01111111111101"))
    # 15 on, 10 off from t = 10: closed in [10, 25), [35, 50), [60, 75), [85, 100), [110, 125)
    assert shown(scans, "blink") == "01101011010101"
    assert shown(scans, "mark") == "01111111111101"


def test_a_flasher_switches_at_the_very_millisecond() -> None:
    program = panel([START, Timer("blink", "flasher", 500, off=300)], (on("start"), "blink"))
    scans = play(program, [(0, {"start": True}), (1700, {"start": True})], period=1)
    expected = [(0, True), (500, False), (800, True), (1300, False), (1600, True)]
    assert changes(scans, "blink") == expected


def test_timers_begin_again_from_zero_after_an_outage() -> None:
    program = panel(
        [
            START,
            Timer("up", "on-delay", 20),
            Timer("down", "off-delay", 20),
            Timer("pulse", "pulse", 30),
            Timer("blink", "flasher", 10, off=30),
        ],
        (on("start"), "up, blink"),
        (on("start"), "down"),
        (on("start"), "pulse"),
    )
    scans = play(program, steps("start", "01110!0111!1110"))
    assert shown(scans, "up") == "00010" + "0001" + "0010"
    assert shown(scans, "blink") == "01000" + "0100" + "1000"
    # the off-delay that was running is forgotten, and power there in a first scan is not gained
    assert shown(scans, "down") == "01111" + "0111" + "1111"
    assert shown(scans, "pulse") == "01110" + "0111" + "0000"


# --- counters, edges, bistables: IEC 61131-3, FROM MEMORY -------------------------------------


def counting_panel() -> Program:
    """An up counter with down and reset inputs, and a relay for each count it may show."""
    devices: list[Device] = [Input(name, f"I{name}") for name in ("up", "down", "clear")]
    shows = [Relay(f"is_{n}") for n in range(4)]
    lines = [(Compare("parts", "==", n), f"is_{n}") for n in range(4)]
    return panel(
        [*devices, Counter("parts", 2), *shows],
        (on("up"), "parts"),
        (on("down"), "down parts"),
        (on("clear"), "reset parts"),
        *lines,
    )


@pytest.mark.parametrize(
    ("case", "table"),
    [  # rows of (CU, CD, R, Q, CV) with PV = 2
        (
            "CTU counts edges, Q at PV, keeps counting above PV",
            "0 0 0 0 0, 1 0 0 0 1, 1 0 0 0 1, 0 0 0 0 1, 1 0 0 1 2, 0 0 0 1 2, 1 0 0 1 3",
        ),
        (
            # ours: no power is gained in a first scan, so a scan at rest stands before
            "CTU reset has priority over an edge",
            "0 0 0 0 0, 1 0 0 0 1, 0 0 0 0 1, 1 0 1 0 0, 1 0 0 0 0, 0 0 0 0 0, 1 0 0 0 1",
        ),
        (
            "CTUD simultaneous up and down edges cancel",
            "0 0 0 0 0, 1 0 0 0 1, 0 0 0 0 1, 1 1 0 0 1, 0 0 0 0 1, 1 0 0 1 2",
        ),
        (
            "ours: never below zero, power there at first is not gained",
            "1 1 0 0 0, 0 0 0 0 0, 0 1 0 0 0, 1 0 0 0 1, 0 1 0 0 0",
        ),
    ],
)
def test_counters_follow_the_published_event_table(case: str, table: str) -> None:
    events = numbers(table)
    rows: list[Row] = [
        (10 * n, {"up": bool(up), "down": bool(down), "clear": bool(clear)})
        for n, (up, down, clear, _, _) in enumerate(events)
    ]
    scans = play(counting_panel(), rows)
    for n, (_, _, _, closed, count) in enumerate(events):
        after = at(scans, 10 * n)
        assert after["parts"] == bool(closed), f"{case}: Q in scan {n}"
        assert [k for k in range(4) if after[f"is_{k}"]] == [count], f"{case}: CV in scan {n}"


def test_a_counter_stops_at_its_largest_count() -> None:
    # CTU "saturates at PVmax", with the language's own largest count
    counter = UpDownCounter(preset=5, retained=False)
    counter.set_count(999_998)
    gained = Power(on=True, gained=True, now=0)
    counter.take("coil", gained)
    assert counter.count == 999_999
    counter.take("coil", gained)
    assert counter.count == 999_999
    counter.take("down", gained)
    assert counter.count == 999_998


def test_a_reset_above_the_counting_rung_lets_the_count_win() -> None:
    program = panel(
        [START, Counter("parts", 1)], (on("start"), "reset parts"), (on("start"), "parts")
    )
    assert shown(play(program, steps("start", "0110")), "parts") == "0100"


def test_only_a_retained_count_outlives_an_outage_and_held_power_counts_once() -> None:
    def run(retained: bool) -> str:
        program = panel([START, Counter("parts", 2, retained)], (on("start"), "parts"))
        return shown(play(program, steps("start", "01!1101")), "parts")

    assert run(retained=True) == "000001"
    assert run(retained=False) == "000000"


@pytest.mark.parametrize(
    ("op", "expected"),
    [(">=", "0011"), (">", "0001"), ("<=", "1110"), ("<", "1100"), ("==", "0010"), ("!=", "1101")],
)
def test_a_comparison_looks_at_the_count(op: nodes.CompareOp, expected: str) -> None:
    program = panel(
        [START, Counter("parts", 9), MARK],
        (on("start"), "parts"),
        (Compare("parts", op, 2), "mark"),
    )
    # the counts are 0 1 1 2 2 3
    seen = shown(play(program, steps("start", "010101")), "mark")
    assert seen[0] + seen[1] + seen[3] + seen[5] == expected


@pytest.mark.parametrize(
    ("kind", "states", "expected"),
    [
        ("rising", "01101", "01001"),  # R_TRIG normal
        ("falling", "10010", "01001"),  # F_TRIG normal after one true scan
        # ours: no edge of either kind in a first scan, where the standard's bodies give one
        ("rising", "11", "00"),
        ("falling", "00", "00"),
        ("rising", "01!1101", "010001"),
        ("falling", "11!0010", "000001"),
    ],
)
def test_edges_last_one_scan_and_none_comes_from_power_returning(
    kind: nodes.ContactKind, states: str, expected: str
) -> None:
    edge = Contact(kind, "start", memory=0)
    negated = Contact(kind, "start", negated=True, memory=1)
    program = panel([START, LAMP, MARK], (edge, "lamp"), (negated, "mark"))
    scans = play(program, steps("start", states))
    assert shown(scans, "lamp") == expected
    assert shown(scans, "mark") == expected.translate(str.maketrans("01", "10"))


@pytest.mark.parametrize("dominant", ["set", "reset"])
@pytest.mark.parametrize("before", [False, True])
@pytest.mark.parametrize("reset", [False, True])
@pytest.mark.parametrize("on_set", [False, True])
def test_bistables_follow_the_published_truth_tables_by_rung_order(
    dominant: str, before: bool, on_set: bool, reset: bool
) -> None:
    clear = Input("clear", "I2")
    rungs = [(on("start"), "latch mark"), (on("clear"), "unlatch mark")]
    program = panel([START, clear, MARK], *(rungs if dominant == "reset" else rungs[::-1]))
    rows: list[Row] = [(0, {"start": before}), (10, {"start": on_set, "clear": reset})]
    if dominant == "set":  # SR
        expected = on_set or (before and not reset)
    else:  # RS
        expected = not reset and (on_set or before)
    assert at(play(program, rows), 10)["mark"] == expected


def test_an_impulse_relay_flips_when_its_rung_gains_power_and_not_at_power_up() -> None:
    program = panel([START, MARK], (on("start"), "impulse mark"))
    assert shown(play(program, steps("start", "1101100111")), "mark") == "0001111000"
    kept = panel([START, Relay("mark", retained=True)], (on("start"), "impulse mark"))
    assert shown(play(kept, steps("start", "01!1101")), "mark") == "011110"


def test_each_impulse_rung_remembers_its_own_power() -> None:
    other = Input("other", "I2")
    program = panel(
        [START, other, MARK], (on("start"), "impulse mark"), (on("other"), "impulse mark")
    )
    rows: list[Row] = [
        (0, {}),
        (10, {"start": True}),
        (20, {"start": True, "other": True}),
        (30, {}),
        (40, {"start": True, "other": True}),
    ]
    assert shown(play(program, rows), "mark") == "01000"


# --- classic relay circuits (Kuphaldt, Lessons in Electric Circuits IV ch. 6, idea READ; tables
# COMPUTED from the circuits) ------------------------------------------------------------------

SEAL_IN = panel(
    [START, STOP, LAMP], (Series((Parallel((on("start"), on("lamp"))), on("stop"))), "lamp")
)


@pytest.mark.parametrize(
    "row", ["000 0", "001 0", "010 0", "011 1", "100 0", "101 0", "110 1", "111 1"]
)
def test_seal_in_next_state(row: str) -> None:
    start, stop, before, after = (c == "1" for c in row.replace(" ", ""))
    rows: list[Row] = [(0, {"start": before}), (10, {"start": start, "stop": stop})]
    scans = play(SEAL_IN, rows)
    assert at(scans, 0)["lamp"] == before
    assert at(scans, 10)["lamp"] == after


def test_seal_in_sequence() -> None:
    # power on, start, release, stop, release, both, stop released first, start released, broken
    pressed = [(0, 1), (1, 1), (0, 1), (0, 0), (0, 1), (1, 0), (1, 1), (0, 1), (0, 0)]
    rows: list[Row] = [
        (10 * n, {"start": bool(start), "stop": bool(stop)})
        for n, (start, stop) in enumerate(pressed)
    ]
    assert shown(play(SEAL_IN, rows), "lamp") == "011000110"


FORWARD_REVERSE = panel(
    [Input("fwd", "I1"), Input("rev", "I2"), STOP, Output("f", "R1"), Output("r", "R2")],
    (Series((Parallel((on("fwd"), on("f"))), on("stop"), off("r"))), "f"),
    (Series((Parallel((on("rev"), on("r"))), on("stop"), off("f"))), "r"),
)


@pytest.mark.parametrize(
    "row",  # FWD REV STOP_CLOSED F R -> F R; the rung of R sees the new F
    [
        *("00000 00", "00001 00", "00010 00", "00100 00", "00101 01", "00110 10"),
        *("01000 00", "01001 00", "01010 00", "01100 01", "01101 01", "01110 10"),
        *("10000 00", "10001 00", "10010 00", "10100 10", "10101 01", "10110 10"),
        *("11000 00", "11001 00", "11010 00", "11100 10", "11101 01", "11110 10"),
    ],
)
def test_forward_reverse_next_state(row: str) -> None:
    fwd, rev, stop, f, r, next_f, next_r = (c == "1" for c in row.replace(" ", ""))
    rows: list[Row] = [(0, {"fwd": f, "rev": r}), (10, {"fwd": fwd, "rev": rev, "stop": stop})]
    scans = play(FORWARD_REVERSE, rows)
    assert at(scans, 0) == {"f": f, "r": r}
    assert at(scans, 10) == {"f": next_f, "r": next_r}


def test_sequential_start_of_three_motors() -> None:
    program = panel(
        [
            *(Input("run", "I1"), Output("m1", "R1"), Output("m2", "R2"), Output("m3", "R3")),
            *(Timer("t1", "on-delay", 5000), Timer("t2", "on-delay", 5000)),
        ],
        (on("run"), "m1"),
        (on("m1"), "t1"),
        (on("t1"), "m2"),
        (on("m2"), "t2"),
        (on("t2"), "m3"),
    )
    table = [(0, 0, "000"), (1000, 1, "100"), (5999, 1, "100"), (6000, 1, "110")]
    table += [(10999, 1, "110"), (11000, 1, "111"), (20000, 1, "111"), (20500, 0, "000")]
    table += [(21000, 1, "100"), (24000, 0, "000"), (24500, 1, "100"), (29499, 1, "100")]
    table += [(29500, 1, "110")]
    scans = dict(play(program, [(t, {"run": bool(run)}) for t, run, _ in table], period=1))
    for t, _, motors in table:
        assert "".join("01"[scans[t][m]] for m in ("m1", "m2", "m3")) == motors, t


def test_a_two_timer_flasher_adds_a_scan_to_each_half_cycle() -> None:
    program = panel(
        [START, Timer("dark", "on-delay", 500), Timer("lit", "on-delay", 300), LAMP],
        (Series((on("start"), off("lit"))), "dark"),
        (on("dark"), "lit"),
        (on("dark"), "lamp"),
    )
    rows: list[Row] = [(0, {"start": True}), (2200, {"start": False}), (2201, {})]
    ideal = [(500, True), (800, False), (1300, True), (1600, False), (2100, True)]
    expected = [(t + late, state) for late, (t, state) in enumerate(ideal)]
    assert changes(play(program, rows, period=1), "lamp") == [(0, False), *expected, (2200, False)]


# --- the scan -----------------------------------------------------------------------------------


def test_a_contact_above_its_coil_shows_the_last_scan() -> None:
    program = panel([START, LAMP, MARK], (on("mark"), "lamp"), (on("start"), "mark"))
    assert shown(play(program, steps("start", "0110")), "mark") == "0110"
    assert shown(play(program, steps("start", "0110")), "lamp") == "0011"


def test_actions_of_a_rung_act_in_their_order() -> None:
    program = panel([START, MARK], (on("start"), "latch mark, unlatch mark, impulse mark"))
    assert shown(play(program, steps("start", "0110")), "mark") == "0100"


@pytest.mark.parametrize("joint", [Series, Parallel])
def test_an_edge_is_looked_at_even_where_the_rest_of_the_circuit_has_decided(
    joint: type[Series | Parallel],
) -> None:
    # the edge comes while the other contact has already decided; it must be over afterwards
    gate = Input("gate", "I2")
    decided = joint is Parallel
    circuit = joint((on("gate"), rising("start")))
    program = panel([START, gate, LAMP], (circuit, "lamp"))
    rows: list[Row] = [
        (0, {"gate": decided}),
        (10, {"gate": decided, "start": True}),
        (20, {"gate": not decided, "start": True}),
    ]
    # Series: closed gate, edge gone. Parallel: open gate, edge gone.
    assert at(play(program, rows), 20)["lamp"] is False


def test_two_edges_of_one_device_remember_apart() -> None:
    program = panel(
        [START, LAMP, MARK],
        (rising("start", 0), "mark"),
        (Parallel((rising("start", 1), falling("start", 2))), "lamp"),
    )
    scans = play(program, steps("start", "01100"))
    assert (shown(scans, "mark"), shown(scans, "lamp")) == ("01000", "01010")


def test_first_scan_is_closed_once_after_each_power_up() -> None:
    first, later = Contact("first_scan", ""), Contact("first_scan", "", negated=True)
    program = panel([START, LAMP, MARK], (first, "lamp"), (later, "mark"))
    scans = play(program, steps("start", "!00!!00"))
    assert [t for t, _ in scans] == [10, 20, 50, 60]
    assert (shown(scans, "lamp"), shown(scans, "mark")) == ("1010", "0101")
    assert shown(play(program, steps("start", "000")), "lamp") == "100"


def test_an_outage_between_two_scans_is_a_power_cut() -> None:
    program = panel([START, LAMP], (Parallel((on("start"), on("lamp"))), "lamp"))
    rows: list[Row] = [
        (0, {"start": True}),
        (10, {}),
        (23, {"power": False}),
        (26, {"power": True}),
        (40, {}),
    ]
    scans = play(program, rows)
    assert [t for t, _ in scans] == [0, 10, 20, 30, 40]
    assert shown(scans, "lamp") == "11100"


def test_retained_devices_keep_their_state_and_the_others_lose_it() -> None:
    program = panel(
        [START, Relay("kept", retained=True), Output("held", "R2", retained=True), MARK],
        (on("start"), "latch kept, latch mark, latch held"),
    )
    scans = play(program, steps("start", "010!00"))
    assert shown(scans, "kept") == shown(scans, "held") == "01111"
    assert shown(scans, "mark") == "01100"


def test_a_retained_coil_is_seen_above_its_rung_in_the_first_scan_only() -> None:
    program = panel(
        [START, Relay("mark", retained=True), LAMP], (on("mark"), "lamp"), (on("start"), "mark")
    )
    assert shown(play(program, steps("start", "01!00")), "lamp") == "0010"


def test_inputs_without_a_column_rest_and_a_row_holds_until_the_next() -> None:
    program = panel([START, STOP, LAMP, MARK], (on("start"), "lamp"), (on("stop"), "mark"))
    scans = play(program, [(0, {"stop": False}), (15, {"start": True}), (25, {"start": True})])
    # the last row stands between scans: the run ends with the scan before it
    assert [t for t, _ in scans] == [0, 10, 20]
    assert (shown(scans, "lamp"), shown(scans, "mark")) == ("001", "001")


def test_a_pulse_of_an_input_between_two_scans_is_not_seen() -> None:
    program = panel([START, LAMP], (on("start"), "latch lamp"))
    rows: list[Row] = [(0, {}), (11, {"start": True}), (19, {}), (30, {})]
    assert shown(play(program, rows), "lamp") == "0000"


@pytest.mark.parametrize(
    ("debounce", "states", "expected"),
    [
        (0, "010110", "010110"),
        # first read differently at 10; 20 ms later is the scan at 30
        (20, "0111110", "0001111"),
        (20, "01101110000", "00000011100"),
        (15, "0111000", "0001110"),
        (10, "0110", "0011"),
        # at power-up the image is the circuit, at once
        (20, "10001!1000", "111001110"),
    ],
)
def test_an_image_changes_once_the_circuit_has_differed_for_the_debounce_time(
    debounce: int, states: str, expected: str
) -> None:
    program = panel([Input("start", "I1", debounce=debounce), LAMP], (on("start"), "lamp"))
    assert shown(play(program, steps("start", states)), "lamp") == expected


def test_outputs_relays_timers_counters_and_clocks_are_shown_in_file_order() -> None:
    clock = Clock("hours", TimeOfDay(0), TimeOfDay(1000))
    program = panel([MARK, clock, START, LAMP, Counter("parts", 1)], (on("start"), "lamp, parts"))
    scans = play(program, [(0, {})], clock_closed=lambda clock, t: True)
    assert list(scans[0][1]) == ["mark", "hours", "lamp", "parts"]


# --- clocks -------------------------------------------------------------------------------------


def event_run(instants: list[int], catch_up: int, rows: list[Row]) -> list[int]:
    """The scans in which an `at` clock with these instants is closed."""
    clock = Clock("bell", TimeOfDay(0), catch_up=catch_up)
    program = panel([START, clock, LAMP], (on("bell"), "lamp"))
    scans = play(program, rows, events={"bell": instants})
    assert all(states["bell"] == states["lamp"] for _, states in scans)
    return [t for t, states in scans if states["bell"]]


def test_an_event_closes_for_the_first_scan_at_or_after_its_instant() -> None:
    run: list[Row] = [(0, {}), (100, {})]
    assert event_run([20], 0, run) == [20]
    assert event_run([21, 55], 0, run) == [30, 60]
    assert event_run([21, 25, 31], 0, run) == [30, 40]
    # no scan before it has been made since power-up
    assert event_run([0, -5], 0, run) == []


def test_an_event_missed_in_an_outage_comes_late_only_within_its_catch_up() -> None:
    run: list[Row] = [(0, {}), (30, {"power": False}), (60, {}), (100, {})]
    assert event_run([35], 0, run) == []
    assert event_run([35], 24, run) == []
    assert event_run([35], 25, run) == [60]
    assert event_run([-500, 35, 500], 25, run) == [60]
    assert event_run([60], 0, run) == []
    assert event_run([60], 10, run) == [60]
    assert event_run([61], 10, run) == [70]
    # any power-up counts, the very first one too
    assert event_run([-10], 10, run) == [0]
    assert event_run([-11], 10, run) == []


def test_a_window_is_what_the_clock_says_at_each_scan() -> None:
    clock = Clock("hours", TimeOfDay(0), TimeOfDay(1000))
    program = panel([START, clock, LAMP], (on("hours"), "lamp"))
    rows: list[Row] = [(0, {}), (60, {})]
    scans = play(program, rows, clock_closed=lambda asked, t: asked is clock and 20 <= t < 40)
    assert shown(scans, "hours") == shown(scans, "lamp") == "0011000"
