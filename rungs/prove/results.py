"""What a search of a question can end in, as frozen data.

Only `Invariant` and `InvariantGates` are proofs, and whoever makes one has another solver check it
first; only `Run` is a failure, and it has been replayed. All else is `Bounded`.
"""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass
from typing import TypeVar

from rungs.core.nodes import Lit

Fact = tuple[int, Lit]  # a literal of the core, at a step counted from 0


@dataclass(frozen=True, slots=True)
class Invariant:
    """Each clause is a disjunction of literals over state bits, in the numbering of the core.
    Together they hold in the all-0 state, are kept by every step, and never go with bad."""

    clauses: tuple[tuple[Lit, ...], ...]


@dataclass(frozen=True, slots=True)
class InvariantGates:
    """The same in general: the invariant is `root`, over state bits and And gates.

    The numbering is that of the core as if it had no gates of its own: node 0, the signals (which
    must not be read here), the state bits, and from `core.first_gate` on these gates, each the And
    of literals of smaller nodes.
    """

    gates: tuple[tuple[Lit, ...], ...]
    root: Lit


@dataclass(frozen=True, slots=True)
class Run:
    """The signals of each step from the all-0 state; the last step shows bad, none before does."""

    steps: tuple[tuple[bool, ...], ...]


@dataclass(frozen=True, slots=True)
class Bounded:
    """No run of up to `steps` steps shows bad; `reason` says why nobody looked further."""

    steps: int
    reason: str


@dataclass(frozen=True, slots=True)
class Impossible:
    """Facts that never hold together. With `shift` they never do at any other place of a run
    either, as long as all of them move by the same number of steps."""

    facts: tuple[Fact, ...]
    shift: bool


Found = Invariant | Run | Bounded
Ended = TypeVar("Ended")
# a search a piece at a time: yields the work done so far, so that others can take turns with it
Work = Generator[int, None, Ended]
