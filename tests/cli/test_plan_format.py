"""Plans of an older and of a newer format: what each command makes of them."""

from __future__ import annotations

import contextlib
import gzip
import hashlib
import shutil
import sqlite3
from collections.abc import Callable
from pathlib import Path

import click
import numpy as np
import pytest

from cli.file_errors import OutputError
from cli.main import gullywalk
from cli.plan import plan_format
from cli.plan.fields import LAYERS
from cli.plan.geopackage import write_geopackage
from cli.plan.geopackage_reading import read_layer
from cli.plan.plan_format import FORMATS, READ_FROM, ROW, PlanFormat, newest, stored
from cli.plan.plan_reading import NEEDED, read_plan
from tests.cli.test_plan_reading import edit, write
from tests.example_plan import example_layers

DATA = Path(__file__).parents[1] / "data"
#: Formats of the past, and what the row of the run's record says in plans of each.
PAST = {1: None, 2: "2"}
#: What each command is given beside the plan, and the file that it writes.
CALLS: dict[str, tuple[tuple[str, ...], str | None]] = {
    "explain": (("2",), None),
    "flood": (("1",), None),
    "packet": ((), "packet.pdf"),
    "page": ((), "page.html"),
    "waypoints": ((), "walk.gpx"),
    "revise": (("notes.csv",), "revised.gpkg"),
}


def real_plan(name: str, folder: Path, number: int = 1) -> Path:
    """A plan that the program made when plans were of an older format."""
    path = folder / f"{name}.gpkg"
    packed = DATA / f"plan_format_{number}" / f"{name}.gpkg.gz"
    path.write_bytes(gzip.decompress(packed.read_bytes()))
    return path


@pytest.fixture(params=list(PAST))
def number(request: pytest.FixtureRequest) -> int:
    return int(request.param)


@pytest.fixture(params=["plan", "revised_us"])
def old(request: pytest.FixtureRequest, tmp_path: Path, number: int) -> Path:
    return real_plan(request.param, tmp_path, number)


def arguments(name: str, plan: Path) -> tuple[list[object], Path | None]:
    """Command line of a command, and the file that it is to write."""
    more, out = CALLS[name]
    notes = plan.parent / "notes.csv"
    notes.write_text("site_id,measured_width,decision\n1,7.5,build\n")
    given = [notes if word == "notes.csv" else word for word in more]
    if out is None:
        return [name, plan, *given], None
    return [name, plan, *given, "--out", plan.parent / out], plan.parent / out


def row_of(plan: Path) -> str | None:
    with contextlib.closing(sqlite3.connect(plan)) as db:
        row = db.execute("SELECT value FROM run_info WHERE name = ?", (ROW,)).fetchone()
    return None if row is None else str(row[0])


# ---- Plans of older formats, as they really were -------------------------------------------------


@pytest.mark.parametrize("name", [n for n, low in READ_FROM.items() if low == 1])
def test_what_reads_an_older_plan(command: Callable, old: Path, name: str, number: int) -> None:
    before = hashlib.sha256(old.read_bytes()).hexdigest()
    assert row_of(old) == PAST[number]
    line, out = arguments(name, old)
    ended = command(*line)
    assert ended.code == 0, ended.err
    if name == "explain":
        assert ended.out.startswith("Site 2, rank 2: rock bowl")
        assert "\nWhat was measured" in ended.out
    if name == "flood":
        assert ended.out.startswith("Site 1, rank 1: one-rock dam, channel 1 at ")
        assert ("cfs" in ended.out) == (old.stem == "revised_us")
    if out is not None:
        assert out.stat().st_size > 1000
    assert hashlib.sha256(old.read_bytes()).hexdigest() == before, "a plan is never changed"


