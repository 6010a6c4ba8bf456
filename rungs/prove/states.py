"""The states of a core between two scans, and all successors of one at once.

A due flag is looked at only in states in which its timer ran in the scan before, since it is 0 in
all others (and 1 at once where the preset is a single period); so the timers that run belong to the
state.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from rungs.core.nodes import Core
from rungs.core.patterns import split, variable_masks
from rungs.scan.generate import scan_wide


@dataclass(frozen=True, slots=True)
class Key:
    """A state of the core between two scans: its bits (bit i for state bit i), the timers that ran
    in the last scan (bit i for timer i), and whether the next scan is the first."""

    bits: int
    running: int
    first: bool


def signal_space(core: Core, running: int) -> tuple[int, ...]:
    """The signals that can be 0 or 1 while the timers of `running` run, by index.

    Not among them are first_scan and the due flags that are sure (`sure_dues`).
    """
    sure = sure_dues(core, running)
    dues = {timer.due for i, timer in enumerate(core.timers) if running >> i & 1} - set(sure)
    return tuple(
        index
        for index, signal in enumerate(core.signals)
        if signal.kind in ("input", "clock", "fault") or (signal.kind == "due" and index in dues)
    )


def sure_dues(core: Core, running: int) -> tuple[int, ...]:
    """The due flags that are 1 because a single period is enough, by index: an on-delay that ran
    in the scan before has then run for its preset."""
    return tuple(
        timer.due
        for i, timer in enumerate(core.timers)
        if running >> i & 1 and timer.preset <= core.period
    )


class Stepper:
    """All successors of a core's state at once."""

    def __init__(self, core: Core, more: Sequence[int] = ()) -> None:
        self.core = core
        self.scan = scan_wide(core, more)
        self.retained = sum(bit.retained << i for i, bit in enumerate(core.state))
        self.first_at = [i for i, s in enumerate(core.signals) if s.kind == "first_scan"]

    def words(self, key: Key, space: tuple[int, ...]) -> tuple[tuple[int, ...], ...]:
        """The next state bits, outputs and runs of a state, a bit for each pattern of `space`."""
        return self.words_over(
            key, dict(zip(space, variable_masks(len(space)), strict=True)), space
        )

    def words_over(
        self, key: Key, masks: Mapping[int, int], space: Sequence[object]
    ) -> tuple[tuple[int, ...], ...]:
        """The same for patterns of anything (`space`), with the mask of each signal by index."""
        ones = (1 << (1 << len(space))) - 1
        signals = [masks.get(index, 0) for index in range(len(self.core.signals))]
        for index in sure_dues(self.core, key.running):
            signals[index] = ones
        for index in self.first_at:
            signals[index] = ones if key.first else 0
        state = tuple(ones if key.bits >> i & 1 else 0 for i in range(len(self.core.state)))
        return self.scan(ones, state, tuple(signals))

    def moves(self, key: Key, space: tuple[int, ...]) -> list[tuple[int, Key, int, int]]:
        """(mask, successor, outputs, runs) for each different outcome, in a fixed order."""
        after, outputs, runs = self.words(key, space)
        timers = len(self.core.timers)
        runs = runs[: 3 * timers]
        columns = (*after, *outputs, *runs)
        found = []
        low, high = len(after), len(after) + len(outputs)
        for mask, word in split((1 << (1 << len(space))) - 1, columns):
            run_word = word >> high
            running = sum((run_word >> 3 * i & 1) << i for i in range(timers))
            target = Key(word & ((1 << low) - 1), running, False)
            found.append((mask, target, word >> low & ((1 << (high - low)) - 1), run_word))
        return found

    def after_cut(self, key: Key) -> Key:
        """The state in which power comes back."""
        return Key(key.bits & self.retained, 0, True)
