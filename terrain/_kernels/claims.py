"""What ways out claim: they lower the surface and give their cells directions, in one order."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, EXPLICIT, ROW_STEP
from terrain._kernels.heap import grown
from terrain._kernels.kinds import Bytes, Float32s, Float64s, Int32s, Int64s


@kernel
def _claim(
    raw: Float32s, level: float, row: int, col: int, code: int, surface: Float32s, codes: Bytes
) -> bool:
    """Let a way have a cell unless an earlier way has it; return whether it is newly lowered."""
    here = surface[row, col]
    if here > level:
        surface[row, col] = level
        codes[row, col] = code | EXPLICIT
        return here == raw[row, col]
    if here == level and codes[row, col] & EXPLICIT == 0:
        codes[row, col] = code | EXPLICIT
    return False


@kernel
def claim_ways(
    raw: Float32s,
    mouth: Int64s,
    first: Int64s,
    steps: Int32s,
    way: Bytes,
    step_m: Float64s,
    notable_m: float,
    surface: Float32s,
    codes: Bytes,
) -> tuple[int, Int64s, Float64s, Float64s]:
    """Lower the surface along ways, in their order, and give their cells directions.

    ``raw`` is the surface with its fills. Returns the number of cells lowered; then which ways
    cut at least ``notable_m`` deep, and depth and length of these cuts.
    """
    cols = raw.shape[1]
    lowered = 0
    which = np.empty(64, dtype=np.int64)
    depths = np.empty(64, dtype=np.float64)
    lengths = np.empty(64, dtype=np.float64)
    n = 0
    for i in range(mouth.size):
        r = mouth[i] // cols
        c = mouth[i] % cols
        level = raw[r, c]
        depth = raw.dtype.type(0.0)
        length = 0.0
        for j in range(first[i], first[i] + steps[i]):
            k = way[j]
            lowered += _claim(raw, level, r, c, k, surface, codes)
            if k < 8:
                r += ROW_STEP[k]
                c += COL_STEP[k]
                above = raw[r, c] - level
                if above > 0:
                    depth = max(depth, above)
                    length += step_m[k]
        if depth >= notable_m and steps[i] > 0:
            which = grown(which, n + 1)
            depths = grown(depths, n + 1)
            lengths = grown(lengths, n + 1)
            which[n] = i
            depths[n] = depth
            lengths[n] = length
            n += 1
    return lowered, which[:n], depths[:n], lengths[:n]
