"""One roughness of the channel: bankfull by flow, travel time and design flow read the same one."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from siting.channels.channel_reading import read_stations
from siting.places.site_floods import FloodGauge, FloodSettings
from siting.values.rules import Rules, load_rules
from tests.siting.conftest import RAIN, ground_of, gully_raster, sites_on
from tests.siting.structures.example_spots import grade_spot

ROUGH = 0.09


@pytest.fixture
def rough(rules_with: Callable[..., Rules]) -> Rules:
    return rules_with(channel__roughness=ROUGH)


def test_all_that_reads_it_follows_the_rule(rough: Rules) -> None:
    raster = gully_raster(drop_m=0.8, slope=0.015, head_m=300.0)
    usual, other = ground_of(raster), ground_of(raster, rules=rough)
    flow = np.full(usual.stations.size, 0.5)
    before, after = (read_stations(g, q2_m3s=flow).bankfull.flow_m for g in (usual, other))
    known = np.isfinite(before) & np.isfinite(after)
    assert known.sum() > 10
    # by Manning depth grows with about the 0.6th power of n
    assert np.median(after[known] / before[known]) == pytest.approx(2**0.6, rel=0.1)

    cells = usual.stations.cell[:5]
    slow, quick = (
        FloodGauge(g, FloodSettings(RAIN, 80.0)).at(cells, notes=False) for g in (other, usual)
    )
    assert (quick.time.channel_h > 0).all()
    np.testing.assert_allclose(slow.time.channel_h, 2 * quick.time.channel_h)
    assert (slow.peak(10.0) < quick.peak(10.0)).all()
    assert all("Manning with roughness 0.09" in text for text in slow.time.told())
    assert all("Manning with roughness 0.045" in text for text in quick.time.told())


def test_sites_are_sized_with_it(rough: Rules) -> None:
    raster = gully_raster(drop_m=0.8, slope=0.015)
    (usual, _), (other, _) = (sites_on(ground_of(raster, rules=r)) for r in (load_rules(), rough))
    heads = [int(np.flatnonzero(s.controls == "vertical")[0]) for s in (usual, other)]
    before, after = (s[i].design_flow for s, i in zip((usual, other), heads, strict=True))
    assert before is not None
    assert after is not None
    # less water, since it comes later, and yet deeper and slower
    assert after.discharge_m3s < before.discharge_m3s
    assert after.depth_m > before.depth_m
    assert after.velocity_mps < before.velocity_mps


def test_a_spot_has_no_roughness_of_its_own(rough: Rules) -> None:
    assert grade_spot().roughness == load_rules().value("channel.roughness")
    assert grade_spot(rules=rough).roughness == ROUGH
