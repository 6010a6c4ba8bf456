"""The JSON of `rungs prove`: verdicts and the answers to the ready questions."""

from __future__ import annotations

from typing import Literal

from pydantic import BaseModel

from rungs.findings import Finding
from rungs.program.nodes import Program
from rungs.program.words import circuit_text, property_text
from rungs.prove.reach import Never
from rungs.prove.ready import Fight
from rungs.prove.verdict import Verdict
from rungs.prove.whole import Report
from rungs.prove.witness import Witness, actuators
from rungs.report.model import Document, FindingModel, finding_models
from rungs.report.proofs import CAUTION
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


class ClashModel(BaseModel):
    """Two rungs that pull one device both ways in one scan."""

    device: str
    latch_rung: int
    unlatch_rung: int
    wins: int
    sets: list[str]
    clears: list[str]
    when: list[str]


class FightModel(ClashModel):
    """The same with the run that shows it."""

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


class ChatterModel(BaseModel):
    """Devices that never come to rest with all switches still; `round` is what is on in each scan
    of the round."""

    devices: list[str]
    round: list[list[str]]
    run: RunModel


class CutModel(BaseModel):
    """What a power cut does to an output or relay, in how many situations; a run for each."""

    device: str
    comes_on: int
    goes_off: int
    same: int
    comes_on_run: RunModel | None = None
    goes_off_run: RunModel | None = None


class WireModel(BaseModel):
    """A broken or shorted wire and one output: what may happen as the fault comes, by whether it
    is never made, not seen though not ruled out, or seen in a run."""

    input: str
    fault: Literal["broken", "shorted"]
    output: str
    danger: str
    steps: dict[str, str]
    can_come_on: bool
    can_go_off: bool
    complete: bool
    run: RunModel | None = None


class StopModel(BaseModel):
    """An input that stops something: what it stops, and what a broken wire does not stop."""

    input: str
    side: Literal["NO", "NC"]
    stops: list[str]
    not_when_broken: list[str]


class RaceModel(BaseModel):
    """Two inputs that lead elsewhere in one scan than one after the other. `ends` has for each
    device whether it is on with both at once, with the first before, and with the second before."""

    first: str
    second: str
    kind: str
    orders_agree: bool
    like: str
    ends: dict[str, list[bool]]
    run: RunModel


class OrderModel(BaseModel):
    """What moving rung `below` directly above rung `above` would change."""

    above: int
    below: int
    answer: str
    proved: bool
    outputs: list[str]
    reason: str
    run: RunModel | None = None


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
    situations: int
    every_situation: bool
    chatters: list[ChatterModel]
    cuts: list[CutModel]
    wires: list[WireModel]
    stops: list[StopModel]
    races: list[RaceModel]
    orders: list[OrderModel]
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


def clash_model(fight: Fight) -> ClashModel:
    """A fight as JSON, without its run."""
    return ClashModel(
        device=fight.device,
        latch_rung=fight.latch.number,
        unlatch_rung=fight.unlatch.number,
        wins=fight.wins.number,
        sets=list(fight.sets),
        clears=list(fight.clears),
        when=list(fight.when),
    )


def _property(report: Report, verdict: Verdict) -> PropertyModel:
    program, witness = report.program, verdict.witness
    tried = verdict.exercise.witness
    return PropertyModel(
        name=verdict.name,
        line=program.source.position(verdict.item.span.start).line,
        text=property_text(verdict.item),
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
            FightModel(**clash_model(f).model_dump(), run=run_model(program, f.witness))
            for f in report.fights
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
        situations=report.situations,
        every_situation=report.every_situation,
        chatters=_chatters(report),
        cuts=_cuts(report),
        wires=_wires(report),
        stops=[
            StopModel(
                input=stop.input,
                side=stop.side,
                stops=list(stop.stops),
                not_when_broken=list(stop.not_when_broken),
            )
            for stop in (report.wires.stops if report.wires else ())
        ],
        races=_races(report),
        orders=_orders(report),
        unfinished=[f"{what}: {why}" for what, why in report.unfinished],
        seconds=round(report.seconds, 3),
        caution=CAUTION,
        findings=finding_models(findings, program.source),
    )


def _run(report: Report, witness: Witness | None) -> RunModel | None:
    return None if witness is None else run_model(report.program, witness)


def _chatters(report: Report) -> list[ChatterModel]:
    return [
        ChatterModel(
            devices=list(chatter.devices),
            round=[sorted(on) for on in chatter.round],
            run=run_model(report.program, chatter.witness),
        )
        for chatter in (report.chatters.found if report.chatters else ())
    ]


def _cuts(report: Report) -> list[CutModel]:
    return [
        CutModel(
            device=device.name,
            comes_on=device.comes_on.count if device.comes_on else 0,
            goes_off=device.goes_off.count if device.goes_off else 0,
            same=device.same,
            comes_on_run=_run(report, device.comes_on.witness if device.comes_on else None),
            goes_off_run=_run(report, device.goes_off.witness if device.goes_off else None),
        )
        for device in (report.cuts.devices if report.cuts else ())
    ]


def _wires(report: Report) -> list[WireModel]:
    return [
        WireModel(
            input=cell.input,
            fault=cell.fault,
            output=cell.output,
            danger=cell.danger,
            steps=dict(cell.steps),
            can_come_on=cell.can_come_on,
            can_go_off=cell.can_go_off,
            complete=cell.complete,
            run=_run(report, cell.example.witness if cell.example else None),
        )
        for cell in (report.wires.cells if report.wires else ())
    ]


def _races(report: Report) -> list[RaceModel]:
    return [
        RaceModel(
            first=race.first,
            second=race.second,
            kind=race.kind,
            orders_agree=race.orders_agree,
            like=race.like,
            ends={end.name: [end.together, end.first, end.second] for end in race.ends},
            run=run_model(report.program, race.together),
        )
        for race in (report.races.found if report.races else ())
    ]


def _orders(report: Report) -> list[OrderModel]:
    return [
        OrderModel(
            above=pair.above.number,
            below=pair.below.number,
            answer=pair.answer,
            proved=pair.proved,
            outputs=list(pair.outputs),
            reason=pair.reason,
            run=_run(report, pair.witness),
        )
        for pair in (report.orders.pairs if report.orders else ())
    ]
