"""Circuits that are asked about mean after a scan of the core what they mean on the panel."""

from __future__ import annotations

from itertools import product
from random import Random

import pytest

from rungs.core.lower import lower
from rungs.core.nodes import Core
from rungs.core.reduce import reduce
from rungs.core.verify import faults
from rungs.core.watch import Ask, watch
from rungs.program.nodes import Compare, Contact, Program, Property, Series
from rungs.prove.reach import ask_of
from rungs.scan.fast import TimerBank
from rungs.scan.generate import scan_once
from rungs.scan.observe import holds
from rungs.scan.reference import State
from rungs.scan.runner import Panel
from tests.helpers import program_of
from tests.properties import random_property
from tests.strategies import random_program

PERIOD = 10


class CorePlayer:
    """Plays a core beside a panel: the same circuits, wires and clocks, its own timers."""

    def __init__(self, program: Program, core: Core) -> None:
        self.program, self.core = program, core
        self.scan = scan_once(core)
        self.bank = TimerBank(core)
        self.bits: tuple[bool, ...] = (False,) * len(core.state)
        self.last = 0
        self.first = True
        self.timed = {t.device for t in core.timers if t.name.endswith(".debounce")}
        self.faulty = {s.device for s in core.signals if s.kind == "fault"}

    def power_down(self) -> None:
        pairs = zip(self.core.state, self.bits, strict=True)
        self.bits = tuple(value and bit.retained for bit, value in pairs)
        self.bank.power_down()
        self.first = True

    def step(self, panel: Panel, after: State, switches: dict[str, bool]) -> dict[str, bool]:
        """One scan; what each output shows. `switches` are the circuits without wire faults."""
        flags = self.bank.due(after.t, self.last)
        due = {timer.due: flag for timer, flag in zip(self.core.timers, flags, strict=True)}
        signals = []
        for index, signal in enumerate(self.core.signals):
            match signal.kind:
                case "first_scan":
                    signals.append(self.first)
                case "due":
                    signals.append(due[index])
                case "fault":
                    signals.append(panel.wires[signal.device] == signal.name.split()[0])
                case _ if signal.name in self.faulty:
                    signals.append(switches[signal.name])
                case _ if signal.name in self.timed:
                    signals.append(panel.circuits[signal.name])
                case _:
                    signals.append(after.contacts[signal.name])
        self.bits, outputs, runs = self.scan(self.bits, tuple(signals))
        self.bank.take(after.t, self.last, runs)
        self.last, self.first = after.t, False
        return {o.name: on for o, on in zip(self.core.outputs, outputs, strict=True)}


def overdue(since: dict[int, int], number: int, item: Property, unmet: bool, t: int) -> bool:
    """The meaning of `within`: an on-delay of it, driven by what is not met, times out."""
    if not unmet:
        since.pop(number, None)
        return False
    return t - since.setdefault(number, t) >= item.within


def expected(panel: Panel, item: Property, number: int, since: dict[int, int]) -> bool:
    def seen(circuit: object) -> bool:
        return holds(panel.program, panel.before, panel.state, panel.wires, circuit)  # type: ignore[arg-type]

    closed = seen(item.circuit)
    if item.when is None:
        return closed == (item.kind in ("never", "assume"))
    return overdue(since, number, item, seen(item.when) and not closed, panel.state.t)


@pytest.mark.parametrize("reduced", [False, True])
def test_asks_of_random_programs_show_what_observation_shows(reduced: bool) -> None:
    """Every kind of contact of a property, with bouncing inputs, wire faults and power cuts."""
    compared = closed = 0
    for seed in range(150):
        rng = Random(seed)
        program = random_program(rng, rng.choice((2, 4)))
        items = [random_property(rng, program, (0, 10, 25, 40)) for _ in range(3)]
        asks = [ask_of(item, f"ask.{number}") for number, item in enumerate(items)]
        bouncing = [d.name for d in program.inputs if rng.random() < 0.5]
        core = watch(program, asks, PERIOD, bouncing)
        assert faults(core) == ()
        if reduced:
            core = reduce(core, [ask.name for ask in asks])
            assert faults(core) == ()
        panel = Panel(program, jump=False)
        player = CorePlayer(program, core)
        since: dict[int, int] = {}
        for _ in range(40):
            if rng.random() < 0.05:
                panel.switch_power(False)
                panel.switch_power(True)
                player.power_down()
                since.clear()
            for device in program.inputs:
                if rng.random() < 0.2:
                    panel.operate(device.name, rng.random() < 0.5)
                if rng.random() < 0.1:
                    panel.fault(device.name, rng.choice(("sound", "broken", "shorted")))
            switches = {d.name: panel.operated[d.name] != (d.side == "NC") for d in program.inputs}
            after = panel.make_scan()
            shown = player.step(panel, after, switches)
            for number, item in enumerate(items):
                want = expected(panel, item, number, since)
                assert shown[f"ask.{number}"] == want, (seed, after.t, item)
                compared += 1
                closed += want
    assert compared == 150 * 40 * 3
    # neither answer is rare, so a constant would not pass
    assert compared * 0.1 < closed < compared * 0.9


def test_a_count_beyond_any_rung_can_be_asked_for() -> None:
    program = program_of(
        "input b at I1 momentary NO\noutput lamp at R1\ncounter c to 2\nrung b -> c\nrung c -> lamp"
    )
    core = watch(program, [Ask("ask.0", (Compare("c", "==", 5),))])
    (count,) = core.numbers
    assert count.most == 6
    assert lower(program).numbers[0].most == 2


def test_a_wire_has_one_fault_at_a_time() -> None:
    program = program_of("input b at I1\noutput lamp at R1\nrung b -> lamp")
    both = Series((Contact("broken", "b"), Contact("shorted", "b")))
    core = reduce(watch(program, [Ask("ask.0", (both,))]), ["ask.0"])
    scan = scan_once(core)
    for signals in product((False, True), repeat=len(core.signals)):
        assert scan((), signals)[1] == (False,)
