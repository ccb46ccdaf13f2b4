from __future__ import annotations

import csv
import hashlib
import json
import sqlite3
from collections.abc import Callable
from contextlib import closing
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import shapely

import cli.given.land
import cli.progress_bar
from cli.plan.fields import schema
from cli.plan.plan_layers import DRAWING_ORDER
from cli.plan.plan_reading import read_plan
from cli.plan.relief_layer import read_relief
from siting.record.settings_used import settings_of
from siting.values.rules import load_rules
from tests.cli.conftest import Ended, box, gully
from tests.reading import read_layers

SAMPLE = Path(__file__).parents[2] / "sample_dem"
RAIN = ("--rain-24h", "2=38mm,10=62mm,25=80mm", "--curve-number", "79")
DATE = ("--date", "2026-03-01")


@pytest.fixture
def screened(
    command: Callable, write_dem: Callable, tmp_path: Path
) -> Callable[..., tuple[Ended, Path]]:
    """Screen the small valley; returns how it ended and the plan."""

    def call(*options: object, out: str = "plan.gpkg") -> tuple[Ended, Path]:
        dem = tmp_path / "dem.tif"
        if not dem.exists():
            write_dem()
        plan = tmp_path / out
        ended = command("screen", dem, "--out", plan, *options)
        assert ended.code == 0, ended.err
        return ended, plan

    return call


def sites_of(plan: Path) -> dict[str, Any]:
    return dict(read_layers(plan)["sites"].columns)


def test_the_plan_holds_every_layer_of_the_contract(
    screened: Callable, write_boundary: Callable
) -> None:
    ranch = write_boundary(box(10, 230, 150, 10), properties={"name": "Lost Hat (invented)"})
    _, plan = screened("--boundary", ranch, "--edge-is-divide", *RAIN)
    layers = read_layers(plan)
    assert set(layers) >= {*DRAWING_ORDER, "run_info", "field_guide"}
    for name, layer in layers.items():
        assert set(layer.columns) == set(schema(name))
    assert layers["ranch"].columns["name"][0] == "Lost Hat (invented)"
    assert layers["ranch"].columns["area_ha"][0] == pytest.approx(140 * 220 / 1e4)
    for name in ("channels", "headcuts", "sites", "drainage_areas", "structure_lines"):
        assert layers[name].rows > 0, name


def test_the_trench_head_is_found_and_ranked_first(screened: Callable) -> None:
    """The valley of the tests has one drop of 1 m, 108 m below its upper edge."""
    ended, plan = screened("--edge-is-divide", *RAIN)
    heads = read_layers(plan)["headcuts"]
    assert heads.geometry is not None
    best = int(np.argmax(heads.columns["confidence"]))
    head = heads.geometry[best]
    assert (head.x - 540_000, 4_140_000 - head.y) == pytest.approx((80, 108), abs=4)
    assert heads.columns["headcut_height_m"][best] == pytest.approx(1.0, abs=0.15)
    sites = sites_of(plan)
    assert sorted(sites["list_place"]) == list(range(1, len(sites["rank"]) + 1))
    assert "vertical" in sites["control"]
    assert ended.out.splitlines()[0].split()[1].startswith("headcut")
    assert ended.out.splitlines()[-1] == f"Wrote {plan}"


def test_the_list_fits_100_columns_and_stdout_holds_only_results(screened: Callable) -> None:
    ended, plan = screened(*RAIN)
    for line in ended.out.splitlines():
        assert len(line) <= 100 or line.startswith("Wrote ")
    assert all(line.startswith(("Note: ", "  ")) for line in ended.err.splitlines())
    assert str(plan) in ended.out


def test_quiet_and_verbose(screened: Callable) -> None:
    ended, _ = screened("-q")
    assert ended.err == ""
    loud, _ = screened("-v", "--overwrite")
    assert loud.out == ended.out
    assert "finding ways out of depressions" in loud.err


