"""How far single heights of a raster scatter about the ground, estimated from the raster itself."""

from __future__ import annotations

import numpy as np

from terrain.values.raster import Raster

#: Standard deviation of what scatters as a normal law does, over the median of its size.
_PER_MEDIAN = 1.4826
#: One row in so many is looked at, wherever the raster begins.
SAMPLED_ROWS = 8


def height_noise_m(raster: Raster) -> float:
    """Standard deviation of what single heights have to themselves, m.

    From the difference of differences over the corners of squares, which planes and every slope
    along one axis leave at 0 (as in J. Immerkaer 1996, from memory). The corners lie two cells
    apart, since neighbours share much of the error where a survey was gridded. Every
    `SAMPLED_ROWS`-th row is looked at. What lies further apart and goes together, such as tufts
    and facets, is in it in part; a raster that was smoothed tells less than the survey's error.
    """
    z, valid = raster.elevation_m, raster.valid
    upper, lower = slice(0, raster.grid.rows - 2, SAMPLED_ROWS), slice(2, None, SAMPLED_ROWS)
    known = valid[upper, 2:] & valid[upper, :-2] & valid[lower, 2:] & valid[lower, :-2]
    if not known.any():
        return 0.0
    twist = (z[upper, 2:] - z[upper, :-2]) - (z[lower, 2:] - z[lower, :-2])
    return float(_PER_MEDIAN * np.median(np.abs(twist[known]))) / 2.0
