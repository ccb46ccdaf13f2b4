"""Binary heaps on plain arrays: of (level, sequence, cell), and of keys that hold the first two.

A key has the level in its upper 32 bits, as wide as the data, and the sequence number, which
settles ties the same way in every run, in its lower 32.
"""

from __future__ import annotations

from typing import Any, TypeVar

import numpy as np
from numpy.typing import NDArray

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float32s, Heap, Int64s, Keys

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
def rising_bits(level: float) -> np.uint64:
    """Whole number of 32 bits that rises with a level in single precision."""
    bits = np.int64(np.float32(level + np.float32(0.0)).view(np.int32))
    return np.uint64(bits + 0x80000000 if bits >= 0 else -1 - bits)


@kernel
def key_push(keys: Keys, size: int, new: np.uint64) -> int:
    """Add a key to a heap of keys; the array must have room. Returns the new size."""
    i = size
    while i > 0:
        parent = (i - 1) >> 1
        if keys[parent] <= new:
            break
        keys[i] = keys[parent]
        i = parent
    keys[i] = new
    return size + 1


@kernel
def key_drop_first(keys: Keys, size: int) -> int:
    """Remove the first key (already read at index 0). Returns the new size."""
    size -= 1
    last = keys[size]
    i = 0
    while True:
        child = 2 * i + 1
        if child >= size:
            break
        if child + 1 < size and keys[child + 1] < keys[child]:
            child += 1
        if last <= keys[child]:
            break
        keys[i] = keys[child]
        i = child
    keys[i] = last
    return size


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
