"""What stands on the bench, as lines of text with a tone for each piece.

Kept apart from the widgets, so that words and signs can be tested, and printed, without a screen.
A tone names a meaning, never a colour; every meaning also has a sign or a word of its own.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from rungs.bench.keys import GAP, footer, words
from rungs.bench.views import (
    ClockView,
    CounterView,
    RelayView,
    Status,
    SwitchView,
    TimerView,
    WallTime,
)
from rungs.draw.words import columns, safe
from rungs.language.words import clock_text

# a tone is one of these, or several with spaces between
TONES = ("plain", "quiet", "live", "wrong", "stop", "title", "pick", "glow")

Piece = tuple[str, str]  # text, tone
Line = tuple[Piece, ...]

WEEKDAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")


@dataclass(frozen=True, slots=True)
class Signs:
    """The signs for states; every pair differs in shape."""

    on: str
    off: str
    pressed: str
    free: str
    closed: str
    open: str
    broken: str
    shorted: str
    full: str
    empty: str
    cursor: str
    cut: str
    stop: str
    ascii_only: bool


SIGNS = Signs("●", "○", "▼", "·", "━━━", "─ ─", "─x─", "━x━", "█", "░", "▸", "…", "▲", False)
ASCII_SIGNS = Signs("*", "o", "v", ".", "===", "- -", "-x-", "=x=", "#", ".", ">", "~", "^", True)


# Rows that are kept after they were made: a panel at rest shows the same ones in every frame.
KEPT = 8_192


# --- small words


def fit(text: str, width: int, signs: Signs = SIGNS) -> str:
    """`text` in exactly `width` columns: filled with spaces, or cut with a mark at its end."""
    text = safe(text, signs.ascii_only)
    room = columns(text)
    if room <= width:
        return text + " " * (width - room)
    if width <= 0:
        return ""
    kept = ""
    for character in text:
        if columns(kept + character) > width - 1:
            break
        kept += character
    return kept + signs.cut + " " * (width - 1 - columns(kept))


def time_text(ms: int) -> str:
    """A time in at most six columns: `71.2 s`, `12m05s`, `3h05m`, `5d03h`."""
    seconds = ms // 1000
    if ms < 100_000:
        return f"{seconds}.{ms % 1000 // 100} s"
    if seconds < 6_000:
        return f"{seconds // 60}m{seconds % 60:02}s"
    if seconds < 360_000:
        return f"{seconds // 3600}h{seconds // 60 % 60:02}m"
    return f"{seconds // 86400}d{seconds // 3600 % 24:02}h"


def passed_text(ms: int) -> str:
    """A stretch of time to the millisecond where that matters: `0.010 s`, `71.200 s`."""
    return f"{ms // 1000}.{ms % 1000:03} s" if ms < 100_000 else time_text(ms)


def day_text(day: date, year: bool = True) -> str:
    """A date as people write it; not by the machine's language, so that it keeps its width."""
    text = f"{WEEKDAYS[day.weekday()]} {day.day:2} {MONTHS[day.month - 1]}"
    return f"{text} {day.year}" if year else text


def when_text(moment: WallTime, now: WallTime) -> str:
    """A coming moment, as short as it is clear: `09:11`, `Mon 19:00`, `25 Nov`."""
    day, ms = moment
    ahead = (day - now[0]).days
    if ahead == 0 or (ahead == 1 and ms < now[1]):
        return clock_text(ms)
    if ahead < 7:
        return f"{WEEKDAYS[day.weekday()]} {clock_text(ms)}"
    return f"{day.day} {MONTHS[day.month - 1]}"


def spaced(number: int) -> str:
    """A whole number in groups of three."""
    return f"{number:,}".replace(",", " ")


def _tone(*tones: str) -> str:
    return " ".join(tone for tone in tones if tone)


# --- the line on top


