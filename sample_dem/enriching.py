"""Put on a finished ranch what is asked for beyond the plain one, and tell of it."""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_dem import features, fingers, made_things, telling_more
from sample_dem.checking import Flow, HeadCheck, route
from sample_dem.extras import Extras
from sample_dem.features import Feature
from sample_dem.plan import ChannelPlan

PONDS_APART_M = 150.0


@dataclass(slots=True)
class Added:
    """What was put there, in local metres."""

    cut_m: NDArray[np.float32]  # how far each cell lies below the ground without any gully
    water: NDArray[np.bool_]
    traps: list[Feature] = field(default_factory=list)
    fingers: list[fingers.Finger] = field(default_factory=list)


def _dams(
    z: NDArray[np.float32],
    plans: list[ChannelPlan],
    cell_m: float,
    added: Added,
    rng: np.random.Generator,
    count: int,
) -> None:
    for _ in range(3 * count):
        ponds = [t for t in added.traps if t.kind == "stock_pond_bank"]
        if len(ponds) >= count + 1:
            return
        before = z.copy()
        pond = features.build_pond(z, plans, cell_m, rng)
        if pond is None:
            return
        bank = pond[0]
        if any(np.hypot(bank.x - p.x, bank.y - p.y) < PONDS_APART_M for p in ponds):
            z[:] = before
            continue
        added.traps.append(bank)
        added.water.flat[pond[1]] = True


def _spillways(
    z: NDArray[np.float32],
    plans: list[ChannelPlan],
    cell_m: float,
    added: Added,
    rng: np.random.Generator,
) -> None:
    """A shallow outlet dug round one end of each bank."""
    for bank in [t for t in added.traps if t.kind == "stock_pond_bank"]:
        words = bank.note.split()
        plan, s = plans[int(words[1].rstrip(","))], int(words[3])
        x, y = plan.line.x, plan.line.y
        up = np.array([x[s + 6] - x[s - 6], y[s + 6] - y[s - 6]])
        up /= np.hypot(*up)
        side = np.array([-up[1], up[0]]) * (1 if rng.random() < 0.5 else -1)
        crest = float(plan.floor[s]) + bank.size_m
        out = 4.0
        while out < 60:  # to where the bank runs into the slope
            here = np.array([bank.x, bank.y]) + out * side + 7.0 * up
            r, c = int(here[1] / cell_m), int(here[0] / cell_m)
            inside = 0 <= r < z.shape[0] and 0 <= c < z.shape[1]
            if not inside or z[r, c] > crest - 0.5:
                break
            out += 1.0
        end = np.array([bank.x, bank.y]) + (out - 1.0) * side
        rows_, cols_, dx, dy = features._window(end[0], end[1], 16.0, z.shape, cell_m)
        along, across = dx * up[0] + dy * up[1], dx * side[0] + dy * side[1]
        dug = 0.55 * np.exp(-((across / 1.5) ** 2)) * np.clip((14 - np.abs(along)) / 4.0, 0, 1)
        z[rows_, cols_] -= np.where(added.water[rows_, cols_], 0.0, dug).astype(np.float32)
        added.traps.append(Feature("pond_outlet", float(end[0]), float(end[1]), 0.5, "spillway"))


