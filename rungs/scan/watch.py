"""Watches the properties of a program while it is scanned, and says which broke first, and when.

It is shown the states that scans leave and asks nothing of who makes them, so that a scenario, a
bench and the replay of a counterexample all judge a property by the same hands.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rungs.core.nodes import PERIOD
from rungs.program.nodes import Circuit, Program, Property
from rungs.scan.observe import holds
from rungs.scan.reference import State


@dataclass(frozen=True, slots=True)
class Violation:
    """A property that did not hold, or an assumption that was contradicted (`kind` "assume"), for
    the first time: after the scan at time `t` (ms), which has the number `scan`."""

    property: Property
    t: int
    scan: int


class Watcher:
    """Watches every property of a program from power-up on; `period` is the time between scans, ms.

    Properties mean what the language reference says under "Properties". A property is reported
    once. Nothing is reported from the scan on that contradicts an assumption: such a plant is not
    the one that the file speaks of.
    """

    def __init__(self, program: Program, period: int = PERIOD) -> None:
        self.program = program
        self.period = period
        self.violations: tuple[Violation, ...] = ()
        self.contradicted: Violation | None = None
        self._assumed = [item for item in program.properties if item.kind == "assume"]
        # by place in the file: two properties of the same text are equal
        self._watched = {
            number: item for number, item in enumerate(program.properties) if item.kind != "assume"
        }
        self._unmet: dict[int, int] = {}  # since when a requirement with a time is not met, ms

    def see(self, before: State, after: State, wires: Mapping[str, str]) -> tuple[Violation, ...]:
        """Look at the state after a scan; `before` is the state that this scan began with, and
        `wires` tells each input's wire fault.

        Returns what came to light, in the order in which it happened. Scans up to `before.t` may
        have been passed over if they changed nothing but elapsed times: a time that ran out in
        one of them gives a violation with the time of that scan. The first scan after power-up
        says so itself (`after.first`); times that were running are then forgotten.
        """
        if self.contradicted is not None:
            return ()
        if after.first:
            self._unmet.clear()
        found = self._passed_over(before.t)
        self.contradicted = self._contradiction(before, after, wires)
        if self.contradicted is not None:
            self.violations += found
            return (*found, self.contradicted)
        for number, item in list(self._watched.items()):
            closed = holds(self.program, before, after, wires, item.circuit)
            if self._is_broken(number, item, closed, before, after, wires):
                found += (self._broken(number, after.t),)
        self.violations += found
        return found

    def _passed_over(self, last: int) -> tuple[Violation, ...]:
        """What broke up to the scan at time `last`, all having stayed as it was seen."""
        ends = [
            (-(-(since + self._watched[number].within) // self.period) * self.period, number)
            for number, since in self._unmet.items()
        ]
        return tuple(self._broken(number, end) for end, number in sorted(ends) if end <= last)

    def _contradiction(
        self, before: State, after: State, wires: Mapping[str, str]
    ) -> Violation | None:
        for item in self._assumed:
            if holds(self.program, before, after, wires, item.circuit):
                return Violation(item, after.t, after.t // self.period)
        return None

    def _is_broken(
        self,
        number: int,
        item: Property,
        closed: bool,
        before: State,
        after: State,
        wires: Mapping[str, str],
    ) -> bool:
        """Whether a property does not hold after this scan; `closed` tells of its circuit."""
        if item.when is None:
            return closed == (item.kind == "never")
        if closed or not holds(self.program, before, after, wires, item.when):
            self._unmet.pop(number, None)
            return False
        return after.t - self._unmet.setdefault(number, after.t) >= item.within

    def _broken(self, number: int, t: int) -> Violation:
        self._unmet.pop(number, None)
        return Violation(self._watched.pop(number), t, t // self.period)


def circuits_of(item: Property) -> tuple[Circuit, ...]:
    """The circuits that a property speaks of, the condition of a requirement first."""
    return (item.circuit,) if item.when is None else (item.when, item.circuit)
