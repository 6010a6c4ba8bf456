"""Proof that a table of rows does what a core does, by running both together.

Every pair of states that the two can be in at once is looked at with every pattern of the signals.
Due flags are taken as free wherever their timer runs, so what is proved holds for any times; a
difference that is found is checked against the times before it is told.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass

from rungs.core.nodes import Core
from rungs.core.patterns import TooLargeError, split
from rungs.prove.states import Key, Stepper, signal_space, sure_dues
from rungs.prove.timing import Step, possible_times
from rungs.prove.zones import NOTHING, Zone, due_parts, later, rounded, running, waiting, with_dues
from rungs.table.cover import variable_masks
from rungs.table.machine import MAX_SIGNALS, MAX_WORK, runs_of
from rungs.table.model import Proof, TableFile

MOST_DOUBTS = 40
MOST_ZONES = 20_000


@dataclass(frozen=True, slots=True)
class Difference:
    """A run on which program and table part: its steps from power-up, the time of each in ms, and
    what differs after the last. `rows` are the table's rows concerned, from 1."""

    steps: tuple[Step, ...]
    times: tuple[int, ...]
    what: str
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Doubt:
    """The differences that were met need timers to run out in an order that was not shown to be
    possible, and not shown to be impossible either."""

    example: Difference
    count: int


@dataclass(frozen=True, slots=True)
class _Row:
    number: int
    pattern: str
    target: str
    outputs: str
    run: str
    before: str
    after: str


class RowMachine:
    """The rows of a table, to be looked up by state. A truth table has one state."""

    def __init__(self, table: TableFile, core: Core) -> None:
        self.table = table
        self.start = table.start if table.kind == "transition" else ""
        self.after_cut = {state.name: state.after_power_cut for state in table.states}
        self.after_cut.setdefault("", "")
        self.rows: dict[str, list[_Row]] = {}
        if table.kind == "transition":
            for number, row in enumerate(table.transitions, 1):
                self.rows.setdefault(row.state, []).append(
                    _Row(
                        number,
                        row.pattern,
                        row.next,
                        row.outputs,
                        row.run,
                        row.clear_before,
                        row.clear_after,
                    )
                )
        else:
            for number, line in enumerate(table.truth, 1):
                self.rows.setdefault("", []).append(
                    _Row(number, line.pattern, "", line.outputs, "", "", "")
                )
        self.columns = {signal.name: i for i, signal in enumerate(table.signals)}
        self.output_of = {output.name: i for i, output in enumerate(table.outputs)}
        self.timer_of = {timer.name: i for i, timer in enumerate(table.timers)}
        self.core_signals = [signal.name for signal in core.signals]
        # signals that only the table reads may do what they like
        known = set(self.core_signals)
        self.extra = [s.name for s in table.signals if s.name not in known and s.kind != "due"]

    def mask(self, row: _Row, at: dict[str, int]) -> int:
        """The patterns that the row matches, by the mask of each signal; 0 for what has none."""
        found = -1
        for name, column in self.columns.items():
            wanted = row.pattern[column]
            if wanted == "-":
                continue
            value = at.get(name, 0)
            found &= value if wanted == "1" else ~value
        return found

    def next_states(self, state: str) -> list[_Row]:
        """The rows of a state."""
        return self.rows.get(state, [])


_Pair = tuple[Key, str]
_RowsOf = Callable[[int], tuple[int, ...]]
_Shown = Callable[[_Row], bool]
_Parent = tuple[_Pair, Step] | None


