"""The list of switches: what the hand does with each, and what its wire carries."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from functools import lru_cache

from rungs.bench.pages.words import KEPT, Line, Piece, Signs, fit, toned
from rungs.bench.views import SwitchView
from rungs.cells import columns


def switch_rows(count: int, width: int, height: int) -> int:
    """How many lines a switch takes, so that all of them fit if they can; one line is the least."""
    forms = (4, 3, 2) if width >= 24 else (3, 2)
    return next((rows for rows in forms if count * rows + 1 <= height), 1)


def _wire(view: SwitchView, signs: Signs) -> Piece:
    match view.fault:
        case "broken":
            return signs.broken, "wrong"
        case "shorted":
            return signs.shorted, "wrong"
        case _:
            return (signs.closed, "live") if view.circuit else (signs.open, "quiet")


def hand_word(view: SwitchView) -> str:
    """What the hand does with the switch."""
    if not view.operated:
        return "released"
    return "operated" if view.release_in is None else "tapped"


def circuit_word(view: SwitchView) -> str:
    """What the wire does, and whether it is at fault."""
    state = "closed" if view.circuit else "open"
    return state if view.fault == "sound" else view.fault


def switch_lines(
    views: Sequence[SwitchView],
    chosen: str | None,
    glow: Collection[str],
    size: tuple[int, int],
    signs: Signs,
    focused: bool = True,
) -> list[Line]:
    """The list of switches for a pane of `size` columns and lines, under its heading."""
    width, height = size
    faults = sum(view.fault != "sound" for view in views)
    heading: list[Piece] = [("SWITCHES", "title pick" if focused else "title")]
    if faults:
        heading.append((f" {faults} wire{'s' * (faults > 1)}", "wrong"))
    lines: list[Line] = [tuple(heading)]
    rows = switch_rows(len(views), width, height)
    for view in views:
        lines += _switch(view, view.name == chosen, view.name in glow, rows, width, signs)
    if not views:
        lines.append(((fit("none in this panel", width, signs), "quiet"),))
    return lines


@lru_cache(maxsize=KEPT)
def _switch(
    view: SwitchView, chosen: bool, glow: bool, rows: int, width: int, signs: Signs
) -> tuple[Line, ...]:
    cursor = signs.cursor if chosen else " "
    pick = "pick" if chosen else ""
    held = view.forced is not None
    state = "forced" if held else "live" if view.circuit else "plain"
    name_tone = toned(state, pick, "glow" if glow else "")
    wire, wire_tone = _wire(view, signs)
    if view.forced is not None:
        wire, wire_tone = (signs.held_on if view.forced else signs.held_off), "forced"
    if rows == 1:
        hand = signs.pressed if view.operated else signs.free
        return (
            (
                (cursor, toned("title", pick)),
                (fit(view.name, width - 7, signs), name_tone),
                (f" {hand} ", toned("plain", pick)),
                (wire, toned(wire_tone, pick)),
            ),
        )
    tail = f"{view.terminal} {view.side}" if width >= 24 else view.terminal
    tail = fit(tail, min(columns(tail), 8), signs)
    room = width - 3 - columns(tail)
    top: Line = (
        (cursor, toned("title", pick)),
        (fit(view.name, room, signs), name_tone),
        (" " + tail + " ", toned("quiet", pick)),
    )
    hand = f"  {hand_word(view):9}"
    word = "forced" if held else circuit_word(view)
    word = f" {word}" if width >= 24 else ""
    below: Line = (
        (hand, "plain" if view.operated else "quiet"),
        (wire, wire_tone),
        (word, "wrong" if view.fault != "sound" else "quiet"),
    )
    # a label that is cut to a few letters says nothing
    label: Line = (("  " + fit(view.label, width - 3, signs), "quiet"),) if width >= 24 else ()
    return (top, below, label, ())[:rows]


def switch_at(line: int, count: int, width: int, height: int) -> int | None:
    """The number of the switch that stands on a line of the list."""
    index = (line - 1) // switch_rows(count, width, height)
    return index if line >= 1 and index < count else None


def switch_detail(view: SwitchView) -> str:
    """All about the chosen switch, in one line."""
    parts = [
        f"{view.name}: {hand_word(view)}, circuit {'closed' if view.circuit else 'open'}",
        f"{view.actuator} {view.side} at {view.terminal}",
    ]
    if view.fault != "sound":
        parts.insert(1, f"wire {view.fault}")
    if view.forced is not None:
        parts.insert(1, f"FORCED {'closed' if view.forced else 'open'}")
    if view.debounce:
        parts.append(f"debounce {view.debounce} ms")
    if view.label:
        parts.append(view.label)
    return " - ".join(parts)
