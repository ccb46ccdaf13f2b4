"""What stands at a headcut, what goes with it below, and when it is not for hands."""

from __future__ import annotations

import numpy as np
import pytest

from siting.layout.at_headcuts import place_at_headcuts
from siting.layout.measuring import BuildSettings
from siting.places.site_floods import FloodGauge, FloodSettings
from siting.places.spot import Stock
from siting.sites import find_sites
from siting.structures.decisions import ENGINEER, MORE_ELEVATIONS
from tests.siting.conftest import RAIN, cautions_of, placed_by, trials_on, two_steps


def places_at(ground, **given):
    trials = trials_on(ground, **({"rainfall": RAIN} | given))
    return placed_by(trials, place_at_headcuts(trials))


def head_of(ground):
    [head] = [p for p in places_at(ground).places if p.control in ("vertical", "refer")]
    return head


def pair_of(ground):
    pairs = [p for p in places_at(ground).places if p.control in ("grade", "spread")]
    return pairs[0] if pairs else None


def test_a_drop_within_hand_limits_gets_a_bowl_and_a_pair_below(measured, gully) -> None:
    ground = measured(gully(drop_m=0.8))
    head, pair = head_of(ground), pair_of(ground)
    assert head.control == "vertical"
    assert head.structure == "rock bowl"
    assert head.spot.drop.height_m == pytest.approx(0.8, abs=0.08)
    assert "rock bowl" in head.reason
    assert "log drop" in head.decision.chosen.why_not
    assert head.decision.size.height_m == pytest.approx(head.spot.drop.height_m)
    assert (pair.control, pair.structure) == ("grade", "one-rock dam")
    assert pair.member.group == head.member.group > 0
    assert (pair.member.order, head.member.order) == (1, 2)
    _, y = ground.raster.grid.xy_of(np.array([pair.where.cell, head.where.cell]))
    drop = head.spot.drop.height_m
    below = float(y[1] - y[0])
    # 4 to 6 drop heights below the foot, which lies a cell or two below the lip
    assert 4 * drop - 1 <= below <= 6 * drop + 3
    assert "drop heights)" in pair.reason
    # 2 % over that distance
    spot = pair.spot
    assert spot.task.needed_height_m == pytest.approx(0.02 * 4.5 * drop, abs=0.04)
    assert spot.task.needed_height_m <= pair.decision.size.height_m <= 0.10
    assert pair.foot.cell == ground.headcuts.foot_cell[head.head.index]


def test_a_small_drop_on_little_land_is_laid_back(measured, gully) -> None:
    ground = measured(gully(drop_m=0.6, head_m=330.0))
    head = head_of(ground)
    assert head.structure == "rock rundown"
    assert ground.headcuts.drainage_area_ha[head.head.index] < 2.0
    # the same drop on more land is not
    assert head_of(measured(gully(drop_m=0.6, head_m=200.0))).structure == "rock bowl"


@pytest.mark.parametrize("drop", [1.4, 2.4])
def test_a_high_drop_is_referred(measured, gully, drop) -> None:
    ground = measured(gully(drop_m=drop))
    head = head_of(ground)
    assert (head.control, head.structure) == ("refer", ENGINEER)
    assert "above the 1.2 m that hands should build" in head.reason
    assert pair_of(ground) is None
    assert head.member.group == 0


def test_the_drop_counts_at_the_unfavourable_end_of_its_error(measured, gully) -> None:
    """1.13 m is below 1.2 m, but not with its error of a tenth."""
    head = head_of(measured(gully(drop_m=1.17)))
    assert head.spot.drop.height_m < 1.2
    assert head.control == "refer"
    assert "may be above the 1.2 m that hands should build, within its error" in head.reason


def test_too_steep_a_bed_is_referred(measured, gully) -> None:
    head = head_of(measured(gully(drop_m=0.8, slope=0.075)))
    assert head.control == "refer"
    assert "above the 6.0 % that is the limit of hand work" in head.reason


def test_a_bed_above_three_per_cent_is_a_caution(measured, gully) -> None:
    ground = measured(gully(drop_m=0.8, slope=0.045))
    head = head_of(ground)
    assert head.control == "vertical"
    assert any("past the 3.0 % of plain hand work" in c for c in cautions_of(head))
    assert any("close together" in c for c in cautions_of(head))
    gentle = head_of(measured(gully(drop_m=0.8)))
    assert not any("past the 3.0 %" in c for c in cautions_of(gentle))


def test_a_hillside_gets_no_site(measured, gully) -> None:
    ground = measured(gully(drop_m=0.9, slope=0.25, side=0.2))
    assert ground.headcuts.size
    placed = places_at(ground)
    assert placed.places == []
    assert "belong to the hillside" in placed.notes[0]


def test_much_land_is_reviewed_and_more_is_referred(measured, gully, rules_with) -> None:
    raster = gully(drop_m=0.8)
    reviewed = head_of(measured(raster, rules=rules_with(hand_work__drainage_area=(1.0, 40.0))))
    assert reviewed.control == "vertical"
    assert any("have the design reviewed" in c for c in cautions_of(reviewed))
    stopped = head_of(measured(raster, rules=rules_with(hand_work__drainage_area=(1.0, 2.0))))
    assert stopped.control == "refer"
    assert "above the 2.0 ha from which an engineer is needed" in stopped.reason


