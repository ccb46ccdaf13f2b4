"""How high an upright bank of a soil stands before it falls under its own weight.

The plane of Culmann through the foot of the bank (from memory; D. W. Taylor's chart of 1937 gives
3.83 in place of 4 for an upright bank without friction).
"""

from __future__ import annotations

import math
from typing import Final, NamedTuple

from terrain.values.errors import ParameterError

#: Of 4 c / w tan(45 + phi / 2), and what a tension crack behind the edge leaves of it (Terzaghi;
#: from memory).
WHOLE: Final = 4.0
CRACKED: Final = 2.67


class StandingHeight(NamedTuple):
    """Height up to which a bank stands, m: cracked and soaked through, and whole and drained."""

    wet_m: float
    drained_m: float


def critical_height_m(
    cohesion_pa: float, *, friction_deg: float, unit_weight_n_m3: float, cracked: bool = False
) -> float:
    """Height above which an upright bank falls, (4 c / w) tan(45 + phi / 2), m.

    Parameters
    ----------
    cohesion_pa, unit_weight_n_m3
        Of the soil, Pa (0 or more) and N/m3 (above 0).
    friction_deg
        Angle of friction, 0 up to 90 degrees.
    cracked
        Whether a tension crack stands behind the edge: 2.67 in place of 4.

    Raises
    ------
    ParameterError
        A value outside its range.
    """
    if not (cohesion_pa >= 0 and unit_weight_n_m3 > 0 and 0 <= friction_deg < 90):
        raise ParameterError(
            f"soil of {cohesion_pa:g} Pa, {unit_weight_n_m3:g} N/m3 and {friction_deg:g} degrees",
            expected="0 or more, above 0, and 0 up to 90",
        )
    lean = math.tan(math.radians(45.0 + friction_deg / 2))
    return (CRACKED if cracked else WHOLE) * cohesion_pa / unit_weight_n_m3 * lean


def standing_height(
    cohesion_pa: float, *, friction_deg: float, unit_weight_n_m3: float
) -> StandingHeight:
    """Both ends of the height that an upright bank of a soil stands; as for `critical_height_m`.

    Soaked through, as after a flood that falls fast, friction counts for nothing (the unfavourable
    case of stability charts for incised channels; Thorne and others 1981, from memory).
    """
    weight = unit_weight_n_m3
    return StandingHeight(
        critical_height_m(cohesion_pa, friction_deg=0.0, unit_weight_n_m3=weight, cracked=True),
        critical_height_m(cohesion_pa, friction_deg=friction_deg, unit_weight_n_m3=weight),
    )
