"""The lists of a panel's wiring, put to the test as a circuit by a library that knows graphs and
nothing of panels."""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from random import Random
from typing import Literal

import hypothesis.strategies as st
import networkx as nx
import pytest
from hypothesis import given, settings

from rungs.cli.exits import FINDINGS, FINE, CliError
from rungs.cli.main import main
from rungs.papers.blocks import Table, tables
from rungs.papers.sheet import table_csv
from rungs.program.nodes import Device, Input, Load, Output, Program, Supply, Wire
from rungs.wiring.ferrules import ferrule_for
from rungs.wiring.paper import io_paper, wiring_paper
from rungs.wiring.parts import Part
from rungs.wiring.plan import Wiring, wiring
from rungs.wiring.terminals import MOST_WIRES, Terminal, fuse_of, supplies_of
from rungs.wiring.wires import INPUT_COMMON, Conductor, Point
from tests.helpers import program_of, reference_rows

DEMOS = Path(__file__).resolve().parents[1] / "demos"
HOSTILE = (
    "=1+1",
    "<script>",
    "\u202eabc",
    "宽标签" * 30,
    "a" * 200,
    "&amp; ]]>",
    "two  blanks",
    "",
)
KINDS = ("led", "lamp", "coil", "motor", "valve", "resistive", "electronic", "heater")


@st.composite
def panels(draw: st.DrawFn) -> Program:
    """Panels of 0 to 3 supplies, 1 to 32 inputs and 0 to 32 outputs, with much left out."""
    dice = Random(draw(st.integers(0, 2**32)))
    labels = [*HOSTILE, *draw(st.lists(st.text(max_size=60), max_size=4))]
    # a shorter list is a smaller panel to look at when something fails
    sizes = (draw(st.integers(0, 3)), draw(st.integers(1, 32)), draw(st.integers(0, 32)))
    supplies = tuple(
        Supply(f"s{n}" + "_long" * dice.choice((0, 20)), dice.choice((5.0, 12.0, 24.0)), 4.0)
        for n in range(sizes[0])
    )
    mark = dice.choice(("", "X", "X1:", "XX2", "=A1.", "very-long-terminal-of-the-board-"))

    sizes_written: tuple[tuple[float, Literal["mm2", "AWG"]] | None, ...] = (
        *((0.75, "mm2"), (1.5, "mm2"), (18.0, "AWG"), (40.0, "mm2"), None),
    )

    def wire() -> Wire | None:
        size = dice.choice(sizes_written)
        if size is None:
            return None
        stranded = dice.random() < 0.8
        return Wire(dice.choice((1.0, 22.5, 123.456)), *size, stranded=stranded)

    def name(word: str, n: int) -> str:
        return f"{word}_{n}" + "_and_so_on" * dice.choice((0, 0, 8))

    devices: list[Device] = [
        Input(
            name("i", n),
            f"{mark}{n}",
            dice.choice(("maintained", "momentary")),
            dice.choice(("NO", "NC")),
            wire=wire(),
            label=dice.choice(labels),
        )
        for n in range(sizes[1])
    ]
    for n in range(sizes[2]):
        fed = dice.choice((*supplies, None))
        amps = dice.choice((0.05, 0.4, 1.2, 30.0, 90.0))
        load = Load(24.0 if fed is None else fed.volts, amps, dice.choice(KINDS))
        devices.append(
            Output(
                name("o", n),
                f"{mark}R{n}",
                dice.choice(("NO", "NC")),
                load=load if dice.random() < 0.8 else None,
                supply=None if fed is None else fed.name,
                wire=wire(),
                label=dice.choice(labels),
            )
        )
    return Program(dice.choice(labels), supplies=supplies, devices=tuple(devices))


def demo(name: str) -> Program:
    return program_of((DEMOS / f"{name}.rungs").read_text(encoding="utf-8"))


# --- the wire list as a graph

Node = tuple[str, str, str]


def node(point: Point) -> Node:
    return point.kind, point.name, point.pin


def strip_node(name: str) -> Node:
    return "strip", name, ""


