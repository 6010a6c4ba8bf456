"""Many stimuli of one program at once: each bit of a whole number is a run of its own.

All runs share the grid of scans and nothing else: each has its own inputs, timers, debounce and
power. Times are counted in scans, bit by bit, because the runs of one number cannot each hold a
time.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from rungs.core.nodes import Core
from rungs.program.nodes import Program
from rungs.scan.generate import scan_wide


class Tally:
    """A number for each run, held bit by bit, that counts up and stops at `most`."""

    def __init__(self, most: int) -> None:
        self.most = most
        self.bits = [0] * most.bit_length()

    def full(self) -> int:
        """The runs in which the count has come to `most`."""
        return self.at_least(self.most)

    def at_least(self, number: int) -> int:
        """The runs in which the count is `number` or more; -1 (every run) where that is 0."""
        found = -1
        for place, bit in enumerate(self.bits):
            found = bit & found if number >> place & 1 else bit | found
        return found

    def add(self, step: int) -> None:
        """Count one up in the runs of `step` that are not full."""
        carry = step & ~self.full()
        for place, bit in enumerate(self.bits):
            if not carry:
                return
            self.bits[place] = bit ^ carry
            carry &= bit

    def keep(self, runs: int) -> None:
        """Zero in all runs but these."""
        self.bits = [bit & runs for bit in self.bits]


@dataclass(frozen=True, slots=True)
class WideScan:
    """One scan of all runs: which runs made it, and each output's contact in them."""

    made: int
    outputs: tuple[int, ...]


class WidePanel:
    """`lanes` runs of one core; masks have bit i for run i."""

    def __init__(self, core: Core, program: Program, lanes: int) -> None:
        self.core = core
        self.ones = (1 << lanes) - 1
        self.scan = scan_wide(core)
        self.inputs = tuple(device.name for device in program.inputs)
        period = core.period
        self.bounces = [Tally(-(-device.debounce // period)) for device in program.inputs]
        self.images = [0] * len(self.inputs)
        self.needs = [-(-timer.preset // period) for timer in core.timers]
        self.tallies = [Tally(need) for need in self.needs]
        self.ran = [0] * len(core.timers)
        self.state: tuple[int, ...] = (0,) * len(core.state)
        self.first = self.ones
        self.powered = self.ones

    def switch_power(self, on: int) -> None:
        """The runs that have power from now on; the others forget what is not retained."""
        lost = self.powered & ~on
        if lost:
            self.state = tuple(
                value if bit.retained else value & ~lost
                for bit, value in zip(self.core.state, self.state, strict=True)
            )
            self.ran = [ran & ~lost for ran in self.ran]
            for timer, tally in zip(self.core.timers, self.tallies, strict=True):
                if not timer.retained:
                    tally.keep(~lost)
            self.first |= lost
        self.powered = on

    def make_scan(self, circuits: Mapping[str, int], clocks: Mapping[str, int]) -> WideScan:
        """One scan in every run that has power."""
        live, first = self.powered, self.first & self.powered
        for index, name in enumerate(self.inputs):
            self._read(index, circuits[name] & self.ones, live, first)
        image = dict(zip(self.inputs, self.images, strict=True))
        due = {timer.due: flag for timer, flag in zip(self.core.timers, self._due(), strict=True)}
        signals = []
        for index, signal in enumerate(self.core.signals):
            match signal.kind:
                case "first_scan":
                    signals.append(first)
                case "input":
                    signals.append(image[signal.name])
                case "clock":
                    signals.append(clocks[signal.name] & self.ones)
                case "due":
                    signals.append(due[index])
        after, outputs, runs = self.scan(self.ones, self.state, tuple(signals))
        if live == self.ones:
            self.state = after
        else:
            pairs = zip(self.state, after, strict=True)
            self.state = tuple(new & live | old & ~live for old, new in pairs)
        self._take(runs, live)
        self.first &= ~live
        return WideScan(live, outputs)

    def _read(self, index: int, circuit: int, live: int, first: int) -> None:
        differs = (circuit ^ self.images[index]) & live & ~first
        tally = self.bounces[index]
        # the first scan that differs is number 0 of the stretch
        flips = differs & tally.full() | first
        tally.keep((differs & ~flips) | ~live)
        tally.add(differs & ~flips)
        self.images[index] = circuit & flips | self.images[index] & ~flips

    def _due(self) -> list[int]:
        flags = []
        for timer, tally, ran in zip(self.core.timers, self.tallies, self.ran, strict=True):
            enough = tally.most if timer.kind == "on-delay" else tally.most - 1
            flags.append(ran & tally.at_least(enough) & self.ones)
        return flags

    def _take(self, runs: tuple[int, ...], live: int) -> None:
        for index, timer in enumerate(self.core.timers):
            run, before, after = (mask & live for mask in runs[3 * index : 3 * index + 3])
            tally, ran = self.tallies[index], self.ran[index]
            if timer.kind == "on-delay":
                # counts the scans since it started, that one included
                tally.keep(run | ~live)
                tally.add(run)
            else:
                tally.keep(~before)
                tally.add(run & ran)
                tally.keep(~after)
            self.ran[index] = run | ran & ~live
