"""Sums down the flow: cells are settled when all their donors are."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, ROW_STEP, VOID
from terrain._kernels.heap import grown
from terrain._kernels.kinds import Bytes, Int32s, Int64s, Ints

DONE = 255  # in place of a count of donors: the cell has handed on what it had


@kernel
def count_donors(codes: Bytes, row_start: int, row_stop: int, donors: Bytes) -> None:
    """Write how many neighbours drain into each cell of some rows."""
    rows, cols = codes.shape
    for r in range(row_start, row_stop):
        if 0 < r < rows - 1 and cols > 2:
            _donors_of_row(codes[r - 1], codes[r], codes[r + 1], donors[r])
            edge_step = cols - 1
        else:
            edge_step = 1
        for c in range(0, cols, max(edge_step, 1)):
            n = 0
            for k in range(8):
                rr = r + ROW_STEP[k]
                cc = c + COL_STEP[k]
                if 0 <= rr < rows and 0 <= cc < cols and codes[rr, cc] == (k + 4) % 8:
                    n += 1
            donors[r, c] = n


@kernel
def _donors_of_row(up: Bytes, mid: Bytes, down: Bytes, out: Bytes) -> None:
    """Count donors of every cell of a row but its two ends."""
    for c in range(np.uint64(1), np.uint64(mid.size - 1)):
        left = c - np.uint64(1)
        right = c + np.uint64(1)
        n = np.uint8(up[c] == 4)
        n += np.uint8(up[right] == 5)
        n += np.uint8(mid[right] == 6)
        n += np.uint8(down[right] == 7)
        n += np.uint8(down[c] == 0)
        n += np.uint8(down[left] == 1)
        n += np.uint8(mid[left] == 2)
        n += np.uint8(up[left] == 3)
        out[c] = n


@kernel
def accumulate_band(
    codes: Bytes, donors: Bytes, sums: Int32s, row_start: int, row_stop: int
) -> tuple[Int64s, Int32s]:
    """Hand sums down from every cell of some rows as far as they go inside these rows.

    ``sums`` holds each cell's own amount and is left with its own and all that drains into it.
    What leaves the rows is returned: the cells it goes to, and the amounts.
    """
    cols = codes.shape[1]
    to_cell = np.empty(64, dtype=np.int64)
    amount = np.empty(64, dtype=sums.dtype)
    n = 0
    for row in range(row_start, row_stop):
        for col in range(cols):
            if donors[row, col] != 0 or codes[row, col] == VOID:
                continue
            r = row
            c = col
            while True:
                donors[r, c] = DONE
                k = codes[r, c]
                if k > 7:
                    break
                carried = sums[r, c]
                r += ROW_STEP[k]
                c += COL_STEP[k]
                if r < row_start or r >= row_stop:
                    to_cell = grown(to_cell, n + 1)
                    amount = grown(amount, n + 1)
                    to_cell[n] = r * cols + c
                    amount[n] = carried
                    n += 1
                    break
                sums[r, c] += carried
                donors[r, c] -= np.uint8(1)
                if donors[r, c] != 0:
                    break
    return to_cell[:n], amount[:n]


@kernel
def accumulate_rest(
    codes: Bytes, donors: Bytes, sums: Int32s, to_cell: Int64s, amount: Int32s
) -> None:
    """Hand on what came to other rows' cells, to the very end."""
    cols = codes.shape[1]
    for j in range(to_cell.size):
        r = to_cell[j] // cols
        c = to_cell[j] % cols
        carried = amount[j]
        while True:
            sums[r, c] += carried
            donors[r, c] -= np.uint8(1)
            if donors[r, c] != 0:
                break
            donors[r, c] = DONE
            k = codes[r, c]
            if k > 7:
                break
            carried = sums[r, c]
            r += ROW_STEP[k]
            c += COL_STEP[k]


@kernel
def downstream_order(codes: Bytes, donors: Bytes, order: Ints) -> int:
    """Write flat cell numbers so that every cell comes after all its donors; return how many."""
    rows, cols = codes.shape
    n = 0
    for row in range(rows):
        for col in range(cols):
            if donors[row, col] != 0 or codes[row, col] == VOID:
                continue
            r = row
            c = col
            while True:
                donors[r, c] = DONE
                order[n] = r * cols + c
                n += 1
                k = codes[r, c]
                if k > 7:
                    break
                r += ROW_STEP[k]
                c += COL_STEP[k]
                donors[r, c] -= np.uint8(1)
                if donors[r, c] != 0:
                    break
    return n
