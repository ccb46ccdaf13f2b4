"""Roads and other features from any vector file, or one clear line of what is wrong with it."""

from __future__ import annotations

import json
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from pyproj import CRS
from shapely.geometry import GeometryCollection, LineString, MultiLineString, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from terrain.values.grid import Grid
from terrain.vectors.features import FeatureFileError, Wanted, read_features

WEST, SOUTH = 500_000.0, 4_380_000.0
GRID = Grid(1000, 1000, Affine(1, 0, WEST, 0, -1, SOUTH + 1000), CRS.from_epsg(26913))
ROAD = LineString([(WEST + 100, SOUTH + 100), (WEST + 700, SOUTH + 500)])
LINES = Wanted("a road", True, {"name": ("name", "label")}, ("road", "track"), "name the roads")
ANY = Wanted("a feature", False, {"kind": ("kind",), "name": ("name",)}, ("keep",), "name the rest")

Save = Callable[..., Path]


@pytest.fixture
def save(tmp_path: Path) -> Save:
    """Return a function that writes shapes into a vector file."""

    def write(
        shapes: BaseGeometry | list[BaseGeometry],
        name: str = "roads.gpkg",
        *,
        crs: str = "EPSG:26913",
        layer: str | None = None,
        columns: dict[str, list[Any]] | None = None,
    ) -> Path:
        many = shapes if isinstance(shapes, list) else [shapes]
        data = columns or {"name": [f"number {i}" for i in range(len(many))]}
        frame = gpd.GeoDataFrame(data, geometry=many, crs="EPSG:26913")
        path = tmp_path / name
        options = {} if layer is None else {"layer": layer}
        frame.to_crs(crs).to_file(path, engine="pyogrio", **options)
        return path

    return write


@pytest.mark.parametrize(
    ("name", "crs"),
    [
        ("roads.gpkg", "EPSG:26913"),
        ("roads.shp", "EPSG:2232"),
        ("roads.geojson", "EPSG:4326"),
        ("roads.kml", "EPSG:4326"),
        ("roads.fgb", "EPSG:32612"),
    ],
)
def test_any_file_and_system_gives_the_same_road(save: Save, name: str, crs: str) -> None:
    read = read_features(save(ROAD, name, crs=crs), GRID, LINES)
    assert read.shapes.size == 1
    # WGS 84 and NAD83 are taken as one or differ by up to 2 m
    assert shapely.hausdorff_distance(read.shapes[0], ROAD) < 2.5
    assert read.texts["name"].tolist() == ["number 0"]
    assert any("moved to" in n for n in read.notes) == (crs != "EPSG:26913")


def test_a_track_walked_with_a_receiver(tmp_path: Path) -> None:
    lon, lat = -104.995, 39.572
    points = "".join(f'<trkpt lat="{lat + i * 1e-4}" lon="{lon}"/>' for i in range(5))
    (tmp_path / "walk.gpx").write_text(
        '<?xml version="1.0"?><gpx version="1.1" xmlns="http://www.topografix.com/GPX/1/1">'
        f'<wpt lat="{lat}" lon="{lon}"><name>gate</name></wpt>'
        f"<trk><name>upper road</name><trkseg>{points}</trkseg></trk></gpx>"
    )
    read = read_features(tmp_path / "walk.gpx", GRID, LINES)
    assert read.texts["name"].tolist() == ["upper road"]
    assert shapely.length(read.shapes[0]) == pytest.approx(44.4, abs=0.3)
    assert read.notes[0] == "walk.gpx has several layers; 'tracks' was taken."


def test_parts_come_one_by_one_with_the_text_of_their_whole(save: Save) -> None:
    branch = shapely.affinity.translate(ROAD, 0, 60)
    mixed = [MultiLineString([ROAD, branch]), GeometryCollection([branch, Point(WEST, SOUTH)])]
    path = save(mixed, "roads.geojson", crs="EPSG:4326", columns={"name": ["a", "b"]})
    read = read_features(path, GRID, LINES)
    assert read.texts["name"].tolist() == ["a", "a", "b"]
    assert "1 shapes of roads.geojson are not lines and are left out." in read.notes


def test_heights_are_dropped(save: Save) -> None:
    line = LineString([(x, y, 1600.0) for x, y in ROAD.coords])
    assert not shapely.has_z(read_features(save(line), GRID, LINES).shapes).any()


