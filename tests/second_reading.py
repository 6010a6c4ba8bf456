"""A second, independent reading of what a scan does, for cross-checks in tests only.

It owns one plain machine that is built like a panel: every device is a small object that remembers
what such a device remembers, is driven by rungs and is asked for its contact. It never jumps ahead
and shares no code with the engines, because a misreading that two engines have in common can only
be seen by somebody who has read the language page alone.
"""

from __future__ import annotations

import operator
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import assert_never

from rungs.program import nodes
from rungs.program.nodes import Circuit, Compare, Contact, Parallel, Program, Series

Row = tuple[int, Mapping[str, bool]]
Scan = tuple[int, dict[str, bool]]
ClockClosed = Callable[[nodes.Clock, int], bool]

COMPARISONS: dict[nodes.CompareOp, Callable[[int, int], bool]] = {
    ">=": operator.ge,
    ">": operator.gt,
    "<=": operator.le,
    "<": operator.lt,
    "==": operator.eq,
    "!=": operator.ne,
}


@dataclass(frozen=True, slots=True)
class Power:
    """What one rung gives its devices in one scan: power, whether just gained, and the time."""

    on: bool
    gained: bool
    now: int


class Device:
    """Something with a contact. `closed` is its contact, `timing` that of a timer at work."""

    closed = False
    timing = False

    def power_up(self) -> None:
        """Forget what an unretained device forgets when the supply has been away."""
        raise NotImplementedError

    def take(self, verb: nodes.Verb, power: Power) -> None:
        """Do what a rung asks for; a verb this device does not know is a fault of the program."""
        if verb != "coil":
            raise ValueError(f"{type(self).__name__} does not know {verb!r}")
        self.coil(power)

    def coil(self, power: Power) -> None:
        """Take the rung's power."""
        raise NotImplementedError


class DebouncedInput(Device):
    """A field contact; its image follows the circuit once that has differed for long enough."""

    def __init__(self, debounce: int) -> None:
        self.debounce = debounce
        self.power_up()

    def power_up(self) -> None:
        self.fresh = True
        self.differs_since: int | None = None

    def read(self, circuit: bool, now: int) -> None:
        """Take the circuit as this scan finds it."""
        if self.fresh or circuit == self.closed:
            self.fresh = False
            self.closed = circuit
            self.differs_since = None
            return
        if self.differs_since is None:
            self.differs_since = now
        if now - self.differs_since >= self.debounce:
            self.closed = circuit
            self.differs_since = None


class LatchRelay(Device):
    """An output or control relay, held by a coil or moved by latch, unlatch and impulse."""

    def __init__(self, retained: bool) -> None:
        self.retained = retained

    def power_up(self) -> None:
        if not self.retained:
            self.closed = False

    def take(self, verb: nodes.Verb, power: Power) -> None:
        if verb == "coil":
            self.closed = power.on
        elif verb == "latch":
            self.closed = self.closed or power.on
        elif verb == "unlatch":
            self.closed = self.closed and not power.on
        elif verb == "impulse":
            self.closed = self.closed != power.gained
        else:
            super().take(verb, power)


class OnDelay(Device):
    """Closes once its coil has been on for the preset, opens with its coil."""

    def __init__(self, preset: int) -> None:
        self.preset = preset
        self.power_up()

    def power_up(self) -> None:
        self.on_since: int | None = None
        self.closed = self.timing = False

    def coil(self, power: Power) -> None:
        if not power.on:
            self.power_up()
            return
        if self.on_since is None:
            self.on_since = power.now
        self.closed = power.now - self.on_since >= self.preset
        self.timing = not self.closed


class OffDelay(Device):
    """Closes with its coil and stays closed for the preset after the coil went off."""

    def __init__(self, preset: int) -> None:
        self.preset = preset
        self.power_up()

    def power_up(self) -> None:
        self.off_since: int | None = None
        self.closed = self.timing = False

    def coil(self, power: Power) -> None:
        if power.on:
            self.closed, self.timing, self.off_since = True, False, None
            return
        if not self.closed:
            return
        if self.off_since is None:
            self.off_since = power.now
        self.closed = self.timing = power.now - self.off_since < self.preset


class Pulse(Device):
    """Closes for the preset when its coil gains power; power gained meanwhile is used up."""

    def __init__(self, preset: int) -> None:
        self.preset = preset
        self.power_up()

    def power_up(self) -> None:
        self.started = 0
        self.closed = self.timing = False

    def coil(self, power: Power) -> None:
        if self.closed:
            self.closed = power.now - self.started < self.preset
        elif power.gained:
            self.closed = True
            self.started = power.now
        self.timing = self.closed


