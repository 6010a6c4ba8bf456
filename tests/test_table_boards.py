"""Board files, whether a table fits a board, and sun clocks as fixed times."""

from __future__ import annotations

import json
import re
import tomllib
from argparse import ArgumentParser
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from datetime import date, timedelta
from itertools import product
from pathlib import Path
from typing import Any, Literal

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.cli import boards as verb
from rungs.cli.exits import CliError
from rungs.files import decode
from rungs.findings import CODES, Code, Finding
from rungs.language.words import duration_text
from rungs.program.nodes import Clock, Days, Input, Output, Program, SunTime, TimeOfDay
from rungs.program.times import moment_text
from rungs.scan.calendar import Calendar, build_calendar, polar_days
from rungs.scan.sun import sun_events
from rungs.scan.zone import DAY, MINUTE, load_zone
from rungs.source import source_from_text
from rungs.table.board import (
    Board,
    board_schema,
    load_board,
    read_board,
    shipped_boards,
)
from rungs.table.fit import fit
from rungs.table.needs import ClockSlot, Fit, Need, TimerNeed
from rungs.table.slots import days_text
from rungs.table.sunfix import SlotLength, SunFix, fixed_times
from tests.helpers import program_of

Findings = tuple[Finding, ...]
YEAR = 2026
WARNINGS = {"board-power"}
USED = {
    "board-file",
    "board-kind",
    "board-inputs",
    "board-relays",
    "board-states",
    "board-rows",
    "board-timer",
    "board-clock",
    "board-sun",
    "board-debounce",
    "board-contact",
    "board-load",
    "board-retained",
    "board-power",
}


@pytest.fixture(autouse=True)
def every_code_has_a_severity(monkeypatch: pytest.MonkeyPatch) -> None:
    for code in USED - set(CODES):
        severity = "warning" if code in WARNINGS else "error"
        monkeypatch.setitem(CODES, code, Code(severity, code, code))  # type: ignore[arg-type]


# --- helpers ----------------------------------------------------------------------------------


def shipped(name: str) -> Board:
    board = load_board(name).board
    assert board is not None
    return board


def edited(name: str = "timed-states", **changes: Any) -> Board:
    """A shipped board with values changed: `timers__most=3`; None takes a section out."""
    data = shipped(name).model_dump()
    for path, value in changes.items():
        *sections, key = path.split("__")
        part = data
        for section in sections:
            part = part[section]
        part[key] = value
    return Board.model_validate(data)


def told(result: Fit) -> list[str]:
    return [finding.code for finding in result.findings]


def held(program: Program, board: Board, need: Need | None = None, **more: Any) -> Fit:
    return fit(program, need or need_of(program), board, year=YEAR, **more)


def need_of(program: Program, **more: Any) -> Need:
    """What a table over all inputs, outputs and clocks of a program needs."""
    values: dict[str, Any] = {
        "kind": "transition",
        "inputs": tuple(device.name for device in program.inputs),
        "outputs": tuple(device.name for device in program.outputs),
        "clocks": tuple(device.name for device in program.clocks),
    }
    return Need(**(values | more))


LAMP = "input a at I1\noutput lamp at R1 load 24 V 1 A led\nrung a -> lamp\n"
PLACE = 'site zone "Europe/Oslo" latitude 60.39 longitude 5.32\n'


def with_clock(clock: str, more: str = "") -> Program:
    return program_of(f"{PLACE}{more}output lamp at R1\nclock c {clock}\nrung c -> lamp\n")


# --- shipped boards ---------------------------------------------------------------------------


def test_the_shipped_boards_are_four_in_order_of_name_and_read_without_findings() -> None:
    assert list(shipped_boards()) == ["bare-io", "plain-truth", "relay-events", "timed-states"]
    kinds = {}
    for name in shipped_boards():
        loaded = load_board(name)
        assert loaded.findings == ()
        assert loaded.board is not None
        assert loaded.board.name == name
        kinds[name] = loaded.board.kinds
    assert kinds == {
        "bare-io": (),
        "plain-truth": ("truth",),
        "relay-events": ("switching",),
        "timed-states": ("truth", "transition"),
    }


@pytest.mark.parametrize("name", shipped_boards())
def test_a_board_survives_being_written_as_json_and_read_again(name: str) -> None:
    board = shipped(name)
    assert Board.model_validate_json(board.model_dump_json()) == board
    assert Board.model_validate(board.model_dump()) == board


@pytest.mark.parametrize("name", shipped_boards())
def test_every_line_of_a_shipped_board_has_a_comment(name: str) -> None:
    lines = shipped_boards()[name].read_text(encoding="utf-8").splitlines()
    written = 0
    for above, line in zip(["", *lines], lines, strict=False):
        if not line.strip() or line.startswith("#"):
            continue
        written += 1
        assert len(line) <= 100, line
        bare = re.sub(r'"[^"]*"', "", line)
        assert re.search(r"  # \S+", bare) or above.startswith("# "), line
    assert written > 15


@pytest.mark.parametrize("name", shipped_boards())
def test_a_shipped_board_names_nobody(name: str) -> None:
    """A proper name would stand out by its capital inside a sentence."""
    text = shipped_boards()[name].read_text(encoding="utf-8")
    text = re.sub(r"\n# (?=[a-z])", " ", text)
    inside = re.findall(r'(?<![.:#"] )(?<![#"\n\["])\b([A-Z][A-Za-z0-9/]*)', text)
    assert [w for w in inside if not re.fullmatch(r"[IR][0-9]+|NO|NC|LEDs|I/O", w)] == []


# --- the schema -------------------------------------------------------------------------------


