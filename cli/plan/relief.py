"""The ground behind a map: a smaller grid, its hillshade and its contour interval."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from affine import Affine
from numpy.typing import NDArray

from terrain.values.grid import Grid
from terrain.values.raster import Raster

#: Lightness of the darkest and lightest shade: low contrast, well above 45 %.
DARKEST, LIGHTEST = 0.62, 0.98
#: Warm grey: how much of the lightness red, green and blue keep.
WARM = (1.0, 0.985, 0.955)
#: Two lights: where they stand (degrees from north, degrees above the horizon) and their share.
LIGHTS = ((315.0, 45.0, 0.62), (45.0, 60.0, 0.38))
Bounds = tuple[float, float, float, float]


@dataclass(frozen=True, slots=True, eq=False)
class Relief:
    """Mean elevations on a grid that is small enough to draw; NaN where nothing is known."""

    grid: Grid
    elevation_m: NDArray[np.float32]

    @property
    def extent(self) -> Bounds:
        """West, east, south, north, as an image wants it."""
        west, south, east, north = self.grid.bounds
        return west, east, south, north


def relief_of(raster: Raster, bounds: Bounds, *, most_cells: int = 1400) -> Relief:
    """Cut a raster to what is drawn, and average it down to at most so many cells a side.

    Parameters
    ----------
    raster
        Elevations, m.
    bounds
        West, south, east and north of what is drawn, m.
    most_cells
        Cells along the longer side of the result, at most (rounded up to whole blocks).
    """
    west, south, east, north = bounds
    grid = raster.grid
    row0, col0 = (int(v) for v in grid.rowcol(west, north))
    row1, col1 = (int(v) for v in grid.rowcol(east, south))
    row0, row1 = np.clip((row0, row1 + 1), 0, grid.rows).tolist()
    col0, col1 = np.clip((col0, col1 + 1), 0, grid.cols).tolist()
    if row1 <= row0 or col1 <= col0:
        row0, row1, col0, col1 = 0, grid.rows, 0, grid.cols
    step = max(1, math.ceil(max(row1 - row0, col1 - col0) / most_cells))
    z = raster.elevation_m[row0:row1, col0:col1]
    known = raster.valid[row0:row1, col0:col1]
    mean = _block_mean(z, known, step)
    rows, cols = mean.shape
    t = grid.transform
    corner_x, corner_y = t.c + col0 * t.a, t.f + row0 * t.e
    small = Affine(t.a * step, 0.0, corner_x, 0.0, t.e * step, corner_y)
    return Relief(Grid(rows, cols, small, grid.crs), mean)


def _block_mean(z: NDArray[np.float32], known: NDArray[np.bool_], step: int) -> NDArray[np.float32]:
    """Average the known cells of each block; NaN where a block has none."""
    if step == 1:
        return np.where(known, z, np.float32(np.nan))
    rows, cols = -(-z.shape[0] // step), -(-z.shape[1] // step)
    total = np.zeros((rows, cols), dtype=np.float64)
    count = np.zeros((rows, cols), dtype=np.int32)
    filled = np.where(known, z, np.float32(0.0))
    for i in range(step):
        for j in range(step):
            part = filled[i::step, j::step]
            total[: part.shape[0], : part.shape[1]] += part
            count[: part.shape[0], : part.shape[1]] += known[i::step, j::step]
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(count > 0, total / count, np.nan).astype(np.float32)


def hillshade(relief: Relief) -> NDArray[np.uint8]:
    """Shade the ground in warm grey from two lights.

    The lights and the limits of lightness are common practice in relief shading; the slope is
    exaggerated or damped so that gentle and steep country are drawn with the same contrast.

    Returns
    -------
    ndarray
        uint8 RGBA, shape ``(rows, cols, 4)``; clear where nothing is known.
    """
    known = np.isfinite(relief.elevation_m)
    rgba = np.zeros((*relief.grid.shape, 4), dtype=np.uint8)
    if min(relief.grid.shape) < 2 or not known.any():
        return rgba
    z = relief.elevation_m
    # Beside a hole no slope is known; such cells are drawn as flat ground.
    south, east = (
        np.nan_to_num(g)
        for g in np.gradient(z, relief.grid.cell_height_m, relief.grid.cell_width_m)
    )
    typical = float(np.percentile(np.hypot(south, east)[known], 90))
    exaggeration = min(0.55 / typical, 12.0) if typical > 0 else 1.0
    gx, gy = east * exaggeration, -south * exaggeration
    length = np.sqrt(1.0 + gx * gx + gy * gy)
    light = np.zeros(z.shape, dtype=np.float32)
    flat = 0.0
    for azimuth, height, share in LIGHTS:
        a, h = math.radians(azimuth), math.radians(height)
        lx, ly, lz = math.sin(a) * math.cos(h), math.cos(a) * math.cos(h), math.sin(h)
        light += share * np.clip((lz - gx * lx - gy * ly) / length, 0.0, 1.0)
        flat += share * lz
    # Flat ground gets one fixed tone; what is brighter or darker spreads about it.
    tone = 0.87 + 0.44 * (light - flat)
    tone = np.clip(tone, DARKEST, LIGHTEST)
    for band, warmth in enumerate(WARM):
        rgba[..., band] = np.round(255 * tone * warmth)
    rgba[..., 3] = np.where(known, 255, 0)
    return rgba


def smooth(relief: Relief, *, passes: int = 3) -> NDArray[np.float32]:
    """Elevations for contours: grass and noise taken out by a small repeated average."""
    known = np.isfinite(relief.elevation_m)
    # Unknown cells weigh nothing, so that ground beside a hole keeps its height.
    weight: NDArray[Any] = known.astype(np.float32)
    total: NDArray[Any] = np.where(known, relief.elevation_m, np.float32(0.0))
    for _ in range(passes):
        weight, total = _averaged(weight), _averaged(total)
    out = np.full(total.shape, np.nan, dtype=np.float32)
    np.divide(total, weight, out=out, where=known)
    return out


def _averaged(values: NDArray[Any]) -> NDArray[Any]:
    """Average each cell with its neighbours, 1-2-1 along columns and then along rows."""
    padded = np.pad(values, 1, mode="edge")
    down = (padded[:-2] + 2 * padded[1:-1] + padded[2:]) / 4
    across: NDArray[Any] = (down[:, :-2] + 2 * down[:, 1:-1] + down[:, 2:]) / 4
    return across


def contour_interval(relief_height: float, *, wanted: int = 12) -> float:
    """Round interval (1, 2 or 5 times a power of ten) that gives about the wanted number of lines.

    Parameters
    ----------
    relief_height
        Highest less lowest elevation, in the unit of the contours.
    wanted
        Number of contours to come near to.
    """
    if relief_height <= 0:
        return 1.0
    raw = relief_height / wanted
    power = 10.0 ** math.floor(math.log10(raw))
    return min((1.0, 2.0, 5.0, 10.0), key=lambda m: abs(math.log(m * power / raw))) * power


def round_length(longest: float) -> float:
    """Longest round length (1, 2 or 5 times a power of ten) that is not above a limit."""
    power = 10.0 ** math.floor(math.log10(longest))
    return max(m for m in (1.0, 2.0, 5.0) if m * power <= longest * (1 + 1e-9)) * power
