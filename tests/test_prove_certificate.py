"""Proof files: what is in them, that the checker stands alone, and that it is not to be fooled."""

from __future__ import annotations

import ast
import hashlib
import json
import subprocess
import sys
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Any

import pytest

from rungs.core.nodes import FALSE, TRUE, Core, CoreOutput, Gates
from rungs.prove import checker
from rungs.prove.budget import Budget
from rungs.prove.certificate import as_gates, certificate, recheck
from rungs.prove.pdr import pdr
from rungs.prove.results import Invariant, InvariantGates
from rungs.prove.search import search
from tests.test_prove_search import (
    Maker,
    counter,
    interlocked,
    random_core,
    reachable,
    ring,
    shortest,
)

META = {"program": "press.rungs", "sha256": "00" * 32, "property": 'never "both" on', "tool": "1"}


def proof_of(core: Core) -> Invariant:
    found = search(core, Budget(60))
    assert isinstance(found, Invariant)
    return found


def locked_memory() -> Core:
    """Two latches that keep each other off, asked about what they were: needs its invariant."""
    made = Maker(2, 2)
    one, other = made.s
    first = made.gates.conj(made.gates.disj(made.x[0], one), other ^ 1)
    second = made.gates.conj(made.gates.disj(made.x[1], other), first ^ 1, one ^ 1)
    return made.core((first, second), made.gates.conj(one, other))


CORE = locked_memory()
TEXT = certificate(CORE, proof_of(CORE), META)


def verdict(data: bytes | str) -> str:
    """An empty text if the file is accepted, else why not."""
    try:
        claim, _ = checker.read(data.encode() if isinstance(data, str) else data)
        checker.check(claim)
    except checker.Rejected as reason:
        return str(reason)
    return ""


def sealed(parts: dict[str, Any]) -> str:
    """A file with any parts and a right digest."""
    return checker.text_of(parts)


def parts_of(text: str) -> dict[str, Any]:
    parts: dict[str, Any] = json.loads(text)
    del parts["sha256"]
    return parts


def resealed(body: str) -> str:
    """Any text before the digest, with a right one after it."""
    digest = hashlib.sha256(body.encode()).hexdigest()
    return f'{body},\n"sha256":"{digest}"}}\n'


# --- what is in a file --------------------------------------------------------------------------


def test_a_proof_file_is_accepted_and_says_what_it_is_about() -> None:
    claim, meta = checker.read(TEXT.encode())
    checker.check(claim)
    assert meta == META
    assert claim.signals == 2
    assert claim.state == tuple(bit.next for bit in CORE.state)
    parts = json.loads(TEXT)
    assert parts["signals"] == ["x0", "x1"]
    assert [name for name, _ in parts["state"]] == ["s0", "s1"]
    assert parts["bad"] == CORE.outputs[0].lit
    assert "not a safety function" in parts["claim"]
    assert "hard-wired, certified devices" in parts["claim"]


def test_the_same_proof_gives_the_same_file() -> None:
    turned = dict(reversed(META.items()))
    assert certificate(CORE, proof_of(CORE), turned) == TEXT
    assert TEXT.isascii()
    odd = certificate(CORE, proof_of(CORE), {"property": "Tür\u2028\x1b[2J \ud800"})
    assert odd.isascii()
    assert verdict(odd) == ""


def test_every_proof_of_random_circuits_is_accepted_in_both_forms() -> None:
    proofs = 0
    for seed in range(150):
        rng = Random(seed)
        core = random_core(rng, rng.randint(1, 3), rng.randint(2, 7))
        found = pdr(core, Budget(60))
        if isinstance(found, Invariant):
            proofs += 1
            assert verdict(certificate(core, found, META)) == ""
            general = InvariantGates(*as_gates(core, found.clauses))
            assert recheck(core, general)
            assert verdict(certificate(core, general, META)) == ""
        else:
            # no invariant can be right here
            assert not recheck(core, Invariant(()))
    assert proofs > 40


