"""What must hold of water in any cross-section: exact geometry, Manning's law, dry ditches."""

from __future__ import annotations

import itertools
import math
import time

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import normal_flow
from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError

widths = st.floats(0.2, 30)
sides = st.floats(0, 6)
flows = st.floats(1e-3, 300)
slopes = st.floats(5e-4, 0.4)
roughnesses = st.floats(0.015, 0.15)


@st.composite
def rough_ground(draw: st.DrawFn) -> CrossSection:
    """A channel between banks on any ground, with noise, bars and ditches."""
    count = draw(st.integers(5, 60))
    steps = draw(st.lists(st.floats(0.05, 2.0), min_size=count, max_size=count))
    noise = draw(st.lists(st.floats(-1.0, 1.0), min_size=count, max_size=count))
    x = np.cumsum(steps)
    half = (x[0] + x[-1]) / 2
    bowl = draw(st.floats(0, 3)) * ((x - half) / (x[-1] - half)) ** 2
    tilt = draw(st.floats(-0.05, 0.05)) * (x - half)
    return CrossSection(x, bowl + tilt + draw(st.floats(0, 1)) * np.array(noise))


def by_strips(section: CrossSection, depth: float) -> tuple[float, float, float]:
    """Area, perimeter and width of connected water, from very many points: slow and plain.

    Stands on its own: it fills from the deepest point outward, point by point.
    """
    fine = np.unique(
        np.concatenate(
            [
                section.offset_m,
                np.linspace(section.offset_m[0], section.offset_m[-1], 40_001),
            ]
        )
    )
    ground = np.interp(fine, section.offset_m, section.height_m)
    level = section.bed_m + depth
    start = int(ground.argmin())
    left, right = start, start
    while left > 0 and ground[left - 1] <= level:
        left -= 1
    while right < fine.size - 1 and ground[right + 1] <= level:
        right += 1
    x, z = fine[left : right + 1], ground[left : right + 1]
    area = float(np.trapezoid(level - z, x))
    perimeter = float(np.hypot(np.diff(x), np.diff(z)).sum())
    for edge, end in ((left, 0), (right, fine.size - 1)):
        if edge == end:
            perimeter += level - ground[end]
    return area, perimeter, float(x[-1] - x[0])


@given(widths, sides, st.floats(0.1, 5), st.floats(0.01, 1))
def test_trapezoids_follow_their_closed_forms(
    bottom: float, side: float, bank: float, share: float
) -> None:
    section = CrossSection.trapezoid(bottom, side=side, depth_m=bank)
    depth = share * bank
    assert section.rim_m == pytest.approx(bank)
    wet = section.wetted(depth)
    assert wet.area_m2 == pytest.approx((bottom + side * depth) * depth)
    assert wet.perimeter_m == pytest.approx(bottom + 2 * depth * math.hypot(1, side))
    assert wet.top_width_m == pytest.approx(bottom + 2 * side * depth)
    assert section.top_width_m(depth) == wet.top_width_m


@given(widths, st.floats(0.1, 5), flows, slopes, roughnesses)
def test_a_rectangle_shoots_where_it_is_shallower_than_critical_even_above_its_rim(
    width: float, bank: float, flow: float, slope: float, roughness: float
) -> None:
    section = CrossSection.trapezoid(width, side=0, depth_m=bank)
    closed = ((flow / width) ** 2 / 9.81) ** (1 / 3)
    state = normal_flow(section, flow, slope=slope, roughness=roughness)
    assert state.overtops == (state.depth_m > bank)
    depth = state.depth_m
    radius = width * depth / (width + 2 * depth)
    manning = width * depth * radius ** (2 / 3) * math.sqrt(slope) / roughness
    assert manning == pytest.approx(flow, rel=1e-9)
    # it shoots exactly where it is shallower than critical
    if abs(state.froude - 1) > 1e-6:
        assert (state.froude > 1) == (depth < closed)


@settings(max_examples=200)
@given(rough_ground(), flows, slopes, roughnesses)
def test_normal_flow_gives_back_its_discharge(
    section: CrossSection, flow: float, slope: float, roughness: float
) -> None:
    state = normal_flow(section, flow, slope=slope, roughness=roughness)
    velocity = state.hydraulic_radius_m ** (2 / 3) * math.sqrt(slope) / roughness
    assert state.area_m2 * velocity == pytest.approx(flow, rel=1e-6)
    assert state.velocity_mps == pytest.approx(velocity, rel=1e-6)
    assert state.unit_flow_m2s * state.top_width_m == pytest.approx(flow)
    assert state.shear_pa <= state.deepest_shear_pa * (1 + 1e-9)
    assert state.overtops == (state.depth_m > section.rim_m)


