"""`rungs week`: a week of the clocks as a picture, and what is odd in the year ahead."""

from __future__ import annotations

import shutil
import sys
from argparse import ArgumentParser, Namespace
from datetime import date
from pathlib import Path
from typing import Final

from rungs.cli.common import add_file, add_json, load, show_warnings, write_result
from rungs.cli.exits import FINE, CliError
from rungs.cli.papers import add_papers, check_outputs, put_paper
from rungs.papers.text import paper_text
from rungs.report.text import say
from rungs.week.build import monday, week
from rungs.week.data import Week
from rungs.week.paper import week_paper
from rungs.week.strip import BLOCKS, LEAST_WIDTH

_FILE_WIDTH: Final = 100
_PLAIN_WIDTH: Final = 80


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument(
        "--from",
        dest="first",
        metavar="DATE",
        help="the first of the seven days, as 2026-11-23; the Monday of this week if left out",
    )
    parser.add_argument("--width", type=int, metavar="COLUMNS", help="draw this wide")
    parser.add_argument("--ascii", action="store_true", help="draw with plain ASCII signs")
    add_papers(parser)
    add_json(parser)


def run(args: Namespace) -> int:
    """Show the week; a panel without clocks says so and is fine."""
    check_outputs(args.output)
    if args.json and args.output:
        raise CliError("--json prints to standard output; leave out -o")
    first = _first(args.first)
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    found = week(program, first)
    if args.json:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.week_model import week_model

        print(week_model(found, program.source.name).model_dump_json(indent=2))
        return FINE
    if not program.clocks and args.output:
        say("rungs: this panel has no clocks, so there is neither a picture nor a table of a week")
    if args.output:
        for name in args.output:
            _write(found, name, args)
        return FINE
    width = max(args.width or _screen_width(), LEAST_WIDTH)
    ascii_only = args.ascii or not _takes_blocks()
    write_result(None, paper_text(week_paper(found, (), width, ascii_only), width))
    return FINE


def _first(text: str | None) -> date:
    """The first date. Raises CliError for what is no date of the years that are meant."""
    if text is None:
        return monday(date.today())
    try:
        first = date.fromisoformat(text)
    except ValueError as error:
        raise CliError(f"'{text}' is no date; write 2026-11-23") from error
    if not 1970 < first.year < 2199:
        raise CliError(f"'{text}' is not a date between 1971 and 2198")
    return first


def _write(found: Week, name: str, args: Namespace) -> None:
    """One file: pictures where they can be shown, characters where they cannot."""
    suffix = Path(name).suffix.lower()
    if suffix in (".svg", ".csv") and not any(row.kind == "clock" for row in found.rows):
        return  # it has been told that there is nothing to write
    if suffix in (".html", ".svg"):
        from rungs.draw.week_svg import week_pictures

        pictures = week_pictures(found)
        put_paper(week_paper(found, pictures), [name])
        return
    put_paper(week_paper(found, (), args.width or _FILE_WIDTH, args.ascii), [name])


def _screen_width() -> int:
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else _PLAIN_WIDTH


def _takes_blocks() -> bool:
    """Whether standard output can carry the block characters."""
    try:
        f"{BLOCKS.closed}{BLOCKS.part}{BLOCKS.event}".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
