"""From a depression without a lower neighbour, the way out over its lowest pass.

A pit is a single cell, a closed flat several of one level. A search only reads the surface and
finds a *way*: cells, each with the code of its way on, that end at a lower cell, at a cell of
equal level that already drains, or where water leaves the raster. Of two depressions of one level
the later one may end in the earlier one; flats come before pits. Along the pointers (level, way)
never rises and a way has no loops, so no cycle can form, whatever the number of workers.
"""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import (
    COL_STEP,
    EXPLICIT,
    FLAT_CLOSED,
    FLAT_NOW,
    OUTLET,
    ROW_STEP,
    UNRESOLVED,
    VOID,
)
from terrain._kernels.directions import touches_outside
from terrain._kernels.flats import first_of_flat, flood_flat
from terrain._kernels.heap import grown, key_drop_first, key_push, rising_bits
from terrain._kernels.kinds import Bytes, Float32s, Float64s, Int32s, Int64s, Real, Whole, Workspace

SOURCE = 8  # in place of a code: the search began here
#: So many cells are visited before a depression is left to `terrain._kernels.passes`, which
#: takes the large ones together.
MANY_VISITS = 4096
#: Cells across the window of such a search; one that leaves it is a large one too.
NARROW = 64
#: The same for the few that are then tried one by one.
SOME_VISITS = 65536
WIDE = 512


@kernel
def new_workspace(z: Float32s, width: int) -> Workspace:
    """Return the arrays of a search: heap and cells visited, and a window of so many cells square.

    In the window stand, for each visited cell, the stamp of the search, the code of the step that
    came to it, and how far the way there runs above the start. A raster is laid on it like on a
    torus; ``width`` is a power of two.
    """
    return (
        np.empty(256, dtype=np.uint64),
        np.empty(256, dtype=np.int64),
        np.zeros(width * width, dtype=np.int32),
        np.empty(width * width, dtype=np.uint8),
        np.empty(width * width, dtype=z.dtype),
    )


@kernel
def may_end(
    z: Float32s, codes: Bytes, row: int, col: int, level: Real, start: int, is_flat: bool
) -> bool:
    """Whether a search that started at this level may end at a cell."""
    here = z[row, col]
    if here < level:
        return True
    if here == level:
        code = codes[row, col]
        if code <= OUTLET or (code & EXPLICIT != 0 and code != VOID):
            return True
        cell = row * z.shape[1] + col
        if code == FLAT_CLOSED:
            return not is_flat or first_of_flat(z, codes, cell) < start
        if code == UNRESOLVED and not is_flat and cell < start:
            return True
    return touches_outside(z, row, col)


@kernel
def search(
    z: Float32s,
    codes: Bytes,
    bottom: Float32s,
    sources: Int64s,
    is_flat: bool,
    stamp: int,
    step_m: Float64s,
    bounds: tuple[int, float, float],
    work: Workspace,
) -> tuple[Whole, Real, bool, int, Workspace]:
    """Visit cells from the sources outward, lowest first, until one where the search may end.

    ``bounds``: so many cells are visited at most; no way is followed that runs further than this
    above the start's level, m; nothing above this level is visited. Cells of a flat that is
    searched from carry `FLAT_NOW`. Where ``bottom`` is not empty it holds, for cells raised to
    the pass of a depression, the level that one started from, and else infinity: across such a
    lake the search goes straight to the lake's own outlet if that leads lower than the start.

    Returns the last cell (-1 when there is none, -2 when the window is too narrow), the level of
    the pass, whether no way was left for its length, how many cells were visited, and the
    workspace.
    """
    most, furthest, highest = bounds
    heap, visited, stamps, back, far = work
    cols = z.shape[1]
    width = int(np.sqrt(stamps.size))
    mask = width - 1
    row = sources[0] // cols
    col = sources[0] % cols
    level = z[row, col]
    top = row - width // 2
    left = col - width // 2
    if not is_flat:
        stamps[(row & mask) * width + (col & mask)] = stamp
        back[(row & mask) * width + (col & mask)] = SOURCE
    n = 0
    whole = True
    size = 0
    spill = level
    walked = np.float32(0.0)
    end = np.int64(-1)
    only = -1
    j = 0
    while True:
        if j < sources.size:
            row = sources[j] // cols
            col = sources[j] % cols
            j += 1
        else:
            if size == 0 or n > most:
                break
            packed = visited[heap[0] & np.uint64(0xFFFFFFFF)]
            row = packed >> 32
            col = packed & 0xFFFFFFFF
            if z[row, col] > highest:
                break
            spill = max(spill, z[row, col])
            size = key_drop_first(heap, size)
            if may_end(z, codes, row, col, level, sources[0], is_flat):
                end = np.int64(row * cols + col)
                break
            walked = far[(row & mask) * width + (col & mask)]
            only = -1
            if bottom.size > 0 and bottom[row, col] < level:
                only = codes[row, col] & 7
        heap = grown(heap, size + 8)
        visited = grown(visited, n + 8)
        if not (top < row < top + width - 1 and left < col < left + width - 1):
            end = np.int64(-2)
            break
        for k in range(8):
            r = row + ROW_STEP[k]
            c = col + COL_STEP[k]
            slot = (r & mask) * width + (c & mask)
            if stamps[slot] == stamp:
                continue
            if (only >= 0 and k != only) or (is_flat and codes[r, c] == FLAT_NOW):
                continue
            stamps[slot] = stamp
            back[slot] = k
            far[slot] = walked + step_m[k] if z[r, c] > level else walked
            if far[slot] <= furthest:
                visited[n] = (r << 32) | c
                size = key_push(heap, size, (rising_bits(z[r, c]) << np.uint64(32)) | np.uint64(n))
                n += 1
            else:
                whole = False
    return end, spill, whole, n, (heap, visited, stamps, back, far)


