"""How deep each cell lies below the ground to both sides of it.

Grey closing by straight line elements (J. Serra 1982, from memory): along a line the highest ground
within the element, and of all places that the element can take around a cell the lowest such
height. A slope stays as it is, however steep, and so does a floor wider than the element; a trench
narrower than it is filled to its lower bank.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain._kernels.closing import LANES, NO_GROUND, deepen_along_rows, deepen_down_columns
from terrain.values.errors import ParameterError
from terrain.values.parallel import over_items
from terrain.values.raster import Raster

#: Rows a band has at least: what each worker holds beside the result is some bands and lines, no
#: copy of the raster. The result is 4 bytes a cell.
LEAST_BAND_ROWS = 256


def trench_depth_m(raster: Raster, reach_m: float) -> NDArray[np.float32]:
    """How far each cell lies below the ground on both sides, within a reach, m.

    The largest of four directions: along rows, down columns and along both diagonals, with elements
    of one length in metres. Ground that is not known, or lies beyond the raster, is neither wall
    nor floor: it counts as lower than all ground, so that a cell beside it has a wall on one side
    only and nothing is filled there. A hole narrower than the element is spanned where there is
    ground on both sides of it, as there is where water in a channel gave no return.

    Parameters
    ----------
    raster
        Elevations.
    reach_m
        Half the length of the elements, m. A trench is filled where it is less wide than twice
        this, in the direction in which it is narrowest. Rounded to whole cells, at least one.

    Returns
    -------
    NDArray
        float32, shape ``(rows, cols)``, m; 0 where nothing lies higher on both sides, and where
        the raster is not valid.

    Raises
    ------
    ParameterError
        When the reach is not above zero.
    """
    if not 0 < reach_m < np.inf:
        raise ParameterError(f"a reach of {reach_m} m", expected="more than 0")
    cell_m = raster.grid.cell_m
    straight = 2 * max(1, round(reach_m / cell_m)) + 1
    diagonal = 2 * max(1, round(reach_m / (np.sqrt(2.0) * cell_m))) + 1
    depth = np.zeros(raster.grid.shape, dtype=np.float32)
    rows = raster.grid.rows
    height = max(LEAST_BAND_ROWS, 4 * straight)
    bands = [(start, min(start + height, rows)) for start in range(0, rows, height)]
    over_items(lambda band: _deepen(raster, *band, straight, diagonal, depth), bands)
    return depth


def _deepen(
    raster: Raster,
    start: int,
    stop: int,
    straight: int,
    diagonal: int,
    depth: NDArray[np.float32],
) -> None:
    """Fill rows ``start`` to ``stop`` of ``depth``; elements cover so many cells."""
    # an element that covers a cell of the band reaches so far beyond it, and no further
    top = max(0, start - straight + 1)
    rows = slice(top, min(raster.grid.rows, stop + straight - 1))
    valid = raster.valid[rows]
    ground = np.where(valid, raster.elevation_m[rows], NO_GROUND)
    lanes = np.empty((max(ground.shape) + 4 * straight, LANES), dtype=np.float32)
    band = depth[start:stop]
    first = start - top
    deepen_along_rows(ground, first, straight, lanes, band)
    for lean in (0, 1, -1):
        deepen_down_columns(ground, first, diagonal if lean else straight, lean, lanes, band)
    band[~valid[first : first + band.shape[0]]] = 0