def test_what_an_older_plan_holds_is_read_as_it_stands(old: Path, number: int) -> None:
    plan = read_plan(old)
    assert plan.format_number == number
    us = plan.units == "us"
    assert us == (old.stem == "revised_us")
    with contextlib.closing(sqlite3.connect(old)) as db:
        width = "width_ft" if us else "width_m"
        rows = db.execute(f"SELECT site_id, structure, {width} FROM sites").fetchall()
    assert plan.sites["site_id"].tolist() == [row[0] for row in rows]
    assert plan.sites["structure"].tolist() == [row[1] for row in rows]
    metres = np.array([row[2] for row in rows]) * (0.3048 if us else 1.0)
    np.testing.assert_allclose(plan.sites["width_m"], metres)
    for name in plan.layers:
        assert plan.layers[name].name == name
    assert ("changes" in plan.layers) == us, "one of the two is a revised plan"


def test_an_older_plan_is_not_revised(command: Callable, old: Path, number: int) -> None:
    line, out = arguments("revise", old)
    ended = command(*line)
    assert ended.code == 1
    assert ended.line == (
        f"gullywalk: {old.name} is of plan format {number}; expected 3 for gullywalk revise. "
        "Make it again with gullywalk screen."
    )
    assert out is not None
    assert not out.exists()


# ---- Plans of a format that is not known ---------------------------------------------------------


@pytest.fixture(scope="module")
def of_today(tmp_path_factory: pytest.TempPathFactory) -> dict[str, Path]:
    """An invented plan in both units."""
    folder = tmp_path_factory.mktemp("today")
    return {units: write(folder / f"{units}.gpkg", units) for units in ("si", "us")}


@pytest.mark.parametrize(
    ("said", "told"),
    [
        ("99", "is of plan format 99: a newer version of Gullywalk made it; expected 3 or lower"),
        ("two", "says 'two' for its plan format; expected a whole number from 1 to 3"),
        ("0", "says '0' for its plan format"),
        ("", "says '' for its plan format"),
    ],
)
def test_a_plan_of_an_unknown_format(
    command: Callable, of_today: dict[str, Path], tmp_path: Path, said: str, told: str
) -> None:
    path = Path(shutil.copy(of_today["si"], tmp_path / "plan.gpkg"))
    edit(path, f"UPDATE run_info SET value = '{said}' WHERE name = '{ROW}'")
    for name in READ_FROM:
        line, out = arguments(name, path)
        ended = command(*line)
        assert ended.code == 1
        assert f"plan.gpkg {told}" in ended.line
        assert "gullywalk screen" in ended.line
        assert out is None or not out.exists()


def test_an_older_plan_without_its_tables_is_still_told_by_the_table(tmp_path: Path) -> None:
    path = write_geopackage(tmp_path / "plan.gpkg", [example_layers()["sites"]])
    with pytest.raises(OutputError, match=f"older version: it has no table '{NEEDED[0]}'"):
        read_plan(path, command="revise")


# ---- The steps from format to format -------------------------------------------------------------


def test_formats_follow_each_other_and_say_what_they_changed() -> None:
    assert [step.number for step in FORMATS] == list(range(1, len(FORMATS) + 1))
    assert all(step.changed for step in FORMATS)
    for step in FORMATS:
        named = {*step.added_tables, *step.renamed_tables, *(t for t, _ in step.renamed_fields)}
        assert "run_info" not in named, "where the format is said must never change"
    assert all(1 <= low <= newest() for low in READ_FROM.values())
    for name in LAYERS:
        assert stored(name, newest()).table == name


def test_every_command_that_reads_a_plan_says_from_which_format_on() -> None:
    reads = set()
    for name in gullywalk.list_commands(click.Context(gullywalk)):
        found = gullywalk.get_command(click.Context(gullywalk), name)
        assert found is not None
        places = [p for p in found.params if isinstance(p, click.Argument)]
        if any("PLAN.gpkg" in str(p.metavar) for p in places):
            reads.add(name)
    assert reads == set(READ_FROM) == set(CALLS)


