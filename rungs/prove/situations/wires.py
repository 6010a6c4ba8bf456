"""What a broken or shorted wire does: every input's wire, both ways, against every output.

A sheet of it is what a technician wants to see before the panel is switched on. "Never" in it rests
on all situations; whatever it says can happen has been seen in a run, or is marked as not seen.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from rungs.program.lint import is_stop
from rungs.program.nodes import Input
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.situations.found import Situations, Standing
from rungs.prove.situations.machine import Rest
from rungs.prove.situations.moves import Moves, can_be_on
from rungs.prove.witness import Act, Witness

TRIES = 4  # situations that are tried for a run of each kind
SCANS = 12  # that a situation has to last for a fault to show all that it does at once

Fault = Literal["broken", "shorted"]
Step = Literal["on to off", "on to on", "off to on", "off to off"]
Known = Literal["never", "not seen", "seen"]
Danger = Literal["comes on", "cannot go off", "goes off", "may go off", "cannot come on", "none"]

FAULTS: tuple[Fault, ...] = ("broken", "shorted")
STEPS: tuple[Step, ...] = ("on to off", "on to on", "off to on", "off to off")
# the most dangerous first
DANGERS: tuple[Danger, ...] = (
    "comes on", "cannot go off", "goes off", "may go off", "cannot come on", "none"
)  # fmt: skip
# the step in which a danger shows, where it does in one
SHOWN: dict[Danger, Step] = {
    "comes on": "off to on", "cannot go off": "on to on", "goes off": "on to off",
    "may go off": "on to off",
}  # fmt: skip


@dataclass(frozen=True, slots=True)
class Example:
    """A situation (`standing`), and a run into it at whose end the wire fails, up to when the panel
    has settled. It has been played, and the output did what is told of it."""

    standing: Standing
    witness: Witness


@dataclass(frozen=True, slots=True)
class Cell:
    """A fault of one input's wire and one output.

    `steps` has for each step of the output, as the fault comes and the panel settles before a
    timer's time ends, whether it is never made, not seen in a run though not ruled out, or seen.
    The fault may change nothing: the circuit stood so.
    `can_come_on` and `can_go_off`: from some situation with the fault, whatever else happens but a
    power cut. `from_power_up`: the output can be on when the wire was faulty when power came; None
    if that is not known. `chatters`: in some situation it does not come to rest after the fault.
    `complete`: what is said never to happen cannot, and all the rest has been seen. The example is
    of what the danger names.
    """

    input: str
    fault: Fault
    output: str
    danger: Danger
    steps: tuple[tuple[Step, Known], ...]
    can_come_on: bool
    can_go_off: bool
    from_power_up: bool | None
    chatters: bool
    complete: bool
    example: Example | None

    def known(self, step: Step) -> Known:
        """Whether a step is made."""
        return dict(self.steps)[step]


@dataclass(frozen=True, slots=True)
class StopCheck:
    """An input that stops something, by its name or label: the outputs that go off when it is
    operated, and those of them that a broken wire does not put off in each of the same situations.
    """

    input: str
    side: Literal["NO", "NC"]
    stops: tuple[str, ...]
    not_when_broken: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class WireFaults:
    """A cell for each input, each fault of its wire, and each output, in the order of the file; and
    the stop-like inputs. `complete` if all cells are."""

    cells: tuple[Cell, ...]
    stops: tuple[StopCheck, ...]
    complete: bool

    def cell(self, name: str, fault: Fault, output: str) -> Cell:
        """The cell of a fault and an output. Raises StopIteration if there is none."""
        return next(
            each
            for each in self.cells
            if (each.input, each.fault, each.output) == (name, fault, output)
        )


def wire_faults(found: Situations, budget: Budget | None = None) -> WireFaults:
    """What each wire fault does to each output, in every situation.

    Inputs that nothing visible reads have cells in which nothing happens. A quarter of the seconds
    of the budget goes into what can happen later, and a quarter into what can from power-up on.
    """
    table = _Table(found, budget or Budget())
    cells = []
    for device in found.program.inputs:
        for fault in FAULTS:
            cells += table.row(device, fault)
    stops = tuple(table.stop(d) for d in found.program.inputs if is_stop(d))
    return WireFaults(tuple(cells), stops, all(cell.complete for cell in cells))


def example_of(
    found: Situations,
    name: str,
    fault: Fault,
    output: str,
    step: Step,
    budget: Budget | None = None,
) -> Example | None:
    """A run, played, in which an output makes a step when the wire of input `name` fails; None if
    none was found."""
    table = _Table(found, budget or Budget())
    device = next(each for each in found.program.inputs if each.name == name)
    place = table.places.get(name)
    n = next(n for n, each in table.outputs if each == output)
    if place is None:
        # nothing visible reads it, so the rest is that of any circuit that stays as it is
        rest = found.machine.settle(found.ones, found.state, found.given)
    else:
        rest = table.after(place, fault == "shorted", name)
    return table.example(device, fault, n, table.masks(n, rest)[step], rest)


class _Table:
    def __init__(self, found: Situations, budget: Budget) -> None:
        self.found = found
        self.budget = budget
        self.outputs = found.devices("output")
        self.places = {
            found.core.signals[index].name: place
            for place, index in enumerate(found.machine.inputs)
        }
        seconds = budget.seconds
        self.later_budget = budget if seconds is None else budget.part(seconds / 4)
        self._moves: dict[tuple[int, ...], Moves] = {}

    def moves(self, name: str) -> Moves:
        """What can happen later, where nothing is assumed of this input's contact."""
        assumed = tuple(self.found.machine.faulty(name).assumed)
        if assumed not in self._moves:
            self._moves[assumed] = Moves(self.found, self.later_budget, name)
        return self._moves[assumed]

    def after(self, place: int, closed: bool, name: str) -> Rest:
        """What all situations come to when this circuit is open or closed."""
        found = self.found
        given = dict(found.given)
        given[found.machine.inputs[place]] = found.ones if closed else 0
        return found.machine.faulty(name).settle(found.ones, found.state, given)

    # --- a row: one fault, all outputs

    def row(self, device: Input, fault: Fault) -> list[Cell]:
        """The cells of one fault."""
        place = self.places.get(device.name)
        if place is None:
            return [self._idle(device, fault, n, name) for n, name in self.outputs]
        closed = fault == "shorted"
        rest = self.after(place, closed, device.name)
        start = self._from_start(device.name, place, closed)
        return [
            self._cell(device, fault, place, n, name, rest, start[name]) for n, name in self.outputs
        ]

    def _idle(self, device: Input, fault: Fault, n: int, output: str) -> Cell:
        on, off = self.found.outputs[n], self.found.ones & ~self.found.outputs[n]
        masks: dict[Step, int] = {
            "on to off": 0, "on to on": on, "off to on": 0, "off to off": off
        }  # fmt: skip
        steps = tuple((step, self._known(masks[step], device)) for step in STEPS)
        moves = self.moves(device.name)
        seen = all(known != "not seen" for _, known in steps)
        complete = self.found.complete and moves.complete and seen
        ever = output in self.found.ever_on
        start: bool | None = True if ever else False if self.found.complete else None
        return Cell(
            device.name, fault, output, "none", steps, n in moves.ever_on, n in moves.ever_off,
            start, False, complete, None,
        )  # fmt: skip

    def _from_start(self, name: str, place: int, closed: bool) -> dict[str, bool | None]:
        """For each output whether it can be on if the wire was faulty from power-up on: from runs
        in which the switch never moved, and for the rest by a search of its own."""
        found = self.found
        known: dict[str, bool | None] = {}
        for number, record in found.records.items():
            if all(step.cut or step.signals[name] == closed for step in record.steps):
                for n, output in self.outputs:
                    if found.outputs[n] >> number & 1:
                        known[output] = True
        # a wire that lies may do what is assumed never to happen, and that was not looked at
        if found.complete and found.machine.faulty(name) is found.machine:
            known.update((o, False) for _, o in self.outputs if o not in found.ever_on)
        wanted = [output for _, output in self.outputs if output not in known]
        if wanted:
            budget, seconds = self.budget, self.budget.seconds
            if seconds is not None:
                budget = budget.part(seconds / 4 / (len(FAULTS) * len(self.places)))
            known.update(can_be_on(found, name, closed, wanted, budget))
        return known

    def _cell(
        self,
        device: Input,
        fault: Fault,
        place: int,
        n: int,
        output: str,
        rest: Rest,
        start: bool | None,
    ) -> Cell:
        found, closed = self.found, fault == "shorted"
        masks = self.masks(n, rest)
        steps = tuple((step, self._known(masks[step], device)) for step in STEPS)
        moves, key = self.moves(device.name), (place, closed, n)
        chatters = bool(rest.restless & rest.changing[n])
        danger = self._danger(masks, moves, key, start)
        example = None
        if danger in SHOWN:
            example = self.example(device, fault, n, masks[SHOWN[danger]], rest)
        seen = all(known != "not seen" for _, known in steps)
        decided = start is not None or danger not in ("none", "cannot come on")
        complete = found.complete and moves.complete and seen and decided
        complete = complete and (example is not None or danger not in SHOWN)
        return Cell(
            device.name, fault, output, danger, steps, key in moves.on, key in moves.off, start,
            chatters, complete, example,
        )  # fmt: skip

    def masks(self, n: int, rest: Rest) -> dict[Step, int]:
        """The situations in which output n makes each step."""
        before, after = self.found.outputs[n], rest.outputs[n]
        return {
            "on to off": rest.settled & before & ~after,
            "on to on": rest.settled & before & after,
            "off to on": rest.settled & ~before & after,
            "off to off": rest.settled & ~before & ~after,
        }

    def _danger(
        self,
        masks: dict[Step, int],
        moves: Moves,
        key: tuple[int, bool, int],
        start: bool | None,
    ) -> Danger:
        n = key[2]
        if masks["off to on"]:
            return "comes on"
        if masks["on to on"] and key not in moves.off and n in moves.ever_off:
            return "cannot go off"
        if masks["on to off"]:
            return "may go off" if masks["on to on"] else "goes off"
        if self.found.outputs[n] and (
            start is False or (key not in moves.on and n in moves.ever_on)
        ):
            return "cannot come on"
        return "none"

    # --- what has been seen

    def _needed(self, device: Input) -> int:
        """For how long (ms) a situation has to last for all that a fault does at once."""
        return SCANS * self.found.core.period + device.debounce

    def _known(self, mask: int, device: Input) -> Known:
        """Whether one of these situations is known to be reached in real time."""
        if not mask:
            return "never"
        need = self._needed(device)
        for lane in self.found.some(mask, 64):
            if not self.found.real >> lane & 1:
                break
            if self.found.calm(lane) >= need:
                return "seen"
        for lane in self.found.some(mask, TRIES):
            if self._used_up():
                break
            if self.found.run(lane) is not None and self.found.calm(lane) >= need:
                return "seen"
        return "not seen"

    def _used_up(self) -> bool:
        try:
            self.budget.check()
        except OutOfBudget:
            return True
        return False

    def example(self, device: Input, fault: Fault, n: int, mask: int, rest: Rest) -> Example | None:
        """One of these situations with the fault played on the reference interpreter."""
        for lane in self.found.some(mask, TRIES):
            if self._used_up():
                return None
            witness = self.played(device, fault, lane, rest)
            if witness is not None:
                return Example(self.found.standing(lane), witness)
        return None

    def played(self, device: Input, fault: Fault, lane: int, rest: Rest) -> Witness | None:
        """A run into a situation and a fault, with all outputs as they were worked out."""
        found = self.found
        run = found.run(lane)
        if run is None or run.quiet - run.witness.end < self._needed(device):
            return None
        panel = run.again()
        at, end = run.witness.end + found.core.period, run.witness.end + self._needed(device)
        panel.fault(device.name, fault)
        panel.run(end)
        if not found.shows_outputs(panel, rest.outputs, lane):
            return None
        act = Act(at, wires=((device.name, fault),))
        return Witness((*run.witness.acts, act), end, run.witness.start)

    # --- stops

    def stop(self, device: Input) -> StopCheck:
        """What a stop-like input stops when it is operated, and whether a broken wire does too."""
        found = self.found
        place = self.places.get(device.name)
        if place is None:
            return StopCheck(device.name, device.side, (), ())
        operated = self.after(place, device.side == "NO", device.name)
        broken = self.after(place, False, device.name)
        given = found.given[found.machine.inputs[place]]
        released = given if device.side == "NC" else ~given
        stops, missed = [], []
        for n, name in self.outputs:
            stopped = found.outputs[n] & released & operated.settled & ~operated.outputs[n]
            if stopped:
                stops.append(name)
                if stopped & (broken.outputs[n] | ~broken.settled):
                    missed.append(name)
        return StopCheck(device.name, device.side, tuple(stops), tuple(missed))
