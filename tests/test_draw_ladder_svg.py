"""The drawn sheets are read back from their lines and must be the circuits they were drawn from.

The reader below knows straight lines, signs and numbered tags, and nothing of how the sheets are
made; whether current gets through is left to a library of graphs.
"""

from __future__ import annotations

import csv
import re
from collections import Counter as Count
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field, replace
from itertools import groupby, pairwise
from pathlib import Path
from random import Random
from xml.etree import ElementTree

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rungs.cells import columns
from rungs.cli.main import main
from rungs.draw.crossref import cross_reference
from rungs.draw.ladder_paper import ladder_paper, reference_table
from rungs.draw.ladder_svg import ladder_pictures, rung_svg
from rungs.draw.ladder_words import clock_words
from rungs.draw.text import draw_rung
from rungs.draw.words import contact_caption, contact_letters
from rungs.papers.blocks import Picture
from rungs.program.nodes import (
    Action,
    Circuit,
    Clock,
    Compare,
    Contact,
    Days,
    Input,
    Leaf,
    Output,
    Parallel,
    Program,
    Rung,
    Series,
    SunTime,
    TimeOfDay,
    Timer,
    leaves,
)
from rungs.source import Source
from rungs.svg import LETTER
from tests.helpers import program_of
from tests.strategies import programs, random_program
from tests.test_draw import BOILER, Reader, circuits, evaluate, rung_of

NS = "{http://www.w3.org/2000/svg}"
STEP = re.compile(r"([MHVhvlaz])([^MHVhvlaz]*)")
NEAR = 0.03  # mm; numbers in a picture have two places
LEAST_LETTER = 2.2  # mm

Point = tuple[float, float]
Node = tuple[int, int, int]  # sheet, and place in hundredths of a millimetre
Key = tuple[str, bool]  # a caption, and whether the contact is NC


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float
    what: str

    def meets(self, other: Box, slack: float = NEAR) -> bool:
        return (
            self.left + slack < other.right
            and other.left + slack < self.right
            and self.top + slack < other.bottom
            and other.top + slack < self.bottom
        )


@dataclass(frozen=True)
class Text:
    x: float
    y: float
    size: float
    words: str
    soft: bool
    box: Box


@dataclass(frozen=True)
class Sign:
    """A contact, coil or tag: its outline, the letters inside, whether a stroke crosses it."""

    kind: str
    box: Box
    letters: str
    stroke: bool
    weight: float

    @property
    def middle(self) -> Point:
        return (self.box.left + self.box.right) / 2, (self.box.top + self.box.bottom) / 2


@dataclass
class DrawnRung:
    number: int
    sheet: int
    wires: list[tuple[Point, Point, float, bool]] = field(default_factory=list)
    signs: list[Sign] = field(default_factory=list)
    texts: list[Text] = field(default_factory=list)
    stops: int = 0


@dataclass
class DrawnSheet:
    width: float
    height: float
    rungs: list[DrawnRung]
    texts: list[Text]  # those outside signs, of the whole sheet
    signs: list[Sign]  # likewise
    rails: list[tuple[Point, Point, float, bool]]
    frame: list[float]  # the heights of the two rules
    inside: list[Text]  # the texts of rungs and legend


def points(d: str) -> Iterator[list[Point]]:
    """The strokes of a path as their points; of an arc its ends."""
    stroke: list[Point] = []
    x = y = 0.0
    for letter, text in STEP.findall(d):
        n = [float(value) for value in text.replace("-", " -").split()]
        match letter:
            case "M":
                if len(stroke) > 1:
                    yield stroke
                stroke, (x, y) = [], n
            case "H":
                x = n[0]
            case "V":
                y = n[0]
            case "h":
                x += n[0]
            case "v":
                y += n[0]
            case "l":
                for dx, dy in zip(n[::2], n[1::2], strict=True):
                    x, y = x + dx, y + dy
                    stroke.append((x, y))
                continue
            case "a":
                x, y = x + n[-2], y + n[-1]
            case _:
                x, y = stroke[0]
        stroke.append((x, y))
    if len(stroke) > 1:
        yield stroke


def text_of(node: ElementTree.Element) -> Text:
    x, y, size = (float(node.attrib[name]) for name in ("x", "y", "font-size"))
    words = node.text or ""
    wide = columns(words) * LETTER * size
    left = x - {"middle": wide / 2, "end": wide}.get(node.attrib.get("text-anchor", ""), 0)
    box = Box(left, y - 0.93 * size, left + wide, y + 0.25 * size, words)
    return Text(x, y, size, words, node.attrib["class"] == "soft", box)


