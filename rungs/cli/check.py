"""`rungs check`: what is wrong with a panel, in plain words."""

from __future__ import annotations

import sys
from argparse import ArgumentParser, Namespace

from rungs.cli.common import add_file, add_json, check_file, print_findings_json
from rungs.cli.exits import FINDINGS, FINE
from rungs.report.text import findings_text, ink_for, say, summary


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    add_json(parser)


def run(args: Namespace) -> int:
    """Print every finding; 1 if there is an error or a warning."""
    checked = check_file(args.file)
    if args.json:
        print_findings_json(checked)
    else:
        if checked.findings:
            print(findings_text(checked.findings, checked.source, ink_for(sys.stdout)))
        say(f"{checked.source.name}: {summary(checked.findings)}")
    return FINDINGS if any(f.severity != "note" for f in checked.findings) else FINE
