"""Runs by chance, in real time: what somebody finds who plays with the switches for a while.

Nothing is proved like this. But a run in which a hundred blinks have to pass before a long timer
ends is short work for it and very long work for a search that keeps the ages of all timers.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from random import Random

from rungs.core.nodes import Core
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.witness import Act, Witness
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.fast import FastPanel
from rungs.scan.runner import WireFault
from rungs.scan.wall import default_start
from rungs.scan.zone import DAY

LONGEST = 40  # acts of one run
MOST_SCANS = 60_000  # of all runs together


def by_chance(
    program: Program, core: Core, bad: str, assumed: Sequence[str], budget: Budget
) -> Iterator[Witness]:
    """Runs that end in a scan in which output `bad` of the core is 1, and none of `assumed` was;
    they are still to be played. `core` is a whole or a part of the program's. The same question
    always gives the same runs. Raises OutOfBudget."""
    calendar = build_calendar(program)
    rng = Random(0)
    left = MOST_SCANS
    while left > 0:
        run = _Run(program, core, bad, assumed, calendar, rng)
        found = run.play(budget)
        left -= run.scans + 1
        if found is not None:
            yield found


class _Run:
    """One run from power-up."""

    def __init__(
        self,
        program: Program,
        core: Core,
        bad: str,
        assumed: Sequence[str],
        calendar: Calendar,
        rng: Random,
    ) -> None:
        self.core, self.bad, self.assumed, self.rng = core, bad, assumed, rng
        self.start = None
        if any(signal.kind == "clock" for signal in core.signals):
            # any hour of a year
            self.start = default_start(calendar) + rng.randrange(366 * DAY) // 10_000 * 10_000
        self.panel = FastPanel(program, self.start, core.period, calendar=calendar, core=core)
        self.rest = dict(self.panel.circuits)
        read = {signal.name for signal in core.signals if signal.kind == "input"}
        self.inputs = [device.name for device in program.inputs if device.name in read]
        self.wires = sorted({signal.device for signal in core.signals if signal.kind == "fault"})
        presets = [timer.preset for timer in core.timers]
        self.waits = [core.period, core.period, 2 * core.period, 50, 200, *presets]
        self.waits += [preset + core.period for preset in presets]
        self.waits += [max(presets, default=1_000) * 2, 3_600_000 if self.start else 1_000]
        self.acts: list[Act] = []
        self.scans = 0

    def play(self, budget: Budget) -> Witness | None:
        """Act and wait until bad shows, an assumption breaks, or it has been long enough."""
        period = self.core.period
        for number in range(LONGEST):
            budget.check()
            if number or self.rng.random() < 0.3:
                self._act()
            wait = self.rng.choice(self.waits)
            wait += self.rng.choice((0, 0, period, -period))
            until = self.panel.now + max(wait // period, 1) * period
            for state in self.panel.advance(until):
                self.scans += 1
                if not self.scans & 255:
                    budget.check()
                if self.scans > MOST_SCANS // 10:
                    return None
                if any(state.contacts.get(name, False) for name in self.assumed):
                    return None
                if state.contacts.get(self.bad, False):
                    return Witness(tuple(self.acts), state.t, self.start)
        return None

    def _act(self) -> None:
        rng, panel = self.rng, self.panel
        # what is done now is seen by the next scan
        t = (panel.state.t // panel.period + 1) * panel.period if panel.state.t >= 0 else 0
        roll = rng.random()
        if roll < 0.05 and panel.state.t >= 0:
            back = t + panel.period
            panel.switch_power(False)
            panel.pass_to(back)
            panel.switch_power(True)
            self.acts.append(Act(t, back=back))
        elif roll < 0.2 and self.wires:
            name = rng.choice(self.wires)
            fault: WireFault = rng.choice(("broken", "shorted", "sound"))
            faults = {each for each in panel.faults if not each.endswith(f" {name}")}
            panel.give_faults(faults | ({f"{fault} {name}"} if fault != "sound" else set()))
            self.acts.append(Act(t, wires=((name, fault),)))
        elif roll < 0.3:
            self._give(t, {n: self.rest[n] for n in self.inputs})
        elif self.inputs:
            count = rng.choice((1, 1, 1, 1, 2, 2, 3))
            names = rng.sample(self.inputs, min(count, len(self.inputs)))
            self._give(t, {name: not panel.circuits[name] for name in names})

    def _give(self, t: int, circuits: dict[str, bool]) -> None:
        changed = {n: on for n, on in circuits.items() if self.panel.circuits[n] != on}
        if changed:
            self.panel.give_circuits(changed)
            self.acts.append(Act(t, circuits=tuple(changed.items())))
