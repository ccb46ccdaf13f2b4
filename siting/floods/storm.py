"""A balanced storm: 24 hours of rain that holds the table's own depth for every shorter storm.

The rain of every duration d, centred on the middle of the storm, is the table's depth for d. It is
therefore as hard as the table allows at every duration at once, whatever the size of the drainage
area. Placing the peak at half time is common practice, no published source.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from siting.floods.rainfall import Rainfall
from terrain.values.arrays import ArrayLike, FloatArray, floats

STORM_H: Final = 24.0


def balanced_storm_mm(
    rainfall: Rainfall, times_h: ArrayLike, *, return_period_yr: float
) -> FloatArray:
    """Rain fallen since the start of a balanced 24-hour storm, in millimetres.

    Parameters
    ----------
    rainfall
        A table that covers 24 hours; between its durations depths are interpolated log-log. Within
        the shortest duration the intensity is held even.
    times_h
        Times since the start, any shape; before the start nothing has fallen, after 24 hours all
        has.
    return_period_yr
        Return period in years.

    Raises
    ------
    RainfallRangeError
        When the table does not cover 24 hours or the return period.
    """
    total = rainfall.depth_mm(STORM_H, return_period_yr)
    curve = rainfall.depth_curve_mm(return_period_yr)
    inside = rainfall.durations_h < STORM_H
    durations = np.append(rainfall.durations_h[inside], STORM_H)
    depths = np.append(curve[inside], total)
    from_middle = np.clip(floats(times_h), 0.0, STORM_H) - STORM_H / 2
    width = np.maximum(2.0 * np.abs(from_middle), 1e-12)
    central = np.exp(np.interp(np.log(width), np.log(durations), np.log(depths)))
    central = np.where(width < durations[0], depths[0] * width / durations[0], central)
    return floats(0.5 * (total + np.sign(from_middle) * central))
