"""Checking a file of 500 rungs again after the edit of one rung; the peer is a fresh check."""

from __future__ import annotations

import gc
from collections.abc import Callable
from itertools import cycle

from rungs.language.parse import parse
from rungs.language.reparse import Rereader
from rungs.program.check import check
from rungs.program.recheck import Rechecker
from rungs.source import Source, source_from_text
from tests.benchmarks.measure import ladder_text, show, timed

PLACES = (("first", 0), ("middle", 250), ("last", 499))
RUNS = 21


def _rung(text: str, number: int) -> int:
    """Where the circuit of a rung begins, counted from 0."""
    at = 0
    for _ in range(number + 1):
        at = text.index("\nrung", at) + 1
    return at + len("rung\n    ")


def _again(work: Callable[[Source], object], texts: tuple[str, str]) -> float:
    """The median time of the work on two texts by turns."""
    turns = cycle([source_from_text(text) for text in texts])
    work(next(turns))
    # as within a check; otherwise a parse alone would be timed with the collector running
    gc.disable()
    try:
        return timed(lambda: work(next(turns)), RUNS)
    finally:
        gc.enable()


def rechecking() -> None:
    """One contact more in a rung and back again; the goal is 50 ms, better 25."""
    text = ladder_text(500)
    parsed = _again(parse, (text, text + "\n"))
    checked = _again(check, (text, text + "\n"))
    for name, number in PLACES:
        at = _rung(text, number)
        texts = (text, text[:at] + "i3 and " + text[at:])
        reader, rechecker = Rereader(), Rechecker()
        read = _again(reader.read, texts)
        show(f"read again, {name} of 500 rungs", read, "ms", f"{parsed / read:.0f} x faster")
        again = _again(rechecker.check, texts)
        show(f"check again, {name} of 500 rungs", again, "ms", f"{checked / again:.0f} x faster")
    # the circuit is broken off while it is typed
    at = _rung(text, 250)
    again = _again(Rechecker().check, (text, text[:at] + "i3 and (" + text[at:]))
    show("check again, the middle one broken", again, "ms", f"{checked / again:.0f} x faster")
    again = _again(Rechecker().check, (text, text.replace("input i3 ", "input i3x ")))
    show("check again, an input renamed", again, "ms", f"{checked / again:.0f} x faster")


if __name__ == "__main__":
    rechecking()
