"""Typical sections of channels whose shape is known."""

from __future__ import annotations

import numpy as np
import pytest

from terrain.channels.sections import valley_widths
from terrain.channels.typical_sections import (
    find_benches,
    flow_stages,
    lower_banks,
    stack_sections,
    widths_at,
)
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

ROWS, COLS = 121, 161


def channel(
    *,
    bed_m: float = 2.0,
    bench_m: float = 0.4,
    bench_width_m: float = 1.5,
    depth_m: float = 1.4,
    side: float = 1.5,
    azimuth_deg: float = 90.0,
    slope: float = 0.0,
    bend: float = 0.0,
    left_higher_m: float = 0.0,
    cell_m: float = 1.0,
    noise_m: float = 0.0,
    seed: int = 1,
) -> tuple[Raster, float, float]:
    """A channel with a bench on each side in level ground, and the place of its middle."""
    y, x = np.mgrid[0:ROWS, 0:COLS] * cell_m
    x0, y0 = x.mean(), y.mean()
    angle = np.radians(azimuth_deg)
    along = np.sin(angle) * (x - x0) - np.cos(angle) * (y - y0)
    right = np.cos(angle) * (x - x0) + np.sin(angle) * (y - y0) - bend * along**2
    out = np.abs(right) - bed_m / 2
    to_bench = bench_m / side
    low = np.clip(out, 0.0, to_bench) * side
    high = np.maximum(out - to_bench - (bench_width_m if bench_m > 0 else 0.0), 0.0) * side
    top = depth_m + np.where(right < 0, left_higher_m, 0.0)
    z = 80.0 - slope * along + np.minimum(low + high, top)
    z = z + noise_m * np.random.default_rng(seed).normal(size=z.shape)
    raster = Raster.from_array(z, cell_m=cell_m)
    px, py = raster.grid.xy((ROWS - 1) / 2, (COLS - 1) / 2)
    return raster, float(px), float(py)


AZIMUTHS = [20.0, 37.0, 65.0, 90.0, 118.0, 205.0, 333.0]


@pytest.mark.parametrize("azimuth", AZIMUTHS)
@pytest.mark.parametrize("slope", [0.0, 0.04])
def test_the_typical_section_is_the_one_that_was_made(azimuth: float, slope: float) -> None:
    raster, x, y = channel(azimuth_deg=azimuth, slope=slope)
    s = stack_sections(raster, [x], [y], [azimuth])
    assert s.bed_m[0] == pytest.approx(80.0, abs=0.05)
    assert s.bed_slope[0] == pytest.approx(slope, abs=0.004)
    assert s.middle_m[0] == pytest.approx(0.0, abs=0.2)
    width, closed = widths_at(s, [1.0])
    # 2 m of bed, two benches of 1.5 m, sides of 1.5 to 1
    assert width[0] == pytest.approx(2.0 + 3.0 + 2 * 1.0 / 1.5, abs=0.8)
    assert closed[0]
    far = np.abs(s.offset_m) > 6.0
    np.testing.assert_allclose(s.height_m[0, far & np.isfinite(s.height_m[0])], 1.4, atol=0.06)


@pytest.mark.parametrize("azimuth", [a for a in AZIMUTHS if a % 90.0 != 0.0])
@pytest.mark.parametrize("bench", [0.3, 0.5, 0.8])
def test_a_bench_is_found_at_its_height_under_noise(azimuth: float, bench: float) -> None:
    found = []
    for seed in range(5):
        raster, x, y = channel(
            azimuth_deg=azimuth, bench_m=bench, slope=0.02, noise_m=0.05, seed=seed
        )
        s = stack_sections(raster, [x], [y], [azimuth])
        found.append(float(find_benches(s, [1.4]).height_m[0]))
    assert np.isfinite(found).sum() >= 3
    assert np.nanmedian(found) == pytest.approx(bench, abs=max(0.06, 0.2 * bench))


def test_along_the_grid_a_bench_must_be_wider_than_its_cells() -> None:
    """All cells lie at whole metres then, so that a tread of 1.5 m may hold a single one."""
    for wide, shown in ((1.5, False), (3.0, True)):
        raster, x, y = channel(bench_m=0.5, bench_width_m=wide, azimuth_deg=90.0, noise_m=0.05)
        s = stack_sections(raster, [x], [y], [90.0])
        found = find_benches(s, [1.4]).height_m[0]
        assert np.isfinite(found) == shown
        if shown:
            assert found == pytest.approx(0.5, abs=0.1)


def test_without_a_bench_noise_makes_none() -> None:
    found = []
    for seed in range(60):
        raster, x, y = channel(
            bench_m=0.0, bed_m=3.0, azimuth_deg=31.0 + seed, noise_m=0.05, seed=seed
        )
        s = stack_sections(raster, [x], [y], [31.0 + seed])
        found.append(float(find_benches(s, [1.4]).height_m[0]))
    assert np.isfinite(found).sum() <= 2


def test_the_bench_counts_and_not_the_greatest_hydraulic_depth() -> None:
    """At the bank top hydraulic depth is greater than at the bench; it is not bankfull."""
    raster, x, y = channel(depth_m=2.4, azimuth_deg=65.0)
    s = stack_sections(raster, [x], [y], [65.0])
    b = find_benches(s, [2.4])
    levels = np.arange(0.05, 2.4, 0.05)
    widths = np.array([float(widths_at(s, [v])[0][0]) for v in levels])
    deep = np.cumsum(widths) * 0.05 / widths
    assert levels[deep.argmax()] > 2.0
    assert deep.max() > b.hydraulic_depth_m[0]
    assert b.height_m[0] == pytest.approx(0.4, abs=0.08)


