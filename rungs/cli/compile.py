"""`rungs compile`: the table that a board is given, proved to do what the program does."""

from __future__ import annotations

import csv
import io
import sys
from argparse import ArgumentParser, Namespace
from collections.abc import Callable
from pathlib import Path
from textwrap import wrap

from rungs.cli.common import add_file, add_json, load, show_findings, show_warnings
from rungs.cli.exits import FINDINGS, FINE, IO_FAILED, CliError
from rungs.files import FileError, write_atomic
from rungs.findings import in_order
from rungs.program.nodes import Program
from rungs.report.model import check_model
from rungs.report.tables import compile_model, truth_model
from rungs.report.text import plain, say
from rungs.table.board import Board, load_board, shipped_boards
from rungs.table.compile import KINDS, Compiler, Outcome, this_year
from rungs.table.exchange import SUFFIXES, ExchangeError, exchange
from rungs.table.formats import table_csv, table_json, table_markdown
from rungs.table.model import TableFile
from rungs.table.truth import TruthTable, truth_table

# more rows than anyone reads on a screen
SCREEN_ROWS = 400
SCREEN_SIGNALS = 12

WRITERS: dict[str, Callable[[TableFile], str]] = {
    ".json": table_json,
    ".csv": table_csv,
    ".md": table_markdown,
}


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument(
        "outputs", metavar="OUTPUT", nargs="*", help="single outputs or relays (every output)"
    )
    parser.add_argument(
        "--board", metavar="BOARD", help="a shipped board, or a board file of yours"
    )
    parser.add_argument("--kind", choices=KINDS, help="one kind of table, without a board's limits")
    parser.add_argument(
        "-o",
        "--output",
        metavar="OUT",
        action="append",
        default=[],
        help="write there, by the suffix: .json .csv .md, or the logic as "
        + " ".join(SUFFIXES)
        + " (may be given several times)",
    )
    parser.add_argument(
        "--first-match", action="store_true", help="fewer rows, for a board that takes the first"
    )
    parser.add_argument("--csv", action="store_true", help="print the table as CSV")
    parser.add_argument(
        "--every-row", action="store_true", help="print a truth table pattern by pattern"
    )
    parser.add_argument(
        "--sun-by",
        choices=("month", "week"),
        help="fixed times in place of sunrise and sunset, for a board without them",
    )
    parser.add_argument("--year", type=int, default=0, help="the year of those times (this year)")
    add_json(parser)


def run(args: Namespace) -> int:
    """Answer, print or write; 1 if there is no table."""
    _check_names(args.output)
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    if args.every_row:
        return _every_row(program, args)
    compiler = Compiler(program, tuple(args.outputs))
    outcomes: list[Outcome] = []
    boards: list[Outcome] = []
    if args.board is not None:
        outcomes = _for_board(compiler, _board(args.board), args)
    elif args.kind is not None:
        table, wrong = compiler.table(args.kind, args.first_match)
        outcomes = [Outcome(args.kind, "", table, wrong, compiler.reachable if table else 0)]
    else:
        outcomes = [Outcome(kind, "", *compiler.table(kind, args.first_match)) for kind in KINDS]
        boards = [_best(compiler, board, args) for board in _all_boards()]
    chosen = next((outcome for outcome in outcomes if outcome.table is not None), None)
    files = _written(program, chosen, args)
    if args.json:
        model = compile_model(program, chosen, outcomes, boards, files)
        print(model.model_dump_json(indent=2))
    elif args.board is None and args.kind is None:
        _print_answer(program, outcomes, boards)
    else:
        _print_table(program, chosen, outcomes, args)
    return FINE if chosen is not None else FINDINGS


# --- boards -------------------------------------------------------------------------------------


def _board(name: str) -> Board:
    loaded = load_board(name)
    if loaded.board is None:
        show_findings(loaded.findings, loaded.source)
        raise CliError(f"the board '{plain(name)}' cannot be used", FINDINGS)
    return loaded.board


def _all_boards() -> list[Board]:
    return [_board(name) for name in shipped_boards()]


def _for_board(compiler: Compiler, board: Board, args: Namespace) -> list[Outcome]:
    """What the board's kinds of table come to; the kinds it lacks too, where none is asked for."""
    kinds = [args.kind] if args.kind else [k for k in KINDS if k in board.kinds] or [KINDS[0]]
    year = args.year or this_year()
    return [compiler.for_board(kind, board, args.sun_by, year) for kind in kinds]


def _best(compiler: Compiler, board: Board, args: Namespace) -> Outcome:
    """The first kind of table that the board can hold, or the last refusal."""
    outcomes = _for_board(compiler, board, args)
    return next((outcome for outcome in outcomes if outcome.table is not None), outcomes[-1])


# --- writing ------------------------------------------------------------------------------------


def _written(program: Program, chosen: Outcome | None, args: Namespace) -> list[str]:
    """Write what -o asks for, all or nothing of each file; the names of the files written."""
    files = []
    for name in args.output:
        suffix = Path(name).suffix.lower()
        data = _content(program, chosen, args, suffix, name)
        if data is None:
            continue
        try:
            write_atomic(Path(name), data)
        except FileError as error:
            raise CliError(str(error), IO_FAILED) from error
        files.append(name)
    return files


