"""Conditioning against a plain-Python reference, and the ground it was found wanting on."""

from __future__ import annotations

import heapq

import numpy as np
import pytest
from numpy.typing import NDArray

from terrain._kernels.directions import steepest_codes
from terrain._kernels.flats import shores
from terrain.flow import ways_out
from terrain.flow.conditioning import NOTABLE_CUT_M, CarveLimits, Conditioned, condition
from terrain.flow.ways_out import WaysOut
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster
from tests.terrain import oracle
from tests.terrain.surfaces import Case, as_raster, named, random_cases


def conditioned(case: Case) -> Conditioned:
    return condition(case.raster, limits=CarveLimits(*case.limits))


def assert_as_reference(case: Case) -> None:
    got = conditioned(case)
    ref = oracle.condition(case.z, height_m=case.height_m, width_m=case.width_m, limits=case.limits)
    valid = case.raster.valid
    np.testing.assert_array_equal(got.raster.elevation_m[valid], ref.surface[valid])
    np.testing.assert_array_equal(got.flow.codes, ref.codes)
    report = got.report
    assert report.carved == len(ref.ways)
    assert report.lowered_cells == np.count_nonzero(ref.surface < ref.filled)
    assert report.filled_cells == np.count_nonzero(ref.filled > case.z)
    cols = case.z.shape[1]
    fills = {(r * cols + c, float(level)) for (r, c), level in ref.fills}
    listed = zip(report.filled_cell.tolist(), report.filled_level_m.tolist(), strict=True)
    assert set(listed) == fills
    deep = sorted((w.depth, w.length) for w in ref.ways if w.depth >= NOTABLE_CUT_M)
    cuts = sorted(zip(report.cut_depth_m.tolist(), report.cut_length_m.tolist(), strict=True))
    np.testing.assert_allclose(cuts, deep, rtol=1e-6)


@pytest.mark.parametrize("seed", range(4))
def test_as_the_reference_on_small_surfaces(seed: int) -> None:
    """Ties, voids, oblong cells and all limits, with several rounds of filling."""
    for case in random_cases(seed, 30):
        assert_as_reference(case)


def test_as_the_reference_without_ties() -> None:
    for case in random_cases(101, 8, largest=24, ties=False):
        assert_as_reference(case)


@pytest.mark.parametrize("limits", [(np.inf, np.inf), (0.0, 0.0), (1.0, 2.0)])
@pytest.mark.parametrize("z", named().values(), ids=named().keys())
def test_as_the_reference_on_surfaces_with_a_story(
    z: NDArray[np.float32], limits: tuple[float, float]
) -> None:
    assert_as_reference(Case(z, 1.0, 1.0, limits))


def priority_flood(z: NDArray[np.float32]) -> NDArray[np.float32]:
    """Level of the lowest pass between each cell and the outside (Barnes et al. 2014)."""
    level = np.full(z.shape, np.nan, dtype=np.float32)
    heap = []
    for cell in np.ndindex(z.shape):
        if not np.isnan(z[cell]) and oracle.touches_outside(z, cell):
            level[cell] = z[cell]
            heapq.heappush(heap, (z[cell], cell))
    while heap:
        here, cell = heapq.heappop(heap)
        for _, near in oracle.neighbours(z.shape, cell):
            if np.isnan(level[near]) and not np.isnan(z[near]):
                level[near] = max(here, z[near])
                heapq.heappush(heap, (level[near], near))
    return level


def test_without_leave_to_cut_it_is_plain_filling() -> None:
    for case in random_cases(41, 40):
        got = condition(case.raster, limits=CarveLimits(0.0, 0.0))
        valid = case.raster.valid
        np.testing.assert_array_equal(got.raster.elevation_m[valid], priority_flood(case.z)[valid])
        assert got.report.lowered_cells == 0


# a corridor between walls shows best what happens


def corridor(levels: list[float]) -> Raster:
    z = np.full((5, len(levels)), 9.0)
    z[2] = levels
    return Raster.from_array(z)


