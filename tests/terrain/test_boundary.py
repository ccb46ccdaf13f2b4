"""Ranch boundaries: any vector file and system, or one clear line of what is wrong with it."""

from __future__ import annotations

import json
import zipfile
from collections.abc import Callable
from pathlib import Path

import geopandas as gpd
import numpy as np
import pytest
import shapely
from affine import Affine
from pyproj import CRS
from shapely.geometry import LineString, MultiPolygon, Point, Polygon, box
from shapely.geometry.base import BaseGeometry

from terrain.reading.survey import survey_dem
from terrain.values.errors import BoundaryError
from terrain.values.grid import Grid
from terrain.vectors.boundary import fit_to_grid, mask_of, read_boundary

UTM = CRS.from_epsg(26913)
WEST, SOUTH = 500_000.0, 4_380_000.0
RANCH = box(WEST + 100, SOUTH + 100, WEST + 700, SOUTH + 500)
GRID = Grid(1000, 1000, Affine(1, 0, WEST, 0, -1, SOUTH + 1000), UTM)

Save = Callable[..., Path]


@pytest.fixture
def save(tmp_path: Path) -> Save:
    """Return a function that writes shapes into a vector file."""

    def write(
        shapes: BaseGeometry | list[BaseGeometry],
        name: str = "ranch.gpkg",
        *,
        crs: str = "EPSG:26913",
        layer: str | None = None,
    ) -> Path:
        many = shapes if isinstance(shapes, list) else [shapes]
        frame = gpd.GeoDataFrame({"name": ["a"] * len(many)}, geometry=many, crs="EPSG:26913")
        path = tmp_path / name
        options = {} if layer is None else {"layer": layer}
        frame.to_crs(crs).to_file(path, engine="pyogrio", **options)
        return path

    return write


@pytest.mark.parametrize(
    ("name", "crs"),
    [
        ("ranch.gpkg", "EPSG:26913"),
        ("ranch.shp", "EPSG:2232"),
        ("ranch.geojson", "EPSG:4326"),
        ("ranch.kml", "EPSG:4326"),
        ("ranch.fgb", "EPSG:32612"),
    ],
)
def test_any_file_and_system_gives_the_same_ranch(save: Save, name: str, crs: str) -> None:
    boundary = read_boundary(save(RANCH, name, crs=crs), UTM, grid=GRID)
    assert boundary.area_ha == pytest.approx(24.0, rel=1e-4)
    # WGS 84 and NAD83 are taken as one or differ by up to 2 m; the shape must agree.
    assert boundary.polygon.hausdorff_distance(RANCH) < 2.5
    assert boundary.crs == UTM
    assert any("moved to" in n for n in boundary.notes) == (crs != "EPSG:26913")


def test_a_zipped_shapefile(save: Save, tmp_path: Path) -> None:
    save(RANCH, "ranch.shp")
    packed = tmp_path / "ranch.zip"
    with zipfile.ZipFile(packed, "w") as archive:
        for part in tmp_path.glob("ranch.???"):
            if part.suffix != ".zip":
                archive.write(part, part.name)
    assert read_boundary(packed, UTM).polygon.equals(RANCH)


def test_heights_are_dropped_and_holes_are_kept(save: Save) -> None:
    ring = [(x, y, 1600.0) for x, y in RANCH.exterior.coords]
    hole = list(box(WEST + 200, SOUTH + 200, WEST + 300, SOUTH + 300).exterior.coords)
    shape = Polygon(ring, [[(x, y, 1600.0) for x, y in hole]])
    boundary = read_boundary(save(shape), UTM)
    assert boundary.area_ha == pytest.approx(23.0)
    assert not boundary.polygon.has_z


def test_several_polygons_are_taken_together(save: Save) -> None:
    pieces: list[BaseGeometry] = [
        RANCH,
        shapely.affinity.translate(RANCH, 300, 0),
        MultiPolygon([box(WEST, SOUTH, WEST + 10, SOUTH + 10)]),
    ]
    boundary = read_boundary(save(pieces, "many.geojson", crs="EPSG:4326"), UTM)
    assert boundary.area_ha == pytest.approx(24 + 12 + 0.01, rel=1e-4)
    assert any("3 polygons" in n and "taken together" in n for n in boundary.notes)