def prove_rows(core: Core, table: TableFile) -> Proof | Difference | Doubt:
    """Whether the rows of a truth or transition table do what the core does, for all outputs and
    timers of the core.

    Raises TooLargeError where there are too many states or signals to look at.
    """
    machine = RowMachine(table, core)
    stepper = Stepper(core)
    start: _Pair = (Key(0, 0, True), machine.start)
    parents: dict[_Pair, _Parent] = {start: None}
    order = [start]
    done = work = 0
    doubts: list[Difference] = []
    while done < len(order):
        pair = order[done]
        done += 1
        look = _Look(core, machine, stepper, pair)
        work += 1 << len(look.names)
        if work > MAX_WORK:
            raise TooLargeError(f"more than {done:,} pairs of states to look at")
        for what, mask, rows in look.differences():
            for pattern in _some(mask):
                steps = (*_path(parents, pair), look.step(pattern))
                found = Difference(steps, (), what, rows(pattern))
                times = possible_times(core, steps)
                if times is not None:
                    return Difference(steps, times, what, found.rows)
                doubts.append(found)
            if len(doubts) >= MOST_DOUBTS:
                doubt = Doubt(doubts[0], len(doubts))
                return _with_times(core, machine, stepper, start, doubt)
        for target, step in look.successors():
            if target not in parents:
                parents[target] = (pair, step)
                order.append(target)
    if doubts:
        return _with_times(core, machine, stepper, start, Doubt(doubts[0], len(doubts)))
    return Proof(
        states=len(table.states) or 1, rows=table.row_count, situations=done, patterns=work
    )


@dataclass(frozen=True, slots=True)
class _Node:
    """A pair of states with the ages that the timers can have in it, and how it was come by."""

    pair: _Pair
    zone: Zone
    parent: int
    step: Step | None


