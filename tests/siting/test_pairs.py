"""Headcuts and the grade controls below them."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
import shapely

from siting.channels.ground import Ground
from siting.effects.site_effects import effects_of
from siting.floods.rainfall import Rainfall
from siting.layout.at_headcuts import place_at_headcuts
from siting.layout.measuring import BuildSettings
from siting.layout.pair_stretch import stretch_below
from siting.places.spot import Stock
from siting.site import Site
from siting.sites import Sites
from siting.values.rules import Rules
from siting.values.wording import percent
from tests.siting.conftest import (
    DRY_RAIN,
    RAIN,
    cautions_of,
    ground_of,
    gully_raster,
    keep_of,
    placed_by,
    sites_on,
    trials_on,
    two_steps,
)

#: Between crest and foot in one step it is told apart to this, m.
LEVEL_M = 0.005


def placed_on(
    ground: Ground, build: BuildSettings | None = None, rain: Rainfall | None = RAIN
) -> list[Site]:
    trials = trials_on(ground, rain, build)
    return placed_by(trials, place_at_headcuts(trials)).places


def groups_of(sites: Sites) -> list[tuple[int, list[int]]]:
    """Head and its grade controls in build order, as numbers of sites."""
    out = []
    for i, p in enumerate(sites.each):
        if p.control == "vertical" and p.member.group:
            own = [
                j for j, q in enumerate(sites.each) if q.member.group == p.member.group and j != i
            ]
            out.append((i, sorted(own, key=lambda j: sites[j].member.order)))
    return out


@pytest.fixture(scope="module")
def pairs(unsure: Rules) -> list[tuple[Ground, Sites]]:
    """Heads of several heights over beds of several slopes."""
    grounds = [
        ground_of(gully_raster(drop_m=drop, slope=slope), rules=unsure)
        for drop, slope in ((0.6, 0.01), (0.8, 0.02), (1.0, 0.012), (0.7, 0.025))
    ]
    return [(ground, sites_on(ground)[0]) for ground in grounds]


def test_the_crest_lies_between_the_foot_and_the_sill_of_the_bowl(pairs) -> None:
    seen = 0
    for ground, sites in pairs:
        effects = effects_of(ground, sites, RAIN)
        for head, controls in groups_of(sites):
            assert sites[head].structure == "rock bowl"
            sill = sites[head].size.dims["sill_height_m"]
            pool = effects[controls[-1]].pool
            assert -pool.toe_error_m - LEVEL_M <= pool.toe_depth_m <= sill + pool.toe_error_m
            # the same from the bed alone, without the pool
            place, size = sites[controls[-1]], sites[controls[-1]].size
            needed = sites[controls[-1]].spot.task.needed_height_m
            assert needed <= size.height_m <= needed + sill + LEVEL_M
            assert place.foot.cell == ground.headcuts.foot_cell[place.head.index]
            seen += 1
    assert seen >= 3


def test_the_tailwater_at_the_design_flow_stands_above_the_still_pool(pairs) -> None:
    seen = 0
    for ground, sites in pairs:
        effects = effects_of(ground, sites, RAIN)
        for _, controls in groups_of(sites):
            effect = effects[controls[-1]]
            assert effect.tailwater.toe_depth_m > effect.pool.toe_depth_m
            seen += 1
    assert seen >= 3


def test_it_stands_4_to_6_drop_heights_below_the_foot(pairs) -> None:
    for ground, sites in pairs:
        for head, controls in groups_of(sites):
            place = sites[controls[0]]
            drop = sites[head].spot.drop.height_m
            ends = ground.raster.grid.xy_of(np.array([place.where.cell, place.foot.cell]))
            away = float(np.hypot(*(np.diff(v)[0] for v in ends)))
            # cells are 1 m wide: half of one at either end
            assert 4 * drop - 1 <= away <= 6 * drop + 1


def test_a_stretch_runs_down_and_its_needed_height_follows_the_bed() -> None:
    ground = ground_of(gully_raster(drop_m=0.8, slope=0.02))
    stretch = stretch_below(ground, int(ground.headcuts.foot_cell[0]), 0.8)
    assert stretch.size >= 2
    assert (np.diff(stretch.distance_m) > 0).all()
    assert stretch.needed_m == pytest.approx(0.02 * stretch.distance_m, abs=0.02)
    usual = stretch.distance_m[stretch.usual]
    assert ((usual >= 3.2) & (usual <= 4.8)).all()
    assert (stretch.distance_m[~stretch.usual] < 3.2).all()
    assert np.isnan(stretch.next_drop_m)


def test_where_one_cannot_reach_two_stand_in_series() -> None:
    """3 % over 4 drop heights of 0.86 m is 0.12 m: more than the 0.10 m allowed."""
    ground = ground_of(gully_raster(drop_m=0.9, slope=0.03))
    lower, upper, head = sorted(placed_on(ground, rain=DRY_RAIN), key=lambda p: p.member.order)
    assert [p.member.order for p in (lower, upper, head)] == [1, 2, 3]
    assert lower.member.group == upper.member.group == head.member.group > 0
    assert lower.where.station_m < upper.where.station_m < head.where.station_m
    # the upper one backs water to the foot of the drop, the lower one to the upper one
    assert upper.foot.cell == ground.headcuts.foot_cell[head.head.index]
    assert lower.foot.cell == upper.where.cell
    for place in (lower, upper):
        spot, size = place.spot, place.decision.size
        assert spot.task.needed_height_m <= size.height_m <= spot.bankfull.height_limit_m
    assert "The lower of two in series" in lower.reason
    assert "The upper of two in series" in upper.reason
    # together they rise as much as the bed does from the lower one to the foot
    rise = sum(p.spot.task.needed_height_m for p in (lower, upper))
    assert rise == pytest.approx(0.03 * 5.0, abs=0.04)
    # and neither is built into the other
    apart = upper.where.station_m - lower.where.station_m
    half = 0.5 * (lower.decision.size.length_m + upper.decision.size.length_m)
    assert apart >= half


def test_both_of_two_in_series_back_water_to_what_lies_above() -> None:
    ground = ground_of(gully_raster(drop_m=0.9, slope=0.03))
    sites, _ = sites_on(ground, rainfall=DRY_RAIN)
    [(_, controls)] = groups_of(sites)
    assert len(controls) == 2
    effects = effects_of(ground, sites, DRY_RAIN)
    for i in controls:
        pool = effects[i].pool
        assert pool.toe_depth_m + pool.toe_error_m + LEVEL_M >= 0


#: Without logs nothing at a drop of these heights and areas stands without tailwater.
ROCK = BuildSettings(stock=Stock(frozenset({"rock"})))


def falls_short(ground: Ground, sites: Sites) -> tuple[int, int]:
    """Head and grade control of a ground whose one pair does not back water to the foot."""
    [(head, [control])] = groups_of(sites)
    place, share = sites[control], sites[control].reach_share
    assert 0.0 < share < 1.0
    assert sites.reach_share[head] == sites.reach_share[control] == share
    assert sites[head].caution.startswith(f"Its grade control makes up {percent(share)}")
    assert "Two in series do not reach the foot either." in sites[head].caution
    assert place.spot.task.short
    assert share == pytest.approx(place.size.height_m / place.spot.task.needed_height_m)
    assert place.reason.startswith(f"Makes up {percent(share)} of the rise to the foot")
    assert "Holds the bed" in place.reason
    assert "Now its still pool ends short of the foot" in place.reason
    assert (place.member.order, sites[head].member.order) == (1, 2)
    # it stands in the usual stretch
    drop, cell_m = sites[head].spot.drop.height_m, ground.raster.grid.cell_m
    assert 4 * drop - cell_m <= place.foot.distance_m <= 6 * drop + cell_m
    return head, control


def test_two_long_dams_that_would_overlap_are_not_laid(unsure: Rules) -> None:
    """With a flow they are about as long as bankfull is wide, up to 3 m: no room for two."""
    ground = ground_of(gully_raster(drop_m=0.9, slope=0.03), rules=unsure)
    sites, _ = sites_on(ground, ROCK)
    _, control = falls_short(ground, sites)
    assert sites[control].size.height_m == pytest.approx(0.10)
    # that does not reach the foot from there, and the effects say so
    pool = effects_of(ground, sites, RAIN)[control].pool
    assert pool.toe_depth_m + pool.toe_error_m < 0


@pytest.mark.parametrize(("drop", "slope"), [(0.8, 0.02), (0.6, 0.01), (0.6, 0.004)])
def test_a_shallow_bankfull_is_no_reason_against_the_smallest_crest(
    drop: float, slope: float
) -> None:
    """A third of a 2-year flow of 0.1 m depth is less than 0.10 m, but the banks hold the flow."""
    ground = ground_of(gully_raster(drop_m=drop, slope=slope))
    sites, _ = sites_on(ground)
    [(head, [control])] = groups_of(sites)
    spot = sites[control].spot
    assert spot.bankfull.sure
    assert spot.bankfull.depth_m / 3 < 0.10
    assert sites[control].size.height_m == pytest.approx(0.10)
    assert "Now its still pool reaches the foot" in sites[control].reason
    assert sites.reach_share[head] == 1.0
    pool = effects_of(ground, sites, RAIN)[control].pool
    assert pool.toe_depth_m + pool.toe_error_m + LEVEL_M >= 0


def test_what_only_holds_the_bed_stands_proud_of_it() -> None:
    """It holds a little sediment and backs a little water, short of the foot."""
    ground = ground_of(gully_raster(drop_m=1.0, slope=0.035))
    sites, _ = sites_on(ground, ROCK)
    head, control = falls_short(ground, sites)
    assert sites[control].size.height_m == pytest.approx(0.10)
    assert "but 0.10 m is allowed here" in sites[head].caution
    assert "lets the bed rise" in sites[control].reason
    effect = effects_of(ground, sites, RAIN)[control]
    assert effect.pool.volume_m3 > 0
    assert effect.wedge.volume_m3 > 0
    assert effect.pool.toe_depth_m + effect.pool.toe_error_m < 0


def test_without_a_flow_no_crest_is_known_to_fit() -> None:
    """Nothing tells bankfull here either: the headcut says what would help."""
    ground = ground_of(gully_raster(drop_m=0.8, slope=0.02))
    [head] = placed_on(ground, rain=None)
    assert head.control == "vertical"
    said = " ".join(cautions_of(head))
    assert "No grade control below it: no flow is known here" in said
    assert "give rain" in said


def test_one_that_only_holds_the_bed_may_stand_as_deep_as_others_of_a_pair(
    rules_with: Callable[..., Rules],
) -> None:
    """Below a drop of 0.98 m the banks stand past what is plain hand work for a series here."""
    rules = rules_with(one_rock_dam__channel_depth=(0.8, 1.8))
    ground = ground_of(gully_raster(drop_m=1.0, slope=0.035), rules=rules)
    sites, _ = sites_on(ground, ROCK)
    _, control = falls_short(ground, sites)
    assert sites[control].spot.banks.depth_m > 0.8
    assert not [p for p in sites.each if p.control == "grade" and p.head.index < 0]


def test_one_that_only_holds_the_bed_is_moved_down_as_others_are() -> None:
    """The first place of the stretch lies outside the ranch."""
    raster = gully_raster(drop_m=1.0, slope=0.035)
    ground = ground_of(raster)
    sites, _ = sites_on(ground, ROCK)
    _, control = falls_short(ground, sites)
    row, _ = divmod(sites[control].where.cell, raster.grid.cols)
    ranch = np.ones(raster.grid.shape, bool)
    ranch[row] = False
    moved, _ = sites_on(ground_of(raster, ranch=ranch), ROCK)
    [(_, [lower])] = groups_of(moved)
    assert divmod(moved[lower].where.cell, raster.grid.cols)[0] == row + 1


def test_it_is_moved_down_until_it_works() -> None:
    """The first place of the stretch lies outside the ranch; the next one is taken."""
    raster = gully_raster(drop_m=1.0, slope=0.01)
    usual = [p for p in placed_on(ground_of(raster)) if p.control == "grade"]
    ranch = np.ones(raster.grid.shape, bool)
    row, _ = divmod(usual[0].where.cell, raster.grid.cols)
    ranch[row] = False
    [moved] = [p for p in placed_on(ground_of(raster, ranch=ranch)) if p.control == "grade"]
    assert divmod(moved.where.cell, raster.grid.cols)[0] == row + 1
    drops = float(moved.reason.split("(")[1].split(" ")[0])
    assert 4.0 <= drops <= 6.0


def test_a_road_across_the_channel_just_below_refers_the_head() -> None:
    """It crosses 22 m below the lip: stones and water would come down to it."""
    raster = gully_raster(drop_m=0.8)
    ground = ground_of(raster)
    plain = placed_on(ground)
    [head] = [p for p in plain if p.control == "vertical"]
    _, y = (float(v) for v in ground.raster.grid.xy_of(head.where.cell))
    across = shapely.LineString([(0.0, y - 22.0), (160.0, y - 22.0)])
    places = placed_on(ground, BuildSettings(keep=keep_of(across)))
    assert not [p for p in places if p.control == "grade"]
    [there] = places
    assert there.control == "refer"
    said = there.reason + " ".join(cautions_of(there))
    assert "the water from here comes within 5.0 m of the road" in said
    far = shapely.LineString([(0.0, y + 120.0), (160.0, y + 120.0)])
    assert len(placed_on(ground, BuildSettings(keep=keep_of(far)))) == len(plain)


def test_two_heads_close_together_get_one_group_or_one_each() -> None:
    """A lower head's own structures never stand in the stretch of the upper one."""
    for apart in (8.0, 14.0, 25.0):
        ground = ground_of(two_steps(apart=apart, slope=0.008))
        sites, _ = sites_on(ground)
        heads = [p for p in sites.each if p.control == "vertical"]
        assert len(heads) == 2
        lower = min(heads, key=lambda p: p.where.station_m)
        for head, controls in groups_of(sites):
            orders = [sites[j].member.order for j in (*controls, head)]
            assert orders == sorted(orders)
            if sites[head] is not lower:
                assert all(sites[j].where.station_m > lower.where.station_m for j in controls)
