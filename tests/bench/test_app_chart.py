"""The chart along the bottom: walking on it, its window, its traces, and writing it to a file."""

from __future__ import annotations

import csv
import io
from itertools import pairwise
from pathlib import Path

import pytest

from rungs.bench.session.charting import chart_of_session
from rungs.chart.rows import ZOOMS
from tests.bench.harness import Bench, bench, plain
from tests.bench.panels import session_of


def trace(b: Bench, name: str) -> str:
    """The signs of a trace, from the first column on."""
    names = b.app.painting.chart_names
    line = next(row for row in b.app.bench.chart._lines if name in plain(row)[:names])
    return plain(line)[names:]


async def run_lamp(b: Bench) -> None:
    """The lamp is on from 1 s to 2 s, and the run is 5 s long."""
    for ms in (1_000, 1_000):
        await b.wait(ms)
        await b.press("space")
    for _ in range(3):
        await b.wait(1_000)


async def test_a_small_chart_shows_the_outputs_and_how_much_time_a_column_is() -> None:
    async with bench() as b:
        shown = [row[:14].strip() for row in b.lines("#chart").split("\n")]
        assert shown == ["1 col 500 ms", "lamp", "pump", "flap"]
        await b.to("chart")
        await b.press("plus")
        assert b.lines("#chart").startswith(" 1 col 200 ms")


async def test_a_pulse_is_seen_where_it_was() -> None:
    async with bench(size=(100, 24)) as b:
        await run_lamp(b)
        shape = trace(b, "lamp")
        assert len(shape) == 100 - b.app.painting.chart_names
        assert shape.rstrip().endswith("▁▁▁▁▁")
        assert shape.count("▔") in (1, 2)  # half a second to a column


async def test_the_cursor_walks_by_columns_and_tells_what_moves() -> None:
    async with bench() as b:
        await run_lamp(b)
        await b.to("chart")
        step = ZOOMS[b.app.charting.zoom].ms
        await b.press("left")
        assert b.session.at == 5_000 - step
        assert b.past()
        assert not b.session.running
        assert b.says == "nothing moves in this scan"
        await b.press("right")
        assert not b.past()
        await b.press("home")
        assert b.session.at == 0
        await b.press("end")
        assert b.session.at == 5_000
        await b.press("right")
        assert b.session.at == 5_000


async def test_walking_shows_the_panel_of_that_moment() -> None:
    async with bench() as b:
        await run_lamp(b)
        await b.to("chart")
        while b.session.at > 1_500:
            await b.press("left")
        assert "lamp" in b.on()
        assert "┣━━" in b.text
        row = next(r for r in b.lines("#devices").split("\n") if " lamp" in r)
        assert "●" in row


async def test_the_window_stands_still_while_the_cursor_walks_in_it() -> None:
    async with bench() as b:
        await run_lamp(b)
        await b.to("chart")
        await b.press("left")
        before = trace(b, "lamp")
        await b.press("left", "left")
        assert trace(b, "lamp") == before


async def test_a_column_gets_more_or_less_time_down_to_a_scan() -> None:
    async with bench() as b:
        await run_lamp(b)
        await b.to("chart")
        wide = trace(b, "lamp").count("▔")
        await b.press("plus")
        assert b.says == "a column is 200 ms"
        assert trace(b, "lamp").count("▔") > wide
        await b.press(*["plus"] * 8)
        assert b.says == "a column is 10 ms"
        await b.press("left")
        assert b.session.at == 4_990
        await b.press(*["minus"] * (len(ZOOMS) + 2))
        assert b.says == f"a column is {ZOOMS[-1].name}"


async def test_zooming_keeps_the_moment_in_sight() -> None:
    async with bench() as b:
        await run_lamp(b)
        await b.to("chart")
        await b.press("left", "left")
        at = b.session.at
        for key in ("plus", "plus", "minus", "minus", "minus"):
            await b.press(key)
            assert b.session.at == at
            assert "▼" in b.lines("#chart")


async def test_traces_are_chosen_by_a_list() -> None:
    async with bench(size=(100, 40)) as b:
        await b.to("chart")
        await b.press("enter")
        assert "The traces of the chart" in b.text
        assert "[x] lamp_switch" in b.text
        await b.press("a")
        assert "[x]" not in b.text
        await b.press("down", "space", "down", "space", "enter")
        assert b.app.charting.names == ("stop", "start")
        shown = [row[:14].strip() for row in b.lines("#chart").split("\n")]
        assert [name for name in shown if name][-2:] == ["▸stop", "start"]


async def test_no_trace_at_all_is_no_answer() -> None:
    async with bench() as b:
        await b.to("chart")
        every = b.app.charting.names
        await b.press("enter", "a", "enter")
        assert b.dialogs == 0
        assert b.app.charting.names == every


