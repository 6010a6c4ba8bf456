"""The words and signs of which all lines of the bench are made.

Kept apart from the widgets, so that words and signs can be tested, and printed, without a screen.
A tone names a meaning, never a colour; every meaning also has a sign or a word of its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from rungs.bench.views import WallTime
from rungs.cells import columns, cut, safe
from rungs.language.words import clock_text

# a tone is one of these, or several with spaces between
TONES = ("plain", "quiet", "live", "wrong", "stop", "forced", "title", "pick", "glow")

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
    held_on: str
    held_off: str
    full: str
    empty: str
    cursor: str
    cut: str
    stop: str
    ascii_only: bool


SIGNS = Signs(
    "●", "○", "▼", "·", "━━━", "─ ─", "─x─", "━x━", "!━!", "! !", "█", "░", "▸", "…", "▲", False
)
ASCII_SIGNS = Signs(
    "*", "o", "v", ".", "===", "- -", "-x-", "=x=", "!=!", "! !", "#", ".", ">", "~", "^", True
)

# Rows that are kept after they were made: a panel at rest shows the same ones in every frame.
KEPT = 8_192


# --- small words


def fit(text: str, width: int, signs: Signs = SIGNS) -> str:
    """`text` in exactly `width` columns: filled with spaces, or cut with a mark at its end."""
    if width <= 0:
        return ""
    text = cut(safe(text, signs.ascii_only), width, signs.ascii_only, tail=0)
    return text + " " * (width - columns(text))


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


def toned(*tones: str) -> str:
    """Several tones as one; empty ones vanish."""
    return " ".join(tone for tone in tones if tone)
