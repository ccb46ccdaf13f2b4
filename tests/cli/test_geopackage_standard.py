"""A written plan held against the GeoPackage standard (OGC 12-128r17).

The requirements and their numbers are from memory; the wording is ours. What can be checked on a
file without another program is checked; requirements about programs that read files are not.
"""

from __future__ import annotations

import io
import re
import sqlite3
import struct
from collections.abc import Iterator
from itertools import pairwise
from pathlib import Path
from typing import Any

import matplotlib.image
import numpy as np
import pytest
import shapely

from cli.plan.fields import LAYERS
from cli.plan.geopackage import write_geopackage
from cli.plan.relief_layer import relief_picture
from tests.example_plan import example_layers, example_raster, example_tables

#: Types that a column may have (requirement 5), and geometry types in capitals.
_TYPES = re.compile(
    r"BOOLEAN|TINYINT|SMALLINT|MEDIUMINT|INT|INTEGER|FLOAT|DOUBLE|REAL|TEXT(\(\d+\))?|"
    r"BLOB(\(\d+\))?|DATE|DATETIME|GEOMETRY|POINT|LINESTRING|POLYGON|MULTIPOINT|"
    r"MULTILINESTRING|MULTIPOLYGON|GEOMETRYCOLLECTION"
)
_WKB_TYPES = {"POINT": 1, "LINESTRING": 2, "MULTIPOLYGON": 6}
_EXTENSION_NAME = re.compile(r"[A-Za-z0-9]+_[A-Za-z0-9_]+")


@pytest.fixture(scope="module", params=["si", "us"])
def plan(request: pytest.FixtureRequest, tmp_path_factory: pytest.TempPathFactory) -> Path:
    raster = example_raster()
    layers = example_layers(raster)
    return write_geopackage(
        tmp_path_factory.mktemp("standard") / "plan.gpkg",
        list(layers.values()),
        tables=example_tables(),
        relief=relief_picture(raster, layers),
        units=request.param,
    )


@pytest.fixture
def db(plan: Path) -> Iterator[sqlite3.Connection]:
    connection = sqlite3.connect(f"{plan.as_uri()}?mode=ro", uri=True)
    connection.row_factory = sqlite3.Row
    yield connection
    connection.close()


def rows(db: sqlite3.Connection, query: str, *values: object) -> list[sqlite3.Row]:
    return db.execute(query, values).fetchall()


def one(db: sqlite3.Connection, query: str, *values: object) -> Any:
    return db.execute(query, values).fetchone()[0]


def columns_of(db: sqlite3.Connection, table: str) -> dict[str, sqlite3.Row]:
    return {row["name"]: row for row in rows(db, f'PRAGMA table_info("{table}")')}


def contents(db: sqlite3.Connection, kind: str) -> list[str]:
    found = rows(db, "SELECT table_name FROM gpkg_contents WHERE data_type = ?", kind)
    return [row["table_name"] for row in found]


def names(db: sqlite3.Connection, kind: str) -> set[str]:
    return {row["name"] for row in rows(db, "SELECT name FROM sqlite_master WHERE type=?", kind)}


# ---- The file ------------------------------------------------------------------------------------


def test_requirements_1_to_3_header_application_id_version_and_ending(
    plan: Path, db: sqlite3.Connection
) -> None:
    head = plan.read_bytes()[:100]
    assert head[:16] == b"SQLite format 3\0"
    assert head[68:72] == b"GPKG"
    assert one(db, "PRAGMA application_id") == 0x47504B47
    assert one(db, "PRAGMA user_version") == 10300  # version 1.3
    assert plan.suffix == ".gpkg"


def test_requirement_5_columns_have_types_of_the_standard(db: sqlite3.Connection) -> None:
    for table in [row["table_name"] for row in rows(db, "SELECT table_name FROM gpkg_contents")]:
        for column in columns_of(db, table).values():
            assert _TYPES.fullmatch(column["type"]), (table, column["name"], column["type"])


def test_requirements_6_and_7_the_database_is_sound(db: sqlite3.Connection) -> None:
    assert [tuple(row) for row in rows(db, "PRAGMA integrity_check")] == [("ok",)]
    assert rows(db, "PRAGMA foreign_key_check") == []


# ---- Coordinate systems and contents ------------------------------------------------------------


