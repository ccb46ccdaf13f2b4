"""More that is no headcut: trails, terraces, banks, ledges, hollows, ditches, culverts."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem.features import Feature, Road, _window
from sample_dem.noise import wander
from sample_dem.plan import ChannelPlan

Grid = NDArray[np.float32]


def _spot(
    off_channel_m: Grid, least_m: float, reach: float, cell_m: float, rng: np.random.Generator
) -> tuple[float, float] | None:
    rows, cols = off_channel_m.shape
    if min(rows, cols) * cell_m < 2 * reach + 4:
        return None
    for _ in range(80):
        y = float(rng.uniform(reach, rows * cell_m - reach))
        x = float(rng.uniform(reach, cols * cell_m - reach))
        r, c, _, _ = _window(x, y, 0.6 * reach, off_channel_m.shape, cell_m)
        if off_channel_m[r, c].min() > least_m:
            return x, y
    return None


def trails(
    z: Grid, off_channel_m: Grid, cell_m: float, rng: np.random.Generator, count: int
) -> list[Feature]:
    """Cattle trails: trodden lines a hand or two deep that run straight across the slope."""
    found = []
    rows, cols = (n * cell_m for n in z.shape)
    for _ in range(count):
        n = int(rng.uniform(90, 300))
        x0, y0 = float(rng.uniform(10, cols - 10)), float(rng.uniform(10, rows - 10))
        heading = float(rng.uniform(0, 2 * np.pi)) + np.cumsum(0.02 * wander(rng, n, 25.0))
        x, y = x0 + np.cumsum(np.cos(heading)), y0 + np.cumsum(np.sin(heading))
        deep, wide = float(rng.uniform(0.08, 0.3)), float(rng.uniform(0.4, 0.9))
        dug = np.zeros_like(z)
        for px, py in zip(x, y, strict=True):
            if not (5 < px < cols - 5 and 5 < py < rows - 5):
                break
            r, c, dx, dy = _window(px, py, 3.5 * wide, z.shape, cell_m)
            shape = deep * np.exp(-(dx**2 + dy**2) / (2 * wide**2))
            off = np.clip((off_channel_m[r, c] - 5.0) / 4.0, 0, 1)
            dug[r, c] = np.maximum(dug[r, c], (off * shape).astype(np.float32))
        z -= dug
        if dug.max() > 0.5 * deep:
            k = n // 2
            found.append(Feature("trail", float(x[k]), float(y[k]), deep, "trodden by cattle"))
    return found


def _contour_distance(
    z: Grid, level: float, cell_m: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Distance uphill from a contour of the smoothed ground (m), and that ground's slope."""
    smooth = ndimage.gaussian_filter(z.astype(np.float64), 6.0 / cell_m, mode="nearest")
    gy, gx = np.gradient(smooth, cell_m)
    slope = ndimage.gaussian_filter(np.hypot(gx, gy), 4.0 / cell_m, mode="nearest")
    return (smooth - level) / np.maximum(slope, 0.01), slope


