"""Declarations to devices: options, units and dates of each `input`, `output`, `timer` and so on.

Options may stand in any order, so each is first sorted into its slot; what a device cannot have,
has twice, or lacks becomes a finding here and never reaches a run.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Literal, TypeVar, cast
from zoneinfo import ZoneInfo

from rungs.findings import Finding
from rungs.language.tree import DayRange, Declaration, MomentWord, Option, Word
from rungs.language.words import LOAD_KINDS
from rungs.program import values
from rungs.program.nodes import (
    EVERY_DAY,
    MAX_COUNT,
    Actuator,
    Clock,
    Counter,
    Days,
    Design,
    Device,
    Holiday,
    Input,
    Load,
    Moment,
    MonthDay,
    Output,
    Relay,
    Side,
    Site,
    SunTime,
    Supply,
    TimeOfDay,
    Timer,
    TimerKind,
    Wire,
)

T = TypeVar("T")

# options of which a device can have only one share a slot
_SLOTS = {
    "NO": "side",
    "NC": "side",
    "maintained": "actuator",
    "momentary": "actuator",
    "on-delay": "kind",
    "off-delay": "kind",
    "pulse": "kind",
    "accumulating": "kind",
    "flasher": "kind",
    "daily": "days",
    "on": "days",
    "window": "act",
    "event": "act",
}
_SLOT_WORDS = {
    "side": "contact side (NO or NC)",
    "actuator": "kind of switch (maintained or momentary)",
    "kind": "kind of timer",
    "days": "list of days",
    "act": "time",
    "at": "terminal",
    "to": "count",
    "latitude": "place",
    "between": "season",
}


@dataclass(slots=True)
class Slots:
    """The options of one declaration by slot, and where findings about them go."""

    declaration: Declaration
    findings: list[Finding]
    found: dict[str, Option] = field(default_factory=dict)

    def __post_init__(self) -> None:
        for option in self.declaration.options:
            slot = _SLOTS.get(option.keyword, option.keyword)
            if slot in self.found:
                self.findings.append(
                    Finding(
                        "doubled-option",
                        f"the {_SLOT_WORDS.get(slot, slot)} is given twice",
                        option.span,
                        "which of the two counts would be a guess",
                        "keep one",
                        ((self.found[slot].span, "the first one"),),
                    )
                )
            else:
                self.found[slot] = option

    def get(self, slot: str) -> Option | None:
        """The option in a slot, if it was given."""
        return self.found.get(slot)

    def has(self, slot: str) -> bool:
        """True if the option was given."""
        return slot in self.found

    def words(self, slot: str) -> tuple[Word, ...]:
        """The words of an option, none if it was not given."""
        option = self.found.get(slot)
        return () if option is None else cast("tuple[Word, ...]", option.values)

    def label(self) -> str:
        """The label without its quotes, or nothing."""
        words = self.words("label")
        return words[0].text if words else ""

    def keep(self, got: T | Finding, otherwise: T) -> T:
        """The value that was read, or a stand-in with the finding noted."""
        if isinstance(got, Finding):
            self.findings.append(got)
            return otherwise
        return got

    def duration(self, slot: str) -> int:
        """A duration in ms, 0 if it was not given or could not be read."""
        words = self.words(slot)
        return self.keep(values.read_duration(words[0]), 0) if words else 0

    def missing(self, what: str, fix: str) -> None:
        """Note that a part is missing that the declaration must have."""
        name = self.declaration.name
        subject = f"'{name.text}'" if name else f"the {self.declaration.kind}"
        self.findings.append(
            Finding(
                "missing-option",
                f"{subject} has no {what}",
                name.span if name else self.declaration.span,
                "it cannot be used",
                fix,
            )
        )


def declare_site(declaration: Declaration, findings: list[Finding]) -> Site:
    """The site, with its zone looked up in the time-zone database."""
    slots = Slots(declaration, findings)
    zone = slots.words("zone")
    key = zone[0].text if zone else "UTC"
    if not zone:
        slots.missing("zone", 'write: site zone "Europe/Oslo"')
    elif not _is_zone(key):
        findings.append(
            Finding(
                "bad-zone",
                f"'{key}' is not a time zone",
                zone[0].span,
                "every clock would act at a wrong time",
                'write a name of the IANA database, such as "Europe/Oslo"',
            )
        )
    place = slots.words("latitude")
    latitude = slots.keep(values.read_degrees(place[0], 90), 0.0) if place else None
    longitude = slots.keep(values.read_degrees(place[1], 180), 0.0) if place else None
    calendar = slots.words("holidays")
    return Site(
        slots.label(),
        key,
        latitude,
        longitude,
        calendar[0].text if calendar else None,
        declaration.span,
    )


def _is_zone(key: str) -> bool:
    # these are in some databases and mean something else on each machine
    if key.startswith(("localtime", "posixrules", "right/", "posix/")):
        return False
    try:
        ZoneInfo(key)
    except (KeyError, ValueError, OSError):
        return False
    return True


def declare_design(declaration: Declaration, findings: list[Finding]) -> Design:
    """The limits that the panel is sized for."""
    slots = Slots(declaration, findings)
    return Design(
        _limit(slots, "drop", "%", 0.1, 20),
        _limit(slots, "reserve", "%", 0, 90),
        _limit(slots, "conductors", "C", -40, 105),
        declaration.span,
    )


def _limit(slots: Slots, slot: str, unit: str, least: float, most: float) -> float | None:
    words = slots.words(slot)
    if not words:
        return None
    example = {"drop": "drop 3 %", "reserve": "reserve 20 %"}.get(slot, "conductors 40 C")
    got = values.read_limit(words[0], words[1], unit, least, most, example)
    return slots.keep(got, least)


def declare_supply(declaration: Declaration, findings: list[Finding]) -> Supply:
    """A supply with its rated volts and amps."""
    slots = Slots(declaration, findings)
    volts, volts_unit = slots.words("volts")
    amps, amps_unit = slots.words("amps")
    return Supply(
        _name(declaration),
        slots.keep(values.read_quantity(volts, volts_unit, ("V",)), 0.0),
        slots.keep(values.read_quantity(amps, amps_unit, ("A",)), 0.0),
        declaration.span,
    )


def declare_holiday(declaration: Declaration, findings: list[Finding]) -> Holiday | None:
    """A holiday; None if its dates cannot be read."""
    slots = Slots(declaration, findings)
    first_word = slots.words("days")[0]  # the slot of `on`
    last_word = (slots.words("to") or (first_word,))[0]
    dates = []
    for word in (first_word, last_word):
        full = word.text.count("-") == 2
        got = values.read_date(word) if full else values.read_month_day(word)
        if isinstance(got, Finding):
            findings.append(got)
            return None
        dates.append(got)
    first, last = dates
    if isinstance(first, tuple) != isinstance(last, tuple):
        what = "one date has a year and the other has none"
    elif not isinstance(first, tuple) and not isinstance(last, tuple) and last < first:
        what = f"{last_word.text} comes before {first_word.text}"
    else:
        return Holiday(_name(declaration), first, last, declaration.span)
    findings.append(
        Finding(
            "bad-date",
            what,
            last_word.span,
            "the holiday would have no days",
            "write both dates alike, the earlier one first",
        )
    )
    return None


def declare_device(declaration: Declaration, findings: list[Finding]) -> Device:
    """Any device; parts that cannot be read are left at their defaults, with findings."""
    makers: dict[str, Callable[[Declaration, list[Finding]], Device]] = {
        "input": _input,
        "output": _output,
        "relay": _relay,
        "timer": _timer,
        "counter": _counter,
        "clock": _clock,
    }
    return makers[declaration.kind](declaration, findings)


def _name(declaration: Declaration) -> str:
    return declaration.name.text if declaration.name else ""


def _terminal(slots: Slots, example: str) -> str:
    words = slots.words("at")
    if words:
        return words[0].text
    slots.missing("terminal", f"write: {slots.declaration.kind} NAME at {example}")
    return ""


def _side(slots: Slots) -> Side:
    option = slots.get("side")
    return "NC" if option is not None and option.keyword == "NC" else "NO"


def _wire(slots: Slots) -> Wire | None:
    words = slots.words("wire")
    if not words:
        return None
    length = slots.keep(values.read_quantity(words[0], words[1], ("m",)), 0.0)
    size_number, size_unit, *make = words[2:]
    size = slots.keep(values.read_quantity(size_number, size_unit, ("mm2", "AWG")), 0.0)
    if size_unit.text == "AWG" and size:
        size = slots.keep(values.read_gauge(size_number), 0.0)
    unit: Literal["mm2", "AWG"] = "AWG" if size_unit.text == "AWG" else "mm2"
    stranded = not make or make[0].text == "stranded"
    return Wire(length, size, unit, slots.found["wire"].span, stranded)


def _spans(declaration: Declaration) -> tuple[str, Word]:
    assert declaration.name is not None
    return declaration.name.text, declaration.name


def _input(declaration: Declaration, findings: list[Finding]) -> Input:
    slots = Slots(declaration, findings)
    name, word = _spans(declaration)
    option = slots.get("actuator")
    actuator: Actuator = "momentary" if option and option.keyword == "momentary" else "maintained"
    return Input(
        name,
        _terminal(slots, "I1"),
        actuator,
        _side(slots),
        slots.duration("debounce"),
        _wire(slots),
        slots.label(),
        declaration.span,
        word.span,
    )


def _output(declaration: Declaration, findings: list[Finding]) -> Output:
    slots = Slots(declaration, findings)
    name, word = _spans(declaration)
    supply = slots.words("from")
    return Output(
        name,
        _terminal(slots, "R1"),
        _side(slots),
        slots.has("retained"),
        _load(slots),
        supply[0].text if supply else None,
        _wire(slots),
        slots.label(),
        declaration.span,
        word.span,
    )


def _load(slots: Slots) -> Load | None:
    words = slots.words("load")
    if not words:
        return None
    volts = slots.keep(values.read_quantity(words[0], words[1], ("V",)), 0.0)
    amps = slots.keep(values.read_quantity(words[2], words[3], ("A",)), 0.0)
    kind = words[4]
    if kind.text not in LOAD_KINDS:
        slots.findings.append(
            Finding(
                "unknown-load",
                f"'{kind.text}' is not a kind of load that contact ratings are known for",
                kind.span,
                "the duty of the relay contact stays unknown",
                "write one of " + ", ".join(LOAD_KINDS),
            )
        )
    return Load(volts, amps, kind.text, slots.found["load"].span)


def _relay(declaration: Declaration, findings: list[Finding]) -> Relay:
    slots = Slots(declaration, findings)
    name, word = _spans(declaration)
    return Relay(name, slots.has("retained"), slots.label(), declaration.span, word.span)


def _timer(declaration: Declaration, findings: list[Finding]) -> Timer:
    slots = Slots(declaration, findings)
    name, word = _spans(declaration)
    option = slots.get("kind")
    kind: TimerKind = "on-delay"
    preset = off = 0
    if option is None:
        slots.missing("kind", "write: timer NAME on-delay 5s")
    else:
        kind = cast("TimerKind", option.keyword)
        preset = slots.duration("kind")
        if kind == "flasher":
            off = slots.keep(values.read_duration(slots.words("kind")[1]), 0)
    retained = slots.get("retained")
    if retained is not None and option is not None and kind != "accumulating":
        findings.append(
            Finding(
                "wrong-option",
                f"the {kind} timer '{name}' cannot be retained",
                retained.span,
                "it would start from zero when the power returns",
                "write accumulating, or leave retained out",
            )
        )
    return Timer(
        name, kind, preset, off, retained is not None, slots.label(), declaration.span, word.span
    )


def _counter(declaration: Declaration, findings: list[Finding]) -> Counter:
    slots = Slots(declaration, findings)
    name, word = _spans(declaration)
    words = slots.words("to")
    preset = 1
    if words:
        preset = slots.keep(values.read_count(words[0], 1, MAX_COUNT), 1)
    else:
        slots.missing("count", "write: counter NAME to 12")
    return Counter(name, preset, slots.has("retained"), slots.label(), declaration.span, word.span)


def _clock(declaration: Declaration, findings: list[Finding]) -> Clock:
    slots = Slots(declaration, findings)
    name, word = _spans(declaration)
    option = slots.get("act")
    begin: Moment = TimeOfDay(0)
    end: Moment | None = None
    if option is None:
        slots.missing("time", "write: clock NAME from 19:00 to 22:30, or clock NAME at 23:00")
    else:
        moments = [_moment(slots, cast("MomentWord", value)) for value in option.values]
        begin = moments[0]
        end = moments[1] if len(moments) == 2 else None
    catch_up = slots.get("catch up")
    if catch_up is not None and end is not None:
        findings.append(
            Finding(
                "wrong-option",
                f"'{name}' is a window and has nothing to catch up",
                catch_up.span,
                "a window is closed or open by the time alone",
                "leave catch up out",
            )
        )
    return Clock(
        name,
        begin,
        end,
        Days(_weekdays(slots), _season(slots), slots.has("except holidays")),
        slots.duration("catch up"),
        slots.label(),
        declaration.span,
        word.span,
    )


def _moment(slots: Slots, moment: MomentWord) -> Moment:
    if moment.time.text not in ("sunrise", "sunset"):
        if moment.offset is not None:
            slots.findings.append(
                Finding(
                    "wrong-option",
                    "only sunrise and sunset take an offset",
                    moment.offset.span,
                    "the time would not be what it says",
                    "write the time itself",
                )
            )
        return TimeOfDay(slots.keep(values.read_time(moment.time), 0))
    offset = slots.keep(values.read_offset(moment.offset), 0) if moment.offset else 0
    return SunTime("sunrise" if moment.time.text == "sunrise" else "sunset", offset)


def _weekdays(slots: Slots) -> tuple[int, ...]:
    option = slots.get("days")
    if option is None or option.keyword == "daily":
        return EVERY_DAY
    listed: set[int] = set()
    for value in option.values:
        days = cast("DayRange", value)
        first = slots.keep(values.read_weekday(days.first), 0)
        last = slots.keep(values.read_weekday(days.last), first) if days.last else first
        listed.update((first + step) % 7 for step in range((last - first) % 7 + 1))
    return tuple(sorted(listed))


def _season(slots: Slots) -> tuple[MonthDay, MonthDay] | None:
    words = slots.words("between")
    if not words:
        return None
    first, last = (slots.keep(values.read_month_day(word), (1, 1)) for word in words)
    return first, last
