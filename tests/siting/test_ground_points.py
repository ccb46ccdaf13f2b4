"""The ground at each site as points, held against ground whose every height is known."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from siting.hydraulics.cross_section import CrossSection
from siting.layout.measuring import BuildSettings
from siting.record.ground_points import (
    LEAST_REACH_M,
    MOST_REACH_M,
    profile_columns,
    section_columns,
)
from terrain.values.raster import Raster
from tests.siting.conftest import ground_of, gully_raster, keep_of, sites_on

SLOPE, DROP = 0.02, 0.8


@pytest.fixture(scope="module")
def ground():
    return ground_of(gully_raster(slope=SLOPE, drop_m=DROP), edge_is_divide=True)


@pytest.fixture(scope="module")
def sites(ground):
    return sites_on(ground)[0]


@pytest.fixture(scope="module")
def profile(ground, sites):
    return profile_columns(ground, sites)


def rows_of(columns: dict, site: int) -> dict:
    mine = columns["site_id"] == site
    return {name: values[mine] for name, values in columns.items()}


def head_of(sites) -> int:
    return next(i for i, p in enumerate(sites.each) if p.control == "vertical") + 1


def test_every_site_has_its_bed_from_the_lower_end_up(sites, profile) -> None:
    assert sites.count > 1
    assert sorted(set(profile["site_id"].tolist())) == list(range(1, sites.count + 1))
    for site, place in enumerate(sites.each, start=1):
        own = rows_of(profile, site)
        assert (np.diff(own["distance_m"]) > 0).all()
        assert 0.0 in own["distance_m"]
        np.testing.assert_allclose(own["station_m"] - own["distance_m"], place.where.station_m)
        assert own["distance_m"].min() >= -MOST_REACH_M - 1e-9
        assert own["distance_m"].max() <= MOST_REACH_M + 1e-9
        assert np.isfinite(own["bed_m"]).all()
        assert (own["error_m"] >= 0).all()


def test_the_bed_is_that_of_the_ground_on_both_sides_of_the_drop(sites, profile) -> None:
    """Bed of 2 in 100, and a drop of 0.8 m between lip and foot."""
    own = rows_of(profile, head_of(sites))
    d, z = own["distance_m"], own["bed_m"]
    assert d.min() <= -LEAST_REACH_M + 1
    assert d.max() >= LEAST_REACH_M - 1
    above, below = d >= 3.0, d <= -6.0
    for part in (above, below):
        assert np.polyfit(d[part], z[part], 1)[0] == pytest.approx(SLOPE, abs=0.004)
    lifted = np.polyval(np.polyfit(d[above], z[above], 1), 0.0)
    lowered = np.polyval(np.polyfit(d[below], z[below], 1), 0.0)
    assert lifted - lowered == pytest.approx(DROP, abs=0.05)


def test_what_is_held_back_lengthens_the_profile_up(ground, sites) -> None:
    behind = np.full(sites.count, np.nan)
    behind[0] = 40.0
    longer = rows_of(profile_columns(ground, sites, behind), 1)["distance_m"]
    usual = rows_of(profile_columns(ground, sites), 1)["distance_m"]
    assert usual.max() < 45.0
    assert longer.max() == pytest.approx(50.0, abs=1.0)


def test_the_section_is_the_one_that_the_flow_was_worked_out_for(sites, ground) -> None:
    columns = section_columns(ground, sites)
    for site, spot in enumerate((s.spot for s in sites), start=1):
        own = rows_of(columns, site)
        np.testing.assert_array_equal(own["offset_m"], spot.section.offset_m)
        np.testing.assert_array_equal(own["ground_m"], spot.section.height_m)
        assert set(own["source"]) == {"dem"}
        assert own["ground_m"].min() > 90.0  # the ground lies at about 100 m


def test_the_trench_is_in_the_section_of_the_headcut(sites, ground) -> None:
    """Bed of 3 m, walls of 2 to 1: the section is measured below the drop."""
    own = rows_of(section_columns(ground, sites), head_of(sites))
    z, offset = own["ground_m"], own["offset_m"]
    low = z < z.min() + 0.15
    assert np.ptp(offset[low]) == pytest.approx(3.0, abs=1.1)
    beside = z[np.abs(offset) < 4.0].max()
    assert beside - z.min() == pytest.approx(DROP, abs=0.25)


def test_a_made_up_section_stands_on_the_bed(ground, sites) -> None:
    trapezoid = CrossSection.trapezoid(1.5, side=1.0, depth_m=0.6)
    each = tuple(replace(s, spot=replace(s.spot, section=trapezoid)) for s in sites)
    columns = section_columns(ground, replace(sites, each=each))
    assert set(columns["source"]) == {"curve"}
    bed = ground.raster.elevation_m.reshape(-1)
    for site, cell in enumerate(sites.section_cell, start=1):
        own = rows_of(columns, site)
        np.testing.assert_allclose(own["offset_m"], [-1.35, -0.75, 0.75, 1.35])
        np.testing.assert_allclose(own["ground_m"] - bed[cell], [0.6, 0.0, 0.0, 0.6], atol=1e-6)


def test_on_a_road_the_profile_runs_straight_along_it_uphill() -> None:
    y, x = np.mgrid[0.5:400, 0.5:120]
    z = 300 - 0.08 * y - 0.05 * x
    ground = ground_of(Raster.from_array(z.astype(np.float32)), edge_is_divide=True)
    road = shapely.LineString([(60.0, 395.0), (60.0, 5.0)])
    sites, _ = sites_on(ground, BuildSettings(keep=keep_of(road)))
    dips = [i + 1 for i, p in enumerate(sites.each) if p.structure == "rolling dip"]
    assert dips
    profile, section = profile_columns(ground, sites), section_columns(ground, sites)
    own = rows_of(profile, dips[3])
    assert np.ptp(own["distance_m"]) == pytest.approx(2 * LEAST_REACH_M)
    np.testing.assert_allclose(np.polyfit(own["distance_m"], own["bed_m"], 1)[0], 0.08, rtol=1e-3)
    # the road falls to the south: west is on the right hand, and higher
    across = rows_of(section, dips[3])
    np.testing.assert_allclose(
        np.polyfit(across["offset_m"], across["ground_m"], 1)[0], 0.05, rtol=1e-3
    )
    assert set(across["source"]) == {"dem"}


def test_without_sites_the_tables_are_empty(ground, sites) -> None:
    none = sites.take(np.array([], dtype=np.int64))
    for columns in (profile_columns(ground, none), section_columns(ground, none)):
        assert all(len(values) == 0 for values in columns.values())
