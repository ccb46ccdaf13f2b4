"""Heights along a channel, smoothed: straight lines through neighbourhoods, outliers set aside.

Locally weighted regression with weights that outliers lose (W. S. Cleveland 1979, from memory).
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.smoothing import local_lines
from terrain.values.arrays import FloatArray

#: No bed is known better than this from a raster, m (common practice, no published source).
LEAST_ERROR_M = 0.01
#: Noise of this many neighbouring steps goes together, as heights are read between cell centres
#: where the ground is lowest (settled on made-up trenches: falls miss as often as they should).
TOGETHER = 3.0
#: Standard deviation of what scatters as a normal law does, over the median of its size.
PER_MEDIAN = 1.4826
_FITS = 4


def smooth_line(
    distance_m: FloatArray, height_m: FloatArray, piece: NDArray[np.int64], *, half: int
) -> tuple[FloatArray, FloatArray]:
    """Smooth heights along a line, each piece for itself.

    Parameters
    ----------
    distance_m, height_m
        Rising distances and heights, shape ``(n,)``.
    piece
        Numbers that do not fall; rows of one number hang together.
    half
        Rows to each side that a straight line is fitted to; near an end as many in all.

    Returns
    -------
    tuple
        Smoothed heights and their standard errors, both of shape ``(n,)``. Pieces of fewer than
        three rows stay as they are.
    """
    smooth = np.array(height_m, dtype=np.float64)
    error = np.full(smooth.shape, LEAST_ERROR_M)
    edges = np.concatenate([[0], np.flatnonzero(np.diff(piece)) + 1, [smooth.size]])
    for first, end in zip(edges[:-1].tolist(), edges[1:].tolist(), strict=True):
        n = end - first
        if n < 3:
            continue
        own, spread = np.empty(n), np.empty(n)
        typical = local_lines(distance_m[first:end], smooth[first:end], half, _FITS, own, spread)
        noise = PER_MEDIAN * typical * np.sqrt(n / (n - 2))
        smooth[first:end] = own
        error[first:end] = np.maximum(np.sqrt(TOGETHER) * noise * spread, LEAST_ERROR_M)
    return smooth, error
