"""What a person may get wrong: each ends in one clear line and leaves the old output as it was."""

from __future__ import annotations

import errno
import hashlib
import os
import sqlite3
from collections.abc import Callable
from contextlib import closing
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

import numpy as np
import pytest

import terrain.values.memory
import terrain.values.plugins
from tests.cli.conftest import EPSG, NORTH, WEST, box, gully, small_files
from tests.example_plan import example_plan_file


@pytest.fixture
def old_plan(tmp_path: Path) -> Path:
    """A plan of an earlier run, in a folder of its own."""
    folder = tmp_path / "results"
    folder.mkdir()
    return example_plan_file(folder / "plan.gpkg")


def snapshot(folder: Path) -> dict[str, str]:
    """Names and contents of everything in a folder."""
    return {p.name: hashlib.sha256(p.read_bytes()).hexdigest() for p in sorted(folder.iterdir())}


@pytest.fixture
def refused(command: Callable, old_plan: Path) -> Callable[..., str]:
    """Run ``screen`` over an old plan; it must fail in one line and leave the folder as it was."""

    def check(*arguments: object, code: int = 1, out: Path | None = None) -> str:
        before = snapshot(old_plan.parent)
        target = old_plan if out is None else out
        ended = command("screen", *arguments, "--out", target, "--overwrite")
        assert ended.code == code, ended.err
        assert ended.out == ""
        assert snapshot(old_plan.parent) == before
        line: str = ended.line
        assert line.startswith("gullywalk: ")
        assert "Traceback" not in line
        assert "unexpected" not in line
        return line

    return check


def test_no_such_file(refused: Callable, tmp_path: Path) -> None:
    assert "no file" in refused(tmp_path / "nothing.tif")


def test_not_a_raster(refused: Callable, tmp_path: Path) -> None:
    path = tmp_path / "notes.tif"
    path.write_text("these are notes\n")
    assert "notes.tif" in refused(path)


def test_a_boundary_given_as_raster(refused: Callable, write_boundary: Callable) -> None:
    assert "ranch.geojson" in refused(write_boundary(box(0, 10, 10, 0)))


