"""What several verbs share: reading a panel, showing its findings, writing a result."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from pathlib import Path

from rungs.cli.exits import FINDINGS, IO_FAILED, WRONG_CALL, CliError
from rungs.files import READ_LIMIT, FileError, decode, read_bytes, write_atomic
from rungs.findings import Finding, has_errors
from rungs.language.parse import parse
from rungs.program.check import Checked, check
from rungs.program.nodes import Program
from rungs.report.text import findings_text, ink_for, say, summary
from rungs.scan.almanac import almanac_findings
from rungs.source import Source


def add_file(parser: ArgumentParser, what: str = "the panel file, or - for standard input") -> None:
    """The positional argument FILE."""
    parser.add_argument("file", metavar="FILE", help=what)


def add_json(parser: ArgumentParser) -> None:
    """The option --json."""
    parser.add_argument("--json", action="store_true", help="print one JSON object")


def read_source(name: str, limit: int = READ_LIMIT) -> tuple[Source, tuple[Finding, ...]]:
    """The text of FILE, with a finding if it is no text. Raises CliError if it cannot be read.

    At most `limit` bytes are read, which is more than the file may have.
    """
    if name == "-":
        if sys.stdin.isatty():
            say("rungs: reading standard input; end it with Ctrl-D")
        return decode(sys.stdin.buffer.read(limit), "<stdin>")
    try:
        return decode(read_bytes(Path(name), limit), name)
    except FileError as error:
        raise CliError(str(error), WRONG_CALL) from error


def check_file(name: str) -> Checked:
    """FILE, checked, with what the calendar says of its clocks."""
    source, unreadable = read_source(name)
    if unreadable:
        return Checked(source, parse(source).file, None, unreadable)
    checked = check(source)
    if checked.program is None:
        return checked
    found = (*checked.findings, *almanac_findings(checked.program))
    program = None if has_errors(found) else checked.program
    return Checked(source, checked.file, program, found)


def load(name: str, as_json: bool) -> tuple[Program, tuple[Finding, ...]]:
    """The program of FILE. With errors they are shown, and CliError ends the command."""
    checked = check_file(name)
    if checked.program is not None:
        return checked.program, checked.findings
    if as_json:
        print_findings_json(checked)
    else:
        show_findings(checked.findings, checked.source)
    raise CliError(f"{summary(checked.findings)}; a panel with errors cannot run", FINDINGS)


def print_findings_json(checked: Checked) -> None:
    """The findings of a file as the JSON object of `check`."""
    # pydantic takes longer to load than most commands take to run
    from rungs.report.model import check_model

    print(check_model(checked.source, checked.findings).model_dump_json(indent=2))


def show_findings(findings: tuple[Finding, ...], source: Source) -> None:
    """Findings on standard error, for verbs whose result is something else."""
    if findings:
        say(findings_text(findings, source, ink_for(sys.stderr)))


def show_warnings(findings: tuple[Finding, ...], source: Source) -> None:
    """A line about warnings, for verbs that go on in spite of them."""
    count = sum(f.severity == "warning" for f in findings)
    if count:
        say(f"rungs: {count} warning{'s' * (count != 1)}; see: rungs check {source.name}")


def write_result(name: str | None, text: str) -> None:
    """A result to a file, or to standard output without one. Raises CliError if writing fails."""
    if name is None or name == "-":
        sys.stdout.write(text)
        return
    try:
        write_atomic(Path(name), text.encode("utf-8"))
    except FileError as error:
        raise CliError(str(error), IO_FAILED) from error
