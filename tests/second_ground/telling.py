"""What the second ground holds, measured on its surface: heads, gullies, what is neither."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from rasterio.features import shapes
from rasterio.transform import Affine
from scipy import ndimage

from tests.second_ground.lines import STEP_M, Line
from tests.second_ground.retreat import Cuts, Front, Wave, half_width, wall_slope
from tests.second_ground.wear import flood_order, gather

GULLY_CUT_M = 0.15
LEAST_GULLY_M2 = 20.0
LEAST_HEIGHT_M = 0.3  # lower ones are no heads
LEAST_EXCESS_M = 0.3  # what a drop has beyond the slope of the bed
COUNTED_M = 0.6
APART_M = 6.0
SIDE_AREA_M2 = 600.0  # where as much pours over a wall it is a side head
DOUBTFUL_AREA_M2 = 300.0  # where less does it is a wall
WALL_AREA_M2 = 150.0  # walls over which less falls are not listed
HOLLOW_M = 0.06  # how far a swale that gathers water lies below the ground 5 m around it
EDGE_M = 8.0


def _sample(z: NDArray[np.float64], cell_m: float, x: Any, y: Any) -> NDArray[np.float64]:
    at = np.stack([np.asarray(y), np.asarray(x)]) / cell_m - 0.5
    return np.asarray(ndimage.map_coordinates(z, at, order=1, mode="nearest"))


def measure_drop(
    station_m: NDArray[np.float64], level_m: NDArray[np.float64], low: float, high: float
) -> tuple[float, float, float] | None:
    """Lip and foot (stations) of the steepest stretch of a profile between two stations.

    The stretch holds the steepest metre and goes on both ways while the bed is steeper than a third
    of the way from its usual slope to that one. Returns lip, foot and the usual slope.
    """
    step = float(station_m[1] - station_m[0])
    level = ndimage.uniform_filter1d(level_m, max(round(0.75 / step), 1), mode="nearest")
    slope = np.gradient(level, step)
    inside = (station_m >= low) & (station_m <= high)
    if not inside.any():
        return None
    top = int(np.flatnonzero(inside)[np.argmax(slope[inside])])
    usual = float(np.median(slope))
    bar = usual + 0.3 * (slope[top] - usual)
    steep = ndimage.binary_closing(
        np.pad(slope > bar, 4), structure=np.ones(max(round(0.8 / step), 1))
    )[4:-4]
    a = b = top
    while a > 0 and steep[a - 1]:
        a -= 1
    while b < steep.size - 1 and steep[b + 1]:
        b += 1
    return float(station_m[b] + step / 2), float(station_m[a] - step / 2), usual


def _kind(front: Front, lines: list[Line], cuts: Cuts) -> str:
    line = lines[front.line]
    above = min(front.at + int(3 / STEP_M), line.x.size - 1)
    if cuts.depth_m[front.line][: front.wave, above].sum() > 0.3:
        return "step"
    if line.parent >= 0:
        trunk = lines[line.parent]
        joined = cuts.depth_m[line.parent][:, line.joint].sum() > 0.3
        if joined and line.area_m2[0] < 0.25 * trunk.area_m2[line.joint]:
            return "side_head"
    return "gully_head"


def tell_heads(
    clean: NDArray[np.float64],
    cell_m: float,
    lines: list[Line],
    waves: list[Wave],
    cuts: Cuts,
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Heads as the surface shows them along their lines, and fronts that came out as none."""
    heads: list[dict[str, Any]] = []
    smooth: list[dict[str, Any]] = []
    seen: set[tuple[int, int]] = set()
    for front in cuts.fronts:
        if (front.line, front.at) in seen:  # merged with an older one
            continue
        seen.add((front.line, front.at))
        line = lines[front.line]
        age = float(cuts.age[front.line][front.wave, max(front.at - 1, 0)])
        wave = waves[front.wave]
        back = half_width(wave, line.area_m2[front.at], age)
        back += front.depth_m / wall_slope(wave, age)
        here = front.at * STEP_M
        at = np.array([line.x[front.at], line.y[front.at]])
        if at.min() < EDGE_M or at.max() > clean.shape[0] * cell_m - EDGE_M:
            continue
        low, high = here - 12.0 - front.taper_m, here + back + 12.0
        station = np.arange(max(low, 0), min(high, (line.x.size - 1) * STEP_M), 0.25)
        k = np.arange(line.x.size) * STEP_M
        x, y = np.interp(station, k, line.x), np.interp(station, k, line.y)
        level = _sample(clean, cell_m, x, y)
        place = {"x": float(np.interp(here, k, line.x)), "y": float(np.interp(here, k, line.y))}
        got = measure_drop(station, level, here - front.taper_m - 1, here + back + 4)
        if got is None:
            continue
        lip, foot, usual = got
        height = float(np.interp(lip, station, level) - np.interp(foot, station, level))
        excess = height - usual * (lip - foot)
        if front.fades or lip - foot > 12 or excess < LEAST_EXCESS_M or height < LEAST_HEIGHT_M:
            smooth.append({"kind": "gradual", "size_m": round(height, 2), **place})
            continue
        heads.append(
            {
                "x": float(np.interp(lip, k, line.x)),
                "y": float(np.interp(lip, k, line.y)),
                "foot_x": float(np.interp(foot, k, line.x)),
                "foot_y": float(np.interp(foot, k, line.y)),
                "height_m": height,
                "drop_length_m": lip - foot,
                "face_slope": height / (lip - foot),
                "kind": _kind(front, lines, cuts),
                "line": front.line,
                "station_m": lip,
                "drainage_area_ha": float(np.interp(lip, k, line.area_m2)) / 1e4,
                "counted": height >= COUNTED_M and excess >= 0.75 * COUNTED_M,
            }
        )
    heads.sort(key=lambda h: -h["height_m"])
    apart: list[dict[str, Any]] = []
    for head in heads:  # what lies closer together is one
        if all(np.hypot(head["x"] - o["x"], head["y"] - o["y"]) >= APART_M for o in apart):
            apart.append(head)
    return apart, smooth


