"""Where the walking starts, when nobody says."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from siting.walking.walk_errors import WalkError
from terrain.values.raster import Raster


@dataclass(frozen=True, slots=True)
class Start:
    """A place to start from.

    Parameters
    ----------
    x_m, y_m
        Where it is, m.
    words
        What it is, as the end of "The walk starts at".
    """

    x_m: float
    y_m: float
    words: str


def choose_start(
    raster: Raster,
    sites_xy: NDArray[np.float64],
    *,
    roads: Sequence[Any] = (),
    ranch: Sequence[Any] = (),
) -> Start:
    """Choose where a person would leave the car.

    Parameters
    ----------
    raster
        Elevations, m.
    sites_xy
        Sites by rank, m, shape ``(n, 2)``.
    roads, ranch
        Shapely lines and polygons in the raster's coordinate system.

    Returns
    -------
    Start
        The point of a road nearest to the middle of the sites; without roads the lowest point of
        the ranch's edge; without a ranch the first site.

    Raises
    ------
    WalkError
        There are no sites.
    """
    if not len(sites_xy):
        raise WalkError("no sites to walk to", expected="one at least")
    middle = sites_xy.mean(axis=0)
    spots = _along(raster, roads, step_m=5.0)
    if len(spots):
        best = spots[int(np.hypot(*(spots - middle).T).argmin())]
        return _start(best, "the point of a road nearest to the middle of the sites")
    edges = [shapely.get_rings(shapely.get_parts(shape)) for shape in ranch]
    spots = _along(raster, [ring for rings in edges for ring in rings], step_m=5.0)
    if len(spots):
        row, col = raster.grid.rowcol(*spots.T)
        best = spots[int(raster.elevation_m[row, col].argmin())]
        return _start(best, "the lowest point of the ranch's edge (no road is known)")
    return _start(sites_xy[0], "the first site (no road and no ranch edge is known)")


def _start(xy: NDArray[np.float64], words: str) -> Start:
    return Start(float(xy[0]), float(xy[1]), words)


def _along(raster: Raster, lines: Sequence[Any], *, step_m: float) -> NDArray[np.float64]:
    """Points along lines, so far apart, where the ground is known."""
    if not len(lines):
        return np.empty((0, 2))
    dense = shapely.segmentize(np.array(lines, dtype=object), step_m)
    xy: NDArray[np.float64] = shapely.get_coordinates(dense)
    return xy[on_known_ground(raster, xy)]


def on_known_ground(raster: Raster, xy: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether points lie on cells whose height is known, shape ``(n,)``."""
    row, col = raster.grid.rowcol(xy[:, 0], xy[:, 1])
    known = raster.grid.contains(row, col)
    known[known] = raster.valid[row[known], col[known]]
    return known