def sign_of(group: ElementTree.Element) -> Sign:
    kind = group.attrib["class"].split()[0]
    drawn = [s for path in group.iter(f"{NS}path") for s in points(path.attrib["d"])]
    xs = [x for stroke in drawn for x, _ in stroke]
    ys = [y for stroke in drawn for _, y in stroke]
    bulge = 0.97 if kind == "coil" else 0  # a bow of radius 3 over a chord of 4.4: 3 - sqrt(9-2.2²)
    title = group.findtext(f"{NS}title") or ""
    box = Box(min(xs) - bulge, min(ys), max(xs) + bulge, max(ys), f"{kind} {title}")
    inner = [text_of(node) for node in group.iter(f"{NS}text")]
    for text in inner:
        assert box.left < text.box.left < text.box.right < box.right, text
        assert box.top < text.y - 0.73 * text.size < text.y < box.bottom, text  # capitals, digits
    letters = "".join(text.words for text in inner)
    slanted = any(len(s) == 2 and s[0][0] != s[1][0] and s[0][1] != s[1][1] for s in drawn)
    weight = max(float(path.attrib["stroke-width"]) for path in group.iter(f"{NS}path"))
    return Sign(kind, box, letters, slanted, weight)


def wires_of(path: ElementTree.Element) -> list[tuple[Point, Point, float, bool]]:
    weight, broken = float(path.attrib["stroke-width"]), "stroke-dasharray" in path.attrib
    return [(s[0], s[1], weight, broken) for s in points(path.attrib["d"])]


def fill(rung: DrawnRung, children: Sequence[ElementTree.Element]) -> None:
    for node in children:
        if node.tag == f"{NS}g":
            rung.signs.append(sign_of(node))
        elif node.tag == f"{NS}text":
            rung.texts.append(text_of(node))
        elif node.tag == f"{NS}path" and node.attrib["class"] == "line":
            rung.wires += wires_of(node)
        elif node.tag == f"{NS}path" and "a" not in node.attrib["d"]:
            rung.stops += 1


def read_sheet(svg: str, index: int = 0) -> DrawnSheet:
    root = ElementTree.fromstring(svg)
    width, height = map(float, root.attrib["viewBox"].split()[2:])
    rungs: list[DrawnRung] = []
    texts = [text_of(node) for node in root.findall(f"{NS}text")]
    signs: list[Sign] = []
    rails: list[tuple[Point, Point, float, bool]] = []
    frame: list[float] = []
    inside: list[Text] = []
    for group in root.findall(f"{NS}g"):
        kind = group.attrib["class"]
        if kind == "rung":
            rung = DrawnRung(int((group.findtext(f"{NS}title") or "").split()[1]), index)
            fill(rung, list(group))
            rungs.append(rung)
            inside += rung.texts
            signs += rung.signs
        elif kind == "rails":
            rails += wires_of(group[0])
        elif kind == "frame":
            frame = [a[1] for a, _, _, _ in wires_of(group[0])]
        elif kind == "legend":
            inside += [text_of(node) for node in group.findall(f"{NS}text")]
            signs += [sign_of(node) for node in group.findall(f"{NS}g")]
    return DrawnSheet(width, height, rungs, texts + inside, signs, rails, frame, inside)


def read_sheets(pictures: Sequence[Picture]) -> list[DrawnSheet]:
    return [read_sheet(picture.svg, index) for index, picture in enumerate(pictures)]


# --- what stands round a sign


def around(rung: DrawnRung) -> Iterator[tuple[Sign, str, list[Text]]]:
    """Each contact and coil with its name, the lines above put together, and the lines below."""
    for sign in rung.signs:
        if sign.kind == "tag":
            continue
        x, y = sign.middle
        column = [t for t in rung.texts if abs(t.x - x) < NEAR]
        others = [
            s.middle[1]
            for s in rung.signs
            if s is not sign and s.kind != "tag" and abs(s.middle[0] - x) < NEAR
        ]
        ceiling = max((o for o in others if o < y), default=-1.0)
        floor = min((o for o in others if o > y), default=1e9)
        above = [t.words for t in column if ceiling < t.y < y and t.size > 2.7]
        name = "".join(w if w.endswith("_") else f"{w} " for w in above[::-1]).strip()
        below = [t for t in column if y < t.y < floor and t.size < 2.7]
        yield sign, name, below


