"""Kernels one by one against slow plain-Python references."""

from __future__ import annotations

import heapq
import inspect
import os

import numpy as np
import pytest
from numpy.typing import NDArray

from terrain._kernels.accumulate import (
    accumulate_band,
    accumulate_rest,
    count_donors,
    downstream_order,
)
from terrain._kernels.directions import (
    collect_unresolved,
    settle_codes,
    steepest_codes,
    touches_outside,
)
from terrain._kernels.heap import (
    grown,
    heap_drop_first,
    heap_push,
    key_drop_first,
    key_push,
    rising_bits,
)
from terrain._kernels.network import longest_way_down
from tests.terrain import oracle
from tests.terrain.surfaces import Case, named, random_cases


def inverse(case: Case) -> tuple[np.float32, np.float32, np.float32]:
    height, width = case.height_m, case.width_m
    return np.float32(1 / height), np.float32(1 / width), np.float32(1 / np.hypot(height, width))


def settled_codes(seed: int, number: int, largest: int = 12) -> list[NDArray[np.uint8]]:
    """Flow codes of conditioned surfaces, from the reference."""
    cases = random_cases(seed, number, largest=largest)
    return [oracle.condition(case.z).codes for case in cases]


def test_kernels_run_in_the_mode_asked_for() -> None:
    """Compiled, unless numba is told otherwise; checking indices where that is asked."""
    assert inspect.isfunction(grown) == (os.environ.get("NUMBA_DISABLE_JIT") == "1")
    if os.environ.get("NUMBA_BOUNDSCHECK") == "1":
        with pytest.raises(IndexError):
            heap_drop_first(np.empty(1, np.float32), np.empty(1, int), np.empty(1, int), 9)


@pytest.mark.parametrize("seed", range(3))
def test_steepest_codes(seed: int) -> None:
    for case in random_cases(seed, 40):
        codes = np.full(case.z.shape, 77, dtype=np.uint8)
        unresolved = steepest_codes(case.z, *inverse(case), 0, case.z.shape[0], codes)
        expected = oracle.raw_codes(case.z, case.height_m, case.width_m)
        np.testing.assert_array_equal(codes, expected)
        assert unresolved == np.count_nonzero(expected == oracle.OPEN_END)


@pytest.mark.parametrize("z", named().values(), ids=named().keys())
def test_steepest_codes_of_surfaces_with_a_story(z: NDArray[np.float32]) -> None:
    case = Case(z, 1.0, 1.0, (np.inf, np.inf))
    codes = np.empty(z.shape, dtype=np.uint8)
    steepest_codes(z, *inverse(case), 0, z.shape[0], codes)
    np.testing.assert_array_equal(codes, oracle.raw_codes(z))


def test_steepest_is_by_slope_not_by_height() -> None:
    """A corner that lies lower loses to a side that is steeper, and the other way round."""
    z = np.full((3, 3), 9.0, dtype=np.float32)
    z[1, 1], z[0, 0], z[0, 1] = 5.0, 3.7, 4.0
    codes = np.empty((3, 3), dtype=np.uint8)
    steepest_codes(z, *inverse(Case(z, 1, 1, (0, 0))), 0, 3, codes)
    assert codes[1, 1] == 0
    z[0, 0] = 3.5
    steepest_codes(z, *inverse(Case(z, 1, 1, (0, 0))), 0, 3, codes)
    assert codes[1, 1] == 7


def test_oblong_cells_change_what_is_steepest() -> None:
    z = np.full((3, 3), 9.0, dtype=np.float32)
    z[1, 1], z[0, 1], z[1, 2] = 5.0, 4.0, 4.2
    codes = np.empty((3, 3), dtype=np.uint8)
    steepest_codes(z, *inverse(Case(z, 1, 1, (0, 0))), 0, 3, codes)
    assert codes[1, 1] == 0
    steepest_codes(z, *inverse(Case(z, 2, 1, (0, 0))), 0, 3, codes)
    assert codes[1, 1] == 2


def test_a_row_range_leaves_other_rows_alone() -> None:
    z = np.random.default_rng(5).normal(size=(10, 7)).astype(np.float32)
    case = Case(z, 1, 1, (0, 0))
    codes = np.full(z.shape, 77, dtype=np.uint8)
    steepest_codes(z, *inverse(case), 3, 6, codes)
    np.testing.assert_array_equal(codes[3:6], oracle.raw_codes(z)[3:6])
    assert (codes[:3] == 77).all()
    assert (codes[6:] == 77).all()


def test_settling_keeps_given_codes_only_where_nothing_is_lower() -> None:
    rng = np.random.default_rng(11)
    for case in random_cases(11, 25):
        raw = oracle.raw_codes(case.z, case.height_m, case.width_m)
        given = np.where(raw == oracle.VOID, raw, rng.integers(0, 9, raw.shape) | 16)
        codes = given.astype(np.uint8)
        settle_codes(case.z, *inverse(case), 0, raw.shape[0], codes)
        expected = np.where(raw < oracle.OUTLET, raw, given & 15)
        np.testing.assert_array_equal(codes, np.where(raw == oracle.VOID, oracle.VOID, expected))


def test_touching_the_outside() -> None:
    for case in random_cases(3, 25):
        for cell in np.ndindex(case.z.shape):
            assert touches_outside(case.z, *cell) == oracle.touches_outside(case.z, cell)


