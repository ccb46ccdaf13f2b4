"""Drainage areas of points: outlines, completeness, gradients, longest ways, snapping."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

from terrain._kernels.network import longest_way_down
from terrain._kernels.upslope import (
    catchment_numbers,
    catchment_outline,
    gradient_rows,
    inflow_at_edge,
    way_segments,
)
from terrain.flow.flow_field import FlowField, cell_index_dtype
from terrain.values.arrays import read_only
from terrain.values.errors import ParameterError
from terrain.values.parallel import over_bands
from terrain.values.raster import Raster

#: Longest stretch of sheet flow, m (NRCS practice: 100 ft; the 1986 text of TR-55 allowed 300 ft).
SHEET_FLOW_M = 30.0


@dataclass(frozen=True, eq=False)
class Catchments:
    """Catchments of all cells at once: each is one run of numbers.

    Parameters
    ----------
    flow
        Flow directions.
    counts
        Integer drainage counts of the same grid, shape ``(rows, cols)``.
    number
        Number of each cell, shape ``(rows, cols)``; those of the catchment of cell ``c`` run from
        ``number[c]`` to ``number[c] + counts[c]``.
    """

    flow: FlowField
    counts: NDArray[Any]
    number: NDArray[Any]

    @classmethod
    def of(cls, flow: FlowField, counts: NDArray[Any]) -> Catchments:
        """Number the cells of a flow field (needs 12 bytes a cell while it works)."""
        dtype = cell_index_dtype(flow.grid.size)
        number = np.full(flow.grid.shape, -1, dtype=dtype)
        cursor = np.empty(flow.grid.shape, dtype=dtype)
        catchment_numbers(flow.codes, counts, flow.order(), number, cursor)
        return cls(flow, counts, read_only(number))

    def mask(self, cell: int) -> NDArray[np.bool_]:
        """Cells that drain to a cell, itself included; shape ``(rows, cols)``."""
        first = self.number.flat[cell]
        last = first + self.counts.flat[cell]
        inside: NDArray[np.bool_] = (self.number >= first) & (self.number < last)
        return inside

    def contains(self, cell: ArrayLike, other: ArrayLike) -> NDArray[np.bool_]:
        """Whether ``other`` drains to ``cell``; flat cell numbers, broadcast."""
        number, counts = self.number.reshape(-1), self.counts.reshape(-1)
        first = number[np.asarray(cell)].astype(np.int64)
        at = number[np.asarray(other)]
        inside: NDArray[np.bool_] = (at >= first) & (at < first + counts[np.asarray(cell)])
        return inside

    def polygon(self, cell: int) -> Any:
        """Outline of the land that drains to a cell; its area is that of the cells, exactly.

        Follows the cells' sides, so the work grows with the outline, not with the area. Cells
        joined over a corner only make separate parts of a multipolygon.
        """
        grid = self.flow.grid
        row, col = divmod(int(cell), grid.cols)
        first = int(self.number[row, col])
        count = int(self.counts[row, col])
        corners = catchment_outline(self.number, first, first + count, row, col)
        t = grid.transform
        ring = np.column_stack([t.c + corners[:, 1] * t.a, t.f + corners[:, 0] * t.e])
        polygon = shapely.Polygon(ring)
        if not polygon.is_valid:
            polygon = shapely.make_valid(polygon)
        if abs(polygon.area - count * grid.cell_area_m2) > 1e-3 * grid.cell_area_m2:
            polygon = self._polygon_of_runs(first, count)  # encloses cells of another catchment
        return polygon

    def _polygon_of_runs(self, first: int, count: int) -> Any:
        """Outline as the union of runs of cells: slower, right with holes."""
        grid, t = self.flow.grid, self.flow.grid.transform
        inside = (self.number >= first) & (self.number < first + count)
        edges = np.diff(np.pad(inside, ((0, 0), (1, 1))).astype(np.int8), axis=1)
        row, start = np.nonzero(edges == 1)
        _, stop = np.nonzero(edges == -1)
        top = t.f + row * t.e
        boxes = shapely.box(t.c + start * t.a, top - grid.cell_height_m, t.c + stop * t.a, top)
        return shapely.union_all(boxes)


def incomplete_counts(flow: FlowField) -> NDArray[Any]:
    """Count, for each cell, the edge cells above it through which more land may drain in.

    Where this is above 0 the drainage area is cut by the raster's edge or a hole and is a least
    value. Shape ``(rows, cols)``.
    """
    edge = np.empty(flow.grid.shape, dtype=np.bool_)
    over_bands(lambda a, b: inflow_at_edge(flow.codes, a, b, edge), flow.grid.rows)
    return flow.accumulate(edge)


def gradient(raster: Raster) -> NDArray[np.float32]:
    """Steepness of the ground in m per m, shape ``(rows, cols)``, 0 in voids."""
    out = np.empty(raster.grid.shape, dtype=np.float32)
    z = raster.elevation_m
    width, height = raster.grid.cell_width_m, raster.grid.cell_height_m
    over_bands(lambda a, b: gradient_rows(z, width, height, a, b, out), raster.grid.rows)
    return out


def longest_way_m(flow: FlowField) -> NDArray[np.float32]:
    """Length of the longest flow path to each cell from its divide, m; ``(rows, cols)``."""
    length = np.zeros(flow.grid.shape, dtype=np.float32)
    longest_way_down(flow.codes, flow.donors(), flow.step_m, length)
    return read_only(length)


@dataclass(frozen=True, slots=True, eq=False)
class WaySegments:
    """Longest flow paths of points, cut into sheet, shallow and channel flow.

    Each array has one entry a point, shape ``(n,)``; lengths and falls in m. The three lengths
    add up to the whole way from the divide.
    """

    sheet_length_m: NDArray[np.float64]
    sheet_fall_m: NDArray[np.float64]
    shallow_length_m: NDArray[np.float64]
    shallow_fall_m: NDArray[np.float64]
    channel_length_m: NDArray[np.float64]
    channel_fall_m: NDArray[np.float64]

    @property
    def flow_path_m(self) -> NDArray[np.float64]:
        """Length of the whole way, m."""
        return self.sheet_length_m + self.shallow_length_m + self.channel_length_m


def flow_path_segments(
    flow: FlowField,
    counts: NDArray[Any],
    raster: Raster,
    cells: ArrayLike,
    *,
    channel_count: int,
    length_m: NDArray[np.float32] | None = None,
) -> WaySegments:
    """Cut each point's longest flow path into sheet, shallow and channel flow.

    Parameters
    ----------
    flow, counts, raster
        Flow directions, integer drainage counts and the surface whose falls are taken.
    cells
        Flat cell numbers of the points, shape ``(n,)``.
    channel_count
        Drainage count from which a cell carries channel flow.
    length_m
        `longest_way_m` of the same flow, shape ``(rows, cols)``, when it is known already.
    """
    length = longest_way_m(flow) if length_m is None else length_m
    cells = np.array(cells, dtype=np.int64)  # of one layout, so that the kernel is compiled once
    out = np.empty((cells.size, 6), dtype=np.float64)
    z = raster.elevation_m
    way_segments(
        flow.codes, counts, length, z, flow.step_m, cells, SHEET_FLOW_M, channel_count, out
    )
    return WaySegments(*(read_only(out[:, k].copy()) for k in range(6)))


@dataclass(frozen=True, slots=True, eq=False)
class Snapped:
    """Points moved onto the strongest flow path nearby; arrays of shape ``(n,)``.

    Parameters
    ----------
    cell
        Flat cell number of each snapped point.
    moved_m
        How far each was moved, m.
    area_before_ha, area_after_ha
        Drainage area at the place given and at the place taken, ha.
    """

    cell: NDArray[np.int64]
    moved_m: NDArray[np.float64]
    area_before_ha: NDArray[np.float64]
    area_after_ha: NDArray[np.float64]


def snap_points(
    flow: FlowField, counts: NDArray[Any], x: ArrayLike, y: ArrayLike, *, radius_m: float
) -> Snapped:
    """Move points to the cell within a radius that most land drains through.

    Parameters
    ----------
    flow, counts
        Flow directions and integer drainage counts of one grid, shape ``(rows, cols)``.
    x, y
        Points in the raster's coordinate system, shape ``(n,)``.
    radius_m
        How far a point may be moved, m.

    Raises
    ------
    ParameterError
        When a point lies outside the raster or on a void, or the radius is negative.
    """
    if not radius_m >= 0:
        raise ParameterError(f"a snapping radius of {radius_m} m", expected="0 or more")
    grid = flow.grid
    px, py = np.atleast_1d(np.asarray(x, float)), np.atleast_1d(np.asarray(y, float))
    rows, cols = grid.rowcol(px, py)
    bad = ~grid.contains(rows, cols)
    bad[~bad] = counts[rows[~bad], cols[~bad]] == 0
    if bad.any():
        i = int(np.flatnonzero(bad)[0])
        raise ParameterError(
            f"point {i + 1} at ({px[i]:.1f}, {py[i]:.1f}) has no elevation under it",
            expected="points inside the elevation raster",
        )
    dr, dc = int(radius_m // grid.cell_height_m), int(radius_m // grid.cell_width_m)
    best = np.empty(px.size, dtype=np.int64)
    for i, (r, c) in enumerate(zip(rows, cols, strict=True)):
        r0, r1 = max(0, r - dr), min(grid.rows, r + dr + 1)
        c0, c1 = max(0, c - dc), min(grid.cols, c + dc + 1)
        xs, ys = grid.xy(np.arange(r0, r1)[:, None], np.arange(c0, c1)[None, :])
        near = np.hypot(xs - px[i], ys - py[i])
        window = np.where(near <= max(radius_m, near.min()), counts[r0:r1, c0:c1], -1)
        at = np.flatnonzero(window == window.max())
        pick = at[np.argmin(near.reshape(-1)[at])]
        best[i] = (r0 + pick // (c1 - c0)) * grid.cols + c0 + pick % (c1 - c0)
    sx, sy = grid.xy_of(best)
    to_ha = grid.cell_area_m2 / 10_000.0
    return Snapped(
        best,
        np.hypot(sx - px, sy - py),
        counts[rows, cols] * to_ha,
        counts.reshape(-1)[best] * to_ha,
    )
