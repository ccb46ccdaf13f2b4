"""One section out of many: cells of a straight stretch, laid on each other along its middle.

A single line of sections is blurred by reading between cells and by noise. Here every cell near a
stretch is kept as measured and sorted by its distance from the channel's middle; as the stretch
seldom runs along the grid, those distances are much finer than a cell.
"""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Bools, Float32s, Float64s
from terrain._kernels.sections import (
    crossing,
    measure_section,
    read_section,
)

#: The bed's own relief, m: gravel bars, ripples, noise.
BED_RELIEF_M = 0.10

#: Cells that a height of the typical section rests on, at least; a single one where the stretch is
#: shorter than `SHORT_CELLS`.
LEAST_CELLS = 3
SHORT_CELLS = 8

#: Columns that `stack_place` writes: the bed's height at the place, its rise per metre downstream,
#: the offset of the middle, the noise of single cells, the length of the stretch, and how far
#: (root mean square) the middles lie from the curve through them; all but the rise m.
N_FACTS = 6
BED, RISE, MIDDLE, NOISE, LENGTH, SCATTER = range(N_FACTS)


@kernel
def _fit_middle(along: Float64s, offset: Float64s, used: Bools, curve: Float64s) -> None:
    """Least-squares parabola of offset over along; few points give a line, fewer a constant."""
    curve[:] = 0.0
    s0 = s1 = s2 = s3 = s4 = t0 = t1 = t2 = 0.0
    for k in range(along.size):
        if used[k]:
            a = along[k]
            s0 += 1.0
            s1 += a
            s2 += a * a
            s3 += a * a * a
            s4 += a * a * a * a
            t0 += offset[k]
            t1 += offset[k] * a
            t2 += offset[k] * a * a
    if s0 < 1.0:
        return
    if s0 < 4.0:
        curve[0] = t0 / s0
        return
    line = s0 * s2 - s1 * s1
    if s0 < 7.0:
        if line > 1e-9:
            curve[1] = (s0 * t1 - s1 * t0) / line
        curve[0] = (t0 - curve[1] * s1) / s0
        return
    det = s0 * (s2 * s4 - s3 * s3) - s1 * (s1 * s4 - s2 * s3) + s2 * (s1 * s3 - s2 * s2)
    if abs(det) < 1e-9:
        curve[0] = t0 / s0
        return
    curve[0] = (
        t0 * (s2 * s4 - s3 * s3) - s1 * (t1 * s4 - t2 * s3) + s2 * (t1 * s3 - t2 * s2)
    ) / det
    curve[1] = (
        s0 * (t1 * s4 - t2 * s3) - t0 * (s1 * s4 - s2 * s3) + s2 * (s1 * t2 - s2 * t1)
    ) / det
    curve[2] = (
        s0 * (s2 * t2 - s3 * t1) - s1 * (s1 * t2 - s2 * t1) + t0 * (s1 * s3 - s2 * s2)
    ) / det


