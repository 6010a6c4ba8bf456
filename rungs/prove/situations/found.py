"""Every situation a panel can stand in: found once, in lanes, for all questions that begin at rest.

A whole number holds one bit of many states, so that thousands of them are scanned together. What is
told as having happened needs a run with real times, and that is made and played here as well.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import islice

from rungs.core.nodes import PERIOD, Core
from rungs.program.nodes import Program
from rungs.prove.budget import Budget
from rungs.prove.clocks.dated import Dates, clock_names
from rungs.prove.situations.lanes import Columns, columns_of, lanes_of
from rungs.prove.situations.machine import LONGEST, Machine, Scanned, core_of
from rungs.prove.situations.pushes import Clocks, Push, clocks_of
from rungs.prove.situations.runs import Record, SituationRun, real_runs
from rungs.prove.situations.search import MOST_STATES, Origin, Restless, Search
from rungs.prove.timing import Step
from rungs.prove.witness import Timed, Witness, played, timed_steps, witness_of
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.reference import State
from rungs.scan.runner import Panel, WireFault
from rungs.scan.watch import Watcher

SECONDS = 0.35  # of a search without a budget
MOST_PLACES = 6  # of the calendar that are tried for one run
MOST_SCANS = 2_000  # of the reference interpreter in one run
# scans for which a situation should last before something is done in it, the most wanted first
QUIET = (24, 8, 2)


@dataclass(frozen=True, slots=True)
class Standing:
    """A situation in words: the actuators that are operated, the closed clocks, and the outputs,
    relays and running timers that are on."""

    operated: tuple[str, ...]
    released: tuple[str, ...]
    clocks: tuple[str, ...]
    on: tuple[str, ...]
    timing: tuple[str, ...]


@dataclass(frozen=True, slots=True, eq=False)
class Situations:
    """All situations of a panel, or as many as were found: situation i is the state `words[i]`
    under the inputs `inputs[i]` and the clocks' vector `vectors[i]`, and `ones` has bit i for it.

    `reason` tells why there may be others. `state`, `given` and `outputs` are the situations as
    lanes: the bits of the states, the inputs and clocks by signal, and the outputs. `origins` has
    how each state was first reached, `ever_on` the outputs and relays that were on after some scan.
    `records` are runs in real time by situation, and `real` has the bits of these situations.
    """

    machine: Machine
    dates: Dates | None
    clocks: Clocks
    reason: str
    words: tuple[int, ...]
    inputs: tuple[int, ...]
    vectors: tuple[int, ...]
    origins: dict[int, Origin | None]
    restless: tuple[Restless, ...]
    ever_on: frozenset[str]
    ones: int
    state: Columns
    given: dict[int, int]
    outputs: tuple[int, ...]
    calendar: Calendar
    records: dict[int, Record]
    real: int
    runs: dict[int, SituationRun | None] = field(default_factory=dict, repr=False)

    @property
    def complete(self) -> bool:
        """Whether there is no other situation."""
        return not self.reason

    @property
    def program(self) -> Program:
        """The program that all of it is about."""
        return self.machine.program

    @property
    def count(self) -> int:
        """The number of situations."""
        return len(self.words)

    @property
    def core(self) -> Core:
        """Its core: what the outputs and relays depend on."""
        return self.machine.core

    def devices(self, *kinds: str) -> list[tuple[int, str]]:
        """The place among the core's outputs and the name of each device of these kinds."""
        return [(n, o.name) for n, o in enumerate(self.core.outputs) if o.kind in kinds]

    def push(self, number: int) -> Push:
        """The inputs and clocks of a situation."""
        return Push(self.inputs[number], self.vectors[number])

    def standing(self, number: int) -> Standing:
        """A situation in words."""
        return self.words_for(self.words[number], self.push(number))

    def words_for(self, word: int, push: Push) -> Standing:
        """What can be seen at the panel in a state, after a scan with these inputs and clocks."""
        core, machine = self.core, self.machine
        closed = {
            core.signals[index].name: bool(push.inputs >> place & 1)
            for place, index in enumerate(machine.inputs)
        }
        sides = {device.name: device.side == "NC" for device in self.program.inputs}
        operated = [name for name, on in closed.items() if on != sides[name]]
        vector = self.clocks.shows[push.vector]
        running = machine.running(word)
        full = {t for t, at in machine.full_at.items() if word >> at & 1}
        outputs = self.one(word, push).outputs
        return Standing(
            tuple(operated),
            tuple(name for name in closed if name not in operated),
            tuple(core.signals[i].name for i, on in zip(machine.clocks, vector, strict=True) if on),
            tuple(core.outputs[n].name for n in machine.seen if outputs[n]),
            tuple(
                timer.name
                for t, timer in enumerate(core.timers)
                if running >> t & 1 and t not in full
            ),
        )

    # --- runs

    def _given(self, push: Push, held: bool) -> dict[int, int]:
        machine, clocks = self.machine, self.clocks
        shown = clocks.shows[clocks.quiet[push.vector] if held else push.vector]
        given = {i: push.inputs >> n & 1 for n, i in enumerate(machine.inputs)}
        given.update((i, int(on)) for i, on in zip(machine.clocks, shown, strict=True))
        return given

    def one(self, word: int, push: Push, held: bool = False) -> Scanned:
        """One scan of one state. Where the push is only `held`, its events are over."""
        machine = self.machine
        state = [word >> i & 1 for i in range(machine.width)]
        ends = {t: push.ends >> t & 1 for t in machine.counts} if not held else {}
        first = int(bool(word & machine.first_word))
        return machine.step(1, state, self._given(push, held), ends, first)

    def taken(self, word: int, push: Push, held: bool = False) -> tuple[Step, int]:
        """The same scan as a step of a run, and the state after it."""
        machine, core = self.machine, self.core
        scanned = self.one(word, push, held)
        given = self._given(push, held)
        signals = {core.signals[i].name: bool(on) for i, on in given.items()}
        for timer, due in zip(core.timers, scanned.dues, strict=True):
            signals[core.signals[timer.due].name] = bool(due)
        after = sum(bit << i for i, bit in enumerate(scanned.after))
        return Step(signals, machine.key(word), False), after

    def pushed(self, word: int, push: Push) -> tuple[list[Step], int]:
        """A push, and scans to rest: the steps, and the state after them."""
        step, word = self.taken(word, push)
        steps = [step]
        for _ in range(LONGEST):
            step, after = self.taken(word, push, held=True)
            if after == word:
                break
            steps.append(step)
            word = after
        return steps, word

    def cut(self, word: int) -> tuple[Step, int]:
        """A power cut as a step, and the state in which power comes back."""
        machine = self.machine
        return Step({}, machine.key(word), True), word & machine.retained | machine.first_word

    def steps_to(self, word: int) -> list[Step]:
        """The steps that were found first to lead to a state from power-up."""
        chain = []
        while (origin := self.origins[word]) is not None:
            chain.append((origin, word))
            word = origin.before
        steps: list[Step] = []
        for origin, target in reversed(chain):
            if origin.push is None:
                step, after = self.cut(origin.before)
                steps.append(step)
            elif origin.rest:
                made, after = self.pushed(origin.before, origin.push)
                steps += made
            else:
                step, after = self.taken(origin.before, origin.push)
                steps.append(step)
            assert after == target
        return steps

    def steps_into(self, number: int) -> list[Step]:
        """The steps that lead into a situation; the last one is a scan that changes nothing."""
        word = self.words[number]
        step, after = self.taken(word, self.push(number))
        assert after == word
        return [*self.steps_to(word), step]

    def way(self, number: int) -> Sequence[Step] | None:
        """Steps into a situation, those of a run in real time if there is one."""
        record = self.records.get(number)
        if record is not None:
            return record.steps
        return self.steps_into(number) if self.words[number] in self.origins else None

    def some(self, mask: int, most: int) -> Iterator[int]:
        """Some situations of a mask, those first to which a run in real time is known."""
        sure = mask & self.real
        yield from islice(lanes_of(sure), most)
        most -= sure.bit_count()
        if most > 0:
            # apart from each other: neighbours are reached in the same way
            left = list(lanes_of(mask & ~sure))
            yield from left[:: max(len(left) // most, 1)][:most]

    def timed(self, steps: Sequence[Step]) -> Timed | None:
        """What to do at the panel for these steps, with the time of each; None if no times were
        found."""
        return timed_steps(
            self.program, self.core, steps, self.dates, self.machine.once, MOST_PLACES
        )

    def play(self, witness: Witness) -> Panel | None:
        """The panel of the reference interpreter after a run; None if the run contradicts what the
        program assumes, or takes more than MOST_SCANS scans because something never rests."""
        panel = Panel(self.program, witness.start, self.core.period, calendar=self.calendar)
        assumed = tuple(each for each in self.program.properties if each.kind == "assume")
        watcher = Watcher(replace(self.program, properties=assumed), self.core.period)
        made = 0

        def see(before: State, after: State, wires: Mapping[str, WireFault]) -> None:
            nonlocal made
            made += 1
            watcher.see(before, after, wires)
            if made > MOST_SCANS or watcher.contradicted is not None:
                raise _BrokenOff

        panel.watchers.append(see)
        try:
            for _ in played(witness, panel):
                pass
        except _BrokenOff:
            return None
        panel.watchers.remove(see)
        return panel

    def shows_outputs(self, panel: Panel, outputs: Sequence[int], lane: int = 0) -> bool:
        """Whether the outputs and relays of a panel are those of a lane."""
        contacts = panel.state.contacts
        return all(
            contacts[self.core.outputs[n].name] == bool(outputs[n] >> lane & 1)
            for n in self.machine.seen
        )

    def calm(self, number: int) -> int:
        """For how long (ms) a situation lasts of itself in some run in real time; -1 if none was
        found that comes to it. Such a run is looked for where none is known."""
        if number not in self.records and number not in self.runs:
            self.run(number)
        record, run = self.records.get(number), self.runs.get(number)
        if run is not None:
            return run.quiet - run.witness.end
        return -1 if record is None else record.calm

    def run(self, number: int) -> SituationRun | None:
        """A run into a situation that the reference interpreter has played, or None if none was
        found."""
        if number not in self.runs:
            self.runs[number] = self._run(number)
        return self.runs[number]

    def _run(self, number: int) -> SituationRun | None:
        record = self.records.get(number)
        if record is not None:
            witness = witness_of(self.program, self.core, record.steps, record.times, record.start)
            panel = self.play(witness)
            if panel is not None and self.shows_outputs(panel, self.outputs, number):
                return SituationRun(witness, record.quiet, panel)
        if self.words[number] not in self.origins:
            return None
        steps = self.steps_into(number)
        quiet, _ = self.taken(self.words[number], self.push(number))
        for scans in QUIET:
            timed = self.timed([*steps, *[quiet] * scans])
            if timed is None:
                continue
            witness, times = timed
            witness = replace(witness, end=times[len(steps) - 1])
            panel = self.play(witness)
            if panel is None or not self.shows_outputs(panel, self.outputs, number):
                return None
            return SituationRun(witness, times[-1], panel)
        return None


class _BrokenOff(Exception):  # noqa: N818 - a run that nobody wants to see the end of
    """A run is not worth playing on."""


def situations(
    program: Program,
    budget: Budget | None = None,
    period: int = PERIOD,
    dates: Dates | None = None,
    free_clocks: bool = False,
    most: int = MOST_STATES,
) -> Situations:
    """The situations of a program, scanned every `period` ms.

    A situation is a state that can be reached from power-up, with the inputs and clocks it stands
    under, in which further scans with the same inputs change nothing until a timer's time is over.
    Debounced inputs are taken as their images. What the program assumes of the plant holds in all
    of them. Without a budget the search takes at most SECONDS s. `dates` is the calendar, if the
    caller has asked it before; with `free_clocks` clocks show anything at any time, and no run with
    them can be played. `most` is the most states that are looked at before the rest is sampled.
    Raises LowerError as `lower` does.
    """
    core, asked = core_of(program, period)
    if free_clocks or not clock_names(core):
        dates = None
    else:
        dates = dates or Dates(program, period)
    machine = Machine(program, core, asked, dates is not None)
    search = Search(machine, clocks_of(machine, dates), budget or Budget(SECONDS), most)
    search.run()
    return collected(search, dates)


def collected(search: Search, dates: Dates | None, real: bool = True) -> Situations:
    """What a search has found as data, with runs in real time if these are wanted."""
    machine = search.machine
    calendar = build_calendar(machine.program)
    records = real_runs(search, dates, calendar) if real else {}
    words = tuple(word for word, _, _ in search.situations)
    inputs = tuple(each for _, each, _ in search.situations)
    vectors = tuple(each for _, _, each in search.situations)
    ones = (1 << len(words)) - 1
    state = columns_of(words, machine.width)
    closed = [*columns_of(inputs, len(machine.inputs)), *search.clocks.columns(vectors)[:-1]]
    given = dict(zip((*machine.inputs, *machine.clocks), closed, strict=True))
    ever = zip(machine.core.outputs, search.ever_on, strict=True)
    return Situations(
        machine=machine,
        dates=dates,
        clocks=search.clocks,
        reason=search.reason,
        words=words,
        inputs=inputs,
        vectors=vectors,
        origins=search.origins,
        restless=tuple(each for some in search.restless.values() for each in some),
        ever_on=frozenset(output.name for output, on in ever if on),
        ones=ones,
        state=state,
        given=given,
        outputs=machine.step(ones, state, given, {}, 0).outputs,
        calendar=calendar,
        records=records,
        real=sum(1 << number for number in records),
    )
