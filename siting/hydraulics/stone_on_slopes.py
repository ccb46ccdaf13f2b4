"""Loose stone that lies on a bank: how much its own weight helps the water to move it.

Sources: FHWA Hydraulic Design Series 6, *River Engineering for Highway Encroachments*, 2001,
chapter 6 (flow along the bank); FHWA Hydraulic Engineering Circular 11, 1989. Angles in degrees;
the angle of repose is the steepest at which the dry stone lies by itself.
"""

from __future__ import annotations

import math
from typing import Final

from siting.hydraulics.open_channel import GRAVITY_MPS2, WATER_N_M3
from siting.hydraulics.stone import STONE_KG_M3, relative_density
from terrain.values.errors import ParameterError

_FOOT_M: Final = 0.3048


def repose_ratio(bank_deg: float, repose_deg: float) -> float:
    """Factor of safety without water, Sm: tangent of repose over tangent of the bank."""
    bank, repose = _angles(bank_deg, repose_deg)
    return math.tan(repose) / math.tan(bank)


def bank_stability_number(bank_deg: float, repose_deg: float, *, safety: float = 1.5) -> float:
    """Stability number that a bank leaves room for, (Sm^2 - SF^2) cos(bank) / (SF Sm^2).

    Raises
    ------
    ParameterError
        The bank is too steep for this safety even without water.
    """
    bank, _ = _angles(bank_deg, repose_deg)
    ratio = repose_ratio(bank_deg, repose_deg)
    if not 0 < safety < ratio:
        raise ParameterError(
            f"a safety factor of {safety:g} on this bank",
            expected=f"above zero, less than {ratio:.3g}, which it has without water",
            do="lay the bank back",
        )
    return (ratio**2 - safety**2) * math.cos(bank) / (safety * ratio**2)


def bank_pull_share(along_per_up: float) -> float:
    """Pull on a bank over that on the deepest bed: 0.77, from 1.5 along for 1 up more, 1 from 5 on.

    FHWA HEC-15, third edition, 2005, section 3.2 (from memory): 0.066 z + 0.67 between.
    """
    z = _at_least_zero(along_per_up, "a bank", "along for 1 up")
    if z <= 1.5:
        return 0.77
    return 0.066 * z + 0.67 if z < 5 else 1.0


def bank_pull_d50_m(
    shear_pa: float,
    bank_deg: float,
    *,
    repose_deg: float = 40.0,
    safety: float = 1.5,
    density: float = STONE_KG_M3,
) -> float:
    """Median stone that a pull does not move on a bank, 21 tau / ((s - 1) weight of water eta), m.

    eta is `bank_stability_number`.
    """
    pull = _at_least_zero(shear_pa, "a shear", "Pa")
    eta = bank_stability_number(bank_deg, repose_deg, safety=safety)
    return 21 * pull / ((relative_density(density) - 1) * WATER_N_M3 * eta)


def bank_speed_d50_m(
    velocity_mps: float,
    bank_deg: float,
    *,
    repose_deg: float = 40.0,
    safety: float = 1.5,
    density: float = STONE_KG_M3,
) -> float:
    """Median stone that a velocity beside it does not move on a bank, m: HDS-6 equation 6.16.

    0.3 V^2 / ((s - 1) g eta); eta is `bank_stability_number`.
    """
    v = _at_least_zero(velocity_mps, "a velocity", "m/s")
    eta = bank_stability_number(bank_deg, repose_deg, safety=safety)
    return 0.3 * v**2 / ((relative_density(density) - 1) * GRAVITY_MPS2 * eta)


def bank_factor(bank_deg: float, repose_deg: float) -> float:
    """Share of its strength that stone keeps on a bank, (1 - sin^2(bank) / sin^2(repose))^0.5."""
    bank, repose = _angles(bank_deg, repose_deg)
    return math.sqrt(1 - (math.sin(bank) / math.sin(repose)) ** 2)


def hec11_d50_m(
    velocity_mps: float,
    mean_depth_m: float,
    *,
    bank: float,
    density: float = STONE_KG_M3,
    safety: float = 1.2,
) -> float:
    """Median riprap by HEC-11, C 0.001 V^3 / (d^0.5 K1^1.5) in feet and ft/s, m.

    Parameters
    ----------
    velocity_mps, mean_depth_m
        Mean velocity, and mean depth of the flow.
    bank
        K1, `bank_factor`; 1 on a level bed.
    density, safety
        Of the stone, kg/m3, and a factor of safety: C is 2.12 / (s - 1)^1.5 times (SF / 1.2)^1.5.
    """
    v = _at_least_zero(velocity_mps, "a velocity", "m/s") / _FOOT_M
    d = _above_zero(mean_depth_m, "a mean depth") / _FOOT_M
    c = hec11_correction(density=density, safety=safety)
    return float(c * 0.001 * v**3 / (d**0.5 * _above_zero(bank, "a bank factor") ** 1.5) * _FOOT_M)


def hec11_correction(*, density: float, safety: float) -> float:
    """C of `hec11_d50_m`; 1.00 at 2650 kg/m3 and a factor of 1.2."""
    by_weight = 2.12 / (relative_density(density) - 1) ** 1.5
    return float(by_weight * (_above_zero(safety, "a safety factor") / 1.2) ** 1.5)


def _angles(slope_deg: float, repose_deg: float) -> tuple[float, float]:
    if not 0 < slope_deg < repose_deg < 90:
        raise ParameterError(
            f"a slope of {slope_deg:g} degrees with stone that lies at {repose_deg:g}",
            expected="a slope above zero, gentler than the angle of repose",
        )
    return math.radians(slope_deg), math.radians(repose_deg)


def _above_zero(value: float, what: str) -> float:
    if not 0 < value < math.inf:
        raise ParameterError(f"{what} of {value:g}", expected="above zero")
    return float(value)


def _at_least_zero(value: float, what: str, unit: str) -> float:
    if not 0 <= value < math.inf:
        raise ParameterError(f"{what} of {value:g} {unit}", expected="zero or more")
    return float(value)