def test_unresolved_cells_are_pits_of_one_cell_or_parts_of_flats() -> None:
    for case in random_cases(13, 40):
        codes = oracle.raw_codes(case.z)
        pits, flats = collect_unresolved(case.z, codes, 0, codes.shape[0])
        alone, together = [], []
        for cell in map(tuple, np.argwhere(codes == oracle.OPEN_END).tolist()):
            joined = any(
                codes[n] == oracle.OPEN_END and case.z[n] == case.z[cell]
                for _, n in oracle.neighbours(codes.shape, cell)
            )
            number = cell[0] * codes.shape[1] + cell[1]
            (together if joined else alone).append(number)
        assert pits.tolist() == alone
        assert flats.tolist() == together


def test_donors() -> None:
    for codes in settled_codes(17, 40):
        donors = np.empty(codes.shape, dtype=np.uint8)
        count_donors(codes, 0, codes.shape[0], donors)
        np.testing.assert_array_equal(donors, oracle.donor_counts(codes))


def test_eight_donors() -> None:
    codes = np.array([[3, 4, 5], [2, 8, 6], [1, 0, 7]], dtype=np.uint8)
    donors = np.empty(codes.shape, dtype=np.uint8)
    count_donors(codes, 0, 3, donors)
    assert donors[1, 1] == 8
    assert donors.sum() == 8


@pytest.mark.parametrize("band", [1, 2, 5, 100])
def test_accumulation_in_bands(band: int) -> None:
    """Bands of any height, with the rest handed on, give what walking down from each cell does."""
    for codes in settled_codes(19, 25):
        rows = codes.shape[0]
        donors = oracle.donor_counts(codes)
        sums = (codes != oracle.VOID).astype(np.int32)
        carried = [
            accumulate_band(codes, donors, sums, start, min(start + band, rows))
            for start in range(0, rows, band)
        ]
        for to_cell, amount in carried:
            accumulate_rest(codes, donors, sums, to_cell, amount)
        np.testing.assert_array_equal(sums, oracle.accumulate(codes))
        assert (donors[codes != oracle.VOID] == 255).all()


def test_order_puts_donors_first() -> None:
    for codes in settled_codes(23, 40):
        order = np.empty(codes.size, dtype=np.int32)
        n = downstream_order(codes, oracle.donor_counts(codes), order)
        assert sorted(order[:n].tolist()) == np.flatnonzero(codes != oracle.VOID).tolist()
        place = np.full(codes.size, -1)
        place[order[:n]] = np.arange(n)
        place = place.reshape(codes.shape)  # type: ignore[assignment]
        for cell in map(tuple, np.argwhere(codes < oracle.OUTLET).tolist()):
            assert place[cell] < place[oracle.moved(cell, int(codes[cell]))]


def test_longest_way() -> None:
    steps = np.array([np.hypot(dr * 1.5, dc * 2.5) for dr, dc in oracle.STEPS])
    for codes in settled_codes(29, 25):
        length = np.zeros(codes.shape)
        longest_way_down(codes, oracle.donor_counts(codes), steps, length)
        np.testing.assert_allclose(length, oracle.longest_way_m(codes, 1.5, 2.5), rtol=1e-12)


def test_the_heap_gives_lowest_first_and_the_earlier_of_equals() -> None:
    rng = np.random.default_rng(31)
    level = np.empty(200, dtype=np.float32)
    seq, cell = np.empty(200, dtype=np.int64), np.empty(200, dtype=np.int64)
    size, expected, seen = 0, [], 0
    for _ in range(600):
        if size < 200 and (size == 0 or rng.random() < 0.6):
            item = (np.float32(rng.integers(0, 9)), seen, int(rng.integers(1000)))
            size = heap_push(level, seq, cell, size, *item)
            heapq.heappush(expected, item)
            seen += 1
        else:
            assert (level[0], seq[0], cell[0]) == heapq.heappop(expected)
            size = heap_drop_first(level, seq, cell, size)
        assert size == len(expected)


def test_keys_rise_with_levels_then_with_numbers() -> None:
    rng = np.random.default_rng(37)
    levels = np.unique(np.r_[rng.normal(0, 1e3, 500), 0, np.inf, -np.inf, 1e-40].astype(np.float32))
    bits = [int(rising_bits(level)) for level in levels]
    assert bits == sorted(set(bits))
    assert bits[0] >= 0
    assert bits[-1] < 2**32
    assert rising_bits(np.float32(-0.0)) == rising_bits(np.float32(0.0))


def test_the_heap_of_keys_sorts() -> None:
    rng = np.random.default_rng(38)
    keys = np.empty(1000, dtype=np.uint64)
    for _ in range(5):
        held: list[int] = []
        size = 0
        for new in rng.integers(0, 2**63, 1000).tolist():
            heapq.heappush(held, 2 * new)
            size = key_push(keys, size, np.uint64(2 * new))
            if rng.random() < 0.3:
                assert keys[0] == heapq.heappop(held)
                size = key_drop_first(keys, size)
        while held:
            assert keys[0] == heapq.heappop(held)
            size = key_drop_first(keys, size)
        assert size == 0


def test_growing_keeps_what_is_there() -> None:
    array = np.arange(4)
    assert grown(array, 4) is array or np.shares_memory(grown(array, 4), array)
    bigger = grown(array, 5)
    assert bigger.size == 8
    np.testing.assert_array_equal(bigger[:4], array)
    assert grown(array, 100).size == 100