def test_requirements_10_and_11_reference_systems_that_must_be_there(
    db: sqlite3.Connection,
) -> None:
    assert {"srs_name", "srs_id", "organization", "organization_coordsys_id", "definition"} <= set(
        columns_of(db, "gpkg_spatial_ref_sys")
    )
    found = {row["srs_id"]: row for row in rows(db, "SELECT * FROM gpkg_spatial_ref_sys")}
    assert found[4326]["organization"].upper() == "EPSG"
    assert found[4326]["organization_coordsys_id"] == 4326
    for number in (-1, 0):
        assert found[number]["organization"].upper() == "NONE"
        assert found[number]["organization_coordsys_id"] == number
        assert found[number]["definition"] == "undefined"


def test_requirements_12_and_16_every_reference_system_in_use_is_defined(
    db: sqlite3.Connection,
) -> None:
    known = {row["srs_id"] for row in rows(db, "SELECT srs_id FROM gpkg_spatial_ref_sys")}
    for table in ("gpkg_contents", "gpkg_geometry_columns", "gpkg_tile_matrix_set"):
        used = {row["srs_id"] for row in rows(db, f"SELECT srs_id FROM {table}")}
        assert used <= known, table
    assert {row["srs_id"] for row in rows(db, "SELECT srs_id FROM gpkg_geometry_columns")} == {
        32612
    }


def test_requirements_13_and_14_contents_and_tables_agree(db: sqlite3.Connection) -> None:
    listed = {row["table_name"] for row in rows(db, "SELECT table_name FROM gpkg_contents")}
    tables = names(db, "table")
    assert listed <= tables
    of_the_standard = {t for t in tables if t.startswith(("gpkg_", "sqlite_", "rtree_"))}
    assert tables - of_the_standard == listed
    assert listed == {*LAYERS, "relief", "layer_styles"}
    assert one(db, "SELECT count(DISTINCT identifier) FROM gpkg_contents") == len(listed)


def test_requirement_15_dates_are_of_the_standard_form(db: sqlite3.Connection) -> None:
    for row in rows(db, "SELECT last_change FROM gpkg_contents"):
        assert re.fullmatch(r"\d{4}-\d\d-\d\dT\d\d:\d\d:\d\d\.\d{3}Z", row["last_change"])


def test_requirement_17_there_is_user_data(db: sqlite3.Connection) -> None:
    assert contents(db, "features")
    assert contents(db, "tiles") == ["relief"]


# ---- Features ------------------------------------------------------------------------------------


def test_requirements_18_and_21_to_28_geometry_columns(db: sqlite3.Connection) -> None:
    found = {row["table_name"]: row for row in rows(db, "SELECT * FROM gpkg_geometry_columns")}
    assert set(found) == set(contents(db, "features"))
    for table, row in found.items():
        assert row["column_name"] in columns_of(db, table)
        assert row["geometry_type_name"] in _WKB_TYPES
        assert row["z"] == 0
        assert row["m"] == 0
        srs = one(db, "SELECT srs_id FROM gpkg_contents WHERE table_name = ?", table)
        assert row["srs_id"] == srs


def test_requirements_29_to_31_feature_tables(db: sqlite3.Connection) -> None:
    for row in rows(db, "SELECT * FROM gpkg_geometry_columns"):
        columns = columns_of(db, row["table_name"])
        keys = [c for c in columns.values() if c["pk"]]
        assert [(c["type"], c["pk"]) for c in keys] == [("INTEGER", 1)]
        geometries = [c["name"] for c in columns.values() if c["type"] in _WKB_TYPES]
        assert geometries == [row["column_name"]]
        assert columns[row["column_name"]]["type"] == row["geometry_type_name"]


def test_requirements_19_20_32_and_33_geometry_blobs(db: sqlite3.Connection) -> None:
    for column in rows(db, "SELECT * FROM gpkg_geometry_columns"):
        table, name = column["table_name"], column["column_name"]
        count = 0
        for row in rows(db, f'SELECT "{name}" AS blob FROM "{table}"'):
            blob = row["blob"]
            assert blob[:2] == b"GP"
            assert blob[2] == 0  # version 1
            flags = blob[3]
            assert flags & 0b11110000 == 0  # standard, not empty
            order = "<" if flags & 1 else ">"
            envelope = {0: 0, 1: 32}[(flags >> 1) & 0b111]
            assert struct.unpack_from(order + "i", blob, 4) == (column["srs_id"],)
            body = blob[8 + envelope :]
            shape = shapely.from_wkb(body)
            (kind,) = struct.unpack_from("<I" if body[0] else ">I", body, 1)
            assert kind == _WKB_TYPES[column["geometry_type_name"]]
            if envelope:
                west, east, south, north = struct.unpack_from(order + "4d", blob, 8)
                np.testing.assert_allclose((west, south, east, north), shape.bounds)
            count += 1
        assert count > 0, table


