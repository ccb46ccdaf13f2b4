"""``gullywalk waypoints``: files, console and map, from an invented plan on invented ground."""

from __future__ import annotations

import contextlib
import csv
import io
import itertools
import re
import zipfile
from collections.abc import Callable
from dataclasses import dataclass
from importlib import resources
from pathlib import Path

import gpxpy
import numpy as np
import pyogrio
import pytest
import rasterio
import shapely
from fastkml import KML, Placemark
from fastkml.utils import find_all
from lxml import etree
from matplotlib.image import imread
from pyproj import CRS, Transformer

from cli import palette
from cli.main import run
from cli.plan.fields import Units
from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer, empty_layer
from cli.waypoints.looks import COLOURS, loop_look
from terrain.values.raster import Raster
from tests.example_plan import UTM, example_layers, example_raster, example_tables, texts

GPX_SCHEMA = Path(__file__).resolve().parents[1] / "data" / "gpx11.xsd"
LONG = "Ω" * 10_000


def write_plan(path: Path, units: Units = "si", **changed: Layer | None) -> Path:
    layers = example_layers() | changed
    kept = [layer for layer in layers.values() if layer is not None]
    return write_geopackage(path, kept, tables=example_tables(), units=units)


def write_raster(path: Path, raster: Raster, *, shift_m: float = 0.0, epsg: int = 32612) -> Path:
    t = raster.grid.transform
    profile = {
        "driver": "GTiff",
        "height": raster.grid.rows,
        "width": raster.grid.cols,
        "count": 1,
        "dtype": "float32",
        "transform": rasterio.Affine(t.a, 0, t.c + shift_m, 0, t.e, t.f),
        "crs": rasterio.CRS.from_epsg(epsg),
    }
    with rasterio.open(path, "w", **profile) as file:
        file.write(raster.elevation_m, 1)
    return path


def ground() -> Raster:
    """The invented valleys on cells of a stride."""
    return example_raster(rows=250, cols=300, cell_m=2.0)


def with_sites(**columns: np.ndarray) -> Layer:
    sites = example_layers()["sites"]
    return Layer("sites", sites.geometry, {**sites.columns, **columns}, sites.crs)


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_plan(tmp_path_factory.mktemp("plan") / "plan.gpkg")


