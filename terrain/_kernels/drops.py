"""Sudden drops in long profiles, and the ground around them."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain._kernels._jit import kernel
from terrain._kernels.drop_ground import (
    banks_into,
    closed_around,
    low_around_lip,
    low_ground_behind,
)
from terrain._kernels.kinds import Float32s, Float64s, Int64s
from terrain._kernels.lips import bends, lips_of, peaks_of
from terrain._kernels.profiles import BED, CARVED, EAST, SOUTH, directions_of
from terrain._kernels.sections import median_of_three

#: What `steps_of_stem` writes for each step it finds.
STEP = np.dtype(
    [
        ("lip", np.float64),  # index in the profile
        ("foot", np.float64),
        ("height_m", np.float64),  # drop, less what the reach's own slope makes over the face
        ("rise_m", np.float64),  # drop with what that slope makes
        ("face_m", np.float64),
        ("slope_below", np.float64),
        ("slope_above", np.float64),
        ("stand_out_m", np.float64),  # drop between lines fitted below and above
        ("usual_m", np.float64),  # what noise makes of that figure on this stem
        ("bump_m", np.float64),  # how far the lip stands above the ground behind it
        ("cut_m", np.float64),  # deepest cut that conditioning made just above
        ("behind_m", np.float64),  # how far low ground goes on behind the foot
        ("below_m", np.float64),  # lower bank above the bed, below the foot
        ("above_m", np.float64),  # the same above the lip
        # drop between the reaches well below and well above, less their own slope
        ("lasting_m", np.float64),
        ("closed", np.float64),  # share of a circle around the foot that stands high
        ("flank_m", np.float64),  # lower bank close beside the face
        ("notch_m", np.float64),  # lower bank close beside the bed above the lip
        ("excess_m", np.float64),  # drop beyond what the bed around it makes over the face
        ("usual_drop_m", np.float64),  # what the bed falls nearby over a face's usual length
        ("drop_spread_m", np.float64),  # how much that varies
        ("near_drop_m", np.float64),  # what it falls over that length below the lip
        ("lip_low", np.float64),  # share of a circle around the lip that lies well below it
    ]
)

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
    bed: Float64s, foot_near: int, lip_near: int, low: int, high: int, step: float, near: int
) -> tuple[int, int, float, float, float, float]:
    """Best foot and lip of a drop near given ones: line, straight face, line, least misses.

    Returns foot, lip, heights of the lines there, and their slopes; -1 where none fits.
    """
    first_foot = max(low + 2, foot_near - near)
    last_foot = min(foot_near + near, lip_near - 1, high - 3)
    first_lip = max(low + 3, lip_near - near)
    last_lip = min(lip_near + near, high - 2)
    foot = -1
    lip = -1
    best = np.inf
    foot_z = 0.0
    lip_z = 0.0
    below = 0.0
    above = 0.0
    n_lip = max(0, last_lip - first_lip + 1)
    lips = np.empty((n_lip, 3))
    for k in range(n_lip):
        lips[k, 0], lips[k, 1], lips[k, 2] = _sturdy_line(bed, first_lip + k, high + 1, step, 0.08)
    for f in range(first_foot, last_foot + 1):
        base, slope_f, cost_f = _sturdy_line(bed, low, f + 1, step, 0.08)
        z_f = base + slope_f * (f - low) * step
        for p in range(max(f + 1, first_lip), last_lip + 1):
            k = p - first_lip
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
        if line[j, BED] - line[j, CARVED] > max(0.15, 0.3 * drop_m):
            start = max(start, j + 1)
        elif j > start + apart:
            break
    stop = min(high + 1, start + most)
    end = foot - apart + 1
    begin = max(low, end - most)
    if stop - start < least or end - begin < least:
        return np.nan
    base_up, slope_up, _ = _sturdy_line(line[:, BED], start, stop, step, 0.08)
    base_down, slope_down, _ = _sturdy_line(line[:, BED], begin, end, step, 0.08)
    middle_up = base_up + slope_up * 0.5 * (stop - 1 - start) * step
    middle_down = base_down + slope_down * 0.5 * (end - 1 - begin) * step
    way = 0.5 * (start + stop - begin - end) * step
    own = 0.5 * (max(0.0, slope_up) + max(0.0, slope_down))
    return middle_up - middle_down - own * way


@kernel
def _room_around(
    drop: Float64s, peaks: Int64s, foot: int, lip: int, least: float, short: int
) -> tuple[int, int]:
    """Steps between which the reaches of a drop lie.

    Other drops end them, unless they are much smaller: the far side of a plunge pool is no step.
    """
    below = 0
    above = drop.size - 1
    for k in range(peaks.size):
        if drop[peaks[k]] > 0.4 * least:
            if peaks[k] < foot:
                below = min(foot, peaks[k] + short)
            elif peaks[k] > lip:
                above = max(lip, peaks[k] - short)
                break
    return below, above


@kernel
def _foot_of_face(
    line: Float64s, foot: int, lip: int, foot_z: float, below: float, drop_m: float, step: float
) -> int:
    """Where the bed first comes down to the lower reach.

    There the face ends; a plunge pool's far side is no part of it.
    """
    for j in range(lip - 1, foot, -1):
        if line[j, BED] <= foot_z + below * (j - foot) * step + 0.15 * drop_m:
            return j
    return foot


@kernel
def _bump_at(bed: Float64s, lip: int, near: int, unit: float, step: float) -> float:
    """How far the crest of the lip stands above the bed behind it, m."""
    n = bed.size
    crest = lip
    for j in range(lip, min(n, lip + int(round(8.0 * unit / step)))):
        if bed[j] > bed[crest]:
            crest = j
    a = min(n - 1, crest + near)
    b = min(n, crest + int(round(18.0 * unit / step)))
    return bed[crest] - np.median(bed[a:b]) if b - a > 2 else 0.0


@kernel
def _cut_above(line: Float64s, lip: int, unit: float, step: float) -> float:
    """Deepest cut that conditioning made just above a lip, m."""
    cut = 0.0
    for j in range(lip, min(line.shape[0], lip + int(round(20.0 * unit / step)))):
        cut = max(cut, line[j, BED] - line[j, CARVED])
    return cut


@kernel
def _largest(values: Float64s, start: int, stop: int) -> float:
    """Largest of the values from ``start`` to ``stop``, both included."""
    most = values[start]
    for j in range(start, stop + 1):
        most = max(most, values[j])
    return most


@kernel
def _way_slope(bed: Float64s, at: int, way: int, step: float) -> float:
    """Plain slope from a step over ``way`` steps up (negative: down), m per m; NaN at an end."""
    other = min(bed.size - 1, max(0, at + way))
    if other == at:
        return np.nan
    return (bed[other] - bed[at]) / ((other - at) * step)


@kernel
def _drops_near(row: Any, bed: Float64s, lip: int, length: int, sight: int) -> None:
    """Write what the bed falls over a length below the lip, and usually over it nearby."""
    first = max(0, lip - sight)
    last = min(bed.size - length, lip + sight)
    row["near_drop_m"] = bed[lip] - bed[max(0, lip - length)]
    row["usual_drop_m"] = 0.0
    row["drop_spread_m"] = 0.0
    if last - first < 3:
        return
    falls = np.empty(last - first)
    for j in range(first, last):
        falls[j - first] = bed[j + length] - bed[j]
    usual = np.median(falls)
    row["usual_drop_m"] = usual
    row["drop_spread_m"] = np.median(np.abs(falls - usual))


@kernel
def _fit_into(
    row: Any,
    line: Float64s,
    bed: Float64s,
    foot: int,
    lip: int,
    low: int,
    high: int,
    step: float,
    near: int,
    around: int,
    sharp: int,
) -> tuple[int, int]:
    """Fit a drop between two reaches, write its size and slopes, and return its foot and lip.

    The lip of a face of at most ``sharp`` steps is that of the fit, which is steadier; a longer
    face begins where the bed bends most.
    """
    fit_foot, fit_lip, foot_z, lip_z, below, above = _fit_face(
        line[:, BED], foot, lip, low, high, step, near
    )
    if fit_foot < 0:
        fit_foot, fit_lip, foot_z, lip_z = foot, lip, bed[foot], bed[lip]
        below, above = _way_slope(bed, foot, -around, step), _way_slope(bed, lip, around, step)
    drop_m = lip_z - foot_z - 0.5 * (below + above) * (fit_lip - fit_foot) * step
    row["height_m"] = drop_m
    row["rise_m"] = lip_z - foot_z
    row["slope_below"] = below
    row["slope_above"] = above
    if fit_lip - fit_foot <= sharp:
        lip = fit_lip
    return _foot_of_face(line, fit_foot, lip, foot_z, below, drop_m, step), lip


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
) -> NDArray[Any]:
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
    STEP (m,)
        One record a drop.
    """
    n = line.shape[0]
    if n < 12:
        return np.empty(0, dtype=STEP)
    bed = np.empty(n)
    median_of_three(line[:, BED], bed)
    short = max(1, int(round(2.0 * unit / step)))
    near = max(2, int(round(4.0 * unit / step)))
    leg = max(1, int(round(3.0 * unit / step)))
    longest = max(1, int(round(8.0 * unit / step)))
    around = int(round(12.0 * unit / step))
    drop = stand_out(bed, max(4, int(round(6.0 * unit / step))), short)
    usual = 1.4826 * np.median(np.abs(drop - np.median(drop)))
    bend = bends(bed, leg, step)
    ways = directions_of(line[:, EAST], line[:, SOUTH], 3)
    peaks = peaks_of(drop, near, least)
    lips = lips_of(bed, bend, own_from, leg, longest, around, step, least)
    out = np.empty(lips.shape[0], dtype=STEP)
    m = 0
    reach = int(round(18.0 * unit / step))
    far = int(round(28.0 * unit / step))
    for q in range(lips.shape[0]):
        lip = int(lips[q, 0])
        foot = int(lips[q, 1])
        most = _largest(drop, foot, lip)
        lowest, highest = _room_around(drop, peaks, foot, lip, most, short)
        low, high = max(lowest, foot - reach), min(highest, lip + reach)
        row = out[m]
        foot, lip = _fit_into(row, line, bed, foot, lip, low, high, step, near, around, leg)
        low, high = max(lowest, foot - far), min(highest, lip + far)
        row["lip"] = lip
        row["foot"] = foot
        row["face_m"] = (lip - foot) * step
        row["stand_out_m"] = most
        row["usual_m"] = usual
        row["bump_m"] = _bump_at(bed, lip, near, unit, step)
        row["cut_m"] = _cut_above(line, lip, unit, step)
        rise, drop_m = row["rise_m"], row["height_m"]
        row["behind_m"] = low_ground_behind(z, line, foot, rise, width, height, unit)
        row["lasting_m"] = _lasting_drop(line, foot, lip, low, high, drop_m, step, unit)
        row["closed"] = closed_around(z, line, foot, rise, width, height, 2.5 * unit)
        banks_into(row, z, line, ways, foot, lip, width, height, unit, step)
        row["excess_m"] = lips[q, 2]
        _drops_near(row, bed, lip, near, int(round(30.0 * unit / step)))
        row["lip_low"] = low_around_lip(z, line, lip, rise, width, height, 5.0 * unit)
        m += 1
    return out[:m]
