"""Can the panel ever come to this? One question after another to the engines, the cheap ones first.

Whatever an engine finds is a candidate: a run is told only when the reference interpreter has
played it, and a proof only with the invariant that another program can check.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace
from typing import Any, Literal

from rungs.core.nodes import PERIOD, Core
from rungs.core.reduce import cone, reduce
from rungs.core.watch import Ask, watch
from rungs.program.nodes import Program
from rungs.prove.bounded import SOLVER, bounded
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.certificate import certificate, recheck
from rungs.prove.chance import by_chance
from rungs.prove.clocks.dated import Dates, clock_names
from rungs.prove.cnf import SolverFailed, new_solver
from rungs.prove.diagram import diagram
from rungs.prove.explicit import Reached, Seen, TooMany, explore, explore_all
from rungs.prove.judge import TimeJudge
from rungs.prove.question import ClockOrder, Question, all_pairs, any_of, only, question
from rungs.prove.results import Bounded, Invariant, InvariantGates, Run
from rungs.prove.search import search
from rungs.prove.store import Store, key_of, record_of_run, run_of_record
from rungs.prove.timing import Step
from rungs.prove.witness import (
    AtOnce,
    Item,
    Witness,
    broken_at,
    core_steps,
    lags,
    shortened,
    timed_steps,
)
from rungs.prove.zoned import Closed, Path, zoned
from rungs.scan.generate import ScanBook

# Where all states are looked at: so many, and so many states times patterns of the inputs, at the
# most. Work is the limit, so that a question takes the same way each time; time, on slow machines.
EXPLICIT_SECONDS = 1.5
EXPLICIT_STATES = 6_000
EXPLICIT_PATTERNS = 1 << 23
MOST_TOO_LARGE = 2  # parts that are tried in vain before items are asked one by one
MOST_PAIRED = 6  # timers of which every pair is put in order from the first
CHANCE_SECONDS = 0.5
SLACK = 3  # scans by which one timer may start after another and still be put in order
ZONED_SECONDS = 10.0
DEEPER_SECONDS = 5.0
DEPTH = 200  # steps of the search with judged times where nothing else decides

Method = Literal["states", "invariant", "zones"]


@dataclass(frozen=True, slots=True)
class Found:
    """It can happen: a run that the reference interpreter has played. Its last scan shows it."""

    witness: Witness


@dataclass(frozen=True, slots=True)
class Never:
    """It can never happen. Every state was looked at (`states`), or the search found an
    `invariant`, or no state can be reached with the ages of the timers kept (`zones`); `size` is
    how many states, clauses or zones that were. `certificate` is the text of the proof, whose
    invariant has been checked by another solver; there is none for zones."""

    method: Method
    size: int
    certificate: str = ""


@dataclass(frozen=True, slots=True)
class NotBefore:
    """It does not happen in the first `scans` scans; why no more is known."""

    scans: int
    reason: str


@dataclass(frozen=True, slots=True)
class Undecided:
    """Nothing is known, and why."""

    reason: str


Answer = Found | Never | NotBefore | Undecided


def ask_of(item: Item, name: str) -> Ask:
    """What breaks a property, or shows rungs at once, as a question to the panel."""
    if isinstance(item, AtOnce):
        return Ask(name, (item.circuit,), powers=item.rungs)
    match item.kind:
        case "never" | "assume":
            return Ask(name, (item.circuit,))
        case "always":
            return Ask(name, (), (item.circuit,))
        case "require":
            assert item.when is not None
            return Ask(name, (item.when,), (item.circuit,), item.within)


class Prover:
    """Answers whether properties of one program can be broken, under its assumptions.

    `items` need not stand in the program's file: whatever can be said as a property can be asked.
    Runs that break an item of `plain` (by index) are not made any shorter, for nobody reads them.
    Raises LowerError for a program that has no core.
    """

    def __init__(
        self,
        program: Program,
        items: Sequence[Item],
        period: int = PERIOD,
        store: Store | None = None,
        plain: Collection[int] = (),
    ) -> None:
        self.store = store
        self.plain = frozenset(plain)
        self.program = program
        self.items = tuple(items)
        self.period = period
        self.assumed = tuple(each for each in program.properties if each.kind == "assume")
        self.asks = [ask_of(item, f"ask.{n}") for n, item in enumerate(self.items)]
        self.more = [ask_of(item, f"assume.{n}") for n, item in enumerate(self.assumed)]
        self.dates = Dates(program, period)
        self.scans = ScanBook()
        asks = [*self.asks, *self.more]
        self.core = reduce(watch(program, asks, period), [ask.name for ask in asks])
        self._cones: dict[tuple[int, bool, bool], tuple[Core, tuple[str, ...]]] = {}
        self._alone: dict[str, set[str]] = {}  # what each assumption depends on
        self.early: dict[int, Answer] = {}  # answers of a search for many items at once

    def cone(
        self, index: int, exact: bool = False, every: bool = False
    ) -> tuple[Core, tuple[str, ...]]:
        """The part of the core on which an item depends, and the assumptions that share it, or
        `every` one. With `exact` the debounce of each input in it is a timer."""
        known = self._cones.get((index, exact, every))
        if known is None:
            known = self._cones[index, exact, every] = self._cone(index, exact, every)
        return known

    def _cone(self, index: int, exact: bool, every: bool) -> tuple[Core, tuple[str, ...]]:
        name = self.asks[index].name
        core = self.core
        if exact:
            part = self.cone(index, every=every)[0]
            inputs = {signal.name for signal in part.signals}
            asks = [self.asks[index], *self.more]
            core = watch(self.program, asks, self.period, inputs)
            core = reduce(core, [ask.name for ask in asks])
        alone = cone(core, [name])
        wanted = _names(alone)
        kept: list[str] = []
        if self.more and not self._alone:
            self._alone = {a.name: _names(cone(self.core, [a.name])) for a in self.more}
        left = dict(self._alone)
        while True:
            # one that depends on nothing holds always or never
            more = [a for a, names in left.items() if every or not names or names & wanted]
            if not more:
                break
            for ask in more:
                wanted |= left.pop(ask)
                kept.append(ask)
        return (cone(core, [name, *kept]) if kept else alone), tuple(sorted(kept))

    def prepare(self, budget: Budget) -> None:
        """Look at all states of the larger parts once, for all items that lie within one part.

        What is found is given by `answer`; the other items are asked one by one.
        """
        cones = {}
        for index in range(len(self.items)):
            core, assumed = self.cone(index)
            cones[index] = (_names(core), assumed, len(core.timers) <= MOST_PAIRED)
        left = sorted(cones, key=lambda n: (-len(cones[n][0]), n))
        tries = MOST_TOO_LARGE
        while left:
            names, assumed, paired = cones[left[0]]
            group = [n for n in left if cones[n][0] <= names and cones[n][1] == assumed]
            whole = len(group) > 1 and self._explore(group, assumed, paired, budget)
            # where the whole is too large its parts may not be
            left = [n for n in left if (n not in group if whole else n != group[0])]
            left = [n for n in left if n not in self.early]
            tries -= not whole
            if not tries:
                return

    def _explore(
        self, group: list[int], assumed: tuple[str, ...], paired: bool, budget: Budget
    ) -> bool:
        """Look at all states of a part for a group of items; whether there were not too many."""
        bads = [self.asks[n].name for n in group]
        core = cone(self.core, [*bads, *assumed])
        asked = question(core, bads, assumed, None, all_pairs(core) if paired else ())
        part = budget.part(EXPLICIT_SECONDS)
        found = explore_all(asked, len(bads), part, EXPLICIT_STATES, EXPLICIT_PATTERNS)
        every = None
        if found.states is not None:
            every = diagram(asked.circuit, found.states, asked.over)
        for place, index in enumerate(group):
            run = found.runs.get(place)
            if run is not None:
                told = _Inquiry(self, index, budget).played(asked, run)
                if told is not None:
                    self.early[index] = told
        never = [place for place in range(len(group)) if place not in found.runs]
        if every is None or found.states is None or not never:
            return len(found.runs) == len(bads)
        # one check for all of them: the states are the same, and keep every bad output out
        if recheck(any_of(asked, never, len(bads)).circuit, every):
            for place in never:
                own = only(asked, place, len(bads)).circuit
                text = certificate(own, every, {})
                self.early[group[place]] = Never("states", len(found.states), text)
        return True

    def answer(self, index: int, budget: Budget, every: bool = False) -> Answer:
        """Whether an item can be broken, with `every` assumption or those that have to do with it.

        Never raises OutOfBudget: an answer says what it has."""
        try:
            found = self._asked(_Inquiry(self, index, budget, every))
            if isinstance(found, Undecided) and self.assumed and not every:
                return self._asked(_Inquiry(self, index, budget, every=True))
            return found
        except OutOfBudget as stop:
            return Undecided(str(stop))

    def _asked(self, inquiry: _Inquiry) -> Answer:
        """The answer that is kept for the same question, or a new one, which is then kept."""
        early = None if inquiry.every else self.early.get(inquiry.index)
        if early is not None:
            return early
        if self.store is None:
            return inquiry.answer()
        key = key_of(self.program, inquiry.core, inquiry.bad, inquiry.assumed)
        found = self._kept(inquiry, self.store.get(key))
        if found is not None:
            return found
        found = inquiry.answer()
        match found:
            case Never():
                self.store.put(
                    key,
                    {
                        "kind": "never",
                        "method": found.method,
                        "size": found.size,
                        "certificate": found.certificate,
                    },
                )
            case Found():
                self.store.put(key, record_of_run(found.witness))
            case NotBefore() | Undecided():
                pass  # another time there may be more of it
        return found

    def _kept(self, inquiry: _Inquiry, record: dict[str, Any] | None) -> Answer | None:
        """What a record says; a run only if it still shows what it should."""
        match record:
            case {
                "kind": "never",
                "method": "states" | "invariant" | "zones" as method,
                "size": int(size),
                "certificate": str(text),
            }:
                return Never(method, size, text)
            case {"kind": "found"}:
                assert record is not None
                witness = run_of_record(record)
                if witness is not None:
                    end = broken_at(self.program, inquiry.item, witness, self.period)
                    if end is not None and end == witness.end:
                        return Found(witness)
        return None


def _names(core: Core) -> set[str]:
    """What a core depends on outside and remembers inside, by name."""
    return {s.name for s in core.signals if s.kind != "first_scan"} | {b.name for b in core.state}


class _Inquiry:
    """One item on its way through the engines.

    Assumptions about other parts of the plant are left out at first, which can only add runs; where
    the panel at rest contradicts one of them, `every` one has to come in. Clocks are free at first,
    and move as the calendar lets them where that matters.
    """

    def __init__(self, prover: Prover, index: int, budget: Budget, every: bool = False) -> None:
        self.every = every
        self.prover = prover
        self.index = index
        self.item = prover.items[index]
        self.bad = prover.asks[index].name
        self.budget = budget
        self.core, self.assumed = prover.cone(index, every=every)
        self.clocks = clock_names(self.core)
        self.depth = 0
        few = len(self.core.timers) <= MOST_PAIRED
        self.slack = 0
        self.ordered = set(all_pairs(self.core)) if few else set()

    def answer(self) -> Answer:
        """The first of the searches that decides it."""
        asked = self._question(None)
        found = self._search(asked)
        if isinstance(found, Run) and self.clocks:
            asked = self._question(self.prover.dates.order(self.clocks))
            found = self._search(asked)
        while isinstance(found, Run) and self._order_more(asked, found):
            asked = self._question(self.prover.dates.order(self.clocks) if self.clocks else None)
            found = self._search(asked)
        if not isinstance(found, Run):
            return found
        return self._patient() or self._by_chance() or self._zoned() or self._deeper(asked)

    def _question(self, order: ClockOrder | None) -> Question:
        return question(self.core, self.bad, self.assumed, order, sorted(self.ordered), self.slack)

    def _order_more(self, asked: Question, run: Run) -> bool:
        """Put those timers in order whose ends cannot come as a run has them; whether that is
        anything new."""
        judge = TimeJudge(asked, lags(self.prover.program, asked.core))
        fresh = (set(all_pairs(self.core)) & judge.disordered(run)) - self.ordered
        self.ordered |= fresh
        if not fresh and self.ordered and not self.slack:
            self.slack = SLACK
            return True
        return bool(fresh)

    def _search(self, asked: Question) -> Answer | Run:
        """An answer, or a run that breaks the item at times that were not found."""
        try:
            found = explore(
                asked, self.budget.part(EXPLICIT_SECONDS), EXPLICIT_STATES, EXPLICIT_PATTERNS
            )
        except OutOfBudget:
            self.budget.check()
            found = TooMany(0, "")
        if isinstance(found, Seen):
            every = diagram(asked.circuit, found.states, asked.over)
            return self.proved("states", asked, every, len(found.states))
        if isinstance(found, Reached):
            return self.played(asked, found.steps) or Run(found.steps)
        sought = search(asked.circuit, self.budget)
        match sought:
            case Invariant():
                return self.proved("invariant", asked, sought, len(sought.clauses))
            case Bounded():
                self.depth = max(self.depth, sought.steps)
                return self._not_yet(sought.reason)
            case Run():
                return self.played(asked, sought.steps) or sought

    def proved(
        self, method: Method, asked: Question, invariant: Invariant | InvariantGates, size: int
    ) -> Answer:
        """A proof, if another solver agrees."""
        if not recheck(asked.circuit, invariant):
            try:
                new_solver(SOLVER).delete()
            except SolverFailed as missing:
                return Undecided(f"a proof was found that nobody could check: {missing}")
            return Undecided("a proof was found that did not stand up to the check of it")
        return Never(method, size, certificate(asked.circuit, invariant, {}))

    def _not_yet(self, reason: str) -> Answer:
        return NotBefore(self.depth, reason) if self.depth else Undecided(reason)

    def _patient(self) -> Found | None:
        """A run in which timers run out while nothing else happens has times more often."""
        order = self.prover.dates.order(self.clocks) if self.clocks else None
        asked = question(
            self.core, self.bad, self.assumed, order, all_pairs(self.core), patient=True
        )
        try:
            found = explore(
                asked, self.budget.part(EXPLICIT_SECONDS), EXPLICIT_STATES, EXPLICIT_PATTERNS
            )
        except OutOfBudget:
            self.budget.check()
            return None
        return self.played(asked, found.steps) if isinstance(found, Reached) else None

    def _by_chance(self) -> Found | None:
        """Somebody plays with the switches."""
        program, period = self.prover.program, self.prover.period
        part = self.budget.part(CHANCE_SECONDS)
        try:
            for witness in by_chance(program, self.core, self.bad, self.assumed, part):
                found = shortened(program, self.item, witness, period, self.budget)
                if found is not None:
                    return Found(found)
        except OutOfBudget:
            self.budget.check()
        return None

    def _zoned(self) -> Answer | None:
        """The run that was found needs times that cannot be: keep the ages of the timers, and more
        of the calendar and of the debounce each time."""
        bounces = any(device.debounce for device in self.prover.program.inputs)
        for exact, week in ((False, False), (False, True), (True, True)):
            if (week and not exact and not self.clocks) or (exact and not bounces):
                continue
            core, assumed = self.core, self.assumed
            if exact:
                core, assumed = self.prover.cone(self.index, True, self.every)
            graph = None
            if self.clocks:
                graph = self.prover.dates.graph(self.clocks, "week" if week else "vector")
            try:
                found = zoned(core, self.bad, self.budget.part(ZONED_SECONDS), assumed, graph)
            except OutOfBudget:
                self.budget.check()
                return None
            if isinstance(found, Closed):
                return Never("zones", found.nodes)
            if isinstance(found, Path):
                told = self.played_steps(core, found.steps)
                if told is not None:
                    return told
        return None

    def _deeper(self, asked: Question) -> Answer:
        """Step by step, with the times of every run judged, as far as the budget goes."""
        judge = TimeJudge(asked, lags(self.prover.program, asked.core))
        found = bounded(asked.circuit, DEPTH, self.budget.part(DEEPER_SECONDS), judge)
        if isinstance(found, Run):
            return self.played(asked, found.steps) or Undecided(
                "the times of a run that breaks it could not be found"
            )
        self.depth = max(self.depth, found.steps)
        return self._not_yet(found.reason)

    def played(self, asked: Question, run: Sequence[Sequence[bool]]) -> Found | None:
        """A run of a question as a run of the panel, if it has times and does what it should."""
        return self.played_steps(
            asked.core, core_steps(self.prover.program, asked, run, self.prover.scans)
        )

    def played_steps(self, core: Core, steps: tuple[Step, ...]) -> Found | None:
        program = self.prover.program
        scan = self.prover.scans.once(core)
        timed = timed_steps(program, core, steps, self.prover.dates, scan)
        if timed is None:
            return None
        witness = timed.witness
        if self.index in self.prover.plain:
            end = broken_at(program, self.item, witness, self.prover.period)
            return None if end is None else Found(replace(witness, end=end))
        found = shortened(program, self.item, witness, self.prover.period, self.budget)
        return None if found is None else Found(found)
