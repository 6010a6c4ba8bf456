"""`rungs draw`: the ladder of a panel as text, and as sheets to print."""

from __future__ import annotations

import shutil
import sys
from argparse import ArgumentParser, Namespace
from pathlib import Path
from typing import Final

from rungs.cli.common import add_file, add_json, load, show_warnings, write_result
from rungs.cli.exits import FINE, CliError
from rungs.cli.papers import put_paper
from rungs.draw.ladder_paper import ladder_paper
from rungs.draw.text import draw_program, draw_rung

LEAST_WIDTH = 40
SHEETS: Final = (".svg", ".html", ".csv")  # suffixes that mean sheets, and their list of devices


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument("--ascii", action="store_true", help="draw with plain ASCII signs")
    parser.add_argument("--width", type=int, metavar="COLUMNS", help="wrap rungs to this width")
    parser.add_argument(
        "--references", action="store_true", help="say under each rung where its coils are read"
    )
    parser.add_argument(
        "-o",
        "--output",
        metavar="OUT",
        help="write there: .svg sheets, .html a page of them, .csv the list of devices, else text",
    )
    parser.add_argument(
        "--paper", choices=("A4", "A3"), default="A4", help="the size of the sheets (A4)"
    )
    add_json(parser)


def run(args: Namespace) -> int:
    """Draw every rung in scan order."""
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    if args.output is not None and Path(args.output).suffix.lower() in SHEETS:
        if args.json:
            raise CliError(f"'{args.output}': --json writes no sheets; name a .json file")
        put_paper(ladder_paper(program, args.paper), [args.output])
        return FINE
    width = max(LEAST_WIDTH, args.width or _screen_width())
    if args.json:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.model import DrawingModel, RungModel

        rungs = [
            RungModel(
                number=rung.number,
                label=rung.label,
                lines=draw_rung(rung, program, width, ascii_only=args.ascii),
            )
            for rung in program.rungs
        ]
        model = DrawingModel(
            file=program.source.name, title=program.title, width=width, rungs=rungs
        )
        write_result(args.output, model.model_dump_json(indent=2) + "\n")
        return FINE
    ascii_only = args.ascii or (args.output is None and not _takes_boxes())
    text = draw_program(program, width, ascii_only=ascii_only, references=args.references)
    write_result(args.output, text)
    return FINE


def _screen_width() -> int:
    return shutil.get_terminal_size().columns if sys.stdout.isatty() else 80


def _takes_boxes() -> bool:
    """Whether standard output can carry box-drawing characters."""
    try:
        "─┤├━".encode(sys.stdout.encoding or "ascii")
    except (UnicodeEncodeError, LookupError):
        return False
    return True
