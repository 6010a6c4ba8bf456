"""From the checked program to the core: the one lowering that every fast engine, table and proof
reads.

The rungs are worked once, in file order, with a literal where the reference interpreter has a
value, so that the order of effects within a scan comes out as the same order of gates.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from math import gcd
from typing import assert_never

from rungs.core.nodes import (
    FALSE,
    PERIOD,
    TRUE,
    Core,
    CoreOutput,
    CoreTimer,
    Gates,
    Lit,
    Number,
    OutputKind,
    RungPower,
    Signal,
    StateBit,
    StateKind,
)
from rungs.program.nodes import (
    MAX_COUNT,
    Action,
    Circuit,
    Clock,
    Compare,
    Contact,
    Counter,
    Device,
    Input,
    Output,
    Parallel,
    Program,
    Relay,
    Rung,
    Series,
    Timer,
    leaves,
)

MOST_PHASES = 512


class LowerError(Exception):
    """A program that has no core of a sensible size at this period; the text says why."""


def lower(program: Program, period: int = PERIOD) -> Core:
    """The core of a program that is scanned every `period` ms. Scan for scan, with exact timers,
    it does what the reference interpreter does.

    Raises LowerError for a flasher whose phases and the period repeat only after more than
    MOST_PHASES phases; at 10 ms there is no such flasher.
    """
    work = Lowering(program, period)
    for rung in program.rungs:
        work.rung(rung)
    return work.finished()


# a flasher's phases: closed or open, for how many scans, and the phase that comes next
_Phase = tuple[bool, int, int]


def flasher_phases(on: int, off: int, period: int) -> tuple[_Phase, ...]:
    """What a flasher shows on the grid from its first powered scan on, as runs of equal scans.

    Where the times are not whole periods the runs differ by a scan, until they repeat.
    Raises LowerError where that takes more than MOST_PHASES runs.
    """
    cycle = on + off
    rounds = period // gcd(cycle, period)
    runs: list[list[int]] = []
    for number in range(rounds):
        start = -(-number * cycle // period)
        middle = -(-(number * cycle + on) // period)
        end = -(-(number + 1) * cycle // period)
        for closed, scans in ((1, middle - start), (0, end - middle)):
            if not scans:
                continue
            if runs and runs[-1][0] == closed:
                runs[-1][1] += scans
            else:
                runs.append([closed, scans])
        if len(runs) > MOST_PHASES:
            raise LowerError(f"a flasher of {on} ms and {off} ms does not fit scans of {period} ms")
    if len(runs) == 1:
        return ((True, 0, 0),)
    last = len(runs) - 1
    if runs[last][0] == 1:
        # the last run goes over into the first, so that only the very first is shorter
        runs[last][1] += runs[0][1]
        after = [*range(1, last + 1), 1]
    else:
        after = [*range(1, last + 1), 0]
    return tuple(
        (bool(run[0]), run[1], following) for run, following in zip(runs, after, strict=True)
    )


def most_counted(counter: Counter, program: Program, more: Iterable[Circuit] = ()) -> int:
    """The largest count that can matter: no comparison, in a rung or a circuit of `more`, tells it
    from any larger one, and nothing counts down from it."""
    most = counter.preset
    for rung in program.rungs:
        if any(a.verb == "down" and a.name == counter.name for a in rung.actions):
            return MAX_COUNT
    for circuit in (*(rung.circuit for rung in program.rungs), *more):
        for leaf in leaves(circuit):
            if isinstance(leaf, Compare) and leaf.name == counter.name:
                most = max(most, leaf.number + (leaf.op not in (">=", "<")))
    return min(most, MAX_COUNT)


class Lowering:
    """The literals of everything a scan can read, at one point of the scan."""

    def __init__(self, program: Program, period: int) -> None:
        self.program = program
        self.period = period
        self.signals: list[Signal] = [Signal("first_scan", "first_scan", "")]
        self.state: list[StateBit] = []
        self.phases: dict[str, tuple[_Phase, ...]] = {}
        self.phase_timers: dict[tuple[str, bool, int], int] = {}  # name, closed, scans: place
        self.timers: dict[str, list[CoreTimer]] = {}
        self.contact: dict[str, Lit] = {}
        self.coil: dict[str, Lit] = {}
        self.timing: dict[str, Lit] = {}
        self.bits: dict[str, list[Lit]] = {}  # a counter's count, a flasher's phase
        self.most: dict[str, int] = {}
        self.driven: set[str] = set()
        self.powers: list[RungPower] = []
        self._declare_signals()
        self.places: dict[tuple[str, StateKind, int], int] = {}
        self._declare_state()
        self.gates = Gates(len(self.signals) + len(self.state))
        self.first = 2  # the literal of signal 0
        self._begin()

    # --- what there is

    def _declare_signals(self) -> None:
        for device in self.program.inputs:
            self.signals.append(Signal(device.name, "input", device.name, span=device.span))
        for clock in self.program.clocks:
            event = clock.end is None
            self.signals.append(Signal(clock.name, "clock", clock.name, event, clock.span))
        for timer in self.program.timers:
            self.timers[timer.name] = self._core_timers(timer)

    def _core_timers(self, timer: Timer) -> list[CoreTimer]:
        if timer.kind != "flasher":
            kind = "accumulating" if timer.kind == "accumulating" else "on-delay"
            made = [(timer.name, timer.preset)]
        else:
            kind = "on-delay"
            phases = flasher_phases(timer.preset, timer.off, self.period)
            self.phases[timer.name] = phases
            needed = sorted({(not on, scans) for on, scans, _ in phases if scans})
            made = []
            for place, (off, scans) in enumerate(needed):
                self.phase_timers[timer.name, not off, scans] = place
                word = "off" if off else "on"
                if sum(other == off for other, _ in needed) > 1:
                    word += f"_{scans * self.period}ms"
                made.append((f"{timer.name}.{word}", scans * self.period))
        timers = []
        for name, preset in made:
            self.signals.append(Signal(f"{name}.due", "due", timer.name, span=timer.span))
            timers.append(
                CoreTimer(
                    name,
                    timer.name,
                    "accumulating" if kind == "accumulating" else "on-delay",
                    preset,
                    len(self.signals) - 1,
                    FALSE,
                    retained=timer.retained,
                    span=timer.span,
                )
            )
        return timers

    def _declare_state(self) -> None:
        for device in self.program.devices:
            match device:
                case Output() | Relay():
                    self._bit(device, "contact", device.name, device.retained)
                case Timer():
                    self._declare_timer(device)
                case Counter():
                    most = self.most[device.name] = self._most(device)
                    for place in range(most.bit_length()):
                        words = f"{device.name}, bit {place} of its count"
                        self._bit(device, "count", words, device.retained, place)
                case Input() | Clock():
                    pass
                case _:
                    assert_never(device)
        for number, edge in enumerate(self.program.edges):
            saw = f"{edge.name} was closed"
            self._place(
                "edge",
                number,
                StateBit(f"edge.{number}", "edge", edge.name, saw, FALSE, False, edge.span),
            )
        for rung in self.program.rungs:
            if any(self._needs_gain(action) for action in rung.actions):
                number = rung.number
                words = f"rung {number} had power"
                bit = StateBit(f"power.{number}", "power", "", words, FALSE, False, rung.span)
                self._place("power", number, bit)

    def _most(self, counter: Counter) -> int:
        return most_counted(counter, self.program)

    def _needs_gain(self, action: Action) -> bool:
        device = self.program.by_name[action.name]
        pulse = isinstance(device, Timer) and device.kind == "pulse"
        counts = action.verb == "coil" and isinstance(device, Counter)
        return action.verb in ("impulse", "down") or counts or pulse

    def _declare_timer(self, timer: Timer) -> None:
        name = timer.name
        coil = f"{name} held"
        timing = f"{name} timing"
        match timer.kind:
            case "on-delay":
                self._bit(timer, "coil", f"{name} held")
                self._bit(timer, "contact", f"{name} timed out")
            case "off-delay":
                self._bit(timer, "coil", coil)
                self._bit(timer, "timing", timing)
            case "pulse":
                self._bit(timer, "timing", timing)
            case "accumulating":
                self._bit(timer, "coil", coil)
                self._bit(timer, "contact", f"{name} full", timer.retained)
            case "flasher":
                self._bit(timer, "coil", f"{name} flashing")
                for place in range((len(self.phases[name]) - 1).bit_length()):
                    words = f"{name} open" if len(self.phases[name]) == 2 else f"{name} phase"
                    self._bit(timer, "phase", words, False, place)
            case _:
                assert_never(timer.kind)

    def _bit(
        self, device: Device, kind: StateKind, words: str, retained: bool = False, place: int = 0
    ) -> None:
        name = device.name if kind == "contact" else f"{device.name}.{kind}"
        if kind in ("count", "phase"):
            name += str(place)
        bit = StateBit(name, kind, device.name, words, FALSE, retained, device.span)
        self._place(kind, place, bit)

    def _place(self, kind: StateKind, place: int, bit: StateBit) -> None:
        key = (bit.device if kind not in ("edge", "power") else "", kind, place)
        self.places[key] = len(self.state)
        self.state.append(bit)

    def _was(self, device: str, kind: StateKind, place: int = 0) -> Lit:
        return (1 + len(self.signals) + self.places[device, kind, place]) * 2

    def _begin(self) -> None:
        """Everything as the last scan left it, with this scan's inputs and clocks."""
        for index, signal in enumerate(self.signals):
            if signal.kind in ("input", "clock"):
                self.contact[signal.name] = (1 + index) * 2
        for device in self.program.devices:
            name = device.name
            match device:
                case Output() | Relay():
                    self.contact[name] = self._was(name, "contact")
                case Counter():
                    width = self.most[name].bit_length()
                    self.bits[name] = [self._was(name, "count", n) for n in range(width)]
                    self.contact[name] = self._at_least(self.bits[name], device.preset)
                case Timer():
                    self._begin_timer(device)
                case Input() | Clock():
                    pass
                case _:
                    assert_never(device)

    def _begin_timer(self, timer: Timer) -> None:
        name = timer.name
        if timer.kind != "pulse":
            self.coil[name] = self._was(name, "coil")
        match timer.kind:
            case "on-delay" | "accumulating":
                self.contact[name] = self._was(name, "contact")
            case "off-delay":
                self.timing[name] = self._was(name, "timing")
                self.contact[name] = self.gates.disj(self.coil[name], self.timing[name])
            case "pulse":
                self.contact[name] = self.timing[name] = self._was(name, "timing")
            case "flasher":
                width = (len(self.phases[name]) - 1).bit_length()
                self.bits[name] = [self._was(name, "phase", n) for n in range(width)]
                shown = self._phase_closed(name, self._decoded(name))
                self.contact[name] = self.gates.conj(self.coil[name], shown)
            case _:
                assert_never(timer.kind)

    # --- circuits

    def circuit(self, circuit: Circuit) -> Lit:
        """The literal of a circuit at this point of the scan."""
        match circuit:
            case Series():
                return self.gates.conj(*[self.circuit(part) for part in circuit.parts])
            case Parallel():
                return self.gates.disj(*[self.circuit(part) for part in circuit.parts])
            case Compare():
                return self._compare(circuit)
            case Contact():
                return self._contact(circuit) ^ circuit.negated
            case _:
                assert_never(circuit)

    def _contact(self, leaf: Contact) -> Lit:
        match leaf.kind:
            case "closed":
                return self.contact[leaf.name]
            case "first_scan":
                return self.first
            case "timing":
                return self._timing(leaf.name)
            case "rising" | "falling":
                sees = self.contact[leaf.name]
                place = self.places["", "edge", leaf.memory]
                self.state[place] = replace(self.state[place], next=sees)
                saw = self._was("", "edge", leaf.memory)
                flip = leaf.kind == "falling"
                return self.gates.conj(self.first ^ 1, sees ^ flip, saw ^ flip ^ 1)
            case "broken" | "shorted" | "load":
                raise AssertionError("the checker keeps wire faults and loads out of rungs")
            case _:
                assert_never(leaf.kind)

    def _timing(self, name: str) -> Lit:
        timer = self.program.by_name[name]
        assert isinstance(timer, Timer)
        match timer.kind:
            case "off-delay" | "pulse":
                return self.timing[name]
            case "flasher":
                return self.coil[name]
            case "on-delay" | "accumulating":
                return self.gates.conj(self.coil[name], self.contact[name] ^ 1)
            case _:
                assert_never(timer.kind)

    def _compare(self, leaf: Compare) -> Lit:
        bits = self.bits[leaf.name]
        match leaf.op:
            case ">=":
                return self._at_least(bits, leaf.number)
            case "<":
                return self._at_least(bits, leaf.number) ^ 1
            case ">":
                return self._at_least(bits, leaf.number + 1)
            case "<=":
                return self._at_least(bits, leaf.number + 1) ^ 1
            case "==":
                return self._equals(bits, leaf.number)
            case "!=":
                return self._equals(bits, leaf.number) ^ 1
            case _:
                assert_never(leaf.op)

    def _at_least(self, bits: list[Lit], number: int) -> Lit:
        if number >> len(bits):
            return FALSE
        found = TRUE
        for place, bit in enumerate(bits):
            if number >> place & 1:
                found = self.gates.conj(bit, found)
            else:
                found = self.gates.disj(bit, found)
        return found

    def _equals(self, bits: list[Lit], number: int) -> Lit:
        if number >> len(bits):
            return FALSE
        return self.gates.conj(
            *[bit if number >> place & 1 else bit ^ 1 for place, bit in enumerate(bits)]
        )

    # --- rungs

    def rung(self, rung: Rung) -> None:
        """Work one rung; each action takes effect on the literals at once."""
        power = self.circuit(rung.circuit)
        gained = FALSE
        place = self.places.get(("", "power", rung.number))
        if place is not None:
            self.state[place] = replace(self.state[place], next=power)
            had = self._was("", "power", rung.number)
            gained = self.gates.conj(power, self.first ^ 1, had ^ 1)
        for action in rung.actions:
            self._act(action, power, gained)
        drives = tuple(dict.fromkeys(action.name for action in rung.actions))
        self.powers.append(RungPower(rung.number, rung.label, power, drives, rung.span))

    def _act(self, action: Action, power: Lit, gained: Lit) -> None:
        name = action.name
        device = self.program.by_name[name]
        gates, contact = self.gates, self.contact
        match action.verb:
            case "coil":
                if isinstance(device, Timer):
                    self._drive_timer(device, power, gained)
                elif isinstance(device, Counter):
                    full = self._equals(self.bits[name], self.most[name])
                    self._count(device, gates.conj(gained, full ^ 1), 1)
                else:
                    contact[name] = power
            case "latch":
                contact[name] = gates.disj(contact[name], power)
            case "unlatch":
                contact[name] = gates.conj(contact[name], power ^ 1)
            case "impulse":
                contact[name] = gates.differ(contact[name], gained)
            case "down":
                assert isinstance(device, Counter)
                empty = self._equals(self.bits[name], 0)
                self._count(device, gates.conj(gained, empty ^ 1), 0)
            case "reset":
                self._reset(name, power)
            case _:
                assert_never(action.verb)

    def _count(self, counter: Counter, step: Lit, up: int) -> None:
        """Add (`up` 1) or take away (`up` 0) one where `step` is 1, rippling through the bits."""
        bits, carry = [], step
        for bit in self.bits[counter.name]:
            bits.append(self.gates.differ(bit, carry))
            carry = self.gates.conj(carry, bit if up else bit ^ 1)
        self.bits[counter.name] = bits
        self.contact[counter.name] = self._at_least(bits, counter.preset)

    def _reset(self, name: str, power: Lit) -> None:
        gates = self.gates
        self.contact[name] = gates.conj(self.contact[name], power ^ 1)
        if name in self.most:
            self.bits[name] = [gates.conj(bit, power ^ 1) for bit in self.bits[name]]
            return
        core = self.timers[name][0]
        if name in self.driven:
            core = replace(core, clear_after=gates.disj(core.clear_after, power))
        else:
            core = replace(core, clear_before=gates.disj(core.clear_before, power))
        self.timers[name] = [core]

    def _drive_timer(self, timer: Timer, power: Lit, gained: Lit) -> None:
        name, gates = timer.name, self.gates
        self.driven.add(name)
        if timer.kind == "flasher":
            self._drive_flasher(name, power)
            return
        core = self.timers[name][0]
        due = (1 + core.due) * 2
        run = power
        match timer.kind:
            case "on-delay":
                self.contact[name] = gates.conj(power, due)
                self.coil[name] = power
            case "off-delay":
                still = gates.conj(self.timing[name], due ^ 1)
                run = gates.conj(power ^ 1, gates.disj(self.coil[name], still))
                self.timing[name] = run
                self.contact[name] = gates.disj(power, run)
                self.coil[name] = power
            case "pulse":
                was = self.timing[name]
                run = gates.choose(was, due ^ 1, gained)
                self.contact[name] = self.timing[name] = run
            case "accumulating":
                adds = gates.conj(power, self.coil[name])
                refills = TRUE if self.period >= timer.preset else FALSE
                filled = gates.choose(core.clear_before, refills, due)
                self.contact[name] = gates.choose(adds, filled, self.contact[name])
                self.coil[name] = power
            case _:
                assert_never(timer.kind)
        self.timers[name] = [replace(core, run=run)]

    def _decoded(self, name: str) -> list[Lit]:
        """For each phase of a flasher whether it is the one."""
        return [self._equals(self.bits[name], n) for n in range(len(self.phases[name]))]

    def _phase_closed(self, name: str, at: list[Lit]) -> Lit:
        return self.gates.disj(
            *[lit for lit, ph in zip(at, self.phases[name], strict=True) if ph[0]]
        )

    def _drive_flasher(self, name: str, power: Lit) -> None:
        gates, phases = self.gates, self.phases[name]
        cores = self.timers[name]
        at = self._decoded(name)
        arriving: list[list[Lit]] = [[] for _ in phases]
        timer_of: list[int | None] = []
        for number, (closed, scans, following) in enumerate(phases):
            place = self.phase_timers.get((name, closed, scans))
            timer_of.append(place)
            due = FALSE if place is None else (1 + cores[place].due) * 2
            arriving[number].append(gates.conj(power, at[number], due ^ 1))
            arriving[following].append(gates.conj(power, at[number], due))
        now = [gates.disj(*lits) for lits in arriving]
        self.bits[name] = [
            gates.disj(*[lit for number, lit in enumerate(now) if number >> place & 1])
            for place in range(len(self.bits[name]))
        ]
        self.coil[name] = power
        self.contact[name] = gates.conj(power, self._phase_closed(name, now))
        for index, core in enumerate(cores):
            runs = gates.disj(
                *[lit for lit, own in zip(now, timer_of, strict=True) if own == index]
            )
            cores[index] = replace(core, run=runs)

    # --- the whole

    def finished(self) -> Core:
        """The core, when all rungs have been worked."""
        for (device, kind, place), index in self.places.items():
            bit = self.state[index]
            match kind:
                case "contact":
                    after = self.contact[device]
                case "coil":
                    after = self.coil[device]
                case "timing":
                    after = self.timing[device]
                case "phase" | "count":
                    after = self.bits[device][place]
                case "edge" | "power":
                    continue
                case _:
                    assert_never(kind)
            self.state[index] = replace(bit, next=after)
        numbers = []
        for name, most in self.most.items():
            width = most.bit_length()
            bits = tuple(self.places[name, "count", n] for n in range(width))
            numbers.append(Number(name, bits, most))
        return Core(
            self.program.title,
            self.period,
            tuple(self.signals),
            tuple(self.state),
            tuple(self.gates.made),
            tuple(self._outputs()),
            tuple(core for cores in self.timers.values() for core in cores),
            tuple(numbers),
            tuple(self.powers),
        )

    def _outputs(self) -> list[CoreOutput]:
        shown = []
        kind: OutputKind
        for device in self.program.devices:
            match device:
                case Output():
                    kind = "output"
                case Relay():
                    kind = "relay"
                case Timer():
                    kind = "timer"
                case Counter():
                    kind = "counter"
                case Input() | Clock():
                    continue
                case _:
                    assert_never(device)
            shown.append(CoreOutput(device.name, kind, self.contact[device.name], device.span))
        return shown