def test_texts_of_all_kinds(save: Save) -> None:
    names = ["Camino Peña y Ñandú 道路", "x" * 10_000, "two\nlines\x00and\ttabs", None, "", "  "]
    path = save([ROAD] * len(names), "roads.geojson", crs="EPSG:4326", columns={"name": names})
    read = read_features(path, GRID, LINES).texts["name"].tolist()
    assert read[0] == names[0]
    assert len(read[1]) == 60
    assert read[1].endswith("x...")
    assert read[2].startswith("two lines")
    assert read[3:] == ["", "", ""]


def test_a_number_for_a_name_and_no_name_at_all(save: Save) -> None:
    assert read_features(save(ROAD, columns={"label": [7]}), GRID, LINES).texts[
        "name"
    ].tolist() == ["7"]
    path = save(ROAD, "r.gpkg", columns={"width": [4.0]})
    assert read_features(path, GRID, LINES).texts["name"].tolist() == [""]


def test_texts_in_another_encoding(save: Save) -> None:
    path = save(ROAD)
    with sqlite3.connect(path) as base:
        for (trigger,) in base.execute("select name from sqlite_master where type='trigger'"):
            base.execute(f'drop trigger "{trigger}"')
        base.execute("update roads set name = cast(x'5065f161' as text)")
    base.close()
    read = read_features(path, GRID, LINES)
    assert read.texts["name"].tolist() == ["Peña"]
    assert "The texts of roads.gpkg are not in UTF-8" in read.notes[0]


def test_a_polygon_that_crosses_itself_is_mended(save: Save) -> None:
    tie = Polygon([(0, 0), (100, 100), (100, 0), (0, 100)])
    tie = shapely.affinity.translate(tie, WEST, SOUTH)
    read = read_features(save(tie), GRID, ANY)
    assert shapely.is_valid(read.shapes).all()
    assert shapely.area(read.shapes).sum() == pytest.approx(5000)
    assert "1 shapes of roads.gpkg crossed themselves and were mended." in read.notes


def test_what_lies_far_off_is_left_out_and_what_is_near_is_kept(save: Save) -> None:
    near, far = (shapely.affinity.translate(ROAD, dx, 0) for dx in (1200, 9000))
    read = read_features(save([ROAD, near, far]), GRID, LINES)
    assert read.shapes.size == 2
    assert "1 of 3 shapes of roads.gpkg lie more than 1 km off the DEM." in read.notes
    read = read_features(save(near, "n.gpkg"), GRID, LINES)
    assert "Nothing in n.gpkg lies on the DEM; the nearest is 300 m off." in read.notes


def test_lines_without_a_length(save: Save) -> None:
    dot = LineString([(WEST, SOUTH)] * 2)
    read = read_features(save([dot, ROAD]), GRID, LINES)
    assert read.texts["name"].tolist() == ["number 1"]
    assert "1 lines of roads.gpkg have no length and are left out." in read.notes
    with pytest.raises(FeatureFileError, match=r"the lines of d.gpkg have no length"):
        read_features(save(dot, "d.gpkg"), GRID, LINES)


# --- layers --------------------------------------------------------------------------------------


def test_the_layer_is_told_by_its_shapes_then_by_its_name(save: Save) -> None:
    path = save(box(WEST, SOUTH, WEST + 9, SOUTH + 9), layer="ranch")
    save(ROAD, layer="two_tracks")
    assert "'two_tracks' was taken" in read_features(path, GRID, LINES).notes[0]
    save(ROAD, layer="fences")
    assert "'two_tracks' was taken" in read_features(path, GRID, LINES).notes[0]
    save(ROAD, layer="Ranch Roads")
    with pytest.raises(FeatureFileError) as caught:
        read_features(path, GRID, LINES)
    assert str(caught.value) == (
        "roads.gpkg has several layers with lines (two_tracks, fences, Ranch Roads); expected one. "
        "Name the roads."
    )
    assert read_features(path, GRID, LINES, layer="fences").shapes.size == 1
    with pytest.raises(FeatureFileError, match=r"no layer 'lanes' with shapes; expected one of ra"):
        read_features(path, GRID, LINES, layer="lanes")


def test_no_layer_with_lines(save: Save) -> None:
    path = save(box(WEST, SOUTH, WEST + 9, SOUTH + 9), layer="ranch")
    save(Point(WEST, SOUTH), layer="wells")
    with pytest.raises(FeatureFileError, match=r"none of the layers .* holds lines \(ranch, wells"):
        read_features(path, GRID, LINES)


