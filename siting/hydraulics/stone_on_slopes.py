"""Stone on a bank or on a sloping bed: how much its own weight helps the water to move it.

Source: FHWA Hydraulic Design Series 6, *River Engineering for Highway Encroachments*, 2001, chapter
6; the bank factor from USACE EM 1110-2-1601. Angles in degrees; the angle of repose is the steepest
at which the dry stone lies by itself.
"""

from __future__ import annotations

import math

from siting.hydraulics.open_channel import GRAVITY_MPS2, WATER_KG_M3
from siting.hydraulics.stone import STONE_KG_M3
from terrain.values.errors import ParameterError


def stability_number(shear_pa: float, d50_m: float, *, density: float = STONE_KG_M3) -> float:
    """Pull of the water over what moves a level stone, 21 tau / ((s - 1) weight of water D)."""
    if not 0 <= shear_pa < math.inf:
        raise ParameterError(f"a shear of {shear_pa:g} Pa", expected="zero or more")
    if not 0 < d50_m < math.inf:
        raise ParameterError(f"a stone diameter of {d50_m:g} m", expected="above zero")
    return 21 * shear_pa / (_sunk_n_m3(density) * d50_m)


def repose_ratio(bank_deg: float, repose_deg: float) -> float:
    """Factor of safety without water: tangent of repose over tangent of the bank."""
    bank, repose = _angles(bank_deg, repose_deg)
    return math.tan(repose) / math.tan(bank)


def bank_stability_number(bank_deg: float, repose_deg: float, *, safety: float = 1.5) -> float:
    """Stability number that a bank leaves room for, (Sm^2 - SF^2) cos(bank) / (SF Sm^2).

    For flow along the bank; Sm is `repose_ratio`.

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


def bank_d50_m(
    shear_pa: float,
    bank_deg: float,
    *,
    repose_deg: float = 40.0,
    safety: float = 1.5,
    density: float = STONE_KG_M3,
) -> float:
    """Median diameter of stone that holds on a bank, 21 tau / ((s - 1) weight of water eta), m."""
    eta = bank_stability_number(bank_deg, repose_deg, safety=safety)
    return stability_number(shear_pa, 1.0, density=density) / eta


def bank_safety(
    shear_pa: float,
    d50_m: float,
    *,
    bank_deg: float,
    repose_deg: float = 40.0,
    density: float = STONE_KG_M3,
) -> float:
    """Factor of safety of stone on a bank, Sm / 2 ((zeta^2 + 4)^0.5 - zeta).

    zeta = Sm eta / cos(bank): HDS-6 equations 6.9 to 6.11, for flow along the bank.
    """
    bank, _ = _angles(bank_deg, repose_deg)
    ratio = repose_ratio(bank_deg, repose_deg)
    zeta = ratio * stability_number(shear_pa, d50_m, density=density) / math.cos(bank)
    return ratio / 2 * (math.sqrt(zeta**2 + 4) - zeta)


def bed_stability_number(bed_deg: float, repose_deg: float, *, safety: float = 1.0) -> float:
    """Stability number that a sloping bed leaves room for, flow straight down it.

    cos(bed) (1 / SF - tan(bed) / tan(repose)), from SF = cos(bed) tan(repose) / (eta tan(repose) +
    sin(bed)).
    """
    bed, repose = _angles(bed_deg, repose_deg)
    if not 0 < safety < math.inf:
        raise ParameterError(f"a safety factor of {safety:g}", expected="above zero")
    return math.cos(bed) * (1 / safety - math.tan(bed) / math.tan(repose))


def bank_factor(bank_deg: float, repose_deg: float = 40.0) -> float:
    """Share of its strength that stone keeps on a bank, (1 - sin^2(bank) / sin^2(repose))^0.5.

    K1 of USACE EM 1110-2-1601 (from memory).
    """
    bank, repose = _angles(bank_deg, repose_deg)
    return math.sqrt(1 - (math.sin(bank) / math.sin(repose)) ** 2)


def _angles(slope_deg: float, repose_deg: float) -> tuple[float, float]:
    if not 0 < slope_deg < repose_deg < 90:
        raise ParameterError(
            f"a slope of {slope_deg:g} degrees with stone that lies at {repose_deg:g}",
            expected="a slope above zero, gentler than the angle of repose",
        )
    return math.radians(slope_deg), math.radians(repose_deg)


def _sunk_n_m3(density: float) -> float:
    if not WATER_KG_M3 < density < 10_000:
        raise ParameterError(
            f"a stone density of {density:g} kg/m3", expected="more than water, such as 2650"
        )
    return (density - WATER_KG_M3) * GRAVITY_MPS2