def test_contents_hold_the_bounds_of_each_layer(db: sqlite3.Connection) -> None:
    """Table of contents, informative bounds: a GIS zooms to them."""
    for row in rows(db, "SELECT * FROM gpkg_contents WHERE data_type = 'features'"):
        r = rows(db, f'SELECT * FROM "rtree_{row["table_name"]}_geom"')
        # The index keeps single precision, rounded outwards.
        for low, high in (("min_x", "max_x"), ("min_y", "max_y")):
            least = min(e[low.replace("_", "")] for e in r)
            most = max(e[high.replace("_", "")] for e in r)
            assert row[low] == pytest.approx(least, abs=1.0)
            assert row[high] == pytest.approx(most, abs=1.0)


# ---- Tiles ---------------------------------------------------------------------------------------


def test_requirements_34_and_38_to_45_tile_matrices(db: sqlite3.Connection) -> None:
    (whole,) = rows(db, "SELECT * FROM gpkg_tile_matrix_set")
    assert whole["table_name"] == "relief"
    (row,) = rows(db, "SELECT * FROM gpkg_contents WHERE table_name = 'relief'")
    assert whole["srs_id"] == row["srs_id"] == 32612
    # The tiles cover what the contents say.
    assert whole["min_x"] <= row["min_x"] < row["max_x"] <= whole["max_x"]
    assert whole["min_y"] <= row["min_y"] < row["max_y"] <= whole["max_y"]
    matrices = rows(db, "SELECT * FROM gpkg_tile_matrix ORDER BY zoom_level")
    assert {m["table_name"] for m in matrices} == {"relief"}
    levels = {m["zoom_level"] for m in matrices}
    used = {r["zoom_level"] for r in rows(db, "SELECT DISTINCT zoom_level FROM relief")}
    assert used
    assert used <= levels
    for m in matrices:
        width = m["matrix_width"] * m["tile_width"] * m["pixel_x_size"]
        height = m["matrix_height"] * m["tile_height"] * m["pixel_y_size"]
        assert width == pytest.approx(whole["max_x"] - whole["min_x"])
        assert height == pytest.approx(whole["max_y"] - whole["min_y"])


def test_requirements_35_and_46_to_53_zoom_levels(db: sqlite3.Connection) -> None:
    matrices = rows(db, "SELECT * FROM gpkg_tile_matrix ORDER BY zoom_level")
    for m in matrices:
        assert m["zoom_level"] >= 0
        for name in ("matrix_width", "matrix_height", "tile_width", "tile_height"):
            assert m[name] > 0
        assert m["pixel_x_size"] > 0
        assert m["pixel_y_size"] > 0
    for coarse, fine in pairwise(matrices):
        assert coarse["pixel_x_size"] == pytest.approx(2 * fine["pixel_x_size"])
        assert coarse["pixel_y_size"] == pytest.approx(2 * fine["pixel_y_size"])


def test_requirements_36_and_37_tiles_are_pictures_of_their_size(db: sqlite3.Connection) -> None:
    sizes = {
        m["zoom_level"]: (m["tile_height"], m["tile_width"])
        for m in rows(db, "SELECT * FROM gpkg_tile_matrix")
    }
    for tile in rows(db, "SELECT * FROM relief"):
        data = tile["tile_data"]
        kind = {b"\xff\xd8": "jpg", b"\x89P": "png"}[data[:2]]
        picture = matplotlib.image.imread(io.BytesIO(data), format=kind)
        assert picture.shape[:2] == sizes[tile["zoom_level"]]


def test_requirements_54_to_57_tiles_lie_in_their_matrix(db: sqlite3.Connection) -> None:
    columns = columns_of(db, "relief")
    assert set(columns) == {"id", "zoom_level", "tile_column", "tile_row", "tile_data"}
    assert columns["id"]["pk"] == 1
    outside = rows(
        db,
        "SELECT r.id FROM relief r LEFT JOIN gpkg_tile_matrix m"
        " ON m.table_name = 'relief' AND m.zoom_level = r.zoom_level"
        " WHERE m.zoom_level IS NULL OR r.tile_column NOT BETWEEN 0 AND m.matrix_width - 1"
        " OR r.tile_row NOT BETWEEN 0 AND m.matrix_height - 1",
    )
    assert outside == []


# ---- Extensions ----------------------------------------------------------------------------------


