"""A question to a panel as one plain circuit without time: can its bad output ever be 1?

Power cuts, the choice of when a timer is due, the order of the clocks and the assumptions all
become signals and state bits, so that any engine for sequential circuits can search it. Due flags
are free under what the running timers allow: what cannot happen here cannot happen on the panel.
"""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from rungs.core.nodes import (
    FALSE,
    TRUE,
    Core,
    CoreOutput,
    CoreTimer,
    Gates,
    Lit,
    Signal,
    StateBit,
    images,
)
from rungs.core.reduce import reduce

CUT = "power cut"
END = "end of "
BAD = "bad"

Vector = tuple[bool, ...]


@dataclass(frozen=True, slots=True)
class ClockOrder:
    """What the calendar allows the clocks of `names` to show: in a first scan, and after what."""

    names: tuple[str, ...]
    first: tuple[Vector, ...]
    follows: tuple[tuple[Vector, Vector], ...]


@dataclass(frozen=True, slots=True)
class Question:
    """`circuit` has no timers; its first output (or outputs) is `bad`, the others are the due flags
    of `core`, under their names. `core` is what it was made of. `matters` gives for a signal of the
    circuit the state bit without which it changes nothing."""

    core: Core
    circuit: Core
    matters: dict[int, int]
    # the state bit after which nothing bad can come any more
    over: int | None


def question(
    core: Core,
    bad: str | Sequence[str],
    assumed: Collection[str] = (),
    clocks: ClockOrder | None = None,
    ordered: Collection[tuple[int, int]] = (),
    slack: int = 0,
    patient: bool = False,
) -> Question:
    """The question whether output `bad` of the core can be 1 after a scan, while no output of
    `assumed` has been 1 after any. Several may be asked about at once; there are then as many bad
    outputs, in their order.

    `ordered` are pairs of on-delays (by index, the shorter preset first) of which is remembered
    whether the first started no later than the second: the second is then due after it. With
    `slack` it may also have started up to so many scans later, as far as its preset is that much
    shorter, and none of them is due within so many scans; a step of the circuit is one scan.
    With `patient` a timer is due only if it has run through a scan that changed nothing. Such runs
    have times more often than others, but they are not all runs: it is for finding one, not for
    proving that there is none.
    """
    return _Maker(core, tuple(ordered), clocks, slack, patient).made(
        (bad,) if isinstance(bad, str) else tuple(bad), tuple(assumed)
    )


def only(asked: Question, index: int, bads: int) -> Question:
    """The question with one of its `bads` bad outputs alone."""
    outputs = asked.circuit.outputs
    bad = CoreOutput(BAD, "asked", outputs[index].lit)
    return replace(asked, circuit=replace(asked.circuit, outputs=(bad, *outputs[bads:])))


def any_of(asked: Question, chosen: Sequence[int], bads: int) -> Question:
    """The question whether any of the chosen ones among its `bads` bad outputs can be 1."""
    circuit = asked.circuit
    lits = {circuit.outputs[index].lit for index in chosen}
    if len(lits) == 1:
        return only(asked, chosen[0], bads)
    none = (circuit.first_gate + len(circuit.gates)) * 2
    gate = tuple(sorted(lit ^ 1 for lit in lits))
    outputs = (CoreOutput(BAD, "asked", none ^ 1), *circuit.outputs[bads:])
    return replace(asked, circuit=replace(circuit, gates=(*circuit.gates, gate), outputs=outputs))


def all_pairs(core: Core) -> tuple[tuple[int, int], ...]:
    """Every pair of on-delays of a core, the shorter preset first."""
    delays = [
        (timer.preset, index)
        for index, timer in enumerate(core.timers)
        if timer.kind == "on-delay" and timer.preset > core.period
    ]
    return tuple(
        (low[1], high[1]) for low in delays for high in delays if low < high and low[1] != high[1]
    )


