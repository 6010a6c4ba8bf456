"""`rungs schema`: the JSON schema of what the other verbs print with --json."""

from __future__ import annotations

import json
from argparse import ArgumentParser, Namespace

from pydantic import BaseModel

from rungs.checkout.record import Record
from rungs.cli.exits import FINE, CliError
from rungs.report.checkout_model import CheckoutModel
from rungs.report.model import DOCUMENTS
from rungs.report.narrate_model import NarrateModel
from rungs.report.panel_model import PanelModel
from rungs.report.proof_model import ProofModel
from rungs.report.tables import CompareModel, CompileModel, TruthModel
from rungs.report.week_model import WeekModel
from rungs.report.why_model import WhyModel
from rungs.report.wiring_model import WiringModel
from rungs.table.board import Board
from rungs.table.model import TableFile

SCHEMAS: dict[str, type[BaseModel]] = {
    **DOCUMENTS,
    "why": WhyModel,
    "compile": CompileModel,
    "truth": TruthModel,
    "compare": CompareModel,
    "prove": ProofModel,
    "panel": PanelModel,
    "narrate": NarrateModel,
    "week": WeekModel,
    "table": TableFile,
    "board": Board,
    "wiring": WiringModel,
    "checkout": CheckoutModel,
    "checkout-record": Record,
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
