"""Small panels for the tests of the bench, and a clock that a test can move."""

from __future__ import annotations

from rungs.bench.session.session import Session
from tests.helpers import program_of

# Wed 2026-11-25 22:45:00 in Oslo (UTC+1), COMPUTED: 21:45:00Z as seconds since the epoch, in ms
START = 1_795_643_100_000

SHED = """
title "Shed light and pump"
site "Yard" zone "Europe/Oslo"
input  lamp_switch at I1 maintained NO "By the door"
input  stop        at I2 momentary  NC "Red button"
input  start       at I3 momentary  NO debounce 30ms
output lamp at R1 NO
output pump at R2 NO
output flap at R3 NC
relay  ready retained
timer  rest   off-delay 2s
timer  warm   on-delay 5s
counter runs to 3
clock  night  from 23:00 to 06:00
rung "The lamp follows the switch"
    lamp_switch -> lamp
rung "The pump runs until it is stopped"
    (start or pump) and stop and not rest -> pump, runs, warm
rung falling pump -> rest
rung warm or night -> flap
rung rising pump -> latch ready
rung not stop -> unlatch ready
rung first_scan -> reset runs
"""

BUZZ = """
input  arm at I1
output one at R1
output two at R2
rung "Falls out as soon as it is in" not two and arm -> one
rung one -> two
"""


def session_of(text: str = SHED, start: int = START) -> Session:
    """A session of a panel text, at a fixed moment."""
    return Session(program_of(text), start)


class Hands:
    """A real-time clock in ns that stands still until it is moved."""

    def __init__(self) -> None:
        self.ns = 5_000_000_000

    def __call__(self) -> int:
        return self.ns

    def wait(self, ms: int) -> None:
        """Let real time pass."""
        self.ns += ms * 1_000_000
