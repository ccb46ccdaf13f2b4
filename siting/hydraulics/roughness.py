"""Manning's roughness n of a channel: relations with depth, slope and stone, and named values.

Relations on stone size take the diameter that a share of the stones is smaller than: d50, d84.
Logarithms are to base ten; lengths in m.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Final, NamedTuple

from terrain.values.errors import ParameterError

#: Slopes and hydraulic radii, m, that Jarrett's relation was fitted on.
JARRETT_SLOPES: Final = (0.002, 0.04)
JARRETT_RADII_M: Final = (0.15, 1.68)
#: Depths in median stone diameters that the relation of HEC-15 is for.
LINING_DEPTHS: Final = (1.5, 185.0)


class Roughness(NamedTuple):
    """Least, usual and greatest n of one kind of channel."""

    low: float
    usual: float
    high: float


#: V. T. Chow 1959, *Open-Channel Hydraulics*, table 5-6 (some of its rows).
CHOW: Final[Mapping[str, Roughness]] = MappingProxyType(
    {
        "clean, straight": Roughness(0.025, 0.030, 0.033),
        "winding, some weeds and stones": Roughness(0.035, 0.045, 0.050),
        "sluggish, weedy": Roughness(0.050, 0.070, 0.080),
        "steep, bed of gravel and cobbles": Roughness(0.030, 0.040, 0.050),
        "steep, bed of cobbles and boulders": Roughness(0.040, 0.050, 0.070),
        "floodplain, short grass": Roughness(0.025, 0.030, 0.035),
        "floodplain, high grass": Roughness(0.030, 0.035, 0.050),
        "floodplain, scattered brush": Roughness(0.035, 0.050, 0.070),
        "floodplain, medium to dense brush in summer": Roughness(0.070, 0.100, 0.160),
        "earth, winding, no vegetation": Roughness(0.023, 0.025, 0.030),
        "gravel bed, sides of dry rubble": Roughness(0.023, 0.033, 0.036),
    }
)

#: Parts of n after Cowan: middles of the ranges in Phillips and Tadayon 2007, U.S. Geological
#: Survey SIR 2006-5108.
COWAN_MATERIAL: Final[Mapping[str, float]] = MappingProxyType(
    {"earth": 0.020, "rock": 0.025, "fine gravel": 0.024, "coarse gravel": 0.028}
)
COWAN_SURFACE: Final[Mapping[str, float]] = MappingProxyType(
    {"smooth": 0.0, "minor": 0.005, "moderate": 0.010, "severe": 0.020}
)
COWAN_VARIATION: Final[Mapping[str, float]] = MappingProxyType(
    {"gradual": 0.0, "occasional": 0.005, "frequent": 0.0125}
)
COWAN_OBSTRUCTION: Final[Mapping[str, float]] = MappingProxyType(
    {"negligible": 0.0, "minor": 0.0125, "appreciable": 0.025, "severe": 0.050}
)
COWAN_VEGETATION: Final[Mapping[str, float]] = MappingProxyType(
    {"low": 0.0075, "medium": 0.0175, "high": 0.0375, "very high": 0.075}
)
COWAN_WINDING: Final[Mapping[str, float]] = MappingProxyType(
    {"minor": 1.0, "appreciable": 1.15, "severe": 1.30}
)


def jarrett(hydraulic_radius_m: float, slope: float) -> float:
    """Roughness of steep stony channels, n = 0.32 S^0.38 R^-0.16.

    Fitted on `JARRETT_SLOPES` and `JARRETT_RADII_M`. Source: Jarrett 1984, Journal of Hydraulic
    Engineering 110(11).
    """
    radius = _above_zero(hydraulic_radius_m, "a hydraulic radius")
    return float(0.32 * _above_zero(slope, "a bed slope") ** 0.38 * radius**-0.16)


def strickler(d50_m: float) -> float:
    """Roughness of a bed of grains under deep water, n = 0.0474 d50^(1/6).

    Source: Strickler 1923, in McKay and Fischenich 2011, ERDC/CHL CHETN-VII-11.
    """
    return float(0.0474 * _above_zero(d50_m, "a stone diameter") ** (1 / 6))


def limerinos(hydraulic_radius_m: float, d84_m: float) -> float:
    """Roughness of coarse beds, n = 0.1129 R^(1/6) / (1.16 + 2 log(R / d84)).

    Source: Limerinos 1970, U.S. Geological Survey Water-Supply Paper 1898-B.

    Raises
    ------
    ParameterError
        Stones so large beside the radius that the relation has no value.
    """
    radius = _above_zero(hydraulic_radius_m, "a hydraulic radius")
    stones = radius / _above_zero(d84_m, "a stone diameter")
    return 0.1129 * _over(radius, 1.16 + 2 * math.log10(stones), stones)


def bathurst(depth_m: float, d84_m: float) -> float:
    """Roughness of steep coarse beds, n = 0.3194 d^(1/6) / (4 + 5.62 log(d / d84)).

    Source: Bathurst 1985, Journal of Hydraulic Engineering 111(4), in McKay and Fischenich 2011.

    Raises
    ------
    ParameterError
        Stones so large beside the depth that the relation has no value.
    """
    depth = _above_zero(depth_m, "a depth")
    stones = depth / _above_zero(d84_m, "a stone diameter")
    return 0.3194 * _over(depth, 4 + 5.62 * math.log10(stones), stones)


def stone_lining(mean_depth_m: float, d50_m: float) -> float:
    """Roughness of a lining of stone, n = 0.319 d^(1/6) / (2.25 + 5.23 log(d / d50)).

    Source: FHWA Hydraulic Engineering Circular 15, third edition, 2005, equation 6.1 (its two
    constants in the divisor from memory).

    Raises
    ------
    ParameterError
        A depth outside `LINING_DEPTHS` stone diameters.
    """
    depth = _above_zero(mean_depth_m, "a mean depth")
    stones = depth / _above_zero(d50_m, "a stone diameter")
    low, high = LINING_DEPTHS
    if not low <= stones <= high:
        raise ParameterError(
            f"a depth of {stones:.3g} stone diameters", expected=f"{low:g} to {high:g}"
        )
    return 0.319 * _over(depth, 2.25 + 5.23 * math.log10(stones), stones)


def cowan(n0: float, n1: float, n2: float, n3: float, n4: float, m: float) -> float:
    """Roughness from its parts, (n0 + n1 + n2 + n3 + n4) m.

    Parameters
    ----------
    n0
        Material, see `COWAN_MATERIAL`.
    n1, n2, n3, n4
        Added for the surface, changes of section, obstructions and vegetation.
    m
        Factor for winding, 1 or more.

    Notes
    -----
    Cowan 1956, Agricultural Engineering 37(7), in Phillips and Tadayon 2007, U.S. Geological Survey
    SIR 2006-5108.
    """
    parts = (n0, n1, n2, n3, n4)
    if not (0 < n0 < math.inf and all(0 <= p < math.inf for p in parts) and 1 <= m < math.inf):
        raise ParameterError(
            f"roughness parts {parts} with a factor of {m:g}",
            expected="a material above zero, others zero or more, a factor of 1 or more",
        )
    return sum(parts) * m


def cowan_by_name(
    *,
    material: str,
    surface: str = "smooth",
    variation: str = "gradual",
    obstruction: str = "negligible",
    vegetation: str = "low",
    winding: str = "minor",
) -> float:
    """Roughness from its parts by their names in the tables of this module.

    Raises
    ------
    ParameterError
        A name that its table does not hold.
    """
    return cowan(
        _named(COWAN_MATERIAL, material, "material"),
        _named(COWAN_SURFACE, surface, "surface"),
        _named(COWAN_VARIATION, variation, "variation"),
        _named(COWAN_OBSTRUCTION, obstruction, "obstruction"),
        _named(COWAN_VEGETATION, vegetation, "vegetation"),
        _named(COWAN_WINDING, winding, "winding"),
    )


def _named(table: Mapping[str, float], name: str, what: str) -> float:
    if name not in table:
        raise ParameterError(f"{what} '{name}'", expected="one of " + ", ".join(table))
    return table[name]


def _over(length: float, divisor: float, stones: float) -> float:
    if divisor <= 0:
        raise ParameterError(
            f"water of {stones:.2g} stone diameters", expected="stones less large beside the depth"
        )
    return float(length ** (1 / 6) / divisor)


def _above_zero(value: float, what: str) -> float:
    if not 0 < value < math.inf:
        raise ParameterError(f"{what} of {value:g}", expected="above zero")
    return float(value)
