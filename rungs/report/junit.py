"""Scenario results as JUnit XML, the form that build servers read."""

from __future__ import annotations

from xml.etree import ElementTree

from rungs.program.nodes import Program
from rungs.report.scenarios import scenario_text, wall_text
from rungs.report.text import Ink, plain
from rungs.scan.scenario import ScenarioResult


def junit_xml(program: Program, results: tuple[ScenarioResult, ...]) -> str:
    """One test suite a panel, one test case a scenario; times are simulated seconds."""
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
        first = next((step for step in result.steps if step.passed is False), None)
        if first is not None:
            line = program.source.position(first.step.span.start).line
            failure = ElementTree.SubElement(
                case,
                "failure",
                type="expectation",
                message=f"line {line}, {wall_text(first)}: {plain(first.text)}",
            )
            failure.text = scenario_text(program, result, Ink(), every_step=False)
    root = ElementTree.Element("testsuites")
    root.append(suite)
    ElementTree.indent(root)
    body = ElementTree.tostring(root, encoding="unicode")
    return f'<?xml version="1.0" encoding="utf-8"?>\n{body}\n'
