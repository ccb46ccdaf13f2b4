"""Ways over invented ground: planes, walls, gullies, ponds and holes."""

from __future__ import annotations

import numpy as np
import pytest
import shapely
from numpy.typing import NDArray

from siting.walking.least_effort import Ways, ways_between
from siting.walking.lines import climb_and_descent, line_time_s, pulled_straight
from siting.walking.net import walk_net
from siting.walking.speed import walking_speed_mps
from siting.walking.walk_land import WalkRules, walk_land
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

RULES = WalkRules()


def ways(z: NDArray[np.float64], *points: tuple[float, float], cell: float = 1.0, **more) -> Ways:
    """Ways between points given as x to the right and y down from the upper left corner."""
    raster = Raster.from_array(z.astype(np.float32), cell_m=cell)
    top = raster.grid.bounds[3]
    xy = np.array([(x, top - y) for x, y in points])
    return ways_between(walk_net(walk_land(raster, RULES, **more), RULES), xy)


def plane(rows: int = 120, cols: int = 160, east: float = 0.0) -> NDArray[np.float64]:
    return 100.0 + east * np.arange(cols)[None, :] + np.zeros((rows, 1))


def length(line: NDArray[np.float64]) -> float:
    return float(np.hypot(*np.diff(line, axis=0).T).sum())


@pytest.mark.parametrize("slope", [-0.28, -0.05, 0.0, 0.1, 0.28])
def test_a_plane_is_crossed_at_the_speed_of_its_slope(slope: float) -> None:
    found = ways(plane(east=slope), (11, 61), (149, 61))
    there, back = found.time_s[0, 1], found.time_s[1, 0]
    assert there == pytest.approx(138 / float(walking_speed_mps(slope)), rel=0.003)
    assert back == pytest.approx(138 / float(walking_speed_mps(-slope)), rel=0.003)


def test_a_steep_plane_is_climbed_in_bends() -> None:
    """Above a slope of 1 in 3.5 the function is kinder to a longer way at that slope.

    At 0.4 the best bend has a cosine of 1 / (3.5 x 0.4): e x 1.4 / exp(1.4) of the direct time.
    """
    found = ways(plane(rows=300, east=0.4), (11, 151), (149, 151))
    direct = 138 / float(walking_speed_mps(0.4))
    assert found.time_s[0, 1] == pytest.approx(direct * 1.4 * np.exp(1 - 1.4), rel=0.02)
    assert length(found.line(0, 1)) > 1.2 * 138


@pytest.mark.parametrize("end", [(150, 60), (150, 95), (80, 110), (130, 13)])
def test_level_ground_is_crossed_nearly_straight(end: tuple[float, float]) -> None:
    found = ways(plane(), (10, 10), end)
    straight = np.hypot(end[0] - 10, end[1] - 10)
    # Sixteen directions bend a way by less than 3 %.
    assert straight <= length(found.line(0, 1)) * 1.001 < 1.03 * straight
    pulled = pulled_straight(found.net, RULES, found.line(0, 1))
    assert length(pulled) == pytest.approx(straight, rel=1e-3)
    assert len(pulled) == 2


def test_a_wall_is_passed_through_its_gap() -> None:
    z = plane()
    z[:, 78:82] += 8.0
    z[96:104, 78:82] -= 8.0
    found = ways(z, (20, 20), (140, 20))
    line = found.line(0, 1)
    at_wall = line[(line[:, 0] > 77) & (line[:, 0] < 83)]
    assert len(at_wall)
    assert np.all((120 - at_wall[:, 1] > 94) & (120 - at_wall[:, 1] < 106))
    pulled = pulled_straight(found.net, RULES, line)
    assert line_time_s(found.net, RULES, pulled) <= line_time_s(found.net, RULES, line) + 1e-6
    assert line_time_s(found.net, RULES, line[[0, -1]]) == np.inf


def test_a_wall_without_a_gap_lets_nobody_through() -> None:
    z = plane()
    z[:, 78:82] += 8.0
    found = ways(z, (20, 20), (140, 20), (20, 100))
    assert found.time_s[0, 1] == np.inf
    assert found.time_s[1, 0] == np.inf
    assert np.isfinite(found.time_s[0, 2])


def test_a_pond_is_walked_round_though_its_floor_is_gentle() -> None:
    y, x = np.mgrid[0:120, 0:160]
    away = np.hypot(y - 60, x - 80)
    z = plane() - 1.5 * np.clip((30 - away) / 20, 0, 1)
    found = ways(z, (20, 60), (140, 60))
    line = found.line(0, 1)
    off = shapely.LineString(line).distance(shapely.Point(80, 60))
    # Deeper than 0.3 m within 26 m of its middle.
    assert off > 25
    # Dug to drain through a ditch it is no pond, and walked through.
    drained = z.copy()
    drained[58:62, 80:] = np.minimum(drained[58:62, 80:], 98.4)
    line = ways(drained, (20, 50), (140, 50)).line(0, 1)
    assert shapely.LineString(line).distance(shapely.Point(80, 60)) < 20


