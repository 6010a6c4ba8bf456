"""A chart as rows of characters, against a look at every ms of every column."""

from __future__ import annotations

from datetime import date, timedelta
from itertools import pairwise
from time import perf_counter

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.cells import columns as width
from rungs.cells import cut, safe
from rungs.chart.axis import ticks
from rungs.chart.data import Chart, Trace, Wall, wall_of
from rungs.chart.rows import ZOOMS, CellKind, ChartRows, chart_rows, plain_text, zoom_for
from rungs.scan.zone import DAY, HOUR, MINUTE, SECOND, load_zone
from tests.test_chart_data import charts, slow_state, texts


def expected(chart: Chart, trace: Trace, first: int, before: int) -> tuple[CellKind, bool | None]:
    """The kind of the cell of the ms from `first` up to `before`, and which way it changes or
    stands, by looking at each ms."""
    inside = [t for t in range(first, before) if chart.begin <= t <= chart.end]
    if not inside:
        return "outside", None
    looked = [max(inside[0] - 1, chart.begin), *inside]
    states = [slow_state(chart, trace, t) for t in looked]
    moves = [(a, b) for a, b in pairwise(states) if a != b]
    if len(moves) > 1:
        return "busy", None
    was, now = moves[0] if moves else (states[0], states[0])
    if now is None:
        return "off", None
    if was is None or was == now:
        return ("high" if now else "low"), now
    return "change", now


def lines(rows: ChartRows) -> list[str]:
    return ["".join(cell.sign for cell in row.cells) for row in (*rows.axis, *rows.traces)]


@settings(max_examples=60)
@given(
    charts(),
    st.integers(-15, 60),
    st.sampled_from([1, 1, 2, 3, 7, 20, 50]),
    st.integers(20, 80),
    st.booleans(),
)
def test_each_cell_shows_what_a_look_at_each_of_its_ms_finds(
    chart: Chart, since: int, ms: int, columns: int, ascii_only: bool
) -> None:
    first = chart.begin + since
    rows = chart_rows(chart, first, ms, columns, None, ascii_only)
    assert len(rows.traces) == len(chart.traces)
    rise, fall = "/\\" if ascii_only else "\u2571\u2572"
    for trace, row in zip(chart.traces, rows.traces, strict=True):
        assert len(row.cells) == columns
        for k, cell in enumerate(row.cells):
            kind, way = expected(chart, trace, first + k * ms, first + (k + 1) * ms)
            assert cell.kind == kind, (k, cell)
            if kind == "change":
                assert cell.sign == (rise if way else fall)


@settings(max_examples=60)
@given(charts(hostile=True), st.integers(-30, 180), st.integers(1, 40), st.none() | st.integers(0))
def test_ascii_rows_are_ascii_and_no_row_carries_a_control_character(
    chart: Chart, first: int, ms: int, cursor: int | None
) -> None:
    text = plain_text(chart_rows(chart, first, ms, 40, cursor, ascii_only=True))
    assert text.isascii()
    for shown in (text, plain_text(chart_rows(chart, first, ms, 40, cursor))):
        rest = shown.replace("\n", "").replace("\u200c", "").replace("\u200d", "")
        assert rest.isprintable()
        assert shown.count("\n") == len(chart.traces) + 2


def pulse(ms: int) -> Chart:
    return Chart("", 0, 3 * DAY, 10, traces=(Trace("a", "input", changes=(HOUR, HOUR + ms)),))


@pytest.mark.parametrize("zoom", ZOOMS)
def test_a_pulse_of_a_scan_is_seen_at_every_scale(zoom: object) -> None:
    ms = getattr(zoom, "ms", 0)
    (row,) = chart_rows(pulse(10), HOUR - 2 * ms, ms, 10).traces
    kinds = [cell.kind for cell in row.cells if cell.kind != "outside"]
    assert {"busy", "change"} & set(kinds)
    if ms > 10:
        assert kinds.count("busy") == 1


@pytest.mark.parametrize("ascii_only", [False, True])
def test_every_state_has_a_sign_of_its_own_without_any_tone(ascii_only: bool) -> None:
    trace = Trace("a", "input", changes=(5, 20, 31, 33, 35))
    chart = Chart("", 0, 59, 1, traces=(trace,), off=((40, 50),))
    (row,) = chart_rows(chart, 0, 5, 12, ascii_only=ascii_only).traces
    signs = {(cell.kind, cell.sign) for cell in row.cells}
    assert {kind for kind, _ in signs} == {"low", "high", "change", "busy", "off"}
    assert len({sign for _, sign in signs}) == len(signs) == 6  # a change goes up or down


