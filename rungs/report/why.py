"""Explanations as sentences: a paragraph for what is asked about, and one for each step back.

The sentences say what a technician at the open panel would: which rung, which contact, which
switch, since when, and what would alter it. They are made from the same data that the JSON holds,
so that the two cannot tell different stories.
"""

from __future__ import annotations

from typing import assert_never

from rungs.cells import fold
from rungs.program.nodes import Clock, Output, Timer
from rungs.prove.why.history import History
from rungs.prove.why.nodes import (
    Alterations,
    Cause,
    Counted,
    Driven,
    Edge,
    Event,
    Explanation,
    Fact,
    FirstScan,
    Forced,
    Held,
    NoPower,
    OnLoad,
    PowerUp,
    Switch,
    Timed,
    Unrecorded,
    Was,
    Window,
    causes,
    others,
    unopened,
)
from rungs.report.text import plain
from rungs.report.why_clauses import Clauses
from rungs.report.why_words import Words, caption, hand, length, third

WIDTH = 80
LOOKED_BACK = 16  # scans in which a device that keeps changing is looked for
RESTLESS = 4  # changes among them that make it one


def why_text(
    history: History,
    explanation: Explanation,
    found: Alterations,
    wall: bool = True,
    width: int = WIDTH,
) -> str:
    """The explanation, what would alter it, and an indented paragraph for each step back.

    `wall` False gives times in seconds of the run, for a run whose wall time means nothing.
    """
    speaker = _Speaker(history, explanation, wall)
    lines: list[str] = []
    for indent, text in speaker.paragraphs(explanation):
        pad = "  " * min(indent, 8)
        lines += [pad + line for line in fold(text, width - len(pad))]
    further = next((c for c in unopened(explanation) if not speaker.has_told(c)), None)
    if further is not None:
        lines += fold(plain(speaker.further(further)), width)
    for text in speaker.outlook(explanation, found):
        lines += fold(text, width)
    return "\n".join(lines)


