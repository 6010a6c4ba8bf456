"""Random hands on a session, held against the reference interpreter that scans every scan."""

from __future__ import annotations

from dataclasses import dataclass, field

from hypothesis import HealthCheck, settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, precondition, rule

from rungs.bench.session.session import Session
from rungs.program.nodes import Program
from rungs.scan.calendar import build_calendar
from rungs.scan.forces import forced_scan, hold
from rungs.scan.reference import State, begin_scan, powered_down, work_rung
from rungs.scan.runner import WireFault
from rungs.scan.wall import WallClock
from tests.bench.panels import BUZZ, SHED, START
from tests.helpers import program_of

KINDS = """
input a at I1
input b at I2 momentary NC debounce 50ms
output o at R1
output flip at R2 retained
relay r retained
timer on on-delay 120ms
timer off off-delay 90ms
timer one pulse 250ms
timer sum accumulating 400ms retained
timer blink flasher 70ms on 130ms off
counter n to 2 retained
clock tick at 22:45:01 daily
clock late at 22:44:59 daily catch up 1h
clock win from 22:45:02 to 22:45:03
rung a and not blink -> on, off, one
rung rising a or tick -> impulse flip
rung on or late -> sum, n
rung b and win -> latch r
rung falling b or n.timing or off -> blink
rung blink and not sum -> o
rung one.timing and sum -> reset sum
rung r and one -> reset n
rung first_scan and r -> down n
""".replace("n.timing", "n >= 1")

PROGRAMS = [program_of(text) for text in (SHED, BUZZ, KINDS)]


@dataclass
class Model:
    """The panel scan by scan, and every state that it had."""

    program: Program
    states: dict[int, State] = field(default_factory=dict)
    before: dict[int, State] = field(default_factory=dict)
    t: int = 0  # the next scan
    state: State = field(default_factory=State)
    powered: bool = True
    operated: dict[str, bool] = field(default_factory=dict)
    wires: dict[str, WireFault] = field(default_factory=dict)
    forces: dict[str, bool] = field(default_factory=dict)
    held: dict[int, dict[str, bool]] = field(default_factory=dict)
    acts: list[tuple[int, str, str, object]] = field(default_factory=list)

    def __post_init__(self) -> None:
        calendar = build_calendar(self.program)
        self.wall = WallClock(self.program.clocks, calendar, START)
        self.state = powered_down(self.program)
        self.operated = {d.name: False for d in self.program.inputs}
        self.wires = {d.name: "sound" for d in self.program.inputs}

    def circuits(self) -> dict[str, bool]:
        found = {}
        for d in self.program.inputs:
            wire = self.wires[d.name]
            closed = self.operated[d.name] != (d.side == "NC")
            found[d.name] = closed if wire == "sound" else wire == "shorted"
        return found

    def upto(self, now: int) -> None:
        """Make every scan up to and including `now`; without power that one is still to come."""
        while self.t <= now - (not self.powered):
            if self.powered:
                clocks = self.wall.contacts(self.t)
                before = self.state
                self.state = forced_scan(
                    self.program, before, self.circuits(), clocks, self.t, self.forces
                )
                self.before[self.t] = before
            self.states[self.t] = self.state
            self.held[self.t] = dict(self.forces)
            self.t += 10

    def act(self, kind: str, name: str = "", value: object = None) -> None:
        """What hands do before the next scan."""
        self.acts.append((self.t, kind, name, value))
        match kind, value:
            case "operate", bool():
                self.operated[name] = value
            case "fault", "sound" | "broken" | "shorted":
                self.wires[name] = value
            case "force", None:
                self.forces.pop(name, None)
            case "force", bool():
                self.forces[name] = value
            case "clock", (int(now), int(instant)):
                self.wall.set(now, instant)
            case "power", bool():
                if self.powered and not value:
                    self.state = powered_down(self.program, self.state)
                    self.wall.forget()
                self.powered = value
            case _:
                raise AssertionError(kind)

    def again(self, t: int) -> Model:
        """A new one with the same hands up to the scan at t."""
        model = Model(self.program)
        for at, kind, name, value in self.acts:
            if at > t:
                break
            while model.t < at:
                model.upto(model.t + (not model.powered))
            model.act(kind, name, value)
        model.upto(t)
        return model


