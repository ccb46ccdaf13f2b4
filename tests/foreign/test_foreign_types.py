"""Structures that the program has never heard of are drawn, priced, inspected and explained."""

from __future__ import annotations

import base64
import contextlib
import importlib
import io
import json
import re
import sqlite3
import zipfile
from collections.abc import Iterator
from pathlib import Path
from typing import Any
from xml.etree import ElementTree as ET

import numpy as np
import pypdfium2 as pdfium
import pytest
import shapely
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.image import imread
from matplotlib.text import Text

from cli import palette
from cli.figures import map_sheet
from cli.figures.profile_drawing import profile_sketch
from cli.figures.section_drawing import section_sketch
from cli.figures.site_drawings import SiteDrawings
from cli.main import run
from cli.packet import packet_making
from cli.packet.packet_making import chosen_sites, make_packet
from cli.plan.explanation import Wanted
from cli.plan.plan_reading import PlanFile, read_plan
from siting.works.costs import load_costs
from tests.foreign.conftest import SAMPLE, Screened

LATTICE, BENCH, FURROW = "stone lattice", "quiet bench", "crosswise furrow"
LABEL = "lattice of combed stone"
KEY = "stone-lattice"


def first(plan: PlanFile, structure: str, *, seen: bool = False) -> dict[str, Any]:
    """Best ranked site of a structure; with ``seen`` one whose channel the raster shows."""
    sites = [s for s in plan.rows("sites") if s["structure"] == structure]
    return min(
        (s for s in sites if not seen or s["width_source"] == "dem"), key=lambda s: s["rank"]
    )


def ran(*arguments: object) -> str:
    out = io.StringIO()
    with contextlib.redirect_stdout(out):
        assert run([str(a) for a in arguments]) == 0
    return out.getvalue()


@pytest.fixture
def figures(monkeypatch: pytest.MonkeyPatch) -> list[Figure]:
    """Every map that is drawn while the test runs."""
    found: list[Figure] = []
    save = map_sheet.save

    def keep(figure: Figure, path: Any) -> None:
        found.append(figure)
        save(figure, path)

    for module in ("cli.figures.site_map", "cli.figures.ranch_map"):
        monkeypatch.setattr(importlib.import_module(module), "save", keep)
    return found


def paths_of(axes: Axes) -> list[np.ndarray]:
    """Corners of every shape that the collections of axes draw."""
    return [
        np.asarray(path.vertices)
        for collection in axes.collections
        for path in collection.get_paths()
    ]


def words_of(figure: Figure) -> list[str]:
    return [text.get_text() for text in figure.findobj(Text)]


def holds(paths: list[np.ndarray], corners: Any) -> bool:
    """Whether some path runs through all of these corners."""
    wanted = np.asarray(corners, dtype=float)
    return any(
        len(path) >= len(wanted)
        and np.abs(path[:, None] - wanted[None]).max(axis=2).min(axis=0).max() < 1e-3
        for path in paths
    )


def test_all_three_load_and_stand_somewhere(plan: PlanFile) -> None:
    built = {s["structure"] for s in plan.rows("sites")}
    assert {LATTICE, BENCH, FURROW} <= built
    assert "one-rock dam" not in built  # a lattice suits better wherever one fits


def test_the_plan_holds_what_the_types_say(plan: PlanFile, package: Any) -> None:
    said = {row["structure"]: row for row in plan.rows("structure_types")}
    assert said[LATTICE]["label"] == LABEL
    assert said[LATTICE]["height_word"] == "proud"
    assert said[LATTICE]["symbol_words"] == "Lattice: comb the water"
    assert (said[BENCH]["label"], said[BENCH]["symbol"]) == (BENCH, None)
    site = first(plan, LATTICE)
    rows = plan.rows("structure_outlines", site["site_id"])
    grid = [r for r in rows if (r["view"], r["part"]) == ("side", "grid")]
    assert [(r["offset_m"], r["height_m"]) for r in grid] == [*package.TEETH, *package.UNDER]
    assert {r["part"] for r in rows if r["view"] == "section"} == {
        "grid", "left horn", "right horn",
    }  # fmt: skip
    assert not any(r["as_box"] for r in rows)
    looks = [r["text"] for r in plan.rows("instructions", site["site_id"]) if r["kind"] == "check"]
    assert tuple(looks) == package.StoneLattice.look_first


