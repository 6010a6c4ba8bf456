"""`rungs panel`: the electrical sums of a panel, and what fails or is unknown of them."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace

from rungs.cli.common import add_file, add_json, load, show_findings, show_warnings
from rungs.cli.exits import FINDINGS, FINE, WRONG_CALL, CliError
from rungs.cli.papers import add_papers, check_outputs, put_paper
from rungs.cli.working import add_seconds
from rungs.panel.worst import SECONDS
from rungs.report.text import say


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument(
        "--board", metavar="BOARD", help="hold the contacts against this board; see: rungs boards"
    )
    add_seconds(parser, SECONDS, "look that long for the worst state of each supply")
    add_papers(parser)
    add_json(parser)


def run(args: Namespace) -> int:
    """Print or write the sums; 1 if anything fails, 0 if at most some of it is unknown."""
    check_outputs(args.output)
    if args.json and args.output:
        raise CliError("--json prints, and -o writes files; give one of them")
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    # the board's file is checked by pydantic, and the sums play the panel
    from rungs.panel.paper import sums_paper
    from rungs.panel.sums import panel_sums
    from rungs.table.board import load_board

    board = None
    if args.board is not None:
        loaded = load_board(args.board)
        if loaded.board is None:
            show_findings(loaded.findings, loaded.source)
            raise CliError(f"the board '{args.board}' cannot be used", WRONG_CALL)
        board = loaded.board
    sums = panel_sums(program, board, args.seconds)
    if args.json:
        from rungs.report.panel_model import panel_model

        print(panel_model(sums).model_dump_json(indent=2))
    else:
        put_paper(sums_paper(sums), args.output)
    sys.stdout.flush()
    fails, unknown = sums.count("fail"), sums.count("unknown")
    if fails or unknown:
        say(f"rungs: {fails} failed, {unknown} unknown; what is unknown is not taken as good")
    return FINDINGS if fails else FINE
