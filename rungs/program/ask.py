"""A circuit that somebody types in, held against a program that is checked already."""

from __future__ import annotations

from dataclasses import replace

from rungs.findings import Finding
from rungs.language.parse import parse
from rungs.language.tree import PropertyTree
from rungs.program.check import check
from rungs.program.nodes import Circuit, Program
from rungs.source import Source, Span

_WORD = "never "
_FORM = "write contacts alone, such as: linger and not dark"


def circuit_of(program: Program, text: str) -> Circuit | Finding:
    """The circuit that `text` writes, as in a property, or the first thing wrong with it.

    The spans of a finding count from the start of `text`. Wire faults and loads may be asked for.
    """
    line = " ".join(text.split())
    if not _is_one_property(line):
        return Finding(
            "syntax",
            "this is more than a circuit",
            Span(0, len(line)),
            "nothing was looked for",
            _FORM,
        )
    whole = program.source.text + "\n" + _WORD
    checked = check(Source(program.source.name, whole + line + "\n"))
    at = len(whole)
    for finding in checked.findings:
        # a slip in the last word is found behind it
        if finding.severity == "error" and finding.span.end > at - len(_WORD):
            span = Span(max(0, finding.span.start - at), max(0, finding.span.end - at))
            if finding.code == "incomplete":
                # its advice is about whole statements
                return replace(finding, span=span, fix=_FORM)
            return replace(finding, span=span)
    if checked.program is None:
        # only what stands in the way of the program itself is left, or too much of it to be shown
        return Finding(
            "syntax",
            "this circuit cannot be looked at",
            Span(0, len(line)),
            "nothing was looked for",
            "mend the findings of the file first",
        )
    return checked.program.properties[-1].circuit


def _is_one_property(line: str) -> bool:
    """Whether a line that parses at all holds a circuit and nothing else; one with slips is left
    to the checker, which has words for them."""
    parsed = parse(Source("", _WORD + line))
    if parsed.findings:
        return True
    match parsed.file.statements:
        case (PropertyTree(label=None, when=None),):
            return "#" not in line
    return False