def faults(schema: dict[str, Any], value: Any, root: dict[str, Any]) -> list[str]:
    """What a JSON Schema (the words that ours uses) finds wrong with a value."""
    if "$ref" in schema:
        return faults(root["$defs"][schema["$ref"].rsplit("/", 1)[1]], value, root)
    for word in ("anyOf", "oneOf"):
        if word in schema and all(faults(part, value, root) for part in schema[word]):
            return [word]
    types: dict[str, tuple[type, ...]] = {
        "string": (str,),
        "integer": (int,),
        "number": (int, float),
        "boolean": (bool,),
        "array": (list,),
        "object": (dict,),
        "null": (type(None),),
    }
    kind = schema.get("type")
    # Python holds true for a kind of 1, JSON does not
    is_bool = isinstance(value, bool) and kind != "boolean"
    if kind and (is_bool or not isinstance(value, types[kind])):
        return [f"type {kind}"]
    found = [] if value == schema.get("const", value) else ["const"]
    found += [] if value in schema.get("enum", [value]) else ["enum"]
    if isinstance(value, str):
        found += [] if re.search(schema.get("pattern", ""), value) else ["pattern"]
        found += [] if len(value) <= schema.get("maxLength", len(value)) else ["maxLength"]
    if isinstance(value, int | float):
        low, high = schema.get("minimum", value), schema.get("maximum", value)
        found += [] if low <= value <= high else ["range"]
    if isinstance(value, list):
        least, most = schema.get("minItems", 0), schema.get("maxItems", len(value))
        found += [] if least <= len(value) <= most else ["items"]
        found += [f for part in value for f in faults(schema.get("items", {}), part, root)]
    if isinstance(value, dict):
        known = schema.get("properties", {})
        found += [f"missing {key}" for key in schema.get("required", ()) if key not in value]
        closed = schema.get("additionalProperties", True) is False
        found += [f"unknown {key}" for key in value if closed and key not in known]
        found += [f for key, part in value.items() for f in faults(known.get(key, {}), part, root)]
    return found


@pytest.mark.parametrize("name", shipped_boards())
def test_the_published_schema_takes_the_shipped_boards(name: str) -> None:
    schema = board_schema()
    data = tomllib.loads(shipped_boards()[name].read_text(encoding="utf-8"))
    assert faults(schema, data, schema) == []
    assert schema["additionalProperties"] is False


@pytest.mark.parametrize(
    "path, value, fault",
    [
        ("timers.longest", "24 hours", "anyOf"),
        ("inputs.active_low", "no", "type boolean"),
        ("inputs.volts", 3, "unknown volts"),
        ("schema_version", 2, "const"),
        ("kinds", ["ladder"], "enum"),
    ],
)
def test_the_published_schema_and_the_reader_refuse_the_same(
    path: str, value: Any, fault: str
) -> None:
    schema = board_schema()
    data = tomllib.loads(shipped_boards()["timed-states"].read_text(encoding="utf-8"))
    *sections, key = path.split(".")
    part = data
    for section in sections:
        part = part[section]
    part[key] = value
    assert fault in faults(schema, data, schema)
    with pytest.raises(ValueError, match="validation error"):
        Board.model_validate_json(json.dumps(data))


# --- files that cannot be used ----------------------------------------------------------------

BAD = [
    # (what stands in timed-states, what stands there instead, message, marked text)
    ('"100ms"', '"100 ms"', "is '100 ms', which is not a length of time", "resolution"),
    ('"100ms"', '"150sec"', "'sec' is not a unit of time", "resolution"),
    ('"100ms"', '"0ms"', "'0ms' is no time at all", "resolution"),
    ('"100ms"', "100", "is not a length of time in quotes", "resolution"),
    ('"24h"', '"400d"', "'400d' is longer than 366 days", "longest"),
    ('"24h"', '"1s50ms"', "is 1s50ms, not a whole multiple of the resolution 100ms", "longest"),
    ('"250ms"', '"255ms"', "not a whole multiple of the resolution 10ms", "longest"),
    ('"1min"', '"7min"', "'clock.resolution' does not divide a day", "resolution"),
    ("most = 16", "most = 0", "'timers.most' is too small: the limit is 1", "most"),
    ("most = 16", "most = 0x" + "f" * 400, "too large: the limit is 1,000,000", "most"),
    ("most = 16", "most = 1.5", "'timers.most' is not a whole number", "most"),
    ("most = 16", "most = true", "'timers.most' is not a whole number", "most"),
    ("most = 16", "most = 1979-05-27", "'timers.most' is not a whole number", "most"),
    ("most = 16", "mots = 16", "'mots' is not a key of a board file in [timers]", "mots"),
    ("most = 16", "# most", "'most' is missing in [timers]", "timers"),
    ("most = 16", "most = 16\nmost = 17", "the same key or section stands twice", "most = 17"),
    ("[states]", "[stats]", "'stats' is not a key of a board file", "stats"),
    ("[states]", "[rows]", "the same key or section stands twice", "[rows]"),
    ("[rows]", "[rows", "the file is not TOML: expected ']'", "#"),
    ("sun = false", "sun = 0", "'clock.sun' is not true or false", "sun"),
    ('kind = "settable"', 'kind = "maybe"', "'inputs.debounce.kind' holds 'maybe'", "kind"),
    ('kind = "settable"', "", "'kind' is missing in [inputs.debounce]", "inputs.debounce"),
    ('kind = "settable"', 'kind = "fixed"', "'time' is missing", "inputs.debounce"),
    ("[inputs.debounce]", "[[inputs.debounce]]", "is not a section of keys", "inputs.debounce"),
    ('["truth", "transition"]', '["truth", "x"]', "'kinds' holds 'x', which is not one", "kinds"),
    ('["truth", "transition"]', '["truth", "truth"]', "'kinds' names 'truth' twice", "kinds"),
    ('"R8"]', '"R 8"]', "holds 'R 8', which is not written as such names are", "terminals"),
    ('"R8"]', '"r7"]', "names 'R7' twice", "terminals"),
    ('"R8"]', '"i7"]', "names 'i7', which is an input's terminal as well", "terminals"),
    ('"R8"]', '"R8"', "the file is not TOML", ""),
    ('["NO", "NC"]', "[]", "'relays.contacts' is empty", "contacts"),
    ('["NO", "NC"]', '"NO"', "is not a list in square brackets", "contacts"),
    ("schema_version = 1 ", "schema_version = true ", "not a whole number", "schema_version"),
    ("schema_version = 1 ", "schema_version = 2 ", "is not one of 1", "schema_version"),
    ('name = "t', 'name = "T', "is not written as such names are", "name"),
    ('version = "1"', "version = 1", "'version' is not text in quotes", "version"),
    ('title = "T', 'title = "\\u001b[2JT', "is not one line of plain text", "title"),
    ('text = "F', 'text = "\\u0007F', "holds characters that cannot be printed", "text"),
    ("amps = 6.0", "amps = nan", "is not a number that can be meant", "resistive_amps"),
    ("amps = 6.0", "amps = -1", "'relays.resistive_amps' is too small", "resistive_amps"),
    ("volts = 48.0", 'volts = "48 V"', "'relays.volts' is not a number", "volts"),
]


