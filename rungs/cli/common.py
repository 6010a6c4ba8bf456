"""What several verbs share: reading a panel, showing its findings, writing a result."""

from __future__ import annotations

import sys
from argparse import ArgumentParser
from datetime import date, time
from pathlib import Path

from rungs.cli.exits import FINDINGS, IO_FAILED, WRONG_CALL, CliError
from rungs.files import READ_LIMIT, FileError, decode, read_bytes, write_atomic
from rungs.findings import Finding, has_errors
from rungs.language.parse import parse
from rungs.program.check import Checked, check
from rungs.program.nodes import Program
from rungs.report.text import findings_text, ink_for, say, summary
from rungs.scan.almanac import almanac_findings
from rungs.scan.calendar import build_calendar
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


def read_start(text: str | None, program: Program) -> int | None:
    """The wall time of --start, an ISO 8601 local date and time in the site's zone, as ms UTC.

    None without one; a program with clocks is then told when they begin. Raises CliError for what
    is no local time between 1970 and 2199.
    """
    if text is None:
        if program.clocks:
            say("rungs: without --start the clocks begin at 2026-01-05T00:00:00")
        return None
    day_text, _, time_text = text.replace(" ", "T").partition("T")
    try:
        day, at = date.fromisoformat(day_text), time.fromisoformat(time_text or "00:00")
    except ValueError as error:
        raise CliError(f"'{text}' is no date and time; write 2026-11-25T22:45:00") from error
    if at.tzinfo is not None or not 1970 <= day.year <= 2199:
        raise CliError(f"'{text}' is not a local time between 1970 and 2199")
    ms = ((at.hour * 60 + at.minute) * 60 + at.second) * 1_000 + at.microsecond // 1_000
    return build_calendar(program).zone.instant(day, ms)


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
