"""Outlines of ground that is given as cells."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from affine import Affine
from numpy.typing import NDArray
from rasterio.features import shapes

from terrain.values.arrays import IntArray
from terrain.values.grid import Grid

#: An outline is straightened by at most this share of a cell, so that steps of cells go.
STRAIGHTENED_CELLS = 0.75


def outlines(grid: Grid, cells: IntArray, piece: IntArray, pieces: int) -> NDArray[Any]:
    """Outline of each piece, its steps straightened a little.

    Parameters
    ----------
    grid
        Where the cells lie.
    cells, piece
        Flat cell numbers, and the piece of each from 0, ``(n,)``.
    pieces
        Number of pieces.

    Returns
    -------
    NDArray
        Valid shapely polygons or multipolygons, ``(pieces,)``.
    """
    order = np.argsort(piece, kind="stable")
    ends = np.cumsum(np.bincount(piece, minlength=pieces))
    found = np.empty(pieces, dtype=object)
    for k, own in enumerate(np.split(cells[order], ends)[:pieces]):
        found[k] = _outline(grid, own) if own.size else shapely.Polygon()
    return found


def _outline(grid: Grid, cells: IntArray) -> Any:
    rows, cols = np.divmod(cells, grid.cols)
    top, left = int(rows.min()), int(cols.min())
    mask = np.zeros((int(rows.max()) - top + 1, int(cols.max()) - left + 1), dtype=np.uint8)
    mask[rows - top, cols - left] = 1
    t = grid.transform
    transform = Affine(t.a, t.b, t.c + left * t.a, t.d, t.e, t.f + top * t.e)
    rings = [shapely.geometry.shape(s) for s, _ in shapes(mask, mask == 1, transform=transform)]
    whole = shapely.union_all(rings)
    smooth = shapely.simplify(whole, STRAIGHTENED_CELLS * grid.cell_m)
    return smooth if smooth.is_valid and not smooth.is_empty else whole
