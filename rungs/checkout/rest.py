"""What no hand can do: scans of any kind after the tour, until every row has been taken that real
timers, debounces and clocks allow.

Two switches that move in one scan, or one that moves in the very scan in which a timer ends, are
chance on a panel. On the emulator they can be made, and a table is whole only if its rows for them
are right as well.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final

from rungs.checkout.board import Row
from rungs.checkout.graph import At, Scan, Situation, Situations
from rungs.checkout.play import schedule
from rungs.checkout.tour import Effort
from rungs.prove.clocks.timeline import Vector

_RESTLESS: Final = 5  # scans in a row in which a panel is kept from settling
_STRETCH: Final = 60  # scans after which power is cut, so that times can be found in small parts


@dataclass(frozen=True, slots=True)
class Rest:
    """The scans; the rows whose clocks never stand so (`undated`); other rows that no run was
    found for (`never`), and those that the effort or the limit left (`unsought`).
    """

    scans: tuple[Scan, ...]
    undated: frozenset[int]
    never: frozenset[int]
    unsought: frozenset[int]


@dataclass(frozen=True, slots=True)
class _Place:
    """Between two scans: `long` tells that the last scan may be repeated for any time, `moved` are
    the debounced inputs that have just moved and cannot yet move back."""

    at: At
    image: int
    vector: Vector
    long: bool
    moved: int = 0
    depth: int = 0


_Way = tuple[Scan, _Place]


def all_the_rest(
    seek: Situations, begin: Situation | None, covered: int, most: int, effort: Effort
) -> Rest:
    """Scans from a situation that take every row that is not in `covered` and can be taken, as far
    as `most` scans and the effort allow."""
    board = seek.board
    left = {row.number for row in board.rows if not covered >> row.number & 1}
    dates = [board.clock_bits(vector) for vector in seek.lore.vectors]
    rows = [board.rows[number] for number in left]
    undated = {
        row.number
        for row in rows
        if all((bits ^ row.value) & row.mask & board.clock_mask for bits in dates)
    }
    left -= undated
    work = _Work(seek, begin)
    scans: list[Scan] = []
    stretch: list[Scan] = []  # since power was last cut
    refused: set[int] = set()
    while left - refused and len(scans) < most and not effort.over:
        cut_first = begin is not None and (not scans or len(stretch) > _STRETCH)
        found = work.nearest(left - refused, cut_first, effort)
        if found is None:
            break
        path, end = found
        effort.left -= 200 * len(stretch)
        fresh = path if path[0].cut else [*stretch, *path]
        if schedule(board, [_powered(fresh[0]), *fresh[1:]]) is None:
            refused.add(path[-1].row)
            continue
        cuts = [k for k, scan in enumerate(fresh) if scan.cut]
        scans += path
        stretch = fresh[cuts[-1] :] if cuts else fresh
        work.place = end
        left -= {scan.row for scan in path}
    whole = not effort.over and len(scans) < most
    return Rest(
        tuple(scans),
        frozenset(undated),
        frozenset(left if whole else ()),
        frozenset(() if whole else left),
    )


def _powered(scan: Scan) -> Scan:
    return Scan(scan.image, scan.vector, scan.dues, scan.row, scan.held, 1, True)


class _Work:
    """One search, which goes on from where the last path ended."""

    def __init__(self, seek: Situations, begin: Situation | None) -> None:
        self.seek = seek
        board = self.board = seek.board
        self.vectors = {vector: board.clock_bits(vector) for vector in seek.lore.vectors}
        self.plain = set(seek.lore.inside)
        pairs = zip(board.input_weights, board.lags, strict=True)
        self.slow = sum(weight for weight, lag in pairs if lag > 1)
        if begin is None:
            self.begun = False
            at = At(board.start, 0, 0, 0, 0)
            self.place = _Place(at, board.rest, seek.first_vector(), False)
        else:
            self.begun = True
            at = At(begin.state, begin.due, begin.full, begin.runs, begin.zone)
            self.place = _Place(at, begin.image, begin.vector, True)
        self.ways: dict[_Place, list[_Way]] = {}

    def nearest(
        self, left: set[int], cut_first: bool, effort: Effort
    ) -> tuple[list[Scan], _Place] | None:
        """The scans of a shortest way to a row of `left` and where it ends, or None."""
        before: dict[_Place, tuple[_Place, Scan] | None] = {self.place: None}
        open_ends = deque((self.place,))
        while open_ends and not effort.over:
            here = open_ends.popleft()
            first = here is self.place
            ways = list(self._cut(here)) if first and cut_first else self._ways(here, effort)
            effort.left -= len(ways)
            for scan, there in ways:
                if scan.row in left:
                    path = [scan]
                    step = before[here]
                    while step is not None:
                        path.append(step[1])
                        step = before[step[0]]
                    path.reverse()
                    return path, there
                if there not in before:
                    before[there] = (here, scan)
                    open_ends.append(there)
        return None

    def _ways(self, here: _Place, effort: Effort) -> list[_Way]:
        """Each row that the next scan can take, with timers and clocks that lead to it."""
        known = self.ways.get(here)
        if known is None:
            at, board = here.at, self.board
            known = []
            if here.at.state != board.start or self.begun or here.long:
                for ended, zone in self.seek.times.every(at.zone, here.long):
                    loose = [0]
                    if here.long:
                        sums = board.sums & at.runs & ~at.full
                        loose += [1 << i for i in range(sums.bit_length()) if sums >> i & 1]
                    for more in loose:
                        now = At(at.state, at.due | ended | more, at.full, at.runs, zone)
                        known += self._rows(here, now, False)
            known += self._cut(here)
            effort.left -= 20 * len(known)
            self.ways[here] = known
        return known

    def _cut(self, here: _Place) -> Iterator[_Way]:
        board = self.board
        state = board.after_cut[here.at.state] if self.begun else board.start
        back = At(state, 0, here.at.full & board.kept_sums, 0, 0)
        yield from self._rows(here, back, True)

    def _rows(self, here: _Place, now: At, cut: bool) -> Iterator[_Way]:
        board = self.board
        dues = board.due_bits(now.due)
        for row in board.of_state[now.state]:
            if (dues ^ row.value) & row.mask & board.due_mask:
                continue
            inputs = row.mask & board.input_mask
            image = here.image & ~inputs | row.value & inputs
            changed = (image ^ here.image) & self.slow
            if changed & here.moved and not cut:
                continue
            vector = self._vector(here, row, cut)
            if vector is None:
                continue
            after = self.seek.after(row, now)
            lasts = (
                not cut and vector in self.plain and after.state == now.state
                and after.runs == now.runs and after.due == now.due and after.full == now.full
            )  # fmt: skip
            if lasts:
                there = _Place(after, image, vector, True)
            elif here.depth >= _RESTLESS and image != here.image:
                continue
            else:
                moved = (0 if cut or here.long else here.moved) | changed
                depth = 0 if cut else here.depth + 1
                there = _Place(after, image, vector, False, self.slow if cut else moved, depth)
            yield Scan(image, vector, now.due, row.number, here.long, 1, cut), there

    def _vector(self, here: _Place, row: Row, cut: bool) -> Vector | None:
        """What the clocks show in a scan that takes a row: what they showed, if that will do."""
        wanted, mask = row.value, row.mask & self.board.clock_mask
        if here.vector in self.plain and not (self.vectors[here.vector] ^ wanted) & mask:
            return here.vector
        for vector, bits in self.vectors.items():
            if not (bits ^ wanted) & mask and (not cut or vector in self.plain):
                return vector
        return None
