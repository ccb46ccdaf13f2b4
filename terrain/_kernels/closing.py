"""Grey closing of a surface along straight lines: running maxima, then running minima of those.

Both are taken in blocks as long as the window (van Herk 1992, Gil and Werman 1993, from memory): a
maximum from each place to the end of its block, one from the start of the next block, and the
larger of the two, so that a cell costs the same however long the window. `LANES` lines lie side by
side and are worked on at once.
"""

from __future__ import annotations

import numpy as np

from terrain._kernels._jit import kernel
from terrain._kernels.kinds import Float32s, Whole

#: Lines that are worked on side by side.
LANES = 64
#: Ground that is not known: it raises no maximum.
NO_GROUND = np.float32(-np.inf)


@kernel
def close_lanes(lanes: Float32s, n: int, window: int, block: Float32s, ahead: Float32s) -> None:
    """Close lines that lie side by side, in place.

    Parameters
    ----------
    lanes : float32 (>= n + 4 * window, LANES)
        Heights: a line runs down each column, `NO_GROUND` in the first and from row
        ``n + window - 1`` on. Its first ``window - 1`` rows lie before the first place, so that a
        place stands in row ``place + window - 1``. Gets what is closed: place by place from row 0.
    n : int
        Places of a line.
    window : int
        Places that the straight element covers.
    block, ahead : float32 (window, LANES), (LANES,)
        Scratch.
    """
    for closing in range(2):
        out = n if closing else n + window - 1
        for start in range(0, out, window):
            for j in range(LANES):
                block[window - 1, j] = lanes[start + window - 1, j]
            for t in range(window - 2, -1, -1):
                for j in range(LANES):
                    here, after = lanes[start + t, j], block[t + 1, j]
                    if closing:
                        block[t, j] = here if here < after else after
                    else:
                        block[t, j] = here if here > after else after
            for j in range(LANES):
                lanes[start, j] = block[0, j]
                ahead[j] = lanes[start + window, j]
            for t in range(1, min(window, out - start)):
                for j in range(LANES):
                    here, reached, rest = lanes[start + window + t - 1, j], ahead[j], block[t, j]
                    if closing:
                        reached = here if here < reached else reached
                        lanes[start + t, j] = rest if rest < reached else reached
                    else:
                        reached = here if here > reached else reached
                        lanes[start + t, j] = rest if rest > reached else reached
                    ahead[j] = reached


@kernel
def deepen_along_rows(
    ground: Float32s, first: int, window: int, lanes: Float32s, depth: Float32s
) -> None:
    """Raise ``depth`` to how far its cells lie below the closing along their rows.

    Parameters
    ----------
    ground : float32 (rows, columns)
        Heights, `NO_GROUND` where none are known.
    first : int
        Row of ``ground`` that is the first of ``depth``.
    window : int
        Cells that the straight element covers.
    lanes : float32 (>= max(rows, columns) + 4 * window, LANES)
        Scratch.
    depth : float32 (rows of the band, columns)
        What is raised.
    """
    rows, columns = depth.shape
    block = np.empty((window, LANES), dtype=np.float32)
    ahead = np.empty(LANES, dtype=np.float32)
    for top in range(0, rows, LANES):
        n = min(LANES, rows - top)
        lanes[: window - 1] = NO_GROUND
        lanes[window - 1 + columns : columns + 4 * window] = NO_GROUND
        for j in range(n):
            for col in range(columns):
                lanes[col + window - 1, j] = ground[first + top + j, col]
        close_lanes(lanes, columns, window, block, ahead)
        for j in range(n):
            for col in range(columns):
                below = lanes[col, j] - ground[first + top + j, col]
                was = depth[top + j, col]
                depth[top + j, col] = below if below > was else was


@kernel
def deepen_down_columns(
    ground: Float32s, first: int, window: int, lean: Whole, lanes: Float32s, depth: Float32s
) -> None:
    """Raise ``depth`` to how far its cells lie below the closing along lines down the raster.

    ``lean`` is how many columns such a line goes to the right from row to row: -1, 0 or 1. All
    else as for `deepen_along_rows`.
    """
    rows, columns = ground.shape
    block = np.empty((window, LANES), dtype=np.float32)
    ahead = np.empty(LANES, dtype=np.float32)
    # the first and the last line that meets the raster, by its column in row 0
    leftmost = -(rows - 1) if lean > 0 else 0
    rightmost = columns - 1 + (rows - 1 if lean < 0 else 0)
    for line in range(leftmost, rightmost + 1, LANES):
        # rows in which any of the lines meets the raster
        top, end = 0, rows
        if lean > 0:
            top, end = max(0, 1 - line - LANES), min(rows, columns - line)
        elif lean < 0:
            top, end = max(0, line - columns + 1), min(rows, line + LANES)
        n = end - top
        lanes[: window - 1] = NO_GROUND
        lanes[window - 1 + n : n + 4 * window] = NO_GROUND
        for i in range(n):
            left = line + lean * (top + i)
            a, b = max(0, -left), min(LANES, columns - left)
            if b - a < LANES:
                lanes[i + window - 1] = NO_GROUND
            for j in range(a, b):
                lanes[i + window - 1, j] = ground[top + i, left + j]
        close_lanes(lanes, n, window, block, ahead)
        for row in range(max(top, first), min(end, first + depth.shape[0])):
            left = line + lean * row
            for j in range(max(0, -left), min(LANES, columns - left)):
                below = lanes[row - top, j] - ground[row, left + j]
                was = depth[row - first, left + j]
                depth[row - first, left + j] = below if below > was else was
