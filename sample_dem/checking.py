"""Does water really run over each planted head, and is there a drop nobody planted?"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray

from sample_dem.plan import ChannelPlan, PlannedHead
from sample_dem.routing import (
    accumulate,
    breach,
    downstream_order,
    main_donors,
    receivers,
    touches_edge,
)

LARGEST_MISS_M = 1.5


@dataclass(frozen=True, slots=True)
class Flow:
    """D8 flow over the noise-free surface."""

    rec: NDArray[np.int32]
    count: NDArray[np.int32]
    donor: NDArray[np.int32]
    cut: NDArray[np.bool_]
    cols: int
    cell_m: float

    def area_ha(self, cell: int) -> float:
        """Drainage area at a cell."""
        return float(self.count[cell]) * self.cell_m**2 / 1e4

    def xy(self, cells: NDArray[np.int64]) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """Local coordinates of cells."""
        cells = np.asarray(cells)
        x = np.asarray((cells % self.cols + 0.5) * self.cell_m, np.float64)
        return x, np.asarray((cells // self.cols + 0.5) * self.cell_m, np.float64)

    def path(self, cell: int, up: int, down: int) -> NDArray[np.int64]:
        """Main flow path through a cell, from ``up`` cells above it to ``down`` cells below."""
        above = [cell]
        for _ in range(up):
            nxt = int(self.donor[above[-1]])
            if nxt < 0:
                break
            above.append(nxt)
        below: list[int] = []
        here = cell
        for _ in range(down):
            here = int(self.rec[here])
            if here < 0:
                break
            below.append(here)
        return np.array(above[::-1] + below, np.int64)


def route(z: NDArray[np.float32], cell_m: float) -> Flow:
    """Breach a copy of the surface and route flow over it."""
    level = z.astype(np.float64)
    breach(level)
    rec = receivers(level)
    order = downstream_order(rec)
    count = accumulate(rec, order)
    cols = z.shape[1]
    return Flow(rec, count, main_donors(rec, count), touches_edge(rec, order, cols), cols, cell_m)


@dataclass(frozen=True, slots=True)
class HeadCheck:
    """What the surface shows at one planted head."""

    head: PlannedHead
    x: float
    y: float
    miss_m: float
    area_ha: float
    area_complete: bool
    realised_m: float


def _stations(
    plan: ChannelPlan, x: NDArray[np.float64], y: NDArray[np.float64], near: float
) -> NDArray[np.float64]:
    """Stations of points close to the line around one station."""
    low = max(int(near) - 14, 0)
    lx, ly = plan.line.x[low : int(near) + 15], plan.line.y[low : int(near) + 15]
    d = np.hypot(x[:, None] - lx, y[:, None] - ly)
    k = d.argmin(axis=1)
    a, b = np.maximum(k - 1, 0), np.minimum(k + 1, lx.size - 1)
    tx, ty = lx[b] - lx[a], ly[b] - ly[a]
    norm = np.hypot(tx, ty)
    return np.asarray(low + k + ((x - lx[k]) * tx + (y - ly[k]) * ty) / norm)


def check_head(
    z: NDArray[np.float32], flow: Flow, plan: ChannelPlan, head: PlannedHead
) -> HeadCheck:
    """Follow the flow path over one lip and measure the drop it makes."""
    metre = np.arange(plan.line.x.size)
    x, y = (
        float(np.interp(head.lip_m, metre, plan.line.x)),
        float(np.interp(head.lip_m, metre, plan.line.y)),
    )
    rows = z.shape[0]
    reach = 3
    row, col = int(y / flow.cell_m), int(x / flow.cell_m)
    best = -1
    for r in range(max(row - reach, 0), min(row + reach + 1, rows)):
        for c in range(max(col - reach, 0), min(col + reach + 1, flow.cols)):
            cell = r * flow.cols + c
            if best < 0 or flow.count[cell] > flow.count[best]:
                best = cell
    up = int(9 / flow.cell_m)
    path = flow.path(best, up, 2 * up)
    px, py = flow.xy(path)
    miss = np.hypot(px - x, py - y)
    at = int(miss.argmin())
    station = _stations(plan, px, py, head.lip_m)
    level = z.ravel()[path].astype(float)
    foot = head.lip_m - head.face_m
    pool = 1.8 + 0.8 * head.height_m if head.pool_m > 0 else 0.0
    above = (station > head.lip_m + 0.4) & (station < head.lip_m + 5)
    below = (station < foot - 0.6 - pool) & (station > foot - 5 - pool)
    realised = float("nan")
    if above.any() and below.any():
        u, d = np.flatnonzero(above)[-1], np.flatnonzero(below)[0]
        bed_u = plan.bed_at(float(station[u])) - plan.bed_at(head.lip_m + 0.3)
        fall = float(plan.bed_at(foot - 1.0 - pool) - plan.bed_at(foot - 4.0 - pool)) / 3
        bed_d = fall * (foot - 0.3 - float(station[d]))
        realised = float(level[u] - bed_u - (level[d] + bed_d))
    lip_cell = int(path[at])
    return HeadCheck(
        head, x, y, float(miss[at]), flow.area_ha(lip_cell), not bool(flow.cut[lip_cell]), realised
    )


@njit(cache=True)
def _excess(
    z: NDArray[np.float32],
    rec: NDArray[np.int32],
    donor: NDArray[np.int32],
    count: NDArray[np.int32],
    least: int,
    cols: int,
    cell_m: float,
    span_m: float,
    long_m: float,
) -> NDArray[np.float32]:
    out = np.zeros(rec.size, np.float32)
    for cell in range(rec.size):
        if count[cell] < least:
            continue
        here, run, fall, short = cell, 0.0, 0.0, -1.0
        while run < long_m and rec[here] >= 0:
            nxt = rec[here]
            diagonal = (nxt // cols != here // cols) and (nxt % cols != here % cols)
            run += cell_m * (2**0.5 if diagonal else 1.0)
            here = nxt
            fall = z[cell] - z[here]
            if short < 0 and run >= span_m:
                short = fall * span_m / run
        if short <= 0 or run <= span_m:
            continue
        below = max(fall - short, 0.0) / (run - span_m)
        up, run, top = cell, 0.0, z[cell]
        while run < long_m and donor[up] >= 0:
            nxt = donor[up]
            diagonal = (nxt // cols != up // cols) and (nxt % cols != up % cols)
            run += cell_m * (2**0.5 if diagonal else 1.0)
            up = nxt
        above = max(z[up] - top, 0.0) / run if run > 0 else 0.0
        out[cell] = short - span_m * max(below, above)
    return out


def drops(z: NDArray[np.float32], flow: Flow, least_ha: float = 0.1) -> NDArray[np.float32]:
    """What each cell's path falls in 3 m beyond what the 20 m above or below suggest."""
    least = max(int(least_ha * 1e4 / flow.cell_m**2), 1)
    excess = _excess(
        z.ravel(), flow.rec, flow.donor, flow.count, least, flow.cols, flow.cell_m, 3.0, 20.0
    )
    return excess.reshape(z.shape)


