"""The lowest passes out of large depressions, from the borders of their catchments.

Every cell drains, down the slope and along the ways already found, to one of these depressions or
off the raster. Where two such catchments touch lies a pass; joined from the lowest pass on, the
depression that starts higher has found its pass, and the other goes on for both. This is the
spanning tree of basins of Cordonnier, Bovy and Braun (2019, Earth Surface Dynamics 7:549-562), and
the tree of nested depressions of Barnes, Callaghan and Wickert (2020, Earth Surface Dynamics
8:431-445), of which only the levels of the passes are kept. Each cell is looked at a fixed number
of times.
"""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, FLAT_CLOSED, FLAT_NOW, OUTLET, ROW_STEP, VOID
from terrain._kernels.flats import flood_flat, offsets
from terrain._kernels.heap import grown
from terrain._kernels.kinds import Bools, Bytes, Float32s, Int32s, Int64s, Real, Whole

#: Label of a cell that belongs to no catchment yet; depressions with a way have labels below.
UNKNOWN = -1


@kernel
def label_catchments(
    z: Float32s,
    codes: Bytes,
    start: Int64s,
    n_flats: int,
    mouth: Int64s,
    first: Int64s,
    steps: Int32s,
    way: Bytes,
    label: Int32s,
) -> None:
    """Write which depression without a way each cell drains to, 0 for none.

    Depressions are counted from 1 in the order given. ``label`` comes as -1 everywhere.
    """
    offset = offsets(z.shape[1])
    drains = codes.reshape(-1)
    of = label.reshape(-1)
    queue = np.empty(64, dtype=np.int64)
    for i in range(start.size):
        own = i + 1 if steps[i] == 0 else -i - 2
        queue[0] = start[i]
        n = 1
        if i < n_flats:
            queue, n = flood_flat(z, codes, start[i], FLAT_CLOSED, FLAT_NOW, queue)
        for j in range(n):
            of[queue[j]] = own
            if i < n_flats:
                drains[queue[j]] = FLAT_CLOSED
    path = np.empty(64, dtype=np.int64)
    for begin in range(z.size):
        cell = np.int64(begin)
        n = 0
        found = of[cell]
        if found == UNKNOWN and drains[cell] < OUTLET and of[cell + offset[drains[cell]]] >= 0:
            of[cell] = of[cell + offset[drains[cell]]]
            continue
        while found < 0:
            path = grown(path, n + 1)
            path[n] = cell
            n += 1
            k = np.int64(drains[cell])
            if found < UNKNOWN:  # a depression with a way: on to its end
                i = -found - 2
                cell = mouth[i]
                for j in range(first[i], first[i] + steps[i]):
                    k = np.int64(way[j])
                    if k < OUTLET:
                        cell += offset[k]
            elif k != VOID and k != OUTLET:
                k &= 7
                cell += offset[k]
            found = np.int32(0) if k >= OUTLET else of[cell]
        for j in range(n):
            of[path[j]] = found


@kernel
def _enter(
    keys: Int64s, least: Float32s, size: int, one: Whole, other: Whole, level: Real
) -> tuple[Int64s, Float32s, int]:
    """Keep the least level of a border between two catchments; returns the table, its size."""
    if 2 * (size + 1) > keys.size:
        old_keys = keys
        old_least = least
        keys = np.full(2 * old_keys.size, -1, dtype=np.int64)
        least = np.empty(2 * old_keys.size, dtype=old_least.dtype)
        for j in range(old_keys.size):
            if old_keys[j] >= 0:
                slot = _slot(keys, old_keys[j])
                keys[slot] = old_keys[j]
                least[slot] = old_least[j]
    key = (np.int64(min(one, other)) << 32) | np.int64(max(one, other))
    slot = _slot(keys, key)
    if keys[slot] < 0:
        keys[slot] = key
        least[slot] = level
        size += 1
    elif level < least[slot]:
        least[slot] = level
    return keys, least, size


@kernel
def _slot(keys: Int64s, key: Whole) -> np.int64:
    """Slot that holds a key, or the free one (below 0) where it would go."""
    mask = np.int64(keys.size - 1)
    folded = (key ^ (key >> np.int64(29))) & np.int64(0x7FFFFFFF)  # the product stays below 2**63
    slot = (folded * np.int64(2654435761)) >> np.int64(9) & mask
    while keys[slot] >= 0 and keys[slot] != key:
        slot = (slot + 1) & mask
    return slot


@kernel
def _differing(row: Int32s, below: Int32s, out: Bools) -> None:
    """Mark cells of a row whose label differs from one to the east or below; both ends too."""
    for c in range(np.uint64(1), np.uint64(row.size - 1)):
        own = row[c]
        out[c] = (
            (own != row[c + np.uint64(1)])
            | (own != below[c - np.uint64(1)])
            | (own != below[c])
            | (own != below[c + np.uint64(1)])
        )
    out[0] = True
    out[row.size - 1] = True


@kernel
def borders(
    z: Float32s, label: Int32s, row_start: int, row_stop: int
) -> tuple[Int64s, Int64s, Float32s]:
    """List pairs of catchments that touch in some rows, and the least level of each border.

    A cell on the raster's edge or beside a void, whose label is 0 too, borders on the outside, 0,
    at its own level.
    """
    rows, cols = z.shape
    keys = np.full(64, -1, dtype=np.int64)
    least = np.empty(64, dtype=z.dtype)
    size = 0
    differs = np.zeros(cols, dtype=np.bool_)
    for r in range(row_start, row_stop):
        if r == rows - 1 or cols < 3:
            differs[:] = True
        else:
            _differing(label[r], label[r + 1], differs)
        for c in range(cols):
            if not differs[c] and r > 0:
                continue
            own = label[r, c]
            on_edge = r == 0 or c == 0 or r == rows - 1 or c == cols - 1
            if own > 0 and on_edge:
                keys, least, size = _enter(keys, least, size, 0, own, z[r, c])
            for k in range(2, 6):
                rr = r + ROW_STEP[k]
                cc = c + COL_STEP[k]
                if rr >= rows or cc < 0 or cc >= cols or label[rr, cc] == own:
                    continue
                level = z[r, c]
                if np.isnan(level) or z[rr, cc] > level:
                    level = z[rr, cc]
                keys, least, size = _enter(keys, least, size, own, label[rr, cc], level)
    one = np.empty(size, dtype=np.int64)
    other = np.empty(size, dtype=np.int64)
    levels = np.empty(size, dtype=z.dtype)
    n = 0
    for j in range(keys.size):
        if keys[j] >= 0:
            one[n] = keys[j] >> 32
            other[n] = keys[j] & 0xFFFFFFFF
            levels[n] = least[j]
            n += 1
    return one, other, levels


@kernel
def join_catchments(one: Int64s, other: Int64s, level: Float32s, start_level: Float32s) -> Float32s:
    """Return the pass of each depression; borders by rising level, 0 being the outside.

    ``start_level`` has the level of each, by number, and that of the outside, minus infinity.
    """
    passes = np.full(start_level.size, np.nan, dtype=start_level.dtype)
    leads_to = np.arange(start_level.size)
    for j in range(one.size):
        a = one[j]
        while leads_to[a] != a:
            leads_to[a] = leads_to[leads_to[a]]
            a = leads_to[a]
        b = other[j]
        while leads_to[b] != b:
            leads_to[b] = leads_to[leads_to[b]]
            b = leads_to[b]
        if a == b:
            continue
        if start_level[b] < start_level[a] or (start_level[b] == start_level[a] and b < a):
            a, b = b, a
        leads_to[b] = a
        passes[b] = level[j]
    return passes
