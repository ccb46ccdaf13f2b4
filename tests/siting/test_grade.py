"""Series of low structures in incised reaches."""

from __future__ import annotations

import numpy as np
import pytest

from siting.channels.channel_reading import read_stations
from siting.layout.at_headcuts import place_at_headcuts
from siting.layout.measuring import BuildSettings
from siting.layout.series import place_series
from siting.places.spot import Stock
from siting.structures.spacing import head_to_toe_m, wedge_m
from terrain.values.raster import Raster
from tests.siting.conftest import DRY_RAIN, RAIN, placed_by, trials_on

# an incised reach without a headcut: the trench runs off the raster's upper edge
LONG = {"drop_m": 0.8, "head_m": 400.0}


def series_of(ground, others=(), build=None, rain=RAIN):
    trials = trials_on(ground, rain, build)
    q2 = np.full(ground.stations.size, np.nan)
    if rain is not None:
        q2 = trials.gauge.peak(ground.stations.cell, 2.0)
    reading = read_stations(ground, q2_m3s=q2, division="usa")
    return placed_by(trials, place_series(trials, reading, others))


def test_an_incised_reach_gets_a_series_from_its_base_up(measured, gully) -> None:
    ground = measured(gully(**LONG))
    placed = series_of(ground)
    assert {p.structure for p in placed.places} == {"one-rock dam"}
    [group] = {p.member.group for p in placed.places}
    assert group > 0
    series = sorted(placed.places, key=lambda p: p.member.order)
    assert [p.member.order for p in series] == [1, 2, 3, 4, 5]
    stations = [p.where.station_m for p in series]
    assert stations == sorted(stations)
    assert stations[0] < 10  # the base is the lower end
    assert any("stable base" in c for c in series[0].own_cautions)
    assert not any("stable base" in c for c in series[1].own_cautions)


def test_spacing_lies_between_head_to_toe_and_the_wedge(measured, gully) -> None:
    ground = measured(gully(**LONG))
    series = series_of(ground, rain=DRY_RAIN).places
    apart = np.diff([p.where.station_m for p in series])
    slope = np.mean([p.spot.slope for p in series])
    # 0.10 m: no more is allowed where bankfull is not known
    least, most = float(head_to_toe_m(0.10, slope)), float(wedge_m(0.10, slope))
    assert (apart >= least - 1e-6).all()
    # a place is the first station past the distance: up to a station's spacing more
    assert (apart <= most + 5.5).all()


def test_only_the_first_of_a_long_series_are_listed_and_the_rest_counted(
    measured, gully, rules_with
) -> None:
    ground = measured(gully(**LONG), rules=rules_with(series__most=3.0))
    placed = series_of(ground)
    assert len(placed.places) == 3
    [note] = placed.notes
    left = int(note.split(";")[1].split()[0])
    all_of = series_of(measured(gully(**LONG), rules=rules_with(series__most=1000.0))).places
    assert left == len(all_of) - 3 > 10


def test_bends_are_left_out(measured, gully, rules_with) -> None:
    ground = measured(gully(**LONG, bend_at_m=150.0), rules=rules_with(series__most=1000.0))
    series = series_of(ground).places
    assert series
    _, y = ground.raster.grid.xy_of(np.array([p.where.cell for p in series]))
    # the channel turns east at 150 m and north again some 10 m further
    assert not ((y > 145) & (y < 168)).any()


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"slope": 0.045}, "too steep for a series"),
        ({"slope": 0.002}, "too flat"),
        ({"drop_m": 1.3}, "too deep for one-rock dams"),
        ({"drop_m": 0.35}, "not incised enough"),
        ({"head_m": 25.0}, "too short"),
        ({"ridge": False}, "its drainage area is cut off"),
    ],
)
def test_reaches_that_get_no_series(measured, gully, change, why) -> None:
    assert series_of(measured(gully(**(LONG | change)))).places == [], why


def test_land_past_the_hard_stop_gets_no_series(measured, gully, rules_with) -> None:
    ground = measured(gully(**LONG), rules=rules_with(hand_work__drainage_area=(1.0, 2.0)))
    assert all(ground.area_ha(np.array([p.where.cell]))[0] <= 2.0 for p in series_of(ground).places)


