"""The land that matters: the ranch and everything that drains into it, and which of it is cut off.

Works on the numbering of catchments: what drains to a cell is one run of numbers, so the land that
drains into a ranch is a union of runs.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from terrain.channels.drainage_areas import Catchments
from terrain.channels.network import HECTARE_M2, ChannelNetwork
from terrain.flow.edges import inflow_cells
from terrain.values.arrays import read_only


@dataclass(frozen=True, slots=True, eq=False)
class CutAreas:
    """Which drainage areas the raster's edge or a hole cuts off.

    Parameters
    ----------
    catchments
        Numbering of the cells.
    cells
        Flat numbers of the edge cells through which more land may drain in, by their number;
        ``(n,)``.
    numbers
        Their numbers, rising, ``(n,)``.
    """

    catchments: Catchments
    cells: NDArray[np.int64]
    numbers: NDArray[np.int64]

    @classmethod
    def of(cls, catchments: Catchments, *, edge_is_divide: bool = False) -> CutAreas:
        """Find the edge cells of a flow field that drain inwards.

        Parameters
        ----------
        catchments
            Numbering of the cells.
        edge_is_divide
            Take the raster's edge for a divide: nothing is cut off.
        """
        if edge_is_divide:
            none = np.empty(0, dtype=np.int64)
            return cls(catchments, none, none)
        flow = catchments.flow
        cells = inflow_cells(flow)
        numbers = catchments.number.reshape(-1)[cells].astype(np.int64)
        order = np.argsort(numbers)
        return cls(catchments, read_only(cells[order]), read_only(numbers[order]))

    def is_cut(self, cells: ArrayLike) -> NDArray[np.bool_]:
        """Whether the drainage area of each cell is cut off, so that it is a least value."""
        first, last = _runs(self.catchments, cells)
        cut: NDArray[np.bool_] = np.searchsorted(self.numbers, last) > np.searchsorted(
            self.numbers, first
        )
        return cut


@dataclass(frozen=True, slots=True, eq=False)
class StudyArea:
    """A ranch and the land that drains into it.

    Parameters
    ----------
    catchments
        Numbering of the cells.
    first, last
        Runs of numbers, apart from each other and rising, ``(runs,)``.
    """

    catchments: Catchments
    first: NDArray[np.int64]
    last: NDArray[np.int64]

    @classmethod
    def of(cls, catchments: Catchments, ranch: NDArray[np.bool_]) -> StudyArea:
        """Take all cells whose water enters, or starts in, the ranch.

        Parameters
        ----------
        catchments
            Numbering of the cells.
        ranch
            Cells inside the ranch, shape ``(rows, cols)``.
        """
        flow = catchments.flow
        cells = np.flatnonzero(ranch & (catchments.number >= 0))
        below = flow.downstream(cells)
        stays = (below >= 0) & ranch.reshape(-1)[np.maximum(below, 0)]
        first, last = _runs(catchments, cells[~stays])
        return cls(catchments, *_merged(first, last))

    @property
    def area_ha(self) -> float:
        """Size of the ranch and the land that drains into it, ha."""
        cells = int((self.last - self.first).sum())
        return cells * self.catchments.flow.grid.cell_area_m2 / HECTARE_M2

    def contains(self, cells: ArrayLike) -> NDArray[np.bool_]:
        """Whether the water of cells passes through the ranch."""
        number = self.catchments.number.reshape(-1)[np.asarray(cells)].astype(np.int64)
        if not self.first.size:
            return np.zeros(number.shape, dtype=np.bool_)
        run = np.searchsorted(self.first, number, side="right") - 1
        inside: NDArray[np.bool_] = (run >= 0) & (number < self.last[np.maximum(run, 0)])
        return inside

    def bounds(self) -> tuple[float, float, float, float] | None:
        """West, south, east and north of the area, m; None when it is empty."""
        grid = self.catchments.flow.grid
        rows = np.zeros(grid.rows, dtype=np.bool_)
        cols = np.zeros(grid.cols, dtype=np.bool_)
        for r in range(grid.rows):
            inside = self.contains(np.arange(r * grid.cols, (r + 1) * grid.cols))
            rows[r] = inside.any()
            cols |= inside
        if not rows.any():
            return None
        row, col = np.flatnonzero(rows), np.flatnonzero(cols)
        t = grid.transform
        return (
            float(t.c + col[0] * t.a),
            float(t.f + (row[-1] + 1) * t.e),
            float(t.c + (col[-1] + 1) * t.a),
            float(t.f + row[0] * t.e),
        )


def reaches_of(network: ChannelNetwork, ranch: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """Say which reaches run through a ranch or carry water into it.

    The water of a reach passes all of the reach below it, so a reach belongs when it or any
    reach further down touches the ranch. ``ranch`` is ``(rows, cols)``; one answer a reach.
    """
    inside = ranch.reshape(-1)[network.line_cells]
    touched = np.zeros(network.size, dtype=np.bool_)
    owner = np.repeat(np.arange(network.size), network.line_end - network.line_start)
    np.logical_or.at(touched, owner, inside)
    # Reaches are numbered by falling area, so each comes after the one below it.
    for reach in np.argsort(-network.cell_count, kind="stable"):
        below = network.downstream[reach]
        if below >= 0 and touched[below]:
            touched[reach] = True
    return touched


def _runs(catchments: Catchments, cells: ArrayLike) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """First and last (exclusive) number of what drains to each cell."""
    at = np.asarray(cells, dtype=np.int64)
    first = catchments.number.reshape(-1)[at].astype(np.int64)
    return first, first + catchments.counts.reshape(-1)[at].astype(np.int64)


def _merged(
    first: NDArray[np.int64], last: NDArray[np.int64]
) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Union of runs; catchments are nested or apart, so only those inside others go."""
    order = np.lexsort((-last, first))
    first, last = first[order], last[order]
    if not first.size:
        return first, last
    outer = np.concatenate([[True], first[1:] >= np.maximum.accumulate(last)[:-1]])
    return read_only(first[outer]), read_only(last[outer])
