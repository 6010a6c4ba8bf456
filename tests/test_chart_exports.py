"""A chart as CSV, SVG and VCD, read back by readers that know nothing of the writers."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from datetime import date, datetime, timedelta
from itertools import pairwise
from xml.etree import ElementTree

import hypothesis.strategies as st
import pytest
from hypothesis import example, given, settings

from rungs.chart.csvfile import csv_text
from rungs.chart.data import Chart, Trace
from rungs.chart.svg import svg_text
from rungs.chart.vcd import vcd_text
from rungs.scan.zone import DAY, HOUR
from tests.test_chart_data import HOSTILE, charts, slow_count, slow_level, slow_state

NOTES = ("file 0123abcd", "unsaved changes", "2 forced")
DOOR = Chart(
    "A door",
    0,
    10_000,
    10,
    (date(2026, 11, 25), 22 * HOUR),
    "Europe/Berlin",
    (
        Trace("door", "input", "Reed contact", False, (2_000, 6_000)),
        Trace("visits", "counter", "", False, (6_000,), ((0, 0), (2_000, 1), (6_000, 2))),
    ),
    NOTES,
    ((7_000, 7_500),),
)

Write = Callable[[Chart], str]


@pytest.mark.parametrize("write", [csv_text, svg_text, vcd_text])
def test_every_export_has_title_and_notes_in_its_head_and_is_the_same_each_time(
    write: Write,
) -> None:
    text = write(DOOR)
    head = text[: len(text) // 2] if write is not svg_text else text
    assert all(words in head for words in ("A door", *NOTES))
    assert write(DOOR) == text


@pytest.mark.parametrize("write", [csv_text, svg_text, vcd_text])
@settings(max_examples=60)
@given(chart=charts(hostile=True))
def test_no_export_carries_control_characters_or_what_is_no_utf_8(
    write: Write, chart: Chart
) -> None:
    text = write(chart)
    text.encode("utf-8")
    rest = text.replace("\n", "").replace("\u200c", "").replace("\u200d", "")
    assert rest.isprintable()


@pytest.mark.parametrize("write", [csv_text, svg_text, vcd_text])
def test_a_large_chart_is_written_whole(write: Write) -> None:
    traces = tuple(
        Trace(f"d{n}", "relay", changes=tuple(range(n + 1, DAY, 34_560))) for n in range(40)
    )
    assert sum(len(trace.changes) for trace in traces) == 100_000
    text = write(Chart("", 0, DAY, 10, traces=traces))
    if write is svg_text:
        assert len(text) < 1_000_000
    else:
        assert text.count("\n") > 100_000


# --- CSV


def read_csv(chart: Chart, text: str) -> tuple[list[str], list[list[str]]]:
    """Header and rows after the notes."""
    table = list(csv.reader(io.StringIO(text, newline="")))
    at = next(n for n, row in enumerate(table) if row[0] == "t_ms")
    assert all(len(row) == 1 and row[0].startswith("# ") for row in table[:at])
    return table[at], table[at + 1 :]


@settings(max_examples=50)
@given(charts())
def test_csv_read_back_shows_the_chart_at_every_ms(chart: Chart) -> None:
    header, rows = read_csv(chart, csv_text(chart))
    names = []
    for trace in chart.traces:
        names += [trace.name, f"{trace.name}.count"] if trace.counts else [trace.name]
    local = [] if chart.wall_at_begin is None else ["local_time"]
    assert header == ["t_ms", *local, *names]
    times = [int(row[0]) for row in rows]
    assert times[0] == chart.begin
    assert times[-1] == chart.end
    assert all(a < b for a, b in pairwise(times))
    for row, until in zip(rows, [*times[1:], chart.end + 1], strict=True):
        cells = dict(zip(header, row, strict=True))
        for t in range(int(row[0]), until):
            for trace in chart.traces:
                state = slow_state(chart, trace, t)
                assert cells[trace.name] == ("" if state is None else str(int(state)))
                if trace.counts:
                    count = "" if state is None else str(slow_count(trace, t))
                    assert cells[f"{trace.name}.count"] == count


@settings(max_examples=50)
@given(charts(hostile=True))
def test_no_cell_of_a_csv_can_be_run_as_a_formula(chart: Chart) -> None:
    text = csv_text(chart)
    # the list is that of OWASP, "CSV Injection", FROM MEMORY, with its full-width forms
    for row in csv.reader(io.StringIO(text, newline="")):
        for cell in row:
            assert cell.lstrip()[:1] not in tuple("=+-@\t\r\n＝＋－＠")  # noqa: RUF001
    # a spreadsheet that separates by semicolons or tabs finds no cell that begins within another
    for line in text.splitlines():
        for part in re.split(r"[;\t]", re.sub(r'"[^"]*"', "", line)):
            assert part == "" or part[0] in ",0123456789"


def test_csv_tells_local_time_with_its_offset_over_a_change_of_the_clocks() -> None:
    # COMPUTED with the IANA database: Berlin goes from +02:00 to +01:00 at 2026-10-25T01:00Z
    night = Chart(
        "",
        0,
        2 * HOUR,
        10,
        (date(2026, 10, 25), 2 * HOUR),
        "Europe/Berlin",
        (Trace("a", "input", changes=(HOUR - 10, HOUR)),),
    )
    _, rows = read_csv(night, csv_text(night))
    assert [row[1] for row in rows] == [
        "2026-10-25T02:00:00.000+02:00",
        "2026-10-25T02:59:59.990+02:00",
        "2026-10-25T02:00:00.000+01:00",
        "2026-10-25T03:00:00.000+01:00",
    ]
    moments = [datetime.fromisoformat(row[1]) for row in rows]
    for (a, one), (b, two) in pairwise(zip(rows, moments, strict=True)):
        assert two - one == timedelta(milliseconds=int(b[0]) - int(a[0]))


# --- VCD

SECTIONS = {"$comment", "$date", "$version", "$timescale", "$scope", "$var", "$upscope"}
DUMPS = {"$dumpvars", "$dumpoff", "$dumpon", "$dumpall"}


@dataclass
class Dump:
    """What a value change dump says: variables by their full names, and the values of each."""

    sections: list[tuple[str, list[str]]] = field(default_factory=list)
    names: dict[str, str] = field(default_factory=dict)  # code -> name with its scopes
    kinds: dict[str, tuple[str, int]] = field(default_factory=dict)
    values: dict[str, list[tuple[int, str]]] = field(default_factory=dict)
    times: list[int] = field(default_factory=list)

    def at(self, code: str, t: int) -> str:
        return next(value for since, value in reversed(self.values[code]) if since <= t)


def read_vcd(text: str) -> Dump:
    """A reader after the grammar of IEEE 1364-2005, 18.2 (FROM MEMORY).

    value_change_dump_definitions ::= {declaration_command} {simulation_command}
    declaration_command ::= declaration_keyword [command_text] $end
    simulation_command ::= simulation_keyword {value_change} $end | $comment [comment_text] $end
                         | simulation_time | value_change
    value_change ::= scalar: value identifier_code | vector: b|B digits, space, identifier_code
    """
    dump = Dump()
    words = iter(re.findall(r"[\x21-\x7e]+", text))
    assert re.fullmatch(r"[\x20-\x7e\n]*", text), "the file is not ASCII"
    scopes: list[str] = []
    for word in words:
        assert word in SECTIONS | {"$enddefinitions"}, word
        body: list[str] = []
        while (part := next(words)) != "$end":
            body.append(part)
        dump.sections.append((word, body))
        if word == "$enddefinitions":
            break
        if word == "$scope":
            assert body[0] == "module"
            scopes.append(body[1])
        elif word == "$upscope":
            scopes.pop()
        elif word == "$var":
            kind, size, code, name = body
            assert scopes
            assert code not in dump.names
            dump.names[code] = ".".join([*scopes, name])
            dump.kinds[code] = kind, int(size)
            dump.values[code] = []
    assert scopes == []
    inside: str | None = None
    changed: set[str] = set()
    for word in words:
        if word == "$end":
            if inside in DUMPS:
                assert changed == set(dump.names), f"{inside} leaves variables out"
            inside = None
            continue
        if word in DUMPS:
            assert inside is None
            inside, changed = word, set()
            continue
        if word.startswith("#"):
            assert inside is None
            assert not dump.times or int(word[1:]) > dump.times[-1]
            dump.times.append(int(word[1:]))
            continue
        if word[0] in "bB":
            value, code = word[1:], next(words)
            assert re.fullmatch(r"[01xXzZ]+", value)
            assert len(value) <= dump.kinds[code][1]
            assert len(value) == 1 or value[0] != "0", "leading zeros"
        else:
            value, code = word[0], word[1:]
            assert value in "01xXzZ"
            assert dump.kinds[code][1] == 1
        changed.add(code)
        if inside == "$dumpoff":
            assert value == "x"
        dump.values[code].append((dump.times[-1], value))
    assert inside is None
    return dump


@settings(max_examples=50)
@given(charts())
def test_vcd_read_back_shows_the_chart_at_every_ms(chart: Chart) -> None:
    dump = read_vcd(vcd_text(chart))
    by_name = {name: code for code, name in dump.names.items()}
    assert dump.times[0] == chart.begin
    assert dump.times[-1] == chart.end
    assert ("$timescale", ["1", "ms"]) in dump.sections
    for trace in chart.traces:
        code = by_name[f"Test.{trace.name}"]
        assert dump.kinds[code] == ("wire", 1)
        for t in range(chart.begin, chart.end + 1):
            state = slow_state(chart, trace, t)
            assert dump.at(code, t) == ("x" if state is None else str(int(state)))
        if trace.counts:
            code = by_name[f"Test.{trace.name}_count"]
            assert dump.kinds[code] == ("integer", 32)
            for t in range(chart.begin, chart.end + 1):
                value = dump.at(code, t)
                if slow_state(chart, trace, t) is None:
                    assert value == "x"
                else:
                    assert int(value, 2) == slow_count(trace, t)


@settings(max_examples=50)
@given(charts(hostile=True))
@example(
    Chart(
        "endmodule",
        0,
        9,
        1,
        traces=tuple(
            Trace(name, "counter", label, counts=((0, 1),))
            for name, label in zip(("wire", "Wire", "wire_count", "_wire"), HOSTILE, strict=False)
        ),
    )
)
def test_names_of_a_vcd_are_legal_and_differ_and_labels_end_no_section(chart: Chart) -> None:
    dump = read_vcd(vcd_text(chart, date_text="$end #1"))
    variables = len(chart.traces) + sum(1 for trace in chart.traces if trace.counts)
    assert len(dump.names) == variables
    assert len({name.casefold() for name in dump.names.values()}) == variables
    for name in dump.names.values():
        for part in name.split("."):
            assert re.fullmatch(r"[A-Za-z_][A-Za-z0-9_$]*", part)
            assert part not in ("wire", "endmodule", "end", "reg", "module")
    for section, body in dump.sections:
        # a variable may have `$` for its code
        assert section == "$var" or not any("$" in word for word in body)


def test_names_that_are_legal_stay_as_they_are_whatever_the_others_become() -> None:
    names = ("a.b", "a_b", "A_b", "reg", "_reg", "lamp", "lamp_count")
    traces = tuple(Trace(n, "counter", counts=((0, 1),)) for n in names)
    dump = read_vcd(vcd_text(Chart("t", 0, 9, 1, traces=traces)))
    shown = [name.removeprefix("t.") for name in dump.names.values()]
    assert shown[::2] == ["a_b_2", "a_b", "A_b_3", "_reg_2", "_reg", "lamp", "lamp_count"]
    assert shown[11] == "lamp_count_2"


def test_there_are_codes_for_more_variables_than_there_are_characters() -> None:
    traces = tuple(Trace(f"d{n}", "relay", starts=n % 3 == 0) for n in range(9_100))
    dump = read_vcd(vcd_text(Chart("t", 0, 9, 1, traces=traces)))
    assert len(dump.names) == 9_100
    assert max(map(len, dump.names)) == 3
    codes = list(dump.names)
    assert [dump.at(code, 0) for code in codes] == ["1" if n % 3 == 0 else "0" for n in range(9100)]


def test_a_date_stands_in_a_vcd_only_if_it_was_given() -> None:
    assert all(word != "$date" for word, _ in read_vcd(vcd_text(DOOR)).sections)
    dated = read_vcd(vcd_text(DOOR, "2026-11-25"))
    assert dated.sections[0] == ("$date", ["2026-11-25"])
    text = "local time at #0: 2026-11-25T22:00:00.000+01:00"
    assert ("$comment", text.split()) in dated.sections


# --- SVG

SVG = "{http://www.w3.org/2000/svg}"
MAY: dict[str, set[str]] = {
    "svg": {"viewBox", "role", "font-family"},
    "title": set(),
    "desc": set(),
    "style": set(),
    "g": set(),
    "rect": {"class", "x", "y", "width", "height", "fill"},
    "path": {"class", "d", "fill", "stroke", "stroke-width"},
    "text": {"class", "x", "y", "font-size", "font-weight", "text-anchor", "fill"},
}


@settings(max_examples=80)
@given(charts(hostile=True))
def test_an_svg_is_xml_with_nothing_but_its_own_elements_and_attributes(chart: Chart) -> None:
    text = svg_text(chart)
    root = ElementTree.fromstring(text)
    style = ElementTree.fromstring(svg_text(DOOR)).find(f"{SVG}style")
    assert style is not None
    for element in root.iter():
        assert element.tag.startswith(SVG)
        assert set(element.attrib) <= MAY[element.tag.removeprefix(SVG)]
        assert not any("url(" in value or ":" in value for value in element.attrib.values())
        if element.tag == f"{SVG}style":
            assert element.text == style.text
            assert not re.search(r"url|import|http|font-face", element.text or "")
    assert text.count("http") - sum((e.text or "").count("http") for e in root.iter()) == 1, (
        "the name of the format is the only address"
    )
    assert len(root.findall(f"{SVG}g")) == len(chart.traces)


def test_an_svg_begins_with_title_and_description_and_shows_names_and_labels() -> None:
    root = ElementTree.fromstring(svg_text(DOOR))
    assert [child.tag.removeprefix(SVG) for child in root][:2] == ["title", "desc"]
    assert root[0].text == "A door"
    assert "2 forced" in (root[1].text or "")
    shown = [element.text for element in root.iter(f"{SVG}text")]
    assert {"door", "input: Reed contact", "visits", "counter", "0", "1", "2"} <= set(shown)
    assert {"22:00:00", "22:00:10", "2026-11-25"} <= set(shown)
    assert any("no power" in (text or "") for text in shown)


@dataclass
class Picture:
    """The drawn pieces of one trace: light and heavy lines, edges, and blocks, along x."""

    light: list[tuple[float, float]]
    heavy: list[tuple[float, float]]
    edges: list[float]
    blocks: list[tuple[float, float]]


def pictures(root: ElementTree.Element) -> list[Picture]:
    found = []
    for group in root.findall(f"{SVG}g"):
        picture = Picture([], [], [], [])
        for path in group.findall(f"{SVG}path"):
            d = path.attrib["d"]
            if path.attrib["fill"] != "none":
                blocks = re.findall(r"M([\d.]+) [\d.]+H([\d.]+)V", d)
                picture.blocks += [(float(a), float(b)) for a, b in blocks]
                continue
            weight = float(path.attrib["stroke-width"])
            lines = picture.heavy if weight > 3 else picture.light
            lines += [(float(a), float(b)) for a, b in re.findall(r"M([\d.]+) [\d.]+H([\d.]+)", d)]
            picture.edges += [float(x) for x in re.findall(r"M([\d.]+) [\d.]+V", d)]
        found.append(picture)
    return found


def frame(root: ElementTree.Element) -> float:
    """Where the plot begins: the right ends of the lines between rows are 1000 farther."""
    grid = next(p for p in root.iter(f"{SVG}path") if p.attrib.get("class") == "grid")
    match = re.match(r"M[\d.]+ [\d.]+H([\d.]+)", grid.attrib["d"])
    assert match is not None
    return float(match[1]) - 1000


def with_pulses(trace: Trace, end: int) -> Trace:
    """Every second change is soon followed by another one, too soon to be drawn apart."""
    more = {t + 3 for t in trace.changes[::2] if t + 3 <= end}
    return replace(trace, changes=tuple(sorted({*trace.changes, *more})))


def over(pieces: list[tuple[float, float]], x: float, slack: float = 0.011) -> bool:
    return any(a - slack <= x <= b + slack for a, b in pieces)


@settings(max_examples=50)
@given(charts(most=60_000), st.booleans())
def test_an_svg_shows_every_change_and_every_level_between(chart: Chart, pulses: bool) -> None:
    if pulses:
        chart = replace(chart, traces=tuple(with_pulses(one, chart.end) for one in chart.traces))
    root = ElementTree.fromstring(svg_text(chart))
    left = frame(root)
    span = chart.end - chart.begin + chart.period

    def x(t: float) -> float:
        return left + (t - chart.begin) / span * 1000

    for trace, picture in zip(chart.traces, pictures(root), strict=True):
        for change in trace.changes:
            before = slow_state(chart, trace, change - 1)
            after = slow_state(chart, trace, change)
            if before is None or after is None:
                continue
            drawn = [(edge, edge) for edge in picture.edges]
            assert over([*drawn, *picture.blocks], x(change))
        bounds = sorted({chart.begin, chart.end + 1, *trace.changes, *sum(chart.off, ())})
        for a, b in pairwise(bounds):
            middle, state = (a + b) / 2, slow_state(chart, trace, a)
            if x(b) - x(a) < 3.3:  # a block beside it, 1.6 wide, may cover its middle
                continue
            assert over(picture.heavy, x(middle)) == (state is True)
            assert over(picture.light, x(middle)) == (state is False)
            assert not over(picture.blocks, x(middle))
    bands = [p for p in root.iter(f"{SVG}path") if p.attrib.get("class") == "dark"]
    drawn = [
        (float(a), float(a) + float(b))
        for band in bands
        for a, b in re.findall(r"M([\d.]+) [\d.]+h([\d.]+)", band.attrib["d"])
    ]
    for since, to in chart.off:
        assert over(drawn, x((since + to) / 2))


def test_a_pulse_and_a_dip_of_one_scan_in_a_day_are_wide_enough_to_be_seen() -> None:
    traces = (Trace("a", "input", changes=(HOUR, HOUR + 10)),)
    root = ElementTree.fromstring(
        svg_text(Chart("", 0, DAY, 10, traces=traces, off=((5 * HOUR, 5 * HOUR + 10),)))
    )
    (picture,) = pictures(root)
    left = frame(root)
    for (a, b), t in zip(picture.blocks, (HOUR, 5 * HOUR), strict=True):
        assert b - a >= 1
        assert a <= left + t / (DAY + 10) * 1000 <= b
    band = next(p for p in root.iter(f"{SVG}path") if p.attrib.get("class") == "dark")
    wide = re.search(r"h([\d.]+)", band.attrib["d"])
    assert wide is not None
    assert float(wide[1]) >= 1


@pytest.mark.parametrize(
    ("traces", "changes", "most"),
    [(1, 10_000, 300_000), (40, 10_000, 1_000_000), (40, 60, 200_000)],
)
def test_an_svg_of_many_changes_stays_small(traces: int, changes: int, most: int) -> None:
    step = DAY // changes
    # pulses of uneven lengths, so that they neither all merge nor all stay apart
    made = tuple(
        Trace(f"d{n}", "relay", changes=tuple(step * k + k * k % step for k in range(1, changes)))
        for n in range(traces)
    )
    text = svg_text(Chart("", 0, DAY, 10, traces=made))
    assert len(text) < most
    for picture in pictures(ElementTree.fromstring(text)):
        assert picture.edges or picture.blocks


def test_the_level_of_a_trace_is_told_by_weight_and_height_and_not_by_colour() -> None:
    group = ElementTree.fromstring(svg_text(DOOR)).findall(f"{SVG}g")[0]
    light, heavy = group.findall(f"{SVG}path")
    assert light.attrib["stroke"] == heavy.attrib["stroke"]
    assert float(heavy.attrib["stroke-width"]) >= 3 * float(light.attrib["stroke-width"])
    heights = [set(re.findall(r"M[\d.]+ ([\d.]+)H", p.attrib["d"])) for p in (light, heavy)]
    assert len(heights[0]) == len(heights[1]) == 1
    assert heights[0] != heights[1]
    assert slow_level(DOOR.traces[0], 3_000)
