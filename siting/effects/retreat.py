"""How fast a headcut may work up: an order of magnitude."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike

from siting.floods.flood_errors import RainfallRangeError
from siting.floods.rainfall import Rainfall
from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError

HA_PER_ACRE = 0.40468564224
MM_PER_INCH = 25.4
M_PER_FOOT = 0.3048
#: Rains of at least this much in a day count, mm (half an inch).
HEAVY_MM = 12.7
#: Sum of such rains in a year where no rainfall table is given, mm: 2, 5 and 10 in. Semi-arid
#: rangeland, common practice, no published source; the rate goes with its 0.2th power only.
USUAL_RAIN_MM = (50.0, 125.0, 250.0)
#: The true rate may be this many times lower or higher (common practice, no published source).
FACTOR = 3.0


def retreat_m_per_yr(drainage_area_ha: ArrayLike, rain_mm_per_yr: ArrayLike) -> FloatArray:
    """Mean rate at which a headcut works up its channel, m per year: an order of magnitude.

    R = 1.5 A^0.46 P^0.20 in feet a year, acres and inches: USDA Soil Conservation Service,
    Technical Release 32, from memory. It overpredicts where it is dry (common practice); the truth
    may lie `FACTOR` times lower or higher. Arrays broadcast.

    Parameters
    ----------
    drainage_area_ha
        Land that drains over the head, 0 or more.
    rain_mm_per_yr
        Sum of the 24-hour rains of half an inch and more in a usual year, 0 or more.

    Raises
    ------
    ParameterError
        A value below 0 or not known.
    """
    area = np.asarray(drainage_area_ha, dtype=np.float64)
    rain = np.asarray(rain_mm_per_yr, dtype=np.float64)
    for values, what in ((area, "a drainage area of {:g} ha"), (rain, "a yearly rain of {:g} mm")):
        if not (values >= 0).all():
            raise ParameterError(what.format(values[~(values >= 0)].flat[0]), expected="0 or more")
    feet = 1.5 * (area / HA_PER_ACRE) ** 0.46 * (rain / MM_PER_INCH) ** 0.20
    return np.asarray(feet * M_PER_FOOT)


def heavy_rain_mm_per_yr(rainfall: Rainfall | None) -> tuple[float, str]:
    """Sum of the day's rains of half an inch and more in a usual year, and where it is from.

    How often a day brings more than some depth is taken to fall off exponentially with the depth,
    through the table's 24-hour depths of its two lowest return periods; the yearly sum of what
    lies above half an inch then is N (x + b), with N the number of such days a year, x half an
    inch and b the depth over which the number falls to 1/e. This goes below what the table holds
    (common practice, no published source). Without a usable table it is the middle of
    `USUAL_RAIN_MM`.
    """
    usual = USUAL_RAIN_MM[1], "a usual value for semi-arid land, no rainfall table was used"
    if rainfall is None or rainfall.return_periods_yr.size < 2:
        return usual
    periods = rainfall.return_periods_yr[:2]
    try:
        depths = [rainfall.depth_mm(24.0, float(t)) for t in periods]
    except RainfallRangeError:
        return usual
    if rainfall.series == "annual":
        # a year's largest: exceeded with probability 1/T, at a rate of -ln(1 - 1/T)
        rates = -np.log1p(-1.0 / np.maximum(periods, 1.01))
    else:
        rates = 1.0 / periods
    falls_over = (depths[1] - depths[0]) / float(np.log(rates[0] / rates[1]))
    if falls_over <= 0:
        return usual
    days = float(rates[0] * np.exp((depths[0] - HEAVY_MM) / falls_over))
    days = min(days, 365.0)
    return days * (HEAVY_MM + falls_over), "the rainfall table, carried on to half an inch"
