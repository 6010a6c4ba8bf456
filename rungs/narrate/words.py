"""Sentences of a narration in plain English.

Inputs are told by circuit and by actuator, since one reader has the drawing in hand and the other
the button: an NC stop button that is pressed has an open circuit.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from typing import assert_never

from rungs.language.words import duration_text
from rungs.narrate.data import (
    Aspect,
    Becomes,
    Condition,
    Event,
    EventKind,
    Fact,
    FactKind,
    Follower,
    Sentence,
)
from rungs.program.nodes import Counter, Input, Output, Program, Timer


def listed(words: Sequence[str], last: str = "and") -> str:
    """`a`, `a and b`, `a, b and c`."""
    if len(words) < 2:
        return "".join(words)
    return f"{', '.join(words[:-1])} {last} {words[-1]}"


@dataclass(frozen=True, slots=True)
class _Group:
    """What one event does alike to some devices: in words, under which condition, and whether it is
    certain then."""

    words: str
    condition: Condition | None
    exact: bool
    names: tuple[str, ...] = ()

    @property
    def terms(self) -> tuple[Condition | None, bool]:
        """What has to be the same for two groups to be told in one sentence."""
        return self.condition, self.exact

    @property
    def text(self) -> str:
        """`pull_in and pull_out go off`."""
        words = _plural(self.words) if len(self.names) > 1 else self.words
        return f"{listed(self.names)} {words}"


@dataclass(frozen=True, slots=True)
class Speaker:
    """Puts the sentences of one program into words; with `kept` what conditions say of relays and
    counts is what they bring over a power cut."""

    program: Program
    kept: bool = False

    # --- events

    def event(self, event: Event) -> str:
        """`When it is pressed (its circuit closes)`; a clock that moves with others names them."""
        also = [f"{name} {self._verb(kind, name)}" for name, kind in event.also]
        words = self._event(event)
        return f"{words}, and {listed(also)} at the same moment" if also else words

    def _event(self, event: Event) -> str:
        match event.kind:
            case "closes" | "opens":
                device = self.program.by_name[event.device]
                assert isinstance(device, Input)
                operated = (event.kind == "closes") == (device.side == "NO")
                verb = self.hand(device, operated)
                return f"When it is {verb} (its {device.side} circuit {event.kind})"
            case "begins" | "ends":
                return f"When it {event.kind}"
            case "comes":
                return "When it comes"
            case "runs out":
                return self._run_out(event.device)
            case "lights up":
                return "When its on time begins"
            case "goes dark":
                return "When its off time begins"
            case "power-up":
                return "When power comes and every switch is at rest"
            case "power cut":
                return "When power fails and comes back, with switches and clocks as they are"
            case _:
                assert_never(event.kind)

    def _run_out(self, name: str) -> str:
        timer = self.program.by_name[name]
        assert isinstance(timer, Timer)
        time = duration_text(timer.preset)
        if timer.kind == "accumulating":
            return f"When its {time} are full"
        return f"When its {time} are over"

    def _verb(self, kind: EventKind, name: str) -> str:
        return kind if kind != "runs out" else f"of {name} runs out"

    @staticmethod
    def hand(device: Input, operated: bool) -> str:
        """What a hand does to the actuator."""
        if device.actuator == "momentary":
            return "pressed" if operated else "let go"
        return "operated" if operated else "released"

    # --- facts and conditions

    def fact(self, fact: Fact) -> str:
        """One contact as it stands: `stop_button is closed (not pressed)`."""
        return f"{fact.name} {self.stands(fact)}"

    def stands(self, fact: Fact) -> str:
        """The same without the name."""
        value = fact.value
        if self.kept and fact.kind in ("output", "relay", "timer", "count"):
            now = replace(self, kept=False).stands(fact)
            then = now.replace("is ", "was ", 1).replace("has ", "had ", 1)
            then = then.replace("counts", "counted", 1)
            return f"{then} before"
        match fact.kind:
            case "input":
                return self._circuit(fact)
            case "clock":
                return f"is {'closed' if value else 'open'}"
            case "late":
                return "is caught up after the cut" if value else "is not caught up"
            case "output" | "relay":
                return f"is {'on' if value else 'off'}"
            case "count":
                return (
                    f"counts {fact.number} or more" if value else f"counts less than {fact.number}"
                )
            case "timer":
                return self._timer(fact)
            case "timing":
                timer = self.program.by_name[fact.name]
                word = "flashing" if _kind(timer) == "flasher" else "timing"
                return f"is {word}" if value else f"is not {word}"
            case "bit":
                return "holds" if value else "does not hold"
            case _:
                assert_never(fact.kind)

    def _circuit(self, fact: Fact) -> str:
        device = self.program.by_name[fact.name]
        assert isinstance(device, Input)
        words = f"is {'closed' if fact.value else 'open'}"
        if device.side == "NO":
            return words
        operated = not fact.value
        if device.actuator == "momentary":
            return f"{words} ({'pressed' if operated else 'not pressed'})"
        return f"{words} ({'operated' if operated else 'released'})"

    def _timer(self, fact: Fact) -> str:
        match _kind(self.program.by_name[fact.name]):
            case "on-delay":
                return "has run out" if fact.value else "has not run out"
            case "accumulating":
                return "is full" if fact.value else "is not full"
            case "flasher":
                return "is in its on time" if fact.value else "is not in its on time"
            case "pulse":
                return "is running" if fact.value else "is not running"
            case _:
                return f"is {'on' if fact.value else 'off'}"

    def condition(self, condition: Condition) -> str:
        """A condition, with what all terms ask said once."""
        common = [f for f in condition[0] if all(f in term for term in condition)]
        rest = [tuple(f for f in term if f not in common) for term in condition]
        if not any(rest):
            return listed(self._facts(common))
        doubt = bool(common)
        pair = _product(rest)
        if pair is not None:
            parts = [self._either(group, True) for group in pair]
        elif all(len(term) == 1 for term in rest):
            parts = [self._either([term[0] for term in rest], doubt)]
        else:
            terms = [listed(self._facts(term)) for term in rest]
            if not common:
                return ", or ".join(terms)
            parts = [f"either {', or '.join(terms)}"]
        said = [*self._facts(common), *parts]
        return said[0] if len(said) == 1 else f"{', '.join(said[:-1])}, and {said[-1]}"

    def _either(self, facts: Sequence[Fact], among: bool) -> str:
        """`start_float or high_float is closed`, `overload_2 is open or second_leads is off`; what
        stands `among` other conditions begins with `either` where it would be read wrongly."""
        groups: dict[str, list[str]] = {}
        for fact in facts:
            groups.setdefault(self.stands(fact), []).append(fact.name)
        said = [f"{listed(names, 'or')} {stands}" for stands, names in groups.items()]
        return f"either {listed(said, 'or')}" if among and len(said) > 1 else listed(said, "or")

    def _facts(self, facts: Sequence[Fact]) -> list[str]:
        """Facts that hold together, those that stand alike joined, and the counts at the end."""
        said: list[str] = []
        groups: dict[str, list[str]] = {}
        for fact in facts:
            if fact.kind != "count":
                groups.setdefault(self.stands(fact), []).append(fact.name)
        for stands, names in groups.items():
            said.append(f"{listed(names)} {stands if len(names) == 1 else _plural(stands)}")
        counts = [fact for fact in facts if fact.kind == "count"]
        for name in dict.fromkeys(fact.name for fact in counts):
            said.append(self._count([fact for fact in counts if fact.name == name]))
        return said

    def _count(self, facts: Sequence[Fact]) -> str:
        name = facts[0].name
        tail = " before" if self.kept else ""
        low = max((f.number for f in facts if f.value), default=0)
        high = min((f.number - 1 for f in facts if not f.value), default=None)
        counts = "counted" if self.kept else "counts"
        if high is None:
            device = self.program.by_name[name]
            if isinstance(device, Counter) and device.preset == low:
                return f"{name} {'had' if self.kept else 'has'} counted its {low}{tail}"
            return f"{name} {counts} {low} or more{tail}"
        if low == high:
            return f"{name} {counts} {low}{tail}"
        if low:
            return f"{name} {counts} {low} to {high}{tail}"
        return f"{name} {counts} less than {high + 1}{tail}"

    # --- sentences

    def told(self, some: Sequence[Sentence], inside: Collection[str]) -> tuple[str, ...]:
        """The sentences of one event; what happens `inside` the panel is told with what happens
        outside under the same condition, and the rest of it behind."""
        outside = self._grouped(each for each in some if each.device not in inside)
        helpers = self._grouped(each for each in some if each.device in inside)
        said = []
        for group in outside:
            with_it = [h for h in helpers if group.exact and h.terms == group.terms]
            helpers = [h for h in helpers if h not in with_it]
            said.append(self._said(group, with_it))
        return (*said, *(f"Inside: {self._said(group)}" for group in helpers))

    def sentences(self, some: Iterable[Sentence]) -> tuple[str, ...]:
        """The sentences of one event, those that differ in nothing but the device joined."""
        return tuple(self._said(group) for group in self._grouped(some))

    def sentence(self, sentence: Sentence) -> str:
        """One sentence, without the event."""
        return self.sentences([sentence])[0]

    def _grouped(self, some: Iterable[Sentence]) -> list[_Group]:
        groups: dict[_Group, list[str]] = {}
        for words, each in self._worded(list(some)):
            groups.setdefault(_Group(words, each.condition, each.exact), []).append(each.device)
        return [replace(group, names=tuple(names)) for group, names in groups.items()]

    def _worded(self, some: Sequence[Sentence]) -> Iterator[tuple[str, Sentence]]:
        """Each sentence with what it says of its device. An off-delay that comes on if it was off,
        and stops timing if it was timing, is held on either way, and that is all that is said."""
        on, held = ("contact", "comes on"), ("timing", "goes off")
        seen = {(s.device, s.condition, s.exact, s.aspect, s.becomes) for s in some}
        for each in some:
            timer = self.program.by_name[each.device]
            move = (each.aspect, each.becomes)
            both = False
            if isinstance(timer, Timer) and timer.kind == "off-delay" and move in (on, held):
                other = held if move == on else on
                both = (each.device, each.condition, each.exact, *other) in seen
            if not both:
                yield self._does(each), each
            elif move == on:
                yield "is held on", each

    def _said(self, group: _Group, with_it: Sequence[_Group] = ()) -> str:
        does = group.text
        if with_it:
            comma = "," if group.condition is not None else ""
            does += f", and inside {listed([helper.text for helper in with_it])}{comma}"
        if not group.exact:
            only = "" if group.condition is None else f", never unless {self._if(group)}"
            return f"It can be that {does}{only}; what decides is remembered inside the program."
        if group.condition is None:
            return f"{does}."
        return f"{does} if {self._if(group)}."

    def _if(self, group: _Group) -> str:
        assert group.condition is not None
        return self.condition(group.condition)

    def _does(self, sentence: Sentence) -> str:
        device = self.program.by_name[sentence.device]
        words = None
        if isinstance(device, Timer):
            words = _timer_does(device, sentence.aspect, sentence.becomes)
        return words or _DOES[sentence.becomes]

    def follower(self, follower: Follower) -> str:
        """`bench_lights is on while it is operated, and off while it is not`."""
        device = self.program.by_name[follower.source]
        if isinstance(device, Input):
            operated = (not follower.inverse) == (device.side == "NO")
            words = ("pressed", "not pressed") if device.actuator == "momentary" else (
                "operated", "released"
            )  # fmt: skip
            state = "open" if follower.inverse else "closed"
            one, other = words if operated else words[::-1]
            return (
                f"{follower.device} is on while it is {one} (its {device.side} circuit is {state}),"
                f" and off while it is {other}."
            )
        one, other = ("open", "closed") if follower.inverse else ("closed", "open")
        return f"{follower.device} is on while it is {one}, and off while it is {other}."

    def power_up(self, some: Sequence[Sentence]) -> tuple[str, ...]:
        """What is on after power-up, each with what it hangs on."""
        speak = replace(self, kept=True)
        kept, told = [], list[Sentence]()
        for each in some:
            own = ((replace(_ON, name=each.device, kind=self._kind(each.device)),),)
            if each.condition == own:
                kept.append(each.device)
            else:
                told.append(each)
        said = list(speak.sentences(told))
        if kept:
            be = "stand as they" if len(kept) > 1 else "stands as it"
            was = "were" if len(kept) > 1 else "was"
            said.append(
                f"{listed(kept)} {be} {was} before power went (retained; off the first time)."
            )
        return tuple(said)

    def _kind(self, name: str) -> FactKind:
        return "output" if isinstance(self.program.by_name[name], Output) else "relay"


_ON = Fact("", "output", True)
_DOES: dict[Becomes, str] = {
    "comes on": "comes on",
    "goes off": "goes off",
    "flips": "changes over (on to off, or off to on)",
    "pulses on": "comes on for a moment and goes off again",
    "pulses off": "goes off for a moment and comes on again",
    "is on": "is on",
    "never rests": "keeps changing and never comes to rest",
    "counts up": "counts up",
    "counts down": "counts down",
    "goes to nought": "goes back to 0",
}
_PLURAL = {
    "comes": "come", "goes": "go", "changes": "change", "is": "are", "keeps": "keep",
    "counts": "count", "begins": "begin", "stops": "stop", "has": "have", "does": "do",
}  # fmt: skip


def _plural(words: str) -> str:
    """`comes on for a moment and goes off again` of several devices."""
    said = [_PLURAL.get(word, word) for word in words.split(" ")]
    return " ".join("their" if word == "its" else word for word in said)


def _kind(device: object) -> str:
    return device.kind if isinstance(device, Timer) else ""


def _timer_does(timer: Timer, aspect: Aspect, becomes: Becomes) -> str | None:
    """What a timer does, in its own words; None where on and off will do."""
    time = duration_text(timer.preset)
    words: dict[tuple[str, Aspect, Becomes], str] = {
        ("on-delay", "coil", "comes on"): f"begins its {time}",
        ("on-delay", "coil", "goes off"): "is stopped and reset",
        ("on-delay", "coil", "flips"): f"begins its {time} if it was off, else it is reset",
        ("on-delay", "coil", "pulses off"): f"begins its {time} anew",
        ("off-delay", "timing", "comes on"): f"begins its {time}",
        ("off-delay", "timing", "goes off"): "stops timing and is held on",
        ("pulse", "contact", "comes on"): f"begins its pulse of {time}",
        ("accumulating", "timing", "comes on"): "begins to gather time",
        ("accumulating", "timing", "goes off"): "stops gathering time",
        ("flasher", "timing", "comes on"): "begins to flash",
        ("flasher", "timing", "goes off"): "stops flashing",
    }
    shortly: dict[Becomes, str] = {
        "pulses on": "begins to time and stops again at once",
        "pulses off": "stops timing for a moment and begins anew",
        "never rests": "keeps starting and stopping and never comes to rest",
    }
    if aspect in ("coil", "timing") and (timer.kind, aspect, becomes) not in words:
        return shortly.get(becomes)
    return words.get((timer.kind, aspect, becomes))


def _product(terms: Sequence[tuple[Fact, ...]]) -> tuple[list[Fact], list[Fact]] | None:
    """Two groups of facts of which the terms are all the pairs, if there are such."""
    if any(len(term) != 2 for term in terms) or len(terms) < 2:
        return None
    one, other = [terms[0][0]], [terms[0][1]]
    for _ in terms:
        for a, b in terms:
            for x, y in ((a, b), (b, a)):
                if x in one and y not in other:
                    other.append(y)
    one = [x for x in dict.fromkeys(f for t in terms for f in t) if x not in other]
    pairs = {frozenset((x, y)) for x in one for y in other}
    return (one, other) if pairs == {frozenset(term) for term in terms} else None
