"""Short gullies that begin at the rim of another or of a dugout, cut back where water falls in."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numba import njit
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem.checking import Flow
from sample_dem.features import Feature, _window
from sample_dem.network import smooth_line
from sample_dem.plan import ChannelPlan

LEAST_AREA_HA = 0.03
MOST_AREA_HA = 0.5
APART_M = 14.0
FINGER_SLOPE = 0.12


@dataclass(frozen=True, slots=True)
class Finger:
    """One short gully in local metres: from the rim it opens on up to its head."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    lip: tuple[float, float]
    foot: tuple[float, float]
    height_m: float
    drop_length_m: float
    area_ha: float
    kind: str


@njit(cache=True)
def _dig(
    z: NDArray[np.float32],
    cell_m: float,
    x: NDArray[np.float64],
    y: NDArray[np.float64],
    bed: NDArray[np.float64],
    half_m: float,
    wall: float,
) -> None:
    rows, cols = z.shape
    reach = half_m + 4.0 / wall + 1.0
    for i in range(x.size):
        r0, r1 = max(int((y[i] - reach) / cell_m), 0), min(int((y[i] + reach) / cell_m), rows - 1)
        c0, c1 = max(int((x[i] - reach) / cell_m), 0), min(int((x[i] + reach) / cell_m), cols - 1)
        for r in range(r0, r1 + 1):
            for c in range(c0, c1 + 1):
                d = ((c + 0.5) * cell_m - x[i]) ** 2 + ((r + 0.5) * cell_m - y[i]) ** 2
                level = bed[i] + wall * max(d**0.5 - half_m, 0.0)
                if level < z[r, c]:
                    z[r, c] = level


def _at(z: NDArray[np.float32], cell_m: float, x: float, y: float) -> float:
    where = [[y / cell_m - 0.5], [x / cell_m - 0.5]]
    return float(ndimage.map_coordinates(z, where, order=1, mode="nearest")[0])


def dig_finger(
    z: NDArray[np.float32],
    cell_m: float,
    path: tuple[NDArray[np.float64], NDArray[np.float64]],
    mouth_m: float,
    area_ha: float,
    kind: str,
    rng: np.random.Generator,
) -> Finger | None:
    """Dig one along a path that goes up from a rim; ``mouth_m`` is the level that it opens on."""
    x, y = path
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    at = np.arange(0.0, along[-1], 0.4)
    if at.size < 8:
        return None
    x = smooth_line(np.interp(at, along, x), 3.0)
    y = smooth_line(np.interp(at, along, y), 3.0)
    half, wall = float(rng.uniform(0.4, 0.9)), float(rng.uniform(1.2, 3.0))
    height = float(rng.uniform(0.5, 1.3))
    end = _at(z, cell_m, float(x[-1]), float(y[-1]))
    rim = _at(z, cell_m, float(x[0]), float(y[0]))
    low = max(mouth_m, min(rim - 0.4, end - height - FINGER_SLOPE * at[-1]))
    high = end - height
    if high < low + 0.02 * at[-1]:
        return None
    bed = low + (high - low) * at / at[-1]
    if rng.random() < 0.4:  # a gradual head: the last metres steepen
        spread = min(float(rng.uniform(2.0, 5.0)), 0.5 * float(at[-1]))
        t = np.clip((at - at[-1] + spread) / spread, 0, 1)
        bed += 0.75 * height * t * t
    tx, ty = x[-1] - x[-4], y[-1] - y[-4]
    norm = float(np.hypot(tx, ty)) + 1e-9
    before = z.copy()
    _dig(z, cell_m, x, y, bed, half, wall)
    s = np.arange(-10.0, 8.0, 0.2)
    px = np.where(s < 0, np.interp(at[-1] + s, at, x), x[-1] + s * tx / norm)
    py = np.where(s < 0, np.interp(at[-1] + s, at, y), y[-1] + s * ty / norm)
    where = np.stack([py / cell_m - 0.5, px / cell_m - 0.5])
    now = ndimage.map_coordinates(z, where, order=1, mode="nearest")
    was = ndimage.map_coordinates(before, where, order=1, mode="nearest")
    cut = np.flatnonzero(was - now > 0.06)
    if cut.size == 0:
        z[:] = before
        return None
    lip = min(int(cut[-1]) + 1, s.size - 1)
    steep = np.gradient(now, 0.2) > 0.3 * np.gradient(now, 0.2)[max(lip - 30, 0) : lip].max()
    foot = lip - 1
    while foot > 0 and steep[max(foot - 4, 0) : foot + 1].any():
        foot -= 1
    fall = float(now[lip] - now[foot])
    return Finger(
        x,
        y,
        (float(px[lip]), float(py[lip])),
        (float(px[foot]), float(py[foot])),
        fall,
        float(s[lip] - s[foot]),
        area_ha,
        kind,
    )


