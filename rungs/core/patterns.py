"""All patterns of some signals at once: whole numbers with a bit for each pattern."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

MAX_BITS = 1 << 30  # of all outcomes of one state together, a bit for each pattern


class TooLargeError(Exception):
    """There are more signals, states or outcomes than can be looked at; the text gives numbers."""


@cache
def variable_masks(n: int) -> tuple[int, ...]:
    """For each of n signals the patterns in which it is 1; signal k weighs 1 << (n - 1 - k)."""
    masks = []
    for k in range(n):
        run = 1 << (n - 1 - k)
        mask, length = ((1 << run) - 1) << run, 2 * run
        while length < 1 << n:
            mask |= mask << length
            length *= 2
        masks.append(mask)
    return tuple(masks)


def split(ones: int, columns: Sequence[int]) -> list[tuple[int, int]]:
    """The patterns by what the columns show: (mask, word), bit i of the word for column i.

    Sorted by word. No two parts share a pattern or a word, and together they are `ones`.
    Raises TooLargeError where the parts would take more than MAX_BITS.
    """
    most = max(MAX_BITS // ones.bit_length(), 1)
    parts = [(ones, 0)]
    for place, column in enumerate(columns):
        if column == 0:
            continue
        if column == ones:
            parts = [(mask, word | 1 << place) for mask, word in parts]
            continue
        fresh = []
        for mask, word in parts:
            closed = mask & column
            if closed:
                fresh.append((closed, word | 1 << place))
                if closed != mask:
                    fresh.append((mask ^ closed, word))
            else:
                fresh.append((mask, word))
        parts = fresh
        if len(parts) > most:
            raise TooLargeError(f"more than {most:,} different outcomes of the patterns")
    parts.sort(key=lambda part: part[1])
    return parts
