"""Switching tables when power returns: what the board then does otherwise, in words.

The words in which events are told, and the columns in which situations stand side by side, live
here too, because the compiler and the second pass must tell the same event alike.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from itertools import product
from typing import Final, Literal

from rungs.core.nodes import StateBit
from rungs.language.words import duration_text
from rungs.table.model import Act

PowerUp = Literal["off", "last"]  # how a board's relays stand when power comes back
MAX_CUBES: Final = 50  # sentences on one relay; beyond it the patterns are counted
MAX_VARIABLES: Final = 22  # what the sentences on one relay can speak of at once

Columns = tuple[int, ...]
Kept = tuple[int, ...]  # the retained bits
Late = tuple[int, ...]  # for each clock event that may be caught up, whether it is

# --- words ------------------------------------------------------------------------------------


def event_words(event: str, device: str, is_clock: bool, delay_ms: int = 0) -> str:
    """One event: `door closes`, `evening begins`, `lights_out comes`, `door has been open for 5s`;
    a clock's window begins when its contact closes."""
    if event == "at":
        return f"{device} comes"
    if delay_ms:
        stays = "closed" if event == "closes" else "open"
        return f"{device} has been {stays} for {duration_text(delay_ms)}"
    if is_clock:
        return f"{device} {'begins' if event == 'closes' else 'ends'}"
    return f"{device} {event}"


def power_up_words(
    first: bool, levels: Sequence[tuple[str, bool]], late: Sequence[str] = ()
) -> str:
    """Power that comes for the first time, or back, with what it finds."""
    what = "power up" if first else "power is cut and comes back"
    found = [f"{name} {'closed' if level else 'open'}" for name, level in levels]
    found += [f"{name} caught up" for name in late]
    return f"{what} with {', '.join(found)}" if found else what


# --- columns ----------------------------------------------------------------------------------


def column(place: int, dimensions: int) -> int:
    """A bit for each of 2 ** dimensions lanes: whether bit `place` of the lane's number is 1."""
    bits, length = ((1 << (1 << place)) - 1) << (1 << place), 2 << place
    while length < 1 << dimensions:
        bits |= bits << length
        length *= 2
    return bits


def acted(act: Act, relay: int, lanes: int) -> int:
    """A relay's column after an act in all of these lanes."""
    match act:
        case "on":
            return lanes
        case "off":
            return 0
        case "flip":
            return relay ^ lanes
        case "leave":
            return relay


