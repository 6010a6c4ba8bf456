"""The second pass over a switching table: the core and the rows side by side.

It takes nothing but a core and the rows of a table, and looks at single situations where the
compiler looks at groups of them, so that a slip in the one does not hide in the other. It shares no
code with the compiler but the words in which events are told and the columns of all patterns.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final, Literal

from rungs.core.nodes import Core
from rungs.scan.generate import scan_wide
from rungs.table.model import Act, SwitchingRow
from rungs.table.switching_power import (
    Columns,
    Late,
    PowerUp,
    column,
    event_words,
    power_up_words,
)

PROOF_BUDGET: Final = 30_000_000  # events in single situations
CHUNK: Final = 8_192  # situations that are scanned side by side


@dataclass(frozen=True, slots=True)
class Difference:
    """A shortest sequence of events, in words, after which a relay of the table is not as the
    program has it, and the rows (numbered from 1) that the last event runs."""

    events: tuple[str, ...]
    relay: str
    program: bool
    table: bool
    rows: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class SwitchingProof:
    """What the second pass found. It is proved if there is neither a difference nor a reason why
    nothing could be shown. `power_differences` counts the cases at power-up in which a relay is not
    as the program has it, though no other power-up row would have fewer."""

    situations: int
    difference: Difference | None = None
    unproved: str = ""
    power_differences: int = 0

    @property
    def proved(self) -> bool:
        """Whether the table does what the program does."""
        return self.difference is None and not self.unproved


def prove_switching(
    core: Core,
    rows: Sequence[SwitchingRow],
    moments: Collection[str] = (),
    late: Collection[str] = (),
    power_up: PowerUp = "off",
    budget: int = PROOF_BUDGET,
) -> SwitchingProof:
    """Run the core and the rows side by side over every settled situation and single event.

    `moments` names clocks that show for one scan, beside those the core marks, `late` those of them
    that may be caught up after an outage. Before each event the table's relays stand as the
    program's; the power-up row is held against all that power can come back to. `budget` counts
    events in single situations.
    """
    owners: dict[int, tuple[int, bool]] = {}
    left = budget
    compare = not core.timers
    while True:
        second = _Second(core, rows, moments, late, power_up, owners, left, compare)
        try:
            second.run()
            if compare:
                return second.verdict()
            second.own_the_rest()
            compare = True
        except _OwnerError as found:
            owners[found.timer] = found.hold
        except _DiffersError as differs:
            return SwitchingProof(len(second.parents), differs.difference)
        except _UnprovedError as why:
            return SwitchingProof(len(second.parents), None, str(why))
        left = second.left


class _OwnerError(Exception):
    """A timer was seen to start as an input (its place among the levels) came to a level."""

    def __init__(self, timer: int, hold: tuple[int, bool]) -> None:
        super().__init__(timer)
        self.timer = timer
        self.hold = hold


class _DiffersError(Exception):
    def __init__(self, difference: Difference) -> None:
        super().__init__(difference.relay)
        self.difference = difference


class _UnprovedError(Exception):
    pass


@dataclass(frozen=True, slots=True)
class _Step:
    """An event: a level that turns (`turn`, its place), a threshold that is passed (`age`, its
    number), a clock event (`at`, its signal), or rows of a device that the core does not read."""

    kind: Literal["turn", "age", "at", "foreign"]
    number: int
    rows: tuple[int, ...]  # what the table runs; for a turn, when the level is now 1
    other_rows: tuple[int, ...] = ()  # for a turn, when it is now 0
    words: str = ""
    other_words: str = ""


# where power went, how the relay stood, the retained bits, and what is caught up
_Case = tuple[str | None, str, str, Late]


class _Second:
    """One pass. A situation is a text of 0 and 1: state, running timers, levels, ages.

    An age is a threshold that an input's stay at a level has passed: a preset of a timer that it
    owns, or the delay of a row. First (without `compare`) no time passes, to see who owns what.
    """

    def __init__(
        self,
        core: Core,
        rows: Sequence[SwitchingRow],
        moments: Collection[str],
        late: Collection[str],
        power_up: PowerUp,
        owners: dict[int, tuple[int, bool]],
        budget: int,
        compare: bool,
    ) -> None:
        self.core, self.rows, self.owners = core, rows, owners
        self.keeps, self.left, self.compare = power_up == "last", budget, compare
        outside = [i for i, s in enumerate(core.signals) if s.kind in ("input", "clock")]
        short = {s.name for s in core.signals if s.one_scan} | set(moments)
        self.levels = [i for i in outside if core.signals[i].name not in short]
        self.moments = [i for i in outside if core.signals[i].name in short]
        self.late = [i for i in self.moments if core.signals[i].name in late]
        self.names = [core.signals[i].name for i in self.levels]
        self.scan = scan_wide(core)
        # the situation before, and the event in words, or what was caught up at power-up
        self.parents: dict[str, tuple[str | None, str | tuple[int, ...]]] = {}
        self.powered: dict[
            str, str | None
        ] = {}  # retained bits, and the situation in which power went
        self.shown: dict[tuple[str, Late], Columns] = {}
        self.contexts: list[dict[tuple[str, str], str]] = [{} for _ in core.outputs]
        self.kept = [i for i, bit in enumerate(core.state) if bit.retained]
        self.scans = 0
        # for each timer without an owner, the (place, level) with which it was seen running
        self.ran: list[set[tuple[int, bool]]] = [set() for _ in core.timers]
        self._check_rows()
        self.ages = self._thresholds() if compare else []
        self.steps = tuple(self._steps())

    def _check_rows(self) -> None:
        for number, row in enumerate(self.rows, 1):
            if len(row.acts) != len(self.core.outputs):
                raise _UnprovedError(f"row {number} does not have one act for each relay")
            if row.delay_ms and row.event not in ("closes", "opens"):
                raise _UnprovedError(f"row {number} has a delay where there is nothing that stays")
        if any(timer.kind != "on-delay" for timer in self.core.timers):
            raise _UnprovedError("an accumulating timer cannot be followed from event to event")

    def _thresholds(self) -> list[tuple[int, bool, int]]:
        found = {(*hold, self.core.timers[t].preset) for t, hold in self.owners.items()}
        for row in self.rows:
            if row.delay_ms and row.device in self.names:
                place = self.names.index(row.device)
                found.add((place, row.event == "closes", row.delay_ms))
        return sorted(found)

    def _steps(self) -> Iterator[_Step]:
        by_event: dict[tuple[str, str, int], list[int]] = {}
        for number, row in enumerate(self.rows):
            by_event.setdefault((row.event, row.device, row.delay_ms), []).append(number)

        def of(event: str, device: str, delay: int = 0) -> tuple[int, ...]:
            return tuple(by_event.pop((event, device, delay), ()))

        of("power-up", "")
        for place, signal in enumerate(self.levels):
            name, clock = self.names[place], self.core.signals[signal].kind == "clock"
            words = [event_words(e, name, clock) for e in ("closes", "opens")]
            yield _Step("turn", place, of("closes", name), of("opens", name), *words)
        for number, (place, level, ms) in enumerate(self.ages):
            event = "closes" if level else "opens"
            words = [event_words(event, self.names[place], False, ms)]
            yield _Step("age", number, of(event, self.names[place], ms), (), *words)
        for signal in self.moments:
            name = self.core.signals[signal].name
            yield _Step("at", signal, of("at", name), (), event_words("at", name, True))
        if self.compare:
            for (event, device, ms), numbers in by_event.items():
                words = [event_words(event, device, False, ms)]
                yield _Step("foreign", 0, tuple(numbers), (), *words)

    # --- situations and columns; the first situation is the highest bit

    def _columns(self, situations: Sequence[str]) -> list[int]:
        return [int("".join(bits), 2) for bits in zip(*situations, strict=True)]

    def _texts(self, columns: Sequence[int], count: int) -> list[str]:
        if not columns:
            return [""] * count
        rows = [format(bits, f"0{count}b") for bits in columns]
        return ["".join(bits) for bits in zip(*rows, strict=True)]

    def run(self) -> None:
        """Look at every situation, in layers of one event more each."""
        layer = self._power("0" * len(self.kept), None)
        while layer:
            following: list[str] = []
            for start in range(0, len(layer), CHUNK):
                following += self._expand(layer[start : start + CHUNK])
            layer = following

    def _power(self, kept: str, source: str | None) -> list[str]:
        """The situations, not met before, that power comes back to."""
        self.powered[kept] = source
        count = 1 << len(self.levels)
        ones = (1 << count) - 1
        levels = [column(place, len(self.levels)) for place in range(len(self.levels))]
        state = [0] * (len(self.core.state) + len(self.core.timers))
        for bit, text in zip(self.kept, kept, strict=True):
            state[bit] = ones if text == "1" else 0
        ages = [0] * len(self.ages)
        fresh: list[str] = []
        self._charge(count)
        for late in product((0, 1), repeat=len(self.late)):
            pulses = [s for s, comes in zip(self.late, late, strict=True) if comes]
            after, outputs = self._settle(ones, state, levels, ages, ones, pulses, None)
            self.shown[kept, late] = outputs
            # the pattern with everything open stands last, and is the plainest to show
            for text in reversed(self._texts([*after, *levels, *ages], count)):
                if text not in self.parents:
                    self.parents[text] = (source, tuple(pulses))
                    fresh.append(text)
        return fresh

    def _power_words(self, text: str, source: str | None, pulses: Sequence[int]) -> str:
        first = len(self.core.state) + len(self.core.timers)
        levels = [(name, text[first + p] == "1") for p, name in enumerate(self.names)]
        return power_up_words(source is None, levels, [self.core.signals[s].name for s in pulses])

    def _charge(self, count: int) -> None:
        self.left -= count
        if self.left < 0:
            raise _UnprovedError("there are more situations and events than the budget allows for")

    def _expand(self, chunk: list[str]) -> list[str]:
        """The situations, not met before, that single events lead to from these."""
        count = len(chunk)
        ones = (1 << count) - 1
        columns = self._columns(chunk)
        split = len(self.core.state) + len(self.core.timers)
        state, levels = columns[:split], columns[split : split + len(self.levels)]
        ages = columns[split + len(self.levels) :]
        before = self._scan_once(ones, state, levels, ages, (), False)[1]
        fresh = self._cuts(chunk, state, before)
        for step in self.steps:
            self._charge(count)
            now, aged, mask, pulses = self._stepped(step, levels, ages, ones)
            if not mask:
                continue
            after, outputs = self._settle(ones, state, now, aged, mask, pulses, step)
            if self.compare:
                self._hold(step, chunk, now, mask, before, outputs)
            texts = self._texts([*after, *now, *aged], count)
            marks = format(mask, f"0{count}b")
            for text, mark, source in zip(texts, marks, chunk, strict=True):
                if mark == "1" and text not in self.parents:
                    closing = step.kind != "turn" or text[split + step.number] == "1"
                    words = step.words if closing else step.other_words
                    self.parents[text] = (source, words)
                    fresh.append(text)
        return fresh

    def _cuts(self, chunk: list[str], state: list[int], before: Columns) -> list[str]:
        fresh: list[str] = []
        count = len(chunk)
        kept_texts = self._texts([state[bit] for bit in self.kept], count)
        for known, shown in zip(self.contexts, before, strict=True):
            pairs = list(zip(format(shown, f"0{count}b"), kept_texts, strict=True))
            for pair in set(pairs) - known.keys():
                known[pair] = chunk[pairs.index(pair)]
        for kept in dict.fromkeys(kept_texts):
            if kept not in self.powered:
                fresh += self._power(kept, chunk[kept_texts.index(kept)])
        return fresh

    def _stepped(
        self, step: _Step, levels: list[int], ages: list[int], ones: int
    ) -> tuple[list[int], list[int], int, list[int]]:
        """(levels, ages, the lanes in which the event can come, signals that show for one scan)."""
        now, aged = list(levels), list(ages)
        match step.kind:
            case "turn":
                now[step.number] ^= ones
                for number, (place, _, _) in enumerate(self.ages):
                    if place == step.number:
                        aged[number] = 0
                return now, aged, ones, []
            case "age":
                place, level, ms = self.ages[step.number]
                can = levels[place] if level else ones ^ levels[place]
                can &= ~ages[step.number]
                for number, (other, at, shorter) in enumerate(self.ages):
                    if (other, at) == (place, level) and shorter < ms:
                        can &= ages[number]
                aged[step.number] |= can
                return now, aged, can, []
            case "at":
                return now, aged, ones, [step.number]
            case "foreign":
                return now, aged, ones, []

    def _hold(
        self,
        step: _Step,
        chunk: list[str],
        now: list[int],
        mask: int,
        before: Columns,
        outputs: Columns,
    ) -> None:
        """Hold the table's relays after an event against the program's."""
        ways = [(mask, step.rows, step.words)]
        if step.kind == "turn":
            closed = now[step.number] & mask
            ways = [(closed, step.rows, step.words)]
            ways.append((mask & ~closed, step.other_rows, step.other_words))
        for lanes, numbers, words in ways:
            for relay, output in enumerate(self.core.outputs):
                table = before[relay] & lanes
                for number in numbers:
                    act = self.rows[number].acts[relay]
                    table = {"on": lanes, "off": 0, "flip": table ^ lanes, "leave": table}[act]
                wrong = (table ^ outputs[relay]) & lanes
                if wrong:
                    lane = len(chunk) - wrong.bit_length()
                    is_on = bool(outputs[relay] >> wrong.bit_length() - 1 & 1)
                    events = (*self._path(chunk[lane]), words)
                    concerned = tuple(number + 1 for number in numbers)
                    raise _DiffersError(
                        Difference(events, output.name, is_on, not is_on, concerned)
                    )

    def _path(self, situation: str | None) -> tuple[str, ...]:
        words: list[str] = []
        while situation is not None:
            before, said = self.parents[situation]
            if not isinstance(said, str):
                said = self._power_words(situation, before, said)
            words.append(said)
            situation = before
        return tuple(reversed(words))

    # --- scans

    def _due(self, state: Sequence[int], ages: Sequence[int]) -> list[int]:
        flags = []
        for number, timer in enumerate(self.core.timers):
            passed = 0
            if self.compare and number in self.owners:
                passed = ages[self.ages.index((*self.owners[number], timer.preset))]
            flags.append(state[len(self.core.state) + number] & passed)
        return flags

    def _scan_once(
        self,
        ones: int,
        state: Sequence[int],
        levels: Sequence[int],
        ages: Sequence[int],
        pulses: Sequence[int],
        first: bool,
    ) -> tuple[list[int], Columns]:
        core = self.core
        flags = dict(zip((t.due for t in core.timers), self._due(state, ages), strict=True))
        at = dict(zip(self.levels, levels, strict=True))
        signals = []
        for number, signal in enumerate(core.signals):
            if signal.kind == "first_scan":
                signals.append(ones if first else 0)
            elif number in self.moments:
                signals.append(ones if number in pulses else 0)
            else:
                signals.append(flags[number] if number in flags else at[number])
        bits, outputs, runs = self.scan(ones, tuple(state[: len(core.state)]), tuple(signals))
        return [*bits, *runs[::3]], outputs

    def _settle(
        self,
        ones: int,
        state: Sequence[int],
        levels: Sequence[int],
        ages: Sequence[int],
        mask: int,
        pulses: Sequence[int],
        step: _Step | None,
    ) -> tuple[list[int], Columns]:
        """(state, outputs) once nothing moves any more; no `step` means power-up."""
        held: list[int] = []
        wait, number = 1, 0
        while True:
            first = step is None and number == 0
            after, outputs = self._scan_once(
                ones, state, levels, ages, () if number else pulses, first
            )
            self._follow(state, after, levels, ages, mask, step, number)
            if number or not (first or pulses):
                moves = _unlike(after, state) & mask
                if not moves:
                    break
                if held and moves & ~_unlike(after, held):
                    raise _UnprovedError("the program does not settle")
            wait -= 1
            if not wait:  # a situation that comes back is found once the wait is longer than a turn
                held, wait = after, 2 * (number + 1)
            state = after
            number += 1
        for timer in self.core.timers:
            if number and self.compare and timer.preset <= number * self.core.period:
                raise _UnprovedError(f"{timer.name} can be up before the program has settled")
        return after, outputs

    def _follow(
        self,
        state: Sequence[int],
        after: Sequence[int],
        levels: Sequence[int],
        ages: Sequence[int],
        mask: int,
        step: _Step | None,
        number: int,
    ) -> None:
        """See that every timer runs as an age of its owner, and find the owners."""
        base = len(self.core.state)
        for index, timer in enumerate(self.core.timers):
            run, starts = after[base + index] & mask, after[base + index] & ~state[base + index]
            starts &= mask
            turned = step.number if step is not None and step.kind == "turn" else -1
            owner = self.owners.get(index)
            if owner is None and starts and number == 0 and turned >= 0:
                owner = (turned, bool(levels[turned] & starts))
                if self.compare:
                    raise _OwnerError(index, owner)
                self.owners[index] = owner
            if owner is None:
                for place, level in enumerate(levels):
                    if run & level:
                        self.ran[index].add((place, True))
                    if run & ~level:
                        self.ran[index].add((place, False))
                known = number == 0 and step is None and not self.compare
            else:
                at = levels[owner[0]]
                if run & (~at if owner[1] else at):
                    raise _UnprovedError(f"{timer.name} runs on when its input changes")
                known = number == 0 and (step is None or turned == owner[0])
            if starts and not known:
                raise _UnprovedError(f"{timer.name} starts and no input has just changed")

    def own_the_rest(self) -> None:
        """Timers that start at power-up alone: the first input that is at one level while they
        run is as good as time itself."""
        for index, seen in enumerate(self.ran):
            if index in self.owners or not seen:
                continue
            for place, signal in enumerate(self.levels):
                at = [level for p, level in seen if p == place]
                if len(at) == 1 and self.core.signals[signal].kind == "input":
                    self.owners[index] = (place, at[0])
                    break
            else:
                raise _UnprovedError(f"{self.core.timers[index].name} runs whatever the inputs do")

    # --- the power-up row

    def verdict(self) -> SwitchingProof:
        """The whole result, when no single event shows a difference."""
        mine = [row for row in self.rows if row.event == "power-up"]
        numbers = tuple(n for n, row in enumerate(self.rows, 1) if row.event == "power-up")
        choices: tuple[Act, ...] = ("leave", "off", "on")
        power = 0
        for relay, output in enumerate(self.core.outputs):
            wrong = self._power_cases(relay, [row.acts[relay] for row in mine])
            found = sum(lanes.bit_count() for lanes in wrong.values())
            for act in choices:
                other = self._power_cases(relay, [act])
                if sum(lanes.bit_count() for lanes in other.values()) < found:
                    events, is_on = self._power_witness(relay, wrong, other)
                    difference = Difference(events, output.name, is_on, not is_on, numbers)
                    return SwitchingProof(len(self.parents), difference)
            power += found
        return SwitchingProof(len(self.parents), None, "", power)

    def _power_cases(self, relay: int, acts: Sequence[Act]) -> dict[_Case, int]:
        """For each case at power-up the patterns, lane by lane, in which the relay is not as the
        program has it after these acts and the rows of what is caught up."""
        ones = (1 << (1 << len(self.levels))) - 1
        stood: dict[tuple[str, str], str | None] = {("0", "0" * len(self.kept)): None}
        for (on, kept), cut in self.contexts[relay].items():
            stood.setdefault((on if self.keeps else "0", kept), cut)
        found: dict[_Case, int] = {}
        for ((on, kept), source), late in product(
            stood.items(), product((0, 1), repeat=len(self.late))
        ):
            table = ones if on == "1" else 0
            ran = list(acts)
            for signal, comes in zip(self.late, late, strict=True):
                name = self.core.signals[signal].name
                if comes:
                    ran += [r.acts[relay] for r in self.rows if (r.event, r.device) == ("at", name)]
            for act in ran:
                table = {"on": ones, "off": 0, "flip": table ^ ones, "leave": table}[act]
            found[source, on, kept, late] = (table ^ self.shown[kept, late][relay]) & ones
        return found

    def _power_witness(
        self, relay: int, wrong: dict[_Case, int], better: dict[_Case, int]
    ) -> tuple[tuple[str, ...], bool]:
        """(events, the relay in the program) of a case that only the better row has right."""
        for case, lanes in wrong.items():
            telling = lanes & ~better[case]
            if telling:
                source, _, kept, late = case
                pattern = telling.bit_length() - 1
                levels = [(name, bool(pattern >> p & 1)) for p, name in enumerate(self.names)]
                pulses = [s for s, comes in zip(self.late, late, strict=True) if comes]
                caught = [self.core.signals[s].name for s in pulses]
                words = power_up_words(source is None, levels, caught)
                is_on = bool(self.shown[kept, late][relay] >> pattern & 1)
                return (*self._path(source), words), is_on
        raise AssertionError("fewer cases are not all among the others")


def _unlike(one: Sequence[int], other: Sequence[int]) -> int:
    lanes = 0
    for a, b in zip(one, other, strict=True):
        lanes |= a ^ b
    return lanes