def floor(result: Conditioned) -> list[float]:
    floor: list[float] = result.raster.elevation_m[2].tolist()
    return floor


def test_a_pit_is_cut_to_the_first_lower_cell_and_no_further() -> None:
    raster = corridor([9, 5, 2, 4, 3, 1.5, 1, 0])
    got = condition(raster)
    assert floor(got) == [9, 5, 2, 2, 2, 1.5, 1, 0]
    assert got.report.carved == 1
    assert got.report.lowered_cells == 2
    assert got.report.cut_depth_m.tolist() == [2.0]
    assert got.report.cut_length_m.tolist() == [2.0]
    assert got.report.cut_cell.tolist() == [2 * 8 + 2]


@pytest.mark.parametrize(
    ("depth_m", "length_m", "cut"),
    [(2, 2, True), (1.9, 2, False), (2, 1.9, False), (np.inf, np.inf, True), (0, 0, False)],
)
def test_limits_hold_to_the_millimetre(depth_m: float, length_m: float, cut: bool) -> None:
    got = condition(corridor([9, 5, 2, 4, 3, 1.5, 1, 0]), limits=CarveLimits(depth_m, length_m))
    assert floor(got) == [9, 5, *([2, 2, 2] if cut else [4, 4, 3]), 1.5, 1, 0]
    assert got.report.filled_cell.size == (not cut)


def test_filling_stops_at_the_pass() -> None:
    """The slope beyond the pass lies below it and above the pit, and stays as it is."""
    raster = corridor([9, 6, 2, 8, 7, 5, 4, 3, 1, 0])
    got = condition(raster, limits=CarveLimits(1, 100))
    assert floor(got) == [9, 8, 8, 8, 7, 5, 4, 3, 1, 0]
    assert got.report.filled_cells == 2
    assert got.report.filled_level_m.tolist() == [8]
    assert got.report.filled_depth_m.tolist() == [6]


def test_two_flats_do_not_come_to_drain_into_each_other() -> None:
    """The first flat's way out is filled over; the second one drains into the first."""
    raster = corridor([9, 0, 0, 1, 0, 0, 2, -1, 1.5, -3, -5])
    got = condition(raster, limits=CarveLimits(2.2, 100))
    assert got.flow.codes[2].tolist() == [2] * 10 + [8]
    counts = got.flow.accumulate()
    assert counts[got.flow.codes == 8].sum() == raster.grid.size


def test_a_flat_after_a_filled_one_is_searched_afresh() -> None:
    z = np.full((12, 30), 9.0)
    z[2:4, 2:4], z[2:4, 8:10], z[2:4, 14:16] = 1, 2, 3
    z[8, 3:28], z[6:8, 20:22] = 0.5, 4
    for depth in (0.5, 2.5, 6.5, 9):
        assert_as_reference(Case(z.astype(np.float32), 1, 1, (depth, np.inf)))


def test_a_surface_that_drains_comes_back_as_it_was() -> None:
    r, c = np.indices((20, 30))
    slope = (300 - 3 * r - c + 0.3 * np.sin(c)).astype(np.float32)
    got = condition(Raster.from_array(slope))
    assert got.raster.elevation_m.tobytes() == slope.tobytes()
    assert got.report.carved == got.report.lowered_cells == got.report.filled_cells == 0


def test_a_gentle_plain_is_not_touched() -> None:
    """2500 m up, 0.3 mm a cell: about the least step single precision shows there."""
    r, _ = np.indices((60, 40))
    plain = np.float32(2500) - (r * np.float32(2.0**-12)).astype(np.float32)
    got = condition(Raster.from_array(plain))
    np.testing.assert_array_equal(got.raster.elevation_m, plain)
    np.testing.assert_array_equal(got.flow.codes[:-1], 4)


