"""What a plan's works save of the planted loss, and in which order they could be bought.

How well a work holds is judged here from the planted ground, not from what the plan says of it:
a structure at a drop holds by how much of the planted rise its grade control's crest makes up.
These shares are judgement, fixed before the curves that rank works were set.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import pyogrio

from tests.judgement.planted_loss import PlantedLoss

#: A site stands at a planted head when it is within this, m.
AT_HEAD_M = 8.0
#: What soil a hectare of whole swale counts for, m3: a spit of topsoil, 0.2 m.
SOIL_PER_HA_M3 = 2000.0
#: How well a structure at a drop holds alone, and what a control that reaches the foot adds.
HOLDS_ALONE, PAIR_ADDS = 0.25, 0.55
#: How well one holds that asks for no water at its foot.
HOLDS_WITHOUT_POOL = 0.7
WITHOUT_POOL = frozenset({"rock rundown"})
#: A crest counts as level with the foot within this, m.
LEVEL_M = 0.05
#: Above a lower head that is left to come up to it, a work is lost half-way.
REACHED = 0.5


@dataclass(frozen=True, slots=True)
class Unit:
    """What is bought as one: a work of a plan, or a group of its sites where it has no works.

    Parameters
    ----------
    name
        In the plan.
    heads
        Planted heads that it works at, as rows, each with how well it holds there (0 to 1).
    cost
        Likely cost.
    order
        Place in the plan's own order, from 1.
    chosen
        Whether the plan's budget buys it.
    at_drop
        Whether something stops a drop there, planted or not.
    drainage_area_ha, height_m
        The greatest of its sites, as the plan has them.
    """

    name: str
    heads: tuple[tuple[int, float], ...]
    cost: float
    order: int
    chosen: bool
    at_drop: bool
    drainage_area_ha: float
    height_m: float


@dataclass(frozen=True, slots=True)
class Saved:
    """What is saved of the planted loss."""

    soil_m3: float
    swale_ha: float

    @property
    def joined_m3(self) -> float:
        """Soil, with the swale counted as soil."""
        return self.soil_m3 + SOIL_PER_HA_M3 * self.swale_ha


def units_of(plan: Path, losses: Sequence[PlantedLoss]) -> tuple[Unit, ...]:
    """Read what a plan builds as units that are bought whole."""
    sites = pyogrio.read_dataframe(plan, layer="sites")
    sites["x_m"], sites["y_m"] = sites.geometry.x, sites.geometry.y
    built = sites[sites["cost_likely"].notna() & (sites["control"] != "refer")]
    if "work_id" in built:
        key = built["work_id"]
    else:
        pair = built["pair_id"].fillna(0).astype(int)
        key = pair.where(pair > 0, -built["site_id"].astype(int))
    out = []
    for name, own in built.groupby(key, sort=True):
        heads = []
        for _, site in own[own["control"] == "vertical"].iterrows():
            row = head_at(site, losses)
            if row is not None:
                heads.append((row, holds(site, own, losses[row])))
        out.append(
            Unit(
                name=str(name),
                heads=tuple(heads),
                cost=float(own["cost_likely"].sum()),
                order=int(own["rank"].min()),
                chosen=bool(own["chosen"].astype(bool).all()),
                at_drop=bool((own["control"] == "vertical").any()),
                drainage_area_ha=float(own["drainage_area_ha"].max()),
                height_m=float(own["headcut_height_m"].fillna(0.0).max()),
            )
        )
    return tuple(out)


def head_at(site: Any, losses: Sequence[PlantedLoss]) -> int | None:
    """The planted head that a site stands at; None where there is none."""
    away = [np.hypot(site["x_m"] - h.x_m, site["y_m"] - h.y_m) for h in losses]
    nearest = int(np.argmin(away)) if away else 0
    return nearest if away and away[nearest] <= AT_HEAD_M else None


def holds(site: Any, own: Any, head: PlantedLoss) -> float:
    """How well a structure at a planted drop holds, by the planted bed below it."""
    if site["structure"] in WITHOUT_POOL:
        return HOLDS_WITHOUT_POOL
    reach = 0.0
    for _, control in own[own["control"] == "grade"].iterrows():
        away = float(np.hypot(control["x_m"] - head.x_m, control["y_m"] - head.y_m))
        rise = max(head.slope_below, 0.0) * max(away, 1.0)
        share = (float(control["structure_height_m"]) + LEVEL_M) / max(rise, 0.01)
        reach = max(reach, min(share, 1.0))
    return HOLDS_ALONE + PAIR_ADDS * reach


def saved(units: Iterable[Unit], losses: Sequence[PlantedLoss]) -> Saved:
    """What a set of units saves together; a head counts once, at its best."""
    best: dict[int, float] = {}
    for unit in units:
        for row, share in unit.heads:
            best[row] = max(best.get(row, 0.0), share)
    soil = swale = 0.0
    for row, share in best.items():
        head = losses[row]
        share *= REACHED if reached(row, losses, best) else 1.0
        soil += share * head.soil_m3
        swale += share * head.swale_ha
    return Saved(soil, swale)


def reached(row: int, losses: Sequence[PlantedLoss], treated: Iterable[int]) -> bool:
    """Whether a lower head of the same channel, left alone, comes up to one within the horizon."""
    head = losses[row]
    kept = set(treated)
    lower = [
        h
        for i, h in enumerate(losses)
        if i not in kept and h.channel == head.channel and h.station_m < head.station_m
    ]
    return any(h.station_m + min(h.retreat_m, h.whole_m) >= head.station_m - 1.0 for h in lower)


#: Orders that a person without the tool could follow among the drops, best first by these values.
RIVALS: dict[str, Callable[[Unit], float]] = {
    "drainage area": lambda u: -u.drainage_area_ha,
    "height": lambda u: -u.height_m,
    "cheapest first": lambda u: u.cost,
    "height per cost": lambda u: -u.height_m / u.cost,
    "area per cost": lambda u: -u.drainage_area_ha / u.cost,
}


def bought(units: Sequence[Unit], budget: float, key: Callable[[Unit], float]) -> list[Unit]:
    """Go down the drops in some order and take what the money still allows."""
    left, out = budget, []
    for unit in sorted((u for u in units if u.at_drop), key=lambda u: (key(u), u.name)):
        if unit.cost <= left:
            out.append(unit)
            left -= unit.cost
    return out
