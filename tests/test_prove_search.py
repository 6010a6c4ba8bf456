"""The SAT searches against plain breadth-first search, by hand-made circuits and by random ones.

The breadth-first search here and the evaluation of a circuit are written for this file alone.
"""

from __future__ import annotations

import signal
import subprocess
import sys
from collections.abc import Callable, Iterable, Sequence
from itertools import pairwise, product
from random import Random
from typing import Any

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.core.nodes import FALSE, TRUE, Core, CoreOutput, CoreTimer, Gates, Lit, Signal, StateBit
from rungs.prove import bounded as bounded_module
from rungs.prove import cnf, guess, pdr
from rungs.prove.bounded import bounded
from rungs.prove.budget import Budget
from rungs.prove.certificate import recheck
from rungs.prove.cnf import SolverFailed, ask, step_of
from rungs.prove.results import Bounded, Impossible, Invariant, Run
from rungs.prove.search import search

Bits = tuple[bool, ...]
ENOUGH = 60.0  # s; no search here takes a tenth of it


# --- circuits -----------------------------------------------------------------------------------


class Maker:
    """A circuit in the making: `x` are its signals, `s` its state bits."""

    def __init__(self, signals: int, state: int) -> None:
        self.x = [(1 + n) * 2 for n in range(signals)]
        self.s = [(1 + signals + n) * 2 for n in range(state)]
        self.gates = Gates(signals + state)

    def core(self, after: Sequence[Lit], bad: Lit) -> Core:
        return Core(
            "made here",
            10,
            tuple(Signal(f"x{n}", "input", f"x{n}") for n in range(len(self.x))),
            tuple(StateBit(f"s{n}", "coil", f"s{n}", "", lit) for n, lit in enumerate(after)),
            tuple(self.gates.made),
            (CoreOutput("bad", "asked", bad),),
            (),
            (),
            (),
        )


def random_core(rng: Random, signals: int, state: int) -> Core:
    """Gates of any two or three literals so far; state bits and bad are any of the last of them."""
    made = Maker(signals, state)
    pool = [*made.x, *made.s]
    for _ in range(rng.randint(1, 3 + 3 * state)):
        parts = [rng.choice(pool) ^ rng.randrange(2) for _ in range(rng.choice((2, 2, 3)))]
        lit = made.gates.conj(*parts) if rng.random() < 0.7 else made.gates.differ(*parts[:2])
        if lit > 1:
            pool.append(lit & ~1)
    after = [rng.choice(pool[-2 * state - 2 :]) ^ (rng.random() < 0.3) for _ in range(state)]
    # several things at once, so that bad is not met in the first steps
    parts = [rng.choice(pool) ^ rng.randrange(2) for _ in range(rng.randint(1, 4))]
    return made.core(after, made.gates.conj(*parts))


@st.composite
def cores(draw: st.DrawFn) -> Core:
    seed = draw(st.integers(0, 2**32))
    return random_core(Random(seed), draw(st.integers(1, 4)), draw(st.integers(1, 8)))