def test_the_ranch_map_draws_its_shape_and_explains_it(package: Any, screened: Screened) -> None:
    figure = screened.figure
    rings = [corner for ring in package.RINGS for corner in ring]
    at = [axes for axes in figure.axes if holds(paths_of(axes), rings)]
    assert len(at) == 2  # on the map and in its legend
    assert "Lattice: comb the water" in words_of(figure)
    # Those without a shape of their own keep that of their control.
    assert "Vertical control: stop a drop" in words_of(figure)
    image = imread(screened.map)
    assert image.shape[0] > 500


def test_the_close_up_draws_its_footprint(
    plan: PlanFile, plan_path: Path, figures: list[Figure], tmp_path: Path
) -> None:
    site = first(plan, LATTICE)
    ran("explain", plan_path, f"rank:{site['rank']}", "--picture", tmp_path / "site.png")
    (figure,) = figures
    layer = plan.layers["structures"]
    assert layer.geometry is not None
    mine = layer.geometry[layer.columns["site_id"] == site["site_id"]]
    assert len(mine) == 3
    paths = [path for axes in figure.axes for path in paths_of(axes)]
    for part in mine:
        assert holds(paths, shapely.get_coordinates(part)[:-1])
    (label,) = [w for w in words_of(figure) if w.startswith(f"Site {site['site_id']}: ")]
    assert LABEL in label
    assert "0.33 m proud" in label


def profile_patches(figure: Figure) -> list[np.ndarray]:
    return [np.asarray(p.get_path().vertices) for a in figure.axes for p in a.patches]


def test_its_side_view_and_section_are_drawn_to_scale(plan: PlanFile, package: Any) -> None:
    site = first(plan, LATTICE, seen=True)
    drawings = SiteDrawings(plan)
    profile, section = drawings.profile(site), drawings.section(site)
    assert profile is not None
    assert section is not None
    bed = float(np.interp(0.0, profile.station_m, profile.bed_m))
    teeth = [(-along, bed + height) for along, height in (*package.TEETH, *package.UNDER)]
    assert holds(profile_patches(profile_sketch(profile).figure), teeth)
    # Of its section three parts are drawn, lowest in the middle, as wide as it is built.
    patches = profile_patches(section_sketch(section).figure)
    grid, left, right = section.structures
    for part in (grid, left, right):
        assert holds(patches, np.column_stack([part.offset_m, part.elevation_m]))
    low = float(section.ground_m.min())
    assert grid.elevation_m.max() == pytest.approx(low + 0.41)
    assert grid.elevation_m.min() == pytest.approx(low - 0.2)
    wide = right.offset_m.max() - left.offset_m.min()
    assert wide == pytest.approx(site["width_m"] + 0.8, abs=0.01)


def test_one_that_does_not_say_how_it_looks_is_drawn_as_a_box_and_that_is_said(
    plan: PlanFile, page: dict[str, Any], sheets: tuple[str, dict[str, bytes]]
) -> None:
    site = first(plan, BENCH)
    rows = plan.rows("structure_outlines", site["site_id"])
    assert all(r["as_box"] for r in rows)
    side = [(r["offset_m"], r["height_m"]) for r in rows if r["view"] == "side"]
    assert set(side) == {(-0.5, -0.45), (-0.5, 0.0), (1.0, 0.0), (1.0, -0.45)}
    profile = SiteDrawings(plan).profile(site)
    assert profile is not None
    assert profile.as_box
    assert any(s.control == "vertical" and s.label for s in profile.structures)
    one = next(s for s in page["sites"] if s["id"] == site["site_id"])
    assert one["profile"]["box"]
    assert one["profile"]["bodies"]
    assert "Drawn as a box: its type gives footprint and height" in sheets[0]


@pytest.fixture(scope="module")
def sheets(plan: PlanFile) -> tuple[str, dict[str, bytes]]:
    """Words of a packet with one sheet of each, and its pictures."""
    pictures: dict[str, bytes] = {}
    set_type = vars(packet_making)["typeset"]

    def keep(data: Any, files: Any) -> bytes:
        pictures.update(files)
        return set_type(data, files)

    wanted = [Wanted(first(plan, name)["site_id"]) for name in (LATTICE, BENCH, FURROW)]
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(packet_making, "typeset", keep)
        made, _ = make_packet(plan, chosen_sites(plan, sites=wanted))
    with pdfium.PdfDocument(made) as document:
        texts = [page.get_textpage().get_text_range() for page in document]
    words = " ".join(" ".join(texts).replace("\ufffe\r\n", "").split())
    return words, pictures


