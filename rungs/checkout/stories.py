"""The scenarios of a panel file as steps, for panels that are too large for a table.

They are the functions that their author thought of, and so the next best thing to all of them.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

from rungs.checkout.plan import Step
from rungs.checkout.words import moved, placed, sights
from rungs.language.words import WEEKDAYS, clock_text, duration_text
from rungs.program.nodes import (
    Begin,
    Expect,
    ExpectSteady,
    Fault,
    Input,
    Operate,
    Power,
    Program,
    Scenario,
    SetClock,
    Tap,
    Until,
    Wait,
)
from rungs.program.nodes import Step as Told
from rungs.scan.calendar import build_calendar
from rungs.scan.runner import Panel
from rungs.scan.scenario import ScenarioPlayer, begin_at


def story_steps(program: Program) -> Iterator[Step]:
    """Every scenario, played on the reference interpreter, one step for each of its deeds.

    What a scenario expects within a time is a step that waits for as long as it took.
    """
    for scenario in program.scenarios:
        yield from _story(program, scenario)


def _story(program: Program, scenario: Scenario) -> Iterator[Step]:
    calendar = build_calendar(program)
    first = scenario.steps[0] if scenario.steps else None
    start = begin_at(first, calendar) if isinstance(first, Begin) else None
    panel = Panel(program, start, calendar=calendar)
    player = ScenarioPlayer(panel)
    clock = ""
    if program.clocks:
        day, ms = panel.local()
        shown = f"{WEEKDAYS[day.weekday()]} {day.isoformat()} {clock_text(ms, seconds=True)}"
        clock = f"Set the board's clock to {shown}"
    panel.settle()
    title = f"Scenario: {scenario.label}"
    do = ["Cut the power and clear what is retained", "Release every input", "Mend every wire"]
    step = _seen(program, panel, (*do, *([clock] if clock else []), "Bring the power back"))
    yield replace(step, notes=(title,))
    for told in scenario.steps:
        if isinstance(told, Begin):
            continue
        begun = panel.now
        player.play(told)
        words = _words(program, told, panel.now - begun)
        if words:
            yield replace(_seen(program, panel, words), notes=(title,))


def _seen(program: Program, panel: Panel, do: tuple[str, ...]) -> Step:
    names = {words for text in do for words in text.split()}
    terminals = tuple(d.terminal for d in program.inputs if d.name in names)
    return Step("functions", do, sights(program, panel.state.contacts), terminals=terminals)


def _words(program: Program, told: Told, took: int) -> tuple[str, ...]:
    match told:
        case Operate():
            return (moved(_input(program, told.name), told.operated),)
        case Tap():
            device = _input(program, told.name)
            return (f"Press {placed(device)} for {duration_text(told.ms)} and release it",)
        case Fault():
            device = _input(program, told.name)
            how = {"broken": "Break", "shorted": "Short", "sound": "Mend"}[told.fault]
            return (f"{how} the wire of {placed(device)}",)
        case Power():
            off = (
                "Cut the power"
                if told.ms is None
                else f"Cut the power for {duration_text(told.ms)}"
            )
            return ("Bring the power back",) if told.on else (off,)
        case Wait() | Expect() | ExpectSteady():
            return (f"Wait {duration_text(took)}",) if took else ()
        case Until():
            return (
                f"Wait for {clock_text(told.time)} on the board's clock, or set it just before",
            )
        case SetClock():
            day = f"{told.date.isoformat()} " if told.date else ""
            return (f"Set the board's clock to {day}{clock_text(told.time, seconds=True)}",)
        case _:
            return ()


def _input(program: Program, name: str) -> Input:
    device = program.by_name[name]
    assert isinstance(device, Input)
    return device
