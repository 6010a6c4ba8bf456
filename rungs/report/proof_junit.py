"""Verdicts as JUnit XML, the form that build servers read."""

from __future__ import annotations

from xml.etree import ElementTree

from rungs.prove.whole import Report
from rungs.report.junit import document
from rungs.report.proofs import CAUTION, verdict_lines
from rungs.report.text import Ink, plain


def proofs_xml(report: Report) -> str:
    """Verdicts as one test suite: a property that fails is a failure, one that is not decided an
    error, one that was never put to the test is skipped."""
    program = report.program
    count = {word: sum(v.verdict == word for v in report.verdicts) for word in ("fails", "unknown")}
    idle = sum(v.verdict in ("proved", "holds") and not v.exercised for v in report.verdicts)
    suite = ElementTree.Element(
        "testsuite",
        name=plain(program.title or program.source.name),
        tests=str(len(report.verdicts)),
        failures=str(count["fails"]),
        errors=str(count["unknown"]),
        skipped=str(idle),
    )
    for verdict in report.verdicts:
        case = ElementTree.SubElement(
            suite,
            "testcase",
            name=plain(verdict.name),
            classname=plain(program.source.name),
            file=plain(program.source.name),
            line=str(program.source.position(verdict.item.span.start).line),
            time=f"{verdict.seconds:.3f}",
        )
        text = "\n".join(verdict_lines(report, verdict, Ink())).rstrip()
        if verdict.verdict == "fails":
            told = ElementTree.SubElement(case, "failure", type="property", message="it fails")
        elif verdict.verdict == "unknown":
            told = ElementTree.SubElement(case, "error", type="property", message="not decided")
        elif not verdict.exercised:
            told = ElementTree.SubElement(case, "skipped", message="never exercised")
        else:
            continue
        told.text = text
    ElementTree.SubElement(suite, "system-out").text = CAUTION
    return document(suite)
