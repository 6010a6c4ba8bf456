"""`rungs explain`: what a finding means, and the forms of the language."""

from __future__ import annotations

from argparse import ArgumentParser, Namespace
from difflib import get_close_matches
from pathlib import Path
from textwrap import indent, wrap

from rungs import language, prove, table
from rungs.cli.exits import FINE, CliError
from rungs.findings import CODES
from rungs.language.words import FORMS

PAGES = {
    "language": Path(language.__file__).parent / "reference.md",
    "tables": Path(table.__file__).parent / "reference.md",
    "proofs": Path(prove.__file__).parent / "reference.md",
}


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.add_argument(
        "topic",
        metavar="CODE",
        nargs="?",
        help="the code of a finding, one statement such as 'clock', 'statements', 'language', "
        "'tables', 'proofs', or 'keys'",
    )


def run(args: Namespace) -> int:
    """Print the explanation."""
    topic = args.topic
    if topic is None:
        print(
            "\n".join(
                f"{code:<20}{entry.severity:<9}{entry.title}" for code, entry in CODES.items()
            )
        )
    elif topic in PAGES:
        print(PAGES[topic].read_text(encoding="utf-8"))
    elif topic == "keys":
        # the bench's words, not its screen
        from rungs.bench.help_text import help_text

        print(help_text())
    elif topic == "statements":
        print("\n".join(FORMS.values()))
    elif topic in CODES:
        print(explanation(topic))
    elif topic in FORMS:
        print(FORMS[topic])
    else:
        close = get_close_matches(topic, [*CODES, *FORMS], n=1)
        guess = f"; did you mean '{close[0]}'?" if close else "; see: rungs explain"
        raise CliError(f"there is no finding '{topic}'{guess}")
    return FINE


def explanation(code: str) -> str:
    """The text about one code, with an example where one helps."""
    entry = CODES[code]
    parts = [f"{code} ({entry.severity}): {entry.title}", "", *wrap(entry.text, 88)]
    if entry.example:
        parts += ["", "instead of", indent(entry.example, "    ")]
    if entry.better:
        parts += ["write", indent(entry.better, "    ")]
    return "\n".join(parts)