def _banks(
    z: Grid,
    off_channel_m: Grid,
    cell_m: float,
    rng: np.random.Generator,
    kind: str,
    levels: int,
    bank_m: tuple[float, float],
) -> list[Feature]:
    reach = float(rng.uniform(45, 75))
    place = _spot(off_channel_m, 12.0, reach, cell_m, rng)
    if place is None:
        return []
    r, c, dx, dy = _window(*place, reach, z.shape, cell_m)
    part = z[r, c]
    tall, wide = float(rng.uniform(*bank_m)), float(rng.uniform(1.6, 2.6))
    middle = float(part[tuple(n // 2 for n in part.shape)])
    gap = max(float(np.ptp(part)) / (levels + 1.0), 0.8)
    fade = np.clip((reach - np.hypot(dx, dy)) / 12.0, 0, 1)
    fade *= np.clip((off_channel_m[r, c] - 8.0) / 6.0, 0, 1)
    was = part.copy()
    found = []
    for k in range(levels):
        level = middle + gap * (k - (levels - 1) / 2)
        up, slope = _contour_distance(was, level, cell_m)
        fit = np.clip((slope - 0.015) / 0.015, 0, 1) * np.clip((0.16 - slope) / 0.04, 0, 1)
        bank = tall * np.exp(-((up / wide) ** 2))
        bank -= 0.4 * tall * np.exp(-(((up - 2.2 * wide) / wide) ** 2))  # dug from above it
        part += (fade * fit * bank).astype(np.float32)
        on = np.argwhere((np.abs(up) < 0.6) & (fade * fit > 0.8))
        for row, col in on[rng.integers(0, len(on), 2)] if len(on) else []:
            x, y = place[0] + float(dx[row, col]), place[1] + float(dy[row, col])
            found.append(Feature(kind, x, y, tall, "earth ridge along the contour"))
    return found


def terraces(
    z: Grid, off_channel_m: Grid, cell_m: float, rng: np.random.Generator
) -> list[Feature]:
    """A field of ridges along the contour, each dug from a channel above it."""
    return _banks(z, off_channel_m, cell_m, rng, "terrace", int(rng.integers(3, 6)), (0.4, 0.8))


def diversion(
    z: Grid, off_channel_m: Grid, cell_m: float, rng: np.random.Generator
) -> list[Feature]:
    """One larger bank that leads water along the slope."""
    return _banks(z, off_channel_m, cell_m, rng, "diversion_bank", 1, (0.8, 1.2))


def ledge(z: Grid, off_channel_m: Grid, cell_m: float, rng: np.random.Generator) -> list[Feature]:
    """A band of rock that stands out along an open slope."""
    reach = float(rng.uniform(25, 60))
    place = _spot(off_channel_m, 14.0, reach, cell_m, rng)
    if place is None:
        return []
    r, c, dx, dy = _window(*place, reach, z.shape, cell_m)
    part = z[r, c]
    up, slope = _contour_distance(part, float(part[tuple(n // 2 for n in part.shape)]), cell_m)
    tall = float(rng.uniform(0.5, 1.5))
    turn = float(rng.uniform(0, 6))
    up = up + 0.8 * np.sin((dx + dy) / 4.0 + turn) + 0.4 * np.sin((dx - dy) / 1.9)
    shape = np.clip(up / 0.9 + 0.5, 0, 1) * np.exp(-np.maximum(up, 0) / 14.0)
    fade = np.clip((reach - np.hypot(dx, dy)) / 8.0, 0, 1)
    fade *= np.clip((slope - 0.02) / 0.02, 0, 1)
    part += (tall * fade * shape).astype(np.float32)
    return [Feature("ledge", *place, tall, "rock across an open slope")]


def hollow(z: Grid, off_channel_m: Grid, cell_m: float, rng: np.random.Generator) -> list[Feature]:
    """A steep smooth hollow in a hillside: ground rounded by creep, without an edge."""
    place = _spot(off_channel_m, 12.0, 40.0, cell_m, rng)
    if place is None:
        return []
    r, c, dx, dy = _window(*place, 40.0, z.shape, cell_m)
    part = z[r, c]
    gy, gx = np.gradient(ndimage.gaussian_filter(part, 8.0 / cell_m), cell_m)
    fall = np.array([-gx.mean(), -gy.mean()])
    steep = float(np.hypot(*fall))
    if steep < 0.03:
        return []
    fall /= steep
    down, side = dx * fall[0] + dy * fall[1], -dx * fall[1] + dy * fall[0]
    long, wide = float(rng.uniform(26, 38)), float(rng.uniform(9, 15))
    deep = min(2.2, 1.4 * steep * long)
    # falls quickly at its upper end and runs out slowly, never rising again
    t = np.clip((down + long) / (2 * long), 0, 1)
    along = np.where(t < 0.3, np.sin(np.pi * t / 0.6) ** 2, np.cos(np.pi * (t - 0.3) / 1.4) ** 2)
    part -= (deep * along * np.exp(-((side / wide) ** 2))).astype(np.float32)
    return [Feature("hollow", *place, deep, "smooth steep hollow")]


def ditches(
    z: Grid, road: Road, off_channel_m: Grid, cell_m: float, rng: np.random.Generator
) -> list[Feature]:
    """A ditch along the upper side of the road."""
    along = np.concatenate([[0], np.cumsum(np.hypot(np.diff(road.x), np.diff(road.y)))])
    at = np.arange(0, along[-1], 0.8)
    x, y = np.interp(at, along, road.x), np.interp(at, along, road.y)
    tx, ty = np.gradient(x), np.gradient(y)
    norm = np.hypot(tx, ty) + 1e-9
    sign = 1.0 if rng.random() < 0.5 else -1.0
    x, y = x - sign * 3.4 * ty / norm, y + sign * 3.4 * tx / norm
    dug = np.zeros_like(z)
    deep = float(rng.uniform(0.3, 0.55))
    for px, py in zip(x, y, strict=True):
        if not (4 < px < z.shape[1] * cell_m - 4 and 4 < py < z.shape[0] * cell_m - 4):
            continue
        r, c, dx, dy = _window(px, py, 2.4, z.shape, cell_m)
        off = np.clip((off_channel_m[r, c] - 7.0) / 4.0, 0, 1)
        shape = off * np.clip(deep - 0.45 * np.maximum(np.hypot(dx, dy) - 0.3, 0), 0, None)
        dug[r, c] = np.maximum(dug[r, c], shape.astype(np.float32))
    z -= dug
    spots = np.flatnonzero(
        [
            dug[
                min(max(int(b / cell_m), 0), z.shape[0] - 1),
                min(max(int(a / cell_m), 0), z.shape[1] - 1),
            ]
            > 0.2
            for a, b in zip(x, y, strict=True)
        ]
    )[::90]
    return [Feature("road_ditch", float(x[k]), float(y[k]), deep, "beside the road") for k in spots]


def culvert(
    z: Grid,
    plans: list[ChannelPlan],
    taken: list[tuple[float, float]],
    cell_m: float,
    rng: np.random.Generator,
) -> Feature | None:
    """A track on a fill across a channel: a hollow above it, a scoured outlet below."""
    spots = []
    for plan in plans:
        for s in range(25, plan.floor.size - 40, 4):
            deep = float(plan.floor[s]) - plan.bed_at(float(s))
            x, y = float(plan.line.x[s]), float(plan.line.y[s])
            if 0.5 < deep < 2.4 and all(np.hypot(x - a, y - b) > 24 for a, b in taken):
                spots.append((plan, s, deep))
    if not spots:
        return None
    plan, s, deep = spots[int(rng.integers(len(spots)))]
    x, y = float(plan.line.x[s]), float(plan.line.y[s])
    ux, uy = plan.line.x[s + 5] - plan.line.x[s - 5], plan.line.y[s + 5] - plan.line.y[s - 5]
    norm = float(np.hypot(ux, uy))
    ux, uy = ux / norm, uy / norm
    r, c, dx, dy = _window(x, y, 26.0, z.shape, cell_m)
    up, side = dx * ux + dy * uy, np.abs(-dx * uy + dy * ux)
    crest = float(plan.floor[s]) + float(rng.uniform(0.1, 0.5))
    top = crest - np.maximum(np.abs(up) - 2.2, 0) / 1.5 - np.maximum(side - 7.0, 0) * 0.10
    part = z[r, c]
    bowl = 0.45 * np.exp(-(((up + 2.2 + 1.5 * deep + 2.0) / 1.8) ** 2) - (side / 1.3) ** 2)
    part -= bowl.astype(np.float32)
    part[:] = np.where(side < 22, np.maximum(part, top), part)
    note = f"channel {plan.line.number}, station {s} m, pipe beneath"
    return Feature("culvert_fill", x, y, deep, note)
