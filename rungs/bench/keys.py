"""The keys of the bench: one table, from which bindings, footer, help and commands all come.

Letters are chosen for the words beside them. None needs Alt or a function key, and none is one that
terminals, multiplexers or desktops keep for themselves; a doubled key is there for those that do.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Key:
    """One thing the bench can do.

    `keys` are the key names of the screen library, with commas; `shown` is how people call them.
    `rank` orders the words of the footer by importance, 0 keeps them out of it.
    """

    id: str
    keys: str
    shown: str
    action: str
    text: str
    tooltip: str
    rank: int = 0


KEYS: tuple[Key, ...] = (
    Key(
        "switch.operate",
        "space,enter",
        "space",
        "operate",
        "operate",
        "throw the switch, or tap the button; a button that is held is let go",
        1,
    ),
    Key("switch.hold", "h", "h", "hold", "hold", "keep a button pressed, or let it go", 5),
    Key("switch.next", "down,tab", "down", "move(1)", "next switch", "choose the next switch"),
    Key(
        "switch.previous",
        "up,shift+tab",
        "up",
        "move(-1)",
        "previous switch",
        "choose the switch before",
    ),
    Key(
        "switch.find",
        "f",
        "f",
        "find",
        "find",
        "show the next rung that reads the chosen switch",
        10,
    ),
    Key("wire.break", "b", "b", "fault('broken')", "break wire", "cut the wire of the switch", 8),
    Key(
        "wire.short",
        "s",
        "s",
        "fault('shorted')",
        "short wire",
        "join the two wires of the switch: current flows whatever it does",
        12,
    ),
    Key("wire.mend", "m", "m", "fault('sound')", "mend wire", "make the wire sound again", 11),
    Key("panel.power", "p", "p", "power", "power", "switch the panel's supply off or on", 9),
    Key("time.run", "r", "r", "run_or_pause", "run/pause", "let time run, or stop it", 2),
    Key("time.scan", "o", "o", "one_scan", "one scan", "pause, and make one scan", 6),
    Key(
        "time.change",
        "n",
        "n",
        "next_change",
        "next change",
        "pause, and run to the next scan in which a device moves",
        4,
    ),
    Key(
        "time.event",
        "e",
        "e",
        "next_event",
        "event",
        "pause, and run to the next moment at which a timer runs out or a clock moves",
        7,
    ),
    Key("time.faster", "u", "u", "faster", "speed up", "let time run faster", 13),
    Key("time.slower", "d", "d", "slower", "slow down", "let time run slower", 14),
    Key(
        "panel.again",
        "a",
        "a",
        "again",
        "start again",
        "a new panel at the first moment: switches released, wires sound, nothing retained",
        15,
    ),
    Key("view.down", "pagedown", "page down", "page(1)", "rungs on", "show the rungs further down"),
    Key("view.up", "pageup", "page up", "page(-1)", "rungs back", "show the rungs further up"),
    Key("view.right", "right", "right", "shift(1)", "rungs right", "show more of a wide rung"),
    Key("view.left", "left", "left", "shift(-1)", "rungs left", "show its beginning again"),
    Key("view.first", "home", "home", "first", "first rung", "show the first rung"),
    Key("view.last", "end", "end", "last", "last rung", "show the last rung"),
    Key(
        "view.list",
        "l",
        "l",
        "list_on",
        "list on",
        "show the rest of the relays, timers and clocks where they need more room",
    ),
    Key("bench.commands", "c", "c", "command_palette", "commands", "find a command by a word", 16),
    Key(
        "bench.help",
        "question_mark,f1",
        "?",
        "help",
        "help",
        "what the signs mean, and every key",
        1,
    ),
    Key("bench.quit", "q,ctrl+c", "q", "quit", "quit", "leave the bench", 1),
)

# what the commands list may not offer: it would act on the list itself
NOT_COMMANDS = frozenset({"bench.commands"})

GAP = 2  # columns between two words of the footer


def by_id(key_id: str) -> Key:
    """The entry of an id. KeyError if there is none."""
    return {key.id: key for key in KEYS}[key_id]


def words(key: Key) -> str:
    """A key and its word, as the footer shows them."""
    return f"{key.shown} {key.text}"


def footer(width: int) -> tuple[Key, ...]:
    """The keys whose words fit in a line of `width` columns, in table order.

    The most important come first to the room; one that does not fit ends the search, so that a
    wider screen never takes a word away.
    """
    chosen: list[Key] = []
    left = width + GAP
    for key in sorted((key for key in KEYS if key.rank), key=lambda key: key.rank):
        left -= len(words(key)) + GAP
        if left < 0:
            break
        chosen.append(key)
    return tuple(key for key in KEYS if key in chosen)
