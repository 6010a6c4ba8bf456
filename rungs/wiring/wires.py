"""The wire schedule: every single conductor of the panel with a number, from where to where.

Each conductor has a number of its own, so that a pulled wire can go back to only one place. The
hundreds tell what it belongs to: the supplies first, then the inputs, then the outputs.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from rungs.program.nodes import Input, Output, Program, Supply, Wire
from rungs.wiring.ferrules import Ferrule, ferrule_for
from rungs.wiring.terminals import FreeEnd, Strip, Terminal, supplies_of

UNKNOWN: Final = "unknown"
INPUT_COMMON: Final = "board input common"

PointKind = Literal["supply", "strip", "board", "contact", "load"]


@dataclass(frozen=True, slots=True)
class Point:
    """Where a wire ends.

    `supply` has the pins + and -, `contact` 1 and 2, `load` + and -; `board` none for an input, and
    C, NO or NC for a relay; `strip` none, or `fused` behind the fuse of a fuse terminal.
    """

    kind: PointKind
    name: str
    pin: str = ""

    def __str__(self) -> str:
        return self.name if self.pin in ("", "fused") else f"{self.name} {self.pin}"


@dataclass(frozen=True, slots=True)
class Conductor:
    """One row of the schedule.

    `run` is the wire as the file has it, None where it has none: then size and length are unknown,
    or, for a wire `inside` the panel, the size is, and the length is what the panel asks for.
    """

    number: int
    start: Point
    end: Point
    what: str
    device: str
    inside: bool
    run: Wire | None = None

    @property
    def size(self) -> str:
        """The conductor as written, or `unknown`."""
        return UNKNOWN if self.run is None else size_text(self.run)

    @property
    def length(self) -> str:
        """Metres one way, `panel` for a wire inside it, or `unknown`."""
        if self.inside:
            return "panel"
        return UNKNOWN if self.run is None else f"{figure(self.run.length_m)} m"

    @property
    def ferrule(self) -> Ferrule | None:
        """The ferrule of either end, if the size is known and takes one."""
        return None if self.run is None else ferrule_for(self.run)

    @property
    def ferrule_text(self) -> str:
        """Size and colour, `none (solid)`, or `unknown`."""
        if self.run is not None and not self.run.stranded:
            return "none (solid)"
        ferrule = self.ferrule
        if ferrule is None:
            return UNKNOWN if self.run is None else "over 16 mm2"
        return f"{figure(ferrule.mm2)} mm2 {ferrule.colour}"


@dataclass(frozen=True, slots=True)
class InputCircuit:
    """One input's loop: board common, `terminal` on the strip, wire `go`, contact, wire `back`,
    board terminal."""

    device: Input
    terminal: Terminal
    go: Conductor
    back: Conductor


@dataclass(frozen=True, slots=True)
class OutputCircuit:
    """One output: terminal `feed`, wire `supply_wire`, relay, wire `go`, load, wire `back`, and
    terminal `returns`.

    Without a load in the file the wire `go` ends on the free terminal `open_end`, which makes a
    pair with `returns`, and there is no wire `back`. `supply` is empty where it is not known: feed
    and return are then free terminals.
    """

    device: Output
    supply: str
    feed: Terminal
    returns: Terminal
    open_end: Terminal | None
    supply_wire: Conductor
    go: Conductor
    back: Conductor | None


@dataclass(frozen=True, slots=True)
class Schedule:
    """All conductors in the order of their numbers, and the circuits that they make."""

    wires: tuple[Conductor, ...]
    inputs: tuple[InputCircuit, ...]
    outputs: tuple[OutputCircuit, ...]


def figure(value: float) -> str:
    """A number as a person writes it."""
    return f"{value:.10g}"


def size_text(wire: Wire) -> str:
    """The conductor of a wire as the file has it, `1.5 mm2` or `18 AWG solid`."""
    return f"{figure(wire.size)} {wire.unit}{'' if wire.stranded else ' solid'}"


def schedule(program: Program, strip: Strip) -> Schedule:
    """Number and route every wire."""
    feeds = tuple(_feeds(program, strip))
    inputs: list[InputCircuit] = []
    at = _next_hundred(len(feeds))
    common = strip.group("common")
    if common is not None:
        terminals = {t.device: t for t in common.terminals}
        start = Point("board", INPUT_COMMON)
        end = Point("strip", common.terminals[0].name)
        feeds += (Conductor(at + 1, start, end, "feeds the inputs' common", "", True),)
        at += 1
        for device in program.inputs:
            inputs.append(_input(device, terminals[device.name], at))
            at += 2
    at = _next_hundred(at)
    outputs: list[OutputCircuit] = []
    known = supplies_of(program)
    for output in program.outputs:
        outputs.append(_output(strip, output, known.get(output.name), at))
        at += 3
    wires = [*feeds, *(w for c in inputs for w in (c.go, c.back))]
    for circuit in outputs:
        wires += [circuit.supply_wire, circuit.go]
        wires += [circuit.back] if circuit.back is not None else []
    return Schedule(tuple(wires), tuple(inputs), tuple(outputs))


def _next_hundred(last: int) -> int:
    return (last // 100 + 1) * 100


def _feeds(program: Program, strip: Strip) -> Iterator[Conductor]:
    number = 0
    for supply in program.supplies:
        for group, pin in zip(strip.rails(supply.name), "+-", strict=True):
            number += 1
            start = Point("supply", supply.name, pin)
            end = Point("strip", group.terminals[0].name)
            yield Conductor(number, start, end, f"feeds {pin} of {supply.name}", "", True)


def _input(device: Input, terminal: Terminal, at: int) -> InputCircuit:
    name = device.name
    pin_1, pin_2 = Point("contact", name, "1"), Point("contact", name, "2")
    strip, board = Point("strip", terminal.name), Point("board", device.terminal)
    return InputCircuit(
        device,
        terminal,
        Conductor(at + 1, strip, pin_1, "common to contact", name, False, device.wire),
        Conductor(at + 2, pin_2, board, "contact to input", name, False, device.wire),
    )


def _output(strip: Strip, output: Output, supply: Supply | None, at: int) -> OutputCircuit:
    name = output.name
    free = strip.group("free")
    ends: dict[FreeEnd | None, Terminal] = {}
    if free is not None:
        ends = {t.end: t for t in free.terminals if t.device == name}
    if supply is None:
        feed, returns = ends["feed"], ends["return"]
    else:
        plus, minus = strip.rails(supply.name)
        feed = next(t for t in plus.terminals if t.device == name)
        returns = next(t for t in minus.terminals if t.device == name)
    fed = Point("strip", feed.name, "fused" if feed.kind == "fuse" else "")
    common = Point("board", output.terminal, "C")
    contact = Point("board", output.terminal, output.side)
    first = Conductor(at + 1, fed, common, "feed to relay common", name, True)
    open_end = ends.get("load")
    if open_end is not None:
        end = Point("strip", open_end.name)
        go = Conductor(at + 2, contact, end, f"{output.side} contact to free terminal", name, True)
        return OutputCircuit(
            output, supply.name if supply else "", feed, returns, open_end, first, go, None
        )
    run = output.wire
    plus_side, minus_side = Point("load", name, "+"), Point("load", name, "-")
    go = Conductor(at + 2, contact, plus_side, f"{output.side} contact to load", name, False, run)
    back_end = Point("strip", returns.name)
    back = Conductor(at + 3, minus_side, back_end, "load to return", name, False, run)
    return OutputCircuit(
        output, supply.name if supply else "", feed, returns, None, first, go, back
    )
