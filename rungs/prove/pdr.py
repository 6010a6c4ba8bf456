"""Proofs of questions by frames of clauses that tighten around what can be reached, or a run.

Frame i is clauses that hold in every state of up to i steps. A state that leads to bad is a cube to
be kept out of a frame: by a clause as short as the solvers can make it, or by first keeping out
what leads to the cube. When a frame is the same as the next it is an invariant. This needs no chain
of steps in one solver, so it proves what would take hundreds of them. Nothing in it depends on the
order of a set or on chance, so the same question takes the same way each time.

Source of the method: "SAT-Based Model Checking without Unrolling" (2011) and "Efficient
Implementation of Property Directed Reachability" (2011), both FROM MEMORY.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from heapq import heappop, heappush
from typing import Any

from rungs.core.nodes import Core, Lit
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.certificate import recheck
from rungs.prove.cnf import (
    Clause,
    SolverFailed,
    Step,
    ask,
    first_bad,
    new_solver,
    step_of,
)
from rungs.prove.guess import kept, pairs, slim
from rungs.prove.results import Bounded, Found, Invariant, Run, Work

SOLVER = "Minisat22"
GUESS_AFTER = 250  # solver calls without a result until pairs of state bits are guessed
RENEW = 400  # queries of one solver until it is made anew, without the leftovers of the old ones
SIGNAL_COST = 0.01  # of leaning on a signal rather than on a state bit, which costs 1
MANY = 1e6  # costs are cut here: they are sums over paths, and grow fast

Cube = tuple[int, ...]  # literals that hold together, over state bits, rising


@dataclass(slots=True, eq=False)
class _Kept:
    """A cube that is kept out: as literals, as bits, and the last state that stopped it from being
    kept out of the next frame, with the number of clauses there were by then."""

    cube: Cube
    mask: int
    witness: int = 0
    seen: int = -1


@dataclass(slots=True, eq=False)
class _Goal:
    """A cube from which `after` can be reached with `signals`, or bad if there is none."""

    cube: Cube
    mask: int
    signals: tuple[bool, ...]
    after: _Goal | None


def pdr(
    core: Core, budget: Budget, hints: Sequence[Sequence[Lit]] = ()
) -> Invariant | Run | Bounded:
    """An invariant that keeps bad out, a run that shows bad (not always a shortest one), or how far
    it is known that there is none.

    `hints` are clauses over state bits that may hold in every reachable state; wrong ones only cost
    time. Raises ValueError if the core is no question.
    """
    work = steps(core, budget, hints)
    while True:
        try:
            next(work)
        except StopIteration as ended:
            found: Found = ended.value
            return found


def steps(core: Core, budget: Budget, hints: Sequence[Sequence[Lit]] = ()) -> Work[Found]:
    """The same search a piece at a time: yields the number of solver calls so far, returns the
    result."""
    step = step_of(core)
    search = _Search(step, budget)
    try:
        budget.check()
        found = yield from search.run(hints)
    except (OutOfBudget, SolverFailed) as reason:
        return Bounded(search.clean, str(reason))
    finally:
        search.close()
    if isinstance(found, Run):
        last = first_bad(core, found.steps)
        if last is None:
            return Bounded(0, "the run that was found does not show bad when it is replayed")
        # on its way to bad the run may have met it by chance
        return Run(found.steps[: last + 1])
    if not recheck(core, found):
        return Bounded(0, "the invariant that was found did not pass its check")
    return found


class _Search:
    def __init__(self, step: Step, budget: Budget) -> None:
        self.step = step
        self.budget = budget
        self.clean = 0  # steps for which it is known that none shows bad
        self.calls = 0
        self.base = step.clauses()
        self.first = step.first_state
        self.width = len(step.state)
        self.after: dict[int, int] = {}
        self.bit: dict[int, int] = {}
        for number, literal in enumerate(step.after):
            variable = self.first + number
            self.after[variable], self.after[-variable] = literal, -literal
            self.bit[variable], self.bit[-variable] = 1 << 2 * number, 2 << 2 * number
        self.order = _by_cost(step)
        self.uses: dict[int, int] = dict.fromkeys(self.after, 0)
        self.frames: list[list[_Kept]] = []
        self.solvers: list[Any] = []
        self.tops: list[int] = []
        self.always: list[Clause] = []  # clauses known to hold in every reachable state
        self.log: list[tuple[int, int]] = []  # level and bits of every cube, in order
        self.count = 0
        self.guessed = False

    def close(self) -> None:
        for solver in self.solvers:
            solver.delete()
        self.solvers = []

    # --- solvers

    def _open(self, level: int) -> Any:
        solver = new_solver(SOLVER)
        for clause in self.base:
            solver.add_clause(clause)
        if level == 0:
            for variable in range(self.first, self.first + self.width):
                solver.add_clause([-variable])
        else:
            for clause in self.always:
                solver.add_clause(clause)
            for frame in self.frames[level:]:
                for old in frame:
                    solver.add_clause([-lit for lit in old.cube])
        return solver

    def _new_frame(self) -> None:
        self.frames.append([])
        self.solvers.append(self._open(len(self.frames) - 1))
        self.tops.append(self.step.top)

    def _ask(self, level: int, assumptions: list[int]) -> bool:
        self.budget.check()
        self.calls += 1
        return ask(self.solvers[level], assumptions)

    def _kept_out(self, cube: Cube, level: int) -> tuple[Cube | None, list[int]]:
        """Whether no state of the frame before, but for those of the cube, leads into the cube.

        If so, the part of the cube that was needed to show it, else the values of a state that
        leads there.
        """
        below = level - 1
        if self.tops[below] > self.step.top + RENEW:
            self.solvers[below].delete()
            self.solvers[below] = self._open(below)
            self.tops[below] = self.step.top
        self.tops[below] += 1
        mark = self.tops[below]
        solver = self.solvers[below]
        solver.add_clause([-mark, *(-lit for lit in cube)])
        after = self.after
        if self._ask(below, [mark, *(after[lit] for lit in cube)]):
            values: list[int] = solver.get_model()
            solver.add_clause([-mark])
            return None, values
        core = set(solver.get_core() or ())
        solver.add_clause([-mark])
        part = tuple(lit for lit in cube if after[lit] in core)
        return (self._off_start(part, cube) if self._starts(part) else part), []

    def _off_start(self, part: Cube, cube: Cube) -> Cube:
        """The part of the cube with one literal more that the all-0 state does not have."""
        best = max((lit for lit in cube if lit > 0), key=lambda lit: (self.uses[lit], lit))
        return tuple(sorted((*part, best), key=abs))

    # --- the search

    def run(self, hints: Sequence[Sequence[Lit]]) -> Work[Invariant | Run]:
        step = self.step
        if step.bad == -1:
            return self._invariant([])
        self._new_frame()
        if self._ask(0, [step.bad]):
            return Run((self._signals(self.solvers[0].get_model()),))
        self.clean = 1
        self._new_frame()
        if hints:
            yield from self._settle(self._clauses_of(hints), guess=False)
        while True:
            top = len(self.frames) - 1
            while self._ask(top, [step.bad]):
                values = self.solvers[top].get_model()
                cube = self._lifted(values, [step.bad])
                goal = _Goal(cube, self._mask(cube), self._signals(values), None)
                run = yield from self._block(goal, top)
                if run is not None:
                    return run
            self.clean = top + 1
            self._new_frame()
            whole = yield from self._push()
            if whole is not None:
                return self._invariant(whole)

    def _block(self, goal: _Goal, top: int) -> Work[Run | None]:
        """Keeps the goal out of the top frame, or gives the run that reaches it."""
        queue: list[tuple[int, int, _Goal]] = []

        def put(level: int, goal: _Goal) -> None:
            self.count += 1
            heappush(queue, (level, self.count, goal))

        if self._starts(goal.cube):
            return self._run(goal)
        put(top, goal)
        while queue:
            level, _, goal = heappop(queue)
            yield self.calls
            if not self.guessed and self.calls > GUESS_AFTER:
                yield from self._settle([], guess=True)
            known = self._blocked(goal.mask, level)
            if known:
                if known < top:
                    put(known + 1, goal)
                continue
            part, values = self._kept_out(goal.cube, level)
            if part is None:
                cube = self._lifted(values, [self.after[lit] for lit in goal.cube])
                before = _Goal(cube, self._mask(cube), self._signals(values), goal)
                if level == 1 or self._starts(cube):
                    return self._run(before)
                put(level - 1, before)
                put(level, goal)
                continue
            cube, level = self._generalised(part, level, top)
            self._add(cube, level)
            if level < top:
                put(level + 1, goal)
        return None

    # --- clauses that always hold

    def _clauses_of(self, hints: Sequence[Sequence[Lit]]) -> list[Clause]:
        """The hints that speak of bits in the cone and can hold in the all-0 state."""
        known = {node: n for n, node in enumerate(self.step.state, self.first)}
        found = []
        for hint in hints:
            parts = [known.get((lit >> 1) - self.step.core.first_state, 0) for lit in hint]
            if all(parts) and any(lit & 1 for lit in hint):
                found.append([-v if lit & 1 else v for v, lit in zip(parts, hint, strict=True)])
        return found

    def _settle(self, more: list[Clause], guess: bool) -> Work[None]:
        """Takes the part of the clauses that proves itself into every frame."""
        self.guessed = self.guessed or guess
        if guess:
            # about bits that have come up: many others only matter to one another
            among = {abs(lit) for lit, uses in self.uses.items() if uses}
            work = pairs(self.step, self.budget, among)
        else:
            work = kept(self.step, more, self.budget)
        calls = self.calls
        while True:
            try:
                self.calls = calls + next(work)
                yield self.calls
            except StopIteration as ended:
                found: list[Clause] = ended.value
                break
        self.always += found
        for solver in self.solvers[1:]:
            for clause in found:
                solver.add_clause(clause)

    def _starts(self, cube: Cube) -> bool:
        """Whether the all-0 state is one of the cube's."""
        return all(lit < 0 for lit in cube)

    def _blocked(self, mask: int, level: int) -> int:
        """The highest frame that keeps the whole cube out already, 0 if none from `level` on."""
        for number in range(len(self.frames) - 1, level - 1, -1):
            for old in self.frames[number]:
                if old.mask & mask == old.mask:
                    return number
        return 0

    def _generalised(self, cube: Cube, level: int, top: int) -> tuple[Cube, int]:
        """A cube around this one that is kept out just as well, and the highest frame for it."""
        uses = self.uses
        tried: set[int] = set()
        while True:
            left = [lit for lit in cube if lit not in tried]
            if not left:
                break
            drop = min(left, key=lambda lit: (uses[lit], abs(lit)))
            tried.add(drop)
            smaller = tuple(lit for lit in cube if lit != drop)
            if self._starts(smaller):
                continue
            part, _ = self._kept_out(smaller, level)
            if part is not None:
                cube = part
        while level < top:
            part, _ = self._kept_out(cube, level + 1)
            if part is None:
                break
            cube = part
            level += 1
        return cube, level

    def _add(self, cube: Cube, level: int) -> None:
        mask = self._mask(cube)
        for number in range(1, level + 1):
            frame = self.frames[number]
            if frame:
                self.frames[number] = [old for old in frame if old.mask & mask != mask]
        self.frames[level].append(_Kept(cube, mask))
        self.log.append((level, mask))
        clause = [-lit for lit in cube]
        for number in range(1, level + 1):
            self.solvers[number].add_clause(clause)
        for lit in cube:
            self.uses[lit] += 1

    def _push(self) -> Work[list[Cube] | None]:
        """Moves clauses up where they hold; the cubes of an invariant if a frame becomes empty."""
        for level in range(1, len(self.frames) - 1):
            stays: list[_Kept] = []
            for old in self.frames[level]:
                if self._still_stopped(old, level):
                    old.seen = len(self.log)
                    stays.append(old)
                    continue
                yield self.calls
                part, values = self._kept_out(old.cube, level + 1)
                if part is None:
                    old.seen = len(self.log)
                    old.witness = self._mask(values[self.first - 1 : self.first - 1 + self.width])
                    stays.append(old)
                elif part == old.cube:
                    self.frames[level + 1].append(_Kept(part, old.mask))
                    self.log.append((level + 1, old.mask))
                    self.solvers[level + 1].add_clause([-lit for lit in part])
                else:
                    self._add(part, level + 1)
            self.frames[level] = stays
            if not stays:
                return [old.cube for frame in self.frames[level + 1 :] for old in frame]
        return None

    def _still_stopped(self, old: _Kept, level: int) -> bool:
        """Whether the state that last led into the cube from this frame is still in the frame."""
        state = old.witness
        return old.seen >= 0 and not any(
            at >= level and mask & state == mask for at, mask in self.log[old.seen :]
        )

    # --- values

    def _mask(self, literals: Sequence[int]) -> int:
        mask = 0
        bit = self.bit
        for lit in literals:
            mask |= bit[lit]
        return mask

    def _signals(self, values: Sequence[int]) -> tuple[bool, ...]:
        signals = [False] * len(self.step.core.signals)
        for variable, number in enumerate(self.step.signals, 2):
            signals[number] = values[variable - 1] > 0
        return tuple(signals)

    def _lifted(self, values: Sequence[int], targets: Sequence[int]) -> Cube:
        """State bits whose values, with those of the signals, make all targets come out true.

        From each target back through the gates: a gate that is 1 needs all of its inputs, one that
        is 0 a single input that is 0, the one which costs least.
        """
        order, first, first_gate = self.order, self.first, self.step.first_gate
        seen = set()
        found = []
        stack = [abs(lit) for lit in targets]
        while stack:
            variable = stack.pop()
            if variable in seen:
                continue
            seen.add(variable)
            if variable < first:
                continue
            if variable < first_gate:
                found.append(values[variable - 1])
            elif values[variable - 1] > 0:
                stack += [abs(lit) for lit in order[variable]]
            else:
                best = 0
                for lit in order[variable]:
                    node = lit if lit > 0 else -lit
                    if values[node - 1] != lit:
                        if node in seen:
                            best = 0
                            break
                        best = best or node
                if best:
                    stack.append(best)
        return tuple(sorted(found, key=abs))

    def _run(self, goal: _Goal) -> Run:
        steps = []
        here: _Goal | None = goal
        while here is not None:
            steps.append(here.signals)
            here = here.after
        return Run(tuple(steps))

    # --- the end

    def _invariant(self, cubes: Sequence[Cube]) -> Invariant:
        """The cubes as clauses, and what else is needed to keep bad out, and no more."""
        lit_of = self.step.lit_of
        clauses = [[lit_of(-lit) for lit in cube] for cube in cubes]
        clauses += [[lit_of(lit) for lit in clause] for clause in self.always]
        step = self.step
        if step.stuck:
            # the search took these bits for a constant, but a proof has to say that they are
            step = step_of(step.core, fold=False)
            first = step.core.first_state
            clauses += [[(first + n) * 2 + 1] for n in step.state if first + n in self.step.stuck]
        signed = [[step.signed(lit) for lit in clause] for clause in clauses]
        found = slim(step, signed, self.budget)
        made = (tuple(sorted(step.lit_of(lit) for lit in clause)) for clause in found)
        return Invariant(tuple(sorted(made)))


def _by_cost(step: Step) -> list[tuple[int, ...]]:
    """The inputs of each gate, those that are cheapest to lean on being 0 first.

    The cost of a literal is about how many state bits it takes to make it true.
    """
    true_at = [0.0] + [SIGNAL_COST] * (step.first_state - 1) + [1.0] * len(step.state)
    false_at = list(true_at)
    order: list[tuple[int, ...]] = [()] * step.first_gate

    def untrue(lit: int) -> float:
        return false_at[lit] if lit > 0 else true_at[-lit]

    for gate in range(step.first_gate, step.top + 1):
        inputs = tuple(sorted(step.inputs[gate], key=untrue))
        order.append(inputs)
        whole = sum(true_at[lit] if lit > 0 else false_at[-lit] for lit in inputs)
        true_at.append(min(whole, MANY))
        false_at.append(untrue(inputs[0]))
    return order
