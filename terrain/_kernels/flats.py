"""Directions across level ground: from where it drains inwards, ring by ring.

A flat that touches a cell of its own level that drains gets its directions from there. A cell
drains to the ring before its own, over a side where it can (the ring towards lower terrain of
Barnes, Lehman and Mulla 2014, Computers & Geosciences 62:128-135, without its second gradient).
"""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import (
    COL_STEP,
    EXPLICIT,
    FLAT_CLOSED,
    OUTLET,
    ROW_STEP,
    SIDES_FIRST,
    UNRESOLVED,
)
from terrain._kernels.directions import code_of_cell
from terrain._kernels.heap import grown
from terrain._kernels.kinds import Bytes, Float32s, Int32s, Int64s, Real

NEXT = 12  # in the ring that is reached next


@kernel
def offsets(cols: int) -> Int64s:
    """Step of each code 0 to 7 in flat cell numbers."""
    return ROW_STEP * cols + COL_STEP


@kernel
def flood_flat(
    z: Float32s, codes: Bytes, start: int, old: int, new: int, queue: Int64s
) -> tuple[Int64s, int]:
    """Give the cells of one level around a cell, as far as they carry a code, a new one.

    Returns the cells, nearest first, sides before corners, and how many they are.
    """
    heights = z.reshape(-1)
    marks = codes.reshape(-1)
    offset = offsets(z.shape[1])
    level = heights[start]
    marks[start] = new
    queue[0] = start
    size = 1
    head = 0
    while head < size:
        cell = queue[head]
        head += 1
        queue = grown(queue, size + 8)
        for m in range(8):
            near = cell + offset[SIDES_FIRST[m]]
            if marks[near] == old and heights[near] == level:
                marks[near] = new
                queue[size] = near
                size += 1
    return queue, size


@kernel
def first_of_flat(z: Float32s, codes: Bytes, cell: int) -> int:
    """Return the least cell number of the closed flat around a cell."""
    queue, size = flood_flat(z, codes, cell, FLAT_CLOSED, NEXT, np.empty(64, dtype=np.int64))
    cols = z.shape[1]
    least = cell
    for j in range(size):
        codes[queue[j] // cols, queue[j] % cols] = FLAT_CLOSED
        least = min(least, queue[j])
    return least


@kernel
def _drained_beside(heights: Float32s, marks: Bytes, offset: Int64s, cell: int) -> int:
    """Code of the step to a cell of equal level that drains already; -1 when there is none."""
    for m in range(8):
        k = SIDES_FIRST[m]
        near = cell + offset[k]
        drains = marks[near] <= OUTLET or marks[near] & EXPLICIT != 0
        if drains and heights[near] == heights[cell]:
            return int(k)
    return -1


@kernel
def shores(z: Float32s, codes: Bytes, row_start: int, row_stop: int) -> tuple[Int64s, Bytes]:
    """List unresolved cells beside a drained cell of equal level, and the steps to it."""
    cols = z.shape[1]
    heights = z.reshape(-1)
    marks = codes.reshape(-1)
    offset = offsets(cols)
    cells = np.empty(64, dtype=np.int64)
    steps = np.empty(64, dtype=np.uint8)
    n = 0
    for r in range(row_start, row_stop):
        cells = grown(cells, n + cols)
        steps = grown(steps, n + cols)
        for c in range(cols):
            if codes[r, c] != UNRESOLVED:
                continue
            k = _drained_beside(heights, marks, offset, r * cols + c)
            if k >= 0:
                cells[n] = r * cols + c
                steps[n] = k
                n += 1
    return cells[:n], steps[:n]


@kernel
def drain_rings(z: Float32s, codes: Bytes, cells: Int64s, steps: Bytes) -> None:
    """Lead flats to the cells that are given with their steps, and from there on inwards."""
    heights = z.reshape(-1)
    marks = codes.reshape(-1)
    offset = offsets(z.shape[1])
    ring = cells
    out = steps
    while ring.size > 0:
        for j in range(ring.size):
            marks[ring[j]] = out[j] | EXPLICIT
        following = np.empty(max(64, 2 * ring.size), dtype=np.int64)
        n = 0
        for j in range(ring.size):
            cell = ring[j]
            following = grown(following, n + 8)
            for k in range(8):
                near = cell + offset[k]
                shut = marks[near] == UNRESOLVED or marks[near] == FLAT_CLOSED
                if shut and heights[near] == heights[cell]:
                    marks[near] = NEXT
                    following[n] = near
                    n += 1
        out = np.empty(n, dtype=np.uint8)
        for j in range(n):
            cell = following[j]
            for m in range(8):
                k = SIDES_FIRST[m]
                near = cell + offset[k]
                if marks[near] & EXPLICIT != 0 and heights[near] == heights[cell]:
                    out[j] = k
                    break
        ring = following[:n]


@kernel
def reopen(
    z: Float32s, inv_ns: Real, inv_ew: Real, inv_diag: Real, raised: Int64s, codes: Bytes
) -> tuple[Int64s, Bytes]:
    """Take the directions from raised cells and from the level ground that drained into them.

    Returns the cells among these that touch a drained cell of equal level, and the steps there.
    The list of raised cells is used up.
    """
    cols = z.shape[1]
    heights = z.reshape(-1)
    marks = codes.reshape(-1)
    offset = offsets(cols)
    for j in range(raised.size):
        marks[raised[j]] = UNRESOLVED
    queue = raised
    n = raised.size
    head = 0
    while head < n:
        cell = queue[head]
        head += 1
        for k in range(8):
            near = cell + offset[k]
            if heights[near] != heights[cell] or marks[near] == UNRESOLVED:
                continue
            if marks[near] < OUTLET:
                marks[near] = code_of_cell(z, near // cols, near % cols, inv_ns, inv_ew, inv_diag)
            elif marks[near] == ((k + 4) % 8) | EXPLICIT:
                marks[near] = UNRESOLVED
            if marks[near] == UNRESOLVED:
                queue = grown(queue, n + 1)
                queue[n] = near
                n += 1
    found = 0
    steps = np.empty(64, dtype=np.uint8)
    for j in range(n):
        k = _drained_beside(heights, marks, offset, queue[j])
        if k >= 0:
            steps = grown(steps, found + 1)
            queue[found] = queue[j]
            steps[found] = k
            found += 1
    return queue[:found], steps[:found]


@kernel
def open_mouths(
    z: Float32s, codes: Bytes, mouth: Int64s, first: Int64s, steps: Int32s, way: Bytes
) -> tuple[Int64s, Bytes]:
    """List the cells of closed flats that ways lead over at their level, and their steps."""
    cols = z.shape[1]
    cells = np.empty(64, dtype=np.int64)
    out = np.empty(64, dtype=np.uint8)
    n = 0
    for i in range(mouth.size):
        r = mouth[i] // cols
        c = mouth[i] % cols
        level = z[r, c]
        for j in range(first[i], first[i] + steps[i]):
            if z[r, c] == level and codes[r, c] == FLAT_CLOSED:
                codes[r, c] = way[j] | EXPLICIT
                cells = grown(cells, n + 1)
                out = grown(out, n + 1)
                cells[n] = r * cols + c
                out[n] = way[j]
                n += 1
            if way[j] < OUTLET:
                r += ROW_STEP[way[j]]
                c += COL_STEP[way[j]]
    return cells[:n], out[:n]
