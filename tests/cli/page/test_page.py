"""The page as a file: what is in it, how large it is, and what a person may get wrong."""

from __future__ import annotations

import base64
import gzip
import hashlib
import json
import re
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest

from cli.figures.site_drawings import SiteDrawings
from cli.page.map_data import Frame, degrees
from cli.page.page_drawings import profile_data
from cli.page.page_texts import Texts, explanations, raised, shortened
from cli.page.page_writing import SCRIPTS, page_data, page_html
from cli.plan.geopackage import write_geopackage
from cli.plan.plan_reading import read_plan
from terrain.values.reader_units import figures, quantity
from tests.cli.page.conftest import HOSTILE, ROOT, make_page, write_plan
from tests.example_plan import UTM, example_layers, example_tables

FORMAT_1 = ROOT / "tests" / "data" / "plan_format_1"
PARTS = ROOT / "cli" / "page" / "parts"


def data_of(page: Path) -> dict[str, Any]:
    text = page.read_text(encoding="utf-8")
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', text, re.S)
    assert found is not None
    return dict(json.loads(found[1]))


def every_text(value: Any) -> list[str]:
    if isinstance(value, str):
        return [value]
    if isinstance(value, dict):
        value = list(value.values())
    return [t for v in value for t in every_text(v)] if isinstance(value, list) else []


def test_small_quick_and_whole(sample_plan: Path, sample_page: Path, tmp_path: Path) -> None:
    start = time.process_time()  # whatever else the machine does
    again = make_page(sample_plan, tmp_path / "again.html")
    assert time.process_time() - start < 10
    assert again.read_bytes() == sample_page.read_bytes()
    assert sample_page.stat().st_size < 2_000_000
    data = data_of(sample_page)
    plan = read_plan(sample_plan)
    assert len(data["sites"]) == len(plan.sites["site_id"]) > 50
    assert [site["place"] for site in data["sites"]] == sorted(plan.sites["list_place"])
    assert data["map"]["relief"]["address"].startswith("data:image/webp;base64,")
    for name in ("channels", "headcuts", "structures", "pools", "areas", "ranch", "roads"):
        assert data["map"][name], name


def test_works_and_what_waits_are_those_of_the_plan(sample_plan: Path, sample_page: Path) -> None:
    data, plan = data_of(sample_page), read_plan(sample_plan)
    works = {int(w["work_id"]): w for w in plan.rows("works")}
    assert [w["rank"] for w in data["works"]] == list(range(1, len(works) + 1))
    # A work whose width nobody saw is sorted by the high end of the range that it shows.
    assert {bool(w["width_unseen"]) for w in works.values()} == {True, False}
    for shown in data["works"]:
        work, numbers = works[shown["id"]], shown["numbers"]
        cost, days = ("cost_likely", "crew_days")
        if work["width_unseen"]:
            cost, days = ("cost_high", "crew_days_high")
            assert " to " in shown["words"]["cost"]
        for name, field in (("saved", "saved_m3"), ("cost", cost), ("days", days)):
            assert numbers[name] == pytest.approx(work[field], abs=1e-5), (shown["id"], name)
    chosen = [w for w in works.values() if w["chosen"]]
    # what saves nothing is listed, and not chosen
    assert 0 < len(chosen) < len(works)
    named = {"The chosen set": chosen, "All works": list(works.values())}
    for line, (name, own) in zip(data["sums"], named.items(), strict=True):
        saved, cost, days = (
            sum(w[field] for w in own) for field in ("saved_m3", "cost_likely", "crew_days")
        )
        spent, taken = f"{cost:,.0f}", figures(days)
        if any(w["width_unseen"] for w in own):
            ends = [sum(w[f"cost_{end}"] for w in own) for end in ("low", "high")]
            spent = " to ".join(f"{end:,.0f}" for end in ends)
            ends = [sum(w[f"crew_days_{end}"] for w in own) for end in ("low", "high")]
            taken = " to ".join(figures(end) for end in ends)
        assert line == (
            f"{name}: {len(own)} works, saves {raised(quantity(saved, 'm3', digits=3))}, "
            f"cost {spent}, crew days {taken}"
        )
    for work in data["works"]:
        assert ", ".join(map(str, work["sites"])) == works[work["id"]]["site_ids"]
        told = {data["texts"][name]: data["texts"][text] for name, text in work["rows"]}
        assert told["Doing less"] == works[work["id"]]["without"]
    waits = {s["id"]: s["waits"]["risk"] for s in data["sites"] if s["waits"]}
    assert waits == {r["site_id"]: r["risk_rank"] for r in plan.rows("referred")}
    built = [n for work in data["works"] for n in work["sites"]]
    assert sorted([*built, *waits]) == sorted(s["id"] for s in data["sites"])


