"""Long profiles along ways of cells, at even steps."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain._kernels.profiles import (
    BED,
    CARVED,
    EAST,
    PLACE,
    SOUTH,
    directions_of,
    even_profile,
)
from terrain.values.arrays import read_only
from terrain.values.errors import ParameterError
from terrain.values.raster import Raster

#: A way of cells is smoothed over five of them before it is measured: the stair steps of a D8 way
#: make it up to 8 % too long.
SMOOTHING_CELLS = 2


@dataclass(frozen=True, slots=True, eq=False)
class Profile:
    """A long profile from its lower end up.

    Parameters
    ----------
    station_m
        Distance from the lower end along the smoothed way, even steps, shape ``(n,)``.
    x_m, y_m
        Places, m.
    bed_m
        Ground as measured, m.
    carved_m
        Conditioned ground (equal to ``bed_m`` when none was given), m.
    cell
        Flat number of the way's nearest cell.
    """

    station_m: NDArray[np.float64]
    x_m: NDArray[np.float64]
    y_m: NDArray[np.float64]
    bed_m: NDArray[np.float64]
    carved_m: NDArray[np.float64]
    cell: NDArray[np.int64]


def profile_step_m(raster: Raster) -> float:
    """Distance between the steps of a profile: the size of a cell, m."""
    return raster.grid.cell_m


def profile_table(
    raster: Raster, cells: NDArray[np.int64], carved: NDArray[np.float32] | None = None
) -> NDArray[np.float64]:
    """Even profile of a way of cells as the kernels use it.

    Returns
    -------
    numpy.ndarray
        Shape ``(n, 5)``: metres east and south of the first cell's centre, bed, carved bed,
        fractional position in ``cells``.
    """
    grid = raster.grid
    row, col = np.divmod(cells, grid.cols)
    bed = raster.elevation_m.reshape(-1)[cells].astype(np.float64)
    low = bed if carved is None else carved.reshape(-1)[cells].astype(np.float64)
    table: NDArray[np.float64] = even_profile(
        col * grid.cell_width_m,
        row * grid.cell_height_m,
        bed,
        low,
        SMOOTHING_CELLS,
        profile_step_m(raster),
    )
    return table


def downhill_azimuth_deg(table: NDArray[np.float64]) -> NDArray[Any]:
    """Direction of the flow at each step of a profile table, ``(n, 5)``: degrees from north."""
    up = directions_of(table[:, EAST], table[:, SOUTH], 4)
    return np.asarray(np.degrees(np.arctan2(-up[:, 0], up[:, 1])) % 360.0)


def place_of(raster: Raster, u: ArrayLike, v: ArrayLike) -> tuple[NDArray[Any], NDArray[Any]]:
    """Coordinates of places given in metres east and south of the first cell's centre.

    Two arrays of the shape of ``u``, m.
    """
    t = raster.grid.transform
    x = t.c + 0.5 * t.a + np.asarray(u, dtype=np.float64)
    y = t.f + 0.5 * t.e - np.asarray(v, dtype=np.float64)
    return x, y


def long_profile(raster: Raster, cells: ArrayLike, *, conditioned: Raster | None = None) -> Profile:
    """Profile of a way of cells, from its lower end up.

    Parameters
    ----------
    raster
        Ground as measured.
    cells
        Flat numbers of neighbouring cells, lower end first, shape ``(n,)``.
    conditioned
        Conditioned ground on the same grid, to be read beside it.

    Raises
    ------
    ParameterError
        When there are fewer than two cells, or they are not neighbours.
    """
    way = np.asarray(cells, dtype=np.int64)
    if way.ndim != 1 or way.size < 2:
        raise ParameterError(f"a way of {way.size} cells", expected="at least two")
    row, col = np.divmod(way, raster.grid.cols)
    if (np.maximum(abs(np.diff(row)), abs(np.diff(col))) != 1).any():
        raise ParameterError("a way whose cells do not touch", expected="neighbouring cells")
    carved = None
    if conditioned is not None:
        raster.grid.require_same(conditioned.grid, "measured and conditioned ground")
        carved = conditioned.elevation_m
    table = profile_table(raster, way, carved)
    x, y = place_of(raster, table[:, EAST], table[:, SOUTH])
    nearest = way[np.minimum(np.rint(table[:, PLACE]).astype(np.int64), way.size - 1)]
    station = np.arange(len(table)) * profile_step_m(raster)
    arrays = (station, x, y, table[:, BED], table[:, CARVED], nearest)
    return Profile(*(read_only(np.ascontiguousarray(a)) for a in arrays))
