"""What must hold on any surface whatever: found by search, and on larger seeded ones."""

from __future__ import annotations

from collections.abc import Callable

import hypothesis.extra.numpy as hnp
import numpy as np
import pytest
from affine import Affine
from hypothesis import given, settings
from hypothesis import strategies as st
from numpy.typing import NDArray

from terrain.channels.network import channel_network
from terrain.flow.conditioning import CarveLimits, Conditioned, condition
from terrain.flow.engines import fault_of
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from tests.terrain import oracle
from tests.terrain.surfaces import LIMITS, as_raster, named, random_cases

QUICK = settings(max_examples=80, deadline=None, derandomize=True)
SHAPES = hnp.array_shapes(min_dims=2, max_dims=2, min_side=1, max_side=12)


@st.composite
def surfaces(draw: st.DrawFn) -> NDArray[np.float32]:
    """Few levels, so that ties, flats and pits abound; some cells void."""
    shape = draw(SHAPES)
    levels = draw(st.sampled_from([1, 2, 4, 9]))
    z = draw(hnp.arrays(np.int16, shape, elements=st.integers(0, levels))).astype(np.float32)
    holes = draw(st.sets(st.integers(0, z.size - 1), max_size=max(0, z.size // 4)))
    z.reshape(-1)[list(holes)] = np.nan
    return z


@st.composite
def distinct(draw: st.DrawFn) -> NDArray[np.float32]:
    """No two cells at one level."""
    rows, cols = draw(SHAPES)
    order = draw(st.permutations(range(rows * cols)))
    return np.array(order, dtype=np.float32).reshape(rows, cols)


limits = st.sampled_from(LIMITS)
sides = st.sampled_from([(1.0, 1.0), (1.5, 1.0), (0.7, 2.1)])


def assert_drains(raster: Raster, result: Conditioned) -> None:
    """No circle, no way up, no outlet inside, nothing lost: counts add up to the known cells."""
    assert fault_of(raster, result) == ""
    counts = result.flow.accumulate()
    assert counts[result.flow.codes == 8].sum() == raster.valid_cells
    order = result.flow.order()
    place = np.full(raster.grid.size, -1)
    place[order] = np.arange(order.size)
    down = result.flow.downstream(order)
    assert order.size == raster.valid_cells
    assert (place[order][down >= 0] < place[down[down >= 0]]).all()


def assert_steepest(result: Conditioned) -> None:
    """Wherever a neighbour is lower on the conditioned surface, the steepest way is taken."""
    grid, valid = result.raster.grid, result.raster.valid
    z = np.where(valid, result.raster.elevation_m, np.float32(np.nan))
    padded = np.pad(z, 1, constant_values=np.nan)
    best = np.zeros(grid.shape, dtype=np.float32)
    code = np.full(grid.shape, 255, dtype=np.uint8)
    for k, (dr, dc) in enumerate(oracle.STEPS):
        near = padded[1 + dr : 1 + dr + grid.rows, 1 + dc : 1 + dc + grid.cols]
        length = np.hypot(dr * grid.cell_height_m, dc * grid.cell_width_m)
        slope = (z - near) * np.float32(1 / length)
        steeper = slope > best
        best[steeper], code[steeper] = slope[steeper], k
    lower = code != 255
    np.testing.assert_array_equal(result.flow.codes[lower], code[lower])


@QUICK
@given(surfaces(), limits, sides)
def test_everything_drains_the_steepest_way(
    z: NDArray[np.float32], limits: tuple[float, float], sides: tuple[float, float]
) -> None:
    raster = as_raster(z, *sides)
    before = raster.elevation_m.tobytes(), raster.valid.tobytes()
    result = condition(raster, limits=CarveLimits(*limits))
    assert_drains(raster, result)
    assert_steepest(result)
    assert (raster.elevation_m.tobytes(), raster.valid.tobytes()) == before


@QUICK
@given(surfaces(), limits)
def test_cuts_lower_within_limits_and_fills_raise(
    z: NDArray[np.float32], limits: tuple[float, float]
) -> None:
    raster = as_raster(z)
    valid = raster.valid
    raw = raster.elevation_m[valid]

    def surface(depth_m: float, length_m: float) -> NDArray[np.float32]:
        result = condition(raster, limits=CarveLimits(depth_m, length_m))
        return result.raster.elevation_m[valid]

    assert (surface(np.inf, np.inf) <= raw).all()
    assert (surface(0, 0) >= raw).all()
    assert (raw - surface(*limits) <= limits[0]).all()


@QUICK
@given(surfaces(), limits)
def test_what_is_conditioned_stays_as_it_is(
    z: NDArray[np.float32], limits: tuple[float, float]
) -> None:
    once = condition(as_raster(z), limits=CarveLimits(*limits))
    twice = condition(once.raster, limits=CarveLimits(*limits))
    assert twice.raster.elevation_m.tobytes() == once.raster.elevation_m.tobytes()
    assert twice.report.lowered_cells == twice.report.filled_cells == 0


@QUICK
@given(surfaces())
def test_where_every_cell_has_a_way_down_nothing_changes(z: NDArray[np.float32]) -> None:
    """Heaped up from the outside inwards, each cell above one that drains."""
    steps = np.full(z.shape, np.inf)
    valid = ~np.isnan(z)
    ring = [c for c in np.ndindex(z.shape) if valid[c] and oracle.touches_outside(z, c)]
    for cell in ring:
        steps[cell] = 0
    for cell in ring:
        for _, near in oracle.neighbours(z.shape, cell):
            if valid[near] and steps[near] == np.inf:
                steps[near] = steps[cell] + 1
                ring.append(near)
    heaped = np.where(valid, 10 * steps + z, np.nan).astype(np.float32)
    result = condition(as_raster(heaped))
    np.testing.assert_array_equal(result.raster.elevation_m, heaped)
    np.testing.assert_array_equal(result.flow.codes, oracle.raw_codes(heaped))


TURNS: dict[str, tuple[Callable[[NDArray], NDArray], list[int]]] = {
    "upside down": (np.flipud, [4, 3, 2, 1, 0, 7, 6, 5]),
    "left to right": (np.fliplr, [0, 7, 6, 5, 4, 3, 2, 1]),
    "transposed": (np.transpose, [6, 5, 4, 3, 2, 1, 0, 7]),
    "quarter turn": (np.rot90, [6, 7, 0, 1, 2, 3, 4, 5]),
}


def turned_back(codes: NDArray[np.uint8], turn: str) -> NDArray[np.uint8]:
    """Codes of a turned surface as they would stand on the original."""
    way, new_code = TURNS[turn]
    back = np.array([*np.argsort(new_code), 8], dtype=np.uint8)
    undo = (lambda a: np.rot90(a, -1)) if turn == "quarter turn" else way
    return np.where(undo(codes) == 255, 255, back[np.minimum(undo(codes), 8)])


def tied(z: NDArray[np.float32], cell: oracle.Cell, height: float, width: float) -> bool:
    """Whether a cell has two ways down that are equally steep, or none at all."""
    slopes = [
        (z[cell] - z[n])
        * np.float32(1 / np.hypot(oracle.STEPS[k][0] * height, oracle.STEPS[k][1] * width))
        for k, n in oracle.neighbours(z.shape, cell)
    ]
    best = max(slopes, default=np.float32(0))
    return best <= 0 or slopes.count(best) > 1  # type: ignore[return-value]


@pytest.mark.parametrize("turn", TURNS)
def test_turned_surfaces_drain_the_same_way(turn: str) -> None:
    """The same surface, whichever way up; the same codes but for ties; the same counts without."""
    way, _ = TURNS[turn]
    untied = 0
    for case in random_cases(51, 150, largest=9, ties=False):
        z, height, width = case.z, case.height_m, case.width_m
        limits = CarveLimits(*case.limits)
        here = condition(as_raster(z, height, width), limits=limits)
        swapped = (width, height) if turn in ("transposed", "quarter turn") else (height, width)
        there = condition(as_raster(np.ascontiguousarray(way(z)), *swapped), limits=limits)
        surface = here.raster.elevation_m
        np.testing.assert_array_equal(there.raster.elevation_m, way(surface))
        codes = turned_back(there.flow.codes, turn)
        ties = [
            cell
            for cell in map(tuple, np.argwhere(here.flow.codes < 8).tolist())
            if tied(np.where(np.isnan(surface), np.inf, surface), cell, height, width)
        ]
        loose = np.zeros(z.shape, dtype=np.bool_)
        for cell in ties:
            loose[cell] = True
        np.testing.assert_array_equal(codes[~loose], here.flow.codes[~loose])
        if not ties:
            untied += 1
            counts = there.flow.accumulate()
            np.testing.assert_array_equal(counts, way(here.flow.accumulate()))
    assert untied >= 40


@pytest.mark.parametrize("turn", TURNS)
@QUICK
@given(z=distinct())
def test_turned_surfaces_are_cut_alike(turn: str, z: NDArray[np.float32]) -> None:
    way, _ = TURNS[turn]
    here = condition(as_raster(z))
    there = condition(as_raster(np.ascontiguousarray(way(z))))
    np.testing.assert_array_equal(there.raster.elevation_m, way(here.raster.elevation_m))
    assert there.report.lowered_cells == here.report.lowered_cells


@QUICK
@given(hnp.arrays(np.int16, SHAPES, elements=st.integers(-300, 3000)))
def test_the_type_of_the_numbers_does_not_matter(z: NDArray[np.int16]) -> None:
    results = [
        condition(Raster.from_array(z.astype(dtype)))
        for dtype in (np.int16, np.int32, np.float32, np.float64, ">f4")
    ]
    for other in results[1:]:
        assert other.flow.codes.tobytes() == results[0].flow.codes.tobytes()
        assert other.raster.elevation_m.tobytes() == results[0].raster.elevation_m.tobytes()


@pytest.mark.parametrize("z", named().values(), ids=named().keys())
@pytest.mark.parametrize("limits", LIMITS)
def test_surfaces_with_a_story(z: NDArray[np.float32], limits: tuple[float, float]) -> None:
    raster = as_raster(z)
    result = condition(raster, limits=CarveLimits(*limits))
    assert_drains(raster, result)
    assert_steepest(result)


# larger surfaces, over several bands


def broad(seed: int, *, whole: bool) -> Raster:
    """Rough ground with closed basins, a level lake and voids, 260 x 170 cells."""
    rng = np.random.default_rng(seed)
    r, c = np.indices((260, 170))
    z = 0.05 * r + 3 * np.sin(r / 19) * np.cos(c / 13) + rng.normal(0, 0.3, r.shape)
    lake = np.hypot(r - 120, c - 80) < 25
    z[lake] = z[lake].min()
    z[rng.random(z.shape) < 0.001] = np.nan
    z[200:215, 40:70] = np.nan
    return as_raster((np.round(z) if whole else z).astype(np.float32), 1.0, 1.3)


BROAD_LIMITS = [(5.0, 100.0), (1.0, 10.0), (0.0, 0.0), (0.4, np.inf), (np.inf, 3.0)]


@pytest.mark.parametrize("whole", [False, True], ids=["rough", "whole metres"])
@pytest.mark.parametrize("limits", BROAD_LIMITS)
def test_broad_surfaces(limits: tuple[float, float], whole: bool) -> None:
    for seed in range(3):
        raster = broad(seed, whole=whole)
        result = condition(raster, limits=CarveLimits(*limits))
        assert_drains(raster, result)
        assert_steepest(result)
        cut = np.nanmax(raster.elevation_m - result.raster.elevation_m)
        assert cut <= np.float32(limits[0])
        if limits[0] < 5:
            assert result.report.filled_cells > 0


def chain_bytes(raster: Raster) -> tuple[bytes, ...]:
    """Everything the chain gives, as bytes."""
    result = condition(raster, limits=CarveLimits(1.0, 10.0))
    counts = result.flow.accumulate()
    network = channel_network(result.flow, counts, channel_area_ha=0.01)
    amount = result.flow.accumulate(np.where(raster.valid, raster.elevation_m, 0))
    report = result.report
    arrays = (
        result.raster.elevation_m,
        result.flow.codes,
        counts,
        amount,
        result.flow.order(),
        network.line_cells,
        network.line_end,
        network.downstream,
        network.order,
        report.cut_cell,
        report.cut_depth_m,
        report.filled_cell,
        report.filled_level_m,
    )
    return tuple(a.tobytes() for a in arrays)


def test_runs_and_workers_make_no_difference(monkeypatch: pytest.MonkeyPatch) -> None:
    for whole in (False, True):
        raster = broad(7, whole=whole)
        first = chain_bytes(raster)
        assert chain_bytes(raster) == first
        for workers in ("1", "2", "3"):
            monkeypatch.setenv("GULLYWALK_WORKERS", workers)
            assert chain_bytes(raster) == first
        monkeypatch.delenv("GULLYWALK_WORKERS")


def test_moving_the_origin_changes_nothing() -> None:
    raster = broad(8, whole=False)
    t = raster.grid.transform
    far = Grid(*raster.grid.shape, Affine(t.a, 0, 6.1e5, 0, t.e, 4.41e6))
    moved = Raster(far, raster.elevation_m, raster.valid)
    assert chain_bytes(moved) == chain_bytes(raster)
