"""The sheets of a week: what is drawn is what the data says, on the paper, and nothing covers
anything else."""

from __future__ import annotations

import re
from collections.abc import Iterator
from datetime import date
from functools import cache
from itertools import combinations, pairwise
from pathlib import Path
from xml.etree import ElementTree

import pytest

from rungs.draw.week_svg import (
    HIGH,
    LEFT,
    MARGIN,
    RIGHT,
    SMALL,
    WIDE,
    Lane,
    instant_at,
    place,
    week_pictures,
    week_sheets,
)
from rungs.prove.budget import Budget
from rungs.scan.zone import HOUR, MINUTE
from rungs.svg import INK, LETTER
from rungs.week.build import week
from rungs.week.data import Week
from tests.helpers import program_of

DEMOS = Path(__file__).resolve().parents[1] / "demos"
SVG = "{http://www.w3.org/2000/svg}"

MANY = 'title "Many & <more>"\nsite "Here" zone "Europe/Berlin" latitude 52.5 longitude 13.4\n'
MANY += "".join(
    f"output lamp_{n} at R{n}\nclock hours_with_a_very_long_name_{n} from {n + 1:02}:00 to "
    f"{n + 1:02}:{50 + n} on Mon-Fri between 03-01 and 11-30\n"
    f"clock often_{n} at {n + 2:02}:30\n"
    f"rung hours_with_a_very_long_name_{n} -> lamp_{n}\n"
    for n in range(1, 6)
)
MANY += "output busy at R20\n" + "".join(
    f"clock each_{n} from {n:02}:00 to {n:02}:30\n" for n in range(0, 24, 2)
)
MANY += "rung " + " or ".join(f"each_{n}" for n in range(0, 24, 2)) + " -> busy\n"

CASES = (
    ("boathouse", date(2026, 11, 23)),
    ("greenhouse", date(2026, 10, 19)),  # an hour comes twice on the Sunday
    ("yard_lights", date(2027, 3, 22)),  # an hour is left out on the Sunday
    ("many", date(2026, 3, 23)),
)


@cache
def week_of(name: str, first: date) -> Week:
    text = MANY if name == "many" else (DEMOS / f"{name}.rungs").read_text(encoding="utf-8")
    # no time for a proof: fights are no part of these tests
    return week(program_of(text), first, Budget(0.0))


def sheets_of(found: Week) -> Iterator[tuple[tuple[Lane, ...], ElementTree.Element]]:
    pictures = week_pictures(found)
    for lanes, picture in zip(week_sheets(found), pictures, strict=True):
        yield lanes, ElementTree.fromstring(picture.svg)


def text_box(node: ElementTree.Element) -> tuple[float, float, float, float]:
    """Left, top, right and bottom of a text in a fixed-width font."""
    size, x, y = (float(node.get(key, "0")) for key in ("font-size", "x", "y"))
    wide = len(node.text or "") * size * LETTER
    left = x - {"middle": wide / 2, "end": wide}.get(node.get("text-anchor", ""), 0)
    return left, y - size * 0.72, left + wide, y


@pytest.mark.parametrize("name,first", CASES)
def test_every_closure_of_the_week_is_drawn_where_it_is_and_nothing_else(
    name: str, first: date
) -> None:
    found = week_of(name, first)
    lanes = [lane for sheet in week_sheets(found) for lane in sheet]
    assert [lane.row for lane in lanes] == list(found.rows)
    scale = (found.end - found.begin) / (RIGHT - LEFT)  # ms for a mm
    for lane in lanes:
        assert len(lane.marks) == len(lane.row.spans)
        for mark, span in zip(lane.marks, lane.row.spans, strict=True):
            assert mark.event == lane.row.event
            assert abs(instant_at(found, mark.x) - span.begin) < 1
            drawn = instant_at(found, mark.x + mark.wide) - span.end
            # short ones are widened so that they are seen
            assert abs(drawn) < 1 or 0 < drawn <= 0.6 * scale


@pytest.mark.parametrize("name,first", CASES)
def test_the_bars_of_decided_outputs_are_in_the_file_as_laid_out(name: str, first: date) -> None:
    for lanes, root in sheets_of(week_of(name, first)):
        bars = {
            (float(node.get("x", "")), float(node.get("width", "")), float(node.get("y", "")))
            for node in root.iter(f"{SVG}rect")
            if node.get("fill") == INK and float(node.get("y", "")) < lanes[-1].y + lanes[-1].high
        }
        wanted = {
            (round(mark.x, 2), round(mark.wide, 2), round(lane.y + 1.6, 2))
            for lane in lanes
            if lane.row.kind == "decided"
            for mark in lane.marks
        }
        assert bars == wanted


