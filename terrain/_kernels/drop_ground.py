"""The ground around a sudden drop: behind its foot, above its lip, and the banks beside it."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float32s, Float64s, Real
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

(LIP, FOOT, HEIGHT, FACE, BELOW, ABOVE, STAND_OUT, USUAL, BUMP) = range(9)
(CUT, BEHIND, BANK_BELOW, BANK_ABOVE, LASTING, CLOSED, FLANK, NOTCH) = range(9, len(STEP_COLUMNS))


@kernel
def _step_of(line: Float64s) -> float:
    """Distance between the steps of an even profile, m."""
    if line.shape[0] < 2:
        return 1.0
    return max(1e-6, np.hypot(line[1, 0] - line[0, 0], line[1, 1] - line[0, 1]))


@kernel
def _lower_bank(
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
def _low_ground_behind(
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
def _closed_around(
    z: Float32s,
    line: Float64s,
    foot: int,
    lip_height: float,
    width: float,
    height: float,
    radius: float,
) -> float:
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
def above_lip(
    line: Float64s, bed: Float64s, lip: int, near: int, step: float, unit: float, row: Float64s
) -> None:
    """Write how far the lip stands above the ground behind it, and the deepest cut just above."""
    n = bed.size
    crest = lip
    for j in range(lip, min(n, lip + int(round(8.0 * unit / step)))):
        if bed[j] > bed[crest]:
            crest = j
    a = min(n - 1, crest + near)
    b = min(n, crest + int(round(18.0 * unit / step)))
    row[BUMP] = bed[crest] - np.median(bed[a:b]) if b - a > 2 else 0.0
    cut = 0.0
    for j in range(lip, min(n, lip + int(round(20.0 * unit / step)))):
        cut = max(cut, line[j, 2] - line[j, 3])
    row[CUT] = cut


@kernel
def ground_beside(
    z: Float32s,
    line: Float64s,
    ways: Float64s,
    foot: int,
    lip: int,
    rise: float,
    width: float,
    height: float,
    step: float,
    unit: float,
    row: Float64s,
) -> None:
    """Write how the ground stands around a drop: behind it, and the banks along the channel."""
    n = line.shape[0]
    eight = int(round(8.0 * unit / step))
    one = max(1, int(round(1.0 * unit / step)))
    row[BEHIND] = _low_ground_behind(z, line, foot, rise, width, height, unit)
    row[CLOSED] = _closed_around(z, line, foot, rise, width, height, 2.5 * unit)
    first = max(0, foot - eight)
    stop = max(1, foot - one)
    far = 8 * unit
    row[BANK_BELOW] = _lower_bank(z, line, ways, first, stop, width, height, far, step)
    first = min(n - 1, lip + 2 * one)
    stop = min(n, lip + eight + one)
    row[BANK_ABOVE] = _lower_bank(z, line, ways, first, stop, width, height, far, step)
    row[NOTCH] = _lower_bank(z, line, ways, first, stop, width, height, 4 * unit, step)
    row[FLANK] = _lower_bank(z, line, ways, max(0, foot), lip, width, height, 3 * unit, step)
