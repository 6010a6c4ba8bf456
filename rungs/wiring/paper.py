"""The wiring as papers: the I/O list alone, and terminal plan, wire schedule and parts list.

Pictures are made further up and handed in, so that the lists stand without them.
"""

from __future__ import annotations

from dataclasses import replace

from rungs.papers.blocks import Block, Caution, Heading, Paper, Paragraph, Picture, Points, Table
from rungs.wiring.plan import Wiring
from rungs.wiring.terminals import Group, Terminal
from rungs.wiring.wires import INPUT_COMMON, UNKNOWN, Conductor, Point, figure

_ROLE = {"plus": "{} +", "minus": "{} -", "common": "common of inputs", "free": "free"}


def io_paper(w: Wiring) -> Paper:
    """The I/O list."""
    blocks: list[Block] = [Caution(text) for text in w.cautions[:1]]
    blocks.append(_warned(io_table(w), w))
    return Paper("io-list", _title("I/O list", w), tuple(blocks))


def wiring_paper(w: Wiring, pictures: tuple[Picture, ...] = ()) -> Paper:
    """Everything for whoever wires the panel, with the drawing if it is handed in."""
    blocks: list[Block] = [Caution(text) for text in w.cautions]
    blocks += [Heading("What the file leaves open"), Points(w.unknown)]
    if pictures:
        blocks += [Heading("Drawing"), *pictures]
    blocks += [Heading("I/O list"), _warned(io_table(w), w)]
    blocks += [Heading("Terminal plan"), Paragraph(_STRIP_WORDS)]
    blocks += [_warned(strip_table(w), w), _warned(board_table(w), w)]
    blocks += [Heading("Wire schedule"), Paragraph(_WIRE_WORDS), _warned(wire_table(w), w)]
    blocks += [Heading("Parts list"), _warned(parts_table(w), w)]
    return Paper("wiring", _title("Wiring", w), tuple(blocks))


_STRIP_WORDS = (
    "Each group is one potential, joined by bridges over adjacent terminals, but for free ones, "
    "which nothing joins. No terminal takes more than two wires, one on either side; a terminal "
    "with a fuse is bridged before the fuse and takes one wire behind it."
)
_WIRE_WORDS = (
    "The length is one way, out of the panel to the device; 'panel' is a wire inside it. Both "
    "wires of a device are the two cores of one cable. Ferrules are by DIN 46228-4, for stranded "
    "conductors: for a gauge the smallest size in mm2 that takes it."
)


def _title(what: str, w: Wiring) -> str:
    return f"{what}: {w.title}" if w.title else what


def _warned(table: Table, w: Wiring) -> Table:
    """A list of a panel that must not be drawn says so in each row, since a row may be copied and a
    sheet is written without the sentences around it."""
    if not w.refusal:
        return table
    rows = tuple((*row, "do not wire: above 50 V beside extra-low voltage") for row in table.rows)
    return replace(table, columns=(*table.columns, "caution"), rows=rows)


def io_table(w: Wiring) -> Table:
    """Each terminal of the board with its device."""
    columns = (
        "terminal",
        "name",
        "direction",
        "contact or load",
        "NO/NC",
        "at rest",
        "supply",
        "wire",
        "label",
    )
    rows = tuple(
        (
            row.terminal,
            row.name,
            row.direction,
            row.device,
            row.contact,
            f"circuit {row.rest}" if row.direction == "input" else f"load {row.rest}",
            row.supply,
            row.wire,
            row.label,
        )
        for row in w.rows
    )
    return Table("io-list", columns, rows, "Inputs and outputs of the board")


def group_text(group: Group) -> str:
    """What a group carries: `main +`."""
    return _ROLE[group.role].format(group.supply)


def strip_table(w: Wiring) -> Table:
    """Each terminal of the strip: what it carries, how it is bridged, and the wires on it."""
    columns = ("terminal", "carries", "kind", "for", "bridge", "wires")
    on = wires_at(w)
    rows = tuple(
        (
            terminal.name,
            group_text(group),
            kind_text(terminal),
            _for_text(terminal, group, w),
            _bridge_text(group, terminal),
            _numbers(on.get(terminal.name, [])),
        )
        for group in w.strip.groups
        for terminal in group.terminals
    )
    return Table("terminals", columns, rows, "Terminals of the strip")


def wires_at(w: Wiring) -> dict[str, list[Conductor]]:
    """The wires on each terminal of the strip, by its name."""
    on: dict[str, list[Conductor]] = {}
    for wire in w.wires:
        for point in (wire.start, wire.end):
            if point.kind == "strip":
                on.setdefault(point.name, []).append(wire)
    return on


def kind_text(terminal: Terminal) -> str:
    """`feed-through`, or the fuse."""
    if terminal.kind == "plain":
        return "feed-through"
    rating = UNKNOWN if terminal.fuse is None else f"{figure(terminal.fuse)} A"
    return f"fuse {rating}"


def _for_text(terminal: Terminal, group: Group, w: Wiring) -> str:
    if terminal.use == "spare":
        return "spare"
    if terminal.use == "feed":
        return "from the board" if group.role == "common" else f"from supply {group.supply}"
    where = next(row.terminal for row in w.rows if row.name == terminal.device)
    ends = {"feed": ", feed", "load": ", load side", "return": ", return", None: ""}
    return f"{terminal.device} ({where}){ends[terminal.end]}"


def _bridge_text(group: Group, terminal: Terminal) -> str:
    spans = [
        f"{bridge.terminals[0]} to {bridge.terminals[-1]}"
        for bridge in group.bridges
        if terminal.name in bridge.terminals
    ]
    return ", ".join(spans) or "none"


def board_table(w: Wiring) -> Table:
    """Each terminal of the board with its wire, in the order of the I/O list."""
    on: dict[Point, list[Conductor]] = {}
    for wire in w.wires:
        for point in (wire.start, wire.end):
            if point.kind == "board":
                on.setdefault(point, []).append(wire)
    order = [INPUT_COMMON, *(row.terminal for row in w.rows)]
    found = sorted(on, key=lambda point: (order.index(point.name), point.pin != "C"))
    rows = tuple(
        (str(point), ", ".join(sorted({wire.device for wire in on[point]})), _numbers(on[point]))
        for point in found
    )
    columns = ("board terminal", "for", "wires")
    return Table("board", columns, rows, "Terminals of the board; C is the common of a relay")


def _numbers(wires: list[Conductor]) -> str:
    return ", ".join(str(wire.number) for wire in wires) or "none"


def wire_table(w: Wiring) -> Table:
    """Each wire from where to where."""
    columns = ("wire", "from", "to", "what", "device", "size", "ferrule", "length")
    rows = tuple(
        (
            str(wire.number),
            str(wire.start),
            str(wire.end),
            wire.what,
            wire.device,
            wire.size,
            wire.ferrule_text,
            wire.length,
        )
        for wire in w.wires
    )
    return Table("wires", columns, rows, "Wires in the order of their numbers", (0,))


def parts_table(w: Wiring) -> Table:
    """Each part with its quantity."""
    columns = ("part", "item", "quantity", "remark")
    rows = tuple((part.kind, part.item, part.amount, part.remark) for part in w.parts)
    return Table("parts", columns, rows, "Parts", (2,))
