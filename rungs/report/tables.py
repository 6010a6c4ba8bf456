"""What `rungs compile --json` and `rungs compare --json` print."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel

from rungs.findings import Finding
from rungs.program.nodes import Program
from rungs.report.model import Document, FindingModel, finding_models
from rungs.table.compare import Comparison
from rungs.table.compile import Outcome
from rungs.table.head import sha256
from rungs.table.model import Kind, Proof, TableFile
from rungs.table.truth import TruthTable


class AnswerModel(BaseModel):
    """Whether one kind of table, or one board, fits, and why not."""

    kind: Kind
    board: str
    fits: bool
    states: int
    rows: int
    findings: list[FindingModel]


class CompileModel(Document):
    """What `rungs compile --json` prints.

    `kind` is the kind of the table that was made (the plainest that fits, where none was asked
    for), null if none was; `states` and `rows` are its numbers of them, `proof` what was proved of
    it before it was written, `files` what was written, `table` the table itself. `kinds` and
    `boards` are the answers for each.
    """

    document: Literal["compile"] = "compile"
    kind: Kind | None
    board: str
    file: str
    sha256: str
    reachable_states: int
    states: int
    rows: int
    proof: Proof | None
    files: list[str]
    table: TableFile | None
    kinds: list[AnswerModel]
    boards: list[AnswerModel]
    findings: list[FindingModel]


class TruthModel(Document):
    """What `rungs compile --every-row --json` prints: one row a pattern, in counting order, the
    signals and then the outputs."""

    kind: Literal["truth"] = "truth"
    file: str
    sha256: str
    signals: list[str]
    outputs: list[str]
    rows: list[list[int]]
    findings: list[FindingModel]


class CompareModel(Document):
    """What `rungs compare --json` prints. `rows` are the rows of the table concerned, from 1."""

    document: Literal["compare"] = "compare"
    verdict: Literal["same", "differs", "undecided"]
    file: str
    table: str
    kind: Kind
    head: list[str]
    story: list[str]
    what: str
    rows: list[int]
    notes: list[str]
    proof: Proof | None


def _answer(program: Program, outcome: Outcome) -> AnswerModel:
    table = outcome.table
    return AnswerModel(
        kind=outcome.kind,
        board=outcome.board,
        fits=table is not None,
        states=0 if table is None else len(table.states) or 1,
        rows=0 if table is None else table.row_count,
        findings=finding_models(outcome.findings, program.source),
    )


def compile_model(
    program: Program,
    chosen: Outcome | None,
    outcomes: list[Outcome],
    boards: list[Outcome],
    files: list[str],
) -> CompileModel:
    """The outcome of a compilation; `chosen` is the one whose table is shown, if there is one."""
    table = None if chosen is None else chosen.table
    shown = outcomes if chosen is None else [chosen]
    findings = tuple(finding for outcome in shown for finding in outcome.findings)
    return CompileModel(
        kind=None if chosen is None else chosen.kind,
        board="" if chosen is None else chosen.board,
        file=program.source.name,
        sha256=sha256(program),
        reachable_states=0 if chosen is None else chosen.reachable,
        states=0 if table is None else len(table.states) or 1,
        rows=0 if table is None else table.row_count,
        proof=None if table is None else table.proof,
        files=files,
        table=table,
        kinds=[_answer(program, outcome) for outcome in outcomes],
        boards=[_answer(program, outcome) for outcome in boards],
        findings=finding_models(findings, program.source),
    )


def truth_model(program: Program, table: TruthTable, findings: tuple[Finding, ...]) -> TruthModel:
    """A truth table with every pattern."""
    return TruthModel(
        file=program.source.name,
        sha256=sha256(program),
        signals=list(table.signals),
        outputs=list(table.outputs),
        rows=[[*map(int, pattern), *map(int, values)] for pattern, values in table.rows()],
        findings=finding_models(findings, program.source),
    )


def compare_model(
    program: Program, table_name: str, table: TableFile, found: Comparison
) -> CompareModel:
    """The outcome of a comparison."""
    return CompareModel(
        verdict=found.verdict,
        file=program.source.name,
        table=table_name,
        kind=table.kind,
        head=list(found.head),
        story=list(found.story),
        what=found.what,
        rows=list(found.rows),
        notes=list(found.notes),
        proof=found.proof,
    )
