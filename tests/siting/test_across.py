"""Ground across a channel: which side is which, and the running median."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.across import across, running_median
from terrain.channels.sections import section_heights
from terrain.values.raster import Raster


@pytest.mark.parametrize("azimuth", [0.0, 37.0, 180.0, 285.0])
def test_right_is_right_looking_downstream(azimuth: float) -> None:
    """On a tilted plane, against the direction's own right."""
    y, x = np.mgrid[0:40, 0:40]
    raster = Raster.from_array(0.3 * x - 0.2 * (40 - y))
    offset = np.array([-4.0, 0.0, 4.0])
    z = across(raster, np.array([20.0]), np.array([20.0]), np.array([azimuth]), offset)[0]
    east, north = np.cos(np.radians(azimuth)), -np.sin(np.radians(azimuth))
    np.testing.assert_allclose(z - z[1], offset * (0.3 * east - 0.2 * north), atol=1e-5)


def test_agrees_with_one_section() -> None:
    """`section_heights` takes a running median of three; on a plane that changes nothing."""
    y, x = np.mgrid[0:60, 0:60]
    raster = Raster.from_array(0.1 * x + 0.25 * y)
    offset, height = section_heights(raster, 30.2, 29.7, 130.0)
    inside = np.isfinite(height)
    z = across(raster, np.array([30.2]), np.array([29.7]), np.array([130.0]), offset)[0]
    np.testing.assert_allclose(z[inside], height[inside], atol=1e-5)


def test_running_median() -> None:
    rows = np.random.default_rng(0).standard_normal((9, 4))
    padded = np.concatenate([rows[:1], rows[:1], rows, rows[-1:], rows[-1:]])
    wanted = [np.median(padded[i : i + 5], axis=0) for i in range(9)]
    np.testing.assert_array_equal(running_median(rows), wanted)
    assert running_median(rows[:1]).tolist() == rows[:1].tolist()