def key(leaf: Leaf) -> Key:
    return contact_caption(leaf), "/" in contact_letters(leaf)


def squeezed(name: str) -> str:
    """A name that was broken in the middle of a word has a space too many when put together."""
    return name.replace(" ", "")


# --- the connections of a rung


class Net:
    """The connections of one rung over all the sheets on which it stands."""

    def __init__(self, parts: Sequence[DrawnRung], sheets: Mapping[int, DrawnSheet]) -> None:
        self.graph = nx.Graph()
        self.contacts: list[tuple[Node, Node, Key]] = []
        self.coils: list[tuple[Node, str, Sign]] = []
        ends: dict[str, list[tuple[Node, bool]]] = {}
        for part in parts:
            left, right = sorted(rail[0][0] for rail in sheets[part.sheet].rails)
            self._wires(part, left, right)
            for sign, name, _ in around(part):
                y = sign.middle[1]
                a, b = (self._node(part, (x, y)) for x in (sign.box.left, sign.box.right))
                assert a in self.graph, f"no wire on the left of {name}"
                assert b in self.graph, f"no wire on the right of {name}"
                if sign.kind == "contact":
                    self.contacts.append((a, b, (squeezed(name), sign.stroke)))
                else:
                    assert nx.has_path(self.graph, b, "right"), f"{name} does not meet the rail"
                    self.coils.append((a, name, sign))
            for sign in part.signs:
                if sign.kind == "tag":
                    y = sign.middle[1]
                    found = [
                        (node, side == sign.box.right)
                        for side in (sign.box.left, sign.box.right)
                        if (node := self._node(part, (side, y))) in self.graph
                    ]
                    assert len(found) == 1, f"tag {sign.letters} has one wire"
                    ends.setdefault(sign.letters, []).append(found[0])
        for number, pair in ends.items():
            assert sorted(begins for _, begins in pair) == [False, True], f"tags {number}"
            self.graph.add_edge(pair[0][0], pair[1][0])

    def _node(self, part: DrawnRung, point: Point) -> Node:
        """The node at a point, or next to it: bows and outlines are sums of rounded steps."""
        x, y = (round(value * 100) for value in point)
        for dx in (0, 1, -1, 2, -2):
            for dy in (0, 1, -1, 2, -2):
                if (part.sheet, x + dx, y + dy) in self.graph:
                    return part.sheet, x + dx, y + dy
        return part.sheet, x, y

    def _wires(self, part: DrawnRung, left: float, right: float) -> None:
        for a, b, _, _ in part.wires:
            nodes = self._node(part, a), self._node(part, b)
            self.graph.add_edge(*nodes)
            for point, node in zip((a, b), nodes, strict=True):
                if abs(point[0] - left) < NEAR:
                    self.graph.add_edge(node, "left")
                if abs(point[0] - right) < NEAR:
                    self.graph.add_edge(node, "right")

    def conducts(self, closed: Callable[[Key], bool]) -> list[bool]:
        """Whether each coil is joined to the left rail."""
        graph = self.graph.copy()
        graph.add_edges_from((a, b) for a, b, k in self.contacts if closed(k))
        live = nx.node_connected_component(graph, "left")
        return [node in live for node, _, _ in self.coils]


def nets(sheets: Sequence[DrawnSheet]) -> dict[int, Net]:
    by_number: dict[int, list[DrawnRung]] = {}
    for sheet in sheets:
        for rung in sheet.rungs:
            by_number.setdefault(rung.number, []).append(rung)
    numbered = dict(enumerate(sheets))
    return {number: Net(parts, numbered) for number, parts in by_number.items()}


def conducting(circuit: Circuit, closed: Callable[[Key], bool]) -> bool:
    if isinstance(circuit, Series):
        return all([conducting(part, closed) for part in circuit.parts])
    if isinstance(circuit, Parallel):
        return any([conducting(part, closed) for part in circuit.parts])
    caption, negated = key(circuit)
    return closed((squeezed(caption), negated))


