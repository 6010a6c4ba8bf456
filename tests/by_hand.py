"""Programs made by hand in a line or two, and traces in a line of noughts and ones."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from rungs.program.nodes import (
    Action,
    Circuit,
    Contact,
    Device,
    Input,
    Output,
    Program,
    Relay,
    Rung,
    Verb,
    leaves,
)
from tests.second_reading import Row, Scan

START = Input("start", "I1")
STOP = Input("stop", "I2", side="NC")
LAMP = Output("lamp", "R1")
MARK = Relay("mark")


def on(name: str) -> Contact:
    """A plain contact."""
    return Contact("closed", name)


def off(name: str) -> Contact:
    """A normally closed contact."""
    return Contact("closed", name, negated=True)


def rising(name: str, memory: int = 0) -> Contact:
    """A rising edge contact with its number."""
    return Contact("rising", name, memory=memory)


def falling(name: str, memory: int = 0) -> Contact:
    """A falling edge contact with its number."""
    return Contact("falling", name, memory=memory)


def panel(devices: Sequence[Device], *lines: tuple[Circuit, str]) -> Program:
    """A program of these devices and rungs; actions are written as in the language."""
    rungs = []
    for number, (circuit, written) in enumerate(lines, start=1):
        actions = []
        for text in written.split(", "):
            verb, _, name = text.rpartition(" ")
            actions.append(Action(_verb(verb), name))
        rungs.append(Rung(number, "", circuit, tuple(actions)))
    edges = [
        leaf
        for rung in rungs
        for leaf in leaves(rung.circuit)
        if isinstance(leaf, Contact) and leaf.memory >= 0
    ]
    assert [edge.memory for edge in edges] == list(range(len(edges)))
    return Program(devices=tuple(devices), rungs=tuple(rungs), edges=tuple(edges))


def _verb(word: str) -> Verb:
    verbs: dict[str, Verb] = {"": "coil", "latch": "latch", "unlatch": "unlatch"}
    verbs |= {"impulse": "impulse", "down": "down", "reset": "reset"}
    return verbs[word]


def numbers(table: str) -> list[list[int]]:
    """Rows of whole numbers, written with commas between the rows."""
    return [[int(number) for number in row.split()] for row in table.split(",")]


def steps(name: str, states: str, period: int = 10) -> list[Row]:
    """One row a scan for one input; `states` is a character a scan, `!` a scan without power."""
    return [(n * period, {"power": s != "!", name: s == "1"}) for n, s in enumerate(states)]


def shown(scans: Sequence[Scan], name: str) -> str:
    """One character a scan: what a contact did."""
    return "".join("01"[states[name]] for _, states in scans)


def at(scans: Sequence[Scan], t: int) -> Mapping[str, bool]:
    """The states after the scan at t."""
    return dict(scans)[t]


def changes(scans: Sequence[Scan], name: str) -> list[tuple[int, bool]]:
    """The first state of a contact and every change after it, with their times."""
    seen = [(t, states[name]) for t, states in scans]
    return [
        now for before, now in zip([(-1, None), *seen], seen, strict=False) if before[1] != now[1]
    ]
