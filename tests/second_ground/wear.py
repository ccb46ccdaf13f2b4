"""Wear a land down step by step: rivers that cut by stream power, slopes that creep."""

from __future__ import annotations

from heapq import heappop, heappush

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

_DR = np.array([0, 0, 1, -1, 1, 1, -1, -1])
_DC = np.array([1, -1, 0, 0, 1, -1, 1, -1])
_RUN = np.array([1.0, 1.0, 1.0, 1.0, 2**0.5, 2**0.5, 2**0.5, 2**0.5])


@njit(cache=True)
def flood_order(  # noqa: C901, PLR0912
    z: NDArray[np.float64], open_edge: NDArray[np.bool_], tilt: float
) -> tuple[NDArray[np.float64], NDArray[np.int64], NDArray[np.int64]]:
    """Fill from the open edge inward: filled surface, receiver of each cell, cells lowest first.

    A cell's receiver is the steepest lower neighbour on the filled surface; ``tilt`` is what a
    filled cell stands above the one it drains to.
    """
    rows, cols = z.shape
    full = z.copy()
    seen = np.zeros((rows, cols), np.bool_)
    first = np.full(rows * cols, -1, np.int64)
    order = np.empty(rows * cols, np.int64)
    heap = [(0.0, np.int64(-1))]
    heap.pop()
    for r in range(rows):
        for c in range(cols):
            if open_edge[r, c]:
                heappush(heap, (z[r, c], np.int64(r * cols + c)))
                seen[r, c] = True
    n = 0
    while len(heap) > 0:
        level, cell = heappop(heap)
        order[n] = cell
        n += 1
        r, c = cell // cols, cell % cols
        for k in range(8):
            i, j = r + _DR[k], c + _DC[k]
            if 0 <= i < rows and 0 <= j < cols and not seen[i, j]:
                seen[i, j] = True
                if full[i, j] <= level:
                    full[i, j] = level + tilt
                first[i * cols + j] = cell
                heappush(heap, (full[i, j], np.int64(i * cols + j)))
    receiver = first.copy()
    for r in range(rows):
        for c in range(cols):
            if open_edge[r, c]:
                continue
            best = 0.0
            for k in range(8):
                i, j = r + _DR[k], c + _DC[k]
                if 0 <= i < rows and 0 <= j < cols:
                    fall = (full[r, c] - full[i, j]) / _RUN[k]
                    if fall > best:
                        best = fall
                        receiver[r * cols + c] = i * cols + j
    return full, receiver, order[:n]


@njit(cache=True)
def gather(
    receiver: NDArray[np.int64], order: NDArray[np.int64], cell_m: float
) -> NDArray[np.float64]:
    """Area that drains through each cell (m2), from cells sorted lowest first."""
    area = np.full(receiver.size, cell_m * cell_m)
    for n in range(order.size - 1, -1, -1):
        cell = order[n]
        if receiver[cell] >= 0:
            area[receiver[cell]] += area[cell]
    return area


@njit(cache=True)
def _cut_rivers(
    z: NDArray[np.float64],
    receiver: NDArray[np.int64],
    order: NDArray[np.int64],
    area: NDArray[np.float64],
    soft: NDArray[np.float64],
    cell_m: float,
    power: float,
) -> None:
    flat, ease = z.ravel(), soft.ravel()
    cols = z.shape[1]
    for cell in order:
        to = receiver[cell]
        if to < 0 or flat[cell] <= flat[to]:
            continue
        straight = cell // cols == to // cols or cell % cols == to % cols
        pull = ease[cell] * area[cell] ** power / (cell_m if straight else cell_m * 2**0.5)
        flat[cell] = (flat[cell] + pull * flat[to]) / (1 + pull)


def bumps(
    rng: np.random.Generator, shape: tuple[int, int], cell_m: float, wave_m: float
) -> NDArray[np.float64]:
    """Random field with bumps about ``wave_m`` apart, mean 0, deviation 1."""
    step = max(wave_m / 3, cell_m)
    coarse = rng.standard_normal(tuple(int(n * cell_m / step) + 8 for n in shape))
    coarse = ndimage.gaussian_filter(coarse, 0.8)
    coarse /= coarse.std()
    offset = rng.uniform(1, 3, 2)
    at = np.meshgrid(
        *(np.arange(n) * cell_m / step + o for n, o in zip(shape, offset, strict=True)),
        indexing="ij",
    )
    return np.asarray(ndimage.map_coordinates(coarse, at, order=3, mode="reflect"))


def refine(z: NDArray[np.float64], times: int) -> NDArray[np.float64]:
    """Spread a cell-centred grid over cells ``times`` finer."""
    at = [(np.arange(n * times) + 0.5) / times - 0.5 for n in z.shape]
    grid = np.meshgrid(*at, indexing="ij")
    return np.asarray(ndimage.map_coordinates(z, grid, order=3, mode="nearest"))


def wear_down(
    rng: np.random.Generator,
    size_m: int,
    *,
    uplift_m: float,
    steps: int,
    softness: float,
    creep_m: float,
    tilt: float,
    rough_m: float,
) -> NDArray[np.float64]:
    """Land on a 2 m grid, open along its lower edge, worn down on 8 m, 4 m and at last 2 m cells.

    Parameters
    ----------
    size_m
        Length of a side, a multiple of 8.
    uplift_m
        What the land rises in one step.
    steps
        Steps on the coarsest grid; half as many follow on the next and a sixth on the last.
    softness
        Factor of the stream power at a drainage area of 1 m2.
    creep_m
        How far one step of creep smooths the slopes.
    tilt
        First slope of the land (m/m), down to the open edge.
    rough_m
        Deviation of the first bumps.
    """
    cell = 8
    n = size_m // cell
    y = (n - np.arange(n) - 0.5)[:, None] * cell
    z = tilt * y + rough_m * (bumps(rng, (n, n), cell, 160) + 0.5 * bumps(rng, (n, n), cell, 60))
    z += 0.02 * rng.standard_normal((n, n))
    for count in (steps, steps // 2, max(steps // 6, 4)):
        shape = z.shape
        soft = softness * np.exp(0.35 * bumps(rng, shape, cell, 140))
        edge = np.zeros(shape, bool)
        edge[-1] = True
        for _ in range(count):
            z[~edge] += uplift_m * cell / 8
            full, receiver, order = flood_order(z, edge, 1e-4)
            area = gather(receiver, order, cell)
            z = np.minimum(z, full)
            _cut_rivers(z, receiver, order, area, soft * cell / 8, cell, 0.45)
            z = ndimage.gaussian_filter(z, creep_m * (cell / 8) ** 0.5 / cell, mode="nearest")
        if cell > 2:
            z = refine(z, 2)
            cell //= 2
            z += 0.05 * bumps(rng, z.shape, cell, 5.0 * cell)
    return z
