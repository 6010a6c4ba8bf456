"""The wiring of a panel as the JSON that `rungs wiring --json` prints.

Apart from the lists, since pydantic takes longer to load than a wiring takes to plan.
"""

from __future__ import annotations

from typing import Literal, TypeVar

from pydantic import BaseModel

from rungs.report.model import Document
from rungs.wiring.io_list import IoRow
from rungs.wiring.parts import Part
from rungs.wiring.plan import Wiring
from rungs.wiring.terminals import Bridge, FreeEnd, Group, GroupRole, Terminal, Use
from rungs.wiring.wires import Conductor, Point, PointKind

M = TypeVar("M", bound=BaseModel)


class IoModel(BaseModel):
    """One input or output. `rest` is how the input's circuit stands with its actuator released, or
    the output's load with its coil off; `supply` and `wire` may be `unknown`."""

    terminal: str
    name: str
    direction: Literal["input", "output"]
    device: str
    contact: Literal["NO", "NC"]
    rest: Literal["open", "closed", "on", "off"]
    supply: str
    wire: str
    label: str


class TerminalModel(BaseModel):
    """A terminal of the strip and the numbers of the wires on it. `fuse_a` is null for a plain
    terminal, and for a fuse that no rating of the series fits."""

    name: str
    kind: Literal["plain", "fuse"]
    use: Use
    device: str
    fuse_a: float | None
    end: FreeEnd | None
    wires: list[int]


class GroupModel(BaseModel):
    """Terminals of one potential, each bridge as the terminals that it joins. Terminals of the
    `free` group are not joined."""

    name: str
    role: GroupRole
    supply: str
    terminals: list[TerminalModel]
    bridges: list[list[str]]


class PointModel(BaseModel):
    """Where a wire ends. `pin` is + or - at a supply or load, 1 or 2 at a contact, C, NO or NC at a
    relay, and `fused` behind the fuse of a terminal."""

    kind: PointKind
    name: str
    pin: str


class ConductorModel(BaseModel):
    """One wire. `length_m` is one way; it is null for a wire inside the panel and for one that the
    file does not have, whose `size` is then `unknown`."""

    number: int
    start: PointModel
    end: PointModel
    what: str
    device: str
    inside: bool
    size: str
    length_m: float | None
    ferrule_mm2: float | None
    ferrule_colour: str | None


class PartModel(BaseModel):
    """One row of the parts list; `quantity` is null where it is not known."""

    kind: str
    item: str
    quantity: float | None
    unit: str
    remark: str


class WiringModel(Document):
    """What `rungs wiring --json` prints. `refusal` says why nothing may be drawn; empty if it may.
    `unknown` are sentences on what the file leaves open."""

    kind: Literal["wiring"] = "wiring"
    file: str
    title: str
    refusal: str
    cautions: list[str]
    unknown: list[str]
    io: list[IoModel]
    groups: list[GroupModel]
    wires: list[ConductorModel]
    parts: list[PartModel]


def wiring_model(file: str, w: Wiring) -> WiringModel:
    """The wiring as a document."""
    on: dict[str, list[int]] = {}
    for wire in w.wires:
        for point in (wire.start, wire.end):
            if point.kind == "strip":
                on.setdefault(point.name, []).append(wire.number)
    return WiringModel(
        file=file,
        title=w.title,
        refusal=w.refusal,
        cautions=list(w.cautions),
        unknown=list(w.unknown),
        io=[_named(IoModel, row) for row in w.rows],
        groups=[_group(group, on) for group in w.strip.groups],
        wires=[_conductor(wire) for wire in w.wires],
        parts=[_named(PartModel, part) for part in w.parts],
    )


def _named(model: type[M], row: IoRow | Part) -> M:
    """A model whose fields are called as in the data."""
    return model(**{name: getattr(row, name) for name in model.model_fields})


def _group(group: Group, on: dict[str, list[int]]) -> GroupModel:
    return GroupModel(
        name=group.name,
        role=group.role,
        supply=group.supply,
        terminals=[_terminal(terminal, on.get(terminal.name, [])) for terminal in group.terminals],
        bridges=[_bridge(bridge) for bridge in group.bridges],
    )


def _bridge(bridge: Bridge) -> list[str]:
    return list(bridge.terminals)


def _terminal(terminal: Terminal, wires: list[int]) -> TerminalModel:
    return TerminalModel(
        name=terminal.name,
        kind=terminal.kind,
        use=terminal.use,
        device=terminal.device,
        fuse_a=terminal.fuse,
        end=terminal.end,
        wires=wires,
    )


def _conductor(wire: Conductor) -> ConductorModel:
    ferrule = wire.ferrule
    return ConductorModel(
        number=wire.number,
        start=_point(wire.start),
        end=_point(wire.end),
        what=wire.what,
        device=wire.device,
        inside=wire.inside,
        size=wire.size,
        length_m=None if wire.run is None else wire.run.length_m,
        ferrule_mm2=None if ferrule is None else ferrule.mm2,
        ferrule_colour=None if ferrule is None else ferrule.colour,
    )


def _point(point: Point) -> PointModel:
    return PointModel(kind=point.kind, name=point.name, pin=point.pin)
