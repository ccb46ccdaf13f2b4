"""Heights across and around a channel, read between cell centres.

Places are (u, v): metres east and south of the first cell's centre.
"""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float32s, Float64s

#: Columns that `measure_section` writes: bank-top width and depth (the lower bank rules), the left
#: and right ends of that width as offsets from the middle (right is positive), the bed's height,
#: the width at twice the depth, and the lower side's height well away from the channel; all m.
N_MEASURES = 7
BANK_WIDTH, BANK_DEPTH, LEFT, RIGHT, BED, VALLEY_WIDTH, SIDE_RISE = range(N_MEASURES)


@kernel
def height_at(z: Float32s, u: float, v: float, width: float, height: float) -> float:
    """Height between four cell centres (bilinear); NaN outside and beside voids."""
    rows, cols = z.shape
    c = u / width
    r = v / height
    if not (0.0 <= c <= cols - 1 and 0.0 <= r <= rows - 1):
        return np.nan
    c0 = min(int(c), max(cols - 2, 0))
    r0 = min(int(r), max(rows - 2, 0))
    c1 = min(c0 + 1, cols - 1)
    r1 = min(r0 + 1, rows - 1)
    fc = c - c0
    fr = r - r0
    top = z[r0, c0] * (1.0 - fc) + z[r0, c1] * fc
    low = z[r1, c0] * (1.0 - fc) + z[r1, c1] * fc
    return top * (1.0 - fr) + low * fr


@kernel
def median_of_three(values: Float64s, out: Float64s) -> None:
    """Write the running median of three; the ends stay."""
    n = values.size
    out[:] = values
    for i in range(1, n - 1):
        a = values[i - 1]
        b = values[i]
        c = values[i + 1]
        out[i] = max(min(a, b), min(max(a, b), c))


@kernel
def read_section(
    z: Float32s,
    u: float,
    v: float,
    du: float,
    dv: float,
    width: float,
    height: float,
    half: int,
    step: float,
    out: Float64s,
) -> None:
    """Write heights along a line across the flow, left to right looking downstream.

    ``(du, dv)`` is the unit vector of the flow; ``out`` has ``2 * half + 1`` entries.
    """
    raw = np.empty(out.size)
    for j in range(out.size):
        # to the left of the flow when v points south: (dv, -du)
        off = (half - j) * step
        raw[j] = height_at(z, u + dv * off, v - du * off, width, height)
    median_of_three(raw, out)


@kernel
def bank_of_side(
    heights: Float64s, start: int, stop: int, sign: int, bed: float
) -> tuple[int, float, float]:
    """Bank top on one side: the point that stands out most above a chord from bed to far end.

    The chord's far end is the one that makes it stand out most, so a slope beyond the bank does
    not hide it. Returns the index (-1: none), its height above the bed, and by how much it stands
    above the chord.
    """
    best = 0.0
    top = -1
    n = (stop - start) * sign
    for e in range(3, n + 1):
        far = heights[start + sign * e] - bed
        if np.isnan(far):
            break
        for j in range(1, e):
            above = heights[start + sign * j] - bed - far * j / e
            if above > best + 1e-9:
                best = above
                top = start + sign * j
    if top < 0:
        return -1, 0.0, 0.0
    return top, heights[top] - bed, best


@kernel
def crossing(heights: Float64s, start: int, stop: int, sign: int, level: float) -> float:
    """Distance in steps from an index outward to where the ground first reaches a level; -1."""
    n = (stop - start) * sign
    for j in range(1, n + 1):
        here = heights[start + sign * j]
        if np.isnan(here):
            return -1.0
        if here >= level:
            before = heights[start + sign * (j - 1)]
            return j - 1 + (level - before) / max(here - before, 1e-9)
    return -1.0


@kernel
def _wall_spread(
    heights: Float64s,
    start: int,
    stop: int,
    sign: int,
    bed: float,
    depth: float,
    to_top: float,
    cell_steps: float,
) -> float:
    """Steps by which a wall steeper than the cells can show makes a side too wide.

    A raster spreads a wall over one to two cells, so that its top shows half a cell too far out.
    """
    low = crossing(heights, start, stop, sign, bed + 0.2 * depth)
    spread = (to_top - low) / cell_steps
    return 0.5 * cell_steps * min(1.0, max(0.0, 2.5 - spread))