def test_a_bench_at_the_bank_top_or_without_banks_is_none() -> None:
    raster, x, y = channel(bench_m=0.7, depth_m=0.8, azimuth_deg=65.0)
    s = stack_sections(raster, [x], [y], [65.0])
    assert np.isnan(find_benches(s, [0.8]).height_m[0])
    assert np.isnan(find_benches(s, [np.nan]).height_m[0])


def test_a_gentle_bend_is_followed() -> None:
    raster, x, y = channel(bend=0.006, azimuth_deg=65.0, noise_m=0.03)
    s = stack_sections(raster, [x], [y], [65.0])
    assert s.even[0]
    assert find_benches(s, [1.4]).height_m[0] == pytest.approx(0.4, abs=0.08)


def test_a_step_of_the_bed_ends_the_stretch() -> None:
    raster, x, y = channel(azimuth_deg=90.0)
    whole = stack_sections(raster, [x], [y], [90.0])
    z = raster.elevation_m.copy()
    z[:, COLS // 2 + 5 :] -= 1.0  # a headcut 4 to 5 m down the channel
    cut = stack_sections(Raster.from_array(z, cell_m=1.0), [x], [y], [90.0])
    assert whole.length_m[0] == 16.0
    assert cut.length_m[0] < 14.0
    assert cut.bed_slope[0] == pytest.approx(0.0, abs=0.02)


def test_depth_of_a_flow_in_a_rectangle_and_a_trapezoid() -> None:
    """Manning's equation on the section that was made, solved by trying depths."""
    slope, roughness, flow = 0.01, 0.045, 1.5
    raster, x, y = channel(bench_m=0.0, bed_m=4.0, side=1.0, depth_m=2.0, azimuth_deg=65.0)
    s = stack_sections(raster, [x], [y], [65.0])
    depth, width = flow_stages(s, [2.0], flow_m3s=[flow], slope=[slope], roughness=roughness)
    tried = np.linspace(0.01, 2.0, 4000)
    area = (4.0 + tried) * tried
    wet = 4.0 + 2 * np.sqrt(2.0) * tried
    carried = area / roughness * (area / wet) ** (2 / 3) * np.sqrt(slope)
    right = float(np.interp(flow, carried, tried))
    assert depth[0] == pytest.approx(right, rel=0.1)
    assert width[0] == pytest.approx(4.0 + 2 * right, abs=0.8)
    # more flow stands deeper; above the banks the sides are upright; unknown flows stay unknown
    many = stack_sections(raster, [x] * 3, [y] * 3, [65.0] * 3)
    depths, _ = flow_stages(
        many, [2.0] * 3, flow_m3s=[3.0, 60.0, np.nan], slope=[slope] * 3, roughness=roughness
    )
    assert depth[0] < depths[0] < 2.0 < depths[1]
    assert np.isnan(depths[2])


def test_the_lower_bank() -> None:
    raster, x, y = channel(left_higher_m=0.8, azimuth_deg=65.0)
    there = stack_sections(raster, [x, x], [y, y], [65.0, 245.0])
    # looking the other way, right is left
    assert list(lower_banks(there)) == ["right", "left"]
    level = Raster.from_array(np.full((60, 60), 5.0))
    assert lower_banks(stack_sections(level, [30.0], [-30.0], [10.0]))[0] == ""


def test_finer_and_coarser_cells() -> None:
    for cell, bed in ((0.5, 2.0), (2.0, 6.0)):
        raster, x, y = channel(
            cell_m=cell, bed_m=bed, bench_width_m=3 * cell, azimuth_deg=65.0, noise_m=0.03
        )
        b = find_benches(stack_sections(raster, [x], [y], [65.0]), [1.4])
        assert b.height_m[0] == pytest.approx(0.4, abs=0.1)


def test_off_the_raster_and_over_voids_there_is_nothing() -> None:
    raster, x, y = channel()
    s = stack_sections(raster, [-500.0], [-500.0], [90.0])
    assert np.isnan(s.height_m).all()
    assert np.isnan(s.bed_m[0])
    assert not s.even[0]
    assert np.isnan(find_benches(s, [1.0]).height_m[0])
    assert np.isnan(widths_at(s, [0.5])[0][0])
    z = raster.elevation_m.copy()
    z[:, : COLS // 2 - 1] = np.nan
    half = stack_sections(Raster.from_array(z, cell_m=1.0), [x], [y], [90.0])
    assert half.length_m[0] < 16.0


def test_one_of_each_a_place() -> None:
    raster, x, y = channel()
    with pytest.raises(ParameterError, match="2 x, 1 y"):
        stack_sections(raster, [x, x], [y], [90.0])


def test_width_of_a_valley_floor() -> None:
    """A floor 30 m wide whose sides climb 1 in 4: 2 m up it is 46 m wide."""
    rows = np.arange(200.0)[:, None] + np.zeros((1, 80))
    z = 10.0 + 0.25 * np.maximum(np.abs(rows - 100.0) - 15.0, 0.0)
    raster = Raster.from_array(z)
    x, y = raster.grid.xy(100, 40)
    width = valley_widths(raster, [x] * 3, [y] * 3, [90.0] * 3, [12.0, 9.0, np.nan])
    assert width[0] == pytest.approx(46.0, abs=0.1)
    assert width[1] == 0.0
    assert np.isnan(width[2])
    # higher than anything within reach: as far as it was looked at
    assert valley_widths(raster, [x], [y], [90.0], [99.0])[0] == pytest.approx(120.0, abs=1.0)
