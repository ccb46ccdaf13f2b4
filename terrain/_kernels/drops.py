"""Sudden drops in long profiles."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.drop_ground import (
    ABOVE,
    BELOW,
    FACE,
    FOOT,
    HEIGHT,
    LASTING,
    LIP,
    STAND_OUT,
    STEP_COLUMNS,
    USUAL,
    above_lip,
    ground_beside,
)
from terrain._kernels.kinds import Float32s, Float64s, Int64s
from terrain._kernels.profiles import directions_of
from terrain._kernels.sections import median_of_three

#: A line fitted to a bed climbs downstream by no more than this, m per m: what climbs more is a
#: plunge pool's far side or the back of a bank, and no part of the reach.
LEAST_SLOPE = -0.02


@kernel
def stand_out(bed: Float64s, window: int, gap: int) -> Float64s:
    """Drop at each place between straight lines fitted above and below it.

    Each line is fitted by least squares over ``window`` steps, ``gap`` steps away, and read at
    the place itself, so that a steady slope, and a change of slope, come out as no drop. Past the
    ends the profile is continued with its own slope there.
    """
    n = bed.size
    pad = window + gap
    long = np.empty(n + 2 * pad)
    m = min(n - 1, 10)
    first = (bed[m] - bed[0]) / m if m > 0 else 0.0
    last = (bed[n - 1] - bed[n - 1 - m]) / m if m > 0 else 0.0
    for j in range(pad):
        long[j] = bed[0] - first * (pad - j)
        long[n + pad + j] = bed[n - 1] + last * (j + 1)
    long[pad : n + pad] = bed
    # weights of the value that the line through k = 0 .. window - 1 has at k = -gap
    mean = (window - 1) / 2
    spread = 0.0
    for k in range(window):
        spread += (k - mean) ** 2
    out = np.empty(n)
    for i in range(n):
        drop = 0.0
        for k in range(window):
            weight = 1.0 / window + (k - mean) * (-gap - mean) / spread
            drop += weight * (long[i + pad + gap + k] - long[i + pad - gap - k])
        out[i] = drop
    return out


@kernel
def _weight(miss: float, soft: float, turn: int) -> float:
    """Weight of a miss: by its size first, then by its square, so that a pool counts for little."""
    if turn == 0 or miss <= soft:
        return 1.0
    return soft / miss if turn < 4 else (soft / miss) ** 2


@kernel
def _sturdy_line(
    bed: Float64s, start: int, stop: int, step: float, soft: float
) -> tuple[float, float, float]:
    """Line through steps ``start`` to ``stop - 1``, outliers weighted down.

    Returns its height at ``start``, its slope (m per m) and the sum of its absolute misses, each
    counted as 0.3 m at most.
    """
    n = stop - start
    slope = 0.0
    base = 0.0
    for turn in range(8):
        sum_w = 0.0
        sum_s = 0.0
        sum_b = 0.0
        sum_ss = 0.0
        sum_sb = 0.0
        for j in range(n):
            s = j * step
            b = bed[start + j]
            w = _weight(abs(b - base - slope * s), soft, turn)
            sum_w += w
            sum_s += w * s
            sum_b += w * b
            sum_ss += w * s * s
            sum_sb += w * s * b
        under = sum_ss - sum_s * sum_s / sum_w
        over = sum_sb - sum_s * sum_b / sum_w
        slope = max(LEAST_SLOPE, over / under) if under > 1e-9 else 0.0
        base = (sum_b - slope * sum_s) / sum_w
    cost = 0.0
    for j in range(n):
        cost += min(0.3, abs(bed[start + j] - base - slope * j * step))
    return base, slope, cost


@kernel
def _fit_face(
    bed: Float64s, at: int, low: int, high: int, step: float, before: int, after: int, longest: int
) -> tuple[int, int, float, float, float, float]:
    """Best foot and lip of a drop near a place: line, straight face, line, least misses.

    Returns foot, lip, heights of the lines there, and their slopes.
    """
    first_foot = max(low + 2, at - before)
    last_foot = min(at + after, high - 3)
    foot = -1
    lip = -1
    best = np.inf
    foot_z = 0.0
    lip_z = 0.0
    below = 0.0
    above = 0.0
    n_lip = max(0, min(last_foot + longest, high - 2) - first_foot + 1)
    lips = np.empty((n_lip, 3))
    for k in range(n_lip):
        start = first_foot + 1 + k
        if start > high - 2:
            lips[k, 2] = np.inf
            continue
        lips[k, 0], lips[k, 1], lips[k, 2] = _sturdy_line(bed, start, high + 1, step, 0.08)
    for f in range(first_foot, last_foot + 1):
        base, slope_f, cost_f = _sturdy_line(bed, low, f + 1, step, 0.08)
        z_f = base + slope_f * (f - low) * step
        for p in range(f + 1, min(f + longest, high - 2) + 1):
            k = p - first_foot - 1
            z_l = lips[k, 0]
            if z_l <= z_f:
                continue
            cost = cost_f + lips[k, 2] + 0.01 * (p - f)
            for j in range(f + 1, p):
                line = z_f + (z_l - z_f) * (j - f) / (p - f)
                cost += min(0.3, abs(bed[j] - line))
            if cost < best:
                best = cost
                foot = f
                lip = p
                foot_z = z_f
                lip_z = z_l
                below = slope_f
                above = lips[k, 1]
    return foot, lip, foot_z, lip_z, below, above


@kernel
def _lasting_drop(
    line: Float64s,
    foot: int,
    lip: int,
    low: int,
    high: int,
    drop_m: float,
    step: float,
    unit: float,
) -> float:
    """Drop between the reach well below and well above, less what their slopes make.

    A bank, a fill, a boulder or a jam stands on the bed and leaves no such drop behind: beyond it
    the bed lies where it would lie without it. The reach above is taken from where conditioning
    stopped cutting, that is, behind what dams the bed. Returns the drop; NaN where there is too
    little of a reach on a side.
    """
    apart = max(1, int(round(3.0 * unit / step)))
    most = int(round(12.0 * unit / step))
    least = int(round(4.0 * unit / step))
    start = lip + apart
    for j in range(lip, min(high, lip + 4 * most) + 1):
        if line[j, 2] - line[j, 3] > max(0.15, 0.3 * drop_m):
            start = max(start, j + 1)
        elif j > start + apart:
            break
    stop = min(high + 1, start + most)
    end = foot - apart + 1
    begin = max(low, end - most)
    if stop - start < least or end - begin < least:
        return np.nan
    base_up, slope_up, _ = _sturdy_line(line[:, 2], start, stop, step, 0.08)
    base_down, slope_down, _ = _sturdy_line(line[:, 2], begin, end, step, 0.08)
    middle_up = base_up + slope_up * 0.5 * (stop - 1 - start) * step
    middle_down = base_down + slope_down * 0.5 * (end - 1 - begin) * step
    way = 0.5 * (start + stop - begin - end) * step
    own = 0.5 * (max(0.0, slope_up) + max(0.0, slope_down))
    return middle_up - middle_down - own * way


@kernel
def _peaks(drop: Float64s, first: int, near: int, least: float) -> Int64s:
    """Places from ``first`` on that stand out most of all within ``near`` steps."""
    n = drop.size
    peaks = np.empty(n, dtype=np.int64)
    n_peaks = 0
    for i in range(first, n):
        if drop[i] < least:
            continue
        highest = True
        for j in range(max(0, i - near), min(n, i + near + 1)):
            if drop[j] > drop[i] or (drop[j] == drop[i] and j < i):
                highest = False
                break
        if highest:
            peaks[n_peaks] = i
            n_peaks += 1
    return peaks[:n_peaks]


@kernel
def _between_others(peaks: Int64s, drop: Float64s, at: int, short: int) -> tuple[int, int]:
    """First and last step of the reaches that a step lies between: other steps end them.

    Not those that are much smaller: the far side of a plunge pool is no step.
    """
    first = 0
    last = drop.size - 1
    for k in range(peaks.size):
        if drop[peaks[k]] > 0.4 * drop[at]:
            if peaks[k] < at:
                first = peaks[k] + short
            elif peaks[k] > at:
                last = peaks[k] - short
                break
    return first, last


@kernel
def _foot_of_face(
    line: Float64s, foot: int, lip: int, foot_z: float, below: float, drop_m: float, step: float
) -> int:
    """Step where the face first comes down to the lower reach; a pool's far side is none of it."""
    for j in range(lip - 1, foot, -1):
        if line[j, 2] <= foot_z + below * (j - foot) * step + 0.15 * drop_m:
            return j
    return foot


