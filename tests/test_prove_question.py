"""The circuit that is searched can do all that a panel can do in real time: each due flag of a real
run is a choice that the circuit allows, whatever is remembered of the order of the timers."""

from __future__ import annotations

from random import Random

import pytest

from rungs.core.nodes import Core
from rungs.core.verify import faults
from rungs.core.watch import watch
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.clocks.dated import Dates, clock_names
from rungs.prove.explicit import Seen, explore
from rungs.prove.question import CUT, END, Question, all_pairs, question
from rungs.prove.reach import Prover, ask_of
from rungs.scan.calendar import build_calendar
from rungs.scan.fast import TimerBank
from rungs.scan.generate import scan_once
from rungs.scan.wall import WallClock, default_start
from tests.helpers import program_of
from tests.properties import TooManyError, random_property, scans_to_break
from tests.strategies import random_program

PERIOD = 10


class Follower:
    """Leads a question's circuit along a real run."""

    def __init__(self, asked: Question) -> None:
        self.asked = asked
        self.scan = scan_once(asked.circuit)
        self.state: tuple[bool, ...] = (False,) * len(asked.circuit.state)
        self.over = asked.over

    def step(self, shown: dict[str, bool], dues: dict[str, bool], cut: bool) -> dict[str, bool]:
        """One scan; the outputs of the circuit when it is free to take each real due flag."""
        signals = []
        for signal in self.asked.circuit.signals:
            if signal.name == CUT:
                signals.append(cut)
            elif signal.name.startswith(END):
                signals.append(dues[signal.name.removeprefix(END)])
            else:
                signals.append(shown[signal.name])
        self.state, outputs, _ = self.scan(self.state, tuple(signals))
        names = [output.name for output in self.asked.circuit.outputs]
        return dict(zip(names, outputs, strict=True))

    @property
    def ended(self) -> bool:
        return self.over is not None and self.state[self.over]


def follow(program: Program, core: Core, asked: Question, rng: Random, scans: int) -> int:
    """Play a random run of the core in real time and hold the circuit against it; how many due
    flags were 1."""
    calendar = build_calendar(program)
    start = default_start(calendar) + rng.randrange(40 * 86_400) * 1_000
    wall = WallClock(program.clocks, calendar, start)
    scan, bank = scan_once(core), TimerBank(core)
    follower = Follower(asked)
    bits: tuple[bool, ...] = (False,) * len(core.state)
    given = {s.name: False for s in core.signals if s.kind in ("input", "fault")}
    first, cut, last, seen = True, False, 0, 0
    for number in range(scans):
        t = number * PERIOD
        if number and rng.random() < 0.04:
            bits = tuple(on and b.retained for on, b in zip(bits, core.state, strict=True))
            bank.power_down()
            wall.forget()
            first = cut = True
        for name in given:
            if rng.random() < 0.15:
                given[name] = not given[name]
        shown = {**given, **wall.contacts(t)}
        flags = dict(zip([x.name for x in core.timers], bank.due(t, last), strict=True))
        by_index = {x.due: flags[x.name] for x in core.timers}
        signals = tuple(
            first if s.kind == "first_scan" else by_index.get(n, shown.get(s.name, False))
            for n, s in enumerate(core.signals)
        )
        bits, outputs, runs = scan(bits, signals)
        bank.take(t, last, runs)
        told = follower.step(shown, flags, cut)
        for timer in core.timers:
            assert told[core.signals[timer.due].name] == flags[timer.name], (timer.name, t)
            seen += flags[timer.name]
        assert told["bad"] == outputs[0], t
        assert not follower.ended, "the calendar does what it is said not to"
        first, cut, last = False, False, t
    return seen


@pytest.mark.parametrize(("slack", "pairs"), [(0, False), (0, True), (1, True), (3, True)])
def test_every_real_run_is_a_run_of_the_circuit(slack: int, pairs: bool) -> None:
    """Hazard: an abstraction that leaves out what timers can do proves what is not so."""
    dues = ordered = 0
    for seed in range(250):
        rng = Random(seed)
        program = random_program(rng, rng.choice((4, 8)))
        item = random_property(rng, program, (10, 20, 30, 40))
        core = watch(program, [ask_of(item, "ask.0")], PERIOD)
        # the ask is the last output of the core; it is asked about as the first
        asked = question(core, "ask.0", (), None, all_pairs(core) if pairs else (), slack)
        assert faults(asked.circuit) == ()
        shown = [o for o in core.outputs if o.name == "ask.0"]
        core = Core(
            core.title,
            core.period,
            core.signals,
            core.state,
            core.gates,
            tuple(shown),
            core.timers,
            core.numbers,
            core.powers,
        )
        ordered += len(all_pairs(core))
        dues += follow(program, core, asked, rng, 60)
    assert ordered > 100
    assert dues > 500


def test_every_real_run_keeps_to_the_order_of_the_clocks() -> None:
    text = """
    site zone "Europe/Dublin" latitude 53.3 longitude -6.3
    input a at I1
    output lamp at R1
    relay r
    clock evening from 19:00 to 22:30 on Mon-Fri
    clock dark from sunset to sunrise
    clock gong at 19:00 daily catch up 1h
    rung evening and dark and a -> lamp
    rung gong -> latch r
    rung lamp -> unlatch r
    never lamp and r
    """
    program = program_of(text)
    prover = Prover(program, program.properties)
    core, _ = prover.cone(0)
    order = Dates(program).order(clock_names(core))
    asked = question(core, "ask.0", (), order)
    assert asked.over is not None
    for seed in range(30):
        follow(program, core, asked, Random(seed), 400)


@pytest.mark.parametrize("slack", [0, 2])
def test_what_the_circuit_cannot_do_no_panel_can(slack: int) -> None:
    """Against brute force over the reference interpreter."""
    proved = 0
    for seed in range(400):
        rng = Random(seed)
        program = random_program(rng, 3)
        if program.clocks or len(program.inputs) > 2:
            continue
        if any(action.verb == "down" for rung in program.rungs for action in rung.actions):
            continue
        item = random_property(rng, program, (10, 20, 30))
        prover = Prover(program, [item])
        core, assumed = prover.cone(0)
        asked = question(core, "ask.0", assumed, None, all_pairs(core), slack)
        if not isinstance(explore(asked, Budget(10)), Seen):
            continue
        try:
            assert scans_to_break(program, item, PERIOD, 400) is None, seed
        except TooManyError:
            continue
        proved += 1
    assert proved > 25
