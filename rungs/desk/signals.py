"""Keeping the unsaved text when the terminal goes away or the process is told to end.

A screen library that is ended by a hang-up cleans up nothing, so the handlers are our own and run
before anything of it.
"""

from __future__ import annotations

import signal
from collections.abc import Callable
from types import FrameType

# a system without terminals that hang up has no SIGHUP
_NAMES = ("SIGHUP", "SIGTERM")


def on_signals(keep: Callable[[], object], then: Callable[[int], object]) -> Callable[[], None]:
    """At SIGHUP or SIGTERM call `keep`, and then, even if that failed, `then` with the number.

    Only the first of them counts; later ones find the work in hand. A signal that was ignored
    before stays ignored, as for a program that is meant to outlive its terminal. Returns a function
    that puts the former handlers back. Must be called from the main thread.
    """
    begun = False

    def handler(number: int, frame: FrameType | None) -> None:
        nonlocal begun
        if begun:
            return
        begun = True
        try:
            keep()
        finally:
            then(number)

    former = {}
    for name in _NAMES:
        number = getattr(signal, name, None)
        if number is not None and signal.getsignal(number) is not signal.SIG_IGN:
            former[number] = signal.signal(number, handler)

    def restore() -> None:
        for number, was in former.items():
            signal.signal(number, signal.SIG_DFL if was is None else was)

    return restore


def exit_code(number: int) -> int:
    """The exit code of a process that ended by a signal, as shells count it: 128 and its number."""
    return 128 + number