@pytest.fixture
def later(monkeypatch: pytest.MonkeyPatch) -> None:
    """Two invented formats after today's: names change, one of them twice, and a table comes."""
    now = newest()
    third = PlanFormat(
        now + 1,
        ("Invented.",),
        added_tables=frozenset({"bias", "pools"}),
        renamed_tables={"materials": "stuff"},
        renamed_fields={("sites", "width_m"): "broad_m", ("materials", "item"): "thing"},
    )
    fourth = PlanFormat(
        now + 2,
        ("Invented too.",),
        renamed_tables={"sizes": "dimensions"},
        renamed_fields={("sites", "depth_m"): "deep_m", ("sizes", "name"): "part"},
    )
    monkeypatch.setattr(plan_format, "FORMATS", (*FORMATS, third, fourth))


@pytest.mark.parametrize("units", ["si", "us"])
def test_names_of_older_formats_are_put_right_on_reading(
    tmp_path: Path, of_today: dict[str, Path], later: None, units: str
) -> None:
    path = Path(shutil.copy(of_today[units], tmp_path / "plan.gpkg"))
    # a plan that is written now would say the last of the invented formats
    edit(path, f"UPDATE run_info SET value = '{newest()}' WHERE name = '{ROW}'")
    new = read_plan(path)
    kept = {name: new.layers[name] for name in ("sites", "materials", "sizes", "channels")}
    end = "ft" if units == "us" else "m"
    listed = [
        f"UPDATE {system} SET table_name = '{then}' WHERE table_name = '{now}'"
        for system in ("gpkg_contents", "gpkg_ogr_contents")
        for now, then in (("materials", "stuff"), ("sizes", "dimensions"))
    ]
    edit(
        path,
        f"UPDATE run_info SET value = '3' WHERE name = '{ROW}'",
        f"ALTER TABLE sites RENAME COLUMN width_{end} TO broad_{end}",
        f"ALTER TABLE sites RENAME COLUMN depth_{end} TO deep_{end}",
        "ALTER TABLE materials RENAME COLUMN item TO thing",
        "ALTER TABLE materials RENAME TO stuff",
        "ALTER TABLE sizes RENAME COLUMN name TO part",
        "ALTER TABLE sizes RENAME TO dimensions",
        *listed,
        "DELETE FROM gpkg_contents WHERE table_name IN ('bias', 'pools')",
    )
    plan = read_plan(path)
    assert plan.format_number == 3
    assert set(plan.layers) == set(new.layers)
    for name, layer in kept.items():
        for field, values in layer.columns.items():
            np.testing.assert_array_equal(plan.layers[name].columns[field], values, err_msg=field)
    assert plan.layers["bias"].rows == plan.layers["pools"].rows == 0
    assert plan.layers["pools"].crs == plan.crs
    np.testing.assert_array_equal(plan.unchecked("sites").columns["width_m"], plan.sites["width_m"])
    assert plan.unchecked("pools").crs == plan.crs
    with pytest.raises(OutputError, match="has no bias: it is of plan format 3"):
        read_layer(path, "bias", format_number=3)
    assert plan.unchecked("bias").columns["measure"].size == 0


def test_a_field_that_changed_its_name_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    steps = [
        PlanFormat(4, ("x",), renamed_fields={("sites", "b_m"): "a_m"}),
        PlanFormat(5, ("x",), renamed_tables={"places": "sites"}),
        PlanFormat(6, ("x",), renamed_fields={("places", "c_m"): "b_m"}),
    ]
    monkeypatch.setattr(plan_format, "FORMATS", (*FORMATS, *steps))
    assert stored("places", 6) == plan_format.Stored("places", {})
    assert stored("places", 5) == plan_format.Stored("places", {"c_m": "b_m"})
    assert stored("places", 4) == plan_format.Stored("sites", {"c_m": "b_m"})
    assert stored("places", 3) == plan_format.Stored("sites", {"c_m": "a_m"})
