"""Circuits that somebody asks about, lowered together with the program that they speak of.

A property may say what no rung can: that a wire is broken, that a load is lit, that a contact
changed between the ends of two scans, that something has lasted too long. It is lowered here by the
same hands as the rungs, so that a proof and a scan cannot mean different things by one contact.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

from rungs.core.lower import Lowering, most_counted
from rungs.core.nodes import (
    FALSE,
    PERIOD,
    Core,
    CoreOutput,
    CoreTimer,
    Lit,
    Signal,
    StateBit,
)
from rungs.program.nodes import (
    Circuit,
    Compare,
    Contact,
    Counter,
    Output,
    Parallel,
    Program,
    Series,
    leaves,
)


@dataclass(frozen=True, slots=True)
class Ask:
    """Asked of the panel after each scan: are all circuits of `closed` closed and all of `open`
    open, and did the rungs of `powers` (by number) have power in it? With `within`: has it been so
    for that many ms in a row, as an on-delay counts it?"""

    name: str
    closed: tuple[Circuit, ...] = ()
    open: tuple[Circuit, ...] = ()
    within: int = 0
    powers: tuple[int, ...] = ()


def watch(
    program: Program,
    asks: Sequence[Ask],
    period: int = PERIOD,
    bouncing: Collection[str] = (),
) -> Core:
    """The core of a program with one more output for each ask, under its name.

    Broken and shorted wires that an ask names become signals, `broken NAME` and `shorted NAME`.
    The signal of an input is its image after debounce; for inputs of `bouncing`, and for those
    whose wires are asked about, it is the switch at the end of the wire, and the debounce time is
    one more timer. Memories for edges and on-delays for `within` are added as the asks need them.
    Raises LowerError as `lower` does.
    """
    work = _Watching(program, period, tuple(asks), frozenset(bouncing))
    for rung in program.rungs:
        work.rung(rung)
    outputs = [CoreOutput(ask.name, "asked", work.ask(number)) for number, ask in enumerate(asks)]
    core = work.finished()
    return replace(core, outputs=(*core.outputs, *outputs))


def _circuits(ask: Ask) -> tuple[Circuit, ...]:
    return (*ask.closed, *ask.open)


class _Watching(Lowering):
    """The lowering, with what the asks need beside what the program has."""

    def __init__(
        self, program: Program, period: int, asks: tuple[Ask, ...], bouncing: frozenset[str]
    ) -> None:
        self.asks = asks
        contacts = [
            leaf
            for ask in asks
            for circuit in _circuits(ask)
            for leaf in leaves(circuit)
            if isinstance(leaf, Contact)
        ]
        self.faulty = {leaf.name for leaf in contacts if leaf.kind in ("broken", "shorted")}
        named = bouncing | self.faulty
        self.bouncing = [d for d in program.inputs if d.debounce and d.name in named]
        self.edged = dict.fromkeys(
            leaf.name for leaf in contacts if leaf.kind in ("rising", "falling")
        )
        self.saw: dict[str, int] = {}  # index of the state bit that remembers a contact
        self.fault: dict[tuple[str, str], Lit] = {}
        super().__init__(program, period)

    def _declare_signals(self) -> None:
        super()._declare_signals()
        for name in sorted(self.faulty):
            for kind in ("broken", "shorted"):
                self.fault[kind, name] = (1 + len(self.signals)) * 2
                self.signals.append(Signal(f"{kind} {name}", "fault", name))
        for device in self.bouncing:
            self._more_timer(f"{device.name}.debounce", device.name, device.debounce)
        for number, ask in enumerate(self.asks):
            if ask.within:
                self._more_timer(f"within.{number}", "", ask.within)

    def _more_timer(self, name: str, device: str, preset: int) -> None:
        self.signals.append(Signal(f"{name}.due", "due", device))
        timer = CoreTimer(name, device, "on-delay", preset, len(self.signals) - 1, FALSE)
        self.timers[name] = [timer]

    def _declare_state(self) -> None:
        super()._declare_state()
        for device in self.bouncing:
            words = f"{device.name} was closed"
            bit = StateBit(f"{device.name}.image", "contact", device.name, words, FALSE)
            self._place("contact", 0, bit)
        for name in self.edged:
            self.saw[name] = len(self.state)
            words = f"{name} was closed at the end of the scan"
            self._place(
                "edge",
                len(self.program.edges) + len(self.saw),
                StateBit(f"saw.{name}", "edge", name, words, FALSE),
            )

    def _most(self, counter: Counter) -> int:
        asked = [circuit for ask in self.asks for circuit in _circuits(ask)]
        return most_counted(counter, self.program, asked)

    def _begin(self) -> None:
        super()._begin()
        gates = self.gates
        for name in self.faulty:
            broken, shorted = self.fault["broken", name], self.fault["shorted", name]
            sound = gates.conj(self.contact[name], broken ^ 1)
            self.contact[name] = gates.disj(sound, shorted)
            # a wire has one fault at a time
            self.fault["broken", name] = gates.conj(broken, shorted ^ 1)
        for device in self.bouncing:
            name = device.name
            circuit, was = self.contact[name], self._was(name, "contact")
            timer = self.timers[f"{name}.debounce"][0]
            differs = gates.conj(gates.differ(circuit, was), self.first ^ 1)
            flips = gates.conj(differs, (1 + timer.due) * 2)
            self.timers[f"{name}.debounce"] = [replace(timer, run=gates.conj(differs, flips ^ 1))]
            image = gates.choose(flips, was ^ 1, was)
            self.contact[name] = gates.choose(self.first, circuit, image)

    # --- after the scan

    def ask(self, number: int) -> Lit:
        """The literal of an ask, when all rungs have been worked."""
        ask = self.asks[number]
        met = self.gates.conj(
            *[self.seen(circuit) for circuit in ask.closed],
            *[self.seen(circuit) ^ 1 for circuit in ask.open],
            *[power.lit for power in self.powers if power.number in ask.powers],
        )
        if not ask.within:
            return met
        timer = self.timers[f"within.{number}"][0]
        self.timers[f"within.{number}"] = [replace(timer, run=met)]
        return self.gates.conj(met, (1 + timer.due) * 2)

    def seen(self, circuit: Circuit) -> Lit:
        """The literal of a circuit as it stands after the scan."""
        match circuit:
            case Series():
                return self.gates.conj(*[self.seen(part) for part in circuit.parts])
            case Parallel():
                return self.gates.disj(*[self.seen(part) for part in circuit.parts])
            case Compare():
                return self._compare(circuit)
            case Contact():
                return self._seen_contact(circuit) ^ circuit.negated

    def _seen_contact(self, leaf: Contact) -> Lit:
        name = leaf.name
        match leaf.kind:
            case "rising" | "falling":
                sees = self.contact[name]
                index = self.saw[name]
                self.state[index] = replace(self.state[index], next=sees)
                saw = (1 + len(self.signals) + index) * 2
                flip = leaf.kind == "falling"
                return self.gates.conj(self.first ^ 1, sees ^ flip, saw ^ flip ^ 1)
            case "broken" | "shorted":
                return self.fault[leaf.kind, name]
            case "load":
                output = self.program.by_name[name]
                assert isinstance(output, Output)
                return self.contact[name] ^ (output.side == "NC")
            case "closed" | "timing" | "first_scan":
                return self._contact(leaf)
