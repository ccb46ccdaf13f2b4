"""Small surfaces that try a method's patience: thin, flat, tied, holed, nested, ringed."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from terrain.values.grid import Grid
from terrain.values.raster import Raster

LIMITS = [
    (np.inf, np.inf),
    (0.0, 0.0),
    (0.5, np.inf),
    (np.inf, 2.0),
    (1.0, 2.0),
    (0.3, 1.5),
    (2.0, 5.0),
]


@dataclass(frozen=True)
class Case:
    """A surface (NaN in voids), its cell size and limits of cuts."""

    z: NDArray[np.float32]
    height_m: float
    width_m: float
    limits: tuple[float, float]

    @property
    def raster(self) -> Raster:
        return as_raster(self.z, self.height_m, self.width_m)


def as_raster(z: NDArray[np.float32], height_m: float = 1.0, width_m: float = 1.0) -> Raster:
    grid = Grid(*z.shape, Affine(width_m, 0, 0, 0, -height_m, 0))  # type: ignore[call-arg]
    return Raster.from_array(z, grid=grid)


def random_cases(seed: int, number: int, *, largest: int = 12, ties: bool = True) -> Iterator[Case]:
    """Seeded cases of up to ``largest`` rows and columns, some 1 x n; with or without ties."""
    rng = np.random.default_rng(seed)
    while number:
        z = rng.normal(size=rng.integers(1, largest + 1, 2))
        shapes = (_plain, _plain) if not ties else (_plain, _whole, _halves, _few, _sums, _bowl)
        z = shapes[rng.integers(len(shapes))](z, rng).astype(np.float32)
        if rng.random() < 0.4:
            z[rng.random(z.shape) < rng.choice([0.03, 0.1, 0.3])] = np.nan
        if np.isnan(z).all():
            continue
        cell = (1.0, 1.0) if rng.random() < 0.6 else tuple(rng.uniform(0.5, 3, 2).tolist())
        yield Case(z, *cell, LIMITS[rng.integers(len(LIMITS))])  # type: ignore[call-arg]
        number -= 1


def _plain(z, rng):
    return z


def _whole(z, rng):
    return np.round(z)


def _halves(z, rng):
    return np.round(2 * z) / 2


def _few(z, rng):
    return rng.integers(0, 3, z.shape)


def _sums(z, rng):
    return np.round(np.cumsum(np.cumsum(z, 0), 1))


def _bowl(z, rng):
    """A cone that opens upward or downward, with ties."""
    r, c = np.indices(z.shape)
    away = np.hypot(r - z.shape[0] / 2, c - z.shape[1] / 2)
    return np.round(rng.choice([-1, 1]) * away + 0.5 * z)


def nested_pits() -> NDArray[np.float32]:
    """A deep closed basin with lesser pits on its sides, inside a rim, inside a moat."""
    r, c = np.indices((17, 17))
    away = np.maximum(abs(r - 8), abs(c - 8)).astype(np.float32)
    z = np.select([away <= 4, away == 5, away == 6], [away, 8, 3], 10 - away / 2)
    z[8, 5], z[5, 8], z[11, 11] = 0.5, 2.5, 1.5
    return z.astype(np.float32)


def lake(size: int = 25) -> NDArray[np.float32]:
    """A level lake with an uneven shore and one low place in it."""
    r, c = np.indices((size, size))
    away = np.hypot(r - size / 2, c - size / 2)
    z = np.where(away < size / 3, 100.0, 100 + away / 4 + 0.05 * ((r * 7 + c * 3) % 5))
    z[0, size // 2] = 99.0
    return z.astype(np.float32)


def twin_pits() -> NDArray[np.float32]:
    """Two pits of one level behind one wall."""
    z = np.full((7, 9), 5.0)
    z[3, 2] = z[3, 6] = 1.0
    return z.astype(np.float32)


def rings() -> NDArray[np.float32]:
    """Rings of ground at two levels: moats that are flat all round."""
    r, c = np.indices((15, 15))
    return (np.maximum(abs(r - 7), abs(c - 7)) % 2).astype(np.float32)


def named() -> dict[str, NDArray[np.float32]]:
    """Surfaces with a story."""
    level = np.full((9, 9), 3.0, dtype=np.float32)
    holed = level.copy()
    holed[4, 4] = np.nan
    return {
        "one cell": np.array([[7.0]], dtype=np.float32),
        "one row": np.array([[3, 1, 2, 1, 4, 4, 0]], dtype=np.float32),
        "one column": np.array([[3, 1, 2, 1, 4, 4, 0]], dtype=np.float32).T,
        "two by two": np.array([[1, 2], [2, 1]], dtype=np.float32),
        "three by three": np.array([[3, 3, 3], [3, 1, 3], [3, 3, 2]], dtype=np.float32),
        "all level": level,
        "level with a hole": holed,
        "nested pits": nested_pits(),
        "lake": lake(),
        "twin pits": twin_pits(),
        "rings": rings(),
    }
