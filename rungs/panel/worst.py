"""The heaviest that the loads of one supply can ever be at once, by what the program can reach.

A plain sum of all loads is too much wherever outputs exclude each other, and a supply sized by what
somebody happened to see is too little. So the sum is bounded from both sides: from above by what
the prover rules out, from below by runs that the reference interpreter has played. Where the two
meet the answer is exact, and where the time ends first it says how far they are apart.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import combinations
from random import Random
from re import sub
from typing import Final

from rungs.core.lower import LowerError
from rungs.core.nodes import Core
from rungs.core.patterns import TooLargeError, split, variable_masks
from rungs.core.reduce import cone
from rungs.language.words import WEEKDAYS, clock_text, duration_text
from rungs.panel.loads import load_contact, loads_on, total
from rungs.program.nodes import Circuit, Output, Program, Property, Series
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.clocks.dated import clock_names
from rungs.prove.cnf import SolverFailed
from rungs.prove.question import Question, all_pairs, question
from rungs.prove.reach import MOST_PAIRED, Found, Never, Prover
from rungs.prove.witness import Act, Witness, actuators, played
from rungs.scan.calendar import Calendar, build_calendar
from rungs.scan.fast import FastPanel
from rungs.scan.generate import scan_wide
from rungs.scan.runner import Panel
from rungs.scan.wall import default_start
from rungs.scan.watch import Watcher
from rungs.scan.zone import DAY

SECONDS: Final = 6.0  # for one supply, unless told otherwise
ANSWER_SECONDS: Final = 2.0  # for one question to the prover
SETS_SECONDS: Final = 2.0
PLAY_SECONDS: Final = 1.0
PLAYED_SCANS: Final = 6_000
ACTS: Final = 30  # of one run by chance
MOST_SIGNALS: Final = 14  # whose patterns are looked at together
MOST_STATES: Final = 4_000
MOST_PATTERNS: Final = 1 << 21  # states times patterns
MOST_PAIRS: Final = 500  # that the prover is asked about
MOST_TRIED: Final = 100_000  # sets of loads in one look for the heaviest


@dataclass(frozen=True, slots=True)
class Worst:
    """The heaviest set of loads. All sums are nanoamps.

    At most `bound` can come: that is proved, or the plain sum of all. `seen` did come, in the last
    scan of `run`, with the loads of `on` on; the two are equal where the answer is `exact`.
    `steps` are the run in words, and `reason` says why it is not exact.
    """

    bound: int
    seen: int
    on: tuple[str, ...]
    run: Witness
    steps: tuple[str, ...]
    reason: str = ""

    @property
    def exact(self) -> bool:
        """Whether what is proved and what was seen meet."""
        return self.bound == self.seen


def worst_load(program: Program, amps: Mapping[str, int], seconds: float = SECONDS) -> Worst:
    """The heaviest that the loads of these outputs (nanoamps by name) can be after any scan.

    Under the assumptions of the file, for any moves of switches, clocks and power, power-up and the
    contact sides of the outputs included. `seconds` is about how long it may look.
    """
    search = _Search(program, dict(amps), Budget(seconds))
    try:
        bound, reason = search.bounded()
    except LowerError as error:
        bound, reason = total(search.amps, search.amps), str(error)
    except SolverFailed as error:
        bound, reason = search.proved, str(error)
    run, on = search.best
    seen = total(search.amps, on)
    names = tuple(o.name for o in program.outputs if o.name in on)
    reason = reason if bound > seen else ""
    return Worst(bound, seen, names, run, _run_words(program, run), reason)


@dataclass(slots=True)
class _Search:
    """One look for the heaviest set: what was seen, and what is proved not to be."""

    program: Program
    amps: dict[str, int]
    budget: Budget
    best: tuple[Witness, frozenset[str]] = (Witness((), 0), frozenset())
    proved: int = 0
    together: set[frozenset[str]] = field(default_factory=set)  # pairs seen on at once
    never: list[frozenset[str]] = field(default_factory=list)  # sets proved never on at once

    def bounded(self) -> tuple[int, str]:
        """The most that is possible, and why no better is known. Raises LowerError."""
        self.proved = total(self.amps, self.amps)
        self._take(Witness((), 0))
        if total(self.amps, self.best[1]) == self.proved:
            return self.proved, ""
        items = [Property("never", name, load_contact(self._output(name))) for name in self.amps]
        whole = Prover(self.program, items)
        try:
            sets = self._all_sets(whole)
            if sets is not None:
                return self._from_sets(sets)
            self._play(whole)
            return self._narrowed()
        except OutOfBudget as stop:
            on = heaviest(self.amps, self.never)
            most = at_most(self.amps, self.never) if on is None else total(self.amps, on)
            return min(self.proved, most), str(stop)

    def _output(self, name: str) -> Output:
        device = self.program.by_name[name]
        assert isinstance(device, Output)
        return device

    # --- what is seen

    def _take(self, run: Witness) -> frozenset[str]:
        """The loads that are on at the end of a run, as the reference interpreter plays it; kept
        where they are the heaviest so far. A run that contradicts an assumption shows nothing."""
        assumed = tuple(each for each in self.program.properties if each.kind == "assume")
        watcher = Watcher(replace(self.program, properties=assumed))
        panel = Panel(self.program, run.start)
        panel.watchers.append(watcher.see)
        for _ in played(run, panel):
            pass
        if watcher.contradicted is not None:
            return frozenset()
        on = loads_on(self.program, panel.state.contacts) & self.amps.keys()
        empty = not self.best[0].acts and not self.best[1]
        if empty or total(self.amps, on) > total(self.amps, self.best[1]):
            self.best = (run, on)
        return on

    def _play(self, whole: Prover) -> None:
        """Somebody plays with the switches; the heaviest run is kept."""
        budget = self.budget.part(PLAY_SECONDS)
        names = {
            ask.name: item.label
            for ask, item in zip(whole.asks, whole.items, strict=True)
            if isinstance(item, Property)
        }
        assumed = [ask.name for ask in whole.more]
        calendar = build_calendar(self.program)
        rng = Random(0)
        scans, heaviest = 0, total(self.amps, self.best[1])
        try:
            while scans < PLAYED_SCANS:
                for run, contacts in _by_hand(self.program, whole.core, calendar, rng):
                    budget.check()
                    scans += 1
                    if any(contacts.get(name, False) for name in assumed):
                        break
                    on = sorted(names[n] for n, closed in contacts.items() if closed and n in names)
                    self.together.update(frozenset(pair) for pair in combinations(on, 2))
                    if total(self.amps, on) > heaviest:
                        heaviest = total(self.amps, on)
                        self._take(run())
                    if scans >= PLAYED_SCANS:
                        break
        except OutOfBudget:
            self.budget.check()

    # --- what is possible

    def _all_sets(self, whole: Prover) -> list[frozenset[str]] | None:
        """The sets of loads that can be on together with timers left free, heaviest first; None
        where there are too many states or patterns to look at all of them."""
        names = [ask.name for ask in whole.asks]
        assumed = [ask.name for ask in whole.more]
        core = cone(whole.core, [*names, *assumed])
        clocks = clock_names(core)
        order = whole.dates.order(clocks) if clocks else None
        pairs = all_pairs(core) if len(core.timers) <= MOST_PAIRED else ()
        asked = question(core, names, assumed, order, pairs)
        try:
            words = _vectors(asked, len(names), self.budget.part(SETS_SECONDS))
        except OutOfBudget:
            self.budget.check()
            return None
        if words is None:
            return None
        sets = [
            frozenset(name for place, name in enumerate(self.amps) if word >> place & 1)
            for word in words
        ]
        return sorted(sets, key=lambda on: (-total(self.amps, on), sorted(on)))

    def _from_sets(self, sets: Sequence[frozenset[str]]) -> tuple[int, str]:
        """The first of the sets that a run reaches; where that is not known of one, it bounds what
        can come, and the next ones still say what can be seen."""
        doubt = ""
        try:
            for on in sets:
                if not doubt:
                    self.proved = max(total(self.amps, on), self._seen())
                if total(self.amps, on) <= self._seen():
                    break
                reason = self._decided(on)
                if reason == "":
                    break
                doubt = doubt or reason or ""
            else:
                # nothing that can come is left: no run keeps to the assumptions of the file
                self.proved = self.proved if doubt else self._seen()
        except OutOfBudget as stop:
            doubt = doubt or str(stop)
        return self.proved, doubt

    def _seen(self) -> int:
        return total(self.amps, self.best[1])

    def _narrowed(self) -> tuple[int, str]:
        """The heaviest set that nothing rules out, until one is reached or the time is up."""
        self._ask_pairs()
        while True:
            on = heaviest(self.amps, self.never)
            if on is None:
                most = min(self.proved, at_most(self.amps, self.never))
                return most, "there are too many sets of loads to look at"
            self.proved = max(total(self.amps, on), self._seen())
            if self.proved == self._seen():
                return self.proved, ""
            reason = self._decided(on)
            if reason is not None:
                return self.proved, reason
            self._smaller(on)

    def _ask_pairs(self) -> None:
        """Ask the prover about the pairs of loads that were never seen on together, the heavier
        ones first."""
        pairs = [frozenset(pair) for pair in combinations(self.amps, 2)]
        pairs = [pair for pair in pairs if pair not in self.together]
        pairs.sort(key=lambda pair: (-total(self.amps, pair), sorted(pair)))
        items = [self._never_on(pair) for pair in pairs[:MOST_PAIRS]]
        if not items:
            return
        prover = Prover(self.program, items, plain=range(len(items)))
        for index, pair in enumerate(pairs[:MOST_PAIRS]):
            if pair not in self.together:
                self.budget.check()
                self._decided(pair, prover, index)

    def _smaller(self, on: frozenset[str]) -> None:
        """Look for smaller sets that never come together either."""
        for name in sorted(on, key=lambda n: self.amps[n]):
            if len(on) > 2 and self._decided(on - {name}) is None:
                on = on - {name}

    def _never_on(self, on: frozenset[str]) -> Property:
        """That some loads are never on together."""
        parts: tuple[Circuit, ...] = tuple(load_contact(self._output(n)) for n in sorted(on))
        return Property("never", "", parts[0] if len(parts) == 1 else Series(parts))

    def _decided(
        self, on: frozenset[str], prover: Prover | None = None, index: int = 0
    ) -> str | None:
        """Whether loads can be on together: None if it is proved that they never are, and else why
        no more is known; that is no reason where a run shows them. The question may be an item of
        a prover. Raises OutOfBudget."""
        self.budget.check()
        prover = prover or Prover(self.program, [self._never_on(on)])
        answer = prover.answer(index, self.budget.part(ANSWER_SECONDS))
        match answer:
            case Never():
                self.never.append(on)
                return None
            case Found():
                shown = sorted(self._take(answer.witness))
                self.together.update(frozenset(pair) for pair in combinations(shown, 2))
                return ""
            case _:
                return answer.reason


def heaviest(amps: Mapping[str, int], never: Sequence[frozenset[str]]) -> frozenset[str] | None:
    """The heaviest set of loads that holds none of the sets that never come together; None where
    there are too many to look at."""
    names = sorted(amps, key=lambda name: (-amps[name], name))
    rest = [sum(amps[name] for name in names[place:]) for place in range(len(names) + 1)]
    best: tuple[int, frozenset[str]] = (-1, frozenset())
    open_ends: list[tuple[int, int, frozenset[str]]] = [(0, 0, frozenset())]
    tried = 0
    while open_ends:
        place, weight, on = open_ends.pop()
        tried += 1
        if tried > MOST_TRIED:
            return None
        if weight + rest[place] <= best[0]:
            continue
        if place == len(names):
            best = (weight, on)
            continue
        name = names[place]
        open_ends.append((place + 1, weight, on))
        more = on | {name}
        if not any(name in other and other <= more for other in never):
            open_ends.append((place + 1, weight + amps[name], more))
    return best[1]


def at_most(amps: Mapping[str, int], never: Sequence[frozenset[str]]) -> int:
    """A sum that no set is above that holds none of the sets that never come together: of each of
    some that share no load, the lightest is left out."""
    left = sum(amps.values())
    taken: set[str] = set()
    for other in sorted(never, key=lambda on: (-min(amps[n] for n in on), sorted(on))):
        if taken.isdisjoint(other):
            taken |= other
            left -= min(amps[name] for name in other)
    return left


def _vectors(asked: Question, count: int, budget: Budget) -> set[int] | None:
    """What the first `count` outputs of a question show together after any step, as numbers with
    bit i for output i; None if there is too much to look at. Raises OutOfBudget."""
    circuit = asked.circuit
    scan = scan_wide(circuit)
    found: set[int] = set()
    seen, layer, work = {0}, [0], 0
    while layer:
        following: list[int] = []
        for state in layer:
            budget.check()
            space = [
                i
                for i in range(len(circuit.signals))
                if i not in asked.matters or state >> asked.matters[i] & 1
            ]
            work += 1 << len(space)
            if len(space) > MOST_SIGNALS or work > MOST_PATTERNS or len(seen) > MOST_STATES:
                return None
            ones = (1 << (1 << len(space))) - 1
            signals = [0] * len(circuit.signals)
            for index, mask in zip(space, variable_masks(len(space)), strict=True):
                signals[index] = mask
            bits = tuple(ones if state >> i & 1 else 0 for i in range(len(circuit.state)))
            after, outputs, _ = scan(ones, bits, tuple(signals))
            live = ones if asked.over is None else ones & ~after[asked.over]
            try:
                found.update(word for _, word in split(live, outputs[:count]) if live)
                targets = [word for _, word in split(live, after) if live]
            except TooLargeError:
                return None
            fresh = [target for target in targets if target not in seen]
            seen.update(fresh)
            following += fresh
        layer = following
    return found


def _by_hand(
    program: Program, core: Core, calendar: Calendar, rng: Random
) -> Iterator[tuple[_Run, dict[str, bool]]]:
    """One run of moves by chance: after each scan what makes the run so far, and the contacts."""
    start = None
    if any(signal.kind == "clock" for signal in core.signals):
        start = default_start(calendar) + rng.randrange(366 * DAY) // 10_000 * 10_000
    panel = FastPanel(program, start, core.period, calendar=calendar, core=core)
    inputs = [device.name for device in program.inputs]
    waits = [core.period, 50, 200, *(timer.preset + core.period for timer in core.timers)]
    acts: list[Act] = []
    for number in range(ACTS):
        t = (panel.state.t // core.period + 1) * core.period if panel.state.t >= 0 else 0
        if number and rng.random() < 0.05:
            back = t + core.period
            panel.switch_power(False)
            panel.pass_to(back)
            panel.switch_power(True)
            acts.append(Act(t, back=back))
        elif number and inputs:
            names = rng.sample(inputs, min(rng.choice((1, 1, 1, 2, 3)), len(inputs)))
            moved = {name: not panel.circuits[name] for name in names}
            panel.give_circuits(moved)
            acts.append(Act(t, circuits=tuple(moved.items())))
        until = panel.now + max(rng.choice(waits) // core.period, 1) * core.period
        for state in panel.advance(until):
            yield _Run(tuple(acts), state.t, start), state.contacts


@dataclass(frozen=True, slots=True)
class _Run:
    """What makes a witness when it is wanted, which is seldom."""

    acts: tuple[Act, ...]
    end: int
    start: int | None

    def __call__(self) -> Witness:
        return Witness(self.acts, self.end, self.start)


def _run_words(program: Program, run: Witness) -> tuple[str, ...]:
    """A run as what to do at the panel, a sentence an act."""
    when = ""
    if run.start is not None and program.clocks:
        day, ms = build_calendar(program).zone.local(run.start)
        when = f" on {WEEKDAYS[day.weekday()]} {day.isoformat()} at {clock_text(ms, True)}"
    before, lines = [], []
    for act, moved in actuators(program, run):
        if act.back is not None:
            lines.append(f"after {_time(act.t)} the power goes for {_time(act.back - act.t)}")
            continue
        if act.t == 0 and not act.wires:
            before += [name for name, on in moved.items() if on]
            continue
        deeds = [f"operate {n}" if on else f"release {n}" for n, on in moved.items()]
        deeds += [f"the wire of {name} is {wire}" for name, wire in act.wires]
        lines.append(f"after {_time(act.t)} " + ", ".join(deeds))
    held = f"with {', '.join(before)} operated" if before else "with every switch at rest"
    end = _time(run.end) if run.end else "the first scan"
    return (f"power comes{when} {held}", *lines, f"after {end} it stands so")


def _time(ms: int) -> str:
    """A time of a run, with spaces between its units."""
    return sub(r"(?<=[a-z])(?=[0-9])", " ", duration_text(ms))
