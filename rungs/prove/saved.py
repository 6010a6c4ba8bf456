"""A run that breaks a property as a scenario of the file, so that it stays found.

A scenario lets the panel settle after each step, and moves one switch at a time; a run can be
saved if it still breaks the property when it is played like that.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace

from rungs.core.nodes import PERIOD
from rungs.program.check import check
from rungs.program.nodes import Begin, Fault, Operate, Power, Program, Property, Wait, opposite
from rungs.program.words import circuit_text
from rungs.prove.witness import Act, Witness, actuators
from rungs.scan.calendar import build_calendar
from rungs.scan.runner import Panel
from rungs.scan.scenario import play
from rungs.scan.scribe import appended, canonical, free_label, step_text
from rungs.source import Source

__all__ = ["Saved", "appended", "saved_scenario"]


@dataclass(frozen=True, slots=True)
class Saved:
    """The text of a scenario, in canonical layout, without the file it belongs to."""

    label: str
    text: str


def saved_scenario(
    program: Program, item: Property, name: str, witness: Witness, period: int = PERIOD
) -> Saved | None:
    """A scenario that plays a run and breaks the property (`name` is what it is called), or None
    where the run needs more than scenarios can say, such as two switches in one scan."""
    label = free_label(program, f"Breaks: {name}")
    for steps in _attempts(program, witness, period):
        for more in (f"expect {_should_hold(item)}", ""):
            text = "\n".join([f'scenario "{label}"', *steps, more]) + "\n"
            if _breaks(program, item, label, text, period):
                return Saved(label, canonical(text))
    return None


def _should_hold(item: Property) -> str:
    """What a scenario may expect after the last step."""
    match item.kind:
        case "never" | "assume":
            return circuit_text(opposite(item.circuit))
        case "always":
            return circuit_text(item.circuit)
        case "require":
            assert item.when is not None
            parts = (opposite(item.when), item.circuit)
            return " or ".join(f"({circuit_text(part)})" for part in parts)


def _attempts(program: Program, witness: Witness, period: int) -> Iterator[list[str]]:
    """The run in steps: with the times kept as well as they can be, then with time to settle."""
    yield _steps(program, witness, period)
    slow = []
    shift = 0
    for act in witness.acts:
        slow.append(replace(act, t=act.t + shift, back=act.back and act.back + shift))
        shift += 20 * period
    if len(slow) > 1:
        yield _steps(program, Witness(tuple(slow), witness.end + shift, witness.start), period)


def _steps(program: Program, witness: Witness, period: int) -> list[str]:
    """Steps of a scenario, found by carrying them out on a panel as they are written."""
    calendar = build_calendar(program)
    panel = Panel(program, witness.start, period, calendar=calendar)
    before = [act for act in witness.acts if act.t == 0 and act.back is None]
    day, ms = calendar.zone.local(panel.wall.at(0))
    steps = [step_text(Begin(ms, day if program.clocks else None))]
    if before:
        # the switches are moved while there is no power
        steps.append(step_text(Power(False)))
        panel.settle()
        panel.switch_power(False)
        for act in before:
            steps += _moves(program, act, panel)
        steps.append(step_text(Power(True)))
        panel.switch_power(True)
    panel.settle()
    for act in witness.acts:
        if act in before:
            continue
        steps += _wait(panel, act.t - period)
        if act.back is not None:
            steps.append(step_text(Power(False, act.back - act.t)))
            panel.switch_power(False)
            panel.run(panel.now + act.back - act.t)
            panel.switch_power(True)
            panel.settle()
        else:
            steps += _moves(program, act, panel)
    steps += _wait(panel, witness.end + period)
    return steps


def _wait(panel: Panel, until: int) -> list[str]:
    if until <= panel.now:
        return []
    ms = until - panel.now
    panel.run(until)
    return [step_text(Wait(ms))]


def _moves(program: Program, act: Act, panel: Panel) -> list[str]:
    """One step for each switch and wire of an act, carried out."""
    steps = []
    ((_, moved),) = actuators(program, Witness((act,), act.t))
    for name, operated in moved.items():
        steps.append(step_text(Operate(name, operated)))
        panel.operate(name, operated)
        if panel.powered:
            panel.settle()
    for name, wire in act.wires:
        steps.append(step_text(Fault(name, wire)))
        panel.fault(name, wire)
        if panel.powered:
            panel.settle()
    return steps


def _breaks(program: Program, item: Property, label: str, text: str, period: int) -> bool:
    """Whether the scenario, added to the file, breaks the property when it is played."""
    source = Source(program.source.name, appended(program.source.text, text))
    checked = check(source)
    if checked.program is None:
        return False
    scenario = next((s for s in checked.program.scenarios if s.label == label), None)
    if scenario is None:
        return False
    played = play(checked.program, scenario, period)
    # the same text may stand twice: what counts is which statement broke
    return any(broken.property.span == item.span for broken in played.broken)
