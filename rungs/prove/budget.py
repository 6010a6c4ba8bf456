"""How much time and memory a search may take, and how it is told to stop.

A search asks often and is stopped by an exception, so that whoever started it can say what had been
found by then.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable

MEMORY_EVERY = 0.25  # s between two looks at the memory; each costs a system call


class OutOfBudget(Exception):  # noqa: N818 - not an error: the caller asked for it
    """The search was cut off; the text says by what."""


class Budget:
    """Time from now on, memory of the whole process, and a switch to cancel.

    `seconds` is wall time, `megabytes` the most memory that the process may have taken so far;
    None is no limit. `cancelled` is asked for a wish to stop.
    """

    def __init__(
        self,
        seconds: float | None = None,
        megabytes: int | None = None,
        cancelled: Callable[[], bool] | None = None,
    ) -> None:
        self.seconds = seconds
        self.megabytes = megabytes
        self.cancelled = cancelled
        self.began = time.monotonic()
        self._looked = self.began

    def check(self) -> None:
        """Raise OutOfBudget if the time, the memory or the patience of the user is used up."""
        now = time.monotonic()
        if self.seconds is not None and now - self.began > self.seconds:
            raise OutOfBudget(f"stopped after {self.seconds:g} s")
        if self.cancelled is not None and self.cancelled():
            raise OutOfBudget("cancelled")
        if self.megabytes is not None and now - self._looked > MEMORY_EVERY:
            self._looked = now
            if memory_used() > self.megabytes:
                raise OutOfBudget(f"stopped at {self.megabytes:,} MB of memory")

    def part(self, seconds: float) -> Budget:
        """A budget of at most `seconds` from now within this one."""
        left = seconds
        if self.seconds is not None:
            left = min(seconds, max(self.seconds - (time.monotonic() - self.began), 0.0))
        return Budget(left, self.megabytes, self.cancelled)


def memory_used() -> int:
    """The most memory that this process has had at once, in MB; 0 where nobody can tell."""
    try:
        # not on every system
        import resource
    except ImportError:
        return 0
    most = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return most >> 20 if sys.platform == "darwin" else most >> 10
