"""Published state machines as programs: the state in latches, the outputs as rungs.

The state is one latch a state but the reset state, which is when no latch is on; a row's outputs
are Mealy outputs of the scan that reads its inputs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

KissRow = tuple[str, str, str, str]  # inputs, state, next state, outputs


@dataclass(frozen=True)
class Kiss:
    """A state table: the numbers of inputs and outputs, the reset state, and the rows."""

    inputs: int
    outputs: int
    reset: str
    rows: tuple[KissRow, ...]

    @property
    def states(self) -> tuple[str, ...]:
        """The states in order of first appearance."""
        return tuple(dict.fromkeys(name for row in self.rows for name in row[1:3] if name != "*"))

    def step(self, state: str, given: str) -> tuple[str, str]:
        """Next state and outputs; for a completely specified machine exactly one row fits."""
        for pattern, source, target, shown in self.rows:
            if source in (state, "*") and all(
                p in ("-", g) for p, g in zip(pattern, given, strict=True)
            ):
                return target, shown
        raise LookupError(f"no row for {given} in {state}")


def read_kiss(path: Path) -> Kiss:
    """The table in a KISS2 file."""
    inputs = outputs = 0
    reset = ""
    rows: list[KissRow] = []
    for line in path.read_text(encoding="ascii").splitlines():
        words = line.split("#")[0].split()
        if not words or words[0] in (".p", ".s", ".e", ".end"):
            continue
        if words[0] == ".i":
            inputs = int(words[1])
        elif words[0] == ".o":
            outputs = int(words[1])
        elif words[0] == ".r":
            reset = words[1]
        else:
            rows.append((words[0], words[1], words[2], words[3]))
    return Kiss(inputs, outputs, reset or rows[0][1], tuple(rows))


def kiss_program(kiss: Kiss, one_latch_a_state: bool = False) -> str:
    """The program text. Otherwise the states are numbered, and a latch holds each binary digit."""
    states = [kiss.reset, *(name for name in kiss.states if name != kiss.reset)]
    width = len(states) - 1 if one_latch_a_state else (len(states) - 1).bit_length()
    lines = [f"input x{i} at I{i}" for i in range(kiss.inputs)]
    lines += [f"output z{i} at R{i}" for i in range(kiss.outputs)]
    lines += [f"relay s{i}" for i in range(width)]
    lines += [f"relay row{i}" for i in range(len(kiss.rows))]

    def code(name: str) -> list[bool]:
        number = states.index(name)
        if one_latch_a_state:
            return [number == i + 1 for i in range(width)]
        return [bool(number >> i & 1) for i in range(width)]

    for number, (pattern, source, _, _) in enumerate(kiss.rows):
        parts = [
            f"{'' if bit == '1' else 'not '}x{i}" for i, bit in enumerate(pattern) if bit in "01"
        ]
        if source != "*":
            parts += [f"{'' if on else 'not '}s{i}" for i, on in enumerate(code(source))]
        if not parts:
            parts = ["(x0 or not x0)"]
        lines.append(f"rung {' and '.join(parts)} -> row{number}")
    for index in range(kiss.outputs):
        lines += _rung([n for n, row in enumerate(kiss.rows) if row[3][index] == "1"], f"z{index}")
    for place in range(width):
        sets = [n for n, row in enumerate(kiss.rows) if code(row[2])[place]]
        clears = [n for n, row in enumerate(kiss.rows) if not code(row[2])[place]]
        lines += _rung(sets, f"latch s{place}") + _rung(clears, f"unlatch s{place}")
    return "\n".join(lines)


def _rung(rows: Sequence[int], action: str) -> list[str]:
    return [f"rung {' or '.join(f'row{n}' for n in rows)} -> {action}"] if rows else []
