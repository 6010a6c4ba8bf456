"""The parts list: what has to be bought or laid out before the first wire is cut.

Every quantity is counted from the strip and the schedule, never reckoned apart from them, so that
list and drawing cannot disagree.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rungs.panel.contacts import INDUCTIVE
from rungs.program.nodes import Load, Output, Program
from rungs.wiring.io_list import load_text
from rungs.wiring.terminals import Strip
from rungs.wiring.wires import UNKNOWN, Conductor, Schedule, figure, size_text

MINIATURE: Final = 10.0  # A, the largest fuse link of IEC 60127


@dataclass(frozen=True, slots=True)
class Part:
    """One row: `quantity` in `unit` (`pieces`, `m`), None if it is not known; `remark` says what
    for, and what to look at before it is bought."""

    kind: str
    item: str
    quantity: float | None
    unit: str
    remark: str

    @property
    def amount(self) -> str:
        """The quantity with its unit, or `unknown`."""
        if self.quantity is None:
            return UNKNOWN
        unit = self.unit.removesuffix("s") if self.quantity == 1 else self.unit
        return f"{figure(self.quantity)} {unit}"


def parts_of(program: Program, strip: Strip, plan: Schedule) -> tuple[Part, ...]:
    """All parts: from the supplies over the strip and the board out to the field."""
    return (
        *_supplies(program),
        *_strip(strip),
        *_fuses(strip),
        *_board(program),
        *_field(program),
        *_suppression(program),
        *_cable(plan),
        *_ferrules(plan.wires),
    )


def is_inductive(load: Load | None) -> bool:
    """Whether a load is a winding, which throws a high voltage when it is switched off."""
    return load is not None and load.kind in INDUCTIVE


def _pieces(kind: str, item: str, quantity: float | None, remark: str = "") -> Part:
    return Part(kind, item, quantity, "pieces", remark)


def _supplies(program: Program) -> Iterator[Part]:
    for s in program.supplies:
        yield _pieces("supply", f"supply {figure(s.volts)} V {figure(s.amps)} A", 1, s.name)


def _strip(strip: Strip) -> Iterator[Part]:
    every = [t for group in strip.groups for t in group.terminals]
    if not every:
        return
    kinds = Counter(t.kind for t in every)
    spare = sum(t.use == "spare" for t in every)
    if kinds["plain"]:
        remark = f"for one wire on either side; {spare} of them spare"
        yield _pieces("strip", "terminal, feed-through", kinds["plain"], remark)
    if kinds["fuse"]:
        remark = "bridged before the fuse, one wire behind it"
        yield _pieces("strip", "terminal with fuse", kinds["fuse"], remark)
    poles = Counter(len(b.terminals) for group in strip.groups for b in group.bridges)
    for pole in sorted(poles, reverse=True):
        remark = "must carry what the whole group takes"
        yield _pieces("strip", f"bridge, {pole} poles", poles[pole], remark)
    groups = len(strip.groups)
    yield _pieces("strip", "end cover", groups, "one a group, for the last terminal's open side")
    yield _pieces("strip", "group marker", groups, " ".join(g.name for g in strip.groups))
    yield _pieces("strip", "end stop", 2, "one at either end of the strip")


def _fuses(strip: Strip) -> Iterator[Part]:
    fused = [t for group in strip.groups for t in group.terminals if t.kind == "fuse"]
    for rating in sorted({t.fuse for t in fused if t.fuse is not None}):
        names = [t.device for t in fused if t.fuse == rating]
        remark = f"{', '.join(names)}; no more than its wire and its relay contact may carry"
        remark += "; in a holder for larger links" if rating > MINIATURE else ""
        yield _pieces("fuse", f"fuse {figure(rating)} A", len(names), remark)
    large = [t.device for t in fused if t.fuse is None]
    if large:
        remark = f"{', '.join(large)}; above the series of fuse links, choose a breaker"
        yield _pieces("fuse", f"fuse, rating {UNKNOWN}", len(large), remark)


def _board(program: Program) -> Iterator[Part]:
    if program.inputs:
        yield _pieces("board", "input channel for a dry contact", len(program.inputs))
    for side in ("NO", "NC"):
        used = [o for o in program.outputs if o.side == side]
        if used:
            yield _pieces("board", f"relay output, {side} contact used", len(used), _ratings(used))


def _ratings(outputs: list[Output]) -> str:
    largest = max((o.load.amps for o in outputs if o.load), default=None)
    if largest is None:
        return "loads unknown"
    return f"largest load {figure(largest)} A" + (
        ", some loads unknown" if any(o.load is None for o in outputs) else ""
    )


def _field(program: Program) -> Iterator[Part]:
    contacts: dict[str, list[str]] = {}
    for device in program.inputs:
        item = f"switch or contact, {device.actuator}, {device.side}"
        contacts.setdefault(item, []).append(device.name)
    for item, names in contacts.items():
        yield _pieces("input device", item, len(names), ", ".join(names))
    loads: dict[str, list[str]] = {}
    for output in program.outputs:
        loads.setdefault(load_text(output.load), []).append(output.name)
    for item, names in loads.items():
        yield _pieces("load", item, len(names), ", ".join(names))


def _suppression(program: Program) -> Iterator[Part]:
    """A part for each winding (relay application notes); the sizes of an RC by contact protection
    practice: 0.5 to 1 uF per A and 0.5 to 1 ohm per V."""
    for output in program.outputs:
        load = output.load
        if load is None or not is_inductive(load):
            continue
        few, many = figure(round(load.amps / 2, 3)), figure(round(load.amps, 3))
        low, high = figure(round(load.volts / 2, 1)), figure(round(load.volts, 1))
        remark = (
            f"at the {load.kind}; on dc a diode (its release becomes several times longer) or a "
            f"diode with zener, on ac an RC of {few} to {many} uF and {low} to {high} ohm, or a "
            "varistor; none if it is built in"
        )
        yield _pieces("suppression", f"suppression for {output.name}", 1, remark)


def _cable(plan: Schedule) -> Iterator[Part]:
    runs = [(c.device.name, c.go.run) for c in plan.inputs]
    runs += [(c.device.name, c.go.run) for c in plan.outputs if not c.go.inside]
    metres: dict[str, float] = {}
    for _, run in runs:
        if run is not None:
            metres[size_text(run)] = metres.get(size_text(run), 0.0) + run.length_m
    for size, total in metres.items():
        names = [name for name, run in runs if run is not None and size_text(run) == size]
        remark = f"{', '.join(names)}; add what entries and slack take"
        yield Part("cable", f"cable, 2 x {size}", round(total, 6), "m", remark)
    blank = [name for name, run in runs if run is None]
    if blank:
        remark = f"{', '.join(blank)}; write 'wire LENGTH SIZE' to have it counted"
        yield Part("cable", f"cable, 2 cores, size {UNKNOWN}", None, "m", remark)
    inside = sum(wire.inside for wire in plan.wires)
    if inside:
        yield _pieces("cable", f"wire inside the panel, size {UNKNOWN}", inside, "cut to length")


def _ferrules(wires: tuple[Conductor, ...]) -> Iterator[Part]:
    """Two a wire; an end that goes to a lug, a plug or a device's own leads needs none."""
    found: Counter[tuple[float, str]] = Counter()
    unknown = large = 0
    for wire in wires:
        if wire.ferrule is not None:
            found[(wire.ferrule.mm2, wire.ferrule.colour)] += 2
        elif wire.run is None:
            unknown += 2
        elif wire.run.stranded:
            large += 2
    for (mm2, colour), number in sorted(found.items()):
        remark = "both ends; none where a device has leads or lugs"
        yield _pieces("ferrule", f"ferrule {figure(mm2)} mm2 {colour}", number, remark)
    if large:
        remark = "beyond the colours of DIN 46228-4"
        yield _pieces("ferrule", "ferrule over 16 mm2", large, remark)
    if unknown:
        remark = "for wires of unknown size; none on solid conductors"
        yield _pieces("ferrule", f"ferrule, size {UNKNOWN}", unknown, remark)
