"""Table files written and read back, also after a spreadsheet has had them.

What spreadsheets do to a CSV is common practice, no source: byte-order mark, line ends, separator,
quotes, padding, truth values, decimals. Cells that run as formulas: OWASP, CSV injection, FROM
MEMORY. CSV quoting: RFC 4180, FROM MEMORY.
"""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Callable
from typing import Literal

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings
from pydantic import BaseModel

from rungs.cells import JOINERS
from rungs.files import decode
from rungs.findings import Finding
from rungs.source import Source, source_from_text
from rungs.table.emulator import Emulator
from rungs.table.formats import (
    GROUPS,
    SCALARS,
    cell_text,
    table_csv,
    table_json,
    table_markdown,
)
from rungs.table.model import (
    Proof,
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
from rungs.table.reading import read_table, table_findings


def read(text: str) -> tuple[TableFile | None, tuple[Finding, ...]]:
    """What reading says, after a check that every finding has its code, a way out and a place."""
    source = source_from_text(text)
    table, findings = read_table(source)
    assert (table is None) == bool(findings)
    for finding in findings:
        assert finding.code == "table-file"
        assert finding.message
        assert finding.fix
        assert 0 <= finding.span.start <= finding.span.end <= len(source.text)
    return table, findings


def trouble(text: str) -> tuple[str, str]:
    """The first finding's message, and the text it points at."""
    table, findings = read(text)
    assert table is None
    source = source_from_text(text)
    return findings[0].message, source.text[findings[0].span.start : findings[0].span.end]


# a lamp behind an on-delay, with text in it that a spreadsheet would spoil
TIMED = TableFile(
    kind="transition",
    tool="hand",
    title='=1+1; "two", or three',
    program="lamp.rungs",
    program_sha256="ab" * 32,
    board="007",
    board_version="1-2",
    period_ms=20,
    site='site "Hut; north, 2" zone "Europe/Oslo" latitude 60 longitude 5',
    holidays=("holiday closed on 12-24 to 12-26",),
    signals=(
        TableSignal(name="door", kind="input", terminal="I1", debounce_ms=30, at_rest=True),
        TableSignal(name="t.due", kind="due"),
        TableSignal(name="dark", kind="clock"),
    ),
    outputs=(
        TableOutput(name="lamp", terminal="R1", side="NC", label="@home\tand 'away'"),
        TableOutput(name="horn", terminal="-R2", label="-5 V; +5 V"),
    ),
    timers=(TableTimer(name="t", kind="on-delay", preset_ms=90_000, slot="T1", value="9e1"),),
    clocks=(TableClock(name="dark", statement="clock dark from sunset -20min to sunrise"),),
    duties=("debounce I1 for 30 ms, in the board", "'quoted'"),
    cautions=("+ and - and = are only signs", "", "  two spaces  "),
    power_differences=("none",),
    start="at rest, closed",
    states=(
        TableState(name="at rest, closed", after_power_cut="at rest, closed"),
        TableState(name="=on; lamp", after_power_cut="at rest, closed"),
    ),
    transitions=(
        TransitionRow(
            state="at rest, closed",
            pattern="0--",
            next="at rest, closed",
            outputs="00",
            run="0",
            rungs=(1, 234),
        ),
        TransitionRow(
            state="at rest, closed", pattern="1-1", next="=on; lamp", outputs="01", run="1"
        ),
        TransitionRow(
            state="at rest, closed", pattern="1-0", next="at rest, closed", outputs="00", run="0"
        ),
        TransitionRow(state="=on; lamp", pattern="---", next="=on; lamp", outputs="10", run="1"),
    ),
    proof=Proof(states=2, rows=4, situations=9, patterns=8),
)

PLAIN = TableFile(
    kind="truth",
    title="Landing light",
    signals=(TableSignal(name="up", kind="input"), TableSignal(name="down", kind="input")),
    outputs=(TableOutput(name="lamp"),),
    truth=(
        TruthRow(pattern="00", outputs="0", rungs=(1,)),
        TruthRow(pattern="01", outputs="1", rungs=(1,)),
        TruthRow(pattern="1-", outputs="1"),
    ),
)

EVENTS = TableFile(
    kind="switching",
    retains=True,
    signals=(
        TableSignal(name="button", kind="input"),
        TableSignal(name="late", kind="clock"),
    ),
    outputs=(TableOutput(name="lamp"), TableOutput(name="fan")),
    clocks=(TableClock(name="late", statement="clock late at 23:00 daily"),),
    switching=(
        SwitchingRow(event="power-up", acts=("off", "leave")),
        SwitchingRow(event="closes", device="button", acts=("flip", "leave"), rungs=(2,)),
        SwitchingRow(event="opens", device="button", delay_ms=500, acts=("leave", "on")),
        SwitchingRow(event="at", device="late", acts=("off", "off")),
    ),
)

CLEARING = TableFile(
    kind="transition",
    first_match=True,
    signals=(TableSignal(name="t.due", kind="due"),),
    timers=(TableTimer(name="t", kind="accumulating", preset_ms=10, retained=True),),
    start="s",
    states=(TableState(name="s", after_power_cut="s"),),
    transitions=(
        TransitionRow(
            state="s",
            pattern="1",
            next="s",
            outputs="",
            run="1",
            clear_before="1",
            clear_after="0",
        ),
        TransitionRow(
            state="s", pattern="-", next="s", outputs="", run="1", clear_before="0", clear_after="0"
        ),
    ),
)

ALL = (TIMED, PLAIN, EVENTS, CLEARING)


# --- random tables --------------------------------------------------------------------------------

NASTY = (
    *("", " ", "=1+1", "+1", "-", "--", "-1", "@a", "'", "'=a", "''", "\\", "\\n", "\t", "\r\n"),
    *('"', '"a";', ",;", ";;", "007", "1e5", "1-2", "TRUE", "row", "end", "rows", "document"),
    *("0", "1", "\x00", "\ufeff", "\u2028", "\x85", "\u202e", "\xa0 a ", "\uff1d1", "MAR1"),
    *("\U0001f600", "#3", "{", "signal a", "10:30", "5 pm", "a\x1bb", "1,000", "'\\'"),
)
texts = st.one_of(
    st.sampled_from(NASTY),
    st.text(st.sampled_from("ab =+-@'\"\\,;\t\n#01.e")),
    st.text(st.characters(exclude_categories=["Cs"]), max_size=8),
)
names = texts.filter(bool)
numbers = st.integers(0, 10**15)
rungs = st.lists(st.integers(1, 300), max_size=3).map(tuple)


def flags(count: int, signs: str = "01") -> st.SearchStrategy[str]:
    return st.text(st.sampled_from(signs), min_size=count, max_size=count)


@st.composite
def tables(draw: st.DrawFn) -> TableFile:
    kind = draw(st.sampled_from(("truth", "transition", "switching")))
    inputs = draw(st.lists(names, max_size=3, unique=True))
    outs = draw(st.lists(names, max_size=3, unique=True))
    timers = draw(st.lists(names, max_size=2, unique=True)) if kind == "transition" else []
    clocks = draw(st.sampled_from(([], [], ["office"], ["office", "bell"])))
    forms = {"office": "clock office from 08:00 to 17:00", "bell": "clock bell at 12:00"}
    signals = [TableSignal(name=f"{name}.due", kind="due") for name in timers]
    signals += [TableSignal(name=name, kind="clock", terminal=draw(texts)) for name in clocks]
    taken = {signal.name for signal in signals}
    signals += [
        TableSignal(
            name=name,
            kind="input",
            terminal=draw(texts),
            debounce_ms=draw(numbers),
            at_rest=draw(st.booleans()),
            active_low=draw(st.booleans()),
        )
        for name in inputs
        if name not in taken
    ]
    made = [
        TableTimer(
            name=name,
            kind="accumulating" if draw(st.booleans()) else "on-delay",
            preset_ms=draw(numbers) + 1,
            retained=draw(st.booleans()),
            slot=draw(texts),
            value=draw(texts),
        )
        for name in timers
    ]
    clearing = len(timers) if any(timer.kind == "accumulating" for timer in made) else 0
    patterns = st.lists(flags(len(signals), "01-"), min_size=1, max_size=3, unique=True)
    states = draw(st.lists(names, min_size=1, max_size=3, unique=True))
    rows: dict[str, object] = {}
    if kind == "truth":
        rows["truth"] = [
            TruthRow(pattern=pattern, outputs=draw(flags(len(outs))), rungs=draw(rungs))
            for pattern in draw(patterns)
        ]
    elif kind == "transition":
        rows["start"] = draw(st.sampled_from(states))
        rows["states"] = [
            TableState(name=name, after_power_cut=draw(st.sampled_from(states))) for name in states
        ]
        rows["transitions"] = [
            TransitionRow(
                state=name,
                pattern=pattern,
                next=draw(st.sampled_from(states)),
                outputs=draw(flags(len(outs))),
                run=draw(flags(len(timers))),
                clear_before=draw(flags(clearing)),
                clear_after=draw(flags(clearing)),
                rungs=draw(rungs),
            )
            for name in states
            for pattern in draw(patterns)
        ]
    else:
        events = [("power-up", "", 0), *(("at", name, 0) for name in clocks if name == "bell")]
        movers = [s.name for s in signals if s.kind == "input" or s.name == "office"]
        events += [(e, name, ms) for e in ("closes", "opens") for name in movers for ms in (0, 70)]
        act = st.sampled_from(("on", "off", "flip", "leave"))
        rows["switching"] = [
            {
                "event": event,
                "device": device,
                "delay_ms": ms,
                "acts": [draw(act) for _ in outs],
                "rungs": draw(rungs),
            }
            for event, device, ms in draw(st.lists(st.sampled_from(events), unique=True))
        ]
    some = st.lists(texts, max_size=2)
    counts = st.integers(0, 10**9)
    return TableFile.model_validate(
        {
            "kind": kind,
            "tool": draw(texts),
            "title": draw(texts),
            "program": draw(texts),
            "program_sha256": draw(texts),
            "board": draw(texts),
            "board_version": draw(texts),
            "period_ms": draw(st.integers(1, 60_000)),
            "first_match": draw(st.booleans()),
            "retains": draw(st.booleans()),
            "site": draw(st.sampled_from(("", 'site "a;,=" zone "UTC"'))),
            "holidays": draw(st.sampled_from(([], ["holiday a on 12-24"]))),
            "signals": signals,
            "outputs": [
                TableOutput(
                    name=name,
                    terminal=draw(texts),
                    side=draw(st.sampled_from(("NO", "NC"))),
                    label=draw(texts),
                )
                for name in outs
            ],
            "timers": made,
            "clocks": [
                TableClock(name=name, statement=forms[name], slot=draw(texts)) for name in clocks
            ],
            "duties": draw(some),
            "cautions": draw(some),
            "power_differences": draw(some),
            "proof": draw(
                st.none()
                | st.builds(
                    Proof,
                    claim=texts,
                    states=counts,
                    rows=counts,
                    situations=counts,
                    patterns=counts,
                )
            ),
            **rows,
        }
    )


@settings(deadline=None, max_examples=60)
@given(tables())
def test_what_was_written_is_read_back(table: TableFile) -> None:
    assert table_findings(table) == ()
    assert read(table_csv(table)) == (table, ())
    assert read(table_json(table)) == (table, ())
    Emulator(table)


@settings(deadline=None, max_examples=60)
@given(tables())
def test_the_same_table_gives_the_same_bytes(table: TableFile) -> None:
    again = TableFile.model_validate_json(table.model_dump_json())
    for write in (table_csv, table_json, table_markdown):
        assert write(table) == write(again)
        assert write(table).endswith("\n")


# --- spreadsheets ---------------------------------------------------------------------------------


def resaved(
    text: str,
    separator: str = ",",
    ends: str = "\r\n",
    every: bool = False,
    change: Callable[[str], str] = lambda cell: cell,
    pad: int = 0,
) -> str:
    """A CSV as a spreadsheet writes it: read whole, every line as long as the longest."""
    lines = [[change(cell) for cell in line] for line in csv.reader(io.StringIO(text))]
    width = max(map(len, lines)) + pad
    out = io.StringIO()
    quoting: Literal[0, 1] = csv.QUOTE_ALL if every else csv.QUOTE_MINIMAL
    writer = csv.writer(out, delimiter=separator, lineterminator=ends, quoting=quoting)
    writer.writerows(line + [""] * (width - len(line)) if pad else line for line in lines)
    return out.getvalue()


def in_place_of(old: str, new: str) -> Callable[[str], str]:
    return lambda cell: new if cell == old else cell


DAMAGE: dict[str, Callable[[str], str]] = {
    "byte-order mark": lambda text: "\ufeff" + text,
    "carriage returns and line feeds": lambda text: resaved(text),
    "carriage returns alone": lambda text: text.replace("\n", "\r"),
    "semicolons": lambda text: resaved(text, ";"),
    "tabs": lambda text: resaved(text, "\t"),
    "every cell quoted": lambda text: resaved(text, every=True),
    "semicolons and every cell quoted": lambda text: "\ufeff" + resaved(text, ";", every=True),
    "empty cells at the end": lambda text: resaved(text, pad=3),
    "empty quoted cells at the end": lambda text: resaved(text, "\t", every=True, pad=1),
    "empty lines": lambda text: text.replace("\n", "\n\n,,,\n"),
    "no line end at the end": lambda text: text.rstrip("\n"),
    "ones with decimals": lambda text: resaved(text, change=in_place_of("1", "1.0")),
    "noughts with a decimal comma": lambda text: resaved(text, ";", change=in_place_of("0", "0,0")),
    "truth values for ones": lambda text: _rows_changed(text, "1", "TRUE"),
    "truth values for noughts": lambda text: _rows_changed(text, "0", "False"),
    "a typographic dash for either": lambda text: _rows_changed(text, "-", "\u2013"),
    "spaces round cells": lambda text: text.replace(",", " , ") if '"' not in text else text,
    "spaces inside quotes": lambda text: resaved(text, every=True, change=lambda c: f"  {c} "),
    "apostrophes dropped": lambda text: resaved(text, change=lambda c: c.removeprefix("'")),
    "keywords in capitals": lambda text: re.sub(r"(?m)^[a-z_]+", lambda m: m[0].upper(), text),
}


def _rows_changed(text: str, old: str, new: str) -> str:
    head, mark, rows = text.partition("\nrows\n")
    if "delay_ms" in rows:  # a time stays a number
        return text
    return head + mark + resaved(rows, ends="\n", change=in_place_of(old, new))


@pytest.mark.parametrize("name", DAMAGE)
def test_a_table_survives_a_spreadsheet(name: str) -> None:
    for table in ALL:
        damaged = DAMAGE[name](table_csv(table))
        if table is PLAIN:
            assert damaged != table_csv(table)
        assert read(damaged) == (table, ())


@settings(deadline=None, max_examples=50)
@given(
    tables(),
    st.sampled_from(",;\t"),
    st.sampled_from(("\n", "\r\n")),
    st.booleans(),
    st.sampled_from(("", "'", " ")),
    st.integers(0, 2),
)
def test_any_table_survives_a_spreadsheet(
    table: TableFile, separator: str, ends: str, every: bool, change: str, pad: int
) -> None:
    def changed(cell: str) -> str:
        return cell.removeprefix("'") if change == "'" else f"{change}{cell}{change}"

    text = resaved(table_csv(table), separator, ends, every, changed, pad)
    assert read(text) == (table, ())


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"),
        ("+1", "'+1"),
        ("-1", "'-1"),
        ("@a", "'@a"),
        ("\uff1d1", "'\uff1d1"),
        ("-", "-"),
        ("'a", "\\'a"),
        ("\ta", "\\ta"),
        ("\ra", "\\ra"),
        (" a ", "\\u0020a\\u0020"),
        ("007", "'007"),
        ("1e5", "'1e5"),
        ("10:30", "'10:30"),
        ("3 Mar", "'3 Mar"),
        ("true", "'true"),
        ("12", "12"),
        ("lamp 12", "lamp 12"),
        ("March", "March"),
        ("a\\b", "a\\\\b"),
    ],
)
def test_text_is_marked_where_a_spreadsheet_would_change_it(text: str, cell: str) -> None:
    assert cell_text(text) == cell


