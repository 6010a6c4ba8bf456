"""The record of a checkout: what was done, seen and found at a panel, step by step, as one file.

An answer that somebody gave at a cabinet cannot be had again from a desk, so every answer is on
disk before the next step is shown, and nothing that was ever answered is taken away: a step that
failed and then passed keeps both entries, and the last one counts.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Final, Literal

from pydantic import AfterValidator, BaseModel, ConfigDict, Field, StringConstraints

from rungs.cells import cut, safe
from rungs.checkout.plan import Part as PlanPart
from rungs.checkout.plan import Plan, Sight, Step

VERSION: Final = 1
LARGEST: Final = 16_000_000  # bytes of a record; more is neither read nor written
LONGEST_NOTE: Final = 1_000  # characters
LONGEST_NAME: Final = 100
_LONGEST_TITLE: Final = 200

Result = Literal["pass", "fail", "skipped", "note"]

_Digest = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{64}$")]
_Key = Annotated[str, StringConstraints(pattern=r"^[0-9a-f]{16}$")]


def _moment(text: str) -> str:
    at = datetime.fromisoformat(text)
    if at.tzinfo is None:
        raise ValueError("a local time needs its offset, as 2026-11-25T22:45:00+01:00")
    return text


def _file_name(text: str) -> str:
    if "/" in text or "\\" in text:
        raise ValueError("the name of a file, without its folder")
    return text


_When = Annotated[
    str,
    StringConstraints(pattern=r"^\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d[+-]\d\d:\d\d$"),
    AfterValidator(_moment),
]


class _Part(BaseModel):
    """Frozen, and with nothing in it that is not described here."""

    model_config = ConfigDict(frozen=True, extra="forbid", strict=True)


class Expected(_Part):
    """What an output had to show: its coil, and its load by the contact side (None where the
    panel declares no load)."""

    output: str
    terminal: str
    coil: bool
    load: bool | None = None


class AsFound(_Part):
    """What an output showed instead; None where it was as it had to be, or was not looked at."""

    output: str
    terminal: str
    coil: bool | None = None
    load: bool | None = None


class Entry(_Part):
    """One answer to one step.

    `step` is the key of what was done and seen; `place` also depends on the steps before it that
    it builds on, so it tells two alike steps of a tour apart. `result` "note" is a remark that
    leaves the step's result as it was. `program_sha256` is the text that the plan was made from.
    """

    step: _Key
    place: _Key
    number: int = Field(ge=1, le=1_000_000)
    part: PlanPart
    do: tuple[str, ...]
    expected: tuple[Expected, ...]
    result: Result
    as_found: tuple[AsFound, ...] = ()
    note: str = ""
    who: str = ""
    at: _When
    program_sha256: _Digest


class PlannedStep(_Part):
    """A step of the plan that is walked."""

    part: PlanPart
    do: tuple[str, ...]
    expected: tuple[Expected, ...]
    rows: tuple[int, ...] = ()
    rungs: tuple[int, ...] = ()
    terminals: tuple[str, ...] = ()
    by_hand: bool = True
    notes: tuple[str, ...] = ()


class KeptPlan(_Part):
    """The plan that is walked. It is kept since a tour is the best that was found in some time,
    and one that is made anew may go another way. `sha256` is of its steps."""

    title: str
    steps: tuple[PlannedStep, ...]
    tour: int
    bound: int
    table_rows: int
    covered: int
    together: int
    left_out: tuple[str, ...] = ()
    parts: tuple[tuple[str, ...], ...] = ()
    sha256: _Digest


class Record(_Part):
    """A whole record. `file` is the panel file's name without its folder; `who` is the name that
    was given last; `program_sha256` is the text that was worked with last, and `plan` its plan."""

    schema_version: Literal[1] = 1
    document: Literal["checkout"] = "checkout"
    title: str = ""
    file: Annotated[str, AfterValidator(_file_name)] = ""
    program_sha256: _Digest
    board: str = ""
    who: str = ""
    started: _When
    updated: _When
    plan: KeptPlan | None = None
    entries: tuple[Entry, ...] = ()


# --- making one


def new_record(plan: Plan, file: str, at: str, who: str = "", board: str = "") -> Record:
    """An empty record for a plan. Of `file` the name alone is kept; `at` is a local time with its
    offset, to the second."""
    name = safe(Path(file.replace("\\", "/")).name)
    title = cut(safe(plan.title), _LONGEST_TITLE, tail=0)
    return Record(
        title=title,
        file=name,
        program_sha256=plan.digest,
        board=words_of(board, _LONGEST_TITLE),
        who=words_of(who, LONGEST_NAME),
        started=at,
        updated=at,
        plan=kept_plan(plan),
    )


def kept_plan(plan: Plan) -> KeptPlan:
    """A plan as it stands in a record."""
    steps = tuple(
        PlannedStep(
            part=step.part,
            do=step.do,
            expected=tuple(expected_of(sight) for sight in step.sights),
            rows=step.rows,
            rungs=step.rungs,
            terminals=step.terminals,
            by_hand=step.by_hand,
            notes=step.notes,
        )
        for step in plan.steps
    )
    return KeptPlan(
        title=plan.title,
        steps=steps,
        tour=plan.tour,
        bound=plan.bound,
        table_rows=plan.table_rows,
        covered=plan.covered,
        together=plan.together,
        left_out=plan.left_out,
        parts=plan.parts,
        sha256=_sum(steps),
    )


def _sum(steps: Iterable[PlannedStep]) -> str:
    found = sha256()
    for step in steps:
        found.update(step.model_dump_json().encode("utf-8") + b"\n")
    return found.hexdigest()


def plan_in(record: Record | None, digest: str) -> Plan | None:
    """The plan that a record was begun with, if it was made from the text of this digest and has
    not been altered since; None if it has to be made."""
    kept = None if record is None or record.program_sha256 != digest else record.plan
    if kept is None or kept.sha256 != _sum(kept.steps):
        return None
    steps = tuple(
        Step(
            step.part,
            step.do,
            tuple(Sight(e.output, e.terminal, e.coil, e.load) for e in step.expected),
            step.rows,
            step.rungs,
            step.terminals,
            step.by_hand,
            step.notes,
        )
        for step in kept.steps
    )
    return Plan(
        kept.title,
        digest,
        steps,
        kept.tour,
        kept.bound,
        kept.table_rows,
        kept.covered,
        kept.together,
        kept.left_out,
        kept.parts,
    )


def with_plan(record: Record, plan: Plan) -> Record:
    """A record that goes on with a plan, which may be another one than before."""
    if plan_in(record, plan.digest) == plan:
        return record
    return record.model_copy(update={"plan": kept_plan(plan), "program_sha256": plan.digest})


def now_text() -> str:
    """The local time with its offset, to the second, as records hold it."""
    return datetime.now().astimezone().isoformat(timespec="seconds")[:25]


def words_of(text: str, longest: int = LONGEST_NOTE) -> str:
    """Text that somebody typed, on one line and at most `longest` characters long."""
    return " ".join(safe(text).split())[:longest]


def expected_of(sight: Sight) -> Expected:
    """A sight as it stands in a record."""
    return Expected(output=sight.output, terminal=sight.terminal, coil=sight.coil, load=sight.load)


def places(plan: Plan) -> tuple[str, ...]:
    """What tells each step of a plan from all others.

    A step of the tour begins where the steps before it have led, so its place holds all of them:
    if one of them changes, what was seen later was seen of another panel. Inputs and relays are
    tried one by one, and only a doubled step needs its count.
    """
    found: list[str] = []
    before = ""
    count: Counter[str] = Counter()
    for step in plan.steps:
        key = step.key
        if step.part == "functions":
            before = _short(f"{before} {key}")
            found.append(before)
        else:
            found.append(_short(f"{key} {count[key]}"))
            count[key] += 1
    return tuple(found)


def _short(text: str) -> str:
    return sha256(text.encode("utf-8")).hexdigest()[:16]


def key_of(entry: Entry) -> str:
    """The key that the words of an entry have."""
    sights = tuple(Sight(e.output, e.terminal, e.coil, e.load) for e in entry.expected)
    return Step(entry.part, entry.do, sights).key
