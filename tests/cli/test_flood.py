"""``gullywalk flood``, and the tables of floods in a plan."""

from __future__ import annotations

import hashlib
import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from cli.main import run
from cli.plan.fields import CFS_M3S
from tests.reading import read_layers

SAMPLE = Path(__file__).parents[2] / "sample_dem"
DEM, MAPS = SAMPLE / "ranch_dem.tif", SAMPLE / "ranch.gpkg"
LAND = ("--rain", SAMPLE / "rainfall.csv", "--soils", MAPS, "--cover", MAPS)
POINT = ("--at", "540600,4139000", "--snap", "80")


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The sample ranch with its own maps, screened once."""
    return screened(tmp_path_factory.mktemp("plan") / "plan.gpkg", "si")


@pytest.fixture(scope="module")
def plan_us(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The same in US units."""
    return screened(tmp_path_factory.mktemp("plan") / "us.gpkg", "us")


def screened(path: Path, units: str) -> Path:
    given = ["screen", DEM, "--boundary", MAPS, "--boundary-layer", "boundary", *LAND, "-q"]
    more = ["--region", "NM-6", "--units", units, "--out", path]
    assert run([str(g) for g in (*given, *more)]) == 0
    return path


def test_the_plan_holds_every_method_at_every_site(plan: Path) -> None:
    layers = read_layers(plan)
    sites, floods = layers["sites"].columns, layers["floods"].columns
    inputs = layers["flood_inputs"].columns
    assert layers["floods"].rows == 4 * 6 * layers["sites"].rows
    assert set(floods["method"]) == {"unit_hydrograph", "graphical", "rational", "regional"}
    np.testing.assert_array_equal(inputs["site_id"], sites["site_id"])
    for i, site in enumerate(sites["site_id"]):
        rows = (floods["site_id"] == site) & floods["used"]
        assert set(floods["method"][rows]) == {sites["flood_method"][i]}
        for years in (2, 5, 10, 25, 50, 100):
            row = rows & (floods["return_period_yr"] == years)
            assert floods["q_m3s"][row] == pytest.approx(sites[f"q{years}_m3s"][i], nan_ok=True)
    np.testing.assert_array_equal(inputs["curve_number"], sites["curve_number"])
    # soils and cover differ from site to site
    assert np.ptp(sites["curve_number"]) > 5
    known = np.isfinite(floods["low_m3s"]) & np.isfinite(floods["high_m3s"])
    assert known.any()
    assert (floods["low_m3s"][known] <= floods["q_m3s"][known]).all()
    assert (floods["q_m3s"][known] <= floods["high_m3s"][known]).all()


def test_the_plan_keeps_the_rain_and_says_what_the_maps_lack(plan: Path) -> None:
    layers = read_layers(plan)
    rain = layers["rainfall"].columns
    row = (rain["duration_h"] == 24) & (rain["return_period_yr"] == 10)
    assert rain["depth_mm"][row] == pytest.approx(2.49 * 25.4, abs=0.01)
    info = layers["run_info"].columns
    texts = dict(zip(info["name"], info["value"], strict=True))
    assert "ranch.gpkg crossed with ranch.gpkg" in texts["curve number"]
    assert any("cover code 95 is not in the table" in t for t in texts.values())
    assert any("Dual soil groups" in t for t in texts.values())
    assert texts["soils"].startswith("ranch.gpkg, ")


def test_the_sites_say_their_range_and_what_it_rests_on(plan: Path) -> None:
    layers = read_layers(plan)
    sites, floods = layers["sites"].columns, layers["floods"].columns
    used = floods["used"] & (floods["return_period_yr"] == 10)
    seen = 0
    for i, site in enumerate(sites["site_id"]):
        if not np.isfinite(sites["design_flow_m3s"][i]):
            continue
        row = used & (floods["site_id"] == site)
        for end in ("low", "high"):
            told = sites[f"design_flow_{end}_m3s"][i]
            assert told == pytest.approx(floods[f"{end}_m3s"][row][0], nan_ok=True)
        assert sites["flow_range_from"][i] == floods["range_from"][row][0]
        if np.isfinite(sites["design_flow_high_m3s"][i]):
            # a curve number five higher or lower alone moves such flows by a quarter at least
            ratio = sites["design_flow_high_m3s"][i] / sites["design_flow_low_m3s"][i]
            assert ratio > 1.25
            seen += 1
    assert seen > 20


