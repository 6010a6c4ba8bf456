"""Verdicts on a suite of panels whose truth is known by other ways, and what goes with a verdict.

The other ways share nothing with the prover but the core: a core with a counter for each timer is
built here, so that time is nothing but scans, and searched by a few lines of our own or by ABC.
"""

from __future__ import annotations

import os
import re
import shutil
import subprocess
import sys
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest

from rungs.core.interchange import aiger_binary
from rungs.core.nodes import (
    FALSE,
    PERIOD,
    TRUE,
    Core,
    CoreOutput,
    CoreTimer,
    Gates,
    Lit,
    Signal,
    StateBit,
)
from rungs.core.patterns import split, variable_masks
from rungs.core.reduce import reduce
from rungs.core.watch import Ask, watch
from rungs.program.nodes import Program, Property
from rungs.prove import checker
from rungs.prove.budget import Budget
from rungs.prove.reach import Never, NotBefore, Undecided
from rungs.prove.verdict import Judge, Verdict
from rungs.scan.generate import scan_wide
from rungs.scan.scenario import play
from tests.helpers import program_of
from tests.proof_suite import SUITES, Suite
from tests.properties import replayed, scans_to_break

SECONDS = 60.0  # for one property; none takes a quarter of it on a quiet core

CASES = [(suite, number) for suite in SUITES for number in range(len(suite.entries))]


def case_id(case: tuple[Suite, int]) -> str:
    suite, number = case
    return f"{suite.name}-{suite.entries[number].name}".replace(" ", "_")


def cases_of(*ways: str) -> list[tuple[Suite, int]]:
    return [case for case in CASES if case[0].entries[case[1]].way in ways]


def each(cases: list[tuple[Suite, int]]) -> pytest.MarkDecorator:
    return pytest.mark.parametrize("case", cases, ids=case_id)


@cache
def judge_of(suite: Suite) -> Judge:
    return Judge(program_of(suite.whole))


@cache
def verdict_of(suite: Suite, number: int) -> Verdict:
    judge = judge_of(suite)
    return judge.verdict(number, Budget(SECONDS), judge.assumptions(Budget(SECONDS)))


# --- time as scans ------------------------------------------------------------------------------


def ask_of(item: Property, name: str) -> Ask:
    """What breaks a property, by the words of the language reference."""
    if item.kind == "always":
        return Ask(name, (), (item.circuit,))
    if item.when is not None:
        return Ask(name, (item.when,), (item.circuit,), item.within)
    return Ask(name, (item.circuit,))


def counted(program: Program, item: Property, period: int = PERIOD) -> Core:
    """A core without timers whose output `bad` is 1 after the scans that break a property: each
    step is one scan, timers and debounce are binary counters, and power may be cut before any."""
    assumed = [each for each in program.properties if each.kind == "assume"]
    asks = [ask_of(item, "bad"), *(ask_of(a, f"assume.{n}") for n, a in enumerate(assumed))]
    bouncing = {device.name for device in program.inputs if device.debounce}
    core = watch(program, asks, period, bouncing)
    return _Counted(reduce(core, [ask.name for ask in asks])).made()