@settings(deadline=None, max_examples=80)
@given(tables())
def test_no_cell_runs_as_a_formula(table: TableFile) -> None:
    for line in csv.reader(io.StringIO(table_csv(table))):
        for cell in line:
            assert cell == "-" or cell[:1] not in {*"=+-@\t\r", "\uff1d", "\uff0b", "\uff20"}
            assert cell.isprintable()


# --- the written form -----------------------------------------------------------------------------


def test_the_csv_of_a_truth_table_reads_like_this() -> None:
    rows = table_csv(PLAIN).partition("signals,")
    assert "signals," + rows[2] == (
        "signals,name,kind,terminal,debounce_ms,at_rest,active_low\n"
        "signal,up,input,,0,0,0\n"
        "signal,down,input,,0,0,0\n"
        "outputs,name,terminal,side,label\n"
        "output,lamp,,NO,\n"
        "rows\n"
        "columns,signal up,signal down,output lamp,rungs\n"
        "row,0,0,0,#1\n"
        "row,0,1,1,#1\n"
        "row,1,-,1,\n"
        "end\n"
    )
    assert rows[0].startswith("document,table\nversion,1\nkind,truth\n")


def test_rows_have_a_column_for_each_relay_and_each_timer() -> None:
    assert table_csv(EVENTS).partition("rows\n")[2] == (
        "columns,event,device,delay_ms,output lamp,output fan,rungs\n"
        "row,power-up,,0,off,leave,\n"
        "row,closes,button,0,flip,leave,#2\n"
        "row,opens,button,500,leave,on,\n"
        "row,at,late,0,off,off,\n"
        "end\n"
    )
    assert table_csv(CLEARING).partition("rows\n")[2] == (
        "columns,state,signal t.due,next,run t,clear_before t,clear_after t,rungs\n"
        "row,s,1,s,1,1,0,\n"
        "row,s,-,s,1,0,0,\n"
        "end\n"
    )