def test_the_sheet_names_what_rules_the_range(command: Callable, plan: Path) -> None:
    text = " ".join(command("flood", plan, 2).out.split())
    assert "low to high" in text
    assert "dry to wet" in text
    assert "Range of the 10-year flow: " in text
    assert "it rests on: " in text
    assert "beside the range, no part of it." in text
    assert "The rain comes without confidence bounds: its error is not in the range." in text
    # NM-6 was fitted on gages of 0.18 to 7,220 square miles
    assert "fitted on drainage areas of 46.6 to 1,870,000 ha" in text
    us = " ".join(command("flood", plan, 2, "--units", "us").out.split())
    assert "fitted on drainage areas of 115 to 4,620,000 acres" in us
    found = json.loads(command("flood", plan, 2, "--json").out)
    used = next(m for m in found["methods"] if m["used"])["flows"][2]
    assert used["dry_m3s"] < used["low_m3s"] < used["q_m3s"] < used["high_m3s"]
    assert used["range_from"]


def test_bounds_of_the_rain_widen_the_range(command: Callable, tmp_path: Path) -> None:
    rain = tmp_path / "rain.csv"
    rows = "duration,2,10,100\n15 min,12,20,35\n1 h,20,32,55\n24 h,38,62,98\n"
    table = [line.split(",") for line in rows.splitlines()[1:]]

    def scaled(by: float) -> str:
        return "\n".join(",".join([d, *(f"{float(x) * by:g}" for x in r)]) for d, *r in table)

    bounds = f"Lower bound, 90 %\n{scaled(0.5)}\nUpper bound, 90 %\n{scaled(2)}\n"
    bounds = bounds.replace("bound, 90 %", "bound of 90 %")
    given = ("flood", "--at", "541012,4138974", DEM, "--rain", rain, "--curve-number", "80")
    seen = {}
    for name, text in (("without", rows), ("with", rows + bounds)):
        rain.write_text(f"units: mm\n{text}", "utf-8")
        ended = command(*given, "--json")
        assert ended.code == 0, ended.err
        found = json.loads(ended.out)
        used = next(m for m in found["methods"] if m["used"])["flows"][2]
        seen[name] = used
        assert ("without confidence bounds" in (used["note"] or "")) == (name == "without")
    assert seen["with"]["q_m3s"] == seen["without"]["q_m3s"]
    assert seen["with"]["high_m3s"] > 1.5 * seen["without"]["high_m3s"]
    assert seen["with"]["low_m3s"] < seen["without"]["low_m3s"]
    assert seen["without"]["range_from"] == "curve number 5 higher or lower"
    assert seen["with"]["range_from"] == "the rain's 90 % confidence bounds"


def test_a_site_of_a_plan_side_by_side(command: Callable, plan: Path) -> None:
    sites = read_layers(plan)["sites"].columns
    ranked = int(sites["site_id"][sites["rank"] == 1][0])
    ended = command("flood", plan, ranked)
    assert ended.code == 0, ended.err
    lines = ended.out.splitlines()
    assert max(map(len, lines)) <= 100
    assert lines[0].startswith(f"Site {ranked}, rank 1: ")
    # what is only referred has no rank
    referred = int(sites["site_id"][sites["rank"] == 0][0])
    assert command("flood", plan, referred).out.startswith(f"Site {referred}, no rank: ")
    text = " ".join(ended.out.split())
    for part in (
        "* unit_hydrograph",
        "graphical",
        "rational",
        "regional",
        "NRCS lag equation",
        "Kirpich",
        "TR-55, 2nd ed., 1986, chapter 4",
        "Waltemeyer, 2008",
        "* used here: unit_hydrograph",
        "Hydrograph of the 10-year flood",
        "Bieger and others 2015",
    ):
        assert part in text, part


