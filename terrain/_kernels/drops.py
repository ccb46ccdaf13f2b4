"""Sudden drops in long profiles, and the ground around them."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.profiles import directions_of
from terrain._kernels.sections import height_at, median_of_three

#: Columns that `steps_of_stem` writes for each step it finds.
STEP_COLUMNS = (
    "lip",  # index in the profile
    "foot",
    "height_m",  # drop, less what the reach's own slope makes over the face
    "face_m",
    "slope_below",
    "slope_above",
    "stand_out_m",  # drop between lines fitted below and above
    "usual_m",  # what noise makes of that figure on this stem
    "bump_m",  # how far the lip stands above the ground behind it
    "cut_m",  # deepest cut that conditioning made just above
    "behind_m",  # how far low ground goes on behind the foot
    "below_m",  # lower bank above the bed, below the foot
    "above_m",  # the same above the lip
    "lasting_m",  # drop between the reaches well below and well above, less their own slope
    "closed",  # share of a circle around the foot that stands high
    "flank_m",  # lower bank close beside the face
    "notch_m",  # lower bank close beside the bed above the lip
)

#: A line fitted to a bed climbs downstream by no more than this, m per m: what climbs more is a
#: plunge pool's far side or the back of a bank, and no part of the reach.
LEAST_SLOPE = -0.02


@kernel
def stand_out(bed, window, gap):
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
def _weight(miss, soft, turn):
    """Weight of a miss: by its size first, then by its square, so that a pool counts for little."""
    if turn == 0 or miss <= soft:
        return 1.0
    return soft / miss if turn < 4 else (soft / miss) ** 2


@kernel
def _sturdy_line(bed, start, stop, step, soft):
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
def _fit_face(bed, at, low, high, step, before, after, longest):
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
def _lower_bank(z, line, ways, start, stop, width, height, far, step):
    """Lower bank above the bed: median over steps of a profile; banks within ``far`` m."""
    n = max(0, stop - start)
    if n == 0:
        return 0.0
    side = int(np.ceil(far / step))
    heights = np.empty(2 * side + 1)
    level = np.empty(2 * side + 1)
    found = np.empty(n)
    for m in range(n):
        i = start + m
        for j in range(2 * side + 1):
            off = (j - side) * step
            heights[j] = height_at(
                z, line[i, 0] - ways[i, 1] * off, line[i, 1] + ways[i, 0] * off, width, height
            )
        median_of_three(heights, level)
        bed = min(level[side - 1], level[side], level[side + 1])
        left = 0.0
        right = 0.0
        for j in range(side):
            if level[j] - bed > left:
                left = level[j] - bed
            if level[2 * side - j] - bed > right:
                right = level[2 * side - j] - bed
        found[m] = min(left, right)
    return np.median(found)


@kernel
def _low_ground_behind(z, line, foot, lip_height, width, height, unit):
    """How far ground much lower than the lip goes on behind the foot, m.

    Behind a head's foot stands its wall, whichever way one looks. Where a path falls over the
    side of a gully the gully goes on behind the foot.
    """
    before = max(0, foot - int(round(5.0 * unit / _step_of(line))))
    du = line[foot, 0] - line[before, 0]
    dv = line[foot, 1] - line[before, 1]
    size = np.hypot(du, dv)
    if size == 0:
        return 0.0
    du /= size
    dv /= size
    start = max(0, foot - int(round(3.0 * unit / _step_of(line))))
    base = np.median(line[start : foot + 1, 2])
    back = max(0, foot - int(round(1.0 * unit / _step_of(line))))
    furthest = 0.0
    for a in range(-10, 11):
        angle = np.deg2rad(8.0 * a)
        x = du * np.cos(angle) - dv * np.sin(angle)
        y = du * np.sin(angle) + dv * np.cos(angle)
        for k in range(8):
            r = (2.0 + k) * unit
            here = height_at(z, line[back, 0] + x * r, line[back, 1] + y * r, width, height)
            if not here - base < 0.5 * lip_height + 0.03 * r:
                break
            furthest = max(furthest, r)
    return furthest


@kernel
def _closed_around(z, line, foot, lip_height, width, height, radius):
    """Share of a circle around the foot where the ground stands above half the drop."""
    start = max(0, foot - int(round(3.0 / _step_of(line))))
    base = np.median(line[start : foot + 1, 2])
    high = 0
    for a in range(48):
        angle = 2.0 * np.pi * a / 48
        here = height_at(
            z,
            line[foot, 0] + radius * np.cos(angle),
            line[foot, 1] + radius * np.sin(angle),
            width,
            height,
        )
        if here - base >= 0.5 * lip_height:
            high += 1
    return high / 48.0


@kernel
def _lasting_drop(line, foot, lip, low, high, drop_m, step, unit):
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
def _step_of(line):
    """Distance between the steps of an even profile, m."""
    if line.shape[0] < 2:
        return 1.0
    return max(1e-6, np.hypot(line[1, 0] - line[0, 0], line[1, 1] - line[0, 1]))


@kernel
def steps_of_stem(z, line, own_from, width, height, unit, step, least):
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
    out = np.empty((0, 17))
    if n < 12:
        return out
    drop = stand_out(bed, window, gap)
    usual = 1.4826 * np.median(np.abs(drop - np.median(drop)))
    ways = directions_of(line[:, 0], line[:, 1], 3)
    near = max(2, int(round(4.0 * unit / step)))
    peaks = np.empty(n, dtype=np.int64)
    n_peaks = 0
    for i in range(max(0, own_from - 1), n):
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
    out = np.empty((n_peaks, 17))
    m = 0
    reach = int(round(18.0 * unit / step))
    far = int(round(28.0 * unit / step))
    short = max(1, int(round(2.0 * unit / step)))
    for q in range(n_peaks):
        at = peaks[q]
        # other steps end the reaches that this one lies between, unless they are much smaller: the
        # far side of a plunge pool is no step
        nearest_below = 0
        nearest_above = n - 1
        for k in range(n_peaks):
            if drop[peaks[k]] > 0.4 * drop[at]:
                if peaks[k] < at:
                    nearest_below = peaks[k] + short
                elif peaks[k] > at:
                    nearest_above = peaks[k] - short
                    break
        low = max(nearest_below, at - reach)
        high = min(nearest_above, at + reach)
        far_low = max(nearest_below, at - far)
        far_high = min(nearest_above, at + far)
        foot, lip, foot_z, lip_z, below, above = _fit_face(
            line[:, 2],
            at,
            low,
            high,
            step,
            near,
            max(1, int(round(3.0 * unit / step))),
            max(1, int(round(5.0 * unit / step))),
        )
        if foot < 0:
            continue
        drop_m = lip_z - foot_z - 0.5 * (below + above) * (lip - foot) * step
        # the face ends where the bed first comes down to the lower reach; a plunge pool's far
        # side is no part of it
        for j in range(lip - 1, foot, -1):
            if line[j, 2] <= foot_z + below * (j - foot) * step + 0.15 * drop_m:
                foot = j
                break
        face = (lip - foot) * step
        crest_to = min(n, lip + int(round(8.0 * unit / step)))
        crest = lip
        for j in range(lip, crest_to):
            if bed[j] > bed[crest]:
                crest = j
        a = min(n - 1, crest + near)
        b = min(n, crest + int(round(18.0 * unit / step)))
        bump = bed[crest] - np.median(bed[a:b]) if b - a > 2 else 0.0
        cut = 0.0
        for j in range(lip, min(n, lip + int(round(20.0 * unit / step)))):
            cut = max(cut, line[j, 2] - line[j, 3])
        out[m, 0] = lip
        out[m, 1] = foot
        out[m, 2] = drop_m
        out[m, 3] = face
        out[m, 4] = below
        out[m, 5] = above
        out[m, 6] = drop[at]
        out[m, 7] = usual
        out[m, 8] = bump
        out[m, 9] = cut
        out[m, 10] = _low_ground_behind(z, line, foot, lip_z - foot_z, width, height, unit)
        eight = int(round(8.0 * unit / step))
        one = max(1, int(round(1.0 * unit / step)))
        out[m, 11] = _lower_bank(
            z, line, ways, max(0, foot - eight), max(1, foot - one), width, height, 8 * unit, step
        )
        out[m, 12] = _lower_bank(
            z,
            line,
            ways,
            min(n - 1, lip + 2 * one),
            min(n, lip + eight + one),
            width,
            height,
            8 * unit,
            step,
        )
        out[m, 13] = _lasting_drop(line, foot, lip, far_low, far_high, drop_m, step, unit)
        out[m, 14] = _closed_around(z, line, foot, lip_z - foot_z, width, height, 2.5 * unit)
        out[m, 15] = _lower_bank(z, line, ways, max(0, foot), lip, width, height, 3 * unit, step)
        out[m, 16] = _lower_bank(
            z,
            line,
            ways,
            min(n - 1, lip + 2 * one),
            min(n, lip + eight + one),
            width,
            height,
            4 * unit,
            step,
        )
        m += 1
    return out[:m]
