"""What may stand where, with a few words on each: the words that a completion offers.

The syntax has these in its grammar, but a grammar has no words on what a thing is good for.
"""

from __future__ import annotations

STATEMENTS = {
    "title": "what the panel is called",
    "site": "where it stands: zone, place, calendar",
    "design": "the limits that wires and supplies are sized for",
    "supply": "a power supply",
    "input": "a switch or contact in the field",
    "output": "a relay that leaves the panel",
    "relay": "a control relay inside the program",
    "timer": "a time relay",
    "counter": "a counter",
    "clock": "a time switch",
    "holiday": "days off",
    "rung": "a circuit and what it drives",
    "never": "a circuit that must never close",
    "always": "a circuit that must never open",
    "require": "when one circuit closes, another must",
    "assume": "what the plant never does",
    "scenario": "steps that show what the panel should do",
}

STEPS = {
    "begin": "power up at a time of day",
    "operate": "move a switch and keep it there",
    "release": "let a switch go",
    "tap": "operate a switch for a moment",
    "break": "break the wire of an input",
    "short": "short the wire of an input",
    "mend": "mend the wire of an input",
    "power": "switch the panel's supply",
    "wait": "let time pass",
    "until": "run to a time of day",
    "expect": "what must now be so",
    "set": "move the wall clock",
}

# options by kind of declaration: word, the slot of which only one may be given, what it says
OPTIONS: dict[str, tuple[tuple[str, str, str], ...]] = {
    "site": (
        ("zone", "zone", "time zone"),
        ("latitude", "place", "degrees north"),
        ("holidays", "holidays", "calendar of public holidays"),
    ),
    "design": (
        ("drop", "drop", "most voltage drop of a load's wire, in %"),
        ("reserve", "reserve", "share of a supply that stays free, in %"),
        ("conductors", "conductors", "temperature of the copper, in C"),
    ),
    "input": (
        ("at", "at", "terminal"),
        ("maintained", "actuator", "stays as it is put"),
        ("momentary", "actuator", "springs back"),
        ("NO", "side", "normally open"),
        ("NC", "side", "normally closed"),
        ("debounce", "debounce", "time to settle"),
        ("wire", "wire", "length and size"),
    ),
    "output": (
        ("at", "at", "terminal"),
        ("NO", "side", "normally open"),
        ("NC", "side", "normally closed"),
        ("retained", "retained", "kept through a power cut"),
        ("load", "load", "volts, amps and kind"),
        ("from", "from", "the supply that feeds it"),
        ("wire", "wire", "length and size"),
    ),
    "relay": (("retained", "retained", "kept through a power cut"),),
    "timer": (
        ("on-delay", "kind", "closes late"),
        ("off-delay", "kind", "opens late"),
        ("pulse", "kind", "closes for a time"),
        ("accumulating", "kind", "adds up its time"),
        ("flasher", "kind", "closes and opens in turn"),
        ("retained", "retained", "kept through a power cut"),
    ),
    "counter": (
        ("to", "to", "the count that closes it"),
        ("retained", "retained", "kept through a power cut"),
    ),
    "clock": (
        ("from", "act", "closed from a time on"),
        ("at", "act", "closes for one scan"),
        ("daily", "days", "every day"),
        ("on", "days", "on these weekdays"),
        ("between", "between", "a season"),
        ("except", "except", "not on holidays"),
        ("catch", "catch", "act late after a power cut"),
    ),
    "holiday": (("on", "on", "the first day"), ("to", "to", "the last day")),
}

WEEKDAYS = {
    "Mon": "Monday",
    "Tue": "Tuesday",
    "Wed": "Wednesday",
    "Thu": "Thursday",
    "Fri": "Friday",
    "Sat": "Saturday",
    "Sun": "Sunday",
}

CONDUCTORS = {"stranded": "many thin wires, as it is if not said", "solid": "one wire"}
LOADS = {
    "led": "load of LEDs",
    "lamp": "load of lamps",
    "coil": "coil of a contactor",
    "motor": "motor",
    "valve": "valve",
    "resistive": "heater or the like",
    "electronic": "electronic load",
}

MOMENTS = {"sunrise": "at the site", "sunset": "at the site"}

CONTACT_WORDS = {
    "not": "normally closed",
    "rising": "in the scan in which it closes",
    "falling": "in the scan in which it opens",
    "first_scan": "the first scan after power-up",
}

WIRE_WORDS = {"broken": "the wire of an input is open", "shorted": "the wire of an input is closed"}

JOINTS = {"and": "in series with", "or": "in parallel with"}

COMPARISONS = {
    ">=": "at least",
    "<=": "at most",
    ">": "more than",
    "<": "less than",
    "==": "exactly",
    "!=": "anything but",
}

# verbs of an action: what each does, and the kinds of device that take it
VERBS = {
    "latch": ("switch on and keep on", ("output", "relay")),
    "unlatch": ("switch off", ("output", "relay")),
    "impulse": ("flip each time power comes", ("output", "relay")),
    "down": ("count down", ("counter",)),
    "reset": ("back to zero", ("counter", "timer")),
}

DRIVEN = ("output", "relay", "timer", "counter")
READABLE = ("input", *DRIVEN, "clock")
