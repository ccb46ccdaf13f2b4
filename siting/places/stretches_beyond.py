"""The channel next to a place: slope of its bed and ground across it, above and below."""

from __future__ import annotations

import numpy as np

from siting.channels.bed_profile import BedProfile, bed_line
from siting.channels.ground import Ground
from siting.hydraulics.cross_section import CrossSection
from siting.places.spot import Beyond, Stretch
from terrain.channels.sections import section_heights
from terrain.values.errors import ParameterError


def beyond(ground: Ground, cell: int, *, foot_cell: int = -1, shown: bool = True) -> Beyond:
    """Measure the channel above and below a place, each up to the next headcut.

    Parameters
    ----------
    ground
        Terrain.
    cell
        Flat cell number.
    foot_cell
        Foot of the drop that falls from the cell, where one does: the channel below begins there.
    shown
        Whether the elevations show the channel; without it no section is read.
    """
    length = ground.rules.value("bed_and_bank.reach")
    above = bed_line(ground, cell, above_m=length, below_m=0.0)
    start = cell if foot_cell < 0 else foot_cell
    below = bed_line(ground, start, above_m=0.0, below_m=length)
    return Beyond(_stretch(ground, above, shown), _stretch(ground, below, shown))


def _stretch(ground: Ground, line: BedProfile, shown: bool) -> Stretch:
    try:
        slope, _ = line.slope()
    except ParameterError:  # a headcut stands right there, or the raster ends
        return Stretch()
    return Stretch(max(slope, 0.0), _section(ground, line) if shown else None)


def _section(ground: Ground, line: BedProfile) -> CrossSection | None:
    """Ground across the middle of a stretch; None without ground there."""
    middle = int(np.abs(line.distance_m - line.distance_m[[0, -1]].mean()).argmin())
    offset, height = section_heights(
        ground.raster,
        float(line.x_m[middle]),
        float(line.y_m[middle]),
        float(line.azimuth_deg[middle]),
    )
    if not np.isfinite(height[height.size // 2]):
        return None
    return CrossSection.from_ground(offset, height)
