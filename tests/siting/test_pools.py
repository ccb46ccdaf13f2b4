"""Still pools: against prisms with closed forms, and trenches on rasters."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from siting.channels.bed_profile import bed_below
from siting.channels.ground import Ground
from siting.effects.channel_above import ChannelAbove, channel_above, fill, wetted
from siting.effects.pools import outline_of, pool_in
from siting.hydraulics.cross_section import CrossSection
from terrain.values.errors import ParameterError
from tests.siting.trenches import channel_cell, pool_of_trench, prism, trench

CREST = 0.25


@pytest.mark.parametrize("slope", [0.005, 0.02, 0.06])
@pytest.mark.parametrize("side", [0.0, 1.0, 3.0])
@pytest.mark.parametrize("step", [0.4, 1.0])
def test_prisms(slope: float, side: float, step: float) -> None:
    """V = w H^2 / (2 S) + z H^3 / (3 S) for a bed w wide with sides of z to 1."""
    width = 3.0
    pool = pool_in(
        prism(width, side=side, slope=slope, length_m=60, step_m=step), crest_height_m=CREST
    )
    length = CREST / slope
    assert pool.length_m == pytest.approx(length, rel=1e-9)
    assert pool.area_m2 == pytest.approx(width * length + side * CREST * length, rel=0.01)
    volume = width * CREST**2 / (2 * slope) + side * CREST**3 / (3 * slope)
    # between sections the volume of a wedge is a square: coarse steps show on short pools
    rel = 0.01 if length > 8 * step else 0.03
    assert pool.volume_m3 == pytest.approx(volume, rel=rel)
    assert pool.level_m == pytest.approx(10.0 + CREST)
    assert pool.depth_at_crest_m == CREST
    assert pool.ends_at == "bed"
    assert np.isnan(pool.toe_depth_m)
    assert pool.outline is None  # a channel without a place


def test_a_level_bed_fills_to_its_end() -> None:
    pool = pool_in(prism(2.0, side=1.0, slope=0.0, length_m=30.0), crest_height_m=CREST)
    assert pool.length_m == 30.0
    assert pool.ends_at == "length"
    assert pool.volume_m3 == pytest.approx(30.0 * (2.0 * CREST + CREST**2), rel=1e-9)
    assert pool.area_m2 == pytest.approx(30.0 * (2.0 + 2 * CREST), rel=1e-9)


def test_the_foot_of_a_drop_ends_it() -> None:
    above = prism(2.0, slope=0.02, length_m=5.0, ends_at="foot")
    pool = pool_in(above, crest_height_m=CREST)
    deep, shallow = CREST, CREST - 0.02 * 5.0
    assert pool.ends_at == "foot"
    assert pool.length_m == 5.0
    assert pool.volume_m3 == pytest.approx(2.0 * 5.0 * (deep + shallow) / 2, rel=1e-9)
    assert pool.toe_depth_m == pytest.approx(shallow)


def test_a_crest_too_low_to_reach_the_foot() -> None:
    pool = pool_in(prism(2.0, slope=0.06, length_m=5.0, ends_at="foot"), crest_height_m=CREST)
    assert pool.toe_depth_m == pytest.approx(CREST - 0.30)
    assert pool.ends_at == "bed"


def test_a_rise_of_the_bed_between_structure_and_foot_parts_them() -> None:
    above = prism(2.0, slope=0.0, length_m=10.0, ends_at="foot")
    bed = above.bed_m.copy()
    bed[8:12] += 0.4
    sill = replace(above, bed_m=bed, height_m=above.height_m + (bed - above.bed_m)[:, None])
    pool = pool_in(sill, crest_height_m=CREST)
    assert pool.ends_at == "bed"
    assert pool.length_m < 4.0
    assert pool.toe_depth_m == pytest.approx(CREST - 0.4)


def test_errors_of_both_beds_count_at_the_foot() -> None:
    above = prism(2.0, length_m=5.0, ends_at="foot")
    error = np.full(above.size, 0.5)
    error[0], error[-1] = 0.03, 0.04
    assert pool_in(replace(above, error_m=error), crest_height_m=CREST).toe_error_m == (
        pytest.approx(0.05)
    )


@pytest.mark.parametrize("seed", range(5))
def test_wetted_sizes_agree_with_single_sections(seed: int) -> None:
    """Rough ground with ditches beyond banks; both take only what hangs together."""
    rng = np.random.default_rng(seed)
    n, k = 6, 31
    offset = np.linspace(-7.5, 7.5, k)
    height = 0.08 * offset**2 + 0.25 * rng.standard_normal((n, k))
    above = ChannelAbove.of_sections(np.arange(n) * 1.0, height.min(axis=1), offset, height)
    for i in range(n):
        section = CrossSection(offset, height[i])
        for depth in (0.05, 0.2, 0.6, 1.5):
            wet = wetted(above, np.array([i]), height[i].min() + np.array([depth]))
            one = section.wetted(depth)
            assert wet.area_m2[0] == pytest.approx(one.area_m2, rel=1e-9)
            assert wet.width_m[0] == pytest.approx(one.top_width_m, rel=1e-9)
            assert wet.perimeter_m[0] == pytest.approx(one.perimeter_m, rel=1e-9)


def test_water_stays_between_the_bank_tops_and_ends_at_voids() -> None:
    offset = np.arange(-5.0, 6.0)
    shape = np.minimum(np.abs(offset), 2.0)  # level ground beyond banks of 2 m
    height = np.tile(shape, (2, 1))
    height[1, 7] = np.nan  # 2 m to the right of the middle
    above = ChannelAbove.of_sections(np.array([0.0, 1.0]), np.zeros(2), offset, height)
    above = replace(above, left=np.full(2, 3), right=np.full(2, 7), middle=np.full(2, 5))
    wet = wetted(above, np.array([0, 1]), np.array([2.5, 1.5]))
    assert wet.left_m[0] == -2.0
    assert wet.right_m[0] == 2.0
    assert wet.area_m2[0] == pytest.approx(2 * (2.0 + 2 * 0.5))
    assert wet.left_m[1] == -1.5
    assert wet.right_m[1] == 1.0  # the last ground that is known


def test_a_dry_section_has_no_water() -> None:
    wet = wetted(prism(2.0), np.array([4]), np.array([9.0]))
    assert wet.area_m2[0] == 0.0
    assert wet.width_m[0] == 0.0


def test_fill_up_to_a_distance() -> None:
    filled = fill(prism(2.0, slope=0.0), 11.0, until_m=7.3)
    assert filled.length_m == pytest.approx(7.3)
    assert filled.volume_m3 == pytest.approx(2.0 * 7.3)
    assert not filled.meets_bed


@pytest.mark.parametrize("crest", [0.0, -0.1, np.nan, np.inf])
def test_impossible_crests(crest: float) -> None:
    with pytest.raises(ParameterError, match="above 0"):
        pool_in(prism(2.0), crest_height_m=crest)


@pytest.mark.parametrize(
    ("up", "offset", "height", "text"),
    [
        ([0.0, 1.0], [-1.0, 0.0, 1.0], np.zeros((3, 3)), "one section for each distance"),
        ([1.0, 2.0], [-1.0, 0.0, 1.0], np.zeros((2, 3)), "do not rise from 0"),
        ([0.0, 0.0], [-1.0, 0.0, 1.0], np.zeros((2, 3)), "do not rise from 0"),
    ],
)
def test_sections_that_do_not_fit_together(up, offset, height, text) -> None:
    with pytest.raises(ParameterError, match=text):
        ChannelAbove.of_sections(np.array(up), np.zeros(2), np.array(offset), height)


def test_a_trench_of_known_size(measured: Callable[..., Ground]) -> None:
    """Banks that the cells can show, no noise: within a few per cent."""
    for width, side, slope in ((4.0, 1.5, 0.02), (3.0, 2.0, 0.01), (6.0, 2.0, 0.03)):
        ground = measured(trench(width, side=side, slope=slope, cell_m=0.5))
        above = channel_above(ground, channel_cell(ground, 30.0), length_m=40.0)
        pool = pool_in(above, crest_height_m=CREST)
        area, volume = pool_of_trench(CREST, width, side=side, slope=slope)
        assert pool.length_m == pytest.approx(CREST / slope, rel=0.03)
        assert pool.area_m2 == pytest.approx(area, rel=0.05)
        assert pool.volume_m3 == pytest.approx(volume, rel=0.06)
        assert pool.outline.area == pytest.approx(pool.area_m2, rel=0.03)
        assert pool.outline.is_valid


def test_noise_and_upright_walls_on_cells_of_a_metre(measured: Callable[..., Ground]) -> None:
    """Walls that the cells lean: without setting them upright the pool is a quarter too small."""
    area, volume = pool_of_trench(CREST, 4.0, side=0.25, slope=0.02)
    found, leaning = [], []
    for seed in range(6):
        skew = 0.1 + 0.1 * seed
        ground = measured(trench(4.0, side=0.25, noise_m=0.03, seed=seed, skew=skew))
        cell = channel_cell(ground, 30.0)
        above = channel_above(ground, cell, length_m=40.0)
        pool = pool_in(above, crest_height_m=CREST)
        found.append((pool.area_m2 / area, pool.volume_m3 / volume))
        none = np.zeros(above.size)
        shown = pool_in(replace(above, lean_left_m=none, lean_right_m=none), crest_height_m=CREST)
        leaning.append(shown.volume_m3 / volume)
    shares = np.array(found)
    np.testing.assert_allclose(shares.mean(axis=0), 1.0, atol=0.12)
    assert (np.abs(shares - 1.0) < 0.3).all()
    assert np.mean(leaning) < 0.82


@pytest.mark.parametrize("noise", [0.0, 0.03])
def test_depth_at_the_foot_of_a_planted_drop(measured: Callable[..., Ground], noise: float) -> None:
    slope = 0.02
    for seed in range(3):
        ground = measured(trench(3.0, side=0.5, slope=slope, noise_m=noise, seed=seed, drop_m=0.8))
        heads = ground.headcuts
        foot = int(heads.foot_cell[np.argmax(heads.headcut_height_m * heads.confidence)])
        below = bed_below(ground, foot, length_m=5.0)
        above = channel_above(ground, int(below.cell[-1]), length_m=40.0, toe_cell=foot)
        pool = pool_in(above, crest_height_m=CREST)
        assert pool.ends_at == "foot"
        wanted = CREST - slope * pool.length_m
        assert pool.length_m == pytest.approx(5.0, abs=1.0)
        assert abs(pool.toe_depth_m - wanted) < max(0.02, 3 * pool.toe_error_m)
        assert pool.toe_error_m < 0.06


def test_a_pool_does_not_climb_a_headcut(measured: Callable[..., Ground]) -> None:
    """A crest above the lip: water would drown the drop; the pool is counted up to its foot."""
    ground = measured(trench(3.0, side=0.5, drop_m=0.6))
    heads = ground.headcuts
    foot = int(heads.foot_cell[np.argmax(heads.headcut_height_m * heads.confidence)])
    cell = int(bed_below(ground, foot, length_m=8.0).cell[-1])
    pool = pool_in(channel_above(ground, cell, length_m=40.0), crest_height_m=1.2)
    assert pool.ends_at == "headcut"
    assert pool.length_m == pytest.approx(8.0, abs=1.0)


def test_outline_in_a_bend_is_valid(
    measured: Callable[..., Ground], gully: Callable[..., object]
) -> None:
    ground = measured(gully(bend_at_m=120.0, drop_m=0.8))
    for y in (100.0, 118.0, 124.0):
        above = channel_above(ground, channel_cell(ground, y), length_m=40.0)
        outline = outline_of(above, fill(above, above.bed_m + 0.3, until_m=30.0))
        assert outline.is_valid
        assert outline.area > 20.0
