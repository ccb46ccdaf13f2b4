"""How large stone must be to stay where it is laid, and how heavy it then is.

Each function is one published method. They answer for different places: a chute down a slope
(`rock_chute_d50_m`, `steep_d30_m`, `abt_johnson_d50_m`), a bank that is overtopped
(`overtopping_d50_m`), a bed under flowing water (`shear_d50_m`), water that strikes stone
(`isbash_d_m`). Diameters are those that 30 or 50 % of the
stone's mass is finer than. Densities are of solid stone.
"""

from __future__ import annotations

import math
from typing import Final

from siting.hydraulics.open_channel import GRAVITY_MPS2, WATER_KG_M3
from terrain.values.errors import ParameterError

STONE_KG_M3: Final = 2650.0
#: Dimensionless shear at which stone of a bed starts to move.
SHIELDS: Final = 0.047
#: Slopes that the methods for chutes were tested on.
ROCK_CHUTE_SLOPES: Final = (0.02, 0.40)
STEEP_SLOPES: Final = (0.02, 0.20)
#: Slopes of banks under overtopping flow; the manual works examples from 0.20 to 0.50.
OVERTOPPING_SLOPES: Final = (0.01, 0.50)
#: Angle of repose of angular stone, and its D60 over D10, as in the manual's examples.
REPOSE_DEG: Final = 42.0
UNIFORMITY: Final = 2.1

_FOOT_M = 0.3048
_INCH_M = 0.0254


def rock_chute_d50_m(unit_flow_m2s: float, slope: float) -> float:
    """Median diameter of angular stone that holds on a chute, m; without a factor of safety.

    With q in m2/s and d50 in mm: q = 9.76e-7 d50^1.89 S^-1.50 below a slope of 0.10, and
    q = 8.07e-6 d50^1.89 S^-0.58 from there on. The branches meet at 0.10 to half a per cent, which
    they do only with the exponent as here: d50 grows with the slope on both.

    Parameters
    ----------
    unit_flow_m2s
        Flow per metre of chute width.
    slope
        0.02 to 0.40, the range of the tests.

    Raises
    ------
    ParameterError
        A slope outside the range, or a flow below zero.

    Notes
    -----
    Robinson, Rice and Kadavy 1998, Transactions of the ASAE 41(3):621-626 (metric constants from
    memory; they give the stone of the U.S. form, as taught with NRCS practice standard 468, to
    0.1 %).
    """
    q = _at_least_zero(unit_flow_m2s, "a flow per metre of width", "m2/s")
    s = _within(slope, ROCK_CHUTE_SLOPES)
    flow = q * s**1.50 / 9.76e-7 if s < 0.10 else q * s**0.58 / 8.07e-6
    return float(flow ** (1 / 1.89) / 1000)


def steep_d30_m(unit_flow_m2s: float, slope: float, *, concentration: float = 1.25) -> float:
    """Diameter d30 of angular stone on a steep bed, 1.95 S^0.555 (1.25 q)^(2/3) / g^(1/3), m.

    Parameters
    ----------
    unit_flow_m2s
        Flow per metre of width.
    slope
        0.02 to 0.20.
    concentration
        Factor for flow that gathers in part of the width.

    Notes
    -----
    USACE EM 1110-2-1601, equation 3-5 (from memory): stone of 2675 kg/m3, narrow grading.
    """
    q = _at_least_zero(unit_flow_m2s, "a flow per metre of width", "m2/s")
    s = _within(slope, STEEP_SLOPES)
    flow = _above_zero(concentration, "a concentration factor") * q
    return float(1.95 * s**0.555 * flow ** (2 / 3) / GRAVITY_MPS2 ** (1 / 3))


def abt_johnson_d50_m(
    unit_flow_m2s: float, slope: float, *, flow_factor: float = 1.35, rounded: bool = False
) -> float:
    """Median diameter of stone under overtopping flow, m: 5.23 S^0.43 q^0.56 (inches, ft2/s).

    Parameters
    ----------
    unit_flow_m2s
        Flow per metre of width.
    slope
        Above zero, at most 1.
    flow_factor
        On the flow, from failure to design.
    rounded
        Whether the stone is rounded: 40 % larger then.

    Notes
    -----
    Abt and Johnson 1991, Journal of Hydraulic Engineering 117(8) (from memory).
    """
    q = _at_least_zero(unit_flow_m2s, "a flow per metre of width", "m2/s") / _FOOT_M**2
    flow = q * _above_zero(flow_factor, "a flow factor")
    d50 = 5.23 * _within(slope, (1e-6, 1.0)) ** 0.43 * flow**0.56 * _INCH_M
    return float(d50 * (1.4 if rounded else 1.0))


