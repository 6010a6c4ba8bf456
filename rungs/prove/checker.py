"""Checks a proof file by itself: `python -m rungs.prove.checker FILE...`, 0 if every proof holds.

It knows nothing of how a proof was found and shares no code with it: it takes the circuit and the
invariant that are in the file, writes its own clauses, and asks a solver three plain questions. So
a mistake of the search shows here. What it cannot see is whether the circuit is that of the program
named in the file: `meta` holds the digest of the source for that.
"""

from __future__ import annotations

import hashlib
import json
import sys
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

FORMAT = "rungs proof 1"
CLAIM = (
    "The circuit begins with every state bit 0; in each step every signal is free, and each state "
    "bit becomes its next literal. The literal bad is never 1: the invariant holds at the start, "
    "is kept by every step, and never goes with bad. A literal is twice a node, plus 1 if "
    "inverted; node 0 is false, then come the signals, the state bits and the gates, each the And "
    "of its literals. A clause of an invariant is an Or of literals of state bits; gates of an "
    "invariant are numbered from the first gate of the circuit on, in their place. This is a "
    "statement about a program, not a safety function: for that use hard-wired, certified devices."
)
KEYS = ("format", "claim", "meta", "signals", "state", "gates", "bad", "invariant")
SEAL = ',\n"sha256":"'
MOST_BYTES = 1 << 28
LONGEST_NUMBER = 10  # digits
# not the solvers that search: a fault of one of those should not be able to repeat itself here
SOLVERS = ("cadical195", "cadical153", "glucose4", "minisat22")


class Rejected(Exception):  # noqa: N818 - a finding about a file, in plain words
    """The proof does not hold, or the file is none; the text says why."""


@dataclass(frozen=True, slots=True)
class Claim:
    """A circuit, and an invariant of it as And gates in the place of the circuit's own."""

    signals: int
    state: tuple[int, ...]  # the next literal of each state bit
    gates: tuple[tuple[int, ...], ...]
    bad: int
    invariant: tuple[tuple[int, ...], ...]
    root: int


# --- the three questions ------------------------------------------------------------------------


def check(claim: Claim) -> None:
    """Rejected, unless the invariant holds at the start, is kept, and keeps bad out."""
    first_state = 1 + claim.signals
    first_gate = first_state + len(claim.state)
    clauses: list[list[int]] = [[-1]]  # the variable of a node is its number plus 1
    for node, gate in enumerate(claim.gates, first_gate):
        clauses += _and(node + 1, [_variable(lit) for lit in gate])
    top = first_gate + len(claim.gates)
    leaves = [node + 1 for node in range(first_gate)]
    now, top = _invariant(claim, leaves, top, clauses)
    leaves[first_state:] = [_variable(lit) for lit in claim.state]
    later, top = _invariant(claim, leaves, top, clauses)
    solver = _solver()
    try:
        for clause in clauses:
            solver.add_clause(clause)
        start = [-(node + 1) for node in range(first_state, first_gate)]
        _never(solver, [*start, -now], "the invariant does not hold where every state bit is 0")
        _never(solver, [now, -later], "a step can leave the invariant")
        _never(solver, [now, _variable(claim.bad)], "the invariant does not keep bad out")
    finally:
        solver.delete()


