"""Roads as the ground shows them: even stations, smoothed heights, grades, and the ground beside.

Heights come from the ground as measured. Over `GRADE_M` a straight line is laid through them at
each station: its height and slope are those of the road, which takes noise, ruts and cattle
terraces out of the grade. Noise of 0.05 m leaves an error of about 0.0014 in the grade.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass
from typing import Any, Final

import numpy as np
import shapely
from numpy.typing import NDArray

from siting.layout.keep_clear import KeepClear
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.heights import heights_at
from terrain.values.raster import Raster

#: Length over which a grade is taken, m; at least five stations.
GRADE_M: Final = 25.0
#: A rise or fall along a road that counts as one: less is noise, m.
TURN_M: Final = 0.3
#: Shorter pieces of road say nothing, m.
LEAST_LENGTH_M: Final = 30.0
#: Ground beside the road that is higher than the road by this blocks the water, m.
BLOCKED_M: Final = 0.1


@dataclass(frozen=True, slots=True, eq=False)
class RoadPiece:
    """A road, or a part of one without gaps, at even stations.

    Parameters
    ----------
    name
        What the file calls it.
    station_m
        Metres along the line as drawn, shape ``(n,)``.
    x_m, y_m
        Places, m.
    height_m
        Smoothed height of the road, m.
    grade
        Slope along the line, m per m; positive where the road rises with its stations.
    east, north
        Direction of the line, a unit vector.
    """

    name: str
    station_m: FloatArray
    x_m: FloatArray
    y_m: FloatArray
    height_m: FloatArray
    grade: FloatArray
    east: FloatArray
    north: FloatArray

    @property
    def step_m(self) -> float:
        """Distance between stations, m."""
        return float(self.station_m[1] - self.station_m[0])


@dataclass(frozen=True, slots=True)
class Grade:
    """A stretch of road that falls from its top to its bottom: indices of stations."""

    top: int
    bottom: int

    @property
    def stations(self) -> IntArray:
        """Indices from the top down."""
        step = 1 if self.bottom > self.top else -1
        return np.arange(self.top, self.bottom + step, step)


def road_pieces(keep: KeepClear, raster: Raster) -> list[RoadPiece]:
    """Read the ground along all roads on which dips may be laid, from the raster's part of each.

    Lines that meet end to end are joined first. What lies beyond the raster's edge or on a hole is
    cut off, and so are pieces under 30 m.
    """
    roads = keep.shapes[keep.for_dips]
    if not roads.size:
        return []
    merged = shapely.get_parts(shapely.line_merge(shapely.union_all(roads)))
    clipped = shapely.intersection(merged, shapely.box(*raster.grid.bounds))
    lines = shapely.get_parts(shapely.get_parts(clipped))
    lines = lines[shapely.length(lines) >= LEAST_LENGTH_M]
    middles = shapely.line_interpolate_point(lines, 0.5, normalized=True)
    owner = np.zeros(lines.size, dtype=np.int64)
    if lines.size:
        owner = shapely.STRtree(roads).query_nearest(middles, all_matches=False)[1]
    names = keep.name[keep.for_dips][owner]
    return [
        piece
        for line, name in zip(lines, names, strict=True)
        for piece in _pieces_of(line, str(name), raster)
    ]


def _pieces_of(line: Any, name: str, raster: Raster) -> list[RoadPiece]:
    """Stations of a line, one piece for each run without a gap."""
    step = max(1.0, raster.grid.cell_m)
    station = np.arange(0.0, line.length + 1e-9, step)
    xy = shapely.get_coordinates(shapely.line_interpolate_point(line, station))
    z = heights_at(raster, xy[:, 0], xy[:, 1])
    known = np.isfinite(z)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], known, [False]]).astype(np.int8)))
    pieces = []
    for a, b in edges.reshape(-1, 2):
        if (b - a - 1) * step < LEAST_LENGTH_M:
            continue
        half = max(2, round(GRADE_M / step / 2))
        height, grade = straightened(z[a:b], step_m=step, half=half)
        # over a few metres, so that corners of the line do not turn the sides
        east = straightened(xy[a:b, 0], step_m=step, half=max(2, round(5.0 / step)))[1]
        north = straightened(xy[a:b, 1], step_m=step, half=max(2, round(5.0 / step)))[1]
        size = np.maximum(np.hypot(east, north), 1e-12)
        pieces.append(
            RoadPiece(
                name,
                station[a:b],
                xy[a:b, 0],
                xy[a:b, 1],
                height,
                grade,
                east / size,
                north / size,
            )
        )
    return pieces


def straightened(values: FloatArray, *, step_m: float, half: int) -> tuple[FloatArray, FloatArray]:
    """Value and slope of the straight line through each station's neighbours (least squares).

    ``half`` neighbours count on either side; at the ends there are fewer, on one side only.
    """
    n = values.size
    at = np.arange(n)
    first, last = np.maximum(at - half, 0), np.minimum(at + half + 1, n)
    count = (last - first).astype(np.float64)
    base = values[0]
    sums = np.concatenate([[0.0], np.cumsum(values - base)])
    moments = np.concatenate([[0.0], np.cumsum((values - base) * at)])
    total, moment = sums[last] - sums[first], moments[last] - moments[first]
    middle = (first + last - 1) / 2.0
    spread = count * (count**2 - 1) / 12.0
    slope = (moment - middle * total) / np.maximum(spread, 1e-12)
    return base + total / count + slope * (at - middle), slope / step_m


def grades_of(piece: RoadPiece) -> list[Grade]:
    """Cut a road at its tops and sags into stretches that fall one way.

    A rise or fall under `TURN_M` does not count; level roads have none.
    """
    z = piece.height_m
    turns = [0]
    low = high = 0
    rising = 0
    for i in range(1, z.size):
        low = i if z[i] < z[low] else low
        high = i if z[i] > z[high] else high
        if rising <= 0 and z[i] - z[low] >= TURN_M:
            turns.append(low)
            rising, high = 1, i
        elif rising >= 0 and z[high] - z[i] >= TURN_M:
            turns.append(high)
            rising, low = -1, i
    if rising:
        turns.append(high if rising > 0 else low)
    pairs = itertools.pairwise(turns)
    return [Grade(a, b) if z[a] > z[b] else Grade(b, a) for a, b in pairs if a != b]


@dataclass(frozen=True, slots=True, eq=False)
class Beside:
    """Ground on one side of a road, at each of its stations.

    Parameters
    ----------
    slope
        Fall of the ground away from the road, m per m; NaN where it is not known.
    is_open
        Whether nothing there stands higher than the road.
    x_m, y_m
        Where the outlet ends, m.
    """

    slope: FloatArray
    is_open: NDArray[np.bool_]
    x_m: FloatArray
    y_m: FloatArray


def ground_beside(
    piece: RoadPiece, raster: Raster, *, side: int, width_m: float, length_m: float
) -> Beside:
    """Read the ground beside a road.

    Parameters
    ----------
    piece
        The road.
    raster
        Ground as measured.
    side
        1 for the left looking along the line as drawn, -1 for the right.
    width_m
        Width of the road; reading starts 1 m beyond its edge.
    length_m
        Length of the outlet.
    """
    step = max(1.0, raster.grid.cell_m)
    off = width_m / 2 + 1.0 + np.arange(max(3, round(length_m / step) + 1)) * step
    x = piece.x_m[:, None] - side * piece.north[:, None] * off
    y = piece.y_m[:, None] + side * piece.east[:, None] * off
    z = heights_at(raster, x, y)
    middle = off - off.mean()
    slope = -(z * middle).sum(axis=1) / (middle**2).sum()
    with np.errstate(invalid="ignore"):
        is_open = (z <= piece.height_m[:, None] + BLOCKED_M).all(axis=1)
    return Beside(slope, np.asarray(is_open), x[:, -1], y[:, -1])
