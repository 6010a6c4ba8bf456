"""The terminal strip as frozen data: groups of terminals, their fuses and their bridges.

One group is one potential and one run of bridges, with a marker of its own, so that whoever reads
`X2:5` knows what is on that terminal without turning a page.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import count
from math import ceil
from typing import Final, Literal

from rungs.panel.loads import Fed, feeding
from rungs.panel.protection import fuse_for
from rungs.program.nodes import Input, Output, Program, Supply

MOST_WIRES: Final = 2  # on one terminal: one on either side
LONGEST_BRIDGE: Final = 10  # poles; longer groups have several, which share a terminal

GroupRole = Literal["plus", "minus", "common", "free"]
Use = Literal["feed", "device", "spare"]
FreeEnd = Literal["feed", "load", "return"]


@dataclass(frozen=True, slots=True)
class Terminal:
    """One terminal, `X1:3`. A fuse terminal is bridged before its fuse and wired behind it.

    `use`: `feed` takes the wire from the supply or the board, `device` serves the input or output
    `device`, `spare` is free. `end` says which end of an output's circuit a free terminal takes.
    `fuse` is the rating in A; None for a plain terminal, and for a fuse that is not known.
    """

    name: str
    kind: Literal["plain", "fuse"]
    use: Use
    device: str = ""
    fuse: float | None = None
    end: FreeEnd | None = None


@dataclass(frozen=True, slots=True)
class Bridge:
    """A bridge over adjacent terminals, 2 to LONGEST_BRIDGE of them."""

    terminals: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Group:
    """Terminals of one potential. `supply` names the supply of a plus or minus group; terminals of
    the free group are not joined."""

    name: str
    role: GroupRole
    supply: str
    terminals: tuple[Terminal, ...]
    bridges: tuple[Bridge, ...]


@dataclass(frozen=True, slots=True)
class Strip:
    """The whole strip, group after group."""

    groups: tuple[Group, ...]

    def group(self, role: GroupRole) -> Group | None:
        """The common or the free group, if the strip has it."""
        return next((g for g in self.groups if g.role == role), None)

    def rails(self, supply: str) -> tuple[Group, Group]:
        """The plus and the minus group of a supply. Raises KeyError if there is no such supply."""
        found = {g.role: g for g in self.groups if g.supply == supply}
        return found["plus"], found["minus"]


def supplies_of(program: Program) -> dict[str, Supply]:
    """The supply of each output, by the output's name; those of which nobody knows are left out."""
    return {
        fed.output.name: feeder.supply for feeder in feeding(program).feeders for fed in feeder.fed
    }


def fuse_of(output: Output) -> float | None:
    """The rating in A of an output's fuse: the next one at or above 125 % of the load (NEC 210.20,
    a continuous load). None for an unknown load, and for one above every rating."""
    amps = Fed(output, "named").nanoamps
    return None if amps is None else fuse_for(output.name, "output", amps).fuse_amps


def spares(used: int) -> int:
    """How many terminals of a group stay free: a fifth and at least two (common practice)."""
    return max(2, ceil(used / 5))


def lay_strip(program: Program) -> Strip:
    """The strip of a panel: plus and minus of each supply, the inputs' common, free terminals.

    Terminal k of a supply's plus and of its minus group serve the same output.
    """
    names = (f"{prefix_for(program)}{n}" for n in count(1))
    groups: list[Group] = []
    known = supplies_of(program)
    for supply in program.supplies:
        fed = [output for output in program.outputs if known.get(output.name) == supply]
        groups.append(_bridged(next(names), "plus", supply.name, [_feeding(o) for o in fed]))
        plain = [_Wanted(output.name) for output in fed]
        groups.append(_bridged(next(names), "minus", supply.name, plain))
    if program.inputs:
        served = [_Wanted(device.name) for device in program.inputs]
        groups.append(_bridged(next(names), "common", "", served))
    free = [
        wanted for output in program.outputs for wanted in _free_ends(output, output.name in known)
    ]
    if free:
        name = next(names)
        made = tuple(
            Terminal(f"{name}:{n}", w.kind, "device", w.device, w.fuse, w.end)
            for n, w in enumerate(free, 1)
        )
        groups.append(Group(name, "free", "", made, ()))
    return Strip(tuple(groups))


def prefix_for(program: Program) -> str:
    """The letters before a group's number: X (IEC 81346-2 for terminals), or longer if the board's
    own terminals begin like that."""
    devices: tuple[Input | Output, ...] = (*program.inputs, *program.outputs)
    taken = [device.terminal.casefold() for device in devices]

    def alike(name: str, prefix: str) -> bool:
        return name.startswith(prefix) and name[len(prefix) :][:1].isdigit()

    prefixes = ("X" * length for length in count(1))
    return next(p for p in prefixes if not any(alike(name, p.casefold()) for name in taken))


@dataclass(frozen=True, slots=True)
class _Wanted:
    device: str
    kind: Literal["plain", "fuse"] = "plain"
    fuse: float | None = None
    end: FreeEnd | None = None


def _feeding(output: Output, end: FreeEnd | None = None) -> _Wanted:
    """The terminal before an output's relay: with a fuse where the load is known."""
    if output.load is None:
        return _Wanted(output.name, end=end)
    return _Wanted(output.name, "fuse", fuse_of(output), end)


def _free_ends(output: Output, fed: bool) -> list[_Wanted]:
    """The ends of an output's circuit that nothing in the file tells where to put."""
    ends = [] if fed else [_feeding(output, "feed")]
    if output.load is None:
        ends.append(_Wanted(output.name, end="load"))
    return ends if fed else [*ends, _Wanted(output.name, end="return")]


def _bridged(name: str, role: GroupRole, supply: str, wanted: list[_Wanted]) -> Group:
    made = [Terminal(f"{name}:1", "plain", "feed")]
    for w in wanted:
        made.append(Terminal(f"{name}:{len(made) + 1}", w.kind, "device", w.device, w.fuse))
    for _ in range(spares(len(made))):
        made.append(Terminal(f"{name}:{len(made) + 1}", "plain", "spare"))
    step = LONGEST_BRIDGE - 1
    every = [terminal.name for terminal in made]
    bridges = tuple(
        Bridge(tuple(every[at : at + LONGEST_BRIDGE])) for at in range(0, len(every) - 1, step)
    )
    return Group(name, role, supply, tuple(made), bridges)
