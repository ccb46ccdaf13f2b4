"""Ground across the channel above and below a place.

It is read in the middle of the reaches that the bed slopes there are told over
(`siting.channels.bed_slopes`).
"""

from __future__ import annotations

import math

from siting.channels.bed_profile import BedProfile, bed_line
from siting.channels.bed_slopes import slope_reach_m
from siting.channels.ground import Ground
from siting.hydraulics.cross_section import CrossSection
from siting.places.spot import Beyond
from terrain.channels.sections import section_heights


def sections_beyond(ground: Ground, cell: int, *, foot_cell: int = -1) -> Beyond:
    """Read the ground across the channel above and below a place, each up to the next headcut.

    Parameters
    ----------
    ground
        Terrain.
    cell
        Flat cell number.
    foot_cell
        Foot of the drop that falls from the cell, where one does: the channel below begins there.
    """
    half = slope_reach_m(ground) / 2
    above = bed_line(ground, cell, above_m=half, below_m=0.0)
    start = cell if foot_cell < 0 else foot_cell
    below = bed_line(ground, start, above_m=0.0, below_m=half)
    return Beyond(_section(ground, above, 0), _section(ground, below, -1))


def _section(ground: Ground, line: BedProfile, row: int) -> CrossSection | None:
    """Ground across one row of a bed; None without ground there."""
    x, y, azimuth = (float(v[row]) for v in (line.x_m, line.y_m, line.azimuth_deg))
    offset, height = section_heights(ground.raster, x, y, azimuth)
    middle = float(height[height.size // 2])
    return CrossSection.from_ground(offset, height) if math.isfinite(middle) else None
