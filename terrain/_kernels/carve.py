"""From cells without a lower neighbour, the way out over the lowest pass.

A pit is a single cell, a flat several of one level. Each search only reads the surface and finds
a *way*: cells, each with the code of its way on, that end at a lower cell, at a cell of equal
level that already drains, or where water leaves the raster. What ways claim is settled afterwards
in one order: the lower level first, then flats before pits, then the earlier one. Along the
pointers (level, way) never rises and a way has no loops, so no cycle can form, whatever the
number of workers.
"""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import (
    COL_STEP,
    FLAT_DONE,
    FLAT_NEXT,
    FLAT_NOW,
    OUTLET,
    ROW_STEP,
    SIDES_FIRST,
    UNRESOLVED,
)
from terrain._kernels.directions import touches_outside
from terrain._kernels.fill import list_fill
from terrain._kernels.heap import grown, hash_grown, hash_slot, heap_drop_first, heap_push
from terrain._kernels.kinds import Bytes, Float32s, Float64s, Int32s, Int64s, Real, Whole, Workspace

SOURCE = 8  # in place of a code: the search began here


@kernel
def new_workspace(z: Float32s) -> Workspace:
    """Return the growable arrays of a search: heap, hash of visited cells, cells passed over."""
    return (
        np.empty(256, dtype=z.dtype),
        np.empty(256, dtype=np.int64),
        np.empty(256, dtype=np.int64),
        np.empty(1024, dtype=np.int64),
        np.zeros(1024, dtype=np.int64),
        np.empty(1024, dtype=np.uint8),
        np.empty(256, dtype=np.int64),
    )


@kernel
def _may_end(z: Float32s, codes: Bytes, cell: int, level: Real, start: int, is_flat: bool) -> bool:
    """Whether a search that started at this level may end at a cell."""
    cols = z.shape[1]
    row = cell // cols
    col = cell % cols
    here = z[row, col]
    if here < level:
        return True
    if here == level:
        code = codes[row, col]
        if code <= OUTLET or code == FLAT_DONE:
            return True
        # of two pits of equal level the later one may drain into the earlier one
        if code == UNRESOLVED and not is_flat and cell < start:
            return True
    return touches_outside(z, row, col)


@kernel
def _visit(keys: Int64s, stamps: Int64s, back: Bytes, stamp: int, cell: int, code: int) -> bool:
    """Note a cell as visited, with the code of the step that came to it; False if it was."""
    slot = hash_slot(keys, stamps, stamp, cell)
    if stamps[slot] == stamp:
        return False
    keys[slot] = cell
    stamps[slot] = stamp
    back[slot] = code
    return True


@kernel
def _search(
    z: Float32s,
    codes: Bytes,
    sources: Int64s,
    level: Real,
    is_flat: bool,
    stamp: int,
    work: Workspace,
) -> tuple[Whole, Real, int, Workspace]:
    """Visit cells from the sources outward, lowest first, until one where the search may end.

    Returns that cell (-1 when there is none), the level of the pass, the number of cells passed
    over before it (all lie below it; what is met afterwards lies beyond) and the workspace.
    ``back`` then holds, for each visited cell, the code of the step that came to it.
    """
    h_level, h_seq, h_cell, keys, stamps, back, passed = work
    cols = z.shape[1]
    while 4 * sources.size > keys.size:
        keys, stamps, back = hash_grown(keys, stamps, back, stamp)
    for j in range(sources.size):
        _visit(keys, stamps, back, stamp, sources[j], SOURCE)
    n_visited = sources.size
    size = 0
    seq = 0
    n_passed = 0
    n_inside = 0
    spill = level
    end = np.int64(-1)
    j = 0
    while True:
        if j < sources.size:
            cell = sources[j]
            j += 1
        else:
            if size == 0:
                break
            cell = h_cell[0]
            if h_level[0] > spill:
                spill = h_level[0]
                n_inside = n_passed
            size = heap_drop_first(h_level, h_seq, h_cell, size)
            if _may_end(z, codes, cell, level, sources[0], is_flat):
                end = cell
                break
            passed = grown(passed, n_passed + 1)
            passed[n_passed] = cell
            n_passed += 1
        h_level = grown(h_level, size + 8)
        h_seq = grown(h_seq, size + 8)
        h_cell = grown(h_cell, size + 8)
        if 2 * (n_visited + 8) > keys.size:
            keys, stamps, back = hash_grown(keys, stamps, back, stamp)
        row = cell // cols
        col = cell % cols
        for k in range(8):
            r = row + ROW_STEP[k]
            c = col + COL_STEP[k]
            near = r * cols + c
            if not _visit(keys, stamps, back, stamp, near, k):
                continue
            n_visited += 1
            size = heap_push(h_level, h_seq, h_cell, size, z[r, c], seq, near)
            seq += 1
    return end, spill, n_inside, (h_level, h_seq, h_cell, keys, stamps, back, passed)


