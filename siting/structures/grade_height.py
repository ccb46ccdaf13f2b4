"""How high a grade control may be, and how high it is built: one rule.

Height is that of the crest above the bed. The smallest stands wherever the lower bank holds the
likely design flow as it passes over the crest, or in a swale, where water that spills spreads on
grown ground and returns without a drop. Higher ones stand no higher than a third of bankfull depth
besides. Where none of it is known to hold no grade control stands.
"""

from __future__ import annotations

import functools
import math

from siting.channels.reach_settings import SWALES
from siting.hydraulics.crest_flow import level_over_crest_m
from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import LOWEST_SLOPE
from siting.places.spot import Spot
from siting.structures.design_flow import years
from siting.structures.limit_checks import ROUNDING, apart, condition
from siting.structures.structure_type import Check
from siting.values.wording import metres

#: Where the level of the water over a crest is from.
LEVEL_SOURCE = (
    "level over a broad crest of loose stone, C = 1.65, or normal depth where that is higher: Chow "
    "1959, from memory"
)


def smallest_m(spot: Spot) -> float:
    """Smallest height of a grade control, m: larger stone is let in deeper."""
    return spot.rules.low("grade_control.height")


def in_swale(spot: Spot) -> bool:
    """Whether what spills here spreads on the floor of a swale."""
    return spot.form.setting in SWALES


def banks_unseen(spot: Spot) -> bool:
    """Whether the banks that have to hold the flow below a headcut are to be measured first.

    The smallest crest is then proposed on that condition: nothing is known to speak against it.
    """
    unseen = not math.isfinite(spot.banks.depth_m)
    flow = math.isfinite(crest_level_m(spot, smallest_m(spot)))
    return spot.task.below_head and unseen and flow and not in_swale(spot)


def crest_level_m(spot: Spot, height_m: float) -> float:
    """Level of the likely design flow over a crest, m above the bed; NaN where no flow is known."""
    discharge = spot.flow_m3s()
    if not math.isfinite(discharge) or discharge <= 0:
        return math.nan
    return _level_m(
        spot.section, discharge, height_m, max(spot.slope, LOWEST_SLOPE), spot.roughness
    )


@functools.lru_cache(maxsize=1024)
def _level_m(
    section: CrossSection, discharge_m3s: float, height_m: float, slope: float, roughness: float
) -> float:
    return level_over_crest_m(
        section, discharge_m3s, crest_height_m=height_m, slope=slope, roughness=roughness
    )


def banks_hold(spot: Spot, height_m: float) -> bool:
    """Whether the lower bank, less its error, holds the likely design flow over a crest."""
    least_bank = spot.banks.depth_m - spot.banks.depth_error_m
    return crest_level_m(spot, height_m) <= least_bank + ROUNDING


def height_limit_m(spot: Spot) -> float:
    """Most that a grade control may stand above the bed here; 0 where none may stand.

    Where no flow is known, only bankfull can tell it.
    """
    smallest, bankfull = smallest_m(spot), bankfull_limit_m(spot)
    highest = max(smallest, bankfull)
    if in_swale(spot):
        return highest
    if math.isnan(crest_level_m(spot, smallest)):
        return bankfull
    if banks_unseen(spot):
        return smallest
    step = spot.rules.value("grade_control.height_step")
    height = highest
    while height > smallest and not banks_hold(spot, height):
        height = max(smallest, round((math.ceil(height / step - 1e-6) - 1) * step, 6))
    return height if banks_hold(spot, height) else 0.0


def bankfull_limit_m(spot: Spot) -> float:
    """What a third of bankfull allows, at most the cap; 0 where it is not sure or too small."""
    cap = spot.rules.high("grade_control.height")
    # rounded to a micrometre, so that a third of 0.45 m is 0.15 m
    third = round(spot.rules.value("grade_control.bankfull_share") * spot.bankfull.depth_m, 6)
    if not (spot.bankfull.sure and math.isfinite(third)):
        return 0.0
    most = min(spot.bankfull.height_limit_m, cap, third)
    return most if most >= smallest_m(spot) - ROUNDING else 0.0


