"""What the rungs from one to another leave behind in two orders, compared as literals.

One lowering of the whole program is kept as it stands above each rung, so that a pair costs only
the rungs between the two.
"""

from __future__ import annotations

from copy import copy

from rungs.core.lower import Lowering
from rungs.core.nodes import Gates, Lit
from rungs.core.patterns import variable_masks
from rungs.program.nodes import Program
from rungs.prove.order.links import Links

MOST_LEAVES = 12  # bits over which two circuits are compared by all their values


class Stretches:
    """The lowering of a program that is scanned every `period` ms, at each point of the scan.

    Raises LowerError for a program that has no core.
    """

    def __init__(self, program: Program, links: Links, period: int) -> None:
        self.rungs = program.rungs
        self.links = links
        work = Lowering(program, period)
        self.points = [_copied(work)]
        for rung in self.rungs:
            work.rung(rung)
            self.points.append(_copied(work))

    def changed(self, upper: int, lower: int) -> frozenset[str]:
        """The devices that one scan can leave different if the lower rung is worked first; where a
        rung's own memory is different, the devices that the rung moves. Too many are named where
        circuits are too large to compare, never too few."""
        work = _copied(self.points[upper])
        work.rung(self.rungs[lower])
        for rung in self.rungs[upper:lower]:
            work.rung(rung)
        after = self.points[lower + 1]
        gates = work.gates
        theirs = _left(after)
        found = {key[1] for key, lit in _left(work).items() if _unequal(gates, lit, theirs[key])}
        for mine, other in zip(work.state, after.state, strict=True):
            if _unequal(gates, mine.next, other.next):
                number = int(mine.name.rpartition(".")[2])
                place_of = self.links.of_edge if mine.kind == "edge" else self.links.place_of
                found |= self.links.moves[place_of[number]]
        return frozenset(found)


def _copied(work: Lowering) -> Lowering:
    """The same point of the scan, to go on from in another way; the gates are shared."""
    other = copy(work)
    other.contact, other.coil = dict(work.contact), dict(work.coil)
    other.timing, other.bits = dict(work.timing), dict(work.bits)
    other.timers = {name: list(made) for name, made in work.timers.items()}
    other.driven, other.state, other.powers = set(work.driven), list(work.state), []
    return other


def _left(work: Lowering) -> dict[tuple[str, str, int], Lit]:
    """What the devices are at a point of the scan: a literal for each kind, name and place."""
    found: dict[tuple[str, str, int], Lit] = {}
    kinds = (("contact", work.contact), ("coil", work.coil), ("timing", work.timing))
    for kind, lits in kinds:
        found.update({(kind, name, 0): lit for name, lit in lits.items()})
    for name, bits in work.bits.items():
        found.update({("bit", name, place): lit for place, lit in enumerate(bits)})
    for name, timers in work.timers.items():
        for place, timer in enumerate(timers):
            found["run", name, place] = timer.run
            found["clear before", name, place] = timer.clear_before
            found["clear after", name, place] = timer.clear_after
    return found


def _unequal(gates: Gates, one: Lit, other: Lit) -> bool:
    """Whether two literals can differ, over all values of what they read; taken to be so where
    that is more than MOST_LEAVES bits."""
    if one == other:
        return False
    order: dict[int, None] = {}  # a node stands behind all that it reads
    stack = [one >> 1, other >> 1]
    while stack:
        node = stack[-1]
        gate = gates.made[node - gates.first] if node >= gates.first else ()
        open_ends = [lit >> 1 for lit in gate if lit >> 1 not in order]
        if open_ends:
            stack += open_ends
        else:
            order[stack.pop()] = None
    read = [node for node in order if 0 < node < gates.first]
    if len(read) > MOST_LEAVES:
        return True
    ones = (1 << (1 << len(read))) - 1
    values = {0: 0, **dict(zip(read, variable_masks(len(read)), strict=True))}

    def value(lit: Lit) -> int:
        return values[lit >> 1] ^ (ones if lit & 1 else 0)

    for node in order:
        if node >= gates.first:
            values[node] = ones
            for lit in gates.made[node - gates.first]:
                values[node] &= value(lit)
    return value(one) != value(other)
