"""Where things stand in a wiring drawing: sections of lanes, cut into sheets, as plain data.

A lane runs straight from left to right, strip to strip, and serves one device; so a drawing of any
panel is a stack of lanes, nothing crosses, and where a sheet ends only the rails go on.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from rungs.program.nodes import Supply
from rungs.svg import SHEETS
from rungs.wiring.plan import Wiring
from rungs.wiring.terminals import Terminal
from rungs.wiring.wires import Conductor, InputCircuit, OutputCircuit, figure

# units of the drawing; one is a millimetre on A4
HEAD: Final = 24.0
FOOT: Final = 18.0
SECTION_HEAD: Final = 12.5
RAIL_NOTE: Final = 5.5  # where a rail comes from or goes to another sheet
SECTION_GAP: Final = 4.0
_HEIGHTS: Final = {"supply": 9.5, "board": 9.5, "input": 15.6, "output": 15.6, "spare": 7.0}

LaneKind = Literal["supply", "board", "input", "output", "spare"]


@dataclass(frozen=True, slots=True)
class Page:
    """A sheet of paper, landscape: its size in units of the drawing and in mm."""

    width: float
    height: float
    millimetres: tuple[float, float]


# letters are a fifth larger on A3, and a fifth more lanes go on it
PAGES: Final = {
    "A4": Page(*SHEETS["A4"], SHEETS["A4"]),
    "A3": Page(350.0, 247.5, SHEETS["A3"]),
}


@dataclass(frozen=True, slots=True)
class Lane:
    """One lane: its terminals left and right on the strip, and what lies between them.

    `wires` are those of a supply or of the board's input common.
    """

    kind: LaneKind
    left: Terminal
    right: Terminal | None = None
    circuit: InputCircuit | OutputCircuit | None = None
    wires: tuple[Conductor, ...] = ()

    @property
    def height(self) -> float:
        """From the top of this lane to the top of the next."""
        return _HEIGHTS[self.kind]


@dataclass(frozen=True, slots=True)
class Section:
    """Lanes on the same rails. `left` and `right` name the rails in short; `joined` says whether
    bridges run from lane to lane."""

    title: str
    left: str
    right: str
    lanes: tuple[Lane, ...]
    supply: Supply | None = None
    joined: bool = True


@dataclass(frozen=True, slots=True)
class Piece:
    """What of a section stands on one sheet, from height `y`; the sheets on which its rails come
    and go on, 0 for none."""

    section: Section
    lanes: tuple[Lane, ...]
    y: float
    before: int = 0
    after: int = 0


@dataclass(frozen=True, slots=True)
class Sheet:
    """One sheet, numbered from 1."""

    number: int
    pieces: tuple[Piece, ...]


def sections(w: Wiring) -> tuple[Section, ...]:
    """The inputs, then the outputs of each supply, then the outputs whose supply is not known."""
    found: list[Section] = []
    common = w.strip.group("common")
    if common is not None:
        first, *rest = common.terminals
        feed = tuple(wire for wire in w.wires if wire.end.name == first.name)
        lanes = [Lane("board", first, wires=feed)]
        lanes += [Lane("input", c.terminal, circuit=c) for c in w.inputs]
        lanes += [Lane("spare", t) for t in rest if t.use == "spare"]
        found.append(Section("Inputs", f"{common.name} common", "board", tuple(lanes)))
    found += [_supplied(w, supply) for supply in w.supplies]
    lost = [c for c in w.outputs if not c.supply]
    if lost:
        lanes = [Lane("output", c.feed, c.returns, c) for c in lost]
        name = lanes[0].left.name.split(":")[0]
        title = "Outputs whose supply is not known: feed and return end on free terminals"
        found.append(Section(title, f"{name} free", f"{name} free", tuple(lanes), joined=False))
    return tuple(found)


def _supplied(w: Wiring, supply: Supply) -> Section:
    plus, minus = w.strip.rails(supply.name)
    ends = (plus.terminals[0].name, minus.terminals[0].name)
    feed = tuple(wire for wire in w.wires if wire.end.name in ends)
    lanes = [Lane("supply", plus.terminals[0], minus.terminals[0], wires=feed)]
    lanes += [Lane("output", c.feed, c.returns, c) for c in w.outputs if c.supply == supply.name]
    spare = zip(plus.terminals, minus.terminals, strict=True)
    lanes += [Lane("spare", a, b) for a, b in spare if a.use == "spare"]
    title = f"Outputs from {supply.name}, {figure(supply.volts)} V {figure(supply.amps)} A"
    return Section(title, f"{plus.name} +", f"{minus.name} -", tuple(lanes), supply)


def sheets(w: Wiring, page: Page) -> tuple[Sheet, ...]:
    """The sections laid down the sheets. A section begins where all of its lanes find room, or
    three if it is longer than a sheet; else on a new sheet."""
    bottom = page.height - FOOT
    every: list[list[Piece]] = [[]]
    y = HEAD
    for section in sections(w):
        rest = section.lanes
        wanted = SECTION_HEAD + sum(lane.height for lane in rest)
        if wanted > bottom - HEAD:
            wanted = SECTION_HEAD + RAIL_NOTE + sum(lane.height for lane in rest[:3])
        if every[-1] and y + wanted > bottom:
            every.append([])
            y = HEAD
        before = 0
        while rest:
            top = y + SECTION_HEAD + (RAIL_NOTE if before else 0)
            count = _fitting(rest, bottom - top)
            after = len(every) + 1 if count < len(rest) else 0
            every[-1].append(Piece(section, rest[:count], y, before, after))
            y = top + sum(lane.height for lane in rest[:count]) + SECTION_GAP
            rest = rest[count:]
            if rest:
                before = len(every)
                every.append([])
                y = HEAD
    return tuple(Sheet(n, tuple(pieces)) for n, pieces in enumerate(every, 1) if pieces)


def _fitting(lanes: tuple[Lane, ...], room: float) -> int:
    """How many lanes go into a height; at least one. A sheet of nothing but spare terminals is
    kept from following by taking one device less."""
    if sum(lane.height for lane in lanes) <= room:
        return len(lanes)
    room -= RAIL_NOTE
    count = 0
    while count < len(lanes) and lanes[count].height <= room:
        room -= lanes[count].height
        count += 1
    while count > 1 and all(lane.kind == "spare" for lane in lanes[count:]):
        count -= 1
    return max(count, 1)
