"""What all tests share: real elevation rasters where they are at hand, and a header of versions."""

from __future__ import annotations

import importlib.metadata
from collections.abc import Callable
from pathlib import Path

import pytest

#: Real rasters lie beside the checkout, never in it.
REAL_DEMS = Path(__file__).resolve().parents[2] / "shared" / "dem"

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


@pytest.fixture(scope="session")
def real_dem() -> Callable[[str], Path]:
    """Return a function from a name such as ``pozo/pozo_4m.tif`` to a real file's path."""

    def find(name: str) -> Path:
        path = REAL_DEMS / name
        if not path.exists():
            pytest.skip(f"real raster {name} is not at hand (looked in ../shared/dem)")
        return path

    return find
