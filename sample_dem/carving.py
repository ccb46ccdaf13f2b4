"""Lay valley floors, fans and channels into a fine grid along centre lines."""

from __future__ import annotations

import numpy as np
from numba import njit
from numpy.typing import NDArray

BED_STEP_M = 0.25
LIP_CURVE_PER_M = 0.16
BED_CROSS_SLOPE = 0.05


@njit(cache=True)
def near_line(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    reach_m: float,
    rows: int,
    cols: int,
    cell_m: float,
    owner: NDArray[np.int32],
    nearest: NDArray[np.int32],
    distance: NDArray[np.float32],
    mark: int,
) -> int:
    """Nearest sample of one line for every cell within ``reach_m``; returns how many."""
    met = 0
    for i in range(x.size):
        r0 = max(0, int((y[i] - reach_m) / cell_m))
        r1 = min(rows - 1, int((y[i] + reach_m) / cell_m))
        c0 = max(0, int((x[i] - reach_m) / cell_m))
        c1 = min(cols - 1, int((x[i] + reach_m) / cell_m))
        for r in range(r0, r1 + 1):
            dy = (r + 0.5) * cell_m - y[i]
            for c in range(c0, c1 + 1):
                dx = (c + 0.5) * cell_m - x[i]
                d = dx * dx + dy * dy
                if d > reach_m * reach_m:
                    continue
                k = r * cols + c
                if owner[k] != mark:
                    owner[k] = mark
                    distance[k] = d
                    nearest[k] = i
                    met += 1
                elif d < distance[k]:
                    distance[k] = d
                    nearest[k] = i
    return met


@njit(cache=True)
def collect(
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    reach_m: float,
    rows: int,
    cols: int,
    cell_m: float,
    owner: NDArray[np.int32],
    nearest: NDArray[np.int32],
    distance: NDArray[np.float32],
    mark: int,
) -> tuple:  # type: ignore[type-arg]
    """Cells within reach with their station and signed offset from the line (both metres)."""
    met = near_line(x, y, reach_m, rows, cols, cell_m, owner, nearest, distance, mark)
    cells = np.empty(met, np.int32)
    station = np.empty(met, np.float32)
    offset = np.empty(met, np.float32)
    n = 0
    last = x.size - 1
    for i in range(x.size):
        r0 = max(0, int((y[i] - reach_m) / cell_m))
        r1 = min(rows - 1, int((y[i] + reach_m) / cell_m))
        c0 = max(0, int((x[i] - reach_m) / cell_m))
        c1 = min(cols - 1, int((x[i] + reach_m) / cell_m))
        for r in range(r0, r1 + 1):
            for c in range(c0, c1 + 1):
                k = r * cols + c
                if owner[k] != mark or nearest[k] != i:
                    continue
                nearest[k] = -1
                a, b = max(i - 1, 0), min(i + 1, last)
                tx, ty = x[b] - x[a], y[b] - y[a]
                norm = (tx * tx + ty * ty) ** 0.5 + 1e-12
                tx, ty = tx / norm, ty / norm
                dx, dy = (c + 0.5) * cell_m - x[i], (r + 0.5) * cell_m - y[i]
                cells[n] = k
                shift = dx * tx + dy * ty
                if i > 0 and i < last:  # never past the neighbouring samples
                    shift = min(max(shift, -0.75), 0.75)
                station[n] = i + shift
                across = dx * ty - dy * tx
                size = distance[k] ** 0.5 if (i == 0 or i == last) else abs(across)
                offset[n] = size if across >= 0 else -size
                n += 1
    return cells[:n], station[:n], offset[:n]


@njit(cache=True)
def section_height(
    d: float,
    half_bed: float,
    bank_slope: float,
    bench_depth: float,
    bench_width: float,
    swale_half: float,
    swale_depth: float,
    gully: float,
) -> float:
    """Height of the channel's side above its bed at ``d`` metres from the middle."""
    swale = swale_depth * min(d / swale_half, 1.0) ** 2 + 0.28 * max(d - swale_half, 0.0)
    if gully <= 0.0:
        return swale
    h = BED_CROSS_SLOPE * min(d, half_bed)
    if d > half_bed:
        if bench_depth > 0.0:
            low = bench_depth / 1.5
            out = d - half_bed
            if out <= low:
                h += 1.5 * out
            elif out <= low + bench_width:
                h += bench_depth + BED_CROSS_SLOPE * (out - low)
            else:
                h += (
                    bench_depth
                    + BED_CROSS_SLOPE * bench_width
                    + bank_slope * (out - low - bench_width)
                )
        else:
            h += bank_slope * (d - half_bed)
    return gully * h + (1.0 - gully) * swale


