from __future__ import annotations

import csv
import json
from collections.abc import Callable, Mapping
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio

import terrain.values.plugins
from cli.commands.step import flag_of, out_flag
from cli.plan.fields import LAYERS, schema
from siting.steps.step import Column, Input, Output, Parameter, Step, StepData, all_steps, run_step
from terrain.channels.network import default_channel_area_ha
from terrain.values.errors import ParameterError
from terrain.values.plugins import PluginError
from terrain.values.raster import Raster
from tests.cli.conftest import EPSG, NORTH, WEST, box, gully
from tests.reading import read_layers

NAMES = (
    "areas-of-points",
    "channels",
    "condition",
    "drainage-area",
    "flow-direction",
    "headcuts",
    "profile",
    "sites",
)


def read(path: Path) -> tuple[np.ndarray, dict[str, Any]]:
    with rasterio.open(path) as file:
        layout = file.tags(ns="IMAGE_STRUCTURE").get("LAYOUT")
        return file.read(1), {"layout": layout, **file.profile}


def rows_of(path: Path) -> list[dict[str, str]]:
    with open(path, newline="", encoding="utf-8") as file:
        return list(csv.DictReader(file))


def test_the_declared_steps_are_those_of_the_job() -> None:
    steps = all_steps()
    assert set(NAMES) <= set(steps.names)
    assert not steps.broken


def test_the_list_of_steps(command: Callable) -> None:
    ended = command("step", "--help")
    assert ended.code == 0
    assert all(name in ended.out for name in NAMES)


@pytest.mark.parametrize("name", NAMES)
def test_help_comes_from_the_declaration(command: Callable, name: str) -> None:
    declared = all_steps()[name]
    ended = command("step", name, "--help")
    assert ended.code == 0
    text = " ".join(ended.out.split())
    assert declared.title in text
    for parameter in declared.parameters:
        assert flag_of(parameter) in text
    for output in declared.outputs:
        assert f"{out_flag(declared, output)} FILE{output.ending}" in text
    assert max(len(line) for line in ended.out.splitlines()) <= 100


@pytest.mark.parametrize("name", NAMES)
def test_declarations_are_whole(name: str) -> None:
    declared = all_steps()[name]
    assert declared.name == name
    assert declared.inputs[0].name == "dem"
    for parameter in declared.parameters:
        assert parameter.meaning
        if parameter.default is None:
            assert parameter.without, parameter.name
        if parameter.unit:
            assert parameter.name.endswith(f"_{parameter.unit}")
    for output in declared.outputs:
        assert (output.kind == "layer") == (output.layer in LAYERS)
        assert (output.kind == "table") == bool(output.columns)


def test_condition(command: Callable, write_dem: Callable, tmp_path: Path) -> None:
    z = gully()
    z[118:121] += 1.5  # a road across the valley, no culvert
    dem, out, table = write_dem(z=z), tmp_path / "drained.tif", tmp_path / "changes.csv"
    ended = command("step", "condition", dem, "--out", out, "--out-changes", table)
    assert ended.code == 0, ended.err
    assert ended.out.splitlines() == [f"Wrote {out}", f"Wrote {table}"]
    surface, profile = read(out)
    assert profile["layout"] == "COG"
    assert profile["crs"].to_epsg() == EPSG
    assert surface.dtype == np.float32
    assert (surface <= z).all()
    cuts = rows_of(table)
    assert [row["what"] for row in cuts] == ["cut"]
    assert float(cuts[0]["depth_m"]) > 0.5


def test_condition_fills_what_is_too_deep_to_cut(
    command: Callable, write_dem: Callable, tmp_path: Path
) -> None:
    z = gully()
    z[118:121] += 1.5
    dem, out, table = write_dem(z=z), tmp_path / "drained.tif", tmp_path / "changes.csv"
    command(
        *("step", "condition", dem, "--out", out, "--out-changes", table),
        *("--carve-depth-m", 0.2, "--units", "us"),
    )
    surface, _ = read(out)
    assert (surface > z + 0.5).any()
    assert {row["what"] for row in rows_of(table) if float(row["depth_m"]) > 0.5} == {"fill"}
    assert rows_of(table)[-1]["length_m"] == ""


