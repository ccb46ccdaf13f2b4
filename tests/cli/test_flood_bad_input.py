"""What may be wrong with rain, soils, cover and equations: one clear line, nothing half-written."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
import pyogrio
import pytest
import shapely

from tests.cli.conftest import NORTH, WEST

SAMPLE = Path(__file__).parents[2] / "sample_dem"
RAIN = ("--rain-24h", "2=38mm,10=62mm", "--curve-number", "79")
HEAD = "Point precipitation frequency estimates (inches)\nNOAA Atlas 14\n"
EQUATIONS = """
[[region]]
id = "mine"
title = "Mine"
report = "a report"
table = "a table"
terms = [{ variable = "%s" }]
equations = [{ years = 10, coefficient = 5.0, exponents = [0.5] }]
"""


@pytest.fixture
def refused(command: Callable, write_dem: Callable, tmp_path: Path) -> Callable[..., str]:
    """Run ``screen``; it must fail in one line and leave neither plan nor parts behind."""
    dem = write_dem()
    folder = tmp_path / "results"
    folder.mkdir()

    def check(*options: object, code: int = 1) -> str:
        ended = command("screen", dem, "--out", folder / "plan.gpkg", "-q", *options)
        assert ended.code == code, ended.err
        assert ended.out == ""
        assert list(folder.iterdir()) == []
        line: str = ended.line
        assert line.startswith("gullywalk: ")
        assert "unexpected" not in line
        assert len(line) < 500
        return line

    return check


@pytest.fixture
def soils(tmp_path: Path) -> Callable[..., Path]:
    """Write one square of soil that covers the raster of the tests."""

    def write(value: object, *, field: str = "hydgrp", name: str = "soils.gpkg") -> Path:
        path = tmp_path / name
        square = shapely.box(WEST, NORTH - 240, WEST + 160, NORTH)
        pyogrio.raw.write(
            str(path), shapely.to_wkb(np.array([square])), [np.array([value], dtype=object)],
            [field], geometry_type="Polygon", crs="EPSG:26913",
        )  # fmt: skip
        return path

    return write


@pytest.fixture
def cover(write_dem: Callable) -> Callable[..., Path]:
    """Write a raster of cover codes."""

    def write(code: int = 71, **more: object) -> Path:
        codes = np.full((240, 160), code, dtype=np.int16)
        path: Path = write_dem("cover.tif", codes, **more)
        return path

    return write


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("name,acres\nhome,40\n", "not a rainfall table"),
        (HEAD + "Data type: Precipitation depth\n", "no line 'by duration for ARI (years)'"),
        (HEAD + "by duration for ARI (years):, 2,10\n60-min:, 1.0,2.0\n6-hr:, 1.5,2.6\n",
         "has no 24-hour rain"),
        ("units: mm\nduration,2,10\n1-h,20 mm,30\n24-h,1.5 in,62\n", "mixes in and mm"),
        ("units: mm\nduration,2,10\n1-h,20,30\n24-h,18,62\n",
         "rain falls as the storm gets longer"),
        ("units: mm\nduration,2,10\n1-h,20,30\n24-h,40,35\n", "rain falls as storms get rarer"),
        ("duration,2,10\n1-h,20,30\n24-h,40,62\n", "does not say the unit"),
        ("units: mm\nduration,10,10 lower\n24-h,62,50\n", "has 0 upper bounds for 1 depths"),
        ("units: mm\nduration,10,10 low,10 high\n24-h,62,75,50\n",
         "62 mm for 24 hours once in 10 years between bounds of 75 and 50 mm"),
    ],
    ids=["other CSV", "no table", "no 24 hours", "mixed units", "falls with duration",
         "falls with rarity", "no unit", "one bound", "bounds crossed"],
)  # fmt: skip
def test_rain_that_cannot_be(refused: Callable, tmp_path: Path, text: str, message: str) -> None:
    path = tmp_path / "rain.csv"
    path.write_text(text)
    line = refused("--rain", path, "--curve-number", 79)
    assert message in line
    # what is wrong with the figures is said without the file they came from
    assert ("rain.csv" in line) != message.startswith(("rain falls", "62 mm for"))


def test_a_soil_group_that_is_none(refused: Callable, soils: Callable, cover: Callable) -> None:
    line = refused(*RAIN[:2], "--soils", soils("E"), "--cover", cover())
    assert "soils.gpkg holds the hydrologic soil group 'E'; expected A, B, C, D" in line


def test_soils_without_the_field(refused: Callable, soils: Callable, cover: Callable) -> None:
    path = soils("B", field="name")
    line = refused(*RAIN[:2], "--soils", path, "--cover", cover())
    assert "soils.gpkg has no field with the code: it has name" in line
    assert "--soils-field" in line
    line = refused(*RAIN[:2], "--soils", path, "--cover", cover(), "--soils-field", "group")
    assert "has no field 'group'" in line


def test_cover_codes_that_nobody_knows(refused: Callable, soils: Callable, cover: Callable) -> None:
    line = refused(*RAIN[:2], "--soils", soils("B"), "--cover", cover(999))
    assert "no ground of the DEM has a curve number" in line
    assert "'999'" in line
    assert "--cover-table" in line


def test_cover_off_the_dem(refused: Callable, soils: Callable, cover: Callable) -> None:
    line = refused(*RAIN[:2], "--soils", soils("B"), "--cover", cover(west=WEST + 50_000))
    assert "cover.tif has no codes over the DEM" in line


def test_maps_that_are_not_there(refused: Callable, soils: Callable, tmp_path: Path) -> None:
    line = refused(*RAIN[:2], "--soils", tmp_path / "none.gpkg", "--cover", tmp_path / "c.tif")
    assert "no file" in line
    line = refused(*RAIN[:2], "--soils", soils("B"), "--cover", tmp_path / "c.tif")
    assert "c.tif cannot be read as a raster of codes" in line


def test_a_misspelt_variable_in_a_file_of_equations(refused: Callable, tmp_path: Path) -> None:
    path = tmp_path / "own.toml"
    path.write_text(EQUATIONS % "drainage_area_m2")
    line = refused(*RAIN, "--equations", path, "--region", "mine")
    assert "own.toml, region 'mine': variable 'drainage_area_m2' is not known" in line
    assert "did you mean drainage_area_mi2?" in line


def test_a_region_that_is_not_there(refused: Callable) -> None:
    assert "did you mean WY-2?" in refused(*RAIN, "--region", "WY2")
    assert "add up to 0.9" in refused(*RAIN, "--region", "NM-7=0.5,NM-8=0.4")


def test_a_cover_table_that_is_none(
    refused: Callable, soils: Callable, cover: Callable, tmp_path: Path
) -> None:
    path = tmp_path / "covers.toml"
    path.write_text("[cover.sage]\npoor = [1, 2]\n")
    maps = ("--soils", soils("B"), "--cover", cover())
    assert "covers.toml" in refused(*RAIN[:2], *maps, "--cover-table", path)


@pytest.mark.parametrize(
    ("options", "message"),
    [
        (("--flood-method", "grafical"), "no flood method named 'grafical'"),
        (("--flood-method", "regional"), "--flood-method regional is given without --region"),
        (("--soils", "s.gpkg"), "--soils is given without --cover"),
        (("--cover-table", "c.toml"), "--cover-table is given without --cover"),
        (("--soils", "s.gpkg", "--cover", "c.tif"), "--curve-number and maps of soils and cover"),
        (("--basin", "soil_index=2", "--region", "WY-2"), "basin measure 'soil_index'"),
        (("--basin", "soils_index=2"), "--basin is given without --region"),
        (("--bankfull-division", "plains"), "physiographic division 'plains'"),
        (("--runoff-coefficient", "1.5"), "1.5"),
        (("--ponds", "120"), "120"),
        (("--cover-condition", "bad"), "bad"),
    ],
)
def test_options_that_do_not_go_together(
    refused: Callable, options: tuple[str, ...], message: str
) -> None:
    assert message in refused(*RAIN, *options, code=2)


def test_flood_needs_a_place_on_the_raster(
    command: Callable, write_dem: Callable, tmp_path: Path
) -> None:
    dem = write_dem()
    ended = command("flood", "--at", f"{WEST - 500},{NORTH}", dem, *RAIN)
    assert ended.code == 1
    assert "has no elevation under it" in ended.line


def test_flood_on_a_void_has_no_drainage_area(command: Callable, write_dem: Callable) -> None:
    z = np.full((60, 60), 100.0, dtype=np.float32) - np.arange(60, dtype=np.float32)[:, None]
    z[20:40, 20:40] = -9999.0
    dem = write_dem(z=z, nodata=-9999.0)
    ended = command("flood", "--at", f"{WEST + 30},{NORTH - 30}", dem, *RAIN, "--snap", 0)
    assert ended.code == 1
    assert "has no elevation under it" in ended.line


@pytest.mark.parametrize(
    ("arguments", "code", "message"),
    [
        (("plan.gpkg",), 2, "expected a plan and the number of a site"),
        (("plan.gpkg", "first"), 2, "'first' is not the number of a site"),
        (("plan.gpkg", "1"), 1, "no file"),
        (("plan.gpkg", "1", "--curve-number", "80"), 2, "--curve-number is given without --at"),
        (("--at", "12;14", "dem.tif"), 2, "is not a point such as"),
        (("--at", "1,2", "dem.tif"), 1, "give rainfall and a curve number"),
        (("--at", "1,2", "dem.tif", *RAIN, "--figure", "flood.pdf"), 1, "ends in .png"),
        (("--at", "1,2", "dem.tif", *RAIN), 1, "dem.tif"),
    ],
)
def test_flood_asked_in_a_wrong_way(
    command: Callable, arguments: tuple[str, ...], code: int, message: str
) -> None:
    ended = command("flood", *arguments)
    assert ended.code == code, ended.err
    assert message in ended.line
    assert ended.out == ""


def test_a_plan_without_floods_or_without_the_site(
    command: Callable, write_dem: Callable, tmp_path: Path
) -> None:
    dem, plan = write_dem(), tmp_path / "plan.gpkg"
    assert command("screen", dem, "--out", plan, "--edge-is-divide", "-q").code == 0
    ended = command("flood", plan, 1)
    assert (ended.code, ended.out) == (1, "")
    assert "plan.gpkg holds no floods" in ended.line
    assert command("screen", dem, "--out", plan, *RAIN, "--edge-is-divide", "-q",
                   "--overwrite").code == 0  # fmt: skip
    assert command("flood", plan, 1).code == 0
    ended = command("flood", plan, 900)
    assert ended.code == 1
    assert "plan.gpkg has no site 900; expected one of its sites: sites 1 to" in ended.line
