"""From outcomes to sentences: the exact sets of situations, and what they come to in contacts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace

from rungs.narrate.conditions import Cube, needed, smallest
from rungs.narrate.data import Becomes, Condition, Event, Fact, FactKind, Follower, Sentence
from rungs.narrate.events import Outcome
from rungs.narrate.situations import Room, Target, Variable
from rungs.prove.situations.lanes import lanes_of, words_of

# how hard each kind of contact is to see from outside the panel
COSTS: dict[FactKind, int] = {
    "input": 0, "clock": 1, "late": 1, "output": 2, "count": 4, "relay": 5, "timer": 6,
    "timing": 8, "bit": 20,
}  # fmt: skip


class Rows:
    """Situations as rows of what conditions can see, made once for an outcome."""

    def __init__(self, variables: Sequence[Variable]) -> None:
        self.facts = [variable.fact for variable in variables]
        self.costs = [COSTS[fact.kind] for fact in self.facts]
        columns = [variable.lanes for variable in variables]
        lanes = max([column.bit_length() for column in columns], default=0)
        self.words = words_of(columns, lanes) if columns else []

    def of(self, mask: int) -> set[int]:
        """The rows of some lanes."""
        words = self.words
        return {words[lane] if lane < len(words) else 0 for lane in lanes_of(mask)}

    def condition(
        self, true: int, false: int, liked: Iterable[Condition] = ()
    ) -> tuple[Condition | None, bool]:
        """The smallest condition, and whether it is exact; None where none is needed.

        Where one of the conditions that are `liked` is as small and as right, it is taken, so that
        what goes together is told together.
        """
        on, off = self.of(true), self.of(false)
        exact = not on & off
        off -= on
        cubes = smallest(on, off, self.costs)
        if cubes == [(0, 0)]:
            return None, exact
        for other in liked:
            same = self._cubes(other)
            if same is not None and _bulk(same) == _bulk(cubes) and needed(same, on, off):
                return other, exact
        return tuple(self._term(c) for c in cubes), exact

    def _cubes(self, condition: Condition) -> list[Cube] | None:
        """A condition as cubes; None where it names what is not seen here."""
        place = {replace(fact, value=True): v for v, fact in enumerate(self.facts)}
        cubes = []
        for term in condition:
            care = value = 0
            for fact in term:
                v = place.get(replace(fact, value=True))
                if v is None:
                    return None
                care |= 1 << v
                value |= fact.value << v
            cubes.append((care, value))
        return cubes

    def _term(self, cube: Cube) -> tuple[Fact, ...]:
        care, value = cube
        return tuple(
            Fact(fact.name, fact.kind, bool(value >> v & 1), fact.number)
            for v, fact in enumerate(self.facts)
            if care >> v & 1
        )


def _bulk(cubes: Sequence[Cube]) -> tuple[int, int]:
    return len(cubes), sum(care.bit_count() for care, _ in cubes)


def sentences(room: Room, outcome: Outcome, liked: Sequence[Condition] = ()) -> Iterator[Sentence]:
    """What one event does to the target of a room; of conditions that are as good as each other
    one that is `liked` is taken."""
    rows = Rows(outcome.variables)
    target, can = room.target, outcome.can
    if target.aspect == "count":
        yield from _counted(room, outcome, rows, liked)
        return
    n = room.shows[0]
    was, now, moved = outcome.before[n], outcome.after[n], outcome.moved[n]
    off, on = can & ~was, can & was
    told: list[tuple[Becomes, int, int]] = [
        ("comes on", off & now, off & ~now),
        ("goes off", on & ~now, on & now),
        ("pulses on", off & ~now & moved, off & (now | ~moved)),
        ("pulses off", on & now & moved, on & (~now | ~moved)),
    ]
    found = [_made(outcome.event, target, rows, *each, liked) for each in told if each[1]]
    yield from _flipped(outcome.event, target, rows, told, found, liked)
    restless = outcome.restless & outcome.changing[n]
    if restless:
        others = (can | outcome.restless) & ~restless
        yield _made(outcome.event, target, rows, "never rests", restless, others, liked)


def _made(
    event: Event,
    target: Target,
    rows: Rows,
    becomes: Becomes,
    true: int,
    false: int,
    liked: Sequence[Condition] = (),
) -> Sentence:
    condition, exact = rows.condition(true, false, liked)
    return Sentence(event, target.device, target.aspect, becomes, condition, exact)


def _flipped(
    event: Event,
    target: Target,
    rows: Rows,
    told: Sequence[tuple[Becomes, int, int]],
    found: list[Sentence],
    liked: Sequence[Condition],
) -> Iterator[Sentence]:
    """Coming on and going off as one flip, where one condition that is no longer serves both."""
    pair = [each for each in found if each.becomes in ("comes on", "goes off")]
    if len(pair) == 2 and target.aspect != "timing":
        joined = _made(
            event, target, rows, "flips", told[0][1] | told[1][1], told[0][2] | told[1][2], liked
        )
        if joined.exact and _size(joined.condition) <= min(_size(p.condition) for p in pair):
            found = [joined, *(each for each in found if each not in pair)]
    yield from found


def _size(condition: Condition | None) -> tuple[int, int]:
    if condition is None:
        return 0, 0
    return len(condition), sum(len(term) for term in condition)


def _counted(
    room: Room, outcome: Outcome, rows: Rows, liked: Sequence[Condition]
) -> Iterator[Sentence]:
    """A counter goes up or down, or back to nought, as far as its thresholds tell."""
    can = outcome.can
    # a count beyond the last one that anything tells apart may move unseen: nothing is said of it
    told = can & ~outcome.before[room.shows[-1]]
    up = down = 0
    for n in room.shows:
        up |= can & ~outcome.before[n] & outcome.after[n]
        down |= can & outcome.before[n] & ~outcome.after[n]
    nought = down & ~outcome.after[room.shows[0]]
    leap = 0
    if len(room.shows) > 1:
        leap = nought & outcome.before[room.shows[1]]
    counts: Sequence[tuple[Becomes, int]] = (("counts up", up), ("counts down", down))
    if leap or nought == down:
        counts = (("counts up", up), ("goes to nought", nought), ("counts down", down & ~nought))
    for becomes, mask in counts:
        if mask:
            # what counts 0 cannot go down, as what is off cannot go off
            could = told if becomes == "counts up" else told & outcome.before[room.shows[0]]
            yield _made(outcome.event, room.target, rows, becomes, mask, could & ~mask, liked)


def power_sentences(room: Room, outcome: Outcome) -> Iterator[Sentence]:
    """What is on after power-up."""
    n = room.shows[0]
    now = outcome.after[n]
    if outcome.can & now:
        rows = Rows(outcome.variables)
        yield _made(
            outcome.event, room.target, rows, "is on", outcome.can & now, outcome.can & ~now
        )


def followers(room: Room) -> Iterator[Follower]:
    """The input or clock that the target of a room follows in every situation."""
    found = room.found
    if room.target.aspect != "contact":
        return
    shown = found.outputs[room.shows[0]]
    for index, lanes in found.given.items():
        signal = found.core.signals[index]
        if signal.one_scan or not lanes or lanes == found.ones:
            continue
        if shown in (lanes, found.ones & ~lanes):
            yield Follower(signal.name, room.target.device, shown != lanes)
