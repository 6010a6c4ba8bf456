"""Scenario results as text: what was expected, what was seen, on which scan, and by which rung."""

from __future__ import annotations

from rungs.program.nodes import Program
from rungs.report.text import Ink, plain
from rungs.scan.scenario import ScenarioResult, Seen, StepResult


def scenario_text(program: Program, result: ScenarioResult, ink: Ink, every_step: bool) -> str:
    """One scenario: its verdict, and its failed steps or all of them."""
    verdict = "pass" if result.passed else ink.wrong("FAIL")
    count = result.expectations
    head = (
        f"{verdict}  {ink.strong(plain(result.scenario.label))}"
        f"  ({count} expectation{'s' * (count != 1)})"
    )
    lines = [head]
    for step in result.steps:
        if every_step or step.passed is False:
            lines += _step(program, step, ink)
        elif not step.settled:
            lines.append(_line(program, step, "      "))
            lines.append("           the panel had not settled after 1 s")
    return "\n".join(lines)


def _step(program: Program, step: StepResult, ink: Ink) -> list[str]:
    if step.passed is None:
        mark = "      "
    else:
        mark = "  ok  " if step.passed else ink.wrong("  NOT ")
    lines = [_line(program, step, mark)]
    if step.passed is False:
        lines += [f"           seen: {_seen(seen)}" for seen in step.seen]
    return lines


def _line(program: Program, step: StepResult, mark: str) -> str:
    place = program.source.position(step.step.span.start)
    return f"{mark}line {place.line}: {plain(step.text)}   [{wall_text(step)}, scan {step.scan:,}]"


def wall_text(step: StepResult) -> str:
    """The wall time of a step, `HH:MM:SS.mmm`."""
    ms = step.wall[1]
    clock = f"{ms // 3_600_000:02}:{ms // 60_000 % 60:02}:{ms // 1_000 % 60:02}"
    return f"{clock}.{ms % 1_000:03}"


def _seen(seen: Seen) -> str:
    if seen.rung is None:
        return seen.state
    return f"{seen.state}, last moved by rung {seen.rung} on scan {seen.scan:,}"
