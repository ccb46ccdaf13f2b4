"""Make again what the documents show of the tool: field guide, steps, sample output and map.

Run ``make docs``; `tests/docs/test_pages.py` fails when a page is behind.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

from PIL import Image

from cli.field_guide import guide_markdown
from cli.steps_page import steps_markdown
from siting.steps import all_steps

ROOT = Path(__file__).resolve().parents[2]
BLOCK = re.compile(
    r"(<!-- demo output: made by `make docs` -->\n```\n)(.*?)(```\n<!-- end of demo output -->)",
    re.DOTALL,
)
#: The map is shrunk and its colours are counted out, so that it stays small in the repository.
MAP_WIDTH, MAP_COLOURS = 1300, 256
MAP_DATE = "2026-01-15"


def demo_arguments() -> list[str]:
    """Arguments of the command that ``make demo`` runs."""
    text = (ROOT / "Makefile").read_text(encoding="utf-8").replace("\\\n", " ")
    (line,) = [row for row in text.splitlines() if "gullywalk screen" in row]
    words = line.replace("$(DEMO)", "demo_output").split()
    return words[words.index("screen") :]


def demo_run(folder: Path, *more: str) -> str:
    """Run the demo into another folder; returns what it prints, with the usual folder's name."""
    arguments = [word.replace("demo_output", str(folder)) for word in demo_arguments()]
    done = subprocess.run(
        [sys.executable, "-m", "cli", *arguments, *more],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    )
    return done.stdout.replace(str(folder), "demo_output")


def readme_with(output: str) -> str:
    """Put the output of the demo into the README."""
    readme = (ROOT / "README.md").read_text(encoding="utf-8")
    return BLOCK.sub(lambda m: m[1] + output + m[3], readme)


def small_map(source: Path, target: Path) -> None:
    """Write a small copy of a map."""
    with Image.open(source) as picture:
        height = round(picture.height * MAP_WIDTH / picture.width)
        small = picture.convert("RGB").resize((MAP_WIDTH, height), Image.Resampling.LANCZOS)
        # Maximum coverage keeps the few bright colours among the many greys.
        few = small.quantize(
            MAP_COLOURS, method=Image.Quantize.MAXCOVERAGE, dither=Image.Dither.NONE
        )
        few.save(target, optimize=True)


def main() -> None:
    """Write every page again."""
    (ROOT / "cli" / "FIELDS.md").write_text(guide_markdown(), encoding="utf-8")
    (ROOT / "cli" / "STEPS.md").write_text(steps_markdown(all_steps()), encoding="utf-8")
    with tempfile.TemporaryDirectory() as name:
        output = demo_run(Path(name), "--date", MAP_DATE)
        small_map(Path(name) / "ranch.png", ROOT / "sample_dem" / "ranch_map.png")
    (ROOT / "README.md").write_text(readme_with(output), encoding="utf-8")


if __name__ == "__main__":
    main()