def test_the_layout_of_the_csv_leaves_no_field_of_the_model_out() -> None:
    parts: dict[str, type[BaseModel]] = {
        "signal": TableSignal,
        "output": TableOutput,
        "timer": TableTimer,
        "clock": TableClock,
        "state": TableState,
        "proof": Proof,
    }
    rows = {"truth", "transitions", "switching"}
    fields = {column.name for column in SCALARS} | {group.field for group in GROUPS}
    assert fields | rows | {"document", "schema_version"} == set(TableFile.model_fields)
    for group in GROUPS:
        if not group.plain:
            assert [c.name for c in group.columns] == list(parts[group.key].model_fields)


def test_rows_that_do_not_fit_the_columns_are_not_written() -> None:
    table = PLAIN.model_copy(update={"truth": (TruthRow(pattern="0", outputs="0"),)})
    with pytest.raises(ValueError, match="row 1 has 3 cells for 4 columns"):
        table_csv(table)


def test_json_carries_every_field() -> None:
    document = json.loads(table_json(TIMED))
    assert set(document) == set(TableFile.model_fields)
    assert table_json(TIMED).startswith('{\n  "schema_version": 1,\n  "document": "table",\n')


def test_markdown_shows_rows_and_what_the_board_must_do() -> None:
    text = table_markdown(TIMED)
    assert text.startswith('# \\=1+1; "two", or three\n')
    assert "| signal | kind | terminal | debounce | at rest | board reads closed as |" in text
    assert "| door | input | I1 | 30 ms | closed | 1 |" in text
    assert "## What the board must do itself\n\n- debounce I1 for 30 ms, in the board\n" in text
    assert "| lamp | R1 | off | \\@home" not in text
    assert "| lamp | R1 | off | @home and 'away' |" in text
    assert "| state | door | t.due | dark | next | lamp | horn | run t | rungs |" in text
    assert "| at rest, closed | 0 | - | - | at rest, closed | off | off |  | 1, 234 |" in text
    assert "| =on; lamp | - | - | - | =on; lamp | on | off | run |  |" in text
    assert "2 states, 4 rows, 9 situations, 8 patterns" in text
    assert "| opens | button | 500 ms | leave | on |  |" in table_markdown(EVENTS)
    assert "| s | 1 | s | run | before |  |" in table_markdown(CLEARING)
    assert "The first row that matches counts." in table_markdown(CLEARING)


