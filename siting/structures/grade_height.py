"""How high a grade control may be, and how high it is built."""

from __future__ import annotations

import math

from siting.structures.base import Check
from siting.structures.limits import ROUNDING, at_least
from siting.structures.spot import Spot
from siting.wording import metres


def height_limit_m(spot: Spot) -> float:
    """Most that a grade control may stand above the bed here.

    Never above the spot's own limit, the hard cap or, where bankfull is sure, its third; one stone
    where bankfull is not sure, or a third of it is less.
    """
    rules = spot.rules
    one_stone, cap = rules.low("grade_control.height"), rules.high("grade_control.height")
    # rounded to a micrometre, so that a third of 0.45 m is 0.15 m
    third = round(rules.value("grade_control.bankfull_share") * spot.bankfull_depth_m, 6)
    known = spot.bankfull_sure and math.isfinite(third)
    most = max(one_stone, third) if known else one_stone
    return min(spot.height_limit_m, cap, most)


def step_up(spot: Spot, height_m: float) -> float:
    """Round a height up to what can be built: steps of 5 cm, one stone at least."""
    step = spot.rules.value("grade_control.height_step")
    one_stone = spot.rules.low("grade_control.height")
    return max(one_stone, round(math.ceil(height_m / step - 1e-6) * step, 6))


def step_down(spot: Spot, height_m: float) -> float:
    """Round a height down to what can be built, never above it."""
    step = spot.rules.value("grade_control.height_step")
    return min(height_m, round(math.floor(height_m / step + 1e-6) * step, 6))


def build_height_m(spot: Spot, *, stone_m: float = 0.0) -> float:
    """Height to build.

    Parameters
    ----------
    stone_m
        Median stone that the flow asks for; the structure is no lower than that.

    Returns
    -------
    float
        Of a pair: the lowest step that backs water to the foot of the drop above. Alone: the
        limit. Never above the limit.
    """
    limit = height_limit_m(spot)
    if not math.isfinite(spot.needed_height_m):
        return step_down(spot, limit)
    wanted = step_up(spot, max(spot.needed_height_m, stone_m))
    return wanted if wanted <= limit + ROUNDING else step_down(spot, limit)


def height_checks(spot: Spot) -> tuple[Check, ...]:
    """Hold the height allowed against one stone, and against what a pair needs."""
    limit = spot.rules["grade_control.height"]
    allowed = height_limit_m(spot)
    checks = [
        at_least(
            limit,
            allowed,
            what="the height allowed here",
            so="of one stone",
        )
    ]
    needed = spot.needed_height_m
    if math.isfinite(needed):
        share = spot.rules["grade_control.bankfull_share"]
        high_enough = step_up(spot, needed) <= allowed + ROUNDING
        why = (
            ""
            if high_enough
            else f"A crest of {metres(needed)} is needed to back water to the foot of the drop "
            f"above, more than the {metres(allowed)} allowed here ({allowed_by(spot)}); measured "
            "on site, bankfull may allow more."
        )
        checks.append(
            Check(
                share.name,
                f"a crest high enough to back water to the drop above: {metres(needed)}",
                f"{metres(allowed)} allowed",
                high_enough,
                why,
                share.source,
                share.basis,
            )
        )
    return tuple(checks)


def allowed_by(spot: Spot) -> str:
    """Say what sets the height allowed."""
    if not spot.bankfull_sure:
        return "one stone until bankfull is measured on site"
    if height_limit_m(spot) >= spot.rules.high("grade_control.height") - ROUNDING:
        return "the cap for low structures"
    return "a third of bankfull depth, at least one stone"


def height_note(spot: Spot, height_m: float) -> str:
    """Say how the height came about."""
    why = (
        f"{metres(spot.needed_height_m)} is needed to back water to the drop above"
        if math.isfinite(spot.needed_height_m)
        else "it stands as high as allowed"
    )
    return (
        f"Height {metres(height_m)}: {why}; allowed are {metres(height_limit_m(spot))} "
        f"({allowed_by(spot)}; field guides, from memory)."
    )


def height_cautions(spot: Spot) -> tuple[str, ...]:
    """What bankfull asks care for."""
    if spot.bankfull_sure:
        third = spot.rules.value("grade_control.bankfull_share") * spot.bankfull_depth_m
        stone = spot.rules.low("grade_control.height")
        if third < stone:
            return (
                f"A third of bankfull depth is less than one stone ({metres(stone)}): lay it "
                "flush with the bed, and measure bankfull on site.",
            )
        return ()
    return (
        "Bankfull depth is not sure here: measure it on site before anything higher than one "
        "stone is built.",
    )
