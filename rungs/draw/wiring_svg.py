"""The wiring drawing: sheets of lanes from supply plus, over relay and load, to supply minus.

One device is one lane and its words stand at the end of it, so that somebody in front of an open
panel can put a finger on a line and follow it.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise
from typing import Final, assert_never

from rungs.cells import columns, cut, fold, safe
from rungs.draw.wiring_plan import (
    HEAD,
    PAGES,
    RAIL_NOTE,
    SECTION_HEAD,
    Lane,
    Page,
    Piece,
    Section,
    Sheet,
    sheets,
)
from rungs.draw.wiring_symbols import (
    HEAVY,
    LOAD_REACH,
    SIZE,
    THIN,
    actuator,
    contact,
    drawn,
    frame,
    fuse,
    load,
    run,
    shape_of,
    suppression,
)
from rungs.papers.blocks import Picture
from rungs.program.nodes import Input, Output
from rungs.svg import EDGE, GRID, LETTER, PAPER, PaperSize, box, document, number, path, tag, words
from rungs.wiring.io_list import load_text
from rungs.wiring.parts import is_inductive
from rungs.wiring.plan import ISOLATE, Wiring
from rungs.wiring.terminals import Terminal
from rungs.wiring.wires import UNKNOWN, Conductor, InputCircuit, OutputCircuit, figure

# the columns of a lane, from left to right
_LEFT: Final = 14.0  # room for the holes of a folder
_MARGIN: Final = 10.0
_STRIP: Final = (20.0, 36.0)
_FUSE: Final = (40.0, 49.0)
_FEED_LABEL: Final = 60.0  # the middle of the wire from the strip to the relay
_RELAY: Final = (68.0, 99.0)
_EDGE: Final = (102.0, 157.0)  # of the panel: the field lies between
_GO_LABEL: Final = 115.5
_GO_LETTERS: Final = 14
_FIELD: Final = 137.0  # the middle of contact or load
_OPEN: Final = (128.0, 144.0)  # the free terminal of a load that is not known
_BACK_LABEL: Final = 150.0
_BOARD: Final = (160.0, 188.0)
_RETURN: Final = (160.0, 176.0)
_WORDS: Final = 192.0
_TERMINAL_HIGH: Final = 5.0
_PITCH: Final = 3.8  # from line to line
_BASE: Final = 1.05  # from the middle of a line of text down to its baseline

_LEGEND: Final = (
    "heavy bar: bridge",
    "cap: momentary",
    "bar with notch: maintained",
    "S: suppression part",
    "C: relay common",
    "dashed line: edge of the panel",
)
_AT_REST: Final = "Drawn at rest: no power, actuators released, relay coils off."


def wiring_pictures(w: Wiring, paper: PaperSize = "A4") -> tuple[Picture, ...]:
    """The drawing as one picture a sheet, landscape; none for a panel that must not be drawn, or in
    which nothing is wired.

    SVG 1.1 in millimetres of the paper; the same wiring always gives the same pictures. Names and
    labels that find no room are folded, and at last cut with a sign: the lists have them whole.
    """
    if w.refusal:
        return ()
    page = PAGES[paper]
    every = sheets(w, page)
    return tuple(_picture(w, page, sheet, len(every)) for sheet in every)


def _picture(w: Wiring, page: Page, sheet: Sheet, count: int) -> Picture:
    titles = [piece.section.title for piece in sheet.pieces]
    of = f"sheet {sheet.number} of {count}"
    said = f"Wiring drawing, {of}: {'; '.join(titles)}"
    body = [*_frame_of_sheet(w, page, of)]
    for piece in sheet.pieces:
        body += _piece(piece, page)
    svg = document(
        page.width,
        page.height,
        f"{safe(w.title) or 'Panel'}: wiring, {of}",
        f"{said}. {ISOLATE}",
        body,
        page.millimetres,
    )
    return Picture(f"sheet-{sheet.number}", svg, said)


# --- the sheet


def _letters(room: float, size: float = SIZE) -> int:
    return max(int(room / (size * LETTER) + 1e-6), 2)


def _frame_of_sheet(w: Wiring, page: Page, of: str) -> Iterator[str]:
    right = page.width - _MARGIN
    yield box(0, 0, page.width, page.height, "paper", PAPER)
    room = right - _LEFT - (len(of) + 3) * 3.6 * LETTER
    title = safe(w.title) or "Panel"
    yield words(_LEFT, 14, cut(title, _letters(room, 5), tail=0), 5, weight="bold")
    yield words(right, 14, of, 3.6, anchor="end")
    yield words(_LEFT, 19.5, f"Wiring drawing. {_AT_REST}", SIZE, soft=True)
    yield path(f"M{number(_LEFT)} {number(HEAD - 3)}H{number(right)}", THIN)
    foot = page.height - 16
    yield path(f"M{number(_LEFT)} {number(foot)}H{number(right)}", THIN)
    yield words(_LEFT, foot + 4.6, " \u00b7 ".join(_LEGEND), SIZE, soft=True)
    yield words(_LEFT, foot + 9.6, ISOLATE, 3.4, weight="bold")


def _piece(piece: Piece, page: Page) -> Iterator[str]:
    section, y = piece.section, piece.y
    room = page.width - _MARGIN - _LEFT
    title = section.title + (", continued" if piece.before else "")
    yield words(_LEFT, y + 4, cut(safe(title), _letters(room, 3.6), tail=11), 3.6, weight="bold")
    yield from _column_heads(section, y + 9.4)
    y += SECTION_HEAD
    if piece.before:
        y += RAIL_NOTE
    middles: list[float] = []
    for lane in piece.lanes:
        middles.append(y + _wire_height(lane))
        yield "<g>"
        yield from _lane(lane, section, y, middles[-1], page)
        yield "</g>"
        y += lane.height
    if section.joined:
        yield from _rails(piece, middles, y)


def _column_heads(section: Section, y: float) -> Iterator[str]:
    yield words(_LEFT, y, section.left, SIZE, weight="bold")
    is_input = section.right == "board"
    if not is_input:
        yield words(sum(_RELAY) / 2, y, "relay of the board", SIZE, soft=True, anchor="middle")
    if any(lane.circuit is not None for lane in section.lanes):
        yield words(_FIELD, y, "field", SIZE, soft=True, anchor="middle")
    yield words(_RETURN[0], y, section.right, SIZE, weight="bold")
    yield words(_WORDS, y, "device", SIZE, soft=True)


def _wire_height(lane: Lane) -> float:
    """From the top of a lane down to its wire."""
    match lane.kind:
        case "input":
            return 9.0
        case "output":
            return 6.2
        case "supply" | "board" | "spare":
            return 3.5
        case _:
            assert_never(lane.kind)


def _rails(piece: Piece, middles: list[float], bottom: float) -> Iterator[str]:
    """The bridges from terminal to terminal, and where they come from and go to."""
    sides = [_STRIP] if piece.lanes[0].right is None else [_STRIP, _RETURN]
    half = _TERMINAL_HIGH / 2
    for side in sides:
        x = sum(side) / 2
        ends = pairwise(middles)
        bars = [(a + half, b - half) for a, b in ends]
        if piece.before:
            top = piece.y + SECTION_HEAD
            bars.insert(0, (top, middles[0] - half))
            yield words(x + 3, top + 3.6, f"from sheet {piece.before}", SIZE)
        if piece.after:
            bars.append((middles[-1] + half, bottom + RAIL_NOTE))
            yield words(x + 3, bottom + 4.2, f"to sheet {piece.after}", SIZE)
        d = "".join(f"M{number(x)} {number(a)}V{number(b)}" for a, b in bars)
        if d:
            yield drawn(d, HEAVY)


# --- lanes


def _lane(lane: Lane, section: Section, top: float, y: float, page: Page) -> Iterator[str]:
    yield from _terminal(lane.left, _STRIP, y)
    if lane.right is not None:
        yield from _terminal(lane.right, _RETURN, y)
    match lane.circuit:
        case InputCircuit():
            yield tag("title", f"{lane.circuit.device.name}: {_input_words(lane.circuit)}")
            yield from _input(lane.circuit, top, y)
            yield from _said(lane.circuit.device, _input_words(lane.circuit), top, page)
        case OutputCircuit():
            yield tag("title", f"{lane.circuit.device.name}: {_output_words(lane.circuit)}")
            yield from _output(lane.circuit, top, y)
            yield from _said(lane.circuit.device, _output_words(lane.circuit), top, page)
        case None:
            yield from _between(lane, section, y)
        case _:
            assert_never(lane.circuit)


def _terminal(terminal: Terminal, at: tuple[float, float], y: float) -> Iterator[str]:
    yield frame(at[0], y - _TERMINAL_HIGH / 2, at[1] - at[0], _TERMINAL_HIGH)
    name = cut(terminal.name, _letters(at[1] - at[0] - 1))
    yield words(sum(at) / 2, y + _BASE, name, SIZE, anchor="middle")


def _between(lane: Lane, section: Section, y: float) -> Iterator[str]:
    """What feeds a pair of rails, or the word at spare terminals."""
    if lane.kind == "spare":
        yield words(_STRIP[1] + 3, y + _BASE, "spare", SIZE, soft=True)
        if lane.right is not None:
            yield words(_RETURN[1] + 3, y + _BASE, "spare", SIZE, soft=True)
        return
    if lane.kind == "board":
        yield from _numbered(lane.wires[0], _STRIP[1], _BOARD[0], y, 98)
        yield frame(_BOARD[0], y - _TERMINAL_HIGH / 2, _BOARD[1] - _BOARD[0], _TERMINAL_HIGH)
        yield words(sum(_BOARD) / 2, y + _BASE, "input common", SIZE, anchor="middle")
        text = "of the board; which pole it is, its papers say"
        yield words(_WORDS, y + _BASE, text, SIZE, soft=True)
        return
    assert section.supply is not None  # since this is a supply's lane
    supply = section.supply
    left, right = _RELAY[0], 144.0
    yield frame(left, y - 3, right - left, 6)
    yield words(left + 1.5, y + _BASE, "+", SIZE)
    yield words(right - 1.5, y + _BASE, "-", SIZE, anchor="end")
    rating = f"{figure(supply.volts)} V {figure(supply.amps)} A"
    room = _letters(right - left - 10) - len(rating) - 1
    text = f"{cut(safe(supply.name), max(room, 2))} {rating}"
    yield words((left + right) / 2, y + _BASE, text, SIZE, anchor="middle")
    yield from _numbered(lane.wires[0], _STRIP[1], left, y, 52)
    yield from _numbered(lane.wires[1], right, _RETURN[0], y, (right + _RETURN[0]) / 2)


def _numbered(wire: Conductor, x1: float, x2: float, y: float, at: float) -> Iterator[str]:
    """A wire with its number above it."""
    yield run(x1, x2, y)
    yield words(at, y - 1, str(wire.number), SIZE, anchor="middle")


def _field_wire(wire: Conductor, x1: float, x2: float, y: float) -> Iterator[str]:
    """The wire out to the field, with number, size and length."""
    yield from _numbered(wire, x1, x2, y, _GO_LABEL)
    if wire.inside:
        return
    said = [wire.size, wire.length] if wire.run is not None else [f"wire {UNKNOWN}"]
    for n, text in enumerate(said):
        shown = cut(safe(text), _GO_LETTERS, tail=0)
        yield words(_GO_LABEL, y + 3.3 + _PITCH * n, shown, SIZE, anchor="middle")


def _edges(top: float) -> Iterator[str]:
    """The edge of the panel on either side of the field."""
    for x in _EDGE:
        yield path(f"M{number(x)} {number(top + 1)}v14", THIN, "line", EDGE, dash="2 1.2")


def _input(circuit: InputCircuit, top: float, y: float) -> Iterator[str]:
    device = circuit.device
    x1, x2 = _FIELD - 6, _FIELD + 6
    yield from _edges(top)
    yield from _field_wire(circuit.go, _STRIP[1], x1, y)
    yield from contact(x1, x2, y, device.side)
    yield from actuator(_FIELD, y - 1.6, device.actuator)
    yield words(x1 - 1, y + 3.3, "1", SIZE, soft=True, anchor="middle")
    yield words(x2 + 1, y + 3.3, "2", SIZE, soft=True, anchor="middle")
    yield from _numbered(circuit.back, x2, _BOARD[0], y, _BACK_LABEL)
    yield frame(_BOARD[0], y - _TERMINAL_HIGH / 2, _BOARD[1] - _BOARD[0], _TERMINAL_HIGH)
    name = cut(safe(device.terminal), _letters(_BOARD[1] - _BOARD[0] - 1))
    yield words(sum(_BOARD) / 2, y + _BASE, name, SIZE, anchor="middle")


def _output(circuit: OutputCircuit, top: float, y: float) -> Iterator[str]:
    device = circuit.device
    if circuit.feed.kind == "fuse":
        yield run(_STRIP[1], _FUSE[0], y)
        yield from fuse(*_FUSE, y)
        rating = "? A" if circuit.feed.fuse is None else f"{figure(circuit.feed.fuse)} A"
        yield words(sum(_FUSE) / 2, y - 2.3, rating, SIZE, anchor="middle")
    start = _FUSE[1] if circuit.feed.kind == "fuse" else _STRIP[1]
    yield from _numbered(circuit.supply_wire, start, _RELAY[0], y, _FEED_LABEL)
    yield from _relay(circuit, y)
    if circuit.open_end is not None:
        yield from _field_wire(circuit.go, _RELAY[1], _OPEN[0], y)
        yield from _terminal(circuit.open_end, _OPEN, y)
        return
    assert device.load is not None  # since there is no open end
    assert circuit.back is not None
    yield from _edges(top)
    x1, x2 = _FIELD - LOAD_REACH, _FIELD + LOAD_REACH
    yield from _field_wire(circuit.go, _RELAY[1], x1, y)
    yield from load(_FIELD, y, shape_of(device.load.kind))
    if is_inductive(device.load):
        yield from suppression(_FIELD, y)
    yield words(x1 - 1.4, y + 3.3, "+", SIZE, soft=True, anchor="middle")
    yield words(x2 + 1.4, y + 3.3, "-", SIZE, soft=True, anchor="middle")
    yield from _numbered(circuit.back, x2, _RETURN[0], y, _BACK_LABEL)


def _relay(circuit: OutputCircuit, y: float) -> Iterator[str]:
    """The board's relay: its contact, with the names of its terminals under the wire."""
    left, right = _RELAY
    middle = (left + right) / 2
    yield frame(left, y - 4.6, right - left, 10.2)
    yield run(left, middle - 6, y)
    yield from contact(middle - 6, middle + 6, y, circuit.device.side)
    yield run(middle + 6, right, y)
    yield words(left + 1.4, y + 4, "C", SIZE, soft=True)
    yield words(right - 1.4, y + 4, circuit.device.side, SIZE, soft=True, anchor="end")
    name = cut(safe(circuit.device.terminal), 9)
    yield words(middle - 1, y + 4, name, SIZE, weight="bold", anchor="middle")