def circuit(w: Wiring) -> nx.Graph[Node]:
    """Wires, bridges, fuses and loads; every contact open."""
    graph: nx.Graph[Node] = nx.Graph()
    for wire in w.wires:
        graph.add_edge(node(wire.start), node(wire.end))
    for group in w.strip.groups:
        graph.add_nodes_from(strip_node(t.name) for t in group.terminals)
        for bridge in group.bridges:
            nx.add_path(graph, map(strip_node, bridge.terminals))
        for terminal in group.terminals:
            if terminal.kind == "fuse":
                graph.add_edge(strip_node(terminal.name), ("strip", terminal.name, "fused"))
    for c in w.outputs:
        if c.device.load is not None:
            graph.add_edge(("load", c.device.name, "+"), ("load", c.device.name, "-"))
    return graph


def relay(output: Output) -> tuple[Node, Node]:
    return ("board", output.terminal, "C"), ("board", output.terminal, output.side)


@settings(deadline=None, max_examples=25)
@given(panel=panels())
def test_each_load_has_one_way_from_plus_to_minus_and_only_while_its_contact_is_closed(
    panel: Program,
) -> None:
    w = wiring(panel)
    graph = circuit(w)
    poles = [(("supply", s.name, "+"), ("supply", s.name, "-")) for s in panel.supplies]
    for plus, minus in poles:
        assert not nx.has_path(graph, plus, minus)
    for output in panel.outputs:
        graph.add_edge(*relay(output))
        fed = supplies_of(panel).get(output.name)
        for plus, minus in poles:
            ways = list(nx.all_simple_paths(graph, plus, minus))
            feeds = fed is not None and plus[1] == fed.name and output.load is not None
            assert len(ways) == feeds
            if feeds:
                want = [*relay(output), ("load", output.name, "+"), ("load", output.name, "-")]
                assert [point for point in ways[0] if point in want] == want
        graph.remove_edge(*relay(output))


@settings(deadline=None, max_examples=25)
@given(panel=panels())
def test_each_input_has_one_loop_from_its_common_over_its_contact(panel: Program) -> None:
    graph = circuit(wiring(panel))
    common = ("board", INPUT_COMMON, "")
    for device in panel.inputs:
        end = ("board", device.terminal, "")
        sides = ("contact", device.name, "1"), ("contact", device.name, "2")
        assert not nx.has_path(graph, common, end)
        graph.add_edge(*sides)
        (way,) = nx.all_simple_paths(graph, common, end)
        assert [point for point in way if point in sides] == list(sides)
        graph.remove_edge(*sides)


@settings(deadline=None, max_examples=30)
@given(panel=panels())
def test_bridges_join_each_group_whole_and_no_two_groups(panel: Program) -> None:
    w = wiring(panel)
    graph: nx.Graph[str] = nx.Graph()
    for group in w.strip.groups:
        names = [t.name for t in group.terminals]
        graph.add_nodes_from(names)
        for bridge in group.bridges:
            at = names.index(bridge.terminals[0])
            assert bridge.terminals == tuple(names[at : at + len(bridge.terminals)])
            assert 2 <= len(bridge.terminals) <= 10
            nx.add_path(graph, bridge.terminals)
    found = {frozenset(part) for part in nx.connected_components(graph)}
    wanted: set[frozenset[str]] = set()
    for group in w.strip.groups:
        every = [t.name for t in group.terminals]
        wanted |= {frozenset([n]) for n in every} if group.role == "free" else {frozenset(every)}
    assert found == wanted