@pytest.fixture(scope="module")
def dem(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_raster(tmp_path_factory.mktemp("dem") / "ground.tif", ground())


@dataclass(frozen=True)
class Run:
    """One run with all it can write."""

    folder: Path
    lines: list[str]

    def read(self, ending: str) -> bytes:
        return (self.folder / f"walk{ending}").read_bytes()


@pytest.fixture(scope="module")
def walked(plan: Path, dem: Path, tmp_path_factory: pytest.TempPathFactory) -> Run:
    """Loops of an hour, in every kind of file."""
    folder = tmp_path_factory.mktemp("walk")
    given = ["waypoints", plan, "--dem", dem, "--hours", 1, "--minutes-per-site", 10]
    files = ["--list", folder / "walk.csv", "--map", folder / "walk.png"]
    with contextlib.redirect_stdout(io.StringIO()) as out:
        for ending, more in ((".gpx", files), (".kml", []), (".kmz", [])):
            assert run([str(a) for a in [*given, "--out", folder / f"walk{ending}", *more]]) == 0
    return Run(folder, out.getvalue().splitlines())


@pytest.fixture(scope="module")
def gpx_schema() -> etree.XMLSchema:
    return etree.XMLSchema(etree.parse(GPX_SCHEMA))


@pytest.fixture(scope="module")
def kml_schema() -> etree.XMLSchema:
    """The OGC's schema as fastkml ships it."""
    with resources.as_file(resources.files("fastkml") / "schema" / "ogckml22.xsd") as path:
        return etree.XMLSchema(etree.parse(path))


def done(command: Callable, *arguments: object) -> list[str]:
    ended = command("waypoints", *arguments)
    assert ended.code == 0, ended.err
    lines: list[str] = ended.out.splitlines()
    assert max(len(line) for line in lines if not line.startswith("Wrote")) <= 100
    return lines


def failed(command: Callable, *arguments: object) -> str:
    ended = command("waypoints", *arguments)
    assert ended.code == 1
    line: str = ended.line
    return line


def written(command: Callable, folder: Path, ending: str, *arguments: object) -> bytes:
    out = folder / f"out{ending}"
    done(command, *arguments, "--out", out, "--overwrite")
    return out.read_bytes()


def expected_degrees() -> np.ndarray:
    """Longitude and latitude of the sites by rank."""
    sites = example_layers()["sites"]
    xy = shapely.get_coordinates(sites.geometry)[np.argsort(sites.columns["list_place"])]
    return np.column_stack(Transformer.from_crs(UTM, CRS(4326), always_xy=True).transform(*xy.T))


# ---- GPX ----------------------------------------------------------------------------------------


def test_gpx_keeps_to_the_schema_and_is_read_back(walked: Run, gpx_schema: etree.XMLSchema) -> None:
    data = walked.read(".gpx")
    gpx_schema.assertValid(etree.fromstring(data))
    read = gpxpy.parse(data.decode())
    assert read.version == "1.1"
    assert [w.name[:2] for w in read.waypoints] == ["1 ", "2 ", "3 ", "4 ", "5 ", "E1"]
    places = [(w.longitude, w.latitude) for w in read.waypoints]
    np.testing.assert_allclose(places, expected_degrees(), atol=1e-7)
    assert read.waypoints[0].elevation == pytest.approx(1516.0)
    assert "does not say above which level they are counted" in read.description
    assert len(read.routes) == len(read.tracks) > 1
    stops = []
    for route, track in zip(read.routes, read.tracks, strict=True):
        assert route.points[0].name == route.points[-1].name == "Start"
        stops += [p.name for p in route.points[1:-1]]
        ((segment,),) = [track.segments]
        first, last = segment.points[0], segment.points[-1]
        assert (first.longitude, first.latitude) == (last.longitude, last.latitude)
        assert (first.longitude, first.latitude) == (
            route.points[0].longitude,
            route.points[0].latitude,
        )
        assert all(1480 < p.elevation < 1560 for p in segment.points)
        # What the track is long is what its words say.
        assert re.match(
            r"\d works?( and \d places? not for hands)?( \(\d sites\))?, ", track.description
        )
        [said] = re.findall(r", (\d+) m, ", track.description)
        assert float(said) == pytest.approx(segment.length_2d(), rel=0.005)
    assert sorted(stops) == [w.name for w in read.waypoints]  # type: ignore[type-var]


def test_the_schema_check_finds_what_is_wrong(gpx_schema: etree.XMLSchema) -> None:
    """A check that could not fail would prove nothing."""
    start = '<gpx xmlns="http://www.topografix.com/GPX/1/1" version="1.1" creator="x">'
    good = '<wpt lat="1" lon="2"><ele>3</ele><name>a</name><cmt>b</cmt></wpt>'
    assert gpx_schema.validate(etree.fromstring(f"{start}{good}</gpx>"))
    for bad in (
        '<wpt lat="1" lon="2"><name>a</name><ele>3</ele></wpt>',
        '<wpt lat="91" lon="2"/>',
        '<wpt lat="1" lon="180"/>',
        '<wpt lat="1"/>',
        '<wpt lat="1" lon="2"><ele>nan</ele></wpt>',
        f"<trk/>{good}",
        "<rte><number>-1</number></rte>",
        "<metadata><bounds/></metadata>",
    ):
        assert not gpx_schema.validate(etree.fromstring(f"{start}{bad}</gpx>")), bad


def test_gpx_is_read_by_gdal_too(walked: Run) -> None:
    out = walked.folder / "walk.gpx"
    assert len(pyogrio.read_dataframe(out, layer="waypoints")) == 6
    loops = len(pyogrio.read_dataframe(out, layer="routes"))
    assert loops > 1
    assert len(pyogrio.read_dataframe(out, layer="route_points")) == 6 + 2 * loops
    frame = pyogrio.read_dataframe(out, layer="tracks")
    assert len(frame) == loops
    assert (shapely.length(frame.geometry.values) > 0).all()


# ---- KML ----------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", [".kml", ".kmz"])
def test_kml_keeps_to_the_schema_and_is_read_back(
    walked: Run, kml_schema: etree.XMLSchema, ending: str
) -> None:
    data = walked.read(ending)
    if ending == ".kmz":
        with zipfile.ZipFile(io.BytesIO(data)) as archive:
            data = archive.read("doc.kml")
    kml_schema.assertValid(etree.fromstring(data))
    marks = list(find_all(KML.from_string(data.decode().split("?>")[1]), of_type=Placemark))
    points = [m for m in marks if m.style_url and not m.style_url.url.startswith("#loop")]  # type: ignore[attr-defined]
    assert len(points) == 6
    places = [m.geometry.coords[0][:2] for m in points]  # type: ignore[attr-defined]
    np.testing.assert_allclose(places, expected_degrees(), atol=1e-7)
    lines = [m for m in marks if m.geometry.geom_type == "LineString"]  # type: ignore[attr-defined]
    assert len(lines) > 1
    for line in lines:
        assert line.geometry.coords[0] == line.geometry.coords[-1]  # type: ignore[attr-defined]


def test_the_kml_schema_check_finds_what_is_wrong(kml_schema: etree.XMLSchema) -> None:
    start = '<kml xmlns="http://www.opengis.net/kml/2.2"><Document>'
    for bad in ("<description>b</description><name>a</name>", "<Style><IconStyle><color>red"
                "</color></IconStyle></Style>"):  # fmt: skip
        document = etree.fromstring(f"{start}{bad}</Document></kml>")
        assert not kml_schema.validate(document), bad


def test_kml_is_read_by_gdal_too(walked: Run) -> None:
    out = walked.folder / "walk.kml"
    frame = pyogrio.read_dataframe(out, layer="Sites by rank")
    np.testing.assert_allclose(
        shapely.get_coordinates(frame.geometry.values), expected_degrees(), atol=1e-7
    )


def test_kmz_holds_its_icons_and_no_clock(
    command: Callable, plan: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    data = written(command, tmp_path, ".kmz", plan)
    monkeypatch.setattr("time.time", lambda: 2e9)
    assert written(command, tmp_path, ".kmz", plan) == data
    with zipfile.ZipFile(io.BytesIO(data)) as archive:
        names = archive.namelist()
        assert names[0] == "doc.kml"
        assert {i.date_time for i in archive.infolist()} == {(1980, 1, 1, 0, 0, 0)}
        kml = archive.read("doc.kml").decode()
        for name in names[1:]:
            assert f"<href>{name}</href>" in kml
            picture = imread(io.BytesIO(archive.read(name)))
            assert picture.shape == (64, 64, 4)
            assert picture[0, 0, 3] == 0
            assert picture[..., 3].max() == 1
        # One that is not sure is drawn as an outline, as everywhere.
        assert any(name.endswith("-unsure.png") for name in names)
    assert "http" not in kml.replace("http://www.opengis.net/kml/2.2", "")


# ---- Both ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("ending", [".gpx", ".kml"])
def test_hostile_texts_stay_texts(
    command: Callable,
    tmp_path: Path,
    ending: str,
    gpx_schema: etree.XMLSchema,
    kml_schema: etree.XMLSchema,
) -> None:
    names = texts(
        "</name><script>alert(1)</script>",
        "سد من حجر واحد",
        "Zä\u0001\u001b[31mun\u200f\u202e & <b>",
        LONG,
        "]]>\r\n&amp;",
        "\ufffe ok",
    )
    ranch = example_layers()["ranch"]
    hostile = Layer(
        "ranch", ranch.geometry, {**ranch.columns, "name": texts("<Ranch> & " + LONG)}, UTM
    )
    sites = with_sites(structure=names, reason=texts(*["<img src=x onerror=y> & more. " * 400] * 6))
    plan = write_plan(tmp_path / "plan.gpkg", sites=sites, ranch=hostile)
    data = written(command, tmp_path, ending, plan)
    root = etree.fromstring(data)
    (gpx_schema if ending == ".gpx" else kml_schema).assertValid(root)
    assert len(data) < 40_000
    found = [e.text for e in root.iter("{*}name")]
    assert any(n.endswith("</name><script>alert(1)</script>") for n in found)
    assert any("سد من حجر واحد" in n for n in found)
    assert any(n.endswith("Zä [31mun & <b>") for n in found)
    assert max(map(len, found)) <= 120
    assert not list(root.iter("{*}script"))
    notes = [e.text for e in root.iter("{*}desc" if ending == ".gpx" else "{*}description")]
    assert any("<img" in n for n in notes) == (ending == ".gpx")
    if ending == ".kml":
        # A viewer takes a description for HTML: there the text is quoted once more.
        assert any("&lt;img" in n for n in notes)


def test_without_the_ground_no_order_is_made(command: Callable, plan: Path, tmp_path: Path) -> None:
    out = tmp_path / "sites.gpx"
    lines = done(command, plan, "--out", out)
    assert " ".join(lines).startswith("6 sites by rank. No walking order can be made without")
    read = gpxpy.parse(out.read_text())
    assert len(read.waypoints) == 6
    assert not read.routes
    assert not read.tracks
    assert "No walking order" in read.description


def test_only_the_first_by_rank(command: Callable, plan: Path, dem: Path, tmp_path: Path) -> None:
    out = tmp_path / "sites.gpx"
    done(command, plan, "--out", out, "--top", 2, "--dem", dem)
    read = gpxpy.parse(out.read_text())
    assert len(read.waypoints) == 2
    assert len(read.routes[0].points) == 4
    assert len(gpxpy.parse(written(command, tmp_path, ".gpx", plan, "--top", 99)).waypoints) == 5, (
        "only works are first by rank; what is referred is in none"
    )


def test_what_is_said_at_a_site(command: Callable, plan: Path, tmp_path: Path) -> None:
    read = gpxpy.parse(written(command, tmp_path, ".gpx", plan).decode())
    second = read.waypoints[1]
    assert second.name == "2 headcut: Rock \"bowl\" 'A'"
    assert "drop of 0.90 m" in second.comment
    assert "channel 3.1 m wide" in second.comment
    assert "A drop of 1.1 m moves up a valley" in second.description
    assert "Careful: Ask." in read.waypoints[5].description
    assert {w.type for w in read.waypoints} <= {"vertical", "grade", "spread", "refer"}


def test_us_units_are_for_reading_and_heights_in_gpx_stay_metres(
    command: Callable, dem: Path, tmp_path: Path
) -> None:
    plan = write_plan(tmp_path / "plan.gpkg", "us")
    listed = tmp_path / "legs.csv"
    out = tmp_path / "out.gpx"
    lines = done(command, plan, "--dem", dem, "--out", out, "--list", listed)
    assert any(" ft up" in line for line in lines)
    assert not any(" km" in line for line in lines)
    read = gpxpy.parse(out.read_text())
    assert read.waypoints[0].elevation == pytest.approx(1516.0, abs=0.01)
    assert "channel 10 ft wide" in read.waypoints[1].comment
    assert "distance_ft" in listed.read_text().splitlines()[0]


# ---- Walk ---------------------------------------------------------------------------------------


def test_the_table_of_legs_and_its_file_agree(walked: Run) -> None:
    lines = walked.lines
    assert max(map(len, lines)) <= 100 + len(str(walked.folder))
    rows = list(csv.DictReader(io.StringIO(walked.read(".csv").decode())))
    loops = [list(g) for _, g in itertools.groupby(rows, key=lambda r: r["loop"])]
    assert len(loops) > 1
    assert sorted(r["to_site"] for r in rows if r["to_site"]) == list("123456")
    for loop in loops:
        assert loop[0]["from_site"] == loop[-1]["to_site"] == ""
        minutes = sum(float(r["walk_min"]) + float(r["stay_min"]) for r in loop)
        assert minutes <= 60.2
        assert float(loop[-1]["arrive_min"]) == pytest.approx(minutes, abs=0.6)
    text = "\n".join(lines)
    assert text.count("back at the start") == 3 * len(loops)
    assert "All orders were tried" in text
    assert "times the walking along the best ways" in " ".join(lines)
    assert "Tobler 1993" in text
    assert f"{sum(float(r['distance_m']) for r in rows):.0f} m" in lines[0]


def test_the_start_is_the_road_or_what_is_given(
    command: Callable, walked: Run, plan: Path, dem: Path, tmp_path: Path
) -> None:
    text = " ".join(walked.lines)
    assert "starts at the point of a road nearest to the middle of the sites" in text
    given = tmp_path / "b.gpx"
    lon, lat = Transformer.from_crs(UTM, CRS(4326), always_xy=True).transform(500_300, 3_999_700)
    text = " ".join(done(command, plan, "--out", given, "--dem", dem, "--start", f"{lon},{lat}"))
    assert "starts at the place given" in text
    start = gpxpy.parse(given.read_text()).routes[0].points[0]
    assert start.longitude == pytest.approx(lon, abs=1e-6)
    same = tmp_path / "c.gpx"
    done(command, plan, "--out", same, "--dem", dem, "--start", "500300,3999700")
    assert gpxpy.parse(same.read_text()).routes[0].points[0].latitude == pytest.approx(lat)


def test_the_map_of_the_walk(walked: Run) -> None:
    assert f"Wrote {walked.folder / 'walk.png'}" in walked.lines
    pixels = imread(io.BytesIO(walked.read(".png")))
    assert pixels.shape[0] > 900
    assert pixels.shape[1] > 1200
    for colour in COLOURS[:2]:
        rgb = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
        close = np.abs(pixels[..., :3] - rgb).max(axis=2) < 0.02
        assert close.sum() > 300, colour


def test_the_same_plan_gives_the_same_bytes(
    command: Callable, walked: Run, plan: Path, dem: Path, tmp_path: Path
) -> None:
    given = (plan, "--dem", dem, "--hours", 1, "--minutes-per-site", 10)
    kmz, picture = tmp_path / "walk.kmz", tmp_path / "walk.png"
    done(command, *given, "--out", kmz, "--map", picture)
    assert kmz.read_bytes() == walked.read(".kmz")
    assert picture.read_bytes() == walked.read(".png")


def test_loops_look_different_from_each_other_and_from_the_rest() -> None:
    looks = [str(loop_look(i)) for i in range(1, 10)]
    assert len(set(looks)) == 9
    used = {palette.BRICK, palette.OCHRE, palette.GREEN, palette.CHANNEL, palette.HEADCUT}
    assert not used & set(COLOURS)


def test_a_raster_that_was_changed_is_told(command: Callable, plan: Path, tmp_path: Path) -> None:
    raster = ground()
    other = Raster.from_array(raster.elevation_m + 1, grid=raster.grid)
    dem = write_raster(tmp_path / "other.tif", other)
    ended = command("waypoints", plan, "--out", tmp_path / "a.gpx", "--dem", dem)
    assert ended.code == 0
    assert "is not the raster that the plan was made from" in ended.err


def test_sites_off_the_raster_are_named(command: Callable, plan: Path, tmp_path: Path) -> None:
    """A raster that ends halfway: what lies beyond has no way."""
    raster = ground()
    half = Raster.from_array(
        raster.elevation_m[:, :145],
        grid=type(raster.grid)(raster.grid.rows, 145, raster.grid.transform, raster.grid.crs),
    )
    dem = write_raster(tmp_path / "half.tif", half)
    text = " ".join(done(command, plan, "--out", tmp_path / "a.gpx", "--dem", dem))
    assert "No way leads from the start to site" in text
    read = gpxpy.parse((tmp_path / "a.gpx").read_text())
    assert len(read.waypoints) == 6
    assert len(read.routes[0].points) < 8


# ---- What may go wrong --------------------------------------------------------------------------


def test_errors_are_one_line_and_leave_nothing_behind(
    command: Callable, plan: Path, dem: Path, tmp_path: Path
) -> None:
    out = tmp_path / "a.gpx"
    walk = (plan, "--out", out, "--dem", dem)
    assert "expected a name that ends in .gpx, .kml or .kmz" in failed(
        command, plan, "--out", tmp_path / "a.shp"
    )
    assert "no folder" in failed(command, plan, "--out", tmp_path / "no" / "a.gpx")
    assert "ends in .png" in failed(command, *walk, "--map", tmp_path / "a.jpg")
    assert "ends in .csv" in failed(command, *walk, "--list", tmp_path / "a.txt")
    assert "no file" in failed(command, tmp_path / "none.gpkg", "--out", out)
    assert "not a GeoPackage" in failed(command, dem, "--out", out)
    assert "lies outside the ground" in failed(command, *walk, "--start", "499000,3999700")
    assert "lies outside the ground" in failed(command, *walk, "--start", "10.5,47.2")
    assert "0.02 hours are too short for the nearest site" in failed(
        command, *walk, "--hours", "0.02"
    )
    assert not list(tmp_path.iterdir())
    out.write_text("old")
    assert "--overwrite" in failed(command, *walk)
    assert out.read_text() == "old"


def test_a_raster_of_another_place_or_system(command: Callable, plan: Path, tmp_path: Path) -> None:
    out = tmp_path / "a.gpx"
    away = write_raster(tmp_path / "away.tif", ground(), shift_m=50_000)
    assert "the sites do not lie on away.tif" in failed(command, plan, "--out", out, "--dem", away)
    other = write_raster(tmp_path / "zone.tif", ground(), epsg=32613)
    assert "another coordinate system" in failed(command, plan, "--out", out, "--dem", other)
    assert not out.exists()


def test_an_empty_plan_and_an_older_one(command: Callable, tmp_path: Path) -> None:
    out = tmp_path / "a.gpx"
    empty = write_plan(
        tmp_path / "empty.gpkg",
        sites=empty_layer("sites", UTM),
        field_notes=empty_layer("field_notes", UTM),
    )
    assert "empty.gpkg has no sites, so there is nowhere to walk to" in failed(
        command, empty, "--out", out
    )
    old = write_geopackage(tmp_path / "old.gpkg", [example_layers()["sites"]])
    assert "made by an older version" in failed(command, old, "--out", out)
    assert not out.exists()


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["--start", "here"], "--start is given without --dem"),
        (["--hours", "3"], "--hours is given without --dem"),
        (["--map", "a.png"], "--map is given without --dem"),
        (["--hours", "0", "--dem", "x.tif"], "not in the range"),
        (["--top", "0"], "not in the range"),
        (["--start", "here", "--dem", "x.tif"], "is not a place; expected LON,LAT"),
        (["--start", "1,2,3", "--dem", "x.tif"], "is not a place"),
        (["--start", "nan,2", "--dem", "x.tif"], "is not a place"),
        (["--map", "a.gpx", "--dem", "x.tif"], "given for both --out and --map"),
        (["--dem", "a.gpx"], "given for both --dem and --out"),
    ],
)
def test_usage(command: Callable, arguments: list[str], words: str) -> None:
    if arguments[0] == "--start" and len(arguments) == 2:
        arguments = ["--start", "1,2"]
    ended = command("waypoints", "plan.gpkg", "--out", "a.gpx", *arguments)
    assert ended.code == 2
    assert words in ended.line
