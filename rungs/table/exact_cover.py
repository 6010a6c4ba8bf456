"""Primes of a mask of patterns, and the fewest of them that hold what must be held.

All is plain whole numbers here, without tables or boards, so that the part that proves a minimum
can be read and tested alone. Effort is counted in steps and never in time: the same problem has
the same answer on every machine.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

Matrix = dict[int, set[int]]
Pair = tuple[int, int]  # the care and value of a cube


def primes(mask: int, n: int, limit: int) -> list[Pair] | None:
    """Every prime of a mask over n signals as (care, value), or None if they are too many.

    A prime is a largest cube inside the mask. Splitting on the top signal, a prime without it is a
    prime of both halves' common part, and any other is a prime of one half that the common part
    has not got (Coudert and Madre's recursion, FROM MEMORY). `limit` bounds the primes; thirty
    times as many may be made on the way.
    """
    known: dict[tuple[int, int], frozenset[Pair]] = {}
    made = 0

    def of(part: int, k: int) -> frozenset[Pair]:
        nonlocal made
        half = 1 << k >> 1
        if not part:
            return frozenset()
        if part.bit_count() == 1 << k:
            return frozenset({(0, 0)})
        if (part, k) in known:
            return known[part, k]
        low, high = part & ((1 << half) - 1), part >> half
        both = of(low & high, k - 1)
        zero, one = (both, both) if low == high else (of(low, k - 1), of(high, k - 1))
        found = both.union(
            [(care | half, value) for care, value in zero - both],
            [(care | half, value | half) for care, value in one - both],
        )
        made += len(found) + 2 + (1 << k >> 13)
        if len(found) > limit or made > 30 * limit:
            raise _TooManyError
        known[part, k] = found
        return found

    try:
        return sorted(of(mask, n))
    except _TooManyError:
        return None


class _TooManyError(Exception):
    """Ends the search for primes from deep inside it."""


def cube_bits(care: int, value: int, n: int) -> int:
    """The patterns over n signals that agree with `value` in the bits of `care`."""
    mask = 1
    for k in range(n):
        weight = 1 << k
        if not care & weight:
            mask |= mask << weight
        elif value & weight:
            mask <<= weight
    return mask


def choose(on: int, cubes: Sequence[Pair], n: int, effort: int) -> list[Pair]:
    """The fewest of the cubes that hold every pattern of `on`; larger cubes are liked better."""
    cubes = sorted(cubes, key=lambda p: (p[0].bit_count(), p[1], p[0]))
    if sum(1 << (n - care.bit_count()) for care, _ in cubes) > 300_000:
        return _choose_by_masks(on, cubes, n, effort)
    wanted = format(on, f"0{1 << n}b")[::-1]
    rows: dict[int, list[int]] = {}
    for c, (care, value) in enumerate(cubes):
        free = spread = ~care & ((1 << n) - 1)
        while True:  # every choice of the free bits, downwards
            if wanted[value | spread] == "1":
                rows.setdefault(value | spread, []).append(c)
            if not spread:
                break
            spread = (spread - 1) & free
    return [cubes[c] for c in fewest_columns(rows.values(), effort)]


def _choose_by_masks(on: int, cubes: Sequence[Pair], n: int, effort: int) -> list[Pair]:
    """The same for cubes of many patterns: only patterns that make a difference become rows.

    An answer for some of the rows that holds all patterns is an answer for all, and as small.
    """
    once = twice = 0
    for care, value in cubes:
        mask = cube_bits(care, value, n)
        twice |= once & mask
        once |= mask
    once &= on & ~twice
    must: list[Pair] = []
    other: list[Pair] = []
    for care, value in cubes:
        mask = cube_bits(care, value, n)
        if mask & once:
            must.append((care, value))
            on &= ~mask
        else:
            other.append((care, value))
    rows: list[list[int]] = []
    picked: list[int] = []
    left = on
    while left:
        for _ in range(16):
            pattern = (left & -left).bit_length() - 1
            row = [c for c, (care, value) in enumerate(other) if pattern & care == value]
            rows.append(row)
            for c in row[:8]:
                left &= ~cube_bits(*other[c], n)
            if not left:
                break
        picked = list(fewest_columns(rows, effort // 4))
        effort -= effort // 4  # every round solves the whole again, and all share the effort
        left = on
        for c in picked:
            left &= ~cube_bits(*other[c], n)
    return must + [other[c] for c in picked]


def fewest_columns(rows: Iterable[Iterable[int]], effort: int) -> tuple[int, ...]:
    """Columns that touch every row: the fewest there can be, if `effort` steps prove it.

    Each row names the columns that touch it, at least one; of equal columns the lower number is
    kept. When the steps run out, the answer is the best one found and still touches every row.
    """
    table: Matrix = {r: set(row) for r, row in enumerate(sorted({tuple(sorted(r)) for r in rows}))}
    columns: Matrix = {}
    for r, touched in table.items():
        for c in touched:
            columns.setdefault(c, set()).add(r)
    chosen = _reduce(table, columns)
    parts = list(_parts(table, columns))
    for part in parts:
        chosen += _solve([table[r] for r in part], effort // len(parts))
    return tuple(sorted(chosen))


def _reduce(rows: Matrix, columns: Matrix) -> list[int]:
    """Take the columns that must be taken; strike rows and columns that others make needless."""
    chosen: list[int] = []
    size = -1
    while size != len(rows) + len(columns):
        size = len(rows) + len(columns)
        for r in list(rows):
            if r in rows and len(rows[r]) == 1:
                (column,) = rows[r]
                chosen.append(column)
                for touched in list(columns[column]):
                    _strike(touched, rows, columns)
                columns.pop(column, None)
        for r in sorted(rows, key=lambda r: (len(rows[r]), r)):
            if r in rows:  # whoever touches this row touches all rows that can do with more
                for other in list(columns[min(rows[r], key=lambda c: (len(columns[c]), c))]):
                    if other != r and rows[r] <= rows[other]:
                        _strike(other, rows, columns)
        for c in sorted(columns, key=lambda c: (len(columns[c]), -c)):
            if not columns[c]:
                del columns[c]
            elif any(
                columns[c] < columns[other] or (other < c and columns[c] == columns[other])
                for other in rows[min(columns[c], key=lambda r: (len(rows[r]), r))]
            ):
                _strike(c, columns, rows)
    return chosen


def _strike(line: int, lines: Matrix, crossing: Matrix) -> None:
    for other in lines.pop(line):
        crossing[other].discard(line)


def _parts(rows: Matrix, columns: Matrix) -> Iterator[list[int]]:
    """The rows in groups that have no column in common, which can be solved one by one."""
    left = set(rows)
    for start in sorted(rows):
        if start in left:
            left.discard(start)
            part = [start]
            for r in part:
                new = left.intersection(other for c in rows[r] for other in columns[c])
                left -= new
                part += sorted(new)
            yield sorted(part)


def _solve(rows: Sequence[set[int]], effort: int) -> list[int]:
    """One group: a short search for a good answer, then the proof, then a long search."""
    names = sorted(set().union(*rows))
    place = {name: i for i, name in enumerate(names)}
    lines = [sorted(place[c] for c in row) for row in rows]
    floor = _floor([sum(1 << c for c in line) for line in lines])
    best = _local_search(lines, len(names), floor, effort // 20)
    if len(best) > floor:
        search = _Search(best, effort // 2)
        search.run([sum(1 << c for c in line) for line in lines], ())
        best = search.best
        if search.left <= 0:  # not proved
            again = _local_search(lines, len(names), floor, effort)
            best = min(best, again, key=len)
    return [names[c] for c in best]


def _floor(rows: Sequence[int]) -> int:
    """Rows without a common column, taken greedily: each of them needs a column of its own."""
    taken = count = 0
    for row in sorted(rows, key=lambda row: (row.bit_count(), row)):
        if not row & taken:
            taken |= row
            count += 1
    return count


class _Search:
    """Branch and bound over rows that are masks of columns; `left` falls below 0 if it gave up."""

    def __init__(self, best: list[int], effort: int) -> None:
        self.best = best
        self.left = effort

    def run(self, rows: list[int], chosen: tuple[int, ...]) -> None:
        rows, chosen = self._simplify(rows, chosen)
        if self.left <= 0 or len(chosen) + _floor(rows) >= len(self.best):
            return
        if not rows:
            self.best = list(chosen)
            return
        touched = _crossing(rows)
        row = min(rows, key=lambda row: (row.bit_count(), row))
        for c in sorted(_bits(row), key=lambda c: (-touched[c].bit_count(), c)):
            self.run([other for other in rows if not other >> c & 1], (*chosen, c))
            rows = [other & ~(1 << c) for other in rows]  # all answers with it have been seen
            if self.left <= 0 or 0 in rows:
                return

    def _simplify(
        self, rows: list[int], chosen: tuple[int, ...]
    ) -> tuple[list[int], tuple[int, ...]]:
        while True:
            self.left -= 1 + len(rows) * (len(rows) + 10) // 10
            if self.left <= 0:
                return rows, chosen
            kept: list[int] = []
            for row in sorted(set(rows), key=lambda row: (row.bit_count(), row)):
                if not any(other & row == other for other in kept):
                    kept.append(row)
            single = [row for row in kept if row.bit_count() == 1]
            if single:
                chosen += tuple(row.bit_length() - 1 for row in single)
                must = sum(single)
                rows = [row for row in kept if not row & must]
                continue
            needless = 0
            touched = _crossing(kept)
            for c, mine in touched.items():
                row = kept[(mine & -mine).bit_length() - 1] & ~needless
                for other in _bits(row):
                    theirs = touched[other]
                    if other != c and mine & theirs == mine and (mine != theirs or other < c):
                        needless |= 1 << c
                        break
            if not needless:
                return kept, chosen
            rows = [row & ~needless for row in kept]


def _bits(mask: int) -> Iterator[int]:
    while mask:
        low = mask & -mask
        yield low.bit_length() - 1
        mask ^= low


def _crossing(rows: Sequence[int]) -> dict[int, int]:
    """For each column the mask of the rows it touches."""
    found: dict[int, int] = {}
    for r, row in enumerate(rows):
        for c in _bits(row):
            found[c] = found.get(c, 0) | 1 << r
    return found


def _local_search(rows: Sequence[Sequence[int]], width: int, floor: int, effort: int) -> list[int]:
    """A good answer: drop a column, mend the holes, and weigh up rows that stay open for long.

    This is row-weighting local search for set covering (Gao, Weise and Li 2015, FROM MEMORY),
    with a fixed walk in place of chance.
    """
    state = _Walk(rows, width)
    while state.open:  # greedy start
        state.turn(state.gain.index(max(state.gain)))
    best = sorted(state.held)
    while state.work < effort and len(best) > floor:
        if not state.open:
            best = sorted(state.held)
            state.turn(state.cheapest(-1))
            continue
        if state.held:
            state.turn(state.cheapest(state.newest))
        state.mend()
    return best


class _Walk:
    """A set of held columns with what each column would close, or would open again if dropped."""

    def __init__(self, rows: Sequence[Sequence[int]], width: int) -> None:
        self.rows = rows
        self.columns: list[list[int]] = [[] for _ in range(width)]
        for r, row in enumerate(rows):
            for c in row:
                self.columns[c].append(r)
        self.weight = [1] * len(rows)
        self.times = [0] * len(rows)
        self.gain = [len(column) for column in self.columns]
        self.age = [0] * width
        self.held: set[int] = set()
        self.open = dict.fromkeys(range(len(rows)))
        self.newest = -1
        self.dropped = -1
        self.clock = 0
        self.work = 0

    def cheapest(self, barred: int) -> int:
        """The held column whose loss weighs least; of equal ones the one that stood longest."""
        self.work += len(self.held) // 4
        return max(
            (c for c in self.held if c != barred or len(self.held) == 1),
            key=lambda c: (self.gain[c], -self.age[c], -c),
        )

    def mend(self) -> None:
        """Close one open row, and make all rows still open weigh more."""
        row = list(self.open)[self.clock * 7919 % len(self.open)]
        choice = [c for c in self.rows[row] if c != self.dropped] or self.rows[row]
        self.turn(max(choice, key=lambda c: (self.gain[c], -self.age[c], -c)))
        for r in self.open:
            self.weight[r] += 1
            for c in self.rows[r]:
                self.gain[c] += 1

    def turn(self, column: int) -> None:
        """Take a column, or drop it if it is held."""
        self.clock += 1
        self.age[column] = self.clock
        taking = column not in self.held
        step = 1 if taking else -1
        if taking:
            self.held.add(column)
            self.newest = column
        else:
            self.held.discard(column)
            self.dropped = column
        gain = self.gain
        for r in self.columns[column]:
            self.work += 1 + len(self.rows[r]) // 4
            before = self.times[r]
            after = self.times[r] = before + step
            heavy = self.weight[r]
            if before + after == 1:  # opened or closed
                for c in self.rows[r]:
                    gain[c] -= step * heavy
                gain[column] += step * heavy
                if taking:
                    del self.open[r]
                else:
                    self.open[r] = None
            elif before + after == 3:  # the one other holder is alone no more, or alone now
                for c in self.rows[r]:
                    if c != column and c in self.held:
                        gain[c] += step * heavy
        gain[column] = -gain[column]