def status_line(status: Status, width: int, signs: Signs) -> Line:
    """Title, wall time, scan, and how time runs; all but the title keep their places."""
    pace = "lagging" if status.lagging else "running" if status.running else "paused"
    pace = f"{pace:7} x{status.speed:<4}"
    scan = "no power" if status.scan is None else f"scan {spaced(status.scan):>11}"
    wall = clock_text(status.wall[1], thousandths=True)
    if width >= 72:
        wall = f"{day_text(status.wall[0], width >= 90)}  {wall}"
    fixed = len(wall) + 16 + len(pace) + 3 * GAP + 1
    title = fit(status.title, max(0, width - fixed - 1), signs)
    gap = " " * GAP
    return (
        (" " + title, "title"),
        (gap + wall + gap, "plain"),
        (fit(scan, 16, signs), "plain" if status.powered else "wrong"),
        (gap + pace + " ", "wrong" if status.lagging else "plain" if status.running else "stop"),
    )


def footer_line(width: int) -> Line:
    """The words of the keys."""
    line: list[Piece] = [(" ", "plain")]
    for key in footer(width - 2):
        line += [(key.shown, "title"), (f" {key.text}", "quiet"), (" " * GAP, "plain")]
    return tuple(line)


def footer_hits(width: int) -> tuple[tuple[int, int, str], ...]:
    """For a mouse: the columns of each word of the footer, from and up to, and its action."""
    hits = []
    at = 1
    for key in footer(width - 2):
        end = at + len(words(key))
        hits.append((at, end, key.action))
        at = end + GAP
    return tuple(hits)


# --- switches


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
) -> list[Line]:
    """The list of switches for a pane of `size` columns and lines, under its heading."""
    width, height = size
    faults = sum(view.fault != "sound" for view in views)
    heading: list[Piece] = [("SWITCHES", "title")]
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
    name_tone = _tone("live" if view.circuit else "plain", pick, "glow" if glow else "")
    wire, wire_tone = _wire(view, signs)
    if rows == 1:
        hand = signs.pressed if view.operated else signs.free
        return (
            (
                (cursor, _tone("title", pick)),
                (fit(view.name, width - 7, signs), name_tone),
                (f" {hand} ", _tone("plain", pick)),
                (wire, _tone(wire_tone, pick)),
            ),
        )
    tail = f"{view.terminal} {view.side}" if width >= 24 else view.terminal
    tail = fit(tail, min(columns(tail), 8), signs)
    room = width - 3 - columns(tail)
    top: Line = (
        (cursor, _tone("title", pick)),
        (fit(view.name, room, signs), name_tone),
        (" " + tail + " ", _tone("quiet", pick)),
    )
    hand = f"  {hand_word(view):9}"
    word = f" {circuit_word(view)}" if width >= 24 else ""
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
    if view.debounce:
        parts.append(f"debounce {view.debounce} ms")
    if view.label:
        parts.append(view.label)
    return " - ".join(parts)


# --- relays, timers, counters, clocks


@dataclass(frozen=True, slots=True)
class Devices:
    """All that the list on the right shows."""

    relays: tuple[RelayView, ...]
    timers: tuple[TimerView, ...]
    counters: tuple[CounterView, ...]
    clocks: tuple[ClockView, ...]
    now: WallTime


def device_lines(
    devices: Devices, glow: Collection[str], size: tuple[int, int], signs: Signs
) -> list[Line]:
    """The list of devices for a pane of `size` columns and lines: roomy if that fits."""
    width, height = size
    for roomy in (True, False):
        lines = _device_lines(devices, glow, width, roomy, signs)
        if len(lines) <= height:
            break
    return lines


def _device_lines(
    devices: Devices, glow: Collection[str], width: int, roomy: bool, signs: Signs
) -> list[Line]:
    groups: list[tuple[str, list[Line]]] = [
        ("RELAYS", _relays(devices.relays, glow, width, signs)),
        ("TIMERS", [row for v in devices.timers for row in _timer(v, glow, width, roomy, signs)]),
        ("COUNTERS", [_counter(v, glow, width, signs) for v in devices.counters]),
        ("CLOCKS", [_clock(v, devices.now, glow, width, signs) for v in devices.clocks]),
    ]
    lines: list[Line] = []
    for heading, rows in groups:
        if not rows:
            continue
        if lines and roomy:
            lines.append(())
        lines += [((heading, "title"),), *rows]
    return lines


