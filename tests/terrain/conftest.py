"""Small rasters made on the fly."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import rasterio
from affine import Affine
from numpy.typing import NDArray

#: A corner in Colorado, UTM 13N, where ground lies between about 1000 and 4400 m.
WEST, NORTH = 500_000.0, 4_380_000.0


def hills(rows: int = 60, cols: int = 80, *, base: float = 1600.0) -> NDArray[np.float32]:
    """Return gentle ground, higher to the north-west, without symmetry: flips show."""
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float64)
    z = base + 0.05 * (rows - y) + 0.02 * (cols - x) + 0.7 * np.sin(x / 7.0) * np.cos(y / 11.0)
    return z.astype(np.float32)


@pytest.fixture
def ground() -> NDArray[np.float32]:
    """Gentle ground, 60 x 80 cells."""
    return hills()


@pytest.fixture
def make_dem(tmp_path: Path) -> Callable[..., Path]:
    """Return a function that writes an array as a raster and returns its path."""

    def make(
        z: NDArray[Any],
        name: str = "dem.tif",
        *,
        crs: str | None = "EPSG:26913",
        cell: float = 1.0,
        west: float = WEST,
        north: float = NORTH,
        transform: Affine | None = None,
        nodata: float | None = None,
        units: str | None = None,
        scale: float | None = None,
        offset: float | None = None,
        mask: NDArray[np.bool_] | None = None,
        **profile: Any,
    ) -> Path:
        path = tmp_path / name
        bands = z if z.ndim == 3 else z[np.newaxis]
        place = Affine(cell, 0, west, 0, -cell, north) if transform is None else transform
        with (
            rasterio.Env(GDAL_TIFF_INTERNAL_MASK=True),
            rasterio.open(
                path,
                "w",
                driver="GTiff",
                height=bands.shape[1],
                width=bands.shape[2],
                count=bands.shape[0],
                dtype=bands.dtype.name,
                crs=crs,
                transform=place,
                nodata=nodata,
                **profile,
            ) as dataset,
        ):
            dataset.write(bands)
            if units is not None:
                dataset.set_band_unit(1, units)
            if scale is not None:
                dataset.scales = (scale,) * bands.shape[0]
            if offset is not None:
                dataset.offsets = (offset,) * bands.shape[0]
            if mask is not None:
                dataset.write_mask(mask)
        return path

    return make
