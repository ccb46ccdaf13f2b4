"""Bed slope along the channels, at stations: a straight line through the bed up and down the way.

The way goes on across junctions: down with the water, and up along the larger donor. The face of a
headcut is left out with its length and its fall.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from siting.channels.headcuts import Headcuts
from terrain.channels.network import ChannelNetwork
from terrain.channels.profiles import profile_step_m, profile_table
from terrain.values.arrays import FloatArray, IntArray
from terrain.values.raster import Raster

#: Bed slope is fitted over this far up and down the channel, m (or ten cells).
SLOPE_REACH_M = 25.0
SLOPE_REACH_CELLS = 10


@dataclass(frozen=True, eq=False)
class ReachSlopes:
    """Slopes of one network's beds.

    Parameters
    ----------
    raster, network
        Ground as measured, and channels.
    donor
        Larger donor of each reach, -1 for none, ``(n,)``.
    headcuts
        Their faces are left out; None for none.
    """

    raster: Raster
    network: ChannelNetwork
    donor: IntArray
    headcuts: Headcuts | None

    @classmethod
    def of(
        cls,
        raster: Raster,
        network: ChannelNetwork,
        counts: NDArray[Any],
        headcuts: Headcuts | None,
    ) -> ReachSlopes:
        """Find the larger donor of every reach; ``counts`` are drainage counts of the grid."""
        donor = np.full(network.size, -1, dtype=np.int64)
        # the cell above the lowest one is still the reach's own: the lowest is shared at a junction
        last = np.maximum(network.line_end - 2, network.line_start)
        carries = counts.reshape(-1)[network.line_cells[last]]
        order = np.argsort(carries, kind="stable")
        order = order[network.downstream[order] >= 0]
        donor[network.downstream[order]] = order  # the largest comes last and stays
        return cls(raster, network, donor, headcuts)

    @property
    def window_m(self) -> float:
        """Half of the stretch that a slope is fitted over, m."""
        return max(SLOPE_REACH_M, SLOPE_REACH_CELLS * self.raster.grid.cell_m)

    def at(self, reach: int, place: FloatArray) -> FloatArray:
        """Bed slopes of a reach, not below 0.

        Parameters
        ----------
        reach
            Its number.
        place
            Fractional positions in its cells from the lower end up, shape ``(m,)``.
        """
        cells, below = self._way(reach)
        if cells.size < 2:
            return np.zeros(place.size)
        table = profile_table(self.raster, cells)
        step = profile_step_m(self.raster)
        along, bed, where = np.arange(len(table)) * step, table[:, 2].copy(), table[:, 4]
        counts = self._without_faces(cells, where, along, bed)
        index = np.searchsorted(where, place + below)
        index = np.minimum(index, where.size - 1)
        half = max(2, round(self.window_m / step))
        return window_slopes(along, bed, counts, index, half)

    def _cells(self, reach: int) -> IntArray:
        """Cells of a reach from its lower end up."""
        start, end = self.network.line_start[reach], self.network.line_end[reach]
        return np.asarray(self.network.line_cells[start:end][::-1])

    def _way(self, reach: int) -> tuple[IntArray, int]:
        """Cells of a reach with those of its neighbours, from below up, and how many lie below."""
        steps = 2 + int(np.ceil(self.window_m / self.raster.grid.cell_m))
        own = self._cells(reach)
        down: list[int] = []
        at = int(self.network.downstream[reach])
        while at >= 0 and len(down) < steps:
            cells = self._cells(at)[::-1]
            shared = cells[0] == (down[-1] if down else own[0])
            down += cells[int(shared) :].tolist()
            at = int(self.network.downstream[at])
        up: list[int] = []
        at = int(self.donor[reach])
        while at >= 0 and len(up) < steps:
            cells = self._cells(at)
            shared = cells[0] == (up[-1] if up else own[-1])
            up += cells[int(shared) :].tolist()
            at = int(self.donor[at])
        down, up = down[:steps], up[:steps]
        return np.concatenate([np.array(down[::-1], np.int64), own, np.array(up, np.int64)]), len(
            down
        )

    def _without_faces(
        self, cells: IntArray, where: FloatArray, along: FloatArray, bed: FloatArray
    ) -> FloatArray:
        """Take faces out of a way, in place; 1 for rows that count, 0 for those on a face."""
        counts = np.ones(where.size)
        heads = self.headcuts
        if heads is None or not heads.size:
            return counts
        z, far = bed.copy(), along.copy()
        for k in np.flatnonzero(np.isin(heads.cell, cells)):
            lip = int(np.flatnonzero(cells == heads.cell[k])[0])
            at = np.flatnonzero(cells == heads.foot_cell[k])
            above = where >= lip - 1e-9
            if at.size and at[0] < lip:
                foot = int(at[0])
                bed[above] -= np.interp(lip, where, z) - np.interp(foot, where, z)
                along[above] -= np.interp(lip, where, far) - np.interp(foot, where, far)
                counts[(where > foot + 1e-9) & ~above] = 0.0
            else:
                bed[above] -= heads.headcut_height_m[k]
        return counts


def window_slopes(
    along: FloatArray, bed: FloatArray, counts: FloatArray, index: NDArray[np.int64], half: int
) -> FloatArray:
    """Least-squares slope of the bed over up to ``half`` rows to each side, not below 0.

    Parameters
    ----------
    along, bed, counts
        Distances up, heights, and the weight of each row, ``(n,)``.
    index, half
        Rows to give slopes at, and rows to each side.
    """
    sums = [
        np.concatenate([[0.0], np.cumsum(counts * v)])
        for v in (np.ones(along.size), along, bed, along**2, along * bed)
    ]
    low, high = np.maximum(index - half, 0), np.minimum(index + half + 1, along.size)
    n, s, b, ss, sb = (total[high] - total[low] for total in sums)
    spread = n * ss - s * s
    slope = np.divide(n * sb - s * b, spread, out=np.zeros(index.size), where=spread > 1e-9)
    return np.asarray(np.maximum(slope, 0.0))
