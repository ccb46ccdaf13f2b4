"""Channels: where enough land drains through a cell, cut into reaches between junctions."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray

from terrain._kernels.network import (
    count_above,
    list_above,
    strahler_orders,
    trace_reaches,
    trace_stems,
)
from terrain.flow.flow_field import FlowField
from terrain.values.errors import ParameterError
from terrain.values.grid import Grid
from terrain.values.parallel import band_edges, over_bands

HECTARE_M2 = 10_000.0


def default_channel_area_ha(cell_m: float) -> float:
    """Drainage area from which a channel is drawn when nothing is said, ha.

    0.3 ha where cells are small enough to see a gully's head (common practice, no published
    source: heads of small rangeland gullies drain a few tenths of a hectare and up); on coarser
    rasters at least 60 cells, below which a path means little.
    """
    return max(0.3, 60 * cell_m * cell_m / HECTARE_M2)


@dataclass(frozen=True, eq=False)
class ChannelNetwork:
    """Reaches between junctions, numbered from 0; reach 0 carries the most land.

    Arrays over the n reaches are ``(n,)``, those over cells ``(cells,)``.

    Parameters
    ----------
    grid
        Where the cells lie.
    threshold_cells
        Cells that must drain through a channel cell.
    cells
        Flat numbers of all channel cells, rising.
    reach_of_cell
        Reach of each of ``cells``; a junction belongs to the reach below it.
    line_cells, line_end
        Vertices of the reaches as flat cell numbers, downstream, one reach after the other with
        the junction below included; and the end of each reach in that list.
    downstream
        Reach below each reach, -1 where water leaves the raster.
    order
        Strahler order.
    cell_count
        Cells that drain to each reach's lower end; the last cell of its own, where it ends at a
        cell that others share.
    head_count
        Cells that drain to each reach's upper end.
    """

    grid: Grid
    threshold_cells: int
    cells: NDArray[np.int64]
    reach_of_cell: NDArray[np.int64]
    line_cells: NDArray[np.int64]
    line_end: NDArray[np.int64]
    downstream: NDArray[np.int64]
    order: NDArray[np.int32]
    cell_count: NDArray[np.int64]
    head_count: NDArray[np.int64]

    @property
    def size(self) -> int:
        """Number of reaches."""
        return int(self.line_end.size)

    @cached_property
    def line_start(self) -> NDArray[np.int64]:
        """Start of each reach in ``line_cells``."""
        return np.concatenate([[0], self.line_end])[:-1].astype(np.int64)

    @property
    def drainage_area_ha(self) -> NDArray[np.floating[Any]]:
        """Area that drains to each reach's lower end, ha."""
        return self.cell_count * (self.grid.cell_area_m2 / HECTARE_M2)

    @cached_property
    def vertices_xy(self) -> NDArray[np.float64]:
        """Cell centres of all vertices, shape ``(n, 2)``, m."""
        x, y = self.grid.xy_of(self.line_cells)
        return np.column_stack([x, y])

    @cached_property
    def vertex_station_m(self) -> NDArray[np.float64]:
        """Metres up its reach from the lower end, for every vertex."""
        step = np.hypot(*np.diff(self.vertices_xy, axis=0).T) if self.size else np.empty(0)
        walked = np.concatenate([[0.0], np.cumsum(step)])[: self.line_cells.size]
        last = walked[self.line_end - 1]
        return np.asarray(np.repeat(last, self.line_end - self.line_start) - walked)

    @property
    def length_m(self) -> NDArray[np.float64]:
        """Length of each reach, m."""
        return np.asarray(self.vertex_station_m[self.line_start])

    def lines(self) -> NDArray[Any]:
        """One shapely line a reach, digitised downstream through cell centres."""
        owner = np.repeat(np.arange(self.size), self.line_end - self.line_start)
        lines: NDArray[Any] = shapely.linestrings(self.vertices_xy, indices=owner)
        return lines

    def reach_at(self, cells: NDArray[Any]) -> NDArray[np.int64]:
        """Reach of channel cells given by flat number; -1 where a cell is no channel."""
        at = np.minimum(np.searchsorted(self.cells, cells), max(self.cells.size - 1, 0))
        if not self.cells.size:
            return np.full(np.shape(cells), -1)
        return np.where(self.cells[at] == cells, self.reach_of_cell[at], -1)


