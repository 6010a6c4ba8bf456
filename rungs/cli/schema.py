"""`rungs schema`: the JSON schema of what the other verbs print with --json."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace

from pydantic import BaseModel

from rungs.cli.exits import FINE, CliError
from rungs.report.model import DOCUMENTS
from rungs.report.proof_model import ProofModel
from rungs.report.tables import CompareModel, CompileModel, TruthModel
from rungs.report.why_model import WhyModel
from rungs.table.board import Board
from rungs.table.model import TableFile

SCHEMAS: dict[str, type[BaseModel]] = {
    **DOCUMENTS,
    "why": WhyModel,
    "compile": CompileModel,
    "truth": TruthModel,
    "compare": CompareModel,
    "prove": ProofModel,
    "table": TableFile,
    "board": Board,
}


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.add_argument("name", metavar="NAME", nargs="?", help="one of: " + ", ".join(SCHEMAS))


def run(args: Namespace) -> int:
    """Print one schema, or the names of all."""
    if args.name is None:
        print("\n".join(SCHEMAS))
        return FINE
    if args.name not in SCHEMAS:
        raise CliError(f"there is no schema '{args.name}'; there are " + ", ".join(SCHEMAS))
    print(json.dumps(SCHEMAS[args.name].model_json_schema(), indent=2))
    return FINE
