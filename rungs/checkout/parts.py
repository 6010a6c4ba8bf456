"""A panel in parts that can be tried one after the other.

Two outputs of which neither depends on what the other's logic remembers act beside each other: a
table of both has the product of their rows and says nothing that the two tables do not say. So
each part is tried on its own table, and the steps add up instead of multiplying.
"""

from __future__ import annotations

from collections.abc import Sequence
from math import prod
from typing import Final

from rungs.core.lower import lower
from rungs.core.reduce import reduce
from rungs.program.nodes import Output, Program
from rungs.prove.zones import FAR
from rungs.table.model import TableFile
from rungs.table.transition import Compiled, compiled, transition_table

LARGEST: Final = 2_000  # rows of a table that is walked unasked
_SMALL: Final = 128  # rows of a table that is tried as one, even where it falls into parts


def parts_of(program: Program) -> tuple[tuple[str, ...], ...]:
    """The outputs in groups, in file order: outputs stand in one group if their cones share a state
    bit or a timer, or if they remember nothing and read just the same signals."""
    core = lower(program)
    groups: list[tuple[list[str], set[str]]] = []
    for output in program.outputs:
        own = reduce(core, (output.name,))
        signals = frozenset(s.name for s in own.signals if s.kind != "first_scan")
        held = {f"state {bit.name}" for bit in own.state} | {f"timer {t.name}" for t in own.timers}
        if not held:
            held = {f"signals {' '.join(sorted(signals))}"}
        joined = [group for group in groups if group[1] & held]
        names = [name for group in joined for name in group[0]]
        for group in joined:
            held |= group[1]
            groups.remove(group)
        groups.append(([*names, output.name], held))
    order = {output.name: place for place, output in enumerate(program.outputs)}
    found = [tuple(sorted(names, key=order.__getitem__)) for names, _ in groups]
    return tuple(sorted(found, key=lambda names: order[names[0]]))


class Tables:
    """The transition tables of some outputs of one program, each worked out once.

    How many rows a table has at least is known long before its rows are put together, and that is
    all that is asked of most of them.
    """

    def __init__(self, program: Program) -> None:
        self.program = program
        self._works: dict[tuple[str, ...], Compiled | str] = {}
        self._clocks: dict[str, set[str]] | None = None  # on which each output depends

    def _work(self, outputs: tuple[str, ...]) -> Compiled | str:
        """The machine of some outputs, or why there is none."""
        if not outputs:
            return "the file has no outputs"
        if outputs not in self._works:
            work, findings = compiled(self.program, outputs)
            self._works[outputs] = findings[0].message if work is None else work
        return self._works[outputs]

    def of(self, outputs: tuple[str, ...], most: int = LARGEST) -> TableFile | str:
        """The table of some outputs, or why there is none; also if it has more than `most` rows."""
        work = self._work(outputs)
        if isinstance(work, str):
            return work
        rows = self.rows(outputs)
        if rows <= most:
            table = transition_table(work)
            rows = len(table.transitions)
            if rows <= most:
                return table
        return (
            f"its table has {rows:,} rows or more, which nobody walks "
            "('rungs checkout --whole' makes a tour all the same)"
        )

    def rows(self, outputs: tuple[str, ...]) -> int:
        """How many rows that table has at least; more than any if there is none."""
        work = self._work(outputs)
        return FAR if isinstance(work, str) else sum(len(n.moves) for n in work.machine.nodes)

    def states(self, outputs: tuple[str, ...]) -> int:
        """How many states that table has; more than any if there is none."""
        work = self._work(outputs)
        return FAR if isinstance(work, str) else len(work.machine.nodes)

    def seen_with(self, clocks: Sequence[str]) -> tuple[Output, ...]:
        """The outputs that no other clock than these can move, so that what they show is known."""
        if self._clocks is None:
            core = lower(self.program)
            self._clocks = {
                output.name: {
                    s.name for s in reduce(core, (output.name,)).signals if s.kind == "clock"
                }
                for output in self.program.outputs
            }
        return tuple(o for o in self.program.outputs if self._clocks[o.name] <= set(clocks))

    def parts(self) -> tuple[tuple[str, ...], ...]:
        """The outputs as they are tried: all in one where that table is small, else in parts that
        share no memory, and these one by one where that makes fewer rows."""
        names = tuple(output.name for output in self.program.outputs)
        found: list[tuple[str, ...]] = []
        for part in parts_of(self.program):
            single = tuple((name,) for name in part)
            rows = self.rows(part)
            apart = rows > LARGEST or sum(map(self.rows, single)) < rows
            found += single if apart else (part,)
        whole = prod(map(self.states, found)) < _SMALL and self.rows(names) <= _SMALL
        return (names,) if whole or len(found) == 1 else tuple(found)
