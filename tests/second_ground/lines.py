"""The drainage of a land as lines, each half metre from its mouth upward."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.second_ground.wear import flood_order, gather

STEP_M = 0.5
SOURCE_M2 = 60.0  # a line is followed up to here
SIDE_M2 = 350.0  # a side line drains at least this where it joins
OUTLET_M2 = 4_000.0
SHORTEST_M = 14.0
APART_M = 8.0
SMOOTH_M = 4.0


@dataclass(frozen=True, slots=True)
class Line:
    """One drainage line in local metres (x right, y down), from its mouth up."""

    number: int
    parent: int  # -1 where it leaves the land
    joint: int  # sample of the parent at which it joins
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    area_m2: NDArray[np.float64]
    bed_m: NDArray[np.float64]  # never falls going up


def smoothed(values: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    """Gaussian smoothing that keeps both ends."""
    reach = min(int(3 * spread) + 1, values.size - 1)
    if reach < 2:
        return values
    padded = np.pad(values, reach, mode="reflect", reflect_type="odd")
    return np.asarray(ndimage.gaussian_filter1d(padded, spread)[reach:-reach])


def wander(rng: np.random.Generator, n: int, wave: float) -> NDArray[np.float64]:
    """Smooth random series, deviation about 1, with bumps about ``wave`` samples apart."""
    spread = wave / 3
    reach = int(4 * spread) + 1
    raw = ndimage.gaussian_filter1d(rng.standard_normal(n + 2 * reach), spread)[reach:-reach]
    return np.asarray(raw * (2 * np.pi**0.5 * spread) ** 0.5)


def rising(values: NDArray[np.float64]) -> NDArray[np.float64]:
    """The mean of the closest profiles above and below that never fall going up."""
    least = 0.001 * np.arange(values.size) * STEP_M
    flat = values - least
    high = np.maximum.accumulate(flat)
    low = np.minimum.accumulate(flat[::-1])[::-1]
    return np.asarray(0.5 * (high + low) + least)


def _even(
    x: NDArray[np.float64], y: NDArray[np.float64], *more: NDArray[np.float64]
) -> list[NDArray[np.float64]]:
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    at = np.arange(0.0, along[-1], STEP_M)
    return [np.interp(at, along, v) for v in (x, y, *more)]


def _swing(
    x: NDArray[np.float64], y: NDArray[np.float64], wave_m: float, wide_m: float, phase: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Let a line meander to both sides."""
    at = np.arange(x.size) * STEP_M
    tx, ty = np.gradient(smoothed(x, 30)), np.gradient(smoothed(y, 30))
    norm = np.hypot(tx, ty) + 1e-9
    ease = np.clip(np.minimum(at, at[::-1]) / 40.0, 0, 1)
    turn = 2 * np.pi * at / wave_m + 1.3 * np.sin(at / wave_m * 1.7 + phase) + phase
    side = wide_m * ease * (np.sin(turn) + 0.08 * np.sin(2.1 * turn + 1.0))
    lead = 0.2 * wide_m * ease * np.sin(2 * turn + 0.6)  # loops lean downstream
    return x - side * ty / norm + lead * tx / norm, y + side * tx / norm + lead * ty / norm