def assert_same_circuits(program: Program, sheets: Sequence[DrawnSheet], states: int = 12) -> None:
    found = nets(sheets)
    assert sorted(found) == [rung.number for rung in program.rungs]
    for rung in program.rungs:
        net = found[rung.number]
        wanted = Count((squeezed(c), n) for c, n in map(key, leaves(rung.circuit)))
        assert Count(k for _, _, k in net.contacts) == wanted
        assert [squeezed(name) for _, name, _ in net.coils] == [a.name for a in rung.actions]
        for seed in range(states):
            rng = Random(f"{rung.number} {seed}")
            chance = rng.choice((0.3, 0.6, 0.85))
            state = {k: rng.random() < chance for k in sorted(wanted)}
            power = conducting(rung.circuit, state.__getitem__)
            assert net.conducts(state.__getitem__) == [power] * len(rung.actions)


# --- the looks of a sheet


def assert_tidy(sheet: DrawnSheet) -> None:
    """Nothing overlaps, nothing leaves the sheet, letters can be read, wires do not cross."""
    assert min(text.size for text in sheet.texts) >= LEAST_LETTER
    boxes = [text.box for text in sheet.texts] + [sign.box for sign in sheet.signs]
    for box in boxes:
        assert box.left >= 12, box  # room to bind
        assert box.right <= sheet.width - 8, box
        assert box.top >= 8, box
        assert box.bottom <= sheet.height - 8, box
    assert_framed(sheet)
    boxes.sort(key=lambda box: box.top)
    for index, box in enumerate(boxes):
        for other in boxes[index + 1 :]:
            if other.top >= box.bottom:
                break
            assert not box.meets(other), (box, other)
    for rung in sheet.rungs:
        assert_clear_wires(rung, boxes, sheet.rails)


def assert_framed(sheet: DrawnSheet) -> None:
    """Rungs and legend stand between the rules under the head and over the foot."""
    head, foot = sheet.frame
    inside = [sign.box for sign in sheet.signs] + [text.box for text in sheet.inside]
    inside += [Box(a[0], a[1], b[0], b[1], "rail") for a, b, _, _ in sheet.rails]
    for box in inside:
        assert head < box.top, box
        assert box.bottom < foot, box


def assert_clear_wires(
    rung: DrawnRung, boxes: Sequence[Box], rails: list[tuple[Point, Point, float, bool]]
) -> None:
    wires = [
        Box(*map(min, a, b), *map(max, a, b), "wire")  # type: ignore[call-arg,arg-type]
        for a, b, _, _ in (*rung.wires, *rails)
    ]
    near = sorted(wires, key=lambda wire: wire.top)
    tops = [box.top for box in boxes]
    for wire in near:
        for box, top in zip(boxes, tops, strict=True):
            if top > wire.bottom + NEAR:
                break
            assert not (
                box.left + NEAR < wire.right
                and wire.left + NEAR < box.right
                and box.top + NEAR < wire.bottom
                and wire.top + NEAR < box.bottom
            ), (box, wire)
    own = wires[: len(rung.wires)]
    level = [wire for wire in own if wire.top == wire.bottom]
    upright = [wire for wire in own if wire.left == wire.right]
    assert len(level) + len(upright) == len(own)
    for bar in upright:
        for wire in level:
            inside = bar.top + NEAR < wire.top < bar.bottom - NEAR
            assert not (inside and wire.left - NEAR <= bar.left <= wire.right + NEAR), (bar, wire)
            along = wire.left + NEAR < bar.left < wire.right - NEAR
            assert not (along and bar.top - NEAR <= wire.top <= bar.bottom + NEAR), (bar, wire)


def numbers_on(sheets: Sequence[DrawnSheet]) -> list[int]:
    return [rung.number for sheet in sheets for rung in sheet.rungs]


@settings(max_examples=25)
@given(programs(), st.sampled_from(("A4", "A3")))
def test_random_sheets_show_their_circuits_and_nothing_overlaps(
    program: Program, paper: str
) -> None:
    sheets = read_sheets(ladder_pictures(program, "A3" if paper == "A3" else "A4"))
    assert sorted(set(numbers_on(sheets))) == [rung.number for rung in program.rungs]
    assert {(s.width, s.height) for s in sheets} == {(420, 297) if paper == "A3" else (210, 297)}
    for sheet in sheets:
        assert_tidy(sheet)
    assert_same_circuits(program, sheets)
    assert_references(program, sheets)
    used = {look(sign) for sheet in sheets for rung in sheet.rungs for sign in rung.signs}
    drawn = {id(sign) for rung in sheets[-1].rungs for sign in rung.signs}
    assert {look(sign) for sign in sheets[-1].signs if id(sign) not in drawn} == used


