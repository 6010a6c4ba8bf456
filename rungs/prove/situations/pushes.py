"""All that can happen in one scan, laid out in lanes: circuits, clocks, and the ends of timers.

States in which the same can happen are looked at together. What can happen in them is worked out
once, because there are thousands of states and few such groups.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from random import Random

from rungs.prove.clocks.dated import Dates
from rungs.prove.situations.lanes import Columns, columns_of, spread, tiled
from rungs.prove.situations.machine import HOLDS, Machine, Rest, Scanned

LANES = 1 << 16  # scanned together; what they need fits into the caches of a processor
MOST_PATTERNS = 1 << 15  # of the signals of one state; more are sampled
MOST_ENDS = 6  # timers that may end at once where patterns are sampled
LEAST_DRAWN = 16  # patterns of the inputs where they are sampled


@dataclass(frozen=True, slots=True)
class Push:
    """What happens in one scan: the inputs that are closed (bit i for input i of the machine), the
    place of the clocks' vector, and the timers whose time ends (bit i for timer i)."""

    inputs: int
    vector: int
    ends: int = 0


@dataclass(frozen=True, slots=True)
class Clocks:
    """What the clocks can show, and after what: `first` in a first scan, `follows` after each
    vector, as places among `shows`; in each list those without an event stand in front. `quiet` has
    for each vector the place of what it shows when its events are over, `holds` whether that can
    then stay."""

    shows: tuple[tuple[bool, ...], ...]
    first: tuple[int, ...]
    follows: tuple[tuple[int, ...], ...]
    quiet: tuple[int, ...]
    holds: tuple[bool, ...]

    def event(self, place: int) -> bool:
        """Whether a vector shows an event."""
        return self.quiet[place] != place

    def columns(self, places: Sequence[int]) -> Columns:
        """Of lanes that show the vectors at these places: for each clock those in which it is
        closed, and as the last one those in which the clocks can stand still."""
        rows = [(*self.shows[place], self.holds[place]) for place in places]
        words = [sum(on << n for n, on in enumerate(row)) for row in rows]
        return columns_of(words, len(self.shows[0]) + 1)


def clocks_of(machine: Machine, dates: Dates | None) -> Clocks:
    """What the clocks of a machine can show by the calendar, or anything at any time without it."""
    count = len(machine.clocks)
    names = tuple(machine.core.signals[i].name for i in machine.clocks)
    free = [tuple(bool(n >> i & 1) for i in range(count)) for n in range(1 << count)]
    if dates is None:
        first, follows = free, {(a, b) for a in free for b in free}
    else:
        order = dates.order(names)
        first, follows = list(order.first), set(order.follows)
    every = {*first, *(v for pair in follows for v in pair)}
    still = {
        v: tuple(on and not event for on, event in zip(v, machine.events, strict=True))
        for v in every
    }
    every |= set(still.values())
    shows = sorted(every, key=lambda v: (still.get(v, v) != v, v))
    place = {v: n for n, v in enumerate(shows)}
    quiet = [still.get(v, v) for v in shows]
    return Clocks(
        tuple(shows),
        tuple(sorted(place[v] for v in first)),
        tuple(tuple(sorted(place[b] for a, b in follows if a == v)) for v in shows),
        tuple(place[q] for q in quiet),
        tuple((v, q) in follows and (q, q) in follows for v, q in zip(shows, quiet, strict=True)),
    )


@dataclass(frozen=True, slots=True)
class Group:
    """What decides which pushes can happen in a state: whether the next scan is the first, the
    timers that wait (bit i for timer i), and the places of the vectors that the clocks can show."""

    first: bool
    waiting: int
    choice: tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Pushes:
    """What can happen in a state, in one scan: `count` pushes, the circuits of the inputs changing
    fastest and the ends of timers slowest. The first `quiet` ones are those in which no timer's
    time ends and the clocks show no event.

    `signals` has for each input and clock the pushes in which it is closed, and under HOLDS those
    in which the clocks can stand still; `ends` has for each timer those in which its time ends.
    """

    count: int
    quiet: int
    signals: dict[int, int]
    ends: dict[int, int]
    inputs: Sequence[int]
    choice: tuple[int, ...]
    over: Sequence[int]

    def at(self, number: int) -> Push:
        """The push of this number."""
        block, pattern = divmod(number, len(self.inputs))
        ended, shown = divmod(block, len(self.choice))
        return Push(self.inputs[pattern], self.choice[shown], self.over[ended])


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Some states of one group under all pushes: state s under push p is lane p * states + s.
    `before`, `given`, `ends` and `first` are what `Machine.step` takes for it."""

    words: Sequence[int]
    pushes: Pushes
    ones: int
    before: Columns
    given: dict[int, int]
    ends: dict[int, int]
    first: int

    @property
    def lanes(self) -> int:
        """The number of lanes."""
        return len(self.words) * self.pushes.count

    @property
    def quiet(self) -> int:
        """The lanes in which no timer's time ends and the clocks show no event."""
        return (1 << len(self.words) * self.pushes.quiet) - 1

    def cause(self, lane: int) -> tuple[int, Push]:
        """The state and the push of a lane."""
        push, state = divmod(lane, len(self.words))
        return self.words[state], self.pushes.at(push)

    def wide(self, mask: int) -> int:
        """A mask of the states as one of the lanes."""
        return tiled(mask, len(self.words), self.pushes.count)

    def step(self, machine: Machine) -> Scanned:
        """The scan in which it happens."""
        return machine.step(self.ones, self.before, self.given, self.ends, self.first)

    def rest(self, machine: Machine, scanned: Scanned) -> Rest:
        """What all lanes come to after that scan."""
        return machine.rest(self.ones, scanned, self.given)


