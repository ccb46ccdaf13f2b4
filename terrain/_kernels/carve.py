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
from terrain._kernels.heap import (
    grown,
    hash_grown,
    hash_slot,
    heap_drop_first,
    heap_push,
    heap_roomy,
    new_heap,
)
from terrain._kernels.kinds import Bytes, Float32s, Float64s, Int32s, Int64s, Real, Whole, Workspace

SOURCE = 8  # in place of a code: the search began here
#: So many cells are visited before a depression is left to `terrain._kernels.passes`, which
#: takes the large ones together.
MANY_VISITS = 4096


@kernel
def new_workspace(z: Float32s) -> Workspace:
    """Return the growable arrays of a search: heap, and hash of visited cells."""
    return (
        new_heap(z),
        np.empty(1024, dtype=np.int64),
        np.zeros(1024, dtype=np.int64),
        np.empty(1024, dtype=np.uint8),
        np.empty(1024, dtype=np.float32),
    )


@kernel
def may_end(z: Float32s, codes: Bytes, cell: int, level: Real, start: int, is_flat: bool) -> bool:
    """Whether a search that started at this level may end at a cell."""
    cols = z.shape[1]
    row = cell // cols
    col = cell % cols
    here = z[row, col]
    if here < level:
        return True
    if here == level:
        code = codes[row, col]
        if code <= OUTLET or (code & EXPLICIT != 0 and code != VOID):
            return True
        if code == FLAT_CLOSED:
            return not is_flat or first_of_flat(z, codes, cell) < start
        if code == UNRESOLVED and not is_flat and cell < start:
            return True
    return touches_outside(z, row, col)


@kernel
def _visit(
    keys: Int64s, stamps: Int64s, back: Bytes, far: Float32s, stamp: int, cell: Whole
) -> int:
    """Note a cell as visited and return its slot; -1 if it was visited before."""
    slot = hash_slot(keys, stamps, stamp, cell)
    if stamps[slot] == stamp:
        return -1
    keys[slot] = cell
    stamps[slot] = stamp
    back[slot] = SOURCE
    far[slot] = 0.0
    return int(slot)


@kernel
def _way_across(bottom: Float32s, codes: Bytes, cell: Whole, level: Real) -> int:
    """Code of the only step from a cell of a lake whose water runs lower than a level; else -1.

    ``bottom`` is infinite but on lakes.
    """
    if bottom.size == 0:
        return -1
    cols = bottom.shape[1]
    if bottom[cell // cols, cell % cols] < level:
        return int(codes[cell // cols, cell % cols] & 7)
    return -1


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
) -> tuple[Whole, Real, bool, Workspace]:
    """Visit cells from the sources outward, lowest first, until one where the search may end.

    ``bounds``: so many cells are visited at most; no way is followed that runs further than this
    above the start's level, m; nothing above this level is visited. Cells of a flat that is
    searched from carry `FLAT_NOW`. Where ``bottom`` is not empty it holds, for cells raised to
    the pass of a depression, the level that one started from, and else infinity: across such a
    lake the search goes straight to the lake's own outlet if that leads lower than the start.

    Returns the last cell (-1 when there is none), the level of the pass, whether no way was left
    for its length, and the workspace, which holds for each visited cell the code of the step that
    came to it.
    """
    most, furthest, highest = bounds
    heap, keys, stamps, back, far = work
    cols = z.shape[1]
    level = z[sources[0] // cols, sources[0] % cols]
    if not is_flat:
        _visit(keys, stamps, back, far, stamp, sources[0])
    visited = 1
    whole = True
    size = 0
    spill = level
    walked = np.float32(0.0)
    end = np.int64(-1)
    only = -1
    j = 0
    while True:
        if j < sources.size:
            cell = sources[j]
            j += 1
        else:
            if size == 0 or visited > most or heap[0][0] > highest:
                break
            cell = heap[2][0]
            spill = max(spill, heap[0][0])
            size = heap_drop_first(heap[0], heap[1], heap[2], size)
            if may_end(z, codes, cell, level, sources[0], is_flat):
                end = np.int64(cell)
                break
            walked = far[hash_slot(keys, stamps, stamp, cell)]
            only = _way_across(bottom, codes, cell, level)
        heap = heap_roomy(heap, size + 8)
        if 2 * (visited + 8) > keys.size:
            keys, stamps, back, far = hash_grown(keys, stamps, back, far, stamp)
        for k in range(8):
            r = cell // cols + ROW_STEP[k]
            c = cell % cols + COL_STEP[k]
            if (only >= 0 and k != only) or (is_flat and codes[r, c] == FLAT_NOW):
                continue
            slot = _visit(keys, stamps, back, far, stamp, r * cols + c)
            if slot < 0:
                continue
            visited += 1
            back[slot] = k
            far[slot] = walked + step_m[k] if z[r, c] > level else walked
            if far[slot] <= furthest:
                size = heap_push(heap[0], heap[1], heap[2], size, z[r, c], visited, r * cols + c)
            else:
                whole = False
    return end, spill, whole, (heap, keys, stamps, back, far)


@kernel
def trace_back(
    z: Float32s,
    codes: Bytes,
    end: Whole,
    level: Real,
    stamp: int,
    work: Workspace,
    step_m: Float64s,
    out: Bytes,
    n: int,
) -> tuple[Whole, int, Real, Real, Bytes]:
    """Write the codes from a search's source to its end and measure the cut it needs.

    Returns the source, the number of codes written so far, depth and length of the cut, and the
    array of codes.
    """
    keys, stamps, back = work[1], work[2], work[3]
    cols = z.shape[1]
    depth = z.dtype.type(0.0)
    length = 0.0
    first = n
    above = z[end // cols, end % cols] - level
    if above > 0:  # a cut through the raster's own edge
        depth = above
        out = grown(out, n + 1)
        out[n] = OUTLET
        n += 1
    cell = end
    while codes[cell // cols, cell % cols] != FLAT_NOW:
        k = back[hash_slot(keys, stamps, stamp, cell)]
        if k == SOURCE:
            break
        if above > 0:
            length += step_m[k]
        cell = cell - ROW_STEP[k] * cols - COL_STEP[k]
        above = z[cell // cols, cell % cols] - level
        depth = max(depth, above)
        out = grown(out, n + 1)
        out[n] = k
        n += 1
    out[first:n] = out[first:n][::-1].copy()
    return cell, n, depth, length, out


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
    work = new_workspace(z)
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
        end, spill, whole, work = search(
            z, codes, no_lakes, pits[i : i + 1], False, i + 1, step_m, bounds, work
        )
        if end >= 0 and whole:
            first = n
            _, n, depth, length, out = trace_back(z, codes, end, level, i + 1, work, step_m, out, n)
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
    work = new_workspace(z)
    cols = z.shape[1]
    bounds = (most, length_limit, np.inf)
    no_lakes = np.empty((0, 0), dtype=z.dtype)
    for i in range(cells.size):
        if codes[cells[i] // cols, cells[i] % cols] != UNRESOLVED:
            continue
        level = z[cells[i] // cols, cells[i] % cols]
        queue, size = flood_flat(z, codes, cells[i], UNRESOLVED, FLAT_NOW, queue)
        end, spill, whole, work = search(
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
                z, codes, end, level, i + 1, work, step_m, out, n
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
