"""What the bench shows as plain text: for paper, a message, or who cannot see a screen."""

from __future__ import annotations

from collections.abc import Iterator

from rungs.bench.pages.devices import Devices, device_lines
from rungs.bench.pages.status import status_line
from rungs.bench.pages.switches import switch_lines
from rungs.bench.pages.words import Line, Signs
from rungs.bench.session.session import Session
from rungs.draw.text import Closed, draw_rung

WIDTH = 80


def bench_text(session: Session, notes: tuple[str, ...], signs: Signs) -> str:
    """The moment that is shown: the line on top, the switches, the devices, and every rung with
    its current. `notes` stand below the first line."""
    views = session.switches()
    devices = Devices(
        session.relays(),
        session.timers(),
        session.counters(),
        session.clocks(),
        session.wall_time(session.at),
    )
    parts = [[_plain(status_line(session.status(), WIDTH, signs)), *notes]]
    size = (WIDTH, 4 * len(views) + 8)
    parts.append([_plain(line) for line in switch_lines(views, None, (), size, signs)])
    roomy = (WIDTH, 1_000_000)
    parts.append([_plain(line) for line in device_lines(devices, (), roomy, signs)])
    for rung in session.program.rungs:
        reading = iter(session.reading(rung))
        shut: Closed | None = None
        if session.live():
            shut = _in_turn(reading)
        parts.append(draw_rung(rung, session.program, WIDTH, signs.ascii_only, shut))
    return "\n\n".join("\n".join(lines).rstrip() for lines in parts) + "\n"


def _in_turn(reading: Iterator[bool]) -> Closed:
    """Says of contact after contact, in reading order, whether it conducts."""
    return lambda leaf: next(reading)


def _plain(line: Line) -> str:
    return "".join(text for text, _ in line).rstrip()
