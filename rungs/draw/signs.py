"""Line characters by their arms, in box-drawing characters and in plain ASCII.

A picture must read in monochrome, so heavy and light differ in shape, and dead wire is also broken.
"""

from __future__ import annotations

import unicodedata
from collections.abc import Iterator, Sequence
from functools import cache


@cache
def wire_sign(
    up: int, down: int, left: int, right: int, ascii_only: bool, broken: bool = True
) -> str:
    """The character with these arms; each is 0 none, 1 light, 2 heavy.

    `broken` draws straight light wire with gaps, so that it differs from heavy wire where weights
    cannot be told apart.
    """
    arms = (up, down, left, right)
    heavy = max(arms) == 2
    if not (up or down):
        if heavy:
            return "=" if ascii_only else "━"
        return "-" if ascii_only else ("╌" if broken else "─")
    if not (left or right):
        if heavy:
            return "|" if ascii_only else "┃"
        return (":" if broken else "|") if ascii_only else ("╎" if broken else "│")
    return "+" if ascii_only else _boxes()[arms]


@cache
def _boxes() -> dict[tuple[int, ...], str]:
    """Every box-drawing character with plain light or heavy arms, by its arms.

    The characters are found by their names in the Unicode character database.
    """
    found: dict[tuple[int, ...], str] = {}
    for code in range(0x2500, 0x2580):
        words = unicodedata.name(chr(code)).split()[2:]
        if not {"DASH", "DOUBLE", "SINGLE", "ARC", "DIAGONAL"} & set(words):
            found.setdefault(tuple(_arms(words)), chr(code))
    return found


def _arms(words: Sequence[str]) -> Iterator[int]:
    """The weights of the arms (up, down, left, right) in a name such as `DOWN HEAVY AND LEFT LIGHT`
    or `LIGHT DOWN AND LEFT`."""
    weights = {"LIGHT": 1, "HEAVY": 2}
    reach = {"VERTICAL": ("UP", "DOWN"), "HORIZONTAL": ("LEFT", "RIGHT")}
    arms = dict.fromkeys(("UP", "DOWN", "LEFT", "RIGHT"), 0)
    before = words[0] in weights  # the weight stands before what it is the weight of
    weight = 0
    waiting: list[str] = []
    for word in words:
        if word in weights:
            weight = weights[word]
            for arm in waiting:
                arms[arm] = weight
            waiting = []
        elif word != "AND":
            for arm in reach.get(word, (word,)):
                if before:
                    arms[arm] = weight
                else:
                    waiting.append(arm)
    yield from arms.values()
