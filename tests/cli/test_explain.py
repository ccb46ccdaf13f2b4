"""``gullywalk explain``: the whole reasoning about a site, from an invented plan."""

from __future__ import annotations

import contextlib
import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
import rasterio
import shapely
from matplotlib.image import imread

from cli import palette
from cli.plan.explanation import basis_words
from cli.plan.fields import LAYERS
from cli.plan.fields_structures import REASON_PARTS
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer, empty_layer
from tests.example_plan import UTM, example_plan_file
from tests.example_stretch import (
    stretch_raster,
    stretch_tables,
    write_stretch,
)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_stretch(tmp_path_factory.mktemp("plan") / "plan.gpkg")


@pytest.fixture(scope="module")
def plan_us(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_stretch(tmp_path_factory.mktemp("plan") / "plan.gpkg", "us")


@pytest.fixture(scope="module")
def dem(tmp_path_factory: pytest.TempPathFactory) -> Path:
    raster, path = stretch_raster(), tmp_path_factory.mktemp("dem") / "stretch.tif"
    profile = {
        "driver": "GTiff",
        "height": raster.grid.rows,
        "width": raster.grid.cols,
        "count": 1,
        "dtype": "float32",
        "transform": raster.grid.transform,
        "crs": rasterio.CRS.from_epsg(32612),
    }
    with rasterio.open(path, "w", **profile) as file:
        file.write(raster.elevation_m, 1)
    return path


def told(command: Callable, *arguments: object) -> list[str]:
    ended = command("explain", *arguments)
    assert ended.code == 0, ended.err
    assert ended.err == ""
    lines: list[str] = ended.out.splitlines()
    assert max(map(len, lines)) <= 100
    return lines


def section(lines: list[str], title: str) -> str:
    """Text below a heading, in one line."""
    start = lines.index(title) + 2
    body = []
    for line in lines[start:]:
        if not line:
            break
        body.append(line)
    return " ".join(" ".join(body).split())


def test_every_part_of_the_reasoning_is_told(command: Callable, plan: Path) -> None:
    lines = told(command, plan, 1)
    assert lines[0] == "Site 1, rank 1, work 1: rock bowl (stops a drop from moving upstream)"
    assert "Caution: Soil may pipe here: look for holes." in lines
    text = " ".join(" ".join(lines).split())
    rows = [row for row in _rows("reasons") if row["site_id"] == 1]
    assert {row["part"] for row in rows} == {p for p, _ in REASON_PARTS} - {"spacing"}
    for row in rows:
        assert row["text"] in text, row
    for row in _rows("instructions"):
        if row["site_id"] == 1:
            assert row["text"] in text
    for row in _rows("before_you_build"):
        assert f"{row['step']}. {row['subject']}: {row['text']}" in text


def test_what_gives_way_is_told_as_such(command: Callable, plan: Path) -> None:
    found = section(told(command, plan, 1), "What the flow carries off first")
    assert found.startswith("what gives way first: The bed below gives way first, bare silt.")
    assert found.endswith("gives way banks: The lower bank may fall after a flood.")


def _rows(name: str) -> list[dict]:
    layer = next(t for t in stretch_tables() if t.name == name)
    columns = {n: v.tolist() for n, v in layer.columns.items()}
    return [dict(zip(columns, row, strict=True)) for row in zip(*columns.values(), strict=True)]


def test_measures_come_with_error_and_source(command: Callable, plan: Path) -> None:
    lines = told(command, plan, 1)
    measured = section(lines, "What was measured")
    assert "The drop is 0.90 m high, give or take 0.09 m. [1]" in measured
    assert "Stage 2 of 5, cutting down (confidence 0.60)." in measured
    sources = section(lines, "Sources")
    assert "[1] elevation raster, cells of 0.5 m" in sources
    # The method in use is named, one that is not is none of the reasoning.
    assert "NEH part 630" in sources
    assert "a report" not in sources


def test_limits_say_whether_they_hold_and_what_they_rest_on(command: Callable, plan: Path) -> None:
    limits = "Limits, each at the unfavourable end of its error"
    holds = section(told(command, plan, 1), limits)
    assert "holds drop: At most 1.2 m; here 0.99 m with its error. [3]" in holds
    assert "here 3.2 ha. (common practice, no published source) [4]" in holds
    assert "FAILS" not in holds
    assert section(told(command, plan, 4), limits).startswith("FAILS drop: At most 1.2 m;")


def test_what_else_could_stand_there_and_why_not(command: Callable, plan: Path) -> None:
    text = section(told(command, plan, 1), "What could stand here")
    assert "chosen rock bowl: Rock is at hand" in text
    assert "not chosen log drop: The ranch has no logs." in text
    assert "may be laid back. (from memory) [5]" in text


def test_spacing_is_a_range_with_the_rule_named(command: Callable, plan: Path) -> None:
    text = section(told(command, plan, 2), "How far apart")
    assert "The 3 rules that apply give 6.4 to 21 m to the next structure" in text
    assert "the plan keeps to channel widths." in text
    assert "* channel widths 12 to 17 m (common practice, no published source)" in text
    assert "head to toe 6.4 m" in text


def test_the_pair_and_its_pool_are_told_from_either_site(command: Callable, plan: Path) -> None:
    title = "The pair and its pool"
    upper, lower = section(told(command, plan, 1), title), section(told(command, plan, 2), title)
    assert "Works with site 2: one-rock dam, 4.5 m downstream, to be built as number 1." in (upper)
    assert "Works with site 1: rock bowl, 4.5 m upstream" in lower
    for text in (upper, lower):
        assert "still pool of 9.6 m2, holding 0.77 m3, 0.050 m deep at the foot of the drop" in text
        assert "0.31 m there at the design flood" in text
    assert title not in told(command, plan, 4)


def test_the_flood_has_its_hydraulics_and_the_design_flood_a_star(
    command: Callable, plan: Path
) -> None:
    lines = told(command, plan, 1)
    start = next(i for i, line in enumerate(lines) if line.split()[:2] == ["years", "flow,"])
    assert " ".join(lines[start].split()) == (
        "years flow, m3/s depth, m width, m velocity, m/s pull on bed, Pa Froude"
    )
    table = {line.split()[0]: line.split()[1:] for line in lines[start + 1 : start + 7]}
    assert list(table) == ["2", "5", "*10", "25", "50", "100"]
    assert table["*10"][:2] == ["0.42", "0.21"]
    assert table["100"][-2:] == ["leaves", "it"]
    text = section(lines, "The flood it is made for")
    assert (
        "Range of that flow: 0.25 to 0.70 m3/s; it rests on: curve number 5 higher or lower."
        in text
    )
    assert "gives 0.12 m3/s after dry days and 1.3 m3/s after wet ones" in text
    assert "about the 10 and 90 % bounds of single storms): no part of the range." in text
    assert "The plan holds no" in section(told(command, plan, 4), "The flood it is made for")


def test_what_it_takes(command: Callable, plan: Path) -> None:
    text = section(told(command, plan, 1), "What it takes")
    assert "stone of 30 to 45 cm 2.4 t 2.9 t 0.30 floor and walls" in text
    assert "crew: 3.0 days, cost 810 (510 to 1,270)" in text
    assert "Cost together 950, between 600 and 1,500, in the money of the cost file." in text
    assert "Work: 3.0 days of a crew of 4." in text


def test_us_plans_are_told_in_us_units(command: Callable, plan_us: Path) -> None:
    lines = told(command, plan_us, 2)
    text = " ".join(" ".join(lines).split())
    assert "the drop 15 ft above it" in text
    assert "rules that apply give 21 to 70 ft" in text
    assert "height 6.5 in" in text
    assert "stone of 8 to 12 in 1.4 short tons 1.7 short tons" in text
    assert "still pool of 100 sq ft, holding 1.0 cu yd" in text
    start = next(i for i, line in enumerate(lines) if line.split()[:2] == ["years", "flow,"])
    assert "flow, cfs" in lines[start]
    assert "pull on bed, lb/sq ft" in lines[start]
    first = told(command, plan_us, 1)
    assert "heaviest stone 91 lb two people to lift it" in section(first, "Sizes")
    for line in (*lines, *first):
        assert not any(f" {unit} " in f" {line} " for unit in ("m", "m2", "m3", "kg", "ha", "Pa"))


def test_a_work_is_named_by_its_number_or_its_rank(command: Callable, plan: Path) -> None:
    assert told(command, plan, "rank:2") == told(command, plan, "work:2")
    assert told(command, plan, "RANK:1")[0].startswith("Work 1, rank 1 of 2: a headcut")
    lines = told(command, plan, "work:1")
    # the dam is built first, then the bowl above it
    assert "  1. Site 2: one-rock dam. For all about it ask for site 2." in lines
    assert "  2. Site 1: rock bowl. For all about it ask for site 1." in lines


def test_json_of_a_work_holds_its_sites_and_reasons(command: Callable, plan: Path) -> None:
    document = json.loads(command("explain", plan, "rank:1", "--json").out)
    assert document["work"]["work_id"] == document["work"]["rank"] == 1
    assert [site["site_id"] for site in document["sites"]] == [2, 1]
    assert "work_reasons" in document


def test_a_headcut_is_told_as_its_site_or_by_why_it_is_none(
    command: Callable, plan: Path, plan_us: Path
) -> None:
    assert told(command, plan, "headcut:1") == told(command, plan, 1)
    lines = told(command, plan, "Headcut:2")
    text = " ".join(lines)
    assert lines[0] == "Headcut 2, no site: not sure enough to plan for: look at it."
    assert "Why none: Not sure enough: confidence 0.40, below 0.50." in text
    assert "a drop of 2.4 m with a face of 140 %" in text
    assert "a drop of 7.9 ft" in " ".join(told(command, plan_us, "headcut:2"))
    data = json.loads(command("explain", plan, "headcut:2", "--json").out)
    assert data["headcut"]["why_no_site"].startswith("Not sure enough")


def test_a_reach_to_look_at_first_tells_its_evidence(command: Callable, tmp_path: Path) -> None:
    path = example_plan_file(tmp_path / "plan.gpkg")
    text = " ".join(told(command, path, "look:1"))
    assert text.startswith("L1, look first: 41 m of channel 1, from 12 m above its lower end; its")
    assert "Stage 4 of 5, filling: a new, lower floor is growing; confidence 0.50 of 1." in text
    assert "7 of 9 sections show a bench, 0.35 m above the bed." in text
    data = json.loads(command("explain", path, "Look:1", "--json").out)
    assert data["look_first"]["channel_id"] == 1
    missing = command("explain", path, "look:2")
    assert missing.code == 1
    assert "plan.gpkg has no reach 2 to look at first; expected look:1 to look:1" in missing.err
    drawn = command("explain", path, "look:1", "--picture", tmp_path / "a.png")
    assert drawn.code == 2
    assert "a reach has no picture" in drawn.err
    assert not (tmp_path / "a.png").exists()


@pytest.mark.parametrize("units", ["si", "us"])
def test_json_holds_the_rows_of_the_plan(
    command: Callable, plan: Path, plan_us: Path, units: str
) -> None:
    found = json.loads(command("explain", plan if units == "si" else plan_us, 1, "--json").out)
    assert found["units"] == units
    assert [row["site_id"] for row in found["pair"]] == [2]
    assert len(found["reasons"]) == 17
    assert len(found["hydraulics"]) == 6
    assert found["site"]["spacing_rule"] is None
    assert found["reasons"][0]["verdict"] is None
    stone = found["sizes"][3]
    if units == "si":
        assert found["site"]["stone_heaviest_kg"] == 41.3
        assert (stone["value"], stone["unit"]) == (41.3, "kg")
        assert found["site"]["spacing_m"] is None
    else:
        assert found["site"]["stone_heaviest_lb"] == pytest.approx(41.3 / 0.45359237, abs=0.01)
        assert (stone["value"], stone["unit"]) == (pytest.approx(91.05, abs=0.01), "lb")
        assert found["hydraulics"][2]["discharge_cfs"] == pytest.approx(14.83, abs=0.01)
    assert {"source": "field guides", "basis": "from memory"} in found["sources"]


def test_kinds_of_source_in_words() -> None:
    assert basis_words("common practice") == "common practice, no published source"
    assert basis_words("published; common practice") == (
        "published; common practice, no published source"
    )
    assert basis_words("from memory") == "from memory"
    assert [basis_words(b) for b in ("published", "measured", "", None)] == [""] * 4


@pytest.fixture
def refused(command: Callable) -> Callable[..., str]:
    def check(*arguments: object, code: int = 1) -> str:
        ended = command("explain", *arguments)
        assert ended.code == code, ended.err
        assert ended.out == ""
        line: str = ended.line
        assert line.startswith("gullywalk: ")
        assert "unexpected" not in line
        return line

    return check


def test_sites_that_are_not_there(refused: Callable, plan: Path) -> None:
    assert "plan.gpkg has no site 9; expected site 1 to 4." in refused(plan, 9)
    assert "plan.gpkg has no work of rank 7; expected 1 to 2." in refused(plan, "rank:7")
    assert "plan.gpkg has no work 7; expected 1 to 2." in refused(plan, "work:7")
    assert "plan.gpkg has no headcut 9; expected headcut 1 to 2." in refused(plan, "headcut:9")
    no_site = refused(plan, "headcut:2", "--picture", plan.with_name("none.png"))
    assert "headcut 2 is no site. Not sure enough" in no_site
    for text in ("first", "rank:", "1.5", "12x", "rank:one", ""):
        assert (
            f"'{text}' is not the number of a site, work:n, rank:n, headcut:n or look:n"
            in refused(plan, text, code=2)
        )
    assert "holds no reasoning for site 3. Make it again" in refused(plan, 3)


def test_files_that_are_no_plans(refused: Callable, tmp_path: Path) -> None:
    assert "no file" in refused(tmp_path / "none.gpkg", 1)
    text = tmp_path / "text.gpkg"
    text.write_text("hello")
    assert "text.gpkg is not a GeoPackage" in refused(text, 1)
    ranch = Layer(
        "ranch", np.array([shapely.box(0, 0, 9, 9)]), {"area_ha": np.array([0.0081])}, UTM
    )
    other = write_geopackage(tmp_path / "other.gpkg", [ranch])
    assert "other.gpkg is not a plan: it has no layer 'sites'" in refused(other, 1)


def test_a_plan_of_an_older_version(refused: Callable, plan: Path, tmp_path: Path) -> None:
    old = Path(shutil.copy(plan, tmp_path / "old.gpkg"))
    with contextlib.closing(sqlite3.connect(old)) as db, db:
        db.execute("DROP TABLE reasons")
        db.execute("DELETE FROM gpkg_contents WHERE table_name = 'reasons'")
    assert refused(old, 1) == (
        "gullywalk: old.gpkg was made by an older version: it has no table 'reasons'. Make it "
        "again with gullywalk screen."
    )


def test_an_empty_plan(refused: Callable, tmp_path: Path) -> None:
    nothing = [empty_layer(name, UTM) for name in LAYERS if name != "field_guide"]
    layers = [layer for layer in nothing if layer.geometry is not None]
    tables = [table for table in nothing if table.geometry is None]
    empty = write_geopackage(tmp_path / "empty.gpkg", layers, tables=tables)
    line = refused(empty, 1)
    assert line == "gullywalk: empty.gpkg holds no sites: there is nothing to explain."


def share_of(image: np.ndarray, colour: str) -> float:
    wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
    return float((np.abs(image[..., :3] * 255 - wanted).max(axis=-1) < 3).mean())


def test_a_picture_with_and_without_the_ground(
    command: Callable, plan: Path, dem: Path, tmp_path: Path
) -> None:
    bare, full = tmp_path / "bare.png", tmp_path / "full.png"
    assert told(command, plan, 1, "--picture", bare)[-1] == f"Wrote {bare}"
    ended = command("explain", plan, 1, "--picture", full, "--dem", dem)
    assert ended.code == 0, ended.err
    # The plan was made up; its record names another raster.
    assert ended.line == "Note: stretch.tif is not the raster that the plan was made from."
    flat, shaded = imread(bare), imread(full)
    for image in (flat, shaded):
        assert share_of(image, palette.CHANNEL) > 2e-4
        assert share_of(image, palette.OCHRE) > 1e-4
    assert share_of(flat, palette.PAPER) > 0.3
    assert share_of(shaded, palette.PAPER) < 0.1


def test_pictures_that_cannot_be(
    refused: Callable, plan: Path, dem: Path, tmp_path: Path, write_dem: Callable
) -> None:
    assert "--dem is given without --picture." in refused(plan, 1, "--dem", dem, code=2)
    assert "ends in .png" in refused(plan, 1, "--picture", tmp_path / "site.jpg")
    assert "is given for both" in refused(plan, 1, "--picture", plan, code=2)
    elsewhere = write_dem("far.tif", epsg=32612, west=700_000.0)
    picture = tmp_path / "site.png"
    assert "the site does not lie on far.tif" in refused(
        plan, 1, "--picture", picture, "--dem", elsewhere
    )
    other = write_dem("other.tif")
    assert "other.tif comes in another coordinate system than the plan" in refused(
        plan, 1, "--picture", picture, "--dem", other
    )
    assert not picture.exists()
    picture.write_bytes(b"mine")
    assert "site.png exists already" in refused(plan, 1, "--picture", picture)
    assert picture.read_bytes() == b"mine"