def test_json_agrees_with_the_plan_in_both_units(command: Callable, plan: Path) -> None:
    layers = read_layers(plan)
    si, us = (
        json.loads(command("flood", plan, 3, "--json", "--units", units).out)
        for units in ("si", "us")
    )
    floods = layers["floods"].columns
    for of_si, of_us in zip(si["methods"], us["methods"], strict=True):
        for a, b in zip(of_si["flows"], of_us["flows"], strict=True):
            row = (
                (floods["site_id"] == 3)
                & (floods["method"] == of_si["method"])
                & (floods["return_period_yr"] == a["return_period_yr"])
            )
            assert a["q_m3s"] == pytest.approx(floods["q_m3s"][row][0])
            assert b["q_cfs"] == pytest.approx(a["q_m3s"] / CFS_M3S, abs=0.006)
    assert us["inputs"]["drainage_area_ac"] == pytest.approx(
        si["inputs"]["drainage_area_ha"] * 2.4710538, abs=0.001
    )
    flood = si["hydrograph"]
    step_s = (flood["time_h"][1] - flood["time_h"][0]) * 3600
    assert sum(flood["flow_m3s"]) * step_s == pytest.approx(flood["volume_m3"], rel=0.005)
    used = next(m for m in si["methods"] if m["used"])
    assert max(flood["flow_m3s"]) == pytest.approx(used["flows"][2]["q_m3s"], rel=0.01)
    assert us["hydrograph"]["volume_acre_ft"] == pytest.approx(
        flood["volume_m3"] / 1233.48184, abs=0.001
    )


def test_a_plan_in_us_units_gives_the_same_floods(
    command: Callable, plan: Path, plan_us: Path
) -> None:
    one, two = (
        json.loads(command("flood", p, 5, "--json", "--units", "si").out) for p in (plan, plan_us)
    )
    for a, b in zip(one["methods"], two["methods"], strict=True):
        for f, g in zip(a["flows"], b["flows"], strict=True):
            assert f["q_m3s"] == pytest.approx(g["q_m3s"], abs=0.0003)


def test_a_point_agrees_with_the_site_of_the_plan_there(command: Callable, plan: Path) -> None:
    """The same place by way of the raster: the same flows as the plan holds."""
    layers = read_layers(plan)
    sites = layers["sites"]
    grades = np.flatnonzero(sites.columns["control"] == "grade")
    i = int(grades[np.argmax(sites.columns["drainage_area_ha"][grades])])
    place = sites.geometry[i]
    ended = command(
        "flood", "--at", f"{place.x},{place.y}", DEM, *LAND, "--snap", 0, "--region", "NM-6",
        "--json",
    )  # fmt: skip
    assert ended.code == 0, ended.err
    found = json.loads(ended.out)
    used = next(m for m in found["methods"] if m["used"])
    for flow in used["flows"]:
        years = flow["return_period_yr"]
        assert flow["q_m3s"] == pytest.approx(sites.columns[f"q{years}_m3s"][i], rel=0.01)
    assert found["inputs"]["curve_number"] == pytest.approx(
        sites.columns["curve_number"][i], abs=0.05
    )


def test_the_hydrograph_is_drawn_the_same_byte_for_byte(
    command: Callable, plan: Path, tmp_path: Path
) -> None:
    digests = []
    for name in ("one.png", "two.png"):
        path = tmp_path / name
        ended = command("flood", plan, 2, "--figure", path, "--return-period", 100)
        assert ended.code == 0, ended.err
        assert ended.out.splitlines()[-1] == f"Wrote {path}"
        digests.append(hashlib.sha256(path.read_bytes()).hexdigest())
    assert digests[0] == digests[1]
    before = (tmp_path / "one.png").read_bytes()
    ended = command("flood", plan, 2, "--figure", tmp_path / "one.png")
    assert ended.code == 1
    assert "--overwrite" in ended.line
    assert (tmp_path / "one.png").read_bytes() == before
    ended = command(
        "flood", plan, 2, "--figure", tmp_path / "one.png", "--overwrite", "--units", "us"
    )
    assert ended.code == 0
    assert (tmp_path / "one.png").read_bytes() != before


