"""Long profiles at even steps."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float64s

#: Columns of an even profile: metres east and south of the first cell's centre, bed, carved bed,
#: fractional position in the way of cells.
EAST, SOUTH, BED, CARVED, PLACE = range(5)


@kernel
def smoothed(values: Float64s, half: int) -> Float64s:
    """Running mean over up to ``2 * half + 1`` values; fewer towards the ends, which stay."""
    n = values.size
    out = np.empty(n)
    for i in range(n):
        h = min(half, i, n - 1 - i)
        total = 0.0
        for j in range(i - h, i + h + 1):
            total += values[j]
        out[i] = total / (2 * h + 1)
    return out


@kernel
def even_profile(
    u: Float64s, v: Float64s, bed: Float64s, carved: Float64s, half: int, step: float
) -> Float64s:
    """Profile of a way of cells at even steps along its smoothed line.

    Returns float64 ``(m, 5)``: the columns `EAST` to `PLACE`, one row a step.
    """
    su = smoothed(u, half)
    sv = smoothed(v, half)
    n = u.size
    walked = np.zeros(n)
    for i in range(1, n):
        walked[i] = walked[i - 1] + np.hypot(su[i] - su[i - 1], sv[i] - sv[i - 1])
    m = max(1, int(np.ceil(walked[n - 1] / step)))
    out = np.empty((m, 5))
    j = 0
    for k in range(m):
        at = k * step
        while j < n - 2 and walked[j + 1] < at:
            j += 1
        gap = walked[j + 1] - walked[j] if n > 1 else 0.0
        f = min(1.0, (at - walked[j]) / gap) if gap > 0 else 0.0
        i1 = min(j + 1, n - 1)
        out[k, EAST] = su[j] + f * (su[i1] - su[j])
        out[k, SOUTH] = sv[j] + f * (sv[i1] - sv[j])
        out[k, BED] = bed[j] + f * (bed[i1] - bed[j])
        out[k, CARVED] = carved[j] + f * (carved[i1] - carved[j])
        out[k, PLACE] = j + f
    return out


@kernel
def directions_of(u: Float64s, v: Float64s, half: int) -> Float64s:
    """Unit vectors along a line at even steps (towards its end), smoothed."""
    su = smoothed(u, half)
    sv = smoothed(v, half)
    n = u.size
    out = np.zeros((n, 2))
    for i in range(n):
        a = max(0, i - 1)
        b = min(n - 1, i + 1)
        du = su[b] - su[a]
        dv = sv[b] - sv[a]
        size = np.hypot(du, dv)
        if size > 0:
            out[i, 0] = du / size
            out[i, 1] = dv / size
    return out
