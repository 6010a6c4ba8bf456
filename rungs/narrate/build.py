"""Puts a narration together: every output first, then whatever their conditions speak of."""

from __future__ import annotations

from collections.abc import Callable, Iterable

from rungs.core.nodes import PERIOD
from rungs.core.patterns import TooLargeError
from rungs.narrate.beside import beside_of
from rungs.narrate.data import (
    Beside,
    Condition,
    Constant,
    Event,
    Follower,
    Narration,
    Part,
    Sentence,
    Unworked,
)
from rungs.narrate.effects import followers, power_sentences, sentences
from rungs.narrate.events import Outcome, after_cut, outcomes, power_up
from rungs.narrate.situations import Room, Rooms, Target, targets_of
from rungs.program.nodes import Counter, Device, Output, Program, Relay
from rungs.prove.budget import Budget, OutOfBudget
from rungs.prove.situations.search import MOST_STATES
from rungs.prove.store import Store

Progress = Callable[[str, int, int], None]

SECONDS = 10.0  # for all of it
LOGIC_PART = 0.7  # of the seconds, for the sentences; the rest is for what the file states
LEAST_SECONDS = 1.0  # for each device, as long as there are any
_TIMES = ("runs out", "lights up", "goes dark")
_EVENT_ORDER = (
    "power-up", "closes", "opens", "begins", "ends", "comes", "runs out", "lights up", "goes dark",
    "power cut",
)  # fmt: skip


def narrate(
    program: Program,
    budget: Budget | None = None,
    period: int = PERIOD,
    store: Store | None = None,
    progress: Progress | None = None,
    beside: bool = True,
    most: int = MOST_STATES,
) -> Narration:
    """The sequence of operation of a program that is scanned every `period` ms.

    What the budget (SECONDS s without one) does not reach is named in the narration as not worked
    out. `store` keeps proofs from one time to the next. Without `beside` the properties and
    scenarios of the file are left alone. `most` is the most states of one device that are looked
    at. Raises LowerError as `lower` does.
    """
    budget = budget or Budget(SECONDS)
    work = _Work(program, budget, period, progress, most)
    work.all()
    told = beside_of(program, budget, period, store, progress) if beside else Beside()
    return work.narration(told)


class _Work:
    def __init__(
        self,
        program: Program,
        budget: Budget,
        period: int,
        progress: Progress | None,
        most: int,
    ) -> None:
        self.program = program
        self.progress = progress
        self.most = most
        seconds = budget.seconds
        self.budget = budget if seconds is None else budget.part(seconds * LOGIC_PART)
        self.rooms = Rooms(program, period)
        self.told: list[Sentence] = []
        self.liked: dict[Event, dict[Condition, None]] = {}  # conditions told so far
        self.followers: list[Follower] = []
        self.constants: list[Constant] = []
        self.unworked: list[Unworked] = []
        self.helpers: dict[str, None] = {}
        self.situations = 0
        self.done = 0

    def all(self) -> None:
        """The outputs, and then what their sentences speak of, and so on."""
        for output in self.program.outputs:
            self._device(output)
        left = self._spoken_of()
        while left:
            for device in left:
                self.helpers[device.name] = None
                self._device(device)
            left = self._spoken_of()

    def _spoken_of(self) -> list[Device]:
        """Devices that sentences name and that have none of their own yet."""
        names = {fact.name for each in self.told for term in each.condition or () for fact in term}
        names |= {each.event.device for each in self.told if each.event.kind in _TIMES}
        return [
            device
            for device in self.program.devices
            if device.name in names
            and device.name not in self.helpers
            and not isinstance(device, Output)
            and targets_of(device)
        ]

    def _device(self, device: Device) -> None:
        counts = self.rooms.counts.get(device.name, ())
        if isinstance(device, Counter) and counts != tuple(range(1, len(counts) + 1)):
            self.unworked.append(Unworked(device.name, "it counts too far to tell each count"))
            return
        for target in targets_of(device):
            self._target(target, device)

    def _target(self, target: Target, device: Device) -> None:
        if self.progress is not None:
            total = len(self.program.outputs) + len(self.program.rungs)
            self.progress(target.device, min(self.done, total - 1), total)
        self.done += 1
        try:
            self.budget.check()
            room = self.rooms.room(target, self._share(), self.most)
            if room.reason:
                raise TooLargeError(room.reason)
            told = self._told_of(room, device)
        except (TooLargeError, OutOfBudget) as error:
            self.unworked.append(Unworked(target.device, str(error)))
            return
        self.told += told
        self.followers += followers(room)
        self.situations = max(self.situations, room.found.count)
        if isinstance(device, Output | Relay):
            self._constant(room)

    def _told_of(self, room: Room, device: Device) -> list[Sentence]:
        """Every sentence about the target of a room. Raises OutOfBudget."""
        told: list[Sentence] = []
        if isinstance(device, Output | Relay):
            outcome = power_up(room)
            if outcome is None:
                raise TooLargeError("too many states in which power can come back")
            told += power_sentences(room, outcome)
            outcome = after_cut(room)
            if outcome is not None:
                told += self._said(room, outcome)
        for outcome in outcomes(room):
            self.budget.check()
            # that a timer stops timing when its time is over goes without saying
            if outcome.event.device != device.name:
                told += self._said(room, outcome)
        return told

    def _said(self, room: Room, outcome: Outcome) -> list[Sentence]:
        liked = self.liked.setdefault(outcome.event, {})
        said = list(sentences(room, outcome, tuple(liked)))
        liked.update((each.condition, None) for each in said if each.condition is not None)
        return said

    def _share(self) -> Budget:
        """The seconds of one device: what is left, shared among those that are still to come."""
        left = self.budget.part(1e9).seconds
        if self.budget.seconds is None or left is None:
            return self.budget
        coming = min(max(len(self.program.outputs) - self.done, 1), 3)
        seconds = max(left / coming, min(left, LEAST_SECONDS))
        return Budget(seconds, self.budget.megabytes, self.budget.cancelled)

    def _constant(self, room: Room) -> None:
        found, name = room.found, room.target.device
        shown = found.outputs[room.shows[0]]
        if name not in found.ever_on:
            self.constants.append(Constant(name, False))
        elif shown == found.ones:
            self.constants.append(Constant(name, True))

    # --- in the order of the paper

    def narration(self, beside: Beside) -> Narration:
        """All that was found."""
        program = self.program
        return Narration(
            program=program,
            inputs=tuple(self._part(d.name) for d in program.inputs),
            clocks=tuple(self._part(d.name) for d in program.clocks),
            timers=tuple(self._part(d.name) for d in program.timers),
            power_up=Part("", self._ordered(e for e in self.told if e.event.kind == "power-up")),
            power_cut=Part("", self._ordered(e for e in self.told if e.event.kind == "power cut")),
            constants=tuple(self.constants),
            unworked=tuple(dict.fromkeys(self.unworked)),
            outputs=tuple(output.name for output in program.outputs),
            helpers=tuple(d.name for d in program.devices if d.name in self.helpers),
            situations=self.situations,
            beside=beside,
        )

    def _part(self, name: str) -> Part:
        told = self._ordered(each for each in self.told if each.event.device == name)
        return Part(name, told, tuple(f for f in self.followers if f.source == name))

    def _ordered(self, some: Iterable[Sentence]) -> tuple[Sentence, ...]:
        place = {device.name: n for n, device in enumerate(self.program.devices)}
        return tuple(
            sorted(
                some,
                key=lambda e: (
                    _EVENT_ORDER.index(e.event.kind),
                    e.event.also,
                    e.device in self.helpers,
                    place[e.device],
                ),
            )
        )