class _Speaker:
    """Puts the parts of one explanation into words."""

    def __init__(self, history: History, asked: Explanation, wall: bool) -> None:
        self.history = history
        self.program = history.program
        self.now = asked.at
        self.words = Words(history, asked.at, wall)
        self.clauses = Clauses(self.words)
        self._told: set[tuple[str, str, int]] = set()

    # --- paragraphs

    def paragraphs(self, each: Explanation, indent: int = 0) -> list[tuple[int, str]]:
        """The paragraph of an explanation, and those of the steps below it."""
        self._told.add(_key(each.fact))
        found = [(indent, self._paragraph(each, indent == 0))]
        for cause in causes(each.reason):
            found += self._below(cause, indent + 1)
        return found

    def _below(self, cause: Cause, indent: int) -> list[tuple[int, str]]:
        why = cause.why
        if why is None or _key(why.fact) in self._told:
            return []
        if self.clauses.inline(why) is not None:
            # its own causes are told in the same breath
            return []
        if isinstance(why.how, Edge | OnLoad):
            return [line for inner in causes(why.reason) for line in self._below(inner, indent)]
        return self.paragraphs(why, indent)

    def _paragraph(self, each: Explanation, top: bool) -> str:
        """How it stands and why; `top` for what was asked about, of which more is told."""
        name, kind = each.fact.name, each.fact.kind
        past = self.words.past(each.at)
        subject = self.words.subject(name, kind)
        if past and each.since == each.at:
            head = f"{subject} {self.words.became(each)}{self.words.at(each.at)}"
            if self.words.from_power(each.at):
                head += " when power came on"
        else:
            head = f"{subject} {self.words.word(name, kind, each.value, past)}"
            if not past and not isinstance(each.how, PowerUp | NoPower | Switch | Window | Event):
                head += self.words.since(each.since)
        forced = isinstance(each.how, Forced) and each.how.until is None and kind == "contact"
        if isinstance(each.how, Forced) and forced:
            head = f"{subject} {'was' if past else 'is'} {self.words.held(each, each.how)}"
        device = self.program.by_name[name]
        if top and kind == "contact" and isinstance(device, Output) and device.side == "NC":
            on = self._powered(each) and not each.value
            head += f", and its load {'on' if on else 'off'} (it hangs on the NC contact)"
        body = "" if forced else self._body(each)
        end = "" if body.startswith((":", ",", " since")) else "."
        text = f"{head}{end}{body if end == '' else ' ' + body}".strip()
        changes = self.history.changes_among(name, each.at.t, LOOKED_BACK) if top else 0
        if kind == "contact" and changes >= RESTLESS:
            often = "in each" if changes == LOOKED_BACK else f"in {changes}"
            text += f" It keeps changing: {often} of the last {LOOKED_BACK} scans, untouched."
        return plain(text)

    def _powered(self, each: Explanation) -> bool:
        return self.history.base(each.fact.t).after.powered

    def _rung(self, each: Explanation) -> str:
        assert each.rung is not None
        label = f" '{each.rung.label}'" if each.rung.label else ""
        return f"rung {each.rung.number}{label}"

    def _body(self, each: Explanation) -> str:
        """What follows the head: a full sentence, or `: ...` or `, ...` that goes on with it."""
        how = each.how
        match how:
            case Switch() | Window() | Event() | FirstScan():
                return f": {self._leaf_words(each)}."
            case NoPower():
                return ": the panel has no power."
            case PowerUp():
                return self._power_up(each, how.kept)
            case Driven():
                return self._circuit(each)
            case Held():
                return self._held(each, how)
            case Timed():
                words = f": {self.clauses.timed(each, how)}"
                if each.fact.kind == "timing":
                    # the head has said so
                    words = words.replace(": it is timing", "")
                return f"{words}. {self._circuit(each)}".rstrip()
            case Counted():
                return self._counted(each, how)
            case Edge():
                return self._told_by(each)
            case OnLoad():
                coil = next(causes(each.reason))
                state = "on" if coil.conducts else "off"
                side = "" if how.side == "NO" else ", and it hangs on the NC contact"
                return f": the coil is {state}{side}. " + self._through(coil)
            case Forced():
                be = "was" if how.until is not None or self.words.past(each.at) else "is"
                if each.fact.kind == "timing":
                    return f", for its contact {be} {self.words.held(each, how)}."
                if how.until is None:
                    return f": it {be} {self.words.held(each, how)}."
                held = self.words.held(each, how)
                return f": it was {held}, and nothing has moved it since."
            case Was():
                return ", and had been so before; that is a story of its own."
            case Unrecorded():
                return ": that was before the scans that are known."
            case _:
                assert_never(how)

    def _through(self, cause: Cause) -> str:
        """The body of the one cause, in the same paragraph."""
        if cause.why is None:
            return ""
        self._told.add(_key(cause.why.fact))
        return _capital(self._body(cause.why).lstrip(":, "))

    def _power_up(self, each: Explanation, kept: bool) -> str:
        if kept:
            return ", as before the power cut: it is retained."
        timer = isinstance(self.program.by_name[each.fact.name], Timer)
        what = "nothing has started it" if timer else "nothing has ever turned it on"
        return f" since power came on: {what}."

    def _circuit(self, each: Explanation) -> str:
        """`Rung 4 'label' is open: ...`."""
        if each.rung is None or each.reason is None or each.decided is None:
            return ""
        past = self.words.past(each.decided)
        shut = self.history.worked(each.decided.t)[each.rung.number - 1].power
        be = "was" if past else "is"
        text = f"{self._rung(each)} {be} {'closed' if shut else 'open'}: "
        text += self.clauses.reason(each.reason, shut, each) + "."
        return _capital(text) + self._also(each, past)

    def _also(self, each: Explanation, past: bool) -> str:
        """The other contacts that keep a rung open."""
        leaves = [cause.leaf for cause in others(each.reason) if cause.leaf is not None]
        if not leaves:
            return ""
        names = list(dict.fromkeys(map(caption, leaves)))
        more = f" and {len(names) - 4} more" if len(names) > 4 else ""
        return f" {'Also open then' if past else 'Also open in it'}: {', '.join(names[:4])}{more}."

    def _held(self, each: Explanation, how: Held) -> str:
        done = {"latch": "latched", "unlatch": "unlatched", "impulse": "flipped"}
        undo = {"latch": "unlatched", "unlatch": "latched", "impulse": "flipped"}
        did = done.get(how.verb, how.verb)
        if each.rung is None:
            return ""
        if each.reason is None or each.decided is None:
            when = self.words.at(each.decided) or self.words.at(each.since)
            return _capital(f"{self._rung(each)} {did} it{when}.")
        words = self.clauses.reason(each.reason, True, each)
        if not self.words.past(each.decided):
            does = "flips" if how.verb == "impulse" else f"{how.verb}es"
            return _capital(f"{self._rung(each)} {does} it: {words}.")
        when = self.words.at(each.decided) or " in the first scan"
        since = "" if self.words.past(each.at) else f" Nothing has {undo[how.verb]} it since."
        return _capital(f"{self._rung(each)} {did} it{when}: {words}.{since}")

    def _counted(self, each: Explanation, how: Counted) -> str:
        does = "counted" if self.words.past(each.at) else "counts"
        text = f": it {does} {how.count} of {how.preset}."
        if each.fact.kind == "count":
            text = f", and it closes at {how.preset}."
        if how.verb is None:
            if self.history.power_up(each.at.t) is None:
                return text
            return text + " Nothing has been counted since power came on."
        did = {"coil": "counted up", "down": "counted down", "reset": "reset it"}[how.verb]
        if each.reason is None or each.decided is None:
            return f"{text} {_capital(self._rung(each))} {did} last."
        when = self.words.at(each.decided)
        words = self.clauses.reason(each.reason, True, each)
        return f"{text} {_capital(self._rung(each))} {did} last{when}: {words}."

    def _told_by(self, each: Explanation) -> str:
        words = [self.clauses.clause(cause, False, each) for cause in causes(each.reason)]
        return f": {words[0]}." if words else "."

    def _leaf_words(self, each: Explanation) -> str:
        """What makes an input or a clock stand as it does."""
        clock = self.words.clock
        match each.how:
            case Switch() as how:
                circuit = "closed" if how.side == "NO" else "open"
                wired = f"it is wired {how.side}, so that operating it makes it {circuit}"
                stands = "operated" if how.operated else "released"
                fault = "" if how.wire == "sound" else f", whatever the switch does ({stands})"
                return f"{self.clauses.moved(each, how)}{fault}; {wired}"
            case Window() as how:
                since = "" if how.since is None else f" since {clock(how.since, short=True)}"
                until = self.clauses.until(how.until) or " with no change to come within a year"
                return f"by the clock{since}{until}"
            case Event() as how:
                if each.value:
                    return "its time came, and it shows for this one scan"
                last = "" if how.last is None else f", after {clock(how.last, short=True)}"
                come = "" if how.next is None else f", next at {clock(how.next, short=True)}"
                return f"it shows for one scan at its time{last}{come}"
            case _:
                return "the first scan since power came on" if each.value else "power was on before"

    # --- outlook

    def has_told(self, cause: Cause) -> bool:
        """Whether a cause that was not opened has been told elsewhere."""
        return _key(cause.fact) in self._told

    def further(self, cause: Cause) -> str:
        """Where to ask on, for a chain that is longer than what was told."""
        fact = cause.fact
        return f"It goes on from there: ask about {fact.name} at {self.words.time_at(fact.t)}."

    def outlook(self, each: Explanation, found: Alterations) -> list[str]:
        """What would alter it."""
        name, kind = each.fact.name, each.fact.kind
        turn = self.words.turn(name, kind, each.value)
        lines: list[str] = []
        if found.restless:
            still = "It does not stand still, so nothing was tried."
            return [plain(f"{still} {self._passing(each, found)}".strip())]
        if not self._powered(each):
            comes = "would" if found.changes else "would not"
            return [f"Power coming back {comes} make it {turn}."]
        if len(found.changes) == 1:
            lines.append(f"It would {turn} if {hand(found.changes[0], 'were')}.")
        elif found.changes:
            hands = ", ".join(hand(change, "") for change in found.changes)
            lines.append(f"It would {turn} with any one of these: {hands}.")
        elif found.pair is not None:
            hands = " and ".join(hand(change, "were") for change in found.pair)
            alone = "thing" if any(c.hand == "unforce" for c in found.pair) else "switch"
            lines.append(f"No single {alone} would make it {turn}; it would if {hands}.")
        elif not found.tried:
            lines.append("No switch has a say in it.")
        elif found.passing is None:
            lines.append(f"No switch, and no two together, would make it {turn} now.")
        else:
            lines.append(f"No switch would make it {turn} now.")
        lines.append(self._passing(each, found))
        return [plain(line) for line in lines if line]

    def _passing(self, each: Explanation, found: Alterations) -> str:
        """When it changes by itself, and by what."""
        passing = found.passing
        if passing is None:
            return ""
        name, kind = each.fact.name, each.fact.kind
        turns = third(self.words.turn(name, kind, each.value))
        away = passing.at.t - self.now.t
        when = f"in {length(away)}"
        if self.words.wall and away >= 3_600_000:
            when = f"at {self.words.clock(passing.at.wall, short=True)}"
        why = [self._comes(other, passing.at.t) for other in passing.names if other != name]
        because = f", when {' and '.join(why)}" if why else ""
        return f"Left alone it {turns} {when}{because}."

    def _comes(self, name: str, t: int) -> str:
        """What comes to its time at t (ms of the run)."""
        device = self.program.by_name[name]
        match device:
            case Timer():
                return f"{name} changes over" if device.kind == "flasher" else f"{name} times out"
            case Clock():
                if device.end is None:
                    return f"{name} comes"
                wall = self.now.wall + t - self.now.t
                closed = self.history.calendar.is_closed(device, wall)
                return f"{name} {'closes' if closed else 'opens'}"
            case _:
                return f"the debounce of {name} is over"


def _key(fact: Fact) -> tuple[str, str, int]:
    """What makes two paragraphs the same: a device in a scan, whatever rung looks at it."""
    return fact.name, fact.kind, fact.t


def _capital(text: str) -> str:
    return text[:1].upper() + text[1:]
