"""Two inputs that change in the same scan, against one after the other: does it end differently?

Nobody can press two buttons in an agreed order within ten milliseconds, so what depends on it looks
like chance at the panel. That the first press wins is often meant; that both together do what
neither order does hardly ever is.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations
from typing import Literal

from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.situations.found import Situations, Standing
from rungs.prove.situations.lanes import Columns
from rungs.prove.situations.machine import Rest
from rungs.prove.situations.pushes import Push
from rungs.prove.timing import Step
from rungs.prove.witness import Witness

TRIES = 4  # situations that are tried for a run of each kind

Kind = Literal["neither", "one"]


@dataclass(frozen=True, slots=True)
class Ends:
    """An output or relay that the three ways leave differently: on or off after each."""

    name: str
    together: bool
    first: bool
    second: bool


@dataclass(frozen=True, slots=True)
class Race:
    """Inputs `first` and `second`, changed in one scan, lead elsewhere than one after the other.

    `kind` tells whether the end is that of `neither` order or of `one` (`like`: the input that then
    went first). `orders_agree` says that both orders end alike. `counts` are the situations in
    which the end is that of neither although the orders agree, of neither otherwise, and of one.
    `standing` is an example, `ends` what comes out of it, and the three runs from power-up have
    been played: both in one scan, `first` before `second`, and the other way round. Each ends
    settled, within a second after the change.
    """

    first: str
    second: str
    kind: Kind
    orders_agree: bool
    like: str
    counts: tuple[int, int, int]
    standing: Standing
    ends: tuple[Ends, ...]
    together: Witness
    first_first: Witness
    second_first: Witness


@dataclass(frozen=True, slots=True)
class Races:
    """One race for each pair of inputs that has one. With `complete` no other pair has."""

    found: tuple[Race, ...]
    complete: bool


def races(found: Situations, budget: Budget | None = None) -> Races:
    """The pairs of inputs that are told apart by whether they change in one scan, in any situation.

    What takes over a second to settle, or never does, is left out, as is what contradicts the
    assumptions of the program.
    """
    budget = budget or Budget()
    names = [found.core.signals[i].name for i in found.machine.inputs]
    told: list[Race] = []
    complete = found.complete
    try:
        alone = []
        for place in range(len(names)):
            budget.check()
            alone.append(_changed(found, found.state, place))
        for one, other in combinations(range(len(names)), 2):
            budget.check()
            classes = _classes(found, one, other, alone)
            if not any(classes):
                continue
            race = _shown(found, one, other, classes)
            if race is None:
                complete = False
            else:
                told.append(race)
    except OutOfBudget:
        complete = False
    return Races(tuple(told), complete)


def _changed(found: Situations, state: Columns, *places: int) -> Rest:
    """What states come to, one for each situation, when the inputs at `places` stand otherwise than
    in the situation."""
    given = dict(found.given)
    for place in places:
        given[found.machine.inputs[place]] ^= found.ones
    return found.machine.settle(found.ones, state, given)


def _classes(
    found: Situations, one: int, other: int, alone: list[Rest]
) -> tuple[int, int, int, int]:
    """The situations in which both together end as neither order although these agree, as neither
    otherwise, as `one` first only, and as `other` first only."""
    both = _changed(found, found.state, one, other)
    after = _changed(found, alone[one].state, one, other)
    turned = _changed(found, alone[other].state, one, other)
    live = both.settled & alone[one].settled & after.settled
    live &= alone[other].settled & turned.settled
    unlike_first = unlike_second = apart = 0
    for n, _ in found.devices("output"):
        unlike_first |= both.outputs[n] ^ after.outputs[n]
        unlike_second |= both.outputs[n] ^ turned.outputs[n]
        apart |= after.outputs[n] ^ turned.outputs[n]
    neither = live & unlike_first & unlike_second
    return (
        neither & ~apart,
        neither & apart,
        live & ~unlike_first & unlike_second,
        live & unlike_first & ~unlike_second,
    )


def _shown(
    found: Situations, one: int, other: int, classes: tuple[int, int, int, int]
) -> Race | None:
    counts = (
        classes[0].bit_count(),
        classes[1].bit_count(),
        classes[2].bit_count() + classes[3].bit_count(),
    )
    names = [found.core.signals[found.machine.inputs[place]].name for place in (one, other)]
    for number, mask in enumerate(classes):
        for lane in found.some(mask, TRIES):
            made = _runs(found, lane, one, other)
            if made is None:
                continue
            ends, runs = made
            kind: Kind = "neither" if number < 2 else "one"
            like = "" if number < 2 else names[number - 2]
            return Race(
                names[0],
                names[1],
                kind,
                number == 0,
                like,
                counts,
                found.standing(lane),
                ends,
                *runs,
            )
    return None


def _runs(
    found: Situations, lane: int, one: int, other: int
) -> tuple[tuple[Ends, ...], tuple[Witness, Witness, Witness]] | None:
    """The three runs from a situation, played, and what differs between their ends."""
    made: list[Witness] = []
    ends: list[dict[str, bool]] = []
    for order in ((1 << one | 1 << other,), (1 << one, 1 << other), (1 << other, 1 << one)):
        played = _played(found, lane, order)
        if played is None:
            return None
        made.append(played[0])
        ends.append(played[1])
    differ = tuple(
        Ends(name, ends[0][name], ends[1][name], ends[2][name])
        for name in ends[0]
        if len({each[name] for each in ends}) > 1
    )
    return differ, (made[0], made[1], made[2])


def _played(
    found: Situations, lane: int, order: tuple[int, ...]
) -> tuple[Witness, dict[str, bool]] | None:
    """A run in which inputs change from a situation on, to rest after each change, and what the
    reference interpreter shows at its end; None if it was not made or shows anything else."""
    way = found.way(lane)
    if way is None:
        return None
    steps: list[Step] = list(way)
    word, push = found.words[lane], found.push(lane)
    for flips in order:
        push = Push(push.inputs ^ flips, push.vector)
        more, word = found.pushed(word, push)
        steps += more
    quiet, after = found.taken(word, push)
    if after != word:
        return None
    timed = found.timed([*steps, quiet])
    if timed is None:
        return None
    panel = found.play(timed[0])
    if panel is None:
        return None
    shown = found.one(word, push).outputs
    if not found.shows_outputs(panel, shown):
        return None
    return timed[0], {name: bool(shown[n]) for n, name in found.devices("output", "relay")}
