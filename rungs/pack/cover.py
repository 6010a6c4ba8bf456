"""What stands at the front and the back of a pack: what it is, what was found, what to beware of,
and the text of the panel itself."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from textwrap import dedent

from rungs.pack.changes import Changes, Effect
from rungs.pack.restore import Revision
from rungs.papers.blocks import (
    Block,
    Caution,
    Heading,
    Paper,
    Paragraph,
    Points,
    Table,
    Verbatim,
    counted,
)
from rungs.program.nodes import Program
from rungs.report.runs import run_text
from rungs.scan.scenario import ScenarioResult

CAUTIONS = (
    "A program or a relay board is never the only safety function. Emergency stops, guards and "
    "limit switches that keep people from harm are hard-wired and act without any program.",
    "Stop devices are wired normally closed, so that a broken wire or a lost supply stops.",
    "Mains, motors, gates and hoists can hurt and kill. Local codes and licensed practice decide "
    "what may be built, by whom, and who checks it.",
    "What is proved here is proved of the program. Whether the panel is wired as drawn only the "
    "checkout on the real panel shows.",
    "A paper is true of one text of the program: compare the digest on the cover with the file.",
)


@dataclass(frozen=True, slots=True)
class Status:
    """One line of the cover: what was looked at, how it came out, and whether that is well."""

    what: str
    result: str
    well: bool


def cover_paper(
    program: Program, digest: str, at: str, tool: str, statuses: Sequence[Status], number: int
) -> Paper:
    """The first page."""
    site = program.site
    place = ", ".join(part for part in (site.label, site.zone) if part)
    facts = (
        ("panel", program.title or program.source.name),
        ("site", place),
        ("file", program.source.name),
        ("sha256 of the file", digest),
        ("handover", f"number {number}, {at}"),
        ("inputs, outputs", f"{len(program.inputs)}, {len(program.outputs)}"),
        ("made by", tool),
    )
    rows = tuple((s.what, s.result, "" if s.well else "LOOK HERE") for s in statuses)
    return Paper(
        "cover",
        "Cover",
        (
            Table("facts", ("what", "which"), facts),
            Heading("State at handover"),
            Table("state", ("what was looked at", "how it came out", "note"), rows),
        ),
    )


def cautions_paper(comments: Sequence[str]) -> Paper:
    """The cautions that go with every panel, and those that stand in the file."""
    blocks: list[Block] = [Caution(text) for text in CAUTIONS]
    if comments:
        blocks += [Heading("What the file says"), *(Paragraph(text) for text in comments)]
    return Paper("cautions", "Cautions", tuple(blocks))


def file_cautions(program: Program) -> tuple[str, ...]:
    """The paragraphs at the head of the file that speak of danger, as they were written."""
    paragraphs: list[list[str]] = [[]]
    for number in range(1, program.source.line_count + 1):
        line = program.source.line(number).strip()
        if not line.startswith("#"):
            break
        words = line.lstrip("#").strip()
        if words:
            paragraphs[-1].append(words)
        else:
            paragraphs.append([])
    told = [" ".join(lines) for lines in paragraphs if lines]
    return tuple(text for text in told if "caution" in text.casefold())


def scenario_paper(results: Sequence[ScenarioResult]) -> Paper:
    """Every scenario of the file and whether it passes."""
    rows = tuple(
        (r.scenario.label, str(r.expectations), "passes" if r.passed else "FAILS") for r in results
    )
    failed = [
        f"“{r.scenario.label}”: {step.text}"
        for r in results
        for step in r.steps
        if step.passed is False
    ]
    broken = [
        f"“{r.scenario.label}”: “{b.property.label}” does not hold"
        for r in results
        for b in r.broken
    ]
    blocks: list[Block] = [
        Table(
            "scenarios",
            ("scenario", "expectations", "result"),
            rows,
            numbers=(1,),
            none="The file has no scenarios.",
        )
    ]
    if failed or broken:
        blocks += [Heading("What failed"), Points((*failed, *broken))]
    return Paper("scenarios", "Scenarios", tuple(blocks))


def source_paper(program: Program, digest: str) -> Paper:
    """The text of the panel, with the digest of its file."""
    text = program.source.text.rstrip("\n")
    lines = text.split("\n")
    digits = len(str(len(lines)))
    numbered = "\n".join(f"{n:>{digits}}  {line}" for n, line in enumerate(lines, 1))
    words = (
        f"{counted(len(lines), 'line')} of {program.source.name}; the file has the sha256 "
        f"{digest}. The numbers are not part of it."
    )
    return Paper("source", "Source", (Paragraph(words), Verbatim(numbered)))


# --- what changed -------------------------------------------------------------------------------


def history_paper(revisions: Sequence[Revision], found: Changes | None) -> Paper:
    """Every handover, newest first, and what the newest changed."""
    rows = tuple(
        (str(r.number), r.at, r.sha256[:12], counted(len(r.changes), "change") if r.changes else "")
        for r in reversed(revisions)
    )
    blocks: list[Block] = [
        Table(
            "revisions", ("handover", "when", "sha256 begins with", "changes"), rows, numbers=(0,)
        )
    ]
    if found is not None:
        blocks += _changes(found)
    for revision in reversed(revisions[:-1] if found is not None else revisions):
        if revision.changes:
            told = Points((*revision.changes, *revision.effects))
            blocks += [Heading(f"Handover {revision.number}", 3), told]
    return Paper("history", "Revision history", tuple(blocks))


def _changes(found: Changes) -> Iterator[Block]:
    yield Heading("What changed since the last handover")
    if not found.told:
        yield Paragraph("Nothing but comments or the layout of the text.")
        return
    yield Points(found.told)
    for effect in found.effects:
        yield Paragraph(effect_words(effect))
        if effect.witness is not None and found.panel is not None:
            end = f"{effect.output} is {'on' if effect.verdict == 'comes_on' else 'off'}"
            yield Verbatim(dedent("\n".join(run_text(found.panel, effect.witness, end))))


def effect_words(effect: Effect) -> str:
    """What a change does to one output, in a sentence."""
    match effect.verdict:
        case "same":
            return f"{effect.output} does the same as before (proved)."
        case "comes_on":
            return f"{effect.output} now comes on where it did not before, as in this run:"
        case "goes_off":
            return f"{effect.output} is now off where it was on before, as in this run:"
        case "not known":
            return (
                f"{effect.output}: whether it does the same as before was not found out "
                f"({effect.reason})."
            )


def effect_lines(found: Changes) -> tuple[str, ...]:
    """The effects as they are kept in the list of handovers, without their runs."""
    return tuple(effect_words(e).removesuffix(", as in this run:") for e in found.effects)
