"""`rungs schema`: the JSON schema of what the other verbs print with --json."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace

from rungs.cli.exits import FINE, CliError
from rungs.report.model import DOCUMENTS


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="one of: " + ", ".join(DOCUMENTS))


def run(args: Namespace) -> int:
    """Print one schema, or the names of all."""
    if args.name is None:
        print("\n".join(DOCUMENTS))
        return FINE
    if args.name not in DOCUMENTS:
        raise CliError(f"there is no schema '{args.name}'; there are " + ", ".join(DOCUMENTS))
    print(json.dumps(DOCUMENTS[args.name].model_json_schema(), indent=2))
    return FINE