def look(sign: Sign) -> tuple[str, str, bool]:
    """What a legend has to explain."""
    return sign.kind, "" if sign.kind == "tag" else sign.letters, sign.stroke


def assert_references(program: Program, sheets: Sequence[DrawnSheet]) -> None:
    """What stands under each sign equals a plain count over the program."""
    reads: dict[str, dict[str, list[int]]] = {"NO": {}, "NC": {}}
    drives: dict[str, list[int]] = {}
    for rung in program.rungs:
        for leaf in leaves(rung.circuit):
            side = "NC" if isinstance(leaf, Contact) and leaf.negated else "NO"
            reads[side].setdefault(leaf.name, []).append(rung.number)
        for action in rung.actions:
            drives.setdefault(action.name, []).append(rung.number)
    for drawn in (rung for sheet in sheets for rung in sheet.rungs):
        for sign, name, below in around(drawn):
            said = " ".join(text.words for text in below if not text.soft)
            lists = {
                head: (sorted(map(int, re.findall(r"\d+", shown))), int(more or 0))
                for head, shown, more in re.findall(
                    r"\b(coil|NO|NC|also)((?: \d+,?)*)(?: \+(\d+) more)?(?= |$)", said
                )
            }
            device = re.sub(r"^(not )?(rising|falling) |\.timing$| [<>=!]+ \d+$", "", name)
            if sign.kind == "contact":
                by = sorted(set(drives.get(device, [])))
                wanted = {"coil": by} if by else {}
                match program.by_name.get(device):
                    case Input(terminal=terminal):
                        assert said == terminal
                    case Clock() as clock:
                        assert said == clock_words(clock)
                    case Timer(preset=preset) if preset % 1000:
                        assert f"{preset % 1000}ms" in said
                    case _:
                        pass
            else:
                others = sorted(set(drives[device]) - {drawn.number})
                wanted = {"also": others} if others else {}
                for side, found in reads.items():
                    if device in found:
                        wanted[side] = sorted(set(found[device]))
            assert {head: len(shown) + more for head, (shown, more) in lists.items()} == {
                head: len(rungs) for head, rungs in wanted.items()
            }, said
            for head, (shown, _) in lists.items():
                assert shown == wanted[head][: len(shown)]


@settings(max_examples=12)
@given(circuits(24), st.integers(1, 3))
def test_text_and_sheet_show_one_circuit(circuit: Circuit, coils: int) -> None:
    rung, program = rung_of(circuit, coils)
    text = Reader(draw_rung(rung, program, 80))
    sheets = read_sheets(ladder_pictures(program))
    [net] = nets(sheets).values()
    letters = {leaf.name: contact_letters(leaf) for leaf in leaves(circuit)}
    shown = [
        (name.split()[-1], sign.letters, sign.stroke)
        for sheet in sheets
        for drawn in sheet.rungs
        for sign, name, _ in around(drawn)
        if sign.kind == "contact"
    ]
    assert sorted(shown) == sorted(
        (name, letters[name].strip(" /"), "/" in letters[name]) for _, _, name in text.contacts
    )
    for seed in range(10):
        rng = Random(seed)
        at = {leaf.name: rng.random() < 0.65 for leaf in leaves(circuit)}
        by_text = text.conducts(at.__getitem__)
        assert by_text == [evaluate(circuit, at.__getitem__)] * coils
        captions = {squeezed(contact_caption(leaf)): leaf.name for leaf in leaves(circuit)}
        assert net.conducts(lambda k, at=at, c=captions: at[c[k[0]]]) == by_text  # type: ignore[misc]


def nested(depth: int) -> Circuit:
    circuit: Circuit = Contact("closed", "c0")
    for n in range(1, depth + 1):
        contact = Contact("closed", f"c{n}", n % 3 == 0)
        circuit = Series((contact, circuit)) if n % 2 else Parallel((contact, circuit))
    return circuit


CHAIN = Series(tuple(Contact("closed", f"c{n}") for n in range(150)))
MANY = Parallel(tuple(Contact("closed", f"c{n}") for n in range(70)))
DEEP = Parallel((Contact("closed", "c900"), Series((MANY, CHAIN, nested(40)))))


