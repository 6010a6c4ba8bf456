"""The keys of the bench: one table, from which bindings, footer, help and commands all come.

Letters are chosen for the words beside them; the same letter as a capital walks back. Nothing needs
Alt, a function key always has a letter or a command beside it, and none is a key that terminals,
multiplexers or desktops keep for themselves; a doubled key is there for those that do.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal, get_args

Pane = Literal["switches", "rungs", "devices", "chart", "text"]
PANES: tuple[Pane, ...] = get_args(Pane)

# `always` also while text is typed, `panel` everywhere but there
Where = Literal["always", "panel"] | Pane


@dataclass(frozen=True, slots=True)
class Key:
    """One thing the bench can do.

    `keys` are the key names of the screen library, with commas; `where` is the pane in which they
    work. `rank` orders the words of the footer by importance, 0 keeps them out of it.
    """

    id: str
    keys: str
    where: Where
    text: str
    tooltip: str
    rank: int = 0

    @property
    def shown(self) -> str:
        """What people call its first key."""
        return key_name(self.keys.split(",")[0])


_NAMES = {
    "question_mark": "?",
    "plus": "+",
    "minus": "-",
    "pagedown": "page down",
    "pageup": "page up",
    "greater_than_sign": ">",
    "less_than_sign": "<",
    "backslash": "\\",
}


def key_name(key: str) -> str:
    """What people call a key of the screen library."""
    name = _NAMES.get(key, key)
    if len(name) > 1 and name[0] == "f" and name[1:].isdigit():
        return name.upper()
    return name.replace("shift+", "shift ").replace("ctrl+", "ctrl ").replace("escape", "esc")


KEYS: tuple[Key, ...] = (
    # hands
    Key(
        "switch.operate",
        "space,enter",
        "switches",
        "operate",
        "throw the switch, or tap the button; a button that is held is let go",
        1,
    ),
    Key("switch.hold", "h", "switches", "hold", "keep a button pressed, or let it go", 5),
    Key("switch.next", "down", "switches", "next switch", "choose the next switch"),
    Key("switch.previous", "up", "switches", "previous switch", "choose the switch before"),
    Key("wire.break", "b", "switches", "break wire", "cut the wire of the switch", 16),
    Key(
        "wire.short",
        "s",
        "switches",
        "short wire",
        "join the two wires of the switch: current flows whatever it does",
        17,
    ),
    Key("wire.mend", "m", "switches", "mend wire", "make the wire sound again", 18),
    Key("panel.power", "p", "panel", "power", "switch the panel's supply off or on", 19),
    Key(
        "panel.again",
        "a",
        "panel",
        "start again",
        "a new panel at the first moment: switches released, wires sound, nothing retained",
    ),
    # time
    Key("time.run", "r,f5", "panel", "run/pause", "let time run, or stop it", 2),
    Key("time.scan", "o", "panel", "one scan", "pause, and make one scan", 3),
    Key("time.scan_back", "O", "panel", "scan back", "pause, and go back by one scan"),
    Key(
        "time.rung",
        "i",
        "panel",
        "into scan",
        "pause, and work one rung: the inputs are read, then rung after rung, then outputs written",
        8,
    ),
    Key("time.rung_back", "I", "panel", "rung back", "pause, and take back one rung"),
    Key(
        "time.change",
        "n",
        "panel",
        "next change",
        "pause, and run to the next scan in which a device moves",
        7,
    ),
    Key("time.change_back", "N", "panel", "change back", "go back to the change before"),
    Key(
        "time.event",
        "e",
        "panel",
        "event",
        "pause, and run to the next moment at which a timer runs out or a clock moves",
        9,
    ),
    Key("time.event_back", "E", "panel", "event back", "go back to the timer or clock before"),
    Key(
        "time.to",
        "t",
        "panel",
        "go to",
        "pause, and go to a time, or on until a circuit closes",
        10,
    ),
    Key("time.present", "l", "panel", "latest", "leave the past: show the present again", 21),
    Key("time.faster", "u", "panel", "speed up", "let time run faster"),
    Key("time.slower", "d", "panel", "slow down", "let time run slower"),
    # asking
    Key(
        "ask.why", "w", "panel", "why", "why the chosen device is on or off, and what alters it", 4
    ),
    Key(
        "ask.find",
        "g",
        "panel",
        "go to rung",
        "show the rung that drives the chosen device, then those that read it",
        12,
    ),
    Key("force.choose", "f", "panel", "force", "hold a contact or coil against the program", 11),
    Key("force.release", "F", "panel", "release forces", "let go of all forces together"),
    # the ladder
    Key("rung.edit", "enter", "rungs", "edit here", "change the rung at the chosen place", 1),
    Key("rung.operate", "space", "rungs", "operate", "operate the switch of the chosen contact", 5),
    Key("rung.right", "right", "rungs", "right", "the next contact or coil of the rung"),
    Key("rung.left", "left", "rungs", "left", "the contact or coil before"),
    Key("rung.down", "down", "rungs", "rung below", "the rung below"),
    Key("rung.up", "up", "rungs", "rung above", "the rung above"),
    Key("view.first", "home", "rungs", "first rung", "show the first rung"),
    Key("view.last", "end", "rungs", "last rung", "show the last rung"),
    # lists and chart
    Key("device.next", "down", "devices", "next device", "choose the next device"),
    Key("device.previous", "up", "devices", "previous device", "choose the device before"),
    Key("device.find", "enter", "devices", "its rung", "show the rung that drives the device", 1),
    Key("chart.back", "left", "chart", "earlier", "go back by a column of the chart", 1),
    Key("chart.on", "right", "chart", "later", "go on by a column of the chart", 1),
    Key("chart.closer", "plus", "chart", "closer", "less time in a column", 5),
    Key("chart.wider", "minus", "chart", "wider", "more time in a column", 5),
    Key("chart.choose", "enter", "chart", "choose traces", "choose the devices of the chart", 6),
    Key("chart.begin", "home", "chart", "beginning", "go back to the beginning of the run"),
    Key("chart.end", "end", "chart", "present", "show the present"),
    Key("chart.down", "down", "chart", "next trace", "choose the next trace"),
    Key("chart.up", "up", "chart", "previous trace", "choose the trace before"),
    # views
    Key("view.down", "pagedown", "panel", "rungs on", "show the rungs further down"),
    Key("view.up", "pageup", "panel", "rungs back", "show the rungs further up"),
    Key("view.right", "greater_than_sign", "panel", "rungs right", "show more of a wide rung"),
    Key("view.left", "less_than_sign", "panel", "rungs left", "show its beginning again"),
    Key("view.next", "tab", "panel", "next pane", "go to the next pane", 13),
    Key("view.previous", "shift+tab", "panel", "previous pane", "go to the pane before"),
    Key("view.colours", "C", "panel", "colours", "light or dark"),
    Key("view.taller", "y", "panel", "chart size", "a taller chart, a lower one, or none"),
    # the text
    Key("text.open", "f3", "always", "text", "open the text beside the ladder, or close it", 14),
    Key("text.take", "f4", "always", "take in", "take the edited program into the panel", 15),
    Key("text.save", "f2,ctrl+s", "always", "save", "save the file", 20),
    Key("text.finding", "f8", "always", "next finding", "go to the next finding", 21),
    Key("text.goto", "f6", "text", "go to", "go to the coil of the name, then to its contacts", 4),
    Key("text.rename", "f7", "text", "rename", "rename the device in the whole file", 6),
    Key("text.complete", "tab", "text", "complete", "complete the word", 1),
    Key("text.leave", "escape", "text", "leave", "leave the text, and go to the ladder", 2),
    Key("text.back", "shift+tab", "text", "pane before", "go to the pane before the text"),
    Key("text.run", "f5", "text", "run/pause", "let time run, or stop it"),
    Key("text.undo", "ctrl+z", "text", "undo", "take back the last change", 7),
    Key("text.redo", "ctrl+y", "text", "redo", "make it again", 8),
    Key("edit.undo", "z", "panel", "undo", "take back the last change to the file", 22),
    Key("edit.redo", "Z", "panel", "redo", "make it again"),
    Key("edit.rename", "R", "panel", "rename", "rename the chosen device in the whole file"),
    # scenarios, files
    Key(
        "scenario.record",
        "k",
        "panel",
        "keep",
        "keep what the hands do from now on as a scenario; again: expect, write, or drop it",
        23,
    ),
    Key("scenario.play", "v", "panel", "play scenario", "choose a scenario and play it here", 24),
    Key("scenario.rest", "V", "panel", "play on", "play the scenario to its end or first failure"),
    Key("scenario.end", "escape", "panel", "end scenario", "leave the scenario that is played"),
    Key(
        "checkout.walk",
        "T",
        "panel",
        "checkout",
        "tick off the finished panel: what to operate and to see, and what was found",
        27,
    ),
    Key("chart.export", "x", "panel", "export", "write the chart to a file: csv, svg or vcd", 25),
    Key("bench.say", "P", "panel", "as text", "write what the bench shows to a plain text file"),
    Key("bench.commands", "c,f9", "panel", "commands", "find a command by a word", 26),
    Key("bench.help", "question_mark,f1", "panel", "help", "what the signs mean, every key", 1),
    Key("bench.help_text", "f1", "text", "help", "what the signs mean, every key", 1),
    Key("bench.commands_text", "f9", "text", "commands", "find a command by a word", 9),
    Key("bench.quit", "q,ctrl+q", "panel", "quit", "leave the bench", 1),
)

# keys of the text for what has a key elsewhere
_AGAIN = ("text.undo", "text.redo", "text.back", "text.run")

# what the commands list may not offer: it would act on the list itself, or stands there already
NOT_COMMANDS = frozenset({"bench.commands", "bench.commands_text", "bench.help_text", *_AGAIN})

GAP = 2  # columns between two words of the footer


def by_id(key_id: str, keys: tuple[Key, ...] = KEYS) -> Key:
    """The entry of an id. KeyError if there is none."""
    return {key.id: key for key in keys}[key_id]


def works_in(key: Key, pane: Pane) -> bool:
    """Whether a key works while a pane has the keyboard."""
    return key.where in (pane, "always") or (key.where == "panel" and pane != "text")


def words(key: Key) -> str:
    """A key and its word, as the footer shows them."""
    return f"{key.shown} {key.text}"


def footer(width: int, pane: Pane = "switches", keys: tuple[Key, ...] = KEYS) -> tuple[Key, ...]:
    """The keys whose words fit in a line of `width` columns while a pane has the keyboard.

    In table order, the pane's own first. The most important come first to the room; one that does
    not fit ends the search, so that a wider screen never takes a word away.
    """
    chosen: list[Key] = []
    left = width + GAP
    ranked = [key for key in keys if key.rank and works_in(key, pane)]
    for key in sorted(ranked, key=lambda key: (key.rank, key.where != pane)):
        left -= len(words(key)) + GAP
        if left < 0:
            break
        chosen.append(key)
    own = [key for key in keys if key in chosen and key.where == pane]
    return (*own, *(key for key in keys if key in chosen and key.where != pane))


def remapped(changes: dict[str, str]) -> tuple[Key, ...]:
    """The table with other keys for some ids. KeyError for an id that is not there."""
    known = {key.id for key in KEYS}
    for key_id in changes:
        if key_id not in known:
            raise KeyError(key_id)
    return tuple(replace(key, keys=changes.get(key.id, key.keys)) for key in KEYS)


def clashes(keys: tuple[Key, ...]) -> tuple[tuple[str, str, str], ...]:
    """Keys that would do two things in one pane: the key, and the two ids.

    A pane's own key wins over one that works everywhere, which is no clash.
    """
    found = []
    for index, one in enumerate(keys):
        for other in keys[index + 1 :]:
            rival = one.where == other.where or "always" in (one.where, other.where)
            for key in set(one.keys.split(",")) & set(other.keys.split(",")) if rival else ():
                found.append((key, one.id, other.id))
    return tuple(found)
