"""Table files as text: JSON with everything, CSV for spreadsheets and small firmware, Markdown.

The CSV is made to survive a spreadsheet: every line begins with a word that says what it is, no
cell holds a line break or one cell for many bits, and text that a spreadsheet would run, turn into
a number or a date, or trim is marked so that reading gives back what was written.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal, assert_never

from rungs.papers.markdown import paper_markdown
from rungs.table.model import (
    Kind,
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
from rungs.table.paper import matrix_paper

CellKind = Literal["text", "word", "whole", "flag"]
Row = TruthRow | TransitionRow | SwitchingRow


def table_json(table: TableFile) -> str:
    """The whole table as JSON, two spaces deep, with every field written out."""
    return table.model_dump_json(indent=2) + "\n"


# --- the layout of the CSV ----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Column:
    """A cell of a line by its field in the model; a `word` is one of `words`."""

    name: str
    cell: CellKind = "text"
    words: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Group:
    """Lines that begin with `key`, one for each entry of the table's `field`, under a line that
    begins with `heading` and names the columns. Where `plain`, the entry is the text itself."""

    key: str
    heading: str
    field: str
    columns: tuple[Column, ...]
    plain: bool = False


KINDS: Final = ("truth", "transition", "switching")
EVENTS: Final = ("power-up", "closes", "opens", "at")
ACTS: Final = ("on", "off", "flip", "leave")

SCALARS: Final = (
    Column("kind", "word", KINDS),
    Column("tool"),
    Column("title"),
    Column("program"),
    Column("program_sha256"),
    Column("head_sha256"),
    Column("board"),
    Column("board_version"),
    Column("period_ms", "whole"),
    Column("first_match", "flag"),
    Column("retains", "flag"),
    Column("site"),
    Column("start"),
)

GROUPS: Final = (
    Group("holiday", "holidays", "holidays", (Column("statement"),), plain=True),
    Group(
        "signal",
        "signals",
        "signals",
        (
            Column("name"),
            Column("kind", "word", ("input", "clock", "due")),
            Column("terminal"),
            Column("debounce_ms", "whole"),
            Column("at_rest", "flag"),
            Column("active_low", "flag"),
        ),
    ),
    Group(
        "output",
        "outputs",
        "outputs",
        (Column("name"), Column("terminal"), Column("side", "word", ("NO", "NC")), Column("label")),
    ),
    Group(
        "timer",
        "timers",
        "timers",
        (
            Column("name"),
            Column("kind", "word", ("on-delay", "accumulating")),
            Column("preset_ms", "whole"),
            Column("retained", "flag"),
            Column("slot"),
            Column("value"),
        ),
    ),
    Group(
        "clock",
        "clocks",
        "clocks",
        (Column("name"), Column("statement"), Column("slot"), Column("closes")),
    ),
    Group("state", "states", "states", (Column("name"), Column("after_power_cut"))),
    Group("duty", "duties", "duties", (Column("text"),), plain=True),
    Group("caution", "cautions", "cautions", (Column("text"),), plain=True),
    Group(
        "power_difference",
        "power_differences",
        "power_differences",
        (Column("text"),),
        plain=True,
    ),
    Group(
        "proof",
        "proofs",
        "proof",
        (
            Column("verdict", "word", ("proved",)),
            Column("claim"),
            Column("states", "whole"),
            Column("rows", "whole"),
            Column("situations", "whole"),
            Column("patterns", "whole"),
        ),
    ),
)

ROW_FIELDS: Final[dict[Kind, str]] = {
    "truth": "truth",
    "transition": "transitions",
    "switching": "switching",
}


def row_columns(
    kind: Kind,
    signals: Sequence[str],
    outputs: Sequence[str],
    timers: Sequence[str],
    accumulating: bool,
) -> tuple[tuple[str, str], ...]:
    """The columns of the rows, each as a word and the name it belongs to, if any.

    `accumulating` tells that one of the timers is; only then do rows clear timers.
    """
    ins = [("signal", name) for name in signals]
    outs = [("output", name) for name in outputs]
    rungs = [("rungs", "")]
    match kind:
        case "truth":
            return (*ins, *outs, *rungs)
        case "transition":
            words = ("run", "clear_before", "clear_after") if accumulating else ("run",)
            flags = [(word, name) for word in words for name in timers]
            return (("state", ""), *ins, ("next", ""), *outs, *flags, *rungs)
        case "switching":
            return (("event", ""), ("device", ""), ("delay_ms", ""), *outs, *rungs)
        case _:
            assert_never(kind)


# --- text in a cell -----------------------------------------------------------------------------

# what a spreadsheet takes for a formula, in either width
_FORMULA: Final = "=+-@\uff1d\uff0b\uff0d\uff20"
_NUMERIC: Final = frozenset("0123456789.,:/%()$\u20ac\u00a3 +-eE")
_MONTHS: Final = "jan|feb|mar|apr|may|jun|jul|aug|sep|oct|nov|dec"
_DATE_LIKE: Final = re.compile(
    rf"(?:[0-9]+[ ./,-]*)?(?:{_MONTHS})[a-z]*(?:[ ./,:-]*[0-9]+)*|[0-9:. ]+[ap]m?", re.IGNORECASE
)
_LONGEST_DATE: Final = 40
_SHORT_NUMBER: Final = re.compile(r"0|[1-9][0-9]{0,8}")
_ESCAPES: Final = {"\n": "\\n", "\r": "\\r", "\t": "\\t", "\\": "\\\\"}


def cell_text(text: str) -> str:
    """Text as it stands in a cell; reading takes off one leading apostrophe and undoes escapes.

    A leading apostrophe keeps a spreadsheet from running the cell as a formula (OWASP, CSV
    injection) or from turning it into a number, date or truth value. Backslash escapes stand for
    backslashes, line breaks, characters that cannot be seen, and spaces at the ends.
    """
    if text == "-":  # alone it is no formula
        return text
    shown = "".join(map(_escaped, text)) if not text.isprintable() or "\\" in text else text
    if shown[:1] in ("'", " "):
        shown = ("\\'" if shown[0] == "'" else "\\u0020") + shown[1:]
    if shown[-1:] == " ":
        shown = shown[:-1] + "\\u0020"
    if shown and (shown[0] in _FORMULA or _changes(shown)):
        shown = "'" + shown
    return shown


def _changes(text: str) -> bool:
    """Whether a spreadsheet could take the text for a number, date or truth value."""
    if text.casefold() in ("true", "false"):
        return True
    if _SHORT_NUMBER.fullmatch(text) or not any(char in "0123456789" for char in text):
        return False
    if _NUMERIC.issuperset(text):
        return True
    return len(text) <= _LONGEST_DATE and _DATE_LIKE.fullmatch(text) is not None


def _escaped(char: str) -> str:
    if char in _ESCAPES:
        return _ESCAPES[char]
    if char.isprintable():
        return char
    return f"\\u{ord(char):04x}" if ord(char) < 0x10000 else f"\\U{ord(char):08x}"


_TO_QUOTE: Final = re.compile('[,;"\t]')


def _line(cells: Iterable[str]) -> str:
    return ",".join(
        '"' + cell.replace('"', '""') + '"' if _TO_QUOTE.search(cell) else cell for cell in cells
    )


# --- CSV ----------------------------------------------------------------------------------------


def table_csv(table: TableFile) -> str:
    """The whole table as CSV: a header of `key,value,...` lines, then one line for each row.

    Raises ValueError for a row with another number of flags than the table has columns.
    """
    return "".join(f"{_line(cells)}\n" for cells in _lines(table))


def _lines(table: TableFile) -> Iterator[Sequence[str]]:
    yield "document", table.document
    yield "version", str(table.schema_version)
    for column in SCALARS:
        yield column.name, _cell(column, getattr(table, column.name))
    for group in GROUPS:
        entries = _entries(table, group)
        if entries:
            yield group.heading, *(column.name for column in group.columns)
        for entry in entries:
            if isinstance(entry, str):
                yield group.key, cell_text(entry)
            else:
                yield group.key, *(_cell(c, getattr(entry, c.name)) for c in group.columns)
    columns = row_columns(
        table.kind,
        [signal.name for signal in table.signals],
        [output.name for output in table.outputs],
        [timer.name for timer in table.timers],
        any(timer.kind == "accumulating" for timer in table.timers),
    )
    yield ("rows",)
    yield "columns", *(cell_text(f"{w} {name}" if name else w) for w, name in columns)
    rows: tuple[Row, ...] = getattr(table, ROW_FIELDS[table.kind])
    for number, row in enumerate(rows, 1):
        cells = _row_cells(row)
        if len(cells) != len(columns):
            raise ValueError(f"row {number} has {len(cells)} cells for {len(columns)} columns")
        yield "row", *cells
    yield ("end",)


def _entries(
    table: TableFile, group: Group
) -> Sequence[str | TableSignal | TableOutput | TableTimer | TableClock | TableState | Proof]:
    found = getattr(table, group.field)
    if isinstance(found, tuple):
        return found
    return () if found is None else (found,)


def _cell(column: Column, value: object) -> str:
    if isinstance(value, bool):
        return "1" if value else "0"
    text = str(value)
    return cell_text(text) if column.cell == "text" else text


def _row_cells(row: Row) -> list[str]:
    rungs = " ".join(f"#{number}" for number in row.rungs)  # "1 2" is a number in some countries
    match row:
        case TruthRow():
            return [*row.pattern, *row.outputs, rungs]
        case TransitionRow():
            told = row.run + row.clear_before + row.clear_after
            return [
                cell_text(row.state),
                *row.pattern,
                cell_text(row.next),
                *row.outputs,
                *told,
                rungs,
            ]
        case SwitchingRow():
            return [row.event, cell_text(row.device), str(row.delay_ms), *row.acts, rungs]
        case _:
            assert_never(row)


# --- Markdown -----------------------------------------------------------------------------------


def table_markdown(table: TableFile) -> str:
    """The table for people: what it is, what the board must do itself, and every row."""
    return paper_markdown(matrix_paper(table))
