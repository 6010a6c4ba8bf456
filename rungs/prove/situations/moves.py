"""What outputs can still do while the circuit of one input stays as it is, for ever.

A wire that is faulty does just that. What it makes happen at once is seen in the situations; what
can happen later with it needs all that can happen, and a search of its own.
"""

from __future__ import annotations

from collections.abc import Iterable

from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.situations.found import Situations, collected
from rungs.prove.situations.lanes import columns_of, words_of
from rungs.prove.situations.pushes import Block
from rungs.prove.situations.search import Search


def can_be_on(
    found: Situations, name: str, closed: bool, wanted: Iterable[str], budget: Budget
) -> dict[str, bool | None]:
    """Which of the wanted outputs and relays can be on after some scan when the circuit of an input
    is open or closed from power-up on, for ever; None where the budget was used up before that was
    known.

    What the program assumes of the plant is taken to hold, but for what it says of that input.
    """
    machine = found.machine.faulty(name)
    index = next(i for i in machine.inputs if machine.core.signals[i].name == name)
    places = {n: each for n, each in found.devices("output", "relay") if each in set(wanted)}
    if not places:
        return {}
    search = Search(machine, found.clocks, budget, fixed={index: closed}, wanted=places)
    search.run()
    known: bool | None = None if search.reason else False
    return {each: True if search.ever_on[n] else known for n, each in places.items()}


class Moves:
    """What the panel does from its situations when one thing or several happen in a scan: for each
    input that stays as it is and each output whether it can come on or go off.

    `on` and `off` have the place of the input, whether its circuit stays closed, and the number of
    the output that then comes on or goes off; `ever_on` and `ever_off` have the outputs that do so
    whatever moves. With `complete` none is missing. Power cuts are not among the things that
    happen. Situations are taken without what is assumed of the contact of the input `lying`; they
    may then be more than `found` has.
    """

    def __init__(self, found: Situations, budget: Budget, lying: str) -> None:
        self.machine = found.machine.faulty(lying)
        search = Search(self.machine, found.clocks, budget)
        if self.machine is not found.machine:
            search.run()
            found = collected(search, found.dates, real=False)
        self.outputs = [n for n, _ in found.devices("output")]
        self.off: set[tuple[int, bool, int]] = set()
        self.on: set[tuple[int, bool, int]] = set()
        self.ever_off: set[int] = set()
        self.ever_on: set[int] = set()
        stood = self._stood(found)
        ended = True
        try:
            for block in search.pushes.blocks(stood):
                budget.check()
                self._look(block, stood)
        except OutOfBudget:
            ended = False
        self.complete = ended and found.complete and not search.reason

    def _stood(self, found: Situations) -> dict[int, int]:
        """For each state that situations stand in a bit for each input, side of its circuit (open,
        closed), and output that is on, and after these one for each output that is off."""
        columns = []
        for index in self.machine.inputs:
            closed = found.given[index]
            for side in (found.ones & ~closed, closed):
                columns += [side & found.outputs[n] for n in self.outputs]
                columns += [side & ~found.outputs[n] for n in self.outputs]
        stood: dict[int, int] = {}
        for word, each in zip(found.words, words_of(columns, found.count), strict=True):
            stood[word] = stood.get(word, 0) | each
        return stood

    def _look(self, block: Block, stood: dict[int, int]) -> None:
        """Enter what the outputs do when all that can happen in some states does."""
        machine, wide = self.machine, len(self.outputs)
        rest = block.rest(machine, block.step(machine))
        columns = columns_of([stood[word] for word in block.words], 4 * len(machine.inputs) * wide)
        for place, index in enumerate(machine.inputs):
            for closed in (False, True):
                still = block.given[index] if closed else ~block.given[index]
                low = (2 * place + closed) * 2 * wide
                for k, n in enumerate(self.outputs):
                    key = (place, closed, n)
                    on, off = columns[low + k], columns[low + wide + k]
                    if on and key not in self.off:
                        moved = block.wide(on) & rest.settled & ~rest.outputs[n]
                        if moved:
                            self.ever_off.add(n)
                        if moved & still:
                            self.off.add(key)
                    if off and key not in self.on:
                        moved = block.wide(off) & rest.settled & rest.outputs[n]
                        if moved:
                            self.ever_on.add(n)
                        if moved & still:
                            self.on.add(key)
