"""A packet from what a person may get wrong, and from texts of any kind."""

from __future__ import annotations

import contextlib
import os
import sqlite3
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pypdfium2 as pdfium
import pytest

from cli.plan.geopackage import write_geopackage
from cli.plan.layers import Layer, empty_layer, table
from tests.cli.test_packet import pages, sheet_of
from tests.example_packet import write_packet_plan
from tests.example_plan import texts
from tests.example_stretch import stretch_layers, write_stretch

MARKUP = '#panic("x") $1/0$ *b* _i_ \\ // ` [#set page(width: 1cm)] @ref <label> #import "a"'
HEBREW, ARABIC, ACCENTED = "מבנה אבן", "سد صخري", "Digue d'Été à Ñandú"
LONG = "stone " * 1700
ENDLESS = "x" * 10_000


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_packet_plan(tmp_path_factory.mktemp("plan") / "plan.gpkg")


def with_texts(*, structure: str = "", reason: str = "", caution: str = "") -> dict[str, Layer]:
    """Layers of the stretch with other texts at its first site."""
    sites = stretch_layers()["sites"]
    columns = dict(sites.columns)
    for name, text in (("structure", structure), ("reason", reason), ("caution", caution)):
        if text:
            columns[name] = texts(text, *columns[name][1:])
    return {"sites": Layer("sites", sites.geometry, columns, sites.crs)}


def ranch_of(name: str) -> dict[str, Layer]:
    """Layer ``ranch`` with a name."""
    sites = stretch_layers()["sites"]
    assert sites.geometry is not None
    shape = sites.geometry[0].buffer(90.0, quad_segs=2)
    columns = {"name": texts(name), "area_ha": np.array([shape.area / 1e4])}
    return {"ranch": Layer("ranch", np.array([shape]), columns, sites.crs)}


def printed(command: Callable, plan: Path, *more: object) -> list[str]:
    out = plan.with_suffix(".pdf")
    ended = command("packet", plan, "--out", out, *more)
    assert ended.code == 0, ended.err
    return pages(out)


def test_markup_stays_text(command: Callable, tmp_path: Path) -> None:
    layers = with_texts(structure=MARKUP, reason=f"Why {MARKUP}.", caution=MARKUP)
    plan = write_packet_plan(tmp_path / "plan.gpkg", layers=layers | ranch_of(MARKUP))
    found = printed(command, plan)
    assert MARKUP in found[0]
    sheet = " ".join(found[i] for i in sheet_of(plan.with_suffix(".pdf"), 1))
    assert f"Why {MARKUP}." in sheet
    assert sheet.count('#panic("x")') >= 3
    with pdfium.PdfDocument(plan.with_suffix(".pdf")) as document:
        assert document.get_page_size(0) == (612, 792)


@pytest.mark.parametrize("text", [LONG, ENDLESS])
def test_ten_thousand_characters_are_cut_and_nothing_runs_over(
    command: Callable, tmp_path: Path, text: str
) -> None:
    many = [(1, i, "build", text) for i in range(1, 60)]
    many += [(1, i, kind, text) for i in range(1, 12) for kind in ("fails", "inspect")]
    tables = {
        "instructions": table("instructions", many),
        "before_you_build": table("before_you_build", [(i, text, text) for i in range(1, 40)]),
        "materials": table(
            "materials", [(1, f"m{i}", text, 1.0, "t", 1.2, 0.1, text) for i in range(40)]
        ),
        "sizes": table("sizes", [(1, text + str(i), 1.0, "m", text, text) for i in range(40)]),
    }
    layers = with_texts(structure=text, reason=text, caution=". A".join([text] * 12))
    plan = write_packet_plan(tmp_path / "p.gpkg", layers=layers | ranch_of(text), tables=tables)
    found = printed(command, plan, "--top", 2)
    assert "…" in found[0]
    assert max(map(len, found)) < 9_000
    assert len(found) < 16
    assert len(sheet_of(plan.with_suffix(".pdf"), 1)) <= 4
    # The next sheet is as it always is.
    assert len(sheet_of(plan.with_suffix(".pdf"), 2)) == 1
    with pdfium.PdfDocument(plan.with_suffix(".pdf")) as document:
        for number in range(len(document)):
            page = document[number].render(scale=1.0, grayscale=True).to_numpy().squeeze()
            assert page[:, -30:].min() > 200, f"page {number + 1} runs over its right margin"


@pytest.mark.parametrize("name", [HEBREW, ARABIC, ACCENTED])
def test_names_in_other_scripts_are_drawn(command: Callable, tmp_path: Path, name: str) -> None:
    layers = with_texts(structure=name, caution=name) | ranch_of(name)
    plan = write_packet_plan(tmp_path / "plan.gpkg", layers=layers)
    out = tmp_path / "plan.pdf"
    ended = command("packet", plan, "--top", 1, "--out", out)
    assert (ended.code, ended.err) == (0, "")
    letters = set("".join(pages(out)[0].split()))
    # The order in which a reader gives letters that run to the left is its own affair.
    assert len(set(name.replace(" ", "")) - letters) <= 3
    assert b"/StructTreeRoot" in out.read_bytes()


