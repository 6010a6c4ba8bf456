"""`rungs narrate`: the sequence of operation of a panel, written from its logic."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace

from rungs.cli.common import add_file, add_json, load, show_warnings
from rungs.cli.exits import FINDINGS, FINE, INTERRUPTED, CliError
from rungs.cli.papers import add_papers, check_outputs, put_paper
from rungs.cli.working import Working, add_seconds
from rungs.core.lower import LowerError
from rungs.narrate.build import SECONDS, narrate
from rungs.narrate.data import Narration
from rungs.narrate.paper import narration_paper
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.store import Store, store_folder
from rungs.report.text import say

MEGABYTES = 2_000
QUIET_SECONDS = 1.0  # before progress is shown


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    add_seconds(parser, SECONDS)
    parser.add_argument("--fresh", action="store_true", help="prove anew what was proved before")
    add_papers(parser)
    add_json(parser)


def run(args: Namespace) -> int:
    """Write the sequence of operation; 1 if something was not worked out to the end, or if the file
    states what its logic does not do."""
    check_outputs(args.output)
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    narration, cancelled = _narrated(program, args)
    if args.json:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.narrate_model import narrate_model

        print(narrate_model(narration, findings).model_dump_json(indent=2))
    if args.output or not args.json:
        put_paper(narration_paper(narration), args.output)
    if cancelled:
        return INTERRUPTED
    return FINE if narration.fine else FINDINGS


def _narrated(program: Program, args: Namespace) -> tuple[Narration, bool]:
    """The narration, and whether it was cut off by the user."""
    try:
        with Working(QUIET_SECONDS) as working:
            budget = Budget(args.seconds, MEGABYTES, working.is_stopped)
            store = Store(store_folder(), read=not args.fresh)
            narration = narrate(program, budget, store=store, progress=working.tell)
    except LowerError as error:
        raise CliError(f"{error}; nothing was worked out", FINDINGS) from error
    if working.stopped:
        say("rungs: stopped; what was not worked out is named in the paper")
    return narration, working.stopped
