"""Blocks of one number that touch a raster's edge, and how they step to the ground beside them."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain._kernels._jit import kernel


@kernel
def _joins(reached: NDArray[np.bool_], r: int, c: int) -> bool:
    """Whether a cell lies on the edge or touches a cell that is reached."""
    rows, cols = reached.shape
    if r == 0 or c == 0 or r == rows - 1 or c == cols - 1:
        return True
    for dr in range(-1, 2):
        for dc in range(-1, 2):
            if reached[r + dr, c + dc]:
                return True
    return False


@kernel
def edge_block(
    z: NDArray[np.float32], valid: NDArray[np.bool_], number: np.float32
) -> NDArray[np.bool_]:
    """Mark valid cells of one number that reach the edge through neighbours of the same kind.

    Sweeps down and up until nothing changes; a cell is joined through any of its eight
    neighbours. A void cell joins blocks too, so that a block behind a declared void is found, but
    is not marked in the result.
    """
    rows, cols = z.shape
    # 0 not reached, 1 reached
    reached = np.zeros((rows, cols), dtype=np.bool_)
    changed = True
    down = True
    while changed:
        changed = False
        for i in range(rows):
            r = i if down else rows - 1 - i
            for k in range(2 * cols):
                # Each row is walked both ways, so that a run is joined in one sweep.
                c = k if k < cols else 2 * cols - 1 - k
                if reached[r, c] or (valid[r, c] and z[r, c] != number):
                    continue
                if _joins(reached, r, c):
                    reached[r, c] = True
                    changed = True
        down = not down
    for r in range(rows):
        for c in range(cols):
            if not valid[r, c]:
                reached[r, c] = False
    return reached


@kernel
def step_sizes(
    z: NDArray[np.float32], valid: NDArray[np.bool_], block: NDArray[np.bool_]
) -> NDArray[np.float32]:
    """Height differences between a block and each valid cell beside it (four neighbours)."""
    rows, cols = z.shape
    count = 0
    for write in range(2):
        if write == 1:
            out = np.empty(count, dtype=np.float32)
        n = 0
        for r in range(rows):
            for c in range(cols):
                if block[r, c] or not valid[r, c]:
                    continue
                for side in range(4):
                    rr = r + (side == 0) - (side == 1)
                    cc = c + (side == 2) - (side == 3)
                    if rr < 0 or cc < 0 or rr >= rows or cc >= cols or not block[rr, cc]:
                        continue
                    if write == 1:
                        out[n] = abs(z[r, c] - z[rr, cc])
                    n += 1
                    break
        count = n
    return out
