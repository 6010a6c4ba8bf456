"""The small words beside the signs of a ladder on paper: where a device is driven and where it is
read, its terminal, its times.

Data first: the drawing shows these words, and the list of devices is made of the same places, so
that a sheet and the list cannot disagree.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Final, assert_never
from unicodedata import category

from rungs.cells import columns, cut, fold, safe
from rungs.draw.crossref import Driver, cross_reference
from rungs.language.words import duration_text
from rungs.program.nodes import (
    EVERY_DAY,
    Action,
    Clock,
    Compare,
    Counter,
    Device,
    Input,
    Leaf,
    Output,
    Program,
    Relay,
    Timer,
    leaves,
)
from rungs.program.times import moment_text, season_text, weekdays_text

_MARKS: Final = 2  # accents on one letter; a tower of them would run into the line above


@dataclass(frozen=True, slots=True)
class Places:
    """Where one device stands in the rungs, each rung once, in order.

    `no` and `nc` are the rungs with a contact of it as drawn: a negated contact of any kind is NC,
    all others and comparisons are NO.
    """

    driven: tuple[Driver, ...] = ()
    no: tuple[int, ...] = ()
    nc: tuple[int, ...] = ()

    @property
    def rungs(self) -> tuple[int, ...]:
        """The rungs that act on the device."""
        return tuple(dict.fromkeys(driver.rung for driver in self.driven))


def places_of(program: Program) -> dict[str, Places]:
    """The places of every device, by name, in file order."""
    read: dict[bool, dict[str, dict[int, None]]] = {False: {}, True: {}}
    for rung in program.rungs:
        for leaf in leaves(rung.circuit):
            closed = not isinstance(leaf, Compare) and leaf.negated
            read[closed].setdefault(leaf.name, {})[rung.number] = None
    return {
        name: Places(
            crossed.driven_by, tuple(read[False].get(name, ())), tuple(read[True].get(name, ()))
        )
        for name, crossed in cross_reference(program).items()
    }


# --- words of one device


def kind_words(device: Device) -> str:
    """What a device is, with its times: `input, momentary NC`, `timer, off-delay 90s`."""
    match device:
        case Input():
            kept = f", debounce {duration_text(device.debounce)}" if device.debounce else ""
            return f"input, {device.actuator} {device.side}{kept}"
        case Output():
            return f"output, {device.side}" + (", retained" if device.retained else "")
        case Relay():
            return "relay" + (", retained" if device.retained else "")
        case Timer():
            return f"timer, {timer_words(device)}" + (", retained" if device.retained else "")
        case Counter():
            return f"counter, to {device.preset}" + (", retained" if device.retained else "")
        case Clock():
            return f"clock, {clock_words(device)}"
        case _:
            assert_never(device)


def timer_words(timer: Timer) -> str:
    """Kind and times of a timer, as the file has them."""
    return f"{timer.kind} {preset_words(timer)}"


def preset_words(timer: Timer) -> str:
    """The times of a timer alone."""
    text = duration_text(timer.preset)
    return f"{text} on {duration_text(timer.off)} off" if timer.kind == "flasher" else text


def clock_words(clock: Clock) -> str:
    """The times and days of a clock in few words: `19:00 to 22:30 Mon-Fri`."""
    begin = moment_text(clock.begin)
    text = f"at {begin}" if clock.end is None else f"{begin} to {moment_text(clock.end)}"
    late = f" catch up {duration_text(clock.catch_up)}" if clock.catch_up else ""
    days = "" if clock.days.weekdays == EVERY_DAY else f" {weekdays_text(clock.days.weekdays)}"
    return text + days + season_text(clock.days) + late


# --- lines beside a sign


def contact_notes(leaf: Leaf, program: Program, places: dict[str, Places], width: int) -> list[str]:
    """The lines under a contact, each of at most `width` columns: terminal, times, coil."""
    device = program.by_name.get(leaf.name)
    match device:
        case None:
            return []
        case Input():
            return _cut_lines(device.terminal, width, 1)
        case Clock():
            return _cut_lines(clock_words(device), width, 9)
        case Timer() | Counter() | Output() | Relay():
            own: list[str] = []
            if isinstance(device, Timer):
                own = _cut_lines(preset_words(device), width, 2)
            elif isinstance(device, Counter):
                own = [f"to {device.preset}"]
            rungs = places.get(leaf.name, Places()).rungs
            return own + (listed("coil", rungs, width, 2) if rungs else ["no coil"])
        case _:
            assert_never(device)


def coil_notes(
    action: Action, number: int, program: Program, places: dict[str, Places], width: int
) -> list[str]:
    """The lines under a coil in rung `number`: terminal or times, where its contacts are, and which
    other rungs act on the device."""
    device = program.by_name.get(action.name)
    own: list[str] = []
    match device:
        case Output():
            own = _cut_lines(device.terminal, width, 1)
        case Timer():
            own = _cut_lines(timer_words(device), width, 2)
        case Counter():
            own = [f"to {device.preset}"]
        case _:
            pass
    place = places.get(action.name, Places())
    others = tuple(rung for rung in place.rungs if rung != number)
    for head, rungs in (("NO", place.no), ("NC", place.nc), ("also", others)):
        if rungs:
            own += listed(head, rungs, width, 2)
    return own


def label_lines(text: str, width: int, limit: int) -> list[str]:
    """A label on at most `limit` lines; a sign says where something was left out."""
    return _cut_lines(tame(text), width, limit) if text else []


@lru_cache(4096)
def name_lines(text: str, width: int) -> tuple[str, ...]:
    """A name or caption on as few lines as it needs, all of it, the lines about equally long."""
    lines = fold(safe(text), width)
    if len(lines) > 1:
        for narrower in range(width - 1, 4, -1):
            tried = fold(safe(text), narrower)
            if len(tried) > len(lines):
                break
            if not any(line.startswith("_") for line in tried):
                lines = tried
    return lines


def tame(text: str) -> str:
    """Text made safe, with few accents on a letter."""
    shown = safe(text)
    if shown.isascii():
        return shown
    kept: list[str] = []
    marks = 0
    for character in shown:
        marks = marks + 1 if category(character) in ("Mn", "Me") else 0
        if marks <= _MARKS:
            kept.append(character)
    return "".join(kept)


def _cut_lines(text: str, width: int, limit: int) -> list[str]:
    lines = fold(safe(text), width)
    if len(lines) <= limit:
        return list(lines)
    last = " ".join(lines[limit - 1 :])
    if columns(last) <= width:  # folded for another reason than its length
        return [*lines[: limit - 1], last]
    whole = fold(last, width - 2)[0]  # rather between words than inside one
    end = f"{whole} \u2026" if columns(whole) > width // 2 else cut(last, width, tail=0)
    return [*lines[: limit - 1], end]


def listed(head: str, numbers: Sequence[int], width: int, limit: int) -> list[str]:
    """`head 4, 7, 9` on at most `limit` lines; where there is no room, how many more there are."""
    # no line takes more than a number in three columns
    for shown in range(min(len(numbers), limit * width // 3), 0, -1):
        words = [f"{number}," for number in numbers[:shown]]
        if shown == len(numbers):
            words[-1] = words[-1][:-1]
        else:
            words[-1] = words[-1][:-1]
            words.append(f"+{len(numbers) - shown} more")
        lines = [head]
        for word in words:
            if len(lines[-1]) + 1 + len(word) <= width:
                lines[-1] += f" {word}"
            else:
                lines.append(word)
        if len(lines) <= limit:
            return lines
    return [f"{head} +{len(numbers)} more"]