@pytest.mark.parametrize("old, new, message, marked", BAD)
def test_a_bad_board_file_is_told_in_plain_words_and_at_its_place(
    old: str, new: str, message: str, marked: str
) -> None:
    text = shipped_boards()["timed-states"].read_text(encoding="utf-8")
    assert old in text
    source = source_from_text(text.replace(old, new, 1))
    board, findings = read_board(source)
    assert board is None
    first = next(f for f in findings if message in f.message)
    assert first.code == "board-file"
    shown = source.text[first.span.start : first.span.end]
    assert shown.startswith(marked), (first, shown)
    assert first.span.start < first.span.end
    assert first.effect
    assert first.fix


def test_contradictions_between_sections_are_told() -> None:
    def of(name: str, *changes: tuple[str, str]) -> list[str]:
        text = shipped_boards()[name].read_text(encoding="utf-8")
        for old, new in changes:
            assert old in text
            text = text.replace(old, new, 1)
        return [f.message for f in read_board(source_from_text(text))[1]]

    rows = (("[rows]", "#"), ("most", "#"), ("first_match", "#"))
    states = (("[states]", "#"), ("most = 256", "#"))
    forgets = ("retained = true", "retained = false")
    assert "[rows] does not say how many rows" in of("plain-truth", *rows)[0]
    assert "[states] does not say how many" in of("timed-states", *states)[0]
    assert "does not go with at_power_up" in of("relay-events", ('"last"', '"off"'))[0]
    assert "does not go with at_power_up" in of("relay-events", forgets)[0]
    assert "are both false" in of("relay-events", ("events = true", "events = false"))[0]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "\n\n",
        "x",
        "a = 1 # no board",
        "a=" + "[" * 400,
        "a=[" + "\n[" * 20_000,
        *("a=[" + "\n[" * depth + "]" * (depth + 1) for depth in (100, 240, 320, 400, 470)),
        "a = [1\n\n\n",
        "a = " + "9" * 490,
        "a." * 240 + "b=1\n",
        "".join(f"k{n}.{'a.' * 240}b=1\n" for n in range(100)),
        "a=" + "{a=" * 150,
        "[" * 500,
        "x" * 501,
        "# \n" * 40_000,
        "'''\n" * 9_000,
        '"""\n\\' * 9_000,
        '"a\\nb" = 1',
        '"" = 1',
        "inputs = 3\nrelays = []\nclock = 1979-05-27T07:32:00Z",
        "inputs = { debounce = { kind = 7 } }",
        "inputs.debounce.kind = 'fixed'",
        "[inputs]\ndebounce = 'none'",
        "a = 1\r\nb = \r2",
        "\ufeff\ufeff",
        "a = '\x00'",
        "a = 0001-00-00",
    ],
)
def test_no_text_makes_the_reader_fail(text: str) -> None:
    source = source_from_text(text)
    board, findings = read_board(source)
    assert board is None
    assert findings
    for finding in findings:
        assert finding.code == "board-file"
        assert 0 <= finding.span.start <= finding.span.end <= len(source.text)
        assert "\n" not in finding.message + finding.fix


@settings(deadline=None, max_examples=60)
@given(st.binary(max_size=200))
def test_no_bytes_make_the_reader_fail(data: bytes) -> None:
    source, unreadable = decode(data, "board.toml")
    if not unreadable:
        board, findings = read_board(source)
        assert board is None
        assert findings


@settings(deadline=None, max_examples=60)
@given(
    st.sampled_from(sorted(shipped_boards())),
    st.integers(0, 3_000),
    st.integers(0, 40),
    st.text(alphabet='abz019 ="[]{}.,-#\n\x7fµ', max_size=12),
)
def test_a_board_file_with_a_piece_torn_out_gives_a_board_or_findings(
    name: str, at: int, length: int, put: str
) -> None:
    text = shipped_boards()[name].read_text(encoding="utf-8")
    board, findings = read_board(source_from_text(text[:at] + put + text[at + length :]))
    assert (board is None) == bool(findings)
    if board is not None:
        assert Board.model_validate_json(board.model_dump_json()) == board


@settings(deadline=None, max_examples=60)
@given(st.integers(1, 366 * DAY))
def test_a_duration_is_written_as_the_reader_takes_it(ms: int) -> None:
    text = shipped_boards()["timed-states"].read_text(encoding="utf-8")
    text = text.replace('"100ms"', '"1ms"')
    text = text.replace('longest = "24h"', f'longest = "{duration_text(ms)}"')
    board, _ = read_board(source_from_text(text))
    assert board is not None
    assert board.timers is not None
    assert board.timers.longest == ms


def test_a_board_is_found_by_name_or_by_path(tmp_path: Path) -> None:
    own = tmp_path / "own.toml"
    own.write_bytes(shipped_boards()["plain-truth"].read_bytes())
    assert load_board(own).board == load_board("plain-truth").board == load_board(str(own)).board


def test_a_board_that_cannot_be_loaded_is_a_finding(tmp_path: Path) -> None:
    def message(name: str | Path) -> str:
        loaded = load_board(name)
        assert loaded.board is None
        (finding,) = loaded.findings
        assert finding.code == "board-file"
        return f"{finding.message} | {finding.fix}"

    assert "did you mean 'plain-truth'?" in message("plain-trut")
    assert "a file of your own that ends in .toml" in message("zzz")
    assert "no such file" in message(tmp_path / "none.toml")
    (tmp_path / "folder.toml").mkdir()
    assert "is a folder" in message(tmp_path / "folder.toml")
    (tmp_path / "bytes.toml").write_bytes(b"name = \xff")
    assert "byte 7 of the file is no UTF-8 text" in message(tmp_path / "bytes.toml")
    assert "embedded null" in message("a\0.toml")


# --- limits: one below, at, and one above -----------------------------------------------------

Case = Callable[[int], tuple[Program, Need, Board]]


def _wide(inputs: int, outputs: int) -> Program:
    text = "".join(f"input i{n} at I{n}\n" for n in range(1, inputs + 1))
    text += "".join(f"output o{n} at R{n}\nrung i1 -> o{n}\n" for n in range(1, outputs + 1))
    return program_of(text)


def _inputs(n: int) -> tuple[Program, Need, Board]:
    return _wide(n, 1), need_of(_wide(n, 1)), shipped("timed-states")


def _relays(n: int) -> tuple[Program, Need, Board]:
    return _wide(1, n), need_of(_wide(1, n)), shipped("timed-states")


def _states(n: int) -> tuple[Program, Need, Board]:
    program = program_of(LAMP)
    return program, need_of(program, states=n), shipped("timed-states")


def _rows(n: int) -> tuple[Program, Need, Board]:
    program = program_of(LAMP)
    return program, need_of(program, rows=n), shipped("timed-states")


