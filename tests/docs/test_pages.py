"""The pages say what is so: made parts are current, links lead somewhere, examples run."""

from __future__ import annotations

import contextlib
import csv
import os
import re
import shlex
import shutil
import subprocess
import sys
import tomllib
from pathlib import Path
from typing import Any

import numpy as np
import pytest
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from packaging.version import Version
from PIL import Image

from cli import palette
from cli.main import run
from cli.steps_page import steps_markdown
from siting.steps.step import StepData, all_steps, run_step
from terrain.values.raster import Raster
from tests.docs.refresh import BLOCK, ROOT, as_in_the_demo, demo_arguments, readme_with

PAGES = sorted(
    path
    for pattern in ("*.md", "cli/*.md", "sample_dem/*.md", "tests/*/*.md")
    for path in ROOT.glob(pattern)
)
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCKS = re.compile(r"^```(\w*)\n(.*?)^```$", re.MULTILINE | re.DOTALL)


def blocks(language: str) -> list[str]:
    return [m[2] for m in BLOCKS.finditer(README) if m[1] == language]


def test_the_page_of_steps_is_current() -> None:
    page = (ROOT / "cli" / "STEPS.md").read_text(encoding="utf-8")
    assert page == steps_markdown(all_steps()), "run: make docs"


def test_the_readme_shows_what_the_demo_prints(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert BLOCK.search(README)
    monkeypatch.chdir(ROOT)
    assert run(demo_arguments(tmp_path)) == 0
    printed = as_in_the_demo(capsys.readouterr().out, tmp_path)
    assert readme_with(printed) == README, "run: make docs"
    assert {p.name for p in tmp_path.iterdir()} == {"ranch.gpkg", "ranch.csv", "ranch.png"}
    _field_notes_fit(tmp_path / "ranch.csv")


def _field_notes_fit(plan: Path) -> None:
    """The sample's field notes are of sites of the demo's plan: drops at drops, bankfull below."""
    with open(plan, newline="", encoding="utf-8") as file:
        sites = {row["site_id"]: row for row in csv.DictReader(file)}
    with open(ROOT / "sample_dem" / "field_notes.csv", newline="", encoding="utf-8") as file:
        notes = list(csv.DictReader(file))
    assert notes
    for note in notes:
        site = sites[note["site_id"]]
        if note["measured_drop_m"]:
            drop = float(site["headcut_height_m"])
            assert float(note["measured_drop_m"]) == pytest.approx(drop, rel=0.15)
        if note["measured_bankfull_depth_m"]:
            assert site["control"] == "grade"


def test_the_picture_is_small_and_keeps_its_colours() -> None:
    path = ROOT / "sample_dem" / "ranch_map.png"
    assert path.stat().st_size < 600_000
    with Image.open(path) as picture:
        pixels = np.asarray(picture.convert("RGB"), dtype=np.int64)
    for control in ("vertical", "grade", "spread"):
        colour = palette.site_symbol(control).colour
        wanted = [int(colour[i : i + 2], 16) for i in (1, 3, 5)]
        assert np.abs(pixels - wanted).max(axis=2).min() < 24, control


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_links_lead_somewhere(page: Path) -> None:
    text = page.read_text(encoding="utf-8")
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", text):
        if not target.startswith("http"):
            assert (page.parent / target).exists(), f"{page.name} points at {target}"


@pytest.mark.parametrize("page", PAGES, ids=lambda p: p.name)
def test_pages_speak_plainly_and_of_no_one_machine(page: Path) -> None:
    text = BLOCKS.sub("", page.read_text(encoding="utf-8"))
    text = re.sub(r"`[^`]*`|<!--.*?-->|!\[", "", text)
    assert "!" not in text
    assert not re.search(r"(?<![\w.])/(work|root|home|tmp|farm)\b", text)


def _commands() -> list[list[str]]:
    lines = "".join(blocks("")).replace("\\\n", " ").splitlines()
    return [shlex.split(line)[1:] for line in lines if line.startswith("gullywalk ")]


def _screen_command() -> list[str]:
    return next(c for c in _commands() if c[0] == "screen")


@pytest.fixture
def beside_the_sample(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """An empty folder in which ``sample_dem`` can be reached as in the checkout."""
    os.symlink(ROOT / "sample_dem", tmp_path / "sample_dem")
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture(scope="module")
def made_by_screen(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The folder in which the README's first command was run, once for those that read its plan."""
    folder = tmp_path_factory.mktemp("readme")
    os.symlink(ROOT / "sample_dem", folder / "sample_dem")
    with contextlib.chdir(folder):
        assert run(_screen_command()) == 0
    return folder


@pytest.mark.parametrize("arguments", _commands(), ids=lambda words: " ".join(words[:2]))
def test_commands_of_the_readme_run(
    beside_the_sample: Path,
    made_by_screen: Path,
    arguments: list[str],
    capsys: pytest.CaptureFixture[str],
) -> None:
    screens = arguments == _screen_command()
    if screens or "plan.gpkg" in arguments[1:2]:  # what the README's first command made
        for made in made_by_screen.iterdir():
            if not made.is_symlink():
                shutil.copyfile(made, beside_the_sample / made.name)
    if not screens:  # that one was run to its end by the fixture
        assert run(arguments) == 0, capsys.readouterr().err
    named = [
        arguments[i + 1]
        for i, word in enumerate(arguments)
        if word in ("--out", "--map", "--figure")
    ]
    assert all((beside_the_sample / name).exists() for name in named)


def test_there_are_commands_and_a_program_in_the_readme() -> None:
    assert len(_commands()) >= 4
    assert len(blocks("python")) == 1
    assert "make demo\nmake test\n" in README


def test_the_program_of_the_readme_runs(beside_the_sample: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-W", "error", "-c", blocks("python")[0]],
        cwd=beside_the_sample,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    assert "headcuts" in done.stdout
    assert "q10_m3s [" in done.stdout


def test_the_step_of_the_developers_page_works() -> None:
    page = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    (program,) = [m[2] for m in BLOCKS.finditer(page) if m[1] == "python"]
    names: dict[str, Any] = {}
    exec(program, names)
    raster = Raster.from_array(np.arange(25.0).reshape(5, 5))
    result = run_step(names["LOWER"], StepData(raster), {"by_m": 2.0})
    np.testing.assert_array_equal(result["surface"], raster.elevation_m - 2)


_LISTS = ("constraints.txt", "constraints-lowest.txt")


def _pins(name: str) -> dict[str, str]:
    lines = (ROOT / name).read_text(encoding="utf-8").splitlines()
    return dict(line.split("==") for line in lines if line and not line.startswith("#"))


def _requirements() -> list[Requirement]:
    """Every one that the project declares, with and without extras."""
    text = (ROOT / "pyproject.toml").read_text(encoding="utf-8")
    project = tomllib.loads(text)["project"]
    groups = [project["dependencies"], *project["optional-dependencies"].values()]
    return [Requirement(text) for group in groups for text in group]


@pytest.mark.parametrize("name", _LISTS)
def test_every_requirement_is_pinned(name: str) -> None:
    pins = _pins(name)
    for requirement in _requirements():
        version = pins[canonicalize_name(requirement.name)]
        assert version in requirement.specifier, requirement


def test_the_lowest_pins_are_the_bounds_that_are_declared() -> None:
    pins = _pins("constraints-lowest.txt")
    bounds = [
        (r.name, s.version) for r in _requirements() for s in r.specifier if s.operator == ">="
    ]
    assert len(bounds) >= len(_requirements()) - 1  # numpy is named once more, with its cap
    for name, lowest in bounds:
        assert Version(pins[canonicalize_name(name)]) == Version(lowest), name


def test_no_host_is_named() -> None:
    for name in (*_LISTS, "Makefile", ".ci/run", "pyproject.toml"):
        assert "://" not in (ROOT / name).read_text(encoding="utf-8"), name


def test_the_checks_of_a_clean_clone_are_those_of_the_makefile() -> None:
    script = ROOT / ".ci" / "run"
    assert os.access(script, os.X_OK)
    makefile = (ROOT / "Makefile").read_text(encoding="utf-8")
    called = re.findall(r"^ *make ([\w-]+)", script.read_text(encoding="utf-8"), re.MULTILINE)
    assert called == ["lint", "test", "demo", "test-lowest"]
    for target in (*called, "bench", "docs", "test-newest"):
        assert re.search(rf"^{target}:", makefile, re.MULTILINE), target


def test_an_old_python_is_refused_in_one_line(tmp_path: Path) -> None:
    old = tmp_path / "python3"
    old.write_text('#!/bin/sh\n[ "$1" = --version ] && echo "Python 3.9.1" && exit 0\nexit 1\n')
    old.chmod(0o755)
    for name in ("Makefile", "pyproject.toml", *_LISTS):
        (tmp_path / name).write_bytes((ROOT / name).read_bytes())
    done = subprocess.run(
        ["make", "--no-print-directory", "test", f"PYTHON={old}"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        check=False,
    )
    assert done.returncode != 0
    first = done.stderr.splitlines()[0]
    assert first.startswith("Gullywalk needs Python 3.11 or newer")
    assert "Python 3.9.1" in first
    assert not (tmp_path / ".venv").exists()
