"""The record of a checkout: what was done, seen and found at a panel, step by step, as one file.

An answer that somebody gave at a cabinet cannot be had again from a desk, so every answer is on
disk before the next step is shown, and nothing that was ever answered is taken away: a step that
failed and then passed keeps both entries, and the last one counts.
"""

from __future__ import annotations

import errno
import json
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from datetime import datetime
from hashlib import sha256
from pathlib import Path
from typing import Annotated, Final, Literal, get_args

from pydantic import (
    AfterValidator,
    BaseModel,
    ConfigDict,
    Field,
    StringConstraints,
    ValidationError,
)

from rungs.cells import cut, safe
from rungs.checkout.plan import Part as PlanPart
from rungs.checkout.plan import Plan, Sight, Step
from rungs.files import FileError, read_bytes, write_atomic

VERSION: Final = 1
LARGEST: Final = 16_000_000  # bytes of a record; more is neither read nor written
LONGEST_NOTE: Final = 1_000  # characters
LONGEST_NAME: Final = 100
_LONGEST_TITLE: Final = 200

Result = Literal["pass", "fail", "skipped", "note"]
RESULTS: tuple[Result, ...] = get_args(Result)

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


class RecordError(Exception):
    """A record could not be read or written; the message says why, and what to do."""


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


def _key_of(entry: Entry) -> str:
    """The key that the words of an entry have."""
    sights = tuple(Sight(e.output, e.terminal, e.coil, e.load) for e in entry.expected)
    return Step(entry.part, entry.do, sights).key


# --- reading and writing one


def beside(panel: Path) -> Path:
    """Where the record of a panel file stands: `NAME.checkout.json` in the same folder."""
    return panel.with_name(f"{panel.stem}.checkout.json")


def read_record(data: bytes) -> tuple[Record | None, str]:
    """The record in a file's bytes, or None and the words that say what is wrong with it.

    Never raises, whatever the bytes.
    """
    if len(data) > LARGEST:
        return None, f"it is larger than {LARGEST:,} bytes, so it is no record of ours"
    try:
        content = json.loads(data.decode("utf-8"), object_pairs_hook=_once)
    except UnicodeDecodeError as error:
        return None, f"byte {error.start:,} of it is no UTF-8 text"
    except _DoubledError as error:
        return None, f"'{safe(str(error))[:60]}' stands in it twice"
    except json.JSONDecodeError as error:
        return None, f"line {error.lineno}, column {error.colno}: it is no JSON ({error.msg})"
    except (ValueError, RecursionError):
        return None, "it is no JSON that a record can be"
    if not isinstance(content, dict) or content.get("document") != "checkout":
        return None, "it is no record of a checkout"
    version = content.get("schema_version")
    if type(version) is int and version > VERSION:
        return None, (
            f"it has version {str(version)[:20]}, and this program reads up to {VERSION}; "
            "a newer program wrote it"
        )
    try:
        return Record.model_validate_json(data), ""
    except ValidationError as error:
        return None, _first_of(error)
    except (ValueError, RecursionError):
        return None, "it is no record of a checkout"


class _DoubledError(ValueError):
    pass


def _once(pairs: list[tuple[str, object]]) -> dict[str, object]:
    found: dict[str, object] = {}
    for name, value in pairs:
        if name in found:
            raise _DoubledError(name)
        found[name] = value
    return found


def _first_of(error: ValidationError) -> str:
    """The first thing that is wrong, with its place."""
    first = error.errors(include_url=False, include_context=False, include_input=False)[0]
    loc = first["loc"]
    where = " ".join(str(part + 1) if isinstance(part, int) else str(part) for part in loc[:6])
    more = error.error_count() - 1
    rest = f", and {more} more things are wrong" if more else ""
    return safe(f"at '{where[:80]}': {first['msg'][:200]}{rest}")


def record_bytes(record: Record) -> bytes:
    """A record as the bytes of its file. Raises RecordError for one that would be too large."""
    data = (record.model_dump_json(indent=1) + "\n").encode("utf-8")
    if len(data) > LARGEST:
        raise RecordError(
            f"the record is full: it would be larger than {LARGEST:,} bytes; begin another one "
            "under another name"
        )
    return data