@settings(deadline=None, max_examples=80)
@given(tables())
def test_no_text_breaks_the_markdown(table: TableFile) -> None:
    text = table_markdown(table)
    assert all(char == "\n" or char in JOINERS or char.isprintable() for char in text)
    widths: list[int] = []
    for line in text.split("\n"):
        assert re.match(r"# |## |- |\| |\|( ---)|$|[A-Z0-9]", line)
        if not line.startswith("|"):
            widths = []
            continue
        widths.append(len(re.findall(r"(?<!\\)(?:\\\\)*\|", line)))
        assert widths[0] == widths[-1]


_PROOF = "proof,proved,again,1,1,1,1\n"


# --- damage that is refused -----------------------------------------------------------------------


def swapped(old: str, new: str, table: TableFile = TIMED) -> str:
    text = table_csv(table)
    assert old in text
    return text.replace(old, new, 1)


@pytest.mark.parametrize(
    ("text", "message", "place"),
    [
        ("", "the file is empty", ""),
        (" \n\n", "the file is empty", ""),
        ("hello", "neither a table in JSON nor one in CSV", "hello"),
        ("t_ms,a\n0,1\n", "neither a table in JSON nor one in CSV", "t_ms,a"),
        (swapped("title", "ti\x00tle"), "the character U+0000 cannot stand", "\x00"),
        (swapped("document,table", "document,panel"), "is not a table file", "panel"),
        (swapped("version,1", "version,2"), "of version '2', and version 1 can be read", "2"),
        (swapped("version,1\n", "version\n"), "of version ''", "version"),
        (swapped("kind,tra", "kind,tre"), "'trensition' is not one of truth, ", "trensition"),
        (swapped("kind,transition\n", ""), "the line 'kind' is missing above the rows", "rows"),
        (swapped("first_match,0\n", ""), "the line 'first_match' is missing", "rows"),
        (swapped("period_ms,20", "period_ms,20,5"), "has 3 cells, and 2 belong to it", "5"),
        (swapped("period_ms,20", "period_ms,2e1"), "'2e1' is not a whole number", "2e1"),
        (swapped("period_ms,20", 'period_ms,"1,000"'), "'1,000' is not a whole", '"1,000"'),
        (swapped("period_ms,20", "period_ms,"), "the cell of 'period_ms' is empty", ""),
        (swapped("period_ms,20", "period_ms,0"), "'period_ms' should be greater than 0", None),
        (swapped("period_ms", "periode_ms"), "'periode_ms' is not known here", "periode_ms"),
        (swapped("tool,hand", "tool,hand\ntool,foot"), "'tool' stands twice", "tool,foot"),
        (swapped("retains,0", "retains,2"), "'2' is neither 0 nor 1", "2"),
        (swapped('start,"', 'start,"x'), "state 'xat rest, closed' that does not exist", None),
        (swapped("board,'007", 'board,"007'), "begins with a quotation mark", 'board,"007'),
        (swapped("lamp.rungs", "lamp\\rungs\\"), "a backslash stands here", "lamp\\rungs\\"),
        (swapped("lamp.rungs", "\\ud800"), "a backslash stands here", "\\ud800"),
        (swapped("signals,name,", "signals,nom,"), "must name the columns name, kind,", None),
        (swapped("signals,name,", "signal,name,"), "'signals' with the column names", None),
        (swapped("door,input", "door,door"), "'door' is not one of input, clock, due", "door"),
        (swapped("signal,t.due,due", "signal,u.due,due"), "'signal t.due' is not known", None),
        (swapped("timer,t,", "timer,u,"), "'run t' is not known", "run t"),
        (swapped("clock,dark,", "clock,dusk,"), "the clock 'dark' is not declared", None),
        (swapped("clock dark from sunset", "clock dark frm sunset"), "cannot be used", None),
        (swapped("holiday closed on 12-24", "holiday closed on 12-34"), "cannot be used", None),
        (swapped('state,"at rest', 'state,"AT rest'), "begins in a state 'at rest, cl", None),
        (swapped("rows\n", ""), "'columns' is not known here", "columns"),
        (swapped("proof,proved", f"{_PROOF}proof,proved"), "'proof' stands twice", None),
        (swapped("signals,name,", "signals\nsignals,name,"), "must name the columns", "signals"),
        (swapped("timers,name", "outputs,name"), "the line 'outputs' stands twice", None),
        (swapped("signal dark,", "signal \\dark,"), "a backslash stands here", "signal \\dark"),
        (swapped("columns,state", "colums,state"), "the line 'columns' is missing", None),
        (swapped("signal door,", "signal dor,"), "'signal dor' is not known", "signal dor"),
        (swapped("signal door,", ""), "the column 'signal door' is missing", None),
        (swapped("signal door,", "signal dark,"), "'signal dark' stands twice", "signal dark"),
        (swapped("end\n", ""), "the line 'end' is missing: the file is cut off", ""),
        (swapped("end\n", "end\nrow"), "something stands below the line 'end'", "row"),
        (swapped("row,", "raw,"), "'raw' is neither 'row' nor 'end'", "raw"),
    ],
)
def test_a_damaged_csv_is_refused_with_its_place(
    text: str, message: str, place: str | None
) -> None:
    found, where = trouble(text)
    assert message in found
    if place is not None:
        assert where == place