def enrich(
    z: NDArray[np.float32],
    flow: Flow,
    plans: list[ChannelPlan],
    road: features.Road | None,
    off_channel: NDArray[np.float32],
    added: Added,
    rng: np.random.Generator,
    extras: Extras,
) -> Flow:
    """Change the ground in place; returns how water flows on it then."""
    cell_m = flow.cell_m
    for make, count in (
        (made_things.terraces, extras.terraces),
        (made_things.diversion, extras.diversions),
        (made_things.ledge, extras.ledges),
        (made_things.hollow, extras.hollows),
    ):
        for _ in range(count):
            added.traps += make(z, off_channel, cell_m, rng)
    added.traps += made_things.trails(z, off_channel, cell_m, rng, extras.trails)
    if extras.ditches and road is not None:
        added.traps += made_things.ditches(z, road, off_channel, cell_m, rng)
    if extras.dams:
        _dams(z, plans, cell_m, added, rng, extras.dams)
        _spillways(z, plans, cell_m, added, rng)
    built = [(t.x, t.y) for t in added.traps if t.kind == "stock_pond_bank"]
    if road is not None:
        built.append((road.fill.x, road.fill.y))
    taken = [(float(x), float(y)) for x, y in features.head_points(plans)] + built
    for _ in range(extras.culverts):
        fill = made_things.culvert(z, plans, taken, cell_m, rng)
        if fill is not None:
            added.traps.append(fill)
            taken.append((fill.x, fill.y))
    before = z.copy()
    for _ in range(extras.dugouts):
        dug = fingers.dugout_with_fingers(z, flow, plans, taken, rng)
        if dug is None:
            break
        pit, wet, cut_back = dug
        added.traps.append(pit)
        added.water |= wet
        added.fingers += cut_back
        taken += [(pit.x, pit.y), *(f.lip for f in cut_back)]
    if extras.dugouts:
        added.cut_m += _where_fingers(before - z, added.fingers, cell_m)
    before = z.copy()
    flow = route(z, cell_m)
    added.fingers += fingers.at_rims(z, flow, added.cut_m, taken, extras.fingers, rng)
    added.cut_m += before - z
    return route(z, cell_m)


def _where_fingers(
    gone: NDArray[np.float32], cut_back: list[fingers.Finger], cell_m: float
) -> NDArray[np.float32]:
    """What was dug near the fingers: the pit of a dugout itself is no gully."""
    near = np.zeros(gone.shape, np.float32)
    for finger in cut_back:
        for x, y in zip(finger.x, finger.y, strict=True):
            r, c, dx, dy = features._window(x, y, 4.0, gone.shape, cell_m)
            near[r, c] = np.maximum(near[r, c], np.hypot(dx, dy) < 4.0)
    return np.maximum(near * gone, 0).astype(np.float32)


def tell_more(
    told: dict[str, Any],
    z: NDArray[np.float32],
    flow: Flow,
    plans: list[ChannelPlan],
    checks: list[HeadCheck],
    added: Added,
    corner: tuple[float, float, float],
) -> tuple[dict[str, Any], NDArray[np.int32]]:
    """The truth with drops, gullies and traps added, and the raster of gully numbers."""
    gully, gullies = telling_more.label_gullies(added.cut_m, flow.cell_m)
    more = telling_more.head_records(plans, checks, gully, flow, corner)
    heads = [
        {**head, "planned_as": head["kind"], **record}
        for head, record in zip(told["headcuts"], more, strict=True)
    ]
    heads += telling_more.finger_records(added.fingers, flow, gully, corner)
    known = np.array([(h["x"] - corner[0], corner[1] - h["y"]) for h in heads]).reshape(-1, 2)
    doubtful, walls = telling_more.pour_overs(z, flow, gully, known)
    heads += telling_more.doubtful_records(doubtful, gully, flow.cell_m, corner)
    starts = [
        Feature("headless_start", float(p.line.x[k]), float(p.line.y[k]), 0.0, "")
        for p in plans
        for r in p.reaches
        if r.setting == "headless_start"
        for k in [int(np.clip((r.low_m + r.high_m) / 2, 0, p.line.x.size - 1))]
    ]
    traps = telling_more.places([*added.traps, *starts, *walls], corner)
    traps += [{k: d[k] for k in ("kind", "x", "y", "size_m")} for d in told["decoys"]]
    if told["road_fill"]:
        fill = told["road_fill"]
        traps.append({k: fill[k] for k in ("kind", "x", "y")} | {"size_m": fill["height_m"]})
    return told | {"headcuts": heads, "gullies": gullies, "traps": traps}, gully