@kernel
def _middle_of(values: Float64s, n: int) -> float:
    """Median of the first n values, which are put in order in place: few at a time."""
    for i in range(1, n):
        here = values[i]
        j = i - 1
        while j >= 0 and values[j] > here:
            values[j + 1] = values[j]
            j -= 1
        values[j + 1] = here
    if n % 2:
        return values[n // 2]
    return 0.5 * (values[n // 2 - 1] + values[n // 2])


@kernel
def _at(curve: Float64s, a: float) -> float:
    """Offset of the middle at a distance along the stretch."""
    return curve[0] + a * (curve[1] + a * curve[2])


@kernel
def _rank_slope(along: Float64s, bed: Float64s, first: int, last: int) -> float:
    """Median of the slopes between all pairs of points (Theil and Sen)."""
    n = last - first + 1
    if n < 2:
        return 0.0
    slopes = np.empty(n * (n - 1) // 2)
    m = 0
    for i in range(first, last + 1):
        for j in range(i + 1, last + 1):
            if not (np.isnan(bed[i]) or np.isnan(bed[j])):
                slopes[m] = (bed[j] - bed[i]) / (along[j] - along[i])
                m += 1
    return _middle_of(slopes, m) if m > 0 else 0.0


@kernel
def _trace(
    z: Float32s,
    u: float,
    v: float,
    du: float,
    dv: float,
    width: float,
    height: float,
    half: int,
    step: float,
    reach: int,
    cell_steps: float,
    least: Float64s,
    along: Float64s,
    found: Float64s,
) -> None:
    """Follow the channel up and down from the middle of the stretch.

    Writes for each section the offset of its middle to the right of the axis, and its bed; NaN
    where it shows no two banks, or no ground.
    """
    n = along.size
    mid = n // 2
    heights = np.empty(2 * half + 1)
    row = np.empty(7)
    found[:, :] = np.nan
    for way in range(2):
        shift = 0.0 if way == 0 or np.isnan(found[mid, 0]) else found[mid, 0]
        for m in range(0 if way == 0 else 1, mid + 1):
            k = mid + m if way == 0 else mid - m
            pu = u + du * along[k] - dv * shift
            pv = v + dv * along[k] + du * shift
            read_section(z, pu, pv, du, dv, width, height, half, step, heights)
            measure_section(heights, half, step, reach, cell_steps, least[0], least[1], row)
            found[k, 1] = row[4]
            if np.isnan(row[1]):
                continue
            low = half
            for j in range(max(0, half - reach), min(heights.size, half + reach + 1)):
                if heights[j] < heights[low] or np.isnan(heights[low]):
                    low = j
            total = 0.0
            sides = 0
            for share in (0.45, 0.6, 0.75):
                level = row[4] + share * row[1]
                left = crossing(heights, low, 0, -1, level)
                right = crossing(heights, low, heights.size - 1, 1, level)
                if left >= 0 and right >= 0:
                    total += low - half + 0.5 * (right - left)
                    sides += 1
            if sides > 0:
                found[k, 0] = shift + step * total / sides
                shift = found[k, 0]


@kernel
def _stretch(along: Float64s, bed: Float64s, jump: float) -> tuple[int, int]:
    """Sections around the middle one that no step of the bed parts from it: first, last.

    A step is what lies more than ``jump`` off the bed's usual fall. Three sections are kept at
    least, as fewer show nothing.
    """
    last = along.size - 1
    mid = along.size // 2
    rise = _rank_slope(along, bed, 0, last)
    ends = np.array([mid, mid])
    for side in range(2):
        way = 2 * side - 1
        k = mid
        while 0 <= k + way <= last:
            off = bed[k + way] - bed[k] - rise * (along[k + way] - along[k])
            if not abs(off) <= jump:
                break
            k += way
        ends[side] = k
    return min(ends[0], max(mid - 1, 0)), max(ends[1], min(mid + 1, last))


@kernel
def _curve_through(
    along: Float64s, middles: Float64s, first: int, last: int, step: float, curve: Float64s
) -> float:
    """Fit the curve through the middles of a stretch, those far off it left out.

    Returns how far (root mean square) the others lie from it.
    """
    n = along.size
    used = np.zeros(n, dtype=np.bool_)
    for k in range(first, last + 1):
        used[k] = not np.isnan(middles[k])
    scatter = np.nan
    count = 0
    for _ in range(3):
        _fit_middle(along, middles, used, curve)
        total = 0.0
        count = 0
        for k in range(n):
            if used[k]:
                total += (middles[k] - _at(curve, along[k])) ** 2
                count += 1
        if count < 5:
            break
        scatter = np.sqrt(total / count)
        for k in range(n):
            if used[k] and abs(middles[k] - _at(curve, along[k])) > max(2.5 * scatter, step):
                used[k] = False
    if count < 3:  # no banks to steer by: the axis itself
        curve[:] = 0.0
    return scatter


@kernel
def stack_place(
    z: Float32s,
    u: float,
    v: float,
    du: float,
    dv: float,
    width: float,
    height: float,
    half: int,
    step: float,
    reach: int,
    least: Float64s,
    along: Float64s,
    jump: float,
    profile: Float64s,
    facts: Float64s,
) -> None:
    """Write the typical section of a stretch, its bed at 0, and what it rests on.

    Writes the columns `BED` to `SCATTER` of one row of facts. NaN and a length of 0 where nothing
    can be said.
    """
    n = along.size
    found = np.empty((n, 2))
    profile[:] = np.nan
    # half-cell steps are fine enough to steer by
    coarse = 0.5 * min(width, height)
    wide = round(half * step / coarse)
    near = max(1, round(reach * step / coarse))
    cells = max(width, height) / coarse
    _trace(z, u, v, du, dv, width, height, wide, coarse, near, cells, least, along, found)
    if np.isnan(found[n // 2, 1]):
        facts[:] = np.nan
        facts[LENGTH] = 0.0
        return
    first, last = _stretch(along, found[:, 1], jump)
    rise = _rank_slope(along, found[:, 1], first, last)
    curve = np.empty(3)
    scatter = _curve_through(along, found[:, 0], first, last, step, curve)
    noise = _lay(
        z, u, v, du, dv, width, height, half, step, along[first], along[last], rise, curve, profile
    )
    bed = _bed_level(profile, half, reach)
    for j in range(profile.size):
        profile[j] -= bed
    facts[BED] = bed
    facts[RISE] = rise
    facts[MIDDLE] = curve[0]
    facts[NOISE] = noise
    facts[LENGTH] = along[last] - along[first]
    facts[SCATTER] = scatter


@kernel
def _lay(
    z: Float32s,
    u: float,
    v: float,
    du: float,
    dv: float,
    width: float,
    height: float,
    half: int,
    step: float,
    low: float,
    high: float,
    rise: float,
    curve: Float64s,
    profile: Float64s,
) -> float:
    """Median height of the cells at each distance from the middle, the bed's fall taken off."""
    rows, cols = z.shape
    size = profile.size
    room = 64
    held = np.empty((size, room))
    count = np.zeros(size, dtype=np.int64)
    far = np.hypot(max(abs(low), abs(high)) + 1.0, half * step + 1.0)
    ease = 0.5 * min(width, height)
    for r in range(max(0, int((v - far) / height)), min(rows - 1, int((v + far) / height) + 1) + 1):
        y = r * height - v
        for c in range(
            max(0, int((u - far) / width)), min(cols - 1, int((u + far) / width) + 1) + 1
        ):
            x = c * width - u
            a = x * du + y * dv
            if a < low - ease or a > high + ease:
                continue
            tilt = curve[1] + 2 * curve[2] * a
            off = (y * du - x * dv - _at(curve, a)) / np.sqrt(1.0 + tilt * tilt)
            j = half + round(off / step)
            here = z[r, c]
            if j < 0 or j >= size or np.isnan(here):
                continue
            if count[j] < room:
                held[j, count[j]] = here - rise * a
                count[j] += 1
    least = LEAST_CELLS if high - low >= SHORT_CELLS * max(width, height) else 1
    for j in range(size):
        if count[j] >= least:
            profile[j] = _middle_of(held[j], count[j])
    _close_gaps(profile)
    level = np.empty(size)
    m = 0
    for j in range(1, size - 1):
        if count[j] >= 3 and abs(profile[j + 1] - profile[j - 1]) < 0.6 * step:
            for k in range(count[j]):
                held[j, k] = abs(held[j, k] - profile[j])
            level[m] = 1.4826 * _middle_of(held[j], count[j])
            m += 1
    return _middle_of(level, m) if m > 0 else np.nan


@kernel
def _close_gaps(profile: Float64s) -> None:
    """Fill gaps of up to three steps between heights along a straight line."""
    last = -1
    for j in range(profile.size):
        if np.isnan(profile[j]):
            continue
        if 0 <= last < j - 1 and j - last <= 4:
            for k in range(last + 1, j):
                f = (k - last) / (j - last)
                profile[k] = profile[last] * (1.0 - f) + profile[j] * f
        last = j


@kernel
def _bed_level(profile: Float64s, half: int, reach: int) -> float:
    """Mean height of the bed: of what lies up to `BED_RELIEF_M` above its lowest part in a row."""
    best = np.inf
    low = half
    for j in range(max(1, half - reach), min(profile.size - 1, half + reach + 1)):
        mean = (profile[j - 1] + profile[j] + profile[j + 1]) / 3.0
        if mean < best:
            best = mean
            low = j
    if not best < np.inf:
        return np.nan
    total = profile[low]
    count = 1
    for way in (-1, 1):
        j = low + way
        while 0 <= j < profile.size and profile[j] <= best + BED_RELIEF_M:
            total += profile[j]
            count += 1
            j += way
    return total / count


@kernel
def stack_places(
    z: Float32s,
    u: Float64s,
    v: Float64s,
    du: Float64s,
    dv: Float64s,
    width: float,
    height: float,
    half: int,
    step: float,
    reach: int,
    least: Float64s,
    along: Float64s,
    jump: float,
    profiles: Float64s,
    facts: Float64s,
) -> None:
    """`stack_place` for many places."""
    for i in range(u.size):
        stack_place(
            z,
            u[i],
            v[i],
            du[i],
            dv[i],
            width,
            height,
            half,
            step,
            reach,
            least,
            along,
            jump,
            profiles[i],
            facts[i],
        )