def test_a_dip_of_the_supply_within_a_column_is_not_hidden() -> None:
    chart = Chart("", 0, 1000, 10, traces=(Trace("a", "relay", starts=True),), off=((510, 520),))
    (row,) = chart_rows(chart, 0, 100, 10).traces
    assert [cell.kind for cell in row.cells] == ["high"] * 5 + ["busy"] + ["high"] * 4


def test_rows_as_text_line_up_and_tell_the_values_at_the_cursor() -> None:
    chart = Chart(
        "Door",
        0,
        10_000,
        10,
        traces=(
            Trace("door", "input", changes=(2_000, 6_000)),
            Trace("visits", "counter", changes=(), counts=((0, 0), (2_000, 12), (8_000, 13))),
        ),
        off=((9_000, 9_500),),
    )
    shown = plain_text(chart_rows(chart, 0, 250, 41, 4_100, ascii_only=True))
    assert shown.splitlines() == [
        "time of run    0s  1s  2s  3s  4s  5s  6s  7s  8s  9s",
        "               +---+---+---+---v---+---+---+---+---+---+",
        "door         1 ________/###############\\___________  ___",
        "visits      12 ____________________________________  ___",
    ]
    dark = chart_rows(chart, 0, 250, 41, 9_200)
    assert [row.value for row in dark.traces] == ["", ""]
    assert dark.cursor == 36


def test_a_cursor_out_of_sight_leaves_no_mark() -> None:
    chart = pulse(10)
    for cursor in (-1, 999, 2_000):
        rows = chart_rows(chart, 1_000, 10, 100, cursor)
        assert rows.cursor is None
        assert all(cell.kind != "cursor" for cell in rows.axis[1].cells)
    rows = chart_rows(chart, 1_000, 10, 100, 1_999)
    assert rows.cursor == 99
    assert [k for k, cell in enumerate(rows.axis[1].cells) if cell.kind == "cursor"] == [99]


@pytest.mark.parametrize("wrong", [(0, 10, 5), (10, 0, 5), (10, 10, 0)])
def test_sizes_under_one_are_refused(wrong: tuple[int, int, int]) -> None:
    ms, columns, names = wrong
    with pytest.raises(ValueError, match="at least 1"):
        chart_rows(pulse(10), 0, ms, columns, name_columns=names)


def test_scales_rise_and_the_one_for_a_chart_is_the_first_that_holds_it() -> None:
    sizes = [zoom.ms for zoom in ZOOMS]
    assert sizes == sorted(set(sizes))
    assert (ZOOMS[0].ms, ZOOMS[0].name) == (10, "10 ms")
    assert (ZOOMS[-1].ms, ZOOMS[-1].name) == (DAY, "1 day")
    units = {"ms": 1, "s": SECOND, "min": MINUTE, "h": HOUR, "day": DAY}
    for zoom in ZOOMS:
        number, unit = zoom.name.split()
        assert int(number) * units[unit] == zoom.ms
    for end in (0, 999, 1_000, 123_456, 3 * DAY):
        chart = Chart("", 0, end, 10)
        fit = zoom_for(chart, 100)
        assert fit.ms * 100 > end
        closer = [zoom for zoom in ZOOMS if zoom.ms < fit.ms]
        assert all(zoom.ms * 100 <= end for zoom in closer)
    assert zoom_for(Chart("", 0, 900 * DAY, 10), 100) == ZOOMS[-1]


# --- the axis

DAY_OF_CHANGE = {
    # COMPUTED with the IANA database: clocks go forward at 02:00 and back at 03:00 local time
    "forward": date(2026, 3, 29),
    "back": date(2026, 10, 25),
    "neither": date(2026, 6, 1),
}


def berlin(day: date) -> Wall:
    wall = wall_of(Chart("", 0, 1, 10, (day, 0), "Europe/Berlin"))
    assert wall is not None
    return wall