def _timed(
    *needs: tuple[str, int],
    kind: Literal["on-delay", "accumulating"] = "on-delay",
    retained: bool = False,
) -> tuple[Program, Need]:
    text = "input a at I1\noutput o at R1\n"
    text += "".join(f"timer {name} on-delay 1s\nrung a -> {name}\n" for name, _ in needs)
    program = program_of(text + f"rung {' or '.join(name for name, _ in needs)} -> o\n")
    timers = tuple(TimerNeed(name, name, kind, ms, retained) for name, ms in needs)
    return program, need_of(program, timers=timers)


def _timers(n: int) -> tuple[Program, Need, Board]:
    return *_timed(*((f"t{k}", 1_000) for k in range(n))), shipped("timed-states")


def _timer_longest(n: int) -> tuple[Program, Need, Board]:
    return *_timed(("t", n * 100)), shipped("timed-states")


def _delay_longest(n: int) -> tuple[Program, Need, Board]:
    program, need = _timed(("t", 1_000))
    board = edited("relay-events", delays={"longest": "10s", "resolution": "100ms"})
    return program, replace(need, kind="switching", timers=(), delays=(("t", n * 100),)), board


def _slots(n: int) -> tuple[Program, Need, Board]:
    clocks = "".join(f"clock c{k} at 10:{k:02}\n" for k in range(n))
    circuit = " or ".join(f"c{k}" for k in range(n))
    program = program_of(f'site zone "UTC"\noutput o at R1\n{clocks}rung {circuit} -> o')
    return program, need_of(program), shipped("timed-states")


def _debounce(n: int) -> tuple[Program, Need, Board]:
    program = program_of(LAMP.replace("I1", f"I1 debounce {n * 10}ms"))
    return program, need_of(program), shipped("timed-states")


def _load(volts: float, amps: float, kind: str) -> tuple[Program, Need, Board]:
    program = program_of(LAMP.replace("24 V 1 A led", f"{volts:g} V {amps:g} A {kind}"))
    return program, need_of(program), shipped("timed-states")


LIMITS: dict[str, tuple[Case, int, str, str]] = {
    # limit: (needing n, what the board has, code, words with the needed and available number)
    "inputs": (_inputs, 12, "board-inputs", "needs 13 inputs .* has 12"),
    "relays": (_relays, 8, "board-relays", "needs 9 relays .* has 8"),
    "states": (_states, 256, "board-states", "needs 257 states .* has 256"),
    "rows": (_rows, 4096, "board-rows", "needs 4,097 rows .* has 4,096"),
    "timers": (_timers, 16, "board-timer", "needs 17 timers .* has 16"),
    "timer longest": (_timer_longest, 864_000, "board-timer", "takes 1d100ms, and 1d is"),
    "delay longest": (_delay_longest, 100, "board-timer", "takes 10s100ms, and 10s is"),
    "clock slots": (_slots, 32, "board-clock", "need 33 slots .* has 32"),
    "debounce": (_debounce, 25, "board-debounce", "260ms of debounce .* 250ms at most"),
    "volts": (lambda n: _load(n, 1, "led"), 48, "board-load", "has 49 V .* 48 V at most"),
    "resistive amps": (
        lambda n: _load(24, n / 10, "resistive"),
        60,
        "board-load",
        "draws 6.1 A .* 6 A of resistive load at most",
    ),
    "inductive amps": (
        lambda n: _load(24, n / 10, "motor"),
        20,
        "board-load",
        "draws 2.1 A .* 2 A of inductive load at most",
    ),
}


@pytest.mark.parametrize("limit", LIMITS)
@pytest.mark.parametrize("beyond", [-1, 0, 1])
def test_a_limit_holds_up_to_its_number_and_is_told_beyond_it(limit: str, beyond: int) -> None:
    case, most, code, words = LIMITS[limit]
    program, need, board = case(most + beyond)
    result = fit(program, need, board, year=YEAR)
    errors = [f for f in result.findings if f.severity == "error"]
    if beyond < 1:
        assert errors == []
        assert result.fits
        return
    assert not result.fits
    assert [f.code for f in errors] == [code]
    assert re.search(words, errors[0].message), errors[0].message
    assert errors[0].effect
    assert errors[0].fix
    assert errors[0].span.start < errors[0].span.end


@pytest.mark.parametrize("kind", ["coil", "motor", "valve"])
def test_coils_motors_and_valves_are_held_to_the_inductive_amps(kind: str) -> None:
    assert told(held(*_swap(_load(24, 3, kind)))) == ["board-load"]
    assert told(held(*_swap(_load(24, 2, kind)))) == []


@pytest.mark.parametrize("kind", ["led", "lamp", "resistive", "electronic"])
def test_other_loads_are_held_to_the_resistive_amps(kind: str) -> None:
    assert told(held(*_swap(_load(24, 6, kind)))) == []
    assert told(held(*_swap(_load(24, 6.5, kind)))) == ["board-load"]


def test_a_load_of_an_unknown_kind_is_held_to_the_lower_amps() -> None:
    assert told(held(*_swap(_load(24, 3, "buzzer")))) == ["board-load"]
    assert told(held(*_swap(_load(24, 2, "buzzer")))) == []


def _swap(case: tuple[Program, Need, Board]) -> tuple[Program, Board, Need]:
    return case[0], case[2], case[1]


def test_volts_and_amps_above_their_ratings_are_two_findings() -> None:
    assert told(held(*_swap(_load(60, 9, "led")))) == ["board-load", "board-load"]


# --- what a board has or has not --------------------------------------------------------------


def _clock_board(**changes: Any) -> Board:
    return edited(**{f"clock__{key}": value for key, value in changes.items()})


@dataclass(frozen=True)
class Flag:
    """A program and its need, a board that has what it takes, and one that lacks it."""

    code: str
    program: Program
    has: Board
    lacks: Board
    need: Need | None = None

    def on(self, board: Board) -> Fit:
        return held(self.program, board, self.need)


_ALL = _clock_board(sun=True, holidays=True, catch_up=True)
_LAMP = program_of(LAMP)
_NC = program_of(LAMP.replace("R1", "R1 NC"))
_BOUNCE = program_of(LAMP.replace("I1", "I1 debounce 20ms"))
_NONE, _FIXED = {"kind": "none"}, {"kind": "fixed", "time": "20ms"}
_SLOW = {"kind": "settable", "longest": "90ms", "resolution": "30ms"}
_ON_DELAY = _timed(("t", 1_000))
_ADDING = _timed(("t", 1_000), kind="accumulating")
_KEEPING = _timed(("t", 1_000), kind="accumulating", retained=True)