def _content(
    program: Program, chosen: Outcome | None, args: Namespace, suffix: str, name: str
) -> bytes | None:
    if suffix in WRITERS:
        if chosen is None or chosen.table is None:
            return None
        return WRITERS[suffix](chosen.table).encode("utf-8")
    outputs = tuple(args.outputs) or tuple(output.name for output in program.outputs)
    try:
        return exchange(program, outputs, None if chosen is None else chosen.table, suffix)
    except ExchangeError as error:
        raise CliError(f"'{name}': {error}", FINDINGS) from error


def _check_names(names: list[str]) -> None:
    """Refuse a file whose suffix says nothing before any work is done."""
    for name in names:
        if Path(name).suffix.lower() not in (*WRITERS, *SUFFIXES):
            known = " ".join((*WRITERS, *SUFFIXES))
            raise CliError(f"'{name}': the suffix says what is written, one of {known}")


# --- printing -----------------------------------------------------------------------------------


def _print_answer(program: Program, outcomes: list[Outcome], boards: list[Outcome]) -> None:
    name = plain(program.source.name)
    print(f"{name}: what kinds of table the program fits, and which boards\n")
    for outcome in outcomes:
        print(_answer(outcome.kind, outcome))
    print("\nboards")
    for outcome in boards:
        print(_answer(outcome.board, outcome))
    print("\nrungs compile FILE --kind KIND, or --board BOARD, and -o OUT.json, .csv or .md")


def _answer(name: str, outcome: Outcome) -> str:
    if outcome.table is not None:
        kind = "" if name == outcome.kind else f"{outcome.kind}: "
        return f"  {name:<14} yes  {kind}{size_words(outcome.table)}"
    lines = []
    errors = [finding for finding in outcome.findings if finding.severity == "error"]
    for index, finding in enumerate(errors[:3]):
        lines += wrap(plain(finding.message), 96)
        if finding.code.startswith("switching"):
            lines += wrap(plain(finding.effect), 96, initial_indent="  ", subsequent_indent="  ")
        if finding.fix and finding.fix not in [other.fix for other in errors[index + 1 : 3]]:
            text = f"way out: {plain(finding.fix)}"
            lines += wrap(text, 96, initial_indent="  ", subsequent_indent="    ")
    if len(errors) > 3:
        asked = "--kind" if name == outcome.kind else "--board"
        lines.append(f"and {len(errors) - 3} more: rungs compile FILE {asked} {name}")
    head = f"  {name:<14} no   "
    return head + ("\n" + " " * len(head)).join(lines)


def size_words(table: TableFile) -> str:
    """How large a table is, and that it is proved."""
    parts = [_counted(len(table.states), "state")] if table.states else []
    parts.append(_counted(table.row_count, "row"))
    return ", ".join([*parts, "proved" if table.proof is not None else "not proved"])


def _counted(number: int, word: str) -> str:
    return f"{number:,} {word}{'s' * (number != 1)}"


def _print_table(
    program: Program, chosen: Outcome | None, outcomes: list[Outcome], args: Namespace
) -> None:
    if chosen is None or chosen.table is None:
        # the last kind asked for holds the most; why a plainer one does not serve says little
        show_findings(in_order(list(outcomes[-1].findings)), program.source)
        say(f"rungs: no table of '{program.source.name}' was made")
        return
    show_findings(in_order(list(chosen.findings)), program.source)
    table = chosen.table
    if args.csv:
        sys.stdout.write(table_csv(table))
    elif args.output:
        for name in args.output:
            print(f"{plain(name)}: {table.kind} table, {size_words(table)}")
    elif table.row_count > SCREEN_ROWS:
        print(f"{table.kind} table: {size_words(table)}")
        print(
            "too long for a screen; write it with -o OUT.json, .csv or .md, or print it with --csv"
        )
    else:
        sys.stdout.write(table_markdown(table))


def _every_row(program: Program, args: Namespace) -> int:
    table, refused = truth_table(program, tuple(args.outputs))
    if args.json:
        model = check_model(program.source, refused)
        found = model if table is None else truth_model(program, table, refused)
        print(found.model_dump_json())
        return FINDINGS if refused else FINE
    show_findings(refused, program.source)
    if table is not None:
        many = len(table.signals) > SCREEN_SIGNALS
        sys.stdout.write(truth_csv(table) if args.csv or many else truth_text(table) + "\n")
    elif not refused:
        say(f"{program.source.name}: the file has no outputs")
    return FINDINGS if refused else FINE


def truth_csv(table: TruthTable) -> str:
    """Every pattern as CSV: a header of names, then 0 and 1."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*table.signals, *table.outputs])
    writer.writerows([*map(int, pattern), *map(int, values)] for pattern, values in table.rows())
    return text.getvalue()


def truth_text(table: TruthTable, bold: bool = False) -> str:
    """Every pattern for people: columns as wide as their names, inputs left of the bar."""
    names = [*table.signals, *table.outputs]
    count = len(table.signals)

    def line(cells: list[str]) -> str:
        padded = [cell.center(len(name)) for cell, name in zip(cells, names, strict=True)]
        return f"{'  '.join(padded[:count])}  |  {'  '.join(padded[count:])}".rstrip()

    rule = "-" * len(line(names))
    rows = [
        line([str(int(bit)) for bit in (*pattern, *values)]) for pattern, values in table.rows()
    ]
    head = f"\x1b[1m{line(names)}\x1b[0m" if bold else line(names)
    return "\n".join([head, rule, *rows])
