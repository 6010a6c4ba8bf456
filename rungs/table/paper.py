"""A table for people: what it is, what the board must do itself, and every row.

A row is told in words, since a column for each signal runs over the edge of a page; the Markdown
file keeps the columns for who wants to compare them.
"""

from __future__ import annotations

from collections.abc import Iterator
from typing import Final, assert_never

from rungs.papers.blocks import Block, Heading, Paper, Paragraph, Points, Table
from rungs.table.model import Kind, SwitchingRow, TableFile, TransitionRow, TruthRow

_WHAT: Final[dict[Kind, str]] = {
    "truth": "A truth table: in every scan these signals give these outputs.",
    "transition": "A transition table: in a state, these signals give these outputs and timers to "
    "run, and lead to the next state.",
    "switching": "A switching table: what each relay does at each event.",
}


def table_paper(table: TableFile) -> Paper:
    """The table with a row for each of its rows, told in words."""
    return Paper("table", _title(table), (*_head(table), Heading("Rows"), told_rows(table)))


def matrix_paper(table: TableFile) -> Paper:
    """The table with a column for each signal, output and timer."""
    rows: tuple[Block, ...] = (Heading("Rows"), _matrix(table))
    if table.kind != "switching":
        rows = (Heading("Rows"), Paragraph("In a pattern - stands for either."), _matrix(table))
    return Paper("table", _title(table), (*_head(table), *rows))


def _title(table: TableFile) -> str:
    return table.title or table.program or "Table"


# --- the head -----------------------------------------------------------------------------------


def _head(table: TableFile) -> Iterator[Block]:
    yield Paragraph(_WHAT[table.kind] + _match_words(table))
    yield Points(tuple(f"{name}: {value}" for name, value in _facts(table) if value))
    for title, texts in (
        ("What the board must do itself", table.duties),
        ("Cautions", table.cautions),
        ("After power returns", table.power_differences),
    ):
        if texts:
            yield Heading(title)
            yield Points(texts)
    for title, block in _lists(table):
        if block.rows:
            yield Heading(title)
            yield block
    if table.holidays:
        yield Heading("Holidays")
        yield Points(table.holidays)


def _match_words(table: TableFile) -> str:
    if table.kind == "switching":
        return ""
    if table.first_match:
        return " The first row that matches counts."
    return " No two rows match at once."


def _facts(table: TableFile) -> Iterator[tuple[str, str]]:
    proof = table.proof
    yield "Program", table.program
    yield "SHA-256 of the program", table.program_sha256
    yield "Board", f"{table.board} {table.board_version}".strip()
    yield "From scan to scan", f"{table.period_ms} ms"
    yield "Kept without power", "yes" if table.retains else "no"
    yield "Site", table.site
    if proof is not None:
        yield (
            "Proved",
            f"{proof.claim}; {proof.states} states, {proof.rows} rows, {proof.situations}"
            f" situations, {proof.patterns} patterns",
        )
    yield "Made by", table.tool


def _lists(table: TableFile) -> Iterator[tuple[str, Table]]:
    kinds = {"input": "input", "clock": "clock", "due": "timer has run out"}
    yield (
        "Signals",
        Table(
            "signals",
            ("signal", "kind", "terminal", "debounce", "at rest", "board reads closed as"),
            tuple(
                (
                    s.name,
                    kinds[s.kind],
                    s.terminal,
                    f"{s.debounce_ms} ms" if s.debounce_ms else "",
                    ("closed" if s.at_rest else "open") if s.kind == "input" else "",
                    ("0" if s.active_low else "1") if s.kind == "input" else "",
                )
                for s in table.signals
            ),
        ),
    )
    yield (
        "Outputs",
        Table(
            "outputs",
            ("output", "terminal", "load is on while the coil is", "label"),
            tuple(
                (o.name, o.terminal, "on" if o.side == "NO" else "off", o.label)
                for o in table.outputs
            ),
        ),
    )
    yield (
        "Timers",
        Table(
            "timers",
            ("timer", "kind", "preset", "kept without power", "slot", "value"),
            tuple(
                (
                    t.name,
                    t.kind,
                    f"{t.preset_ms} ms",
                    "yes" if t.retained else "no",
                    t.slot,
                    t.value,
                )
                for t in table.timers
            ),
        ),
    )
    yield (
        "Clocks",
        Table(
            "clocks",
            ("clock", "contact", "declaration", "slot"),
            tuple((c.name, c.signal, c.statement, c.slot) for c in table.clocks),
        ),
    )
    yield (
        "States",
        Table(
            "states",
            ("state", "begins here", "after a power cut"),
            tuple((s.name, _yes(s.name == table.start), s.after_power_cut) for s in table.states),
        ),
    )


def _yes(holds: bool) -> str:
    return "yes" if holds else ""


# --- rows in columns ----------------------------------------------------------------------------