def test_json_is_the_same_as_the_csv_and_the_plan(screened: Callable, tmp_path: Path) -> None:
    ended, plan = screened("--json", "--list", tmp_path / "list.csv", "--edge-is-divide", *RAIN)
    document = json.loads(ended.out)
    assert list(document) == [
        "units",
        "works",
        "sites",
        "referred",
        "summary",
        "work",
        "cautions",
        "notes",
        "facts",
        "files",
        "version",
    ]
    assert document["files"]["plan"] == str(plan)
    assert document["files"]["map"] is None
    with open(tmp_path / "list.csv", newline="", encoding="utf-8") as file:
        every = list(csv.DictReader(file))
    works = [row for row in every if row["row"] == "work"]
    assert [int(row["rank"]) for row in works] == list(range(1, len(works) + 1))
    assert [int(row["work_id"]) for row in works] == [w["work_id"] for w in document["works"]]
    rows = [row for row in every if row["row"] == "site"]
    columns = sites_of(plan)
    for row, record in zip(rows, document["sites"], strict=True):
        assert set(record) == set(columns) <= set(row)
        at = list(columns["site_id"]).index(record["site_id"])
        assert record["reason"] == row["reason"] == columns["reason"][at]
        assert record["q10_m3s"] == pytest.approx(columns["q10_m3s"][at])


def test_us_units_reach_everything_a_person_reads(screened: Callable, tmp_path: Path) -> None:
    si, _ = screened("--edge-is-divide", *RAIN)
    us, plan = screened(
        "--edge-is-divide", *RAIN, "--units", "us", "--list", tmp_path / "us.csv", out="us.gpkg"
    )
    assert " ha" in si.out
    for unit in (" ha ", " m3/s", " m "):
        assert unit not in us.out
    assert " cfs" in us.out
    heading = (tmp_path / "us.csv").read_text().splitlines()[0]
    assert "headcut_height_ft" in heading
    assert "_m3s" not in heading
    with closing(sqlite3.connect(plan)) as db:
        reasons = [row[0] for row in db.execute("SELECT reason FROM sites")]
    assert any(" ft" in reason for reason in reasons)
    assert not any(" m " in reason for reason in reasons)


def test_same_input_gives_the_same_bytes_anywhere(
    command: Callable, write_dem: Callable, tmp_path: Path
) -> None:
    dem = write_dem()
    sums = []
    for name in ("one", "two"):
        folder = tmp_path / name
        folder.mkdir()
        files = {"--out": "p.gpkg", "--list": "p.csv", "--map": "p.png"}
        options = [v for option, file in files.items() for v in (option, folder / file)]
        other = folder / "dem.tif"
        other.write_bytes(dem.read_bytes())
        assert command("screen", other, *options, *RAIN, *DATE).code == 0
        sums.append([hashlib.sha256((folder / f).read_bytes()).hexdigest() for f in files.values()])
    assert sums[0] == sums[1]


def test_run_info_tells_what_went_in(screened: Callable, tmp_path: Path) -> None:
    _, plan = screened("--channel-area", "0.1ha", *RAIN)
    table = read_layers(plan)["run_info"].columns
    info = dict(zip(table["name"], table["value"], strict=True))
    digest = hashlib.sha256((tmp_path / "dem.tif").read_bytes()).hexdigest()
    assert info["dem"].startswith("dem.tif, ")
    assert digest in info["dem"]
    assert info["setting: channel_area"] == "0.1"
    assert info["setting: rain_24h"] == "2=38mm,10=62mm,25=80mm"
    assert info["setting: engine"] == "native"
    assert info["plan format"] == "3"
    for name in ("gullywalk", "numpy", "GDAL for rasters"):
        assert info[f"version: {name}"]
    assert any("taken as metres" in value for value in info.values())
    everything = " ".join(info.values())
    assert str(tmp_path) not in everything


@pytest.mark.parametrize(
    ("given", "told"), [("auto", "auto"), ("1ac", "0.40468564224"), ("0.05", "0.05")]
)
def test_the_channel_area_is_recorded(screened: Callable, given: str, told: str) -> None:
    _, plan = screened("--channel-area", given)
    table = read_layers(plan)["run_info"].columns
    info = dict(zip(table["name"], table["value"], strict=True))
    assert info["setting: channel_area"] == told
    assert " ha (" in info["channel area"]


