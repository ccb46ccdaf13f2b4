"""The ground around a sudden drop in a bed: banks, low ground behind it, what closes it in."""

from __future__ import annotations

from typing import Any

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float32s, Float64s, Real
from terrain._kernels.profiles import BED, EAST, SOUTH
from terrain._kernels.sections import height_at, median_of_three


@kernel
def step_of(line: Float64s) -> float:
    """Distance between the steps of an even profile, m."""
    if line.shape[0] < 2:
        return 1.0
    return max(1e-6, np.hypot(line[1, EAST] - line[0, EAST], line[1, SOUTH] - line[0, SOUTH]))


@kernel
def lower_bank(
    z: Float32s,
    line: Float64s,
    ways: Float64s,
    start: int,
    stop: int,
    width: float,
    height: float,
    far: float,
    step: float,
) -> Real:
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
                z,
                line[i, EAST] - ways[i, 1] * off,
                line[i, SOUTH] + ways[i, 0] * off,
                width,
                height,
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
def low_ground_behind(
    z: Float32s,
    line: Float64s,
    foot: int,
    lip_height: float,
    width: float,
    height: float,
    unit: float,
) -> float:
    """How far ground much lower than the lip goes on behind the foot, m.

    Behind a head's foot stands its wall, whichever way one looks. Where a path falls over the
    side of a gully the gully goes on behind the foot.
    """
    before = max(0, foot - int(round(5.0 * unit / step_of(line))))
    du = line[foot, EAST] - line[before, EAST]
    dv = line[foot, SOUTH] - line[before, SOUTH]
    size = np.hypot(du, dv)
    if size == 0:
        return 0.0
    du /= size
    dv /= size
    start = max(0, foot - int(round(3.0 * unit / step_of(line))))
    base = np.median(line[start : foot + 1, BED])
    back = max(0, foot - int(round(1.0 * unit / step_of(line))))
    furthest = 0.0
    for a in range(-10, 11):
        angle = np.deg2rad(8.0 * a)
        x = du * np.cos(angle) - dv * np.sin(angle)
        y = du * np.sin(angle) + dv * np.cos(angle)
        for k in range(8):
            r = (2.0 + k) * unit
            here = height_at(z, line[back, EAST] + x * r, line[back, SOUTH] + y * r, width, height)
            if not here - base < 0.5 * lip_height + 0.03 * r:
                break
            furthest = max(furthest, r)
    return furthest


@kernel
def closed_around(
    z: Float32s,
    line: Float64s,
    foot: int,
    lip_height: float,
    width: float,
    height: float,
    radius: float,
) -> float:
    """Share of a circle around the foot where the ground stands above half the drop."""
    start = max(0, foot - int(round(3.0 / step_of(line))))
    base = np.median(line[start : foot + 1, BED])
    high = 0
    for a in range(48):
        angle = 2.0 * np.pi * a / 48
        here = height_at(
            z,
            line[foot, EAST] + radius * np.cos(angle),
            line[foot, SOUTH] + radius * np.sin(angle),
            width,
            height,
        )
        if here - base >= 0.5 * lip_height:
            high += 1
    return high / 48.0


@kernel
def banks_into(
    row: Any,
    z: Float32s,
    line: Float64s,
    ways: Float64s,
    foot: int,
    lip: int,
    width: float,
    height: float,
    unit: float,
    step: float,
) -> None:
    """Write the lower banks below the foot, above the lip, beside the face and in the notch."""
    n = line.shape[0]
    eight = int(round(8.0 * unit / step))
    one = max(1, int(round(1.0 * unit / step)))
    start, stop = max(0, foot - eight), max(1, foot - one)
    row["below_m"] = lower_bank(z, line, ways, start, stop, width, height, 8 * unit, step)
    start, stop = min(n - 1, lip + 2 * one), min(n, lip + eight + one)
    row["above_m"] = lower_bank(z, line, ways, start, stop, width, height, 8 * unit, step)
    row["notch_m"] = lower_bank(z, line, ways, start, stop, width, height, 4 * unit, step)
    start, stop = max(0, foot), lip
    row["flank_m"] = lower_bank(z, line, ways, start, stop, width, height, 3 * unit, step)


@kernel
def low_around_lip(
    z: Float32s,
    line: Float64s,
    lip: int,
    rise: float,
    width: float,
    height: float,
    radius: float,
) -> float:
    """Share of a circle around the lip where the ground lies well below it."""
    low = 0
    for a in range(24):
        here = height_at(
            z,
            line[lip, EAST] + radius * np.cos(2.0 * np.pi * a / 24),
            line[lip, SOUTH] + radius * np.sin(2.0 * np.pi * a / 24),
            width,
            height,
        )
        if here < line[lip, BED] - 0.3 * rise:
            low += 1
    return low / 24.0
