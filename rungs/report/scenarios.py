"""Scenario results as text: what was expected, what was seen, on which scan, and by which rung.

A broken property is shown in the words of the file: there its reader will look next.
"""

from __future__ import annotations

from rungs.language.words import clock_text
from rungs.program.nodes import Program
from rungs.report.text import Ink, plain
from rungs.scan.scenario import Broken, ScenarioResult, Seen, StepResult
from rungs.scan.watch import Violation


def scenario_text(program: Program, result: ScenarioResult, ink: Ink, every_step: bool) -> str:
    """One scenario: its verdict, its failed steps or all of them, and what broke meanwhile."""
    verdict = "pass" if result.passed else ink.wrong("FAIL")
    count = result.expectations
    counted = f"{count} expectation{'s' * (count != 1)}"
    if result.broken:
        counted += (
            f", {len(result.broken)} broken propert{'y' if len(result.broken) == 1 else 'ies'}"
        )
    head = f"{verdict}  {ink.strong(plain(result.scenario.label))}  ({counted})"
    lines = [head]
    for step in result.steps:
        if every_step or step.passed is False:
            lines += _step(program, step, ink)
        elif not step.settled:
            lines.append(_line(program, step, "      "))
            lines.append("           the panel had not settled after 1 s")
    for broken in result.broken:
        lines += _broken(program, broken, ink.wrong("  NOT "))
    if result.contradicted is not None:
        lines += _broken(program, result.contradicted, " note ")
        lines.append("           properties were not watched from this scan on")
    return "\n".join(lines)


def _step(program: Program, step: StepResult, ink: Ink) -> list[str]:
    if step.passed is None:
        mark = "      "
    else:
        mark = "  ok  " if step.passed else ink.wrong("  NOT ")
    lines = [_line(program, step, mark)]
    if step.passed is False:
        lines += [f"           seen: {seen_text(seen)}" for seen in step.seen]
    return lines


def _line(program: Program, step: StepResult, mark: str) -> str:
    place = program.source.position(step.step.span.start)
    return f"{mark}line {place.line}: {plain(step.text)}   [{wall_text(step)}, scan {step.scan:,}]"


def _broken(program: Program, broken: Broken, mark: str) -> list[str]:
    line = program.source.position(broken.property.span.start).line
    when = f"{wall_text(broken)}, scan {broken.scan:,}, {broken.t / 1000:,.3f} s from the start"
    lines = [f"{mark}line {line}: {violation_text(program, broken)}   [{when}]"]
    if broken.during is None:
        lines.append("           at power-up, before the first step")
    else:
        span = broken.during.span
        step = " ".join(program.source.text[span.start : span.end].split())
        place = program.source.position(span.start)
        lines.append(f"           during line {place.line}: {plain(step)}")
    return lines + [f"           seen: {seen_text(seen)}" for seen in broken.seen]


def violation_text(program: Program, violation: Violation) -> str:
    """What became of a property: `broken: never "both contactors in"`. One without a label is named
    by its text."""
    item = violation.property
    text = " ".join(program.source.text[item.span.start : item.span.end].split())
    # the checker takes the text for the label where there is none
    name = text if item.label == text else f'{item.kind} "{item.label}"'
    match item.kind:
        case "assume":
            outcome = "contradicted"
        case "require" if item.within:
            outcome = "not met in time"
        case _:
            outcome = "broken"
    return f"{outcome}: {plain(name)}"


def wall_text(result: StepResult | Broken) -> str:
    """The wall time of a step or a violation, `HH:MM:SS.mmm`."""
    return clock_text(result.wall[1], thousandths=True)


def seen_text(seen: Seen) -> str:
    """One contact of an expectation as it stood."""
    if seen.rung is None:
        return seen.state
    return f"{seen.state}, last moved by rung {seen.rung} on scan {seen.scan:,}"
