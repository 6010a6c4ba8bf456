"""Can a run of scans happen in real time? Difference constraints over the times of its scans.

A scan follows the one before by one period, or by any number of periods if nothing would have
changed in between. A due flag says that its timer has run for its preset, or that it has not.
"""

from __future__ import annotations

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


def possible_times(core: Core, steps: tuple[Step, ...]) -> tuple[int, ...] | None:
    """A time in ms for each step of a run from power-up, or None if none was found.

    The answer is exact for on-delays. A run in which an accumulating timer is due after several
    stretches is tried with the times that the rest allows. What is given has been replayed.
    """
    scan = scan_once(core)
    edges = _constraints(core, steps, scan)
    times = _solve(len(steps), edges)
    if times is None:
        return None
    found = tuple(t * core.period for t in times)
    return found if _replays(core, steps, found, scan) else None


_Edge = tuple[int, int, int]  # time of the first plus the number is the most for the second


def _constraints(core: Core, steps: tuple[Step, ...], scan: ScanOnce) -> list[_Edge]:
    edges: list[_Edge] = []
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


def _solve(count: int, edges: list[_Edge]) -> list[int] | None:
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
