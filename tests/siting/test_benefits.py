"""Ground and soil at risk above a head, ground rewetted, and rain behind the retreat rate."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from siting.channels.bed_profile import bed_below
from siting.channels.ground import Ground
from siting.effects.benefits import (
    control_benefit,
    gully_section_m2,
    head_benefit,
    rewetted_m2,
    swale_above,
)
from siting.effects.channel_above import channel_above
from siting.effects.pools import pool_in
from siting.effects.retreat import (
    HEAVY_MM,
    USUAL_RAIN_MM,
    heavy_rain_mm_per_yr,
    retreat_m_per_yr,
)
from siting.effects.wedges import wedge_in
from siting.floods.rainfall import Rainfall
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster
from tests.siting.trenches import prism, trench


@pytest.fixture(scope="module")
def swale(measured: Callable[..., Ground]) -> Ground:
    """A gully 1 m deep that ends at a drop of 0.8 m in a swale with banks of 0.2 m."""
    return measured(trench(3.0, side=0.5, drop_m=0.8, length_m=260.0), edge_is_divide=True)


def surest(ground: Ground) -> int:
    return int(np.argmax(ground.headcuts.confidence))


def with_head(ground: Ground, y_m: float) -> Ground:
    """The same ground with one more sure headcut up the channel, on cells of its path."""
    heads = ground.headcuts
    lip, foot = (
        int(
            ground.network.cells[
                np.argmin(np.abs(ground.raster.grid.xy_of(ground.network.cells)[1] - y))
            ]
        )
        for y in (y_m + 1.0, y_m)
    )
    k = surest(ground)
    twice = heads.take(np.array([k, k]))
    more = replace(
        twice, cell=np.array([heads.cell[k], lip]), foot_cell=np.array([heads.foot_cell[k], foot])
    )
    return replace(ground, headcuts=more)


def test_the_swale_reaches_to_where_the_channel_starts(swale: Ground) -> None:
    lip = int(swale.headcuts.cell[surest(swale)])
    found = swale_above(swale, lip)
    assert found.ends_at == "channel head"
    _, lip_y = swale.raster.grid.xy_of(lip)
    _, y = swale.raster.grid.xy_of(swale.network.cells)
    along = (y.max() - lip_y) * np.hypot(1.0, 0.3)
    assert found.length_m == pytest.approx(along, rel=0.05)
    # bed 3 m, banks of 0.2 m and a valley side of 6 % up to 0.3 m: 1.7 m more to each side
    width = 3.0 + 2 * (0.1 + 0.1 / 0.06)
    assert 10_000 * found.area_ha == pytest.approx(width * found.length_m, rel=0.15)


def test_it_ends_at_the_next_headcut(swale: Ground) -> None:
    k = surest(swale)
    lip = int(swale.headcuts.cell[k])
    free = swale_above(swale, lip)
    held = swale_above(with_head(swale, 100.0), lip)
    assert held.ends_at == "headcut"
    assert held.length_m == pytest.approx(30.0 * np.hypot(1.0, 0.3), rel=0.08)
    assert held.length_m < free.length_m


def test_it_ends_where_the_channel_is_cut_already(measured: Callable[..., Ground]) -> None:
    """Above a drop of 0.4 m the banks still stand 0.6 m high: nothing uncut is left to save."""
    ground = measured(trench(3.0, side=0.5, drop_m=0.4, length_m=260.0), edge_is_divide=True)
    found = swale_above(ground, int(ground.headcuts.cell[surest(ground)]))
    assert found.ends_at == "cut"
    assert found.length_m < 5.0


def test_the_section_of_the_gully(swale: Ground) -> None:
    """Bed 3 m, banks 1 m high of 0.5 to 1: 3.5 m2, and the dip of the bed."""
    foot = int(swale.headcuts.foot_cell[surest(swale)])
    assert gully_section_m2(swale, foot) == pytest.approx(3.5 + 0.045, rel=0.12)


def test_no_section_where_there_are_no_banks(measured: Callable[..., Ground]) -> None:
    y, x = np.mgrid[0:160, 0:120]
    valley = 100.0 + 0.02 * (160 - y) + 0.06 * np.abs(x - 60.0)
    ground = measured(Raster.from_array(valley))
    cell = int(ground.network.cells[np.argmax(ground.counts.reshape(-1)[ground.network.cells])])
    above = int(ground.network.line_cells[ground.network.line_start[0]])
    assert cell != above
    assert np.isnan(gully_section_m2(ground, above))


def test_what_holding_a_head_saves(swale: Ground) -> None:
    k = surest(swale)
    found = head_benefit(swale, k)
    lip = int(swale.headcuts.cell[k])
    # from the lip to where the channel starts, along a trench that runs 0.3 m east for 1 m north
    _, lip_y = swale.raster.grid.xy_of(lip)
    _, y = swale.raster.grid.xy_of(swale.network.cells)
    length = (y.max() - lip_y) * np.hypot(1.0, 0.3)
    assert found.swale_length_m == pytest.approx(length, rel=0.05)
    # the gully made below it: 3 m of bed, 1 m deep, walls of 0.5 to 1, and the dip of the bed
    section = 3.0 * 1.0 + 2 * (0.5 * 0.5 * 1.0) + 0.045
    assert found.soil_at_risk_m3 == pytest.approx(length * section, rel=0.15)
    # Technical Release 32 with the usual 125 mm a year: 4.921 in, to the 0.20th power 1.3754
    acres = int(swale.counts.flat[lip]) / 10_000.0 / 0.40468564
    rate = 0.3048 * 1.5 * acres**0.46 * 1.3754
    assert found.retreat_m_per_yr == pytest.approx(rate, rel=1e-3)
    assert found.retreat_low_m_per_yr == pytest.approx(rate / 3, rel=1e-3)
    assert found.retreat_high_m_per_yr == pytest.approx(rate * 3, rel=1e-3)
    assert "no rainfall table" in found.retreat_rain
    assert np.isnan(found.rewetted_m2)


def test_ground_rewetted_on_a_prism() -> None:
    """H above the bed everywhere along the pool: width w + 2 z H, length H / S."""
    crest, slope, width, side = 0.25, 0.02, 3.0, 2.0
    above = prism(width, side=side, slope=slope)
    pool = pool_in(above, crest_height_m=crest)
    wedge = wedge_in(above, crest_height_m=crest, bed_slope=slope)
    found = control_benefit(above, crest_height_m=crest, pool=pool, wedge=wedge)
    assert found.rewetted_m2 == pytest.approx((width + 2 * side * crest) * crest / slope, rel=1e-6)
    # its surface rises at 0.6 of the bed's slope, so it is (w H^2 / 2 + z H^3 / 3) / (0.4 S) large:
    # (3 x 0.0625 / 2 + 2 x 0.015625 / 3) / 0.008 = 0.104167 / 0.008
    assert found.sediment_held_m3 == pytest.approx(13.0208, rel=1e-4)
    assert np.isnan(found.swale_length_m)
    assert rewetted_m2(above, crest_height_m=crest, length_m=0.0) == 0.0


def test_ground_rewetted_is_more_than_the_pool(swale: Ground) -> None:
    foot = int(swale.headcuts.foot_cell[surest(swale)])
    cell = int(bed_below(swale, foot, length_m=12.0).cell[-1])
    above = channel_above(swale, cell, length_m=30.0)
    pool = pool_in(above, crest_height_m=0.25)
    wet = rewetted_m2(above, crest_height_m=0.25, length_m=pool.length_m)
    assert pool.area_m2 < wet < 1.3 * pool.area_m2


def exponential(a_mm: float, b_mm: float, *, series: str) -> Rainfall:
    """Depths of a land where a day brings more than x mm exp((a - x) / b) times a year."""
    periods = np.array([2.0, 10.0])
    rate = -np.log1p(-1.0 / periods) if series == "annual" else 1.0 / periods
    return Rainfall([24.0], periods, [a_mm - b_mm * np.log(rate)], source="invented", series=series)


@pytest.mark.parametrize("series", ["partial", "annual", "unstated"])
def test_heavy_rain_of_a_land_whose_law_is_known(series: str) -> None:
    a, b = 34.0, 15.0
    found, source = heavy_rain_mm_per_yr(exponential(a, b, series=series))
    depth = np.linspace(HEAVY_MM, 600.0, 200_001)
    rate = np.exp((a - depth) / b)
    # every exceedance brings its depth: N x at the threshold, and what lies above it
    truth = rate[0] * HEAVY_MM + np.trapezoid(rate, depth)
    assert found == pytest.approx(truth, rel=1e-3)
    assert "rainfall table" in source


@pytest.mark.parametrize(
    "table",
    [
        None,
        Rainfall([1.0], [2.0, 10.0], [[20.0, 30.0]], source="invented"),
        Rainfall([24.0], [10.0], [[50.0]], source="invented"),
        Rainfall([24.0], [2.0, 10.0], [[50.0, 50.0]], source="invented"),
    ],
)
def test_a_table_that_does_not_tell(table: Rainfall | None) -> None:
    found, source = heavy_rain_mm_per_yr(table)
    assert found == USUAL_RAIN_MM[1]
    assert "usual value" in source


def test_retreat_grows_with_land_and_rain() -> None:
    rate = retreat_m_per_yr(np.array([1.0, 2.0, 0.0]), 125.0)
    assert rate[1] / rate[0] == pytest.approx(2**0.46)
    assert rate[2] == 0.0
    low, high = (float(retreat_m_per_yr(1.0, USUAL_RAIN_MM[i])) for i in (0, 2))
    assert 1.2 < high / low < 1.5  # the rain matters little


@pytest.mark.parametrize(("area", "rain"), [(-1.0, 100.0), (np.nan, 100.0), (1.0, -5.0)])
def test_impossible_retreat(area: float, rain: float) -> None:
    with pytest.raises(ParameterError, match="0 or more"):
        retreat_m_per_yr(area, rain)


@pytest.mark.real
def test_on_real_ground(measured: Callable[..., Ground], real_dem: Callable[[str], object]) -> None:
    """Steep badlands on cells of 4 m: everything can be told or is NaN, and bounds hold."""
    from terrain.reading.dem import read_dem

    ground = measured(read_dem(real_dem("pozo/pozo_4m.tif")).raster)
    assert ground.headcuts.size > 20
    for k in range(0, ground.headcuts.size, 5):
        found = head_benefit(ground, k)
        assert found.swale_length_m >= 0.0
        assert 0.0 < found.retreat_low_m_per_yr < found.retreat_high_m_per_yr
        assert not found.soil_at_risk_m3 < 0.0
        foot = int(ground.headcuts.foot_cell[k])
        cell = int(bed_below(ground, foot, length_m=20.0).cell[-1])
        above = channel_above(ground, cell, length_m=40.0, toe_cell=foot)
        pool = pool_in(above, crest_height_m=0.3)
        assert 0.0 <= pool.volume_m3 <= 1.5 * pool.area_m2
        assert pool.toe_depth_m <= 0.3 + 3 * pool.toe_error_m