def test_exactly_the_reachable_states_as_gates_are_a_proof() -> None:
    many = 0
    for seed in range(60):
        core = random_core(Random(seed), 2, 4)
        states = sorted(reachable(core))
        gates = Gates(core.first_gate - 1)
        nodes = [(core.first_state + n) * 2 for n in range(len(core.state))]

        def shown(
            states: list[tuple[bool, ...]], gates: Gates = gates, nodes: list[int] = nodes
        ) -> int:
            each = [
                gates.conj(*(node ^ (not on) for node, on in zip(nodes, state, strict=True)))
                for state in states
            ]
            return gates.disj(*each)

        root = shown(states)
        whole = InvariantGates(tuple(gates.made), root)
        holds = shortest(core) is None
        assert recheck(core, whole) == holds
        assert (verdict(certificate(core, whole, META)) == "") == holds
        if holds and len(states) > 1:
            many += 1
            # one state less is no invariant any more: it can be reached
            less = shown(states[:-1])
            assert not recheck(core, InvariantGates(tuple(gates.made), less))
    assert many > 10


# --- it stands alone ----------------------------------------------------------------------------


def test_the_checker_is_short_and_imports_nothing_of_ours() -> None:
    path = Path(checker.__file__)
    text = path.read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 300
    imported = set()
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.Import):
            imported |= {alias.name.split(".")[0] for alias in node.names}
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0
            assert node.module is not None
            imported.add(node.module.split(".")[0])
    assert imported <= set(sys.stdlib_module_names) | {"pysat"}
    assert "importlib" not in imported
    assert "__import__" not in text


def test_the_checker_asks_a_solver_that_no_search_uses() -> None:
    from rungs.prove import bounded, guess, pdr

    used = {module.SOLVER.lower() for module in (bounded, guess, pdr)}
    assert checker.SOLVERS[0] not in used
    assert "cadical" in checker.SOLVERS[0]


def test_the_command_answers_by_a_line_and_an_exit_code(tmp_path: Path) -> None:
    good, bad, odd = tmp_path / "good.proof", tmp_path / "bad.proof", tmp_path / "odd.proof"
    good.write_text(TEXT, encoding="ascii")
    bad.write_text(TEXT.replace("press", "prest"), encoding="ascii")
    odd.write_bytes(b"\xff\x00")

    def run(*names: object) -> subprocess.CompletedProcess[str]:
        words = [sys.executable, "-m", "rungs.prove.checker", *map(str, names)]
        return subprocess.run(words, capture_output=True, text=True, check=False)

    done = run(good, good)
    assert done.returncode == 0
    assert done.stdout.count("good.proof: proved (2 state bits, ") == 2
    assert r'property "never \"both\" on"' in done.stdout
    done = run(good, bad, odd, tmp_path / "none", tmp_path)
    assert done.returncode == 1
    assert done.stderr == ""
    lines = done.stdout.splitlines()
    assert len(lines) == 5
    assert "good.proof: proved" in lines[0]
    assert "bad.proof: rejected: the digest is not that of the file" in lines[1]
    assert all(": rejected: " in line for line in lines[1:])
    assert run().returncode == 1


# --- changed files ------------------------------------------------------------------------------


def test_no_single_byte_can_be_changed() -> None:
    data = TEXT.encode()
    for place, byte in enumerate(data):
        for other in (byte ^ 1, byte ^ 0x20, byte ^ 0x80, 32 if byte != 32 else 10):
            changed = data[:place] + bytes([other]) + data[place + 1 :]
            assert verdict(changed) != "", place
        assert verdict(data[:place] + data[place + 1 :]) != "", place
        assert verdict(data[:place] + b" " + data[place:]) != "", place
    for more in (b" ", b"\n", b"{}", b"\x00"):
        assert verdict(data + more) != ""


def test_no_byte_of_a_bigger_file_can_be_changed() -> None:
    core = ring(12)
    data = certificate(core, proof_of(core), META).encode()
    rng = Random(5)
    for _ in range(500):
        place = rng.randrange(len(data))
        changed = data[:place] + bytes([data[place] ^ 1 << rng.randrange(8)]) + data[place + 1 :]
        assert verdict(changed) != "", place