def test_the_need_of_memory_is_said(screened: Callable, monkeypatch: pytest.MonkeyPatch) -> None:
    loud, _ = screened("-v")
    assert "38,400 cells need about" in loud.err
    assert "need about" not in screened("--overwrite")[0].err
    monkeypatch.setattr(cli.given.land, "MUCH_BYTES", 1)
    assert "need about" in screened("--overwrite")[0].err


def test_floods_come_only_from_the_rain_given(screened: Callable) -> None:
    dry, plan = screened("--edge-is-divide")
    assert "Peak flows are empty" in dry.out
    assert np.isnan(sites_of(plan)["q10_m3s"]).all()
    _, plan = screened("--edge-is-divide", *RAIN, "--overwrite")
    sites = sites_of(plan)
    assert (sites["q25_m3s"] > sites["q10_m3s"]).all()
    assert (sites["q10_m3s"] > 0).all()
    for empty in ("q50_m3s", "q100_m3s"):
        assert np.isnan(sites[empty]).all(), empty


def test_the_raster_edge_makes_areas_minima_unless_it_is_a_divide(screened: Callable) -> None:
    cut, plan = screened()
    assert not sites_of(plan)["area_complete"].any()
    assert "edge cuts the drainage area" in cut.out
    whole, plan = screened("--edge-is-divide", "--overwrite")
    assert sites_of(plan)["area_complete"].all()
    assert "edge cuts" not in whole.out


def test_sites_outside_the_boundary_are_left_out(
    screened: Callable, write_boundary: Callable
) -> None:
    upper = write_boundary(box(10, 90, 150, 5), "upper.geojson")
    _, plan = screened("--boundary", upper, "--edge-is-divide")
    layers = read_layers(plan)
    assert layers["headcuts"].rows == 0
    assert layers["sites"].geometry is not None
    assert all(4_140_000 - p.y <= 90 for p in layers["sites"].geometry)


def test_the_map_is_a_picture_with_the_date(screened: Callable, tmp_path: Path) -> None:
    screened("--map", tmp_path / "map.png", *DATE)
    assert (tmp_path / "map.png").read_bytes().startswith(b"\x89PNG")


def test_pysheds_gives_a_plan_too(screened: Callable) -> None:
    pytest.importorskip("pysheds")
    ended, plan = screened("--engine", "pysheds", "--edge-is-divide")
    assert read_layers(plan)["channels"].rows > 0
    assert ended.code == 0


def test_limits_can_be_changed(screened: Callable, command: Callable, tmp_path: Path) -> None:
    rules = tmp_path / "rules.toml"
    rules.write_text(
        "version = 1\n\n[hand_work.drop]\nmin = 0.2\nmax = 0.3\n"
        'unit = "m"\nsource = "the crew is tired"\nbasis = "common practice"\n'
        'meaning = "Above max an engineer is needed"\n'
    )
    _, usual = screened("--edge-is-divide")
    _, strict = screened("--edge-is-divide", "--rules", rules, out="strict.gpkg")
    assert "vertical" in sites_of(usual)["control"]
    assert "vertical" not in sites_of(strict)["control"]
    info = read_layers(strict)["run_info"].columns
    assert any("rules.toml" in str(value) for value in info["value"])
    rules.write_text("version = 1\n\n[no.such.limit]\nvalue = 1.0\n")
    dem = tmp_path / "dem.tif"
    ended = command("screen", dem, "--out", tmp_path / "x.gpkg", "--rules", rules)
    assert ended.code == 1
    assert "rules.toml" in ended.line


