"""The search for every state that a panel can come to, and for the situations among them.

Breadth first, thousands of states at a time. Where there are too many of them, it walks on at
random from the last ones, because those lie where nobody has looked.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from random import Random

from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.situations.lanes import Columns, columns_of, lanes_of, words_of
from rungs.prove.situations.machine import HOLDS, Machine, Rest, differ
from rungs.prove.situations.pushes import AllPushes, Block, Clocks, Push

MOST_STATES = 50_000
MOST_SITUATIONS = 1 << 17
# of the seconds of the budget; the rest is for runs in real time
SEARCH_PART = 0.6
WALK_PART = 0.15
MOST_WALKS = 100
WALKERS = 1024  # runs that walk on together where not everything could be looked at
MOST_RESTLESS = 4  # pushes that are kept for one set of devices that never rest


@dataclass(frozen=True, slots=True)
class Origin:
    """How a state was first reached: by a push in the state `before`, after which the panel came to
    `rest`; or, without a push, by a power cut."""

    before: int
    push: Push | None
    rest: bool = False


@dataclass(frozen=True, slots=True)
class Restless:
    """A push after which some outputs or relays never come to rest."""

    before: int
    push: Push
    devices: tuple[str, ...]


class Search:
    """Breadth first over the states; those in which the panel has come to rest go first, because
    the runs that lead to them have times more often.

    `fixed` has the inputs, by signal, whose circuits never move. `most` is the most states that are
    looked at. With `wanted` the search ends when all of these outputs, by number, have been on.
    """

    def __init__(
        self,
        machine: Machine,
        clocks: Clocks,
        budget: Budget,
        most: int = MOST_STATES,
        fixed: Mapping[int, bool] | None = None,
        wanted: Collection[int] = (),
    ) -> None:
        self.machine = machine
        self.clocks = clocks
        self.budget = budget
        self.most = most
        self.fixed = fixed or {}
        self.wanted = wanted
        self.rng = Random(1)
        self.pushes = AllPushes(machine, clocks, self.rng, self.fixed)
        self.origins: dict[int, Origin | None] = {machine.first_word: None}
        # the state, the inputs and the place of the clocks' vector of each, in the order found
        self.situations: dict[tuple[int, int, int], None] = {}
        self.restless: dict[tuple[str, ...], list[Restless]] = {}
        self.ever_on = [False] * len(machine.core.outputs)
        self._stopped = ""
        self._calm: list[int] = [machine.first_word]
        self._rough: list[int] = []
        self._cuts: set[int] = {0}

    @property
    def reason(self) -> str:
        """Why not all states were looked at; empty if they were."""
        return self.pushes.sampled or self._stopped

    def run(self) -> None:
        """Look at all states, or as many as the budget allows; then walk on from the last ones."""
        try:
            self._everything(self._part(SEARCH_PART))
        except OutOfBudget as stop:
            self._stopped = str(stop)
            self._walk(self._part(WALK_PART))

    def _part(self, part: float) -> Budget:
        seconds = self.budget.seconds
        return self.budget if seconds is None else self.budget.part(part * seconds)

    def _everything(self, budget: Budget) -> None:
        while self._calm or self._rough:
            budget.check()
            if len(self.origins) > self.most:
                raise OutOfBudget(f"more than {self.most:,} states")
            if len(self.situations) > MOST_SITUATIONS:
                raise OutOfBudget(f"more than {MOST_SITUATIONS:,} situations")
            if self.wanted and all(self.ever_on[n] for n in self.wanted):
                return
            batch, calm = self._calm or self._rough, bool(self._calm)
            if calm:
                self._calm = []
            else:
                self._rough = []
            for word in batch:
                self._cut(word)
            for block in self.pushes.blocks(batch):
                budget.check()
                self._expand(block, calm)

    def _cut(self, word: int) -> None:
        kept = word & self.machine.retained
        if kept not in self._cuts:
            self._cuts.add(kept)
            self.origins[kept | self.machine.first_word] = Origin(word, None)
            self._calm.append(kept | self.machine.first_word)

    def _expand(self, block: Block, calm: bool) -> None:
        scanned = block.step(self.machine)
        self.ever_on = [
            old or bool(mask & scanned.kept)
            for old, mask in zip(self.ever_on, scanned.outputs, strict=True)
        ]
        if not block.first:
            still = block.quiet & scanned.kept & ~differ(block.before, scanned.after)
            for lane in lanes_of(still):
                word, push = block.cause(lane)
                self.situations[word, push.inputs, push.vector] = None
        rest = block.rest(self.machine, scanned)
        # what settles slowly from a state in the middle of things is met scan by scan anyway
        if calm:
            self._collect(block, rest.state, rest.settled, rest=True)
        if not calm or rest.settled != scanned.kept or differ(rest.state, scanned.after):
            self._collect(block, scanned.after, scanned.kept, rest=False)
        for lane, devices in self._restless(rest):
            known = self.restless.setdefault(devices, [])
            if len(known) < MOST_RESTLESS:
                known.append(Restless(*block.cause(lane), devices))

    def _collect(self, block: Block, columns: Columns, live: int, rest: bool) -> None:
        """Enter the states of the lanes of `live` that nobody has seen."""
        # the place above those of a state marks the lanes that do not count
        reached = words_of([*columns, block.ones ^ live], block.lanes)
        origins, width = self.origins, self.machine.width
        new = {word for word in set(reached) if not word >> width and word not in origins}
        if not new:
            return
        where = dict(zip(reversed(reached), range(block.lanes - 1, -1, -1), strict=True))
        for word in sorted(new, key=lambda each: where[each]):
            origins[word] = Origin(*block.cause(where[word]), rest)
            (self._calm if rest else self._rough).append(word)

    def _restless(self, rest: Rest) -> Iterator[tuple[int, tuple[str, ...]]]:
        """A lane for each set of outputs and relays that go on changing together."""
        left = rest.restless
        while left:
            lane = (left & -left).bit_length() - 1
            alike = left
            devices = []
            for n in self.machine.seen:
                mask = rest.changing[n]
                if mask >> lane & 1:
                    devices.append(self.machine.core.outputs[n].name)
                    alike &= mask
                else:
                    alike &= ~mask
            left &= ~alike
            if devices:
                yield lane, tuple(devices)

    def _walk(self, budget: Budget) -> None:
        """Go on from the states found last, WALKERS runs at a time, each with a push of its own
        whenever it has come to rest."""
        resting = [w for w in self.origins if not w & self.machine.first_word][-WALKERS:]
        for _ in range(MOST_WALKS if resting else 0):
            try:
                budget.check()
            except OutOfBudget:
                return
            resting = self._walked(resting)

    def _walked(self, resting: list[int]) -> list[int]:
        """The states that the runs come to by one push more; they stay where they do not rest."""
        machine, rng, lanes = self.machine, self.rng, len(resting)
        ones = (1 << lanes) - 1
        draws = [rng.choice(self.pushes.choice(word)) for word in resting]
        shown = self.clocks.columns(draws)
        given = dict(zip((*machine.clocks, HOLDS), shown, strict=True))
        for index in machine.inputs:
            fixed = self.fixed.get(index)
            given[index] = rng.getrandbits(lanes) if fixed is None else ones * fixed
        ends = {t: rng.getrandbits(lanes) & rng.getrandbits(lanes) for t in machine.counts}
        rest = machine.settle(ones, columns_of(resting, machine.width), given, ends)
        reached = words_of([*rest.state, ones ^ rest.settled], lanes)
        pushed = words_of([given[i] for i in machine.inputs], lanes)
        over = words_of([ends.get(t, 0) for t in range(len(machine.core.timers))], lanes)
        following = []
        for lane, (before, word) in enumerate(zip(resting, reached, strict=True)):
            if word >> machine.width:
                following.append(before)
                continue
            following.append(word)
            push = Push(pushed[lane], draws[lane], over[lane] & machine.waiting(before))
            self.origins.setdefault(word, Origin(before, push, True))
            if len(self.situations) <= MOST_SITUATIONS:
                self.situations[word, push.inputs, self.clocks.quiet[draws[lane]]] = None
        return following
