"""`rungs why`: why a device stands as it does, at rest, after a stimulus, or in a scenario."""

from __future__ import annotations

import re
from argparse import ArgumentParser, Namespace
from difflib import get_close_matches

from rungs.cli.common import (
    add_file,
    add_json,
    load,
    read_source,
    read_start,
    show_findings,
    show_warnings,
)
from rungs.cli.exits import FINDINGS, FINE, WRONG_CALL, CliError
from rungs.language.words import DURATION_UNITS, WEEKDAYS, clock_text
from rungs.program.nodes import Begin, Output, Program, Scenario, Timer
from rungs.prove.why.alter import alterations
from rungs.prove.why.explain import Explainer
from rungs.prove.why.history import History, RecordedPanel, play_stimulus
from rungs.prove.why.nodes import Kind
from rungs.prove.why.verify import verified
from rungs.report.text import plain, say
from rungs.report.why import why_text
from rungs.scan.calendar import build_calendar
from rungs.scan.scenario import ScenarioPlayer, begin_at
from rungs.scan.trace import LONGEST_RUN, read_stimulus


def configure(parser: ArgumentParser) -> None:
    """The options of the verb."""
    add_file(parser)
    parser.add_argument("device", metavar="DEVICE", help="the device that is asked about")
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--load", action="store_true", help="ask about the load of an output")
    what.add_argument("--coil", action="store_true", help="ask about the coil of a timer")
    what.add_argument("--timing", action="store_true", help="ask whether a timer is timing")
    played = parser.add_mutually_exclusive_group()
    played.add_argument("--stimulus", metavar="CSV", help="first play these circuit states")
    played.add_argument(
        "--scenario", metavar="WORDS", help="first play the scenario whose name has these words"
    )
    parser.add_argument(
        "--start", metavar="TIME", help="wall time at t = 0, as 2026-11-25T22:45:00"
    )
    parser.add_argument(
        "--line", type=int, metavar="N", help="stop after the step on line N of the file"
    )
    parser.add_argument("--at", metavar="TIME", help="ask at this time of the run, as 12.5s")
    add_json(parser)


def run(args: Namespace) -> int:
    """Explain the device; 0 whatever it does."""
    if args.line is not None and args.scenario is None:
        raise CliError("--line goes with --scenario")
    if args.start is not None and args.scenario is not None:
        raise CliError("--start goes with --stimulus; a scenario begins by itself")
    if args.file == "-" and args.stimulus == "-":
        raise CliError("only one of FILE and the stimulus can be standard input")
    program, findings = load(args.file, args.json)
    show_warnings(findings, program.source)
    kind = _kind(args, program)
    at = None if args.at is None else _duration(args.at)
    panel, wall = _played(args, program, at)
    if panel is None:
        return FINDINGS
    if at is not None and panel.now < at:
        panel.run(at)
    history = panel.history
    if not history:
        raise CliError("no scan was made, for the panel had no power", FINDINGS)
    explanation = Explainer(history).explain(args.device, kind, at)
    found = alterations(history, args.device, kind, at)
    wrong = verified(history, explanation)
    for complaint in wrong:
        say(f"rungs: this explanation failed its own check: {complaint}")
    if args.json:
        # pydantic takes longer to load than most commands take to run
        from rungs.report.why_model import why_model

        model = why_model(history, explanation, found, not wrong, wall)
        print(model.model_dump_json(indent=2))
    else:
        print(_moment(history, explanation.at.t, wall))
        print(why_text(history, explanation, found, wall))
    return FINE


