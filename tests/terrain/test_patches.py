"""Maps of codes: polygons and rasters brought onto the cells of a grid."""

from __future__ import annotations

import warnings
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from affine import Affine
from pyproj import CRS, Transformer
from rasterio.warp import Resampling, reproject

from terrain.values.grid import Grid
from terrain.vectors.burning import CodeMap, burn_patches, read_codes
from terrain.vectors.patches import MapError, read_patches

UTM = CRS.from_epsg(26913)
GRID = Grid(120, 90, Affine(2.0, 0, 540_000, 0, -2.0, 4_140_000), UTM)
FIELDS = ("hydgrp", "hsg")


def write_map(
    path: Path,
    shapes: list[Any],
    values: list[Any],
    *,
    field: str = "hsg",
    crs: str | None = "EPSG:26913",
    layer: str = "soils",
    append: bool = False,
) -> Path:
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # a file without a coordinate system is meant
        _write(path, shapes, values, field, crs, layer, append)
    return path


def _write(
    path: Path,
    shapes: list[Any],
    values: list[Any],
    field: str,
    crs: str | None,
    layer: str,
    append: bool,
) -> None:
    pyogrio.raw.write(
        str(path),
        shapely.to_wkb(np.array(shapes, dtype=object)),
        [np.array(values, dtype=object)],
        [field],
        geometry_type=shapes[0].geom_type,
        crs=crs,
        layer=layer if path.suffix == ".gpkg" else None,
        append=append,
    )


def strip(first_row: int, last_row: int) -> Any:
    """Whole rows of the grid as a polygon."""
    west, _, east, north = GRID.bounds
    return shapely.box(west, north - 2.0 * last_row, east, north - 2.0 * first_row)


def test_each_cell_has_the_code_of_its_polygon(tmp_path: Path) -> None:
    path = write_map(tmp_path / "s.gpkg", [strip(0, 50), strip(50, 100)], ["B", "A/D"])
    found = burn_patches(read_patches(path, UTM, fields=FIELDS), GRID)
    assert found.codes == ("B", "A/D")
    assert (found.index[:50] == 1).all()
    assert (found.index[50:100] == 2).all()
    assert (found.index[100:] == 0).all()
    assert not found.index.flags.writeable
    assert any("field 'hsg'" in note for note in found.notes)


def test_the_last_polygon_counts_where_two_overlap(tmp_path: Path) -> None:
    path = write_map(tmp_path / "s.gpkg", [strip(0, 120), strip(40, 60)], ["B", "C"])
    index = burn_patches(read_patches(path, UTM, fields=FIELDS), GRID).index
    assert (index[40:60] == 2).all()
    assert (index[:40] == 1).all()


def test_polygons_without_a_code_leave_a_hole(tmp_path: Path) -> None:
    path = write_map(tmp_path / "s.gpkg", [strip(0, 60), strip(60, 120)], ["B", None])
    index = burn_patches(read_patches(path, UTM, fields=FIELDS), GRID).index
    assert (index[:60] == 1).all()
    assert (index[60:] == 0).all()


def test_another_coordinate_system_is_moved(tmp_path: Path) -> None:
    to_degrees = Transformer.from_crs(UTM, "EPSG:4326", always_xy=True)
    moved = shapely.transform(strip(0, 60), to_degrees.transform, interleaved=False)
    path = write_map(tmp_path / "s.gpkg", [moved], ["B"], crs="EPSG:4326")
    patches = read_patches(path, UTM, fields=FIELDS)
    assert any("moved to" in note for note in patches.notes)
    index = burn_patches(patches, GRID).index
    assert (index[:59] == 1).all()
    assert (index[61:] == 0).all()


def test_the_layer_with_the_field_is_taken(tmp_path: Path) -> None:
    path = write_map(tmp_path / "s.gpkg", [strip(0, 60)], ["x"], field="name", layer="ranch")
    write_map(path, [strip(0, 60)], ["C"], layer="soils", append=True)
    assert read_patches(path, UTM, fields=FIELDS).values.tolist() == ["C"]
    assert read_patches(path, UTM, fields=FIELDS, field="NAME").values.tolist() == ["x"]
    write_map(path, [strip(0, 60)], ["D"], layer="older soils", append=True)
    with pytest.raises(MapError, match=r"several layers that would do.*Name the layer"):
        read_patches(path, UTM, fields=FIELDS)
    assert read_patches(path, UTM, fields=FIELDS, layer="older soils").values.tolist() == ["D"]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda p: p / "none.gpkg", "no file"),
        (lambda p: write_map(p / "s.gpkg", [strip(0, 9)], ["x"], field="name"),
         "no field with the code: it has name.*Name the field"),
        (lambda p: write_map(p / "s.gpkg", [strip(0, 9)], ["B"], crs=None),
         "no coordinate system"),
        (lambda p: write_map(p / "s.gpkg", [shapely.box(0, 0, 9, 9)], ["B"]),
         "lies outside the DEM"),
        (lambda p: write_map(p / "s.gpkg", [strip(0, 9)], [None]), "no value in any polygon"),
        (lambda p: write_map(p / "s.gpkg", [shapely.LineString([(540010, 4139990),
                             (540050, 4139950)])], ["B"]), "it has no polygons"),
    ],
    ids=["missing", "field", "crs", "outside", "no values", "lines"],
)  # fmt: skip
def test_a_map_that_cannot_be_used_is_refused(
    tmp_path: Path, make: Callable[[Path], Path], message: str
) -> None:
    path = make(tmp_path)
    with pytest.raises(MapError, match=message):
        burn_patches(read_patches(path, UTM, fields=FIELDS), GRID)


