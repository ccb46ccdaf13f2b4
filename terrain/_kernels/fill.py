"""Which depressions are filled instead of cut, and where their water then stands."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.carve import WIDE, new_workspace, search, trace_back
from terrain._kernels.codes import COL_STEP, FLAT_CLOSED, FLAT_NOW, OUTLET, ROW_STEP
from terrain._kernels.flats import drain_rings, flood_flat, offsets, reopen
from terrain._kernels.heap import grown, heap_drop_first, heap_push
from terrain._kernels.kinds import Bytes, Float32s, Float64s, Int32s, Int64s, Real, Whole

#: Ways are looked up by tiles of so many cells across, a power of two.
TILE_BITS = 4
ENDLESS = 2**62


@kernel
def _raise_one(
    surface: Float32s, bottom: Float32s, start: int, level: Real, cells: Int64s, n: int
) -> tuple[Int64s, int]:
    """Raise the ground that hangs together with a cell below a level to that level.

    The raised cells are written behind the first ``n``; returns how many there are then.
    """
    heights = surface.reshape(-1)
    bottoms = bottom.reshape(-1)
    offset = offsets(surface.shape[1])
    lowest = heights[start]
    head = n
    if lowest < level:
        heights[start] = level
        cells = grown(cells, n + 1)
        cells[n] = start
        n += 1
    while head < n:
        cell = cells[head]
        head += 1
        bottoms[cell] = lowest
        cells = grown(cells, n + 8)
        for k in range(8):
            near = cell + offset[k]
            if heights[near] < level:
                heights[near] = level
                cells[n] = near
                n += 1
    return cells, n


@kernel
def raise_all(surface: Float32s, bottom: Float32s, start: Int64s, level: Float32s) -> Int64s:
    """Raise depressions to their passes; the one with the lowest start comes first.

    Those that lie in one already raised stand at or above their pass then and are passed over,
    so that no cell is raised twice. Returns the raised cells; ``bottom`` is as for `decide`.
    """
    cells = np.empty(64, dtype=np.int64)
    n = 0
    for i in range(start.size):
        cells, n = _raise_one(surface, bottom, start[i], level[i], cells, n)
    return cells[:n]


@kernel
def _highest_on_way(
    surface: Float32s, raw: Float32s, start: int, way: Bytes, mark: float
) -> tuple[Real, bool]:
    """Return the highest level along a way, and whether it meets ground that was raised.

    With ``mark`` finite only ground that was raised to this level counts.
    """
    cols = surface.shape[1]
    r = start // cols
    c = start % cols
    high = surface[r, c]
    hit = surface[r, c] > raw[r, c] and (mark == np.inf or surface[r, c] == mark)
    for j in range(way.size):
        if way[j] < OUTLET:
            r += ROW_STEP[way[j]]
            c += COL_STEP[way[j]]
            high = max(high, surface[r, c])
            if surface[r, c] > raw[r, c] and (mark == np.inf or surface[r, c] == mark):
                hit = True
    return high, hit


@kernel
def ways_hit(
    surface: Float32s, raw: Float32s, mouth: Int64s, first: Int64s, steps: Int32s, way: Bytes
) -> tuple[Int64s, Float32s]:
    """List the ways that hold or end at raised ground, and the levels of their passes.

    Ways that start on raised ground are gone: their steps are set to 0.
    """
    cols = surface.shape[1]
    hits = np.empty(64, dtype=np.int64)
    passes = np.empty(64, dtype=surface.dtype)
    n = 0
    for i in range(mouth.size):
        if steps[i] == 0:
            continue
        if surface[mouth[i] // cols, mouth[i] % cols] > raw[mouth[i] // cols, mouth[i] % cols]:
            steps[i] = 0
            continue
        part = way[first[i] : first[i] + steps[i]]
        high, hit = _highest_on_way(surface, raw, mouth[i], part, np.inf)
        if hit:
            hits = grown(hits, n + 1)
            passes = grown(passes, n + 1)
            hits[n] = i
            passes[n] = high
            n += 1
    return hits[:n], passes[:n]


@kernel
def _enter_tiles(
    number: int,
    mouth: int,
    way: Bytes,
    cols: int,
    head: Int64s,
    entries: tuple[Int64s, Int64s],
    n: int,
) -> tuple[tuple[Int64s, Int64s], int]:
    """Enter a way into the chain of every tile it touches."""
    following, whose = entries
    across = (cols >> TILE_BITS) + 1
    r = mouth // cols
    c = mouth % cols
    last = -1
    for j in range(way.size + 1):
        tile = (r >> TILE_BITS) * across + (c >> TILE_BITS)
        if tile != last:
            following = grown(following, n + 1)
            whose = grown(whose, n + 1)
            following[n] = head[tile]
            whose[n] = number
            head[tile] = n
            n += 1
            last = tile
        if j < way.size and way[j] < OUTLET:
            r += ROW_STEP[way[j]]
            c += COL_STEP[way[j]]
    return (following, whose), n


@kernel
def decide(
    raw: Float32s,
    seen: Float32s,
    surface: Float32s,
    bottom: Float32s,
    codes: Bytes,
    start: Int64s,
    n_flats: int,
    mouth: Int64s,
    first: Int64s,
    steps: Int32s,
    way: Bytes,
    asked: Int64s,
    passes: Float32s,
    age: Int64s,
    step_m: Float64s,
    inverse: tuple[Real, Real, Real],
    length_limit: float,
) -> tuple[Bytes, Int64s, Float32s]:
    """Cut or fill depressions whose cut is not too deep, from the lowest pass to the highest.

    Each is searched from once more on the surface as it then stands, filled up to its pass and
    no further. A fill may cover, or lie across, a way found before: that one's pass is as high
    or higher, so it is searched anew in its turn, and each decision stands for good.

    Parameters
    ----------
    raw, surface : float32 (rows, cols)
        Surface without and with fills; the second is raised.
    seen : float32 (rows, cols)
        A view of ``surface`` that may only be read.
    bottom : float32 (rows, cols)
        For raised cells the level their depression started from, else infinity; kept up.
    codes : uint8 (rows, cols)
        As searches see them; level water that drains has its directions.
    start, mouth, first, steps, way
        All depressions, flats before pits: first cell, cell a way starts from, its place and
        number of steps in ``way``. Changed in place.
    asked, passes
        Which ones to decide, and the level of the pass of each.
    age : int64 (n,)
        Order of all depressions: by their levels, of equals by their numbers.
    step_m, length_limit
        As for searches.
    inverse
        One over the distances north, east and across, 1/m.

    Returns
    -------
    tuple
        The steps' codes, with those of new ways behind; the first cells and levels of fills.
    """
    cols = raw.shape[1]
    tiles = ((raw.shape[0] >> TILE_BITS) + 1) * ((cols >> TILE_BITS) + 1)
    across = (cols >> TILE_BITS) + 1
    head = np.full(tiles, -1, dtype=np.int64)
    entries = (np.empty(64, dtype=np.int64), np.empty(64, dtype=np.int64))
    n_entries = 0
    for i in range(start.size):
        if steps[i] > 0:
            part = way[first[i] : first[i] + steps[i]]
            entries, n_entries = _enter_tiles(i, mouth[i], part, cols, head, entries, n_entries)
    n_way = way.size
    filled = np.empty(64, dtype=np.int64)
    filled_to = np.empty(64, dtype=raw.dtype)
    n_filled = 0
    stamp_of = np.zeros(tiles, dtype=np.int64)
    touched = np.empty(64, dtype=np.int64)
    waits = np.zeros(start.size, dtype=np.bool_)
    h_level = np.empty(256, dtype=raw.dtype)
    h_seq = np.empty(256, dtype=np.int64)
    h_cell = np.empty(256, dtype=np.int64)
    size = 0
    for j in range(asked.size):
        h_level = grown(h_level, size + 1)
        h_seq = grown(h_seq, size + 1)
        h_cell = grown(h_cell, size + 1)
        size = heap_push(h_level, h_seq, h_cell, size, passes[j], age[asked[j]], asked[j])
        waits[asked[j]] = True
    work = new_workspace(raw, WIDE)
    queue = np.empty(64, dtype=np.int64)
    raised = np.empty(64, dtype=np.int64)
    stamp = 0
    while size > 0:
        i = h_cell[0]
        spill = h_level[0]
        size = heap_drop_first(h_level, h_seq, h_cell, size)
        waits[i] = False
        steps[i] = 0
        level = raw[start[i] // cols, start[i] % cols]
        if surface[start[i] // cols, start[i] % cols] > level:
            continue
        queue[0] = start[i]
        n = 1
        if i < n_flats:
            queue, n = flood_flat(seen, codes, start[i], FLAT_CLOSED, FLAT_NOW, queue)
        stamp += 1
        bounds = (ENDLESS, length_limit, float(spill))
        end: Whole = -2
        while end == -2:
            end, _, _, _, work = search(
                seen, codes, bottom, queue[:n], i < n_flats, stamp, step_m, bounds, work
            )
            if end == -2:
                width = 2 * int(np.sqrt(work[2].size))
                work = new_workspace(raw, width)
        if end >= 0:
            first[i] = n_way
            mouth[i], n_way, _, _, way = trace_back(
                seen, codes, end, level, work, step_m, way, n_way
            )
            steps[i] = n_way - first[i]
            part = way[first[i] : n_way]
            entries, n_entries = _enter_tiles(i, mouth[i], part, cols, head, entries, n_entries)
        if i < n_flats:
            for j in range(n):
                codes[queue[j] // cols, queue[j] % cols] = FLAT_CLOSED
        if end >= 0:
            continue
        filled = grown(filled, n_filled + 1)
        filled_to = grown(filled_to, n_filled + 1)
        filled[n_filled] = start[i]
        filled_to[n_filled] = spill
        n_filled += 1
        raised, n = _raise_one(surface, bottom, start[i], spill, raised, 0)
        n_touched = 0
        for j in range(n):
            tile = ((raised[j] // cols) >> TILE_BITS) * across + ((raised[j] % cols) >> TILE_BITS)
            if stamp_of[tile] != stamp:
                stamp_of[tile] = stamp
                touched = grown(touched, n_touched + 1)
                touched[n_touched] = tile
                n_touched += 1
        drain_rings(seen, codes, *reopen(seen, *inverse, raised[:n], codes))
        for j in range(n_touched):
            entry = head[touched[j]]
            while entry >= 0:
                other = entries[1][entry]
                entry = entries[0][entry]
                if steps[other] == 0 or waits[other]:
                    continue
                part = way[first[other] : first[other] + steps[other]]
                high, hit = _highest_on_way(surface, raw, mouth[other], part, float(spill))
                if hit:
                    h_level = grown(h_level, size + 1)
                    h_seq = grown(h_seq, size + 1)
                    h_cell = grown(h_cell, size + 1)
                    size = heap_push(h_level, h_seq, h_cell, size, float(high), age[other], other)
                    waits[other] = True
    return way[:n_way], filled[:n_filled], filled_to[:n_filled]