def _clock_flag(clock: str, has: Board = _ALL, **lacks: Any) -> Flag:
    return Flag("board-clock", with_clock(clock), has, _clock_board(**lacks))


def _need_flag(code: str, lacks: Board, **need: Any) -> Flag:
    return Flag(code, _LAMP, edited(), lacks, need_of(_LAMP, **need))


FLAGS = [
    Flag("board-clock", with_clock("from 10:00 to 11:00"), _ALL, edited(clock=None)),
    _clock_flag("from 10:00 to 11:00", windows=False),
    _clock_flag("at 10:00", events=False),
    _clock_flag("at 10:00 on Mon", weekdays=False),
    _clock_flag("at 10:00 daily between 05-01 and 06-01", seasons=False),
    _clock_flag("at 10:00 except holidays", holidays=False),
    _clock_flag("at 10:00 catch up 5min", catch_up=False),
    _clock_flag("at 10:00:30", _clock_board(resolution="30s")),
    _clock_flag("from 10:00 to 11:30", resolution="1h"),
    _clock_flag("at sunset -30min", sun=True, resolution="1h"),
    Flag("board-sun", with_clock("at sunset"), _ALL, edited()),
    Flag("board-sun", with_clock("at sunset"), _ALL, _clock_board(seasons=False)),
    _need_flag("board-rows", edited(rows__first_match=False), first_match=True),
    _need_flag("board-kind", edited(kinds=("transition",)), kind="truth"),
    _need_flag("board-kind", shipped("bare-io"), kind="truth"),
    _need_flag("board-retained", edited(relays__retained=False), retains=("lamp",)),
    Flag("board-contact", _NC, edited(), edited(relays__contacts=("NO",))),
    Flag("board-contact", _LAMP, edited(), edited(relays__contacts=("NC",))),
    Flag("board-power", _LAMP, edited(), edited(relays__at_power_up="on")),
    Flag("board-power", _LAMP, edited(), edited(relays__at_power_up="unknown")),
    Flag("board-power", _LAMP, edited(), edited(relays__at_power_up="last")),
    Flag("board-timer", _ON_DELAY[0], edited(), edited(timers=None), _ON_DELAY[1]),
    Flag(
        "board-timer",
        _ON_DELAY[0],
        edited(),
        edited(timers__kinds=("accumulating",)),
        _ON_DELAY[1],
    ),
    Flag("board-timer", _ADDING[0], edited(), edited(timers__kinds=("on-delay",)), _ADDING[1]),
    Flag("board-timer", _KEEPING[0], edited(timers__retained=True), edited(), _KEEPING[1]),
    Flag("board-debounce", _BOUNCE, edited(), edited(inputs__debounce=_NONE)),
    Flag(
        "board-debounce",
        _BOUNCE,
        edited(inputs__debounce=_FIXED),
        edited(inputs__debounce=_SLOW),
    ),
    Flag("board-debounce", _LAMP, edited(inputs__debounce=_NONE), edited(inputs__debounce=_FIXED)),
]


@pytest.mark.parametrize("flag", FLAGS, ids=[f"{n}-{f.code}" for n, f in enumerate(FLAGS)])
def test_what_a_board_lacks_is_told_and_what_it_has_is_not(flag: Flag) -> None:
    assert told(flag.on(flag.has)) == []
    (finding,) = flag.on(flag.lacks).findings
    assert finding.code == flag.code
    assert f"'{flag.lacks.name}'" in finding.message
    assert re.match(r"[a-z'\"0-9]", finding.message)
    assert not finding.message.endswith(".")
    assert finding.effect
    assert finding.fix


def test_a_bare_board_says_in_plain_words_that_nothing_compiles_for_it() -> None:
    (finding,) = held(program_of(LAMP), shipped("bare-io")).findings
    assert finding.message == (
        "the board 'bare-io' holds no table: it only reads inputs and switches relays"
    )
    assert finding.effect == "nothing would run the panel on it, so nothing is compiled"


def test_rows_that_do_not_overlap_go_onto_a_board_that_takes_the_first() -> None:
    program = program_of(LAMP)
    assert held(program, edited(), need_of(program, first_match=False)).findings == ()


def test_a_retained_output_may_come_back_as_it_was() -> None:
    program = program_of(LAMP)
    board = edited(relays__at_power_up="last")
    assert told(held(program, board, need_of(program, retains=("lamp",)))) == []


def test_delays_need_rows_that_wait_and_a_switching_table() -> None:
    program, need, board = _delay_longest(5)
    assert fit(program, need, board, year=YEAR).delays == {"t": 5}
    at_once = fit(program, need, shipped("relay-events"), year=YEAR)
    assert sorted(told(at_once)) == ["board-power", "board-timer"]
    odd = replace(need, delays=(("t", 150),))
    assert "board-timer" in told(fit(program, odd, board, year=YEAR))


def test_warnings_let_a_table_through_and_errors_do_not() -> None:
    program = program_of(LAMP)
    assert held(program, edited(relays__at_power_up="unknown")).fits
    assert not held(program, edited(relays__contacts=("NC",))).fits


# --- terminals --------------------------------------------------------------------------------


def _placed(terminals: list[str]) -> Program:
    inputs = tuple(Input(f"i{n}", terminal) for n, terminal in enumerate(terminals))
    return Program(devices=inputs)


_FREE = ["I1", "I2", "I3", "I4", "I5", "I6", "I7", "I8", "X1", "X2", "X3", "X4"]


@settings(deadline=None, max_examples=60)
@given(st.permutations(_FREE))
def test_own_terminals_are_honoured_and_others_are_given_free_ones_and_said(own: list[str]) -> None:
    with pytest.MonkeyPatch.context() as patch:
        every_code = Code("error", "t", "t")
        for code in USED - set(CODES):
            patch.setitem(CODES, code, every_code)
        result = held(_placed(own), edited())
    assert result.findings == ()
    assert len(set(result.terminals.values())) == 12
    assert set(result.terminals.values()) <= set(edited().inputs.terminals)
    for n, terminal in enumerate(own):
        given_one = result.terminals[f"i{n}"]
        if terminal.startswith("I"):
            assert given_one == terminal
        else:
            said = f"Input 'i{n}' is wired to {given_one}, since '{terminal}' is no input terminal"
            assert any(duty.startswith(said) for duty in result.duties)
    free = [result.terminals[f"i{n}"] for n, t in enumerate(own) if t.startswith("X")]
    assert free == ["I9", "I10", "I11", "I12"]


