"""What to do and what to see, in words that are read aloud beside an open cabinet."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Final

from rungs.checkout.board import LEAD, BoardTable, ClockEdge, ClockLore
from rungs.checkout.graph import Deed, Scan
from rungs.checkout.plan import Sight
from rungs.language.words import WEEKDAYS, clock_text, duration_text
from rungs.program.nodes import Input, Output, Program
from rungs.prove.clocks.timeline import Vector
from rungs.scan.reference import State

_SECOND: Final = 1_000


def placed(device: Input | Output) -> str:
    """A device by its name and terminal: `call_button (I3)`."""
    return f"{device.name} ({device.terminal})"


def moved(device: Input, operated: bool) -> str:
    """How an actuator is moved."""
    if not operated:
        return f"Release {placed(device)}"
    if device.actuator == "momentary":
        return f"Press and hold {placed(device)}"
    return f"Operate {placed(device)}"


def listed(words: Sequence[str]) -> str:
    """`a`, `a and b`, `a, b and c`."""
    return " and ".join([", ".join(words[:-1]), words[-1]] if len(words) > 1 else words)


def is_operated(device: Input, closed: bool) -> bool:
    """Whether an input whose circuit is closed, or not, is operated."""
    return closed != (device.side == "NC")


def sights(program: Program, contacts: dict[str, bool]) -> tuple[Sight, ...]:
    """Every relay of the panel, and its load where one is declared."""
    return tuple(sight(device, contacts[device.name]) for device in program.outputs)


def sight(device: Output, coil: bool) -> Sight:
    """One relay, and its load where one is declared."""
    load = None if device.load is None else coil != (device.side == "NC")
    return Sight(device.name, device.terminal, coil, load)


def sight_text(sight: Sight) -> str:
    """`R5 walkway ON, load on`."""
    load = "" if sight.load is None else f", load {'on' if sight.load else 'off'}"
    return f"{sight.terminal} {sight.output} {'ON' if sight.coil else 'off'}{load}"


def seen_text(now: Sequence[Sight], before: Sequence[Sight] | None) -> str:
    """All relays where nothing came before, else those that change, for a quick and sure look."""
    if before is None or len(before) != len(now):
        return "; ".join(map(sight_text, now))
    changed = [one for one, other in zip(now, before, strict=True) if one != other]
    if not changed:
        return "no relay changes"
    rest = "" if len(changed) == len(now) else "; all others as before"
    return "; ".join(map(sight_text, changed)) + rest


def timer_words(board: BoardTable, timers: int) -> list[str]:
    """The timers of a word, each with its time: `linger (1min30s)`."""
    return [
        f"{timer.name} ({duration_text(timer.preset_ms)})"
        for i, timer in enumerate(board.table.timers)
        if timers >> i & 1
    ]


class Teller:
    """Says the deeds of one walk in their order. Clocks go from date to date, so that a board that
    remembers what it has done has not yet done what is waited for."""

    def __init__(self, program: Program, board: BoardTable, lore: ClockLore) -> None:
        self.program = program
        self.board = board
        self.lore = lore
        self._used: dict[object, int] = {}

    def deed(self, deed: Deed, image: int) -> tuple[str, ...]:
        """What to do, with the images that come of it."""
        match deed.kind:
            case "power":
                found = ["Leave every input released"]
                found += self._set(deed)
                return (*found, "Switch the power on")
            case "cut":
                return ("Cut the power, wait 5s, bring it back",)
            case "dark":
                return ("Cut the power", *self._set(deed), "Bring the power back")
            case "move":
                device = self._input(deed.which)
                closed = bool(image & self.board.input_weights[deed.which])
                return (moved(device, is_operated(device, closed)),)
            case "wait":
                return (f"Wait for {listed(timer_words(self.board, deed.which))}",)
            case "set":
                return tuple(self._set(deed))
            case "edge":
                assert deed.edge is not None
                return self._edge(deed.edge, deed.place)
            case _:
                raise AssertionError("a scan that no hand makes is told by `scan`")

    def _input(self, place: int) -> Input:
        device = self.program.by_name[self.board.inputs[place].name]
        assert isinstance(device, Input)
        return device

    def _next(self, key: object, at: Sequence[int]) -> int | None:
        """The next of some dates, each in its turn."""
        if not at:
            return None
        turn = self._used.get(key, 0)
        self._used[key] = turn + 1
        return at[turn % len(at)]

    def _set(self, deed: Deed) -> list[str]:
        vector = deed.vector
        if deed.place >= 0:
            at: int | None = self.lore.places[deed.place].before
        else:
            at = self._next(vector, self.lore.inside.get(vector, ()))
        if at is None or self.lore.line is None:
            return []
        return [f"Set the board's clock to {self._wall(at)}{self._shows(vector)}"]

    def _shows(self, vector: Vector) -> str:
        closed = [n for n, bit in zip(self.lore.names, vector, strict=True) if bit]
        return f" (closed: {', '.join(closed) or 'no clock'})"

    def _edge(self, edge: ClockEdge, place: int) -> tuple[str, ...]:
        at = self._next(edge, edge.at) if place < 0 else self.lore.places[place].at
        assert at is not None
        assert self.lore.line is not None
        _, ms = self.lore.line.zone.local(at)
        moves = [
            name
            for name, before, shown, after in zip(
                self.lore.names, edge.source, edge.shown or edge.target, edge.target, strict=True
            )
            if before != after or shown != after
        ]
        return (
            f"Set the board's clock to {self._wall(at - LEAD)}",
            f"Wait for {clock_text(ms, seconds=bool(ms // _SECOND % 60))} ({', '.join(moves)})",
        )

    def _wall(self, at: int) -> str:
        assert self.lore.line is not None
        day, ms = self.lore.line.zone.local(at)
        return f"{WEEKDAYS[day.weekday()]} {day.isoformat()} {clock_text(ms, seconds=True)}"

    def scan(self, scan: Scan, before: Scan | None) -> tuple[str, ...]:
        """A scan that no hand makes, by what is new in it."""
        board = self.board
        old = board.rest if before is None else before.image
        parts = []
        for place, weight in enumerate(board.input_weights):
            if (scan.image ^ old) & weight:
                device = self._input(place)
                parts.append(moved(device, is_operated(device, bool(scan.image & weight))))
        if before is None or scan.vector != before.vector:
            parts += [
                f"{name} {'closes' if bit else 'opens'}"
                for i, (name, bit) in enumerate(zip(board.clocks, scan.vector, strict=True))
                if before is None or before.vector[i] != bit
            ]
        fresh = 0 if scan.cut or before is None else scan.dues & ~before.dues
        parts += [f"{words} ends" for words in timer_words(board, fresh)]
        if scan.cut:
            back = f"bring it back after: {'; '.join(parts)}" if parts else "bring it back"
            return (f"Cut the power, {back}",)
        when = "In one scan" if scan.held else "In the very next scan"
        return (f"{when}: {'; '.join(parts) or 'nothing new'}",)


def flashing(program: Program, board: BoardTable, runs: int) -> Iterable[str]:
    """A note for each flasher that runs, since what it drives is on and off by turns."""
    names = {
        timer.name.split(".")[0]
        for i, timer in enumerate(board.table.timers)
        if runs >> i & 1 and "." in timer.name
    }
    for name in sorted(names):
        yield f"{name} flashes: what is listed is how it stands in this part of its turn"


def contacts_of(state: State) -> dict[str, bool]:
    """The contacts of a state."""
    return state.contacts
