"""How many rows tables have after merging, against espresso on the same tables in the same run.

The peer is the espresso that the general-purpose library `pyeda` carries; it is no dependency, so
the figures stand alone where it is not installed.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from importlib import import_module
from importlib.util import find_spec
from random import Random
from time import process_time
from typing import Any

from rungs.table.cover import cover, variable_masks

Table = tuple[int, int, int]  # on, don't care, signals


def merged_rows() -> None:
    """One line a family of tables: our rows, and their ratio to the peer's; goals 1.0 and 1.1."""
    peer: Any = None
    if find_spec("pyeda") is not None:
        peer = import_module("pyeda.boolalg.espresso")
    for what, tables in _families():
        start = process_time()
        ours = sum(len(cover(*table)) for table in tables)
        spent = (process_time() - start) * 1000
        if peer is None:
            ratio = "no ratio: the peer pyeda (espresso) is not installed"
        else:
            # the peer reads patterns one by one; writing them out is not counted against it
            asked = [(n, 1, _patterns(on, free, n)) for on, free, n in tables]
            kinds = peer.FTYPE | peer.DTYPE | peer.RTYPE
            start = process_time()
            theirs = sum(len(peer.espresso(*question, intype=kinds)) for question in asked)
            taken = (process_time() - start) * 1000
            ratio = f"{ours / theirs:.3f} x espresso ({spent:,.0f} ms; espresso {taken:,.0f} ms)"
        print(f"{what:<36}{ours:>10,} rows   {ratio}")


def _families() -> Iterator[tuple[str, list[Table]]]:
    for n in (6, 8, 10, 12):
        rng = Random(n)
        ladders = [(ladder_like(n, rng), 0, n) for _ in range(20)]
        yield f"merged rows, ladder-like, {n} signals", ladders
    for n in (6, 8, 10):
        for ones, free in ((0.5, 0.0), (0.75, 0.0), (0.25, 0.25), (0.1, 0.6)):
            rng = Random(n)
            random = [random_table(n, ones, free, rng) for _ in range(5)]
            yield f"merged rows, random {ones:.0%}/{free:.0%}, {n} signals", random


def ladder_like(n: int, rng: Random) -> int:
    """The patterns that close a random series-parallel circuit of n to 3n contacts."""
    signals = variable_masks(n)
    full = (1 << (1 << n)) - 1

    def circuit(contacts: int) -> int:
        if contacts == 1:
            mask = rng.choice(signals)
            return full ^ mask if rng.random() < 0.3 else mask
        left = rng.randint(1, contacts - 1)
        join: Callable[[int, int], int] = rng.choice((int.__and__, int.__or__))
        return join(circuit(left), circuit(contacts - left))

    return circuit(rng.randint(n, 3 * n))


def random_table(n: int, ones: float, free: float, rng: Random) -> Table:
    """Each pattern is on, or a don't care, with the chances given."""
    on = dont_care = 0
    for pattern in range(1 << n):
        chance = rng.random()
        if chance < ones:
            on |= 1 << pattern
        elif chance < ones + free:
            dont_care |= 1 << pattern
    return on, dont_care, n


def _patterns(on: int, dont_care: int, n: int) -> set[tuple[tuple[int, ...], tuple[int]]]:
    """Each pattern in the peer's notation: 1 and 2 for an input of 0 and 1, 2 for a free output."""
    rows = set()
    for pattern in range(1 << n):
        inputs = tuple(1 + (pattern >> (n - 1 - k) & 1) for k in range(n))
        rows.add((inputs, (1 if on >> pattern & 1 else 2 if dont_care >> pattern & 1 else 0,)))
    return rows


if __name__ == "__main__":
    merged_rows()