@pytest.mark.parametrize("second", ["I3", "i3"])
def test_two_inputs_on_one_terminal_are_an_error(second: str) -> None:
    result = held(_placed(["I3", second]), edited())
    (finding,) = result.findings
    assert finding.code == "board-inputs"
    assert finding.message == "'i1' and 'i0' are both at terminal I3 of 'timed-states'"
    assert result.terminals == {"i0": "I3"}


def test_two_outputs_on_one_terminal_are_an_error() -> None:
    program = Program(devices=(Output("a", "R2"), Output("b", "R2")))
    assert told(held(program, edited())) == ["board-relays"]


def test_an_input_that_the_table_does_not_need_keeps_its_terminal() -> None:
    program = _placed(["X9", "I1", "X8"])
    result = held(program, edited(), need_of(program, inputs=("i0", "i2")))
    assert result.terminals == {"i0": "I2", "i2": "I3"}


def test_terminals_count_with_those_of_inputs_that_the_table_does_not_need() -> None:
    program = _placed(["X1", "X2", "I1"])
    board = edited(inputs__terminals=("I1", "I2"))
    (finding,) = held(program, board, need_of(program, inputs=("i0", "i1"))).findings
    assert "needs 3 inputs and the board 'timed-states' has 2" in finding.message
    assert finding.effect == "'i1' would have no terminal"


# --- timers -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "preset, resolution",
    list(
        product(
            [1, 10, 50, 99, 100, 101, 250, 500, 999, 1_000, 1_500, 60_000],
            [1, 10, 20, 100, 250, 1_000],
        )
    ),
)
def test_a_preset_is_set_exactly_or_refused(preset: int, resolution: int) -> None:
    program, need = _timed(("t", preset))
    board = edited(timers__resolution=f"{resolution}ms", timers__longest="1h")
    result = fit(program, need, board, year=YEAR)
    setting = result.timers["t"]
    if preset % resolution == 0:
        assert result.findings == ()
        assert setting.value * setting.unit == preset
        return
    (finding,) = result.findings
    assert finding.code == "board-timer"
    assert f"takes {duration_text(preset)}" in finding.message
    below = preset // resolution * resolution
    ways = [duration_text(time) for time in (below, below + resolution) if time]
    assert finding.fix == f"write {' or '.join(ways)}, or choose another board"


def test_timers_are_given_slots_in_order() -> None:
    program, need = _timed(("t", 1_000), ("u", 200))
    result = fit(program, need, edited(), year=YEAR)
    assert [(s.slot, s.value, s.unit) for s in result.timers.values()] == [
        (1, 10, 100),
        (2, 2, 100),
    ]
    assert "Timer 'u' is slot 2: on-delay, 200ms = 2 x 100ms." in result.duties


# --- clocks and duties ------------------------------------------------------------------------


def _slots_of(result: Fit) -> tuple[ClockSlot, ...]:
    return result.clocks["c"]


def test_clock_slots_are_said_in_the_head_with_days_and_season() -> None:
    program = with_clock(
        "from 19:00 to 22:30 on Mon-Wed between 05-01 and 09-30 except holidays",
        "holiday summer on 07-10 to 07-20\n",
    )
    result = held(program, _ALL)
    assert (
        "Clock slot 1: 'c' is closed from 19:00 to 22:30 on Mon, Tue, Wed "
        "between 05-01 and 09-30 except holidays." in result.duties
    )
    assert "The board's list of days off holds: summer." in result.duties
    assert any("local time of Europe/Oslo" in duty for duty in result.duties)


def test_a_window_becomes_two_moments_in_a_switching_table_alone() -> None:
    program = with_clock("from 22:00 to 06:00 on Fri")
    board = edited("relay-events")
    need = need_of(program, kind="switching")
    begin, end = _slots_of(fit(program, need, board, year=YEAR))
    assert (begin.number, begin.role, moment_text(begin.at)) == (1, "begin", "22:00")
    assert (end.number, end.role, moment_text(end.at)) == (2, "end", "06:00")
    assert (days_text(begin.days), days_text(end.days)) == (" on Fri", " on Sat")
    assert told(held(program, _clock_board(windows=False))) == ["board-clock"]


@pytest.mark.parametrize(
    "clock, ending",
    [
        ("from 22:00 to 23:00 on Fri", " on Fri"),
        ("from 22:00 to 06:00 on Sun, Mon", " on Mon, Tue"),
        ("from 22:00 to 06:00 daily between 05-31 and 12-31", " between 06-01 and 01-01"),
        ("from 22:00 to 06:00 daily between 02-01 and 02-29", " between 02-02 and 03-01"),
        ("from 22:00 to 06:00 daily between 02-01 and 02-28", None),
        ("from 22:00 to 06:00 daily between 02-29 and 03-10", None),
        ("from 22:00 to 06:00 except holidays", None),
        ("from 22:00 to 23:00 except holidays", " except holidays"),
        ("from sunset to sunrise", ""),
        ("from sunset to sunrise on Mon", None),
    ],
)
def test_the_end_of_a_window_over_midnight_is_on_the_next_day(
    clock: str, ending: str | None
) -> None:
    program = with_clock(clock)
    board = edited("relay-events", clock__seasons=True, clock__holidays=True)
    result = fit(program, need_of(program, kind="switching"), board, year=YEAR)
    assert ("board-clock" in told(result)) == (ending is None)
    ends = [days_text(slot.days) for slot in _slots_of(result) if slot.role == "end"]
    assert ends == ([] if ending is None else [ending])


def test_a_window_of_zero_length_goes_on_no_board() -> None:
    (finding,) = held(with_clock("from 10:00 to 10:00"), _ALL).findings
    assert finding.code == "board-clock"
    assert "zero length" in finding.message


def test_moments_are_written_as_the_language_writes_them() -> None:
    assert moment_text(TimeOfDay(3_600_000 + 5_000)) == "01:00:05"
    assert moment_text(SunTime("sunset", -20 * MINUTE)) == "sunset -20min"
    assert moment_text(SunTime("sunrise")) == "sunrise"


@pytest.mark.parametrize("active_low", [False, True])
def test_active_low_inputs_are_a_duty_exactly_where_the_board_has_them(active_low: bool) -> None:
    duties = held(program_of(LAMP), edited(inputs__active_low=active_low)).duties
    assert any("active-low" in duty for duty in duties) == active_low


def test_debounce_contact_load_and_power_up_are_said_in_the_head() -> None:
    duties = held(_BOUNCE, edited()).duties
    assert any(d.startswith("Input 'a' is debounced for 20ms by the board") for d in duties)
    assert any(
        d.startswith("Output 'lamp' at R1 uses the NO contact; its load of 24 V 1 A led counts as")
        for d in duties
    )
    assert "From power-up until the first row acts the relays are off." in duties
    assert any("no load is given" in d for d in held(with_clock("at 10:00"), edited()).duties)


