"""What water of given levels wets of cross-sections."""

from __future__ import annotations

import numpy as np

from terrain._kernels.wet import wet_sections
from terrain.values.arrays import FloatArray, IntArray


def wet_sizes(
    offset_m: FloatArray,
    height_m: FloatArray,
    bed_m: FloatArray,
    columns: tuple[IntArray, IntArray, IntArray],
    lean_m: tuple[FloatArray, FloatArray],
    row: IntArray,
    level_m: FloatArray,
) -> FloatArray:
    """Size of the water in sections at levels.

    Only water that hangs together with the middle counts, and none beyond the outermost columns.
    Ground between two heights is a straight line.

    Parameters
    ----------
    offset_m
        Metres across, never falling, shape ``(k,)``.
    height_m, bed_m
        Ground of n sections, ``(n, k)``, and their beds, ``(n,)``.
    columns
        Middle, leftmost and rightmost column that may be wet, each ``(n,)``.
    lean_m
        How far too far in the foot of the left and of the right wall stands, ``(n,)``.
    row, level_m
        Which sections, and the level of the water in each, both ``(m,)``.

    Returns
    -------
    numpy.ndarray
        Shape ``(m, 4)``: offsets of the left and right edge (m), area (m2), perimeter (m).
    """
    out = np.empty((row.size, 4))
    level_m = np.array(level_m)  # of one layout, so that the kernel is compiled once
    wet_sections(offset_m, height_m, bed_m, *columns, *lean_m, row, level_m, out)
    return out
