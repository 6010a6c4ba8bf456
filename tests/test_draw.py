"""The drawn ladder is read back from its characters and must be the circuit it was drawn from.

The reader below knows line characters, contact symbols and numbered arrows, and nothing of how the
drawing is made.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Callable, Iterator
from itertools import product
from random import Random
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.draw.crossref import cross_reference
from rungs.draw.flow import conducting
from rungs.draw.text import draw_program, draw_rung
from rungs.program.nodes import (
    Action,
    Circuit,
    Contact,
    ContactKind,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    leaves,
)
from tests.helpers import program_of

Cell = tuple[int, int]
Drawn = Any  # a kind of contact, or (in series?, parts)

SYMBOL = re.compile(r"[┤|](?P<in> |/|P|N|/P|/N)[├|]")
ARROW = re.compile(r"(\d+)>")
COIL = re.compile(r"\((.)\)")
UP, DOWN, LEFT, RIGHT = (-1, 0), (1, 0), (0, -1), (0, 1)


def box_arms(character: str) -> set[Cell]:
    """The arms of a box-drawing character, by its Unicode name."""
    if not "\u2500" <= character <= "\u257f":
        return set()
    name = unicodedata.name(character)
    arms = {
        d
        for word, d in (("UP", UP), ("DOWN", DOWN), ("LEFT", LEFT), ("RIGHT", RIGHT))
        if word in name
    }
    if "VERTICAL" in name:
        arms |= {UP, DOWN}
    if "HORIZONTAL" in name:
        arms |= {LEFT, RIGHT}
    return arms


class Reader:
    """Reads one drawn rung: wires as sets of cells, contacts between them, and the coils."""

    def __init__(self, lines: list[str]) -> None:
        self.lines = lines[1:]  # without number and label
        self.parent: dict[Cell, Cell] = {}
        self.contacts: list[tuple[Cell, Cell, str]] = []
        self.coils: list[Cell] = []
        taken: set[Cell] = set()
        arrows: dict[str, list[tuple[Cell, Cell]]] = {}
        for y, line in enumerate(self.lines):
            if y and not self._is_wire_line(line):
                continue
            for match in SYMBOL.finditer(line, 1):
                start, end = match.start(), match.end()
                self.contacts.append(((y, start - 1), (y, end), self._caption(y, start, line, end)))
                taken |= {(y, x) for x in range(start, end)}
            for match in ARROW.finditer(line):
                arrows.setdefault(match[1], []).append(((y, match.start() - 1), (y, match.end())))
                taken |= {(y, x) for x in range(match.start(), match.end())}
            for match in COIL.finditer(line):
                self.coils.append((y, match.start() - 1))
                taken |= {(y, x) for x in range(match.start(), match.end())}
        for y, line in enumerate(self.lines):
            for x, character in enumerate(line[:-1]):
                if x == 0 or (y, x) in taken:
                    continue
                for dy, dx in box_arms(character) & {RIGHT, DOWN}:
                    other = (y + dy, x + dx)
                    opposite = (-dy, -dx)
                    if other not in taken and opposite in box_arms(self._at(*other)):
                        self._join((y, x), other)
        for number, ends in arrows.items():
            assert len(ends) == 2, f"arrow {number} has no partner"
            (out, _), (_, into) = ends
            self._join(out, into)

    @staticmethod
    def _is_wire_line(line: str) -> bool:
        return any(sign in line for sign in "─┤├┬┴└┘┐┌")

    def _at(self, y: int, x: int) -> str:
        return self.lines[y][x] if y < len(self.lines) and x < len(self.lines[y]) else " "

    def _caption(self, y: int, start: int, line: str, end: int) -> str:
        following = SYMBOL.search(line, end)
        stop = following.start() if following else len(line)
        text = " ".join(row[start:stop] for row in self.lines[y + 1 : y + 4])
        found = re.search(r"c\d+", text)
        assert found, (line, text)
        return found.group()

    def _find(self, cell: Cell) -> Cell:
        while self.parent.setdefault(cell, cell) != cell:
            cell = self.parent[cell]
        return cell

    def _join(self, one: Cell, other: Cell) -> None:
        self.parent[self._find(one)] = self._find(other)

    def conducts(self, closed: Callable[[str], bool]) -> list[bool]:
        """Whether each coil is joined to the left rail through closed contacts."""
        live = {self._find((0, 1))}
        grows = True
        while grows:
            grows = False
            for left, right, name in self.contacts:
                ends = {self._find(left), self._find(right)}
                if closed(name) and len(ends & live) == 1:
                    live |= ends
                    grows = True
        return [self._find(coil) in live for coil in self.coils]


def circuits(most: int = 7) -> st.SearchStrategy[Circuit]:
    """Circuits in which every leaf has a name of its own, c0, c1 ... in reading order."""
    shape: st.SearchStrategy[Drawn] = st.recursive(
        st.sampled_from(["closed", "not", "rising", "not rising"]),
        lambda inner: st.tuples(st.booleans(), st.lists(inner, min_size=2, max_size=4)),
        max_leaves=most,
    )
    return shape.map(lambda drawn: _named(drawn, iter(range(1_000))))


def _named(drawn: Drawn, numbers: Iterator[int]) -> Circuit:
    if isinstance(drawn, str):
        kind: ContactKind = "rising" if "rising" in drawn else "closed"
        return Contact(kind, f"c{next(numbers)}", "not" in drawn)
    serial, parts = drawn
    kinds: type[Series | Parallel] = Series if serial else Parallel
    flat: list[Circuit] = []
    for part in (_named(inner, numbers) for inner in parts):
        flat += (
            part.parts if isinstance(part, Series | Parallel) and type(part) is kinds else [part]
        )
    return kinds(tuple(flat))


def rung_of(circuit: Circuit, coils: int = 1) -> tuple[Rung, Program]:
    outputs = tuple(Output(f"o{n}", f"R{n}") for n in range(coils))
    rung = Rung(1, "", circuit, tuple(Action("coil", output.name) for output in outputs))
    return rung, Program(devices=outputs, rungs=(rung,))


def evaluate(circuit: Circuit, closed: Callable[[str], bool]) -> bool:
    if isinstance(circuit, Series):
        return all([evaluate(part, closed) for part in circuit.parts])
    if isinstance(circuit, Parallel):
        return any([evaluate(part, closed) for part in circuit.parts])
    return closed(circuit.name)


def assert_read_back(circuit: Circuit, width: int, coils: int = 1) -> None:
    rung, program = rung_of(circuit, coils)
    lines = draw_rung(rung, program, width)
    reader = Reader(lines)
    names = [leaf.name for leaf in leaves(circuit)]
    assert sorted(name for _, _, name in reader.contacts) == sorted(names)
    assert len(reader.coils) == coils
    patterns = list(product((False, True), repeat=len(names)))
    for pattern in Random(1).sample(patterns, min(len(patterns), 64)):
        at = dict(zip(names, pattern, strict=True))
        wanted = evaluate(circuit, at.__getitem__)
        assert reader.conducts(at.__getitem__) == [wanted] * coils, "\n".join(lines)


@given(circuits(), st.integers(40, 160), st.integers(1, 3))
def test_a_drawn_rung_reads_back_as_its_circuit(circuit: Circuit, width: int, coils: int) -> None:
    assert_read_back(circuit, width, coils)


@settings(max_examples=30)
@given(circuits(30), st.integers(40, 80))
def test_large_rungs_are_folded_and_keep_every_contact(circuit: Circuit, width: int) -> None:
    rung, program = rung_of(circuit)
    lines = draw_rung(rung, program, width)
    names = [leaf.name for leaf in leaves(circuit)]
    reader = Reader(lines)
    assert sorted(name for _, _, name in reader.contacts) == sorted(names)
    for seed in range(8):
        rng = Random(seed)
        at = {name: rng.random() < 0.7 for name in names}
        assert reader.conducts(at.__getitem__) == [evaluate(circuit, at.__getitem__)]


def test_a_chain_of_a_hundred_contacts_and_a_branch_wider_than_the_page_are_folded() -> None:
    chain = Series(tuple(Contact("closed", f"c{n}") for n in range(100)))
    branch = Parallel((Contact("closed", "c100"), chain))
    for circuit in (chain, branch):
        rung, program = rung_of(circuit)
        lines = draw_rung(rung, program, 60)
        assert max(map(len, lines)) <= 60
        reader = Reader(lines)
        assert len(reader.contacts) == len(leaves(circuit))
        assert reader.conducts(lambda name: True) == [True]
        assert reader.conducts(lambda name: name not in ("c57", "c100")) == [False]
        assert reader.conducts(lambda name: name != "c57") == [circuit is branch]


def test_sixty_levels_of_nesting_are_drawn() -> None:
    circuit: Circuit = Contact("closed", "c0")
    for n in range(1, 61):
        contact = Contact("closed", f"c{n}")
        circuit = Series((contact, circuit)) if n % 2 else Parallel((contact, circuit))
    rung, program = rung_of(circuit)
    reader = Reader(draw_rung(rung, program, 80))
    assert len(reader.contacts) == 61
    assert reader.conducts(lambda name: name == "c60") == [True]
    assert reader.conducts(lambda name: int(name[1:]) % 2 == 1) == [False]


def test_a_long_chain_of_parallel_contacts_has_one_line_each() -> None:
    circuit = Parallel(tuple(Contact("closed", f"c{n}") for n in range(200)))
    rung, program = rung_of(circuit)
    lines = draw_rung(rung, program, 40)
    assert max(map(len, lines)) <= 40
    assert len(Reader(lines).contacts) == 200


@given(circuits(), st.data())
def test_the_flow_of_power_agrees_with_a_search_through_the_branches(
    circuit: Circuit, data: st.DataObject
) -> None:
    names = [leaf.name for leaf in leaves(circuit)]
    closed = {name: data.draw(st.booleans()) for name in names}
    flow = conducting(circuit, lambda leaf: closed[leaf.name])
    reached: dict[str, bool] = {}

    def walk(part: Circuit, power: bool) -> bool:
        """Power behind a part, noting for each contact whether power stands before it."""
        if isinstance(part, Series):
            for inner in part.parts:
                power = walk(inner, power)
            return power
        if isinstance(part, Parallel):
            return any([walk(inner, power) for inner in part.parts])
        reached[part.name] = power
        return power and closed[part.name]

    assert flow.powered == walk(circuit, True)
    assert dict(zip(names, flow.reached, strict=True)) == reached
    stops = [names[index] for index in flow.stops]
    assert bool(stops) != flow.powered
    for name in stops:
        assert reached[name]
        assert not closed[name]
    if stops:
        # what stops the power is enough to explain it: with these closed it gets further
        further = conducting(circuit, lambda leaf: closed[leaf.name] or leaf.name in stops)
        assert sum(further.reached) > sum(flow.reached) or further.powered


BOILER = """
input start at I1
input stop  at I2 NC
output pump at R1
output lamp at R2
timer rest off-delay 5s
rung "The pump seals in"
    (start or pump) and stop -> pump, rest
