"""``gullywalk packet``: pages, words, tags and the code to scan of a printed plan."""

from __future__ import annotations

import io
import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import matplotlib as mpl
import numpy as np
import pypdfium2 as pdfium
import pytest
import rasterio
import segno
from matplotlib.image import imread

from cli import palette
from cli.packet.packet_making import chosen_sites, make_packet
from cli.packet.packet_pictures import geo_address
from cli.packet.printable import raised
from cli.packet.work_pages import work_heading, works_data
from cli.plan.layers import table
from cli.plan.plan_reading import read_plan
from cli.plan.plan_works import site_groups
from terrain.values.reader_units import quantity
from tests.example_packet import write_packet_plan
from tests.example_stretch import stretch_layers, stretch_raster


@pytest.fixture(scope="module")
def plan(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return write_packet_plan(tmp_path_factory.mktemp("plan") / "plan.gpkg")


@pytest.fixture(scope="module")
def packet(plan: Path) -> bytes:
    opened = read_plan(plan)
    return make_packet(opened, chosen_sites(opened))[0]


def pages(made: bytes | Path) -> list[str]:
    """Words of each page; any blank or line end is one blank."""
    with pdfium.PdfDocument(made) as document:
        found = []
        for page in document:
            text = page.get_textpage()
            # Words broken at a line's end carry a mark that no reader sees.
            raw = text.get_text_range().replace("\ufffe\r\n", "").replace("\u200b", "")
            found.append(" ".join(raw.split()))
            text.close()
            page.close()
        return found


def picture(made: bytes | Path, number: int, *, scale: float = 2.0) -> np.ndarray:
    """One page in grey, 0 black to 1 white."""
    with pdfium.PdfDocument(made) as document:
        page = document[number]
        grey = page.render(scale=scale, grayscale=True).to_numpy()
        page.close()
    return grey.squeeze() / 255.0


def sheet_of(made: bytes | Path, site: int) -> list[int]:
    """Pages of a sheet, from 0."""
    found = pages(made)
    start = next(i for i, text in enumerate(found) if f" · SITE {site} " in text)
    ends = [i for i in range(start, len(found)) if "Measured on site" in found[i]]
    return list(range(start, ends[0] + 1))


def test_the_parts_stand_in_their_order(packet: bytes) -> None:
    text = " ".join(pages(packet))
    parts = ("FIELD PACKET", "Before you build", "Works by rank", "What an engineer looks at",
             "Order to build", "Materials and cost", "RANK 1 OF 2 · WORK 1", "RANK 1 · SITE 2",
             "RANK 1 · SITE 1", "RANK 2 · SITE 3",
             "FOR AN ENGINEER, 1 BY WHAT IS AT RISK · SITE 4")  # fmt: skip
    at = [text.index(part) for part in parts]
    assert at == sorted(at)


def test_every_site_has_a_sheet_of_one_or_two_pages(packet: bytes) -> None:
    for site in (1, 2, 3, 4):
        assert 1 <= len(sheet_of(packet, site)) <= 2
    assert sum("Measured on site" in text for text in pages(packet)) == 4


def test_the_sheet_with_most_to_say_has_two_pages_and_every_caution(tmp_path: Path) -> None:
    """More than any sheet of the sample: what only fits when lists go on in one paragraph."""
    sites = stretch_layers()["sites"]
    columns = {name: column.copy() for name, column in sites.columns.items()}
    cautions = [
        f"Look at thing number {n} of the bank before you build, and once more after each flow."
        for n in range(1, 16)
    ]
    row = columns["site_id"].tolist().index(1)
    columns["caution"][row] = " ".join(cautions)
    steps = [
        (1, n, "build", f"Step {n} lays stone upon stone from the lower end up, tight and level, "
         "each on two others, and lower in the middle than at both of its ends.")
        for n in range(1, 13)
    ]  # fmt: skip
    fails = [
        (1, n, kind, f"{kind.capitalize()} {n}: water goes round the end of it and cuts the bank.")
        for n in range(1, 4)
        for kind in ("fails", "inspect")
    ]
    checks = [(1, n, "check", f"The bed holds below, point {n}.") for n in range(1, 6)]
    path = write_packet_plan(
        tmp_path / "plan.gpkg",
        layers={"sites": replace(sites, columns=columns)},
        tables={"instructions": table("instructions", [*steps, *fails, *checks])},
    )
    plan = read_plan(path)
    made, _ = make_packet(plan, chosen_sites(plan))

    own = sheet_of(made, 1)
    text = " ".join(pages(made)[i] for i in own)
    assert len(own) == 2
    # words may be broken at the end of a line
    letters = re.sub(r"\W", "", text)
    assert [c for c in cautions if re.sub(r"\W", "", c) not in letters] == []
    assert all(f"Step{n}lays" in letters for n in range(1, 13))
    assert "more stand in the plan" not in text


def test_a_sheet_says_where_what_and_how_big(packet: bytes) -> None:
    text = " ".join(pages(packet)[i] for i in sheet_of(packet, 1))
    for words in (
        "Rock bowl",
        "6.8 m across",
        "Number 2 of 2 of this work: build it after site 2.",
        "36.123450, -106.000120",
        "500 042 E, 3 999 958 N",
        "WGS 84 / UTM zone 12N",
        "A drop of 0.90 m eats into 120 m of grassed swale.",
        "Sill above the floor 0.15 m",
        "Stone of 30 to 45 cm 2.4 t 2.9 t",
        "The flood with a chance of 1 in 10 in any year: 0.42 m³/s",
        "1. Build the dam of site 2 first.",
        "Water finds a way behind the wall.",
        "Wet holes beside the wall.",
        "Soil may pipe here: look for holes.",
        "Width between bank tops 5.6 m",
    ):
        assert words in text, words
    assert all(code in text for code in ("rock", "loam", "clay", "build", "move", "skip"))


def test_a_referred_site_says_what_an_engineer_must_settle(packet: bytes) -> None:
    (only,) = sheet_of(packet, 4)
    text = pages(packet)[only]
    assert "Nothing to build by hand: an engineer looks at a drop of 2.4 m first" in text
    assert "The drop, 2.4 m, is above the 1.2 m that hands should build." in text
    assert "Build it in this order" not in text
    assert "Left out of the chosen set" not in text


def test_it_is_tagged_titled_and_has_a_language(packet: bytes) -> None:
    assert all(mark in packet for mark in (b"/StructTreeRoot", b"/MarkInfo", b"/Lang"))
    assert b"CreationDate" not in packet
    with pdfium.PdfDocument(packet) as document:
        assert document.get_metadata_value("Title") == "Field packet: plan"
        outline = [item.get_title() for item in document.get_toc()]
    assert outline[:6] == ["plan", "Before you build", "Works by rank", "What an engineer looks at",
                           "Order to build", "Materials and cost"]  # fmt: skip
    assert outline[6:] == ["1 A headcut with its grade controls", "1 One-rock dam", "1 Rock bowl",
                           "2 One-rock dam", "E1 Refer to an engineer"]  # fmt: skip


def test_the_same_plan_gives_the_same_bytes_and_settings_stay(plan: Path, packet: bytes) -> None:
    opened = read_plan(plan)
    with mpl.rc_context({"font.size": 25, "svg.fonttype": "path"}):
        again, notes = make_packet(opened, chosen_sites(opened))
        assert mpl.rcParams["font.size"] == 25
    assert again == packet
    assert notes == ()


def test_the_code_opens_the_place(packet: bytes) -> None:
    sites = stretch_layers()["sites"].columns
    address = geo_address(float(sites["lon"][0]), float(sites["lat"][0]))
    assert address == "geo:36.123450,-106.000120"
    front = sheet_of(packet, 1)[0]
    assert address in pages(packet)[front].replace(" ", "")
    page = picture(packet, front, scale=6.0)
    rows, cols = page.shape
    # The upper right of the sheet, below the symbol and above the address.
    part = page[int(0.13 * rows) : int(0.218 * rows), int(0.81 * cols) : int(0.94 * cols)] < 0.5
    dark_rows, dark_cols = np.flatnonzero(part.any(axis=1)), np.flatnonzero(part.any(axis=0))
    code = part[dark_rows[0] : dark_rows[-1] + 1, dark_cols[0] : dark_cols[-1] + 1]
    wanted = np.array(segno.make_qr(address, error="m").matrix, dtype=bool)
    size = len(wanted)
    middles = (np.arange(size) + 0.5) / size
    seen = code[
        np.ix_((middles * code.shape[0]).astype(int), (middles * code.shape[1]).astype(int))
    ]
    np.testing.assert_array_equal(seen, wanted)


def test_small_print_is_the_exception(packet: bytes) -> None:
    front = sheet_of(packet, 1)
    with pdfium.PdfDocument(packet) as document:
        text = document[front[-1]].get_textpage()
        sizes = [
            pdfium.raw.FPDFText_GetFontSize(text, i)
            for i in range(text.count_chars())
            if text.get_text_range(i, 1).strip()
        ]
    assert np.median(sizes) >= 10.0
    assert np.mean(np.array(sizes) >= 9.9) > 0.75
    assert min(sizes) >= 7.0


def test_it_reads_in_grey(packet: bytes) -> None:
    cover, front = picture(packet, 0), picture(packet, sheet_of(packet, 1)[0])
    for page in (cover, front):
        assert page.min() < 0.15  # words and lines are black
        assert 0.5 < np.median(page) <= 1.0
    # Structures stand out from the ground they are drawn in.
    brick, ground = (
        sum(w * int(c[i : i + 2], 16) for w, i in ((0.299, 1), (0.587, 3), (0.114, 5)))
        for c in (palette.BRICK, "#DCD3C4")
    )
    assert ground - brick > 100


def test_order_to_build(packet: bytes) -> None:
    text = next(t for t in pages(packet) if t.startswith("Order to build"))
    assert "1 2 3 One-rock dam stands alone" in text
    assert "2 1 2 One-rock dam first of 2 that work together" in text
    assert "3 1 1 Rock bowl then this, number 2 of 2" in text
    assert "Not built now Not in this order: site 4." in text


def test_the_list_of_works_leads_to_the_sheets(packet: bytes) -> None:
    found = pages(packet)
    text = next(t for t in found if t.startswith("Works by rank"))
    page = sheet_of(packet, 2)[0] + 1
    assert re.search(
        rf"1 Headcut: one-rock dam, rock bowl \(sites 2 and 1\) .* m³ 8 in 10 5 in 10 .* {page} 2",
        text,
    )
    referred = next(t for t in found if t.startswith("What an engineer looks at"))
    assert re.search(r"E1 4 36\.12\d+, -106\.\d+ 55 m³ 5 in 10 The drop is above", referred)


def test_sums_are_those_of_the_works(plan: Path, packet: bytes) -> None:
    opened = read_plan(plan)
    works = opened.layers["works"].columns
    data = works_data(site_groups(opened.layers), opened.units, [])
    assert [row["rank"] for row in data["rows"]] == works["rank"].tolist()
    (together,) = data["sums"]
    assert together["saves"] == quantity(float(works["saved_m3"].sum()), "m3", digits=3)
    assert together["cost"] == f"{works['cost_likely'].sum():,.0f}"
    text = next(t for t in pages(packet) if t.startswith("Works by rank"))
    assert f"Together: 2 works {raised(together['saves'])} {together['cost']}" in text


def test_works_that_a_budget_leaves_out_are_summed_apart(plan: Path) -> None:
    opened = read_plan(plan)
    groups = site_groups(opened.layers)
    out = replace(
        groups[1], work={**(groups[1].work or {}), "chosen": False, "chosen_why": "It is dear."}
    )
    data = works_data([groups[0], out], opened.units, [])
    assert [row["name"] for row in data["sums"]] == [
        "The chosen set: 1 work",
        "All works: 2 works",
    ]
    assert data["sums"][0]["cost"] == data["rows"][0]["cost"]
    assert data["rows"][1]["notes"] == "left out of the chosen set"
    heading = work_heading(out, groups, units="si", currency="US$")
    assert ["Before it", "Left out of the chosen set: It is dear."] in heading["rows"]


def test_a_work_of_several_sites_has_a_page_of_its_own(packet: bytes) -> None:
    text = pages(packet)[sheet_of(packet, 2)[0] - 1]
    for words in (
        "A headcut with its grade controls",
        "Without it the ground goes within 20 years with a chance of 0.80 (8 in 10); built and "
        "looked after, it holds with one of 0.50 (5 in 10).",
        "80 m³ of soil",
        "Rest from grazing.",
        "1 2 One-rock dam",
        "2 1 Rock bowl",
    ):
        assert words in text, words
    # A work of one site is told on its sheet.
    assert "Rest from grazing." in pages(packet)[sheet_of(packet, 3)[0]]


def test_some_sites_only(command: Callable, plan: Path, tmp_path: Path) -> None:
    out = tmp_path / "some.pdf"
    ended = command("packet", plan, "--sites", "4, rank:2", "--out", out)
    assert (ended.code, ended.err) == (0, "")
    assert ended.out == f"Wrote {out}: 2 sheets\n"
    text = " ".join(pages(out))
    assert "2 works of 3 sites, ranked; 1 site for an engineer; sheets for 2 sites." in text
    assert [n for n in (1, 2, 3, 4) if f"· SITE {n} " in text] == [3, 4]
    # The list names all works.
    assert "Headcut: one-rock dam, rock bowl" in text
    ended = command("packet", plan, "--top", 1, "--out", out, "--overwrite")
    assert ended.out == f"Wrote {out}: 2 sheets\n", "one work of two sites"
    text = " ".join(pages(out))
    assert [n for n in (1, 2, 3, 4) if f"· SITE {n} " in text] == [1, 2]


@pytest.mark.parametrize(("paper", "size"), [("letter", (612, 792)), ("a4", (595.28, 841.89))])
def test_papers(
    command: Callable, plan: Path, tmp_path: Path, paper: str, size: tuple[float, float]
) -> None:
    out = tmp_path / "packet.pdf"
    assert command("packet", plan, "--paper", paper, "--out", out).code == 0
    with pdfium.PdfDocument(out) as document:
        sizes = {tuple(np.round(document.get_page_size(i), 1)) for i in range(len(document))}
    assert sizes == {tuple(np.round(size, 1))}
    # Nothing runs into the margins: 0.6 inches to the sides.
    for number in (0, 1, *sheet_of(out, 1)):
        page = picture(out, number, scale=1.0)
        edge = int(0.55 * 72)
        assert page[:, :edge].min() > 0.9
        assert page[:, -edge:].min() > 0.9


def test_units_are_those_of_the_plan(command: Callable, tmp_path: Path) -> None:
    plan = write_packet_plan(tmp_path / "us.gpkg", "us")
    out = tmp_path / "us.pdf"
    assert command("packet", plan, "--top", 1, "--out", out).code == 0
    text = " ".join(pages(out))
    for words in ("Feet and acres", "22 ft across", "15 cfs", "A drop of 3.0 ft", "7.9 acres"):
        assert words in text, words
    assert not re.search(r"\d m\b(?!,)", " ".join(pages(out)[i] for i in sheet_of(out, 1)).replace(
        "50 m", ""))  # the scale bar has both  # fmt: skip


def test_a_raster_gives_contours(command: Callable, plan: Path, tmp_path: Path) -> None:
    raster, dem = stretch_raster(), tmp_path / "stretch.tif"
    profile = {
        "driver": "GTiff",
        "height": raster.grid.rows,
        "width": raster.grid.cols,
        "count": 1,
        "dtype": "float32",
        "transform": raster.grid.transform,
        "crs": rasterio.CRS.from_epsg(32612),
    }
    with rasterio.open(dem, "w", **profile) as file:
        file.write(raster.elevation_m, 1)
    out = tmp_path / "packet.pdf"
    ended = command("packet", plan, "--top", 1, "--dem", dem, "--out", out)
    assert ended.code == 0
    assert "stretch.tif is not the raster that the plan was made from" in " ".join(
        ended.err.split()
    )
    cover = pages(out)[0]
    assert "Elevation: stretch.tif, cells of 0.5 m." in cover
    assert "Contour, every" in cover


def test_without_relief_it_says_so(tmp_path: Path) -> None:
    opened = read_plan(write_packet_plan(tmp_path / "plan.gpkg", relief=False))
    made, _ = make_packet(opened, chosen_sites(opened, top=1))
    assert "so the ground is not drawn" in pages(made)[0]


def test_pictures_hold_the_structure(packet: bytes) -> None:
    with pdfium.PdfDocument(packet) as document:
        page = document[sheet_of(packet, 1)[0]]
        image = io.BytesIO()
        page.render(scale=2.0).to_pil().save(image, "PNG")
        page.close()
    image.seek(0)
    rgb = imread(image, format="png")[..., :3] * 255
    middle = rgb[rgb.shape[0] // 3 : 2 * rgb.shape[0] // 3]
    for colour in (palette.BRICK, palette.OCHRE, palette.CHANNEL):
        wanted = np.array([int(colour[i : i + 2], 16) for i in (1, 3, 5)])
        assert (np.abs(middle - wanted).max(axis=-1) < 4).sum() > 40, colour
