"""`rungs trace`: a program or its table played against circuit states, scan for scan."""

from __future__ import annotations

import csv
import hashlib
import io
import sys
from argparse import ArgumentParser, Namespace, RawDescriptionHelpFormatter
from collections.abc import Iterable
from dataclasses import replace
from difflib import get_close_matches
from pathlib import Path
from typing import TextIO

from rungs.chart.build import TooLongError, chart_of, outages
from rungs.chart.data import Chart
from rungs.chart.svg import svg_text
from rungs.chart.vcd import vcd_text
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
from rungs.language.words import duration_text
from rungs.program.nodes import Output, Program
from rungs.program.values import read_duration
from rungs.report.text import summary
from rungs.scan.calendar import build_calendar
from rungs.scan.runner import Panel
from rungs.scan.trace import MOST_ROWS, Stimulus, TraceRow, played_scans
from rungs.scan.wall import default_start
from rungs.source import Source
from rungs.table.emulator import TableFault
from rungs.table.model import LARGEST

CHARTS = {".svg": svg_text, ".vcd": vcd_text}

_HELP = """\
The trace is CSV: t_ms and the contact of every output, relay, timer, counter and clock (of a
table: of every output), a row a scan. With -o it goes to a file, and the ending of the name says
what it becomes:
  .csv   the same rows
  .svg   a timing chart, to be printed or kept with the papers
  .vcd   a value change dump (IEEE 1364), for whatever reads waveforms
Charts show inputs, counts and stretches without power as well; a chart of a table shows its
outputs. -o can be given more than once.

example of charts:
  rungs trace panel.rungs stimulus.csv -o run.svg -o run.vcd --only door,lamp"""


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.formatter_class = RawDescriptionHelpFormatter
    parser.description = f"{parser.description}\n\n{_HELP}"
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
    parser.add_argument(
        "--only",
        metavar="NAMES",
        action="append",
        help="the devices that charts show, in this order, with commas between",
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="OUT",
        action="append",
        help="write OUT.csv, OUT.svg or OUT.vcd, nothing to the screen; can be given again",
    )
    add_json(parser)


def run(args: Namespace) -> int:
    """Write the trace as CSV, as one JSON object, or as charts."""
    if args.file == "-" and args.stimulus == "-":
        raise CliError("only one of FILE and STIMULUS.csv can be standard input")
    outputs: list[str | None] = args.output or [None]
    charts = [name for name in outputs if name is not None and _suffix(name) in CHARTS]
    tables = [name for name in outputs if name not in charts]
    _check_outputs(tables, args)
    played, panel_source = _played(args)
    names = _chosen(args.only, played)
    source, unreadable = read_source(args.stimulus)
    stimulus, wrong = ((), unreadable) if unreadable else played.read(source)
    if wrong:
        show_findings(wrong, source)
        return FINDINGS
    period = _period(args.period)
    try:
        if tables and not args.changes and stimulus[-1].t // period > MOST_ROWS:
            raise CliError(f"the trace would have more than {MOST_ROWS:,} rows; add --changes")
        start = read_start(args.start, played.clocks)
        if charts:
            notes = (
                _note("panel" if isinstance(played, PlayedProgram) else "table", panel_source),
                _note("stimulus", source),
                f"a scan every {duration_text(period)}",
            )
            _show_charts(charts, args, _chart(played, stimulus, start, period, args, names, notes))
        for name in tables:
            _show(args, played, stimulus, start, period, name)
    except TableFault as error:
        raise CliError(f"{args.file}: {error}", FINDINGS) from error
    except TooLongError as error:
        raise CliError(str(error)) from error
    return FINE


def _suffix(name: str) -> str:
    return Path(name).suffix.lower()


def _check_outputs(tables: list[str | None], args: Namespace) -> None:
    """Raises CliError for a name whose ending says nothing, and for --only without a chart."""
    for name in tables:
        # JSON was asked for by an option, so that its name is free
        if name not in (None, "-") and not args.json and _suffix(name or "") != ".csv":
            raise CliError(f"'{name}': a trace is written as .csv, .svg or .vcd (or --json)")
    if args.only and tables:
        raise CliError("--only chooses what charts show; add -o OUT.svg or OUT.vcd, and no other")