# --- words


def _input_words(circuit: InputCircuit) -> str:
    device = circuit.device
    rest = "open" if device.side == "NO" else "closed"
    return f"{device.actuator} {device.side} contact, {rest} at rest"


def _output_words(circuit: OutputCircuit) -> str:
    device = circuit.device
    rest = "on" if device.side == "NC" else "off"
    said = f"{load_text(device.load)} on {device.side}"
    if circuit.open_end is not None:
        return f"{said}: {circuit.open_end.name} and {circuit.returns.name}"
    return f"{said}, {rest} at rest"


def _said(device: Input | Output, kind: str, top: float, page: Page) -> Iterator[str]:
    """Terminal and name, on a line each where they are long, kind, and the label in what is left of
    four lines."""
    right = page.width - _MARGIN
    yield path(f"M{number(_WORDS)} {number(top)}H{number(right)}", THIN, "grid", GRID)
    letters = _letters(right - _WORDS)
    terminal, name = safe(device.terminal), safe(device.name)
    both = f"{terminal} {name}"
    heads = [both] if columns(both) <= letters else [cut(terminal, letters), cut(name, letters)]
    shown = [*heads, cut(safe(kind), letters)]
    if device.label.strip():
        lines = fold(safe(device.label), letters)
        room = 4 - len(shown)
        rest = " ".join(lines[room - 1 :])
        shown += [*lines[: room - 1], *([cut(rest, letters, tail=0)] if rest else [])]
    for n, line in enumerate(shown):
        head = n < len(heads)
        weight = "bold" if head else ""
        soft = n == len(heads)
        yield words(_WORDS, top + 3.2 + _PITCH * n, line, SIZE, soft=soft, weight=weight)
