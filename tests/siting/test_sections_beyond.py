"""The channel next to a place, and what gives way first on invented ground."""

from __future__ import annotations

import numpy as np

from siting.layout.measuring import BuildSettings
from siting.places.sections_beyond import sections_beyond
from siting.places.spot import Earth
from tests.siting.conftest import ground_of, gully_raster, sites_on, two_steps


def lip_and_foot(ground) -> tuple[int, int]:
    heads = ground.headcuts
    surest = int(np.argmax(heads.headcut_height_m))
    return int(heads.cell[surest]), int(heads.foot_cell[surest])


def test_the_channel_below_a_drop_is_the_deeper_one() -> None:
    ground = ground_of(gully_raster(drop_m=0.8, slope=0.02))
    lip, foot = lip_and_foot(ground)
    found = sections_beyond(ground, lip, foot_cell=foot)
    assert found.below is not None
    assert found.above is not None
    assert found.below.rim_m > found.above.rim_m + 0.3
    # its beds lie on both sides of the drop
    assert found.above.bed_m - found.below.bed_m > 0.7


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
