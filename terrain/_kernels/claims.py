"""What ways out claim: they lower the surface and give their cells directions, in one order."""

from __future__ import annotations

from terrain._kernels._jit import kernel
from terrain._kernels.codes import COL_STEP, EXPLICIT, ROW_STEP
from terrain._kernels.kinds import Bytes, Float32s, Int32s, Int64s


@kernel
def _claim(
    raw: Float32s, level: float, row: int, col: int, code: int, surface: Float32s, codes: Bytes
) -> bool:
    """Let a way have a cell unless an earlier way has it; return whether it is newly lowered."""
    here = surface[row, col]
    if here > level:
        surface[row, col] = level
        codes[row, col] = code | EXPLICIT
        return here == raw[row, col]
    if here == level and codes[row, col] & EXPLICIT == 0:
        codes[row, col] = code | EXPLICIT
    return False


@kernel
def claim_flats(
    raw: Float32s,
    start: Int64s,
    end: Int64s,
    cells: Int64s,
    out: Bytes,
    surface: Float32s,
    codes: Bytes,
) -> int:
    """Lower the surface along the ways of flats and give their cells directions.

    Call it before `claim_pits`, each with rising starts. Returns the number of cells lowered.
    """
    cols = raw.shape[1]
    first = 0
    lowered = 0
    for i in range(start.size):
        level = raw[start[i] // cols, start[i] % cols]
        for j in range(first, end[i]):
            lowered += _claim(raw, level, cells[j] // cols, cells[j] % cols, out[j], surface, codes)
        first = end[i]
    return lowered


@kernel
def claim_pits(
    raw: Float32s, pits: Int64s, steps: Int32s, out: Bytes, surface: Float32s, codes: Bytes
) -> int:
    """Lower the surface along the ways of pits and give their cells directions."""
    cols = raw.shape[1]
    j = 0
    lowered = 0
    for i in range(pits.size):
        r = pits[i] // cols
        c = pits[i] % cols
        level = raw[r, c]
        for _ in range(steps[i]):
            k = out[j]
            lowered += _claim(raw, level, r, c, k, surface, codes)
            if k < 8:
                r += ROW_STEP[k]
                c += COL_STEP[k]
            j += 1
    return lowered
