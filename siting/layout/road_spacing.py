"""How far apart water is taken off a road, and the limits of dips: published tables as functions.

Grades are m per m, spacings m along the road. The tables are kept in the units they were printed
in, per cent and feet.
"""

from __future__ import annotations

from dataclasses import dataclass
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
#: Steepest grade (per cent) of each band, and greatest distance (m) between rolling dips or cross
#: drains on soils that erode little and on those that erode: Keller and Sherar 2003, *Low-Volume
#: Roads Engineering*, table 7.1. What lies between two bands, and in the overlap at 12, counts with
#: the steeper one; the last band has no end.
DIP_TABLE: Final = (
    (3.0, 120.0, 75.0),
    (6.0, 90.0, 50.0),
    (9.0, 75.0, 40.0),
    (12.0, 60.0, 35.0),
    (np.inf, 50.0, 30.0),
)
#: Steepest road for a broad-based dip (state forestry practice, Texas), and for a rolling dip (from
#: memory of road manuals).
BROAD_BASED_GRADE: Final = 0.12
ROLLING_DIP_GRADE: Final = 0.12

ROLLING_DIP: Final = "rolling dips"
WATER_BAR: Final = "water bars"
BROAD_BASED: Final = "broad-based dips"
#: Each rule with its source and what kind of source that is.
RULE_SOURCES: Final = {
    ROLLING_DIP: (
        "Keller and Sherar 2003, Low-Volume Roads Engineering, table 7.1, greatest distances",
        "published",
    ),
    WATER_BAR: (
        "spacing of water bars, SREF forest landowner handbook, between its rows along a line",
        "published",
    ),
    BROAD_BASED: (
        "400 / grade in per cent + 100 ft, road manuals of the forest trade",
        "from memory",
    ),
}


@dataclass(frozen=True, slots=True, eq=False)
class RoadSpacing:
    """Spacing of dips on roads of given grades; NaN on grades without a rule.

    Parameters
    ----------
    low_m, high_m
        The closest and the widest of the rules that apply, m.
    chosen_m
        The one that is used, that for rolling dips, m.
    """

    low_m: FloatArray
    high_m: FloatArray
    chosen_m: FloatArray

    def __post_init__(self) -> None:
        for array in (self.low_m, self.high_m, self.chosen_m):
            array.flags.writeable = False


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


def rolling_dip_spacing_m(grade: ArrayLike, *, erosive: bool) -> FloatArray:
    """Greatest distance between rolling dips or cross drains on a road, m, on any grade.

    Source: Keller and Sherar 2003, *Low-Volume Roads Engineering*, table 7.1 (page text read).

    Parameters
    ----------
    grade
        Of the road, m per m, 0 or more.
    erosive
        Whether its soil erodes: fine, friable, silt or fine sand.
    """
    per_cent = 100.0 * _checked(grade)
    steepest, little, much = np.array(DIP_TABLE).T
    # a grade such as 0.12 is not exactly 12 per cent of its double
    band = np.searchsorted(steepest + 1e-9, per_cent)
    return np.asarray((much if erosive else little)[band])


def dip_spacing_m(grade: ArrayLike, *, erosive: bool) -> RoadSpacing:
    """Spacing of rolling dips: the distances of their own table, and the other rules as a range.

    NaN below 2 %, where a road needs no dip, and above 12 %, where none holds.
    """
    g = _checked(grade)
    low = WATER_BAR_TABLE[0][0] / 100
    inside = (g >= low - 1e-9) & (g <= ROLLING_DIP_GRADE + 1e-9)
    chosen = np.where(inside, rolling_dip_spacing_m(g, erosive=erosive), np.nan)
    others = (water_bar_spacing_m(g), broad_based_spacing_m(g))
    rules = [chosen, *(np.where(inside, other, np.nan) for other in others)]
    return RoadSpacing(
        low_m=np.asarray(np.fmin.reduce(rules)),
        high_m=np.asarray(np.fmax.reduce(rules)),
        chosen_m=chosen,
    )


def _checked(grade: ArrayLike) -> FloatArray:
    g = np.asarray(grade, dtype=np.float64)
    if not (g >= 0).all():
        raise ParameterError("a road grade below zero or unknown", expected="zero or more")
    return g