class Accumulating(Device):
    """Adds up the time its coil is on, between scans that both found it on, until reset."""

    def __init__(self, preset: int, retained: bool) -> None:
        self.preset = preset
        self.retained = retained
        self.total = 0
        self.power_up()

    def power_up(self) -> None:
        # without a supply the coil is off and there is no last scan; only the sum can be kept
        self.on_at: int | None = None
        if not self.retained:
            self.total = 0
        self._show()

    def take(self, verb: nodes.Verb, power: Power) -> None:
        if verb != "reset":
            super().take(verb, power)
        elif power.on:
            self.total = 0
            self._show()

    def coil(self, power: Power) -> None:
        if power.on and self.on_at is not None:
            self.total = min(self.preset, self.total + power.now - self.on_at)
        self.on_at = power.now if power.on else None
        self._show()

    def _show(self) -> None:
        self.closed = self.total >= self.preset
        self.timing = self.on_at is not None and not self.closed


class Flasher(Device):
    """While its coil is on: closed for the on time, open for the off time, and so on."""

    def __init__(self, on_time: int, off_time: int) -> None:
        self.on_time = on_time
        self.cycle = on_time + off_time
        self.power_up()

    def power_up(self) -> None:
        self.on_since: int | None = None
        self.closed = self.timing = False

    def coil(self, power: Power) -> None:
        if not power.on:
            self.power_up()
            return
        if self.on_since is None:
            self.on_since = power.now
        self.closed = (power.now - self.on_since) % self.cycle < self.on_time
        self.timing = True  # a flasher never times out


class UpDownCounter(Device):
    """Counts gains of power between 0 and the largest count."""

    def __init__(self, preset: int, retained: bool) -> None:
        self.preset = preset
        self.retained = retained
        self.set_count(0)

    def set_count(self, count: int) -> None:
        """Show this count, kept within what the counter can hold."""
        self.count = max(0, min(nodes.MAX_COUNT, count))
        self.closed = self.count >= self.preset

    def power_up(self) -> None:
        if not self.retained:
            self.set_count(0)

    def take(self, verb: nodes.Verb, power: Power) -> None:
        if verb == "reset":
            if power.on:
                self.set_count(0)
        elif verb == "down":
            self.set_count(self.count - power.gained)
        else:
            super().take(verb, power)

    def coil(self, power: Power) -> None:
        self.set_count(self.count + power.gained)


class WindowClock(Device):
    """A clock window; whether it is open at an instant is told from outside."""

    def __init__(self, clock: nodes.Clock, clock_closed: ClockClosed) -> None:
        self.clock = clock
        self.clock_closed = clock_closed

    def power_up(self) -> None:
        self.closed = False

    def read(self, now: int) -> None:
        """Take the state of the window at the time of this scan."""
        self.closed = self.clock_closed(self.clock, now)


class EventClock(Device):
    """Closes for the first scan at or after an instant, late only as far as catch-up allows."""

    def __init__(self, instants: Sequence[int], catch_up: int) -> None:
        self.instants = tuple(instants)
        self.catch_up = catch_up
        self.power_up()

    def power_up(self) -> None:
        self.closed = False
        self.last_scan: int | None = None

    def read(self, now: int) -> None:
        """Decide whether an instant has been reached since the scan before."""
        if self.last_scan is not None:
            last = self.last_scan
            self.closed = any(last < instant <= now for instant in self.instants)
        elif self.catch_up:
            self.closed = any(0 <= now - instant <= self.catch_up for instant in self.instants)
        else:
            self.closed = False
        self.last_scan = now


class Memory:
    """What one edge contact, or one rung, saw in its last scan; nothing after power-up."""

    def __init__(self) -> None:
        self.seen: bool | None = None

    def forget(self) -> None:
        """The supply has been away."""
        self.seen = None

    def look(self, state: bool) -> tuple[bool, bool]:
        """See a state now; tells whether it rose and whether it fell since the last scan."""
        before, self.seen = self.seen, state
        return (before is False and state, before is True and not state)


