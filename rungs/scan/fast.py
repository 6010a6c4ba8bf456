"""A panel on the generated code of its core: the engine for long runs.

It looks like the panel of the runner to whoever plays a stimulus; the timers, the debounce and the
power are kept here, outside the logic, as a board keeps them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

from rungs.core.lower import lower
from rungs.core.nodes import PERIOD, Core
from rungs.program.nodes import Program
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.generate import Bits, ScanOnce, scan_once
from rungs.scan.wall import WallClock, default_start


@dataclass(frozen=True, slots=True)
class FastState:
    """What can be seen after a scan: its time, whether it was the first, and every contact."""

    t: int
    first: bool
    contacts: dict[str, bool]


class TimerBank:
    """The timers of a core, exact to the ms: when each started, and what each has added up."""

    def __init__(self, core: Core) -> None:
        self.timers = core.timers
        self.period = core.period
        self.since: list[int | None] = [None] * len(core.timers)
        self.held = [0] * len(core.timers)

    def due(self, t: int, last: int) -> list[bool]:
        """Each timer's due flag in a scan at t, the scan before having been at `last`."""
        flags = []
        for timer, since, held in zip(self.timers, self.since, self.held, strict=True):
            if since is None:
                flags.append(False)
            elif timer.kind == "on-delay":
                flags.append(t - since >= timer.preset)
            else:
                flags.append(held + t - last >= timer.preset)
        return flags

    def take(self, t: int, last: int, runs: Bits) -> None:
        """Start, stop and clear as the scan at t says (`run`, `clear_before`, `clear_after` of each
        timer in a row)."""
        for index, timer in enumerate(self.timers):
            run, before, after = runs[3 * index : 3 * index + 3]
            if timer.kind == "accumulating":
                held = 0 if before else self.held[index]
                if run and self.since[index] is not None:
                    # scans that were passed over in one stride each emptied it as well
                    held = min(held + (self.period if before else t - last), timer.preset)
                self.held[index] = 0 if after else held
            if not run:
                self.since[index] = None
            elif self.since[index] is None:
                self.since[index] = t

    def next_expiry(self, t: int, clears: Bits) -> int | None:
        """When the next due flag comes after the scan at t, if nothing else happens before."""
        times = []
        for index, (timer, since) in enumerate(zip(self.timers, self.since, strict=True)):
            if since is None:
                continue
            if timer.kind == "on-delay":
                times.append(since + timer.preset)
            elif not (clears[3 * index + 1] or clears[3 * index + 2]):
                times.append(t + timer.preset - self.held[index])
        return min((time for time in times if time > t), default=None)

    def power_down(self) -> None:
        """Forget what is not retained."""
        self.since = [None] * len(self.timers)
        pairs = zip(self.timers, self.held, strict=True)
        self.held = [held if timer.retained else 0 for timer, held in pairs]


class Debouncer:
    """The images of the inputs: each follows its circuit once that has differed for long enough."""

    def __init__(self, program: Program) -> None:
        self.names = tuple(device.name for device in program.inputs)
        self.times = tuple(device.debounce for device in program.inputs)
        self.image = [False] * len(self.names)
        self.since: list[int | None] = [None] * len(self.names)

    def read(self, circuits: dict[str, bool], t: int, first: bool) -> None:
        """Take the circuits as the scan at t finds them."""
        for index, name in enumerate(self.names):
            circuit = circuits[name]
            if first or circuit == self.image[index]:
                self.since[index] = None
                self.image[index] = circuit
                continue
            since = self.since[index]
            if since is None:
                since = self.since[index] = t
            if t - since >= self.times[index]:
                self.since[index] = None
                self.image[index] = circuit

    def next_end(self, t: int) -> int | None:
        """When the next image follows its circuit, if the circuits stay as they are."""
        pairs = zip(self.since, self.times, strict=True)
        ends = [since + time for since, time in pairs if since is not None]
        return min((end for end in ends if end > t), default=None)


