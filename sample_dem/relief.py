"""The lie of the land before any gully: valleys cut by running water, divides rounded by creep.

A small landscape-evolution model on a coarse grid: implicit stream-power incision (the scheme of
Braun and Willett 2013, Geomorphology 180-181, from memory) and linear hillslope diffusion.
"""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem.noise import smooth_noise
from sample_dem.routing import accumulate, breach, downstream_order, receivers

COARSE_CELL_M = 6.0
MID_CELL_M = 4.0
AREA_EXPONENT = 0.36
UPLIFT_STEP_M = 0.9
CREEP_SPREAD_M = 6.0  # how far one step of hillslope creep smooths the land


@njit(cache=True)
def _incise(
    z: NDArray[np.float64],
    rec: NDArray[np.int32],
    order: NDArray[np.int32],
    count: NDArray[np.int32],
    softness: NDArray[np.float64],
    fixed: NDArray[np.bool_],
    cell_m: float,
    step: float,
    uplift: float,
    exponent: float,
) -> None:
    cols = z.shape[1]
    flat = z.ravel()
    soft = softness.ravel()
    hold = fixed.ravel()
    for k in range(order.size - 1, -1, -1):
        cell = order[k]
        target = rec[cell]
        if hold[cell]:
            continue
        flat[cell] += uplift * step
        if target < 0:
            continue
        diagonal = (cell // cols != target // cols) and (cell % cols != target % cols)
        run = cell_m * (2**0.5 if diagonal else 1.0)
        pull = soft[cell] * (count[cell] * cell_m * cell_m) ** exponent * step / run
        if flat[cell] > flat[target]:
            flat[cell] = (flat[cell] + pull * flat[target]) / (1 + pull)


def _rim_height(
    z: NDArray[np.float64], edge: NDArray[np.bool_], outlet: NDArray[np.bool_]
) -> NDArray[np.float64]:
    """Edge elevations just under the highest ground near by, so that divides stay inside."""
    high = ndimage.maximum_filter(z, size=int(100 / COARSE_CELL_M))
    high = ndimage.gaussian_filter(high, 90 / COARSE_CELL_M, mode="nearest") - 3.0
    low = ndimage.gaussian_filter(outlet.astype(float), 45 / COARSE_CELL_M, mode="nearest")
    low = np.clip(low / low.max(), 0, 1)
    return np.where(edge, high * (1 - low) + z * low, z)


def coarse_relief(rng: np.random.Generator, height_m: float, width_m: float) -> NDArray[np.float64]:
    """Coarse-grid elevations (metres above the outlet); every valley leads to one outlet."""
    rows, cols = (
        int(np.ceil(height_m / COARSE_CELL_M)) + 4,
        int(np.ceil(width_m / COARSE_CELL_M)) + 4,
    )
    y, x = np.mgrid[0:rows, 0:cols] * COARSE_CELL_M
    side = int(rng.integers(4))
    along = float(rng.uniform(0.3, 0.7))
    spot = {
        0: (rows - 1, int(along * cols)),
        1: (0, int(along * cols)),
        2: (int(along * rows), 0),
        3: (int(along * rows), cols - 1),
    }[side]
    outlet = np.zeros((rows, cols), bool)
    outlet[spot] = True
    edge = np.zeros((rows, cols), bool)
    edge[[0, -1], :] = True
    edge[:, [0, -1]] = True
    steep = float(rng.uniform(1.1, 1.6))  # slope in m/m of a channel that drains 1 m2
    distance = np.hypot(y - y[spot], x - x[spot])
    margin = np.minimum.reduce([y, x, y.max() - y, x.max() - x])
    z = 0.02 * distance + 9.0 * np.exp(-margin / 70.0) * (1 - np.exp(-((distance / 160.0) ** 2)))
    for wave, size in ((700.0, 7.0), (260.0, 3.5), (90.0, 1.2), (30.0, 0.4)):
        z += size * smooth_noise(rng, rows, cols, COARSE_CELL_M, wave)
    z += 0.15 * rng.standard_normal((rows, cols))
    softness = np.exp(0.28 * smooth_noise(rng, rows, cols, COARSE_CELL_M, 420.0)) / steep
    z[spot] = z.min() - 3.0
    cycles, opened_at = 110, 70
    for cycle in range(cycles):
        opened = cycle >= opened_at
        if opened and (cycle - opened_at) % 6 == 0:
            z = _rim_height(z, edge, outlet)
        routed = z.copy()
        if not opened:  # the edge is a wall, so that all water finds the one outlet
            routed[edge & ~outlet] += 500.0
        breach(routed)
        rec = receivers(routed)
        order = downstream_order(rec)
        count = accumulate(rec, order)
        fixed = edge if opened else outlet
        _incise(
            z, rec, order, count, softness, fixed, COARSE_CELL_M, UPLIFT_STEP_M, 1.0, AREA_EXPONENT
        )
        held = z[fixed]
        z = ndimage.gaussian_filter(z, CREEP_SPREAD_M / COARSE_CELL_M, mode="nearest")
        z[fixed] = held
    return np.asarray((z - z[spot]) * rng.uniform(0.4, 0.55), np.float64)


def mid_relief(rng: np.random.Generator, height_m: float, width_m: float) -> NDArray[np.float64]:
    """Elevations on the 4 m grid: the coarse relief, bent so that no valley follows the grid."""
    coarse = coarse_relief(rng, height_m, width_m)
    rows, cols = int(np.ceil(height_m / MID_CELL_M)) + 2, int(np.ceil(width_m / MID_CELL_M)) + 2
    y, x = (np.mgrid[0:rows, 0:cols] + 0.5) * MID_CELL_M
    margin = np.minimum.reduce([y, x, height_m - y, width_m - x])
    free = np.clip(margin / 60.0, 0, 1)
    for wave, size in ((260.0, 7.0), (110.0, 2.0)):
        y = y + size * free * smooth_noise(rng, rows, cols, MID_CELL_M, wave)
        x = x + size * free * smooth_noise(rng, rows, cols, MID_CELL_M, wave)
    at = np.stack([y / COARSE_CELL_M + 1.5, x / COARSE_CELL_M + 1.5])
    z = ndimage.map_coordinates(coarse, at, order=3, mode="nearest")
    z = _turn_outward(
        z, 46.0 + 15.0 * smooth_noise(rng, rows, cols, MID_CELL_M, 230.0), height_m, width_m
    )
    return np.asarray(ndimage.gaussian_filter(z, 1.4, mode="nearest"))


def _turn_outward(
    z: NDArray[np.float64], band: NDArray[np.float32], height_m: float, width_m: float
) -> NDArray[np.float64]:
    """Mirror the land about a line inside each edge, so that the outer strip drains outward.

    Nothing is changed near the outlet, where the land is lowest.
    """
    base = z.min()
    rows, cols = np.indices(z.shape).astype(float)
    for along, size in ((rows, height_m), (cols, width_m)):
        for far in (False, True):
            metres = (along + 0.5) * MID_CELL_M
            margin = size - metres if far else metres
            inside = np.maximum(margin, 2 * band - margin)
            moved = size - inside if far else inside
            at = moved / MID_CELL_M - 0.5
            where = np.stack([at, cols] if along is rows else [rows, at])
            mirrored = ndimage.map_coordinates(z, where, order=1, mode="nearest")
            out = np.clip(1 - margin / np.maximum(band, 15.0), 0, None)
            weight = np.clip((z - base - 4.0) / 5.0, 0, 1)
            z = z + weight * (np.minimum(z, mirrored) - 1.5 * out**2 - z)
    return z
