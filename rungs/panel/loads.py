"""Which supply feeds which load, and what the loads of a supply draw together.

Amps are added as whole nanoamps, so that a sum that just fits is not made to fail by the way a
computer writes tenths.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable
from dataclasses import dataclass
from typing import Final, Literal

from rungs.program.nodes import Contact, Output, Program, Supply
from rungs.scan.runner import Panel

NANO: Final = 1_000_000_000

How = Literal["named", "only", "volts"]


@dataclass(frozen=True, slots=True)
class Fed:
    """An output that a supply feeds, and how that is known: it is `named` with `from`, it is the
    `only` supply of the file, or the only one of the load's `volts`."""

    output: Output
    how: How

    @property
    def nanoamps(self) -> int | None:
        """What its load draws; None where that is not given."""
        load = self.output.load
        return None if load is None else round(load.amps * NANO)


@dataclass(frozen=True, slots=True)
class Feeder:
    """A supply and the outputs that it feeds, in file order."""

    supply: Supply
    fed: tuple[Fed, ...]

    @property
    def known(self) -> dict[str, int]:
        """The nanoamps of each load that is known, by output."""
        return {f.output.name: f.nanoamps for f in self.fed if f.nanoamps is not None}

    @property
    def unknown(self) -> tuple[str, ...]:
        """The outputs whose loads are not given."""
        return tuple(f.output.name for f in self.fed if f.nanoamps is None)


@dataclass(frozen=True, slots=True)
class Loose:
    """An output of which nobody knows what feeds it; `supplies` are those that may."""

    output: Output
    supplies: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Feeding:
    """All supplies in file order, and the outputs that hang on none for sure."""

    feeders: tuple[Feeder, ...]
    loose: tuple[Loose, ...]


def feeding(program: Program) -> Feeding:
    """Which supply feeds which output, as far as the file says."""
    fed: dict[str, list[Fed]] = {supply.name: [] for supply in program.supplies}
    loose: list[Loose] = []
    for output in program.outputs:
        fits = _candidates(program, output)
        if output.supply in fed:
            fed[output.supply].append(Fed(output, "named"))
        elif len(fits) == 1:
            how: How = "only" if len(program.supplies) == 1 else "volts"
            fed[fits[0].name].append(Fed(output, how))
        else:
            loose.append(Loose(output, tuple(supply.name for supply in fits)))
    feeders = tuple(Feeder(supply, tuple(fed[supply.name])) for supply in program.supplies)
    return Feeding(feeders, tuple(loose))


def _candidates(program: Program, output: Output) -> tuple[Supply, ...]:
    """The supplies that may feed an output that names none."""
    load = output.load
    return tuple(s for s in program.supplies if load is None or abs(s.volts - load.volts) <= 1e-9)


def amps_of(nanoamps: int) -> float:
    """Nanoamps as amps."""
    return nanoamps / NANO


def total(known: dict[str, int], on: Iterable[str]) -> int:
    """The nanoamps of the loads that are on."""
    return sum(known[name] for name in on)


def load_contact(output: Output) -> Contact:
    """The circuit that is closed while the load is on."""
    return Contact("load", output.name)


def loads_at_rest(program: Program) -> frozenset[str]:
    """The outputs whose loads are on when the panel has come up with every switch left alone.

    Clocks stand as on Monday 2026-01-05 at 00:00.
    """
    panel = Panel(program)
    panel.settle()
    return loads_on(program, {n: bool(c) for n, c in panel.state.contacts.items()})


def loads_on(program: Program, contacts: dict[str, bool]) -> frozenset[str]:
    """The outputs whose loads are on by the contact side they use."""
    return frozenset(o.name for o in program.outputs if contacts[o.name] != (o.side == "NC"))


def loads_when_dark(outputs: Collection[Output]) -> frozenset[str]:
    """The outputs whose loads are on while every relay coil is off, as on a board that has lost its
    own power beside a load supply that has not."""
    return frozenset(output.name for output in outputs if output.side == "NC")