def svg_paths(svg: bytes, colour: str) -> Iterator[np.ndarray]:
    """Corners of the paths that are filled with a colour."""
    for path in ET.fromstring(svg).iter("{http://www.w3.org/2000/svg}path"):
        if f"fill: {colour.lower()}" in path.get("style", ""):
            numbers = re.findall(r"[ML] ([-\d.]+) ([-\d.]+)", path.get("d", ""))
            yield np.array(numbers, dtype=float)


def test_a_sheet_tells_and_draws_it(
    plan: PlanFile, package: Any, sheets: tuple[str, dict[str, bytes]]
) -> None:
    words, pictures = sheets
    for text in (
        "Lattice of combed stone", "0.33 m proud, 1.8 m along the channel", "Tooth to tooth",
        "Horns into the banks", "teeth of the lattice", "Set the three teeth, each on two stones.",
        "A tooth falls out.", "A gap in the comb. Set it again.", "Lattice: comb the water",
        *package.StoneLattice.look_first,
    ):  # fmt: skip
        assert text in words, text
    # Not what is told of any other type.
    assert "solid banks for both ends" not in words
    number = first(plan, LATTICE)["site_id"]
    corners = np.array([*package.TEETH, *package.UNDER])
    # Turned and scaled as paper is, it has the corners of the type: downstream to the left, up.
    assert any(
        len(path) >= len(corners) and _alike(path[: len(corners)], corners * [-1, -1])
        for path in svg_paths(pictures[f"profile-{number}.svg"], palette.OCHRE)
    )
    assert len(list(svg_paths(pictures[f"section-{number}.svg"], palette.OCHRE))) == 3
    shape = pictures[f"symbol-site-{number}.svg"].decode()
    assert palette.svg_path(package.RINGS, scale=10.0, centre=14.0) in shape


def _alike(path: np.ndarray, corners: np.ndarray) -> bool:
    """Whether corners are the same but for place and scale, each axis its own."""
    a, b = (v - v.mean(axis=0) for v in (path, corners))
    scale = (a * b).sum(axis=0) / (b * b).sum(axis=0)
    return bool((scale > 0).all() and np.abs(a - b * scale).max() < 0.02 * np.ptp(a, axis=0).max())


def test_on_a_road_it_is_told_as_what_stands_on_a_road(
    sheets: tuple[str, dict[str, bytes]], plan: PlanFile
) -> None:
    words, pictures = sheets
    site = first(plan, FURROW)
    assert (site["purpose"], site["channel_id"]) == ("road", 0)
    assert "0.25 m deep, 1.0 m along the road" in words
    assert "Along the road" in words
    assert "Slope of the road" in words
    assert list(svg_paths(pictures[f"profile-{site['site_id']}.svg"], palette.GREEN))
    profile = SiteDrawings(plan).profile(site)
    assert profile is not None
    assert profile.water is None


@pytest.fixture(scope="module")
def page(plan_path: Path) -> dict[str, Any]:
    out = plan_path.with_suffix(".html")
    ran("page", plan_path, "--out", out)
    found = re.search(
        r'<script type="application/json" id="data">(.*?)</script>', out.read_text("utf-8"), re.S
    )
    assert found is not None
    return dict(json.loads(found[1]))


