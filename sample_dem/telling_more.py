"""What the truth says beyond the plain ranch: drops, gullies and their voids, what is none."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from sample_dem.checking import Flow, HeadCheck
from sample_dem.features import Feature
from sample_dem.fingers import Finger
from sample_dem.plan import ChannelPlan, PlannedHead

GULLY_CUT_M = 0.15
LEAST_GULLY_M2 = 20.0
COUNTED_M = 0.6
FINGER_AREA_HA = 0.03
WALL_AREA_HA = (0.03, 0.06)  # less over a wall is nothing; more may be called a head
APART_M = 6.0


def kind_of(plan: ChannelPlan, check: HeadCheck) -> str:
    """Step where another head of the same channel lies above in the same gully."""
    head = check.head
    for reach in plan.reaches:
        if reach.low_m <= head.lip_m <= reach.high_m + 3:
            above = [h for h in plan.heads if head.lip_m < h.lip_m <= reach.high_m + 3]
            if above and "gully" in reach.setting:
                return "step"
    return "side_head" if head.kind == "side" else "gully_head"


def label_gullies(
    cut_m: NDArray[np.float32], cell_m: float
) -> tuple[NDArray[np.int32], list[dict[str, Any]]]:
    """Connected cut ground: raster of gully numbers, and area, depth and void of each."""
    label, n = ndimage.label(cut_m > GULLY_CUT_M, structure=np.ones((3, 3)))
    size = np.bincount(label.ravel(), minlength=n + 1) * cell_m**2
    deep = ndimage.maximum(cut_m, label, np.arange(n + 1)) if n else np.zeros(1)
    keep = np.flatnonzero((size >= LEAST_GULLY_M2) & (np.asarray(deep) >= 0.35))
    keep = keep[keep > 0]
    number = np.zeros(n + 1, np.int32)
    number[keep] = np.arange(1, keep.size + 1)
    label = number[label]
    told = []
    for k in range(1, keep.size + 1):
        depth = cut_m[label == k].astype(float)
        told.append(
            {
                "id": k,
                "area_m2": round(float(depth.size * cell_m**2), 2),
                "mean_depth_m": round(float(depth.mean()), 3),
                "max_depth_m": round(float(depth.max()), 3),
                "void_m3": round(float(depth.sum() * cell_m**2), 2),
            }
        )
    return label.astype(np.int32), told


def _gully_at(gully: NDArray[np.int32], cell_m: float, x: float, y: float) -> int | None:
    r, c = int(y / cell_m), int(x / cell_m)
    reach = int(4 / cell_m)
    near = gully[max(r - reach, 0) : r + reach + 1, max(c - reach, 0) : c + reach + 1]
    return int(np.bincount(near[near > 0]).argmax()) if (near > 0).any() else None


def pour_overs(
    z: NDArray[np.float32],
    flow: Flow,
    gully: NDArray[np.int32],
    known: NDArray[np.float64],
) -> tuple[list[Feature], list[Feature]]:
    """Places where flow lines fall over a gully's wall and nothing was planted.

    Returns those that drain so much that an eye may call them heads, and the others: mere wall.
    """
    inside = gully.ravel() > 0
    area = flow.count * flow.cell_m**2 / 1e4
    cells = np.flatnonzero((flow.rec >= 0) & ~inside & (area >= WALL_AREA_HA[0]))
    cells = cells[inside[flow.rec[cells]]]
    found: list[Feature] = []
    for cell in cells[np.argsort(-area[cells], kind="stable")]:
        x, y = (float(v[0]) for v in flow.xy(np.array([cell])))
        below = flow.path(int(cell), 0, int(6 / flow.cell_m))
        fall = float(z.flat[cell] - z.ravel()[below].min())
        apart = all(np.hypot(x - f.x, y - f.y) >= APART_M for f in found)
        clear = len(known) == 0 or np.hypot(known[:, 0] - x, known[:, 1] - y).min() >= APART_M
        if fall >= 0.5 and apart and clear:
            much = area[cell] >= WALL_AREA_HA[1]
            found.append(Feature("pour_over" if much else "gully_wall", x, y, fall, ""))
    doubtful = [f for f in found if f.kind == "pour_over"]
    return doubtful, [f for f in found if f.kind == "gully_wall"]


def doubtful_records(
    doubtful: list[Feature],
    gully: NDArray[np.int32],
    cell_m: float,
    corner: tuple[float, float, float],
) -> list[dict[str, Any]]:
    """Places that may be called heads or not: they do not count either way."""
    return [
        {
            "id": f"D{number:03d}",
            "x": round(corner[0] + f.x, 2),
            "y": round(corner[1] - f.y, 2),
            "height_m": round(f.size_m, 3),
            "fall_m": round(f.size_m, 3),
            "drop_length_m": None,
            "kind": "side_head",
            "gully": _gully_at(gully, cell_m, f.x, f.y),
            "counted": False,
        }
        for number, f in enumerate(doubtful, 1)
    ]


def _wet(flow: Flow, x: float, y: float, reach_m: float) -> float:
    """Most that drains through a cell near a point (ha)."""
    area = flow.count.reshape(-1, flow.cols)
    r, c, reach = int(y / flow.cell_m), int(x / flow.cell_m), max(int(reach_m / flow.cell_m), 1)
    near = area[max(r - reach, 0) : r + reach + 1, max(c - reach, 0) : c + reach + 1]
    return float(near.max()) * flow.cell_m**2 / 1e4


def _fall(plan: ChannelPlan, head: PlannedHead) -> float:
    """From just above the lip to just below the foot, plunge pool aside (m)."""
    low = head.lip_m - head.face_m - 0.3
    t = 0.5 / (1.6 + 0.8 * head.height_m)
    pool = head.pool_m * 4 * t * (1 - t)
    return plan.bed_at(head.lip_m + 0.3) - plan.bed_at(low) - pool


def head_records(
    plans: list[ChannelPlan],
    checks: list[HeadCheck],
    gully: NDArray[np.int32],
    flow: Flow,
    corner: tuple[float, float, float],
) -> list[dict[str, Any]]:
    """What each planned head has beyond the plain truth, in their order."""
    out = []
    for check in checks:
        head, plan = check.head, plans[check.head.channel]
        foot = head.lip_m - head.face_m
        metre = np.arange(plan.line.x.size)
        x, y = (float(np.interp(foot - 0.5, metre, v)) for v in (plan.line.x, plan.line.y))
        out.append(
            {
                "kind": kind_of(plan, check),
                "foot_x": round(corner[0] + x, 2),
                "foot_y": round(corner[1] - y, 2),
                "fall_m": round(_fall(plan, head), 3),
                "drop_length_m": round(head.face_m, 2),
                "gully": _gully_at(gully, flow.cell_m, x, y),
                # where what was built later has led the water away, it does not count
                "counted": head.height_m >= COUNTED_M and _wet(flow, x, y, 3.0) >= FINGER_AREA_HA,
            }
        )
    return out


def finger_records(
    fingers: list[Finger], flow: Flow, gully: NDArray[np.int32], corner: tuple[float, float, float]
) -> list[dict[str, Any]]:
    """Heads of the short gullies, in map coordinates."""
    out = []
    for number, finger in enumerate(fingers, 1):
        wet = _wet(flow, *finger.foot, 1.5)
        out.append(
            {
                "id": f"F{number:03d}",
                "x": round(corner[0] + finger.lip[0], 2),
                "y": round(corner[1] - finger.lip[1], 2),
                "foot_x": round(corner[0] + finger.foot[0], 2),
                "foot_y": round(corner[1] - finger.foot[1], 2),
                "height_m": round(finger.height_m, 3),
                "fall_m": round(finger.height_m, 3),
                "drop_length_m": round(finger.drop_length_m, 2),
                "face_slope": round(finger.height_m / finger.drop_length_m, 2),
                "kind": finger.kind,
                "drainage_area_ha": round(wet, 3),
                "gully": _gully_at(gully, flow.cell_m, *finger.foot),
                "counted": finger.height_m >= COUNTED_M and wet >= FINGER_AREA_HA,
            }
        )
    return out


def places(features: list[Feature], corner: tuple[float, float, float]) -> list[dict[str, Any]]:
    """Things that are no heads, in map coordinates."""
    return [
        {
            "kind": f.kind,
            "x": round(corner[0] + f.x, 2),
            "y": round(corner[1] - f.y, 2),
            "size_m": round(f.size_m, 2),
        }
        for f in features
    ]
