"""Walking a checkout: which step is next, what was answered, and how it all stands.

No terminal and no clock is known here: names and times come with each answer, so that the command
line and the bench walk alike, and a test walks in no time.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from rungs.checkout.merged import Merged, StepState, merge
from rungs.checkout.plan import Part, Plan, Sight, Step
from rungs.checkout.record import (
    LONGEST_NAME,
    AsFound,
    Entry,
    Record,
    Result,
    expected_of,
    with_plan,
    words_of,
)
from rungs.checkout.words import sight_text

PARTS: dict[Part, str] = {
    "inputs": "inputs one by one",
    "relays": "relays one by one",
    "functions": "functions",
}


@dataclass(frozen=True, slots=True)
class Summary:
    """How a checkout stands, by the numbers of its steps."""

    count: int
    passed: tuple[int, ...]
    failed: tuple[int, ...]
    skipped: tuple[int, ...]
    remaining: tuple[int, ...]
    older: tuple[int, ...]  # passed or failed, under an older text of the panel

    @property
    def done(self) -> int:
        """How many steps passed or failed; one that was skipped is not done."""
        return len(self.passed) + len(self.failed)

    @property
    def whole(self) -> bool:
        """Whether every step was done and passed."""
        return len(self.passed) == self.count > 0

    def lines(self) -> tuple[str, ...]:
        """In words, the count first."""
        found = [f"{self.done} of {self.count} steps done: {len(self.passed)} passed"]
        if self.failed:
            found[0] += f", {len(self.failed)} failed"
            found.append(f"failed: {number_list(self.failed)}")
        if self.skipped:
            found.append(f"skipped, and so not done: {number_list(self.skipped)}")
        if self.remaining:
            found.append(f"not answered yet: {number_list(self.remaining)}")
        if self.older:
            found.append(
                "answered before the panel file was last changed (what is done and seen up to "
                f"there is the same): {number_list(self.older)}"
            )
        if self.whole:
            found.append("Every step has passed.")
        return tuple(found)


class Walk:
    """One walk through the steps of a plan that hands can do. `index` is that of the step that is
    shown, from 0; a plan without such steps has none. `record` holds every answer of this walk and
    of those before."""

    def __init__(self, plan: Plan, record: Record) -> None:
        self.plan = plan
        self.record = with_plan(record, plan)
        self.index = 0
        self._answered: set[int] = set()  # in this walk: what fails is not asked for twice in it
        self._last = -1  # the step that this walk did last
        self.merged: Merged = merge(plan, self.record)
        self.index = self._next(-1) or 0

    # --- where it stands

    @property
    def count(self) -> int:
        """How many steps there are."""
        return len(self.merged.steps)

    @property
    def step(self) -> Step:
        """The step that is shown. IndexError in a plan without steps."""
        return self.state.step

    @property
    def state(self) -> StepState:
        """The same with what was answered to it."""
        return self.merged.steps[self.index]

    @property
    def over(self) -> bool:
        """Whether nothing is left to be asked in this walk."""
        return self._next(self.index) is None

    @property
    def caution(self) -> str:
        """What to see to before a step of the tour that does not follow the one done last; empty
        where nothing is to be seen to."""
        states = self.merged.steps
        tour = [n for n, state in enumerate(states) if state.step.part == "functions"]
        if self.index not in tour[1:] or self._last == self.index - 1:
            return ""
        return (
            f"The panel must stand as step {states[self.index - 1].number} left it. If it does "
            f"not, do the steps from {states[tour[0]].number} on again, in order."
        )

    def changes(self) -> tuple[Sight, ...]:
        """The sights that differ from those of the step before, of one tour; all of them where
        there is no such step, or power has come back in between."""
        step = self.step
        before = self.merged.steps[self.index - 1].step if self.index else step
        if before.part != "functions" or before is step or any("power" in do for do in step.do):
            return step.sights
        known = {sight.output: sight for sight in before.sights}
        return tuple(sight for sight in step.sights if known.get(sight.output) != sight)

    # --- moving

    def _next(self, after: int) -> int | None:
        order: list[int] = [*range(after + 1, self.count), *range(min(after + 1, self.count))]
        results = [state.result for state in self.merged.steps]
        for index in order:
            if results[index] is None:
                return index
        for index in order:
            if results[index] in ("fail", "skipped") and index not in self._answered:
                return index
        return None

    def next_undone(self) -> bool:
        """Go to the next step without an answer; where none is left, to one that failed or was
        skipped before this walk. False, and nowhere, if there is neither."""
        found = self._next(self.index)
        if found is None:
            return False
        self.index = found
        return True

    def back(self) -> bool:
        """Go to the step before; False at the first."""
        self.index -= (there := self.index > 0)
        return there

    def on(self) -> bool:
        """Go to the step behind; False at the last."""
        self.index += (there := self.index + 1 < self.count)
        return there

    def go_to(self, number: int) -> bool:
        """Go to a step by its number in the plan, from 1; False if hands have none of it."""
        found = next((n for n, s in enumerate(self.merged.steps) if s.number == number), None)
        self.index = self.index if found is None else found
        return found is not None

    # --- answering

    def answer(
        self,
        result: Result,
        who: str,
        at: str,
        note: str = "",
        found: Iterable[AsFound] = (),
    ) -> Entry:
        """Answer the step that is shown, and stay there; `record` then holds the answer.

        `at` is a local time with its offset. `found` are relays that were otherwise than they
        had to be.
        """
        step = self.step
        name = words_of(who, LONGEST_NAME)
        entry = Entry(
            step=step.key,
            place=self.state.place,
            number=self.state.number,
            part=step.part,
            do=step.do,
            expected=tuple(expected_of(sight) for sight in step.sights),
            result=result,
            as_found=tuple(found),
            note=words_of(note),
            who=name,
            at=at,
            program_sha256=self.plan.digest,
        )
        changed = {
            "entries": (*self.record.entries, entry),
            "updated": at,
            "who": name,
        }
        self.take(self.record.model_copy(update=changed))
        if result != "note":
            self._answered.add(self.index)
            self._last = self.index
        return entry

    def skip(self, who: str, at: str, note: str = "") -> Entry:
        """Leave the step out for now."""
        return self.answer("skipped", who, at, note)

    def take(self, record: Record) -> None:
        """Go on with a record to which somebody else may have added."""
        if record is self.record:
            return
        self.record = record
        self.merged = merge(self.plan, record)

    def summary(self) -> Summary:
        """How all of it stands."""
        merged = self.merged
        return Summary(
            self.count,
            merged.numbers("pass"),
            merged.numbers("fail"),
            merged.numbers("skipped"),
            merged.remaining,
            tuple(s.number for s in merged.steps if s.older and s.result in ("pass", "fail")),
        )


# --- words


Kind = Literal["caution", "do", "see", "same", "note", "was"]


@dataclass(frozen=True, slots=True)
class Row:
    """A row of what is shown of a step: what it is, the word before it (or as many spaces), and
    its text, which may have to be folded."""

    kind: Kind
    lead: str
    text: str


def step_rows(walk: Walk, most: int = 3) -> Iterator[Row]:
    """The step that is shown, row by row: what to see to, to do, to see (what changes first and
    one by one), notes, and the last `most` answers."""
    step = walk.step
    if walk.caution:
        yield Row("caution", "!", walk.caution)
    several = len(step.do) > 1
    for number, do in enumerate(step.do, 1):
        yield Row("do", "do" if number == 1 else "", f"{number}. {do}" if several else do)
    changes = walk.changes()
    for number, sight in enumerate(changes):
        yield Row("see", "" if number else "see", sight_text(sight))
    stays = [sight for sight in step.sights if sight not in changes]
    if stays:
        words = "; ".join(sight_text(sight) for sight in stays)
        yield Row("same", "" if changes else "see", f"as before: {words}")
    for number, note in enumerate(step.notes):
        # without a relay to look at, the notes say what to see
        lead = "" if number else "see" if not step.sights else "note"
        yield Row("note" if step.sights else "see", lead, note)
    for entry in walk.state.entries[-most:]:
        yield Row("was", "was", entry_text(entry))


def found_text(found: AsFound) -> str:
    """What was seen instead at one relay."""
    seen = []
    if found.coil is not None:
        seen.append(f"relay {'ON' if found.coil else 'off'}")
    if found.load is not None:
        seen.append(f"load {'on' if found.load else 'off'}")
    return f"{found.terminal} {found.output}: {', '.join(seen) or 'otherwise'}"


def entry_text(entry: Entry) -> str:
    """An answer that was given, in one line."""
    who = f" by {entry.who}" if entry.who else ""
    seen = "".join(f"; {found_text(each)}" for each in entry.as_found)
    note = f"; {entry.note}" if entry.note else ""
    word = {"pass": "passed", "fail": "failed", "skipped": "skipped", "note": "note"}[entry.result]
    return f"{word} {entry.at[:16].replace('T', ' ')}{who}{seen}{note}"


def otherwise(step: Step, words: str) -> tuple[tuple[AsFound, ...], str]:
    """What relays showed instead, from words such as `R1, R3 load, pump relay`, and what is wrong
    with the words (empty if nothing is).

    A relay by its terminal or name alone means its coil, and its load with it.
    """
    by_word = {s.terminal.casefold(): s for s in step.sights}
    by_word.update({s.output.casefold(): s for s in step.sights})
    found: dict[str, AsFound] = {}
    for part in words.replace(";", ",").split(","):
        said = part.casefold().split()
        if not said:
            continue
        sight = by_word.get(said[0])
        if sight is None:
            names = ", ".join(s.terminal for s in step.sights) or "none"
            return (), f"no relay '{words_of(said[0], 40)}' is looked at here; there are: {names}"
        what = said[1:] or ["both"]
        if len(what) > 1 or what[0] not in ("both", "relay", "coil", "load"):
            return (), f"behind {sight.terminal} stands 'relay', 'load' or nothing"
        if what[0] == "load" and sight.load is None:
            return (), f"{sight.terminal} has no load in the panel file: leave 'load' away"
        old = found.get(sight.output)
        one = found_at(sight, what[0] != "load", what[0] in ("both", "load"))
        if old is not None:
            one = old.model_copy(
                update={
                    "coil": old.coil if one.coil is None else one.coil,
                    "load": old.load if one.load is None else one.load,
                }
            )
        found[sight.output] = one
    return tuple(found.values()), ""


def found_at(sight: Sight, coil: bool, load: bool) -> AsFound:
    """A relay of which the coil, the load, or both were otherwise than they had to be."""
    return AsFound(
        output=sight.output,
        terminal=sight.terminal,
        coil=not sight.coil if coil else None,
        load=not sight.load if load and sight.load is not None else None,
    )


def number_list(numbers: Iterable[int]) -> str:
    """Numbers with stretches drawn together: 1-4, 7, 9."""
    parts: list[list[int]] = []
    for number in numbers:
        if parts and parts[-1][1] == number - 1:
            parts[-1][1] = number
        else:
            parts.append([number, number])
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in parts)