def test_a_changed_meaning_under_a_right_digest_is_found_by_the_solver() -> None:
    for core in (CORE, ring(5), counter(4, 15, wrap=9)):
        parts = parts_of(certificate(core, proof_of(core), META))
        assert verdict(sealed(parts)) == ""
        clauses = parts["invariant"]["clauses"]
        for number in range(len(clauses)):
            fewer = clauses[:number] + clauses[number + 1 :]
            assert verdict(sealed(parts | {"invariant": {"clauses": fewer}})) in (
                "a step can leave the invariant",
                "the invariant does not keep bad out",
            )
        assert verdict(sealed(parts | {"bad": TRUE})) == "the invariant does not keep bad out"
        inverse = parts | {"bad": parts["bad"] ^ 1}
        assert verdict(sealed(inverse)) == "the invariant does not keep bad out"
        refused = 0
        for number, (name, after) in enumerate(parts["state"]):
            for other in (TRUE, after ^ 1, parts["state"][number - 1][1]):
                state = [list(bit) for bit in parts["state"]]
                state[number] = [name, other]
                reason = verdict(sealed(parts | {"state": state}))
                bits = list(core.state)
                bits[number] = replace(bits[number], next=other)
                # it may still be true of the changed circuit, and only then be accepted
                assert reason == "a step can leave the invariant" or not (
                    reason or shortest(replace(core, state=tuple(bits)))
                )
                refused += reason != ""
        assert refused >= len(core.state)
        first = [[(1 + len(parts["signals"])) * 2]]
        assert (
            verdict(sealed(parts | {"invariant": {"clauses": [*clauses, *first]}}))
            == "the invariant does not hold where every state bit is 0"
        )


def _nested(depth: int) -> str:
    return "[" * depth + "]" * depth


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        ({"format": "rungs proof 2"}, "of another format"),
        ({"claim": "all is well"}, "claims something else"),
        ({"meta": []}, "meta is not names with texts"),
        ({"meta": {"a": 1}}, "meta is not names with texts"),
        ({"signals": "x0"}, "signals: not a list"),
        ({"signals": [1, 2]}, "a signal is not a name"),
        ({"state": [["s0", 2, 3]]}, "a state bit is not a name with a next literal"),
        ({"state": [["s0"], ["s1"]]}, "a state bit is not a name with a next literal"),
        ({"state": {"s0": 2}}, "state: not a list"),
        ({"state": [["s0", True], ["s1", 0]]}, "a state bit: true is no literal"),
        ({"state": [["s0", 9999], ["s1", 0]]}, "a state bit: 9999 is no literal"),
        ({"state": [["s0", -1], ["s1", 0]]}, "a state bit: -1 is no literal"),
        ({"state": [["s0", None], ["s1", 0]]}, "a state bit: null is no literal"),
        ({"gates": [[10, 2]]}, "gate 5: 10 is no literal"),
        ({"gates": [[12, 2], [2, 4]]}, "gate 5: 12 is no literal"),
        ({"gates": [2]}, "gate 5: not a list"),
        ({"gates": None}, "gates: not a list"),
        ({"bad": "0"}, 'bad: "0" is no literal'),
        ({"bad": [0]}, "bad: [0] is no literal"),
        ({"invariant": []}, "neither clauses nor gates"),
        ({"invariant": {}}, "neither clauses nor gates"),
        ({"invariant": {"clauses": [], "root": 1}}, "neither clauses nor gates"),
        ({"invariant": {"clauses": [2]}}, "a clause: not a list"),
        ({"invariant": {"clauses": [[2]]}}, "a clause: 2 is no literal"),
        ({"invariant": {"clauses": [[10]]}}, "a clause: 10 is no literal"),
        ({"invariant": {"clauses": [[1]]}}, "a clause: 1 is no literal"),
        ({"invariant": {"gates": [[10, 6]], "root": 1}}, "a gate of the invariant: 10"),
        ({"invariant": {"gates": [[6, 8]], "root": 12}}, "the root of the invariant: 12"),
        ({"invariant": {"gates": [[2, 8]], "root": 11}}, "the invariant reads a signal"),
        ({"invariant": {"gates": [], "root": 2}}, "the invariant reads a signal"),
        ({"invariant": {"gates": [], "root": 1.0}}, "not a whole number"),
        ({"bad": float("nan")}, "not a whole number"),
        ({"bad": 10**10}, "a number in the file is too long"),
        ({"bad": 10**4000}, "a number in the file is too long"),
    ],
)
def test_a_malformed_file_is_refused_in_plain_words(change: dict[str, Any], reason: str) -> None:
    assert reason in verdict(sealed(parts_of(TEXT) | change))


