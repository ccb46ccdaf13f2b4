"""Depressions that are filled, and which ways out their filling makes void."""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, OUTLET, ROW_STEP, UNRESOLVED
from terrain._kernels.directions import code_of_cell
from terrain._kernels.heap import grown
from terrain._kernels.kinds import Bools, Bytes, Float32s, Float64s, Int32s, Int64s, Real


@kernel
def list_fill(sources: Int64s, inside: Int64s, fill: Int64s, n_fill: int) -> tuple[int, Int64s]:
    """Add the cells of a depression to the list of cells to fill."""
    n = n_fill + sources.size + inside.size
    fill = grown(fill, n)
    fill[n_fill : n_fill + sources.size] = sources
    fill[n_fill + sources.size : n] = inside
    return n, fill


@kernel
def raise_cells(fill_of: Float64s, cells: Int64s, surface: Float32s, raised: Bools) -> None:
    """Raise depressions to their passes; rows of ``fill_of``: start, level, end of the cells."""
    cols = surface.shape[1]
    first = np.int64(0)
    for i in range(fill_of.shape[0]):
        level = surface.dtype.type(fill_of[i, 1])
        for j in range(first, np.int64(fill_of[i, 2])):
            r = cells[j] // cols
            c = cells[j] % cols
            if surface[r, c] < level:
                surface[r, c] = level
                raised[r, c] = True
        first = np.int64(fill_of[i, 2])


@kernel
def mark_shut(
    z: Float32s,
    inv_ns: Real,
    inv_ew: Real,
    inv_diag: Real,
    raised: Int64s,
    codes: Bytes,
    changed: Bools,
) -> None:
    """Write codes anew for raised cells and those beside them; mark all that have no way down.

    ``changed`` holds the raised cells. Pits and flats that stand at the level of a cell newly
    marked beside it are marked too: they are one flat with it.
    """
    cols = z.shape[1]
    shut = np.empty(max(64, raised.size), dtype=np.int64)
    n = 0
    for j in range(raised.size):
        for k in range(9):
            r = raised[j] // cols
            c = raised[j] % cols
            if k < 8:  # neighbours exist: a raised cell never touches the outside
                r += ROW_STEP[k]
                c += COL_STEP[k]
                if changed[r, c] or codes[r, c] >= OUTLET:
                    continue
            codes[r, c] = code_of_cell(z, r, c, inv_ns, inv_ew, inv_diag)
            if codes[r, c] == UNRESOLVED:
                shut = grown(shut, n + 1)
                shut[n] = r * cols + c
                n += 1
                changed[r, c] = True
    for j in range(n):
        for k in range(8):
            row = shut[j] // cols
            col = shut[j] % cols
            r = row + ROW_STEP[k]
            c = col + COL_STEP[k]
            if codes[r, c] >= UNRESOLVED and z[r, c] == z[row, col]:
                changed[r, c] = True


@kernel
def flats_touched(end: Int64s, cells: Int64s, out: Bytes, changed: Bools) -> Bools:
    """Tell which flats' ways hold, or end at, a changed cell."""
    cols = changed.shape[1]
    touched = np.zeros(end.size, dtype=np.bool_)
    first = 0
    for i in range(end.size):
        for j in range(first, end[i]):
            r = cells[j] // cols
            c = cells[j] % cols
            if out[j] < 8 and changed[r + ROW_STEP[out[j]], c + COL_STEP[out[j]]]:
                touched[i] = True
            if changed[r, c]:
                touched[i] = True
        first = end[i]
    return touched


@kernel
def pits_touched(pits: Int64s, steps: Int32s, out: Bytes, changed: Bools) -> Bools:
    """Tell which pits' ways hold, or end at, a changed cell."""
    cols = changed.shape[1]
    touched = np.zeros(pits.size, dtype=np.bool_)
    j = 0
    for i in range(pits.size):
        r = pits[i] // cols
        c = pits[i] % cols
        touched[i] = changed[r, c]
        for _ in range(steps[i]):
            k = out[j]
            if k < 8:
                r += ROW_STEP[k]
                c += COL_STEP[k]
                if changed[r, c]:
                    touched[i] = True
            j += 1
    return touched