async def test_arrows_walk_through_all_traces_and_keep_them_in_sight() -> None:
    async with bench() as b:
        await b.to("chart")
        for name in (*b.app.charting.names[1:], b.app.charting.names[0]):
            await b.press("down")
            assert b.app.subject == name
            assert any(row.startswith(f"▸{name[:11]}") for row in b.lines("#chart").split("\n"))
        await b.press("up")
        assert b.app.subject == b.app.charting.names[-1]


async def test_the_chart_has_four_sizes() -> None:
    async with bench(size=(100, 40)) as b:
        heights = []
        for _ in range(4):
            heights.append(b.app.bench.shares.chart)
            await b.press("y")
        assert heights == [*sorted(heights[:3]), 0]
        assert len(set(heights)) == 4
        assert b.app.bench.shares.chart == heights[0]


async def test_a_click_on_a_column_shows_its_moment() -> None:
    async with bench() as b:
        await run_lamp(b)
        names = b.app.painting.chart_names
        column = trace(b, "lamp").index("▔")
        await b.click("#chart", names + column, 1)
        assert b.session.in_past
        assert 1_000 <= b.session.at <= 2_000
        assert "lamp" in b.on()


async def test_a_click_on_a_name_chooses_its_trace() -> None:
    async with bench() as b:
        await b.click_on("#chart", "pump")
        assert b.app.subject == "pump"
        assert not b.past()


# --- to a file


@pytest.mark.parametrize("end", ["csv", "svg", "vcd", "SVG"])
async def test_the_run_is_written(end: str, tmp_path: Path) -> None:
    async with bench() as b:
        await run_lamp(b)
        path = tmp_path / f"run.{end}"
        await b.press("x")
        await b.fill_in(str(path))
        assert b.says == f"wrote {path}"
        text = path.read_text(encoding="utf-8")
        assert "lamp_switch" in text
        assert "a simulation" in text
        assert {"csv": '"lamp"', "svg": "<svg", "vcd": "$var"}[end.lower()] in text


async def test_the_csv_tells_when_the_lamp_moved(tmp_path: Path) -> None:
    async with bench() as b:
        await run_lamp(b)
        path = tmp_path / "run.csv"
        await b.press("x")
        await b.fill_in(str(path))
        lines = list(csv.reader(io.StringIO(path.read_text(encoding="utf-8"))))
        head = next(index for index, row in enumerate(lines) if "lamp" in row)
        place = lines[head].index("lamp")
        lamp = [row[place] for row in lines[head + 1 :]]
        moves = [new for old, new in pairwise(lamp) if old != new]
        assert moves == ["1", "0"]


async def test_an_existing_file_is_asked_about(tmp_path: Path) -> None:
    async with bench() as b:
        path = tmp_path / "run.csv"
        path.write_text("mine", encoding="utf-8")
        for answer, kept in (("n", True), ("escape", True), ("o", False)):
            await b.press("x")
            await b.fill_in(str(path))
            assert "is there already" in b.lines("#head").replace("\n", " ")
            await b.press(answer)
            assert b.dialogs == 0
            assert (path.read_text(encoding="utf-8") == "mine") == kept


async def test_a_file_of_another_kind_or_in_no_folder_is_told(tmp_path: Path) -> None:
    async with bench() as b:
        await b.press("x")
        await b.fill_in("run.png")
        assert b.lines("#wrong") == "the name ends in .csv, .svg or .vcd"
        await b.fill_in(str(tmp_path / "none" / "run.csv"))
        assert b.dialogs == 0
        assert "none" in b.says
        assert not list(tmp_path.iterdir())


# --- the chart of a session


def test_a_window_holds_what_moved_in_it() -> None:
    session = session_of()
    for _ in range(4):
        session.tick(1_000)
        session.touch("lamp_switch")
    session.tick(1_000)
    whole = chart_of_session(session, ("lamp",))
    assert whole.traces[0].changes == (1_010, 2_010, 3_010, 4_010)
    assert not whole.traces[0].starts
    part = chart_of_session(session, ("lamp",), 1_500, 3_500)
    assert (part.begin, part.end) == (1_500, 3_500)
    assert part.traces[0].starts
    assert part.traces[0].changes == (2_010, 3_010)


def test_a_window_outside_the_record_is_kept_inside() -> None:
    session = session_of()
    session.tick(1_000)
    chart = chart_of_session(session, ("lamp",), -5_000, 90_000)
    assert (chart.begin, chart.end) == (0, 1_000)


def test_power_cuts_are_in_the_chart() -> None:
    session = session_of()
    session.tick(1_000)
    session.switch_power(False)
    session.tick(500)
    session.switch_power(True)
    session.tick(500)
    (off,) = chart_of_session(session, ("lamp",)).off
    # dark from the scan that is not made, up to the first one that is again
    assert off == (1_010, 1_500)
