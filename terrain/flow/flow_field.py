"""Where each cell drains to."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.accumulate import (
    accumulate_band,
    accumulate_rest,
    count_donors,
    downstream_order,
)
from terrain._kernels.codes import COL_STEP, OUTLET, ROW_STEP, VOID
from terrain.values.arrays import read_only
from terrain.values.errors import EngineError, ParameterError
from terrain.values.grid import Grid
from terrain.values.parallel import over_bands

INT32_CELLS = 2**31 - 1


def cell_index_dtype(cells: int) -> type[np.int32] | type[np.int64]:
    """Narrowest signed integer that numbers and counts this many cells."""
    return np.int32 if cells <= INT32_CELLS else np.int64


@dataclass(frozen=True, eq=False)
class FlowField:
    """One flow code a cell.

    Parameters
    ----------
    grid
        Where the cells lie.
    codes
        uint8, shape ``(rows, cols)``: 0 to 7 clockwise from north (0 north, 2 east, 4 south,
        6 west), 8 where water leaves the raster, 255 where there is no elevation.

    Raises
    ------
    ParameterError
        When shape or type differ from the above.
    """

    grid: Grid
    codes: NDArray[np.uint8]

    def __post_init__(self) -> None:
        if self.codes.shape != self.grid.shape or self.codes.dtype != np.uint8:
            raise ParameterError(
                f"flow codes are {self.codes.dtype} with shape {self.codes.shape}",
                expected=f"uint8 with shape {self.grid.shape}",
            )
        read_only(self.codes)

    @cached_property
    def offsets(self) -> NDArray[np.int64]:
        """Step of each code 0 to 7 in flat cell numbers."""
        return ROW_STEP * self.grid.cols + COL_STEP

    @cached_property
    def step_m(self) -> NDArray[np.float64]:
        """Length of a step of each code 0 to 7, m."""
        return np.asarray(
            np.hypot(ROW_STEP * self.grid.cell_height_m, COL_STEP * self.grid.cell_width_m)
        )

    def downstream(self, cells: NDArray[Any]) -> NDArray[np.int64]:
        """Flat number of the cell that each cell drains to, -1 where water leaves."""
        cells = np.asarray(cells, dtype=np.int64)
        codes = self.codes.reshape(-1)[cells]
        inside = codes < OUTLET
        return np.where(inside, cells + self.offsets[np.where(inside, codes, 0)], -1)

    def donors(self) -> NDArray[np.uint8]:
        """Count the neighbours that drain into each cell, shape ``(rows, cols)``."""
        donors = np.empty(self.grid.shape, dtype=np.uint8)
        over_bands(lambda a, b: count_donors(self.codes, a, b, donors), self.grid.rows)
        return donors

    def accumulate(self, amount: NDArray[Any] | None = None) -> NDArray[Any]:
        """Sum an amount over each cell and all that drains into it.

        Parameters
        ----------
        amount
            Own amount of each cell, shape ``(rows, cols)``; without it each counts 1. Truth
            values are counted.

        Returns
        -------
        numpy.ndarray
            Read-only, shape ``(rows, cols)``, 0 in voids: exact integers, wide enough for the
            grid, for counts, else float64.

        Raises
        ------
        EngineError
            When the directions run in a circle, so that some cells never drain.

        Notes
        -----
        Rows are worked on in bands side by side; amounts that cross from one band to the next
        are handed on in band order afterwards, so results do not depend on the workers.
        """
        valid = self.codes != VOID
        if amount is None or amount.dtype == np.bool_:
            own = valid if amount is None else valid & amount
            sums = own.astype(cell_index_dtype(self.grid.size))
        else:
            sums = np.zeros(self.grid.shape, dtype=np.float64)
            np.copyto(sums, amount, where=valid)
        donors = self.donors()
        crossing = over_bands(
            lambda a, b: accumulate_band(self.codes, donors, sums, a, b), self.grid.rows
        )
        for to_cell, carried in crossing:
            accumulate_rest(self.codes, donors, sums, to_cell, carried)
        stuck = int(np.count_nonzero((donors != 255) & (self.codes != VOID)))
        if stuck:
            raise EngineError(
                f"flow directions run in a circle ({stuck} cells never drain)",
                expected="directions that all lead off the raster",
                do="use the native flow engine",
            )
        return read_only(sums)

    def order(self) -> NDArray[Any]:
        """Flat numbers of all valid cells, each after every cell that drains into it."""
        order = np.empty(self.grid.size, dtype=cell_index_dtype(self.grid.size))
        n = downstream_order(self.codes, self.donors(), order)
        return read_only(order[:n])