def _with_times(
    core: Core, machine: RowMachine, stepper: Stepper, start: _Pair, doubt: Doubt
) -> Proof | Difference | Doubt:
    """The same question with the ages of the on-delays kept, which is exact for them.

    Accumulating timers stay free; a difference that hangs on one is a doubt. So is what is left
    when MOST_ZONES have been looked at.
    """
    needs = {
        i: -(-timer.preset // core.period)
        for i, timer in enumerate(core.timers)
        if timer.kind == "on-delay" and timer.preset > core.period
    }
    nodes = [_Node(start, NOTHING, -1, None)]
    passed: dict[_Pair, list[Zone]] = {start: [NOTHING]}
    looks: dict[_Pair, _Look] = {}
    work = done = 0
    while done < len(nodes):
        node = nodes[done]
        done += 1
        if done > MOST_ZONES:
            return doubt
        look = looks.get(node.pair)
        if look is None:
            look = looks[node.pair] = _Look(core, machine, stepper, node.pair)
        work += 1 << len(look.names)
        followers = [(look.after_cut(), NOTHING, Step({}, look.key, True))]
        for dues, zone in due_parts(later(node.zone), needs):
            now = look.patterns_with(dues)
            for what, mask, rows in look.differences():
                if mask & now:
                    pattern = _lowest(mask & now)
                    steps = (*_steps_to(nodes, done - 1), look.step(pattern))
                    times = possible_times(core, steps)
                    found = Difference(steps, times or (), what, rows(pattern))
                    return Doubt(found, 1) if times is None else found
            followers += _followers(look, node.pair, zone, dues, needs)
        for target, zone, step in followers:
            known = passed.setdefault(target, [])
            if not any(old.holds(zone) for old in known):
                known.append(zone)
                nodes.append(_Node(target, zone, done - 1, step))
    return Proof(
        states=len(machine.table.states) or 1,
        rows=machine.table.row_count,
        situations=done,
        patterns=work,
    )


def _followers(
    look: _Look, pair: _Pair, zone: Zone, dues: dict[int, bool], needs: dict[int, int]
) -> list[tuple[_Pair, Zone, Step]]:
    """What can follow while these due flags show. A scan that leads back to its own pair may be
    repeated for as long as the flags stay, which is taken in one stride."""
    now = look.patterns_with(dues)
    found = []
    for target, mask in look.moves():
        if not mask & now:
            continue
        after = zone
        if target == pair and mask & now & look.no_event():
            after = with_dues(waiting(zone), dues, needs) or zone
        timers = tuple(i for i in needs if target[0].running >> i & 1)
        kept = rounded(running(after, timers), needs)
        found.append((target, kept, look.step(_lowest(mask & now))))
    return found


def _lowest(mask: int) -> int:
    return (mask & -mask).bit_length() - 1


def _steps_to(nodes: list[_Node], index: int) -> tuple[Step, ...]:
    steps = []
    while (step := nodes[index].step) is not None:
        steps.append(step)
        index = nodes[index].parent
    return tuple(reversed(steps))


def _some(mask: int) -> Iterator[int]:
    """A few patterns of a mask, spread over it: the lowest, and one for each of its doublings."""
    seen = set()
    lowest = (mask & -mask).bit_length() - 1
    yield lowest
    seen.add(lowest)
    place = 1
    while place <= mask.bit_length():
        rest = mask >> place
        if rest:
            bit = place + (rest & -rest).bit_length() - 1
            if bit not in seen:
                seen.add(bit)
                yield bit
        place *= 2


def _path(parents: dict[_Pair, _Parent], pair: _Pair) -> tuple[Step, ...]:
    steps = []
    at: _Pair = pair
    while (parent := parents[at]) is not None:
        at, step = parent
        steps.append(step)
    return tuple(reversed(steps))


class _Look:
    """One pair of states under all patterns."""

    def __init__(self, core: Core, machine: RowMachine, stepper: Stepper, pair: _Pair) -> None:
        self.core, self.machine, self.stepper = core, machine, stepper
        self.key, self.state = pair
        self.space = signal_space(core, self.key.running)
        self.sure = [core.signals[i].name for i in sure_dues(core, self.key.running)]
        self.names = [core.signals[i].name for i in self.space] + machine.extra
        if len(self.names) > MAX_SIGNALS:
            raise TooLargeError(f"{len(self.names)} signals matter at once")
        self.masks = variable_masks(len(self.names))
        self.ones = (1 << (1 << len(self.names))) - 1
        self.hits: list[tuple[_Row, int]] = []
        self.twice = 0
        self._match()
        self._run_core()

    def _match(self) -> None:
        first_match = self.machine.table.first_match
        at = dict(zip(self.names, self.masks, strict=True))
        at.update(dict.fromkeys(self.sure, self.ones))
        remaining = self.ones
        for row in self.machine.next_states(self.state):
            mask = self.machine.mask(row, at) & self.ones
            if not first_match:
                self.twice |= self._clashes(row, mask)
                self.hits.append((row, mask))
                remaining &= ~mask
            elif mask & remaining:
                self.hits.append((row, mask & remaining))
                remaining &= ~mask
        self.missing = remaining

    def _clashes(self, row: _Row, mask: int) -> int:
        """Patterns that an earlier row matches as well; rows of a truth table may if they agree."""
        if self.machine.table.kind == "transition":
            return _union(hit & mask for _, hit in self.hits)
        return _union(hit & mask for other, hit in self.hits if other.outputs != row.outputs)

    def _run_core(self) -> None:
        masks = dict(zip(self.space, self.masks, strict=False))
        self.after, self.outputs, self.runs = self.stepper.words_over(self.key, masks, self.names)

    def differences(self) -> Iterator[tuple[str, int, _RowsOf]]:
        """What differs, for which patterns, and a function that gives the rows of a pattern."""
        if self.missing:
            yield "no row of the table matches", self.missing, self._rows
        if self.twice:
            yield "two rows of the table match", self.twice, self._rows
        for index, output in enumerate(self.core.outputs):
            column = self.machine.output_of.get(output.name)
            ours = self.outputs[index]
            theirs = 0 if column is None else self._column(_shown(column))
            for on, mask in ((True, ours & ~theirs), (False, theirs & ~ours)):
                mask &= ~self.missing & ~self.twice
                if mask:
                    program, table = ("on", "off") if on else ("off", "on")
                    text = f"{output.name} is {program} in the program and {table} in the table"
                    yield text, mask, self._rows
        yield from self._timer_differences()

    def _timer_differences(self) -> Iterator[tuple[str, int, _RowsOf]]:
        for index, timer in enumerate(self.core.timers):
            place = self.machine.timer_of.get(timer.name)
            for number, what in enumerate(("told to run", "emptied before it adds", "emptied")):
                ours = self.runs[3 * index + number]
                theirs = 0 if place is None else self._column(_flagged(number, place))
                for mask, who in ((ours & ~theirs, "program"), (theirs & ~ours, "table")):
                    mask &= ~self.missing & ~self.twice
                    if mask:
                        other = "table" if who == "program" else "program"
                        text = f"timer {timer.name} is {what} by the {who} and not by the {other}"
                        yield text, mask, self._rows

    def _column(self, shown: _Shown) -> int:
        return _union(mask for row, mask in self.hits if shown(row))

    def _rows(self, pattern: int) -> tuple[int, ...]:
        return tuple(row.number for row, mask in self.hits if mask >> pattern & 1)

    def patterns_with(self, dues: dict[int, bool]) -> int:
        """The patterns in which these timers, by index, are due or not."""
        at = dict(zip(self.names, self.masks, strict=True))
        found = self.ones
        for index, due in dues.items():
            mask = at[self.core.signals[self.core.timers[index].due].name]
            found &= mask if due else ~mask
        return found

    def no_event(self) -> int:
        """The patterns in which no one-scan event shows."""
        at = dict(zip(self.names, self.masks, strict=True))
        events = [s.name for s in self.core.signals if s.one_scan and s.name in at]
        return self.ones & ~_union(at[name] for name in events)

    def step(self, pattern: int) -> Step:
        """The scan with one pattern, for the story of a difference."""
        values = {
            name: bool(mask >> pattern & 1)
            for name, mask in zip(self.names, self.masks, strict=True)
        }
        values.update(dict.fromkeys(self.sure, True))
        return Step(values, self.key, False)

    def successors(self) -> Iterator[tuple[_Pair, Step]]:
        """Every pair that can follow, each with one step that leads to it."""
        for target, mask in self.moves():
            yield target, self.step(_lowest(mask))
        yield self.after_cut(), Step({}, self.key, True)

    def after_cut(self) -> _Pair:
        """The pair in which power comes back."""
        cut = self.machine.after_cut.get(self.state, self.machine.start)
        return self.stepper.after_cut(self.key), cut

    def moves(self) -> Iterator[tuple[_Pair, int]]:
        """Every pair that can follow with power on, and the patterns that lead to it."""
        known = self.ones & ~self.missing & ~self.twice
        by_target: dict[str, int] = {}
        for row, mask in self.hits:
            by_target[row.target] = by_target.get(row.target, 0) | mask & known
        timers = len(self.core.timers)
        low, high = len(self.after), len(self.after) + len(self.runs[: 3 * timers])
        columns = (*self.after, *self.runs[: 3 * timers])
        from_core = split(self.ones, columns)
        for mask, word in from_core:
            running = sum(run << i for i, (run, _, _) in enumerate(runs_of(word >> low, timers)))
            target = Key(word & ((1 << low) - 1), running, False)
            assert word >> high == 0
            for state, theirs in by_target.items():
                both = mask & theirs
                if both:
                    yield (target, state), both


def _shown(column: int) -> _Shown:
    return lambda row: row.outputs[column] == "1"


def _flagged(number: int, place: int) -> _Shown:
    def flagged(row: _Row) -> bool:
        flags = (row.run, row.before, row.after)[number]
        return bool(flags) and flags[place] == "1"

    return flagged


def _union(masks: Iterable[int]) -> int:
    found = 0
    for mask in masks:
        found |= mask
    return found