rung "Lamp"
    rising pump or not rest -> latch lamp
rung first_scan -> unlatch lamp
"""


def test_a_rung_without_current_is_drawn_light_and_unbroken() -> None:
    program = program_of(BOILER)
    assert draw_rung(program.rungs[0], program, 44) == [
        "  1  The pump seals in",
        "│┬─┤ ├───┬─┤ ├───────────────────────┬─( )─│",
        "││ start │ stop                      │pump │",
        "│└─┤ ├───┘                           └─(T)─│",
        "│  pump                               rest │",
    ]


def test_current_is_heavy_dead_wire_is_broken_and_what_stops_it_is_marked() -> None:
    program = program_of(BOILER)
    on = {"start": False, "pump": False, "stop": True}
    dead = draw_rung(program.rungs[0], program, 44, closed=lambda leaf: on[leaf.name])
    assert "▲start" in dead[2]
    assert "▲pump" in dead[4]
    assert "━━━" not in "".join(dead[1:]).replace("┃", "")
    on["start"] = True
    live = draw_rung(program.rungs[0], program, 44, closed=lambda leaf: on[leaf.name])
    assert "▲" not in "".join(live)
    assert "━" in live[1]
    assert "╌" in "".join(live)
    plain = draw_rung(program.rungs[0], program, 44, True, lambda leaf: on[leaf.name])
    assert "".join(plain).isascii()
    assert "===" in plain[1]


def test_a_program_has_title_rungs_and_a_legend_of_the_letters_it_uses() -> None:
    program = program_of('title "Pump house"\n' + BOILER)
    text = draw_program(program, 60)
    assert text.startswith("Pump house\n\n  1  The pump seals in\n")
    legend = text.split("\n\n")[-1].splitlines()
    assert [line.split()[0] for line in legend] == ["(S)", "(R)", "(T)", "|P|"]
    assert text == draw_program(program, 60)
    assert all(line == line.rstrip() for line in text.splitlines())


def test_references_tell_where_a_coil_is_read() -> None:
    program = program_of(BOILER)
    text = draw_program(program, 60, references=True)
    assert "     pump: read in rungs 1, 2" in text
    assert "     rest: read in rung 2" in text
    crossed = cross_reference(program)
    assert [(d.rung, d.verb) for d in crossed["lamp"].driven_by] == [(2, "latch"), (3, "unlatch")]
    assert crossed["stop"].read_by == (1,)
    assert crossed["stop"].driven_by == ()


@pytest.mark.parametrize("width", [1, 39, 40, 77, 200])
def test_no_line_is_longer_than_the_page(width: int) -> None:
    text = draw_program(program_of(BOILER), width)
    assert max(map(len, text.splitlines())) <= max(width, 40)


def test_labels_and_long_names_are_shown_safely() -> None:
    name = "a_name_of_sixty_characters_that_goes_on_and_on_and_on_xyz01"
    program = program_of(
        f'input {name} at I1\noutput o at R1\nrung "Lämpchen [bold] \t«»" {name} -> o'.replace(
            "\t", ""
        )
    )
    shown = draw_program(program, 60)
    assert "Lämpchen [bold] «»" in shown
    # a long name goes on in the line below, broken at an underscore
    above, below = (line.split()[1] for line in shown.splitlines()[2:4])
    assert above + below == name
    plain = draw_program(program, 60, ascii_only=True)
    assert plain.isascii()
    assert "L?mpchen [bold] ??" in plain
