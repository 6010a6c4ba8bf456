"""Runs into situations with real times: exact timers, a real calendar, and what comes of itself.

The search leaves free when timers end, so it finds more than can happen. What a run here comes to
can happen for sure, and it is known how.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from copy import copy
from dataclasses import dataclass
from typing import TypeVar

from rungs.prove.budget import OutOfBudget
from rungs.prove.clocks.dated import Dates
from rungs.prove.situations.machine import LONGEST
from rungs.prove.situations.search import Search
from rungs.prove.timing import Step
from rungs.prove.witness import Witness, lags
from rungs.scan.calendar import Calendar
from rungs.scan.fast import TimerBank
from rungs.scan.runner import Panel
from rungs.scan.wall import WallClock, default_start

REAL_SECONDS = 1.0
REAL_PART = 0.25  # of the budget, for runs in real time
MOST_STALE = 60  # such runs in a row that show nothing new


@dataclass(frozen=True, slots=True)
class Record:
    """A run with real times that was seen to end in a situation: its steps, the time of each (ms),
    the wall time at 0 (ms UTC), and the time up to which nothing happens of itself."""

    steps: tuple[Step, ...]
    times: tuple[int, ...]
    start: int | None
    quiet: int

    @property
    def calm(self) -> int:
        """How long nothing happens of itself after the run (ms)."""
        return self.quiet - self.times[-1]


@dataclass(frozen=True, slots=True, eq=False)
class SituationRun:
    """A run into a situation, and the panel after it. Up to `quiet` (ms) no timer's time ends and
    no clock moves, whatever is done to the switches after the run."""

    witness: Witness
    quiet: int
    panel: Panel

    def again(self) -> Panel:
        """A panel of its own that stands where the run ends."""
        made = _apart(self.panel)
        made.wall = _apart(made.wall)
        return made


_Thing = TypeVar("_Thing")


def _apart(thing: _Thing) -> _Thing:
    """A copy with dicts and lists of its own. What those hold is never changed, only replaced."""
    made = copy(thing)
    for name, value in vars(made).items():
        if isinstance(value, dict | list):
            setattr(made, name, copy(value))
    return made


def real_runs(search: Search, dates: Dates | None, calendar: Calendar) -> dict[int, Record]:
    """Runs to some of the situations, by number, made in real time and drawn at random; such a run
    is the surest proof that a situation can be reached.

    Where not all situations were found, those that the runs come to are added to the search. Raises
    AssertionError if a run comes to another one although all were found.
    """
    if search.machine.clocks and dates is None:
        return {}
    numbers = {key: n for n, key in enumerate(search.situations)}
    records: dict[int, Record] = {}
    seconds = search.budget.seconds
    part = search.budget.part(
        REAL_SECONDS if seconds is None else min(REAL_PART * seconds, REAL_SECONDS)
    )
    runs = _RealRuns(search, dates, calendar)
    stale = 0  # runs in a row that showed nothing new
    try:
        while stale < MOST_STALE:
            part.check()
            stale += 1
            for key, record in runs.one():
                if key not in numbers:
                    if not search.reason:
                        raise AssertionError("a run came to a situation that was not found")
                    numbers[key] = len(numbers)
                    search.situations[key] = None
                known = records.get(numbers[key])
                made = record()
                if known is None:
                    stale = 0
                if known is None or made.calm > known.calm:
                    records[numbers[key]] = made
            if len(records) == len(numbers):
                break
    except OutOfBudget:
        pass
    return records


class _RealRuns:
    """Runs from power-up with exact timers and a real calendar, in which things happen at random,
    as often as not just before or after a timer's time ends."""

    def __init__(self, search: Search, dates: Dates | None, calendar: Calendar) -> None:
        self.machine, self.clocks, self.rng = search.machine, search.clocks, search.rng
        self.calendar = calendar
        core, program = self.machine.core, self.machine.program
        inputs = [core.signals[i].name for i in self.machine.inputs]
        late = lags(program, core)
        self.late = [late.get(name, 0) for name in inputs]
        sides = {device.name: device.side == "NC" for device in program.inputs}
        self.rest = [sides[name] for name in inputs]
        names = [core.signals[i].name for i in self.machine.clocks]
        self.timed = tuple(clock for clock in program.clocks if clock.name in names)
        self.starts = [default_start(calendar)]
        if dates is not None:
            line = dates.line(tuple(names))
            self.starts = [segment.start for segment in line.stretches[0].segments]

    def one(self) -> Iterator[tuple[tuple[int, int, int], Callable[[], Record]]]:
        """One run: each situation it comes to, and the record of how."""
        rng, period = self.rng, self.machine.core.period
        start = rng.choice(self.starts) - rng.choice((1, 2, 60, 3600)) * 1000
        at_rest = rng.random() < 0.7
        run = _RealRun(self, start if self.timed else None)
        closed = [side != (not at_rest and rng.random() < 0.5) for side in self.rest]
        changed = [0] * len(closed)
        t = 0
        run.scan(t, closed)
        for _ in range(rng.randint(2, 12)):
            if not run.settle(closed):
                return
            following = run.next_thing()
            yield run.key(closed), run.recorder(following)
            if following is not None and rng.random() < 0.45:
                t = following - rng.choice((0, 0, 0, 1, 2)) * period
            else:
                t = run.t + rng.choice((1, 1, 2, 5, 50)) * period
            least = run.t + period
            for n in (
                rng.choices(range(len(closed)), k=rng.choice((0, 1, 1, 1, 1, 2))) if closed else ()
            ):
                if t > run.t + period * self.late[n] and t > changed[n] + period * self.late[n]:
                    closed = [*closed[:n], not closed[n], *closed[n + 1 :]]
                    changed[n] = t
            t = max(t, least)
            if following is not None and following < t:
                # what comes of itself comes first, and finds the switches as they were
                return
            if rng.random() < 0.04:
                run.cut(t)
                changed = [t + 2 * period] * len(closed)
                t += 2 * period
            run.scan(t, closed)


