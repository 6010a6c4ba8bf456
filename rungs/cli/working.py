"""What verbs that work for a while share: how long they may, how they are stopped, and the line on
a terminal that says what they are at."""

from __future__ import annotations

import signal
import sys
import time
from argparse import ArgumentParser, ArgumentTypeError
from types import FrameType, TracebackType

from rungs.report.text import plain


def add_seconds(
    parser: ArgumentParser, default: float, what: str = "time that it may take"
) -> None:
    """The option --seconds, a time above nought."""
    parser.add_argument(
        "--seconds", type=_positive, default=default, metavar="S", help=f"{what} ({default:g})"
    )


def _positive(text: str) -> float:
    try:
        value = float(text)
    except ValueError:
        value = 0.0
    if not 0 < value < 1e6:
        raise ArgumentTypeError(f"'{text}' is not a number of seconds")
    return value


class Working:
    """A stretch of work that the user may cut off: the first Ctrl-C ends the search and shows what
    it had, the second ends the command. On a terminal a line says what is being done, once it has
    taken `quiet` seconds."""

    def __init__(self, quiet: float = 0.0) -> None:
        self.stopped = False
        self._quiet = quiet
        self._began = time.monotonic()
        self._shown = sys.stderr.isatty()

    def __enter__(self) -> Working:
        self._before = signal.signal(signal.SIGINT, self._stop)
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        at: TracebackType | None,
    ) -> None:
        signal.signal(signal.SIGINT, self._before)
        if self._shown:
            print("\r\x1b[K", end="", file=sys.stderr)

    def _stop(self, number: int, frame: FrameType | None) -> None:
        if self.stopped:
            raise KeyboardInterrupt
        self.stopped = True

    def is_stopped(self) -> bool:
        """Whether the user wants it to end."""
        return self.stopped

    def tell(self, words: str, done: int, steps: int) -> None:
        """What is being done now."""
        if self._shown and time.monotonic() - self._began >= self._quiet:
            line = f"\r\x1b[K  {done + 1} of {steps}: {plain(words)[:60]}"
            print(line, end="", file=sys.stderr, flush=True)
