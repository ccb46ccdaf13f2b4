"""Make again what the documents show of the tool: field guide, steps, sample output and pictures.

Run ``make docs``; `tests/docs/test_pages.py` fails when a page is behind.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

import pypdfium2
from PIL import Image
from playwright.sync_api import sync_playwright

from cli.plan.field_guide import guide_markdown
from cli.steps_page import steps_markdown
from siting.steps.step import all_steps

ROOT = Path(__file__).resolve().parents[2]
BLOCK = re.compile(
    r"(<!-- demo output: made by `make docs` -->\n```\n)(.*?)(```\n<!-- end of demo output -->)",
    re.DOTALL,
)
#: The map is shrunk and its colours are counted out, so that it stays small in the repository.
MAP_WIDTH, MAP_COLOURS = 1300, 256
MAP_DATE = "2026-01-15"
PICTURES, PICTURE_WIDTH = ROOT / "sample_dem" / "pictures", 900
#: The site that the README shows.
SHOWN_RANK = 2


def demo_arguments(folder: Path) -> list[str]:
    """Arguments of the command that ``make demo`` runs, with another folder for what it writes."""
    text = (ROOT / "Makefile").read_text(encoding="utf-8").replace("\\\n", " ")
    (line,) = [row for row in text.splitlines() if "gullywalk screen" in row]
    words = line.split()
    return [word.replace("$(DEMO)", str(folder)) for word in words[words.index("screen") :]]


def as_in_the_demo(output: str, folder: Path) -> str:
    """Name the usual folder in what a run into another one printed."""
    return output.replace(str(folder), "demo_output")


def demo_run(folder: Path, *more: str) -> str:
    """Run the demo into another folder; returns what it prints, with the usual folder's name."""
    done = subprocess.run(
        [sys.executable, "-m", "cli", *demo_arguments(folder), *more],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return as_in_the_demo(done.stdout, folder)


def readme_with(output: str) -> str:
    """Put the output of the demo into the README."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    return BLOCK.sub(lambda m: m[1] + output + m[3], readme)


def small_map(source: Path, target: Path, *, width: int = MAP_WIDTH) -> None:
    """Write a small copy of a picture."""
    with Image.open(source) as picture:
        height = round(picture.height * width / picture.width)
        small = picture.convert("RGB").resize((width, height), Image.Resampling.LANCZOS)
        # Maximum coverage keeps the few bright colours among the many greys.
        few = small.quantize(
            MAP_COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE
        )
        few.save(target, optimize=True)


def gullywalk(*arguments: str) -> None:
    """Run a command; its output does not matter."""
    subprocess.run(
        [sys.executable, "-m", "cli", *arguments], cwd=ROOT, capture_output=True, check=True
    )


def pictures(folder: Path) -> None:
    """Draw what the README shows of the plan in a folder."""
    plan, dem = str(folder / "ranch.gpkg"), "sample_dem/ranch_dem.tif"
    site, walk = folder / "site.png", folder / "walk.png"
    gullywalk("explain", plan, f"rank:{SHOWN_RANK}", "--dem", dem, "--picture", str(site))
    gullywalk(
        "waypoints", plan, "--dem", dem, "--hours", "8", "--out", str(folder / "walk.gpx"),
        "--map", str(walk),
    )  # fmt: skip
    packet, page = folder / "packet.pdf", folder / "ranch.html"
    gullywalk("packet", plan, "--sites", f"rank:{SHOWN_RANK}", "--out", str(packet))
    gullywalk("page", plan, "--out", str(page))
    sheet_picture(packet, folder / "sheet.png")
    page_picture(page, folder / "page.png")
    PICTURES.mkdir(exist_ok=True)
    for name in ("site", "walk", "sheet", "page"):
        small_map(folder / f"{name}.png", PICTURES / f"{name}.png", width=PICTURE_WIDTH)


def sheet_picture(packet: Path, target: Path) -> None:
    """Draw the first page of the only sheet of a packet."""
    document = pypdfium2.PdfDocument(packet)
    for number in range(len(document)):
        if "Along the channel" in document[number].get_textpage().get_text_bounded():
            document[number].render(scale=2.0).to_pil().save(target)
            return
    raise RuntimeError("no sheet in the packet")


def page_picture(page: Path, target: Path) -> None:
    """Draw the map page with one site chosen."""
    with sync_playwright() as p:
        browser = p.chromium.launch(
            executable_path="/usr/bin/chromium",
            args=["--no-sandbox", "--disable-background-networking"],
        )
        tab = browser.new_page(viewport={"width": 1440, "height": 900})
        tab.goto(page.as_uri())
        tab.locator("tbody tr:visible").nth(SHOWN_RANK - 1).click()
        tab.wait_for_timeout(500)
        tab.screenshot(path=str(target))
        browser.close()


def main() -> None:
    """Write every page again."""
    (ROOT / "cli" / "FIELDS.md").write_text(guide_markdown(), encoding="utf-8")
    (ROOT / "cli" / "STEPS.md").write_text(steps_markdown(all_steps()), encoding="utf-8")
    with tempfile.TemporaryDirectory() as name:
        output = demo_run(Path(name), "--date", MAP_DATE)
        small_map(Path(name) / "ranch.png", ROOT / "sample_dem" / "ranch_map.png")
        pictures(Path(name))
    (ROOT / "README.md").write_text(readme_with(output), encoding="utf-8")


if __name__ == "__main__":
    main()
