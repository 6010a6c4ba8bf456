"""The points of a panel one by one: every input at its terminal, every relay at its load.

Wiring is checked before logic, since a function that fails for a crossed pair of wires teaches
nothing about the program.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Final

from rungs.checkout.plan import Step
from rungs.checkout.words import moved, placed, sight
from rungs.program.nodes import Input, Output, Program, leaves

MOVING: Final = ("motor", "coil", "valve")  # kinds of load that can set something in motion


def input_steps(program: Program) -> Iterator[Step]:
    """Each input operated and released; an NC one with its wire pulled as well.

    What is to be seen is the board's own lamp or row for the terminal, so no relay is listed.
    """
    for device in program.inputs:
        closed = device.side == "NC"
        rungs = _readers(program, device)
        yield _input(device, moved(device, True), not closed, "operated", rungs)
        yield _input(device, moved(device, False), closed, "at rest", rungs)
        if closed:
            yield Step(
                "inputs",
                (f"Take one wire of {placed(device)} off its terminal",),
                (),
                rungs=rungs,
                terminals=(device.terminal,),
                notes=(
                    f"{device.terminal} shows OFF (circuit open): a broken wire reads as operated",
                    "Put the wire back and see the terminal ON again",
                ),
            )


def _input(device: Input, do: str, closed: bool, how: str, rungs: tuple[int, ...]) -> Step:
    shows = "ON (circuit closed)" if closed else "OFF (circuit open)"
    notes = [f"{device.terminal} shows {shows}: {device.side}, {how}"]
    if device.debounce:
        notes.append(f"after its debounce of {device.debounce}ms")
    return Step("inputs", (do,), (), rungs=rungs, terminals=(device.terminal,), notes=tuple(notes))


def _readers(program: Program, device: Input) -> tuple[int, ...]:
    return tuple(
        rung.number
        for rung in program.rungs
        if any(leaf.name == device.name for leaf in leaves(rung.circuit))
    )


def relay_steps(
    program: Program, switched: Mapping[str, tuple[int | None, int | None]]
) -> Iterator[Step]:
    """Each relay on and off by the board's force or test function. `switched` has for each output
    the numbers of the steps in which the logic first switches it on and off, if one does."""
    for device in program.outputs:
        for on in (True, False):
            first = switched.get(device.name, (None, None))[0 if on else 1]
            by_logic = "no step of this plan does it by the logic"
            if first is not None:
                by_logic = f"by the logic: step {first} of this plan"
            load = "no load is declared" if device.load is None else _load(device)
            notes = [f"Without such a function, {by_logic}", load]
            if on and device.load is not None and device.load.kind in MOVING:
                notes.append("Something may start to move: keep people clear")
            yield Step(
                "relays",
                (
                    f"Switch {placed(device)} {'on' if on else 'off'} with the board's force or"
                    " test function",
                ),
                (sight(device, on),),
                rungs=_drivers(program, device),
                terminals=(device.terminal,),
                notes=tuple(notes),
            )


def _load(device: Output) -> str:
    side = "coil on: load off" if device.side == "NC" else "coil on: load on"
    label = f", {device.label}" if device.label else ""
    assert device.load is not None
    return f"{device.side} contact, {side} ({device.load.kind}{label})"


def _drivers(program: Program, device: Output) -> tuple[int, ...]:
    return tuple(
        rung.number
        for rung in program.rungs
        if any(action.name == device.name for action in rung.actions)
    )
