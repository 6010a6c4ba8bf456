"""The wiring drawing, read back as shapes: what stands where, what meets, and what is legible."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import pairwise
from math import hypot
from typing import Literal
from xml.etree import ElementTree
from xml.etree.ElementTree import Element

import pytest
from hypothesis import given, settings

from rungs.cells import columns, cut, safe
from rungs.draw.wiring_svg import wiring_pictures
from rungs.program.nodes import Input, Load, Output, Program, Supply, Wire
from rungs.svg import LETTER
from rungs.wiring.plan import ISOLATE, wiring
from tests.test_wiring_lists import demo, panels

SVG = "{http://www.w3.org/2000/svg}"
Size = Literal["A4", "A3"]
MILLIMETRES = {"A4": (297.0, 210.0), "A3": (420.0, 297.0)}  # ISO 216, landscape


@dataclass(frozen=True)
class Box:
    left: float
    top: float
    right: float
    bottom: float

    def meets(self, other: Box, slack: float = 0.0) -> bool:
        return (
            self.left < other.right + slack
            and other.left < self.right + slack
            and self.top < other.bottom + slack
            and other.top < self.bottom + slack
        )

    def holds(self, other: Box) -> bool:
        return (
            self.left <= other.left
            and other.right <= self.right
            and self.top <= other.top
            and other.bottom <= self.bottom
        )


Stroke = tuple[float, float, float, float]


@dataclass(frozen=True)
class Shapes:
    """All that is drawn on a sheet, in mm: texts with their boxes, straight strokes, and outlines
    of closed shapes."""

    width: float
    height: float
    texts: list[tuple[str, Box, float]]
    strokes: list[Stroke]
    outlines: list[Box]
    groups: list[Element]


def pieces(d: str) -> Iterator[list[tuple[float, float]]]:
    """The corners of each part of a path of straight lines."""
    x = y = 0.0
    part: list[tuple[float, float]] = []
    tokens = re.findall(r"[A-Za-z]|-?[0-9.]+", d)
    at = 0
    while at < len(tokens):
        command = tokens[at]
        at += 1
        if command == "z":
            part.append(part[0])
            continue
        while at < len(tokens) and not tokens[at].isalpha():
            given_ = [float(tokens[at])]
            if command in "MLl":
                given_.append(float(tokens[at + 1]))
            at += len(given_)
            match command:
                case "M":
                    if part:
                        yield part
                    part = []
                    x, y = given_
                case "L":
                    x, y = given_
                case "l":
                    x, y = x + given_[0], y + given_[1]
                case "H":
                    x = given_[0]
                case "h":
                    x += given_[0]
                case "V":
                    y = given_[0]
                case "v":
                    y += given_[0]
                case _:
                    raise AssertionError(command)
            part.append((x, y))
    yield part


def read(svg: str) -> Shapes:
    root = ElementTree.fromstring(svg)
    _, _, wide, high = map(float, root.attrib["viewBox"].split())
    width, height = (float(root.attrib[name].removesuffix("mm")) for name in ("width", "height"))
    scale = width / wide
    assert height / high == pytest.approx(scale)
    shapes = Shapes(width, height, [], [], [], list(root.iter(f"{SVG}g")))
    for element in root.iter():
        get = element.attrib.get
        if element.tag == f"{SVG}text":
            assert element.text is not None
            size, x, y = (scale * float(element.attrib[k]) for k in ("font-size", "x", "y"))
            long = columns(" ".join(element.text.split())) * LETTER * size
            left = x - {"middle": long / 2, "end": long}.get(get("text-anchor", ""), 0)
            box = Box(left, y - 0.76 * size, left + long, y + 0.22 * size)
            shapes.texts.append((element.text, box, size))
        elif element.tag == f"{SVG}circle":
            x, y, r = (scale * float(element.attrib[k]) for k in ("cx", "cy", "r"))
            shapes.outlines.append(Box(x - r, y - r, x + r, y + r))
            # eight sides around it and eight inside: near enough for a letter
            for inner in (1.0, 0.98):
                k = r * inner * 0.4142
                q = r * inner
                ring = [(q, k), (k, q), (-k, q), (-q, k), (-q, -k), (-k, -q), (k, -q), (q, -k)]
                for a, b in pairwise([*ring, ring[0]]):
                    shapes.strokes.append((x + a[0], y + a[1], x + b[0], y + b[1]))
        elif element.tag == f"{SVG}path":
            d = element.attrib["d"]
            parts = [[(scale * x, scale * y) for x, y in part] for part in pieces(d)]
            for part in parts:
                shapes.strokes.extend((*a, *b) for a, b in pairwise(part))
            if d.endswith("z"):
                xs, ys = zip(*parts[0], strict=True)
                shapes.outlines.append(Box(min(xs), min(ys), max(xs), max(ys)))
    return shapes


def crosses(stroke: Stroke, box: Box) -> bool:
    """Whether a straight stroke touches a box (Liang and Barsky's clipping)."""
    x1, y1, x2, y2 = stroke
    low, high = 0.0, 1.0
    for p, q in (
        (x1 - x2, x1 - box.left),
        (x2 - x1, box.right - x1),
        (y1 - y2, y1 - box.top),
        (y2 - y1, box.bottom - y1),
    ):
        if p == 0:
            if q < 0:
                return False
        elif p < 0:
            low = max(low, q / p)
        else:
            high = min(high, q / p)
    return low <= high


def sheets_of(panel: Program, paper: Size) -> list[Shapes]:
    return [read(picture.svg) for picture in wiring_pictures(wiring(panel), paper)]


@pytest.mark.parametrize("paper", ["A4", "A3"])
@settings(deadline=None, max_examples=10)
@given(panel=panels())
def test_nothing_overlaps_and_all_is_legible_and_inside_the_sheet(
    paper: Size, panel: Program
) -> None:
    for sheet in sheets_of(panel, paper):
        assert (sheet.width, sheet.height) == MILLIMETRES[paper]
        edge = Box(5, 5, sheet.width - 5, sheet.height - 5)
        texts = sorted(sheet.texts, key=lambda item: item[1].top)
        for n, (text, box, size) in enumerate(texts):
            # capitals of the common fixed-width fonts are 0.73 of the size
            assert 0.73 * size >= 2.18, text
            assert edge.holds(box), text
            for other, more, _ in texts[n + 1 :]:
                if more.top >= box.bottom:
                    break
                assert not box.meets(more), (text, other)
            for stroke in sheet.strokes:
                if min(stroke[1], stroke[3]) < box.bottom and max(stroke[1], stroke[3]) > box.top:
                    assert not crosses(stroke, box), (text, stroke)
        for x1, y1, x2, y2 in sheet.strokes:
            assert edge.holds(Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2)))
        for n, outline in enumerate(sheet.outlines):
            for other_outline in sheet.outlines[n + 1 :]:
                assert outline.holds(other_outline) or not outline.meets(other_outline)