@kernel
def _trace_back(
    z: Float32s,
    end: Whole,
    level: Real,
    stamp: int,
    work: Workspace,
    step_m: Float64s,
    codes: Bytes,
    n: int,
) -> tuple[Whole, int, Real, Real, Bytes]:
    """Write the codes from a search's source to its end and measure the cut it needs.

    Returns the source, the number of codes written so far, depth and length of the cut, and the
    array of codes.
    """
    keys, stamps, back = work[3], work[4], work[5]
    cols = z.shape[1]
    depth = z.dtype.type(0.0)
    length = 0.0
    first = n
    above = z[end // cols, end % cols] - level
    if above > 0:  # a cut through the raster's own edge
        depth = above
        codes = grown(codes, n + 1)
        codes[n] = OUTLET
        n += 1
    cell = end
    k = back[hash_slot(keys, stamps, stamp, cell)]
    while k != SOURCE:
        if above > 0:
            length += step_m[k]
        cell = cell - ROW_STEP[k] * cols - COL_STEP[k]
        above = z[cell // cols, cell % cols] - level
        depth = max(depth, above)
        codes = grown(codes, n + 1)
        codes[n] = k
        n += 1
        k = back[hash_slot(keys, stamps, stamp, cell)]
    codes[first:n] = codes[first:n][::-1].copy()
    return cell, n, depth, length, codes


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
    notable_depth: float,
) -> tuple[Int32s, Bytes, Float64s, Float64s, Int64s]:
    """Find the way out of each pit.

    Parameters
    ----------
    z : float32 (rows, cols)
        Surface, NaN in voids.
    codes : uint8 (rows, cols)
        Raw steepest codes, flats done.
    pits : int64 (n,)
        Flat numbers of unresolved cells, rising.
    step_m : float64 (8,)
        Length of a step, m.
    depth_limit, length_limit : float
        A cut deeper or longer than this is not made; the depression is to be filled.
    notable_depth : float
        Cuts this deep are listed.

    Returns
    -------
    tuple
        Number of steps of each way (0 where the pit is to be filled) and the steps' codes one
        way after the other; then the listed cuts (pit, depth, length) and the fills (pit, level
        of the pass, end of its cells, cells).
    """
    steps = np.zeros(pits.size, dtype=np.int32)
    out = np.empty(max(64, 3 * pits.size), dtype=np.uint8)
    cuts = np.empty((0, 3), dtype=np.float64)
    fill_of = np.empty((0, 3), dtype=np.float64)
    fill = np.empty(64, dtype=np.int64)
    n = 0
    n_cuts = 0
    n_fills = 0
    n_fill = 0
    work = new_workspace(z)
    cols = z.shape[1]
    for i in range(pits.size):
        level = z[pits[i] // cols, pits[i] % cols]
        k1, k2 = _one_step_out(z, pits[i], level)
        near = pits[i] + ROW_STEP[k1 & 7] * cols + COL_STEP[k1 & 7]
        depth = z[near // cols, near % cols] - level
        length: Real = step_m[k1 & 7]
        if k2 != SOURCE and depth <= depth_limit and length <= length_limit:
            out = grown(out, n + 2)
            out[n] = k1
            out[n + 1] = k2
            n += 2
            steps[i] = 2
        else:
            stamp = i + 1
            end, spill, n_inside, work = _search(
                z, codes, pits[i : i + 1], level, False, stamp, work
            )
            first = n
            _, n, depth, length, out = _trace_back(z, end, level, stamp, work, step_m, out, n)
            if depth > depth_limit or length > length_limit:
                n = first
                n_fill, fill = list_fill(pits[i : i + 1], work[6][:n_inside], fill, n_fill)
                fill_of = _with_row(fill_of, n_fills, pits[i], spill, n_fill)
                n_fills += 1
                continue
            steps[i] = n - first
        if depth >= notable_depth:
            cuts = _with_row(cuts, n_cuts, pits[i], depth, length)
            n_cuts += 1
    return steps, out[:n], cuts[:n_cuts], fill_of[:n_fills], fill[:n_fill]


@kernel
def _with_row(table: Float64s, row: int, a: int, b: Real, c: Real) -> Float64s:
    """Return the table, grown when full, with three numbers written into a row."""
    if row >= table.shape[0]:
        bigger = np.empty((max(16, 2 * row), 3), dtype=np.float64)
        bigger[:row] = table[:row]
        table = bigger
    table[row, 0] = a
    table[row, 1] = b
    table[row, 2] = c
    return table


@kernel
def _flood_flat(
    z: Float32s, codes: Bytes, start: int, queue: Int64s, cells: Int64s, out: Bytes, n: int
) -> tuple[Int64s, int, Int64s, Bytes, int]:
    """Mark the flat around a cell; write its cells that touch a drained cell of equal level."""
    cols = z.shape[1]
    level = z[start // cols, start % cols]
    codes[start // cols, start % cols] = FLAT_NOW
    queue[0] = start
    size = 1
    head = 0
    while head < size:
        cell = queue[head]
        head += 1
        queue = grown(queue, size + 8)
        drained = -1
        for m in range(8):
            k = SIDES_FIRST[m]
            r = cell // cols + ROW_STEP[k]
            c = cell % cols + COL_STEP[k]
            if z[r, c] != level:
                continue
            if codes[r, c] == UNRESOLVED:
                codes[r, c] = FLAT_NOW
                queue[size] = r * cols + c
                size += 1
            elif codes[r, c] <= OUTLET and drained < 0:
                drained = k
        if drained >= 0:
            cells = grown(cells, n + 1)
            out = grown(out, n + 1)
            cells[n] = cell
            out[n] = drained
            n += 1
    return queue, size, cells, out, n


@kernel
def _drain_flat(
    codes: Bytes, first: int, drained: int, cells: Int64s, out: Bytes, n: int
) -> tuple[int, Int64s, Bytes]:
    """From the drained cells of a flat (entries ``first`` to ``drained``) inwards, ring by ring.

    A cell drains to the ring before its own, over a side where it can. What stands between
    ``drained`` and ``n`` is the way out, which lies outside the flat.
    """
    cols = codes.shape[1]
    for j in range(first, drained):
        codes[cells[j] // cols, cells[j] % cols] = FLAT_DONE
    start = first
    stop = drained
    while start < stop:
        ring = n
        for j in range(start, stop):
            cells = grown(cells, n + 8)
            out = grown(out, n + 8)
            for k in range(8):
                r = cells[j] // cols + ROW_STEP[k]
                c = cells[j] % cols + COL_STEP[k]
                if codes[r, c] == FLAT_NOW:
                    codes[r, c] = FLAT_NEXT
                    cells[n] = r * cols + c
                    n += 1
        for j in range(ring, n):
            for m in range(8):
                k = SIDES_FIRST[m]
                r = cells[j] // cols + ROW_STEP[k]
                c = cells[j] % cols + COL_STEP[k]
                if codes[r, c] == FLAT_DONE:  # of this flat: others do not touch it
                    out[j] = k
                    break
        for j in range(ring, n):
            codes[cells[j] // cols, cells[j] % cols] = FLAT_DONE
        start = ring
        stop = n
    return n, cells, out


@kernel
def _write_way(source: Whole, path: Bytes, cols: int, cells: Int64s, out: Bytes, n: int) -> int:
    """Write the cells of a way and its codes behind the first ``n``; returns how many there are."""
    cell = source
    for j in range(path.size):
        cells[n] = cell
        out[n] = path[j]
        n += 1
        if path[j] < 8:
            cell += ROW_STEP[path[j]] * cols + COL_STEP[path[j]]
    return n


@kernel
def search_flats(
    z: Float32s,
    codes: Bytes,
    starts: Int64s,
    step_m: Float64s,
    depth_limit: float,
    length_limit: float,
    notable_depth: float,
) -> tuple[Int64s, Int64s, Int64s, Bytes, Float64s, Float64s, Int64s]:
    """Find the way out of flats, and the way across them to it.

    As `search_pits`, but each start stands for the whole flat around it; starts in a flat already
    done are passed over, and flats are marked in ``codes`` as done. Returns the start of each
    flat, the end of its entries, the entries (cells and codes), and cuts and fills as there.
    """
    flat_start = np.empty(64, dtype=np.int64)
    flat_end = np.empty(64, dtype=np.int64)
    cells = np.empty(max(64, 2 * starts.size), dtype=np.int64)
    out = np.empty(cells.size, dtype=np.uint8)
    path = np.empty(64, dtype=np.uint8)
    cuts = np.empty((0, 3), dtype=np.float64)
    fill_of = np.empty((0, 3), dtype=np.float64)
    fill = np.empty(64, dtype=np.int64)
    queue = np.empty(64, dtype=np.int64)
    n = 0
    n_cuts = 0
    n_fills = 0
    n_fill = 0
    flats = 0
    work = new_workspace(z)
    cols = z.shape[1]
    for i in range(starts.size):
        if codes[starts[i] // cols, starts[i] % cols] != UNRESOLVED:
            continue
        level = z[starts[i] // cols, starts[i] % cols]
        first = n
        queue, size, cells, out, n = _flood_flat(z, codes, starts[i], queue, cells, out, n)
        drained = n
        if n == first:  # closed: nothing of its level drains
            stamp = i + 1  # a filled flat must not leave its stamp to the next
            end, spill, n_inside, work = _search(z, codes, queue[:size], level, True, stamp, work)
            source, n_path, depth, length, path = _trace_back(
                z, end, level, stamp, work, step_m, path, 0
            )
            if depth > depth_limit or length > length_limit:
                n_fill, fill = list_fill(queue[:size], work[6][:n_inside], fill, n_fill)
                fill_of = _with_row(fill_of, n_fills, starts[i], spill, n_fill)
                n_fills += 1
                for j in range(size):
                    codes[queue[j] // cols, queue[j] % cols] = FLAT_DONE
                continue
            if depth >= notable_depth:
                cuts = _with_row(cuts, n_cuts, starts[i], depth, length)
                n_cuts += 1
            cells = grown(cells, n + n_path)
            out = grown(out, n + n_path)
            n = _write_way(source, path[:n_path], cols, cells, out, n)
            drained = first + 1  # of the way out only its first cell lies in the flat
        n, cells, out = _drain_flat(codes, first, drained, cells, out, n)
        flat_start = grown(flat_start, flats + 1)
        flat_end = grown(flat_end, flats + 1)
        flat_start[flats] = starts[i]
        flat_end[flats] = n
        flats += 1
    return (
        flat_start[:flats],
        flat_end[:flats],
        cells[:n],
        out[:n],
        cuts[:n_cuts],
        fill_of[:n_fills],
        fill[:n_fill],
    )