def test_numbers_hidden_under_voids_have_no_say() -> None:
    rng = np.random.default_rng(43)
    z = rng.normal(size=(20, 20)).astype(np.float32)
    valid = rng.random((20, 20)) > 0.2
    results = [
        condition(Raster.from_array(np.where(valid, z, hidden), valid=valid))
        for hidden in (-9999.0, 1e30, np.nan)
    ]
    for other in results[1:]:
        np.testing.assert_array_equal(other.flow.codes, results[0].flow.codes)
        np.testing.assert_array_equal(
            other.raster.elevation_m[valid], results[0].raster.elevation_m[valid]
        )


def test_nothing_but_void() -> None:
    got = condition(Raster.from_array(np.full((4, 5), np.nan)))
    assert (got.flow.codes == 255).all()
    assert got.flow.accumulate().sum() == 0


def test_water_leaves_at_holes() -> None:
    z = named()["level with a hole"]
    got = condition(as_raster(z))
    codes = got.flow.codes
    assert (codes[3:6, 3:6].ravel()[[0, 1, 2, 3, 5, 6, 7, 8]] == 8).all()
    assert codes[4, 4] == 255


def test_a_wide_flat_drains_by_the_shortest_ways_not_in_raster_order() -> None:
    """From the middle of a level square it is as far to each side: no code gets the most of it."""
    got = condition(Raster.from_array(np.full((41, 41), 5.0)))
    inner = got.flow.codes[1:-1, 1:-1]
    share = np.bincount(inner.ravel(), minlength=9)[:8] / inner.size
    assert share[::2].min() > 0.15
    length = np.zeros(got.flow.grid.shape)
    for cell in map(tuple, np.argwhere(got.flow.codes < 8).tolist()):
        here, steps = cell, 0
        while got.flow.codes[here] < 8:
            here = oracle.moved(here, int(got.flow.codes[here]))
            steps += 1
        length[cell] = steps
    r, c = np.indices(length.shape)
    to_edge = np.minimum(np.minimum(r, c), np.minimum(40 - r, 40 - c))
    np.testing.assert_array_equal(length, to_edge)


@pytest.mark.parametrize("name", ["depth_m", "length_m"])
@pytest.mark.parametrize("value", [-0.1, np.nan])
def test_limits_are_checked(name: str, value: float) -> None:
    with pytest.raises(ParameterError, match=name):
        CarveLimits(**{name: value})


def test_progress_goes_from_little_to_all() -> None:
    seen: list[float] = []
    condition(corridor([9, 2, 4, 0]), progress=lambda what, done: seen.append(done))
    assert seen == sorted(seen)
    assert seen[-1] == 1.0


def many_visits_cases(seed: int) -> list[Case]:
    return list(random_cases(seed, 60, largest=24)) + list(
        random_cases(seed + 1, 60, largest=24, ties=False)
    )


@pytest.mark.parametrize("seed", [201, 203, 205])
def test_passes_found_together_are_those_found_one_by_one(seed: int) -> None:
    """With every search cut short, and with none; no limit lets a cut be made."""
    found = 0
    for case in many_visits_cases(seed):
        passes = []
        for most in (0, 10**9):
            grid = case.raster.grid
            work = WaysOut(grid, case.raster.elevation_m, (-1.0, np.inf), many_visits=most)
            steepest_codes(work.raw, *work.inverse, 0, grid.rows, work.codes)
            work._drain(*shores(work.raw, work.codes, 0, grid.rows))
            ways, asked, level = work._search()
            if most == 0 and asked.size:
                assert np.isnan(level).all()
                level = work._passes(ways)
            passes.append(level)
        np.testing.assert_array_equal(*passes)
        found += passes[0].size
    assert found > 500


@pytest.mark.parametrize("seed", [211, 213])
def test_where_a_search_is_cut_short_makes_no_difference(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    for case in many_visits_cases(seed):
        results = []
        for most in (0, 12, 10**9):
            monkeypatch.setattr(ways_out, "MANY_VISITS", most)
            result = conditioned(case)
            results.append((result.raster.elevation_m, result.flow.codes))
        for surface, codes in results[1:]:
            np.testing.assert_array_equal(surface, results[0][0])
            np.testing.assert_array_equal(codes, results[0][1])