class _Counted:
    def __init__(self, core: Core) -> None:
        self.core = core
        dues = {timer.due for timer in core.timers}
        self.kept = [
            n for n, s in enumerate(core.signals) if n not in dues and s.kind != "first_scan"
        ]
        self.signals = [Signal("cut", "input", ""), *(core.signals[n] for n in self.kept)]
        self.names = ["alive", "over", *(f"bit {n}" for n in range(len(core.state)))]
        self.width = [self._need(timer).bit_length() for timer in core.timers]
        for number, width in enumerate(self.width):
            self.names += [f"ran {number}", *(f"age {number} {n}" for n in range(width))]
        self.gates = Gates(len(self.signals) + len(self.names))
        self.after: dict[str, Lit] = {}

    def _need(self, timer: CoreTimer) -> int:
        return -(-timer.preset // self.core.period)

    def _was(self, name: str) -> Lit:
        return (1 + len(self.signals) + self.names.index(name)) * 2

    def made(self) -> Core:
        gates, core = self.gates, self.core
        cut: Lit = 2
        leaf = {0: FALSE}
        first = gates.disj(cut, self._was("alive") ^ 1)
        self.after["alive"] = TRUE
        for place, index in enumerate(self.kept, 1):
            leaf[1 + index] = (1 + place) * 2
        for index, signal in enumerate(core.signals):
            if signal.kind == "first_scan":
                leaf[1 + index] = first
        for index, bit in enumerate(core.state):
            was = self._was(f"bit {index}")
            leaf[core.first_state + index] = was if bit.retained else gates.conj(was, cut ^ 1)
        ran = [gates.conj(self._was(f"ran {n}"), cut ^ 1) for n in range(len(core.timers))]
        ages = [self._ages(n, timer, cut) for n, timer in enumerate(core.timers)]
        for number, timer in enumerate(core.timers):
            enough = self._at_least(ages[number], self._need(timer) - 1)
            leaf[1 + timer.due] = gates.conj(ran[number], enough)
        lits = [FALSE] * (core.first_gate + len(core.gates))
        for node, lit in leaf.items():
            lits[node] = lit
        for node, gate in enumerate(core.gates, core.first_gate):
            lits[node] = gates.conj(*[lits[lit >> 1] ^ (lit & 1) for lit in gate])

        def image(lit: Lit) -> Lit:
            return lits[lit >> 1] ^ (lit & 1)

        for index, bit in enumerate(core.state):
            self.after[f"bit {index}"] = image(bit.next)
        for number, timer in enumerate(core.timers):
            run, before, after = map(image, (timer.run, timer.clear_before, timer.clear_after))
            self.after[f"ran {number}"] = run
            going = gates.conj(run, ran[number])
            if timer.kind == "on-delay":
                aged = [gates.conj(going, lit) for lit in self._more(number, ages[number], TRUE)]
            else:
                held = [gates.conj(lit, before ^ 1) for lit in ages[number]]
                aged = [gates.conj(lit, after ^ 1) for lit in self._more(number, held, going)]
            for place, lit in enumerate(aged):
                self.after[f"age {number} {place}"] = lit
        broken = [image(o.lit) for o in core.outputs if o.name.startswith("assume.")]
        over = self.after["over"] = gates.disj(self._was("over"), *broken)
        bad = gates.conj(*(image(o.lit) for o in core.outputs if o.name == "bad"), over ^ 1)
        return Core(
            core.title,
            core.period,
            tuple(self.signals),
            tuple(StateBit(name, "contact", "", "", self.after[name]) for name in self.names),
            tuple(gates.made),
            (CoreOutput("bad", "asked", bad),),
            (),
            (),
            (),
        )

    def _ages(self, number: int, timer: CoreTimer, cut: Lit) -> list[Lit]:
        bits = [self._was(f"age {number} {place}") for place in range(self.width[number])]
        return bits if timer.retained else [self.gates.conj(bit, cut ^ 1) for bit in bits]

    def _at_least(self, bits: list[Lit], number: int) -> Lit:
        found = TRUE
        for place, bit in enumerate(bits):
            join = self.gates.conj if number >> place & 1 else self.gates.disj
            found = join(bit, found)
        return found

    def _more(self, number: int, bits: list[Lit], step: Lit) -> list[Lit]:
        """One scan more where `step` is 1, up to what the timer needs."""
        gates = self.gates
        full = self._at_least(bits, self._need(self.core.timers[number]))
        carry = gates.conj(step, full ^ 1)
        found = []
        for bit in bits:
            found.append(gates.differ(bit, carry))
            carry = gates.conj(bit, carry)
        return found


def depth_of(core: Core, most: int = 60_000) -> int | None:
    """The least number of steps in which `bad` comes, or None if it never does."""
    scan = scan_wide(core)
    count = len(core.signals)
    assert count <= 16
    masks = variable_masks(count)
    ones = (1 << (1 << count)) - 1
    seen, layer, depth = {0}, [0], 0
    while layer:
        depth += 1
        following = []
        for state in layer:
            words = tuple(ones if state >> n & 1 else 0 for n in range(len(core.state)))
            after, (bad,), _ = scan(ones, words, masks)
            if bad:
                return depth
            for _, target in split(ones, after):
                if target not in seen:
                    seen.add(target)
                    following.append(target)
        assert len(seen) <= most, "too many states for this way"
        layer = following
    return None


@each(cases_of("counted"))
def test_counting_every_scan_gives_the_expected_verdict(case: tuple[Suite, int]) -> None:
    suite, number = case
    entry = suite.entries[number]
    program = program_of(suite.short)
    found = depth_of(reduce(counted(program, stated(program)[number]), ["bad"]))
    assert (found is not None) == (entry.word == "fails")
    if entry.deep and not suite.cut:
        assert found is not None
        assert found >= entry.deep


def stated(program: Program) -> list[Property]:
    return [item for item in program.properties if item.kind != "assume"]


@each(cases_of("interpreter"))
def test_trying_everything_on_the_interpreter_gives_the_expected_verdict(
    case: tuple[Suite, int],
) -> None:
    suite, number = case
    program = program_of(suite.short)
    found = scans_to_break(program, stated(program)[number], PERIOD, most=20_000)
    assert (found is not None) == (suite.entries[number].word == "fails")


ABC = os.environ.get("RUNGS_ABC") or shutil.which("berkeley-abc") or shutil.which("abc")


def abc_finds(core: Core, path: Path) -> bool:
    """Whether ABC finds a run to `bad`; False is a proof of its engine `pdr`."""
    assert ABC is not None
    path.write_bytes(aiger_binary(core))
    done = subprocess.run(
        [ABC, "-c", f"read_aiger {path}; scorr; pdr"],
        capture_output=True,
        text=True,
        check=False,
        timeout=300,
    )
    if re.search(r"asserted in frame \d+", done.stdout):
        return True
    assert "Property proved" in done.stdout, done.stdout
    return False


@pytest.mark.skipif(ABC is None, reason="ABC is not at hand")
@each(cases_of("abc", "counted", "interpreter"))
def test_abc_gives_the_expected_verdict(case: tuple[Suite, int], tmp_path: Path) -> None:
    suite, number = case
    program = program_of(suite.short)
    core = reduce(counted(program, stated(program)[number]), ["bad"])
    if not core.state:
        pytest.skip("nothing is left of it: it folds to a constant")
    assert abc_finds(core, tmp_path / "asked.aig") == (suite.entries[number].word == "fails")


@pytest.mark.parametrize("suite", SUITES, ids=lambda suite: suite.name)
def test_a_scenario_next_to_a_limit_shows_it_and_breaks_only_what_fails(suite: Suite) -> None:
    program = program_of(suite.whole)
    assert bool(program.scenarios) == bool(suite.scenarios)
    false = [
        item
        for item, entry in zip(stated(program), suite.entries, strict=True)
        if entry.word == "fails"
    ]
    for scenario in program.scenarios:
        result = play(program, scenario)
        assert result.expectations
        assert [step.text for step in result.steps if step.passed is False] == []
        assert {broken.property.span for broken in result.broken} <= {item.span for item in false}


# --- what the prover says -----------------------------------------------------------------------


@each(CASES)
def test_the_verdict_is_the_expected_one(case: tuple[Suite, int]) -> None:
    suite, number = case
    entry = suite.entries[number]
    found = verdict_of(suite, number)
    assert found.verdict in (entry.word, *entry.allowed)
    if entry.exercised is not None and found.verdict == entry.word:
        assert found.exercised == entry.exercised
    match found.answer:
        case NotBefore() | Undecided():
            # nothing is left open without an entry that says why, and a reason
            assert entry.why
            assert found.answer.reason
        case Never():
            assert found.verdict == "proved"
            assert (found.answer.method == "zones") == (not found.answer.certificate)
    if found.verdict == "fails":
        program = judge_of(suite).program
        assert found.witness is not None
        assert replayed(program, found.item, found.witness) == [found.witness.end]
        assert found.witness.end // PERIOD + 1 >= entry.deep
    if found.exercise.witness is not None and found.item.when is not None:
        # the run that put it to the test closes its condition
        tried = Property("never", "", found.item.when)
        assert replayed(judge_of(suite).program, tried, found.exercise.witness)


def rejected(data: bytes) -> str:
    """Why the checker refuses a file, or nothing."""
    try:
        claim, _ = checker.read(data)
        checker.check(claim)
    except checker.Rejected as reason:
        return str(reason)
    return ""


@each([case for case in CASES if case[0].entries[case[1]].word == "proved"])
def test_a_certificate_passes_the_checker_and_fails_with_a_byte_changed(
    case: tuple[Suite, int],
) -> None:
    answer = verdict_of(*case).answer
    if not (isinstance(answer, Never) and answer.certificate):
        return  # the verdict itself is asked above
    data = answer.certificate.encode("ascii")
    assert rejected(data) == ""
    for place in (0, len(data) // 3, len(data) // 2, len(data) * 4 // 5, len(data) - 8):
        changed = data[:place] + bytes([data[place] ^ 1]) + data[place + 1 :]
        assert rejected(changed), place
        assert rejected(data[:place] + data[place + 1 :]), place


def test_most_proofs_come_with_a_certificate() -> None:
    answers = [verdict_of(*case).answer for case in CASES]
    kinds = [each.method for each in answers if isinstance(each, Never)]
    assert {"states", "invariant", "zones"} <= set(kinds)
    assert sum(kind != "zones" for kind in kinds) > 30


def test_the_checker_as_a_command_accepts_certificates_of_the_suite(tmp_path: Path) -> None:
    names = []
    for number, case in enumerate(CASES):
        answer = verdict_of(*case).answer
        if isinstance(answer, Never) and answer.certificate and number % 7 == 0:
            path = tmp_path / f"{number}.proof"
            path.write_text(answer.certificate, encoding="ascii")
            names.append(str(path))
    assert len(names) >= 5
    words = [sys.executable, "-m", "rungs.prove.checker"]
    done = subprocess.run([*words, *names], capture_output=True, text=True, check=False)
    assert (done.returncode, done.stderr) == (0, "")
    assert done.stdout.count(": proved (") == len(names)
    spoiled = Path(names[-1])
    data = bytearray(spoiled.read_bytes())
    data[len(data) // 2] ^= 1
    spoiled.write_bytes(data)
    done = subprocess.run([*words, *names], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stdout.count(": rejected: ") == 1


def test_the_suite_is_what_it_says() -> None:
    entries = [suite.entries[number] for suite, number in CASES]
    programs = [program_of(suite.whole) for suite in SUITES]
    assert len(entries) >= 60
    assert sum(entry.deep > 100 for entry in entries) >= 4
    assert sum(entry.exercised is False for entry in entries) >= 4
    assert all(entry.why for entry in entries if entry.way == "hand" or entry.allowed)
    for suite, program in zip(SUITES, programs, strict=True):
        assert len(stated(program)) == len(suite.entries), suite.name
        assert len(program_of(suite.short).rungs) == len(program.rungs)
    assert max(len(program.inputs) for program in programs) >= 14
    kept = [sum(type(d).__name__ in ("Relay", "Output") for d in p.devices) for p in programs]
    assert max(kept) >= 100


# --- assumptions --------------------------------------------------------------------------------


def suite_of(name: str) -> Suite:
    return next(suite for suite in SUITES if suite.name == name)


@pytest.mark.parametrize("name", ["lift_4_switches", "both_limits"])
def test_without_its_assumption_a_proof_is_none(name: str) -> None:
    program = judge_of(suite_of(name)).program
    free = replace(program, properties=tuple(stated(program)))
    found = Judge(free).verdict(0, Budget(SECONDS))
    assert verdict_of(suite_of(name), 0).verdict == "proved"
    assert found.verdict == "fails"
    assert found.witness is not None
    assert replayed(free, found.item, found.witness) == [found.witness.end]


def test_assumptions_that_contradict_each_other_are_told() -> None:
    wrong = judge_of(suite_of("contradiction")).assumptions(Budget(SECONDS))
    assert wrong == "the assumptions rule out a first scan: no panel can keep to them"
    found = verdict_of(suite_of("contradiction"), 0)
    assert isinstance(found.answer, Undecided)
    assert found.answer.reason == wrong
    for suite in SUITES:
        if suite.name != "contradiction":
            assert judge_of(suite).assumptions(Budget(SECONDS)) == "", suite.name
