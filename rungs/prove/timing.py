"""Can a run of scans happen in real time? Difference constraints over the times of its scans.

A scan follows the one before by one period, or by any number of periods if nothing would have
changed in between. A due flag says that its timer has run for its preset, or that it has not.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from rungs.core.nodes import Core
from rungs.prove.states import Key
from rungs.scan.fast import TimerBank
from rungs.scan.generate import ScanOnce, scan_once


@dataclass(frozen=True, slots=True)
class Step:
    """One scan: the signals it reads, by name, and the state before it; or a power cut."""

    signals: dict[str, bool]
    key: Key
    cut: bool


Edge = tuple[int, int, int]  # time of the first plus the number is the most for the second


def possible_times(core: Core, steps: tuple[Step, ...]) -> tuple[int, ...] | None:
    """A time in ms for each step of a run from power-up, or None if none was found.

    The answer is exact for on-delays. A run in which an accumulating timer is due after several
    stretches is tried with the times that the rest allows. What is given has been replayed.
    """
    found = TimedRun(core, steps).times()
    return None if found is None else found[0]


class TimedRun:
    """The steps of one run, to be given times under one set of further bounds after another.

    `scan` is the core's code from `scan_once`, if the caller has made it before.
    """

    def __init__(self, core: Core, steps: tuple[Step, ...], scan: ScanOnce | None = None) -> None:
        self.core = core
        self.steps = steps
        self.scan = scan or scan_once(core)
        self.edges = _constraints(core, steps, self.scan)

    def times(self, more: Sequence[Edge] = ()) -> tuple[tuple[int, ...], int] | None:
        """A time in ms for each step, the first at 0, and of one more time that `more` may bound;
        None if there are none. `more` counts in periods and numbers that time behind the steps."""
        count = len(self.steps)
        edges = [*self.edges, *more]
        early = _solve(count + 1, edges)
        if early is None:
            return None
        period = self.core.period
        for times in (_late(early, count - 1, edges), early):
            found = tuple((t - times[0]) * period for t in times)
            if _replays(self.core, self.steps, found[:count], self.scan):
                return found[:count], found[count]
        return None


def _constraints(core: Core, steps: tuple[Step, ...], scan: ScanOnce) -> list[Edge]:
    edges: list[Edge] = []
    started: dict[int, int] = {}
    for index, step in enumerate(steps):
        if step.cut:
            started.clear()
            if index:
                edges.append((index, index - 1, -1))
            continue
        for number, timer in enumerate(core.timers):
            if number not in started:
                continue
            due = step.signals[core.signals[timer.due].name]
            need = -(-timer.preset // core.period)
            if due:
                edges.append((index, started[number], -need))
            else:
                edges.append((started[number], index, need - 1))
        if index:
            edges.append((index, index - 1, -1))
        runs, stays = _step(core, steps, index, scan)
        for number, timer in enumerate(core.timers):
            # scans that are passed over before the next step show the flag as this one does
            flag = step.signals.get(core.signals[timer.due].name, False)
            last = index + 1 == len(steps) or timer.kind != "on-delay"
            if number in started and runs[3 * number] and not flag and not last:
                edges.append((started[number], index + 1, -(-timer.preset // core.period)))
        for number in range(len(core.timers)):
            if not runs[3 * number]:
                started.pop(number, None)
            elif number not in started or runs[3 * number + 1]:
                started[number] = index
        if index + 1 < len(steps) and not steps[index + 1].cut and not stays:
            edges.append((index, index + 1, 1))
    return edges


def _state(core: Core, key: Key) -> tuple[bool, ...]:
    return tuple(bool(key.bits >> i & 1) for i in range(len(core.state)))


def _signals(core: Core, step: Step, first: bool) -> tuple[bool, ...]:
    return tuple(
        first if s.kind == "first_scan" else step.signals.get(s.name, False) for s in core.signals
    )


def _step(
    core: Core, steps: tuple[Step, ...], index: int, scan: ScanOnce
) -> tuple[tuple[bool, ...], bool]:
    """What the timers are told in a step, and whether the state stays if the inputs do."""
    step = steps[index]
    after, _, runs = scan(_state(core, step.key), _signals(core, step, step.key.first))
    due = {timer.due: 3 * number for number, timer in enumerate(core.timers)}
    held = {
        signal.name: step.signals.get(signal.name, False)
        and not signal.one_scan
        and (signal.kind != "due" or runs[due[place]])
        for place, signal in enumerate(core.signals)
    }
    again, _, runs_again = scan(after, _signals(core, Step(held, step.key, False), False))
    return runs, again == after and runs_again == runs


def _solve(count: int, edges: list[Edge]) -> list[int] | None:
    """Times from 0 that fulfil all constraints, as early as can be (Bellman-Ford), or None."""
    # longest paths: an edge (a, b, w) is time[b] <= time[a] + w, so time[a] >= time[b] - w
    times = [0] * count
    for _ in range(count + 1):
        changed = False
        for a, b, most in edges:
            if times[a] < times[b] - most:
                times[a] = times[b] - most
                changed = True
        if not changed:
            return times
    return None


def _late(times: list[int], last: int, edges: list[Edge]) -> list[int]:
    """The same constraints met as late as can be without moving the time numbered `last`, which
    makes the run up to it as short as can be."""
    found: list[int | None] = [None] * len(times)
    found[last] = times[last]
    for _ in range(len(times) + 1):
        changed = False
        for a, b, most in edges:
            at, limit = found[a], found[b]
            if at is not None and (limit is None or at + most < limit):
                found[b] = at + most
                changed = True
        if not changed:
            break
    # what the last time does not bound stays as it was
    return [time if late is None else late for time, late in zip(times, found, strict=True)]


def _replays(core: Core, steps: tuple[Step, ...], times: tuple[int, ...], scan: ScanOnce) -> bool:
    """Whether exact timers show the due flags that the run needs at the times found."""
    bank = TimerBank(core)
    last = 0
    runs: tuple[bool, ...] = ()
    for step, t in zip(steps, times, strict=True):
        if step.cut:
            bank.power_down()
            runs = ()
            continue
        if runs and t - core.period > last:
            bank.take(t - core.period, last, runs)
            last = t - core.period
        for timer, flag in zip(core.timers, bank.due(t, last), strict=True):
            if step.signals.get(core.signals[timer.due].name, False) != flag:
                return False
        _, _, runs = scan(_state(core, step.key), _signals(core, step, step.key.first))
        bank.take(t, last, runs)
        last = t
    return True
