"""What a structure does where the elevations no longer tell it: in a straight, even channel.

The section as measured is carried up at the bed slope, so that pool, wedge and tailwater come from
the same arithmetic as on the ground; in a rectangular channel these are the closed forms
H2 W / (2 S) for the pool and H2 W / (2 (1 - share) S) for the wedge.
"""

from __future__ import annotations

import math

import numpy as np

from siting.effects.channel_above import MOST_ROWS, ChannelAbove
from siting.effects.site_effects import Effect, control_effect, length_above_m
from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import FlowState
from siting.places.spot import Spot
from siting.structures.structure_type import Size

#: What is said of an effect that was worked out this way.
SOURCE = "measured section, carried up at the bed slope as an even channel"


def prism(
    section: CrossSection, *, slope: float, length_m: float, foot_m: float = math.nan
) -> ChannelAbove:
    """Carry a section up an even bed.

    Parameters
    ----------
    section
        Ground across the channel.
    slope
        Bed slope, m per m, 0 or more.
    length_m
        How far up, above 0.
    foot_m
        Distance up to the foot of the drop above, which ends it; NaN for none.
    """
    ends = math.isfinite(foot_m) and foot_m > 0
    up = np.linspace(0.0, foot_m if ends else length_m, MOST_ROWS)
    bed = max(slope, 0.0) * up
    height = section.height_m - section.bed_m
    return ChannelAbove.of_sections(
        up,
        bed,
        section.offset_m - section.offset_m[section.deepest],
        bed[:, None] + height,
        ends_at="foot" if ends else "length",
    )


def even_effect(spot: Spot, size: Size, *, foot_m: float, flow: FlowState | None) -> Effect:
    """What a grade control does in an even channel.

    Parameters
    ----------
    spot, size
        The place as measured, and the structure.
    foot_m
        Distance up to the foot of the drop above; NaN for none.
    flow
        The design flow; None where it is not known.
    """
    slope = max(spot.slope, 0.0)
    above = prism(
        spot.section,
        slope=slope,
        length_m=length_above_m(size.height_m, slope),
        foot_m=foot_m,
    )
    return control_effect(
        above, size=size, slope=slope, flow=flow, roughness=spot.roughness, rules=spot.rules
    )
