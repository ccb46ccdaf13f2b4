"""What people, stock and stones add: road and fill, pond, terracettes, scarps, grass."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem.noise import smooth_noise
from sample_dem.plan import ChannelPlan


@dataclass(frozen=True, slots=True)
class Feature:
    """A thing on the land that is not a headcut, in local metres."""

    kind: str
    x: float
    y: float
    size_m: float
    note: str


@dataclass(frozen=True, slots=True)
class Road:
    """Centre line of the ranch road and its fill across a gully."""

    x: NDArray[np.float64]
    y: NDArray[np.float64]
    fill: Feature
    nearest_head_m: float


def _window(
    x: float, y: float, reach: float, shape: tuple[int, int], cell_m: float
) -> tuple[slice, slice, NDArray[np.float64], NDArray[np.float64]]:
    r0, r1 = max(int((y - reach) / cell_m), 0), min(int((y + reach) / cell_m) + 1, shape[0])
    c0, c1 = max(int((x - reach) / cell_m), 0), min(int((x + reach) / cell_m) + 1, shape[1])
    rows, cols = np.mgrid[r0:r1, c0:c1]
    return slice(r0, r1), slice(c0, c1), (cols + 0.5) * cell_m - x, (rows + 0.5) * cell_m - y


def terracettes(
    z: NDArray[np.float32],
    off_channel_m: NDArray[np.float32],
    cell_m: float,
    rng: np.random.Generator,
) -> list[Feature]:
    """Cattle paths along the contour on patches of steeper hillside."""
    rows, cols = z.shape
    gy, gx = np.gradient(z, cell_m)
    steep = np.clip((np.hypot(gx, gy) - 0.09) / 0.05, 0, 1)
    patch = np.clip((smooth_noise(rng, rows, cols, cell_m, 170.0) - 1.15) / 0.4, 0, 1)
    weight = steep * patch * np.clip((off_channel_m - 14.0) / 8.0, 0, 1)
    tread = 0.42
    step = z / tread
    part = step - np.floor(step)
    level = tread * (np.floor(step) + np.clip((part - 0.62) / 0.38, 0, 1) ** 1.5)
    z += (0.65 * weight * (level - z)).astype(np.float32)
    places = np.argwhere(weight > 0.9)
    if places.size == 0:
        return []
    picks = places[rng.integers(0, len(places), min(8, len(places)))]
    return [
        Feature("terracettes", (c + 0.5) * cell_m, (r + 0.5) * cell_m, 0.3, "cattle paths")
        for r, c in picks
    ]


def scarps(
    z: NDArray[np.float32],
    dry: NDArray[np.int64],
    cell_m: float,
    rng: np.random.Generator,
    count: int,
) -> list[Feature]:
    """Short steps on hillsides where almost no water gathers; ``dry`` holds flat cell numbers."""
    found = []
    cols = z.shape[1]
    for cell in rng.permutation(dry)[:count]:
        y, x = (cell // cols + 0.5) * cell_m, (cell % cols + 0.5) * cell_m
        rows_, cols_, dx, dy = _window(x, y, 30.0, z.shape, cell_m)
        part = z[rows_, cols_]
        gy, gx = np.gradient(part, cell_m)
        up = np.array([gx.mean(), gy.mean()])
        slope = float(np.hypot(*up))
        if slope < 0.03:
            continue
        up /= slope
        u, v = dx * up[0] + dy * up[1], -dx * up[1] + dy * up[0]
        height = float(rng.uniform(0.4, 0.75))
        half = float(rng.uniform(7, 14))
        u = u + 0.03 * v * v / 2 + 0.5 * np.sin(v * 0.7)
        shape = np.clip(u / 0.9 + 0.5, 0, 1) * np.exp(-np.maximum(u, 0) / 9.0)
        part += (height * shape * np.clip(1.4 * (1 - (v / half) ** 2), 0, 1)).astype(np.float32)
        found.append(
            Feature("hillside_scarp", float(x), float(y), height, "no channel above or below")
        )
    return found


def boulders(
    z: NDArray[np.float32],
    off_channel_m: NDArray[np.float32],
    cell_m: float,
    rng: np.random.Generator,
    count: int,
) -> list[Feature]:
    """Lone stones well away from the channels."""
    found: list[Feature] = []
    height_m, width_m = z.shape[0] * cell_m, z.shape[1] * cell_m
    while len(found) < count:
        x, y = float(rng.uniform(5, width_m - 5)), float(rng.uniform(5, height_m - 5))
        if off_channel_m[int(y / cell_m), int(x / cell_m)] < 9.0:
            continue
        tall, radius = float(rng.uniform(0.3, 0.9)), float(rng.uniform(0.8, 1.8))
        rows_, cols_, dx, dy = _window(x, y, 3.0, z.shape, cell_m)
        z[rows_, cols_] += (tall * np.clip(1 - (dx**2 + dy**2) / radius**2, 0, 1)).astype(
            np.float32
        )
        found.append(Feature("boulder", x, y, tall, "lone stone"))
    return found


def head_points(plans: list[ChannelPlan]) -> NDArray[np.float64]:
    """Local coordinates of all planned lips."""
    points = [
        (
            np.interp(h.lip_m, np.arange(p.line.x.size), p.line.x),
            np.interp(h.lip_m, np.arange(p.line.x.size), p.line.y),
        )
        for p in plans
        for h in p.heads
    ]
    return np.array(points, float).reshape(-1, 2)


def _depth(plan: ChannelPlan, station: int) -> float:
    return float(plan.floor[station]) - plan.bed_at(float(station))


def plan_road(
    plans: list[ChannelPlan], width_m: float, height_m: float, rng: np.random.Generator
) -> Road | None:
    """A road that crosses one gully on a fill and passes near one head but over none."""
    heads = head_points(plans)
    spots = []
    for plan in plans:
        own = [h.lip_m for h in plan.heads] + [h.lip_m for h in plan.softened]
        for s in range(30, plan.floor.size - 40, 4):
            depth = _depth(plan, s)
            if not 1.1 <= depth <= 2.5 or any(abs(s - m) < 32 for m in own):
                continue
            if any(
                abs(o.line.parent_station_m - s) < 30
                for o in plans
                if o.line.parent == plan.line.number
            ):
                continue
            spots.append((plan, s, depth))
    if not spots:
        return None
    best: tuple[float, Road] | None = None
    for _ in range(250):
        plan, s, depth = spots[int(rng.integers(len(spots)))]
        x0, y0 = plan.line.x[s], plan.line.y[s]
        along = np.array(
            [plan.line.x[s + 4] - plan.line.x[s - 4], plan.line.y[s + 4] - plan.line.y[s - 4]]
        )
        heading = float(np.arctan2(along[0], -along[1]))
        arms = []
        for turn in (0.0, np.pi):
            px, py, a = [x0], [y0], heading + turn
            bend = 0.0
            for k in range(int((width_m + height_m) / 5)):
                bend = 0.85 * bend + float(rng.normal(0, 0.012))
                a += bend if k > 4 else 0.0
                px.append(px[-1] + 5 * np.cos(a))
                py.append(py[-1] + 5 * np.sin(a))
                if not (0 < px[-1] < width_m and 0 < py[-1] < height_m):
                    break
            arms.append((np.array(px), np.array(py)))
        x = np.concatenate([arms[1][0][:0:-1], arms[0][0]])
        y = np.concatenate([arms[1][1][:0:-1], arms[0][1]])
        gap = (
            float(np.hypot(x[:, None] - heads[:, 0], y[:, None] - heads[:, 1]).min())
            if len(heads)
            else 99.0
        )
        if gap < 11.0:
            continue
        score = abs(gap - 15.0) + 0.2 * abs(depth - 1.9) * 10
        if best is None or score < best[0]:
            fill = Feature(
                "road_fill",
                float(x0),
                float(y0),
                depth + 0.35,
                f"channel {plan.line.number}, station {s} m, no culvert",
            )
            best = (score, Road(x, y, fill, gap))
    return best[1] if best else None


def build_road(
    z: NDArray[np.float32],
    road: Road,
    off_channel_m: NDArray[np.float32],
    plans: list[ChannelPlan],
    cell_m: float,
) -> None:
    """Level the road across the slope, off the channels, and put the fill in its gully."""
    along = np.concatenate([[0], np.cumsum(np.hypot(np.diff(road.x), np.diff(road.y)))])
    at = np.arange(0, along[-1], 1.0)
    x, y = np.interp(at, along, road.x), np.interp(at, along, road.y)
    inside = (x > 4) & (y > 4) & (x < z.shape[1] * cell_m - 4) & (y < z.shape[0] * cell_m - 4)
    x, y = x[inside], y[inside]
    ground = ndimage.map_coordinates(z, np.stack([y / cell_m - 0.5, x / cell_m - 0.5]), order=1)
    ground = ndimage.gaussian_filter1d(ground.astype(float), 5.0)
    before = z.copy() if z.size < 4_000_000 else None
    done: dict[int, float] = {}
    for px, py, g in zip(x, y, ground, strict=True):
        rows_, cols_, dx, dy = _window(px, py, 3.6, z.shape, cell_m)
        d = np.hypot(dx, dy)
        for r, c, dist in zip(*(np.nonzero(d < 3.5)), d[d < 3.5], strict=True):
            key = (rows_.start + r) * z.shape[1] + cols_.start + c
            if key not in done or dist < done[key]:
                done[key] = dist
                # of single numbers, which `np.clip` takes long over
                on_road = min(max((3.4 - dist) / 1.4, 0.0), 1.0)
                w = on_road * min(max((off_channel_m.flat[key] - 9) / 8, 0.0), 1.0) * 0.8
                old = before.flat[key] if before is not None else z.flat[key]
                z.flat[key] = old + w * (g - old)
    fill = road.fill
    plan = plans[int(fill.note.split()[1].rstrip(","))]
    station = int(fill.note.split()[3])
    crest = float(plan.floor[station]) + 0.35
    k = int(np.argmin(np.hypot(road.x - fill.x, road.y - fill.y)))
    t = np.array([road.x[k + 1] - road.x[k - 1], road.y[k + 1] - road.y[k - 1]])
    t /= np.hypot(*t)
    rows_, cols_, dx, dy = _window(fill.x, fill.y, 26.0, z.shape, cell_m)
    a, c = np.abs(dx * t[0] + dy * t[1]), np.abs(-dx * t[1] + dy * t[0])
    top = crest - np.maximum(c - 2.2, 0) / 1.6 - np.maximum(a - 8.0, 0) * 0.12
    z[rows_, cols_] = np.where(a < 20, np.maximum(z[rows_, cols_], top), z[rows_, cols_])


def build_pond(
    z: NDArray[np.float32], plans: list[ChannelPlan], cell_m: float, rng: np.random.Generator
) -> tuple[Feature, NDArray[np.int64]] | None:
    """A stock pond: a bank across a draw and a flat water surface behind it."""
    heads = head_points(plans)
    spots = []
    for plan in plans:
        mouths = [o.line.parent_station_m for o in plans if o.line.parent == plan.line.number]
        for s in range(30, plan.floor.size - 60, 5):
            if any(-25 < m - s < 20 for m in mouths):
                continue
            slope = float(plan.floor[s + 40] - plan.floor[s]) / 40
            ok = 0.015 < slope < 0.09 and 0.6 < plan.line.area_ha[s] < 20 and _depth(plan, s) < 0.6
            x, y = plan.line.x[s], plan.line.y[s]
            if ok and (len(heads) == 0 or np.hypot(heads[:, 0] - x, heads[:, 1] - y).min() > 30):
                spots.append((plan, s))
    for n in rng.permutation(len(spots))[:200]:
        plan, s = spots[int(n)]
        x, y = float(plan.line.x[s]), float(plan.line.y[s])
        t = np.array(
            [plan.line.x[s + 6] - plan.line.x[s - 6], plan.line.y[s + 6] - plan.line.y[s - 6]]
        )
        t /= np.hypot(*t)
        rise = float(rng.uniform(1.9, 2.5))
        rows_, cols_, dx, dy = _window(x, y, 95.0, z.shape, cell_m)
        if dx.shape[0] < 189 / cell_m or dx.shape[1] < 189 / cell_m:
            continue
        up, side = dx * t[0] + dy * t[1], np.abs(-dx * t[1] + dy * t[0])
        crest = float(plan.floor[s]) + rise
        top = crest - np.maximum(np.abs(up) - 1.8, 0) / 2.5 - 0.25 * np.exp(-((side / 4) ** 2))
        part = z[rows_, cols_].copy()
        wall, _ = ndimage.label((top > part) & (np.abs(up) < 12))
        wall = wall == wall[tuple(n // 2 for n in wall.shape)]
        if not (top > part)[tuple(n // 2 for n in wall.shape)] or side[wall].max() > 55:
            continue
        raised = np.where(wall, top, part)
        water = crest - 0.7
        label, _ = ndimage.label((raised < water) & (up > 0))
        seed = np.unravel_index(int(np.argmin(np.hypot(up - 12, side))), up.shape)
        if label[seed] == 0:
            continue
        wet = label == label[seed]
        edge = wet[0].any() or wet[-1].any() or wet[:, 0].any() or wet[:, -1].any()
        area = wet.sum() * cell_m**2
        shore = ndimage.binary_dilation(wet, iterations=int(10 / cell_m))
        local = heads - [x, y]
        near = [
            shore[int((b + 95) / cell_m), int((a + 95) / cell_m)]
            for a, b in local
            if abs(a) < 90 and abs(b) < 90
        ]
        if edge or not 250 < area < 6000 or side[wet].max() > 65 or any(near):
            continue
        z[rows_, cols_] = np.where(wet, water, raised).astype(np.float32)
        r, c = np.nonzero(wet)
        cells = (r + rows_.start) * z.shape[1] + c + cols_.start
        note = f"channel {plan.line.number}, station {s} m, water {area:.0f} m2"
        return Feature("stock_pond_bank", x, y, rise, note), cells
    return None


def grass(
    z_shape: tuple[int, int],
    off_channel_m: NDArray[np.float32],
    cell_m: float,
    rng: np.random.Generator,
) -> NDArray[np.float32]:
    """Clumps of grass and brush left in the ground surface: 0.1 to 0.3 m, one to three cells."""
    share = 0.004 + 0.035 * np.exp(-(((off_channel_m - 2.5) / 2.5) ** 2))
    seeds = rng.random(z_shape, dtype=np.float32) < share * cell_m**2
    height = np.where(seeds, rng.uniform(0.1, 0.3, z_shape), 0).astype(np.float32)
    shift = rng.integers(0, 4, z_shape)
    for axis, step, code in ((0, 1, 1), (1, 1, 2), (1, -1, 3)):
        moved = np.roll(np.where(shift == code, height, 0), step, axis)
        height = np.maximum(height, 0.8 * moved)
    return np.asarray(height, np.float32)
