"""Smooth random fields: numbers drawn on a coarse lattice and joined with splines."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

# What a uniform cubic B-spline leaves of the deviation of white noise on its lattice, in 2-D.
_SPLINE_STD = 0.479


@njit(cache=True)
def _weights(n: int, cell_m: float, spacing_m: float, offset: float) -> tuple:  # type: ignore[type-arg]
    first = np.empty(n, np.int64)
    w = np.empty((n, 4))
    for i in range(n):
        u = (i + 0.5) * cell_m / spacing_m + offset
        k = int(np.floor(u))
        t = u - k
        first[i] = k - 1
        w[i, 0] = (1 - t) ** 3 / 6
        w[i, 1] = (3 * t**3 - 6 * t**2 + 4) / 6
        w[i, 2] = (-3 * t**3 + 3 * t**2 + 3 * t + 1) / 6
        w[i, 3] = t**3 / 6
    return first, w


@njit(cache=True)
def _spread(
    lattice: NDArray[np.float64],
    rows: int,
    cols: int,
    cell_m: float,
    spacing_m: float,
    offset: float,
) -> NDArray[np.float32]:
    r0, wr = _weights(rows, cell_m, spacing_m, offset)
    c0, wc = _weights(cols, cell_m, spacing_m, offset)
    out = np.empty((rows, cols), np.float32)
    line = np.empty(lattice.shape[1])
    for r in range(rows):
        k = r0[r]
        for c in range(lattice.shape[1]):
            line[c] = (
                wr[r, 0] * lattice[k, c]
                + wr[r, 1] * lattice[k + 1, c]
                + wr[r, 2] * lattice[k + 2, c]
                + wr[r, 3] * lattice[k + 3, c]
            )
        for c in range(cols):
            j = c0[c]
            out[r, c] = (
                wc[c, 0] * line[j]
                + wc[c, 1] * line[j + 1]
                + wc[c, 2] * line[j + 2]
                + wc[c, 3] * line[j + 3]
            )
    return out


def upsample(
    coarse: NDArray[np.float64], coarse_cell_m: float, rows: int, cols: int, cell_m: float
) -> NDArray[np.float32]:
    """Spread a cell-centred coarse grid over a finer one with a smoothing cubic B-spline."""
    padded = np.pad(np.asarray(coarse, np.float64), 4, mode="reflect", reflect_type="odd")
    return _spread(padded, rows, cols, cell_m, coarse_cell_m, 3.5)


def smooth_noise(
    rng: np.random.Generator, rows: int, cols: int, cell_m: float, wavelength_m: float
) -> NDArray[np.float32]:
    """Random field, mean 0, deviation about 1, with bumps ``wavelength_m`` apart."""
    spacing = wavelength_m / 2.5
    shape = (int(rows * cell_m / spacing) + 8, int(cols * cell_m / spacing) + 8)
    lattice = rng.standard_normal(shape) / _SPLINE_STD
    return _spread(lattice, rows, cols, cell_m, spacing, 2.0)


def wander(rng: np.random.Generator, n: int, wavelength: float) -> NDArray[np.float64]:
    """Smooth 1-D random series of standard deviation about 1, one value a unit step."""
    spacing = wavelength / 2.5
    knots = rng.standard_normal(int(n / spacing) + 6)
    first, w = _weights(n, 1.0, spacing, 2.0)
    value = sum(w[:, k] * knots[first + k] for k in range(4))
    return np.asarray(value / 0.69)
