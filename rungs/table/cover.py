"""Merged rows: few cubes of patterns in place of a row for each pattern.

A set of patterns over n signals is one whole number with bit i for pattern i, so that a question
about a million patterns is one operation; single patterns are looked at only where they are few.
Everything here is proposed, never trusted: `check_cover` reads the rows again by other means.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from functools import cache
from itertools import permutations

from rungs.core import patterns
from rungs.table.exact_cover import Pair, choose, cube_bits, primes

MAX_SIGNALS = 20
EFFORT = 200_000  # steps of the covering problem: about half a second at the most
WIDE_EFFORT = 4_000_000  # steps over masks of many patterns: two or three seconds at the most
ROUNDS = 8  # of growing and shrinking where the primes are too many to list
EXACT_TREE = 6  # signals up to which the best tree of splits is found outright
EXACT_BRANCH = 4  # the same below splits that were guessed

Row = tuple[int, int, int]  # the class, care and value of a row


@dataclass(frozen=True, slots=True)
class Cube:
    """All patterns that agree with `value` in the bits of `care`; `value` lies within `care`."""

    care: int
    value: int


@cache
def variable_masks(n: int) -> tuple[int, ...]:
    """For each of n signals the patterns in which it is 1; signal k weighs 1 << (n - 1 - k)."""
    _check_size(n)
    return patterns.variable_masks(n)


def cube_mask(cube: Cube, n: int) -> int:
    """The patterns of a cube over n signals."""
    _check_size(n)
    return cube_bits(cube.care, cube.value, n)


def cube_text(cube: Cube, n: int) -> str:
    """One character a signal, the first signal first: 0, 1, or - for either."""
    weights = [1 << (n - 1 - k) for k in range(n)]
    return "".join("-" if not cube.care & w else "01"[bool(cube.value & w)] for w in weights)


def cover(on: int, dont_care: int, n: int) -> tuple[Cube, ...]:
    """Cubes that hold every pattern of `on` and none outside `on | dont_care`, in counting order.

    They are the fewest there can be where that can be proved within a fixed number of steps, which
    takes in every function of four signals and most tables made from ladders; otherwise they are
    few. A ValueError says that a mask does not fit n signals or n is above 20.
    """
    _check_size(n)
    _check_masks((on, dont_care), n)
    return _sorted_cubes(_cover(on, on | dont_care, n, EFFORT))


def _cover(on: int, upper: int, n: int, effort: int) -> list[Pair]:
    kept, (on, upper) = _needed((on, upper), n)
    return [_widen(pair, kept) for pair in _minimise(on, upper, len(kept), effort)]


def _sorted_cubes(pairs: Sequence[Pair]) -> tuple[Cube, ...]:
    return tuple(Cube(care, value) for care, value in sorted(pairs, key=lambda p: (p[1], p[0])))


def _check_size(n: int) -> None:
    if not 0 <= n <= MAX_SIGNALS:
        raise ValueError(f"{n} signals; 0 to {MAX_SIGNALS} can be tabulated")


def _check_masks(masks: Sequence[int], n: int) -> None:
    if any(mask < 0 or mask.bit_length() > 1 << n for mask in masks):
        raise ValueError(f"a mask has patterns that {n} signals do not have")


def _halve(mask: int, n: int, k: int, bit: int) -> int:
    """The patterns of signals other than k that are in the mask when k is `bit`."""
    masks = variable_masks(n)
    mask = (mask >> (1 << (n - 1 - k)) if bit else mask) & ~masks[k]
    for j in range(k - 1, -1, -1):  # close the gaps, pair by pair of blocks
        mask = (mask | mask >> (1 << (n - 2 - j))) & ~masks[j]
    return mask


def _needed(masks: Sequence[int], n: int) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """The weights of the signals that any mask depends on, and the masks over those alone."""
    kept = [1 << (n - 1 - k) for k in range(n)]
    found = tuple(masks)
    for k in range(n - 1, -1, -1):
        size = len(kept)
        low = ~variable_masks(size)[k]
        if all(not (m ^ (m >> (1 << (size - 1 - k)))) & low for m in found):
            found = tuple(_halve(m, size, k, 0) for m in found)
            del kept[k]
    return tuple(kept), found


def _widen(pair: Pair, kept: Sequence[int]) -> Pair:
    """A cube over the kept signals as one over all signals."""
    care = value = 0
    for i, weight in enumerate(reversed(kept)):
        care |= weight * (pair[0] >> i & 1)
        value |= weight * (pair[1] >> i & 1)
    return care, value


def _minimise(on: int, upper: int, n: int, effort: int) -> list[Pair]:
    if not on:
        return []
    # lists of masks grow with both numbers; two thousand of the longest are a second's work
    found = primes(upper, n, max(2_000, min(12_000, (1 << 32) >> n)))
    if found is not None:
        return choose(on, found, n, effort)
    return _grow_and_shrink(on, upper, n, effort)


def _grow_and_shrink(on: int, upper: int, n: int, effort: int) -> list[Pair]:
    """Few cubes where the primes cannot be listed: a pool of primes grown from good covers.

    As in espresso, cubes grow to primes, needless ones go, and the rest shrink to what they alone
    hold and grow another way; but every prime ever met stays in the pool to be chosen again.
    """
    best = _irredundant(on, upper, n)
    off = ((1 << (1 << n)) - 1) & ~upper
    seeds = best
    pool: set[Pair] = set()
    left, idle = WIDE_EFFORT, 0
    for turn in range(ROUNDS):
        left -= (len(seeds) * n // 2 + 6_000) * (1 + (1 << n >> 13))
        if left < 0 or idle == 2:
            break
        pool.update(_grow(pair, on, off, n, turn) for pair in seeds)
        answer = choose(on, sorted(pool), n, effort // ROUNDS)
        idle = 0 if turn == 0 or len(answer) < len(best) else idle + 1
        if not idle:
            best = answer
        seeds = _shrink(answer, on, n)
    return best


def _grow(pair: Pair, on: int, off: int, n: int, turn: int) -> Pair:
    """A prime round the cube: in even turns towards most wanted patterns, in odd ones in order."""
    care, value = pair
    mask = cube_bits(care, value, n)
    order = [1 << (i + turn) % n for i in range(n) if care >> (i + turn) % n & 1]
    while True:
        sides = []
        for weight in list(order):
            side = mask >> weight if value & weight else mask << weight
            if side & off:
                order.remove(weight)  # and it stays barred for every larger cube
                continue
            sides.append(((side & on).bit_count(), weight, side))
            if turn % 2:
                break
        if not sides:
            return care, value
        _, weight, side = max(sides)
        order.remove(weight)
        mask |= side
        care, value = care & ~weight, value & ~weight


def _shrink(cubes: Sequence[Pair], on: int, n: int) -> list[Pair]:
    """For each cube the smallest one round the wanted patterns that no other cube holds."""
    masks = [cube_bits(care, value, n) & on for care, value in cubes]
    once = twice = 0
    for mask in masks:
        twice |= once & mask
        once |= mask
    found = []
    for mask in masks:
        own = mask & ~twice
        if not own:
            continue
        care = value = 0
        for k in range(n - 1, -1, -1):  # fold the halves together, signal by signal
            weight = 1 << k
            high, low = own >> weight, own & ((1 << weight) - 1)
            if not low:
                care, value = care | weight, value | weight
            elif not high:
                care |= weight
            own = low | high
        found.append((care, value))
    return found


def _irredundant(lower: int, upper: int, n: int) -> list[Pair]:
    """Cubes between two masks none of which can be left out (Minato and Morreale, FROM MEMORY)."""
    known: dict[tuple[int, int, int], tuple[tuple[Pair, ...], int]] = {}

    def of(lower: int, upper: int, k: int) -> tuple[tuple[Pair, ...], int]:
        if not lower:
            return (), 0
        if upper.bit_count() == 1 << k:
            return ((0, 0),), upper
        key = (lower, upper, k)
        if key in known:
            return known[key]
        half = 1 << (k - 1)
        full = (1 << half) - 1
        lower0, lower1, upper0, upper1 = lower & full, lower >> half, upper & full, upper >> half
        zeros, mask0 = of(lower0 & ~upper1, upper0, k - 1)
        ones, mask1 = of(lower1 & ~upper0, upper1, k - 1)
        rest = lower0 & ~mask0 | lower1 & ~mask1
        both, mask2 = of(rest, upper0 & upper1, k - 1)
        cubes = (
            *[(care | half, value) for care, value in zeros],
            *[(care | half, value | half) for care, value in ones],
            *both,
        )
        known[key] = found = (cubes, mask0 | mask2 | (mask1 | mask2) << half)
        return found

    return list(of(lower, upper, n)[0])


def disjoint_cover(
    classes: Sequence[int], n: int, *, domain: int | None = None
) -> tuple[tuple[int, Cube], ...]:
    """Rows (number of the class, cube) that do not overlap and leave nothing of the domain out.

    The classes are disjoint masks which together fill the domain: all patterns of n signals, or
    the mask given. Patterns outside it fall into any row or none. The rows are as few as the best
    of several trees of splits gives, and stand in counting order. Raises ValueError for masks
    that do not fit.
    """
    outside = _check_classes(classes, n, domain)
    kept, (outside, *small) = _needed((outside, *classes), n)
    plain = _covers(small, outside, len(kept))
    rows = [_widen_row(row, kept) for row in _disjoint(small, len(kept), plain)]
    return _as_rows(sorted(rows, key=lambda row: (row[2], row[1], row[0])))


def first_match_cover(
    classes: Sequence[int], n: int, *, domain: int | None = None
) -> tuple[tuple[int, Cube], ...]:
    """Rows (number of the class, cube) of which the first that holds a pattern decides its class.

    Classes and domain as in `disjoint_cover`; the order of the rows matters. Never more rows than
    that gives, nor than the covers of all classes one after the other.
    """
    outside = _check_classes(classes, n, domain)
    kept, (outside, *small) = _needed((outside, *classes), n)
    size = len(kept)
    plain = _covers(small, outside, size)
    answers = [_last_by_default(plain), _class_by_class(small, plain, outside, size)]
    least = sum(map(bool, small))  # no answer has fewer rows than there are classes
    if min(map(len, answers)) > least:
        answers.append(_last_by_default(_disjoint(small, size, plain)))
    effort = len(plain) ** 2 * size * (1 + (1 << size >> 13))
    if min(map(len, answers)) > least and effort < WIDE_EFFORT:
        answers.append(_largest_first(small, plain, size))
    best = min((_without_idle(rows, small, size) for rows in answers), key=_size)
    return _as_rows([_widen_row(row, kept) for row in best])


def check_cover(
    rows: Sequence[tuple[int, Cube]],
    classes: Sequence[int],
    n: int,
    *,
    domain: int | None = None,
    first_match: bool = False,
) -> tuple[str, ...]:
    """What is wrong with the rows of a table, in plain words; nothing if they are right.

    Row after row the masks of single signals are joined, which shares no step with the finding of
    rows. Unless the first match decides, rows that overlap are wrong too.
    """
    everything = (1 << (1 << n)) - 1
    wanted = everything if domain is None else domain
    faults = []
    seen = 0
    for number, (c, cube) in enumerate(rows):
        mask = everything
        for k, ones in enumerate(variable_masks(n)):
            if cube.care >> (n - 1 - k) & 1:
                mask &= ones if cube.value >> (n - 1 - k) & 1 else everything ^ ones
        if cube.value & ~cube.care or cube.care >> n:
            faults.append(f"row {number} has bits that are not its own")
        if mask & seen and not first_match:
            faults.append(f"row {number} overlaps an earlier row")
        if mask & ~seen & wanted & ~classes[c]:
            faults.append(f"row {number} holds a pattern that is not of class {c}")
        seen |= mask
    if wanted & ~seen:
        faults.append(f"{(wanted & ~seen).bit_count()} patterns have no row")
    return tuple(faults)


def _check_classes(classes: Sequence[int], n: int, domain: int | None) -> int:
    """The patterns outside the domain; a ValueError if the classes do not fit it."""
    _check_size(n)
    full = (1 << (1 << n)) - 1
    domain = full if domain is None else domain
    _check_masks((*classes, domain), n)
    union = 0
    for mask in classes:
        if mask & union:
            raise ValueError("two classes have a pattern in common")
        union |= mask
    if union != domain:
        raise ValueError("the classes together are not the domain")
    return full ^ domain


def _as_rows(rows: Sequence[Row]) -> tuple[tuple[int, Cube], ...]:
    return tuple((c, Cube(care, value)) for c, care, value in rows)


def _widen_row(row: Row, kept: Sequence[int]) -> Row:
    return (row[0], *_widen(row[1:], kept))


def _size(rows: Sequence[Row]) -> tuple[int, int]:
    return len(rows), sum(care.bit_count() for _, care, _ in rows)


def _covers(classes: Sequence[int], outside: int, n: int) -> list[Row]:
    """The cover of each class by itself, one after the other."""
    return [
        (c, care, value)
        for c, mask in enumerate(classes)
        for care, value in _cover(mask, mask | outside, n, EFFORT)
    ]


def _disjoint(classes: Sequence[int], n: int, plain: Sequence[Row]) -> list[Row]:
    """The fewest rows of several trees, and of the covers cut into pieces that do not overlap."""
    trees = [_tree(classes, n, pick) for pick in (_most_clashes, _purest, _in_order)]
    cut = _cut(plain, classes, n, 2 * min(len(rows) for rows in trees))
    return min((_join(rows) for rows in (*trees, cut) if rows is not None), key=_size)


Pick = Callable[[Sequence[int], int], int]


def _tree(classes: Sequence[int], n: int, pick: Pick) -> list[Row]:
    """Split on one signal after the other until each part is of one class."""
    known: dict[tuple[tuple[int, ...], tuple[int, ...]], list[Row]] = {}
    weights = tuple(1 << (n - 1 - k) for k in range(n))
    masks, weights = _without_idle_signals(tuple(classes), weights)
    most = len(weights)

    def of(masks: tuple[int, ...], weights: tuple[int, ...]) -> list[Row]:
        live = [c for c, mask in enumerate(masks) if mask]
        if len(live) < 2:
            return [(c, 0, 0) for c in live]
        key = masks, weights
        if key not in known:
            masks, weights = _without_idle_signals(masks, weights)
            size = len(weights)
            if size <= (EXACT_TREE if size == most else EXACT_BRANCH):
                known[key] = [_widen_row(row, weights) for row in _best_tree(masks, size)]
                return known[key]
            k = pick(masks, size)
            weight, rest = weights[k], weights[:k] + weights[k + 1 :]
            zero = of(tuple(_halve(m, size, k, 0) for m in masks), rest)
            one = of(tuple(_halve(m, size, k, 1) for m in masks), rest)
            known[key] = [(c, care | weight, value) for c, care, value in zero]
            known[key] += [(c, care | weight, value | weight) for c, care, value in one]
        return known[key]

    return of(masks, weights)


def _clashes(masks: Sequence[int], n: int, k: int) -> int:
    """How many pairs of patterns that differ in signal k alone are of two classes."""
    once = twice = 0
    for mask in masks:
        either = mask | mask >> (1 << (n - 1 - k))
        twice |= once & either
        once |= either
    return (twice & ~variable_masks(n)[k]).bit_count()


def _without_idle_signals(
    masks: tuple[int, ...], weights: tuple[int, ...]
) -> tuple[tuple[int, ...], tuple[int, ...]]:
    """Leave out signals that decide nothing, also where only the domain makes them so."""
    for k in range(len(weights) - 1, -1, -1):
        n = len(weights)
        if not _clashes(masks, n, k):
            masks = tuple(_halve(m | m >> (1 << (n - 1 - k)), n, k, 0) for m in masks)
            weights = weights[:k] + weights[k + 1 :]
    return masks, weights


def _most_clashes(masks: Sequence[int], n: int) -> int:
    """The signal that most often decides."""
    return max(range(n), key=lambda k: (_clashes(masks, n, k), -k))


def _purest(masks: Sequence[int], n: int) -> int:
    """The signal whose sides are most nearly of one class each (by squares, as Gini's index)."""

    def purity(k: int) -> int:
        ones = variable_masks(n)[k]
        total = 0
        for side in ([m & ones for m in masks], [m & ~ones for m in masks]):
            counts = [mask.bit_count() for mask in side]
            total += (sum(count * count for count in counts) << 20) // max(1, sum(counts))
        return total

    return max(range(n), key=lambda k: (purity(k), -k))


def _in_order(masks: Sequence[int], n: int) -> int:
    """The first signal of those left."""
    return 0


def _best_tree(masks: Sequence[int], n: int) -> list[Row]:
    """The tree of fewest leaves, by trying every split of every part once."""
    ones = variable_masks(n)
    known: dict[Pair, tuple[int, int]] = {}

    def leaves(care: int, value: int, part: Sequence[Pair]) -> int:
        """The fewest leaves of a part, which is the classes left in it with their patterns."""
        if len(part) < 2:
            return len(part)
        if (care, value) not in known:
            best = (1 << n, 0)
            for k in range(n):
                weight = 1 << (n - 1 - k)
                if not care & weight:
                    zero = [(c, m & ~ones[k]) for c, m in part if m & ~ones[k]]
                    one = [(c, m & ones[k]) for c, m in part if m & ones[k]]
                    count = leaves(care | weight, value, zero)
                    if count < best[0]:
                        count += leaves(care | weight, value | weight, one)
                        best = min(best, (count, k))
                if best[0] == len(part):
                    break
            known[care, value] = best
        return known[care, value][0]

    def rows(care: int, value: int, part: Sequence[Pair]) -> list[Row]:
        if len(part) < 2:
            return [(c, care, value) for c, _ in part]
        leaves(care, value, part)
        k = known[care, value][1]
        weight = 1 << (n - 1 - k)
        zero = [(c, m & ~ones[k]) for c, m in part if m & ~ones[k]]
        one = [(c, m & ones[k]) for c, m in part if m & ones[k]]
        return rows(care | weight, value, zero) + rows(care | weight, value | weight, one)

    return rows(0, 0, [(c, mask) for c, mask in enumerate(masks) if mask])


def _cut(plain: Sequence[Row], classes: Sequence[int], n: int, limit: int) -> list[Row] | None:
    """The cubes, large ones first, without what earlier ones hold; None if the pieces are many."""
    pieces: list[Row] = []
    for c, care, value in sorted(plain, key=lambda row: (row[1].bit_count(), row)):
        parts = [(care, value)]
        for _, *other in pieces:
            parts = [left for part in parts for left in _without(part, (other[0], other[1]))]
        pieces += [(c, *part) for part in parts if cube_bits(*part, n) & classes[c]]
        if len(pieces) > limit:
            return None
    return pieces


def _meet(a: Pair, b: Pair) -> bool:
    return not (a[1] ^ b[1]) & a[0] & b[0]


def _without(part: Pair, other: Pair) -> Iterator[Pair]:
    """A cube without another: one piece for each signal that the other fixes and it does not."""
    if not _meet(part, other):
        yield part
        return
    care, value = part
    extra = other[0] & ~care
    while extra:
        weight = 1 << (extra.bit_length() - 1)
        extra ^= weight
        yield care | weight, value | (weight & ~other[1])
        care, value = care | weight, value | (weight & other[1])


def _join(rows: Sequence[Row]) -> list[Row]:
    """Join rows of one class that are twins but for one signal, then any that make up a cube."""
    found = {(care, value): c for c, care, value in rows}
    waiting = sorted(found)
    while waiting:
        care, value = waiting.pop()
        for weight in _weights(care):
            twin = care, value ^ weight
            if (care, value) in found and found.get(twin) == found[care, value]:
                c = found.pop((care, value))
                del found[twin]
                care, value = care & ~weight, value & ~weight
                found[care, value] = c
                waiting.append((care, value))
                break
    joined = sorted((c, *pair) for pair, c in found.items())
    return _absorb(joined) if len(joined) <= 200 else joined


def _weights(care: int) -> list[int]:
    return [1 << k for k in range(care.bit_length()) if care >> k & 1]


def _absorb(rows: Sequence[Row]) -> list[Row]:
    """Double a row where all that it meets is of its class and goes up in it whole."""
    left = sorted(rows, key=lambda row: (row[1].bit_count(), row))
    for _ in range(3):
        before = list(left)
        for row in before:
            if row not in left:
                continue
            for weight in _weights(row[1]):
                c, care, value = row
                k, v = care, value ^ weight  # the other side of this signal
                met = [other for other in left if not (other[2] ^ v) & other[1] & k]
                if all(other[0] == c and other[1] & k == k for other in met):
                    left = [other for other in left if other != row and other not in met]
                    row = c, care & ~weight, value & ~weight
                    left.append(row)
        if left == before:
            break
    return left


def _last_by_default(rows: Sequence[Row]) -> list[Row]:
    """Rows that agree wherever they meet, the class with the most of them as one row at the end."""
    if not rows:
        return []
    counts: dict[int, int] = {}
    for c, *_ in rows:
        counts[c] = counts.get(c, 0) + 1
    last = max(sorted(counts), key=lambda c: counts[c])
    return [row for row in rows if row[0] != last] + [(last, 0, 0)]


def _class_by_class(
    classes: Sequence[int], plain: Sequence[Row], outside: int, n: int
) -> list[Row]:
    """All rows of one class, then all of another that may hold patterns of the first, and so on.

    Few small classes are tried in every order, others with each of the largest ones last.
    """
    counts = [sum(1 for row in plain if row[0] == c) for c in range(len(classes))]
    live = sorted((c for c, mask in enumerate(classes) if mask), key=lambda c: (counts[c], c))
    known: dict[tuple[int, int], list[Row]] = {}

    def block(c: int, earlier: Sequence[int]) -> list[Row]:
        free = outside
        for d in earlier:
            free |= classes[d]
        if (c, free) not in known:
            cubes = _cover(classes[c], classes[c] | free, n, EFFORT // 20)
            known[c, free] = [(c, care, value) for care, value in cubes]
        return known[c, free]

    orders: list[list[int]]
    if len(live) <= 4 and len(plain) * (1 + (1 << n >> 13)) <= 400:
        orders = [list(order) for order in permutations(live)]
    else:
        orders = [[c for c in live if c != last] + [last] for last in live[-3:]]
    answers = []
    for order in orders:
        rows = [row for i, c in enumerate(order[:-1]) for row in block(c, order[:i])]
        answers.append(rows + [(c, 0, 0) for c in order[-1:]])
    return min(answers, key=_size, default=[])


def _largest_first(classes: Sequence[int], plain: Sequence[Row], n: int) -> list[Row]:
    """Always the row next that settles the most patterns, of whatever class."""
    todo = list(classes)
    seeds = list(plain)
    rows: list[Row] = []
    while sum(map(bool, todo)) > 1:
        offs = [_union(m for d, m in enumerate(todo) if d != c) for c in range(len(todo))]
        seeds = [(c, *_grow((k, v), todo[c], offs[c], n, 0)) for c, k, v in seeds]
        gains = [(cube_bits(k, v, n) & todo[c]).bit_count() for c, k, v in seeds]
        c, care, value = seeds[gains.index(max(gains))]
        rows.append((c, care, value))
        todo[c] &= ~cube_bits(care, value, n)
        seeds = [seed for seed, gain in zip(seeds, gains, strict=True) if gain]
    return rows + [(c, 0, 0) for c, mask in enumerate(todo) if mask]


def _union(masks: Iterable[int]) -> int:
    union = 0
    for mask in masks:
        union |= mask
    return union


def _without_idle(rows: list[Row], classes: Sequence[int], n: int) -> list[Row]:
    """Leave out rows, from the last one upwards, whose patterns later rows serve as well."""
    if len(rows) ** 2 * (1 + (1 << n >> 13)) > WIDE_EFFORT:
        return rows
    masks = [cube_bits(care, value, n) for _, care, value in rows]
    earlier, union = [], 0
    for mask in masks:
        earlier.append(union)
        union |= mask
    kept: list[int] = []
    for i in range(len(rows) - 1, -1, -1):
        c = rows[i][0]
        # what it decides and must decide; what it decides outside the domain is nobody's loss
        left = masks[i] & ~earlier[i] & classes[c]
        for j in reversed(kept):
            if left & masks[j] and rows[j][0] != c:
                break
            left &= ~masks[j]
            if not left:
                break
        if left:
            kept.append(i)
    return [rows[i] for i in reversed(kept)]