def test_marks_stand_at_round_wall_times_across_a_change_of_the_clocks() -> None:
    for name, hours in (("forward", 23), ("back", 25), ("neither", 24)):
        wall = berlin(DAY_OF_CHANGE[name])
        found = ticks(wall, 0, hours * HOUR, HOUR / 8)
        clocks = [tick.text for tick in found]
        once = [f"{hour:02}:00" for hour in range(1, 24)]
        if name == "forward":
            once.remove("02:00")
        if name == "back":
            once.insert(2, "02:00")
        day = DAY_OF_CHANGE[name]
        after = day + timedelta(days=1)
        assert clocks == [f"{day:%m-%d}", *once, f"{after:%m-%d}"]


@settings(max_examples=60)
@given(
    st.integers(0, 40 * DAY),
    st.integers(0, 6),
    st.integers(1, 5_000_000),
    st.integers(1, 200),
    st.sampled_from([None, *DAY_OF_CHANGE.values()]),
)
def test_marks_are_in_order_round_and_their_texts_never_touch(
    first: int, odd: int, ms: int, columns: int, day: date | None
) -> None:
    wall = None if day is None else berlin(day)
    first += odd
    last = first + ms * columns - 1
    found = ticks(wall, first, last, ms)
    for a, b in pairwise(found):
        assert b.t - a.t >= (len(a.text) + 2) * ms
    zone = load_zone("Europe/Berlin")
    assert zone is not None
    for tick in found:
        assert first <= tick.t <= last
        if wall is None:
            continue
        local, of_day = zone.local(wall.start + tick.t)
        if ":" in tick.text:
            parts = tick.text.replace(".", ":").split(":")
            values = [int(part) for part in parts] + [0] * (4 - len(parts))
            assert of_day == ((values[0] * 60 + values[1]) * 60 + values[2]) * 1000 + values[3]
        else:
            assert of_day == 0
            assert local.isoformat().endswith(tick.text)
    if columns >= 80:
        assert len(found) >= 1


def test_a_long_window_is_marked_by_whole_days() -> None:
    found = ticks(berlin(date(2026, 3, 20)), 0, 30 * DAY, DAY / 4)
    assert [tick.text for tick in found[:2]] == ["2026-03-23", "2026-03-28"]
    assert len(found) == 6


# --- words


@settings(max_examples=60)
@given(texts, st.integers(1, 12), st.booleans(), st.none() | st.integers(0, 5))
def test_cut_text_fits_and_text_that_fits_is_left_alone(
    text: str, columns: int, ascii_only: bool, tail: int | None
) -> None:
    shown = safe(text, ascii_only)
    short = cut(shown, columns, ascii_only, tail)
    assert width(short) <= columns
    if width(shown) <= columns:
        assert short == shown
    else:
        assert ("~" if ascii_only else "…") in short


def test_names_that_differ_at_their_ends_still_differ_when_cut() -> None:
    assert cut("gate_limit_switch_left", 12) == "gate_l…_left"
    assert cut("gate_limit_switch_right", 12) == "gate_l…right"
    assert cut("A long sentence", 7, tail=0) == "A long…"


# --- size


def test_a_long_record_costs_no_more_to_look_at_than_what_is_shown() -> None:
    end = 10 * DAY - 1
    traces = tuple(
        Trace(f"d{n}", "relay", changes=tuple(range(17 * n + 1, end, 8_640)[:100_000]))
        for n in range(40)
    )
    chart = Chart("", 0, end, 10, (date(2026, 1, 5), 0), "UTC", traces)
    begun = perf_counter()
    rows = chart_rows(chart, 0, 12 * HOUR, 200)
    close = chart_rows(chart, 5 * DAY, 10_000, 200)
    # a look at every change would take ten times as long on any machine
    assert perf_counter() - begun < 1.0
    assert all(cell.kind in ("busy", "outside") for row in rows.traces for cell in row.cells)
    for trace, row in list(zip(traces, close.traces, strict=True))[:3]:
        flips = [
            sum(5 * DAY + k * 10_000 <= t < 5 * DAY + (k + 1) * 10_000 for t in trace.changes)
            for k in range(3)
        ]
        kinds = [cell.kind for cell in row.cells[:3]]
        assert [k in ("low", "high") for k in kinds] == [n == 0 for n in flips]
        assert [k == "busy" for k in kinds] == [n > 1 for n in flips]