def unrecorded(
    z: NDArray[np.float32],
    flow: Flow,
    plans: list[ChannelPlan],
    known: NDArray[np.float64],
    built: NDArray[np.float64],
    *,
    least_drop_m: float = 0.4,
) -> list[tuple[float, float, float]]:
    """Abrupt drops in the middle of a channel that nobody planted: x, y and excess drop.

    ``known`` holds the planted lips, ``built`` the road fill and pond bank (local metres). Water
    that comes over a gully's wall from the side is left out: that is the wall, not a head.
    """
    excess = drops(z, flow)
    rows, cols = np.nonzero(excess > least_drop_m)
    x, y = (cols + 0.5) * flow.cell_m, (rows + 0.5) * flow.cell_m
    found: list[tuple[float, float, float]] = []
    for px, py, size in zip(x, y, excess[rows, cols], strict=True):
        if known.size and np.hypot(known[:, 0] - px, known[:, 1] - py).min() < 6.0:
            continue
        if built.size and np.hypot(built[:, 0] - px, built[:, 1] - py).min() < 22.0:
            continue
        middle = min(float(np.hypot(p.line.x - px, p.line.y - py).min()) for p in plans)
        if middle < 0.8 and all(np.hypot(px - a, py - b) > 6.0 for a, b, _ in found):
            found.append((float(px), float(py), float(size)))
    return found