@settings(max_examples=200)
@given(rough_ground(), st.lists(flows, min_size=2, max_size=8), slopes, roughnesses)
def test_more_water_never_stands_lower(
    section: CrossSection, several: list[float], slope: float, roughness: float
) -> None:
    states = [normal_flow(section, q, slope=slope, roughness=roughness) for q in sorted(several)]
    depths = [state.depth_m for state in states]
    areas = [state.area_m2 for state in states]
    for values in (depths, areas):
        assert all(b >= a - 1e-9 for a, b in itertools.pairwise(values))


@settings(max_examples=60, deadline=None)
@given(rough_ground(), st.floats(0.02, 1.5))
def test_geometry_is_that_of_many_thin_strips(section: CrossSection, share: float) -> None:
    depth = share * float(np.ptp(section.height_m))
    level = section.bed_m + depth
    # a level within a hair of a bank top leaves the strips in doubt about what lies beyond
    assume(depth > 1e-3 and np.abs(section.height_m - level).min() > 1e-3)
    area, perimeter, width = by_strips(section, depth)
    fine = float(np.ptp(section.offset_m)) / 40_000
    assert section.wetted(depth).area_m2 == pytest.approx(area, rel=1e-3, abs=4 * fine * depth)
    assert section.top_width_m(depth) == pytest.approx(width, abs=4 * fine)
    steep = float(np.abs(np.diff(section.height_m) / np.diff(section.offset_m)).max())
    near = 4 * fine * math.hypot(1, steep)
    assert section.wetted(depth).perimeter_m == pytest.approx(perimeter, abs=near)


@given(rough_ground(), flows, slopes)
def test_a_section_seen_in_a_mirror_carries_the_same(
    section: CrossSection, flow: float, slope: float
) -> None:
    assume(np.unique(section.height_m).size == section.height_m.size)
    mirrored = CrossSection(-section.offset_m[::-1], section.height_m[::-1])
    a, b = (normal_flow(s, flow, slope=slope, roughness=0.04) for s in (section, mirrored))
    assert a.depth_m == pytest.approx(b.depth_m, rel=1e-9, abs=1e-12)
    assert section.rim_m == pytest.approx(mirrored.rim_m)


def channel_and_ditch(ditch_bed_m: float) -> tuple[FloatArray, FloatArray]:
    """A channel 2 m wide and 1 m deep, and 6 m to its right a ditch 3 m wide."""
    x = np.arange(-14, 14.01, 0.25)
    z = np.where(np.abs(x) <= 1, 0.0, 1.0)
    return x, np.where(np.abs(x - 8) <= 1.5, ditch_bed_m, z)


@pytest.mark.parametrize("ditch_bed_m", [0.3, 0.0])
def test_a_ditch_beyond_a_bank_stays_dry(ditch_bed_m: float) -> None:
    section = CrossSection.from_ground(*channel_and_ditch(ditch_bed_m))
    assert section.offset_m[-1] == 14.0, "the ditch is part of the section"
    alone = CrossSection(*(v[:81] for v in channel_and_ditch(ditch_bed_m)))
    for depth in (0.2, 0.6, 0.99):
        assert section.wetted(depth).area_m2 == pytest.approx(alone.wetted(depth).area_m2)
        assert section.top_width_m(depth) < 3
    assert section.top_width_m(1.01) == pytest.approx(28.0)
    assert section.wetted(1.01).area_m2 > alone.wetted(1.01).area_m2 + 2


def test_a_lower_ditch_beside_the_channel_is_not_its_bed() -> None:
    section = CrossSection.from_ground(*channel_and_ditch(-0.8))
    assert section.bed_m == 0.0
    assert abs(section.offset_m[section.deepest]) <= 1
    assert section.offset_m[-1] < 8
    x, z = channel_and_ditch(-0.8)
    mirrored = CrossSection.from_ground(-x[::-1], z[::-1])
    assert mirrored.bed_m == 0.0
    assert mirrored.offset_m[0] > -8


def test_where_a_bank_goes_under_the_ditch_fills_as_far_as_the_flow_asks() -> None:
    section = CrossSection.from_ground(*channel_and_ditch(0.0))
    x = section.offset_m
    # a knob on both outer edges, so that the ground between goes under before the ends do
    banks = np.where(np.abs(x - x.mean()) > 13, 1.4, section.height_m)
    walled = CrossSection(x, banks)
    flows = np.linspace(0.5, 12, 200)
    states = [normal_flow(walled, q, slope=0.01, roughness=0.04) for q in flows]
    filling = [s for s in states if s.depth_m == 1.0]
    assert len(filling) > 3, "several flows stand at the bank while the ditch fills"
    areas = [s.area_m2 for s in filling]
    assert areas == sorted(areas)
    assert areas[0] < areas[-1]


