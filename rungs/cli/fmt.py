"""`rungs fmt`: a panel in its canonical layout."""

from __future__ import annotations

import difflib
import sys
from argparse import ArgumentParser, Namespace
from pathlib import Path

from rungs.cli.common import read_source, show_findings
from rungs.cli.exits import FINDINGS, FINE, IO_FAILED, CliError
from rungs.files import FileError, write_atomic
from rungs.language.format import format_file
from rungs.language.parse import parse
from rungs.report.text import say, summary
from rungs.source import Source


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    parser.add_argument(
        "files", metavar="FILE", nargs="+", help="panel files, or - for standard input to output"
    )
    parser.add_argument("--check", action="store_true", help="write nothing; 1 if a file differs")
    parser.add_argument("--diff", action="store_true", help="show what would change, write nothing")


def run(args: Namespace) -> int:
    """Format each file in place; standard input goes to standard output."""
    return max([_format(name, args) for name in args.files], default=FINE)


def _format(name: str, args: Namespace) -> int:
    source, unreadable = read_source(name)
    parsed = parse(source)
    findings = unreadable or parsed.findings
    if findings:
        show_findings(findings, source)
        say(f"{source.name}: {summary(findings)}; a file that cannot be read is left as it is")
        return FINDINGS
    text = format_file(parsed.file, source)
    if args.diff:
        sys.stdout.writelines(_diff(source, text))
    if args.check or args.diff:
        if text != source.text and args.check:
            say(f"{source.name}: would be laid out anew")
        return FINDINGS if text != source.text else FINE
    if name == "-":
        sys.stdout.write(text)
    elif text != source.text:
        try:
            write_atomic(Path(name), source.encode(text))
        except FileError as error:
            raise CliError(str(error), IO_FAILED) from error
        say(f"{source.name}: laid out anew")
    return FINE


def _diff(source: Source, text: str) -> list[str]:
    return list(
        difflib.unified_diff(
            source.text.splitlines(keepends=True),
            text.splitlines(keepends=True),
            source.name,
            f"{source.name} (canonical)",
        )
    )
