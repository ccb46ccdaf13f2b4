"""Drainage areas of points against brute force on small surfaces."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from terrain.channels.drainage_areas import (
    Catchments,
    flow_path_segments,
    gradient,
    incomplete_counts,
    longest_way_m,
    snap_points,
)
from terrain.flow.conditioning import condition
from terrain.flow.flow_field import FlowField
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster
from tests.terrain import oracle
from tests.terrain.surfaces import as_raster, random_cases


def case(seed: int, rows: int = 24, cols: int = 31, *, voids: bool = True) -> Raster:
    """Rough ground on oblong cells, some of it unknown."""
    rng = np.random.default_rng(seed)
    z = rng.normal(size=(rows, cols)) + 0.3 * np.arange(cols)
    if voids:
        z[rng.random(z.shape) < 0.03] = np.nan
    return as_raster(z.astype(np.float32), 2.0, 3.0)


def solved(raster: Raster) -> tuple[FlowField, np.ndarray]:
    flow = condition(raster).flow
    return flow, flow.accumulate()


def drains_to(flow: FlowField, cell: int) -> np.ndarray:
    """Cells that drain to a cell, by walking down from each."""
    inside = np.zeros(flow.grid.size, dtype=np.bool_)
    for start in np.flatnonzero(flow.codes.reshape(-1) != 255):
        at = int(start)
        while at != cell and at >= 0:
            at = int(flow.downstream(np.array([at]))[0])
        inside[start] = at == cell
    return inside.reshape(flow.grid.shape)


@pytest.mark.parametrize("seed", [1, 2, 3])
def test_masks_are_the_cells_that_drain_there(seed: int) -> None:
    flow, counts = solved(case(seed))
    catchments = Catchments.of(flow, counts)
    for cell in np.argsort(counts, axis=None)[[-1, -5, -40, 200]]:
        if counts.flat[cell]:
            expected = drains_to(flow, int(cell))
            np.testing.assert_array_equal(catchments.mask(int(cell)), expected)
            others = np.arange(flow.grid.size)[counts.reshape(-1) > 0]
            inside = catchments.contains(int(cell), others)
            np.testing.assert_array_equal(inside, expected.reshape(-1)[others])


@pytest.mark.parametrize("seed", [4, 5, 6])
def test_polygons_have_exactly_the_area_of_their_cells(seed: int) -> None:
    raster = case(seed)
    flow, counts = solved(raster)
    catchments = Catchments.of(flow, counts)
    centres = shapely.points(*raster.grid.xy_of(np.arange(raster.grid.size)))
    for cell in np.flatnonzero(counts.reshape(-1) > 2)[::7]:
        polygon = catchments.polygon(int(cell))
        assert polygon.is_valid
        assert polygon.area == pytest.approx(counts.flat[cell] * 6.0, rel=1e-9)
        inside = shapely.contains(polygon, centres).reshape(flow.grid.shape)
        np.testing.assert_array_equal(inside, catchments.mask(int(cell)))


def test_a_catchment_around_another_one_has_a_hole() -> None:
    """The middle cell drains into a void, the ring around it to the west."""
    codes = np.array([[2, 2, 4], [0, 8, 4], [8, 6, 6]], dtype=np.uint8)
    flow = FlowField(as_raster(np.zeros((3, 3), np.float32), 2.0, 3.0).grid, codes)
    counts = flow.accumulate()
    assert counts[2, 0] == 8
    polygon = Catchments.of(flow, counts).polygon(6)
    assert polygon.area == pytest.approx(8 * 6.0)
    assert not polygon.contains(shapely.Point(*flow.grid.xy(1, 1)))


@pytest.mark.parametrize("seed", [7, 8])
def test_nested_areas_sum(seed: int) -> None:
    flow, counts = solved(case(seed))
    catchments = Catchments.of(flow, counts)
    below = flow.downstream(np.arange(flow.grid.size))
    outlets = np.flatnonzero((counts.reshape(-1) > 0) & (below < 0))
    assert counts.reshape(-1)[outlets].sum() == np.count_nonzero(counts)
    for cell in np.argsort(counts, axis=None)[[-1, -10, -50]]:
        donors = np.flatnonzero(below == cell)
        assert counts.reshape(-1)[donors].sum() + 1 == counts.flat[cell]
        parts = sum(catchments.mask(int(d)).astype(int) for d in donors)
        assert np.max(parts) <= 1
        assert (catchments.mask(int(cell)).sum() - np.sum(parts)) == 1
        area = sum(catchments.polygon(int(d)).area for d in donors) + 6.0
        assert catchments.polygon(int(cell)).area == pytest.approx(area)


def test_longest_ways_as_by_brute_force() -> None:
    for small in random_cases(9, 25):
        flow = condition(small.raster).flow
        expected = oracle.longest_way_m(flow.codes, small.height_m, small.width_m)
        np.testing.assert_allclose(longest_way_m(flow), expected, rtol=1e-5, atol=1e-5)


def test_segments_make_up_the_longest_way_and_its_fall() -> None:
    rows, cols = 5, 120
    bed = 0.1 * np.arange(cols) + np.abs(np.arange(rows)[:, None] - 2.0)
    raster = as_raster(bed.astype(np.float32))
    flow, counts = solved(raster)
    outlet = 2 * cols
    parts = flow_path_segments(flow, counts, raster, [outlet], channel_count=300)
    longest = float(longest_way_m(flow).flat[outlet])
    assert parts.flow_path_m[0] == pytest.approx(longest)
    # five rows drain in, so 300 cells lie 60 columns up; the sheet is cut after 30 m
    assert 30.0 <= parts.sheet_length_m[0] < 31.5
    assert parts.channel_length_m[0] == pytest.approx(cols - 60, abs=2.0)
    fall = parts.sheet_fall_m[0] + parts.shallow_fall_m[0] + parts.channel_fall_m[0]
    way = drains_to(flow, outlet)
    # the way begins at the far end of the outermost row
    assert way.reshape(bed.shape)[0, -1]
    assert fall == pytest.approx(float(bed[0, -1]), abs=1e-4)
    assert parts.channel_fall_m[0] == pytest.approx(0.1 * parts.channel_length_m[0], rel=0.02)


def test_where_more_land_may_drain_in_is_told() -> None:
    """A valley that goes on beyond the eastern edge, beside a hill of its own."""
    cols = 30
    open_valley = 0.1 * np.arange(cols) + np.abs(np.arange(9)[:, None] - 4.0)
    flow, _ = solved(as_raster(open_valley.astype(np.float32)))
    edge = incomplete_counts(flow)
    assert edge[4, 0] > 0
    closed = open_valley.copy()
    closed[:, 20:] = 10.0 - 0.2 * np.arange(20, cols)  # falls to the east: a divide inside
    closed[[0, -1]] = closed[1:-1].max() + 5.0
    closed[[0, -1], 0] = -1.0
    flow, counts = solved(as_raster(closed.astype(np.float32)))
    edge = incomplete_counts(flow)
    for cell in range(0, flow.grid.size, 13):
        upstream = np.flatnonzero(drains_to(flow, cell))
        row, col = np.divmod(upstream, cols)
        on_edge = (row == 0) | (row == 8) | (col == 0) | (col == cols - 1)
        inward = on_edge & (flow.codes.reshape(-1)[upstream] < 8)
        assert edge.flat[cell] == inward.sum()
    assert (edge == 0).any()
    assert counts.max() > 1


def test_beside_a_void_an_area_is_not_complete() -> None:
    z = 0.1 * np.arange(30) + np.abs(np.arange(9)[:, None] - 4.0)
    z = z.astype(np.float32)
    z[4, 15] = np.nan
    flow, _ = solved(as_raster(z))
    edge = incomplete_counts(flow)
    assert edge[4, 14] >= 1
    for cell in (4 * 30 + 5, 4 * 30 + 14):
        row, col = np.divmod(np.flatnonzero(drains_to(flow, cell)), 30)
        border = (row == 0) | (row == 8) | (col == 0) | (col == 29)
        beside = np.maximum(abs(row - 4), abs(col - 15)) == 1
        inward = flow.codes[row, col] < 8
        assert edge.flat[cell] == ((border | beside) & inward).sum()


def test_snapping_reports_distance_and_areas() -> None:
    raster = case(10, voids=False)
    flow, counts = solved(raster)
    x, y = raster.grid.xy(12, 15)
    snapped = snap_points(flow, counts, [x], [y], radius_m=7.0)
    row, col = np.mgrid[0:24, 0:31]
    away = np.hypot(2.0 * (row - 12), 3.0 * (col - 15))
    expected = counts[away <= 7.0].max()
    assert counts.flat[snapped.cell[0]] == expected
    assert snapped.moved_m[0] == pytest.approx(away.flat[snapped.cell[0]])
    assert 0 < snapped.moved_m[0] <= 7.0
    assert snapped.area_before_ha[0] == pytest.approx(counts[12, 15] * 6.0 / 1e4)
    assert snapped.area_after_ha[0] == pytest.approx(expected * 6.0 / 1e4)
    stay = snap_points(flow, counts, [x], [y], radius_m=0.0)
    assert stay.cell[0] == 12 * 31 + 15
    assert stay.moved_m[0] == pytest.approx(0.0)


def test_points_off_the_ground_are_refused() -> None:
    raster = case(11)
    flow, counts = solved(raster)
    with pytest.raises(ParameterError, match="no elevation under it"):
        snap_points(flow, counts, [-5.0], [-5.0], radius_m=3.0)
    row, col = np.argwhere(counts == 0)[0]
    x, y = raster.grid.xy(row, col)
    with pytest.raises(ParameterError, match="point 1"):
        snap_points(flow, counts, [x], [y], radius_m=3.0)
    with pytest.raises(ParameterError, match="radius"):
        snap_points(flow, counts, [5.0], [-5.0], radius_m=-1.0)


def test_gradient_of_a_plane_on_oblong_cells() -> None:
    x, y = np.meshgrid(3.0 * np.arange(12), 2.0 * np.arange(9))
    raster = as_raster((0.3 * x + 0.4 * y).astype(np.float32), 2.0, 3.0)
    np.testing.assert_allclose(gradient(raster), 0.5, rtol=1e-4)
