"""A narration as the JSON that `rungs narrate --json` prints.

Apart from the paper, since pydantic takes longer to load than most narrations take to work out.
"""

from __future__ import annotations

from pydantic import BaseModel

from rungs.findings import Finding
from rungs.narrate.data import (
    Aspect,
    Becomes,
    EventKind,
    FactKind,
    Narration,
    Part,
    Played,
    Sentence,
    Stated,
)
from rungs.narrate.words import Speaker
from rungs.report.model import Document, FindingModel, finding_models
from rungs.report.proof_model import ClashModel, clash_model


class EdgeModel(BaseModel):
    """A clock that moves in the same scan."""

    device: str
    kind: EventKind


class EventModel(BaseModel):
    """One thing that happens; no device for power."""

    kind: EventKind
    device: str
    also: list[EdgeModel]


class FactModel(BaseModel):
    """One contact as it stands before the event; for a count whether it is `number` or more."""

    device: str
    kind: FactKind
    value: bool
    number: int | None


class SentenceModel(BaseModel):
    """What an event does to a device, in data and in words.

    `condition` is a list of terms, each of facts that all hold, and null for always. `exact` False:
    never without the condition, and what decides under it shows at no contact.
    """

    event: EventModel
    device: str
    aspect: Aspect
    becomes: Becomes
    condition: list[list[FactModel]] | None
    exact: bool
    when: str
    text: str


class FollowerModel(BaseModel):
    """An output that is on just while the input or clock is closed (or open, with `inverse`)."""

    device: str
    inverse: bool


class PartModel(BaseModel):
    """The sentences of one input, clock or timer."""

    device: str
    follows: list[FollowerModel]
    sentences: list[SentenceModel]


class ConstantModel(BaseModel):
    """A device that never changes."""

    device: str
    on: bool


class UnworkedModel(BaseModel):
    """A device of which nothing is said, and why."""

    device: str
    reason: str


class NarrateModel(Document):
    """The sequence of operation. `complete` if no device was left out and nothing unfinished."""

    file: str
    title: str
    complete: bool
    situations: int
    power_up: list[SentenceModel]
    inputs: list[PartModel]
    clocks: list[PartModel]
    timers: list[PartModel]
    power_cut: list[SentenceModel]
    constants: list[ConstantModel]
    unworked: list[UnworkedModel]
    properties: tuple[Stated, ...]
    scenarios: tuple[Played, ...]
    conflicts: list[ClashModel]
    unfinished: list[str]
    findings: list[FindingModel]


def narrate_model(n: Narration, findings: tuple[Finding, ...] = ()) -> NarrateModel:
    """The model of a narration."""
    speak = Speaker(n.program)
    source, beside = n.program.source, n.beside
    return NarrateModel(
        file=source.name,
        title=n.program.title,
        complete=not n.unworked and not beside.unfinished,
        situations=n.situations,
        power_up=[_sentence(speak, each) for each in n.power_up.sentences],
        inputs=[_part(speak, each) for each in n.inputs],
        clocks=[_part(speak, each) for each in n.clocks],
        timers=[_part(speak, each) for each in n.timers],
        power_cut=[_sentence(speak, each) for each in n.power_cut.sentences],
        constants=[ConstantModel(device=c.device, on=c.on) for c in n.constants],
        unworked=[UnworkedModel(device=u.device, reason=u.reason) for u in n.unworked],
        properties=beside.properties,
        scenarios=beside.scenarios,
        conflicts=[clash_model(fight) for fight in beside.conflicts],
        unfinished=list(beside.unfinished),
        findings=finding_models(findings, source),
    )


def _part(speak: Speaker, part: Part) -> PartModel:
    return PartModel(
        device=part.device,
        follows=[FollowerModel(device=f.device, inverse=f.inverse) for f in part.followers],
        sentences=[_sentence(speak, each) for each in part.sentences],
    )


def _sentence(speak: Speaker, each: Sentence) -> SentenceModel:
    event = each.event
    condition = None
    if each.condition is not None:
        condition = [
            [
                FactModel(
                    device=fact.name,
                    kind=fact.kind,
                    value=fact.value,
                    number=fact.number if fact.kind == "count" else None,
                )
                for fact in term
            ]
            for term in each.condition
        ]
    return SentenceModel(
        event=EventModel(
            kind=event.kind,
            device=event.device,
            also=[EdgeModel(device=name, kind=kind) for name, kind in event.also],
        ),
        device=each.device,
        aspect=each.aspect,
        becomes=each.becomes,
        condition=condition,
        exact=each.exact,
        when=speak.event(event),
        text=speak.sentence(each),
    )
