"""Scenario results as JUnit XML, the form that build servers read."""

from __future__ import annotations

from collections.abc import Iterator
from xml.etree import ElementTree

from rungs.program.nodes import Program
from rungs.report.scenarios import scenario_text, violation_text, wall_text
from rungs.report.text import Ink, plain
from rungs.scan.scenario import ScenarioResult


def junit_xml(program: Program, results: tuple[ScenarioResult, ...]) -> str:
    """One test suite a panel, one test case a scenario; times are simulated seconds.

    A test case has one failure for its first failed expectation and one for each broken property;
    the first of them carries the report of the scenario.
    """
    failed = sum(not result.passed for result in results)
    suite = ElementTree.Element(
        "testsuite",
        name=plain(program.title or program.source.name),
        tests=str(len(results)),
        failures=str(failed),
        errors="0",
        skipped="0",
    )
    for result in results:
        place = program.source.position(result.scenario.span.start)
        case = ElementTree.SubElement(
            suite,
            "testcase",
            name=plain(result.scenario.label),
            classname=plain(program.source.name),
            file=plain(program.source.name),
            line=str(place.line),
            time=f"{result.steps[-1].t / 1000 if result.steps else 0:.3f}",
        )
        if not result.passed:
            failures = [
                ElementTree.SubElement(case, "failure", type=kind, message=message)
                for kind, message in _failures(program, result)
            ]
            failures[0].text = scenario_text(program, result, Ink(), every_step=False)
    return document(suite)


def document(suite: ElementTree.Element) -> str:
    """One test suite as the text of a file."""
    root = ElementTree.Element("testsuites")
    root.append(suite)
    ElementTree.indent(root)
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{body}\n'


def _failures(program: Program, result: ScenarioResult) -> Iterator[tuple[str, str]]:
    """The type and message of each failure of a scenario."""
    first = next((step for step in result.steps if step.passed is False), None)
    if first is not None:
        line = program.source.position(first.step.span.start).line
        yield "expectation", f"line {line}, {wall_text(first)}: {plain(first.text)}"
    for broken in result.broken:
        line = program.source.position(broken.property.span.start).line
        words = violation_text(program, broken)
        yield "property", f"line {line}, {wall_text(broken)}: {words}"
