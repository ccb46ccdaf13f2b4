"""The planted truth: what a person who walked the invented ranch would have written down."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_dem.checking import LARGEST_MISS_M, Flow, HeadCheck
from sample_dem.features import Feature, Road
from sample_dem.plan import ChannelPlan, PlannedHead

SMALLEST_AREA_HA = 0.3
APART_M = 12.0
SMALLEST_HEIGHT_M = 0.4
LARGEST_HEIGHT_M = 2.55
HAND_LIMIT_M = 1.2
HAND_SLOPE = 0.03
ONE_STONE_M = 0.10
PAIR_NEAR, PAIR_FAR = 4.0, 6.0
DEVIATION = 0.12


def not_heads(checks: list[HeadCheck]) -> list[PlannedHead]:
    """Planned heads that the ground does not bear out, or that lie too close to a better one."""
    failed = []
    kept: list[HeadCheck] = []
    for check in checks:
        head = check.head
        wrong = (
            check.miss_m > LARGEST_MISS_M
            or check.area_ha < SMALLEST_AREA_HA
            or not abs(check.realised_m / head.height_m - 1) <= DEVIATION
            or not SMALLEST_HEIGHT_M <= check.realised_m <= LARGEST_HEIGHT_M
            or any(np.hypot(check.x - k.x, check.y - k.y) < APART_M for k in kept)
        )
        if wrong:
            failed.append(head)
        else:
            kept.append(check)
    return failed


def pairing(plan: ChannelPlan, head: PlannedHead) -> dict[str, Any]:
    """Can one low grade control below the head back water to its foot?

    Its crest has to reach the level of the foot from 4 to 6 drop heights down the channel, while
    its height stays within a third of the bankfull depth (common practice, no published source).
    """
    foot = head.lip_m - head.face_m
    _near, far = foot - PAIR_NEAR * head.height_m, foot - PAIR_FAR * head.height_m
    low = int(max(far, 0))
    if far < 2:
        return {
            "pairable": False,
            "pair_reason": "the channel below is shorter than six drop heights",
        }
    pool = 1.8 + 0.8 * head.height_m if head.pool_m > 0 else 0.0
    slope = (plan.bed_at(foot - pool - 0.3) - plan.bed_at(far)) / max(foot - pool - 0.3 - far, 1.0)
    bench = plan.bench_depth[low : int(foot)]
    bankfull = float(bench.min()) if bench.size else 0.0
    middle = (far + foot) / 2
    if (
        float(np.interp(middle, np.arange(plan.floor.size), plan.floor)) - plan.bed_at(middle)
        < bankfull + 0.1
    ):
        bankfull = 0.0  # the bank is lower than the bench: nothing to see
    needed = float(slope * PAIR_NEAR * head.height_m)
    told: dict[str, Any] = {
        "slope_below": round(float(slope), 4),
        "bankfull_depth_m": round(bankfull, 2) if bankfull > 0 else None,
        "control_height_needed_m": round(needed, 2),
    }
    crossed = any(far < o.lip_m < foot - 1 for o in plan.heads if o is not head)
    if bankfull <= 0:
        reason = "no bench in the ground, so bankfull must be measured on site"
        return told | {"pairable": None, "pair_reason": reason}
    if crossed:
        return told | {
            "pairable": False,
            "pair_reason": "another head lies within six drop heights below",
        }
    if head.height_m > HAND_LIMIT_M:
        return told | {"pairable": False, "pair_reason": "drop above the 1.2 m hand limit"}
    if slope > HAND_SLOPE:
        return told | {"pairable": False, "pair_reason": "bed below steeper than 3 %"}
    if bankfull / 3 < ONE_STONE_M or needed > bankfull / 3:
        return told | {
            "pairable": False,
            "pair_reason": "bankfull too shallow for the crest to reach the foot",
        }
    return told | {
        "pairable": True,
        "pair_reason": "crest within a third of bankfull reaches the foot",
    }


def _channel(plan: ChannelPlan, west: float, north: float, base: float) -> dict[str, Any]:
    line = plan.line
    at = np.unique(np.append(np.arange(0, line.x.size, 5), line.x.size - 1))
    beds = np.array([plan.bed_at(float(s)) for s in at])
    depth = np.maximum(plan.floor[at] + plan.fan_rise[at] - beds, 0)
    gully = np.interp(at / 0.25, np.arange(plan.gully.size), plan.gully)
    extra = plan.bench_width[at] + plan.bench_depth[at] / 1.5
    side = np.maximum(depth - plan.bench_depth[at], 0) / plan.bank_slope[at]
    cut = 2 * (plan.half_bed[at] + np.where(plan.bench_depth[at] > 0, extra, 0) + side)
    width = np.where(gully > 0.5, cut, 2 * plan.swale_half[at])
    bankfull = np.where(
        (plan.bench_depth[at] > 0) & (gully > 0.9) & (depth > plan.bench_depth[at] + 0.2),
        2 * (plan.half_bed[at] + plan.bench_depth[at] / 1.5),
        np.nan,
    )

    def numbers(values: NDArray[np.float64], digits: int = 2) -> list[float | None]:
        return [None if np.isnan(v) else round(float(v), digits) for v in values]

    return {
        "channel": line.number,
        "joins": line.parent if line.parent >= 0 else None,
        "joins_at_m": line.parent_station_m if line.parent >= 0 else None,
        "length_m": line.length_m,
        "station_m": [int(s) for s in at],
        "x": numbers(west + line.x[at]),
        "y": numbers(north - line.y[at]),
        "bed_m": numbers(beds + base, 3),
        "depth_m": numbers(depth),
        "bank_width_m": numbers(width),
        "bankfull_width_m": numbers(bankfull),
        "bankfull_depth_m": numbers(np.where(np.isnan(bankfull), np.nan, plan.bench_depth[at])),
        "slope": numbers(np.gradient(beds, at), 4),
        "drainage_area_ha": numbers(line.area_ha[at]),
        "reaches": [
            {"setting": r.setting, "low_m": r.low_m, "high_m": r.high_m, "note": r.note}
            for r in plan.reaches
        ],
    }


def tell(
    seed: int,
    plans: list[ChannelPlan],
    checks: list[HeadCheck],
    decoys: list[Feature],
    road: Road | None,
    pond: tuple[Feature, NDArray[np.int64]] | None,
    flow: Flow,
    shape: tuple[int, int],
    corner: tuple[float, float, float],
) -> dict[str, Any]:
    """The whole truth as plain values, ready for a JSON file."""
    west, north, base = corner
    heads = []
    for number, check in enumerate(checks, 1):
        head, plan = check.head, plans[check.head.channel]
        gap = None
        if road is not None:
            gap = float(np.hypot(road.x - check.x, road.y - check.y).min())
        heads.append(
            {
                "id": f"H{number:03d}",
                "x": round(west + check.x, 2),
                "y": round(north - check.y, 2),
                "height_m": round(head.height_m, 3),
                "realised_height_m": round(check.realised_m, 3),
                "face_slope": round(head.height_m / head.face_m, 2),
                "plunge_pool_m": round(head.pool_m, 2),
                "kind": head.kind,
                "channel": head.channel,
                "station_m": round(head.lip_m, 1),
                "drainage_area_ha": round(check.area_ha, 2),
                "area_complete": check.area_complete,
                "flow_path_miss_m": round(check.miss_m, 2),
                "above_hand_limit": head.height_m > HAND_LIMIT_M,
                "road_distance_m": None if gap is None else round(gap, 1),
                **pairing(plan, head),
            }
        )
    told = [
        {
            "kind": d.kind,
            "x": round(west + d.x, 1),
            "y": round(north - d.y, 1),
            "size_m": round(d.size_m, 2),
            "note": d.note,
        }
        for d in decoys
    ]
    for plan in plans:
        for reach in plan.reaches:
            if reach.setting in (
                "gradual_knickzone",
                "smooth_entrance",
                "graded_junction",
                "smooth_chute",
            ):
                at = int((reach.low_m + reach.high_m) / 2)
                told.append(
                    {
                        "kind": reach.setting,
                        "x": round(west + float(plan.line.x[at]), 1),
                        "y": round(north - float(plan.line.y[at]), 1),
                        "size_m": round(reach.high_m - reach.low_m, 1),
                        "note": f"channel {plan.line.number}: {reach.note}",
                    }
                )
    return {
        "note": "Invented. Height: bed just above the lip to bed at the foot, plunge pool aside.",
        "seed": seed,
        "rows": shape[0],
        "cols": shape[1],
        "cell_m": flow.cell_m,
        "headcuts": heads,
        "decoys": told,
        "road_fill": _place(road.fill, corner) if road else None,
        "stock_pond": _place(pond[0], corner) if pond else None,
        "channels": [_channel(plan, west, north, base) for plan in plans],
    }


def _place(feature: Feature, corner: tuple[float, float, float]) -> dict[str, Any]:
    return {
        "kind": feature.kind,
        "x": round(corner[0] + feature.x, 2),
        "y": round(corner[1] - feature.y, 2),
        "height_m": round(feature.size_m, 2),
        "note": feature.note,
    }
