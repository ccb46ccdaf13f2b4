"""Widths and depths of channels of known section."""

from __future__ import annotations

import numpy as np
import pytest

from terrain.channels.sections import measure_sections, section_heights
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

ROWS, COLS = 81, 121


def channel(
    *,
    top_m: float = 6.0,
    bottom_m: float = 3.0,
    depth_m: float = 1.0,
    cell_m: float = 1.0,
    azimuth_deg: float = 90.0,
    left_higher_m: float = 0.0,
    noise_m: float = 0.0,
    seed: int = 1,
) -> tuple[Raster, float, float]:
    """A straight trapezoid in level ground, and the place of its middle."""
    y, x = np.mgrid[0:ROWS, 0:COLS] * cell_m
    x0, y0 = x.mean(), y.mean()
    angle = np.radians(azimuth_deg)
    # metres to the right of the line, looking along it; rows run south
    right = np.cos(angle) * (x - x0) + np.sin(angle) * (y - y0)
    off = np.maximum(np.abs(right) - bottom_m / 2, 0.0)
    side = np.minimum(off / max((top_m - bottom_m) / 2, 1e-9), 1.0)
    z = 50.0 + depth_m * side + np.where((right < 0) & (side >= 1.0), left_higher_m, 0.0)
    z = z + noise_m * np.random.default_rng(seed).normal(size=z.shape)
    raster = Raster.from_array(z, cell_m=cell_m)
    px, py = raster.grid.xy((ROWS - 1) / 2, (COLS - 1) / 2)
    return raster, float(px), float(py)


@pytest.mark.parametrize("azimuth", [0.0, 37.0, 90.0, 225.0])
@pytest.mark.parametrize(("top", "bottom", "depth"), [(6, 3, 1), (9, 5, 1.5), (5, 2, 0.6)])
def test_a_trapezoid(azimuth: float, top: float, bottom: float, depth: float) -> None:
    raster, x, y = channel(top_m=top, bottom_m=bottom, depth_m=depth, azimuth_deg=azimuth)
    m = measure_sections(raster, [x], [y], [azimuth])
    assert m.bank_depth_m[0] == pytest.approx(depth, rel=0.1)
    # a wall spread over its cells cannot be told from one half a cell nearer, on each side
    assert m.bank_width_m[0] == pytest.approx(top, abs=1.01)
    assert m.bed_m[0] == pytest.approx(50.0, abs=0.05)
    assert m.right_m[0] - m.left_m[0] == pytest.approx(m.bank_width_m[0], abs=0.5)
    assert m.left_m[0] == pytest.approx(-m.right_m[0], abs=1.0)
    assert m.resolved[0]


@pytest.mark.parametrize("seed", range(4))
def test_a_trapezoid_under_noise(seed: int) -> None:
    raster, x, y = channel(top_m=7, bottom_m=4, depth_m=1.2, noise_m=0.05, seed=seed)
    m = measure_sections(raster, [x, x + 12.0, x - 12.0], [y, y, y], [90.0, 90.0, 90.0])
    assert np.median(m.bank_depth_m) == pytest.approx(1.2, rel=0.2)
    assert np.median(m.bank_width_m) == pytest.approx(7.0, rel=0.2)


def test_the_lower_bank_rules_and_left_is_left() -> None:
    raster, x, y = channel(top_m=6, bottom_m=4, depth_m=1.0, left_higher_m=0.8)
    m = measure_sections(raster, [x], [y], [90.0])
    assert m.bank_depth_m[0] == pytest.approx(1.0, abs=0.15)
    off, heights = section_heights(raster, x, y, 90.0)
    assert heights[off < -8].mean() == pytest.approx(51.8, abs=0.01)
    assert heights[off > 8].mean() == pytest.approx(51.0, abs=0.01)
    # looking the other way the high bank is on the right
    _, back = section_heights(raster, x, y, 270.0)
    np.testing.assert_allclose(back, heights[::-1], atol=1e-4)


def test_finer_cells_see_the_same_channel() -> None:
    raster, x, y = channel(top_m=6, bottom_m=3, cell_m=0.5)
    m = measure_sections(raster, [x], [y], [90.0])
    assert m.bank_width_m[0] == pytest.approx(6.0, abs=0.5)
    assert m.bank_depth_m[0] == pytest.approx(1.0, rel=0.1)


def test_a_channel_of_two_cells_is_not_resolved() -> None:
    raster, x, y = channel(top_m=2.0, bottom_m=1.0, depth_m=0.8)
    m = measure_sections(raster, [x], [y], [90.0])
    assert not m.resolved[0]


@pytest.mark.parametrize("depth", [0.0, 0.1])
def test_level_ground_and_a_trace_have_no_banks(depth: float) -> None:
    raster, x, y = channel(depth_m=depth)
    m = measure_sections(raster, [x], [y], [90.0])
    assert np.isnan(m.bank_width_m[0])
    assert np.isnan(m.bank_depth_m[0])
    assert not m.resolved[0]


def test_on_a_fan_the_sides_lie_no_higher_than_the_bed() -> None:
    y, _ = np.mgrid[0:ROWS, 0:COLS]
    raster = Raster.from_array(50.0 - 0.02 * np.abs(y - 40.0))
    x0, y0 = raster.grid.xy(40, 60)
    fan = measure_sections(raster, [x0], [y0], [90.0])
    assert fan.side_rise_m[0] < 0.0
    ground, x1, y1 = channel()
    assert measure_sections(ground, [x1], [y1], [90.0]).side_rise_m[0] == pytest.approx(
        1.0, abs=0.1
    )


def test_twice_the_depth_gives_the_valleys_width() -> None:
    """A channel 1 m deep in a valley whose sides climb 1 in 2 from 5 m out on."""
    y, _ = np.mgrid[0:ROWS, 0:COLS]
    off = np.abs(y - 40.0)
    z = 50.0 + np.minimum(np.maximum(off - 1.5, 0.0), 1.0) + 0.5 * np.maximum(off - 6.0, 0.0)
    raster = Raster.from_array(z)
    x0, y0 = raster.grid.xy(40, 60)
    m = measure_sections(raster, [x0], [y0], [90.0])
    assert m.bank_depth_m[0] == pytest.approx(1.0, abs=0.1)
    # twice 1 m is reached where the sides have climbed 1 m: 8 m out
    assert m.valley_width_m[0] == pytest.approx(16.0, abs=0.8)


def test_off_the_raster_there_is_nothing() -> None:
    raster, _, _ = channel()
    m = measure_sections(raster, [-100.0], [-100.0], [90.0])
    assert np.isnan(m.bed_m[0])
    assert np.isnan(m.bank_width_m[0])
    assert not m.resolved[0]


def test_one_of_each_a_place() -> None:
    raster, x, y = channel()
    with pytest.raises(ParameterError, match="2 x, 1 y"):
        measure_sections(raster, [x, x], [y], [90.0])
