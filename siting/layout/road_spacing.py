"""Other rules for how far apart water is taken off a road, to set beside the one that is followed.

What is followed is `siting.structures.dip_spacing`. Grades are m per m, spacings m along the road.
The table is kept in the units it was printed in, per cent and feet.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import ArrayLike

from siting.values.us_units import M_PER_FT
from terrain.values.arrays import FloatArray
from terrain.values.errors import ParameterError

#: Grade (per cent) and spacing (feet) of water bars. Source: SREF forest landowner handbook.
WATER_BAR_TABLE: Final = (
    (2.0, 250.0),
    (5.0, 135.0),
    (10.0, 80.0),
    (15.0, 60.0),
    (20.0, 45.0),
    (25.0, 40.0),
    (30.0, 35.0),
    (40.0, 30.0),
)
#: Steepest road for a broad-based dip (state forestry practice, Texas).
BROAD_BASED_GRADE: Final = 0.12

WATER_BAR: Final = "water bars"
BROAD_BASED: Final = "broad-based dips"
#: Each rule with its source and what kind of source that is.
RULE_SOURCES: Final = {
    WATER_BAR: (
        "spacing of water bars, SREF forest landowner handbook, between its rows along a line",
        "published",
    ),
    BROAD_BASED: (
        "400 / grade in per cent + 100 ft, road manuals of the forest trade",
        "from memory",
    ),
}


def water_bar_spacing_m(grade: ArrayLike) -> FloatArray:
    """Spacing of water bars, m; NaN below 2 % and above 40 %, where the table has nothing.

    Source: SREF forest landowner handbook, table of distances between water bars. Between its
    rows the spacing in feet runs in a straight line with the grade (choice of this project; the
    table gives none); a line through the logarithms would give up to 11 % less.
    """
    per_cent = 100.0 * _checked(grade)
    rows, feet = np.array(WATER_BAR_TABLE).T
    # a grade such as 0.15 is not exactly 15 per cent of its double
    inside = (per_cent >= rows[0] - 1e-9) & (per_cent <= rows[-1] + 1e-9)
    return np.where(inside, np.interp(per_cent, rows, feet) * M_PER_FT, np.nan)


def broad_based_spacing_m(grade: ArrayLike) -> FloatArray:
    """Spacing of broad-based dips, 400 / S + 100 ft with S in per cent; in m.

    NaN on level roads, and above 12 %, the limit for such dips. Source: formula from memory of
    road manuals; limit from a state forestry service (Texas).
    """
    per_cent = 100.0 * _checked(grade)
    inside = (per_cent > 0) & (per_cent <= 100.0 * BROAD_BASED_GRADE + 1e-9)
    feet = 400.0 / np.where(inside, per_cent, 1.0) + 100.0
    return np.where(inside, feet * M_PER_FT, np.nan)


def _checked(grade: ArrayLike) -> FloatArray:
    g = np.asarray(grade, dtype=np.float64)
    if not (g >= 0).all():
        raise ParameterError("a road grade below zero or unknown", expected="zero or more")
    return g