@pytest.mark.parametrize(
    ("circuit", "coils", "sheets"),
    [
        (CHAIN, 1, 2),
        (MANY, 1, 4),
        (nested(60), 1, 3),
        (DEEP, 2, 6),
        (Contact("closed", "c0"), 40, 2),
    ],
    ids=["chain", "branches", "nested", "all of it", "coils"],
)
def test_a_rung_taller_than_a_sheet_goes_on_at_its_tags(
    circuit: Circuit, coils: int, sheets: int
) -> None:
    rung, program = rung_of(circuit, coils)
    rung = replace(rung, label="Far too much for one sheet")
    after = Rung(2, "", Contact("closed", "c0"), (Action("coil", "o0"),))
    pictures = ladder_pictures(replace(program, rungs=(rung, after)))
    drawn = read_sheets(pictures)
    assert len(pictures) >= sheets
    for sheet in drawn:
        assert_tidy(sheet)
    assert_same_circuits(replace(program, rungs=(rung, after)), drawn)
    for number, sheet in enumerate(drawn):
        said = [text.words for text in sheet.texts]
        goes_on = number > 0 and bool(sheet.rungs) and sheet.rungs[0].number == 1
        assert ("goes on from the sheet before" in said) == goes_on
        assert ("Far too much for one sheet" in said) == (number == 0)


@pytest.mark.parametrize("rungs", [0, 1, 50, 500])
def test_every_rung_stands_once_in_order_and_whole_on_numbered_sheets(rungs: int) -> None:
    program = random_program(Random(rungs), max(1, rungs))
    devices = program.devices
    program = replace(program, title="Many", rungs=program.rungs[:rungs], devices=devices)
    pictures = ladder_pictures(program)
    sheets = read_sheets(pictures)
    assert [n for n, _ in groupby(numbers_on(sheets))] == list(range(1, len(program.rungs) + 1))
    for number, times in Count(numbers_on(sheets)).items():
        parts = [r.texts for sheet in sheets for r in sheet.rungs if r.number == number]
        high = sum(
            max(t.box.bottom for t in texts) - min(t.box.top for t in texts) for texts in parts
        )
        assert times == 1 or high > 297 - 29 - 19 - 10, number
    for index, (picture, sheet) in enumerate(zip(pictures, sheets, strict=True), 1):
        assert picture.name == str(index)
        assert f"sheet {index} of {len(pictures)}" in [text.words for text in sheet.texts]
        assert ("Signs" in [text.words for text in sheet.texts]) == (
            index == len(pictures) and rungs > 0
        )
        assert_framed(sheet)
        if index % 10 == 1:
            assert_tidy(sheet)
    # a sheet is left only where the next rung had no room
    for sheet, following in pairwise(sheets):
        if following.rungs and following.rungs[0].number != sheet.rungs[-1].number:
            used = max(rail[1][1] for rail in sheet.rails)
            needed = max(t.box.bottom for t in following.rungs[0].texts)
            top = min(rail[0][1] for rail in following.rails)
            assert used + (needed - top) > 297 - 19 - 5
    assert [p.svg for p in pictures] == [p.svg for p in ladder_pictures(program)]


HOSTILE = (
    "word " * 200,
    "W" * 700,
    "漢字かな" * 60,
    "שלום עולם " * 30,
    "Z" + "\u0301\u0320" * 200,
    "\u202etfel ot thgir\u202c \x1b[31m red \n next",
    "</text><script>alert(1)</script>&amp;",
    "🚪" * 80,
)


@pytest.mark.parametrize("label", HOSTILE, ids=range(len(HOSTILE)))
def test_hostile_labels_are_folded_or_cut_and_overlap_nothing(label: str) -> None:
    name = "n" + "_long" * 11 + "_end"  # 60 characters
    wide = "W" * 60
    devices = (Input(name, "I" * 40, label=label), Output(wide, "R1", label=label))
    contacts = tuple(Contact("falling", n, True) for n in (name, wide, name))
    circuit = Series((Parallel((contacts[0], Series(contacts))), contacts[1]))
    rungs = tuple(Rung(n, label, circuit, (Action("coil", wide),) * 2) for n in (1, 2))
    source = Source(f"/tmp/{label}.rungs", label)
    program = Program(title=label, devices=devices, rungs=rungs, source=source)
    for paper in ("A4", "A3"):
        pictures = ladder_pictures(program, "A3" if paper == "A3" else "A4")
        sheets = read_sheets(pictures)
        for sheet in sheets:
            assert_tidy(sheet)
        assert_same_circuits(program, sheets, 4)
        for picture in pictures:
            assert "<script" not in picture.svg
            assert not re.search(r"[\u0300-\u036f]{3}|[\u202a-\u202e\x1b]", picture.svg)
    assert "<script" not in rung_svg(rungs[0], program)