@pytest.mark.parametrize(
    ("text", "message", "place"),
    [
        (swapped("row,0,0,0,#1", "row,0,0,,#1", PLAIN), "of 'output lamp' is empty", ""),
        (swapped("row,0,0,0,#1", "row,0,0,0,#1,1", PLAIN), "the line has 6 cells, and 5", "1"),
        (swapped("row,0,0,0,#1", "row,0,0,0,1", PLAIN), "'1' is not the number of a rung", None),
        (swapped("row,0,0,0", "row,0,2,0", PLAIN), "'signal down' is '2', not - or 0 or 1", "2"),
        (swapped("row,0,0,0", "row,0,0,-", PLAIN), "'output lamp' is '-', not 0 or 1", "-"),
        (swapped("row,0,0,0", "row,01,0,0", PLAIN), "'signal up' is '01'", "01"),
        (swapped("row,0,0,", "row,0,1,", PLAIN), "two rows are for the pattern '01'", None),
        (swapped(",flip,", ",toggle,", EVENTS), "'toggle' is not one of on, off, flip", None),
        (swapped(",flip,", ",,", EVENTS), "the cell of 'output lamp' is empty", ""),
        (swapped("closes,button", "closes,buton", EVENTS), "'buton' is neither an input", None),
        (swapped("closes,button", "closes,late", EVENTS), "'late' is neither an input", None),
        (swapped("at,late", "at,button", EVENTS), "'button' is not a clock event", None),
        (swapped("power-up,", "power-up,button", EVENTS), "power-up is not an event of", None),
        (swapped("opens,button,500", "closes,button,0", EVENTS), "two rows are for", None),
        (swapped("opens,button,500", "opens,button,", EVENTS), "of 'delay_ms' is empty", ""),
        (swapped("at,late,0", "at,late,5", EVENTS), "cannot have this delay", None),
        (swapped("s,1,s,", "s,1,t,", CLEARING), "the state 't' does not exist", None),
        (swapped("row,s,-", "row,s,1", CLEARING), "two rows of 's' are for the pattern '1'", None),
        (swapped("row,s,1", "row,t,1", CLEARING), "the state 't' does not exist", None),
        (swapped("state,s,s", "state,s,t", CLEARING), "the state 't' does not exist", None),
        (swapped("state,s,s", "state,s,s\nstate,s,s", CLEARING), "stands twice among", None),
        (swapped("state,s,s", "state,s,s\nstate,u,s", CLEARING), "'u' has no row", "state,u,s"),
    ],
)
def test_a_damaged_row_is_refused_with_its_place(
    text: str, message: str, place: str | None
) -> None:
    found, where = trouble(text)
    assert message in found
    if place is not None:
        assert where == place


