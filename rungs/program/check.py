"""The way from text to a checked program, in one place for every face."""

from __future__ import annotations

import gc
from dataclasses import dataclass

from rungs.findings import Finding, has_errors, in_order
from rungs.language.parse import parse
from rungs.language.tree import File
from rungs.program.build import build
from rungs.program.lint import lint
from rungs.program.nodes import Program
from rungs.program.rules import Facts, check_rules
from rungs.source import Source


@dataclass(frozen=True, slots=True)
class Checked:
    """The outcome of a check; `program` is None while there is an error.

    `file` is the tree of what could be read, for faces that show a file with errors.
    """

    source: Source
    file: File
    program: Program | None
    findings: tuple[Finding, ...]


def check(source: Source) -> Checked:
    """Parse, build and lint a file. Never raises for any text."""
    # The passes make many small objects that all live on; collecting while they are made is wasted
    # work that doubles the time of a large file.
    collecting = gc.isenabled()
    gc.disable()
    try:
        return _check(source)
    finally:
        if collecting:
            gc.enable()


def _check(source: Source) -> Checked:
    parsed = parse(source)
    program, findings = build(parsed.file, source)
    found = [*parsed.findings, *findings]
    if not has_errors(tuple(found)):
        facts = Facts(program)
        found += check_rules(program, facts)
        if not has_errors(tuple(found)):
            found += lint(program, facts)
    ordered = in_order(found)
    return Checked(source, parsed.file, None if has_errors(ordered) else program, ordered)
