"""Random programs and properties: each engine of the prover against trying everything.

Trying everything runs on the reference interpreter and knows nothing of cores. With clocks it
cannot be done; there a proof must survive long play that leans towards what breaks proofs.
"""

from __future__ import annotations

import sys
from collections import Counter as Tally
from collections.abc import Iterator
from dataclasses import replace
from random import Random
from typing import Any

import pytest

from rungs.core.lower import LowerError
from rungs.core.nodes import PERIOD
from rungs.program.nodes import Contact, Program, Property, Timer, leaves
from rungs.prove import bounded as bounded_module
from rungs.prove import cnf, guess, pdr, reach
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.explicit import Seen, TooMany
from rungs.prove.reach import Answer, Found, Never, NotBefore, Prover, Undecided
from rungs.prove.results import Bounded, Invariant
from rungs.prove.verdict import Judge
from rungs.prove.zoned import Closed, Path, Stopped, zoned
from rungs.scan.calendar import build_calendar
from rungs.scan.fast import FastPanel
from rungs.scan.runner import Panel, WireFault
from rungs.scan.wall import default_start
from rungs.scan.watch import Watcher
from tests.helpers import program_of
from tests.properties import TooManyError, random_property, replayed, scans_to_break
from tests.strategies import random_program

SECONDS = 20.0
DAY = 24 * 60 * 60 * 1000


def clockless(seed: int) -> tuple[Program, Property, int | None] | None:
    """A program without clocks, a property, and after how many scans it breaks at the earliest."""
    rng = Random(seed)
    program = random_program(rng, rng.randint(2, 5))
    if program.clocks or len(program.inputs) > 3:
        return None
    if rng.random() < 0.3:
        assumed = replace(random_property(rng, program, (0,)), kind="assume", when=None, within=0)
        program = replace(program, properties=(assumed,))
    item = random_property(rng, program)
    try:
        return program, item, scans_to_break(program, item, PERIOD, most=400)
    except TooManyError:
        return None


def some(first: int, count: int) -> Iterator[tuple[int, Program, Property, int | None]]:
    seed = first
    while count:
        found = clockless(seed)
        if found is not None:
            count -= 1
            yield (seed, *found)
        seed += 1


def adds_up(program: Program) -> bool:
    return any(isinstance(d, Timer) and d.kind == "accumulating" for d in program.devices)


def check_answer(
    seed: int, program: Program, item: Property, truth: int | None, answer: Answer
) -> None:
    """That an answer says nothing that is not so, and leaves open only sums of times."""
    match answer:
        case Found(witness):
            assert truth is not None, seed
            assert witness.end // PERIOD + 1 >= truth, seed
            assert replayed(program, item, witness)[:1] == [witness.end], seed
        case Never():
            assert truth is None, seed
        case NotBefore(scans):
            assert truth is None or truth > scans, seed
            assert adds_up(program), seed
        case Undecided():
            assert adds_up(program), seed


def test_the_verdict_is_that_of_trying_everything() -> None:
    kinds: Tally[str] = Tally()
    for seed, program, item, truth in some(0, 90):
        answer = Prover(program, [item]).answer(0, Budget(SECONDS))
        check_answer(seed, program, item, truth, answer)
        kinds[type(answer).__name__] += 1
    assert kinds["Found"] > 20
    assert kinds["Never"] > 20


def test_without_the_search_of_states_it_is_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reach, "EXPLICIT_STATES", 1)
    methods: Tally[str] = Tally()
    for seed, program, item, truth in some(10_000, 100):
        answer = Prover(program, [item]).answer(0, Budget(SECONDS))
        check_answer(seed, program, item, truth, answer)
        if isinstance(answer, Never):
            methods[answer.method] += 1
    assert methods["invariant"] > 15


def test_the_search_that_keeps_ages_is_exact_by_itself() -> None:
    kinds: Tally[str] = Tally()
    for seed, program, item, truth in some(20_000, 120):
        prover = Prover(program, [item])
        core, assumed = prover.cone(0, True, True)
        try:
            found = zoned(core, prover.asks[0].name, Budget(SECONDS), assumed)
        except OutOfBudget:
            found = Stopped("late")
        match found:
            case Closed():
                assert truth is None, seed
            case Path(steps):
                # a sum of times may be taken for larger than it is
                assert truth is not None or adds_up(program), seed
                if truth is not None and not adds_up(program):
                    assert sum(not step.cut for step in steps) <= truth, seed
            case Stopped():
                pass
        kinds[type(found).__name__] += 1
    assert kinds["Closed"] > 30
    assert kinds["Path"] > 30
    assert kinds["Stopped"] < 6


