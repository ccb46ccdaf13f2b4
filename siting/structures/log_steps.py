"""How the steps of a log drop are worked out: logs that stay down, and falls that scour nothing."""

from __future__ import annotations

import math
from dataclasses import dataclass

from siting.places.spot import Spot
from siting.structures import amounts
from siting.structures.channel_sizes import drop_of, held_width_m, notch_width_m
from siting.structures.fall_sizing import Fall, fall_over, needed_d50_m, pooled
from siting.structures.limit_checks import ROUNDING
from siting.structures.rock_sizing import Asked, asked_by, bed_stone
from siting.structures.wood_hold import Hold, Logs, ballast_check, hold


@dataclass(frozen=True, slots=True)
class LogSteps:
    """The steps worked out for a spot; no falls where no flow is known.

    Parameters
    ----------
    width_m, logs, held
        Width of the channel, the logs, and what keeps them down.
    on_step, on_apron
        The flow as it falls onto a step, and from the lowest onto the apron.
    apron_depth_m
        How deep the apron lies below the bed.
    asked, d50_m
        Stone that the flow asks for, and that is laid at least.
    """

    width_m: float
    logs: Logs
    held: Hold
    on_step: Fall | None
    on_apron: Fall | None
    apron_depth_m: float
    asked: Asked | None
    d50_m: float


def steps_for(spot: Spot) -> LogSteps:
    """Work out the fewest steps whose logs can be held down; thinner logs float less."""
    drop, limit = drop_of(spot), spot.rules["log_drop.step"]
    fewest = max(1, math.ceil(drop / limit.high - ROUNDING))
    most = max(fewest, math.ceil(drop / limit.low - ROUNDING))
    for count in range(fewest, most):
        steps = steps_of(spot, count)
        if ballast_check(spot, steps.held).passed:
            return steps
    return steps_of(spot, most)


def steps_of(spot: Spot, count: int) -> LogSteps:
    """Work out so many steps."""
    rules = spot.rules
    width, pool = held_width_m(spot), rules["log_drop.pool"]
    diameter = max(drop_of(spot) / count, rules.low("log_drop.step"))
    key, tread = rules.value("log_drop.key"), rules.value("log_drop.tread")
    posts = count * amounts.count(width, rules.value("log_drop.stake_spacing"))
    logs = Logs(
        diameter_m=diameter,
        length_m=width + 2 * key,
        count=count,
        area_m2=count * tread * width,
        posts=posts,
        lie="across",
        # the whole front of the lowest log, and of the others what their pools leave free
        exposed_share=(1 + (count - 1) * min(pool.low / diameter, 1.0)) / count,
    )
    step, notch = drop_of(spot) / count, min(notch_width_m(spot), width)
    one = fall_over(spot, crest_fall_m=step, pool_m=pool.low, notch_m=notch, sill_m=width)
    least, depth, by = rules.value("rock_bowl.stone"), pool.low, bed_stone(spot)
    apron = one
    if one is not None:
        # with one log there is no step to fall on
        onto_step = (("fall onto a step (Kolatus)", needed_d50_m(spot, one)),) if count > 1 else ()
        least = max(least, *(size for _, size in onto_step), by.d50_m if by else 0.0)
        apron, _ = pooled(spot, one, least_d50_m=least, deepest_m=pool.high)
        depth = apron.pool_m
        onto_apron = ("fall onto the apron (Kolatus)", needed_d50_m(spot, apron))
        by = asked_by(by, Asked((*onto_step, onto_apron)))
    return LogSteps(
        width_m=width,
        logs=logs,
        held=hold(spot, logs, filled=False),
        on_step=one,
        on_apron=apron,
        apron_depth_m=depth,
        asked=by,
        d50_m=rules.value("rock_bowl.stone"),
    )