def test_points_beside_a_polygon_do_no_harm(save: Save) -> None:
    path = save([RANCH, Point(WEST, SOUTH)], "mixed.geojson", crs="EPSG:4326")
    assert read_boundary(path, UTM).area_ha == pytest.approx(24.0, rel=1e-4)


# --- against the DEM -----------------------------------------------------------------------------


def test_outside_names_both_extents(save: Save) -> None:
    far = shapely.affinity.translate(RANCH, 50_000, 0)
    with pytest.raises(BoundaryError) as caught:
        read_boundary(save(far), UTM, grid=GRID)
    text = str(caught.value)
    assert "ranch.gpkg lies outside the DEM: it spans longitude -104.4" in text
    assert "the DEM longitude -105.0000 to -104.98" in text


def test_partly_outside_is_said(save: Save) -> None:
    part = box(WEST + 900, SOUTH, WEST + 1100, SOUTH + 100)
    boundary = read_boundary(save(part), UTM, grid=GRID)
    assert boundary.notes == ("50 % of the ranch lies outside the DEM and is not looked at.",)
    assert fit_to_grid(read_boundary(save(RANCH, "b.gpkg"), UTM), GRID).notes == ()


def test_cells_inside_are_those_with_their_centre_inside() -> None:
    shape = Polygon([(WEST + 10.4, SOUTH + 20), (WEST + 90, SOUTH + 25), (WEST + 40, SOUTH + 77)])
    grid = Grid(100, 100, Affine(1, 0, WEST, 0, -1, SOUTH + 100), UTM)
    x, y = grid.xy(*np.indices(grid.shape))
    mask = mask_of(shape, grid)
    assert mask.dtype == np.bool_
    np.testing.assert_array_equal(mask, shapely.contains_xy(shape, x, y))
    assert not mask_of(Polygon(), grid).any()


# --- bad input -----------------------------------------------------------------------------------


def test_missing_and_not_a_vector_file(tmp_path: Path, capfd: pytest.CaptureFixture[str]) -> None:
    with pytest.raises(BoundaryError, match=r"no file .*none.shp"):
        read_boundary(tmp_path / "none.shp", UTM)
    notes = tmp_path / "notes.geojson"
    notes.write_text("these are notes")
    with pytest.raises(BoundaryError, match=r"notes.geojson cannot be read as a vector file"):
        read_boundary(notes, UTM)
    assert capfd.readouterr() == ("", "")


