"""Findings and results as text for a terminal.

Every text of the user's passes through `plain` on its way out, so that no file can move the cursor
or change the colours of the terminal that shows it.
"""

from __future__ import annotations

import os
import sys
import unicodedata
from dataclasses import dataclass
from typing import TextIO

from rungs.findings import Finding
from rungs.source import Source, Span


@dataclass(frozen=True, slots=True)
class Ink:
    """Emphasis where the terminal takes it; without it every method returns its text."""

    on: bool = False

    def strong(self, text: str) -> str:
        """Text that the eye should find first."""
        return f"\x1b[1m{text}\x1b[0m" if self.on else text

    def faint(self, text: str) -> str:
        """Text for who wants to know more."""
        return f"\x1b[2m{text}\x1b[0m" if self.on else text

    def wrong(self, text: str) -> str:
        """Text that tells of an error."""
        return f"\x1b[1;31m{text}\x1b[0m" if self.on else text


def ink_for(stream: TextIO) -> Ink:
    """Emphasis for a terminal that has not asked for none (NO_COLOR)."""
    plain_terminal = os.environ.get("NO_COLOR") or os.environ.get("TERM") == "dumb"
    return Ink(bool(stream.isatty() and not plain_terminal))


def plain(text: str) -> str:
    """Text without control characters; tabs become spaces."""
    if text.isprintable():
        return text
    return "".join(
        " " if c == "\t" else c if unicodedata.category(c) not in ("Cc", "Cf", "Cs") else "\ufffd"
        for c in text
    )


def finding_text(finding: Finding, source: Source, ink: Ink) -> str:
    """One finding in full: place, message, the line with a caret, effect, fix, related places."""
    place = source.position(finding.span.start)
    where = f"{plain(source.name)}:{place.line}:{place.column}"
    mark = ink.wrong if finding.severity == "error" else ink.strong
    lines = [
        f"{ink.strong(where)}: {mark(finding.severity)} [{finding.code}] {plain(finding.message)}"
    ]
    lines += _excerpt(finding.span, source, ink)
    if finding.effect:
        lines.append(f"   on the panel: {plain(finding.effect)}")
    if finding.fix:
        lines.append(f"   what to do:   {plain(finding.fix)}")
    for span, words in finding.related:
        related = source.position(span.start)
        line = plain(source.line(related.line).strip())
        lines.append(f"   {words}: line {related.line}: {ink.faint(line)}")
    return "\n".join(lines)


def _excerpt(span: Span, source: Source, ink: Ink) -> list[str]:
    place = source.position(span.start)
    line = source.line(place.line)
    if not line.strip():
        return []
    end = source.position(max(span.end, span.start + 1))
    length = end.column - place.column if end.line == place.line else len(line) - place.column + 1
    before, marked = line[: place.column - 1], line[place.column - 1 :][: max(1, length)]
    # a label may hold wide letters; the caret goes by what the terminal shows
    indent = sum(_cells(c) for c in plain(before))
    carets = max(1, sum(_cells(c) for c in plain(marked)))
    number = f"{place.line:>6}"
    return [
        f"{ink.faint(number + ' |')} {plain(line)}",
        f"{ink.faint('       |')} {' ' * indent}{ink.wrong('^' * carets)}",
    ]


def _cells(char: str) -> int:
    if unicodedata.combining(char):
        return 0
    return 2 if unicodedata.east_asian_width(char) in "WF" else 1


def findings_text(findings: tuple[Finding, ...], source: Source, ink: Ink) -> str:
    """All findings, an empty line between two."""
    return "\n\n".join(finding_text(finding, source, ink) for finding in findings)


def summary(findings: tuple[Finding, ...]) -> str:
    """How many errors, warnings and notes there are, in words."""
    counts = {
        severity: sum(f.severity == severity for f in findings)
        for severity in ("error", "warning", "note")
    }
    parts = [f"{count} {word}{'s' * (count != 1)}" for word, count in counts.items() if count]
    return ", ".join(parts) if parts else "no findings"


def say(text: str) -> None:
    """Talk, as opposed to results, goes to standard error."""
    print(text, file=sys.stderr)
