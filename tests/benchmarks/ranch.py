"""An invented 1 m raster for timing: valleys within valleys, noise, closed basins and ponds."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

NOISE_M = 0.05
#: Ponds and basins for each million cells.
PONDS_PER_MILLION = 3
BASINS_PER_MILLION = 2


def make_ranch(size: int, *, seed: int = 1) -> NDArray[np.float32]:
    """Elevations of ``size`` x ``size`` cells of 1 m, float32.

    A tilted plane with billowed noise of halving wavelength, whose creases are valleys; 5 cm of
    noise; basins 7 to 9 m deep that have no way out, deeper than a cut may be; and ponds made
    level as by hydro-flattening.
    """
    rng = np.random.default_rng(seed)
    z = np.zeros((size, size), dtype=np.float32)
    wavelength, height = 500.0, 22.0
    while wavelength > 8:
        cells = int(size / wavelength) + 4
        coarse = rng.standard_normal((cells, cells)).astype(np.float32)
        offset = rng.uniform(0, 1, 2)
        rows = (np.arange(size) / wavelength + offset[0] + 1).astype(np.float32)
        cols = (np.arange(size) / wavelength + offset[1] + 1).astype(np.float32)
        z += np.float32(height) * np.abs(_cubic(coarse, rows, cols))
        wavelength, height = wavelength / 2, height / 2.3
    z += np.linspace(0.06 * size, 0, size, dtype=np.float32)[:, None]
    z += np.linspace(0.03 * size, 0, size, dtype=np.float32)[None, :]
    million = size * size / 1e6
    for _ in range(max(1, round(BASINS_PER_MILLION * million))):
        _basin(z, rng, depth=rng.uniform(7, 9), radius=rng.uniform(25, 60))
    z += rng.standard_normal((size, size), dtype=np.float32) * np.float32(NOISE_M)
    for _ in range(max(1, round(PONDS_PER_MILLION * million))):
        _pond(z, rng, radius=rng.uniform(10, 40))
    return z


def _cubic(
    coarse: NDArray[np.float32], rows: NDArray[np.float32], cols: NDArray[np.float32]
) -> NDArray[np.float32]:
    """Cubic interpolation at the crossings of rows and columns, one axis after the other."""
    one: NDArray[np.float32] = _along(coarse, rows)
    two: NDArray[np.float32] = _along(np.ascontiguousarray(one.T), cols)
    return np.ascontiguousarray(two.T)


def _along(table: NDArray[np.float32], at: NDArray[np.float32]) -> NDArray[np.float32]:
    spline = ndimage.spline_filter1d(table, axis=0, mode="mirror").astype(np.float32)
    base = np.floor(at).astype(np.int64)
    t = (at - base)[:, None]
    weights = (
        (1 - t) ** 3 / 6,
        (3 * t**3 - 6 * t**2 + 4) / 6,
        (-3 * t**3 + 3 * t**2 + 3 * t + 1) / 6,
        t**3 / 6,
    )
    out = np.zeros((at.size, table.shape[1]), dtype=np.float32)
    for i, w in enumerate(weights):
        out += w * spline[np.clip(base + i - 1, 0, table.shape[0] - 1)]
    return out


def _window(
    z: NDArray[np.float32], rng: np.random.Generator, radius: float
) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Return a view around a random place, and its distances from that place over the radius."""
    reach = int(radius) + 2
    row, col = rng.integers(reach, max(z.shape[0] - reach, reach + 1), 2)
    part = z[row - reach : row + reach + 1, col - reach : col + reach + 1]
    r, c = np.indices(part.shape, dtype=np.float32)
    return part, np.hypot(r - reach, c - reach) / np.float32(radius)


def _basin(z: NDArray[np.float32], rng: np.random.Generator, depth: float, radius: float) -> None:
    part, far = _window(z, rng, radius)
    level = float(part.mean())
    inside = far < 1
    bowl = level - depth * (1 - far[inside] ** 2)
    part[inside] = np.minimum(part[inside], bowl)
    rim = (far >= 1) & (far < 1.15)
    part[rim] = np.maximum(part[rim], level)


def _pond(z: NDArray[np.float32], rng: np.random.Generator, radius: float) -> None:
    part, far = _window(z, rng, radius)
    inside = far < 1
    part[inside] = np.float32(np.quantile(part[inside], 0.3))
