"""A small package of made-up structures, installed as any other, and a plan made with it."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest
from matplotlib.figure import Figure

from cli.figures import map_sheet
from cli.main import run
from cli.plan.plan_reading import PlanFile, read_plan

PACKAGE = Path(__file__).parent / "package"
SAMPLE = Path(__file__).resolve().parents[2] / "sample_dem"


@pytest.fixture(scope="module")
def package() -> Iterator[Any]:
    """The package's module; it lies on the path as long as the tests of this folder run."""
    sys.path.insert(0, str(PACKAGE))
    importlib.invalidate_caches()
    yield importlib.import_module("lattice_structures")
    sys.path.remove(str(PACKAGE))
    importlib.invalidate_caches()


@dataclass(frozen=True)
class Screened:
    """The plan, and its map as a file and as it was drawn."""

    plan: Path
    map: Path
    figure: Figure


@pytest.fixture(scope="module")
def screened(package: Any, tmp_path_factory: pytest.TempPathFactory) -> Screened:
    folder = tmp_path_factory.mktemp("foreign")
    figures: list[Figure] = []

    def keep(figure: Figure, path: Any) -> None:
        figures.append(figure)
        map_sheet.save(figure, path)

    arguments = [
        "screen", SAMPLE / "ranch_dem.tif", "--boundary", SAMPLE / "boundary.geojson",
        "--rain", SAMPLE / "rainfall.csv", "--curve-number", 79, "--roads", SAMPLE / "ranch.gpkg",
        "--out", folder / "plan.gpkg", "--list", folder / "list.csv",
        "--map", folder / "map.png", "--quiet",
    ]  # fmt: skip
    with pytest.MonkeyPatch.context() as patch:
        patch.setattr(importlib.import_module("cli.figures.ranch_map"), "save", keep)
        assert run([str(a) for a in arguments]) == 0
    (figure,) = figures
    return Screened(folder / "plan.gpkg", folder / "map.png", figure)


@pytest.fixture(scope="module")
def plan_path(screened: Screened) -> Path:
    return screened.plan


@pytest.fixture(scope="module")
def plan(plan_path: Path) -> PlanFile:
    return read_plan(plan_path)