@pytest.mark.parametrize("flag", FLAGS, ids=[f"{n}-{f.code}" for n, f in enumerate(FLAGS)])
def test_duties_are_plain_sentences(flag: Flag) -> None:
    duties = flag.on(flag.has).duties
    assert duties
    for duty in duties:
        assert re.fullmatch(r"[A-Z][^\n]+\.", duty), duty


# --- the sun ----------------------------------------------------------------------------------

PLACES = {
    "north": (60.39, 5.32, "Europe/Oslo"),
    "south": (-36.9, 174.8, "Pacific/Auckland"),
    "middle": (40.0, 0.0, "UTC"),
}
WINDOWS = (
    "from sunset -20min to sunrise +10min",
    "from sunrise to sunset",
    "from sunset to 23:30",
)


def _sunny(place: tuple[float, float, str], clock: str) -> Program:
    latitude, longitude, zone = place
    site = f'site zone "{zone}" latitude {latitude} longitude {longitude}'
    return program_of(f"{site}\noutput lamp at R1\nclock c {clock}\nrung c -> lamp")


def _days_of(year: int) -> Iterator[date]:
    day = date(year, 1, 1)
    while day.year == year:
        yield day
        day += timedelta(1)


def _in_slot(day: date, first: tuple[int, int], last: tuple[int, int]) -> bool:
    return first <= (day.month, day.day) <= last


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("by", ["month", "week"])
@pytest.mark.parametrize("year", [2026, 2028])
def test_no_minute_of_the_day_is_nearer_to_the_sun_than_the_fixed_one(
    place: str, by: SlotLength, year: int
) -> None:
    """Against every minute of the day and every day of the year, COMPUTED here from sun_events."""
    latitude, longitude, key = PLACES[place]
    zone = load_zone(key)
    assert zone is not None
    program = _sunny(PLACES[place], "at sunset")
    fix = fixed_times(program, program.clocks[0], by, year)
    assert fix.findings == ()
    assert len(fix.slots) == (12 if by == "month" else 53)
    seen = 0
    for slot in fix.slots:
        walls = []
        for day in _days_of(year):
            if _in_slot(day, slot.first, slot.last):
                (event,) = sun_events(latitude, longitude, zone, day).of("sunset")
                walls.append(zone.local(event)[1])
        seen += len(walls)
        least = min(max(abs(w - m * MINUTE) for w in walls) for m in range(1440))
        assert slot.error == least
        assert max(abs(w - slot.begin) for w in walls) == least
        assert slot.begin % MINUTE == 0
    assert seen == sum(1 for _ in _days_of(year))
    assert fix.error == max(slot.error for slot in fix.slots)
    assert fix.error_minutes == -(-fix.error // MINUTE)


def _windows(calendar: Calendar, clock: Clock, start: int, end: int) -> list[tuple[int, int]]:
    """The windows of a clock that begin in a stretch of time, by asking its calendar alone."""
    found: list[tuple[int, int]] = []
    now = start
    if calendar.is_closed(clock, now - 1):
        now = calendar.next_edge(clock, now - 1) or end
    while (opens := calendar.next_edge(clock, now)) is not None and opens < end:
        closes = calendar.next_edge(clock, opens)
        assert closes is not None
        found.append((opens, closes))
        now = closes
    return found


@pytest.mark.parametrize("place", PLACES)
@pytest.mark.parametrize("by", ["month", "week"])
@pytest.mark.parametrize("text", WINDOWS)
def test_the_fixed_windows_run_beside_the_sun_s_with_the_stated_error(
    place: str, by: SlotLength, text: str
) -> None:
    program = _sunny(PLACES[place], text)
    clock = program.clocks[0]
    fix = fixed_times(program, clock, by, YEAR)
    zone = load_zone(program.site.zone)
    assert zone is not None
    start, end = zone.day_bounds(date(YEAR, 1, 1))[0], zone.day_bounds(date(YEAR, 12, 31))[1]
    real = _windows(build_calendar(program), clock, start, end)
    fixed = []
    for slot in fix.slots:
        assert slot.end is not None
        days = Days(season=(slot.first, slot.last))
        each = Clock("f", TimeOfDay(slot.begin), TimeOfDay(slot.end % DAY), days)
        fixed += _windows(Calendar(program.site, (), (each,)), each, start, end)
    fixed.sort()
    assert len(real) == len(fixed) == 365
    worst = max(max(abs(a - x), abs(b - y)) for (a, b), (x, y) in zip(real, fixed, strict=True))
    assert worst == fix.error


def _fix(clock: str, by: SlotLength = "month", **more: Any) -> SunFix:
    program = _sunny(PLACES["north"], clock)
    return fixed_times(program, program.clocks[0], by, YEAR, **more)


def test_weeks_are_nearer_to_the_sun_than_months() -> None:
    assert _fix("at sunset", "week").error < _fix("at sunset", "month").error


def test_slots_keep_to_the_season_of_the_clock() -> None:
    fix = _fix("at sunset daily between 11-10 and 02-28")
    assert [(s.first, s.last) for s in fix.slots] == [
        ((1, 1), (1, 31)),
        ((2, 1), (2, 28)),
        ((11, 10), (11, 30)),
        ((12, 1), (12, 31)),
    ]
    assert _fix("at sunset").slots[1].last == (2, 29)


def test_slots_cover_each_day_of_a_leap_year_once() -> None:
    for by in ("month", "week"):
        slots = _fix("at sunset", by).slots
        for day in _days_of(2028):
            assert sum(_in_slot(day, slot.first, slot.last) for slot in slots) == 1


def test_times_are_whole_steps_of_the_board() -> None:
    fix = _fix("at sunset", resolution=15 * MINUTE)
    assert all(slot.begin % (15 * MINUTE) == 0 for slot in fix.slots)
    assert fix.error >= _fix("at sunset").error


def test_a_time_of_day_in_a_sun_clock_stays_as_it_is() -> None:
    fix = _fix("from sunset to 23:30:30")
    assert {slot.end for slot in fix.slots} == {(23 * 60 + 30) * MINUTE + 30_000}


def test_days_without_a_sun_are_reported_and_a_slot_without_one_is_refused() -> None:
    winter = _sunny((67.6, 15.0, "UTC"), "from sunset to sunrise between 11-15 and 02-10")
    fix = fixed_times(winter, winter.clocks[0], "month", YEAR)
    assert fix.findings == ()
    dark = [
        (first, last) for first, last, state in polar_days(winter.site, YEAR) if state == "down"
    ]
    assert fix.without
    reported = {d for d in _days_of(YEAR) for first, last in fix.without if first <= d <= last}
    polar = {d for d in _days_of(YEAR) for first, last in dark if first <= d <= last}
    # the night before the first day without a sunrise has no end on the next day either
    assert polar <= reported
    assert len(reported - polar) <= 2
    board = _clock_board()
    duties = held(winter, board, sun_by="month").duties
    assert any("there is no sunrise or sunset for 'c'" in duty for duty in duties)
    north = _sunny((75.0, 20.0, "UTC"), "from sunset to sunrise")
    refused = fixed_times(north, north.clocks[0], "month", YEAR)
    assert refused.slots == ()
    assert [f.code for f in refused.findings] == ["board-sun"]
    assert "from 01-01 to 01-31" in refused.findings[0].message


@pytest.mark.parametrize("clock", ["from 05:00 to sunrise", "at sunrise -8h", "at sunset +8h"])
def test_a_clock_that_no_fixed_time_stands_for_is_refused(clock: str) -> None:
    fix = _fix(clock)
    assert [f.code for f in fix.findings] == ["board-sun"]
    assert fix.slots == ()


def test_without_a_place_there_are_no_fixed_times() -> None:
    program = Program(devices=(Clock("c", SunTime("sunset")),))
    fix = fixed_times(program, program.clocks[0], "month", YEAR)
    assert "no latitude" in fix.findings[0].message


def test_the_way_out_of_a_sun_clock_names_its_largest_error() -> None:
    (finding,) = held(with_clock("at sunset"), edited()).findings
    month, week = (_fix("at sunset", by).error_minutes for by in ("month", "week"))
    assert (
        f"--sun-by month (fixed times in 12 slots, at most {month} min off in 2026)" in finding.fix
    )
    assert f"--sun-by week (fixed times in 53 slots, at most {week} min off in 2026)" in finding.fix


def test_fixed_times_take_a_slot_each_and_their_error_is_a_duty() -> None:
    program = with_clock("from sunset to sunrise on Mon")
    result = held(program, edited(), sun_by="month")
    assert result.findings == ()
    assert [slot.number for slot in _slots_of(result)] == list(range(1, 13))
    assert {slot.days.weekdays for slot in _slots_of(result)} == {(0,)}
    (fix,) = result.sun
    said = f"Clock 'c' has fixed times by month in place of the sun, at most {fix.error_minutes}"
    assert any(duty.startswith(said) for duty in result.duties)
    assert not any("works out sunrise" in duty for duty in result.duties)
    weekly = held(program, edited(), sun_by="week")
    assert [f.message for f in weekly.findings] == [
        "the clocks need 53 slots and the board 'timed-states' has 32"
    ]


def test_a_board_that_knows_the_sun_keeps_it_whatever_is_allowed() -> None:
    result = held(with_clock("at sunset"), _ALL, sun_by="month")
    assert result.sun == ()
    assert [slot.at for slot in _slots_of(result)] == [SunTime("sunset")]
    assert any("latitude 60.39, longitude 5.32" in duty for duty in result.duties)


# --- every code -------------------------------------------------------------------------------


def _only(code: str) -> Findings:
    flag = next(flag for flag in FLAGS if flag.code == code)
    return flag.on(flag.lacks).findings


def _over(limit: str) -> Findings:
    case, most, _, _ = LIMITS[limit]
    return fit(*case(most + 1), year=YEAR).findings


# one way to each code, for tests that go through the table of codes
MADE: dict[str, Callable[[], Findings]] = {
    "board-file": lambda: read_board(source_from_text("name = 1"))[1],
    "board-kind": lambda: _only("board-kind"),
    "board-inputs": lambda: _over("inputs"),
    "board-relays": lambda: _over("relays"),
    "board-states": lambda: _over("states"),
    "board-rows": lambda: _over("rows"),
    "board-timer": lambda: _over("timers"),
    "board-clock": lambda: _over("clock slots"),
    "board-sun": lambda: _only("board-sun"),
    "board-debounce": lambda: _over("debounce"),
    "board-contact": lambda: _only("board-contact"),
    "board-load": lambda: _over("volts"),
    "board-retained": lambda: _only("board-retained"),
    "board-power": lambda: _only("board-power"),
}


def test_every_code_can_be_made() -> None:
    assert set(MADE) == USED
    for code, make in MADE.items():
        assert code in [finding.code for finding in make()]


# --- the verb ---------------------------------------------------------------------------------


def _call(*words: str) -> int:
    parser = ArgumentParser(prog="rungs boards")
    verb.configure(parser)
    return verb.run(parser.parse_args(list(words)))


def test_the_verb_lists_one_line_a_board(capsys: pytest.CaptureFixture[str]) -> None:
    assert _call() == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line.split()[0] for line in lines] == list(shipped_boards())
    assert lines[0].endswith("holds no table")


