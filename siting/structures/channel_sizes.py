"""Sizes of the channel that several types build to."""

from __future__ import annotations

import math

from siting.places.spot import Spot
from siting.structures.limit_checks import condition
from siting.structures.structure_type import Check

#: What is not known fails its own check; sizes are then told for these all the same, m.
LEAST_DROP_M = 0.3
ONE_METRE = 1.0


def drop_of(spot: Spot) -> float:
    """Height of the drop."""
    return (
        spot.drop.height_m
        if math.isfinite(spot.drop.height_m) and spot.drop.height_m > 0
        else LEAST_DROP_M
    )


def channel_width_m(spot: Spot) -> float:
    """Width from bank to bank."""
    return spot.width_m if math.isfinite(spot.width_m) else ONE_METRE


def bed_width_m(spot: Spot) -> float:
    """Width of the bed; that of the channel where the bed does not show."""
    return (
        spot.banks.bed_width_m if math.isfinite(spot.banks.bed_width_m) else channel_width_m(spot)
    )


def off_the_fan(spot: Spot, name: str) -> Check:
    """Keep structures of a channel off an open fan, where water changes its way."""
    return condition(
        spot.form.setting != "fan",
        asks="a channel, not an open fan",
        found=spot.form.setting or "a channel",
        why_not=f"On a fan the water changes its way and leaves a {name} dry or cuts round it: "
        "spread it instead.",
    )
