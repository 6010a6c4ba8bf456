"""A panel in parts that can be tried one after the other.

Two outputs of which neither depends on what the other's logic remembers act beside each other: a
table of both has the product of their rows and says nothing that the two tables do not say. So
each part is tried on its own table, and the steps add up instead of multiplying.
"""

from __future__ import annotations

from rungs.core.lower import lower
from rungs.core.reduce import reduce
from rungs.program.nodes import Program


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