def test_a_file_that_was_cut_off_is_refused_wherever_it_was_cut() -> None:
    for table in ALL:
        text = table_csv(table)
        for length in range(len(text) - 1):
            assert read(text[:length])[0] is None
        text = table_json(table)
        for length in range(0, len(text) - 2, 7):
            assert read(text[:length])[0] is None


def test_findings_of_one_file_are_told_together() -> None:
    text = swapped("row,0,0,0,#1", "row,0,0,2,#1", PLAIN).replace("row,1,-,1", "row,1,-,x")
    assert [finding.message for finding in read(text)[1]] == [
        "the cell of 'output lamp' is '2', not 0 or 1",
        "the cell of 'output lamp' is 'x', not 0 or 1",
    ]


def test_a_slip_of_the_pen_is_told_what_was_meant() -> None:
    findings = read(swapped("signal door,", "signal dor,"))[1]
    assert findings[0].fix == "did you mean 'signal door'?"
    assert (
        read(swapped("s,1,s,", "s,1,S,", CLEARING))[1][0].message == "the state 'S' does not exist"
    )


def test_columns_may_stand_in_another_order() -> None:
    text = table_csv(PLAIN)
    head, mark, rows = text.partition("columns")
    turned = [",".join([line.split(",")[0], *line.split(",")[:0:-1]]) for line in rows.splitlines()]
    assert read(head + mark + "\n".join(turned)) == (PLAIN, ())


