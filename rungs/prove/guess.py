"""Clauses that prove themselves: guessed about pairs of state bits, or picked out of many.

A panel is full of them: the steps of a sequence, coils that lock each other out, a relay that
repeats another. Frames of clauses find them one by one; here all that random runs do not refute are
put to a solver at once, and those it can refute are dropped until the rest is kept by every step.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from random import Random

from rungs.prove.budget import Budget
from rungs.prove.cnf import Clause, SolverFailed, Step, ask, new_solver
from rungs.prove.results import Work

SOLVER = "Minisat22"
LANES = 256  # runs at once, a bit each
ALL = (1 << LANES) - 1
STEPS = 40
GROUP = 64  # guesses that are put to the solver at once
MOST = 4_000  # guesses; beyond that they cost more than they bring


def pairs(step: Step, budget: Budget, among: Collection[int] | None = None) -> Work[list[Clause]]:
    """Clauses of two state bits that hold in every reachable state: those of the guesses that every
    step keeps if all of them hold. `among` are variables of state bits to guess about, None is all.
    A piece at a time: yields the solver calls so far, returns the clauses. Raises OutOfBudget and
    SolverFailed.
    """
    return kept(step, guesses(step, budget, among), budget)


def guesses(step: Step, budget: Budget, among: Collection[int] | None = None) -> list[Clause]:
    """The clauses of two state bits that random runs do not refute. All of them hold in the all-0
    state, so none says that one of two bits is 1."""
    first = step.first_state
    asked = [n for n in range(len(step.state)) if among is None or first + n in among]
    if len(asked) < 2:
        return []
    seen = _simulated(step, budget)
    found: list[Clause] = []
    for place, one in enumerate(asked):
        budget.check()
        ones = seen[one]
        for other in asked[:place]:
            others = seen[other]
            both = ones & others
            if not both:
                found.append([-(first + other), -(first + one)])
                continue
            if both == ones:
                found.append([first + other, -(first + one)])
            if both == others:
                found.append([-(first + other), first + one])
    return found if len(found) <= MOST else []


def _simulated(step: Step, budget: Budget) -> list[int]:
    """For each state bit, whether it was 1: a bit for each lane of each step."""
    rng = Random(1)
    words = (LANES + 7) // 8
    rows: list[list[bytes]] = [[] for _ in step.state]
    state = [0] * len(step.state)
    lanes = _Lanes(step)
    for _ in range(STEPS):
        budget.check()
        signals = [rng.getrandbits(LANES) for _ in step.signals]
        state = lanes.run(signals, state)
        for row, word in zip(rows, state, strict=True):
            row.append(word.to_bytes(words, "little"))
    return [int.from_bytes(b"".join(row), "little") for row in rows]


class _Lanes:
    """Many runs of a step at once. The value of a literal stands at its own place in a list, that
    of an inverted one, being negative, counted from the end: no reader has to invert."""

    def __init__(self, step: Step) -> None:
        self.step = step
        self.values = [0] * (2 * step.top + 1)
        self.values[1] = ALL
        self.gates: list[tuple[int, int, int, tuple[int, ...]]] = []
        for variable in range(step.first_gate, step.top + 1):
            one, other, *more = step.inputs[variable]
            self.gates.append((variable, one, other, tuple(more)))

    def run(self, signals: Sequence[int], state: Sequence[int]) -> list[int]:
        """The state after a step, in every lane."""
        values = self.values
        for variable, value in enumerate((*signals, *state), 2):
            values[variable] = value
            values[-variable] = ALL ^ value
        for variable, one, other, more in self.gates:
            value = values[one] & values[other]
            for lit in more:
                value &= values[lit]
            values[variable] = value
            values[-variable] = ALL ^ value
        return [values[lit] for lit in self.step.after]


def kept(step: Step, clauses: Sequence[Clause], budget: Budget) -> Work[list[Clause]]:
    """Those of the clauses that hold in the all-0 state and that every step keeps if all of them
    hold before it: the largest such part of them. A piece at a time, as `pairs`."""
    left = [clause for clause in clauses if any(lit < 0 for lit in clause)]
    if not left:
        return []
    rng = Random(2)
    after = {step.first_state + n: lit for n, lit in enumerate(step.after)}
    after |= {-variable: -lit for variable, lit in after.items()}
    lanes = _Lanes(step)
    solver = new_solver(SOLVER)
    calls = 0
    try:
        for clause in step.clauses():
            solver.add_clause(clause)
        tests = {n: [-after[lit] for lit in clause] for n, clause in enumerate(left)}
        # a clause is on by its switch; its mark says that a step breaks it
        switch = {number: step.top + 1 + 2 * number for number in range(len(left))}
        for number, clause in enumerate(left):
            solver.add_clause([-switch[number], *clause])
            for lit in tests[number]:
                solver.add_clause([-switch[number] - 1, lit])
        # a few of them at a time: whether a step breaks any of very many is a hard question
        groups: list[int] = []
        for begin in range(0, len(left), GROUP):
            groups.append(step.top + 1 + 2 * len(left) + len(groups))
            some = list(switch.values())[begin : begin + GROUP]
            solver.add_clause([-groups[-1], *(at + 1 for at in some)])
        place = kept_by = 0
        while kept_by < len(groups):
            budget.check()
            calls += 1
            yield calls
            if not ask(solver, [*switch.values(), groups[place]]):
                kept_by += 1
                place = (place + 1) % len(groups)
                continue
            kept_by = 0
            for number in _broken(lanes, tests, solver.get_model(), rng):
                del tests[number]
                at = switch.pop(number)
                solver.add_clause([-at])
                solver.add_clause([-at - 1])
        return [left[number] for number in switch]
    finally:
        solver.delete()


def _broken(lanes: _Lanes, tests: Mapping[int, Clause], model: list[int], rng: Random) -> list[int]:
    """Which tests come out all true after a step from the state of the model, with its signals or
    with any of many random ones."""
    first = lanes.step.first_state
    state = [ALL if model[first - 1 + n] > 0 else 0 for n in range(len(lanes.step.state))]
    # lane 0 is the model itself
    signals = [
        rng.getrandbits(LANES) >> 1 << 1 | (model[variable - 1] > 0) for variable in range(2, first)
    ]
    lanes.run(signals, state)
    values = lanes.values
    found = []
    for number, test in tests.items():
        broken = ALL
        for lit in test:
            broken &= values[lit]
        if broken:
            found.append(number)
    if not found:
        raise SolverFailed("a solver gave a step that is none")
    return found


def slim(step: Step, clauses: list[Clause], budget: Budget) -> list[Clause]:
    """Those of the clauses that are still an invariant by themselves.

    Each clause is switched by a variable of its own; the solver says which of them it needed to
    keep bad out, then which to keep those, until there are no new ones. Raises SolverFailed if all
    of the clauses are no invariant, and OutOfBudget.
    """
    solver = new_solver(SOLVER)
    try:
        for clause in step.clauses():
            solver.add_clause(clause)
        switches = range(step.top + 1, step.top + 1 + len(clauses))
        for switch, clause in zip(switches, clauses, strict=True):
            solver.add_clause([-switch, *clause])
        after = {step.first_state + n: lit for n, lit in enumerate(step.after)}
        after |= {-variable: -lit for variable, lit in after.items()}
        wanted: dict[int, None] = {}
        top = switches.stop

        def needed(assumptions: list[int]) -> list[int]:
            budget.check()
            # those that are kept anyway first: the solver then needs fewer of the others
            others = [switch for switch in switches if switch not in wanted]
            if ask(solver, [*assumptions, *wanted, *others]):
                raise SolverFailed("the frames that were found are no invariant")
            core = set(solver.get_core() or ())
            return [switch for switch in others if switch in core]

        fresh = needed([step.bad])
        while fresh:
            wanted |= dict.fromkeys(fresh)
            # one call for all of them: some clause of these does not hold after a step
            broken = range(top + 1, top + 1 + len(fresh))
            for mark, switch in zip(broken, fresh, strict=True):
                for lit in clauses[switch - step.top - 1]:
                    solver.add_clause([-mark, after[-lit]])
            top += len(fresh) + 1
            solver.add_clause([-top, *broken])
            fresh = needed([top])
        return [clauses[switch - step.top - 1] for switch in sorted(wanted)]
    finally:
        solver.delete()
