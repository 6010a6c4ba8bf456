"""Runs that show what an order of two rungs changes, played on the reference interpreter.

Chance and search only propose a run; it is told as something that happens because it was seen here,
in the whole programs and with what they assume of the plant.
"""

from __future__ import annotations

from collections.abc import Collection
from dataclasses import dataclass, replace
from itertools import islice

from rungs.program.nodes import Program
from rungs.prove.witness import Witness, played
from rungs.scan.calendar import Calendar
from rungs.scan.reference import same
from rungs.scan.runner import Panel
from rungs.scan.watch import Watcher

Pair = tuple[Program, Program]  # as it is, and with one rung moved


@dataclass(frozen=True, slots=True)
class Told:
    """A run that the reference interpreter has played, and the outputs that differ at its end."""

    witness: Witness
    outputs: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Replay:
    """A program in two orders: `whole`, and the `part` of it on which the outputs `shown` depend.
    `period` is in ms."""

    whole: Pair
    part: Pair
    shown: tuple[str, ...]
    period: int
    calendar: Calendar

    def told(self, witness: Witness, resting: bool, most: int) -> Told | None:
        """The witness without acts that it does not need, as far as up to `most` more plays of it
        tell, and the outputs that differ at its end; None if the whole programs do not show that
        while the assumptions hold. With `resting` both are to be at rest there."""
        if resting and not self._shows(witness, resting):
            return None
        for index in islice(reversed(range(len(witness.acts))), most):
            acts = (*witness.acts[:index], *witness.acts[index + 1 :])
            smaller = replace(witness, acts=acts)
            if self._shows(smaller, resting):
                witness = smaller
        panels = self._panels(self.whole, witness)
        assumed = tuple(p for p in self.whole[0].properties if p.kind == "assume")
        watcher = Watcher(replace(self.whole[0], properties=assumed), self.period)
        if assumed:
            panels[0].watchers.append(watcher.see)
        outputs = self._differing(panels, witness)
        if watcher.contradicted is not None or not outputs:
            return None
        return Told(witness, outputs)

    def hasty(self, witness: Witness) -> bool:
        """Whether something is changed before both programs have come to rest."""
        for panel in self._panels(self.part, witness):
            for number, _ in enumerate(played(witness, panel)):
                act = number < len(witness.acts) and panel.state.powered
                if act and not same(panel.program, panel.before, panel.state):
                    return True
        return False

    def _shows(self, witness: Witness, resting: bool) -> bool:
        """Whether the parts differ at the end; with `resting`, and a further scan changes nothing
        in either."""
        panels = self._panels(self.part, witness)
        if not self._differing(panels, witness):
            return False
        return not resting or all(
            same(panel.program, panel.state, panel.make_scan()) for panel in panels
        )

    def _panels(self, pair: Pair, witness: Witness) -> list[Panel]:
        return [Panel(p, witness.start, self.period, calendar=self.calendar) for p in pair]

    def _differing(self, panels: Collection[Panel], witness: Witness) -> tuple[str, ...]:
        """The outputs in which the panels differ when the witness has been played on each."""
        for panel in panels:
            for _ in played(witness, panel):
                pass
        one, other = (panel.state.contacts for panel in panels)
        return tuple(name for name in self.shown if one[name] != other[name])
