"""`rungs trace`: a program or its table played against circuit states, scan for scan."""

from __future__ import annotations

import csv
import io
import sys
from argparse import ArgumentParser, Namespace
from collections.abc import Iterable
from typing import TextIO

from rungs.cli.common import (
    add_json,
    load,
    read_source,
    read_start,
    show_findings,
    show_warnings,
    write_result,
)
from rungs.cli.exits import FINDINGS, FINE, WRONG_CALL, CliError
from rungs.cli.played import Played, PlayedProgram, PlayedTable, read_played
from rungs.language.tree import Word
from rungs.program.values import read_duration
from rungs.report.text import summary
from rungs.scan.trace import MOST_ROWS, Stimulus, TraceRow
from rungs.table.emulator import TableFault
from rungs.table.model import LARGEST


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.add_argument(
        "file", metavar="FILE", help="the panel file, or - for standard input; or a table"
    )
    parser.add_argument("stimulus", metavar="STIMULUS.csv", help="circuit states by time")
    parser.add_argument(
        "--start",
        metavar="TIME",
        help='wall time at t = 0 in the site\'s zone, as "2026-11-25T22:45:00"',
    )
    parser.add_argument("--period", default="10ms", help="time from scan to scan (10ms)")
    parser.add_argument("--changes", action="store_true", help="only scans that change something")
    parser.add_argument("--every-scan", action="store_true", help="make each scan, never jump")
    parser.add_argument("-o", "--output", metavar="OUT.csv", help="write there, not to the screen")
    add_json(parser)


def run(args: Namespace) -> int:
    """Write the trace as CSV, or as one JSON object."""
    if args.file == "-" and args.stimulus == "-":
        raise CliError("only one of FILE and STIMULUS.csv can be standard input")
    played = _played(args)
    source, unreadable = read_source(args.stimulus)
    stimulus, wrong = ((), unreadable) if unreadable else played.read(source)
    if wrong:
        show_findings(wrong, source)
        return FINDINGS
    period = _period(args.period)
    try:
        return _show(args, played, stimulus, period)
    except TableFault as error:
        raise CliError(f"{args.file}: {error}", FINDINGS) from error


def _played(args: Namespace) -> Played:
    """The program or the table that is to be played. Raises CliError where it cannot."""
    if args.file != "-" and args.file.lower().endswith((".json", ".csv")):
        source, wrong = read_source(args.file, LARGEST + 1)
        table: PlayedTable | None = None
        if not wrong:
            table, wrong = read_played(source)
        if table is None:
            show_findings(wrong, source)
            raise CliError(f"{summary(wrong)}; a table with errors cannot be played", FINDINGS)
        return table
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    return PlayedProgram(program)


def _show(args: Namespace, played: Played, stimulus: Stimulus, period: int) -> int:
    if not args.changes and stimulus[-1].t // period > MOST_ROWS:
        raise CliError(f"the trace would have more than {MOST_ROWS:,} rows; add --changes")
    start = read_start(args.start, played.clocks)
    rows = played.rows(stimulus, start, period, args.changes, not args.every_scan)
    if args.json:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.model import TraceModel

        model = TraceModel(
            file=args.file,
            period_ms=period,
            columns=["t_ms", *played.columns],
            rows=[[t, *map(int, values)] for t, values in rows],
        )
        write_result(args.output, model.model_dump_json() + "\n")
    elif args.output is None or args.output == "-":
        _write_csv(sys.stdout, played.columns, rows)
    else:
        text = io.StringIO()
        _write_csv(text, played.columns, rows)
        write_result(args.output, text.getvalue())
    return FINE


def _write_csv(stream: TextIO, names: tuple[str, ...], rows: Iterable[TraceRow]) -> None:
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["t_ms", *names])
    writer.writerows([t, *map(int, values)] for t, values in rows)


def _period(text: str) -> int:
    got = read_duration(Word(text))
    if not isinstance(got, int) or got > 60_000:
        raise CliError(f"'{text}' is no period; write it as 10ms, at most 60s", WRONG_CALL)
    return got
