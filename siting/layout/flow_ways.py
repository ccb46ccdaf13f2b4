"""Ways of the water up and down from cells, as cells and as lines."""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely
from numpy.typing import NDArray
from shapely.ops import substring

from siting.channels.ground import Ground
from terrain.values.arrays import FloatArray, IntArray

#: A way of cells may be so much longer than the channel: walk so far to see a length of it.
WANDERING = 1.5


def ways_up(ground: Ground, cells: IntArray, *, length_m: float) -> tuple[IntArray, FloatArray]:
    """Walk up from cells, at each step to the neighbour that brings most water.

    Returns
    -------
    tuple
        Cells and walked distance as of `Ground.ways_down`: the first column is the cell itself,
        and -1 and infinity stand above the divide.
    """
    flow = ground.conditioned.flow
    codes, counts = flow.codes.reshape(-1), ground.counts.reshape(-1)
    steps = 2 + int(np.ceil(length_m / float(flow.step_m.min())))
    way = np.full((cells.size, steps), -1, dtype=np.int64)
    walked = np.full((cells.size, steps), np.inf)
    at, far = cells.astype(np.int64).copy(), np.zeros(cells.size)
    way[:, 0], walked[:, 0] = at, far
    for k in range(1, steps):
        best, via = np.full(at.size, -1, dtype=np.int64), np.zeros(at.size, dtype=np.int64)
        most = np.zeros(at.size, dtype=np.int64)
        for code, offset in enumerate(flow.offsets):
            near = at + offset
            inside = (at >= 0) & (near >= 0) & (near < codes.size)
            near = np.where(inside, near, 0)
            # it drains here when it flows the opposite way; none flows over the raster's edge
            drains = inside & (codes[near] == (code + 4) % 8) & (counts[near] > most)
            best[drains], via[drains] = near[drains], code
            most[drains] = counts[near[drains]]
        there = best >= 0
        far = far + flow.step_m[via]
        way[there, k], walked[there, k] = best[there], far[there]
        at = best
    return way, walked


def way_lines(ground: Ground, way: IntArray, walked: FloatArray, length_m: float) -> NDArray[Any]:
    """Draw each way as one shapely line, as long as asked or as the way goes.

    The stair steps of a way of cells, and its wandering on a flat noisy bed, make it too long: each
    point is the mean of up to five cells. None where a way is a single cell.
    """
    lines = np.full(way.shape[0], None, dtype=object)
    x, y = ground.raster.grid.xy_of(np.maximum(way, 0))
    keep = (way >= 0) & (walked <= WANDERING * length_m)
    for i in np.flatnonzero(keep.sum(axis=1) > 1):
        corners = np.column_stack([x[i, keep[i]], y[i, keep[i]]])
        lines[i] = substring(shapely.LineString(_smoothed(corners)), 0.0, length_m)
    return lines


def _smoothed(corners: FloatArray) -> FloatArray:
    """Running mean over five corners, over fewer towards the ends, which stay."""
    n = len(corners)
    at = np.arange(n)
    half = np.minimum(2, np.minimum(at, n - 1 - at))
    sums = np.concatenate([np.zeros((1, 2)), np.cumsum(corners - corners[0], axis=0)])
    mean = (sums[at + half + 1] - sums[at - half]) / (2 * half + 1)[:, None]
    return np.asarray(mean + corners[0])
