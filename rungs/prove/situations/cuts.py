"""What is different after a power cut: asked of every situation, with the switches left alone.

A relay that was off and comes on with the power starts something that nobody has asked for; one
that stays off has to be started again, which is often what is wanted and always worth knowing.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.situations.found import Situations, Standing
from rungs.prove.witness import Witness, shorter_cuts, trimmed

TRIES = 16  # situations that are tried for a run
PLAINER_SECONDS = 0.2  # for making one run shorter

After = Literal["comes on", "goes off", "same"]


@dataclass(frozen=True, slots=True)
class Change:
    """Situations in which a device differs after a power cut: how many, one of them, and a run
    through it that has been played, whose last scan shows the device as it then stays. `witness` is
    None if no run was found for any that was tried; the change may then be impossible in time.
    `by_cut` tells that in this run the device would stand otherwise but for the cut; only looked at
    for outputs that come on."""

    count: int
    standing: Standing
    witness: Witness | None
    by_cut: bool


@dataclass(frozen=True, slots=True)
class AfterCut:
    """One output or relay after a power cut with the same inputs and clocks, settled, in all
    situations: `same` of them leave it as it was, `unsettled` do not come to rest. `worst` is the
    most dangerous of what happens."""

    name: str
    kind: Literal["output", "relay"]
    worst: After
    comes_on: Change | None
    goes_off: Change | None
    same: int
    unsettled: int


@dataclass(frozen=True, slots=True)
class AfterCuts:
    """Every output and relay. With `complete` there is nothing else to be seen in any situation,
    and what is told has been seen in a run."""

    devices: tuple[AfterCut, ...]
    complete: bool


def after_cuts(found: Situations, budget: Budget | None = None) -> AfterCuts:
    """What the outputs and relays do when power goes and comes back, in every situation."""
    budget = budget or Budget()
    machine, ones = found.machine, found.ones
    kept = [column if machine.retained >> i & 1 else 0 for i, column in enumerate(found.state)]
    rest = machine.settle(ones, kept, found.given, first=ones)
    complete = found.complete
    devices = []
    for n, name in found.devices("output", "relay"):
        before, after = found.outputs[n], rest.outputs[n]
        on = _change(found, n, rest.settled & after & ~before, budget)
        off = _change(found, n, rest.settled & before & ~after, budget)
        complete &= all(each is None or each.witness is not None for each in (on, off))
        devices.append(
            AfterCut(
                name,
                "output" if found.core.outputs[n].kind == "output" else "relay",
                "comes on" if on else "goes off" if off else "same",
                on,
                off,
                (rest.settled & ~(before ^ after)).bit_count(),
                (ones & ~rest.settled).bit_count(),
            )
        )
    return AfterCuts(tuple(devices), complete)


def _change(found: Situations, place: int, mask: int, budget: Budget) -> Change | None:
    """A change with a run for it, if there is one; without when the budget is used up.

    Best is a run in which nothing but the power cut makes the difference.
    """
    if not mask:
        return None
    best = Change(mask.bit_count(), found.standing(next(found.some(mask, 1))), None, False)
    for lane in found.some(mask, TRIES):
        try:
            budget.check()
        except OutOfBudget:
            break
        witness = _played(found, place, lane)
        if witness is None:
            continue
        # a run in which an output comes on is read by people; the others only have to be real
        told = found.core.outputs[place].kind == "output" and not found.outputs[place] >> lane & 1
        if not told:
            return Change(best.count, found.standing(lane), witness, False)
        plainer = _plainer(found, place, witness, budget)
        if plainer is not None:
            return Change(best.count, found.standing(lane), plainer, True)
        if best.witness is None:
            best = Change(best.count, found.standing(lane), witness, False)
    return best


def _played(found: Situations, place: int, lane: int) -> Witness | None:
    """A run through a situation and a power cut that the reference interpreter has played."""
    way = found.way(lane)
    if way is None:
        return None
    cut, word = found.cut(found.words[lane])
    back, after = found.pushed(word, found.push(lane))
    quiet, still = found.taken(after, found.push(lane), held=True)
    timed = found.timed([*way, cut, *back, quiet])
    if timed is None or still != after:
        return None
    panel = found.play(timed[0])
    shown = found.one(after, found.push(lane), held=True).outputs
    if panel is None or not found.shows_outputs(panel, shown):
        return None
    changed = bool(shown[place]) != bool(found.outputs[place] >> lane & 1)
    return timed[0] if changed else None


def _plainer(found: Situations, place: int, witness: Witness, budget: Budget) -> Witness | None:
    """The run without acts that have nothing to do with what the power cut changes; None if the
    device would stand so without the cut as well, a timer having run out meanwhile."""
    name = found.core.outputs[place].name

    def stands(run: Witness) -> bool | None:
        panel = found.play(run)
        return None if panel is None else panel.state.contacts[name]

    after = stands(witness)

    def still(smaller: Witness) -> Witness | None:
        if not smaller.acts or smaller.acts[-1].back is None:
            return None
        # without the cut it would stand otherwise, just before it came and as long as is looked
        calm = replace(smaller, acts=smaller.acts[:-1])
        before = replace(calm, end=max(smaller.acts[-1].t - found.core.period, 0))
        others = {stands(calm), stands(before)}
        return smaller if stands(smaller) == after and others == {not after} else None

    first = still(witness) or next(filter(still, shorter_cuts(witness)), None)
    if first is None:
        return None
    return trimmed(first, still, Budget(PLAINER_SECONDS, cancelled=budget.cancelled))
