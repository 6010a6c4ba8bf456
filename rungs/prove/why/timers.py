"""Why a timer stands as it does: the phase that it is in, and the rung that drives or resets it."""

from __future__ import annotations

from dataclasses import replace
from typing import assert_never

from rungs.program.nodes import Rung, Timer
from rungs.prove.why.circuits import Circuits
from rungs.prove.why.facts import Facts
from rungs.prove.why.nodes import Context, Driven, Fact, Phase, Timed
from rungs.prove.why.plans import END, JUMPS, Plan, end, through
from rungs.prove.why.scans import acts_on, drives


class Timers:
    """The explanations of timers. All times are ms of the run."""

    def __init__(self, facts: Facts, circuits: Circuits) -> None:
        self.facts = facts
        self.history = facts.history
        self.circuits = circuits

    def find(self, fact: Fact, timer: Timer, context: Context) -> Plan | None:
        """Why a timer, or its coil, is as it is; None if no rung has driven it since power-up."""
        drivers = map(self.facts.rung, self.history.drivers.get(fact.name, ()))
        rung = next((rung for rung in drivers if drives(rung, fact.name)), None)
        if rung is None or not fact.upto:
            return None
        if fact.kind == "coil":
            reason = self.circuits.reason(rung, fact.t, context)
            return through(self.facts, fact, Driven(), reason, rung, fact.t)
        if timer.kind == "accumulating":
            return self._accumulating(fact, timer, rung, context)
        how = self._doing(fact, timer)
        at = fact.t
        if timer.kind == "pulse" and how.phase == "timing" and how.since is not None:
            at = how.since  # what counts is the power that it gained then
        return self._by(rung, at, fact, how, context, how.phase in ("timing", "spent"))

    def strayed(self, fact: Fact, timer: Timer) -> bool:
        """Whether a timer's contact, or what `timing` makes of it, stands against its time.

        Only a force does that, while it is held and until the rung of the timer is worked again.
        """
        if timer.kind not in ("on-delay", "accumulating") or fact.kind not in ("contact", "timing"):
            # the others are timing whatever their contact shows, and worked in one place
            return False
        shown = self.history.shown(fact.name, fact.t, fact.upto)
        if timer.kind == "accumulating":
            full = shown.count >= timer.preset
        elif not fact.upto:
            # the timer has not been worked in this scan
            return fact.kind == "timing" and shown.coil
        else:
            full = self._doing(fact, timer).phase == "done"
        if fact.kind == "contact":
            return shown.contact != full
        return shown.timing != (shown.coil and not full)

    def _by(
        self, rung: Rung, at: int, fact: Fact, how: Timed, context: Context, beside: bool
    ) -> Plan:
        """With what the rung rested on in the scan at `at`, as the reason or only told `beside` the
        time that is the reason."""
        if at < self.history.begins:
            return end(self.facts, fact, how)
        if at != fact.t and context.jumps >= JUMPS:
            return end(self.facts, fact, how, cut=True)
        inner = context if at == fact.t else context.back()
        reason = self.circuits.reason(rung, at, inner)
        return through(self.facts, fact, how, reason, rung, at, END if beside else None)

    def _doing(self, fact: Fact, timer: Timer) -> Timed:
        """What a timer other than an accumulating one is doing."""
        history, name, t = self.history, fact.name, fact.t
        state = history.base(t).after
        start = state.since.get(name)
        elapsed = None if start is None else t - start
        begun, moved = history.power_up(t), history.moved("contact", name, t)
        ended = moved if moved is not None and begun is not None and moved >= begun else None
        phase = _phase(timer, state.coils.get(name, False), start, t, ended)
        how = Timed(timer.kind, phase, elapsed, since=start)
        match phase:
            case "off" | "done" | "ended" | "spent":
                return replace(how, ended=ended)
            case "timing":
                assert elapsed is not None
                return replace(how, left=max(timer.preset - elapsed, 0))
            case "bright" | "dark":
                assert elapsed is not None
                cycle = timer.preset + timer.off
                gone = elapsed % cycle
                whole = timer.preset if phase == "bright" else cycle
                return replace(how, elapsed=gone, left=whole - gone)
            case _:
                return how

    def _accumulating(self, fact: Fact, timer: Timer, rung: Rung, context: Context) -> Plan | None:
        history, name, t = self.history, fact.name, fact.t
        base = history.base(t)
        shown = history.shown(name, t, fact.upto)
        count = shown.count if base.t == t else history.record(t).after.counts[name]
        for number in reversed(history.drivers[name]):
            other = self.facts.rung(number)
            resets = number <= fact.upto and acts_on(other, name).verb == "reset"
            if resets and count == 0 and history.worked(t)[number - 1].power:
                how = Timed(timer.kind, "reset", 0, timer.preset)
                reason = self.circuits.reason(other, t, context)
                return through(self.facts, fact, how, reason, other, t)
        at = t
        if rung.number > fact.upto:
            if base.after.first and base.t == t:
                return None
            at = history.previous(t)
        phase: Phase = "done" if shown.contact else "timing" if shown.coil else "holding"
        left = timer.preset - count
        moved = history.moved("contact", name, t)
        how = Timed(timer.kind, phase, count, left if left > 0 else None, ended=moved)
        return self._by(rung, at, fact, how, context, phase != "holding")


def _phase(timer: Timer, coil: bool, start: int | None, t: int, ended: int | None) -> Phase:
    """What a timer other than an accumulating one is doing, from when it started and ended (ms)."""
    match timer.kind:
        case "on-delay":
            if not coil or start is None:
                return "off"
            return "timing" if t - start < timer.preset else "done"
        case "off-delay":
            if coil:
                return "held"
            if start is not None:
                return "timing"
            return "off" if ended is None else "ended"
        case "pulse":
            if start is not None:
                return "timing"
            if coil:
                return "spent"
            return "off" if ended is None else "ended"
        case "flasher":
            if not coil or start is None:
                return "off"
            return "bright" if (t - start) % (timer.preset + timer.off) < timer.preset else "dark"
        case "accumulating":
            raise AssertionError("an accumulating timer has phases of its own")
        case _:
            assert_never(timer.kind)
