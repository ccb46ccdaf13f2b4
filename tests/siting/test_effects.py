"""What structures do: pools, wedges, benefits, and where they are drawn."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from siting.effects.site_effects import effect_columns, pool_table
from siting.effects.wedges import reach_m


def test_every_control_has_its_effect_and_only_its_own(worked) -> None:
    kinds = {"grade": 0, "vertical": 0}
    for place, effect in zip(worked.sites.each, worked.effects, strict=True):
        if place.control == "grade":
            assert effect.pool is not None
            assert effect.wedge is not None
            assert effect.tailwater is not None  # rain is given
            assert effect.benefit.rewetted_m2 >= 0
            assert np.isnan(effect.benefit.retreat_m_per_yr)
        elif place.control == "vertical":
            assert effect.pool is effect.wedge is None
            assert effect.benefit.retreat_m_per_yr > 0
            assert effect.benefit.swale_length_m >= 0
        kinds[place.control] = kinds.get(place.control, 0) + 1
    assert kinds["grade"] >= 10
    assert kinds["vertical"] == 2


def test_every_grade_control_holds_something_back(worked, shallow) -> None:
    for whole in (worked, shallow):
        sizes = [s.size.height_m for s in whole.sites if s.control == "grade"]
        assert len(sizes) >= 10
        assert min(sizes) >= 0.10 - 1e-9
        for place, effect in zip(whole.sites.each, whole.effects, strict=True):
            if place.control == "grade":
                assert effect.pool.volume_m3 > 0
                assert effect.wedge.volume_m3 > 0
                assert effect.benefit.sediment_held_m3 > 0


def test_pools_and_wedges_follow_height_and_bed_slope(worked) -> None:
    """On an even bed of 1.5 %: a pool of H / S, a wedge of H / (0.4 S)."""
    for place, effect in zip(worked.sites, worked.effects, strict=True):
        size = place.size
        if place.control != "grade" or place.head.index >= 0:
            continue
        assert effect.pool.depth_at_crest_m == pytest.approx(size.height_m, abs=0.03)
        assert effect.pool.length_m == pytest.approx(size.height_m / 0.015, abs=2.5)
        assert effect.wedge.length_m == pytest.approx(size.height_m / (0.4 * 0.015), abs=5.0)
        assert effect.wedge.length_m <= reach_m(size.height_m, place.spot.slope) + 1.0
        assert effect.wedge.volume_low_m3 <= effect.wedge.volume_m3 <= effect.wedge.volume_high_m3
        assert effect.wedge.volume_m3 > effect.pool.volume_m3


def test_columns_say_what_the_effects_hold(worked) -> None:
    columns = effect_columns(worked.effects, unseen=worked.sites.width_unseen)
    n = worked.sites.count
    assert all(v.shape == (n,) for v in columns.values())
    grade = worked.sites.controls == "grade"
    assert np.isfinite(columns["pool_volume_m3"][grade]).all()
    assert np.isnan(columns["pool_volume_m3"][~grade]).all()
    paired = grade & (worked.sites.whole(lambda s: s.head.index) >= 0)
    assert np.isfinite(columns["toe_depth_m"][paired]).all()
    assert np.isnan(columns["toe_depth_m"][~paired]).all()
    assert (columns["tailwater_toe_m"][paired] > columns["toe_depth_m"][paired]).all()


def test_outlines_lie_upstream_of_their_structure_and_are_to_scale(worked) -> None:
    table = pool_table(worked.effects, unseen=worked.sites.width_unseen)
    c = table.columns
    assert set(c["kind"]) == {"pool", "wedge"}
    pools = c["kind"] == "pool"
    # outlines are drawn through sections: their area is that of the pool within a tenth
    assert shapely.area(table.geometry[pools]) == pytest.approx(c["area_m2"][pools], rel=0.1)
    assert np.isnan(c["depth_m"][~pools]).all()
    grid = worked.ground.raster.grid
    for shape, site in zip(table.geometry, c["site_id"], strict=True):
        x, y = (float(v) for v in grid.xy_of(worked.sites.cell[site - 1]))
        middle = shapely.centroid(shape)
        assert middle.y > y  # the water comes from the north
        assert abs(middle.x - x) < 2.5


def test_a_ground_without_sites_has_no_effects() -> None:
    assert pool_table((), unseen=np.zeros(0, dtype=np.bool_)).size == 0
    assert all(v.size == 0 for v in effect_columns((), unseen=np.zeros(0, dtype=np.bool_)).values())
