"""`rungs wiring`: terminal plan, wire schedule, parts list and wiring drawing of a panel."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path

from rungs.cli.common import add_file, add_json, load, show_warnings
from rungs.cli.exits import FINDINGS, FINE, CliError
from rungs.cli.papers import add_papers, check_outputs, put_paper
from rungs.draw.wiring_plan import PAGES
from rungs.draw.wiring_svg import wiring_pictures
from rungs.report.text import say
from rungs.wiring.paper import wiring_paper
from rungs.wiring.plan import wiring


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument(
        "--paper", choices=tuple(PAGES), default="A4", help="size of the drawing's sheets (A4)"
    )
    add_papers(parser)
    add_json(parser)


def run(args: Namespace) -> int:
    """Print or write lists and drawing; 1 if the drawing is refused."""
    check_outputs(args.output)
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    w = wiring(program)
    if w.refusal and any(Path(name).suffix.lower() == ".svg" for name in args.output):
        raise CliError(f"nothing is drawn. {w.refusal}", FINDINGS)
    if args.output or not args.json:
        put_paper(wiring_paper(w, wiring_pictures(w, args.paper)), args.output)
    if args.json:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.wiring_model import wiring_model

        print(wiring_model(program.source.name, w).model_dump_json(indent=2))
    if w.refusal:
        say("rungs: no wiring is drawn, since more than 50 V stands beside extra-low voltage")
        return FINDINGS
    return FINE
