"""What water wets of many cross-sections."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float64s, Floats, Int64s

#: Columns that `wet_sections` writes: offsets of the edges, m; area, m2; perimeter, m.
LEFT_EDGE, RIGHT_EDGE, AREA, PERIMETER = range(4)


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
    """Write the columns `LEFT_EDGE` to `PERIMETER` of the water, one row for each level.

    Water spreads from the middle column to each side until it meets ground as high as its level,
    or the side's last column, where it stands as against an upright wall. A leaning wall is set
    upright: its foot stands ``lean`` too far in, its top as much too far out.
    """
    for i in range(row.size):
        r = row[i]
        out[i, LEFT_EDGE] = offset[middle[r]]
        out[i, RIGHT_EDGE] = offset[middle[r]]
        out[i, AREA] = 0.0
        out[i, PERIMETER] = 0.0
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
                    out[i, PERIMETER] += deep  # an upright wall
                    break
                run = abs(offset[j + toward] - offset[j])
                after = level[i] - height[r, j + toward]
                if after <= 0.0:
                    width = run * deep / (deep - after)
                    edge += toward * width
                    out[i, AREA] += 0.5 * deep * width
                    out[i, PERIMETER] += np.hypot(width, deep)
                    break
                j += toward
                edge = offset[j]
                out[i, AREA] += 0.5 * (deep + after) * run
                out[i, PERIMETER] += np.hypot(run, after - deep)
                deep = after
            wall = height[r, bank] - bed[r]
            if lean > 0.0 and wall > 0.0:
                share = min(max((level[i] - bed[r]) / wall, 0.0), 1.0)
                edge += toward * lean * (1.0 - 2.0 * share)
                out[i, AREA] += lean * wall * share * (1.0 - share)
            out[i, LEFT_EDGE if side == 0 else RIGHT_EDGE] = edge
