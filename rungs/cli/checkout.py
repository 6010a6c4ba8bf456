"""`rungs checkout`: what to operate and to see at a finished panel, on paper or step by step."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from pathlib import Path
from typing import TYPE_CHECKING

from rungs.cli.common import add_file, add_json, load, show_warnings
from rungs.cli.exits import FINE, WRONG_CALL, CliError
from rungs.cli.papers import add_papers, check_outputs, put_paper
from rungs.cli.working import add_seconds
from rungs.program.nodes import Program
from rungs.report.text import plain, say

if TYPE_CHECKING:
    from rungs.checkout.plan import Plan
    from rungs.checkout.record import Record

SECONDS = 5.0


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument(
        "--walk", action="store_true", help="walk through the steps and keep what was found"
    )
    parser.add_argument("--name", metavar="NAME", help="who walks; asked for once without it")
    parser.add_argument("--board", metavar="WORDS", help="which board it is, for the record")
    parser.add_argument(
        "--record",
        metavar="FILE.json",
        help="the record of what was found (NAME.checkout.json beside the panel file)",
    )
    add_seconds(parser, SECONDS, "time that is taken to find a short tour")
    parser.add_argument(
        "--fresh", action="store_true", help="make the plan anew where a record has one"
    )
    parser.add_argument(
        "--whole", action="store_true", help="one tour for the table of the whole panel"
    )
    add_papers(parser)
    add_json(parser)


def run(args: Namespace) -> int:
    """Print the plan, or walk it: then 0 if every step has passed, 1 if not."""
    check_outputs(args.output)
    if args.walk and (args.json or args.output):
        raise CliError("--walk keeps a record and writes nothing else; leave --json and -o away")
    if args.walk and args.file == "-":
        raise CliError("--walk reads answers from standard input, so FILE cannot be it")
    if not args.walk and (args.name or args.board):
        raise CliError("--name and --board go with --walk")
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    # built on the table compiler and on pydantic, which other verbs need not wait for
    from rungs.checkout.build import checkout_plan
    from rungs.checkout.record import plan_in
    from rungs.checkout.record_file import RecordError, RecordFile
    from rungs.table.head import sha256

    path = _record_path(args)
    book = None if path is None else RecordFile(path)
    try:
        record = None if book is None else book.load()
    except RecordError as error:
        raise CliError(plain(str(error)), WRONG_CALL) from error
    if record is None and args.record and not args.walk:
        raise CliError(f"there is no record '{plain(args.record)}'; --walk begins one")
    plan = None if args.fresh or args.whole else plan_in(record, sha256(program))
    if plan is None:
        if args.walk:
            say("rungs: making the plan ...")
        plan = checkout_plan(program, args.seconds, args.whole)
    if args.walk:
        assert book is not None
        from rungs.cli.checkout_walk import walk_in_terminal

        return walk_in_terminal(plan, program, book, record, args)
    _show(plan, program, record, args)
    return FINE


def _record_path(args: Namespace) -> Path | None:
    """Where the record stands; None for standard input without --record."""
    from rungs.checkout.record_file import beside

    if args.record:
        return Path(args.record)
    return None if args.file == "-" else beside(Path(args.file))


def _show(plan: Plan, program: Program, record: Record | None, args: Namespace) -> None:
    if args.json:
        from rungs.report.checkout_model import checkout_model

        print(checkout_model(program, plan, record).model_dump_json(indent=2))
        return
    from dataclasses import replace

    from rungs.checkout.found import found_blocks
    from rungs.checkout.paper import checkout_paper, relay_sheet

    paper = checkout_paper(plan, program)
    if record is not None:
        paper = replace(paper, blocks=(*paper.blocks, *found_blocks(plan, record)))
    sheets = [name for name in args.output if name.lower().endswith(".csv")]
    if sheets:
        # a spreadsheet has room for a column of each relay
        put_paper(replace(paper, blocks=(*paper.blocks, relay_sheet(plan))), sheets)
    if not args.output or len(sheets) < len(args.output):
        put_paper(paper, [name for name in args.output if name not in sheets])
