"""Ground across a channel, many sections at once."""

from __future__ import annotations

import numpy as np

from terrain.values.arrays import FloatArray
from terrain.values.heights import heights_at
from terrain.values.raster import Raster


def across(
    raster: Raster, x_m: FloatArray, y_m: FloatArray, azimuth_deg: FloatArray, offset_m: FloatArray
) -> FloatArray:
    """Heights across the flow, m; NaN where there is no ground.

    Parameters
    ----------
    raster
        Ground as measured.
    x_m, y_m, azimuth_deg
        Places and direction of the flow, clockwise from north, shape ``(n,)``.
    offset_m
        Metres to the right looking downstream, shape ``(k,)``.

    Returns
    -------
    numpy.ndarray
        Shape ``(n, k)``.
    """
    angle = np.radians(azimuth_deg)
    return heights_at(
        raster,
        x_m[:, None] + offset_m * np.cos(angle)[:, None],
        y_m[:, None] - offset_m * np.sin(angle)[:, None],
    )


def running_median(rows: FloatArray) -> FloatArray:
    """Median of five neighbouring rows, the end rows repeated; shape ``(n, k)`` stays."""
    n = len(rows)
    i = np.arange(n)
    a, b, c, d, e = (rows[np.clip(i + shift, 0, n - 1)] for shift in (-2, -1, 0, 1, 2))
    # exchanges in a fixed order: much faster than sorting
    a, b = np.minimum(a, b), np.maximum(a, b)
    d, e = np.minimum(d, e), np.maximum(d, e)
    low, high = np.maximum(a, d), np.minimum(b, e)
    low, high = np.minimum(low, high), np.maximum(low, high)
    return np.asarray(np.maximum(low, np.minimum(high, c)))
