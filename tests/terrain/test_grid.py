"""Grid: places, sizes, and what is no grid."""

from __future__ import annotations

import numpy as np
import pytest
from affine import Affine
from pyproj import CRS

from terrain.values.errors import GridMismatchError, ParameterError
from terrain.values.grid import Grid

OBLONG = Grid(4, 6, Affine(2.0, 0, 1000.0, 0, -3.0, 500.0), CRS("EPSG:26911"))


def test_sizes_and_bounds() -> None:
    assert OBLONG.shape == (4, 6)
    assert OBLONG.size == 24
    assert (OBLONG.cell_width_m, OBLONG.cell_height_m) == (2.0, 3.0)
    assert OBLONG.cell_area_m2 == 6.0
    assert OBLONG.cell_m == pytest.approx(6**0.5)
    assert OBLONG.bounds == (1000.0, 488.0, 1012.0, 500.0)


def test_centres_are_half_a_cell_inside() -> None:
    x, y = OBLONG.xy(0, 0)
    assert (float(x), float(y)) == (1001.0, 498.5)
    x, y = OBLONG.xy_of([0, 7, 23])
    np.testing.assert_array_equal(x, [1001, 1003, 1011])
    np.testing.assert_array_equal(y, [498.5, 495.5, 489.5])


def test_a_place_and_its_cell_are_each_others_inverse() -> None:
    row, col = np.indices(OBLONG.shape)
    back_row, back_col = OBLONG.rowcol(*OBLONG.xy(row, col))
    np.testing.assert_array_equal(back_row, row)
    np.testing.assert_array_equal(back_col, col)


def test_cell_sides_belong_to_the_cell_east_and_south() -> None:
    row, col = OBLONG.rowcol([1000.0, 1002.0, 1012.0], [500.0, 497.0, 488.0])
    np.testing.assert_array_equal(col, [0, 1, 6])
    np.testing.assert_array_equal(row, [0, 1, 4])
    np.testing.assert_array_equal(OBLONG.contains(row, col), [True, True, False])


def test_points_west_and_north_fall_outside() -> None:
    row, col = OBLONG.rowcol(999.9, 500.1)
    assert (int(row), int(col)) == (-1, -1)
    assert not OBLONG.contains(row, col)


@pytest.mark.parametrize(
    "transform",
    [
        Affine(1, 0.1, 0, 0, -1, 0),
        Affine(1, 0, 0, 0.1, -1, 0),
        Affine(1, 0, 0, 0, 1, 0),
        Affine(-1, 0, 0, 0, -1, 0),
    ],
)
def test_rotated_mirrored_and_south_up_grids_are_refused(transform: Affine) -> None:
    with pytest.raises(ParameterError, match="rotated or south-up"):
        Grid(2, 2, transform)


@pytest.mark.parametrize("shape", [(0, 3), (3, 0)])
def test_a_grid_has_cells(shape: tuple[int, int]) -> None:
    with pytest.raises(ParameterError, match="one cell"):
        Grid(*shape, Affine(1, 0, 0, 0, -1, 0))


def test_the_same_grid_passes() -> None:
    nudged = Grid(4, 6, Affine(2.0, 0, 1000.0 + 1e-6, 0, -3.0, 500.0), CRS("EPSG:26911"))
    OBLONG.require_same(nudged)


@pytest.mark.parametrize(
    ("other", "said"),
    [
        (Grid(5, 6, OBLONG.transform, OBLONG.crs), r"shape \(4, 6\) and \(5, 6\)"),
        (Grid(4, 6, Affine(2, 0, 1000, 0, -2, 500), OBLONG.crs), "cell size 2 x 3 m and 2 x 2 m"),
        (Grid(4, 6, Affine(2, 0, 1001, 0, -3, 500), OBLONG.crs), "upper-left corner"),
        (Grid(4, 6, OBLONG.transform, CRS("EPSG:26912")), "coordinate reference systems"),
        (Grid(4, 6, OBLONG.transform), "coordinate reference systems"),
    ],
)
def test_each_difference_is_named(other: Grid, said: str) -> None:
    with pytest.raises(GridMismatchError, match=said):
        OBLONG.require_same(other, "DEM and mask")


def test_a_corner_is_compared_by_cells_not_by_the_size_of_coordinates() -> None:
    """Half a metre aside is another grid, however large the northing is."""
    far = Grid(2, 2, Affine(1, 0, 5e5, 0, -1, 4.4e6))
    aside = Grid(2, 2, Affine(1, 0, 5e5 + 0.5, 0, -1, 4.4e6))
    with pytest.raises(GridMismatchError, match="corner"):
        far.require_same(aside)
