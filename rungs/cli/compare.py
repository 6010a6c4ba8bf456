"""`rungs compare`: a table that was read back from a board, held against the program."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from rungs.cli.common import add_json, load, read_source, show_findings
from rungs.cli.exits import FINDINGS, FINE, CliError
from rungs.report.tables import compare_model
from rungs.report.text import plain
from rungs.table.compare import Comparison, compare
from rungs.table.model import LARGEST, TableFile
from rungs.table.reading import read_table


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.add_argument("file", metavar="PROGRAM", help="the panel file, or - for standard input")
    parser.add_argument("table", metavar="TABLE", help="the table, as JSON or CSV")
    parser.add_argument(
        "outputs", metavar="OUTPUT", nargs="*", help="the relays it should have (every output)"
    )
    add_json(parser)


def run(args: Namespace) -> int:
    """Say `same` or how the two differ; 1 unless they are the same."""
    if args.file == "-" and args.table == "-":
        raise CliError("only one of PROGRAM and TABLE can be standard input")
    program, _ = load(args.file, args.json)
    source, wrong = read_source(args.table, LARGEST + 1)
    table: TableFile | None = None
    if not wrong:
        table, wrong = read_table(source)
    if table is None:
        show_findings(wrong, source)
        return FINDINGS
    found = compare(program, table, tuple(args.outputs))
    if args.json:
        print(compare_model(program, source.name, table, found).model_dump_json(indent=2))
    else:
        print("\n".join(answer_lines(plain(source.name), table, found)))
    return FINE if found.verdict == "same" else FINDINGS


def answer_lines(name: str, table: TableFile, found: Comparison) -> list[str]:
    """The answer in words, for people."""
    lines = []
    if found.verdict == "same":
        assert found.proof is not None
        lines.append(
            f"{name}: same - proved, {found.proof.states:,} states, {found.proof.rows:,} rows"
        )
    elif found.verdict == "differs":
        lines.append(f"{name}: differs")
    else:
        lines.append(f"{name}: not decided - {plain(found.what)}")
    lines += [f"  head: {plain(words)}" for words in found.head]
    if found.story:
        lines.append("  on this run the two part:")
        lines += [f"    {plain(line)}" for line in found.story]
    for number in found.rows:
        lines.append(f"  row {number}: {plain(row_words(table, number))}")
    return lines + [f"  note: {plain(note)}" for note in found.notes]


def row_words(table: TableFile, number: int) -> str:
    """One row of a table on one line; rows count from 1."""
    if table.kind == "transition":
        row = table.transitions[number - 1]
        run = f" run {row.run}" if row.run else ""
        return f"{row.state} | {row.pattern} -> {row.next} | {row.outputs}{run}"
    if table.kind == "truth":
        line = table.truth[number - 1]
        return f"{line.pattern} -> {line.outputs}"
    act = table.switching[number - 1]
    after = f" for {act.delay_ms} ms" if act.delay_ms else ""
    names = [output.name for output in table.outputs]
    moves = [f"{n} {a}" for n, a in zip(names, act.acts, strict=True) if a != "leave"]
    return f"{act.device} {act.event}{after}: {', '.join(moves) or 'leaves all'}".strip()