def run_off(
    clean: NDArray[np.float64], cell_m: float
) -> tuple[NDArray[np.int64], NDArray[np.float64]]:
    """Receiver of each cell and the area that drains through it (m2), all edges open."""
    edge = np.ones(clean.shape, bool)
    edge[1:-1, 1:-1] = False
    _, receiver, order = flood_order(clean, edge, 1e-5)
    return receiver, gather(receiver, order, cell_m)


def without_dry(
    heads: list[dict[str, Any]], clean: NDArray[np.float64], cell_m: float
) -> list[dict[str, Any]]:
    """Heads to which no water comes on the cut surface do not count: it runs another way now."""
    area = run_off(clean, cell_m)[1].reshape(clean.shape)
    reach = int(3 / cell_m)
    told = []
    for head in heads:
        r, c = int(head["foot_y"] / cell_m), int(head["foot_x"] / cell_m)
        near = area[max(r - reach, 0) : r + reach + 1, max(c - reach, 0) : c + reach + 1]
        wet = near.size > 0 and near.max() >= DOUBTFUL_AREA_M2
        told.append(head | {"counted": bool(head["counted"] and wet)})
    return told


def pour_overs(
    clean: NDArray[np.float64],
    uncut: NDArray[np.float64],
    gully: NDArray[np.int32],
    cell_m: float,
    heads: list[dict[str, Any]],
) -> tuple[list[dict[str, Any]], list[dict[str, Any]]]:
    """Flow lines that fall over the edge of a gully where no head is listed yet.

    Those that drain much and come down a swale of the uncut ground count as heads; some an eye may
    or may not call a head, and they do not count; the others are water that falls over a wall.

    Returns
    -------
    tuple
        Heads and walls.
    """
    receiver, area = run_off(clean, cell_m)
    hollow = ndimage.gaussian_filter(uncut, 5.0 / cell_m) - ndimage.gaussian_filter(
        uncut, 1.0 / cell_m
    )
    hollow = ndimage.maximum_filter(hollow, 3).ravel()
    inside = gully.ravel() > 0
    cells = np.flatnonzero((receiver >= 0) & ~inside & (area >= WALL_AREA_M2))
    cells = cells[inside[receiver[cells]]]
    flat, cols = clean.ravel(), clean.shape[1]
    found: list[dict[str, Any]] = []
    walls: list[dict[str, Any]] = []
    for cell in cells[np.argsort(-area[cells], kind="stable")]:
        x, y = (cell % cols + 0.5) * cell_m, (cell // cols + 0.5) * cell_m
        here, run = int(cell), 0.0
        while run < 6.0 and receiver[here] >= 0:
            to = int(receiver[here])
            run += cell_m * (1.0 if abs(to - here) in (1, cols) else 2**0.5)
            here = to
        fall = float(flat[cell] - flat[here])
        if fall < LEAST_HEIGHT_M + 0.1 * run:
            continue
        if any(np.hypot(x - h["x"], y - h["y"]) < APART_M for h in [*heads, *found]):
            continue
        if area[cell] < DOUBTFUL_AREA_M2 or hollow[cell] < HOLLOW_M / 2:
            walls.append({"kind": "gully_wall", "size_m": round(fall, 2), "x": x, "y": y})
            continue
        found.append(
            {
                "x": x,
                "y": y,
                "foot_x": (here % cols + 0.5) * cell_m,
                "foot_y": (here // cols + 0.5) * cell_m,
                "height_m": fall,
                "drop_length_m": run,
                "face_slope": fall / run,
                "kind": "side_head",
                "line": None,
                "station_m": None,
                "drainage_area_ha": float(area[cell]) / 1e4,
                "counted": bool(
                    area[cell] >= SIDE_AREA_M2
                    and fall >= COUNTED_M + 0.1 * run
                    and hollow[cell] >= HOLLOW_M
                ),
            }
        )
    return found, walls


def tell_gullies(
    cut: NDArray[np.float64], cell_m: float, transform: Affine
) -> tuple[NDArray[np.int32], list[dict[str, Any]]]:
    """Connected cut ground: a raster of gully numbers and one record each."""
    label, n = ndimage.label(cut > GULLY_CUT_M, structure=np.ones((3, 3)))
    size = np.bincount(label.ravel(), minlength=n + 1) * cell_m**2
    keep = np.flatnonzero(size >= LEAST_GULLY_M2)
    keep = keep[keep > 0]
    number = np.zeros(n + 1, np.int32)
    number[keep] = np.arange(1, keep.size + 1)
    label = number[label]
    rings: dict[int, list[Any]] = {}
    for geometry, value in shapes(label, mask=label > 0, connectivity=8, transform=transform):
        rings.setdefault(int(value), []).append(geometry["coordinates"])
    told = []
    for k in range(1, keep.size + 1):
        deep = cut[label == k]
        told.append(
            {
                "id": k,
                "area_m2": float(deep.size * cell_m**2),
                "mean_depth_m": round(float(deep.mean()), 3),
                "max_depth_m": round(float(deep.max()), 3),
                "void_m3": round(float(deep.sum() * cell_m**2), 2),
                "polygons": rings[k],
            }
        )
    return label.astype(np.int32), told