@kernel
def trace_back(
    z: Float32s,
    codes: Bytes,
    end: Whole,
    level: Real,
    work: Workspace,
    step_m: Float64s,
    out: Bytes,
    n: int,
) -> tuple[Whole, int, Real, Real, Bytes]:
    """Write the codes from a search's source to its end and measure the cut it needs.

    Returns the source, the number of codes written so far, depth and length of the cut, and the
    array of codes.
    """
    back = work[3]
    width = int(np.sqrt(back.size))
    mask = width - 1
    cols = z.shape[1]
    row = end // cols
    col = end % cols
    depth = z.dtype.type(0.0)
    length = 0.0
    first = n
    above = z[row, col] - level
    if above > 0:  # a cut through the raster's own edge
        depth = above
        out = grown(out, n + 1)
        out[n] = OUTLET
        n += 1
    while codes[row, col] != FLAT_NOW:
        k = back[(row & mask) * width + (col & mask)]
        if k == SOURCE:
            break
        if above > 0:
            length += step_m[k]
        row -= ROW_STEP[k]
        col -= COL_STEP[k]
        above = z[row, col] - level
        depth = max(depth, above)
        out = grown(out, n + 1)
        out[n] = k
        n += 1
    out[first:n] = out[first:n][::-1].copy()
    return row * cols + col, n, depth, length, out


@kernel
def _one_step_out(z: Float32s, cell: int, level: float) -> tuple[int, int]:
    """Try the commonest way out: over the lowest neighbour to a cell below the pit.

    Returns the codes of the two steps, or 8 when the way out is longer. It finds just what the
    full search would: all other cells seen stand at or above the pit.
    """
    rows, cols = z.shape
    row = cell // cols
    col = cell % cols
    first = SOURCE
    lowest: Real = z.dtype.type(np.inf)
    for k in range(8):
        near = z[row + ROW_STEP[k], col + COL_STEP[k]]
        if near < lowest:
            lowest = near
            first = k
    r = row + ROW_STEP[first]
    c = col + COL_STEP[first]
    if lowest == level or r == 0 or c == 0 or r == rows - 1 or c == cols - 1:
        return SOURCE, SOURCE
    second = SOURCE
    lowest = level
    for k in range(8):
        near = z[r + ROW_STEP[k], c + COL_STEP[k]]
        if np.isnan(near):
            return SOURCE, SOURCE
        if near < lowest:
            lowest = near
            second = k
    return first, second