def test_flow_direction_runs_clockwise_from_north(
    command: Callable, write_dem: Callable, tmp_path: Path
) -> None:
    falling = {0: (-1, 0), 1: (-1, 1), 2: (0, 1), 3: (1, 1), 4: (1, 0)}
    falling |= {5: (1, -1), 6: (0, -1), 7: (-1, -1)}
    y, x = np.mgrid[0:12, 0:12]
    for code, (south, east) in falling.items():
        z = (100.0 - 0.1 * south * y - 0.1 * east * x).astype(np.float32)
        dem, out = write_dem(f"{code}.tif", z), tmp_path / f"flow{code}.tif"
        ended = command("step", "flow-direction", dem, "--out", out)
        assert ended.code == 0, ended.err
        codes, profile = read(out)
        assert profile["nodata"] == 255
        assert (codes[1:-1, 1:-1] == code).all()
        assert (codes == 8).any()


def test_drainage_area(command: Callable, write_dem: Callable, tmp_path: Path) -> None:
    names = {"--out": "area.tif", "--out-cells": "cells.tif", "--out-cut": "cut.tif"}
    options = [v for option, name in names.items() for v in (option, tmp_path / name)]
    ended = command("step", "drainage-area", write_dem(), *options)
    assert ended.code == 0, ended.err
    area, _ = read(tmp_path / "area.tif")
    cells, profile = read(tmp_path / "cells.tif")
    cut, _ = read(tmp_path / "cut.tif")
    assert profile["dtype"] == "int32"
    np.testing.assert_allclose(area, cells * 1e-4, rtol=1e-6)
    assert cells.min() == 1
    assert set(np.unique(cut)) == {0, 1}


def test_channels(command: Callable, write_dem: Callable, tmp_path: Path) -> None:
    dem, out = write_dem(), tmp_path / "channels.gpkg"
    ended = command("step", "channels", dem, "--channel-area-ha", 0.5, "--out", out)
    assert ended.code == 0, ended.err
    layer = read_layers(out)["channels"]
    assert set(layer.columns) == set(schema("channels"))
    assert layer.rows >= 1
    command("step", "channels", dem, "--channel-area-ha", 0.05, "--out", out, "--overwrite")
    assert read_layers(out)["channels"].rows > layer.rows