@settings(max_examples=15)
@given(circuits(9), st.integers(0, 1_000_000))
def test_current_is_heavy_where_it_flows_and_light_and_broken_where_it_does_not(
    circuit: Circuit, seed: int
) -> None:
    rung, program = rung_of(circuit)
    rng = Random(seed)
    at = {leaf.name: rng.random() < 0.6 for leaf in leaves(circuit)}
    root = ElementTree.fromstring(rung_svg(rung, program, lambda leaf: at[leaf.name]))
    # the two rails are the last lines of the picture
    drawn = DrawnRung(1, 0)
    fill(drawn, [*root][:-2])
    rails = [wire for path in [*root][-2:] for wire in wires_of(path)]
    sheet = DrawnSheet(0, 0, [drawn], [], [], rails, [], [])
    net = Net([drawn], {0: sheet})
    captions = {squeezed(contact_caption(leaf)): leaf.name for leaf in leaves(circuit)}
    [power] = net.conducts(lambda k: at[captions[k[0]]])
    assert power == evaluate(circuit, at.__getitem__)
    graph = net.graph.copy()
    graph.add_edges_from((a, b) for a, b, k in net.contacts if at[captions[k[0]]])
    live = nx.node_connected_component(graph, "left")
    light = min(wire[2] for wire in drawn.wires)
    for a, _, weight, broken in drawn.wires:
        heavy = not broken
        assert weight >= 1 if heavy else weight == light <= 0.35
        # power flows to the right only: a dead branch may hang on a live joint, not the reverse
        if heavy and net._node(drawn, a) not in live:
            assert power
            assert abs(a[0] - net.coils[0][2].box.right) < 2 * NEAR
    [(_, _, coil)] = net.coils
    assert (coil.weight >= 1) == power
    assert (drawn.stops == 0) == power
    plain = ElementTree.fromstring(rung_svg(rung, program))
    fill(still := DrawnRung(1, 0), [*plain][:-2])
    assert not any(broken for _, _, _, broken in still.wires)
    assert len(still.signs) == len(drawn.signs)


def test_the_list_of_devices_says_what_each_is_and_where_it_stands() -> None:
    program = program_of(
        BOILER
        + 'counter starts to 3 retained "Starts"\nrelay cold\n'
        + "rung rising pump -> starts\nrung cold or starts >= 2 or not starts -> down starts\n"
        + "rung rest.timing -> reset starts, cold"
    )
    rows = {row[0]: row[1:] for row in reference_table(program).rows}
    assert rows["start"] == ("input, maintained NO", "I1", "", "1", "", "")
    assert rows["pump"] == ("output, NO", "R1", "1", "1, 2, 4", "", "")
    assert rows["lamp"] == ("output, NO", "R2", "2 latch, 3 unlatch", "", "", "")
    assert rows["rest"] == ("timer, off-delay 5s", "", "1", "6", "2", "")
    assert rows["starts"] == (
        *("counter, to 3, retained", "", "4, 5 down, 6 reset", "5", "5", "Starts"),
    )
    crossed = cross_reference(program)
    for name, row in rows.items():
        read = {int(n) for cell in row[3:5] for n in cell.split(", ") if n}
        assert sorted(read) == sorted(crossed[name].read_by)
        assert len([d for d in row[2].split(", ") if d]) == len(crossed[name].driven_by)


def test_a_list_that_is_too_long_for_a_sheet_says_how_many_more_there_are() -> None:
    text = "input a at I1\nrelay x\nrung a -> latch x\n"
    text += "".join(
        f"relay r{n}\nrung x or not x -> r{n}\nrung r{n} -> latch x\n" for n in range(40)
    )
    program = program_of(text)
    sheets = read_sheets(ladder_pictures(program))
    assert_references(program, sheets)
    shown = [text.words for sheet in sheets for text in sheet.texts]
    assert any(re.search(r"\+\d\d more$", words) for words in shown)
    [row] = [row for row in reference_table(program).rows if row[0] == "x"]
    assert row[4] == ", ".join(str(n) for n in range(2, 82, 2)) == row[5]