class Hands(RuleBasedStateMachine):
    """Random hands, time, and walks through the run."""

    @initialize(number=st.integers(0, len(PROGRAMS) - 1))
    def begin(self, number: int) -> None:
        program = PROGRAMS[number]
        self.session = Session(program, START)
        self.model = Model(program)
        self.model.upto(0)
        self.names = [d.name for d in program.inputs]
        self.devices = [d.name for d in program.devices]
        self.session.pause()

    def _follow(self) -> None:
        self.model.upto(self.session.panel.now)

    def _here(self) -> bool:
        return not self.session.in_past

    @precondition(lambda self: self._here())
    @rule(ms=st.integers(1, 1_500))
    def time(self, ms: int) -> None:
        self.session.run()
        self.session.tick(ms)
        self.session.pause()
        self._follow()

    @precondition(lambda self: self._here())
    @rule(pick=st.integers(0, 9), on=st.booleans())
    def switch(self, pick: int, on: bool) -> None:
        name = self.names[pick % len(self.names)]
        self.session.operate(name, on)
        self.model.act("operate", name, on)

    @precondition(lambda self: self._here())
    @rule(pick=st.integers(0, 9), fault=st.sampled_from(["sound", "broken", "shorted"]))
    def wire(self, pick: int, fault: WireFault) -> None:
        name = self.names[pick % len(self.names)]
        self.session.fault(name, fault)
        self.model.act("fault", name, fault)

    @precondition(lambda self: self._here())
    @rule(on=st.booleans())
    def power(self, on: bool) -> None:
        self.session.switch_power(on)
        if on != self.model.powered:
            self.model.act("power", value=on)

    @precondition(lambda self: self._here())
    @rule(pick=st.integers(0, 30), closed=st.sampled_from([True, False, None]))
    def force(self, pick: int, closed: bool | None) -> None:
        name = self.devices[pick % len(self.devices)]
        self.session.force(name, closed)
        self.model.act("force", name, closed)

    @precondition(lambda self: self._here())
    @rule(ms=st.integers(-4_000, 4_000))
    def set_clock(self, ms: int) -> None:
        instant = self.session.panel.wall.at(self.session.panel.now) + ms
        self.session.set_clock(instant)
        self.model.act("clock", value=(self.session.panel.now, instant))

    @rule(step=st.sampled_from(["one_scan", "to_next_change", "to_next_event", "one_rung"]))
    def on(self, step: str) -> None:
        due = self.session.recorder.due
        if step.startswith("to_") and due is not None and due > self.session.panel.now + 5_000:
            step = "one_scan"  # the reference makes every scan up to then
        getattr(self.session, step)()
        self._follow()

    @rule(
        step=st.sampled_from(["back_one_scan", "back_to_change", "back_to_event", "back_one_rung"]),
        times=st.integers(1, 4),
    )
    def back(self, step: str, times: int) -> None:
        for _ in range(times):
            getattr(self.session, step)()

    @rule(part=st.floats(0, 1))
    def seek(self, part: float) -> None:
        self.session.seek(int(self.session.recorder.ends * part))

    @precondition(lambda self: self.session.in_past)
    @rule(ms=st.integers(1, 2_000))
    def replay(self, ms: int) -> None:
        self.session.run()
        self.session.tick(ms)
        self.session.pause()

    @precondition(lambda self: self.session.in_past)
    @rule(pick=st.integers(0, 9))
    def another_future(self, pick: int) -> None:
        t = self.session.standing.now
        name = self.names[pick % len(self.names)]
        self.model = self.model.again(t)
        self.model.act("operate", name, not self.model.operated[name])
        self.session.toggle(name)
        assert not self.session.in_past
        assert self.session.panel.operated == self.model.operated

    @precondition(lambda self: self.session.in_past)
    @rule()
    def to_present(self) -> None:
        self.session.to_present()

    @invariant()
    def the_moment_shown_is_that_of_the_reference(self) -> None:
        session, model = self.session, self.model
        panel = session.standing
        if not panel.state.powered:
            return
        t = panel.state.t
        assert panel.state == model.states[t], t
        image = session.moment().image
        if session.upto is None:
            assert image == model.states[t]
            return
        # a scan that is part-way, worked by hand
        circuits = {d.name: True for d in session.program.inputs}
        clocks = {c.name: model.states[t].contacts[c.name] for c in session.program.clocks}
        now = begin_scan(session.program, model.before[t], circuits, clocks, t)
        for d in session.program.inputs:
            now.contacts[d.name] = model.states[t].contacts[d.name]
        hold(now, model.held[t])
        for rung in session.program.rungs[: session.upto]:
            work_rung(session.program, model.before[t], now, rung)
            hold(
                now, {n: v for n, v in model.held[t].items() if n in {a.name for a in rung.actions}}
            )
        assert (image.contacts, image.powers, image.counts) == (
            now.contacts,
            now.powers,
            now.counts,
        )


Hands.TestCase.settings = settings(
    max_examples=60,
    stateful_step_count=30,
    deadline=None,
    suppress_health_check=list(HealthCheck),
)
TestHands = Hands.TestCase
