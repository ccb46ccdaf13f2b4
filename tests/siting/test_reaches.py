"""Measures along channels of known slope, section and fan."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.headcuts import find_headcuts
from siting.channels.reaches import (
    ReachStations,
    measure_at,
    reach_stations,
    section_lines,
    without_crossings,
)
from terrain.channels.network import ChannelNetwork, channel_network
from terrain.channels.sections import SectionMeasures
from terrain.flow.conditioning import condition
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

ROWS, COLS = 100, 260
UP, ACROSS = np.meshgrid(np.arange(COLS) + 0.5, np.arange(ROWS) - 50.0)


def ground(
    *, slope: float = 0.03, depth_m: float = 1.0, bed_m: float = 4.0, noise_m: float = 0.0
) -> np.ndarray:
    """A valley that falls to the west with a gully along row 50; its walls are 1 m wide."""
    bottom = 100.0 + slope * UP
    off = np.abs(ACROSS)
    z = bottom + np.where(
        off <= bed_m / 2,
        -depth_m,
        np.minimum((off - bed_m / 2 - 1.0) * depth_m, 0.0)
        + 0.05 * np.maximum(off - bed_m / 2 - 1.0, 0.0),
    )
    # the bed dips to its middle, which gathers the water
    z -= np.where(off <= bed_m / 2, 0.05 * (bed_m / 2 - off), 0.0)
    return z + noise_m * np.random.default_rng(3).normal(size=z.shape)


def measured(
    z: np.ndarray, *, spacing_m: float = 5.0, with_heads: bool = False
) -> tuple[ReachStations, ChannelNetwork, np.ndarray]:
    raster = Raster.from_array(z)
    conditioned = condition(raster)
    counts = conditioned.flow.accumulate()
    network = channel_network(conditioned.flow, counts, channel_area_ha=0.3)
    heads = find_headcuts(raster, conditioned, counts, network) if with_heads else None
    stations = reach_stations(raster, network, counts, headcuts=heads, spacing_m=spacing_m)
    return stations, network, counts


def middle(s: ReachStations) -> np.ndarray:
    """Stations on the gully itself, away from the raster's ends."""
    return (np.abs(s.y_m - 49.5) < 2.0) & (s.x_m > 30.0) & (s.x_m < 180.0)


@pytest.mark.parametrize("slope", [0.01, 0.03, 0.08])
def test_bed_slope(slope: float) -> None:
    s, _, _ = measured(ground(slope=slope))
    at = middle(s)
    assert at.sum() > 20
    np.testing.assert_allclose(s.slope[at], slope, rtol=0.05)


def test_the_drop_of_a_headcut_is_left_out_of_the_slope() -> None:
    z = ground(slope=0.02, depth_m=0.5, noise_m=0.01)
    step = np.where((UP < 100.0) & (np.abs(ACROSS) <= 3.0), 1.2, 0.0)
    z = z - step
    plain, _, _ = measured(z)
    without, _, _ = measured(z, with_heads=True)
    near = middle(plain) & (np.abs(plain.x_m - 100.0) < 10.0)
    assert near.sum() >= 3
    assert plain.slope[near].max() > 0.035
    np.testing.assert_allclose(without.slope[near], 0.02, atol=0.01)


@pytest.mark.parametrize(("bed", "depth"), [(4.0, 1.0), (6.0, 0.6), (5.0, 1.6)])
@pytest.mark.parametrize("noise", [0.0, 0.04])
def test_width_and_depth(bed: float, depth: float, noise: float) -> None:
    s, _, _ = measured(ground(bed_m=bed, depth_m=depth, noise_m=noise))
    at = middle(s)
    assert np.isfinite(s.bank_width_m[at]).mean() > 0.9
    assert np.nanmedian(s.bank_depth_m[at]) == pytest.approx(depth + 0.025 * bed, rel=0.2)
    assert np.nanmedian(s.bank_width_m[at]) == pytest.approx(bed + 2.0, rel=0.2)
    assert s.width_resolved[at].mean() > 0.9


def test_stations_are_evenly_apart_and_sorted() -> None:
    s, network, counts = measured(ground(), spacing_m=8.0)
    for reach in range(network.size):
        at = s.station_m[s.reach == reach]
        assert at.size
        assert at[0] > 0
        assert at[-1] <= network.length_m[reach] + 1e-6
        if at.size > 2:
            assert np.diff(at).mean() == pytest.approx(8.0, rel=0.15)
            assert (np.diff(at) > 0).all()
    assert (np.diff(s.reach) >= 0).all()
    np.testing.assert_allclose(s.drainage_area_ha, counts.reshape(-1)[s.cell] / 1e4)
    up_the_gully = np.flatnonzero(s.reach == 0)
    assert (np.diff(s.drainage_area_ha[up_the_gully]) <= 0).all()
    np.testing.assert_allclose(s.flow_azimuth_deg[middle(s)], 270.0, atol=12.0)


