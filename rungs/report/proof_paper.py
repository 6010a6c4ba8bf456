"""What a proof found, as a paper: verdicts, what they rest on, and what nobody asked."""

from __future__ import annotations

from collections.abc import Iterator

from rungs.papers.blocks import Block, Caution, Heading, Paper, Paragraph, Points, Table, Verbatim
from rungs.program.words import property_text
from rungs.prove.reach import Never
from rungs.prove.verdict import Verdict
from rungs.prove.whole import Report
from rungs.report.proofs import (
    CAUTION,
    ORDER,
    how_proved,
    idle_words,
    question_texts,
)
from rungs.report.runs import run_text

_VERDICTS = {
    "fails": "FAILS",
    "unknown": "not decided",
    "holds": "holds as far as looked",
    "proved": "proved",
}


def proof_paper(report: Report) -> Paper:
    """The verdicts, the failing runs, the assumptions, and the answers to the ready questions."""
    return Paper("proofs", "Proofs", tuple(_blocks(report)))


def _blocks(report: Report) -> Iterator[Block]:
    yield Caution(CAUTION)
    if report.wrong:
        yield Caution(f"Nothing is proved: {report.wrong}")
    ordered = sorted(report.verdicts, key=lambda v: (ORDER[v.verdict], v.exercised))
    yield Table(
        "properties",
        ("property", "line", "what must hold", "verdict", "how"),
        tuple(_row(report, verdict) for verdict in ordered),
        f"a scan every {report.period} ms",
        (1,),
        "The file states no property: add 'never', 'always' or 'require'.",
    )
    for verdict in ordered:
        if verdict.witness is not None:
            yield Heading(f"The run that breaks “{verdict.name}”", 3)
            lines = run_text(report.program, verdict.witness, "broken")
            yield Verbatim("\n".join(lines))
    covers = dict.fromkeys(words for verdict in report.verdicts for words in verdict.covers)
    if covers:
        yield Heading("What the verdicts cover", 3)
        yield Points(tuple(covers))
    assumed = [item for item in report.program.properties if item.kind == "assume"]
    yield Heading("Assumptions", 3)
    yield Points(tuple(f"{item.label}: {property_text(item)}" for item in assumed) or ("none",))
    told = question_texts(report)
    if told:
        yield Heading("Asked without being written")
    for text in told:
        yield Verbatim(text)
    if report.unfinished:
        yield Heading("Not finished", 3)
        yield Points(tuple(f"{what} ({why})" for what, why in report.unfinished))
    yield Paragraph(f"Worked out in {report.seconds:.1f} s.")


def _row(report: Report, verdict: Verdict) -> tuple[str, ...]:
    line = report.program.source.position(verdict.item.span.start).line
    word = _VERDICTS[verdict.verdict]
    return verdict.name, str(line), property_text(verdict.item), word, _how(verdict)


def _how(verdict: Verdict) -> str:
    match verdict.verdict:
        case "proved":
            if not verdict.exercised:
                return f"but never exercised: {idle_words(verdict)}"
            assert isinstance(verdict.answer, Never)
            return how_proved(verdict.answer)
        case "fails":
            return "the run below breaks it"
        case "holds":
            return f"for the first {verdict.scans or 0:,} scans; {_reason(verdict)}"
        case "unknown":
            return _reason(verdict)


def _reason(verdict: Verdict) -> str:
    reason: str = getattr(verdict.answer, "reason", "")
    return reason


def proof_words(report: Report) -> str:
    """How many properties have which verdict, in one line."""
    counts = {word: sum(v.verdict == word for v in report.verdicts) for word in ORDER}
    told = [f"{counts[word]} {_VERDICTS[word]}" for word in ORDER if counts[word]]
    return ", ".join(told) or "no properties are stated"