@settings(deadline=None, max_examples=30)
@given(panel=panels())
def test_numbers_are_unique_and_wires_end_on_terminals_with_room_for_them(panel: Program) -> None:
    w = wiring(panel)
    terminals = {t.name: t for group in w.strip.groups for t in group.terminals}
    assert len(terminals) == sum(len(group.terminals) for group in w.strip.groups)
    assert not terminals.keys() & {row.terminal for row in w.rows}
    numbers = [wire.number for wire in w.wires]
    assert numbers == sorted(set(numbers))
    ends = Counter(p for wire in w.wires for p in (wire.start, wire.end))
    assert all(p.name in terminals for p in ends if p.kind == "strip")
    on = Counter(p.name for p in ends.elements() if p.kind == "strip")
    for name, count in on.items():
        # the bridge of a fuse terminal is before the fuse, and one wire behind it
        assert count <= (1 if terminals[name].kind == "fuse" else MOST_WIRES)
    assert all(count == 1 for p, count in ends.items() if p.kind != "strip")
    assert not any(terminals[name].use == "spare" for name in on)
    for group in w.strip.groups:
        if group.role != "free":
            assert sum(t.use == "spare" for t in group.terminals) >= 2


# --- lists


def cells(table: Table, column: str) -> list[str]:
    at = table.columns.index(column)
    return [row[at] for row in table.rows]


@settings(deadline=None, max_examples=30)
@given(panel=panels())
def test_each_input_and_output_is_in_every_list(panel: Program) -> None:
    w = wiring(panel)
    io, strip, board, wires, _ = tables(wiring_paper(w))
    assert cells(io, "name") == [*(d.name for d in panel.inputs), *(o.name for o in panel.outputs)]
    assert tables(io_paper(w)) == (io,)
    on_strip = " ".join(cells(strip, "for")).split()
    on_board, wired = cells(board, "for"), cells(wires, "device")
    for device in panel.inputs:
        assert device.name in on_strip
        assert on_board.count(device.name) == 1
        assert wired.count(device.name) == 2
    for output in panel.outputs:
        assert on_strip.count(output.name) >= 2
        assert on_board.count(output.name) == 2
        assert wired.count(output.name) == (2 if output.load is None else 3)
    blank = [d.name for d in panel.inputs if d.wire is None]
    rows = list(zip(wired, cells(wires, "size"), cells(wires, "length"), strict=True))
    assert all(row[1:] == ("unknown", "unknown") for row in rows if row[0] in blank)
    assert all(any(f"'{name}'" in words for words in w.unknown) for name in blank)


def amount(parts: tuple[Part, ...], pattern: str) -> float:
    return sum(p.quantity or 0 for p in parts if re.fullmatch(pattern, p.item))


def ferrules(wires: tuple[Conductor, ...]) -> Iterator[str]:
    for wire in wires:
        if wire.ferrule is not None:
            yield f"ferrule {wire.ferrule.mm2:g} mm2 {wire.ferrule.colour}"


@settings(deadline=None, max_examples=30)
@given(panel=panels())
def test_quantities_are_the_counts_of_strip_and_schedule(panel: Program) -> None:
    w = wiring(panel)
    every = [t for group in w.strip.groups for t in group.terminals]
    bridges = [len(b.terminals) for group in w.strip.groups for b in group.bridges]
    assert amount(w.parts, "terminal, feed-through") == sum(t.kind == "plain" for t in every)
    assert amount(w.parts, "terminal with fuse") == sum(t.kind == "fuse" for t in every)
    for poles in range(2, 11):
        assert amount(w.parts, f"bridge, {poles} poles") == bridges.count(poles)
    fuses = Counter(t.fuse for t in every if t.kind == "fuse")
    for rating, count in fuses.items():
        item = "fuse, rating unknown" if rating is None else f"fuse {rating:g} A"
        assert amount(w.parts, re.escape(item)) == count
    for item, count in Counter(ferrules(w.wires)).items():
        assert amount(w.parts, re.escape(item)) == 2 * count
    total = sum(2 for x in w.wires if x.run is None or x.run.stranded)
    assert amount(w.parts, "ferrule.*") == total
    field = [d.wire for d in panel.inputs] + [o.wire for o in panel.outputs if o.load is not None]
    metres = sum(run.length_m for run in field if run is not None)
    cable = [p for p in w.parts if p.item.startswith("cable, ")]
    assert sum(p.quantity or 0 for p in cable) == pytest.approx(metres)
    assert any(p.amount == "unknown" for p in cable) == (None in field)
    assert amount(w.parts, "switch or contact.*") == len(panel.inputs)
    assert amount(w.parts, "relay output.*") == len(panel.outputs)
    assert sum(p.quantity or 0 for p in w.parts if p.kind == "load") == len(panel.outputs)
    windings = [o for o in panel.outputs if o.load and o.load.kind in ("coil", "motor", "valve")]
    assert amount(w.parts, "suppression for .*") == len(windings)


