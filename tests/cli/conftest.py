from __future__ import annotations

import contextlib
import json
import signal
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.typing import NDArray

from cli.main import run

WEST, NORTH = 540_000.0, 4_140_000.0
EPSG = 26913


@dataclass(frozen=True)
class Ended:
    """Exit code of a run and what it printed."""

    code: int
    out: str
    err: str

    @property
    def line(self) -> str:
        """The one line on stderr."""
        lines = self.err.splitlines()
        assert len(lines) == 1, self.err
        return lines[0]


@pytest.fixture
def command(capsys: pytest.CaptureFixture[str]) -> Callable[..., Ended]:
    """Run ``gullywalk`` within the test's own process."""

    def call(*arguments: object) -> Ended:
        capsys.readouterr()
        code = run([str(a) for a in arguments])
        caught = capsys.readouterr()
        return Ended(code, caught.out, caught.err)

    return call


def gully(rows: int = 240, cols: int = 160) -> NDArray[np.float32]:
    """A valley that falls to the south, with a trench that ends in a drop of 1 m; seeded."""
    rng = np.random.default_rng(3)
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float64)
    across = np.abs(x - cols / 2)
    z = 2000.0 + 0.02 * (rows - y) + 0.04 * across
    trench = np.where(y > rows * 0.45, 1.0, 0.0) * np.clip(1.6 - across / 2.0, 0.0, 1.0)
    return (z - trench + rng.normal(0, 0.02, z.shape)).astype(np.float32)


@pytest.fixture
def write_dem(tmp_path: Path) -> Callable[..., Path]:
    """Write a small raster and return its path."""

    def write(
        name: str = "dem.tif",
        z: NDArray[Any] | None = None,
        *,
        cell: float = 1.0,
        epsg: int | None = EPSG,
        west: float = WEST,
        north: float = NORTH,
        nodata: float | None = None,
        **more: Any,
    ) -> Path:
        z = gully() if z is None else z
        path = tmp_path / name
        profile = {
            "driver": "GTiff",
            "height": z.shape[0],
            "width": z.shape[1],
            "count": 1,
            "dtype": z.dtype,
            "transform": Affine(cell, 0, west, 0, -cell, north),
            "crs": None if epsg is None else rasterio.CRS.from_epsg(epsg),
            "nodata": nodata,
            **more,
        }
        with rasterio.open(path, "w", **profile) as file:
            file.write(z, 1)
        return path

    return write


@pytest.fixture
def write_boundary(tmp_path: Path) -> Callable[..., Path]:
    """Write a boundary as GeoJSON in the raster's own coordinate system."""

    def write(
        geometry: dict[str, Any] | None,
        name: str = "ranch.geojson",
        *,
        properties: dict[str, Any] | None = None,
    ) -> Path:
        features = []
        if geometry is not None:
            features = [{"type": "Feature", "properties": properties or {}, "geometry": geometry}]
        document = {
            "type": "FeatureCollection",
            "crs": {"type": "name", "properties": {"name": f"urn:ogc:def:crs:EPSG::{EPSG}"}},
            "features": features,
        }
        path = tmp_path / name
        path.write_text(json.dumps(document))
        return path

    return write


def box(west: float, south: float, east: float, north: float) -> dict[str, Any]:
    """Polygon given in metres from the raster's upper left corner, south and east positive."""
    corners = [(west, north), (east, north), (east, south), (west, south), (west, north)]
    ring = [[WEST + x, NORTH - y] for x, y in corners]
    return {"type": "Polygon", "coordinates": [ring]}


@contextlib.contextmanager
def small_files(size: int) -> Iterator[None]:
    """Let the system refuse files above a size in bytes, as a full disk would.

    Only for as long as is needed: what pytest itself writes may be longer.
    """
    resource = pytest.importorskip("resource")
    before = resource.getrlimit(resource.RLIMIT_FSIZE)
    handler = signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
    resource.setrlimit(resource.RLIMIT_FSIZE, (size, before[1]))
    try:
        yield
    finally:
        resource.setrlimit(resource.RLIMIT_FSIZE, before)
        signal.signal(signal.SIGXFSZ, handler)