@settings(deadline=None, max_examples=15)
@given(panel=panels())
def test_sheets_hold_nothing_but_known_elements_and_attributes(panel: Program) -> None:
    known = {"svg", "title", "desc", "style", "rect", "path", "circle", "text", "g"}
    for picture in wiring_pictures(wiring(panel)):
        assert 'width="297mm" height="210mm"' in picture.svg
        for element in ElementTree.fromstring(picture.svg).iter():
            assert element.tag.removeprefix(SVG) in known
            names = " ".join(element.attrib)
            assert not re.search(r"(?:^| )(?:id|href|style|on\w+)(?: |$)|xlink", names)


@settings(deadline=None, max_examples=15)
@given(panel=panels())
def test_each_device_terminal_and_wire_is_drawn_once_on_numbered_sheets(panel: Program) -> None:
    w = wiring(panel)
    pictures = wiring_pictures(w)
    sheets = [[text for text, _, _ in read(picture.svg).texts] for picture in pictures]
    for n, texts in enumerate(sheets, 1):
        assert f"sheet {n} of {len(sheets)}" in texts
        assert ISOLATE in texts
        goes_on = texts.count(f"to sheet {n + 1}")
        assert goes_on == (sheets[n].count(f"from sheet {n}") if n < len(sheets) else 0)
    every = [text for texts in sheets for text in texts]
    lanes: list[Input | Output] = [c.device for c in w.inputs]
    lanes += [c.device for c in w.outputs]
    titles = [t for p in pictures for t in re.findall(r"<g>\n<title>|<title>", p.svg)]
    assert len(titles) == len(pictures) + len(lanes)
    for device in lanes:
        both = f"{device.terminal} {device.name}"
        if columns(both) <= 51:  # letters of the column
            assert every.count(both) == 1
        else:
            # beyond the column a name is cut in its middle, with a sign
            assert every.count(cut(device.name, 51)) == 1
    for group in w.strip.groups:
        for terminal in group.terminals:
            assert every.count(terminal.name) == 1
    for wire in w.wires:
        assert every.count(str(wire.number)) >= 1