def test_a_file_that_is_no_map_is_refused(tmp_path: Path) -> None:
    path = tmp_path / "soils.gpkg"
    path.write_text("groups: A, B")
    with pytest.raises(MapError, match="cannot be read as a vector file"):
        read_patches(path, UTM, fields=FIELDS)


def test_more_codes_than_a_byte_holds_are_refused(tmp_path: Path) -> None:
    shapes = [strip(0, 9)] * 256
    path = write_map(tmp_path / "s.gpkg", shapes, [f"unit {i}" for i in range(256)])
    with pytest.raises(MapError, match="more than 255 different codes"):
        burn_patches(read_patches(path, UTM, fields=FIELDS), GRID)


def write_codes(
    path: Path, codes: Any, transform: Affine, *, epsg: int | None = 26913, **more: Any
) -> Path:
    codes = np.asarray(codes)
    profile = {
        "driver": "GTiff",
        "height": codes.shape[0],
        "width": codes.shape[1],
        "count": 1,
        "dtype": codes.dtype,
        "transform": transform,
        "crs": None if epsg is None else rasterio.CRS.from_epsg(epsg),
    }
    with rasterio.open(path, "w", **(profile | more)) as file:
        file.write(codes, 1)
    return path


def plain(found: CodeMap) -> Any:
    return np.array([0, *found.codes])[found.index]


def test_a_raster_on_the_same_grid_is_taken_cell_by_cell(tmp_path: Path) -> None:
    rng = np.random.default_rng(1)
    codes = rng.choice([11, 42, 52, 71], GRID.shape).astype(np.uint8)
    path = write_codes(tmp_path / "c.tif", codes, GRID.transform)
    found = read_codes(path, GRID)
    np.testing.assert_array_equal(plain(found), codes)
    assert found.notes == ()


@pytest.mark.parametrize("dtype", ["uint8", "int16", "uint16", "int32"])
@pytest.mark.parametrize("nodata", [None, 0, 250])
def test_a_coarser_raster_gives_the_nearest_code(
    tmp_path: Path, nodata: int | None, dtype: str
) -> None:
    """30 m cells over part of the grid: what they do not cover is a hole, whatever the nodata."""
    coarse = Affine(30.0, 0, 540_000 - 7.0, 0, -30.0, 4_140_000 + 11.0)
    rng = np.random.default_rng(2)
    codes = rng.choice([42, 52, 71], (5, 8)).astype(dtype)
    codes[2, 3] = 250
    path = write_codes(tmp_path / "c.tif", codes, coarse, nodata=nodata)
    found = plain(read_codes(path, GRID))
    x, y = GRID.xy(np.arange(GRID.rows)[:, None], np.arange(GRID.cols)[None, :])
    col = np.floor((x - coarse.c) / 30).astype(int)
    row = np.floor((coarse.f - y) / 30).astype(int)
    inside = (row < 5) & (col < 8)
    expected = np.where(inside, codes[np.minimum(row, 4), np.minimum(col, 7)], 0)
    if nodata == 250:
        expected[expected == 250] = 0
    np.testing.assert_array_equal(found, expected)


def test_a_raster_in_another_system_agrees_with_a_plain_warp(tmp_path: Path) -> None:
    rng = np.random.default_rng(3)
    albers = Transformer.from_crs(UTM, "EPSG:5070", always_xy=True)
    x, y = albers.transform(540_090, 4_139_880)
    coarse = Affine(30.0, 0, x - 300, 0, -30.0, y + 300)
    codes = rng.choice([42, 52, 71], (20, 20)).astype(np.uint8)
    path = write_codes(tmp_path / "c.tif", codes, coarse, epsg=5070, nodata=0)
    found = read_codes(path, GRID)
    expected = np.zeros(GRID.shape, dtype=np.uint8)
    reproject(
        codes,
        expected,
        src_transform=coarse,
        src_crs="EPSG:5070",
        dst_transform=GRID.transform,
        dst_crs="EPSG:26913",
        resampling=Resampling.nearest,
    )
    assert (plain(found) == expected).mean() > 0.999
    assert any("nearest code" in note for note in found.notes)


@pytest.mark.parametrize(
    ("change", "message"),
    [
        ({"transform": Affine(30, 0, 700_000, 0, -30, 4_140_000)}, "no codes over the DEM"),
        ({"codes": np.ones((9, 9), np.float32)}, "holds float32 numbers"),
        ({"epsg": None}, "no coordinate system"),
        ({"codes": np.arange(81, dtype=np.int32).reshape(9, 9) * 99_999}, "codes from 0 to"),
        ({"codes": np.arange(900, dtype=np.int16).reshape(30, 30)}, "more than 255"),
    ],
    ids=["off the DEM", "not whole numbers", "no system", "no codes", "too many"],
)
def test_a_raster_that_cannot_be_used_is_refused(
    tmp_path: Path, change: dict[str, Any], message: str
) -> None:
    given = {
        "codes": np.full((9, 9), 71, np.uint8),
        "transform": Affine(8, 0, 540_000, 0, -8, 4_140_000),
    } | change
    path = write_codes(tmp_path / "c.tif", given.pop("codes"), given.pop("transform"), **given)
    with pytest.raises(MapError, match=message):
        read_codes(path, GRID)


def test_a_file_that_is_no_raster_and_a_grid_without_a_place_are_refused(tmp_path: Path) -> None:
    path = tmp_path / "cover.tif"
    path.write_text("71")
    with pytest.raises(MapError, match="cannot be read as a raster of codes"):
        read_codes(path, GRID)
    nowhere = Grid(9, 9, Affine(1, 0, 0, 0, -1, 9))
    with pytest.raises(MapError, match="a DEM whose place is not known"):
        read_codes(path, nowhere)
