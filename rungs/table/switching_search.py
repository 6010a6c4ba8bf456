"""The search over a panel's settled situations: what every event does to every relay.

Situations that agree in the bits that remember are looked at together, in all their lanes. Which
input holds a timer is not written in a program, so each choice that the scans leave open is tried.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import product
from typing import Final

from rungs.core.nodes import Core
from rungs.findings import Finding
from rungs.language.words import duration_text
from rungs.program.nodes import Program
from rungs.source import NOWHERE
from rungs.table.model import Act
from rungs.table.switching_lanes import (
    Delay,
    Key,
    Machine,
    Meter,
    MisfitError,
    Pulses,
    Settled,
    lowest,
    shifted,
)
from rungs.table.switching_power import MAX_VARIABLES, Columns, PowerCases, PowerUp, power_up_words

MAX_SIGNALS: Final = 20  # levels and delays together; each doubles the lanes
MAX_LATE: Final = 6  # clock events that may be caught up at power-up; each doubles the power-ups

# what an act makes of a relay that was off, and of one that was on; the first that serves is taken
ACTS: Final[tuple[tuple[Act, bool, bool], ...]] = (
    ("leave", False, True),
    ("off", False, False),
    ("on", True, True),
    ("flip", True, False),
)

Place = tuple[int, Key, int]  # depth, key and lane of one situation

# --- refusals ---------------------------------------------------------------------------------


class RefusedError(Exception):
    """A finding that ends the work; `events` is the sequence that shows it."""

    def __init__(self, finding: Finding, situations: int = 0, events: tuple[str, ...] = ()) -> None:
        super().__init__(finding.message)
        self.finding = finding
        self.situations = situations
        self.events = events


def _timer_finding(program: Program, device: str, effect: str, message: str = "") -> Finding:
    return Finding(
        "switching-timer",
        message or f"timer '{device}' is not the delay of one input",
        program.by_name[device].name_span,
        effect,
        "take a board that holds a transition table, or let one input alone start and hold the "
        "timer",
    )


def _size_finding(program: Program, core: Core, count: int, what: str) -> Finding:
    limit = MAX_LATE if what.startswith("clock") else MAX_SIGNALS
    span = program.by_name[core.outputs[0].name].name_span if core.outputs else NOWHERE
    return Finding(
        "table-size",
        f"the outputs depend on {count} {what}, and {limit} are the limit",
        span,
        f"their levels alone would make {1 << count:,} situations",
        "split the panel into programs that share no inputs",
    )


# --- the search -------------------------------------------------------------------------------


class Search(Machine):
    """Breadth-first over the settled situations: what every event does in each of them."""

    def __init__(self, program: Program, core: Core, timed: dict[int, Delay], meter: Meter) -> None:
        super().__init__(program, core, timed, meter)
        self.program = program
        self.reached: dict[Key, int] = {}
        self.layers: list[dict[Key, int]] = []
        # the retained bits that power can come back with: where it was cut, and the outputs after
        self.returns: dict[Key, Place | None] = {}
        self.shown: dict[tuple[Key, Pulses], Columns] = {}
        self.contexts: list[set[tuple[int, Key]]] = [set() for _ in core.outputs]
        # by event and output: the first situation in which it goes off-off, off-on, on-off, on-on
        self.effects: dict[tuple[int, int], list[Place | None]] = {
            (e, r): [None] * 4 for e in range(len(self.events)) for r in range(len(core.outputs))
        }
        self.passing: set[tuple[int, int]] = set()
        self.rungs: dict[int, int] = {}  # by event (-1: power-up), a bit for each of core.powers
        self.situations = 0

    def run(self) -> None:
        """Look at everything that can be reached. Raises RefusedError or BudgetError."""
        nothing = tuple(0 for _ in self.retained)
        self._power_up(nothing, None, 0)
        for known in self.contexts:
            known.add((0, nothing))
        depth = 0
        while depth < len(self.layers):
            for key, mask in self.layers[depth].items():
                before = self.standing(self.wide, mask, key)
                self._cut(depth, key, mask, before)
                for number in range(len(self.events)):
                    self._event(depth, key, mask, before, number)
            depth += 1

    def _land(self, depth: int, state: Columns, mask: int) -> None:
        for key, lanes in self.keys(state, mask, self.keepers):
            fresh = lanes & ~self.reached.get(key, 0)
            if fresh:
                self.reached[key] = self.reached.get(key, 0) | fresh
                while len(self.layers) <= depth:
                    self.layers.append({})
                self.layers[depth][key] = self.layers[depth].get(key, 0) | fresh
                self.situations += fresh.bit_count()
                self.meter.situations = self.situations

    def _power_up(self, retained: Key, source: Place | None, depth: int) -> None:
        self.returns[retained] = source
        for pulses in self.late_pulses():
            try:
                after = self.powered_up(self.wide, self.patterns, retained, pulses)
            except MisfitError as misfit:
                lane = lowest(misfit.lanes)
                raise self._timer_refusal(
                    misfit, (*self.path(source), self._power_words(source, lane, pulses))
                ) from None
            if after.restless:
                lane = lowest(after.restless)
                raise self._unsettled(
                    (*self.path(source), self._power_words(source, lane, pulses)), after, lane
                )
            self.shown[retained, pulses] = after.outputs
            self._note_rungs(-1, after, (), self.patterns)
            self._land(depth, after.state, self.patterns)

    def _cut(self, depth: int, key: Key, mask: int, before: Settled) -> None:
        for retained, lanes in self.keys(before.state, mask, self.retained):
            for known, shown in zip(self.contexts, before.outputs, strict=True):
                if lanes & shown:
                    known.add((1, retained))
                if lanes & ~shown:
                    known.add((0, retained))
            if retained not in self.returns:
                self._power_up(retained, (depth, key, lowest(lanes)), depth + 1)

    def _event(self, depth: int, key: Key, mask: int, before: Settled, number: int) -> None:
        event = self.events[number]
        for lanes, by in event.parts:
            old = mask & lanes
            if not old:
                continue
            new = shifted(old, by)
            start = tuple(shifted(bits & old, by) for bits in before.state)
            try:
                after = self.settle(self.wide, start, new, event.pulses, begins=event.begins)
            except MisfitError as misfit:
                place = (depth, key, lowest(misfit.lanes) - by)
                raise self._timer_refusal(
                    misfit, (*self.path(place), event.words(self.core))
                ) from None
            if after.restless:
                lane = lowest(after.restless)
                path = self.path((depth, key, lane - by))
                raise self._unsettled((*path, event.words(self.core)), after, lane)
            self._note_effects(depth, key, number, new, by, before, after)
            was = tuple(shifted(bits & old, by) for bits in before.powers)
            self._note_rungs(number, after, was, new)
            self._land(depth + 1, after.state, new)

    def _note_effects(
        self,
        depth: int,
        key: Key,
        number: int,
        new: int,
        by: int,
        before: Settled,
        after: Settled,
    ) -> None:
        for relay, shown in enumerate(after.outputs):
            was = shifted(before.outputs[relay], by)
            seen = self.effects[number, relay]
            for which, lanes in enumerate(
                (new & ~was & ~shown, new & ~was & shown, new & was & ~shown, new & was & shown)
            ):
                if lanes and seen[which] is None:
                    seen[which] = (depth, key, lowest(lanes) - by)
            stays = new & ~(was ^ shown)
            if stays & (shown & after.low[relay] | ~shown & after.high[relay]):
                self.passing.add((number, relay))

    def _note_rungs(self, number: int, after: Settled, was: Columns, mask: int) -> None:
        found = self.rungs.get(number, 0)
        for place, had in enumerate(after.had):
            lost = was[place] & ~after.powers[place] if was else 0
            if (had | lost) & mask:
                found |= 1 << place
        self.rungs[number] = found

    # --- words of a way

    def path(self, place: Place | None) -> tuple[str, ...]:
        """A shortest way from power-up to a situation, each event in words."""
        words: list[str] = []
        watching, self.watching = self.watching, False
        while place is not None:
            step, place = self._step(place)
            words.append(step)
        self.watching = watching
        return tuple(reversed(words))

    def _power_words(self, source: Place | None, lane: int, pulses: Pulses) -> str:
        names = [
            (self.core.signals[s].name, bool(lane >> p & 1)) for p, s in enumerate(self.leveled)
        ]
        late = [self.core.signals[s].name for s in sorted(pulses)]
        return power_up_words(source is None, names, late)

    def _step(self, place: Place) -> tuple[str, Place | None]:
        """The last event on the way to a situation, and the situation before it."""
        depth, key, lane = place
        lanes = self.narrow(lane)
        for retained, source in self.returns.items():
            if depth != (0 if source is None else source[0] + 1) or not self.patterns >> lane & 1:
                continue
            for pulses in self.late_pulses():
                after = self.powered_up(lanes, 1, retained, pulses)
                if self._key(after) == key:
                    return self._power_words(source, lane, pulses), source
        for old_key, mask in self.layers[depth - 1].items():
            for event in self.events:
                for filters, by in event.parts:
                    old = lane - by
                    if old < 0 or not (mask & filters) >> old & 1:
                        continue
                    state = self.standing(self.narrow(old), 1, old_key).state
                    after = self.settle(lanes, state, 1, event.pulses, begins=event.begins)
                    if not after.restless and self._key(after) == key:
                        return event.words(self.core), (depth - 1, old_key, old)
        raise AssertionError("a situation that was reached has a way to it")

    def _key(self, settled: Settled) -> Key:
        return tuple(settled.state[bit] for bit in self.keepers)

    def _unsettled(self, events: tuple[str, ...], after: Settled, lane: int) -> RefusedError:
        """The refusal of a program that goes round and round in a lane from `after` on."""
        lanes = self.narrow(lane)
        start = tuple(bits >> lane & 1 for bits in after.state)
        state, rows = start, list[Columns]()
        while not rows or state != start:
            state, outputs, _ = self.scan_once(lanes, state)
            rows.append(outputs)
        moving = [
            output.name
            for output, shown in zip(self.core.outputs, zip(*rows, strict=True), strict=True)
            if len(set(shown)) > 1
        ]
        what = f"{', '.join(moving)} would chatter" if moving else "no output moves"
        finding = Finding(
            "switching-unsettled",
            "the program does not settle",
            self.program.by_name[moving[0]].name_span if moving else NOWHERE,
            f"after [{'; '.join(events)}] it never comes to rest, though nothing else changes: "
            f"every {len(rows)} scans it begins anew, and {what}",
            "break the ring of rungs that drive each other, for instance with a contact of an "
            "input",
        )
        return RefusedError(finding, self.situations, events)

    def _timer_refusal(self, misfit: MisfitError, events: tuple[str, ...]) -> RefusedError:
        timer = self.core.timers[misfit.timer]
        effect = f"after [{'; '.join(events)}] {misfit.why}"
        return RefusedError(
            _timer_finding(self.program, timer.device, effect), self.situations, events
        )

    # --- power

    def power_cases(self, power_up: PowerUp, acts: dict[int, tuple[Act, ...]]) -> PowerCases:
        """All that can be met when power comes back, with what the program then does."""
        core = self.core
        late = tuple(self.late)
        at = {self.events[e].signal: acts[e] for e in acts if self.events[e].event == "at"}
        order = list(self.late_pulses())
        self.meter.charge(
            len(core.outputs) * len(self.returns) * len(order) * 4,
            1 << min(len(self.leveled) + len(late) + len(self.retained) + 1, MAX_VARIABLES),
        )
        return PowerCases(
            relays=tuple(output.name for output in core.outputs),
            signals=tuple(core.signals[s].name for s in self.leveled),
            late=tuple(core.signals[s].name for s in late),
            late_acts=tuple(at[s] for s in late),
            retained=tuple(core.state[bit] for bit in self.retained),
            contexts=tuple(
                frozenset(((0, kept) for _, kept in known) if power_up == "off" else known)
                for known in self.contexts
            ),
            keeps=power_up == "last",
            shown={
                (kept, tuple(int(s in pulses) for s in late)): outputs
                for (kept, pulses), outputs in self.shown.items()
            },
        )


# --- timers as delays of inputs ---------------------------------------------------------------


def explored(program: Program, core: Core, delays: bool, meter: Meter) -> Search:
    """The search with each timer as the delay of an input, where the board has delays.

    Raises RefusedError where there are too many signals, where the program does not settle or
    where a timer is no delay of a row; and BudgetError.
    """
    signals = [s for s in core.signals if s.kind in ("input", "clock")]
    if len(signals) > MAX_SIGNALS:
        raise RefusedError(_size_finding(program, core, len(signals), "signals"))
    caught_up = [c.name for c in program.clocks if c.catch_up]
    if sum(s.name in caught_up for s in signals) > MAX_LATE:
        raise RefusedError(_size_finding(program, core, len(caught_up), "clock events to catch up"))
    for timer in core.timers:
        if timer.kind == "accumulating":
            effect = "a delay of a row begins anew each time, and does not add up"
            raise RefusedError(_timer_finding(program, timer.device, effect))
        if not delays:
            message = f"timer '{timer.device}' needs rows with a delay, and this board has none"
            effect = "the board would never act when the time is up"
            raise RefusedError(_timer_finding(program, timer.device, effect, message))
    search = Search(program, core, {}, meter)
    if not core.timers:
        search.run()
        return search
    # as long as no time has run out, the inputs that can hold each timer show themselves
    search.run()
    return _with_delays(program, core, search.holds, meter)


def _with_delays(
    program: Program, core: Core, holds: list[list[tuple[int, bool]]], meter: Meter
) -> Search:
    """The first choice of inputs for the timers that fits, else what stands in the way."""
    refused: RefusedError | None = None
    clashing: Search | None = None
    # a timer that never ran, in a program without inputs, has nothing to choose from
    numbers = [number for number, some in enumerate(holds) if some]
    for choice in product(*(holds[number] for number in numbers)):
        timed = {
            n: Delay(signal, level, core.timers[n].preset)
            for n, (signal, level) in zip(numbers, choice, strict=True)
        }
        levels = sum(s.kind in ("input", "clock") for s in core.signals) + len(set(timed.values()))
        if levels > MAX_SIGNALS:
            raise RefusedError(_size_finding(program, core, levels, "signals and delays"))
        search = Search(program, core, timed, meter)
        try:
            search.run()
            _long_enough(program, search)
        except RefusedError as why:
            # the input that lasted longest tells most about the timer
            if refused is None or len(why.events) >= len(refused.events):
                refused = why
            continue
        if not any(best_act(seen) is None for seen in search.effects.values()):
            return search
        clashing = clashing or search
    if clashing is not None:
        return clashing
    assert refused is not None
    raise refused


def _long_enough(program: Program, search: Search) -> None:
    """A time that can be up before the panel has settled would act in the midst of an event."""
    for timer in search.core.timers:
        if timer.preset <= search.slowest * search.core.period:
            scans = f"{search.slowest + 1} scans of {search.core.period} ms"
            message = f"timer '{timer.device}' is too short for a delay of a row"
            effect = (
                f"its {duration_text(timer.preset)} can be up before the program has settled, "
                f"which takes up to {scans}"
            )
            raise RefusedError(
                _timer_finding(program, timer.device, effect, message), search.situations
            )


def best_act(seen: Sequence[Place | None]) -> Act | None:
    """The first act that does what was seen (off-off, off-on, on-off, on-on), if one does."""
    for act, from_off, from_on in ACTS:
        if seen[0 if from_off else 1] is None and seen[2 if from_on else 3] is None:
            return act
    return None