def test_a_large_file_is_refused_before_it_is_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("rungs.table.reading.LARGEST", len(table_csv(TIMED)) - 1)
    assert "is larger than" in trouble(table_csv(TIMED))[0]
    monkeypatch.setattr("rungs.table.reading.LARGEST", 1_000)
    assert "bytes, more than 1,000" in trouble('{"title": "' + "\u20ac" * 400 + '"}')[0]


def test_a_file_with_mistakes_without_end_is_refused_in_one_line() -> None:
    message, place = trouble(as_json(transitions=[{"pattern": "x"}] * 3_000))
    assert message == "12,000 places are not as in a table file"
    assert place == "{"


def as_json(**changes: object) -> str:
    return json.dumps({**json.loads(table_json(TIMED)), **changes}, indent=2)


@pytest.mark.parametrize(
    ("text", "message", "place"),
    [
        ("{}", "this JSON is not a table file", "{}"),
        ('{"document": "run"}', "this JSON is not a table file", '"run"}'),
        ("[1, 2]", "neither a table in JSON nor one in CSV", None),
        ('{"document": "table"', "the JSON cannot be read on: expecting ',' delimiter", ""),
        ('{"document": "table"} x', "the JSON cannot be read on: extra data", "x"),
        ('{"a": ' * 100_000, "nested too deeply", ""),
        ('{"a": ' + "9" * 5_000 + "}", "nested too deeply or holds a number", ""),
        (as_json(schema_version=2), "of version '2', and version 1 can be read", "2,"),
        (as_json(schema_version=True), "of version 'True'", "true,"),
        (as_json(kind="other"), "'kind' should be 'truth', 'transition' or 'switching'", None),
        (as_json(colour="red"), "'colour' does not belong into a table file", None),
        (as_json(period_ms="20"), "'period_ms' is not a whole number", '"20",'),
        (as_json(first_match=1), "'first_match' is neither true nor false", "1,"),
        (as_json(signals={}), "'signals' is not a list", None),
        (as_json(start="nowhere"), "state 'nowhere' that does not exist", '"nowhere",'),
        (as_json(transitions=[{"state": "x"}]), "'transitions 1 pattern' is missing", "{"),
        (
            table_json(PLAIN).replace('"pattern": "1-"', '"pattern": "1x"'),
            "'truth 3 pattern' holds something else than 0, 1",
            '"1x",',
        ),
        (
            table_json(PLAIN).replace('"pattern": "1-"', '"pattern": "1"'),
            "1 places stand here, and the file has 2 signals",
            '"1",',
        ),
        (
            table_json(PLAIN).replace('"name": "up",', '"name": "up", "name": "down",'),
            "'name' stands twice here",
            "{",
        ),
        (table_json(PLAIN).replace("Landing", "\\ud800"), "half a character stands here", None),
        (
            table_json(PLAIN).replace('"truth",', '"switching",'),
            "a switching table has rows of a truth table",
            "{",
        ),
    ],
)
def test_a_damaged_json_is_refused_with_its_place(
    text: str, message: str, place: str | None
) -> None:
    found, where = trouble(text)
    assert message in found
    if place is not None:
        assert where == place


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"signals": (*PLAIN.signals, TableSignal(name="up", kind="input"))}, "stands twice"),
        ({"signals": (TableSignal(name="", kind="input"),)}, "a name is empty among the signals"),
        ({"outputs": ()}, "1 places stand here, and the file has 0 outputs"),
        ({"signals": (TableSignal(name="t.due", kind="due"),)}, "cannot run timers"),
        ({"signals": (TableSignal(name="a", kind="clock"),)}, "'a' is not declared"),
        ({"signals": (TableSignal(name="a", kind="input", debounce_ms=-1),)}, "is negative"),
        ({"start": "off"}, "a truth table has no states"),
        ({"states": (TableState(name="s", after_power_cut="s"),)}, "a truth table has no states"),
        ({"truth": (TruthRow(pattern="00", outputs="0", rungs=(0,)),)}, "are numbered from 1"),
        ({"holidays": ("holiday",)}, "the statement cannot be used"),
        ({"site": 'title "x"'}, "'site ...' is expected here"),
    ],
)
def test_parts_that_do_not_hang_together_are_found(
    changes: dict[str, object], message: str
) -> None:
    assert any(message in p.message for p in table_findings(PLAIN.model_copy(update=changes)))


