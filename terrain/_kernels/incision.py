"""Incised ground: spread out from flow lines to its edges, numbered, and filled across."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, ROW_STEP
from terrain._kernels.kinds import Bools, Bytes, Float32s, Float64s, Int32s, Int64s, Real

#: In no gully.
NOWHERE = 255


@kernel
def block_means(z: Float32s, valid: Bools, size: int, out: Float32s, first: int, last: int) -> None:
    """Mean of the known heights in each square block; NaN where none are.

    ``out`` has a cell for each block of ``size`` by ``size`` cells, those at the right and lower
    edge cut off; its rows ``first`` to ``last`` are filled.
    """
    rows, columns = z.shape
    for block_row in range(first, last):
        bottom = min(rows, (block_row + 1) * size)
        for block in range(out.shape[1]):
            total = 0.0
            n = 0
            for row in range(block_row * size, bottom):
                for col in range(block * size, min(columns, (block + 1) * size)):
                    if valid[row, col]:
                        total += z[row, col]
                        n += 1
            out[block_row, block] = total / n if n else np.nan


@kernel
def _wall_of_ray(
    depth: Float32s,
    row: int,
    col: int,
    down: int,
    right: int,
    edge_m: float,
    far: int,
    step: int,
    gentle: float,
) -> tuple[float, float]:
    """Greatest change of depth over a step along a ray, and the depth left above that wall."""
    n = 1
    while n <= far:
        r, c = row + n * down, col + n * right
        if r < 0 or c < 0 or r >= depth.shape[0] or c >= depth.shape[1]:
            return 0.0, 0.0
        if depth[r, c] < edge_m:
            break
        n += 1
    if n > far:
        return 0.0, 0.0
    steepest = 0.0
    at = 0
    for m in range(n):
        to = min(m + step, n)
        change = depth[row + m * down, col + m * right] - depth[row + to * down, col + to * right]
        if change > steepest:
            steepest, at = float(change), m
    # up the wall to where the ground is no longer steep
    m = min(at + step, n)
    while m < n:
        to = min(m + step, n)
        change = depth[row + m * down, col + m * right] - depth[row + to * down, col + to * right]
        if change < gentle * steepest:
            break
        m += 1
    return steepest, float(depth[row + m * down, col + m * right])


@kernel
def edge_walls(
    depth: Float32s,
    rows: Int64s,
    cols: Int64s,
    edge_m: Float32s,
    far: int,
    step: int,
    gentle: float,
) -> tuple[Float32s, Float32s]:
    """How steep the walls are that lead up to the edges on both sides of each place.

    A ray runs from the place to where the depth has gone; the steepest change along it is its
    wall, and the depth that is left where the ground is no longer steep its shelf. Both rays of one
    line are averaged, and of four lines the one with the steepest walls counts. A ray that never
    comes to an end has no wall.

    Parameters
    ----------
    depth : float32 (rows, cols)
        Depth below the ground on both sides, m.
    rows, cols : int64 (n,)
        Places.
    edge_m : float32 (n,)
        Depth at the edge.
    far : int
        Cells to the edge at most.
    step : int
        Cells over which depth changes.
    gentle : float
        Change over the steepest one at which the wall ends.

    Returns the change of depth in m for each cell's side, and the depth of the shelf, m; both
    float32 ``(n,)``.
    """
    out = np.zeros(rows.size, dtype=np.float32)
    shelf = np.zeros(rows.size, dtype=np.float32)
    for i in range(rows.size):
        for code in range(4):
            down, right = ROW_STEP[code], COL_STEP[code]
            run = step * np.hypot(float(down), float(right))
            wall, level = _wall_of_ray(
                depth, rows[i], cols[i], down, right, edge_m[i], far, step, gentle
            )
            other, other_level = _wall_of_ray(
                depth, rows[i], cols[i], -down, -right, edge_m[i], far, step, gentle
            )
            both = (wall + other) / (2.0 * run)
            if both > out[i]:
                out[i] = both
                shelf[i] = (level + other_level) / 2.0
    return out, shelf


@kernel
def spread(
    cells: Int64s,
    reach_of: Bytes,
    edge_m: Float32s,
    far: Float64s,
    blocks: Int64s,
    depths: tuple[Float32s, ...],
    reach: Bytes,
    queue: Int64s,
    origin: Int32s,
) -> int:
    """Take in the ground around places of flow lines that lies deep enough, ring by ring.

    Parameters
    ----------
    cells : int64 (n,)
        Flat cell numbers of the places, in the order of their claims.
    reach_of : uint8 (n,)
        Which of the depths holds at each place.
    edge_m : float32 (n,)
        Depth that ground of this place has at least.
    far : float64 (reaches,)
        Distance from its place that ground has at most, in cells, for each of the depths.
    blocks : int64 (reaches,)
        Cells along the side of a cell of each of the depths.
    depths : float32 (rows, cols) each
        Depths below the ground on both sides.
    reach : uint8 (rows, cols)
        `NOWHERE` all over. Gets which depth holds.
    queue, origin : int64, int32 (room,)
        Get the cells that were taken in and the place that each belongs to. Where they are too
        short the count says how long they should be, and the call is to be made again.

    Returns the number of cells taken in.
    """
    rows, columns = reach.shape
    n = 0
    for i in range(cells.size):
        row, col = cells[i] // columns, cells[i] % columns
        k = reach_of[i]
        size = blocks[k]
        if reach[row, col] == NOWHERE and depths[k][row // size, col // size] >= edge_m[i]:
            reach[row, col] = k
            queue[n] = cells[i]
            origin[n] = i
            n += 1
    at = 0
    # over sides only, so that noise does not lead on along corners
    while at < n:
        i = origin[at]
        k = reach_of[i]
        size = blocks[k]
        row, col = queue[at] // columns, queue[at] % columns
        home_row, home_col = cells[i] // columns, cells[i] % columns
        for code in range(0, 8, 2):
            r, c = row + ROW_STEP[code], col + COL_STEP[code]
            if r < 0 or c < 0 or r >= rows or c >= columns or reach[r, c] != NOWHERE:
                continue
            if depths[k][r // size, c // size] < edge_m[i]:
                continue
            if np.hypot(float(r - home_row), float(c - home_col)) > far[k]:
                continue
            reach[r, c] = k
            if n >= queue.size:
                return -1
            queue[n] = r * columns + c
            origin[n] = i
            n += 1
        at += 1
    return n


@kernel
def drop_hairs(taken: Int64s, on_line: Int64s, reach: Bytes) -> Int64s:
    """Take out cells of which few neighbours were taken in, unless a flow line runs through them.

    Returns those that stay, rising; the others are `NOWHERE` in ``reach``.
    """
    rows, columns = reach.shape
    cells = np.sort(taken)
    keep = np.ones(cells.size, dtype=np.bool_)
    line = 0
    for i in range(cells.size):
        while line < on_line.size and on_line[line] < cells[i]:
            line += 1
        if line < on_line.size and on_line[line] == cells[i]:
            continue
        row, col = cells[i] // columns, cells[i] % columns
        n = 0
        for code in range(8):
            r, c = row + ROW_STEP[code], col + COL_STEP[code]
            if 0 <= r < rows and 0 <= c < columns and reach[r, c] != NOWHERE:
                n += 1
        keep[i] = n > 3
    for cell in cells[~keep]:
        reach[cell // columns, cell % columns] = NOWHERE
    return cells[keep]


@kernel
def label_cells(cells: Int64s, reach: Bytes, label: Int32s, stack: Int64s) -> int:
    """Number the pieces of ground that hang together over sides or corners, from 1.

    ``cells`` are all cells of that ground, rising, and ``reach`` says where it is. ``label`` is
    int32 ``(rows, cols)``, 0 all over. Returns the number of pieces.
    """
    rows, columns = label.shape
    pieces = 0
    for start in cells:
        if label[start // columns, start % columns]:
            continue
        pieces += 1
        label[start // columns, start % columns] = pieces
        stack[0] = start
        n = 1
        while n:
            n -= 1
            row, col = stack[n] // columns, stack[n] % columns
            for code in range(8):
                r, c = row + ROW_STEP[code], col + COL_STEP[code]
                if r < 0 or c < 0 or r >= rows or c >= columns:
                    continue
                if reach[r, c] != NOWHERE and label[r, c] == 0:
                    label[r, c] = pieces
                    stack[n] = r * columns + c
                    n += 1
    return pieces


@kernel
def grown(cells: Int64s, label: Int32s, out: Int32s) -> Int64s:
    """Add the ring of cells around each piece to it; return all its cells.

    ``out`` is a copy of ``label`` and gets the ring; a cell between two pieces goes to the first.
    """
    rows, columns = label.shape
    ring = np.empty(8 * cells.size, dtype=np.int64)
    n = 0
    for cell in cells:
        row, col = cell // columns, cell % columns
        for code in range(8):
            r, c = row + ROW_STEP[code], col + COL_STEP[code]
            if 0 <= r < rows and 0 <= c < columns and out[r, c] == 0:
                out[r, c] = label[row, col]
                ring[n] = r * columns + c
                n += 1
    return np.concatenate((cells, ring[:n]))


@kernel
def inner_cells(cells: Int64s, label: Int32s) -> Bools:
    """Whether each cell of the pieces has none but such cells on its four sides."""
    rows, columns = label.shape
    inner = np.ones(cells.size, dtype=np.bool_)
    for i in range(cells.size):
        row, col = cells[i] // columns, cells[i] % columns
        for code in range(0, 8, 2):
            r, c = row + ROW_STEP[code], col + COL_STEP[code]
            if r < 0 or c < 0 or r >= rows or c >= columns or label[r, c] == 0:
                inner[i] = False
    return inner


@kernel
def fill_across(
    z: Float32s,
    valid: Bools,
    label: Int32s,
    cells: Int64s,
    width_m: float,
    height_m: float,
    filled: Float32s,
    span: Float32s,
) -> None:
    """Lay straight lines across from edge to edge over each cell, in four directions.

    Each line starts and ends at the first cell beyond the piece's own ground. Where more than one
    can be laid, they count by one over the square of their length.

    Parameters
    ----------
    z, valid : float32, bool (rows, cols)
        Ground.
    label : int32 (rows, cols)
        Piece of each cell, 0 for none.
    cells : int64 (n,)
        Cells to fill over.
    width_m, height_m : float
        Sides of a cell, m.
    filled, span : float32 (n,)
        Get the height that was there, m, and the length of the shortest line, m; NaN where no
        line can be laid.
    """
    rows, columns = z.shape
    for i in range(cells.size):
        row, col = cells[i] // columns, cells[i] % columns
        own = label[row, col]
        total = 0.0
        weights = 0.0
        shortest = np.inf
        for code in range(4):
            step = np.hypot(ROW_STEP[code] * height_m, COL_STEP[code] * width_m)
            ends = 0
            away = np.zeros(2)
            level = np.zeros(2)
            for side in range(2):
                sign = 1 - 2 * side
                r, c, n = row, col, 0
                while True:
                    r += sign * ROW_STEP[code]
                    c += sign * COL_STEP[code]
                    n += 1
                    if r < 0 or c < 0 or r >= rows or c >= columns or not valid[r, c]:
                        break
                    if label[r, c] != own:
                        away[side] = n * step
                        level[side] = z[r, c]
                        ends += 1
                        break
            if ends == 2:
                length = away[0] + away[1]
                over = (level[0] * away[1] + level[1] * away[0]) / length
                weight = 1.0 / (length * length)
                total += weight * over
                weights += weight
                shortest = min(shortest, length)
        if weights > 0.0:
            filled[i] = total / weights
            span[i] = shortest
        else:
            filled[i] = np.nan
            span[i] = np.nan


@kernel
def longest_ways(
    order: Int64s,
    down: Int64s,
    step_m: Float64s,
    piece: Int32s,
    length_m: Float64s,
    above: Int64s,
) -> None:
    """Walk down flow lines and keep the longest way within a piece that comes to each place.

    Parameters
    ----------
    order, down : int64 (n,)
        Places from the heads down, and the place below each (-1: none).
    step_m : float64 (n,)
        Length of the step down, m.
    piece : int32 (n,)
        Piece in which each lies, 0 for none.
    length_m, above : float64, int64 (n,)
        0 and -1 all over. Get the way's length and the place above on it.
    """
    for i in order:
        j = down[i]
        if j < 0 or piece[i] == 0 or piece[i] != piece[j]:
            continue
        way: Real = length_m[i] + step_m[i]
        if way > length_m[j]:
            length_m[j] = way
            above[j] = i
