"""The whole main job on the invented ranch."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
import shapely
from pyproj import CRS

from cli.plan.fields import HEADCUT_ANSWERS, fields_of
from cli.plan.fields_revising import FIELD_SITE_FIELDS
from cli.plan.layers import Layer
from siting.floods.flood_errors import (
    BankfullError,
    CurveNumberError,
    FloodInputError,
    RegionalEquationError,
)
from siting.floods.rainfall_reading import read_rainfall
from siting.floods.regional import RegionalSettings
from siting.layout.measuring import BuildSettings
from siting.places.flood_settings import FloodSettings
from siting.places.land_maps import LandSettings
from siting.places.terrain_settings import TerrainSettings
from siting.screen_settings import ScreenSettings
from siting.screening import screen
from siting.values.input_errors import RulesError
from siting.values.rules import load_rules
from siting.works.takes import Means
from siting.works.work import Judging
from terrain.reading.dem import read_dem
from terrain.values.errors import BoundaryError, ParameterError
from terrain.values.raster import Raster
from terrain.vectors.boundary import mask_of, read_boundary
from tests.siting.head_answers import assert_every_head_has_an_answer

SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"
FROM_FIELD = {f.name for f in FIELD_SITE_FIELDS} - {"pool_source"}
LAYERS = (
    "channels",
    "headcuts",
    "sites",
    "drainage_areas",
    "structures",
    "structure_lines",
    "pools",
    "cross_sections",
)


@pytest.fixture(scope="module")
def truth():
    return json.loads((SAMPLE / "truth.json").read_text("utf-8"))


@pytest.fixture(scope="module")
def raster():
    return read_dem(SAMPLE / "ranch_dem.tif").raster


@pytest.fixture(scope="module")
def settings():
    return ScreenSettings(floods=FloodSettings(read_rainfall(SAMPLE / "rainfall.csv"), 80.0))


@pytest.fixture(scope="module")
def whole(raster, settings):
    return screen(raster, settings=settings)


@pytest.fixture(scope="module")
def ranch(raster):
    return read_boundary(SAMPLE / "boundary.geojson", raster.grid.crs).polygon


@pytest.fixture(scope="module")
def inside(raster, ranch, settings):
    return screen(raster, boundary_polygon=ranch, settings=settings)


def test_every_headcut_has_a_site_or_a_reason(raster, settings, whole, inside, rules_with) -> None:
    assert assert_every_head_has_an_answer(inside)["site"] > 20
    counts = assert_every_head_has_an_answer(whole)
    assert counts["unsure"] >= 1
    # a list is never cut off: a budget chooses among works, and the heads keep their sites
    assert set(counts) <= {code for code, _ in HEADCUT_ANSWERS}
    steep = replace(settings, rules=rules_with(refer__slope=0.01))
    assert assert_every_head_has_an_answer(screen(raster, settings=steep))["hillside"] > 10


def near(table, x, y, metres):
    return np.flatnonzero(
        np.hypot(shapely.get_x(table.geometry) - x, shapely.get_y(table.geometry) - y) <= metres
    )


@pytest.mark.parametrize("name", LAYERS)
def test_layers_keep_to_the_field_table(whole, raster, name) -> None:
    table = getattr(whole, name)
    layer = Layer(name, table.geometry, table.columns, raster.grid.crs)
    assert layer.rows == table.size > 0
    missing = {f.name for f in fields_of(name)} - set(table.columns)
    # a screening fills everything but what comes from the field
    assert missing == (FROM_FIELD if name == "sites" else set())


#: What a headcut says whose fall, even split in two, asks for stone that nobody lifts.
TOO_STRONG = "too strong for stone that people can lift"


def test_every_planted_head_has_a_site_and_a_pair_or_a_reason(whole, truth) -> None:
    """Heads of at most 1.2 m get vertical control with its pair, or the text says why not."""
    c = whole.sites.columns
    limit = load_rules().high("hand_work.drop")
    paired = holding = reasons = unsure = strong = 0
    for head in truth["headcuts"]:
        if head["height_m"] > limit or head["height_m"] < 0.5:
            continue
        found = near(whole.headcuts, head["x"], head["y"], 5.0)
        if not (whole.headcuts.columns["confidence"][found] >= 0.5).any():
            unsure += 1  # not seen, or not sure enough for a site
            continue
        i = next(
            i
            for i in near(whole.sites, head["x"], head["y"], 5.0)
            if c["control"][i] in ("vertical", "refer")
        )
        if c["control"][i] == "refer":
            said = c["reason"][i]
            assert any(
                why in said
                for why in (
                    "may be above the 1.2 m that hands should build",
                    "is above the 1.2 m that hands should build",
                    "the 6.0 % that is the limit of hand work",
                    "the 1.8 m to which crew and structure are safe",
                    TOO_STRONG,
                )
            ), (head["id"], said)
            strong += TOO_STRONG in said
            reasons += 1
            continue
        if c["pair_id"][i] == 0:
            assert any(
                why in c["caution"][i]
                for why in (
                    "No grade control below it: ",
                    "No room for its own grade control: ",
                    "No place for a grade control below it: ",
                )
            ), head["id"]
            reasons += 1
            continue
        mates = np.flatnonzero(c["pair_id"] == c["pair_id"][i])
        base = mates[c["build_order"][mates] == 1]
        assert set(c["control"][base]) <= {"grade", "spread"}
        drop = c["headcut_height_m"][i]
        apart = shapely.distance(whole.sites.geometry[base[0]], whole.sites.geometry[i])
        # 4 to 6 drop heights from the foot; lip to foot and the bends of the channel come on top
        assert 3.0 * drop <= apart <= 6.0 * drop + 6.0, head["id"]
        if "Its grade control only holds the bed: a crest of" in c["caution"][i]:
            assert "measured on site may allow more" in c["caution"][i], head["id"]
            holding += 1
            continue
        own = mates[c["control"][mates] == "grade"]
        assert (c["structure_height_m"][own] >= 0.10).all(), head["id"]
        assert np.isfinite(c["toe_depth_m"][own]).all(), head["id"]
        paired += 1
    print(
        f"{paired} paired, {holding} only hold the bed, {reasons} without, {unsure} unsure; "
        f"{strong} of those without have a fall too strong for hands"
    )
    # a control below more heads than not, where the fall does not rule it out (three falls of 0.6
    # to 1.0 m with 0.17 to 1.0 m3/s), and no more than one head in ten unsure
    assert paired + holding + strong > reasons - strong
    assert strong <= 3
    assert unsure <= 0.1 * (paired + holding + reasons + unsure)
    # no demands but guards against a quiet loss, near what the sample gives: whatever moves them is
    # looked at head by head
    assert paired >= 7
    assert paired + holding >= 12


def test_the_high_head_is_referred(whole, truth) -> None:
    c = whole.sites.columns
    high = [h for h in truth["headcuts"] if h["height_m"] > 1.3]
    assert high
    for head in high:
        [i] = near(whole.sites, head["x"], head["y"], 5.0)
        assert c["control"][i] == "refer", head["id"]
        assert c["structure"][i] == "engineer"
        assert "above the 1.2 m" in c["reason"][i]


def test_nothing_stands_on_the_road_fill_or_the_pond(whole, truth) -> None:
    for place in (truth["road_fill"], truth["stock_pond"]):
        assert near(whole.sites, place["x"], place["y"], 15.0).size == 0, place["kind"]


def test_the_fan_gets_spreaders(whole, truth) -> None:
    """The large planted fan: a spreader on it or within 20 m of its ends."""
    channel = truth["channels"][0]
    [fan] = [r for r in channel["reaches"] if r["setting"] == "alluvial_fan"]
    station = np.array(channel["station_m"])
    on = (station >= fan["low_m"]) & (station <= fan["high_m"])
    line = shapely.linestrings(
        np.column_stack([np.array(channel["x"])[on], np.array(channel["y"])[on]])
    )
    spread = whole.sites.geometry[whole.sites.columns["control"] == "spread"]
    assert (shapely.distance(spread, line) <= 20).any()


def test_grade_controls_are_never_higher_than_allowed(whole, truth) -> None:
    c = whole.sites.columns
    grade = c["control"] == "grade"
    height, depth = c["structure_height_m"][grade], c["bankfull_depth_m"][grade]
    assert ((height >= 0.10) & (height <= 0.30)).all()
    low, high = c["bankfull_low_m"][grade], c["bankfull_high_m"][grade]
    with np.errstate(invalid="ignore"):
        sure = high <= 2 * low  # not where there is no estimate at all
    assert sure.any()
    assert (~sure).any()
    # a third of bankfull where it is sure, else the smallest, which the banks hold
    third = depth / 3 >= 0.10
    assert (height[sure & third] <= depth[sure & third] / 3 + 1e-6).all()
    assert (sure & ~third).any()
    assert height[~(sure & third)] == pytest.approx(0.10)
    told = c["caution"][grade]
    assert all("measure bankfull on site" in t for t in told[sure & ~third])
    assert all("measure it on site" in t for t in told[~sure])


def test_every_grade_control_and_nothing_else_has_a_pool_and_a_wedge(whole) -> None:
    c = whole.sites.columns
    grade = c["control"] == "grade"
    # an area or a volume behind a crest whose width nobody saw is a range, and no one figure
    seen = grade & (c["width_source"] == "dem")
    assert 0 < seen.sum() < grade.sum()
    assert np.array_equal(np.isfinite(c["wedge_length_m"]), grade)
    for name in ("pool_area_m2", "pool_volume_m3", "wedge_volume_m3"):
        assert np.array_equal(np.isfinite(c[name]), seen), name
    assert set(whole.pools.columns["site_id"]) == set(np.flatnonzero(grade) + 1)


def test_flows_grow_with_the_return_period_and_are_there(whole) -> None:
    c = whole.sites.columns
    q = np.column_stack([c[f"q{t}_m3s"] for t in (2, 5, 10, 25, 50, 100)])
    assert np.isfinite(q).all()
    assert (np.diff(q, axis=1) > 0).all()
    assert (c["tc_h"] > 0.02).all()


def test_ids_and_ranks_are_counts_and_the_order_is_by_reach_and_station(whole) -> None:
    c = whole.sites.columns
    n = whole.sites.size
    assert list(c["site_id"]) == list(range(1, n + 1))
    assert sorted(c["list_place"]) == list(range(1, n + 1))
    works = whole.works.columns
    assert list(works["rank"]) == list(range(1, whole.works.size + 1))
    assert sorted(works["work_id"]) == list(works["rank"])
    keys = list(zip(c["channel_id"], c["station_m"], strict=True))
    assert keys == sorted(keys)
    assert list(whole.drainage_areas.columns["site_id"]) == list(c["site_id"])


def test_every_site_says_why(whole) -> None:
    c = whole.sites.columns
    assert all(r and r.endswith(".") and "nan" not in r and "unknown" not in r for r in c["reason"])
    assert all("nan" not in (t or "") for t in c["caution"])
    assert f"{whole.sites.size} sites" in whole.summary
    assert "comes first" in whole.summary


def test_drainage_areas_are_those_of_the_sites(whole) -> None:
    area = shapely.area(whole.drainage_areas.geometry) / 1e4
    assert area == pytest.approx(whole.sites.columns["drainage_area_ha"], rel=1e-6)
    on = shapely.distance(whole.drainage_areas.geometry, whole.sites.geometry)
    assert (on <= 2.0).all()


def test_crests_lie_across_the_flow_at_their_site(whole) -> None:
    c, lines = whole.sites.columns, whole.structure_lines
    i = lines.columns["site_id"] - 1
    assert (c["control"][i] != "refer").all()
    assert lines.size == int((c["control"] != "refer").sum())
    # where nobody saw the width the crest is drawn at the widest, and its length is not told
    told = np.isfinite(lines.columns["crest_length_m"])
    assert told.sum() > 0.7 * told.size
    assert np.isfinite(c["width_low_m"][i][~told]).all()
    length = shapely.length(lines.geometry)[told]
    assert length == pytest.approx(lines.columns["crest_length_m"][told])
    assert (shapely.distance(lines.geometry, whole.sites.geometry[i]) < 2.0).all()
    ends = shapely.get_coordinates(lines.geometry).reshape(-1, 2, 2)
    step = ends[:, 1] - ends[:, 0]
    flow = np.radians(c["flow_azimuth_deg"][i])
    along = step[:, 0] * np.sin(flow) + step[:, 1] * np.cos(flow)
    assert np.abs(along) == pytest.approx(0, abs=1e-6)


def test_only_what_lies_inside_the_ranch_is_reported(inside, whole, ranch, raster) -> None:
    mask = mask_of(ranch, raster.grid)
    for table in (inside.sites, inside.headcuts):
        x, y = shapely.get_x(table.geometry), shapely.get_y(table.geometry)
        row, col = raster.grid.rowcol(x, y)
        # a lip is placed finer than its cell
        rows, cols = np.clip(row[:, None] + [-1, 0, 1], 0, 1199), np.clip(col, 0, 1199)
        assert mask[rows, cols[:, None]].any(axis=1).all()
    assert 0 < inside.headcuts.size < whole.headcuts.size
    # channels that carry water in come along, others do not
    touches = shapely.intersects(inside.channels.geometry, ranch)
    assert touches.any()
    assert not touches.all()
    assert inside.channels.size < whole.channels.size
    assert any("land that drains into it" in n for n in inside.notes)


def test_the_same_input_gives_the_same_result(raster, settings, whole) -> None:
    again = screen(raster, settings=settings)
    assert again.summary == whole.summary
    assert again.notes == whole.notes
    for name in LAYERS:
        a, b = getattr(again, name), getattr(whole, name)
        assert list(shapely.to_wkb(a.geometry)) == list(shapely.to_wkb(b.geometry))
        for column, values in a.columns.items():
            if values.dtype == object:
                assert list(values) == list(b.columns[column])
            else:
                np.testing.assert_array_equal(values, b.columns[column])


def test_without_rain_sites_still_come(raster) -> None:
    dry = screen(raster)
    assert dry.sites.size > 50
    assert np.isnan(dry.sites.columns["q10_m3s"]).all()
    assert any("Peak flows are empty: give rainfall and a curve number" in t for t in dry.cautions)


def test_barriers_that_were_cut_are_told_with_their_place(whole, truth) -> None:
    [note] = [n for n in whole.notes if n.startswith("Water was led through")]
    assert f"({truth['road_fill']['x']:.0f}"[:6] in note
    assert int(whole.facts["cuts of 0.5 m or more"]) >= 2


def test_a_boundary_without_ground_is_refused(raster) -> None:
    with pytest.raises(BoundaryError, match="no ground"):
        screen(raster, boundary_polygon=shapely.box(0, 0, 100, 100))


@pytest.mark.parametrize("rows", [1, 3, 30])
def test_ground_without_channels_gives_empty_layers(rows) -> None:
    z = np.add.outer(np.arange(float(rows)), np.arange(float(rows)))
    found = screen(Raster.from_array(z.astype(np.float32)))
    assert all(getattr(found, name).size == 0 for name in LAYERS)
    assert found.summary.startswith("0 headcuts and 0 sites")


def test_coarse_cells_are_told_to_show_no_channels() -> None:
    y, x = np.mgrid[0:80, 0:80]
    z = 100 + 0.3 * (80 - y) + 0.5 * np.abs(x - 40)
    found = screen(Raster.from_array(z.astype(np.float32), cell_m=10.0))
    assert found.sites.size == 0
    assert any("show neither headcuts nor channels" in n for n in found.notes)


@pytest.mark.parametrize(
    ("wrong", "error", "says"),
    [
        (lambda: FloodSettings(curve_number=120.0), CurveNumberError, "curve number of 120"),
        (lambda: FloodSettings(curve_number=0.0), CurveNumberError, "curve number of 0"),
        (
            lambda: FloodSettings(curve_number=80.0, maps=LandSettings("soils", "cover")),
            FloodInputError,
            "one curve number and maps",
        ),
        (lambda: FloodSettings(storm_type="IV"), FloodInputError, "storm type 'IV'"),
        (lambda: FloodSettings(division="atlantis"), BankfullError, "atlantis"),
        (lambda: RegionalSettings({"XX-1": 1.0}), RegionalEquationError, "region 'XX-1'"),
        (lambda: RegionalSettings(basin={"depth": 1.0}), RegionalEquationError, "'depth'"),
        (lambda: BuildSettings(design_period_yr=7), ParameterError, "7 years"),
        (lambda: Judging(horizon_yr=0.5), ParameterError, "horizon of 0.5 years"),
        (lambda: Judging(rank_by="height"), ParameterError, "'height'"),
        (lambda: TerrainSettings(channel_area_ha="some"), ParameterError, "'some'"),
    ],
)
def test_wrong_settings_are_refused(wrong, error, says) -> None:
    with pytest.raises(error, match=says):
        wrong()


def test_a_channel_area_of_nothing_is_refused(raster) -> None:
    with pytest.raises(ParameterError, match="channel area"):
        screen(raster, settings=ScreenSettings(terrain=TerrainSettings(channel_area_ha=0.0)))


def test_changed_limits_are_in_the_record(raster, tmp_path) -> None:
    path = tmp_path / "strict.toml"
    path.write_text(
        'version = 1\n[hand_work.drop]\nmin = 0.3\nmax = 0.6\nunit = "m"\nsource = "own"\n'
        'basis = "common practice"\nmeaning = "Low drops only"\n',
        encoding="utf-8",
    )
    strict = screen(raster, settings=ScreenSettings(rules=load_rules(path)))
    assert strict.facts["limits"] == "strict.toml, changed: hand_work.drop"
    control = strict.sites.columns["control"]
    heads = np.isfinite(strict.sites.columns["headcut_height_m"])
    assert (control[heads & (strict.sites.columns["headcut_height_m"] > 0.6)] == "refer").all()
    with pytest.raises(RulesError):
        load_rules(tmp_path / "none.toml")


@pytest.mark.real
def test_potholes_get_next_to_nothing(real_dem) -> None:
    """Hummocky ground without gullies: at most two headcuts."""
    found = screen(read_dem(real_dem("misc/minnesota_potholes_1m.tif")).raster)
    assert found.headcuts.size <= 2
    assert found.sites.size <= 4


@pytest.mark.real
def test_real_gullies_beyond_hand_work_are_referred(real_dem) -> None:
    """Pozo catchment at 4 m: heads of metres in gullies tens of metres wide."""
    found = screen(read_dem(real_dem("pozo/pozo_4m.tif")).raster)
    c = found.sites.columns
    assert found.headcuts.size >= 10
    assert (c["control"] == "vertical").sum() == 0
    assert (c["control"] == "refer").sum() >= 5
    assert CRS(found.raster.grid.crs).is_projected
    assert np.isfinite(c["lon"]).all()
    assert ((c["lon"] > -120) & (c["lon"] < -119)).all()


def test_works_are_the_sums_of_their_sites(whole) -> None:
    works, sites = whole.works.columns, whole.sites.columns
    assert works["work_id"].size > 0
    for i, number in enumerate(works["work_id"]):
        own = sites["work_id"] == number
        assert works["sites"][i] == own.sum()
        assert set(sites["rank"][own]) == {works["rank"][i]}
        assert sorted(sites["build_order"][own]) == list(range(1, own.sum() + 1))
        for name in ("cost_low", "cost_likely", "cost_high", "crew_days"):
            assert works[name][i] == pytest.approx(sites[name][own].sum()), name
        in_order = np.flatnonzero(own)[np.argsort(sites["build_order"][own])]
        assert works["site_ids"][i] == ", ".join(str(s) for s in sites["site_id"][in_order])
        lowest = int(np.flatnonzero(sites["site_id"] == works["lowest_site"][i])[0])
        assert sites["elevation_m"][lowest] == sites["elevation_m"][own].min()
        assert (whole.works.geometry[i].x, whole.works.geometry[i].y) == (
            whole.sites.geometry[lowest].x,
            whole.sites.geometry[lowest].y,
        )
    # what is worked out from what, by hand
    product = works["saved_m3"] / works["cost_likely"] * 1000.0
    np.testing.assert_allclose(works["saved_per_cost"], product)
    both = works["soil_saved_m3"] + 1000.0 * works["swale_saved_ha"]
    np.testing.assert_allclose(works["saved_m3"], both)
    lost = works["soil_lost_m3"] + 1000.0 * works["swale_lost_ha"]
    np.testing.assert_allclose(
        works["saved_m3"], lost * works["chance_lost"] * works["chance_holds"], atol=1e-9
    )
    refer = sites["control"] == "refer"
    assert set(whole.referred.columns["site_id"]) == set(sites["site_id"][refer])
    assert not sites["rank"][refer].any()
    if refer.any() and works["rank"].size:
        assert sites["list_place"][refer].min() > sites["list_place"][sites["rank"] > 0].max()


def test_a_budget_is_the_sum_of_the_works_that_it_buys(raster, settings, whole) -> None:
    half = 0.5 * float(whole.works.columns["cost_likely"].sum())
    bought = screen(raster, settings=replace(settings, means=Means(budget=half)))
    works, sites = bought.works.columns, bought.sites.columns
    chosen = works["chosen"]
    assert works["cost_likely"][chosen].sum() <= half
    assert (works["saved_m3"][chosen] > 0).all()
    assert works["functions"][chosen].all()
    assert set(sites["work_id"][sites["chosen"]]) == set(works["work_id"][chosen])
    assert all(bool(why) != bool(c) for why, c in zip(works["chosen_why"], chosen, strict=True))
    costs = bought.tables["costs"]
    total = (costs["site_id"] == -1) & (costs["item"] == "total")
    assert costs["likely"][total].sum() == pytest.approx(works["cost_likely"][chosen].sum())
