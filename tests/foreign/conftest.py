"""A small package of made-up structures, installed as any other, and a plan made with it."""

from __future__ import annotations

import importlib
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

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


@pytest.fixture(scope="module")
def plan_path(package: Any, tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("foreign")
    arguments = [
        "screen", SAMPLE / "ranch_dem.tif", "--boundary", SAMPLE / "boundary.geojson",
        "--rain", SAMPLE / "rainfall.csv", "--curve-number", 79, "--roads", SAMPLE / "ranch.gpkg",
        "--out", folder / "plan.gpkg", "--list", folder / "list.csv", "--quiet",
    ]  # fmt: skip
    assert run([str(a) for a in arguments]) == 0
    return folder / "plan.gpkg"


@pytest.fixture(scope="module")
def plan(plan_path: Path) -> PlanFile:
    return read_plan(plan_path)
