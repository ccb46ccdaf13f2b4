"""Heights along a line, smoothed by straight lines through neighbourhoods."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float64s, Floats, Real


@kernel
def local_lines(
    d: Floats, z: Float64s, half: int, fits: int, bed: Float64s, spread: Float64s
) -> Real:
    """Fit a straight line around each place; outliers lose weight from fit to fit.

    Weights fall off with distance (tricube) and with what the fit before left over (bisquare of
    six times the median). Near an end the neighbourhood is as large, but one-sided.

    Parameters
    ----------
    d, z : float64 (n,)
        Rising distances, and heights.
    half : int
        Neighbours to each side.
    fits : int
        Number of fits.
    bed, spread : float64 (n,)
        Get the smoothed heights, and the standard error of each over that of one height.

    Returns the median size of what the last fit leaves over.
    """
    n = d.size
    k = min(2 * half + 1, n)
    trust = np.ones(n)
    left = np.empty(n)
    typical: Real = 0.0
    for _ in range(fits):
        for i in range(n):
            first = min(max(i - half, 0), n - k)
            reach = max(d[i] - d[first], d[first + k - 1] - d[i]) * 1.01 + 1e-9
            s0 = s1 = s2 = 0.0
            for j in range(first, first + k):
                t = d[j] - d[i]
                w = (1.0 - (abs(t) / reach) ** 3) ** 3 * trust[j]
                s0 += w
                s1 += w * t
                s2 += w * t * t
            det = s0 * s2 - s1 * s1
            flat = det <= 1e-9 * s0 * s2
            total = 0.0
            squares = 0.0
            for j in range(first, first + k):
                t = d[j] - d[i]
                w = (1.0 - (abs(t) / reach) ** 3) ** 3 * trust[j]
                share = w / s0 if flat else w * (s2 - s1 * t) / det
                total += share * z[j]
                squares += share * share
            bed[i] = total
            spread[i] = np.sqrt(squares)
            left[i] = abs(z[i] - total)
        typical = np.median(left)
        far = max(6.0 * typical, 1e-6)
        for i in range(n):
            # some weight always stays, so that no neighbourhood is left without any
            trust[i] = max(max(1.0 - (left[i] / far) ** 2, 0.0) ** 2, 1e-3)
    return typical
