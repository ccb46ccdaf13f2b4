from __future__ import annotations

import contextlib
import sqlite3
from collections.abc import Sequence
from pathlib import Path

import numpy as np
import pytest
import shapely

from cli.file_errors import LayerError, OutputError
from cli.plan.fields import LAYERS
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer, empty_layer
from cli.plan.plan_reading import NEEDED, read_plan
from tests.example_plan import NAMES, UTM, example_layers, example_plan_file, example_tables

LAYERS_OF_PLAN = example_layers()


def write(path: Path, units: str = "si", layers: Sequence[Layer] | None = None) -> Path:
    if layers is None:
        return example_plan_file(path, units)  # type: ignore[arg-type]
    return write_geopackage(path, layers, tables=example_tables(), units=units)  # type: ignore[arg-type]


def edit(path: Path, *statements: str) -> None:
    """Change a plan as a GIS does, without the spatial functions that its triggers need."""
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        triggers = db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for (name,) in triggers:
            db.execute(f'DROP TRIGGER "{name}"')
        for statement in statements:
            db.execute(statement)


@pytest.mark.parametrize("units", ["si", "us"])
def test_a_plan_is_read_in_si_whatever_its_units(tmp_path: Path, units: str) -> None:
    plan = read_plan(write(tmp_path / "my plan.gpkg", units))
    assert (plan.name, plan.units) == ("my plan.gpkg", units)
    assert plan.crs == UTM
    assert list(plan.layers) == list(LAYERS)
    given = LAYERS_OF_PLAN["sites"].columns
    np.testing.assert_allclose(plan.sites["width_m"], given["width_m"], atol=0.006)
    assert tuple(plan.sites["structure"]) == NAMES
    assert plan.run_info["title"] == 'An "invented" run'
    assert plan.version == ""
    points = LAYERS_OF_PLAN["field_notes"].geometry
    assert shapely.equals_exact(plan.layers["field_notes"].geometry, points).all()


def test_rows_about_one_site(tmp_path: Path) -> None:
    plan = read_plan(write(tmp_path / "plan.gpkg"))
    assert [row["method"] for row in plan.rows("floods", 1)] == ["graphical", "regional"]
    assert np.isnan(plan.rows("floods", 1)[1]["q_m3s"])
    assert plan.rows("floods", 99) == []
    assert len(plan.rows("sites")) == 6


def test_a_layer_is_read_when_it_is_first_asked_for_and_once(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg")
    plan = read_plan(path)
    sites = plan.layers["sites"]
    path.unlink()
    assert plan.layers["sites"] is sites
    with pytest.raises(OutputError, match="cannot be read"):
        plan.layers["channels"]
    with pytest.raises(KeyError):
        plan.layers["relief"]


def test_a_plan_without_sites_is_a_plan(tmp_path: Path) -> None:
    empty = [empty_layer(name, UTM) for name, spec in LAYERS.items() if spec.geometry]
    plan = read_plan(write(tmp_path / "plan.gpkg", layers=empty))
    assert plan.sites["site_id"].size == 0
    assert plan.rows("field_notes") == []


def test_what_was_typed_in_is_read_as_it_stands(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg", "us")
    edit(
        path,
        "UPDATE field_notes SET decision = 'perhaps', measured_width_ft = 10 WHERE site_id = 1",
        "UPDATE field_notes SET site_id = 1 WHERE site_id = 2",
        "UPDATE field_notes SET geom = NULL, site_id = NULL WHERE site_id = 3",
    )
    plan = read_plan(path)
    notes = plan.unchecked("field_notes")
    assert notes.columns["site_id"].tolist() == [1, 1, 0, 4, 5, 6]
    assert notes.columns["decision"][0] == "perhaps"
    assert notes.columns["measured_width_m"][0] == pytest.approx(3.048)
    assert notes.geometry is not None
    assert notes.geometry[2] is None
    assert notes.crs == UTM
    with pytest.raises(LayerError, match="field_notes has a feature without a geometry"):
        plan.layers["field_notes"]


def one_line(path: Path) -> str:
    with pytest.raises(OutputError) as caught:
        read_plan(path)
    assert "\n" not in str(caught.value)
    return str(caught.value)


def test_what_is_no_plan_says_so_in_one_line(tmp_path: Path) -> None:
    assert "no file" in one_line(tmp_path / "none.gpkg")
    assert "no file" in one_line(tmp_path)
    text = tmp_path / "text.gpkg"
    text.write_text("hello")
    assert "text.gpkg is not a GeoPackage; expected a plan" in one_line(text)
    other = write_geopackage(tmp_path / "other.gpkg", [LAYERS_OF_PLAN["channels"]])
    assert "other.gpkg is not a plan: it has no layer 'sites'" in one_line(other)


@pytest.mark.parametrize("name", NEEDED)
def test_an_older_plan_is_told_apart(tmp_path: Path, name: str) -> None:
    path = write(tmp_path / "plan.gpkg")
    edit(path, f"DELETE FROM gpkg_contents WHERE table_name = '{name}'")
    message = one_line(path)
    assert f"was made by an older version: it has no table '{name}'" in message
    assert "Make it again with gullywalk screen" in message


def test_a_damaged_plan(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg")
    content = bytearray(path.read_bytes())
    content[100:20_000] = b"\xff" * 19_900
    path.write_bytes(bytes(content))
    assert "plan.gpkg cannot be read" in one_line(path)


def test_a_plan_that_another_program_holds(tmp_path: Path) -> None:
    path = write(tmp_path / "plan.gpkg")
    with contextlib.closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        message = one_line(path)
        other.execute("ROLLBACK")
    assert "is open in another program. Close it there and run again" in message
    assert read_plan(path).sites["site_id"].size == 6
