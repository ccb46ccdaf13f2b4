"""How far apart water is taken off a road, and the limits of dips: published tables as functions.

Grades are m per m, spacings m along the road. The tables are kept in the units they were printed
in, per cent and feet.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

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
#: Steepest road for a broad-based dip and for a rolling dip (state forestry practice, Texas).
BROAD_BASED_GRADE: Final = 0.12
ROLLING_DIP_GRADE: Final = 0.15

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


@dataclass(frozen=True, slots=True, eq=False)
class RoadSpacing:
    """Spacing of dips on roads of given grades; NaN on grades without a rule.

    Parameters
    ----------
    low_m, high_m
        The closest and the widest of the rules that apply, m.
    chosen_m
        The one that is used, m.
    rule
        Its name: `BROAD_BASED`, `WATER_BAR` or empty.
    """

    low_m: FloatArray
    high_m: FloatArray
    chosen_m: FloatArray
    rule: NDArray[np.object_]

    def __post_init__(self) -> None:
        for array in (self.low_m, self.high_m, self.chosen_m, self.rule):
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


def dip_spacing_m(grade: ArrayLike) -> RoadSpacing:
    """Spacing of rolling dips.

    No published spacing of their own is at hand. The rule for broad-based dips is used up to its
    limit of 12 %; above it, up to 15 %, that for water bars, which is closer. Both are given as the
    range. NaN below 2 %, where a road needs no dip, and above 15 %, where none holds.
    """
    g = _checked(grade)
    inside = (g >= WATER_BAR_TABLE[0][0] / 100 - 1e-9) & (g <= ROLLING_DIP_GRADE + 1e-9)
    bars = np.where(inside, water_bar_spacing_m(g), np.nan)
    broad = np.where(inside, broad_based_spacing_m(g), np.nan)
    by_broad = np.isfinite(broad)
    rule = np.asarray(
        np.where(by_broad, BROAD_BASED, np.where(inside, WATER_BAR, "")), dtype=object
    )
    return RoadSpacing(
        low_m=np.asarray(np.fmin(bars, broad)),
        high_m=np.asarray(np.fmax(bars, broad)),
        chosen_m=np.where(by_broad, broad, bars),
        rule=rule,
    )


def _checked(grade: ArrayLike) -> FloatArray:
    g = np.asarray(grade, dtype=np.float64)
    if not (g >= 0).all():
        raise ParameterError("a road grade below zero or unknown", expected="zero or more")
    return g
