"""``gullywalk revise``: the sample's plan with measurements, in files as people bring them."""

from __future__ import annotations

import contextlib
import csv
import io
import json
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio
import pyogrio.raw
import pytest
import shapely

from cli.plan.fields import convert_columns
from cli.plan.fields_revising import REVISED_TABLES
from cli.plan.layers import Layer
from cli.plan.plan_layers import layer_of
from cli.plan.plan_reading import PlanFile, read_plan
from cli.plan.relief_layer import read_relief
from cli.plan.unit_sentences import worded
from cli.revise.field_file import read_field_file
from siting.revising.revise import PlanParts, Revised, revise
from siting.revising.revised_tables import revised_sites
from terrain.values.reader_units import told_in
from tests.cli.conftest import Ended
from tests.plans import sample_plan

SAMPLE = Path(__file__).parents[2] / "sample_dem"
LONG = "Ein sehr langer Text mit Umlauten äöü. " * 257  # more than 10,000 characters


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_plan(tmp_path_factory.mktemp("si") / "plan_si.gpkg", "si")


@pytest.fixture(scope="module")
def plan_us(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return sample_plan(tmp_path_factory.mktemp("us") / "plan_us.gpkg", "us")


@pytest.fixture
def field(tmp_path: Path) -> Callable[..., Path]:
    """Write a CSV table."""

    def write(text: str, name: str = "field.csv", encoding: str = "utf-8") -> Path:
        path = tmp_path / name
        path.write_bytes(text.encode(encoding))
        return path

    return write


def site_with(plan: PlanFile, **wanted: Any) -> int:
    """Lowest number of a site with some values."""
    sites = plan.sites
    ok = np.ones(len(sites["site_id"]), bool)
    for name, value in wanted.items():
        ok &= sites[name] == value
    return int(sites["site_id"][np.flatnonzero(ok)[0]])


def parts_of(plan: PlanFile) -> PlanParts:
    return PlanParts(
        records=[r["text"] for r in plan.rows("site_records")],
        settings={r["name"]: r["text"] for r in plan.rows("settings_used")},
        length_unit="m",
        project=lambda lon, lat: (lon, lat),
    )


def written(name: str, columns: Any, units: str) -> dict[str, list[Any]]:
    """Columns as they stand in a file; an empty text is none."""
    out = convert_columns(name, columns, units)  # type: ignore[arg-type]
    return {
        n: [
            None if v == "" or (isinstance(v, float) and np.isnan(v)) else v
            for v in values.tolist()
        ]
        for n, values in out.items()
    }


@pytest.mark.parametrize("units", ["si", "us"])
def test_nothing_measured_reproduces_the_plan(
    request: pytest.FixtureRequest, field: Callable, units: str
) -> None:
    """Every site, every structure and every table, to the last digit that a plan holds."""
    plan = read_plan(request.getfixturevalue("plan" if units == "si" else "plan_us"))
    table = read_field_file(str(field("site_id,notes\n1,seen\n")), plan.crs)
    with told_in(plan.units):
        _assert_same(plan, revise(parts_of(plan), [table]), units)


def _assert_same(plan: PlanFile, revised: Revised, units: str) -> None:
    assert revised.now.sites.count == len(plan.sites["site_id"]) > 50
    new = {
        "sites": revised_sites(revised, plan.crs),
        **{n: getattr(revised.now.built, n) for n in ("structures", "structure_lines", "pools")},
    }
    for name, features in new.items():
        layer = worded(layer_of(name, features, plan.crs), plan.units)
        old, now = (written(name, x.columns, units) for x in (plan.layers[name], layer))
        if name == "sites":
            now["field_notes"][0] = None
        assert now == old
        shapes = plan.layers[name].geometry
        assert all(a.equals_exact(b, 1e-9) for a, b in zip(layer.geometry, shapes, strict=True))
    for name, columns in revised.now.built.tables.items():
        table_now = worded(Layer(name, None, columns), plan.units)
        old, now = (written(name, x.columns, units) for x in (plan.layers[name], table_now))
        assert now == old, name


def test_a_revised_plan_holds_both(command: Callable, plan: Path, field: Callable, tmp_path: Path):
    before = plan.read_bytes()
    old = read_plan(plan)
    # a bowl with little water, which stays one at a higher drop
    bowls = np.flatnonzero(old.sites["structure"] == "rock bowl")
    least = bowls[np.argmin(old.sites["q10_m3s"][bowls])]
    head = int(old.sites["site_id"][least])
    lone = site_with(old, structure="crescent spreader")
    out = tmp_path / "plan2.gpkg"
    text = (
        "site_id,measured_width,measured_drop,decision,notes,photos,measured_by,measured_on\n"
        f'{head},4.5,0.85,build,"Grès, ça coule — مرحبا بالعالم",IMG 1.jpg,Zoë,2031-05-20\n'
        f"{lone},,,skip,fence,,,\n"
    )
    report = tmp_path / "report.csv"
    ended = command("revise", plan, field(text), "--out", out, "--report", report)
    assert (ended.code, ended.err) == (0, "")
    assert plan.read_bytes() == before
    new = read_plan(out)
    row = new.rows("sites", head)[0]
    assert (row["measured_width_m"], row["width_m"], row["width_source"]) == (4.5, 4.5, "measured")
    assert (row["measured_drop_m"], row["headcut_height_m"]) == (0.85, 0.85)
    assert row["structure_height_m"] == 0.85
    assert (row["decision"], row["measured_by"]) == ("build", "Zoë")
    assert row["field_notes"] == "Grès, ça coule — مرحبا بالعالم"
    planned = new.rows("planned", head)[0]
    was = old.rows("sites", head)[0]
    for name in ("width_m", "headcut_height_m", "structure_height_m", "cost_likely", "rank"):
        np.testing.assert_equal(planned[name], was[name])
    left = new.rows("sites", lone)[0]
    assert (left["chosen"], left["decision"]) == (False, "skip")
    assert left["chosen_why"] == 'Left out on site: "fence".'
    assert new.rows("materials", lone) == []
    # layers that measuring does not touch are as they were
    for name in ("channels", "headcuts", "drainage_areas", "roads", "floods", "settings_used"):
        a, b = (written(name, p.layers[name].columns, "si") for p in (old, new))
        assert a == b
    assert read_relief(out) is not None
    sheet = new.rows("field_notes", head)[0]
    assert (sheet["measured_width_m"], sheet["decision"]) == (4.5, "build")
    # what is told
    lines = ended.out.splitlines()
    assert max(map(len, lines)) <= 100
    text_out = " ".join(ended.out.split())
    assert f"Site {head}: width" in text_out
    assert "too few to say" in text_out
    assert f"Wrote {out}" in lines
    rows = list(csv.DictReader(io.StringIO(report.read_text("utf-8"))))
    measured = {(r["site"], r["subject"]): r["now"] for r in rows if r["part"] == "measured"}
    assert measured[(str(head), "width")] == "4.5"
    assert {"measured", "changed", "bias"} <= {r["part"] for r in rows}
    info = new.run_info
    assert (new.format_number, info["plan format"]) == (3, "3")
    assert info["summary"].startswith("Revised with field.csv: 1 site measured, 2 with a decision")
    assert info["summary as planned"] == old.run_info["summary"]
    assert info["revision 1"].startswith("field.csv, 2 rows, sha256 ")


def test_the_layer_of_the_plan_itself_is_read_and_revised_again(
    command: Callable, plan: Path, field: Callable, tmp_path: Path
) -> None:
    mine, second, third = (tmp_path / f"{n}.gpkg" for n in ("mine", "second", "third"))
    shutil.copy(plan, mine)
    old = read_plan(plan)
    site = site_with(old, structure="one-rock dam", control="grade")
    other = site_with(old, structure="rock bowl")
    at = old.rows("field_notes", site)[0]
    assert at["decision"] is None
    moved = shapely.transform(_point(mine, site), lambda xy: xy + np.array([3.0, -4.0]))
    _edit(mine, site, {"measured_depth_m": 0.7, "decision": "move", "notes": LONG}, moved)
    ended = command("revise", mine, mine, "--out", second)
    assert (ended.code, ended.err) == (0, "")
    row = read_plan(second).rows("sites", site)[0]
    assert (row["measured_depth_m"], row["moved_m"], row["decision"]) == (0.7, 5.0, "move")
    assert row["field_notes"] == LONG.strip()
    assert _point(second, site).distance(moved) < 1e-6
    # the layer comes back filled in, and says the same once more
    again = command("revise", second, second, "--out", tmp_path / "same.gpkg")
    assert again.code == 0
    same = read_plan(tmp_path / "same.gpkg")
    a, b = (written("sites", p.sites, "si") for p in (read_plan(second), same))
    assert a == b
    # more rows later: both count, the first ones are kept
    more = field(f"site_id,measured_width\n{other},3.5\n", "later.csv")
    assert command("revise", second, more, "--out", third).code == 0
    last = read_plan(third)
    assert last.rows("sites", site)[0]["measured_depth_m"] == 0.7
    assert last.rows("sites", other)[0]["measured_width_m"] == 3.5
    rows = last.rows("field_rows")
    assert {r["revision"] for r in rows} == {1, 2}
    assert len(rows) == len(last.sites["site_id"]) + 1
    (given,) = (json.loads(r["text"]) for r in rows if r["status"] == "used" and r["revision"] == 1)
    assert given["notes"] == LONG
    assert given["point"] == [moved.x, moved.y]
    assert [r["text"] for r in rows if r["revision"] == 2] == [
        json.dumps({"site_id": str(other), "measured_width": "3.5"})
    ]


def _point(path: Path, site: int) -> shapely.Point:
    layer = read_plan(path).layers["field_notes"]
    return layer.geometry[list(layer.columns["site_id"]).index(site)]


def _edit(path: Path, site: int, values: dict[str, Any], point: shapely.Point) -> None:
    """Fill in a row as a desktop GIS does."""
    meta, fids, shapes, columns = pyogrio.raw.read(path, layer="field_notes", return_fids=True)
    names = list(meta["fields"])
    at = int(np.flatnonzero(columns[names.index("site_id")] == site)[0])
    with contextlib.closing(sqlite3.connect(path)) as db, db:
        db.execute("PRAGMA trusted_schema = ON")
        for (trigger,) in db.execute(
            "SELECT name FROM sqlite_master WHERE type = 'trigger' AND tbl_name = 'field_notes'"
        ).fetchall():
            db.execute(f'DROP TRIGGER "{trigger}"')
        wkb = shapely.to_wkb(point, byte_order=1)
        (head,) = db.execute(
            "SELECT geom FROM field_notes WHERE fid = ?", (int(fids[at]),)
        ).fetchone()
        start = len(head) - len(shapes[at])
        db.execute(
            "UPDATE field_notes SET geom = ? WHERE fid = ?", (head[:start] + wkb, int(fids[at]))
        )
        for name, value in values.items():
            assert name in names
            db.execute(f'UPDATE field_notes SET "{name}" = ? WHERE fid = ?', (value, int(fids[at])))


def test_a_plan_in_feet_takes_bare_numbers_for_feet(
    command: Callable, plan_us: Path, field: Callable, tmp_path: Path
) -> None:
    old = read_plan(plan_us)
    head = site_with(old, structure="rock bowl")
    out = tmp_path / "plan2.gpkg"
    text = f"site_id,measured_width,measured_drop\n{head},15 ft,0.75 m\n"
    ended = command("revise", plan_us, field(text), "--out", out)
    assert ended.code == 0, ended.err
    row = read_plan(out).rows("sites", head)[0]
    assert row["measured_width_m"] == pytest.approx(4.572)
    assert row["measured_drop_m"] == pytest.approx(0.75, abs=2e-4)
    names = pyogrio.read_info(out, layer="sites")["fields"]
    assert "measured_width_ft" in names
    assert "width 15 ft" in read_plan(out).rows("sites", head)[0]["reason"]
    assert " ft" in ended.out
    bare = command("revise", plan_us, field(f"site_id,measured_width\n{head},15\n"),
                   "--out", out, "--overwrite")  # fmt: skip
    assert bare.code == 0
    assert read_plan(out).rows("sites", head)[0]["measured_width_m"] == pytest.approx(4.572)


def test_rows_that_cannot_be_used_are_listed_and_kept(
    command: Callable, plan: Path, field: Callable, tmp_path: Path
) -> None:
    old = read_plan(plan)
    referred = site_with(old, control="refer", structure="engineer")
    out = tmp_path / "plan2.gpkg"
    text = (
        "site_id,measured_width,measured_depth,decision\n"
        "9999,3,1,\n"
        "1,400,1.1,\n"
        "2,-3,,\n"
        "3,nan,,\n"
        "4,3,,\n"
        "4,3.4,,\n"
        f"{referred},,,build\n"
    )
    ended = command("revise", plan, field(text), "--out", out, "--json")
    assert (ended.code, ended.err) == (0, "")
    told = json.loads(ended.out)
    kinds = [(a["row"], a["column"], a["kind"]) for a in told["set_aside"]]
    assert kinds == [
        (2, "", "unknown"),
        (3, "measured_width", "impossible"),
        (4, "measured_width", "impossible"),
        (5, "measured_width", "unread"),
        (6, "measured_width", "conflicting"),
        (7, "measured_width", "conflicting"),
        (8, "decision", "conflicting"),
    ]
    new = read_plan(out)
    assert [(r["row"], r["column"] or "", r["kind"]) for r in new.rows("set_aside")] == kinds
    rows = new.rows("field_rows")
    assert [r["row"] for r in rows] == list(range(2, 9))
    assert json.loads(rows[0]["text"]) == {
        "site_id": "9999",
        "measured_width": "3",
        "measured_depth": "1",
    }
    assert [r["status"] for r in rows][:3] == ["set aside", "partly used", "set aside"]


def test_a_fresh_plan_has_no_tables_of_the_way_back(plan: Path) -> None:
    names = {str(row[0]) for row in pyogrio.list_layers(plan)}
    assert not names & {spec.name for spec in REVISED_TABLES}
    assert "site_records" in names


# ---- bad input ---------------------------------------------------------------------------------

BAD_FILES = {
    "no_site": ("width\n3\n", "no column site_id"),
    "empty": ("", "is empty"),
    "only_header": ("site_id,measured_width\n", "nothing was measured"),
    "blank": ("site_id,measured_width\n1,\n2,\n", "has 2 rows and all are blank"),
    "all_unknown": ("site_id,measured_width\n9999,3\n", "nothing in field.csv can be used: row 2"),
    "mixed": (
        "site_id,measured_drop\n1,3 ft\n2,1\n",
        "mixes units in the column measured_drop: row 2 with a unit, row 3 without",
    ),
    "two_widths": ("site_id,measured_width_m,measured_width_ft\n1,1,\n", "two columns for width"),
    "same_twice": ("site_id,notes,notes\n1,a,b\n", "two columns named notes"),
    "half_a_place": ("site_id,lat\n1,3\n", "only one of the columns lon and lat"),
    "quotes": ('site_id,notes\n1,"open\n', "cannot be read at line"),
    "zeros": ("site_id,notes\n1,a\0b\n", "not a text"),
}


def refused(command: Callable, *arguments: object) -> str:
    ended: Ended = command("revise", *arguments)
    assert ended.code == 1
    assert ended.out == ""
    return ended.line


@pytest.mark.parametrize("name", BAD_FILES)
def test_a_field_file_that_cannot_be_used(
    command: Callable, plan: Path, field: Callable, tmp_path: Path, name: str
) -> None:
    text, says = BAD_FILES[name]
    out = tmp_path / "out.gpkg"
    assert says in refused(command, plan, field(text), "--out", out)
    assert [p.name for p in tmp_path.iterdir()] == ["field.csv"]


def test_files_that_are_something_else(
    command: Callable, plan: Path, field: Callable, tmp_path: Path
) -> None:
    out = tmp_path / "out.gpkg"
    rows = field("site_id,measured_width\n1,3\n")
    assert "no file" in refused(command, plan, tmp_path / "none.csv", "--out", out)
    assert "no file" in refused(command, tmp_path / "none.gpkg", rows, "--out", out)
    assert "not a GeoPackage" in refused(command, rows, rows, "--out", out)
    latin = field("site_id,notes\n1,Grès\n", "latin.csv", "latin-1")
    assert "neither a GeoPackage nor a table in UTF-8" in refused(
        command, plan, latin, "--out", out
    )
    assert "has no layer field_notes" in refused(command, plan, SAMPLE / "ranch.gpkg", "--out", out)
    assert not out.exists()


def test_a_plan_of_an_older_version_or_without_sites(
    command: Callable, plan: Path, field: Callable, tmp_path: Path
) -> None:
    rows, older = field("site_id,measured_width\n1,3\n"), tmp_path / "older.gpkg"
    shutil.copy(plan, older)
    with contextlib.closing(sqlite3.connect(older)) as db, db:
        db.execute("DELETE FROM gpkg_contents WHERE table_name = 'site_records'")
        db.execute("DROP TABLE site_records")
    line = refused(command, older, rows, "--out", tmp_path / "out.gpkg")
    assert "older.gpkg was made by an older version: it has no table 'site_records'" in line
    shutil.copy(plan, older)
    with contextlib.closing(sqlite3.connect(older)) as db, db:
        db.execute("DELETE FROM site_records")
    assert "a plan without sites" in refused(command, older, rows, "--out", tmp_path / "out.gpkg")
    shutil.copy(plan, older)
    with contextlib.closing(sqlite3.connect(older)) as db, db:
        db.execute("UPDATE site_records SET text = substr(text, 3) WHERE site_id = 2")
    assert "record that cannot be read" in refused(
        command, older, rows, "--out", tmp_path / "out.gpkg"
    )


def test_outputs_are_checked_first(
    command: Callable, plan: Path, field: Callable, tmp_path: Path
) -> None:
    rows, out = field("site_id,measured_width\n1,3\n"), tmp_path / "out.gpkg"
    out.write_bytes(b"mine")
    assert "exists already" in refused(command, plan, rows, "--out", out)
    assert out.read_bytes() == b"mine"
    assert "ends in .gpkg" in refused(command, plan, rows, "--out", tmp_path / "out.csv")
    assert "ends in .csv or .txt" in refused(
        command, plan, rows, "--out", tmp_path / "new.gpkg", "--report", tmp_path / "r.doc"
    )
    for a, b, target in ((plan, rows, plan), (plan, plan, plan), (plan, rows, rows)):
        ended = command("revise", a, b, "--out", target, "--overwrite")
        assert ended.code == 2
        assert "is given for both" in ended.line


def test_columns_that_are_not_used_are_named(
    command: Callable, plan: Path, field: Callable, tmp_path: Path
) -> None:
    rows = field("site_id;measured_width;weather\n1;3.0;=HYPERLINK(1)\n")
    ended = command("revise", plan, rows, "--out", tmp_path / "out.gpkg")
    assert ended.code == 0
    assert ended.line == "Note: field.csv has columns that are kept but not used: weather."
    (row,) = read_plan(tmp_path / "out.gpkg").rows("field_rows")
    assert json.loads(row["text"])["weather"] == "=HYPERLINK(1)"


def test_what_is_on_hold_stands_first_everywhere(
    command: Callable, plan: Path, field: Callable, tmp_path: Path
) -> None:
    old = read_plan(plan)
    pairs = [
        (int(head["site_id"]), int(base["site_id"]))
        for head in old.rows("sites")
        for base in old.rows("sites")
        if head["control"] == "vertical"
        and base["control"] == "grade"
        and head["pair_id"]
        and head["pair_id"] == base["pair_id"]
    ]
    head, base = pairs[0]
    out = tmp_path / "held.gpkg"
    ended = command("revise", plan, field(f"site_id,measured_width\n{head},400 m\n"), "--out", out)
    assert (ended.code, ended.err) == (0, "")
    assert " on hold: settle that first." in ended.out.splitlines()[0]
    lines = ended.out.splitlines()
    first = lines.index("On hold, not to be built before it is settled:")
    assert first < lines.index("Planned, and now:")
    assert f"  Site {head}: measure again. A width of 400 m is outside 0.1 to 100 m." in lines
    new = read_plan(out)
    rows = {int(row["site_id"]): row for row in new.rows("sites")}
    for site in (head, base):
        assert (rows[site]["control"], rows[site]["rank"]) == ("hold", 0)
        assert np.isnan(rows[site]["structure_height_m"])
        assert not rows[site]["chosen"]
        assert str(rows[site]["reason"]).startswith("Hold: ")
    held = [row for row in rows.values() if row["control"] == "hold"]
    assert sorted(row["list_place"] for row in held) == list(range(1, len(held) + 1))
    assert {row["work_id"] for row in held} == {0}
    works = new.rows("works")
    assert sorted(work["rank"] for work in works) == list(range(1, len(works) + 1))
    assert all(np.isnan(row["cost_likely"]) for row in held)
    assert new.run_info["summary"].startswith(f"{len(held)} sites are on hold")
    assert new.run_info["hold 1"].startswith("Site ")
    told = command("explain", out, head).out
    assert told.startswith(f"Site {head}, on hold:")
    assert command("packet", out, "--top", 2, "--out", tmp_path / "held.pdf").code == 0
    assert command("page", out, "--out", tmp_path / "held.html").code == 0
    assert command("waypoints", out, "--out", tmp_path / "held.gpx").code == 0
    gpx = (tmp_path / "held.gpx").read_text("utf-8")
    assert f"Site {head}, on hold." in gpx
    assert "On hold: do not build here now" in gpx
