"""Steepest of the eight neighbours."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, OUTLET, ROW_STEP, UNRESOLVED, VOID
from terrain._kernels.heap import grown
from terrain._kernels.kinds import Bytes, Float32s, Int64s, Real


@kernel
def touches_outside(z: Float32s, row: int, col: int) -> bool:
    """Whether a cell lies on the raster's edge or beside a void."""
    rows, cols = z.shape
    if row == 0 or col == 0 or row == rows - 1 or col == cols - 1:
        return True
    for k in range(8):
        if np.isnan(z[row + ROW_STEP[k], col + COL_STEP[k]]):
            return True
    return False


@kernel
def _steepest_careful(
    z: Float32s, row: int, col: int, inv_ns: Real, inv_ew: Real, inv_diag: Real
) -> int:
    """Code of the steepest way down from a cell that may lie on the edge; 9 when none."""
    rows, cols = z.shape
    here = z[row, col]
    best = np.float32(0.0)
    code = UNRESOLVED
    for k in range(8):
        r = row + ROW_STEP[k]
        c = col + COL_STEP[k]
        if r < 0 or c < 0 or r >= rows or c >= cols:
            continue
        inv = inv_diag
        if k == 0 or k == 4:
            inv = inv_ns
        elif k == 2 or k == 6:
            inv = inv_ew
        s = (here - z[r, c]) * inv
        if s > best:
            best = s
            code = k
    return code


@kernel
def _steepest_row(
    up: Float32s,
    mid: Float32s,
    down: Float32s,
    inv_ns: Real,
    inv_ew: Real,
    inv_diag: Real,
    out: Bytes,
) -> None:
    """Steepest code of every cell of a row but its two ends; 9 when none is lower.

    Comparisons with NaN are false, so voids are never chosen and void cells get 9.
    """
    for c in range(np.uint64(1), np.uint64(mid.size - 1)):
        here = mid[c]
        best = np.float32(0.0)
        code = np.int32(9)
        s = (here - up[c]) * inv_ns
        code = np.int32(0) if s > best else code
        best = s if s > best else best
        s = (here - up[c + np.uint64(1)]) * inv_diag
        code = np.int32(1) if s > best else code
        best = s if s > best else best
        s = (here - mid[c + np.uint64(1)]) * inv_ew
        code = np.int32(2) if s > best else code
        best = s if s > best else best
        s = (here - down[c + np.uint64(1)]) * inv_diag
        code = np.int32(3) if s > best else code
        best = s if s > best else best
        s = (here - down[c]) * inv_ns
        code = np.int32(4) if s > best else code
        best = s if s > best else best
        s = (here - down[c - np.uint64(1)]) * inv_diag
        code = np.int32(5) if s > best else code
        best = s if s > best else best
        s = (here - mid[c - np.uint64(1)]) * inv_ew
        code = np.int32(6) if s > best else code
        best = s if s > best else best
        s = (here - up[c - np.uint64(1)]) * inv_diag
        code = np.int32(7) if s > best else code
        out[c] = np.uint8(code)


@kernel
def steepest_codes(
    z: Float32s,
    inv_ns: Real,
    inv_ew: Real,
    inv_diag: Real,
    row_start: int,
    row_stop: int,
    codes: Bytes,
) -> int:
    """Write the steepest code of every cell of some rows.

    Cells without a lower neighbour become ``OUTLET`` on the edge and ``UNRESOLVED`` inside;
    voids (NaN) become ``VOID``. Returns how many are unresolved.
    """
    rows, cols = z.shape
    unresolved = 0
    for r in range(row_start, row_stop):
        out = codes[r]
        if r == 0 or r == rows - 1 or cols < 3:
            for c in range(cols):
                out[c] = _steepest_careful(z, r, c, inv_ns, inv_ew, inv_diag)
        else:
            _steepest_row(z[r - 1], z[r], z[r + 1], inv_ns, inv_ew, inv_diag, out)
            out[0] = _steepest_careful(z, r, 0, inv_ns, inv_ew, inv_diag)
            out[cols - 1] = _steepest_careful(z, r, cols - 1, inv_ns, inv_ew, inv_diag)
        for c in range(cols):
            if out[c] == UNRESOLVED:
                if np.isnan(z[r, c]):
                    out[c] = VOID
                elif touches_outside(z, r, c):
                    out[c] = OUTLET
                else:
                    unresolved += 1
    return unresolved


@kernel
def settle_codes(
    z: Float32s,
    inv_ns: Real,
    inv_ew: Real,
    inv_diag: Real,
    row_start: int,
    row_stop: int,
    codes: Bytes,
) -> None:
    """Take the steepest way down on the conditioned surface, else the carved direction.

    Works in place: ``codes`` holds carved directions, with their flag, and is left with codes
    0 to 7, ``OUTLET`` and ``VOID``.
    """
    rows, cols = z.shape
    fresh = np.empty(cols, dtype=np.uint8)
    for r in range(row_start, row_stop):
        out = codes[r]
        if r == 0 or r == rows - 1 or cols < 3:
            for c in range(cols):
                fresh[c] = _steepest_careful(z, r, c, inv_ns, inv_ew, inv_diag)
        else:
            _steepest_row(z[r - 1], z[r], z[r + 1], inv_ns, inv_ew, inv_diag, fresh)
            fresh[0] = _steepest_careful(z, r, 0, inv_ns, inv_ew, inv_diag)
            fresh[cols - 1] = _steepest_careful(z, r, cols - 1, inv_ns, inv_ew, inv_diag)
        for c in range(cols):
            if fresh[c] < 8:
                out[c] = fresh[c]
            elif out[c] != VOID:
                out[c] = out[c] & np.uint8(15)


@kernel
def code_of_cell(
    z: Float32s, row: int, col: int, inv_ns: Real, inv_ew: Real, inv_diag: Real
) -> int:
    """Return the steepest code of one cell that is no void, as `steepest_codes` writes it."""
    code = _steepest_careful(z, row, col, inv_ns, inv_ew, inv_diag)
    if code == UNRESOLVED and touches_outside(z, row, col):
        code = OUTLET
    return code


@kernel
def collect_unresolved(
    z: Float32s, codes: Bytes, row_start: int, row_stop: int
) -> tuple[Int64s, Int64s]:
    """List the unresolved cells of some rows: pits of one cell, and cells of flats."""
    cols = z.shape[1]
    pits = np.empty(64, dtype=np.int64)
    flats = np.empty(64, dtype=np.int64)
    n_pits = 0
    n_flats = 0
    for r in range(row_start, row_stop):
        pits = grown(pits, n_pits + cols)
        flats = grown(flats, n_flats + cols)
        for c in range(cols):
            if codes[r, c] != UNRESOLVED:
                continue
            flat = False
            for k in range(8):
                rr = r + ROW_STEP[k]
                cc = c + COL_STEP[k]
                if codes[rr, cc] == UNRESOLVED and z[rr, cc] == z[r, c]:
                    flat = True
                    break
            if flat:
                flats[n_flats] = r * cols + c
                n_flats += 1
            else:
                pits[n_pits] = r * cols + c
                n_pits += 1
    return pits[:n_pits], flats[:n_flats]