def _matrix(table: TableFile) -> Table:
    outs = [output.name for output in table.outputs]
    ins = [signal.name for signal in table.signals]
    timers = [timer.name for timer in table.timers]
    clears = [f"clear {name}" for name in timers] if _clearing(table) else []
    columns: dict[Kind, list[str]] = {
        "truth": [*ins, *outs, "rungs"],
        "transition": [
            *("state", *ins, "next", *outs),
            *(f"run {name}" for name in timers),
            *clears,
            "rungs",
        ],
        "switching": ["event", "device", "after", *outs, "rungs"],
    }
    rows = [_cells(row, bool(clears)) for row in _rows(table)]
    return Table("rows", tuple(columns[table.kind]), tuple(map(tuple, rows)))


def _rows(table: TableFile) -> tuple[TruthRow | TransitionRow | SwitchingRow, ...]:
    return (*table.truth, *table.transitions, *table.switching)


def _clearing(table: TableFile) -> bool:
    return any(timer.kind == "accumulating" for timer in table.timers)


def _cells(row: TruthRow | TransitionRow | SwitchingRow, clearing: bool) -> list[str]:
    rungs = ", ".join(map(str, row.rungs))
    match row:
        case TruthRow():
            return [*row.pattern, *_on_off(row.outputs), rungs]
        case TransitionRow():
            clears = zip(row.clear_before, row.clear_after, strict=True) if clearing else ()
            return [
                *(row.state, *row.pattern, row.next, *_on_off(row.outputs)),
                *("run" if flag == "1" else "" for flag in row.run),
                *(_CLEARS[pair] for pair in clears),
                rungs,
            ]
        case SwitchingRow():
            delay = f"{row.delay_ms} ms" if row.delay_ms else ""
            return [row.event, row.device, delay, *row.acts, rungs]
        case _:
            assert_never(row)


_CLEARS: Final = {
    ("0", "0"): "",
    ("1", "0"): "before",
    ("0", "1"): "after",
    ("1", "1"): "before and after",
}


def _on_off(flags: str) -> list[str]:
    return ["on" if flag == "1" else "off" for flag in flags]


# --- rows in words ------------------------------------------------------------------------------


def told_rows(table: TableFile) -> Table:
    """Every row, numbered from 1: when it is taken, and what it does."""
    columns: dict[Kind, tuple[str, ...]] = {
        "truth": ("row", "when", "relays on", "rungs"),
        "transition": ("row", "in state", "when", "relays on", "timers run", "next state", "rungs"),
        "switching": ("row", "event", "relays", "rungs"),
    }
    rows = tuple((str(n), *_told(table, row)) for n, row in enumerate(_rows(table), 1))
    return Table("rows", columns[table.kind], rows, numbers=(0,))


def _told(table: TableFile, row: TruthRow | TransitionRow | SwitchingRow) -> tuple[str, ...]:
    rungs = ", ".join(map(str, row.rungs))
    match row:
        case TruthRow():
            return _when(table, row.pattern), _on(table, row.outputs), rungs
        case TransitionRow():
            return (
                row.state,
                _when(table, row.pattern),
                _on(table, row.outputs),
                _timers(table, row),
                "the same" if row.next == row.state else row.next,
                rungs,
            )
        case SwitchingRow():
            event = f"{row.device} {row.event}".strip() if row.event != "at" else f"at {row.device}"
            if row.delay_ms:
                event += f", {row.delay_ms} ms later"
            acts = [
                f"{output.name} {act}"
                for output, act in zip(table.outputs, row.acts, strict=True)
                if act != "leave"
            ]
            return event, ", ".join(acts) or "all left as they are", rungs
        case _:
            assert_never(row)


def _when(table: TableFile, pattern: str) -> str:
    """The signals that matter: those closed, those open, and timers that have run out or not."""
    groups: dict[str, list[str]] = {"closed": [], "open": [], "run out": [], "not run out": []}
    for signal, bit in zip(table.signals, pattern, strict=True):
        if bit == "-":
            continue
        words = ("not run out", "run out") if signal.kind == "due" else ("open", "closed")
        groups[words[bit == "1"]].append(signal.name)
    told = [f"{words}: {', '.join(names)}" for words, names in groups.items() if names]
    return "; ".join(told) or "always"


def _on(table: TableFile, flags: str) -> str:
    names = [o.name for o, flag in zip(table.outputs, flags, strict=True) if flag == "1"]
    return ", ".join(names) or "none"


def _timers(table: TableFile, row: TransitionRow) -> str:
    told = [t.name for t, flag in zip(table.timers, row.run, strict=True) if flag == "1"]
    if row.clear_before:
        pairs = zip(row.clear_before, row.clear_after, strict=True)
        told += [
            f"clear {timer.name} {_CLEARS[pair]}"
            for timer, pair in zip(table.timers, pairs, strict=True)
            if _CLEARS[pair]
        ]
    return ", ".join(told) or "none"