def test_truncated_file(refused: Callable, write_dem: Callable) -> None:
    path = write_dem(tiled=True, blockxsize=64, blockysize=64)
    with open(path, "r+b") as file:
        file.truncate(path.stat().st_size * 2 // 3)
    assert "damaged or cut short" in refused(path)


def test_all_nodata(refused: Callable, write_dem: Callable) -> None:
    z = np.full((60, 60), -9999.0, np.float32)
    assert "holds no ground" in refused(write_dem(z=z, nodata=-9999.0))
    assert "holds no ground" in refused(write_dem("nan.tif", np.full((60, 60), np.nan, np.float32)))


def test_one_cell(refused: Callable, write_dem: Callable) -> None:
    assert "dem.tif" in refused(write_dem(z=np.full((1, 1), 12.0, np.float32)))


def test_no_crs(refused: Callable, write_dem: Callable) -> None:
    line = refused(write_dem(epsg=None))
    assert "has no coordinate system" in line
    assert "--crs" in line


@pytest.mark.parametrize(
    ("options", "part"),
    [
        ({"cell": 2.0}, "cell"),
        ({"epsg": 26912}, "EPSG:26912"),
        ({"epsg": 32613}, "on the datum"),
    ],
    ids=["cell size", "coordinate system", "datum"],
)
def test_tiles_that_differ(
    refused: Callable, write_dem: Callable, options: dict[str, Any], part: str
) -> None:
    first = write_dem("a.tif")
    second = write_dem("b.tif", west=WEST + 160, **options)
    line = refused(first, second)
    assert part in line
    assert "b.tif" in line


def test_boundary_outside_the_dem(
    refused: Callable, write_dem: Callable, write_boundary: Callable
) -> None:
    ranch = write_boundary(box(9000, 200, 9100, 20))
    line = refused(write_dem(), "--boundary", ranch)
    assert "lies outside the DEM" in line
    assert "longitude" in line


def test_boundary_that_is_empty(
    refused: Callable, write_dem: Callable, write_boundary: Callable, tmp_path: Path
) -> None:
    assert "is empty" in refused(write_dem(), "--boundary", write_boundary(None))
    nothing = tmp_path / "nothing.geojson"
    nothing.write_text("")
    assert "nothing.geojson" in refused(tmp_path / "dem.tif", "--boundary", nothing)
    assert "no file" in refused(tmp_path / "dem.tif", "--boundary", tmp_path / "gone.shp")


def test_boundary_that_crosses_itself(
    refused: Callable, write_dem: Callable, write_boundary: Callable
) -> None:
    bow = box(20, 200, 120, 20)
    ring = bow["coordinates"][0]
    ring[1], ring[2] = ring[2], ring[1]
    line = refused(write_dem(), "--boundary", write_boundary(bow))
    assert "crosses itself near x 5400" in line


def test_boundary_that_is_a_point(
    refused: Callable, write_dem: Callable, write_boundary: Callable
) -> None:
    point = {"type": "Point", "coordinates": [WEST + 50, NORTH - 50]}
    assert "holds only a point" in refused(write_dem(), "--boundary", write_boundary(point))


def test_feet_that_look_like_metres(refused: Callable, write_dem: Callable) -> None:
    """2000 m of ground in feet on metre cells: slopes look steep and heights impossible."""
    feet = (gully() + 1500) / np.float32(0.3048)
    line = refused(write_dem(z=feet))
    assert "look like feet" in line
    assert "--vertical-unit" in line


def test_rain_of_another_kind(refused: Callable, write_dem: Callable, tmp_path: Path) -> None:
    rain = tmp_path / "rain.csv"
    rain.write_text("date,cows\n2024-01-01,14\n")
    assert "rain.csv" in refused(write_dem(), "--rain", rain, "--curve-number", 79)
    rain.write_bytes(bytes(range(256)))
    assert "not a text file" in refused(tmp_path / "dem.tif", "--rain", rain)
    assert "cannot be read" in refused(tmp_path / "dem.tif", "--rain", tmp_path / "none.csv")


def test_rain_that_is_negative(refused: Callable, write_dem: Callable, tmp_path: Path) -> None:
    dem = write_dem()
    rain = tmp_path / "rain.csv"
    lines = (Path(__file__).parents[2] / "sample_dem" / "rainfall.csv").read_text()
    rain.write_text(lines.replace("24-hr:, 1.27", "24-hr:, -1.27"))
    assert "-" in refused(dem, "--rain", rain, "--curve-number", 79)
    line = refused(dem, "--rain-24h", "2=-38mm,10=62mm", "--curve-number", 79, code=2)
    assert "--rain-24h" in line


def test_rain_given_twice(refused: Callable, write_dem: Callable) -> None:
    rain = Path(__file__).parents[2] / "sample_dem" / "rainfall.csv"
    line = refused(write_dem(), "--rain", rain, "--rain-24h", "2=38mm", code=2)
    assert "give one of them" in line


@pytest.mark.parametrize("number", ["0", "120", "-5", "nan", "grass"])
def test_curve_numbers_that_are_none(refused: Callable, write_dem: Callable, number: str) -> None:
    line = refused(write_dem(), "--curve-number", number, code=2)
    assert "'--curve-number'" in line
    assert number in line


@pytest.mark.parametrize(
    "options",
    [
        ("--units", "imperial"),
        ("--vertical-unit", "yards"),
        ("--storm-type", "V"),
        ("--channel-area", "0ha"),
        ("--crs", "the usual"),
        ("--top", "-1"),
        ("--date", "yesterday"),
        ("--engine", "steam"),
    ],
    ids=lambda options: options[0],
)
def test_unknown_option_values(
    refused: Callable, write_dem: Callable, options: tuple[str, str]
) -> None:
    assert options[1] in refused(write_dem(), *options, code=2)


def test_an_input_is_never_an_output(command: Callable, write_dem: Callable) -> None:
    dem = write_dem("dem.gpkg.tif")
    before = dem.read_bytes()
    ended = command("screen", dem, "--out", dem, "--overwrite")
    assert ended.code == 2
    assert "given for both DEM and --out" in ended.line
    assert dem.read_bytes() == before


def test_output_folder_missing(refused: Callable, write_dem: Callable, tmp_path: Path) -> None:
    line = refused(write_dem(), out=tmp_path / "missing" / "plan.gpkg")
    assert "no folder" in line


@pytest.mark.skipif(not Path("/proc").is_dir(), reason="needs a folder that takes no files")
def test_output_folder_read_only(refused: Callable, write_dem: Callable) -> None:
    """Even the superuser cannot write into the kernel's own folder."""
    assert "cannot be written to" in refused(write_dem(), out=Path("/proc/plan.gpkg"))


def test_output_folder_full_at_the_start(
    refused: Callable, write_dem: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    def full(*_: object) -> None:
        raise OSError(errno.ENOSPC, os.strerror(errno.ENOSPC))

    monkeypatch.setattr("cli.plan.safe_files.os.fsync", full)
    assert "the disk is full" in refused(write_dem())


@pytest.mark.parametrize("more", [(), ("--list", "new.csv"), ("--map", "new.png")])
def test_output_folder_full_at_the_end(
    command: Callable,
    refused: Callable,
    write_dem: Callable,
    old_plan: Path,
    more: tuple[str, ...],
) -> None:
    """The disk fills up while the plan is written: neither the plan nor a list or map is left."""
    dem = write_dem()
    files = [option if option[0] == "-" else old_plan.parent / option for option in more]
    # Once without the limit: kernels that still have to be compiled write into their own cache.
    assert command("screen", dem, "--out", dem.with_suffix(".gpkg")).code == 0
    with small_files(60_000):
        assert "the disk is full" in refused(dem, *files)


def test_output_exists(command: Callable, write_dem: Callable, old_plan: Path) -> None:
    before = snapshot(old_plan.parent)
    dem = write_dem()
    ended = command("screen", dem, "--out", old_plan)
    assert ended.code == 1
    assert "exists already" in ended.line
    assert "--overwrite" in ended.line
    old_list = old_plan.with_suffix(".csv")
    old_list.write_text("mine\n")
    new = old_plan.with_name("new.gpkg")
    ended = command("screen", dem, "--out", new, "--list", old_list)
    assert ended.code == 1
    assert "plan.csv exists already" in ended.line
    old_list.unlink()
    assert snapshot(old_plan.parent) == before


def test_output_that_is_no_plan(refused: Callable, write_dem: Callable, tmp_path: Path) -> None:
    other = tmp_path / "other.gpkg"
    other.write_text("dear diary\n")
    assert "is not a GeoPackage and is left alone" in refused(write_dem(), out=other)
    assert other.read_text() == "dear diary\n"
    assert "ends in .gpkg" in refused(tmp_path / "dem.tif", out=tmp_path / "plan.shp")


def test_output_locked_by_another_program(
    refused: Callable, write_dem: Callable, old_plan: Path
) -> None:
    dem = write_dem()
    with closing(sqlite3.connect(old_plan, isolation_level=None)) as other:
        other.execute("BEGIN EXCLUSIVE")
        assert "is open in another program" in refused(dem)
        other.execute("ROLLBACK")


def test_output_with_a_log_beside_it(
    refused: Callable, write_dem: Callable, old_plan: Path
) -> None:
    """A GIS that has the plan open keeps a write-ahead log beside it."""
    dem = write_dem()
    with closing(sqlite3.connect(old_plan, isolation_level=None)) as other:
        other.execute("PRAGMA journal_mode=WAL")
        other.execute("CREATE TABLE edits (id INTEGER)")
        assert "another program has the plan open" in refused(dem)


class RaisingEngine:
    """A flow engine of another package that fails at its work."""

    name = "steam"

    def condition(self, raster: object, **_: object) -> None:
        raise RuntimeError("out of coal")


@pytest.fixture
def plugin(monkeypatch: pytest.MonkeyPatch) -> Callable[[str, str, str], None]:
    """Pretend that another package registers something."""

    def register(group: str, name: str, value: str) -> None:
        real = terrain.values.plugins.importlib.metadata.entry_points  # type: ignore[attr-defined]

        def entry_points(**which: str) -> list[EntryPoint]:
            found = list(real(**which))
            return found + ([EntryPoint(name, value, group)] if which["group"] == group else [])

        monkeypatch.setattr(terrain.values.plugins.importlib.metadata, "entry_points", entry_points)  # type: ignore[attr-defined]

    return register


def test_a_plugin_that_raises(refused: Callable, write_dem: Callable, plugin: Callable) -> None:
    plugin("gullywalk.flow_engines", "steam", "tests.cli.test_bad_input:RaisingEngine")
    line = refused(write_dem(), "--engine", "steam")
    assert "the flow engine 'steam' failed: RuntimeError: out of coal" in line


@pytest.mark.parametrize(
    "group", ["gullywalk.flow_engines", "gullywalk.flood_methods", "gullywalk.steps"]
)
def test_a_plugin_that_cannot_be_loaded_stops_nothing(
    command: Callable, write_dem: Callable, plugin: Callable, tmp_path: Path, group: str
) -> None:
    plugin(group, "steam", "no.such.package:Engine")
    ended = command("screen", write_dem(), "--out", tmp_path / "plan.gpkg")
    assert ended.code == 0, ended.err
    if group != "gullywalk.steps":
        assert "steam" in ended.err


def test_a_broken_plugin_that_is_asked_for_is_named(
    refused: Callable, write_dem: Callable, plugin: Callable
) -> None:
    plugin("gullywalk.flow_engines", "steam", "no.such.package:Engine")
    assert "no.such.package" in refused(write_dem(), "--engine", "steam", code=2)


def test_more_memory_than_there_is(
    refused: Callable, write_dem: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    dem = write_dem()
    monkeypatch.setattr(terrain.values.memory, "free_bytes", lambda: 100 * 2**20)
    line = refused(dem)
    assert "38,400 cells need about" in line
    assert "--boundary" in line


def test_a_raster_far_larger_than_memory(
    refused: Callable, write_dem: Callable, tmp_path: Path
) -> None:
    """A virtual raster of 9e10 cells: refused within moments, with the figure and what helps."""
    write_dem()
    side = 300_000
    huge = tmp_path / "huge.vrt"
    huge.write_text(
        f'<VRTDataset rasterXSize="{side}" rasterYSize="{side}"><SRS>EPSG:{EPSG}</SRS>'
        f"<GeoTransform>{WEST - side}, 1, 0, {NORTH}, 0, -1</GeoTransform>"
        '<VRTRasterBand dataType="Float32" band="1"><SimpleSource>'
        '<SourceFilename relativeToVRT="1">dem.tif</SourceFilename><SourceBand>1</SourceBand>'
        '<SrcRect xOff="0" yOff="0" xSize="160" ySize="240"/>'
        f'<DstRect xOff="0" yOff="0" xSize="{side}" ySize="{side}"/>'
        "</SimpleSource></VRTRasterBand></VRTDataset>"
    )
    line = refused(huge)
    assert "90,000,000,000 cells need about" in line
    assert "TB" in line
    assert "--boundary" in line
