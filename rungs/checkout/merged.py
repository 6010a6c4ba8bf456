"""A record held against a plan: which steps are done, and which answers do not count any more."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass

from rungs.checkout.plan import Plan, Step
from rungs.checkout.record import Entry, Record, Result, key_of, places


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
        if entry.step != key_of(entry):
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
