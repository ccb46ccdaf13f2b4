"""Runoff from rain by the curve-number method.

Source: USDA Soil Conservation Service, *Urban Hydrology for Small Watersheds*, Technical Release
55, second edition, 1986, chapter 2, equations 2-1 to 2-4 (the same relation as National Engineering
Handbook part 630, chapter 10).
"""

from __future__ import annotations

from typing import Final

import numpy as np

from siting.floods.flood_errors import CurveNumberError, FloodInputError
from terrain.values.arrays import ArrayLike, FloatArray, floats

# TR-55 prints curve numbers from 30 ("real value below 30; use 30", table 2-2c) to 100 (open
# water).
LOWEST_CURVE_NUMBER: Final = 30.0
HIGHEST_CURVE_NUMBER: Final = 100.0


def check_curve_number(curve_number: ArrayLike) -> FloatArray:
    """Return curve numbers as an array; NaN (not known) passes.

    Any shape, which the result keeps.

    Raises
    ------
    CurveNumberError
        For a value outside 30 to 100, the range that TR-55 prints.
    """
    values = floats(curve_number)
    bad = (values < LOWEST_CURVE_NUMBER) | (values > HIGHEST_CURVE_NUMBER)
    if bad.any():
        raise CurveNumberError(
            f"a curve number of {values[bad].flat[0]:g}",
            expected="30 to 100 (TR-55; rangeland is mostly 50 to 90)",
            do="look the cover and soil up in TR-55 tables 2-2c and 2-2d",
        )
    return values


def retention_mm(curve_number: ArrayLike) -> FloatArray:
    """Potential maximum retention S in millimetres: 25400 / CN - 254 (TR-55 equation 2-4).

    Any shape, which the result keeps.
    """
    return 25400.0 / check_curve_number(curve_number) - 254.0


def initial_abstraction_mm(curve_number: ArrayLike) -> FloatArray:
    """Rain held back before any runs off, Ia in millimetres: 0.2 S (TR-55 equation 2-2).

    Any shape, which the result keeps.
    """
    return 0.2 * retention_mm(curve_number)


def runoff_depth_mm(rain_mm: ArrayLike, curve_number: ArrayLike) -> FloatArray:
    """Runoff depth Q in millimetres from a rain depth (TR-55 equation 2-3).

    Q = (P - 0.2 S)^2 / (P + 0.8 S) where P is above 0.2 S, else exactly zero. Arrays broadcast; NaN
    stays NaN.

    Raises
    ------
    CurveNumberError
        For a curve number outside 30 to 100.
    FloodInputError
        For rain below zero.
    """
    rain = floats(rain_mm)
    if (rain < 0).any():
        raise FloodInputError(
            f"a rain depth of {rain[rain < 0].flat[0]:g} mm", expected="a depth of zero or more"
        )
    retention = retention_mm(curve_number)
    excess = np.maximum(rain - 0.2 * retention, 0.0)
    # Where nothing runs off the quotient may be 0 / 0 (no rain on an impervious surface).
    divisor = excess + retention
    quotient = np.divide(excess**2, divisor, out=np.zeros_like(divisor), where=divisor != 0)
    return floats(quotient)
