"""Raster: what it holds and refuses."""

from __future__ import annotations

import numpy as np
import pytest

from terrain.values.errors import ParameterError
from terrain.values.raster import Raster


def test_any_numbers_become_single_precision_and_a_mask() -> None:
    raster = Raster.from_array([[1, 2], [3, 4]], cell_m=2.5)
    assert raster.elevation_m.dtype == np.float32
    assert raster.valid.all()
    assert raster.valid_cells == 4
    assert raster.grid.cell_width_m == raster.grid.cell_height_m == 2.5
    assert raster.grid.bounds == (0, 0, 5, 5)


def test_what_is_not_finite_is_void() -> None:
    raster = Raster.from_array([[1, np.nan], [np.inf, -np.inf]])
    np.testing.assert_array_equal(raster.valid, [[True, False], [False, False]])


def test_a_mask_takes_more_away_and_gives_nothing_back() -> None:
    raster = Raster.from_array([[1, 2], [np.nan, 4]], valid=[[True, False], [True, True]])
    np.testing.assert_array_equal(raster.valid, [[True, False], [False, True]])


def test_arrays_cannot_be_written_and_the_source_is_not_shared() -> None:
    source = np.ones((2, 3), dtype=np.float32)
    raster = Raster.from_array(source)
    with pytest.raises(ValueError, match="read-only"):
        raster.elevation_m[0, 0] = 5
    with pytest.raises(ValueError, match="read-only"):
        raster.valid[0, 0] = False
    source[0, 0] = 9
    assert raster.elevation_m[0, 0] == 1


def test_column_major_arrays_are_put_in_row_order() -> None:
    z = np.asfortranarray(np.arange(6.0).reshape(2, 3))
    raster = Raster.from_array(z)
    assert raster.elevation_m.flags.c_contiguous
    np.testing.assert_array_equal(raster.elevation_m, z)


@pytest.mark.parametrize("shape", [(4,), (2, 2, 2)])
def test_only_two_dimensions(shape: tuple[int, ...]) -> None:
    with pytest.raises(ParameterError, match="dimensions"):
        Raster.from_array(np.zeros(shape))


def test_types_and_shapes_are_checked() -> None:
    good = Raster.from_array(np.zeros((2, 2)))
    with pytest.raises(ParameterError, match="elevation_m is float64"):
        Raster(good.grid, np.zeros((2, 2)), good.valid)  # type: ignore[arg-type]
    with pytest.raises(ParameterError, match="valid is bool with shape"):
        Raster(good.grid, good.elevation_m, np.ones((2, 3), dtype=np.bool_))
