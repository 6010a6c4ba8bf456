"""The week view as the JSON that `rungs week --json` prints.

Instants are local wall times with their offset, so that a reader needs no zone to tell the two
hours of an autumn night apart.
"""

from __future__ import annotations

from datetime import date
from typing import Literal

from pydantic import BaseModel

from rungs.language.words import clock_text
from rungs.report.model import Document
from rungs.report.proof_model import ClashModel, clash_model
from rungs.week.data import Decides, Kind, NightKind, OddKind, Row, Span, Week, time_text


class SpanModel(BaseModel):
    """Closed from `begin` up to `end`, ISO 8601; equal for an event. `before` and `after` say that
    it was closed before the week, or stays closed after it."""

    begin: str
    end: str
    before: bool
    after: bool


class WeekRowModel(BaseModel):
    """A clock or the coil of an output, and when it is closed."""

    name: str
    kind: Kind
    words: str
    label: str
    event: bool
    spans: list[SpanModel]


class WeekDayModel(BaseModel):
    """A date of the week, how long it is in ms, and its holiday."""

    day: date
    length_ms: int
    holiday: str


class DecisionModel(BaseModel):
    """What decides an output."""

    output: str
    by: Decides
    clocks: list[str]
    inputs: list[str]
    text: str


class OverlapModel(BaseModel):
    """Two windows of one output that are closed at once; `days` and `longest_ms` are those of the
    twelve months."""

    output: str
    one: str
    other: str
    spans: list[SpanModel]
    days: int
    longest_ms: int
    inside: str


class GapModel(BaseModel):
    """Short pauses between two windows of one output; `count` is that of the twelve months."""

    output: str
    after: str
    before: str
    spans: list[SpanModel]
    count: int
    longest_ms: int
    longest_on: date


class NightModel(BaseModel):
    """What a clock does in the night of a change; lengths in ms, 0 where there is no window."""

    clock: str
    kind: NightKind
    real_ms: int
    usual_ms: int
    text: str


class ChangeModel(BaseModel):
    """A change of the clocks; the wall times of `day` from `first` up to `last` are left out, or
    come twice."""

    at: str
    day: date
    first: str
    last: str
    missing: bool
    nights: list[NightModel]


class OddDayModel(BaseModel):
    """Something out of the ordinary on some dates; `clock` is empty for the whole panel."""

    kind: OddKind
    clock: str
    first: date
    last: date
    text: str


class SunRangeModel(BaseModel):
    """The earliest and the latest local time at which a sun clock begins or ends."""

    clock: str
    end: Literal["begins", "ends", "comes"]
    words: str
    earliest: str
    earliest_on: date
    latest: str
    latest_on: date


class WeekModel(Document):
    """What `rungs week --json` prints. There may be more `clashes` where `unknown` says that the
    search was cut off."""

    kind: Literal["week"] = "week"
    file: str
    title: str
    zone: str
    days: list[WeekDayModel]
    until: date
    rows: list[WeekRowModel]
    decisions: list[DecisionModel]
    overlaps: list[OverlapModel]
    gaps: list[GapModel]
    clashes: list[ClashModel]
    changes: list[ChangeModel]
    odd_days: list[OddDayModel]
    sun: list[SunRangeModel]
    problems: list[str]
    unknown: str


def week_model(week: Week, file: str) -> WeekModel:
    """A week as a document; `file` is the name of the panel's file."""

    def at(instant: int) -> str:
        day, ms = week.zone.local(instant)
        wall = clock_text(ms, thousandths=True)
        return f"{day.isoformat()}T{wall}{week.zone.offset_text(instant)}"

    def spans(many: tuple[Span, ...]) -> list[SpanModel]:
        return [
            SpanModel(begin=at(s.begin), end=at(s.end), before=s.before, after=s.after)
            for s in many
        ]

    def row(each: Row) -> WeekRowModel:
        return WeekRowModel(
            name=each.name,
            kind=each.kind,
            words=each.words,
            label=each.label,
            event=each.event,
            spans=spans(each.spans),
        )

    return WeekModel(
        file=file,
        title=week.title,
        zone=week.zone.key,
        days=[
            WeekDayModel(day=d.day, length_ms=d.end - d.begin, holiday=d.holiday) for d in week.days
        ],
        until=week.until,
        rows=[row(each) for each in week.rows],
        decisions=[
            DecisionModel(
                output=d.output,
                by=d.by,
                clocks=list(d.clocks),
                inputs=list(d.inputs),
                text=d.text,
            )
            for d in week.decisions
        ],
        overlaps=[
            OverlapModel(
                output=o.output,
                one=o.one,
                other=o.other,
                spans=spans(o.spans),
                days=o.days,
                longest_ms=o.longest,
                inside=o.inside,
            )
            for o in week.overlaps
        ],
        gaps=[
            GapModel(
                output=g.output,
                after=g.after,
                before=g.before,
                spans=spans(g.spans),
                count=g.count,
                longest_ms=g.longest,
                longest_on=g.longest_on,
            )
            for g in week.gaps
        ],
        clashes=[clash_model(fight) for fight in week.clashes],
        changes=[
            ChangeModel(
                at=at(c.at),
                day=c.day,
                first=time_text(c.first),
                last=time_text(c.last),
                missing=c.missing,
                nights=[
                    NightModel(
                        clock=n.clock, kind=n.kind, real_ms=n.real, usual_ms=n.usual, text=n.text
                    )
                    for n in c.nights
                ],
            )
            for c in week.changes
        ],
        odd_days=[
            OddDayModel(kind=n.kind, clock=n.clock, first=n.first, last=n.last, text=n.text)
            for n in week.notes
        ],
        sun=[
            SunRangeModel(
                clock=s.clock,
                end=s.end,
                words=s.words,
                earliest=time_text(s.earliest[0]),
                earliest_on=s.earliest[1],
                latest=time_text(s.latest[0]),
                latest_on=s.latest[1],
            )
            for s in week.sun
        ],
        problems=list(week.problems),
        unknown=week.unknown,
    )
