"""What people, stock and rock leave on a land and is no gully head."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.second_ground.lines import STEP_M, Line
from tests.second_ground.wear import bumps


@dataclass(frozen=True, slots=True)
class Thing:
    """A place that is no head, in local metres."""

    kind: str
    x: float
    y: float
    size_m: float


@dataclass(slots=True)
class Site:
    """The surface being changed, where it may be changed, and what was put there."""

    z: NDArray[np.float64]
    cell_m: float
    free: NDArray[np.bool_]  # well away from every trench
    water: NDArray[np.bool_]
    things: list[Thing]

    def window(
        self, x: float, y: float, reach: float
    ) -> tuple[tuple[slice, slice], NDArray, NDArray]:
        rows, cols = self.z.shape
        c = self.cell_m
        r0, r1 = max(int((y - reach) / c), 0), min(int((y + reach) / c) + 1, rows)
        c0, c1 = max(int((x - reach) / c), 0), min(int((x + reach) / c) + 1, cols)
        i, j = np.mgrid[r0:r1, c0:c1]
        return (slice(r0, r1), slice(c0, c1)), (j + 0.5) * c - x, (i + 0.5) * c - y

    def spot(self, rng: np.random.Generator, reach: float) -> tuple[float, float] | None:
        """A random place whose surroundings are free."""
        rows, cols = self.z.shape
        for _ in range(60):
            y = float(rng.uniform(reach, rows * self.cell_m - reach))
            x = float(rng.uniform(reach, cols * self.cell_m - reach))
            if self.free[self.window(x, y, reach)[0]].all():
                return x, y
        return None


def _turned(
    dx: NDArray[np.float64], dy: NDArray[np.float64], heading: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    along = dx * np.cos(heading) + dy * np.sin(heading)
    return along, -dx * np.sin(heading) + dy * np.cos(heading)


def _downhill(part: NDArray[np.float64]) -> tuple[float, float]:
    """Heading down the slope of a window and how steep it is."""
    gy, gx = np.gradient(part)
    return float(np.arctan2(-gy.mean(), -gx.mean())), float(np.hypot(gx.mean(), gy.mean()))


def stepped_fields(site: Site, rng: np.random.Generator) -> None:
    """A patch of slope laid in level benches, each with a low ridge on its edge."""
    reach = float(rng.uniform(45, 80))
    place = site.spot(rng, reach)
    if place is None:
        return
    at, dx, dy = site.window(*place, reach)
    z = ndimage.gaussian_filter(site.z[at], 5.0 / site.cell_m, mode="nearest")
    fall = float(np.ptp(z[::8, ::8]))
    rise = float(np.clip(fall / rng.uniform(4, 8), 0.4, 1.4))
    part = z / rise - np.floor(z / rise)
    bench = rise * (np.floor(z / rise) + np.clip((part - 0.78) / 0.22, 0, 1))
    bench += 0.28 * np.exp(-(((part - 0.97) / 0.07) ** 2)) * rise
    ragged = 0.12 * reach * bumps(rng, dx.shape, site.cell_m, 60.0)
    inside = np.clip((reach - np.hypot(dx, dy) + ragged) / 16.0, 0, 1)
    site.z[at] += inside * (bench - z)
    edge = np.argwhere((np.abs(part - 0.9) < 0.05) & (inside > 0.9))
    for r, c in edge[rng.integers(0, len(edge), min(len(edge), 6))] if len(edge) else []:
        site.things.append(
            Thing("terrace", place[0] + float(dx[r, c]), place[1] + float(dy[r, c]), rise)
        )


def ledge(site: Site, rng: np.random.Generator) -> None:
    """Rock that crops out along the contour of an open slope."""
    reach = float(rng.uniform(25, 60))
    place = site.spot(rng, reach)
    if place is None:
        return
    at, dx, dy = site.window(*place, reach)
    heading, steep = _downhill(site.z[at])
    if steep / site.cell_m < 0.02:
        return
    down, side = _turned(dx, dy, heading)
    height = float(rng.uniform(0.5, 1.4))
    down = down + 0.004 * side**2 + 1.2 * np.sin(side / 6.0) + 0.5 * np.sin(side / 2.3 + 1)
    back = np.clip(1 + down / (0.5 * reach), 0, 1) ** 1.5
    shape = np.where(down < 0, back, np.clip(1 - down / 0.9, 0, 1))
    site.z[at] += height * shape * np.clip((reach - np.abs(side) - np.abs(down)) / 6.0, 0, 1)
    site.things.append(Thing("ledge", *place, height))


def pad(site: Site, rng: np.random.Generator) -> None:
    """A level place for a building, cut into the slope above and filled out below."""
    place = site.spot(rng, 32.0)
    if place is None:
        return
    at, dx, dy = site.window(*place, 32.0)
    heading, _ = _downhill(site.z[at])
    a, b = _turned(dx, dy, heading)
    out = np.maximum(np.maximum(np.abs(a) - rng.uniform(7, 12), np.abs(b) - rng.uniform(9, 14)), 0)
    level = float(site.z[at][tuple(n // 2 for n in a.shape)])
    was = site.z[at].copy()
    site.z[at] = np.clip(was, level - out / 1.6, level + out / 1.3)
    site.things.append(Thing("pad", *place, float(np.abs(site.z[at] - was).max())))


def track(site: Site, rng: np.random.Generator, goal: tuple[float, float] | None = None) -> None:
    """A trail trodden by stock: a shallow sunken line, straight and without regard to the slope."""
    rows, cols = (n * site.cell_m for n in site.z.shape)
    x, y = float(rng.uniform(20, cols - 20)), float(rng.uniform(20, rows - 20))
    heading = float(rng.uniform(0, 2 * np.pi))
    if goal is not None:
        heading = float(np.arctan2(goal[1] - y, goal[0] - x))
    deep, wide = float(rng.uniform(0.10, 0.35)), float(rng.uniform(0.6, 1.2))
    dug = np.zeros_like(site.z)
    for step in range(int(rng.uniform(120, 320))):
        heading += float(rng.normal(0, 0.03))
        x, y = x + np.cos(heading), y + np.sin(heading)
        if not (6 < x < cols - 6 and 6 < y < rows - 6):
            break
        if goal is not None and np.hypot(goal[0] - x, goal[1] - y) < 15:
            break
        at, dx, dy = site.window(x, y, 4.0)
        if not site.free[at].all():
            continue
        cross = np.exp(-(dx**2 + dy**2) / (2 * (0.6 * wide) ** 2))
        rim = 0.25 * np.exp(-(((np.hypot(dx, dy) - 2.2 * wide) / wide) ** 2))
        dug[at] = np.where(dug[at] < -0.1 * deep, dug[at], np.maximum(dug[at], deep * 0.4 * rim))
        dug[at] = np.minimum(dug[at], np.where(cross > 0.15, -deep * cross, dug[at]))
        if step % 60 == 30:
            site.things.append(Thing("track", x, y, deep))
    site.z += dug


def dugout(site: Site, rng: np.random.Generator) -> tuple[float, float] | None:
    """A pit dug for stock water, the spoil in banks on two sides, water in it."""
    place = site.spot(rng, 34.0)
    if place is None:
        return None
    at, dx, dy = site.window(*place, 34.0)
    a, b = _turned(dx, dy, float(rng.uniform(0, np.pi)))
    long, wide, deep = float(rng.uniform(9, 16)), float(rng.uniform(5, 9)), float(rng.uniform(2, 3))
    level = float(np.median(site.z[at]))
    out = np.maximum(np.abs(a) - long, np.abs(b) - wide)
    pit = level - np.clip(-out * 0.9, 0, deep)
    lumps = 0.25 * bumps(rng, a.shape, site.cell_m, 4.0)
    off = np.hypot(np.maximum(np.abs(a) - long * 0.8, 0) * 1.2, np.abs(np.abs(b) - wide - 5.5))
    bank = (2.0 + lumps) * np.clip(1 - off / 4.5, 0, 1)
    ground = np.where(out < 0, np.minimum(site.z[at], pit), site.z[at] + bank)
    wet = (ground < level - 1.2) & (out < 0)
    site.z[at] = np.where(wet, level - 1.2, ground)
    site.water[at] |= wet
    site.free[at] = False
    site.things.append(Thing("dugout", *place, deep))
    return place


def stock_pond(
    site: Site, lines: list[Line], cut: list[NDArray[np.float64]], rng: np.random.Generator
) -> tuple[float, float] | None:
    """An earth dam across a line that is not cut there: water behind, a spillway round its end."""
    size = site.z.shape[0] * site.cell_m
    spots = []
    for line in lines:
        near = ndimage.maximum_filter1d(cut[line.number], int(90 / STEP_M))
        ok = (near < 0.05) & (line.area_m2 > 4_000) & (line.area_m2 < 120_000)
        spots += [(line, int(i)) for i in np.flatnonzero(ok)[60::40]]
    for n in rng.permutation(len(spots))[:40]:
        line, i = spots[int(n)]
        x, y = float(line.x[i]), float(line.y[i])
        if not (75 < x < size - 75 and 75 < y < size - 75) or i + 12 >= line.x.size:
            continue
        at, dx, dy = site.window(x, y, 70.0)
        tx, ty = line.x[i + 12] - line.x[i - 12], line.y[i + 12] - line.y[i - 12]
        up, side = _turned(dx, dy, float(np.arctan2(ty, tx)))
        rise = float(rng.uniform(1.6, 2.6))
        was = site.z[at]
        crest = float(line.bed_m[i]) + rise
        top = crest - np.maximum(np.abs(up) - 1.5, 0) / 2.2
        dam = (top > was) & (np.abs(side) < 55) & (np.abs(up) < 9)
        raised = np.where(dam, top, was)
        level = crest - 0.6
        label, _ = ndimage.label((raised < level) & (up > 0))
        home = label[np.unravel_index(np.argmin(np.hypot(up - 8, side)), up.shape)]
        if home == 0 or np.abs(side[dam]).max() > 50:
            continue
        wet = label == home
        if wet[0].any() or wet[-1].any() or wet[:, 0].any() or wet[:, -1].any():
            continue
        if not 150 < wet.sum() * site.cell_m**2 < 6_000 or not site.free[at][wet | dam].all():
            continue
        end = float(side[dam].max())
        spill = np.exp(-(((side - end + 1.5) / 1.6) ** 2)) * (np.abs(up) < 12)
        raised = np.where(wet, level, raised - 0.5 * spill * (raised > level - 0.6))
        site.z[at] = raised
        site.water[at] |= wet
        site.free[at] &= ~ndimage.binary_dilation(wet | dam, iterations=int(8 / site.cell_m))
        site.things.append(Thing("dam", x, y, rise))
        turn = float(np.arctan2(ty, tx))
        sx, sy = x - (end - 1.5) * np.sin(turn), y + (end - 1.5) * np.cos(turn)
        site.things.append(Thing("pond_outlet", sx, sy, 0.5))
        return x, y
    return None


def road(site: Site, lines: list[Line], rng: np.random.Generator) -> None:
    """A graded road with a ditch on its upper side; it crosses lines on fills, hollows above."""
    rows, cols = (n * site.cell_m for n in site.z.shape)
    for _ in range(30):
        x, y = 3.0, float(rng.uniform(0.2, 0.8) * rows)
        heading, path = float(rng.normal(0, 0.3)), []
        bend = 0.0
        while 2 < x < cols - 2 and 2 < y < rows - 2:
            path.append((x, y))
            bend = 0.93 * bend + float(rng.normal(0, 0.004))
            heading += bend
            x, y = x + np.cos(heading), y + np.sin(heading)
        p = np.array(path)
        r, c = (p[:, 1] / site.cell_m).astype(int), (p[:, 0] / site.cell_m).astype(int)
        if len(path) > 0.6 * cols and site.free[r, c].mean() > 0.93:
            break
    else:
        return
    ground = ndimage.map_coordinates(
        site.z, np.stack([p[:, 1], p[:, 0]]) / site.cell_m - 0.5, order=1
    )
    grade = ndimage.gaussian_filter1d(ground, 12.0) + 0.25
    best = np.full(site.z.shape, 99.0)
    change = np.zeros_like(site.z)
    for k in range(1, len(path) - 1):
        at, dx, dy = site.window(p[k, 0], p[k, 1], 8.0)
        if not site.free[at].all():
            continue
        t = p[k + 1] - p[k - 1]
        _, side = _turned(dx, dy, float(np.arctan2(t[1], t[0])))
        d = np.hypot(dx, dy)
        slope = site.z[at][0].mean() - site.z[at][-1].mean()
        upper = np.sign(-slope) * side
        out = np.maximum(np.abs(side) - 2.5, 0)
        bed = np.clip(site.z[at], grade[k] - out / 1.8, grade[k] + out / 1.2)
        bed = bed - 0.45 * np.exp(-(((upper - 3.6) / 0.7) ** 2))
        nearer = d < best[at]
        best[at] = np.where(nearer, d, best[at])
        fade = np.clip((7.0 - np.abs(side)) / 2.0, 0, 1)
        change[at] = np.where(nearer, fade * (bed - site.z[at]), change[at])
    site.z += change
    for line in lines:
        d = np.hypot(line.x[:, None] - p[::2, 0], line.y[:, None] - p[::2, 1]).min(axis=1)
        near = np.flatnonzero(d < 1.2)
        if near.size:
            i = int(near[0])
            site.things.append(Thing("road_fill", float(line.x[i]), float(line.y[i]), 0.5))
    for k in range(60, len(path) - 60, 120):
        site.things.append(Thing("road_ditch", float(p[k, 0]), float(p[k, 1]), 0.45))
