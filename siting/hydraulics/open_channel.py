"""Steady flow of water: by Manning's equation in a section, critical over a level floor, in a jump.

Sources: V. T. Chow 1959, *Open-Channel Hydraulics* (Manning, critical flow, hydraulic jump; from
memory); FHWA Hydraulic Engineering Circular 15, third edition, 2005, equation 3.1 (shear on the
bed).
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

from siting.hydraulics.cross_section import CrossSection
from terrain.values.errors import ParameterError

GRAVITY_MPS2: Final = 9.81
WATER_KG_M3: Final = 1000.0
#: Weight of water, N/m3.
WATER_N_M3: Final = WATER_KG_M3 * GRAVITY_MPS2
#: C of Q = C L h^1.5 for a broad crest of loose stone, m^0.5/s (from memory, as used for spillways
#: of check structures).
STONE_WEIR: Final = 1.65
#: Flat spots of a raster would hold water for ever (common practice, no published source).
LOWEST_SLOPE: Final = 0.001


@dataclass(frozen=True, slots=True)
class FlowState:
    """Water running down a channel at an even slope.

    Parameters
    ----------
    discharge_m3s, depth_m, area_m2, top_width_m
        Flow, greatest depth, area across and width of the surface.
    velocity_mps
        Mean velocity.
    hydraulic_radius_m
        Area over wetted perimeter.
    shear_pa
        Mean pull of the water on its bed and banks, by the hydraulic radius.
    deepest_shear_pa
        Pull on the deepest part of the bed, by the greatest depth: what a lining or a stone there
        has to stand (HEC-15 equation 3.1).
    froude
        Velocity over that of a small wave, sqrt(g A / T); above 1 the flow shoots.
    unit_flow_m2s
        Discharge over the width of the surface.
    overtops
        Whether the water stands higher than the lower end of the section: it would spread further
        than the section shows, so depth and velocity are then upper bounds.
    """

    discharge_m3s: float
    depth_m: float
    area_m2: float
    top_width_m: float
    velocity_mps: float
    hydraulic_radius_m: float
    shear_pa: float
    deepest_shear_pa: float
    froude: float
    unit_flow_m2s: float
    overtops: bool


def normal_flow(
    section: CrossSection, discharge_m3s: float, *, slope: float, roughness: float
) -> FlowState:
    """Even flow in a section by Manning's equation, Q = A R^(2/3) S^(1/2) / n.

    Of several depths that carry the flow (possible where the water has just gone over a bank) it is
    the lowest, so that depth never falls as flow grows.

    Parameters
    ----------
    section
        Ground across the channel.
    discharge_m3s
        Flow, zero or more.
    slope
        Of the bed, m per m, above zero.
    roughness
        Manning's n, above zero.

    Raises
    ------
    ParameterError
        A value outside its range.
    """
    flow = _at_least_zero(discharge_m3s, "a discharge", "m3/s")
    root = math.sqrt(_above_zero(slope, "a bed slope"))
    n = _above_zero(roughness, "a roughness")
    if flow == 0:
        return FlowState(0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, 0.0, False)
    wet = section.lowest_wetted(flow * n / root, area=5 / 3, perimeter=-2 / 3)
    radius = wet.area_m2 / wet.perimeter_m
    velocity = flow / wet.area_m2
    return FlowState(
        discharge_m3s=flow,
        depth_m=wet.depth_m,
        area_m2=wet.area_m2,
        top_width_m=wet.top_width_m,
        velocity_mps=velocity,
        hydraulic_radius_m=radius,
        shear_pa=shear_pa(radius, slope),
        deepest_shear_pa=shear_pa(wet.depth_m, slope),
        froude=velocity / math.sqrt(GRAVITY_MPS2 * wet.area_m2 / wet.top_width_m),
        unit_flow_m2s=flow / wet.top_width_m,
        overtops=wet.depth_m > section.rim_m,
    )


def critical_unit_depth_m(unit_flow_m2s: float) -> float:
    """Depth of critical flow over a level floor, (q^2 / g)^(1/3), m."""
    flow = _at_least_zero(unit_flow_m2s, "a flow per metre of width", "m2/s")
    return math.cbrt(flow * flow / GRAVITY_MPS2)


def conjugate_depth_m(depth_m: float, froude: float) -> float:
    """Depth after a hydraulic jump on a level floor, y (sqrt(1 + 8 Fr^2) - 1) / 2, m.

    Parameters
    ----------
    depth_m, froude
        Before the jump; a Froude number of 1 or more.

    Raises
    ------
    ParameterError
        The flow does not shoot, so there is no jump.
    """
    depth = _at_least_zero(depth_m, "a depth", "m")
    if not 1 <= froude < math.inf:
        raise ParameterError(
            f"a Froude number of {froude:g} before a jump", expected="1 or more: a flow that shoots"
        )
    return depth / 2 * (math.sqrt(1 + 8 * froude**2) - 1)


def shear_pa(hydraulic_radius_m: float, slope: float) -> float:
    """Mean pull of flowing water on its bed, weight of water times R times S, Pa.

    HEC-15 equation 3.1 puts the greatest depth in place of R for the pull on the deepest part.
    """
    return (
        WATER_N_M3
        * _at_least_zero(hydraulic_radius_m, "a hydraulic radius", "m")
        * _at_least_zero(slope, "a bed slope", "m/m")
    )


def _above_zero(value: float, what: str) -> float:
    if not 0 < value < math.inf:
        raise ParameterError(f"{what} of {value:g}", expected="above zero")
    return float(value)


def _at_least_zero(value: float, what: str, unit: str) -> float:
    if not 0 <= value < math.inf:
        raise ParameterError(f"{what} of {value:g} {unit}", expected="zero or more")
    return float(value)
