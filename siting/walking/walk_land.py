"""The ground as a walker meets it: cells of a stride, steep banks, incised channels, hollows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from scipy import ndimage

from terrain.flow.conditioning import CarveLimits, condition
from terrain.values.arrays import BoolArray, read_only
from terrain.values.errors import ParameterError
from terrain.values.grid import Grid
from terrain.values.raster import Raster


@dataclass(frozen=True, slots=True)
class WalkRules:
    """What slows or stops a walker, besides the slope.

    All are common practice or a round figure of our own, no published source.

    Parameters
    ----------
    stride_m
        Ground is averaged to cells of at least this size, so that the roughness of single cells is
        not climbed.
    dear_slope
        A bank steeper than this, cell to cell on the raster, is climbed on hands and feet.
    bank_s_per_m
        What each metre of such a bank costs besides, s.
    no_way_slope
        Nobody walks up or down what is steeper than this over a stride.
    incised_m
        A channel cut deeper than this costs extra to cross.
    incised_within_m
        Its banks stand within so many metres.
    crossing_s
        What crossing it costs, s: half on the way in, half on the way out.
    hollow_m, hollow_m2
        A hollow without a way out counts as a pond from this depth and size.
    level_m2
        So does a surface that is level to the last digit, from this size.
    wading
        How many times as long a way through a pond takes.
    most_nodes
        The net of ways has at most about so many places.

    Raises
    ------
    ParameterError
        A value that is not above 0.
    """

    stride_m: float = 2.0
    dear_slope: float = 0.6
    bank_s_per_m: float = 30.0
    no_way_slope: float = 1.5
    incised_m: float = 1.0
    incised_within_m: float = 14.0
    crossing_s: float = 60.0
    hollow_m: float = 0.3
    hollow_m2: float = 50.0
    level_m2: float = 200.0
    wading: float = 30.0
    most_nodes: int = 250_000

    def __post_init__(self) -> None:
        for name in self.__slots__:
            value = getattr(self, name)
            if not value > 0:
                raise ParameterError(f"a walking rule {name} of {value}", expected="above 0")


@dataclass(frozen=True, slots=True, eq=False)
class WalkLand:
    """Ground in cells of about a stride; all arrays have the grid's shape.

    Parameters
    ----------
    grid
        The cells.
    elevation_m
        Mean height, m; NaN where nothing is known.
    bank_m
        Height of the steep bank in a cell, m; 0 where there is none.
    incised
        Down in a channel that is cut deeper than the limit.
    pond
        Ponds and hollows without a way out.
    road
        On a road or track.

    Raises
    ------
    ParameterError
        An array of another shape than the grid's.
    """

    grid: Grid
    elevation_m: NDArray[np.float32]
    bank_m: NDArray[np.float32]
    incised: BoolArray
    pond: BoolArray
    road: BoolArray

    def __post_init__(self) -> None:
        for array in (self.elevation_m, self.bank_m, self.incised, self.pond, self.road):
            if array.shape != self.grid.shape:
                raise ParameterError(
                    f"walking ground of shape {array.shape}", expected=f"{self.grid.shape}"
                )
            read_only(array)


def walk_land(
    raster: Raster, rules: WalkRules | None = None, *, roads: Sequence[Any] = ()
) -> WalkLand:
    """Describe the ground to a walker.

    Parameters
    ----------
    raster
        Elevations, m.
    rules
        What slows or stops a walker.
    roads
        Shapely lines in the raster's coordinate system.

    Raises
    ------
    ParameterError
        Ground without a known cell.
    """
    rules = rules or WalkRules()
    cell = min(raster.grid.cell_width_m, raster.grid.cell_height_m)
    step = max(1, int(np.ceil(rules.stride_m / cell - 1e-6)))
    z = np.where(raster.valid, raster.elevation_m, np.float32(np.nan))
    grid = _coarser(raster.grid, step)
    mean = _mean_of_blocks(z, step)
    if not np.isfinite(mean).any():
        raise ParameterError("ground without a single known cell to walk on", expected="elevations")
    return WalkLand(
        grid,
        mean,
        _banks(z, step, raster.grid, rules.dear_slope),
        _incised(mean, grid, rules),
        _ponds(mean, grid, rules) | _level_water(z, step, grid, rules),
        _on_roads(roads, grid),
    )


def _coarser(grid: Grid, step: int) -> Grid:
    t = grid.transform
    rows, cols = -(-grid.rows // step), -(-grid.cols // step)
    return Grid(rows, cols, Affine(t.a * step, 0.0, t.c, 0.0, t.e * step, t.f), grid.crs)


def _blocks(z: NDArray[Any], step: int, beyond: Any) -> NDArray[Any]:
    """Cells of each block along the last axis, shape ``(rows, cols, step * step)``."""
    rows, cols = -(-z.shape[0] // step), -(-z.shape[1] // step)
    room = ((0, rows * step - z.shape[0]), (0, cols * step - z.shape[1]))
    wide = np.pad(z, room, constant_values=beyond)
    parts = wide.reshape(rows, step, cols, step).swapaxes(1, 2)
    return parts.reshape(rows, cols, step * step)


def _mean_of_blocks(z: NDArray[np.float32], step: int) -> NDArray[np.float32]:
    """Mean of the known cells of each block; unknown where less than half of it is known."""
    if step == 1:
        return z.copy()
    cells = _blocks(z, step, np.nan)
    known = np.isfinite(cells)
    count = known.sum(axis=2)
    total = np.where(known, cells, 0.0).sum(axis=2, dtype=np.float64)
    mean = np.full(count.shape, np.nan, dtype=np.float32)
    enough = 2 * count >= step * step
    mean[enough] = total[enough] / count[enough]
    return mean


def _banks(z: NDArray[np.float32], step: int, grid: Grid, dear: float) -> NDArray[np.float32]:
    """Height of what is steeper than the limit from one raster cell to the next."""
    across = np.abs(np.diff(z, axis=1, append=z[:, -1:]))
    down = np.abs(np.diff(z, axis=0, append=z[-1:]))
    rise = np.where(across > dear * grid.cell_width_m, across, np.float32(0.0))
    np.maximum(rise, np.where(down > dear * grid.cell_height_m, down, 0.0), out=rise)
    if step == 1:
        return rise
    # Along a line of cells through the block, the steep rises add up to the bank's height.
    steep = _blocks(rise, step, np.float32(0.0))
    lines = steep.reshape(*steep.shape[:2], step, step)
    total = np.maximum(lines.sum(axis=2).max(axis=2), lines.sum(axis=3).max(axis=2))
    out: NDArray[np.float32] = total.astype(np.float32)
    return out


def _incised(mean: NDArray[np.float32], grid: Grid, rules: WalkRules) -> BoolArray:
    """Cells that lie deep between banks: how far the ground would rise were narrow cuts closed."""
    size = [
        max(3, 2 * round(rules.incised_within_m / (2 * cell)) + 1)
        for cell in (grid.cell_height_m, grid.cell_width_m)
    ]
    known = np.isfinite(mean)
    filled = np.where(known, mean, np.nanmin(mean))
    deep: BoolArray = known & (
        ndimage.grey_closing(filled, size=size, mode="nearest") - filled > rules.incised_m
    )
    return deep


def _ponds(mean: NDArray[np.float32], grid: Grid, rules: WalkRules) -> BoolArray:
    """Hollows that no water leaves, deep and large enough to be ponds."""
    raster = Raster(grid, mean.copy(), np.isfinite(mean))
    full = condition(raster, limits=CarveLimits(depth_m=0.0, length_m=0.0)).raster.elevation_m
    with np.errstate(invalid="ignore"):
        deep = full - mean > rules.hollow_m
    return _large(deep, rules.hollow_m2 / grid.cell_area_m2)


def _level_water(z: NDArray[np.float32], step: int, grid: Grid, rules: WalkRules) -> BoolArray:
    """Water whose surface was laid level when the raster was made."""
    level: BoolArray = np.isfinite(z)
    for axis in (0, 1):
        same = np.diff(z, axis=axis) == 0
        ends = [[(0, 0), (0, 0)], [(0, 0), (0, 0)]]
        ends[0][axis], ends[1][axis] = (0, 1), (1, 0)
        np.logical_and(level, np.pad(same, ends[0]) & np.pad(same, ends[1]), out=level)
    whole = np.asarray(_blocks(level, step, False).all(axis=2), dtype=np.bool_)
    # On heights in coarse steps, or an invented plane, level says nothing of water.
    if float(np.mean(whole)) > 0.05:
        return np.zeros(grid.shape, dtype=np.bool_)
    return _large(whole, rules.level_m2 / grid.cell_area_m2)


def _large(some: BoolArray, cells: float) -> BoolArray:
    """Only patches of at least so many cells."""
    label, count = ndimage.label(some, structure=np.ones((3, 3), dtype=np.int8))
    if not count:
        return np.zeros(some.shape, dtype=np.bool_)
    size = np.bincount(label.ravel())
    keep = size >= cells
    keep[0] = False
    out: BoolArray = keep[label]
    return out


def _on_roads(roads: Sequence[Any], grid: Grid) -> BoolArray:
    """Cells that a road runs through."""
    out = np.zeros(grid.shape, dtype=np.bool_)
    spacing = 0.5 * min(grid.cell_width_m, grid.cell_height_m)
    for line in roads:
        xy = shapely.get_coordinates(shapely.segmentize(line, spacing))
        row, col = grid.rowcol(xy[:, 0], xy[:, 1])
        inside = grid.contains(row, col)
        out[row[inside], col[inside]] = True
    return out