class Panel:
    """All devices, edge contacts and rungs of one program, and the wires between them."""

    def __init__(
        self, program: Program, clock_closed: ClockClosed, events: Mapping[str, Sequence[int]]
    ) -> None:
        self.program = program
        self.devices: dict[str, Device] = {
            device.name: build(device, clock_closed, events) for device in program.devices
        }
        self.shown = [d.name for d in program.devices if not isinstance(d, nodes.Input)]
        self.edges = [Memory() for _ in program.edges]
        self.rung_powers = [Memory() for _ in program.rungs]
        self.first_scan = False

    def power_up(self) -> None:
        """Come back from an outage; the next scan is a first scan."""
        for device in self.devices.values():
            device.power_up()
        for memory in (*self.edges, *self.rung_powers):
            memory.forget()
        self.first_scan = True

    def scan(self, now: int, circuits: Mapping[str, bool]) -> dict[str, bool]:
        """One scan; `circuits` says which input circuits are closed, the others are at rest."""
        for declared in self.program.inputs:
            image = self.devices[declared.name]
            assert isinstance(image, DebouncedInput)
            image.read(circuits.get(declared.name, declared.side == "NC"), now)
        for device in self.devices.values():
            if isinstance(device, WindowClock | EventClock):
                device.read(now)
        for rung, memory in zip(self.program.rungs, self.rung_powers, strict=True):
            on = self.conducts(rung.circuit)
            gained, _ = memory.look(on)
            for action in rung.actions:
                self.devices[action.name].take(action.verb, Power(on, gained, now))
        self.first_scan = False
        return {name: self.devices[name].closed for name in self.shown}

    def conducts(self, circuit: Circuit) -> bool:
        """Whether current flows through a circuit.

        The states are listed before they are joined, so that each edge contact gets its look.
        """
        match circuit:
            case Series(parts):
                states = [self.conducts(part) for part in parts]
                return all(states)
            case Parallel(parts):
                states = [self.conducts(part) for part in parts]
                return any(states)
            case Compare(name, op, number):
                counter = self.devices[name]
                assert isinstance(counter, UpDownCounter)
                return COMPARISONS[op](counter.count, number)
            case Contact():
                return self.contact_made(circuit) != circuit.negated
            case _:
                assert_never(circuit)

    def contact_made(self, contact: Contact) -> bool:
        """What a contact looks at, before its own negation."""
        if contact.kind == "first_scan":
            return self.first_scan
        device = self.devices[contact.name]
        match contact.kind:
            case "closed":
                return device.closed
            case "timing":
                return device.timing
            case "rising":
                return self.edges[contact.memory].look(device.closed)[0]
            case "falling":
                return self.edges[contact.memory].look(device.closed)[1]
            case "broken" | "shorted" | "load":
                raise ValueError(f"{contact.kind} does not stand in a rung")
            case _:
                assert_never(contact.kind)


def build(
    device: nodes.Device, clock_closed: ClockClosed, events: Mapping[str, Sequence[int]]
) -> Device:
    """The moving part that belongs to a declaration, as it leaves the works: all off."""
    match device:
        case nodes.Input():
            return DebouncedInput(device.debounce)
        case nodes.Output() | nodes.Relay():
            return LatchRelay(device.retained)
        case nodes.Counter():
            return UpDownCounter(device.preset, device.retained)
        case nodes.Clock(end=None):
            return EventClock(events[device.name], device.catch_up)
        case nodes.Clock():
            return WindowClock(device, clock_closed)
        case nodes.Timer(kind="on-delay"):
            return OnDelay(device.preset)
        case nodes.Timer(kind="off-delay"):
            return OffDelay(device.preset)
        case nodes.Timer(kind="pulse"):
            return Pulse(device.preset)
        case nodes.Timer(kind="accumulating"):
            return Accumulating(device.preset, device.retained)
        case nodes.Timer():
            return Flasher(device.preset, device.off)
        case _:
            assert_never(device)


def play(
    program: Program,
    rows: Sequence[Row],
    period: int = 10,
    clock_closed: ClockClosed | None = None,
    events: Mapping[str, Sequence[int]] | None = None,
) -> list[Scan]:
    """Every scan of a run: its time, and each contact after it, inputs left out, in file order.

    `rows` are (t in ms, {input: circuit closed, "power": supply on}) in order of time; a row holds
    until the next, what it does not name is at rest (and the supply on), as it is before the first
    row. Scans stand at 0, `period`, ... up to the time of the last row, where the supply is on.
    `clock_closed(clock, t)` opens and closes windows, `events` gives the instants of each `at`
    clock in ms of the run (KeyError where they are missing). Raises ValueError where nobody says
    when a window is open, and for a program that no checker would let through.
    """
    if clock_closed is None:
        if any(clock.end is not None for clock in program.clocks):
            raise ValueError("a program with clock windows needs clock_closed")
        clock_closed = _no_window
    panel = Panel(program, clock_closed, events or {})
    scans: list[Scan] = []
    coming = list(rows)
    now, row, outage = 0, dict[str, bool](), True
    end = rows[-1][0] if rows else -1
    while now <= end:
        while coming and coming[0][0] <= now:
            row = dict(coming.pop(0)[1])
            outage = outage or not row.get("power", True)
        if row.get("power", True):
            if outage:
                panel.power_up()
                outage = False
            scans.append((now, panel.scan(now, row)))
        now += period
    return scans


def _no_window(clock: nodes.Clock, now: int) -> bool:
    raise ValueError(f"nobody said when {clock.name} is open at {now}")
