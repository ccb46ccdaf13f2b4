"""Ground between cell centres."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.values.raster import Raster


def heights_at(raster: Raster, x: ArrayLike, y: ArrayLike) -> NDArray[np.float64]:
    """Ground at places, between the four nearest cell centres (bilinear), m.

    NaN where one of the four is unknown, and off the raster; within half a cell of the edge the
    edge's own cells count. As many values as there are places, of the same shape.
    """
    grid, t = raster.grid, raster.grid.transform
    col = (np.asarray(x, dtype=np.float64) - t.c) / t.a - 0.5
    row = (np.asarray(y, dtype=np.float64) - t.f) / t.e - 0.5
    on = (col >= -0.5) & (row >= -0.5) & (col <= grid.cols - 0.5) & (row <= grid.rows - 0.5)
    col, row = np.where(on, col, 0.0), np.where(on, row, 0.0)
    c0, c1, right = _between(col, grid.cols)
    r0, r1, low = _between(row, grid.rows)
    z = raster.elevation_m
    top = z[r0, c0] * (1 - right) + z[r0, c1] * right
    bottom = z[r1, c0] * (1 - right) + z[r1, c1] * right
    v = raster.valid
    known = on & v[r0, c0] & v[r0, c1] & v[r1, c0] & v[r1, c1]
    return np.where(known, top * (1 - low) + bottom * low, np.nan)


def _between(at: NDArray[np.float64], n: int) -> tuple[NDArray[Any], NDArray[Any], NDArray[Any]]:
    """Cells before and after a place, and how far it lies from the first to the second."""
    at = np.clip(at, 0, n - 1)
    first = np.minimum(np.floor(at).astype(np.int64), max(n - 2, 0))
    return first, np.minimum(first + 1, n - 1), at - first
