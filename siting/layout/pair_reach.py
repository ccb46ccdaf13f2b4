"""How far a grade control reaches up to the foot of its drop, and how that is told.

The still pool of now is level with the crest. Once the wedge behind it is full, its bed rises from
the crest at a part of the old slope (the rules' K is what it takes away), so that it may come up to
a foot that the pool of now falls short of.
"""

from __future__ import annotations

import numpy as np

from siting.places.spot import Spot
from siting.structures.grade_height import banks_unseen
from siting.structures.limit_checks import ROUNDING, apart
from siting.values.wording import metres, percent

#: Crests that differ by less are level, m: stones are not set finer (common practice).
LEVEL_M = 0.005
#: How a headcut's caution begins whose grade control falls short, and one whose waits for banks.
SHORT = "Its grade control makes up"
UNSEEN = "Its grade control waits until its banks are measured."


def reach_share(spot: Spot, height_m: float) -> float:
    """Share of the rise to the foot of a drop that a crest makes up, 0 to 1.

    1 where what stands at the drop needs no water backed to it, and where a structure spreads the
    water instead; NaN for what does not stand below a headcut.
    """
    task = spot.task
    if task.purpose == "vertical" or not (task.below_head or np.isfinite(task.needed_height_m)):
        return 1.0 if task.purpose == "spread" and task.opens else np.nan
    if task.dry or height_m >= task.needed_height_m - ROUNDING:
        return 1.0
    if not np.isfinite(task.needed_height_m):
        return 0.0
    return float(np.clip(height_m / task.needed_height_m, 0.0, 1.0))


def filled_m(spot: Spot, height_m: float) -> float:
    """Height of the bed at the foot over the foot once the wedge is full, m; below 0 it lies lower.

    Arithmetic on an even bed: crest + (1 - K) x rise - rise.
    """
    k = spot.rules.value("grade_control.wedge_share")
    return height_m - k * spot.task.needed_height_m


def said_first(spot: Spot, height_m: float) -> str:
    """What a grade control that falls short says before anything else; empty for others."""
    share = reach_share(spot, height_m)
    if not share < 1.0:
        return ""
    needed = spot.task.needed_height_m
    return (
        f"Makes up {percent(share)} of the rise to the foot of the drop: its crest may stand "
        f"{metres(height_m)}, and {apart(needed, height_m, metres)} would be level with the foot."
    )


def said_of_water(spot: Spot, height_m: float) -> str:
    """Where the still pool ends now and where the bed lies once the wedge is full; may be empty."""
    task = spot.task
    if task.purpose != "grade" or not np.isfinite(task.needed_height_m):
        return ""
    if task.dry:
        return "What stands at the drop needs no water backed to it; this holds the bed below it."
    filled = filled_m(spot, height_m)
    later = (
        "the bed comes up to the foot"
        if filled >= -LEVEL_M
        else f"the bed at the foot still lies {metres(-filled)} below it"
    )
    level = "Set the crest by level from the foot: the elevations tell it to some centimetres only."
    if reach_share(spot, height_m) < 1.0:
        return (
            f"Now its still pool ends short of the foot; once the wedge behind it is full, {later}."
            f" {level} Watch the foot after each flow, and measure bankfull, which may allow more."
        )
    return (
        "Now its still pool reaches the foot, without which a structure that needs water there is "
        f"undermined; once the wedge behind it is full, {later}. {level}"
    )


def head_caution(spot: Spot, height_m: float, why: str) -> str:
    """What a headcut says of its grade control that falls short or waits; empty for others."""
    share = reach_share(spot, height_m)
    if share < 1.0:
        return f"{SHORT} {percent(share)} of the rise to the foot. {why}".strip()
    return UNSEEN if banks_unseen(spot) else ""