# --- symbols


@cache
def one_of_each() -> Program:
    kinds = ("led", "lamp", "coil", "motor", "valve", "resistive", "electronic", "heater")
    inputs = tuple(
        Input(f"{act}_{side}", f"I{act}{side}", act, side)
        for act in ("maintained", "momentary")
        for side in ("NO", "NC")
    )
    outputs = tuple(
        Output(f"{kind}_{side}", f"R{kind}{side}", side, load=Load(24, 0.5, kind))
        for kind in kinds
        for side in ("NO", "NC")
    )
    return Program("All", supplies=(Supply("main", 24, 10),), devices=(*inputs, *outputs))


def lanes(panel: Program) -> dict[str, Element]:
    """The group of each device by its name."""
    found = {}
    for picture in wiring_pictures(wiring(panel)):
        for group in ElementTree.fromstring(picture.svg).iter(f"{SVG}g"):
            title = group.find(f"{SVG}title")
            if title is not None and title.text:
                found[title.text.split(":")[0]] = group
    return found


def paths(group: Element) -> list[str]:
    return [path.attrib["d"] for path in group.iter(f"{SVG}path")]


@pytest.mark.parametrize("side", ["NO", "NC"])
def test_a_make_contact_stands_open_and_a_break_contact_rests_on_its_stop_bar(side: str) -> None:
    number = r"(-?[0-9.]+)"
    for name, group in lanes(one_of_each()).items():
        if not name.endswith(side):
            continue
        found = [re.fullmatch(f"M{number} {number}L{number} {number}", d) for d in paths(group)]
        (blade,) = [tuple(map(float, m.groups())) for m in found if m]
        x1, y1, x2, y2 = blade
        assert (x1 < x2, y2 < y1) == (True, True)
        uprights = [re.fullmatch(f"M{number} {number}V{number}", d) for d in paths(group)]
        bars = [tuple(map(float, m.groups())) for m in uprights if m]
        crossing = [b for b in bars if b[1] == y1 and crosses((b[0], b[1], b[0], b[2]), _of(blade))]
        assert len(crossing) == (side == "NC")
        wires = [re.fullmatch(f"M{number} {number}H{number}", d) for d in paths(group)]
        ends = [tuple(map(float, m.groups())) for m in wires if m]
        on_line = [(a, b) for a, y, b in ends if y == y1]
        begins = min(a for a, b in on_line if a > x1)
        if side == "NO":
            assert hypot(begins - x2, y1 - y2) > 2  # a gap that is seen
        else:
            assert crossing[0][0] == begins < x2


