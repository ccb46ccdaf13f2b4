"""How high a grade control may be, and how high it is built."""

from __future__ import annotations

import math

from siting.places.spot import Spot
from siting.structures.limit_checks import ROUNDING
from siting.structures.structure_type import Check
from siting.values.wording import metres


def height_limit_m(spot: Spot) -> float:
    """Most that a grade control may stand above the bed here.

    Never above the spot's own limit, the hard cap or, where bankfull is sure, its third; one stone
    where bankfull is not sure. Where that is less than one stone nothing may stand above the bed:
    0, and the stone is laid flush.
    """
    rules = spot.rules
    one_stone, cap = rules.low("grade_control.height"), rules.high("grade_control.height")
    # rounded to a micrometre, so that a third of 0.45 m is 0.15 m
    third = round(rules.value("grade_control.bankfull_share") * spot.bankfull.depth_m, 6)
    known = spot.bankfull.sure and math.isfinite(third)
    most = min(spot.bankfull.height_limit_m, cap, third if known else one_stone)
    return most if most >= one_stone - ROUNDING else 0.0


def thickness_m(spot: Spot, height_m: float) -> float:
    """Thickness of a structure from its foot in the bed up: one stone at least."""
    return max(height_m, spot.rules.low("grade_control.height"))


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
        limit. Never above the limit; 0 where it is laid flush.
    """
    limit = height_limit_m(spot)
    if limit == 0:
        return 0.0
    if not math.isfinite(spot.task.needed_height_m):
        return step_down(spot, limit)
    wanted = step_up(spot, max(spot.task.needed_height_m, stone_m))
    return wanted if wanted <= limit + ROUNDING else step_down(spot, limit)


def height_checks(spot: Spot) -> tuple[Check, ...]:
    """Hold the height allowed against what a pair needs; what is laid flush backs no water."""
    needed = spot.task.needed_height_m
    if not math.isfinite(needed):
        return ()
    share = spot.rules["grade_control.bankfull_share"]
    allowed = height_limit_m(spot)
    height = build_height_m(spot)
    high_enough = height > 0 and height >= needed - ROUNDING
    # nothing lower than one stone can be built above the bed
    needed = max(needed, spot.rules.low("grade_control.height"))
    why = (
        ""
        if high_enough
        else f"A crest of {metres(needed)} is needed to back water to the foot of the drop above, "
        f"but {_allowed(allowed)} here ({allowed_by(spot)}); bankfull measured on site may allow "
        "more."
    )
    return (
        Check(
            share.name,
            f"a crest high enough to back water to the drop above: {metres(needed)}",
            _allowed(allowed),
            high_enough,
            why,
            share.source,
            share.basis,
        ),
    )


def _allowed(height_m: float) -> str:
    """Say how high a structure may be."""
    return f"{metres(height_m)} is allowed" if height_m > 0 else "nothing above the bed is allowed"


def allowed_by(spot: Spot) -> str:
    """Say what sets the height allowed."""
    if height_limit_m(spot) == 0:
        return "a third of bankfull depth, less its error, is below one stone"
    if not spot.bankfull.sure:
        return "one stone until bankfull is measured on site"
    if height_limit_m(spot) >= spot.rules.high("grade_control.height") - ROUNDING:
        return "the cap for low structures"
    return "a third of bankfull depth"


def stands(height_m: float) -> str:
    """Say how a crest stands to the bed."""
    return f"{metres(height_m)} above the bed" if height_m > 0 else "flush with the bed"


def height_note(spot: Spot, height_m: float) -> str:
    """Say how the height came about."""
    if height_m == 0:
        return (
            "It is laid flush with the bed: a third of bankfull depth "
            f"({metres(spot.bankfull.depth_m)}), less its error, is below one stone, so nothing "
            "may stand above the bed until bankfull is measured on site (field guides, from "
            "memory)."
        )
    why = (
        f"{metres(spot.task.needed_height_m)} is needed to back water to the drop above"
        if math.isfinite(spot.task.needed_height_m)
        else "it stands as high as allowed"
    )
    return (
        f"Height {metres(height_m)}: {why}; allowed are {metres(height_limit_m(spot))} "
        f"({allowed_by(spot)}; field guides, from memory)."
    )


def height_cautions(spot: Spot) -> tuple[str, ...]:
    """What bankfull asks care for."""
    if not spot.bankfull.sure:
        return (
            "Bankfull depth is not sure here: measure it on site before anything higher than one "
            "stone is built.",
        )
    if height_limit_m(spot) > 0:
        return ()
    stone = spot.rules.low("grade_control.height")
    return (
        f"A third of bankfull depth, less its error, is below one stone ({metres(stone)}): lay it "
        "flush with the bed, where it holds the bed but backs no water, and measure bankfull on "
        "site.",
    )
