"""A circuit that somebody types in, held against a program that is checked already."""

from __future__ import annotations

from dataclasses import replace

from rungs.findings import Finding
from rungs.program.check import check
from rungs.program.nodes import Circuit, Program
from rungs.source import Source, Span

_WORD = "never "


def circuit_of(program: Program, text: str) -> Circuit | Finding:
    """The circuit that `text` writes, as in a property, or the first thing wrong with it.

    The spans of a finding count from the start of `text`. Wire faults and loads may be asked for.
    """
    line = " ".join(text.split())
    whole = program.source.text + "\n" + _WORD
    checked = check(Source(program.source.name, whole + line + "\n"))
    at = len(whole)
    for finding in checked.findings:
        # a slip in the last word is found behind it
        if finding.severity == "error" and finding.span.end > at - len(_WORD):
            span = Span(max(0, finding.span.start - at), max(0, finding.span.end - at))
            return replace(finding, span=span)
    found = checked.program
    one_more = len(program.properties) + 1
    if (
        found is None
        or len(found.properties) != one_more
        or found.rungs != program.rungs
        or len(found.scenarios) != len(program.scenarios)
        or found.properties[-1].label
    ):
        return Finding(
            "syntax",
            "this is more than a circuit",
            Span(0, len(line)),
            "nothing was looked for",
            "write contacts alone, such as: linger and not dark",
        )
    return found.properties[-1].circuit
