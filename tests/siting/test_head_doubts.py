"""Steps of heights, read off a raster."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.head_doubts import height_step_m, near_edge
from terrain.values.raster import Raster


@pytest.mark.parametrize("step", [1.0, 0.3048, 0.1])
def test_the_step_of_heights_is_read(step: float) -> None:
    rough = np.random.default_rng(3).uniform(1500.0, 1560.0, size=(60, 70))
    stepped = np.round(rough / step) * step
    assert height_step_m(Raster.from_array(stepped, cell_m=1.0)) == step
    assert height_step_m(Raster.from_array(rough, cell_m=1.0)) == 0.0


def test_even_ground_has_no_step() -> None:
    assert height_step_m(Raster.from_array(np.full((20, 20), 7.0), cell_m=1.0)) == 0.0


def test_cells_near_the_end_of_known_ground() -> None:
    z = np.zeros((40, 40))
    z[20, 20] = np.nan
    raster = Raster.from_array(z, cell_m=1.0)
    cells = np.array([40 * 10 + 10, 40 * 5 + 20, 40 * 14 + 20, 40 * 13 + 20], dtype=np.int64)
    assert near_edge(raster, cells).tolist() == [False, True, True, False]