def _kind(args: Namespace, program: Program) -> Kind:
    """What is asked about. Raises CliError for a device that is not there or has no such thing."""
    device = program.by_name.get(args.device)
    if device is None:
        names = list(program.by_name)
        close = get_close_matches(args.device, names, n=3)
        guess = " or ".join(f"'{name}'" for name in close)
        hint = f"did you mean {guess}?" if close else f"there are {', '.join(names[:12])}"
        raise CliError(
            f"there is no device '{plain(args.device)}' in the panel; {hint}", WRONG_CALL
        )
    if args.load and not isinstance(device, Output):
        raise CliError(f"'{device.name}' is no output and has no load")
    if args.timing and not isinstance(device, Timer):
        raise CliError(f"'{device.name}' is no timer")
    if args.coil and not isinstance(device, Timer | Output):
        raise CliError(f"'{device.name}' has no coil apart from its contact")
    if args.load:
        return "load"
    if args.timing:
        return "timing"
    return "coil" if args.coil else "contact"


def _played(args: Namespace, program: Program, at: int | None) -> tuple[RecordedPanel | None, bool]:
    """The panel after what was to be played, and whether its wall time means anything; None, with
    the findings shown, for a stimulus with errors."""
    if args.scenario is not None:
        scenario = _scenario(args.scenario, program)
        began = bool(scenario.steps) and isinstance(scenario.steps[0], Begin)
        return _play_scenario(program, scenario, args.line), began or bool(program.clocks)
    start = read_start(args.start, program)
    wall = start is not None or bool(program.clocks)
    panel = RecordedPanel(program, start)
    if args.stimulus is None:
        if at is None:
            panel.settle()
        return panel, wall
    source, unreadable = read_source(args.stimulus)
    stimulus, wrong = ((), unreadable) if unreadable else read_stimulus(source, program)
    if wrong:
        show_findings(wrong, source)
        return None, wall
    play_stimulus(panel, stimulus)
    return panel, wall


def _scenario(words: str, program: Program) -> Scenario:
    found = [s for s in program.scenarios if words in s.label]
    if not found:
        raise CliError(f"no scenario's name has '{words}' in it", WRONG_CALL)
    exact = [s for s in found if s.label == words]
    if len(found) > 1 and len(exact) != 1:
        names = "; ".join(plain(s.label) for s in found[:4])
        raise CliError(f"'{words}' is in the name of {len(found)} scenarios: {names}", WRONG_CALL)
    return (exact or found)[0]


def _play_scenario(program: Program, scenario: Scenario, line: int | None) -> RecordedPanel:
    """Play a scenario to its end, or to the last step that begins on or above a line."""
    steps = scenario.steps
    if line is not None:
        place = program.source.position
        first, last = place(scenario.span.start).line, place(scenario.span.end).line
        if not first <= line <= last:
            raise CliError(f"the scenario is on lines {first} to {last}, and not on {line}")
        steps = tuple(step for step in steps if place(step.span.start).line <= line)
    calendar = build_calendar(program)
    start = begin_at(steps[0], calendar) if steps and isinstance(steps[0], Begin) else None
    panel = RecordedPanel(program, start, calendar=calendar)
    if start is None:
        panel.settle()
    player = ScenarioPlayer(panel)
    for step in steps:
        player.play(step)
    return panel


def _moment(history: History, t: int, wall: bool) -> str:
    """The line that says of which moment the answer speaks."""
    where = f"{t / 1_000:g} s into the run, scan {t // history.period:,}"
    if not wall:
        return f"[{where}]"
    day, ms = history.calendar.zone.local(history.wall(t))
    clock = clock_text(ms, thousandths=True)
    return f"[{WEEKDAYS[day.weekday()]} {day.isoformat()} {clock}, {where}]"


_PART = re.compile(r"([0-9]{1,12}(?:\.[0-9]{1,6})?)([A-Za-z]+)")


def _duration(text: str) -> int:
    """A time of the run in ms; unlike a duration of the file it may be zero or have a point."""
    parts = _PART.findall(text)
    known = all(unit in DURATION_UNITS for _, unit in parts)
    if not parts or not known or "".join(n + u for n, u in parts) != text:
        raise CliError(f"'{text}' is no time of the run; write it as 12.5s or 1h30min")
    total = round(sum(float(number) * DURATION_UNITS[unit] for number, unit in parts))
    if total > LONGEST_RUN:
        raise CliError(f"'{text}' is more than a hundred years")
    return total