def test_areas_of_points(command: Callable, write_dem: Callable, tmp_path: Path) -> None:
    points = tmp_path / "points.geojson"
    places = [(WEST + 84.5, NORTH - 200.5), (WEST + 80.5, NORTH - 60.5)]
    features = [
        {"type": "Feature", "properties": {}, "geometry": {"type": "Point", "coordinates": p}}
        for p in places
    ]
    crs = {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{EPSG}"}}
    document = {"type": "FeatureCollection", "crs": crs, "features": features}
    points.write_text(json.dumps(document))
    out, table = tmp_path / "areas.gpkg", tmp_path / "snapping.csv"
    ended = command(
        *("step", "areas-of-points", write_dem(), "--points", points),
        *("--out", out, "--out-snapping", table, "--snap-m", 8),
    )
    assert ended.code == 0, ended.err
    layer, rows = read_layers(out)["drainage_areas"], rows_of(table)
    assert layer.geometry is not None
    assert [r["point"] for r in rows] == ["1", "2"]
    for shape, area, row in zip(
        layer.geometry, layer.columns["drainage_area_ha"], rows, strict=True
    ):
        assert shape.area / 1e4 == pytest.approx(area, abs=1e-4)
        assert float(row["area_after_ha"]) == pytest.approx(area, abs=1e-4)
        assert float(row["area_after_ha"]) >= float(row["area_before_ha"])
        assert float(row["moved_m"]) <= 8.0
    first, second = layer.columns["drainage_area_ha"]
    assert first > second


def test_points_that_are_none(
    command: Callable, write_dem: Callable, write_boundary: Callable, tmp_path: Path
) -> None:
    common = ("step", "areas-of-points", write_dem(), "--out", tmp_path / "a.gpkg", "--points")
    assert "no file" in command(*common, tmp_path / "gone.geojson").line
    assert "holds a Polygon" in command(*common, write_boundary(box(0, 9, 9, 0))).line
    far = {"type": "Point", "coordinates": [WEST + 9000, NORTH]}
    ended = command(*common, write_boundary(far, "far.geojson"))
    assert ended.code == 1
    assert "point 1" in ended.line
    assert not (tmp_path / "a.gpkg").exists()


def test_profile(command: Callable, write_dem: Callable, tmp_path: Path) -> None:
    out = tmp_path / "profile.csv"
    ended = command("step", "profile", write_dem(), "--channels", 2, "--out", out)
    assert ended.code == 0, ended.err
    rows = rows_of(out)
    main = [row for row in rows if row["channel"] == "1"]
    station = np.array([float(row["station_m"]) for row in main])
    bed = np.array([float(row["bed_m"]) for row in main])
    assert station[0] == 0
    assert np.allclose(np.diff(station), 1.0)
    # The valley falls 2 in 100 to the south, and has a drop of 1 m in its bed, 131 m up.
    low = station < 100
    assert np.polyfit(station[low], bed[low], 1)[0] == pytest.approx(0.02, rel=0.15)
    rise = bed[5:] - bed[:-5]
    assert rise.max() == pytest.approx(1.0 + 5 * 0.02, abs=0.1)
    assert 125 <= station[np.argmax(rise)] <= 140


@pytest.mark.parametrize("name", ["headcuts", "sites"])
def test_steps_give_what_the_main_job_gives(
    command: Callable, write_dem: Callable, tmp_path: Path, name: str
) -> None:
    dem, plan, out = write_dem(), tmp_path / "plan.gpkg", tmp_path / "step.gpkg"
    assert command("screen", dem, "--out", plan).code == 0
    ended = command("step", name, dem, "--out", out)
    assert ended.code == 0, ended.err
    whole, alone = read_layers(plan)[name], read_layers(out)[name]
    assert alone.rows == whole.rows > 0
    for column, values in whole.columns.items():
        np.testing.assert_array_equal(alone.columns[column], values, err_msg=column)


@pytest.mark.parametrize(
    ("arguments", "part"),
    [
        (("profile", "--channels", "0"), "expected a whole number, 1 to 1000"),
        (("profile", "--channels", "two"), "'two' is not a whole number"),
        (("profile", "--channels", "1.5"), "'1.5' is not a whole number"),
        (("channels", "--channel-area-ha", "-1"), "expected a number, 0.0001 or more"),
        (("channels", "--channel-area-ha", "nan"), "expected a number"),
        (("sites", "--storm-type", "IV"), "is not one of"),
        (("sites", "--curve-number", "120"), "expected a number, 30 to 100"),
        (("condition", "--carve-depth-m", "deep"), "'deep' is not a number"),
    ],
)
def test_parameters_are_checked_by_the_declaration(
    command: Callable, write_dem: Callable, tmp_path: Path, arguments: tuple[str, ...], part: str
) -> None:
    name, *options = arguments
    output = tmp_path / ("out" + all_steps()[name].outputs[0].ending)
    ended = command("step", name, write_dem(), "--out", output, *options)
    assert ended.code == 2
    assert part in ended.line
    assert not output.exists()


def test_outputs_are_refused_early(command: Callable, write_dem: Callable, tmp_path: Path) -> None:
    dem = write_dem()
    there = tmp_path / "there.tif"
    there.write_text("mine")
    ended = command("step", "condition", dem, "--out", there)
    assert ended.code == 1
    assert "exists already" in ended.line
    assert there.read_text() == "mine"
    assert "ends in .tif" in command("step", "condition", dem, "--out", tmp_path / "a.png").line
    assert command("step", "condition", dem, "--out", dem, "--overwrite").code == 2


def slope_step(data: StepData, values: Mapping[str, Any], progress: Any) -> Mapping[str, Any]:
    """Work of a step of another package."""
    if values["fail"]:
        raise RuntimeError("the spirit level broke")
    low = np.full(data.raster.grid.shape, values["factor"], np.float32)
    return {"twice": low * data.raster.elevation_m, "few": {"height_m": np.array([1.25, np.nan])}}


OTHER = Step(
    "double-height",
    "Double the heights",
    "Multiplies every height.",
    (Input("dem", "Elevation raster"),),
    (
        Parameter("factor", "number", "What to multiply with", default=2.0, low=0, high=10),
        Parameter("fail", "switch", "Fail at once", default=False),
    ),
    (
        Output("twice", "raster", "Heights times the factor", unit="m", nodata=np.nan),
        Output("few", "table", "Two rows", columns=(Column("height_m", "A height", 1),)),
    ),
    slope_step,
)


@pytest.fixture
def other_package(monkeypatch: pytest.MonkeyPatch) -> None:
    """Another package that brings one good step and one that cannot be loaded."""
    real = terrain.values.plugins.importlib.metadata.entry_points  # type: ignore[attr-defined]
    ours = [
        EntryPoint("double-height", "tests.cli.test_step:OTHER", "gullywalk.steps"),
        EntryPoint("rusty", "no.such.module:STEP", "gullywalk.steps"),
    ]

    def entry_points(**which: str) -> list[EntryPoint]:
        return [*real(**which), *(ours if which["group"] == "gullywalk.steps" else [])]

    monkeypatch.setattr(terrain.values.plugins.importlib.metadata, "entry_points", entry_points)  # type: ignore[attr-defined]


@pytest.mark.usefixtures("other_package")
def test_other_packages_add_steps(command: Callable, write_dem: Callable, tmp_path: Path) -> None:
    listed = command("step", "--help")
    assert listed.code == 0
    assert "Double the heights." in listed.out
    assert "The processing step rusty" in " ".join(listed.out.split())
    out, few = tmp_path / "twice.tif", tmp_path / "few.csv"
    dem = write_dem()
    ended = command(*("step", "double-height", dem, "--out", out, "--out-few", few, "--factor", 3))
    assert ended.code == 0, ended.err
    np.testing.assert_allclose(read(out)[0], 3 * gully(), rtol=1e-6)
    assert few.read_text() == 'height_m\n1.2\n""\n'
    ended = command("step", "double-height", dem, "--out", out, "--overwrite", "--fail")
    assert ended.code == 1
    assert "'double-height' failed: RuntimeError: the spirit level broke" in ended.line
    ended = command("step", "rusty", dem, "--out", out)
    assert ended.code == 1
    assert "no.such.module" in ended.line


def test_run_step_checks_what_goes_in_and_what_comes_out() -> None:
    data = StepData(Raster.from_array(gully()[:20, :20]))
    good = run_step(OTHER, data, {"factor": 2})
    assert good["twice"].shape == (20, 20)
    with pytest.raises(ParameterError, match="no parameter factr"):
        run_step(OTHER, data, {"factr": 2})
    with pytest.raises(ParameterError, match="factor of 11; expected a number, 0 to 10"):
        run_step(OTHER, data, {"factor": 11})
    with pytest.raises(ParameterError, match="factor of True"):
        run_step(OTHER, data, {"factor": True})
    with pytest.raises(ParameterError, match="without points"):
        run_step(all_steps()["areas-of-points"], data)
    for result, part in (
        ({"twice": np.zeros((2, 2))}, "with shape"),
        ({"twice": np.zeros((20, 20)), "few": {}}, "without height_m"),
        ({"twice": np.zeros((20, 20))}, "not at all"),
    ):
        bad = Step("bad", "Bad", "Bad.", OTHER.inputs, (), OTHER.outputs, lambda *_, r=result: r)
        with pytest.raises(PluginError, match=part):
            run_step(bad, data)


def test_declarations_that_contradict_themselves() -> None:
    with pytest.raises(ParameterError, match="expected a number, 0 to 1"):
        Parameter("share", "number", "A share", default=2, low=0, high=1)
    with pytest.raises(ParameterError, match="Python name"):
        Parameter("my share", "number", "A share")
    with pytest.raises(ParameterError, match="choices"):
        Parameter("which", "choice", "Which")
    twice = Parameter("a", "number", "A", default=1)
    with pytest.raises(ParameterError, match="two parameters named a"):
        Step("x", "X", "X.", (), (twice, twice), OTHER.outputs, slope_step)
    with pytest.raises(ParameterError, match="without outputs"):
        Step("x", "X", "X.", (), (), (), slope_step)


def test_the_channel_area_that_the_declaration_tells_is_the_one_used() -> None:
    parameter = next(p for p in all_steps()["channels"].parameters if "area" in p.name)
    assert f"{default_channel_area_ha(1.0):g} ha" in parameter.without
