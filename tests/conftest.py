"""What all tests share: real elevation rasters where they are at hand, and a header of versions."""

from __future__ import annotations

import gc
import importlib.metadata
import os
import sys
from collections.abc import Callable
from pathlib import Path

import pytest

from tests.pysheds_kernels import compile_when_called

REPOSITORY = Path(__file__).resolve().parents[1]
#: Real rasters lie beside the checkout, never in it.
REAL_DEMS = REPOSITORY.parent / "shared" / "dem"
#: Files that take longest begin first, so that no worker is left alone with one at the end. On a
#: clean clone the first compiles our kernels and the second those of others, then come some that
#: need none, while the rest of ours is compiled for the pages: two workers do not compile the same.
FIRST = (
    "accuracy/test_headcut_accuracy.py",
    "properties/test_other_modes.py",
    "properties/test_agreement.py",
    "docs/test_pages.py",
    "crash/test_geopackage_crash.py",
    "siting/test_budget.py",
    "cli/test_packet_bad_input.py",
    "audit/test_plants.py",
    "cli/test_revise.py",
    "cli/test_screen.py",
    "foreign/test_foreign_types.py",
    "accuracy/test_heights_below_planted_bankfull.py",
    "siting/test_one_truth.py",
    "siting/test_screening.py",
    "crash/test_screen_crash.py",
    "cli/page/test_browser.py",
    "cli/test_flood.py",
    "cli/test_packet.py",
    "siting/revising/test_revise.py",
    "cli/test_waypoints.py",
    "siting/test_structures_on_real_ground.py",
    "sample/test_structures_on_sample.py",
)

_LIBRARIES = (
    "numpy",
    "numba",
    "rasterio",
    "pyproj",
    "shapely",
    "pyogrio",
    "geopandas",
    "pysheds",
    "pyflwdir",
)


def pytest_configure() -> None:
    """See `tests.pysheds_kernels`; nothing has imported that library yet.

    Bytecode is written beside the sources, as compiled kernels are, whatever the environment says:
    each program that a test starts would compile the packages anew.
    """
    compile_when_called()
    sys.dont_write_bytecode = False
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)


def pytest_report_header() -> list[str]:
    """Name the versions that a failure may depend on."""
    import pyogrio
    import pyproj
    import rasterio

    versions = []
    for name in _LIBRARIES:
        try:
            versions.append(f"{name} {importlib.metadata.version(name)}")
        except importlib.metadata.PackageNotFoundError:
            versions.append(f"{name} absent")
    gdal = (
        f"GDAL {rasterio.__gdal_version__} (rasters), {pyogrio.__gdal_version_string__} (vectors)"
    )
    there = "present" if REAL_DEMS.is_dir() else "absent: their tests skip"
    return [
        "libraries: " + ", ".join(versions),
        f"{gdal}, PROJ {pyproj.proj_version_str}",
        f"real elevation rasters: {there}",
    ]


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Put the files of `FIRST` before the others; within a file the order stays."""
    gone = [name for name in FIRST if not (REPOSITORY / "tests" / name).is_file()]
    if gone:
        raise pytest.UsageError(f"tests/conftest.py names files that are not there: {gone}")
    place = {REPOSITORY / "tests" / name: i for i, name in enumerate(FIRST)}
    items.sort(key=lambda item: place.get(item.path, len(FIRST)))


def pytest_collection_finish() -> None:
    """What is there now stays: the garbage collector need not look through all tests again."""
    gc.collect()
    gc.freeze()


@pytest.fixture(scope="session")
def real_dem() -> Callable[[str], Path]:
    """Return a function from a name such as ``pozo/pozo_4m.tif`` to a real file's path."""

    def find(name: str) -> Path:
        path = REAL_DEMS / name
        if not path.exists():
            pytest.skip(f"real raster {name} is not at hand (looked in ../shared/dem)")
        return path

    return find
