"""The whole walk on invented ground."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from siting.walking.start import Start, choose_start
from siting.walking.stops import Place, stops_of
from siting.walking.walk import Walk, walking_order
from siting.walking.walk_errors import WalkError
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

START = Start(20.0, 20.0, "here")


def ground(rows: int = 200, cols: int = 300) -> NDArray[np.float64]:
    y, x = np.mgrid[0:rows, 0:cols]
    return 100 + 0.05 * x + 3 * np.sin(x / 30) * np.cos(y / 40)


def raster(z: NDArray[np.float64] | None = None) -> Raster:
    return Raster.from_array((ground() if z is None else z).astype(np.float32))


def places(n: int = 14, seed: int = 4) -> list[Place]:
    rng = np.random.default_rng(seed)
    xy = rng.uniform((10, 10), (290, 190), (n, 2))
    return [Place(101 + i, float(x), float(y)) for i, (x, y) in enumerate(xy)]


def visits(walk: Walk) -> list[int]:
    return [leg.to_site for leg in walk.legs if leg.to_site is not None]


def test_every_loop_starts_and_ends_at_the_start_and_in_time() -> None:
    walk = walking_order(raster(), places(), start=START, hours=1.5, minutes_per_site=20)
    assert len(walk.loops) > 2
    assert sorted(visits(walk)) == list(range(101, 115))
    for legs in walk.loops:
        assert legs[0].from_site is None
        assert legs[-1].to_site is None
        for before, after in pairwise(legs):
            assert before.to_site == after.from_site
            np.testing.assert_allclose(before.line[-1], after.line[0])
        np.testing.assert_allclose(legs[0].line[0], (20, 20))
        np.testing.assert_allclose(legs[-1].line[-1], (20, 20))
        spent = sum(leg.walk_s for leg in legs) + 1200 * (len(legs) - 1)
        assert spent <= 1.5 * 3600 + 1e-6


def test_a_loop_climbs_as_much_as_it_descends() -> None:
    walk = walking_order(raster(), places(), start=START)
    (legs,) = walk.loops
    up, down = (sum(getattr(leg, name) for leg in legs) for name in ("climb_m", "descent_m"))
    assert up > 5
    # Each leg leaves out less than half a metre at its end.
    assert abs(up - down) < 0.5 * len(legs)
    for leg in legs:
        assert leg.distance_m >= np.hypot(*(leg.line[-1] - leg.line[0])) - 1e-6
        assert leg.height_m.shape == (len(leg.line),)


def test_sites_of_a_pair_are_visited_together_in_their_building_order() -> None:
    some = places(10)
    some[2] = Place(103, some[2].x_m, some[2].y_m, group_id=5, build_order=2)
    some[7] = Place(108, some[2].x_m + 60, some[2].y_m, group_id=5, build_order=1)
    assert [s.members for s in stops_of(some) if len(s.members) > 1] == [(7, 2)]
    order = visits(walking_order(raster(), some, start=START, hours=1.2, minutes_per_site=10))
    assert order[order.index(108) + 1] == 103


def test_sites_that_cannot_be_reached_are_named() -> None:
    z = ground()
    z[:, 200:204] += 40
    some = [Place(1, 50, 50), Place(2, 250, 50), Place(3, 60, 150), Place(4, 900, 50)]
    walk = walking_order(raster(z), some, start=START)
    assert walk.unreached == (2, 4)
    assert sorted(visits(walk)) == [1, 3]
    with pytest.raises(WalkError, match="no way leads from the start to any of 1 sites"):
        walking_order(raster(z), some[1:2], start=START)


def test_sites_too_far_for_the_hours_are_named_and_none_near_is_an_error() -> None:
    some = [Place(1, 30, 30), Place(2, 290, 190)]
    walk = walking_order(raster(), some, start=START, hours=0.3, minutes_per_site=10)
    assert visits(walk) == [1]
    ((site, hours),) = walk.too_far
    assert site == 2
    assert 0.3 < hours < 1.0
    with pytest.raises(WalkError, match=r"0\.1 hours are too short for the nearest site"):
        walking_order(raster(), some, start=START, hours=0.1, minutes_per_site=10)


def test_the_order_by_straight_lines_is_never_better() -> None:
    z = ground()
    z[20:, 148:152] += 12
    some = [Place(i + 1, x, y) for i, (x, y) in enumerate([(130, 150), (170, 150), (50, 180)])]
    some += [Place(4, 250, 170), Place(5, 130, 60), Place(6, 170, 60)]
    walk = walking_order(raster(z), some, start=START)
    assert walk.straight.ways_s > 1.05 * walk.walk_s
    assert walk.straight.lines_s == np.inf
    level = walking_order(raster(np.full((200, 300), 9.0)), places(8), start=START)
    assert level.straight.ways_s == pytest.approx(level.walk_s, rel=0.03)


def test_places_at_one_point_are_visited_all() -> None:
    walk = walking_order(raster(), [Place(i, 100.0, 100.0) for i in (1, 2, 3)], start=START)
    assert sorted(visits(walk)) == [1, 2, 3]
    assert walk.tours.exact


def test_a_start_that_is_no_ground_is_refused() -> None:
    for at in (Start(-5, 20, ""), Start(20, 500, "")):
        with pytest.raises(WalkError, match="lies outside the ground that the raster knows"):
            walking_order(raster(), places(3), start=at)


@pytest.mark.parametrize("hours", [0.0, -1.0, float("nan"), float("inf")])
def test_odd_hours_are_refused(hours: float) -> None:
    with pytest.raises(ParameterError, match="loops of"):
        walking_order(raster(), places(3), start=START, hours=hours)
    with pytest.raises(ParameterError, match="minutes a site"):
        walking_order(raster(), places(3), start=START, minutes_per_site=-1)
    with pytest.raises(WalkError, match="no sites"):
        walking_order(raster(), [], start=START)


def test_the_start_is_the_nearest_road_or_the_lowest_edge_or_the_first_site() -> None:
    sites = np.array([(100.0, 100.0), (200.0, 100.0)])
    road = shapely.LineString([(0, 50), (300, 50)])
    ranch = shapely.box(40, 20, 280, 180)
    found = choose_start(raster(), sites, roads=[road], ranch=[ranch])
    assert (found.x_m, found.y_m) == (pytest.approx(150, abs=3), 50.0)
    assert "road" in found.words
    found = choose_start(raster(), sites, ranch=[ranch])
    # The ground falls to the west.
    assert found.x_m == pytest.approx(40.0)
    assert "lowest point" in found.words
    found = choose_start(raster(), sites)
    assert (found.x_m, found.y_m) == (100.0, 100.0)
    far_road = shapely.LineString([(900, 50), (990, 50)])
    assert "first site" in choose_start(raster(), sites, roads=[far_road]).words
    with pytest.raises(WalkError, match="no sites"):
        choose_start(raster(), np.empty((0, 2)))