def _state(on: bool, signs: Signs) -> Piece:
    return (signs.on, "live") if on else (signs.off, "quiet")


def _name(name: str, on: bool, glow: bool, width: int, signs: Signs) -> Piece:
    tone = _tone("live" if on else "plain", "glow" if glow else "")
    return fit(name, width, signs), tone


def _relays(
    views: Sequence[RelayView], glow: Collection[str], width: int, signs: Signs
) -> list[Line]:
    """The terminals stand in a column of their own where that leaves the names their room."""
    tab = min(max((columns(v.terminal) for v in views), default=0), 6) + 1
    if width < 34 and tab > 4:
        tab = 0
    return [_relay(view, view.name in glow, tab, width, signs) for view in views]


@lru_cache(maxsize=KEPT)
def _relay(view: RelayView, glow: bool, tab: int, width: int, signs: Signs) -> Line:
    wordy = width >= 28
    state_width = 16 if wordy else 4
    line: list[Piece] = [
        (fit(view.terminal, tab - 1, signs) + " ", "quiet") if tab else ("", "plain"),
        _name(view.name, view.coil, glow, width - tab - state_width, signs),
        (" ", "plain"),
        _state(view.coil, signs),
    ]
    if wordy:
        line.append((" on " if view.coil else " off", "live" if view.coil else "quiet"))
        if view.load is not None:
            word = "load on " if view.load else "load off"
            line.append(("  " + word, "live" if view.load else "quiet"))
    elif view.side == "NC":
        line += [(" ", "plain"), _state(bool(view.load), signs)]
    return tuple(line)


def bar(fraction: float, width: int, signs: Signs) -> str:
    """A bar of `width` columns; it is full only when the time is over."""
    full = int(fraction * width)
    return signs.full * full + signs.empty * (width - full)


def _timer(
    view: TimerView, glow: Collection[str], width: int, roomy: bool, signs: Signs
) -> list[Line]:
    running = view.timing or 0 < view.elapsed < view.length
    shown = view.elapsed if running or (roomy and width >= 30) else view.length
    time = f"{time_text(shown):>7} "
    tone = "live" if view.timing else "quiet"
    name: Line = (_state(view.closed, signs), (" ", "plain"))
    if not roomy:
        return [
            (
                *name,
                _name(view.name, view.closed, view.name in glow, width - 2 - len(time), signs),
                (time, tone),
            )
        ]
    kind = f" {view.kind:13}" if width >= 30 else ""
    of = f" of {time_text(view.length):>6}" if width >= 30 else ""
    below = bar(view.fraction, max(1, width - 3 - len(time) - len(of)), signs)
    return [
        (
            *name,
            _name(view.name, view.closed, view.name in glow, width - 2 - len(kind), signs),
            (kind, "quiet"),
        ),
        (("  ", "plain"), (below, tone), (time.rstrip(), tone), (of, "quiet")),
    ]


def _counter(view: CounterView, glow: Collection[str], width: int, signs: Signs) -> Line:
    count = f"{view.count:>6}/{view.preset} "
    return (
        _state(view.closed, signs),
        (" ", "plain"),
        _name(view.name, view.closed, view.name in glow, width - 2 - len(count), signs),
        (count, "live" if view.closed else "quiet"),
    )


def _clock(view: ClockView, now: WallTime, glow: Collection[str], width: int, signs: Signs) -> Line:
    if view.changes is None:
        when = "never"
    else:
        when = when_text(view.changes, now)
        if width >= 28:
            word = "at" if view.is_event else "from" if view.will_close else "until"
            when = f"{word:5} {when:>9}"
    when = f"{when:>6} "
    return (
        _state(view.closed, signs),
        (" ", "plain"),
        _name(view.name, view.closed, view.name in glow, width - 2 - len(when), signs),
        (when, "quiet"),
    )