def step_up(spot: Spot, height_m: float) -> float:
    """Round a height up to what can be built: steps of 5 cm, from the smallest."""
    step = spot.rules.value("grade_control.height_step")
    return max(smallest_m(spot), round(math.ceil(height_m / step - 1e-6) * step, 6))


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
        limit. Never above the limit; the smallest where none may stand, which fails its check.
    """
    limit = height_limit_m(spot)
    if limit == 0:
        return smallest_m(spot)
    if not math.isfinite(spot.task.needed_height_m) or spot.task.dry:
        return step_down(spot, limit)
    wanted = step_up(spot, max(spot.task.needed_height_m, stone_m))
    return wanted if wanted <= limit + ROUNDING else step_down(spot, limit)


def height_checks(spot: Spot) -> tuple[Check, ...]:
    """Hold the place against the smallest crest, and what a pair needs against what is allowed."""
    stands_here = _stands_check(spot)
    needed = spot.task.needed_height_m
    any_height = spot.task.short or spot.task.dry
    if not stands_here.passed or any_height or not math.isfinite(needed):
        return (stands_here,)
    share = spot.rules["grade_control.bankfull_share"]
    allowed = height_limit_m(spot)
    # nothing lower than the smallest is built
    needed = max(needed, smallest_m(spot))
    height = apart(needed, allowed, metres)
    more = "" if _held_by_banks(spot) else "; bankfull measured on site may allow more"
    return (
        stands_here,
        condition(
            build_height_m(spot) >= needed - ROUNDING,
            rule=share.name,
            asks=f"a crest high enough to back water to the drop above: {metres(needed)}",
            found=f"{metres(allowed)} is allowed",
            why_not=f"A crest of {height} is needed to back water to the foot of the drop "
            f"above, but {metres(allowed)} is allowed here ({allowed_by(spot)}){more}.",
            source=share.source,
            basis=share.basis,
        ),
    )


def _stands_check(spot: Spot) -> Check:
    """Whether the smallest grade control may stand here."""
    limit = spot.rules["grade_control.height"]
    crest = f"a crest of {metres(limit.low)}"
    level, bank = crest_level_m(spot, limit.low), spot.banks
    flow = f"the {years(spot)} flow"
    held = (
        f"it stands {metres(level)} above the bed there; the lower bank is "
        f"{metres(bank.depth_m)} high, error {metres(bank.depth_error_m)}"
    )
    if in_swale(spot):
        found = f"a {spot.form.setting}"
        why = ""
    elif math.isnan(level):
        third = bankfull_limit_m(spot)
        found = "no flow known; a third of bankfull depth " + (
            f"allows {metres(third)}" if third else "allows nothing"
        )
        why = (
            f"No flow is known here, so it cannot be told whether the banks hold it over {crest}, "
            "and bankfull, not sure or too shallow, does not allow one: give rain."
        )
    elif banks_unseen(spot):
        found = "no banks seen: to be measured before it is built"
        why = ""
    elif not math.isfinite(bank.depth_m):
        found = "no banks seen"
        why = (
            f"The elevations do not show the banks, so it cannot be told whether they hold {flow} "
            f"over {crest}: measure their height on site."
        )
    else:
        found = held
        why = (
            f"The lower bank, less its error, does not hold {flow} as it passes over {crest}, and "
            "this is no swale where it could spread: no grade control stands here."
        )
    return condition(
        height_limit_m(spot) > 0,
        rule=limit.name,
        asks=f"banks that hold {flow} over {crest}, or a swale where what spills spreads",
        found=found,
        why_not=why,
        source=LEVEL_SOURCE,
        basis=limit.basis,
    )


def _held_by_banks(spot: Spot) -> bool:
    """Whether it is the banks that hold a crest lower than bankfull would."""
    return 0 < height_limit_m(spot) < bankfull_limit_m(spot) - ROUNDING


def allowed_by(spot: Spot) -> str:
    """Say what sets the height allowed."""
    if not spot.bankfull.sure:
        return "the smallest, until bankfull is measured on site"
    if _held_by_banks(spot):
        return "more would lift the likely flow over the lower bank"
    if bankfull_limit_m(spot) == 0:
        return "the smallest, since a third of bankfull depth, less its error, is less"
    if height_limit_m(spot) >= spot.rules.high("grade_control.height") - ROUNDING:
        return "the cap for low structures"
    return "a third of bankfull depth"


def stands(height_m: float) -> str:
    """Say how a crest stands to the bed."""
    return f"{metres(height_m)} above the bed"


def keyed_to(spot: Spot, height_m: float) -> str:
    """Say up to where the ends are keyed in; empty where no flow or bank tells it."""
    if not banks_hold(spot, height_m):
        return ""
    return (
        f" The keys reach up to {metres(crest_level_m(spot, height_m))} above the bed at least: so "
        f"high the {years(spot)} flow passes over the crest."
    )


def height_note(spot: Spot, height_m: float) -> str:
    """Say how the height came about."""
    needed = spot.task.needed_height_m
    why = (
        f"{metres(needed)} is needed to back water to the drop above"
        if math.isfinite(needed) and not spot.task.dry
        else "it stands as high as allowed"
    )
    return (
        f"Height {metres(height_m)}: {why}; allowed are {metres(height_limit_m(spot))} "
        f"({allowed_by(spot)}; field guides, from memory). {_why_it_stands(spot, height_m)}"
    )


def _why_it_stands(spot: Spot, height_m: float) -> str:
    """Say where the likely flow goes as it passes over the crest."""
    level = crest_level_m(spot, height_m)
    if math.isnan(level):
        return "No flow is known: see on site that the banks hold one over the crest."
    over = f"The {years(spot)} flow passes over it {metres(level)} above the bed"
    if banks_unseen(spot):
        return (
            f"{over} ({LEVEL_SOURCE}); the banks that have to hold it are not seen: measure them."
        )
    if banks_hold(spot, height_m):
        return (
            f"{over}, within the lower bank of {metres(spot.banks.depth_m)}, error "
            f"{metres(spot.banks.depth_error_m)} ({LEVEL_SOURCE})."
        )
    return f"{over} ({LEVEL_SOURCE}); what spills spreads on the floor of the swale."


def _measure_first(spot: Spot) -> str:
    """Say what has to be measured where no banks are seen, and what it decides."""
    level = crest_level_m(spot, smallest_m(spot))
    return (
        f"Measure first: the elevations do not show the banks. Build it only where the lower one "
        f"stands at least {metres(level)} above the bed: so high the {years(spot)} flow passes "
        f"over the crest. Sizes, stone and cost are told for a channel {metres(spot.width_m)} wide "
        "and go with its width."
    )


def height_cautions(spot: Spot) -> tuple[str, ...]:
    """What bankfull and banks ask care for."""
    smallest = metres(smallest_m(spot))
    out = [_measure_first(spot)] if banks_unseen(spot) else []
    # of a channel that nobody saw the depth is a curve's only
    if not spot.bankfull.sure or spot.width_range is not None:
        out.append(
            "Bankfull depth is not sure here: measure it on site before anything higher than "
            f"{smallest} is built."
        )
    elif bankfull_limit_m(spot) == 0:
        out.append(
            f"A third of bankfull depth, less its error, is below {smallest}: build no higher than "
            "that, and measure bankfull on site."
        )
    if in_swale(spot) and not banks_hold(spot, smallest_m(spot)):
        out.append(
            "Flows leave the low banks here: see on site that what spills spreads on grown ground "
            "and comes back without a drop."
        )
    return tuple(out)
