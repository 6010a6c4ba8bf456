"""The line on top of the bench, and the words of the keys at its foot."""

from __future__ import annotations

from functools import lru_cache

from rungs.bench.keys import GAP, KEYS, Key, Pane, footer, words
from rungs.bench.pages.words import Line, Piece, Signs, day_text, fit, spaced
from rungs.bench.views import Status
from rungs.language.words import clock_text


def status_line(
    status: Status,
    width: int,
    signs: Signs,
    file: str = "",
    keeping: bool = False,
    errors: int = 0,
) -> Line:
    """Title, wall time, scan, and how time runs; all but the title keep their places.

    What must not be overlooked (forces, broken properties, errors of the text, a scenario that is
    kept) stands before the title, since that has room to give; `file` are marks of the file.
    """
    if status.rung is not None:
        pace = "inputs read" if status.rung == 0 else f"rung {status.rung} worked"
    elif status.past:
        pace = f"replay x{status.speed}" if status.running else "in the past"
    else:
        pace = "lagging" if status.lagging else "running" if status.running else "paused"
        pace = f"{pace:7} x{status.speed}"
    pace = fit(pace, 14, signs)
    scan = "no power" if status.scan is None else f"scan {spaced(status.scan):>11}"
    wall = clock_text(status.wall[1], thousandths=True)
    if width >= 72:
        wall = f"{day_text(status.wall[0], width >= 90)}  {wall}"
    fixed = len(wall) + 16 + len(pace) + 3 * GAP + 1
    room = max(0, width - fixed - 1)
    head: list[Piece] = [(" ", "title")]
    alarms = _alarms(status, file, keeping, errors)
    if sum(len(text) + 1 for text, _ in alarms) >= room:
        alarms = _alarms(status, file, keeping, errors, short=True)
    for text, tone in alarms:
        if len(text) + 1 < room:
            head += [(text, tone), (" ", "plain")]
            room -= len(text) + 1
    gap = " " * GAP
    moved = "forced" if status.past else "plain" if status.running else "stop"
    return (
        *head,
        (fit(status.title, room, signs), "title"),
        (gap + wall + gap, "plain"),
        (fit(scan, 16, signs), "plain" if status.powered else "wrong"),
        (gap + pace + " ", "wrong" if status.lagging else moved),
    )


def _alarms(
    status: Status, file: str, keeping: bool, errors: int, short: bool = False
) -> list[Piece]:
    """What must not be overlooked, the most important first; `short` where room is scarce."""
    found: list[Piece] = []
    if status.forced:
        found.append((f"!{status.forced}" if short else f"!{status.forced} forced", "forced"))
    if status.broken:
        found.append((f"{status.broken} broken", "wrong"))
    if errors:
        found.append((f"{errors} error{'s' * (errors != 1)}", "wrong"))
    if file:
        found.append((file.rstrip(), "stop"))
    if keeping:
        found.append(("keeping", "stop"))
    return found


def footer_line(width: int, pane: Pane = "switches", keys: tuple[Key, ...] = KEYS) -> Line:
    """The words of the keys."""
    line: list[Piece] = [(" ", "plain")]
    for key in footer(width - 2, pane, keys):
        line += [(key.shown, "title"), (f" {key.text}", "quiet"), (" " * GAP, "plain")]
    return tuple(line)


@lru_cache(maxsize=64)
def footer_hits(
    width: int, pane: Pane = "switches", keys: tuple[Key, ...] = KEYS
) -> tuple[tuple[int, int, str], ...]:
    """For a mouse: the columns of each word of the footer, from and up to, and the key's id."""
    hits = []
    at = 1
    for key in footer(width - 2, pane, keys):
        end = at + len(words(key))
        hits.append((at, end, key.id))
        at = end + GAP
    return tuple(hits)
