"""Channel reaches and stems from flow codes and drainage counts."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, ROW_STEP
from terrain._kernels.kinds import Bools, Bytes, Float32s, Float64s, Int32s, Int64s, Ints


@kernel
def count_above(counts: Ints, threshold: int, row_start: int, row_stop: int) -> int:
    """Count the cells of some rows that at least so many cells drain through."""
    n = 0
    for r in range(row_start, row_stop):
        for c in range(counts.shape[1]):
            if counts[r, c] >= threshold:
                n += 1
    return n


@kernel
def list_above(counts: Ints, threshold: int, row_start: int, row_stop: int, cells: Int64s) -> None:
    """Write the flat numbers of those cells."""
    cols = counts.shape[1]
    n = 0
    for r in range(row_start, row_stop):
        for c in range(cols):
            if counts[r, c] >= threshold:
                cells[n] = r * cols + c
                n += 1


@kernel
def trace_reaches(
    down: Int64s,
    starts: Int64s,
    is_start: Bools,
    line: Int64s,
    line_end: Int64s,
    reach_of: Int64s,
    next_reach: Int64s,
) -> int:
    """Follow each reach from its start to the cell before the next start.

    ``down`` holds positions in the list of channel cells, -1 where water leaves. ``line`` gets
    the positions of all vertices, the start of the next reach included; ``reach_of`` the reach
    of every cell. ``next_reach`` is left with the position of the next start, -1 at outlets.
    """
    n = 0
    for i in range(starts.size):
        p = starts[i]
        while True:
            line[n] = p
            n += 1
            reach_of[p] = i
            q = down[p]
            if q < 0:
                next_reach[i] = -1
                break
            if is_start[q]:
                line[n] = q
                n += 1
                next_reach[i] = q
                break
            p = q
        line_end[i] = n
    return n


@kernel
def strahler_orders(next_reach: Int64s, by_area: Int64s, order: Int32s) -> None:
    """Write the Strahler order of reaches, visited so that donors come first."""
    highest = np.zeros(next_reach.size, dtype=np.int32)
    times = np.zeros(next_reach.size, dtype=np.int32)
    for j in range(by_area.size):
        i = by_area[j]
        if times[i] == 0:
            order[i] = 1
        else:
            order[i] = highest[i] + (1 if times[i] > 1 else 0)
        d = next_reach[i]
        if d >= 0:
            if order[i] > highest[d]:
                highest[d] = order[i]
                times[d] = 1
            elif order[i] == highest[d]:
                times[d] += 1


@kernel
def main_donor(codes: Bytes, counts: Ints, row: int, col: int) -> int:
    """Code of the step *up* to the donor with the most cells behind it; 8 when there is none.

    Of equal donors the first code clockwise from north is taken.
    """
    rows, cols = codes.shape
    best = 0
    up = 8
    for k in range(8):
        r = row + ROW_STEP[k]
        c = col + COL_STEP[k]
        if r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        if codes[r, c] == (k + 4) % 8 and counts[r, c] > best:
            best = counts[r, c]
            up = k
    return up


@kernel
def trace_stems(
    codes: Bytes,
    counts: Ints,
    cells: Int64s,
    down: Int64s,
    minimum: int,
    out: Int64s,
    stem_end: Int64s,
    stem_joins: Int64s,
) -> tuple[int, int]:
    """Walk stems from each outlet up, at every junction along the larger donor.

    A stem starts where a channel leaves the raster or joins a larger one, and is walked up while
    at least ``minimum`` cells drain through, so it may reach above the channel's head.

    Parameters
    ----------
    cells : int64 (m,)
        Channel cells, rising.
    down : int64 (m,)
        Positions of their downstream cells in ``cells``, -1 where water leaves.
    out : int64
        Gets the stems' cells, each from its lower end up.
    stem_end, stem_joins : int64
        Get the end of each stem in ``out`` and the cell it joins (-1 at an outlet).

    Returns the number of stems and of entries, which are counted even when ``out`` is too small.
    """
    cols = codes.shape[1]
    n = 0
    stems = 0
    for i in range(cells.size):
        cell = cells[i]
        joins = np.int64(-1)
        if down[i] >= 0:
            joins = cells[down[i]]
            k = main_donor(codes, counts, joins // cols, joins % cols)
            if (joins // cols + ROW_STEP[k]) * cols + joins % cols + COL_STEP[k] == cell:
                continue  # goes on in the larger stem
        r = cell // cols
        c = cell % cols
        while True:
            if n < out.size:
                out[n] = r * cols + c
            n += 1
            k = main_donor(codes, counts, r, c)
            if k == 8:
                break
            r += ROW_STEP[k]
            c += COL_STEP[k]
            if counts[r, c] < minimum:
                break
        if stems < stem_end.size:
            stem_end[stems] = n
            stem_joins[stems] = joins
        stems += 1
    return stems, n


@kernel
def longest_way_down(codes: Bytes, donors: Bytes, step_m: Float64s, length: Float32s) -> None:
    """Write the length of the longest way that drains to each cell, m (``donors`` is used up)."""
    rows, cols = codes.shape
    for row in range(rows):
        for col in range(cols):
            if donors[row, col] != 0 or codes[row, col] == 255:
                continue
            r = row
            c = col
            while True:
                donors[r, c] = 255
                k = codes[r, c]
                if k > 7:
                    break
                here = length[r, c] + step_m[k]
                r += ROW_STEP[k]
                c += COL_STEP[k]
                if here > length[r, c]:
                    length[r, c] = here
                donors[r, c] -= np.uint8(1)
                if donors[r, c] != 0:
                    break


@kernel
def way_down(codes: Bytes, cell: int, most: int) -> Int64s:
    """List a cell and up to ``most - 1`` cells that its water passes next, downstream."""
    cols = codes.shape[1]
    out = np.empty(most, dtype=np.int64)
    r = cell // cols
    c = cell % cols
    n = 0
    while n < most:
        out[n] = r * cols + c
        n += 1
        k = codes[r, c]
        if k > 7:
            break
        r += ROW_STEP[k]
        c += COL_STEP[k]
    return out[:n]


@kernel
def first_channel_cell(
    codes: Bytes,
    counts: Ints,
    threshold: int,
    cells: Int64s,
    steps_m: Float64s,
    out_cell: Int64s,
    out_way: Float64s,
) -> None:
    """Follow the flow from cells to the first channel cell; write it and the way there, m.

    A cell whose water leaves the raster before it meets a channel gets -1.
    """
    cols = codes.shape[1]
    for i in range(cells.size):
        r = cells[i] // cols
        c = cells[i] % cols
        way = 0.0
        while counts[r, c] < threshold:
            k = codes[r, c]
            if k > 7:
                r = -1
                break
            way += steps_m[k]
            r += ROW_STEP[k]
            c += COL_STEP[k]
        out_cell[i] = r * cols + c if r >= 0 else -1
        out_way[i] = way
