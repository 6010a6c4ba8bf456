"""Both orders of two rungs played by chance, in LANES ways at once.

The program as it is is played once; each other order is then played over the same switches, clocks
and times. All lanes share the times of scans and acts, so that a wait as long as a timer's costs
one scan.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from random import Random

from rungs.program.nodes import Program, Rung
from rungs.prove.order.stage import Env, Stage
from rungs.prove.witness import Act, Witness
from rungs.scan.calendar import Calendar
from rungs.scan.wall import WallClock, default_start

LANES = 128
ONES = (1 << LANES) - 1  # all lanes
ROUNDS = 4
ROUND_APART = (91 * 24 + 5) * 3_600_000  # ms of wall time: a round in each season
ACTS = 6
CUT_ACT = 3  # the act with which the power comes back, in every other round
LEAST = 5  # scans after which a panel at rest may be left alone
MOST_SETTLING = 10
MANY_SWITCHES = 5  # from here on each of them moves more seldom

# what a run shows, what tells most first: whether it ends at rest, and whether it is hasty
_KINDS = ((True, False), (True, True), (False, False))


@dataclass(frozen=True, slots=True)
class _Switch:
    name: str
    slot: int
    closed: bool  # its circuit while nobody touches it
    lag: int  # ms from a change of the circuit to that of its image


@dataclass(slots=True)
class _Bank:
    """One timer in all lanes: since when it runs, and where it has run for its preset."""

    preset: int  # ms
    run: int  # slots
    due: int
    begun: list[tuple[int, int]] = field(default_factory=list)  # time, lanes
    full: int = 0

    def flags(self, t: int) -> int:
        """The lanes in which it is due in the scan at t."""
        while self.begun and t - self.begun[0][0] >= self.preset:
            self.full |= self.begun.pop(0)[1]
        return self.full

    def take(self, t: int, run: int, ran: int) -> None:
        """Start and stop as the scan at t says."""
        if run == ran:
            return
        self.full &= run
        if ran & ~run:
            self.begun = [(since, lanes & run) for since, lanes in self.begun if lanes & run]
        if run & ~ran:
            self.begun.append((t, run & ~ran))

    def next(self) -> int | None:
        """When the first of them runs out."""
        return self.begun[0][0] + self.preset if self.begun else None

    def missed(self, t: int) -> int:
        """The lanes in which it ran out before t and no scan has seen that."""
        found = 0
        for since, lanes in self.begun:
            if since + self.preset < t:
                found |= lanes
        return found


@dataclass(frozen=True, slots=True)
class _Beat:
    """One scan of all lanes, and what the program as it is makes of it."""

    t: int
    wall: int  # wall time at t = 0, ms UTC
    inputs: tuple[int, ...]
    clocks: tuple[int, ...]
    start: bool  # a run begins: nobody has touched anything, nothing is retained
    first: bool  # since power-up
    jumped: bool
    acted: int  # lanes in which a switch moved
    outputs: tuple[int, ...] = ()
    still: int = 0


class Lanes:
    """The part of a program on which the outputs of `shown` depend, played by chance."""

    def __init__(
        self, stage: Stage, part: Program, shown: Sequence[str], calendar: Calendar
    ) -> None:
        self.stage = stage
        self.calendar = calendar
        self.period = stage.period
        self.order = self._order(part.rungs)
        at = {signal.name: n for n, signal in enumerate(stage.signals)}
        self.switches = [
            _Switch(d.name, at[d.name], d.side == "NC", -(-d.debounce // self.period) * self.period)
            for d in part.inputs
        ]
        self.clocks = part.clocks
        self.clock_slots = [at[clock.name] for clock in part.clocks]
        self.shown = [stage.slots["contact", name, 0] for name in shown]
        self.written = sorted({slot for n in self.order for slot in stage.written[n]})
        self.timers = [
            (core.preset, stage.slots["run", timer.name, place], core.due)
            for timer in part.timers
            for place, core in enumerate(stage.timers[timer.name])
        ]
        retained = {d.name for d in part.devices if getattr(d, "retained", False)}
        self.kept = {slot for (_, name, _), slot in stage.slots.items() if name in retained}
        rng = Random(0)
        wall = default_start(calendar)
        self.beats: list[_Beat] = []
        for number in range(ROUNDS):
            self.beats += self._round(rng, wall + number * ROUND_APART, number % 2 == 1)

    def other(self, rungs: Sequence[Rung], resting: bool) -> list[tuple[bool, Witness]]:
        """Runs that show this order of the part's rungs to differ, as (at rest, run), what shows
        most first: with `resting` one at rest and one that is hasty as well, and one in passing.
        """
        order = self._order(rungs)
        env, banks = self._fresh()
        found: dict[tuple[bool, bool], tuple[int, int]] = {}
        alive, hurried, still = ONES, 0, 0
        for number, beat in enumerate(self.beats):
            if beat.start:
                alive, hurried, still = ONES, 0, 0
            elif beat.jumped:
                # the times are those of the other order: here something may have come in between
                alive &= still
                for bank in banks:
                    alive &= ~bank.missed(beat.t)
            if not beat.first:
                hurried |= beat.acted & ~still
            still = self._scan(env, banks, order, beat) & beat.still
            differs = 0
            for slot, mask in zip(self.shown, beat.outputs, strict=True):
                differs |= env[slot] ^ mask
            differs &= alive
            if not differs:
                continue
            for kind in _KINDS:
                rests, hasty = kind
                lanes = differs
                if rests:
                    lanes &= still & (hurried if hasty else ~hurried)
                if lanes and kind not in found:
                    found[kind] = (number, (lanes & -lanes).bit_length() - 1)
            if not resting or (True, False) in found:
                break
        return [(kind[0], self._witness(*found[kind])) for kind in _KINDS if kind in found]

    def _order(self, rungs: Sequence[Rung]) -> list[int]:
        return [self.stage.place_of[rung.number] for rung in rungs]

    def _fresh(self) -> tuple[Env, list[_Bank]]:
        env = [0] * (len(self.stage.signals) + len(self.stage.state))
        return env, [_Bank(*timer) for timer in self.timers]

    def _scan(self, env: Env, banks: Sequence[_Bank], order: Sequence[int], beat: _Beat) -> int:
        """One scan; the lanes in which it changed nothing."""
        if beat.first:
            for slot in self.written:
                if beat.start or slot not in self.kept:
                    env[slot] = 0
            for bank in banks:
                bank.begun, bank.full = [], 0
        env[0] = ONES if beat.first else 0
        for switch, mask in zip(self.switches, beat.inputs, strict=True):
            env[switch.slot] = mask
        for slot, mask in zip(self.clock_slots, beat.clocks, strict=True):
            env[slot] = mask
        for bank in banks:
            env[bank.due] = bank.flags(beat.t) & env[bank.run]
        before = [env[slot] for slot in self.written]
        ran = [env[bank.run] for bank in banks]
        for number in order:
            self.stage.steps[number](env, ONES)
        for bank, had in zip(banks, ran, strict=True):
            bank.take(beat.t, env[bank.run], had)
        changed = ONES if beat.first else 0
        for slot, old in zip(self.written, before, strict=True):
            changed |= env[slot] ^ old
        for clock, mask in zip(self.clocks, beat.clocks, strict=True):
            if clock.end is None:
                changed |= mask
        return ONES ^ changed

    def _round(self, rng: Random, wall: int, fast: bool) -> Iterator[_Beat]:
        """Several acts, the scans after each, and some of the times that run out after that. In a
        `fast` round an act may come before the panel is at rest, and the power stays."""
        env, banks = self._fresh()
        clock = WallClock(self.clocks, self.calendar, wall)
        masks = [ONES * switch.closed for switch in self.switches]
        moved = [0] * len(masks)
        t = 0
        for act in range(ACTS):
            start = act == 0
            first = start or (act == CUT_ACT and not fast)
            if first and not start:
                t += self.period
                clock.forget()
            acted = self._act(rng, masks, moved, t, first)
            waits = rng.choice((0, 1, 1, 2, 3)) + 2 * bool(self.clocks)
            jumped, scans = False, 0
            while True:
                shows = clock.contacts(t)
                clocks = tuple(ONES * shows[each.name] for each in self.clocks)
                beat = _Beat(t, wall, tuple(masks), clocks, start and first, first, jumped, acted)
                still = self._scan(env, banks, self.order, beat)
                yield replace(beat, outputs=tuple(env[slot] for slot in self.shown), still=still)
                first, jumped, acted = False, False, 0
                scans += 1
                t += self.period
                if fast and rng.random() < 0.5:
                    break
                if scans < LEAST or (still != ONES and scans < MOST_SETTLING):
                    continue
                goal = self._goal(banks, clock, t) if waits else None
                if goal is None:
                    break
                waits -= 1
                scans = 0
                if goal > t:
                    t, jumped = goal, True
                    clock.saw(t - self.period)

    def _act(self, rng: Random, masks: list[int], moved: list[int], t: int, first: bool) -> int:
        """Move some switches before the scan at t; the lanes in which one moved. An image changes
        only when its circuit has had the time for that since it changed last."""
        acted = 0
        for place, switch in enumerate(self.switches):
            if first or (t - moved[place] > switch.lag and t > switch.lag):
                flips = rng.getrandbits(LANES) & rng.getrandbits(LANES)
                if len(masks) >= MANY_SWITCHES:
                    flips &= rng.getrandbits(LANES)
                masks[place] ^= flips
                moved[place] = t
                acted |= flips
        return acted

    def _goal(self, banks: Sequence[_Bank], clock: WallClock, t: int) -> int | None:
        """The time two scans before the next one in which a timer runs out or a clock moves, None
        if nothing ever does; the scan at t is the next to be made."""
        times = [bank.next() for bank in banks]
        times.append(clock.next_change(t - self.period) if self.clocks else None)
        soonest = min((each for each in times if each is not None), default=None)
        return None if soonest is None else (-(-soonest // self.period) - 2) * self.period

    def _witness(self, last: int, lane: int) -> Witness:
        """What happened in a lane up to a beat."""
        first = max(n for n in range(last + 1) if self.beats[n].start)
        shown = [switch.closed for switch in self.switches]
        acts: dict[int, list[tuple[str, bool]]] = {}
        cuts = []
        for beat in self.beats[first : last + 1]:
            if beat.first and not beat.start:
                cuts.append(Act(beat.t - self.period, back=beat.t))
            for place, switch in enumerate(self.switches):
                on = bool(beat.inputs[place] >> lane & 1)
                if on != shown[place]:
                    shown[place] = on
                    t = beat.t - (0 if beat.first else switch.lag)
                    acts.setdefault(t, []).append((switch.name, on))
        made = [Act(t, tuple(changes)) for t, changes in acts.items()] + cuts
        ordered = tuple(sorted(made, key=lambda each: (each.t, not each.cut)))
        end = self.beats[last]
        return Witness(ordered, end.t, end.wall if self.clocks else None)
