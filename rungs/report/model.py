"""The JSON that leaves the program: pydantic models, each with a version and a published schema."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel, ConfigDict

from rungs.findings import CODES, Finding
from rungs.program.nodes import Program
from rungs.report.scenarios import wall_text
from rungs.scan.scenario import Broken, ScenarioResult, Seen, StepResult
from rungs.source import Source


class Document(BaseModel):
    """Every document names its kind and the version of its form."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    schema_version: Literal[1] = 1


class PlaceModel(BaseModel):
    """A place in the file: lines and columns from 1; the end is just behind the last character."""

    line: int
    column: int
    end_line: int
    end_column: int


class RelatedModel(PlaceModel):
    """Another place that takes part in a finding."""

    words: str


class FindingModel(PlaceModel):
    """One finding."""

    code: str
    severity: Literal["error", "warning", "note"]
    title: str
    message: str
    effect: str
    fix: str
    file: str
    related: list[RelatedModel]


class CheckModel(Document):
    """What `rungs check --json` prints, and every other verb for a file with errors."""

    kind: Literal["check"] = "check"
    file: str
    ok: bool
    findings: list[FindingModel]


class SeenModel(BaseModel):
    """One contact of an expectation or a property, as it stood."""

    contact: str
    conducts: bool
    state: str
    rung: int | None
    scan: int | None


class StepModel(BaseModel):
    """One step of a scenario that was played. `t_ms` is simulated time since the beginning."""

    line: int
    step: str
    passed: bool | None
    t_ms: int
    scan: int
    wall: str
    seen: list[SeenModel]
    settled: bool


class BrokenModel(BaseModel):
    """A property that broke while a scenario was played, or an assumption that was contradicted.

    `t_ms` and `scan` are those of the first scan after which it did not hold; `during_line` is the
    line of the step that was being carried out, None at power-up.
    """

    line: int
    property: Literal["never", "always", "require", "assume"]
    label: str
    t_ms: int
    scan: int
    wall: str
    during_line: int | None
    seen: list[SeenModel]


class ScenarioModel(BaseModel):
    """One scenario that was played. From the scan on that contradicted an assumption, if one did,
    no property was watched."""

    label: str
    line: int
    passed: bool
    expectations: int
    steps: list[StepModel]
    broken: list[BrokenModel] = []
    contradicted: BrokenModel | None = None


class TestModel(Document):
    """What `rungs test --json` prints."""

    kind: Literal["test"] = "test"
    file: str
    passed: bool
    scenarios: list[ScenarioModel]
    findings: list[FindingModel]


class TraceModel(Document):
    """What `rungs trace --json` prints: one row a scan, `t_ms` and then the contacts as 0 and 1."""

    kind: Literal["trace"] = "trace"
    file: str
    period_ms: int
    columns: list[str]
    rows: list[list[int]]


class RungModel(BaseModel):
    """One rung that was drawn."""

    number: int
    label: str
    lines: list[str]


class DrawingModel(Document):
    """What `rungs draw --json` prints."""

    kind: Literal["drawing"] = "drawing"
    file: str
    title: str
    width: int
    rungs: list[RungModel]


DOCUMENTS: dict[str, type[Document]] = {
    "check": CheckModel,
    "test": TestModel,
    "trace": TraceModel,
    "drawing": DrawingModel,
}


def finding_model(finding: Finding, source: Source) -> FindingModel:
    """A finding with its places as lines and columns."""
    start, end = source.position(finding.span.start), source.position(finding.span.end)
    related = []
    for span, words in finding.related:
        first, last = source.position(span.start), source.position(span.end)
        related.append(
            RelatedModel(
                line=first.line,
                column=first.column,
                end_line=last.line,
                end_column=last.column,
                words=words,
            )
        )
    return FindingModel(
        code=finding.code,
        severity=finding.severity,
        title=CODES[finding.code].title,
        message=finding.message,
        effect=finding.effect,
        fix=finding.fix,
        file=source.name,
        line=start.line,
        column=start.column,
        end_line=end.line,
        end_column=end.column,
        related=related,
    )


def finding_models(findings: tuple[Finding, ...], source: Source) -> list[FindingModel]:
    """All findings of a file."""
    return [finding_model(finding, source) for finding in findings]


def check_model(source: Source, findings: tuple[Finding, ...]) -> CheckModel:
    """The outcome of a check."""
    ok = not any(f.severity == "error" for f in findings)
    return CheckModel(file=source.name, ok=ok, findings=finding_models(findings, source))


def _wall(result: StepResult | Broken) -> str:
    return f"{result.wall[0].isoformat()}T{wall_text(result)}"


def _seen(seen: tuple[Seen, ...]) -> list[SeenModel]:
    return [
        SeenModel(contact=s.contact, conducts=s.conducts, state=s.state, rung=s.rung, scan=s.scan)
        for s in seen
    ]


def _step(result: StepResult, source: Source) -> StepModel:
    return StepModel(
        line=source.position(result.step.span.start).line,
        step=result.text,
        passed=result.passed,
        t_ms=result.t,
        scan=result.scan,
        wall=_wall(result),
        seen=_seen(result.seen),
        settled=result.settled,
    )


def _broken(broken: Broken, source: Source) -> BrokenModel:
    during = broken.during
    return BrokenModel(
        line=source.position(broken.property.span.start).line,
        property=broken.property.kind,
        label=broken.property.label,
        t_ms=broken.t,
        scan=broken.scan,
        wall=_wall(broken),
        during_line=None if during is None else source.position(during.span.start).line,
        seen=_seen(broken.seen),
    )


def test_model(
    program: Program, results: tuple[ScenarioResult, ...], findings: tuple[Finding, ...]
) -> TestModel:
    """The outcome of all scenarios."""
    source = program.source
    scenarios = [
        ScenarioModel(
            label=result.scenario.label,
            line=source.position(result.scenario.span.start).line,
            passed=result.passed,
            expectations=result.expectations,
            steps=[_step(step, source) for step in result.steps],
            broken=[_broken(broken, source) for broken in result.broken],
            contradicted=None
            if result.contradicted is None
            else _broken(result.contradicted, source),
        )
        for result in results
    ]
    return TestModel(
        file=source.name,
        passed=all(result.passed for result in results),
        scenarios=scenarios,
        findings=finding_models(findings, source),
    )