class _RealRun:
    """One run under way, on single bits."""

    def __init__(self, owner: _RealRuns, start: int | None) -> None:
        self.owner, self.start = owner, start
        self.machine, self.core = owner.machine, owner.machine.core
        self.period = self.core.period
        self.bank = TimerBank(self.core)
        began = default_start(owner.calendar) if start is None else start
        self.wall = WallClock(owner.timed, owner.calendar, began)
        self.bits: tuple[bool, ...] = (False,) * len(self.core.state)
        self.runs: tuple[bool, ...] = ()
        self.dues: list[bool] = []
        self.shown: dict[str, bool] = {}
        self.t = -self.period
        self.first = True
        self.contradicted = False
        self.still = False
        self.steps: list[Step] = []
        self.times: list[int] = []
        self.word = self.machine.first_word

    def scan(self, t: int, closed: Sequence[bool]) -> None:
        """The scan at t; those that were passed over before it changed nothing."""
        core, machine, bank = self.core, self.machine, self.bank
        if self.runs and t - self.period > self.t:
            bank.take(t - self.period, self.t, self.runs)
            self.wall.saw(t - self.period)
            self.t = t - self.period
        clocks = self.wall.contacts(t)
        dues = bank.due(t, self.t)
        signals = [False] * len(core.signals)
        for i in machine.first_at:
            signals[i] = self.first
        for i, on in zip(machine.inputs, closed, strict=True):
            signals[i] = on
        for i in machine.clocks:
            signals[i] = clocks[core.signals[i].name]
        for timer, due in zip(core.timers, dues, strict=True):
            signals[timer.due] = due
        known = {
            signal.name: on
            for signal, on in zip(core.signals, signals, strict=True)
            if signal.kind != "first_scan"
        }
        self.steps.append(Step(known, machine.key(self.word), False))
        self.times.append(t)
        bits, outputs, runs = machine.once(self.bits, tuple(signals))
        self.contradicted = any(outputs[n] for n in machine.assumed)
        bank.take(t, self.t, runs)
        word = sum(1 << i for i, on in enumerate(bits) if on)
        word |= sum(1 << machine.bits + n for n, on in enumerate(runs[::3]) if on)
        for n, at in machine.full_at.items():
            timer = core.timers[n]
            over = (
                runs[3 * n] and dues[n]
                if timer.kind == "on-delay"
                else (bank.held[n] >= timer.preset)
            )
            word |= over << at
        if machine.ordered:
            for n, i in enumerate(machine.clocks):
                word |= signals[i] << machine.showed_at + n
        self.still = word == self.word and not any(
            signals[i] for i in machine.clocks if core.signals[i].one_scan
        )
        self.bits, self.runs, self.dues, self.shown = bits, runs, dues, clocks
        self.word, self.first, self.t = word, False, t

    def settle(self, closed: Sequence[bool]) -> bool:
        """Scan on until nothing changes, for at most a second; whether it came to that, and the
        plant is the one that the program assumes."""
        for _ in range(LONGEST):
            if self.contradicted:
                return False
            if self.still:
                return True
            self.scan(self.t + self.period, closed)
        return False

    def cut(self, t: int) -> None:
        """Power goes at t."""
        core, machine = self.core, self.machine
        self.steps.append(Step({}, machine.key(self.word), True))
        self.times.append(t)
        self.bits = tuple(
            on and bit.retained for bit, on in zip(core.state, self.bits, strict=True)
        )
        self.bank.power_down()
        self.wall.forget()
        self.word = self.word & machine.retained | machine.first_word
        self.runs, self.first, self.still = (), True, False

    def next_thing(self) -> int | None:
        """The time of the scan in which something happens of itself."""
        times = [self.bank.next_expiry(self.t, self.runs)]
        if self.machine.clocks:
            times.append(self.wall.next_change(self.t))
        soonest = min((t for t in times if t is not None), default=None)
        return None if soonest is None else -(-soonest // self.period) * self.period

    def key(self, closed: Sequence[bool]) -> tuple[int, int, int]:
        """The situation it stands in."""
        clocks, machine = self.owner.clocks, self.machine
        vector = tuple(self.shown[self.core.signals[i].name] for i in machine.clocks)
        pushed = sum(on << n for n, on in enumerate(closed))
        return self.word, pushed, clocks.shows.index(vector)

    def recorder(self, following: int | None) -> Callable[[], Record]:
        """Makes the record of the run as it stands now."""
        count, t = len(self.steps), self.t
        quiet = t + LONGEST * self.period if following is None else following - self.period

        def made() -> Record:
            steps, times = tuple(self.steps[:count]), tuple(self.times[:count])
            return Record(steps, times, self.start, quiet)

        return made