def test_no_hydrograph_without_short_storms(command: Callable, tmp_path: Path) -> None:
    """A 24-hour depth alone gives peaks by the graphical method, and no hydrograph."""
    picture = tmp_path / "flood.png"
    given = ("flood", *POINT, DEM, "--rain-24h", "2=38mm,10=62mm", "--curve-number", "80")
    ended = command(*given, "--figure", picture)
    assert ended.code == 1
    assert "no hydrograph of the 10-year flood can be drawn" in ended.line
    assert ended.out == ""
    assert not picture.exists()
    ended = command(*given)
    assert ended.code == 0
    assert "* used here: graphical" in ended.out
    assert "No hydrograph of the 10-year flood can be drawn" in ended.out
    assert json.loads(command(*given, "--json").out)["hydrograph"] is None


def test_an_area_that_the_raster_cuts_makes_every_flow_a_minimum(
    command: Callable, write_dem: Callable
) -> None:
    dem = write_dem()
    ended = command(
        "flood", "--at", "540080,4139780", dem, "--rain-24h", "2=38mm,10=62mm",
        "--curve-number", "80",
    )  # fmt: skip
    assert ended.code == 0, ended.err
    text = " ".join(ended.out.split())
    assert "a minimum: the raster does not hold all of it" in text
    assert "Caution: The raster's edge or a hole cuts the drainage area" in text
    assert "The flow is a minimum." in text


def test_floods_at_a_point_read_the_roughness_of_channels_from_the_rules(
    command: Callable, tmp_path: Path
) -> None:
    own = tmp_path / "rules.toml"
    own.write_text(
        'version = 1\n[channel.roughness]\nvalue = 0.09\nunit = "Manning\'s n"\n'
        'source = "two reaches measured"\nbasis = "common practice"\nmeaning = "ours"\n',
        encoding="utf-8",
    )
    given = ("flood", *POINT, DEM, *LAND, "--json")
    ended = [command(*given), command(*given, "--rules", own)]
    assert [e.code for e in ended] == [0, 0], ended[1].err
    before, after = (json.loads(e.out)["inputs"] for e in ended)
    assert after["tc_channel_h"] == pytest.approx(2 * before["tc_channel_h"])
    assert "Manning with roughness 0.09" in after["tc_method"]
    assert "Manning with roughness 0.045" in before["tc_method"]
    q = [{m["method"]: m["flows"] for m in json.loads(e.out)["methods"]} for e in ended]
    assert q[1] != q[0]


def test_the_method_asked_for_is_used(command: Callable) -> None:
    ended = command("flood", *POINT, DEM, *LAND, "--flood-method", "graphical", "--json")
    assert ended.code == 0, ended.err
    found = json.loads(ended.out)
    assert [m["method"] for m in found["methods"] if m["used"]] == ["graphical"]


def test_a_raster_of_cover_in_another_system(command: Callable, tmp_path: Path) -> None:
    """The sample's cover drawn on 5 m cells in another system: nearly the same curve number."""
    import pyogrio
    import rasterio
    from affine import Affine
    from rasterio.features import rasterize

    cover = pyogrio.read_dataframe(MAPS, layer="cover").to_crs("EPSG:5070")
    west, south, east, north = cover.total_bounds
    shape = (int((north - south) / 5) + 1, int((east - west) / 5) + 1)
    transform = Affine(5, 0, west, 0, -5, north)
    shapes = zip(cover.geometry, cover.code, strict=True)
    codes = rasterize(shapes, out_shape=shape, transform=transform, dtype="uint8")
    path = tmp_path / "cover.tif"
    with rasterio.open(
        path, "w", driver="GTiff", height=shape[0], width=shape[1], count=1, dtype="uint8",
        crs="EPSG:5070", transform=transform, nodata=0,
    ) as file:  # fmt: skip
        file.write(codes, 1)
    given = ("flood", *POINT, DEM, "--rain", SAMPLE / "rainfall.csv", "--soils", MAPS, "--json")
    one, two = (json.loads(command(*given, "--cover", c).out) for c in (MAPS, path))
    assert one["inputs"]["curve_number"] == pytest.approx(two["inputs"]["curve_number"], abs=0.5)


def test_a_plan_in_us_units_is_read_back_in_them(command: Callable, plan_us: Path) -> None:
    assert "Peak flow, cfs" in command("flood", plan_us, 1).out
    assert "Peak flow, m3/s" in command("flood", plan_us, 1, "--units", "si").out
