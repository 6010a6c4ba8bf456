"""A run that somebody can carry out: switches, wires and supply at exact times, played and seen.

What a search finds is a list of steps of a circuit. Here it gets times that the timers and the
calendar allow, becomes what a person does at the panel, and is played on the reference interpreter
before anybody sees it.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import islice
from typing import NamedTuple

from rungs.core.nodes import PERIOD, Core
from rungs.program.nodes import Circuit, Input, Program, Property
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.clocks.dated import Dates, clock_names
from rungs.prove.question import CUT, END, Question
from rungs.prove.states import Key
from rungs.prove.timing import Edge, Step, TimedRun
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.generate import ScanBook, ScanOnce
from rungs.scan.observe import holds
from rungs.scan.reference import State
from rungs.scan.runner import Panel, See, WireFault
from rungs.scan.watch import Watcher


@dataclass(frozen=True, slots=True)
class Act:
    """What changes before the scan at `t` (ms): circuits of switches, faults of wires. With `back`
    the power goes instead, and comes back so that the next scan is the one at `back`."""

    t: int
    circuits: tuple[tuple[str, bool], ...] = ()
    wires: tuple[tuple[str, WireFault], ...] = ()
    back: int | None = None

    @property
    def cut(self) -> bool:
        """Whether this is a power cut."""
        return self.back is not None


@dataclass(frozen=True, slots=True)
class Witness:
    """A run from power-up: `start` is the wall time at t = 0 (ms UTC, None where no clock matters);
    the scan at `end` is the last. Circuits that are not named stay as they are at rest."""

    acts: tuple[Act, ...]
    end: int
    start: int | None = None


def core_steps(
    program: Program,
    asked: Question,
    run: Sequence[Sequence[bool]],
    scans: ScanBook | None = None,
) -> tuple[Step, ...]:
    """The steps of a circuit's run as steps of the core that it was made of.

    A step with a power cut becomes two: the cut, and the first scan after it. Inputs that the
    circuit does not look at are at rest.
    """
    rest = {device.name: device.side == "NC" for device in program.inputs}
    idle = {s.name: rest.get(s.name, False) for s in asked.core.signals if s.kind != "first_scan"}
    core, circuit = asked.core, asked.circuit
    scans = scans or ScanBook()
    scan, ask = scans.once(core), scans.once(circuit)
    names = [signal.name for signal in circuit.signals]
    dues = {core.signals[timer.due].name for timer in core.timers}
    due = [(n, output.name) for n, output in enumerate(circuit.outputs) if output.name in dues]
    state = (False,) * len(circuit.state)
    bits = (False,) * len(core.state)
    running, first = 0, True
    steps: list[Step] = []
    for signals in run:
        given = dict(zip(names, signals, strict=True))
        state, outputs, _ = ask(state, tuple(signals))
        if given.pop(CUT, False):
            steps.append(Step({}, Key(_number(bits), running, first), True))
            pairs = zip(core.state, bits, strict=True)
            bits = tuple(value and bit.retained for bit, value in pairs)
            running, first = 0, True
        known = {**idle, **{n: on for n, on in given.items() if not n.startswith(END)}}
        known.update({name: outputs[place] for place, name in due})
        steps.append(Step(known, Key(_number(bits), running, first), False))
        bits, _, runs = scan(bits, signals_of(core, known, first))
        running = _number(runs[::3])
        first = False
    return tuple(steps)


def signals_of(core: Core, known: dict[str, bool], first: bool) -> tuple[bool, ...]:
    """The signals of a core in order; what is not known is 0."""
    return tuple(
        first if signal.kind == "first_scan" else known.get(signal.name, False)
        for signal in core.signals
    )


def _number(bits: Sequence[bool]) -> int:
    return sum(bit << place for place, bit in enumerate(bits))


def lags(program: Program, core: Core) -> dict[str, int]:
    """For each input of the core that is taken after its debounce: how many scans its image comes
    after the circuit. Inputs whose debounce is a timer of the core are not among them."""
    timed = {timer.device for timer in core.timers if timer.name.endswith(".debounce")}
    names = {signal.name for signal in core.signals if signal.kind == "input"} - timed
    return {
        device.name: -(-device.debounce // core.period)
        for device in program.inputs
        if device.debounce and device.name in names
    }


def bounce_edges(program: Program, core: Core, steps: Sequence[Step]) -> Iterator[Edge]:
    """How far the changes of one debounced image must at least lie apart: the circuit is looked at
    anew from the scan after a change."""
    for name, lag in lags(program, core).items():
        changed: int | None = None
        shown = False
        for index, step in enumerate(steps):
            if step.cut:
                changed = None
            elif step.key.first:
                changed, shown = index, step.signals[name]
            elif step.signals[name] != shown:
                shown = step.signals[name]
                assert changed is not None
                yield index, changed, -(lag + 1)
                changed = index


def witness_of(
    program: Program,
    core: Core,
    steps: Sequence[Step],
    times: Sequence[int],
    start: int | None = None,
) -> Witness:
    """What has to be done at the panel so that the steps come at these times (ms)."""
    late = lags(program, core)
    rest = {device.name: device.side == "NC" for device in program.inputs}
    signals = {signal.name: signal for signal in core.signals}
    faulty = sorted({signal.device for signal in core.signals if signal.kind == "fault"})
    circuits = dict(rest)
    wires: dict[str, WireFault] = {}
    acts: dict[tuple[int, bool], Act] = {}

    def act(t: int) -> Act:
        return acts.setdefault((t, False), Act(t))

    for index, (step, t) in enumerate(zip(steps, times, strict=True)):
        if step.cut:
            acts[t, True] = Act(t, back=times[index + 1])
            continue
        for name, on in step.signals.items():
            if signals[name].kind == "input" and on != circuits[name]:
                circuits[name] = on
                before = 0 if step.key.first else late.get(name, 0) * core.period
                made = act(t - before)
                changes = {**dict(made.circuits), name: on}
                acts[made.t, False] = replace(made, circuits=tuple(changes.items()))
        for device in faulty:
            fault = _fault(step, device)
            if fault != wires.get(device, "sound"):
                wires[device] = fault
                made = act(t)
                acts[t, False] = replace(made, wires=(*made.wires, (device, fault)))
    ordered = sorted(acts.values(), key=lambda each: (each.t, not each.cut))
    return Witness(tuple(ordered), times[-1], start)


class Timed(NamedTuple):
    """A run as something to do at the panel, and the time of each of its steps, ms."""

    witness: Witness
    times: tuple[int, ...]


def timed_steps(
    program: Program,
    core: Core,
    steps: Sequence[Step],
    dates: Dates | None,
    scan: ScanOnce | None = None,
    places: int | None = None,
) -> Timed | None:
    """Times for the steps of a core, or None if none were found. It is still to be played.

    With clocks the run is laid into the calendar of `dates`, at the most `places` places of which
    are tried; without a calendar there are no times for it.
    """
    run = TimedRun(core, tuple(steps), scan)
    bounces = tuple(bounce_edges(program, core, steps))
    found = run.times(bounces)
    if found is None:
        return None  # whatever the date
    if not clock_names(core):
        return Timed(witness_of(program, core, steps, found[0]), found[0])
    for zero, edges in islice(dates.ways(core, steps), places) if dates else ():
        found = run.times((*bounces, *edges))
        if found is not None:
            times, origin = found
            start = zero * core.period - origin
            return Timed(witness_of(program, core, steps, times, start), times)
    return None


def timed(
    program: Program, asked: Question, run: Sequence[Sequence[bool]], dates: Dates | None
) -> Witness | None:
    """The same for a run of a question's circuit, without the times."""
    found = timed_steps(program, asked.core, core_steps(program, asked, run), dates)
    return None if found is None else found.witness


