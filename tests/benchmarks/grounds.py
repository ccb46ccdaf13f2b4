"""Grounds that try a terrain chain, each of any size: invented ones, and real ones mirrored."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from tests.benchmarks.ranch import make_ranch

Surface = NDArray[np.float32]

#: Real rasters of 1 m or finer, beside the checkout; see `tests/conftest.py`.
REAL_FOLDER = Path(__file__).resolve().parents[3] / "shared" / "dem" / "real"


def ranch(size: int) -> Surface:
    """Valleys within valleys, ponds and closed basins."""
    return make_ranch(size)


def one_flat(size: int) -> Surface:
    """The ranch with one flat of a quarter of its cells in the middle."""
    z = make_ranch(size)
    part = z[size // 4 : size // 4 + size // 2, size // 4 : size // 4 + size // 2]
    part[:] = np.quantile(part, 0.3)
    return z


def uneven_ponds(size: int) -> Surface:
    """The ranch with ponds of 1e5 cells whose surface lidar left uneven by 2 cm."""
    z = make_ranch(size)
    rng = np.random.default_rng(5)
    side = 316
    for _ in range(max(1, size * size // 1_000_000)):
        row, col = rng.integers(0, max(1, size - side), 2)
        part = z[row : row + side, col : col + side]
        part[:] = np.quantile(part, 0.1) + rng.normal(0, 0.02, part.shape)
    return z


def nested_basins(size: int) -> Surface:
    """Closed basins within closed basins within one as large as the raster."""
    r = np.linspace(-1, 1, size, dtype=np.float32)[:, None]
    c = np.linspace(-1, 1, size, dtype=np.float32)[None, :]
    z = 100 * np.hypot(r, c)
    for times in (3, 9, 27):
        z += 60 / times * (1 - np.cos(np.pi * times * r) * np.cos(np.pi * times * c))
    rng = np.random.default_rng(6)
    return (z + rng.normal(0, 0.03, z.shape)).astype(np.float32)


def terraces(size: int) -> Surface:
    """The ranch in steps of 2 m, their treads back-sloped and rough by 3 cm."""
    z = make_ranch(size)
    rng = np.random.default_rng(7)
    tread = np.floor(z / 2) * 2
    return (tread + 0.3 * (1 - (z - tread) / 2) + rng.normal(0, 0.03, z.shape)).astype(np.float32)


def whole_metres(size: int) -> Surface:
    """The ranch in whole metres."""
    return np.round(make_ranch(size))


def pits_and_discs(size: int) -> Surface:
    """A rough tilted surface with one-cell pits, flat discs of 8 to 40 m and deep closed basins."""
    rng = np.random.default_rng(8)
    r = np.arange(size, dtype=np.float32)[:, None]
    c = np.arange(size, dtype=np.float32)[None, :]
    z = 0.03 * r + 0.01 * c + rng.normal(0, 0.05, (size, size)).astype(np.float32)
    z += 2 * np.sin(r / 90) * np.cos(c / 70)
    pits = rng.random(z.shape) < 0.005
    z[pits] -= 0.5
    for number in range(max(4, 4 * size * size // 1_000_000)):
        radius = rng.uniform(8, 40)
        _disc(z, rng, radius, depth=0.0)
        if number % 4 == 0:
            _disc(z, rng, 3 * radius, depth=rng.uniform(6, 20))
    return z.astype(np.float32)


def _disc(z: Surface, rng: np.random.Generator, radius: float, depth: float) -> None:
    """Lay a flat disc or, with a depth, a bowl that is rough by 5 cm."""
    reach = int(radius) + 1
    row, col = rng.integers(reach, max(reach + 1, z.shape[0] - reach), 2)
    part = z[row - reach : row + reach + 1, col - reach : col + reach + 1]
    far = np.hypot(*np.ogrid[-reach : reach + 1, -reach : reach + 1])[: part.shape[0]]
    inside = far[:, : part.shape[1]] < radius
    if depth:
        part[inside] -= (depth * (1 - (far[:, : part.shape[1]][inside] / radius) ** 2)).astype("f4")
    else:
        part[inside] = np.float32(np.median(part))


MADE: dict[str, Callable[[int], Surface]] = {
    "ranch": ranch,
    "one flat": one_flat,
    "uneven ponds": uneven_ponds,
    "nested basins": nested_basins,
    "terraces": terraces,
    "whole metres": whole_metres,
    "pits and discs": pits_and_discs,
}


def real_names() -> list[str]:
    """Names of the real rasters that are there."""
    return sorted(path.stem for path in REAL_FOLDER.glob("*.tif"))


def ground(name: str, size: int) -> Surface:
    """Return a ground by its name; voids of real ones are NaN."""
    return MADE[name](size) if name in MADE else _mirrored(name, size)


def _mirrored(name: str, size: int) -> Surface:
    """A real raster laid side by side with its mirror images until it is large enough."""
    from terrain.reading.dem import read_dem

    raster = read_dem(REAL_FOLDER / f"{name}.tif").raster
    z = np.where(raster.valid, raster.elevation_m, np.float32(np.nan))
    before = [(0, max(0, size - n)) for n in z.shape]
    return np.ascontiguousarray(np.pad(z, before, mode="symmetric")[:size, :size])
