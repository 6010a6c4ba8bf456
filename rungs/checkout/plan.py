"""The plan of a checkout as frozen data: which steps to take, and what to see after each.

A step carries its instructions in words and everything that a face or a record needs, so that
paper, command line and bench walk the same steps.
"""

from __future__ import annotations

from dataclasses import dataclass
from hashlib import sha256
from typing import Literal

Part = Literal["inputs", "relays", "functions"]


@dataclass(frozen=True, slots=True)
class Sight:
    """What one output shows: `terminal` of its relay, its coil, and its load by the contact side
    (None where no load is declared)."""

    output: str
    terminal: str
    coil: bool
    load: bool | None


@dataclass(frozen=True, slots=True)
class Step:
    """One step: do all of `do` in order, let the panel settle, see all of `sights`.

    `rows` are the rows of the transition table (from 1) that are taken here for the first time,
    `rungs` the rungs that decide what is seen, `terminals` those of the devices that are moved or
    that must answer. `by_hand` is False where two things would have to come in one scan. `notes`
    say what else the reader should know (an input's state to be seen on the board, a caution).
    """

    part: Part
    do: tuple[str, ...]
    sights: tuple[Sight, ...]
    rows: tuple[int, ...] = ()
    rungs: tuple[int, ...] = ()
    terminals: tuple[str, ...] = ()
    by_hand: bool = True
    notes: tuple[str, ...] = ()

    @property
    def key(self) -> str:
        """A name for the step that lasts as long as what is done and seen is the same."""
        seen = [f"{s.output} {s.terminal} {s.coil:d} {s.load}" for s in self.sights]
        text = "\n".join((self.part, *self.do, *seen))
        return sha256(text.encode("utf-8")).hexdigest()[:16]


@dataclass(frozen=True, slots=True)
class Plan:
    """All steps in order: inputs one by one, relays one by one, then the tour of the functions.

    `tour` is the number of steps of the tour and `bound` a number of steps that no tour can be
    shorter than (equal where the tour is the shortest there is). `table_rows` counts the rows of
    the transition table, `covered` those that the tour takes by hand, `together` those that need
    two things in one scan, and `left_out` says in words why the others are not taken. Without a
    table (`table_rows` is 0), `left_out` says why there is none. `parts` are the outputs of each
    table where the panel is tried part by part, and the numbers are then the sums of the parts.
    """

    title: str
    digest: str  # sha256 of the program's text
    steps: tuple[Step, ...]
    tour: int
    bound: int
    table_rows: int
    covered: int
    together: int
    left_out: tuple[str, ...] = ()
    parts: tuple[tuple[str, ...], ...] = ()
