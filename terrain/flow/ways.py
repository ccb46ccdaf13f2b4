"""The way of the water through one cell, as a list of cells."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.codes import COL_STEP, ROW_STEP
from terrain._kernels.network import main_donor, way_down
from terrain.flow.flow_field import FlowField


def cells_down(flow: FlowField, cell: int, *, length_m: float) -> NDArray[np.int64]:
    """Cells that the water of a cell passes, itself first, over at least a length; ``(n,)``."""
    steps = 2 + int(np.ceil(length_m / float(flow.step_m.min())))
    way: NDArray[np.int64] = way_down(flow.codes, int(cell), steps)
    return way


def cells_up(
    flow: FlowField, counts: NDArray[Any], cell: int, *, length_m: float, least_count: int = 1
) -> NDArray[np.int64]:
    """Cells up from a cell, itself first, at every junction along the larger donor.

    Parameters
    ----------
    flow, counts
        Flow directions and integer drainage counts of one grid.
    cell
        Flat cell number.
    length_m
        At least this far, or up to the divide.
    least_count
        Cells that must drain through; the way ends below the first with fewer.

    Returns
    -------
    numpy.ndarray
        Flat cell numbers, shape ``(n,)``.
    """
    cols = flow.grid.cols
    steps = flow.step_m.tolist()
    rows_up, cols_up = ROW_STEP.tolist(), COL_STEP.tolist()
    row, col = divmod(int(cell), cols)
    way, walked = [int(cell)], 0.0
    while walked < length_m:
        code = int(main_donor(flow.codes, counts, row, col))
        if code > 7:
            break
        row, col = row + rows_up[code], col + cols_up[code]
        if counts[row, col] < least_count:
            break
        walked += steps[code]
        way.append(row * cols + col)
    return np.array(way, dtype=np.int64)
