"""A binary heap of (level, sequence, cell) and a hash set of cells, on plain arrays.

Level is the elevation in the raster's own type, so that no key is narrower than the data; the
sequence number settles ties the same way in every run.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Bytes, Float32s, Heap, Int64s, Whole

Kept = TypeVar("Kept", bound=NDArray[Any])


@kernel
def heap_push(
    level: Float32s,
    seq: Int64s,
    cell: Int64s,
    size: int,
    new_level: float,
    new_seq: int,
    new_cell: int,
) -> int:
    """Add an entry; the arrays must have room. Returns the new size."""
    i = size
    while i > 0:
        parent = (i - 1) >> 1
        if level[parent] < new_level or (level[parent] == new_level and seq[parent] < new_seq):
            break
        level[i] = level[parent]
        seq[i] = seq[parent]
        cell[i] = cell[parent]
        i = parent
    level[i] = new_level
    seq[i] = new_seq
    cell[i] = new_cell
    return size + 1


@kernel
def heap_drop_first(level: Float32s, seq: Int64s, cell: Int64s, size: int) -> int:
    """Remove the first entry (already read at index 0). Returns the new size."""
    size -= 1
    last_level = level[size]
    last_seq = seq[size]
    last_cell = cell[size]
    i = 0
    while True:
        child = 2 * i + 1
        if child >= size:
            break
        right = child + 1
        if right < size and (
            level[right] < level[child]
            or (level[right] == level[child] and seq[right] < seq[child])
        ):
            child = right
        if last_level < level[child] or (last_level == level[child] and last_seq < seq[child]):
            break
        level[i] = level[child]
        seq[i] = seq[child]
        cell[i] = cell[child]
        i = child
    level[i] = last_level
    seq[i] = last_seq
    cell[i] = last_cell
    return size


@kernel
def hash_slot(keys: Int64s, stamps: Int64s, stamp: int, key: Whole) -> np.int64:
    """Slot that holds a key, or the free one where it would go; size is a power of two.

    A slot is taken only when it carries the present stamp, so a new stamp empties the set.
    """
    mask = np.int64(keys.size - 1)
    slot = ((key * np.int64(2654435761)) >> np.int64(9)) & mask
    while stamps[slot] == stamp and keys[slot] != key:
        slot = (slot + 1) & mask
    return slot


@kernel
def hash_grown(
    keys: Int64s, stamps: Int64s, values: Bytes, far: Float32s, stamp: int
) -> tuple[Int64s, Int64s, Bytes, Float32s]:
    """Return a hash of twice the size with the entries of the present stamp."""
    new_keys = np.empty(keys.size * 2, dtype=np.int64)
    new_stamps = np.zeros(keys.size * 2, dtype=np.int64)
    new_values = np.empty(keys.size * 2, dtype=values.dtype)
    new_far = np.empty(keys.size * 2, dtype=far.dtype)
    for i in range(keys.size):
        if stamps[i] == stamp:
            slot = hash_slot(new_keys, new_stamps, stamp, keys[i])
            new_keys[slot] = keys[i]
            new_stamps[slot] = stamp
            new_values[slot] = values[i]
            new_far[slot] = far[i]
    return new_keys, new_stamps, new_values, new_far


@kernel
def grown(array: Kept, needed: int) -> Kept:
    """Return the array, or a copy with room for at least ``needed`` entries."""
    if needed <= array.size:
        return array
    bigger = np.empty(max(needed, 2 * array.size), dtype=array.dtype)
    bigger[: array.size] = array
    return bigger  # type: ignore[return-value]


@kernel
def new_heap(z: Float32s) -> Heap:
    """Return an empty heap: levels, sequence numbers, cells."""
    return (
        np.empty(256, dtype=z.dtype),
        np.empty(256, dtype=np.int64),
        np.empty(256, dtype=np.int64),
    )


@kernel
def heap_roomy(heap: Heap, needed: int) -> Heap:
    """Return the heap with room for so many entries."""
    if needed <= heap[0].size:
        return heap
    return grown(heap[0], needed), grown(heap[1], needed), grown(heap[2], needed)