def test_the_ranch_bounds_a_series(measured, gully) -> None:
    raster = gully(**LONG)
    ranch = np.zeros(raster.grid.shape, bool)
    ranch[100:300] = True
    ground = measured(raster, ranch=ranch)
    series = series_of(ground).places
    assert series
    assert ground.inside(np.array([p.where.cell for p in series])).all()
    assert min(p.where.station_m for p in series) > 99


def test_a_wide_shallow_reach_is_a_swale_and_gets_no_series(measured, gully) -> None:
    ground = measured(gully(drop_m=0.5, head_m=400.0, bed_m=10.0, cut_m=0.5))
    placed = series_of(ground)
    assert not placed.places


def test_series_keep_off_headcuts_and_their_pairs(measured, gully) -> None:
    ground = measured(gully(drop_m=0.8, head_m=40.0))
    trials = trials_on(ground, RAIN)
    heads = place_at_headcuts(trials)
    pair = [p for p in placed_by(trials, heads).places if p.control == "grade"]
    series = series_of(ground, heads.proposals).places
    assert pair
    gap = [abs(p.where.station_m - q.where.station_m) for p in series for q in pair]
    assert all(g > 5 for g in gap)


def test_series_keep_off_a_road_fill(measured, gully) -> None:
    raster = gully(**LONG)
    z = raster.elevation_m.copy()
    rows, cols = z.shape
    fill = slice(rows - 60, rows - 52)  # a bank across the trench at 52 to 60 m
    z[fill] = np.maximum(z[fill], z[rows - 56, cols // 2] + 1.2)
    ground = measured(Raster.from_array(z))
    assert ground.conditioned.report.cut_cell.size
    _, y = ground.raster.grid.xy_of(np.array([p.where.cell for p in series_of(ground).places]))
    # 20 m each way, counted from the pit above the fill and along the cut
    assert not ((y > 45) & (y < 78)).any()


def test_banks_low_against_bankfull_get_no_series(measured, gully, rules_with) -> None:
    """With a flow the banks stand about 8 bankfull depths high."""
    usual = measured(gully(**LONG))
    assert series_of(usual).places
    strict = measured(gully(**LONG), rules=rules_with(series__bank_height_ratio=500.0))
    assert series_of(strict).places == []
    # where bankfull is not known the depth alone decides
    assert series_of(strict, rain=DRY_RAIN).places


def test_without_a_flow_a_series_says_what_would_tell_whether_it_fits(measured, gully) -> None:
    placed = series_of(measured(gully(**LONG)), rain=None)
    assert placed.places == []
    [note] = placed.notes
    assert "No flow is known here" in note
    assert note.endswith("give rain.")


@pytest.mark.parametrize("sure", [True, False])
def test_heights_hold_and_every_rule_of_spacing_is_shown(measured, gully, unsure, sure) -> None:
    ground = measured(gully(**LONG), rules=None if sure else unsure)
    places = series_of(ground).places
    assert len(places) >= 3
    for place in places:
        size, spot = place.decision.size, place.spot
        assert spot.bankfull.sure == sure
        assert spot.bankfull.depth_m / 3 < 0.10
        assert size.height_m == pytest.approx(0.10)
        assert "lets the bed rise" in place.reason
        assert np.isnan(spot.task.needed_height_m)
        assert len(place.spacing) >= 2
        [chosen] = [row for row in place.spacing if row.chosen]
        assert all(row.source and row.basis for row in place.spacing)
        least = min(row.low_m for row in place.spacing)
        most = max(row.high_m for row in place.spacing)
        assert least - 1e-9 <= chosen.low_m <= chosen.high_m <= most + 1e-9
        # the loose-rock rule is not for a structure one stone high
        assert not any("Heede" in row.rule for row in place.spacing)


def test_a_series_of_what_the_ranch_has(measured, gully) -> None:
    """Banks of 0.8 m are too high for a log mat: nothing, and the reason is told."""
    build = BuildSettings(stock=Stock(have=frozenset({"logs"})))
    placed = series_of(measured(gully(**LONG)), build=build)
    assert placed.places == []
    assert any("needs low banks" in note for note in placed.notes)
