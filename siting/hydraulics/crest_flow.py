"""Water as it passes over the crest of a low structure that stands across a section.

At the crest the water stands as high as the flow over a broad crest of loose stone asks for, Q = C
L h^1.5 (V. T. Chow 1959, *Open-Channel Hydraulics*; relation and C from memory), or at normal depth
where the channel below carries the flow no lower. The same two rule the tailwater of
`siting.effects.backwater`.
"""

from __future__ import annotations

from siting.hydraulics.cross_section import CrossSection
from siting.hydraulics.open_channel import STONE_WEIR, normal_flow
from terrain.values.errors import ParameterError

#: Levels are found to this, m: far below anything that is measured.
FOUND_TO_M = 1e-6


def level_over_crest_m(
    section: CrossSection,
    discharge_m3s: float,
    *,
    crest_height_m: float,
    slope: float,
    roughness: float,
) -> float:
    """Level of the water just above a crest, above the lowest point of the section, m.

    The crest is level and as long as the water is wide; how much a crest dips to its middle lies
    within the error of any bank. The head is that of water at rest above it.

    Parameters
    ----------
    section
        Ground across the channel.
    discharge_m3s
        Flow, above zero.
    crest_height_m
        Of the crest above the lowest point, above zero.
    slope, roughness
        Of the bed, m per m, and Manning's n, for normal depth; both above zero.

    Raises
    ------
    ParameterError
        A value outside its range.
    """
    if not 0 < crest_height_m < float("inf"):
        raise ParameterError(f"a crest of {crest_height_m:g} m", expected="above zero")
    if not discharge_m3s > 0:
        raise ParameterError(f"a discharge of {discharge_m3s:g} m3/s", expected="above zero")
    normal = normal_flow(section, discharge_m3s, slope=slope, roughness=roughness).depth_m

    def head_m(length_m: float) -> float:
        return float((discharge_m3s / (STONE_WEIR * length_m)) ** (2 / 3))

    # water is never narrower than at the crest, nor wider than where that alone would put it
    low = crest_height_m
    high = crest_height_m + head_m(section.top_width_m(crest_height_m))
    while high - low > FOUND_TO_M:
        level = (low + high) / 2
        enough = level - crest_height_m >= head_m(section.top_width_m(level))
        low, high = (low, level) if enough else (level, high)
    return max(normal, high)