def test_a_plan_of_an_older_format_lists_its_sites(tmp_path: Path) -> None:
    old = tmp_path / "old.gpkg"
    old.write_bytes(gzip.decompress((FORMAT_1 / "plan.gpkg.gz").read_bytes()))
    data = data_of(make_page(old, tmp_path / "old.html"))
    assert data["works"] == data["sums"] == []
    assert [s["rank"] for s in data["sites"]] == list(range(1, len(data["sites"]) + 1))
    assert all(s["waits"] is None or s["waits"]["mark"] == str(s["rank"]) for s in data["sites"])


def test_policy_names_the_very_bytes(sample_page: Path) -> None:
    text = sample_page.read_text(encoding="utf-8")
    policy = re.search(r'http-equiv="Content-Security-Policy" content="([^"]*)"', text)
    assert policy is not None
    rules = dict(part.strip().split(" ", 1) for part in policy[1].split(";"))
    assert rules["default-src"] == "'none'"
    assert rules["img-src"] == "data:"
    assert "unsafe" not in policy[1]
    for rule, tag in (("style-src", "style"), ("script-src", "script")):
        (body,) = re.findall(rf"<{tag}>(.*?)</{tag}>", text, re.S)
        digest = base64.b64encode(hashlib.sha256(body.encode()).digest()).decode()
        assert rules[rule] == f"'sha256-{digest}'"


def test_nothing_leads_out(sample_page: Path) -> None:
    text = sample_page.read_text(encoding="utf-8")
    named = set(re.findall(r"https?://[^\s'\"<)]+", text))
    assert named <= {"http://www.w3.org/2000/svg"}
    assert not re.search(r"\b(fetch|XMLHttpRequest|WebSocket|import|eval|Function)\s*\(", text)
    for script in PARTS.glob("*.js"):
        source = script.read_text(encoding="utf-8")
        assert not re.search(r"innerHTML|outerHTML|insertAdjacentHTML|document\.write", source)
    assert {path.stem for path in PARTS.glob("*.js")} == set(SCRIPTS)


def test_hostile_texts_stay_texts(hostile_plan: Path, tmp_path: Path) -> None:
    page = make_page(hostile_plan, tmp_path / "page.html")
    text = page.read_text(encoding="utf-8")
    assert text.count("<script") == text.count("</script>") == 2
    assert "<img" not in text
    assert text.count("</title>") == 1
    data = data_of(page)
    for name in HOSTILE:
        assert name.strip() in data["texts"]
    assert len(data["title"]) <= 80
    assert data["wholeTitle"].startswith("</title><b>Ditch")
    assert all(len(site["what"]) <= 90 for site in data["sites"])


def test_us_units_throughout(hostile_plan: Path) -> None:
    plan = read_plan(hostile_plan)
    data = page_data(plan, frame=Frame.around(plan), picture=None)
    assert data["unit"] == "ft"
    assert data["perMetre"] == pytest.approx(1 / 0.3048)
    drops = {site["id"]: site["words"]["drop"] for site in data["sites"]}
    assert drops[1] == "3.0 ft"
    assert [t for t in every_text(data["sites"]) if re.search(r"\d (m|ha|m3/s)$", t)] == []


def test_title_and_shaded_ground_given(
    sample_plan: Path, sample_page: Path, tmp_path: Path
) -> None:
    dem = str(ROOT / "sample_dem" / "ranch_dem.tif")
    page = make_page(sample_plan, tmp_path / "p.html", "--title", "A & <b>", "--dem", dem)
    assert "<title>A &amp; &lt;b&gt;</title>" in page.read_text(encoding="utf-8")
    ours, plans = data_of(page)["map"]["relief"], data_of(sample_page)["map"]["relief"]
    assert ours["address"] != plans["address"]


def test_a_plan_without_sites(empty_plan: Path, tmp_path: Path) -> None:
    data = data_of(make_page(empty_plan, tmp_path / "empty.html"))
    assert data["sites"] == []
    assert data["line"].startswith("No place was found")


@pytest.mark.parametrize("missing", ["reasons", "profile_points"])
def test_an_older_plan(command: Callable, tmp_path: Path, missing: str) -> None:
    tables = [table for table in example_tables() if table.name != missing]
    plan = write_geopackage(tmp_path / "old.gpkg", list(example_layers().values()), tables=tables)
    ended = command("page", plan, "--out", tmp_path / "p.html")
    assert ended.code == 1
    assert "made by an older version" in ended.line
    assert not (tmp_path / "p.html").exists()


