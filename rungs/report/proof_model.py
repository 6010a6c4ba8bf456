"""The JSON of `rungs prove`: verdicts and the answers to the ready questions."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel

from rungs.findings import Finding
from rungs.program.nodes import Program
from rungs.program.words import circuit_text
from rungs.prove.reach import Never
from rungs.prove.verdict import Verdict
from rungs.prove.whole import Report
from rungs.prove.witness import Witness, actuators
from rungs.report.model import Document, FindingModel, finding_models
from rungs.report.proofs import CAUTION, property_words
from rungs.report.runs import act_text, begin_text, standing


class ActModel(BaseModel):
    """What is done before the scan at `t_ms`: switches operated (true) or released, wires, or the
    power gone until `back_ms`."""

    t_ms: int
    words: str
    operate: dict[str, bool]
    wires: dict[str, str]
    back_ms: int | None = None


class RunModel(BaseModel):
    """A run from power-up that shows something in its last scan, at `end_ms`. `begin` is the wall
    time where that matters."""

    begin: str
    start_utc_ms: int | None
    acts: list[ActModel]
    end_ms: int


class PropertyModel(BaseModel):
    """The verdict on one property. `scans` goes with `holds`, `run` and `seen` with `fails`, and
    `idle` names what never comes, so that the property was never put to the test."""

    name: str
    line: int
    text: str
    verdict: Literal["proved", "fails", "holds", "unknown"]
    exercised: bool
    method: str = ""
    reason: str = ""
    scans: int | None = None
    run: RunModel | None = None
    seen: list[str] = []
    idle: list[str] = []
    exercise: RunModel | None = None
    covers: list[str]
    seconds: float


class FightModel(BaseModel):
    """Two rungs that pull one device both ways in one scan."""

    device: str
    latch_rung: int
    unlatch_rung: int
    wins: int
    sets: list[str]
    clears: list[str]
    when: list[str]
    run: RunModel


class SwapModel(BaseModel):
    """Two outputs that change over in one scan although a property keeps them apart."""

    property: str
    leaves: str
    comes: str
    run: RunModel


class StuckModel(BaseModel):
    """A coil that never comes on, or never goes off; not `known` if that was not decided."""

    device: str
    never: Literal["on", "off"]
    known: bool


class ProofModel(Document):
    """What `rungs prove --json` prints."""

    kind: Literal["prove"] = "prove"
    file: str
    period_ms: int
    properties: list[PropertyModel]
    contradicted: str
    fights: list[FightModel]
    swaps: list[SwapModel]
    stuck: list[StuckModel]
    unfinished: list[str]
    seconds: float
    caution: str
    findings: list[FindingModel]


def run_model(program: Program, witness: Witness) -> RunModel:
    """A run as JSON."""
    acts = [
        ActModel(
            t_ms=act.t,
            words=act_text(act, moved),
            operate=moved,
            wires=dict(act.wires),
            back_ms=act.back,
        )
        for act, moved in actuators(program, witness)
    ]
    return RunModel(
        begin=begin_text(program, witness),
        start_utc_ms=witness.start,
        acts=acts,
        end_ms=witness.end,
    )


def _property(report: Report, verdict: Verdict) -> PropertyModel:
    program, witness = report.program, verdict.witness
    tried = verdict.exercise.witness
    return PropertyModel(
        name=verdict.name,
        line=program.source.position(verdict.item.span.start).line,
        text=property_words(verdict.item),
        verdict=verdict.verdict,
        exercised=verdict.exercised,
        method=verdict.answer.method if isinstance(verdict.answer, Never) else "",
        reason=getattr(verdict.answer, "reason", ""),
        scans=verdict.scans,
        run=None if witness is None else run_model(program, witness),
        seen=[] if witness is None else standing(program, verdict.item, witness, report.period),
        idle=[circuit_text(circuit) for circuit in verdict.exercise.idle],
        exercise=None if tried is None or witness else run_model(program, tried),
        covers=list(verdict.covers),
        seconds=round(verdict.seconds, 3),
    )


def proof_model(report: Report, findings: tuple[Finding, ...]) -> ProofModel:
    """A whole report as JSON."""
    program = report.program
    return ProofModel(
        file=program.source.name,
        period_ms=report.period,
        properties=[_property(report, verdict) for verdict in report.verdicts],
        contradicted=report.wrong,
        fights=[
            FightModel(
                device=fight.device,
                latch_rung=fight.latch.number,
                unlatch_rung=fight.unlatch.number,
                wins=fight.wins.number,
                sets=list(fight.sets),
                clears=list(fight.clears),
                when=list(fight.when),
                run=run_model(program, fight.witness),
            )
            for fight in report.fights
        ],
        swaps=[
            SwapModel(
                property=swap.item.label or circuit_text(swap.item.circuit),
                leaves=swap.leaves,
                comes=swap.comes,
                run=run_model(program, swap.witness),
            )
            for swap in report.swaps
        ],
        stuck=[
            StuckModel(device=stuck.device.name, never=stuck.never, known=stuck.known)
            for stuck in report.stuck
        ],
        unfinished=[f"{what}: {why}" for what, why in report.unfinished],
        seconds=round(report.seconds, 3),
        caution=CAUTION,
        findings=finding_models(findings, program.source),
    )
