"""Plain D8 routing used to build the land and to check the planted truth.

It is deliberately independent of the library it helps to test: steepest of eight neighbours on a
surface whose pits were breached by a search for the nearest lower ground.
"""

from __future__ import annotations

from heapq import heappop, heappush

import numpy as np
from numba import njit
from numpy.typing import NDArray

DROW = np.array([-1, -1, 0, 1, 1, 1, 0, -1], dtype=np.int64)
DCOL = np.array([0, 1, 1, 1, 0, -1, -1, -1], dtype=np.int64)
LENGTH = np.array([1.0, 2**0.5] * 4)


@njit(cache=True)
def breach(z: NDArray[np.float64]) -> int:
    """Lower ``z`` in place until every cell off the raster edge has a strictly lower neighbour."""
    rows, cols = z.shape
    seen = np.full(rows * cols, -1, np.int64)
    back = np.empty(rows * cols, np.int64)
    carved = 0
    for row in range(1, rows - 1):
        for col in range(1, cols - 1):
            home = z[row, col]
            lower = False
            for k in range(8):
                if z[row + DROW[k], col + DCOL[k]] < home:
                    lower = True
                    break
            if lower:
                continue
            start = row * cols + col
            heap = [(home, start)]
            seen[start] = start
            back[start] = -1
            goal = np.int64(-1)
            while len(heap) > 0:
                _, cell = heappop(heap)
                r, c = cell // cols, cell % cols
                if z[r, c] < home or (r == 0 or c == 0 or r == rows - 1 or c == cols - 1):
                    goal = cell
                    break
                for k in range(8):
                    rr, cc = r + DROW[k], c + DCOL[k]
                    there = rr * cols + cc
                    if seen[there] != start:
                        seen[there] = start
                        back[there] = cell
                        heappush(heap, (z[rr, cc], there))
            end = min(z[goal // cols, goal % cols], home - 1e-7)
            z[goal // cols, goal % cols] = end
            n = 0
            cell = goal
            while cell != start:
                cell = back[cell]
                n += 1
            cell = back[goal]
            step = 1
            while cell != start:
                r, c = cell // cols, cell % cols
                z[r, c] = min(z[r, c], end + (home - end) * step / n)
                carved += 1
                step += 1
                cell = back[cell]
    return carved


@njit(cache=True)
def receivers(z: NDArray[np.float64]) -> NDArray[np.int32]:
    """Flat index of the steepest lower neighbour of each cell, -1 where there is none."""
    rows, cols = z.shape
    out = np.full(rows * cols, -1, np.int32)
    for row in range(rows):
        for col in range(cols):
            best = 0.0
            for k in range(8):
                r, c = row + DROW[k], col + DCOL[k]
                if 0 <= r < rows and 0 <= c < cols:
                    fall = (z[row, col] - z[r, c]) / LENGTH[k]
                    if fall > best:
                        best = fall
                        out[row * cols + col] = r * cols + c
    return out


@njit(cache=True)
def downstream_order(rec: NDArray[np.int32]) -> NDArray[np.int32]:
    """Cells in an order in which every cell comes before the one it drains to."""
    n = rec.size
    donors = np.zeros(n, np.uint8)
    for cell in range(n):
        if rec[cell] >= 0:
            donors[rec[cell]] += 1
    order = np.empty(n, np.int32)
    tail = 0
    for cell in range(n):
        if donors[cell] == 0:
            order[tail] = cell
            tail += 1
    head = 0
    while head < tail:
        target = rec[order[head]]
        head += 1
        if target >= 0:
            donors[target] -= 1
            if donors[target] == 0:
                order[tail] = target
                tail += 1
    return order[:tail]


@njit(cache=True)
def accumulate(rec: NDArray[np.int32], order: NDArray[np.int32]) -> NDArray[np.int32]:
    """Number of cells that drain through each cell, itself included."""
    count = np.ones(rec.size, np.int32)
    for cell in order:
        if rec[cell] >= 0:
            count[rec[cell]] += count[cell]
    return count


@njit(cache=True)
def main_donors(rec: NDArray[np.int32], count: NDArray[np.int32]) -> NDArray[np.int32]:
    """The donor with the largest drainage area of each cell, -1 at a ridge."""
    out = np.full(rec.size, -1, np.int32)
    for cell in range(rec.size):
        target = rec[cell]
        if target >= 0 and (out[target] < 0 or count[cell] > count[out[target]]):
            out[target] = cell
    return out


@njit(cache=True)
def touches_edge(rec: NDArray[np.int32], order: NDArray[np.int32], cols: int) -> NDArray[np.bool_]:
    """True where some land that drains through the cell lies on the raster's edge."""
    rows = rec.size // cols
    out = np.zeros(rec.size, np.bool_)
    for cell in order:
        row, col = cell // cols, cell % cols
        if row == 0 or col == 0 or row == rows - 1 or col == cols - 1:
            out[cell] = True
        if out[cell] and rec[cell] >= 0:
            out[rec[cell]] = True
    return out
