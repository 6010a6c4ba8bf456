"""Pass, fail, unknown: the three words that every judgement of the panel sums has.

Unknown is a word of its own, since a thing that nobody knows must never be ticked.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Literal

Verdict = Literal["pass", "fail", "unknown"]


def together(verdicts: Iterable[Verdict]) -> Verdict:
    """The verdict on a whole: it fails with any part, and passes with all of them alone."""
    found = set(verdicts)
    if "fail" in found:
        return "fail"
    return "unknown" if "unknown" in found else "pass"