def at_rims(
    z: NDArray[np.float32],
    flow: Flow,
    cut_m: NDArray[np.float32],
    taken: list[tuple[float, float]],
    count: int,
    rng: np.random.Generator,
) -> list[Finger]:
    """Cut back where flow lines fall over the walls of gullies."""
    inside = (cut_m > 0.15).ravel()
    rec = flow.rec
    area = flow.count * flow.cell_m**2 / 1e4
    cells = np.flatnonzero((rec >= 0) & ~inside & (area >= LEAST_AREA_HA) & (area < MOST_AREA_HA))
    cells = cells[inside[rec[cells]]]
    places = list(taken)
    found: list[Finger] = []
    for cell in cells[np.argsort(-area[cells], kind="stable")]:
        if len(found) >= count:
            break
        fx, fy = flow.xy(np.array([cell]))
        if any(np.hypot(fx[0] - a, fy[0] - b) < APART_M for a, b in places):
            continue
        below = flow.path(int(cell), 0, int(6 / flow.cell_m))
        deep = float(z.flat[cell] - z.ravel()[below].min())
        if deep < 0.7:
            continue
        up = flow.path(int(cell), int(rng.uniform(6, 16) / flow.cell_m), 2)[::-1]
        if area[up[-1]] < 0.5 * LEAST_AREA_HA or inside[up[3:]].any():
            continue
        mouth = float(z.ravel()[below].min()) + 0.1
        finger = dig_finger(z, flow.cell_m, flow.xy(up), mouth, float(area[cell]), "side_head", rng)
        places.append((float(fx[0]), float(fy[0])))
        if finger is not None:
            found.append(finger)
    return found


def dugout_with_fingers(
    z: NDArray[np.float32],
    flow: Flow,
    plans: list[ChannelPlan],
    taken: list[tuple[float, float]],
    rng: np.random.Generator,
) -> tuple[Feature, NDArray[np.bool_], list[Finger]] | None:
    """A pit dug in a swale for stock water; short gullies work back from its rim."""
    cell_m = flow.cell_m
    spots = []
    for plan in plans:
        depth = plan.floor - np.array([plan.bed_at(float(s)) for s in range(plan.floor.size)])
        for s in range(45, plan.floor.size - 45, 5):
            x, y = float(plan.line.x[s]), float(plan.line.y[s])
            clear = all(np.hypot(x - a, y - b) > 45 for a, b in taken)
            if depth[s - 25 : s + 30].max() < 0.6 and 0.4 < plan.line.area_ha[s] < 12 and clear:
                spots.append((plan, s))
    for n in rng.permutation(len(spots))[:20]:
        plan, s = spots[int(n)]
        x, y = float(plan.line.x[s]), float(plan.line.y[s])
        size = z.shape[0] * cell_m, z.shape[1] * cell_m
        if not (50 < x < size[1] - 50 and 50 < y < size[0] - 50):
            continue
        ux, uy = plan.line.x[s + 8] - plan.line.x[s - 8], plan.line.y[s + 8] - plan.line.y[s - 8]
        norm = float(np.hypot(ux, uy))
        ux, uy = ux / norm, uy / norm
        at_rows, at_cols, dx, dy = _window(x, y, 32.0, z.shape, cell_m)
        up, side = dx * ux + dy * uy, -dx * uy + dy * ux
        long, wide = float(rng.uniform(9, 14)), float(rng.uniform(6, 9))
        level = float(plan.bed_at(float(s)))
        out = np.maximum(np.abs(up) - long, np.abs(side) - wide)
        deep = float(rng.uniform(1.8, 2.6))
        pit = level - np.clip(-0.9 * out, 0, deep)
        far = np.hypot(np.maximum(np.abs(up) - long, 0), np.abs(np.abs(side) - wide - 6.5))
        part = z[at_rows, at_cols]
        spoil = part + 1.7 * np.clip(1 - far / 5.0, 0, 1)
        part[:] = np.where(out < 0, np.minimum(part, pit), spoil)
        still = (out < 0) & (part < level - 1.1)
        part[still] = level - 1.1
        wet = np.zeros(z.shape, bool)
        wet[at_rows, at_cols] = still
        fingers = []
        turns = np.array([-1.15, -0.6, 0.6, 1.15]) + rng.uniform(-0.1, 0.1, 4)
        for turn in [0.0, *rng.permutation(turns)[: int(rng.integers(2, 5))]]:
            ax, ay = ux * np.cos(turn) - uy * np.sin(turn), ux * np.sin(turn) + uy * np.cos(turn)
            reach = long / max(np.cos(turn), 0.5) - 1.0
            along = np.arange(0.0, rng.uniform(7, 16), 1.0)
            wave = 0.5 * np.sin(along / 3.0 + turn)
            px = x + (reach + along) * ax - wave * ay
            py = y + (reach + along) * ay + wave * ax
            if turn == 0.0:  # along the swale itself
                k = np.arange(s + int(long) - 1, s + int(long + rng.uniform(8, 18)))
                px, py = plan.line.x[k].copy(), plan.line.y[k].copy()
            area = float(plan.line.area_ha[s]) if turn == 0.0 else 0.0
            kind = "gully_head"
            finger = dig_finger(z, cell_m, (px, py), level - 1.0, area, kind, rng)
            if finger is not None:
                fingers.append(finger)
        return Feature("dugout", x, y, deep, "pit with spoil on two sides"), wet, fingers
    return None