# --- bad input -----------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("shape", "says"),
    [
        (box(WEST, SOUTH, WEST + 9, SOUTH + 9), "holds polygons, not lines.*kept clear of"),
        (Point(WEST, SOUTH), "holds points, not lines"),
    ],
)
def test_roads_must_be_lines(save: Save, shape: BaseGeometry, says: str) -> None:
    with pytest.raises(FeatureFileError, match=says):
        read_features(save(shape), GRID, LINES)


def test_missing_not_a_vector_file_and_cut(
    save: Save, tmp_path: Path, capfd: pytest.CaptureFixture[str]
) -> None:
    with pytest.raises(FeatureFileError, match=r"no file .*none.shp; expected a vector file with"):
        read_features(tmp_path / "none.shp", GRID, LINES)
    (tmp_path / "notes.geojson").write_text("these are notes")
    with pytest.raises(FeatureFileError, match=r"notes.geojson cannot be read as a vector file"):
        read_features(tmp_path / "notes.geojson", GRID, LINES)
    path = save([ROAD] * 200, "cut.geojson", crs="EPSG:4326")
    path.write_bytes(path.read_bytes()[:9000])
    with pytest.raises(FeatureFileError, match=r"cut.geojson cannot be read .* or is damaged"):
        read_features(path, GRID, LINES)
    (tmp_path / "table.csv").write_text("a,b\n1,2\n")
    with pytest.raises(FeatureFileError, match=r"table.csv holds no shapes"):
        read_features(tmp_path / "table.csv", GRID, LINES)
    assert capfd.readouterr() == ("", "")


@pytest.mark.parametrize(
    "features", [[], [{"type": "Feature", "properties": {"name": "a"}, "geometry": None}]]
)
def test_empty(tmp_path: Path, features: list[Any]) -> None:
    path = tmp_path / "empty.geojson"
    path.write_text(json.dumps({"type": "FeatureCollection", "features": features}))
    for wanted in (LINES, ANY):
        with pytest.raises(FeatureFileError, match=r"empty\.geojson is empty: it holds no shape"):
            read_features(path, GRID, wanted)


def test_no_and_an_unusable_coordinate_system(save: Save, tmp_path: Path) -> None:
    path = save(ROAD, "roads.shp")
    path.with_suffix(".prj").unlink()
    with pytest.raises(FeatureFileError, match=r"has no coordinate system.*Give its \.prj file"):
        read_features(path, GRID, LINES)
    local = 'LOCAL_CS["paper",UNIT["metre",1]]'
    path.with_suffix(".prj").write_text(local)
    with pytest.raises(FeatureFileError, match=r"roads.shp has .*coordinate system"):
        read_features(path, GRID, LINES)


def test_metres_in_a_format_of_degrees(tmp_path: Path) -> None:
    path = tmp_path / "roads.geojson"
    path.write_text(json.dumps(shapely.geometry.mapping(ROAD)))
    with pytest.raises(
        FeatureFileError, match=r"longitude and latitude but has a corner at \(5001"
    ):
        read_features(path, GRID, LINES)


def test_a_corner_that_is_not_a_number(save: Save) -> None:
    path = save(ROAD)
    with sqlite3.connect(path) as base:
        for (trigger,) in base.execute("select name from sqlite_master where type='trigger'"):
            base.execute(f'drop trigger "{trigger}"')
        (blob,) = base.execute("select geom from roads").fetchone()
        # the last corner's y; a header without a box, so that nothing is indexed
        base.execute("update roads set geom = ?", (blob[:-8] + np.float64(np.nan).tobytes(),))
    base.close()
    with pytest.raises(FeatureFileError, match=r"roads.gpkg has a corner that is not a number"):
        read_features(path, GRID, LINES)


@pytest.mark.parametrize("place", [(75.0, -39.6), (-103.0, 39.6), (-105.0, 89.9)])
def test_another_place_is_said_with_both_middles(
    tmp_path: Path, place: tuple[float, float]
) -> None:
    path = tmp_path / "roads.geojson"
    line = LineString([place, (place[0] + 0.01, place[1])])
    path.write_text(json.dumps(shapely.geometry.mapping(line)))
    with pytest.raises(
        FeatureFileError, match=r"roads.geojson lies outside the DEM: its "
    ) as error:
        read_features(path, GRID, LINES)
    assert "\n" not in str(error.value)


def test_a_dem_without_a_place(save: Save) -> None:
    grid = Grid(10, 10, Affine(1, 0, 0, 0, -1, 10))
    with pytest.raises(
        FeatureFileError,
        match=r"whose place is not known.*coordinate system of the DEM",
    ):
        read_features(save(ROAD), grid, LINES)
