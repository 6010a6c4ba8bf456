"""Contact duty: each load held against what the board's relay contacts are rated for.

A contact is worn and welded by what happens when it closes and opens, which the amps of a load do
not show; where that is not known the duty is unknown, however small the amps.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final

from rungs.language.words import LOAD_KINDS
from rungs.panel.verdict import Verdict, together
from rungs.program.nodes import Load, Output, Program

if TYPE_CHECKING:
    # takes longer to load than the sums take
    from rungs.table.board import Board

INDUCTIVE: Final = ("coil", "motor", "valve")
# Cold tungsten draws 10 to 15 times its running current for some ms (lamp practice).
LAMP_INRUSH: Final = (10, 15)


@dataclass(frozen=True, slots=True)
class Duty:
    """One contact: its load, the rating that counts for it, and the verdict with its reasons.

    `rating_amps` is None without a board or a load. `surge` says what the contact sees when it
    closes or opens.
    """

    output: str
    terminal: str
    side: str
    kind: str
    volts: float | None
    amps: float | None
    counts_as: str
    rating_amps: float | None
    rating_volts: float | None
    surge: str
    verdict: Verdict
    why: str


def duties(program: Program, board: Board | None) -> tuple[Duty, ...]:
    """The duty of every output's contact in file order."""
    return tuple(_duty(output, board) for output in program.outputs)


def _duty(output: Output, board: Board | None) -> Duty:
    load = output.load
    counts_as = _counts_as(load)
    rating = None
    if board is not None and load is not None:
        inductive, resistive = board.relays.inductive_amps, board.relays.resistive_amps
        ratings = {"inductive": inductive, "unknown": min(inductive, resistive)}
        rating = ratings.get(counts_as, resistive)
    found = list(_judged(output, board, rating))
    return Duty(
        output.name,
        output.terminal,
        output.side,
        "unknown" if load is None else load.kind,
        None if load is None else load.volts,
        None if load is None else load.amps,
        counts_as,
        rating,
        None if board is None else board.relays.volts,
        _surge(load),
        together(verdict for verdict, _ in found),
        "; ".join(dict.fromkeys(why for _, why in found if why)),
    )


def _counts_as(load: Load | None) -> str:
    """The rating of a board file that counts for a load."""
    if load is None or load.kind not in LOAD_KINDS:
        return "unknown"
    return "inductive" if load.kind in INDUCTIVE else "resistive"


def _surge(load: Load | None) -> str:
    if load is None:
        return "unknown"
    match load.kind:
        case "lamp":
            low, high = (load.amps * times for times in LAMP_INRUSH)
            return f"{low:.3g} to {high:.3g} A at switching on (10 to 15 times)"
        case "led" | "electronic":
            return "capacitive at switching on, unknown: ask its maker"
        case "motor":
            return "starting current, several times the running one, unknown: ask its maker"
        case "coil" | "valve":
            return "a voltage spike at switching off"
        case "resistive":
            return "none"
    return "unknown"


def _judged(
    output: Output, board: Board | None, rating: float | None
) -> Iterator[tuple[Verdict, str]]:
    """A verdict and its reason for each thing that there is to hold against the board."""
    load = output.load
    if board is None:
        yield "unknown", "no board is named: give --board NAME"
    if load is None:
        yield "unknown", "write its load, such as: load 24 V 1.2 A led"
    if board is not None:
        yield from _on_board(output, board)
    if board is None or load is None or rating is None:
        return
    if load.volts > board.relays.volts:
        yield "fail", f"{load.volts:g} V, and the contacts are for {board.relays.volts:g} V at most"
    if load.amps > rating:
        yield "fail", f"{load.amps:g} A, and the rating for it is {rating:g} A"
        return
    match load.kind:
        case "resistive" | "coil" | "valve":
            yield "pass", ""
        case "lamp":
            surge = load.amps * LAMP_INRUSH[1]
            if surge <= rating:
                yield "pass", ""
            else:
                words = f"its inrush may come to {surge:.3g} A, and the board file has no rating"
                yield "unknown", f"{words} for making: ask the board's maker"
        case "led" | "electronic" | "motor":
            yield "unknown", "its amps are within the rating, its inrush is unknown: ask its maker"
        case _:
            yield "unknown", "its kind is unknown: write one of " + ", ".join(LOAD_KINDS)


def _on_board(output: Output, board: Board) -> Iterator[tuple[Verdict, str]]:
    if output.side not in board.relays.contacts:
        yield "fail", f"the board brings out no {output.side} contact"
    terminals = {name.casefold() for name in board.relays.terminals}
    if output.terminal.casefold() not in terminals:
        yield "unknown", f"the board has no relay terminal {output.terminal}"