def test_what_a_person_may_get_wrong(command: Callable, empty_plan: Path, tmp_path: Path) -> None:
    notes = tmp_path / "notes.gpkg"
    notes.write_text("these are notes\n")
    taken = tmp_path / "taken.html"
    taken.write_text("old\n")
    good = tmp_path / "good.html"
    for arguments, words in (
        ((tmp_path / "none.gpkg", "--out", good), "no file"),
        ((notes, "--out", good), "not a GeoPackage"),
        ((empty_plan, "--out", taken), "exists already"),
        ((empty_plan, "--out", tmp_path / "page.pdf"), "ends in .html"),
        ((empty_plan, "--out", tmp_path / "no" / "page.html"), "no folder"),
        ((empty_plan, "--out", good, "--dem", tmp_path / "no.tif"), "no.tif"),
    ):
        ended = command("page", *arguments)
        assert ended.code == 1, ended.err
        assert words in ended.line
        assert "unexpected" not in ended.line
        assert not good.exists()
    assert taken.read_text() == "old\n"
    assert command("page", empty_plan, "--out", taken, "--overwrite").code == 0
    assert command("page", empty_plan).code == 2
    assert command("page", empty_plan, "--out", empty_plan).code == 2


def test_fields_filled_on_site_are_told(tmp_path: Path) -> None:
    layers = example_layers()
    plan = read_plan(write_plan(tmp_path / "plan.gpkg", layers))
    html = page_html(plan, frame=Frame.around(plan), picture=None)
    assert "Seen on site" in html
    wide = layers["field_notes"].columns["measured_width_m"][0]
    assert "Width between the bank tops" in html
    assert np.isfinite(wide)


def test_the_grid_gives_the_degrees_of_any_place(sample_plan: Path) -> None:
    import pyproj

    plan = read_plan(sample_plan)
    frame = Frame.around(plan)
    assert plan.crs is not None
    grid = degrees(frame, plan.crs)
    n = grid["n"]
    west, south, east, north = frame.bounds
    turn = pyproj.Transformer.from_crs(plan.crs, 4326, always_xy=True)
    # Half way between four points of the grid, where the error is greatest.
    i, j = 7, 4
    x = west + (i + 0.5) / (n - 1) * (east - west)
    y = south + (j + 0.5) / (n - 1) * (north - south)
    lon, lat = turn.transform(x, y)
    at = [j * n + i, j * n + i + 1, (j + 1) * n + i, (j + 1) * n + i + 1]
    assert np.mean([grid["lon"][k] for k in at]) == pytest.approx(lon, abs=1e-6)
    assert np.mean([grid["lat"][k] for k in at]) == pytest.approx(lat, abs=1e-6)


def test_every_site_on_a_channel_is_drawn_to_scale(sample_plan: Path) -> None:
    plan = read_plan(sample_plan)
    drawings = SiteDrawings(plan)
    drawn = with_water = 0
    for found in explanations(plan):
        profile = profile_data(found, drawings)
        if profile is None or not np.isfinite(found.site["structure_height_m"]):
            continue
        drawn += 1
        assert profile["bodies"], found.site["site_id"]
        assert np.all(np.diff(profile["x"]) > 0)
        if "water" in profile:
            with_water += 1
            # Water never stands below the bed and never falls upstream.
            assert np.all(np.array(profile["water"]) >= np.array(profile["z"]))
            assert np.all(np.diff(profile["water"]) >= 0)
        if not np.isfinite(found.site["structure_length_m"]):
            continue  # nobody saw the width: the length is a range
        # Whatever the structure, the body lies where the footprint is and not longer.
        own = profile["bodies"][0]["at"][0::2]
        # a range where nobody saw the width: drawn at the widest
        length = next(r["value_high"] for r in found.rows["sizes"] if r["name"] == "length")
        assert max(own) - min(own) <= 2.2 * length + 0.1
    assert drawn > 40
    assert with_water


def test_small_helpers() -> None:
    texts = Texts()
    assert [texts.keep("a"), texts.keep("b"), texts.keep("a")] == [0, 1, 0]
    assert texts.all == ["a", "b"]
    assert raised("1,400 m2 and 3 m3/s, 2 km2.") == "1,400 m² and 3 m³/s, 2 km²."
    assert raised("m25 and dm2x") == "m25 and dm2x"
    assert shortened("x" * 200, 20) == "x" * 19 + "…"
    assert shortened("  a \n b ") == "a b"
    assert UTM.is_projected
