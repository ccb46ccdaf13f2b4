"""Low structures where the floor of a swale opens out."""

from __future__ import annotations

import numpy as np
import pytest
import shapely

from siting.channels.channel_reading import read_stations
from siting.layout.measuring import BuildSettings
from siting.layout.swales import floor_width_m, place_in_swales
from siting.places.spot import Stock
from siting.structures.design_flow import flow_at
from terrain.values.raster import Raster
from tests.siting.conftest import RAIN, Placed, ground_of, keep_of, placed_by, trials_on

#: Metres up the valley between which its floor is wide.
WIDE_FROM, WIDE_TO = 150.0, 210.0


def swale_raster(
    *, wide_m: float = 8.0, narrow_m: float = 3.0, slope: float = 0.015, rows: int = 400
) -> Raster:
    """A swale without banks that falls southwards, its floor wide over a stretch of 60 m."""
    cols = 160
    y = (rows - 0.5 - np.arange(rows))[:, None]
    x = np.arange(cols)[None, :] + 0.5
    share = np.clip(np.minimum(y - WIDE_FROM, WIDE_TO - y) / 15.0, 0.0, 1.0)
    half = 0.5 * (narrow_m + (wide_m - narrow_m) * share)
    beside = np.abs(x - cols / 2) - half
    z = 100.0 + slope * y + 0.21 * np.clip(beside, 0.0, 3.0) + 0.07 * np.maximum(beside - 3.0, 0.0)
    z = z - 0.05 * np.maximum(1.0 - np.abs(x - cols / 2), 0.0)  # keeps the water together
    edge = np.minimum(np.minimum(x, cols - x), rows - y)
    z = z - 2.0 * np.maximum(4.0 - edge, 0.0)
    z = z + 0.01 * np.random.default_rng(3).standard_normal(z.shape)
    return Raster.from_array(z.astype(np.float32))


@pytest.fixture(scope="module")
def opens():
    return ground_of(swale_raster())


def swales_of(ground, *, have=("rock", "logs", "brush"), keep=None) -> Placed:
    build = BuildSettings(stock=Stock(have=frozenset(have)), keep=keep)
    trials = trials_on(ground, RAIN, build)
    q2 = trials.gauge.peak(ground.stations.cell, 2.0)
    reading = read_stations(ground, q2_m3s=q2, division="usa")
    return placed_by(trials, place_in_swales(trials, reading, ()))


def test_with_stone_at_hand_a_dam_spans_the_floor(opens) -> None:
    """It holds the same for far less work."""
    [place] = swales_of(opens).places
    assert (place.control, place.structure) == ("grade", "one-rock dam")
    assert "The swale opens out here" in place.reason


@pytest.mark.parametrize("have", [("logs", "brush"), ("logs",)])
def test_where_the_floor_opens_out_there_is_one_log_mat(opens, have) -> None:
    [place] = swales_of(opens, have=have).places
    assert (place.control, place.structure) == ("grade", "log mat")
    _, y = opens.raster.grid.xy_of(place.where.cell)
    assert WIDE_FROM <= float(y) <= WIDE_TO + 10
    assert "The swale opens out here" in place.reason
    assert "grown over" in place.own_cautions[0]
    # it spans what the flow wets of the floor, which the types are told
    width = floor_width_m(opens)
    at = np.flatnonzero(opens.stations.cell == place.where.cell)[0]
    size, spot = place.decision.size, place.spot
    wetted = spot.section.top_width_m(flow_at(spot, spot.flow_m3s()).depth_m)
    assert size.dims["span_m"] == pytest.approx(min(wetted, width[at]))
    assert size.crest_m == pytest.approx(size.dims["span_m"] + 2 * size.dims["wing_m"])
    assert place.spot.banks.bed_width_m == pytest.approx(width[at])
    # bankfull is shallow: the smallest, as what spills may spread
    assert place.spot.bankfull.height_limit_m == 0
    assert place.decision.size.height_m == pytest.approx(0.10)


def test_the_floor_is_measured_to_its_low_edge(opens) -> None:
    """Floor plus the ground up to 0.15 m above it: 0.15 / 0.21 m on either side."""
    s, width = opens.stations, floor_width_m(opens)
    narrow = (s.y_m > 40) & (s.y_m < 130)
    assert np.median(width[narrow]) == pytest.approx(3.0 + 2 * 0.15 / 0.21, abs=0.4)


def test_a_floor_of_one_width_gets_nothing() -> None:
    placed = swales_of(ground_of(swale_raster(wide_m=3.0)))
    assert placed.places == []
    assert placed.notes == []


def test_a_steep_one_gets_nothing() -> None:
    assert swales_of(ground_of(swale_raster(slope=0.05))).places == []


def test_without_logs_it_is_said_why_not(opens) -> None:
    placed = swales_of(opens, have=("brush",))
    assert placed.places == []
    [note] = placed.notes
    assert "that suits a wicker weir" in note


def test_too_wide_a_floor_is_told(rules_with) -> None:
    ground = ground_of(swale_raster(), rules=rules_with(hand_work__channel_width=2.0))
    placed = swales_of(ground)
    assert placed.places == []
    assert "too wide to span by hand" in placed.notes[0]


def test_little_land_carries_too_little(rules_with) -> None:
    ground = ground_of(swale_raster(), rules=rules_with(swale__drainage_area=50.0))
    assert swales_of(ground).places == []


def test_it_keeps_clear_of_a_building(opens) -> None:
    everywhere = shapely.box(60.0, WIDE_FROM - 20, 100.0, WIDE_TO + 20)
    assert swales_of(opens, keep=keep_of(clear=((everywhere, "building"),))).places == []


def test_the_ranch_bounds_it() -> None:
    raster = swale_raster()
    ranch = np.zeros(raster.grid.shape, bool)
    ranch[raster.grid.rows - int(WIDE_FROM) + 10 :] = True  # only what lies below it
    assert swales_of(ground_of(raster, ranch=ranch)).places == []


def test_a_floor_of_less_than_three_cells_is_not_read() -> None:
    fine = swale_raster().elevation_m
    coarse = Raster.from_array(np.ascontiguousarray(fine[1::4, 1::4]), cell_m=4.0)
    assert swales_of(ground_of(coarse)).places == []