def test_a_rung_that_is_a_little_too_wide_is_drawn_narrower_on_one_row() -> None:
    for count, rows in ((6, 1), (7, 1), (8, 2)):
        circuit = Series(tuple(Contact("closed", f"c{n}") for n in range(count)))
        [sheet] = read_sheets(ladder_pictures(rung_of(circuit)[1]))
        assert len({round(s.middle[1], 1) for s in sheet.rungs[0].signs}) == rows


def test_clocks_are_told_in_few_words() -> None:
    dusk = SunTime("sunset", -20 * 60_000)
    weekdays = Days((0, 1, 2, 3, 5), ((5, 1), (9, 30)), True)
    late = TimeOfDay(22 * 3_600_000 + 30 * 60_000)
    assert clock_words(Clock("c", dusk, SunTime("sunrise"))) == "sunset -20min to sunrise"
    assert clock_words(Clock("c", TimeOfDay(19 * 3_600_000), late, weekdays)) == (
        "19:00 to 22:30 Mon-Thu, Sat between 05-01 and 09-30 except holidays"
    )
    assert clock_words(Clock("c", TimeOfDay(1_000), catch_up=60_000)) == "at 00:00:01 catch up 1min"


def test_compared_counts_stand_over_their_contact() -> None:
    compare = Compare("parts", ">=", 12)
    rung, program = rung_of(compare)
    [sheet] = read_sheets(ladder_pictures(program))
    [(sign, name, _)] = [a for a in around(sheet.rungs[0]) if a[0].kind == "contact"]
    assert (name, sign.stroke, rung.number) == ("parts >= 12", False, 1)


def test_the_verb_writes_sheets_a_page_and_the_list_and_text_as_before(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    panel = tmp_path / "boiler.rungs"
    rungs = "".join(f"output o{n} at X{n}\nrung start -> o{n}\n" for n in range(30))
    panel.write_text('title "Boiler"\n' + BOILER + rungs, encoding="utf-8")
    for name in ("ladder.svg", "ladder.html", "ladder.csv", "ladder.txt"):
        assert main(["draw", str(panel), "-o", str(tmp_path / name), "--paper", "A3"]) == 0
    files = sorted(tmp_path.glob("ladder-*.svg"))
    assert [f.name for f in files] == [f"ladder-{n}.svg" for n in range(1, len(files) + 1)]
    assert len(files) > 1
    assert 'width="420mm" height="297mm"' in files[0].read_text(encoding="utf-8")
    page = (tmp_path / "ladder.html").read_text(encoding="utf-8")
    assert page.count("<svg") == len(files)
    assert "Where each device stands" in page
    with (tmp_path / "ladder.csv").open(encoding="utf-8", newline="") as stream:
        rows = list(csv.DictReader(stream))
    assert [row["Driven in rung"] for row in rows if row["Device"] == "lamp"] == [
        "2 latch, 3 unlatch"
    ]
    assert (tmp_path / "ladder.txt").read_text(encoding="utf-8").startswith("Boiler\n\n  1  The")
    with pytest.raises(Exception, match="json"):
        main(["draw", str(panel), "-o", str(tmp_path / "x.svg"), "--json"])
    capsys.readouterr()


def test_head_and_foot_name_the_panel_the_file_and_its_text() -> None:
    program = program_of('title "Boiler"\nsite "Cellar" zone "UTC"\n' + BOILER)
    program = replace(program, source=Source("/home/somebody/boiler.rungs", "abc"))
    paper = ladder_paper(program)
    assert paper.name == "ladder"
    assert paper.title == "Boiler: ladder"
    [picture] = [block for block in paper.blocks if isinstance(block, Picture)]
    said = [text.words for text in read_sheet(picture.svg).texts]
    assert {"Boiler", "Cellar", "sheet 1 of 1", "rungs 1 to 3"} <= set(said)
    # READ: FIPS 180-2, appendix B.1, the digest of "abc" begins ba7816bf 8f01cfea
    assert "boiler.rungs, sha256 ba7816bf8f01" in said
    assert "A program is never the only safety function." in said
    assert "somebody" not in picture.svg
    assert 'width="210mm" height="297mm"' in picture.svg
