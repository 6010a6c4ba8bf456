"""Reading a table file back: our JSON, or our CSV as a spreadsheet may have saved it again.

A table that comes back decides what relays do, so nothing is guessed: what cannot be read for
certain is a finding with its place, and only what spreadsheets are known to change is undone.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from functools import partial
from itertools import islice
from typing import Any, Final

from pydantic import ValidationError

from rungs.findings import MAX_FINDINGS, Finding
from rungs.source import Source, Span
from rungs.table.emulator import Where, clock_program
from rungs.table.formats import (
    ACTS,
    EVENTS,
    GROUPS,
    ROW_FIELDS,
    SCALARS,
    Column,
    Group,
    row_columns,
)
from rungs.table.model import LARGEST, SwitchingRow, TableFile

_VERSION: Final = 1
_NOTHING: Final = "the table was not read, so nothing is said of what it does"
_LONGEST_NAME: Final = 100  # of what may have been meant; comparing costs the square of the length
_CANDIDATES: Final = 200
_SAVE: Final = "take the file as it was written, or write the table anew"
_Locate = Callable[[Where], Span]


@dataclass(frozen=True, slots=True)
class Problem:
    """What is wrong with a table, and where in the document: field, number of entry, field."""

    where: Where
    message: str
    fix: str = _SAVE


def read_table(source: Source) -> tuple[TableFile | None, tuple[Finding, ...]]:
    """The table of a JSON or CSV file, or None and findings that say what is wrong with it.

    Never raises, whatever the text.
    """
    # one character for one, so that places stay places; old spreadsheets end lines with a return
    text = source.text.replace("\r", "\n")
    if text.startswith("\ufeff"):
        text = " " + text[1:]
    unfit = _unfit(text)
    if unfit is not None:
        return None, (unfit,)
    if text.lstrip()[:1] == "{":
        return _read_json(text)
    head = _HEAD.match(text, len(text) - len(text.lstrip()))
    if head is not None:
        return _Sheet(text, head[1]).read()
    return None, (
        _finding("the file is neither a table in JSON nor one in CSV", _line_span(text, 0), _SAVE),
    )


def _finding(message: str, span: Span, fix: str) -> Finding:
    return Finding("table-file", message, span, _NOTHING, fix)


_CONTROL: Final = re.compile("[\x00-\x08\x0b\x0c\x0e-\x1f]")


def _unfit(text: str) -> Finding | None:
    if len(text) > LARGEST:
        return _finding(f"the file is larger than {LARGEST:,} bytes", Span(0, 0), _SAVE)
    try:
        size = len(text.encode("utf-8"))
    except UnicodeEncodeError as error:
        return _finding("half a character stands here", Span(error.start, error.end), _SAVE)
    if size > LARGEST:
        return _finding(f"the file has {size:,} bytes, more than {LARGEST:,}", Span(0, 0), _SAVE)
    if not text.strip():
        return _finding("the file is empty", Span(0, 0), _SAVE)
    control = _CONTROL.search(text)
    if control is not None:
        what = f"the character U+{ord(control[0]):04X} cannot stand in a table file"
        return _finding(what, Span(*control.span()), _SAVE)
    return None


def _line_span(text: str, offset: int) -> Span:
    """From an offset to the end of its line."""
    end = text.find("\n", offset)
    return Span(offset, len(text) if end < 0 else end)


def _shown(value: object) -> str:
    text = "".join(c if c.isprintable() else f"\\u{ord(c):04x}" for c in str(value)[:60])
    return f"'{text}...'" if len(str(value)) > 60 else f"'{text}'"


def _meant(name: str, known: Iterable[str]) -> str:
    short = sorted(each for each in known if len(each) <= _LONGEST_NAME)[:_CANDIDATES]
    close = get_close_matches(name[:_LONGEST_NAME], short, n=1)
    return f"did you mean {_shown(close[0])}?" if close else _SAVE


# --- JSON ---------------------------------------------------------------------------------------


class _DoubledError(Exception):
    """A key stands twice in an object, the `number`th that ends."""

    def __init__(self, key: str, number: int) -> None:
        super().__init__(key)
        self.key = key
        self.number = number


def _read_json(text: str) -> tuple[TableFile | None, tuple[Finding, ...]]:
    try:
        top = _top(text)
    except json.JSONDecodeError as error:
        what = f"the JSON cannot be read on: {error.msg[:1].lower()}{error.msg[1:]}"
        return None, (_finding(what, _line_span(text, error.pos), _SAVE),)
    except _DoubledError as error:
        span = _object_span(text, error.number)
        return None, (_finding(f"{_shown(error.key)} stands twice here", span, "keep one"),)
    except (RecursionError, ValueError):
        what = "the JSON is nested too deeply or holds a number that is too long"
        return None, (_finding(what, Span(0, 0), _SAVE),)
    locate = partial(_json_span, text)
    if top.get("document") != "table":
        return None, (_finding("this JSON is not a table file", locate(("document",)), _SAVE),)
    version = top.get("schema_version")
    if version != _VERSION or isinstance(version, bool):
        what = f"the table is of version {_shown(version)}, and version {_VERSION} can be read"
        return None, (_finding(what, locate(("schema_version",)), _SAVE),)
    try:
        table = TableFile.model_validate_json(text, strict=True)
    except ValidationError as error:
        half = _half_character(text)
        if half is not None:
            return None, (half,)
        return None, _placed(_model_problems(error), locate)
    return _judged(table, locate)


def _half_character(text: str) -> Finding | None:
    """What is wrong with the first escape of half a character, which JSON lets pass."""
    for token in _TOKEN.finditer(text):
        if "\\u" not in token[0]:
            continue
        try:
            json.loads(token[0]).encode("utf-8")
        except UnicodeEncodeError:
            return _finding("half a character stands here", Span(*token.span()), _SAVE)
    return None


def _top(text: str) -> dict[str, Any]:
    """The outermost object, without what is inside inner ones. Raises _DoubledError, ValueError."""
    number = 0
    top: dict[str, Any] = {}

    def seen(pairs: list[tuple[str, Any]]) -> None:
        nonlocal number, top
        number += 1
        top = dict(pairs)
        if len(top) < len(pairs):
            key = Counter(key for key, _ in pairs).most_common(1)[0][0]
            raise _DoubledError(key, number)

    json.loads(text, object_pairs_hook=seen)
    return top


_TOKEN: Final = re.compile(r'"(?:[^"\\]++|\\.)*+"|[{}]')


def _object_span(text: str, number: int) -> Span:
    """The first line of the `number`th object that ends."""
    begins: list[int] = []
    for token in _TOKEN.finditer(text):
        if token[0] == "{":
            begins.append(token.start())
        elif token[0] == "}":
            begin = begins.pop()
            number -= 1
            if not number:
                return _line_span(text, begin)
    return Span(0, 0)


_SPACE: Final = re.compile(r"[ \t\n]*")


def _json_span(text: str, where: Where) -> Span:
    """The line, from the value on, of a place in sound JSON; as far down as the place exists."""
    decoder = json.JSONDecoder()

    def skip(at: int) -> int:
        found = _SPACE.match(text, at)
        return at if found is None else found.end()

    at = skip(0)
    for step in where:
        opened = text[at]
        if opened not in ("{" if isinstance(step, str) else "["):
            break
        here, index = skip(at + 1), 0
        while text[here] not in "}]":
            key: object = index
            if opened == "{":
                key, here = decoder.raw_decode(text, here)
                here = skip(skip(here) + 1)
            if key == step:
                break
            _, here = decoder.raw_decode(text, here)
            here = skip(here)
            here = skip(here + 1) if text[here] == "," else here
            index += 1
        if text[here] in "}]":
            break
        at = here
    return _line_span(text, at)


# --- what both have in common -------------------------------------------------------------------


def _placed(problems: Iterable[Problem], locate: _Locate) -> tuple[Finding, ...]:
    # in large JSON each place costs a reading of the text up to it
    few = islice(problems, 20)
    return tuple(_finding(p.message, locate(p.where), p.fix) for p in few)


def _judged(table: TableFile, locate: _Locate) -> tuple[TableFile | None, tuple[Finding, ...]]:
    findings = _placed(table_findings(table), locate)
    return (None, findings) if findings else (table, ())


_MOST_MISTAKES: Final = 10_000
_PLAIN: Final = {
    "missing": "is missing",
    "extra_forbidden": "does not belong into a table file",
    "string_pattern_mismatch": "holds something else than 0, 1 and, in a pattern, -",
    "string_type": "is not a text",
    "int_type": "is not a whole number",
    "int_from_float": "is not a whole number",
    "bool_type": "is neither true nor false",
    "tuple_type": "is not a list",
}


def _model_problems(error: ValidationError) -> Iterator[Problem]:
    count = error.error_count()
    if count > _MOST_MISTAKES:  # listing a million of them would take half a minute
        yield Problem((), f"{count:,} places are not as in a table file")
        return
    for one in error.errors(include_url=False):
        where: Where = tuple(one["loc"])
        what = _PLAIN.get(one["type"])
        if what is None:
            message = one["msg"].removeprefix("Input ")
            what = f"{message[:1].lower()}{message[1:]}"
            if isinstance(one["input"], str | int):
                what += f", not {_shown(one['input'])}"
        yield Problem(where, f"{_where_words(where)} {what}")


def _where_words(where: Where) -> str:
    words = [str(part + 1) if isinstance(part, int) else part for part in where]
    return _shown(" ".join(words)) if words else "the file"


# --- CSV ----------------------------------------------------------------------------------------

_HEAD: Final = re.compile(r""""? {0,9}'?document {0,9}"? {0,9}([,;\t])""", re.IGNORECASE)
_OPENED: Final = re.compile(' *+"')
_FLAGS: Final = {
    **dict.fromkeys(("0", "0.0", "0,0", "0.00", "0,00", "false"), "0"),
    **dict.fromkeys(("1", "1.0", "1,0", "1.00", "1,00", "true"), "1"),
}
_PATTERN: Final = {**_FLAGS, "-": "-", "\u2013": "-", "\u2212": "-"}
_WHOLE: Final = re.compile(r"([0-9]{1,18})(?:[.,]0{1,2})?")  # 1,000 may be a thousand: not read
_RUNGS: Final = re.compile(r"#([0-9]{1,9})")
_ESCAPE: Final = re.compile(r"\\(?:u([0-9a-fA-F]{4})|U([0-9a-fA-F]{8})|([nrt\\']))|\\")
_UNESCAPED: Final = {"n": "\n", "r": "\r", "t": "\t", "\\": "\\", "'": "'"}


class _DamagedError(Exception):
    """A cell cannot be read; the text says why."""


class _Sheet:
    """A CSV on its way to a table, line by line."""

    def __init__(self, text: str, separator: str) -> None:
        self._text = text
        self._separator = separator
        self._quoted = re.compile(rf' *+"((?:[^"]++|"")*+)" *+(?={re.escape(separator)}|$)')
        self._findings: list[Finding] = []
        self._places: dict[Where, Span] = {}
        self._data: dict[str, Any] = {}
        self._headed: dict[str, list[Column]] = {}
        self._positions: dict[str, list[int]] = {}
        self._names: list[str] = []  # of the columns of the rows, by position
        self._phase = "header"
        self._line = Span(0, 0)

    def read(self) -> tuple[TableFile | None, tuple[Finding, ...]]:
        start = 0
        for line in self._text.split("\n"):
            self._line = Span(start, start + len(line))
            start += len(line) + 1
            cells = self._cells(line)
            while cells and not cells[-1]:
                cells.pop()
            if cells:
                self._take(cells)
            if self._phase == "stop" or len(self._findings) >= MAX_FINDINGS:
                break
        else:
            if self._phase != "end":
                missing = {"header": "rows", "columns": "columns"}.get(self._phase, "end")
                self._wrong(f"the line '{missing}' is missing: the file is cut off")
        if self._findings:
            return None, tuple(self._findings[:MAX_FINDINGS])
        try:
            table = TableFile.model_validate(self._data)
        except ValidationError as error:
            return None, _placed(_model_problems(error), self._locate)
        return _judged(table, self._locate)

    def _locate(self, where: Where) -> Span:
        for length in range(len(where), 0, -1):
            if where[:length] in self._places:
                return self._places[where[:length]]
        return self._places.get(("rows",), Span(0, 0))

    def _wrong(self, message: str, cell: int | None = None, fix: str = _SAVE) -> None:
        span = self._line
        if cell is not None:
            begin = 0
            line = self._text[span.start : span.end]
            for index, (_, end) in enumerate(self._split(line)):
                if index == cell:
                    span = Span(span.start + begin, span.start + end)
                    break
                begin = end + 1
        self._findings.append(_finding(message, span, fix))

    # --- cells

    def _cells(self, line: str) -> list[str]:
        if '"' not in line:
            return [cell.strip() for cell in line.split(self._separator)]
        try:
            return [cell for cell, _ in self._split(line)]
        except _DamagedError as error:
            self._findings.append(_finding(str(error), self._line, _SAVE))
            return []

    def _split(self, line: str) -> Iterator[tuple[str, int]]:
        """Each cell without quotes and surrounding spaces, and where it ends in the line."""
        at = 0
        while True:
            quoted = self._quoted.match(line, at)
            if quoted is not None:
                end, cell = quoted.end(), quoted[1].replace('""', '"')
            elif _OPENED.match(line, at):
                raise _DamagedError("a cell begins with a quotation mark and does not end with one")
            else:
                end = line.find(self._separator, at)
                end = len(line) if end < 0 else end
                cell = line[at:end]
            yield cell.strip(), end
            if end == len(line):
                return
            at = end + 1

    def _value(self, column: Column, cell: str) -> object:
        """What a cell says. Raises _DamagedError."""
        if column.cell == "text":
            return _text(cell)
        word = cell.removeprefix("'").casefold()
        if not word:
            raise _DamagedError(f"the cell of '{column.name}' is empty")
        match column.cell:
            case "whole":
                return _whole(word)
            case "flag":
                if word not in _FLAGS:
                    raise _DamagedError(f"{_shown(cell)} is neither 0 nor 1")
                return _FLAGS[word] == "1"
            case "word":
                return _word(cell, column.words)

    # --- lines

    def _take(self, cells: list[str]) -> None:
        key = cells[0].removeprefix("'").casefold()
        match self._phase:
            case "header":
                self._header(key, cells)
            case "columns":
                self._columns(key, cells)
            case "rows":
                if key == "row":
                    self._row(cells)
                elif key == "end":
                    self._phase = "end"
                    self._surplus(cells, 1)
                else:
                    self._wrong(f"{_shown(cells[0])} is neither 'row' nor 'end'", 0)
            case _:
                self._wrong("something stands below the line 'end'")

    def _surplus(self, cells: list[str], count: int) -> bool:
        if len(cells) > count:
            self._wrong(f"the line has {len(cells)} cells, and {count} belong to it", count)
        return len(cells) > count

    def _header(self, key: str, cells: list[str]) -> None:
        scalar = next((column for column in SCALARS if column.name == key), None)
        group = next((group for group in GROUPS if key in (group.key, group.heading)), None)
        if key == "rows":
            self._begin_rows(cells)
        elif key in ("document", "version"):
            self._identify(key, cells)
        elif scalar is not None:
            self._scalar(scalar, cells)
        elif group is None:
            known = [column.name for column in SCALARS] + [group.key for group in GROUPS]
            self._wrong(f"{_shown(cells[0])} is not known here", 0, _meant(key, known))
        elif key == group.heading:
            self._heading(group, cells)
        else:
            self._entry(group, cells)

    def _identify(self, key: str, cells: list[str]) -> None:
        value = cells[1].removeprefix("'").casefold() if len(cells) > 1 else ""
        field = "schema_version" if key == "version" else key
        if field in self._data:
            self._wrong(f"the line '{key}' stands twice")
        elif key == "document" and value != "table":
            self._wrong("this file is not a table file", 1)
        elif key == "version" and value not in ("1", "1.0", "1,0"):
            what = f"the table is of version {_shown(value)}, and version {_VERSION} can be read"
            self._wrong(what, 1)
        else:
            self._data[field] = "table" if key == "document" else _VERSION
            self._surplus(cells, 2)
            return
        self._phase = "stop"

    def _scalar(self, column: Column, cells: list[str]) -> None:
        if column.name in self._data:
            self._wrong(f"the line '{column.name}' stands twice", None, "keep one")
        elif not self._surplus(cells, 2):
            try:
                value = self._value(column, cells[1] if len(cells) > 1 else "")
            except _DamagedError as error:
                self._wrong(str(error), 1)
                value = None
            self._data[column.name] = value
            self._places[column.name,] = self._line

    def _heading(self, group: Group, cells: list[str]) -> None:
        if group.key in self._headed:
            self._wrong(f"the line '{group.heading}' stands twice", None, "keep one")
            return
        by_name = {column.name: column for column in group.columns}
        names = [cell.removeprefix("'").casefold() for cell in cells[1:]]
        if sorted(names) != sorted(by_name):
            wanted = ", ".join(by_name)
            self._wrong(f"the line '{group.heading}' must name the columns {wanted}")
            self._headed[group.key] = list(group.columns)
            return
        self._headed[group.key] = [by_name[name] for name in names]

    def _entry(self, group: Group, cells: list[str]) -> None:
        columns = self._headed.get(group.key)
        if columns is None:
            self._wrong(f"the line '{group.heading}' with the column names is missing above this")
            columns = self._headed[group.key] = list(group.columns)
        if self._surplus(cells, 1 + len(columns)):
            return
        entry: dict[str, object] = {}
        for i, column in enumerate(columns, 1):
            try:
                entry[column.name] = self._value(column, cells[i] if i < len(cells) else "")
            except _DamagedError as error:
                self._wrong(str(error), i)
        if group.field == "proof":
            if "proof" in self._data:
                self._wrong("the line 'proof' stands twice", None, "keep one")
            self._data["proof"] = entry
            self._places["proof",] = self._line
            return
        entries = self._data.setdefault(group.field, [])
        self._places[group.field, len(entries)] = self._line
        entries.append(next(iter(entry.values()), "") if group.plain else entry)

    # --- rows

    def _begin_rows(self, cells: list[str]) -> None:
        self._surplus(cells, 1)
        needed = [("document", "document"), ("version", "schema_version")]
        needed += [(column.name, column.name) for column in SCALARS]
        for name, field in needed:
            if field not in self._data:
                self._wrong(f"the line '{name}' is missing above the rows")
        # what is wrong in the header would only be said again for each row
        self._phase = "stop" if self._findings else "columns"
        self._places["rows",] = self._line

    def _names_of(self, field: str) -> list[str]:
        return [str(entry["name"]) for entry in self._data.get(field, ())]

    def _columns(self, key: str, cells: list[str]) -> None:
        self._phase = "stop"
        if key != "columns":
            self._wrong("the line 'columns' is missing below the line 'rows'")
            return
        timers = self._data.get("timers", ())
        wanted = row_columns(
            self._data["kind"],
            self._names_of("signals"),
            self._names_of("outputs"),
            self._names_of("timers"),
            any(timer["kind"] == "accumulating" for timer in timers),
        )
        found: dict[tuple[str, str], int] = {}
        self._names = [""]
        allowed = set(wanted)
        known = [f"{word} {name}".rstrip() for word, name in wanted]
        for i, cell in enumerate(cells[1:], 1):
            try:
                text = _text(cell)
            except _DamagedError as error:
                self._wrong(str(error), i)
                continue
            word, _, name = text.partition(" ")
            column = (word.casefold(), name)
            self._names.append(text)
            if column in found:
                self._wrong(f"the column {_shown(text)} stands twice", i, "keep one")
            elif column not in allowed:
                self._wrong(f"the column {_shown(text)} is not known", i, _meant(text, known))
            found[column] = i
            if len(self._findings) >= MAX_FINDINGS:
                return
        for column in wanted:
            if column not in found:
                missing = " ".join(column).rstrip()
                self._wrong(f"the column {_shown(missing)} is missing")
        if not self._findings:
            self._phase = "rows"
            self._data[ROW_FIELDS[self._data["kind"]]] = []
            for word, name in wanted:
                self._positions.setdefault(word, []).append(found[word, name])

    def _row(self, cells: list[str]) -> None:
        count = len(self._names)
        if self._surplus(cells, count):
            return
        cells += [""] * (count - len(cells))
        kind = self._data["kind"]
        rows = self._data[ROW_FIELDS[kind]]
        try:
            row = self._switching(cells) if kind == "switching" else self._pattern_row(cells)
            row["rungs"] = _rungs(self._one(cells, "rungs"))
        except _DamagedError as error:
            self._wrong(*error.args)
            return
        self._places[ROW_FIELDS[kind], len(rows)] = self._line
        rows.append(row)

    def _pattern_row(self, cells: list[str]) -> dict[str, object]:
        row: dict[str, object] = {
            "pattern": self._flags(cells, "signal", _PATTERN),
            "outputs": self._flags(cells, "output", _FLAGS),
        }
        if self._data["kind"] == "transition":
            row["state"] = _text(self._one(cells, "state"))
            row["next"] = _text(self._one(cells, "next"))
            for word in ("run", "clear_before", "clear_after"):
                row[word] = self._flags(cells, word, _FLAGS)
        return row

    def _switching(self, cells: list[str]) -> dict[str, object]:
        delay = self._positions["delay_ms"][0]
        if not cells[delay]:
            raise _DamagedError("the cell of 'delay_ms' is empty", delay)
        acts = []
        for i in self._positions.get("output", ()):
            if not cells[i]:
                raise _DamagedError(f"the cell of {_shown(self._names[i])} is empty", i)
            acts.append(_word(cells[i], ACTS))
        return {
            "event": _word(self._one(cells, "event"), EVENTS),
            "device": _text(self._one(cells, "device")),
            "delay_ms": _whole(cells[delay].removeprefix("'")),
            "acts": acts,
        }

    def _one(self, cells: list[str], word: str) -> str:
        return cells[self._positions[word][0]]

    def _flags(self, cells: list[str], word: str, known: dict[str, str]) -> str:
        positions = self._positions.get(word, ())
        try:
            return "".join([known[cells[i]] for i in positions])
        except KeyError:
            pass
        found = []
        for i in positions:
            flag = known.get(cells[i].removeprefix("'").casefold())
            if flag is None:
                what = f"is {_shown(cells[i])}, not {' or '.join(sorted(set(known.values())))}"
                what = what if cells[i] else "is empty"
                raise _DamagedError(f"the cell of {_shown(self._names[i])} {what}", i)
            found.append(flag)
        return "".join(found)


def _text(cell: str) -> str:
    """The text that `cell_text` wrote. Raises _DamagedError."""
    text = cell.removeprefix("'")
    return _ESCAPE.sub(_unescaped, text) if "\\" in text else text


def _unescaped(found: re.Match[str]) -> str:
    if found[3]:
        return _UNESCAPED[found[3]]
    code = int(found[1] or found[2] or "110000", 16)
    if code > 0x10FFFF or 0xD800 <= code < 0xE000:
        raise _DamagedError("a backslash stands here without one of the letters that may follow it")
    return chr(code)


def _word(cell: str, words: Sequence[str]) -> str:
    for word in words:
        if word.casefold() == cell.removeprefix("'").casefold():
            return word
    raise _DamagedError(f"{_shown(cell)} is not one of {', '.join(words)}")


def _whole(cell: str) -> int:
    found = _WHOLE.fullmatch(cell)
    if found is None:
        raise _DamagedError(f"{_shown(cell)} is not a whole number in digits alone")
    return int(found[1])


def _rungs(cell: str) -> list[int]:
    numbers = []
    for part in cell.removeprefix("'").split():
        found = _RUNGS.fullmatch(part)
        if found is None:
            raise _DamagedError(f"{_shown(part)} is not the number of a rung, such as #3")
        numbers.append(int(found[1]))
    return numbers


# --- whether a table hangs together ---------------------------------------------------------------


def table_findings(table: TableFile) -> tuple[Problem, ...]:
    """What does not hang together in a table of sound parts: lengths, names and references.

    Empty for a table that the emulator can take; the first hundred at most.
    """
    return tuple(islice(_problems(table), MAX_FINDINGS))


def _problems(table: TableFile) -> Iterator[Problem]:
    yield from _name_problems(table)
    yield from _signal_problems(table)
    yield from _clock_problems(table)
    for kind, field in ROW_FIELDS.items():
        if kind != table.kind and getattr(table, field):
            yield Problem((field, 0), f"a {table.kind} table has rows of a {kind} table")
    if table.kind == "transition":
        yield from _state_problems(table)
        yield from _transition_problems(table)
        return
    if table.start or table.states:
        yield Problem(("start",), f"a {table.kind} table has no states")
    if table.kind == "truth":
        yield from _truth_problems(table)
    else:
        yield from _switching_problems(table)


def _name_problems(table: TableFile) -> Iterator[Problem]:
    named = {
        "signals": [signal.name for signal in table.signals],
        "outputs": [output.name for output in table.outputs],
        "timers": [timer.name for timer in table.timers],
        "clocks": [clock.name for clock in table.clocks],
        "states": [state.name for state in table.states],
    }
    for field, names in named.items():
        known: set[str] = set()
        for i, name in enumerate(names):
            if not name:
                yield Problem((field, i, "name"), f"a name is empty among the {field}")
            elif name in known:
                message = f"{_shown(name)} stands twice among the {field}"
                yield Problem((field, i, "name"), message, "give each a name of its own")
            known.add(name)


def _signal_problems(table: TableFile) -> Iterator[Problem]:
    timers = {f"{timer.name}.due" for timer in table.timers}
    clocks = {clock.signal for clock in table.clocks}
    for i, signal in enumerate(table.signals):
        where, name = ("signals", i, "name"), _shown(signal.name)
        if signal.debounce_ms < 0:
            yield Problem(("signals", i, "debounce_ms"), f"the debounce time of {name} is negative")
        match signal.kind:
            case "due" if table.kind != "transition":
                yield Problem(where, f"{name}: a {table.kind} table cannot run timers")
            case "due" if signal.name not in timers:
                fix = _meant(signal.name, timers)
                yield Problem(where, f"{name} is not TIMER.due of a timer in the file", fix)
            case "clock" if signal.name not in clocks:
                fix = _meant(signal.name, clocks)
                yield Problem(where, f"the clock {name} is not declared in the file", fix)
            case _:
                pass


def _clock_problems(table: TableFile) -> Iterator[Problem]:
    for where, message in clock_program(table)[1]:
        yield Problem(where, f"the statement cannot be used: {message}", "write it anew")


def _state_problems(table: TableFile) -> Iterator[Problem]:
    names = {state.name for state in table.states}
    if table.start not in names:
        message = f"the table begins in a state {_shown(table.start)} that does not exist"
        yield Problem(("start",), message, _meant(table.start, names))
    rows = {row.state for row in table.transitions}
    for i, state in enumerate(table.states):
        if state.after_power_cut not in names:
            message = f"the state {_shown(state.after_power_cut)} does not exist"
            fix = _meant(state.after_power_cut, names)
            yield Problem(("states", i, "after_power_cut"), message, fix)
        if state.name not in rows:
            yield Problem(("states", i, "name"), f"the state {_shown(state.name)} has no row")


def _long(where: Where, flags: str | Sequence[str], count: int, what: str) -> Iterator[Problem]:
    if len(flags) != count:
        message = f"{len(flags)} places stand here, and the file has {count} {what}"
        yield Problem(where, message)


def _rung_problems(where: Where, rungs: tuple[int, ...]) -> Iterator[Problem]:
    if any(not 1 <= number < 1_000_000_000 for number in rungs):
        yield Problem((*where, "rungs"), "rungs are numbered from 1")


def _truth_problems(table: TableFile) -> Iterator[Problem]:
    known: set[str] = set()
    for i, row in enumerate(table.truth):
        where = ("truth", i)
        yield from _long((*where, "pattern"), row.pattern, len(table.signals), "signals")
        yield from _long((*where, "outputs"), row.outputs, len(table.outputs), "outputs")
        yield from _rung_problems(where, row.rungs)
        if row.pattern in known:
            yield Problem(where, f"two rows are for the pattern {_shown(row.pattern)}", "keep one")
        known.add(row.pattern)


def _transition_problems(table: TableFile) -> Iterator[Problem]:
    names = {state.name for state in table.states}
    timers = len(table.timers)
    clearing = timers if any(t.kind == "accumulating" for t in table.timers) else 0
    known: set[tuple[str, str]] = set()
    for i, row in enumerate(table.transitions):
        where = ("transitions", i)
        yield from _long((*where, "pattern"), row.pattern, len(table.signals), "signals")
        yield from _long((*where, "outputs"), row.outputs, len(table.outputs), "outputs")
        yield from _long((*where, "run"), row.run, timers, "timers")
        what = "timers to clear"
        yield from _long((*where, "clear_before"), row.clear_before, clearing, what)
        yield from _long((*where, "clear_after"), row.clear_after, clearing, what)
        yield from _rung_problems(where, row.rungs)
        for field, name in (("state", row.state), ("next", row.next)):
            if name not in names:
                message = f"the state {_shown(name)} does not exist"
                yield Problem((*where, field), message, _meant(name, names))
        if (row.state, row.pattern) in known:
            what = f"two rows of {_shown(row.state)} are for the pattern {_shown(row.pattern)}"
            yield Problem(where, what, "keep one")
        known.add((row.state, row.pattern))


def _switching_problems(table: TableFile) -> Iterator[Problem]:
    clocks = clock_program(table)[0].clocks
    moments = {clock.name for clock in clocks if clock.end is None}
    events = {clock.signal for clock in table.clocks if clock.name in moments}
    movers = {s.name for s in table.signals if s.kind == "input"}
    movers |= {clock.signal for clock in table.clocks if clock.name not in moments}
    known: set[tuple[str, str, int]] = set()
    for i, row in enumerate(table.switching):
        where = ("switching", i)
        yield from _long((*where, "acts"), row.acts, len(table.outputs), "outputs")
        yield from _rung_problems(where, row.rungs)
        yield from _event_problems(where, row, movers, events)
        key = (row.event, row.device, row.delay_ms)
        if key in known:
            words = f"{row.event} {row.device}".rstrip()
            yield Problem(where, f"two rows are for {_shown(words)}", "keep one")
        known.add(key)


def _event_problems(
    where: Where, row: SwitchingRow, movers: set[str], events: set[str]
) -> Iterator[Problem]:
    name = _shown(row.device)
    match row.event:
        case "power-up":
            if row.device:
                yield Problem((*where, "device"), f"power-up is not an event of {name}")
        case "closes" | "opens":
            if row.device not in movers:
                message = f"{name} is neither an input nor a clock window of the file"
                yield Problem((*where, "device"), message, _meant(row.device, movers))
        case "at":
            if row.device not in events:
                message = f"{name} is not a clock event of the file"
                yield Problem((*where, "device"), message, _meant(row.device, events))
    if row.delay_ms < 0 or (row.delay_ms and row.event in ("power-up", "at")):
        yield Problem((*where, "delay_ms"), f"a row of '{row.event}' cannot have this delay")
