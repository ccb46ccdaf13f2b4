"""Ground between cell centres."""

from __future__ import annotations

import numpy as np
import pytest

from terrain.values.heights import heights_at
from terrain.values.raster import Raster


def test_a_plane_is_read_exactly_between_its_centres() -> None:
    y, x = np.mgrid[9.5:0:-1, 0.5:12]
    raster = Raster.from_array(3 + 0.25 * x - 0.5 * y)
    rng = np.random.default_rng(1)
    px, py = rng.uniform(0.5, 11.5, 50), rng.uniform(0.5, 9.5, 50)
    np.testing.assert_allclose(heights_at(raster, px, py), 3 + 0.25 * px - 0.5 * py, atol=1e-5)


def test_half_a_cell_at_the_edge_takes_the_edge_and_beyond_is_unknown() -> None:
    raster = Raster.from_array([[1.0, 2.0], [3.0, 4.0]], cell_m=10.0)
    assert heights_at(raster, 0.0, 20.0) == 1.0
    assert heights_at(raster, 20.0, 0.0) == 4.0
    assert np.isnan(heights_at(raster, [-0.01, 20.01, 5.0, 5.0], [5.0, 5.0, -0.01, 20.01])).all()


def test_beside_a_hole_nothing_is_known() -> None:
    z = np.ones((5, 5))
    z[2, 2] = np.nan
    raster = Raster.from_array(z)
    assert np.isnan(heights_at(raster, [2.5, 2.0, 3.2], [2.5, 2.5, 1.9])).all()
    assert heights_at(raster, 1.0, 2.5) == 1.0


@pytest.mark.parametrize("shape", [(1, 4), (4, 1), (1, 1)])
def test_a_single_row_or_column(shape: tuple[int, int]) -> None:
    raster = Raster.from_array(np.full(shape, 7.0))
    assert heights_at(raster, shape[1] / 2, shape[0] / 2) == 7.0