def test_the_verb_prints_a_board_file_as_it_is(capsys: pytest.CaptureFixture[str]) -> None:
    assert _call("show", "timed-states") == 0
    text = shipped_boards()["timed-states"].read_text(encoding="utf-8")
    assert capsys.readouterr().out == text
    with pytest.raises(CliError, match="did you mean 'timed-states'") as raised:
        _call("show", "timed-state")
    assert raised.value.code == 2


def test_the_verb_prints_the_schema(capsys: pytest.CaptureFixture[str]) -> None:
    assert _call("schema") == 0
    assert json.loads(capsys.readouterr().out) == board_schema()


def test_the_verb_checks_a_file_of_one_s_own(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    own = tmp_path / "own.toml"
    text = shipped_boards()["plain-truth"].read_text(encoding="utf-8")
    own.write_text(text, encoding="utf-8")
    assert _call("check", str(own)) == 0
    assert "plain-truth 1: Plain truth-table board" in capsys.readouterr().out
    own.write_text(text.replace("volts = 30.0", "volts = 'x'"), encoding="utf-8")
    assert _call("check", str(own)) == 1
    shown = capsys.readouterr()
    assert "error [board-file] 'relays.volts' is not a number" in shown.out
    assert "1 error" in shown.err
    assert _call("check", str(own), "--json") == 1
    document = json.loads(capsys.readouterr().out)
    assert [f["code"] for f in document["findings"]] == ["board-file"]
    with pytest.raises(CliError) as raised:
        _call("check", str(tmp_path / "none.toml"))
    assert raised.value.code == 2