def test_a_cold_first_run_says_what_it_waits_for(
    screened: Callable, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(cli.progress_bar, "kernels_are_cold", lambda: True)
    ended, _ = screened()
    assert f"about {cli.progress_bar.COMPILING_S} s" in ended.err


@pytest.fixture
def wide_dem(write_dem: Callable) -> Path:
    """Three valleys side by side, so that a ranch in one of them needs a third of the raster."""
    return write_dem("wide.tif", np.hstack([gully(), gully() + 3, gully()]))


@pytest.mark.parametrize("margin_cells", [12, -30], ids=["enough", "too small at first"])
def test_a_part_of_a_large_raster_gives_what_the_whole_gives(
    command: Callable,
    wide_dem: Path,
    write_boundary: Callable,
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    margin_cells: int,
) -> None:
    ranch = write_boundary(box(180, 200, 300, 60))
    common = ("screen", wide_dem, "--boundary", ranch, *RAIN)
    assert command(*common, "--out", tmp_path / "whole.gpkg").code == 0
    monkeypatch.setattr(cli.given.land, "WHOLE_UP_TO_CELLS", 1000)
    monkeypatch.setattr(cli.given.land, "OVERVIEW_CELLS", 30_000)
    monkeypatch.setattr(cli.given.land, "MARGIN_CELLS", margin_cells)
    monkeypatch.setattr(cli.given.land, "MARGIN_SHARE", 0.0 if margin_cells > 0 else -0.1)
    ended = command(*common, "--out", tmp_path / "part.gpkg", "-v")
    assert ended.code == 0, ended.err
    assert ("reading the whole raster" in ended.err) == (margin_cells < 0)
    whole, part = (read_layers(tmp_path / f"{n}.gpkg") for n in ("whole", "part"))
    assert part["sites"].rows == whole["sites"].rows > 0
    for name in ("drainage_area_ha", "headcut_height_m", "elevation_m", "q10_m3s"):
        np.testing.assert_allclose(
            part["sites"].columns[name], whole["sites"].columns[name], rtol=1e-6
        )
    told = " ".join(str(v) for v in part["run_info"].columns["value"])
    assert ("Only the part of the raster" in told) == (margin_cells > 0)


def test_the_sample_ranch(command: Callable, tmp_path: Path) -> None:
    plan = tmp_path / "ranch.gpkg"
    ended = command(
        "screen",
        SAMPLE / "ranch_dem.tif",
        *("--boundary", SAMPLE / "boundary.geojson", "--rain", SAMPLE / "rainfall.csv"),
        *("--curve-number", 79, "--out", plan),
    )
    assert ended.code == 0, ended.err
    sites = sites_of(plan)
    assert len(sites["rank"]) >= 20
    first = int(np.argmin(sites["rank"]))
    assert sites["q10_m3s"][first] > sites["q2_m3s"][first] > 0
    assert "comes first" in ended.out


def test_a_plan_holds_what_is_needed_without_its_raster(command: Callable, tmp_path: Path) -> None:
    path = tmp_path / "ranch.gpkg"
    ended = command(
        "screen",
        SAMPLE / "ranch_dem.tif",
        *("--boundary", SAMPLE / "boundary.geojson", "--rain", SAMPLE / "rainfall.csv"),
        *("--roads", SAMPLE / "ranch.gpkg", "--keep-clear", SAMPLE / "ranch.gpkg"),
        *("--keep-clear-layer", "keep_clear", "--curve-number", 79, "--crew-size", 6),
        *("--design-years", 25, "--units", "us", "--out", path),
    )
    assert ended.code == 0, ended.err
    plan = read_plan(path)
    ids = set(plan.sites["site_id"].tolist())
    for name in ("profile_points", "section_points", "field_notes"):
        assert set(plan.layers[name].columns["site_id"].tolist()) == ids
    notes = plan.layers["field_notes"]
    assert (shapely.distance(notes.geometry, plan.layers["sites"].geometry) == 0).all()
    assert set(notes.columns["decision"]) == {None}
    roads = plan.layers["roads"]
    assert roads.rows > 0
    # The texts are SI in a plan in US units too.
    used = settings_of({row["name"]: row["text"] for row in plan.rows("settings_used")})
    assert (used.build.design_period_yr, used.means.crew_size) == (25.0, 6)
    assert dict(used.rules.limits) == dict(load_rules().limits)
    assert used.build.keep is not None
    lines = np.concatenate([shapely.get_parts(line) for line in used.build.keep.roads])
    np.testing.assert_allclose(
        shapely.length(lines).sum(), shapely.length(roads.geometry).sum(), rtol=1e-9
    )
    relief = read_relief(path)
    assert relief is not None
    assert relief.grid.crs == plan.crs
    west, south, east, north = relief.grid.bounds
    box = shapely.box(west, south, east, north)
    assert shapely.within(plan.layers["sites"].geometry, box).all()
    with closing(sqlite3.connect(path)) as db:
        (size,) = db.execute("SELECT sum(length(tile_data)) FROM relief").fetchone()
    assert size < 1_000_000
