"""Merged rows: sound, small, and the fewest where that can be checked by brute force."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Sequence
from functools import cache
from itertools import combinations, product
from random import Random

import hypothesis.strategies as st
import pytest
from hypothesis import given, settings

from rungs.table.cover import (
    MAX_SIGNALS,
    Cube,
    check_cover,
    cover,
    cube_mask,
    cube_text,
    disjoint_cover,
    first_match_cover,
    variable_masks,
)
from rungs.table.exact_cover import fewest_columns, primes
from tests.benchmarks.merged_rows import ladder_like, merged_rows, random_table


def full(n: int) -> int:
    return (1 << (1 << n)) - 1


def mask_of(patterns: Sequence[int]) -> int:
    return sum(1 << pattern for pattern in patterns)


def held(text: str) -> int:
    """The patterns of a row of 0, 1 and -, one by one from its text."""
    patterns = product(*("01" if char == "-" else char for char in text))
    return mask_of([int("".join(bits) or "0", 2) for bits in patterns])


@cache
def all_rows(n: int) -> tuple[int, ...]:
    return tuple(held("".join(chars)) for chars in product("01-", repeat=n))


def fewest_by_trial(on: int, upper: int, n: int) -> int:
    """The size of the smallest set of cubes, by trying one cube, every two cubes, and so on."""
    cubes = [row for row in all_rows(n) if not row & ~upper and row & on]
    largest = [row for row in cubes if not any(row != o and row & o == row for o in cubes)]
    for count in range(len(largest) + 1):
        for few in combinations(largest, count):
            union = 0
            for row in few:
                union |= row
            if not on & ~union:
                return count
    raise AssertionError("all of them together hold every pattern")


def assert_sound(cubes: tuple[Cube, ...], on: int, dont_care: int, n: int) -> None:
    union = 0
    for cube in cubes:
        union |= held(cube_text(cube, n))
    assert not on & ~union
    assert not union & ~(on | dont_care)


@st.composite
def tables(draw: st.DrawFn, most: int) -> tuple[int, int, int]:
    n = draw(st.integers(0, most))
    on = draw(st.integers(0, full(n)))
    return on, draw(st.integers(0, full(n))) & ~on, n


@st.composite
def classed(draw: st.DrawFn, most: int) -> tuple[list[int], int, int]:
    """Up to five classes, a number of signals and a domain, which is not always everything."""
    n = draw(st.integers(0, most))
    rng = Random(draw(st.integers(0, 2**32)))
    count = draw(st.integers(1, 5))
    blank = draw(st.sampled_from((0.0, 0.0, 0.3, 0.9)))
    if draw(st.booleans()):
        column = [rng.randrange(count) for _ in range(1 << n)]
    else:  # a few signals decide, as in tables made from ladders
        chosen = [rng.randrange(1 << n) for _ in range(2)]
        column = [sum((p & c).bit_count() % 2 for c in chosen) % count for p in range(1 << n)]
    inside = [rng.random() >= blank for _ in range(1 << n)]
    classes = [
        mask_of([p for p in range(1 << n) if inside[p] and column[p] == c]) for c in range(count)
    ]
    return classes, n, sum(classes)


class TestMasks:
    @pytest.mark.parametrize("n", range(7))
    def test_signal_masks_hold_the_patterns_in_which_the_signal_is_1(self, n: int) -> None:
        for k, mask in enumerate(variable_masks(n)):
            assert mask == mask_of([p for p in range(1 << n) if f"{p:0{n}b}"[k] == "1"])

    def test_the_widest_masks_are_half_ones_and_independent(self) -> None:
        masks = variable_masks(MAX_SIGNALS)
        assert {mask.bit_count() for mask in masks} == {1 << (MAX_SIGNALS - 1)}
        assert (masks[0] & masks[-1]).bit_count() == 1 << (MAX_SIGNALS - 2)

    @given(st.text("01-", max_size=9))
    @settings(deadline=None, max_examples=50)
    def test_a_cube_is_written_as_it_is_read(self, text: str) -> None:
        care = int("0" + "".join("0" if char == "-" else "1" for char in text), 2)
        cube = Cube(care, int("0" + text.replace("-", "0"), 2))
        assert cube_text(cube, len(text)) == text
        assert cube_mask(cube, len(text)) == held(text)

    def test_what_does_not_fit_is_refused(self) -> None:
        with pytest.raises(ValueError, match="21 signals"):
            variable_masks(21)
        with pytest.raises(ValueError, match="do not have"):
            cover(1 << 8, 0, 3)
        with pytest.raises(ValueError, match="do not have"):
            cover(0, -1, 3)


class TestCover:
    def test_every_function_of_three_signals_has_the_fewest_cubes(self) -> None:
        for on in range(256):
            cubes = cover(on, 0, 3)
            assert_sound(cubes, on, 0, 3)
            assert len(cubes) == fewest_by_trial(on, on, 3), f"{on:08b}"  # COMPUTED by trial

    def test_every_function_of_two_signals_with_dont_cares_has_the_fewest_cubes(self) -> None:
        for column in product("01-", repeat=4):
            on, free = (mask_of([p for p in range(4) if column[p] == sign]) for sign in "1-")
            assert len(cover(on, free, 2)) == fewest_by_trial(on, on | free, 2), column

    @given(st.integers(0, full(4)), st.integers(0, full(4)))
    @settings(deadline=None, max_examples=60)
    def test_functions_of_four_signals_have_the_fewest_cubes(self, on: int, free: int) -> None:
        cubes = cover(on, free & ~on, 4)
        assert_sound(cubes, on, free & ~on, 4)
        assert len(cubes) == fewest_by_trial(on, on | free, 4)  # COMPUTED by trial

    @given(tables(8))
    @settings(deadline=None, max_examples=60)
    def test_cubes_hold_all_that_is_on_and_nothing_that_is_off(
        self, table: tuple[int, int, int]
    ) -> None:
        on, dont_care, n = table
        cubes = cover(on, dont_care, n)
        assert_sound(cubes, on, dont_care, n)
        assert list(cubes) == sorted(cubes, key=lambda cube: (cube.value, cube.care))
        for i in range(len(cubes)):  # none can be left out
            rest = 0
            for cube in cubes[:i] + cubes[i + 1 :]:
                rest |= cube_mask(cube, n)
            assert on & ~rest

    @pytest.mark.parametrize(("ones", "free"), [(0.5, 0.0), (0.2, 0.3), (0.05, 0.9)])
    def test_cubes_are_sound_for_ten_signals(self, ones: float, free: float) -> None:
        on, dont_care, n = random_table(10, ones, free, Random(7))
        assert_sound(cover(on, dont_care, n), on, dont_care, n)

    def test_a_pattern_that_is_on_and_free_at_once_is_held(self) -> None:
        assert cover(0b10, 0b11, 1) == (Cube(0, 0),)

    def test_where_primes_are_too_many_the_pool_still_gives_sound_and_few_cubes(self) -> None:
        on, dont_care, n = random_table(13, 0.01, 0.95, Random(4))
        assert primes(on | dont_care, n, 12_000) is None  # so that they cannot be listed
        cubes = cover(on, dont_care, n)
        assert_sound(cubes, on, dont_care, n)
        assert len(cubes) <= on.bit_count() // 2

    @pytest.mark.parametrize("n", range(1, 9))
    def test_parity_cannot_be_merged(self, n: int) -> None:
        odd = mask_of([p for p in range(1 << n) if p.bit_count() % 2])
        assert len(cover(odd, 0, n)) == 1 << (n - 1)  # COMPUTED: no two odd patterns are neighbours


class TestHandbook:
    """Minimisations that textbooks print; all FROM MEMORY, and sound by the checks above."""

    @pytest.mark.parametrize(
        ("on", "free", "n", "rows"),
        [
            # the usual worked example of Quine and McCluskey's method, FROM MEMORY
            ((4, 8, 10, 11, 12, 15), (9, 14), 4, 3),
            # the usual worked example of Karnaugh's map: AC' + AB' + BCD', FROM MEMORY
            ((6, 8, 9, 10, 11, 12, 13, 14), (), 4, 3),
            # the cyclic function of three signals: three of its six primes, FROM MEMORY
            ((0, 1, 2, 5, 6, 7), (), 3, 3),
            # carry and sum of a full adder, FROM MEMORY
            ((3, 5, 6, 7), (), 3, 3),
            ((1, 2, 4, 7), (), 3, 4),
            # segment a of a seven-segment digit: A + C + BD + B'D', FROM MEMORY
            ((0, 2, 3, 5, 6, 7, 8, 9), range(10, 16), 4, 4),
            # BCD to excess-3: W = A + BC + BD, X = B'C + B'D + BC'D', Y = CD + C'D', Z = D',
            # FROM MEMORY
            (range(5, 10), range(10, 16), 4, 3),
            ((1, 2, 3, 4, 9), range(10, 16), 4, 3),
            ((0, 3, 4, 7, 8), range(10, 16), 4, 2),
            ((0, 2, 4, 6, 8), range(10, 16), 4, 1),
        ],
    )
    def test_the_printed_number_of_terms_is_met(
        self, on: Sequence[int], free: Sequence[int], n: int, rows: int
    ) -> None:
        cubes = cover(mask_of(on), mask_of(free), n)
        assert_sound(cubes, mask_of(on), mask_of(free), n)
        assert len(cubes) == rows

    def test_rows_read_as_printed_where_the_answer_is_the_only_one(self) -> None:
        printed = {"1-0-", "10--", "-110"}  # AC' + AB' + BCD', FROM MEMORY
        cubes = cover(mask_of((6, 8, 9, 10, 11, 12, 13, 14)), 0, 4)
        assert {cube_text(cube, 4) for cube in cubes} == printed

    def test_the_symmetric_function_of_nine_signals_needs_eighty_four_cubes(self) -> None:
        on = mask_of([p for p in range(512) if 3 <= p.bit_count() <= 6])
        # the two-level benchmark 9sym: 1,680 primes, 84 cubes at best, FROM MEMORY; the first
        # is also COMPUTED: three signals fixed at 1 and three of the other six at 0
        found = primes(on, 9, 2_000)
        assert found is not None
        assert len(found) == 84 * 20
        assert len(cover(on, 0, 9)) == 84


class TestCoveringProblem:
    @given(st.lists(st.sets(st.integers(0, 7), min_size=1), max_size=9))
    @settings(deadline=None, max_examples=60)
    def test_as_few_columns_as_trial_finds(self, rows: list[set[int]]) -> None:
        chosen = fewest_columns(rows, 20_000)
        assert all(row & set(chosen) for row in rows)
        sizes = [len(few) for count in range(9) for few in combinations(range(8), count)
                 if all(row & set(few) for row in rows)]  # fmt: skip
        assert len(chosen) == min(sizes)

    def test_without_effort_every_row_is_still_touched(self) -> None:
        rng = Random(2)
        rows = [set(rng.sample(range(60), 4)) for _ in range(120)]
        hasty, patient = fewest_columns(rows, 0), fewest_columns(rows, 100_000)
        assert all(row & set(hasty) for row in rows)
        assert all(row & set(patient) for row in rows)
        assert len(patient) <= len(hasty)


class TestRows:
    @given(classed(8))
    @settings(deadline=None, max_examples=50)
    def test_disjoint_rows_overlap_nowhere_and_leave_nothing_out(
        self, case: tuple[list[int], int, int]
    ) -> None:
        classes, n, domain = case
        rows = disjoint_cover(classes, n, domain=domain)
        times = [0] * (1 << n)
        for c, cube in rows:
            for pattern in range(1 << n):
                if held(cube_text(cube, n)) >> pattern & 1:
                    times[pattern] += 1
                    assert classes[c] >> pattern & 1 or not domain >> pattern & 1
        assert max(times, default=0) <= 1
        assert all(times[p] for p in range(1 << n) if domain >> p & 1)
        assert check_cover(rows, classes, n, domain=domain) == ()

    @given(classed(8))
    @settings(deadline=None, max_examples=50)
    def test_the_first_row_that_matches_gives_the_class(
        self, case: tuple[list[int], int, int]
    ) -> None:
        classes, n, domain = case
        rows = first_match_cover(classes, n, domain=domain)
        for pattern in range(1 << n):
            if domain >> pattern & 1:
                first = next(c for c, cube in rows if pattern & cube.care == cube.value)
                assert classes[first] >> pattern & 1
        assert check_cover(rows, classes, n, domain=domain, first_match=True) == ()

    @given(classed(7))
    @settings(deadline=None, max_examples=40)
    def test_first_match_never_needs_more_rows_than_the_others(
        self, case: tuple[list[int], int, int]
    ) -> None:
        classes, n, domain = case
        rows = len(first_match_cover(classes, n, domain=domain))
        assert rows <= len(disjoint_cover(classes, n, domain=domain))
        assert rows <= sum(len(cover(mask, full(n) ^ domain, n)) for mask in classes)

    @given(st.integers(0, full(3)))
    @settings(deadline=None, max_examples=60)
    def test_disjoint_rows_of_three_signals_are_the_fewest(self, on: int) -> None:
        classes = [full(3) ^ on, on]
        fitting = [row for row in all_rows(3) if not row & on or not row & ~on]

        def fewest(left: int) -> int:
            if not left:
                return 0
            low = left & -left
            return 1 + min(fewest(left ^ r) for r in fitting if r & low and not r & ~left)

        assert len(disjoint_cover(classes, 3)) == fewest(full(3))  # COMPUTED by trial

    def test_a_priority_table_is_one_row_a_class_when_the_first_match_decides(self) -> None:
        # eight request lines, the highest one wins; the class is the winner, 8 when there is none
        classes = [0] * 9
        for pattern in range(256):
            classes[8 if not pattern else 8 - pattern.bit_length()] |= 1 << pattern
        rows = first_match_cover(classes, 8)
        assert len(rows) == 9
        assert len(disjoint_cover(classes, 8)) == 9
        assert rows[-1][1] == Cube(0, 0)

    def test_exceptions_to_exceptions_stay_short(self) -> None:
        # a decides for 0, else b for 1, else c for 0, ... : a chain, each row as it is said
        n = 9
        classes = [0, 0]
        for pattern in range(1 << n):
            classes[(n - pattern.bit_length()) % 2] |= 1 << pattern
        rows = first_match_cover(classes, n)
        assert check_cover(rows, classes, n, first_match=True) == ()
        assert len(rows) <= 6  # COMPUTED: one class has five runs, the other is the rest

    def test_patterns_outside_the_domain_save_rows(self) -> None:
        odd = mask_of([p for p in range(16) if p.bit_count() % 2])
        domain = mask_of([p for p in range(16) if p.bit_count() <= 1])
        rows = disjoint_cover([domain & ~odd, domain & odd], 4, domain=domain)
        assert len(rows) == 5
        assert len(disjoint_cover([full(4) ^ odd, odd], 4)) == 16

    def test_one_class_is_one_row_and_an_empty_domain_none(self) -> None:
        assert disjoint_cover([0, full(5)], 5) == ((1, Cube(0, 0)),)
        assert first_match_cover([0, full(5)], 5) == ((1, Cube(0, 0)),)
        assert disjoint_cover([0, 0], 5, domain=0) == ()
        assert first_match_cover([0, 0], 5, domain=0) == ()

    def test_classes_that_overlap_or_leave_a_gap_are_refused(self) -> None:
        with pytest.raises(ValueError, match="in common"):
            disjoint_cover([0b0011, 0b1110], 2)
        with pytest.raises(ValueError, match="not the domain"):
            first_match_cover([0b0011, 0b0100], 2)


class TestCheck:
    CLASSES = (0b0011, 0b1100)
    GOOD = ((0, Cube(0b10, 0)), (1, Cube(0b10, 0b10)))

    def test_right_rows_pass(self) -> None:
        assert check_cover(self.GOOD, self.CLASSES, 2) == ()

    @pytest.mark.parametrize(
        ("rows", "fault"),
        [
            (GOOD[:1], "2 patterns have no row"),
            (((1, Cube(0b10, 0)), *GOOD[1:]), "row 0 holds a pattern that is not of class 1"),
            ((*GOOD, (1, Cube(0b11, 0b11))), "row 2 overlaps an earlier row"),
            ((*GOOD, (1, Cube(0b10, 0b01))), "row 2 has bits that are not its own"),
        ],
    )
    def test_each_fault_is_told(self, rows: tuple[tuple[int, Cube], ...], fault: str) -> None:
        assert fault in check_cover(rows, self.CLASSES, 2)

    def test_overlap_is_no_fault_when_the_first_match_decides(self) -> None:
        rows = (self.GOOD[0], (1, Cube(0, 0)))
        assert check_cover(rows, self.CLASSES, 2, first_match=True) == ()
        assert check_cover(rows[::-1], self.CLASSES, 2, first_match=True) != ()


class TestWide:
    def test_five_cubes_over_twenty_signals_are_found_again(self) -> None:
        rng = Random(11)
        texts = ["".join(rng.choice("01----") for _ in range(20)) for _ in range(5)]
        on = 0
        for text in texts:
            care = int("".join("0" if char == "-" else "1" for char in text), 2)
            on |= cube_mask(Cube(care, int(text.replace("-", "0"), 2)), 20)
        cubes = cover(on, 0, 20)
        union = 0
        for cube in cubes:
            union |= cube_mask(cube, 20)
        assert union == on
        assert len(cubes) <= 5

    def test_six_rings_over_eighteen_signals_need_three_cubes_each(self) -> None:
        m = variable_masks(18)
        on = 0
        for k in range(0, 18, 3):  # three signals that are not all alike
            on |= m[k] & ~m[k + 1] | m[k + 1] & ~m[k + 2] | m[k + 2] & ~m[k]
        cubes = cover(on, 0, 18)
        # COMPUTED: with the other rings alike only a cube of this ring can hold a pattern, and
        # three of the six primes of a ring are needed, none of which must be taken
        assert len(cubes) == 18
        union = 0
        for cube in cubes:
            union |= cube_mask(cube, 18)
        assert union == on

    def test_a_product_of_sums_over_twenty_signals_has_every_product(self) -> None:
        on, masks = full(20), variable_masks(20)
        for k in range(0, 12, 3):
            on &= masks[k] | masks[k + 1] | masks[k + 2] | masks[19]
        # COMPUTED: it is positive, so all its primes are needed: 3 * 3 * 3 * 3, and the last signal
        assert len(cover(on, 0, 20)) == 3**4 + 1

    def test_two_outputs_over_twenty_signals_make_sound_rows(self) -> None:
        masks = variable_masks(20)
        one = masks[0] & (masks[7] | masks[13] & ~masks[2])
        two = masks[19] & masks[4] | masks[0] & masks[5]
        everything = full(20)
        parts = (one & two, one & ~two, two & ~one, everything & ~one & ~two)
        rows = disjoint_cover(parts, 20)
        assert check_cover(rows, parts, 20) == ()
        first = first_match_cover(parts, 20)
        assert check_cover(first, parts, 20, first_match=True) == ()
        assert len(first) < len(rows)


class TestSameAnswer:
    def test_the_same_table_gives_the_same_rows_in_another_process(self) -> None:
        words = (
            "from random import Random\n"
            "from rungs.table.cover import cover, disjoint_cover, first_match_cover\n"
            "on = Random(9).getrandbits(128)\n"
            "parts = (on, on ^ (1 << 128) - 1)\n"
            "print(cover(on, 0, 7), disjoint_cover(parts, 7), first_match_cover(parts, 7))"
        )
        results = {
            subprocess.run(
                [sys.executable, "-c", words],
                check=True,
                capture_output=True,
                text=True,
                env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": os.pathsep.join(sys.path)},
            ).stdout
            for seed in ("1", "2")
        }
        on = Random(9).getrandbits(128)
        parts = (on, on ^ full(7))
        here = f"{cover(on, 0, 7)} {disjoint_cover(parts, 7)} {first_match_cover(parts, 7)}"
        assert results == {here + "\n"}


def test_ladder_like_tables_are_merged_to_the_fewest_rows_a_lower_bound_allows() -> None:
    for seed in range(12):
        on = ladder_like(8, Random(seed))
        cubes = cover(on, 0, 8)
        assert_sound(cubes, on, 0, 8)
        found = primes(on, 8, 10_000)
        assert found is not None
        # patterns no two of which lie in one prime need a row each
        apart: list[int] = []
        primes_of = {
            p: {i for i, (care, value) in enumerate(found) if p & care == value}
            for p in range(256)
            if on >> p & 1
        }
        for p in sorted(primes_of, key=lambda p: (len(primes_of[p]), p)):
            if all(not primes_of[p] & primes_of[q] for q in apart):
                apart.append(p)
        assert len(apart) <= len(cubes) <= len(apart) + 1


@pytest.mark.slow
def test_the_benchmark_prints_a_line_for_each_family(capsys: pytest.CaptureFixture[str]) -> None:
    merged_rows()
    lines = capsys.readouterr().out.splitlines()
    assert len(lines) == 16
    assert all(line.startswith("merged rows, ") for line in lines)
    assert all("espresso" in line for line in lines)