class RecordFile:
    """The file of one record, as it was last read or written here.

    Two people may walk one panel at once, on the bench and on the command line: what the other
    has added is taken in when ours is saved, so that neither loses an answer.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self._known: set[str] = set()

    def load(self) -> Record | None:
        """The record on disk, None if there is no file yet. Raises RecordError."""
        try:
            data = read_bytes(self.path, LARGEST + 1)
        except FileError as error:
            if error.code == errno.ENOENT and self.path.parent.is_dir():
                return None
            raise RecordError(str(error)) from error
        record = self._taken(data)
        self._known = {sha256(data).hexdigest()}
        return record

    def save(self, record: Record) -> Record:
        """Put a record on disk, wholly or not at all; returns it as it stands there, with what
        another program has added meanwhile. Raises RecordError; nothing is then lost on disk."""
        for _ in range(20):
            data = record_bytes(record)
            digest = sha256(data).hexdigest()
            before = frozenset(self._known)
            try:
                # if the write fails at its very end, these bytes are there all the same
                self._known.add(digest)
                write_atomic(self.path, data, self._check(before | {digest}))
            except _UnseenError as unseen:
                self._known = set(before)
                record = united(record, self._taken(unseen.data))
                self._known.add(sha256(unseen.data).hexdigest())
            except FileError as error:
                raise RecordError(str(error)) from error
            else:
                self._known = {digest}
                return record
        raise RecordError(f"'{self.path}' is being changed by another program all the time")

    def _taken(self, data: bytes) -> Record:
        record, wrong = read_record(data)
        if record is None:
            raise RecordError(
                f"'{self.path}' was not read and is left as it is: {wrong}; move it away, or name "
                "another file for the record"
            )
        return record

    def _check(self, known: frozenset[str]) -> Callable[[Path], None]:
        def check(target: Path) -> None:
            if not target.exists():
                return
            data = read_bytes(target, LARGEST + 1)
            if sha256(data).hexdigest() not in known:
                raise _UnseenError(data)

        return check


class _UnseenError(Exception):
    def __init__(self, data: bytes) -> None:
        super().__init__("the file holds a record that nobody here has seen")
        self.data = data


def united(ours: Record, theirs: Record) -> Record:
    """Our record with the entries of another one that it does not have, by the time of the
    answers; of alike entries there are as many as the record with most of them has."""
    missing = Counter(theirs.entries) - Counter(ours.entries)
    if not missing:
        return ours
    every = sorted(
        (*ours.entries, *missing.elements()), key=lambda entry: datetime.fromisoformat(entry.at)
    )
    return ours.model_copy(
        update={
            "entries": tuple(every),
            "started": min(ours.started, theirs.started, key=datetime.fromisoformat),
            "updated": max(ours.updated, theirs.updated, key=datetime.fromisoformat),
        }
    )


# --- what a record says of a plan


@dataclass(frozen=True, slots=True)
class StepState:
    """A step of the plan and what was answered to it, oldest first. `result` is that of the last
    answer that is no note, None if there is none; `older` tells that it was given to an older
    text of the panel, in which all that is done and seen up to here was the same."""

    number: int
    step: Step
    place: str
    entries: tuple[Entry, ...]
    result: Result | None
    older: bool


@dataclass(frozen=True, slots=True)
class Stale:
    """An entry that does not count any more, and why in words."""

    entry: Entry
    why: str


@dataclass(frozen=True, slots=True)
class Merged:
    """A plan with a record: every step that hands can do with its answers, and the entries that do
    not count. Steps that the emulator alone can do are asked of nobody, and are not among them."""

    steps: tuple[StepState, ...]
    stale: tuple[Stale, ...]

    def numbers(self, *results: Result | None) -> tuple[int, ...]:
        """The numbers of the steps with one of these results, in order."""
        return tuple(state.number for state in self.steps if state.result in results)

    @property
    def remaining(self) -> tuple[int, ...]:
        """The steps that were never answered."""
        return self.numbers(None)


def merge(plan: Plan, record: Record) -> Merged:
    """Which steps of the plan are done, which entries are stale and why, and what remains."""
    where = places(plan)
    steps_by_place = zip(where, plan.steps, strict=True)
    keys = {place: step.key for place, step in steps_by_place if step.by_hand}
    known = set(keys.values())
    own: dict[str, list[Entry]] = {place: [] for place in where}
    stale: list[Stale] = []
    for entry in record.entries:
        if entry.step != _key_of(entry):
            stale.append(Stale(entry, "what it says was done or expected was altered by hand"))
        elif keys.get(entry.place) == entry.step:
            own[entry.place].append(entry)
        elif entry.step in known:
            stale.append(Stale(entry, "a step before it, on which it builds, has changed"))
        else:
            stale.append(Stale(entry, "the panel file has changed: there is no such step now"))
    steps = []
    for number, (step, place) in enumerate(zip(plan.steps, where, strict=True), 1):
        if not step.by_hand:
            continue
        entries = own[place]
        last = next((e for e in reversed(entries) if e.result != "note"), None)
        result = None if last is None else last.result
        older = last is not None and last.program_sha256 != plan.digest
        steps.append(StepState(number, step, place, tuple(entries), result, older))
    return Merged(tuple(steps), tuple(stale))


def stale_words(stale: Iterable[Stale]) -> tuple[str, ...]:
    """How many entries do not count any more, a line for each reason."""
    count = Counter(each.why for each in stale)
    return tuple(
        f"{number} {'answer does' if number == 1 else 'answers do'} not count any more: {why}"
        for why, number in count.items()
    )
