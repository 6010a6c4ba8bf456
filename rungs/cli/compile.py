"""`rungs compile`: the truth table of what follows the inputs and clocks alone."""

from __future__ import annotations

import csv
import hashlib
import io
import sys
from argparse import ArgumentParser, Namespace

from rungs.cli.common import (
    add_file,
    add_json,
    load,
    show_findings,
    show_warnings,
    write_result,
)
from rungs.cli.exits import FINDINGS, FINE
from rungs.report.text import ink_for, say
from rungs.table.truth import TruthTable, truth_table

# more rows than anyone reads on a screen
SCREEN_SIGNALS = 12


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument(
        "outputs", metavar="OUTPUT", nargs="*", help="single outputs or relays (every output)"
    )
    parser.add_argument("-o", "--output", metavar="OUT.csv", help="write the table as CSV")
    parser.add_argument("--csv", action="store_true", help="print CSV instead of a drawn table")
    add_json(parser)


def run(args: Namespace) -> int:
    """Print the table; 1 if an output that was asked for has none."""
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    table, refused = truth_table(program, tuple(args.outputs))
    if args.json and table is not None:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.model import table_model

        digest = hashlib.sha256(program.source.text.encode("utf-8")).hexdigest()
        model = table_model(table, program.source, digest, refused)
        write_result(args.output, model.model_dump_json() + "\n")
    elif args.json:
        from rungs.report.model import check_model

        print(check_model(program.source, refused).model_dump_json(indent=2))
    else:
        show_findings(refused, program.source)
        if table is not None:
            _print_table(table, args)
        elif not refused:
            say(f"{program.source.name}: the file has no outputs")
    return FINDINGS if refused else FINE


def _print_table(table: TruthTable, args: Namespace) -> None:
    if args.output is not None:
        write_result(args.output, table_csv(table))
        say(f"{args.output}: {table.height:,} rows")
    elif args.csv or len(table.signals) > SCREEN_SIGNALS:
        sys.stdout.write(table_csv(table))
    else:
        print(table_text(table, bold=ink_for(sys.stdout).on))


def table_csv(table: TruthTable) -> str:
    """The table as CSV: a header of names, then 0 and 1."""
    text = io.StringIO()
    writer = csv.writer(text, lineterminator="\n")
    writer.writerow([*table.signals, *table.outputs])
    writer.writerows([*map(int, pattern), *map(int, values)] for pattern, values in table.rows())
    return text.getvalue()


def table_text(table: TruthTable, bold: bool = False) -> str:
    """The table for people: columns as wide as their names, inputs left of the bar."""
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