def _variable(lit: int) -> int:
    return -(lit // 2 + 1) if lit % 2 else lit // 2 + 1


def _and(gate: int, parts: Sequence[int]) -> list[list[int]]:
    return [*([-gate, part] for part in parts), [gate, *(-part for part in parts)]]


def _invariant(
    claim: Claim, leaves: list[int], top: int, clauses: list[list[int]]
) -> tuple[int, int]:
    """The invariant over the given leaves: the variable of its root, and the last one used."""
    values = list(leaves)
    for gate in claim.invariant:
        top += 1
        clauses += _and(top, [_signed(values, lit) for lit in gate])
        values.append(top)
    return _signed(values, claim.root), top


def _signed(values: list[int], lit: int) -> int:
    return -values[lit // 2] if lit % 2 else values[lit // 2]


def _never(solver: Any, literals: list[int], otherwise: str) -> None:
    """Rejected, unless the solver says that these literals cannot all hold."""
    try:
        answer = solver.solve(assumptions=literals)
    except Exception as error:
        raise Rejected(f"the solver broke off ({error})") from error
    if answer is True:
        raise Rejected(otherwise)
    if answer is not False:
        raise Rejected(f"the solver gave no answer ({answer!r})")


def _solver() -> Any:
    try:
        # only needed once a file has been read: without it a bad file can still be told
        from pysat.solvers import Solver
    except ImportError:
        raise Rejected("the solver library (python-sat) is not installed") from None
    for name in SOLVERS:
        try:
            return Solver(name=name)
        except Exception:
            # not every release has every solver
            continue
    raise Rejected("the solver library (python-sat) has none of " + ", ".join(SOLVERS))


# --- the file -----------------------------------------------------------------------------------


def text_of(parts: dict[str, Any]) -> str:
    """The file that holds these parts (all of KEYS), sealed by a digest of all of it."""
    lines = [f"{_json(key)}:{_json(parts[key])}" for key in KEYS]
    body = "{" + ",\n".join(lines)
    return f'{body}{SEAL}{hashlib.sha256(body.encode("ascii")).hexdigest()}"}}\n'


def _json(value: Any) -> str:
    return json.dumps(value, ensure_ascii=True, separators=(",", ":"))


def read(data: bytes) -> tuple[Claim, dict[str, str]]:
    """The claim in a file, and its meta. Rejected if the file is not exactly as we write one."""
    if len(data) > MOST_BYTES:
        raise Rejected(f"the file has more than {MOST_BYTES} bytes")
    try:
        text = data.decode("ascii")
    except UnicodeDecodeError:
        raise Rejected("the file has bytes that are not ASCII") from None
    body, seal, end = text.rpartition(SEAL)
    if not seal:
        raise Rejected("the file does not end in a digest")
    if end != hashlib.sha256(body.encode("ascii")).hexdigest() + '"}\n':
        raise Rejected("the digest is not that of the file: something in it was changed")
    try:
        parts = json.loads(
            text,
            object_pairs_hook=_object,
            parse_int=_number,
            parse_float=_no_number,
            parse_constant=_no_number,
        )
    except RecursionError:
        raise Rejected("the file is nested too deep") from None
    except ValueError as error:
        raise Rejected(f"the file is not JSON: {error}") from None
    if not isinstance(parts, dict) or tuple(parts) != (*KEYS, "sha256"):
        raise Rejected("the file does not have the parts of a proof: " + ", ".join(KEYS))
    claim, meta = _claim(parts), parts["meta"]
    if text_of(parts) != text:
        raise Rejected("the file is not written as a proof is")
    return claim, meta


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise Rejected("a key stands twice in the file")
    return made


def _number(digits: str) -> int:
    if len(digits) > LONGEST_NUMBER:
        raise Rejected("a number in the file is too long")
    return int(digits)


def _no_number(text: str) -> int:
    raise Rejected("a number in the file is not a whole number")


def _claim(parts: dict[str, Any]) -> Claim:
    if parts["format"] != FORMAT or parts["claim"] != CLAIM:
        raise Rejected("the file is of another format, or claims something else")
    meta = parts["meta"]
    if not isinstance(meta, dict) or not all(isinstance(text, str) for text in meta.values()):
        raise Rejected("meta is not names with texts")
    signals = _list(parts["signals"], "signals")
    if not all(isinstance(name, str) for name in signals):
        raise Rejected("a signal is not a name")
    state = _list(parts["state"], "state")
    for bit in state:
        if not (isinstance(bit, list) and len(bit) == 2 and isinstance(bit[0], str)):
            raise Rejected("a state bit is not a name with a next literal")
    gates = _list(parts["gates"], "gates")
    first_gate = 1 + len(signals) + len(state)
    for node, gate in enumerate(gates, first_gate):
        _literals(gate, 0, node, f"gate {node}")
    last = first_gate + len(gates)
    after = [bit[1] for bit in state]
    _literals(after, 0, last, "a state bit")
    _literals([parts["bad"]], 0, last, "bad")
    invariant, root = _gates_of(parts["invariant"], 1 + len(signals), first_gate)
    kept = tuple(tuple(gate) for gate in gates)
    return Claim(len(signals), tuple(after), kept, parts["bad"], invariant, root)


def _gates_of(
    invariant: Any, first_state: int, first_gate: int
) -> tuple[tuple[tuple[int, ...], ...], int]:
    """Either form of an invariant as gates and their root."""
    if not isinstance(invariant, dict):
        raise Rejected("the invariant is neither clauses nor gates")
    if tuple(invariant) == ("clauses",):
        clauses = _list(invariant["clauses"], "clauses")
        for clause in clauses:
            _literals(clause, first_state, first_gate, "a clause")
        made = [tuple(lit ^ 1 for lit in clause) for clause in clauses]
        made.append(tuple((first_gate + number) * 2 + 1 for number in range(len(clauses))))
        return tuple(made), (first_gate + len(clauses)) * 2
    if tuple(invariant) == ("gates", "root"):
        gates = _list(invariant["gates"], "the gates of the invariant")
        for node, gate in enumerate(gates, first_gate):
            _literals(gate, 0, node, "a gate of the invariant")
        root = invariant["root"]
        _literals([root], 0, first_gate + len(gates), "the root of the invariant")
        for lit in (root, *(lit for gate in gates for lit in gate)):
            if 0 < lit // 2 < first_state:
                raise Rejected("the invariant reads a signal")
        return tuple(tuple(gate) for gate in gates), root
    raise Rejected("the invariant is neither clauses nor gates")


def _list(value: Any, what: str) -> list[Any]:
    if not isinstance(value, list):
        raise Rejected(f"{what}: not a list")
    return value


def _literals(value: Any, least: int, end: int, what: str) -> None:
    """Literals of nodes from `least` up to before `end`."""
    for lit in _list(value, what):
        # a bool is an int to Python, but no literal
        if type(lit) is not int or not 2 * least <= lit < 2 * end:
            raise Rejected(f"{what}: {_json(lit)[:40]} is no literal that may stand there")


def main(names: Sequence[str]) -> int:
    """Checks the files and prints a line for each; 0 if all of them are proofs that hold."""
    if not names:
        print("usage: python -m rungs.prove.checker FILE...", file=sys.stderr)
        return 1
    failed = False
    for name in names:
        try:
            claim, meta = read(Path(name).read_bytes())
            check(claim)
            about = ", ".join(f"{_json(key)[1:-1]} {_json(text)}" for key, text in meta.items())
            line = f"proved ({len(claim.state)} state bits, {len(claim.gates)} gates): {about}"
        except Rejected as reason:
            line, failed = f"rejected: {reason}", True
        except OSError as error:
            line, failed = f"rejected: {error.strerror}", True
        print(f"{_json(name)[1:-1]}: {line}")
    return int(failed)


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