@pytest.mark.parametrize("name,first", CASES)
def test_texts_are_large_enough_lie_on_the_sheet_and_cover_nothing(name: str, first: date) -> None:
    for lanes, root in sheets_of(week_of(name, first)):
        assert (root.get("width"), root.get("height")) == (f"{WIDE}mm", f"{HIGH}mm")
        assert root.get("viewBox") == f"0 0 {WIDE} {HIGH}"
        nodes = list(root.iter(f"{SVG}text"))
        boxes = [(text_box(node), node.text) for node in nodes]
        for (left, top, right, bottom), text in boxes:
            assert left >= MARGIN - 0.01, text
            assert right <= RIGHT + 0.01, text
            assert top >= 0
            assert bottom <= HIGH - MARGIN / 2, text
        for node in nodes:
            # capitals of the common fixed-width fonts are 0.72 of the size high
            assert float(node.get("font-size", "0")) * 0.72 >= 2.2
        for (a, text), (b, other) in combinations(boxes, 2):
            apart = a[2] <= b[0] or b[2] <= a[0] or a[3] <= b[1] or b[3] <= a[1]
            assert apart, (text, other)
        for one, following in pairwise(lanes):
            assert one.y + one.high <= following.y + 0.001
        for lane in lanes:
            used = max((label.line + 1 for label in lane.labels), default=0)
            assert 1.6 + lane.bar + used * 4.0 <= lane.high


def test_every_time_stands_by_its_bar_or_is_counted_as_hidden() -> None:
    found = week_of("boathouse", date(2026, 11, 23))
    [sheet] = week_sheets(found)
    lanes = {lane.row.name: lane for lane in sheet}
    assert [label.text for label in lanes["evening"].labels] == ["19:00\u201322:30"] * 5
    assert [label.text for label in lanes["lights_out"].labels] == ["23:00"] * 7
    dark = lanes["dark"]
    assert len(dark.labels) == 2 * 7
    assert dark.hidden == 0
    for label in dark.labels:
        bar = [m for m in dark.marks if m.x - 0.5 <= label.x <= m.x + m.wide]
        assert len(bar) == 1
        ends = (bar[0].x, bar[0].x + bar[0].wide)
        shown = [found.zone.local(round(instant_at(found, x)))[1] // MINUTE for x in ends]
        hours, minutes = map(int, label.text.split(":"))
        assert any(abs(hours * 60 + minutes - each) <= 1 for each in shown)
    busy = next(
        lane
        for lanes in week_sheets(week_of("many", date(2026, 3, 23)))
        for lane in lanes
        if lane.row.name == "busy"
    )
    assert busy.hidden > 0
    assert busy.hidden + len(busy.labels) == len(busy.marks)


def test_a_day_of_a_change_is_as_wide_as_it_is_long() -> None:
    for name, first, hours in (
        ("yard_lights", date(2027, 3, 22), 23),
        ("greenhouse", date(2026, 10, 19), 25),
    ):
        found = week_of(name, first)
        days = [place(found, d.end) - place(found, d.begin) for d in found.days]
        assert found.days[-1].end - found.days[-1].begin == hours * HOUR
        assert days[-1] / days[0] == pytest.approx(hours / 24)
        assert sum(days) == pytest.approx(RIGHT - LEFT)
    [picture] = week_pictures(week_of("yard_lights", date(2027, 3, 22)))
    assert "02:00\u219203:00" in picture.svg


def test_many_clocks_take_several_sheets_and_the_labels_are_escaped() -> None:
    found = week_of("many", date(2026, 3, 23))
    pictures = week_pictures(found)
    assert len(pictures) > 2
    assert [p.name for p in pictures] == [f"week-{n}" for n in range(1, len(pictures) + 1)]
    for number, picture in enumerate(pictures, 1):
        assert 'width="297mm" height="210mm"' in picture.svg
        assert f"sheet {number} of {len(pictures)}" in picture.svg
        assert "Many &amp; &lt;more&gt;" in picture.svg
        assert not re.search(r"<script|\bid=|href", picture.svg)
        assert SMALL * 0.72 >= 2.2


def test_a_panel_without_clocks_has_no_picture() -> None:
    assert week_pictures(week_of("airlock", date(2026, 11, 23))) == ()
