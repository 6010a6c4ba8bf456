"""`rungs open`: the bench."""

from __future__ import annotations

import os
import sys
from argparse import ArgumentParser, Namespace
from importlib.util import find_spec
from pathlib import Path

from rungs.cli.common import add_file, load, read_start, show_findings
from rungs.cli.exits import FINDINGS, FINE, IO_FAILED, WRONG_CALL, CliError
from rungs.desk.disk import begin
from rungs.desk.disk import load as load_file
from rungs.files import FileError
from rungs.source import Source


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser, "the panel file; one that is not there yet is begun")
    parser.add_argument("--ascii", action="store_true", help="draw with plain ASCII signs")
    parser.add_argument("--no-mouse", action="store_true", help="leave the mouse to the terminal")
    parser.add_argument("--start", metavar="TIME", help="wall time at t = 0, else the machine's")
    parser.add_argument(
        "--web", action="store_true", help="serve the bench to a browser on this machine only"
    )
    parser.add_argument("--port", type=int, default=8765, help="with --web: where (8765)")


def run(args: Namespace) -> int:
    """Open the panel on a terminal screen."""
    if args.file == "-":
        raise CliError("the bench needs the keyboard and cannot read a panel from it", WRONG_CALL)
    if args.web:
        return _serve(args)
    if not sys.stdin.isatty() or not sys.stderr.isatty() or os.environ.get("TERM") == "dumb":
        raise CliError("the bench needs a terminal; 'rungs draw' and 'rungs test' do not")
    # the screen library takes longer to load than any other verb to run
    from rungs.bench.start import bench_of, run_on_terminal

    start = _start(args)
    try:
        app = bench_of(Path(args.file), args.ascii, start)
    except FileError as error:
        raise CliError(str(error)) from error
    if isinstance(app, tuple):
        show_findings(app, Source(args.file, ""))
        return FINDINGS
    return run_on_terminal(app, mouse=not args.no_mouse)


def _start(args: Namespace) -> int | None:
    """The wall time at t = 0, ms UTC."""
    if args.start is None:
        return None
    return read_start(args.start, load(args.file, as_json=False)[0])


def _serve(args: Namespace) -> int:
    """Serve the bench to browsers on this machine."""
    if not 1 <= args.port <= 65_535:
        raise CliError(f"there is no port {args.port}; they go from 1 to 65535", WRONG_CALL)
    if find_spec("textual_serve") is None:
        raise CliError(
            "the browser needs one more package; install it with: pip install 'rungs-logic[web]'",
            WRONG_CALL,
        )
    # a file that no tab could open is told of here, where somebody reads it
    path = Path(args.file)
    try:
        loaded = begin(path, "") if not path.exists() else load_file(path)
    except FileError as error:
        raise CliError(str(error)) from error
    if loaded.document is None:
        show_findings(loaded.findings, Source(args.file, ""))
        return FINDINGS
    start = _start(args)
    options = ["--ascii"] if args.ascii else []
    options += [] if start is None else [f"--start={start}"]
    # the web server takes longer to load than the bench
    from rungs.bench.web import serve

    try:
        serve(path, args.port, options)
    except OSError as error:
        raise CliError(f"cannot serve at port {args.port}: {error.strerror}", IO_FAILED) from error
    return FINE
