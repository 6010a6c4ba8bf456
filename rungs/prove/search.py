"""What callers ask: an invariant that keeps bad out, a run that shows it, or how far we got.

Neither way of searching is the better one: a chain of steps finds short runs at once and with a
judge any run, frames of clauses find proofs and long runs. So they take turns, by work done and not
by the clock, and the same question always takes the same way.
"""

from __future__ import annotations

from collections.abc import Sequence

from rungs.core.nodes import Core, Lit
from rungs.prove import pdr
from rungs.prove.bounded import Judge, bounded, lengths
from rungs.prove.budget import Budget
from rungs.prove.cnf import SolverFailed, bad_of, new_solver
from rungs.prove.results import (
    Bounded,
    Fact,
    Impossible,
    Invariant,
    InvariantGates,
    Run,
    Work,
)

FIRST_STEPS = 6  # looked at before anything else: most failures are that short
EASY_STEPS = 24  # looked at too as long as the solver has had
EASY = 200  # conflicts at the most
TURN = 2_000  # solver calls of the frames between two turns of the chain
CHAIN_TURN = 3  # steps, or slices of a step, that the chain then goes on
DEEPEST = 10_000  # steps; nobody reads a longer run

__all__ = [
    "Bounded",
    "Fact",
    "Impossible",
    "Invariant",
    "InvariantGates",
    "Judge",
    "Run",
    "bounded",
    "search",
]


def search(
    core: Core,
    budget: Budget,
    judge: Judge | None = None,
    hints: Sequence[Sequence[Lit]] = (),
) -> Invariant | Run | Bounded:
    """An invariant (checked by another solver), a run (replayed, and accepted by the judge), or how
    many steps are known to be free of bad.

    A run is a shortest one if it has up to `FIRST_STEPS` steps, else the shortest known; `bounded`
    looks for shorter ones. `judge` is
    that of `bounded`, `hints` those of `pdr`. Raises ValueError if the core is no question.
    """
    bad_of(core)
    try:
        new_solver(pdr.SOLVER).delete()
    except SolverFailed as missing:
        return Bounded(0, str(missing))
    chain = _Turns(lengths(core, DEEPEST, budget, judge))
    while chain.result is None and (
        chain.pieces < FIRST_STEPS or (chain.pieces < EASY_STEPS and chain.shown <= EASY)
    ):
        chain.go_on()
    if isinstance(chain.result, Run):
        return chain.result
    frames = _Turns(pdr.steps(core, budget, hints))
    refused = False
    while True:
        if not refused:
            due = frames.shown + TURN
            while frames.result is None and frames.shown < due:
                frames.go_on()
            found = frames.result
            if isinstance(found, Invariant):
                return found
            if isinstance(found, Run):
                if judge is None or judge(found) is None:
                    return found
                refused = True
            elif found is not None:
                return _further(found, chain.result)
        for _ in range(CHAIN_TURN):
            if chain.result is None:
                chain.go_on()
        if isinstance(chain.result, Run) or (refused and chain.result is not None):
            return chain.result


class _Turns:
    """A search that is done a piece at a time."""

    def __init__(self, work: Work[Invariant | Run | Bounded] | Work[Run | Bounded]) -> None:
        self.work = work
        self.shown = 0
        self.pieces = 0
        self.result: Invariant | Run | Bounded | None = None

    def go_on(self) -> None:
        """One piece more."""
        try:
            self.shown = next(self.work)
            self.pieces += 1
        except StopIteration as ended:
            self.result = ended.value


def _further(one: Bounded, other: Invariant | Run | Bounded | None) -> Bounded:
    if isinstance(other, Bounded) and other.steps > one.steps:
        return Bounded(other.steps, one.reason)
    return one