# --- power that returns -----------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class PowerCases:
    """All that a board can meet when power comes back, and what the program then does.

    `shown` gives, by retained bits and late events, each relay's column over the patterns of
    `signals` once the program has settled. `contexts` holds for each relay the pairs of how it
    stood before (0 where the board forgets) and the retained bits. `late_acts` are the rows of the
    events in `late`, which the board runs after its power-up row.
    """

    relays: tuple[str, ...]
    signals: tuple[str, ...]
    late: tuple[str, ...]
    late_acts: tuple[tuple[Act, ...], ...]
    retained: tuple[StateBit, ...]
    contexts: tuple[frozenset[tuple[int, Kept]], ...]
    keeps: bool
    shown: Mapping[tuple[Kept, Late], Columns]

    @property
    def _patterns(self) -> int:
        return (1 << (1 << len(self.signals))) - 1

    def _cases(self, relay: int, act: Act) -> Iterator[tuple[int, Kept, Late, int, int]]:
        """(before, retained bits, late events, column of the program, column of the board)."""
        for before, kept in sorted(self.contexts[relay]):
            for late in product((0, 1), repeat=len(self.late)):
                board = acted(act, self._patterns if before else 0, self._patterns)
                for acts, comes in zip(self.late_acts, late, strict=True):
                    board = acted(acts[relay], board, self._patterns) if comes else board
                yield before, kept, late, self.shown[kept, late][relay] & self._patterns, board

    def differing(self, relay: int, act: Act) -> int:
        """In how many cases the relay is not as the program has it, with this act at power-up."""
        return sum((p ^ board).bit_count() for *_, p, board in self._cases(relay, act))

    def best_acts(self) -> tuple[Act, ...]:
        """For each relay the act of the power-up row that leaves the fewest differing cases."""
        choices: tuple[Act, ...] = ("leave", "off", "on")
        return tuple(
            min(choices, key=lambda act: self.differing(relay, act))
            for relay in range(len(self.relays))
        )

    def words(self, acts: Sequence[Act]) -> tuple[str, ...]:
        """Every differing case in words, as few sentences as a cover of them needs."""
        found: list[str] = []
        for relay, act in enumerate(acts):
            if not self.differing(relay, act):
                continue
            for on in (True, False):
                if self._variables() <= MAX_VARIABLES:
                    found += self._sentences(relay, act, on, None)
                    continue
                for kept in sorted({kept for _, kept in self.contexts[relay]}):
                    found += self._sentences(relay, act, on, kept)
        return tuple(found)

    def _variables(self) -> int:
        return len(self.signals) + len(self.late) + len(self.retained) + 1

    def _sentences(self, relay: int, act: Act, on: bool, only: Kept | None) -> list[str]:
        """Sentences on the cases in which the program has the relay on (or off) and the board does
        not; with `only` these retained bits alone."""
        bits = self.retained if only is None else ()
        size = 1 << len(self.signals)
        places = len(self.late) + len(bits) + 1
        lower, met = 0, 0
        for before, kept, late, program, board in self._cases(relay, act):
            if only is not None and kept != only:
                continue
            index = sum(
                value << p
                for p, value in enumerate((*late, *(kept if only is None else ()), before))
            )
            lower |= (program & ~board if on else board & ~program) << index * size
            met |= self._patterns << index * size
        if not lower:
            return []
        states = (
            "is on in the program, off on the board"
            if on
            else "is off in the program, on on the board"
        )
        fixed = (
            [] if only is None else [_kept(b, v) for b, v in zip(self.retained, only, strict=True)]
        )
        every = (1 << (1 << (len(self.signals) + places))) - 1
        cubes: list[dict[int, int]] = []
        try:
            _cover(lower, every & ~met | lower, len(self.signals) + places, {}, cubes)
        except _TooManyError:
            count = f"in {lower.bit_count():,} of {met.bit_count():,} cases"
            where = f" with {' and '.join(fixed)}" if fixed else ""
            return [f"{count}{where}: {self.relays[relay]} {states}"]
        names = [
            *((f"{name} open", f"{name} closed") for name in self.signals),
            *((f"{name} not caught up", f"{name} caught up") for name in self.late),
            *((_kept(bit, 0), _kept(bit, 1)) for bit in bits),
            tuple(f"{self.relays[relay]} {v} before the cut" for v in ("off", "on")),
        ]
        said = []
        for cube in cubes:
            parts = list(dict.fromkeys(fixed + [names[v][cube[v]] for v in sorted(cube)]))
            where = f"with {' and '.join(parts)}" if parts else "at every power-up"
            said.append(f"{where}: {self.relays[relay]} {states}")
        return said


def _kept(bit: StateBit, value: int) -> str:
    if bit.kind == "contact":
        return f"{bit.device} {'on' if value else 'off'} before the cut"
    return f"'{bit.words}' {'kept' if value else 'not kept'}"


class _TooManyError(Exception):
    pass


def _cover(
    lower: int, upper: int, variables: int, fixed: dict[int, int], cubes: list[dict[int, int]]
) -> int:
    """Cubes that together hold all of `lower` and nothing outside `upper`; what they hold.

    An irredundant cover by Minato's recursion on the two halves of the topmost variable (FROM
    MEMORY); the tests hold each cover against the cases themselves. Raises _TooManyError.
    """
    size = 1 << variables
    full = (1 << size) - 1
    if not lower:
        return 0
    if upper == full:
        if len(cubes) >= MAX_CUBES:
            raise _TooManyError
        cubes.append(dict(fixed))
        return full
    top, half = variables - 1, size >> 1
    low = (1 << half) - 1
    lower0, lower1, upper0, upper1 = lower & low, lower >> half, upper & low, upper >> half
    # first what one half alone can hold, then what is left for both
    in0 = _cover(lower0 & ~upper1, upper0, top, {**fixed, top: 0}, cubes)
    in1 = _cover(lower1 & ~upper0, upper1, top, {**fixed, top: 1}, cubes)
    both = _cover(lower0 & ~in0 | lower1 & ~in1, upper0 & upper1, top, fixed, cubes)
    return (in0 | both) | (in1 | both) << half
