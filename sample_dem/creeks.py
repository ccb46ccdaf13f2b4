"""Channels of other kinds: a meandering creek, arroyos, wide reaches, gradual heads."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from sample_dem.extras import Extras
from sample_dem.gullies import Walker
from sample_dem.network import CentreLine, smooth_line
from sample_dem.plan import ChannelPlan, PlannedHead, Reach

CREEK_AREA_HA = 12.0
GULLIES = ("discontinuous_gully", "side_gully", "incised")


def meander(lines: list[CentreLine], rng: np.random.Generator) -> list[CentreLine]:
    """Let the main line swing from side to side of its meadow; those that join it come along."""
    main = lines[0]
    n = main.x.size
    at = np.arange(n, dtype=float)
    wave = float(rng.uniform(48, 85))
    wide = np.minimum(0.4 * (4.0 + 2.3 * np.minimum(main.area_ha, 60.0) ** 0.5), 11.0)
    ease = np.clip(np.minimum(at - 20, n - 1 - at) / 60.0, 0, 1)
    ease *= np.clip((main.area_ha - 0.8 * CREEK_AREA_HA) / CREEK_AREA_HA, 0, 1)
    turn = 2 * np.pi * at / wave + 1.1 * np.sin(2 * np.pi * at / (3.7 * wave))
    side = ease * wide * np.sin(turn)
    lead = -0.25 * ease * wide * np.sin(2 * turn)  # bends lean down the valley
    tx, ty = np.gradient(smooth_line(main.x, 12.0)), np.gradient(smooth_line(main.y, 12.0))
    norm = np.hypot(tx, ty) + 1e-9
    x = main.x + (lead * tx - side * ty) / norm
    y = main.y + (lead * ty + side * tx) / norm
    along = np.concatenate([[0.0], np.cumsum(np.hypot(np.diff(x), np.diff(y)))])
    new = np.arange(0.0, along[-1], 1.0)
    out = [
        replace(
            main,
            x=np.interp(new, along, x),
            y=np.interp(new, along, y),
            area_ha=np.interp(new, along, main.area_ha),
        )
    ]
    for line in lines[1:]:
        if line.parent != 0:
            out.append(line)
            continue
        k = min(round(line.parent_station_m), n - 1)
        fade = np.exp(-np.arange(line.x.size) / 14.0)
        out.append(
            replace(
                line,
                parent_station_m=float(min(round(along[k]), new.size - 1)),
                x=line.x + fade * (x[k] - line.x[0]),
                y=line.y + fade * (y[k] - line.y[0]),
            )
        )
    return out


def walk_creek(walker: Walker, rng: np.random.Generator) -> None:
    """The lower part of the main channel as a creek below a head; above that the usual walk."""
    plan = walker.plan
    wet = np.flatnonzero(plan.line.area_ha > CREEK_AREA_HA)
    top = min(int(wet.max()) if wet.size else 0, plan.floor.size - 60)
    if top < 60:
        walker.walk(0.3)
        return
    walker.d = float(rng.uniform(1.0, 2.0))
    while walker.s < top:
        walker._step(0.0)
    plan.reaches.append(Reach("meadow_creek", 0, top))
    low = np.arange(top)
    gap = 6.0 * 2.0 * plan.half_bed[low]
    phase = np.cumsum(1.0 / gap)
    plan.ripple[low] = (
        rng.uniform(0.10, 0.22) * np.sin(2 * np.pi * phase) * np.clip((top - 12 - low) / 10.0, 0, 1)
    )
    walker._head(walker.d - float(plan.swale_depth[walker.s]), "main")
    walker.walk_on()


def _own(plan: ChannelPlan, reach: Reach) -> list[PlannedHead]:
    return [h for h in plan.heads if reach.low_m <= h.lip_m <= reach.high_m + 3]


def alter(plan: ChannelPlan, rng: np.random.Generator, extras: Extras) -> None:
    """Change some gullies of a planned channel; beds are worked out afterwards."""
    for reach in list(plan.reaches):
        if reach.setting not in GULLIES:
            continue
        low, high = int(reach.low_m), int(reach.high_m)
        heads = _own(plan, reach)
        if high - low > 50 and rng.random() < extras.arroyo_share:
            _arroyo(plan, low, high, rng)
            plan.reaches.append(Reach("arroyo", low, high, "wide floor with a trench"))
        if high - low > 45 and rng.random() < extras.widening_share:
            _widen(plan, low, high, rng)
        if len(heads) == 1 and rng.random() < extras.headless_share:
            plan.heads.remove(heads[0])
            plan.softened.append(heads[0])
            at = heads[0].lip_m
            plan.reaches.append(Reach("headless_start", at - 20, at + 20, "no head"))
    tops = sorted(plan.heads, key=lambda h: h.lip_m)
    for k, head in enumerate(tops):
        room = head.lip_m - (tops[k - 1].lip_m if k else 0.0)
        if room > 26 and rng.random() < extras.gradual_share:
            head.face_m = float(rng.uniform(3.5, min(7.5, 2.5 + 3.5 * head.height_m)))
            head.pool_m = 0.0


def _arroyo(plan: ChannelPlan, low: int, high: int, rng: np.random.Generator) -> None:
    k = np.arange(low, high)
    grow = np.clip((high - 8 - k) / 30.0, 0, 1)
    plan.bench_depth[k] = float(rng.uniform(0.45, 0.85)) * grow
    plan.bench_width[k] = float(rng.uniform(2.0, 5.0)) * grow
    plan.half_bed[k] = float(rng.uniform(0.7, 1.2))
    plan.bank_slope[k] = np.maximum(plan.bank_slope[k], 2.0)


def _widen(plan: ChannelPlan, low: int, high: int, rng: np.random.Generator) -> None:
    length = int(rng.uniform(28, min(70, high - low - 12)))
    start = int(rng.uniform(low + 4, high - length - 6))
    k = np.arange(start, start + length)
    bump: NDArray[np.float64] = np.sin(np.pi * (k - start) / length) ** 2
    times = float(rng.uniform(1.2, 2.2))
    plan.half_bed[k] *= 1 + times * bump
    plan.bank_slope[k] *= 1 + 0.3 * bump
    note = f"floor {1 + times:.1f} times as wide"
    plan.reaches.append(Reach("widening", start, start + length, note))