class FastPanel:
    """One panel in simulated time, scan for scan what the runner's panel does.

    `start` is the wall time at t = 0 as ms since the epoch in UTC.
    """

    def __init__(
        self,
        program: Program,
        start: int | None = None,
        period: int = PERIOD,
        jump: bool = True,
        calendar: Calendar | None = None,
        core: Core | None = None,
    ) -> None:
        self.program = program
        self.period = period
        self.jump = jump
        self.core = core if core is not None else lower(program, period)
        self.scan: ScanOnce = scan_once(self.core)
        calendar = calendar or build_calendar(program)
        began = default_start(calendar) if start is None else start
        self.wall = WallClock(program.clocks, calendar, began)
        self.timers = TimerBank(self.core)
        self.debouncer = Debouncer(program)
        self.circuits = {d.name: d.side == "NC" for d in program.inputs}
        self.faults: set[str] = set()  # the fault signals of the core that are 1
        self.powered = True
        self.bits: Bits = (False,) * len(self.core.state)
        self.state = FastState(-1, False, {})
        self.now = 0
        self._first = True
        self._undisturbed = False
        self._signals: Bits = ()
        self._runs: Bits = ()

    def give_circuits(self, circuits: dict[str, bool]) -> None:
        """Set circuits of inputs; what is not named stays."""
        self.circuits.update(circuits)
        self._undisturbed = False

    def give_faults(self, faults: set[str]) -> None:
        """Set the fault signals that are 1, by name; the core knows what they do."""
        self.faults = faults
        self._undisturbed = False

    def switch_power(self, on: bool) -> None:
        """Switch the panel's supply off or on; off forgets what is not retained."""
        if on == self.powered:
            return
        self.powered = on
        self._undisturbed = False
        if not on:
            pairs = zip(self.core.state, self.bits, strict=True)
            self.bits = tuple(value and bit.retained for bit, value in pairs)
            self.timers.power_down()
            self.wall.forget()
            self._first = True

    def pass_to(self, t: int) -> None:
        """No further scan before time t."""
        self.now = max(self.now, t)

    def make_scan(self, t: int) -> FastState:
        """Make the scan at grid time t."""
        clocks = self.wall.contacts(t)
        first, last = self._first, self.state.t
        self.debouncer.read(self.circuits, t, first)
        image = dict(zip(self.debouncer.names, self.debouncer.image, strict=True))
        flags = self.timers.due(t, last)
        due = {timer.due: on for timer, on in zip(self.core.timers, flags, strict=True)}
        signals = []
        for index, signal in enumerate(self.core.signals):
            match signal.kind:
                case "first_scan":
                    signals.append(first)
                case "input":
                    signals.append(image[signal.name])
                case "clock":
                    signals.append(clocks[signal.name])
                case "due":
                    signals.append(due[index])
                case "fault":
                    signals.append(signal.name in self.faults)
        given = tuple(signals)
        bits, outputs, runs = self.scan(self.bits, given)
        self._undisturbed = (
            not first
            and given == self._signals
            and bits == self.bits
            and runs == self._runs
            and not any(clocks[c.name] for c in self.program.clocks if c.end is None)
        )
        self.timers.take(t, last, runs)
        self.bits, self._signals, self._runs, self._first = bits, given, runs, False
        names = (output.name for output in self.core.outputs)
        contacts = dict(zip(names, outputs, strict=True))
        contacts.update(clocks)
        self.state = FastState(t, first, contacts)
        self.now = t
        return self.state

    def advance(self, until: int) -> Iterator[FastState]:
        """Make all scans up to and including time `until`, jumping where nothing can happen.

        Scans that were jumped over show what the one before them showed.
        """
        period = self.period
        last = until // period * period
        while self.powered and (at := self._next_scan_at()) <= last:
            if self.jump and self._undisturbed:
                target = min(self._next_thing(), last)
                if target > at:
                    self._skip_to(target - period)
                    at = target
            yield self.make_scan(at)
        self.now = max(self.now, until)

    def _next_scan_at(self) -> int:
        least = max(self.now, self.state.t + 1, 0)
        return -(-least // self.period) * self.period

    def _next_thing(self) -> int:
        t = self.state.t
        times = [
            self.timers.next_expiry(t, self._runs),
            self.debouncer.next_end(t),
            self.wall.next_change(t),
        ]
        soonest = min((time for time in times if time is not None), default=1 << 62)
        return -(-soonest // self.period) * self.period

    def _skip_to(self, t: int) -> None:
        """Pass over scans that change nothing but elapsed times, up to the one at time t."""
        self.timers.take(t, self.state.t, self._runs)
        self.state = FastState(t, self.state.first, self.state.contacts)
        self.wall.saw(t)
