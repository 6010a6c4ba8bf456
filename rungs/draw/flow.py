"""Where the power of one rung goes: what it reaches, what passes it on, and what stops it.

Power flows from left to right only, as in the scan: a conductor that hangs behind an open contact
stays dead even where its far end meets a live one, so that a picture shows which way the power
came.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import assert_never

from rungs.draw.conductors import RAIL, Chain, Fan, Part, Spot, Wiring, wire_up
from rungs.program.nodes import Circuit, Leaf


@dataclass(frozen=True, slots=True)
class Flow:
    """The power in one circuit; leaves and conductors are numbered as in its Wiring.

    `reached[i]`: power stands at the left side of leaf i. `passed[i]`: it also leaves on the right.
    `live[c]`: conductor c has power. `powered`: the rung as a whole has. `stops`: in a dead rung,
    in reading order, the open leaves that stop the power; empty in a live one.
    """

    reached: tuple[bool, ...]
    passed: tuple[bool, ...]
    live: tuple[bool, ...]
    powered: bool
    stops: tuple[int, ...]


def conducting(circuit: Circuit, closed: Callable[[Leaf], bool]) -> Flow:
    """Follow the power through `circuit`; `closed(leaf)` says whether current can cross a leaf.

    `closed` is asked once for each leaf, in reading order, for the leaf as written: a negated
    contact is closed while what it looks at is off. Each leaf in `stops` is the first open one on
    some way through the first part of the rung that does not conduct. An open contact that a closed
    one in parallel bridges stops nothing and is not among them, though power reaches it.
    """
    return conducting_wiring(wire_up(circuit), closed)


def conducting_wiring(wiring: Wiring, closed: Callable[[Leaf], bool]) -> Flow:
    """As `conducting`, for a circuit that is wired up already."""
    shut = [closed(leaf) for leaf in wiring.leaves]
    reached = [False] * len(shut)
    passed = [False] * len(shut)
    live = [False] * wiring.conductors
    live[RAIL] = True

    def follow(part: Part, power: bool) -> bool:
        match part:
            case Spot():
                reached[part.index] = power
                power = power and shut[part.index]
                passed[part.index] = power
            case Chain():
                for inner in part.parts:
                    power = follow(inner, power)
            case Fan():
                through = [follow(branch, power) for branch in part.branches]
                power = through[-1]
                for bar, above in zip(reversed(part.bars), reversed(through[:-1]), strict=True):
                    live[bar] = power
                    power = power or above
            case _:
                assert_never(part)
        live[part.out] = power
        return power

    stops: list[int] = []

    def blame(part: Part) -> None:
        match part:
            case Spot():
                stops.append(part.index)
            case Chain():
                blame(next(inner for inner in part.parts if not live[inner.out]))
            case Fan():
                for branch in part.branches:
                    blame(branch)
            case _:
                assert_never(part)

    powered = follow(wiring.root, True)
    if not powered:
        blame(wiring.root)
    return Flow(tuple(reached), tuple(passed), tuple(live), powered, tuple(stops))
