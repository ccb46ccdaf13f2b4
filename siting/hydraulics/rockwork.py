"""Sizes of what is built of loose stone: aprons and volumes."""

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
