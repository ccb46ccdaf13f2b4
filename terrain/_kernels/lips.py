"""Lips of drops in a long profile: where a bed bends most, and what falls below there."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float64s, Int64s

#: A face is no longer than it must be: each metre of it has to bring so much more, m per m.
FACE_COST = 0.04
#: Where the bed bends by less, no lip is looked for, m per m.
LEAST_BEND = 0.03


@kernel
def bends(bed: Float64s, leg: int, step: float) -> Float64s:
    """How much steeper a bed is below each step than above it, over legs of so many steps."""
    n = bed.size
    out = np.zeros(n)
    for i in range(leg, n - 1):
        above = min(n - 1, i + leg)
        out[i] = (bed[i] - bed[i - leg]) / (leg * step)
        out[i] -= (bed[above] - bed[i]) / ((above - i) * step)
    return out


@kernel
def _foot_below(
    bed: Float64s, lip: int, longest: int, around: int, step: float
) -> tuple[int, float]:
    """Foot that makes a drop stand out most beyond the bed around it, and by how much, m."""
    n = bed.size
    foot = lip - 1
    best = -np.inf
    for f in range(max(0, lip - longest), lip):
        a = max(0, f - around)
        b = min(n - 1, lip + around)
        run = ((f - a) + (b - lip)) * step
        slope = 0.0
        if run > 0:
            slope = max(0.0, (bed[f] - bed[a] + bed[b] - bed[lip]) / run)
        excess = bed[lip] - bed[f] - (slope + FACE_COST) * (lip - f) * step
        if excess > best:
            best = excess
            foot = f
    return foot, best


@kernel
def lips_of(
    bed: Float64s, bend: Float64s, own_from: int, near: int, longest: int, around: int,
    step: float, least: float,
) -> Float64s:  # fmt: skip
    """Lips of drops, from the lower end up: rows of lip, foot and excess (m).

    A lip is where the bed bends most within ``near`` steps: there a person puts it too.
    """
    n = bed.size
    out = np.empty((n, 3))
    count = 0
    for i in range(max(1, own_from), n - 1):
        if bend[i] < LEAST_BEND:
            continue
        sharpest = True
        for j in range(max(0, i - near), min(n, i + near + 1)):
            if bend[j] > bend[i] or (bend[j] == bend[i] and j < i):
                sharpest = False
                break
        if not sharpest:
            continue
        foot, excess = _foot_below(bed, i, longest, around, step)
        if excess >= least:
            out[count, 0] = i
            out[count, 1] = foot
            out[count, 2] = excess
            count += 1
    return out[:count]


@kernel
def peaks_of(drop: Float64s, near: int, least: float) -> Int64s:
    """Places whose drop is the largest within ``near`` steps, and no less than ``least``."""
    n = drop.size
    peaks = np.empty(n, dtype=np.int64)
    count = 0
    for i in range(n):
        if drop[i] < least:
            continue
        highest = True
        for j in range(max(0, i - near), min(n, i + near + 1)):
            if drop[j] > drop[i] or (drop[j] == drop[i] and j < i):
                highest = False
                break
        if highest:
            peaks[count] = i
            count += 1
    return peaks[:count]
