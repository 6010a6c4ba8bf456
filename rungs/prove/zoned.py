"""Search that keeps the ages of the timers: exact where leaving due flags free is not enough.

A node is a state of the core, the place of the clocks, and a zone: all combinations of ages that
the running timers can have there. A scan that changes nothing may be repeated for as long as the
same flags show, in one stride, so hours cost no more than milliseconds.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rungs.core.nodes import Core
from rungs.core.patterns import split, variable_masks
from rungs.prove.budget import Budget
from rungs.prove.clocks.graph import ClockGraph
from rungs.prove.states import Key, Stepper, signal_space, sure_dues
from rungs.prove.timing import Step
from rungs.prove.zones import (
    FAR,
    NOTHING,
    Zone,
    aged,
    due_parts,
    later,
    rounded,
    running,
    waiting,
    with_dues,
)

MOST_SIGNALS = 17
MOST_ZONES = 20_000
CLOCK = 1 << 20  # the place of the clocks' own age among the timers of a zone


@dataclass(frozen=True, slots=True)
class Closed:
    """Nothing bad can be reached; so many nodes were looked at."""

    nodes: int


@dataclass(frozen=True, slots=True)
class Path:
    """The steps of a run to the first bad scan. Its times are possible but for accumulating timers
    and for what days the clocks need."""

    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class Stopped:
    """The search is not meant for so many nodes or signals."""

    reason: str


@dataclass(frozen=True, slots=True)
class _Node:
    key: Key
    place: int | None
    zone: Zone
    parent: int
    steps: tuple[Step, ...]


@dataclass(frozen=True, slots=True)
class _Outcome:
    """What a state does for the patterns of `mask`."""

    mask: int
    target: Key
    outputs: int


class _Look:
    """One state of the core under all patterns of its signals."""

    def __init__(self, search: _Search, key: Key) -> None:
        core = search.core
        self.key = key
        self.space = signal_space(core, key.running)
        self.names = [core.signals[i].name for i in self.space]
        masks = variable_masks(len(self.space))
        self.ones = (1 << (1 << len(self.space))) - 1
        self.at = dict(zip(self.names, masks, strict=True))
        self.sure = {core.signals[i].name: True for i in sure_dues(core, key.running)}
        after, outputs, runs = search.stepper.words(key, self.space)
        columns = (*after, *outputs, *runs[: 3 * len(core.timers) : 3])
        bits, shown = len(after), len(outputs)
        self.outcomes = []
        for mask, word in split(self.ones, columns):
            target = Key(word & ((1 << bits) - 1), word >> bits + shown, False)
            self.outcomes.append(_Outcome(mask, target, word >> bits & ((1 << shown) - 1)))
        self.quiet = self.ones
        for index in self.space:
            if core.signals[index].one_scan:
                self.quiet &= self.ones & ~self.at[core.signals[index].name]

    def showing(self, dues: Mapping[str, bool], vector: Mapping[str, bool]) -> int:
        """The patterns with these due flags and clock contacts."""
        found = self.ones
        for name, on in (*dues.items(), *vector.items()):
            mask = self.at.get(name)
            if mask is not None:
                found &= mask if on else self.ones & ~mask
        return found

    def step(self, mask: int) -> Step:
        """The lowest pattern of a mask as a step."""
        pattern = (mask & -mask).bit_length() - 1
        last = len(self.names) - 1
        values = {name: bool(pattern >> (last - i) & 1) for i, name in enumerate(self.names)}
        return Step({**values, **self.sure}, self.key, False)


class _Search:
    def __init__(
        self,
        core: Core,
        bad: str,
        assumed: Sequence[str],
        clocks: ClockGraph | None,
        budget: Budget,
        most: int,
    ) -> None:
        self.core = core
        self.clocks = clocks
        self.budget = budget
        self.most = most
        self.stepper = Stepper(core)
        names = [output.name for output in core.outputs]
        self.bad = 1 << names.index(bad) if bad in names else 0
        self.assumed = sum(1 << names.index(name) for name in assumed if name in names)
        self.needs = {
            index: -(-timer.preset // core.period)
            for index, timer in enumerate(core.timers)
            if timer.kind == "on-delay" and timer.preset > core.period
        }
        self.limits = dict(self.needs)
        if clocks is not None:
            ends = [end for edge in clocks.edges for end in (edge.least, edge.most)]
            self.limits[CLOCK] = max((end for end in ends if end < FAR), default=0)
        self.looks: dict[Key, _Look] = {}
        self.nodes: list[_Node] = [_Node(Key(0, 0, True), None, NOTHING, -1, ())]
        self.passed: dict[tuple[Key, int | None], list[Zone]] = {}

    def run(self) -> Closed | Path | Stopped:
        done = 0
        while done < len(self.nodes):
            node = self.nodes[done]
            if not done & 15:
                self.budget.check()
            if len(self.nodes) > self.most:
                return Stopped(f"more than {self.most:,} combinations of states and ages")
            look = self.looks.get(node.key)
            if look is None:
                if len(signal_space(self.core, node.key.running)) > MOST_SIGNALS:
                    return Stopped("too many signals matter at once")
                look = self.looks[node.key] = _Look(self, node.key)
            found = self._expand(done, node, look)
            if found is not None:
                return Path((*self._steps(done), found))
            done += 1
        return Closed(done)

    def _expand(self, index: int, node: _Node, look: _Look) -> Step | None:
        """Add what can follow a node; a step that is bad, if there is one."""
        zone = later(node.zone)
        for place, since, vector in self._places(node, zone):
            for dues, part in due_parts(since, self.needs):
                found = self._scan(index, node, look, place, vector, dues, part)
                if found is not None:
                    return found
        if not node.key.first:
            cut = Step({}, node.key, True)
            self._add(self.stepper.after_cut(node.key), None, NOTHING, index, cut)
        return None

    def _scan(
        self,
        index: int,
        node: _Node,
        look: _Look,
        place: int | None,
        vector: Mapping[str, bool],
        dues: dict[int, bool],
        part: Zone,
    ) -> Step | None:
        flags = {self.core.signals[self.core.timers[i].due].name: on for i, on in dues.items()}
        now = look.showing(flags, vector)
        for outcome in look.outcomes:
            mask = outcome.mask & now
            if not mask or outcome.outputs & self.assumed:
                continue
            if outcome.outputs & self.bad:
                return look.step(mask)
            after: Zone | None = part
            if outcome.target == node.key and place == node.place and mask & look.quiet:
                mask &= look.quiet
                after = self._staying(with_dues(waiting(part), dues, self.needs), place)
            assert after is not None, "the wait of no scans is among them"
            kept = [i for i in self.needs if outcome.target.running >> i & 1]
            if place != node.place:
                after = running(after, tuple(i for i in after.timers if i != CLOCK))
            timers = (*kept, CLOCK) if place is not None else tuple(kept)
            zone = rounded(running(after, timers), self.limits)
            self._add(outcome.target, place, zone, index, look.step(mask))
        return None

    def _staying(self, zone: Zone | None, place: int | None) -> Zone | None:
        """The part in which the clocks have not had to move on."""
        if zone is None or place is None or self.clocks is None:
            return zone
        leaving = self.clocks.leaving(place)
        if not leaving or self.clocks.nodes[place].endless:
            return zone
        longest = max(edge.most for edge in leaving)
        return zone if longest >= FAR else aged(zone, CLOCK, 0, longest - 1)

    def _places(
        self, node: _Node, zone: Zone
    ) -> Iterator[tuple[int | None, Zone, dict[str, bool]]]:
        """Where the clocks can be in the next scan, with the ages that allow it."""
        clocks = self.clocks
        if clocks is None:
            yield None, zone, {}
            return
        at = node.place
        if at is None:
            for start in clocks.starts:
                yield start, zone, self._vector(start)
            return
        stays = self._staying(zone, at)
        if stays is not None:
            yield at, stays, self._vector(at)
        for edge in clocks.leaving(at):
            part = aged(zone, CLOCK, edge.least, edge.most)
            if part is not None:
                yield edge.target, part, self._vector(edge.target)

    def _vector(self, node: int) -> dict[str, bool]:
        assert self.clocks is not None
        return dict(zip(self.clocks.names, self.clocks.nodes[node].vector, strict=True))

    def _add(self, key: Key, place: int | None, zone: Zone, parent: int, step: Step) -> None:
        known = self.passed.setdefault((key, place), [])
        if not any(old.holds(zone) for old in known):
            known.append(zone)
            self.nodes.append(_Node(key, place, zone, parent, (step,)))

    def _steps(self, index: int) -> tuple[Step, ...]:
        steps: list[Step] = []
        while index >= 0:
            node = self.nodes[index]
            steps += reversed(node.steps)
            index = node.parent
        return tuple(reversed(steps))


def zoned(
    core: Core,
    bad: str,
    budget: Budget,
    assumed: Sequence[str] = (),
    clocks: ClockGraph | None = None,
    most: int = MOST_ZONES,
) -> Closed | Path | Stopped:
    """Whether output `bad` of the core can be 1 after a scan, the ages of on-delays being exact.

    Accumulating timers are due whenever they have run in the scan before, if that suits. No output
    of `assumed` is 1 after any scan. Raises OutOfBudget.
    """
    return _Search(core, bad, assumed, clocks, budget, most).run()
