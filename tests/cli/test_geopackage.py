from __future__ import annotations

import contextlib
import hashlib
import os
import sqlite3
import subprocess
import sys
import time
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely

from cli.file_errors import LayerError, OutputError
from cli.plan.fields import FIELDS, LAYERS, schema
from cli.plan.geopackage import check_target, write_geopackage
from cli.plan.geopackage_reading import plan_units, read_layer
from cli.plan.layers import empty_layer
from cli.plan.safe_files import PART_PREFIX
from tests.example_plan import NAMES, UTM, example_layers, example_tables
from tests.reading import read_layers

REPOSITORY = Path(__file__).parents[2]
LAYERS_OF_PLAN = example_layers()


def write(path: Path, **options: object) -> Path:
    layers = options.pop("layers", list(LAYERS_OF_PLAN.values()))
    return write_geopackage(path, layers, tables=example_tables(), **options)  # type: ignore[arg-type]


def sha(path: Path) -> str:
    return hashlib.sha256(path.read_bytes()).hexdigest()


def rows(path: Path, query: str) -> list[tuple]:
    with contextlib.closing(sqlite3.connect(path)) as db:
        return db.execute(query).fetchall()


@pytest.mark.parametrize("units", ["si", "us"])
def test_what_is_written_is_read_back(tmp_path: Path, units: str) -> None:
    path = write(tmp_path / "plan.gpkg", units=units)
    assert plan_units(path) == units
    back = read_layers(path)
    assert set(back) == set(LAYERS)
    tables = {table.name: table for table in example_tables()}
    for name, layer in (LAYERS_OF_PLAN | tables).items():
        assert back[name].crs == layer.crs
        if layer.geometry is not None:
            assert shapely.equals_exact(back[name].geometry, layer.geometry).all()
        for column, values in layer.columns.items():
            got = back[name].columns[column]
            if values.dtype.kind == "f":
                # Half of the last decimal kept, in either system.
                np.testing.assert_allclose(got, values, atol=0.0051, rtol=2e-4, err_msg=column)
            else:
                assert got.tolist() == values.tolist(), column
    assert tuple(back["sites"].columns["structure"]) == NAMES


@pytest.mark.parametrize("units", ["si", "us"])
def test_schema_of_the_file_is_the_field_table(tmp_path: Path, units: str) -> None:
    path = write(tmp_path / "plan.gpkg", units=units)
    types = {"float": "REAL", "int": "INTEGER", "bool": "BOOLEAN", "text": "TEXT"}
    for name in LAYERS:
        found = {row[1]: row[2] for row in rows(path, f'PRAGMA table_info("{name}")')}
        found.pop("fid")
        found.pop("geom", None)
        wanted = schema(name, units)  # type: ignore[arg-type]
        assert found == {field: types[kind] for field, kind in wanted.items()}


