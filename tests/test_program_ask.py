"""A circuit that somebody types in is a circuit and nothing else."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.findings import Finding
from rungs.program.ask import circuit_of
from rungs.program.nodes import Compare, Contact, Series
from tests.bench.panels import SHED
from tests.helpers import program_of

PROGRAM = program_of(SHED)
WORDS = ("lamp", "pump", "and", "or", "not", "(", ")", "runs", ">=", "3", "rising", "stop", "->")


def test_contacts_read_as_in_a_property() -> None:
    circuit = circuit_of(PROGRAM, "  lamp and\n not pump ")
    assert isinstance(circuit, Series)
    first, second = circuit.parts
    assert isinstance(first, Contact)
    assert isinstance(second, Contact)
    assert (first.name, first.negated) == ("lamp", False)
    assert (second.name, second.negated) == ("pump", True)


@pytest.mark.parametrize(
    ("text", "kind", "name"),
    [
        ("broken stop", "broken", "stop"),
        ("shorted stop", "shorted", "stop"),
        ("flap.load", "load", "flap"),
        ("rest.timing", "timing", "rest"),
        ("rising lamp", "rising", "lamp"),
    ],
)
def test_faults_loads_and_edges_may_be_asked_for(text: str, kind: str, name: str) -> None:
    circuit = circuit_of(PROGRAM, text)
    assert isinstance(circuit, Contact)
    assert (circuit.kind, circuit.name) == (kind, name)


def test_counts_are_compared() -> None:
    circuit = circuit_of(PROGRAM, "runs >= 2")
    assert isinstance(circuit, Compare)
    assert (circuit.name, circuit.op, circuit.number) == ("runs", ">=", 2)


@pytest.mark.parametrize(
    "text",
    [
        "lamp never pump",
        "lamp assume never pump",
        "lamp relay extra",
        "lamp clock tea at 16:00",
        "lamp timer slow on-delay 5s",
        "lamp holiday spring on 05-01",
        "lamp supply aux 24 V 1 A",
        'lamp title "another"',
        'lamp site zone "UTC"',
        "lamp\nrung stop -> ready",
        'lamp scenario "x" begin 10:00',
        '"a label" lamp',
        "lamp # a remark",
    ],
)
def test_anything_beside_a_circuit_is_refused_in_plain_words(text: str) -> None:
    found = circuit_of(PROGRAM, text)
    assert isinstance(found, Finding), text
    assert found.message == "this is more than a circuit"
    assert "such as: linger and not dark" in found.fix


@pytest.mark.parametrize(
    ("text", "code", "start"),
    [
        ("nobody", "unknown-name", 0),
        ("lamp and nobody", "unknown-name", 9),
        ("lamp and", "incomplete", 7),
        ("lamp) or (pump", "syntax", 4),
    ],
)
def test_a_finding_counts_from_the_start_of_what_was_typed(
    text: str, code: str, start: int
) -> None:
    found = circuit_of(PROGRAM, text)
    assert isinstance(found, Finding)
    assert (found.code, found.span.start) == (code, start)
    assert found.span.end <= len(text) + 1
    assert found.fix


@pytest.mark.parametrize("text", ["", "   ", "\n"])
def test_nothing_is_no_circuit(text: str) -> None:
    assert isinstance(circuit_of(PROGRAM, text), Finding)


def test_a_program_of_no_text_can_be_asked_nothing() -> None:
    found = circuit_of(program_of(""), "lamp")
    assert isinstance(found, Finding)
    assert found.code == "unknown-name"


@settings(max_examples=40)
@given(st.lists(st.sampled_from(WORDS), max_size=7).map(" ".join))
def test_words_in_any_order_give_a_circuit_of_the_program_or_a_finding(text: str) -> None:
    found = circuit_of(PROGRAM, text)
    if isinstance(found, Finding):
        assert found.severity == "error"
        assert 0 <= found.span.start <= found.span.end <= len(text) + 1
    else:
        again = program_of(f"{SHED}\nnever {text}\n")
        assert again.properties[-1].circuit == found


@settings(max_examples=40)
@given(st.text(max_size=12))
def test_no_text_brings_it_to_its_knees(text: str) -> None:
    found = circuit_of(PROGRAM, text)
    assert isinstance(found, Finding) == (" ".join(text.split()) not in PROGRAM.by_name)