def test_a_cut_file(save: Save, capfd: pytest.CaptureFixture[str]) -> None:
    path = save([RANCH] * 200, "ranch.geojson", crs="EPSG:4326")
    data = path.read_bytes()
    path.write_bytes(data[: len(data) // 2])
    with pytest.raises(BoundaryError, match=r"ranch.geojson (cannot be read|is damaged)"):
        read_boundary(path, UTM)
    assert capfd.readouterr() == ("", "")


def test_empty(tmp_path: Path) -> None:
    path = tmp_path / "empty.geojson"
    path.write_text('{"type": "FeatureCollection", "features": []}')
    with pytest.raises(BoundaryError, match=r"empty.geojson is empty: it holds no shape"):
        read_boundary(path, UTM)
    feature = {"type": "Feature", "properties": {}, "geometry": None}
    path.write_text(json.dumps({"type": "FeatureCollection", "features": [feature]}))
    with pytest.raises(BoundaryError, match="is empty"):
        read_boundary(path, UTM)


def test_points_and_lines(save: Save) -> None:
    with pytest.raises(BoundaryError, match="holds only a point; expected a polygon"):
        read_boundary(save(Point(WEST, SOUTH), "p.gpkg"), UTM)
    with pytest.raises(BoundaryError, match="holds only points"):
        read_boundary(save([Point(WEST, SOUTH), Point(WEST, SOUTH + 1)], "pp.gpkg"), UTM)
    with pytest.raises(BoundaryError, match=r"holds a line, not a polygon.*Close the line"):
        read_boundary(save(LineString(RANCH.exterior.coords[:-1]), "l.gpkg"), UTM)
    with pytest.raises(BoundaryError, match=r"holds a closed line.*Turn the line into a polygon"):
        read_boundary(save(LineString(RANCH.exterior.coords), "r.gpkg"), UTM)


def test_a_bow_tie_is_refused_with_its_place(save: Save) -> None:
    tie = Polygon(
        [(WEST, SOUTH), (WEST + 100, SOUTH + 100), (WEST + 100, SOUTH), (WEST, SOUTH + 100)]
    )
    with pytest.raises(BoundaryError) as caught:
        read_boundary(save(tie), UTM)
    text = str(caught.value)
    assert f"crosses itself near x {WEST + 50:.1f}, y {SOUTH + 50:.1f}" in text
    assert "longitude -104.99942, latitude 39.5" in text


def test_a_small_crossing_is_mended_and_said(save: Save) -> None:
    # A spike that doubles back over itself by 10 cm at one corner.
    x, y = WEST + 700, SOUTH + 500
    ring = list(RANCH.exterior.coords)
    at = ring.index((x, y))
    kinked = Polygon([*ring[:at], (x, y), (x + 0.1, y), (x, y + 0.1), (x + 0.1, y - 0.05), (x, y)])
    kinked = Polygon([*kinked.exterior.coords[:-1], *ring[at + 1 : -1]])
    assert not kinked.is_valid
    boundary = read_boundary(save(kinked), UTM)
    assert boundary.polygon.is_valid
    assert boundary.area_ha == pytest.approx(24.0, rel=1e-5)
    assert any("crossed itself near" in n and "mended" in n for n in boundary.notes)


def test_no_area(save: Save) -> None:
    flat = Polygon([(WEST, SOUTH), (WEST + 100, SOUTH), (WEST + 50, SOUTH)])
    with pytest.raises(BoundaryError, match="encloses no area"):
        read_boundary(save(flat), UTM)


def test_no_coordinate_system(save: Save) -> None:
    path = save(RANCH, "ranch.shp")
    path.with_suffix(".prj").unlink()
    with pytest.raises(BoundaryError, match=r"ranch.shp has no coordinate system.*\.prj file"):
        read_boundary(path, UTM)


def test_metres_in_a_format_of_degrees(tmp_path: Path) -> None:
    path = tmp_path / "ranch.geojson"
    path.write_text(json.dumps(shapely.geometry.mapping(RANCH)))
    with pytest.raises(BoundaryError, match=r"longitude and latitude but has a corner at \(500700"):
        read_boundary(path, UTM)


def test_a_far_continent_is_outside(tmp_path: Path) -> None:
    path = tmp_path / "ranch.geojson"
    path.write_text(json.dumps(shapely.geometry.mapping(box(75.0, -39.6, 75.01, -39.59))))
    with pytest.raises(BoundaryError, match=r"outside"):
        read_boundary(path, UTM, grid=GRID)


def test_several_layers(save: Save) -> None:
    path = save(RANCH, layer="ranch")
    save(Point(WEST, SOUTH), layer="wells")
    boundary = read_boundary(path, UTM)
    assert any("several layers; 'ranch' holds the polygons" in n for n in boundary.notes)
    save(shapely.affinity.translate(RANCH, 300, 0), layer="lease")
    with pytest.raises(BoundaryError, match=r"several layers with polygons \(ranch, lease\)"):
        read_boundary(path, UTM)
    assert read_boundary(path, UTM, layer="lease").bounds[0] == WEST + 400
    with pytest.raises(BoundaryError, match="no layer 'barn'; expected one of ranch, wells, lease"):
        read_boundary(path, UTM, layer="barn")


@pytest.mark.real
def test_the_sagehen_basin_in_both_systems(real_dem: Callable[[str], Path]) -> None:
    path = real_dem("sagehen/watershed.shp")
    for dem in ("sagehen/ned10m_nad83.img", "sagehen/pygsflow_dem.img"):
        grid = survey_dem(real_dem(dem)).grid
        boundary = read_boundary(path, grid.crs, grid=grid)
        assert boundary.area_ha == pytest.approx(2772, rel=1e-3)
        cells = np.count_nonzero(mask_of(boundary.polygon, grid))
        assert cells * grid.cell_area_m2 / 1e4 == pytest.approx(boundary.area_ha, rel=1e-3)
    with pytest.raises(BoundaryError, match="holds only a point"):
        read_boundary(real_dem("sagehen/model_points.shp"), grid.crs)