@njit(cache=True)
def carve(
    z: NDArray[np.float32],
    cells: NDArray[np.int32],
    station: NDArray[np.float32],
    offset: NDArray[np.float32],
    bed: NDArray[np.float64],
    gully: NDArray[np.float64],
    half_bed: NDArray[np.float64],
    bank_slope: NDArray[np.float64],
    bench_depth: NDArray[np.float64],
    bench_width: NDArray[np.float64],
    swale_half: NDArray[np.float64],
    swale_depth: NDArray[np.float64],
    reach_m: float,
) -> None:
    """Lower the cells near a line to its channel, less and less over the last 5 m of reach.

    Beds are sampled each ``BED_STEP_M``, the rest each metre.
    """
    flat = z.ravel()
    top = bed.size - 1
    for n in range(cells.size):
        d = abs(offset[n])
        s = station[n]
        i = min(max(int(s + 0.5), 0), half_bed.size - 1)
        # The lip is a horseshoe: to the sides the same step lies farther down the channel.
        ragged = 0.35 * np.sin(1.1 * offset[n] + 0.6 * s) * min(d, 1.0)
        s_bed = s + min(LIP_CURVE_PER_M * d * d, 2.5) + ragged
        u = min(max(s_bed / BED_STEP_M, 0.0), top - 1e-6)
        k = int(u)
        t = u - k
        level = bed[k] * (1 - t) + bed[min(k + 1, top)] * t
        g = gully[k] * (1 - t) + gully[min(k + 1, top)] * t
        level += section_height(
            d,
            half_bed[i],
            bank_slope[i],
            bench_depth[i],
            bench_width[i],
            swale_half[i],
            swale_depth[i],
            g,
        )
        if level < flat[cells[n]]:
            flat[cells[n]] -= (flat[cells[n]] - level) * min((reach_m - d) / 5.0, 1.0)


@njit(cache=True)
def lay_floor(
    z: NDArray[np.float32],
    cells: NDArray[np.int32],
    station: NDArray[np.float32],
    offset: NDArray[np.float32],
    floor: NDArray[np.float64],
    half_width: NDArray[np.float64],
    hold: NDArray[np.float64],
    cross_slope: float,
    claimed: NDArray[np.float32],
) -> None:
    """Blend the ground toward a valley floor that rises gently from the line."""
    flat = z.ravel()
    for n in range(cells.size):
        d = abs(offset[n])
        i = min(max(int(station[n] + 0.5), 0), floor.size - 1)
        t = min(max((d / half_width[i] - 0.3) / 1.3, 0.0), 1.0)
        w = (1.0 - t * t * (3.0 - 2.0 * t)) * hold[i]
        far = min(max((claimed[cells[n]] - 2.0) / 16.0, 0.0), 1.0)
        w *= far * far * (3.0 - 2.0 * far)
        u = min(max(station[n], 0.0), floor.size - 1.0)
        k = min(int(u), floor.size - 2)
        level = floor[k] + (floor[k + 1] - floor[k]) * (u - k) + cross_slope * d
        flat[cells[n]] += w * (level - flat[cells[n]])


@njit(cache=True)
def claim(
    claimed: NDArray[np.float32], cells: NDArray[np.int32], offset: NDArray[np.float32]
) -> None:
    """Remember how far each cell lies from the nearest line laid so far."""
    for n in range(cells.size):
        claimed[cells[n]] = min(claimed[cells[n]], abs(offset[n]))


@njit(cache=True)
def raise_fan(
    z: NDArray[np.float32],
    cells: NDArray[np.int32],
    station: NDArray[np.float32],
    offset: NDArray[np.float32],
    rise: NDArray[np.float64],
    spread: NDArray[np.float64],
) -> None:
    """Add a low rounded deposit along a line."""
    flat = z.ravel()
    for n in range(cells.size):
        i = min(max(int(station[n] + 0.5), 0), rise.size - 1)
        if rise[i] > 0.0:
            t = abs(offset[n]) / (2.2 * spread[i])
            if t < 1.0:
                flat[cells[n]] += rise[i] * (1.0 - t * t) ** 4
