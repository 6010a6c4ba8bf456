"""Each rung of a program as a function of its own, so that any order of them can be played.

The functions are made once for a program and work on whole numbers, bit n of each for lane n: a
pair of rungs then costs no lowering, and a scan of all lanes little more than that of one.
"""

from __future__ import annotations

from collections.abc import Callable

from rungs.core.lower import Lowering
from rungs.core.nodes import Gates, Lit, Signal
from rungs.program.nodes import Clock, Counter, Input, Program, Rung, Timer

Env = list[int]  # of each slot the lanes in which it is 1
Step = Callable[[Env, int], None]  # works a rung in the lanes that the number has


class Stage(Lowering):
    """The rungs of a program that is scanned every `period` ms, as `steps`, and the slots that each
    of them has `written`, by place from 0.

    Everything that a rung reads or leaves has a slot: first the signals of the core, then what
    `slots` tells by kind, name and place, then the state bits. What an accumulating timer holds is
    not among them. Raises LowerError for a program that has no core.
    """

    def __init__(self, program: Program, period: int) -> None:
        super().__init__(program, period)
        self.place_of = {rung.number: place for place, rung in enumerate(program.rungs)}
        self.kinds = {"contact": self.contact, "coil": self.coil, "timing": self.timing}
        self.written: list[tuple[int, ...]] = []
        lines: list[str] = []
        for number, rung in enumerate(program.rungs):
            found = self._left(rung)
            self.written.append(tuple(found))
            lines += self._text(number, found)
        lines.append(f"made = [{', '.join(f'r{n}' for n in range(len(self.written)))}]")
        space: dict[str, list[Step]] = {}
        # the text is made of numbers alone, nothing of a user's file is in it
        exec(compile("\n".join(lines), "<rungs>", "exec"), space)
        self.steps = space["made"]

    def _declare_signals(self) -> None:
        super()._declare_signals()
        self.slots: dict[tuple[str, str, int], int] = {}
        for device in self.program.devices:
            name = device.name
            if isinstance(device, Input | Clock):
                continue
            self._slot("contact", name)
            if isinstance(device, Counter):
                for place in range(self._most(device).bit_length()):
                    self._slot("bits", name, place)
            elif isinstance(device, Timer):
                self._slot("coil", name)
                self._slot("timing", name)
                for place in range((len(self.phases.get(name, "1")) - 1).bit_length()):
                    self._slot("bits", name, place)
                for place in range(len(self.timers[name])):
                    self._slot("run", name, place)

    def _slot(self, kind: str, name: str, place: int = 0) -> None:
        self.slots[kind, name, place] = len(self.signals)
        # of all kinds of signals this is the one that the lowering leaves alone
        self.signals.append(Signal(f"{kind} {name} {place}", "fault", name))

    def _left(self, rung: Rung) -> dict[int, Lit]:
        """What a rung leaves in which slots, by literals over all slots."""
        self.gates = Gates(len(self.signals) + len(self.state))
        for (kind, name, place), slot in self.slots.items():
            if kind == "bits":
                self.bits[name] = [*self.bits[name][:place], (1 + slot) * 2]
            elif kind != "run":
                self.kinds[kind][name] = (1 + slot) * 2
        before = list(self.state)
        self.rung(rung)
        driven = {action.name for action in rung.actions if action.verb == "coil"}
        found: dict[int, Lit] = {}
        for (kind, name, place), slot in self.slots.items():
            lit = (1 + slot) * 2
            if kind == "bits":
                lit = self.bits[name][place]
            elif kind != "run":
                lit = self.kinds[kind][name]
            elif name in driven:
                lit = self.timers[name][place].run
            if lit != (1 + slot) * 2:
                found[slot] = lit
        for place, (old, new) in enumerate(zip(before, self.state, strict=True)):
            if old is not new:
                found[len(self.signals) + place] = new.next
        return found

    def _text(self, number: int, found: dict[int, Lit]) -> list[str]:
        """The function of a rung, in lines."""
        first = self.gates.first
        lits = [lit for gate in self.gates.made for lit in gate] + list(found.values())
        read = sorted({lit >> 1 for lit in lits if 0 < lit >> 1 < first})

        def text(lit: Lit) -> str:
            if lit < 2:
                return "M" if lit else "0"
            name = f"{'x' if lit >> 1 < first else 'g'}{lit >> 1}"
            return f"(M ^ {name})" if lit & 1 else name

        return [
            f"def r{number}(E, M):",
            *(f"    x{node} = E[{node - 1}]" for node in read),
            *(
                f"    g{node} = {' & '.join(text(lit) for lit in gate)}"
                for node, gate in enumerate(self.gates.made, first)
            ),
            *(f"    E[{slot}] = {text(lit)}" for slot, lit in found.items()),
            "    pass",
        ]