@kernel
def search_pits(
    z: Float32s,
    codes: Bytes,
    pits: Int64s,
    step_m: Float64s,
    depth_limit: float,
    length_limit: float,
    most: int,
) -> tuple[Int32s, Bytes, Float32s]:
    """Find the way out of each pit.

    Parameters
    ----------
    z : float32 (rows, cols)
        Surface, NaN in voids.
    codes : uint8 (rows, cols)
        Raw steepest codes, flats marked.
    pits : int64 (n,)
        Flat numbers of unresolved cells, rising.
    step_m : float64 (8,)
        Length of a step, m.
    depth_limit, length_limit : float
        A way whose cut is deeper or longer than this is not taken.
    most : int
        A pit whose search visits more cells, or runs further, is left open.

    Returns
    -------
    tuple
        Number of steps of each way (0 where none is taken), the steps' codes one way after the
        other, and the level of the pass of each pit without a way (NaN where it was left open).
    """
    steps = np.zeros(pits.size, dtype=np.int32)
    out = np.empty(max(64, 3 * pits.size), dtype=np.uint8)
    passes = np.empty(64, dtype=z.dtype)
    n = 0
    n_open = 0
    work = new_workspace(z, NARROW)
    cols = z.shape[1]
    bounds = (most, length_limit, np.inf)
    no_lakes = np.empty((0, 0), dtype=z.dtype)
    for i in range(pits.size):
        level = z[pits[i] // cols, pits[i] % cols]
        k1, k2 = _one_step_out(z, pits[i], level)
        near = pits[i] + ROW_STEP[k1 & 7] * cols + COL_STEP[k1 & 7]
        depth = z[near // cols, near % cols] - level
        if k2 != SOURCE and depth <= depth_limit and step_m[k1 & 7] <= length_limit:
            out = grown(out, n + 2)
            out[n] = k1
            out[n + 1] = k2
            n += 2
            steps[i] = 2
            continue
        end, spill, whole, _, work = search(
            z, codes, no_lakes, pits[i : i + 1], False, i + 1, step_m, bounds, work
        )
        if end >= 0 and whole:
            first = n
            _, n, depth, length, out = trace_back(z, codes, end, level, work, step_m, out, n)
            if depth <= depth_limit and length <= length_limit:
                steps[i] = n - first
                continue
            n = first
        passes = grown(passes, n_open + 1)
        passes[n_open] = spill if end >= 0 and whole else np.nan
        n_open += 1
    return steps, out[:n], passes[:n_open]


@kernel
def search_flats(
    z: Float32s,
    codes: Bytes,
    cells: Int64s,
    step_m: Float64s,
    depth_limit: float,
    length_limit: float,
    most: int,
) -> tuple[Int64s, Int64s, Int32s, Bytes, Float32s]:
    """Find the way out of closed flats; ``cells`` lists theirs, rising.

    As `search_pits`, for one flat after the other; their cells are marked as `FLAT_CLOSED`.
    Returns the first cell of each flat, the cell its way starts from, and then as there.
    """
    start = np.empty(64, dtype=np.int64)
    mouth = np.empty(64, dtype=np.int64)
    steps = np.empty(64, dtype=np.int32)
    out = np.empty(64, dtype=np.uint8)
    passes = np.empty(64, dtype=z.dtype)
    queue = np.empty(64, dtype=np.int64)
    n = 0
    flats = 0
    n_open = 0
    work = new_workspace(z, NARROW)
    cols = z.shape[1]
    bounds = (most, length_limit, np.inf)
    no_lakes = np.empty((0, 0), dtype=z.dtype)
    for i in range(cells.size):
        if codes[cells[i] // cols, cells[i] % cols] != UNRESOLVED:
            continue
        level = z[cells[i] // cols, cells[i] % cols]
        queue, size = flood_flat(z, codes, cells[i], UNRESOLVED, FLAT_NOW, queue)
        end, spill, whole, _, work = search(
            z, codes, no_lakes, queue[:size], True, i + 1, step_m, bounds, work
        )
        start = grown(start, flats + 1)
        mouth = grown(mouth, flats + 1)
        steps = grown(steps, flats + 1)
        start[flats] = cells[i]
        mouth[flats] = cells[i]
        steps[flats] = 0
        first = n
        if end >= 0 and whole:
            mouth[flats], n, depth, length, out = trace_back(
                z, codes, end, level, work, step_m, out, n
            )
            if depth <= depth_limit and length <= length_limit:
                steps[flats] = n - first
        if steps[flats] == 0:
            n = first
            passes = grown(passes, n_open + 1)
            passes[n_open] = spill if end >= 0 and whole else np.nan
            n_open += 1
        flats += 1
        for j in range(size):
            codes[queue[j] // cols, queue[j] % cols] = FLAT_CLOSED
    return start[:flats], mouth[:flats], steps[:flats], out[:n], passes[:n_open]


@kernel
def passes_of_few(
    z: Float32s, codes: Bytes, start: Int64s, n_flats: int, step_m: Float64s, most: int
) -> Float32s:
    """Return the level of the pass of depressions, the first ``n_flats`` being flats.

    It is NaN where the searches, together, would visit more cells than ``most``.
    """
    passes = np.full(start.size, np.nan, dtype=z.dtype)
    no_lakes = np.empty((0, 0), dtype=z.dtype)
    work = new_workspace(z, WIDE)
    queue = np.empty(64, dtype=np.int64)
    for i in range(start.size):
        queue[0] = start[i]
        size = 1
        if i < n_flats:
            queue, size = flood_flat(z, codes, start[i], FLAT_CLOSED, FLAT_NOW, queue)
        bounds = (min(most, SOME_VISITS), np.inf, np.inf)
        end, spill, _, n, work = search(
            z, codes, no_lakes, queue[:size], i < n_flats, i + 1, step_m, bounds, work
        )
        if i < n_flats:
            for j in range(size):
                codes[queue[j] // z.shape[1], queue[j] % z.shape[1]] = FLAT_CLOSED
        if end >= 0:
            passes[i] = spill
        most -= n + size
        if most < 0:
            break
    return passes