def test_a_cut_off_drainage_area_asks_for_more_elevations(measured, gully) -> None:
    raster = gully(drop_m=0.8, ridge=False)
    head = head_of(measured(raster))
    assert (head.control, head.structure) == ("refer", MORE_ELEVATIONS)
    assert "complete the DEM" in head.reason
    assert "at least" in head.reason
    assert head_of(measured(raster, edge_is_divide=True)).control == "vertical"


def test_a_deep_channel_below_is_a_caution_then_a_limit(measured, gully, rules_with) -> None:
    """The lower of two steps of 0.7 m drops into a trench 1.4 m deep."""
    raster = two_steps(apart=40.0)
    places = places_at(measured(raster)).places
    pair = min((p for p in places if p.control == "grade"), key=lambda p: p.where.station_m)
    assert any("past the 1.2 m of plain hand work" in c for c in cautions_of(pair))
    stricter = rules_with(one_rock_dam__channel_depth=(1.2, 1.3))
    places = places_at(measured(raster, rules=stricter)).places
    lower = min((p for p in places if p.spot.drop.height_m > 0), key=lambda p: p.where.station_m)
    assert lower.control == "refer"
    assert "above the 1.3 m to which crew and structure are safe" in lower.reason


def test_unsure_headcuts_get_no_site(measured, gully, rules_with) -> None:
    ground = measured(gully(drop_m=0.8), rules=rules_with(measuring__least_confidence=1.5))
    assert ground.headcuts.size
    assert places_at(ground).places == []


def test_a_head_near_the_raster_edge_has_no_room_for_a_pair(measured, gully, rules_with) -> None:
    ground = measured(gully(drop_m=0.9, head_m=12.0), rules=rules_with(pair__distance=(20.0, 26.0)))
    head = head_of(ground)
    assert head.control == "vertical"
    assert head.member.group == 0
    assert any("leaves the raster" in c for c in head.own_cautions)
    assert pair_of(ground) is None


def test_a_drop_just_below_takes_the_room_of_the_pair(measured, gully, rules_with) -> None:
    """Two drops 12 m apart; with pairs 14 m and more below, the upper one has no room.

    The bed falls little, so that one stone reaches the foot from there.
    """
    raster = two_steps(apart=12.0, slope=0.004)
    ground = measured(raster, rules=rules_with(pair__distance=(20.0, 26.0)))
    heads = sorted(
        (p for p in places_at(ground).places if p.control == "vertical"),
        key=lambda p: p.where.station_m,
    )
    assert len(heads) == 2
    lower, upper = heads
    assert (lower.head.heads_below, upper.head.heads_below) == (0, 1)
    assert any("the next drop lies" in c for c in upper.own_cautions)
    assert upper.member.group == 0
    assert lower.member.group > 0


def test_a_pair_outside_the_ranch_is_told(measured, gully) -> None:
    raster = gully(drop_m=0.8)
    ranch = np.zeros(raster.grid.shape, bool)
    ranch[: 400 - 198] = True  # from 198 m up: the lip is inside, the pair outside
    ground = measured(raster, ranch=ranch)
    assert pair_of(ground) is None
    assert any("outside the ranch" in c for c in head_of(ground).own_cautions)


def test_a_head_outside_the_ranch_gets_nothing(measured, gully) -> None:
    raster = gully(drop_m=0.8)
    ranch = np.zeros(raster.grid.shape, bool)
    ranch[300:] = True
    assert places_at(measured(raster, ranch=ranch)).places == []


def test_a_foot_that_low_structures_cannot_reach_is_told(measured, gully, rain, unsure) -> None:
    """4 % over 4 drop heights of 0.9 m is 0.14 m: more than one stone of 0.10 m."""
    settings = FloodSettings(rain, 80.0)
    ground = measured(gully(drop_m=0.9, slope=0.04), rules=unsure)
    rock = BuildSettings(stock=Stock(frozenset({"rock"})))
    sites, _ = find_sites(ground, FloodGauge(ground, settings), rock)
    [low] = [i for i, p in enumerate(sites.each) if p.control == "grade" and p.head.index >= 0]
    assert sites[low].spot.task.short
    assert sites[low].reason.startswith("Makes up ")
    assert sites[low].reach_share == pytest.approx(0.1 / sites[low].foot.rise_m)
    [i] = [i for i, p in enumerate(sites.each) if p.control == "vertical"]
    assert sites[i].caution.startswith("Its grade control makes up ")
    assert sites.reach_share[i] == sites[low].reach_share
    assert "A crest of" in sites[i].caution
    assert "is needed to back water to the foot of the drop above" in sites[i].caution
    assert "0.10 m is allowed here" in sites[i].caution
    assert "Two in series do not reach the foot either." in sites[i].caution
    gentle = measured(gully(drop_m=0.7, slope=0.01), rules=unsure)
    sites, _ = find_sites(gentle, FloodGauge(gentle, settings))
    [i] = [i for i, p in enumerate(sites.each) if p.control == "grade" and p.head.index >= 0]
    assert sites[i].spot.task.needed_height_m <= sites[i].size.height_m
    assert not any("in series" in s.caution for s in sites)
