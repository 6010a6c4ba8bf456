"""The words of explanations: times, states, contacts and hands, as a person says them.

In one place, so that a device is on, closed or counting in the same words wherever it comes up.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import assert_never

from rungs.draw.words import contact_caption
from rungs.language.words import clock_text
from rungs.program.nodes import Contact, Device, Leaf, Output, Relay
from rungs.prove.why.history import History
from rungs.prove.why.nodes import Change, Explanation, Forced, Kind, Moment

DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")


@dataclass(frozen=True, slots=True)
class Words:
    """Times and states as they are said at the moment `now`.

    Without `wall` times are seconds of the run, for a run whose wall time means nothing.
    """

    history: History
    now: Moment
    wall: bool

    # --- times

    def clock(self, instant: int, short: bool = False) -> str:
        """A wall time, with the day where it is not today."""
        zone = self.history.calendar.zone
        day, ms = zone.local(instant)
        today, _ = zone.local(self.now.wall)
        text = clock_text(ms, seconds=not short or bool(ms // 1_000 % 60))
        away = day.toordinal() - today.toordinal()
        if away == 0:
            return text
        return f"{DAYS[day.weekday()]} {text}" if abs(away) < 7 else f"{day.isoformat()} {text}"

    def time(self, moment: Moment) -> str:
        """The time of a scan."""
        return self.clock(moment.wall) if self.wall else f"{moment.t / 1_000:g} s"

    def time_at(self, t: int) -> str:
        """The time of the scan at t (ms of the run)."""
        return self.time(Moment(t, t // self.history.period, self.history.wall(t)))

    def from_power(self, moment: Moment | None) -> bool:
        """Whether a scan is the first one since power came on."""
        return moment is not None and moment.t == self.history.power_up(moment.t)

    def at(self, moment: Moment | None) -> str:
        """` at TIME`, or nothing for what power-up found so."""
        if moment is None or self.from_power(moment):
            return ""
        return f" at {self.time(moment)}"

    def since(self, moment: Moment | None) -> str:
        """` since TIME`, or nothing where that is not known."""
        if moment is None:
            return ""
        if self.from_power(moment):
            return " since power came on"
        return f" since {self.time(moment)}"

    def past(self, moment: Moment) -> bool:
        """Whether a scan is one to speak of in the past tense."""
        return self.now.t - moment.t > 2 * self.history.period

    # --- states

    def state(self, name: str, kind: Kind, value: bool | int) -> str:
        """`walkway is off`, `hatch is closed`."""
        return f"{self.subject(name, kind)} {self.word(name, kind, value)}"

    def subject(self, name: str, kind: Kind) -> str:
        """What the sentence is about: the device, or its load or coil."""
        return f"the {kind} of {name}" if kind in ("load", "coil") else name

    def word(self, name: str, kind: Kind, value: bool | int, past: bool = False) -> str:
        """How it stands or stood: `is off`, `was open`, `counts 3`."""
        be = "was" if past else "is"
        match kind:
            case "count":
                return f"{'counted' if past else 'counts'} {int(value)}"
            case "timing":
                return f"{be} timing" if value else f"{be} not timing"
            case "load" | "coil":
                return f"{be} {'on' if value else 'off'}"
            case _:
                switched = _is_switched(self.history.program.by_name[name])
                words = ("off", "on") if switched else ("open", "closed")
                return f"{be} {words[bool(value)]}"

    def held(self, each: Explanation, how: Forced) -> str:
        """How a force holds or held it: `held on by a force since 22:45:03`."""
        words = ("off", "on")
        if not _is_switched(self.history.program.by_name[each.fact.name]):
            words = ("open", "closed")
        text = f"held {words[how.closed]} by a force"
        if how.since is None:
            return text
        if how.until is not None:
            return f"{text} until {self.time_at(how.until)}"
        return f"{text} since {self.time_at(how.since)}"

    def became(self, each: Explanation) -> str:
        """How it came to stand so: `came on`, `opened`."""
        match each.fact.kind:
            case "timing":
                return "began to time" if each.value else "stopped timing"
            case "count":
                return f"came to {int(each.value)}"
            case "load" | "coil":
                return "came on" if each.value else "went off"
            case _:
                if _is_switched(self.history.program.by_name[each.fact.name]):
                    return "came on" if each.value else "went off"
                return "closed" if each.value else "opened"

    def turn(self, name: str, kind: Kind, value: bool | int) -> str:
        """What it would do to stand otherwise: `go off`, `open`."""
        match kind:
            case "count":
                return "change"
            case "timing":
                return "stop timing" if value else "start timing"
            case "load" | "coil":
                return "go off" if value else "come on"
            case _:
                if _is_switched(self.history.program.by_name[name]):
                    return "go off" if value else "come on"
                return "open" if value else "close"


def _is_switched(device: Device) -> bool:
    """Whether a device is spoken of as on and off, and not as closed and open."""
    return isinstance(device, Output | Relay)


def caption(leaf: Leaf | None) -> str:
    """A contact as the program has it."""
    if leaf is None:
        return ""
    text = contact_caption(leaf)
    negated = isinstance(leaf, Contact) and leaf.negated and leaf.kind not in ("rising", "falling")
    return f"not {text}" if negated else text


def hand(change: Change, be: str) -> str:
    """Something to do, as `door_switch were operated`, or without `be` as a heading."""
    be = f"{be} " if be else ""
    tail = "" if change.lasting else " (for a moment only)"
    match change.hand:
        case "operate":
            text = f"{change.name} {be}operated"
        case "release":
            text = f"{change.name} {be}released"
        case "tap":
            text = f"{change.name} {be}operated and released again"
        case "again":
            text = f"{change.name} {be}released and operated again"
        case "mend":
            text = f"the wire of {change.name} {be}mended"
        case "power":
            text = f"power {be}switched on"
        case "unforce":
            text = f"the force on {change.name} {be}released"
        case _:
            assert_never(change.hand)
    return text + tail


def third(turn: str) -> str:
    """`go off` as `goes off`."""
    verb, _, rest = turn.partition(" ")
    return f"{'goes' if verb == 'go' else verb + 's'} {rest}".strip()


def length(ms: int) -> str:
    """A length of time (ms) as a person says it, to the ms where it is short."""
    if ms < 1_000:
        return f"{ms} ms"
    if ms < 60_000:
        return f"{ms / 1_000:.3f}".rstrip("0").rstrip(".") + " s"
    seconds = ms // 1_000
    days, seconds = divmod(seconds, 86_400)
    hours, seconds = divmod(seconds, 3_600)
    minutes, seconds = divmod(seconds, 60)
    parts = [(days, "d"), (hours, "h"), (minutes, "min"), (seconds, "s")]
    said = [f"{number} {unit}" for number, unit in parts if number]
    return " ".join(said[:2])
