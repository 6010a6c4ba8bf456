"""Settled situations of a table and the steps between them, with the rows that each step takes.

A situation is what a hand finds: the state, how the switches and clocks stand, and how old the
running timers can be. Timers are told by zones, not by times, so that a step is possible exactly if
hands can be quick or slow enough for it.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final, Literal

from rungs.checkout.board import BoardTable, ClockEdge, ClockLore, Row, Times
from rungs.checkout.tour import Arc, Effort
from rungs.prove.clocks.timeline import Vector

_LONGEST: Final = 60  # scans until a panel is settled
_WORK: Final = 150  # what it takes to work out a step, in looks at an arc


@dataclass(frozen=True, slots=True)
class Scan:
    """One scan of a run: the images as bits of a pattern, the clocks, the timers that are due, and
    the row it takes. It comes exactly one period after the scan before it, or `least` or more
    where that one is `held` (its row changes nothing). `cut`: power was away just before it."""

    image: int
    vector: Vector
    dues: int
    row: int
    held: bool
    least: int = 1
    cut: bool = False


@dataclass(frozen=True, slots=True)
class Deed:
    """What is done in a step: `power` on for the first time, `cut` and bring it back, `move` the
    input numbered `which`, `wait` for the timers `which` (bits), `set` the clocks to `vector`, also
    while the power is away (`dark`), or let them pass an `edge`; `scan` is a scan of any kind that
    no hand can make. `place` is that of the calendar, where a walk keeps to it."""

    kind: Literal["power", "cut", "move", "wait", "set", "dark", "edge", "scan"]
    which: int = 0
    vector: Vector = ()
    edge: ClockEdge | None = None
    place: int = -1


@dataclass(frozen=True, slots=True)
class Situation:
    """A settled panel: `due` are the timers that have ended and still run, `full` the sums that are
    reached, `zone` the number of a zone of the other running timers, `runs` all that run. `place`
    is what the calendar comes to next (-1 where a walk need not keep to it)."""

    state: int
    image: int
    vector: Vector
    due: int
    full: int
    runs: int
    zone: int
    place: int = -1


@dataclass(frozen=True, slots=True)
class Move:
    """One step from a situation."""

    deed: Deed
    scans: tuple[Scan, ...]
    target: int


@dataclass(frozen=True, slots=True)
class At:
    """Between two scans, while the panel settles."""

    state: int
    due: int  # in the next scan, if no more end
    full: int
    runs: int
    zone: int


class Situations:
    """All situations from power-up, made as they are asked for. Number 0 is the panel without
    power; its only step is to switch it on."""

    def __init__(self, board: BoardTable, lore: ClockLore) -> None:
        self.effort = Effort(0)  # whose work it is to make more
        self.board = board
        self.lore = lore
        self.times = Times(board.needs, board.period)
        self.found: list[Situation | None] = [None]
        self._numbers: dict[Situation, int] = {}
        self._moves: dict[int, tuple[Move, ...]] = {}
        self._arcs: dict[int, tuple[Arc, ...]] = {}
        self.restless = 0  # steps after which the panel did not settle
        self._place = -1  # that the steps which are being made lead to

    def __getitem__(self, number: int) -> Sequence[Arc]:
        """The arcs of a situation, for a tour that explores as it goes."""
        arcs = self._arcs.get(number)
        if arcs is None:
            self.effort.left -= _WORK * len(self.moves(number))
            arcs = self._arcs[number] = tuple(
                Arc(move.target, _word(move.scans)) for move in self.moves(number)
            )
        return arcs

    def __len__(self) -> int:
        return len(self.found)

    def replace(self, number: int, arcs: tuple[Arc, ...]) -> None:
        """Put other arcs in the place of those of a situation."""
        self._arcs[number] = arcs

    def explored(self, most: int, effort: Effort) -> bool:
        """Make all there are; whether that was done within the limits."""
        self.effort = effort
        open_ends = deque((0,))
        seen = {0}
        while open_ends:
            if len(seen) > most or effort.over:
                return False
            for arc in self[open_ends.popleft()]:
                if arc.target not in seen:
                    seen.add(arc.target)
                    open_ends.append(arc.target)
        return True

    def moves(self, number: int) -> tuple[Move, ...]:
        """The steps from a situation, in a fixed order."""
        known = self._moves.get(number)
        if known is None:
            here = self.found[number]
            made = self._power_up() if here is None else self._from(here)
            known = self._moves[number] = tuple(made)
        return known

    # --- steps

    def _power_up(self) -> Iterator[Move]:
        vector = self.first_vector()
        board, places = self.board, self.lore.places
        self._place = next((n for n, p in enumerate(places) if p.edge.source == vector), -1)
        yield from self._ways(
            Deed("power", vector=vector, place=self._place),
            board.rest,
            vector,
            At(board.start, 0, 0, 0, 0),
            cut=True,
        )

    def first_vector(self) -> Vector:
        """What the clocks show when power is first switched on: as few closed as can be."""
        return min([p.edge.source for p in self.lore.places] or self.lore.inside, key=sum)

    def _from(self, here: Situation) -> Iterator[Move]:
        board, lore = self.board, self.lore
        self._place = here.place
        at = At(here.state, here.due, here.full, here.runs, here.zone)
        quick = self.times.by_hand(here.zone)
        if quick is not None:
            soon = At(here.state, here.due, here.full, here.runs, quick)
            for place, weight in enumerate(board.input_weights):
                lag = board.lags[place]
                yield from self._ways(
                    Deed("move", place), here.image ^ weight, here.vector, soon, least=lag
                )
        for timers, zone in self.times.ends(here.zone):
            if timers:
                ended = At(here.state, here.due | timers, here.full, here.runs, zone)
                yield from self._ways(Deed("wait", timers), here.image, here.vector, ended)
        for place in range(len(board.table.timers)):
            if (board.sums & here.runs & ~here.full) >> place & 1 and quick is not None:
                ended = At(here.state, here.due | 1 << place, here.full, here.runs, quick)
                yield from self._ways(Deed("wait", 1 << place), here.image, here.vector, ended)
        if quick is not None:
            soon = At(here.state, here.due, here.full, here.runs, quick)
            yield from self._by_calendar(here, soon) if lore.places else self._by_clock(here, soon)
        self._place = here.place
        cut = At(board.after_cut[at.state], 0, here.full & board.kept_sums, 0, 0)
        yield from self._ways(Deed("cut"), here.image, here.vector, cut, cut=True)
        if not lore.late:
            yield from self._in_the_dark(here, cut)

    def _by_clock(self, here: Situation, soon: At) -> Iterator[Move]:
        """The clock set anywhere, and any edge: nothing shows that time was passed over."""
        for vector in self.lore.inside:
            if vector != here.vector:
                yield from self._ways(Deed("set", vector=vector), here.image, vector, soon)
        for edge in self.lore.edges:
            if edge.source == here.vector:
                yield from self._passing(Deed("edge", edge=edge), here.image, edge, soon)

    def _by_calendar(self, here: Situation, soon: At) -> Iterator[Move]:
        """The clock set where no event lies between, and the edges there."""
        places = self.lore.places
        if here.place < 0:
            return
        for number, place in enumerate(places):
            if place.run != places[here.place].run:
                continue
            edge = place.edge
            if edge.source == here.vector:
                self._place = number + 1 if number + 1 < len(places) else -1
                deed = Deed("edge", edge=edge, place=number)
                yield from self._passing(deed, here.image, edge, soon)
            else:
                self._place = number
                deed = Deed("set", vector=edge.source, place=number)
                yield from self._ways(deed, here.image, edge.source, soon)

    def _in_the_dark(self, here: Situation, cut: At) -> Iterator[Move]:
        """The clock set while the power is away: no event shows, whatever lies between."""
        for number, place in enumerate(self.lore.places):
            if number != here.place:
                self._place = number
                deed = Deed("dark", vector=place.edge.source, place=number)
                yield from self._ways(deed, here.image, place.edge.source, cut, cut=True)

    def _passing(self, deed: Deed, image: int, edge: ClockEdge, at: At) -> Iterator[Move]:
        if edge.shown is None:
            yield from self._ways(deed, image, edge.target, at)
            return
        scan, after = self._scan(image, edge.shown, at, held=True)
        for ended, zone in self.times.tick(after.zone):
            following = At(after.state, after.due | ended, after.full, after.runs, zone)
            yield from self._ways(deed, image, edge.target, following, (scan,))

    def _ways(
        self,
        deed: Deed,
        image: int,
        vector: Vector,
        at: At,
        made: tuple[Scan, ...] = (),
        least: int = 1,
        cut: bool = False,
    ) -> Iterator[Move]:
        """Scan until the panel is settled; each way it can go if timers end in between."""
        open_ends = [(at, made)]
        while open_ends:
            now, scans = open_ends.pop()
            first = not scans
            scan, after = self._scan(
                image, vector, now, first, least if first else 1, first and cut
            )
            scans = (*scans, scan)
            calm = (
                after.state == now.state and after.runs == now.runs
                and after.due == now.due and after.full == now.full and not scan.cut
            )  # fmt: skip
            if calm and self._stays(image, vector, after, scan.row):
                zone = after.zone
                target = Situation(
                    after.state, image, vector, after.due, after.full, after.runs, zone, self._place
                )
                yield Move(deed, scans, self._number(target))
                continue
            if len(scans) > _LONGEST:
                self.restless += 1
                continue
            for ended, zone in self.times.tick(after.zone):
                open_ends.append(
                    (At(after.state, after.due | ended, after.full, after.runs, zone), scans)
                )

    def _stays(self, image: int, vector: Vector, at: At, row: int) -> bool:
        """Whether the next scan takes the same row again."""
        board = self.board
        pattern = image | board.clock_bits(vector) | board.due_bits(at.due)
        return board.find(at.state, pattern).number == row

    def _scan(
        self, image: int, vector: Vector, at: At, held: bool, least: int = 1, cut: bool = False
    ) -> tuple[Scan, At]:
        board = self.board
        pattern = image | board.clock_bits(vector) | board.due_bits(at.due)
        row = board.find(at.state, pattern)
        scan = Scan(image, vector, at.due, row.number, held, least, cut)
        return scan, self.after(row, at)

    def after(self, row: Row, at: At) -> At:
        """What a row leaves."""
        board = self.board
        due, full = board.run_after(row, at.due, at.full)
        zone = self.times.kept(at.zone, row.run & ~board.sums & ~due)
        return At(row.next, due, full, row.run, zone)

    def _number(self, situation: Situation) -> int:
        found = self._numbers.setdefault(situation, len(self.found))
        if found == len(self.found):
            self.found.append(situation)
        return found


def _word(scans: Sequence[Scan]) -> int:
    found = 0
    for scan in scans:
        found |= 1 << scan.row
    return found
