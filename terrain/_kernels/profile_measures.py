"""Measures of typical sections: widths, benches, the depth of a flow, bank tops.

A profile holds heights above the bed from left to right; its middle is entry ``half``.
"""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Bools, Float64s, Floats
from terrain._kernels.sections import bank_of_side, crossing


@kernel
def _lowest(profile: Float64s, half: int, reach: int) -> int:
    low = half
    for j in range(max(0, half - reach), min(profile.size, half + reach + 1)):
        if profile[j] < profile[low] or np.isnan(profile[low]):
            low = j
    return low


@kernel
def top_width(
    profile: Float64s, half: int, reach: int, step: float, level: float
) -> tuple[float, bool]:
    """Width at a height above the bed, and whether both sides reach it (else up to the ends)."""
    low = _lowest(profile, half, reach)
    total = 0.0
    closed = True
    for sign in (-1, 1):
        edge = 0 if sign < 0 else profile.size - 1
        out = crossing(profile, low, edge, sign, level)
        if out < 0:
            closed = False
            out = 0.0
            while 0 <= low + sign * (out + 1) < profile.size and not np.isnan(
                profile[low + sign * int(out + 1)]
            ):
                out += 1.0
        total += out
    return total * step, closed


@kernel
def bench_of(
    profile: Float64s,
    half: int,
    reach: int,
    step: float,
    top: float,
    rise: float,
    start: float,
    drop: float,
    noise: float,
    tread: float,
    out: Float64s,
) -> None:
    """Bench: the first plain local maximum of hydraulic depth going up from the bed.

    ``top`` is the bank top above the bed, ``start`` the lowest height looked at, ``drop`` the
    share by which hydraulic depth has to fall again, ``noise`` a depth by which it has to (m).
    Writes height, width and hydraulic depth at the bench, and the share by which it falls; NaN
    where there is none.
    """
    out[:] = np.nan
    area = 0.0
    best = 0.0
    at = 0.0
    wide = 0.0
    level = 0.0
    before = 0.0
    while level + rise <= top + 1e-9:
        level += rise
        width, closed = top_width(profile, half, reach, step, level)
        if not closed:
            return
        area += 0.5 * (width + before) * rise
        before = width
        if level < start or width <= 0:
            continue
        deep = area / width
        if deep > best:
            best = deep
            at = level
            wide = width
        elif deep < best - max(drop * best, noise) and width - wide >= tread:
            out[0] = at
            out[1] = wide
            out[2] = best
            lowest = deep
            while level + rise <= top + 1e-9:
                level += rise
                width, closed = top_width(profile, half, reach, step, level)
                if not closed:
                    break
                area += 0.5 * (width + before) * rise
                before = width
                if area / width >= lowest:
                    break
                lowest = area / width
            out[3] = 1.0 - lowest / best
            return


@kernel
def stage_of_flow(
    profile: Float64s,
    half: int,
    reach: int,
    step: float,
    top: float,
    flow: float,
    slope: float,
    roughness: float,
    rise: float,
) -> tuple[float, float]:
    """Depth at which a section carries a flow by Manning's equation, and the width there.

    Above the bank top the sides are taken as upright. NaN where no depth below 20 m does.
    """
    area = 0.0
    wet = 0.0
    before = 0.0
    carried = 0.0
    level = 0.0
    width = 0.0
    while level < 20.0:
        level += rise
        if level <= top + 1e-9:
            width, closed = top_width(profile, half, reach, step, level)
            if not closed:
                width = before
        grown = max(width - before, 0.0)
        area += 0.5 * (width + before) * rise
        wet += np.hypot(grown, 2 * rise)
        if wet > 0:
            now = area / roughness * (area / wet) ** (2.0 / 3.0) * np.sqrt(slope)
            if now >= flow:
                f = (flow - carried) / max(now - carried, 1e-12)
                # flow grows faster than depth: between two steps as depth to the 5/3
                return level - rise + rise * f**0.6, before + (width - before) * f**0.6
            carried = now
        before = width
    return np.nan, np.nan


@kernel
def top_widths(
    profiles: Floats,
    half: int,
    reach: int,
    step: float,
    levels: Float64s,
    widths: Float64s,
    closed: Bools,
) -> None:
    """`top_width` for many places; levels that are NaN give NaN."""
    for i in range(levels.size):
        widths[i] = np.nan
        closed[i] = False
        if not (np.isnan(levels[i]) or np.isnan(profiles[i, half])):
            widths[i], closed[i] = top_width(profiles[i], half, reach, step, levels[i])


@kernel
def benches_of(
    profiles: Floats,
    half: int,
    reach: int,
    step: float,
    tops: Float64s,
    rise: float,
    start: float,
    drop: float,
    noises: Floats,
    tread: float,
    out: Float64s,
) -> None:
    """`bench_of` for many places; tops that are NaN give NaN."""
    for i in range(tops.size):
        out[i] = np.nan
        if not (np.isnan(tops[i]) or np.isnan(profiles[i, half])):
            bench_of(
                profiles[i], half, reach, step, tops[i], rise, start, drop, noises[i], tread, out[i]
            )


@kernel
def stages_of_flow(
    profiles: Floats,
    half: int,
    reach: int,
    step: float,
    tops: Float64s,
    flows: Float64s,
    slopes: Float64s,
    roughness: float,
    rise: float,
    out: Float64s,
) -> None:
    """`stage_of_flow` for many places; NaN where bank top, flow or ground is not known."""
    for i in range(tops.size):
        out[i] = np.nan
        if not (np.isnan(tops[i]) or np.isnan(flows[i]) or np.isnan(profiles[i, half])):
            out[i, 0], out[i, 1] = stage_of_flow(
                profiles[i], half, reach, step, tops[i], flows[i], slopes[i], roughness, rise
            )


@kernel
def bank_heights(profiles: Floats, half: int, reach: int, out: Float64s) -> None:
    """Height of the bank top on the left and the right of many places; NaN where none is seen."""
    for i in range(profiles.shape[0]):
        out[i] = np.nan
        if np.isnan(profiles[i, half]):
            continue
        low = _lowest(profiles[i], half, reach)
        for side in range(2):
            edge = side * (profiles.shape[1] - 1)
            top, height, _bulge = bank_of_side(profiles[i], low, edge, 2 * side - 1, 0.0)
            if top >= 0:
                out[i, side] = height