def values_of(core: Core, state: Sequence[bool], signals: Sequence[bool]) -> list[bool]:
    values = [False, *signals, *state]
    for gate in core.gates:
        values.append(all(values[lit // 2] ^ bool(lit % 2) for lit in gate))
    return values


def value(values: Sequence[bool], lit: Lit) -> bool:
    return values[lit // 2] ^ bool(lit % 2)


def stepped(core: Core, values: Sequence[bool]) -> Bits:
    return tuple(value(values, bit.next) for bit in core.state)


def shown_bad(core: Core, run: Sequence[Bits]) -> list[bool]:
    state: Bits = (False,) * len(core.state)
    shown = []
    for signals in run:
        values = values_of(core, state, signals)
        shown.append(value(values, core.outputs[0].lit))
        state = stepped(core, values)
    return shown


def shortest(core: Core) -> int | None:
    """The steps of a shortest run that shows bad, by breadth-first search; None for none."""
    patterns = list(product((False, True), repeat=len(core.signals)))
    layer: set[Bits] = {(False,) * len(core.state)}
    seen = set(layer)
    steps = 0
    while layer:
        steps += 1
        after = set()
        for state in layer:
            for signals in patterns:
                values = values_of(core, state, signals)
                if value(values, core.outputs[0].lit):
                    return steps
                after.add(stepped(core, values))
        layer = after - seen
        seen |= layer
    return None


def check_found(core: Core, found: object, length: int | None, least: bool) -> None:
    """A result is of the right kind and proves itself; a run is a shortest one if `least`."""
    if length is None:
        assert isinstance(found, Invariant)
        assert recheck(core, found)
        every = [lit for clause in found.clauses for lit in clause]
        assert all(core.first_state <= lit >> 1 < core.first_gate for lit in every)
    else:
        assert isinstance(found, Run)
        assert shown_bad(core, found.steps) == [False] * (len(found.steps) - 1) + [True]
        assert len(found.steps) == length if least else len(found.steps) >= length


# --- against breadth-first search ---------------------------------------------------------------


@given(cores())
@settings(max_examples=60, deadline=None)
def test_every_search_finds_what_breadth_first_search_finds(core: Core) -> None:
    length = shortest(core)
    check_found(core, pdr.pdr(core, Budget(ENOUGH)), length, least=False)
    check_found(core, search(core, Budget(ENOUGH)), length, least=False)
    found = bounded(core, 12, Budget(ENOUGH))
    if length is None or length > 12:
        assert found == Bounded(12, "no run of up to 12 steps shows it")
    else:
        check_found(core, found, length, least=True)


def test_many_random_circuits_agree_with_breadth_first_search() -> None:
    runs = proofs = 0
    for seed in range(250):
        rng = Random(seed)
        core = random_core(rng, rng.randint(1, 3), rng.randint(3, 9))
        length = shortest(core)
        check_found(core, pdr.pdr(core, Budget(ENOUGH)), length, least=False)
        runs += length is not None and length > 1
        proofs += length is None
    # otherwise the random circuits would show nothing
    assert runs > 20
    assert proofs > 50


def test_clauses_that_are_guessed_from_the_start_change_no_answer(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    monkeypatch.setattr(pdr, "GUESS_AFTER", 0)
    monkeypatch.setattr(pdr, "RENEW", 3)
    for seed in range(120):
        rng = Random(seed)
        core = random_core(rng, rng.randint(1, 3), rng.randint(3, 9))
        check_found(core, pdr.pdr(core, Budget(ENOUGH)), shortest(core), least=False)


@given(cores(), st.data())
@settings(max_examples=60, deadline=None)
def test_hints_true_or_not_change_no_answer(core: Core, data: st.DataObject) -> None:
    leaf = st.integers(core.first_state * 2, core.first_gate * 2 - 1)
    hints = data.draw(st.lists(st.lists(leaf, max_size=3).map(tuple), max_size=5))
    check_found(core, pdr.pdr(core, Budget(ENOUGH), hints), shortest(core), least=False)


# --- circuits whose answer is known -------------------------------------------------------------


def counter(bits: int, top: int, wrap: int | None = None) -> Core:
    """Counts scans in which x0 is 1, back to 0 after `wrap`; can it show `top`?"""
    made = Maker(1, bits)

    def shows(number: int) -> Lit:
        return made.gates.conj(*(s ^ 1 ^ (number >> n & 1) for n, s in enumerate(made.s)))

    carry, after = made.x[0], []
    clear = made.gates.conj(shows(wrap), made.x[0]) if wrap is not None else FALSE
    for s in made.s:
        after.append(made.gates.conj(made.gates.differ(s, carry), clear ^ 1))
        carry = made.gates.conj(s, carry)
    return made.core(after, shows(top))


def ring(steps: int) -> Core:
    """A sequence of steps, the first of which comes when none is on; can two be on?"""
    made = Maker(2, steps)
    none = made.gates.conj(*(s ^ 1 for s in made.s))
    after = []
    for n, s in enumerate(made.s):
        comes = made.gates.conj(made.s[n - 1], made.x[0])
        comes = made.gates.disj(comes, none) if n == 0 else comes
        after.append(
            made.gates.conj(
                made.gates.disj(comes, made.gates.conj(s, made.x[0] ^ 1)), made.x[1] ^ 1
            )
        )
    bad = [made.gates.conj(a, b) for n, a in enumerate(made.s) for b in made.s[:n]]
    return made.core(after, made.gates.disj(*bad))


def interlocked(locked: bool) -> Core:
    """Two latches, each set by its own input, and, if locked, only while the other is off."""
    made = Maker(3, 2)
    one, other = made.s
    first = made.gates.conj(made.gates.disj(made.x[0], one), made.x[2] ^ 1, other ^ 1)
    second = made.gates.conj(made.gates.disj(made.x[1], other), made.x[2] ^ 1)
    if locked:
        # the second rung reads what the first has just left
        second = made.gates.conj(second, first ^ 1)
    return made.core((first, second), made.gates.conj(first, second))


def chain(length: int) -> Core:
    """A shift register; can its end be 1 while its input is 0?"""
    made = Maker(1, length)
    return made.core((made.x[0], *made.s[:-1]), made.gates.conj(made.s[-1], made.x[0] ^ 1))


def lfsr() -> Core:
    """Seven bits after a first step that sets one, taps 7 and 6, which run through all 127 states
    that are not 0 (FROM MEMORY: x^7 + x^6 + 1 is primitive): never all 0 again."""
    made = Maker(0, 8)
    began, *bits = made.s
    fresh = made.gates.disj(made.gates.differ(bits[6], bits[5]), began ^ 1)
    zero = made.gates.conj(began, *(bit ^ 1 for bit in bits))
    return made.core((TRUE, fresh, *bits[:-1]), zero)


def johnson(length: int) -> Core:
    """A ring with one inversion; a 0 between two 1s is never in it."""
    made = Maker(0, length)
    bad = [made.gates.conj(made.s[n], made.s[n + 1] ^ 1, made.s[n + 2]) for n in range(length - 2)]
    return made.core((made.s[-1] ^ 1, *made.s[:-1]), made.gates.disj(*bad))


@pytest.mark.parametrize(
    ("core", "length"),
    [
        (counter(5, 31), 32),
        (counter(8, 230), 231),
        (counter(5, 31, wrap=20), None),
        (ring(3), None),
        (ring(24), None),
        (interlocked(True), None),
        (interlocked(False), 1),
        (chain(40), 41),
        (lfsr(), None),
        (johnson(12), None),
    ],
    ids=lambda value: "" if isinstance(value, Core) else str(value),
)
def test_a_known_circuit_gets_its_known_answer(core: Core, length: int | None) -> None:
    found = search(core, Budget(ENOUGH))
    check_found(core, found, length, least=False)


def test_a_shortest_run_of_a_counter_counts_in_every_scan() -> None:
    found = bounded(counter(5, 25), 100, Budget(ENOUGH))
    assert isinstance(found, Run)
    assert found.steps[:-1] == ((True,),) * 25


@pytest.mark.parametrize(
    ("bad", "wanted"), [(FALSE, Invariant(())), (TRUE, Run(((False, False),)))]
)
def test_a_constant_is_answered(bad: Lit, wanted: Invariant | Run) -> None:
    core = Maker(2, 3).core((FALSE, FALSE, FALSE), bad)
    assert search(core, Budget(ENOUGH)) == wanted
    assert pdr.pdr(core, Budget(ENOUGH)) == wanted


def test_a_circuit_without_state_is_answered() -> None:
    made = Maker(2, 0)
    core = made.core((), made.gates.conj(made.x[0], made.x[1] ^ 1))
    assert search(core, Budget(ENOUGH)) == Run(((True, False),))
    made = Maker(2, 0)
    first, second = made.gates.conj(*made.x), made.gates.conj(made.x[0], made.x[1] ^ 1)
    assert search(made.core((), made.gates.conj(first, second)), Budget(ENOUGH)) == Invariant(())


def test_a_bit_that_never_leaves_0_stands_in_the_proof() -> None:
    made = Maker(1, 2)
    # each is only set by the other
    core = made.core((made.gates.conj(made.s[1], made.x[0]), made.s[0]), made.s[0])
    assert search(core, Budget(ENOUGH)) == Invariant(((made.s[0] ^ 1,), (made.s[1] ^ 1,)))


def test_a_proof_names_no_more_than_it_needs() -> None:
    made = Maker(2, 12)
    one, other = made.s[:2]
    first = made.gates.conj(made.x[0], other ^ 1)
    after = [first, made.gates.conj(made.x[1], made.gates.disj(first, one) ^ 1)]
    after += [made.gates.disj(s, made.x[n % 2]) for n, s in enumerate(made.s[2:])]
    found = search(made.core(after, made.gates.conj(one, other)), Budget(ENOUGH))
    assert found == Invariant(((one ^ 1, other ^ 1),))


def test_a_circuit_that_is_no_question_is_refused() -> None:
    core = Maker(1, 1).core((FALSE,), FALSE)
    timed = Core(
        *(core.title, core.period, core.signals, core.state, core.gates, core.outputs),
        (CoreTimer("t", "t", "on-delay", 100, 0, TRUE),),
        (),
        (),
    )
    silent = Core(core.title, core.period, core.signals, core.state, core.gates, (), (), (), ())
    calls: tuple[Callable[[Core], object], ...] = (
        lambda core: search(core, Budget(ENOUGH)),
        lambda core: pdr.pdr(core, Budget(ENOUGH)),
        lambda core: bounded(core, 3, Budget(ENOUGH)),
    )
    for call in calls:
        with pytest.raises(ValueError, match="a question has no timers"):
            call(timed)
        with pytest.raises(ValueError, match="a question needs an output"):
            call(silent)


def test_the_same_question_takes_the_same_way_under_any_hash_seed() -> None:
    code = (
        "from tests.test_prove_search import *\n"
        "for core in (ring(9), counter(5, 31, wrap=20), counter(6, 40)):\n"
        "    print(search(core, Budget(60)))"
    )
    shown = {
        subprocess.run(
            [sys.executable, "-c", code],
            env={"PYTHONHASHSEED": seed, "PYTHONPATH": ":".join(p for p in sys.path if p)},
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1", "99")
    }
    assert len(shown) == 1
    assert "Invariant" in shown.pop()


# --- the judge ----------------------------------------------------------------------------------


def shortest_without(core: Core, depth: int, impossible: Iterable[Impossible]) -> int | None:
    """The steps of a shortest run up to `depth` that shows bad and meets none of the conjunctions.
    A search of whole runs, so only for small circuits."""
    patterns = list(product((False, True), repeat=len(core.signals)))
    rules = []
    for one in impossible:
        least = min(step for step, _ in one.facts)
        rules.append((one, least))
    runs: list[tuple[list[list[bool]], Bits]] = [([], (False,) * len(core.state))]
    for step in range(depth):
        longer: dict[Any, tuple[list[list[bool]], Bits]] = {}
        span = max((s for one, _ in rules for s, _ in one.facts), default=0) + 1
        for shown, state in runs:
            for signals in patterns:
                values = values_of(core, state, signals)
                history = [*shown, values]
                if any(_met(history, one, least) for one, least in rules):
                    continue
                if value(values, core.outputs[0].lit):
                    return step + 1
                after = stepped(core, values)
                # what can still matter: the state, and the steps that a rule may look back at
                longer.setdefault((after, str(history[-span:])), (history, after))
        runs = list(longer.values())
    return None


def _met(history: list[list[bool]], one: Impossible, least: int) -> bool:
    for shift in range(-least, len(history)) if one.shift else (0,):
        steps = [(step + shift, lit) for step, lit in one.facts]
        if max(step for step, _ in steps) == len(history) - 1 and all(
            value(history[step], lit) for step, lit in steps
        ):
            return True
    return False


@given(st.integers(0, 2**32), st.data())
@settings(max_examples=60, deadline=None)
def test_what_the_judge_rules_out_is_out_and_nothing_else(seed: int, data: st.DataObject) -> None:
    core = random_core(Random(seed), 2, 3)
    last = core.first_gate + len(core.gates)
    fact = st.tuples(st.integers(0, 2), st.integers(2, 2 * last - 1))
    rule = st.builds(Impossible, st.lists(fact, min_size=1, max_size=3).map(tuple), st.booleans())
    rules = data.draw(st.lists(rule, min_size=1, max_size=3))

    def judge(run: Run) -> list[Impossible] | None:
        state: Bits = (False,) * len(core.state)
        history: list[list[bool]] = []
        for signals in run.steps:
            history.append(values_of(core, state, signals))
            state = stepped(core, history[-1])
            for one in rules:
                if _met(history, one, min(step for step, _ in one.facts)):
                    # said of the place where it was seen, if it may be said of any
                    least = max(step for step, _ in one.facts) - len(history) + 1
                    return [
                        Impossible(tuple((step - least, lit) for step, lit in one.facts), one.shift)
                    ]
        return None

    wanted = shortest_without(core, 5, rules)
    found = bounded(core, 5, Budget(ENOUGH), judge)
    if wanted is None:
        assert isinstance(found, Bounded)
        assert found.steps == 5
    else:
        assert isinstance(found, Run)
        assert judge(found) is None
        assert len(found.steps) == wanted
        assert shown_bad(core, found.steps)[-1]
    free = search(core, Budget(ENOUGH), judge) if wanted is not None else None
    if isinstance(free, Run):
        assert judge(free) is None
    assert not isinstance(free, Invariant)


def test_a_judge_that_lets_x_hold_only_every_third_scan_makes_a_counter_slow() -> None:
    core = counter(3, 5)

    def judge(run: Run) -> list[Impossible] | None:
        on = [n for n, (x,) in enumerate(run.steps) if x]
        close = [(a, b) for a, b in pairwise(on) if b - a < 3]
        return [Impossible(((a, 2), (b, 2)), shift=True) for a, b in close[:1]] or None

    found = bounded(core, 40, Budget(ENOUGH), judge)
    # five counts, in scans 1, 4, 7, 10 and 13; it shows in the next
    assert isinstance(found, Run)
    assert len(found.steps) == 14
    through = search(core, Budget(ENOUGH), judge)
    assert isinstance(through, Run)
    assert judge(through) is None


def test_a_judge_that_names_nothing_in_the_run_proves_nothing() -> None:
    core = counter(2, 1)

    def judge(run: Run) -> list[Impossible]:
        return [Impossible(((0, 3),), shift=False)]

    found = bounded(core, 9, Budget(ENOUGH), judge)
    assert found == Bounded(1, "the judge refused a run but named nothing in it")
    with pytest.raises(ValueError, match="a conjunction without facts"):
        bounded(core, 9, Budget(ENOUGH), lambda run: [Impossible((), shift=False)])


# --- nothing but a plain no is a proof ----------------------------------------------------------


def test_no_time_is_no_proof() -> None:
    for core in (ring(5), counter(4, 9), interlocked(True)):
        for found in (
            search(core, Budget(0)),
            pdr.pdr(core, Budget(0)),
            bounded(core, 20, Budget(0)),
        ):
            assert found == Bounded(0, "stopped after 0 s")


@pytest.mark.parametrize("asked", range(1, 120, 7))
def test_a_search_that_is_cancelled_says_how_far_it_got(asked: int) -> None:
    left = [asked]

    def cancelled() -> bool:
        left[0] -= 1
        return left[0] < 0

    found = search(counter(6, 60), Budget(cancelled=cancelled))
    assert isinstance(found, Bounded)
    assert found.reason == "cancelled"
    assert 0 <= found.steps < 61


class Faulty:
    """A solver that works for a number of calls and then answers as told."""

    def __init__(self, real: Any, calls: list[int], answer: Callable[[], object]) -> None:
        self.real = real
        self.calls = calls
        self.answer = answer

    def __getattr__(self, name: str) -> Any:
        return getattr(self.real, name)

    def solve(self, assumptions: Sequence[int]) -> object:
        self.calls[0] -= 1
        if self.calls[0] < 0:
            return self.answer()
        return self.real.solve(assumptions)

    def solve_limited(self, assumptions: Sequence[int]) -> object:
        self.calls[0] -= 1
        if self.calls[0] < 0:
            return self.answer()
        return self.real.solve_limited(assumptions)


def _raises() -> object:
    raise MemoryError("no room")


@pytest.mark.parametrize("answer", [lambda: None, lambda: 0, lambda: "UNSAT", list, _raises])
@pytest.mark.parametrize("calls", [0, 1, 2, 5, 11])
def test_a_solver_that_gives_up_proves_nothing(
    monkeypatch: pytest.MonkeyPatch, answer: Callable[[], object], calls: int
) -> None:
    left = [calls]

    def faulty(name: str) -> Faulty:
        return Faulty(cnf.new_solver(name), left, answer)

    for module in (pdr, guess, bounded_module):
        monkeypatch.setattr(module, "new_solver", faulty)
    for core in (ring(4), counter(5, 31, wrap=20)):
        left[0] = calls
        found: object = pdr.pdr(core, Budget(ENOUGH))
        assert isinstance(found, Bounded)
        assert "a solver" in found.reason
        left[0] = calls
        assert isinstance(search(core, Budget(ENOUGH)), Bounded)
        left[0] = calls
        found = bounded(core, 40, Budget(ENOUGH))
        assert isinstance(found, Bounded)
        # without a solver there are only the steps that fold to constants
        assert found.steps <= 16
        assert "a solver" in found.reason


def test_a_solver_that_always_says_no_does_not_prove_what_is_false(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    class Denies(Faulty):
        def get_core(self) -> list[int]:
            return []

    for module in (pdr, guess):
        monkeypatch.setattr(
            module, "new_solver", lambda name: Denies(cnf.new_solver(name), [0], lambda: False)
        )
    found = pdr.pdr(counter(4, 9), Budget(ENOUGH))
    assert isinstance(found, Bounded)
    assert "did not pass its check" in found.reason


def test_without_the_library_the_answer_says_so(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pysat.solvers", None)
    for found in (
        search(ring(3), Budget(ENOUGH)),
        pdr.pdr(ring(3), Budget(ENOUGH)),
        bounded(ring(3), 4, Budget(ENOUGH)),
    ):
        assert isinstance(found, Bounded)
        assert found.steps == 0
        assert found.reason.startswith("the search library (python-sat) is not installed; ")


def test_a_solver_that_the_library_does_not_have_is_named() -> None:
    with pytest.raises(SolverFailed, match="the solver Nobody did not start"):
        cnf.new_solver("Nobody")


def test_the_library_is_loaded_by_a_search_alone() -> None:
    code = "import sys, rungs.prove.search, rungs.prove.checker; print('pysat' in sys.modules)"
    shown = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert shown.stdout == "False\n"


# --- parts --------------------------------------------------------------------------------------


def reachable(core: Core) -> set[Bits]:
    patterns = list(product((False, True), repeat=len(core.signals)))
    seen: set[Bits] = {(False,) * len(core.state)}
    order = list(seen)
    for state in order:
        for signals in patterns:
            after = stepped(core, values_of(core, state, signals))
            if after not in seen:
                seen.add(after)
                order.append(after)
    return seen


def test_guessed_clauses_hold_in_every_reachable_state() -> None:
    many = 0
    for seed in range(80):
        rng = Random(seed)
        step = step_of(random_core(rng, 2, rng.randint(3, 7)))
        work = guess.pairs(step, Budget(ENOUGH))
        clauses: list[list[int]] = []
        while True:
            try:
                next(work)
            except StopIteration as ended:
                clauses = ended.value
                break
        many += len(clauses)
        for state in reachable(step.core):
            row = [state[number] for number in step.state]
            for clause in clauses:
                assert any(row[abs(lit) - step.first_state] == (lit > 0) for lit in clause)
    assert many > 100


def test_bits_that_are_stuck_are_0_in_every_reachable_state() -> None:
    many = 0
    for seed in range(300):
        core = random_core(Random(seed), 1, 6)
        stuck = cnf.stuck_bits(core)
        many += len(stuck)
        states = reachable(core) if stuck else set()
        assert not any(state[node - core.first_state] for state in states for node in stuck)
    assert many > 20


class InterruptedSolver:
    """A solver in whose run somebody pressed Ctrl-C, as the library tells of it."""

    def solve(self, assumptions: Sequence[int]) -> bool:
        raise RuntimeError("Caught keyboard interrupt")


def test_an_interrupt_that_a_solver_swallowed_is_handed_on() -> None:
    heard: list[int] = []
    before = signal.signal(signal.SIGINT, lambda number, frame: heard.append(number))
    try:
        with pytest.raises(SolverFailed, match="interrupt"):
            ask(InterruptedSolver(), [1])
    finally:
        signal.signal(signal.SIGINT, before)
    assert heard == [signal.SIGINT]