def channel_network(
    flow: FlowField, counts: NDArray[Any], *, channel_area_ha: float
) -> ChannelNetwork:
    """Draw channels wherever enough land drains through.

    Parameters
    ----------
    flow
        Flow directions.
    counts
        Integer drainage counts of the same grid (``flow.accumulate()``), ``(rows, cols)``.
    channel_area_ha
        Least drainage area of a channel, ha.

    Returns
    -------
    ChannelNetwork
        May be empty.

    Raises
    ------
    ParameterError
        When the area is not above zero.
    """
    cells, down = channel_cells(flow, counts, channel_area_ha=channel_area_ha)
    donors = np.bincount(down[down >= 0], minlength=cells.size)
    # a junction where water leaves the raster ends its reaches and starts none
    is_start = ((donors == 0) | (donors > 1)) & (down >= 0)
    starts = np.flatnonzero(is_start)
    line = np.empty(2 * cells.size + starts.size, dtype=np.int64)
    line_end = np.empty(starts.size, dtype=np.int64)
    next_start = np.empty(starts.size, dtype=np.int64)
    reach_of = np.full(cells.size, -1, dtype=np.int64)
    n = trace_reaches(down, starts, is_start, line, line_end, reach_of, next_start)
    line = line[:n]
    line_start = np.concatenate([[0], line_end[:-1]]).astype(np.int64)
    flat_counts = counts.reshape(-1)
    head = flat_counts[cells[starts]].astype(np.int64)
    # where several reaches leave the raster through one cell, none of them has it to itself
    shared = (next_start >= 0) | (donors[line[line_end - 1]] > 1)
    last = line[line_end - np.where(shared, 2, 1)]
    tail = flat_counts[cells[last]].astype(np.int64)
    next_reach = np.where(next_start >= 0, reach_of[next_start], -1)
    order = np.empty(starts.size, dtype=np.int32)
    strahler_orders(next_reach, np.argsort(head, kind="stable"), order)

    rank = np.lexsort((starts, -tail))  # most land first, ties by place
    new_number = np.full(starts.size + 1, -1, dtype=np.int64)  # the last one stands for none
    new_number[rank] = np.arange(starts.size)
    sizes = (line_end - line_start)[rank]
    end = np.cumsum(sizes)
    entry = np.arange(n) + np.repeat(line_start[rank] - (end - sizes), sizes)
    return ChannelNetwork(
        grid=flow.grid,
        threshold_cells=threshold_cells(flow.grid, channel_area_ha),
        cells=cells,
        reach_of_cell=new_number[reach_of],
        line_cells=cells[line[entry]],
        line_end=end,
        downstream=new_number[next_reach[rank]],
        order=order[rank],
        cell_count=tail[rank],
        head_count=head[rank],
    )


def threshold_cells(grid: Grid, area_ha: float) -> int:
    """Number of cells that make up an area, at least 1.

    Raises
    ------
    ParameterError
        An area that is not above 0.
    """
    if not 0 < area_ha < np.inf:
        raise ParameterError(f"a channel area of {area_ha} ha", expected="more than 0")
    return max(1, int(np.ceil(area_ha * HECTARE_M2 / grid.cell_area_m2 - 1e-9)))


def channel_cells(
    flow: FlowField, counts: NDArray[Any], *, channel_area_ha: float
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """List channel cells, rising, and the position of each one's downstream cell (-1: none).

    Both of shape ``(cells,)``.
    """
    threshold = threshold_cells(flow.grid, channel_area_ha)
    rows = flow.grid.rows
    sizes = over_bands(lambda a, b: int(count_above(counts, threshold, a, b)), rows)
    cells = np.empty(sum(sizes), dtype=np.int64)
    ends = np.cumsum(sizes)
    first = {
        start: end - n for (start, _), end, n in zip(band_edges(rows), ends, sizes, strict=True)
    }
    over_bands(lambda a, b: list_above(counts, threshold, a, b, cells[first[a] :]), rows)
    below = flow.downstream(cells)
    down = np.where(below >= 0, np.searchsorted(cells, below), -1)
    return cells, down


@dataclass(frozen=True, slots=True, eq=False)
class Stems:
    """Ways up the channels, each from its lower end to above its head.

    Parameters
    ----------
    cells
        Flat cell numbers, one stem after the other, each from the lower end up, ``(cells,)``.
    end
        End of each of the n stems in ``cells``, ``(n,)``.
    joins
        Shape ``(n,)``: cell of the larger stem that each one joins, -1 where it leaves the raster.
    """

    cells: NDArray[np.int64]
    end: NDArray[np.int64]
    joins: NDArray[np.int64]

    @property
    def size(self) -> int:
        """Number of stems."""
        return int(self.end.size)

    def of(self, stem: int) -> NDArray[np.int64]:
        """Cells of one stem from its lower end up."""
        start = int(self.end[stem - 1]) if stem else 0
        return self.cells[start : self.end[stem]]


def stems(
    flow: FlowField, counts: NDArray[Any], *, channel_area_ha: float, top_area_ha: float
) -> Stems:
    """Walk every channel from its outlet up, at junctions along the larger donor.

    Parameters
    ----------
    flow, counts
        Flow directions and integer drainage counts of one grid, ``(rows, cols)``.
    channel_area_ha
        Least drainage area of a channel, ha: each has one stem.
    top_area_ha
        Least drainage area to which stems are walked up, ha; may be less than the former.
    """
    cells, down = channel_cells(flow, counts, channel_area_ha=channel_area_ha)
    top = threshold_cells(flow.grid, min(top_area_ha, channel_area_ha))
    room = np.empty(max(1024, 3 * cells.size), dtype=np.int64)
    ends = np.empty(max(16, cells.size), dtype=np.int64)
    joins = np.empty_like(ends)
    n_stems, n = trace_stems(flow.codes, counts, cells, down, top, room, ends, joins)
    if n > room.size:
        room = np.empty(n, dtype=np.int64)
        n_stems, n = trace_stems(flow.codes, counts, cells, down, top, room, ends, joins)
    return Stems(room[:n].copy(), ends[:n_stems].copy(), joins[:n_stems].copy())
