"""Why a device of each kind stands as it does: the rule by which its state came about.

Switches and clocks are ends; coils follow their rung; what is latched, flipped or counted is
explained in the scan that last moved it, and what no rung has moved by how power came on.
"""

from __future__ import annotations

from typing import Literal, assert_never

from rungs.program.nodes import Clock, Counter, Input, Output, Relay, Timer
from rungs.prove.why.circuits import Circuits
from rungs.prove.why.facts import Facts
from rungs.prove.why.nodes import (
    Context,
    Counted,
    Driven,
    Event,
    Fact,
    FirstScan,
    Forced,
    Held,
    NoPower,
    OnLoad,
    PowerUp,
    Switch,
    Unrecorded,
    Window,
)
from rungs.prove.why.plans import BACK, END, JUMPS, VAGUE, Cost, Plan, end, through
from rungs.prove.why.scans import acts_on
from rungs.prove.why.timers import Timers
from rungs.scan.zone import DAY

LOOKED_BACK = 8 * DAY  # how far back the last edge of a clock is looked for: over a week


class Devices:
    """The explanations of all facts of a history. All times are ms of the run, but wall times."""

    def __init__(self, facts: Facts, circuits: Circuits) -> None:
        self.facts = facts
        self.history = facts.history
        self.circuits = circuits
        self._timers = Timers(facts, circuits)

    def find(self, fact: Fact, context: Context) -> Plan:
        """The explanation of a fact that was come to on this way, and what it costs."""
        history, facts = self.history, self.facts
        if fact.kind == "first_scan":
            return end(facts, fact, FirstScan())
        if not history.base(fact.t).after.powered:
            if fact.kind == "load" or not facts.value(fact):
                return end(facts, fact, NoPower())
            return self._kept(fact, context)
        if fact.kind in ("rising", "falling"):
            return self._edge(fact, context)
        device = facts.program.by_name[fact.name]
        if fact.kind == "load":
            assert isinstance(device, Output)
            coil = facts.fact(fact.name, "contact", fact.t)
            return through(facts, fact, OnLoad(device.side), self.circuits.link(coil, context))
        if facts.forced(fact) is not None:
            return end(facts, fact, self._forced(fact))
        match device:
            case Input():
                return end(facts, fact, self._switch(device, fact.t))
            case Clock():
                return end(facts, fact, self._clock(device, fact.t))
            case Counter():
                if self._strayed(fact, device):
                    return self._left(fact, context)
                return self._counter(fact, device, context)
            case Timer():
                if self._strayed(fact, device):
                    return self._left(fact, context)
                return self._timers.find(fact, device, context) or self._kept(fact, context)
            case Output() | Relay():
                return self._driven(fact, context) or self._held(fact, context)
            case _:
                assert_never(device)

    def _forced(self, fact: Fact) -> Forced:
        """Held by a force in the scan of the fact."""
        closed = self.history.force(fact.name, fact.t)
        assert closed is not None
        return Forced(closed, self.history.forced_since(fact.name, fact.t))

    def _strayed(self, fact: Fact, device: Counter | Timer) -> bool:
        """Whether a contact stands against the count or time that it goes by: a force holds it, or
        left it so and the rung that drives it has not been worked since."""
        if not self.history.ever_forced(fact.name):
            return False
        if isinstance(device, Timer):
            return self._timers.strayed(fact, device)
        shown = self.history.shown(fact.name, fact.t, fact.upto)
        return fact.kind == "contact" and shown.contact != (shown.count >= device.preset)

    def _left(self, fact: Fact, context: Context) -> Plan:
        """As a force holds it, or left it that is gone by now."""
        history, facts = self.history, self.facts
        if history.force(fact.name, fact.t) is not None:
            return end(facts, fact, self._forced(fact))
        until = history.forced_until(fact.name, fact.t)
        if until is None:
            if history.power_up(fact.t) == fact.t:
                return self._kept(fact, context)
            return end(facts, fact, Unrecorded(), VAGUE)
        closed = history.force(fact.name, until)
        assert closed is not None
        since = history.forced_since(fact.name, until)
        return end(facts, fact, Forced(closed, since, until))

    def _kept(self, fact: Fact, context: Context) -> Plan:
        """As power-up, or a power cut, left it."""
        history, facts = self.history, self.facts
        device = facts.program.by_name[fact.name]
        if history.base(fact.t).after.powered and history.took_over(fact.t):
            return end(facts, fact, Unrecorded(), VAGUE)
        if not facts.value(fact) or isinstance(device, Input | Clock) or not device.retained:
            return end(facts, fact, PowerUp(False))
        start = history.power_up(fact.t) if history.base(fact.t).after.powered else fact.t
        before = None if start is None else history.last_powered(start)
        if before is None or context.jumps >= JUMPS:
            return end(facts, fact, PowerUp(True), VAGUE, cut=before is not None)
        earlier = facts.fact(fact.name, fact.kind, before)
        cost, cause = self.circuits.link(earlier, context.back())
        return through(facts, fact, PowerUp(True), (cost.plus(BACK), cause))

    def _switch(self, device: Input, t: int) -> Switch:
        record = self.history.record(t)
        name = device.name
        since = record.after.since.get(name)
        left = None if since is None else max(since + device.debounce - t, 0)
        return Switch(
            record.operated[name], device.side, record.wires[name], record.circuits[name], left
        )

    def _clock(self, clock: Clock, t: int) -> Window | Event:
        calendar, now = self.history.calendar, self.history.wall(t)
        if clock.end is None:
            # in a scan that shows an event, the event is at or before it
            last = calendar.occurrence_between(clock, now - LOOKED_BACK, now)
            return Event(last, calendar.occurrence_after(clock, now))
        since = None
        edge = calendar.next_edge(clock, now - LOOKED_BACK)
        while edge is not None and edge <= now:
            since, edge = edge, calendar.next_edge(clock, edge)
        return Window(since, edge)

    def _edge(self, fact: Fact, context: Context) -> Plan:
        """An edge contact: the device that it watches, in the scan of the rung it is in."""
        facts = self.facts
        edge = facts.edge(fact)
        link = self.circuits.read(fact.name, "contact", facts.rung(fact.upto + 1), fact.t, context)
        # an edge lasts one scan: that the device still stands where it led is told beside it
        over = edge.sees == (fact.kind == "rising") and not facts.value(fact)
        return through(facts, fact, edge, link, cost=END if over else None)

    def _driven(self, fact: Fact, context: Context) -> Plan | None:
        """A device that follows the rung which left it as it is; None if that one holds it."""
        if not fact.upto:
            return None
        rung = self.facts.rung(fact.upto)
        if acts_on(rung, fact.name).verb != "coil":
            return None
        reason = self.circuits.reason(rung, fact.t, context)
        return through(self.facts, fact, Driven(), reason, rung, fact.t)

    def _held(self, fact: Fact, context: Context) -> Plan:
        """A device that is latched, unlatched and flipped: where it was last moved."""
        facts, begins = self.facts, self.history.begins
        found = self._last_move(fact)
        if found is None:
            history = self.history
            known = history.forced_until(fact.name, fact.t) is not None
            if known or (history.ever_forced(fact.name) and history.power_up(fact.t) is None):
                return self._left(fact, context)
            return self._kept(fact, context)
        t, number = found
        rung = facts.rung(number)
        how = Held(acts_on(rung, fact.name).verb)
        if t < begins or (t != fact.t and context.jumps >= JUMPS):
            decided = None if t < begins else t
            return Plan(VAGUE, facts.explained(fact, how, rung, decided, cut=True))
        if t == fact.t:
            return through(facts, fact, how, self.circuits.reason(rung, t, context), rung, t)
        cost, reason = self.circuits.reason(rung, t, context.back())
        return through(facts, fact, how, (cost.plus(BACK), reason), rung, t)

    def _last_move(self, fact: Fact) -> tuple[int, int] | None:
        """The scan and rung that left the device as the fact says; None if nothing moved it since
        power came on. A rung that moves a device and moves it back has not moved it."""
        history = self.history
        base = history.base(fact.t)
        number = self._mover("contact", fact.name, base.t, fact.upto)
        if number is not None:
            return fact.t, number
        while (moved := base.before.moved_by.get(fact.name)) is not None:
            number, t = moved
            if t < history.begins:
                return t, number
            record = history.base(min(t, base.t - 1))
            if record.t >= base.t:
                return None
            base = record
            number = self._mover("contact", fact.name, base.t)
            if number is not None:
                return base.t, number
        return None

    def _mover(
        self, kind: Literal["contact", "count"], name: str, t: int, upto: int | None = None
    ) -> int | None:
        """The last rung (of those up to `upto`) that moved a device in the kept scan at t."""
        for number in reversed(self.history.drivers.get(name, ())):
            if upto is None or number <= upto:
                worked = self.history.worked(t)[number - 1]
                if worked.before[name].of(kind) != worked.after[name].of(kind):
                    return number
        return None

    def _counter(self, fact: Fact, device: Counter, context: Context) -> Plan:
        """A counter: its count is told and not taken apart, but for what last moved it."""
        history, facts = self.history, self.facts
        count = history.shown(fact.name, fact.t, fact.upto).count
        found = self._last_count(fact)
        if found is None:
            if count and history.power_up(fact.t) is not None:
                return self._kept(fact, context)
            return end(facts, fact, Counted(count, device.preset, None))
        t, number = found
        rung = facts.rung(number)
        how = Counted(count, device.preset, acts_on(rung, fact.name).verb)
        if context.jumps >= JUMPS:
            return end(facts, fact, how, cut=True)
        # told beside it: how often is what counts, and not the last time alone
        reason = self.circuits.reason(rung, t, context if t == fact.t else context.back())
        return through(facts, fact, how, reason, rung, t, Cost(1, int(t != fact.t), 1))

    def _last_count(self, fact: Fact) -> tuple[int, int] | None:
        """The scan and rung that last changed a count; None if nothing has since power came on."""
        history = self.history
        start, at = history.power_up(fact.t), history.base(fact.t).t
        number = self._mover("count", fact.name, at, fact.upto)
        if number is not None:
            return fact.t, number
        earlier = history.moved("count", fact.name, at - 1)
        while earlier is not None and (start is None or earlier >= start):
            number = self._mover("count", fact.name, earlier)
            if number is not None:
                return earlier, number
            earlier = history.moved("count", fact.name, earlier - 1)
        return None
