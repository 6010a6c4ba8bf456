"""A scan in which some contacts are held against the program.

Kept out of the reference interpreter: a force is something a person does to a panel on the bench,
and no part of what a program means.
"""

from __future__ import annotations

from collections.abc import Mapping

from rungs.program.nodes import Program, Rung
from rungs.scan.reference import State, begin_scan, scan, work_rung

Forces = Mapping[str, bool]  # the contacts that are held, and whether closed


def forced_scan(
    program: Program,
    before: State,
    circuits: Mapping[str, bool],
    clocks: Mapping[str, bool],
    t: int,
    forces: Forces,
) -> State:
    """One scan as `scan` makes it, with the contact of each forced device held all the way through.

    A forced input or clock shows what it is forced to whatever is read; a forced coil shows it
    above and below the rungs that drive it. What lies behind the contact goes on: a timer's coil
    and time, a counter's count, an input's debounce. A device that remembers by its contact (a
    latch) stays as it was forced when the force is gone, until a rung moves it.
    """
    if not forces:
        return scan(program, before, circuits, clocks, t)
    now = begin_scan(program, before, circuits, clocks, t)
    hold(now, forces)
    for rung in program.rungs:
        work_held(program, before, now, rung, forces)
    return now


def work_held(program: Program, before: State, now: State, rung: Rung, forces: Forces) -> None:
    """Work one rung of a scan that is under way, as `work_rung` does, against the forces."""
    work_rung(program, before, now, rung)
    if forces:
        hold(now, {a.name: forces[a.name] for a in rung.actions if a.name in forces})


def hold(now: State, forces: Forces) -> None:
    """Put forced contacts where they are held, in a scan that is under way."""
    for name, closed in forces.items():
        if now.contacts[name] != closed:
            now.contacts[name] = closed
            # no rung did this
            now.moved_by.pop(name, None)