def _of(stroke: tuple[float, ...]) -> Box:
    x1, y1, x2, y2 = stroke
    return Box(min(x1, x2), min(y1, y2), max(x1, x2), max(y1, y2))


def test_loads_and_actuators_have_symbols_of_their_own() -> None:
    found = lanes(one_of_each())

    def texts(name: str) -> list[str | None]:
        return [text.text for text in found[name].iter(f"{SVG}text")]

    def rings(name: str) -> int:
        return len(list(found[name].iter(f"{SVG}circle")))

    for kind in ("led", "lamp", "motor"):
        assert rings(f"{kind}_NO") == 1
    for kind in ("coil", "valve", "resistive", "electronic", "heater"):
        assert rings(f"{kind}_NO") == 0
    assert "LED" in texts("led_NO")
    assert "LED" not in texts("lamp_NO")
    assert "M" in texts("motor_NO")
    assert "?" in texts("heater_NO")
    inductive = {"coil", "motor", "valve"}
    assert {name[:-3] for name in found if name[-3:] == "_NO" and "S" in texts(name)} == inductive
    for side in ("NO", "NC"):
        caps = [
            any(d.endswith("h4.4v1.2") for d in paths(found[f"{act}_{side}"]))
            for act in ("momentary", "maintained")
        ]
        assert caps == [True, False]


def test_a_field_wire_carries_number_size_and_length() -> None:
    found = lanes(demo("boathouse"))
    texts = [text.text for text in found["bench_lights"].iter(f"{SVG}text")]
    at = texts.index("202")
    assert texts[at + 1 : at + 3] == ["1.5 mm2", "14 m"]
    solid = Wire(22.5, 0.75, "mm2", stranded=False)
    lane = lanes(Program("", devices=(Input("i", "I1", wire=solid),)))["i"]
    assert {"0.75 mm2 solid", "22.5 m"} <= {text.text for text in lane.iter(f"{SVG}text")}
    unknown = [text.text for text in found["winch_in"].iter(f"{SVG}text")]
    assert "wire unknown" in unknown


def test_full_panels_take_few_sheets() -> None:
    wire = Wire(10, 0.75, "mm2")
    inputs = tuple(Input(f"i{n}", f"I{n}", wire=wire, label="label " * 20) for n in range(32))
    outputs = tuple(
        Output(f"o{n}", f"R{n}", load=Load(24, 0.1, "led"), wire=wire) for n in range(32)
    )
    panel = Program("Full", supplies=(Supply("main", 24, 10),), devices=(*inputs, *outputs))
    # 8 to 12 devices a sheet, and their spare terminals
    assert len(wiring_pictures(wiring(panel))) <= 10
    assert len(wiring_pictures(wiring(panel), "A3")) < len(wiring_pictures(wiring(panel)))
    again = wiring_pictures(wiring(replace(panel)))
    assert again == wiring_pictures(wiring(panel))


def test_a_section_that_fits_on_a_sheet_is_not_torn() -> None:
    supplies = tuple(Supply(f"s{n}", 24, 10) for n in range(5))
    outputs = tuple(
        Output(f"o{n}", f"R{n}", load=Load(24, 0.1, "led"), supply=f"s{n % 5}") for n in range(20)
    )
    for picture in wiring_pictures(wiring(Program("", supplies=supplies, devices=outputs))):
        assert "to sheet" not in picture.svg


def test_an_empty_panel_has_no_drawing() -> None:
    assert wiring_pictures(wiring(Program("Nothing"))) == ()


def test_hostile_titles_stay_text() -> None:
    title = "<script>alert(1)</script>\u202e"
    panel = Program(title, devices=(Input("i", "I1", label="]]>&<b>"),))
    (picture,) = wiring_pictures(wiring(panel))
    assert "<script" not in picture.svg
    assert "\u202e" not in picture.svg
    texts = [text for text, _, _ in read(picture.svg).texts]
    assert safe(title) in texts
    assert "]]>&<b>" in texts
