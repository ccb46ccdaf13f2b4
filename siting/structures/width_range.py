"""A width that nobody saw is a range: what a structure would be at either end of it.

Where the elevations do not show the channel its width lies between that of a regional curve and the
narrowest that they would have shown (three cells; common practice, no published source).
"""

from __future__ import annotations

import math
from dataclasses import replace

from siting.hydraulics.cross_section import CrossSection
from siting.places.spot import Spot


def width_range_m(spot: Spot) -> tuple[float, float]:
    """Least and greatest width of the channel, m; both the width as told where it is seen."""
    told, hidden = spot.width_m, spot.banks.hidden_width_m
    seen = math.isfinite(spot.banks.width_m) or not math.isfinite(hidden)
    if seen or not math.isfinite(told):
        return told, told
    return min(told, hidden), max(told, hidden)


def at_width(spot: Spot, width_m: float) -> Spot:
    """Return the same place with a channel of another width, its bed and section stretched."""
    ratio = width_m / spot.width_m
    section = spot.section
    middle = float(section.offset_m[section.deepest])
    banks = replace(spot.banks, width_m=width_m, bed_width_m=spot.banks.bed_width_m * ratio)
    offset = middle + (section.offset_m - middle) * ratio
    return replace(spot, banks=banks, section=CrossSection(offset, section.height_m))