def overtopping_d50_m(
    unit_flow_m2s: float,
    slope: float,
    *,
    density: float = STONE_KG_M3,
    uniformity: float = UNIFORMITY,
    repose_deg: float = REPOSE_DEG,
) -> float:
    """Median diameter of angular stone on a bank that is overtopped, m.

    0.55 q^0.52 / (Cu^0.25 S^0.75) (sin a / ((Sg cos a - 1) (cos a tan phi - sin a)))^1.11, with a
    the angle of the slope.

    Parameters
    ----------
    unit_flow_m2s
        Flow per metre of crest.
    slope
        Of the downstream face, 0.01 to 0.50.
    uniformity
        D60 over D10 of the stone.
    repose_deg
        Its angle of repose.

    Notes
    -----
    FHWA HEC-23, third edition, 2009, volume 2, design guideline 5, read in a typed copy. It comes
    with a depth of flow through the stone of at most two diameters, which is not asked here: one
    layer that lies on the bed has soil beneath it.
    """
    q = _at_least_zero(unit_flow_m2s, "a flow per metre of width", "m2/s")
    s = _within(slope, OVERTOPPING_SLOPES)
    angle, rest = math.atan(s), math.tan(math.radians(repose_deg))
    holds = (relative_density(density) * math.cos(angle) - 1) * (
        math.cos(angle) * rest - math.sin(angle)
    )
    return float(
        0.55
        * q**0.52
        / (_above_zero(uniformity, "a uniformity") ** 0.25 * s**0.75)
        * (math.sin(angle) / holds) ** 1.11
    )


def shear_d50_m(
    shear_pa: float, *, density: float = STONE_KG_M3, shields: float = SHIELDS, safety: float = 1.0
) -> float:
    """Median diameter of stone that a pull on the bed does not move, m.

    SF tau / (F* (weight of stone - weight of water)): FHWA HEC-15, third edition, 2005, equation
    6.8, with F* = 0.047 and SF = 1 for flow round small stone (table 6.1).
    """
    tau = _at_least_zero(shear_pa, "a shear", "Pa")
    return (
        _above_zero(safety, "a safety factor")
        * tau
        / (_above_zero(shields, "a Shields number") * _sunk_n_m3(density))
    )


def isbash_d_m(
    velocity_mps: float, *, density: float = STONE_KG_M3, coefficient: float = 0.86
) -> float:
    """Diameter of stone that a velocity does not move, from V = C (2 g (s - 1) D)^0.5, m.

    Parameters
    ----------
    coefficient
        0.86 for strong turbulence (below a drop), 1.20 for little.

    Notes
    -----
    USACE Hydraulic Design Chart 712-1; NRCS NEH 654 Technical Supplement 14C (from memory).
    """
    v = _at_least_zero(velocity_mps, "a velocity", "m/s")
    c = _above_zero(coefficient, "an Isbash coefficient")
    return (v / c) ** 2 / (2 * GRAVITY_MPS2 * (relative_density(density) - 1))


def stone_diameter_m(mass_kg: float, density: float = STONE_KG_M3) -> float:
    """Diameter of a round stone of a mass, m: `stone_mass_kg` turned round."""
    relative_density(density)
    return math.cbrt(6 * _at_least_zero(mass_kg, "a mass", "kg") / (math.pi * density))


def stone_mass_kg(diameter_m: float, density: float = STONE_KG_M3) -> float:
    """Mass of a round stone, kg."""
    relative_density(density)
    return math.pi / 6 * _at_least_zero(diameter_m, "a stone diameter", "m") ** 3 * density


def relative_density(density: float) -> float:
    """Density of stone over that of water; stone must sink.

    Raises
    ------
    ParameterError
        A density that no stone has.
    """
    if not WATER_KG_M3 < density < 10_000:
        raise ParameterError(
            f"a stone density of {density:g} kg/m3", expected="more than water, such as 2650"
        )
    return density / WATER_KG_M3


def _sunk_n_m3(density: float) -> float:
    """Weight of solid stone under water, N/m3."""
    return (relative_density(density) - 1) * WATER_KG_M3 * GRAVITY_MPS2


def _within(slope: float, limits: tuple[float, float]) -> float:
    low, high = limits
    if not low <= slope <= high:
        raise ParameterError(
            f"a slope of {slope:g}", expected=f"{low:g} to {high:g}, the range of the method"
        )
    return float(slope)


def _above_zero(value: float, what: str) -> float:
    if not 0 < value < math.inf:
        raise ParameterError(f"{what} of {value:g}", expected="above zero")
    return float(value)


def _at_least_zero(value: float, what: str, unit: str) -> float:
    if not 0 <= value < math.inf:
        raise ParameterError(f"{what} of {value:g} {unit}", expected="zero or more")
    return float(value)
