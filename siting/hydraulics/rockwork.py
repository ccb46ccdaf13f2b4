"""Sizes of what is built of loose stone: aprons, cross-sections, volumes."""

from __future__ import annotations

import math
from typing import Final

from terrain.values.errors import ParameterError

#: Slope of the bed above which an apron is longer.
STEEP_APRON_SLOPE: Final = 0.15
APRON_GENTLE: Final = 1.5
APRON_STEEP: Final = 1.75


def apron_m(
    height_m: float,
    slope: float,
    *,
    gentle: float = APRON_GENTLE,
    steep: float = APRON_STEEP,
    steep_from: float = STEEP_APRON_SLOPE,
) -> float:
    """Length of the stone apron below a check structure, m.

    1.5 heights up to a bed slope of 0.15, 1.75 heights above it. Source: Heede 1976, USDA Forest
    Service Research Paper RM-169 (from memory).
    """
    height, g = _size(height_m, "a structure height"), _size(slope, "a bed slope")
    return height * (gentle if g <= steep_from else steep)


def loose_rock_section_m2(
    height_m: float, *, crest_m: float = 0.6, upstream: float = 1.25, downstream: float = 1.5
) -> float:
    """Area of a loose-rock check structure as seen from the side, c H + (u + d) H^2 / 2, m2.

    Parameters
    ----------
    height_m
        Above the bed.
    crest_m
        Length of the crest along the flow.
    upstream, downstream
        Horizontal per vertical of the faces; as here for angular stone.

    Notes
    -----
    Heede 1976, USDA Forest Service Research Paper RM-169 (from memory).
    """
    height = _size(height_m, "a structure height")
    faces = _size(upstream, "an upstream face") + _size(downstream, "a downstream face")
    return _size(crest_m, "a crest length") * height + faces / 2 * height**2


def one_rock_volume_m3(width_m: float, length_m: float, stone_m: float) -> float:
    """Volume that one layer of stone takes, width times length times diameter, m3.

    Gaps between the stones are part of it: its mass is this times a bulk density. Common practice,
    no published source.
    """
    return (
        _size(width_m, "a structure width")
        * _size(length_m, "a structure length")
        * _size(stone_m, "a stone diameter")
    )


def _size(value: float, what: str) -> float:
    if not 0 <= value < math.inf:
        raise ParameterError(f"{what} of {value:g}", expected="zero or more")
    return float(value)