def test_steps_without_the_property_are_as_many_as_it_says(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # little time, so that much is left open
    monkeypatch.setattr(reach, "EXPLICIT_STATES", 1)
    many = 0
    for seed, program, item, truth in some(30_000, 60):
        left = [Random(seed).randint(1, 12)]

        def cancelled(left: list[int] = left) -> bool:
            left[0] -= 1
            return left[0] < 0

        answer = Prover(program, [item]).answer(0, Budget(cancelled=cancelled))
        match answer:
            case NotBefore(scans):
                assert truth is None or truth > scans, seed
                many += 1
            case Undecided(reason):
                assert reason
                many += 1
            case Never():
                assert truth is None, seed
            case Found():
                assert truth is not None, seed
    assert many > 10


# --- with clocks --------------------------------------------------------------------------------


class _Play:
    """Somebody who plays where proofs break: round the ends of timers and clocks, with inputs held
    and let go, wires broken and the power cut."""

    def __init__(self, program: Program, items: tuple[Property, ...], rng: Random) -> None:
        self.rng = rng
        assumed = tuple(each for each in program.properties if each.kind == "assume")
        self.watcher = Watcher(replace(program, properties=(*items, *assumed)))
        calendar = build_calendar(program)
        # the clocks of random programs are drawn round one noon: some scans before most of them
        start = default_start(calendar)
        start = start // DAY * DAY + DAY // 2 + rng.choice((-50, -20, -1000, 0, 3_599_950, -13))
        start += rng.choice((0, 0, -1, 1, 2, 90, 180)) * DAY
        self.panel = Panel(program, start, PERIOD, jump=False, calendar=calendar)
        self.panel.watchers.append(self.watcher.see)
        self.named = sorted(
            {
                leaf.name
                for item in (*items, *assumed)
                for circuit in (item.circuit, *([item.when] if item.when else []))
                for leaf in leaves(circuit)
                if isinstance(leaf, Contact) and leaf.kind in ("broken", "shorted")
            }
        )
        lengths = {d.preset for d in program.timers} | {d.off for d in program.timers if d.off}
        lengths |= {d.debounce for d in program.inputs if d.debounce}
        lengths |= {item.within for item in items if item.within}
        self.holds = [
            1,
            1,
            1,
            2,
            3,
            *(max(-(-n // PERIOD) + d, 1) for n in lengths for d in (-1, 0, 1)),
        ]

    def scans(self, count: int) -> int:
        """Play for about so many scans; how many were made."""
        made = 0
        panel, rng = self.panel, self.rng
        names = list(panel.circuits)
        while made < count and self.watcher.contradicted is None:
            roll = rng.random()
            if roll < 0.1 and panel.state.t >= 0:
                panel.switch_power(False)
                panel.pass_to(panel.now + PERIOD * rng.choice((1, 1, 2, 5, 100)))
                panel.switch_power(True)
            elif roll < 0.25 and self.named:
                wire: WireFault = rng.choice(("sound", "broken", "shorted"))
                panel.fault(rng.choice(self.named), wire)
            elif names:
                for name in rng.sample(names, rng.randint(1, min(2, len(names)))):
                    panel.give_circuits({name: not panel.circuits[name]})
            for _ in range(rng.choice(self.holds)):
                panel.make_scan()
                made += 1
        return made


def test_with_clocks_nothing_proved_is_broken_by_long_play(
    monkeypatch: pytest.MonkeyPatch,
) -> None:
    # play by chance only ever finds runs; here it is left to us
    monkeypatch.setattr(reach, "by_chance", lambda *_: iter(()))
    made = proved = failed = 0
    seed = 40_000
    while made < 40_000:
        seed += 1
        rng = Random(seed)
        program = random_program(rng, 4)
        if not program.clocks:
            continue
        # properties about clocks, and about what hangs on them
        items = tuple(random_property(rng, program, (0, 10, 30, 100)) for _ in range(3))
        if rng.random() < 0.3:
            assumed = replace(random_property(rng, program, (0,)), kind="assume", when=None)
            program = replace(program, properties=(replace(assumed, within=0),))
        try:
            prover = Prover(program, items)
        except LowerError:
            continue
        answers = [prover.answer(n, Budget(1.0)) for n in range(len(items))]
        kept = []
        for item, answer in zip(items, answers, strict=True):
            if isinstance(answer, Found):
                failed += 1
                assert replayed(program, item, answer.witness)[:1] == [answer.witness.end], seed
            if isinstance(answer, Never):
                kept.append(item)
        if not kept:
            continue
        proved += len(kept)
        for _ in range(8):
            play = _Play(program, tuple(kept), rng)
            made += play.scans(400)
            assert play.watcher.violations == (), seed
    assert proved > 30
    assert failed > 15


def test_long_play_breaks_what_is_false() -> None:
    # the play itself is worth something: it finds much of what is known to fail
    found = known = 0
    seed = 50_000
    while known < 40:
        seed += 1
        rng = Random(seed)
        program = random_program(rng, 4)
        if not program.clocks:
            continue
        item = random_property(rng, program)
        if not isinstance(Prover(program, [item]).answer(0, Budget(SECONDS)), Found):
            continue
        known += 1
        for _ in range(4):
            play = _Play(program, (item,), rng)
            play.scans(300)
            if play.watcher.violations:
                found += 1
                break
    assert found >= 30


# --- nothing but a search that ended is a proof -------------------------------------------------

TRUE_ONE = """
input start at I1
input stop at I2 NC
output one at R1
output two at R2
relay a
relay b
relay c
timer rest off-delay 500ms
rung start and not b -> latch a
rung a and start -> latch c
rung not stop -> unlatch a
rung not start and not a -> latch b
rung start -> unlatch b
rung a and not b -> one, rest
rung b and not one and not rest -> two
never one and two
never two and rest
"""


class Gives:
    """A solver that answers everything in one way."""

    def __init__(self, answer: object) -> None:
        self.answer = answer

    def __getattr__(self, name: str) -> Any:
        def called(*_: object, **__: object) -> Any:
            if name in ("solve", "solve_limited"):
                if isinstance(self.answer, BaseException):
                    raise self.answer
                return self.answer
            if name == "accum_stats":
                return {"conflicts": 0}
            return None

        return called


@pytest.mark.parametrize("answer", [None, 0, "UNSAT", [], MemoryError("full"), RuntimeError("x")])
@pytest.mark.parametrize("number", [0, 1])
def test_a_solver_that_does_not_answer_proves_nothing(
    monkeypatch: pytest.MonkeyPatch, answer: object, number: int
) -> None:
    program = program_of(TRUE_ONE)
    assert Judge(program).verdict(number, Budget(SECONDS)).verdict == "proved"
    monkeypatch.setattr(reach, "EXPLICIT_STATES", 1)
    monkeypatch.setattr(reach, "zoned", lambda *_, **__: Stopped("not asked"))
    for module in (pdr, guess, bounded_module, cnf):
        monkeypatch.setattr(module, "new_solver", lambda name: Gives(answer))
    found = Judge(program).verdict(number, Budget(SECONDS))
    assert found.verdict in ("unknown", "holds")


@pytest.mark.parametrize("answer", [None, 0, "", MemoryError("full")])
def test_a_checker_that_does_not_answer_proves_nothing(
    monkeypatch: pytest.MonkeyPatch, answer: object
) -> None:
    monkeypatch.setattr("rungs.prove.checker._solver", lambda: Gives(answer))
    found = Judge(program_of(TRUE_ONE)).verdict(0, Budget(SECONDS))
    assert isinstance(found.answer, Undecided)
    assert "did not stand up to the check" in found.answer.reason


FALSE_ONE = "input a at I1\noutput b at R1\nrelay c\nrung a and c -> b\nrung a -> c\nnever b\n"


@pytest.mark.parametrize("claimed", [Seen((0,)), Seen((0, 1, 2, 3)), Seen(())])
def test_states_that_are_not_all_prove_nothing(
    monkeypatch: pytest.MonkeyPatch, claimed: Seen
) -> None:
    monkeypatch.setattr(reach, "explore", lambda *_, **__: claimed)
    found = Judge(program_of(FALSE_ONE)).verdict(0, Budget(SECONDS))
    assert found.verdict == "unknown"


@pytest.mark.parametrize("clauses", [(), ((4,),), ((7,), (9,)), ((),)])
def test_an_invariant_that_is_none_proves_nothing(
    monkeypatch: pytest.MonkeyPatch, clauses: tuple[tuple[int, ...], ...]
) -> None:
    monkeypatch.setattr(reach, "explore", lambda *_, **__: TooMany(0, "not asked"))
    monkeypatch.setattr(reach, "search", lambda *_, **__: Invariant(clauses))
    found = Judge(program_of(FALSE_ONE)).verdict(0, Budget(SECONDS))
    assert found.verdict == "unknown"


def test_a_run_that_shows_nothing_is_no_failure(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(reach, "explore", lambda *_, **__: TooMany(0, "not asked"))
    monkeypatch.setattr(reach, "search", lambda *_, **__: Bounded(7, "enough"))
    found = Judge(program_of(FALSE_ONE)).verdict(0, Budget(SECONDS))
    assert (found.verdict, found.scans) == ("holds", 7)
    monkeypatch.setattr(reach, "search", lambda *_, **__: Bounded(0, "enough"))
    assert Judge(program_of(FALSE_ONE)).verdict(0, Budget(SECONDS)).verdict == "unknown"


@pytest.mark.parametrize("seconds", [0.0, 1e-9, 1e-6])
def test_hardly_any_time_is_unknown_and_never_a_proof(seconds: float) -> None:
    for text, count in ((TRUE_ONE, 2), (FALSE_ONE, 1)):
        judge = Judge(program_of(text))
        for number in range(count):
            found = judge.verdict(number, Budget(seconds))
            assert found.verdict == "unknown"
            assert isinstance(found.answer, Undecided)
            assert found.answer.reason.startswith("stopped after")


def test_without_the_library_a_proof_is_none(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pysat.solvers", None)
    found = Judge(program_of(TRUE_ONE)).verdict(0, Budget(SECONDS))
    assert found.verdict == "unknown"


@pytest.mark.parametrize(
    ("assumed", "said"),
    [
        ("assume never start\nassume never not start", "a first scan"),
        ("assume never first_scan", "a first scan"),
        ("assume never not first_scan", "a second scan"),
        (
            "assume never start\nassume never not start and stop\nassume never not stop",
            "a first scan",
        ),
        ("assume never one\nassume never start and stop", ""),
    ],
)
def test_assumptions_that_no_panel_keeps_to_are_told(assumed: str, said: str) -> None:
    judge = Judge(program_of(TRUE_ONE + assumed + "\n"))
    wrong = judge.assumptions(Budget(SECONDS))
    assert wrong == (f"the assumptions rule out {said}: no panel can keep to them" if said else "")
    if wrong:
        found = judge.verdict(0, Budget(SECONDS), wrong)
        assert (found.verdict, found.exercised) == ("unknown", False)


# plants that keep to their assumptions for two scans, or for five seconds, and then no longer can
SHORT_LIVED = (
    "relay b\nrelay c\nrung b -> c\nrung not first_scan -> b\nassume never c\n",
    "relay b\ntimer up on-delay 5s\nrung start or not start -> b\nrung b -> up\nassume never up\n",
)


@pytest.mark.parametrize("plant", SHORT_LIVED)
def test_assumptions_that_let_no_run_last_are_told(plant: str) -> None:
    text = "input start at I1\noutput lamp at R1\ntimer late on-delay 10s\n"
    text += f"rung start -> late\nrung late -> lamp\n{plant}"
    judge = Judge(program_of(text + "require when start then not lamp\n"))
    wrong = judge.assumptions(Budget(SECONDS))
    found = judge.verdict(0, Budget(SECONDS), wrong)
    assert wrong or found.verdict != "proved" or not found.exercised


def test_the_budget_is_asked_every_few_thousand_scans(monkeypatch: pytest.MonkeyPatch) -> None:
    # both add up the same scans, so the longer is never full first; but the searches do not relate
    # two sums, leave it open, and play by chance comes next
    program = program_of(
        "input a at I1\noutput lamp at R1\nrelay chatter\n"
        "timer sum accumulating 2h\ntimer long accumulating 1h\nrung not chatter -> chatter\n"
        "rung a -> sum, long\nrung sum and not long and chatter -> lamp\nnever lamp\n"
    )
    scans = [0]
    make, check = FastPanel.make_scan, Budget.check

    def made(panel: FastPanel, *given: Any) -> Any:
        scans[0] += 1
        assert scans[0] < 20_000
        return make(panel, *given)

    def checked(budget: Budget) -> None:
        scans[0] = 0
        check(budget)

    monkeypatch.setattr(FastPanel, "make_scan", made)
    monkeypatch.setattr(Budget, "check", checked)
    assert Judge(program).verdict(0, Budget(1.0)).verdict in ("unknown", "holds", "proved")
