"""`rungs narrate`: the sequence of operation of a panel, written from its logic."""

from __future__ import annotations

import signal
import sys
import time
from argparse import ArgumentParser, ArgumentTypeError, Namespace
from types import FrameType

from rungs.cli.common import add_file, add_json, load, show_warnings
from rungs.cli.exits import FINDINGS, FINE, INTERRUPTED, CliError
from rungs.cli.papers import add_papers, check_outputs, put_paper
from rungs.core.lower import LowerError
from rungs.narrate.build import SECONDS, Progress, narrate
from rungs.narrate.data import Narration
from rungs.narrate.paper import narration_paper
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.store import Store, store_folder
from rungs.report.text import plain, say

MEGABYTES = 2_000
QUIET_SECONDS = 1.0  # before progress is shown


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument(
        "--seconds", type=_positive, default=SECONDS, help=f"time that it may take ({SECONDS:g})"
    )
    parser.add_argument("--fresh", action="store_true", help="prove anew what was proved before")
    add_papers(parser)
    add_json(parser)


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < 1e6:
        raise ArgumentTypeError(f"'{text}' is not a number of seconds")
    return value


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
    """The narration, and whether it was cut off by the user: the first Ctrl-C ends the work and
    shows what it had, the second ends the command."""
    asked_to_stop: list[bool] = []

    def stop(number: int, frame: FrameType | None) -> None:
        if asked_to_stop:
            raise KeyboardInterrupt
        asked_to_stop.append(True)

    progress = _progress() if sys.stderr.isatty() else None
    before = signal.signal(signal.SIGINT, stop)
    try:
        budget = Budget(args.seconds, MEGABYTES, lambda: bool(asked_to_stop))
        store = Store(store_folder(), read=not args.fresh)
        narration = narrate(program, budget, store=store, progress=progress)
    except LowerError as error:
        raise CliError(f"{error}; nothing was worked out", FINDINGS) from error
    finally:
        signal.signal(signal.SIGINT, before)
        if progress is not None:
            print("\r\x1b[K", end="", file=sys.stderr)
    if asked_to_stop:
        say("rungs: stopped; what was not worked out is named in the paper")
    return narration, bool(asked_to_stop)


def _progress() -> Progress:
    began = time.monotonic()

    def show(words: str, done: int, steps: int) -> None:
        if time.monotonic() - began > QUIET_SECONDS:
            text = plain(words)[:60]
            print(f"\r\x1b[K  {done + 1} of {steps}: {text}", end="", file=sys.stderr, flush=True)

    return show