@pytest.mark.parametrize(
    ("changes", "message"),
    [
        ({"run": "11"}, "2 places stand here, and the file has 1 timers"),
        ({"clear_before": ""}, "0 places stand here, and the file has 1 timers to clear"),
        ({"clear_after": "00"}, "2 places stand here, and the file has 1 timers to clear"),
        ({"pattern": ""}, "0 places stand here, and the file has 1 signals"),
        ({"next": "u"}, "the state 'u' does not exist"),
        ({"state": "u"}, "the state 'u' does not exist"),
    ],
)
def test_rows_of_wrong_length_or_with_unknown_states_are_found(
    changes: dict[str, object], message: str
) -> None:
    rows = (CLEARING.transitions[0].model_copy(update=changes), CLEARING.transitions[1])
    problems = table_findings(CLEARING.model_copy(update={"transitions": rows}))
    assert [p.message for p in problems] == [message]


def test_a_due_signal_without_its_timer_is_found() -> None:
    signals = (TableSignal(name="u.due", kind="due"),)
    problems = table_findings(CLEARING.model_copy(update={"signals": signals}))
    assert [p.message for p in problems] == ["'u.due' is not TIMER.due of a timer in the file"]


# --- any damage -----------------------------------------------------------------------------------


@settings(deadline=None, max_examples=50)
@given(st.sampled_from(ALL), st.data())
def test_a_changed_cell_is_a_finding_or_another_table(
    table: TableFile, data: st.DataObject
) -> None:
    lines = list(csv.reader(io.StringIO(table_csv(table))))
    line = data.draw(st.sampled_from(lines))
    index = data.draw(st.integers(0, len(line)))
    new = data.draw(st.sampled_from(("z", "0", "1", "-", "#2", "s", "off", "9", "input", "x y")))
    old = line[index] if index < len(line) else ""
    if new == old:
        new += "z"
    line[index:] = [new, *line[index + 1 :]]
    out = io.StringIO()
    csv.writer(out, lineterminator="\n").writerows(lines)
    found, _ = read(out.getvalue())
    assert found != table


@settings(deadline=None, max_examples=50)
@given(st.sampled_from(ALL), st.booleans(), st.data())
def test_random_damage_never_raises(table: TableFile, as_csv: bool, data: st.DataObject) -> None:
    raw = bytearray((table_csv if as_csv else table_json)(table).encode())
    for _ in range(data.draw(st.integers(1, 4))):
        at = data.draw(st.integers(0, len(raw) - 1))
        match data.draw(st.sampled_from(("set", "cut", "put", "move"))):
            case "set":
                raw[at] = data.draw(st.integers(0, 255))
            case "cut":
                del raw[at : at + data.draw(st.integers(1, 20))]
            case "put":
                raw[at:at] = data.draw(st.binary(max_size=6))
            case _:
                raw[at:at] = raw[at // 2 : at // 2 + 30]
        if not raw:
            break
    source, unreadable = decode(bytes(raw), "damaged")
    if unreadable:
        return
    found, findings = read_table(source)
    assert (found is None) == bool(findings)
    if found is not None:
        Emulator(found)


@settings(deadline=None, max_examples=60)
@given(st.text(), st.sampled_from(("", "{", "document,", "document;table\nversion;1\n", "\ufeff")))
def test_random_text_is_never_a_table(text: str, head: str) -> None:
    found, findings = read_table(Source("any", head + text))
    assert found is None
    assert findings


def test_half_a_character_is_refused() -> None:
    found, findings = read_table(Source("any", "document,table\ntitle,\ud800\n"))
    assert found is None
    assert findings[0].message == "half a character stands here"
