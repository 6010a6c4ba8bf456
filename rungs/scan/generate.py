"""Python code for one scan of a core, made once and then run many times.

The same text serves single bits (`and`, `or`, `not`) and whole numbers with a bit for each pattern
or each stimulus (`&`, `|`, and `^` with a mask). A gate that is read once is written where it is
read; a chain of names costs more than a chain of operators.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

from rungs.core.nodes import TRUE, Core, Lit

# Python's own parser gives up on text that is nested some two hundred deep
DEEPEST = 24

Bits = tuple[bool, ...]
Words = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Wanted:
    """What a generated function gives back, each a row of literals."""

    state: tuple[Lit, ...]
    outputs: tuple[Lit, ...]
    runs: tuple[Lit, ...]


def wanted_of(core: Core) -> Wanted:
    """The next state, the outputs, and for each timer run, clear_before and clear_after."""
    return Wanted(
        tuple(bit.next for bit in core.state),
        tuple(output.lit for output in core.outputs),
        tuple(
            lit
            for timer in core.timers
            for lit in (timer.run, timer.clear_before, timer.clear_after)
        ),
    )


ScanOnce = Callable[[Bits, Bits], tuple[Bits, Bits, Bits]]
ScanWide = Callable[[int, Words, Words], tuple[Words, Words, Words]]


def scan_once(core: Core) -> ScanOnce:
    """f(state, signals) -> (next state, outputs, runs), all as tuples of bools."""
    writer = _Writer(core, wide=False)
    wanted = wanted_of(core)
    lines = ["def scan(state, signals):"]
    lines += _unpack("s", len(core.state), "state") + _unpack("x", len(core.signals), "signals")
    lines += writer.gates(_every(wanted))
    lines.append(f"    return {', '.join(writer.row(row) for row in _rows(wanted))}")
    made: ScanOnce = _made(lines)
    return made


class ScanBook:
    """Scans of single bits that have been made, for who asks for the same cores again and again."""

    def __init__(self) -> None:
        # by identity: to compare two cores takes about as long as to make one
        self._made: dict[int, tuple[Core, ScanOnce]] = {}

    def once(self, core: Core) -> ScanOnce:
        """`scan_once` of a core."""
        found = self._made.get(id(core))
        if found is None:
            found = self._made[id(core)] = (core, scan_once(core))
        return found[1]


def scan_wide(core: Core, more: Sequence[Lit] = ()) -> ScanWide:
    """f(ones, state, signals) -> (next state, outputs, runs), all as tuples of whole numbers.

    Bit i of every number belongs to lane i; `ones` has a 1 for each lane. Literals of `more` are
    given after the runs.
    """
    writer = _Writer(core, wide=True)
    wanted = wanted_of(core)
    wanted = Wanted(wanted.state, wanted.outputs, (*wanted.runs, *more))
    lines = ["def scan(M, state, signals):"]
    lines += _unpack("s", len(core.state), "state") + _unpack("x", len(core.signals), "signals")
    lines += writer.gates(_every(wanted))
    lines.append(f"    return {', '.join(writer.row(row) for row in _rows(wanted))}")
    made: ScanWide = _made(lines)
    return made


ScanMany = Callable[[Bits, list[int], Iterable[tuple[int, Bits]]], tuple[list[Bits], Bits]]


def scan_many(core: Core) -> ScanMany:
    """f(state, starts, rows) -> (outputs of each scan, last state).

    A row is the time of a scan (ms) and its signals but for the due flags, in the order of the
    core. `starts` holds for each on-delay when it started, or -1, and for each accumulating timer
    the ms it holds, negative less one if it did not run in the scan before; it is brought up to
    date in place.
    """
    writer = _Writer(core, wide=False)
    wanted = wanted_of(core)
    given = [i for i, signal in enumerate(core.signals) if signal.kind != "due"]
    lines = ["def scan(state, starts, rows):"]
    lines += _unpack("s", len(core.state), "state") + _unpack("w", len(core.timers), "starts")
    for index, timer in enumerate(core.timers):
        if timer.kind == "accumulating":
            lines += [f"    a{index} = w{index}; r{index} = True"]
            lines += [f"    if a{index} < 0: a{index} = -1 - a{index}; r{index} = False"]
    lines += ["    shown = []", "    show = shown.append"]
    names = "".join(f"x{i}, " for i in given)
    lines.append(f"    for t, ({names}) in rows:" if given else "    for t, () in rows:")
    for index, timer in enumerate(core.timers):
        due = f"        x{timer.due} = "
        if timer.kind == "accumulating":
            lines.append(due + f"r{index} and a{index} + {core.period} >= {timer.preset}")
        else:
            lines.append(due + f"w{index} >= 0 and t - w{index} >= {timer.preset}")
    lines += ["    " + line for line in writer.gates(_every(wanted))]
    lines.append(f"        show({writer.row(wanted.outputs)})")
    for index, timer in enumerate(core.timers):
        run = writer.text(timer.run)
        if timer.kind == "accumulating":
            lines += _accumulate(writer, core, index)
        else:
            lines += [
                f"        if not ({run}): w{index} = -1",
                f"        elif w{index} < 0: w{index} = t",
            ]
    if core.state:
        targets = ", ".join(f"s{i}" for i in range(len(core.state)))
        lines.append(f"        {targets}, = {writer.row(wanted.state)}")
    for index, timer in enumerate(core.timers):
        if timer.kind == "accumulating":
            lines.append(f"    w{index} = a{index} if r{index} else -1 - a{index}")
    held = "".join(f"w{i}, " for i in range(len(core.timers)))
    kept = "".join(f"s{i}, " for i in range(len(core.state)))
    lines += [f"    starts[:] = ({held})", f"    return shown, ({kept})"]
    made: ScanMany = _made(lines)
    return made


def _accumulate(writer: _Writer, core: Core, index: int) -> list[str]:
    timer = core.timers[index]
    run, before, after = (
        writer.text(lit) for lit in (timer.run, timer.clear_before, timer.clear_after)
    )
    return [
        f"        q = {run}",
        f"        if {before}: a{index} = 0",
        f"        if q and r{index}: a{index} = min(a{index} + {core.period}, {timer.preset})",
        f"        if {after}: a{index} = 0",
        f"        r{index} = q",
    ]


def _rows(wanted: Wanted) -> tuple[tuple[Lit, ...], ...]:
    return wanted.state, wanted.outputs, wanted.runs


def _every(wanted: Wanted) -> tuple[Lit, ...]:
    return (*wanted.state, *wanted.outputs, *wanted.runs)


def _unpack(letter: str, count: int, source: str) -> list[str]:
    if not count:
        return []
    return [f"    {''.join(f'{letter}{i}, ' for i in range(count))}= {source}"]


def _made(lines: list[str]) -> Any:
    space: dict[str, Any] = {}
    # the text is made of node numbers and presets alone, nothing of a user's file is in it
    exec(compile("\n".join(lines), "<core>", "exec"), space)
    return space["scan"]


class _Writer:
    """Turns literals into text."""

    def __init__(self, core: Core, wide: bool) -> None:
        self.core = core
        self.wide = wide
        self.first_state, self.first_gate = core.first_state, core.first_gate
        self.names: dict[int, str] = {}  # nodes that have a local variable
        self.stored: dict[int, int] = {}  # 1 where that holds the inverse

    def gates(self, wanted: Sequence[Lit]) -> list[str]:
        """Lines that give a local variable to every gate worth one."""
        core, first = self.core, self.first_gate
        gates = core.gates
        reads = [0] * (first + len(gates))
        inverse = [0] * (first + len(gates))
        needed = [False] * (first + len(gates))
        for lit in wanted:
            needed[lit >> 1] = True
            reads[lit >> 1] += 1
            inverse[lit >> 1] += lit & 1
        for number in range(len(gates) - 1, -1, -1):
            if needed[first + number]:
                for lit in gates[number]:
                    node = lit >> 1
                    needed[node] = True
                    reads[node] += 1
                    inverse[node] += lit & 1
        lines = []
        depth = [0] * (first + len(gates))
        if self.wide:
            for node in range(1, first):
                if inverse[node] > 1:
                    lines.append(f"    n{node} = M ^ {self._leaf(node)}")
                    self.names[node] = f"n{node}"
        for number, gate in enumerate(gates):
            node = first + number
            if not needed[node]:
                continue
            deep = 1 + max(depth[lit >> 1] for lit in gate)
            if reads[node] == 1 and deep < DEEPEST:
                depth[node] = deep
                continue
            flip = int(2 * inverse[node] > reads[node])
            text = self._gate(node, flip)
            self.names[node] = f"g{node}"
            self.stored[node] = flip
            lines.append(f"    g{node} = {text}")
        return lines

    def _leaf(self, node: int) -> str:
        if node < self.first_state:
            return f"x{node - 1}"
        return f"s{node - self.first_state}"

    def text(self, lit: Lit) -> str:
        """The value of a literal; in parentheses where it is not a single word."""
        node, flip = lit >> 1, lit & 1
        if node == 0:
            if self.wide:
                return "M" if lit == TRUE else "0"
            return "True" if lit == TRUE else "False"
        if node < self.first_gate:
            if not flip:
                return self._leaf(node)
            if not self.wide:
                return f"(not {self._leaf(node)})"
            return self.names.get(node) or f"(M ^ {self._leaf(node)})"
        name = self.names.get(node)
        if name is None:
            return f"({self._gate(node, flip)})"
        if flip == self.stored[node]:
            return name
        return f"(M ^ {name})" if self.wide else f"(not {name})"

    def _gate(self, node: int, flip: int) -> str:
        parts = [self.text(lit ^ flip) for lit in self.core.gates[node - self.first_gate]]
        if self.wide:
            return (" | " if flip else " & ").join(parts)
        return (" or " if flip else " and ").join(parts)

    def row(self, lits: Sequence[Lit]) -> str:
        """A tuple of literals."""
        return f"({''.join(self.text(lit) + ', ' for lit in lits)})"