def _fault(step: Step, device: str) -> WireFault:
    if step.signals.get(f"shorted {device}", False):
        return "shorted"
    return "broken" if step.signals.get(f"broken {device}", False) else "sound"


def played(witness: Witness, panel: Panel) -> Iterator[None]:
    """Do at a panel what the witness says; hands over after each act and at the end."""
    for each in witness.acts:
        panel.run(each.t - 1)
        if each.back is not None:
            panel.switch_power(False)
            panel.pass_to(each.back)
            panel.switch_power(True)
        for name, wire in each.wires:
            panel.fault(name, wire)
        if each.circuits:
            panel.give_circuits(dict(each.circuits))
        yield
    panel.run(witness.end)
    yield


@dataclass(frozen=True, slots=True)
class AtOnce:
    """Rungs that have power in one scan, by number, while `circuit` is closed after it."""

    rungs: tuple[int, ...]
    circuit: Circuit


Item = Property | AtOnce


def broken_at(
    program: Program,
    item: Item,
    witness: Witness,
    period: int,
    calendar: Calendar | None = None,
) -> int | None:
    """The time (ms) of the first scan in which playing a witness on the reference interpreter
    breaks a property, or shows the rungs with power; None if none does while the assumptions of
    the program hold."""
    assumed = tuple(each for each in program.properties if each.kind == "assume")
    watched = (item, *assumed) if isinstance(item, Property) else assumed
    watcher = Watcher(replace(program, properties=watched), period)
    panel = Panel(program, witness.start, period, calendar=calendar or build_calendar(program))
    panel.watchers.append(watcher.see)
    found: list[int] = []
    if isinstance(item, AtOnce):
        panel.watchers.append(_at_once(program, item, found))
    for _ in played(witness, panel):
        if watcher.violations or watcher.contradicted or found:
            break
    found += [each.t for each in watcher.violations]
    contradicted = watcher.contradicted
    if not found or (contradicted is not None and contradicted.t <= found[0]):
        return None
    return found[0]