def test_water_that_was_laid_level_is_walked_round() -> None:
    y, x = np.mgrid[0:160, 0:220]
    z = 100 + 0.02 * x + 0.01 * np.sin(y) + 0.013 * np.cos(x * 1.7)
    lake = np.hypot(y - 80, x - 110) < 22
    z[lake] = 102.0
    land = walk_land(Raster.from_array(z.astype(np.float32)))
    assert land.pond.sum() * land.grid.cell_area_m2 > 0.6 * lake.sum()
    found = ways(z, (40, 80), (180, 80))
    crossing = shapely.LineString(found.line(0, 1)).intersection(shapely.Point(110, 80).buffer(18))
    assert crossing.length == 0


def test_unknown_ground_is_never_crossed() -> None:
    z = plane()
    z[20:, 70:90] = np.nan
    found = ways(z, (20, 100), (140, 100))
    inside = shapely.LineString(found.line(0, 1)).intersection(shapely.box(71, 0, 89, 99))
    assert inside.length == 0
    assert length(found.line(0, 1)) > 190


def test_ways_that_are_not_kept_are_found_again(monkeypatch: pytest.MonkeyPatch) -> None:
    z = plane(east=0.1) + 3 * np.sin(np.arange(160) / 9)[None, :]
    kept = ways(z, (20, 20), (140, 100), (50, 90))
    monkeypatch.setattr("siting.walking.least_effort._KEPT", 0)
    again = ways(z, (20, 20), (140, 100), (50, 90))
    for a, b in ((0, 1), (1, 0), (2, 1)):
        np.testing.assert_array_equal(kept.line(a, b), again.line(a, b))


def test_a_point_on_unknown_ground_has_no_way() -> None:
    z = plane()
    z[40:80, 60:100] = np.nan
    found = ways(z, (20, 20), (80, 60), (-50, 20))
    assert np.isinf(found.time_s[0, 1:]).all()
    assert np.isinf(found.time_s[1:, 0]).all()


def gully(depth: float, top_m: float = 6.0) -> NDArray[np.float64]:
    """A cut that runs down the sheet, and peters out to nothing towards its head."""
    z = plane(200, 160)
    y, x = np.mgrid[0:200, 0:160]
    deep = depth * np.clip((y - 60) / 30, 0, 1)
    return z - deep * np.clip((top_m / 2 - np.abs(x - 80)) / 1.0, 0, 1)


def test_crossing_an_incised_channel_costs_its_banks_and_the_crossing() -> None:
    flat = ways(plane(200, 160), (60, 180), (100, 180)).time_s[0, 1]
    shallow = ways(gully(0.4), (60, 180), (100, 180)).time_s[0, 1]
    deep = ways(gully(1.4), (60, 180), (100, 180)).time_s[0, 1]
    assert flat < shallow < flat + 60
    # Two banks of 1.4 m at 30 s a metre, 60 s for the crossing.
    assert deep > flat + 60 + 2 * 1.4 * 30 * 0.8


def test_a_long_way_goes_round_the_head_of_a_gully() -> None:
    line = ways(gully(3.0), (60, 110), (100, 110)).line(0, 1)
    at_gully = line[np.abs(line[:, 0] - 80) < 4]
    assert (200 - at_gully[:, 1]).max() < 90


def test_the_bank_counts_however_wide_the_net() -> None:
    """On a net four times as wide the gully still costs about as much."""
    raster = Raster.from_array(gully(1.4).astype(np.float32))
    xy = np.array([(40.0, 20.0), (120.0, 20.0)])
    land = walk_land(raster)
    times = []
    for most in (250_000, 600):
        net = walk_net(land, WalkRules(most_nodes=most))
        times.append(ways_between(net, xy).time_s[0, 1])
    assert net.spacing >= 4
    assert times[1] == pytest.approx(times[0], rel=0.15)


def test_a_road_is_walked_at_full_speed() -> None:
    road = shapely.LineString([(0, 59), (160, 59)])
    found = ways(plane(), (11, 61), (149, 61), roads=[road])
    assert found.time_s[0, 1] == pytest.approx(138 / (5.036 / 3.6), rel=0.003)


def test_a_coarse_raster_is_walked_cell_by_cell() -> None:
    land = walk_land(Raster.from_array(plane(30, 40).astype(np.float32), cell_m=10.0))
    assert land.grid.cell_m == 10.0


def test_blocks_with_little_known_ground_are_unknown() -> None:
    z = plane(8, 8)
    z[0, :] = np.nan
    z[1, 1] = np.nan
    land = walk_land(Raster.from_array(z.astype(np.float32)))
    assert np.isnan(land.elevation_m[0, 0])
    assert land.elevation_m[0, 1] == 100.0


def test_ground_without_a_known_cell_is_refused() -> None:
    with pytest.raises(ParameterError, match="without a single known cell"):
        walk_land(Raster.from_array(np.full((9, 9), np.nan)))


def test_climb_leaves_out_noise() -> None:
    rng = np.random.default_rng(2)
    noisy = np.linspace(0, 10, 400) + rng.normal(0, 0.05, 400)
    up, down = climb_and_descent(noisy)
    assert up == pytest.approx(10, abs=0.7)
    assert down < 0.3
    assert climb_and_descent(np.array([0.0, 5.0, 2.0, 9.0])) == (12.0, 3.0)
    assert climb_and_descent(np.array([])) == (0.0, 0.0)


def test_rules_are_checked() -> None:
    with pytest.raises(ParameterError, match="walking rule wading of 0"):
        WalkRules(wading=0)