@kernel
def _lower_side(heights: Float64s, low: int) -> float:
    """Mean height of the lower side over its outer half, above the bed at ``low``, m; NaN."""
    side = np.nan
    for sign in (-1, 1):
        edge = 0 if sign < 0 else heights.size - 1
        total = 0.0
        n = 0
        for j in range((edge - low) * sign // 2, (edge - low) * sign + 1):
            here = heights[low + sign * j]
            if not np.isnan(here):
                total += here - heights[low]
                n += 1
        if n > 0 and not total / n >= side:
            side = total / n
    return side


@kernel
def measure_section(
    heights: Float64s,
    half: int,
    step: float,
    reach: int,
    cell_steps: float,
    least_depth: float,
    least_bulge: float,
    out: Float64s,
) -> None:
    """Measure a section.

    Writes the columns `BANK_WIDTH` to `SIDE_RISE` of one row; NaN where there is none.
    """
    out[:] = np.nan
    low = half
    for j in range(max(0, half - reach), min(heights.size, half + reach + 1)):
        if heights[j] < heights[low] or np.isnan(heights[low]):
            low = j
    bed = heights[low]
    if np.isnan(bed):
        return
    out[BED] = bed
    last = heights.size - 1
    out[SIDE_RISE] = _lower_side(heights, low)
    left, left_depth, left_bulge = bank_of_side(heights, low, 0, -1, bed)
    right, right_depth, right_bulge = bank_of_side(heights, low, last, 1, bed)
    if left < 0 or right < 0 or min(left_bulge, right_bulge) < least_bulge:
        return
    depth = min(left_depth, right_depth)
    if depth < least_depth:
        return
    to_left = crossing(heights, low, 0, -1, bed + depth - 1e-6)
    to_right = crossing(heights, low, last, 1, bed + depth - 1e-6)
    if to_left < 0 or to_right < 0:
        return
    to_left -= _wall_spread(heights, low, 0, -1, bed, depth, to_left, cell_steps)
    to_right -= _wall_spread(heights, low, last, 1, bed, depth, to_right, cell_steps)
    out[BANK_WIDTH] = (to_left + to_right) * step
    out[BANK_DEPTH] = depth
    out[LEFT] = (low - half - to_left) * step
    out[RIGHT] = (low - half + to_right) * step
    wide_left = crossing(heights, low, 0, -1, bed + 2 * depth)
    wide_right = crossing(heights, low, last, 1, bed + 2 * depth)
    if wide_left >= 0 and wide_right >= 0:
        out[VALLEY_WIDTH] = (wide_left + wide_right) * step


@kernel
def median_of(values: Float64s, n: int) -> float:
    """Median of the first n values."""
    part = np.sort(values[:n])
    if n % 2:
        return part[n // 2]
    return 0.5 * (part[n // 2 - 1] + part[n // 2])


@kernel
def measure_places(
    z: Float32s,
    places: tuple[Float64s, Float64s, Float64s, Float64s],
    cell: tuple[float, float],
    across: tuple[int, float, int, float],
    stacked: tuple[int, float],
    least: tuple[float, float],
    out: Float64s,
) -> None:
    """Measure the channel at places: medians over several sections up and down the flow.

    Where fewer than half of a place's sections show two banks, width and depth stay NaN.
    ``places`` holds u, v and the flow's direction; ``cell`` its width and height; ``across`` how
    many steps a section has to each side, their length, how far the bed is looked for, and steps a
    cell; ``stacked`` how many sections and how far apart; ``least`` depth and bulge of a bank.
    ``out`` has a row a place, with the columns of `measure_section`.
    """
    u, v, du, dv = places
    half, step, reach, cell_steps = across
    copies, apart = stacked
    heights = np.empty(2 * half + 1)
    rows = np.empty((copies, N_MEASURES))
    column = np.empty(copies)
    for i in range(u.size):
        for m in range(copies):
            along = (m - (copies - 1) / 2) * apart
            read_section(
                z,
                u[i] + du[i] * along,
                v[i] + dv[i] * along,
                du[i],
                dv[i],
                cell[0],
                cell[1],
                half,
                step,
                heights,
            )
            measure_section(heights, half, step, reach, cell_steps, least[0], least[1], rows[m])
        for k in range(N_MEASURES):
            n = 0
            for m in range(copies):
                if not np.isnan(rows[m, k]):
                    column[n] = rows[m, k]
                    n += 1
            out[i, k] = median_of(column, n) if 2 * n > copies else np.nan


@kernel
def widths_across(
    z: Float32s,
    u: Float64s,
    v: Float64s,
    du: Float64s,
    dv: Float64s,
    width: float,
    height: float,
    half: int,
    step: float,
    levels: Float64s,
    out: Float64s,
) -> None:
    """Distance across the flow between where the ground first reaches a level, at many places."""
    for i in range(u.size):
        out[i] = np.nan
        if np.isnan(levels[i]):
            continue
        total = 0.0
        for sign in (-1, 1):
            before = height_at(z, u[i], v[i], width, height)
            for j in range(1, half + 1):
                # to the right of the flow when v points south: (-dv, du)
                off = sign * j * step
                here = height_at(z, u[i] - dv[i] * off, v[i] + du[i] * off, width, height)
                if np.isnan(here):
                    break
                if here >= levels[i]:
                    # a place that already lies above the level has no width there
                    rest = max(levels[i] - before, 0.0)
                    total += step * min(1.0, rest / max(here - before, 1e-9))
                    break
                total += step
                before = here
        out[i] = total