@given(panel=panels())
@settings(deadline=None, max_examples=10)
def test_no_cell_of_the_sheets_can_be_run_as_a_formula(panel: Program) -> None:
    for table in tables(wiring_paper(wiring(panel))):
        for row in table_csv(table).splitlines():
            assert not re.search(r'(?:^|",)"[=+@\t-](?![0-9.]+")', row)


# --- single rules


# READ: litze24.de and termnex.com, colours of DIN 46228-4. The areas of gauges are COMPUTED from
# ASTM B258: 22 AWG 0.326, 20 AWG 0.518, 18 AWG 0.823, 16 AWG 1.309, 14 AWG 2.081 mm2.
@pytest.mark.parametrize(
    ("wire", "mm2", "colour"),
    [
        (Wire(1, 0.5, "mm2"), 0.5, "white"),
        (Wire(1, 0.75, "mm2"), 0.75, "grey"),
        (Wire(1, 1.0, "mm2"), 1.0, "red"),
        (Wire(1, 1.5, "mm2"), 1.5, "black"),
        (Wire(1, 2.5, "mm2"), 2.5, "blue"),
        (Wire(1, 6.0, "mm2"), 6.0, "yellow"),
        (Wire(1, 1.2, "mm2"), 1.5, "black"),
        (Wire(1, 22, "AWG"), 0.5, "white"),
        (Wire(1, 20, "AWG"), 0.75, "grey"),
        (Wire(1, 18, "AWG"), 1.0, "red"),
        (Wire(1, 16, "AWG"), 1.5, "black"),
        (Wire(1, 14, "AWG"), 2.5, "blue"),
    ],
)
def test_a_ferrule_is_the_smallest_that_takes_the_conductor(
    wire: Wire, mm2: float, colour: str
) -> None:
    found = ferrule_for(wire)
    assert found is not None
    assert (found.mm2, found.colour) == (mm2, colour)
    assert ferrule_for(replace(wire, stranded=False)) is None


def test_ferrules_have_the_colours_of_the_reference() -> None:
    (row,) = [r for r in reference_rows("electrical_and_safety_facts.csv") if r["id"] == "B14"]
    listed = re.findall(r"([0-9.]+) ([a-z]+)", row["statement_own_words"])
    assert len(listed) == 9
    for size, colour in listed:
        found = ferrule_for(Wire(1, float(size), "mm2"))
        assert found is not None
        assert (found.mm2, found.colour) == (float(size), colour)


# ratings FROM MEMORY: IEC 60127-2; 125 % READ: NEC 210.20 (loomi.fyi, kwhrmeter.blogspot.com)
@pytest.mark.parametrize(
    ("amps", "rating"), [(1.2, 1.6), (0.4, 0.5), (0.8, 1.0), (6.0, 8.0), (8.0, 10.0), (900.0, None)]
)
def test_a_fuse_is_the_next_rating_above_125_percent(amps: float, rating: float | None) -> None:
    assert fuse_of(Output("o", "R1", load=Load(24, amps, "led"))) == rating
    assert fuse_of(Output("o", "R1")) is None


def terminal(w: Wiring, name: str) -> Terminal:
    return next(t for group in w.strip.groups for t in group.terminals if t.name == name)