class _Maker:
    def __init__(
        self,
        core: Core,
        ordered: tuple[tuple[int, int], ...],
        clocks: ClockOrder | None,
        slack: int,
        patient: bool,
    ) -> None:
        self.patient = patient
        self.core = core
        self.ordered = ordered
        needs = [-(-timer.preset // core.period) for timer in core.timers]
        # by how many scans the first of a pair may start later and still have run out before the
        # second is due; less than 0 where both need the same time
        self.slack = {pair: min(slack, needs[pair[1]] - needs[pair[0]] - 1) for pair in ordered}
        # for how many scans after its start a timer is known to be new, and so not due
        self.young = {
            number: min(slack, needs[number] - 1)
            for number in sorted({n for p in ordered for n in p})
        }
        self.clocks = clocks
        self.signals = [Signal(CUT, "input", "")]
        self.place_of: dict[int, int] = {}  # signal of the core: signal of the circuit
        for index, signal in enumerate(core.signals):
            if signal.kind in ("input", "clock", "fault"):
                self.place_of[index] = len(self.signals)
                self.signals.append(signal)
        self.state: list[StateBit] = []
        self.index_of: dict[str, int] = {}
        self.free: dict[int, int] = {}  # timer: signal that lets it be due
        self._declare()
        self.gates = Gates(len(self.signals) + len(self.state))
        self.next: dict[str, Lit] = {}

    # --- what there is

    def _declare(self) -> None:
        # where two bits turn out equal the first stays, so those that are asked for by name lead
        self._bit("alive", "the panel has power")
        for number, timer in enumerate(self.core.timers):
            name = timer.name
            self._bit(f"ran {name}", f"{name} ran")
            if self._sure(timer):
                continue
            self._bit(f"full {name}", f"{name} has run out")
            if self.patient:
                self._bit(f"calm {name}", f"{name} has run while nothing changed")
            self.free[number] = len(self.signals)
            self.signals.append(Signal(f"{END}{name}", "input", timer.device))
        for low, high in self.ordered:
            words = [self.core.timers[i].name for i in (low, high)]
            self._bit(f"older {low} {high}", f"{words[0]} started no later than {words[1]}")
        for number, scans in self.young.items():
            name = self.core.timers[number].name
            for age in range(1, scans + 1):
                self._bit(f"young {age} {name}", f"{name} started {age} scans ago")
        if self.clocks is not None:
            for name in self.clocks.names:
                self._bit(f"showed {name}", f"{name} was closed")
        self._bit("over", "an assumption has been broken")
        for bit in self.core.state:
            self._bit(f"was {bit.name}", bit.words)

    def _bit(self, name: str, words: str) -> None:
        self.index_of[name] = len(self.state)
        self.state.append(StateBit(name, "contact", "", words, FALSE))

    def _sure(self, timer: CoreTimer) -> bool:
        return timer.preset <= self.core.period

    def _signal(self, place: int) -> Lit:
        return (1 + place) * 2

    def _was(self, name: str) -> Lit:
        return (1 + len(self.signals) + self.index_of[name]) * 2

    # --- one step

    def made(self, bads: tuple[str, ...], assumed: tuple[str, ...]) -> Question:
        gates, core = self.gates, self.core
        cut = self._signal(0)
        alive = gates.conj(self._was("alive"), cut ^ 1)
        self.next["alive"] = TRUE
        leaf: dict[int, Lit] = {0: FALSE}
        for index, signal in enumerate(core.signals):
            if signal.kind == "first_scan":
                leaf[1 + index] = alive ^ 1
            elif index in self.place_of:
                leaf[1 + index] = self._signal(self.place_of[index])
        for index, bit in enumerate(core.state):
            was = self._was(f"was {bit.name}")
            leaf[core.first_state + index] = was if bit.retained else gates.conj(was, cut ^ 1)
        ran = [gates.conj(self._was(f"ran {t.name}"), cut ^ 1) for t in core.timers]
        due = self._dues(ran, cut)
        for timer, lit in zip(core.timers, due, strict=True):
            leaf[1 + timer.due] = lit
        image = image_of(core, leaf, gates)
        for bit in core.state:
            self.next[f"was {bit.name}"] = image(bit.next)
        for number, timer in enumerate(core.timers):
            self._run(number, timer, image, ran[number], due[number], cut)
        if self.patient:
            self._calm(alive, leaf, ran, image)
        self._order(ran, image)
        allowed = self._allowed(alive)
        broken = [image(out.lit) for out in core.outputs if out.name in assumed]
        over = gates.disj(self._was("over"), allowed ^ 1, *broken)
        self.next["over"] = over
        shown = {out.name: image(out.lit) for out in core.outputs}
        outputs = [
            CoreOutput(f"{BAD}.{n}" if n else BAD, "asked", gates.conj(shown[bad], over ^ 1))
            for n, bad in enumerate(bads)
        ]
        outputs += [
            CoreOutput(core.signals[timer.due].name, "asked", lit)
            for timer, lit in zip(core.timers, due, strict=True)
        ]
        return self._question(tuple(outputs))

    def _question(self, outputs: tuple[CoreOutput, ...]) -> Question:
        core = self.core
        state = tuple(
            StateBit(bit.name, bit.kind, bit.device, bit.words, self.next[bit.name])
            for bit in self.state
        )
        circuit = Core(
            core.title,
            core.period,
            tuple(self.signals),
            state,
            tuple(self.gates.made),
            outputs,
            (),
            (),
            (),
        )
        circuit = reduce(circuit, [output.name for output in outputs])
        place = {bit.name: index for index, bit in enumerate(circuit.state)}
        matters = {
            index: place["ran " + signal.name.removeprefix(END)]
            for index, signal in enumerate(circuit.signals)
            if signal.name.startswith(END) and "ran " + signal.name.removeprefix(END) in place
        }
        return Question(core, circuit, matters, place.get("over"))

    def _dues(self, ran: list[Lit], cut: Lit) -> list[Lit]:
        """The due flag of each timer. One that started no later than another, and needs less time,
        has run out before that is due; with the same time it is due when that is."""
        gates, core = self.gates, self.core
        due = [FALSE] * len(core.timers)
        after: dict[int, list[int]] = {}
        before: dict[int, list[int]] = {}
        for low, high in self.ordered:
            if self.slack[low, high] < 0:
                after.setdefault(low, []).append(high)
            else:
                before.setdefault(high, []).append(low)
        order = sorted(range(len(due)), key=lambda n: (-core.timers[n].preset, -n))
        for number in order:
            timer = core.timers[number]
            if self._sure(timer):
                due[number] = ran[number]
                continue
            full = self._full(timer, cut)
            by_order = [
                gates.conj(ran[high], due[high], self._was(f"older {number} {high}"))
                for high in after.get(number, [])
            ]
            free = self._signal(self.free[number])
            if self.patient:
                free = gates.conj(free, self._was(f"calm {timer.name}"))
            new = [f"young {n} {timer.name}" for n in range(1, self.young.get(number, 0) + 1)]
            held = [
                gates.conj(
                    ran[low],
                    self._was(f"older {low} {number}"),
                    self._full(core.timers[low], cut) ^ 1,
                )
                for low in before.get(number, [])
            ]
            allowed = [lit ^ 1 for lit in (*[self._was(name) for name in new], *held)]
            free = gates.conj(free, *allowed)
            due[number] = gates.conj(ran[number], gates.disj(full, free, *by_order))
        return due

    def _full(self, timer: CoreTimer, cut: Lit) -> Lit:
        """Whether a timer had run out by the last scan, and runs still."""
        full = self._was(f"full {timer.name}")
        return full if timer.retained else self.gates.conj(full, cut ^ 1)

    def _run(
        self,
        number: int,
        timer: CoreTimer,
        image: Callable[[Lit], Lit],
        ran: Lit,
        due: Lit,
        cut: Lit,
    ) -> None:
        """What a timer remembers: that it ran, and that its time is over.

        An accumulating one is emptied before or after the stretch up to this scan is added, as the
        bank of exact timers does it.
        """
        gates = self.gates
        run = image(timer.run)
        self.next[f"ran {timer.name}"] = run
        if self._sure(timer):
            return
        if timer.kind == "on-delay":
            self.next[f"full {timer.name}"] = gates.conj(run, due)
            return
        before, after = image(timer.clear_before), image(timer.clear_after)
        full = self._full(timer, cut)
        filled = gates.conj(before ^ 1, gates.disj(full, gates.conj(run, ran, due)))
        self.next[f"full {timer.name}"] = gates.conj(filled, after ^ 1)

    def _calm(
        self, alive: Lit, leaf: dict[int, Lit], ran: list[Lit], image: Callable[[Lit], Lit]
    ) -> None:
        """Whether this step changes nothing, so that scans like it can go on for any time."""
        gates, core = self.gates, self.core
        same = [alive]
        same += [
            gates.differ(leaf[core.first_state + n], image(bit.next)) ^ 1
            for n, bit in enumerate(core.state)
        ]
        runs = [image(timer.run) for timer in core.timers]
        same += [gates.differ(a, b) ^ 1 for a, b in zip(ran, runs, strict=True)]
        same += [leaf[1 + n] ^ 1 for n, signal in enumerate(core.signals) if signal.one_scan]
        still = gates.conj(*same)
        for timer, was, run in zip(core.timers, ran, runs, strict=True):
            name = f"calm {timer.name}"
            if name not in self.index_of:
                continue
            fresh = gates.disj(self._was(name), gates.conj(was, run, still))
            if timer.kind == "on-delay":
                self.next[name] = gates.conj(fresh, run)
            else:
                clears = (image(timer.clear_before) ^ 1, image(timer.clear_after) ^ 1)
                self.next[name] = gates.conj(fresh, *clears)

    def _order(self, ran: list[Lit], image: Callable[[Lit], Lit]) -> None:
        gates, timers = self.gates, self.core.timers
        for low, high in self.ordered:
            name = f"older {low} {high}"
            both = gates.conj(ran[low], ran[high])
            late = max(self.slack[low, high], 0)
            new = [self._was(f"young {n} {timers[high].name}") for n in range(1, late + 1)]
            fresh = gates.choose(both, self._was(name), gates.disj(ran[high] ^ 1, *new))
            runs = [image(timers[i].run) for i in (low, high)]
            self.next[name] = gates.conj(*runs, fresh)
        for number, scans in self.young.items():
            run, was = image(timers[number].run), ran[number] ^ 1
            for age in range(1, scans + 1):
                name = f"young {age} {timers[number].name}"
                self.next[name] = gates.conj(run, was)
                was = self._was(name)

    def _allowed(self, alive: Lit) -> Lit:
        """Whether the calendar lets the clocks show what they show now after what they showed."""
        if self.clocks is None:
            return TRUE
        gates, order = self.gates, self.clocks
        now = [
            self._signal(place)
            for name in order.names
            for place, signal in enumerate(self.signals)
            if signal.name == name
        ]
        was = [self._was(f"showed {name}") for name in order.names]
        for name, lit in zip(order.names, now, strict=True):
            self.next[f"showed {name}"] = lit
        first = gates.disj(*[_equals(gates, now, vector) for vector in order.first])
        then = [
            gates.conj(_equals(gates, was, before), _equals(gates, now, after))
            for before, after in order.follows
        ]
        return gates.choose(alive, gates.disj(*then), first)


def _equals(gates: Gates, lits: Sequence[Lit], vector: Vector) -> Lit:
    return gates.conj(*[lit ^ (not on) for lit, on in zip(lits, vector, strict=True)])


def image_of(core: Core, leaf: Mapping[int, Lit], gates: Gates) -> Callable[[Lit], Lit]:
    """The function from a literal of a core to what it becomes in `gates`; see `images`."""
    lits = images(core, leaf, gates)
    return lambda lit: lits[lit >> 1] ^ (lit & 1)
