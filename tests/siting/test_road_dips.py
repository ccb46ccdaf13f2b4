"""Rolling dips on invented ground whose every grade is known."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import shapely
from pyproj import CRS
from shapely.geometry import LineString, box
from shapely.geometry.base import BaseGeometry

from siting.channels.ground import Ground
from siting.layout.keep_clear import KeepClear, is_not_ours, read_keep_clear
from siting.layout.road_dips import LEFT, RIGHT, RoadDips, lay_road_dips
from siting.layout.road_profile import grades_of, road_pieces, straightened
from siting.record.settings_used import keep_of as keep_again
from siting.record.settings_used import keep_text
from terrain.reading.dem import read_dem
from terrain.values.raster import Raster

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"
Measured = Callable[..., Ground]


def keep_of(*roads: BaseGeometry, clear: tuple[tuple[BaseGeometry, str], ...] = ()) -> KeepClear:
    given = [(r, "road", "ranch road") for r in roads] + [(s, k, "") for s, k in clear]
    columns = [np.empty(len(given), dtype=object) for _ in range(3)]
    for i, one in enumerate(given):
        for column, value in zip(columns, one, strict=True):
            column[i] = value
    from_roads = np.arange(len(given)) < len(roads)
    return KeepClear(*columns, from_roads)  # type: ignore[call-arg]


def hillside(
    along: Callable[[Any], Any], *, side: float = 0.05, noise_m: float = 0.0, rows: int = 400
) -> Raster:
    """Ground of 120 m by `rows` whose height is `along` (metres from north) and falls eastwards."""
    y, x = np.mgrid[0.5:rows, 0.5:120]
    z = 200 + along(y) - side * x
    z += noise_m * np.random.default_rng(8).standard_normal(z.shape)
    return Raster.from_array(z.astype(np.float32))


#: From north to south along the middle of the hillside, 390 m.
ROAD = LineString([(60, 395), (60, 5)])


@pytest.fixture(scope="module")
def even(measured: Measured) -> Ground:
    """A road that falls at 8 % towards the south, across ground that falls at 5 % to the east."""
    return measured(hillside(lambda y: -0.08 * y))


def test_an_even_grade_gets_dips_at_the_distance_of_the_table_from_its_top_down(
    even: Ground,
) -> None:
    dips = lay_road_dips(keep_of(ROAD), even)
    # 7 to 9 % on erosive soil: 40 m; the last 30 m need none
    assert dips.size == 9
    np.testing.assert_allclose(dips.y_m, 395 - 40 * np.arange(1, 10), atol=0.01)
    np.testing.assert_allclose(dips.x_m, 60)
    np.testing.assert_allclose(dips.grade, 0.08, atol=1e-4)
    np.testing.assert_allclose(dips.spacing_m, 40)
    assert dips.order.tolist() == list(range(1, 10))
    assert set(dips.stretch) == {1}
    np.testing.assert_allclose(dips.from_last_m, 40)
    np.testing.assert_allclose(dips.to_next_m[:-1], 40)
    assert np.isnan(dips.to_next_m[-1])
    assert dips.after_dip.tolist() == [False] + [True] * 8
    assert not dips.first_open.any()


def test_firm_soil_has_them_farther_apart(even: Ground) -> None:
    dips = lay_road_dips(keep_of(ROAD), even, soil="firm")
    assert set(dips.soil) == {"firm"}
    np.testing.assert_allclose(dips.spacing_m, 75)
    np.testing.assert_allclose(dips.from_last_m, 75)
    assert dips.size == 5


def test_the_water_leaves_downhill_looking_down_the_road(even: Ground) -> None:
    dips = lay_road_dips(keep_of(ROAD), even)
    np.testing.assert_allclose(dips.azimuth_deg, 180, atol=0.1)
    assert set(dips.side) == {LEFT}
    np.testing.assert_allclose(dips.outlet_slope, 0.05, atol=1e-3)
    x, y = even.raster.grid.xy_of(dips.outlet_cell)
    # half a road of 4 m, 1 m of edge, 10 m of outlet
    np.testing.assert_allclose(x - dips.x_m, 13, atol=0.51)
    np.testing.assert_allclose(y, dips.y_m, atol=0.51)
    np.testing.assert_allclose(dips.road_area_m2, 40 * 4)


def test_the_way_a_line_is_drawn_does_not_matter(even: Ground) -> None:
    one = lay_road_dips(keep_of(ROAD), even)
    parts = [LineString([(60, 5), (60, 130)]), LineString([(60, 300), (60, 130)])]
    other = lay_road_dips(keep_of(*parts, LineString([(60, 395), (60, 300)])), even)
    assert other.size == one.size
    np.testing.assert_allclose(other.y_m, one.y_m, atol=1.0)
    assert other.side.tolist() == one.side.tolist()
    np.testing.assert_allclose(other.azimuth_deg, one.azimuth_deg, atol=0.1)


def test_noise_of_lidar_moves_dips_little(measured: Measured, even: Ground) -> None:
    noisy = lay_road_dips(keep_of(ROAD), measured(hillside(lambda y: -0.08 * y, noise_m=0.05)))
    assert noisy.size == 9
    np.testing.assert_allclose(noisy.grade, 0.08, atol=0.006)
    np.testing.assert_allclose(noisy.spacing_m, 40)
    assert set(noisy.side) == {LEFT}


def test_ground_that_falls_the_other_way_sends_the_water_right(measured: Measured) -> None:
    dips = lay_road_dips(keep_of(ROAD), measured(hillside(lambda y: -0.08 * y, side=-0.06)))
    assert dips.size == 9
    assert set(dips.side) == {RIGHT}


def test_a_saddle_gets_dips_down_both_sides_and_its_sag_none(measured: Measured) -> None:
    """Up at 6 % for 200 m, then down at 6 %: the top is at 200 m."""
    ground = measured(hillside(lambda y: -0.06 * np.abs(y - 200)))
    dips = lay_road_dips(keep_of(ROAD), ground)
    spacing = 50.0  # 4 to 6 % on erosive soil
    assert sorted(set(dips.stretch)) == [1, 2]
    for stretch, azimuth in ((1, 0), (2, 180)):
        own = dips.stretch == stretch
        np.testing.assert_allclose(dips.azimuth_deg[own], azimuth, atol=0.1)
        away = np.abs(dips.y_m[own] - 200)
        assert (np.diff(away) > 0).all()
        # the top is rounded over 25 m, so the first may lie a little farther down
        assert away[0] == pytest.approx(spacing, abs=8)
        np.testing.assert_allclose(np.diff(away)[:-1], 50, atol=1)
        # drawn up so as to keep 15 m off the foot
        assert 25 <= np.diff(away)[-1] <= 50
    assert set(dips.side[dips.stretch == 1]) == {RIGHT}
    assert set(dips.side[dips.stretch == 2]) == {LEFT}


def test_a_sag_ends_a_stretch_and_dips_keep_off_it(measured: Measured) -> None:
    ground = measured(hillside(lambda y: 0.06 * np.abs(y - 200)))
    dips = lay_road_dips(keep_of(ROAD), ground)
    assert dips.size > 0
    assert (np.abs(dips.y_m - 200) >= 15).all()
    assert set(np.round(dips.azimuth_deg)) == {0.0, 180.0}


@pytest.mark.parametrize("fall", [0.0, 0.01, 0.019])
def test_a_flat_road_needs_none(measured: Measured, fall: float) -> None:
    assert lay_road_dips(keep_of(ROAD), measured(hillside(lambda y: -fall * y))).size == 0


def test_a_steep_road_gets_none_and_it_is_said(measured: Measured) -> None:
    dips = lay_road_dips(keep_of(ROAD), measured(hillside(lambda y: -0.14 * y)))
    assert dips.size == 0
    assert any("391 m of it are steeper than 12 %" in note for note in dips.notes)


def test_below_a_stretch_that_is_too_steep_the_closest_row_counts(measured: Measured) -> None:
    """18 % for 60 m, then 6 %: on the mean since the top more than 12 %, 30 m on erosive soil."""
    ground = measured(hillside(lambda y: -0.18 * np.minimum(y, 60) - 0.06 * np.maximum(y - 60, 0)))
    dips = lay_road_dips(keep_of(ROAD), ground)
    assert dips.first_open[0]
    assert dips.mean_grade[0] > 0.12
    assert dips.spacing_m[0] == 30
    assert not dips.first_open[1:].any()
    # the knee is rounded over 25 m
    np.testing.assert_allclose(dips.spacing_m[2:], 50)


def test_the_limit_is_held_against_the_grade_and_its_error(measured: Measured) -> None:
    """0.002 of error: 11.7 % will do, 11.9 % will not."""
    for grade, some in ((0.117, True), (0.119, False)):
        road = keep_of(ROAD)
        ground = measured(hillside(lambda y, g=grade: -g * y))  # type: ignore[misc]
        assert bool(lay_road_dips(road, ground).size) == some


@pytest.mark.parametrize("soil", ["erosive", "firm"])
def test_no_dip_is_nearer_to_the_next_than_its_own_rule_nor_farther_unsaid(
    measured: Measured, soil: str
) -> None:
    """A road whose grade changes all the time: 2 to 14 %, over banks that come and go."""
    along = np.cumsum(0.08 + 0.06 * np.sin(np.arange(400) / 23.0))
    raster = hillside(lambda y: -along[np.minimum(y.astype(int), 399)])
    y, x = np.mgrid[0.5:400, 0.5:120]
    bank = (np.sin(y / 17) > 0.6) & (x > 63) & (x < 68)
    ground = measured(Raster.from_array((raster.elevation_m + 1.0 * bank).astype(np.float32)))
    dips = lay_road_dips(keep_of(ROAD), ground, soil=soil)
    assert dips.size >= 3
    assert (dips.from_last_m >= 0.5 * dips.spacing_m - 1e-6).all()
    late = dips.from_last_m > dips.spacing_m + 1e-6
    np.testing.assert_array_equal(late, dips.first_open)
    said = [any("No place closer by" in s for s in c) for c in dips.cautions]
    assert said == late.tolist()


def test_a_sunken_road_lets_no_water_out(measured: Measured) -> None:
    y, x = np.mgrid[0.5:400, 0.5:120]
    ground = measured(Raster.from_array(200 - 0.08 * y + 0.1 * np.maximum(np.abs(x - 60) - 2, 0)))
    dips = lay_road_dips(keep_of(ROAD), ground)
    assert dips.size == 0
    assert any("the water cannot leave the road" in note for note in dips.notes)
    assert any("should have a further dip" in note for note in dips.notes)


def test_a_bank_along_a_part_of_the_road_moves_the_dip_farther_down_and_it_is_said(
    measured: Measured,
) -> None:
    y, x = np.mgrid[0.5:400, 0.5:120]
    bank = (y < 80) & (x > 63) & (x < 68)
    ground = measured(Raster.from_array(200 - 0.08 * y - 0.05 * x + 1.0 * bank))
    dips = lay_road_dips(keep_of(ROAD), ground)
    # the first that is free of the bank, 12 m of whose outlet lie at right angles to the road
    assert 400 - dips.y_m[0] == pytest.approx(81, abs=1.5)
    said = "that keeps the least distance, lets the water out: the dip lies 36 m farther"
    assert said in dips.cautions[0][0]
    assert dips.cautions[1] == ()


def test_water_is_not_let_out_onto_a_pond_or_a_building(even: Ground) -> None:
    # the diagonal way of the water from the dip at 40 m passes it within 30 m
    pond = (box(76, 335, 86, 355), "pond")
    for kind in ("pond", "building", "culvert"):
        dips = lay_road_dips(keep_of(ROAD, clear=((pond[0], kind),)), even)
        assert dips.size
        x, y = even.raster.grid.xy_of(dips.outlet_cell)
        assert (shapely.distance(shapely.points(x, y), pond[0]) > 5).all()
        assert dips.from_last_m[0] != 40
    free = lay_road_dips(keep_of(ROAD, clear=((pond[0], "other"),)), even)
    assert free.from_last_m[0] == 40
    assert any("comes to a feature to keep clear of" in said for said in free.cautions[0])


def test_dips_keep_off_where_a_stream_crosses(
    gully: Callable[..., Raster], measured: Measured
) -> None:
    """The channel runs south at x = 80; the road falls towards it from either side and on."""
    ground = measured(gully(side=0.06, cols=400))
    x = 200.0
    road = LineString([(5, 150), (395, 150)])
    dips = lay_road_dips(keep_of(road), ground)
    assert dips.size >= 2
    assert (np.abs(dips.x_m - x) >= 15).all()
    # none of them lets its water into the channel at once
    way, walked = ground.ways_down(dips.outlet_cell, length_m=10.0)
    on = (way >= 0) & (walked <= 10.0)
    counts = ground.counts.reshape(-1)[np.maximum(way, 0)]
    assert not (on & (counts >= ground.network.threshold_cells)).any()


def test_land_that_drains_onto_the_road_is_the_union_of_catchments(even: Ground) -> None:
    dips = lay_road_dips(keep_of(ROAD), even)
    grid = even.raster.grid
    for i in (0, 3):
        top = dips.y_m[i] + dips.from_last_m[i]
        rows, cols = grid.rowcol(np.full(200, 60.0), np.linspace(top, dips.y_m[i], 200))
        rows = np.clip(rows, 0, grid.rows - 1)
        inside = np.zeros(grid.shape, dtype=bool)
        for c in np.unique(rows * grid.cols + cols):
            inside |= even.catchments.mask(int(c))
        assert dips.land_ha[i] == pytest.approx(inside.sum() / 1e4, rel=0.02)


def test_much_land_above_the_road_is_a_caution(even: Ground, rules_with: Any) -> None:
    ground = replace(even, rules=rules_with(road_dip__land=0.05))
    dips = lay_road_dips(keep_of(ROAD), ground)
    assert (dips.land_ha > 0.05).any()
    for land, said in zip(dips.land_ha, dips.cautions, strict=True):
        assert any("drain onto this piece of road" in s for s in said) == (land > 0.05)


def test_roads_are_clipped_at_the_edge_and_at_holes(measured: Measured) -> None:
    raster = hillside(lambda y: -0.08 * y)
    z = np.array(raster.elevation_m)
    z[190:200, 50:70] = np.nan
    ground = measured(Raster.from_array(z))
    beyond = LineString([(60, 900), (60, -700)])
    pieces = road_pieces(keep_of(beyond, LineString([(300, 0), (300, 400)])), ground.raster)
    assert len(pieces) == 2
    spans = sorted((p.y_m.min(), p.y_m.max()) for p in pieces)
    np.testing.assert_allclose(spans, [(0, 199), (211, 400)], atol=1.5)
    dips = lay_road_dips(keep_of(beyond), ground)
    assert dips.size == 8
    assert (dips.from_last_m <= 40).all()
    assert ((dips.y_m > 0) & (dips.y_m < 400)).all()


def test_only_places_inside_the_ranch(even: Ground) -> None:
    ranch = np.zeros(even.raster.grid.shape, dtype=bool)
    ranch[200:] = True
    dips = lay_road_dips(keep_of(ROAD), replace(even, ranch=ranch))
    assert dips.size > 0
    assert (dips.y_m <= 200).all()


def test_no_roads_and_short_ones(even: Ground) -> None:
    for keep in (keep_of(), keep_of(LineString([(60, 100), (60, 120)]))):
        dips = lay_road_dips(keep, even)
        assert dips.size == 0
        assert dips.notes == ()


def test_what_a_dip_says(even: Ground) -> None:
    dips = lay_road_dips(keep_of(ROAD), even)
    assert dips.reason[0] == (
        "The road falls at 8.0 % here, and at 8.0 % on the mean below the top of this stretch. For "
        "that, water may run at most 40 m along it on erosive soil; this place is 40 m below the "
        "top of this stretch. The water leaves to the left, looking down the road, where the "
        f"ground falls at 5.0 %. 160 m2 of road, with all that "
        f"drains onto it {dips.land_ha[0]:.2g} ha, come to the dip."
    )
    assert "below the dip above" in dips.reason[1]
    with pytest.raises(ValueError, match="read-only"):
        dips.grade[0] = 1


# --- roads that are not the ranch's own ---


@pytest.mark.parametrize(
    ("said", "others"),
    [
        (("", "", ""), False),
        (("yes", "", "county"), False),
        (("no", "", ""), True),
        (("0", "", ""), True),
        (("", "Yes", ""), True),
        (("", "no", ""), False),
        (("", "", "County road"), True),
        (("", "", "neighbor's"), True),
        (("", "", "secondary"), True),
        (("", "", "track"), False),
        (("", "", "private"), False),
        (("", "", "state_highway"), True),
    ],
)
def test_whose_a_road_is(said: tuple[str, str, str], others: bool) -> None:
    assert is_not_ours(*said) is others


def test_a_public_road_gets_no_dips_but_is_kept_clear_of(even: Ground, tmp_path: Path) -> None:
    grid = even.raster.grid
    crs = "EPSG:32613"
    for field, value in (("ours", "no"), ("ours", "yes"), ("owner", "Otero County")):
        path = tmp_path / f"{field}_{value}.gpkg"
        pyogrio.raw.write(
            path, np.array([shapely.to_wkb(ROAD)]), [np.array([value], dtype=object)],
            [field], geometry_type="LineString", crs=crs,
        )  # fmt: skip
        keep = read_keep_clear(path, None, replace(grid, crs=CRS.from_user_input(crs)))
        assert keep.roads.size == 1
        public = value != "yes"
        assert bool(lay_road_dips(keep, even).size) is not public
        assert any("no dips are laid there" in note for note in keep.notes) is public
        again = keep_again(keep_text(keep))
        assert again.for_dips.tolist() == keep.for_dips.tolist() == [not public]


# --- the profile ---------------------------------------------------------------------------------


def test_the_straight_line_through_neighbours_is_that_of_least_squares() -> None:
    values = np.random.default_rng(2).normal(1600, 1, 60)
    level, slope = straightened(values, step_m=2.0, half=6)
    for i in (0, 3, 30, 59):
        a, b = max(i - 6, 0), min(i + 7, 60)
        fit = np.polyfit(2.0 * (np.arange(a, b) - i), values[a:b], 1)
        assert slope[i] == pytest.approx(fit[0], abs=1e-9)
        assert level[i] == pytest.approx(fit[1], abs=1e-9)


def test_tops_and_sags_under_the_noise_do_not_count(even: Ground) -> None:
    (piece,) = road_pieces(keep_of(ROAD), even.raster)

    def cut(height: Any) -> list[tuple[int, int]]:
        return [(g.top, g.bottom) for g in grades_of(replace(piece, height_m=np.array(height)))]

    ramp = np.linspace(0, 4, 41)
    assert cut(ramp) == [(40, 0)]
    assert cut(ramp + 0.1 * np.sin(np.arange(41))) == [(40, 0)]
    assert cut([*ramp, *ramp[::-1]]) in ([(40, 0), (40, 81)], [(41, 0), (41, 81)])
    assert cut([*ramp[::-1], *ramp]) in ([(0, 40), (81, 40)], [(0, 41), (81, 41)])
    assert cut(np.zeros(50)) == []


# --- the sample ----------------------------------------------------------------------------------


def test_the_road_of_the_sample(measured: Measured) -> None:
    ground = measured(read_dem(SAMPLE / "ranch_dem.tif").raster)
    dips: RoadDips = lay_road_dips(
        read_keep_clear(SAMPLE / "ranch.gpkg", SAMPLE / "ranch.gpkg", ground.raster.grid), ground
    )
    assert 10 <= dips.size <= 35
    assert ((dips.grade >= 0.02) & (dips.grade <= 0.12)).all()
    assert ((dips.outlet_slope >= 0.02) & (dips.outlet_slope <= 0.25)).all()
    z = ground.raster.elevation_m.reshape(-1)
    assert (z[dips.outlet_cell] < z[dips.cell]).all()
    far = dips.from_last_m > dips.spacing_m
    said = np.array([any("No place closer by" in s for s in c) for c in dips.cautions])
    np.testing.assert_array_equal(far, said)
    assert (~far).mean() > 0.8
