"""Text of the user's in a chart: on one line, harmless wherever it is shown, and cut to a width.

Every face of a chart takes names, labels and notes from here, so that none has to know what a label
may hold.
"""

from __future__ import annotations

from unicodedata import category, east_asian_width

_JOINERS = "\u200c\u200d"  # invisible, but scripts need them to spell words


def one_line(text: str, ascii_only: bool = False) -> str:
    """`text` on one line, without what moves a cursor, turns the writing round or shows nothing.

    Such characters become `?` and spaces of every kind a plain space; with `ascii_only` so does
    what is not ASCII.
    """
    if text.isascii() and text.isprintable():
        return text
    return "".join(_shown(c, ascii_only) for c in text)


def _shown(character: str, ascii_only: bool) -> str:
    if character.isspace():
        return " "
    if ascii_only and not character.isascii():
        return "?"
    return character if character.isprintable() or character in _JOINERS else "?"


def width(text: str) -> int:
    """How many columns `text` takes where each letter has a cell (UAX #11: wide ones take two)."""
    return len(text) if text.isascii() else sum(map(_cells, text))


def _cells(character: str) -> int:
    if character in _JOINERS or category(character) in ("Mn", "Me"):
        return 0
    return 2 if east_asian_width(character) in "WF" else 1


def cut(text: str, columns: int, ascii_only: bool = False, tail: int | None = None) -> str:
    """`text` in at most `columns` columns (1 or more), with a sign where something was left out.

    `tail` columns of its end are kept; half of what there is if None, since names that belong
    together differ at their ends.
    """
    if width(text) <= columns:
        return text
    room = columns - 1
    kept = room // 2 if tail is None else min(tail, room)
    end = _fit(text[::-1], kept)[::-1] if kept else ""
    return f"{_fit(text, room - width(end))}{'~' if ascii_only else '…'}{end}"


def _fit(text: str, columns: int) -> str:
    taken = 0
    for index, character in enumerate(text):
        taken += _cells(character)
        if taken > columns:
            return text[:index]
    return text