def _bend(
    x: NDArray[np.float64], y: NDArray[np.float64], rng: np.random.Generator
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Small bends, as a trench has that works around what is harder."""
    n = x.size
    ease = np.clip(np.minimum(np.arange(n), np.arange(n)[::-1]) * STEP_M / 12.0, 0, 1)
    side = ease * (1.1 * wander(rng, n, 26 / STEP_M) + 0.4 * wander(rng, n, 10 / STEP_M))
    tx, ty = np.gradient(smoothed(x, 8)), np.gradient(smoothed(y, 8))
    norm = np.hypot(tx, ty) + 1e-9
    return x - side * ty / norm, y + side * tx / norm


@dataclass(frozen=True, slots=True)
class Swing:
    """Meanders of the largest lines."""

    wave_m: float
    wide_m: float
    least_area_m2: float


class _Drainage:
    """Routed water and the lines found so far."""

    def __init__(self, z: NDArray[np.float64], cell_m: float) -> None:
        edge = np.zeros(z.shape, bool)
        edge[-1] = True
        _, self.receiver, order = flood_order(z, edge, 1e-4)
        self.area = gather(self.receiver, order, cell_m)
        self.ground = ndimage.gaussian_filter(z, 2.0 / cell_m, mode="nearest")
        self.cell_m, self.shape = cell_m, z.shape
        self.taken = np.full(z.shape, -1, np.int32)
        self.donors: dict[int, list[int]] = {}
        for cell in np.flatnonzero((self.area >= SOURCE_M2) & (self.receiver >= 0)):
            self.donors.setdefault(int(self.receiver[cell]), []).append(int(cell))

    def path_up(self, mouth: int) -> list[int]:
        """Cells from a mouth up, always to where most drains."""
        path = [mouth]
        while self.donors.get(path[-1]):
            path.append(max(self.donors[path[-1]], key=lambda c: (self.area[c], -c)))
        return path

    def cells(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> tuple[NDArray, NDArray]:
        """Rows and columns of points."""
        r = np.clip((y / self.cell_m).astype(int), 0, self.shape[0] - 1)
        return r, np.clip((x / self.cell_m).astype(int), 0, self.shape[1] - 1)

    def level(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """Ground at points."""
        at = np.stack([y, x]) / self.cell_m - 0.5
        return np.asarray(ndimage.map_coordinates(self.ground, at, order=1, mode="nearest"))

    def crowded(self, x: NDArray[np.float64], y: NDArray[np.float64], parent: int) -> bool:
        """Whether a line, well above its mouth, runs close beside another."""
        near = self.taken[self.cells(x, y)]
        far = near >= 0
        if parent >= 0:
            mouth = int(24 / STEP_M)
            far[:mouth] &= near[:mouth] != parent
        return bool(far[int(6 / STEP_M) :].any())

    def take(self, line: Line) -> None:
        """Remember where a line runs."""
        reach = int(APART_M / self.cell_m)
        r, c = self.cells(line.x, line.y)
        for i, j in zip(r[::2], c[::2], strict=True):
            box = self.taken[max(i - reach, 0) : i + reach + 1, max(j - reach, 0) : j + reach + 1]
            box[box < 0] = line.number

    def sides(self, path: list[int]) -> list[int]:
        """Mouths of the side lines of a path, the largest first."""
        mine = set(path)
        side = [d for cell in path for d in self.donors.get(cell, []) if d not in mine]
        return sorted((d for d in side if self.area[d] >= SIDE_M2), key=lambda c: -self.area[c])


def draw_lines(
    z: NDArray[np.float64], cell_m: float, rng: np.random.Generator, swing: Swing | None = None
) -> list[Line]:
    """Drainage lines of a land, each after the one it joins, the largest first."""
    water = _Drainage(z, cell_m)
    cols = z.shape[1]
    start = np.flatnonzero((water.receiver < 0) & (water.area >= OUTLET_M2))
    queue = [(int(c), -1) for c in start[np.argsort(-water.area[start], kind="stable")]]
    lines: list[Line] = []
    while queue:
        mouth, parent = queue.pop(0)
        path = water.path_up(mouth)
        cells = np.array(path)
        x, y = (cells % cols + 0.5) * cell_m, (cells // cols + 0.5) * cell_m
        on = water.area[cells]
        joint = 0
        if parent >= 0:
            main = lines[parent]
            joint = int(np.argmin(np.hypot(main.x - x[0], main.y - y[0])))
            x = np.concatenate([[main.x[joint]], x])
            y = np.concatenate([[main.y[joint]], y])
            on = np.concatenate([[on[0]], on])
        if x.size * cell_m < SHORTEST_M:
            continue
        x, y, on = _even(x, y, on)
        x, y = smoothed(x, SMOOTH_M / STEP_M), smoothed(y, SMOOTH_M / STEP_M)
        if swing is not None and on[0] >= swing.least_area_m2:
            x, y = smoothed(x, 18.0 / STEP_M), smoothed(y, 18.0 / STEP_M)
            x, y = _swing(x, y, swing.wave_m, swing.wide_m, float(rng.uniform(0, 6)))
        x, y, on = _even(*_bend(x, y, rng), on)
        if water.crowded(x, y, parent):
            continue
        bed = smoothed(rising(water.level(x, y)), 3.0 / STEP_M)
        if parent >= 0:  # meet the main line's bed
            ease = np.exp(-np.arange(bed.size) * STEP_M / 10.0)
            bed = rising(bed + (lines[parent].bed_m[joint] - bed[0]) * ease)
        lines.append(Line(len(lines), parent, joint, x, y, on, bed))
        water.take(lines[-1])
        queue += [(d, len(lines) - 1) for d in water.sides(path)]
    return lines
