"""Roads as the plan meets them: dips laid on them, structures kept away from them."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
import shapely

from siting.layout.measuring import BuildSettings
from siting.record.feature_tables import site_table
from siting.record.footprints import footprint_table
from siting.record.structure_tables import built_of
from siting.structures.decisions import ENGINEER
from siting.structures.rolling_dip import RollingDip
from siting.works.takes import Means
from siting.works.work import Judging
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster
from tests.siting.conftest import (
    cautions_of,
    ground_of,
    gully_raster,
    keep_of,
    sites_on,
)

#: From north to south down the middle of the hillside.
ROAD = shapely.LineString([(60.0, 395.0), (60.0, 5.0)])


def falling(slope: float) -> Raster:
    """Ground that falls so much towards the south, and 5 % towards the east."""
    y, x = np.mgrid[0.5:400, 0.5:120]
    return Raster.from_array((300 - slope * y - 0.05 * x).astype(np.float32))


@pytest.fixture(scope="module")
def hillside():
    """A whole hillside that falls 8 % towards the south."""
    return ground_of(falling(0.08), edge_is_divide=True)


@pytest.fixture(scope="module")
def dips(hillside):
    sites, notes = sites_on(hillside, BuildSettings(keep=keep_of(ROAD)))
    return sites, notes


def test_dips_are_places_of_the_plan_in_the_order_of_the_road(hillside, dips) -> None:
    sites, _ = dips
    rolling = [p for p in sites.each if p.structure == "rolling dip"]
    assert len(rolling) == 9  # every 40 m of 390 m
    assert {p.control for p in rolling} == {"spread"}
    assert {p.where.reach for p in rolling} == {-1}
    assert len({p.member.group for p in rolling}) == 1
    assert rolling[0].member.group > 0
    by_order = sorted(rolling, key=lambda p: p.member.order)
    assert [p.member.order for p in by_order] == list(range(1, 10))
    _, y = hillside.raster.grid.xy_of(np.array([p.where.cell for p in by_order]))
    assert (np.diff(y) < 0).all()  # the top of the grade first
    assert all(p.proposal.road.azimuth_deg == pytest.approx(180, abs=1) for p in rolling)
    assert all(p.spot.slope == pytest.approx(0.08, abs=0.005) for p in rolling)


def test_a_dip_names_its_distance_with_its_source_and_others_beside_it(dips) -> None:
    sites, _ = dips
    rolling = [p for p in sites.each if p.structure == "rolling dip"]
    assert len(rolling) == 9
    for p in rolling:
        by_rule = {row.rule: row for row in p.spacing}
        [chosen] = [row for row in p.spacing if row.chosen]
        assert chosen.rule == "greatest distance, erosive soil"
        assert chosen.low_m == chosen.high_m == 40
        assert "table 7.1: 7 to 9 %" in chosen.source
        assert chosen.basis == "published"
        assert by_rule["greatest distance, soil that erodes little"].low_m == 75
        assert by_rule["closest to the dip above"].low_m == pytest.approx(20)
        assert {"water bars", "broad-based dips"} <= set(by_rule)


def test_every_dip_is_held_against_the_table(dips) -> None:
    sites, _ = dips
    for p in sites.each:
        if p.structure != "rolling dip":
            continue
        checks = p.decision.chosen.checks["rolling dip"]
        [at_most] = [c for c in checks if c.rule == "road_dip.spacing_to_9"]
        assert at_most.passed
        assert "at most 40 m of road above it, of 8.0 % and erosive soil" in at_most.asks
        assert at_most.found.startswith("40 m below the ")
        assert "table 7.1" in at_most.source
        [at_least] = [c for c in checks if c.rule == "road_dip.closest"]
        assert at_least.passed
        assert at_least.asks == "at least 20 m of road above it"


def test_a_dip_past_the_table_is_refused_unless_no_place_nearer_lets_the_water_out(dips) -> None:
    sites, _ = dips
    spot = next(p.spot for p in sites.each if p.structure == "rolling dip")
    assert spot.road is not None
    for length, first_open, fits in ((40.0, False, True), (41.0, False, False), (90.0, True, True),
                                     (19.0, False, False)):  # fmt: skip
        run = replace(spot.road, length_m=length, first_open=first_open)
        kind = RollingDip()
        assert kind.fits(replace(spot, road=run)) is fits
        if not fits:
            assert len(kind.why_not(replace(spot, road=run))) == 1


def test_a_dip_knows_its_stretch_and_what_its_water_may_cut(dips) -> None:
    sites, _ = dips
    rolling = [p for p in sites.each if p.structure == "rolling dip"]
    assert {p.proposal.road.stretch for p in rolling} == {1}
    # 40 m of a road of 4 m lose 2 mm a year
    assert rolling[0].proposal.road.soil_m3_per_yr == pytest.approx(0.32)


def test_a_dip_has_no_channel_in_any_column(dips) -> None:
    sites, _ = dips
    columns = site_table(sites, crs=None, more={}).columns
    on_road = sites.on_road
    assert on_road.any()
    for name, values in columns.items():
        of_channel = ("width", "depth", "bank", "bankfull", "entrenchment", "valley")
        if name.startswith(of_channel) and values.dtype.kind == "f":
            assert np.isnan(values[on_road]).all(), name
    for name in ("width_source", "bankfull_source", "setting", "confinement"):
        assert all(v is None for v in columns[name][on_road]), name
    assert not columns["stage"][on_road].any()


def test_without_dips_roads_are_only_kept_clear_of(hillside) -> None:
    sites, notes = sites_on(hillside, BuildSettings(keep=keep_of(ROAD), road_dips=False))
    assert not any(p.on_road for p in sites.each)
    assert not any("rolling dips" in note for note in notes)


def test_another_road_soil_is_refused() -> None:
    with pytest.raises(ParameterError, match="road soil 'mud'; expected erosive or firm"):
        BuildSettings(road_soil="mud")


def test_no_flow_in_a_channel_is_claimed_on_a_road(dips) -> None:
    sites, _ = dips
    rolling = [i for i, p in enumerate(sites.each) if p.structure == "rolling dip"]
    assert len(rolling) == 9
    for i in rolling:
        assert sites[i].flows == (None,) * 6
        assert sites[i].size is not None
        assert "regional curve" not in sites[i].caution


def test_dips_are_drawn_across_their_road(hillside, dips) -> None:
    sites, _ = dips
    table = footprint_table(sites)
    on = table.columns["structure"] == "rolling dip"
    assert on.sum() >= 8
    touched = shapely.intersects(table.geometry[on], ROAD)
    assert touched.sum() >= 8


def test_the_whole_plan_of_a_road_can_be_written_down(hillside, dips) -> None:
    sites, _ = dips
    built = built_of(
        hillside,
        sites,
        judging=Judging(),
        means=Means(),
        rainfall=None,
        keep=keep_of(ROAD),
        design_period_yr=10.0,
    )
    assert (built.columns["nearest_road_m"] <= 1.0).all()
    assert set(built.tables["spacings"]["site_id"]) == set(range(1, sites.count + 1))
    assert built.columns["chosen"].all()


def test_without_roads_there_are_no_dips(hillside) -> None:
    sites, _ = sites_on(hillside)
    assert not any(p.structure == "rolling dip" for p in sites.each)


def test_a_road_whose_dips_do_not_fit_says_why() -> None:
    """18 % is past what a rolling dip can be built on."""
    steep = ground_of(falling(0.18), edge_is_divide=True)
    sites, notes = sites_on(steep, BuildSettings(keep=keep_of(ROAD)))
    assert not any(p.structure == "rolling dip" for p in sites.each)
    assert any("road" in note and "steep" in note for note in notes)


def test_dips_on_land_that_is_cut_off_are_left_out_and_told_once() -> None:
    sites, notes = sites_on(ground_of(falling(0.08)), BuildSettings(keep=keep_of(ROAD)))
    assert not any(p.structure == "rolling dip" for p in sites.each)
    told = [note for note in notes if "for a dip on a road left out" in note]
    assert len(told) == 1
    assert told[0].startswith("9 places")
    assert "complete the DEM" in told[0]


@pytest.mark.parametrize(
    ("shape", "kind", "said"),
    [
        (shapely.LineString([(90.0, 150.0), (90.0, 250.0)]), "road", "road"),
        (shapely.box(95.0, 190.0, 105.0, 210.0), "building", "building"),
        (shapely.box(88.0, 195.0, 95.0, 205.0), "pond", "pond"),
        (shapely.Point(86.0, 200.0), "culvert", "culvert"),
    ],
)
def test_a_head_near_what_is_kept_clear_is_referred(shape, kind, said) -> None:
    ground = ground_of(gully_raster(drop_m=0.8))
    keep = keep_of(clear=((shape, kind),))
    sites, _ = sites_on(ground, BuildSettings(keep=keep))
    [head] = [p for p in sites.each if np.isfinite(p.spot.drop.height_m)]
    assert (head.control, head.structure) == ("refer", ENGINEER)
    assert said in head.reason
    assert "an engineer must look first" in head.reason
    assert not all(check.passed for check in head.decision.kept_clear)
    # what would stand there otherwise is remembered, for the alternatives
    assert head.decision.type.name == "rock bowl"


def test_a_head_far_from_everything_is_not(worked) -> None:
    sites = worked.sites.each
    assert all(check.passed for p in sites for check in p.decision.kept_clear)
    heads = [p for p in sites if p.control == "vertical"]
    assert len(heads) == 2
    for p in heads:
        [check] = p.decision.kept_clear
        assert 55 <= float(check.found.split()[4]) <= 65  # the road runs at 20 m, the bed at 80
        assert cautions_of(p)


def test_series_keep_away_from_a_road_and_it_is_told() -> None:
    ground = ground_of(gully_raster(drop_m=0.8, head_m=400.0))
    plain, _ = sites_on(ground)
    # the road crosses the trench at 100 m: nothing within 20 m, nor within reach above it
    road = shapely.LineString([(0.0, 100.0), (160.0, 100.0)])
    sites, notes = sites_on(ground, BuildSettings(keep=keep_of(road)))
    in_trench = [i for i, p in enumerate(sites.each) if p.control == "grade"]
    assert in_trench
    _, y = ground.raster.grid.xy_of(sites.cell[in_trench])
    assert (np.abs(y - 100.0) > 20.0).all()
    assert any("left out near roads" in note for note in notes)
    assert not any("left out near roads" in n for n in sites_on(ground)[1])
    assert plain.count
