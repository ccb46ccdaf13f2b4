"""Bilinear resampling with a mask: void cells lend nothing to their neighbours."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from terrain._kernels._jit import kernel


@kernel
def bilinear_rows(
    z: NDArray[np.float32],
    valid: NDArray[np.bool_],
    node_row: NDArray[np.float64],
    node_col: NDArray[np.float64],
    spacing: int,
    first_row: int,
    first_col: int,
    start: int,
    stop: int,
    out: NDArray[np.float32],
    out_valid: NDArray[np.bool_],
) -> None:
    """Fill rows ``start`` to ``stop`` of a target grid.

    ``node_row`` and ``node_col`` hold where every ``spacing``-th target cell lies in the source
    (fractional, 0 is the first centre); between them positions are interpolated. Target cell
    (0, 0) lies ``first_row`` and ``first_col`` cells beyond the first node.
    """
    rows, cols = z.shape
    for r in range(start, stop):
        i = (r + first_row) // spacing
        fr = (r + first_row - i * spacing) / spacing
        for c in range(out.shape[1]):
            j = (c + first_col) // spacing
            fc = (c + first_col - j * spacing) / spacing
            w00, w01 = (1 - fr) * (1 - fc), (1 - fr) * fc
            w10, w11 = fr * (1 - fc), fr * fc
            v = (
                w00 * node_row[i, j]
                + w01 * node_row[i, j + 1]
                + w10 * node_row[i + 1, j]
                + w11 * node_row[i + 1, j + 1]
            )
            u = (
                w00 * node_col[i, j]
                + w01 * node_col[i, j + 1]
                + w10 * node_col[i + 1, j]
                + w11 * node_col[i + 1, j + 1]
            )
            out[r, c] = np.nan
            out_valid[r, c] = False
            # Written so that a position that is not a number falls outside.
            if not (v >= -0.5 and u >= -0.5 and v < rows - 0.5 and u < cols - 0.5):
                continue
            if not valid[int(np.floor(v + 0.5)), int(np.floor(u + 0.5))]:
                continue
            top, left = int(np.floor(v)), int(np.floor(u))
            dv, du = v - top, u - left
            total, weight = 0.0, 0.0
            for k in range(4):
                rr, cc = top + k // 2, left + k % 2
                if rr < 0 or cc < 0 or rr >= rows or cc >= cols or not valid[rr, cc]:
                    continue
                w = (dv if k // 2 else 1 - dv) * (du if k % 2 else 1 - du)
                total += w * z[rr, cc]
                weight += w
            out[r, c] = total / weight
            out_valid[r, c] = True
