"""A grade control that waits for its banks: what the tape says settles it."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from siting.effects.site_effects import effects_of
from siting.layout.measuring import BuildSettings
from siting.layout.pair_reach import UNSEEN
from siting.revising.revise import PlanParts, Revised, revise
from siting.structures.grade_height import crest_level_m
from siting.values.rules import load_rules
from siting.values.wording import metres
from siting.works.takes import Means, takes_of
from tests.siting.conftest import RAIN, Worked, ground_of, gully_raster, keep_of, sites_on
from tests.siting.revising.conftest import parts_of
from tests.siting.revising.test_revise import table

CONTROL, HEAD = 1, 2


@pytest.fixture(scope="module")
def planned() -> tuple[PlanParts, Worked]:
    """A gully 2 m wide at its bank tops, which cells of 1 m do not show."""
    ground = ground_of(gully_raster(drop_m=0.5, slope=0.01, bed_m=1.0, noise_m=0.005))
    road = keep_of(shapely.LineString([(20.0, 20.0), (20.0, 380.0)]))
    sites, _ = sites_on(ground, BuildSettings(keep=road))
    effects = effects_of(ground, sites, RAIN)
    worked = Worked(ground, sites, effects, takes_of(sites, effects, Means(), rules=load_rules()))
    return parts_of(worked), worked


def with_depth(parts: PlanParts, depth_m: float) -> Revised:
    row = {"site_id": CONTROL, "measured_width": 2.2, "measured_depth": depth_m}
    return revise(parts, (table(row),))


def test_it_is_proposed_and_says_what_to_measure(planned: tuple[PlanParts, Worked]) -> None:
    _, worked = planned
    control, head = worked.sites
    assert control.banks_unseen
    assert control.size is not None
    assert control.caution.startswith("Measure first: the elevations do not show the banks.")
    assert head.caution.startswith(UNSEEN)
    assert worked.sites.banks_first.tolist() == [True, True]
    wide_range = control.spot.width_range
    assert wide_range is not None
    assert (wide_range.low_m, wide_range.high_m) == (control.spot.width_m, 3.0)
    narrow, wide = (size for _, size in control.ends)
    assert narrow == control.size
    assert wide.crest_m > 1.5 * narrow.crest_m
    said = f"between {metres(wide_range.low_m)} and {metres(wide_range.high_m)}"
    assert f"Nobody saw how wide the channel is: {said}" in control.caution
    assert worked.sites.reach_share.tolist() == [1.0, 1.0]


def test_banks_that_hold_the_flow_settle_it(planned: tuple[PlanParts, Worked]) -> None:
    revised = with_depth(planned[0], 0.6)
    control, head = revised.now.sites
    assert control.size is not None
    assert not control.banks_unseen
    assert "Measure first" not in control.caution
    assert UNSEEN not in head.caution
    assert revised.now.sites.banks_first.tolist() == [False, False]
    assert revised.now.sites.reach_share.tolist() == [1.0, 1.0]
    assert crest_level_m(control.spot, control.size.height_m) <= 0.6


def test_banks_that_do_not_hold_it_stop_it(planned: tuple[PlanParts, Worked]) -> None:
    revised = with_depth(planned[0], 0.15)
    control, head = revised.now.sites
    assert control.size is None
    assert "does not hold the 10-year flow" in control.reason
    assert head.is_held
    assert "no grade control below it is built (site 1 is left out)" in head.reason
    assert revised.now.works.each == ()
    assert np.isnan(revised.now.sites.reach_share[HEAD - 1])
