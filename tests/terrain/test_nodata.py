"""Void cells: declared, impossible, and constant borders, without eating the sea or a lake."""

from __future__ import annotations

import numpy as np
import pytest
from numpy.typing import NDArray

from terrain._kernels.border import edge_block, step_sizes
from terrain.reading.nodata import VoidCount, drop_border, drop_far_zeros, mark_valid

Floats = NDArray[np.float32]


def all_valid(z: Floats) -> NDArray[np.bool_]:
    return np.ones(z.shape, dtype=np.bool_)


def test_each_kind_of_void_is_counted_once(ground: Floats) -> None:
    ground[0, :5] = -9999
    ground[1, :3] = np.nan
    ground[2, 0], ground[2, 1] = np.inf, -np.inf
    ground[3, :4] = -3.4e38
    ground[4, 0] = -32768
    mask = np.empty(ground.shape, dtype=np.bool_)
    count = mark_valid(ground, -9999.0, mask)
    assert count == VoidCount(declared=5, not_a_number=3, impossible=7)
    assert count.total == np.count_nonzero(~mask)


def test_nan_counts_as_declared_when_it_is(ground: Floats) -> None:
    ground[5, 5] = np.nan
    mask = np.empty(ground.shape, dtype=np.bool_)
    assert mark_valid(ground, np.nan, mask) == VoidCount(declared=1)
    assert not mask[5, 5]


def test_a_declared_number_beyond_float32_is_no_trouble(ground: Floats) -> None:
    mask = np.empty(ground.shape, dtype=np.bool_)
    assert mark_valid(ground, -1.7976931348623157e308, mask).total == 0


def basin_mask(ground: Floats, filler: float) -> tuple[Floats, NDArray[np.bool_]]:
    """Keep a disc of ground, the rest is filler."""
    rows, cols = ground.shape
    y, x = np.mgrid[0:rows, 0:cols]
    outside = np.hypot(y - rows / 2, x - cols / 2) > rows * 0.45
    ground[outside] = filler
    return ground, outside


@pytest.mark.parametrize("filler", [0.0, 255.0, 1.0])
def test_a_constant_border_beyond_a_cliff_is_dropped(ground: Floats, filler: float) -> None:
    z, outside = basin_mask(ground, filler)
    valid = all_valid(z)
    (block,) = drop_border(z, valid, cell_m=1.0)
    assert block.number == filler
    assert block.cells == np.count_nonzero(outside)
    assert block.step_m == pytest.approx(1600 - filler, rel=0.01)
    np.testing.assert_array_equal(valid, ~outside)


def test_the_sea_at_zero_beside_a_beach_stays(ground: Floats) -> None:
    z = np.maximum(ground - np.float32(1602.0), 0)
    assert np.count_nonzero(z == 0) > 0.2 * z.size
    valid = all_valid(z)
    assert drop_border(z, valid, cell_m=1.0) == ()
    assert drop_far_zeros(z, valid, cell_m=1.0) == 0
    assert valid.all()


def test_sea_below_cliffs_lower_than_a_cell_is_wide_stays() -> None:
    # A rocky coast on 10 m cells: the land begins 6 m up.
    z = np.zeros((60, 60), dtype=np.float32)
    z[:30] = 6 + np.arange(30, 0, -1)[:, None]
    valid = all_valid(z)
    assert drop_border(z, valid, cell_m=10.0) == ()
    assert valid.all()


def test_a_level_lake_cut_by_the_edge_stays(ground: Floats) -> None:
    ground[40:, :30] = 1601.0
    valid = all_valid(ground)
    assert drop_border(ground, valid, cell_m=1.0) == ()
    assert valid.all()


def test_a_block_inside_that_does_not_touch_the_edge_stays(ground: Floats) -> None:
    ground[20:40, 20:40] = 1500.0
    valid = all_valid(ground)
    assert drop_border(ground, valid, cell_m=1.0) == ()
    assert valid.all()


def test_a_few_cells_are_not_a_border(ground: Floats) -> None:
    ground[0, :4] = 0
    valid = all_valid(ground)
    assert drop_border(ground, valid, cell_m=1.0) == ()


def test_holes_of_zero_far_below_the_ground_are_dropped(ground: Floats) -> None:
    ground[20:25, 20:25] = 0
    valid = all_valid(ground)
    assert drop_far_zeros(ground, valid, cell_m=1.0) == 25
    assert np.count_nonzero(~valid) == 25


def test_zeros_stay_where_other_ground_is_near_zero(ground: Floats) -> None:
    z = ground - np.float32(1590.0)
    z[20:25, 20:25] = 0
    valid = all_valid(z)
    assert drop_far_zeros(z, valid, cell_m=1.0) == 0
    assert valid.all()


def test_all_zero_is_left_for_the_constant_check() -> None:
    z = np.zeros((10, 10), dtype=np.float32)
    valid = all_valid(z)
    assert drop_far_zeros(z, valid, cell_m=1.0) == 0
    assert drop_border(z, valid, cell_m=1.0) == ()


def reached_slowly(z: Floats, valid: NDArray[np.bool_], number: float) -> NDArray[np.bool_]:
    """Flood from the edge cell by cell: the plain way to say what the kernel does."""
    rows, cols = z.shape
    same = ~valid | (z == number)
    edge = [(r, c) for r in range(rows) for c in range(cols)]
    todo = [p for p in edge if (p[0] in (0, rows - 1) or p[1] in (0, cols - 1)) and same[p]]
    seen = set(todo)
    while todo:
        r, c = todo.pop()
        for rr in range(max(r - 1, 0), min(r + 2, rows)):
            for cc in range(max(c - 1, 0), min(c + 2, cols)):
                if same[rr, cc] and (rr, cc) not in seen:
                    seen.add((rr, cc))
                    todo.append((rr, cc))
    out = np.zeros(z.shape, dtype=np.bool_)
    for p in seen:
        out[p] = valid[p]
    return out


@pytest.mark.parametrize("seed", range(6))
@pytest.mark.parametrize("compiled", [True, False])
def test_edge_block_equals_a_plain_flood(seed: int, compiled: bool) -> None:
    rng = np.random.default_rng(seed)
    z = rng.choice(np.float32([0, 5, 9]), size=(23, 17), p=[0.6, 0.3, 0.1])
    valid = rng.random(z.shape) > 0.1
    kernel = edge_block if compiled else getattr(edge_block, "py_func", edge_block)
    np.testing.assert_array_equal(kernel(z, valid, np.float32(0)), reached_slowly(z, valid, 0.0))


@pytest.mark.parametrize("compiled", [True, False])
def test_steps_are_those_of_cells_beside_the_block(compiled: bool) -> None:
    z = np.float32([[0, 0, 0], [0, 7, 20], [30, 40, 50]])
    valid = np.ones((3, 3), dtype=np.bool_)
    valid[1, 2] = False
    block = z == 0
    kernel = step_sizes if compiled else getattr(step_sizes, "py_func", step_sizes)
    # 7 and 30 lie beside the block; 20 is void; 40 and 50 touch it by no side.
    assert sorted(kernel(z, valid, block).tolist()) == [7.0, 30.0]