def test_the_page_tells_and_draws_it(plan: PlanFile, package: Any, page: dict[str, Any]) -> None:
    site = first(plan, LATTICE)
    one = next(s for s in page["sites"] if s["id"] == site["site_id"])
    assert (one["what"], one["shape"], one["control"]) == (LABEL, KEY, "grade")
    assert page["shapes"][KEY] == {
        "path": palette.svg_path(package.RINGS, scale=1.0, centre=0.0),
        "colour": palette.OCHRE,
        "label": "Lattice: comb the water",
    }
    profile = SiteDrawings(plan).profile(site)
    assert profile is not None
    bed = float(np.interp(0.0, profile.station_m, profile.bed_m))
    body = np.array(one["profile"]["bodies"][0]["at"]).reshape(-1, 2)
    for along, height in (*package.TEETH, *package.UNDER):
        away = np.abs(body - [-along, bed + height]).max(axis=1)
        assert away.min() < 0.011, (along, height)
    assert any(
        label[2].startswith(f"{site['site_id']}: {LABEL}") for label in one["profile"]["labels"]
    )
    assert len(one["section"]["bodies"]) == 3
    told = {page["texts"][b["title"]]: b["rows"] for b in one["blocks"]}
    sizes = [page["texts"][row[0]] for row in told["Sizes"]]
    assert {"Tooth to tooth", "Horns into the banks"} <= set(sizes)
    looks = [page["texts"][row] for row in told["Check on site before you start"]]
    assert tuple(looks) == package.StoneLattice.look_first
    outlines = [s for s in page["map"]["structures"] if s["site"] == site["site_id"]]
    assert len(outlines) == 3


def test_waypoints_call_it_by_its_name_and_show_its_shape(
    plan: PlanFile, plan_path: Path, tmp_path: Path
) -> None:
    site, road = first(plan, LATTICE), first(plan, FURROW)
    dem = SAMPLE / "ranch_dem.tif"
    ran("waypoints", plan_path, "--dem", dem, "--out", tmp_path / "w.gpx")
    text = (tmp_path / "w.gpx").read_text("utf-8")
    name = re.search(rf"<name>{site['rank']:02d}(\.\d+)? [a-z ]+: {LABEL}</name>", text)
    assert name is not None
    assert f"Build: {LABEL}, 0.33 m proud, 1.8 m along the channel" in text
    heading = rf"Site {road['site_id']}, work \d+, rank {road['rank']}(, number \d+ of \d+)?\. "
    assert re.search(rf"{heading}Build: {FURROW}, 0.25 m deep", text)
    assert "1.0 m along the road" in text
    ran("waypoints", plan_path, "--out", tmp_path / "w.kmz")
    with zipfile.ZipFile(tmp_path / "w.kmz") as archive:
        kml = archive.read("doc.kml").decode()
        icon = imread(io.BytesIO(archive.read(f"icons/{KEY}.png")))
        usual = imread(io.BytesIO(archive.read("icons/vertical.png")))
    assert f"<styleUrl>#{KEY}" in kml
    ochre = np.array([int(palette.OCHRE[i : i + 2], 16) / 255 for i in (1, 3, 5)])
    filled = np.abs(icon[..., :3] - ochre).max(axis=2) < 0.02
    assert filled.mean() > 0.1
    assert icon.shape == usual.shape
    middle = icon.shape[0] // 2
    assert not filled[middle, middle]  # its ring is hollow
    assert filled[middle, middle + round(0.85 * 22 * 64 / 72)]


def test_a_gis_gets_its_shape_in_both_languages(plan_path: Path, package: Any) -> None:
    with contextlib.closing(sqlite3.connect(plan_path)) as db:
        (styles,) = db.execute(
            "SELECT styleQML, styleSLD FROM layer_styles WHERE f_table_name = 'sites'"
        ).fetchall()
    wanted = palette.svg_path(package.RINGS, scale=18.0, centre=32.0)
    rules = {rule.get("label"): rule for rule in ET.fromstring(styles[0]).iterfind(".//rules/rule")}
    rule = rules["Lattice: comb the water"]
    assert "\"control\" = 'grade' AND \"structure\" = 'stone lattice'" in (rule.get("filter") or "")
    assert "\"structure\" <> 'stone lattice'" in (
        rules["Grade control (hold the bed)"].get("filter") or ""
    )
    symbol = ET.fromstring(styles[0]).find(f".//symbols/symbol[@name='{rule.get('symbol')}']")
    assert symbol is not None
    names = [o.get("value", "") for o in symbol.iter("Option") if o.get("name") == "name"]
    pictures = [base64.b64decode(n[7:]).decode() for n in names if n.startswith("base64:")]
    assert any(wanted in picture for picture in pictures)
    se = "{http://www.opengis.net/se}"
    (sld,) = [
        r for r in ET.fromstring(styles[1]).iter(f"{se}Rule")
        if r.findtext(f"{se}Name") == "Lattice: comb the water"
    ]  # fmt: skip
    inline = sld.find(f".//{se}InlineContent")
    assert inline is not None
    assert wanted in base64.b64decode(inline.text or "").decode()


