"""Reasons as clauses of a sentence: what a rung rested on, each contact with its few words.

What can be told in a few words stands in the sentence about the rung, as a technician would say it,
and needs no paragraph of its own.
"""

from __future__ import annotations

from typing import assert_never

from rungs.program.nodes import Compare, Contact, Input
from rungs.prove.why.nodes import (
    Cause,
    Counted,
    Edge,
    Either,
    Event,
    Explanation,
    FirstScan,
    Forced,
    NoPower,
    PowerUp,
    Reason,
    Switch,
    Timed,
    Together,
    Unrecorded,
    Was,
    Window,
    causes,
)
from rungs.report.why_words import Words, caption, length


class Clauses:
    """Puts the causes of explanations into clauses."""

    def __init__(self, words: Words) -> None:
        self.words = words
        self.history = words.history

    def reason(self, reason: Reason, shut: bool, each: Explanation) -> str:
        """The causes of a rung that is `shut`, in one sentence."""
        match reason:
            case Cause():
                return self.clause(reason, shut, each)
            case Together():
                parts = [self.reason(part, shut, each) for part in reason.parts]
                return f"{', '.join(parts[:-1])}, and {parts[-1]}"
            case Either():
                if len(reason.parts) == 1:
                    return self.reason(reason.parts[0], shut, each)
                parts = [self.reason(part, shut, each) for part in reason.parts]
                ways = [
                    f"({words})" if isinstance(part, Together) else words
                    for part, words in zip(reason.parts, parts, strict=True)
                ]
                lead = "either" if len(ways) == 2 else "any of"
                return f"{lead} {' or '.join(ways)} (each is enough)"
            case _:
                assert_never(reason)

    def clause(self, cause: Cause, shut: bool, each: Explanation) -> str:
        """One contact: its device, how it stands, and why if that is a matter of a few words."""
        why, name = cause.why, cause.fact.name
        if why is None:
            if cause.leaf is None:
                return self.words.state(name, cause.fact.kind, cause.conducts)
            be = "was" if each.decided is not None and self.words.past(each.decided) else "is"
            return f"'{caption(cause.leaf)}' {be} {'closed' if cause.conducts else 'open'}"
        text = self._phrase(cause, why, each)
        leaf = cause.leaf
        if isinstance(leaf, Compare):
            text += f" ({leaf.op} {leaf.number} {'holds' if cause.conducts else 'does not hold'})"
        if not shut and isinstance(leaf, Contact) and leaf.negated and leaf.kind == "closed":
            return f"'not {name}' is open, for {text}"
        return text

    def _phrase(self, cause: Cause, why: Explanation, each: Explanation) -> str:
        """How the device of a contact stands, and why."""
        name, kind = cause.fact.name, cause.fact.kind
        inline = self.inline(why)
        past = self.words.past(why.at)
        subject = self.words.subject(name, kind)
        mine = each.rung is not None and name == each.fact.name
        match why.how:
            case FirstScan():
                return "it is the first scan" if why.value else "it is not the first scan"
            case Edge():
                return self._edge(cause, why)
            case Was():
                words = self.words.word(name, kind, why.value, past=True)
                return f"{'it' if mine else name} {words} before"
            case Forced():
                return self._by_force(cause, why, why.how)
            case Switch() | Window() | Event() | Timed() if inline is not None:
                return inline
            case PowerUp(kept=False):
                words = self.words.word(name, kind, why.value, past)
                if cause.held:
                    words = "has been " + words.removeprefix("was ").removeprefix("is ")
                return f"{'it' if mine else subject} {words} since power came on"
            case Counted():
                does = "counted" if past else "counts"
                return f"{name} {does} {why.how.count} of {why.how.preset}"
            case _:
                pass
        since = self.words.since(why.since)
        own = each.fact.name == name and cause.held and bool(why.value) == bool(each.value)
        if own and why.value:
            return f"it holds itself{since}"
        if own:
            return f"it has been off itself{since}"
        if cause.held:
            words = self.words.word(name, kind, why.value).removeprefix("is ")
            return f"{subject} has been {words}{since}"
        text = f"{subject} {self.words.word(name, kind, why.value, past)}"
        return text if inline is None else f"{text} ({inline})"

    def _by_force(self, cause: Cause, why: Explanation, how: Forced) -> str:
        """A contact that a force holds, or left as it is."""
        name, kind, past = cause.fact.name, cause.fact.kind, self.words.past(why.at)
        be = "was" if past else "is"
        if kind == "timing":
            held = f"its contact {be} {self.words.held(why, how)}"
            return f"{name} {self.words.word(name, kind, why.value, past)}, for {held}"
        if how.until is None and not cause.held:
            return f"{name} {be} {self.words.held(why, how)}"
        words = self.words.word(name, kind, why.value, past)
        if cause.held:
            words = "has been " + words.removeprefix("was ").removeprefix("is ")
            words += self.words.since(why.since)
        return f"{name} {words} (it was {self.words.held(why, how)})"

    def _edge(self, cause: Cause, why: Explanation) -> str:
        """What an edge contact saw, or waits for."""
        kind, name = cause.fact.kind, cause.fact.name
        device = next(causes(why.reason), None)
        if why.value:
            went, gone = ("rose", "risen") if kind == "rising" else ("fell", "fallen")
            moved = went if self.words.past(why.at) else f"has just {gone}"
            return f"{name} {moved}{self._in_brackets(device)}"
        inner = ""
        if device is not None and device.why is not None:
            inner = self._phrase(device, device.why, why)
        assert isinstance(why.how, Edge)
        if why.how.sees == (kind == "rising"):
            # it stands where the edge would have led
            return f"'{kind} {name}' is closed for one scan alone, and {inner}"
        return f"'{kind} {name}' is open, for {inner or name + ' has not moved'}"

    def _in_brackets(self, cause: Cause | None) -> str:
        """` (operated at 22:45:03)` for a switch."""
        if cause is None or cause.why is None or not isinstance(cause.why.how, Switch):
            return ""
        return f" ({self.moved(cause.why, cause.why.how)})"

    def moved(self, each: Explanation, how: Switch) -> str:
        """How the actuator or the wire stands, and since when."""
        when = self.words.at(each.since)
        if how.bouncing is not None:
            state = "closed" if how.circuit else "open"
            return f"its circuit is {state} already, {length(how.bouncing)} of debounce to go"
        match how.wire:
            case "broken":
                return "its wire is broken"
            case "shorted":
                return "its wire is shorted"
            case "sound":
                stands = "operated" if how.operated else "released"
                if when and self._was_faulty(each):
                    return f"{stands}, its wire mended{when}"
                return f"{stands}{when}"
            case _:
                assert_never(how.wire)

    def _was_faulty(self, each: Explanation) -> bool:
        """Whether the image changed because a wire was mended, and not because a hand moved."""
        device = self.history.program.by_name[each.fact.name]
        assert isinstance(device, Input)
        assert each.since is not None
        before = each.since.t - device.debounce - self.history.period
        if before < self.history.begins:
            return False
        return self.history.base(before).wires[device.name] != "sound"

    def inline(self, why: Explanation) -> str | None:
        """An explanation that a few words tell in full; None for one that needs a paragraph."""
        name, past = why.fact.name, self.words.past(why.at)
        match why.how:
            case Switch() as how:
                be = self.words.word(name, "contact", why.value, past)
                return f"{name} {be} ({self.moved(why, how)})"
            case Window() as how:
                be = self.words.word(name, "contact", why.value, past)
                return f"{name} {be}{'' if past else self.until(how.until)}"
            case Event() as how:
                if why.value:
                    return f"{name} came{self.words.at(why.at)}"
                if how.next is None:
                    return f"{name} is open"
                return f"{name} is open until it comes at {self.words.clock(how.next, short=True)}"
            case FirstScan() | Was() | NoPower() | PowerUp(kept=False) | Unrecorded():
                return ""
            case Counted() if why.reason is None:
                return ""
            case Forced():
                return ""  # the phrase says it all
            case Timed() as how:
                switch = self._lone_switch(why.reason)
                words = self.timed(why, how).removeprefix("it ")
                if how.phase in ("off", "held", "holding", "reset"):
                    if switch is None:
                        return None
                    state = self.words.word(name, why.fact.kind, why.value)
                    return f"{name} {state} ({switch})"
                if switch is None and how.phase != "timing":
                    return None
                lead = f"{name} {words}" if not words.startswith("its ") else f"{name}: {words}"
                return lead if switch is None else f"{lead} ({switch})"
            case _:
                return None

    def _lone_switch(self, reason: Reason | None) -> str | None:
        """`call_button was released at 22:45:03`, if that is all a rung rests on."""
        if not isinstance(reason, Cause) or reason.why is None:
            return None
        why = reason.why
        if isinstance(why.how, Switch):
            moved = self.moved(why, why.how)
            if why.how.bouncing is not None:
                return self.inline(why)
            if why.how.wire != "sound":
                return f"the wire of {why.fact.name} is {why.how.wire}"
            be = "was" if self.words.at(why.since) else "is"
            return f"{why.fact.name} {be} {moved}"
        if isinstance(why.how, Window):
            return self.inline(why)
        return None

    def timed(self, each: Explanation, how: Timed) -> str:
        """What a timer is doing."""
        left = "" if how.left is None else length(how.left)
        ended = None if how.ended is None else each.at.t - how.ended
        ago = "" if ended is None else f"{length(ended)} ago"
        out = "it has just timed out" if ended == 0 else f"it timed out {ago}".rstrip()
        match how.phase:
            case "off":
                if how.kind in ("off-delay", "pulse"):
                    return "it has not been started since power came on"
                return "its coil is off" + (f", and it dropped out {ago}" if ended else "")
            case "timing":
                gathered = ""
                if how.kind == "accumulating" and how.elapsed:
                    gathered = f"{length(how.elapsed)} gathered, "
                return f"it is timing, {gathered}{left} left"
            case "done" if how.kind == "accumulating":
                return "its time is full" + (f", and has been for {length(ended)}" if ended else "")
            case "done":
                return f"{out} and is still held"
            case "held":
                return "its coil holds it"
            case "ended":
                return out
            case "spent":
                over = f"its pulse ended {ago}" if ago else "it has started no pulse"
                return f"{over}, and the next needs its rung to lose power and gain it again"
            case "holding":
                return f"its coil is off, and it holds {length(how.elapsed or 0)}, {left} short"
            case "reset":
                return "it is held at nothing"
            case "bright" | "dark":
                return f"it is in its {'on' if how.phase == 'bright' else 'off'} time, {left} left"
            case _:
                assert_never(how.phase)

    def until(self, instant: int | None) -> str:
        """` until TIME` of a clock (ms UTC), or nothing."""
        return "" if instant is None else f" until {self.words.clock(instant, short=True)}"
