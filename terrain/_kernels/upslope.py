"""What lies above a point: catchment outlines, longest ways, gradients, height above channels."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, ROW_STEP, VOID
from terrain._kernels.heap import grown
from terrain._kernels.kinds import Bools, Bytes, Float32s, Float64s, Int64s, Ints


@kernel
def catchment_numbers(codes: Bytes, counts: Ints, order: Ints, number: Ints, cursor: Ints) -> None:
    """Number cells so that each catchment is one run: ``number[c]`` to ``+ counts[c]``.

    ``order`` has donors before receivers; ``cursor`` is scratch of the same type as ``number``.
    """
    cols = codes.shape[1]
    free = 0
    for j in range(order.size - 1, -1, -1):
        r = order[j] // cols
        c = order[j] % cols
        k = codes[r, c]
        if k > 7:
            number[r, c] = free
            free += counts[r, c]
        else:
            rr = r + ROW_STEP[k]
            cc = c + COL_STEP[k]
            number[r, c] = cursor[rr, cc]
            cursor[rr, cc] += counts[r, c]
        cursor[r, c] = number[r, c] + 1


@kernel
def _inside(number: Ints, first: int, last: int, row: int, col: int) -> bool:
    """Whether a cell lies in the catchment whose numbers run from first to last."""
    if row < 0 or col < 0 or row >= number.shape[0] or col >= number.shape[1]:
        return False
    return first <= number[row, col] < last


@kernel
def catchment_outline(number: Ints, first: int, last: int, row: int, col: int) -> Int64s:
    """Corners of the outline of a catchment, clockwise, from one of its cells.

    A corner is (row line, column line). The region counts as joined over corners too, since water
    flows that way; the ring may therefore touch itself.
    """
    corners = np.empty((64, 2), dtype=np.int64)
    while True:
        # north until the cell above is outside: its upper side belongs to an outline
        while _inside(number, first, last, row - 1, col):
            row -= 1
        r = row  # corner at the upper left of the cell, walking east with the cell on the right
        c = col
        heading = 1  # 0 north, 1 east, 2 south, 3 west
        corners[0, 0] = r
        corners[0, 1] = c
        n = 1
        area = 0
        while True:
            if heading == 0:
                r -= 1
                left = _inside(number, first, last, r - 1, c - 1)
                right = _inside(number, first, last, r - 1, c)
            elif heading == 1:
                c += 1
                area -= r
                left = _inside(number, first, last, r - 1, c)
                right = _inside(number, first, last, r, c)
            elif heading == 2:
                r += 1
                left = _inside(number, first, last, r, c)
                right = _inside(number, first, last, r, c - 1)
            else:
                c -= 1
                area += r
                left = _inside(number, first, last, r, c - 1)
                right = _inside(number, first, last, r - 1, c - 1)
            turn = 3 if left else (0 if right else 1)
            heading = (heading + turn) % 4
            if r == row and c == col and heading == 1:
                break
            if turn:
                if n >= corners.shape[0]:
                    bigger = np.empty((2 * n, 2), dtype=np.int64)
                    bigger[:n] = corners
                    corners = bigger
                corners[n, 0] = r
                corners[n, 1] = c
                n += 1
        if area > 0:
            return corners[:n]
        # the outline of a hole: go on north past it
        row -= 1
        while not _inside(number, first, last, row, col):
            row -= 1


@kernel
def longest_way_up(
    codes: Bytes, length: Float32s, step_m: Float64s, cell: int, out: Int64s
) -> tuple[int, Int64s]:
    """Write the cells of the longest way from the divide to a cell, from the cell up.

    Returns how many, and ``out`` grown to hold them.
    """
    rows, cols = codes.shape
    n = 0
    r = cell // cols
    c = cell % cols
    while True:
        out = grown(out, n + 1)
        out[n] = r * cols + c
        n += 1
        best = -1.0
        up = 8
        for k in range(8):
            rr = r + ROW_STEP[k]
            cc = c + COL_STEP[k]
            if rr < 0 or cc < 0 or rr >= rows or cc >= cols:
                continue
            if codes[rr, cc] == (k + 4) % 8 and length[rr, cc] + step_m[k] > best:
                best = length[rr, cc] + step_m[k]
                up = k
        if up == 8:
            return n, out
        r += ROW_STEP[up]
        c += COL_STEP[up]


@kernel
def way_segments(
    codes: Bytes,
    counts: Ints,
    length: Float32s,
    z: Float32s,
    step_m: Float64s,
    cells: Int64s,
    sheet_m: float,
    channel_count: int,
    out: Float64s,
) -> None:
    """Length and fall of sheet, shallow and channel flow on each cell's longest way.

    ``out`` gets, for each cell: sheet length, sheet fall, shallow length, shallow fall, channel
    length, channel fall (m).
    """
    cols = codes.shape[1]
    way = np.empty(1024, dtype=np.int64)
    for i in range(cells.size):
        n, way = longest_way_up(codes, length, step_m, cells[i], way)
        out[i, :] = 0.0
        walked = 0.0
        kind = 0
        top = z[way[n - 1] // cols, way[n - 1] % cols]
        for j in range(n - 1, 0, -1):
            r = way[j] // cols
            c = way[j] % cols
            step = step_m[codes[r, c]]
            walked += step
            out[i, 2 * kind] += step
            below = way[j - 1]
            here = z[below // cols, below % cols]
            turns = (kind == 0 and walked >= sheet_m) or (
                kind < 2 and counts[below // cols, below % cols] >= channel_count
            )
            if turns or j == 1:
                out[i, 2 * kind + 1] = max(0.0, top - here)
                top = here
                if counts[below // cols, below % cols] >= channel_count:
                    kind = 2
                elif turns:
                    kind += 1


@kernel
def gradient_rows(
    z: Float32s, width: float, height: float, row_start: int, row_stop: int, out: Float32s
) -> None:
    """Write the ground's gradient (m per m) of some rows from side neighbours; 0 in voids."""
    rows, cols = z.shape
    for r in range(row_start, row_stop):
        for c in range(cols):
            here = z[r, c]
            if np.isnan(here):
                out[r, c] = 0.0
                continue
            west = z[r, c - 1] if c > 0 else here
            east = z[r, c + 1] if c < cols - 1 else here
            north = z[r - 1, c] if r > 0 else here
            south = z[r + 1, c] if r < rows - 1 else here
            across = width * (
                (1 if c > 0 and not np.isnan(west) else 0)
                + (1 if c < cols - 1 and not np.isnan(east) else 0)
            )
            along = height * (
                (1 if r > 0 and not np.isnan(north) else 0)
                + (1 if r < rows - 1 and not np.isnan(south) else 0)
            )
            west = here if np.isnan(west) else west
            east = here if np.isnan(east) else east
            north = here if np.isnan(north) else north
            south = here if np.isnan(south) else south
            gx = (east - west) / across if across > 0 else 0.0
            gy = (north - south) / along if along > 0 else 0.0
            out[r, c] = np.sqrt(gx * gx + gy * gy)


@kernel
def inflow_at_edge(codes: Bytes, row_start: int, row_stop: int, out: Bools) -> None:
    """Mark edge cells that drain inwards: land outside may drain into them."""
    rows, cols = codes.shape
    for r in range(row_start, row_stop):
        for c in range(cols):
            out[r, c] = False
            if codes[r, c] > 7:
                continue
            if r == 0 or c == 0 or r == rows - 1 or c == cols - 1:
                out[r, c] = True
                continue
            for k in range(8):
                if codes[r + ROW_STEP[k], c + COL_STEP[k]] == VOID:
                    out[r, c] = True
                    break
