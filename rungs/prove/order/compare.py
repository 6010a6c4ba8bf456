"""What moving one rung above another would change, for every two that meet.

The evidence is asked for in the order of its price: what one scan leaves behind, runs by chance in
lanes, and a search of both programs at once, which alone can prove that there is no run.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

from rungs.core.lower import LowerError
from rungs.core.nodes import PERIOD, Core
from rungs.core.reduce import reduce
from rungs.core.watch import Ask, watch
from rungs.program.nodes import Program, Rung
from rungs.prove.bounded import bounded
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.clocks.dated import Dates, clock_names
from rungs.prove.explicit import Reached, Seen, TooMany, explore
from rungs.prove.judge import TimeJudge
from rungs.prove.order.doubled import DIFFERS, HASTY, IMPOSSIBLE, RESTS, doubled, resting
from rungs.prove.order.lanes import Lanes
from rungs.prove.order.links import Links, moved_above, part_of, reordered
from rungs.prove.order.replay import Replay, Told
from rungs.prove.order.stage import Stage
from rungs.prove.order.stretches import Stretches
from rungs.prove.pdr import steps as frames
from rungs.prove.question import Question, all_pairs, question
from rungs.prove.results import Invariant, Run
from rungs.prove.witness import Witness, lags, timed
from rungs.scan.calendar import build_calendar

Answer = Literal["same", "late", "differs", "unknown"]

MOST_STATES = 400  # of both programs together
MOST_PATTERNS = 1 << 15  # states times patterns of their signals
MOST_ORDERED = 4  # timers of which every pair is put in order
SMALL_OUTSIDE = 5  # inputs and clocks of a part that is searched in any case
SMALL_RUNGS = 8
DEPTH = 6  # steps of runs with judged times
MOST_CALLS = 1_500  # of a solver, for one proof
MOST_REPLAYS = 4  # of one witness, to leave out what it does not need


@dataclass(frozen=True, slots=True)
class Order:
    """What moving `below` directly above `above` would change.

    same     no output ever shows anything else, in any scan; this is always `proved`.
    late     outputs change some scans sooner or later; `witness` ends in such a scan. With `proved`
             both programs show the same whenever they are at rest under the same inputs, else no
             run was met in which they do not, and `reason` says why no more is known.
    differs  both can come to rest under the same inputs with different outputs: a further scan
             changes nothing. `witness` ends there.
    unknown  neither a run nor a proof was found; `reason` says why.

    At rest is the part of the panel on which the outputs that the move can reach depend; what else
    may blink meanwhile does not count. `outputs` are those that differ at the end of the witness;
    without one, those that the move can reach. In a `hasty` witness something is changed before the
    panel has come to rest; in any other two switches may still have to move in one scan.
    """

    above: Rung
    below: Rung
    answer: Answer
    outputs: tuple[str, ...] = ()
    witness: Witness | None = None
    hasty: bool = False
    proved: bool = False
    reason: str = ""


@dataclass(frozen=True, slots=True)
class Orders:
    """Every pair of rungs that have to do with one another, in file order.

    `reason` says why the last pairs were not looked at; empty if all were.
    """

    pairs: tuple[Order, ...]
    reason: str = ""


def orders(
    program: Program, budget: Budget, period: int = PERIOD, thorough: bool = False
) -> Orders:
    """Of each two rungs of which one drives or moves what the other reads or drives: would the
    outputs be different if the lower one stood directly above the upper one?

    The program is scanned every `period` ms. `thorough` looks longer for proofs and for runs that
    chance does not meet: seconds instead of tenths of one. What the program assumes of the plant is
    taken to hold. When the budget runs out the pairs that are left are `unknown`; OutOfBudget is
    never raised. A program that has no core gives unknowns as well.
    """
    links = Links(program)
    pairs = list(links.pairs())
    found: list[Order] = []
    stopped = ""
    try:
        compared = _Compared(program, links, period, thorough, budget)
        for upper, lower in pairs:
            budget.check()
            found.append(compared.order(upper, lower))
    except (OutOfBudget, LowerError) as stop:
        stopped = str(stop)
    for upper, lower in pairs[len(found) :]:
        above, below = program.rungs[upper], program.rungs[lower]
        found.append(Order(above, below, "unknown", reason=stopped))
    return Orders(tuple(found), stopped)


class _Compared:
    """What the pairs of one program share."""

    def __init__(
        self, program: Program, links: Links, period: int, thorough: bool, budget: Budget
    ) -> None:
        self.program = program
        self.links = links
        self.period = period
        self.thorough = thorough
        self.budget = budget
        self.stretches = Stretches(program, links, period)
        self.calendar = build_calendar(program)
        self.dates = Dates(program, period)
        # what an accumulating timer holds is not kept in lanes
        held = any(timer.kind == "accumulating" for timer in program.timers)
        self.stage = None if held else Stage(program, period)
        # by the outputs that are shown
        self._parts: dict[tuple[str, ...], tuple[Program, Lanes | None]] = {}

    def part(self, shown: tuple[str, ...]) -> tuple[Program, Lanes | None]:
        """The part of the program on which these outputs depend, and that part played in lanes."""
        found = self._parts.get(shown)
        if found is None:
            part = part_of(self.program, self.links, shown)
            lanes = Lanes(self.stage, part, shown, self.calendar) if self.stage else None
            found = self._parts[shown] = (part, lanes)
        return found

    def order(self, upper: int, lower: int) -> Order:
        """What is to be said of two rungs, by their places. Raises OutOfBudget."""
        above, below = self.program.rungs[upper], self.program.rungs[lower]
        touched = self.links.touched(self.stretches.changed(upper, lower))
        shown = tuple(o.name for o in self.program.outputs if o.name in touched)
        if not shown:
            return Order(above, below, "same", proved=True)
        moved = moved_above(self.program, upper, lower)
        touched &= self.links.cone(shown)
        return _Inquiry(self, moved, shown, touched).order(above, below)


class _Inquiry:
    """Two programs that differ in the place of one rung; `touched` are the devices that this can
    change and that can change an output of `shown`."""

    def __init__(
        self, compared: _Compared, moved: Program, shown: tuple[str, ...], touched: Collection[str]
    ) -> None:
        self.compared = compared
        self.shown = shown
        self.touched = touched
        self.part, self.lanes = compared.part(shown)
        self.moved = reordered(self.part, moved.rungs)
        self.asks = tuple(
            Ask(f"assume.{n}", (item.circuit,)) for n, item in enumerate(self.part.properties)
        )
        self.assumed = tuple(ask.name for ask in self.asks)
        self.replay = Replay(
            (compared.program, moved),
            (self.part, self.moved),
            shown,
            compared.period,
            compared.calendar,
        )

    def order(self, above: Rung, below: Rung) -> Order:
        """The answer, from the cheapest evidence that there is."""
        passes = self.compared.links.passes(self.touched)
        passing, rests = self._met(not passes)
        large, reason = self._large(), ""
        if rests is None and not passes:
            rests, reason = (None, large) if large else self._rests()
        if rests is not None:
            hasty = self.replay.hasty(rests.witness)
            return Order(above, below, "differs", rests.outputs, rests.witness, hasty)
        if passing is None:
            ends = large or self._search(self.doubled, DIFFERS)
            if ends is None:
                return Order(above, below, "same", proved=True)
            if isinstance(ends, str):
                return Order(above, below, "unknown", self.shown, reason=ends)
            passing = ends
        outputs, witness = passing.outputs, passing.witness
        return Order(above, below, "late", outputs, witness, proved=not reason, reason=reason)

    def _large(self) -> str:
        """Why the part is not searched, unless somebody wants to wait for it."""
        rungs = len(self.part.rungs)
        outside = len(self.part.inputs) + len(self.part.clocks)
        if self.compared.thorough or (outside <= SMALL_OUTSIDE and rungs <= SMALL_RUNGS):
            return ""
        return f"{rungs} rungs and {outside} inputs and clocks take part"

    def _met(self, resting: bool) -> tuple[Told | None, Told | None]:
        """Runs met by chance: one that differs in passing, and one that differs at rest."""
        passing: Told | None = None
        for at_rest, witness in self.lanes.other(self.moved.rungs, resting) if self.lanes else ():
            told = self._told(witness, at_rest)
            if at_rest and told is not None:
                return None, told
            if not at_rest:
                passing = told
        return passing, None

    def _told(self, witness: Witness, resting: bool) -> Told | None:
        # most pairs are late, and playing costs more than all else about them
        most = MOST_REPLAYS if resting or self.compared.thorough else 0
        return self.replay.told(witness, resting, most)

    # --- runs of both programs at once

    @cached_property
    def doubled(self) -> Core:
        """One core of both programs; only what the lanes leave open needs it."""
        cores = [watch(each, self.asks, self.compared.period) for each in (self.part, self.moved)]
        return doubled(cores[0], cores[1], self.shown, self.touched, self.assumed)

    def _rests(self) -> tuple[Told | None, str]:
        """A run to different outputs at rest, not a hasty one if somebody wants to wait for that;
        else why it is not known whether there is one, empty if there is none."""
        core = resting(self.doubled, lags(self.part, self.doubled))
        found = self._search(core, RESTS)
        if isinstance(found, str):
            return None, found
        if found is not None and self.compared.thorough and self.replay.hasty(found.witness):
            calm = self._search(core, RESTS, (HASTY,))
            found = calm if isinstance(calm, Told) else found
        return found, ""

    def _search(self, core: Core, bad: str, more: Sequence[str] = ()) -> Told | str | None:
        """A run that has been played, or why none was found, or None if there is none. Raises
        OutOfBudget."""
        compared = self.compared
        for asked in self._questions(core, bad, (IMPOSSIBLE, *self.assumed, *more)):
            found = explore(asked, compared.budget, MOST_STATES, MOST_PATTERNS)
            if isinstance(found, Seen):
                return None
            met = False
            for run in self._runs(asked, found):
                met = True
                witness = timed(self.part, asked, run, compared.dates)
                told = None if witness is None else self._told(witness, bad == RESTS)
                if told is not None:
                    return told
            if isinstance(found, TooMany) and not met:
                return None if self._proved(asked) else found.reason
        return "no run that shows it was found to have times"

    def _questions(self, core: Core, bad: str, assumed: Sequence[str]) -> Iterator[Question]:
        """The question without any order of timers and clocks, and with it where there is one."""
        reduced = reduce(core, [bad, *assumed])
        yield question(reduced, bad, assumed)
        clocks = clock_names(reduced)
        pairs = all_pairs(reduced) if len(reduced.timers) <= MOST_ORDERED else ()
        if pairs or clocks:
            # the calendar of a year is only worth its time where a run without it cannot be
            calendar = self.compared.dates.order(clocks) if clocks else None
            yield question(reduced, bad, assumed, calendar, pairs)

    def _runs(
        self, asked: Question, found: Reached | TooMany
    ) -> Iterator[Sequence[Sequence[bool]]]:
        """Runs to what is asked about; not all of them can have times."""
        if isinstance(found, Reached):
            yield found.steps
        if self.compared.thorough:
            judge = TimeJudge(asked, lags(self.part, asked.core))
            run = bounded(asked.circuit, DEPTH, self.compared.budget, judge)
            self.compared.budget.check()
            if isinstance(run, Run):
                yield run.steps

    def _proved(self, asked: Question) -> bool:
        """Whether frames of clauses prove that there is no run, with not more than so many calls of
        a solver."""
        if not self.compared.thorough:
            return False
        work = frames(asked.circuit, self.compared.budget)
        calls = 0
        while calls < MOST_CALLS:
            try:
                calls = next(work)
            except StopIteration as ended:
                return isinstance(ended.value, Invariant)
        work.close()
        return False