@given(st.integers(0, 2**32 - 1), st.integers(0, 15), st.integers(0, 15))
def test_measured_ground_with_noise_and_gaps(seed: int, left: int, right: int) -> None:
    """Noise of a good raster moves neither the bed nor the flow by much; gaps only shorten it."""
    random = np.random.default_rng(seed)
    x = np.arange(-15, 15.01, 0.5)
    clean = np.clip((np.abs(x) - 2) * 0.8, 0, 1.6) + 0.01 * np.abs(x)
    z = clean + random.normal(0, 0.03, x.size)
    z[:left] = np.nan
    z[x.size - right :] = np.nan
    section = CrossSection.from_ground(x, z)
    assert section.offset_m.size == x.size - left - right
    assert abs(section.offset_m[section.deepest]) <= 2.5
    flow = normal_flow(section, 4.0, slope=0.02, roughness=0.04)
    smooth = normal_flow(CrossSection(x, clean), 4.0, slope=0.02, roughness=0.04)
    level, smooth_level = section.bed_m + flow.depth_m, clean.min() + smooth.depth_m
    assert level == pytest.approx(smooth_level, abs=0.06)
    assert flow.area_m2 == pytest.approx(smooth.area_m2, rel=0.2)


def test_a_gap_cuts_the_section_where_it_first_comes() -> None:
    x = np.arange(11.0)
    z = np.abs(x - 5.0)
    z[[1, 3, 8]] = np.nan
    section = CrossSection.from_ground(x, z)
    assert section.offset_m.tolist() == [4, 5, 6, 7]


def test_no_water_has_no_size() -> None:
    section = CrossSection.trapezoid(2, side=1, depth_m=1)
    assert section.wetted(0).area_m2 == 0
    state = normal_flow(section, 0.0, slope=0.01, roughness=0.04)
    assert (state.depth_m, state.velocity_mps, state.overtops) == (0, 0, False)


def test_water_on_a_floodplain_counts_as_over_the_rim() -> None:
    section = CrossSection.trapezoid(1, side=1, depth_m=0.5, floodplain_m=5)
    assert section.rim_m == 0.5
    within, over = (normal_flow(section, q, slope=0.02, roughness=0.045) for q in (1.0, 2.0))
    assert (within.overtops, over.overtops) == (False, True)
    assert over.top_width_m == pytest.approx(12)


def test_sections_are_read_only_copies() -> None:
    x, z = np.array([0.0, 1.0, 2.0]), np.array([1.0, 0.0, 1.0])
    section = CrossSection(x, z)
    x[0] = -5
    assert section.offset_m[0] == 0
    with pytest.raises(ValueError, match="read-only"):
        section.height_m[0] = 7


@pytest.mark.parametrize(
    ("x", "z"),
    [
        ([0.0, 1.0], [0.0, 1.0, 2.0]),
        ([0.0], [0.0]),
        ([0.0, 2.0, 1.0], [1.0, 0.0, 1.0]),
        ([1.0, 1.0], [0.0, 1.0]),
        ([0.0, 1.0, 2.0], [1.0, np.nan, 1.0]),
    ],
)
def test_impossible_sections_are_refused(x: list[float], z: list[float]) -> None:
    with pytest.raises(ParameterError, match="cross-section"):
        CrossSection(np.array(x), np.array(z))
    with pytest.raises(ParameterError, match="cross-section"):
        CrossSection.from_ground(x, z)


@pytest.mark.parametrize("bad", [-1.0, math.nan, math.inf])
def test_impossible_flows_are_refused(bad: float) -> None:
    section = CrossSection.trapezoid(2, side=1, depth_m=1)
    for call in (
        lambda: normal_flow(section, bad, slope=0.01, roughness=0.04),
        lambda: normal_flow(section, 1.0, slope=bad, roughness=0.04),
        lambda: normal_flow(section, 1.0, slope=0.01, roughness=bad),
        lambda: section.wetted(bad).area_m2,
        lambda: CrossSection.trapezoid(2, side=1, depth_m=bad),
        lambda: CrossSection.trapezoid(bad, side=1, depth_m=1),
    ):
        with pytest.raises(ParameterError):
            call()
    with pytest.raises(ParameterError, match="without width"):
        CrossSection.trapezoid(0, side=0, depth_m=1)
    with pytest.raises(ParameterError, match="slope of 0"):
        normal_flow(section, 1.0, slope=0.0, roughness=0.04)


def test_ten_thousand_flows_take_seconds_at_most() -> None:
    """0.3 ms each on one core; measured about a tenth of that, the rest is for a busy machine."""
    x = np.linspace(-20, 20, 81)
    ground = np.clip((np.abs(x) - 1.5) * 0.7, 0, 2) + np.random.default_rng(7).normal(0, 0.05, 81)
    section = CrossSection.from_ground(x, ground)
    started = time.process_time()
    for q in np.linspace(0.05, 20, 2000):
        normal_flow(section, float(q), slope=0.02, roughness=0.045)
    assert (time.process_time() - started) / 2000 < 3e-4
