"""How far apart grade controls lie along the bed: the published rules side by side.

They differ three- to fourfold on the same reach, so a rule is always named with its number.
Everything takes arrays; heights and widths in m, slopes in m per m, spacings in m.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError

#: Slope of the bed at which Heede and Mufich change their constant.
HEEDE_STEP_SLOPE: Final = 0.20
HEEDE_K_GENTLE: Final = 0.3
HEEDE_K_STEEP: Final = 0.5
#: Slope on which a stream no longer cuts, in the rule of FAO.
COMPENSATION_SLOPE: Final = 0.03


def heede_mufich_m(height_m: ArrayLike, slope: ArrayLike) -> FloatArray:
    """Spacing of loose-rock check structures along the bed after Heede and Mufich (1973).

    S = H / (K G cos a), a = atan G, K = 0.3 up to a slope of 0.20 and 0.5 above it; at 0.20 the
    spacing jumps, as published. Source: in Heede 1976, USDA Forest Service Research Paper RM-169
    (from memory). Meant for loose-rock check structures, not for one-rock dams.
    """
    height, g = _checked(height_m, slope)
    k = np.where(g <= HEEDE_STEP_SLOPE, HEEDE_K_GENTLE, HEEDE_K_STEEP)
    return _along(height, g, k)


def wedge_m(height_m: ArrayLike, slope: ArrayLike, *, k: float = 0.5) -> FloatArray:
    """Spacing along the bed where each deposit, (1 - K) times as steep as the bed, meets the next.

    Leopold's measured deposits lie at about half the bed slope: K = 0.5.

    Raises
    ------
    ParameterError
        K lies outside 0 to 1, a height is not above zero, or a slope is below zero.
    """
    if not 0 < k <= 1:
        raise ParameterError(f"a wedge share K of {k:g}", expected="above 0, at most 1")
    height, g = _checked(height_m, slope)
    return _along(height, g, np.asarray(k))


def head_to_toe_m(height_m: ArrayLike, slope: ArrayLike) -> FloatArray:
    """Horizontal spacing with the foot of the upper one level with the crest of the lower, H / G.

    Source: US Environmental Protection Agency and state best-practice manuals for check dams.
    """
    height, g = _checked(height_m, slope)
    return _quotient(height, g)


def compensation_m(
    height_m: ArrayLike, slope: ArrayLike, *, compensation: float = COMPENSATION_SLOPE
) -> FloatArray:
    """Horizontal spacing with deposits at the compensation slope, H / (G - 0.03); NaN up to it.

    Source: Geyik 1986, FAO Conservation Guide 13/2 (from memory).
    """
    height, g = _checked(height_m, slope)
    above = g > compensation
    return np.where(above, height / np.where(above, g - compensation, 1.0), np.nan)


def channel_widths_m(
    width_m: ArrayLike, *, low: float = 5.0, high: float = 7.0
) -> tuple[FloatArray, FloatArray]:
    """Shortest and longest spacing of riffles: 5 to 7 bankfull widths.

    Source: Leopold, Wolman and Miller 1964, Fluvial Processes in Geomorphology.

    Raises
    ------
    ParameterError
        A width is not above zero.
    """
    width = np.asarray(width_m, dtype=np.float64)
    if (width <= 0).any():
        raise ParameterError("a channel width of zero or less", expected="above zero")
    return low * width, high * width


def one_rock_spacing_m(
    height_m: ArrayLike,
    slope: ArrayLike,
    *,
    width_m: ArrayLike,
    widths: tuple[float, float] = (5.0, 7.0),
    k: float = 0.5,
) -> FloatArray:
    """Spacing of one-rock dams and log mats along the bed.

    The middle of 5 to 7 bankfull widths, held between head-to-toe (closer wastes stone: the upper
    one stands in the lower one's pool) and a wedge at half the bed slope (farther leaves bed
    between them unheld). Common practice.
    """
    low, high = channel_widths_m(width_m, low=widths[0], high=widths[1])
    spacing = np.clip(
        (low + high) / 2, head_to_toe_m(height_m, slope), wedge_m(height_m, slope, k=k)
    )
    return np.asarray(spacing, dtype=np.float64)


def _along(height: FloatArray, g: FloatArray, k: FloatArray) -> FloatArray:
    return _quotient(height, k * g * np.cos(np.arctan(g)))


def _quotient(height: FloatArray, fall: FloatArray) -> FloatArray:
    """Height over fall; a level bed needs no second one, so the spacing is infinite."""
    height, fall = np.broadcast_arrays(height, fall)
    level = fall == 0
    return np.where(level, np.inf, height / np.where(level, 1.0, fall))


def _checked(height_m: ArrayLike, slope: ArrayLike) -> tuple[FloatArray, FloatArray]:
    height = np.asarray(height_m, dtype=np.float64)
    g = np.asarray(slope, dtype=np.float64)
    if (height <= 0).any():
        raise ParameterError("a structure height of zero or less", expected="above zero")
    if (g < 0).any():
        raise ParameterError("a bed slope below zero", expected="zero or more")
    return height, g