def test_a_fan_below_a_gully_and_none_without_one() -> None:
    off = np.abs(ACROSS)
    z = ground(slope=0.03, depth_m=1.0)
    lobe = 100.0 + 0.03 * UP - 0.02 * off  # ground falls away to both sides
    toe = UP < 60.0
    fan = np.where(toe, lobe - 1.0 - 0.05 * np.maximum(2 - off, 0), z)
    s, _, _ = measured(fan)
    on_axis = np.abs(s.y_m - 49.5) < 3.0
    low = on_axis & (s.x_m > 15) & (s.x_m < 50)
    assert low.any()
    assert s.is_fan[low].mean() > 0.7
    assert not s.is_fan[on_axis & (s.x_m > 75) & (s.x_m < 180)].any()
    assert not measured(ground())[0].is_fan[middle(measured(ground())[0])].any()


def test_no_spacing_is_refused() -> None:
    raster = Raster.from_array(ground())
    flow = condition(raster).flow
    counts = flow.accumulate()
    network = channel_network(flow, counts, channel_area_ha=0.3)
    with pytest.raises(ParameterError, match="apart"):
        reach_stations(raster, network, counts, spacing_m=0.0)


def test_lines_across_run_from_left_to_right_of_the_flow() -> None:
    ends = section_lines(
        np.array([10.0, 10.0]),
        np.array([20.0, 20.0]),
        np.array([0.0, 90.0]),
        np.array([-2.0, -2.0]),
        np.array([3.0, 3.0]),
    )
    # flow to the north: left is west; flow to the east: left is north
    np.testing.assert_allclose(ends[0], [[8, 20], [13, 20]], atol=1e-9)
    np.testing.assert_allclose(ends[1], [[10, 22], [10, 17]], atol=1e-9)


def test_measuring_at_a_place_is_measuring_its_section() -> None:
    raster = Raster.from_array(ground())
    x, y = raster.grid.xy(50, 120)
    m = measure_at(raster, np.array([x]), np.array([y]), np.array([270.0]))
    assert m.bank_width_m[0] == pytest.approx(6.0, abs=1.01)


def bend(width_m: list[float]) -> tuple[SectionMeasures, list[np.ndarray]]:
    """Sections on a channel along y = 0 of which the middle one is turned as in a sharp bend."""
    n = len(width_m)
    width = np.array(width_m)
    azimuth = np.full(n, 90.0)
    azimuth[n // 2] = 20.0
    full = np.ones(n)
    sections = SectionMeasures(
        full, width, 0.1 * width, 2 * width, -width / 2, width / 2, full, width >= 3.0
    )
    return sections, [np.zeros(n, np.int64), 5.0 * np.arange(n), np.zeros(n), azimuth]


def test_a_section_that_crosses_its_neighbour_takes_their_median() -> None:
    sections, where = bend([6.0, 6.2, 5.8, 20.0, 6.4, 6.0, 6.1])
    kept = without_crossings(sections, *where)
    assert kept.bank_width_m[3] == pytest.approx(6.05)
    assert kept.bank_depth_m[3] == pytest.approx(0.605)
    assert kept.resolved[3]
    others = np.arange(7) != 3
    np.testing.assert_array_equal(kept.bank_width_m[others], sections.bank_width_m[others])
    # the turned one is as wide as the others: the lines do not meet, so all stay
    same, where = bend([6.0] * 7)
    np.testing.assert_array_equal(without_crossings(same, *where).bank_width_m, 6.0)
    # in another reach it is no neighbour
    sections, where = bend([6.0, 6.2, 5.8, 20.0, 6.4, 6.0, 6.1])
    where[0] = np.arange(7)
    np.testing.assert_array_equal(
        without_crossings(sections, *where).bank_width_m, sections.bank_width_m
    )


def test_without_banks_nothing_crosses() -> None:
    sections, where = bend([np.nan] * 5)
    assert np.isnan(without_crossings(sections, *where).bank_width_m).all()
    lone, where = bend([6.0])
    assert without_crossings(lone, *where).bank_width_m[0] == 6.0
