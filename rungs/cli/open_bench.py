"""`rungs open`: the bench."""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser, Namespace

from rungs.cli.common import add_file, load, show_warnings
from rungs.cli.exits import FINE, WRONG_CALL, CliError


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser, "the panel file")
    parser.add_argument("--ascii", action="store_true", help="draw with plain ASCII signs")
    parser.add_argument("--no-mouse", action="store_true", help="leave the mouse to the terminal")


def run(args: Namespace) -> int:
    """Open the panel on a terminal screen."""
    if args.file == "-":
        raise CliError("the bench needs the keyboard and cannot read a panel from it", WRONG_CALL)
    program, findings = load(args.file, as_json=False)
    if not sys.stdin.isatty() or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        raise CliError("the bench needs a terminal; 'rungs draw' and 'rungs test' do not")
    show_warnings(findings, program.source)
    # the screen library takes longer to load than any other verb to run
    from rungs.bench.app import BenchApp
    from rungs.bench.session import Session

    BenchApp(Session(program), ascii_only=args.ascii).run(mouse=not args.no_mouse)
    return FINE