def test_requirements_58_to_65_extensions_are_listed(db: sqlite3.Connection) -> None:
    listed = rows(db, "SELECT * FROM gpkg_extensions")
    tables = names(db, "table")
    for row in listed:
        assert row["table_name"] in tables
        if row["column_name"] is not None:
            assert row["column_name"] in columns_of(db, row["table_name"])
        assert _EXTENSION_NAME.fullmatch(row["extension_name"])
        assert row["definition"].startswith("http")
        assert row["scope"] in ("read-write", "write-only")
    # Nothing beyond the standard's own extensions: every program can read the plan.
    assert {row["extension_name"] for row in listed} == {"gpkg_schema", "gpkg_rtree_index"}


def test_requirements_75_to_77_spatial_indexes(db: sqlite3.Connection) -> None:
    features = contents(db, "features")
    indexed = rows(db, "SELECT * FROM gpkg_extensions WHERE extension_name = 'gpkg_rtree_index'")
    assert {row["table_name"] for row in indexed} == set(features)
    assert {row["scope"] for row in indexed} == {"write-only"}
    triggers = names(db, "trigger")
    for table in features:
        for ending in ("insert", "update1", "update2", "update3", "update4", "delete"):
            assert f"rtree_{table}_geom_{ending}" in triggers
        found = {row["id"]: row for row in rows(db, f'SELECT * FROM "rtree_{table}_geom"')}
        blobs = rows(db, f'SELECT fid, geom FROM "{table}"')
        assert set(found) == {row["fid"] for row in blobs}
        for row in blobs:
            envelope = {0: 0, 1: 32}[(row["geom"][3] >> 1) & 0b111]
            bounds = shapely.from_wkb(row["geom"][8 + envelope :]).bounds
            box = found[row["fid"]]
            # Single precision: half a metre at four million.
            for name, value in zip(("minx", "miny", "maxx", "maxy"), bounds, strict=True):
                assert box[name] == pytest.approx(value, abs=1.0)


def test_requirements_103_to_110_field_descriptions_and_lists(db: sqlite3.Connection) -> None:
    listed = rows(db, "SELECT * FROM gpkg_data_columns")
    assert listed
    tables = {row["table_name"] for row in rows(db, "SELECT table_name FROM gpkg_contents")}
    constraints = rows(db, "SELECT * FROM gpkg_data_column_constraints")
    known = {row["constraint_name"] for row in constraints}
    for row in listed:
        assert row["table_name"] in tables
        assert row["column_name"] in columns_of(db, row["table_name"])
        assert row["constraint_name"] is None or row["constraint_name"] in known
    used = {row["constraint_name"] for row in listed} - {None}
    assert known == used
    for row in constraints:
        assert row["constraint_name"] == row["constraint_name"].lower()
        assert row["constraint_type"] == "enum"
        assert row["value"] not in (None, "")
        limits = ("min", "min_is_inclusive", "max", "max_is_inclusive")
        assert [row[name] for name in limits] == [None] * 4


def test_requirements_60_and_141_the_schema_extension_is_registered(
    db: sqlite3.Connection,
) -> None:
    registered = rows(db, "SELECT * FROM gpkg_extensions WHERE extension_name = 'gpkg_schema'")
    assert {row["table_name"] for row in registered} == {
        "gpkg_data_columns",
        "gpkg_data_column_constraints",
    }
    assert {row["column_name"] for row in registered} == {None}
    assert {row["scope"] for row in registered} == {"read-write"}


def test_what_is_written_keeps_to_its_lists(db: sqlite3.Connection) -> None:
    """Requirement 106 and after: a value that a list allows, or none."""
    for row in rows(db, "SELECT * FROM gpkg_data_columns WHERE constraint_name IS NOT NULL"):
        odd = rows(
            db,
            f'SELECT "{row["column_name"]}" FROM "{row["table_name"]}" WHERE '
            f'"{row["column_name"]}" IS NOT NULL AND CAST("{row["column_name"]}" AS TEXT) NOT IN '
            "(SELECT value FROM gpkg_data_column_constraints WHERE constraint_name = ?)",
            row["constraint_name"],
        )
        assert [tuple(o) for o in odd] == [], row["column_name"]


# ---- Attributes ----------------------------------------------------------------------------------


def test_requirements_118_and_119_tables_without_geometries(db: sqlite3.Connection) -> None:
    tables = contents(db, "attributes")
    assert set(tables) == {n for n, spec in LAYERS.items() if not spec.geometry} | {"layer_styles"}
    for table in tables:
        keys = [c for c in columns_of(db, table).values() if c["pk"]]
        assert [(c["type"], c["pk"]) for c in keys] == [("INTEGER", 1)]
        assert not any(c["type"] in _WKB_TYPES for c in columns_of(db, table).values())
