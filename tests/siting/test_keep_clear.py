"""Roads and things to keep clear of: read from files, and how near places come to them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from pyproj import CRS
from shapely.geometry import LineString, Point, box

from siting.channels.ground import Ground
from siting.layout.clearance import check_clearance, near, road_crossings
from siting.layout.flow_ways import way_lines, ways_up
from siting.layout.keep_clear import KINDS, KeepClear, kind_of, read_keep_clear
from terrain.values.grid import Grid
from terrain.values.raster import Raster
from terrain.vectors.features import FeatureFileError

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"
GRID = Grid(400, 160, Affine(1, 0, 500_000, 0, -1, 4_380_400), CRS.from_epsg(26913))
Measured = Callable[..., Ground]


def keep_of(*given: tuple[Any, str, str]) -> KeepClear:
    """What was given as (shape, kind, name); lines of kind road come from the file of roads."""
    n = len(given)
    shapes, kind, name = (np.empty(n, dtype=object) for _ in range(3))
    for i, (shape, k, text) in enumerate(given):
        shapes[i], kind[i], name[i] = shape, k, text
    from_roads = np.array([k == "road" for _, k, _ in given], dtype=np.bool_)
    return KeepClear(shapes, kind, name, from_roads)


# --- reading -------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("texts", "kind"),
    [
        (("Building", ""), "building"),
        (("", "old BARNS by the road"), "building"),
        (("stock_tank", ""), "pond"),
        (("", "pond on Barnes road"), "pond"),
        (("culvert", "house road"), "culvert"),
        (("two-track", ""), "road"),
        (("", "railroadish roadless"), "other"),
        (("corral", "by the pond"), "pond"),
        (("", "buried water line"), "other"),
        (("", ""), "other"),
    ],
)
def test_the_kind_is_told_from_words(texts: tuple[str, str], kind: str) -> None:
    assert kind_of(*texts) == kind


def test_both_layers_of_the_sample() -> None:
    package = SAMPLE / "ranch.gpkg"
    grid = Grid(1100, 1300, Affine(1, 0, 540_000, 0, -1, 4_139_950), CRS.from_epsg(26913))
    keep = read_keep_clear(package, package, grid)
    assert keep.kind.tolist() == ["road", "other", "other"]
    assert keep.name.tolist() == ["two-track", "old corrals and a well", "buried water line"]
    assert keep.roads.size == keep.road_names.size == 1
    assert "ranch.gpkg: 2.3 km of road on the DEM or near it." in keep.notes
    assert "ranch.gpkg: features to keep clear of, by kind: 2 other." in keep.notes
    assert not keep.shapes.flags.writeable


def test_either_file_may_be_absent(tmp_path: Path) -> None:
    frame = gpd.GeoDataFrame(
        {"Type": ["house", "", None], "Label": [None, "Laguna Peña, stock pond", None]},
        geometry=[
            Point(500_010, 4_380_010).buffer(6),
            Point(500_050, 4_380_050),
            LineString([(500_000, 4_380_000), (500_100, 4_380_000)]),
        ],
        crs="EPSG:26913",
    )
    frame.to_file(tmp_path / "keep.gpkg")
    keep = read_keep_clear(None, tmp_path / "keep.gpkg", GRID)
    assert keep.kind.tolist() == ["building", "pond", "other"]
    assert keep.name.tolist() == ["house", "Laguna Peña, stock pond", ""]
    assert keep.roads.size == 0
    nothing = read_keep_clear(None, None, GRID)
    assert nothing.size == 0
    frame.iloc[:1].to_file(tmp_path / "houses.gpkg")
    with pytest.raises(FeatureFileError, match="holds polygons, not lines"):
        read_keep_clear(tmp_path / "houses.gpkg", None, GRID)


def test_the_options_that_name_a_layer(tmp_path: Path) -> None:
    line = LineString([(500_000, 4_380_000), (500_100, 4_380_000)])
    frame = gpd.GeoDataFrame({"name": ["a"]}, geometry=[line], crs="EPSG:26913")
    for layer in ("north", "south"):
        frame.to_file(tmp_path / "all.gpkg", layer=layer)
    with pytest.raises(FeatureFileError, match="Name the layer of the roads"):
        read_keep_clear(tmp_path / "all.gpkg", None, GRID)
    with pytest.raises(FeatureFileError, match="Name the layer of what is kept clear of"):
        read_keep_clear(None, tmp_path / "all.gpkg", GRID)
    keep = read_keep_clear(
        tmp_path / "all.gpkg",
        tmp_path / "all.gpkg",
        GRID,
        roads_layer="north",
        keep_clear_layer="south",
    )
    assert keep.from_roads.tolist() == [True, False]


# --- distances -----------------------------------------------------------------------------------


def test_nearest_of_each_kind_agrees_with_measuring_every_pair() -> None:
    rng = np.random.default_rng(5)
    shapes = [
        *shapely.points(rng.uniform(0, 300, (30, 2))),
        *shapely.buffer(shapely.points(rng.uniform(0, 300, (30, 2))), 8),
        *(LineString(rng.uniform(0, 300, (4, 2))) for _ in range(10)),
    ]
    kinds = rng.choice(KINDS[:4], len(shapes))
    keep = keep_of(*((s, str(k), "") for s, k in zip(shapes, kinds, strict=True)))
    x, y = rng.uniform(0, 300, (2, 40))
    found = near(keep, x, y)
    every = shapely.distance(shapely.points(x, y)[:, None], np.array(shapes)[None, :])
    for k, kind in enumerate(KINDS):
        own = np.flatnonzero(kinds == kind)
        if not own.size:
            assert np.isinf(found.distance_m[:, k]).all()
            assert (found.which[:, k] == -1).all()
            continue
        np.testing.assert_allclose(found.distance_m[:, k], every[:, own].min(axis=1))
        np.testing.assert_allclose(every[np.arange(40), found.which[:, k]], found.distance_m[:, k])


@pytest.fixture(scope="module")
def valley(gully: Callable[..., Raster], measured: Measured) -> Ground:
    """A straight channel that runs south at x = 80, its head 200 m above the southern edge."""
    return measured(gully())


def cell(ground: Ground, x: float, y: float) -> int:
    row, col = ground.raster.grid.rowcol(x, y)
    return int(row * ground.raster.grid.cols + col)


def bed(ground: Ground, y: float) -> int:
    """Cell of the channel at a distance from the southern edge."""
    row = int(ground.raster.grid.rowcol(80, y)[0])
    return row * ground.raster.grid.cols + int(np.argmax(ground.counts[row]))


@pytest.mark.parametrize(
    ("away", "refers"), [(10.0, True), (19.9, True), (20.1, False), (40.0, False)]
)
def test_a_road_beside_is_held_against_its_limit_and_the_error_of_the_maps(
    valley: Ground, away: float, refers: bool
) -> None:
    x = valley.raster.grid.xy_of(cell(valley, 80, 150))[0]
    keep = keep_of((LineString([(x + away, 0), (x + away, 400)]), "road", "north road"))
    check = check_clearance(keep, valley, np.array([cell(valley, 80, 150)]))
    assert check.road_m[0] == pytest.approx(away)
    assert check.limit_m[0] == 20.0
    assert (check.nearest_kind[0], check.nearest_name[0]) == ("road", "north road")
    assert check.within[0] == check.refer[0] == refers
    if refers:
        (said,) = check.reasons[0]
        assert said.startswith("The road 'north road' lies ")
        assert "within 20 m of a road an engineer must look first (15 m, and 5.0 m for" in said


@pytest.mark.parametrize(
    ("kind", "limit"), [("building", 65), ("pond", 35), ("culvert", 35), ("other", 20)]
)
def test_each_kind_has_its_limit_and_any_broken_one_counts(
    valley: Ground, kind: str, limit: float
) -> None:
    at = cell(valley, 80, 300)
    x, y = valley.raster.grid.xy_of(at)
    for off, refers in ((limit - 0.5, True), (limit + 0.5, False)):
        # a road just outside its own limit is the nearest, and must not hide the other
        keep = keep_of(
            (Point(x, y + off), kind, ""),
            (LineString([(x + 20.5, 0), (x + 20.5, 400)]), "road", ""),
        )
        check = check_clearance(keep, valley, np.array([at]))
        assert check.within[0] == refers, (kind, off)
    assert check.nearest_m[0] == pytest.approx(20.5 if limit + 0.5 > 20.5 else limit + 0.5)


def test_a_place_in_a_pond(valley: Ground) -> None:
    keep = keep_of((box(60, 100, 100, 200), "pond", ""))
    check = check_clearance(keep, valley, np.array([cell(valley, 80, 150)]))
    assert check.nearest_m[0] == 0
    # one sentence: what is too near anyway is not said again for its reach
    (said,) = check.reasons[0]
    assert said.startswith("The place lies in or on the pond: within 35 m of a pond")


def test_a_road_across_the_channel_counts_further_down_than_up(valley: Ground) -> None:
    """Down the way of the water 30 m and 5 m of error; up 15 m and 5 m."""
    keep = keep_of((LineString([(0, 120.5), (160, 120.5)]), "road", ""))
    above = np.array([bed(valley, 120.5 + d) for d in (24, 34, 44)])
    below = np.array([bed(valley, 120.5 - d) for d in (22, 27)])
    check = check_clearance(keep, valley, np.concatenate([above, below]))
    assert check.refer.tolist() == [True, True, False, False, False]
    # to where the water comes within the error of the maps
    np.testing.assert_allclose(check.below_m[:2], [19, 29], rtol=0.08)
    assert np.isinf(check.below_m[2:]).all()
    assert check.below_kind.tolist() == ["road", "road", "", "", ""]
    (said,) = check.reasons[0]
    assert said.startswith("After ")
    assert "the water from here comes within 5.0 m of the road: where one lies on the first" in said


def test_water_held_back_reaches_features_on_the_channel_only(
    valley: Ground, rules_with: Callable[..., Any]
) -> None:
    # by default the limit for features beside hides that for features above
    flat = replace(valley, rules=rules_with(keep_clear__reach_above=25.0))
    at = np.array([bed(flat, 150)])
    x, y = flat.raster.grid.xy_of(at)
    on = check_clearance(keep_of((Point(x[0], y[0] + 24), "other", "gauge")), flat, at)
    assert on.above_m[0] == pytest.approx(19, rel=0.08)
    (said,) = on.reasons[0]
    assert "up the channel from here the feature to keep clear of 'gauge' lies within" in said
    assert on.above_kind[0] == "other"
    assert not on.within[0]
    off = check_clearance(keep_of((Point(x[0] + 15, y[0] + 20), "other", "")), flat, at)
    assert not off.refer[0]


def test_without_features_nothing_is_near(valley: Ground) -> None:
    check = check_clearance(keep_of(), valley, np.array([100, 200]))
    assert np.isinf(check.nearest_m).all()
    assert np.isnan(check.limit_m).all()
    assert not check.refer.any()
    none = check_clearance(keep_of((Point(0, 0), "pond", "")), valley, np.empty(0, dtype=np.int64))
    assert none.refer.size == 0


def test_limits_are_those_of_the_rules(valley: Ground, rules_with: Callable[..., Any]) -> None:
    strict = replace(
        valley, rules=rules_with(keep_clear__road=50.0, keep_clear__position_error=2.0)
    )
    keep = keep_of((LineString([(131, 0), (131, 400)]), "road", ""))
    at = np.array([cell(valley, 80, 150)])
    assert check_clearance(keep, strict, at).limit_m[0] == 52.0
    assert check_clearance(keep, strict, at).refer[0]
    assert not check_clearance(keep, valley, at).refer[0]


# --- ways and crossings --------------------------------------------------------------------------


def test_the_way_up_is_the_way_down_backwards(valley: Ground) -> None:
    start = np.array([bed(valley, 20)])
    up, walked = ways_up(valley, start, length_m=60.0)
    assert (up[0] >= 0).all()
    top = up[0, 40:41]
    down, down_walked = valley.ways_down(top, length_m=60.0)
    np.testing.assert_array_equal(down[0, :41], up[0, 40::-1])
    assert down_walked[0, 40] == pytest.approx(walked[0, 40])
    line = way_lines(valley, up, walked, 30.0)[0]
    assert line.length == pytest.approx(30.0)
    # the way wanders over a bed of 3 m, and is longer than the 30 m of channel
    assert walked[0, 40] > 1.15 * np.ptp(valley.raster.grid.xy_of(up[0, :41])[1])
    assert np.ptp(shapely.get_coordinates(line)[:, 1]) > 30.0 / 1.1


def test_the_way_up_ends_at_the_divide(measured: Measured) -> None:
    y, x = np.mgrid[0:40, 0:40]
    ground = measured(Raster.from_array((50 - 0.1 * y + 0.0 * x).astype(np.float32)))
    top = np.array([3 * 40 + 20])
    way, walked = ways_up(ground, top, length_m=30.0)
    assert (way[0] >= 0).sum() == 4
    assert np.isinf(walked[0, 4:]).all()
    assert way_lines(ground, way[:, :1], walked[:, :1], 30.0)[0] is None
    assert way_lines(ground, way, walked, 30.0)[0].length == pytest.approx(3.0)


def test_a_road_across_is_one_crossing_and_one_beside_is_none(valley: Ground) -> None:
    across = LineString([(0, 120.2), (160, 121.7)])
    beside = LineString([(100, 0), (100, 300)])
    found = road_crossings(keep_of((across, "road", ""), (beside, "road", "")), valley)
    assert found.cell.size == 1
    assert found.road.tolist() == [0]
    assert found.x_m[0] == pytest.approx(80, abs=2)
    assert found.y_m[0] == pytest.approx(121, abs=1)
    assert valley.network.reach_at(found.cell)[0] == found.reach[0]
    assert road_crossings(keep_of(), valley).cell.size == 0
