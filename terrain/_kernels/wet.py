"""What water wets of many cross-sections."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float64s, Floats, Int64s


@kernel
def wet_sections(
    offset: Floats,
    height: Floats,
    bed: Floats,
    middle: Int64s,
    left: Int64s,
    right: Int64s,
    lean_left: Floats,
    lean_right: Floats,
    row: Int64s,
    level: Floats,
    out: Float64s,
) -> None:
    """Write left edge, right edge, area and perimeter of the water, one row for each level.

    Water spreads from the middle column to each side until it meets ground as high as its level,
    or the side's last column, where it stands as against an upright wall. A leaning wall is set
    upright: its foot stands ``lean`` too far in, its top as much too far out.
    """
    for i in range(row.size):
        r = row[i]
        out[i, 0] = offset[middle[r]]
        out[i, 1] = offset[middle[r]]
        out[i, 2] = 0.0
        out[i, 3] = 0.0
        if not level[i] > height[r, middle[r]]:
            continue
        for side in range(2):
            toward = -1 if side == 0 else 1
            bank = left[r] if side == 0 else right[r]
            lean = lean_left[r] if side == 0 else lean_right[r]
            j = middle[r]
            deep = level[i] - height[r, j]
            edge = offset[j]
            while True:
                if j == bank or np.isnan(height[r, j + toward]):
                    out[i, 3] += deep  # an upright wall
                    break
                run = abs(offset[j + toward] - offset[j])
                after = level[i] - height[r, j + toward]
                if after <= 0.0:
                    width = run * deep / (deep - after)
                    edge += toward * width
                    out[i, 2] += 0.5 * deep * width
                    out[i, 3] += np.hypot(width, deep)
                    break
                j += toward
                edge = offset[j]
                out[i, 2] += 0.5 * (deep + after) * run
                out[i, 3] += np.hypot(run, after - deep)
                deep = after
            wall = height[r, bank] - bed[r]
            if lean > 0.0 and wall > 0.0:
                share = min(max((level[i] - bed[r]) / wall, 0.0), 1.0)
                edge += toward * lean * (1.0 - 2.0 * share)
                out[i, 2] += lean * wall * share * (1.0 - share)
            out[i, side] = edge
