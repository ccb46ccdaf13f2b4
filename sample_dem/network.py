"""Centre lines of the channels: traced on the 4 m relief, smoothed, and made to wander."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem.noise import wander
from sample_dem.relief import MID_CELL_M
from sample_dem.routing import accumulate, breach, downstream_order, main_donors, receivers

HEAD_AREA_HA = 0.3
OUTLET_AREA_HA = 4.0
CREEK_AREA_HA = 20.0
SHORTEST_M = 30.0
EDGE_M = 24.0  # no channel is carved closer to the raster's edge, the outlet apart


@dataclass(frozen=True, slots=True)
class CentreLine:
    """One channel, each metre from its lower end upstream, in local metres (x right, y down)."""

    number: int
    parent: int  # -1: leaves the raster
    parent_station_m: float
    x: NDArray[np.float64]
    y: NDArray[np.float64]
    area_ha: NDArray[np.float64]

    @property
    def length_m(self) -> float:
        """Length, one metre a sample."""
        return float(self.x.size - 1)


def smooth_line(values: NDArray[np.float64], spread: float) -> NDArray[np.float64]:
    """Gaussian smoothing that keeps both ends where they are."""
    reach = min(int(4 * spread) + 1, values.size - 1)
    if reach < 2:
        return values
    padded = np.pad(values, reach, mode="reflect", reflect_type="odd")
    return np.asarray(ndimage.gaussian_filter1d(padded, min(spread, reach / 3))[reach:-reach])


def _each_metre(
    x: NDArray[np.float64], y: NDArray[np.float64]
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    at = np.arange(0.0, along[-1], 1.0)
    return np.interp(at, along, x), np.interp(at, along, y), at / along[-1]


def _shape(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    area: NDArray[np.float64],
    rng: np.random.Generator,
) -> tuple[NDArray[np.float64], NDArray[np.float64], NDArray[np.float64]]:
    """Smooth a traced cell path, let it wander sideways, and sample it each metre."""
    share = np.linspace(0, 1, x.size)
    x, y, at = _each_metre(x, y)
    area = np.interp(at, share, area)
    x, y = smooth_line(x, 13.0), smooth_line(y, 13.0)
    n = x.size
    tx, ty = np.gradient(x), np.gradient(y)
    norm = np.hypot(tx, ty) + 1e-9
    ends = np.minimum(np.arange(n), np.arange(n)[::-1]) / 30.0
    swing = np.clip(ends, 0, 1) ** 2 * (0.8 + 0.35 * np.minimum(area, 40.0) ** 0.4)
    side = swing * wander(rng, n, 38.0) + 2.4 * np.clip(ends, 0, 1) ** 2 * wander(rng, n, 85.0)
    x, y = x - side * ty / norm, y + side * tx / norm
    x, y = smooth_line(x, 3.0), smooth_line(y, 3.0)
    share = np.linspace(0, 1, n)
    x, y, at = _each_metre(x, y)
    return x, y, np.interp(at, share, area)


def _crowds(x: NDArray[np.float64], y: NDArray[np.float64], other: CentreLine) -> bool:
    """True where a line, well above its mouth, runs close beside another."""
    x, y = x[30::4], y[30::4]
    if x.size == 0:
        return False
    box = (
        (other.x > x.min() - 16)
        & (other.x < x.max() + 16)
        & (other.y > y.min() - 16)
        & (other.y < y.max() + 16)
    )
    if not box.any():
        return False
    return bool(np.hypot(x[:, None] - other.x[box], y[:, None] - other.y[box]).min() < 14.0)


def trace(
    z_mid: NDArray[np.float64], height_m: float, width_m: float, rng: np.random.Generator
) -> list[CentreLine]:
    """Channels of the 4 m relief, each after the one it joins, the largest first."""
    z_mid = z_mid[: int(height_m / MID_CELL_M), : int(width_m / MID_CELL_M)]
    rows, cols = z_mid.shape
    row, col = np.divmod(np.arange(rows * cols), cols)
    margin = MID_CELL_M * np.minimum.reduce([row, col, rows - 1 - row, cols - 1 - col])
    z = z_mid.copy()
    breach(z)
    rec = receivers(z)
    count = accumulate(rec, downstream_order(rec))
    donor = main_donors(rec, count)
    area = count * MID_CELL_M**2 / 1e4
    donors: dict[int, list[int]] = {}
    for cell in np.flatnonzero((area >= HEAD_AREA_HA) & (rec >= 0)):
        donors.setdefault(int(rec[cell]), []).append(int(cell))
    outlets = [int(c) for c in np.flatnonzero((rec < 0) & (area >= OUTLET_AREA_HA))]
    queue = [(c, -1) for c in sorted(outlets, key=lambda c: -area[c])]
    lines: list[CentreLine] = []
    while queue:
        start, parent = queue.pop(0)
        cells = [start]
        while True:
            up = int(donor[cells[-1]])
            if up < 0 or area[up] < HEAD_AREA_HA:
                break
            # close to the edge a side branch ends; the creek itself goes on
            if margin[up] < EDGE_M and len(cells) > 25 and area[up] < CREEK_AREA_HA:
                break
            cells.append(up)
        path = np.array(cells)
        y, x = (path // cols + 0.5) * MID_CELL_M, (path % cols + 0.5) * MID_CELL_M
        station = 0.0
        if parent >= 0:
            main = lines[parent]
            near = int(np.argmin(np.hypot(main.x - x[0], main.y - y[0])))
            near = min(max(near - 5, 0), main.x.size - 1)
            station = float(near)
            x = np.concatenate([[main.x[near]], x[2:]])
            y = np.concatenate([[main.y[near]], y[2:]])
        if len(x) * MID_CELL_M < SHORTEST_M:
            continue
        if parent >= 0 and area[path[0]] < 3.0 and margin[path].min() < EDGE_M:
            continue
        first = area[path[0]] if parent < 0 else area[path[2]]
        shaped = _shape(x, y, np.concatenate([[first], area[path[-len(x) + 1 :]]]), rng)
        if first < 4.0 and any(_crowds(shaped[0], shaped[1], other) for other in lines):
            continue
        number = len(lines)
        lines.append(CentreLine(number, parent, station, *shaped))
        on_path = set(cells)
        side = [c for cell in cells[:-1] for c in donors.get(cell, []) if c not in on_path]
        queue += [(c, number) for c in sorted(side, key=lambda c: -area[c])]
    return lines
