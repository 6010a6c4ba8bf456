"""Verdicts on the properties of a file: what was decided, how, and whether it was put to the test.

A property that nothing can break because nothing ever comes near it is proved like any other, and
worth nothing; so each proof is asked for a run in which it mattered.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from random import Random
from typing import Literal

from rungs.core.nodes import PERIOD
from rungs.program.nodes import Circuit, Contact, Program, Property, Series, leaves, opposite
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.reach import Answer, Found, Never, NotBefore, Prover, Undecided
from rungs.prove.store import Store
from rungs.prove.witness import Witness, shortened
from rungs.scan.fast import FastPanel
from rungs.scan.watch import circuits_of

# positions of the switches that are tried, and for how long, to see whether assumptions can last
POSITIONS = 64
A_DAY = 86_400_000  # ms
LASTING_SCANS = 3_000
PLAINER_SECONDS = 0.1  # for making one run shorter

Word = Literal["proved", "fails", "holds", "unknown"]


@dataclass(frozen=True, slots=True)
class Exercise:
    """Runs in which a property was put to the test, or the parts of it that never come true."""

    tried: bool
    witness: Witness | None = None
    idle: tuple[Circuit, ...] = ()


@dataclass(frozen=True, slots=True)
class Verdict:
    """What is known of one property. `scans` goes with `holds`, `witness` with `fails`; `answer` is
    what the engines said, and `covers` for which behaviour it was decided."""

    item: Property
    name: str
    verdict: Word
    answer: Answer
    exercise: Exercise
    covers: tuple[str, ...]
    seconds: float

    @property
    def exercised(self) -> bool:
        """Whether a run is known in which the property was put to the test."""
        return self.exercise.tried

    @property
    def witness(self) -> Witness | None:
        """The run that breaks it."""
        return self.answer.witness if isinstance(self.answer, Found) else None

    @property
    def scans(self) -> int | None:
        """How many scans it holds for at least, where that is all that is known."""
        return self.answer.scans if isinstance(self.answer, NotBefore) else None


def name_of(program: Program, item: Property) -> str:
    """The label of a property, or its own words."""
    if item.label:
        return item.label
    text = " ".join(program.source.text[item.span.start : item.span.end].split())
    return text or item.kind


def names_of(program: Program) -> tuple[str, ...]:
    """What the properties of a file are called, in file order."""
    return tuple(name_of(program, item) for item in stated(program))


def stated(program: Program) -> tuple[Property, ...]:
    """The properties of a file that can be broken; its assumptions are not among them."""
    return tuple(item for item in program.properties if item.kind != "assume")


def trials(item: Property) -> tuple[Circuit, ...]:
    """Circuits that must each be seen closed before a property has been put to the test: the
    condition of a requirement, or each part of what must never be closed together."""
    match item.kind:
        case "require":
            assert item.when is not None
            return (item.when,)
        case "never" | "assume":
            circuit = item.circuit
        case "always":
            circuit = opposite(item.circuit)
    return circuit.parts if isinstance(circuit, Series) else ()


def covered(program: Program, item: Property) -> tuple[str, ...]:
    """What a verdict covers, in plain words; printed with it."""
    said = ["any switch at any scan", "power cuts at any scan"]
    if any(getattr(device, "retained", False) for device in program.devices):
        said[-1] += ", with what is retained"
    kinds = {
        leaf.kind
        for circuit in circuits_of(item)
        for leaf in leaves(circuit)
        if isinstance(leaf, Contact)
    }
    if kinds & {"broken", "shorted"}:
        said.append("broken and shorted wires where it names them")
    if program.clocks:
        said.append("clocks in any order that the calendar allows, never set by hand")
    if any(each.kind == "assume" for each in program.properties):
        said.append("only plants that keep to the assumptions")
    return tuple(said)


class Judge:
    """Gives verdicts on the properties of one program, one after the other."""

    def __init__(self, program: Program, period: int = PERIOD, store: Store | None = None) -> None:
        self.program = program
        self.stated = stated(program)
        first = Contact("first_scan", "")
        self.plant = [Property("never", "", first), Property("never", "", opposite(first))]
        items = [*self.plant, *self.stated]
        self.place_of_trials: list[range] = []
        for item in self.stated:
            tried = [Property("never", "", circuit) for circuit in trials(item)]
            self.place_of_trials.append(range(len(items), len(items) + len(tried)))
            items += tried
        first_trial = len(self.plant) + len(self.stated)
        plain = (0, 1, *range(first_trial, len(items)))
        self.prover = Prover(program, items, period, store, plain)

    def prepare(self, budget: Budget) -> None:
        """Look at the states that many questions share once for all of them."""
        self.prover.prepare(budget)

    def assumptions(self, budget: Budget) -> str:
        """What is wrong with the assumptions taken together, or nothing."""
        if not self.prover.assumed:
            return ""
        words = ("a first scan", "a second scan")
        for number, what in enumerate(words):
            if isinstance(self.prover.answer(number, budget, every=True), Never):
                return f"the assumptions rule out {what}: no panel can keep to them"
        try:
            return self._lasting(budget)
        except OutOfBudget:
            return ""  # the verdicts say themselves that there was no time

    def _lasting(self, budget: Budget) -> str:
        """What is wrong where no panel seems to keep to the assumptions for long, however its
        switches stand; found by playing, since a search that leaves the timers free cannot see it.
        """
        program, core = self.program, self.prover.core
        names = [ask.name for ask in self.prover.more]
        rest = {device.name: device.side == "NC" for device in program.inputs}
        rng = Random(0)
        longest = 0
        for number in range(POSITIONS):
            budget.check()
            panel = FastPanel(program, period=core.period, core=core)
            if number:
                panel.give_circuits({name: rng.random() < 0.5 for name in rest})
            broken: int | None = None
            for scans, state in enumerate(panel.advance(A_DAY)):
                if any(state.contacts[name] for name in names):
                    broken = state.t
                    break
                if scans > LASTING_SCANS:
                    break
            if broken is None:
                return ""
            longest = max(longest, broken)
        return (
            "no position of the switches was found that keeps to the assumptions for longer than "
            f"{longest / 1_000:g} s"
        )

    @property
    def names(self) -> tuple[str, ...]:
        """What the properties are called, in file order."""
        return names_of(self.program)

    def verdict(self, number: int, budget: Budget, wrong: str = "") -> Verdict:
        """The verdict on one property; `wrong` is what the assumptions contradict."""
        began = time.monotonic()
        item = self.stated[number]
        answer: Answer = Undecided(wrong)
        exercise = Exercise(False)
        if not wrong:
            answer = self.prover.answer(len(self.plant) + number, budget)
            exercise = self._exercise(number, answer, budget)
        word: Word
        match answer:
            case Found():
                word = "fails"
            case Never():
                word = "proved"
            case NotBefore():
                word = "holds"
            case Undecided():
                word = "unknown"
        return Verdict(
            item,
            name_of(self.program, item),
            word,
            answer,
            exercise,
            covered(self.program, item),
            time.monotonic() - began,
        )

    def _plainer(self, place: int, witness: Witness, budget: Budget) -> Witness:
        """A run that people may read, without what it does not need."""
        part = budget.part(PLAINER_SECONDS)
        item = self.prover.items[place]
        shorter = shortened(self.program, item, witness, self.prover.period, part)
        return witness if shorter is None else shorter

    def _exercise(self, number: int, answer: Answer, budget: Budget) -> Exercise:
        """Whether each part of what must not come together can come at all."""
        if isinstance(answer, Found):
            return Exercise(True, answer.witness)
        witness: Witness | None = None
        idle: list[Circuit] = []
        tried = True
        for place in self.place_of_trials[number]:
            found = self.prover.answer(place, budget)
            if isinstance(found, Found):
                witness = witness or self._plainer(place, found.witness, budget)
            else:
                tried = False
                if isinstance(found, Never):
                    idle.append(self.prover.items[place].circuit)
        if not self.place_of_trials[number]:
            # it speaks of every scan, so any run will do
            witness = Witness((), 0)
        return Exercise(tried, witness, tuple(idle))
