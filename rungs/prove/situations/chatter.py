"""Relays that never come to rest although nobody touches anything: the contacts wear out in hours.

Timers may time meanwhile, so what flashes because a timer says so is not meant, and only a round
that the reference interpreter has gone through three times is told.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.situations.found import Situations, Standing
from rungs.prove.situations.machine import LONGEST
from rungs.prove.situations.pushes import Push
from rungs.prove.situations.search import Restless
from rungs.prove.timing import Step
from rungs.prove.witness import Witness

ROUNDS = 3  # that are looked at when a run is played


@dataclass(frozen=True, slots=True)
class Chatter:
    """Outputs and relays (`devices`) that keep changing while the inputs, the clocks and the timers
    stay as they are.

    `round` has for each scan of one round, again and again the same, which of them are on; its
    length is the number of scans. `standing` is how the panel stands at its beginning. After
    `witness` the reference interpreter has gone through ROUNDS rounds, the last scan ending one.
    """

    devices: tuple[str, ...]
    round: tuple[frozenset[str], ...]
    standing: Standing
    witness: Witness

    @property
    def scans(self) -> int:
        """The length of a round."""
        return len(self.round)


@dataclass(frozen=True, slots=True)
class Chatters:
    """Each set of devices that was seen to chatter together, once. With `complete` no other set
    does."""

    found: tuple[Chatter, ...]
    complete: bool


def chatters(found: Situations, budget: Budget | None = None) -> Chatters:
    """The outputs and relays that never come to rest in some situation after something happened."""
    budget = budget or Budget()
    sets: dict[tuple[str, ...], list[Restless]] = {}
    for each in found.restless:
        sets.setdefault(each.devices, []).append(each)
    told: list[Chatter] = []
    # a timer of a single scan may hide a chatter behind what it does itself
    complete = found.complete and not any(found.machine.sure)
    try:
        for candidates in sets.values():
            for candidate in candidates:
                budget.check()
                chatter = _shown(found, candidate)
                if chatter is not None:
                    told.append(chatter)
                    break
            else:
                complete = False
    except OutOfBudget:
        complete = False
    return Chatters(tuple(told), complete)


def _shown(found: Situations, candidate: Restless) -> Chatter | None:
    """The chatter as a run that has been played; None if no such run was found."""
    if candidate.before not in found.origins:
        return None
    steps = found.steps_to(candidate.before)
    step, word = found.taken(candidate.before, candidate.push)
    steps.append(step)
    entry, length = _round(found, word, candidate)
    if not length:
        return None
    before, start = _held(found, word, candidate.push, entry)
    rounds, _ = _held(found, start, candidate.push, ROUNDS * length)
    timed = found.timed([*steps, *before, *rounds])
    if timed is None:
        return None
    seen = _played(found, timed[0], ROUNDS * length, candidate.devices)
    if seen is None:
        return None
    moved = {name for shown in seen for name in shown ^ seen[0]}
    if seen != seen[:length] * ROUNDS or moved != set(candidate.devices):
        return None
    held = Push(candidate.push.inputs, found.clocks.quiet[candidate.push.vector])
    standing = found.words_for(start, held)
    return Chatter(candidate.devices, seen[:length], standing, timed[0])


def _round(found: Situations, word: int, candidate: Restless) -> tuple[int, int]:
    """After how many scans the round begins, and how many scans it takes; no scans where none was
    found. Where the whole state does not come back (a counter goes on counting) it is a round of
    what can be seen."""
    places = [n for n, name in found.devices("output", "relay") if name in candidate.devices]
    seen = {word: 0}
    shown: list[tuple[int, ...]] = []
    for number in range(1, 2 * LONGEST + 1):
        outputs = found.one(word, candidate.push, held=True).outputs
        _, word = found.taken(word, candidate.push, held=True)
        shown.append(tuple(outputs[n] for n in places))
        if word in seen:
            return seen[word], number - seen[word]
        seen[word] = number
    tail = shown[LONGEST:]
    for length in range(2, LONGEST // ROUNDS):
        if tail[length:] == tail[:-length]:
            return LONGEST, length
    return 0, 0


def _held(found: Situations, word: int, push: Push, scans: int) -> tuple[list[Step], int]:
    """So many scans while nothing but the program acts, and the state after them."""
    steps = []
    for _ in range(scans):
        step, word = found.taken(word, push, held=True)
        steps.append(step)
    return steps, word


def _played(
    found: Situations, witness: Witness, scans: int, devices: tuple[str, ...]
) -> tuple[frozenset[str], ...] | None:
    """Which of the devices were on after each of the last scans of a run, as the reference
    interpreter makes it."""
    period = found.core.period
    begin = witness.end - scans * period
    if any(each.t > begin for each in witness.acts):
        return None
    panel = found.play(replace(witness, end=begin))
    if panel is None:
        return None
    shown = []
    for _ in range(scans):
        contacts = panel.make_scan().contacts
        shown.append(frozenset(name for name in devices if contacts[name]))
    return tuple(shown)