def test_unknown_numbers_and_texts_are_null(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg")
    nulls = rows(path, "SELECT site_id FROM sites WHERE width_m IS NULL AND width_source IS NULL")
    assert nulls == [(2,)]
    assert rows(path, "SELECT count(*) FROM sites WHERE structure = ''") == [(1,)]


def test_empty_layers_are_written_with_their_fields(tmp_path: Path) -> None:
    names = [n for n, spec in LAYERS.items() if spec.geometry]
    path = write(tmp_path / "plan.gpkg", layers=[empty_layer(n, UTM) for n in names])
    info = pyogrio.read_info(path, layer="sites")
    assert info["features"] == 0
    assert list(info["fields"]) == list(schema("sites"))
    assert info["geometry_type"] == "Point"
    assert read_layers(path)["drainage_areas"].rows == 0


def test_same_input_same_bytes_whenever_and_wherever(tmp_path: Path) -> None:
    first = sha(write(tmp_path / "one.gpkg"))
    code = (
        "import sys; from cli.plan.geopackage import write_geopackage as w;"
        "from tests.example_plan import *;"
        "w(sys.argv[1], list(example_layers().values()), tables=example_tables())"
    )
    time.sleep(1.1)  # a timestamp of whole seconds would differ now
    other = tmp_path / "elsewhere" / "other name.gpkg"
    other.parent.mkdir()
    env = os.environ | {"TZ": "Asia/Kathmandu", "PYTHONHASHSEED": "11"}
    subprocess.run([sys.executable, "-c", code, str(other)], check=True, env=env, cwd=REPOSITORY)
    assert sha(other) == first
    assert sha(write(tmp_path / "us.gpkg", units="us")) != first


def test_settings_of_the_raster_library_are_put_back(tmp_path: Path) -> None:
    pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": "2020-02-02T00:00:00.000Z"})
    try:
        write(tmp_path / "plan.gpkg")
        assert pyogrio.get_gdal_config_option("OGR_CURRENT_DATE") == "2020-02-02T00:00:00.000Z"
    finally:
        pyogrio.set_gdal_config_options({"OGR_CURRENT_DATE": None})


def test_file_is_a_sound_geopackage_of_version_1_3(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg")
    assert rows(path, "PRAGMA integrity_check") == [("ok",)]
    assert rows(path, "PRAGMA user_version") == [(10300,)]
    assert path.read_bytes()[68:72] == b"GPKG"
    tables = {name for (name,) in rows(path, "SELECT table_name FROM gpkg_contents")}
    assert tables == {*LAYERS, "layer_styles"}
    indexed = rows(
        path, "SELECT table_name FROM gpkg_extensions WHERE extension_name='gpkg_rtree_index'"
    )
    assert {name for (name,) in indexed} == {n for n, spec in LAYERS.items() if spec.geometry}


def test_fields_are_described_and_value_lists_offered(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg", units="us")
    described = rows(path, "SELECT table_name, column_name, description FROM gpkg_data_columns")
    assert len(described) == len(FIELDS)
    for layer, column, _ in described:
        assert column in schema(layer, "us")
    registered = rows(
        path, "SELECT table_name, scope FROM gpkg_extensions WHERE extension_name='gpkg_schema'"
    )
    assert registered == [
        ("gpkg_data_columns", "read-write"),
        ("gpkg_data_column_constraints", "read-write"),
    ]
    lists = rows(
        path,
        "SELECT value FROM gpkg_data_columns c JOIN gpkg_data_column_constraints k"
        " USING (constraint_name) WHERE table_name='sites' AND column_name='control'",
    )
    assert {v for (v,) in lists} == {"vertical", "grade", "spread", "refer", "hold"}


def test_every_layer_has_default_symbols(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg")
    styled = rows(path, "SELECT f_table_name, useAsDefault FROM layer_styles")
    assert sorted(styled) == sorted((n, 1) for n, spec in LAYERS.items() if spec.geometry)


def test_nothing_is_left_beside_the_plan(tmp_path: Path) -> None:
    write(tmp_path / "plan.gpkg")
    assert [p.name for p in tmp_path.iterdir()] == ["plan.gpkg"]


def test_mode_of_a_replaced_file_is_kept(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg")
    path.chmod(0o640)
    write(path, overwrite=True)
    assert path.stat().st_mode & 0o777 == 0o640


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    real = write(tmp_path / "real.gpkg")
    link = tmp_path / "link.gpkg"
    link.symlink_to(real)
    assert write(link, overwrite=True, units="us") == real
    assert link.is_symlink()
    assert plan_units(real) == "us"


def test_existing_plan_is_kept_without_overwrite(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg")
    before = sha(path)
    with pytest.raises(OutputError, match=r"plan.gpkg exists already\. Give another name, or --ov"):
        write(path, units="us")
    assert sha(path) == before
    write(path, units="us", overwrite=True)
    assert sha(path) != before


@pytest.mark.parametrize("content", [b"", b"a list of things\n", b"SQLite format 3\0" + b"\0" * 84])
def test_a_file_of_another_kind_is_never_replaced(tmp_path: Path, content: bytes) -> None:
    path = tmp_path / "plan.gpkg"
    path.write_bytes(content)
    with pytest.raises(OutputError, match="is not a GeoPackage and is left alone"):
        write(path, overwrite=True)
    assert path.read_bytes() == content


@pytest.mark.parametrize(
    ("name", "message"),
    [
        ("missing/plan.gpkg", "no folder .*missing to write plan.gpkg into"),
        ("plan.shp", r"an output named plan.shp; expected a name that ends in .gpkg"),
        ("folder.gpkg", "folder.gpkg is a folder"),
    ],
)
def test_targets_that_cannot_be(tmp_path: Path, name: str, message: str) -> None:
    (tmp_path / "folder.gpkg").mkdir()
    with pytest.raises(OutputError, match=message) as caught:
        check_target(tmp_path / name, overwrite=True)
    assert "\n" not in str(caught.value)
    assert isinstance(caught.value, OSError)


def test_a_folder_that_cannot_be_written_to() -> None:
    # The process list is a folder nobody may write files into, not even root.
    if not Path("/proc/self").is_dir():
        pytest.skip("this system has no read-only folder at hand")
    with pytest.raises(OutputError, match="cannot be written to"):
        check_target("/proc/self/plan.gpkg")


def test_our_stale_leftovers_are_swept_and_nothing_else(tmp_path: Path) -> None:
    names = {
        f"{PART_PREFIX}0123abcd.gpkg": True,
        f"{PART_PREFIX}0123abcd.gpkg-journal": True,
        f"{PART_PREFIX}mine.gpkg": False,
        ".other-0123abcd.gpkg": False,
    }
    old = time.time() - 2 * 24 * 3600
    for name in names:
        (tmp_path / name).write_text("x")
        os.utime(tmp_path / name, (old, old))
    young = tmp_path / f"{PART_PREFIX}89abcdef.gpkg"
    young.write_text("x")
    write(tmp_path / "plan.gpkg")
    left = {p.name for p in tmp_path.iterdir()}
    assert left == {n for n, swept in names.items() if not swept} | {young.name, "plan.gpkg"}


def test_two_layers_of_one_name_write_nothing(tmp_path: Path) -> None:
    sites = LAYERS_OF_PLAN["sites"]
    with pytest.raises(LayerError, match="two layers named sites"):
        write(tmp_path / "plan.gpkg", layers=[sites, sites])
    assert list(tmp_path.iterdir()) == []


def test_edits_in_a_gis_are_read(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg", units="us")
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        db.execute("CREATE TABLE own (id INTEGER)")
        # What a GIS does on an edit, without the spatial functions that its triggers need.
        for (name,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type='trigger' AND tbl_name='sites'"
        ).fetchall():
            db.execute(f'DROP TRIGGER "{name}"')
        db.execute("UPDATE sites SET width_ft = 10.0, pair_id = NULL WHERE site_id = 2")
    sites = read_layers(path)["sites"].columns
    assert sites["width_m"][1] == pytest.approx(3.048)
    assert sites["pair_id"].tolist() == [0] * 6


def test_what_cannot_be_read_says_so(tmp_path: Path) -> None:
    with pytest.raises(OutputError, match=r"none\.gpkg cannot be read .*; expected a plan"):
        read_layer(tmp_path / "none.gpkg", "sites")
    text = tmp_path / "text.gpkg"
    text.write_text("hello")
    with pytest.raises(OutputError, match=r"text\.gpkg cannot be read"):
        read_layer(text, "sites")