def _at_once(program: Program, item: AtOnce, found: list[int]) -> See:
    def see(before: State, after: State, wires: Mapping[str, WireFault]) -> None:
        if all(after.powers[number] for number in item.rungs) and holds(
            program, before, after, wires, item.circuit
        ):
            found.append(after.t)

    return see


SHORTEN_SECONDS = 1.0
SHORT_CUTS = (1_000, PERIOD)  # ms; a longer power cut is told only where it has to be


def shortened(
    program: Program, item: Item, witness: Witness, period: int, budget: Budget
) -> Witness | None:
    """The witness as it was seen to break the item, up to that scan and without acts that it does
    not need, as far as the budget goes; None if it does not break it."""
    calendar = build_calendar(program)

    def still(smaller: Witness) -> Witness | None:
        end = broken_at(program, item, smaller, period, calendar)
        return None if end is None else _ended(smaller, end)

    best = still(witness)
    return None if best is None else trimmed(best, still, budget)


def trimmed(
    witness: Witness, still: Callable[[Witness], Witness | None], budget: Budget
) -> Witness:
    """The witness without changes that it does not need. `still` says of a smaller one what of it
    shows the same, or None; it is asked for SHORTEN_SECONDS at the most."""
    part = budget.part(SHORTEN_SECONDS)
    best = witness
    changed = True
    while changed:
        changed = False
        for smaller in _smaller(best):
            try:
                part.check()
            except OutOfBudget:
                return best
            found = still(smaller)
            if found is not None:
                best, changed = found, True
                break
    return best


def _ended(witness: Witness, end: int) -> Witness:
    return replace(witness, acts=tuple(a for a in witness.acts if a.t <= end), end=end)


def _smaller(witness: Witness) -> Iterator[Witness]:
    """The witness at no special date, with a power cut made short, then with one change left out,
    the later ones first."""
    if witness.start is not None:
        yield replace(witness, start=None)
    yield from shorter_cuts(witness)
    for index in range(len(witness.acts) - 1, -1, -1):
        each = witness.acts[index]
        before, after = witness.acts[:index], witness.acts[index + 1 :]
        if each.cut or len(each.circuits) + len(each.wires) == 1:
            yield replace(witness, acts=(*before, *after))
            continue
        for place in range(len(each.circuits)):
            kept = each.circuits[:place] + each.circuits[place + 1 :]
            yield replace(witness, acts=(*before, replace(each, circuits=kept), *after))
        for place in range(len(each.wires)):
            wires = each.wires[:place] + each.wires[place + 1 :]
            yield replace(witness, acts=(*before, replace(each, wires=wires), *after))


def shorter_cuts(witness: Witness) -> Iterator[Witness]:
    """The witness with one of its power cuts made short, and all that follows that much earlier."""
    for index, each in enumerate(witness.acts):
        if each.back is None:
            continue
        for cut in SHORT_CUTS:
            less = each.back - each.t - cut
            if less > 0:
                later = tuple(_earlier(act, less) for act in witness.acts[index + 1 :])
                acts = (*witness.acts[:index], replace(each, back=each.back - less), *later)
                yield replace(witness, acts=acts, end=witness.end - less)


def _earlier(act: Act, less: int) -> Act:
    return replace(act, t=act.t - less, back=None if act.back is None else act.back - less)


def actuators(program: Program, witness: Witness) -> Iterator[tuple[Act, dict[str, bool]]]:
    """Each act with the actuators that it moves: True where one is operated."""
    sides = {d.name: d.side == "NC" for d in program.inputs if isinstance(d, Input)}
    for each in witness.acts:
        yield each, {name: on != sides[name] for name, on in each.circuits}
