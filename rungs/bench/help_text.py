"""The help of the bench: what the screen shows, the signs, and every key."""

from __future__ import annotations

from rungs.bench.keys import KEYS, Key, Pane, Where, key_name
from rungs.bench.pages.words import SIGNS, Line, Signs
from rungs.cells import fold
from rungs.draw.words import COIL_LEGEND, CONTACT_LEGEND

SIMULATION = (
    "This is a simulation. No switch, relay or load outside this program is read or moved, "
    "and what works here must still be tried on the real panel."
)

HOW = (
    "Current runs from left to right and the rungs are worked from top to bottom, scan after scan. "
    "A conductor that carries current is drawn heavy, one that does not is light and broken.",
    "In a rung without power the first open contact that stops the current is marked. "
    "What changed a moment ago is underlined.",
    "A switch shows two things: what the hand does (released, operated, tapped) and "
    "whether current can flow round its wire. An NC contact is closed at rest.",
    "A contact shows what its rung read. Above the rung that drives the device that is the state "
    "which the scan before left.",
    "The whole run is kept: capitals walk back (O a scan, N a change, E an event, I a rung), and "
    "so does the chart. A switch that moves in the past begins another future, after asking once.",
    "F3 opens the text beside the ladder; enter on the ladder changes it there. What is edited "
    "runs when F4 takes it into the panel: devices go on by name, and what is reset is told.",
    "On the top line * means unsaved, + that the panel runs an older text. With errors in the text "
    "the ladder is dim and shows what the text said before them.",
)


WHERE: dict[Where, str] = {
    "panel": "EVERYWHERE BUT IN THE TEXT",
    "always": "EVERYWHERE",
    "switches": "IN THE LIST OF SWITCHES",
    "rungs": "IN THE LADDER",
    "devices": "IN THE LIST OF RELAYS, TIMERS AND CLOCKS",
    "chart": "IN THE CHART",
    "text": "IN THE TEXT",
}


def help_text(width: int = 80) -> str:
    """The help as plain text."""
    lines = help_lines(width, SIGNS, "switches", KEYS)
    return "\n".join("".join(text for text, _ in line).rstrip() for line in lines)


def help_lines(
    width: int, signs: Signs, pane: Pane = "switches", keys: tuple[Key, ...] = KEYS
) -> list[Line]:
    """The help in lines of at most `width` columns; the keys of `pane` come first."""
    lines: list[Line] = []

    def say(text: str, tone: str = "plain", indent: int = 0) -> None:
        for part in fold(text, max(10, width - indent)):
            lines.append(((" " * indent + part, tone),))

    say(SIMULATION, "stop")
    for paragraph in HOW:
        lines.append(())
        say(paragraph)
    lines += [(), (("SIGNS", "title"),)]
    for sign, meaning in _legend(signs):
        lines.append(_entry(sign, meaning, width, 8))
    for where in (pane, *(each for each in WHERE if each != pane)):
        lines += [(), ((f"KEYS {WHERE[where]}", "title"),)]
        for key in keys:
            if key.where != where:
                continue
            shown = " ".join(key_name(each) for each in key.keys.split(","))
            first, *rest = fold(f"{key.text}: {key.tooltip}", max(10, width - 18))
            lines.append(((f"{shown:17} ", "title"), (first, "plain")))
            lines += [((" " * 18 + part, "plain"),) for part in rest]
    return lines


def _entry(sign: str, meaning: str, width: int, tab: int) -> Line:
    return ((f"{sign:{tab}}", "title"), (meaning[: max(0, width - tab)], "plain"))


def _legend(signs: Signs) -> list[tuple[str, str]]:
    return [
        (signs.on, "coil on, timer or clock contact closed, load on"),
        (signs.off, "coil off, contact open, load off"),
        (signs.pressed, "switch operated"),
        (signs.free, "switch released"),
        (signs.closed, "circuit closed: current can flow round the wire"),
        (signs.open, "circuit open"),
        (signs.broken, "wire broken: the circuit is open whatever the switch does"),
        (signs.shorted, "wire shorted: the circuit is closed whatever the switch does"),
        ("!", "forced: held on or off against the program"),
        ("+", "a rung that is not in the panel yet"),
        (signs.stop, "here the current stops: the first open contact of a rung without power"),
        (
            f"{signs.off} {signs.on}",
            "first the coil, then the load: on an NC contact, or before outputs are written",
        ),
        *((f"( {letter} )", meaning) for letter, meaning in COIL_LEGEND.items()),
        *((f"|{letter}|", meaning) for letter, meaning in CONTACT_LEGEND.items()),
    ]
