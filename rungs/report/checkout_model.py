"""What `rungs checkout --json` prints: the plan, and how each step stands by the record."""

from __future__ import annotations

from pathlib import Path
from typing import Literal

from pydantic import BaseModel

from rungs.checkout.merged import merge
from rungs.checkout.plan import Part, Plan
from rungs.checkout.record import AsFound, Expected, Record, expected_of, places
from rungs.program.nodes import Program
from rungs.report.model import Document


class AnswerModel(BaseModel):
    """One answer to a step, with what was seen that should not be. `at` is a local time with its
    offset."""

    result: Literal["pass", "fail", "skipped", "note"]
    as_found: list[AsFound]
    note: str
    who: str
    at: str


class StaleModel(BaseModel):
    """An answer that does not count any more: the number that its step had, and why."""

    number: int
    result: Literal["pass", "fail", "skipped", "note"]
    at: str
    why: str


class CheckoutStepModel(BaseModel):
    """One step. `key` is what is done and seen; `place` tells it from alike steps of the tour.

    `rungs` are numbers of rungs that decide what is seen, `rows` those of the transition table
    that are taken here first. `by_hand` is false where two things would have to come in one scan;
    nobody is asked to do those, so they never have a result.
    `result` is that of the last answer, null without one; `older` tells that it was given to an
    older text of the panel in which everything up to here was the same.
    """

    number: int
    part: Part
    key: str
    place: str
    do: list[str]
    see: list[Expected]
    rows: list[int]
    rungs: list[int]
    terminals: list[str]
    by_hand: bool
    notes: list[str]
    result: Literal["pass", "fail", "skipped"] | None
    older: bool
    answers: list[AnswerModel]


class CheckoutModel(Document):
    """What `rungs checkout --json` prints.

    `tour` is the number of steps of the functions, `bound` one that no tour can be shorter than.
    Of the `table_rows` of the transition table the tour takes `covered` by hand, `together` need
    two things in one scan, and `left_out` says why others are not taken. `recorded` tells whether
    there is a record; without one no step has a result.
    """

    document: Literal["checkout"] = "checkout"
    file: str
    title: str
    program_sha256: str
    tour: int
    bound: int
    table_rows: int
    covered: int
    together: int
    left_out: list[str]
    parts: list[list[str]]
    recorded: bool
    steps: list[CheckoutStepModel]
    stale: list[StaleModel]


def checkout_model(program: Program, plan: Plan, record: Record | None) -> CheckoutModel:
    """The model of a plan, with what a record says of it."""
    merged = None if record is None else merge(plan, record)
    states = {} if merged is None else {state.number: state for state in merged.steps}
    steps = []
    for number, (step, place) in enumerate(zip(plan.steps, places(plan), strict=True), 1):
        state = states.get(number)
        result = None if state is None or state.result == "note" else state.result
        answers = [
            AnswerModel(result=e.result, as_found=list(e.as_found), note=e.note, who=e.who, at=e.at)
            for e in (() if state is None else state.entries)
        ]
        steps.append(
            CheckoutStepModel(
                number=number,
                part=step.part,
                key=step.key,
                place=place,
                do=list(step.do),
                see=[expected_of(sight) for sight in step.sights],
                rows=list(step.rows),
                rungs=list(step.rungs),
                terminals=list(step.terminals),
                by_hand=step.by_hand,
                notes=list(step.notes),
                result=result,
                older=state is not None and state.older,
                answers=answers,
            )
        )
    stale = [
        StaleModel(number=s.entry.number, result=s.entry.result, at=s.entry.at, why=s.why)
        for s in (() if merged is None else merged.stale)
    ]
    return CheckoutModel(
        file=Path(program.source.name).name,
        title=plan.title,
        program_sha256=plan.digest,
        tour=plan.tour,
        bound=plan.bound,
        table_rows=plan.table_rows,
        covered=plan.covered,
        together=plan.together,
        left_out=list(plan.left_out),
        parts=[list(part) for part in plan.parts],
        recorded=record is not None,
        steps=steps,
        stale=stale,
    )
