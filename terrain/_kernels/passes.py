"""The lowest passes out of large depressions, all found together.

Water rises in all of them at once, cell by cell from the lowest. Where two floods meet, the one
with the higher start has found its pass and the other goes on with the ground of both: the tree
of nested depressions (Barnes, Callaghan and Wickert 2020, Earth Surface Dynamics 8:431-445), of
which only the levels of the passes are kept. Each cell is visited once.
"""

from __future__ import annotations

from typing import TypeAlias

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.carve import may_end
from terrain._kernels.codes import COL_STEP, FLAT_CLOSED, FLAT_NOW, ROW_STEP
from terrain._kernels.flats import flood_flat
from terrain._kernels.heap import grown, heap_drop_first, heap_push, heap_roomy, new_heap
from terrain._kernels.kinds import Bytes, Float32s, Heap, Int32s, Int64s, Whole

Waits: TypeAlias = tuple[Int64s, Int64s]


@kernel
def _root(leads_to: Int64s, flood: int) -> int:
    """The flood that another one has become part of."""
    while leads_to[flood] != flood:
        leads_to[flood] = leads_to[leads_to[flood]]
        flood = leads_to[flood]
    return flood


@kernel
def _is_older(level: Float32s, one: int, other: int) -> bool:
    """Whether one flood started lower than another; of two of equal level, before it."""
    return bool(level[one] < level[other] or (level[one] == level[other] and one < other))


@kernel
def _wait(
    waits: Waits, n_waits: int, waits_first: Int64s, flood: int, cell: Whole
) -> tuple[Waits, int]:
    """Add a cell to the chain that waits at an ended flood."""
    waits = (grown(waits[0], n_waits + 1), grown(waits[1], n_waits + 1))
    waits[0][n_waits] = cell
    waits[1][n_waits] = waits_first[flood]
    waits_first[flood] = n_waits
    return waits, n_waits + 1


@kernel
def _wake(z: Float32s, waits: Waits, entry: Whole, heap: Heap, size: int) -> tuple[Heap, int]:
    """Put a chain of waiting cells back into the heap, with room for eight more behind."""
    cols = z.shape[1]
    while entry >= 0:
        cell = waits[0][entry]
        heap = heap_roomy(heap, size + 9)
        level = z[cell // cols, cell % cols]
        size = heap_push(heap[0], heap[1], heap[2], size, level, cell, cell)
        entry = waits[1][entry]
    return heap, size


@kernel
def pass_levels(
    z: Float32s, codes: Bytes, start: Int64s, n_flats: int, flood_of: Int32s
) -> Float32s:
    """Return the level of the lowest pass out of depressions.

    Parameters
    ----------
    z : float32 (rows, cols)
        Surface, NaN in voids.
    codes : uint8 (rows, cols)
        Raw steepest codes, flats marked.
    start : int64 (n,)
        First cells of closed flats, ``n_flats`` of them, then pits; each kind rising.
    n_flats : int
        How many are flats.
    flood_of : int32 (rows, cols)
        Zeros, to work in: which flood a cell belongs to, below zero while it waits in the heap.

    Returns
    -------
    float32 (n,)
        The least level over which a lower cell, an older depression of equal level, a drained
        cell of equal level or the outside is reached.
    """
    cols = z.shape[1]
    number = start.size
    passes = np.full(number, np.nan, dtype=z.dtype)
    leads_to = np.arange(number)
    level = np.empty(number, dtype=z.dtype)
    ended = np.zeros(number, dtype=np.bool_)
    water = z.dtype.type(-np.inf)
    # what waits at an ended flood for the older one that reaches it: chains of cells
    waits_first = np.full(number, -1, dtype=np.int64)
    waits = (np.empty(64, dtype=np.int64), np.empty(64, dtype=np.int64))
    n_waits = 0
    heap = new_heap(z)
    size = 0
    seq = 0
    alive = number
    queue = np.empty(64, dtype=np.int64)
    for i in range(number):
        level[i] = z[start[i] // cols, start[i] % cols]
        queue[0] = start[i]
        n = 1
        if i < n_flats:
            queue, n = flood_flat(z, codes, start[i], FLAT_CLOSED, FLAT_NOW, queue)
        for j in range(n):
            if i < n_flats:
                codes[queue[j] // cols, queue[j] % cols] = FLAT_CLOSED
            flood_of[queue[j] // cols, queue[j] % cols] = i + 1
    for i in range(number):
        queue[0] = start[i]
        n = 1
        if i < n_flats:
            queue, n = flood_flat(z, codes, start[i], FLAT_CLOSED, FLAT_NOW, queue)
        for j in range(n):
            if i < n_flats:
                codes[queue[j] // cols, queue[j] % cols] = FLAT_CLOSED
            heap = heap_roomy(heap, size + 8)
            for k in range(8):
                r = queue[j] // cols + ROW_STEP[k]
                c = queue[j] % cols + COL_STEP[k]
                if flood_of[r, c] == 0:
                    flood_of[r, c] = -i - 1
                    size = heap_push(heap[0], heap[1], heap[2], size, z[r, c], seq, r * cols + c)
                    seq += 1
    while alive > 0 and size > 0:
        cell = heap[2][0]
        here = heap[0][0]
        size = heap_drop_first(heap[0], heap[1], heap[2], size)
        row = cell // cols
        col = cell % cols
        mine = _root(leads_to, abs(flood_of[row, col]) - 1)
        while True:
            if ended[mine]:  # it may still be where another flood meets this one
                for k in range(8):
                    r = row + ROW_STEP[k]
                    c = col + COL_STEP[k]
                    if r < 0 or c < 0 or r >= z.shape[0] or c >= cols or flood_of[r, c] <= 0:
                        continue
                    other = _root(leads_to, flood_of[r, c] - 1)
                    if ended[other]:
                        continue
                    water = max(water, here)
                    if not _is_older(level, mine, other):
                        leads_to[mine] = other
                        heap, size = _wake(z, waits, waits_first[mine], heap, size)
                        waits_first[mine] = -1
                        mine = other
                        break
                    ended[other] = True
                    passes[other] = water
                    alive -= 1
                    waits, n_waits = _wait(waits, n_waits, waits_first, other, cell)
            if ended[mine]:
                waits, n_waits = _wait(waits, n_waits, waits_first, mine, cell)
                break
            water = max(water, here)
            if may_end(z, codes, row, col, level[mine], start[mine], mine < n_flats):
                ended[mine] = True
                passes[mine] = water
                alive -= 1
                continue
            heap = heap_roomy(heap, size + 8)
            flood_of[row, col] = mine + 1
            for k in range(8):
                r = row + ROW_STEP[k]
                c = col + COL_STEP[k]
                if flood_of[r, c] == 0:
                    flood_of[r, c] = -mine - 1
                    size = heap_push(heap[0], heap[1], heap[2], size, z[r, c], seq, r * cols + c)
                    seq += 1
                    continue
                other = _root(leads_to, abs(flood_of[r, c]) - 1)
                if other == mine:
                    continue
                if flood_of[r, c] < 0 and (not ended[other] or z[r, c] > water):
                    continue  # they meet when water has risen to it
                older = mine if _is_older(level, mine, other) else other
                younger = other if older == mine else mine
                if not ended[younger]:
                    ended[younger] = True
                    passes[younger] = water
                    alive -= 1
                if ended[older]:  # what lies beyond is for an older one than both
                    flood_of[row, col] = -younger - 1
                    break
                leads_to[younger] = older
                mine = older
                heap, size = _wake(z, waits, waits_first[younger], heap, size)
                waits_first[younger] = -1
            if not ended[mine]:
                break
    return passes
