"""What keeps a find from being sure, whatever its own shape says: edges and stepped heights."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain.values.arrays import BoolArray, FloatArray, IntArray
from terrain.values.raster import Raster

#: Finds in doubt are kept as places to look at, and are no surer than this.
IN_DOUBT = 0.45
#: So near the end of the known ground a raster's own facets make drops, cells.
EDGE_CELLS = 6
#: Heights in steps as coarse as this hide what a face looks like, m.
COARSE_STEP_M = 0.25
#: A drop has at least so many steps of the heights.
STEPS_A_DROP = 3
#: Steps that rasters are written in, m; the largest that fits is the raster's.
KNOWN_STEPS_M = (1.0, 0.5, 0.3048, 0.25, 0.1, 0.05)
#: So many cells are looked at for the step of the heights.
SAMPLE_CELLS = 20_000


def height_step_m(raster: Raster) -> float:
    """Step that all heights of a raster are multiples of, m; 0 where they have none.

    A sample of 20,000 cells at even distances is looked at; rasters whose heights all are the same
    have no step.
    """
    heights = raster.elevation_m[raster.valid]
    heights = heights[:: max(1, heights.size // SAMPLE_CELLS)].astype(np.float64)
    if heights.size < 2 or np.ptp(heights) == 0:
        return 0.0
    # single precision keeps so much of a height
    error = np.abs(heights).max() * 2.0**-23
    for step in KNOWN_STEPS_M:
        off = np.abs(heights / step - np.round(heights / step)) * step
        if step > 8 * error and (off <= 2 * error + 1e-6).all():
            return step
    return 0.0


def near_edge(raster: Raster, cells: IntArray) -> BoolArray:
    """Whether cells (flat numbers, ``(n,)``) lie within six cells of where no ground is known."""
    rows, cols = raster.grid.rows, raster.grid.cols
    row, col = np.divmod(cells, cols)
    out: BoolArray = (row < EDGE_CELLS) | (col < EDGE_CELLS)
    out |= (row >= rows - EDGE_CELLS) | (col >= cols - EDGE_CELLS)
    for i in np.flatnonzero(~out).tolist():
        r, c = int(row[i]), int(col[i])
        around = raster.valid[
            r - EDGE_CELLS : r + EDGE_CELLS + 1, c - EDGE_CELLS : c + EDGE_CELLS + 1
        ]
        out[i] = not around.all()
    return out


def doubted(raster: Raster, cells: IntArray, height_m: FloatArray, sure: FloatArray) -> FloatArray:
    """Confidence of finds where edges and stepped heights are counted in.

    Parameters
    ----------
    raster
        Ground as measured.
    cells
        Flat numbers of their lips, ``(n,)``.
    height_m
        Their heights, ``(n,)``.
    sure
        Confidence from their shape, ``(n,)``.

    Returns
    -------
    numpy.ndarray
        Confidence, ``(n,)``: 0 for drops of fewer than three steps of the heights; at most 0.45 at
        an edge, and on heights in coarse steps.
    """
    step = height_step_m(raster)
    coarse: NDArray[np.bool_] = np.full(cells.shape, step >= COARSE_STEP_M)
    capped = np.where(coarse | near_edge(raster, cells), np.minimum(sure, IN_DOUBT), sure)
    return np.where(height_m < STEPS_A_DROP * step, 0.0, capped)
