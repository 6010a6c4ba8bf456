"""The smallest condition that is true in some rows and false in others.

Rows are whole numbers, bit i for variable i. Rows that are in neither set cannot happen and are
don't-cares. Fewest terms come first, then fewest contacts, then contacts that are easy to see. What
was found is checked again at the end, since a reader will rely on each word of it.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

from rungs.table.exact_cover import fewest_columns, primes

Cube = tuple[int, int]  # the variables that count, and how they stand
EFFORT = 40_000
MOST_WHOLE = 10  # variables that are all looked at together
MOST_PRIMES = 4_000
MOST_ROWS = 4_000  # of each set, for the proof that no smaller set of variables will do


def smallest(on: Collection[int], off: Collection[int], costs: Sequence[int]) -> list[Cube]:
    """Cubes that hold every row of `on` and none of `off` (the sets have no row in common).

    `costs` has for each variable how hard it is to see (less than 40); what is on is told sooner
    than what is off. An empty `off` gives the one cube that asks nothing, an empty `on` no cube.
    No cube and no variable of a cube can be left out.
    """
    if not on:
        return []
    if not off:
        return [(0, 0)]
    weights = [100 + 2 * cost for cost in costs]
    single = _single(on, off, weights)
    if single is not None:
        return [single]
    n = len(costs)
    chosen = list(range(n)) if n <= MOST_WHOLE else _variables(on, off, weights)
    found = _covered(_project(on, chosen), _project(off, chosen), [weights[v] for v in chosen])
    cubes = [(_spread(care, chosen), _spread(value, chosen)) for care, value in found]
    if n > MOST_WHOLE:
        # the other variables may say a term more shortly
        cubes = _shorter(cubes, on, off, weights)
    return _tidy(cubes, on, off, weights)


def holds(cubes: Collection[Cube], row: int) -> bool:
    """Whether one of the cubes holds a row."""
    return any(row & care == value for care, value in cubes)


def needed(cubes: Sequence[Cube], on: Collection[int], off: Collection[int]) -> bool:
    """Whether cubes hold every row of `on` and none of `off`, and no cube and no variable can be
    left out."""
    if not all(holds(cubes, row) for row in on) or any(holds(cubes, row) for row in off):
        return False
    for place, (care, value) in enumerate(cubes):
        others = [cube for i, cube in enumerate(cubes) if i != place]
        if all(holds(others, row) for row in on):
            return False
        for v in _bits(care):
            less = care & ~(1 << v)
            if not any(row & less == value & less for row in off):
                return False
    return True


def _single(on: Collection[int], off: Collection[int], weights: Sequence[int]) -> Cube | None:
    """One cube with the fewest variables, if one cube is enough."""
    same = (1 << len(weights)) - 1
    first = next(iter(on))
    for row in on:
        same &= ~(row ^ first)
    misses = {same & (row ^ first) for row in off}
    if 0 in misses:
        return None
    care = _hit(misses, [w + (not first >> v & 1) for v, w in enumerate(weights)])
    return care, first & care


def _hit(masks: Collection[int], weights: Sequence[int]) -> int:
    """The fewest variables that touch every mask, the lighter ones where there is a choice."""
    least = [m for m in masks if not any(o != m and o & m == o for o in masks)]
    order = sorted(range(len(weights)), key=lambda v: (weights[v], v))
    rank = {v: place for place, v in enumerate(order)}
    rows = [[rank[v] for v in _bits(mask)] for mask in least]
    chosen = {order[c] for c in fewest_columns(rows, EFFORT)}
    moved = True
    while moved:
        moved = False
        for old in sorted(chosen, key=lambda v: -weights[v]):
            rest = sum(1 << v for v in chosen if v != old)
            open_ = [mask for mask in least if not mask & rest]
            new = next((v for v in order if all(mask >> v & 1 for mask in open_)), old)
            if weights[new] < weights[old]:
                chosen = chosen - {old} | {new}
                moved = True
                break
    return sum(1 << v for v in chosen)


def _variables(on: Collection[int], off: Collection[int], weights: Sequence[int]) -> list[int]:
    """The fewest variables that tell the two sets apart: pairs that are not yet told apart are
    added until there are none."""
    asked: set[int] = set()
    while True:
        care = _hit(asked, weights) if asked else 0
        seen: dict[int, int] = {}
        for row in on:
            seen.setdefault(row & care, row)
        fresh = {seen[row & care] ^ row for row in off if row & care in seen}
        if not fresh:
            return list(_bits(care))
        asked |= set(sorted(fresh, key=lambda mask: (mask.bit_count(), mask))[:50])


def _covered(on: set[int], off: set[int], weights: Sequence[int]) -> list[Cube]:
    """The fewest primes that hold `on`; greedily grown cubes where there are too many primes."""
    n = len(weights)
    free = (1 << (1 << n)) - 1
    for row in off:
        free &= ~(1 << row)
    found = primes(free, n, MOST_PRIMES) if n <= 14 else None
    cubes = found if found is not None else [_grown(row, off, weights) for row in sorted(on)]
    useful = [c for c in set(cubes) if any(row & c[0] == c[1] for row in on)]
    useful.sort(key=lambda c: (_cost(c, weights), c))
    rows = [[i for i, (care, value) in enumerate(useful) if row & care == value] for row in on]
    chosen = [useful[i] for i in fewest_columns(rows, EFFORT)]
    return _swapped(chosen, useful, on, weights)


def _swapped(
    chosen: list[Cube], useful: Sequence[Cube], on: set[int], weights: Sequence[int]
) -> list[Cube]:
    """The same number of cubes, with lighter ones wherever one can stand for another."""
    moved = True
    while moved:
        moved = False
        for place, cube in enumerate(chosen):
            others = [c for i, c in enumerate(chosen) if i != place]
            alone = [row for row in on if not holds(others, row)]
            new = next(c for c in useful if all(row & c[0] == c[1] for row in alone))
            if _cost(new, weights) < _cost(cube, weights):
                chosen[place] = new
                moved = True
    return chosen


def _grown(row: int, off: Collection[int], weights: Sequence[int]) -> Cube:
    """A largest cube round a row that holds nothing of `off`, without the heavy variables first."""
    care = (1 << len(weights)) - 1
    for v in sorted(range(len(weights)), key=lambda v: -weights[v]):
        less = care & ~(1 << v)
        if all((other ^ row) & less for other in off):
            care = less
    return care, row & care


def _shorter(
    cubes: list[Cube], on: Collection[int], off: Collection[int], weights: Sequence[int]
) -> list[Cube]:
    """Each cube as short as all variables together can say what it alone says."""
    for place, cube in enumerate(cubes):
        others = [c for i, c in enumerate(cubes) if i != place]
        alone = [row for row in on if not holds(others, row)]
        new = _single(alone, off, weights) if alone else None
        if new is not None and _cost(new, weights) < _cost(cube, weights):
            cubes[place] = new
    return cubes


def _tidy(
    cubes: list[Cube], on: Collection[int], off: Collection[int], weights: Sequence[int]
) -> list[Cube]:
    """Without what can be left out; and the check that all of it is right."""
    for place, (care, value) in enumerate(cubes):
        for v in sorted(_bits(care), key=lambda v: -weights[v]):
            less = care & ~(1 << v)
            if all((row ^ value) & less for row in off):
                care = less
        cubes[place] = (care, value & care)
    kept = list(dict.fromkeys(cubes))
    for cube in sorted(kept, key=lambda c: -_cost(c, weights)):
        others = [c for c in kept if c != cube]
        if all(holds(others, row) for row in on):
            kept = others
    if not needed(kept, on, off):
        raise AssertionError("a condition does not tell its rows apart")
    return sorted(kept, key=lambda c: (c[0].bit_count(), _cost(c, weights), c))


def _cost(cube: Cube, weights: Sequence[int]) -> int:
    care, value = cube
    return sum(weights[v] + (not value >> v & 1) for v in _bits(care))


def _bits(mask: int) -> list[int]:
    return [v for v in range(mask.bit_length()) if mask >> v & 1]


def _project(rows: Collection[int], chosen: Sequence[int]) -> set[int]:
    return {sum((row >> v & 1) << i for i, v in enumerate(chosen)) for row in rows}


def _spread(mask: int, chosen: Sequence[int]) -> int:
    return sum(1 << v for i, v in enumerate(chosen) if mask >> i & 1)
