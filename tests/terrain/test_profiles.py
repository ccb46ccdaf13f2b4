"""Long profiles at even steps."""

from __future__ import annotations

import numpy as np
import pytest

from terrain._kernels.profiles import directions_of, smoothed
from terrain.channels.profiles import long_profile, profile_step_m
from terrain.flow.conditioning import condition
from terrain.values.errors import GridMismatchError, ParameterError
from terrain.values.raster import Raster
from tests.terrain.surfaces import as_raster


def plane(rows: int = 60, cols: int = 60) -> Raster:
    y, x = np.mgrid[0:rows, 0:cols]
    return as_raster((0.02 * x + 0.05 * y).astype(np.float32))


def test_a_straight_way_keeps_its_length_place_and_heights() -> None:
    raster = plane()
    cells = 10 * 60 + np.arange(5, 45)
    profile = long_profile(raster, cells)
    np.testing.assert_allclose(profile.station_m, np.arange(profile.station_m.size))
    assert profile.station_m[-1] == pytest.approx(39.0, abs=1.0)
    np.testing.assert_allclose(profile.x_m, 5.5 + profile.station_m, atol=1e-6)
    np.testing.assert_allclose(profile.y_m, -10.5)
    np.testing.assert_allclose(profile.bed_m, 0.5 + 0.02 * (5 + profile.station_m), atol=1e-5)
    np.testing.assert_array_equal(profile.cell, cells[: profile.cell.size])
    np.testing.assert_array_equal(profile.carved_m, profile.bed_m)
    assert not profile.bed_m.flags.writeable


def test_the_stair_steps_of_a_way_do_not_count() -> None:
    """A way in a direction of one in two: 1.118 m a column, 1.207 over cell centres."""
    col = np.arange(50)
    row = col // 2
    profile = long_profile(plane(), row * 60 + col)
    over_cells = 24 * np.sqrt(2) + 25
    straight = np.hypot(49, 24)
    assert profile.station_m[-1] < over_cells - 2.0
    assert profile.station_m[-1] == pytest.approx(straight, rel=0.015)


def test_oblong_cells_are_measured_in_metres() -> None:
    z = np.add.outer(0.2 * np.arange(30), np.zeros(10)).astype(np.float32)
    raster = as_raster(z, 4.0, 1.0)
    profile = long_profile(raster, np.arange(2, 28) * 10 + 5)
    assert profile_step_m(raster) == pytest.approx(2.0)
    assert profile.station_m[-1] == pytest.approx(100.0, abs=2.0)
    slope = np.polyfit(profile.station_m, profile.bed_m, 1)[0]
    assert slope == pytest.approx(0.05, rel=1e-3)


def test_carved_ground_stands_beside_the_bed() -> None:
    z = (0.1 * np.arange(40) + np.abs(np.arange(5)[:, None] - 2.0)).astype(np.float32)
    z[:, 20] += 1.5
    raster = as_raster(z)
    conditioned = condition(raster).raster
    profile = long_profile(raster, 2 * 40 + np.arange(40), conditioned=conditioned)
    assert profile.bed_m[20] == pytest.approx(z[2, 20], abs=1e-5)
    assert profile.carved_m[20] == pytest.approx(conditioned.elevation_m[2, 20], abs=1e-5)
    assert profile.bed_m[20] - profile.carved_m[20] > 1.0


def test_what_is_no_way_is_refused() -> None:
    raster = plane()
    with pytest.raises(ParameterError, match="1 cells"):
        long_profile(raster, [5])
    with pytest.raises(ParameterError, match="do not touch"):
        long_profile(raster, [5, 7])
    with pytest.raises(ParameterError, match="do not touch"):
        long_profile(raster, [5, 5])
    with pytest.raises(GridMismatchError):
        long_profile(raster, [5, 6], conditioned=plane(10, 60))


def test_smoothing_keeps_lines_and_ends() -> None:
    line = 2.0 * np.arange(12) + 1.0
    np.testing.assert_allclose(smoothed(line, 2), line)
    values = np.array([0.0, 0, 9, 0, 0, 0])
    np.testing.assert_allclose(smoothed(values, 1), [0, 3, 3, 3, 0, 0])
    assert smoothed(values, 3)[0] == values[0]


def test_directions_point_to_the_end_of_the_line() -> None:
    way = directions_of(3.0 * np.arange(20), 4.0 * np.arange(20), 3)
    np.testing.assert_allclose(way, np.tile([0.6, 0.8], (20, 1)), atol=1e-9)