class AllPushes:
    """All that can happen in the states of a machine, made once for each group of them.

    `fixed` has the inputs, by signal, whose circuits never move. `sampled` tells why some pushes
    are left out; it is empty as long as none was.
    """

    def __init__(
        self, machine: Machine, clocks: Clocks, rng: Random, fixed: Mapping[int, bool]
    ) -> None:
        self.machine = machine
        self.clocks = clocks
        self.rng = rng
        self.sampled = ""
        places = list(enumerate(machine.inputs))
        self._loose = [n for n, index in places if index not in fixed]
        self._held = sum(1 << n for n, index in places if fixed.get(index, False))
        self._made: dict[Group, Pushes] = {}
        self._spread: dict[tuple[Group, int], tuple[dict[int, int], dict[int, int]]] = {}

    def choice(self, word: int) -> tuple[int, ...]:
        """The places of the vectors that the clocks can show after a state."""
        machine, clocks = self.machine, self.clocks
        if word & machine.first_word:
            return clocks.first
        if not machine.ordered:
            return clocks.follows[0]
        showed = tuple(bool(word >> machine.showed_at + n & 1) for n in range(len(machine.clocks)))
        return clocks.follows[clocks.shows.index(showed)]

    def blocks(self, words: Iterable[int]) -> Iterator[Block]:
        """Each of the states once, with all that can happen in it."""
        machine = self.machine
        groups: dict[Group, list[int]] = {}
        for word in words:
            first = bool(word & machine.first_word)
            group = Group(first, machine.waiting(word), self.choice(word))
            groups.setdefault(group, []).append(word)
        for group, each in groups.items():
            size = max(LANES // self._of(group).count, 1)
            for at in range(0, len(each), size):
                yield self._block(group, each[at : at + size])

    def _block(self, group: Group, words: Sequence[int]) -> Block:
        pushes, states = self._of(group), len(words)
        spreads = self._spread.get((group, states))
        if spreads is None:
            spreads = self._spread[group, states] = (
                {i: spread(mask, pushes.count, states) for i, mask in pushes.signals.items()},
                {t: spread(mask, pushes.count, states) for t, mask in pushes.ends.items()},
            )
        columns = columns_of(words, self.machine.width)
        before = [tiled(column, states, pushes.count) for column in columns]
        ones = (1 << states * pushes.count) - 1
        return Block(words, pushes, ones, before, *spreads, ones if group.first else 0)

    def _of(self, group: Group) -> Pushes:
        made = self._made.get(group)
        if made is None:
            made = self._made[group] = self._pushes(group)
        return made

    def _pushes(self, group: Group) -> Pushes:
        machine, choice = self.machine, group.choice
        timers = [t for t in machine.counts if group.waiting >> t & 1]
        if len(choice) << len(self._loose) + len(timers) > MOST_PATTERNS:
            self.sampled = f"{len(self._loose)} inputs and {len(timers)} timers at once"
            timers = timers[:MOST_ENDS]
            inputs = self._drawn(len(choice) << len(timers))
        else:
            inputs = self._every
        size, endings = len(inputs), range(1 << len(timers))
        columns = columns_of(inputs, len(machine.inputs))
        signals = {
            index: tiled(column, size, len(choice) * len(endings))
            for index, column in zip(machine.inputs, columns, strict=True)
        }
        shown = self.clocks.columns(choice)
        for index, column in zip((*machine.clocks, HOLDS), shown, strict=True):
            wide = spread(column, len(choice), size)
            signals[index] = tiled(wide, size * len(choice), len(endings))
        ended = columns_of(endings, len(timers))
        return Pushes(
            count=size * len(choice) * len(endings),
            quiet=size * sum(not self.clocks.event(place) for place in choice),
            signals=signals,
            ends={
                t: spread(column, len(endings), size * len(choice))
                for t, column in zip(timers, ended, strict=True)
            },
            inputs=inputs,
            choice=choice,
            over=[sum((e >> n & 1) << t for n, t in enumerate(timers)) for e in endings],
        )

    @cached_property
    def _every(self) -> Sequence[int]:
        """All patterns of the inputs."""
        every = [self._held]
        for n in self._loose:
            every += [pattern | 1 << n for pattern in every]
        return every

    def _drawn(self, times: int) -> Sequence[int]:
        """Some patterns of the inputs where each stands so many times: all switches at rest, one
        operated, and others at random."""
        sides = {device.name: device.side == "NC" for device in self.machine.program.inputs}
        names = [self.machine.core.signals[index].name for index in self.machine.inputs]
        rest = sum(sides[name] << n for n, name in enumerate(names))
        most = min(1 << len(self._loose), max(MOST_PATTERNS // times, LEAST_DRAWN))
        drawn = [rest, *(rest ^ 1 << n for n in self._loose)][:most]
        drawn += [self.rng.getrandbits(len(names)) for _ in range(most - len(drawn))]
        free = sum(1 << n for n in self._loose)
        return [pattern & free | self._held for pattern in drawn]