def test_the_boathouse_is_wired_as_a_technician_would() -> None:
    w = wiring(demo("boathouse"))
    rows = [(x.number, str(x.start), str(x.end), x.size, x.length) for x in w.wires]
    assert rows[:5] == [
        (1, "main +", "X1:1", "unknown", "panel"),
        (2, "main -", "X2:1", "unknown", "panel"),
        (101, "board input common", "X3:1", "unknown", "panel"),
        (102, "X3:2", "door_switch 1", "unknown", "unknown"),
        (103, "door_switch 2", "I1", "unknown", "unknown"),
    ]
    assert rows[15:18] == [
        (201, "X1:2", "R1 C", "unknown", "panel"),
        (202, "R1 NO", "bench_lights +", "1.5 mm2", "14 m"),
        (203, "bench_lights -", "X2:2", "1.5 mm2", "14 m"),
    ]
    assert terminal(w, "X1:2").fuse == 1.6
    cables = {p.item: p.amount for p in w.parts if p.kind == "cable"}
    assert cables["cable, 2 x 1.5 mm2"] == "14 m"
    assert cables["cable, 2 x 0.75 mm2"] == "28 m"
    hatch = next(row for row in w.rows if row.name == "hatch")
    assert (hatch.contact, hatch.rest) == ("NC", "closed")


def test_what_is_not_known_ends_on_free_terminals_and_is_told() -> None:
    w = wiring(
        program_of(
            "supply a 24 V 2 A supply b 12 V 2 A supply c 24 V 1 A input i at I1\n"
            "output lost at R1 load 24 V 0.5 A led\n"
            "output bare at R2 from b\n"
            "rung i -> lost, bare"
        )
    )
    free = w.strip.group("free")
    assert free is not None
    ends = [(t.device, t.end) for t in free.terminals]
    assert ends == [("lost", "feed"), ("lost", "return"), ("bare", "load")]
    assert any("Supply unknown: 'lost'" in text and "from a" in text for text in w.unknown)
    assert any("Load unknown: 'bare'" in text for text in w.unknown)


@pytest.mark.parametrize("volts", [50, 50.1, 120, 230])
def test_more_than_50_volts_is_never_drawn_beside_extra_low_voltage(
    volts: float, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (
        f"supply main 24 V 2 A supply high {volts} V 2 A input i at I1\n"
        "output low at R1 load 24 V 0.5 A coil from main\n"
        f"output heat at R2 load {volts} V 1 A resistive from high\n"
        "rung i -> low, heat"
    )
    path = tmp_path / "panel.rungs"
    path.write_text(text, encoding="utf-8")
    w = wiring(program_of(text))
    if volts == 50:  # READ: std.iec.ch glossary: SELV is at most 50 V ac
        assert w.refusal == ""
        assert main(["wiring", str(path)]) == FINE
        return
    assert f"the load of 'heat' ({volts:g} V)" in w.refusal
    assert "panel of its own" in w.refusal
    assert w.cautions[0] == w.refusal
    assert main(["wiring", str(path)]) == FINDINGS
    assert "picture" not in capsys.readouterr().out
    with pytest.raises(CliError, match="nothing is drawn"):
        main(["wiring", str(path), "-o", str(tmp_path / "x.svg")])
    assert not list(tmp_path.glob("*.svg"))
    for table in (*tables(wiring_paper(w)), *tables(io_paper(w))):
        assert all(words.startswith("do not wire") for words in cells(table, "caution"))


def test_the_verb_writes_lists_and_sheets_and_json(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    panel = str(DEMOS / "greenhouse.rungs")
    outputs = ["-o", str(tmp_path / "w.csv"), "-o", str(tmp_path / "w.svg")]
    assert main(["wiring", panel, *outputs, "--json"]) == FINE
    found = json.loads(capsys.readouterr().out)
    names = sorted(path.name for path in tmp_path.iterdir())
    lists = ["w-board.csv", "w-io-list.csv", "w-parts.csv"]
    assert names == [*lists, "w-sheet-1.svg", "w-sheet-2.svg", "w-terminals.csv", "w-wires.csv"]
    rows = (tmp_path / "w-wires.csv").read_text(encoding="utf-8").splitlines()
    assert len(rows) - 1 == len(found["wires"])
    assert len(found["io"]) == 10
    assert {group["role"] for group in found["groups"]} == {"plus", "minus", "common"}
