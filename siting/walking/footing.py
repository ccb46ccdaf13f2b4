"""What one step over the ground costs: the slope, and what else is under foot."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.walking.speed import OFF_PATH, walking_speed_mps
from siting.walking.walk_land import WalkLand, WalkRules
from terrain.values.arrays import BoolArray, FloatArray


@dataclass(frozen=True, slots=True, eq=False)
class Footing:
    """What is under foot at some places; arrays of one shape.

    Parameters
    ----------
    height_m
        Height of the ground, m; NaN where unknown.
    bank_m
        Height of the steep bank there, m.
    incised, pond, road
        Down in an incised channel, in a pond, on a road.
    """

    height_m: FloatArray
    bank_m: NDArray[np.float32]
    incised: BoolArray
    pond: BoolArray
    road: BoolArray

    def part(self, some: slice) -> Footing:
        """Return the places of a slice."""
        return Footing(
            self.height_m[some],
            self.bank_m[some],
            self.incised[some],
            self.pond[some],
            self.road[some],
        )


def footing(land: WalkLand, row: NDArray[Any], col: NDArray[Any]) -> Footing:
    """Look up the ground at fractional rows and columns, which broadcast together in shape.

    Heights are interpolated between cell centres; all else is that of the nearest cell.
    """
    at = (
        np.clip(np.floor(row + 0.5).astype(np.int64), 0, land.grid.rows - 1),
        np.clip(np.floor(col + 0.5).astype(np.int64), 0, land.grid.cols - 1),
    )
    height = _height(land.elevation_m, row, col)
    return Footing(height, land.bank_m[at], land.incised[at], land.pond[at], land.road[at])


def step_time_s(start: Footing, end: Footing, step_m: float, rules: WalkRules) -> FloatArray:
    """Time of a step, s; NaN where it cannot be made.

    One value a step, of the shape of the footing.

    Parameters
    ----------
    start, end
        Before and after the step.
    step_m
        Its length over the ground plan, m.
    rules
        What slows or stops a walker. On a road only the slope does.
    """
    slope = (end.height_m - start.height_m) / step_m
    time = step_m / walking_speed_mps(slope)
    time = np.where(np.abs(slope) > rules.no_way_slope, np.nan, time)
    time = np.where(start.pond | end.pond, time * rules.wading, time)
    extra = 0.5 * rules.bank_s_per_m * (start.bank_m + end.bank_m)
    extra += 0.5 * rules.crossing_s * (start.incised != end.incised)
    out: FloatArray = np.where(start.road & end.road, time * OFF_PATH, time + extra)
    return out


def _height(z: NDArray[np.float32], row: NDArray[Any], col: NDArray[Any]) -> FloatArray:
    """Heights between cell centres; unknown where one of the cells it takes is."""
    r0, c0 = np.floor(row).astype(np.int64), np.floor(col).astype(np.int64)
    r0, c0 = np.clip(r0, 0, z.shape[0] - 1), np.clip(c0, 0, z.shape[1] - 1)
    r1, c1 = np.minimum(r0 + 1, z.shape[0] - 1), np.minimum(c0 + 1, z.shape[1] - 1)
    dr, dc = np.clip(row - r0, 0.0, 1.0), np.clip(col - c0, 0.0, 1.0)
    out: FloatArray = z[r0, c0].astype(np.float64)
    # Where a move runs along rows or columns of cells, nothing is interpolated across them.
    if dr.any():
        out = np.where(dr > 0, out + dr * (z[r1, c0] - out), out)
    if dc.any():
        beside = z[r0, c1].astype(np.float64)
        if dr.any():
            beside = np.where(dr > 0, beside + dr * (z[r1, c1] - beside), beside)
        out = np.where(dc > 0, out + dc * (beside - out), out)
    return out
