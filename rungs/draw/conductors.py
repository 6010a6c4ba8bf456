"""The circuit of one rung as numbered conductors: the identity that layout and flow share.

Two equal contacts may stand in one circuit, so neither a leaf nor its name can tell one piece of
wire from another; a number given in reading order can. Conductors are cut wherever power may stop
or come together, so that every drawn piece of wire belongs to exactly one of them and is live, or
dead, over its whole length.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count

from rungs.program.nodes import Circuit, Leaf, Parallel, Series

RAIL = 0  # the conductor of the left rail


@dataclass(frozen=True, slots=True)
class Spot:
    """One leaf in its place; `index` counts the leaves of the rung from 0 in reading order."""

    leaf: Leaf
    index: int

    @property
    def out(self) -> int:
        """The conductor at the leaf's right side."""
        return self.index + 1


@dataclass(frozen=True, slots=True)
class Chain:
    """Parts in series: the right side of each feeds the next."""

    parts: tuple[Part, ...]

    @property
    def out(self) -> int:
        """The conductor at the right end."""
        return self.parts[-1].out


@dataclass(frozen=True, slots=True)
class Fan:
    """Parts in parallel, the first on top.

    The right ends meet on an upright bar: `bars[i]` is its piece between branch i and branch i + 1,
    fed by all branches from i + 1 down; `out`, at the height of branch 0, is fed by all.
    """

    branches: tuple[Part, ...]
    bars: tuple[int, ...]
    out: int


Part = Spot | Chain | Fan


@dataclass(frozen=True, slots=True)
class Wiring:
    """A circuit with every conductor numbered.

    Conductor 0 is the left rail, conductor i + 1 the right side of `leaves[i]`; those from
    len(leaves) + 1 up to `conductors` - 1 are where branches meet.
    """

    root: Part
    leaves: tuple[Leaf, ...]
    conductors: int


def wire_up(circuit: Circuit) -> Wiring:
    """Number the leaves and conductors of a circuit, the same way for equal circuits."""
    found: list[Leaf] = []
    fans: list[tuple[int, int]] = []  # (first leaf below, number of branches)

    def size(part: Circuit) -> None:
        if isinstance(part, Series | Parallel):
            if isinstance(part, Parallel):
                fans.append((len(found), len(part.parts)))
            for inner in part.parts:
                size(inner)
        else:
            found.append(part)

    size(circuit)
    joint = count(len(found) + 1)
    spot = count(0)

    def build(part: Circuit) -> Part:
        if isinstance(part, Series):
            return Chain(tuple(build(inner) for inner in part.parts))
        if isinstance(part, Parallel):
            branches = tuple(build(inner) for inner in part.parts)
            bars = tuple(next(joint) for _ in branches[1:])
            return Fan(branches, bars, next(joint))
        return Spot(part, next(spot))

    root = build(circuit)
    return Wiring(root, tuple(found), len(found) + 1 + sum(width for _, width in fans))
