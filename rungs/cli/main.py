"""The command `rungs`: finds the verb and hands over to its file.

Only the module of the verb that was asked for is imported, so that help and short commands come up
at once.
"""

from __future__ import annotations

import os
import sys

from rungs import __version__
from rungs.cli.exits import FINE, INTERRUPTED, IO_FAILED, WRONG_CALL, CliError


class VerbHelp:
    """What the overview says of a verb. Not a dataclass, since those take longer to load than all
    the rest of the overview."""

    __slots__ = ("example", "summary")

    def __init__(self, summary: str, example: str) -> None:
        self.summary = summary
        self.example = example


VERBS: dict[str, VerbHelp] = {
    "demo": VerbHelp("show what rungs does, on a panel that comes with it", "rungs demo"),
    "check": VerbHelp("say in plain words what is wrong with a panel", "rungs check panel.rungs"),
    "test": VerbHelp("play the scenarios of a panel", "rungs test panel.rungs --junit results.xml"),
    "prove": VerbHelp(
        "find the moment in which a property fails, or show that there is none",
        "rungs prove panel.rungs --save",
    ),
    "open": VerbHelp("open the bench: switches, live ladder, relays", "rungs panel.rungs"),
    "draw": VerbHelp(
        "draw the ladder, as text or on sheets", "rungs draw panel.rungs -o ladder.svg"
    ),
    "trace": VerbHelp(
        "play circuit states, scan for scan, on a panel or on its table",
        'rungs trace panel.rungs stimulus.csv --start "2026-11-25T22:45:00" --changes',
    ),
    "why": VerbHelp(
        "say why a device is on or off, and what would alter it",
        'rungs why panel.rungs walkway --scenario "A late call"',
    ),
    "compile": VerbHelp(
        "make the table that a board takes, proved to do the same",
        "rungs compile panel.rungs --board timed-states -o table.json -o table.csv",
    ),
    "compare": VerbHelp(
        "hold a table that was read back against the panel",
        "rungs compare panel.rungs as_found.csv",
    ),
    "boards": VerbHelp("show what boards accept, and check a board file", "rungs boards show NAME"),
    "narrate": VerbHelp(
        "write the sequence of operation from the logic",
        "rungs narrate panel.rungs -o sequence.html",
    ),
    "week": VerbHelp(
        "draw a week of the clocks, and tell the odd days of the year ahead",
        "rungs week panel.rungs --from 2026-11-23 -o week.html",
    ),
    "panel": VerbHelp(
        "add up supplies, wires, contacts and fuses, and say what is unknown",
        "rungs panel panel.rungs --board timed-states -o sums.html",
    ),
    "wiring": VerbHelp(
        "list terminals, wires and parts of a panel, and draw its wiring",
        "rungs wiring panel.rungs -o wiring.html -o wiring.csv",
    ),
    "checkout": VerbHelp(
        "say what to operate and to see at the finished panel, and keep what is found",
        "rungs checkout panel.rungs --walk",
    ),
    "pack": VerbHelp(
        "write every paper of a panel for handover: a page, a PDF, a restore file",
        "rungs pack panel.rungs -o handover --board timed-states",
    ),
    "restore": VerbHelp(
        "bring back the panel and the table of a handover",
        "rungs restore handover/panel.restore.json -o again",
    ),
    "fmt": VerbHelp("write a panel in its canonical layout", "rungs fmt --check panel.rungs"),
    "explain": VerbHelp(
        "explain a finding, or the forms of the language", "rungs explain second-coil"
    ),
    "schema": VerbHelp("print the JSON schema of a kind of output", "rungs schema check"),
}

_EXITS = (
    "exit codes: 0 fine, 1 findings or failed expectations, 2 wrong call or unreadable file, "
    "3 reading or writing failed, 130 interrupted"
)


def overview() -> str:
    """The text of `rungs --help`."""
    lines = [
        "usage: rungs VERB [options]      or: rungs FILE   to open the bench",
        "",
        "A logic editor for small low-voltage panels: write switch-and-relay logic as text,",
        "try it, draw it, and get a table for a board, with proof that it does the same.",
        "",
    ]
    for name, verb in VERBS.items():
        lines += [f"  {name:<9}{verb.summary}", f"           {verb.example}"]
    lines += [
        "",
        "  rungs VERB --help   shows all options of a verb;  '-' as FILE reads standard input",
        "  rungs --version",
        "",
        _EXITS,
        "",
        "A program is never the only safety function: emergency stops and guards are hard-wired.",
    ]
    return "\n".join(lines)


def main(argv: list[str]) -> int:
    """Run one command line (without the program's name) and return its exit code."""
    if not argv or argv[0] in ("-h", "--help", "help"):
        print(overview())
        return FINE if argv else WRONG_CALL
    if argv[0] == "--version":
        print(f"rungs {__version__}")
        return FINE
    name, rest = argv[0], argv[1:]
    if name not in VERBS:
        if name.startswith("-") and name != "-":
            raise CliError(f"there is no option '{name}'; see: rungs --help")
        if not (name.endswith(".rungs") or os.path.exists(name)):
            raise CliError(_unknown_verb(name))
        name, rest = "open", argv
    # needed by every verb and by no overview
    from argparse import ArgumentParser
    from importlib import import_module

    module = import_module(f"rungs.cli.{name if name != 'open' else 'open_bench'}")
    parser = ArgumentParser(
        prog=f"rungs {name}",
        description=VERBS[name].summary[0].upper() + VERBS[name].summary[1:] + ".",
        epilog=f"example: {VERBS[name].example}",
    )
    module.configure(parser)
    # options may stand between positional words, but for verbs with verbs of their own
    parse = parser.parse_args if name == "boards" else parser.parse_intermixed_args
    code: int = module.run(parse(rest))
    return code


def _unknown_verb(name: str) -> str:
    # needed for a slip of the pen alone
    from difflib import get_close_matches

    close = get_close_matches(name, list(VERBS), n=1)
    guess = f"did you mean 'rungs {close[0]}'?" if close else "see: rungs --help"
    return f"'{name}' is neither a verb nor a file; {guess}"


def run() -> None:
    """The console script: maps every ending to its exit code."""
    try:
        code = main(sys.argv[1:])
        sys.stdout.flush()
    except CliError as error:
        print(f"rungs: {error}", file=sys.stderr)
        code = error.code
    except KeyboardInterrupt:
        code = INTERRUPTED
    except BrokenPipeError:
        # the reader of the pipe has gone; what is still buffered has nowhere to go
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        code = FINE
    except OSError as error:
        print(f"rungs: {error}", file=sys.stderr)
        code = IO_FAILED
    sys.exit(code)
