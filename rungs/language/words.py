"""The words of the language, and the forms of its statements as one shows them to a user.

One table serves the parser's recovery, the help texts and the suggestions for slips of the pen.
"""

from __future__ import annotations

STATEMENTS = (
    "title",
    "site",
    "design",
    "supply",
    "input",
    "output",
    "relay",
    "timer",
    "counter",
    "clock",
    "holiday",
    "rung",
    "never",
    "always",
    "require",
    "assume",
    "scenario",
)

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")

LOAD_KINDS = ("led", "lamp", "coil", "motor", "valve", "resistive", "electronic")

DURATION_UNITS = {"ms": 1, "s": 1_000, "min": 60_000, "h": 3_600_000, "d": 86_400_000}


def duration_text(ms: int) -> str:
    """A time in ms as the language writes it, the larger unit first: `1h30min`."""
    parts = []
    for unit, size in sorted(DURATION_UNITS.items(), key=lambda pair: -pair[1]):
        count, ms = divmod(ms, size)
        parts += [f"{count}{unit}"] if count else []
    return "".join(parts) or "0ms"


def clock_text(ms: int, seconds: bool = False, thousandths: bool = False) -> str:
    """A time of day, in ms since midnight, as `22:30`, `22:30:05` or `22:30:05.250`; what is not
    asked for is cut off."""
    text = f"{ms // 3_600_000:02}:{ms // 60_000 % 60:02}"
    if seconds or thousandths:
        text += f":{ms // 1_000 % 60:02}"
    return f"{text}.{ms % 1_000:03}" if thousandths else text


STEP_FORMS = {
    "begin": "begin Wed 2026-11-25 22:45",
    "operate": "operate NAME",
    "release": "release NAME",
    "tap": "tap NAME for 200ms",
    "break": "break NAME",
    "short": "short NAME",
    "mend": "mend NAME",
    "power": "power off for 5s, or power on",
    "wait": "wait 30s",
    "until": "until 22:00",
    "expect": "expect a and not b within 2s, or expect steady a for 5s",
    "set": "set clock 22:59",
}

STEPS = tuple(STEP_FORMS)

FORMS = {
    "title": 'title "Boathouse lights"',
    "site": 'site "Name" zone "Europe/Oslo" latitude 60.39 longitude 5.32 holidays "NO"',
    "design": "design drop 3 % reserve 20 % conductors 40 C",
    "supply": "supply NAME 24 V 4 A",
    "input": 'input NAME at I1 maintained NO debounce 30ms wire 14 m 0.75 mm2 stranded "Label"',
    "output": "output NAME at R1 NO retained "
    + 'load 24 V 1.2 A led from SUPPLY wire 14 m 1.5 mm2 solid "Label"',
    "relay": 'relay NAME retained "Label"',
    "timer": 'timer NAME on-delay 5s "Label" '
    + "(or off-delay, pulse, accumulating, flasher 1s on 1s off)",
    "counter": 'counter NAME to 12 retained "Label"',
    "clock": "clock NAME from 19:00 to 22:30 on Mon-Fri between 05-01 and 09-30 except holidays"
    " (or clock NAME at 23:00 daily catch up 10min)",
    "holiday": "holiday NAME on 12-24 to 12-26",
    "rung": 'rung "Label" a and (b or not c) -> lamp, latch alarm',
    "never": 'never "Label" a and b',
    "always": 'always "Label" a or b',
    "require": 'require "Label" when a then b within 2s',
    "assume": 'assume "Label" never a and b',
    "scenario": 'scenario "Label" and then steps: ' + ", ".join(STEP_FORMS.values()),
}

# The order in which the formatter writes the parts of a declaration; trees hold them in this order.
OPTION_ORDER = (
    "at",
    "maintained",
    "momentary",
    "NO",
    "NC",
    "on-delay",
    "off-delay",
    "pulse",
    "accumulating",
    "flasher",
    "to",
    "window",
    "event",
    "daily",
    "on",
    "between",
    "except holidays",
    "catch up",
    "retained",
    "debounce",
    "load",
    "from",
    "wire",
    "label",
    "zone",
    "latitude",
    "holidays",
    "drop",
    "reserve",
    "conductors",
)
