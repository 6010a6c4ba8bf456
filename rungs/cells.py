"""Text in the cells of a terminal or of a drawing: made safe, measured, folded and cut.

One place decides what a user's label may do to a screen, so that no face has to know what a label
may hold.
"""

from __future__ import annotations

from unicodedata import category, east_asian_width

JOINERS = "\u200c\u200d"  # invisible, but scripts need them to spell words
UNPRINTABLE = ("Cc", "Cf", "Cn", "Co", "Cs", "Zl", "Zp")


def safe(text: str, ascii_only: bool = False) -> str:
    """`text` on one line and harmless to a terminal.

    Control characters, direction marks, surrogates and unassigned characters become `?`, spaces of
    every kind a plain space; with `ascii_only` so does everything else that is not ASCII.
    """
    if text.isascii() and text.isprintable():
        return text
    if ascii_only:
        return "".join(c if " " <= c <= "~" else " " if c.isspace() else "?" for c in text)
    return "".join(_safe_character(c) for c in text)


def _safe_character(character: str) -> str:
    kind = category(character)
    if kind == "Zs" or character in "\t\n\r":
        return " "
    return "?" if kind in UNPRINTABLE and character not in JOINERS else character


def columns(text: str) -> int:
    """How many columns of a terminal `text` takes (UAX #11: wide ones two, marks none)."""
    return len(text) if text.isascii() else sum(_column_count(c) for c in text)


def _column_count(character: str) -> int:
    if character in JOINERS or category(character) in ("Mn", "Me"):
        return 0
    return 2 if east_asian_width(character) in "WF" else 1


def fold(text: str, width: int) -> tuple[str, ...]:
    """`text` in lines of at most `width` (2 or more) columns, nothing lost but spaces.

    Lines break at spaces; a word that is too long breaks after an underscore, or else where it
    must.
    """
    if columns(text) <= width and "  " not in text:
        return (text.strip(),)
    lines: list[str] = []
    line = ""
    for word in text.split():
        joined = f"{line} {word}" if line else word
        if columns(joined) <= width:
            line = joined
            continue
        if line:
            lines.append(line)
        while columns(word) > width:
            cut = _cut(word, width)
            lines.append(word[:cut])
            word = word[cut:]
        line = word
    if line or not lines:
        lines.append(line)
    return tuple(lines)


def _cut(word: str, width: int) -> int:
    """How many characters of a too long word go on a line of `width` columns; at least one."""
    taken = at = 0
    while at < len(word) - 1 and taken + _column_count(word[at]) <= width:
        taken += _column_count(word[at])
        at += 1
    underscore = word.rfind("_", 1, at)
    return underscore + 1 if underscore >= at // 2 else max(at, 1)


def cut(text: str, width: int, ascii_only: bool = False, tail: int | None = None) -> str:
    """`text` in at most `width` columns (1 or more), with a sign where something was left out.

    `tail` columns of its end are kept; half of what there is if None, since names that belong
    together differ at their ends.
    """
    if columns(text) <= width:
        return text
    room = width - 1
    kept = room // 2 if tail is None else min(tail, room)
    end = _fit(text[::-1], kept)[::-1] if kept else ""
    return f"{_fit(text, room - columns(end))}{'~' if ascii_only else '…'}{end}"


def _fit(text: str, width: int) -> str:
    taken = 0
    for index, character in enumerate(text):
        taken += _column_count(character)
        if taken > width:
            return text[:index]
    return text