def test_letters_without_a_shape_are_told(command: Callable, tmp_path: Path) -> None:
    plan = write_packet_plan(tmp_path / "plan.gpkg", layers=ranch_of("乾燈牧場 (invented)"))
    out = tmp_path / "plan.pdf"
    ended = command("packet", plan, "--top", 1, "--out", out)
    assert ended.code == 0
    assert "lack the shape of some characters" in " ".join(ended.err.split())
    assert "U+4E7E" in " ".join(pages(out))
    assert b"/StructTreeRoot" in out.read_bytes()
    # A reader's search still finds the name.
    with pdfium.PdfDocument(out) as document:
        assert document.get_metadata_value("Title") == "Field packet: 乾燈牧場 (invented)"


def test_reordering_marks_do_not_reach_the_page(command: Callable, tmp_path: Path) -> None:
    plan = write_packet_plan(
        tmp_path / "plan.gpkg", layers=with_texts(caution="Keep\u202eoff\x07 \ud7ff now")
    )
    text = " ".join(printed(command, plan, "--top", 1))
    assert "Keep off now" in text


def refused(command: Callable, *arguments: object, code: int = 1) -> str:
    ended = command("packet", *arguments)
    assert ended.code == code
    assert ended.out == ""
    line: str = ended.line
    return line


def test_plans_that_cannot_be_printed(command: Callable, tmp_path: Path) -> None:
    out = tmp_path / "packet.pdf"
    older = write_stretch(tmp_path / "older.gpkg")
    assert "holds no reasoning for site 3" in refused(command, older, "--out", out)
    with contextlib.closing(sqlite3.connect(older)) as db, db:
        db.execute("DELETE FROM gpkg_contents WHERE table_name = 'reasons'")
        db.execute("DROP TABLE reasons")
    assert "was made by an older version" in refused(command, older, "--out", out)
    other = write_geopackage(tmp_path / "other.gpkg", [stretch_layers()["channels"]])
    assert "is not a plan" in refused(command, other, "--out", out)
    text = tmp_path / "text.gpkg"
    text.write_text("no")
    assert "is not a GeoPackage" in refused(command, text, "--out", out)
    assert "no file" in refused(command, tmp_path / "none.gpkg", "--out", out)
    assert not out.exists()


def test_a_plan_without_sites(command: Callable, tmp_path: Path) -> None:
    crs = stretch_layers()["sites"].crs
    names = ("sites", "pools", "structures", "structure_lines", "headcuts", "channels")
    layers = {name: empty_layer(name, crs) for name in names}
    plan = write_packet_plan(tmp_path / "empty.gpkg", layers=layers, relief=False)
    out = tmp_path / "packet.pdf"
    line = refused(command, plan, "--out", out)
    assert line == "gullywalk: empty.gpkg holds no sites: there is nothing to print."
    assert not out.exists()


def test_sites_that_are_not_there(command: Callable, plan: Path, tmp_path: Path) -> None:
    out = tmp_path / "packet.pdf"
    line = refused(command, plan, "--sites", "2,77", "--out", out)
    assert line == "gullywalk: plan.gpkg has no site 77; expected site 1 to 4."
    line = refused(command, plan, "--sites", "rank:9", "--out", out)
    assert "has no rank 9; expected rank 1 to 2." in line
    assert not out.exists()


def test_asked_in_a_wrong_way(command: Callable, plan: Path, tmp_path: Path) -> None:
    out = tmp_path / "packet.pdf"
    assert "numbers of sites" in refused(command, plan, "--sites", "a", "--out", out, code=2)
    assert "numbers of sites" in refused(command, plan, "--sites", ",", "--out", out, code=2)
    both = refused(command, plan, "--sites", "1", "--top", "1", "--out", out, code=2)
    assert "give one of them" in both
    refused(command, plan, code=2)
    refused(command, plan, "--paper", "a3", "--out", out, code=2)
    refused(command, plan, "--top", "0", "--out", out, code=2)
    assert "given for both" in refused(command, plan, "--out", plan, code=2)


def test_outputs_that_cannot_be_written(command: Callable, plan: Path, tmp_path: Path) -> None:
    assert "ends in .pdf" in refused(command, plan, "--out", tmp_path / "packet.png")
    assert "no folder" in refused(command, plan, "--out", tmp_path / "no" / "packet.pdf")
    there = tmp_path / "there.pdf"
    there.write_bytes(b"old")
    assert "exists already" in refused(command, plan, "--out", there)
    assert there.read_bytes() == b"old"
    (tmp_path / "folder.pdf").mkdir()
    assert "is a folder" in refused(command, plan, "--out", tmp_path / "folder.pdf")
    assert sorted(os.listdir(tmp_path)) == ["folder.pdf", "there.pdf"]


def test_a_raster_of_another_place(command: Callable, plan: Path, tmp_path: Path) -> None:
    out = tmp_path / "packet.pdf"
    assert "no file" in refused(command, plan, "--dem", tmp_path / "no.tif", "--out", out)
    assert not out.exists()
