"""Runs as words: what to do at the switches, and when, so that anybody can try it at the panel."""

from __future__ import annotations

import textwrap
from collections.abc import Iterator

from rungs.language.words import WEEKDAYS, clock_text, duration_text
from rungs.program.nodes import (
    Clock,
    Compare,
    Input,
    Leaf,
    Output,
    Program,
    Property,
    Timer,
    leaves,
)
from rungs.prove.witness import Act, Witness, actuators, played
from rungs.report.text import plain
from rungs.scan.calendar import build_calendar
from rungs.scan.observe import conducts
from rungs.scan.reference import is_timing
from rungs.scan.runner import Panel
from rungs.scan.watch import circuits_of

WIDTH = 80


def begin_text(program: Program, witness: Witness) -> str:
    """How the run begins: the wall time where that matters."""
    if witness.start is None:
        return "power on"
    zone = build_calendar(program).zone
    day, ms = zone.local(witness.start)
    clock = clock_text(ms, seconds=True, thousandths=bool(ms % 1_000))
    return f"power on, {WEEKDAYS[day.weekday()]} {day.isoformat()} {clock}"


def act_text(act: Act, moved: dict[str, bool]) -> str:
    """What a person does in one act; `moved` are the actuators, True where one is operated."""
    if act.back is not None:
        return f"power off, and on again after {duration_text(act.back - act.t)}"
    words = []
    for operated, verb in ((True, "operate"), (False, "release")):
        names = [name for name, on in moved.items() if on == operated]
        if names:
            words.append(f"{verb} {_listed(names)}")
    for fault, verb in (("broken", "break"), ("shorted", "short"), ("sound", "mend")):
        names = [name for name, wire in act.wires if wire == fault]
        if names:
            words.append(f"{verb} the wire of {_listed(names)}")
    return ", ".join(words)


def _listed(names: list[str]) -> str:
    if len(names) == 1:
        return names[0]
    return f"{', '.join(names[:-1])} and {names[-1]}"


def run_lines(program: Program, witness: Witness) -> Iterator[tuple[int, str]]:
    """Each act of a run: its time in ms, and what to do."""
    for act, moved in actuators(program, witness):
        text = act_text(act, moved)
        if act.t == 0:
            text += ", before power comes on"
        yield act.t, text


def time_text(t: int) -> str:
    """A time of a run, in seconds, aligned."""
    return f"{t / 1_000:>12,.2f} s"


def run_text(program: Program, witness: Witness, end: str, indent: str = "    ") -> list[str]:
    """A run as lines: how it begins, what to do, and how it ends (`end` in words)."""
    lines = [f"{indent}{time_text(0)}  {begin_text(program, witness)}"]
    for t, text in [*run_lines(program, witness), (witness.end, end)]:
        head = f"{indent}{time_text(t)}  "
        rest = " " * len(head)
        lines += textwrap.wrap(plain(text), WIDTH, initial_indent=head, subsequent_indent=rest)
    return lines


def standing(program: Program, item: Property, witness: Witness, period: int) -> list[str]:
    """How each device that a property names stands at the end of a run, in words."""
    panel = Panel(program, witness.start, period)
    for _ in played(witness, panel):
        pass
    found: dict[str, None] = {}
    for circuit in circuits_of(item):
        for leaf in leaves(circuit):
            found[_stands(panel, leaf)] = None
    return list(found)


def _stands(panel: Panel, leaf: Leaf) -> str:
    state, name = panel.state, leaf.name
    if isinstance(leaf, Compare):
        return f"{name} counts {state.counts[name]}"
    if not name:
        return "it is the first scan" if state.first else "it is not the first scan"
    if leaf.kind in ("rising", "falling"):
        closed = conducts(panel.program, panel.before, state, panel.wires, leaf) != leaf.negated
        return f"{name} {'has just' if closed else 'has not just'} {_EDGE[leaf.kind]}"
    device = panel.program.by_name[name]
    on = state.contacts[name]
    if isinstance(device, Input):
        wire = panel.wires[name]
        moved = panel.circuits[name] != (device.side == "NC")
        how = f"wire {wire}" if wire != "sound" else "operated" if moved else "released"
        return f"{name} is {'closed' if on else 'open'} ({how})"
    if isinstance(device, Output) and leaf.kind == "load":
        lit = conducts(panel.program, panel.before, state, panel.wires, leaf) != leaf.negated
        return f"the load of {name} is {'on' if lit else 'off'}"
    if isinstance(device, Timer):
        timing = ", timing" if is_timing(panel.program, state, name) else ""
        return f"{name} is {'closed' if on else 'open'}{timing}"
    if isinstance(device, Clock):
        return f"{name} is {'closed' if on else 'open'}"
    return f"{name} is {'on' if on else 'off'}"


_EDGE = {"rising": "come on", "falling": "gone off"}
