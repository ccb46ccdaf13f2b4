"""The channel next to a place, and what gives way first on invented ground."""

from __future__ import annotations

import numpy as np
import pytest

from siting.layout.measuring import BuildSettings
from siting.places.spot import Earth
from siting.places.stretches_beyond import beyond
from tests.siting.conftest import ground_of, gully_raster, sites_on, two_steps

REACH_M = 25.0


def lip_and_foot(ground) -> tuple[int, int]:
    heads = ground.headcuts
    surest = int(np.argmax(heads.headcut_height_m))
    return int(heads.cell[surest]), int(heads.foot_cell[surest])


def test_beds_on_both_sides_of_a_drop_have_their_own_slope() -> None:
    ground = ground_of(gully_raster(drop_m=0.8, slope=0.02))
    lip, foot = lip_and_foot(ground)
    found = beyond(ground, lip, foot_cell=foot)
    assert found.above.slope == pytest.approx(0.02, abs=0.006)
    assert found.below.slope == pytest.approx(0.02, abs=0.006)
    # the section below shows the gully, that above the drop is shallower
    assert found.below.section is not None
    assert found.above.section is not None
    assert found.below.section.rim_m > found.above.section.rim_m + 0.3
    # not told that a drop falls from here, the way down ends at once
    assert np.isnan(beyond(ground, lip).below.slope)


def test_a_stretch_ends_at_the_next_drop() -> None:
    ground = ground_of(two_steps(apart=10.0, slope=0.01))
    heads = ground.headcuts
    upper = int(np.argmin(heads.y_m * -1))
    found = beyond(ground, int(heads.cell[upper]), foot_cell=int(heads.foot_cell[upper]))
    # 10 m further down falls 0.7 m: taken over both, the bed would fall 3 % and more
    assert found.below.slope < 0.025


def test_without_a_channel_that_shows_no_section_is_read() -> None:
    ground = ground_of(gully_raster(drop_m=0.8))
    lip, foot = lip_and_foot(ground)
    found = beyond(ground, lip, foot_cell=foot, shown=False)
    assert found.above.section is None
    assert found.below.section is None


def test_every_site_in_a_channel_says_what_gives_way_first(worked) -> None:
    for site in worked.sites:
        held = site.bed_and_bank
        assert held is not None
        first = held.first
        assert first is not None
        assert 1 < first.shear_pa < 500
        assert 0.1 < first.velocity_mps < 6
        assert {row.where for row in held.rows} & {"above", "below"}


def test_soil_told_for_the_ranch_reaches_every_site() -> None:
    ground = ground_of(two_steps(apart=100.0))
    sites, _ = sites_on(ground, BuildSettings(earth=Earth("ML")))
    for site in sites:
        held = site.bed_and_bank
        assert held is not None
        assert site.spot.earth.soil == "ML"
        if site.spot.form.setting not in ("swale", "fan") and site.control != "spread":
            assert held.reach_ratio is not None
            assert held.reach_ratio > 1
    cautions = " ".join(site.caution for site in sites if site.size is not None)
    assert "carries off the bed" in cautions
