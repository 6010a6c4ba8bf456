"""A panel in parts that can be tried one after the other.

Two outputs of which neither depends on what the other's logic remembers act beside each other: a
table of both has the product of their rows and says nothing that the two tables do not say. So
each part is tried on its own table, and the steps add up instead of multiplying.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

from rungs.core.lower import lower
from rungs.core.reduce import reduce
from rungs.program.nodes import Output, Program
from rungs.prove.zones import FAR
from rungs.table.model import TableFile
from rungs.table.transition import compiled, transition_table

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
    """The transition tables of some outputs of one program, each made once."""

    def __init__(self, program: Program) -> None:
        self.program = program
        self._made: dict[tuple[str, ...], TableFile | str] = {}
        self._clocks: dict[str, set[str]] | None = None  # on which each output depends

    def of(self, outputs: tuple[str, ...]) -> TableFile | str:
        """The table of some outputs, or why there is none."""
        if not outputs:
            return "the file has no outputs"
        if outputs not in self._made:
            work, findings = compiled(self.program, outputs)
            made = findings[0].message if work is None else transition_table(work)
            self._made[outputs] = made
        return self._made[outputs]

    def small_enough(self, outputs: tuple[str, ...]) -> TableFile | str:
        """The table, if somebody could walk it."""
        table = self.of(outputs)
        if isinstance(table, str) or len(table.transitions) <= LARGEST:
            return table
        return (
            f"its table has {len(table.transitions):,} rows, more than anybody walks "
            "('rungs checkout --whole' makes a tour all the same)"
        )

    def rows(self, outputs: tuple[str, ...]) -> int:
        """How many rows that table has; more than any if there is none."""
        table = self.of(outputs)
        return FAR if isinstance(table, str) else len(table.transitions)

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
        states = 1
        for part in found:
            table = self.of(part)
            states *= _SMALL if isinstance(table, str) else len(table.states)
        if len(found) == 1 or (states < _SMALL and self.rows(names) <= _SMALL):
            return (names,)
        return tuple(found)
