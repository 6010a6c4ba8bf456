"""Shortest runs that show bad: the steps are written out one after the other and a solver asked.

What the circuit leaves out, above all exact time, comes in from outside: a judge looks at each run
and names what in it is impossible; that is ruled out and the search goes on. So the search stays a
search of plain circuits, and whoever knows about time does not have to know about solvers.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence

from rungs.core.nodes import Core
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.cnf import (
    Clause,
    SolverFailed,
    Unrolled,
    bad_of,
    broken_off,
    new_solver,
    shows_bad,
    steps_of,
)
from rungs.prove.results import Bounded, Impossible, Run, Work

SOLVER = "Minicard"
SLICE = 2_000  # conflicts between two looks at the budget

Judge = Callable[[Run], Sequence[Impossible] | None]


def bounded(core: Core, depth: int, budget: Budget, judge: Judge | None = None) -> Run | Bounded:
    """A shortest run of up to `depth` steps that shows bad and that the judge accepts, if any.

    `judge` gives None for a run that is possible, else what in it is impossible: at least one
    conjunction of facts that hold in this very run, or the search ends, for it would go round in
    circles. Raises ValueError if the core is no question.
    """
    work = lengths(core, depth, budget, judge)
    while True:
        try:
            next(work)
        except StopIteration as ended:
            found: Run | Bounded = ended.value
            return found


def lengths(
    core: Core, depth: int, budget: Budget, judge: Judge | None = None
) -> Work[Run | Bounded]:
    """The same search a piece at a time: a step, a run for the judge, or a slice of a hard step.
    Yields the conflicts of the solver so far, returns the result."""
    bad_of(core)
    search = None
    try:
        budget.check()
        search = _Search(core, budget, judge)
        found = yield from search.run(depth)
    except (OutOfBudget, SolverFailed) as reason:
        return Bounded(search.clean if search else 0, str(reason))
    finally:
        if search:
            search.solver.delete()
    return found


class _Search:
    def __init__(self, core: Core, budget: Budget, judge: Judge | None) -> None:
        self.core = core
        self.budget = budget
        self.judge = judge
        self.bad = bad_of(core)
        self.clean = 0  # steps for which it is known that no run shows bad
        self.solver = new_solver(SOLVER)
        self.chain = Unrolled(core, self._add)
        self.ruled_out: dict[Impossible, None] = {}
        self.placed: set[tuple[Impossible, int]] = set()

    def _add(self, clause: Clause) -> None:
        self.solver.add_clause(clause)

    def run(self, depth: int) -> Work[Run | Bounded]:
        for step in range(depth):
            self.budget.check()
            bad = self.chain.at(step, self.bad)
            for impossible in self.ruled_out:
                self._place(impossible, step)
            while bad != -1:
                if not (yield from self._ask([bad])):
                    self._add([-bad])
                    break
                run = self._run(step)
                if not shows_bad(self.core, run.steps):
                    raise SolverFailed("a solver gave a run that does not show bad")
                verdict = self.judge(run) if self.judge else None
                if verdict is None:
                    return run
                self._rule_out(run, verdict, step)
                yield self._conflicts()
            self.clean = step + 1
            yield self._conflicts()
        return Bounded(self.clean, f"no run of up to {self.clean:,} steps shows it")

    def _ask(self, assumptions: list[int]) -> Work[bool]:
        """Whether the chain of steps can be so, in slices, so that the budget is asked between."""
        while True:
            self.budget.check()
            try:
                self.solver.conf_budget(SLICE)
                answer = self.solver.solve_limited(assumptions)
                spent = answer is None and self._conflicts() >= SLICE
            except Exception as error:
                raise broken_off(error) from error
            if answer is True:
                return True
            if answer is False:
                return False
            if not spent:
                raise SolverFailed(f"a solver gave no answer ({answer!r})")
            yield self._conflicts()

    def _conflicts(self) -> int:
        try:
            found: int = self.solver.accum_stats()["conflicts"]
        except Exception as error:
            raise SolverFailed(f"a solver broke off: {error}") from error
        return found

    def _run(self, last: int) -> Run:
        values: list[int] = self.solver.get_model() or []
        steps = []
        for step in range(last + 1):
            signals = []
            for number in range(len(self.core.signals)):
                variable = self.chain.seen(step, 1 + number)
                signals.append(0 < variable <= len(values) and values[variable - 1] > 0)
            steps.append(tuple(signals))
        return Run(tuple(steps))

    # --- what the judge says

    def _rule_out(self, run: Run, verdict: Sequence[Impossible], last: int) -> None:
        shown = steps_of(self.core, run.steps)
        met = False
        for impossible in verdict:
            if not impossible.facts:
                raise ValueError("the judge ruled out nothing: a conjunction without facts")
            if any(step < 0 for step, _ in impossible.facts):
                raise ValueError("the judge named a step before the first")
            met = met or all(
                step <= last and shown[step][lit >> 1] != lit & 1 for step, lit in impossible.facts
            )
            self.ruled_out[impossible] = None
            for step in range(last + 1):
                self._place(impossible, step)
        if not met:
            raise SolverFailed("the judge refused a run but named nothing in it")

    def _place(self, impossible: Impossible, last: int) -> None:
        """Rules the facts out where the last of them is at the given step."""
        shift = last - max(step for step, _ in impossible.facts)
        first = min(step for step, _ in impossible.facts) + shift
        if first < 0 or (shift and not impossible.shift) or (impossible, shift) in self.placed:
            return
        self.placed.add((impossible, shift))
        at = self.chain.at
        clause = sorted({-at(step + shift, lit) for step, lit in impossible.facts})
        if 1 in clause:
            return
        clause = [lit for lit in clause if lit != -1]
        # a solver may not take a clause without literals
        self._add(clause or [-1])
