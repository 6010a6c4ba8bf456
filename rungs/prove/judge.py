"""Can a run of a question's circuit happen in real time, and if not, which of its steps forbid it?

A step whose scan changes nothing can last for any number of periods, every other one lasts a single
period. Each due flag says how long its timer has run, or not yet run. A run is possible if these
bounds have a solution; if they have none, some of them form a circle that cannot be, and the facts
behind those few are impossible together wherever they come in a run.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

from rungs.core.nodes import TRUE, Lit
from rungs.prove.question import CUT, Question
from rungs.prove.results import Fact, Impossible, Run
from rungs.scan.generate import scan_once


@dataclass(frozen=True, slots=True)
class _Bound:
    """The time of step `later` is at most that of step `early` plus `most` periods, because of
    `facts`."""

    early: int
    later: int
    most: int
    facts: tuple[Fact, ...] = ()
    timer: int | None = None  # the timer of the core that it comes from
    first_scan: bool = False  # it holds because the run begins with a first scan


class TimeJudge:
    """Judges runs of one question; accumulating timers are left free.

    `late` gives for inputs that are taken after their debounce how many scans that takes: two
    changes of such an image lie further apart than that.
    """

    def __init__(self, asked: Question, late: Mapping[str, int]) -> None:
        self.asked = asked
        circuit = self.circuit = asked.circuit
        self.scan = scan_once(circuit)
        names = [signal.name for signal in circuit.signals]
        self.cut = names.index(CUT) if CUT in names else None
        self.late = [(names.index(name), lag) for name, lag in late.items() if name in names]
        places = {bit.name: index for index, bit in enumerate(circuit.state)}
        outputs = {output.name: index for index, output in enumerate(circuit.outputs)}
        self.timers = []
        for number, timer in enumerate(asked.core.timers):
            due = outputs[asked.core.signals[timer.due].name]
            ran = places.get(f"ran {timer.name}")
            if timer.kind == "on-delay" and timer.preset > asked.core.period and ran is not None:
                self.timers.append((number, ran, due, -(-timer.preset // asked.core.period)))
        skipped = ("older ", "young ", "showed ", "calm ", "over")
        self.shown = [i for i, b in enumerate(circuit.state) if not b.name.startswith(skipped)]
        self.events = [i for i, signal in enumerate(circuit.signals) if signal.one_scan]

    def __call__(self, run: Run) -> Sequence[Impossible] | None:
        """None if the run is possible, else what in it is not."""
        bounds = list(self._bounds(run.steps))
        circle = _circle(len(run.steps), bounds)
        if circle is None:
            return None
        facts = {fact for bound in circle for fact in bound.facts if fact[1] > TRUE}
        kept = tuple(sorted(fact for fact in facts if fact[0] or not self._of_state(fact[1])))
        # what is only true because the run begins there is not true elsewhere
        anywhere = len(kept) == len(facts) and not any(b.first_scan for b in circle)
        return (Impossible(kept, anywhere),)

    def disordered(self, run: Run) -> frozenset[tuple[int, int]]:
        """Pairs of timers (by index in the core) whose order a run may have wrong: each whose end
        cannot come as it does, with each other that runs beside it. None if the run is possible.
        """
        circle = _circle(len(run.steps), list(self._bounds(run.steps))) or ()
        wrong = {bound.timer for bound in circle if bound.timer is not None}
        state: tuple[bool, ...] = (False,) * len(self.circuit.state)
        pairs: set[tuple[int, int]] = set()
        for signals in run.steps:
            state = self.scan(state, tuple(signals))[0]
            running = {number for number, ran, _, _ in self.timers if state[ran]}
            for one in wrong & running:
                pairs |= {(one, other) for other in running} | {(other, one) for other in running}
        return frozenset(pairs)

    def _of_state(self, lit: Lit) -> bool:
        return self.circuit.first_state <= lit >> 1 < self.circuit.first_gate

    def _bounds(self, steps: Sequence[Sequence[bool]]) -> Iterator[_Bound]:
        state: tuple[bool, ...] = (False,) * len(self.circuit.state)
        before = state
        started: dict[int, tuple[int, list[Fact]]] = {}  # timer: first step of its run, the facts
        for index, signals in enumerate(steps):
            cut = self.cut is not None and signals[self.cut]
            if index:
                yield _Bound(index, index - 1, -1)
                if not cut:
                    yield from self._pace(index, steps[index - 1], before, state)
            after, outputs, _ = self.scan(state, tuple(signals))
            for number, ran, due, need in self.timers:
                if not state[ran] or cut:
                    started.pop(number, None)
                if number in started:
                    first, facts = started[number]
                    facts += [(index, self._bit(ran, True)), *self._no_cut(index)]
                    lit = self.circuit.outputs[due].lit
                    if outputs[due]:
                        yield _Bound(index, first, -need, (*facts, (index, lit)), number)
                    else:
                        told = (*facts, (index, lit ^ 1))
                        yield _Bound(first, index, need - 1, told, number)
                        following = index + 1 < len(steps) and after[ran]
                        if following and not (self.cut is not None and steps[index + 1][self.cut]):
                            still = ((index + 1, self._bit(ran, True)), *self._no_cut(index + 1))
                            yield _Bound(first, index + 1, need, (*told, *still), number)
                if after[ran] and number not in started:
                    started[number] = (index, self._start(index, ran, cut))
            before, state = state, after
        for place, lag in self.late:
            yield from self._bounces(steps, place, lag)

    def _bounces(self, steps: Sequence[Sequence[bool]], place: int, lag: int) -> Iterator[_Bound]:
        """How far changes of an image lie apart, from the first scan on."""
        lit = (1 + place) * 2
        changed = 0
        why: list[Fact] = []
        from_start = True
        for index in range(1, len(steps)):
            if self.cut is not None and steps[index][self.cut]:
                changed, why, from_start = index, [(index, (1 + self.cut) * 2)], False
            elif steps[index][place] != steps[index - 1][place]:
                moved = [(k, lit ^ (not steps[k][place])) for k in (index - 1, index)]
                moved += self._no_cut(index)
                yield _Bound(index, changed, -(lag + 1), (*why, *moved), None, from_start)
                changed, why, from_start = index, moved, False

    def _start(self, index: int, ran: int, cut: bool) -> list[Fact]:
        """Why a timer that runs after this step did not run before it."""
        if cut:
            assert self.cut is not None
            return [(index, (1 + self.cut) * 2)]
        return [(index, self._bit(ran, False))]

    def _pace(
        self,
        index: int,
        signals: Sequence[bool],
        before: Sequence[bool],
        state: Sequence[bool],
    ) -> Iterator[_Bound]:
        """One period from the step before, if that changed anything."""
        for place in self.events:
            if signals[place]:
                facts = ((index - 1, (1 + place) * 2), *self._no_cut(index))
                yield _Bound(index - 1, index, 1, facts)
                return
        for place in self.shown:
            if before[place] != state[place]:
                facts = (
                    (index - 1, self._bit(place, before[place])),
                    (index, self._bit(place, state[place])),
                    *self._no_cut(index),
                )
                yield _Bound(index - 1, index, 1, facts)
                return

    def _bit(self, place: int, on: bool) -> Lit:
        return (self.circuit.first_state + place) * 2 + (not on)

    def _no_cut(self, index: int) -> tuple[Fact, ...]:
        return () if self.cut is None else ((index, (1 + self.cut) * 2 + 1),)


def _circle(count: int, bounds: Sequence[_Bound]) -> list[_Bound] | None:
    """Bounds that contradict each other, or None if all can be met (Bellman-Ford)."""
    least = [0] * count
    through: list[_Bound | None] = [None] * count
    last = None
    for _ in range(count + 1):
        last = None
        for bound in bounds:
            if least[bound.early] + bound.most < least[bound.later]:
                least[bound.later] = least[bound.early] + bound.most
                through[bound.later] = bound
                last = bound.later
        if last is None:
            return None
    assert last is not None
    for _ in range(count):
        step = through[last]
        assert step is not None
        last = step.early
    found: list[_Bound] = []
    at = last
    while True:
        step = through[at]
        assert step is not None
        found.append(step)
        at = step.early
        if at == last:
            return found