def test_it_is_priced_and_its_materials_counted(plan: PlanFile) -> None:
    site = first(plan, LATTICE)
    (stone,) = [r for r in plan.rows("materials", site["site_id"]) if r["item"] == "stone_medium"]
    assert stone["amount"] == pytest.approx(2.5)
    assert stone["note"] == "teeth of the lattice"
    lines = {r["item"]: r for r in plan.rows("costs", site["site_id"])}
    assert lines["stone_medium"]["quantity"] == pytest.approx(stone["amount_with_spare"])
    assert lines["labour"]["likely"] > 0
    assert site["cost_likely"] == pytest.approx(lines["total"]["likely"])
    assert 0 < site["cost_low"] < site["cost_likely"] < site["cost_high"]
    assert site["crew_days"] > 0


def test_one_that_says_so_is_priced_as_a_whole(plan: PlanFile) -> None:
    site = first(plan, FURROW)
    lines = {r["item"]: r for r in plan.rows("costs", site["site_id"])}
    whole = lines["rolling_dip"]
    assert (whole["quantity"], whole["unit"]) == (1, "each")
    index = load_costs()["index.since_2006"].likely
    prices = (whole["low"], whole["likely"], whole["high"])
    assert prices == pytest.approx((390 * index, 795 * index, 1200 * index))
    # its stone is paid for besides
    assert lines["stone_medium"]["likely"] > 0
    assert site["cost_likely"] == pytest.approx(lines["total"]["likely"])
    lattice = {r["item"] for r in plan.rows("costs", first(plan, LATTICE)["site_id"])}
    assert "rolling_dip" not in lattice


def test_it_is_explained_in_words_and_for_machines(plan: PlanFile, plan_path: Path) -> None:
    site = first(plan, LATTICE)
    text = ran("explain", plan_path, site["site_id"])
    flat = " ".join(text.split())
    for words in (
        f"Site {site['site_id']}, rank {site['rank']}, work {site['work_id']}: {LABEL}",
        "A lattice hums in the wind.",
        "Asked: a bed that falls less than 20 %.",
        "Three teeth, as the invented handbook of lattices has them.",
        "Set the three teeth, each on two stones.",
        "A tooth falls out. Look for: A gap in the comb. Set it again.",
        "the invented handbook of lattices",
    ):
        assert words in flat, words
    told = json.loads(ran("explain", plan_path, site["site_id"], "--json"))
    assert told["site"]["structure"] == LATTICE
    assert told["structure_type"]["label"] == LABEL
    assert told["structure_type"]["symbol"] == "Lattice: comb the water"
    meanings = {row["name"]: row["meaning"] for row in told["sizes"]}
    assert (meanings["tooth"], meanings["height"]) == ("Tooth to tooth", "Height")


def test_measured_on_site_it_is_decided_sized_and_drawn_again(
    plan: PlanFile, plan_path: Path, tmp_path: Path
) -> None:
    site = first(plan, LATTICE, seen=True)
    notes = tmp_path / "notes.csv"
    wide = round(float(site["width_m"]) + 1.5, 1)
    notes.write_text(f"site_id,measured_width_m,measured_depth_m\n{site['site_id']},{wide},0.7\n")
    ran("revise", plan_path, notes, "--out", tmp_path / "revised.gpkg")
    revised = read_plan(tmp_path / "revised.gpkg")
    (now,) = [s for s in revised.rows("sites") if s["site_id"] == site["site_id"]]
    assert now["structure"] == LATTICE
    said = {row["structure"]: row for row in revised.rows("structure_types")}
    assert said[LATTICE]["label"] == LABEL

    def across(of: PlanFile) -> float:
        rows = of.rows("structure_outlines", site["site_id"])
        offsets = [r["offset_m"] for r in rows if r["view"] == "section"]
        return max(offsets) - min(offsets)

    assert across(revised) == pytest.approx(wide + 0.8, abs=0.01)
    assert across(plan) == pytest.approx(site["width_m"] + 0.8, abs=0.01)
    section = SiteDrawings(revised).section(now)
    assert section is not None
    assert len(section.structures) == 3