@kernel
def steps_of_stem(
    z: Float32s,
    line: Float64s,
    own_from: int,
    width: float,
    height: float,
    unit: float,
    step: float,
    least: float,
) -> Float64s:
    """Find the sudden drops of one profile, from its lower end up.

    Parameters
    ----------
    z : float32 (rows, cols)
        Surface as measured.
    line : float64 (n, 5)
        Even profile (`terrain._kernels.profiles.even_profile`), lower end first.
    own_from : int
        First step of the stem itself; what is before it belongs to the stem it joins.
    unit : float
        Length that all windows are multiples of, m: 1 m, or a cell where cells are larger.
    step : float
        Distance between steps, m.
    least : float
        Drops that stand out by less are passed over, m.

    Returns
    -------
    float64 (m, 17)
        One row a drop, `STEP_COLUMNS`.
    """
    n = line.shape[0]
    window = max(4, int(round(6.0 * unit / step)))
    gap = max(1, int(round(2.0 * unit / step)))
    bed = np.empty(n)
    median_of_three(line[:, 2], bed)
    if n < 12:
        return np.empty((0, len(STEP_COLUMNS)))
    drop = stand_out(bed, window, gap)
    usual = 1.4826 * np.median(np.abs(drop - np.median(drop)))
    ways = directions_of(line[:, 0], line[:, 1], 3)
    near = max(2, int(round(4.0 * unit / step)))
    peaks = _peaks(drop, max(0, own_from - 1), near, least)
    out = np.empty((peaks.size, len(STEP_COLUMNS)))
    m = 0
    reach = int(round(18.0 * unit / step))
    far = int(round(28.0 * unit / step))
    short = max(1, int(round(2.0 * unit / step)))
    after = max(1, int(round(3.0 * unit / step)))
    longest = max(1, int(round(5.0 * unit / step)))
    for q in range(peaks.size):
        at = peaks[q]
        first, last = _between_others(peaks, drop, at, short)
        low = max(first, at - reach)
        high = min(last, at + reach)
        foot, lip, foot_z, lip_z, below, above = _fit_face(
            line[:, 2], at, low, high, step, near, after, longest
        )
        if foot < 0:
            continue
        drop_m = lip_z - foot_z - 0.5 * (below + above) * (lip - foot) * step
        foot = _foot_of_face(line, foot, lip, foot_z, below, drop_m, step)
        row = out[m]
        row[LIP] = lip
        row[FOOT] = foot
        row[HEIGHT] = drop_m
        row[FACE] = (lip - foot) * step
        row[BELOW] = below
        row[ABOVE] = above
        row[STAND_OUT] = drop[at]
        row[USUAL] = usual
        above_lip(line, bed, lip, near, step, unit, row)
        far_low = max(first, at - far)
        far_high = min(last, at + far)
        row[LASTING] = _lasting_drop(line, foot, lip, far_low, far_high, drop_m, step, unit)
        rise = lip_z - foot_z
        ground_beside(z, line, ways, foot, lip, rise, width, height, step, unit, row)
        m += 1
    return out[:m]
