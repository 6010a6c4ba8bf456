"""Explanations as the JSON that `rungs why --json` prints.

Apart from the sentences, since pydantic takes longer to load than most explanations take to find.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import count
from typing import Literal, assert_never

from pydantic import BaseModel

from rungs.language.words import clock_text
from rungs.prove.why.history import History
from rungs.prove.why.nodes import (
    Alterations,
    Cause,
    Change,
    Either,
    Explanation,
    Hand,
    Kind,
    Moment,
    Reason,
    Together,
)
from rungs.report.model import Document
from rungs.report.why import why_text
from rungs.report.why_words import caption


class MomentModel(BaseModel):
    """A scan: run time in ms, its number, and the local wall time in ISO 8601."""

    t_ms: int
    scan: int
    wall: str


class WhyRungModel(BaseModel):
    """A rung, and the line on which it begins."""

    number: int
    label: str
    line: int


class CauseModel(BaseModel):
    """A contact that counts: as written, whether it conducts, and why if that was followed.

    `way` numbers the ways through the rung: causes with different numbers each do alone. `told`
    False marks an open contact that keeps the rung open as well.
    """

    contact: str
    conducts: bool
    way: int
    told: bool
    held: bool
    why: WhyNodeModel | None


class WhyNodeModel(BaseModel):
    """Why a device stood as it did in one scan.

    `how` names the kind of reason and `detail` holds its numbers and words. `since` is when it took
    this value; `decided` the scan in which `rung` gave it.
    """

    device: str
    what: Kind
    value: bool | int
    at: MomentModel
    since: MomentModel | None
    how: str
    detail: dict[str, bool | int | str | None]
    rung: WhyRungModel | None
    decided: MomentModel | None
    causes: list[CauseModel]
    cut: bool


class ChangeModel(BaseModel):
    """One thing to do that alters the device; not `lasting` means for a moment only."""

    hand: Hand
    name: str
    lasting: bool


class PassingModel(BaseModel):
    """When the device changes with all hands off, and whose time comes then."""

    at: MomentModel
    names: list[str]


class WhyModel(Document):
    """What `rungs why --json` prints. `checked` is whether every step stood up to re-evaluation."""

    kind: Literal["why"] = "why"
    file: str
    device: str
    what: Kind
    value: bool | int
    text: str
    checked: bool
    explanation: WhyNodeModel
    changes: list[ChangeModel]
    pair: list[ChangeModel] | None
    passing: PassingModel | None
    restless: bool


def why_model(
    history: History,
    explanation: Explanation,
    found: Alterations,
    checked: bool,
    wall: bool = True,
) -> WhyModel:
    """The explanation as a document."""
    return WhyModel(
        file=history.program.source.name,
        device=explanation.fact.name,
        what=explanation.fact.kind,
        value=explanation.value,
        text=why_text(history, explanation, found, wall),
        checked=checked,
        explanation=_node(history, explanation),
        changes=[_change(change) for change in found.changes],
        pair=None if found.pair is None else [_change(change) for change in found.pair],
        passing=None
        if found.passing is None
        else PassingModel(at=_moment(history, found.passing.at), names=list(found.passing.names)),
        restless=found.restless,
    )


def _change(change: Change) -> ChangeModel:
    return ChangeModel(hand=change.hand, name=change.name, lasting=change.lasting)


def _moment(history: History, moment: Moment) -> MomentModel:
    zone = history.calendar.zone
    day, ms = zone.local(moment.wall)
    wall = f"{day.isoformat()}T{clock_text(ms, thousandths=True)}"
    return MomentModel(t_ms=moment.t, scan=moment.scan, wall=wall)


def _node(history: History, each: Explanation) -> WhyNodeModel:
    rung = each.rung
    source = history.program.source
    return WhyNodeModel(
        device=each.fact.name,
        what=each.fact.kind,
        value=each.value,
        at=_moment(history, each.at),
        since=None if each.since is None else _moment(history, each.since),
        how=type(each.how).__name__.lower(),
        detail={slot: getattr(each.how, slot) for slot in type(each.how).__slots__},
        rung=None
        if rung is None
        else WhyRungModel(
            number=rung.number, label=rung.label, line=source.position(rung.span.start).line
        ),
        decided=None if each.decided is None else _moment(history, each.decided),
        causes=list(_causes(history, each.reason, 0, True, count(1))),
        cut=each.cut,
    )


def _causes(
    history: History, reason: Reason | None, way: int, told: bool, ways: Iterator[int]
) -> Iterator[CauseModel]:
    """The causes of a reason in one list, each with the way that it belongs to; `ways` has the
    numbers of further ways."""
    match reason:
        case None:
            return
        case Cause():
            yield CauseModel(
                contact=caption(reason.leaf) or reason.fact.name,
                conducts=reason.conducts,
                way=way,
                told=told,
                held=reason.held,
                why=None if reason.why is None else _node(history, reason.why),
            )
        case Together():
            for part in reason.parts:
                yield from _causes(history, part, way, told, ways)
        case Either():
            for index, part in enumerate((*reason.parts, *reason.others)):
                inner = way if index == 0 else next(ways)
                yield from _causes(history, part, inner, told and index < len(reason.parts), ways)
        case _:
            assert_never(reason)
