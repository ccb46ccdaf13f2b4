"""Sizes of the channel that several types build to."""

from __future__ import annotations

import math

from siting.places.spot import Spot
from siting.structures.design_flow import design_flow
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


def held_width_m(spot: Spot) -> float:
    """Width that a structure at a drop has to hold, from key to key.

    What the design flow wets; from bank to bank where no flow is known.
    """
    whole, state = channel_width_m(spot), design_flow(spot)
    if state is None:
        return whole
    return min(whole, max(spot.section.top_width_m(state.depth_m), bed_width_m(spot)))


def notch_width_m(spot: Spot) -> float:
    """Width of the notch in a lip that carries the design flow as deep as the channel does.

    Area over greatest depth of the normal flow, so that the flow over each metre of it is that of
    the middle of the channel; no narrower than the bed, which is all where no flow is known.
    """
    state, bed = design_flow(spot), bed_width_m(spot)
    if state is None:
        return bed
    mean = state.discharge_m3s / (state.velocity_mps * state.depth_m)
    return min(max(mean, bed), held_width_m(spot))


def off_the_fan(spot: Spot, name: str) -> Check:
    """Keep structures of a channel off an open fan, where water changes its way."""
    return condition(
        spot.form.setting != "fan",
        asks="a channel, not an open fan",
        found=spot.form.setting or "a channel",
        why_not=f"On a fan the water changes its way and leaves a {name} dry or cuts round it: "
        "spread it instead.",
    )