def test_a_text_that_is_no_proof_is_refused_in_plain_words() -> None:
    body = TEXT[: TEXT.rindex(checker.SEAL)]
    assert resealed(body) == TEXT
    for text, reason in (
        ("", "does not end in a digest"),
        ("{}", "does not end in a digest"),
        (resealed("{"), "not JSON"),
        (resealed('{"format":"rungs proof 1"'), "does not have the parts of a proof"),
        (resealed(body + ',\n"more":1'), "does not have the parts of a proof"),
        (resealed(body + ',\n"bad":0'), "a key stands twice"),
        (resealed(body.replace('"meta":{', '"meta":{"tool":"2",')), "a key stands twice"),
        (resealed(body.replace(":", ": ", 1)), "is not written as a proof is"),
        (resealed(body.replace("press", "\\u0070ress")), "is not written as a proof is"),
        (resealed('{"format":' + _nested(100_000)), "nested too deep"),
        (resealed('{"format":' + "[" * 100_000), "nested too deep"),
        (resealed(body.replace('"bad":', '"bad":0.0e')), "not a whole number"),
        (resealed(body).replace('"}\n', '" }\n'), "the digest is not that of the file"),
        (resealed("[1"), "not JSON"),
    ):
        assert reason in verdict(text), text[:60]
    for data in (b"\xff", b"\xef\xbb\xbf" + TEXT.encode(), TEXT.encode("utf-16")):
        assert "not ASCII" in verdict(data)


def test_random_damage_under_a_right_digest_never_ends_in_a_traceback() -> None:
    body = TEXT[: TEXT.rindex(checker.SEAL)]
    rng = Random(7)
    for _ in range(1500):
        chars = list(body)
        for _ in range(rng.randint(1, 3)):
            chars[rng.randrange(len(chars))] = rng.choice('0123456789[]{},:"\\ -.eE\ntfn')
        # a change of a name or a remark may be accepted; all else ends in plain words
        assert isinstance(verdict(resealed("".join(chars))), str)


# --- in the same process ------------------------------------------------------------------------


def test_a_wrong_invariant_is_not_accepted() -> None:
    core = CORE
    first, second = ((core.first_state + n) * 2 for n in range(2))
    assert recheck(core, Invariant(((first ^ 1, second ^ 1),)))
    assert not recheck(core, Invariant(((first ^ 1,), (second ^ 1,))))
    assert not recheck(core, Invariant(((first, second),)))
    assert not recheck(core, Invariant(()))
    assert not recheck(core, Invariant(((),)))
    assert not recheck(core, InvariantGates((), FALSE))
    # an invariant that reads signals, itself, or what is not there
    assert not recheck(core, Invariant(((2, first ^ 1),)))
    assert not recheck(core, InvariantGates((), 2))
    assert not recheck(core, InvariantGates(((core.first_gate * 2,),), core.first_gate * 2))
    assert not recheck(core, InvariantGates((), 10_000))
    assert not recheck(core, InvariantGates((), -2))


def test_the_proof_of_one_circuit_is_none_of_another() -> None:
    locked = interlocked(True)
    open_ = interlocked(False)
    assert recheck(locked, proof_of(locked))
    assert not recheck(open_, proof_of(locked))
    asked = replace(locked, outputs=(CoreOutput("bad", "asked", locked.first_state * 2),))
    assert not recheck(asked, proof_of(locked))


class Says:
    def __init__(self, answer: Callable[[], object]) -> None:
        self.answer = answer

    def add_clause(self, clause: object) -> None:
        pass

    def delete(self) -> None:
        pass

    def solve(self, assumptions: object) -> object:
        return self.answer()


def _breaks() -> object:
    raise RuntimeError("out of memory")


@pytest.mark.parametrize("answer", [lambda: None, lambda: 0, lambda: "", lambda: 20, _breaks])
def test_a_solver_that_gives_no_answer_proves_nothing(
    monkeypatch: pytest.MonkeyPatch, answer: Callable[[], object]
) -> None:
    monkeypatch.setattr(checker, "_solver", lambda: Says(answer))
    assert "the solver " in verdict(TEXT)
    assert not recheck(CORE, Invariant(()))


def test_without_the_library_nothing_is_proved(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setitem(sys.modules, "pysat.solvers", None)
    assert verdict(TEXT) == "the solver library (python-sat) is not installed"
