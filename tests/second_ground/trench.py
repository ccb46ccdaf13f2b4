"""Open trenches in a fine grid: a bed takes away what stands over its floor and walls."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from tests.second_ground.lines import Line, wander
from tests.second_ground.retreat import Cuts, Wave, half_width, wall_slope
from tests.second_ground.wear import bumps

FLOOR_CROSS_SLOPE = 0.04
LEAST_CUT_M = 0.02
ROUNDED_M = 0.35


@njit(cache=True)
def _open(
    z: NDArray[np.float64],
    ragged: NDArray[np.float64],
    cell_m: float,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    level: NDArray[np.float64],
    deep: NDArray[np.float64],
    half: NDArray[np.float64],
    wall: NDArray[np.float64],
) -> None:
    rows, cols = z.shape
    for i in range(x.size):
        if deep[i] <= 0.0:
            continue
        rise = deep[i] / wall[i]
        reach = half[i] * 1.4 + 2.4 * rise + 1.0
        r0, r1 = max(int((y[i] - reach) / cell_m), 0), min(int((y[i] + reach) / cell_m), rows - 1)
        c0, c1 = max(int((x[i] - reach) / cell_m), 0), min(int((x[i] + reach) / cell_m), cols - 1)
        for r in range(r0, r1 + 1):
            dy = (r + 0.5) * cell_m - y[i]
            for c in range(c0, c1 + 1):
                dx = (c + 0.5) * cell_m - x[i]
                d = (dx * dx + dy * dy) ** 0.5
                if d > reach:
                    continue
                d *= 1.0 + ragged[r, c]
                out = d - half[i]
                top = level[i] + FLOOR_CROSS_SLOPE * min(d, half[i])
                if out > 0.0:  # talus below, steep above
                    top += wall[i] * out * (0.75 + 0.5 * min(out / rise, 1.5))
                if top < z[r, c]:
                    z[r, c] = top


def open_trenches(
    z: NDArray[np.float64],
    cell_m: float,
    lines: list[Line],
    waves: list[Wave],
    cuts: Cuts,
    rng: np.random.Generator,
) -> NDArray[np.float64]:
    """The surface with the trenches of all waves, rims rounded."""
    out = z.copy()
    ragged = 0.13 * bumps(rng, z.shape, cell_m, 17.0) + 0.07 * bumps(rng, z.shape, cell_m, 7.0)
    ragged = np.clip(ragged, -0.35, 0.45)
    for line in lines:
        depth, age = cuts.depth_m[line.number], cuts.age[line.number]
        if not (depth > LEAST_CUT_M).any():
            continue
        ease = np.exp(0.2 * wander(rng, line.x.size, 40))
        bed = line.bed_m.copy()
        for k, wave in enumerate(waves):
            bed = bed - depth[k]
            on = np.where(depth[k] > LEAST_CUT_M, depth[: k + 1].sum(axis=0), 0.0)
            half = np.array(
                [half_width(wave, a, g) for a, g in zip(line.area_m2, age[k], strict=True)]
            )
            wall = np.array([wall_slope(wave, g) for g in age[k]])
            _open(out, ragged, cell_m, line.x, line.y, bed, on, half * ease, wall)
    cut = ndimage.binary_dilation(z - out > 0.03, iterations=int(1.5 / cell_m))
    soft = ndimage.gaussian_filter(out, ROUNDED_M / cell_m, mode="nearest")
    return np.where(cut, soft, out)