def _played(args: Namespace) -> tuple[Played, Source]:
    """The program or the table that is to be played. Raises CliError where it cannot."""
    if args.file != "-" and args.file.lower().endswith((".json", ".csv")):
        source, wrong = read_source(args.file, LARGEST + 1)
        table: PlayedTable | None = None
        if not wrong:
            table, wrong = read_played(source)
        if table is None:
            show_findings(wrong, source)
            raise CliError(f"{summary(wrong)}; a table with errors cannot be played", FINDINGS)
        return table, source
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    return PlayedProgram(program), program.source


def _show(
    args: Namespace,
    played: Played,
    stimulus: Stimulus,
    start: int | None,
    period: int,
    name: str | None,
) -> None:
    """Write the rows to a file, or to standard output without one."""
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
        write_result(name, model.model_dump_json() + "\n")
    elif name is None or name == "-":
        _write_csv(sys.stdout, played.columns, rows)
    else:
        text = io.StringIO()
        _write_csv(text, played.columns, rows)
        write_result(name, text.getvalue())


def _write_csv(stream: TextIO, names: tuple[str, ...], rows: Iterable[TraceRow]) -> None:
    writer = csv.writer(stream, lineterminator="\n")
    writer.writerow(["t_ms", *names])
    writer.writerows([t, *map(int, values)] for t, values in rows)


def _period(text: str) -> int:
    got = read_duration(Word(text))
    if not isinstance(got, int) or got > 60_000:
        raise CliError(f"'{text}' is no period; write it as 10ms, at most 60s", WRONG_CALL)
    return got


# --- charts


def _show_charts(names: list[str], args: Namespace, chart: Chart) -> None:
    for name in names:
        write_result(name, CHARTS[_suffix(name)](chart))


def _shown(played: Played) -> Program:
    """A program that declares what a chart can show."""
    match played:
        case PlayedProgram():
            return played.program
        case PlayedTable():
            devices = tuple(
                Output(output.name, output.terminal, output.side, label=output.label)
                for output in played.table.outputs
            )
            return replace(played.clocks, title=played.table.title, devices=devices)
        case _:
            raise AssertionError(played)


def _chosen(only: list[str] | None, played: Played) -> tuple[str, ...] | None:
    """The names of --only, each once. Raises CliError for a name that a chart cannot show."""
    if not only:
        return None
    known = _shown(played).by_name
    names = [name.strip() for part in only for name in part.split(",") if name.strip()]
    for name in names:
        if name not in known:
            close = get_close_matches(name, list(known), n=1)
            guess = f"; did you mean '{close[0]}'?" if close else ""
            what = "declared" if isinstance(played, PlayedProgram) else "an output of the table"
            raise CliError(f"--only: '{name}' is not {what}{guess}")
    if not names:
        raise CliError("--only names no device")
    return tuple(dict.fromkeys(names))


def _note(what: str, source: Source) -> str:
    """A note that says what was played. The folder is left out: it tells of the machine."""
    digest = hashlib.sha256(source.text.encode("utf-8")).hexdigest()
    return f"{what} {Path(source.name).name}, sha256 {digest}"


def _chart(
    played: Played,
    stimulus: Stimulus,
    start: int | None,
    period: int,
    args: Namespace,
    names: tuple[str, ...] | None,
    notes: tuple[str, ...],
) -> Chart:
    """The chart of the run. Wall time is shown where clocks go by it, or it was asked for."""
    shown = _shown(played)
    wall = default_start(build_calendar(played.clocks)) if start is None else start
    known = start is not None or bool(played.clocks.clocks)
    if isinstance(played, PlayedProgram):
        # the panel that keeps inputs and counts, which faster ones do not
        panel = Panel(played.program, start, period, not args.every_scan)
        scans = played_scans(panel, stimulus)
        counts = lambda: panel.state.counts  # noqa: E731
    else:
        rows = played.rows(stimulus, start, period, True, not args.every_scan)
        scans = ((t, dict(zip(played.columns, values, strict=True))) for t, values in rows)
        counts = None
    return chart_of(
        shown,
        scans,
        names,
        period=period,
        begin=0,
        end=stimulus[-1].t,
        off=outages(stimulus),
        counts=counts,
        start=wall if known else None,
        notes=notes,
    )
